//! What a sitting came to.

use ratatui::style::Style;
use ratatui::text::Line;

use crate::app::{Summary, SummaryLine, heard_in_words};
use crate::phrase::Level;
use crate::tui::page::{Body, INDENT, Screen, cell, cut};
use crate::tui::theme::Theme;

use super::counted;

pub(in crate::tui) fn screen(summary: &Summary, theme: Theme, columns: usize) -> Screen {
    let mut body = Body::new(columns);
    let total = match summary.n_answered {
        0 => "Nothing was answered; nothing is lost.".to_owned(),
        n => format!("{} of {n} right, in {}.", summary.n_right, summary.lasted()),
    };
    body.say(&total, theme.strong());
    body.gap();
    for line in &summary.lines {
        body.line(skill(line, columns));
    }
    body.gap();
    for note in &summary.notes {
        body.say(note, Style::new());
    }
    if let Some(advice) = &summary.advice {
        body.say(advice, theme.strong());
        body.gap();
    }
    body.say(REST, Style::new());
    Screen {
        title: "contrapalma".to_owned(),
        aside: "this sitting".to_owned(),
        body,
    }
}

const REST: &str = "Rest your ears before the next sitting, and your hands if they clapped or \
    tapped. Stop when anything hurts or rings; a physician or an audiologist knows more.";

fn skill(line: &SummaryLine, columns: usize) -> Line<'static> {
    /// From this width on there is room for what was before.
    const WIDE: usize = 76;
    const RIGHT: usize = 9;
    const BACK: usize = 16;
    let heard = if columns >= WIDE { 28 } else { 13 };
    let title = columns.saturating_sub(INDENT + RIGHT + heard + BACK + 3);
    let (n_right, n_asked) = line.right;
    let right = format!("{n_right} of {n_asked}");
    let level = match (line.heard_from, line.before) {
        (Some(Level::STRONGEST), _) => heard_in_words(Level::STRONGEST),
        (Some(now), Some(before)) if columns >= WIDE && now != before => {
            format!("heard from {:.1}, now {now}", before.decibels())
        }
        (Some(now), _) if columns >= WIDE => heard_in_words(now),
        (Some(now), _) => format!("from {now}"),
        (None, _) => String::new(),
    };
    let back = match line.back_in_days {
        Some(0) => "due again today".to_owned(),
        Some(days) => format!("back in {}", counted(days, "day")),
        None => String::new(),
    };
    Line::from(format!(
        "{:INDENT$}{} {} {} {}",
        "",
        cell(&line.title, title),
        cell(&right, RIGHT),
        cell(&level, heard),
        cut(&back, BACK)
    ))
}
