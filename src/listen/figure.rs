//! What the figures of a cycle of six say: where notes begin, and which steps come again. All of it in nats, above 0
//! for threes.

use std::ops::Range;

use super::stream::Heard;
use super::units::{held, mean};

/// The most that either says on one cycle.
const MOST_RHYTHM: f64 = 3.0;
const MOST_PARALLEL: f64 = 1.0;

/// How often a group of three is cut so, by where notes begin in it (first pulse first): long notes
/// begin on the group, a note between is rather the last than the middle one. Common practice of
/// writing in such metres, in round figures, no source; the order of the sizes is that of Povel and
/// Essens (1985) and of Temperley (2007), whose weak places take notes when their strong neighbours
/// do.
const OF_THREE: [([bool; 3], f64); 8] = [
    ([true, true, true], 0.42),
    ([true, false, true], 0.28),
    ([true, false, false], 0.20),
    ([true, true, false], 0.04),
    ([false, false, false], 0.04),
    ([false, false, true], 0.01),
    ([false, true, true], 0.005),
    ([false, true, false], 0.005),
];
/// The same for a group of two that begins the cycle, and for the two others.
const OF_TWO_FIRST: [([bool; 2], f64); 4] = [
    ([true, false], 0.55),
    ([true, true], 0.40),
    ([false, true], 0.02),
    ([false, false], 0.03),
];
const OF_TWO_MIDDLE: [([bool; 2], f64); 4] = [
    ([true, false], 0.48),
    ([true, true], 0.26),
    ([false, true], 0.15),
    ([false, false], 0.11),
];
const OF_TWO_LAST: [([bool; 2], f64); 4] = [
    ([true, false], 0.60),
    ([true, true], 0.26),
    ([false, true], 0.03),
    ([false, false], 0.11),
];

/// What six pulses say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Figure {
    /// On which of them something begins, the first in the lowest bit.
    pub(super) begins: u8,
    /// In nats, above 0 for threes.
    pub(super) says: f64,
}

/// The figures of one cycle: of each six pulses in it that are all there and on which something begins.
pub(super) fn figures(heard: &Heard, pulses: Range<usize>) -> impl Iterator<Item = Figure> {
    let figure = |from: usize| Figure {
        begins: (0..6)
            .filter(|at| heard.begins.get(from + at).is_some_and(|p| *p > 0.5))
            .fold(0, |bits, at| bits | 1 << at),
        says: six(heard, from),
    };
    sixes(pulses)
        .map(figure)
        .filter(|figure| figure.begins != 0)
}

/// What the even runs of a cycle, a note on every pulse, say by how common they are in either: the
/// mean of its sixes. Of a recording that fits either this is no evidence.
pub(super) fn evenness(heard: &Heard, pulses: Range<usize>) -> f64 {
    let even = |from: usize| heard.begins.get(from..from + 6).map_or(0.0, all);
    mean(&sixes(pulses).map(even).collect::<Vec<f64>>()) * usual(&[1.0; 6])
}

/// The same of other figures that fit either.
pub(super) fn fitting(heard: &Heard, pulses: Range<usize>) -> f64 {
    let says = |from: usize| match heard.begins.get(from..from + 6) {
        Some(begins) if fits_either(begins) => (1.0 - all(begins)) * usual(begins),
        _ => 0.0,
    };
    mean(&sixes(pulses).map(says).collect::<Vec<f64>>())
}

/// By how much a figure is the more usual in threes, as a logarithm.
fn usual(begins: &[f64]) -> f64 {
    let [threes, twos] = cut(begins);
    (threes / twos).ln()
}

/// How often a cycle is cut against its kind, by any of all figures alike.
const AGAINST: f64 = 0.1;

/// How likely threes and twos make the beginnings of a cycle, as logarithms: to compare where cycles
/// may begin. An even run says nothing.
pub(super) fn placed(heard: &Heard, pulses: Range<usize>) -> [f64; 2] {
    let mut logs = [0.0; 2];
    for from in sixes(pulses) {
        let Some(begins) = heard.begins.get(from..from + 6) else {
            continue;
        };
        let even = all(begins);
        for (log, likely) in logs.iter_mut().zip(cut(begins)) {
            *log += (even + (1.0 - AGAINST) * likely + AGAINST / 64.0).ln();
        }
    }
    logs
}

fn sixes(pulses: Range<usize>) -> impl Iterator<Item = usize> {
    let end = pulses.end;
    pulses.step_by(6).filter(move |from| from + 6 <= end)
}

fn six(heard: &Heard, from: usize) -> f64 {
    let rhythm = heard.begins.get(from..from + 6).map_or(0.0, rhythm);
    held(rhythm, MOST_RHYTHM) + held(parallel(heard, from), MOST_PARALLEL)
}

fn all(begins: &[f64]) -> f64 {
    begins.iter().product()
}

/// What the places of beginnings say. A figure that fits either says nothing, whatever is the more usual.
fn rhythm(begins: &[f64]) -> f64 {
    if fits_either(begins) {
        return 0.0;
    }
    let [threes, twos] = cut(begins);
    let even = all(begins);
    ((threes + even) / (twos + even)).ln()
}

/// Whether what begins a group of threes lasts as long as what begins a group of twos: a note that lasts marks where it
/// begins (Longuet-Higgins and Lee 1984; Povel and Essens 1985).
fn fits_either(begins: &[f64]) -> bool {
    lasts(begins, 3) == lasts(begins, 2).max(lasts(begins, 4))
}

/// For how many pulses nothing begins after what begins on one, with that one; none where nothing does.
fn lasts(begins: &[f64], at: usize) -> usize {
    let is_one = |pulse: &usize| begins[*pulse] > 0.5;
    let next = (at + 1..begins.len()).find(is_one);
    match is_one(&at) {
        true => next.unwrap_or(begins.len()) - at,
        false => 0,
    }
}

/// How probable the beginnings of six pulses are in threes, and in twos.
fn cut(begins: &[f64]) -> [f64; 2] {
    let threes = likely(begins, 0, &OF_THREE) * likely(begins, 3, &OF_THREE);
    let twos = likely(begins, 0, &OF_TWO_FIRST)
        * likely(begins, 2, &OF_TWO_MIDDLE)
        * likely(begins, 4, &OF_TWO_LAST);
    [threes, twos]
}

/// How probable a group is, when each beginning is only likely.
fn likely<const N: usize>(begins: &[f64], from: usize, table: &[([bool; N], f64)]) -> f64 {
    let seen = |cut: &[bool; N]| -> f64 {
        let cut = cut.iter().zip(&begins[from..]);
        cut.map(|(begins, p)| if *begins { *p } else { 1.0 - p })
            .product()
    };
    table
        .iter()
        .map(|(cut, share)| share * seen(cut))
        .sum::<f64>()
        + 1e-6
}

/// What repetition says: steps that come again three pulses later, or two (Temperley and Bartlette 2002; Hannon and
/// others 2004).
fn parallel(heard: &Heard, from: usize) -> f64 {
    let again = |lag: usize| {
        let pairs = (from..from + 6 - lag).map(|at| alike(heard, at, at + lag));
        mean(&pairs.collect::<Vec<f64>>())
    };
    again(3) - again(2)
}

/// How much the steps after two pulses are alike, 0 to 1.
fn alike(heard: &Heard, a: usize, b: usize) -> f64 {
    match (step(heard, a), step(heard, b)) {
        (Some(a), Some(b)) if (a - b).abs() < 0.5 => 1.0,
        (Some(a), Some(b)) if a * b > 0.0 => 0.5,
        (None, None) => 0.5,
        _ => 0.0,
    }
}

fn step(heard: &Heard, at: usize) -> Option<f64> {
    let lead = |at: usize| heard.lead.get(at).copied().flatten();
    Some(lead(at + 1)? - lead(at)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A letter is a beginning, a dot none.
    fn said(figure: &str) -> f64 {
        let begins = |c| if c == 'x' { 1.0 } else { 0.0 };
        rhythm(&figure.chars().map(begins).collect::<Vec<f64>>())
    }

    #[test]
    fn figures_that_every_reader_bars_alike() {
        // Common practice of notation: what lies across a group's beginning belongs to the other.
        for threes in ["x.xx.x", "x..x..", "xxxx..", "xxxx.x", "x.xx..", "x..x.x"] {
            assert!(said(threes) > 1.0, "{threes}: {}", said(threes));
        }
        for twos in ["x.x.x.", "x...x.", "x.x.xx", "xxx.x.", "x.xxx.", "x..xx."] {
            assert!(said(twos) < -1.0, "{twos}: {}", said(twos));
        }
        for neither in ["xxxxxx", "x.....", "x.xxxx", "x..xxx", "xx.xxx"] {
            assert_eq!(said(neither), 0.0, "{neither}");
        }
    }
}
