//! Hand claps by a few people, dull or bright.
//!
//! A clap is a burst of air shaped by the hollow between the hands: cupped hands (sordas) ring low
//! and dull, fingers on the palm (claras) high. Repp (1987, "The sound of two hands clapping") found
//! the peak of the spectrum between about 0.75 and 2 kHz by the position of the hands; the bands
//! here follow that. How soon a clap is over, and how bright claras are, follows real claps
//! (`tests/reference/fixtures/real_sounds.json`): each of them is a click of a few milliseconds, and
//! what seems longer is the room. How far cupped hands are duller is our own, not yet judged by ear.

use super::Noise;
use super::partial::ring;
use crate::pcm::SampleRate;
use crate::sound::filter::Biquad;
use crate::sound::units::{count, frames, real, single};

/// How the hands meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// Cupped.
    Sorda,
    /// Fingers on the palm.
    Clara,
}

/// How many people clap together, at least and at most.
const PEOPLE: (f64, f64) = (2.0, 4.0);
/// Seconds within which all have clapped: too close to be heard one by one. Real groups are ten times
/// as wide, which is a flam, and would leave it open when the clap was.
const SPREAD: f64 = 0.0030;
/// Seconds that a clap lasts, with room for what is softer than can be heard.
const LENGTH: f64 = 0.05;
/// Seconds in which the noise of the skin fades to a third.
const SKIN: f64 = 0.0025;

/// One clap of all people; the first of them claps on the first sample.
pub(super) fn clap(kind: Kind, mut noise: Noise, rate: SampleRate) -> Vec<f32> {
    let mut samples = vec![0.0; frames(LENGTH, rate)];
    for late in delays(&mut noise) {
        let n_late = count(late * f64::from(rate.hz()));
        if let Some(rest) = samples.get_mut(n_late..) {
            one(Hands::drawn(kind, &mut noise), &mut noise, rest, rate);
        }
    }
    samples
}

/// By how many seconds each of the people is late, the first not at all.
fn delays(noise: &mut Noise) -> Vec<f64> {
    // Half a person on either side, so that each number is as likely.
    let (least, most) = PEOPLE;
    let n_people = count(noise.between(least - 0.49, most + 0.49));
    let late = |person| match person {
        0 => 0.0,
        // One after the other, each somewhere in his part of the time.
        _ => SPREAD * (real(person) - noise.between(0.0, 0.5)) / real(n_people - 1),
    };
    (0..n_people).map(late).collect()
}

/// The hands of one person.
#[derive(Clone, Copy, Debug)]
struct Hands {
    /// Where the hollow between them rings, in hertz, and the seconds in which it fades to a third.
    hollow: (f64, f64),
    /// Where the skin is heard, in hertz, and how strong it is against the hollow.
    skin: (f64, f32),
    /// People clap a little more or less strongly.
    loud: f32,
}

impl Hands {
    fn drawn(kind: Kind, noise: &mut Noise) -> Self {
        let loud = single(noise.between(0.7, 1.0));
        let (hollow, skin) = match kind {
            Kind::Sorda => ((noise.between(620.0, 950.0), 0.0021), (1_500.0, 0.35)),
            Kind::Clara => ((noise.between(1_650.0, 2_250.0), 0.0024), (2_800.0, 0.6)),
        };
        Self { hollow, skin, loud }
    }
}

/// Adds the clap of one person.
fn one(hands: Hands, noise: &mut Noise, samples: &mut [f32], rate: SampleRate) {
    let (hz, seconds) = hands.hollow;
    ring(samples, hz, seconds, hands.loud, rate);
    let (hz, share) = hands.skin;
    let mut skin = Biquad::band(hz, 0.8, rate);
    let fade = single((-1.0 / (SKIN * f64::from(rate.hz()))).exp());
    let mut loud = share * hands.loud;
    for (n, sample) in samples.iter_mut().enumerate() {
        let grain = if n == 0 { 1.0 } else { noise.next() };
        *sample += skin.next(loud * grain);
        loud *= fade;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::Seed;

    #[test]
    fn two_to_four_people_clap_within_four_milliseconds() {
        let mut seen = [0; 5];
        for seed in 0..200 {
            let late = delays(&mut Noise::of(Seed(0).child("stroke", seed)));
            let width = late.iter().fold(0.0_f64, |most, &late| most.max(late));
            assert!(width < 0.004, "{late:?}");
            assert_eq!(late.first(), Some(&0.0));
            seen[late.len()] += 1;
        }
        assert_eq!(seen[..2], [0, 0]);
        assert!(seen[2..].iter().all(|&n| n > 30), "{seen:?}");
    }
}
