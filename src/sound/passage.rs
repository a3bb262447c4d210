//! A passage of a recording under claps.

use super::master::{Ends, master};
use super::render::render_loop;
use super::timeline::Timeline;
use crate::pcm::{Pcm, SampleRate};
use crate::phrase::Phrase;
use crate::world::Seed;

/// How loud claps are against the recording, as a factor: as loud on the whole would drown it, since
/// they are heard only now and then.
const CLAPS: f32 = 0.7;

/// Frames of one round of a phrase.
pub fn round_frames(phrase: &Phrase, rate: SampleRate) -> usize {
    usize::try_from(Timeline::of(phrase, rate).n_frames().0).unwrap_or(0)
}

/// `passage`, in stereo and brought to the common loudness, with these claps over it, as one round of
/// so many frames: cut or filled with silence to them, and under the ceiling for peaks.
pub fn under_claps(passage: &Pcm, n_frames: usize, claps: &Phrase) -> Pcm {
    let rate = passage.rate();
    let mut samples = passage.samples().to_vec();
    samples.resize(2 * n_frames, 0.0);
    soften_seam(&mut samples, rate);
    let recording = master(samples, rate, Ends::Joined);
    if claps.notes.is_empty() {
        return recording;
    }
    let claps = render_loop(claps, rate, Seed(1).child("claps", 0));
    let over = recording.samples().iter().zip(claps.samples());
    let mixed = over
        .map(|(recording, clap)| recording + CLAPS * clap)
        .collect();
    master(mixed, rate, Ends::Joined)
}

/// Lets the first and the last five milliseconds rise and fall, so that the seam does not click.
fn soften_seam(samples: &mut [f32], rate: SampleRate) {
    let n = usize::try_from(rate.hz() / 200)
        .unwrap_or(0)
        .min(samples.len() / 4);
    for k in 0..n {
        let gain = f32::from(u16::try_from(k).unwrap_or(u16::MAX))
            / f32::from(u16::try_from(n).unwrap_or(u16::MAX).max(1));
        let end = samples.len() - 2 * (k + 1);
        for channel in 0..2 {
            samples[2 * k + channel] *= gain;
            samples[end + channel] *= gain;
        }
    }
}
