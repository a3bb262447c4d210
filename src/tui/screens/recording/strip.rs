//! The strip of cycles: to what they lean, how sure, what persons say, and where one is.

use std::ops::Range;

use ratatui::text::{Line, Span};

use crate::app::recording::{Evens, Recording, overview};
use crate::listen::{Analysis, clock};
use crate::mark::By;
use crate::tui::page::{Body, INDENT, cell};
use crate::tui::theme::Theme;

/// Columns before a row of the strip: of a time, or of a name.
const HEAD: usize = 8;
/// Rows of cycles that the strip shows at most: bare, with what the learner says, and with another
/// person's marks too. A piece that is longer is shown as a whole and by one row of it.
const ROWS: usize = 4;
const ROWS_WITH_MARKS: usize = 2;
const ROWS_WITH_PERSON: usize = 1;

/// The sign of a cycle of pulses that are laid where none were found.
const LAID: char = '~';

/// All of a piece, or the whole and the row in which one looks. Where there is little room that row
/// stays, and all that stands below it but how sure it is.
pub(super) fn strip(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    (theme, columns): (Theme, usize),
) {
    let a_row = a_row(columns);
    let here = recording.here / a_row;
    let rows = match is_long(recording, columns) {
        true => here..here + 1,
        false => 0..analysis.cycles.len().div_ceil(a_row),
    };
    if is_long(recording, columns) {
        whole(body, recording, analysis, (theme, a_row));
    }
    for row in rows {
        let cycles = row * a_row..((row + 1) * a_row).min(analysis.cycles.len());
        let of_row = &analysis.cycles[cycles.clone()];
        let mark = |cycle: usize| match is_laid_among_others(recording, cycle) {
            true => LAID,
            false => analysis.cycles[cycle].said.mark(),
        };
        let marks = cycles.clone().map(mark);
        let leans = headed(&clock(of_row[0].start), marks, theme);
        let shades = of_row.iter().map(|cycle| cycle.said.shade());
        let shades = headed("", shades, theme);
        let mut below = persons(recording, cycles.clone(), theme);
        let signs = signs_below(recording, cycles, theme);
        if !signs.trim().is_empty() {
            let line = format!("{:1$}{signs}", "", INDENT + HEAD - 1);
            below.push(Line::styled(line, theme.strong()));
        }
        if row == here {
            body.line(leans);
            body.extra(shades);
            below.into_iter().for_each(|line| body.line(line));
        } else {
            body.extras([vec![leans, shades], below].concat());
        }
    }
}

fn is_laid_among_others(recording: &Recording, cycle: usize) -> bool {
    !recording.is_laid() && recording.is_laid_at(cycle)
}

/// What the signs of the strip mean.
pub(super) fn legend(body: &mut Body, recording: &Recording, (theme, columns): (Theme, usize)) {
    let here = theme.playhead();
    let in_turn = match recording.cycle() {
        cycle if cycle.is_of_sixes() => "t in turn, ",
        _ => "",
    };
    body.mention(&format!(
        "3 threes, 2 twos, b both, {in_turn}. unclear; # + - how sure; [=] passage, {here} here"
    ));
    if recording.has_pauses() {
        body.mention("part: a : where pulses pause before a cycle");
    }
    if recording.evens() == Some(Evens::Laid) {
        body.mention(&format!("{LAID} even pulses, where none were found"));
    }
    if is_long(recording, columns) {
        let n = recording.n_cycles().div_ceil(a_row(columns));
        body.mention(&format!(
            "whole: a sign is up to {n} cycles, by what most lean to; = the row below it"
        ));
    }
}

/// Whether a piece does not fit into the strip.
fn is_long(recording: &Recording, columns: usize) -> bool {
    let has_parts = !recording.sections.begins().is_empty() || recording.has_pauses();
    let is_bare = recording.marks.is_empty() && !has_parts;
    let n_shown = match recording.beside {
        Some(_) => ROWS_WITH_PERSON,
        None if is_bare => ROWS,
        None => ROWS_WITH_MARKS,
    };
    recording.n_cycles() > n_shown * a_row(columns)
}

/// Cycles in a row; a column is left free at both ends of it.
fn a_row(columns: usize) -> usize {
    columns.saturating_sub(INDENT + HEAD + 2).max(10)
}

/// The whole piece in a row, and below it where one is and what the row below shows of it.
fn whole(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    (theme, a_row): (Theme, usize),
) {
    let stretches = overview(analysis, a_row);
    let marks = stretches.iter().map(|(_, said)| said.mark());
    body.line(headed("whole", marks, theme));
    let shades = stretches.iter().map(|(_, said)| said.shade());
    body.extra(headed("", shades, theme));
    let row = recording.here / a_row;
    let shown = row * a_row..(row + 1) * a_row;
    let (passage, _) = recording.passage;
    let sign = |cycles: &Range<usize>| match cycles {
        _ if cycles.contains(&recording.here) => theme.playhead(),
        _ if cycles.start < shown.end && shown.start < cycles.end => '=',
        _ if cycles.contains(&passage) => '[',
        _ => ' ',
    };
    let signs: String = stretches.iter().map(|(cycles, _)| sign(cycles)).collect();
    let line = format!("{:1$}{signs}", "", INDENT + HEAD);
    body.line(Line::styled(line, theme.strong()));
}

/// A row of signs with what stands before it.
fn headed(head: &str, signs: impl Iterator<Item = char>, theme: Theme) -> Line<'static> {
    let head = cell(head, HEAD - 1);
    let mut spans = vec![Span::raw(format!("{:INDENT$}{head} ", ""))];
    spans.extend(signs.map(|sign| Span::styled(sign.to_string(), theme.mark(sign))));
    Line::from(spans)
}

/// What the learner and another person say of cycles, and below it a bar where a section begins, and a colon where
/// one does after a pause.
fn persons(recording: &Recording, cycles: Range<usize>, theme: Theme) -> Vec<Line<'static>> {
    let mut lines = Vec::new();
    for by in [Some(&By::Own), recording.beside.as_ref()]
        .into_iter()
        .flatten()
    {
        lines.extend(person(recording, by, cycles.clone(), theme));
    }
    let pauses = |cycle| recording.follows_pause(cycle);
    if !recording.sections.begins().is_empty() || cycles.clone().any(pauses) {
        let sign = |cycle| match (recording.begins_section(cycle), pauses(cycle)) {
            (true, _) => '|',
            (false, true) => ':',
            (false, false) => '-',
        };
        lines.push(headed("part", cycles.map(sign), theme));
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
    let says = signs.iter().any(|sign| *sign != ' ');
    says.then(|| headed(name, signs.into_iter(), theme))
}

/// The signs below some cycles, from the column before them to the one after: where one is, and brackets
/// about the passage. A bracket that would stand where one is stands on the passage itself.
fn signs_below(recording: &Recording, cycles: Range<usize>, theme: Theme) -> String {
    let ((from, until), here) = (recording.passage, recording.here);
    let sign = |cycle: usize| match cycle {
        _ if cycle == here => theme.playhead(),
        _ if (from..until).contains(&cycle) => '=',
        _ => ' ',
    };
    let mut signs = vec![' '];
    signs.extend(cycles.clone().map(sign));
    signs.push(' ');
    let before = from.checked_sub(cycles.start);
    if let Some(at) = before.filter(|_| cycles.contains(&from)) {
        signs[if here + 1 == from { at + 1 } else { at }] = '[';
    }
    let last = until.saturating_sub(1);
    let after = last.checked_sub(cycles.start);
    if let Some(at) = after.filter(|_| cycles.contains(&last)) {
        signs[if here == until { at + 1 } else { at + 2 }] = ']';
    }
    signs.into_iter().collect()
}
