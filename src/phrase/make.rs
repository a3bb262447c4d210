//! Composes, measures, and keeps only what has one right answer.

use std::fmt::Write as _;

use crate::accent::{self, Cue, Floor, Profile, start_margin};
use crate::rhythm::{Feel, Layer, Pattern};
use crate::world::Seed;

use super::compose::compose;
use super::measure::{self, Row};
use super::{Level, Phrase, Recipe, Voice};

/// The version of the generator: the same recipe, seed and version make the same phrase. A wanted
/// change of any draw raises it.
pub const GENERATOR: u32 = 2;

/// How often a phrase is made again before the recipe is given up.
const TRIES: u64 = 64;

/// The least difference of fit (correlation) between the right clapping and its best rival.
const FIT_FLOOR: f64 = 0.15;

/// What a phrase must have one right answer to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Which feel it has, among all feels.
    NameFeel,
    /// Where its cycle begins, among all rotations.
    FindStart,
    /// In which cycle it turns from one side to the other.
    CatchTurn {
        /// That cycle, from 0; at least two cycles lie before it.
        at: u8,
        /// For how long it turns.
        turning: Turning,
    },
    /// Which clapping fits, among these.
    FitClapping {
        /// The one that fits.
        truth: Layer,
        /// The others that are offered.
        others: Vec<Layer>,
        /// The voice that it is to fit, where voices disagree.
        voice: Option<Voice>,
    },
}

/// For how long a phrase turns from one side to the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Turning {
    /// To its end, which is two cycles on or more.
    Once,
    /// For one cycle: threes give way to twos, as before a close, and come back (hemiola).
    Hemiola,
}

impl Turning {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Once, Self::Hemiola];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::Once => "once",
            Self::Hemiola => "hemiola",
        }
    }
}

/// A phrase with its measured truth. Only [`make`] builds one, so an unmeasured phrase cannot be
/// asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    phrase: Phrase,
    rows: Vec<Row>,
    /// The cue that tells alone.
    cue: Option<Cue>,
    margin: f64,
    level: Level,
    seed: Seed,
}

/// No phrase of the recipe had one right answer at that level.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no phrase {feel} at {level} had one right answer in {TRIES} tries", feel = .feel.words())]
pub struct NoPhrase {
    /// The feel asked for.
    pub feel: Feel,
    /// The level asked for.
    pub level: Level,
}

/// What a phrase is to state, and for what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// The feel it is to have.
    pub feel: Feel,
    /// How strong its cues are to be.
    pub level: Level,
    /// What knocks on the guitar's top mark. Where both layers sound at once it says which of them
    /// the knocks take, and is drawn when it is `None`.
    pub knocks: Option<Layer>,
    /// What it must have one right answer to.
    pub purpose: Purpose,
}

/// Makes the phrase of `recipe` and `seed` that is as `wanted`.
///
/// # Errors
/// When no try had one right answer by the level's margin.
pub fn make(recipe: &Recipe, wanted: &Wanted, seed: Seed) -> Result<Measured, NoPhrase> {
    let made = (0..TRIES).find_map(|n| {
        let (family, phrase) = compose(recipe, wanted, seed.child("try", n));
        let mut rows = measure::rows(&phrase);
        if let Some(meant) = family.cue() {
            rows.iter_mut().for_each(|row| row.name_after(meant));
        }
        let margin = margin(&rows, wanted, recipe.pattern())?;
        Some(Measured {
            phrase,
            // Where several cues agree, nothing is learnt of how well one of them is heard.
            cue: family.cue().and_then(|_| strongest(&rows)),
            rows,
            margin,
            level: wanted.level,
            seed,
        })
    });
    made.ok_or(NoPhrase {
        feel: wanted.feel,
        level: wanted.level,
    })
}

/// By how much the truth is the only right answer; `None` when it is not.
fn margin(rows: &[Row], wanted: &Wanted, pattern: Pattern) -> Option<f64> {
    let floor = Floor::at_level(wanted.level.decibels());
    let is_run = match wanted.purpose {
        Purpose::CatchTurn {
            turning: Turning::Hemiola,
            ..
        } => is_hemiola,
        _ => are_sides,
    };
    let stated = feel_margin(rows, wanted.feel, pattern, (floor, is_run));
    match &wanted.purpose {
        Purpose::NameFeel | Purpose::CatchTurn { .. } => stated,
        Purpose::FindStart => {
            let margin = start_margin(&whole(rows, None)?);
            (margin >= floor.threes).then_some(margin)
        }
        Purpose::FitClapping {
            truth,
            others,
            voice,
        } => {
            // Where a voice is named, the others may say what they like.
            if voice.is_none() {
                stated?;
            }
            let heard = whole(rows, *voice)?;
            let fit = |layer: &Layer| accent::fit(&heard, *layer);
            let best_rival = others.iter().map(fit).fold(f64::NEG_INFINITY, f64::max);
            let margin = fit(truth) - best_rival;
            (margin >= FIT_FLOOR).then_some(margin)
        }
    }
}

/// The sides of a voice one after another, and for how many cycles.
type Run = (Feel, usize);

fn feel_margin(
    rows: &[Row],
    feel: Feel,
    pattern: Pattern,
    (floor, is_wanted): (Floor, fn(&[Run]) -> bool),
) -> Option<f64> {
    // A bell marks the count or goes through its own pattern; it is no part of the grouping.
    let heard = rows.iter().filter(|row| row.voice != Voice::Bell);
    let voices: Vec<Vec<Profile>> = heard.map(|row| row.cycles.clone()).collect();
    match feel {
        Feel::Threes | Feel::Twos => accent::steady_margin(&voices, feel, floor),
        Feel::Both => accent::both_margin(&voices, floor),
        Feel::Either => accent::either_margin(&voices, floor),
        Feel::InTurn => voices
            .iter()
            .filter_map(|cycles| turn_margin(cycles, floor, is_wanted))
            .reduce(f64::min),
        Feel::Mixed => accent::layer_margin(&voices, pattern.marks()?, floor),
    }
}

/// Both sides, each for two cycles or more at a stretch.
fn are_sides(runs: &[Run]) -> bool {
    runs.len() > 1 && runs.iter().all(|(_, n)| *n >= 2)
}

/// One cycle of twos within threes.
fn is_hemiola(runs: &[Run]) -> bool {
    matches!(
        runs,
        [(Feel::Threes, 2..), (Feel::Twos, 1), (Feel::Threes, 1..)]
    )
}

/// The least margin of a voice that goes from side to side as is wanted.
fn turn_margin(cycles: &[Profile], floor: Floor, is_wanted: fn(&[Run]) -> bool) -> Option<f64> {
    let mut runs: Vec<Run> = Vec::new();
    let mut least = f64::INFINITY;
    for profile in cycles {
        let (side, by) = match accent::lean(profile, floor) {
            accent::Lean::Threes(by) => (Feel::Threes, by),
            accent::Lean::Twos(by) => (Feel::Twos, by),
            accent::Lean::Silent(_) | accent::Lean::Unclear => return None,
        };
        least = least.min(by);
        match runs.last_mut() {
            Some((last, n)) if *last == side => *n += 1,
            _ => runs.push((side, 1)),
        }
    }
    is_wanted(&runs).then_some(least)
}

/// The mean profile of one voice, or of all together.
fn whole(rows: &[Row], voice: Option<Voice>) -> Option<Profile> {
    let asked = rows
        .iter()
        .filter(|row| voice.is_none_or(|voice| voice == row.voice));
    asked.map(Row::mean).reduce(|sum, row| sum.plus(&row))
}

/// The cue of the voice that stands out most where threes and twos differ.
fn strongest(rows: &[Row]) -> Option<Cue> {
    let most = |row: &&Row| {
        let mean = row.mean();
        let deciding = mean.units().iter().skip(1).copied();
        deciding.fold(0.0, f64::max)
    };
    let strongest = rows.iter().max_by(|a, b| most(a).total_cmp(&most(b)));
    strongest.map(|row| row.cue)
}

impl Measured {
    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        &self.phrase
    }

    /// What each voice states.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// By how much its truth is the only right answer: accent units, or difference of fit.
    pub fn margin(&self) -> f64 {
        self.margin
    }

    /// The same for a question whose difficulty does not lie in the cues of the phrase.
    #[must_use]
    pub fn at_level(self, level: Level) -> Self {
        Self { level, ..self }
    }

    /// How strong its cues were asked to be.
    pub fn level(&self) -> Level {
        self.level
    }

    /// The seed it was made from.
    pub fn seed(&self) -> Seed {
        self.seed
    }

    /// A phrase without notes of its own, for what a person heard in a recording: it measures nothing,
    /// and the truth is theirs.
    pub fn by_ear(phrase: Phrase, level: Level, seed: Seed) -> Self {
        Self {
            phrase,
            rows: Vec::new(),
            cue: None,
            margin: 0.0,
            level,
            seed,
        }
    }

    /// The phrase in one line that reads without the generator: cycle, tempo, cycles, entry, feel, the
    /// cue that tells alone, and each voice's mean accents in hundredths of a unit.
    pub fn line(&self) -> String {
        let phrase = &self.phrase;
        let mut line = format!(
            "cycle {} ppm {} cycles {} entry {} {}",
            phrase.cycle.n_pulses(),
            phrase.tempo(),
            phrase.n_cycles,
            phrase.entry,
            phrase.feel.id()
        );
        if let Some(cue) = self.cue {
            let _ = write!(line, " by {}", cue.id());
        }
        for row in &self.rows {
            let _ = write!(line, " | {}", row.voice.name());
            for units in row.mean().units() {
                let _ = write!(line, " {:.0}", units * 100.0);
            }
        }
        line
    }
}
