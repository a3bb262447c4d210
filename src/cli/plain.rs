//! A sitting in lines of text, for screen readers and scripts.
//!
//! A line in is an answer, a tap (empty) or a letter; lines out are whole sentences. The same engine
//! runs as on the screen. The end of input leaves the sitting; what was kept stays kept.

use std::collections::VecDeque;
use std::io::{self, Write as _};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};

use crate::app::{App, Done, Intent, Place, Summary, Today, Trouble};
use crate::cli::failure::{Failure, Kind};
use crate::cli::lines::{self, Handled, Line};
use crate::quiz::{Answer, GridRow, Hearing, Open, Shown, Stage};
use crate::rhythm::{Counting, Feel};
use crate::world::{Clock, Stamp};

/// Everything that can happen.
enum Input {
    Line(Line),
    NoMore,
    Done(Done),
}

/// What a line means where the sitting stands.
enum Said {
    Intent(Intent),
    Help,
    Unknown,
}

/// Goes through one sitting.
pub(in crate::cli) fn sit<D>(
    open: impl FnOnce(Box<dyn Fn(Done) -> bool + Send>) -> Result<App, D>,
    clock: &Arc<dyn Clock>,
) -> Result<(), Failure>
where
    Failure: From<D>,
{
    let (sender, inbox) = channel();
    let results = sender.clone();
    let deliver = move |done| results.send(Input::Done(done)).is_ok();
    let app = open(Box::new(deliver))?;
    let hand_over =
        move |line: Option<Line>| sender.send(line.map_or(Input::NoMore, Input::Line)).is_ok();
    let handled = lines::read(Arc::clone(clock), hand_over).map_err(|error| {
        Failure::new(Kind::Surroundings, error, "end some programs and try again")
    })?;
    let mut plain = Plain {
        app,
        clock: Arc::clone(clock),
        told: None,
        waiting: VecDeque::new(),
        handled,
        closed: false,
    };
    let ended = plain.run(&inbox);
    match ended {
        // Whoever closed the pipe has read enough.
        Err(Ended::Pipe(error)) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        Err(Ended::Pipe(error)) => Err(Failure::file("standard output".as_ref(), &error)),
        Err(Ended::Trouble(trouble)) => Err(trouble.into()),
        Ok(()) => Ok(()),
    }
}

/// Why a sitting broke off.
enum Ended {
    Pipe(io::Error),
    Trouble(Trouble),
}

impl From<io::Error> for Ended {
    fn from(error: io::Error) -> Self {
        Self::Pipe(error)
    }
}

impl From<Trouble> for Ended {
    fn from(trouble: Trouble) -> Self {
        Self::Trouble(trouble)
    }
}

struct Plain {
    app: App,
    clock: Arc<dyn Clock>,
    /// What was told last, so that nothing is told twice.
    told: Option<Told>,
    /// Lines that came while no question was open.
    waiting: VecDeque<Line>,
    handled: Handled,
    closed: bool,
}

/// A place that has been told.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Told {
    Question(u32),
    Answered(u32),
    Kept(u32),
}

impl Plain {
    fn run(&mut self, inbox: &Receiver<Input>) -> Result<(), Ended> {
        if let Place::Today(today) = self.app.place() {
            tell_today(today, self.app.is_caution_due())?;
        }
        self.app.intend(Intent::Begin, self.clock.stamp())?;
        while self.app.place() == &Place::Sitting {
            match inbox.recv_timeout(self.app.idle_time()) {
                Ok(Input::Line(line)) => self.waiting.push_back(line),
                Ok(Input::Done(done)) => self.app.done(done)?,
                Ok(Input::NoMore) => self.closed = true,
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.app.tick()?;
            self.tell()?;
            self.take_waiting()?;
        }
        if let Place::Summary(summary) = self.app.place() {
            tell_summary(summary)?;
        }
        Ok(())
    }

    /// Takes the lines that came, as far as there is something to answer.
    fn take_waiting(&mut self) -> Result<(), Ended> {
        while matches!(self.app.stage(), Some(Stage::Open(_) | Stage::Shown(_))) {
            match self.waiting.pop_front() {
                Some(line) => {
                    self.handled.one();
                    self.take(&line.text, line.stamp)?;
                }
                None if self.closed => self.app.intend(Intent::Leave, self.clock.stamp())?,
                None => break,
            }
            self.tell()?;
        }
        Ok(())
    }

    fn take(&mut self, line: &str, stamp: Stamp) -> Result<(), Ended> {
        let said = self
            .app
            .stage()
            .map_or(Said::Unknown, |stage| meaning(stage, line.trim()));
        match said {
            Said::Intent(Intent::Dispute) => self.dispute(stamp),
            Said::Intent(intent) => Ok(self.app.intend(intent, stamp)?),
            Said::Help => Ok(say(&[self.app.stage().map_or("", help)])?),
            Said::Unknown => {
                let known = self.app.stage().map_or("", help);
                let quoted = crate::label::printable(line);
                Ok(say(&[&format!("\"{quoted}\" is no answer here. {known}")])?)
            }
        }
    }

    /// Nothing is heard of a dispute, so that it is told.
    fn dispute(&mut self, stamp: Stamp) -> Result<(), Ended> {
        let disputed = |app: &App| matches!(app.stage(), Some(Stage::Shown(s)) if s.disputed);
        let before = disputed(&self.app);
        self.app.intend(Intent::Dispute, stamp)?;
        let told = match (before, disputed(&self.app)) {
            (true, _) => "It is set aside already.",
            (false, true) => "Set aside: it is not asked again until its label has been judged.",
            (false, false) => return Ok(()),
        };
        Ok(say(&[told])?)
    }

    /// Tells what is new.
    fn tell(&mut self) -> Result<(), Ended> {
        let counting = self.app.counting();
        match self.app.stage() {
            Some(Stage::Open(open)) => {
                let told = Told::Question(key(open));
                if self.told != Some(told) {
                    self.told = Some(told);
                    tell_question(open, counting)?;
                }
            }
            Some(Stage::Shown(shown)) => {
                let number = shown.attempt.id.number;
                if !matches!(self.told, Some(Told::Answered(n) | Told::Kept(n)) if n == number) {
                    self.told = Some(Told::Answered(number));
                    tell_reveal(shown)?;
                }
                if shown.saved && self.told == Some(Told::Answered(number)) {
                    self.told = Some(Told::Kept(number));
                    let id = shown.attempt.id;
                    say(&[
                        &format!("kept {:016x}-{}-{}", id.install, id.sitting, id.number),
                        "enter goes on, h as it is, a as you answered, x dispute, q leave",
                    ])?;
                }
            }
            Some(Stage::Ready | Stage::Over) | None => {}
        }
        Ok(())
    }
}

/// Tells two questions apart, though nothing has been kept of them.
fn key(open: &Open) -> u32 {
    let seed = open.question.measured().seed().0;
    u32::try_from(seed & 0xffff_ffff).unwrap_or(0)
}

fn meaning(stage: &Stage, line: &str) -> Said {
    match (stage, line) {
        (_, "?") => Said::Help,
        (_, "q") => Said::Intent(Intent::Leave),
        (Stage::Open(open), line) => while_open(open, line),
        (Stage::Shown(_), "") => Said::Intent(Intent::Onward),
        (Stage::Shown(_), "h") => Said::Intent(Intent::Hear(Hearing::AsItIs)),
        (Stage::Shown(shown), "a") if shown.reveal.as_answered.is_some() => {
            Said::Intent(Intent::Hear(Hearing::AsAnswered))
        }
        (Stage::Shown(_), "p") => Said::Intent(Intent::Hear(Hearing::Question)),
        (Stage::Shown(_), "x") => Said::Intent(Intent::Dispute),
        _ => Said::Unknown,
    }
}

fn while_open(open: &Open, line: &str) -> Said {
    let tapped = open.question.is_tapped();
    let n_choices = open.question.choices(Counting::FromOne).len();
    match line {
        "r" => Said::Intent(Intent::Again),
        "s" => Said::Intent(Intent::Skip),
        "" if tapped => Said::Intent(Intent::Tap),
        "d" if tapped => Said::Intent(Intent::Done),
        "a" | "b" | "c" if open.question.sounds().len() > 1 => {
            let idx = usize::from(line.as_bytes()[0] - b'a');
            Said::Intent(Intent::Hear(Hearing::Clapping(idx)))
        }
        _ => match line.parse::<usize>() {
            Ok(number) if (1..=n_choices).contains(&number) => {
                Said::Intent(Intent::Choose(number - 1))
            }
            _ => Said::Unknown,
        },
    }
}

fn help(stage: &Stage) -> &'static str {
    match stage {
        Stage::Open(open) if open.question.is_tapped() => {
            "Enter is a tap, d judges the taps so far, r from the start again, s skip, q leave."
        }
        Stage::Open(open) if open.question.sounds().len() > 1 => {
            "Answer with a number; a, b, c hear one clapping, r all again, s skip, q leave."
        }
        Stage::Open(_) => "Answer with a number; r once more, s skip, q leave.",
        Stage::Shown(_) => {
            "Enter goes on, h as it is, a as you answered, p the phrase alone, x dispute, q leave."
        }
        Stage::Ready | Stage::Over => "A phrase is being made; q leaves.",
    }
}

/// The caution on loudness, given once.
const CAUTION: &str = "Start low: somebody at arm's length must stay easy to understand over the \
    sound. Stop when your ears ring or a hand hurts, and ask an audiologist or physician; what your \
    school or country rules goes first.";

fn tell_today(today: &Today, caution: bool) -> io::Result<()> {
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
    say(&[&format!(
        "{}. {} {skills} due, {} new, about {} {phrases}.",
        today.date, today.n_due, today.n_new, today.n_phrases
    )])?;
    for line in &today.lines {
        say(&[join(&[line.tag, &line.title, &line.known, &line.when]).trim_end()])?;
    }
    if caution { say(&[CAUTION]) } else { Ok(()) }
}

fn join(parts: &[&str]) -> String {
    let there: Vec<&str> = parts
        .iter()
        .copied()
        .filter(|part| !part.is_empty())
        .collect();
    there.join(", ")
}

fn tell_question(open: &Open, counting: Counting) -> io::Result<()> {
    let ticket = &open.ticket;
    let (place, of) = ticket.place;
    say(&[
        "",
        &format!("{}: phrase {place} of {of} ({})", ticket.title, ticket.why),
        ticket.line.as_str(),
        open.question.asks(),
    ])?;
    for (idx, choice) in open.question.choices(counting).iter().enumerate() {
        say(&[&format!("  {}  {choice}", idx + 1)])?;
    }
    say(&[help_of(open)])
}

fn help_of(open: &Open) -> &'static str {
    if open.question.is_tapped() {
        "Enter is a tap; d when done, r from the start again, s skip, q leave."
    } else {
        "Answer with a number; r once more, s skip, q leave."
    }
}

fn tell_reveal(shown: &Shown) -> io::Result<()> {
    let reveal = &shown.reveal;
    say(&[&reveal.verdict, &reveal.reason])?;
    let rows: Vec<&GridRow> = reveal.rows.iter().chain(&reveal.you).collect();
    let alike = cycles_alike(shown, &rows);
    for (first, last) in &alike {
        if alike.len() > 1 {
            say(&[&cycles_in_words(*first, *last)])?;
        }
        say(&[&grid_line("count", &reveal.counts.join(" "))])?;
        for row in &rows {
            let marks: Vec<String> = row.marks(*first).iter().map(char::to_string).collect();
            say(&[&grid_line(row.name, &marks.join(" "))])?;
        }
    }
    match &shown.ticket.repair {
        Some(repair) if !reveal.right => say(&[&format!("It helps: {repair}")]),
        _ => Ok(()),
    }
}

/// Stretches of cycles whose rows are alike, by their first and last index. Where the feel stays,
/// one cycle stands for all: hearing every small difference read out would hide what matters.
fn cycles_alike(shown: &Shown, rows: &[&GridRow]) -> Vec<(usize, usize)> {
    let turns = |answer| answer == Answer::Feel(Feel::InTurn);
    if !turns(shown.attempt.truth) && !turns(shown.attempt.answer) {
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
    format!("  {name:<7} {marks}")
}

fn tell_summary(summary: &Summary) -> io::Result<()> {
    say(&[
        "",
        &format!(
            "{} of {} right in {} {}.",
            summary.n_right,
            summary.n_answered,
            summary.minutes,
            if summary.minutes == 1 {
                "minute"
            } else {
                "minutes"
            }
        ),
    ])?;
    for line in &summary.lines {
        let (right, of) = line.right;
        let heard = line
            .heard_from
            .map_or_else(String::new, |db| format!("heard from {db}"));
        let back = match line.back_in_days {
            None => String::new(),
            Some(1) => "back in 1 day".to_owned(),
            Some(days) => format!("back in {days} days"),
        };
        say(&[&join(&[
            &format!("{}: {right} of {of}", line.title),
            &heard,
            &back,
        ])])?;
    }
    say(&["Rest ears and hands for a few minutes before you go on."])
}

fn say(lines: &[&str]) -> io::Result<()> {
    let mut out = io::stdout().lock();
    for line in lines {
        writeln!(out, "{line}")?;
    }
    out.flush()
}
