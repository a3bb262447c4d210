//! One loudness for all phrases, and a ceiling for peaks.

use std::collections::VecDeque;

use super::units::{factor, frames, real, single};
use crate::pcm::{Pcm, SampleRate, loudness};

/// The loudness that every phrase is brought to, in LUFS. It is 3 dB below the target of EBU R 128
/// (2020), since that leaves 24 dB for the peaks of knocks and claps: at the broadcast target knocks
/// were cut, and an accent of 6 dB came out as one of 5.
const TARGET_LUFS: f64 = -26.0;
/// The most by which a phrase is made louder, in decibels, so that near silence stays quiet.
const MOST_GAIN_DB: f64 = 24.0;
/// The most by which a phrase whose peaks were turned down is made louder again, in decibels. The
/// first milliseconds of a knock carry some of its loudness.
const MOST_RETURN_DB: f64 = 1.5;
/// The ceiling for samples in dBFS. Between the samples a peak can be higher by what is left to
/// -1 dBFS.
const CEILING_DB: f64 = -2.0;
/// Seconds before and after a peak over which it is turned down.
const LOOK_AHEAD: f64 = 0.002;

/// Whether the end of a sound leads into its beginning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::sound) enum Ends {
    /// It is played once.
    Open,
    /// It goes round.
    Joined,
}

/// Whether peaks were turned down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::sound) enum Peaks {
    Untouched,
    TurnedDown,
}

/// Brings interleaved stereo `samples` to the common loudness, under the ceiling.
pub(in crate::sound) fn master(samples: Vec<f32>, rate: SampleRate, ends: Ends) -> Pcm {
    let mut pcm = Pcm::stereo(rate, samples);
    if bring_to_target(&mut pcm, MOST_GAIN_DB, ends) == Peaks::TurnedDown {
        bring_to_target(&mut pcm, MOST_RETURN_DB, ends);
    }
    pcm
}

/// Brings `pcm` to the common loudness by at most so many decibels, and turns down what would then
/// be above the ceiling.
fn bring_to_target(pcm: &mut Pcm, most_db: f64, ends: Ends) -> Peaks {
    let gain = single(gain_for(pcm, most_db));
    pcm.shape(|_| gain);
    turn_down(pcm, ends)
}

/// The factor that brings a sound to the common loudness.
pub(in crate::sound) fn gain_to_target(pcm: &Pcm) -> f32 {
    single(gain_for(pcm, MOST_GAIN_DB))
}

/// By how many frames a peak is felt before and after it by [`turn_down`].
pub(in crate::sound) fn reach(rate: SampleRate) -> usize {
    2 * frames(LOOK_AHEAD, rate)
}

/// Turns down what is above the ceiling.
pub(in crate::sound) fn turn_down(pcm: &mut Pcm, ends: Ends) -> Peaks {
    let ceiling = single(factor(CEILING_DB));
    if pcm.peak() <= ceiling {
        return Peaks::Untouched;
    }
    let peaks = pcm.frames().map(|frame| frame[0].abs().max(frame[1].abs()));
    let wanted: Vec<f32> = peaks.map(|peak| (ceiling / peak).min(1.0)).collect();
    let gains = smoothed_down(&wanted, frames(LOOK_AHEAD, pcm.rate()), ends);
    pcm.shape(|frame| {
        let limit = usize::try_from(frame.0).ok().and_then(|idx| gains.get(idx));
        limit.copied().unwrap_or(1.0)
    });
    Peaks::TurnedDown
}

/// The factor that brings `pcm` to the common loudness, of at most so many decibels. What is too short to have a loudness (one
/// 400 ms block) is judged by its strongest sample, which strokes have about 12 dB above it.
fn gain_for(pcm: &Pcm, most_db: f64) -> f64 {
    let level = loudness(pcm).unwrap_or_else(|| 20.0 * f64::from(pcm.peak()).log10() - 12.0);
    let gain_db = TARGET_LUFS - level;
    if gain_db.is_finite() {
        factor(gain_db.min(most_db))
    } else {
        1.0
    }
}

/// For each frame a gain that is nowhere above the `wanted` one and changes smoothly: the least
/// within `reach` frames, averaged over as many.
fn smoothed_down(wanted: &[f32], reach: usize, ends: Ends) -> Vec<f32> {
    let n_frames = wanted.len();
    let reach = reach.clamp(1, n_frames.max(1));
    // The row is written out with `2 * reach` frames before and after it: its own ends round a
    // loop, else nothing to turn down.
    let around = |idx: usize| match ends {
        Ends::Joined => wanted[(idx + 2 * n_frames - 2 * reach) % n_frames],
        Ends::Open => {
            let inside = idx.checked_sub(2 * reach).and_then(|idx| wanted.get(idx));
            inside.copied().unwrap_or(1.0)
        }
    };
    let width = 2 * reach + 1;
    let row: Vec<f32> = (0..n_frames + 4 * reach).map(around).collect();
    means(&minima(&row, width), width)
}

/// The least of every `width` neighbours.
fn minima(row: &[f32], width: usize) -> Vec<f32> {
    let mut found = Vec::with_capacity(row.len());
    // Indices of values that can still become the least, rising in place and value.
    let mut open: VecDeque<usize> = VecDeque::with_capacity(width);
    for (idx, &value) in row.iter().enumerate() {
        while open.back().is_some_and(|&back| row[back] >= value) {
            open.pop_back();
        }
        open.push_back(idx);
        if open.front().is_some_and(|&front| front + width <= idx) {
            open.pop_front();
        }
        if idx + 1 >= width {
            found.extend(open.front().map(|&front| row[front]));
        }
    }
    found
}

/// The mean of every `width` neighbours.
fn means(row: &[f32], width: usize) -> Vec<f32> {
    let share = 1.0 / real(width);
    let mut sum: f64 = row.iter().take(width).map(|&x| f64::from(x)).sum();
    let mut found = vec![single(sum * share)];
    for (old, new) in row.iter().zip(row.iter().skip(width)) {
        sum += f64::from(*new) - f64::from(*old);
        found.push(single(sum * share));
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pcm::true_peak;

    const RATE: SampleRate = SampleRate::HZ_48000;

    fn sine(hz: f64, amplitude: f64, n_frames: u32) -> Vec<f32> {
        let wave = |n: u32| (std::f64::consts::TAU * hz * f64::from(n) / 48_000.0).sin();
        (0..n_frames)
            .flat_map(|n| [single(amplitude * wave(n)); 2])
            .collect()
    }

    #[test]
    fn loud_and_soft_come_out_alike() {
        for amplitude in [0.02, 0.1, 0.9] {
            let pcm = master(sine(500.0, amplitude, 96_000), RATE, Ends::Open);
            let lufs = loudness(&pcm).expect("not silent");
            assert!((lufs - TARGET_LUFS).abs() < 0.1, "{lufs}");
        }
    }

    #[test]
    fn silence_stays_silent() {
        let pcm = master(vec![0.0; 96_000], RATE, Ends::Joined);
        assert!(pcm.peak() < 1e-9);
    }

    #[test]
    fn peaks_are_turned_down_before_they_come() {
        // Quiet, with clicks 40 dB above it.
        for ends in [Ends::Open, Ends::Joined] {
            let mut samples = sine(500.0, 0.01, 96_000);
            for idx in [0, 1, 40_001, 95_000, 191_999] {
                samples[idx] = 1.0;
            }
            let pcm = master(samples, RATE, ends);
            assert!(pcm.peak() <= single(factor(CEILING_DB)) + 1e-4);
            let peak = true_peak(&pcm).expect("not silent");
            assert!(peak <= -1.0, "{peak}");
        }
    }
}
