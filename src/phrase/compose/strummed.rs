//! The families that are strummed.

use super::Writer;
use super::stroke::Stroke;
use crate::accent::size;
use crate::phrase::{Family, Level};

impl Writer {
    /// Low notes on the marks, strums above; the chord moves with the cycle, or with every mark.
    pub(super) fn write_bass_strums(&mut self) {
        let plain = self.sketch.family == Family::Plain;
        let moves = plain || self.sketch.family == Family::BassChords;
        let (units, start) = (self.units(), self.tells_start());
        let chords = if moves && !start {
            self.chord_a_mark()
        } else {
            self.chord_a_cycle()
        };
        // Where the chord is to tell the start, open strings ring through it to the level's degree.
        let spread = start.then(|| size::chord_over_rest_for(units));
        for (idx, chord) in chords.into_iter().enumerate() {
            let mut stroke = Stroke::strum(self.mode.voicing(chord, self.n_strings, self.lowest));
            // Where the style leaves the first count bare, the low note that tells it stands there too.
            if self.is_mark(idx) || (start && self.is_first_count(idx)) {
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
    pub(super) fn write_chords(&mut self) {
        let units = self.units();
        let over_drone = size::chord_over_rest_for(units);
        for (idx, chord) in self.chord_a_mark().into_iter().enumerate() {
            let voicing = self.mode.voicing(chord, self.n_strings, self.lowest);
            let mut stroke = Stroke::strum(voicing);
            if self.tells_start() && self.is_first_count(idx) {
                let bass = self.low_note(chord, stroke.mean_pitch());
                stroke = stroke.over_bass(bass, units);
            }
            self.strike_strings(idx, stroke.with_drone(self.mode.drone(), over_drone));
        }
    }

    /// Even strums of one chord a cycle: what tells is how they are struck, or what is struck beside
    /// them.
    pub(super) fn write_strums(&mut self) {
        let units = self.units();
        let n_pulses = self.n_pulses();
        for (idx, chord) in self.chord_a_cycle().into_iter().enumerate() {
            let mut stroke = Stroke::strum(self.mode.voicing(chord, self.n_strings, self.lowest));
            if self.tells_start() && self.is_first_count(idx) {
                let bass = self.low_note(chord, stroke.mean_pitch());
                stroke = stroke.over_bass(bass, units);
            }
            if self.sketch.family == Family::Strike && self.is_hinted(idx) {
                let bass = self.low_note(chord, stroke.mean_pitch());
                stroke = stroke.over_bass(bass, self.units_of_hints());
            }
            match self.sketch.family {
                Family::Loudness if self.is_mark(idx) => {
                    stroke.accent_db = accent_db(self.sketch.level);
                }
                // The stroke before a mark is stopped, so that the mark stands out ringing.
                Family::Stopped if self.is_mark((idx + 1) % n_pulses) && !self.is_mark(idx) => {
                    stroke = stroke.stopped(size::stopped_over_rest_for(units));
                }
                _ => {}
            }
            self.strike_strings(idx, stroke);
        }
    }
}

/// Decibels of an accent of loudness that is to be heard as its level says: from 6 dB on as many,
/// below that a little more, as it has to stand out of a hand that varies.
fn accent_db(level: Level) -> f64 {
    let db = level.decibels();
    db.max(0.75 * db + 1.5)
}
