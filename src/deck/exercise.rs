//! One exercise of a deck, from the table in which it is written.

use std::sync::Arc;

use crate::phrase::{Bell, Entry, Family, Level, Pacing, Rival, Turning};
use crate::quiz::passage::Passage;
use crate::quiz::{Call, Course, Form, Guide, Kind, Material};
use crate::rhythm::{Counting, Cycle, Feel, Pattern};

use super::fault::{Faults, nearest, quoted};
use super::form::{BYS, FITS, MOST_CLAPPINGS, PLACES, by_id, fits_id, form, place_id};
use super::passage::{self, MOST_PASSAGES};
use super::recipe::{MOST_PATTERNS, Parts, recipe};
use super::words::{REPAIR_KEYS, Words};
use super::written::{Key, Only, Presence, Shape, Table, Value};
use super::{Levels, is_id};

/// The keys of an exercise.
pub(super) const KEYS: [Key; 28] = [
    key(
        "id",
        "an id of 1 to 40 lower-case letters, digits and hyphens",
        Shape::Id,
    ),
    key("title", "a short text on one line", Shape::Label),
    key(
        "asks",
        "name-feel, find-start, fit-clapping, clap, mark-accents, name-voice, name-clapping, catch-turn, whose-stroke or two-hands",
        Shape::Word(|| Kind::ALL.map(Kind::id).to_vec()),
    ),
    key("line", "one line that says what to do", Shape::Label),
    optional("repair", "one line that helps after a miss", Shape::Label),
    optional(
        "repairs",
        "a table of lines, each for one way to miss, as turned = \"...\"",
        Shape::Table(&REPAIR_KEYS),
    ),
    optional(
        "needs",
        "ids of exercises of this deck, in a list",
        Shape::Ids(MOST_NEEDS),
    ),
    may_make(
        "pattern",
        "a cycle, as six or guajira, a grouping of one's own in counts, as 1-4-7-9-11, or several of them in a list",
        Shape::Patterns(|| Pattern::all().map(Pattern::id).collect(), MOST_PATTERNS),
    ),
    may_make("counting", COUNTINGS, Shape::Word(counting_ids)),
    optional(
        "passages",
        "all, or ids of passages of this deck in a list",
        Shape::AllOrIds(MOST_PASSAGES),
    ),
    to_make(
        "families",
        "families of surfaces in a list, as [\"plain\", \"chords\"]",
        Shape::Words(|| Family::ALL.map(Family::id).to_vec()),
    ),
    to_make(
        "feels",
        "feels in a list, as [\"threes\", \"twos\"]",
        Shape::Words(|| Feel::ALL.map(Feel::id).to_vec()),
    ),
    to_make(
        "tempo",
        "two whole numbers, slowest and fastest, within 100 to 260",
        Shape::Pair(tempi_of_all_patterns),
    ),
    may_make(
        "rival",
        "none, mild or stronger",
        Shape::Word(|| Rival::ALL.map(Rival::id).to_vec()),
    ),
    may_make(
        "pacing",
        "steady, moving or elastic",
        Shape::Word(|| Pacing::ALL.map(Pacing::id).to_vec()),
    ),
    to_make(
        "cycles",
        "two whole numbers, fewest and most, within 2 to 12",
        Shape::Pair(|| CYCLES),
    ),
    may_make(
        "entry",
        "where a phrase comes in, in a list, as [\"one\", \"any\"]",
        Shape::Words(|| Entry::ALL.map(Entry::id).to_vec()),
    ),
    may_make(
        "bell",
        "none, every or second",
        Shape::Word(|| Bell::ALL.map(Bell::id).to_vec()),
    ),
    Key {
        presence: Presence::NeededIf(&Only {
            kinds: &[Kind::FindStart],
            words: "where asks = \"find-start\"",
        }),
        ..key(
            "by",
            "count or taps",
            Shape::Word(|| BYS.map(by_id).to_vec()),
        )
    },
    Key {
        presence: Presence::NeededIf(&Only {
            kinds: &[
                Kind::FitClapping,
                Kind::MarkAccents,
                Kind::NameClapping,
                Kind::Clap,
                Kind::TwoHands,
            ],
            words: "where claps are chosen, made or marked",
        }),
        ..key(
            "clappings",
            "clappings in counts in a list, as [\"1-4\", \"1-4-5\"]",
            Shape::Clappings(MOST_CLAPPINGS),
        )
    },
    Key {
        presence: Presence::NeededIf(&Only {
            kinds: &[Kind::FitClapping, Kind::MarkAccents],
            words: "where claps are to fit or accents are marked",
        }),
        ..key(
            "fits",
            "guitar or knocks",
            Shape::Word(|| FITS.map(fits_id).to_vec()),
        )
    },
    Key {
        presence: Presence::NeededIf(&CLAPPED),
        ..key(
            "guide",
            "every, half, first or none",
            Shape::Word(|| Guide::ALL.map(Guide::id).to_vec()),
        )
    },
    Key {
        presence: Presence::OptionalIf(&CLAP),
        ..key(
            "course",
            "whole, rising or silent-1, -2, -4 or -8",
            Shape::Word(|| Course::ALL.map(Course::id).to_vec()),
        )
    },
    Key {
        presence: Presence::OptionalIf(&Only {
            kinds: &[Kind::CatchTurn],
            words: "where asks = \"catch-turn\"",
        }),
        ..key(
            "turns",
            "once or hemiola",
            Shape::Word(|| Turning::ALL.map(Turning::id).to_vec()),
        )
    },
    Key {
        presence: Presence::OptionalIf(&CLAP),
        ..key(
            "place",
            "on or contra",
            Shape::Word(|| PLACES.map(place_id).to_vec()),
        )
    },
    Key {
        presence: Presence::OptionalIf(&CLAPPED),
        ..key(
            "call",
            "none, bell, stop or close",
            Shape::Word(|| Call::ALL.map(Call::id).to_vec()),
        )
    },
    optional(
        "cycle",
        "pulses in a cycle of the passages, or of a pattern in counts, 2 to 48",
        Shape::Cycle,
    ),
    to_make(
        "level",
        "a table of easiest, criterion and hardest in dB",
        Shape::Table(&LEVEL_KEYS),
    ),
];

/// Hands clap.
const CLAPPED: Only = Only {
    kinds: &[Kind::Clap, Kind::TwoHands],
    words: "where claps are made",
};

/// They clap one layer.
const CLAP: Only = Only {
    kinds: &[Kind::Clap],
    words: "where asks = \"clap\"",
};

const LEVEL_KEYS: [Key; 3] = [
    key("easiest", "a number of dB from 1.5 to 12", LEVEL),
    key("criterion", "a number of dB from 1.5 to 12", LEVEL),
    key("hardest", "a number of dB from 1.5 to 12", LEVEL),
];

const LEVEL: Shape = Shape::Number(|| (Level::WEAKEST.decibels(), Level::STRONGEST.decibels()));

/// Fewest and most cycles, as the recipe has them.
const CYCLES: (i64, i64) = (2, 12);

/// The slowest and the fastest tempo that any pattern lets be felt; each has a narrower range.
fn tempi_of_all_patterns() -> (i64, i64) {
    let tempi = || Pattern::all().map(Pattern::tempo);
    let slowest = tempi().map(|(slowest, _)| slowest).min();
    let fastest = tempi().map(|(_, fastest)| fastest).max();
    slowest.zip(fastest).expect("there are patterns")
}

/// The most exercises that one exercise may need.
const MOST_NEEDS: usize = 20;

pub(super) const fn key(name: &'static str, expected: &'static str, shape: Shape) -> Key {
    Key {
        name,
        expected,
        shape,
        presence: Presence::Needed,
    }
}

const fn to_make(name: &'static str, expected: &'static str, shape: Shape) -> Key {
    Key {
        presence: Presence::NeededToMake,
        ..key(name, expected, shape)
    }
}

/// What is expected of a counting.
pub(super) const COUNTINGS: &str = "from-one, from-last, un-dos or spanish";

pub(super) fn counting_ids() -> Vec<&'static str> {
    Counting::CHOICES.map(Counting::id).to_vec()
}

const fn may_make(name: &'static str, expected: &'static str, shape: Shape) -> Key {
    Key {
        presence: Presence::OptionalToMake,
        ..key(name, expected, shape)
    }
}

pub(super) const fn optional(name: &'static str, expected: &'static str, shape: Shape) -> Key {
    Key {
        presence: Presence::Optional,
        ..key(name, expected, shape)
    }
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
    pub(super) words: Words,
    pub(super) form: Form,
    /// `None` where no passage fits what is asked: the exercise waits for one.
    pub(super) material: Option<Material>,
    /// Passages that are asked for and turn, but are too short or too long for it.
    pub(super) unasked: Vec<Arc<Passage>>,
    pub(super) levels: Levels,
}

/// Reads an exercise. Every part is read, whatever is wrong with those before it.
pub(super) fn read<'a>(
    table: &Table<'a>,
    passages: &[Arc<Passage>],
    counting: Option<Counting>,
    faults: &mut Faults,
) -> Draft<'a> {
    Draft {
        at: table.at(),
        written_id: table.get("id"),
        id: table.need("id", faults, id),
        needs: table
            .or("needs", Vec::new(), faults, needs)
            .unwrap_or_default(),
        body: if table.get("passages").is_some() {
            cut(table, passages, faults)
        } else {
            made(table, counting, faults)
        },
    }
}

/// An id: 1 to 40 lower-case letters, digits and hyphens.
pub(super) fn id<'a>(value: Value<'a>, faults: &mut Faults) -> Option<&'a str> {
    let text = value.text(faults)?;
    if !is_id(text) {
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

/// An exercise for which phrases are made.
fn made(table: &Table<'_>, counting: Option<Counting>, faults: &mut Faults) -> Option<Body> {
    let levels = table.need("level", faults, levels);
    let parts = Parts::read(table, counting, faults);
    let words = Words::read(table, parts.pattern().cycle(), faults);
    let form = form(table, &parts, faults);
    let recipe = recipe(table, parts, faults);
    Some(Body {
        words: words?,
        form: form?,
        material: Some(Material::Made(recipe?)),
        unasked: Vec::new(),
        levels: levels?,
    })
}

/// An exercise of passages of recordings.
fn cut(table: &Table<'_>, passages: &[Arc<Passage>], faults: &mut Faults) -> Option<Body> {
    for key in KEYS.iter().filter(|key| key.presence.is_to_make()) {
        table.refuse(key.name, "it only where phrases are made", faults);
    }
    let cycle = table.or("cycle", Cycle::SIX, faults, passage::cycle);
    let those = table
        .get("passages")
        .and_then(|value| named(value, passages, faults));
    let parts = Parts::of_recordings(cycle.unwrap_or(Cycle::SIX));
    let words = Words::read(table, parts.pattern().cycle(), faults);
    let form = form(table, &parts, faults)?;
    if !Material::can_be_cut(&form) {
        let at = table.get("asks").map_or(table.at(), |value| value.at);
        let expected = "name-feel, find-start by count, fit-clapping to the guitar, clap without \
                        course and call, or catch-turn, where passages are asked";
        faults.add(at, &format!("\"{}\"", form.kind().id()), expected);
        return None;
    }
    let (those, cycle) = (those?, cycle?);
    let is_unasked = |passage: &&Arc<Passage>| {
        let turns = passage.cycle() == cycle && passage.turn_not_asked().is_some();
        turns && form.kind() == Kind::CatchTurn
    };
    Some(Body {
        words: words?,
        material: Material::cut(&form, &those, cycle),
        unasked: those.iter().filter(is_unasked).cloned().collect(),
        form,
        levels: as_it_is()?,
    })
}

/// The levels that stand for a recording, which is as hard as it is: one at which a made phrase is
/// plain.
fn as_it_is() -> Option<Levels> {
    let level = Level::of_tenths(50);
    Levels::new(level, level, level)
}

/// All passages, or those that are named.
fn named(
    value: Value<'_>,
    passages: &[Arc<Passage>],
    faults: &mut Faults,
) -> Option<Vec<Arc<Passage>>> {
    if !value.is_list() {
        return value
            .one_of(&["all"], |all| all, faults)
            .map(|_| passages.to_vec());
    }
    let found = |value: Value<'_>, faults: &mut Faults| {
        let name = value.text(faults)?;
        let passage = passages
            .iter()
            .find(|passage| passage.id().as_str() == name);
        if passage.is_none() {
            let ids = passages.iter().map(|passage| passage.id().as_str());
            let hint = nearest(name, ids);
            let expected = "the id of a passage of this deck";
            faults.add_hinted(value.at, &value.found(), expected, hint.as_deref());
        }
        passage.cloned()
    };
    value.set(1..=MOST_PASSAGES, faults, found)
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
