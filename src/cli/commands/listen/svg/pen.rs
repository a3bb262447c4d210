//! Shapes and words at places of a picture, in its units.

use crate::notate::{Attribute, Xml};

/// Ink of what matters, of what stands beside it, and of lines.
pub(super) const INK: &str = "#000000";
pub(super) const GREY: &str = "#444444";
pub(super) const LINE: &str = "#888888";
/// Units that a letter takes at most, of the words here on the mean.
const LETTER: usize = 7;

/// Where words stand to their place.
#[derive(Clone, Copy)]
pub(super) enum Align {
    Begin,
    Middle,
}

/// How wide words are at most.
pub(super) fn width_of(text: &str) -> usize {
    LETTER * text.chars().count()
}

pub(super) fn write(xml: &mut Xml, (x, y): (usize, usize), fill: &str, text: &str) {
    words(xml, (x, y), (fill, Align::Begin), text);
}

pub(super) fn words(
    xml: &mut Xml,
    (x, y): (usize, usize),
    (fill, align): (&str, Align),
    text: &str,
) {
    let (x, y) = (x.to_string(), y.to_string());
    let mut attributes: Vec<Attribute<'_>> = vec![("x", &x), ("y", &y), ("fill", fill)];
    if let Align::Middle = align {
        attributes.push(("text-anchor", "middle"));
    }
    xml.text("text", &attributes, text);
}

/// A box from its upper left corner.
pub(super) fn rect(xml: &mut Xml, at: (usize, usize), size: (usize, usize), fill: &str) {
    let [x, y, width, height] = [at.0, at.1, size.0, size.1].map(|n| n.to_string());
    let attributes = [
        ("x", x.as_str()),
        ("y", &y),
        ("width", &width),
        ("height", &height),
        ("fill", fill),
        ("stroke", LINE),
    ];
    xml.empty("rect", &attributes);
}

pub(super) fn polygon(xml: &mut Xml, corners: &[(usize, usize)], fill: &str) {
    let corners: Vec<String> = corners.iter().map(|(x, y)| format!("{x},{y}")).collect();
    let attributes = [
        ("points", corners.join(" ")),
        ("fill", fill.to_owned()),
        ("stroke", LINE.to_owned()),
    ];
    let attributes = attributes
        .each_ref()
        .map(|(name, value)| (*name, value.as_str()));
    xml.empty("polygon", &attributes);
}

pub(super) fn line(xml: &mut Xml, from: (usize, usize), to: (usize, usize)) {
    let [x1, y1, x2, y2] = [from.0, from.1, to.0, to.1].map(|n| n.to_string());
    let attributes = [
        ("x1", x1.as_str()),
        ("y1", &y1),
        ("x2", &x2),
        ("y2", &y2),
        ("stroke", LINE),
    ];
    xml.empty("line", &attributes);
}
