//! What line mode says, in whole sentences.

use std::io::{self, Write as _};

use crate::app::tune_up::{Step, TuneUp};
use crate::app::{Listening, SetUp, Summary, Today, headed, heard_in_words};
use crate::quiz::{Answer, GridRow, Kind, Open, Reveal, Shown};
use crate::rhythm::Feel;

use super::keys::{LISTENING, prompt};

/// The caution on loudness, given once.
const CAUTION: &str = "Start low: somebody at arm's length must stay easy to understand over the \
    sound. Stop when your ears ring or a hand hurts, and ask an audiologist or physician; what your \
    school or country rules goes first.";

pub(super) fn tell_today(today: &Today, caution: bool) -> io::Result<()> {
    let skills = if today.n_due == 1 {
        "skill is"
    } else {
        "skills are"
    };
    let phrases = if today.n_phrases == 1 {
        "phrase"
    } else {
        "phrases"
    };
    let who = today.who.as_ref();
    let who = who.map_or_else(String::new, |who| format!("{who}. "));
    say(&[&format!(
        "{who}{}. {} {skills} due, {} new, about {} {phrases}.",
        today.date, today.n_due, today.n_new, today.n_phrases
    )])?;
    if let Some(part) = &today.part {
        say(&[&format!("{part}.")])?;
    }
    for why in [today.tomorrow, today.resting].into_iter().flatten() {
        say(&[why])?;
    }
    for line in &today.lines {
        say(&[join(&[line.tag, &line.title, &line.known, &line.when]).trim_end()])?;
    }
    if let Some(missing) = &today.missing {
        say(&[missing])?;
    }
    if let Some(checked) = &today.checked {
        say(&[checked])?;
    }
    for set in &today.set {
        say(&[&set.head])?;
        if let Some(line) = &set.line {
            say(&[line])?;
        }
        let more = set.elsewhere.as_ref();
        let more = more.map_or_else(String::new, |deck| format!(" --deck {deck} practises it."));
        say(&[&format!("{}{more}", set.reached)])?;
    }
    if caution { tell_caution() } else { Ok(()) }
}

pub(super) fn tell_caution() -> io::Result<()> {
    say(&[CAUTION])
}

fn join(parts: &[&str]) -> String {
    let there: Vec<&str> = parts
        .iter()
        .copied()
        .filter(|part| !part.is_empty())
        .collect();
    there.join(", ")
}

pub(super) fn tell_tune_up(tune_up: &TuneUp) -> io::Result<()> {
    let keys = match (tune_up.step, tune_up.kept) {
        (Step::Bell | Step::Loudness, None) if tune_up.has_broken_off => {
            "b taps with the bell, l is for the loudness, q goes on without."
        }
        (_, Some(_)) => "q goes on, b measures again, e taps with nothing to hear.",
        (Step::Offered, None) => {
            "b taps with the bell, l is for the loudness, Enter goes on without."
        }
        (Step::Loudness, None) => "b taps with the bell, Enter goes on.",
        (Step::Bell | Step::Even, None) => {
            "Enter is a tap, d says what they come to, l loudness, q goes on without."
        }
    };
    let said = if tune_up.kept.is_some() {
        tune_up.said()
    } else {
        tune_up.task().to_owned()
    };
    say(&["", &said])?;
    if tune_up.kept.is_none() {
        say(&[CAUTION])?;
    }
    say(&[keys])
}

pub(super) fn tell_question(open: &Open, set_up: SetUp) -> io::Result<()> {
    let counting = open.ticket.counting;
    let ticket = &open.ticket;
    let (place, of) = ticket.place;
    // A title that asks would end with two marks.
    let title = ticket.title.as_str().trim_end_matches('?');
    say(&[
        "",
        &format!("{title}: phrase {place} of up to {of} ({})", ticket.why),
        ticket.line.as_str(),
        &open.question.asks(counting),
    ])?;
    for (idx, choice) in open.question.choices(counting).iter().enumerate() {
        let number = open.question.choice_number(idx, counting);
        say(&[&format!("  {number}  {choice}")])?;
    }
    if open.question.ends_with_its_sound() && set_up != SetUp::Tuned {
        say(&["Claps are counted; their timing is not judged here."])?;
    }
    say(&[&prompt(open)])
}

/// That nothing is asked of what comes.
pub(super) fn tell_listening(listening: &Listening) -> io::Result<()> {
    let head = headed(&listening.title);
    say(&[
        "",
        &format!("{head} only listen; nothing is asked, and nothing is scored."),
        &listening.line,
    ])
}

/// What is heard, or why nothing is.
pub(super) fn tell_listened(listening: &Listening) -> io::Result<()> {
    match (&listening.told, &listening.refused) {
        (Some((question, reveal)), _) => {
            say(&["", &reveal.verdict, &reveal.reason])?;
            let each = each_cycle(question.kind(), &[question.truth()]);
            tell_grid(reveal, each)?;
        }
        (None, refused) => say(&["", refused.as_deref().unwrap_or_default()])?,
    }
    say(&[LISTENING])
}

pub(super) fn tell_reveal(shown: &Shown) -> io::Result<()> {
    let (reveal, attempt) = (&shown.reveal, &shown.attempt);
    say(&[&reveal.verdict, &reveal.reason])?;
    let each = each_cycle(attempt.kind, &[attempt.truth, attempt.answer]);
    tell_grid(reveal, each)?;
    match shown.repair() {
        Some(repair) => say(&[&format!("It helps: {repair}")]),
        None => Ok(()),
    }
}

fn tell_grid(reveal: &Reveal, each: Cycles) -> io::Result<()> {
    let rows: Vec<&GridRow> = reveal.rows.iter().chain(&reveal.you).collect();
    let alike = cycles_alike(each, &rows);
    for (first, last) in &alike {
        if alike.len() > 1 {
            say(&[&cycles_in_words(*first, *last)])?;
        }
        // Every mark stands under its count, whose names may be long.
        let width = reveal
            .counts
            .iter()
            .map(|count| count.chars().count())
            .max();
        let width = width.unwrap_or(1);
        let line = |marks: Vec<String>| {
            let cells: Vec<String> = marks.iter().map(|mark| format!("{mark:width$}")).collect();
            cells.join(" ").trim_end().to_owned()
        };
        say(&[&grid_line("count", &line(reveal.counts.clone()))])?;
        for row in &rows {
            let marks = row.marks(*first).iter().map(char::to_string).collect();
            say(&[&grid_line(row.name, &line(marks))])?;
        }
    }
    let is_between = |row: &&GridRow| row.cycles.iter().flatten().any(|mark| *mark == '-');
    if reveal.you.iter().any(|row| is_between(&row)) {
        say(&["(o is on the pulse, - between it and the next)"])?;
    }
    // One row beside those that sounded is the answer given; of hands there are more.
    if let [row] = reveal.you.as_slice() {
        say(&[&format!("({}: {})", row.name, row.aside)])?;
    }
    Ok(())
}

/// Which cycles are told.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Cycles {
    /// One stands for all.
    One,
    /// All that differ.
    Different,
}

/// Where the feel stays, one cycle stands for all: hearing every small difference read out would hide
/// what matters.
fn each_cycle(kind: Kind, answers: &[Answer]) -> Cycles {
    let turns = |answer: &Answer| matches!(answer, Answer::Feel(Feel::InTurn) | Answer::Turn(_));
    let is_clapped = matches!(kind, Kind::Clap | Kind::TwoHands);
    if is_clapped || answers.iter().any(turns) {
        Cycles::Different
    } else {
        Cycles::One
    }
}

/// Stretches of cycles whose rows are alike, by their first and last index.
fn cycles_alike(each: Cycles, rows: &[&GridRow]) -> Vec<(usize, usize)> {
    if each == Cycles::One {
        return vec![(0, 0)];
    }
    let n_cycles = rows.iter().map(|row| row.cycles.len()).max().unwrap_or(1);
    let mut alike = vec![(0, 0)];
    for idx in 1..n_cycles {
        let same = |(first, _): &(usize, usize)| {
            rows.iter().all(|row| row.marks(*first) == row.marks(idx))
        };
        match alike.last_mut().filter(|stretch| same(stretch)) {
            Some((_, last)) => *last = idx,
            None => alike.push((idx, idx)),
        }
    }
    alike
}

fn cycles_in_words(first: usize, last: usize) -> String {
    match last - first {
        0 => format!("cycle {}", first + 1),
        1 => format!("cycles {} and {}", first + 1, last + 1),
        _ => format!("cycles {} to {}", first + 1, last + 1),
    }
}

fn grid_line(name: &str, marks: &str) -> String {
    format!("  {name:<9} {marks}")
}

pub(super) fn tell_summary(summary: &Summary) -> io::Result<()> {
    for note in &summary.notes {
        say(&["", note])?;
    }
    if summary.n_answered == 0 {
        return say(&["", "Nothing was answered; nothing is lost."]);
    }
    say(&[
        "",
        &format!(
            "{} of {} right in {}.",
            summary.n_right,
            summary.n_answered,
            summary.lasted()
        ),
    ])?;
    for line in &summary.lines {
        let heard = line.heard_from.map_or_else(String::new, heard_in_words);
        let back = match line.back_in_days {
            None => String::new(),
            Some(0) => "due again today".to_owned(),
            Some(1) => "back in 1 day".to_owned(),
            Some(days) => format!("back in {days} days"),
        };
        say(&[&join(&[&line.told(), &heard, &back])])?;
    }
    if let Some(advice) = &summary.advice {
        say(&[advice])?;
    }
    say(&["Rest ears and hands for a few minutes before you go on."])
}

pub(super) fn say(lines: &[&str]) -> io::Result<()> {
    let mut out = io::stdout().lock();
    for line in lines {
        writeln!(out, "{line}")?;
    }
    out.flush()
}
