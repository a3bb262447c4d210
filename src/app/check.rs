//! What the check says: which trouble somebody has, and where to begin.

use crate::quiz::{Skill, Tally};

/// The deck that checks.
pub(super) const DECK: &str = "check";
/// Below this share of right answers something is a trouble: half-way between a guess among two and
/// what is right nearly always.
const TROUBLE_BELOW: f64 = 0.75;
/// So many answers say whether something is a trouble: as many as the shortest block of something new has.
const ENOUGH: u32 = 4;
/// So many right answers say that what is kept is still there.
const CHECKED: u32 = 2;
/// For so many days what a check found is told where the day begins.
pub(super) const TOLD_DAYS: u32 = 28;

/// What a check found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Found {
    /// The pulse is lost.
    Pulse,
    /// One layer is taken for the other.
    Layer,
    /// The start is heard elsewhere.
    Start,
    /// A layer is not held against the other.
    Hold,
    /// Two layers are not heard at once.
    Two,
    /// Nothing of this is a trouble.
    Nothing,
}

impl Found {
    /// The troubles in the order in which they build on each other.
    const TROUBLES: [Self; 5] = [Self::Pulse, Self::Layer, Self::Start, Self::Hold, Self::Two];

    /// Its id in the store.
    pub(super) fn id(self) -> &'static str {
        match self {
            Self::Pulse => "pulse",
            Self::Layer => "layer",
            Self::Start => "start",
            Self::Hold => "hold",
            Self::Two => "two",
            Self::Nothing => "nothing",
        }
    }

    pub(super) fn from_id(id: &str) -> Option<Self> {
        let all = Self::TROUBLES.into_iter().chain([Self::Nothing]);
        all.into_iter().find(|found| found.id() == id)
    }

    /// The skill that shows a trouble.
    fn skill(self) -> &'static str {
        match self {
            Self::Pulse => "path/keep-pulse",
            Self::Layer => "path/plain",
            Self::Start => "path/start-count",
            Self::Hold => "path/threes-against",
            Self::Two | Self::Nothing => "path/whose-stroke",
        }
    }

    /// What it is about.
    fn name(self) -> &'static str {
        match self {
            Self::Pulse => "keeping the pulse",
            Self::Layer => "threes or twos",
            Self::Start => "where it begins",
            Self::Hold => "holding one layer against the other",
            Self::Two | Self::Nothing => "hearing two layers at once",
        }
    }

    /// What shows.
    fn words(self) -> &'static str {
        match self {
            Self::Pulse => "the pulse is lost",
            Self::Layer => "one layer is taken for the other",
            Self::Start => "the start is heard elsewhere",
            Self::Hold => "a layer is not held against the other",
            Self::Two => "two layers are not heard at once",
            Self::Nothing => "nothing of this is a trouble",
        }
    }

    /// The deck in which to go on, and the skills in it with which to begin, each with its title.
    fn begin(self) -> (&'static str, &'static [(&'static str, &'static str)]) {
        match self {
            Self::Pulse => (
                "path",
                &[
                    ("keep-pulse", "Keep the pulse"),
                    ("count-six", "Count six from the bell"),
                ],
            ),
            Self::Layer => (
                "path",
                &[
                    ("plain", "In threes or in twos"),
                    ("bass", "Listen to the low notes"),
                ],
            ),
            Self::Start => (
                "path",
                &[
                    ("count-six", "Count six from the bell"),
                    ("start-count", "Where did it come in?"),
                ],
            ),
            Self::Hold => (
                "path",
                &[
                    ("clap-threes", "Clap the threes, guided"),
                    ("clap-twos", "Clap the twos, guided"),
                ],
            ),
            Self::Two => (
                "path",
                &[
                    ("whose-stroke", "Whose stroke was that?"),
                    ("fifth", "The fifth beat"),
                ],
            ),
            Self::Nothing => ("workshop", &[]),
        }
    }

    /// What shows, and how to get to where to begin.
    pub(super) fn told(self) -> String {
        let (deck, skills) = self.begin();
        let titles: Vec<String> = skills
            .iter()
            .map(|(_, title)| format!("\"{title}\""))
            .collect();
        let skills = match titles.as_slice() {
            [] => String::new(),
            titles => format!(
                ", p there to its skills: begin with {}",
                titles.join(" and ")
            ),
        };
        format!(
            "{}. On the first screen d leads to the deck {deck}{skills} (or --deck {deck}).",
            self.words()
        )
    }
}

/// What the answers of a check come to.
#[derive(Debug)]
pub(super) struct Outcome {
    /// The first trouble, in the order in which they build on each other.
    trouble: Option<Found>,
    /// What was not tried enough to say.
    untried: Vec<Found>,
}

impl Outcome {
    /// What these tallies come to; `n_ever` says how often a skill was ever answered.
    pub(super) fn of(tallies: &[Tally], n_ever: impl Fn(&Skill) -> u32) -> Self {
        let tried = |found: Found| {
            let mut tallies = tallies.iter();
            tallies.find(|t| &*t.skill.0 == found.skill() && is_tried(t, n_ever(&t.skill)))
        };
        let is_trouble = |found: &Found| {
            tried(*found)
                .is_some_and(|t| f64::from(t.n_right) < TROUBLE_BELOW * f64::from(t.n_answered))
        };
        let all = Found::TROUBLES.into_iter();
        Self {
            trouble: all.clone().find(is_trouble),
            untried: all.filter(|found| tried(*found).is_none()).collect(),
        }
    }

    /// What shows first; `None` where something on which it builds was not tried.
    pub(super) fn found(&self) -> Option<Found> {
        let place = |wanted| Found::TROUBLES.iter().position(|found| *found == wanted);
        let first_untried = self.untried.first().and_then(|found| place(*found));
        match (self.trouble, first_untried) {
            (Some(trouble), Some(untried)) => Some(trouble).filter(|t| place(*t) < Some(untried)),
            (None, Some(_)) => None,
            (trouble, None) => Some(trouble.unwrap_or(Found::Nothing)),
        }
    }

    /// What a check says in the end.
    pub(super) fn advice(&self) -> String {
        let shows = match (self.found(), self.trouble) {
            (Some(Found::Nothing), _) => sentence(&Found::Nothing.told()),
            (Some(trouble), _) => format!("What shows first: {}", trouble.told()),
            (None, _) if self.untried.len() == Found::TROUBLES.len() => {
                "Too little was answered to say where to begin.".to_owned()
            }
            (None, None) => "Nothing of what was tried is a trouble.".to_owned(),
            (None, Some(trouble)) => format!(
                "{}; whether it is that or something before it is not known.",
                sentence(trouble.words())
            ),
        };
        if self.untried.is_empty() {
            return shows;
        }
        let names: Vec<&str> = self.untried.iter().map(|found| found.name()).collect();
        format!(
            "{shows} Not tried enough to say: {}. It takes {ENOUGH} answers of each.",
            names.join("; ")
        )
    }
}

/// Whether enough was answered to say something. A skill that is kept is checked by two phrases, and was
/// answered before.
fn is_tried(tally: &Tally, n_ever: u32) -> bool {
    let is_kept = tally.n_answered >= CHECKED && tally.n_right == tally.n_answered;
    tally.n_answered >= ENOUGH || (is_kept && n_ever >= ENOUGH + CHECKED)
}

/// Begins with a capital.
fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    let first = chars.next().into_iter().flat_map(char::to_uppercase);
    first.chain(chars).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::label::Label;

    /// Right answers and all answers of each trouble's skill, in the order in which they build.
    fn outcome(answers: [(u32, u32); 5], n_ever: u32) -> Outcome {
        let tally = |(found, (n_right, n_answered)): (&Found, (u32, u32))| Tally {
            skill: Skill(found.skill().into()),
            title: Label::new("A skill").expect("a label"),
            n_right,
            n_answered,
        };
        let tallies: Vec<Tally> = Found::TROUBLES.iter().zip(answers).map(tally).collect();
        Outcome::of(&tallies, |_| n_ever)
    }

    fn told(right: [u32; 5]) -> String {
        outcome(right.map(|n| (n, 6)), 6).advice()
    }

    #[test]
    fn the_first_trouble_on_which_others_build_is_told() {
        assert!(told([6, 6, 6, 6, 6]).contains("workshop"));
        assert!(told([2, 2, 2, 2, 2]).contains("the pulse is lost"));
        assert!(told([6, 6, 3, 1, 1]).contains("the start is heard elsewhere"));
        assert!(told([6, 6, 6, 6, 3]).contains("two layers are not heard at once"));
    }

    #[test]
    fn little_says_little_and_what_was_not_tried_is_named() {
        let few = outcome([(0, 3), (0, 0), (0, 0), (0, 0), (0, 0)], 3);
        assert_eq!(few.found(), None);
        assert!(few.advice().starts_with("Too little was answered"));
        // Hands at rest, and guesses: what comes before the start is not known.
        let at_rest = outcome([(0, 0), (5, 5), (1, 6), (0, 0), (1, 6)], 6);
        assert_eq!(at_rest.found(), None);
        let advice = at_rest.advice();
        assert!(
            advice.starts_with("The start is heard elsewhere; whether"),
            "{advice}"
        );
        let untried = "to say: keeping the pulse; holding one layer against the other. It takes 4";
        assert!(advice.contains(untried), "{advice}");
        // What comes after it takes nothing from what shows.
        let early = outcome([(4, 4), (4, 4), (1, 6), (0, 0), (0, 0)], 6);
        assert_eq!(early.found(), Some(Found::Start));
        assert!(early.advice().contains("Not tried enough"));
        let sound = outcome([(4, 4), (4, 4), (4, 4), (4, 4), (3, 3)], 3);
        assert_eq!(sound.found(), None);
        assert!(sound.advice().starts_with("Nothing of what was tried"));
    }

    #[test]
    fn what_is_kept_is_checked_by_two() {
        let twice = [(2, 2); 5];
        assert_eq!(outcome(twice, 6).found(), Some(Found::Nothing));
        assert_eq!(outcome(twice, 2).found(), None);
    }

    #[test]
    fn every_trouble_is_asked_by_the_check_and_leads_to_skills_that_there_are() {
        let deck = crate::deck::built_in_named(DECK).expect("it comes with the program");
        for found in Found::TROUBLES {
            let skill = Skill(found.skill().into());
            assert!(deck.exercise(&skill).is_some(), "{skill}");
            assert_eq!(Found::from_id(found.id()), Some(found));
            let (deck, skills) = found.begin();
            let deck = crate::deck::built_in_named(deck).expect("it comes with the program");
            for (id, title) in skills {
                let skill = Skill(format!("{}/{id}", deck.id()).into());
                let exercise = deck.exercise(&skill).expect("an exercise");
                assert_eq!(exercise.title.as_str(), *title);
            }
        }
    }
}
