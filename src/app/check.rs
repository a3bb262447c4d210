//! What the check says: which trouble somebody has, and where to begin.

use crate::quiz::Tally;

/// The deck that checks.
pub(super) const DECK: &str = "check";
/// Below this share of right answers something is a trouble: half-way between a guess among two and
/// what is right nearly always.
const TROUBLE_BELOW: f64 = 0.75;

/// The troubles in the order in which they build on each other: the skill that shows each, what it is
/// called, and where to begin.
const TROUBLES: [(&str, &str, &str); 5] = [
    (
        "path/keep-pulse",
        "the pulse is lost",
        "keep the pulse, then count six",
    ),
    (
        "path/plain",
        "the layer is taken for the other",
        "in threes or in twos, and its cues one by one",
    ),
    (
        "path/start-count",
        "the start is heard elsewhere",
        "count six, then where did it come in",
    ),
    (
        "path/threes-against",
        "a layer is not held against the other",
        "clap the threes and the twos, guided",
    ),
    (
        "path/whose-stroke",
        "two layers are not heard at once",
        "whose stroke was that, and the fifth beat",
    ),
];

/// What the answers of a check say.
pub(super) fn advice(tallies: &[Tally]) -> String {
    let share = |skill: &str| {
        let tally = tallies.iter().find(|tally| &*tally.skill.0 == skill)?;
        Some(f64::from(tally.n_right) / f64::from(tally.n_answered.max(1)))
    };
    let asked: Vec<_> = TROUBLES
        .iter()
        .filter_map(|(skill, trouble, begin)| Some((share(skill)?, trouble, begin)))
        .collect();
    let first = asked.iter().find(|(share, ..)| *share < TROUBLE_BELOW);
    match first {
        Some((_, trouble, begin)) => {
            format!("What shows first: {trouble}. Begin there: {begin} (--deck path).")
        }
        None if asked.len() < TROUBLES.len() => {
            "Too little was asked to say where to begin; go through all of it.".to_owned()
        }
        None => {
            "Nothing of this is a trouble: the workshop is for you (--deck workshop).".to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::label::Label;
    use crate::quiz::Skill;

    fn told(right: [u32; 5]) -> String {
        let tally = |((skill, ..), n_right): (&(&str, &str, &str), u32)| Tally {
            skill: Skill((*skill).into()),
            title: Label::new("A skill").expect("a label"),
            n_right,
            n_answered: 6,
        };
        let tallies: Vec<Tally> = TROUBLES.iter().zip(right).map(tally).collect();
        advice(&tallies)
    }

    #[test]
    fn the_first_trouble_on_which_others_build_is_told() {
        assert!(told([6, 6, 6, 6, 6]).contains("workshop"));
        assert!(told([2, 2, 2, 2, 2]).contains("the pulse is lost"));
        assert!(told([6, 6, 3, 1, 1]).contains("the start is heard elsewhere"));
        assert!(told([6, 6, 6, 6, 3]).contains("two layers are not heard at once"));
        assert!(advice(&[]).contains("Too little"));
    }

    #[test]
    fn every_trouble_is_asked_by_the_check() {
        let deck = crate::deck::built_in_named(DECK).expect("it comes with the program");
        for (skill, ..) in TROUBLES {
            assert!(deck.exercise(&Skill(skill.into())).is_some(), "{skill}");
        }
    }
}
