//! The stages of a sitting, each with only its own data.

use std::collections::BTreeSet;

use super::kind::find_start;
use super::question::Question;
use super::sitting::{Effect, Now};
use super::tap::{Tap, Taps};
use super::{Attempt, Kind, Phase, Repairs, Reveal, Skill};
use crate::label::Label;
use crate::phrase::{Level, Voice};
use crate::rhythm::Counting;
use crate::world::Stamp;

/// Why and how a question is asked: what goes into its attempt beside the answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticket {
    /// What is practised.
    pub skill: Skill,
    /// The exercise's title.
    pub title: Label,
    /// One line of instruction.
    pub line: Label,
    /// What repairs a miss.
    pub repairs: Repairs<Label>,
    /// How its counts are spoken.
    pub counting: Counting,
    /// Why it is asked now, in words.
    pub why: String,
    /// The level at which the exercise counts as learnt.
    pub criterion: Level,
    /// The level that was asked for.
    pub level: Level,
    /// How many answers are offered; 0 where the answer is tapped.
    pub alternatives: u8,
    /// The block, from 1.
    pub block: u32,
    /// Which part of the block.
    pub phase: Phase,
    /// Its place in the block, and how many the block has.
    pub place: (u32, u32),
}

/// What is being heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hearing {
    /// What the question asks about; all clappings one after another where there are several.
    Question,
    /// One of the clappings.
    Clapping(usize),
    /// The phrase under the claps of the truth.
    AsItIs,
    /// The phrase under the claps of the answer given.
    AsAnswered,
    /// The phrase under both, where the answer was clapped.
    Together,
    /// The learner's own claps alone.
    OwnAlone,
    /// One voice alone.
    Voice(Voice),
}

/// How often it sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Playing {
    /// Once through.
    Once,
    /// Round and round.
    Round,
}

/// Where a sitting stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    /// Before the first question, or between two.
    Ready,
    /// A question is asked.
    Open(Box<Open>),
    /// It was answered.
    Shown(Box<Shown>),
    /// It is over.
    Over,
}

/// A question with its half-given answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Open {
    /// The question.
    pub question: Question,
    /// Why and how it is asked.
    pub ticket: Ticket,
    /// The taps so far.
    pub taps: Taps,
    /// The pulses of the cycle that are marked, from 0.
    pub marks: BTreeSet<usize>,
    /// How often it was asked for again.
    pub replays: u8,
    /// What sounds, and since when.
    pub sounding: Option<(Hearing, Option<Stamp>)>,
    pub(super) first_heard: Option<Stamp>,
    pub(super) heard_micros: u64,
    /// How often its sound broke off, so that it was begun again.
    pub n_spoilt: u8,
}

/// An answered question.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// The question.
    pub question: Question,
    /// Why and how it was asked.
    pub ticket: Ticket,
    /// What is shown and may be heard.
    pub reveal: Reveal,
    /// What is kept.
    pub attempt: Attempt,
    /// Whether it is known to be kept.
    pub saved: bool,
    /// Whether its label was disputed.
    pub disputed: bool,
    /// What sounds, and since when.
    pub sounding: Option<(Hearing, Option<Stamp>)>,
}

impl Open {
    /// A question as it is asked, before anything sounds.
    pub(super) fn new(question: Question, ticket: Ticket) -> Self {
        Self {
            question,
            ticket,
            taps: Taps::default(),
            marks: BTreeSet::new(),
            replays: 0,
            sounding: None,
            first_heard: None,
            heard_micros: 0,
            n_spoilt: 0,
        }
    }

    /// Why it sounds again from its beginning, where nobody asked for that.
    pub fn spoilt(&self) -> Option<&'static str> {
        let told = match self.question.is_tapped() {
            true => {
                "The sound broke off, as it may on a busy machine. It begins again, and what was tapped \
                 until then does not count."
            }
            false => "The sound broke off, as it may on a busy machine. It begins again.",
        };
        (self.n_spoilt > 0).then_some(told)
    }

    pub(super) fn play(&mut self, hearing: Hearing) -> Vec<Effect> {
        let mut sounds = self.question.sounds();
        if let Hearing::Clapping(idx) = hearing {
            if idx >= sounds.len() || sounds.len() < 2 {
                return Vec::new();
            }
            sounds = vec![sounds.swap_remove(idx)];
        }
        self.sounding = Some((hearing, None));
        vec![Effect::Play(sounds, self.question.playing())]
    }

    pub(super) fn again(&mut self, hearing: Hearing, now: &Now) -> Vec<Effect> {
        self.ended(now);
        // Taps belong to the round in which they were made.
        self.taps.clear();
        let effects = self.play(hearing);
        if !effects.is_empty() {
            self.replays = self.replays.saturating_add(1);
        }
        effects
    }

    pub(super) fn started(&mut self, stamp: Stamp) -> Vec<Effect> {
        self.first_heard.get_or_insert(stamp);
        self.sounding = self.sounding.map(|(hearing, _)| (hearing, Some(stamp)));
        Vec::new()
    }

    pub(super) fn ended(&mut self, now: &Now) -> Vec<Effect> {
        if let Some((_, Some(since))) = self.sounding.take() {
            self.heard_micros += now.stamp.since(since);
        }
        Vec::new()
    }

    pub(super) fn tap(&mut self, tap: Tap) {
        if self.question.is_tapped() {
            self.taps.push(tap);
        }
    }

    /// Marks a pulse, or takes its mark away.
    pub(super) fn mark(&mut self, pulse_idx: usize) {
        let is_pulse = pulse_idx < self.question.phrase().cycle.n_pulses();
        if self.question.is_marked() && is_pulse && !self.marks.remove(&pulse_idx) {
            self.marks.insert(pulse_idx);
        }
    }

    pub(super) fn is_settled(&self) -> bool {
        self.question.kind() == Kind::FindStart
            && self.question.is_tapped()
            && find_start::is_settled(self.question.phrase(), self.taps.kept())
    }
}

impl Shown {
    /// What repairs what was missed, where something was.
    pub fn repair(&self) -> Option<&Label> {
        self.ticket.repairs.against(self.reveal.miss?)
    }

    pub(super) fn play(&mut self, hearing: Hearing) -> Vec<Effect> {
        let phrase = match hearing {
            Hearing::AsItIs => Some(self.reveal.as_it_is.clone()),
            Hearing::AsAnswered => self.reveal.as_answered.clone(),
            Hearing::Together => self.reveal.together.clone(),
            Hearing::OwnAlone => self
                .reveal
                .together
                .as_ref()
                .and(self.reveal.as_answered.as_ref())
                .map(|own| own.only(Voice::Claps)),
            Hearing::Voice(voice) => Some(self.question.phrase().only(voice)),
            Hearing::Question => Some(self.question.phrase().clone()),
            Hearing::Clapping(_) => None,
        };
        let Some(phrase) = phrase else {
            return Vec::new();
        };
        self.sounding = Some((hearing, None));
        vec![Effect::Play(vec![phrase], Playing::Once)]
    }
}
