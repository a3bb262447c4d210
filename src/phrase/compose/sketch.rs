//! What is decided of a phrase before its first note.

use crate::phrase::{
    Bell, Entry, Family, Level, Purpose, Recipe, Rival, Speakers, Turning, Wanted,
};
use crate::rhythm::{Cycle, Feel, Layer, Pace, Pattern, Tempo};
use crate::world::{Dice, Seed};

use super::pace;

/// What the accents of a phrase are to tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Telling {
    /// The grouping. The first count is a little louder in every phrase alike.
    Grouping,
    /// Where the cycle begins: something comes once a cycle, and the first sound may be loud.
    Start,
}

/// What is decided before the first note.
pub(super) struct Sketch {
    pub(super) pattern: Pattern,
    pub(super) speakers: Speakers,
    pub(super) family: Family,
    pub(super) feel: Feel,
    pub(super) level: Level,
    pub(super) telling: Telling,
    pub(super) pace: Pace,
    pub(super) entry: i64,
    pub(super) bell: Bell,
    /// The pulses that the guitar marks, cycle by cycle.
    pub(super) marks: Vec<Layer>,
    /// The layer at which another voice hints, from the second cycle on.
    pub(super) hinted: Option<Layer>,
    /// Decibels by which the guitar's cues are stronger than the level.
    pub(super) guitar_over_db: f64,
    /// The pulses that the hand on the guitar's top marks against it.
    pub(super) knocks: Option<Layer>,
}

impl Sketch {
    pub(super) fn draw(recipe: &Recipe, wanted: &Wanted, seed: Seed) -> Self {
        let telling = match wanted.purpose {
            Purpose::FindStart => Telling::Start,
            Purpose::NameFeel | Purpose::CatchTurn { .. } | Purpose::FitClapping { .. } => {
                Telling::Grouping
            }
        };
        let mut dice = seed.child("sketch", 0).dice();
        let (fewest, most) = recipe.cycles();
        let n_cycles = dice.between(i64::from(fewest), i64::from(most));
        let (slowest, fastest) = recipe.tempo();
        let hundredths = dice.between(
            i64::from(slowest.hundredths() / 100),
            i64::from(fastest.hundredths() / 100),
        );
        let entry = draw_entry(recipe, telling, &mut dice);
        let family = *dice.pick(recipe.families()).expect("a recipe has a family");
        let tempo = Tempo::of_pulses_a_minute(hundredths).expect("within the recipe's range");
        let room = pace::Room {
            pattern: recipe.pattern(),
            n_cycles,
            entry,
        };
        let pace = pace::draw(
            recipe.pacing(),
            tempo,
            room,
            &mut seed.child("pace", 0).dice(),
        );
        let (marks, knocks) = draw_layers(recipe.pattern(), wanted, n_cycles, &mut dice);
        Self {
            pattern: recipe.pattern(),
            speakers: recipe.speakers(),
            family,
            feel: wanted.feel,
            level: wanted.level,
            telling,
            pace,
            entry,
            bell: recipe.bell(),
            marks,
            knocks,
            hinted: hinted(recipe, wanted.feel),
            guitar_over_db: match recipe.rival() {
                Rival::Stronger => STRONGER_DB,
                Rival::None | Rival::Mild => 0.0,
            },
        }
    }

    pub(super) fn cycle(&self) -> Cycle {
        self.pattern.cycle()
    }
}

/// By how much a rival may be stronger at the hardest.
const STRONGER_DB: f64 = 3.0;

/// The layer against the one that is stated, where a mild rival hints at it.
fn hinted(recipe: &Recipe, feel: Feel) -> Option<Layer> {
    let other = match feel {
        Feel::Threes => Feel::Twos,
        Feel::Twos => Feel::Threes,
        _ => return None,
    };
    let layer = other.layer(recipe.pattern().cycle());
    layer.filter(|_| recipe.rival() == Rival::Mild)
}

fn draw_entry(recipe: &Recipe, telling: Telling, dice: &mut Dice) -> i64 {
    let n_pulses = i64::try_from(recipe.pattern().cycle().n_pulses()).expect("a small number");
    match (
        dice.pick(recipe.entries()).expect("a recipe has an entry"),
        telling,
    ) {
        (Entry::One, _) => 0,
        (Entry::Any, _) => dice.between(0, n_pulses - 1),
        // The last count belongs to neither grouping; an earlier one would give the twos away.
        (Entry::Pickup, Telling::Grouping) => -1,
        (Entry::Pickup, Telling::Start) => -dice.between(1, 2),
    }
}

/// The layers that the guitar marks in each cycle, and the layer of the knocks.
fn draw_layers(
    pattern: Pattern,
    wanted: &Wanted,
    n_cycles: i64,
    dice: &mut Dice,
) -> (Vec<Layer>, Option<Layer>) {
    let cycle = pattern.cycle();
    let (threes, twos) = (Layer::every(cycle, 3), Layer::every(cycle, 2));
    let n = usize::try_from(n_cycles).expect("at most twelve cycles");
    let mut pair = [threes, twos];
    dice.shuffle(&mut pair);
    let [one, other] = pair;
    let marks = match wanted.feel {
        Feel::Threes => vec![threes; n],
        Feel::Twos => vec![twos; n],
        Feel::Either => vec![Layer::every(cycle, cycle.n_pulses()); n],
        Feel::Mixed => vec![pattern.marks().unwrap_or(threes); n],
        Feel::Both => {
            let knocks = wanted.knocks.unwrap_or(other);
            return (
                vec![if knocks == threes { twos } else { threes }; n],
                Some(knocks),
            );
        }
        Feel::InTurn => {
            // At least two cycles on each side: a reading needs that long to be given up.
            let side = if n >= 8 && dice.one_in(2) { 2 } else { n / 2 };
            let at = |idx: usize| {
                let is_first = match wanted.purpose {
                    Purpose::CatchTurn { at, turning } => match turning {
                        Turning::Once => idx < usize::from(at),
                        // Threes give way, whichever side was drawn.
                        Turning::Hemiola => (idx != usize::from(at)) == (one == threes),
                    },
                    _ => (idx / side).is_multiple_of(2),
                };
                if is_first { one } else { other }
            };
            (0..n).map(at).collect()
        }
    };
    (marks, wanted.knocks)
}
