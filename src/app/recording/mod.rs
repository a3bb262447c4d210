//! A recording of the learner's own: heard, shown cycle by cycle, and played under claps.
//!
//! Read [`Recording`] first: what is known of it and what is set up. What it leans to is evidence and
//! never a verdict; where its cycles begin is a proposal until the learner says so. What the learner
//! sets and says is kept under the content of the file. The file is opened by whoever gives the
//! [`Source`]; times are seconds in the recording, cycles count from 0.

mod along;
mod cut;
mod cutting;
mod keep;
mod marks;
mod notes;
mod opening;
mod passage;
mod playing;
mod pulses;

use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Read};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use super::worker::What;
use super::{App, Place, Trouble};
use crate::label::{ContentHash, Label};
use crate::listen::{Analysis, Answers, Ear, PulsePath, Pulses, Sound, pulse_paths};
use crate::mark::{By, Mark, Marks, Sections, Sure};
use crate::pcm::Speed;
use crate::pcm::decode::{self, DecodeError, Lost};
use crate::rhythm::Cycle;

pub use crate::pcm::decode::is_guarded;
pub use along::Clapping;
pub(super) use cut::cut;
pub use marks::{agreement_of, agreement_with_analysis, said_of, stretch_of};
pub use notes::{NotPlayed, pulses_of_notes};
pub use opening::{notes_of, opener};
use passage::Led;
pub use passage::{Claps, ClapsLevel};
pub(super) use passage::{Joining, Making, Passage};

use keep::{Keep, content_of};
use pulses::Row;

/// By how much one step is faster or slower, in hundredths.
const SPEED_STEP: u16 = 10;
/// Cycles of a passage at first.
const CYCLES: usize = 4;
/// The most cycles of a passage.
const MOST_CYCLES: usize = 16;

/// Where a recording comes from; it can be opened again and again.
#[derive(Clone)]
pub struct Source {
    /// Its name, safe to show.
    pub name: String,
    /// Pulses in a cycle.
    pub cycle: Cycle,
    /// Whether that was asked for.
    pub cycle_from: CycleFrom,
    /// Its pulses, where they were given.
    pub pulses: Option<Given>,
    /// Where it lies, if that can be said.
    pub place: Option<PathBuf>,
    /// Whose marks are looked at first beside the learner's.
    pub beside: Option<Label>,
    /// Opens it.
    pub open: Open,
    /// Opens its bytes as they are, by which it is known again.
    pub bytes: Bytes,
}

/// Where the number of pulses in a cycle comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CycleFrom {
    /// It was asked for: what was kept for another is left aside.
    Asked,
    /// It is the usual one: what was kept goes before it.
    Usual,
}

impl CycleFrom {
    fn allows(self, kept: Cycle, here: Cycle) -> bool {
        self == Self::Usual || kept == here
    }
}

/// Opens a recording.
pub type Open = Arc<dyn Fn() -> Result<decode::Recording, DecodeError> + Send + Sync>;

/// Opens the bytes of a file.
pub type Bytes = Arc<dyn Fn() -> io::Result<Box<dyn Read>> + Send + Sync>;

/// Pulses that were given for a recording.
#[derive(Clone, Debug)]
pub enum Given {
    /// Their times.
    Times(Pulses),
    /// So many a minute, from this time on.
    Steady(crate::rhythm::Tempo, f64),
}

impl fmt::Debug for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Source")
            .field("name", &self.name)
            .finish_non_exhaustive()
    }
}

impl PartialEq for Source {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.open, &other.open)
    }
}

/// How far the worker has come, and whether it is to stop.
#[derive(Debug, Default)]
pub(super) struct Progress {
    seconds: AtomicU32,
    /// Seconds in all; 0 where that is not known before the end.
    of_seconds: AtomicU32,
    stop: AtomicBool,
}

/// What the worker heard.
#[derive(Debug)]
pub(super) struct Heard {
    sound: Sound,
    row: Option<Row>,
    is_laid: bool,
    paths: Vec<PulsePath>,
    analysis: Analysis,
    lost: Lost,
    content: io::Result<ContentHash>,
}

/// How far a recording is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// It is being heard; so many seconds of it are done, of so many where that is known.
    Hearing(u32, Option<u32>),
    /// It is known.
    Known,
    /// It cannot be heard, and why.
    Refused(String),
}

/// A recording that is looked at.
#[derive(Clone, Debug)]
pub struct Recording {
    /// Its name.
    pub name: String,
    /// How far it is known.
    pub state: State,
    /// How long it is, in seconds.
    pub seconds: f64,
    /// What is heard in it.
    pub analysis: Option<Arc<Analysis>>,
    /// What could not be read, in words; empty where all could.
    pub lost: String,
    /// The cycle that is looked at.
    pub here: usize,
    /// The passage that is played: from this cycle, and before that one.
    pub passage: (usize, usize),
    /// The claps over it.
    pub claps: Claps,
    /// How loud they are.
    pub level: ClapsLevel,
    /// How fast it is played.
    pub speed: Speed,
    /// Whether it is to sound.
    pub is_sounding: bool,
    /// How many taps said where pulses are.
    pub n_taps: usize,
    /// Whether the learner said where cycles begin.
    pub is_set: bool,
    /// Whether no pulse was found, so that an even one is laid over it.
    pub is_laid: bool,
    /// Its name by its content, once it is heard.
    pub content: Option<ContentHash>,
    /// Why nothing of it can be kept, in words; empty where it can.
    pub unkept: String,
    /// Where the learner lets sections begin.
    pub sections: Sections,
    /// What persons say of it.
    pub marks: BTreeMap<By, Marks>,
    /// Whose marks are looked at beside the learner's.
    pub beside: Option<By>,
    /// How sure the learner is of what they say next.
    pub sure: Sure,
    /// How far the learner's own claps along with the passage are.
    pub clapping: Clapping,
    /// What came of the latest cut, in words; empty before it.
    pub told: String,
    paths: Vec<PulsePath>,
    chosen: Option<usize>,
    /// The pulses that the learner set, while others are tried.
    own: Option<Row>,
    nudged: i32,
    /// Whether one looks at the cycle that sounds.
    follows: bool,
    to_keep: Vec<Keep>,
    source: Source,
    sound: Option<Arc<Sound>>,
    row: Option<Row>,
    taps: Vec<f64>,
    progress: Arc<Progress>,
    generation: u64,
}

impl PartialEq for Recording {
    fn eq(&self, other: &Self) -> bool {
        let seen = |of: &Self| {
            (
                of.here,
                of.passage,
                (of.claps, of.level),
                of.speed,
                of.is_sounding,
                of.n_taps,
            )
        };
        self.source == other.source
            && self.state == other.state
            && self.clapping == other.clapping
            && seen(self) == seen(other)
    }
}

/// One change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// To another cycle.
    Go(Go),
    /// The passage begins with this cycle.
    From,
    /// The passage ends with this cycle.
    Until,
    /// These claps over it.
    Claps(Claps),
    /// Claps softer.
    ClapsSofter,
    /// Claps louder.
    ClapsLouder,
    /// The learner claps along, or stops.
    ClapAlong,
    /// Slower.
    Slower,
    /// Faster.
    Faster,
    /// It sounds, or is silent.
    Pause,
    /// Cycles begin one pulse later; after a whole cycle of them as before.
    BeatOne,
    /// Cycles begin where it was proposed.
    Accept,
    /// What came of claps has been read.
    Read,
    /// The taps so far are forgotten.
    ForgetTaps,
    /// The taps so far say where pulses are.
    Taps,
    /// All pulses a hundredth of a second earlier or later.
    Nudge(Nudge),
    /// The next of the tempi that may be meant.
    OtherPulse,
    /// A section begins with this cycle, or no longer does.
    Section,
    /// The learner says this of the section.
    Say(Mark),
    /// They are as sure as the next step says.
    Surer,
    /// The passage is cut into the deck of own recordings.
    Cut,
    /// To the marks of the next person.
    OtherPerson,
}

/// To which cycle one goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Go {
    /// The one before.
    Back,
    /// The one after.
    On,
    /// Sixteen back.
    FarBack,
    /// Sixteen on.
    FarOn,
    /// The first.
    First,
    /// The last.
    Last,
    /// The next at which a section begins or the lean turns.
    NextChange,
}

/// Which way pulses are moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Nudge {
    /// To an earlier time.
    Earlier,
    /// To a later time.
    Later,
}

impl Recording {
    /// What begins to be heard.
    fn of(source: Source, progress: Arc<Progress>, generation: u64) -> Self {
        Self {
            name: source.name.clone(),
            state: State::Hearing(0, None),
            seconds: 0.0,
            analysis: None,
            lost: String::new(),
            here: 0,
            passage: (0, CYCLES),
            claps: Claps::None,
            level: ClapsLevel::USUAL,
            speed: Speed::OWN,
            is_sounding: false,
            n_taps: 0,
            is_set: false,
            is_laid: false,
            content: None,
            unkept: String::new(),
            sections: Sections::default(),
            marks: BTreeMap::new(),
            beside: source.beside.clone().map(By::Other),
            sure: Sure::default(),
            clapping: Clapping::No,
            told: String::new(),
            paths: Vec::new(),
            chosen: None,
            own: None,
            nudged: 0,
            follows: true,
            to_keep: Vec::new(),
            source,
            sound: None,
            row: None,
            taps: Vec::new(),
            progress,
            generation,
        }
    }

    /// How many cycles there are.
    pub fn n_cycles(&self) -> usize {
        self.analysis.as_ref().map_or(0, |known| known.cycles.len())
    }

    /// How many pulses there are.
    pub fn n_pulses(&self) -> usize {
        self.analysis.as_ref().map_or(0, |known| known.pulses.len())
    }

    fn take(&mut self, heard: Heard) {
        self.seconds = heard.sound.seconds();
        self.sound = Some(Arc::new(heard.sound));
        self.lost = heard.lost.to_string();
        self.is_set = self.source.pulses.is_some();
        self.chosen = (!self.is_set && !heard.paths.is_empty()).then_some(0);
        self.paths = heard.paths;
        self.row = heard.row;
        self.is_laid = heard.is_laid;
        match heard.content {
            Ok(content) => self.content = Some(content),
            Err(error) => self.unkept = error.to_string(),
        }
        self.know(heard.analysis);
    }

    fn know(&mut self, analysis: Analysis) {
        let n_cycles = analysis.cycles.len();
        self.analysis = Some(Arc::new(analysis));
        self.state = State::Known;
        self.here = self.here.min(n_cycles.saturating_sub(1));
        let (from, until) = self.passage;
        let until = until.min(n_cycles);
        self.passage = (from.min(until.saturating_sub(1)), until);
    }

    /// Makes one change, and says whether what sounds is to be made anew.
    fn step(&mut self, step: Step) -> Change {
        let last = self.n_cycles().saturating_sub(1);
        let before = (self.passage, self.speed);
        let claps = (self.claps, self.level);
        self.leave_clapping(step);
        match step {
            Step::Go(go) => self.go(go),
            Step::From => {
                let until = self.passage.1.clamp(self.here + 1, self.here + MOST_CYCLES);
                self.passage = (self.here, until);
            }
            Step::Until => {
                let from = self
                    .passage
                    .0
                    .clamp((self.here + 1).saturating_sub(MOST_CYCLES), self.here);
                self.passage = (from, self.here + 1);
            }
            Step::Claps(claps) => self.claps = claps,
            Step::ClapsSofter => self.level = self.level.softer(),
            Step::ClapsLouder => self.level = self.level.louder(),
            Step::ClapAlong => {
                self.turn_clapping();
                return Change::Sound;
            }
            Step::Slower => self.speed = self.slower(),
            Step::Faster => self.speed = self.faster(),
            Step::Pause => {
                self.is_sounding = !self.is_sounding && last > 0;
                self.follows = true;
                return Change::Sound;
            }
            Step::BeatOne => {
                self.begin_later();
                return Change::Sound;
            }
            Step::Accept => self.accept(),
            Step::Read => self.clapping = Clapping::No,
            Step::ForgetTaps => self.forget_taps(),
            Step::Taps => {
                self.use_taps();
                return Change::Sound;
            }
            Step::Nudge(nudge) => {
                self.nudge(nudge);
                return Change::Sound;
            }
            Step::OtherPulse => {
                self.take_other_path();
                return Change::Sound;
            }
            Step::Section => self.turn_section(),
            Step::Say(mark) => self.say(mark),
            Step::Surer => self.be_surer(),
            Step::Cut => {}
            Step::OtherPerson => self.look_at_next_person(),
        }
        match before == (self.passage, self.speed) {
            false => Change::Sound,
            true if claps != (self.claps, self.level) => Change::Claps,
            true => Change::Picture,
        }
    }

    fn slower(&self) -> Speed {
        Speed::new(self.speed.percent() - SPEED_STEP.min(self.speed.percent()))
            .unwrap_or(self.speed)
    }

    fn faster(&self) -> Speed {
        Speed::new(self.speed.percent() + SPEED_STEP).unwrap_or(self.speed)
    }

    /// What is to be played.
    fn passage(&self) -> Option<Passage> {
        let analysis = self.analysis.as_ref()?;
        let n = self.source.cycle.n_pulses();
        let (from, until) = self.passage;
        let pulses = analysis.pulses.get(from * n..=until * n).or_else(|| {
            // After the last pulse there is none to end with.
            analysis.pulses.get(from * n..until * n)
        })?;
        Some(Passage {
            open: Arc::clone(&self.source.open),
            heard: self.sound.clone(),
            pulses: pulses.to_vec(),
            n_cycles: until - from,
            cycle: self.source.cycle,
            claps: self.claps,
            level: self.level,
            led: match self.clapping {
                Clapping::Now(_) => Led::First,
                _ => Led::Throughout,
            },
            speed: self.speed,
        })
    }

    /// The time in the recording of a place in the passage: of this cycle of it, this many pulses in.
    fn time_of(&self, cycle: usize, pulse: f64) -> Option<f64> {
        let n = self.source.cycle.n_pulses();
        let pulses = &self.analysis.as_ref()?.pulses;
        let whole = pulse.max(0.0).floor();
        let at = (self.passage.0 + cycle) * n + index(whole);
        let (from, until) = (pulses.get(at)?, pulses.get(at + 1)?);
        Some(from + (until - from) * (pulse - whole))
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a pulse of a cycle"
)]
fn index(pulse: f64) -> usize {
    pulse as usize
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the cast saturates"
)]
fn whole_seconds(seconds: f64) -> u32 {
    seconds as u32
}

/// What a step changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Change {
    /// What is seen.
    Picture,
    /// The claps over what is heard.
    Claps,
    /// What is heard as well.
    Sound,
}

/// Hears a recording from end to end, unless it is stopped.
pub(super) fn hear(source: &Source, progress: &Progress) -> Result<Heard, DecodeError> {
    let mut recording = (source.open)()?;
    let mut ear = Ear::new(recording.rate());
    let hz = u64::from(recording.rate().hz());
    let of_seconds = recording.seconds().map_or(0, whole_seconds);
    progress.of_seconds.store(of_seconds, Ordering::Relaxed);
    let mut n_frames = 0_u64;
    while !progress.stop.load(Ordering::Relaxed) {
        let Some(block) = recording.next_block() else {
            break;
        };
        let mono = decode::mono(&block, recording.n_channels());
        n_frames += u64::try_from(mono.len()).unwrap_or(0);
        let seconds = u32::try_from(n_frames / hz).unwrap_or(u32::MAX);
        progress.seconds.store(seconds, Ordering::Relaxed);
        ear.hear(&mono);
    }
    let sound = ear.finish();
    let paths = pulse_paths(&sound, &[]);
    let row = Row::first_of(source, &sound, &paths);
    let (row, is_laid) = match row {
        Some(row) => (Some(row), false),
        None => (Row::laid(&sound, source.cycle), true),
    };
    let analysis = match &row {
        Some(row) if is_laid => Analysis::untold(&row.counted(), source.cycle),
        Some(row) => Analysis::of_sound(&sound, &row.counted(), source.cycle, Answers::Open),
        None => Analysis::nothing(source.cycle),
    };
    Ok(Heard {
        sound,
        row,
        is_laid,
        paths,
        analysis,
        lost: recording.lost(),
        content: content_of(source, progress),
    })
}

impl App {
    /// Opens a recording.
    pub fn open_recording(&mut self, source: Source) -> Result<(), Trouble> {
        self.caution()?;
        let progress = Arc::new(Progress::default());
        let generation = self.give(What::Hear {
            source: source.clone(),
            progress: Arc::clone(&progress),
        });
        self.place = Place::Recording(Box::new(Recording::of(source, progress, generation)));
        Ok(())
    }

    /// Looks how far the worker has come, and which cycle sounds.
    pub(super) fn look_at_recording(&mut self) {
        let head = self.player.playhead(self.clock.stamp());
        let Place::Recording(recording) = &mut self.place else {
            return;
        };
        if let State::Hearing(seconds, of) = &mut recording.state {
            *seconds = recording.progress.seconds.load(Ordering::Relaxed);
            let of_seconds = recording.progress.of_seconds.load(Ordering::Relaxed);
            *of = (of_seconds > 0).then_some(of_seconds);
        }
        if let Some(head) = head.filter(|_| recording.is_sounding && recording.follows) {
            let (from, until) = recording.passage;
            recording.here = (from + head.cycle.0).min(until.saturating_sub(1));
        }
    }

    pub(super) fn leave_recording(&mut self) -> Result<(), Trouble> {
        if let Place::Recording(recording) = &self.place {
            recording.progress.stop.store(true, Ordering::Relaxed);
        }
        self.silence();
        self.go_to_today()
    }
}

#[cfg(test)]
pub(crate) mod tests;
