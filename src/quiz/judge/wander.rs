//! Hands that hurry, drag, or keep a tempo of their own.

use super::circular::Circular;
use super::places::{Places, real, real_i64};

/// By how many pulses hands may have hurried or dragged in the end.
const WANDERS: [f64; 13] = [
    0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.5, 1.75, 2.0, 2.5, FARTHEST,
];
const FARTHEST: f64 = 3.0;
/// An even tempo of their own is another by a share within these.
const OWN_TEMPO: (f64, f64) = (0.04, 0.25);
/// It is looked for where there are so many taps to show it, by so many pulses in the end at each step.
const OWN_TEMPO_TAPS: usize = 8;
const OWN_TEMPO_STEP: f64 = 0.25;
/// Taps agree with a wander where their resultant is so long, and were loose without it where theirs is
/// no longer than this share of that.
const AGREES: f64 = 0.86;
const LOOSE: f64 = 0.72;

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

    /// By how many pulses hands lay off at a place in pulses from the first cycle asked for.
    pub(super) fn off(self, place: f64, n_cycle: f64) -> f64 {
        let (from, until) = (real(self.cycles.0) * n_cycle, real(self.cycles.1) * n_cycle);
        self.pulses * ((place - from) / (until - from)).clamp(0.0, 1.0)
    }

    /// The share by which hands were steadily slower than what sounded, or faster where that is negative,
    /// in as good as all of `n_cycles` cycles of so many pulses.
    pub(super) fn own_tempo(self, n_cycles: usize, n_pulses: usize) -> Option<f64> {
        let (from, until) = self.cycles;
        let share = self.pulses / real((n_pulses * (until - from)).max(1));
        (from == 0 && until + 1 >= n_cycles && share.abs() > OWN_TEMPO.0).then_some(share)
    }

    /// How hands hurried or dragged, where that and nothing else makes their taps agree. Each way of
    /// going faster or slower from one cycle to another is tried, and even tempi of their own on either
    /// side; what is tight without it is left alone.
    pub(super) fn ways(places: &Places, cycles: (i64, i64)) -> Vec<Option<Self>> {
        let n = usize::try_from(cycles.1 - cycles.0).unwrap_or(0);
        let begins = real_i64(cycles.0) * places.n_cycle - 0.5;
        let agreement = |wander: Option<Self>| {
            let taps = places.without(wander, cycles.0).pulses.into_iter();
            let taps = taps.filter(|place| *place >= begins);
            Circular::of(taps.map(|place| place * std::f64::consts::TAU)).map(|c| c.resultant)
        };
        let alone = agreement(None).unwrap_or(1.0);
        if alone > LOOSE {
            return vec![None];
        }
        let spans = (0..n).flat_map(|from| (from + 1..=n).map(move |until| (from, until)));
        let ways = spans.flat_map(|cycles| {
            let pulses = WANDERS.iter().flat_map(|pulses| [*pulses, -*pulses]);
            pulses.map(move |pulses| Self { cycles, pulses })
        });
        let agreeing = |wander: Self| {
            let with = agreement(Some(wander))?;
            (with >= AGREES && alone <= LOOSE * with).then_some((with, wander))
        };
        // Of two that agree alike the lesser and the longer one.
        let worth = |(agreement, wander): &(f64, Self)| {
            let length = real(wander.cycles.1 - wander.cycles.0);
            agreement - 0.02 * wander.pulses.abs() + 0.002 * length
        };
        let best = |ways: &mut dyn Iterator<Item = Self>| {
            let ways = ways.filter_map(agreeing);
            let best = ways.max_by(|one, other| worth(one).total_cmp(&worth(other)));
            best.map(|(_, wander)| Some(wander))
        };
        let [slower, faster] = [1.0, -1.0].map(|side| best(&mut Self::own_tempi(places, n, side)));
        let mut wanders: Vec<Option<Self>> = best(&mut { ways }).into_iter().collect();
        wanders.extend(slower.into_iter().chain(faster));
        if wanders.is_empty() {
            wanders.push(None);
        }
        wanders
    }

    /// Even tempi on one side of the one that sounded, all through `n` cycles.
    fn own_tempi(places: &Places, n: usize, side: f64) -> impl Iterator<Item = Self> {
        let most = if places.pulses.len() < OWN_TEMPO_TAPS {
            0.0
        } else {
            OWN_TEMPO.1 * places.n_cycle * real(n)
        };
        let steps = (1_u32..).map(|step| f64::from(step) * OWN_TEMPO_STEP);
        let steps = steps.skip_while(|pulses| *pulses <= FARTHEST);
        let pulses = steps.take_while(move |pulses| *pulses <= most);
        pulses.map(move |pulses| Self {
            cycles: (0, n),
            pulses: side * pulses,
        })
    }
}
