//! `contrapalma class`: what a teacher does with a class. One file a command.

mod collect;
mod material;

use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::args::Practice;
use crate::cli::failure::Failure;
use crate::world::Env;

/// `class`.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum Class {
    /// Make sounds, notes and sheets of a deck, for a room with a guitar
    Material(material::Material),
    /// Check hand-ins and take them into the class store, each whole or not at all
    Collect(collect::Collect),
}

/// Does what is asked.
pub(in crate::cli) fn run(
    asked: &Class,
    practice: &Practice,
    env: &Env,
) -> Result<ExitCode, Failure> {
    match asked {
        Class::Material(asked) => {
            material::run(asked, practice, env)?;
            Ok(ExitCode::SUCCESS)
        }
        Class::Collect(asked) => collect::run(asked, practice, env),
    }
}
