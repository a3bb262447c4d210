//! The pulse of a sound, when nobody has tapped it.
//!
//! Pulse first, grouping after: a tracker that looks for groups mistakes threes. Gaps that come again
//! in the envelope of onsets are candidates in each part that keeps a tempo (`kept.rs`); each is followed
//! (`follow.rs`), and what is followed through the parts is weighed together. Several answers are kept.

use std::collections::BTreeMap;
use std::ops::Range;

use super::again::{again, comb, usual};
use super::follow::{Evened, Followed, follow};
use super::in_time::InTime;
use super::kept::{Kept, kept};
use super::pulses::Pulses;
use super::sound::Sound;
use super::units::{index, quantile, real};

/// A path of pulses, and how well it fits.
#[derive(Clone, Debug, PartialEq)]
pub struct PulsePath {
    /// Its pulses.
    pub pulses: Pulses,
    /// Those with which a part begins that keeps a tempo of its own, by their place from 0; the first is one.
    pub starts: Vec<usize>,
    /// The usual gap of the longest part, in seconds.
    pub gap: f64,
    /// How well it fits, 0 to 1, against the others.
    pub fits: f64,
    /// How probable it is that its pulses are those of the piece, of those that may be.
    pub probable: f64,
    /// How probable it is that the piece keeps a tempo at all.
    pub steady: f64,
}

impl PulsePath {
    /// The pulses of each part that keeps a tempo of its own, by their places from 0.
    pub fn parts(&self) -> impl Iterator<Item = Range<usize>> {
        let ends = self.starts.iter().skip(1).copied();
        let ends = ends.chain([self.pulses.times().len()]);
        self.starts
            .iter()
            .copied()
            .zip(ends)
            .map(|(from, until)| from..until)
    }

    /// The same in time.
    pub fn in_time(&self) -> Vec<InTime> {
        let times = self.pulses.times();
        let told = |part: Range<usize>| {
            let own = Pulses::new(times.get(part.clone())?.to_vec()).ok()?;
            let last = own.times().len() - 1;
            let ends = own.times()[last] + own.gap(last);
            Some(InTime {
                from: own.times()[0],
                until: times.get(part.end).map_or(ends, |next| ends.min(*next)),
                ppm: own.tempo_ppm(),
            })
        };
        self.parts().filter_map(told).collect()
    }

    /// Pulses a minute in the longest of these, by the mean gap.
    pub fn tempo_ppm(&self) -> f64 {
        let of_gap = 60.0 / self.gap;
        let off = |part: &InTime| (part.ppm / of_gap).ln().abs();
        let parts = self.in_time().into_iter();
        let longest = parts.min_by(|a, b| off(a).total_cmp(&off(b)));
        longest.map_or(of_gap, |part| part.ppm)
    }
}

/// Gaps that may be a pulse, in seconds: 500 to 67 pulses a minute (London 2002: nothing faster than
/// 100 ms is a subdivision; a slow soleá has 70 to 90).
const GAPS: (f64, f64) = (0.12, 0.9);
/// How many candidates are followed, and answers kept.
const CANDIDATES: usize = 6;
const ANSWERS: usize = 4;
/// How much more probable a better fit makes an answer, as a power: of the program's own phrases about as
/// many were told right as were called so probable.
const SHARP: f64 = 10.0;
/// How far a candidate lies from another, as a share.
const APART: f64 = 0.06;
/// A sound of which fewer than so many frames, about two strokes, rise by so many decibels a band is
/// even, however much silence there is about it. One frame in two hundred of white, pink and brown noise
/// rose by .85 to .93, whatever their level, and one of the program's own phrases and of sampled melodies
/// by 2 and more.
const RISING: usize = 8;
const RISES: f64 = 1.5;
/// How far the pulse of a part lies from that of the longest, as a logarithm: where several are possible, the nearer is
/// the likelier (a round figure).
const CHANGES: f64 = 0.3;

/// Paths of pulses through a sound, the best first; none of less than two seconds, of silence, or of a
/// steady sound in which nothing begins, where nobody has tapped. `near` are times that the learner
/// tapped or nudged to: paths are pulled to them. Nothing is laid where no tempo is kept.
pub fn pulse_paths(sound: &Sound, near: &[f64]) -> Vec<PulsePath> {
    if sound.seconds() < 2.0 || (near.is_empty() && is_even(sound)) {
        return Vec::new();
    }
    let mut onsets = envelope(sound);
    let parts = kept(&onsets, sound.rate, GAPS);
    pull(&mut onsets, sound, near);
    let is_tapped = |part: &Kept| n_tapped(part, sound, near) > 0;
    let found = match near.is_empty() || parts.iter().any(is_tapped) {
        true => paths_through(&parts, &onsets, sound, near),
        false => Vec::new(),
    };
    match found.is_empty() {
        true => paths_through(&[Kept::all_of(onsets.len())], &onsets, sound, near),
        false => found,
    }
}

/// How many taps fall into a part.
fn n_tapped(part: &Kept, sound: &Sound, near: &[f64]) -> usize {
    let is_in_part = |tap: &&f64| part.frames.contains(&sound.frame_at(**tap));
    near.iter().filter(is_in_part).count()
}

/// Paths through these parts, the best first: those of the longest, or of the one that was tapped most, and what goes
/// with each through the others.
fn paths_through(parts: &[Kept], onsets: &[f64], sound: &Sound, near: &[f64]) -> Vec<PulsePath> {
    let weight = |part: &Kept| (n_tapped(part, sound, near), part.frames.len());
    let main = (0..parts.len()).max_by_key(|at| weight(&parts[*at]));
    let main = main.unwrap_or_default();
    let tapped = tapped_gap(near);
    let followed = |(at, part): (usize, &Kept)| {
        let even = Evened::of(part, onsets);
        followed(&even, sound, tapped.filter(|_| at == main))
    };
    let all: Vec<Vec<Followed>> = parts.iter().enumerate().map(followed).collect();
    let best = all.get(main).map(Vec::as_slice).unwrap_or_default();
    let best = &best[..best.len().min(ANSWERS)];
    let others = (0..all.len()).filter(|at| *at != main);
    let others: Vec<(usize, &[Followed])> = others.map(|at| (at, all[at].as_slice())).collect();
    let mut joined: Vec<Joined<'_>> = best
        .iter()
        .map(|of_main| Joined::of(of_main, main, &others))
        .collect();
    if tapped.is_none() {
        joined.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    }
    let most = joined
        .iter()
        .map(|joined| joined.weight)
        .fold(f64::NEG_INFINITY, f64::max);
    let share = |joined: &Joined<'_>| (joined.weight - most).exp();
    let sum_shares: f64 = joined.iter().map(share).sum();
    let sum: f64 = best.iter().map(|followed| followed.fits).sum();
    let path = |joined: &Joined<'_>| {
        let (pulses, starts) = in_a_row(joined.parts.values().copied())?;
        Some(PulsePath {
            pulses,
            starts,
            gap: joined.main.gap,
            fits: joined.main.fits / sum.max(1e-9),
            probable: share(joined) / sum_shares.max(1e-9),
            steady: parts[main].steady,
        })
    };
    joined.iter().filter_map(path).collect()
}

/// A path through the main part, and what goes best with it through the others.
struct Joined<'a> {
    main: &'a Followed,
    /// By the place of each part.
    parts: BTreeMap<usize, &'a Followed>,
    /// How probable it is against others, as a logarithm.
    weight: f64,
}

impl<'a> Joined<'a> {
    fn of(main: &'a Followed, at: usize, others: &[(usize, &'a [Followed])]) -> Self {
        let goes_with = |other: &Followed| {
            let off = (other.gap / main.gap).ln() / CHANGES;
            SHARP * other.fits.ln() - 0.5 * off * off
        };
        let mut joined = Self {
            main,
            parts: BTreeMap::from([(at, main)]),
            weight: SHARP * main.fits.ln(),
        };
        for (at, part) in others.iter().copied() {
            let weighed = part.iter().map(|other| (goes_with(other), other));
            if let Some((weight, best)) = weighed.max_by(|a, b| a.0.total_cmp(&b.0)) {
                joined.weight += weight;
                joined.parts.insert(at, best);
            }
        }
        joined
    }
}

/// The pulses of parts one after the other, and which of them begin a part; one of which hardly any is left is none.
fn in_a_row<'a>(parts: impl Iterator<Item = &'a Followed>) -> Option<(Pulses, Vec<usize>)> {
    let (mut times, mut starts): (Vec<f64>, Vec<usize>) = (Vec::new(), Vec::new());
    for part in parts {
        let free = times
            .last()
            .map_or(f64::NEG_INFINITY, |last| last + 0.5 * part.gap);
        let own = part.times.partition_point(|time| *time <= free);
        if let own @ [_, _, ..] = &part.times[own..] {
            starts.push(times.len());
            times.extend(own);
        }
    }
    Some((Pulses::new(times).ok()?, starts))
}

/// Paths through a part, the best first.
fn followed(even: &Evened, sound: &Sound, tapped: Option<f64>) -> Vec<Followed> {
    let gaps = gaps(&even.onsets, sound.rate, tapped);
    let all = gaps.iter().filter_map(|gap| follow(even, sound, *gap));
    let mut found: Vec<Followed> = all.collect();
    // Whoever taps says what is counted, though something finer be played.
    let is_tapped = |path: &Followed| Some(path.gap) == tapped;
    found.sort_by(|a, b| {
        let by_taps = is_tapped(b).cmp(&is_tapped(a));
        by_taps.then(b.fits.total_cmp(&a.fits))
    });
    found
}

fn is_even(sound: &Sound) -> bool {
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
    let again = again(onsets, index(4.0 * GAPS.1 * rate) + 2);
    let score = |gap: f64| comb(&again, rate, gap) * (0.3 + 0.7 * usual(gap));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::Ear;
    use crate::listen::units::mean;
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
            let found = again(&levels, 362);
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

    /// Strokes at these times in so many seconds.
    fn strokes(times: &[f64], seconds: f64) -> Sound {
        let click = &clicks(1)[..1600];
        let mut samples = vec![0.0; index(16_000.0 * (seconds + 0.2))];
        for time in times {
            let at = index(16_000.0 * time);
            for (sample, click) in samples[at..].iter_mut().zip(click) {
                *sample += click;
            }
        }
        let mut ear = Ear::new(SampleRate::new(16_000).expect("not zero"));
        ear.hear(&samples);
        ear.finish()
    }

    #[test]
    fn nothing_is_laid_over_a_free_beginning_and_a_new_tempo_is_followed() {
        use rand::{RngExt as _, SeedableRng as _};
        let mut dice = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let (mut times, mut now) = (Vec::new(), 0.5);
        while now < 25.0 {
            times.push(now);
            now += dice.random_range(0.15..0.9);
        }
        let steady = |gap: f64, from: f64| (0..120).map(move |k| from + gap * real(k));
        let (slow, fast) = (steady(0.36, 25.0), steady(0.27, 25.0 + 120.0 * 0.36));
        let slow: Vec<f64> = slow.collect();
        let fast: Vec<f64> = fast.collect();
        times.extend(slow.iter().chain(&fast));
        let sound = strokes(&times, 101.0);
        let paths = pulse_paths(&sound, &[]);
        let best = paths.first().expect("a path");
        let [first, second] = &best.in_time()[..] else {
            panic!("two parts: {:?}", best.in_time());
        };
        assert!((first.from - 25.0).abs() < 2.0, "{first:?}");
        assert!(
            (first.until - second.from).abs() < 1.0,
            "{first:?} {second:?}"
        );
        for (part, gap) in [(first, 0.36), (second, 0.27)] {
            assert!((part.ppm - 60.0 / gap).abs() < 3.0, "{part:?}");
        }
        let found = best.pulses.times();
        let is_found = |time: &&f64| found.iter().any(|found| (found - **time).abs() < 0.04);
        // But for a stroke or two where one goes over into the other.
        for strokes in [&slow[4..116], &fast[4..116]] {
            assert_eq!(strokes.iter().filter(is_found).count(), strokes.len());
        }
        // Whoever taps along in the free part has the whole counted as one.
        let tapped: Vec<f64> = (0..10).map(|k| 5.0 + 0.4 * real(k)).collect();
        let paths = pulse_paths(&sound, &tapped);
        let first = paths.first().expect("a path").pulses.times()[0];
        assert!(first < 5.0, "{first}");
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
