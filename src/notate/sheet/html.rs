//! The same sheet as one HTML document: a question a block, the key on a page of its own.
//!
//! There is no script in it, nothing that is fetched, and no text that is not escaped.

use super::grid::{Grid, Mark};
use super::{ASKED_FOOT, Asked, Item, KEY_FOOT, QUESTIONS_FOOT, Side, sides};
use crate::notate::bars::{Barring, Bars};
use crate::notate::xml::Xml;
use crate::phrase::Phrase;
use crate::rhythm::Feel;

/// A document of `items` under `heading`, to print or to look at. `about` says on the key how it was
/// made.
pub fn html(heading: &str, about: &str, items: &[Item<'_>]) -> String {
    let mut xml = Xml::html();
    xml.within("html", &[("lang", "en")], |xml| {
        xml.within("head", &[], |xml| {
            xml.empty("meta", &[("charset", "utf-8")]);
            // Whatever a text in it looks like, nothing is run or fetched.
            let policy = "default-src 'none'; style-src 'unsafe-inline'";
            let policy = [
                ("http-equiv", "Content-Security-Policy"),
                ("content", policy),
            ];
            xml.empty("meta", &policy);
            xml.text("title", &[], heading);
            xml.text("style", &[], STYLE);
        });
        xml.within("body", &[], |xml| {
            for side in [Side::Questions, Side::Key] {
                let class = match side {
                    Side::Questions => "questions",
                    Side::Key => "key",
                };
                xml.within("div", &[("class", class)], |xml| {
                    half(xml, side, (heading, about), items);
                });
            }
        });
    });
    xml.finish()
}

/// Without quotes, angles and ampersands, which would be escaped where HTML does not unescape them.
const STYLE: &str = "\
@page { size: A4; margin: 15mm; } \
body { font-family: sans-serif; font-size: 11pt; line-height: 1.35; color: black; background: white; \
max-width: 180mm; margin: 0 auto; padding: 4mm; } \
div.key { break-before: page; page-break-before: always; } \
section { break-inside: avoid; page-break-inside: avoid; margin: 0 0 7mm 0; } \
h1 { font-size: 16pt; } h2 { font-size: 12pt; margin: 0 0 1mm 0; } p { margin: 0 0 1.5mm 0; } \
p.about, p.foot { font-size: 9pt; } \
table { border-collapse: collapse; margin: 1mm 0 2mm 0; } \
th, td { border: 1px solid #555; height: 5.5mm; text-align: center; } \
th { font-weight: normal; text-align: left; padding: 0 2mm; } \
td { width: 9mm; min-width: 5mm; } \
ul { list-style: none; margin: 0; padding: 0; } li { display: inline-block; margin: 0 6mm 1mm 0; } \
span.box { display: inline-block; box-sizing: border-box; width: 4mm; height: 4mm; \
border: 1px solid black; text-align: center; line-height: 3.4mm; vertical-align: middle; \
font-weight: bold; font-size: 9pt; }";

fn half(xml: &mut Xml, side: Side, (heading, about): (&str, &str), items: &[Item<'_>]) {
    let has_questions = items.iter().any(|item| item.asked.is_some());
    let (title, foot) = match side {
        Side::Questions if has_questions => (heading.to_owned(), ASKED_FOOT),
        Side::Questions => (heading.to_owned(), QUESTIONS_FOOT),
        Side::Key => (format!("Key: {heading}"), KEY_FOOT),
    };
    xml.text("h1", &[], &title);
    if side == Side::Key {
        xml.text("p", &[("class", "about")], about);
    }
    xml.text("p", &[("class", "foot")], &foot.join(" "));
    for (number, item) in (1..).zip(items) {
        xml.within("section", &[], |xml| {
            xml.text("h2", &[], &format!("{number}. {}", item.label));
            block(xml, side, item);
        });
    }
}

fn block(xml: &mut Xml, side: Side, item: &Item<'_>) {
    let phrase = item.phrase;
    let lines = item.asked.map_or(&[][..], |asked| asked.lines);
    for line in lines {
        xml.text("p", &[], line);
    }
    let about = format!(
        "{} pulses a minute, {} cycles of {}",
        phrase.tempo(),
        phrase.n_cycles,
        phrase.cycle
    );
    xml.text("p", &[("class", "about")], &about);
    let barring = Barring::of(phrase, Bars::AsFelt);
    table(xml, side, item, &Grid::of(phrase, &barring));
    match &item.asked {
        Some(asked) => choices(xml, side, asked),
        None => feels(xml, side, phrase),
    }
    if side == Side::Key {
        let count = item.counting.name(phrase.cycle, phrase.entry_pulse());
        let mut said = format!("It comes in on count {count}.");
        if phrase.feel == Feel::InTurn {
            said.push_str(&format!(" In turn: {}.", sides(phrase, &barring)));
        }
        xml.text("p", &[], &said);
    } else if item.asked.is_none() {
        xml.text("p", &[], "It comes in on count ______");
    }
}

fn table(xml: &mut Xml, side: Side, item: &Item<'_>, grid: &Grid) {
    let is_key = side == Side::Key;
    let if_key = |text: String| if is_key { text } else { String::new() };
    let name = |pulse| item.counting.name(item.phrase.cycle, pulse);
    let heard = grid.sounds.iter().map(|sounds| dot(*sounds).to_owned());
    let counts = grid.counts.iter().map(|pulse| if_key(name(*pulse)));
    xml.within("table", &[], |xml| {
        row(xml, "heard", heard);
        row(xml, "count", counts);
        for (voice, marks) in &grid.rows {
            let cells = marks.iter().map(|mark| if_key(sign(*mark).to_owned()));
            row(xml, voice.name(), cells);
        }
    });
}

fn row(xml: &mut Xml, name: &str, cells: impl Iterator<Item = String>) {
    xml.within("tr", &[], |xml| {
        xml.text("th", &[("scope", "row")], name);
        for cell in cells {
            xml.text("td", &[], &cell);
        }
    });
}

fn dot(sounds: bool) -> &'static str {
    if sounds { "·" } else { "" }
}

/// The marks of the pages in SVG, as signs.
fn sign(mark: Mark) -> &'static str {
    match mark {
        Mark::Silent => "",
        Mark::Stroke => "·",
        Mark::First => "●",
        Mark::Other => "○",
        Mark::Always => "◉",
    }
}

fn choices(xml: &mut Xml, side: Side, asked: &Asked<'_>) {
    if !asked.choices.is_empty() {
        xml.within("ul", &[], |xml| {
            for (idx, choice) in asked.choices.iter().enumerate() {
                let is_crossed = side == Side::Key && asked.right == Some(idx);
                choice_of(xml, choice, is_crossed);
            }
        });
    }
    if side == Side::Key {
        xml.text("p", &[], asked.answer);
    }
}

fn feels(xml: &mut Xml, side: Side, phrase: &Phrase) {
    let feels: &[Feel] = match phrase.feel {
        Feel::Mixed => &[Feel::Mixed],
        _ => &Feel::OPEN,
    };
    xml.within("ul", &[], |xml| {
        for feel in feels {
            let is_crossed = side == Side::Key && *feel == phrase.feel;
            choice_of(xml, feel.words(), is_crossed);
        }
    });
}

fn choice_of(xml: &mut Xml, words: &str, is_crossed: bool) {
    xml.within("li", &[], |xml| {
        let cross = if is_crossed { "x" } else { "" };
        xml.text("span", &[("class", "box")], cross);
        xml.text("span", &[], words);
    });
}
