//! The recipe of an exercise, from its keys.

use crate::phrase::{Bell, Entry, Family, Recipe, RecipeError, RecipeParts};
use crate::rhythm::Feel;

use super::fault::Faults;
use super::written::{Table, Value};

/// The most words of a list in which each word stands once; more is no list of them.
pub(super) const MOST_WORDS: usize = 10;

/// The parts of a recipe, each where it could be read.
pub(super) struct Parts {
    pub(super) families: Option<Vec<Family>>,
    pub(super) feels: Option<Vec<Feel>>,
    tempo: Option<(i64, i64)>,
    cycles: Option<(i64, i64)>,
    pub(super) entries: Option<Vec<Entry>>,
    bell: Option<Bell>,
}

impl Parts {
    pub(super) fn read(table: &Table<'_>, faults: &mut Faults) -> Self {
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
pub(super) fn recipe(table: &Table<'_>, parts: Parts, faults: &mut Faults) -> Option<Recipe> {
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
        match error {
            RecipeError::Tempo(slowest, fastest) => {
                parts.tempo = SOUND_TEMPO;
                misses(table, "tempo", &format!("{slowest} to {fastest}"), faults);
            }
            RecipeError::Cycles(fewest, most) => {
                parts.cycles = SOUND_CYCLES;
                misses(table, "cycles", &format!("{fewest} to {most}"), faults);
            }
            RecipeError::NoRoomForTurn(fewest) => {
                parts.cycles = SOUND_CYCLES;
                let at = table.get("cycles").map_or(table.at(), |value| value.at);
                let expected = "4 or more where in-turn is among the feels";
                faults.add(at, &format!("{fewest} cycles"), expected);
            }
            // Lists are never empty here: that is a fault of the list.
            RecipeError::Nothing(_) => return None,
        }
    }
}

/// Notes that the value of a key reads `found` and is not what is expected of it.
fn misses(table: &Table<'_>, name: &str, found: &str, faults: &mut Faults) {
    if let Some(value) = table.get(name) {
        faults.add(value.at, found, value.expected);
    }
}
