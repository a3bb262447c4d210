//! The bench: the cycle as a wheel and as a grid, and what is set up.

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use crate::app::bench::{Bench, Claps, Guide};
use crate::rhythm::Layer;
use crate::tui::page::{Body, INDENT, Screen, cell};
use crate::tui::theme::Theme;
use crate::tui::view::View;

use super::grid::Grid;
use super::wheel;

pub(in crate::tui) fn screen(
    bench: &Bench,
    view: &View<'_>,
    theme: Theme,
    (columns, height): (usize, usize),
) -> Screen {
    let cycle = view.playhead.map_or(0, |playhead| playhead.cycle.0);
    let pulse = view.playhead.map(|playhead| playhead.pulse);
    let grid = grid(bench, cycle, pulse, theme, columns);
    let mut body = Body::new(columns);
    // The wheel is a second picture of the same: it goes first where the screen is low.
    if height > wheel::SIZE.1 + grid.len() {
        for line in wheel_lines(bench, cycle, pulse, theme) {
            body.extra(line);
        }
    }
    body.say(&set_up(bench), Style::new());
    for line in grid {
        body.line(line);
    }
    body.mention(said_of_guide(bench));
    Screen {
        title: "bench".to_owned(),
        aside: format!("{} pulses a minute", bench.ppm),
        body,
    }
}

fn grid(
    bench: &Bench,
    cycle: usize,
    pulse: Option<f64>,
    theme: Theme,
    columns: usize,
) -> Vec<Line<'static>> {
    let grid = Grid::new(theme, columns, &bench.counts);
    let n_cycles = bench.claps_row.cycles.len();
    let mut lines =
        vec![grid.heading(&bench.counts, &format!("cycle {} of {n_cycles}", cycle + 1))];
    for (row, is_on) in &bench.rows {
        let mut row = row.clone();
        if !is_on {
            row.aside = "off".to_owned();
        }
        lines.push(grid.row(&row, cycle));
    }
    let mut claps = bench.claps_row.clone();
    claps.aside = match bench.guide {
        Guide::BothReadings => "3, then 2",
        Guide::Every | Guide::Thinning => bench.claps.words(),
    }
    .to_owned();
    lines.push(grid.row(&claps, cycle));
    lines.push(pulse.map_or_else(Line::default, |pulse| grid.playhead(pulse)));
    lines
}

/// The wheel, and beside it what its figures mean.
fn wheel_lines(
    bench: &Bench,
    cycle: usize,
    pulse: Option<f64>,
    theme: Theme,
) -> Vec<Line<'static>> {
    let figures = figures(bench, cycle);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a pulse of a cycle"
    )]
    let here = pulse.map(|pulse| pulse.max(0.0) as usize);
    let said = match bench.pattern.marks() {
        Some(_) => ["", "", "the stars join", "the marks of this cycle", ""],
        None => [
            "",
            "",
            "strokes join the threes,",
            "dots join the twos;",
            "both are drawn from what sounds",
        ],
    };
    let lines = wheel::lines(&bench.counts, &figures, here);
    let pair = |(idx, line): (usize, String)| {
        let wheel = cell(&line, wheel::SIZE.0 + 3);
        let said = said.get(idx).copied().unwrap_or_default();
        Line::from(vec![
            Span::raw(format!("{:INDENT$}", "")),
            Span::styled(wheel, theme.strong()),
            Span::styled(said, Style::new()),
        ])
    };
    lines.into_iter().enumerate().map(pair).collect()
}

/// The layers that voices which are on, or the claps, state in this cycle.
fn figures(bench: &Bench, cycle: usize) -> Vec<(Layer, char)> {
    if let Some(own) = bench.pattern.marks() {
        return vec![(own, '*')];
    }
    let sounding = bench
        .rows
        .iter()
        .filter(|(_, is_on)| *is_on)
        .map(|(row, _)| row.marks(cycle));
    let marks: Vec<&[char]> = sounding.collect();
    let claps = bench.claps_row.marks(cycle);
    let cycle = bench.pattern.cycle();
    let states = |sign: char, every: usize| {
        let layer = Layer::every(cycle, every);
        let by_claps = cycle.pulses().all(|pulse| {
            let clapped = claps.get(pulse.idx()) == Some(&'x');
            clapped == layer.contains(pulse)
        });
        let by_voice = marks.iter().any(|marks| marks.contains(&sign));
        (by_claps || by_voice).then_some(layer)
    };
    let twos = states('2', 2).map(|layer| (layer, '.'));
    let threes = states('3', 3).map(|layer| (layer, '|'));
    twos.into_iter().chain(threes).collect()
}

/// The cycle, the surface, and how it groups.
fn set_up(bench: &Bench) -> String {
    let (cycle, family) = (bench.pattern.words(), bench.family.id());
    match bench.pattern.marks() {
        Some(_) => format!("{cycle}: {family}"),
        None => format!("{cycle}: {family}, {}", bench.feel.words()),
    }
}

fn said_of_guide(bench: &Bench) -> &'static str {
    match bench.guide {
        Guide::Every | Guide::Thinning if bench.claps == Claps::None => "Nobody claps.",
        Guide::Every => "The claps sound in every cycle.",
        Guide::Thinning => {
            "The claps thin out: three cycles, then one, then none. Keep them going."
        }
        Guide::BothReadings => "Claps in threes, none, in twos, none: which do you still hear?",
    }
}
