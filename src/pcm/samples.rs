//! [`Pcm`] and the units of positions in it.

use std::num::{NonZeroU16, NonZeroU32};

/// Frames a second; never zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SampleRate(NonZeroU32);

impl SampleRate {
    /// 48,000 frames a second, at which phrases are rendered when nothing else is asked for.
    pub const HZ_48000: Self = Self(NonZeroU32::new(48_000).expect("48,000 is not zero"));

    /// A rate of `hz` frames a second; `None` of zero.
    pub fn new(hz: u32) -> Option<Self> {
        NonZeroU32::new(hz).map(Self)
    }

    /// Frames a second.
    pub fn hz(self) -> u32 {
        self.0.get()
    }

    /// The frame that is heard `micros` microseconds after frame 0, to the nearest.
    pub fn frame_at(self, micros: i64) -> Frame {
        let scaled = i128::from(micros) * i128::from(self.hz());
        Frame(saturate((2 * scaled + MICROS).div_euclid(2 * MICROS)))
    }

    /// When `frame` is heard, in microseconds after frame 0, to the nearest.
    pub fn micros_at(self, frame: Frame) -> i64 {
        let rate = i128::from(self.hz());
        let scaled = i128::from(frame.0) * MICROS;
        saturate((2 * scaled + rate).div_euclid(2 * rate))
    }
}

const MICROS: i128 = 1_000_000;

fn saturate(wide: i128) -> i64 {
    i64::try_from(wide).unwrap_or(if wide < 0 { i64::MIN } else { i64::MAX })
}

/// A position in frames; negative before the first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Frame(pub i64);

/// A span in frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Frames(pub u64);

/// Interleaved samples: finite, and whole frames of every channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Pcm {
    rate: SampleRate,
    channels: NonZeroU16,
    samples: Vec<f32>,
}

/// Why samples are no sound.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PcmError {
    /// Sound without a channel.
    #[error("sound without a channel")]
    NoChannel,
    /// The last frame is not whole.
    #[error("{n_samples} samples do not fill frames of {channels} channels")]
    BrokenFrame {
        /// How many samples there are.
        n_samples: usize,
        /// How many make a frame.
        channels: u16,
    },
    /// A sample that is no number or infinite.
    #[error("sample {sample_idx} is not a finite number")]
    NotFinite {
        /// Its place among the interleaved samples, from 0.
        sample_idx: usize,
    },
}

impl Pcm {
    /// Sound from interleaved samples.
    ///
    /// # Errors
    /// When there is no channel, the last frame is not whole, or a sample is not finite.
    pub fn new(rate: SampleRate, channels: u16, samples: Vec<f32>) -> Result<Self, PcmError> {
        let channels = NonZeroU16::new(channels).ok_or(PcmError::NoChannel)?;
        if !samples.len().is_multiple_of(usize::from(channels.get())) {
            return Err(PcmError::BrokenFrame {
                n_samples: samples.len(),
                channels: channels.get(),
            });
        }
        match samples.iter().position(|sample| !sample.is_finite()) {
            Some(sample_idx) => Err(PcmError::NotFinite { sample_idx }),
            None => Ok(Self {
                rate,
                channels,
                samples,
            }),
        }
    }

    /// Stereo sound; samples that are not finite become silence and a broken last frame is left
    /// out, so that it cannot fail. For sound that is computed here.
    pub fn stereo(rate: SampleRate, mut samples: Vec<f32>) -> Self {
        samples.truncate(samples.len() & !1);
        for sample in &mut samples {
            if !sample.is_finite() {
                *sample = 0.0;
            }
        }
        Self {
            rate,
            channels: NonZeroU16::new(2).expect("two is not zero"),
            samples,
        }
    }

    /// Frames a second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// How many samples make a frame; at least one.
    pub fn channels(&self) -> u16 {
        self.channels.get()
    }

    /// How long it is.
    pub fn n_frames(&self) -> Frames {
        let n_frames = self.samples.len() / usize::from(self.channels());
        Frames(u64::try_from(n_frames).unwrap_or(u64::MAX))
    }

    /// How long it is, in microseconds.
    pub fn micros(&self) -> i64 {
        let end = i64::try_from(self.n_frames().0).unwrap_or(i64::MAX);
        self.rate.micros_at(Frame(end))
    }

    /// All samples, interleaved.
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// The frames in order, each a slice of one sample a channel.
    pub fn frames(&self) -> std::slice::ChunksExact<'_, f32> {
        self.samples.chunks_exact(usize::from(self.channels()))
    }

    /// The mean of all channels.
    pub fn mono(&self) -> Vec<f32> {
        let share = 1.0 / f32::from(self.channels());
        self.frames()
            .map(|frame| frame.iter().sum::<f32>() * share)
            .collect()
    }

    /// Multiplies each frame by what `gain` says of its place; a gain that is not finite is silence.
    pub fn shape(&mut self, gain: impl Fn(Frame) -> f32) {
        let channels = usize::from(self.channels());
        for (idx, frame) in self.samples.chunks_exact_mut(channels).enumerate() {
            let gain = gain(Frame(i64::try_from(idx).unwrap_or(i64::MAX)));
            for sample in frame {
                let shaped = *sample * gain;
                *sample = if shaped.is_finite() { shaped } else { 0.0 };
            }
        }
    }

    /// The largest sample without its sign; 0 of no sound.
    pub fn peak(&self) -> f32 {
        self.samples
            .iter()
            .fold(0.0, |peak, sample| peak.max(sample.abs()))
    }

    /// The root of the mean square over all samples; 0 of no sound.
    pub fn rms(&self) -> f64 {
        let n_samples = u32::try_from(self.samples.len()).unwrap_or(u32::MAX).max(1);
        let sum: f64 = self.samples.iter().map(|&x| f64::from(x).powi(2)).sum();
        (sum / f64::from(n_samples)).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate::HZ_48000;

    #[test]
    fn impossible_samples_are_named() {
        let new = |channels, samples: &[f32]| Pcm::new(RATE, channels, samples.to_vec());
        assert_eq!(new(0, &[]), Err(PcmError::NoChannel));
        assert_eq!(
            new(2, &[0.0; 3]),
            Err(PcmError::BrokenFrame {
                n_samples: 3,
                channels: 2
            })
        );
        let not_finite = Err(PcmError::NotFinite { sample_idx: 1 });
        assert_eq!(new(1, &[0.0, f32::NAN]), not_finite);
        assert_eq!(new(1, &[0.0, f32::INFINITY]), not_finite);
    }

    #[test]
    fn frames_and_microseconds_agree() {
        let odd = SampleRate::new(44_100).expect("not zero");
        for frame in (-100_000..100_000_000).step_by(99_991) {
            assert_eq!(odd.frame_at(odd.micros_at(Frame(frame))), Frame(frame));
        }
        assert_eq!(RATE.frame_at(1_000_000), Frame(48_000));
        assert_eq!(RATE.frame_at(-1_000_000), Frame(-48_000));
        assert_eq!(RATE.micros_at(Frame(1)), 21);
    }

    #[test]
    fn levels_of_a_square_wave() {
        let samples: Vec<f32> = (0..200).map(|n| [0.5, -0.5][n % 2]).collect();
        let pcm = Pcm::new(RATE, 2, samples).expect("whole frames");
        assert_eq!(pcm.n_frames(), Frames(100));
        assert!((pcm.peak() - 0.5).abs() < 1e-6);
        assert!((pcm.rms() - 0.5).abs() < 1e-6);
        assert!(pcm.mono().iter().all(|sample| sample.abs() < 1e-6));
    }
}
