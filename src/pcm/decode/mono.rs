//! Two channels as one, so that one can listen to them.

use std::array;

use crate::pcm::SampleRate;

/// The mean of two channels, as they come. Where it is almost nothing beside their difference in all
/// that was heard so far, the polarity of one of them is turned: then half their difference is what
/// sounds. Which of them is heard is said anew for every tenth of a second, whatever the blocks.
///
/// A channel by itself stays as it is.
#[derive(Clone, Debug)]
pub struct Mono {
    n_channels: u16,
    /// Samples of a tenth of a second in both channels.
    n_window: usize,
    /// What is not said yet, interleaved.
    window: Vec<f32>,
    polarity: Polarity,
    /// The energy of the mean and of half the difference so far.
    mean: f64,
    difference: f64,
}

/// Whether the channels go the same way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Polarity {
    Same,
    Turned,
}

/// The mean is almost nothing 20 dB below the difference, or a correlation of -0.98. No room and no
/// pair of microphones gives that for long, and lossy coding leaves less of channels that cancel. It is
/// something again 14 dB below.
const ALMOST_NOTHING: f64 = 0.01;
const SOMETHING: f64 = 0.04;
/// What is not so loud, 60 dB below full scale, may be noise and says nothing.
const HEARD: f64 = 1e-6;

impl Mono {
    /// One of so many channels, one or two.
    pub fn of(n_channels: u16, rate: SampleRate) -> Self {
        let n_frames = usize::try_from(rate.hz() / 10).unwrap_or(1).max(1);
        Self {
            n_channels,
            n_window: 2 * n_frames,
            window: Vec::new(),
            polarity: Polarity::Same,
            mean: 0.0,
            difference: 0.0,
        }
    }

    /// Takes interleaved samples, and gives as many of one channel as can be said.
    pub fn take(&mut self, samples: &[f32]) -> Vec<f32> {
        if self.n_channels != 2 {
            return samples.to_vec();
        }
        let mut mono = Vec::with_capacity(samples.len() / 2);
        let mut left = samples;
        while !left.is_empty() {
            let n_taken = left.len().min(self.n_window - self.window.len());
            let (taken, after) = left.split_at(n_taken);
            self.window.extend_from_slice(taken);
            left = after;
            if self.window.len() == self.n_window {
                mono.extend(self.rest());
            }
        }
        mono
    }

    /// What is left at the end.
    pub fn rest(&mut self) -> Vec<f32> {
        let window = std::mem::take(&mut self.window);
        let frames = window.as_chunks::<2>().0;
        self.hear(frames);
        let frames = frames.iter();
        let mono = match self.polarity {
            Polarity::Same => frames.map(|[left, right]| 0.5 * (left + right)).collect(),
            Polarity::Turned => frames.map(|[left, right]| 0.5 * (left - right)).collect(),
        };
        // It is filled again.
        self.window = window;
        self.window.clear();
        mono
    }

    fn hear(&mut self, frames: &[[f32; 2]]) {
        let (mean, difference) = (energy(frames, 1.0), energy(frames, -1.0));
        let n_frames = u32::try_from(frames.len()).unwrap_or(u32::MAX);
        if mean + difference < HEARD * f64::from(n_frames) {
            return;
        }
        self.mean += mean;
        self.difference += difference;
        self.polarity = match self.polarity {
            Polarity::Same if self.mean < ALMOST_NOTHING * self.difference => Polarity::Turned,
            Polarity::Turned if self.mean > SOMETHING * self.difference => Polarity::Same,
            as_before => as_before,
        };
    }
}

/// The energy of half the left channel and the right, by this sign. It is summed in so many rows, since
/// one would have to wait for each addition.
fn energy(frames: &[[f32; 2]], sign: f32) -> f64 {
    const ROWS: usize = 8;
    let of = |[left, right]: [f32; 2]| (0.5 * (left + sign * right)).powi(2);
    let (blocks, rest) = frames.as_chunks::<ROWS>();
    let mut sums = [0.0; ROWS];
    for block in blocks {
        sums = array::from_fn(|k| sums[k] + of(block[k]));
    }
    let all = sums.into_iter().chain(rest.iter().copied().map(of));
    all.map(f64::from).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate::HZ_48000;

    fn heard(stereo: &[f32], block: usize) -> Vec<f32> {
        let mut mono = Mono::of(2, RATE);
        let mut heard: Vec<f32> = Vec::new();
        for block in stereo.chunks(block) {
            heard.extend(mono.take(block));
        }
        heard.extend(mono.rest());
        heard
    }

    /// A tone of half a second on the left, and on the right so much of it.
    fn stereo(right: f32) -> Vec<f32> {
        let wave = |k: u16| 0.5 * (0.05 * f32::from(k)).sin();
        (0..24_000)
            .flat_map(|k| [wave(k), right * wave(k)])
            .collect()
    }

    fn left(stereo: &[f32]) -> Vec<f32> {
        stereo.iter().step_by(2).copied().collect()
    }

    #[test]
    fn channels_that_cancel_each_other_are_heard() {
        let turned = stereo(-1.0);
        assert_eq!(heard(&turned, 1_000), left(&turned));
        // Whatever the blocks are, even where a frame is cut in two.
        for block in [1, 7, 9_600, turned.len()] {
            assert_eq!(heard(&turned, block), left(&turned), "{block}");
        }
        // Silence and what is almost silent before it say nothing.
        let noise = [1e-4, 1e-4].repeat(20_000);
        let after = [noise.clone(), stereo(-1.0)].concat();
        let said = heard(&after, 4_096);
        assert_eq!(said[..19_200], left(&noise)[..19_200]);
        assert_eq!(said[24_000..], left(&after)[24_000..]);
    }

    #[test]
    fn what_does_not_cancel_is_the_mean_to_the_bit() {
        for right in [1.0, 0.3, 0.0, -0.5, -0.8] {
            let some = stereo(right);
            let pairs = some.as_chunks::<2>().0.iter();
            let mean: Vec<f32> = pairs.map(|[a, b]| 0.5 * (a + b)).collect();
            assert_eq!(heard(&some, 1_000), mean, "{right}");
        }
        // One that goes out of phase later does not turn what was heard before it.
        let both = [stereo(1.0), stereo(-1.0)].concat();
        let said = heard(&both, 1_000);
        assert_eq!(said[..24_000], left(&both)[..24_000]);
        assert!(said[24_000..].iter().all(|sample| *sample == 0.0));
    }
}
