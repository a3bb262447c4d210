//! How long it takes from a sound that is heard to a key that is read: the way of the sound, the
//! hand's own lead and the way of the key together, measured by tapping with steady clicks.

use std::f64::consts::TAU;

use super::circular::Circular;

/// The constant delay of a set-up. Microseconds; negative where taps come before the clicks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Delay {
    /// By how much taps lie after the clicks on the mean.
    pub micros: f64,
    /// The standard deviation of single taps.
    pub spread: f64,
    /// How many taps it was measured from.
    pub n: usize,
}

/// Taps so few that a hand is still finding the clicks.
const FINDING: usize = 3;
/// The least and the most taps that settle it.
const FEWEST: usize = 16;
const MOST: usize = 48;
/// Microseconds to within which it is to be known, by two standard errors.
const KNOWN_TO: f64 = 10_000.0;
/// The earliest that a tap may lie before its click, as a share of the gap: the rest is delay.
const EARLIEST: f64 = -0.25;
/// Microseconds of spread beyond which taps are no tapping with the clicks.
const SCATTERED: f64 = 90_000.0;

impl Delay {
    /// The delay of taps in microseconds since the first click, clicks being `gap` microseconds
    /// apart. Unambiguous from a quarter of a gap early to three quarters late. `None` while there are
    /// too few taps, or they scatter.
    pub fn of(taps: &[i64], gap: u32) -> Option<Self> {
        let gap = f64::from(gap);
        let places: Vec<f64> = taps
            .iter()
            .skip(FINDING)
            .map(|tap| real(*tap) / gap)
            .collect();
        let phase = Circular::of(places.iter().map(|place| place * TAU))?.mean / TAU;
        let middle = phase - (phase - EARLIEST).floor();
        // Each tap belongs to the click from which it lies nearest to the mean.
        let rest: Vec<f64> = places
            .iter()
            .map(|place| {
                let off = place - middle;
                (off - off.round()) * gap
            })
            .collect();
        let n = rest.iter().fold(0.0, |n, _| n + 1.0);
        if n < 2.0 {
            return None;
        }
        let mean = rest.iter().sum::<f64>() / n;
        let squares: f64 = rest.iter().map(|r| (r - mean).powi(2)).sum();
        let spread = (squares / (n - 1.0)).sqrt();
        (spread < SCATTERED).then_some(Self {
            micros: middle * gap + mean,
            spread,
            n: rest.len(),
        })
    }

    /// Microseconds to within which it is known: two standard errors of the mean.
    pub fn known_to(self) -> f64 {
        let n = (0..self.n).fold(0.0, |n, _| n + 1.0);
        2.0 * self.spread / f64::max(n, 1.0).sqrt()
    }

    /// Whether more taps would add nothing that matters.
    pub fn is_settled(self) -> bool {
        self.n >= MOST || (self.n >= FEWEST && self.known_to() <= KNOWN_TO)
    }
}

#[expect(clippy::cast_precision_loss, reason = "a minute of microseconds")]
fn real(micros: i64) -> f64 {
    micros as f64
}
