//! `contrapalma class material`: questions of a deck as sounds, as notes and on paper.
//!
//! A folder gets a WAV, a MIDI and a MusicXML file a question, and a sheet with its key, once as
//! HTML and once as pages of SVG. The same deck and seed make the same bytes.

use std::path::PathBuf;

use clap::Args;

use super::folder::Folder;
use crate::app::example;
use crate::cli::args::{Practice, bars};
use crate::cli::commands::phrase::made;
use crate::cli::commands::shelf;
use crate::cli::commands::write::{print, warn, wav_of};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{counting_of, seed_of, shelf_of};
use crate::deck::{Deck, Exercise};
use crate::notate::{self, Asked, Bars, Item};
use crate::pcm::SampleRate;
use crate::phrase::{GENERATOR, Phrase};
use crate::quiz::{Answer, Given, Question, Reveal};
use crate::rhythm::Counting;
use crate::world::{Env, Seed};

/// `class material`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Material {
    /// The deck, by its id, or a file
    #[arg(value_name = "DECK")]
    deck: PathBuf,
    /// The folder, which is not there yet or empty
    #[arg(long, value_name = "FOLDER")]
    to: PathBuf,
    /// How notes are barred: threes, twos, or felt, which gives the answer away
    #[arg(long, value_name = "BARS", value_parser = bars, default_value = "threes")]
    bars: Bars,
}

/// Questions where none were counted: two pages.
const N_QUESTIONS: u32 = 8;

/// Makes the folder.
pub(super) fn run(asked: &Material, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let deck = shelf::find(&asked.deck, shelf_of(practice, env).as_ref())?;
    let deck = deck.through(practice.speakers());
    let seed = seed_of(practice)?;
    let n_questions = practice.questions.unwrap_or(N_QUESTIONS);
    let mut folder = Folder::open(&asked.to, "--to")?;
    let made = fill(
        &mut folder,
        &deck,
        (n_questions, seed),
        asked.bars,
        counting_of(practice, env),
    );
    if made.is_err() {
        folder.empty();
    }
    made?;
    let shown = crate::label::printable(&asked.to.display().to_string());
    print(&format!(
        "{shown}: {n_questions} questions of {}, seed {}; give out sheet.html or the sheet-N.svg, \
         and keep the key, which is on its last pages and in key-N.svg\n",
        deck.id(),
        seed.0
    ))
}

/// A question under way to paper.
struct Page {
    title: String,
    question: Question,
    /// What is drawn and written: the phrase as it sounds.
    phrase: Phrase,
    counting: Counting,
    lines: [String; 2],
    choices: Vec<String>,
    answer: String,
}

impl Page {
    fn of(exercise: &Exercise, question: Question, counting: Option<Counting>) -> Self {
        let counting = Counting::in_style(counting, exercise.material.counting());
        let told = Reveal::told(&question, counting);
        let mut sounds = question.sounds();
        // Under several clappings it is the phrase alone that is written.
        let phrase = match sounds.len() {
            1 => sounds.remove(0),
            _ => question.phrase().clone(),
        };
        Self {
            title: exercise.title.to_string(),
            lines: [
                exercise.line.in_words(counting).to_string(),
                question.asks(counting),
            ],
            choices: question.choices(counting),
            answer: format!("{} {}", told.verdict, told.reason)
                .trim()
                .to_owned(),
            phrase,
            counting,
            question,
        }
    }

    /// The same for a sheet.
    fn item<'p>(&'p self, lines: &'p [&'p str]) -> Item<'p> {
        Item {
            label: &self.title,
            phrase: &self.phrase,
            counting: self.counting,
            asked: Some(Asked {
                lines,
                choices: &self.choices,
                right: self.right(),
                answer: &self.answer,
            }),
        }
    }

    /// The choice that is true.
    fn right(&self) -> Option<usize> {
        let truth = self.question.truth();
        let is_true = |idx: &usize| {
            let verdict = self.question.judge(&Given::Choice(*idx));
            verdict.is_some_and(|verdict| verdict.answer == truth)
        };
        (0..self.choices.len()).find(is_true)
    }
}

fn fill(
    folder: &mut Folder,
    deck: &Deck,
    (n_questions, seed): (u32, Seed),
    bars: Bars,
    counting: Option<Counting>,
) -> Result<(), Failure> {
    let mut pages: Vec<Page> = Vec::new();
    // What is asked of recordings stays with whoever has them.
    let is_made = |exercise: &&Exercise| exercise.material.recipe().is_some();
    let exercises: Vec<&Exercise> = deck.exercises().iter().filter(is_made).collect();
    if exercises.is_empty() {
        let what = format!("the deck {} is asked of recordings alone", deck.id());
        return Err(Failure::new(
            Kind::No,
            what,
            "choose a deck of made phrases",
        ));
    }
    let mut truths: Vec<Vec<Answer>> = vec![Vec::new(); exercises.len()];
    let width = n_questions.to_string().len().max(2);
    let turns = (0..exercises.len()).cycle();
    for (number, idx) in (1..=n_questions).zip(turns) {
        let exercise = exercises[idx];
        warn(&format!("{number} of {n_questions}: {}", exercise.title));
        let own = seed.child("question", u64::from(number));
        let question = ask(exercise, &truths[idx], own)?;
        truths[idx].push(question.truth());
        let page = Page::of(exercise, question, counting);
        let label = format!("{number}. {}", page.title);
        let sound = example(&page.question, SampleRate::HZ_48000, own);
        let name = format!("{number:0width$}");
        folder.write(&format!("{name}.wav"), &wav_of(&sound)?)?;
        folder.write(&format!("{name}.mid"), &notate::midi(&page.phrase, bars))?;
        let score = notate::musicxml(&page.phrase, &label, bars);
        folder.write(&format!("{name}.musicxml"), score.as_bytes())?;
        pages.push(page);
    }
    let about = format!(
        "Deck {}, seed {}, generator {GENERATOR}.",
        deck.id(),
        seed.0
    );
    write_sheets(folder, (deck.title().as_str(), &about), &pages)
}

/// A question of an exercise that is not like the last ones.
fn ask(exercise: &Exercise, lately: &[Answer], seed: Seed) -> Result<Question, Failure> {
    /// A seed may have no phrase at a level where nearly every other has.
    const TRIES: u64 = 8;
    let level = exercise.levels.criterion();
    let recipe = made(exercise)?;
    let ask = |n| {
        let seed = seed.child("try", n);
        Question::ask(&exercise.form, recipe, level, lately, seed)
    };
    let first = ask(0);
    let made = (1..TRIES).fold(first, |made, n| made.or_else(|_| ask(n)));
    made.map_err(|error| {
        let what = format!("{}: {error}", exercise.skill);
        Failure::new(Kind::No, what, "try another --seed; nothing is left behind")
    })
}

fn write_sheets(
    folder: &mut Folder,
    (heading, about): (&str, &str),
    pages: &[Page],
) -> Result<(), Failure> {
    let lines: Vec<[&str; 2]> = pages
        .iter()
        .map(|page| [&*page.lines[0], &*page.lines[1]])
        .collect();
    let items = pages
        .iter()
        .zip(&lines)
        .map(|(page, lines)| page.item(lines));
    let items: Vec<Item<'_>> = items.collect();
    for (number, page) in (1..).zip(notate::sheet(heading, &items)) {
        folder.write(&format!("sheet-{number}.svg"), page.questions.as_bytes())?;
        folder.write(&format!("key-{number}.svg"), page.key.as_bytes())?;
    }
    let html = notate::html(heading, about, &items);
    folder.write("sheet.html", html.as_bytes())
}
