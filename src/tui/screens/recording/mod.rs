//! A recording, cycle by cycle.

mod accents;
mod strip;

use ratatui::style::Style;

use super::counted;
use super::grid::Grid;
use crate::app::recording::{
    Clapping, NextPulse, Recording, State, agreement_of, agreement_with_analysis,
};
use crate::listen::{Analysis, Part, clock};
use crate::mark::By;
use crate::quiz::{Along, Hand, ToClap};
use crate::rhythm::{Counting, Cycle};
use crate::tui::keymap;
use crate::tui::page::{Body, Screen, cut};
use crate::tui::theme::Theme;
use crate::tui::view::View;

use accents::grid;
use strip::{legend, strip};

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
    if let Some(apart) = recording.said_apart() {
        body.say(&format!("{apart}."), Style::new());
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
    let found = match is_proposed(recording) {
        true => "found: ",
        false => "",
    };
    let tempo = recording
        .tempo_words()
        .filter(|_| !analysis.pulses.is_empty());
    let tempo = tempo.map_or_else(String::new, |tempo| {
        format!("   {found}{tempo} pulses a minute")
    });
    format!("{}{tempo}", clock(recording.seconds))
}

/// Whether its pulses were found and the learner said nothing of them yet.
fn is_proposed(recording: &Recording) -> bool {
    !recording.is_set && !recording.is_laid()
}

fn known(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    view: &View<'_>,
    (theme, columns): (Theme, usize),
) {
    strip(body, recording, analysis, (theme, columns));
    legend(body, recording, (theme, columns));
    match recording.is_behind {
        true => body.mention("It is being heard anew; until then it leans as before."),
        false => body.mention(&format!("The whole: {}.", analysis.whole_words())),
    }
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
        Clapping::No => cycle_here(body, recording, analysis, view, (theme, columns)),
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
    if recording.is_laid() {
        let said = "No pulse was found, so that an even one is laid over it. Tap along with t, or give \
                    one by --tempo and --start, or as a list by --pulses.";
        body.rather_say(said, theme.strong());
    } else if is_proposed(recording) && !recording.is_tapping {
        body.rather_say(&proposal(recording), Style::new());
    }
    if recording.is_of_half_pulses() {
        let said = "No note begins on every second pulse of the file, so that it can lean to nothing but \
                    twos: open it with --pulse-note 1/4 to take quarter notes for pulses.";
        body.rather_say(said, theme.strong());
    }
    agreement(body, recording, analysis, columns);
    if !recording.unkept.is_empty() {
        let said = format!("Nothing of it is kept: {}.", recording.unkept);
        body.say(&said, Style::new());
    }
    if view.no_sound.is_some() {
        body.say("No sound device: nothing can be played.", theme.strong());
    } else if !recording.unplayed.is_empty() {
        let why = &recording.unplayed;
        let said = format!("It can be looked at, but not played: {why}.");
        body.say(&said, theme.strong());
    }
    if !recording.told.is_empty() {
        body.say(&recording.told, theme.strong());
    }
    let counting = view.counting.unwrap_or_default();
    body.say(&set_up(recording, counting), Style::new());
}

/// That pulses are found and not set, and what may be done about it.
fn proposal(recording: &Recording) -> String {
    let next = match recording.next_pulse() {
        Some(NextPulse::Proposal {
            nth,
            of,
            ppm,
            against,
        }) => format!(", p tries other pulses: {against}, {ppm:.0} a minute ({nth} of {of})"),
        Some(NextPulse::Own) => ", p goes back to those that you set".to_owned(),
        None => String::new(),
    };
    let (places, n) = (recording.places(), recording.next_cycle().n_pulses());
    format!(
        "Pulses are found{places}, not set: enter keeps them, 1 begins cycles a pulse later, l counts \
         in cycles of {n}{next}."
    )
}

/// What is played, and how.
fn set_up(recording: &Recording, counting: Counting) -> String {
    let (from, until) = recording.passage;
    let claps = match recording.level.decibels() {
        0 => recording.claps.words(counting),
        db => format!("{} ({db:+} dB)", recording.claps.words(counting)),
    };
    let how = match recording.is_sounding {
        true => "sounding",
        false => "ready",
    };
    let percent = recording.speed.percent();
    let cycles = match until - from {
        1 => format!("cycle {until}"),
        _ => format!("cycles {} to {until}", from + 1),
    };
    let of = match recording.cycle() {
        Cycle::SIX => String::new(),
        other => format!(" of {}", other.n_pulses()),
    };
    format!("{how}: {cycles}{of}, claps {claps}, speed {percent} %")
}

/// What is heard in the cycle that is looked at.
fn cycle_here(
    body: &mut Body,
    recording: &Recording,
    analysis: &Analysis,
    view: &View<'_>,
    (theme, columns): (Theme, usize),
) {
    let here = &analysis.cycles[recording.here.min(analysis.cycles.len() - 1)];
    let at = recording.here + 1;
    let own = recording.said_of(&By::Own, recording.here);
    let own = own.map_or_else(String::new, |said| format!("you say {said}; heard: "));
    let heard = match recording.is_laid_at(recording.here) {
        true => "nothing, for no pulses were found here and these are laid evenly".to_owned(),
        false => here.said.words(),
    };
    let said = format!("Cycle {at}, {}: {own}{heard}.", clock(here.start));
    body.rather_say(&said, theme.strong());
    grid(body, recording, analysis, view, (theme, columns));
    let parts = Part::ALL.iter().zip(here.sides);
    let parts: Vec<String> = parts
        .filter_map(|(part, sides)| Some(format!("{} to {}", part.name(), side(sides)?)))
        .collect();
    if !parts.is_empty() {
        let parts = parts.join("; ");
        body.mention(&format!("By voice, with its neighbours: {parts}."));
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
                Some(short) => format!("Both say the same: {short}."),
                None => {
                    let told = found.words("you", "the analysis");
                    format!("{}.", capital(&told))
                }
            };
            body.rather_say(&words, Style::new());
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
        let told = told.join("; ");
        body.rather_say(&format!("Both say the same: {told}."), Style::new());
    }
}

/// A text with a capital letter at its beginning.
fn capital(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(chars).collect()
}
