//! Judges hands: what was clapped, whether it was held, and how tightly.
//!
//! Read [`Clapped`] first. Taps are compared with the strokes of every candidate [`Reading`], each
//! layer in each rotation, on the pulses and between them; in each cycle the least cost names what
//! was done there, and a change of reading must pay for itself, so that one slip is no slide. A
//! person's steady lead is part of the hand and never counts: only what is left after it does.
//!
//! Taps are microseconds of the phrase's own time, already without the delay of the set-up; this
//! knows neither keys nor sound. Nothing here says whether a reading was the one asked for.

mod circular;
mod delay;
mod reading;
#[cfg(test)]
mod tests;
mod timing;

pub use circular::Circular;
pub use delay::Delay;
pub use reading::{Place, Reading};
pub use timing::Timing;

use reading::cost;

use crate::rhythm::{Cycle, PulseMap, TICKS_PER_PULSE, Tick};

/// What it costs to go over to another reading from one cycle to the next.
const CHANGE: f64 = 6.0;
/// Two taps within so many microseconds are one clap of one hand: a key that bounces, or repeats.
const ONE_CLAP: i64 = 70_000;
/// A cycle with fewer than this share of its strokes clapped says nothing.
const ENOUGH: f64 = 0.4;

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
pub struct Taps<'a> {
    /// When they fell, in microseconds of the phrase's own time, in order.
    pub micros: &'a [i64],
    /// Which pulse sounds when.
    pub map: &'a PulseMap,
    /// The cycle.
    pub cycle: Cycle,
    /// The cycles in which claps were asked for: from this one, and before that one.
    pub cycles: (i64, i64),
}

/// What hands did.
#[derive(Clone, Debug, PartialEq)]
pub struct Clapped {
    /// What they began with.
    pub reading: Reading,
    /// Where they went over to something else, from the first cycle asked for, and to what.
    pub left: Option<(usize, Reading)>,
    /// Strokes of the first reading that nobody clapped, up to where it was left.
    pub missing: usize,
    /// Taps that clapped no stroke of it.
    pub extra: usize,
    /// How tightly the others kept to it, after the steady lead; `None` of fewer than two.
    pub timing: Option<Timing>,
    /// The steady lead in microseconds; negative is early.
    pub lead: f64,
}

/// What was clapped, of these `readings`; `None` where the taps are too few to say.
pub fn judge(taps: &Taps<'_>, readings: &[Reading], lead: Lead) -> Option<Clapped> {
    let places = Places::of(taps);
    let (on, contra) = places.leads(lead)?;
    let of_place = |place| match place {
        Place::On => on,
        Place::Contra => contra,
    };
    let cycles: Vec<i64> = (taps.cycles.0..taps.cycles.1).collect();
    let costs: Vec<Vec<f64>> = cycles
        .iter()
        .map(|cycle| {
            let of_reading = |reading: &Reading| {
                let offset = of_place(reading.place);
                let here = places.in_cycle(*cycle, offset.pulses);
                cost(*reading, &here, taps.cycle) + offset.cost / real(cycles.len())
            };
            readings.iter().map(of_reading).collect()
        })
        .collect();
    let path = least_cost(&costs)?;
    let first = *path.first()?;
    let left = path.iter().position(|reading| *reading != first);
    let held = &cycles[..left.unwrap_or(cycles.len())];
    let reading = *readings.get(first)?;
    let offset = of_place(reading.place);
    let strokes = Strokes::of(taps, reading, held, offset, &places);
    if real(strokes.asynchronies.len()) < ENOUGH * real(strokes.n) {
        return None;
    }
    Some(Clapped {
        reading,
        left: left.and_then(|cycle| Some((cycle, *readings.get(*path.get(cycle)?)?))),
        missing: strokes.n - strokes.asynchronies.len(),
        extra: strokes.extra,
        timing: Timing::of(&strokes.asynchronies, strokes.gap_ms),
        lead: offset.pulses * places.micros_a_pulse,
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

/// A steady lead as pulses, and how unlikely it is.
#[derive(Clone, Copy)]
struct Offset {
    pulses: f64,
    cost: f64,
}

/// Taps in pulses, counted from tick zero.
struct Places {
    pulses: Vec<f64>,
    n_cycle: f64,
    micros_a_pulse: f64,
}

impl Places {
    fn of(taps: &Taps<'_>) -> Self {
        let mut micros: Vec<i64> = taps.micros.to_vec();
        micros.sort_unstable();
        micros.dedup_by(|later, earlier| later.saturating_sub(*earlier) < ONE_CLAP);
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

    /// The steady lead were the taps on the pulses, and were they between them: where in the pulse
    /// they fall on the mean, and the turn of it that is nearest to what is known.
    fn leads(&self, known: Lead) -> Option<(Offset, Offset)> {
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
        Some((nearest(phase), Offset { cost, ..contra }))
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

/// The strokes of a reading that was held, and which taps clapped them.
struct Strokes {
    n: usize,
    asynchronies: Vec<f64>,
    extra: usize,
    gap_ms: f64,
}

impl Strokes {
    fn of(taps: &Taps<'_>, reading: Reading, held: &[i64], lead: Offset, places: &Places) -> Self {
        let n_cycle = i64::try_from(taps.cycle.n_pulses()).unwrap_or(1);
        let half = if reading.place == Place::Contra {
            0.5
        } else {
            0.0
        };
        let strokes: Vec<f64> = held
            .iter()
            .flat_map(|cycle| {
                let begins = cycle * n_cycle;
                let pulses = reading.layer.pulses();
                pulses.map(move |pulse| real_i64(begins) + real(pulse.idx()) + half)
            })
            .collect();
        let mut free: Vec<f64> = places
            .pulses
            .iter()
            .map(|place| place - lead.pulses)
            .collect();
        let span = held.first().zip(held.last()).map(|(first, last)| {
            (
                real_i64(first * n_cycle) - 0.5,
                real_i64((last + 1) * n_cycle) - 0.5,
            )
        });
        free.retain(|place| span.is_some_and(|(from, until)| (from..until).contains(place)));
        let mut asynchronies = Vec::new();
        for stroke in &strokes {
            let nearest = (0..free.len())
                .min_by(|a, b| {
                    (free[*a] - stroke)
                        .abs()
                        .total_cmp(&(free[*b] - stroke).abs())
                })
                .filter(|idx| (free[*idx] - stroke).abs() < 0.5);
            if let Some(idx) = nearest {
                let place = free.remove(idx);
                asynchronies.push((place - stroke) * places.micros_a_pulse / 1_000.0);
            }
        }
        Self {
            n: strokes.len(),
            asynchronies,
            extra: free.len(),
            gap_ms: places.n_cycle * places.micros_a_pulse
                / 1_000.0
                / real(reading.layer.n_onsets().max(1)),
        }
    }
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
