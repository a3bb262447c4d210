//! Where cycles begin, when only pulses are known: a proposal.

use std::ops::Range;

use crate::rhythm::Cycle;

use super::analysis::stretched;
use super::figure;
use super::lean::scores;
use super::marked::marks;
use super::period::ALIKE;
use super::pulse_path::PulsePath;
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

/// The pulses of each part of a path from the one on that most likely begins a cycle, the parts that keep a
/// tempo of their own being counted each by itself.
pub fn counted_from_firsts(sound: &Sound, path: &PulsePath, cycle: Cycle) -> Vec<Range<usize>> {
    let from_first = |part: Range<usize>| {
        let times = path.pulses.times()[part.clone()].to_vec();
        let pulses = Pulses::new(times);
        let first = pulses.map_or(0, |pulses| first_of_cycle(sound, &pulses, cycle));
        part.start + first..part.end
    };
    path.parts().map(from_first).collect()
}

/// The pulses from the one on that most likely begins a cycle.
pub fn from_first_of_cycle(sound: &Sound, pulses: &Pulses, cycle: Cycle) -> Pulses {
    pulses.without_first(first_of_cycle(sound, pulses, cycle))
}

/// The pulse that most likely begins a cycle: where the cycle as counted from there states a grouping most
/// clearly, notes begin as that grouping has it, and its first pulse is strong.
fn first_of_cycle(sound: &Sound, pulses: &Pulses, cycle: Cycle) -> usize {
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
        Clearness::of(&heard, &marks[skipped..], counted)
    };
    let clear: Vec<Clearness> = (0..n_cycle.min(some.times().len()))
        .map(counted_from)
        .collect();
    clearest(&clear)
}

/// Which of the pulses from which a cycle was counted begins it. Where groups begin is told by all that
/// was heard; which of these is the first of a cycle, by what is no mere habit of the piece.
fn clearest(clear: &[Clearness]) -> usize {
    let alone = |skipped: usize| {
        let pickup = if skipped > 0 { PICKUP } else { 0.0 };
        clear[skipped].first - pickup
    };
    let most = |a: &(f64, usize), b: &(f64, usize)| a.0.total_cmp(&b.0);
    let most_clear = |by: usize| {
        let by_all =
            (0..clear.len()).map(|skipped| (clear[skipped].all[by] + alone(skipped), skipped));
        by_all.max_by(most).unwrap_or_default()
    };
    let [threes, twos] = [0, 1].map(most_clear);
    let by = usize::from(twos.0 > threes.0);
    let (clarity, begins) = [threes, twos][by];
    let entered = |wheel: usize| {
        let at = |(entry, _): (usize, f64)| (wheel + entry) % clear.len();
        ENTRIES.map(|entry| (clear[wheel].wheel + alone(at(entry)) - entry.1, at(entry)))
    };
    let wheel = (0..clear.len()).flat_map(entered).max_by(most);
    if let Some((_, begins)) = wheel.filter(|(wheel, _)| *wheel > clarity) {
        return begins;
    }
    let group = GROUPS[by];
    if !clear.len().is_multiple_of(group) {
        return begins;
    }
    let same = (begins % group..clear.len()).step_by(group);
    let held = same.map(|skipped| (clear[skipped].held[by] + alone(skipped), skipped));
    held.max_by(most).map_or(begins, |(_, first)| first)
}

/// Pulses in a group, of threes and of twos.
const GROUPS: [usize; 2] = [3, 2];

/// Where cycles of twelve begin in the wheel 3 + 3 + 2 + 2 + 2, in pulses after its first, and what each costs
/// as a logarithm: there, as those that are counted from 12; with its twos; with the two before its threes, as the
/// seguiriya; and a pulse after its first, as the soleá that is counted from 1 (`Pattern` has the sources; that the
/// first is the most usual is common practice).
const ENTRIES: [(usize, f64); 4] = [(0, 0.0), (6, 1.0), (8, 1.0), (1, 1.0)];
/// What it costs that a cycle be the wheel, which may begin at any pulse of twelve, and not equal groups.
const WHEEL: f64 = 1.5;

/// How clearly a cycle begins at a pulse.
#[derive(Clone, Copy, Debug)]
struct Clearness {
    /// When it leans to threes, and to twos: by all that was heard.
    all: [f64; 2],
    /// The same, but cycles are much alike, so that twice as many tell less than twice as much: chance and
    /// habit would else add up to any size.
    held: [f64; 2],
    /// When its sixes lean to threes and to twos in turn; it cannot where it is not made of twelves.
    wheel: f64,
    /// By its first pulse alone.
    first: f64,
}

impl Clearness {
    fn of(heard: &Heard, marks: &[f64], counted: Counted) -> Self {
        let firsts = heard.streams.iter().map(|stream| first(stream, counted));
        let first = SHARE_FIRST * firsts.sum::<f64>();
        if !can_tell(counted.n_cycle) {
            return Self {
                all: [0.0; 2],
                held: [0.0; 2],
                wheel: f64::NEG_INFINITY,
                first,
            };
        }
        let told = told(counted);
        let scores = scores(&stretched(&Stretches::of(heard, counted)));
        let placed = placed(heard, counted);
        let marked = GROUPS.map(|group| marked(marks, counted, |at| at.is_multiple_of(group)));
        Self {
            all: [0, 1].map(|by| told * scores[by] + placed[by] + marked[by]),
            held: [0, 1].map(|by| told * (scores[by] + placed[by] + marked[by])),
            wheel: wheel(heard, marks, counted),
            first,
        }
    }
}

/// How much of what cycles say counts, which are much alike.
fn told(counted: Counted) -> f64 {
    1.0 / (1.0 + ALIKE * (real(counted.n_cycles()) - 1.0))
}

/// How clearly sixes lean to threes and to twos in turn, the first of a cycle to threes.
fn wheel(heard: &Heard, marks: &[f64], counted: Counted) -> f64 {
    let six = Cycle::SIX.n_pulses();
    if !counted.n_cycle.is_multiple_of(2 * six) {
        return f64::NEG_INFINITY;
    }
    let sixes = Counted::of(Cycle::SIX, counted.n_pulses);
    let lean = |by: usize| {
        let every_second: Vec<usize> = (by..sixes.n_cycles()).step_by(2).collect();
        let stated = stretched(&Stretches::in_order(heard, sixes, &every_second));
        let of_each = every_second
            .iter()
            .map(|at| figure::placed(heard, sixes.pulses(*at))[by]);
        told(counted) * scores(&stated)[by] + of_each.sum::<f64>()
    };
    let is_first = |at: usize| {
        let at = at % (2 * six);
        match at < six {
            true => at.is_multiple_of(3),
            false => at.is_multiple_of(2),
        }
    };
    lean(0) + lean(1) + marked(marks, counted, is_first) - WHEEL
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

/// How strongly the first pulses of groups are marked, by their place in the cycle.
fn marked(marks: &[f64], counted: Counted, is_first: impl Fn(usize) -> bool) -> f64 {
    let firsts = (0..counted.n_pulses).filter(|at| is_first(at % counted.n_cycle));
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
