//! Reckons the report of one learner from attempts as they come.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use crate::class::assignment::{Assignment, Practised, Reached};
use crate::quiz::{Attempt, KeptTiming, Kind, Skill};
use crate::report::heard_from;
use crate::report::record::Record;
use crate::report::stats::{TwoLabels, wilson};
use crate::review::{Learner, Replay, Standing};
use crate::rhythm::Counting;
use crate::world::Day;

use super::confusion::Counts;
use super::followed::Readings;
use super::learner::{About, ExerciseReport, LearnerReport, SetWork, Stage, TapTiming};
use super::moment::{self, Judged, Misses};
use super::practice::Practice;
use super::syllabus::Syllabus;

/// The report of one learner, under way.
#[derive(Debug)]
pub struct Tally<'s> {
    syllabus: &'s Syllabus,
    today: Day,
    about: About,
    /// What was done towards each thing that is set, as `about` has them.
    practised: Vec<Practised>,
    replay: Replay,
    practice: Practice,
    skills: BTreeMap<Skill, OfSkill>,
}

/// Learning days for which what ended is still told.
const TOLD_AFTER: i32 = 28;

/// What is known of one exercise, under way.
#[derive(Debug)]
struct OfSkill {
    kind: Kind,
    /// The places among what is set of all that has this skill.
    set: Vec<usize>,
    record: Record,
    counts: Counts,
    timing: Sums,
    misses: Misses,
}

/// Sums over taps.
#[derive(Debug, Default)]
struct Sums {
    n: u32,
    lead_ms: f64,
    squared_ms: f64,
    squared_of_pulse: f64,
}

impl<'s> Tally<'s> {
    /// The report of a learner of whom no attempt was looked at yet, up to `today`.
    pub fn new(syllabus: &'s Syllabus, today: Day, mut about: About) -> Self {
        let is_told = |set: &Assignment| set.due >= today.plus(-TOLD_AFTER);
        about.set.retain(|(_, set)| is_told(set));
        let begun = |(_, set): &(u32, Arc<Assignment>)| Practised::since(set.from);
        Self {
            syllabus,
            today,
            practised: about.set.iter().map(begun).collect(),
            about,
            replay: Replay::default(),
            practice: Practice::default(),
            skills: BTreeMap::new(),
        }
    }

    /// Takes in the next attempt in the order of replay.
    pub fn take(&mut self, attempt: Attempt) {
        self.replay.take(&attempt);
        self.practice.take(&attempt, self.today);
        if let Some(known) = self.skills.get_mut(&attempt.skill) {
            known.take(attempt, self.today, &mut self.practised);
            return;
        }
        let set = (0..).zip(&self.about.set);
        let set = set.filter(|(_, (_, set))| set.skills.contains(&attempt.skill));
        let mut new = OfSkill::new(attempt.kind, set.map(|(idx, _)| idx).collect());
        let skill = attempt.skill.clone();
        new.take(attempt, self.today, &mut self.practised);
        self.skills.insert(skill, new);
    }

    /// The report.
    pub fn finish(self) -> LearnerReport {
        let (learner, _) = self.replay.finish();
        let (syllabus, today) = (self.syllabus, self.today);
        let mut readings = Readings::default();
        let judged: Vec<Judged<'_>> = self
            .skills
            .iter()
            .map(|(skill, of)| of.misses.judged(syllabus.lesson(skill), &mut readings))
            .collect();
        let exercises: Vec<ExerciseReport> = self
            .skills
            .iter()
            .zip(&judged)
            .filter_map(|((skill, of), judged)| of.told(skill, judged, syllabus, &learner))
            .collect();
        let mut due: Vec<&ExerciseReport> = exercises.iter().filter(|e| e.due <= today).collect();
        due.sort_by_key(|exercise| exercise.due);
        let sets = self.about.set.into_iter().zip(&self.practised);
        LearnerReport {
            who: self.about.who,
            groups: self.about.groups,
            set: sets
                .map(|(set, practised)| set_work(set, practised, &learner, today))
                .collect(),
            heard_live: self.about.heard_live,
            practice: self.practice,
            sensitivity: labels(&self.skills).sensitivity(),
            stuck: stuck(&exercises, today),
            due: due.iter().map(|exercise| exercise.title.clone()).collect(),
            next: syllabus.next(&learner, today),
            doubts: self.about.doubts,
            moments: moment::worst(&judged, syllabus, today),
            exercises,
        }
    }
}

/// How far something is done.
fn set_work(
    (number, assignment): (u32, Arc<Assignment>),
    practised: &Practised,
    learner: &Learner,
    today: Day,
) -> SetWork {
    let skills: BTreeSet<&Skill> = assignment.skills.iter().collect();
    let is_firm = |skill: &&&Skill| learner.standing(skill).is_some_and(Standing::is_firm);
    let n_firm = skills.iter().filter(is_firm).count();
    let reached = Reached {
        firm: u32::try_from(n_firm).unwrap_or(u32::MAX),
        minutes: practised.minutes(),
        days: practised.days(),
    };
    let stage = if today < assignment.from {
        Stage::ToCome
    } else if assignment.goal.is_reached(reached) {
        Stage::Reached
    } else if today <= assignment.due {
        Stage::Open
    } else {
        Stage::Missed
    };
    SetWork {
        number,
        assignment,
        reached,
        stage,
    }
}

fn labels(skills: &BTreeMap<Skill, OfSkill>) -> TwoLabels {
    let all = skills.values().map(|of| of.record.labels);
    all.fold(TwoLabels::default(), TwoLabels::plus)
}

/// Where a learner is stuck: what was lost time and again; else what is not firm after ten answers in
/// the last four weeks and fares worst, by the upper end of its interval.
fn stuck(exercises: &[ExerciseReport], today: Day) -> Option<usize> {
    const ENOUGH: u32 = 10;
    const DAYS: i32 = 28;
    let is_open = |exercise: &ExerciseReport| {
        let lately = exercise.days.1.is_some_and(|day| day > today.plus(-DAYS));
        lately && exercise.n >= ENOUGH && !exercise.is_firm
    };
    let open = (0..exercises.len()).filter(|idx| is_open(&exercises[*idx]));
    open.min_by(|a, b| {
        let (a, b) = (&exercises[*a], &exercises[*b]);
        let by_loss = b.is_failing.cmp(&a.is_failing);
        by_loss.then_with(|| a.share.high.total_cmp(&b.share.high))
    })
}

impl OfSkill {
    fn new(kind: Kind, set: Vec<usize>) -> Self {
        Self {
            kind,
            set,
            record: Record::default(),
            counts: Counts::default(),
            timing: Sums::default(),
            misses: Misses::default(),
        }
    }

    fn take(&mut self, attempt: Attempt, today: Day, practised: &mut [Practised]) {
        for idx in &self.set {
            if let Some(practised) = practised.get_mut(*idx) {
                practised.take(attempt.id, attempt.day, attempt.since_start_ms);
            }
        }
        self.record.take(&attempt);
        self.counts.take(&attempt);
        if let Some(timing) = attempt.timing {
            self.timing.take(timing);
        }
        self.misses.take(attempt, today);
    }

    fn told(
        &self,
        skill: &Skill,
        judged: &Judged<'_>,
        syllabus: &Syllabus,
        learner: &Learner,
    ) -> Option<ExerciseReport> {
        let standing = learner.standing(skill)?;
        let lesson = syllabus.lesson(skill);
        let counting = lesson.map_or(Counting::FromOne, |lesson| lesson.counting);
        let heard = heard_from(standing);
        let record = &self.record;
        Some(ExerciseReport {
            skill: skill.clone(),
            title: syllabus.title(skill),
            kind: self.kind,
            n: record.n,
            right: record.right,
            share: wilson(record.right, record.n)?,
            confusions: self.counts.told(self.kind, lesson),
            sensitivity: record.sensitivity(),
            threshold: heard.map(|level| (level, standing.threshold().heard_within())),
            timing: self.timing.told(),
            slides: counted(judged.slides().map(|slid| slid.words(counting))),
            n_followed: judged.n_followed(),
            days: (record.days, record.last_day),
            is_firm: standing.is_firm(),
            is_failing: standing.is_failing(),
            due: standing.memory().due_day(),
        })
    }
}

/// Each text with how often it comes, the most often first.
fn counted(texts: impl Iterator<Item = String>) -> Vec<(String, u32)> {
    let mut counts: BTreeMap<String, u32> = BTreeMap::new();
    for text in texts {
        *counts.entry(text).or_default() += 1;
    }
    let mut counted: Vec<(String, u32)> = counts.into_iter().collect();
    counted.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    counted
}

impl Sums {
    fn take(&mut self, timing: KeptTiming) {
        let n = f64::from(timing.n);
        self.n = self.n.saturating_add(timing.n);
        self.lead_ms += n * f64::from(timing.lead_ms);
        self.squared_ms += n * (f64::from(timing.spread_tenths) / 10.0).powi(2);
        self.squared_of_pulse += n * timing.of_pulse().powi(2);
    }

    fn told(&self) -> Option<TapTiming> {
        let n = f64::from(self.n);
        (self.n > 0).then(|| TapTiming {
            lead_ms: self.lead_ms / n,
            spread_ms: (self.squared_ms / n).sqrt(),
            of_pulse: (self.squared_of_pulse / n).sqrt(),
            n: self.n,
        })
    }
}
