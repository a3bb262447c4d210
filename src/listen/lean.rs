//! To what each cycle leans, its neighbours heard with it.
//!
//! A piece is cut into stretches of cycles that all lean alike; every way of cutting it counts by
//! how probable it is (a hidden semi-Markov model, forward and backward). So a weak cycle is heard by
//! its neighbours, and a change is still found where it is: it begins another stretch.

use std::ops::Range;

use super::period::log_sum;
use super::stretch::{Stated, Stretches};
use super::units::real;

/// To what cycles lean. Evidence, never a verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lean {
    /// To threes.
    Threes,
    /// To twos.
    Twos,
    /// One voice to threes, another to twos.
    Both,
    /// To neither, as far as can be told.
    Unclear,
}

impl Lean {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Threes, Self::Twos, Self::Both, Self::Unclear];

    /// Its mark on a strip of cycles: the numeral of its layer.
    pub fn mark(self) -> char {
        match self {
            Self::Threes => '3',
            Self::Twos => '2',
            Self::Both => 'b',
            Self::Unclear => '.',
        }
    }

    /// In words; nothing here is called more than a lean.
    pub fn words(self) -> &'static str {
        match self {
            Self::Threes => "leaning to threes",
            Self::Twos => "leaning to twos",
            Self::Both => "leaning to both at once",
            Self::Unclear => "unclear",
        }
    }

    /// Its name in files.
    pub fn id(self) -> &'static str {
        match self {
            Self::Threes => "threes",
            Self::Twos => "twos",
            Self::Both => "both",
            Self::Unclear => "unclear",
        }
    }
}

/// How clear evidence has to be to be better than none, at all and for each cycle: what is stated adds
/// up from cycle to cycle, and less than half of what is usual is no statement. A single cycle speaks at
/// odds of about five to one, and after so many cycles no more is asked.
const CLEAR: f64 = 0.2;
const CLEAR_A_CYCLE: f64 = 0.3;
const MOST_CLEAR: usize = 8;
/// From how much on two streams against each other are two voices, and how much that counts.
const OPPOSED: f64 = 2.0;
const SHARE_OPPOSED: f64 = 2.5;
/// What another stretch costs: of another lean, about one cycle in five; of the same.
const CHANGE: f64 = 1.6;
const SAME: f64 = 1.0;
/// The most cycles in a stretch.
const LONGEST: usize = 24;

/// How probable each lean is, in the order of [`Lean::ALL`].
pub(super) type Shares = [f64; 4];

/// How likely each lean makes what a stretch states, as a logarithm.
pub(super) fn scores(stated: &Stated) -> Shares {
    let half = 0.5 * stated.odds();
    let both = half.abs() + SHARE_OPPOSED * (stated.opposed() - OPPOSED);
    let clear = CLEAR + CLEAR_A_CYCLE * real(stated.n_cycles().min(MOST_CLEAR));
    [half, -half, both, clear]
}

/// Logarithms as shares of their sum.
pub(super) fn shares(logs: &Shares) -> Shares {
    let sum = logs.iter().copied().fold(f64::NEG_INFINITY, log_sum);
    logs.map(|log| (log - sum).exp())
}

/// The piece cut every way.
pub(super) struct Cuts {
    /// By cycle and length less one: what that stretch scores.
    scores: Vec<Vec<Shares>>,
    n_cycles: usize,
}

impl Cuts {
    pub(super) fn of(stretches: &Stretches) -> Self {
        let n_cycles = stretches.n_cycles();
        let from = |from: usize| {
            let lengths = 1..=LONGEST.min(n_cycles - from);
            lengths
                .map(|length| scores(&stretches.stated(from, from + length)))
                .collect()
        };
        Self {
            scores: (0..n_cycles).map(from).collect(),
            n_cycles,
        }
    }

    /// How likely all of it is, however it is cut, as a logarithm.
    pub(super) fn likely(&self) -> f64 {
        let whole = self.ahead()[self.n_cycles].into_iter();
        whole.fold(f64::NEG_INFINITY, log_sum)
    }

    /// The stretches of the likeliest cut.
    pub(super) fn best(&self) -> Vec<Range<usize>> {
        // By place and lean of the stretch that ends there: how likely, and where it begins and the lean
        // before it.
        let mut best = vec![[(f64::NEG_INFINITY, 0, 0); 4]; self.n_cycles + 1];
        for from in 0..self.n_cycles {
            for lean in 0..4 {
                let into = |before: usize| (best[from][before].0 - cost(before, lean), before);
                let ways = (0..4).map(into);
                let (begin, before) = match from {
                    0 => (0.0, lean),
                    _ => ways.fold((f64::NEG_INFINITY, 0), |a, b| if b.0 > a.0 { b } else { a }),
                };
                for (length, scores) in self.scores[from].iter().enumerate() {
                    let to = &mut best[from + length + 1][lean];
                    if begin + scores[lean] > to.0 {
                        *to = (begin + scores[lean], from, before);
                    }
                }
            }
        }
        let mut until = self.n_cycles;
        let ends = (0..4).max_by(|a, b| best[until][*a].0.total_cmp(&best[until][*b].0));
        let mut lean = ends.unwrap_or(0);
        let mut cut = Vec::new();
        while until > 0 {
            let (_, from, before) = best[until][lean];
            cut.push(from..until);
            (until, lean) = (from, before);
        }
        cut
    }

    /// How probable each lean is of each cycle.
    pub(super) fn posterior(&self) -> Vec<Shares> {
        let ahead = self.ahead();
        let back = self.back();
        let whole = ahead[self.n_cycles]
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, log_sum);
        let mut steps = vec![[0.0; 4]; self.n_cycles + 1];
        for (from, lengths) in self.scores.iter().enumerate() {
            let begin = self.begin(&ahead, from);
            for (length, scores) in lengths.iter().enumerate() {
                let until = from + length + 1;
                for lean in 0..4 {
                    let p = (begin[lean] + scores[lean] + back[until][lean] - whole).exp();
                    steps[from][lean] += p;
                    steps[until][lean] -= p;
                }
            }
        }
        let mut now = [0.0; 4];
        let add = |step: &Shares| {
            for (sum, step) in now.iter_mut().zip(step) {
                *sum += step;
            }
            now.map(|share: f64| share.clamp(0.0, 1.0))
        };
        steps[..self.n_cycles].iter().map(add).collect()
    }

    /// By place, how likely all before it is when the stretch that ends there leans so.
    fn ahead(&self) -> Vec<Shares> {
        let mut ahead = vec![[f64::NEG_INFINITY; 4]; self.n_cycles + 1];
        for from in 0..self.n_cycles {
            let begin = self.begin(&ahead, from);
            for (length, scores) in self.scores[from].iter().enumerate() {
                for lean in 0..4 {
                    let to = &mut ahead[from + length + 1][lean];
                    *to = log_sum(*to, begin[lean] + scores[lean]);
                }
            }
        }
        ahead
    }

    /// How likely a stretch of each lean begins at a place, with all before it.
    fn begin(&self, ahead: &[Shares], at: usize) -> Shares {
        if at == 0 {
            return [0.0; 4];
        }
        let into = |lean: usize| {
            let from = (0..4).map(|before| ahead[at][before] - cost(before, lean));
            from.fold(f64::NEG_INFINITY, log_sum)
        };
        [0, 1, 2, 3].map(into)
    }

    /// By place, how likely all after it is when the stretch that ends there leans so.
    fn back(&self) -> Vec<Shares> {
        let mut back = vec![[0.0; 4]; self.n_cycles + 1];
        for at in (0..self.n_cycles).rev() {
            let after = |lean: usize| {
                let rest = self.scores[at].iter().enumerate();
                let of = rest.map(|(length, scores)| scores[lean] + back[at + length + 1][lean]);
                of.fold(f64::NEG_INFINITY, log_sum)
            };
            let after = [0, 1, 2, 3].map(after);
            let from = |before: usize| {
                let ways = (0..4).map(|lean| after[lean] - cost(before, lean));
                ways.fold(f64::NEG_INFINITY, log_sum)
            };
            back[at] = [0, 1, 2, 3].map(from);
        }
        back
    }
}

fn cost(before: usize, after: usize) -> f64 {
    if before == after { SAME } else { CHANGE }
}

/// How often a single cycle is cut against its kind, so that no more can be sure of it alone; of more
/// cycles the less. Set on the program's own phrases and on melodies made by rule.
const AGAINST: f64 = 0.12;

/// The lean of the largest share that is more than half, and how sure it is where so many cycles were
/// heard.
pub(super) fn spoken(shares: &Shares, n_cycles: usize) -> (Lean, f64) {
    let leans = Lean::ALL.iter().zip(shares);
    let best = leans.max_by(|a, b| a.1.total_cmp(b.1));
    match best {
        Some((Lean::Unclear, share)) => (Lean::Unclear, *share),
        // Among what was said; that nothing can be told is no other answer.
        Some((lean, share)) if *share > 0.5 => {
            let among = share / (1.0 - shares[3]).max(*share);
            (*lean, among * (1.0 - AGAINST / real(n_cycles.max(1))))
        }
        _ => (Lean::Unclear, shares[3]),
    }
}

/// From how much of its cycles on a piece leans to one side, and is not unclear (a starting value).
pub(super) const MOST_LEAN: f64 = 0.7;

/// What the whole leans to, from the evidence of its stretches added up and the leans of its cycles.
pub(super) fn whole(stated: &Stated, cycles: &[Shares]) -> Shares {
    let n = real(cycles.len().max(1));
    let share = |lean: usize| cycles.iter().map(|shares| shares[lean]).sum::<f64>() / n;
    let both = share(2);
    // By how much each cycle leans to threes rather than to twos.
    let leans: Vec<f64> = cycles.iter().map(|shares| shares[0] - shares[1]).collect();
    let most: f64 = leans.iter().map(|lean| lean.abs()).sum();
    let mut scores = scores(stated);
    scores[2] = f64::NEG_INFINITY;
    if leans.iter().sum::<f64>().abs() >= MOST_LEAN * n {
        scores[3] = f64::NEG_INFINITY;
    }
    let sides = shares(&scores);
    // In turn is neither one nor the other nor both at once; to be unsure of a cycle is no turn.
    let turns = 1.0 - leans.iter().sum::<f64>().abs() / most.max(1e-9);
    let told = (1.0 - both) * (1.0 - turns);
    let unclear = (1.0 - both) * (turns + (1.0 - turns) * sides[3]);
    [told * sides[0], told * sides[1], both, unclear]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::stream::Part;

    fn stating(odds: f64) -> Stated {
        let mut stated = Stated::default();
        stated.add(Part::High, odds, odds);
        stated
    }

    #[test]
    fn cycles_that_lean_weakly_one_way_do_not_take_turns() {
        let weak = [0.5, 0.3, 0.0, 0.2];
        let [threes, ..] = whole(&stating(6.0), &[weak; 8]);
        assert!(threes > 0.8, "{threes}");
    }

    #[test]
    fn cycles_that_lean_to_neither_side_leave_the_whole_unclear() {
        let even = [0.3, 0.3, 0.25, 0.15];
        assert_eq!(whole(&stating(6.0), &[even; 8]), [0.0, 0.0, 0.25, 0.75]);
        let nothing = whole(&stating(6.0), &[]);
        assert_eq!(nothing, [0.0, 0.0, 0.0, 1.0]);
    }

    #[test]
    fn cycles_that_lean_one_way_and_the_other_leave_the_whole_unclear() {
        let (threes, twos) = ([0.9, 0.05, 0.0, 0.05], [0.05, 0.9, 0.0, 0.05]);
        let all = [[threes; 4], [twos; 4]].concat();
        let [.., unclear] = whole(&stating(6.0), &all);
        assert!(unclear > 0.9, "{unclear}");
    }
}
