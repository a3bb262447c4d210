//! Pulses at about one gap are followed through a part of a sound by dynamic programming (Ellis 2007), and how well
//! they fit what begins there is told.

use std::ops::Range;

use super::again::usual;
use super::kept::Kept;
use super::sound::Sound;
use super::units::{index, quantile, real};

/// How much a gap costs that is uneven against those before it, against an onset of usual size, and how
/// much one that is off the usual gap of the whole.
const STIFF: f64 = 60.0;
const STRAYS: f64 = 6.0;
/// How much of each gap goes into what is expected of the next, so that about ten make a tempo: a drift
/// is followed, and a single early stroke is not.
const LEARNS: f64 = 0.1;
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
/// Seconds about a pulse in which an onset is its own.
const ABOUT: f64 = 0.04;
/// How many decibels below what is usual is the silence before a piece or the room after it.
const SILENT: f64 = 20.0;
/// So many seconds before the next pulse what sounds may be its own.
const NEXT: f64 = 0.03;

/// Pulses that were followed, and how well they fit.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Followed {
    /// When they sound, in seconds; two at least.
    pub(super) times: Vec<f64>,
    /// The gap at which they were followed, in seconds.
    pub(super) gap: f64,
    /// How well they fit, over 0 and at most 1.
    pub(super) fits: f64,
}

/// Onsets of a part as they would be if its tempo did not drift.
pub(super) struct Evened {
    /// One a frame.
    pub(super) onsets: Vec<f64>,
    /// The frame of the sound from which each comes.
    frames: Vec<f64>,
    /// The frames of the sound that are surely of this part.
    sure: Range<usize>,
}

impl Evened {
    /// Of a part, by the onsets of the whole.
    pub(super) fn of(part: &Kept, onsets: &[f64]) -> Self {
        let until = real(part.frames.end.min(onsets.len()));
        let mut at = real(part.frames.start);
        let mut frames = Vec::new();
        while at < until {
            frames.push(at);
            at += part.against_usual(at);
        }
        let of = |at: &f64| {
            let low = index(at.floor());
            let share = at - real(low);
            let of = |at: usize| onsets.get(at).copied().unwrap_or(0.0);
            (1.0 - share) * of(low) + share * of(low + 1)
        };
        Self {
            onsets: frames.iter().map(of).collect(),
            frames,
            sure: part.sure.clone(),
        }
    }

    /// Those of them that are surely of this part.
    fn sure(&self) -> Range<usize> {
        let [from, until] = [self.sure.start, self.sure.end]
            .map(|frame| self.frames.partition_point(|at| *at < real(frame)));
        from..until
    }

    /// The frame of the sound at a place between two of these.
    fn frame(&self, at: f64) -> f64 {
        let low = index(at.floor()).min(self.frames.len().saturating_sub(2));
        let of = |at: usize| self.frames.get(at).copied().unwrap_or(0.0);
        of(low) + (at - real(low)) * (of(low + 1) - of(low))
    }
}

/// The best path at about this gap; `None` of fewer than two pulses.
pub(super) fn follow(even: &Evened, sound: &Sound, gap: f64) -> Option<Followed> {
    let (rate, onsets) = (sound.rate, &even.onsets);
    let places: Vec<f64> = path(onsets, gap * rate)
        .iter()
        .map(|frame| refined(onsets, *frame))
        .collect();
    let times: Vec<f64> = places.iter().map(|at| even.frame(*at) / rate).collect();
    let heard = sounding(sound, &times, gap);
    let sure = even.sure();
    let places = places[heard.clone()].iter().copied();
    let inside = places.filter(|at| sure.contains(&index(*at)));
    let places: Vec<f64> = inside.map(|at| (at - real(sure.start)) / rate).collect();
    if places.len() < 2 {
        return None;
    }
    let fits = fit(&onsets[sure], rate, &places) * (0.4 + 0.6 * usual(gap));
    Some(Followed {
        times: times[heard].to_vec(),
        gap,
        fits: fits.max(1e-9),
    })
}

/// The pulses from the first to the last over which something sounds.
fn sounding(sound: &Sound, times: &[f64], gap: f64) -> Range<usize> {
    let level = |time: &f64| 10.0 * (1e-10 + sound.power(*time, time + gap - NEXT, 0)).log10();
    let levels: Vec<f64> = times.iter().map(level).collect();
    let least = quantile(&levels, 0.5) - SILENT;
    let is_heard = |level: &f64| *level >= least;
    let from = levels.iter().position(is_heard).unwrap_or(0);
    let until = levels.iter().rposition(is_heard).map_or(0, |last| last + 1);
    from..until.max(from)
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
