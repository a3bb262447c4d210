//! `contrapalma class report`: what the practice of a class came to, and its worst moments as sounds.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use clap::Args;

use super::moments;
use super::place::{Place, no_group, there_are};
use crate::app::Course;
use crate::app::class::{Whose, class_report, syllabus};
use crate::class::hand_in::LearnerId;
use crate::class::roster::Roster;
use crate::cli::args::{Practice, label};
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::shelf;
use crate::cli::commands::write::{is_standard, print, refuse_foreign, write_whole};
use crate::cli::failure::{Failure, Kind};
use crate::cli::shelf_of;
use crate::deck::{self, Deck, Exercise};
use crate::label::{Label, printable};
use crate::quiz::Skill;
use crate::report::class::{ClassReport, Form, text};
use crate::store::{ClassStore, Enrolled};
use crate::world::{Calendar, Env};

/// `class report`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Report {
    /// Of one learner alone, by name or number
    #[arg(long, value_name = "NAME|NUMBER")]
    learner: Option<String>,
    /// Of those in one group
    #[arg(long, value_name = "NAME", value_parser = label, conflicts_with = "learner")]
    group: Option<Label>,
    /// Write it to this HTML file, to look at and to print; - is standard output
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write it to this CSV file, one row for each learner and exercise; - is standard output
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write it to this JSON file; - is standard output
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Write over files that are there and are no such reports
    #[arg(long)]
    replace: bool,
    /// Make up to three misses of each learner again, under the claps that were made, as WAV files in
    /// this folder, which is not there yet or empty
    #[arg(long, value_name = "FOLDER")]
    moments: Option<PathBuf>,
    /// Play the first, second or third of the learner's misses that are worth hearing again, under the
    /// claps that were made; ctrl-c ends it
    #[arg(long, value_name = "N", requires = "learner",
          conflicts_with_all = ["html", "csv", "json", "moments"],
          value_parser = clap::value_parser!(u8).range(1..=3))]
    hear: Option<u8>,
    #[command(flatten)]
    place: Place,
}

/// Work is set from this deck where no other is named.
const PATH: &str = "path";

/// Makes the report and writes it as asked; as text where no other form is.
pub(super) fn run(asked: &Report, practice: &Practice, env: &Env) -> Result<(), Failure> {
    only_one_to_standard_output(asked)?;
    refuse_foreign_files(asked)?;
    let (today, _) = Calendar::default().day_of(clock_of(env)?.now());
    // A report of nothing makes no store.
    let store = asked.place.open_kept(practice, env)?;
    let whose = whose(asked, &store)?;
    let decks = Decks::find(&store, practice, env)?;
    let course = Course::new(decks.of_work.clone());
    let known = syllabus(&course, &decks.others);
    let deck = (today, course.title_of_deck());
    let mut report = class_report(&store, &whose, &known, deck)?;
    // Others may use it while somebody listens.
    drop(store);
    if let Some(number) = asked.hear {
        return moments::hear(&report, number, &decks.exercises(), (practice, env));
    }
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
    fn files(&self) -> impl Iterator<Item = (&Path, Form)> {
        let files = [
            (&self.html, Form::Html),
            (&self.csv, Form::Csv),
            (&self.json, Form::Json),
        ];
        let files = files.into_iter();
        files.filter_map(|(path, form)| Some((path.as_deref()?, form)))
    }

    /// Whether a form that is no text for people goes to standard output.
    fn prints(&self) -> bool {
        self.files().any(|(path, _)| is_standard(path))
    }
}

fn shown(path: &Path) -> String {
    printable(&path.display().to_string())
}

fn only_one_to_standard_output(asked: &Report) -> Result<(), Failure> {
    let standard = asked.files().filter(|(path, _)| is_standard(path));
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

/// Before anything is made: a file that is no such report may be somebody's work.
fn refuse_foreign_files(asked: &Report) -> Result<(), Failure> {
    for (path, form) in asked.files() {
        if !asked.replace && !is_standard(path) {
            refuse_foreign(path, form.name(), |head| form.begins(head))?;
        }
    }
    Ok(())
}

fn whose(asked: &Report, store: &ClassStore) -> Result<Whose, Failure> {
    match (&asked.learner, &asked.group) {
        (Some(named), _) => learner(&store.learners()?, named).map(Whose::Learner),
        (None, Some(name)) => group(&store.roster()?, name).map(Whose::Group),
        (None, None) => Ok(Whose::All),
    }
}

/// The learner of this number or name; capitals do not matter.
fn learner(learners: &[Enrolled], named: &str) -> Result<LearnerId, Failure> {
    let id = LearnerId::from_text(named);
    let is_it = |one: &&Enrolled| {
        Some(one.learner) == id || one.name.folded() == named.trim().to_lowercase()
    };
    let found: Vec<&Enrolled> = learners.iter().filter(is_it).collect();
    let name = printable(named);
    match found.as_slice() {
        [one] => Ok(one.learner),
        [] => {
            let names = learners.iter().map(|one| one.name.as_str());
            let what = format!("no learner is called {name:?}");
            Err(Failure::new(Kind::No, what, there_are(names)))
        }
        several => {
            let ids: Vec<String> = several.iter().map(|one| one.learner.to_string()).collect();
            let what = format!("{} learners are called {name:?}", several.len());
            let hint = format!("give one of their numbers: {}", ids.join(", "));
            Err(Failure::new(Kind::No, what, hint))
        }
    }
}

/// The group of this name.
fn group(roster: &Roster, named: &Label) -> Result<Label, Failure> {
    match roster.group(named) {
        Some(group) => Ok(group.name.clone()),
        None => Err(no_group(roster, named).told_as(Kind::No)),
    }
}

/// The decks that are here.
pub(super) struct Decks {
    /// The one from which work is set.
    of_work: Deck,
    others: Vec<Deck>,
}

impl Decks {
    /// Those that come with the program, that are installed, and those that only the store has, since they
    /// were set.
    pub(super) fn find(
        store: &ClassStore,
        practice: &Practice,
        env: &Env,
    ) -> Result<Self, Failure> {
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
        let mut others: Vec<Deck> = built_in.chain(installed).collect();
        for (id, text) in store.set_decks()? {
            if others.iter().all(|deck| deck.id() != id) {
                others.extend(deck::parse_tried(&text));
            }
        }
        Ok(Self {
            of_work: shelf::find(name, shelf.as_ref())?,
            others,
        })
    }

    /// The exercises by their skills, those of the deck from which work is set before others.
    pub(super) fn exercises(&self) -> HashMap<&Skill, &Exercise> {
        let decks = self.others.iter().chain([&self.of_work]);
        let exercises = decks.flat_map(Deck::exercises);
        exercises
            .map(|exercise| (&exercise.skill, exercise))
            .collect()
    }
}

fn write(asked: &Report, report: &ClassReport) -> Result<(), Failure> {
    let mut n_written = 0;
    for (path, form) in asked.files() {
        n_written += 1;
        write_whole(path, form.of(report).as_bytes())?;
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
