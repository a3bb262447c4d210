//! `contrapalma class report`: what the practice of a class came to, and its worst moments as sounds.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use clap::Args;

use super::moments;
use super::place::Place;
use crate::app::Course;
use crate::app::class::{class_report, syllabus};
use crate::class::hand_in::LearnerId;
use crate::cli::args::Practice;
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::shelf;
use crate::cli::commands::write::{print, write_whole};
use crate::cli::failure::{Failure, Kind};
use crate::cli::shelf_of;
use crate::deck::{self, Deck, Exercise};
use crate::label::printable;
use crate::quiz::Skill;
use crate::report::class::{ClassReport, csv, html, json, text};
use crate::store::Enrolled;
use crate::world::{Calendar, Env};

/// `class report`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Report {
    /// Of one learner alone, by name or number
    #[arg(long, value_name = "NAME|NUMBER")]
    learner: Option<String>,
    /// Write it to this HTML file, to look at and to print; - is standard output
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write it to this CSV file, one row for each learner and exercise; - is standard output
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write it to this JSON file; - is standard output
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Make up to three misses of each learner again, under the claps that were made, as WAV files in
    /// this folder, which is not there yet or empty
    #[arg(long, value_name = "FOLDER")]
    moments: Option<PathBuf>,
    #[command(flatten)]
    place: Place,
}

/// Work is set from this deck where no other is named.
const PATH: &str = "path";

/// Makes the report and writes it as asked; as text where no other form is.
pub(super) fn run(asked: &Report, practice: &Practice, env: &Env) -> Result<(), Failure> {
    only_one_to_standard_output(asked)?;
    let (today, _) = Calendar::default().day_of(clock_of(env)?.now());
    // A report of nothing makes no store.
    let store = asked.place.open_kept(practice, env)?;
    let learners = chosen(store.learners()?, asked.learner.as_deref())?;
    let decks = Decks::find(practice, env)?;
    let course = Course::new(decks.of_work.clone());
    let known = syllabus(&course, &decks.others);
    let deck = (today, course.title_of_deck());
    let mut report = class_report(&store, learners, &known, deck)?;
    if let Some(folder) = &asked.moments {
        let beside = asked.html.as_deref().filter(|html| !is_standard(html));
        let n = moments::write(&mut report, folder, beside, &decks.exercises())?;
        if !asked.prints() {
            print(&format!("{}: {n} sounds, and moments.txt\n", shown(folder)))?;
        }
    }
    write(asked, &report)
}

impl Report {
    fn files(&self) -> [Option<&PathBuf>; 3] {
        [self.html.as_ref(), self.csv.as_ref(), self.json.as_ref()]
    }

    /// Whether a form that is no text for people goes to standard output.
    fn prints(&self) -> bool {
        self.files()
            .into_iter()
            .flatten()
            .any(|path| is_standard(path))
    }
}

fn is_standard(path: &Path) -> bool {
    path.as_os_str() == "-"
}

fn shown(path: &Path) -> String {
    printable(&path.display().to_string())
}

fn only_one_to_standard_output(asked: &Report) -> Result<(), Failure> {
    let standard = asked
        .files()
        .into_iter()
        .flatten()
        .filter(|path| is_standard(path));
    if standard.count() < 2 {
        return Ok(());
    }
    let what = "found - twice; only one of --html, --csv and --json can go to standard output";
    Err(Failure::new(
        Kind::Usage,
        what,
        "name a file for the others",
    ))
}

/// All learners, or the one of this number or name.
fn chosen(learners: Vec<Enrolled>, named: Option<&str>) -> Result<Vec<Enrolled>, Failure> {
    let Some(named) = named else {
        return Ok(learners);
    };
    let id = LearnerId::from_text(named);
    let is_it = |one: &Enrolled| {
        Some(one.learner) == id || one.name.as_str().to_lowercase() == named.trim().to_lowercase()
    };
    let (found, others): (Vec<Enrolled>, Vec<Enrolled>) = learners.into_iter().partition(is_it);
    let name = printable(named);
    match found.as_slice() {
        [_] => Ok(found),
        [] => {
            let names: Vec<&str> = others.iter().map(|one| one.name.as_str()).collect();
            let what = format!("no learner is called {name:?}");
            let hint = format!("there are {}", printable(&names.join(", ")));
            Err(Failure::new(Kind::No, what, hint))
        }
        several => {
            let ids: Vec<String> = several.iter().map(|one| one.learner.to_string()).collect();
            let what = format!("{} learners are called {name:?}", several.len());
            let hint = format!("give one of their numbers: {}", ids.join(", "));
            Err(Failure::new(Kind::No, what, hint))
        }
    }
}

/// The decks that are here.
struct Decks {
    /// The one from which work is set.
    of_work: Deck,
    others: Vec<Deck>,
}

impl Decks {
    fn find(practice: &Practice, env: &Env) -> Result<Self, Failure> {
        let shelf = shelf_of(practice, env);
        let name = practice.deck.as_deref().unwrap_or(Path::new(PATH));
        let built_in = deck::built_in_ids().filter_map(deck::built_in_named);
        let installed = shelf.iter().flat_map(|shelf| {
            // One with faults is as if it were not there.
            shelf
                .ids()
                .into_iter()
                .filter_map(|id| shelf.deck(&id).ok())
        });
        Ok(Self {
            of_work: shelf::find(name, shelf.as_ref())?,
            others: built_in.chain(installed).collect(),
        })
    }

    /// The exercises by their skills, those of the deck from which work is set before others.
    fn exercises(&self) -> HashMap<&Skill, &Exercise> {
        let decks = self.others.iter().chain([&self.of_work]);
        let exercises = decks.flat_map(Deck::exercises);
        exercises
            .map(|exercise| (&exercise.skill, exercise))
            .collect()
    }
}

fn write(asked: &Report, report: &ClassReport) -> Result<(), Failure> {
    type Form = fn(&ClassReport) -> String;
    let forms: [Form; 3] = [html, csv, json];
    let mut n_written = 0;
    for (path, form) in asked.files().into_iter().zip(forms) {
        let Some(path) = path else { continue };
        n_written += 1;
        if is_standard(path) {
            print(&form(report))?;
            continue;
        }
        write_whole(path, form(report).as_bytes())?;
        if !asked.prints() {
            let n = match report.learners.len() {
                1 => "1 learner".to_owned(),
                n => format!("{n} learners"),
            };
            print(&format!("{}: report of {n}\n", shown(path)))?;
        }
    }
    if n_written == 0 {
        print(&text(report))
    } else {
        Ok(())
    }
}
