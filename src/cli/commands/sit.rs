//! `contrapalma sit`: a sitting at once, from the plan or from a skill that was chosen.

use clap::Args;

use super::practise::{Ready, in_lines, on_screen};
use crate::app::{Decks, Intent};
use crate::cli::args::Practice;
use crate::cli::failure::{Failure, Kind};
use crate::deck::Deck;
use crate::label::{Label, by_likeness, printable};
use crate::rhythm::Counting;
use crate::tui::Ending;
use crate::world::Env;

/// `sit`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Sit {
    /// Ask and answer in lines of text; a tap is an empty line
    #[arg(long)]
    plain: bool,
    /// Begin with this skill, by its id: path/bass, or bass in the deck in hand; after its block the plan
    /// goes on
    #[arg(long, value_name = "ID")]
    skill: Option<String>,
    /// Only listen to phrases of --skill and be told what they are: nothing is asked or scored
    #[arg(long, requires = "skill")]
    listen: bool,
    /// Call the counts so from now on: by-style, from-one, from-last, un-dos, spanish
    #[arg(long, value_name = "WAY", value_parser = counts)]
    counts: Option<Counts>,
}

/// How the counts are called; `None` where each cycle is counted as its style does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Counts(Option<Counting>);

/// Each cycle as its style does.
const BY_STYLE: &str = "by-style";

fn counts(text: &str) -> Result<Counts, String> {
    let chosen = Counting::from_id(text).map(|way| Counts(Some(way)));
    let by_style = (text == BY_STYLE).then_some(Counts(None));
    chosen.or(by_style).ok_or_else(|| {
        let words = Counting::CHOICES.map(Counting::id).join(", ");
        format!("one of {BY_STYLE}, {words} was expected")
    })
}

/// Sits down.
pub(in crate::cli) fn run(
    deck: Deck,
    asked: &Sit,
    practice: &Practice,
    env: &Env,
) -> Result<Ending, Failure> {
    let mut ready = Ready::new(deck, practice, env)?;
    let first = match &asked.skill {
        None => Intent::Begin,
        Some(name) => {
            let idx = choose(&mut ready, name, practice)?;
            if asked.listen {
                Intent::ListenAt(idx)
            } else {
                Intent::PractiseAt(idx)
            }
        }
    };
    if let Some(Counts(counting)) = asked.counts {
        let mut settings = ready.store.settings()?;
        settings.counting = counting;
        ready.store.save_settings(settings)?;
    }
    if asked.plain {
        in_lines(ready, practice, first)?;
        return Ok(Ending::Left);
    }
    on_screen(ready, practice, env, Some(first))
}

/// Finds a skill in the deck in hand; or in the deck that its id names, which is then in hand for this
/// time, unless another one was asked for.
fn choose(ready: &mut Ready, name: &str, practice: &Practice) -> Result<usize, Failure> {
    let speakers = practice.speakers();
    if ready.decks == Decks::All {
        let in_hand = ready
            .installed
            .in_hand(&ready.store, ready.deck.clone(), speakers)?;
        if let Some(idx) = place_of(&in_hand, name) {
            return Ok(idx);
        }
        let named = name
            .split_once('/')
            .and_then(|(id, _)| ready.installed.named(id));
        let found = named.as_ref().and_then(|deck| place_of(deck, name));
        ready.deck = named.map_or(in_hand, |deck| deck.through(speakers));
        if let Some(idx) = found {
            ready.decks = Decks::Given;
            return Ok(idx);
        }
    }
    place_of(&ready.deck, name).ok_or_else(|| unknown(&ready.deck, name, practice))
}

/// The place of the skill of this id, or of the exercise of this id alone.
fn place_of(deck: &Deck, name: &str) -> Option<usize> {
    let exercises = || deck.exercises().iter();
    let whole = exercises().position(|exercise| *exercise.skill.0 == *name);
    whole.or_else(|| exercises().position(|exercise| alone(&exercise.skill.0) == name))
}

/// An id without that of its deck.
fn alone(id: &str) -> &str {
    id.split_once('/').map_or(id, |(_, exercise)| exercise)
}

/// The answer to an id that is none: those that are spelt most like it, by letters changed, put in,
/// left out or exchanged.
fn unknown(deck: &Deck, name: &str, practice: &Practice) -> Failure {
    /// As many as are read at a glance.
    const SHOWN: usize = 3;
    let of_deck = deck.exercises().iter().map(|exercise| &*exercise.skill.0);
    let as_asked = |id| if name.contains('/') { id } else { alone(id) };
    let nearest = by_likeness(name, of_deck.map(as_asked)).into_iter();
    let places = nearest.filter_map(|id| place_of(deck, id)).take(SHOWN);
    let ids = places.map(|idx| &*deck.exercises()[idx].skill.0);
    let ids: Vec<&str> = ids.collect();
    let what = format!(
        "--skill: {:?} is no skill of the deck {}",
        printable(&name.chars().take(Label::LONGEST).collect::<String>()),
        deck.id()
    );
    // A deck in a file is shown by its place.
    let asked = practice.deck.as_ref();
    let shown = asked.map_or_else(|| deck.id().to_owned(), |path| path.display().to_string());
    let hint = format!(
        "nearest are {}; `contrapalma decks show {shown}` lists all",
        ids.join(", ")
    );
    Failure::new(Kind::Usage, what, hint)
}
