//! How far practice has brought somebody.

use ratatui::style::Style;

use crate::app::Progress;
use crate::tui::page::{Body, Screen};
use crate::tui::theme::Theme;

pub(in crate::tui) fn screen(
    progress: &Progress,
    theme: Theme,
    (columns, height): (usize, usize),
) -> Screen {
    let mut body = Body::new(columns);
    match progress.leaning() {
        Some(leaning) => body.say(&leaning, theme.strong()),
        None => body.say(
            "How you tell threes from twos shows when both were asked.",
            theme.strong(),
        ),
    }
    body.gap();
    for (idx, line) in progress.lines.iter().enumerate().skip(progress.first) {
        let mut entry = Body::new(columns);
        entry.say(&line.title, theme.strong());
        entry.say(&line.words(), Style::new());
        if body.n_rows() + entry.n_rows() + 1 > height {
            let n_more = progress.lines.len() - idx;
            body.say(&format!("and {n_more} more"), Style::new());
            break;
        }
        body.append(entry);
    }
    if progress.lines.is_empty() {
        body.say("Nothing was practised yet in this deck.", Style::new());
    }
    Screen {
        title: "progress".to_owned(),
        aside: "in this deck".to_owned(),
        body,
    }
}
