//! Second-order filters, and loudness weighting made of them.
//!
//! Coefficients by the bilinear transform after R. Bristow-Johnson, "Audio EQ cookbook" (1998).
//! Frequencies are hertz and are held below a third of the sample rate.

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use super::units::{factor, real, single};
use crate::pcm::SampleRate;

/// Numerator and denominator of a second-order filter, the first denominator term being 1.
#[derive(Clone, Copy, Debug)]
struct Coefficients {
    b: [f64; 3],
    a: [f64; 2],
}

/// A running second-order filter (transposed direct form II).
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Biquad {
    b: [f32; 3],
    a: [f32; 2],
    state: [f32; 2],
}

impl Biquad {
    /// Lets through what lies around `hz`, with gain 1 there; `q` is `hz` over the bandwidth.
    pub(in crate::sound) fn band(hz: f64, q: f64, rate: SampleRate) -> Self {
        Self::of(band(hz, q, rate))
    }

    /// Lets through what lies above `hz`, falling by 12 dB an octave below and flat above (Butterworth).
    pub(in crate::sound) fn above(hz: f64, rate: SampleRate) -> Self {
        let w = turn(hz, rate);
        let alpha = w.sin() * FRAC_1_SQRT_2;
        let a0 = 1.0 + alpha;
        let b = (1.0 + w.cos()) / (2.0 * a0);
        Self::of(Coefficients {
            b: [b, -2.0 * b, b],
            a: [-2.0 * w.cos() / a0, (1.0 - alpha) / a0],
        })
    }

    fn of(coefficients: Coefficients) -> Self {
        Self {
            b: coefficients.b.map(single),
            a: coefficients.a.map(single),
            state: [0.0; 2],
        }
    }

    /// Goes on as if nothing had come in yet.
    pub(in crate::sound) fn forget(&mut self) {
        self.state = [0.0; 2];
    }

    /// The next output.
    #[inline]
    pub(in crate::sound) fn next(&mut self, x: f32) -> f32 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}

fn band(hz: f64, q: f64, rate: SampleRate) -> Coefficients {
    let w = turn(hz, rate);
    let alpha = w.sin() / (2.0 * q);
    let a0 = 1.0 + alpha;
    Coefficients {
        b: [alpha / a0, 0.0, -alpha / a0],
        a: [-2.0 * w.cos() / a0, (1.0 - alpha) / a0],
    }
}

/// Radians a sample.
fn turn(hz: f64, rate: SampleRate) -> f64 {
    let rate = f64::from(rate.hz());
    TAU * hz.min(rate / 3.0) / rate
}

/// Several bands side by side, added with a gain each: a body's resonances.
///
/// Kept as arrays so that all are computed together.
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Bands<const N: usize> {
    b: [f32; N],
    a1: [f32; N],
    a2: [f32; N],
    gain: [f32; N],
    z1: [f32; N],
    z2: [f32; N],
}

impl<const N: usize> Bands<N> {
    /// Bands at (hertz, q, gain).
    pub(in crate::sound) fn new(bands: [(f64, f64, f64); N], rate: SampleRate) -> Self {
        let filters = bands.map(|(hz, q, _)| band(hz, q, rate));
        Self {
            b: filters.map(|filter| single(filter.b[0])),
            a1: filters.map(|filter| single(filter.a[0])),
            a2: filters.map(|filter| single(filter.a[1])),
            gain: bands.map(|(_, _, gain)| single(gain)),
            z1: [0.0; N],
            z2: [0.0; N],
        }
    }

    /// The next output.
    #[inline]
    pub(in crate::sound) fn next(&mut self, x: f32) -> f32 {
        let mut sum = 0.0;
        for n in 0..N {
            let y = self.b[n] * x + self.z1[n];
            self.z1[n] = self.z2[n] - self.a1[n] * y;
            self.z2[n] = -self.b[n] * x - self.a2[n] * y;
            sum += self.gain[n] * y;
        }
        sum
    }
}

/// The mean square of `samples` as the ear weighs it: the K-weighting of ITU-R BS.1770-4.
pub(in crate::sound) fn weighted_power(
    samples: impl Iterator<Item = f32>,
    rate: SampleRate,
) -> f64 {
    let [mut shelf, mut high] = k_weighting(rate).map(Biquad::of);
    let mut sum = 0.0;
    let mut n_samples = 0;
    for sample in samples {
        sum += f64::from(high.next(shelf.next(sample))).powi(2);
        n_samples += 1;
    }
    sum / real(n_samples).max(1.0)
}

/// The two filters of ITU-R BS.1770-4 for any rate: analogue prototypes fitted to the coefficients
/// that the standard prints for 48 kHz.
fn k_weighting(rate: SampleRate) -> [Coefficients; 2] {
    let k = (turn(1_681.974_450_955_533, rate) / 2.0).tan();
    let (q, high) = (0.707_175_236_955_42, factor(3.999_843_853_973_347));
    let band = high.powf(0.499_666_774_154_541_6);
    let a0 = 1.0 + k / q + k * k;
    let shelf = Coefficients {
        b: [
            (high + band * k / q + k * k) / a0,
            2.0 * (k * k - high) / a0,
            (high - band * k / q + k * k) / a0,
        ],
        a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
    };
    let k = (turn(38.135_470_876_024_44, rate) / 2.0).tan();
    let q = 0.500_327_037_323_877_3;
    let a0 = 1.0 + k / q + k * k;
    let high_pass = Coefficients {
        b: [1.0, -2.0, 1.0],
        a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
    };
    [shelf, high_pass]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weighting_is_that_of_the_standard() {
        // ITU-R BS.1770-4 (2015), tables 1 and 2, at 48 kHz.
        let [shelf, high] = k_weighting(SampleRate::HZ_48000);
        let expected = [
            (
                shelf.b,
                [
                    1.535_124_859_586_97,
                    -2.691_696_189_406_38,
                    1.198_392_810_852_85,
                ],
            ),
            (high.b, [1.0, -2.0, 1.0]),
        ];
        for (ours, theirs) in expected {
            for (a, b) in ours.iter().zip(theirs) {
                assert!((a - b).abs() < 1e-9, "{a} {b}");
            }
        }
        let expected = [
            (shelf.a, [-1.690_659_293_182_41, 0.732_480_774_215_85]),
            (high.a, [-1.990_047_454_833_98, 0.990_072_250_366_21]),
        ];
        for (ours, theirs) in expected {
            for (a, b) in ours.iter().zip(theirs) {
                assert!((a - b).abs() < 1e-9, "{a} {b}");
            }
        }
    }

    /// What a filter makes of a steady tone, in decibels.
    fn gain_db(mut filter: Biquad, hz: f64) -> f64 {
        let wave = (0..48_000).map(|n| single((TAU * hz * f64::from(n) / 48_000.0).sin()));
        let heard: Vec<f32> = wave.map(|x| filter.next(x)).skip(9_600).collect();
        let square: f32 = heard.iter().map(|y| y * y).sum();
        10.0 * (2.0 * f64::from(square) / real(heard.len())).log10()
    }

    #[test]
    fn a_band_passes_its_middle_and_stops_the_rest() {
        let gain = |hz| gain_db(Biquad::band(400.0, 4.0, SampleRate::HZ_48000), hz);
        assert!(gain(400.0).abs() < 0.01);
        assert!(gain(100.0) < -20.0);
        assert!(gain(1_600.0) < -20.0);
    }

    #[test]
    fn above_a_frequency_all_passes_and_below_it_falls_by_twelve_decibels_an_octave() {
        let gain = |hz| gain_db(Biquad::above(1_000.0, SampleRate::HZ_48000), hz);
        assert!(gain(8_000.0).abs() < 0.05);
        // Butterworth (1930): half the power passes at the corner.
        assert!((gain(1_000.0) + 3.01).abs() < 0.02);
        assert!((gain(100.0) - gain(50.0) - 12.04).abs() < 0.1);
    }
}
