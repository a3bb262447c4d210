//! What the hand gives to a string: where and how brightly it plucks.
//!
//! A string that is drawn aside and let go pulls at the bridge in a square wave: one way for the
//! part of its period that is the part of its length behind the finger, then the other way
//! (Fletcher and Rossing, "The physics of musical instruments", 1998, chapter 2). Its overtones fall
//! as `sin(nπ·place) / n`, so that those with a node under the finger are missing. What a finger
//! rounds off is a low-pass; what a nail scrapes is a little noise.

use std::f64::consts::TAU;

use super::Noise;
use crate::pcm::SampleRate;
use crate::phrase::Touch;
use crate::sound::filter::Biquad;
use crate::sound::units::{count, frames, real, single};

/// Seconds in which the scrape of a nail has faded.
const SCRAPE: f64 = 0.006;
/// The nearest to the middle that a string is plucked, as a part of its length.
const MOST: f64 = 0.45;

/// How a hand plucks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hand {
    /// How far from the bridge, as a part of the open string.
    place: f64,
    /// Hertz above which the pluck holds less and less.
    brightness: f64,
    /// The share of noise in the pluck: skin is soft, a nail scrapes.
    scrape: f32,
}

impl Hand {
    pub(super) fn of(touch: Touch) -> Self {
        let (place, brightness, scrape) = match touch {
            // The thumb's flesh, over the hole.
            Touch::Thumb => (0.31, 500.0, 0.1),
            Touch::Down => (0.24, 1_300.0, 0.6),
            Touch::Up => (0.18, 2_000.0, 0.6),
            // Nails alone, which fly out nearer to the bridge.
            Touch::Roll => (0.13, 4_000.0, 1.2),
            // The open hand falls on the strings over the hole.
            Touch::Stopped => (0.33, 900.0, 0.0),
            _ => (0.21, 1_500.0, 0.4),
        };
        Self {
            place,
            brightness,
            scrape,
        }
    }

    /// The pluck alone, in a row of `n_frames`, on a string that is stopped at `fret`: as the hand
    /// stays where it is, it then plucks at a larger part of what sounds, which is darker.
    pub(super) fn pluck(
        self,
        (hz, fret): (f64, f64),
        mut noise: Noise,
        rate: SampleRate,
        n_frames: usize,
    ) -> Vec<f32> {
        let period = f64::from(rate.hz()) / hz;
        let n_period = count(period).max(2);
        let place = (self.place * 2.0_f64.powf(fret / 12.0)).min(MOST);
        let n_pull = count(place * period).clamp(1, n_period - 1);
        // Both ways weigh the same, so that the string is not left off its middle.
        let pull = 1.0 - single(real(n_pull) / real(n_period));
        let mut round = Round::below(self.brightness, rate);
        let n_scrape = frames(SCRAPE, rate);
        let fade = single((-5.0 / real(n_scrape.max(1))).exp());
        let (mut scrape, mut last_grain) = (self.scrape, 0.0);
        let mut samples = vec![0.0; n_frames];
        for (n, sample) in samples.iter_mut().take(n_period + n_scrape).enumerate() {
            let square = match n {
                _ if n < n_pull => pull,
                _ if n < n_period => pull - 1.0,
                _ => 0.0,
            };
            // The difference of grains has no low tones, so that chance does not change how
            // strongly the string is set moving.
            let grain = noise.next();
            *sample = round.next(square + scrape * (grain - last_grain));
            last_grain = grain;
            scrape *= fade;
        }
        samples
    }
}

/// What flesh rounds off: two poles, the second far above the first.
#[derive(Clone, Copy, Debug)]
struct Round {
    poles: [f32; 2],
    state: [f32; 2],
}

impl Round {
    fn below(hz: f64, rate: SampleRate) -> Self {
        let pole = |hz: f64| single((-TAU * hz / f64::from(rate.hz())).exp());
        Self {
            poles: [pole(hz), pole(3.0 * hz)],
            state: [0.0; 2],
        }
    }

    #[inline]
    fn next(&mut self, x: f32) -> f32 {
        let mut y = x;
        for (pole, state) in self.poles.into_iter().zip(&mut self.state) {
            *state += (1.0 - pole) * (y - *state);
            y = *state;
        }
        y
    }
}

/// Seconds in which the slap of a hand that stops the strings fades to a third, and how strong it is
/// against the pluck.
const SLAP_FADE: f64 = 0.012;
const SLAP: f32 = 2.4;

/// Adds the slap of the hand that stops a string as it strikes it: skin, and strings on frets.
pub(super) fn slap(samples: &mut [f32], mut noise: Noise, rate: SampleRate) {
    let mut skin = Biquad::band(500.0, 0.7, rate);
    let mut frets = Biquad::band(2_300.0, 0.8, rate);
    let fade = single((-1.0 / (SLAP_FADE * f64::from(rate.hz()))).exp());
    let mut loud = SLAP;
    for (n, sample) in samples.iter_mut().enumerate() {
        let grain = loud * if n == 0 { 1.0 } else { noise.next() };
        *sample += skin.next(grain) + 0.35 * frets.next(grain);
        loud *= fade;
    }
}
