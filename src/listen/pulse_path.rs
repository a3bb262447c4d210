//! The pulse of a sound, when nobody has tapped it.
//!
//! Pulse first, grouping after: a tracker that looks for groups mistakes threes. Gaps that come again
//! in the envelope of onsets are candidates; for each the best path of pulses is found by dynamic
//! programming (Ellis 2007), which follows a drift; and paths are ranked by how much of what begins
//! they meet and how few of their pulses are empty. Several answers are kept.

use super::pulses::Pulses;
use super::sound::Sound;
use super::units::{index, mean, quantile, real};

/// A path of pulses, and how well it fits.
#[derive(Clone, Debug, PartialEq)]
pub struct PulsePath {
    /// Its pulses.
    pub pulses: Pulses,
    /// The usual gap in seconds.
    pub gap: f64,
    /// How well it fits, 0 to 1, against the others.
    pub fits: f64,
    /// How probable it is that its pulses are those of the piece.
    pub probable: f64,
}

/// Gaps that may be a pulse, in seconds: 500 to 67 pulses a minute (London 2002: nothing faster than
/// 100 ms is a subdivision; a slow soleá has 70 to 90).
const GAPS: (f64, f64) = (0.12, 0.9);
/// The gap that is most usual, and how far others lie from it, as logarithms: about half-way between
/// 100 ms, faster than which nothing is a subdivision, and a beat of 500 ms (London 2002), and tried on
/// melodies made by rule; and a round figure.
const USUAL: f64 = 0.22;
const USUAL_WIDTH: f64 = 0.7;
/// How much a gap costs that is uneven against those before it, against an onset of usual size, and how
/// much one that is off the usual gap of the whole.
const STIFF: f64 = 60.0;
const STRAYS: f64 = 6.0;
/// How much of each gap goes into what is expected of the next, so that about ten make a tempo: a drift
/// is followed, and a single early stroke is not.
const LEARNS: f64 = 0.1;
/// How many candidates are followed, and answers kept.
const CANDIDATES: usize = 6;
const ANSWERS: usize = 4;
/// How much more probable a better fit makes an answer, as a power: of the program's own phrases about as
/// many were told right as were called so probable.
const SHARP: f64 = 10.0;
/// How far a candidate lies from another, as a share.
const APART: f64 = 0.06;
/// Where of the pulses on which something begins, however weakly, hardly any have a neighbour on which
/// something does, every second or third of them is the pulse: the least share that do, and what is weak
/// against what is strong (round figures, tried on the program's own phrases).
const BESIDE: f64 = 0.02;
const WEAK: f64 = 0.3;
/// Of pulses that follow faster than this, in seconds, the same where what is strong has no strong neighbour:
/// what is weak there is how strokes end rather than a stroke (a round figure, tried likewise).
const FAST: f64 = 0.26;
/// How much of its fit such a grid keeps.
const TOO_FINE: f64 = 0.5;
/// A sound of which fewer than so many frames, about two strokes, rise by so many decibels a band is
/// steady, however much silence there is about it. One frame in two hundred of white, pink and brown noise
/// rose by .85 to .93, whatever their level, and one of the program's own phrases and of sampled melodies
/// by 2 and more.
const RISING: usize = 8;
const RISES: f64 = 1.5;
/// Seconds about a pulse in which an onset is its own.
const ABOUT: f64 = 0.04;

/// Paths of pulses through a sound, the best first; none of less than two seconds, of silence, or of a
/// steady sound in which nothing begins, where nobody has tapped. `near` are times that the learner
/// tapped or nudged to: paths are pulled to them.
pub fn pulse_paths(sound: &Sound, near: &[f64]) -> Vec<PulsePath> {
    if sound.seconds() < 2.0 || (near.is_empty() && is_steady(sound)) {
        return Vec::new();
    }
    let mut onsets = envelope(sound);
    pull(&mut onsets, sound, near);
    let tapped = tapped_gap(near);
    let candidates = gaps(&onsets, sound.rate, tapped);
    let mut found: Vec<PulsePath> = candidates
        .iter()
        .filter_map(|gap| follow(&onsets, sound, *gap))
        .collect();
    // Whoever taps says what is counted, though something finer be played.
    let is_tapped = |path: &PulsePath| Some(path.gap) == tapped;
    found.sort_by(|a, b| {
        let by_taps = is_tapped(b).cmp(&is_tapped(a));
        by_taps.then(b.fits.total_cmp(&a.fits))
    });
    found.truncate(ANSWERS);
    let sum: f64 = found.iter().map(|path| path.fits).sum();
    let sharp = |path: &PulsePath| path.fits.powf(SHARP);
    let sum_sharp: f64 = found.iter().map(sharp).sum();
    for path in &mut found {
        path.probable = sharp(path) / sum_sharp.max(1e-9);
        path.fits /= sum.max(1e-9);
    }
    found
}

fn is_steady(sound: &Sound) -> bool {
    let rising = sound
        .frames
        .iter()
        .filter(|frame| f64::from(frame.rise) > RISES);
    rising.take(RISING).count() < RISING
}

/// Onsets against what is usual around them, so that soft passages count as loud ones do.
fn envelope(sound: &Sound) -> Vec<f64> {
    let rises: Vec<f64> = sound
        .frames
        .iter()
        .map(|frame| f64::from(frame.rise))
        .collect();
    let around = index(4.0 * sound.rate).max(1);
    let mut sums = vec![0.0];
    for rise in &rises {
        sums.push(sums[sums.len() - 1] + rise);
    }
    let flat = |(at, rise): (usize, &f64)| {
        let (from, until) = (at.saturating_sub(around), (at + around).min(rises.len()));
        let usual = (sums[until] - sums[from]) / real((until - from).max(1));
        (rise - usual).max(0.0) / (usual + 0.05)
    };
    let flat: Vec<f64> = rises.iter().enumerate().map(flat).collect();
    smooth(&flat)
}

/// Over three frames on each side, so that neighbours in time meet.
fn smooth(row: &[f64]) -> Vec<f64> {
    let weights = [0.05, 0.25, 0.6, 1.0, 0.6, 0.25, 0.05];
    let at = |n: usize| {
        let near = weights.iter().enumerate();
        near.filter_map(|(k, w)| Some(w * row.get((n + k).checked_sub(3)?)?))
            .sum()
    };
    (0..row.len()).map(at).collect()
}

/// Makes what was tapped an onset twice as strong as the strongest usual ones.
fn pull(onsets: &mut [f64], sound: &Sound, near: &[f64]) {
    let strong = 2.0 * quantile(onsets, 0.98).max(1.0);
    for time in near.iter().filter(|time| time.is_finite() && **time >= 0.0) {
        if let Some(onset) = onsets.get_mut(sound.frame_at(*time)) {
            *onset = onset.max(strong);
        }
    }
}

/// Gaps at which the envelope comes again, the likeliest first; the gap of taps before all.
fn gaps(onsets: &[f64], rate: f64, tapped: Option<f64>) -> Vec<f64> {
    let again = again(onsets, rate);
    let at = |gap: f64| {
        again
            .get(index((gap * rate).round()))
            .copied()
            .unwrap_or(0.0)
    };
    let score = |gap: f64| {
        let comb = at(gap) + 0.5 * at(2.0 * gap) + 0.33 * at(3.0 * gap) + 0.25 * at(4.0 * gap);
        comb.max(0.0) * (0.3 + 0.7 * usual(gap))
    };
    let (from, until) = (index(GAPS.0 * rate), index(GAPS.1 * rate));
    let gap_of = |lag: usize| real(lag) / rate;
    let peaks = (from..=until).filter(|lag| {
        let here = score(gap_of(*lag));
        here > 0.0 && here >= score(gap_of(lag - 1)) && here >= score(gap_of(lag + 1))
    });
    let mut found: Vec<f64> = peaks.map(gap_of).collect();
    found.sort_by(|a, b| score(*b).total_cmp(&score(*a)));
    let mut kept: Vec<f64> = tapped.into_iter().collect();
    for gap in found {
        if kept.iter().all(|other| (gap / other - 1.0).abs() > APART) {
            kept.push(gap);
        }
    }
    kept.truncate(CANDIDATES);
    kept
}

/// The usual gap of taps, where it can be one of pulses.
fn tapped_gap(taps: &[f64]) -> Option<f64> {
    let gaps: Vec<f64> = taps.windows(2).map(|pair| pair[1] - pair[0]).collect();
    Some(quantile(&gaps, 0.5)).filter(|gap| *gap >= 0.1 && *gap <= 2.0)
}

/// How usual a gap is, 0 to 1.
fn usual(gap: f64) -> f64 {
    (-0.5 * ((gap / USUAL).ln() / USUAL_WIDTH).powi(2)).exp()
}

/// The envelope's correlation with itself at each lag, up to four of the longest gaps.
fn again(onsets: &[f64], rate: f64) -> Vec<f64> {
    let middle = mean(onsets);
    let row: Vec<f64> = onsets.iter().map(|x| x - middle).collect();
    let most = index(4.0 * GAPS.1 * rate) + 2;
    let own: f64 = row.iter().map(|x| x * x).sum::<f64>().max(1e-9);
    let at = |lag: usize| {
        let later = row.get(lag..).unwrap_or_default();
        row.iter().zip(later).map(|(a, b)| a * b).sum::<f64>() / own
    };
    (0..most).map(at).collect()
}

/// The best path at about this gap, and how well it fits.
fn follow(onsets: &[f64], sound: &Sound, gap: f64) -> Option<PulsePath> {
    let rate = sound.rate;
    let frames = path(onsets, gap * rate);
    let times: Vec<f64> = frames
        .iter()
        .map(|frame| refined(onsets, *frame) / rate)
        .collect();
    let pulses = Pulses::new(sounding(sound, &times, gap).to_vec()).ok()?;
    let fits = fit(onsets, rate, pulses.times()) * (0.4 + 0.6 * usual(gap));
    Some(PulsePath {
        pulses,
        gap,
        fits,
        probable: 0.0,
    })
}

/// How many decibels below what is usual is the silence before a piece or the room after it.
const SILENT: f64 = 20.0;
/// So many seconds before the next pulse what sounds may be its own.
const NEXT: f64 = 0.03;

/// The pulses from the first to the last over which something sounds.
fn sounding<'a>(sound: &Sound, times: &'a [f64], gap: f64) -> &'a [f64] {
    let level = |time: &f64| 10.0 * (1e-10 + sound.power(*time, time + gap - NEXT, 0)).log10();
    let levels: Vec<f64> = times.iter().map(level).collect();
    let least = quantile(&levels, 0.5) - SILENT;
    let is_heard = |level: &f64| *level >= least;
    let from = levels.iter().position(is_heard).unwrap_or(0);
    let until = levels.iter().rposition(is_heard).map_or(0, |last| last + 1);
    times.get(from..until).unwrap_or_default()
}

/// Frames of the pulses: each takes its own onset and the best path before it, at a cost for gaps
/// that are off what that path has come to.
fn path(onsets: &[f64], lag: f64) -> Vec<usize> {
    let (near, far) = (
        index((0.6 * lag).floor()).max(1),
        index((1.6 * lag).ceil()) + 1,
    );
    let usual = quantile(onsets, 0.9).max(0.2);
    let (stiff, strays) = (STIFF * usual, STRAYS * usual);
    // Steps as logarithms against the usual one, each with what it costs by itself.
    let steps: Vec<(usize, f64, f64)> = (near..=far)
        .map(|step| (step, (real(step) / lag).ln()))
        .map(|(step, log)| (step, log, strays * log * log))
        .collect();
    // What the gap has come to on the best path to each frame.
    let mut gaps = vec![0.0; onsets.len()];
    let mut best = vec![0.0; onsets.len()];
    let mut before: Vec<Option<usize>> = vec![None; onsets.len()];
    for at in 0..onsets.len() {
        let (mut most, mut from, mut gap) = (f64::NEG_INFINITY, None, 0.0);
        for (step, log, cost) in &steps {
            let Some(earlier) = at.checked_sub(*step) else {
                break;
            };
            let off = log - gaps[earlier];
            let so_far = best[earlier] - stiff * off * off - cost;
            if so_far > most {
                (most, from) = (so_far, Some(earlier));
                gap = gaps[earlier] + LEARNS * off;
            }
        }
        // A path may begin anywhere at no gain.
        (best[at], before[at], gaps[at]) = if most > 0.0 {
            (most, from, gap)
        } else {
            (0.0, None, 0.0)
        };
        best[at] += onsets[at].min(3.0 * usual);
    }
    let tail = onsets.len().saturating_sub(far);
    let last = (tail..onsets.len()).max_by(|a, b| best[*a].total_cmp(&best[*b]));
    let mut frames: Vec<usize> = std::iter::successors(last, |at| before[*at]).collect();
    frames.reverse();
    frames
}

/// The middle of the onset about a frame, between frames.
fn refined(onsets: &[f64], frame: usize) -> f64 {
    let around = frame.saturating_sub(2)..(frame + 3).min(onsets.len());
    let (mut sum, mut moment) = (1e-9, 1e-9 * real(frame));
    for at in around {
        sum += onsets[at];
        moment += onsets[at] * real(at);
    }
    moment / sum
}

/// How much of what begins lies on pulses, and how many pulses have something begin: their harmonic
/// mean, the first counting twice as much (the F2 of van Rijsbergen 1979), since the pulse is the
/// smallest step that is counted, and empty pulses half, since a grid finer than the notes is still one;
/// unless it is so much finer that what begins never lies on neighbours.
fn fit(onsets: &[f64], rate: f64, times: &[f64]) -> f64 {
    let about = index((ABOUT * rate).round());
    let strong = 0.35 * quantile(onsets, 0.97).max(1e-9);
    let mut owned = vec![false; onsets.len()];
    let (mut is_met, mut begins) = (Vec::new(), Vec::new());
    for time in times {
        let frame = index((time * rate).round());
        let range = frame.saturating_sub(about)..(frame + about + 1).min(onsets.len());
        is_met.push(onsets[range.clone()].iter().any(|x| *x > strong));
        begins.push(onsets[range.clone()].iter().any(|x| *x > WEAK * strong));
        owned[range].fill(true);
    }
    let n_of = |pulses: &[bool]| real(pulses.iter().filter(|is| **is).count());
    let are_alone = |pulses: &[bool]| {
        let n_beside = pulses.windows(2).filter(|pair| pair[0] && pair[1]).count();
        real(n_beside) < BESIDE * n_of(pulses)
    };
    let peak = |at: &usize| {
        let here = onsets[*at];
        here > strong && here >= onsets[at - 1] && here > onsets[at + 1]
    };
    let peaks: Vec<usize> = (1..onsets.len().saturating_sub(1)).filter(peak).collect();
    let weight = |on: bool| -> f64 {
        let own = peaks.iter().filter(|at| !on || owned[**at]);
        own.map(|at| onsets[*at].min(4.0 * strong)).sum()
    };
    let recall = weight(true) / weight(false).max(1e-9);
    let precision = (n_of(&is_met) / real(times.len().max(1))).sqrt();
    let fits = 5.0 * recall * precision / (recall + 4.0 * precision).max(1e-9);
    let gap = (times[times.len() - 1] - times[0]) / real((times.len() - 1).max(1));
    let is_too_fine = are_alone(&begins) || (gap < FAST && are_alone(&is_met));
    if is_too_fine { TOO_FINE * fits } else { fits }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::Ear;
    use crate::pcm::SampleRate;
    use serde_json::Value;

    /// The clicks of the fixture: 24, 0.2 s apart, every third or second strong.
    fn clicks(period: usize) -> Vec<f32> {
        let mut samples = vec![0.0; 24 * 3200];
        for k in 0..24 {
            let strong = if k % period == 0 { 1.0 } else { 0.3 };
            for m in 0..1600 {
                let wave = (std::f64::consts::TAU * 880.0 * real(m) / 16_000.0).sin();
                samples[k * 3200 + m] += (strong * (-real(m) / 400.0).exp() * wave) as f32;
            }
        }
        samples
    }

    #[test]
    fn accents_show_in_what_comes_again() {
        let text = include_str!("../../tests/reference/fixtures/audio_analysis.json");
        let known: Value = serde_json::from_str(text).expect("the fixture is JSON");
        let rows = known["autocorrelation"].as_array().expect("rows");
        assert_eq!(rows.len(), 2);
        for (row, period) in rows.iter().zip([3, 2]) {
            let rms = |frame: &[f32]| {
                let squares: Vec<f64> = frame.iter().map(|x| f64::from(*x).powi(2)).collect();
                mean(&squares).sqrt()
            };
            let levels: Vec<f64> = clicks(period).chunks(160).map(rms).collect();
            let found = again(&levels, 100.0);
            let lags = row["lags"].as_array().expect("lags").iter();
            for (lag, expected) in lags.zip(row["r"].as_array().expect("values")) {
                let lag = lag.as_u64().expect("a number") as usize;
                let expected = expected.as_f64().expect("a number");
                assert!(
                    (found[lag] - expected).abs() < 1e-6,
                    "{lag}: {} {expected}",
                    found[lag]
                );
            }
        }
    }

    #[test]
    fn the_pulse_of_clicks_is_where_they_are() {
        for period in [3, 2] {
            let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
            ear.hear(&clicks(period));
            let paths = pulse_paths(&ear.finish(), &[]);
            let best = paths.first().expect("a path");
            assert!((best.gap - 0.2).abs() < 0.006, "{}", best.gap);
            let off = |time: &f64| (time / 0.2 - (time / 0.2).round()) * 0.2;
            let offs: Vec<f64> = best.pulses.times().iter().map(off).collect();
            let middle = quantile(&offs, 0.5);
            assert!(middle.abs() < 0.012, "{offs:?}");
        }
    }

    #[test]
    fn a_pulse_that_drifts_is_followed_without_losing_one() {
        // 200 to 260 pulses a minute over 240 of them, every sixth gap up to 3 in 100 off.
        let (mut times, mut now) = (Vec::new(), 0.5);
        for k in 0..240_u32 {
            times.push(now);
            let off = if k % 6 == 0 {
                0.03 * f64::from(k).sin()
            } else {
                0.0
            };
            now += 60.0 / (200.0 + f64::from(k) / 4.0) * (1.0 + off);
        }
        let click = &clicks(1)[..1600];
        let mut samples = vec![0.0; (16_000.0 * (now + 0.5)) as usize];
        for (k, time) in times.iter().enumerate() {
            // A stroke is missing here and there.
            let is_there = k % 6 == 0 || k % 7 != 3;
            let at = (16_000.0 * time) as usize;
            for (sample, click) in samples[at..].iter_mut().zip(click).filter(|_| is_there) {
                *sample += click;
            }
        }
        let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
        ear.hear(&samples);
        let paths = pulse_paths(&ear.finish(), &[]);
        let found = paths.first().expect("a path").pulses.times();
        for (nth, time) in times.iter().enumerate().step_by(6) {
            let off = found.get(nth).map_or(f64::NAN, |found| found - time);
            assert!(off.abs() < 0.05, "pulse {nth}: {off}");
        }
    }

    #[test]
    fn slow_even_strokes_are_not_counted_twice_as_fast() {
        // 133, 100 and 80 pulses a minute: a half or a third of the gap is nearer to the usual one.
        for gap in [7_200, 9_600, 12_000] {
            let mut slow = vec![0.0; 24 * gap];
            for stroke in 0..24 {
                let click = &clicks(1)[..1600];
                slow[stroke * gap..][..1600].copy_from_slice(click);
            }
            let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
            ear.hear(&slow);
            let paths = pulse_paths(&ear.finish(), &[]);
            let best = paths.first().expect("a path");
            let is = real(gap) / 16_000.0;
            assert!((best.gap - is).abs() < 0.01, "{} {is}", best.gap);
        }
    }

    #[test]
    fn taps_pull_the_path() {
        let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
        ear.hear(&clicks(2));
        let sound = ear.finish();
        let taps: Vec<f64> = (0..6).map(|k| 1.0 + 0.4 * real(k)).collect();
        let paths = pulse_paths(&sound, &taps);
        let tapped = paths.iter().find(|path| (path.gap - 0.4).abs() < 0.01);
        assert!(
            tapped.is_some(),
            "{:?}",
            paths.iter().map(|p| p.gap).collect::<Vec<_>>()
        );
    }

    #[test]
    fn nothing_is_counted_before_the_first_sound_and_after_the_last() {
        let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
        ear.hear(&[0.0; 32_000]);
        ear.hear(&clicks(3));
        ear.hear(&[0.0; 48_000]);
        for path in pulse_paths(&ear.finish(), &[]) {
            let times = path.pulses.times();
            let (first, last) = (times[0], times[times.len() - 1]);
            assert!(first > 1.99 - path.gap, "{first} {}", path.gap);
            assert!(last < 6.9, "{last}");
        }
    }

    #[test]
    fn steady_noise_has_no_pulse_until_somebody_taps() {
        use rand::{RngExt as _, SeedableRng as _};
        for (seed, keeps) in (0..).zip([0.0_f32, 0.9, 0.999]) {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            // White, and what is left of it when high sounds are damped.
            let mut last = 0.0;
            let noise = std::iter::repeat_with(|| {
                last = keeps * last + rng.random_range(-0.05..0.05_f32);
                last
            });
            let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
            ear.hear(&noise.take(160_000).collect::<Vec<f32>>());
            let sound = ear.finish();
            assert!(pulse_paths(&sound, &[]).is_empty(), "{keeps}");
            let taps: Vec<f64> = (0..12).map(|k| 1.0 + 0.4 * real(k)).collect();
            assert!(!pulse_paths(&sound, &taps).is_empty(), "{keeps}");
        }
    }

    #[test]
    fn a_few_strokes_in_a_long_silence_have_their_pulse() {
        let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
        ear.hear(&[0.0; 16_000 * 60]);
        ear.hear(&clicks(3));
        ear.hear(&[0.0; 16_000 * 240]);
        let paths = pulse_paths(&ear.finish(), &[]);
        assert!((paths.first().expect("a path").gap - 0.2).abs() < 0.006);
    }

    #[test]
    fn silence_and_scraps_have_no_pulse_to_speak_of() {
        for n in [0, 1, 100, 80_000] {
            let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
            ear.hear(&vec![0.0; n]);
            assert!(pulse_paths(&ear.finish(), &[f64::NAN, -1.0, 1e12]).len() <= ANSWERS);
        }
    }
}
