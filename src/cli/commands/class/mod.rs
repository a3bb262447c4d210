//! `contrapalma class`: what a teacher takes to class.

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
}

/// Does what is asked.
pub(in crate::cli) fn run(
    asked: &Class,
    practice: &Practice,
    env: &Env,
) -> Result<ExitCode, Failure> {
    match asked {
        Class::Material(asked) => material::run(asked, practice, env)?,
    }
    Ok(ExitCode::SUCCESS)
}
