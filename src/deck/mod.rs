//! Decks: ordered files of exercises, with what each one needs first.
//!
//! Read [`Deck`] first, then [`parse()`], which turns a text into a deck or into all of its
//! [`Fault`]s with their lines and columns. [`built_in`] is the deck that comes with the program.
//! Levels are decibels, tempos pulses a minute. Nothing here opens a file, asks a question beyond
//! those with which an exercise is tried, or knows who is learning.
//!
//! The format is described in DEVELOPERS.md, under "The deck format", with an example that a test
//! reads.
//!
//! A fault says where it is, what was found and what was expected, and often what may help:
//!
//! ```
//! let faults = contrapalma::deck::parse("format = 1\nid = \"a\"\ntitel = \"A\"\n");
//! let faults = faults.expect_err("a title is missing");
//! assert_eq!((faults[2].line, faults[2].column), (3, 1));
//! assert_eq!(faults[2].found, "the key \"titel\"");
//! assert_eq!(faults[2].hint.as_deref(), Some("nearest is \"title\""));
//! ```

mod assigned;
mod exercise;
mod fault;
mod form;
mod own;
mod parse;
mod part;
mod passage;
mod recipe;
mod schema;
mod spoken;
mod words;
mod written;

pub use assigned::{Assigned, alone, parse_assigned};
pub use fault::Fault;
pub use own::{OWN_RECORDINGS, own_exercises, own_recordings};
pub use parse::{LONGEST_TEXT, parse, parse_tried};
pub use schema::schema;
pub use spoken::{Spoken, SpokenError};

use std::sync::Arc;

use crate::label::Label;
use crate::phrase::{Level, Speakers};
use crate::quiz::passage::Passage;
use crate::quiz::{Form, Material, Repairs, Skill};

/// An ordered set of exercises. Ids are unique, needs name exercises of the deck and never come
/// round, and every exercise made questions at its easiest and at its hardest level.
#[derive(Clone, Debug, PartialEq)]
pub struct Deck {
    id: Box<str>,
    title: Label,
    order: Order,
    exercises: Vec<Exercise>,
    parts: Vec<Part>,
    turns_not_asked: Vec<Arc<Passage>>,
}

/// A stretch of a deck with a name of its own, as a week of a course. What is in it is for those who
/// read: it holds nothing back.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name on the screen.
    pub title: Label,
    /// Its skills, in the order of the deck; one or more, each in no other part.
    pub skills: Vec<Skill>,
}

/// Whether exercises of a deck wait for each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Each waits until what it needs is firm, and few are begun in a day.
    Path,
    /// None waits.
    Free,
    /// None waits, and each is asked in one block a sitting.
    Once,
}

impl Order {
    /// All orders.
    pub const ALL: [Self; 3] = [Self::Path, Self::Free, Self::Once];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::Path => "path",
            Self::Free => "free",
            Self::Once => "once",
        }
    }
}

impl Deck {
    /// Its id.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// Its name.
    pub fn title(&self) -> &Label {
        &self.title
    }

    /// Whether its exercises wait for each other.
    pub fn order(&self) -> Order {
        self.order
    }

    /// The same deck, its phrases to be heard through these speakers.
    #[must_use]
    pub fn through(mut self, speakers: Speakers) -> Self {
        for exercise in &mut self.exercises {
            if let Material::Made(recipe) = &mut exercise.material {
                *recipe = recipe.clone().through(speakers);
            }
        }
        self
    }

    /// Its exercises, in the order in which they are offered; one or more.
    pub fn exercises(&self) -> &[Exercise] {
        &self.exercises
    }

    /// Its parts, in order; none where it is not divided, and an exercise may be in none.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// The passages that are left out where an exercise would have their turn caught, each once.
    pub fn turns_not_asked(&self) -> &[Arc<Passage>] {
        &self.turns_not_asked
    }

    /// The exercise of this skill.
    pub fn exercise(&self, skill: &Skill) -> Option<&Exercise> {
        self.exercises
            .iter()
            .find(|exercise| exercise.skill == *skill)
    }
}

/// What is practised as one skill.
#[derive(Clone, Debug, PartialEq)]
pub struct Exercise {
    /// Its name for good: `deck-id/exercise-id`.
    pub skill: Skill,
    /// Its name on the screen.
    pub title: Label,
    /// What to do, in one line.
    pub line: Spoken,
    /// What helps after a miss.
    pub repairs: Repairs<Spoken>,
    /// What must be firm before it is offered.
    pub needs: Vec<Skill>,
    /// What is asked.
    pub form: Form,
    /// What it is asked of.
    pub material: Material,
    /// How strong its cues are.
    pub levels: Levels,
}

/// How strong the cues of an exercise are: its hardest level is at most its criterion, and that is
/// at most its easiest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Levels {
    easiest: Level,
    criterion: Level,
    hardest: Level,
}

impl Levels {
    /// The levels of an exercise; `None` when they are out of order.
    pub fn new(easiest: Level, criterion: Level, hardest: Level) -> Option<Self> {
        (hardest <= criterion && criterion <= easiest).then_some(Self {
            easiest,
            criterion,
            hardest,
        })
    }

    /// The strongest cues that are asked.
    pub fn easiest(self) -> Level {
        self.easiest
    }

    /// The level at which the exercise counts as learnt.
    pub fn criterion(self) -> Level {
        self.criterion
    }

    /// The weakest cues that are asked.
    pub fn hardest(self) -> Level {
        self.hardest
    }
}

/// Decks of exercises of their own that come with the program, by id; the first is where one begins.
const OWN: [(&str, &str); 2] = [
    (
        "first-steps",
        include_str!("../../exercises/first-steps.toml"),
    ),
    ("path", include_str!("../../exercises/path.toml")),
];

/// Decks that take theirs from these: courses and a check.
const COURSES: [(&str, &str); 5] = [
    ("check", include_str!("../../exercises/check.toml")),
    ("beginners", include_str!("../../exercises/beginners.toml")),
    ("workshop", include_str!("../../exercises/workshop.toml")),
    ("twelves", include_str!("../../exercises/twelves.toml")),
    ("cousins", include_str!("../../exercises/cousins.toml")),
];

/// The deck where one begins.
pub fn built_in() -> Deck {
    of_the_program(OWN[0].1)
}

/// The deck of this id that comes with the program.
pub fn built_in_named(id: &str) -> Option<Deck> {
    built_in_text(id).map(of_the_program)
}

/// The text of the deck of this id that comes with the program.
pub fn built_in_text(id: &str) -> Option<&'static str> {
    let mut all = OWN.iter().chain(&COURSES);
    all.find(|(known, _)| *known == id).map(|(_, text)| *text)
}

fn of_the_program(text: &str) -> Deck {
    let deck = parse::parse_with(text, parse::Trial::Before);
    deck.expect("a deck that comes with the program has no faults")
}

/// Whether a text can be the id of a deck or an exercise: 1 to 40 lower-case letters, digits and
/// hyphens. So no path leads anywhere by it.
pub fn is_id(text: &str) -> bool {
    let fits = |sign: u8| matches!(sign, b'a'..=b'z' | b'0'..=b'9' | b'-');
    (1..=40).contains(&text.len()) && text.bytes().all(fits)
}

/// A commented start of a deck, for a text file of one's own. `id` is its id.
pub fn start(id: &str) -> String {
    debug_assert!(is_id(id), "ids are checked where they come in");
    include_str!("start.toml").replace(START_ID, id)
}

/// The id that stands in the file of the start.
const START_ID: &str = "my-deck";

/// The ids of all decks that come with the program, in the order in which they are offered.
pub fn built_in_ids() -> impl Iterator<Item = &'static str> {
    OWN.iter().chain(&COURSES).map(|(id, _)| *id)
}

#[cfg(test)]
mod tests;
