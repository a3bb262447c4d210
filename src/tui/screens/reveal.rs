//! A question after its answer: right or not, what gave it away, and the cycle as it sounded.

use ratatui::style::Style;

use crate::app::set_aside;
use crate::quiz::{Hearing, Shown};
use crate::tui::page::{Body, Screen};
use crate::tui::theme::Theme;
use crate::tui::view::{Advice, View};

use super::grid;

pub(in crate::tui) fn screen(
    shown: &Shown,
    view: &View<'_>,
    theme: Theme,
    columns: usize,
) -> Screen {
    let reveal = &shown.reveal;
    let mut body = Body::new(columns);
    body.say(&reveal.verdict, theme.strong());
    body.say(&reveal.reason, Style::new());
    body.gap();
    // Where room is short, what hands did matters more than the voices they clapped to.
    let n_voices = if reveal.you.len() > 1 {
        reveal.rows.len()
    } else {
        0
    };
    for (idx, line) in grid::lines(reveal, view, theme, columns)
        .into_iter()
        .enumerate()
    {
        if (1..=n_voices).contains(&idx) {
            body.extra(line);
        } else {
            body.line(line);
        }
    }
    if let Some(repair) = shown.repair() {
        body.say(&format!("It helps: {repair}"), Style::new());
    }
    body.gap();
    body.say(&state(shown), Style::new());
    if view.advice == Advice::Rest {
        body.say(REST, theme.strong());
    }
    let (place, of) = shown.ticket.place;
    Screen {
        title: shown.ticket.title.to_string(),
        aside: format!("phrase {place} of up to {of}"),
        body,
    }
}

const REST: &str = "You have practised for a good while: give your ears and hands five minutes.";

/// Whether the answer is kept, whether its label is disputed, and what sounds.
fn state(shown: &Shown) -> String {
    let mut said = vec![if shown.saved { "kept" } else { "being kept" }.to_owned()];
    if shown.disputed {
        said.push(set_aside(shown));
    }
    if let Some((hearing, since)) = shown.sounding {
        let state = if since.is_some() {
            "sounding"
        } else {
            "coming"
        };
        said.push(format!("{state}: {}", hearing_in_words(hearing)));
    }
    said.join("; ")
}

fn hearing_in_words(hearing: Hearing) -> String {
    match hearing {
        Hearing::Question => "the phrase".to_owned(),
        Hearing::Clapping(_) => "a clapping".to_owned(),
        Hearing::AsItIs => "as it is, under its claps".to_owned(),
        Hearing::AsAnswered => "as you answered, under those claps".to_owned(),
        Hearing::Together => "the right claps and yours together".to_owned(),
        Hearing::OwnAlone => "your claps alone".to_owned(),
        Hearing::Voice(voice) => format!("only the {}", voice.words()),
    }
}
