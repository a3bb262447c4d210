//! One exercise of a deck, from the table in which it is written.

use std::ops::RangeInclusive;

use crate::label::Label;
use crate::phrase::{Bell, Entry, Family, Level, Recipe, RecipeError, RecipeParts};
use crate::quiz::{By, Fits, Form, Kind};
use crate::rhythm::{Feel, Layer, NotationError};

use super::Levels;
use super::fault::{Faults, quoted};
use super::written::{Key, Table, Value};

/// The keys of an exercise.
pub(super) const KEYS: [Key; 16] = [
    key(
        "id",
        "an id of 1 to 40 lower-case letters, digits and hyphens",
    ),
    key("title", "a short text on one line"),
    key("asks", "name-feel, find-start or fit-clapping"),
    key("line", "one line that says what to do"),
    key("repair", "one line that helps after a miss"),
    key("needs", "ids of exercises of this deck, in a list"),
    key(
        "families",
        "families of surfaces in a list, as [\"plain\", \"chords\"]",
    ),
    key("feels", "feels in a list, as [\"threes\", \"twos\"]"),
    key(
        "tempo",
        "two numbers, slowest and fastest, in pulses a minute",
    ),
    key("cycles", "two numbers, fewest and most cycles of a phrase"),
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
    key("level", "a table of easiest, criterion and hardest in dB"),
];

const LEVEL_KEYS: [Key; 3] = [
    key("easiest", "a number of dB from 1.5 to 12"),
    key("criterion", "a number of dB from 1.5 to 12"),
    key("hardest", "a number of dB from 1.5 to 12"),
];

/// The most exercises that one exercise may need.
const MOST_NEEDS: usize = 20;

/// How many clappings an exercise has to choose from.
const CLAPPINGS: RangeInclusive<usize> = 2..=6;

/// The most words of a list in which each word stands once; more is no list of them.
const MOST_WORDS: usize = 10;

const fn key(name: &'static str, expected: &'static str) -> Key {
    Key { name, expected }
}

/// An exercise as it was read, with the places that later faults point to. It stands in its deck
/// under its id even where the rest of it could not be read.
pub(super) struct Draft<'a> {
    pub(super) at: usize,
    pub(super) id: Option<Value<'a>>,
    pub(super) name: Option<&'a str>,
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
    pub(super) line: Label,
    pub(super) repair: Option<Label>,
    pub(super) form: Form,
    pub(super) recipe: Recipe,
    pub(super) levels: Levels,
}

/// Reads an exercise. Every part is read, whatever is wrong with those before it.
pub(super) fn read<'a>(table: &Table<'a>, faults: &mut Faults) -> Draft<'a> {
    Draft {
        at: table.at(),
        id: table.get("id"),
        name: table.need("id", faults, id),
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
    let line = table.need("line", faults, Value::label);
    let repair = table.or("repair", None, faults, |value, faults| {
        value.label(faults).map(Some)
    });
    let levels = table.need("level", faults, levels);
    let parts = Parts::read(table, faults);
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

/// The parts of a recipe, each where it could be read.
struct Parts {
    families: Option<Vec<Family>>,
    feels: Option<Vec<Feel>>,
    tempo: Option<(i64, i64)>,
    cycles: Option<(i64, i64)>,
    entries: Option<Vec<Entry>>,
    bell: Option<Bell>,
}

impl Parts {
    fn read(table: &Table<'_>, faults: &mut Faults) -> Self {
        Self {
            families: table.need("families", faults, |value, faults| {
                words(value, &Family::ALL, Family::id, faults)
            }),
            feels: table.need("feels", faults, |value, faults| {
                words(value, &Feel::ALL, Feel::id, faults)
            }),
            tempo: table.need("tempo", faults, Value::pair),
            cycles: table.need("cycles", faults, Value::pair),
            entries: table.or("entry", vec![Entry::One], faults, |value, faults| {
                words(value, &Entry::ALL, Entry::id, faults)
            }),
            bell: table.or("bell", Bell::None, faults, |value, faults| {
                value.one_of(&Bell::ALL, Bell::id, faults)
            }),
        }
    }

    fn is_whole(&self) -> bool {
        self.families.is_some()
            && self.feels.is_some()
            && self.tempo.is_some()
            && self.cycles.is_some()
            && self.entries.is_some()
            && self.bell.is_some()
    }
}

fn words<T: Copy + PartialEq>(
    value: Value<'_>,
    options: &[T],
    id: fn(T) -> &'static str,
    faults: &mut Faults,
) -> Option<Vec<T>> {
    value.set(1..=MOST_WORDS, faults, |item, faults| {
        item.one_of(options, id, faults)
    })
}

/// The recipe, checked by its own rules. What could not be read is filled in with something sound,
/// and so is what breaks a rule once that is noted, so that no rule hides another.
fn recipe(table: &Table<'_>, parts: Parts, faults: &mut Faults) -> Option<Recipe> {
    const SOUND_TEMPO: (i64, i64) = (120, 120);
    const SOUND_CYCLES: (i64, i64) = (4, 4);
    let mut is_sound = parts.is_whole();
    let mut parts = RecipeParts {
        families: parts.families.unwrap_or(vec![Family::Plain]),
        feels: parts.feels.unwrap_or(vec![Feel::Threes]),
        tempo: parts.tempo.unwrap_or(SOUND_TEMPO),
        cycles: parts.cycles.unwrap_or(SOUND_CYCLES),
        entries: parts.entries.unwrap_or(vec![Entry::One]),
        bell: parts.bell.unwrap_or(Bell::None),
    };
    loop {
        let error = match Recipe::new(parts.clone()) {
            Ok(recipe) => return is_sound.then_some(recipe),
            Err(error) => error,
        };
        is_sound = false;
        let name = match error {
            RecipeError::Tempo(..) => {
                parts.tempo = SOUND_TEMPO;
                "tempo"
            }
            RecipeError::Cycles(..) | RecipeError::NoRoomForTurn(_) => {
                parts.cycles = SOUND_CYCLES;
                "cycles"
            }
            // Lists are never empty here: that is a fault of the list.
            RecipeError::Nothing(_) => return None,
        };
        // The rule's text has what was found before the semicolon and what is possible after it.
        let told = error.to_string();
        let (found, expected) = told.split_once("; ").unwrap_or((&told, "another recipe"));
        let at = table.get(name).map_or(table.at(), |value| value.at);
        faults.add(at, found, expected);
    }
}

/// What is asked, in accord with the parts of the recipe.
fn form(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let asks = table.need("asks", faults, |value, faults| {
        value.one_of(&Kind::ALL, Kind::id, faults)
    })?;
    if asks != Kind::FindStart {
        table.refuse("by", "it only where asks = \"find-start\"", faults);
    }
    if asks != Kind::FitClapping {
        for name in ["clappings", "fits"] {
            table.refuse(name, "it only where asks = \"fit-clapping\"", faults);
        }
    }
    match asks {
        Kind::NameFeel => name_feel(table, parts, faults),
        Kind::FindStart => find_start(table, parts, faults),
        Kind::FitClapping => fit_clapping(table, parts, faults),
    }
}

fn name_feel(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    if parts.feels.as_ref().is_some_and(|feels| feels.len() < 2) {
        let value = table.get("feels")?;
        faults.add(value.at, "one feel", "two or more to tell apart");
        return None;
    }
    Some(Form::NameFeel)
}

fn find_start(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let by_id = |by| match by {
        By::Count => "count",
        By::Taps => "taps",
    };
    let by = table.need("by", faults, |value, faults| {
        value.one_of(&[By::Count, By::Taps], by_id, faults)
    })?;
    let is_fixed = parts.entries.as_deref() == Some(&[Entry::One]);
    if by == By::Count && is_fixed {
        // Every answer would be the same, and right without listening.
        let at = table.get("entry").map_or(table.at(), |value| value.at);
        let expected = "any or pickup in it, since the count of entry is asked";
        faults.add(at, "entry only on one", expected);
        return None;
    }
    Some(Form::FindStart(by))
}

fn fit_clapping(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let fits_id = |fits| match fits {
        Fits::Guitar => "guitar",
        Fits::Knocks => "knocks",
    };
    let to = table.need("fits", faults, |value, faults| {
        value.one_of(&[Fits::Guitar, Fits::Knocks], fits_id, faults)
    });
    let clappings = table.need("clappings", faults, |value, faults| {
        value.set(CLAPPINGS, faults, clapping)
    });
    let (to, clappings) = (to?, clappings?);
    if to == Fits::Guitar && !claps_are_offered(table, parts, &clappings, faults) {
        return None;
    }
    Some(Form::FitClapping { clappings, to })
}

fn clapping(value: Value<'_>, faults: &mut Faults) -> Option<Layer> {
    let text = value.text(faults)?;
    let error = match Layer::from_counts(Recipe::CYCLE, text) {
        Ok(layer) => return Some(layer),
        Err(error) => error,
    };
    let hint = match error {
        NotationError::Sign { column, .. } | NotationError::Outside { column, .. } => {
            format!("at character {column} of it")
        }
        other => other.to_string(),
    };
    let expected = "counts from 1 to 6 joined by -, as 1-4-5";
    faults.add_hinted(value.at, &value.found(), expected, Some(hint));
    None
}

/// Whether each feel has one clapping that fits it, and that clapping is offered.
fn claps_are_offered(
    table: &Table<'_>,
    parts: &Parts,
    clappings: &[Layer],
    faults: &mut Faults,
) -> bool {
    let Some(feels) = &parts.feels else {
        return true;
    };
    let items = table
        .get("feels")
        .and_then(|value| value.items(1..=MOST_WORDS, faults))
        .unwrap_or_default();
    let mut all_are = true;
    for (feel, item) in feels.iter().zip(items) {
        let expected = match feel.layer(Recipe::CYCLE) {
            Some(layer) if clappings.contains(&layer) => continue,
            Some(layer) => format!("its claps, {}, among clappings", layer.in_counts()),
            None => "threes or twos, which one clapping fits".to_owned(),
        };
        faults.add(item.at, &item.found(), &expected);
        all_are = false;
    }
    all_are
}
