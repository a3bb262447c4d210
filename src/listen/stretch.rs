//! What any stretch of cycles says, all streams together.

use super::figure;
use super::period::Sums;
use super::pulses::Counted;
use super::stream::{Heard, Part};
use super::units::{held, quantile, real};

/// Evidence of a stretch of cycles, in nats.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Stated {
    /// What speaks for threes, and what for twos: both at least 0.
    pub(super) threes: f64,
    pub(super) twos: f64,
    /// What each part says, above 0 for threes.
    pub(super) parts: [f64; 4],
}

impl Stated {
    pub(super) fn add(&mut self, part: Part, evidence: f64) {
        self.threes += evidence.max(0.0);
        self.twos += (-evidence).max(0.0);
        self.parts[part as usize] += evidence;
    }

    pub(super) fn plus(mut self, other: &Self) -> Self {
        self.threes += other.threes;
        self.twos += other.twos;
        for (sum, more) in self.parts.iter_mut().zip(other.parts) {
            *sum += more;
        }
        self
    }

    /// Above 0 for threes.
    pub(super) fn total(&self) -> f64 {
        self.threes - self.twos
    }

    /// How clearly one part says threes while another says twos: the weaker of the two.
    pub(super) fn opposed(&self) -> f64 {
        let most = self.parts.iter().fold(0.0, |most: f64, x| most.max(*x));
        let least = self.parts.iter().fold(0.0, |least: f64, x| least.min(*x));
        most.min(-least)
    }
}

/// The most that figures say on one stretch.
const MOST_FIGURES: f64 = 24.0;

/// Sums from the first cycle on, from which any stretch is told by a difference.
pub(super) struct Stretches {
    n_cycles: usize,
    /// By stream: its part, and the sums up to each cycle.
    streams: Vec<(Part, Vec<Sums>)>,
    figures: Vec<f64>,
}

impl Stretches {
    pub(super) fn of(heard: &Heard, counted: Counted) -> Self {
        let n_cycles = counted.n_cycles();
        let stream = |stream: &super::stream::Stream| {
            let known: Vec<f64> = stream.values.iter().copied().flatten().collect();
            let middle = quantile(&known, 0.5);
            let mut sum = Sums::default();
            let mut sums = vec![sum];
            for cycle in 0..n_cycles {
                sum = sum.plus(&Sums::of(stream, counted.pulses(cycle), middle));
                sums.push(sum);
            }
            (stream.part, sums)
        };
        let mut figures = vec![0.0];
        for cycle in 0..n_cycles {
            let said = figure::evidence(heard, counted.pulses(cycle));
            figures.push(figures[cycle] + said);
        }
        Self {
            n_cycles,
            streams: heard.streams.iter().map(stream).collect(),
            figures,
        }
    }

    pub(super) fn n_cycles(&self) -> usize {
        self.n_cycles
    }

    /// What the cycles from one until another say.
    pub(super) fn stated(&self, from: usize, until: usize) -> Stated {
        let mut stated = Stated::default();
        for (part, sums) in &self.streams {
            stated.add(*part, sums[until].minus(&sums[from]).evidence());
        }
        let figures = self.figures[until] - self.figures[from];
        stated.add(Part::High, held(figures, MOST_FIGURES));
        stated
    }
}

/// Whether threes and twos can be told apart in cycles of so many pulses: the first pulse, and every
/// sixth after it, belongs to both.
pub(super) fn can_tell(n_cycle: usize) -> bool {
    real(n_cycle) >= 5.0
}
