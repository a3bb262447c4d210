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
    if !progress.cues.is_empty() {
        let cues = progress.cues.join("; ");
        body.say(
            &format!("You hear a grouping from accents of: {cues}."),
            Style::new(),
        );
    }
    body.gap();
    // The skill that is looked at stands first, and what comes after it below.
    for (idx, line) in progress.lines.iter().enumerate().skip(progress.here) {
        let mut entry = Body::new(columns);
        if let Some(part) = &line.part {
            entry.say(part, Style::new());
        }
        let mark = if idx == progress.here { "> " } else { "  " };
        entry.say(&format!("{mark}{}", line.title), theme.strong());
        entry.say(&line.words(), Style::new());
        if body.n_rows() + entry.n_rows() + 1 > height {
            let n_more = progress.lines.len() - idx;
            body.say(&format!("and {n_more} more"), Style::new());
            break;
        }
        body.append(entry);
    }
    Screen {
        title: "progress".to_owned(),
        aside: "in this deck".to_owned(),
        body,
    }
}
