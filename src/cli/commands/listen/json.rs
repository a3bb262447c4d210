//! What was heard as one JSON object; DEVELOPERS.md describes it.

use serde_json::{Map, Value, json};

use super::Listened;
use super::kept::name_of;
use crate::app::recording::{agreement_of, agreement_with_analysis};
use crate::listen::{CycleSaid, InTime, Part, Said};
use crate::mark::{By, Marked};
use crate::report::Agreement;

pub(super) fn object(listened: &Listened) -> Value {
    let analysis = &listened.analysis;
    let others = |(ppm, fits): &(f64, f64)| json!({ "ppm": rounded(*ppm), "fits": rounded(*fits) });
    let in_time = |part: &InTime| {
        let [from, until, ppm] = [part.from, part.until, part.ppm].map(rounded);
        json!({ "from": from, "until": until, "ppm": ppm })
    };
    let number = |at: &usize| at + 1;
    let mut object = json!({
        "file": listened.name,
        "cycle": analysis.cycle.n_pulses(),
        "pulses_from": listened.pulses.id(),
        "tempo_ppm": analysis.tempo_ppm().map(rounded),
        "in_time": listened.in_time.iter().map(in_time).collect::<Vec<Value>>(),
        "tempi": listened.others.iter().map(others).collect::<Vec<Value>>(),
        "pulses": analysis.pulses.iter().map(|time| rounded(*time)).collect::<Vec<f64>>(),
        "cycles": analysis.cycles.iter().map(cycle).collect::<Vec<Value>>(),
        "whole": Value::Object(said(&analysis.whole)),
        "turns": analysis.turns.iter().map(number).collect::<Vec<usize>>(),
    });
    if !listened.marks.is_empty() {
        let said = listened.marks.iter();
        let marks = said.flat_map(|(by, marks)| marks.all().iter().map(|said| marked(by, said)));
        object["marks"] = marks.collect();
        object["agreement"] = agreements(listened);
    }
    object
}

fn marked(by: &By, marked: &Marked) -> Value {
    json!({
        "from": rounded(marked.stretch.from()),
        "until": rounded(marked.stretch.until()),
        "mark": marked.mark.id(),
        "confidence": marked.sure.id(),
        "by": name_of(by),
    })
}

/// Of each person with the analysis, and of each two persons.
fn agreements(listened: &Listened) -> Value {
    let (analysis, all) = (&listened.analysis, &listened.marks);
    let with_analysis = all.iter().map(|(by, marks)| {
        let mut found = agreement(agreement_with_analysis(analysis, marks));
        found["first"] = json!(name_of(by));
        found
    });
    let pairs = (1..).zip(all).flat_map(|(after, first)| {
        let others = all.iter().skip(after);
        others.map(move |second| (first, second))
    });
    let with_each_other = pairs.map(|(first, second)| {
        let mut found = agreement(agreement_of(analysis, [first.1, second.1]));
        found["first"] = json!(name_of(first.0));
        found["second"] = json!(name_of(second.0));
        found
    });
    json!({
        "with_analysis": with_analysis.collect::<Vec<Value>>(),
        "with_each_other": with_each_other.collect::<Vec<Value>>(),
    })
}

fn agreement(found: Agreement) -> Value {
    json!({
        "same": found.n_same,
        "both": found.n_both,
        "first_cannot": found.n_first_cannot,
        "second_cannot": found.n_second_cannot,
        "kappa": found.kappa.map(rounded),
    })
}

fn cycle(cycle: &CycleSaid) -> Value {
    let mut object = Map::new();
    object.insert("start".to_owned(), json!(rounded(cycle.start)));
    object.extend(said(&cycle.said));
    if cycle.said.turns_within {
        object.insert("turns_within".to_owned(), json!(true));
    }
    let voice =
        |(part, evidence): (Part, &f64)| (part.name().to_owned(), json!(rounded(*evidence)));
    let voices: Map<String, Value> = Part::ALL.into_iter().zip(&cycle.parts).map(voice).collect();
    object.insert("voices".to_owned(), Value::Object(voices));
    Value::Object(object)
}

fn said(said: &Said) -> Map<String, Value> {
    let fields = [
        ("threes", json!(rounded(said.threes))),
        ("twos", json!(rounded(said.twos))),
        ("sure", json!(rounded(said.sure))),
        ("lean", json!(said.lean.id())),
    ];
    fields
        .map(|(name, value)| (name.to_owned(), value))
        .into_iter()
        .collect()
}

/// To a tenth of a millisecond, or as many places of anything else.
pub(super) fn rounded(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}
