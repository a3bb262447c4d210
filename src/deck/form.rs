//! What an exercise asks, in accord with its recipe.

use std::ops::RangeInclusive;

use crate::phrase::{Bell, Entry, Turning};
use crate::quiz::judge::Place;
use crate::quiz::{By, Call, Course, Fits, Form, Guide, Kind};
use crate::rhythm::{Cycle, Feel, Layer, NotationError};

use super::exercise::KEYS;
use super::fault::Faults;
use super::recipe::{MOST_WORDS, Parts};
use super::written::{Table, Value};

/// The most clappings of an exercise.
pub(super) const MOST_CLAPPINGS: usize = 6;

/// How many clappings an exercise has to choose from.
const CLAPPINGS: RangeInclusive<usize> = 2..=MOST_CLAPPINGS;

/// How many layers an exercise has to clap.
const LAYERS: RangeInclusive<usize> = 1..=MOST_CLAPPINGS;
/// The most counts that can be chosen from with one key each.
const MOST_COUNTS: usize = 9;

/// The ways to give a start, what claps are to fit, and where they fall, by their ids.
pub(super) const BYS: [By; 2] = [By::Count, By::Taps];
pub(super) const FITS: [Fits; 2] = [Fits::Guitar, Fits::Knocks];
pub(super) const PLACES: [Place; 2] = [Place::On, Place::Contra];

pub(super) fn by_id(by: By) -> &'static str {
    match by {
        By::Count => "count",
        By::Taps => "taps",
    }
}

pub(super) fn fits_id(fits: Fits) -> &'static str {
    match fits {
        Fits::Guitar => "guitar",
        Fits::Knocks => "knocks",
    }
}

pub(super) fn place_id(place: Place) -> &'static str {
    match place {
        Place::On => "on",
        Place::Contra => "contra",
    }
}

/// What is asked, in accord with the parts of the recipe.
pub(super) fn form(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let asks = table.need("asks", faults, |value, faults| {
        value.one_of(&Kind::ALL, Kind::id, faults)
    })?;
    for key in &KEYS {
        if let Some(only) = key.presence.only()
            && !only.kinds.contains(&asks)
        {
            table.refuse(key.name, &format!("it only {}", only.words), faults);
        }
    }
    match asks {
        Kind::NameFeel => name_feel(table, parts, faults),
        Kind::FindStart => find_start(table, parts, faults),
        Kind::FitClapping => {
            let (clappings, to) = fitting(table, parts, faults)?;
            Some(Form::FitClapping { clappings, to })
        }
        Kind::MarkAccents => {
            let (patterns, of) = fitting(table, parts, faults)?;
            Some(Form::MarkAccents { patterns, of })
        }
        Kind::NameClapping => {
            let clappings = layers(table, parts, CLAPPINGS, faults);
            clappings.map(Form::NameClapping)
        }
        Kind::NameVoice => {
            let why = "since two voices are to differ";
            only_feel(table, parts, (Feel::Both, why), faults).then_some(Form::NameVoice)
        }
        Kind::CatchTurn => catch_turn(table, parts, faults),
        Kind::Clap => clap(table, parts, faults),
        Kind::WhoseStroke => whose_stroke(table, parts, faults),
        Kind::TwoHands => two_hands(table, parts, faults),
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
    let by = table.need("by", faults, |value, faults| {
        value.one_of(&BYS, by_id, faults)
    })?;
    let is_fixed = parts.entries.as_deref() == Some(&[Entry::One]);
    if by == By::Count && is_fixed {
        // Every answer would be the same, and right without listening.
        let at = table.get("entry").map_or(table.at(), |value| value.at);
        let expected = "any or pickup in it, since the count of entry is asked";
        faults.add(at, "entry only on one", expected);
        return None;
    }
    let n_counts = parts.pattern().cycle().n_pulses();
    if by == By::Count && n_counts > MOST_COUNTS {
        let at = table.get("by").map_or(table.at(), |value| value.at);
        let found = format!("{n_counts} counts to choose from");
        faults.add(at, &found, "taps in cycles of more than nine pulses");
        return None;
    }
    Some(Form::FindStart(by))
}

/// The claps that are to be told apart, and what they fit.
fn fitting(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<(Vec<Layer>, Fits)> {
    let to = table.need("fits", faults, |value, faults| {
        value.one_of(&FITS, fits_id, faults)
    });
    let clappings = layers(table, parts, CLAPPINGS, faults);
    let (to, clappings) = (to?, clappings?);
    if to == Fits::Guitar && !claps_are_offered(table, parts, &clappings, faults) {
        return None;
    }
    Some((clappings, to))
}

fn clap(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let guide = table.need("guide", faults, |value, faults| {
        value.one_of(&Guide::ALL, Guide::id, faults)
    });
    let layers = layers(table, parts, LAYERS, faults);
    let course = table.or("course", Course::Whole, faults, |value, faults| {
        value.one_of(&Course::ALL, Course::id, faults)
    });
    let place = table.or("place", Place::On, faults, |value, faults| {
        value.one_of(&PLACES, place_id, faults)
    });
    let call = call(table, parts, faults);
    let (layers, course, call) = (layers?, course?, call?);
    let needed = ("course", course.id(), course.least_cycles());
    if !has_cycles(table, parts, needed, faults) {
        return None;
    }
    if call == Call::Bell && layers.len() < 2 {
        let value = table.get("clappings")?;
        let expected = "two or more, since a bell calls for another one";
        faults.add(value.at, "one clapping", expected);
        return None;
    }
    if parts.patterns().len() > 1 && !claps_are_offered(table, parts, &layers, faults) {
        return None;
    }
    if call == Call::Close && !ends_with_the_close(table, parts, &layers, faults) {
        return None;
    }
    Some(Form::Clap {
        layers,
        place: place?,
        guide: guide?,
        course,
        call,
    })
}

fn two_hands(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let guide = table.need("guide", faults, |value, faults| {
        value.one_of(&Guide::ALL, Guide::id, faults)
    });
    let layers = layers(table, parts, 2..=2, faults);
    let call = call(table, parts, faults);
    if let (Some(Call::Close), Some(value)) = (call, table.get("call")) {
        faults.add(value.at, "\"close\"", "it only where asks = \"clap\"");
        return None;
    }
    let layers = <[Layer; 2]>::try_from(layers?).ok()?;
    Some(Form::TwoHands {
        layers,
        guide: guide?,
        call: call?,
    })
}

/// The fewest and the most cycles of a phrase that turns once: two and more on each side, and a key
/// for each.
const TURNING_CYCLES: (i64, i64) = (6, 9);

fn catch_turn(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let why = "since it is to turn";
    if !only_feel(table, parts, (Feel::InTurn, why), faults) {
        return None;
    }
    let (least, greatest) = TURNING_CYCLES;
    let (fewest, most) = parts.cycles.unwrap_or((least, greatest));
    if fewest < least || most > greatest {
        let at = table.get("cycles").map_or(table.at(), |value| value.at);
        let found = format!("[{fewest}, {most}]");
        faults.add(
            at,
            &found,
            &format!("within {least} to {greatest}, since it is to turn"),
        );
        return None;
    }
    let turning = table.or("turns", Turning::Once, faults, |value, faults| {
        value.one_of(&Turning::ALL, Turning::id, faults)
    });
    turning.map(Form::CatchTurn)
}

/// Whether the feels are this one alone.
fn only_feel(
    table: &Table<'_>,
    parts: &Parts,
    (feel, why): (Feel, &str),
    faults: &mut Faults,
) -> bool {
    let is_so = parts.feels.as_ref().is_none_or(|feels| feels == &[feel]);
    if !is_so && let Some(value) = table.get("feels") {
        let expected = format!("[\"{}\"] alone, {why}", feel.id());
        faults.add(value.at, &value.found(), &expected);
    }
    is_so
}

/// Both layers must sound, so that a stroke can be one of both.
fn whose_stroke(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Form> {
    let why = "since strokes of both are asked";
    if !only_feel(table, parts, (Feel::Both, why), faults) {
        return None;
    }
    if parts.bell.is_some_and(|bell| bell != Bell::None) {
        let at = table.get("bell").map_or(table.at(), |value| value.at);
        faults.add(at, "a bell", "none, since a bell marks the stroke");
        return None;
    }
    Some(Form::WhoseStroke)
}

fn layers(
    table: &Table<'_>,
    parts: &Parts,
    how_many: RangeInclusive<usize>,
    faults: &mut Faults,
) -> Option<Vec<Layer>> {
    let cycle = parts.pattern().cycle();
    table.need("clappings", faults, |value, faults| {
        value.set(how_many, faults, |value, faults| {
            clapping(value, cycle, faults)
        })
    })
}

/// Whether a bell calls, in accord with the cycles and with the bell that marks counts.
fn call(table: &Table<'_>, parts: &Parts, faults: &mut Faults) -> Option<Call> {
    let call = table.or("call", Call::None, faults, |value, faults| {
        value.one_of(&Call::ALL, Call::id, faults)
    })?;
    let needed = ("call", call.id(), call.least_cycles());
    if !has_cycles(table, parts, needed, faults) {
        return None;
    }
    if call != Call::None && parts.bell.is_some_and(|bell| bell != Bell::None) {
        let at = table.get("bell").map_or(table.at(), |value| value.at);
        faults.add(at, "a bell on counts", "none, since a bell calls");
        return None;
    }
    Some(call)
}

/// Whether the pattern closes on a count of its own, and no clapping goes on after it.
fn ends_with_the_close(
    table: &Table<'_>,
    parts: &Parts,
    layers: &[Layer],
    faults: &mut Faults,
) -> bool {
    let at = table.get("call").map_or(table.at(), |value| value.at);
    let pattern = parts.pattern();
    let Some(close) = pattern.close() else {
        let found = format!("the pattern {}", pattern.name());
        faults.add(
            at,
            &found,
            "one that closes on a count of its own, as guajira",
        );
        return false;
    };
    let goes_on = |layer: &Layer| layer.pulses().any(|pulse| pulse > close);
    if layers.iter().any(goes_on) {
        let at = table.get("clappings").map_or(at, |value| value.at);
        faults.add(at, "a clap after the close", "claps up to the close");
        return false;
    }
    true
}

/// Whether there are as many cycles as a key with this id asks for.
fn has_cycles(
    table: &Table<'_>,
    parts: &Parts,
    (name, id, least): (&str, &str, u32),
    faults: &mut Faults,
) -> bool {
    let Some(fewest) = parts.fewest_cycles() else {
        return true;
    };
    if fewest < i64::from(least) {
        let at = table.get("cycles").map_or(table.at(), |value| value.at);
        let expected = format!("{least} or more where {name} = {id:?}");
        faults.add(at, &format!("{fewest} cycles"), &expected);
        return false;
    }
    true
}

pub(super) fn clapping(value: Value<'_>, cycle: Cycle, faults: &mut Faults) -> Option<Layer> {
    let text = value.text(faults)?;
    let error = match Layer::from_counts(cycle, text) {
        Ok(layer) => return Some(layer),
        Err(error) => error,
    };
    let hint = match error {
        NotationError::Sign { column, .. } | NotationError::Outside { column, .. } => {
            format!("at character {column} of it")
        }
        other => other.to_string(),
    };
    let n = cycle.n_pulses();
    let expected = format!("counts from 1 to {n} joined by -, as 1-4-5");
    faults.add_hinted(value.at, &value.found(), &expected, Some(&hint));
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
        for pattern in parts.patterns() {
            let expected = match pattern.claps(*feel) {
                Some(layer) if clappings.contains(&layer) => continue,
                Some(layer) => format!("its claps, {}, among clappings", layer.in_counts()),
                None => "threes or twos, which one clapping fits".to_owned(),
            };
            faults.add(item.at, &item.found(), &expected);
            all_are = false;
        }
    }
    all_are
}
