//! Lines of text that give way to one another where a screen is low.
//!
//! Read [`Body`] first: screens fill one, and it drops first its gaps, then what explains signs, then
//! what is only an extra, then what is rather kept, from the end and text by text, until it fits. What
//! then has room again comes back. Widths are in columns.

use ratatui::style::Style;
use ratatui::text::{Line, Span};

/// Columns left free at the left of a body.
pub(super) const INDENT: usize = 3;

/// What a screen is made of, but for the keys.
pub(super) struct Screen {
    /// At the left of the top line.
    pub(super) title: String,
    /// At its right.
    pub(super) aside: String,
    pub(super) body: Body,
}

/// The lines between the top and the keys.
pub(super) struct Body {
    width: usize,
    rows: Vec<Row>,
    n_texts: usize,
}

struct Row {
    weight: Weight,
    /// Rows of one text go together.
    text: usize,
    line: Line<'static>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Weight {
    Must,
    Rather,
    Extra,
    Legend,
    Gap,
}

impl Body {
    /// An empty body for a screen `width` columns wide.
    pub(super) fn new(width: usize) -> Self {
        Self {
            width,
            rows: Vec::new(),
            n_texts: 0,
        }
    }

    pub(super) fn n_rows(&self) -> usize {
        self.rows.len()
    }

    /// An empty line that may be left out.
    pub(super) fn gap(&mut self) {
        self.push(Weight::Gap, [Line::default()]);
    }

    /// A line as it is.
    pub(super) fn line(&mut self, line: Line<'static>) {
        self.push(Weight::Must, [line]);
    }

    /// A line as it is, that may be left out.
    pub(super) fn extra(&mut self, line: Line<'static>) {
        self.push(Weight::Extra, [line]);
    }

    /// Lines as they are, that may be left out, all of them together.
    pub(super) fn extras(&mut self, lines: Vec<Line<'static>>) {
        self.push(Weight::Extra, lines);
    }

    /// Lines as they are, that are left out only after all that is an extra, all of them together.
    pub(super) fn rather(&mut self, lines: Vec<Line<'static>>) {
        self.push(Weight::Rather, lines);
    }

    /// Text, wrapped.
    pub(super) fn say(&mut self, text: &str, style: Style) {
        self.put(Weight::Must, text, style);
    }

    /// Text, wrapped, that is left out only after all that is an extra.
    pub(super) fn rather_say(&mut self, text: &str, style: Style) {
        self.put(Weight::Rather, text, style);
    }

    /// Text, wrapped, that may be left out.
    pub(super) fn mention(&mut self, text: &str) {
        self.put(Weight::Extra, text, Style::new());
    }

    /// What signs mean, wrapped, which is left out before anything that is said with them.
    pub(super) fn explain(&mut self, text: &str) {
        self.put(Weight::Legend, text, Style::new());
    }

    /// All of `other` after this.
    pub(super) fn append(&mut self, other: Self) {
        let before = self.n_texts;
        self.rows.extend(other.rows.into_iter().map(|row| Row {
            text: before + row.text,
            ..row
        }));
        self.n_texts += other.n_texts;
    }

    fn put(&mut self, weight: Weight, text: &str, style: Style) {
        let rows = wrapped(text, self.width.saturating_sub(INDENT + 1));
        let line = |row: String| Line::styled(format!("{:INDENT$}{row}", ""), style);
        self.push(weight, rows.into_iter().map(line));
    }

    fn push(&mut self, weight: Weight, lines: impl IntoIterator<Item = Line<'static>>) {
        let text = self.n_texts;
        self.n_texts += 1;
        self.rows
            .extend(lines.into_iter().map(|line| Row { weight, text, line }));
    }

    /// How many pages of `height` rows it fills, at least one.
    pub(super) fn n_pages(&self, height: usize) -> usize {
        self.rows.len().div_ceil(height.max(1)).max(1)
    }

    /// One of its pages, from 0, with all that stands on it.
    pub(super) fn page(mut self, page: usize, height: usize) -> Self {
        let rows = self.rows.into_iter().skip(page * height).take(height);
        self.rows = rows.collect();
        self
    }

    /// The lines that fit into `height`.
    pub(super) fn fitted(self, height: usize) -> Vec<Line<'static>> {
        let mut left_out: Vec<usize> = Vec::new();
        let n_rows = |left_out: &[usize]| {
            let stay = self.rows.iter().filter(|row| !left_out.contains(&row.text));
            stay.count()
        };
        for weight in [Weight::Gap, Weight::Legend, Weight::Extra, Weight::Rather] {
            let mut texts: Vec<usize> = self
                .rows
                .iter()
                .rev()
                .filter(|row| row.weight == weight)
                .map(|row| row.text)
                .collect();
            texts.dedup();
            for text in texts {
                if n_rows(&left_out) > height {
                    left_out.push(text);
                }
            }
        }
        // One of several rows may have made more room than was needed.
        for at in (0..left_out.len()).rev() {
            let mut fewer = left_out.clone();
            fewer.remove(at);
            if n_rows(&fewer) <= height {
                left_out = fewer;
            }
        }
        let rows = self
            .rows
            .into_iter()
            .filter(|row| !left_out.contains(&row.text));
        rows.take(height).map(|row| row.line).collect()
    }
}

/// Columns that `text` takes.
pub(super) fn width(text: &str) -> usize {
    Span::raw(text).width()
}

/// `text` in at most `columns`, cut with two dots where it is longer.
pub(super) fn cut(text: &str, columns: usize) -> String {
    const DOTS: &str = "..";
    if width(text) <= columns {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        let longer = format!("{kept}{c}");
        if width(&longer) + width(DOTS) > columns {
            break;
        }
        kept = longer;
    }
    kept.push_str(DOTS.get(..columns.min(DOTS.len())).unwrap_or_default());
    kept
}

/// `text` in exactly `columns`: cut, or filled with blanks.
pub(super) fn cell(text: &str, columns: usize) -> String {
    let text = cut(text, columns);
    let blanks = columns.saturating_sub(width(&text));
    format!("{text}{:blanks$}", "")
}

/// Breaks `text` between words into rows of at most `columns`.
pub(super) fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match rows.last_mut() {
            Some(row) if width(row) + 1 + width(word) <= columns => {
                row.push(' ');
                row.push_str(word);
            }
            _ => rows.push(cut(word, columns)),
        }
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cut_by_columns_not_by_letters() {
        assert_eq!(cut("compás", 6), "compás");
        assert_eq!(cut("compás de seis", 8), "compás..");
        // Each of these takes two columns.
        assert_eq!(cut("手拍子手拍子", 7), "手拍..");
        assert_eq!(cell("手拍子手拍子", 7).len(), "手拍.. ".len());
        assert_eq!(cut("abc", 1), ".");
    }

    #[test]
    fn rows_break_between_words() {
        assert_eq!(wrapped("one two  three", 7), ["one two", "three"]);
        assert_eq!(wrapped("unbreakable", 6), ["unbr.."]);
        assert!(wrapped("", 10).is_empty());
    }

    #[test]
    fn gaps_go_first_and_what_must_be_said_goes_last() {
        let filled = || {
            let mut body = Body::new(40);
            body.say("must", Style::new());
            body.gap();
            body.mention("extra");
            body.say("must too", Style::new());
            body
        };
        let texts = |height| {
            let lines = filled().fitted(height);
            let text = |line: &Line<'_>| line.to_string().trim().to_owned();
            lines.iter().map(text).collect::<Vec<_>>().join("/")
        };
        assert_eq!(texts(4), "must//extra/must too");
        assert_eq!(texts(3), "must/extra/must too");
        assert_eq!(texts(2), "must/must too");
        assert_eq!(texts(1), "must");
    }

    #[test]
    fn what_is_rather_kept_stays_longer_and_no_room_is_left_over() {
        let texts = |height| {
            let mut body = Body::new(12);
            body.mention("extra");
            body.rather(vec![Line::from("rather")]);
            body.mention("more of two");
            body.say("must", Style::new());
            let lines = body.fitted(height);
            let text = |line: &Line<'_>| line.to_string().trim().to_owned();
            lines.iter().map(text).collect::<Vec<_>>().join("/")
        };
        assert_eq!(texts(5), "extra/rather/more of/two/must");
        // The last extra goes with both of its rows.
        assert_eq!(texts(4), "extra/rather/must");
        assert_eq!(texts(3), "extra/rather/must");
        assert_eq!(texts(2), "rather/must");
        assert_eq!(texts(1), "must");
    }
}
