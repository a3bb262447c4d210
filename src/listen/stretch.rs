//! What any stretch of cycles says, all streams together.

use super::figure;
use super::period::Sums;
use super::pulses::Counted;
use super::stream::{Heard, Part, Shares};
use super::units::{held, quantile, real};

/// Evidence of a stretch of cycles, in nats.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Stated {
    /// What speaks for threes, and what for twos: both at least 0.
    pub(super) threes: f64,
    pub(super) twos: f64,
    /// What speaks for threes in each part, and what for twos.
    pub(super) sides: [[f64; 2]; 4],
    /// All of it weighted by how much it counts: streams of one sound say much the same.
    odds: f64,
    /// What is clear in single streams, beyond what chance does: for threes, and for twos.
    strong: [f64; 2],
    n_cycles: usize,
}

/// What a single stream may say against the others without being a voice of its own.
const ASIDE: f64 = 3.0;

impl Stated {
    pub(super) fn add(&mut self, part: Part, evidence: f64, share: f64) {
        self.odds += share * evidence;
        self.threes += evidence.max(0.0);
        self.twos += (-evidence).max(0.0);
        let [threes, twos] = &mut self.sides[part as usize];
        *threes += evidence.max(0.0);
        *twos += (-evidence).max(0.0);
        self.strong[0] += (evidence - ASIDE).max(0.0);
        self.strong[1] += (-evidence - ASIDE).max(0.0);
    }

    pub(super) fn plus(mut self, other: &Self) -> Self {
        self.threes += other.threes;
        self.twos += other.twos;
        self.odds += other.odds;
        self.n_cycles += other.n_cycles;
        let sides = self.sides.as_flattened_mut().iter_mut();
        let sides = sides.zip(other.sides.as_flattened());
        for (sum, more) in sides.chain(self.strong.iter_mut().zip(&other.strong)) {
            *sum += more;
        }
        self
    }

    /// How much more likely threes make it than twos, as a logarithm.
    pub(super) fn odds(&self) -> f64 {
        self.odds
    }

    /// What each part says, above 0 for threes.
    pub(super) fn parts(&self) -> [f64; 4] {
        self.sides.map(|[threes, twos]| threes - twos)
    }

    /// How many cycles say it.
    pub(super) fn n_cycles(&self) -> usize {
        self.n_cycles
    }

    /// How clearly some streams say threes while others say twos: the weaker of the two.
    pub(super) fn opposed(&self) -> f64 {
        self.strong[0].min(self.strong[1])
    }
}

/// The most that figures say on one stretch.
const MOST_FIGURES: f64 = 24.0;

/// A stream, summed up.
struct Summed {
    part: Part,
    /// Up to each cycle.
    sums: Vec<Sums>,
    /// How much its positions vary in the whole piece.
    variance: f64,
}

impl Summed {
    fn evidence(&self, from: usize, until: usize) -> f64 {
        self.sums[until]
            .minus(&self.sums[from])
            .evidence(self.variance)
    }
}

/// Sums from the first cycle on, from which any stretch is told by a difference.
pub(super) struct Stretches {
    n_cycles: usize,
    streams: Vec<Summed>,
    figures: Vec<f64>,
    shares: Shares,
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
            Summed {
                part: stream.part,
                variance: sum.variance(Sums::expected()).max(Sums::expected()),
                sums,
            }
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
            shares: heard.shares,
        }
    }

    pub(super) fn n_cycles(&self) -> usize {
        self.n_cycles
    }

    /// What the cycles from one until another say.
    pub(super) fn stated(&self, from: usize, until: usize) -> Stated {
        let mut stated = Stated {
            n_cycles: until - from,
            ..Stated::default()
        };
        for stream in &self.streams {
            let share = self.shares.parts[stream.part as usize];
            stated.add(stream.part, stream.evidence(from, until), share);
        }
        let figures = self.figures[until] - self.figures[from];
        stated.add(Part::High, held(figures, MOST_FIGURES), self.shares.figures);
        stated
    }
}

/// Whether threes and twos can be told apart in cycles of so many pulses: the first pulse, and every
/// sixth after it, belongs to both.
pub(super) fn can_tell(n_cycle: usize) -> bool {
    real(n_cycle) >= 5.0
}
