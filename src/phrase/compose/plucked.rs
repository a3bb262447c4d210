//! The families that are plucked: broken chords and single lines.

use super::stroke::Stroke;
use super::{Writer, line, pulse_tick};
use crate::accent::size;
use crate::phrase::cells::{FIGURES, SHORT_NOTES};
use crate::phrase::harmony::Chord;
use crate::phrase::{Family, Pitch, Voice};
use crate::rhythm::{Feel, TICKS_PER_PULSE, Tick, Ticks};

use super::sketch::Telling;

/// Ticks before the next note at which a note of a line is let go.
const LET_GO: u32 = 5;

impl Writer {
    /// A broken chord, one string a pulse; the thumb goes deep on the marks.
    pub(super) fn write_arpeggio(&mut self) {
        let n_cycle = self.sketch.cycle().n_pulses();
        let figures = self.inner_figures();
        for (idx, chord) in self.chord_a_cycle().into_iter().enumerate() {
            let inner = self.mode.voicing(chord, 3, self.lowest + 3);
            // A figure of six goes on through cycles of any length, so that no string comes twice.
            let place = figures
                .get(idx / n_cycle)
                .and_then(|figure| figure.get(idx % figure.len()));
            let tone = place.and_then(|place| inner.get(*place));
            let middle = inner.get(1).map_or(64, |pitch| pitch.0);
            let is_told = self.tells_start() && self.is_first_count(idx);
            let stroke = if self.is_mark(idx) || is_told {
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
        match (self.sketch.telling, pulse_idx) {
            (Telling::Grouping, _) => self.units(),
            (Telling::Start, 0) => OTHER_MARKS + self.units(),
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

    /// A single line in even notes. Its tops stand on the marks; where touch is to tell, on the
    /// first counts alone, and the marks are held longer.
    pub(super) fn write_even_line(&mut self) {
        let units = self.units();
        let steps = match self.sketch.family {
            Family::Line => {
                let is_mark = self.each_pulse(Self::is_mark);
                line::steps(&is_mark, size::turn_rise_for(units), &mut self.dice)
            }
            // Where nothing is to decide, no figure comes again within a cycle.
            Family::Figures if self.sketch.feel != Feel::Either => {
                let is_mark = self.each_pulse(Self::is_mark);
                let n_cycle = self.sketch.cycle().n_pulses();
                let share = size::figure_share_for(units);
                line::figures(&is_mark, n_cycle, share, &mut self.dice)
            }
            _ => self.plain_contour(),
        };
        let chords = self.chord_a_cycle();
        let short = f64::from(Stroke::HELD.0) / size::held_ratio_for(units);
        for (idx, (step, chord)) in steps.into_iter().zip(chords).enumerate() {
            let mut stroke = self.line_stroke(idx, step, chord);
            if self.sketch.family == Family::Touch && !self.is_mark(idx) {
                stroke.held = ticks(short);
            }
            self.strike_strings(idx, stroke);
        }
    }

    /// A line whose tops are its first counts, so that its rise and fall tells no grouping.
    fn plain_contour(&mut self) -> Vec<i32> {
        let is_first = self.each_pulse(Self::is_first_count);
        let rise = self.dice.real(2.0, 6.0);
        line::steps(&is_first, rise, &mut self.dice)
    }

    /// A single line of long notes on the marks and shorter ones between them, as many in a group as
    /// it has pulses.
    pub(super) fn write_long_and_short(&mut self) {
        let ratio = size::length_ratio_for(self.units());
        let parts = *self.dice.pick(&SHORT_NOTES).expect("a bank of cells");
        let steps = self.plain_contour();
        let marks: Vec<usize> = (0..self.n_pulses()).filter(|i| self.is_mark(*i)).collect();
        let mut onsets: Vec<Tick> = Vec::new();
        for (place, mark) in marks.iter().enumerate() {
            let next = marks.get(place + 1).copied().unwrap_or(self.n_pulses());
            onsets.extend(long_and_short(*mark, next - mark, ratio, parts));
        }
        let end = pulse_tick(self.n_pulses());
        let chords = self.chord_a_cycle();
        let notes = onsets.iter().zip(steps).zip(chords);
        for (place, ((at, step), chord)) in notes.enumerate() {
            let next = onsets.get(place + 1).copied().unwrap_or(end);
            let idx = usize::try_from(at.pulse_idx()).expect("not before the first count");
            let mut stroke = self.line_stroke(idx, step, chord);
            let gap = u32::try_from(next.0 - at.0).expect("onsets rise");
            stroke.held = Ticks(gap.saturating_sub(LET_GO).max(LET_GO));
            self.strike_at(*at, idx, stroke);
        }
    }

    /// A note of the line; where the start is to be told, a low note stands under the first count.
    fn line_stroke(&mut self, idx: usize, step: i32, chord: Chord) -> Stroke {
        let stroke = Stroke::finger(self.mode.scale(step), Voice::Line);
        if !(self.tells_start() && self.is_first_count(idx)) {
            return stroke;
        }
        let bass = self.low_note(chord, stroke.mean_pitch());
        stroke.over_bass(bass, self.units())
    }

    fn each_pulse(&self, is: impl Fn(&Self, usize) -> bool) -> Vec<bool> {
        (0..self.n_pulses()).map(|idx| is(self, idx)).collect()
    }
}

/// The onsets of one group of `n` pulses from the pulse `mark`: the first note is `ratio` times as
/// long as the mean of the others, which share the rest in these parts.
fn long_and_short(mark: usize, n: usize, ratio: f64, parts: [u32; 5]) -> Vec<Tick> {
    let start = pulse_tick(mark);
    let n_short = n.saturating_sub(1);
    let count = (0..n_short).fold(0.0, |count, _| count + 1.0);
    let whole: f64 = (count + 1.0) * ticks_a_pulse();
    let long = whole * ratio / (ratio + count);
    let shares = parts
        .iter()
        .cycle()
        .take(n_short)
        .map(|part| f64::from(*part));
    let sum: f64 = shares.clone().sum();
    let mut at = long;
    let mut onsets = vec![start];
    for share in shares {
        onsets.push(start.after(ticks(at)));
        at += (whole - long) * share / sum;
    }
    onsets
}

#[expect(clippy::cast_precision_loss, reason = "a small constant")]
fn ticks_a_pulse() -> f64 {
    TICKS_PER_PULSE as f64
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a group's length"
)]
fn ticks(n: f64) -> Ticks {
    Ticks(n.round().clamp(1.0, 12_000.0) as u32)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to the guitar"
)]
fn clamp_pitch(pitch: f64) -> u8 {
    pitch.round().clamp(40.0, 88.0) as u8
}
