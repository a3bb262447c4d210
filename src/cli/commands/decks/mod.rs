//! `contrapalma decks`: what a teacher does with decks before anybody practises them.

mod check;
mod list;
mod passages;
mod show;

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand};

use super::shelf::{Placed, Shelf, read_text};
use super::write::{counted, is_standard, print, write_new};
use crate::cli::args::{Practice, decibels};
use crate::cli::data_dir;
use crate::cli::failure::{Failure, Kind};
use crate::deck::{self, is_id};
use crate::label::printable;
use crate::world::Env;

/// `decks`.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum Decks {
    /// Say everything that is wrong with decks, or what they hold
    Check {
        /// The decks
        #[arg(value_name = "FILE", required = true)]
        files: Vec<PathBuf>,
    },
    /// Write a commented start of a deck
    New {
        /// Where to; never over a file that is there [default: standard output]
        #[arg(value_name = "FILE")]
        file: Option<PathBuf>,
    },
    /// List the decks that come with the program and those that were installed
    List(List),
    /// Say what the exercises of a deck are, or let one be heard
    Show(Show),
    /// Keep a copy of a deck in the data folder, so that --deck ID finds it
    Install {
        /// The deck
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Take an installed deck away; what was practised stays
    Remove {
        /// The deck, by its id
        #[arg(value_name = "ID")]
        id: String,
        /// Let the passages go that you cut from recordings, which nothing brings back
        #[arg(long)]
        with_passages: bool,
    },
    /// Print a JSON Schema of the deck format, for editors
    Schema,
}

/// `decks list`.
#[derive(Debug, Args)]
pub(in crate::cli) struct List {
    /// Print one JSON object a deck, each on a line
    #[arg(long, group = "form")]
    json: bool,
    /// Print CSV, one row a deck
    #[arg(long, group = "form")]
    csv: bool,
}

/// `decks show`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Show {
    /// The deck, by its id, or a file
    #[arg(value_name = "ID|FILE")]
    deck: PathBuf,
    /// Play how one question of this exercise sounds; ctrl-c ends it
    #[arg(long, value_name = "EXERCISE")]
    hear: Option<String>,
    /// Write it to this WAV file instead
    #[arg(long, value_name = "FILE", requires = "hear")]
    wav: Option<PathBuf>,
    /// How strong the cues of --hear are, in decibels [default: the exercise's criterion]
    #[arg(long, value_name = "DB", requires = "hear", value_parser = decibels)]
    level: Option<f64>,
}

/// Does what is asked.
pub(in crate::cli) fn run(
    asked: &Decks,
    practice: &Practice,
    env: &Env,
) -> Result<ExitCode, Failure> {
    // A deck in a file is shown without a place for data, too.
    let shelf = data_dir(practice, env).map(|data| Shelf::of(&data));
    match asked {
        Decks::Check { files } => return check::run(files, shelf.ok().as_ref()),
        Decks::New { file } => new(file.as_deref())?,
        Decks::List(asked) => list::run(asked, shelf.ok().as_ref())?,
        Decks::Show(asked) => match &asked.hear {
            Some(exercise) => show::hear(exercise, asked, shelf.ok().as_ref(), practice, env)?,
            None => show::run(asked, shelf.ok().as_ref(), practice, env)?,
        },
        Decks::Install { file } => install(file, &shelf?)?,
        Decks::Remove { id, with_passages } => {
            let shelf = shelf?;
            if !with_passages {
                refuse_passages(id, &shelf)?;
            }
            remove(id, &shelf)?;
        }
        Decks::Schema => print(&deck::schema())?,
    }
    Ok(ExitCode::SUCCESS)
}

fn new(file: Option<&Path>) -> Result<(), Failure> {
    const ID: &str = "my-deck";
    let Some(path) = file.filter(|path| !is_standard(path)) else {
        return print(&deck::start(ID));
    };
    // Named as the file is, where that makes an id that is free.
    let stem = path.file_stem().and_then(OsStr::to_str);
    let id = stem.filter(|stem| is_id(stem) && is_free(stem));
    write_new(path, deck::start(id.unwrap_or(ID)).as_bytes())?;
    let name = printable(&path.display().to_string());
    print(&format!(
        "{name}: a start of a deck, to be changed as you like; `contrapalma decks check` says what \
         is wrong with it\n"
    ))
}

fn is_free(id: &str) -> bool {
    !deck::built_in_ids().any(|known| known == id)
}

fn install(file: &Path, shelf: &Shelf) -> Result<(), Failure> {
    let text = read_text(file)?;
    let deck = deck::parse(&text).map_err(|faults| Failure::deck(file, &faults))?;
    let id = deck.id();
    if !is_free(id) {
        let what = format!(
            "{}: found the id {id:?}; expected one that no deck of the program has",
            file.display()
        );
        let hint = "change the id on top of the deck; nothing was changed";
        return Err(Failure::new(Kind::No, what, hint));
    }
    if id == deck::OWN_RECORDINGS {
        let what = format!(
            "{}: found the id {id:?}, under which your own recordings are kept; expected another",
            file.display()
        );
        let hint = "change the id on top of the deck; nothing was changed";
        return Err(Failure::new(Kind::No, what, hint));
    }
    let done = match shelf.install(id, &text)? {
        Placed::New => "installed",
        Placed::Replaced => "installed in place of the one before; what was practised stays",
        Placed::Same => "installed already, and the same",
    };
    print(&format!("{id}, {}: {done}\n", deck.title()))
}

/// What was cut lies in this deck and nowhere else.
fn refuse_passages(id: &str, shelf: &Shelf) -> Result<(), Failure> {
    if id != deck::OWN_RECORDINGS {
        return Ok(());
    }
    let text = read_text(&shelf.path(id)).unwrap_or_default();
    let n = text.lines().filter(|line| *line == "[[passage]]").count();
    if n == 0 {
        return Ok(());
    }
    let passages = counted(n, "passage", "passages");
    let what = format!("{id}: found {passages} that you cut from recordings; nothing was removed");
    let hint = "--with-passages removes the deck and all of them, which nothing brings back";
    Err(Failure::new(Kind::No, what, hint))
}

fn remove(id: &str, shelf: &Shelf) -> Result<(), Failure> {
    let shown = printable(id);
    if !is_free(id) {
        let what = format!("{shown}: a deck of the program; expected one that was installed");
        return Err(Failure::new(
            Kind::Usage,
            what,
            "decks of the program stay; there is nothing to remove",
        ));
    }
    if is_id(id) && shelf.remove(id)? {
        return print(&format!("{id}: removed; what was practised stays\n"));
    }
    let hint = match shelf.ids().as_slice() {
        [] => "none is installed".to_owned(),
        ids => format!("installed are {}", ids.join(", ")),
    };
    let what = format!("{shown:?}: no deck of this id is installed");
    Err(Failure::new(Kind::Usage, what, hint))
}
