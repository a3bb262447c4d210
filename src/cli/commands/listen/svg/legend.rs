//! What the signs of a picture mean.

use super::pen::{GREY, width_of, write};
use super::shape::{STEPS, TALLEST, shape};
use super::{accent, pen};
use crate::app::STANDS_OUT;
use crate::listen::Lean;
use crate::notate::Xml;

/// Its height, and the room of a sample.
pub(super) const HEIGHT: usize = 3 * ROW + 3 * LINE;
const ROW: usize = TALLEST + 10;
const LINE: usize = 18;
const SAMPLE: usize = 26;
/// Units between a sample with its words and the next.
const GAP: usize = 16;

/// Draws it from `top` on.
pub(super) fn draw(xml: &mut Xml, left: usize, top: usize) {
    leans(xml, left, top + ROW);
    steps(xml, left, top + 2 * ROW);
    accents(xml, left, top + 3 * ROW);
    let lines = [
        &format!("accents: {STANDS_OUT}"),
        "boxes: the lean as a numeral, t in turn within; below, by name, what persons say, ? cannot be said",
        "leans are evidence and no verdict; each cycle is heard together with those about it",
    ];
    for (line, foot) in lines.iter().zip(1..) {
        write(xml, (left, top + 3 * ROW + foot * LINE), GREY, line);
    }
}

/// The most units that it is wide.
pub(super) const WIDTH: usize = 640;

fn leans(xml: &mut Xml, left: usize, foot: usize) {
    let mut x = left;
    for (lean, words) in [
        (Lean::Threes, "3 leans to threes"),
        (Lean::Twos, "2 leans to twos"),
        (Lean::Both, "b leans to both at once"),
        (Lean::Unclear, ". unclear"),
    ] {
        shape(xml, (x, foot), SAMPLE, (lean, 0.95));
        x = said(xml, (x + SAMPLE, foot), words);
    }
}

/// The samples say from how much on each is drawn.
fn steps(xml: &mut Xml, left: usize, foot: usize) {
    let mut x = said(xml, (left, foot), "how sure, in 100:");
    for (nth, (least, ..)) in STEPS.iter().enumerate() {
        let words = match (nth, STEPS.get(nth + 1)) {
            (0, Some((next, ..))) => format!("below {:.0}", 100.0 * next),
            (_, Some((next, ..))) => format!("{:.0} to {:.0}", 100.0 * least, 100.0 * next),
            (_, None) => format!("{:.0} or more", 100.0 * least),
        };
        shape(xml, (x, foot), SAMPLE, (Lean::Twos, *least));
        x = said(xml, (x + SAMPLE, foot), &words);
    }
}

fn accents(xml: &mut Xml, left: usize, foot: usize) {
    let mut x = said(xml, (left, foot), "accents:");
    for (steps, words) in ["none", "heard", "clear", "strong"].iter().enumerate() {
        pen::rect(xml, (x, foot - SAMPLE + 8), (SAMPLE, SAMPLE - 6), "#ffffff");
        accent(xml, (x, foot - SAMPLE + 8), (SAMPLE, SAMPLE - 6), steps);
        x = said(xml, (x + SAMPLE, foot), words);
    }
}

/// Words beside a sample; where the next one begins.
fn said(xml: &mut Xml, (x, foot): (usize, usize), words: &str) -> usize {
    write(xml, (x + 4, foot - 4), GREY, words);
    x + 4 + width_of(words) + GAP / 2
}
