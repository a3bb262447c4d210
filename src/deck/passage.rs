//! Passages of recordings, from the tables in which they are written.

use std::sync::Arc;

use crate::label::{ContentHash, Label};
use crate::mark::Mark;
use crate::quiz::passage::{CYCLES, Passage, PassageParts};
use crate::rhythm::Cycle;

use super::exercise::{id, key, optional};
use super::fault::{Faults, quoted};
use super::written::{Key, Shape, Table, Value};

/// The most passages of a deck.
pub(super) const MOST_PASSAGES: usize = 200;

/// The longest way to a file that is kept, in bytes.
const LONGEST_FILE: usize = 4096;

/// The keys of a passage.
pub(super) const KEYS: [Key; 7] = [
    key(
        "id",
        "an id of 1 to 40 lower-case letters, digits and hyphens",
        Shape::Id,
    ),
    key(
        "recording",
        "sha256: and the 64 hexadecimal digits of the file's bytes",
        Shape::Hash,
    ),
    optional("bytes", "how many bytes the file has", Shape::Bytes),
    optional("file", "where the file lies, on one line", Shape::Text),
    optional("cycle", "pulses in a cycle", Shape::Cycle),
    key(
        "pulses",
        "times of pulses in seconds in a list: the first is a first count, the last that of the cycle after",
        Shape::Times,
    ),
    key(
        "marks",
        "a sign for each cycle: 3, 2, b for both, ? where nobody could say, . where nothing was said",
        Shape::Marks,
    ),
];

/// The passages of a deck, each id once.
pub(super) fn read(table: &Table<'_>, faults: &mut Faults) -> Vec<Arc<Passage>> {
    let tables = table
        .get("passage")
        .map_or_else(Vec::new, |value| value.tables(MOST_PASSAGES, &KEYS, faults));
    let mut passages: Vec<Arc<Passage>> = Vec::new();
    for table in &tables {
        let Some(passage) = one(table, faults) else {
            continue;
        };
        if passages.iter().any(|other| other.id() == passage.id()) {
            let found = format!("{} again", quoted(passage.id().as_str()));
            let at = table.get("id").map_or(table.at(), |value| value.at);
            faults.add(at, &found, "each id once");
            continue;
        }
        passages.push(Arc::new(passage));
    }
    passages
}

fn one(table: &Table<'_>, faults: &mut Faults) -> Option<Passage> {
    let name = table.need("id", faults, id);
    let recording = table.need("recording", faults, |value, faults| {
        read_as(value, faults, |text| text.parse::<ContentHash>().ok())
    });
    let n_bytes = table.or("bytes", 0, faults, |value, faults| {
        let whole = value.whole(faults)?;
        let n_bytes = u64::try_from(whole).ok();
        if n_bytes.is_none() {
            value.is_wrong(faults);
        }
        n_bytes
    });
    let file = table.or("file", String::new(), faults, |value, faults| {
        read_as(value, faults, |text| {
            let is_shown = text.len() <= LONGEST_FILE && !text.chars().any(char::is_control);
            is_shown.then(|| text.to_owned())
        })
    });
    let cycle = table.or("cycle", Cycle::SIX, faults, cycle);
    let pulses = table.need("pulses", faults, times);
    let marks = table.need("marks", faults, |value, faults| {
        read_as(value, faults, |text| text.chars().map(mark).collect())
    });
    let parts = PassageParts {
        id: Label::new(name?).ok()?,
        recording: recording?,
        n_bytes: n_bytes?,
        file: file?,
        cycle: cycle?,
        pulses: pulses?,
        marks: marks?,
    };
    let passage = Passage::new(parts);
    if let Err(error) = &passage {
        let at = table.get("pulses").map_or(table.at(), |value| value.at);
        faults.add(at, &error.to_string(), "whole cycles, and a mark for each");
    }
    passage.ok()
}

fn read_as<T>(
    value: Value<'_>,
    faults: &mut Faults,
    read: impl Fn(&str) -> Option<T>,
) -> Option<T> {
    let found = read(value.text(faults)?);
    if found.is_none() {
        value.is_wrong(faults);
    }
    found
}

/// A cycle of so many pulses.
pub(super) fn cycle(value: Value<'_>, faults: &mut Faults) -> Option<Cycle> {
    let whole = value.whole(faults)?;
    let cycle = Cycle::new(whole).ok();
    if cycle.is_none() {
        value.is_wrong(faults);
    }
    cycle
}

fn times(value: Value<'_>, faults: &mut Faults) -> Option<Vec<f64>> {
    let most = CYCLES.end() * 48 + 1;
    let items = value.items(3..=most, faults)?;
    items.into_iter().map(|item| item.number(faults)).collect()
}

fn mark(sign: char) -> Option<Option<Mark>> {
    if sign == '.' {
        return Some(None);
    }
    let found = Mark::ALL.into_iter().find(|mark| mark.sign() == sign);
    found.map(Some)
}
