//! In which order skills come.
//!
//! [`Queues`] sorts all candidates once, at the start of a sitting, and then only notes what
//! happened to the one skill in hand, so that a choice among a hundred thousand stays cheap.

use std::cmp::Ordering;

use crate::quiz::Kind;
use crate::review::memory::Recall;
use crate::world::Day;

use super::{
    Candidate, Candidates, Chooser, Entry, Learner, Limit, PHRASE_SECONDS, Standing, Terms, Why,
};

/// The share of a sitting's blocks, in tenths, that what is due may take before what is new has its
/// turn. In simulation less was kept when a long queue of what is due let nothing new in.
const DUE_BEFORE_NEW_TENTHS: u32 = 6;

/// Phrases of a usual block.
const BLOCK: u32 = 4;

/// The most blocks in a sitting of a skill that is lost.
const BLOCKS_OF_A_LOST: u32 = 2;

#[derive(Clone, Debug)]
pub(super) struct Queues {
    facts: Vec<Fact>,
    /// Candidates by stage; a stage begins when the one before has nothing more to give.
    stages: Vec<Vec<usize>>,
    /// How many more skills may be begun today.
    new_left: u32,
    /// In how many blocks a skill is asked at most.
    blocks_of_a_skill: u32,
}

/// What the plan knows of one candidate.
#[derive(Clone, Debug)]
struct Fact {
    why: Why,
    /// Days since the latest event over the days that the memory lasts: the larger, the smaller the
    /// chance of recall, whatever its formula. 0 of what was never practised.
    faded: f32,
    /// The day of the latest attempt; `None` of what was never practised.
    seen: Option<Day>,
    readiness: Readiness,
    practised: Practised,
    /// Blocks in this sitting, and the number of the latest.
    n_blocks: u32,
    latest_block: u32,
}

impl Fact {
    /// Of what was never practised.
    const NEW: Self = Self {
        why: Why::New,
        faded: 0.0,
        seen: None,
        readiness: Readiness::NotYet,
        practised: Practised::Never,
        n_blocks: 0,
        latest_block: 0,
    };

    fn of(standing: &Standing, needs: &[usize], day: Day) -> Self {
        let readiness = Readiness::of(Some(standing));
        let seen = standing.latest().day;
        let practised = if seen >= day {
            Practised::Today
        } else {
            Practised::Earlier
        };
        let is_lost_today = practised == Practised::Today && readiness == Readiness::Lost;
        Self {
            why: why(standing, practised, needs, day),
            faded: standing.memory().faded(day),
            seen: Some(seen),
            readiness,
            practised,
            // What was lost today is not asked over and over in every sitting of the day.
            n_blocks: u32::from(is_lost_today),
            latest_block: 0,
        }
    }
}

/// Whether a skill opens those that need it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Readiness {
    Firm,
    /// It was never practised, and one that needs it was shown: that one could not be done without.
    Granted,
    NotYet,
    /// It was lost at its latest event.
    Lost,
}

impl Readiness {
    fn of(standing: Option<&Standing>) -> Self {
        match standing {
            Some(standing) if standing.is_firm() => Self::Firm,
            Some(standing) if standing.recall() == Recall::Lost => Self::Lost,
            _ => Self::NotYet,
        }
    }

    fn opens(self) -> bool {
        matches!(self, Self::Firm | Self::Granted)
    }
}

/// When a skill was last practised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Practised {
    Never,
    Earlier,
    Today,
}

impl Queues {
    pub(super) fn sort(learner: &Learner, candidates: &Candidates, terms: &Terms) -> Self {
        let day = terms.day;
        let mut facts = vec![Fact::NEW; candidates.len()];
        let mut begun_today = 0;
        let mut shown = Vec::new();
        candidates.each_standing(learner, |place, standing| {
            // What was begun today in another deck counts as well.
            begun_today += u32::from(standing.first_day() == day);
            if let Some(place) = place {
                facts[place] = Fact::of(standing, &candidates[place].needs, day);
                shown.extend(standing.has_shown().then_some(place));
            }
        });
        grant_needs(&mut facts, candidates, shown);
        send_back_to_needs(&mut facts, candidates, learner, day);
        let stages = match terms.chooser {
            Chooser::Forgetting => by_forgetting(&facts, terms.limit),
            Chooser::LeastRecent => by_least_recent(&facts, candidates, learner),
        };
        Self {
            facts,
            stages,
            new_left: terms.new_a_day.saturating_sub(begun_today),
            blocks_of_a_skill: terms.blocks_of_a_skill,
        }
    }

    /// The best candidate whose kind is not `tired`, or else the best.
    pub(super) fn pick(
        &self,
        candidates: &[Candidate],
        tired: Option<Kind>,
    ) -> Option<(usize, Why)> {
        let fresh = |candidate: usize| Some(candidates[candidate].kind) != tired;
        let mut ready = self.stages.iter().flatten().copied();
        let best = ready
            .clone()
            .find(|candidate| fresh(*candidate) && self.is_ready(candidates, *candidate))
            .or_else(|| ready.find(|candidate| self.is_ready(candidates, *candidate)));
        if let Some(candidate) = best {
            return Some((candidate, self.facts[candidate].why));
        }
        self.again(candidates, tired)
            .or_else(|| self.ahead(candidates, tired))
            .or_else(|| self.anything())
    }

    pub(super) fn begin_block(&mut self, candidate: usize, number: u32) {
        let fact = &mut self.facts[candidate];
        fact.n_blocks = fact.n_blocks.saturating_add(1);
        fact.latest_block = number;
    }

    /// Notes how the skill stands after its block. A block in which nothing was answered leaves a
    /// new skill new.
    pub(super) fn end_block(&mut self, candidate: usize, standing: Option<&Standing>) {
        let fact = &mut self.facts[candidate];
        if standing.is_some() {
            fact.readiness = Readiness::of(standing);
            if fact.practised == Practised::Never {
                self.new_left = self.new_left.saturating_sub(1);
            }
            fact.practised = Practised::Today;
        }
    }

    pub(super) fn leave_out(&mut self, candidate: usize) {
        self.facts[candidate].n_blocks = self.blocks_of_a_skill;
    }

    /// What would be asked as things stand, best first.
    pub(super) fn waiting_now(
        &self,
        candidates: &[Candidate],
    ) -> impl Iterator<Item = (usize, Why)> {
        let mut new_left = self.new_left;
        self.stages
            .iter()
            .flatten()
            .copied()
            .filter(|candidate| self.is_ready(candidates, *candidate))
            .map(|candidate| (candidate, self.facts[candidate].why))
            .filter(move |(_, why)| *why != Why::New || take_one(&mut new_left))
    }

    pub(super) fn today(&self, candidates: &[Candidate]) -> Vec<Entry> {
        let entry = |(candidate, why)| Entry { candidate, why };
        let mut entries: Vec<Entry> = self
            .waiting_now(candidates)
            .filter(|(_, why)| *why != Why::Spare)
            .map(entry)
            .collect();
        let resting = |index: &usize| matches!(self.facts[*index].why, Why::Resting { .. });
        entries.extend(
            (0..candidates.len())
                .filter(resting)
                .map(|index| entry((index, self.facts[index].why))),
        );
        entries.extend(self.first_waiting(candidates).map(entry));
        entries
    }

    /// The first new skill that is closed, with what it waits for.
    fn first_waiting(&self, candidates: &[Candidate]) -> Option<(usize, Why)> {
        (0..self.facts.len()).find_map(|candidate| {
            let on = self.first_missing(&candidates[candidate])?;
            let is_new = self.facts[candidate].why == Why::New;
            is_new.then_some((candidate, Why::Waiting { on }))
        })
    }

    /// Whether something new is open and comes on another day, since as many as a day takes were begun.
    pub(super) fn has_more_tomorrow(&self, candidates: &[Candidate]) -> bool {
        let is_open = |place: usize| {
            self.facts[place].why == Why::New && self.first_missing(&candidates[place]).is_none()
        };
        self.new_left == 0 && (0..self.facts.len()).any(is_open)
    }

    fn first_missing(&self, candidate: &Candidate) -> Option<usize> {
        let missing = |need: &usize| !self.facts[*need].readiness.opens();
        candidate.needs.iter().copied().find(missing)
    }

    fn is_ready(&self, candidates: &[Candidate], candidate: usize) -> bool {
        let fact = &self.facts[candidate];
        if fact.n_blocks > 0 {
            return false;
        }
        match fact.why {
            Why::New => self.new_left > 0 && self.first_missing(&candidates[candidate]).is_none(),
            _ => true,
        }
    }

    /// What is new and waits for nothing but skills that were tried and are lost: nobody stands still
    /// before one thing that does not come.
    fn ahead(&self, candidates: &[Candidate], tired: Option<Kind>) -> Option<(usize, Why)> {
        if self.new_left == 0 {
            return None;
        }
        let missing = |candidate: usize| {
            let needs = candidates[candidate].needs.iter().copied();
            needs.filter(|need| !self.facts[*need].readiness.opens())
        };
        let is_open = |candidate: &usize| {
            let fact = &self.facts[*candidate];
            let is_lost = |need: usize| self.facts[need].readiness == Readiness::Lost;
            fact.why == Why::New && fact.n_blocks == 0 && missing(*candidate).all(is_lost)
        };
        let mut open = (0..self.facts.len()).filter(is_open);
        let fresh = open
            .clone()
            .find(|candidate| Some(candidates[*candidate].kind) != tired);
        let candidate = fresh.or_else(|| open.next())?;
        let of = missing(candidate).next()?;
        Some((candidate, Why::Ahead { of }))
    }

    /// Another block of what was done today: least often and least recently done in this sitting, and
    /// what is lost after everything else.
    fn again(&self, candidates: &[Candidate], tired: Option<Kind>) -> Option<(usize, Why)> {
        let done = |fact: &Fact| {
            let most = match fact.readiness {
                Readiness::Lost => self.blocks_of_a_skill.min(BLOCKS_OF_A_LOST),
                _ => self.blocks_of_a_skill,
            };
            fact.practised == Practised::Today
                && fact.n_blocks < most
                && !matches!(fact.why, Why::Resting { .. })
        };
        let key = |candidate: usize| {
            let fact = &self.facts[candidate];
            let is_tired = Some(candidates[candidate].kind) == tired;
            let is_lost = fact.readiness == Readiness::Lost;
            let skill = &candidates[candidate].skill;
            (is_tired, is_lost, fact.n_blocks, fact.latest_block, skill)
        };
        (0..self.facts.len())
            .filter(|candidate| done(&self.facts[*candidate]))
            .min_by_key(|candidate| key(*candidate))
            .map(|candidate| (candidate, Why::Again))
    }

    /// Where nothing else is left from the start: what rests, and then what is closed.
    fn anything(&self) -> Option<(usize, Why)> {
        if self
            .facts
            .iter()
            .any(|fact| fact.practised == Practised::Today)
        {
            return None;
        }
        let untouched = |candidate: &usize| self.facts[*candidate].n_blocks == 0;
        let mut left = (0..self.facts.len()).filter(untouched);
        let is_new = |candidate: &usize| self.facts[*candidate].why == Why::New;
        left.clone()
            .find(|candidate| !is_new(candidate))
            .or_else(|| left.find(is_new))
            .map(|candidate| (candidate, self.facts[candidate].why))
    }
}

fn take_one(left: &mut u32) -> bool {
    let some = *left > 0;
    *left = left.saturating_sub(1);
    some
}

/// Why something practised is asked.
fn why(standing: &Standing, practised: Practised, needs: &[usize], day: Day) -> Why {
    if practised == Practised::Today {
        return Why::Again;
    }
    let until = standing.rests_until();
    // A skill that needs no other has nothing to wait for: it only starts easier.
    if day < until && !needs.is_empty() && standing.is_failing() {
        return Why::Resting { until };
    }
    if standing.is_due(day) {
        let days = day.since(standing.latest().day);
        return Why::Due { days };
    }
    Why::Spare
}

/// What those that were shown need is taken as there, as long as it was never practised, and so is what
/// that needs: a newcomer who can do the whole is not led through its parts.
fn grant_needs(facts: &mut [Fact], candidates: &[Candidate], mut shown: Vec<usize>) {
    while let Some(place) = shown.pop() {
        for need in candidates[place].needs.iter().copied() {
            let fact = &mut facts[need];
            if fact.practised == Practised::Never && fact.readiness == Readiness::NotYet {
                fact.readiness = Readiness::Granted;
                shown.push(need);
            }
        }
    }
}

/// What a failing skill needs comes back on the day after the failure, once.
fn send_back_to_needs(facts: &mut [Fact], candidates: &[Candidate], learner: &Learner, day: Day) {
    for of in 0..facts.len() {
        let Why::Resting { .. } = facts[of].why else {
            continue;
        };
        let standing = learner.standing(&candidates[of].skill);
        let failed = standing.map(|standing| standing.memory().last_day());
        for need in candidates[of].needs.iter().copied() {
            let seen_since = facts[need].seen > failed;
            if facts[need].why == Why::Spare && !seen_since && failed < Some(day) {
                facts[need].why = Why::Repair { of };
            }
        }
    }
}

/// The places of those that are asked for such a reason.
fn those(facts: &[Fact], wanted: impl Fn(&Why) -> bool) -> Vec<usize> {
    let places = (0..facts.len()).filter(|place| wanted(&facts[*place].why));
    places.collect()
}

/// Due, new, what else is due, and the rest.
fn by_forgetting(facts: &[Fact], limit: Limit) -> Vec<Vec<usize>> {
    // Ties keep the order of the deck.
    let most_faded = |a: &usize, b: &usize| -> Ordering {
        let order = facts[*b].faded.total_cmp(&facts[*a].faded);
        order.then_with(|| a.cmp(b))
    };
    // The model says what is due. Among that, what was left alone longest comes first: by the
    // chance of recall, what was lost yesterday would crowd out what waits for weeks.
    let longest_left = |a: &usize, b: &usize| -> Ordering {
        let order = facts[*a].seen.cmp(&facts[*b].seen);
        order.then_with(|| most_faded(a, b))
    };
    let is_due = |why: &Why| matches!(why, Why::Due { .. } | Why::Repair { .. });
    let mut due = in_order(those(facts, is_due), longest_left);
    let due_later = due.split_off(due.len().min(due_before_new(limit)));
    let spare = in_order(those(facts, |why| *why == Why::Spare), most_faded);
    vec![due, new(facts), due_later, spare, granted(facts)]
}

/// New, and then what was practised, the least recent first.
fn by_least_recent(facts: &[Fact], candidates: &[Candidate], learner: &Learner) -> Vec<Vec<usize>> {
    let is_known = |why: &Why| matches!(why, Why::Due { .. } | Why::Repair { .. } | Why::Spare);
    let standings = candidates.iter().map(|c| learner.standing(&c.skill));
    let latest: Vec<_> = standings.map(|s| s.map(Standing::latest)).collect();
    let order = |a: &usize, b: &usize| latest[*a].cmp(&latest[*b]).then_with(|| a.cmp(b));
    let known = in_order(those(facts, is_known), order);
    vec![new(facts), known, granted(facts)]
}

/// New skills keep the order in which they were given: the path of their deck.
fn new(facts: &[Fact]) -> Vec<usize> {
    let mut new = those(facts, |why| *why == Why::New);
    new.retain(|place| facts[*place].readiness != Readiness::Granted);
    new
}

/// New skills that are taken as there come last.
fn granted(facts: &[Fact]) -> Vec<usize> {
    let is_granted = |place: &usize| facts[*place].readiness == Readiness::Granted;
    (0..facts.len()).filter(is_granted).collect()
}

/// Puts the first of them in order, as many as any sitting can come to.
fn in_order(mut those: Vec<usize>, order: impl Fn(&usize, &usize) -> Ordering) -> Vec<usize> {
    const MOST: usize = 1000;
    if those.len() > MOST {
        those.select_nth_unstable_by(MOST, &order);
    }
    let n = those.len().min(MOST);
    those[..n].sort_unstable_by(&order);
    those
}

/// How many blocks of what is due come before what is new.
fn due_before_new(limit: Limit) -> usize {
    let phrases = match limit {
        Limit::Minutes(minutes) => u32::from(minutes) * 60 / PHRASE_SECONDS,
        Limit::Questions(questions) => questions,
    };
    let blocks = (phrases / BLOCK).saturating_mul(DUE_BEFORE_NEW_TENTHS) / 10;
    usize::try_from(blocks.max(1)).unwrap_or(usize::MAX)
}
