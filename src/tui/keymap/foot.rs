//! The bottom line: which keys it names where there is little room, and how they stand in rows.

use crossterm::event::KeyCode;
use ratatui::text::{Line, Span};

use super::{Binding, Shows};
use crate::tui::page::width;
use crate::tui::theme::Theme;

/// The rows of keys that a screen of so many rows has room for.
fn foot_rows(rows: usize) -> usize {
    (rows / 8).max(3)
}

/// What the bottom line of a screen of so many columns and rows names: all, or where that would take the
/// rows of the picture, what matters most, and the help tells of the rest.
pub(in crate::tui) fn in_foot(
    bindings: &[Binding],
    (columns, rows): (usize, usize),
) -> Vec<Binding> {
    let all: Vec<&Binding> = bindings
        .iter()
        .filter(|b| b.shown != Shows::InHelp)
        .collect();
    let fits = |left_out: &[usize]| {
        let shown = shown(&all, left_out);
        rows_of(&shown, columns).len() <= foot_rows(rows)
    };
    let mut left_out = Vec::new();
    for at in (0..all.len()).rev() {
        if !fits(&left_out) && all[at].shown == Shows::IfRoom {
            left_out.push(at);
        }
    }
    // A long one may have made room for shorter ones after it.
    for at in (0..left_out.len()).rev() {
        let mut fewer = left_out.clone();
        fewer.remove(at);
        if fits(&fewer) {
            left_out = fewer;
        }
    }
    shown(&all, &left_out)
}

/// Bindings without those of these places; where some are left out, the help has more than is named.
fn shown(all: &[&Binding], left_out: &[usize]) -> Vec<Binding> {
    let stay = all
        .iter()
        .enumerate()
        .filter(|(at, _)| !left_out.contains(at));
    let named = stay.map(|(_, binding)| {
        let is_help = binding
            .pairs
            .iter()
            .any(|(key, _)| *key == KeyCode::Char('?'));
        let mut binding = (*binding).clone();
        if is_help && !left_out.is_empty() {
            binding.does = "all keys".to_owned();
        }
        binding
    });
    named.collect()
}

/// The bottom line; more than one where the screen is narrow.
pub(in crate::tui) fn foot(
    bindings: &[Binding],
    columns: usize,
    theme: Theme,
) -> Vec<Line<'static>> {
    let row = |bindings: Vec<&Binding>| {
        let mut line = Line::from(" ");
        for (nth, binding) in bindings.into_iter().enumerate() {
            if nth > 0 {
                line.push_span(Span::raw(" ".repeat(BETWEEN)));
            }
            line.push_span(Span::styled(binding.keys(), theme.strong()));
            line.push_span(Span::raw(format!(" {}", binding.does)));
        }
        line
    };
    rows_of(bindings, columns).into_iter().map(row).collect()
}

/// Columns between what is said of two bindings.
const BETWEEN: usize = 3;

/// Bindings as they stand in rows.
fn rows_of(bindings: &[Binding], columns: usize) -> Vec<Vec<&Binding>> {
    let mut rows: Vec<(usize, Vec<&Binding>)> = Vec::new();
    for binding in bindings {
        let needed = width(&binding.keys()) + 1 + width(&binding.does);
        match rows.last_mut() {
            Some((taken, row)) if *taken + BETWEEN + needed < columns => {
                *taken += BETWEEN + needed;
                row.push(binding);
            }
            _ => rows.push((1 + needed, vec![binding])),
        }
    }
    rows.into_iter().map(|(_, row)| row).collect()
}
