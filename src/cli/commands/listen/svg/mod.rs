//! What was heard as a picture: a strip of cycles under the time, where sections begin and what persons
//! say under it, the accents of one cycle as a grid, and what the signs mean.
//!
//! Read [`strips`] first. Sizes are units of the picture, which is as wide as its cycles need.

mod legend;
mod pen;
mod shape;

use std::ops::Range;

use super::Listened;
use super::kept::who;
use crate::listen::{Part, accent_steps, clock};
use crate::notate::Xml;
use pen::{Align, GREY, INK, width_of, words, write};
use shape::{TALLEST, shape};

/// Cycles in a row.
const A_ROW: usize = 40;
/// What a row of cycles takes at most, and one cycle at least and at most.
const WIDEST: usize = 960;
const CELL: Range<usize> = 24..49;
const MARGIN: usize = 20;
/// Room before the first cycle, for names.
const NAME: usize = 110;
/// Letters of a name that find room there.
const NAME_LETTERS: usize = 15;
/// Heights: of the words above a strip, of the times over a row, of a box or a line under it, and of
/// the room between rows.
const HEAD: usize = 52;
const TIMES: usize = 18;
const BOX: usize = 18;
const GAP: usize = 14;
/// A pulse in the grid, where there are few and where there are many.
const PULSE: [usize; 2] = [36, 24];

/// What every picture is called, by which it is known again.
const TITLE: &str = "To what each cycle leans";

/// Whether a file with this beginning is such a picture.
pub(super) fn begins(head: &[u8]) -> bool {
    let head = String::from_utf8_lossy(head);
    head.starts_with("<?xml") && head.contains("<svg ") && head.contains(TITLE)
}

/// One picture of all files, a strip each.
pub(super) fn strips(all: &[Listened]) -> String {
    let heights = all.iter().map(height).sum::<usize>();
    let height = 2 * MARGIN + heights + legend::HEIGHT;
    let widths = all.iter().map(width).chain([legend::WIDTH]);
    let width = 2 * MARGIN + widths.max().unwrap_or(0);
    let view = format!("0 0 {width} {height}");
    let (wide, high) = (width.to_string(), height.to_string());
    let mut xml = Xml::new();
    let attributes = [
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("viewBox", view.as_str()),
        ("width", &wide),
        ("height", &high),
        ("font-family", "sans-serif"),
        ("font-size", "12"),
    ];
    xml.within("svg", &attributes, |xml| {
        xml.text("title", &[], TITLE);
        let ground = [("width", "100%"), ("height", "100%"), ("fill", "#ffffff")];
        xml.empty("rect", &ground);
        let mut top = MARGIN;
        for listened in all {
            top = piece(xml, listened, top);
        }
        legend::draw(xml, MARGIN, top);
    });
    xml.finish()
}

/// How wide one cycle is: a short piece has wider ones.
fn cell_of(listened: &Listened) -> usize {
    let n = listened.analysis.cycles.len().clamp(1, A_ROW);
    (WIDEST / n).clamp(CELL.start, CELL.end - 1)
}

fn pulse_of(listened: &Listened) -> usize {
    PULSE[usize::from(listened.analysis.cycle.n_pulses() > 24)]
}

/// How wide a file's part of the picture is.
fn width(listened: &Listened) -> usize {
    let n = listened.analysis.cycles.len().min(A_ROW);
    let strip = NAME + n * cell_of(listened);
    let grid = match listened.shown {
        Some(at) => {
            let pulses = listened.analysis.cycle.n_pulses() * pulse_of(listened);
            (NAME + pulses).max(width_of(&listened.of_shown(at)))
        }
        None => 0,
    };
    let head = width_of(&head(listened)).max(width_of(&whole(listened)));
    strip.max(grid).max(head).max(width_of(&listened.name))
}

fn height(listened: &Listened) -> usize {
    let n = listened.analysis.cycles.len();
    let rows = rows(n).map(|cycles| row_height(listened, cycles));
    HEAD + rows.sum::<usize>() + grid_height(listened)
}

/// The cycles of each row, as many in each as go in.
fn rows(n: usize) -> impl Iterator<Item = Range<usize>> {
    let from = (0..n).step_by(A_ROW);
    from.map(move |from| from..(from + A_ROW).min(n))
}

fn row_height(listened: &Listened, cycles: Range<usize>) -> usize {
    TIMES + TALLEST + BOX * (1 + under(listened, cycles).len()) + GAP
}

fn grid_height(listened: &Listened) -> usize {
    match listened.shown {
        Some(_) => GAP + BOX * (1 + Part::ALL.len()) + GAP,
        None => GAP,
    }
}

/// As over lines of text, where it is set apart by room.
fn head(listened: &Listened) -> String {
    listened.head().replace("   ", ", ")
}

fn whole(listened: &Listened) -> String {
    let whole = listened.analysis.whole_words();
    format!("the whole: {whole}")
}

/// Draws a file from `top` on; where the next one begins.
fn piece(xml: &mut Xml, listened: &Listened, top: usize) -> usize {
    write(xml, (MARGIN, top + 12), INK, &listened.name);
    write(xml, (MARGIN, top + 28), GREY, &head(listened));
    write(xml, (MARGIN, top + 44), GREY, &whole(listened));
    let mut at = top + HEAD;
    for cycles in rows(listened.analysis.cycles.len()) {
        row(xml, listened, cycles.clone(), at);
        at += row_height(listened, cycles);
    }
    if let Some(shown) = listened.shown {
        grid(xml, listened, shown, at + GAP);
    }
    at + grid_height(listened)
}

/// What stands under a row of cycles: a name, and a sign for each.
type Line = (String, Vec<Option<String>>);

/// Sections, then what each person says; what says nothing of any of these cycles is left out.
fn under(listened: &Listened, cycles: Range<usize>) -> Vec<Line> {
    let begins = listened.sections();
    let section = |cycle| {
        let nth = begins.iter().position(|begin| *begin == cycle)?;
        Some((nth + 1).to_string())
    };
    let sections = ("section".to_owned(), cycles.clone().map(section).collect());
    let persons = listened.marks.iter().map(|(by, marks)| {
        let sign = |cycle| listened.sign(marks, cycle).map(String::from);
        let name = match who(by).char_indices().nth(NAME_LETTERS) {
            Some((at, _)) => format!("{}…", &who(by)[..at]),
            None => who(by).to_owned(),
        };
        (name, cycles.clone().map(sign).collect())
    });
    let lines = [sections].into_iter().chain(persons);
    lines
        .filter(|(_, signs): &Line| signs.iter().any(Option::is_some))
        .collect()
}

fn row(xml: &mut Xml, listened: &Listened, cycles: Range<usize>, top: usize) {
    let (cell, foot) = (cell_of(listened), top + TIMES + TALLEST);
    let left = |nth: usize| MARGIN + NAME + nth * cell;
    times(xml, listened, cycles.clone(), top);
    let first = cycles.start + 1;
    write(xml, (MARGIN, foot - 4), GREY, &format!("cycle {first} on"));
    write(xml, (MARGIN, foot + 13), GREY, "leans to");
    for (nth, cycle) in listened.analysis.cycles[cycles.clone()].iter().enumerate() {
        let said = &cycle.said;
        shape(xml, (left(nth), foot), cell, (said.lean, said.sure));
        boxed(xml, (left(nth), foot), cell, &said.mark().to_string());
    }
    for (line, (name, signs)) in under(listened, cycles).iter().enumerate() {
        let top = foot + BOX * (line + 1);
        write(xml, (MARGIN, top + 13), GREY, name);
        for (nth, sign) in signs.iter().enumerate() {
            if let Some(sign) = sign {
                boxed(xml, (left(nth), top), cell, sign);
            }
        }
    }
}

/// A sign in the middle of its box.
fn boxed(xml: &mut Xml, (left, top): (usize, usize), width: usize, sign: &str) {
    pen::rect(xml, (left, top), (width, BOX), "#ffffff");
    let middle = (left + width / 2, top + 13);
    words(xml, middle, (INK, Align::Middle), sign);
}

/// When cycles begin, over as many of them as there is room for.
fn times(xml: &mut Xml, listened: &Listened, cycles: Range<usize>, top: usize) {
    let cell = cell_of(listened);
    let every = 56_usize.div_ceil(cell);
    for (nth, cycle) in listened.analysis.cycles[cycles].iter().enumerate() {
        if nth % every == 0 {
            let left = MARGIN + NAME + nth * cell;
            pen::line(xml, (left, top), (left, top + TIMES - 4));
            write(xml, (left + 3, top + 10), GREY, &clock(cycle.start));
        }
    }
}

/// How strongly each part strikes on each pulse of one cycle.
fn grid(xml: &mut Xml, listened: &Listened, shown: usize, top: usize) {
    let analysis = &listened.analysis;
    let (cycle, pulse) = (analysis.cycle, pulse_of(listened));
    let left = |nth: usize| MARGIN + NAME + nth * pulse;
    write(xml, (MARGIN, top), INK, &listened.of_shown(shown));
    let Some(accents) = analysis.accents(shown) else {
        return;
    };
    write(xml, (MARGIN, top + BOX), GREY, "count");
    for (nth, at) in cycle.pulses().enumerate() {
        let middle = (left(nth) + pulse / 2, top + BOX);
        let name = listened.counting.name(cycle, at);
        words(xml, middle, (GREY, Align::Middle), &name);
    }
    for (idx, part) in Part::ALL.iter().enumerate() {
        let top = top + BOX * (idx + 1) + 5;
        write(xml, (MARGIN, top + 13), GREY, part.name());
        for (nth, strengths) in accents.iter().enumerate() {
            pen::rect(xml, (left(nth), top), (pulse, BOX), "#ffffff");
            accent(
                xml,
                (left(nth), top),
                (pulse, BOX),
                accent_steps(strengths[idx]),
            );
        }
    }
}

/// An accent in its box: the stronger, the more of it is filled, and the darker.
fn accent(
    xml: &mut Xml,
    (left, top): (usize, usize),
    (width, height): (usize, usize),
    steps: usize,
) {
    let Some((share, fill)) =
        [(3, "#b0b0b0"), (2, "#686868"), (1, "#202020")].get(steps.wrapping_sub(1))
    else {
        return;
    };
    let (across, down) = (share * width / 8, share * height / 8);
    let at = (left + across, top + down);
    pen::rect(xml, at, (width - 2 * across, height - 2 * down), fill);
}
