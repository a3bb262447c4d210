//! What is asked next.
//!
//! A [`Plan`] is made at the start of a sitting from how the learner stands, and then asked once a
//! question for the next [`Choice`]. Due skills come first, what was left alone longest before others;
//! then up to four new ones a day whose needs are firm, and before what is due takes more than six
//! tenths of the sitting; then, while there is time, what is not due, and what is new but needed by
//! something that was shown already, which is taken as there; then another round of
//! what was done today; and last what is new behind a skill that was tried and is lost. Phrases come in blocks of one skill, with at most two
//! blocks of a kind running: hearing is learnt in short runs, and kept by mixing between them.
//!
//! A plan is a function of the log, the day and the seed, and of nothing else. Where a rule would
//! leave nothing to ask, the rule gives way: a plan relaxes and does not stall.
//!
//! Units: days, milliseconds since the sitting began, decibels (inside [`Level`]).
//!
//! Not here: which feel or answer a phrase has, and whether needs run in a circle (the deck's
//! matter; a circle here only means that its skills do not open by themselves).

mod block;
mod candidates;
mod queue;

pub use candidates::{Candidate, Candidates};

use crate::phrase::Level;
use crate::quiz::{Kind, Phase};
use crate::world::{Day, Seed};

use super::{Learner, Standing};
use block::{Block, Shape};
use queue::Queues;

/// The most new skills a day.
pub const NEW_A_DAY: u32 = 4;

/// In how many blocks of a sitting a skill is asked at most, where nothing else is said.
pub const BLOCKS_OF_A_SKILL: u32 = 3;

/// The most blocks of one kind running, as long as there are others.
const RUN_OF_A_KIND: u32 = 2;

/// How long a phrase takes with its answer and reveal, for estimates: a question comes every 10 to
/// 20 seconds.
const PHRASE_SECONDS: u32 = 15;

/// When a sitting is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// At the end of the block in which this many minutes are reached.
    Minutes(u16),
    /// After exactly this many questions.
    Questions(u32),
}

/// Skills that take their phrases from one store, in which there are only so many for all of them.
#[derive(Clone, Copy, Debug, Default)]
pub struct Scarce<'s> {
    /// Which, by their places among the candidates.
    pub skills: &'s [usize],
    /// How many phrases.
    pub n_phrases: u32,
}

/// By what skills are ordered. Two, so that they can be compared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Chooser {
    /// By the modelled chance of recall, which says what is due: that before new before the rest.
    #[default]
    Forgetting,
    /// By when they were last practised, those never practised first.
    LeastRecent,
}

/// What a sitting is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Terms {
    /// The learning day.
    pub day: Day,
    /// The sitting's seed, from which levels are jittered.
    pub seed: Seed,
    /// When it ends.
    pub limit: Limit,
    /// Which order it follows.
    pub chooser: Chooser,
    /// The most skills that are begun in a day.
    pub new_a_day: u32,
    /// In how many blocks a skill is asked at most.
    pub blocks_of_a_skill: u32,
}

/// Why a skill is asked, or listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// It is due; last practised this many days ago.
    Due {
        /// Learning days since the last attempt.
        days: u32,
    },
    /// It comes back because a skill that needs it keeps failing.
    Repair {
        /// The candidate that fails.
        of: usize,
    },
    /// It is new, and what it needs is firm.
    New,
    /// It is new, and opens although what it needs is not firm: that was practised and is lost, and
    /// nothing else is left to ask.
    Ahead {
        /// What it needs and is lost.
        of: usize,
    },
    /// It is not due, but there is time.
    Spare,
    /// It was done today, but there is time.
    Again,
    /// The learner chose it.
    Chosen,
    /// It keeps failing and rests while what it needs comes back.
    Resting {
        /// The day on which it returns.
        until: Day,
    },
    /// It is new and opens when what it needs is firm.
    Waiting {
        /// The first candidate that it waits for.
        on: usize,
    },
}

/// One line of what today holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Which candidate.
    pub candidate: usize,
    /// Why it is listed.
    pub why: Why,
}

/// The next question's frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Which candidate.
    pub candidate: usize,
    /// The block of the sitting, from 1.
    pub block: u32,
    /// Which part of the block.
    pub phase: Phase,
    /// Which phrase of the block it is, from 1.
    pub place: u32,
    /// How many phrases the block has at most; it may end sooner.
    pub of: u32,
    /// How strong the cues are to be.
    pub level: Level,
    /// Why the skill is asked.
    pub why: Why,
    /// Whether hands are helped.
    pub help: Help,
}

/// Whether hands are helped: a stronger cue does little for them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Help {
    /// They are not.
    None,
    /// They are: the skill begins again after it was lost time and again, or the first three phrases
    /// of the block went wrong.
    Given,
}

/// A sitting's plan.
#[derive(Clone, Debug)]
pub struct Plan {
    candidates: Candidates,
    terms: Terms,
    queues: Queues,
    running: Option<Block>,
    /// What the learner wants next, whatever is due.
    chosen: Option<usize>,
    /// The kind of the latest blocks, and how many of them ran.
    run: Option<(Kind, u32)>,
    n_blocks: u32,
    n_asked: u32,
    has_run_out: bool,
}

impl Plan {
    /// Plans a sitting.
    pub fn begin(learner: &Learner, candidates: Candidates, terms: Terms) -> Self {
        let queues = Queues::sort(learner, &candidates, &terms);
        Self {
            candidates,
            terms,
            queues,
            running: None,
            chosen: None,
            run: None,
            n_blocks: 0,
            n_asked: 0,
            has_run_out: false,
        }
    }

    /// Whether it ended before its time, nothing being left that may be asked now.
    pub fn has_run_out(&self) -> bool {
        self.has_run_out
    }

    /// Whether something new waits for nothing but tomorrow: as many as a day takes have been begun.
    pub fn has_more_tomorrow(&self) -> bool {
        self.queues.has_more_tomorrow(&self.candidates)
    }

    /// Puts a skill before all others: the learner overrules the plan. For one block; after it the plan
    /// goes on. Nothing happens where there is no such candidate.
    pub fn choose(&mut self, candidate: usize) {
        self.chosen = Some(candidate).filter(|idx| *idx < self.candidates.len());
    }

    /// The skills that a choice counts.
    pub fn candidates(&self) -> &[Candidate] {
        &self.candidates
    }

    /// What today holds, in the order in which it would come: due, new, and then what rests, with
    /// the first new skill that is still waiting for these.
    pub fn today(&self) -> Vec<Entry> {
        self.queues.today(&self.candidates)
    }

    /// About how many phrases the sitting has.
    pub fn n_phrases(&self, learner: &Learner, scarce: Scarce<'_>) -> u32 {
        let most = match self.terms.limit {
            Limit::Minutes(minutes) => u32::from(minutes) * 60 / PHRASE_SECONDS,
            Limit::Questions(questions) => questions,
        };
        let mut expected = 0.0;
        let mut left = f64::from(scarce.n_phrases);
        for (candidate, why) in self.queues.waiting_now(&self.candidates) {
            if expected >= f64::from(most) {
                return most;
            }
            let standing = learner.standing(&self.candidates[candidate].skill);
            let mut length = block::expected_length(standing, why);
            if scarce.skills.contains(&candidate) {
                length = length.min(left);
                left -= length;
            }
            expected += length;
        }
        // Blocks have at most six phrases, so the sum is small here.
        (1..=most)
            .take_while(|n| f64::from(*n) <= expected + 0.5)
            .last()
            .unwrap_or(0)
    }

    /// The next question, or `None` when the sitting is over. To be called once a question, after
    /// the learner has learnt the attempt before; `elapsed_ms` is since the sitting began.
    pub fn next(&mut self, learner: &Learner, elapsed_ms: u64) -> Option<Choice> {
        if matches!(self.terms.limit, Limit::Questions(most) if self.n_asked >= most) {
            return None;
        }
        if let Some(mut block) = self.running.take() {
            let candidate = &self.candidates[block.candidate];
            if let Some(phase) = block.next_phase(learner.standing(&candidate.skill)) {
                return Some(self.ask(learner, block, phase));
            }
            self.close(learner, block.candidate);
        }
        let over = |minutes: u16| self.n_asked > 0 && elapsed_ms >= u64::from(minutes) * 60_000;
        if matches!(self.terms.limit, Limit::Minutes(minutes) if over(minutes)) {
            return None;
        }
        let Some(mut block) = self.open(learner) else {
            self.has_run_out = true;
            return None;
        };
        let candidate = &self.candidates[block.candidate];
        let phase = block.next_phase(learner.standing(&candidate.skill))?;
        Some(self.ask(learner, block, phase))
    }

    /// Takes the latest question out of the count of those asked: it was not answered.
    pub fn pass_over(&mut self) {
        self.n_asked = self.n_asked.saturating_sub(1);
    }

    /// Takes the latest choice back and leaves its skill out of this sitting, as when no phrase
    /// could be made for it. Says which skill that is.
    pub fn give_up(&mut self, learner: &Learner) -> Option<usize> {
        let block = self.running.take()?;
        self.n_asked = self.n_asked.saturating_sub(1);
        self.close(learner, block.candidate);
        self.queues.leave_out(block.candidate);
        Some(block.candidate)
    }

    /// Leaves a skill out of this sitting, as when nothing of it can be asked.
    pub fn leave_out(&mut self, candidate: usize) {
        if candidate < self.candidates.len() {
            self.queues.leave_out(candidate);
        }
    }

    /// Opens a block of the best skill whose kind has not run too long; of any, when no other kind
    /// is left.
    fn open(&mut self, learner: &Learner) -> Option<Block> {
        let tired = self
            .run
            .filter(|(_, n)| *n >= RUN_OF_A_KIND)
            .map(|(kind, _)| kind);
        let (candidate, why) = match self.chosen.take() {
            Some(candidate) => (candidate, Why::Chosen),
            None => self.queues.pick(&self.candidates, tired)?,
        };
        let kind = self.candidates[candidate].kind;
        self.run = match self.run {
            Some((same, n)) if same == kind => Some((kind, n + 1)),
            _ => Some((kind, 1)),
        };
        self.n_blocks += 1;
        self.queues.begin_block(candidate, self.n_blocks);
        let standing = learner.standing(&self.candidates[candidate].skill);
        let shape = Shape::of(standing, why);
        Some(Block::new(candidate, why, shape, standing))
    }

    fn close(&mut self, learner: &Learner, candidate: usize) {
        let standing = learner.standing(&self.candidates[candidate].skill);
        self.queues.end_block(candidate, standing);
    }

    fn ask(&mut self, learner: &Learner, block: Block, phase: Phase) -> Choice {
        self.n_asked += 1;
        let seed = self.terms.seed.child("level", u64::from(self.n_asked));
        let standing = learner.standing(&self.candidates[block.candidate].skill);
        let choice = Choice {
            candidate: block.candidate,
            block: self.n_blocks,
            phase,
            place: block.asked,
            of: match self.terms.limit {
                Limit::Questions(most) => {
                    block::LONGEST.min(block.asked + most.saturating_sub(self.n_asked))
                }
                Limit::Minutes(_) => block::LONGEST,
            },
            level: level(learner, &self.candidates[block.candidate], phase, seed),
            why: block.why,
            help: block.help(standing),
        };
        self.running = Some(block);
        choice
    }
}

/// Probes are at the criterion, all else where five of six are right.
fn level(learner: &Learner, candidate: &Candidate, phase: Phase, seed: Seed) -> Level {
    if phase == Phase::Probe {
        return candidate.criterion;
    }
    let (hardest, easiest) = (candidate.hardest, candidate.easiest);
    match learner.standing(&candidate.skill) {
        Some(standing) => standing.place(hardest, easiest, seed),
        None => learner
            .start(candidate.kind, candidate.alternatives)
            .place(0.0, hardest, easiest, seed),
    }
}

#[cfg(test)]
mod tests;
