//! Writes the notes of one phrase. What it writes is a proposal: only `measure` says what it states.
//!
//! Every pulse carries one stroke of the guitar of the same power, whatever the grouping, and the
//! same number of strings; only how that power is divided tells. So neither loudness nor the number
//! of notes gives the answer away. The first count is a little louder in every phrase alike.

mod line;
mod sketch;
mod stroke;

use crate::accent::size;
use crate::rhythm::{Pulse, TICKS_PER_PULSE, Tick, Ticks};
use crate::world::{Dice, Seed};

use super::cells::{BASSES, FIGURES, Low};
use super::harmony::{Chord, Mode};
use super::{Bell, Family, Loudness, Note, Phrase, Pitch, Recipe, Touch, Voice, Wanted};
use sketch::{Sketch, Telling};
use stroke::Stroke;

/// The first count's loudness over the others, in phrases that tell a grouping.
const FIRST_COUNT_DB: f64 = 3.0;
/// Random variation of every stroke, so that "the loud one" is never a certainty.
const VARIATION_DB: f64 = 0.85;
/// Random variation of every pulse of the cycle, the same in each cycle of a phrase and drawn alike
/// for every grouping, so that what is a little louder on the whole tells nothing either. Together
/// the two stay below what the accent model counts.
const PULSE_VARIATION_DB: f64 = 0.45;
/// Unevenness of the hand in microseconds, well under what is heard as displaced (6 ms: Friberg and
/// Sundberg 1995).
const UNEVEN_MICROS: i64 = 2_000;

/// Writes a phrase of `recipe` that is to be as `wanted`.
pub(super) fn compose(recipe: &Recipe, wanted: &Wanted, seed: Seed) -> Phrase {
    Writer::new(Sketch::draw(recipe, wanted, seed), seed).write()
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
    /// Decibels by which each pulse of the cycle is louder or softer.
    pulse_db: Vec<f64>,
    notes: Vec<Note>,
}

impl Writer {
    fn new(sketch: Sketch, seed: Seed) -> Self {
        let mut dice = seed.child("notes", 0).dice();
        let mode = Mode::draw(&mut dice);
        let n_strings = 4 + dice.below(2);
        let lowest = 57 + u8::try_from(dice.below(4)).expect("below four");
        let bass = dice.pick(&BASSES).copied().unwrap_or_default();
        let mut pulse_dice = seed.child("pulses", 0).dice();
        let vary = |_| pulse_dice.real(-PULSE_VARIATION_DB, PULSE_VARIATION_DB);
        let pulse_db = Recipe::CYCLE.pulses().map(vary).collect();
        Self {
            sketch,
            dice,
            mode,
            n_strings,
            lowest,
            bass,
            n_bass: 0,
            pulse_db,
            notes: Vec::new(),
        }
    }

    fn write(mut self) -> Phrase {
        match self.sketch.family {
            Family::Plain | Family::BassStrums => self.write_bass_strums(),
            Family::Chords => self.write_chords(),
            Family::Arpeggio => self.write_arpeggio(),
            Family::Line => self.write_line(),
        }
        self.write_fillers();
        self.write_knocks();
        self.write_bell();
        self.finish()
    }

    /// Low notes on the marks, strums above; the chord moves with the cycle, or with every mark.
    fn write_bass_strums(&mut self) {
        let plain = self.sketch.family == Family::Plain;
        let units = size::of_level(self.sketch.level.decibels());
        let start = self.sketch.telling == Telling::Start;
        let chords = if plain && !start {
            self.chord_a_mark()
        } else {
            self.chord_a_cycle()
        };
        // Where the chord is to tell the start, open strings ring through it to the level's degree.
        let spread = start.then(|| size::chord_over_rest_for(units));
        for (idx, chord) in chords.into_iter().enumerate() {
            let mut stroke = Stroke::strum(self.mode.voicing(chord, self.n_strings, self.lowest));
            if self.is_mark(idx) {
                let bass = self.low_note(chord, stroke.mean_pitch());
                stroke = stroke.over_bass(bass, units);
                if plain {
                    stroke.accent_db = self.sketch.level.decibels();
                }
            }
            if let Some(over_drone) = spread {
                stroke = stroke.with_drone(self.mode.drone(), over_drone);
            }
            self.strike_strings(idx, stroke);
        }
    }

    /// Even strums over ringing open strings; a new chord on every mark.
    fn write_chords(&mut self) {
        let units = size::of_level(self.sketch.level.decibels());
        let over_drone = size::chord_over_rest_for(units);
        let n_cycle = Recipe::CYCLE.n_pulses();
        let start = self.sketch.telling == Telling::Start;
        for (idx, chord) in self.chord_a_mark().into_iter().enumerate() {
            let voicing = self.mode.voicing(chord, self.n_strings, self.lowest);
            let mut stroke = Stroke::strum(voicing);
            if start && idx % n_cycle == 0 {
                let bass = self.low_note(chord, stroke.mean_pitch());
                stroke = stroke.over_bass(bass, units);
            }
            self.strike_strings(idx, stroke.with_drone(self.mode.drone(), over_drone));
        }
    }

    /// A broken chord, one string a pulse; the thumb goes deep on the marks.
    fn write_arpeggio(&mut self) {
        let n_cycle = Recipe::CYCLE.n_pulses();
        let figures = self.inner_figures();
        for (idx, chord) in self.chord_a_cycle().into_iter().enumerate() {
            let inner = self.mode.voicing(chord, 3, self.lowest + 3);
            let place = figures
                .get(idx / n_cycle)
                .and_then(|figure| figure.get(idx % n_cycle));
            let tone = place.and_then(|place| inner.get(*place));
            let middle = inner.get(1).map_or(64, |pitch| pitch.0);
            let stroke = if self.is_mark(idx) {
                let drop = size::bass_drop_for(self.thumb_units(idx % n_cycle));
                let wanted = f64::from(middle) - drop;
                Stroke::thumb(self.mode.tone_near(chord, clamp_pitch(wanted)))
            } else {
                Stroke::finger(tone.copied().unwrap_or(Pitch(middle)), Voice::Chords)
            };
            self.strike_strings(idx, stroke);
        }
    }

    /// Accent units of the thumb on this pulse of the cycle: alike on every mark where the grouping
    /// is to be told, deepest on the first count where the start is.
    fn thumb_units(&self, pulse_idx: usize) -> f64 {
        const OTHER_MARKS: f64 = 0.3;
        let asked = size::of_level(self.sketch.level.decibels());
        match (self.sketch.telling, pulse_idx) {
            (Telling::Grouping, _) => asked,
            (Telling::Start, 0) => OTHER_MARKS + asked,
            (Telling::Start, _) => OTHER_MARKS,
        }
    }

    /// Which of three inner strings sounds on each pulse of each cycle: one figure, restated, and
    /// another in the last cycle.
    fn inner_figures(&mut self) -> Vec<[usize; 6]> {
        let n_cycles = self.sketch.marks.len();
        let mut draw = || self.dice.pick(&FIGURES).copied().unwrap_or_default();
        let (stated, varied) = (draw(), draw());
        (1..=n_cycles)
            .map(|n| if n == n_cycles { varied } else { stated })
            .collect()
    }

    /// A single line in even notes, its tops on the marks.
    fn write_line(&mut self) {
        let units = size::of_level(self.sketch.level.decibels());
        let is_mark: Vec<bool> = (0..self.n_pulses()).map(|idx| self.is_mark(idx)).collect();
        let steps = line::steps(&is_mark, size::turn_rise_for(units), &mut self.dice);
        let chords = self.chord_a_cycle();
        let start = self.sketch.telling == Telling::Start;
        for (idx, (step, chord)) in steps.into_iter().zip(chords).enumerate() {
            let mut stroke = Stroke::finger(self.mode.scale(step), Voice::Line);
            if start && idx % Recipe::CYCLE.n_pulses() == 0 {
                let bass = self.low_note(chord, stroke.mean_pitch());
                stroke = stroke.over_bass(bass, units);
            }
            self.strike_strings(idx, stroke);
        }
    }

    /// Light up-strums between the pulses, between all of them or none, in some of the slower
    /// strummed phrases.
    fn write_fillers(&mut self) {
        let strummed = matches!(
            self.sketch.family,
            Family::Plain | Family::BassStrums | Family::Chords
        );
        let roomy = self.sketch.tempo.pulses_a_minute() < 170.0;
        if !(strummed && roomy && self.dice.one_in(3)) {
            return;
        }
        for idx in 0..self.n_pulses() {
            let strings: Vec<Note> = self.strings_at(idx).take(3).collect();
            for (place, string) in strings.iter().rev().enumerate() {
                self.notes.push(Note {
                    at: Tick(string.at.0 + TICKS_PER_PULSE / 2),
                    delay: i32::try_from(place * 6_000).expect("three strings"),
                    length: Ticks(110),
                    loudness: Loudness(-150),
                    touch: Touch::Up,
                    ..*string
                });
            }
        }
    }

    fn strings_at(&self, idx: usize) -> impl Iterator<Item = Note> {
        let at = pulse_tick(idx);
        self.notes
            .iter()
            .filter(move |n| n.at == at && n.voice == Voice::Chords)
            .copied()
    }

    fn write_knocks(&mut self) {
        let Some(layer) = self.sketch.knocks else {
            return;
        };
        let over = size::knock_over_rest_for(size::of_level(self.sketch.level.decibels()));
        for idx in 0..self.n_pulses() {
            if layer.contains(pulse_of(idx)) {
                self.knock(idx, over, Voice::Strike, Touch::Golpe);
            }
        }
    }

    fn write_bell(&mut self) {
        let every = match self.sketch.bell {
            Bell::None => return,
            Bell::Every => 1,
            Bell::Second => 2,
        };
        let over = size::knock_over_rest_for(size::of_level(self.sketch.level.decibels()));
        for cycle_idx in (0..self.sketch.marks.len()).step_by(every) {
            self.knock(
                cycle_idx * Recipe::CYCLE.n_pulses(),
                over,
                Voice::Bell,
                Touch::Bell,
            );
        }
    }

    fn knock(&mut self, idx: usize, over_db: f64, voice: Voice, touch: Touch) {
        let guitar = self.power_at(pulse_tick(idx));
        let length = Ticks(if touch == Touch::Bell { 240 } else { 120 });
        self.notes.push(Note {
            at: pulse_tick(idx),
            delay: 0,
            length,
            voice,
            pitch: None,
            loudness: stroke::tenths(10.0 * guitar.max(1e-6).log10() + over_db),
            touch,
        });
    }

    fn power_at(&self, at: Tick) -> f64 {
        let strings = self
            .notes
            .iter()
            .filter(|note| note.at == at && note.voice.is_strings());
        strings
            .map(|note| 10_f64.powf(note.loudness.decibels() / 10.0))
            .sum()
    }

    /// Plays a stroke on a pulse, with the variation that every hand has.
    fn strike_strings(&mut self, idx: usize, stroke: Stroke) {
        let first = idx.is_multiple_of(Recipe::CYCLE.n_pulses());
        let first_db = match (self.sketch.telling, first) {
            (Telling::Grouping, true) if stroke.accent_db < FIRST_COUNT_DB => FIRST_COUNT_DB,
            _ => 0.0,
        };
        let pulse_db = self
            .pulse_db
            .get(pulse_of(idx).idx())
            .copied()
            .unwrap_or_default();
        let varied = pulse_db + self.dice.real(-VARIATION_DB, VARIATION_DB);
        let uneven = self.dice.between(-UNEVEN_MICROS, UNEVEN_MICROS);
        let gap = self.dice.between(5_000, 8_000);
        let uneven = i32::try_from(uneven).expect("two milliseconds");
        let gap = i32::try_from(gap).expect("eight milliseconds");
        let loudness_db = first_db + varied + stroke.accent_db;
        self.notes
            .extend(stroke.notes(pulse_tick(idx), loudness_db, uneven, gap));
    }

    /// The next low note of the bass figure.
    fn low_note(&mut self, chord: Chord, above: f64) -> Pitch {
        let step = self.bass.get(self.n_bass % self.bass.len().max(1));
        self.n_bass += 1;
        let root = self.mode.root(chord);
        let under = self.mode.tone_near(chord, root.0.saturating_sub(3).max(40));
        match step {
            Some(Low::Under) if above - f64::from(under.0) >= DEEP_ENOUGH => under,
            _ => root,
        }
    }

    /// One chord a cycle, or one for every two; it closes on the final.
    fn chord_a_cycle(&mut self) -> Vec<Chord> {
        let every_second = self.sketch.telling == Telling::Grouping && self.dice.one_in(2);
        let span = if every_second { 2 } else { 1 };
        let n_cycles = self.sketch.marks.len();
        let walk = Mode::changes(n_cycles.div_ceil(span), &mut self.dice);
        let n_cycle = Recipe::CYCLE.n_pulses();
        (0..self.n_pulses())
            .filter_map(|idx| walk.get(idx / n_cycle / span).copied())
            .collect()
    }

    /// A new chord on every mark; it closes on the final or, half open, on the chord before it. Which of them
    /// is drawn alike for every grouping: chords alternate between two sets, so a fixed close would
    /// let the first chord tell how many changes there are.
    fn chord_a_mark(&mut self) -> Vec<Chord> {
        let n_marks = (0..self.n_pulses())
            .filter(|idx| self.is_mark(*idx))
            .count();
        let is_open = self.dice.one_in(2);
        let walk = Mode::changes(n_marks + usize::from(is_open), &mut self.dice);
        let mut walk = walk.into_iter();
        let mut here = Chord::One;
        (0..self.n_pulses())
            .map(|idx| {
                if self.is_mark(idx) {
                    here = walk.next().unwrap_or(here);
                }
                here
            })
            .collect()
    }

    fn is_mark(&self, idx: usize) -> bool {
        let layer = self.sketch.marks.get(idx / Recipe::CYCLE.n_pulses());
        layer.is_some_and(|layer| layer.contains(pulse_of(idx)))
    }

    fn n_pulses(&self) -> usize {
        self.sketch.marks.len() * Recipe::CYCLE.n_pulses()
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
            cycle: Recipe::CYCLE,
            tempo: sketch.tempo,
            n_cycles: u32::try_from(sketch.marks.len()).expect("at most eight cycles"),
            entry: sketch.entry,
            feel: sketch.feel,
            notes: self.notes,
        }
    }
}

/// Semitones under the other strings at which a low note other than the root may stand for it.
const DEEP_ENOUGH: f64 = 12.0;
/// Notes of a pickup are softer than what they lead to.
const PICKUP_SOFTER_TENTHS: i16 = 20;
/// A loud first sound tempts to be taken for the first count.
const FIRST_SOUND_LOUDER_TENTHS: i16 = 30;

fn pulse_tick(idx: usize) -> Tick {
    Tick::of_pulse(i64::try_from(idx).expect("at most 48 pulses"))
}

fn pulse_of(idx: usize) -> Pulse {
    Recipe::CYCLE.pulse_at(i64::try_from(idx).expect("at most 48 pulses"))
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to the guitar"
)]
fn clamp_pitch(pitch: f64) -> u8 {
    pitch.round().clamp(40.0, 88.0) as u8
}
