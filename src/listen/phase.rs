//! Where cycles begin, when only pulses are known: a proposal.

use crate::rhythm::Cycle;

use super::analysis::stretched;
use super::figure;
use super::lean::scores;
use super::marked::marks;
use super::pulses::{Counted, Pulses};
use super::sound::Sound;
use super::stream::{Heard, Stream, Tells};
use super::stretch::{Stretches, can_tell};
use super::units::{held, mean, real};

/// Cycles that are looked at.
const MOST_CYCLES: usize = 48;
/// How many units the first pulse may stand over the rest to count in full.
const MOST_UNITS: f64 = 4.0;
/// What it costs that a piece begins with a pickup of any one length instead of a whole cycle, as a
/// logarithm (common practice, no source).
const PICKUP: f64 = 1.5;
/// How much the first pulse's own strength counts.
const SHARE_FIRST: f64 = 0.15;

/// The pulses from the one on that most likely begins a cycle: where the cycle as counted from there
/// states a grouping most clearly, notes begin as that grouping has it, and its first pulse is strong.
pub fn from_first_of_cycle(sound: &Sound, pulses: &Pulses, cycle: Cycle) -> Pulses {
    let n_cycle = cycle.n_pulses();
    let some = pulses.first(n_cycle * (MOST_CYCLES + 1));
    // As many cycles are looked at from each pulse, so that all are told by as much.
    let n_left = some.times().len().saturating_sub(n_cycle - 1);
    let n_looked = (n_left - n_left % n_cycle).max(n_cycle);
    let heard = sound.heard(&some);
    let marks = marks(&heard);
    let clearness = |skipped: usize| {
        let n_pulses = n_looked.min(some.times().len() - skipped);
        let counted = Counted::of(cycle, n_pulses);
        let pickup = if skipped > 0 { PICKUP } else { 0.0 };
        clearness(
            &heard.starting_at(skipped, n_pulses),
            &marks[skipped..],
            counted,
        ) - pickup
    };
    let ranked = (0..n_cycle.min(some.times().len())).map(|skipped| (skipped, clearness(skipped)));
    let best = ranked.max_by(|a, b| a.1.total_cmp(&b.1));
    pulses.without_first(best.map_or(0, |(skipped, _)| skipped))
}

fn clearness(heard: &Heard, marks: &[f64], counted: Counted) -> f64 {
    let first: f64 = heard
        .streams
        .iter()
        .map(|stream| first(stream, counted))
        .sum();
    let stated = if can_tell(counted.n_cycle) {
        let [threes, twos, ..] = scores(&stretched(&Stretches::of(heard, counted)));
        let [begin_threes, begin_twos] = placed(heard, counted);
        let [mark_threes, mark_twos] = [3, 2].map(|group| marked(marks, counted, group));
        (threes + begin_threes + mark_threes).max(twos + begin_twos + mark_twos)
    } else {
        0.0
    };
    stated + SHARE_FIRST * first
}

/// How likely threes and twos make it that notes begin where they do, as logarithms.
fn placed(heard: &Heard, counted: Counted) -> [f64; 2] {
    let mut placed = [0.0; 2];
    for at in 0..counted.n_cycles() {
        let more = figure::placed(heard, counted.pulses(at));
        placed = [placed[0] + more[0], placed[1] + more[1]];
    }
    placed
}

/// How strongly the first pulses of groups of so many are marked.
fn marked(marks: &[f64], counted: Counted, group: usize) -> f64 {
    let is_first = |at: &usize| (at % counted.n_cycle).is_multiple_of(group);
    let firsts = (0..counted.n_pulses).filter(is_first);
    firsts.filter_map(|at| marks.get(at)).sum()
}

/// By how many units the first pulses of cycles stand over all others.
fn first(stream: &Stream, counted: Counted) -> f64 {
    if stream.tells != Tells::Strength {
        return 0.0;
    }
    let of = |is_first: bool| {
        let pulses = (0..counted.n_pulses).filter(|at| (at % counted.n_cycle == 0) == is_first);
        pulses.filter_map(|at| stream.at(at)).collect::<Vec<f64>>()
    };
    let (first, others) = (of(true), of(false));
    if first.is_empty() || others.is_empty() {
        return 0.0;
    }
    let sure = (real(first.len()) / 4.0).min(1.0);
    sure * held((mean(&first) - mean(&others)) / stream.unit, MOST_UNITS)
}
