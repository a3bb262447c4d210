//! What a deck takes from those that come with the program, and the parts into which it is divided.
//!
//! Read [`Shelf`] first: it hands out each skill once. A [`WrittenPart`] names skills to take and
//! exercises of the deck itself; [`in_order`] puts all of them into the order in which they are
//! offered.

use std::cell::OnceCell;
use std::collections::HashMap;

use crate::label::Label;
use crate::quiz::Skill;

use super::exercise::key;
use super::fault::{Faults, nearest, quoted};
use super::parse::{self, MOST_EXERCISES, Trial};
use super::written::{Key, Shape, Table, Value};
use super::{Deck, Exercise, OWN, Part};

/// The most parts of a deck: the weeks of a year.
pub(super) const MOST_PARTS: usize = 53;

/// The keys of a part.
pub(super) const KEYS: [Key; 2] = [
    key("title", "a short text on one line", Shape::Label),
    key(
        "takes",
        "skills of a deck that comes with the program and ids of exercises of this one in a list, as \
         [\"path/plain\"]",
        Shape::SkillsOrIds(MOST_EXERCISES),
    ),
];

/// The skills of the decks that come with the program, and which of them this deck took.
#[derive(Default)]
pub(super) struct Shelf {
    /// Read when the first is asked for: these decks take nothing themselves.
    skills: OnceCell<Vec<Exercise>>,
    taken: Vec<Skill>,
}

impl Shelf {
    fn skills(&self) -> &[Exercise] {
        self.skills.get_or_init(|| {
            let texts = OWN.iter();
            let decks = texts.filter_map(|(_, text)| parse::parse_with(text, Trial::Before).ok());
            decks
                .flat_map(|deck: Deck| deck.exercises().to_vec())
                .collect()
        })
    }

    /// Exercises of the decks that come with the program, by the names of their skills. What they
    /// need beyond this deck does not hold them back in it.
    pub(super) fn takes(&mut self, value: Value<'_>, faults: &mut Faults) -> Option<Vec<Exercise>> {
        let mut taken = Vec::new();
        for value in value.items(1..=MOST_EXERCISES, faults)? {
            let name = value.text(faults)?;
            taken.extend(self.take(name, value, faults));
        }
        Some(taken)
    }

    fn take(&mut self, name: &str, value: Value<'_>, faults: &mut Faults) -> Option<Exercise> {
        let found = self.skills().iter().find(|e| &*e.skill.0 == name).cloned();
        let Some(found) = found else {
            let known = self.skills().iter().map(|e| &*e.skill.0).collect();
            is_unknown(value, known, faults);
            return None;
        };
        if self.taken.contains(&found.skill) {
            is_there_again(value, faults);
            return None;
        }
        self.taken.push(found.skill.clone());
        Some(found)
    }
}

/// Notes a name that is none of those known, with the nearest.
fn is_unknown(value: Value<'_>, mut known: Vec<&str>, faults: &mut Faults) {
    // The same hint every time, whatever the order in which they come.
    known.sort_unstable();
    let hint = nearest(value.plain(), known);
    faults.add_hinted(value.at, &value.found(), value.expected, hint.as_deref());
}

fn is_there_again(value: Value<'_>, faults: &mut Faults) {
    let found = format!("{} again", quoted(value.plain()));
    faults.add(value.at, &found, "each once");
}

/// A part as it stands in the text.
pub(super) struct WrittenPart<'a> {
    title: Label,
    items: Vec<Item<'a>>,
}

enum Item<'a> {
    Taken(Box<Exercise>),
    /// An exercise of this deck, by its id.
    Own(&'a str),
}

/// The ids of the exercises of the deck itself.
pub(super) struct OwnIds<'a> {
    pub(super) places: &'a HashMap<&'a str, usize>,
    /// Whether an exercise could not be read, so that nobody knows what its id was.
    pub(super) is_lost: bool,
}

/// Reads the parts of a deck.
pub(super) fn read<'a>(
    table: &Table<'a>,
    shelf: &mut Shelf,
    own: &OwnIds<'_>,
    faults: &mut Faults,
) -> Vec<WrittenPart<'a>> {
    let Some(value) = table.get("part") else {
        return Vec::new();
    };
    let mut named: Vec<&str> = Vec::new();
    let tables = value.tables(MOST_PARTS, &KEYS, faults);
    let part = |table: &Table<'a>| {
        let title = table.need("title", faults, Value::label);
        let items = table.need("takes", faults, |value, faults| {
            let values = value.items(1..=MOST_EXERCISES, faults)?;
            let item = |value| item(value, (&mut *shelf, own, &mut named), faults);
            Some(values.into_iter().filter_map(item).collect())
        });
        Some(WrittenPart {
            title: title?,
            items: items?,
        })
    };
    tables.iter().filter_map(part).collect()
}

/// One skill or exercise of a part, unless it stands in another one.
fn item<'a>(
    value: Value<'a>,
    (shelf, own, named): (&mut Shelf, &OwnIds<'_>, &mut Vec<&'a str>),
    faults: &mut Faults,
) -> Option<Item<'a>> {
    let name = value.text(faults)?;
    if name.contains('/') {
        let taken = shelf.take(name, value, faults);
        return taken.map(|exercise| Item::Taken(Box::new(exercise)));
    }
    if named.contains(&name) {
        is_there_again(value, faults);
        return None;
    }
    if !own.places.contains_key(name) {
        if !own.is_lost {
            is_unknown(value, own.places.keys().copied().collect(), faults);
        }
        return None;
    }
    named.push(name);
    Some(Item::Own(name))
}

/// All exercises in the order in which they are offered: those taken beside the parts, the parts one
/// after the other, and then what stands in none of them. An exercise of its own that waits for a passage
/// is in no part, and a part without any is none.
pub(super) fn in_order(
    taken: Vec<Exercise>,
    written: Vec<WrittenPart<'_>>,
    mut own: Vec<Exercise>,
) -> (Vec<Exercise>, Vec<Part>) {
    let mut exercises = taken;
    let mut parts = Vec::with_capacity(written.len());
    for part in written {
        let first = exercises.len();
        for item in part.items {
            match item {
                Item::Taken(exercise) => exercises.push(*exercise),
                Item::Own(id) => {
                    let is_it =
                        |e: &Exercise| e.skill.0.split_once('/').is_some_and(|(_, own)| own == id);
                    exercises.extend(own.iter().position(is_it).map(|place| own.remove(place)));
                }
            }
        }
        let skills = exercises.iter().skip(first).map(|e| e.skill.clone());
        parts.push(Part {
            title: part.title,
            skills: skills.collect(),
        });
    }
    parts.retain(|part| !part.skills.is_empty());
    exercises.append(&mut own);
    (exercises, parts)
}
