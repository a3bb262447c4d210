//! The recipe of an exercise, from its keys.

use crate::phrase::{Bell, Entry, Family, Pacing, Recipe, RecipeError, RecipeParts, Rival};
use crate::rhythm::{Cycle, Feel, Pattern};

use super::fault::Faults;
use super::written::{Table, Value};

/// The most words of a list in which each word stands once; more is no list of them.
pub(super) const MOST_WORDS: usize = 13;

/// The parts of a recipe, each where it could be read.
pub(super) struct Parts {
    pub(super) patterns: Option<Vec<Pattern>>,
    pub(super) families: Option<Vec<Family>>,
    pub(super) feels: Option<Vec<Feel>>,
    tempo: Option<(i64, i64)>,
    pub(super) cycles: Option<(i64, i64)>,
    pub(super) entries: Option<Vec<Entry>>,
    pub(super) bell: Option<Bell>,
    pacing: Option<Pacing>,
    rival: Option<Rival>,
}

impl Parts {
    pub(super) fn read(table: &Table<'_>, faults: &mut Faults) -> Self {
        Self {
            patterns: table.or("pattern", vec![Pattern::SIX], faults, patterns),
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
            rival: table.or("rival", Rival::None, faults, |value, faults| {
                value.one_of(&Rival::ALL, Rival::id, faults)
            }),
            pacing: table.or("pacing", Pacing::Steady, faults, |value, faults| {
                value.one_of(&Pacing::ALL, Pacing::id, faults)
            }),
        }
    }

    /// What is known of the cycle alone, where recordings are asked.
    pub(super) fn of_recordings(cycle: Cycle) -> Self {
        let pattern = Pattern::all().find(|pattern| pattern.cycle() == cycle);
        Self {
            patterns: pattern.map(|pattern| vec![pattern]),
            families: None,
            feels: None,
            tempo: None,
            cycles: None,
            entries: None,
            bell: None,
            pacing: None,
            rival: None,
        }
    }

    /// The patterns; that of six pulses where they could not be read.
    pub(super) fn patterns(&self) -> &[Pattern] {
        self.patterns.as_deref().unwrap_or(&[Pattern::SIX])
    }

    /// The pattern, or the first of several.
    pub(super) fn pattern(&self) -> Pattern {
        self.patterns().first().copied().unwrap_or(Pattern::SIX)
    }

    /// The fewest cycles that were asked for, where that could be read.
    pub(super) fn fewest_cycles(&self) -> Option<i64> {
        self.cycles.map(|(fewest, _)| fewest)
    }

    fn is_whole(&self) -> bool {
        self.patterns.is_some()
            && self.families.is_some()
            && self.feels.is_some()
            && self.tempo.is_some()
            && self.cycles.is_some()
            && self.entries.is_some()
            && self.bell.is_some()
            && self.pacing.is_some()
            && self.rival.is_some()
    }
}

/// The most patterns of one exercise.
pub(super) const MOST_PATTERNS: usize = 6;

fn patterns(value: Value<'_>, faults: &mut Faults) -> Option<Vec<Pattern>> {
    let all: Vec<Pattern> = Pattern::all().collect();
    let one = |value: Value<'_>, faults: &mut Faults| value.one_of(&all, Pattern::id, faults);
    if value.is_list() {
        value.set(1..=MOST_PATTERNS, faults, one)
    } else {
        one(value, faults).map(|pattern| vec![pattern])
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
    const SOUND_FAMILIES: [Family; 1] = [Family::Plain];
    const SOUND_CYCLES: (i64, i64) = (4, 4);
    let mut is_sound = parts.is_whole();
    let pattern = parts.pattern();
    let sound_feel = if pattern.marks().is_some() {
        Feel::Mixed
    } else {
        Feel::Threes
    };
    let sound_tempo = {
        let (slowest, _) = pattern.tempo();
        (slowest, slowest)
    };
    let mut parts = RecipeParts {
        patterns: parts.patterns.unwrap_or(vec![pattern]),
        families: parts.families.unwrap_or(SOUND_FAMILIES.to_vec()),
        feels: parts.feels.unwrap_or(vec![sound_feel]),
        tempo: parts.tempo.unwrap_or(sound_tempo),
        cycles: parts.cycles.unwrap_or(SOUND_CYCLES),
        entries: parts.entries.unwrap_or(vec![Entry::One]),
        bell: parts.bell.unwrap_or(Bell::None),
        pacing: parts.pacing.unwrap_or_default(),
        rival: parts.rival.unwrap_or_default(),
    };
    loop {
        let error = match Recipe::new(parts.clone()) {
            Ok(recipe) => return is_sound.then_some(recipe),
            Err(error) => error,
        };
        is_sound = false;
        match error {
            RecipeError::Tempo { found, possible } => {
                parts.tempo = sound_tempo;
                let found = format!("{} to {}", found.0, found.1);
                let (low, high) = possible;
                let expected =
                    format!("two whole numbers, slowest and fastest, within {low} to {high}");
                misses(table, "tempo", &found, &expected, faults);
            }
            RecipeError::Cycles(fewest, most) => {
                parts.cycles = SOUND_CYCLES;
                let expected = table.get("cycles").map_or("", |value| value.expected);
                misses(
                    table,
                    "cycles",
                    &format!("{fewest} to {most}"),
                    expected,
                    faults,
                );
            }
            RecipeError::Feel(feel, pattern) => {
                parts.feels = vec![sound_feel];
                let expected = match pattern.marks() {
                    Some(_) => "mixed, as the pattern is grouped".to_owned(),
                    None => "feels of an open cycle, as threes and twos".to_owned(),
                };
                misses(table, "feels", feel.id(), &expected, faults);
            }
            RecipeError::Patterns(first, other) => {
                parts.patterns = vec![first];
                let expected = format!(
                    "a cycle like that of {}, grouped in another way",
                    first.id()
                );
                misses(table, "pattern", other.id(), &expected, faults);
            }
            RecipeError::Family(family, pattern) => {
                parts.families = SOUND_FAMILIES.to_vec();
                let expected = format!("families that the pattern {} can have", pattern.id());
                misses(table, "families", family.id(), &expected, faults);
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
fn misses(table: &Table<'_>, name: &str, found: &str, expected: &str, faults: &mut Faults) {
    if let Some(value) = table.get(name) {
        faults.add(value.at, found, expected);
    }
}
