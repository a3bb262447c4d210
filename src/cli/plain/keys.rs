//! What a line means where the sitting stands, and what may be typed there.
//!
//! Read [`meaning`] first; [`prompt`] and [`after`] name every line that works.

use std::collections::BTreeSet;

use crate::app::tune_up::{Step, TuneUp};
use crate::app::{ANSWERS, Intent};
use crate::quiz::{Hand, Hearing, Kind, Open, Shown, Stage};

/// What a line means where the sitting stands.
pub(super) enum Said {
    Intent(Intent),
    /// These pulses are marked, from 0, and no others.
    Marks(Vec<usize>),
    /// The next voice alone.
    Voice,
    Help,
    Unknown,
}

/// What a line means in a sitting.
pub(super) fn meaning(stage: &Stage, line: &str) -> Said {
    match (stage, line) {
        (_, "?") => Said::Help,
        (_, "q") => Said::Intent(Intent::Leave),
        (Stage::Open(open), line) => while_open(open, line),
        (Stage::Shown(shown), line) => once_answered(shown, line),
        _ => Said::Unknown,
    }
}

/// What a line means while somebody only listens.
pub(super) fn while_listening(line: &str) -> Said {
    match line {
        "?" => Said::Help,
        "q" => Said::Intent(Intent::Leave),
        "" => Said::Intent(Intent::Onward),
        "h" => Said::Intent(Intent::Hear(Hearing::AsItIs)),
        "p" | "r" => Said::Intent(Intent::Hear(Hearing::Question)),
        "v" => Said::Voice,
        _ => Said::Unknown,
    }
}

/// What a line means at the tune-up; `None` asks what the taps have come to.
pub(super) fn at_tune_up(tune_up: &TuneUp, line: &str) -> Option<Intent> {
    match line {
        "q" => Some(Intent::Leave),
        "l" => Some(Intent::TuneUp(Step::Loudness)),
        "b" => Some(Intent::TuneUp(Step::Bell)),
        "e" => Some(Intent::TuneUp(Step::Even)),
        "" if tune_up.is_tapped() && tune_up.kept.is_none() => Some(Intent::Tap(Hand::Either)),
        // Whoever taps on when it is known already does not mean to leave.
        "" if tune_up.kept.is_none() => Some(Intent::Leave),
        _ => None,
    }
}

fn once_answered(shown: &Shown, line: &str) -> Said {
    let reveal = &shown.reveal;
    match line {
        "" => Said::Intent(Intent::Onward),
        "h" => Said::Intent(Intent::Hear(Hearing::AsItIs)),
        "a" if reveal.as_answered.is_some() => Said::Intent(Intent::Hear(Hearing::AsAnswered)),
        "b" if reveal.together.is_some() => Said::Intent(Intent::Hear(Hearing::Together)),
        "o" if reveal.together.is_some() => Said::Intent(Intent::Hear(Hearing::OwnAlone)),
        "p" => Said::Intent(Intent::Hear(Hearing::Question)),
        "v" if !shown.question.measured().rows().is_empty() => Said::Voice,
        "x" => Said::Intent(Intent::Dispute),
        _ => Said::Unknown,
    }
}

fn while_open(open: &Open, line: &str) -> Said {
    let tapped = open.question.is_tapped();
    let two = open.question.kind() == Kind::TwoHands;
    let counting = open.ticket.counting;
    let n_choices = open.question.choices(counting).len();
    match line {
        "r" => Said::Intent(Intent::Again),
        "s" => Said::Intent(Intent::Skip),
        "f" if two => Said::Intent(Intent::Tap(Hand::Left)),
        "j" if two => Said::Intent(Intent::Tap(Hand::Right)),
        "" if tapped && !two => Said::Intent(Intent::Tap(Hand::Either)),
        "d" if tapped || !open.marks.is_empty() => Said::Intent(Intent::Done),
        letter if clapping(open, letter).is_some() => {
            let idx = clapping(open, letter).unwrap_or_default();
            Said::Intent(Intent::Hear(Hearing::Clapping(idx)))
        }
        counts if open.question.is_marked() => marks(open, counts),
        _ => match line.parse::<usize>() {
            Ok(number) => {
                let is_it = |idx: &usize| open.question.choice_number(*idx, counting) == number;
                let chosen = (0..n_choices).find(is_it);
                chosen.map_or(Said::Unknown, |idx| Said::Intent(Intent::Choose(idx)))
            }
            Err(_) => Said::Unknown,
        },
    }
}

/// Counts joined by hyphens, blanks or commas, in the learner's convention.
fn marks(open: &Open, line: &str) -> Said {
    let counting = open.ticket.counting;
    let cycle = open.question.phrase().cycle;
    let words = line.split(['-', ' ', ',']).filter(|word| !word.is_empty());
    let pulses: Option<BTreeSet<usize>> = words
        .map(|word| counting.pulse(cycle, word).map(|pulse| pulse.idx()))
        .collect();
    match pulses {
        Some(pulses) if !pulses.is_empty() => Said::Marks(pulses.into_iter().collect()),
        _ => Said::Unknown,
    }
}

/// The letters by which clappings are heard alone.
const CLAPPINGS: [&str; 4] = ["a", "b", "c", "d"];

/// Those of this question; none where there are not several.
fn clappings(open: &Open) -> &'static [&'static str] {
    match open.question.sounds().len() {
        0 | 1 => &[],
        n => CLAPPINGS.get(..n).unwrap_or(&CLAPPINGS),
    }
}

fn clapping(open: &Open, letter: &str) -> Option<usize> {
    clappings(open).iter().position(|known| *known == letter)
}

/// What may be typed while a question is open.
pub(super) fn prompt(open: &Open) -> String {
    let question = &open.question;
    let clappings = clappings(open);
    let how = if question.kind() == Kind::TwoHands {
        "f and j, each with Enter, are the left hand and the right; d when done, r from the start again"
            .to_owned()
    } else if question.is_marked() {
        "Answer with counts, as 1-4-5; r once more".to_owned()
    } else if question.is_tapped() {
        "Enter is a tap; d when done, r from the start again".to_owned()
    } else if !clappings.is_empty() {
        let letters = clappings.join(", ");
        format!("Answer with a number; {letters} hear one clapping alone, r all of them again")
    } else {
        "Answer with a number; r once more".to_owned()
    };
    format!("{how}, ? help, s skip, q leave.")
}

/// What may be typed after an answer.
pub(super) fn after(shown: &Shown) -> String {
    let reveal = &shown.reveal;
    let keys = [
        (true, "Enter goes on"),
        (true, "h as it is"),
        (reveal.as_answered.is_some(), "a as you answered"),
        (reveal.together.is_some(), "b both"),
        (reveal.together.is_some(), "o your claps alone"),
        (true, "p the phrase alone"),
        (
            !shown.question.measured().rows().is_empty(),
            "v one voice alone",
        ),
        (!shown.disputed, "x dispute"),
        (true, "? help"),
        (true, "q leave"),
    ];
    let there = keys.iter().filter(|(works, _)| *works);
    let there: Vec<&str> = there.map(|(_, key)| *key).collect();
    format!("{}.", there.join(", "))
}

/// What may be typed while somebody only listens.
pub(super) const LISTENING: &str = "Enter plays another phrase, h this one under its claps, p without them, v one voice alone, ? help, \
     q leave.";

/// What may be typed where a sitting stands.
pub(super) fn known(stage: &Stage) -> String {
    match stage {
        Stage::Open(open) => prompt(open),
        Stage::Shown(shown) => after(shown),
        Stage::Ready | Stage::Over => "A phrase is being made; q leaves.".to_owned(),
    }
}

/// What the marks and the words of the answers mean.
pub(super) fn legend() -> Vec<String> {
    let words = ANSWERS.map(|(word, meaning)| format!("  {word}: {meaning}"));
    let marks = [
        "In the grid each line is one voice, each place one count:",
        "  3 is an accent in threes, 2 an accent in twos, x a stroke of neither;",
        "  | is a stroke without an accent, . is silence;",
        "  of your claps o is on the pulse, - between it and the next.",
        "The words:",
    ];
    marks.map(str::to_owned).into_iter().chain(words).collect()
}
