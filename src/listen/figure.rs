//! What the figures of a cycle of six say: where notes begin, where harmony changes, what comes
//! again. All of it in nats, above 0 for threes.

use std::ops::Range;

use super::stream::Heard;
use super::units::{held, mean, real};

/// The most that each of the three says on one cycle.
const MOST_RHYTHM: f64 = 3.0;
const MOST_HARMONY: f64 = 1.5;
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
    let [threes, twos] = cut(&[1.0; 6]);
    mean(&sixes(pulses).map(even).collect::<Vec<f64>>()) * (threes / twos).ln()
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
    let harmony = heard.chroma.get(from..from + 6).map_or(0.0, harmony);
    held(rhythm, MOST_RHYTHM)
        + held(harmony, MOST_HARMONY)
        + held(parallel(heard, from), MOST_PARALLEL)
}

fn all(begins: &[f64]) -> f64 {
    begins.iter().product()
}

/// What the places of beginnings say. An even run says nothing, whatever is the more usual.
fn rhythm(begins: &[f64]) -> f64 {
    let [threes, twos] = cut(begins);
    let even = all(begins);
    ((threes + even) / (twos + even)).ln()
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

/// Major and minor triads.
const N_CHORDS: usize = 24;
/// What of the notes that begin a group belong to its chord, and of those between: passing and
/// neighbouring notes fall on weak places (Temperley 2001; Prince and Schmuckler 2014). The shares are
/// those of melodies made by rule.
const IN_CHORD_STRONG: f64 = 0.85;
const IN_CHORD_WEAK: f64 = 0.6;
/// How likely the chord changes within a cycle under threes, and at each of two places under twos.
const CHANGES_THREES: f64 = 0.2;
const CHANGES_TWOS: f64 = 0.12;

/// What the harmony that notes imply says: chords change where groups begin (Dawe, Platt and Racine
/// 1993). A chord for each group, each as likely, by the forward algorithm.
fn harmony(chroma: &[Option<[f64; 12]>]) -> f64 {
    if chroma.iter().flatten().count() < 3 {
        return 0.0;
    }
    let threes = [0.0, 0.0, 0.0, CHANGES_THREES, 0.0, 0.0];
    let twos = [0.0, 0.0, CHANGES_TWOS, 0.0, CHANGES_TWOS, 0.0];
    chords(chroma, &threes) - chords(chroma, &twos)
}

fn chords(chroma: &[Option<[f64; 12]>], changes: &[f64; 6]) -> f64 {
    let each = 1.0 / real(N_CHORDS);
    let mut state = [each; N_CHORDS];
    let mut log = 0.0;
    for (at, (heard, change)) in chroma.iter().zip(changes).enumerate() {
        let begins_group = at == 0 || *change > 0.0;
        let belongs = if begins_group {
            IN_CHORD_STRONG
        } else {
            IN_CHORD_WEAK
        };
        for (chord, p) in state.iter_mut().enumerate() {
            *p = *p * (1.0 - change) + change * each;
            *p *= heard.map_or(1.0, |weights| of_chord(chord, &weights, belongs));
        }
        let sum: f64 = state.iter().sum();
        log += sum.max(1e-300).ln();
        for p in &mut state {
            *p /= sum.max(1e-300);
        }
    }
    log
}

/// How probable pitch classes of these weights are in a chord, to which so many of them belong.
fn of_chord(chord: usize, weights: &[f64; 12], belongs: f64) -> f64 {
    let third = if chord < 12 { 4 } else { 3 };
    let own = [0, third, 7].map(|step| weights[(chord + step) % 12]);
    let inside: f64 = own.iter().sum::<f64>().clamp(0.0, 1.0);
    let (within, without) = (belongs / 3.0, (1.0 - belongs) / 9.0);
    (inside * within.ln() + (1.0 - inside) * without.ln()).exp()
}

/// What repetition says: a figure that comes again three pulses later, or two (Temperley and
/// Bartlette 2002; Hannon and others 2004).
fn parallel(heard: &Heard, from: usize) -> f64 {
    let again = |lag: usize| {
        let pairs = (from..from + 6 - lag).map(|at| alike(heard, at, at + lag));
        mean(&pairs.collect::<Vec<f64>>())
    };
    2.0 * (again(3) - again(2))
}

/// How much two pulses are alike, 0 to 1: in what begins there, and in the step that follows.
fn alike(heard: &Heard, a: usize, b: usize) -> f64 {
    let begins = |at: usize| heard.begins.get(at).copied().unwrap_or(0.0);
    let rhythm = 1.0 - (begins(a) - begins(b)).abs();
    let steps = match (step(heard, a), step(heard, b)) {
        (Some(a), Some(b)) if (a - b).abs() < 0.5 => 1.0,
        (Some(a), Some(b)) if a * b > 0.0 => 0.5,
        (None, None) => 0.5,
        _ => 0.0,
    };
    0.5 * (rhythm + steps)
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
        for threes in ["x.xx.x", "x..x..", "xxxx..", "xxxx.x", "x.xx.."] {
            assert!(said(threes) > 1.0, "{threes}: {}", said(threes));
        }
        for twos in ["x.x.x.", "x...x.", "x.x.xx", "xxx.x.", "x.xxx.", "x..xx."] {
            assert!(said(twos) < -1.0, "{twos}: {}", said(twos));
        }
        for neither in ["xxxxxx", "x....."] {
            assert!(said(neither).abs() < 0.8, "{neither}: {}", said(neither));
        }
    }

    fn notes(classes: [usize; 6]) -> Vec<Option<[f64; 12]>> {
        let one = |class| {
            let mut weights = [0.0; 12];
            weights[class] = 1.0;
            Some(weights)
        };
        classes.map(one).to_vec()
    }

    #[test]
    fn broken_chords_group_as_they_change() {
        // By hand: C E G, D F A; C E, D F, B G.
        assert!(harmony(&notes([0, 4, 7, 2, 5, 9])) > 0.5);
        assert!(harmony(&notes([0, 4, 2, 5, 11, 7])) < 0.0);
        assert!(harmony(&[None; 6]).abs() < 1e-9);
    }
}
