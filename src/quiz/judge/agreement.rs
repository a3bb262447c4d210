//! How well one row of times agrees with another, whatever it agrees with: scores that the field uses
//! for beats that were tapped or found. Times are seconds, in order.
//!
//! The judge itself needs to know what was clapped and where it was left; these scores need to know
//! neither, so they stand beside it as a referee.

/// Scores of times against a reference, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// Harmonic mean of the shares of times that lie within 70 ms of a reference of their own, and of
    /// references that are met so (Dixon 2007).
    pub f_measure: f64,
    /// The longest stretch without a miss as a share of all, at the reference's own rate and place.
    pub longest: f64,
    /// The share of all that is right, at the reference's own rate and place.
    pub total: f64,
    /// The best longest stretch, also at double and half the rate and half-way between.
    pub longest_any: f64,
    /// The best total, also at double and half the rate and half-way between.
    pub total_any: f64,
    /// How far errors are from lying anywhere (Davies, Degara and Plumbley 2011).
    pub information_gain: f64,
}

/// Seconds within which a time meets a reference.
const WINDOW: f64 = 0.07;
/// A time continues where it and its gap lie within this share of the reference's gap (Hainsworth
/// 2004; Klapuri, Eronen and Astola 2006).
const CONTINUES: f64 = 0.175;
/// Bins of the errors.
const BINS: u8 = 41;

impl Agreement {
    /// Of `times` against a `reference`; `None` where either has fewer than two.
    pub fn of(reference: &[f64], times: &[f64]) -> Option<Self> {
        if reference.len() < 2 || times.len() < 2 {
            return None;
        }
        let (longest, total) = continuity(reference, times);
        let others = others(reference);
        let others = others.iter().map(|other| continuity(other, times));
        let (longest_any, total_any) = others.fold((longest, total), |best, found| {
            (f64::max(best.0, found.0), f64::max(best.1, found.1))
        });
        Some(Self {
            f_measure: f_measure(reference, times),
            longest,
            total,
            longest_any,
            total_any,
            information_gain: information_gain(reference, times),
        })
    }
}

/// Each meets one at most; in rows that are in order, the earliest free one is the best.
fn f_measure(reference: &[f64], times: &[f64]) -> f64 {
    let (mut met, mut from) = (0.0, 0);
    for wanted in reference {
        let rest = times.get(from..).unwrap_or_default();
        let early = rest
            .iter()
            .take_while(|time| **time < wanted - WINDOW)
            .count();
        from += early;
        if times.get(from).is_some_and(|time| *time <= wanted + WINDOW) {
            met += 1.0;
            from += 1;
        }
    }
    2.0 * met / (n_of(reference) + n_of(times))
}

/// The same pulse read otherwise: half-way between, twice as fast, and every second of it.
fn others(reference: &[f64]) -> [Vec<f64>; 4] {
    let between = |pair: &[f64]| 0.5 * (pair[0] + pair[1]);
    let between: Vec<f64> = reference.windows(2).map(between).collect();
    let mut double: Vec<f64> = reference.iter().chain(&between).copied().collect();
    double.sort_by(f64::total_cmp);
    let second = |from: usize| reference.iter().skip(from).step_by(2).copied().collect();
    [between, double, second(0), second(1)]
}

/// The longest stretch and the share of all that continue.
fn continuity(reference: &[f64], times: &[f64]) -> (f64, f64) {
    let n = f64::max(n_of(reference), n_of(times));
    let mut used = vec![false; reference.len()];
    let (mut run, mut longest, mut total) = (0.0, 0.0, 0.0);
    for idx in 0..times.len() {
        let near = nearest(reference, times[idx]);
        let continues = !used[near] && continues(reference, times, near, idx);
        used[near] |= continues;
        run = if continues { run + 1.0 } else { 0.0 };
        longest = f64::max(longest, run);
        total += f64::from(u8::from(continues));
    }
    (longest / n, total / n)
}

/// Whether a time lies near its reference, and the gap before it is as long. The first of either row
/// has none before it and looks to the next.
fn continues(reference: &[f64], times: &[f64], near: usize, idx: usize) -> bool {
    let (from, to) = if idx == 0 || near == 0 {
        ((near, idx), (near + 1, idx + 1))
    } else {
        ((near - 1, idx - 1), (near, idx))
    };
    let gap = |row: &[f64], from: usize, to: usize| Some(row.get(to)? - row.get(from)?);
    let Some((wanted, found)) = gap(reference, from.0, to.0).zip(gap(times, from.1, to.1)) else {
        return false;
    };
    let off = (times[idx] - reference[near]).abs() / wanted;
    off < CONTINUES && (1.0 - found / wanted).abs() < CONTINUES
}

fn nearest(row: &[f64], time: f64) -> usize {
    let off = |idx: &usize| (row[*idx] - time).abs();
    let nearest = (0..row.len()).min_by(|a, b| off(a).total_cmp(&off(b)));
    nearest.expect("a row of two at least")
}

/// One less the entropy of the errors, of either row against the other, as a share of what it is where
/// they lie anywhere.
fn information_gain(reference: &[f64], times: &[f64]) -> f64 {
    let most = f64::max(entropy(reference, times), entropy(times, reference));
    1.0 - most / f64::from(BINS).log2()
}

/// The entropy in bits of the places of `times` within the gaps of a row.
fn entropy(row: &[f64], times: &[f64]) -> f64 {
    let bins = f64::from(BINS);
    let mut counts = vec![0.0; usize::from(BINS)];
    for time in times {
        let near = nearest(row, *time);
        let off = time - row[near];
        // The gap on the side of the error; at either end that of the other side.
        let (from, to) = match (off < 0.0, near) {
            (true, 0) => (0, 1),
            (true, _) => (near - 1, near),
            (false, _) if near + 1 == row.len() => (near - 1, near),
            (false, _) => (near, near + 1),
        };
        let share = (off / (row[to] - row[from]) + 0.5).rem_euclid(1.0);
        let bin = (bins * share).min(bins - 1.0);
        counts[whole(bin)] += 1.0;
    }
    let shares = counts.iter().map(|count| count / n_of(times));
    shares
        .filter(|p| *p > 0.0)
        .fold(0.0, |sum, p| sum - p * p.log2())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "one of a few bins"
)]
fn whole(bin: f64) -> usize {
    bin as usize
}

fn n_of(row: &[f64]) -> f64 {
    row.iter().fold(0.0, |n, _| n + 1.0)
}
