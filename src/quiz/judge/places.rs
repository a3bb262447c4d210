//! Taps in pulses, and the steady lead that they show.

use super::circular::Circular;
use super::wander::Wander;
use super::{Lead, Place, Round};
use crate::quiz::tap::ONE_TAP;
use crate::rhythm::{PulseMap, TICKS_PER_PULSE, Tick};

/// A steady lead as pulses, and how unlikely it is.
#[derive(Clone, Copy)]
pub(super) struct Offset {
    pub(super) pulses: f64,
    pub(super) cost: f64,
}

/// The steady lead were the taps on the pulses, and were they between them.
#[derive(Clone, Copy)]
pub(super) struct Leads {
    on: Offset,
    contra: Offset,
}

impl Leads {
    pub(super) fn of(self, place: Place) -> Offset {
        match place {
            Place::On => self.on,
            Place::Contra => self.contra,
        }
    }
}

/// Taps in pulses, counted from tick zero.
pub(super) struct Places {
    pub(super) pulses: Vec<f64>,
    pub(super) n_cycle: f64,
    pub(super) micros_a_pulse: f64,
}

impl Places {
    pub(super) fn of(taps: &Round<'_>) -> Self {
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
    pub(super) fn leads(&self, known: Lead) -> Option<Leads> {
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

    /// The same with a wander taken out.
    pub(super) fn without(&self, wander: Option<Wander>, first: i64) -> Self {
        let begins = real_i64(first) * self.n_cycle;
        let off = |place: f64| wander.map_or(0.0, |w| w.off(place - begins, self.n_cycle));
        let pulses = self.pulses.iter().map(|place| place - off(*place));
        Self {
            pulses: pulses.collect(),
            ..*self
        }
    }

    /// The first tap and the last one in these cycles.
    pub(super) fn played(&self, cycles: (i64, i64)) -> Option<(f64, f64)> {
        let [from, until] = [cycles.0, cycles.1].map(|cycle| real_i64(cycle) * self.n_cycle - 0.5);
        let here = || self.pulses.iter().copied();
        let here = || here().filter(|place| (from..until).contains(place));
        let first = here().reduce(f64::min)?;
        Some((first, here().reduce(f64::max)?))
    }

    /// The taps around a cycle, from its beginning, without the lead.
    pub(super) fn in_cycle(&self, cycle: i64, offset: f64) -> Vec<f64> {
        let begins = real_i64(cycle) * self.n_cycle;
        let places = self.pulses.iter().map(|place| place - offset - begins);
        places
            .filter(|place| (-1.0..self.n_cycle + 1.0).contains(place))
            .collect()
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
pub(super) fn real_i64(n: i64) -> f64 {
    n as f64
}

pub(super) fn real(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}
