//! Ways to choose what is practised.
//!
//! [`practise`] takes one person through ninety days with one [`Policy`]. The two that are the
//! program's own run its plan, levels and memory as they are; the others are what they are compared
//! with.

use contrapalma::phrase::Level;
use contrapalma::quiz::{Answer, Attempt, AttemptId, Kind, Phase, Skill};
use contrapalma::review::plan::{
    BLOCKS_OF_A_SKILL, Candidate, Candidates, Chooser, Limit, NEW_A_DAY, Plan, Terms,
};
use contrapalma::review::{Arrival, Learner, Recall, Standing};
use contrapalma::rhythm::{Feel, Tempo};
use contrapalma::world::{Day, Dice, Moment, Seed};

use super::person::{Person, World};

/// A way to choose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Policy {
    /// Any skill, drawn evenly, at the criterion.
    AnyFixed,
    /// Any skill, drawn evenly, at the level where five of six are right.
    AnyAdaptive,
    /// Fixed gaps up to 14 days, back to the first when a skill is lost, new ones behind their needs,
    /// at the level where five of six are right.
    FixedGaps,
    /// The program's plan.
    Plan(Chooser),
}

pub(crate) const POLICIES: [Policy; 5] = [
    Policy::AnyFixed,
    Policy::AnyAdaptive,
    Policy::FixedGaps,
    Policy::Plan(Chooser::Forgetting),
    Policy::Plan(Chooser::LeastRecent),
];

impl Policy {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::AnyFixed => "any skill, at the criterion",
            Self::AnyAdaptive => "any skill, five of six right",
            Self::FixedGaps => "fixed gaps up to 14 days",
            Self::Plan(Chooser::Forgetting) => "the plan, by forgetting",
            Self::Plan(Chooser::LeastRecent) => "the plan, least recent first",
        }
    }
}

const N_DAYS: i32 = 90;
const ATTENDANCE: f64 = 0.8;
/// Ten minutes, a quarter of a minute for each phrase with its answer and reveal.
const PHRASES_A_DAY: u32 = 40;
const PHRASES_A_MINUTE: f64 = 4.0;
/// Phrases in a block of the policies that are not the program's.
const BLOCK: u32 = 4;
const RUN_OF_A_KIND: u32 = 2;
const GAPS: [i32; 5] = [1, 2, 4, 8, 14];
/// A skill counts as retained when this share of phrases at the criterion is heard.
const RETAINED: f64 = 0.8;
const CRITERION_TENTHS: i16 = 60;

/// What the days have come to.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Outcome {
    /// Skills that are retained 7 and 30 days after the last day.
    pub retained: [f64; 2],
    /// Minutes practised.
    pub minutes: f64,
}

impl Outcome {
    pub(crate) fn add(&mut self, other: Self) {
        self.retained[0] += other.retained[0];
        self.retained[1] += other.retained[1];
        self.minutes += other.minutes;
    }

    pub(crate) fn over(self, n: f64) -> Self {
        Self {
            retained: self.retained.map(|sum| sum / n),
            minutes: self.minutes / n,
        }
    }
}

/// The skills, each harder one behind an easier.
pub(crate) struct Path {
    candidates: Candidates,
    related: Vec<Vec<usize>>,
}

/// Kinds, with how many answers each offers.
const KINDS: [(Kind, u8); 5] = [
    (Kind::NameFeel, 3),
    (Kind::FindStart, 4),
    (Kind::FitClapping, 2),
    (Kind::NameVoice, 3),
    (Kind::Clap, 0),
];

impl Path {
    /// How many skills there are.
    pub(crate) fn len(&self) -> usize {
        self.candidates.len()
    }

    /// Five kinds with two mixtures of cues and two tempi in each of `n_cycles` cycles.
    pub(crate) fn new(n_cycles: usize) -> Self {
        let n_kinds = KINDS.len();
        let place = |cycle: usize, mix: usize, tempo: usize, kind: usize| {
            ((cycle * 2 + mix) * 2 + tempo) * n_kinds + kind
        };
        let (mut candidates, mut related) = (Vec::new(), Vec::new());
        for n in 0..n_cycles * 4 * n_kinds {
            let (cycle, kind) = (n / n_kinds / 4, n % n_kinds);
            let (mix, tempo) = (n / n_kinds / 2 % 2, n / n_kinds % 2);
            let need = match (cycle, mix, tempo) {
                (_, _, 1) => Some(place(cycle, mix, 0, kind)),
                (_, 1, _) => Some(place(cycle, 0, 0, kind)),
                (0, ..) => None,
                (harder, ..) => Some(place(harder - 1, 0, 0, kind)),
            };
            candidates.push(Candidate {
                skill: skill_named(n),
                kind: KINDS[kind].0,
                needs: need.into_iter().collect(),
                criterion: Level::of_tenths(CRITERION_TENTHS),
                easiest: Level::of_tenths(110),
                hardest: Level::of_tenths(20),
                alternatives: KINDS[kind].1,
            });
            related.push(vec![
                place(cycle, mix, tempo, (kind + 1) % n_kinds),
                place((cycle + 1) % n_cycles, mix, tempo, kind),
                place(cycle, 1 - mix, tempo, kind),
                place(cycle, mix, 1 - tempo, kind),
            ]);
        }
        Self {
            candidates: candidates.into_iter().collect(),
            related,
        }
    }
}

fn skill_named(number: usize) -> Skill {
    Skill(format!("invented/{number:03}").into())
}

/// Ninety days of one person. The same seed is the same person on the same days whatever the policy.
pub(crate) fn practise(world: World, path: &Path, policy: Policy, seed: Seed) -> Outcome {
    let n_skills = path.candidates.len();
    let mut practice = Practice {
        path,
        person: Person::new(world, n_skills, seed),
        learner: Learner::new(),
        gaps: vec![(0, 0); n_skills],
        dice: seed.child("choices", 0).dice(),
        n_phrases: 0,
        day: 0,
    };
    let mut days = seed.child("days", 0).dice();
    for day in 0..N_DAYS {
        practice.day = day;
        if days.real(0.0, 1.0) < ATTENDANCE {
            match policy {
                Policy::Plan(chooser) => practice.by_plan(chooser, seed),
                other => practice.in_blocks(other),
            }
        }
        practice.person.sleep();
    }
    practice.outcome()
}

struct Practice<'a> {
    path: &'a Path,
    person: Person,
    learner: Learner,
    /// For the fixed gaps: which gap each skill has come to, and when it ends.
    gaps: Vec<(usize, i32)>,
    dice: Dice,
    n_phrases: u32,
    day: i32,
}

impl Practice<'_> {
    fn by_plan(&mut self, chooser: Chooser, seed: Seed) {
        let terms = Terms {
            day: Day(self.day),
            seed: seed.child("plan", u64::from(self.day.unsigned_abs())),
            // By phrases rather than by minutes, so that all policies practise alike.
            limit: Limit::Questions(PHRASES_A_DAY),
            chooser,
            new_a_day: NEW_A_DAY,
            blocks_of_a_skill: BLOCKS_OF_A_SKILL,
        };
        let mut plan = Plan::begin(&self.learner, self.path.candidates.clone(), terms);
        while let Some(choice) = plan.next(&self.learner, 0) {
            self.ask(choice.candidate, choice.level, choice.phase, choice.block);
        }
    }

    fn in_blocks(&mut self, policy: Policy) {
        let mut run: Option<(Kind, u32)> = None;
        for block in 1..=PHRASES_A_DAY / BLOCK {
            let tired = run.filter(|(_, n)| *n >= RUN_OF_A_KIND);
            let Some(skill) = self.pick(policy, tired.map(|(kind, _)| kind)) else {
                return;
            };
            let kind = self.path.candidates[skill].kind;
            let before = run.filter(|(latest, _)| *latest == kind);
            run = Some((kind, before.map_or(1, |(_, n)| n + 1)));
            for _ in 0..BLOCK {
                let level = self.level(policy, skill);
                self.ask(skill, level, Phase::Adaptive, block);
            }
            self.move_gap(skill);
        }
    }

    fn pick(&mut self, policy: Policy, tired: Option<Kind>) -> Option<usize> {
        let fresh = |skill: &usize| Some(self.path.candidates[*skill].kind) != tired;
        let skills: Vec<usize> = (0..self.gaps.len()).filter(fresh).collect();
        match policy {
            Policy::FixedGaps => self
                .by_gaps(skills)
                .or_else(|| self.by_gaps(0..self.gaps.len())),
            _ => self.dice.pick(&skills).copied(),
        }
    }

    /// What is due, the longest first; then what is new and open; then what will be due.
    fn by_gaps(&self, skills: impl IntoIterator<Item = usize>) -> Option<usize> {
        let today = Day(self.day);
        let began_today = |(_, standing): &(&Skill, &Standing)| standing.first_day() == today;
        let may_begin = self.learner.standings().filter(began_today).count() < NEW_A_DAY as usize;
        let order = |skill: usize| match (self.standing(skill), self.gaps[skill].1) {
            (Some(standing), _) if standing.latest().day == today => None,
            (Some(_), due) if due <= self.day => Some((0, due)),
            (Some(_), due) => Some((2, due)),
            (None, _) => (may_begin && self.is_open(skill)).then_some((1, 0)),
        };
        let ordered = skills
            .into_iter()
            .filter_map(|skill| Some((order(skill)?, skill)));
        ordered.min().map(|(_, skill)| skill)
    }

    fn is_open(&self, skill: usize) -> bool {
        let is_firm = |need: &usize| self.standing(*need).is_some_and(Standing::is_firm);
        self.path.candidates[skill].needs.iter().all(is_firm)
    }

    fn move_gap(&mut self, skill: usize) {
        let lost = self
            .standing(skill)
            .is_none_or(|standing| standing.recall() == Recall::Lost);
        let (gap, due) = &mut self.gaps[skill];
        *due = self.day + if lost { GAPS[0] } else { GAPS[*gap] };
        *gap = if lost {
            0
        } else {
            (*gap + 1).min(GAPS.len() - 1)
        };
    }

    fn level(&mut self, policy: Policy, skill: usize) -> Level {
        let candidate = &self.path.candidates[skill];
        let (hardest, easiest) = (candidate.hardest, candidate.easiest);
        let seed = Seed(u64::from(self.n_phrases)).child("level", 0);
        match self.standing(skill) {
            _ if policy == Policy::AnyFixed => candidate.criterion,
            Some(standing) => standing.place(hardest, easiest, seed),
            None => self
                .learner
                .start(candidate.kind, candidate.alternatives)
                .place(0.0, hardest, easiest, seed),
        }
    }

    fn standing(&self, skill: usize) -> Option<&Standing> {
        self.learner.standing(&self.path.candidates[skill].skill)
    }

    fn ask(&mut self, skill: usize, level: Level, phase: Phase, block: u32) {
        self.n_phrases += 1;
        let candidate = &self.path.candidates[skill];
        let (day, related) = (f64::from(self.day), &self.path.related[skill]);
        let right = self
            .person
            .answer(skill, related, day, (level, candidate.alternatives));
        let attempt = attempt(
            candidate,
            (self.day, self.n_phrases, block),
            (level, phase),
            right,
        );
        let _: Arrival = self.learner.learn(&attempt);
    }

    fn outcome(&self) -> Outcome {
        let criterion = Level::of_tenths(CRITERION_TENTHS);
        // Nights still pass in the exponential world.
        let retained = [7, 30].map(|days| {
            let mut later = self.person.clone();
            (0..days).for_each(|_| later.sleep());
            let day = f64::from(N_DAYS - 1 + days);
            let kept = |skill: &usize| later.heard(*skill, day, criterion) >= RETAINED;
            count((0..self.gaps.len()).filter(kept).count())
        });
        Outcome {
            retained,
            minutes: f64::from(self.n_phrases) / PHRASES_A_MINUTE,
        }
    }
}

fn attempt(
    candidate: &Candidate,
    (day, number, block): (i32, u32, u32),
    (level, phase): (Level, Phase),
    right: bool,
) -> Attempt {
    let at = Moment(i64::from(day) * 86_400_000 + i64::from(number) * 15_000);
    Attempt {
        id: AttemptId {
            install: 1,
            sitting: day.unsigned_abs(),
            number,
        },
        skill: candidate.skill.clone(),
        kind: candidate.kind,
        at,
        wall: at,
        since_start_ms: 0,
        offset_min: 0,
        day: Day(day),
        block,
        phase,
        level,
        criterion: candidate.criterion,
        tempo: Tempo::of_hundredths(18_000).expect("180 pulses a minute are in range"),
        alternatives: candidate.alternatives,
        truth: Answer::Feel(Feel::Threes),
        answer: Answer::Feel(Feel::Threes),
        right,
        heard_tenths: 10,
        answer_ms: 900,
        replays: 0,
        taps: Vec::new(),
        timing: None,
        seed: Seed(u64::from(number)),
        generator: 1,
        phrase: String::new(),
    }
}

fn count(n: usize) -> f64 {
    u32::try_from(n).map_or(f64::MAX, f64::from)
}
