//! The tune-up: what to do, how far taps scatter, and what they came to.

use ratatui::style::Style;
use ratatui::text::Line;

use crate::app::tune_up::TuneUp;
use crate::tui::page::{Body, Screen};
use crate::tui::theme::Theme;

pub(in crate::tui) fn screen(tune_up: &TuneUp, theme: Theme, columns: usize) -> Screen {
    let mut body = Body::new(columns);
    body.say(tune_up.task(), theme.strong());
    body.mention(SAFE);
    body.gap();
    if tune_up.is_tapped() {
        body.line(Line::from(format!("   taps   {}", tune_up.n_taps())));
        body.gap();
        let strip = tune_up.strip();
        if !strip.is_empty() {
            body.line(Line::from(format!("   early  {}  late", cells(&strip))));
            body.say(
                "Each place is 10 ms, their mean in the middle.",
                Style::new(),
            );
            body.gap();
        }
        body.say(&tune_up.said(), Style::new());
    }
    Screen {
        title: "tune-up".to_owned(),
        aside: tune_up.output.clone(),
        body,
    }
}

const SAFE: &str = "Set it low: somebody at arm's length must stay easy to understand. Wireless \
    earphones delay too much and too unevenly; use a cable.";

/// One sign a cell: how many taps lie there, up to nine.
fn cells(strip: &[usize]) -> String {
    let sign = |n: &usize| match u32::try_from(*n).unwrap_or(9).min(9) {
        0 => '.',
        n => char::from_digit(n, 10).unwrap_or('9'),
    };
    strip.iter().map(sign).collect()
}
