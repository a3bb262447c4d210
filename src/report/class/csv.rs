//! The report as CSV: one row for each learner and exercise, each thing that is set, heard live or to be
//! judged. The column `about` says which, and columns that say nothing of it are empty.

use super::{ClassReport, Doubtful, ExerciseReport, HeardLive, LearnerReport, SetWork, wording};
use crate::label::{Label, harmless};

/// The names of the columns.
const HEAD: [&str; N_COLUMNS] = [
    "learner",
    "name",
    "groups",
    "about",
    "exercise",
    "title",
    "kind",
    "answers",
    "right",
    "share",
    "share_low",
    "share_high",
    "d_prime",
    "d_prime_error",
    "criterion",
    "lean",
    "threshold_db",
    "threshold_low_db",
    "threshold_high_db",
    "lead_ms",
    "spread_ms",
    "spread_of_pulse",
    "confused",
    "slid",
    "days",
    "last_day",
    "state",
    "due_day",
    "number",
    "from_day",
    "goal",
    "reached",
    "attempt",
    "label",
    "answer",
    "note",
];
const N_COLUMNS: usize = 36;

/// The report, with a line for the names of the columns. A learner of whom nothing is known has one row
/// about nothing.
pub fn csv(report: &ClassReport) -> String {
    let mut csv = format!("{}\n", HEAD.join(","));
    for learner in &report.learners {
        let exercises = learner.exercises.iter().map(of_exercise);
        let set = learner.set.iter().map(of_set);
        let heard = learner.heard_live.iter().map(of_heard);
        let doubts = learner.doubts.iter().map(of_doubt);
        let mut rows: Vec<Cells> = exercises.chain(set).chain(heard).chain(doubts).collect();
        if rows.is_empty() {
            rows.push(vec![("about", "nothing".to_owned())]);
        }
        let who = [
            ("learner", learner.who.learner.to_string()),
            ("name", csv_field(learner.who.name.as_str())),
            ("groups", groups(learner)),
        ];
        for row in rows {
            csv.push_str(&line(who.iter().chain(&row)));
        }
    }
    csv
}

/// The cells of a row that say something, with the names of their columns.
type Cells = Vec<(&'static str, String)>;

fn line<'c>(cells: impl Iterator<Item = &'c (&'static str, String)>) -> String {
    let mut row = [const { String::new() }; N_COLUMNS];
    for (name, cell) in cells {
        let place = HEAD.iter().position(|known| known == name);
        if let Some(place) = place.and_then(|place| row.get_mut(place)) {
            place.clone_from(cell);
        }
    }
    format!("{}\n", row.join(","))
}

fn groups(learner: &LearnerReport) -> String {
    let names: Vec<&str> = learner.groups.iter().map(Label::as_str).collect();
    match names.as_slice() {
        [] => String::new(),
        names => csv_field(&names.join("; ")),
    }
}

fn of_set(set: &SetWork) -> Cells {
    let what = &set.assignment;
    let mut cells = vec![
        ("about", "set".to_owned()),
        ("title", csv_field(what.title.as_str())),
        ("state", set.stage.id().to_owned()),
        ("number", set.number.to_string()),
        ("from_day", what.from.to_string()),
        ("due_day", what.due.to_string()),
        ("goal", csv_field(&what.goal.in_words())),
        (
            "reached",
            csv_field(&what.goal.reached_in_words(set.reached)),
        ),
    ];
    cells.extend(note(what.line.as_ref()));
    cells
}

fn of_heard(heard: &HeardLive) -> Cells {
    let mut cells = vec![
        ("about", "heard live".to_owned()),
        ("exercise", csv_field(&heard.skill.0)),
        ("title", csv_field(&heard.title)),
        ("last_day", heard.day.to_string()),
    ];
    cells.extend(note(heard.note.as_ref()));
    cells
}

fn of_doubt(doubt: &Doubtful) -> Cells {
    let mut cells = vec![
        ("about", "dispute".to_owned()),
        ("attempt", doubt.attempt.clone()),
    ];
    cells.extend(
        doubt
            .title
            .as_deref()
            .map(|title| ("title", csv_field(title))),
    );
    if let Some((label, answer)) = &doubt.label_and_answer {
        cells.push(("label", csv_field(label)));
        cells.push(("answer", csv_field(answer)));
    }
    cells.extend(note(doubt.note.as_ref()));
    cells
}

fn note(note: Option<&Label>) -> Option<(&'static str, String)> {
    note.map(|note| ("note", csv_field(note.as_str())))
}

/// A text as a field of CSV: quoted, on one line, and never a formula to a table program.
pub fn csv_field(text: &str) -> String {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let guard = if is_formula { "'" } else { "" };
    format!("\"{guard}{}\"", harmless(text).replace('"', "\"\""))
}

/// Numbers are ours and never texts, so that one that is negative stays a number.
fn of_exercise(exercise: &ExerciseReport) -> Cells {
    let share = exercise.share;
    let confused: Vec<String> = exercise.confusions.iter().map(|one| one.words()).collect();
    let slid: Vec<String> = exercise
        .slides
        .iter()
        .map(|(words, n)| format!("{words} ({n})"))
        .collect();
    let mut cells = vec![
        ("about", "exercise".to_owned()),
        ("exercise", csv_field(&exercise.skill.0)),
        ("title", csv_field(&exercise.title)),
        ("kind", exercise.kind.id().to_owned()),
        ("answers", exercise.n.to_string()),
        ("right", exercise.right.to_string()),
        ("share", number(share.share, 3)),
        ("share_low", number(share.low, 3)),
        ("share_high", number(share.high, 3)),
        ("lean", wording::lean(exercise.sensitivity).to_owned()),
        ("confused", csv_field(&confused.join("; "))),
        ("slid", csv_field(&slid.join("; "))),
        ("days", exercise.days.0.to_string()),
        ("state", wording::state(exercise).to_owned()),
        ("due_day", exercise.due.to_string()),
    ];
    cells.extend(exercise.days.1.map(|day| ("last_day", day.to_string())));
    cells.extend(measured(exercise));
    cells
}

/// What is not measured in every exercise.
fn measured(exercise: &ExerciseReport) -> Cells {
    let apart = exercise.sensitivity.map(|apart| {
        [
            ("d_prime", number(apart.d_prime, 2)),
            ("d_prime_error", number(apart.error, 2)),
            ("criterion", number(apart.criterion, 2)),
        ]
    });
    let threshold = exercise.threshold.map(|(level, (low, high))| {
        [
            ("threshold_db", number(level.decibels(), 1)),
            ("threshold_low_db", number(low, 1)),
            ("threshold_high_db", number(high, 1)),
        ]
    });
    let timing = exercise.timing.map(|timing| {
        [
            ("lead_ms", number(timing.lead_ms, 0)),
            ("spread_ms", number(timing.spread_ms, 1)),
            ("spread_of_pulse", number(timing.of_pulse, 3)),
        ]
    });
    [apart, threshold, timing]
        .into_iter()
        .flatten()
        .flatten()
        .collect()
}

fn number(value: f64, places: usize) -> String {
    format!("{value:.places$}")
}
