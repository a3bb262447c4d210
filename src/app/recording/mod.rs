//! A recording of the learner's own: heard, shown cycle by cycle, and played under claps.
//!
//! Read [`Recording`] first: what is known of it and what is set up. What it leans to is evidence and
//! never a verdict; where its cycles begin is a proposal until the learner says so. What the learner
//! sets and says is kept under the content of the file. The file is opened by whoever gives the
//! [`Source`]; times are seconds in the recording, cycles count from 0.

mod again;
mod along;
mod back;
mod counting;
mod cut;
mod cutting;
mod hearing;
mod keep;
mod marks;
mod notes;
mod opening;
mod overview;
mod passage;
mod pauses;
mod playing;
mod proposal;
mod pulses;
mod row;
mod source;
mod step;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use super::worker::What;
use super::{App, Course, Place, Trouble};
use crate::deck;
use crate::label::ContentHash;
use crate::listen::{Analysis, PulsePath, Sound};
use crate::mark::{By, Marks, Sections, Sure};
use crate::pcm::Speed;
use crate::rhythm::Cycle;

pub use crate::pcm::decode::is_guarded;
pub use along::Clapping;
pub(super) use cut::cut;
pub use marks::{
    Judged, JudgedOf, agreement_of, agreement_with_analysis, behind_the_end, said_of, stretch_of,
};
pub use notes::{NotPlayed, Played, heard_as_played, sound_begins};
pub use opening::{notes_of, opener};
pub use overview::overview;
use passage::Led;
pub use passage::{Claps, ClapsLevel};
pub(super) use passage::{Joining, Making, Passage};
pub use pauses::follows_pause;
pub use proposal::NextPulse;
pub use pulses::Evens;
pub use source::{Bytes, CycleFrom, Given, Open, Source};
pub use step::{Go, Nudge, Step};

use again::Behind;
pub(super) use again::{Again, HeardAgain, hear_again};
use back::{Added, Back, Lay};
pub(super) use hearing::{Heard, Progress, hear};
use keep::Keep;
use pauses::{end_of, pulses_of, start_of, together};
use row::Row;
use step::{Change, MOST_CYCLES};

/// Cycles of a passage at first.
const CYCLES: usize = 4;

/// How far a recording is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// It is being heard; so many seconds of it are done, of so many where that is known.
    Hearing(u32, Option<u32>),
    /// All of these seconds are heard, and its pulses are being found.
    Finding(u32),
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
    /// Whether the learner taps pulses along: then keys that tap do nothing else.
    pub is_tapping: bool,
    /// How many taps said where pulses are.
    pub n_taps: usize,
    /// Whether the learner said where cycles begin.
    pub is_set: bool,
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
    /// What the last key did, in words; empty where that is seen.
    pub told: String,
    /// Why it cannot be played any more, in words; empty where it can.
    pub unplayed: String,
    /// Whether it has been heard for some time at the pulses that lie now, and what is seen is still of those
    /// before.
    pub is_behind: bool,
    paths: Vec<PulsePath>,
    chosen: Option<usize>,
    /// The pulses that the learner set, while others are tried.
    own: Option<Row>,
    nudged: i32,
    /// Whether the learner set both ends of the passage.
    is_passage_set: bool,
    /// Whether one looks at the cycle that sounds.
    follows: bool,
    /// Where the passage begins and ends and the cycle that is looked at begins, in seconds, once the
    /// learner chose them.
    chosen_place: Option<[f64; 3]>,
    to_keep: Vec<Keep>,
    /// What can be taken back, the last at the end.
    done: Vec<Back>,
    behind: Behind,
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
                (of.is_tapping, of.n_taps),
            )
        };
        self.source == other.source
            && self.state == other.state
            && self.is_behind == other.is_behind
            && self.clapping == other.clapping
            && seen(self) == seen(other)
    }
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
            is_tapping: false,
            n_taps: 0,
            is_set: false,
            content: None,
            unkept: String::new(),
            sections: Sections::default(),
            marks: BTreeMap::new(),
            beside: source.beside.clone().map(By::Other),
            sure: Sure::default(),
            clapping: Clapping::No,
            told: String::new(),
            unplayed: String::new(),
            is_behind: false,
            paths: Vec::new(),
            chosen: None,
            own: None,
            nudged: 0,
            is_passage_set: false,
            follows: true,
            chosen_place: None,
            to_keep: Vec::new(),
            done: Vec::new(),
            behind: Behind::default(),
            source,
            sound: None,
            row: None,
            taps: Vec::new(),
            progress,
            generation,
        }
    }

    /// How many pulses a cycle has.
    pub fn cycle(&self) -> Cycle {
        self.source.cycle
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
        let cut_off = self.source.notes.as_ref().and_then(Played::cut_off);
        self.lost = cut_off.map_or_else(
            || heard.lost.to_string(),
            |at| format!("the file is cut off; it was read up to second {at:.1}"),
        );
        self.is_set = self.source.pulses.is_some();
        self.chosen = (!self.is_set && !heard.paths.is_empty()).then_some(0);
        self.paths = heard.paths;
        self.row = heard.row;
        match heard.content {
            Ok(content) => self.content = Some(content),
            Err(error) => self.unkept = error.to_string(),
        }
        self.know(heard.analysis);
    }

    /// Takes what is heard now. What the learner chose to look at stays in its place in the sound, though
    /// other cycles be counted there.
    fn know(&mut self, analysis: Analysis) {
        let n_cycles = analysis.cycles.len();
        let (here, (from, until)) = match self.chosen_place {
            Some([from_s, until_s, here_s]) => {
                let from = nearest_start(&analysis, from_s);
                // It stays as long, though cycles begin a little earlier or later.
                let moved = start_of(&analysis, from).map_or(0.0, |start| start - from_s);
                let until = nearest_start(&analysis, until_s + moved);
                (nearest_start(&analysis, here_s + moved), (from, until))
            }
            None => (self.here, (0, CYCLES)),
        };
        self.here = here.min(n_cycles.saturating_sub(1));
        let from = from.min(n_cycles.saturating_sub(1));
        let until = until.clamp(from + 1, from + MOST_CYCLES);
        self.passage = together(&analysis, (from, until.min(n_cycles)), from);
        self.analysis = Some(Arc::new(analysis));
        self.state = State::Known;
    }

    /// Keeps where the passage and the cycle lie that the learner chose.
    fn choose_place(&mut self) {
        let Some(known) = &self.analysis else { return };
        let (from, until) = self.passage;
        let starts = [from, until, self.here].map(|cycle| start_of(known, cycle));
        if let [Some(from), Some(until), Some(here)] = starts {
            self.chosen_place = Some([from, until, here]);
        }
    }

    /// What is to be played.
    fn passage(&self) -> Option<Passage> {
        let analysis = self.analysis.as_ref()?;
        let (from, until) = self.passage;
        let (mut pulses, end) = pulses_of(analysis, from, until)?;
        pulses.extend(end);
        Some(Passage {
            open: Arc::clone(&self.source.open),
            heard: self.sound.clone(),
            pulses,
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
        let analysis = self.analysis.as_ref()?;
        let whole = pulse.max(0.0).floor();
        let at = (self.passage.0 + cycle) * n + index(whole);
        let from = analysis.pulses.get(at)?;
        let until = match (at + 1).is_multiple_of(n) {
            true => end_of(analysis, at / n)?,
            false => *analysis.pulses.get(at + 1)?,
        };
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
        let now = self.clock.stamp();
        let head = self.player.playhead(now);
        let Place::Recording(recording) = &mut self.place else {
            return;
        };
        recording.look_behind(now);
        if let State::Hearing(seconds, of) = &mut recording.state {
            *seconds = recording.progress.seconds.load(Ordering::Relaxed);
            let of_seconds = recording.progress.of_seconds.load(Ordering::Relaxed);
            *of = (of_seconds > 0).then_some(of_seconds);
            if recording.progress.is_heard.load(Ordering::Relaxed) {
                recording.state = State::Finding(*seconds);
            }
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
        let has_cut = matches!(&self.place, Place::Recording(recording) if recording.has_cut());
        // What was cut is practised there; the deck that is chosen for other days stays that.
        if let Some(own) = self
            .installed
            .named(deck::OWN_RECORDINGS)
            .filter(|_| has_cut)
        {
            self.course = Course::new(own.through(self.speakers));
        }
        self.silence();
        self.go_to_today()
    }
}

/// The cycle that begins nearest to a time, or the end of the last.
fn nearest_start(analysis: &Analysis, time: f64) -> usize {
    let off = |cycle: &usize| {
        start_of(analysis, *cycle).map_or(f64::INFINITY, |start| (start - time).abs())
    };
    let all = 0..=analysis.cycles.len();
    all.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap_or(0)
}

#[cfg(test)]
pub(crate) mod tests;
