//! The grid of a cycle: how strongly each part strikes on each count.

use ratatui::text::Line;

use crate::app::STANDS_OUT;
use crate::app::recording::Recording;
use crate::listen::{Analysis, Part, accent_steps};
use crate::tui::page::{Body, INDENT, cell};
use crate::tui::theme::Theme;
use crate::tui::view::View;

/// Columns of the name of a part, and of one pulse at most, unless names of counts are longer.
const NAME: usize = 11;
const PULSE: usize = 5;
/// Columns of a pulse from which on marks are told by how long they are.
const ROOMY: usize = 4;

/// Draws it, all of it or nothing, with the place that sounds below its counts.
pub(super) fn grid(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    view: &View<'_>,
    (theme, columns): (Theme, usize),
) {
    let cycle = analysis.cycle;
    let Some(strengths) = analysis.accents(recording.here) else {
        return;
    };
    let room = columns.saturating_sub(INDENT + NAME + 1);
    let counting = view.counting.unwrap_or_default();
    let names = cycle.pulses().map(|count| counting.name(cycle, count));
    let longest = names.map(|name| name.chars().count()).max().unwrap_or(0);
    let pulse = (room / cycle.n_pulses()).clamp(1, PULSE.max(longest + 1));
    let marks = match pulse >= ROOMY {
        true => [".", "#", "##", "###"],
        false => [".", "-", "+", "#"],
    };
    let row = |name: &str, cells: String| format!("{:INDENT$}{}{cells}", "", cell(name, NAME));
    let counts = counting.short_names(cycle, pulse);
    let counts = counts.iter().map(|count| cell(count, pulse));
    let mut lines = vec![Line::styled(row("count", counts.collect()), theme.strong())];
    for (idx, part) in Part::ALL.iter().enumerate() {
        if !analysis.strengths.iter().any(|pulse| pulse[idx] > 0.0) {
            continue;
        }
        let steps = strengths
            .iter()
            .map(|pulse| accent_steps(pulse[idx]).min(3));
        let cells = steps.map(|steps| cell(marks[steps], pulse));
        lines.push(Line::from(row(part.name(), cells.collect())));
    }
    if let Some(head) = view.playhead.filter(|_| recording.is_sounding) {
        // The row stays while the sound is elsewhere, so that nothing below it moves.
        let (from, _) = recording.passage;
        let sign = match from + head.cycle.0 == recording.here {
            true => format!("{:1$}{2}", "", place(head.pulse, pulse), theme.playhead()),
            false => String::new(),
        };
        lines.push(Line::styled(row("", sign), theme.strong()));
    }
    body.rather(lines);
    let [_, signs @ ..] = marks;
    body.explain(&format!("{}: {STANDS_OUT}", signs.join(" ")));
}

/// The column of a place in the cycle, where a pulse has so many.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "columns of a screen"
)]
fn place(at: f64, pulse: usize) -> usize {
    (at.max(0.0) * pulse as f64) as usize
}
