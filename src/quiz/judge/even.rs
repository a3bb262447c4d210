//! How evenly somebody taps with nothing to hear.

use super::timing::slope;

/// Taps at a pace of one's own. Milliseconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evenness {
    /// The gap between taps.
    pub gap_ms: f64,
    /// The standard deviation of taps around the even row that fits them best.
    pub spread_ms: f64,
    /// How many taps.
    pub n: usize,
}

impl Evenness {
    /// Of taps in microseconds, in order, by linear regression of their times on their numbers;
    /// `None` of fewer than four, of which three can lie in a row by chance.
    pub fn of(taps: &[i64]) -> Option<Self> {
        const FEWEST: usize = 4;
        if taps.len() < FEWEST {
            return None;
        }
        let gap_ms = slope(&times(taps));
        let offs = offs(taps, gap_ms);
        let (n, squares) = offs.iter().fold((0.0, 0.0), |(n, sum), off| {
            (n + 1.0, off.mul_add(*off, sum))
        });
        Some(Self {
            gap_ms,
            // Two numbers were fitted.
            spread_ms: (squares / (n - 2.0)).sqrt(),
            n: taps.len(),
        })
    }

    /// By how many microseconds each tap lies after its place in the even row.
    pub fn offs(self, taps: &[i64]) -> Vec<f64> {
        let offs = offs(taps, self.gap_ms).into_iter();
        offs.map(|ms| ms * 1_000.0).collect()
    }
}

fn times(taps: &[i64]) -> Vec<f64> {
    let first = taps.first().copied().unwrap_or(0);
    let ms = |tap: &i64| micros(tap.saturating_sub(first)) / 1_000.0;
    taps.iter().map(ms).collect()
}

/// Milliseconds by which each tap lies after its place.
fn offs(taps: &[i64], gap_ms: f64) -> Vec<f64> {
    let times = times(taps);
    let n = times.iter().fold(0.0, |n, _| n + 1.0);
    let mean = times.iter().sum::<f64>() / f64::max(n, 1.0);
    let mut place = -(n - 1.0) / 2.0 - 1.0;
    let off = |time: &f64| {
        place += 1.0;
        time - mean - place * gap_ms
    };
    times.iter().map(off).collect()
}

#[expect(clippy::cast_precision_loss, reason = "microseconds of some minutes")]
fn micros(micros: i64) -> f64 {
    micros as f64
}
