//! The knock on the guitar's top: a nail's click and the wood under it.

use super::Noise;
use super::partial::ring;
use crate::pcm::SampleRate;
use crate::sound::filter::Biquad;
use crate::sound::units::{frames, single};

/// The wood's shapes as (hertz, seconds in which it fades to a third, share). Higher and much
/// shorter than a bass note, so that a knock is never taken for one.
const MODES: [(f64, f64, f32); 5] = [
    (168.0, 0.022, 0.5),
    (271.0, 0.018, 0.8),
    (430.0, 0.014, 0.7),
    (690.0, 0.009, 0.5),
    (1_150.0, 0.006, 0.4),
];
/// Seconds in which the click of the nail fades to a third.
const CLICK: f64 = 0.005;
/// Seconds that a knock lasts.
const LENGTH: f64 = 0.14;

/// One knock.
pub(super) fn knock(mut noise: Noise, rate: SampleRate) -> Vec<f32> {
    let n_frames = frames(LENGTH, rate);
    let mut click = Biquad::band(1_700.0, 0.7, rate);
    let fade = single((-1.0 / (CLICK * f64::from(rate.hz()))).exp());
    let mut loud = 0.9;
    let mut samples: Vec<f32> = (0..n_frames)
        .map(|n| {
            let grain = if n == 0 { 1.0 } else { noise.next() };
            loud *= fade;
            click.next(loud * grain)
        })
        .collect();
    for (hz, seconds, share) in MODES {
        // No two knocks fall on quite the same spot.
        let hz = hz * noise.between(0.985, 1.015);
        ring(&mut samples, hz, seconds, share, rate);
    }
    samples
}
