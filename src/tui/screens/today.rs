//! What today holds.

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use crate::app::{Decks, Today, TodayLine};
use crate::label::printable;
use crate::tui::page::{Body, INDENT, Screen, cell, cut, width};
use crate::tui::theme::Theme;
use crate::tui::view::{Advice, View};

use super::counted;

/// Columns of a tag, `waits` being the longest.
const TAG: usize = 6;
/// Columns of `heard from 12.0 dB` and a blank.
const KNOWN: usize = 19;
/// From this width on there is room for what is known.
const WIDE: usize = 76;
/// Columns that `last 12 days ago` needs.
const WHEN: usize = 16;

pub(in crate::tui) fn screen(
    today: &Today,
    view: &View<'_>,
    theme: Theme,
    room: (usize, usize),
) -> Screen {
    let (columns, height) = room;
    let mut body = head(today, view, theme, columns);
    let tail = tail(today, view, theme, columns);
    // A gap between the skills and the chart.
    let left = height.saturating_sub(body.n_rows() + tail.n_rows() + 1);
    skills(&mut body, &today.lines, columns, left);
    body.gap();
    body.append(tail);
    Screen {
        title: format!("contrapalma   {}", view.deck),
        aside: match &today.who {
            Some(who) => format!("{who}   {}", today.date),
            None => today.date.clone(),
        },
        body,
    }
}

fn head(today: &Today, view: &View<'_>, theme: Theme, columns: usize) -> Body {
    let mut body = Body::new(columns);
    let n_phrases = u64::from(today.n_phrases);
    let ready = match n_phrases {
        0 if today.is_all_missing || today.resting.is_some() => {
            "Nothing can be asked now.".to_owned()
        }
        0 => "Nothing is due today; there is time for more.".to_owned(),
        1 => "About 1 phrase is ready.".to_owned(),
        n => format!("About {n} phrases are ready."),
    };
    if let Some(part) = &today.part {
        body.say(&format!("{part}."), Style::new());
    }
    body.say(&ready, theme.strong());
    for why in [today.tomorrow, today.resting].into_iter().flatten() {
        body.say(why, Style::new());
    }
    let is = |n: usize| if n == 1 { "is" } else { "are" };
    let due = u64::try_from(today.n_due).unwrap_or(u64::MAX);
    let news = format!(
        "{} {} due, {} {} new.",
        counted(due, "skill"),
        is(today.n_due),
        today.n_new,
        is(today.n_new)
    );
    if today.n_due + today.n_new > 0 {
        body.say(&news, Style::new());
    }
    if let Some(missing) = &today.missing {
        body.say(missing, Style::new());
    }
    if let Some(checked) = &today.checked {
        body.say(checked, Style::new());
    }
    for set in &today.set {
        body.gap();
        body.say(&set.head, theme.strong());
        if let Some(line) = &set.line {
            body.say(line, Style::new());
        }
        let more = match (&set.elsewhere, view.decks) {
            (Some(_), Decks::All) => " d leads to its deck.",
            _ => "",
        };
        body.say(&format!("{}{more}", set.reached), Style::new());
    }
    body.gap();
    body
}

/// As many skills as fit into `height`, and how many more there are.
fn skills(body: &mut Body, lines: &[TodayLine], columns: usize, height: usize) {
    let n_shown = if lines.len() <= height {
        lines.len()
    } else {
        height.saturating_sub(1)
    };
    let longest = lines.iter().map(|line| width(&line.title)).max();
    let left = columns.saturating_sub(INDENT + TAG + 3);
    // Where the screen is narrow the title matters more than what is known.
    let known = if columns >= WIDE { KNOWN } else { 0 };
    let title = longest.unwrap_or(0).min(left.saturating_sub(known + WHEN));
    for line in lines.iter().take(n_shown) {
        body.line(skill(line, title, known, left - title));
    }
    if n_shown < lines.len() {
        body.say(&format!("and {} more", lines.len() - n_shown), Style::new());
    }
}

/// One skill: its title and what is known of it in so many columns, and when, in what is left.
fn skill(line: &TodayLine, title: usize, known: usize, left: usize) -> Line<'static> {
    let title = cell(&line.title, title);
    // What a skill opens after is long, and nothing is known of it yet.
    let known = if line.known.is_empty() { 0 } else { known };
    let when = cut(&line.when, left.saturating_sub(known));
    let known = cell(&line.known, known);
    Line::from(format!(
        "{:INDENT$}{:TAG$}{title}  {known}{when}",
        "", line.tag
    ))
}

fn tail(today: &Today, view: &View<'_>, theme: Theme, columns: usize) -> Body {
    let mut body = Body::new(columns);
    let most = today.fortnight.iter().max().copied().unwrap_or(0);
    let chart = today.fortnight.iter().map(|n| theme.day(*n, most));
    let chart: String = chart.collect();
    let n_days = today.fortnight.iter().filter(|n| **n > 0).count();
    let answered: u64 = today.fortnight.iter().copied().map(u64::from).sum();
    let days = u64::try_from(n_days).unwrap_or(u64::MAX);
    let said = format!(
        "   {}, {}",
        counted(days, "day"),
        counted(answered, "answer")
    );
    body.line(Line::from(vec![
        Span::raw(format!("{:INDENT$}This fortnight   ", "")),
        Span::styled(chart, theme.strong()),
        Span::raw(said),
    ]));
    if let Some(reason) = view.no_sound {
        body.gap();
        for line in reason.lines() {
            body.say(&printable(line), theme.strong());
        }
        let rest = "Connect or switch on a sound device, see that another program can play, and \
                    start again. Practice begins when there is sound.";
        body.say(rest, Style::new());
    }
    if let Some(reason) = view.deaf {
        body.gap();
        let said = format!("{}. Claps are taken by keys.", printable(reason));
        body.say(&said, theme.strong());
    }
    if view.advice == Advice::Loudness {
        body.gap();
        body.say(LOUDNESS, Style::new());
    }
    body
}

const LOUDNESS: &str = "Before you begin: turn the volume down, and up only until it is \
    comfortable. Speech at arm's length must stay understandable over it. Stop when your ears \
    ring or feel dull. What a physician or an audiologist says, and the rules where you are, come \
    first.";
