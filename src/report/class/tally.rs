//! Reckons the report of one learner from attempts as they come.

use std::collections::BTreeMap;

use crate::quiz::{Attempt, KeptTiming, Kind, Skill};
use crate::report::heard_from;
use crate::report::record::Record;
use crate::report::stats::{TwoLabels, wilson};
use crate::review::{Learner, Replay};
use crate::rhythm::Counting;
use crate::world::Day;

use super::confusion::Counts;
use super::followed::Readings;
use super::learner::{Doubtful, ExerciseReport, LearnerReport, TapTiming, Who};
use super::moment::{self, Judged, Misses};
use super::practice::Practice;
use super::syllabus::Syllabus;

/// The report of one learner, under way.
#[derive(Debug)]
pub struct Tally<'s> {
    syllabus: &'s Syllabus,
    today: Day,
    replay: Replay,
    practice: Practice,
    skills: BTreeMap<Skill, OfSkill>,
}

/// What is known of one exercise, under way.
#[derive(Debug)]
struct OfSkill {
    kind: Kind,
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
    /// A report of nothing yet, up to `today`.
    pub fn new(syllabus: &'s Syllabus, today: Day) -> Self {
        Self {
            syllabus,
            today,
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
            known.take(attempt, self.today);
            return;
        }
        let mut new = OfSkill::new(attempt.kind);
        let skill = attempt.skill.clone();
        new.take(attempt, self.today);
        self.skills.insert(skill, new);
    }

    /// The report, of whom and with which doubts.
    pub fn finish(self, who: Who, doubts: Vec<Doubtful>) -> LearnerReport {
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
        LearnerReport {
            who,
            practice: self.practice,
            sensitivity: labels(&self.skills).sensitivity(),
            stuck: stuck(&exercises, today),
            due: due.iter().map(|exercise| exercise.title.clone()).collect(),
            next: syllabus.next(&learner, today),
            doubts,
            moments: moment::worst(&judged, syllabus, today),
            exercises,
        }
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
    fn new(kind: Kind) -> Self {
        Self {
            kind,
            record: Record::default(),
            counts: Counts::default(),
            timing: Sums::default(),
            misses: Misses::default(),
        }
    }

    fn take(&mut self, attempt: Attempt, today: Day) {
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
