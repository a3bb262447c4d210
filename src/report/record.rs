//! What the log says of each skill.

use std::collections::BTreeMap;

use super::Labels;
use super::stats::{Sensitivity, Share, TwoLabels, wilson};
use crate::accent::Cue;
use crate::quiz::{Answer, Attempt, Kind, Skill};
use crate::review::Threshold;
use crate::rhythm::Feel;
use crate::world::Day;

/// Taps of fewer strokes say little about a spread.
const ENOUGH_TAPS: u32 = 8;

/// What the log says of one skill.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    /// How many were answered.
    pub n: u32,
    /// How many of them rightly.
    pub right: u32,
    /// How threes and twos were told apart, threes being the first.
    pub labels: TwoLabels,
    /// The same for every label, threes and twos among them.
    pub by_label: Labels,
    /// The finest spread of taps, as a share of a pulse.
    pub finest: Option<f64>,
    /// The most cycles that a layer was held.
    pub longest: Option<u32>,
    /// On how many learning days it was practised.
    pub days: u32,
    /// The last of them.
    pub last_day: Option<Day>,
}

impl Record {
    /// The share that is right, with its interval.
    pub fn share(&self) -> Option<Share> {
        wilson(self.right, self.n)
    }

    /// How well threes are told from twos, where both were asked.
    pub fn sensitivity(&self) -> Option<Sensitivity> {
        self.labels.sensitivity()
    }

    pub(super) fn take(&mut self, attempt: &Attempt) {
        self.n += 1;
        self.right += u32::from(attempt.right);
        if self.last_day != Some(attempt.day) {
            self.last_day = Some(attempt.day);
            self.days += 1;
        }
        self.take_label(attempt.truth, attempt.answer);
        self.by_label.take(attempt);
        let timing = attempt.timing.filter(|timing| timing.n >= ENOUGH_TAPS);
        if let Some(spread) = timing.filter(|_| attempt.right).map(|t| t.of_pulse()) {
            self.finest = Some(self.finest.map_or(spread, |finest| finest.min(spread)));
        }
        if attempt.right && matches!(attempt.truth, Answer::Hands(_) | Answer::Pair(_)) {
            self.longest = self.longest.max(cycles(&attempt.phrase));
        }
    }

    /// Only answers that name one of the two say how they are told apart.
    fn take_label(&mut self, truth: Answer, answer: Answer) {
        let said_threes = match answer {
            Answer::Feel(Feel::Threes) => 1,
            Answer::Feel(Feel::Twos) => 0,
            _ => return,
        };
        match truth {
            Answer::Feel(Feel::Threes) => {
                self.labels.n_first += 1;
                self.labels.hits += said_threes;
            }
            Answer::Feel(Feel::Twos) => {
                self.labels.n_second += 1;
                self.labels.false_alarms += said_threes;
            }
            _ => {}
        }
    }
}

/// How many cycles a phrase has, from the line in which it is kept.
fn cycles(phrase: &str) -> Option<u32> {
    let (_, rest) = phrase.split_once(" cycles ")?;
    rest.split(' ').next()?.parse().ok()
}

/// By which cue a phrase tells, from the line in which it is kept; `None` in lines of old that do not
/// say.
fn cue(phrase: &str) -> Option<Cue> {
    let head = phrase.split(" | ").next()?;
    let (_, id) = head.rsplit_once(" by ")?;
    Cue::from_id(id)
}

/// How a grouping is heard by one cue, over all skills that ask for one.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// What is known of the level that is needed.
    pub threshold: Threshold,
    /// How many were answered.
    pub n: u32,
}

/// What the log says of all skills.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Records {
    skills: BTreeMap<Skill, Record>,
    cues: BTreeMap<Cue, Heard>,
}

impl Records {
    /// Takes in an attempt, in the order of the log.
    pub fn take(&mut self, attempt: &Attempt) {
        self.skills
            .entry(attempt.skill.clone())
            .or_default()
            .take(attempt);
        self.take_cue(attempt);
    }

    /// Only kinds whose level is the strength of one grouping say how well a cue is heard.
    fn take_cue(&mut self, attempt: &Attempt) {
        let graded = match attempt.kind {
            Kind::NameFeel | Kind::FitClapping | Kind::NameVoice | Kind::MarkAccents => true,
            Kind::FindStart
            | Kind::Clap
            | Kind::NameClapping
            | Kind::CatchTurn
            | Kind::WhoseStroke
            | Kind::TwoHands => false,
        };
        let Some(cue) = cue(&attempt.phrase).filter(|_| graded) else {
            return;
        };
        let heard = self.cues.entry(cue).or_insert_with(|| Heard {
            threshold: Threshold::of_people(attempt.alternatives),
            n: 0,
        });
        heard.threshold.offer(attempt.alternatives);
        heard.threshold.learn(attempt.level, attempt.right);
        heard.n += 1;
    }

    /// How a grouping is heard by each cue that told.
    pub fn cues(&self) -> impl Iterator<Item = (Cue, &Heard)> {
        self.cues.iter().map(|(cue, heard)| (*cue, heard))
    }

    /// All skills of which one was answered.
    pub fn skills(&self) -> impl Iterator<Item = &Skill> {
        self.skills.keys()
    }

    /// The record of a skill.
    pub fn of(&self, skill: &Skill) -> Option<&Record> {
        self.skills.get(skill)
    }

    /// All threes and twos told apart, in whatever skill.
    pub fn labels(&self) -> TwoLabels {
        self.skills
            .values()
            .fold(TwoLabels::default(), |sum, record| sum.plus(record.labels))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quiz::KeptTiming;
    use crate::report::Label;
    use crate::review::any_attempt as attempt;

    #[test]
    fn labels_spreads_and_holds_are_taken_from_the_log() {
        let feel = |number, truth, answer| Attempt {
            truth: Answer::Feel(truth),
            answer: Answer::Feel(answer),
            right: truth == answer,
            day: Day(20_000 + i32::try_from(number).expect("small") / 3),
            ..attempt(number)
        };
        use Feel::{Either, Threes, Twos};
        let mut records = Records::default();
        for (number, (truth, answer)) in (1..).zip([
            (Threes, Threes),
            (Threes, Twos),
            (Twos, Twos),
            (Twos, Threes),
            (Twos, Twos),
            (Either, Twos),
            (Twos, Either),
        ]) {
            records.take(&feel(number, truth, answer));
        }
        let record = records.of(&attempt(1).skill).expect("a record");
        assert_eq!((record.n, record.right, record.days), (7, 3, 3));
        let expected = TwoLabels {
            hits: 1,
            n_first: 2,
            false_alarms: 1,
            n_second: 3,
        };
        assert_eq!((record.labels, records.labels()), (expected, expected));
        let by_label = record.by_label.shares().map(|(label, n, share)| {
            let right = (f64::from(n) * share.share).round() as u32;
            (label, n, right)
        });
        assert_eq!(
            by_label.collect::<Vec<_>>(),
            [
                (Label::Feel(Threes), 2, 1),
                (Label::Feel(Twos), 4, 2),
                (Label::Feel(Either), 1, 0)
            ]
        );
        let clapped = |spread_tenths, n_cycles: u32| Attempt {
            truth: Answer::Hands(None),
            answer: Answer::Hands(None),
            right: true,
            timing: Some(KeptTiming {
                lead_ms: -20,
                spread_tenths,
                pulse_ms: 400,
                n: 12,
            }),
            phrase: format!("cycle 6 ppm 150 cycles {n_cycles} entry 0 threes"),
            ..attempt(9)
        };
        let mut record = Record::default();
        record.take(&clapped(240, 8));
        record.take(&clapped(200, 6));
        record.take(&Attempt {
            right: false,
            ..clapped(100, 10)
        });
        assert_eq!(record.longest, Some(8));
        assert!((record.finest.expect("a spread") - 0.05).abs() < 1e-9);
    }

    #[test]
    fn a_cue_is_known_from_the_lines_that_name_it() {
        let told = |number: u32, by: &str, right| Attempt {
            right,
            level: crate::phrase::Level::of_tenths(40),
            phrase: format!("cycle 6 ppm 150 cycles 4 entry 0 threes{by} | bass 0 0 100 0 0 0"),
            ..attempt(number)
        };
        let mut records = Records::default();
        for number in 0..20 {
            records.take(&told(number, " by bass", true));
            records.take(&told(100 + number, " by chord", number % 3 > 0));
            records.take(&told(200 + number, "", false));
            records.take(&Attempt {
                kind: Kind::Clap,
                ..told(300 + number, " by bass", false)
            });
        }
        let heard: Vec<(Cue, &Heard)> = records.cues().collect();
        assert_eq!(heard.len(), 2);
        let [(Cue::Bass, bass), (Cue::Chord, chord)] = heard[..] else {
            panic!("bass and chord")
        };
        assert_eq!((bass.n, chord.n), (20, 20));
        assert!(bass.threshold.heard_from() < chord.threshold.heard_from());
    }
}
