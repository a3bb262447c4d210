//! What the check says: which trouble somebody has, and where to begin.

use crate::quiz::Tally;

/// The deck that checks.
pub(super) const DECK: &str = "check";
/// Below this share of right answers something is a trouble: half-way between a guess among two and
/// what is right nearly always.
const TROUBLE_BELOW: f64 = 0.75;
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

    /// What shows, and where to begin.
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::Pulse => "the pulse is lost: keep the pulse, then count six",
            Self::Layer => {
                "one layer is taken for the other: in threes or in twos, and its cues one by one"
            }
            Self::Start => "the start is heard elsewhere: count six, then where did it come in",
            Self::Hold => {
                "a layer is not held against the other: clap the threes and the twos, guided"
            }
            Self::Two => {
                "two layers are not heard at once: whose stroke was that, and the fifth beat"
            }
            Self::Nothing => "nothing of this is a trouble: the workshop is for you",
        }
    }
}

/// What the answers of a check show first; `None` where too little was asked to say.
pub(super) fn found(tallies: &[Tally]) -> Option<Found> {
    let share = |found: Found| {
        let tally = tallies
            .iter()
            .find(|tally| &*tally.skill.0 == found.skill())?;
        Some(f64::from(tally.n_right) / f64::from(tally.n_answered.max(1)))
    };
    let asked = Found::TROUBLES.map(|found| (found, share(found)));
    let is_trouble = |(_, share): &&(Found, Option<f64>)| share.is_some_and(|x| x < TROUBLE_BELOW);
    match asked.iter().find(is_trouble) {
        Some((found, _)) => Some(*found),
        None if asked.iter().all(|(_, share)| share.is_some()) => Some(Found::Nothing),
        None => None,
    }
}

/// What a check says in the end.
pub(super) fn advice(found: Option<Found>) -> String {
    match found {
        Some(Found::Nothing) => {
            format!("{} (--deck workshop).", sentence(Found::Nothing.words()))
        }
        Some(trouble) => format!("What shows first: {} (--deck path).", trouble.words()),
        None => "Too little was asked to say where to begin; go through all of it.".to_owned(),
    }
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
    use crate::quiz::Skill;

    fn told(right: [u32; 5]) -> String {
        let tally = |(found, n_right): (&Found, u32)| Tally {
            skill: Skill(found.skill().into()),
            title: Label::new("A skill").expect("a label"),
            n_right,
            n_answered: 6,
        };
        let tallies: Vec<Tally> = Found::TROUBLES.iter().zip(right).map(tally).collect();
        advice(found(&tallies))
    }

    #[test]
    fn the_first_trouble_on_which_others_build_is_told() {
        assert!(told([6, 6, 6, 6, 6]).contains("workshop"));
        assert!(told([2, 2, 2, 2, 2]).contains("the pulse is lost"));
        assert!(told([6, 6, 3, 1, 1]).contains("the start is heard elsewhere"));
        assert!(told([6, 6, 6, 6, 3]).contains("two layers are not heard at once"));
        assert!(advice(found(&[])).contains("Too little"));
    }

    #[test]
    fn every_trouble_is_asked_by_the_check() {
        let deck = crate::deck::built_in_named(DECK).expect("it comes with the program");
        for found in Found::TROUBLES {
            let skill = Skill(found.skill().into());
            assert!(deck.exercise(&skill).is_some(), "{skill}");
            assert_eq!(Found::from_id(found.id()), Some(found));
        }
    }
}
