//! How a cycle is drawn: its lean is a shape, how sure it is its height and shade.

use super::pen;
use crate::listen::Lean;
use crate::notate::Xml;

/// The height of the surest shape.
pub(super) const TALLEST: usize = 34;
/// The height and the shade of each step of sureness, and from how much on it is drawn.
pub(super) const STEPS: [(f64, usize, &str); 5] = [
    (0.0, 10, "#e4e4e4"),
    (0.7, 16, "#c8c8c8"),
    (0.8, 22, "#a0a0a0"),
    (0.9, 28, "#606060"),
    (0.97, TALLEST, "#202020"),
];

/// A shape that stands on `foot` with so much room from `left` on: three corners for threes, a bar for
/// twos, six corners for both, a flat line where it is unclear.
pub(super) fn shape(
    xml: &mut Xml,
    (left, foot): (usize, usize),
    width: usize,
    (lean, sure): (Lean, f64),
) {
    let steps = STEPS.iter().rev();
    let step = steps.clone().find(|(least, ..)| sure >= *least);
    let (_, height, shade) = *step.unwrap_or(&STEPS[0]);
    let (left, right) = (left + 2, left + width - 2);
    let (middle, top) = (left.midpoint(right), foot - height);
    let waist = foot - height / 2;
    match lean {
        Lean::Threes => pen::polygon(xml, &[(left, foot), (middle, top), (right, foot)], shade),
        Lean::Twos => {
            let inset = (right - left) / 5;
            let size = (right - left - 2 * inset, height);
            pen::rect(xml, (left + inset, top), size, shade);
        }
        Lean::Both => {
            let inset = (right - left) / 4;
            let corners = [
                (left + inset, foot),
                (left, waist),
                (left + inset, top),
                (right - inset, top),
                (right, waist),
                (right - inset, foot),
            ];
            pen::polygon(xml, &corners, shade);
        }
        Lean::Unclear => pen::line(xml, (left, foot - 1), (right, foot - 1)),
    }
}
