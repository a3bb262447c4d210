//! The tune-up: what to do, how far taps scatter, and what they came to.

use ratatui::style::Style;
use ratatui::text::Line;

use crate::app::tune_up::TuneUp;
use crate::tui::page::{Body, Screen};
use crate::tui::theme::Theme;

pub(in crate::tui) fn screen(tune_up: &TuneUp, theme: Theme, columns: usize) -> Screen {
    let mut body = Body::new(columns);
    body.say(
        "Tap the space bar with the bell, as exactly as you can, until it stops.",
        theme.strong(),
    );
    body.mention(
        "Set it low: somebody at arm's length must stay easy to understand. Wireless earphones delay \
         too much and too unevenly; use a cable.",
    );
    body.gap();
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
    body.say(&said(tune_up), Style::new());
    Screen {
        title: "tune-up".to_owned(),
        aside: tune_up.output.clone(),
        body,
    }
}

/// One sign a cell: how many taps lie there, up to nine.
fn cells(strip: &[usize]) -> String {
    let sign = |n: &usize| match u32::try_from(*n).unwrap_or(9).min(9) {
        0 => '.',
        n => char::from_digit(n, 10).unwrap_or('9'),
    };
    strip.iter().map(sign).collect()
}

fn said(tune_up: &TuneUp) -> String {
    let words = |micros: f64| {
        let side = if micros < 0.0 { "before" } else { "after" };
        format!("{:.0} ms {side} the bell", micros.abs() / 1_000.0)
    };
    match (tune_up.kept, tune_up.delay()) {
        (Some(kept), _) => format!(
            "Your taps lie {}, known to {:.0} ms; single ones spread by {:.0} ms. Kept for this output: \
             the way of the sound, of the key and your own lead are taken off all taps that follow.",
            words(kept.micros),
            kept.known_to() / 1_000.0,
            kept.spread / 1_000.0
        ),
        (None, Some(delay)) => format!(
            "So far your taps lie {}, known to {:.0} ms.",
            words(delay.micros),
            delay.known_to() / 1_000.0
        ),
        (None, None) if tune_up.n_taps() > 8 => {
            "Your taps scatter too widely to say; listen for some clicks, then go on.".to_owned()
        }
        (None, None) => "A few taps more, and it can be said where they lie.".to_owned(),
    }
}
