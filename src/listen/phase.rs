//! Where cycles begin, when only pulses are known: a proposal.

use crate::rhythm::Cycle;

use super::analysis::stretched;
use super::figure;
use super::lean::scores;
use super::marked::marks;
use super::period::ALIKE;
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
    let counted_from = |skipped: usize| {
        let n_pulses = n_looked.min(some.times().len() - skipped);
        let counted = Counted::of(cycle, n_pulses);
        let heard = heard.starting_at(skipped, n_pulses);
        let pickup = if skipped > 0 { PICKUP } else { 0.0 };
        Clearness::of(&heard, &marks[skipped..], counted).less(pickup)
    };
    let clear: Vec<Clearness> = (0..n_cycle.min(some.times().len()))
        .map(counted_from)
        .collect();
    pulses.without_first(first_of_cycle(&clear))
}

/// Which of the pulses from which a cycle was counted begins it. Where groups begin is told by all that
/// was heard; which of these is the first of a cycle, by what is no mere habit of the piece.
fn first_of_cycle(clear: &[Clearness]) -> usize {
    let ways = (0..clear.len()).flat_map(|skipped| [(skipped, 0), (skipped, 1)]);
    let all = |(skipped, by): &(usize, usize)| clear[*skipped].all[*by];
    let clearest = ways.max_by(|a, b| all(a).total_cmp(&all(b)));
    let (begins, by) = clearest.unwrap_or_default();
    let group = GROUPS[by];
    if !clear.len().is_multiple_of(group) {
        return begins;
    }
    let same = (begins % group..clear.len()).step_by(group);
    let held = |skipped: &usize| clear[*skipped].held[by];
    let first = same.max_by(|a, b| held(a).total_cmp(&held(b)));
    first.unwrap_or(begins)
}

/// Pulses in a group, of threes and of twos.
const GROUPS: [usize; 2] = [3, 2];

/// How clearly a cycle begins at a pulse when it leans to threes, and to twos.
#[derive(Clone, Copy, Debug)]
struct Clearness {
    /// By all that was heard.
    all: [f64; 2],
    /// The same, but cycles are much alike, so that twice as many tell less than twice as much: chance and
    /// habit would else add up to any size.
    held: [f64; 2],
}

impl Clearness {
    fn of(heard: &Heard, marks: &[f64], counted: Counted) -> Self {
        let firsts = heard.streams.iter().map(|stream| first(stream, counted));
        let first = SHARE_FIRST * firsts.sum::<f64>();
        if !can_tell(counted.n_cycle) {
            return Self {
                all: [first; 2],
                held: [first; 2],
            };
        }
        let told = 1.0 / (1.0 + ALIKE * (real(counted.n_cycles()) - 1.0));
        let scores = scores(&stretched(&Stretches::of(heard, counted)));
        let placed = placed(heard, counted);
        let marked = GROUPS.map(|group| marked(marks, counted, group));
        Self {
            all: [0, 1].map(|by| told * scores[by] + placed[by] + marked[by] + first),
            held: [0, 1].map(|by| told * (scores[by] + placed[by] + marked[by]) + first),
        }
    }

    fn less(self, cost: f64) -> Self {
        Self {
            all: self.all.map(|x| x - cost),
            held: self.held.map(|x| x - cost),
        }
    }
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
