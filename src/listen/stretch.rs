//! What any stretch of cycles says, all streams together.

use std::ops::Range;

use super::figure::{self, Figure};
use super::period::{ALIKE, Sums};
use super::pulses::Counted;
use super::stream::{Heard, Part, Shares};
use super::units::{held, quantile, real};

/// Evidence of a stretch of cycles, in nats.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Stated {
    /// What speaks for threes, and what for twos, as it counts: both at least 0.
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
    /// Adds evidence of a part that counts for so much.
    pub(super) fn add(&mut self, part: Part, evidence: f64, counts: f64) {
        self.odds += counts;
        self.threes += counts.max(0.0);
        self.twos += (-counts).max(0.0);
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
    /// How much its evidence counts, and so many nats of it do not.
    share: f64,
    aside: f64,
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

    fn counts(&self, evidence: f64) -> f64 {
        self.share * evidence.signum() * (evidence.abs() - self.aside).max(0.0)
    }
}

/// Sums from the first cycle on, from which any stretch is told by a difference.
pub(super) struct Stretches {
    n_cycles: usize,
    streams: Vec<Summed>,
    /// By cycle, those of its sixes.
    figures: Vec<Vec<Figure>>,
    /// Up to each cycle, what even runs say.
    even: Vec<f64>,
    /// And what other figures that fit either do.
    fitting: Vec<f64>,
    shares: Shares,
}

impl Stretches {
    pub(super) fn of(heard: &Heard, counted: Counted) -> Self {
        let order: Vec<usize> = (0..counted.n_cycles()).collect();
        Self::in_order(heard, counted, &order)
    }

    /// The same with cycles taken in another order, by which they are then counted.
    pub(super) fn in_order(heard: &Heard, counted: Counted, order: &[usize]) -> Self {
        let n_cycles = order.len();
        let stream = |stream: &super::stream::Stream| {
            let known: Vec<f64> = stream.values.iter().copied().flatten().collect();
            let middle = quantile(&known, 0.5);
            let mut sum = Sums::default();
            let mut sums = vec![sum];
            for cycle in order {
                sum = sum.plus(&Sums::of(stream, counted.pulses(*cycle), middle));
                sums.push(sum);
            }
            Summed {
                part: stream.part,
                share: stream
                    .share
                    .unwrap_or(heard.shares.parts[stream.part as usize]),
                aside: if stream.hears_rests {
                    heard.shares.rests
                } else {
                    0.0
                },
                variance: sum.variance(Sums::expected()).max(Sums::expected()),
                sums,
            }
        };
        let figures = |cycle: &usize| figure::figures(heard, counted.pulses(*cycle)).collect();
        let up_to_each = |says: fn(&Heard, Range<usize>) -> f64| {
            let mut sums = vec![0.0];
            for (at, cycle) in order.iter().enumerate() {
                sums.push(sums[at] + says(heard, counted.pulses(*cycle)));
            }
            sums
        };
        Self {
            n_cycles,
            streams: heard.streams.iter().map(stream).collect(),
            figures: order.iter().map(figures).collect(),
            even: up_to_each(figure::evenness),
            fitting: up_to_each(figure::fitting),
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
            let evidence = stream.evidence(from, until);
            stated.add(stream.part, evidence, stream.counts(evidence));
        }
        let figures = held(self.figures(from, until), MOST_FIGURES);
        stated.add(Part::High, figures, self.shares.figures * figures);
        let even = self.shares.even * share(&self.even, from, until);
        stated.add(Part::High, even, even);
        stated
    }

    /// What figures say together: one that comes again is a habit of the piece, and tells less each time.
    fn figures(&self, from: usize, until: usize) -> f64 {
        let mut by_figure = [(0.0, 0.0); 64];
        for figure in self.figures[from..until].iter().flatten() {
            let (n, sum) = &mut by_figure[usize::from(figure.begins)];
            *n += 1.0;
            *sum += figure.says;
        }
        let heard = by_figure.iter().filter(|(n, _)| *n > 0.0);
        let said = heard.map(|(n, sum)| sum / (1.0 + ALIKE * (n - 1.0)));
        said.sum()
    }

    /// What figures that fit either say by how common they are, where one of the two has to be said: even runs, so far
    /// as they did not count, and others the less, the more cycles there are that may say something else.
    pub(super) fn usual(&self, from: usize, until: usize) -> f64 {
        let even = (1.0 - self.shares.even) * share(&self.even, from, until);
        even + share(&self.fitting, from, until) / real(self.n_cycles.max(1))
    }
}

/// What is a habit of a piece, summed up to each cycle, says in some: it is one, however many of them are heard, so that no
/// more than its share in them counts.
fn share(sums: &[f64], from: usize, until: usize) -> f64 {
    (sums[until] - sums[from]) / real((until - from).max(1))
}

/// Whether threes and twos can be told apart in cycles of so many pulses: the first pulse, and every
/// sixth after it, belongs to both.
pub(super) fn can_tell(n_cycle: usize) -> bool {
    real(n_cycle) >= 5.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Cycle;

    /// What cycles say whose notes begin so: a letter is a beginning, a dot none.
    fn stated(cycles: &[&str], shares: Shares) -> Stated {
        stretches(cycles, shares).stated(0, cycles.len())
    }

    fn stretches(cycles: &[&str], shares: Shares) -> Stretches {
        let begins = cycles.concat();
        let begins = begins.chars().map(|c| f64::from(u8::from(c == 'x')));
        let heard = Heard {
            shares,
            begins: begins.collect(),
            ..Heard::default()
        };
        let counted = Counted::of(Cycle::SIX, 6 * cycles.len());
        Stretches::of(&heard, counted)
    }

    fn odds(cycles: &[&str], shares: Shares) -> f64 {
        stated(cycles, shares).odds()
    }

    const FIGURES: Shares = Shares {
        parts: [0.0; 4],
        rests: 0.0,
        figures: 1.0,
        even: 0.0,
    };

    #[test]
    fn a_figure_that_comes_again_tells_less_than_another() {
        let once = odds(&["x.xx.x"], FIGURES);
        let again = odds(&["x.xx.x"; 4], FIGURES);
        let others = odds(&["x.xx.x", "x..xxx", "xxxx.x", "x.xxxx"], FIGURES);
        assert!(once > 1.0, "{once}");
        assert!(again > once && again < 2.0 * once, "{once} {again}");
        assert!(others > again, "{again} {others}");
    }

    #[test]
    fn what_fits_either_is_told_by_what_is_usual_the_less_the_more_cycles_there_are() {
        let usual = |cycles: &[&str]| stretches(cycles, FIGURES).usual(0, cycles.len());
        let once = usual(&["x.xxxx"]);
        assert!(once > 1.0, "{once}");
        assert_eq!(odds(&["x.xxxx"], FIGURES), 0.0);
        assert!((usual(&["x.xxxx"; 4]) - once / 4.0).abs() < 1e-9);
        assert!((usual(&["x.xxxx", "x.x.x."]) - once / 4.0).abs() < 1e-9);
        // An even run has not counted here.
        assert!((usual(&["xxxxxx"; 4]) - usual(&["xxxxxx"])).abs() < 1e-9);
        assert!(usual(&["xxxxxx"]) > 1.0);
    }

    #[test]
    fn that_notes_run_on_evenly_is_one_habit() {
        let even = Shares {
            even: 1.0,
            ..FIGURES
        };
        let (once, again) = (odds(&["xxxxxx"], even), odds(&["xxxxxx"; 8], even));
        let uncounted = stated(&["xxxxxx"], FIGURES);
        assert!(once > uncounted.odds() + 1.0, "{once}");
        // What does not count is not shown as evidence either.
        assert!(uncounted.threes < 1.0, "{uncounted:?}");
        assert!(
            (odds(&["xxxxxx"; 8], FIGURES) + once - again).abs() < 0.5,
            "{once} {again}"
        );
    }
}
