//! The three worst moments of a learner: what is worth hearing again.
//!
//! Of the last four weeks, and at most one of an exercise while there are others. Misses of the ear
//! come by how much stronger the cue was than what counts as learnt, the strongest first; misses of
//! hands by for how many cycles they had slid, the longest first; of equals the latest. The two are
//! taken in turn, the ear first.

use crate::quiz::{Answer, Attempt, Hand};
use crate::world::Day;

use super::confusion;
use super::followed::{Readings, Slid, slid};
use super::syllabus::{Lesson, Syllabus};
use crate::quiz::judge::Place;
use crate::rhythm::Counting;

/// Learning days of which moments are told.
const DAYS: i32 = 28;
/// Moments that are told.
const MOST: usize = 3;
/// Misses of hands that are looked at in one exercise, the latest.
const LATEST: usize = 6;

/// A miss that is worth hearing again.
#[derive(Clone, Debug, PartialEq)]
pub struct Moment {
    /// The attempt.
    pub attempt: Attempt,
    /// What was true of the questions of its exercise before it in its sitting, the last one last:
    /// which phrase is asked depends on them.
    pub lately: Vec<Answer>,
    /// The title of its exercise.
    pub title: String,
    /// What was answered, what was true, and why it is among the worst.
    pub words: String,
    /// Where it can be heard.
    pub heard: Heard,
}

/// Where a moment can be heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Nobody asked for its sound.
    NotAsked,
    /// In the file of this name, beside the report or in a folder below it.
    In(String),
    /// Nowhere, for this reason.
    Nowhere(String),
}

/// The misses of one exercise from which moments are chosen.
#[derive(Clone, Debug, Default)]
pub(super) struct Misses {
    /// Of the ear, the worst first.
    ear: Vec<Miss>,
    /// Of hands, the latest last.
    hands: Vec<Miss>,
    sitting: Option<(u64, u32)>,
    lately: Vec<Answer>,
}

#[derive(Clone, Debug)]
struct Miss {
    attempt: Attempt,
    lately: Vec<Answer>,
}

impl Misses {
    pub(super) fn take(&mut self, attempt: Attempt, today: Day) {
        let sitting = Some((attempt.id.install, attempt.id.sitting));
        if sitting != self.sitting {
            self.sitting = sitting;
            self.lately.clear();
        }
        let truth = attempt.truth;
        if !attempt.right {
            self.keep(attempt, today);
        }
        // No more than a run of three is ever looked at.
        let surplus = (self.lately.len() + 1).saturating_sub(LONGEST_RUN);
        self.lately.drain(..surplus);
        self.lately.push(truth);
    }

    fn keep(&mut self, attempt: Attempt, today: Day) {
        if attempt.alternatives == 0 {
            self.keep_hands(attempt);
        } else if attempt.day > today.plus(-DAYS) {
            self.keep_ear(attempt);
        }
    }

    fn keep_hands(&mut self, attempt: Attempt) {
        // Nobody who did not clap slid.
        if attempt.taps.is_empty() {
            return;
        }
        let surplus = (self.hands.len() + 1).saturating_sub(LATEST);
        self.hands.drain(..surplus);
        let lately = self.lately.clone();
        self.hands.push(Miss { attempt, lately });
    }

    fn keep_ear(&mut self, attempt: Attempt) {
        let rank = rank(&attempt);
        let place = self.ear.partition_point(|known| known.rank() > rank);
        if place < MOST {
            let lately = self.lately.clone();
            self.ear.insert(place, Miss { attempt, lately });
            self.ear.truncate(MOST);
        }
    }

    /// The same with where hands slid in each of the latest misses, as far as that can be said.
    pub(super) fn judged(&self, lesson: Option<&Lesson>, readings: &mut Readings) -> Judged<'_> {
        let place = lesson.and_then(|lesson| lesson.followed);
        let mut slide = |miss: &Miss| slid(&miss.attempt, place?, readings);
        Judged {
            misses: self,
            slides: self.hands.iter().map(&mut slide).collect(),
            n_followed: place.map_or(0, |_| self.hands.len()),
        }
    }
}

/// The misses of one exercise, and where hands slid.
#[derive(Debug)]
pub(super) struct Judged<'m> {
    misses: &'m Misses,
    /// One for each miss of hands.
    slides: Vec<Option<Slid>>,
    n_followed: usize,
}

impl Judged<'_> {
    /// Where hands slid.
    pub(super) fn slides(&self) -> impl Iterator<Item = Slid> {
        self.slides.iter().copied().flatten()
    }

    /// In how many misses that was looked for.
    pub(super) fn n_followed(&self) -> u32 {
        u32::try_from(self.n_followed).unwrap_or(u32::MAX)
    }
}

const LONGEST_RUN: usize = 3;

/// Tenths of a decibel by which the cue was stronger than what counts as learnt, then when.
fn rank(attempt: &Attempt) -> (i32, crate::world::Moment) {
    let over = i32::from(attempt.level.tenths()) - i32::from(attempt.criterion.tenths());
    (over, attempt.at)
}

impl Miss {
    fn rank(&self) -> (i32, crate::world::Moment) {
        rank(&self.attempt)
    }

    fn told(&self, syllabus: &Syllabus, why: &str) -> Moment {
        let attempt = &self.attempt;
        let lesson = syllabus.lesson(&attempt.skill);
        let [said, truth] =
            [attempt.answer, attempt.truth].map(|answer| confusion::words(answer, lesson));
        let what = match attempt.answer {
            Answer::Hands(None) => format!("lost {truth}"),
            _ => confusion::pair(&said, &truth),
        };
        Moment {
            title: syllabus.title(&attempt.skill),
            words: format!("{}: {what}, {why}", attempt.day),
            attempt: attempt.clone(),
            lately: self.lately.clone(),
            heard: Heard::NotAsked,
        }
    }

    fn of_ear(&self, syllabus: &Syllabus) -> Moment {
        let (level, over) = (self.attempt.level, f64::from(self.rank().0) / 10.0);
        let why = match over {
            over if over > 0.0 => format!("with cues of {level}, {over:.1} dB more than is asked"),
            over if over < 0.0 => {
                format!("with cues of {level}, {:.1} dB less than is asked", -over)
            }
            _ => format!("with cues of {level}, as is asked"),
        };
        self.told(syllabus, &why)
    }

    fn of_hands(&self, slid: Option<Slid>, syllabus: &Syllabus) -> Moment {
        let lesson = syllabus.lesson(&self.attempt.skill);
        let counting = lesson.map_or(Counting::FromOne, |lesson| lesson.counting);
        let why = match slid {
            Some(slid) => format!("slid {}", slid.words(counting)),
            None => match self.attempt.taps.len() {
                1 => "after 1 tap".to_owned(),
                n => format!("after {n} taps"),
            },
        };
        self.told(syllabus, &why)
    }
}

impl Slid {
    /// As `to 1, 3 and 5 from cycle 3 on`.
    pub(super) fn words(&self, counting: Counting) -> String {
        let counts = counting.list(self.to);
        let to = match self.place {
            Place::On => counts,
            Place::Contra => format!("half-way after {counts}"),
        };
        let who = match self.hand {
            Hand::Either => String::new(),
            hand => format!("with the {} ", hand.words()),
        };
        format!("{who}to {to} from cycle {} on", self.from)
    }
}

/// The worst moments of all exercises.
pub(super) fn worst(all: &[Judged<'_>], syllabus: &Syllabus, today: Day) -> Vec<Moment> {
    // Each exercise gives its worst first; what is left comes only when there is room.
    let ear = all.iter().map(|judged| judged.misses.ear.iter().collect());
    let ear = by_turns(ear, |miss: &&Miss| miss.rank());
    let hands = all.iter().map(|judged| {
        let all = judged
            .misses
            .hands
            .iter()
            .zip(judged.slides.iter().copied());
        let mut recent: Vec<_> = all
            .filter(|(miss, _)| miss.attempt.day > today.plus(-DAYS))
            .collect();
        recent.sort_by_key(|miss| std::cmp::Reverse(length(miss)));
        recent
    });
    let hands = by_turns(hands, length);
    let mut ear = ear.into_iter().map(|miss| miss.of_ear(syllabus));
    let mut hands = hands
        .into_iter()
        .map(|(miss, slid)| miss.of_hands(slid, syllabus));
    let mut worst = Vec::new();
    while worst.len() < MOST {
        let next = [ear.next(), hands.next()];
        if next.iter().all(Option::is_none) {
            break;
        }
        worst.extend(next.into_iter().flatten());
    }
    worst.truncate(MOST);
    worst
}

/// For how many cycles hands had slid, then when.
fn length((miss, slid): &(&Miss, Option<Slid>)) -> (u32, crate::world::Moment) {
    (slid.map_or(0, |slid| slid.n_cycles), miss.attempt.at)
}

/// The first of each list by rank, then the second of each, and so on.
fn by_turns<T, R: Ord>(lists: impl Iterator<Item = Vec<T>>, rank: impl Fn(&T) -> R) -> Vec<T> {
    let mut turns: Vec<Vec<T>> = Vec::new();
    for list in lists {
        for (turn, item) in list.into_iter().enumerate() {
            if turns.len() <= turn {
                turns.push(Vec::new());
            }
            if let Some(turn) = turns.get_mut(turn) {
                turn.push(item);
            }
        }
    }
    for turn in &mut turns {
        turn.sort_by_key(|item| std::cmp::Reverse(rank(item)));
    }
    turns.into_iter().flatten().collect()
}
