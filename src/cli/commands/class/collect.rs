//! `contrapalma class collect`: hand-ins into the class store.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use serde_json::{Value, json};

use super::place::Place;
use crate::class::hand_in::Reading;
use crate::cli::args::Practice;
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::write::{print, read_hand_in};
use crate::cli::failure::{Failure, Kind};
use crate::label::harmless;
use crate::report::class::csv_field;
use crate::store::{ClassStore, CollectError, Collected, Kin};
use crate::world::{Env, Moment};

/// `class collect`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Collect {
    /// Hand-ins, or folders of them
    #[arg(value_name = "FILE|FOLDER", required = true)]
    from: Vec<PathBuf>,
    #[command(flatten)]
    place: Place,
    /// Where two learners have practised on one machine, they are one
    #[arg(long)]
    same_learner: bool,
    /// Print one JSON object a file, each on a line
    #[arg(long, group = "form")]
    json: bool,
    /// Print CSV, one row a file
    #[arg(long, group = "form")]
    csv: bool,
}

/// In which form it is said what came of each file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Text,
    Json,
    Csv,
}

/// Takes every hand-in, and says of each what came of it.
pub(super) fn run(asked: &Collect, practice: &Practice, env: &Env) -> Result<ExitCode, Failure> {
    let now = clock_of(env)?.now();
    let found = find(&asked.from)?;
    let mut store = asked.place.open(practice, env)?;
    let form = match (asked.json, asked.csv) {
        (true, _) => Form::Json,
        (_, true) => Form::Csv,
        _ => Form::Text,
    };
    if form == Form::Csv {
        print("file,outcome,learner,name,new,known,missing,refused\n")?;
    }
    let kin = if asked.same_learner {
        Kin::One
    } else {
        Kin::Two
    };
    let (mut n_taken, mut n_new, mut n_refused) = (0_u32, 0_u64, 0_u32);
    for file in &found.files {
        let name = harmless(&file.display().to_string());
        let outcome = take(&mut store, file, now, kin)?.map_err(|why| harmless(&why));
        match &outcome {
            Ok(collected) => {
                n_taken += 1;
                n_new += collected.n_new;
            }
            Err(_) => n_refused += 1,
        }
        print(&match form {
            Form::Text => in_words(&name, &outcome),
            Form::Json => format!("{}\n", object(&name, &outcome)),
            Form::Csv => row(&name, &outcome),
        })?;
    }
    if form == Form::Text {
        print(&format!(
            "{n_taken} taken with {}, {n_refused} refused; {}\n",
            new_attempts(n_new),
            found.passed_over()
        ))?;
    }
    let code = if n_refused > 0 { Kind::No.code() } else { 0 };
    Ok(ExitCode::from(code))
}

/// Takes one file, or says why not. Only a store that fails ends everything.
fn take(
    store: &mut ClassStore,
    file: &Path,
    now: Moment,
    kin: Kin,
) -> Result<Result<Collected, String>, Failure> {
    let bytes = match read_hand_in(file) {
        Ok(Ok(bytes)) => bytes,
        Ok(Err(refusal)) => return Ok(Err(refusal.to_string())),
        Err(failure) => return Ok(Err(failure.what())),
    };
    let reading = match Reading::new(&bytes, now) {
        Ok(reading) => reading,
        Err(refusal) => return Ok(Err(refusal.to_string())),
    };
    match store.collect(reading, kin) {
        Ok(collected) => Ok(Ok(collected)),
        Err(CollectError::Store(error)) => Err(error.into()),
        Err(error @ CollectError::Whose { .. }) => Ok(Err(format!(
            "{error}; if both are one learner, collect it with --same-learner"
        ))),
        Err(error) => Ok(Err(error.to_string())),
    }
}

/// What came of a file: what was taken, or why it was refused.
type Outcome = Result<Collected, String>;

fn in_words(name: &str, outcome: &Outcome) -> String {
    match outcome {
        Ok(collected) => taken(name, collected),
        Err(why) => format!("{name}: refused: {why}\n"),
    }
}

fn object(name: &str, outcome: &Outcome) -> Value {
    match outcome {
        Ok(collected) => json!({
            "file": name,
            "outcome": "taken",
            "learner": collected.learner.to_string(),
            "name": collected.name.as_str(),
            "new": collected.n_new,
            "known": collected.n_known,
            "missing": collected.n_missing,
        }),
        Err(why) => json!({ "file": name, "outcome": "refused", "refused": why }),
    }
}

fn row(name: &str, outcome: &Outcome) -> String {
    let name = csv_field(name);
    match outcome {
        Ok(collected) => {
            let (learner, who) = (collected.learner, csv_field(collected.name.as_str()));
            let Collected {
                n_new,
                n_known,
                n_missing,
                ..
            } = collected;
            format!("{name},taken,{learner},{who},{n_new},{n_known},{n_missing},\n")
        }
        Err(why) => format!("{name},refused,,,,,,{}\n", csv_field(why)),
    }
}

fn taken(name: &str, collected: &Collected) -> String {
    let missing = match collected.n_missing {
        0 => String::new(),
        n => format!("; {n} of earlier hand-ins are missing, ask for `contrapalma hand-in --all`"),
    };
    format!(
        "{name}: {} ({}): {}, {} already known{missing}\n",
        collected.name,
        collected.learner,
        new_attempts(collected.n_new),
        collected.n_known
    )
}

fn new_attempts(n: u64) -> String {
    let noun = if n == 1 { "attempt" } else { "attempts" };
    format!("{n} new {noun}")
}

/// What was found to collect.
struct Found {
    files: Vec<PathBuf>,
    /// Files in folders that are not named as hand-ins are.
    others: Vec<PathBuf>,
}

impl Found {
    /// What was passed over: how many, and the first few by name, so that a hand-in that was named anew
    /// shows.
    fn passed_over(&self) -> String {
        const SHOWN: usize = 5;
        let n = self.others.len();
        let noun = if n == 1 { "file" } else { "files" };
        let names = self.others.iter().take(SHOWN);
        let names: Vec<String> = names
            .map(|path| path.file_name().unwrap_or_default().display().to_string())
            .collect();
        let more = match n.saturating_sub(SHOWN) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        match n {
            0 => "0 other files passed over".to_owned(),
            _ => harmless(&format!(
                "{n} other {noun} passed over, whose names do not end in .gz: {}{more}",
                names.join(", ")
            )),
        }
    }
}

fn find(from: &[PathBuf]) -> Result<Found, Failure> {
    let mut found = Found {
        files: Vec::new(),
        others: Vec::new(),
    };
    for path in from {
        if path.is_dir() {
            look_through(path, &mut found).map_err(|error| Failure::file(path, &error))?;
        } else {
            found.files.push(path.clone());
        }
    }
    Ok(found)
}

/// Takes the files of a folder whose names end in `.gz`, in capitals or not, in the order of their
/// names; those below it are left alone.
fn look_through(folder: &Path, found: &mut Found) -> std::io::Result<()> {
    let (mut files, mut others) = (Vec::new(), Vec::new());
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let ending = path.extension();
        if ending.is_some_and(|ending| ending.eq_ignore_ascii_case("gz")) && path.is_file() {
            files.push(path);
        } else {
            others.push(path);
        }
    }
    files.sort();
    others.sort();
    found.files.append(&mut files);
    found.others.append(&mut others);
    Ok(())
}
