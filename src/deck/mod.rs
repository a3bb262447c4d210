//! Decks: ordered files of exercises, with what each one needs first.
//!
//! Read [`Deck`] first, then [`parse()`], which turns a text into a deck or into all of its
//! [`Fault`]s with their lines and columns. [`built_in`] is the deck that comes with the program.
//! Levels are decibels, tempos pulses a minute. Nothing here opens a file, asks a question beyond
//! those with which an exercise is tried, or knows who is learning.
//!
//! # The format
//!
//! A deck is a TOML file in UTF-8, at most 256 KiB long and of at most 200 exercises. On top stand
//!
//! | key | what stands there |
//! | --- | --- |
//! | `format` | `1` |
//! | `id` | the deck's id: 1 to 40 lower-case letters, digits and hyphens |
//! | `title` | a text of at most 160 characters on one line, as all texts are |
//! | `[[exercise]]` | the exercises, in the order in which they are offered |
//!
//! and in each exercise
//!
//! | key | what stands there |
//! | --- | --- |
//! | `id` | its id, once in the deck; what a learner knows of it is kept under `deck-id/exercise-id` |
//! | `title` | its name |
//! | `asks` | `"name-feel"`, `"find-start"` or `"fit-clapping"` |
//! | `line` | one line that says what to do |
//! | `repair` | one line that helps after a miss; may be left out |
//! | `needs` | ids of exercises of this deck that must be firm first; may be left out |
//! | `families` | surfaces: `"plain"`, `"bass-strums"`, `"chords"`, `"arpeggio"`, `"line"` |
//! | `feels` | `"threes"`, `"twos"`, `"both"`, `"in-turn"`, `"either"`; two or more for `name-feel` |
//! | `tempo` | `[slowest, fastest]` in pulses a minute, within 100 to 260 |
//! | `cycles` | `[fewest, most]`, within 2 to 8; 4 or more for `in-turn` |
//! | `entry` | `"one"`, `"any"`, `"pickup"`; `["one"]` where it is left out |
//! | `bell` | `"none"`, `"every"` or `"second"` cycle; none where it is left out |
//! | `by` | `find-start` alone: `"count"` or `"taps"` |
//! | `clappings` | `fit-clapping` alone: two to six clappings in counts, as `"1-4-5"` |
//! | `fits` | `fit-clapping` alone: `"guitar"` or `"knocks"` |
//! | `level` | `easiest`, `criterion` and `hardest` in dB, within 1.5 to 12, to a tenth |
//!
//! Where claps are to fit the guitar, the feels are threes or twos, and the claps of each stand
//! among the clappings. Where the count of entry is asked, entries other than `"one"` are in play.
//!
//! ```
//! let deck = contrapalma::deck::parse(r#"
//!     format = 1
//!     id = "tuesday-group"
//!     title = "Tuesday group, second week"
//!
//!     [[exercise]]
//!     id = "low-notes"
//!     title = "By the low notes"
//!     asks = "name-feel"
//!     line = "Listen to the low notes. Do they come in threes or in twos?"
//!     repair = "Hum the low notes, then count from one to the next."
//!     families = ["bass-strums", "arpeggio"]
//!     feels = ["threes", "twos"]
//!     tempo = [120, 220]
//!     cycles = [4, 4]
//!     level = { easiest = 8, criterion = 5, hardest = 2 }
//!
//!     [[exercise]]
//!     id = "knocks"
//!     title = "Claps with the knocks"
//!     asks = "fit-clapping"
//!     fits = "knocks"
//!     line = "Choose the claps that go with the knocks on the guitar."
//!     needs = ["low-notes"]
//!     families = ["bass-strums"]
//!     feels = ["threes"]
//!     clappings = ["1-4-5", "1-4-6", "1-4"]
//!     tempo = [120, 180]
//!     cycles = [3, 4]
//!     level = { easiest = 8, criterion = 5, hardest = 2.5 }
//! "#);
//! let deck = deck.expect("a deck without faults");
//! assert_eq!(deck.exercises()[1].skill.to_string(), "tuesday-group/knocks");
//! assert_eq!(deck.exercises()[1].needs, [deck.exercises()[0].skill.clone()]);
//! ```
//!
//! A fault says where it is, what was found and what was expected, and often what may help:
//!
//! ```
//! let faults = contrapalma::deck::parse("format = 1\nid = \"a\"\ntitel = \"A\"\n");
//! let faults = faults.expect_err("a title is missing");
//! assert_eq!(
//!     faults[2].to_string(),
//!     "line 3, column 1: found the key \"titel\"; expected one of format, id, title, exercise"
//! );
//! assert_eq!(faults[2].hint.as_deref(), Some("nearest is \"title\""));
//! ```

mod exercise;
mod fault;
mod form;
mod parse;
mod recipe;
mod written;

pub use fault::Fault;
pub use parse::parse;

use crate::label::Label;
use crate::phrase::{Level, Recipe};
use crate::quiz::{Form, Skill};

/// An ordered set of exercises. Ids are unique, needs name exercises of the deck and never come
/// round, and every exercise made questions at its easiest and at its hardest level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Deck {
    id: Box<str>,
    title: Label,
    exercises: Vec<Exercise>,
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

    /// Its exercises, in the order in which they are offered; one or more.
    pub fn exercises(&self) -> &[Exercise] {
        &self.exercises
    }

    /// The exercise of this skill.
    pub fn exercise(&self, skill: &Skill) -> Option<&Exercise> {
        self.exercises
            .iter()
            .find(|exercise| exercise.skill == *skill)
    }
}

/// What is practised as one skill.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exercise {
    /// Its name for good: `deck-id/exercise-id`.
    pub skill: Skill,
    /// Its name on the screen.
    pub title: Label,
    /// What to do, in one line.
    pub line: Label,
    /// What helps after a miss.
    pub repair: Option<Label>,
    /// What must be firm before it is offered.
    pub needs: Vec<Skill>,
    /// What is asked.
    pub form: Form,
    /// What is generated.
    pub recipe: Recipe,
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

/// The deck that comes with the program.
pub fn built_in() -> Deck {
    parse(include_str!("../../exercises/first-steps.toml"))
        .expect("the deck that comes with the program has no faults")
}

#[cfg(test)]
mod tests;
