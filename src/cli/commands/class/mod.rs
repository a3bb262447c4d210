//! `contrapalma class`: what a teacher does with a class. One file a command.

mod collect;
mod folder;
mod material;
mod moments;
mod report;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::args::Practice;
use crate::cli::data_dir;
use crate::cli::failure::Failure;
use crate::world::Env;

/// `class`.
#[derive(Debug, Subcommand)]
pub(in crate::cli) enum Class {
    /// Make sounds, notes and sheets of a deck, for a room with a guitar
    Material(material::Material),
    /// Check hand-ins and take them into the class store, each whole or not at all
    Collect(collect::Collect),
    /// Say for each learner and exercise what is heard, confused, held and due, and what to set next
    Report(report::Report),
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
        Class::Report(asked) => {
            report::run(asked, practice, env)?;
            Ok(ExitCode::SUCCESS)
        }
    }
}

/// The file of the class store: the one that was named, or that among the data.
fn store_file(named: Option<&Path>, practice: &Practice, env: &Env) -> Result<PathBuf, Failure> {
    match named {
        Some(path) => Ok(path.to_owned()),
        None => Ok(data_dir(practice, env)?.join("class.db")),
    }
}
