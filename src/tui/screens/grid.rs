//! The grid of a cycle: counts left to right, a row for each voice, the playhead below.

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use crate::quiz::{GridRow, Reveal};
use crate::tui::page::{INDENT, cut};
use crate::tui::theme::Theme;
use crate::tui::view::{View, cycles_differ, n_cycles};

/// Columns of a row's name.
const NAME: usize = 10;
/// Letters of a count that is a word by which it is known.
const LETTERS: usize = 3;
/// Columns of a pulse, at most and at least.
const PULSE: (usize, usize) = (6, 2);

/// The lines of the grid for the cycle that is looked at.
pub(super) fn lines(
    reveal: &Reveal,
    view: &View<'_>,
    theme: Theme,
    columns: usize,
) -> Vec<Line<'static>> {
    let counts = &reveal.counts;
    let cycle = view.cycle(reveal);
    let grid = Grid::new(theme, columns, counts);
    let heading = grid.heading(counts, &which(reveal, cycle));
    let rows = reveal.rows.iter().chain(&reveal.you);
    let rows = rows.map(|row| grid.row(row, cycle));
    let playhead = view.playhead.filter(|playhead| playhead.cycle.0 == cycle);
    let foot = playhead.map_or_else(Line::default, |playhead| grid.playhead(playhead.pulse));
    std::iter::once(heading).chain(rows).chain([foot]).collect()
}

/// Which cycle is shown, in words.
fn which(reveal: &Reveal, cycle: usize) -> String {
    if cycles_differ(reveal) {
        format!("cycle {} of {}", cycle + 1, n_cycles(reveal))
    } else {
        "every cycle".to_owned()
    }
}

/// As many columns a pulse as leave room beside the grid, and at least as many as keep the counts
/// apart.
fn per_pulse(counts: &[String], columns: usize) -> usize {
    const BESIDE: usize = 14;
    let room = columns.saturating_sub(INDENT + NAME + BESIDE);
    let longest = counts.iter().map(|count| count.chars().count()).max();
    let longest = longest.unwrap_or(0);
    // Of words the first letters do.
    let least = PULSE.1.max(longest.min(LETTERS) + 1);
    (room / counts.len().max(1)).clamp(least, PULSE.0.max(longest + 1))
}

/// A grid as wide as the screen allows.
pub(super) struct Grid {
    theme: Theme,
    columns: usize,
    per_pulse: usize,
}

impl Grid {
    pub(super) fn new(theme: Theme, columns: usize, counts: &[String]) -> Self {
        Self {
            theme,
            columns,
            per_pulse: per_pulse(counts, columns),
        }
    }

    pub(super) fn heading(&self, counts: &[String], aside: &str) -> Line<'static> {
        let cells: String = counts.iter().map(|count| self.pulse(count)).collect();
        self.finished(vec![name("count"), Span::raw(cells)], aside)
    }

    pub(super) fn row(&self, row: &GridRow, cycle: usize) -> Line<'static> {
        let mut spans = vec![name(row.name)];
        for mark in row.marks(cycle) {
            let style = self.theme.mark(*mark);
            spans.push(Span::styled(mark.to_string(), style));
            spans.push(Span::raw(" ".repeat(self.per_pulse - 1)));
        }
        self.finished(spans, &row.aside)
    }

    /// The playhead in the column that belongs to `pulse`, counted on in fractions.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a place within a cycle, in a few columns"
    )]
    pub(super) fn playhead(&self, pulse: f64) -> Line<'static> {
        let column = (pulse.max(0.0) * self.per_pulse as f64) as usize;
        let blanks = INDENT + NAME + column;
        let head = self.theme.playhead().to_string();
        Line::from(vec![
            Span::raw(" ".repeat(blanks)),
            Span::styled(head, self.theme.strong()),
        ])
    }

    fn pulse(&self, count: &str) -> String {
        let per_pulse = self.per_pulse;
        let count: String = count.chars().take(per_pulse - 1).collect();
        format!("{count:per_pulse$}")
    }

    fn finished(&self, mut spans: Vec<Span<'static>>, aside: &str) -> Line<'static> {
        let taken: usize = spans.iter().map(Span::width).sum();
        let aside = cut(aside, self.columns.saturating_sub(taken + 1));
        spans.push(Span::styled(aside, Style::new()));
        Line::from(spans)
    }
}

fn name(name: &str) -> Span<'static> {
    Span::raw(format!("{:INDENT$}{name:NAME$}", ""))
}
