//! The tune-up: tapping with clicks until the constant delay of this set-up is known.

use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::quiz::judge::Delay;
use crate::rhythm::{Cycle, Feel, Tempo, Tick, Ticks};

/// Clicks a minute: slow enough that a delay of three tenths of a second is not taken for a lead.
const CLICKS_A_MINUTE: i64 = 100;
/// Microseconds between two clicks.
const GAP_MICROS: u32 = 600_000;
/// Microseconds within which two taps are one.
const REPEAT_MICROS: i64 = 60_000;
/// Half of the strip of scattered taps, and how many microseconds a cell of it is.
const HALF_STRIP: i64 = 12;
const CELL_MICROS: f64 = 10_000.0;

/// Taps with clicks, and what they come to.
#[derive(Clone, Debug, PartialEq)]
pub struct TuneUp {
    /// The output that is measured.
    pub output: String,
    taps: Vec<i64>,
    /// The delay that was kept, once it is known.
    pub kept: Option<Delay>,
}

impl TuneUp {
    /// A tune-up of this output, before the first tap.
    pub(crate) fn new(output: &str) -> Self {
        Self {
            output: output.to_owned(),
            taps: Vec::new(),
            kept: None,
        }
    }

    /// A tap, in microseconds since the first click. The delay when it is settled by this tap.
    pub(crate) fn tap(&mut self, micros: i64) -> Option<Delay> {
        // A held key repeats itself faster than anybody taps.
        let repeats = |last: &i64| (micros - last).abs() < REPEAT_MICROS;
        if self.kept.is_none() && !self.taps.last().is_some_and(repeats) {
            self.taps.push(micros);
            self.kept = self.delay().filter(|delay| delay.is_settled());
            return self.kept;
        }
        None
    }

    /// How many taps there are.
    pub fn n_taps(&self) -> usize {
        self.taps.len()
    }

    /// The delay as far as it is known.
    pub fn delay(&self) -> Option<Delay> {
        Delay::of(&self.taps, GAP_MICROS)
    }

    /// How many taps lie in each cell of 10 ms around the mean; what lies outside is in the last
    /// cell of its side. Empty while nothing can be said.
    pub fn strip(&self) -> Vec<usize> {
        let Some(delay) = self.delay() else {
            return Vec::new();
        };
        let n_cells = usize::try_from(2 * HALF_STRIP + 1).expect("a few cells");
        let mut cells = vec![0; n_cells];
        for tap in self.taps.iter().rev().take(delay.n) {
            let cell = cell(*tap, delay.micros);
            if let Some(cell) = usize::try_from(cell + HALF_STRIP)
                .ok()
                .and_then(|idx| cells.get_mut(idx))
            {
                *cell += 1;
            }
        }
        cells
    }
}

/// The cell of a tap, 0 the middle one.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "microseconds of a minute, clamped to a few cells"
)]
fn cell(tap: i64, mean: f64) -> i64 {
    let gap = f64::from(GAP_MICROS);
    let off = (tap as f64 - mean) / gap;
    let micros = (off - off.round()) * gap;
    (micros / CELL_MICROS)
        .round()
        .clamp(-(HALF_STRIP as f64), HALF_STRIP as f64) as i64
}

/// The clicks, going round.
pub(super) fn clicks() -> Phrase {
    let click = |pulse| Note {
        at: Tick::of_pulse(pulse),
        delay: 0,
        length: Ticks(60),
        voice: Voice::Bell,
        pitch: None,
        loudness: Loudness(0),
        touch: Touch::Bell,
    };
    let tempo = Tempo::of_pulses_a_minute(CLICKS_A_MINUTE).expect("a possible tempo");
    Phrase {
        cycle: Cycle::SIX,
        pace: tempo.into(),
        n_cycles: 2,
        entry: 0,
        feel: Feel::Either,
        notes: (0..12).map(click).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clicks_are_as_far_apart_as_is_reckoned() {
        let gap = clicks().pace.units_at(Tick::of_pulse(1), 0, 1_000_000);
        assert_eq!(gap, i64::from(GAP_MICROS));
    }

    #[test]
    fn taps_settle_it_and_more_change_nothing() {
        let mut tune_up = TuneUp::new("a card");
        let tap = |n: i64| n * 600_000 + 120_000 + 15_000 * (n % 3 - 1);
        let settled: Vec<i64> = (0..40).filter(|n| tune_up.tap(tap(*n)).is_some()).collect();
        assert_eq!(settled.len(), 1, "{settled:?}");
        let kept = tune_up.kept.expect("settled");
        assert!((kept.micros - 120_000.0).abs() < 3_000.0, "{kept:?}");
        let strip = tune_up.strip();
        assert_eq!(strip.iter().sum::<usize>(), kept.n);
        assert_eq!(strip[12 - 3..=12 + 3].iter().sum::<usize>(), kept.n);
    }
}
