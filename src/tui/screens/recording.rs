//! A recording, cycle by cycle.

use std::mem;
use std::ops::Range;

use ratatui::style::Style;
use ratatui::text::{Line, Span};

use super::counted;
use super::grid::Grid;
use crate::app::recording::{Clapping, Recording, State, agreement_of, agreement_with_analysis};
use crate::listen::{Analysis, Part, accent_steps, clock};
use crate::mark::By;
use crate::quiz::{Along, Hand, ToClap};
use crate::tui::keymap;
use crate::tui::page::{Body, INDENT, Screen, cell, cut};
use crate::tui::theme::Theme;
use crate::tui::view::View;

/// Columns of a time before a row of the strip.
const CLOCK: usize = 8;
/// Rows of cycles that the strip shows at most: bare, with what the learner says, and with another
/// person's marks too.
const ROWS: usize = 4;
const ROWS_WITH_MARKS: usize = 2;
const ROWS_WITH_PERSON: usize = 1;
/// Columns of the name of a part, and of one pulse in the grid.
const NAME: usize = 11;
const PULSE: usize = 5;
/// What speaks for one or the other so little, in nats, that it is not told.
const LITTLE: f64 = 1.0;
/// Columns from which on there is room for whole sentences.
const WIDE: usize = 80;
/// Columns of a person's name in a sentence.
const NAME_IN_WORDS: usize = 20;

pub(in crate::tui) fn screen(
    recording: &Recording,
    view: &View<'_>,
    theme: Theme,
    columns: usize,
) -> Screen {
    let mut body = Body::new(columns);
    match (&recording.state, &recording.analysis) {
        (State::Refused(why), _) => {
            body.say(&format!("It cannot be heard: {why}."), theme.strong());
        }
        (State::Hearing(seconds, of), _) => {
            let so_far = clock(f64::from(*seconds));
            let said = match of {
                Some(of) => format!("It is being heard: {so_far} of {}.", clock(f64::from(*of))),
                None => format!("It is being heard: {so_far} so far."),
            };
            body.say(&said, theme.strong());
        }
        (State::Finding(seconds), _) => {
            let said = format!(
                "It is heard to its end, {}; now its pulses are being found.",
                clock(f64::from(*seconds))
            );
            body.say(&said, theme.strong());
        }
        (State::Known, Some(analysis)) if !analysis.cycles.is_empty() => {
            known(&mut body, recording, analysis, view, (theme, columns));
        }
        (State::Known, _) => {
            body.say(nothing_to_count(recording), theme.strong());
        }
    }
    if !recording.lost.is_empty() {
        body.say(
            &format!("Not all could be read: {}.", recording.lost),
            Style::new(),
        );
    }
    if let Some(behind) = recording.behind_the_end() {
        body.say(&format!("{behind}."), Style::new());
    }
    Screen {
        title: recording.name.clone(),
        aside: aside(recording),
        body,
    }
}

/// Why nothing can be counted in it.
fn nothing_to_count(recording: &Recording) -> &'static str {
    match recording.n_pulses() {
        0 => "Nothing is heard in it, or too little to count.",
        _ => "It is shorter than a cycle.",
    }
}

fn aside(recording: &Recording) -> String {
    let Some(analysis) = &recording.analysis else {
        return String::new();
    };
    let tempo = match (recording.candidate(), analysis.tempo_ppm()) {
        (Some((at, n, _)), Some(ppm)) => format!("   {at} of {n}: {ppm:.0} pulses a minute"),
        (None, Some(ppm)) => format!("   {ppm:.0} pulses a minute"),
        (_, None) => String::new(),
    };
    format!("{}{tempo}", clock(recording.seconds))
}

fn known(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    view: &View<'_>,
    (theme, columns): (Theme, usize),
) {
    strip(body, recording, analysis, (theme, columns));
    body.explain("3 to threes, 2 to twos, b to both, . unclear; below it how sure: # + -");
    body.gap();
    match &recording.clapping {
        Clapping::No if recording.is_tapping => {
            let key = keymap::hand_key(Hand::Either);
            let said = format!(
                "Tap every pulse with {key} or t, from a first of a cycle on: {} so far. Enter takes \
                 them for pulses, from 8 on; backspace stops, and then {key} plays and falls silent \
                 again.",
                counted(recording.n_taps as u64, "tap")
            );
            body.say(&said, theme.strong());
        }
        Clapping::No => cycle_here(body, recording, analysis, view, theme),
        Clapping::Now(taps) => {
            let how = match recording.to_clap() {
                Some(ToClap::Two(_)) => {
                    let [left, right] = [Hand::Left, Hand::Right].map(keymap::hand_key);
                    format!(" with two keys, threes with {left} and twos with {right}")
                }
                _ => String::new(),
            };
            let said = format!(
                "Clap along{how}: claps lead for a cycle, and then it is yours. {} so far.",
                counted(taps.len() as u64, "clap")
            );
            body.say(&said, theme.strong());
        }
        Clapping::Judged(along) => judged(body, recording, along, (theme, columns)),
    }
    body.gap();
    agreement(body, recording, analysis, columns);
    body.mention(&format!("The whole: {}.", analysis.whole_words()));
    if !recording.unkept.is_empty() {
        let said = format!("Nothing of it is kept: {}.", recording.unkept);
        body.say(&said, Style::new());
    }
    if recording.is_laid {
        let said = "No pulse was found, so that an even one is laid over it. Tap along with t, or give \
                    one by --tempo and --start, or as a list by --pulses.";
        body.say(said, theme.strong());
    } else if !recording.is_set && !recording.is_tapping {
        let other = recording.other_tempo();
        let other = other.map_or_else(String::new, |ppm| {
            format!(", p if there are {ppm:.0} pulses a minute")
        });
        let said = format!(
            "Where cycles begin is a proposal: enter if it is right, 1 for a pulse later{other}."
        );
        body.say(&said, Style::new());
    }
    if !recording.told.is_empty() {
        body.say(&recording.told, theme.strong());
    }
    let (from, until) = recording.passage;
    let claps = match recording.level.decibels() {
        0 => recording.claps.words().to_owned(),
        db => format!("{} ({db:+} dB)", recording.claps.words()),
    };
    let how = if recording.is_sounding {
        "sounding"
    } else {
        "ready"
    };
    let percent = recording.speed.percent();
    let cycles = match until - from {
        1 => format!("cycle {until}"),
        _ => format!("cycles {} to {until}", from + 1),
    };
    let said = format!("{how}: {cycles}, claps {claps}, speed {percent} %");
    body.say(&said, Style::new());
}

/// What is heard in the cycle that is looked at.
fn cycle_here(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    view: &View<'_>,
    theme: Theme,
) {
    let here = &analysis.cycles[recording.here.min(analysis.cycles.len() - 1)];
    let at = recording.here + 1;
    let own = recording.said_of(&By::Own, recording.here);
    let own = own.map_or_else(String::new, |said| format!("you say {said}; heard: "));
    let said = format!(
        "Cycle {at}, {}: {own}{}.",
        clock(here.start),
        here.said.words()
    );
    body.say(&said, theme.strong());
    grid(body, recording, analysis, view, theme);
    let parts = Part::ALL.iter().zip(here.sides);
    let parts: Vec<String> = parts
        .filter_map(|(part, sides)| Some(format!("{} to {}", part.name(), side(sides)?)))
        .collect();
    if !parts.is_empty() {
        let parts = parts.join(", ");
        body.mention(&format!("By part, with its neighbours: {parts}."));
    }
}

/// To what a part leans by what speaks in it for threes and for twos; nothing where little does.
fn side([threes, twos]: [f64; 2]) -> Option<&'static str> {
    match (threes > LITTLE, twos > LITTLE) {
        (true, true) if threes > 2.0 * twos => Some("threes, a little to twos"),
        (true, true) if twos > 2.0 * threes => Some("twos, a little to threes"),
        (true, true) => Some("threes and to twos"),
        (true, false) => Some("threes"),
        (false, true) => Some("twos"),
        (false, false) => None,
    }
}

/// What came of claps along with the passage.
fn judged(body: &mut Body, recording: &Recording, along: &Along, (theme, columns): (Theme, usize)) {
    body.say(&along.verdict, theme.strong());
    body.say(&along.timing, Style::new());
    let cycle = recording.cycle_in_passage();
    let grid = Grid::new(theme, columns, &along.counts);
    body.line(grid.heading(
        &along.counts,
        &format!("cycle {} of the passage", cycle + 1),
    ));
    for row in &along.rows {
        body.line(grid.row(row, cycle));
    }
}

/// How far the learner and the analysis agree, and another person with both.
fn agreement(body: &mut Body, recording: &Recording, analysis: &Analysis, columns: usize) {
    let own = recording.marks.get(&By::Own);
    let with_own = own.map(|own| agreement_with_analysis(analysis, own));
    let beside = recording.beside.as_ref();
    let theirs = beside.and_then(|by| Some((by, recording.marks.get(by)?)));
    let Some((By::Other(name), theirs)) = theirs else {
        if let Some(found) = with_own.filter(|found| !found.is_nothing()) {
            let short = found.in_short("you", "the analysis");
            let words = match short.filter(|_| columns < WIDE) {
                Some(short) => format!("Agreeing where both tell: {short}."),
                None => format!("Of what was said {}.", found.words("you", "the analysis")),
            };
            body.say(&words, Style::new());
        }
        return;
    };
    let name = cut(name.as_str(), NAME_IN_WORDS);
    let with_theirs = own.map(|own| agreement_of(analysis, [own, theirs]));
    let of_theirs = agreement_with_analysis(analysis, theirs);
    let all = [
        with_theirs.and_then(|found| found.in_short("you", &name)),
        with_own.and_then(|found| found.in_short("you", "the analysis")),
        of_theirs.in_short(&name, "the analysis"),
    ];
    let told: Vec<String> = all.into_iter().flatten().collect();
    if !told.is_empty() {
        let told = told.join(", ");
        body.say(&format!("Agreeing where both tell: {told}."), Style::new());
    }
}

/// What the learner and another person say of cycles, and below it a bar where a section begins.
fn persons(recording: &Recording, cycles: Range<usize>, theme: Theme) -> Vec<Line<'static>> {
    let mut lines = Vec::new();
    for by in [Some(&By::Own), recording.beside.as_ref()]
        .into_iter()
        .flatten()
    {
        lines.extend(person(recording, by, cycles.clone(), theme));
    }
    if !recording.sections.begins().is_empty() {
        let sign = |cycle| {
            if recording.begins_section(cycle) {
                '|'
            } else {
                '-'
            }
        };
        let row: String = cycles.map(sign).collect();
        let name = cell("part", CLOCK);
        lines.push(Line::from(format!("{:INDENT$}{name}{row}", "")));
    }
    lines
}

/// What a person says of cycles, one sign each; nothing where they say nothing of all.
fn person(
    recording: &Recording,
    by: &By,
    cycles: Range<usize>,
    theme: Theme,
) -> Option<Line<'static>> {
    let name = match by {
        By::Own => "you",
        By::Other(name) => name.as_str(),
    };
    let sign = |cycle| {
        let said = recording.said_of(by, cycle);
        said.map_or(' ', |said| said.mark.sign())
    };
    let signs: Vec<char> = cycles.map(sign).collect();
    if signs.iter().all(|sign| *sign == ' ') {
        return None;
    }
    let head = format!("{} ", cell(name, CLOCK - 1));
    let mut spans = vec![Span::raw(format!("{:INDENT$}{head}", ""))];
    let span = |sign: &char| Span::styled(sign.to_string(), theme.mark(*sign));
    spans.extend(signs.iter().map(span));
    Some(Line::from(spans))
}

/// Rows of cycles about the one that is looked at, with the passage marked below. Where there is little
/// room the row of that one stays.
fn strip(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    (theme, columns): (Theme, usize),
) {
    let a_row = columns.saturating_sub(INDENT + CLOCK + 2).max(10);
    let n_rows = analysis.cycles.len().div_ceil(a_row);
    let here = recording.here / a_row;
    let is_bare = recording.marks.is_empty() && recording.sections.begins().is_empty();
    let n_shown = match recording.beside {
        Some(_) => ROWS_WITH_PERSON,
        None if is_bare => ROWS,
        None => ROWS_WITH_MARKS,
    };
    let first = here
        .saturating_sub(n_shown / 2)
        .min(n_rows.saturating_sub(n_shown));
    for row in first..(first + n_shown).min(n_rows) {
        let cycles = row * a_row..((row + 1) * a_row).min(analysis.cycles.len());
        let of_row = &analysis.cycles[cycles.clone()];
        let time = cell(&clock(of_row[0].start), CLOCK);
        let mut spans = vec![Span::raw(format!("{:INDENT$}{time}", ""))];
        spans.extend(of_row.iter().map(|cycle| {
            let mark = cycle.said.lean.mark();
            Span::styled(mark.to_string(), theme.mark(mark))
        }));
        let mut lines = vec![Line::from(spans)];
        let sure: String = of_row.iter().map(|cycle| cycle.said.shade()).collect();
        lines.push(Line::from(format!("{:INDENT$}{:CLOCK$}{sure}", "", "")));
        lines.extend(persons(recording, cycles.clone(), theme));
        let below: String = cycles.map(|cycle| under(recording, cycle, theme)).collect();
        if !below.trim().is_empty() {
            let line = format!("{:INDENT$}{:CLOCK$}{below}", "", "");
            lines.push(Line::styled(line, theme.strong()));
        }
        if row == here {
            lines.into_iter().for_each(|line| body.line(line));
        } else {
            body.extras(lines);
        }
    }
}

/// The sign under a cycle: where one looks, and the passage.
fn under(recording: &Recording, cycle: usize, theme: Theme) -> char {
    let (from, until) = recording.passage;
    match cycle {
        _ if cycle == recording.here => theme.playhead(),
        _ if cycle == from => '[',
        _ if cycle + 1 == until => ']',
        _ if (from..until).contains(&cycle) => '=',
        _ => ' ',
    }
}

/// How strongly each part strikes on each pulse of the cycle.
fn grid(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    view: &View<'_>,
    theme: Theme,
) {
    let cycle = analysis.cycle;
    let Some(strengths) = analysis.accents(recording.here) else {
        return;
    };
    let has_part = [0, 1, 2, 3].map(|idx| analysis.strengths.iter().any(|pulse| pulse[idx] > 0.0));
    let counting = view.counting.unwrap_or_default();
    let counts: String = cycle
        .pulses()
        .map(|pulse| cell(&counting.name(cycle, pulse), PULSE))
        .collect();
    let mut lines = vec![Line::styled(
        format!("{:INDENT$}{:NAME$}{counts}", "", "count"),
        theme.strong(),
    )];
    for (idx, part) in Part::ALL.iter().enumerate() {
        if !has_part[idx] {
            continue;
        }
        let marks: String = strengths
            .iter()
            .map(|pulse| cell(bar(pulse[idx]), PULSE))
            .collect();
        let name = part.name();
        lines.push(Line::from(format!("{:INDENT$}{name:NAME$}{marks}", "")));
        // Counts without a row below them say nothing.
        body.rather(mem::take(&mut lines));
    }
    body.explain("# ## ### stronger on this count than on the weakest of the cycle");
    if let Some(head) = view.playhead.filter(|_| recording.is_sounding) {
        let (from, _) = recording.passage;
        if from + head.cycle.0 == recording.here {
            let at = place(head.pulse);
            let line = format!("{:INDENT$}{:NAME$}{:at$}{}", "", "", "", theme.playhead());
            body.extra(Line::styled(line, theme.strong()));
        }
    }
}

/// The column of a place in the cycle.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "columns of a screen"
)]
fn place(pulse: f64) -> usize {
    (pulse.max(0.0) * PULSE as f64) as usize
}

fn bar(strength: f64) -> &'static str {
    [".", "#", "##", "###"][accent_steps(strength).min(3)]
}
