//! A4 pages to print as SVG: questions to fill in by ear, and their key.
//!
//! Read [`Page`] first. Millimetres throughout. The columns of a grid are the pulses of one cycle as
//! they are heard, from the first sound on, and the rows are the same for every phrase: neither the
//! place of the first count, nor who plays, nor what stands out can be read from a question.

mod canvas;
mod grid;
mod html;

pub use html::html;

use self::canvas::Canvas;
use self::grid::{Grid, Mark};
use super::bars::{Barring, Bars};
use super::xml::Xml;
use crate::phrase::Phrase;
use crate::rhythm::{Counting, Feel, Group};

/// A phrase on a sheet.
#[derive(Clone, Copy, Debug)]
pub struct Item<'a> {
    /// What it is called, so that its sound can be found.
    pub label: &'a str,
    /// The phrase.
    pub phrase: &'a Phrase,
    /// How its counts are named.
    pub counting: Counting,
    /// What is asked of it; `None` asks for its feel and for the count on which it comes in.
    pub asked: Option<Asked<'a>>,
}

/// A question about a phrase on a sheet.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// What to do and what is asked, a line each.
    pub lines: &'a [&'a str],
    /// What may be answered; nothing where it is done or marked.
    pub choices: &'a [String],
    /// Which of the choices is right, from 0; `None` where there are none.
    pub right: Option<usize>,
    /// The answer in words, for the key.
    pub answer: &'a str,
}

/// A page of questions and a page with their answers, each an SVG document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Page {
    /// To be given out. It has no answer on it.
    pub questions: String,
    /// To be kept back.
    pub key: String,
}

/// How many phrases stand on a page.
pub const PHRASES_A_PAGE: usize = 4;

const LEFT: f64 = 15.0;
const FIRST_BLOCK: f64 = 32.0;
const BLOCK: f64 = 62.0;
/// Where the answers stand, right of the grid.
const ANSWERS: f64 = 142.0;

/// Which of the two pages is drawn.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Questions,
    Key,
}

/// Pages for `items` under `heading`, [`PHRASES_A_PAGE`] on each; none for no items.
pub fn sheet(heading: &str, items: &[Item<'_>]) -> Vec<Page> {
    let pages = items.chunks(PHRASES_A_PAGE).enumerate();
    pages
        .map(|(idx, items)| {
            let page = |side| draw(heading, items, idx * PHRASES_A_PAGE + 1, side);
            Page {
                questions: page(Side::Questions),
                key: page(Side::Key),
            }
        })
        .collect()
}

fn draw(heading: &str, items: &[Item<'_>], first: usize, side: Side) -> String {
    let frame = [
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("width", "210mm"),
        ("height", "297mm"),
        ("viewBox", "0 0 210 297"),
        ("font-family", "sans-serif"),
    ];
    let mut xml = Xml::new();
    xml.within("svg", &frame, |xml| {
        let canvas = &mut Canvas { xml };
        canvas.rect(0.0, 0.0, (210.0, 297.0), ("none", "white"));
        let has_questions = items.iter().any(|item| item.asked.is_some());
        let (title, foot) = match side {
            Side::Questions if has_questions => (heading.to_owned(), ASKED_FOOT),
            Side::Questions => (heading.to_owned(), QUESTIONS_FOOT),
            Side::Key => (format!("Key: {heading}"), KEY_FOOT),
        };
        canvas.text(LEFT, 20.0, (5.5, "bold"), &shortened(&title, 55));
        for ((idx, item), number) in items.iter().enumerate().zip(first..) {
            let block = Block {
                item,
                number,
                top: (0..idx).fold(FIRST_BLOCK, |top, _| top + BLOCK),
                side,
            };
            block.draw(canvas);
        }
        for (line, y) in foot.iter().zip([284.0, 289.0]) {
            canvas.text(LEFT, y, (3.0, "normal"), line);
        }
    });
    xml.finish()
}

const QUESTIONS_FOOT: [&str; 2] = [
    "Columns are pulses from the first sound on; a dot says that something sounds. Write the counts where you",
    "hear them, circle in each row what stands out, and cross how it is grouped. Listen as often as you like.",
];

/// The same where something is asked of each phrase.
const ASKED_FOOT: [&str; 2] = [
    "Cross what you hear. Columns are pulses from the first sound on; a dot says that something sounds. The rest",
    "of the grid is for notes: counts, and what stands out in each row. Listen as often as you like.",
];

const KEY_FOOT: [&str; 2] = [
    "A small dot is a stroke, a full circle what stands out. In turn: a full circle stands out on the side that",
    "comes first, a ring on the other, a ringed circle on both.",
];

/// One phrase on a page.
struct Block<'a> {
    item: &'a Item<'a>,
    number: usize,
    top: f64,
    side: Side,
}

impl Block<'_> {
    fn draw(&self, canvas: &mut Canvas<'_>) {
        let phrase = self.item.phrase;
        let title = format!("{}. {}", self.number, shortened(self.item.label, 80));
        canvas.text(LEFT, self.top, (4.0, "bold"), &title);
        let about = format!(
            "{} pulses a minute, {} cycles of {}",
            phrase.tempo(),
            phrase.n_cycles,
            phrase.cycle
        );
        canvas.text(ANSWERS, self.top, (3.0, "normal"), &about);
        let barring = Barring::of(phrase, Bars::AsFelt);
        let lines = self.item.asked.map_or(&[][..], |asked| asked.lines);
        let mut top = self.top;
        for line in lines {
            top += 4.4;
            canvas.text(LEFT, top, (3.2, "normal"), &shortened(line, 110));
        }
        self.grid(canvas, top, &Grid::of(phrase, &barring));
        match &self.item.asked {
            Some(asked) => self.choices(canvas, top, asked),
            None => self.answers(canvas, &barring),
        }
    }

    fn grid(&self, canvas: &mut Canvas<'_>, top: f64, grid: &Grid) {
        let is_key = self.side == Side::Key;
        let height = match self.item.asked {
            Some(_) => Rows::LOW,
            None => Rows::HIGH,
        };
        let mut rows = Rows::below(top + 4.0, height, grid.counts.len());
        rows.row(canvas, "heard", |canvas, idx, centre| {
            if grid.sounds.get(idx) == Some(&true) {
                canvas.mark(centre, Mark::Stroke);
            }
        });
        rows.row(canvas, "count", |canvas, idx, (x, y)| {
            if let Some(count) = grid.counts.get(idx).filter(|_| is_key) {
                let name = self.item.counting.name(self.item.phrase.cycle, *count);
                canvas.middle(x, y + 1.3, 3.6, &name);
            }
        });
        for (voice, marks) in &grid.rows {
            rows.row(canvas, voice.name(), |canvas, idx, centre| {
                if let Some(mark) = marks.get(idx).filter(|_| is_key) {
                    canvas.mark(centre, *mark);
                }
            });
        }
    }

    /// What may be answered to a question, and on the key what is true, as far as there is room.
    fn choices(&self, canvas: &mut Canvas<'_>, top: f64, asked: &Asked<'_>) {
        let is_key = self.side == Side::Key;
        let mut y = top + 8.0;
        for (idx, choice) in asked.choices.iter().enumerate() {
            canvas.rect(ANSWERS, y - 3.0, (3.4, 3.4), ("black", "none"));
            if is_key && asked.right == Some(idx) {
                canvas.cross(ANSWERS, y - 3.0, 3.4);
            }
            canvas.text(ANSWERS + 6.0, y, (3.3, "normal"), &shortened(choice, 32));
            y += 4.6;
        }
        let lines = broken(asked.answer, 40);
        for line in lines.iter().filter(|_| is_key) {
            if y > self.top + BLOCK - 5.0 {
                break;
            }
            canvas.text(ANSWERS, y, (2.8, "normal"), line);
            y += 3.6;
        }
    }

    fn answers(&self, canvas: &mut Canvas<'_>, barring: &Barring<'_>) {
        let phrase = self.item.phrase;
        let mut y = self.top + 8.0;
        let feels: &[Feel] = match phrase.feel {
            Feel::Mixed => &[Feel::Mixed],
            _ => &Feel::OPEN,
        };
        for &feel in feels {
            canvas.rect(ANSWERS, y - 3.2, (3.6, 3.6), ("black", "none"));
            if self.side == Side::Key && feel == phrase.feel {
                canvas.cross(ANSWERS, y - 3.2, 3.6);
            }
            canvas.text(ANSWERS + 6.0, y, (3.5, "normal"), feel.words());
            y += 6.0;
        }
        let count = match self.side {
            Side::Questions => "______".to_owned(),
            Side::Key => self.item.counting.name(phrase.cycle, phrase.entry_pulse()),
        };
        let entry = format!("it comes in on count {count}");
        canvas.text(ANSWERS, y + 1.0, (3.5, "normal"), &entry);
        if self.side == Side::Key && phrase.feel == Feel::InTurn {
            canvas.text(ANSWERS, y + 7.0, (3.0, "normal"), &sides(phrase, barring));
        }
    }
}

/// The rows of a grid, drawn one below the other.
struct Rows {
    top: f64,
    n_columns: usize,
    /// The width of a column.
    step: f64,
    height: f64,
}

impl Rows {
    const LABELS: f64 = 20.0;
    const WIDTH: f64 = 96.0;
    const HIGH: f64 = 6.5;
    /// Where the lines of a question stand over them.
    const LOW: f64 = 6.0;

    fn below(top: f64, height: f64, n_columns: usize) -> Self {
        let columns = u8::try_from(n_columns).expect("a cycle has 2 to 48 pulses");
        Self {
            top,
            height,
            n_columns,
            step: Self::WIDTH / f64::from(columns),
        }
    }

    /// Draws a row; `cell` gets the column and the middle of the cell.
    fn row<'x>(
        &mut self,
        canvas: &mut Canvas<'x>,
        name: &str,
        cell: impl Fn(&mut Canvas<'x>, usize, (f64, f64)),
    ) {
        canvas.text(LEFT, self.top + 4.4, (3.3, "normal"), name);
        let mut left = LEFT + Self::LABELS;
        for idx in 0..self.n_columns {
            let size = (self.step, self.height);
            canvas.rect(left, self.top, size, ("#555", "none"));
            let centre = (left + self.step / 2.0, self.top + self.height / 2.0);
            cell(canvas, idx, centre);
            left += self.step;
        }
        self.top += self.height;
    }
}

/// The sides of a phrase in turn, as `1-2 in twos, 3-4 in threes`.
fn sides(phrase: &Phrase, barring: &Barring<'_>) -> String {
    let sides: Vec<(i64, Group)> = (0..i64::from(phrase.n_cycles))
        .map(|idx| (idx + 1, barring.group(None, idx)))
        .collect();
    let runs = sides.chunk_by(|(_, a), (_, b)| a == b).filter_map(|run| {
        let ((from, group), (to, _)) = (run.first()?, run.last()?);
        let feel = match group {
            Group::Two => Feel::Twos,
            Group::Three => Feel::Threes,
        };
        if from == to {
            return Some(format!("{from} {}", feel.words()));
        }
        Some(format!("{from}-{to} {}", feel.words()))
    });
    format!("cycles {}", runs.collect::<Vec<String>>().join(", "))
}

/// The text in lines of at most so many characters, as far as its words allow.
fn broken(text: &str, n_chars: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= n_chars => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(shortened(word, n_chars)),
        }
    }
    lines
}

/// The text, cut to so many characters.
fn shortened(text: &str, n_chars: usize) -> String {
    if text.chars().count() <= n_chars {
        return text.to_owned();
    }
    let kept: String = text.chars().take(n_chars.saturating_sub(1)).collect();
    format!("{kept}…")
}
