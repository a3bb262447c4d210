//! In what way an answer was wrong, so that the repair speaks to it.
//!
//! Read [`Miss`] first. Each kind of question has its few likely ones ([`Miss::of_kind`]); a deck may
//! hold a repair for each.

use std::collections::BTreeMap;

use super::kind::{find_start, name_feel};
use super::question::{Question, Task, Verdict};
use super::{Answer, By, Kind, Owner};
use crate::rhythm::{Feel, Layer};

/// In what way an answer was wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Miss {
    /// Another layer, side, clapping or count, and none of the following.
    Other,
    /// The right one, from another count of the cycle.
    Turned,
    /// Both where it was one, or one after the other.
    Joined,
    /// One where it was both.
    Single,
    /// Each hand did what the other was asked.
    Exchanged,
    /// On the count instead of half-way after it, or the other way round.
    Between,
    /// It was held for some cycles, and left.
    Slid,
    /// Hands hurried or dragged.
    Drifted,
    /// Hands stopped before the end.
    Stopped,
    /// Hands left out a cycle or more, and went on.
    Paused,
    /// Some counts were left out.
    Gaps,
    /// Some counts were too many.
    Extra,
    /// The first sound was taken for the first count.
    FirstSound,
    /// Caught too early.
    Early,
    /// Caught too late.
    Late,
    /// Something came and was not noticed.
    Missed,
    /// Nothing came and something was noticed.
    Imagined,
    /// Too little or too loose to say what it was.
    Lost,
}

impl Miss {
    /// All of them.
    pub const ALL: [Self; 18] = [
        Self::Other,
        Self::Turned,
        Self::Joined,
        Self::Single,
        Self::Exchanged,
        Self::Between,
        Self::Slid,
        Self::Drifted,
        Self::Stopped,
        Self::Paused,
        Self::Gaps,
        Self::Extra,
        Self::FirstSound,
        Self::Early,
        Self::Late,
        Self::Missed,
        Self::Imagined,
        Self::Lost,
    ];

    /// Its id in decks.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Other => "other",
            Self::Turned => "turned",
            Self::Joined => "joined",
            Self::Single => "single",
            Self::Exchanged => "exchanged",
            Self::Between => "between",
            Self::Slid => "slid",
            Self::Drifted => "drifted",
            Self::Stopped => "stopped",
            Self::Paused => "paused",
            Self::Gaps => "gaps",
            Self::Extra => "extra",
            Self::FirstSound => "first-sound",
            Self::Early => "early",
            Self::Late => "late",
            Self::Missed => "missed",
            Self::Imagined => "imagined",
            Self::Lost => "lost",
        }
    }

    /// Those that a kind of question may have.
    pub fn of_kind(kind: Kind) -> &'static [Self] {
        match kind {
            Kind::NameFeel | Kind::WhoseStroke => &[
                Self::Other,
                Self::Joined,
                Self::Single,
                Self::Missed,
                Self::Imagined,
            ],
            Kind::FindStart => &[Self::Other, Self::Turned, Self::FirstSound, Self::Lost],
            Kind::FitClapping => &[Self::Other, Self::Turned],
            Kind::MarkAccents | Kind::NameClapping => {
                &[Self::Other, Self::Turned, Self::Gaps, Self::Extra]
            }
            Kind::NameVoice => &[Self::Other],
            Kind::CatchTurn => &[Self::Early, Self::Late, Self::Missed, Self::Imagined],
            Kind::Clap => &Self::OF_HANDS[1..],
            Kind::TwoHands => &Self::OF_HANDS,
        }
    }

    /// Those of hands; the first alone takes two.
    const OF_HANDS: [Self; 13] = [
        Self::Exchanged,
        Self::Other,
        Self::Turned,
        Self::Joined,
        Self::Between,
        Self::Slid,
        Self::Drifted,
        Self::Stopped,
        Self::Paused,
        Self::Gaps,
        Self::Extra,
        Self::Missed,
        Self::Lost,
    ];

    /// In what way a choice or marks were wrong; `None` where they were right.
    pub(super) fn of_choice(question: &Question, verdict: Verdict) -> Option<Self> {
        if verdict.right {
            return None;
        }
        Some(match (question.truth(), verdict.answer) {
            (Answer::Feel(truth), Answer::Feel(said)) => of_feels(truth, said),
            (Answer::Start(_), Answer::Start(said)) => of_starts(question, said),
            (Answer::Clapping(truth), Answer::Clapping(said))
                if matches!(question.task, Task::FitClapping { .. }) =>
            {
                match truth.turn_to(said) {
                    Some(_) => Self::Turned,
                    None => Self::Other,
                }
            }
            (Answer::Clapping(truth), Answer::Clapping(said)) => of_layers(truth, said),
            (Answer::Marks(Some(truth)), Answer::Marks(Some(said))) => of_layers(truth, said),
            (Answer::Marks(_), Answer::Marks(None)) => Self::Gaps,
            (Answer::Turn(truth), Answer::Turn(said)) => of_turns(truth, said),
            (Answer::Owner(truth), Answer::Owner(said)) => of_owners(truth, said),
            _ => Self::Other,
        })
    }
}

fn of_feels(truth: Feel, said: Feel) -> Miss {
    match (truth, said) {
        (Feel::Either, _) => Miss::Imagined,
        (_, Feel::Either) => Miss::Missed,
        (Feel::InTurn, Feel::Threes | Feel::Twos) => Miss::Missed,
        (_, Feel::Both) => Miss::Joined,
        (Feel::Both, Feel::Threes | Feel::Twos) => Miss::Single,
        _ => Miss::Other,
    }
}

fn of_starts(question: &Question, said: Option<u8>) -> Miss {
    let Task::FindStart { by } = question.task else {
        return Miss::Other;
    };
    let phrase = question.phrase();
    let Some(said) = said else {
        return Miss::Lost;
    };
    let entry = match by {
        By::Count => phrase.cycle.first(),
        By::Taps => phrase.entry_pulse(),
    };
    if usize::from(said) == entry.idx() {
        return Miss::FirstSound;
    }
    let groups = name_feel::claps(question, phrase.feel);
    let firsts = find_start::claps(question, Answer::Start(Some(said)), by);
    let mut firsts = firsts.iter().flat_map(|layer| layer.pulses());
    let is_of_a_group = |pulse| groups.first().is_some_and(|layer| layer.contains(pulse));
    match firsts.next() {
        Some(first) if is_of_a_group(first) => Miss::Turned,
        _ => Miss::Other,
    }
}

fn of_layers(truth: Layer, said: Layer) -> Miss {
    match truth.union(said) {
        Ok(all) if all == truth => Miss::Gaps,
        Ok(all) if all == said => Miss::Extra,
        _ if truth.turn_to(said).is_some() => Miss::Turned,
        _ => Miss::Other,
    }
}

fn of_turns(truth: Option<u8>, said: Option<u8>) -> Miss {
    match (truth, said) {
        (None, _) => Miss::Imagined,
        (_, None) => Miss::Missed,
        (Some(truth), Some(said)) if said < truth => Miss::Early,
        _ => Miss::Late,
    }
}

fn of_owners(truth: Owner, said: Owner) -> Miss {
    match (truth, said) {
        (Owner::Neither, _) => Miss::Imagined,
        (_, Owner::Neither) => Miss::Missed,
        (Owner::Both, _) => Miss::Single,
        (_, Owner::Both) => Miss::Joined,
        _ => Miss::Other,
    }
}

/// What repairs a miss.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Repairs<T> {
    /// Whatever it was.
    pub any: Option<T>,
    /// Where it was this.
    pub of: BTreeMap<Miss, T>,
}

impl<T> Repairs<T> {
    /// The repair of a miss, if there is one.
    pub fn against(&self, miss: Miss) -> Option<&T> {
        self.of.get(&miss).or(self.any.as_ref())
    }

    /// The same with those of `of` where there is none for a miss.
    #[must_use]
    pub fn or(mut self, of: Option<&BTreeMap<Miss, T>>) -> Self
    where
        T: Clone,
    {
        for (miss, repair) in of.into_iter().flatten() {
            self.of.entry(*miss).or_insert_with(|| repair.clone());
        }
        self
    }

    /// The same, each in other words.
    pub fn map<U>(&self, in_words: impl Fn(&T) -> U) -> Repairs<U> {
        let of = self.of.iter().map(|(miss, line)| (*miss, in_words(line)));
        Repairs {
            any: self.any.as_ref().map(&in_words),
            of: of.collect(),
        }
    }
}
