//! What a key changes on a recording that is looked at.

use super::{Clapping, Claps, Recording};
use crate::mark::Mark;
use crate::pcm::Speed;

/// By how much one step is faster or slower, in hundredths.
const SPEED_STEP: u16 = 10;
/// The most cycles of a passage.
pub(super) const MOST_CYCLES: usize = 16;
/// Cycles that one goes at once when going far.
const FAR: usize = 16;

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
    /// Claps in a grouping of the cycle's own; once more, in the next.
    ClapGrouping,
    /// Cycles of the next number of pulses.
    OtherCycle,
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
    /// Even pulses where there are none; once more, as before.
    Even,
    /// A cycle begins where the sound is, and from there on as before.
    BeginHere,
    /// Cycles begin where it was proposed.
    Accept,
    /// What came of claps has been read.
    Read,
    /// The taps so far are forgotten, and no more are waited for.
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
    /// What was done last is taken back.
    TakeBack,
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
    /// A tenth of the piece back.
    TenthBack,
    /// A tenth of the piece on.
    TenthOn,
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

/// What a step changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Change {
    /// What is seen.
    Picture,
    /// The claps over what is heard.
    Claps,
    /// What is heard as well.
    Sound,
}

impl Recording {
    /// Makes one change, and says whether what sounds is to be made anew.
    pub(super) fn step(&mut self, step: Step) -> Change {
        let before = (self.passage, self.speed);
        let claps = (self.claps, self.level);
        self.leave_clapping(step);
        match step {
            Step::Go(go) => self.go(go),
            Step::From => {
                let until = self.passage.1.clamp(self.here + 1, self.here + MOST_CYCLES);
                self.is_passage_set = until == self.passage.1;
                self.set_passage((self.here, until), self.here);
                self.tell_most();
            }
            Step::Until => {
                let earliest = (self.here + 1).saturating_sub(MOST_CYCLES);
                let from = self.passage.0.clamp(earliest, self.here);
                self.is_passage_set = from == self.passage.0;
                self.set_passage((from, self.here + 1), self.here);
                self.tell_most();
            }
            Step::Claps(claps) => self.claps = claps,
            Step::ClapGrouping => match self.claps.next_grouping(self.source.cycle) {
                Some(claps) => self.claps = claps,
                None => self.told = "No clapping is known for cycles of that length.".to_owned(),
            },
            Step::OtherCycle => return self.count_in_other(),
            Step::ClapsSofter => self.level = self.level.softer(),
            Step::ClapsLouder => self.level = self.level.louder(),
            Step::ClapAlong => return self.turn_clapping(),
            Step::Slower => self.speed = self.slower(),
            Step::Faster => self.speed = self.faster(),
            Step::Pause => {
                self.is_sounding = !self.is_sounding && self.n_cycles() > 0;
                self.follows = true;
                return Change::Sound;
            }
            Step::BeatOne => {
                self.begin_later();
                self.told = "Cycles begin one pulse later.".to_owned();
                return Change::Sound;
            }
            Step::Even => return self.turn_even(),
            Step::Accept => {
                self.accept();
                self.told = "From now on cycles begin there because you say so, and what leans is \
                             the surer for it."
                    .to_owned();
            }
            Step::Read => self.clapping = Clapping::No,
            Step::ForgetTaps => self.forget_taps(),
            Step::Taps => {
                self.use_taps();
                return Change::Picture;
            }
            Step::Nudge(nudge) => {
                self.nudge(nudge);
                return Change::Sound;
            }
            Step::OtherPulse => {
                let before = self.tempo();
                self.take_other_path();
                self.tell_proposal(before);
                return Change::Sound;
            }
            Step::Section => self.turn_section(),
            Step::Say(mark) => self.say(mark),
            Step::Surer => self.be_surer(),
            Step::TakeBack => return self.take_back(),
            // Those who know where the sound is, and where decks are, do these.
            Step::BeginHere | Step::Cut => {}
            Step::OtherPerson => self.look_at_next_person(),
        }
        if matches!(step, Step::Go(_) | Step::From | Step::Until) {
            self.choose_place();
        }
        if let (Step::From | Step::Until, Some(told)) = (step, self.turn_not_asked()) {
            self.told = told;
        }
        match before == (self.passage, self.speed) {
            false => Change::Sound,
            true if claps != (self.claps, self.level) => Change::Claps,
            true => Change::Picture,
        }
    }

    /// Says that a passage is no longer, where one end had to follow the other.
    fn tell_most(&mut self) {
        let (from, until) = self.passage;
        if until - from == MOST_CYCLES && !self.is_passage_set {
            self.told = format!("A passage has {MOST_CYCLES} cycles at most.");
        }
    }

    fn slower(&self) -> Speed {
        Speed::new(self.speed.percent() - SPEED_STEP.min(self.speed.percent()))
            .unwrap_or(self.speed)
    }

    fn faster(&self) -> Speed {
        Speed::new(self.speed.percent() + SPEED_STEP).unwrap_or(self.speed)
    }

    /// Goes to another cycle, and stays there.
    fn go(&mut self, go: Go) {
        let last = self.n_cycles().saturating_sub(1);
        let here = self.here;
        self.follows = false;
        self.here = match go {
            Go::Back => here.saturating_sub(1),
            Go::On => here + 1,
            Go::FarBack => here.saturating_sub(FAR),
            Go::FarOn => here + FAR,
            Go::TenthBack => here.saturating_sub(self.n_cycles().div_ceil(10)),
            Go::TenthOn => here + self.n_cycles().div_ceil(10),
            Go::First => 0,
            Go::Last => last,
            Go::NextChange => self.next_change().unwrap_or(0),
        }
        .min(last);
    }

    /// The next cycle with which a section begins or the lean turns.
    fn next_change(&self) -> Option<usize> {
        let turns = self.analysis.as_ref().map_or(&[][..], |known| &known.turns);
        (self.here + 1..self.n_cycles()).find(|at| self.begins_section(*at) || turns.contains(at))
    }
}
