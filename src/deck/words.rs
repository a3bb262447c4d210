//! What an exercise says: its title, its line, and what helps after a miss.

use std::collections::BTreeMap;

use crate::label::Label;
use crate::quiz::{Kind, Miss, Repairs};
use crate::rhythm::Cycle;

use super::exercise::optional;
use super::fault::{Faults, quoted};
use super::spoken::Spoken;
use super::written::{Key, Shape, Table, Value};

/// The keys of the repairs: one for each way to miss.
pub(super) const REPAIR_KEYS: [Key; Miss::ALL.len()] = {
    let mut keys = [const { optional("", "one line that helps", Shape::Label) }; Miss::ALL.len()];
    let mut idx = 0;
    while idx < keys.len() {
        keys[idx].name = Miss::ALL[idx].id();
        idx += 1;
    }
    keys
};

/// The same for each kind of question.
pub(super) const KIND_KEYS: [Key; Kind::ALL.len()] = {
    const LINES: &str = "a table of lines, as turned = \"...\"";
    let mut keys = [const { optional("", LINES, Shape::Table(&REPAIR_KEYS)) }; Kind::ALL.len()];
    let mut idx = 0;
    while idx < keys.len() {
        keys[idx].name = Kind::ALL[idx].id();
        idx += 1;
    }
    keys
};

/// A line for each way to miss.
type Of = BTreeMap<Miss, Spoken>;

/// What an exercise says.
pub(super) struct Words {
    pub(super) title: Label,
    pub(super) line: Spoken,
    pub(super) repairs: Repairs<Spoken>,
}

impl Words {
    /// Reads them; every part is read, whatever is wrong with those before it.
    pub(super) fn read(table: &Table<'_>, cycle: Cycle, faults: &mut Faults) -> Option<Self> {
        let title = table.need("title", faults, Value::label);
        let line = table.need("line", faults, |value, faults| spoken(value, cycle, faults));
        let any = table.or("repair", None, faults, |value, faults| {
            spoken(value, cycle, faults).map(Some)
        });
        let of = table.or("repairs", Of::new(), faults, |value, faults| {
            repairs(value, kind(table), faults, |value, faults| {
                spoken(value, cycle, faults)
            })
        });
        Some(Self {
            title: title?,
            line: line?,
            repairs: Repairs { any: any?, of: of? },
        })
    }
}

/// The kind of question, where that can be read; what is wrong with it is told elsewhere.
fn kind(table: &Table<'_>) -> Option<Kind> {
    let asks = table.get("asks")?;
    let id = asks.text(&mut Faults::default())?;
    Kind::from_id(id)
}

/// The repairs that a deck has for all its exercises of a kind. Cycles differ from one to another, so that
/// no counts stand in them.
pub(super) fn repairs_of_kinds(table: &Table<'_>, faults: &mut Faults) -> BTreeMap<Kind, Of> {
    let Some(value) = table.get("repairs") else {
        return BTreeMap::new();
    };
    let Some(table) = value.table(&KIND_KEYS, faults) else {
        return BTreeMap::new();
    };
    let words = |value: Value<'_>, faults: &mut Faults| {
        let label = value.label(faults)?;
        let words = Spoken::without_counts(&label);
        if words.is_none() {
            faults.add(
                value.at,
                "counts between braces",
                "them in an exercise alone, whose cycle is known",
            );
        }
        words
    };
    let of_kind = |kind: Kind| {
        let of = repairs(table.get(kind.id())?, Some(kind), faults, words)?;
        Some((kind, of))
    };
    Kind::ALL.into_iter().filter_map(of_kind).collect()
}

/// A repair for each way to miss that this kind of question has.
fn repairs(
    value: Value<'_>,
    kind: Option<Kind>,
    faults: &mut Faults,
    read: impl Fn(Value<'_>, &mut Faults) -> Option<Spoken>,
) -> Option<Of> {
    let table = value.table(&REPAIR_KEYS, faults)?;
    let likely = kind.map_or(&Miss::ALL[..], Miss::of_kind);
    let mut repairs = Of::new();
    for miss in Miss::ALL {
        let Some(value) = table.get(miss.id()) else {
            continue;
        };
        if !likely.contains(&miss) {
            let ids: Vec<&str> = likely.iter().map(|miss| miss.id()).collect();
            let found = format!("a repair of {}", quoted(miss.id()));
            let expected = format!("one of {} in this kind of question", ids.join(", "));
            faults.add(value.at, &found, &expected);
        }
        repairs.extend(read(value, faults).map(|line| (miss, line)));
    }
    Some(repairs)
}

/// A line in which counts may stand between braces.
fn spoken(value: Value<'_>, cycle: Cycle, faults: &mut Faults) -> Option<Spoken> {
    let label = value.label(faults)?;
    let spoken = Spoken::of(&label, cycle);
    if let Err(error) = &spoken {
        let n = cycle.n_pulses();
        let expected = format!("counts from 1 to {n} joined by - where braces stand, as {{1-3}}");
        faults.add(value.at, &error.to_string(), &expected);
    }
    spoken.ok()
}
