//! What stands behind a deck that a teacher set: the assignment, and what was judged about phrases.
//!
//! Read [`Assigned`] first, then [`parse_assigned`]. A deck that was set is the text of the deck with
//! the tables `[assignment]` and `[judged]` behind it, so that it is read, and its faults are told, as
//! any deck; [`alone`] is the deck without them.

use super::exercise::{id, key, optional};
use super::fault::{Fault, Faults, quoted};
use super::parse::{self, Trial};
use super::written::{Key, Shape, Table, Value};
use super::{Deck, built_in_named};
use crate::class::assignment::{Assignment, Goal, News, limit};
use crate::class::judgement::{Judgement, MOST_JUDGED, PhraseId, Ruling};
use crate::label::Label;
use crate::quiz::Answer;
use crate::world::{Day, Moment, parse_day, parse_moment};

/// A deck that was set, and what came with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Assigned {
    /// The deck.
    pub deck: Deck,
    /// What is to be done with it.
    pub assignment: Assignment,
    /// What else is told with it.
    pub news: News,
}

/// The keys of an assignment.
pub(super) const KEYS: [Key; 7] = [
    key(
        "id",
        "a name of its own: 1 to 40 lower-case letters, digits and hyphens",
        Shape::Id,
    ),
    optional("to", "for whom it is, on one line", Shape::Label),
    optional("line", "what to do, on one line", Shape::Label),
    key("from", "the first day, as 2026-03-02", Shape::Day),
    key("due", "the last day, as 2026-03-08", Shape::Day),
    key(
        "goal",
        "what is to be reached, as { firm = 3, minutes = 60, days = 5 }, one of them or more",
        Shape::Table(&GOAL_KEYS),
    ),
    optional(
        "taken-back",
        "names of assignments that are not to be done any more in a list, as [\"week-1\"]",
        Shape::Texts(limit::TAKEN_BACK),
    ),
];

const GOAL_KEYS: [Key; 3] = [
    optional(
        "firm",
        "how many skills of the deck are to be firm, 1 to 200",
        Shape::Whole(1, limit::FIRM),
    ),
    optional(
        "minutes",
        "how many minutes are to be practised, 1 to 6000",
        Shape::Whole(1, limit::MINUTES),
    ),
    optional(
        "days",
        "on how many days, 1 to 366",
        Shape::Whole(1, limit::DAYS),
    ),
];

/// The keys of what was judged.
pub(super) const JUDGED_KEYS: [Key; 4] = [
    key(
        "as-of",
        "when it was written, as \"2026-03-02T08:00:00Z\"",
        Shape::Text,
    ),
    optional("upheld", PHRASES, Shape::Texts(MOST_JUDGED)),
    optional("withdrawn", PHRASES, Shape::Texts(MOST_JUDGED)),
    optional(
        "overruled",
        "phrases with their right answers in a list, as [\"path/bass 17 4: feel twos\"]",
        Shape::Texts(MOST_JUDGED),
    ),
];

const PHRASES: &str = "phrases by skill, seed and generator in a list, as [\"path/bass 17 4\"]";

/// The names of the tables behind a deck, as their headers.
const HEADERS: [&str; 2] = ["[assignment]", "[judged]"];

/// Reads a deck that was set. One that comes with the program was tried before.
///
/// # Errors
/// All faults of the text, in its order; one of them is that there is no assignment.
pub fn parse_assigned(text: &str) -> Result<Assigned, Vec<Fault>> {
    let (mut deck, mut parts) = parse::parse_with_behind(text, Trial::Before)?;
    let is_known = built_in_named(deck.id()).is_some_and(|known| known == deck);
    if !is_known {
        (deck, parts) = parse::parse_with_behind(text, Trial::Now)?;
    }
    let Some(set) = parts.set else {
        let mut faults = Faults::default();
        let expected = "an assignment under [assignment]";
        faults.add(text.len(), "a deck alone", expected);
        return Err(faults.placed_in(text));
    };
    let (assignment, taken_back) = set.of(&deck);
    let judged = parts.judged;
    Ok(Assigned {
        deck,
        assignment,
        news: News { judged, taken_back },
    })
}

/// The text of a sound deck without what stands behind it; `None` where that cannot be taken out
/// without changing the deck.
pub fn alone(text: &str) -> Option<String> {
    let mut is_kept = true;
    let mut kept = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let header = line.trim_start().starts_with('[') && !line.starts_with([' ', '\t']);
        if header {
            is_kept = !HEADERS.contains(&line.trim_end());
        }
        if is_kept {
            kept.push_str(line);
        }
    }
    if kept == text {
        return Some(kept);
    }
    let (deck, parts) = parse::parse_with_behind(&kept, Trial::Before).ok()?;
    let (before, _) = parse::parse_with_behind(text, Trial::Before).ok()?;
    let is_alone = parts.set.is_none() && parts.judged.is_empty();
    (is_alone && deck == before).then(|| format!("{}\n", kept.trim_end()))
}

/// What stands behind a deck.
#[derive(Clone, Debug, Default)]
pub(super) struct Behind {
    set: Option<Set>,
    judged: Vec<Judgement>,
}

/// An assignment before it is known of which deck.
#[derive(Clone, Debug)]
struct Set {
    id: Box<str>,
    to: Option<Label>,
    line: Option<Label>,
    from: Day,
    due: Day,
    goal: Goal,
    taken_back: Vec<Box<str>>,
}

impl Set {
    /// The assignment of this deck, and the names of what was taken back.
    fn of(self, deck: &Deck) -> (Assignment, Vec<Box<str>>) {
        let assignment = Assignment {
            id: self.id,
            to: self.to,
            deck: deck.id().into(),
            title: deck.title().clone(),
            skills: deck
                .exercises()
                .iter()
                .map(|exercise| exercise.skill.clone())
                .collect(),
            line: self.line,
            from: self.from,
            due: self.due,
            goal: self.goal,
        };
        (assignment, self.taken_back)
    }
}

/// Reads what stands behind a deck of `n_exercises`, where that is known.
pub(super) fn read(table: &Table<'_>, n_exercises: Option<usize>, faults: &mut Faults) -> Behind {
    let set = table.or("assignment", None, faults, |value, faults| {
        let table = value.table(&KEYS, faults)?;
        set(&table, n_exercises, faults).map(Some)
    });
    let judged = table.or("judged", Vec::new(), faults, |value, faults| {
        judged(&value.table(&JUDGED_KEYS, faults)?, faults)
    });
    Behind {
        set: set.flatten(),
        judged: judged.unwrap_or_default(),
    }
}

fn set(table: &Table<'_>, n_exercises: Option<usize>, faults: &mut Faults) -> Option<Set> {
    let own = table.need("id", faults, id).map(Box::from);
    let mut said = |name| {
        table.or(name, None, faults, |value, faults| {
            value.label(faults).map(Some)
        })
    };
    let (to, line) = (said("to"), said("line"));
    let from = table.need("from", faults, day);
    let due = table.need("due", faults, day);
    let goal = table.need("goal", faults, |value, faults| {
        goal(value, n_exercises, faults)
    });
    let taken_back = table.or("taken-back", Vec::new(), faults, |value, faults| {
        let name = |item: Value<'_>, faults: &mut Faults| id(item, faults).map(Box::from);
        value.set(0..=limit::TAKEN_BACK, faults, name)
    });
    let (from, due) = (from?, due?);
    if due < from || due.since(from) > limit::SPAN {
        let at = table.get("due").map_or(table.at(), |value| value.at);
        let expected = format!("a day from {from} on, within two years");
        faults.add(at, &due.to_string(), &expected);
        return None;
    }
    Some(Set {
        id: own?,
        to: to?,
        line: line?,
        from,
        due,
        goal: goal?,
        taken_back: taken_back?,
    })
}

/// A day, as TOML has one or in quotes.
fn day(value: Value<'_>, faults: &mut Faults) -> Option<Day> {
    // Nobody sets a task for the year 9999, and sums of days stay far from their limits.
    const LATEST: Day = Day(100_000);
    let day = parse_day(value.plain().trim());
    let day = day.filter(|day| (Day(0)..=LATEST).contains(day));
    if day.is_none() {
        value.is_wrong(faults);
    }
    day
}

fn goal(value: Value<'_>, n_exercises: Option<usize>, faults: &mut Faults) -> Option<Goal> {
    let table = value.table(&GOAL_KEYS, faults)?;
    let mut count = |name| {
        table.or(name, None, faults, |value, faults| {
            let n = value.whole(faults)?;
            match u32::try_from(n) {
                Ok(n) if n > 0 => Some(Some(n)),
                _ => {
                    value.is_wrong(faults);
                    None
                }
            }
        })
    };
    let (firm, minutes, days) = (count("firm")?, count("minutes")?, count("days")?);
    let n_exercises = n_exercises.and_then(|n| u32::try_from(n).ok());
    if let (Some(firm), Some(n)) = (firm, n_exercises)
        && firm > n
    {
        let at = table.get("firm").map_or(value.at, |value| value.at);
        let expected = format!("at most {n}, as many skills as the deck has");
        faults.add(at, &firm.to_string(), &expected);
        return None;
    }
    let goal = Goal::new(firm, minutes, days);
    if goal.is_none() {
        value.is_wrong(faults);
    }
    goal
}

fn judged(table: &Table<'_>, faults: &mut Faults) -> Option<Vec<Judgement>> {
    let at = table.need("as-of", faults, |value, faults| {
        let moment = parse_moment(value.plain());
        if moment.is_none() {
            value.is_wrong(faults);
        }
        moment
    })?;
    let mut all: Vec<Judgement> = Vec::new();
    let mut known = std::collections::HashSet::new();
    for (name, read) in LISTS {
        let items = table.or(name, Vec::new(), faults, |value, faults| {
            value.items(0..=MOST_JUDGED, faults)
        });
        for item in items? {
            let Some(text) = item.text(faults) else {
                continue;
            };
            let Some((phrase, ruling)) = read(text) else {
                item.is_wrong(faults);
                continue;
            };
            if !known.insert(phrase.clone()) {
                let found = format!("{} again", quoted(&phrase.to_string()));
                faults.add(item.at, &found, "each phrase once");
                continue;
            }
            all.push(judgement(phrase, ruling, at));
        }
    }
    Some(all)
}

/// How an item of a list is read.
type ReadItem = fn(&str) -> Option<(PhraseId, Ruling)>;

/// The lists of judged phrases.
const LISTS: [(&str, ReadItem); 3] = [
    ("upheld", |text| {
        Some((PhraseId::from_text(text)?, Ruling::Upheld))
    }),
    ("withdrawn", |text| {
        Some((PhraseId::from_text(text)?, Ruling::Withdrawn))
    }),
    ("overruled", |text| {
        let (phrase, answer) = text.split_once(": ")?;
        let ruling = Ruling::Overruled(Answer::from_text(answer)?);
        Some((PhraseId::from_text(phrase)?, ruling))
    }),
];

fn judgement(phrase: PhraseId, ruling: Ruling, at: Moment) -> Judgement {
    Judgement {
        phrase,
        ruling,
        at,
        note: None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::class::assignment::text;
    use crate::rhythm::Feel;

    /// A deck that is tried in no time: it takes what was tried.
    const DECK: &str =
        "format = 1\nid = \"mine\"\ntitle = \"Mine\"\ntakes = [\"path/plain\", \"path/bass\"]\n";
    const SET: &str =
        "[assignment]\nid = \"week-2\"\nfrom = 2026-03-02\ndue = 2026-03-08\ngoal = { days = 3 }\n";

    #[track_caller]
    fn check_faults(behind: &str, expected: &[&str]) {
        let faults = parse_assigned(&format!("{DECK}{behind}")).expect_err("something is wrong");
        let told: Vec<String> = faults.iter().map(Fault::to_string).collect();
        assert_eq!(told, expected);
    }

    #[test]
    fn the_example_for_contributors_is_read() {
        let manual = include_str!("../../DEVELOPERS.md");
        let (_, rest) = manual.split_once("## The assignment").expect("a chapter");
        let (_, rest) = rest.split_once("```toml\n").expect("the example begins");
        let (example, _) = rest.split_once("```").expect("the example ends");
        let read = parse_assigned(example).expect("an example without faults");
        let set = &read.assignment;
        assert_eq!((&*set.id, &*set.deck), ("week-2", "tuesday-group"));
        assert_eq!(set.from.to_string(), "2026-03-02");
        assert_eq!(set.due.to_string(), "2026-03-08");
        assert_eq!(
            set.goal,
            Goal::new(Some(1), Some(60), Some(5)).expect("a goal")
        );
        assert_eq!(read.news.taken_back, [Box::from("week-1")]);
        let judged = &read.news.judged;
        let rulings: Vec<&str> = judged.iter().map(|one| one.ruling.id()).collect();
        assert_eq!(rulings, ["upheld", "withdrawn", "overruled"]);
        assert_eq!(judged[2].ruling.answer(), Some(Answer::Feel(Feel::Twos)));
        // It is a deck as well, with what stands behind it and without.
        let deck = super::super::parse(example).expect("a deck");
        let alone = alone(example).expect("it can be taken out");
        assert!(!alone.contains("week-2") && !alone.contains("as-of"));
        assert_eq!(super::super::parse(&alone), Ok(deck));
    }

    #[test]
    fn every_fault_is_told_with_its_place() {
        check_faults(
            "",
            &["line 5, column 1: found a deck alone; expected an assignment under [assignment]"],
        );
        check_faults(
            "[assignment]\nid = \"../week\"\nline = \"a\\u001bb\"\nfrom = \"tomorrow\"\ndue = 2026-03-08\ngoal = { firm = 3 }\ntaken-back = [\"a\", \"../b\", \"a\"]\ntill = 3\n",
            &[
                "line 6, column 6: found \"../week\"; expected a name of its own: 1 to 40 lower-case letters, digits and hyphens",
                "line 7, column 8: found the character U+001B, which cannot be shown; expected what to do, on one line",
                "line 8, column 8: found \"tomorrow\"; expected the first day, as 2026-03-02",
                "line 10, column 17: found 3; expected at most 2, as many skills as the deck has",
                "line 11, column 20: found \"../b\"; expected names of assignments that are not to be done any more in a list, as [\"week-1\"]",
                "line 11, column 28: found \"a\" again; expected each once",
                "line 12, column 1: found the key \"till\"; expected one of id, to, line, from, due, goal, taken-back",
            ],
        );
        for (old, new, says) in [
            (
                "2026-03-08",
                "2026-03-01",
                "found 2026-03-01; expected a day from 2026-03-02 on, within two years",
            ),
            (
                "2026-03-08",
                "2029-03-01",
                "found 2029-03-01; expected a day from",
            ),
            (
                "{ days = 3 }",
                "{ }",
                "found a table; expected what is to be reached",
            ),
            (
                "{ days = 3 }",
                "{ days = 0 }",
                "found 0; expected on how many days, 1 to 366",
            ),
            (
                "{ days = 3 }",
                "{ days = 9999 }",
                "expected what is to be reached",
            ),
            (
                "due = 2026-03-08\n",
                "",
                "found no due; expected the last day",
            ),
        ] {
            let faults = parse_assigned(&format!("{DECK}{}", SET.replace(old, new)));
            let faults = faults.expect_err(new);
            assert!(
                faults.iter().any(|fault| fault.to_string().contains(says)),
                "{faults:?}"
            );
        }
    }

    #[test]
    fn judged_phrases_are_checked_one_by_one() {
        let judged = "[judged]\nas-of = \"2026-03-02T08:00:00Z\"\nwithdrawn = [\"path/bass 1 4\", \"path/bass 1\", \"../x 1 4\", 7]\noverruled = [\"path/bass 1 4: feel twos\", \"path/bass 2 4: tango\"]\n";
        check_faults(
            &format!("{SET}{judged}"),
            &[
                "line 12, column 31: found \"path/bass 1\"; expected phrases by skill, seed and generator in a list, as [\"path/bass 17 4\"]",
                "line 12, column 46: found \"../x 1 4\"; expected phrases by skill, seed and generator in a list, as [\"path/bass 17 4\"]",
                "line 12, column 58: found 7; expected phrases by skill, seed and generator in a list, as [\"path/bass 17 4\"]",
                "line 13, column 14: found \"path/bass 1 4\" again; expected each phrase once",
                "line 13, column 42: found \"path/bass 2 4: tango\"; expected phrases with their right answers in a list, as [\"path/bass 17 4: feel twos\"]",
            ],
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn what_is_written_is_read_back(
            line in "[ -~é\\\\\"\\[\\]#]{1,40}", to in ".{1,20}", from in 0_i32..90_000, span in 0_i32..700,
            goal in (1_u32..3, 1_u32..6000, 1_u32..366), seeds in proptest::collection::hash_set(any::<u64>(), 0..9),
            taken_back in proptest::collection::btree_set("[a-z0-9]{1,40}", 0..4),
        ) {
            let now = Moment(1_772_438_400_250);
            let phrase = |seed| PhraseId {
                skill: crate::quiz::Skill("path/bass".into()),
                seed: crate::world::Seed(seed),
                generator: 2,
            };
            let ruling = |seed: u64| match seed % 3 {
                0 => Ruling::Upheld,
                1 => Ruling::Withdrawn,
                _ => Ruling::Overruled(Answer::Feel(Feel::Twos)),
            };
            let mut judged: Vec<Judgement> =
                seeds.into_iter().map(|seed| judgement(phrase(seed), ruling(seed), now)).collect();
            let deck = super::super::parse(DECK).expect("a deck");
            let taken_back: Vec<Box<str>> = taken_back.into_iter().map(Box::from).collect();
            let (assignment, _) = Set {
                id: "0123456789abcdef".into(),
                to: Label::new(&to).ok(),
                line: Label::new(&line).ok(),
                from: Day(from),
                due: Day(from + span),
                goal: Goal::new(Some(goal.0), Some(goal.1), Some(goal.2)).expect("a goal"),
                taken_back: Vec::new(),
            }
            .of(&deck);
            let news = News { judged: judged.clone(), taken_back: taken_back.clone() };
            let written = text(DECK, &assignment, &news, now);
            let read = parse_assigned(&written).expect("what was written has no faults");
            prop_assert_eq!(&read.assignment, &assignment);
            prop_assert_eq!(&read.deck, &deck);
            let key = |one: &Judgement| (one.ruling.id(), one.phrase.seed.0);
            prop_assert_eq!(read.news.taken_back, taken_back);
            let mut found = read.news.judged;
            found.sort_by_key(key);
            judged.sort_by_key(key);
            prop_assert_eq!(found, judged);
            prop_assert_eq!(alone(&written).expect("it can be taken out"), DECK);
        }

        #[test]
        fn no_text_makes_it_panic(behind in "[\\[\\]a-z0-9 =\"{}\\n.-]{0,200}") {
            drop(parse_assigned(&format!("{DECK}[assignment]\n{behind}")));
            drop(alone(&format!("{DECK}{behind}")));
        }
    }
}
