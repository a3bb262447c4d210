//! The report as one JSON object; DEVELOPERS.md describes it.

use serde_json::{Value, json};

use super::practice::Amount;
use super::{
    ClassReport, Common, ExerciseReport, GroupReport, Heard, LearnerReport, Moment, SetWork,
    wording,
};
use crate::label::Label;
use crate::report::stats::{Sensitivity, Share, wilson};

/// The report, on one line. It is put together learner by learner, since an object of all of them
/// takes ten times the memory of its text.
pub fn json(report: &ClassReport) -> String {
    let mut text = format!(
        "{{\"class-report\":1,\"today\":{},\"deck\":{}",
        json!(report.today.to_string()),
        json!(report.deck)
    );
    list(&mut text, "learners", report.learners.iter().map(learner));
    let groups = report.groups.iter().map(|one| group(one, report));
    list(&mut text, "groups", groups);
    list(
        &mut text,
        "exercises",
        report.exercises().iter().map(common),
    );
    text.push_str("}\n");
    text
}

fn list(text: &mut String, name: &str, values: impl Iterator<Item = Value>) {
    text.push_str(&format!(",\"{name}\":["));
    for (idx, value) in values.enumerate() {
        if idx > 0 {
            text.push(',');
        }
        text.push_str(&value.to_string());
    }
    text.push(']');
}

fn learner(learner: &LearnerReport) -> Value {
    let practice = &learner.practice;
    let doubts = learner.doubts.iter().map(|doubt| {
        json!({
            "attempt": doubt.attempt,
            "title": doubt.title,
            "label": doubt.label_and_answer.as_ref().map(|(label, _)| label),
            "answer": doubt.label_and_answer.as_ref().map(|(_, answer)| answer),
            "note": doubt.note.as_ref().map(Label::as_str),
        })
    });
    let heard_live = learner.heard_live.iter().map(|heard| {
        json!({
            "exercise": &*heard.skill.0,
            "title": heard.title,
            "day": heard.day.to_string(),
            "note": heard.note.as_ref().map(Label::as_str),
        })
    });
    json!({
        "learner": learner.who.learner.to_string(),
        "name": learner.who.name.as_str(),
        "groups": names(&learner.groups),
        "missing": learner.who.n_missing,
        "first_day": practice.days.map(|(first, _)| first.to_string()),
        "last_day": practice.days.map(|(_, last)| last.to_string()),
        "whole": amount(practice.whole),
        "lately": amount(practice.lately),
        "threes_from_twos": learner.sensitivity.map(apart),
        "exercises": learner.exercises.iter().map(exercise).collect::<Vec<Value>>(),
        "stuck": learner.stuck_in().map(|exercise| &*exercise.skill.0),
        "due": learner.due,
        "next": learner.next,
        "set": learner.set.iter().map(set).collect::<Vec<Value>>(),
        "heard_live": heard_live.collect::<Vec<Value>>(),
        "disputes": doubts.collect::<Vec<Value>>(),
        "moments": learner.moments.iter().map(moment).collect::<Vec<Value>>(),
    })
}

fn names(names: &[Label]) -> Value {
    names.iter().map(|name| json!(name.as_str())).collect()
}

fn group(group: &GroupReport, report: &ClassReport) -> Value {
    let learners = group.learners.iter();
    let learners = learners.filter_map(|at| report.learners.get(*at));
    json!({
        "group": group.name.as_ref().map(Label::as_str),
        "learners": learners.map(|one| one.who.learner.to_string()).collect::<Vec<String>>(),
        "not_handed_in": names(&group.awaited),
        "several_by_name": names(&group.unclear),
    })
}

fn set(set: &SetWork) -> Value {
    let (what, goal, reached) = (&set.assignment, set.assignment.goal, set.reached);
    json!({
        "number": set.number,
        "deck": &*what.deck,
        "title": what.title.as_str(),
        "line": what.line.as_ref().map(Label::as_str),
        "from": what.from.to_string(),
        "due": what.due.to_string(),
        "goal": { "firm": goal.firm(), "minutes": goal.minutes(), "days": goal.days() },
        "reached": { "firm": reached.firm, "minutes": reached.minutes, "days": reached.days },
        "state": set.stage.id(),
    })
}

fn amount(amount: Amount) -> Value {
    json!({
        "days": amount.days,
        "minutes": amount.minutes(),
        "answers": amount.n,
        "right": amount.right,
        "share": wilson(amount.right, amount.n).map(share),
    })
}

fn exercise(exercise: &ExerciseReport) -> Value {
    let confusions = exercise
        .confusions
        .iter()
        .map(|one| json!({ "said": one.said, "truth": one.truth, "n": one.n, "of": one.of }));
    let slides = exercise
        .slides
        .iter()
        .map(|(words, n)| json!({ "slid": words, "n": n }));
    json!({
        "exercise": &*exercise.skill.0,
        "title": exercise.title,
        "kind": exercise.kind.id(),
        "answers": exercise.n,
        "right": exercise.right,
        "share": share(exercise.share),
        "confusions": confusions.collect::<Vec<Value>>(),
        "threes_from_twos": exercise.sensitivity.map(apart),
        "threshold_db": exercise.threshold.map(|(level, (low, high))| {
            json!({ "level": level.decibels(), "low": rounded(low), "high": rounded(high) })
        }),
        "taps": exercise.timing.map(|timing| json!({
            "lead_ms": rounded(timing.lead_ms),
            "spread_ms": rounded(timing.spread_ms),
            "spread_of_pulse": rounded(timing.of_pulse),
            "n": timing.n,
        })),
        "slides": slides.collect::<Vec<Value>>(),
        "misses_followed": exercise.n_followed,
        "days": exercise.days.0,
        "last_day": exercise.days.1.map(|day| day.to_string()),
        "state": wording::state(exercise),
        "due_day": exercise.due.to_string(),
    })
}

fn moment(moment: &Moment) -> Value {
    let attempt = &moment.attempt;
    let (file, why) = match &moment.heard {
        Heard::NotAsked => (None, None),
        Heard::In(file) => (Some(file), None),
        Heard::Nowhere(why) => (None, Some(why)),
    };
    json!({
        "exercise": &*attempt.skill.0,
        "title": moment.title,
        "words": moment.words,
        "day": attempt.day.to_string(),
        "level_db": attempt.level.decibels(),
        "seed": attempt.seed.0,
        "generator": attempt.generator,
        "file": file,
        "not_heard": why,
    })
}

fn common(common: &Common) -> Value {
    json!({
        "title": common.title,
        "learners": common.n_learners,
        "firm_for": common.n_firm,
        "answers": common.n,
        "share": share(common.share),
        "confused": common.confused.as_ref().map(|one| one.words()),
    })
}

fn share(share: Share) -> Value {
    json!({ "share": rounded(share.share), "low": rounded(share.low), "high": rounded(share.high) })
}

fn apart(found: Sensitivity) -> Value {
    json!({
        "d_prime": rounded(found.d_prime),
        "error": rounded(found.error),
        "criterion": rounded(found.criterion),
        "lean": wording::lean(Some(found)),
    })
}

fn rounded(value: f64) -> f64 {
    // With 0 added there is no negative one.
    (value * 1e4).round() / 1e4 + 0.0
}
