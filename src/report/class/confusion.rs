//! Who takes what for what.

use std::collections::HashMap;

use super::syllabus::Lesson;
use crate::quiz::{Answer, Attempt, Kind};
use crate::rhythm::{Counting, Feel, Layer};

/// One thing that was taken for another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Confusion {
    /// `says`, `claps`, `chooses`, `marks` or `loses`.
    pub verb: &'static str,
    /// What was answered, in words; nothing where hands held no layer.
    pub said: String,
    /// What was true, in words.
    pub truth: String,
    /// How often.
    pub n: u32,
    /// Of how many times that it was true.
    pub of: u32,
}

impl Confusion {
    /// As `says threes for twos, 7 of 12`, or `loses 1 and 4, 2 of 8`.
    pub fn words(&self) -> String {
        let Self { verb, n, of, .. } = self;
        let pair = pair(&self.said, &self.truth);
        format!("{verb} {pair}, {n} of {of}")
    }
}

/// What was taken for what; what was lost, where nothing was made of it.
pub(super) fn pair(said: &str, truth: &str) -> String {
    if said.is_empty() {
        return truth.to_owned();
    }
    format!("{said} for {truth}")
}

/// Of all learners together the pair that is confused most often.
pub(super) fn most_of_all<'c>(all: impl Iterator<Item = &'c Confusion>) -> Option<Confusion> {
    let mut sums: Vec<Confusion> = Vec::new();
    for one in all {
        let same = |sum: &&mut Confusion| (&sum.said, &sum.truth) == (&one.said, &one.truth);
        match sums.iter_mut().find(same) {
            Some(sum) => {
                sum.n += one.n;
                sum.of += one.of;
            }
            None => sums.push(one.clone()),
        }
    }
    in_order(&mut sums);
    sums.into_iter().next()
}

/// What is confused, under way.
#[derive(Clone, Debug, Default)]
pub(super) struct Counts {
    truths: HashMap<Answer, u32>,
    misses: HashMap<(Answer, Class), u32>,
}

/// What an answer was, as far as it is counted together with others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Class {
    Is(Answer),
    Early,
    Late,
}

impl Counts {
    pub(super) fn take(&mut self, attempt: &Attempt) {
        *self.truths.entry(whole(attempt.truth)).or_default() += 1;
        if !attempt.right {
            let pair = (whole(attempt.truth), class(attempt.truth, attempt.answer));
            *self.misses.entry(pair).or_default() += 1;
        }
    }

    /// What was confused, most often first.
    pub(super) fn told(&self, kind: Kind, lesson: Option<&Lesson>) -> Vec<Confusion> {
        let one = |((truth, said), n): (&(Answer, Class), &u32)| Confusion {
            verb: verb(kind, *said),
            said: said_words(*said, lesson),
            truth: words(*truth, lesson),
            n: *n,
            of: self.truths.get(truth).copied().unwrap_or(*n),
        };
        let mut told: Vec<Confusion> = self.misses.iter().map(one).collect();
        in_order(&mut told);
        told
    }
}

/// The same for every run: the most first, then by words.
fn in_order(all: &mut [Confusion]) {
    all.sort_by(|a, b| {
        let by_n = b.n.cmp(&a.n);
        by_n.then_with(|| (&a.truth, &a.said).cmp(&(&b.truth, &b.said)))
    });
}

/// Turns are one, in whatever cycle.
fn whole(truth: Answer) -> Answer {
    match truth {
        Answer::Turn(Some(_)) => Answer::Turn(Some(0)),
        other => other,
    }
}

fn class(truth: Answer, answer: Answer) -> Class {
    match (truth, answer) {
        (Answer::Turn(Some(truth)), Answer::Turn(Some(said))) if said < truth => Class::Early,
        (Answer::Turn(Some(_)), Answer::Turn(Some(_))) => Class::Late,
        (_, answer) => Class::Is(whole(answer)),
    }
}

fn verb(kind: Kind, said: Class) -> &'static str {
    if said == Class::Is(Answer::Hands(None)) {
        return "loses";
    }
    match kind {
        Kind::Clap | Kind::TwoHands => "claps",
        Kind::FitClapping => "chooses",
        Kind::MarkAccents => "marks",
        Kind::NameFeel
        | Kind::FindStart
        | Kind::NameVoice
        | Kind::NameClapping
        | Kind::CatchTurn
        | Kind::WhoseStroke => "says",
    }
}

fn said_words(said: Class, lesson: Option<&Lesson>) -> String {
    match said {
        Class::Is(answer) => words(answer, lesson),
        Class::Early => "a turn too early".to_owned(),
        Class::Late => "a turn too late".to_owned(),
    }
}

/// An answer in words, as the exercise counts; from 1 where its deck is not known.
pub(super) fn words(answer: Answer, lesson: Option<&Lesson>) -> String {
    let counting = lesson.map_or(Counting::FromOne, |lesson| lesson.counting);
    let list = |layer: Layer| counting.list(layer);
    let held = |layer: Option<Layer>| layer.map_or_else(|| "no layer".to_owned(), list);
    match answer {
        Answer::Feel(Feel::Threes) => "threes".to_owned(),
        Answer::Feel(Feel::Twos) => "twos".to_owned(),
        Answer::Feel(feel) => feel.words().to_owned(),
        Answer::Start(Some(pulse)) => match lesson.map(|lesson| lesson.cycle) {
            Some(cycle) => counting.name(cycle, cycle.pulse_at(i64::from(pulse))),
            None => (u32::from(pulse) + 1).to_string(),
        },
        Answer::Start(None) => "no one count".to_owned(),
        Answer::Clapping(layer) => list(layer),
        Answer::Hands(layer) => layer.map_or_else(String::new, list),
        Answer::Pair([one, other]) => format!("{} with {}", held(one), held(other)),
        Answer::Owner(owner) => owner.words().to_owned(),
        Answer::Marks(layer) => layer.map_or_else(|| "nothing".to_owned(), list),
        Answer::Turn(Some(_)) => "a turn".to_owned(),
        Answer::Turn(None) => "no turn".to_owned(),
    }
}
