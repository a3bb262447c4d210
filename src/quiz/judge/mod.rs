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
mod reading;
#[cfg(test)]
mod tests;
mod timing;

pub use agreement::Agreement;
pub use circular::Circular;
pub use delay::Delay;
pub use even::Evenness;
pub use reading::{Place, Reading};
pub use timing::Timing;

use reading::cost;

use super::tap::ONE_TAP;
use crate::rhythm::{Cycle, PulseMap, TICKS_PER_PULSE, Tick};

/// What it costs to go over to another reading from one cycle to the next.
const CHANGE: f64 = 6.0;
/// A cycle with fewer than this share of its strokes clapped says nothing.
const ENOUGH: f64 = 0.4;

/// By how many pulses hands may have hurried or dragged in the end.
const WANDERS: [f64; 13] = [
    0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.5, 1.75, 2.0, 2.5, 3.0,
];
/// Taps agree with a wander where their resultant is so long, and were loose without it where theirs is
/// no longer than this share of that.
const AGREES: f64 = 0.86;
const LOOSE: f64 = 0.72;

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

/// Hands that went faster or slower than what sounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wander {
    /// From this cycle on and before that one, counted from the first that was asked for.
    pub cycles: (usize, usize),
    /// By how many pulses they lay off in the end; negative is early.
    pub pulses: f64,
}

impl Wander {
    /// By how many pulses hands lay off in the middle of a cycle.
    pub fn at(self, cycle: usize) -> f64 {
        let (from, until) = (real(self.cycles.0), real(self.cycles.1));
        self.pulses * ((real(cycle) + 0.5 - from) / (until - from)).clamp(0.0, 1.0)
    }
}

/// A tap that struck a stroke.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Struck {
    /// The cycle, counted from the first that was asked for.
    pub cycle: usize,
    /// The pulse of the cycle, from 0.
    pub pulse: usize,
    /// How late after the steady lead, in milliseconds; early is negative.
    pub late_ms: f64,
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
    let mut places = Places::of(round);
    let wander = places.wander(round.cycles);
    if let Some(wander) = wander {
        places.straighten(wander, round.cycles.0);
    }
    let leads = places.leads(lead)?;
    let cycles: Vec<i64> = (round.cycles.0..round.cycles.1).collect();
    let strokes = |reading: &Reading| (*reading, reading.strokes().collect::<Vec<f64>>());
    let readings: Vec<(Reading, Vec<f64>)> = readings.iter().map(strokes).collect();
    let costs: Vec<Vec<f64>> = cycles
        .iter()
        .map(|cycle| {
            let here = [Place::On, Place::Contra]
                .map(|place| places.in_cycle(*cycle, leads.of(place).pulses));
            let of_reading = |(reading, strokes): &(Reading, Vec<f64>)| {
                let [on, contra] = &here;
                let taps = match reading.place {
                    Place::On => on,
                    Place::Contra => contra,
                };
                let of_lead = leads.of(reading.place).cost / real(cycles.len());
                cost(strokes, taps, round.cycle) + of_lead
            };
            readings.iter().map(of_reading).collect()
        })
        .collect();
    let path: Option<Vec<Reading>> = least_cost(&costs)?
        .into_iter()
        .map(|idx| readings.get(idx).map(|(reading, _)| *reading))
        .collect();
    let path = path?;
    let strokes = Strokes::of(round, &path, leads, &places);
    if real(strokes.struck.len()) < ENOUGH * real(strokes.n) {
        return None;
    }
    let late: Vec<f64> = strokes.struck.iter().map(|struck| struck.late_ms).collect();
    let mut spans: Vec<(usize, Reading)> = path.iter().copied().enumerate().collect();
    spans.dedup_by_key(|(_, reading)| *reading);
    let first = spans.first()?.1;
    Some(Clapped {
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

impl Wander {
    /// By how many pulses hands lay off at a place in pulses from the first cycle asked for.
    fn off(self, place: f64, n_cycle: f64) -> f64 {
        let (from, until) = (real(self.cycles.0) * n_cycle, real(self.cycles.1) * n_cycle);
        self.pulses * ((place - from) / (until - from)).clamp(0.0, 1.0)
    }
}

/// A steady lead as pulses, and how unlikely it is.
#[derive(Clone, Copy)]
struct Offset {
    pulses: f64,
    cost: f64,
}

/// The steady lead were the taps on the pulses, and were they between them.
#[derive(Clone, Copy)]
struct Leads {
    on: Offset,
    contra: Offset,
}

impl Leads {
    fn of(self, place: Place) -> Offset {
        match place {
            Place::On => self.on,
            Place::Contra => self.contra,
        }
    }
}

/// Taps in pulses, counted from tick zero.
struct Places {
    pulses: Vec<f64>,
    n_cycle: f64,
    micros_a_pulse: f64,
}

impl Places {
    fn of(taps: &Round<'_>) -> Self {
        let mut micros: Vec<i64> = taps.micros.to_vec();
        micros.sort_unstable();
        micros.dedup_by(|later, earlier| later.saturating_sub(*earlier) < ONE_TAP);
        let n = taps.cycle.n_pulses();
        let (from, until) = taps.cycles;
        let tick = |cycle: i64| Tick::of_pulse(cycle * i64::try_from(n).unwrap_or(1));
        let whole = taps.map.micros_at(tick(until)) - taps.map.micros_at(tick(from));
        let n_pulses = real(n) * real_i64((until - from).max(1));
        Self {
            pulses: micros
                .into_iter()
                .map(|at| pulses_at(taps.map, at))
                .collect(),
            n_cycle: real(n),
            micros_a_pulse: real_i64(whole) / n_pulses,
        }
    }

    /// Where in the pulse taps fall on the mean, and the turn of it that is nearest to what is known.
    fn leads(&self, known: Lead) -> Option<Leads> {
        let angles = self
            .pulses
            .iter()
            .map(|place| place * std::f64::consts::TAU);
        let phase = Circular::of(angles)?.mean / std::f64::consts::TAU;
        let (expected, spread) = (
            known.micros / self.micros_a_pulse,
            known.spread / self.micros_a_pulse,
        );
        let nearest = |phase: f64| {
            let pulses = phase - (phase - expected).round();
            Offset {
                pulses,
                cost: 0.5 * ((pulses - expected) / spread).powi(2),
            }
        };
        let contra = nearest(phase - 0.5);
        let cost = contra.cost + known.contra;
        Some(Leads {
            on: nearest(phase),
            contra: Offset { cost, ..contra },
        })
    }

    /// How hands hurried or dragged, where that and nothing else makes their taps agree. Each way of
    /// going faster or slower from one cycle to another is tried; what is tight without it is left
    /// alone.
    fn wander(&self, cycles: (i64, i64)) -> Option<Wander> {
        let n = usize::try_from(cycles.1 - cycles.0).unwrap_or(0);
        let begins = real_i64(cycles.0) * self.n_cycle;
        let agreement = |wander: Option<Wander>| {
            let off = |place: f64| wander.map_or(0.0, |w| w.off(place - begins, self.n_cycle));
            let angles = self.pulses.iter().map(|place| place - off(*place));
            Circular::of(angles.map(|place| place * std::f64::consts::TAU)).map(|c| c.resultant)
        };
        let alone = agreement(None)?;
        if alone > LOOSE {
            return None;
        }
        let spans = (0..n).flat_map(|from| (from + 1..=n).map(move |until| (from, until)));
        let ways = spans.flat_map(|cycles| {
            let pulses = WANDERS.iter().flat_map(|pulses| [*pulses, -*pulses]);
            pulses.map(move |pulses| Wander { cycles, pulses })
        });
        let best = ways
            .filter_map(|wander| Some((agreement(Some(wander))?, wander)))
            // Of two that agree alike the lesser and the longer one.
            .max_by(|(a, one), (b, other)| {
                let worth = |agreement: f64, wander: &Wander| {
                    let length = real(wander.cycles.1 - wander.cycles.0);
                    agreement - 0.02 * wander.pulses.abs() + 0.002 * length
                };
                worth(*a, one).total_cmp(&worth(*b, other))
            });
        let (with, wander) = best?;
        (with >= AGREES && alone <= LOOSE * with).then_some(wander)
    }

    /// Takes a wander out of the taps.
    fn straighten(&mut self, wander: Wander, first: i64) {
        let begins = real_i64(first) * self.n_cycle;
        let n_cycle = self.n_cycle;
        for place in &mut self.pulses {
            *place -= wander.off(*place - begins, n_cycle);
        }
    }

    /// The taps around a cycle, from its beginning, without the lead.
    fn in_cycle(&self, cycle: i64, offset: f64) -> Vec<f64> {
        let begins = real_i64(cycle) * self.n_cycle;
        let places = self.pulses.iter().map(|place| place - offset - begins);
        places
            .filter(|place| (-1.0..self.n_cycle + 1.0).contains(place))
            .collect()
    }
}

/// The strokes of what was clapped, and which taps struck them.
struct Strokes {
    n: usize,
    struck: Vec<Struck>,
    extra: usize,
}

impl Strokes {
    /// Of the reading of each cycle.
    fn of(round: &Round<'_>, path: &[Reading], leads: Leads, places: &Places) -> Self {
        let begins = |cycle: i64| real_i64(cycle) * places.n_cycle;
        let (from, until) = (begins(round.cycles.0) - 0.5, begins(round.cycles.1) - 0.5);
        let mut free = places.pulses.clone();
        let lead = path
            .first()
            .map_or(0.0, |first| leads.of(first.place).pulses);
        free.retain(|place| (from..until).contains(&(place - lead)));
        let (mut n, mut struck) = (0, Vec::new());
        for (cycle, reading) in path.iter().enumerate() {
            let lead = leads.of(reading.place).pulses;
            let first = begins(round.cycles.0) + real(cycle) * places.n_cycle;
            for (pulse, stroke) in reading.layer.pulses().zip(reading.strokes()) {
                n += 1;
                let late = take_nearest(&mut free, first + stroke + lead);
                struck.extend(late.map(|late| Struck {
                    cycle,
                    pulse: pulse.idx(),
                    late_ms: late * places.micros_a_pulse / 1_000.0,
                }));
            }
        }
        Self {
            n,
            struck,
            extra: free.len(),
        }
    }
}

/// Takes the place nearest to `wanted` out of `free`, and how far after it that lay, in pulses;
/// `None` where none lies within half a pulse.
fn take_nearest(free: &mut Vec<f64>, wanted: f64) -> Option<f64> {
    let off = |idx: &usize| (free[*idx] - wanted).abs();
    let nearest = (0..free.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
    let late = free.get(nearest)? - wanted;
    if late.abs() >= 0.5 {
        return None;
    }
    free.swap_remove(nearest);
    Some(late)
}

/// The place of a time, in pulses from tick zero.
fn pulses_at(map: &PulseMap, micros: i64) -> f64 {
    let tick = map.tick_at(micros);
    let pulse = tick.0.div_euclid(TICKS_PER_PULSE);
    let (here, next) = (Tick::of_pulse(pulse), Tick::of_pulse(pulse + 1));
    let (from, until) = (map.micros_at(here), map.micros_at(next));
    // Ticks are coarser than what is judged.
    let into = real_i64(micros.saturating_sub(from)) / real_i64((until - from).max(1));
    real_i64(pulse) + into
}

#[expect(
    clippy::cast_precision_loss,
    reason = "pulses and microseconds of one phrase"
)]
fn real_i64(n: i64) -> f64 {
    n as f64
}

fn real(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}
