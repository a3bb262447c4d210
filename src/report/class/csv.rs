//! The report as CSV, one row for each learner and exercise.

use super::{ClassReport, ExerciseReport, LearnerReport, wording};
use crate::label::harmless;

/// The names of the columns.
const HEAD: &str = "learner,name,exercise,title,kind,answers,right,share,share_low,share_high,\
d_prime,d_prime_error,criterion,lean,threshold_db,threshold_low_db,threshold_high_db,\
lead_ms,spread_ms,spread_of_pulse,confused,slid,days,last_day,state,due_day";

/// The report, with a line for the names of the columns. A learner without practice has one row with
/// empty cells.
pub fn csv(report: &ClassReport) -> String {
    let mut csv = format!("{HEAD}\n");
    for learner in &report.learners {
        let exercises = learner.exercises.iter();
        let mut rows: Vec<String> = exercises.map(|one| row(learner, Some(one))).collect();
        if rows.is_empty() {
            rows.push(row(learner, None));
        }
        for row in rows {
            csv.push_str(&row);
            csv.push('\n');
        }
    }
    csv
}

/// A text as a field of CSV: quoted, on one line, and never a formula to a table program.
pub fn csv_field(text: &str) -> String {
    let is_formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let guard = if is_formula { "'" } else { "" };
    format!("\"{guard}{}\"", harmless(text).replace('"', "\"\""))
}

fn row(learner: &LearnerReport, exercise: Option<&ExerciseReport>) -> String {
    let who = &learner.who;
    let mut cells = vec![who.learner.to_string(), csv_field(who.name.as_str())];
    match exercise {
        Some(exercise) => cells.extend(cells_of(exercise)),
        None => cells.extend(HEAD.split(',').skip(2).map(|_| String::new())),
    }
    cells.join(",")
}

/// Numbers are ours and never texts, so that one that is negative stays a number.
fn cells_of(exercise: &ExerciseReport) -> Vec<String> {
    let apart = exercise.sensitivity;
    let (threshold, timing) = (exercise.threshold, exercise.timing);
    let confused: Vec<String> = exercise.confusions.iter().map(|one| one.words()).collect();
    let slid: Vec<String> = exercise
        .slides
        .iter()
        .map(|(words, n)| format!("{words} ({n})"))
        .collect();
    vec![
        csv_field(&exercise.skill.0),
        csv_field(&exercise.title),
        exercise.kind.id().to_owned(),
        exercise.n.to_string(),
        exercise.right.to_string(),
        number(Some(exercise.share.share), 3),
        number(Some(exercise.share.low), 3),
        number(Some(exercise.share.high), 3),
        number(apart.map(|apart| apart.d_prime), 2),
        number(apart.map(|apart| apart.error), 2),
        number(apart.map(|apart| apart.criterion), 2),
        wording::lean(apart).to_owned(),
        number(threshold.map(|(level, _)| level.decibels()), 1),
        number(threshold.map(|(_, (low, _))| low), 1),
        number(threshold.map(|(_, (_, high))| high), 1),
        number(timing.map(|timing| timing.lead_ms), 0),
        number(timing.map(|timing| timing.spread_ms), 1),
        number(timing.map(|timing| timing.of_pulse), 3),
        csv_field(&confused.join("; ")),
        csv_field(&slid.join("; ")),
        exercise.days.0.to_string(),
        exercise
            .days
            .1
            .map_or_else(String::new, |day| day.to_string()),
        wording::state(exercise).to_owned(),
        exercise.due.to_string(),
    ]
}

fn number(value: Option<f64>, places: usize) -> String {
    value.map_or_else(String::new, |value| format!("{value:.places$}"))
}
