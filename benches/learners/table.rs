//! What all policies come to in one world, over the same people, and the gate.

use std::thread;

use contrapalma::review::plan::Chooser;
use contrapalma::world::Seed;

use super::person::{WORLDS, World};
use super::policy::{Outcome, POLICIES, Path, Policy, practise};

/// Cycles of the paths, of 20 skills each.
pub(crate) const SIZES: [usize; 3] = [2, 4, 10];

/// Seeds from here played no part in the choice of any constant.
const FIRST_SEED: u64 = 7_000;

/// The program's own.
const OURS: Policy = Policy::Plan(Chooser::Forgetting);

/// What all policies come to.
pub(crate) struct Row {
    world: World,
    n_skills: usize,
    means: [Outcome; POLICIES.len()],
}

/// The worlds in which a size is tried: all for the middle one, two for the others.
pub(crate) fn worlds_of(n_cycles: usize) -> &'static [World] {
    if n_cycles == 4 { &WORLDS } else { &WORLDS[..2] }
}

/// All policies in one world, each with the same people.
pub(crate) fn row(world: World, path: &Path, n_people: u32) -> Row {
    let n_workers = thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let sums = thread::scope(|scope| {
        let some = |worker: usize| {
            let mut sums = [Outcome::default(); POLICIES.len()];
            for person in (0..n_people).skip(worker).step_by(n_workers) {
                for (sum, policy) in sums.iter_mut().zip(POLICIES) {
                    sum.add(practise(
                        world,
                        path,
                        policy,
                        Seed(FIRST_SEED + u64::from(person)),
                    ));
                }
            }
            sums
        };
        let workers: Vec<_> = (0..n_workers)
            .map(|n| scope.spawn(move || some(n)))
            .collect();
        let mut all = [Outcome::default(); POLICIES.len()];
        for worker in workers {
            let part = worker.join().expect("nothing in a simulation panics");
            all.iter_mut()
                .zip(part)
                .for_each(|(sum, part)| sum.add(part));
        }
        all
    });
    Row {
        world,
        n_skills: path.len(),
        means: sums.map(|sum| sum.over(f64::from(n_people))),
    }
}

impl Row {
    pub(crate) fn outcome(&self, policy: Policy) -> Outcome {
        let idx = POLICIES.iter().position(|other| *other == policy);
        self.means[idx.expect("all policies are in the row")]
    }

    /// Skills retained per minute.
    pub(crate) fn rate(&self, policy: Policy) -> f64 {
        let outcome = self.outcome(policy);
        outcome.retained[0] / outcome.minutes
    }

    /// What is below the gate, in words; where few people make a row uncertain, so much of the gate is
    /// enough.
    pub(crate) fn below_the_gate(&self, of_it: f64) -> Vec<String> {
        let against = [(Policy::AnyFixed, self.least()), (Policy::FixedGaps, 0.95)];
        let ours = self.rate(OURS);
        let below = |(other, least): &(Policy, f64)| ours < of_it * least * self.rate(*other);
        let words = |(other, least): (Policy, f64)| {
            let share = ours / self.rate(other);
            let (n_skills, world) = (self.n_skills, self.world.name);
            format!(
                "{n_skills} skills, {world}: {share:.2} of \"{}\", not {least}",
                other.name()
            )
        };
        against.into_iter().filter(below).map(words).collect()
    }

    /// What the plan has to reach against any skill at the criterion, per minute.
    fn least(&self) -> f64 {
        match (self.n_skills, self.world.name) {
            (200, "exponential, half") => 4.0,
            (200, _) => 1.4,
            (80, "exponential, half") => 1.5,
            _ => 0.95,
        }
    }
}
