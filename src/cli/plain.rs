//! A sitting in lines of text, for screen readers and scripts.
//!
//! A line in is an answer, a tap (empty) or a letter; lines out are whole sentences. The same engine
//! runs as on the screen. The end of input leaves the sitting; what was kept stays kept.

use std::collections::{BTreeSet, VecDeque};
use std::io;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};

use crate::app::tune_up::{Step, TuneUp};
use crate::app::{App, Done, Intent, Place, Trouble};
use crate::cli::failure::{Failure, Kind};
use crate::cli::lines::{self, Handled, Line};
use crate::cli::tell::{say, tell_question, tell_reveal, tell_summary, tell_today, tell_tune_up};
use crate::quiz::{self, Hand, Hearing, Open, Shown, Stage};
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
    /// These pulses are marked, from 0, and no others.
    Marks(Vec<usize>),
    Help,
    Unknown,
}

/// Goes through what is wanted `first`: one sitting, or the tune-up.
pub(in crate::cli) fn go<D>(
    open: impl FnOnce(Box<dyn Fn(Done) -> bool + Send>) -> Result<App, D>,
    clock: &Arc<dyn Clock>,
    first: Intent,
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
    let ended = plain.run(&inbox, first);
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
    TuneUp(Step, bool),
    Question(u32),
    Answered(u32),
    Kept(u32),
}

impl Plain {
    fn run(&mut self, inbox: &Receiver<Input>, first: Intent) -> Result<(), Ended> {
        if let (Place::Today(today), Intent::Begin) = (self.app.place(), first) {
            tell_today(today, self.app.is_caution_due())?;
        }
        self.app.intend(first, self.clock.stamp())?;
        while matches!(self.app.place(), Place::Sitting | Place::TuneUp(_)) {
            match inbox.recv_timeout(self.app.idle_time()) {
                Ok(Input::Line(line)) => self.waiting.push_back(line),
                Ok(Input::Done(done)) => self.app.done(done)?,
                Ok(Input::NoMore) => self.closed = true,
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            self.app.tick()?;
            self.tell()?;
            self.tune_up()?;
            self.take_waiting()?;
        }
        if let Place::Summary(summary) = self.app.place() {
            tell_summary(summary)?;
        }
        Ok(())
    }

    /// Takes the lines that came at the tune-up.
    fn tune_up(&mut self) -> Result<(), Ended> {
        while let Place::TuneUp(tune_up) = self.app.place() {
            let is_over = tune_up.kept.is_some() || tune_up.has_broken_off;
            let told = Told::TuneUp(tune_up.step, is_over);
            if self.told != Some(told) {
                self.told = Some(told);
                tell_tune_up(tune_up)?;
            }
            let Some(line) = self.waiting.pop_front() else {
                if self.closed {
                    self.app.intend(Intent::Leave, self.clock.stamp())?;
                }
                return Ok(());
            };
            self.handled.one();
            match at_tune_up(tune_up, line.text.trim()) {
                Some(intent) => self.app.intend(intent, line.stamp)?,
                None => say(&[&tune_up.said()])?,
            }
        }
        Ok(())
    }

    /// Takes the lines that came, as far as there is something to answer.
    fn take_waiting(&mut self) -> Result<(), Ended> {
        while self.app.place() == &Place::Sitting
            && matches!(self.app.stage(), Some(Stage::Open(_) | Stage::Shown(_)))
        {
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
            Said::Marks(pulses) => {
                for pulse in pulses {
                    self.app.intend(Intent::Mark(pulse), stamp)?;
                }
                Ok(self.app.intend(Intent::Done, stamp)?)
            }
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
        match self.app.stage() {
            Some(Stage::Open(open)) => {
                let told = Told::Question(key(open));
                if self.told != Some(told) {
                    self.told = Some(told);
                    tell_question(open, self.app.set_up())?;
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
                        keys_of(shown),
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

/// What may be typed after an answer.
fn keys_of(shown: &Shown) -> &'static str {
    if shown.reveal.together.is_some() {
        "enter goes on, h as it is, a as you answered, b both, o your claps alone, x dispute, q leave"
    } else {
        "enter goes on, h as it is, a as you answered, x dispute, q leave"
    }
}

/// What a line means at the tune-up; `None` asks what the taps have come to.
fn at_tune_up(tune_up: &TuneUp, line: &str) -> Option<Intent> {
    match line {
        "q" => Some(Intent::Leave),
        "l" => Some(Intent::TuneUp(Step::Loudness)),
        "b" => Some(Intent::TuneUp(Step::Bell)),
        "e" => Some(Intent::TuneUp(Step::Even)),
        "" if tune_up.is_tapped() && tune_up.kept.is_none() => Some(Intent::Tap(Hand::Either)),
        // Whoever taps on when it is known already does not mean to leave.
        "" if tune_up.kept.is_none() => Some(Intent::Leave),
        _ => None,
    }
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
        (Stage::Shown(shown), "b") if shown.reveal.together.is_some() => {
            Said::Intent(Intent::Hear(Hearing::Together))
        }
        (Stage::Shown(shown), "o") if shown.reveal.together.is_some() => {
            Said::Intent(Intent::Hear(Hearing::OwnAlone))
        }
        (Stage::Shown(_), "p") => Said::Intent(Intent::Hear(Hearing::Question)),
        (Stage::Shown(_), "x") => Said::Intent(Intent::Dispute),
        _ => Said::Unknown,
    }
}

fn while_open(open: &Open, line: &str) -> Said {
    let tapped = open.question.is_tapped();
    let two = open.question.kind() == quiz::Kind::TwoHands;
    let counting = open.ticket.counting;
    let n_choices = open.question.choices(counting).len();
    match line {
        "r" => Said::Intent(Intent::Again),
        "s" => Said::Intent(Intent::Skip),
        "f" if two => Said::Intent(Intent::Tap(Hand::Left)),
        "j" if two => Said::Intent(Intent::Tap(Hand::Right)),
        "" if tapped && !two => Said::Intent(Intent::Tap(Hand::Either)),
        "d" if tapped || !open.marks.is_empty() => Said::Intent(Intent::Done),
        "a" | "b" | "c" if open.question.sounds().len() > 1 => {
            let idx = usize::from(line.as_bytes()[0] - b'a');
            Said::Intent(Intent::Hear(Hearing::Clapping(idx)))
        }
        counts if open.question.is_marked() => marks(open, counts),
        _ => match line.parse::<usize>() {
            Ok(number) => {
                let is_it = |idx: &usize| open.question.choice_number(*idx, counting) == number;
                let chosen = (0..n_choices).find(is_it);
                chosen.map_or(Said::Unknown, |idx| Said::Intent(Intent::Choose(idx)))
            }
            Err(_) => Said::Unknown,
        },
    }
}

/// Counts joined by hyphens, blanks or commas, in the learner's convention.
fn marks(open: &Open, line: &str) -> Said {
    let counting = open.ticket.counting;
    let cycle = open.question.phrase().cycle;
    let words = line.split(['-', ' ', ',']).filter(|word| !word.is_empty());
    let pulses: Option<BTreeSet<usize>> = words
        .map(|word| counting.pulse(cycle, word).map(|pulse| pulse.idx()))
        .collect();
    match pulses {
        Some(pulses) if !pulses.is_empty() => Said::Marks(pulses.into_iter().collect()),
        _ => Said::Unknown,
    }
}

fn help(stage: &Stage) -> &'static str {
    match stage {
        Stage::Shown(shown) if shown.reveal.together.is_none() => {
            "Enter goes on, h as it is, a as you answered, p the phrase alone, x dispute, q leave."
        }
        Stage::Open(open) if open.question.kind() == quiz::Kind::TwoHands => {
            "f and j, each with Enter, are taps of the left hand and the right, d judges the taps so \
             far, r from the start again, s skip, q leave."
        }
        Stage::Open(open) if open.question.is_marked() => {
            "Answer with counts, as 1-4-5; r once more, s skip, q leave."
        }
        Stage::Open(open) if open.question.is_tapped() => {
            "Enter is a tap, d judges the taps so far, r from the start again, s skip, q leave."
        }
        Stage::Open(open) if open.question.sounds().len() > 1 => {
            "Answer with a number; a, b, c hear one clapping, r all again, s skip, q leave."
        }
        Stage::Open(_) => "Answer with a number; r once more, s skip, q leave.",
        Stage::Shown(_) => {
            "Enter goes on, h as it is, a as you answered, b both, o your claps alone, p the phrase \
             alone, x dispute, q leave."
        }
        Stage::Ready | Stage::Over => "A phrase is being made; q leaves.",
    }
}
