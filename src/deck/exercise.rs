//! One exercise of a deck, from the table in which it is written.

use crate::label::Label;
use crate::phrase::{Level, Recipe};
use crate::quiz::Form;
use crate::rhythm::Cycle;

use super::Levels;
use super::fault::{Faults, quoted};
use super::form::form;
use super::recipe::{Parts, recipe};
use super::spoken::Spoken;
use super::written::{Key, Table, Value};

/// The keys of an exercise.
pub(super) const KEYS: [Key; 24] = [
    key(
        "id",
        "an id of 1 to 40 lower-case letters, digits and hyphens",
    ),
    key("title", "a short text on one line"),
    key(
        "asks",
        "name-feel, find-start, fit-clapping, clap, mark-accents, name-voice, name-clapping, catch-turn, whose-stroke or two-hands",
    ),
    key("line", "one line that says what to do"),
    key("repair", "one line that helps after a miss"),
    key("needs", "ids of exercises of this deck, in a list"),
    key("pattern", "a cycle, as six or guajira, or several of them"),
    key(
        "families",
        "families of surfaces in a list, as [\"plain\", \"chords\"]",
    ),
    key("feels", "feels in a list, as [\"threes\", \"twos\"]"),
    key(
        "tempo",
        "two whole numbers, slowest and fastest, within 100 to 260",
    ),
    key("rival", "none, mild or stronger"),
    key("pacing", "steady, moving or elastic"),
    key(
        "cycles",
        "two whole numbers, fewest and most, within 2 to 12",
    ),
    key(
        "entry",
        "where a phrase comes in, in a list, as [\"one\", \"any\"]",
    ),
    key("bell", "none, every or second"),
    key("by", "count or taps"),
    key(
        "clappings",
        "clappings in counts in a list, as [\"1-4\", \"1-4-5\"]",
    ),
    key("fits", "guitar or knocks"),
    key("guide", "every, half, first or none"),
    key("course", "whole, rising or silent-1, -2, -4 or -8"),
    key("turns", "once or hemiola"),
    key("place", "on or contra"),
    key("call", "none, bell, stop or close"),
    key("level", "a table of easiest, criterion and hardest in dB"),
];

const LEVEL_KEYS: [Key; 3] = [
    key("easiest", "a number of dB from 1.5 to 12"),
    key("criterion", "a number of dB from 1.5 to 12"),
    key("hardest", "a number of dB from 1.5 to 12"),
];

/// The most exercises that one exercise may need.
const MOST_NEEDS: usize = 20;

const fn key(name: &'static str, expected: &'static str) -> Key {
    Key { name, expected }
}

/// An exercise as it was read, with the places that later faults point to. It stands in its deck
/// under its id even where the rest of it could not be read.
pub(super) struct Draft<'a> {
    pub(super) at: usize,
    /// What stands as its id, sound or not.
    pub(super) written_id: Option<Value<'a>>,
    pub(super) id: Option<&'a str>,
    pub(super) needs: Vec<Need<'a>>,
    pub(super) body: Option<Body>,
}

/// An id that an exercise needs.
#[derive(Clone, Copy)]
pub(super) struct Need<'a> {
    pub(super) name: &'a str,
    pub(super) value: Value<'a>,
}

/// What an exercise has for itself, its parts in accord.
pub(super) struct Body {
    pub(super) title: Label,
    pub(super) line: Spoken,
    pub(super) repair: Option<Spoken>,
    pub(super) form: Form,
    pub(super) recipe: Recipe,
    pub(super) levels: Levels,
}

/// Reads an exercise. Every part is read, whatever is wrong with those before it.
pub(super) fn read<'a>(table: &Table<'a>, faults: &mut Faults) -> Draft<'a> {
    Draft {
        at: table.at(),
        written_id: table.get("id"),
        id: table.need("id", faults, id),
        needs: table
            .or("needs", Vec::new(), faults, needs)
            .unwrap_or_default(),
        body: body(table, faults),
    }
}

/// An id: 1 to 40 lower-case letters, digits and hyphens.
pub(super) fn id<'a>(value: Value<'a>, faults: &mut Faults) -> Option<&'a str> {
    let text = value.text(faults)?;
    let fits = |sign: u8| matches!(sign, b'a'..=b'z' | b'0'..=b'9' | b'-');
    if !(1..=40).contains(&text.len()) || !text.bytes().all(fits) {
        value.is_wrong(faults);
        return None;
    }
    Some(text)
}

fn needs<'a>(value: Value<'a>, faults: &mut Faults) -> Option<Vec<Need<'a>>> {
    let mut needs: Vec<Need<'a>> = Vec::new();
    for value in value.items(0..=MOST_NEEDS, faults)? {
        match value.text(faults) {
            Some(name) if needs.iter().any(|need| need.name == name) => {
                faults.add(value.at, &format!("{} again", quoted(name)), "each once");
            }
            Some(name) => needs.push(Need { name, value }),
            None => {}
        }
    }
    Some(needs)
}

fn body(table: &Table<'_>, faults: &mut Faults) -> Option<Body> {
    let title = table.need("title", faults, Value::label);
    let levels = table.need("level", faults, levels);
    let parts = Parts::read(table, faults);
    let cycle = parts.pattern().cycle();
    let line = table.need("line", faults, |value, faults| spoken(value, cycle, faults));
    let repair = table.or("repair", None, faults, |value, faults| {
        spoken(value, cycle, faults).map(Some)
    });
    let form = form(table, &parts, faults);
    let recipe = recipe(table, parts, faults);
    Some(Body {
        title: title?,
        line: line?,
        repair: repair?,
        form: form?,
        recipe: recipe?,
        levels: levels?,
    })
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

fn levels(value: Value<'_>, faults: &mut Faults) -> Option<Levels> {
    let table = value.table(&LEVEL_KEYS, faults)?;
    let [easiest, criterion, hardest] = LEVEL_KEYS.map(|key| {
        let level = table.need(key.name, faults, decibels)?;
        table.get(key.name).map(|value| (level, value))
    });
    let pairs = [
        ("easiest", easiest, criterion),
        ("criterion", criterion, hardest),
    ];
    for (name, above, below) in pairs {
        if let (Some((above, _)), Some((below, value))) = (above, below)
            && below > above
        {
            let expected = format!("at most {above}, the {name}");
            faults.add(value.at, &below.to_string(), &expected);
        }
    }
    Levels::new(easiest?.0, criterion?.0, hardest?.0)
}

/// A level in decibels, to the nearest tenth.
fn decibels(value: Value<'_>, faults: &mut Faults) -> Option<Level> {
    let db = value.number(faults)?;
    if !(Level::WEAKEST.decibels()..=Level::STRONGEST.decibels()).contains(&db) {
        value.is_wrong(faults);
        return None;
    }
    Some(Level::of_decibels(db))
}
