//! What was heard as a picture: a strip of cycles, each with its numeral, taller and darker the surer.

use super::Listened;
use crate::listen::{CycleSaid, Lean, clock};
use crate::notate::{Attribute, Xml};

/// Sizes in units of the picture.
const CELL: usize = 16;
const A_ROW: usize = 60;
const ROW: usize = 44;
const HEAD: usize = 40;
const MARGIN: usize = 20;

/// What every picture is called, by which it is known again.
const TITLE: &str = "To what each cycle leans";

/// Whether a file with this beginning is such a picture.
pub(super) fn begins(head: &[u8]) -> bool {
    let head = String::from_utf8_lossy(head);
    head.starts_with("<?xml") && head.contains("<svg ") && head.contains(TITLE)
}

/// One picture of all files, a strip each.
pub(super) fn strips(all: &[Listened]) -> String {
    let height = |listened: &Listened| HEAD + ROW * n_rows(listened);
    let total = 2 * MARGIN + all.iter().map(height).sum::<usize>();
    let width = 2 * MARGIN + A_ROW * CELL;
    let view = format!("0 0 {width} {total}");
    let mut xml = Xml::new();
    let attributes = [
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("viewBox", view.as_str()),
        ("font-family", "sans-serif"),
        ("font-size", "12"),
    ];
    xml.within("svg", &attributes, |xml| {
        xml.text("title", &[], TITLE);
        let ground = [("width", "100%"), ("height", "100%"), ("fill", "#ffffff")];
        xml.empty("rect", &ground);
        let mut top = MARGIN;
        for listened in all {
            strip(xml, listened, top);
            top += height(listened);
        }
    });
    xml.finish()
}

fn n_rows(listened: &Listened) -> usize {
    listened.analysis.cycles.len().div_ceil(A_ROW).max(1)
}

fn strip(xml: &mut Xml, listened: &Listened, top: usize) {
    let whole = &listened.analysis.whole;
    let head = format!("{}: the whole, {}", listened.name, whole.words());
    write(xml, MARGIN, top + 12, "#000000", &head);
    let key =
        "3 leans to threes, 2 to twos, b to both, . unclear; the taller and darker, the surer";
    write(xml, MARGIN, top + 28, "#444444", key);
    for (row, cycles) in listened.analysis.cycles.chunks(A_ROW).enumerate() {
        let top = top + HEAD + ROW * row;
        write(xml, MARGIN, top + 8, "#444444", &clock(cycles[0].start));
        for (at, cycle) in cycles.iter().enumerate() {
            cell(xml, cycle, MARGIN + CELL * at, top + ROW - 6);
        }
    }
}

/// A cell that stands on `foot`: a bar as high as it is sure, and the numeral in front.
fn cell(xml: &mut Xml, cycle: &CycleSaid, left: usize, foot: usize) {
    let steps = match cycle.said.lean {
        Lean::Unclear => 0,
        _ => [0.5, 0.7, 0.8, 0.9, 0.97]
            .iter()
            .filter(|at| cycle.said.sure >= **at)
            .count(),
    };
    let height = 4 + 4 * steps;
    let (fill, ink) = [
        ("#ffffff", "#000000"),
        ("#e4e4e4", "#000000"),
        ("#c8c8c8", "#000000"),
        ("#a8a8a8", "#000000"),
        ("#505050", "#ffffff"),
        ("#202020", "#ffffff"),
    ][steps];
    let number = |n: usize| n.to_string();
    let (x, y, width, height) = (
        number(left),
        number(foot - height),
        number(CELL - 1),
        number(height),
    );
    let bar: [Attribute<'_>; 6] = [
        ("x", &x),
        ("y", &y),
        ("width", &width),
        ("height", &height),
        ("fill", fill),
        ("stroke", "#888888"),
    ];
    xml.empty("rect", &bar);
    let ink = if steps >= 2 { ink } else { "#000000" };
    write(
        xml,
        left + 4,
        foot - 2,
        ink,
        &cycle.said.lean.mark().to_string(),
    );
}

fn write(xml: &mut Xml, x: usize, y: usize, fill: &str, text: &str) {
    let (x, y) = (x.to_string(), y.to_string());
    xml.text("text", &[("x", &x), ("y", &y), ("fill", fill)], text);
}
