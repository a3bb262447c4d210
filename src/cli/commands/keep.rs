//! `contrapalma keep`: one learner's practice on several machines.

use std::path::Path;

use super::hand_in::{known_as, name_of};
use super::practise::clock_of;
use super::write::{print, read_hand_in};
use crate::class::hand_in::{Header, LearnerId, Reading};
use crate::cli::args::{Keep, Practice};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, identity_seed, learner, shared_dir};
use crate::label::harmless;
use crate::store::{Identity, Store};
use crate::world::Env;

/// What to do about a file that is refused.
const WHOLE: &str = "nothing was changed; have it sent again, or made again by hand-in --all";

/// Keeps practice together as asked.
pub(in crate::cli) fn run(asked: &Keep, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let (file, as_mine) = match asked {
        Keep::Import { file, as_mine } => (file, as_mine),
        Keep::Learners => return learners(&shared_dir(practice, env)?),
    };
    let now = clock_of(env)?.now();
    let shown = harmless(&file.display().to_string());
    let refused = |why: &dyn std::fmt::Display, hint: &str| {
        Failure::new(Kind::No, format!("{shown}: {why}"), hint)
    };
    let bytes = read_hand_in(file)?.map_err(|refusal| refused(&refusal, WHOLE))?;
    let reading = Reading::new(&bytes, now).map_err(|refusal| refused(&refusal, WHOLE))?;
    let mut store = Store::open(&data_dir(practice, env)?, identity_seed()?, now)?;
    let known = store.identity()?;
    let header = reading.header();
    if !is_of(&known, header) && !as_mine {
        let why = format!(
            "it is of {} ({}), and here practises {} ({})",
            header.name,
            header.learner,
            name_of(&known),
            list(&known.ids)
        );
        return Err(refused(
            &why,
            "nothing was changed; if both are you, add --as-mine",
        ));
    }
    let identity = joined(known, header);
    let merged = store
        .merge_items(reading, &identity)?
        .map_err(|refusal| refused(&refusal, WHOLE))?;
    let whose = known_as(&store, None)?;
    print(&format!(
        "{shown}: {} new {}, {} already known, of {}\n",
        merged.new,
        if merged.new == 1 {
            "attempt"
        } else {
            "attempts"
        },
        merged.known,
        name_of(&whose)
    ))
}

/// Lists who practises here beside others.
fn learners(data: &Path) -> Result<(), Failure> {
    let names = learner::all(data);
    if names.is_empty() {
        return print("Nobody yet: --as NAME begins a folder of their own for a learner.\n");
    }
    let lines: String = names.iter().map(|name| format!("{name}\n")).collect();
    print(&lines)
}

/// Whether a hand-in is of the learner of this store; on a machine from which nothing travelled yet
/// it is taken to be.
fn is_of(known: &Identity, header: &Header) -> bool {
    known.ids.is_empty() || known.ids.contains(&header.learner)
}

/// The learner with all numbers, the least of them first, so that every machine comes to the same.
fn joined(mut known: Identity, header: &Header) -> Identity {
    known.ids.push(header.learner);
    known.ids.extend(&header.also);
    known.ids.sort_unstable();
    known.ids.dedup();
    known.ids.truncate(crate::class::hand_in::limit::MACHINES);
    known.name.get_or_insert_with(|| header.name.clone());
    known
}

fn list(ids: &[LearnerId]) -> String {
    let ids: Vec<String> = ids.iter().map(LearnerId::to_string).collect();
    ids.join(", ")
}
