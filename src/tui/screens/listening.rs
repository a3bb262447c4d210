//! A phrase that is listened to, told what it is.

use ratatui::style::Style;

use crate::app::Listening;
use crate::tui::page::{Body, Screen};
use crate::tui::theme::Theme;
use crate::tui::view::View;

use super::grid;

pub(in crate::tui) fn screen(
    listening: &Listening,
    view: &View<'_>,
    theme: Theme,
    columns: usize,
) -> Screen {
    let mut body = Body::new(columns);
    body.say(
        "Only listen: nothing is asked, and nothing is scored.",
        Style::new(),
    );
    body.mention(&listening.line);
    body.gap();
    match &listening.told {
        None if listening.refused.is_some() => {
            let refused = listening.refused.as_deref().unwrap_or_default();
            body.say(refused, theme.strong());
        }
        None => body.say("A phrase is being made.", Style::new()),
        Some((_, reveal)) => {
            body.say(&reveal.verdict, theme.strong());
            body.say(&reveal.reason, Style::new());
            body.gap();
            for line in grid::lines(reveal, view, theme, columns) {
                body.line(line);
            }
        }
    }
    Screen {
        title: listening.title.clone(),
        aside: "listening".to_owned(),
        body,
    }
}
