//! `contrapalma class`: what a teacher does with a class. One file a command.

mod assign;
mod collect;
mod folder;
mod judge;
mod learners;
mod material;
mod moments;
mod place;
mod report;

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
    /// List learners, their numbers and groups, and who on a list has not handed in
    Learners(learners::Learners),
    /// Call a learner by a name of yours
    Call(learners::Call),
    /// Read a list of the class: CSV with the columns name and group
    Roster(learners::List),
    /// Make a group, put learners in and out, or list all groups
    Group(learners::Grouping),
    /// Set a deck to a group or a learner
    Assign(assign::Assign),
    /// List what is set
    Assignments(assign::Assignments),
    /// Write what is set to a file that learners open by `contrapalma assignment`
    HandOut(assign::HandOut),
    /// Take an assignment back
    Withdraw(assign::Withdraw),
    /// Note that you heard a skill of a learner live, or list such marks
    Heard(judge::Heard),
    /// List phrases whose label a learner doubts
    Disputes(judge::Disputes),
    /// Decide about a phrase whose label is doubted
    Judge(judge::Judge),
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
        Class::Report(asked) => report::run(asked, practice, env),
        Class::Collect(asked) => return collect::run(asked, practice, env),
        Class::Material(asked) => material::run(asked, practice, env),
        Class::Learners(asked) => learners::learners(asked, practice, env),
        Class::Call(asked) => learners::call(asked, practice, env),
        Class::Roster(asked) => learners::roster(asked, practice, env),
        Class::Group(asked) => learners::group(asked, practice, env),
        Class::Assign(asked) => assign::assign(asked, practice, env),
        Class::Assignments(asked) => assign::list(asked, practice, env),
        Class::HandOut(asked) => assign::hand_out(asked, practice, env),
        Class::Withdraw(asked) => assign::withdraw(asked, practice, env),
        Class::Heard(asked) => judge::heard(asked, practice, env),
        Class::Disputes(asked) => judge::disputes(asked, practice, env),
        Class::Judge(asked) => judge::judge(asked, practice, env),
    }?;
    Ok(ExitCode::SUCCESS)
}
