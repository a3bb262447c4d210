//! Which chord sounds on each pulse, and which low note under it.

use super::Writer;
use super::sketch::Telling;
use crate::phrase::Pitch;
use crate::phrase::cells::Low;
use crate::phrase::harmony::{Chord, Mode};

/// Semitones under the other strings at which a low note other than the root may stand for it.
const DEEP_ENOUGH: f64 = 12.0;

impl Writer {
    /// The next low note of the bass figure.
    pub(super) fn low_note(&mut self, chord: Chord, above: f64) -> Pitch {
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
    pub(super) fn chord_a_cycle(&mut self) -> Vec<Chord> {
        let every_second = self.sketch.telling == Telling::Grouping && self.dice.one_in(2);
        let span = if every_second { 2 } else { 1 };
        let n_cycles = self.sketch.marks.len();
        let walk = Mode::changes(n_cycles.div_ceil(span), &mut self.dice);
        let n_cycle = self.sketch.cycle().n_pulses();
        (0..self.n_pulses())
            .filter_map(|idx| walk.get(idx / n_cycle / span).copied())
            .collect()
    }

    /// A new chord on every mark; it closes on the final or, half open, on the chord before it. Which of them
    /// is drawn alike for every grouping: chords alternate between two sets, so a fixed close would
    /// let the first chord tell how many changes there are. Where the style closes on a count of its
    /// own, the final comes there in the last cycle.
    pub(super) fn chord_a_mark(&mut self) -> Vec<Chord> {
        let n_cycle = self.sketch.cycle().n_pulses();
        let close = self.sketch.pattern.close();
        let rest = close.map_or(self.n_pulses(), |pulse| {
            self.n_pulses() - n_cycle + pulse.idx() + 1
        });
        let n_marks = (0..rest).filter(|idx| self.is_mark(*idx)).count();
        let is_open = close.is_none() && self.dice.one_in(2);
        let walk = Mode::changes(n_marks + usize::from(is_open), &mut self.dice);
        let mut walk = walk.into_iter();
        let mut here = Chord::One;
        (0..self.n_pulses())
            .map(|idx| {
                if self.is_mark(idx) {
                    // After the close the harmony leads on.
                    here = walk.next().unwrap_or(match here {
                        Chord::One => Chord::Two,
                        _ => Chord::One,
                    });
                }
                here
            })
            .collect()
    }
}
