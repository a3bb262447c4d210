//! Strokes and letters of a page, in millimetres.

use super::grid::Mark;
use crate::notate::xml::Xml;

/// A page under way.
pub(super) struct Canvas<'x> {
    pub(super) xml: &'x mut Xml,
}

impl Canvas<'_> {
    /// A rectangle in a stroke and a fill.
    pub(super) fn rect(&mut self, x: f64, y: f64, size: (f64, f64), colours: (&str, &str)) {
        let attributes = [
            ("x", &*mm(x)),
            ("y", &mm(y)),
            ("width", &mm(size.0)),
            ("height", &mm(size.1)),
            ("stroke", colours.0),
            ("fill", colours.1),
            ("stroke-width", "0.2"),
        ];
        self.xml.empty("rect", &attributes);
    }

    /// A cross in a square of side `size`.
    pub(super) fn cross(&mut self, x: f64, y: f64, size: f64) {
        let (right, low) = (x + size, y + size);
        for (from, to) in [((x, y), (right, low)), ((x, low), (right, y))] {
            let attributes = [
                ("x1", &*mm(from.0)),
                ("y1", &mm(from.1)),
                ("x2", &mm(to.0)),
                ("y2", &mm(to.1)),
                ("stroke", "black"),
                ("stroke-width", "0.5"),
            ];
            self.xml.empty("line", &attributes);
        }
    }

    /// A text that begins at `x`, its foot at `y`; `font` is size and weight.
    pub(super) fn text(&mut self, x: f64, y: f64, font: (f64, &str), text: &str) {
        let attributes = [
            ("x", &*mm(x)),
            ("y", &mm(y)),
            ("font-size", &mm(font.0)),
            ("font-weight", font.1),
        ];
        self.xml.text("text", &attributes, text);
    }

    /// A text with its middle at `x`.
    pub(super) fn middle(&mut self, x: f64, y: f64, size: f64, text: &str) {
        let attributes = [
            ("x", &*mm(x)),
            ("y", &mm(y)),
            ("font-size", &mm(size)),
            ("text-anchor", "middle"),
        ];
        self.xml.text("text", &attributes, text);
    }

    /// A mark around `centre`.
    pub(super) fn mark(&mut self, centre: (f64, f64), mark: Mark) {
        match mark {
            Mark::Silent => {}
            Mark::Stroke => self.circle(centre, 0.6, ("none", "black")),
            Mark::First => self.circle(centre, 1.6, ("none", "black")),
            Mark::Other => self.circle(centre, 1.6, ("black", "none")),
            Mark::Always => {
                self.circle(centre, 1.3, ("none", "black"));
                self.circle(centre, 2.2, ("black", "none"));
            }
        }
    }

    fn circle(&mut self, centre: (f64, f64), radius: f64, colours: (&str, &str)) {
        let attributes = [
            ("cx", &*mm(centre.0)),
            ("cy", &mm(centre.1)),
            ("r", &mm(radius)),
            ("stroke", colours.0),
            ("fill", colours.1),
            ("stroke-width", "0.4"),
        ];
        self.xml.empty("circle", &attributes);
    }
}

/// Hundredths of a millimetre are finer than any printer.
fn mm(length: f64) -> String {
    format!("{length:.2}")
}
