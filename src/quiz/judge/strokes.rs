//! Which taps struck the strokes of what was clapped.

use super::places::{Leads, Places, real, real_i64};
use super::{Reading, Round};

/// Where fewer than this share of the strokes was clapped, nothing can be said, unless it was so many
/// before hands stopped.
const ENOUGH: f64 = 0.4;
const ENOUGH_ALONE: usize = 4;

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

/// The strokes of what was clapped, and which taps struck them.
pub(super) struct Strokes {
    pub(super) n: usize,
    /// Those of the cycles in which there were taps.
    pub(super) n_there: usize,
    /// The cycle after the last of those.
    pub(super) until: usize,
    /// Those after the last tap.
    pub(super) after: usize,
    /// Cycles without a tap between others, with how many strokes they had.
    pub(super) paused: Vec<(usize, usize)>,
    pub(super) struck: Vec<Struck>,
    pub(super) extra: usize,
}

impl Strokes {
    /// Of the reading of each cycle.
    pub(super) fn of(round: &Round<'_>, path: &[Reading], leads: Leads, places: &Places) -> Self {
        let begins = |cycle: i64| real_i64(cycle) * places.n_cycle;
        let (from, until) = (begins(round.cycles.0) - 0.5, begins(round.cycles.1) - 0.5);
        let mut free = places.pulses.clone();
        let lead = path
            .first()
            .map_or(0.0, |first| leads.of(first.place).pulses);
        free.retain(|place| (from..until).contains(&(place - lead)));
        let last = free.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (mut n, mut n_there, mut until, mut after, mut struck) = (0, 0, 0, 0, Vec::new());
        let mut silent = Vec::new();
        for (cycle, reading) in path.iter().enumerate() {
            let lead = leads.of(reading.place).pulses;
            let first = begins(round.cycles.0) + real(cycle) * places.n_cycle;
            let here = first + lead - 0.5..first + lead - 0.5 + places.n_cycle;
            if places.pulses.iter().any(|place| here.contains(place)) {
                n_there += reading.layer.n_onsets();
                until = cycle + 1;
            } else if until > 0 {
                silent.push((cycle, reading.layer.n_onsets()));
            }
            for (pulse, stroke) in reading.layer.pulses().zip(reading.strokes()) {
                n += 1;
                after += usize::from(first + stroke + lead > last + 0.5);
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
            n_there,
            until,
            after,
            paused: silent.into_iter().filter(|(at, _)| *at < until).collect(),
            struck,
            extra: free.len(),
        }
    }

    /// Whether enough was struck to say what it was: of all that was asked, or, where hands stopped, of
    /// what they did until then.
    pub(super) fn are_enough(&self) -> bool {
        let struck = self.struck.len();
        let of = if struck < ENOUGH_ALONE {
            self.n
        } else {
            self.n_there
        };
        real(struck) >= ENOUGH * real(of)
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
