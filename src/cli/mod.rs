//! The command line: arguments in, exit code out.
//!
//! Read [`run`] first. `args` is the command line as typed, `commands/` has one file a command,
//! `plain` is the sitting in lines of text and `tell` what it says, and `failure` is the only place
//! that turns errors into words and exit codes: 0 done, 1 done and the answer is no, 2 the command
//! line is wrong, 3 the data is wrong, 4 the surroundings are wrong, 101 a bug; 128 and the number of
//! a signal that asked it to end.
//!
//! Only here is anything printed.

mod args;
mod commands;
mod failure;
mod lines;
mod plain;
mod tell;

use std::ffi::OsString;
use std::fs::File;
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser as _;
use clap::error::ErrorKind;

use crate::app::Intent;
use crate::app::tune_up::Step;
use crate::deck::{self, Deck};
use crate::label::harmless;
use crate::tui::Ending;
use crate::world::{Env, Seed};

use args::{Cli, Command, Plain, Practice};
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
    let deck = deck_of(&cli.practice)?;
    let bell = Intent::TuneUp(Step::Bell);
    let (first, is_plain) = match cli.command {
        None => (None, false),
        Some(Command::Sit(Plain { plain })) => (Some(Intent::Begin), plain),
        Some(Command::Bench) => (Some(Intent::ToBench), false),
        Some(Command::TuneUp(Plain { plain })) => (Some(bell), plain),
        Some(Command::Phrase(asked)) => {
            commands::phrase::run(&deck, &asked, seed_of(&cli.practice)?)?;
            return Ok(ExitCode::SUCCESS);
        }
        Some(Command::HandIn(asked)) => {
            return commands::hand_in::run(&asked, &cli.practice, env);
        }
        Some(Command::Keep(asked)) => {
            commands::keep::run(&asked, &cli.practice, env)?;
            return Ok(ExitCode::SUCCESS);
        }
        Some(Command::Class(asked)) => return commands::class::run(&asked, &cli.practice, env),
        Some(Command::Listen(asked)) => {
            return match commands::listen::to_look_at(&asked)? {
                Some(source) => {
                    commands::practise::recording(deck, &cli.practice, env, source).map(code_of)
                }
                None => commands::listen::run(&asked),
            };
        }
    };
    match first {
        Some(first) if is_plain => {
            commands::practise::plain(deck, &cli.practice, env, first)?;
            Ok(ExitCode::SUCCESS)
        }
        first => commands::practise::screen(deck, &cli.practice, env, first).map(code_of),
    }
}

/// The shell's convention for a program that a signal ended is 128 and the signal's number.
fn code_of(ending: Ending) -> ExitCode {
    match ending {
        Ending::Left => ExitCode::SUCCESS,
        Ending::Signal(signal) => ExitCode::from(u8::try_from(128 + signal).unwrap_or(u8::MAX)),
    }
}

fn deck_of(practice: &Practice) -> Result<Deck, Failure> {
    let named = |path: &PathBuf| path.to_str().and_then(deck::built_in_named);
    let deck = match &practice.deck {
        None => deck::built_in(),
        Some(path) => match named(path) {
            Some(deck) => deck,
            None => {
                let text = read_text(path)?;
                deck::parse(&text).map_err(|faults| Failure::deck(path, &faults))?
            }
        },
    };
    Ok(deck.through(practice.speakers()))
}

fn read_text(path: &Path) -> Result<String, Failure> {
    const LARGEST: u64 = 256 << 10;
    let mut bytes = Vec::new();
    // A device or a pipe does not say how much it holds, so that only reading can tell.
    let read = File::open(path).and_then(|file| file.take(LARGEST + 1).read_to_end(&mut bytes));
    read.map_err(|error| Failure::file(path, &error))?;
    if u64::try_from(bytes.len()).is_ok_and(|size| size > LARGEST) {
        let what = format!(
            "{}: more than {LARGEST} bytes; a deck has at most so many",
            path.display()
        );
        return Err(Failure::new(Kind::Data, what, "check that this is a deck"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let place = error.utf8_error().valid_up_to();
        let what = format!(
            "{}: byte {} is no UTF-8; a deck is UTF-8 text",
            path.display(),
            place + 1
        );
        Failure::new(Kind::Data, what, "save the deck as UTF-8 text")
    })
}

fn seed_of(practice: &Practice) -> Result<Seed, Failure> {
    match practice.seed {
        Some(seed) => Ok(Seed(seed)),
        None => Seed::from_system()
            .map_err(|error| Failure::new(Kind::Surroundings, error, "give a number by --seed")),
    }
}

/// Where data is kept.
fn data_dir(practice: &Practice, env: &Env) -> Result<PathBuf, Failure> {
    let found = practice.data.clone().or_else(|| env.data_dir.clone());
    found.ok_or_else(|| {
        Failure::new(
            Kind::Surroundings,
            "no place for data: neither HOME nor XDG_DATA_HOME is set",
            "give a folder by --data, or set CONTRAPALMA_DATA",
        )
    })
}
