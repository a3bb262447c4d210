//! One stretch of practice as a state machine: events in, effects out.
//!
//! It reads no clock: whoever drives it says in [`Now`] what time it is. It plays nothing and stores
//! nothing: it says what to play and what to record. Each [`Stage`] holds only its own data, so taps
//! exist only while a tapped question is open.

use crate::label::Label;
use crate::phrase::{GENERATOR, Phrase};
use crate::rhythm::{PulseMap, Tick};
use crate::world::{Day, Moment, Stamp};

use super::question::{Given, Question};
use super::{
    Answer, Attempt, AttemptId, Hands, Hearing, KeptTap, Open, Playing, Reveal, Shown, Skill,
    Stage, Tap, Ticket, Verdict,
};

/// What time it is, in every sense that is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Now {
    /// By the clock that never goes back.
    pub stamp: Stamp,
    /// By the wall clock, made later than every attempt before it.
    pub at: Moment,
    /// By the wall clock, as it stands.
    pub wall: Moment,
    /// Minutes by which local time is ahead of UTC.
    pub offset_min: i32,
    /// The learning day.
    pub day: Day,
}

/// What can happen in a sitting.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The next question is here.
    Next(Box<(Question, Ticket)>),
    /// What was to be played is heard from this stamp on.
    Started(Stamp),
    /// It has been heard to its end.
    Ended,
    /// It was silenced before its end, and can be asked for again.
    Hushed,
    /// One of the choices, from 0.
    Choose(usize),
    /// A tap.
    Tap(Tap),
    /// What is known of the hands has changed.
    Hands(Hands),
    /// A pulse of the cycle is marked, from 0, or its mark is taken away.
    Mark(usize),
    /// No more taps or marks: judge those there are.
    Done,
    /// To hear it once more.
    Again,
    /// To hear something.
    Hear(Hearing),
    /// Not this one.
    Skip,
    /// The sound broke off: what was heard does not count, and it is asked again.
    Spoiled,
    /// The attempt is safe.
    Saved,
    /// The label is disputed.
    Dispute,
    /// On to the next question.
    Onward,
    /// Nothing more is to be asked.
    Enough,
    /// The learner leaves.
    Leave,
}

/// What is to be done.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Play these one after another.
    Play(Vec<Phrase>, Playing),
    /// Be silent.
    Silence,
    /// Keep this attempt, and answer with [`Event::Saved`].
    Record(Box<Attempt>),
    /// Set this attempt's phrase aside.
    SetAside(Box<Attempt>),
    /// The question was not answered: it is not to be counted.
    PassOver,
    /// Bring the next question, or [`Event::Enough`].
    WantNext,
}

/// What a sitting came to for one skill.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tally {
    /// The skill.
    pub skill: Skill,
    /// Its exercise's title.
    pub title: Label,
    /// How many were right.
    pub n_right: u32,
    /// How many were answered.
    pub n_answered: u32,
}

/// One stretch of practice, from its first question to its last.
#[derive(Clone, Debug)]
pub struct Sitting {
    stage: Stage,
    install: u64,
    number: u32,
    began: Stamp,
    hands: Hands,
    n_attempts: u32,
    lately: Vec<(Skill, Answer)>,
    tallies: Vec<Tally>,
}

impl Sitting {
    /// The `number`-th sitting of the store `install`, beginning now.
    pub fn new(install: u64, number: u32, hands: Hands, now: &Now) -> Self {
        Self {
            stage: Stage::Ready,
            install,
            number,
            began: now.stamp,
            hands,
            n_attempts: 0,
            lately: Vec::new(),
            tallies: Vec::new(),
        }
    }

    /// Where it stands.
    pub fn stage(&self) -> &Stage {
        &self.stage
    }

    /// How it went, skill by skill in the order of first asking.
    pub fn tallies(&self) -> &[Tally] {
        &self.tallies
    }

    /// The truths of the questions of one skill so far, the last one last.
    pub fn lately(&self, skill: &Skill) -> Vec<Answer> {
        self.lately
            .iter()
            .filter(|(asked, _)| asked == skill)
            .map(|(_, truth)| *truth)
            .collect()
    }

    /// How long it has lasted, in microseconds.
    pub fn elapsed(&self, now: &Now) -> u64 {
        now.stamp.since(self.began)
    }

    /// Takes an event and says what is to be done. What cannot happen at this stage does nothing.
    pub fn handle(&mut self, event: Event, now: &Now) -> Vec<Effect> {
        if event == Event::Leave {
            self.stage = Stage::Over;
            return vec![Effect::Silence];
        }
        if let Event::Hands(hands) = event {
            self.hands = hands;
            return Vec::new();
        }
        match std::mem::replace(&mut self.stage, Stage::Ready) {
            Stage::Ready => self.while_ready(event),
            Stage::Open(open) => self.while_open(open, &event, now),
            Stage::Shown(shown) => self.while_shown(shown, &event),
            Stage::Over => {
                self.stage = Stage::Over;
                Vec::new()
            }
        }
    }

    fn while_ready(&mut self, event: Event) -> Vec<Effect> {
        match event {
            Event::Next(asked) => {
                let (question, ticket) = *asked;
                let mut open = Open::new(question, ticket);
                let effects = open.play(Hearing::Question);
                self.stage = Stage::Open(Box::new(open));
                effects
            }
            Event::Onward => vec![Effect::WantNext],
            Event::Enough => {
                self.stage = Stage::Over;
                vec![Effect::Silence]
            }
            _ => Vec::new(),
        }
    }

    fn while_open(&mut self, mut open: Box<Open>, event: &Event, now: &Now) -> Vec<Effect> {
        let effects = match *event {
            Event::Choose(idx) => return self.answer(open, &Given::Choice(idx), now),
            // Every phrase has accents: none marked is no answer yet.
            Event::Done if open.question.is_marked() && open.marks.is_empty() => Vec::new(),
            Event::Done if open.question.is_marked() => {
                let marks = open.marks.iter().copied().collect();
                return self.answer(open, &Given::Marks(marks), now);
            }
            Event::Done => return self.judge_taps(open, now),
            Event::Mark(pulse_idx) => {
                open.mark(pulse_idx);
                Vec::new()
            }
            Event::Tap(tap) => {
                open.tap(tap);
                if open.is_settled() {
                    return self.judge_taps(open, now);
                }
                Vec::new()
            }
            Event::Skip => return passed_over(),
            Event::Spoiled => return self.ask_again(open),
            Event::Started(stamp) => open.started(stamp),
            // What is clapped to the end is over with the sound.
            Event::Ended if open.question.ends_with_its_sound() && !open.taps.kept().is_empty() => {
                return self.judge_taps(open, now);
            }
            Event::Ended => open.ended(now),
            Event::Hushed => {
                open.taps.clear();
                open.ended(now)
            }
            Event::Again => open.again(Hearing::Question, now),
            Event::Hear(hearing @ Hearing::Clapping(_)) => open.again(hearing, now),
            _ => Vec::new(),
        };
        self.stage = Stage::Open(open);
        effects
    }

    /// Asks a question again whose sound broke off, as if it had not sounded; another one after
    /// several times.
    fn ask_again(&mut self, mut open: Box<Open>) -> Vec<Effect> {
        const TIMES: u8 = 3;
        open.n_spoilt += 1;
        if open.n_spoilt > TIMES {
            return passed_over();
        }
        open.taps.clear();
        open.first_heard = None;
        open.heard_micros = 0;
        let effects = open.play(Hearing::Question);
        self.stage = Stage::Open(open);
        effects
    }

    fn judge_taps(&mut self, open: Box<Open>, now: &Now) -> Vec<Effect> {
        let taps = open.taps.kept().to_vec();
        self.answer(open, &Given::Taps(taps, self.hands), now)
    }

    fn answer(&mut self, mut open: Box<Open>, given: &Given, now: &Now) -> Vec<Effect> {
        let Some(verdict) = open.question.judge(given) else {
            self.stage = Stage::Open(open);
            return Vec::new();
        };
        open.ended(now);
        self.n_attempts += 1;
        let mut attempt = self.attempt(&open, verdict, now);
        attempt.timing = open.question.timing(given);
        self.tally(&open.ticket, verdict.right);
        self.lately.push((open.ticket.skill.clone(), attempt.truth));
        let reveal = Reveal::of(&open.question, verdict, given, open.ticket.counting);
        let Open {
            question, ticket, ..
        } = *open;
        self.stage = Stage::Shown(Box::new(Shown {
            question,
            ticket,
            reveal,
            attempt: attempt.clone(),
            saved: false,
            disputed: false,
            sounding: None,
        }));
        vec![Effect::Silence, Effect::Record(Box::new(attempt))]
    }

    fn attempt(&self, open: &Open, verdict: Verdict, now: &Now) -> Attempt {
        let phrase = open.question.phrase();
        let cycle = cycle_micros(phrase);
        let after_first = open.first_heard.map_or(0, |first| now.stamp.since(first));
        let measured = open.question.measured();
        let whole = |value: u64| u32::try_from(value).unwrap_or(u32::MAX);
        Attempt {
            id: AttemptId {
                install: self.install,
                sitting: self.number,
                number: self.n_attempts,
            },
            skill: open.ticket.skill.clone(),
            kind: open.question.kind(),
            at: now.at,
            wall: now.wall,
            since_start_ms: whole(now.stamp.since(self.began) / 1000),
            offset_min: now.offset_min,
            day: now.day,
            block: open.ticket.block,
            phase: open.ticket.phase,
            level: open.ticket.level,
            criterion: open.ticket.criterion,
            tempo: phrase.tempo(),
            alternatives: open.ticket.alternatives,
            truth: open.question.truth(),
            answer: verdict.answer,
            right: verdict.right,
            heard_tenths: whole(open.heard_micros * 10 / cycle.max(1)),
            answer_ms: whole(after_first.saturating_sub(cycle) / 1000),
            replays: open.replays,
            taps: open.taps.kept().iter().map(kept).collect(),
            timing: None,
            seed: measured.seed(),
            generator: GENERATOR,
            phrase: open.question.line(),
        }
    }

    fn tally(&mut self, ticket: &Ticket, right: bool) {
        let known = self
            .tallies
            .iter()
            .position(|tally| tally.skill == ticket.skill);
        let idx = known.unwrap_or_else(|| {
            self.tallies.push(Tally {
                skill: ticket.skill.clone(),
                title: ticket.title.clone(),
                n_right: 0,
                n_answered: 0,
            });
            self.tallies.len() - 1
        });
        if let Some(tally) = self.tallies.get_mut(idx) {
            tally.n_answered += 1;
            tally.n_right += u32::from(right);
        }
    }

    fn while_shown(&mut self, mut shown: Box<Shown>, event: &Event) -> Vec<Effect> {
        let effects = match event {
            Event::Onward => return vec![Effect::Silence, Effect::WantNext],
            Event::Saved => {
                shown.saved = true;
                Vec::new()
            }
            Event::Dispute if !shown.disputed => {
                shown.disputed = true;
                vec![Effect::SetAside(Box::new(shown.attempt.clone()))]
            }
            Event::Hear(hearing) => shown.play(*hearing),
            Event::Started(stamp) => {
                shown.sounding = shown.sounding.map(|(hearing, _)| (hearing, Some(*stamp)));
                Vec::new()
            }
            Event::Ended | Event::Hushed => {
                shown.sounding = None;
                Vec::new()
            }
            _ => Vec::new(),
        };
        self.stage = Stage::Shown(shown);
        effects
    }
}

fn passed_over() -> Vec<Effect> {
    vec![Effect::Silence, Effect::PassOver, Effect::WantNext]
}

/// Microseconds of one cycle.
fn cycle_micros(phrase: &Phrase) -> u64 {
    let n_pulses = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let micros = PulseMap::of(phrase.pace.clone(), 0).micros_at(Tick::of_pulse(n_pulses));
    u64::try_from(micros).unwrap_or(1)
}

fn kept(tap: &Tap) -> KeptTap {
    let most = if tap.micros < 0 { i32::MIN } else { i32::MAX };
    KeptTap {
        ms: i32::try_from(tap.micros / 1000).unwrap_or(most),
        hand: tap.hand,
    }
}
