//! Hand claps in what a microphone hears.
//!
//! Read [`ClapFinder`] first: samples in, the frames on which claps begin out. A clap is a burst above
//! a kilohertz that rises within a millisecond or two out of what was there before; strings and rooms
//! are below it or rise more slowly. What is much softer than the claps before it is no clap of this
//! person, but leaks from a loudspeaker. It knows neither devices nor clocks, and what it finds does
//! not depend on how the samples are cut into blocks.

use super::filter::Biquad;
use crate::pcm::{Frame, SampleRate};
use crate::world::Stamp;

/// Takes claps as they are heard.
pub trait ClapInput {
    /// What it is called, for people.
    fn name(&self) -> &str;

    /// When claps were heard since the last look, in order.
    fn claps(&mut self) -> Vec<Stamp>;

    /// Whether it went away for good.
    fn is_lost(&self) -> bool;
}

/// A microphone that is there, and how to begin to listen to it: before that it hears nothing.
pub struct Ear {
    /// What it is called, for people.
    pub name: String,
    /// Begins to listen.
    pub open: Box<dyn Fn() -> Result<Box<dyn ClapInput>, NoMicrophone>>,
}

/// A microphone cannot be listened to.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("no microphone: {reason}")]
pub struct NoMicrophone {
    /// What the system said.
    pub reason: String,
}

/// The band in which claps are looked for: hands ring from 0.75 to 2 kHz and hiss above (Repp 1987,
/// "The sound of two hands clapping"); strings have their power below. Hertz, and quality.
const BAND: (f64, f64) = (2_800.0, 0.7);
/// Seconds over which the power of an instant and of the background are taken.
const INSTANT: f32 = 0.001;
const BACKGROUND: f32 = 0.08;
/// By how much the power of an instant stands out where a clap begins (12 dB).
const STANDS_OUT: f32 = 16.0;
/// Power below which there is silence (-66 dB of full scale in the band).
const SILENCE: f32 = 2.5e-7;
/// Seconds after the beginning in which a clap is loudest.
const LOUDEST: f32 = 0.008;
/// Seconds after a clap in which its echoes are no other.
const ECHO: f32 = 0.09;
/// By how much a clap may be softer than those before it, as a share of their power (-19 dB), and the
/// seconds in which they are half forgotten.
const SOFTER: f32 = 0.012;
const FORGOTTEN: f32 = 6.0;

/// Finds claps in samples as they come.
#[derive(Clone, Debug)]
pub struct ClapFinder {
    band: Biquad,
    frame: i64,
    instant: f32,
    background: f32,
    /// The power of the claps before, as it is remembered.
    usual: f32,
    begun: Option<Begun>,
    /// Before this frame nothing begins.
    rests_until: i64,
    times: Times,
}

/// A clap of which it is not yet known how loud it is.
#[derive(Clone, Copy, Debug)]
struct Begun {
    at: i64,
    loudest: f32,
}

/// Frames and shares for this rate.
#[derive(Clone, Copy, Debug)]
struct Times {
    instant: f32,
    background: f32,
    forgets: f32,
    loudest: i64,
    echo: i64,
}

impl ClapFinder {
    /// Listens from frame 0 on.
    pub fn new(rate: SampleRate) -> Self {
        let hz = single_hz(rate);
        let frames = |seconds: f32| whole(seconds * hz);
        Self {
            band: Biquad::band(BAND.0, BAND.1, rate),
            frame: 0,
            instant: 0.0,
            background: 0.0,
            usual: 0.0,
            begun: None,
            // The filter and the background have to settle.
            rests_until: frames(0.05),
            times: Times {
                instant: 1.0 / (INSTANT * hz),
                background: 1.0 / (BACKGROUND * hz),
                forgets: 0.5_f32.powf(1.0 / (FORGOTTEN * hz)),
                loudest: frames(LOUDEST),
                echo: frames(ECHO),
            },
        }
    }

    /// Takes in what is heard next, one channel; the frames on which claps began, in order. Each comes
    /// a hundredth of a second after it began.
    pub fn listen(&mut self, samples: impl IntoIterator<Item = f32>) -> Vec<Frame> {
        samples
            .into_iter()
            .filter_map(|sample| self.next(sample))
            .collect()
    }

    fn next(&mut self, sample: f32) -> Option<Frame> {
        // What is no number would stay in the filter for ever.
        let sample = if sample.is_finite() {
            sample.clamp(-4.0, 4.0)
        } else {
            0.0
        };
        let heard = self.band.next(sample);
        let power = heard * heard;
        let times = self.times;
        self.instant += times.instant * (power - self.instant);
        self.usual *= times.forgets;
        let found = match self.begun {
            Some(begun) => self.go_on(begun),
            None => {
                self.look_out();
                None
            }
        };
        self.background += times.background * (power - self.background);
        self.frame += 1;
        found
    }

    fn look_out(&mut self) {
        let stands_out = self.instant > SILENCE.max(STANDS_OUT * self.background);
        if stands_out && self.frame >= self.rests_until {
            self.begun = Some(Begun {
                at: self.frame,
                loudest: self.instant,
            });
        }
    }

    fn go_on(&mut self, begun: Begun) -> Option<Frame> {
        let loudest = begun.loudest.max(self.instant);
        if self.frame - begun.at < self.times.loudest {
            self.begun = Some(Begun { loudest, ..begun });
            return None;
        }
        self.begun = None;
        self.rests_until = begun.at + self.times.echo;
        if loudest < SOFTER * self.usual {
            return None;
        }
        self.usual = self.usual.max(loudest);
        Some(Frame(begun.at))
    }
}

#[expect(clippy::cast_precision_loss, reason = "rates are below 2^24")]
fn single_hz(rate: SampleRate) -> f32 {
    rate.hz() as f32
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "frames of less than a second"
)]
fn whole(frames: f32) -> i64 {
    frames.round() as i64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::{
        Bell, Entry, Family, Level, Pacing, Phrase, Purpose, Recipe, RecipeParts, Rival, Touch,
        Wanted, make,
    };
    use crate::rhythm::{Cycle, Feel, Layer, Pattern, Tempo};
    use crate::sound::render;
    use crate::world::{Dice, Seed};

    const RATE: f64 = 48_000.0;

    /// A clap by formula: noise that rises within a millisecond and fades within `fades` seconds.
    fn burst(dice: &mut Dice, peak: f64, fades: f64) -> Vec<f32> {
        let sample = |n: i64| {
            let t = n as f64 / RATE;
            let shape = (1.0 - (-t / 0.0005).exp()) * (-t / fades).exp();
            (peak * shape * dice.real(-1.0, 1.0)) as f32
        };
        (0..4_800).map(sample).collect()
    }

    /// Claps at these frames over what else is heard.
    fn over(mut heard: Vec<f32>, at: &[usize], seed: u64) -> Vec<f32> {
        let mut dice = Seed(seed).child("claps", 0).dice();
        for at in at {
            let (peak, fades) = (dice.real(0.2, 0.6), dice.real(0.004, 0.012));
            for (idx, sample) in burst(&mut dice, peak, fades).into_iter().enumerate() {
                if let Some(there) = heard.get_mut(at + idx) {
                    *there += sample;
                }
            }
        }
        heard
    }

    fn noise(n: usize, peak: f64, seed: u64) -> Vec<f32> {
        let mut dice = Seed(seed).child("noise", 0).dice();
        (0..n).map(|_| dice.real(-peak, peak) as f32).collect()
    }

    /// Frames of claps about every third of a second.
    fn places(n: usize, seed: u64) -> Vec<usize> {
        let mut dice = Seed(seed).child("places", 0).dice();
        let place = |idx: usize| 9_600 + idx * 16_000 + dice.below(3_000);
        (0..n).map(place).collect()
    }

    fn found(samples: &[f32]) -> Vec<i64> {
        let frames = ClapFinder::new(SampleRate::HZ_48000).listen(samples.iter().copied());
        frames.into_iter().map(|frame| frame.0).collect()
    }

    /// Every clap once, within two milliseconds.
    #[track_caller]
    fn check(samples: &[f32], at: &[usize]) {
        let found = found(samples);
        assert_eq!(found.len(), at.len(), "{found:?} {at:?}");
        for (found, at) in found.iter().zip(at) {
            assert!((found - *at as i64).abs() < 96, "{found} {at}");
        }
    }

    #[test]
    fn claps_are_found_once_each_in_silence_and_in_noise() {
        for seed in 0..20 {
            let at = places(20, seed);
            check(&over(vec![0.0; 350_000], &at, seed), &at);
            // Noise 30 dB below a clap of medium loudness.
            check(&over(noise(350_000, 0.012, seed), &at, seed), &at);
        }
    }

    #[test]
    fn our_own_claps_are_found() {
        let silent = Phrase {
            cycle: Cycle::SIX,
            pace: Tempo::of_pulses_a_minute(150).expect("in range").into(),
            n_cycles: 3,
            entry: 0,
            feel: Feel::Either,
            notes: Vec::new(),
        };
        for touch in [Touch::Sorda, Touch::Clara] {
            let phrase = silent.clapped(&[Layer::every(Cycle::SIX, 2)], touch);
            let pcm = render(&phrase, SampleRate::HZ_48000, Seed(3));
            let mut heard = vec![0.0; 4_800];
            heard.extend(pcm.frames().map(|frame| 0.5 * (frame[0] + frame[1])));
            assert_eq!(found(&heard).len(), 9, "{touch:?}");
        }
    }

    #[test]
    fn a_guitar_that_leaks_from_a_loudspeaker_is_no_clap() {
        let recipe = Recipe::new(RecipeParts {
            pattern: Pattern::SIX,
            families: vec![Family::BassStrums, Family::Arpeggio, Family::Chords],
            feels: vec![Feel::Threes, Feel::Twos],
            tempo: (120, 200),
            pacing: Pacing::Steady,
            rival: Rival::None,
            cycles: (4, 4),
            entries: vec![Entry::One],
            bell: Bell::None,
        });
        let recipe = recipe.expect("a possible recipe");
        let (mut n_false, mut n_claps) = (0, 0);
        for seed in 0..20 {
            let wanted = Wanted {
                feel: Feel::Threes,
                level: Level::of_tenths(60),
                knocks: None,
                purpose: Purpose::NameFeel,
            };
            let measured = make(&recipe, &wanted, Seed(seed)).expect("a phrase");
            let pcm = render(measured.phrase(), SampleRate::HZ_48000, Seed(seed));
            // Its peak 20 dB below that of a full clap, as a laptop's loudspeaker is at arm's length
            // from the hands beside the microphone.
            let gain = 0.06 / pcm.peak();
            let guitar: Vec<f32> = pcm.frames().map(|f| gain * 0.5 * (f[0] + f[1])).collect();
            let at: Vec<usize> = places(guitar.len() / 16_000 - 1, seed);
            let found = found(&over(guitar, &at, seed));
            let is_near = |found: &&i64| at.iter().any(|at| (**found - *at as i64).abs() < 144);
            n_claps += found.iter().filter(is_near).count();
            n_false += found.len() - found.iter().filter(is_near).count();
            assert_eq!(
                found.iter().filter(is_near).count(),
                at.len(),
                "{found:?} {at:?}"
            );
        }
        // Before the first clap nobody knows how loud claps are.
        assert!(n_false * 50 <= n_claps, "{n_false} of {n_claps}");
    }

    #[test]
    fn what_is_found_does_not_depend_on_blocks_and_nothing_poisons_it() {
        let at = places(12, 7);
        let samples = over(noise(220_000, 0.01, 7), &at, 7);
        let whole = found(&samples);
        for size in [1, 64, 480, 4_097] {
            let mut finder = ClapFinder::new(SampleRate::HZ_48000);
            let pieces = samples.chunks(size);
            let found: Vec<i64> = pieces
                .flat_map(|piece| finder.listen(piece.iter().copied()))
                .map(|frame| frame.0)
                .collect();
            assert_eq!(found, whole, "in pieces of {size}");
        }
        let mut poisoned = samples.clone();
        for (idx, bad) in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX]
            .into_iter()
            .enumerate()
        {
            poisoned[100 + idx] = bad;
        }
        let late: Vec<i64> = found(&poisoned)
            .into_iter()
            .filter(|at| *at > 20_000)
            .collect();
        let expected: Vec<i64> = whole.iter().copied().filter(|at| *at > 20_000).collect();
        assert_eq!(late.len(), expected.len());
    }
}
