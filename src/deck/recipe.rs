//! The recipe of an exercise, from its keys.

use crate::phrase::{Bell, Entry, Family, Pacing, Recipe, RecipeError, RecipeParts, Rival};
use crate::rhythm::{Counting, Cycle, Feel, Pattern};

use super::fault::Faults;
use super::written::{Table, Value};
use super::{form, passage};

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
    /// `counting` is that of the deck, where it has one.
    pub(super) fn read(table: &Table<'_>, counting: Option<Counting>, faults: &mut Faults) -> Self {
        Self {
            patterns: patterns(table, counting, faults),
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

fn patterns(
    table: &Table<'_>,
    of_deck: Option<Counting>,
    faults: &mut Faults,
) -> Option<Vec<Pattern>> {
    let counting = table.or("counting", of_deck, faults, |value, faults| {
        self::counting(value, faults).map(Some)
    });
    let written = table.get("pattern");
    let is_own = written.is_some_and(|value| value.any_item(is_counts));
    if !is_own {
        let expected = "it only where passages are asked, or the pattern is written as counts";
        table.refuse("cycle", expected, faults);
    }
    let cycle = match table.get("cycle") {
        Some(value) if is_own => Some(passage::cycle(value, faults)),
        _ => None,
    };
    let one = |value: Value<'_>, faults: &mut Faults| one_pattern(value, cycle, faults);
    let patterns = match written {
        None => Some(vec![Pattern::SIX]),
        Some(value) if value.is_list() => value.set(1..=MOST_PATTERNS, faults, one),
        Some(value) => one(value, faults).map(|pattern| vec![pattern]),
    };
    let counted = |pattern: Pattern, counting: Option<Counting>| match counting {
        Some(counting) => pattern.counted(counting),
        None => pattern,
    };
    let (patterns, counting) = (patterns?, counting?);
    let patterns = patterns.into_iter();
    Some(patterns.map(|pattern| counted(pattern, counting)).collect())
}

/// How counts are spoken where the learner has chosen nothing else.
pub(super) fn counting(value: Value<'_>, faults: &mut Faults) -> Option<Counting> {
    value.one_of(&Counting::CHOICES, Counting::id, faults)
}

fn is_counts(value: Value<'_>) -> bool {
    value.plain().starts_with(|c: char| c.is_ascii_digit())
}

/// A row of the table by its id, or a grouping of one's own by its counts. `cycle` is that beside it:
/// the outer `None` where there is none, the inner where it is none.
fn one_pattern(
    value: Value<'_>,
    cycle: Option<Option<Cycle>>,
    faults: &mut Faults,
) -> Option<Pattern> {
    if !is_counts(value) {
        let all: Vec<Pattern> = Pattern::all().collect();
        return value.one_of(&all, Pattern::id, faults);
    }
    let Some(cycle) = cycle else {
        faults.add(
            value.at,
            &value.found(),
            "counts with their cycle beside them, as cycle = 12",
        );
        return None;
    };
    let marks = form::clapping(value, cycle?, faults)?;
    let own = Pattern::own(marks);
    if own.is_none() {
        let expected =
            "a grouping in twos and threes all the way round, as 1-4-7-9-11 in a cycle of 12";
        faults.add(value.at, &value.found(), expected);
    }
    own
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
                    first.name()
                );
                misses(table, "pattern", &other.name(), &expected, faults);
            }
            RecipeError::Family(family, pattern) => {
                parts.families = SOUND_FAMILIES.to_vec();
                let expected = format!("families that the pattern {} can have", pattern.name());
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
