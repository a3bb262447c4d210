//! The same sound slower or faster, at the same pitch.

use timestretch::{Backend, Parameters, SessionConfig, TempoRate, render};

use super::{Pcm, SampleRate};

/// How fast something is played, in hundredths of its own speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Speed(u16);

impl Speed {
    /// As it is.
    pub const OWN: Self = Self(100);

    /// 50 to 110 hundredths; `None` of any other.
    pub fn new(percent: u16) -> Option<Self> {
        (50..=110).contains(&percent).then_some(Self(percent))
    }

    /// Hundredths of its own speed.
    pub fn percent(self) -> u16 {
        self.0
    }

    /// How many times as long something lasts.
    pub fn longer(self) -> f64 {
        100.0 / f64::from(self.0)
    }
}

/// `pcm` at this speed and its own pitch, as long as it then lasts, to the frame.
///
/// Onsets lie within 10 ms of where they belong, pitches within 5 cents.
pub fn stretched(pcm: &Pcm, speed: Speed) -> Pcm {
    if speed == Speed::OWN {
        return pcm.clone();
    }
    let wanted = frames_of(pcm, speed);
    let samples = at_speed(pcm, speed).unwrap_or_default();
    fitted(samples, pcm, wanted)
}

/// `None` where the library refuses, which it does of nothing that a [`Pcm`] of one or two channels
/// can hold.
fn at_speed(pcm: &Pcm, speed: Speed) -> Option<Vec<f32>> {
    let rate = TempoRate::new(f64::from(speed.0) / 100.0).ok()?;
    let config = SessionConfig {
        channels: usize::from(pcm.channels()),
        source_sample_rate: pcm.rate().hz(),
        output_sample_rate: pcm.rate().hz(),
        backend: Backend::Portable,
        parameters: Parameters::keylock(rate),
        ..SessionConfig::default()
    };
    Some(render(pcm.samples(), config).ok()?.samples)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "frames of a passage, which are far below 2^52 and not negative"
)]
fn frames_of(pcm: &Pcm, speed: Speed) -> usize {
    (pcm.n_frames().0 as f64 * speed.longer()).round() as usize
}

/// Cut or filled with silence to so many frames.
fn fitted(mut samples: Vec<f32>, pcm: &Pcm, n_frames: usize) -> Pcm {
    samples.resize(n_frames * usize::from(pcm.channels()), 0.0);
    let silent = |rate: SampleRate| Pcm::stereo(rate, Vec::new());
    Pcm::new(pcm.rate(), pcm.channels(), samples).unwrap_or_else(|_| silent(pcm.rate()))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 48_000;

    /// Four seconds of strokes on a pitch, one every half second.
    fn strokes(hz: f64) -> Pcm {
        let wave = |k: u32| {
            let since = f64::from(k % (RATE / 2)) / f64::from(RATE);
            0.6 * (-6.0 * since).exp() * (std::f64::consts::TAU * hz * since).sin()
        };
        let samples = (0..4 * RATE).flat_map(|k| [wave(k) as f32; 2]).collect();
        Pcm::new(SampleRate::HZ_48000, 2, samples).expect("finite")
    }

    /// The frame near `about` before which there is least and after which there is most.
    fn onset(mono: &[f32], about: usize) -> usize {
        let power = |from: usize, n: usize| -> f32 {
            mono[from..(from + n).min(mono.len())]
                .iter()
                .map(|x| x * x)
                .sum()
        };
        let jump = |at: &usize| power(*at, 480) / (power(at.saturating_sub(480), 480) + 0.01);
        let near = (about.saturating_sub(2_400)..about + 2_400).step_by(24);
        near.max_by(|a, b| jump(a).total_cmp(&jump(b)))
            .expect("some")
    }

    /// The pitch of a stretch of samples, by the zeros that it crosses upwards.
    fn pitch(samples: &[f32]) -> f64 {
        let crossing = |k: &usize| samples[*k] < 0.0 && samples[k + 1] >= 0.0;
        let at: Vec<usize> = (0..samples.len() - 1).filter(crossing).collect();
        let exact = |k: usize| k as f64 + f64::from(samples[k] / (samples[k] - samples[k + 1]));
        let (first, last) = (exact(at[0]), exact(at[at.len() - 1]));
        f64::from(RATE) * (at.len() - 1) as f64 / (last - first)
    }

    #[test]
    fn pitch_stays_and_onsets_are_where_they_belong() {
        for hz in [110.0, 220.0, 330.0] {
            let pcm = strokes(hz);
            for percent in [50, 70, 80, 90, 110] {
                let speed = Speed::new(percent).expect("a speed");
                let slow = stretched(&pcm, speed);
                let longer = speed.longer();
                assert_eq!(slow.n_frames().0, (192_000.0 * longer).round() as u64);
                let (mono, own) = (slow.mono(), pcm.mono());
                for k in 1..8_u32 {
                    let belongs = longer * onset(&own, 24_000 * k as usize) as f64;
                    let off = onset(&mono, belongs.round() as usize) as f64 - belongs;
                    assert!(off.abs() < 480.0, "{hz} Hz at {percent}: {off} frames");
                }
                let second = (24_000.0 * longer) as usize;
                let cents = 1200.0 * (pitch(&mono[second + 2_400..second + 12_000]) / hz).log2();
                assert!(cents.abs() < 5.0, "{hz} Hz at {percent}: {cents} cents");
            }
        }
    }

    #[test]
    fn no_speed_beyond_its_bounds() {
        assert_eq!([0, 49, 111, u16::MAX].map(Speed::new), [None; 4]);
        let pcm = strokes(220.0);
        assert_eq!(stretched(&pcm, Speed::OWN), pcm);
    }
}
