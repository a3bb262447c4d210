//! The strokes of the voices, one file an instrument.
//!
//! Read [`Stroke`] first. A stroke is a row of mono samples that begins on its first sample at
//! once, without a lead-in, so that its onset is the frame at which it is put.

mod bell;
mod clap;
mod golpe;
mod hand;
mod noise;
mod partial;
mod string;

pub(in crate::sound) use noise::Noise;

use crate::pcm::SampleRate;
use crate::phrase::{Pitch, Touch};
use crate::sound::body::Body;
use crate::sound::filter::weighted_power;
use crate::sound::room::Room;
use crate::sound::units::{factor, frames, single};

/// What is to sound.
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Stroke {
    pub(in crate::sound) touch: Touch,
    pub(in crate::sound) pitch: Option<Pitch>,
    /// For how many frames a string may ring before it is damped.
    pub(in crate::sound) n_held: usize,
    pub(in crate::sound) noise: Noise,
}

/// What a stroke shakes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::sound) enum Through {
    /// The air alone.
    Air,
    /// The body of the guitar too.
    Body,
}

/// Seconds over which a stroke's loudness is measured. Shorter than a pulse at any tempo that is
/// asked, and long enough for the ear to judge.
const MEASURED: f64 = 0.1;
/// The weighted level in decibels that an ordinary stroke is brought to before mastering.
const LEVEL_DB: f64 = -20.0;
/// The pitch of a bell, and of a string that was given none.
const BELL: Pitch = Pitch(96);
const OPEN: Pitch = Pitch(52);

impl Stroke {
    /// Its samples, not yet brought to the ordinary level.
    pub(in crate::sound) fn samples(self, rate: SampleRate) -> Vec<f32> {
        match self.touch {
            Touch::Thumb
            | Touch::Finger
            | Touch::Down
            | Touch::Up
            | Touch::Roll
            | Touch::Stopped => string::pluck(self, self.pitch.unwrap_or(OPEN), rate),
            Touch::Golpe => golpe::knock(golpe::Finger::Nail, self.noise, rate),
            Touch::GolpeSoft => golpe::knock(golpe::Finger::Flesh, self.noise, rate),
            Touch::Sorda => clap::clap(clap::Kind::Sorda, self.noise, rate),
            Touch::Clara => clap::clap(clap::Kind::Clara, self.noise, rate),
            Touch::Bell => bell::strike(self.pitch.unwrap_or(BELL), rate),
        }
    }

    /// What it shakes.
    pub(in crate::sound) fn through(self) -> Through {
        match self.touch {
            Touch::Thumb
            | Touch::Finger
            | Touch::Down
            | Touch::Up
            | Touch::Roll
            | Touch::Stopped => Through::Body,
            Touch::Golpe | Touch::GolpeSoft | Touch::Sorda | Touch::Clara | Touch::Bell => {
                Through::Air
            }
        }
    }

    /// The factor that brings `samples`, as it was made for this stroke, to the ordinary level. A
    /// string is measured in the room, which answers to some pitches more than to others; to knocks
    /// and claps, which have none, it makes no difference of a third of a decibel.
    pub(in crate::sound) fn levelling(self, samples: &[f32], rate: SampleRate) -> f32 {
        let n_measured = frames(MEASURED, rate);
        let silence = std::iter::repeat(0.0);
        let dry = samples.iter().copied().chain(silence).take(n_measured);
        let power = match self.through() {
            Through::Air => weighted_power(dry, rate),
            Through::Body => {
                let (mut body, mut room) = (Body::new(rate), Room::new(rate));
                let (left, right): (Vec<f32>, Vec<f32>) = dry
                    .map(|x| {
                        let x = x + body.next(x);
                        let (near, far) = room.next(x);
                        (x + near, x + far)
                    })
                    .unzip();
                let both = [left, right].map(|side| weighted_power(side.into_iter(), rate));
                0.5 * (both[0] + both[1])
            }
        };
        let level_db = 10.0 * power.max(1e-12).log10();
        single(factor(LEVEL_DB - level_db))
    }
}
