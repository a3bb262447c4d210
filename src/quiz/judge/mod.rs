//! Judges hands: what was clapped, whether it was held, and how tightly.
//!
//! Read [`Clapped`] first. Taps are compared with the strokes of every candidate [`Reading`], each
//! layer in each rotation, on the pulses and between them; in each cycle the least cost names what
//! was done there, and a change of reading must pay for itself, so that one slip is no slide. A
//! person's steady lead is part of the hand and never counts: only what is left after it does.
//!
//! Taps are microseconds of the phrase's own time, already without the delay of the set-up; this
//! knows neither keys nor sound. Nothing here says whether a reading was the one asked for.

mod agreement;
mod circular;
mod delay;
mod even;
mod places;
mod reading;
mod strokes;
#[cfg(test)]
mod tests;
mod timing;
mod wander;

pub use agreement::Agreement;
pub use circular::Circular;
pub use delay::Delay;
pub use even::Evenness;
pub use reading::{Place, Reading};
pub use strokes::Struck;
pub use timing::Timing;
pub use wander::Wander;

use places::{Places, real, real_i64};
use reading::{cost, own};
use strokes::Strokes;

use crate::rhythm::{Cycle, PulseMap};

/// What it costs to go over to another reading from one cycle to the next.
const CHANGE: f64 = 6.0;

/// What is known of a steady lead before the taps are looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lead {
    /// Microseconds by which taps lie after what they clap; negative is early.
    pub micros: f64,
    /// How sure that is, as a standard deviation in microseconds.
    pub spread: f64,
    /// What it costs to take taps for claps between the pulses. Where a delay may be anything, they
    /// are much more often late ones.
    pub contra: f64,
}

impl Lead {
    /// Of hands on a set-up without delay: 20 to 80 ms in people without training, less in musicians
    /// (Repp 2005; Repp and Su 2013, from memory).
    pub const USUAL: Self = Self {
        micros: -35_000.0,
        spread: 35_000.0,
        contra: 0.0,
    };
    /// Of hands whose own lead and the delay of whose set-up were taken off.
    pub const TUNED: Self = Self {
        micros: 0.0,
        spread: 30_000.0,
        contra: 0.0,
    };
    /// Where neither is known: a lead and a delay that together may be anything.
    pub const UNKNOWN: Self = Self {
        micros: 20_000.0,
        spread: 80_000.0,
        contra: 5.0,
    };
}

/// A round of taps over a phrase.
#[derive(Clone, Debug)]
pub struct Round<'a> {
    /// When they fell, in microseconds of the phrase's own time, in any order.
    pub micros: &'a [i64],
    /// Which pulse sounds when.
    pub map: &'a PulseMap,
    /// The cycle.
    pub cycle: Cycle,
    /// The cycles in which claps were asked for: from this one, and before that one.
    pub cycles: (i64, i64),
}

impl Round<'_> {
    /// Milliseconds of a pulse on the mean.
    pub fn pulse_ms(&self) -> f64 {
        Places::of(self).micros_a_pulse / 1_000.0
    }

    /// How many taps fell in these cycles.
    pub fn n_taps(&self) -> usize {
        let places = Places::of(self);
        let begins = |cycle: i64| real_i64(cycle) * places.n_cycle - 0.5;
        let here = begins(self.cycles.0)..begins(self.cycles.1);
        places.pulses.iter().filter(|at| here.contains(at)).count()
    }
}

/// What hands did.
#[derive(Clone, Debug, PartialEq)]
pub struct Clapped {
    /// What they clapped, and from which cycle on, counted from the first that was asked for. Never
    /// empty; neighbours differ, and the first begins in cycle 0.
    pub spans: Vec<(usize, Reading)>,
    /// How many cycles were asked for.
    pub n_cycles: usize,
    /// The cycle after the last one in which they clapped at all, counted as in `spans`.
    pub until: usize,
    /// Strokes that came after the last tap.
    pub after: usize,
    /// Cycles in which they clapped nothing, though they did before and after, with how many strokes each
    /// had.
    pub paused: Vec<(usize, usize)>,
    /// Strokes of what they clapped that nobody struck.
    pub missing: usize,
    /// Taps that struck none of them.
    pub extra: usize,
    /// Taps that struck one.
    pub struck: Vec<Struck>,
    /// How tightly those kept to it, after the steady lead; `None` of fewer than two.
    pub timing: Option<Timing>,
    /// The steady lead in microseconds; negative is early.
    pub lead: f64,
    /// How the hands hurried or dragged, where they did; what they clapped is said as if they had not.
    pub wander: Option<Wander>,
}

impl Clapped {
    /// What they began with.
    pub fn first(&self) -> Reading {
        self.spans.first().expect("there is one span at least").1
    }

    /// What they ended with, and since which cycle.
    pub fn last(&self) -> (usize, Reading) {
        *self.spans.last().expect("there is one span at least")
    }

    /// Where they left what they began with, and what they went over to; `None` where they held it.
    pub fn left(&self) -> Option<(usize, Reading)> {
        self.spans.get(1).copied()
    }

    /// From which cycle on they clapped nothing more; `None` where they went on to the end.
    pub fn stopped(&self) -> Option<usize> {
        (self.until < self.n_cycles).then_some(self.until)
    }

    /// The share by which they were steadily slower than what sounded, or faster where that is negative,
    /// as good as all through; `None` where they kept to it or wandered for some cycles only.
    pub fn own_tempo(&self) -> Option<f64> {
        let n_pulses = self.first().layer.cycle().n_pulses();
        self.wander?.own_tempo(self.n_cycles, n_pulses)
    }

    /// How many strokes nobody struck in the cycles in which they clapped.
    pub fn missing_meanwhile(&self) -> usize {
        let after = self.stopped().map_or(0, |_| self.after);
        let paused: usize = self.paused.iter().map(|(_, n)| n).sum();
        self.missing.saturating_sub(after + paused)
    }

    /// What they clapped in a cycle.
    pub fn in_cycle(&self, cycle: usize) -> Reading {
        let since = self.spans.iter().rev().find(|(since, _)| *since <= cycle);
        since.map_or(self.first(), |(_, reading)| *reading)
    }

    /// The mean lateness of the taps of a cycle in milliseconds; `None` where there were none.
    pub fn late_in(&self, cycle: usize) -> Option<f64> {
        let here = self.struck.iter().filter(|struck| struck.cycle == cycle);
        let (n, sum) = here.fold((0.0, 0.0), |(n, sum), struck| {
            (n + 1.0, sum + struck.late_ms)
        });
        (n > 0.0).then(|| sum / n)
    }
}

/// What was clapped, of these `readings`; `None` where the taps are too few to say.
pub fn judge(round: &Round<'_>, readings: &[Reading], lead: Lead) -> Option<Clapped> {
    let places = Places::of(round);
    let wanders = Wander::ways(&places, round.cycles);
    let found = wanders.into_iter().filter_map(|wander| {
        let places = places.without(wander, round.cycles.0);
        clapped(round, readings, lead, (&places, wander))
    });
    // Of several that explain the taps, the lesser one that leaves the least over.
    let far = |found: &Clapped| {
        let wander = found.wander.map_or(0.0, |wander| wander.pulses.abs());
        real(found.missing + found.extra) + wander
    };
    found.min_by(|one, other| far(one).total_cmp(&far(other)))
}

/// What was clapped, had hands wandered so.
fn clapped(
    round: &Round<'_>,
    readings: &[Reading],
    lead: Lead,
    (places, wander): (&Places, Option<Wander>),
) -> Option<Clapped> {
    let leads = places.leads(lead)?;
    let (first, last) = places.played(round.cycles)?;
    let cycles: Vec<i64> = (round.cycles.0..round.cycles.1).collect();
    let strokes = |reading: &Reading| (*reading, reading.strokes().collect::<Vec<f64>>());
    let readings: Vec<(Reading, Vec<f64>)> = readings.iter().map(strokes).collect();
    let costs: Vec<Vec<f64>> = cycles
        .iter()
        .map(|cycle| {
            let here = [Place::On, Place::Contra]
                .map(|place| places.in_cycle(*cycle, leads.of(place).pulses));
            // Where nothing was clapped nothing is said, neither for a reading nor against one.
            if here
                .iter()
                .all(|taps| own(taps, round.cycle).next().is_none())
            {
                return vec![0.0; readings.len()];
            }
            let of_reading = |(reading, strokes): &(Reading, Vec<f64>)| {
                let [on, contra] = &here;
                let taps = match reading.place {
                    Place::On => on,
                    Place::Contra => contra,
                };
                let of_lead = leads.of(reading.place).cost / real(cycles.len());
                let begins = real_i64(*cycle) * places.n_cycle + leads.of(reading.place).pulses;
                let played = (first - begins, last - begins);
                cost(strokes, taps, round.cycle, played) + of_lead
            };
            readings.iter().map(of_reading).collect()
        })
        .collect();
    let path: Option<Vec<Reading>> = least_cost(&costs)?
        .into_iter()
        .map(|idx| readings.get(idx).map(|(reading, _)| *reading))
        .collect();
    let path = path?;
    let strokes = Strokes::of(round, &path, leads, places);
    if !strokes.are_enough() {
        return None;
    }
    let late: Vec<f64> = strokes.struck.iter().map(|struck| struck.late_ms).collect();
    let mut spans: Vec<(usize, Reading)> = path.iter().copied().enumerate().collect();
    spans.dedup_by_key(|(_, reading)| *reading);
    let first = spans.first()?.1;
    Some(Clapped {
        n_cycles: path.len(),
        until: strokes.until,
        after: strokes.after,
        paused: strokes.paused,
        missing: strokes.n - strokes.struck.len(),
        extra: strokes.extra,
        timing: Timing::of(&late, places.micros_a_pulse / 1_000.0),
        struck: strokes.struck,
        lead: leads.of(first.place).pulses * places.micros_a_pulse,
        spans,
        wander,
    })
}

/// The reading of each cycle such that all costs and all changes together are least (Viterbi 1967).
fn least_cost(costs: &[Vec<f64>]) -> Option<Vec<usize>> {
    let mut total: Vec<f64> = costs.first()?.clone();
    let mut came_from: Vec<Vec<usize>> = Vec::new();
    for costs in costs.iter().skip(1) {
        let cheapest = least(&total)?;
        let step = |idx: usize| {
            let changed = total[cheapest] + CHANGE;
            if changed < total[idx] {
                (changed, cheapest)
            } else {
                (total[idx], idx)
            }
        };
        let steps: Vec<(f64, usize)> = (0..total.len()).map(step).collect();
        total = steps
            .iter()
            .zip(costs)
            .map(|((so_far, _), cost)| so_far + cost)
            .collect();
        came_from.push(steps.into_iter().map(|(_, idx)| idx).collect());
    }
    let mut here = least(&total)?;
    let mut path = vec![here];
    for from in came_from.iter().rev() {
        here = *from.get(here)?;
        path.push(here);
    }
    path.reverse();
    Some(path)
}

fn least(values: &[f64]) -> Option<usize> {
    (0..values.len()).min_by(|a, b| values[*a].total_cmp(&values[*b]))
}
