//! The command line: arguments in, exit code out.
//!
//! Read [`run`] first. `args` is the command line as typed, `commands/` has one file a command,
//! `plain` is the sitting in lines of text, and `failure` is the only place
//! that turns errors into words and exit codes: 0 done, 1 done and the answer is no, 2 the command
//! line is wrong, 3 the data is wrong, 4 the surroundings are wrong, 101 a bug; 128 and the number of
//! a signal that asked it to end.
//!
//! Only here is anything printed.

mod args;
mod commands;
mod failure;
mod learner;
mod lines;
mod plain;

use std::ffi::OsString;
use std::io::{self, Write as _};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser as _;
use clap::error::ErrorKind;

use crate::app::Intent;
use crate::app::tune_up::Step;
use crate::deck::{self, Deck};
use crate::label::harmless;
use crate::rhythm::Counting;
use crate::store::Store;
use crate::tui::Ending;
use crate::world::{Env, Moment, Seed};

use args::{Cli, Command, Keep, Plain, Practice};
use commands::listen::Then;
use commands::shelf::Shelf;
use failure::{Failure, Kind};

/// Runs the program with these arguments in this environment.
pub fn run(args: impl IntoIterator<Item = OsString>, env: &Env) -> ExitCode {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(error) => return usage(&error),
    };
    match perform(cli, env) {
        Ok(code) => code,
        Err(failure) => {
            failure.tell();
            ExitCode::from(failure.kind.code())
        }
    }
}

/// Prints help, the version, or what is wrong with the command line.
fn usage(error: &clap::Error) -> ExitCode {
    // What was typed is quoted in it, and may hold what would drive a terminal.
    let mut text = String::new();
    for line in error.render().to_string().lines() {
        text.push_str(&harmless(line));
        text.push('\n');
    }
    let asked_for = matches!(
        error.kind(),
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion
    );
    // Nothing more can be done when nobody reads it.
    if asked_for {
        drop(io::stdout().lock().write_all(text.as_bytes()));
        ExitCode::SUCCESS
    } else {
        drop(io::stderr().lock().write_all(text.as_bytes()));
        ExitCode::from(Kind::Usage.code())
    }
}

fn perform(cli: Cli, env: &Env) -> Result<ExitCode, Failure> {
    let practice = &cli.practice;
    greet(&cli, env);
    let bell = Intent::TuneUp(Step::Bell);
    let (first, is_plain) = match cli.command {
        None => (None, false),
        Some(Command::Sit(asked)) => {
            let deck = deck_of(practice, env)?;
            return commands::sit::run(deck, &asked, practice, env).map(code_of);
        }
        Some(Command::Progress(form)) => {
            let deck = deck_of(practice, env)?;
            commands::progress::run(deck, &form, practice, env)?;
            return Ok(ExitCode::SUCCESS);
        }
        Some(Command::Bench) => (Some(Intent::ToBench), false),
        Some(Command::TuneUp(Plain { plain })) => (Some(bell), plain),
        Some(Command::Decks { asked }) => return commands::decks::run(&asked, practice, env),
        Some(Command::Class { asked }) => return commands::class::run(&asked, practice, env),
        Some(Command::Phrase(asked)) => {
            let deck = deck_of(practice, env)?;
            commands::phrase::run(&deck, &asked, seed_of(practice)?)?;
            return Ok(ExitCode::SUCCESS);
        }
        Some(Command::Assignment(asked)) => {
            commands::assignment::run(&asked, &cli.practice, env)?;
            return Ok(ExitCode::SUCCESS);
        }
        Some(Command::HandIn(asked)) => {
            return commands::hand_in::run(&asked, &cli.practice, env);
        }
        Some(Command::Keep { asked }) => {
            commands::keep::run(&asked, &cli.practice, env)?;
            return Ok(ExitCode::SUCCESS);
        }
        Some(Command::Listen(asked)) => {
            let deck = deck_of(practice, env)?;
            if commands::listen::marks(&asked, practice, env)? == Then::Nothing {
                return Ok(ExitCode::SUCCESS);
            }
            return match commands::listen::to_look_at(&asked)? {
                Some(source) => {
                    commands::practise::recording(deck, practice, env, source).map(code_of)
                }
                None => commands::listen::run(&asked, practice, env),
            };
        }
    };
    let deck = deck_of(practice, env)?;
    match first {
        Some(first) if is_plain => {
            commands::practise::plain(deck, practice, env, first)?;
            Ok(ExitCode::SUCCESS)
        }
        first => commands::practise::screen(deck, practice, env, first).map(code_of),
    }
}

/// Says that somebody new begins, before anything that gives them a folder.
fn greet(cli: &Cli, env: &Env) {
    // These are the teacher's, or only look.
    let makes_none = matches!(
        cli.command,
        Some(
            Command::Decks { .. }
                | Command::Class { .. }
                | Command::Phrase(_)
                | Command::Progress(_)
                | Command::Keep {
                    asked: Keep::Learners
                }
        )
    );
    if let (Some(one), Ok(data)) = (&cli.practice.practises, shared_dir(&cli.practice, env))
        && !makes_none
        && let Some(greeting) = learner::greeting(one, &data)
    {
        commands::write::warn(&greeting);
    }
}

/// The shell's convention for a program that a signal ended is 128 and the signal's number.
fn code_of(ending: Ending) -> ExitCode {
    match ending {
        Ending::Left => ExitCode::SUCCESS,
        Ending::Signal(signal) => ExitCode::from(u8::try_from(128 + signal).unwrap_or(u8::MAX)),
    }
}

/// The deck that is practised.
fn deck_of(practice: &Practice, env: &Env) -> Result<Deck, Failure> {
    let deck = match &practice.deck {
        None => deck::built_in(),
        Some(name) => commands::shelf::find(name, shelf_of(practice, env).as_ref())?,
    };
    Ok(deck.through(practice.speakers()))
}

/// The decks that were installed; `None` where there is no place for data.
fn shelf_of(practice: &Practice, env: &Env) -> Option<Shelf> {
    let data = data_dir(practice, env).ok()?;
    Some(Shelf::of(&data))
}

/// How the learner of the store counts; `None` where they settled nothing, there is no store, or it
/// cannot be opened now.
fn counting_of(practice: &Practice, env: &Env) -> Option<Counting> {
    let data = data_dir(practice, env).ok()?;
    // Looking at something makes no store.
    if !data.join("practice.db").is_file() {
        return None;
    }
    let store = Store::open(&data, Seed(0), Moment(0)).ok()?;
    store.settings().ok()?.counting
}

fn seed_of(practice: &Practice) -> Result<Seed, Failure> {
    match practice.seed {
        Some(seed) => Ok(Seed(seed)),
        None => Seed::from_system()
            .map_err(|error| Failure::new(Kind::Surroundings, error, "give a number by --seed")),
    }
}

/// From what a store that is made now draws its number. `--seed` has no say in it: two learners who
/// were given the same seed would have the same number, and their attempts the same names.
fn identity_seed() -> Result<Seed, Failure> {
    Seed::from_system().map_err(|error| Failure::new(Kind::Surroundings, error, "try again"))
}

/// Where the data of who practises is kept.
fn data_dir(practice: &Practice, env: &Env) -> Result<PathBuf, Failure> {
    let all = shared_dir(practice, env)?;
    let one = practice.practises.as_ref();
    Ok(one.map_or_else(|| all.clone(), |one| one.place(&all)))
}

/// Where data is kept, whoever practises.
fn shared_dir(practice: &Practice, env: &Env) -> Result<PathBuf, Failure> {
    let found = practice.data.clone().or_else(|| env.data_dir.clone());
    found.ok_or_else(|| {
        Failure::new(
            Kind::Surroundings,
            "no place for data: neither HOME nor XDG_DATA_HOME is set",
            "give a folder by --data, or set CONTRAPALMA_DATA",
        )
    })
}
