//! What the first block of a learning day says about a memory, without asking the learner.
//!
//! [`Evidence`] gathers the block's attempts and [`Evidence::recall`] judges them: two probes at the
//! exercise's own criterion where success was to be expected, and otherwise what the level posterior
//! makes of the whole block. Both are free of what guessing gives. Many replays, or an answer only
//! after many cycles, cost the best judgement. The constants are of our own design and were tried in
//! simulation, not fitted to people.
//!
//! Units: probabilities 0 to 1; cycles heard, which do not punish slow tempi as seconds would.

use crate::quiz::{Attempt, Kind, Phase};
use crate::world::Day;

use super::memory::Recall;
use super::standing::BlockId;

/// Below the first the memory is lost, below the second it is shaky.
const LOST_BELOW: f64 = 0.65;
const SHAKY_BELOW: f64 = 0.80;

/// Probes decide alone when success at the criterion was predicted above this.
const PROBES_DECIDE_ABOVE: f32 = 0.6;

/// With one probe of two right the memory is shaky when the posterior is above this, else lost.
const ONE_PROBE_NEEDS: f64 = 0.75;

/// Mean fluency below this is shaky at best.
const FLUENT_FROM: f32 = 0.25;

/// How many probes count.
pub(super) const N_PROBES: u8 = 2;

/// What the first block of one learning day has shown so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Evidence {
    /// The learning day.
    pub(super) day: Day,
    /// The block that counts; other blocks of the day do not.
    pub(super) block: BlockId,
    /// Guess-free success at the criterion, as it was predicted before the block.
    pub(super) predicted: f32,
    /// How many probes were answered, and how many of them rightly; the first two alone count.
    pub(super) probes: u8,
    pub(super) probes_right: u8,
    /// How many phrases were answered.
    pub(super) answered: u16,
    /// The sum of their fluencies.
    pub(super) fluency: f32,
}

impl Evidence {
    /// Nothing yet.
    pub(super) fn new(day: Day, block: BlockId, predicted: f32) -> Self {
        Self {
            day,
            block,
            predicted,
            probes: 0,
            probes_right: 0,
            answered: 0,
            fluency: 0.0,
        }
    }

    /// Adds one attempt of the block.
    pub(super) fn note(&mut self, attempt: &Attempt) {
        if attempt.phase == Phase::Probe && self.probes < N_PROBES {
            self.probes += 1;
            self.probes_right += u8::from(attempt.right);
        }
        self.answered = self.answered.saturating_add(1);
        self.fluency += fluency(attempt);
    }

    /// The judgement so far, with `posterior` the guess-free success at the criterion after it.
    pub(super) fn recall(&self, posterior: f64) -> Recall {
        let recall = if self.probes == N_PROBES && self.predicted > PROBES_DECIDE_ABOVE {
            match self.probes_right {
                N_PROBES.. => Recall::Firm,
                1 if posterior > ONE_PROBE_NEEDS => Recall::Shaky,
                _ => Recall::Lost,
            }
        } else if posterior < LOST_BELOW {
            Recall::Lost
        } else if posterior < SHAKY_BELOW {
            Recall::Shaky
        } else {
            Recall::Firm
        };
        if self.fluency < FLUENT_FROM * f32::from(self.answered) {
            recall.min(Recall::Shaky)
        } else {
            recall
        }
    }
}

/// How readily a phrase was answered, 0 to 1. Only right answers earn any: 1 up to one and a half
/// times the cycles that a good listener must hear, 0 from six times, less by 0.3 for every replay.
/// Taps go on as long as the phrase does, so only replays count there.
fn fluency(attempt: &Attempt) -> f32 {
    if !attempt.right {
        return 0.0;
    }
    let replays = 0.7_f32.powi(i32::from(attempt.replays));
    if attempt.alternatives == 0 {
        return replays;
    }
    let need = match attempt.kind {
        Kind::FindStart => 2.0,
        Kind::WhoseStroke => 2.0,
        // All of it has to be heard.
        Kind::CatchTurn => 6.0,
        Kind::MarkAccents | Kind::NameClapping => 2.0,
        Kind::NameFeel | Kind::FitClapping | Kind::Clap | Kind::NameVoice | Kind::TwoHands => 1.0,
    };
    let tenths = u16::try_from(attempt.heard_tenths).unwrap_or(u16::MAX);
    let heard = (f32::from(tenths) / 10.0).max(need);
    let ready = (6.0 * need / heard).ln() / 4.0_f32.ln();
    ready.clamp(0.0, 1.0) * replays
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::standing::tests::attempt;

    fn evidence(predicted: f32, probes: &[bool], fluency: f32) -> Evidence {
        let mut evidence = Evidence::new(Day(0), BlockId::of(&attempt(1)), predicted);
        for (number, right) in (1..).zip(probes) {
            evidence.note(&Attempt {
                phase: Phase::Probe,
                right: *right,
                ..attempt(number)
            });
        }
        evidence.fluency = fluency * f32::from(evidence.answered);
        evidence
    }

    #[test]
    fn probes_decide_where_success_was_predicted() {
        let judged = |probes: &[bool], posterior| evidence(0.7, probes, 1.0).recall(posterior);
        assert_eq!(judged(&[true, true], 0.5), Recall::Firm);
        assert_eq!(judged(&[true, false], 0.76), Recall::Shaky);
        assert_eq!(judged(&[true, false], 0.75), Recall::Lost);
        assert_eq!(judged(&[false, false], 0.99), Recall::Lost);
    }

    #[test]
    fn the_posterior_decides_elsewhere() {
        for (predicted, probes) in [(0.6, &[true, true][..]), (0.9, &[true]), (0.9, &[])] {
            let judged = |posterior| evidence(predicted, probes, 1.0).recall(posterior);
            assert_eq!(judged(0.64), Recall::Lost);
            assert_eq!(judged(0.65), Recall::Shaky);
            assert_eq!(judged(0.79), Recall::Shaky);
            assert_eq!(judged(0.80), Recall::Firm);
        }
    }

    #[test]
    fn no_improvement_lowers_a_judgement() {
        for predicted in [0.3, 0.9] {
            for (worse, better) in [
                ([false, false], [false, true]),
                ([false, true], [true, true]),
            ] {
                for posterior in [0.5, 0.65, 0.7, 0.78, 0.9] {
                    for fluency in [0.1, 0.5, 1.0] {
                        let low = evidence(predicted, &worse, fluency);
                        let high = evidence(predicted, &better, fluency);
                        assert!(low.recall(posterior) <= high.recall(posterior));
                        assert!(low.recall(posterior) <= low.recall(posterior + 0.1));
                    }
                }
            }
        }
    }

    #[test]
    fn slow_answers_and_replays_cost_the_best_judgement() {
        assert_eq!(evidence(0.7, &[true, true], 0.2).recall(0.9), Recall::Shaky);
        assert_eq!(evidence(0.7, &[true, true], 0.3).recall(0.9), Recall::Firm);
        assert_eq!(
            evidence(0.7, &[false, false], 0.0).recall(0.9),
            Recall::Lost
        );
    }

    #[test]
    fn fluency_falls_with_cycles_and_replays() {
        // The design's own row: 1 up to 1.5 cycles, 0.79 at 2, 0.50 at 3, 0.29 at 4, 0 from 6.
        let at = |heard_tenths, replays| {
            fluency(&Attempt {
                heard_tenths,
                replays,
                ..attempt(1)
            })
        };
        for (tenths, expected) in [
            (0, 1.0),
            (15, 1.0),
            (20, 0.79),
            (30, 0.5),
            (40, 0.29),
            (60, 0.0),
        ] {
            assert!((at(tenths, 0) - expected).abs() < 0.005, "{tenths}");
        }
        assert!((at(10, 2) - 0.49).abs() < 1e-6);
        assert!(at(30, 1) < at(30, 0) && at(u32::MAX, 0) == 0.0);
        let start = Attempt {
            kind: Kind::FindStart,
            heard_tenths: 30,
            ..attempt(1)
        };
        assert_eq!(fluency(&start), 1.0);
        let missed = Attempt {
            right: false,
            ..attempt(1)
        };
        assert_eq!(fluency(&missed), 0.0);
    }
}
