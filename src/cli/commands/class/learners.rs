//! `contrapalma class learners`, `call`, `roster` and `group`: who they are and in which group.

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::place::{Place, group_of, no_group, who};
use crate::class::hand_in::LearnerId;
use crate::class::roster::{Group, LONGEST_LIST, Line, Meant, Roster, read_list};
use crate::cli::args::{Practice, label};
use crate::cli::commands::form::Form;
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::write::{counted, print, warn};
use crate::cli::failure::{Failure, Kind};
use crate::label::{Label, harmless, name_order};
use crate::store::ClassStore;
use crate::world::Env;

/// `class learners`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Learners {
    /// Only those of this group
    #[arg(long, value_name = "GROUP", value_parser = label)]
    group: Option<Label>,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    place: Place,
}

/// `class call`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Call {
    /// The learner, by number or name
    #[arg(value_name = "LEARNER")]
    learner: String,
    /// What you call them
    #[arg(value_name = "NAME", value_parser = label, required_unless_present = "own")]
    name: Option<Label>,
    /// As they call themselves
    #[arg(long, conflicts_with = "name")]
    own: bool,
    #[command(flatten)]
    place: Place,
}

/// `class roster`.
#[derive(Debug, Args)]
pub(in crate::cli) struct List {
    /// The list, with the columns name and group
    #[arg(value_name = "CSV")]
    file: PathBuf,
    #[command(flatten)]
    place: Place,
}

/// `class group`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Grouping {
    /// The group; alone, its learners are counted; without one, all are listed
    #[arg(value_name = "GROUP", value_parser = label)]
    group: Option<Label>,
    /// Make it, with nobody in it yet
    #[arg(long, requires = "group", conflicts_with = "disband")]
    new: bool,
    /// Put a learner in, by number or name; a group that is not there yet is made
    #[arg(long, value_name = "LEARNER", requires = "group")]
    put: Vec<String>,
    /// Put a learner out, by number or name, or a name of its list
    #[arg(long, value_name = "LEARNER", requires = "group")]
    out: Vec<String>,
    /// Take the group away; its learners stay
    #[arg(long, requires = "group", conflicts_with_all = ["put", "out"])]
    disband: bool,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    place: Place,
}

/// Lists learners, and behind them the names under which nobody has handed in.
pub(super) fn learners(asked: &Learners, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let store = asked.place.open_to_look(practice, env)?;
    let (roster, own) = (store.roster()?, store.own_names()?);
    let wanted = asked.group.as_ref();
    let wanted = wanted.map(|name| group_of(&roster, name)).transpose()?;
    let wanted = wanted.map(|group| &group.name);
    let is_asked = |groups: &[Label]| wanted.is_none_or(|wanted| groups.contains(wanted));
    let mut rows = Vec::new();
    let mut all = store.learners()?;
    all.sort_by_cached_key(|one| name_order(one.name.as_str()));
    for one in all {
        let groups = roster.groups_of(one.learner);
        if is_asked(groups) {
            let calls = own.get(&one.learner).map(Label::as_str);
            rows.push(vec![
                json!(one.name.as_str()),
                json!(one.learner.to_string()),
                names(groups),
                json!(one.n_attempts),
                json!(one.n_missing),
                json!(calls),
            ]);
        }
    }
    let groups = roster.groups().chain(roster.without_group());
    for group in groups.filter(|group| is_asked(std::slice::from_ref(&group.name))) {
        rows.extend(
            group
                .awaited
                .iter()
                .map(|name| awaited(name, group, "not handed in yet")),
        );
        rows.extend(
            group
                .unclear
                .iter()
                .map(|name| awaited(name, group, "several by this name")),
        );
    }
    let columns = [
        "name", "number", "groups", "attempts", "missing", "own_name",
    ];
    let nothing = "No learners: `class collect` takes hand-ins, `class roster` reads a list.";
    asked.form.print(&columns, &rows, nothing)
}

fn names(groups: &[Label]) -> Value {
    groups.iter().map(|group| json!(group.as_str())).collect()
}

/// A name on a list that stands for no learner, and why.
fn awaited(name: &Label, group: &Group, why: &str) -> Vec<Value> {
    let groups = json!([group.name.as_str()]);
    vec![
        json!(name.as_str()),
        json!(why),
        groups,
        json!(0),
        json!(0),
        Value::Null,
    ]
}

/// Calls a learner by another name.
pub(super) fn call(asked: &Call, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let now = clock_of(env)?.now();
    let mut store = asked.place.open(practice, env)?;
    let before = store.roster()?;
    let learner = who(&store, &before, &asked.learner)?;
    store.call(learner, asked.name.as_ref(), now)?;
    let learners = store.learners()?;
    let called = learners.iter().find(|one| one.learner == learner);
    let name = called.map_or_else(String::new, |called| called.name.to_string());
    print(&format!("{learner} is called {name}\n"))?;
    // A list that has the name of before may have stood for nobody but this learner.
    let roster = store.roster()?;
    let left = before.groups_of(learner).iter();
    for group in left.filter(|group| !roster.groups_of(learner).contains(group)) {
        warn(&format!(
            "{name} is not in {group} any more, whose list has another name: `class group {group} --put \
             {learner}` puts them back"
        ));
    }
    Ok(())
}

/// Reads a list of the class.
pub(super) fn roster(asked: &List, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let lines = read(&asked.file)?;
    let mut store = asked.place.open(practice, env)?;
    let n_new = store.list(&lines)?;
    let roster = store.roster()?;
    let groups = || roster.groups().chain(roster.without_group());
    let n_awaited: usize = groups().map(|group| group.awaited.len()).sum();
    let n_unclear: usize = groups().map(|group| group.unclear.len()).sum();
    print(&format!(
        "{}: {}, {n_new} new; {n_awaited} of all lists {} not handed in, {n_unclear} {} for several \
         learners\n",
        harmless(&asked.file.display().to_string()),
        counted(lines.len(), "line", "lines"),
        if n_awaited == 1 { "has" } else { "have" },
        if n_unclear == 1 { "stands" } else { "stand" },
    ))
}

fn read(path: &Path) -> Result<Vec<Line>, Failure> {
    let most = u64::try_from(LONGEST_LIST).unwrap_or(u64::MAX);
    let mut bytes = Vec::new();
    // One byte more than a list may have, so that it shows.
    let read = File::open(path).and_then(|file| file.take(most + 1).read_to_end(&mut bytes));
    read.map_err(|error| Failure::file(path, &error))?;
    read_list(&bytes).map_err(|faults| {
        let lines = faults
            .iter()
            .map(|fault| format!("{}: {fault}", path.display()));
        Failure::of_lines(Kind::Data, lines, "mend the list; nothing was kept")
    })
}

/// Makes a group, puts learners in and out, takes it away, counts its learners, or lists all.
pub(super) fn group(asked: &Grouping, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let changes = asked.new || asked.disband || !asked.put.is_empty() || !asked.out.is_empty();
    let mut store = match changes {
        true => asked.place.open(practice, env)?,
        false => asked.place.open_to_look(practice, env)?,
    };
    let roster = store.roster()?;
    let Some(named) = &asked.group else {
        return list_groups(&roster, &asked.form);
    };
    let makes = asked.new || !asked.put.is_empty();
    let name = match roster.group(named) {
        Some(known) => &known.name,
        // A slip of the pen makes no group.
        None if !makes => return Err(no_group(&roster, named)),
        None => named,
    };
    if asked.disband {
        store.disband(name)?;
        return print(&format!("{name}: taken away; its learners stay\n"));
    }
    if changes {
        regroup(&mut store, &roster, name, asked)?;
    }
    let after = store.roster()?;
    let members = after.group(name).map_or(0, |group| group.members.len());
    let is_new = if roster.group(name).is_none() {
        ", a new group"
    } else {
        ""
    };
    let learners = counted(members, "learner", "learners");
    print(&format!("{name}: {learners}{is_new}\n"))
}

/// Puts learners into a group and out of it; where it is not there, it is made.
fn regroup(
    store: &mut ClassStore,
    roster: &Roster,
    name: &Label,
    asked: &Grouping,
) -> Result<(), Failure> {
    let put = all(store, roster, &asked.put)?;
    let (mut out, mut struck) = (Vec::new(), Vec::new());
    for text in &asked.out {
        let on_list = Label::new(text).ok();
        match on_list.filter(|on_list| is_listed(roster, name, on_list)) {
            Some(on_list) => struck.push(on_list),
            None => out.push(who(store, roster, text)?),
        }
    }
    // Whoever goes out is not brought back by a name of theirs on the list.
    let (called, own) = (store.learners()?, store.own_names()?);
    for learner in &out {
        let called = called.iter().find(|one| one.learner == *learner);
        let called = called.map(|called| &called.name);
        let names = called.into_iter().chain(own.get(learner));
        struck.extend(
            names
                .filter(|name| roster.meant(name) == Meant::One(*learner))
                .cloned(),
        );
    }
    store.regroup(name, &put, &out)?;
    for on_list in &struck {
        store.strike(Some(name), on_list)?;
    }
    Ok(())
}

fn all(store: &ClassStore, roster: &Roster, texts: &[String]) -> Result<Vec<LearnerId>, Failure> {
    texts.iter().map(|text| who(store, roster, text)).collect()
}

/// Whether a name stands on the list of a group and for no one learner.
fn is_listed(roster: &Roster, group: &Label, name: &Label) -> bool {
    let listed = roster.group(group).into_iter();
    let mut listed = listed.flat_map(|group| group.awaited.iter().chain(&group.unclear));
    listed.any(|listed| listed.folded() == name.folded())
}

fn list_groups(roster: &Roster, form: &Form) -> Result<(), Failure> {
    let row = |group: &Group| {
        vec![
            json!(group.name.as_str()),
            json!(group.members.len()),
            json!(group.awaited.len()),
            json!(group.unclear.len()),
        ]
    };
    let rows: Vec<Vec<Value>> = roster.groups().map(row).collect();
    let columns = ["group", "learners", "not_handed_in", "several_by_name"];
    form.print(
        &columns,
        &rows,
        "No groups: `class group NAME --new` makes one.",
    )
}
