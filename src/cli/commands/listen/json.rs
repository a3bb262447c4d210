//! What was heard as one JSON object; DEVELOPERS.md describes it.

use serde_json::{Map, Value, json};

use super::Listened;
use crate::listen::{CycleSaid, Part, Said};

pub(super) fn object(listened: &Listened) -> Value {
    let analysis = &listened.analysis;
    let others = |(ppm, fits): &(f64, f64)| json!({ "ppm": rounded(*ppm), "fits": rounded(*fits) });
    let number = |at: &usize| at + 1;
    json!({
        "file": listened.name,
        "cycle": analysis.cycle.n_pulses(),
        "pulses_from": listened.pulses.id(),
        "tempo_ppm": analysis.tempo_ppm().map(rounded),
        "tempi": listened.others.iter().map(others).collect::<Vec<Value>>(),
        "pulses": analysis.pulses.iter().map(|time| rounded(*time)).collect::<Vec<f64>>(),
        "cycles": analysis.cycles.iter().map(cycle).collect::<Vec<Value>>(),
        "whole": Value::Object(said(&analysis.whole)),
        "turns": analysis.turns.iter().map(number).collect::<Vec<usize>>(),
    })
}

fn cycle(cycle: &CycleSaid) -> Value {
    let mut object = Map::new();
    object.insert("start".to_owned(), json!(rounded(cycle.start)));
    object.extend(said(&cycle.said));
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
