//! What each key does on the screen below, and what the words mean.

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use crate::app::{ANSWERS, FIRM, LEANS, Place};
use crate::tui::keymap::{Binding, below_help};
use crate::tui::page::{Body, INDENT, Screen, cell, wrapped};
use crate::tui::theme::Theme;
use crate::tui::view::View;

/// Columns of a key or a word.
const COLUMN: usize = 14;

pub(in crate::tui) fn screen(
    view: &View<'_>,
    theme: Theme,
    (columns, height): (usize, usize),
    page: usize,
) -> Screen {
    let mut body = Body::new(columns);
    keys(&mut body, &below_help(view), (theme, columns));
    let everywhere = "ctrl-c leaves from anywhere, ctrl-z suspends. Answers are kept at once.";
    body.mention(everywhere);
    body.gap();
    let words = match view.place {
        Place::Recording(_) => [&ANSWERS[..3], &LEANS].concat(),
        _ => ANSWERS.to_vec(),
    };
    for (word, meaning) in words {
        told(&mut body, word, meaning, (theme, columns));
    }
    if let Place::Progress(_) = view.place {
        body.gap();
        body.say(FIRM, Style::new());
    }
    let n_pages = body.n_pages(height);
    let page = page % n_pages;
    Screen {
        title: "help".to_owned(),
        aside: match n_pages {
            1 => "keys and words".to_owned(),
            _ => format!("keys and words, page {} of {n_pages}", page + 1),
        },
        body: body.page(page, height),
    }
}

fn keys(body: &mut Body, bindings: &[Binding], look: (Theme, usize)) {
    for binding in bindings {
        told(body, &binding.keys(), binding.help, look);
    }
}

/// A key or a word, and beside it what it does or means, wrapped.
fn told(body: &mut Body, head: &str, text: &str, (theme, columns): (Theme, usize)) {
    let room = columns.saturating_sub(INDENT + COLUMN + 1).max(1);
    let head = cell(head, COLUMN);
    let mut rows = wrapped(text, room).into_iter();
    body.line(Line::from(vec![
        Span::styled(format!("{:INDENT$}{head}", ""), theme.strong()),
        Span::raw(rows.next().unwrap_or_default()),
    ]));
    for more in rows {
        body.line(Line::from(format!("{:1$}{more}", "", INDENT + COLUMN)));
    }
}
