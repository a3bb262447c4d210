//! A sitting in lines of text, for screen readers and scripts.
//!
//! A line in is an answer, a tap (empty) or a letter; lines out are whole sentences. The same engine
//! runs as on the screen. The end of input leaves the sitting; what was kept stays kept.

mod keys;
mod listening;
mod tell;

use std::collections::VecDeque;
use std::io;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};

use crate::app::tune_up::Step;
use crate::app::{App, Done, Intent, Place, Trouble, set_aside};
use crate::cli::failure::{Failure, Kind};
use crate::cli::lines::{self, Handled, Line};
use crate::label::printable;
use crate::quiz::{Hearing, Question, Stage};
use crate::world::{Clock, Stamp};

use keys::{Said, after, at_tune_up, known, legend, meaning};
use tell::{say, tell_caution, tell_question, tell_reveal, tell_summary, tell_today, tell_tune_up};

/// Everything that can happen.
enum Input {
    Line(Line),
    NoMore,
    Done(Done),
}

/// Goes through what is wanted `first`: one sitting, the tune-up, or phrases to listen to.
pub(in crate::cli) fn go<D>(
    open: impl FnOnce(Box<dyn Fn(Done) -> bool + Send + Sync>) -> Result<App, D>,
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
        voice: 0,
        n_listened: 0,
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
    /// Which voice is heard alone next.
    voice: usize,
    /// How many phrases were listened to.
    n_listened: u32,
}

/// A place that has been told.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Told {
    TuneUp(Step, bool),
    /// A question by its key, and how often its sound broke off.
    Question(u32, u8),
    Answered(u32),
    Kept(u32),
    /// That phrases are only listened to.
    Listening,
    /// One of them, or that it cannot be had.
    Listened(u32),
    Refused,
}

impl Plain {
    fn run(&mut self, inbox: &Receiver<Input>, first: Intent) -> Result<(), Ended> {
        let caution = self.app.is_caution_due();
        // What today holds is told once, and so with what is missing.
        while self.app.is_looking() && self.take_in(inbox)?.is_continue() {}
        match (self.app.place(), first) {
            (Place::Today(today), Intent::Begin | Intent::PractiseAt(_)) => {
                tell_today(today, caution)?;
            }
            (Place::Today(_), Intent::ListenAt(_)) if caution => tell_caution()?,
            _ => {}
        }
        self.app.intend(first, self.clock.stamp())?;
        while matches!(
            self.app.place(),
            Place::Sitting | Place::TuneUp(_) | Place::Listening(_)
        ) {
            if self.take_in(inbox)?.is_break() {
                break;
            }
            self.app.tick()?;
            self.tell()?;
            self.tune_up()?;
            self.listen()?;
            self.take_waiting()?;
        }
        match self.n_listened {
            0 => {}
            1 => say(&["", "1 phrase listened to; nothing was scored."])?,
            n => say(&["", &format!("{n} phrases listened to; nothing was scored.")])?,
        }
        if let Place::Summary(summary) = self.app.place() {
            tell_summary(summary)?;
        }
        Ok(())
    }

    /// Takes what comes next, if anything does soon; whether more may come.
    fn take_in(&mut self, inbox: &Receiver<Input>) -> Result<ControlFlow<()>, Trouble> {
        match inbox.recv_timeout(self.app.idle_time()) {
            Ok(Input::Line(line)) => self.waiting.push_back(line),
            Ok(Input::Done(done)) => self.app.done(done)?,
            Ok(Input::NoMore) => self.closed = true,
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Ok(ControlFlow::Break(())),
        }
        Ok(ControlFlow::Continue(()))
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
            Said::Voice => self.next_voice(stamp),
            Said::Help => self.help(&self.app.stage().map_or_else(String::new, known)),
            Said::Unknown => unknown(line, &self.app.stage().map_or_else(String::new, known)),
        }
    }

    fn help(&self, known: &str) -> Result<(), Ended> {
        say(&[known])?;
        let legend = legend();
        let lines: Vec<&str> = legend.iter().map(String::as_str).collect();
        Ok(say(&lines)?)
    }

    /// Plays one voice alone, another one each time, and says which.
    fn next_voice(&mut self, stamp: Stamp) -> Result<(), Ended> {
        let question = match (self.app.place(), self.app.stage()) {
            (Place::Listening(listening), _) => {
                listening.told.as_ref().map(|(question, _)| question)
            }
            (_, Some(Stage::Shown(shown))) => Some(&shown.question),
            _ => None,
        };
        let rows = question.map_or(&[][..], |question| question.measured().rows());
        let Some(row) = rows.get(self.voice % rows.len().max(1)) else {
            return Ok(());
        };
        let voice = row.voice;
        self.voice += 1;
        say(&[&format!("Only the {}.", voice.words())])?;
        Ok(self
            .app
            .intend(Intent::Hear(Hearing::Voice(voice)), stamp)?)
    }

    /// Nothing is heard of a dispute, so that it is told.
    fn dispute(&mut self, stamp: Stamp) -> Result<(), Ended> {
        let disputed = |app: &App| match app.stage() {
            Some(Stage::Shown(shown)) if shown.disputed => Some(set_aside(shown)),
            _ => None,
        };
        let before = disputed(&self.app);
        self.app.intend(Intent::Dispute, stamp)?;
        let told = match (before, disputed(&self.app)) {
            (Some(_), _) => "It is set aside already.".to_owned(),
            (None, Some(told)) => format!("It is {told}."),
            (None, None) => return Ok(()),
        };
        Ok(say(&[&told])?)
    }

    /// Tells what is new.
    fn tell(&mut self) -> Result<(), Ended> {
        match self.app.stage() {
            Some(Stage::Open(open)) => {
                let told = Told::Question(key(&open.question), open.n_spoilt);
                if self.told != Some(told) {
                    self.told = Some(told);
                    if let Some(spoilt) = open.spoilt() {
                        say(&[spoilt])?;
                    }
                    tell_question(open, self.app.set_up())?;
                }
            }
            Some(Stage::Shown(shown)) => {
                let number = shown.attempt.id.number;
                if !matches!(self.told, Some(Told::Answered(n) | Told::Kept(n)) if n == number) {
                    self.told = Some(Told::Answered(number));
                    self.voice = 0;
                    tell_reveal(shown)?;
                }
                if shown.saved && self.told == Some(Told::Answered(number)) {
                    self.told = Some(Told::Kept(number));
                    let id = shown.attempt.id;
                    say(&[
                        &format!("kept {:016x}-{}-{}", id.install, id.sitting, id.number),
                        &after(shown),
                    ])?;
                }
            }
            Some(Stage::Ready | Stage::Over) | None => {}
        }
        Ok(())
    }
}

/// Tells two questions apart, though nothing has been kept of them.
fn key(question: &Question) -> u32 {
    let seed = question.measured().seed().0;
    u32::try_from(seed & 0xffff_ffff).unwrap_or(0)
}

fn unknown(line: &str, known: &str) -> Result<(), Ended> {
    let quoted = printable(line);
    Ok(say(&[&format!("\"{quoted}\" is no answer here. {known}")])?)
}
