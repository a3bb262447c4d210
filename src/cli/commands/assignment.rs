//! `contrapalma assignment`: what a teacher set, from the file that holds it.
//!
//! The file is checked as any deck is before anything is kept. Then its deck is installed and the
//! assignment kept; nothing in it is ever run, and nothing is opened because it says so.

use std::path::{Path, PathBuf};

use clap::Args;

use super::practise::clock_of;
use super::shelf::{Placed, Shelf, read_text};
use super::write::print;
use crate::class::assignment::Assignment;
use crate::cli::args::Practice;
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, identity_seed};
use crate::deck::{self, Assigned};
use crate::label::{harmless, printable};
use crate::store::Store;
use crate::world::{Calendar, Day, Env, Moment};

/// `assignment`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Asked {
    /// The file from your teacher; without one, what is set is listed
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    /// Put this one away, by its name in the list; what was practised stays
    #[arg(long, value_name = "NAME", conflicts_with = "file")]
    put_away: Option<String>,
}

/// Takes a file in, lists what is set, or puts something away.
pub(in crate::cli) fn run(asked: &Asked, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let now = clock_of(env)?.now();
    let (today, _) = Calendar::default().day_of(now);
    let dir = data_dir(practice, env)?;
    let seed = identity_seed()?;
    let open = || Store::open(&dir, seed, now);
    match (&asked.file, &asked.put_away) {
        (Some(file), _) => {
            let (assigned, text) = read(file)?;
            // First the store, so that one that is in use keeps everything as it was.
            let mut store = open()?;
            let before = store.assignments()?;
            let told = take(&mut store, &assigned, now, |assigned| {
                let placed = install(assigned, &text, file, &Shelf::of(&dir))?;
                Ok(taken(assigned, placed, today))
            })?;
            let set = &assigned.assignment;
            // One that was due before does not take the place of what is practised now.
            if (set.from..=set.due).contains(&today) && !store.is_taken_back(&set.id)? {
                store.save_deck(&set.deck)?;
            }
            print(&format!("{told}{}", gone(&before, &store.assignments()?)))
        }
        (None, Some(id)) if open()?.put_away(id)? => print(&format!(
            "{}: put away; what was practised stays\n",
            printable(id)
        )),
        (None, Some(id)) => {
            let what = format!("{:?}: nothing of this name is set", printable(id));
            let hint = "`contrapalma assignment` lists what is set";
            Err(Failure::new(Kind::Usage, what, hint))
        }
        (None, None) => print(&list(&open()?.assignments()?)),
    }
}

/// Keeps what a file says, and tells it; an assignment that was taken back is not taken by `install`.
fn take(
    store: &mut Store,
    assigned: &Assigned,
    now: Moment,
    install: impl FnOnce(&Assigned) -> Result<String, Failure>,
) -> Result<String, Failure> {
    let (set, news) = (&assigned.assignment, &assigned.news);
    let is_back = news.taken_back.contains(&set.id) || store.is_taken_back(&set.id)?;
    let told = match is_back {
        true => format!(
            "{}: {}: your teacher took it back; what was practised stays\n",
            set.deck, set.title
        ),
        false => install(assigned)?,
    };
    store.keep_assigned(set, news, now)?;
    Ok(told)
}

/// What is not shown any more, a line each.
fn gone(before: &[Assignment], after: &[Assignment]) -> String {
    let is_gone = |set: &&Assignment| after.iter().all(|kept| kept.id != set.id);
    let line = |set: &Assignment| {
        let shown = format!("{}  {}, {}", set.id, set.title, terms(set));
        format!(
            "Taken back, and not on the first screen any more: {}\n",
            harmless(&shown)
        )
    };
    before.iter().filter(is_gone).map(line).collect()
}

/// The assignment in a file, and the text of its deck alone.
fn read(file: &Path) -> Result<(Assigned, String), Failure> {
    let text = read_text(file)?;
    let assigned = deck::parse_assigned(&text).map_err(|faults| Failure::deck(file, &faults))?;
    let alone = deck::alone(&text).ok_or_else(|| {
        let what = format!(
            "{}: found tables that cannot be told from the deck; expected [assignment] and [judged] on \
             lines of their own",
            file.display()
        );
        Failure::new(Kind::No, what, "write them behind the deck; nothing was changed")
    })?;
    Ok((assigned, alone))
}

/// Installs the deck; `None` where it comes with the program.
fn install(
    assigned: &Assigned,
    text: &str,
    file: &Path,
    shelf: &Shelf,
) -> Result<Option<Placed>, Failure> {
    let id = assigned.deck.id();
    if let Some(own) = deck::built_in_named(id) {
        let skill = |exercise: &deck::Exercise| exercise.skill.clone();
        let skills = |deck: &deck::Deck| deck.exercises().iter().map(skill).collect::<Vec<_>>();
        if skills(&own) == skills(&assigned.deck) {
            return Ok(None);
        }
        let what = format!(
            "{}: found another deck by the name of {id:?}, which comes with the program; expected its \
             own skills in it",
            file.display()
        );
        let hint =
            "nothing was changed; use the contrapalma of your teacher, or ask for another id";
        return Err(Failure::new(Kind::No, what, hint));
    }
    if id == deck::OWN_RECORDINGS {
        let what = format!(
            "{}: found the id {id:?}, under which your own recordings are kept; expected another",
            file.display()
        );
        let hint = "nothing was changed; ask for another id on top of the deck";
        return Err(Failure::new(Kind::No, what, hint));
    }
    shelf.install(id, text).map(Some)
}

fn taken(assigned: &Assigned, placed: Option<Placed>, today: Day) -> String {
    let set = &assigned.assignment;
    let deck = match placed {
        None => "it comes with the program",
        Some(Placed::New) => "installed",
        Some(Placed::Replaced) => "installed in place of the one before; what was practised stays",
        Some(Placed::Same) => "installed already, and the same",
    };
    let mut text = format!("{}: {}: {deck}\n", set.deck, set.title);
    if let Some(to) = &set.to {
        text.push_str(&format!("It was set for {to}.\n"));
    }
    if let Some(line) = &set.line {
        text.push_str(&format!("{line}\n"));
    }
    text.push_str(&format!("{}\n", terms(set)));
    if !assigned.news.judged.is_empty() {
        text.push_str(&format!(
            "What was judged is kept too: {}.\n",
            counted_phrases(assigned.news.judged.len())
        ));
    }
    text.push_str(match (set.from <= today, set.due < today) {
        (_, true) => "It was due before today; the deck that you practise stays chosen.\n",
        (true, false) => "It is on the first screen now, and its deck is chosen.\n",
        (false, false) => "It is on the first screen from its first day on.\n",
    });
    text
}

fn counted_phrases(n: usize) -> String {
    if n == 1 {
        "one phrase".to_owned()
    } else {
        format!("{n} phrases")
    }
}

fn terms(set: &Assignment) -> String {
    let goal = set.goal.in_words();
    format!("from {} to {}: {goal}", set.from, set.due)
}

fn list(all: &[Assignment]) -> String {
    if all.is_empty() {
        return "Nothing is set.\n".to_owned();
    }
    let line = |set: &Assignment| {
        let shown = format!("{}  {}, {}", set.id, set.title, terms(set));
        format!("{}\n", harmless(&shown))
    };
    all.iter().map(line).collect()
}
