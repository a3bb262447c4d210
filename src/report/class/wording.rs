//! What text and HTML say alike.

use crate::label::{Label, harmless};
use crate::phrase::Level;
use crate::report::stats::{Sensitivity, Share};

use super::group::GroupReport;
use super::learner::{Doubtful, ExerciseReport, HeardLive, LearnerReport, SetWork, Stage};
use super::practice::{Amount, LATELY_DAYS};

/// As `81 % (76 to 85)`.
pub(super) fn share(share: Share) -> String {
    let percent = |x: f64| 100.0 * x;
    let Share { share, low, high } = share;
    format!(
        "{:.0} % ({:.0} to {:.0})",
        percent(share),
        percent(low),
        percent(high)
    )
}

/// As `1 learner`, `12 learners`.
pub(super) fn counted(n: impl TryInto<u64>, what: &str) -> String {
    match n.try_into().unwrap_or(u64::MAX) {
        1 => format!("1 {what}"),
        n => format!("{n} {what}s"),
    }
}

/// To which answer somebody leans; nothing where it is neither.
pub(super) fn lean(found: Option<Sensitivity>) -> &'static str {
    found.map_or("", |found| crate::report::lean(found).unwrap_or("neither"))
}

/// How well threes are told from twos, and the lean.
pub(super) fn told_apart(found: Sensitivity) -> String {
    let lean = match lean(Some(found)) {
        "neither" => "no lean".to_owned(),
        side => format!("leans to {side}"),
    };
    format!(
        "threes from twos d' {:.1} (give or take {:.1}), {lean} (c {:.2})",
        found.d_prime,
        1.96 * found.error,
        found.criterion
    )
}

/// As `6 of the last 14 days, 58 minutes`.
pub(super) fn lately(amount: Amount) -> String {
    let (days, minutes) = (amount.days, amount.minutes());
    format!(
        "{days} of the last {LATELY_DAYS} days, {minutes} min, {} answers",
        amount.n
    )
}

/// Since when, on how many days and for how long.
pub(super) fn in_all(learner: &LearnerReport) -> String {
    let (all, days) = (learner.practice.whole, learner.practice.days);
    let since = days.map_or_else(String::new, |(first, last)| {
        format!(" from {first} to {last}")
    });
    let missing = match learner.who.n_missing {
        0 => String::new(),
        n => format!("; {n} answers of earlier hand-ins are missing"),
    };
    if all.n == 0 {
        return format!("No answers are here yet{missing}");
    }
    format!(
        "In all {}{since}, {} min, {} answers{missing}",
        counted(all.days, "day"),
        all.minutes(),
        all.n
    )
}

/// In which exercise the learner is stuck and on what, in a few words.
pub(super) fn stuck(learner: &LearnerReport) -> String {
    let Some(exercise) = learner.stuck_in() else {
        return String::new();
    };
    let on = exercise.confusions.first();
    let on = on.map_or_else(String::new, |confusion| format!(": {}", confusion.words()));
    harmless(&format!("{}{on}", exercise.title))
}

/// What is known of an exercise, each thing a text.
pub(super) fn details(exercise: &ExerciseReport) -> Vec<String> {
    const CONFUSIONS: usize = 3;
    let mut details = Vec::new();
    let confusions = exercise.confusions.iter().take(CONFUSIONS);
    details.extend(confusions.map(super::Confusion::words));
    details.extend(exercise.sensitivity.map(told_apart));
    details.extend(exercise.timing.map(|timing| {
        let side = if timing.lead_ms < 0.0 {
            "early"
        } else {
            "late"
        };
        format!(
            "taps spread {:.0} ms ({:.0} % of a pulse), {:.0} ms {side}",
            timing.spread_ms,
            100.0 * timing.of_pulse,
            timing.lead_ms.abs()
        )
    }));
    let n_followed = exercise.n_followed;
    let slides = exercise.slides.iter();
    details.extend(
        slides.map(|(words, n)| format!("slid {words}, {n} of the last {n_followed} misses")),
    );
    details
}

/// From what level it is heard, in words; nothing while too little is known.
pub(super) fn threshold(exercise: &ExerciseReport) -> String {
    let Some((level, (low, high))) = exercise.threshold else {
        return String::new();
    };
    if level == Level::STRONGEST {
        return "not heard yet".to_owned();
    }
    format!("from {level} ({low:.1} to {high:.1})")
}

/// `firm`, `lost` or `open`.
pub(super) fn state(exercise: &ExerciseReport) -> &'static str {
    match (exercise.is_failing, exercise.is_firm) {
        (true, _) => "lost",
        (_, true) => "firm",
        _ => "open",
    }
}

/// Something that is set, in words.
pub(super) fn set(set: &SetWork) -> String {
    let what = &set.assignment;
    let line = what.line.as_ref();
    let line = line.map_or_else(String::new, |line| format!(", \"{line}\""));
    let stage = match set.stage {
        Stage::ToCome => "to come",
        Stage::Reached => "reached",
        Stage::Open => "not reached yet",
        Stage::Missed => "not reached",
    };
    harmless(&format!(
        "no. {}, {}, {} to {}{line}: {}; {stage}",
        set.number,
        what.title,
        what.from,
        what.due,
        what.goal.reached_in_words(set.reached)
    ))
}

/// Of how much that is set the goal is reached, as `1/2`; nothing where nothing is set.
pub(super) fn n_reached(learner: &LearnerReport) -> String {
    match learner.n_reached() {
        (_, 0) => String::new(),
        (n_reached, n) => format!("{n_reached}/{n}"),
    }
}

/// What was heard live, in words.
pub(super) fn heard_live(heard: &HeardLive) -> String {
    let note = heard.note.as_ref();
    let note = note.map_or_else(String::new, |note| format!(", \"{note}\""));
    harmless(&format!("{} on {}{note}", heard.title, heard.day))
}

/// What is done about doubts.
pub(super) const JUDGE_BY: &str = "Judge each by `contrapalma class judge` and the number in \
brackets, with --upheld, --overruled ANSWER or --withdrawn.";

/// A doubt in words.
pub(super) fn doubt(doubt: &Doubtful) -> String {
    let title = doubt
        .title
        .as_deref()
        .unwrap_or("an attempt that is not here");
    let note = doubt.note.as_ref();
    let note = note.map_or_else(String::new, |note| format!(", \"{note}\""));
    let given = doubt.label_and_answer.as_ref();
    let given = given.map_or_else(String::new, |(label, answer)| {
        format!(", label {label}, answered {answer}")
    });
    harmless(&format!("{title}{note}{given} ({})", doubt.attempt))
}

/// The title of a group.
pub(super) fn group(group: &GroupReport) -> String {
    match &group.name {
        Some(name) => format!("Group {name}"),
        None => "In no group".to_owned(),
    }
}

/// Who is on the list of a group and not in the report, each thing a text.
pub(super) fn listed(group: &GroupReport) -> Vec<String> {
    let list = |title: &str, names: &[Label]| {
        let names: Vec<&str> = names.iter().map(Label::as_str).collect();
        (!names.is_empty()).then(|| format!("{title}: {}.", names.join(", ")))
    };
    let awaited = list("Nothing handed in yet", &group.awaited);
    let unclear = list("Several go by this name", &group.unclear);
    awaited.into_iter().chain(unclear).collect()
}

/// What the words of a report mean, each with its sense.
pub(super) const LEGEND: [(&str, &str); 8] = [
    (
        "Firm",
        "an exercise that is known so well that others may build on it. Open: not yet. Lost: missed on \
         most of the last days on which it came up, so that it begins again, easier.",
    ),
    (
        "Right",
        "the share of answers that were right; in brackets where it lies in 19 cases of 20 when there \
         were more of them. The wider, the less is known.",
    ),
    (
        "Heard from",
        "how strong the accents must be, in decibels, for the learner to be right about five times in \
         six. A smaller number is a finer ear.",
    ),
    (
        "d'",
        // The normal distribution at half of d', as shares of right answers (Green and Swets 1966).
        "how well threes are told from twos, whichever is said more often: 0 is guessing; without a lean \
         69 of 100 answers are right at 1, 84 at 2 and 93 at 3.",
    ),
    (
        "Give or take",
        "how far that number may be from what more answers would come to.",
    ),
    (
        "Lean",
        "which of the two is said when neither is told: \"twos\" says twos too often. c is the same as a \
         number, and 0 is no lean.",
    ),
    (
        "Spread, early, late",
        "how unevenly claps lie about their pulses, and by how much they come before or after them.",
    ),
    ("Due", "what would soon be forgotten, and comes up today."),
];
