//! Writes the notes of one phrase. What it writes is a proposal: only `measure` says what it states.
//!
//! Every pulse carries one stroke of the guitar of the same power, whatever the grouping, and the
//! same number of strings; only how that power is divided tells. So neither loudness nor the number
//! of notes gives the answer away, save in the families whose cue is loudness or length. The first
//! count is a little louder in every phrase alike.

mod between;
mod chords;
mod line;
mod pace;
mod plucked;
mod sketch;
mod stroke;
mod strummed;

use crate::accent::{Floor, size};
use crate::rhythm::{Cycle, Feel, Pulse, Tick};
use crate::world::{Dice, Seed};

use super::cells::{BASSES, Low};
use super::harmony::{LOWEST, Mode};
use super::{Family, Note, Phrase, Recipe, Speakers, Touch, Wanted};
use sketch::{Sketch, Telling};
use stroke::Stroke;

/// The first count's loudness over the others, in phrases that tell a grouping.
const FIRST_COUNT_DB: f64 = 3.0;
/// By how much the first count stays over accents that are loud themselves, so that the loudest
/// stroke of all says nothing.
const FIRST_OVER_ACCENTS_DB: f64 = 1.5;
/// The level in decibels from which a hand varies in full where loudness is the cue.
const VARIES_IN_FULL_DB: f64 = 5.0;
/// Random variation of every stroke, so that "the loud one" is never a certainty.
const VARIATION_DB: f64 = 0.85;
/// Random variation of every pulse of the cycle, the same in each cycle of a phrase and drawn alike
/// for every grouping, so that what is a little louder on the whole tells nothing either. Together
/// the two stay below what the accent model counts.
const PULSE_VARIATION_DB: f64 = 0.45;
/// Unevenness of the hand in microseconds, well under what is heard as displaced (6 ms: Friberg and
/// Sundberg 1995).
const UNEVEN_MICROS: i64 = 2_000;
/// How much of what a silent voice may say a hint says.
const HINT: f64 = 0.85;
/// Semitones by which strums stand higher where small speakers take the octave under them.
const SMALL_SPEAKERS_LIFT: u8 = 7;

/// Writes a phrase of `recipe` that is to be as `wanted`, of one of its families.
pub(super) fn compose(recipe: &Recipe, wanted: &Wanted, seed: Seed) -> (Family, Phrase) {
    let sketch = Sketch::draw(recipe, wanted, seed);
    (sketch.family, Writer::new(sketch, seed).write())
}

/// Writes notes pulse by pulse.
struct Writer {
    sketch: Sketch,
    dice: Dice,
    mode: Mode,
    /// Strings in a strum.
    n_strings: usize,
    /// The lowest string of a strum.
    lowest: u8,
    /// The bass figure, and how many of its notes were played.
    bass: &'static [Low],
    n_bass: usize,
    /// How the guitar's top is knocked on.
    knock: Touch,
    /// Decibels by which each pulse of the cycle is louder or softer.
    pulse_db: Vec<f64>,
    notes: Vec<Note>,
}

impl Writer {
    fn new(sketch: Sketch, seed: Seed) -> Self {
        let (thumb, lift) = match sketch.speakers {
            Speakers::Full => (LOWEST, 0),
            Speakers::Small => (LOWEST + 12, SMALL_SPEAKERS_LIFT),
        };
        let mut dice = seed.child("notes", 0).dice();
        let mode = Mode::draw(thumb, lift, &mut dice);
        let n_strings = 4 + dice.below(2);
        let lowest = 57 + lift + u8::try_from(dice.below(4)).expect("below four");
        let bass = dice.pick(&BASSES).copied().unwrap_or_default();
        let knocks = [Touch::Golpe, Touch::Golpe, Touch::GolpeSoft];
        let knock = *dice.pick(&knocks).expect("three knocks");
        let mut pulse_dice = seed.child("pulses", 0).dice();
        let vary = |_| pulse_dice.real(-PULSE_VARIATION_DB, PULSE_VARIATION_DB);
        let pulse_db = sketch.cycle().pulses().map(vary).collect();
        Self {
            sketch,
            dice,
            mode,
            n_strings,
            lowest,
            bass,
            n_bass: 0,
            knock,
            pulse_db,
            notes: Vec::new(),
        }
    }

    fn write(mut self) -> Phrase {
        match self.sketch.family {
            Family::Plain | Family::BassChords | Family::BassStrums => self.write_bass_strums(),
            // Where the knocks have a layer of their own, the low notes tell the guitar's.
            Family::Strike if self.sketch.knocks.is_some() => self.write_bass_strums(),
            Family::Chords => self.write_chords(),
            Family::Arpeggio => self.write_arpeggio(),
            Family::Loudness | Family::Strike | Family::Rasgueado | Family::Stopped => {
                self.write_strums();
            }
            Family::Line | Family::Touch | Family::Figures => self.write_even_line(),
            Family::Length => self.write_long_and_short(),
        }
        self.write_rolls();
        self.write_fillers();
        self.write_knocks();
        self.write_bell();
        self.finish()
    }

    /// Accent units that the level asks of the guitar.
    fn units(&self) -> f64 {
        size::of_level(self.sketch.level.decibels() + self.sketch.guitar_over_db)
    }

    /// Accent units that the level asks of knocks and bells.
    fn units_of_knocks(&self) -> f64 {
        size::of_level(self.sketch.level.decibels())
    }

    /// Accent units of a hint at the other layer, under what would state it.
    fn units_of_hints(&self) -> f64 {
        HINT * Floor::at_level(self.sketch.level.decibels()).silent
    }

    /// Whether another voice hints at the other layer here.
    fn is_hinted(&self, idx: usize) -> bool {
        let layer = self.sketch.hinted;
        let later = idx >= self.sketch.cycle().n_pulses();
        later && layer.is_some_and(|layer| layer.contains(self.pulse_of(idx)))
    }

    fn tells_start(&self) -> bool {
        self.sketch.telling == Telling::Start
    }

    fn is_first_count(&self, idx: usize) -> bool {
        idx.is_multiple_of(self.sketch.cycle().n_pulses())
    }

    /// Plays a stroke on a pulse, with the variation that every hand has.
    fn strike_strings(&mut self, idx: usize, stroke: Stroke) {
        self.strike_at(pulse_tick(idx), idx, stroke);
    }

    /// Plays a stroke at a tick that belongs to the pulse `idx`.
    fn strike_at(&mut self, at: Tick, idx: usize, stroke: Stroke) {
        let first = at == pulse_tick(idx) && self.is_first_count(idx);
        let varied =
            self.varies() * (self.pulse_db_at(idx) + self.dice.real(-VARIATION_DB, VARIATION_DB));
        let uneven = self.dice.between(-UNEVEN_MICROS, UNEVEN_MICROS);
        let gap = self.dice.between(5_000, 8_000);
        let uneven = i32::try_from(uneven).expect("two milliseconds");
        let gap = i32::try_from(gap).expect("eight milliseconds");
        let first_db = if first {
            self.first_count_db(stroke.accent_db)
        } else {
            0.0
        };
        let loudness_db = first_db + varied + stroke.accent_db;
        self.notes
            .extend(stroke.notes(at, loudness_db, uneven, gap));
    }

    /// By how much the first count is louder than its own accent makes it. Where the cycle has a
    /// grouping of its own, that may leave the first count bare.
    fn first_count_db(&self, accent_db: f64) -> f64 {
        let is_open = self.sketch.feel != Feel::Mixed;
        match (self.sketch.telling, self.sketch.family) {
            (Telling::Grouping, Family::Loudness) if is_open => {
                (FIRST_COUNT_DB - accent_db).max(FIRST_OVER_ACCENTS_DB)
            }
            (Telling::Grouping, _) if is_open && accent_db < FIRST_COUNT_DB => FIRST_COUNT_DB,
            _ => 0.0,
        }
    }

    /// How much of its usual variation the hand has: less where a small accent of loudness tells.
    fn varies(&self) -> f64 {
        match self.sketch.family {
            Family::Loudness => (self.sketch.level.decibels() / VARIES_IN_FULL_DB).clamp(0.35, 1.0),
            _ => 1.0,
        }
    }

    fn pulse_db_at(&self, idx: usize) -> f64 {
        let pulse = self.pulse_of(idx).idx();
        self.pulse_db.get(pulse).copied().unwrap_or_default()
    }

    fn is_mark(&self, idx: usize) -> bool {
        let layer = self.sketch.marks.get(idx / self.sketch.cycle().n_pulses());
        layer.is_some_and(|layer| layer.contains(self.pulse_of(idx)))
    }

    fn n_pulses(&self) -> usize {
        self.sketch.marks.len() * self.sketch.cycle().n_pulses()
    }

    fn loop_pulses(&self) -> i64 {
        i64::try_from(self.n_pulses()).expect("at most 480 pulses")
    }

    fn pulse_of(&self, idx: usize) -> Pulse {
        let cycle: Cycle = self.sketch.cycle();
        cycle.pulse_at(i64::try_from(idx).expect("at most 480 pulses"))
    }

    /// Turns the phrase so that it begins at its entry, and puts its notes in order.
    fn finish(mut self) -> Phrase {
        let sketch = &self.sketch;
        let loop_ticks = pulse_tick(self.n_pulses()).0;
        let begins = Tick::of_pulse(sketch.entry).0;
        for note in &mut self.notes {
            if note.at.0 < begins {
                note.at.0 += loop_ticks;
            } else if note.at.0 >= begins + loop_ticks {
                note.at.0 -= loop_ticks;
                note.loudness.0 -= PICKUP_SOFTER_TENTHS;
            }
        }
        if sketch.telling == Telling::Start && self.dice.one_in(2) {
            for note in self.notes.iter_mut().filter(|note| note.at.0 == begins) {
                note.loudness.0 += FIRST_SOUND_LOUDER_TENTHS;
            }
        }
        self.notes
            .sort_by_key(|note| (note.at, note.delay, note.voice, note.pitch));
        Phrase {
            cycle: sketch.cycle(),
            pace: sketch.pace.clone(),
            n_cycles: u32::try_from(sketch.marks.len()).expect("at most twelve cycles"),
            entry: sketch.entry,
            feel: sketch.feel,
            notes: self.notes,
        }
    }
}

/// Notes of a pickup are softer than what they lead to.
const PICKUP_SOFTER_TENTHS: i16 = 20;
/// A loud first sound tempts to be taken for the first count.
const FIRST_SOUND_LOUDER_TENTHS: i16 = 30;

fn pulse_tick(idx: usize) -> Tick {
    Tick::of_pulse(i64::try_from(idx).expect("at most 480 pulses"))
}
