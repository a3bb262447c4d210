//! Brings the class store to a report: attempts, groups, what is set, heard live and doubted.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;
use std::thread;

use crate::class::assignment::Assignment;
use crate::class::hand_in::LearnerId;
use crate::class::roster::Roster;
use crate::label::{Label, name_order};
use crate::quiz::{Attempt, AttemptId};
use crate::report::class::{
    About, ClassReport, Doubtful, GroupReport, HeardLive, LearnerReport, Syllabus, Tally, Who,
};
use crate::store::{ClassStore, Disputed, Enrolled, StoreError, Target};
use crate::world::Day;

/// Whose report is asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Whose {
    /// That of everybody.
    All,
    /// That of those in a group.
    Group(Label),
    /// That of one learner.
    Learner(LearnerId),
}

/// The report of these learners of a class, up to `today`; `deck` is what the syllabus sets work from.
/// Attempts are read and reckoned learner by learner, side by side, and those of few are held at once.
///
/// # Errors
/// When the store cannot be read.
pub fn class_report(
    store: &ClassStore,
    whose: &Whose,
    syllabus: &Syllabus,
    (today, deck): (Day, &str),
) -> Result<ClassReport, StoreError> {
    let known = Known::read(store, syllabus)?;
    let learners = chosen(store.learners()?, whose, &known.roster);
    let learners = reckoned(store, learners, |(enrolled, attempts)| {
        one(known.about(enrolled), attempts, syllabus, today)
    })?;
    let groups = match whose {
        Whose::All => GroupReport::all(&known.roster, &learners),
        Whose::Group(name) => {
            let group = known.roster.group(name);
            group
                .map(|group| GroupReport::of(group, &learners))
                .into_iter()
                .collect()
        }
        Whose::Learner(_) => Vec::new(),
    };
    Ok(ClassReport {
        today,
        deck: deck.to_owned(),
        learners,
        groups,
    })
}

/// Reads the attempts of each learner, and deals them in turn to workers who reckon the reports: these
/// come in the order of the learners. Each worker holds at most two learners' attempts.
fn reckoned(
    store: &ClassStore,
    learners: Vec<Enrolled>,
    report: impl Fn((Enrolled, Vec<Attempt>)) -> LearnerReport + Sync,
) -> Result<Vec<LearnerReport>, StoreError> {
    /// Reading takes half as long as reckoning, so that more have nothing to do.
    const MOST_WORKERS: usize = 3;
    let n_workers = thread::available_parallelism().map_or(1, usize::from);
    let report = &report;
    thread::scope(|scope| {
        let worker = |_| {
            let (sender, inbox) = sync_channel::<(Enrolled, Vec<Attempt>)>(1);
            let reports = move || inbox.into_iter().map(report).collect::<Vec<_>>();
            (sender, scope.spawn(reports))
        };
        let (senders, workers): (Vec<_>, Vec<_>) =
            (0..n_workers.min(MOST_WORKERS)).map(worker).unzip();
        let mut dealt = learners.into_iter().zip(senders.iter().cycle());
        let read = dealt.try_for_each(|(enrolled, sender)| {
            let attempts = store.answers(enrolled.learner)?;
            // The other side ends only when this one has.
            drop(sender.send((enrolled, attempts)));
            Ok(())
        });
        drop(dealt);
        drop(senders);
        let done = workers.into_iter().map(|worker| {
            let reports = worker.join().expect("reckoning a report never panics");
            reports.into_iter()
        });
        let reports = in_turn(done.collect());
        read.map(|()| reports)
    })
}

/// The first of each, then the second of each, and so on until one has no more.
fn in_turn<T>(mut parts: Vec<std::vec::IntoIter<T>>) -> Vec<T> {
    let mut all = Vec::new();
    loop {
        for part in &mut parts {
            match part.next() {
                Some(next) => all.push(next),
                None => return all,
            }
        }
        if parts.is_empty() {
            return all;
        }
    }
}

/// The learners of whom a report is asked, as people look names up.
fn chosen(mut learners: Vec<Enrolled>, whose: &Whose, roster: &Roster) -> Vec<Enrolled> {
    learners.retain(|one| match whose {
        Whose::All => true,
        Whose::Group(name) => roster.groups_of(one.learner).contains(name),
        Whose::Learner(learner) => one.learner == *learner,
    });
    // They come by name and number, and stay so where two come to the same.
    learners.sort_by_cached_key(|one| name_order(one.name.as_str()));
    learners
}

fn one(about: About, attempts: Vec<Attempt>, syllabus: &Syllabus, today: Day) -> LearnerReport {
    let mut tally = Tally::new(syllabus, today, about);
    for attempt in attempts {
        tally.take(attempt);
    }
    tally.finish()
}

/// What the store knows of learners beside their attempts.
struct Known {
    roster: Roster,
    /// What is set and not taken back, by number.
    set: Vec<(u32, Target, Arc<Assignment>)>,
    heard_live: HashMap<LearnerId, Vec<HeardLive>>,
    doubts: HashMap<LearnerId, Vec<Doubtful>>,
}

impl Known {
    fn read(store: &ClassStore, syllabus: &Syllabus) -> Result<Self, StoreError> {
        let set = store.assignments()?.into_iter();
        let set = set.filter(|kept| kept.withdrawn.is_none());
        let mut heard_live: HashMap<LearnerId, Vec<HeardLive>> = HashMap::new();
        for mark in store.live_marks()? {
            let of_learner = heard_live.entry(mark.learner).or_default();
            of_learner.push(HeardLive {
                title: syllabus.title(&mark.skill),
                skill: mark.skill,
                day: mark.day,
                note: mark.note,
            });
        }
        Ok(Self {
            roster: store.roster()?,
            set: set
                .map(|kept| (kept.number, kept.target, Arc::new(kept.assignment)))
                .collect(),
            heard_live,
            doubts: doubts(store, syllabus)?,
        })
    }

    fn about(&self, enrolled: Enrolled) -> About {
        let learner = enrolled.learner;
        let set = self.set.iter();
        let set = set.filter(|(_, target, _)| target.is_to(learner, &self.roster));
        About {
            groups: sorted(self.roster.groups_of(learner)),
            set: set
                .map(|(number, _, assignment)| (*number, Arc::clone(assignment)))
                .collect(),
            heard_live: self.heard_live.get(&learner).cloned().unwrap_or_default(),
            doubts: self.doubts.get(&learner).cloned().unwrap_or_default(),
            who: Who {
                learner,
                name: enrolled.name,
                n_missing: enrolled.n_missing,
            },
        }
    }
}

fn sorted(names: &[Label]) -> Vec<Label> {
    let mut names = names.to_vec();
    names.sort_by_cached_key(|name| name_order(name.as_str()));
    names
}

/// The doubts that wait for a judgement: by phrase those about attempts that are here, then others.
fn doubts(
    store: &ClassStore,
    syllabus: &Syllabus,
) -> Result<HashMap<LearnerId, Vec<Doubtful>>, StoreError> {
    let mut doubts: HashMap<LearnerId, Vec<Doubtful>> = HashMap::new();
    let here = store.disputes()?.into_iter();
    for disputed in here.filter(|disputed| !is_judged(disputed)) {
        let attempt = disputed.attempt;
        let of_learner = doubts.entry(disputed.learner).or_default();
        of_learner.push(Doubtful {
            attempt: name_of(attempt.id),
            title: Some(syllabus.title(&attempt.skill)),
            label_and_answer: Some((attempt.truth.to_text(), attempt.answer.to_text())),
            note: disputed.note,
        });
    }
    let others = store.doubts()?.into_iter();
    for doubted in others.filter(|doubted| doubted.skill.is_none()) {
        let of_learner = doubts.entry(doubted.learner).or_default();
        of_learner.push(Doubtful {
            attempt: name_of(doubted.doubt.attempt),
            title: None,
            label_and_answer: None,
            note: doubted.doubt.note,
        });
    }
    Ok(doubts)
}

fn name_of(id: AttemptId) -> String {
    format!("{:016x}-{}-{}", id.install, id.sitting, id.number)
}

/// Whether nothing is left to judge. A doubt that came after the label was upheld is a new one.
pub fn is_judged(one: &Disputed) -> bool {
    one.judgement
        .as_ref()
        .is_some_and(|judgement| !judgement.ruling.may_be_asked() || one.at <= judgement.at)
}
