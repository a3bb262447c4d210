//! What stands between the strokes and beside them: rolls, light up-strums, knocks and bells.

use super::stroke;
use super::{Writer, pulse_tick};
use crate::accent::size;
use crate::phrase::cells::ROLLS;
use crate::phrase::{Bell, Family, Loudness, Note, Pitch, Touch, Voice};
use crate::rhythm::{Layer, TICKS_PER_PULSE, Tick, Ticks};

/// The most by which knocks and bells stand over the stroke that they fall with, in decibels, so that
/// nothing leaps out of the sound.
const HARDEST_KNOCK_DB: f64 = 6.0;
/// Microseconds from string to string of a light strum.
const NEXT_STRING_MICROS: i32 = 6_000;

impl Writer {
    /// Rolls that land on the marks. Before every other pulse a light up-strum stands in their place,
    /// so that something sounds between all pulses alike.
    pub(super) fn write_rolls(&mut self) {
        if self.sketch.family != Family::Rasgueado {
            return;
        }
        let over = size::knock_over_rest_for(self.units());
        let cell = *self.dice.pick(&ROLLS).expect("a bank of cells");
        // What would lead into the first stroke of all has nothing before it.
        let first = usize::try_from(self.sketch.entry.rem_euclid(self.loop_pulses())).unwrap_or(0);
        for idx in (0..self.n_pulses()).filter(|idx| *idx != first) {
            if self.is_mark(idx) {
                self.roll(idx, cell, over);
            } else {
                let before = (idx + self.n_pulses() - 1) % self.n_pulses();
                self.up_strum(before);
            }
        }
    }

    /// One roll that lands on the pulse `idx`: nails one after the other through the half pulse
    /// before it, together so many decibels over the stroke that lands.
    fn roll(&mut self, idx: usize, cell: &[[usize; 2]], over_db: f64) {
        let landing: Vec<Pitch> = self.strings_at(idx).filter_map(|note| note.pitch).collect();
        let upper = &landing[landing.len().saturating_sub(3)..];
        let n_notes = cell.iter().fold(0.0, |n, _| n + 2.0);
        let power = self.power_at(pulse_tick(idx)) / n_notes;
        let loudness = stroke::tenths(10.0 * power.max(1e-6).log10() + over_db);
        let gap = TICKS_PER_PULSE / 2 / i64::try_from(cell.len()).expect("a few nails");
        for (nail, strings) in (1..).zip(cell.iter().rev()) {
            for (place, string) in (0..).zip(strings) {
                let Some(pitch) = upper.get(*string) else {
                    continue;
                };
                self.notes.push(Note {
                    at: Tick(pulse_tick(idx).0 - nail * gap),
                    delay: place * NEXT_STRING_MICROS / 2,
                    length: Ticks(u32::try_from(gap).expect("part of a pulse")),
                    voice: Voice::Chords,
                    pitch: Some(*pitch),
                    loudness,
                    touch: Touch::Roll,
                });
            }
        }
    }

    /// Light up-strums between the pulses, between all of them or none, in some of the slower
    /// strummed phrases.
    pub(super) fn write_fillers(&mut self) {
        let strummed = matches!(
            self.sketch.family,
            Family::Plain
                | Family::BassChords
                | Family::BassStrums
                | Family::Chords
                | Family::Loudness
                | Family::Strike
        );
        let roomy = self.sketch.pace.first().pulses_a_minute() < 170.0;
        if !(strummed && roomy && self.dice.one_in(3)) {
            return;
        }
        for idx in 0..self.n_pulses() {
            self.up_strum(idx);
        }
    }

    /// A light up-strum half a pulse after the pulse `idx`.
    fn up_strum(&mut self, idx: usize) {
        let strings: Vec<Note> = self.strings_at(idx).take(3).collect();
        for (place, string) in (0..).zip(strings.iter().rev()) {
            self.notes.push(Note {
                at: Tick(string.at.0 + TICKS_PER_PULSE / 2),
                delay: place * NEXT_STRING_MICROS,
                length: Ticks(110),
                loudness: Loudness(-150),
                touch: Touch::Up,
                ..*string
            });
        }
    }

    fn strings_at(&self, idx: usize) -> impl Iterator<Item = Note> {
        let at = pulse_tick(idx);
        self.notes
            .iter()
            .filter(move |n| n.at == at && n.voice == Voice::Chords)
            .copied()
    }

    pub(super) fn write_knocks(&mut self) {
        let marks_are_knocked = self.sketch.family == Family::Strike;
        let over = size::knock_over_rest_for(self.units_of_knocks());
        let hint = size::knock_over_rest_for(self.units_of_hints());
        for idx in 0..self.n_pulses() {
            let is_knocked = match self.sketch.knocks {
                Some(layer) => layer.contains(self.pulse_of(idx)),
                None => marks_are_knocked && self.is_mark(idx),
            };
            // Where knocks tell, it is the low notes that hint.
            let is_free = self.sketch.knocks.is_none() && !marks_are_knocked;
            if is_knocked {
                self.knock(idx, over, Voice::Strike, self.knock);
            } else if is_free && self.is_hinted(idx) {
                self.knock(idx, hint, Voice::Strike, self.knock);
            }
        }
    }

    /// The bell of the pattern, or one that marks the first count.
    pub(super) fn write_bell(&mut self) {
        let first = Layer::on(self.sketch.cycle(), [self.sketch.cycle().first()]).ok();
        let (layer, every) = match (self.sketch.pattern.bell(), self.sketch.bell) {
            (Some(bell), _) => (Some(bell), 1),
            (None, Bell::None) => return,
            (None, Bell::Every) => (first, 1),
            (None, Bell::Second) => (first, 2),
        };
        let over = size::knock_over_rest_for(self.units_of_knocks());
        let n_cycle = self.sketch.cycle().n_pulses();
        for idx in (0..self.n_pulses()).filter(|idx| (idx / n_cycle).is_multiple_of(every)) {
            if layer.is_some_and(|layer| layer.contains(self.pulse_of(idx))) {
                self.knock(idx, over, Voice::Bell, Touch::Bell);
            }
        }
    }

    fn knock(&mut self, idx: usize, over_db: f64, voice: Voice, touch: Touch) {
        // Where the guitar is silent, as loud as to an ordinary stroke.
        let guitar = match self.power_at(pulse_tick(idx)) {
            power if power > 0.0 => power,
            _ => 1.0,
        };
        let length = Ticks(if touch == Touch::Bell { 240 } else { 120 });
        // What is written is what is played: hands are never struck harder.
        let over_db = over_db.min(HARDEST_KNOCK_DB);
        self.notes.push(Note {
            at: pulse_tick(idx),
            delay: 0,
            length,
            voice,
            pitch: None,
            loudness: stroke::tenths(10.0 * guitar.log10() + over_db),
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
}
