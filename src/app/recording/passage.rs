//! A passage of a recording under claps, going round.

use super::Open;
use crate::app::player::Rendering;
use crate::pcm::decode::{self, DecodeError};
use crate::pcm::{Pcm, SampleRate, Speed, resampled, stretched};
use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::rhythm::{Cycle, Feel, Layer, Pace, Tick, Ticks};
use crate::sound::{round_frames, under_claps};

/// The claps over a passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claps {
    /// None.
    None,
    /// In threes.
    Threes,
    /// In twos.
    Twos,
    /// Dull ones in threes and bright ones in twos.
    Both,
    /// On 1, 4 and 5 of six.
    OneFourFive,
}

impl Claps {
    /// What they are called.
    pub fn words(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Threes => "in threes",
            Self::Twos => "in twos",
            Self::Both => "both",
            Self::OneFourFive => "1-4-5",
        }
    }

    fn layers(self, cycle: Cycle) -> Vec<(Layer, Touch)> {
        let every = |n| Layer::every(cycle, n);
        match self {
            Self::None => Vec::new(),
            Self::Threes => vec![(every(3), Touch::Sorda)],
            Self::Twos => vec![(every(2), Touch::Clara)],
            Self::Both => vec![(every(3), Touch::Sorda), (every(2), Touch::Clara)],
            Self::OneFourFive => {
                let layer = Layer::of(cycle, &[0, 3, 4]);
                layer
                    .map(|layer| (layer, Touch::Sorda))
                    .into_iter()
                    .collect()
            }
        }
    }
}

/// What is to be played of a recording.
pub(in crate::app) struct Passage {
    pub(super) open: Open,
    /// Times of its pulses in the recording, that of its end among them where it is known.
    pub(super) pulses: Vec<f64>,
    pub(super) n_cycles: usize,
    pub(super) cycle: Cycle,
    pub(super) claps: Claps,
    pub(super) speed: Speed,
}

impl Passage {
    /// Cuts, stretches and claps.
    pub(in crate::app) fn made(&self, rate: SampleRate) -> Result<Rendering, DecodeError> {
        let first = self.pulses.first().copied().unwrap_or(0.0);
        let cut = cut((self.open)()?, first, self.seconds(), rate)?;
        let there = stretched(&cut, self.speed);
        let claps = self.claps();
        let n_frames = round_frames(&claps, rate);
        let sound = under_claps(&there, n_frames, &claps);
        Ok(Rendering::round(sound, &claps))
    }

    fn seconds(&self) -> f64 {
        self.gaps().iter().sum()
    }

    /// Seconds from each pulse to the next; the last one is as long as the one before it where the
    /// recording ends with it.
    fn gaps(&self) -> Vec<f64> {
        let mut gaps: Vec<f64> = self
            .pulses
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .collect();
        let n = self.n_cycles * self.cycle.n_pulses();
        let last = gaps.last().copied().unwrap_or(0.5);
        gaps.resize(n, last);
        gaps
    }

    /// The claps alone, in the time of the passage.
    pub(super) fn claps(&self) -> Phrase {
        let n = i64::try_from(self.n_cycles * self.cycle.n_pulses()).unwrap_or(0);
        let mut notes = Vec::new();
        for (layer, touch) in self.claps.layers(self.cycle) {
            let pulses = (0..n).filter(|pulse| layer.contains(self.cycle.pulse_at(*pulse)));
            notes.extend(pulses.map(|pulse| clap(pulse, touch)));
        }
        notes.sort_by_key(|note| (note.at, note.touch == Touch::Clara));
        Phrase {
            cycle: self.cycle,
            pace: Pace::of_pulses(
                &self
                    .gaps()
                    .iter()
                    .map(|gap| gap * self.speed.longer())
                    .collect::<Vec<f64>>(),
            ),
            n_cycles: u32::try_from(self.n_cycles).unwrap_or(1),
            entry: 0,
            feel: Feel::Either,
            notes,
        }
    }
}

/// So many seconds of a recording from a time on, in stereo at `rate`.
pub(in crate::app) fn cut(
    mut recording: decode::Recording,
    from: f64,
    seconds: f64,
    rate: SampleRate,
) -> Result<Pcm, DecodeError> {
    recording.seek(from)?;
    let own_rate = recording.rate();
    let wanted = 2 * frames(seconds, own_rate);
    let mut samples = Vec::with_capacity(wanted);
    while samples.len() < wanted {
        let Some(block) = recording.next_block() else {
            break;
        };
        match recording.n_channels() {
            2 => samples.extend(block),
            _ => samples.extend(block.iter().flat_map(|x| [*x, *x])),
        }
    }
    samples.truncate(wanted);
    Ok(resampled(&Pcm::stereo(own_rate, samples), rate))
}

fn clap(pulse: i64, touch: Touch) -> Note {
    Note {
        at: Tick::of_pulse(pulse),
        delay: 0,
        length: Ticks(120),
        voice: Voice::Claps,
        pitch: None,
        loudness: Loudness(0),
        touch,
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "frames of a passage"
)]
fn frames(seconds: f64, rate: SampleRate) -> usize {
    (seconds * f64::from(rate.hz())).round().max(0.0) as usize
}
