//! What goes into the engine and where it can stand.

use std::sync::Arc;

use super::bench::{Bench, Step};
use super::recording::{self, Recording};
use super::tune_up::{self, TuneUp};
use super::{Listening, Progress, Summary, Today};
use crate::deck::{self, Deck};
use crate::phrase::{Speakers, Wish};
use crate::quiz::{Hand, Hearing};
use crate::sound::output::Refused;
use crate::sound::{Ear, Output};
use crate::store::{Store, StoreError};
use crate::world::{Calendar, Clock, Seed};

/// What the program runs on.
pub struct Surroundings {
    /// The clock.
    pub clock: Arc<dyn Clock>,
    /// When a learning day turns.
    pub calendar: Calendar,
    /// Where all chance comes from.
    pub seed: Seed,
    /// The way out for sound.
    pub output: Box<dyn Output>,
    /// Whether another deck may be chosen.
    pub decks: Decks,
    /// Decks that the learner keeps beside those of the program.
    pub installed: Installed,
    /// The microphone, where there is one.
    pub ear: Option<Ear>,
    /// What phrases of the bench are heard through; a deck brings its own recipes.
    pub speakers: Speakers,
    /// What the learner wishes of phrases.
    pub wish: Wish,
    /// Why nothing can be heard, when that is so: practice then does not begin.
    pub no_sound: Option<String>,
}

/// Which decks there are to choose from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decks {
    /// Those that come with the program and those that were installed; the last choice is kept.
    All,
    /// One was asked for, and it stays.
    Given,
}

/// Reads the installed deck of an id.
pub type ReadDeck = dyn Fn(&str) -> Option<Deck>;

/// Decks that were installed: their ids, and how one is read. That is done when it is chosen, since
/// reading a deck tries all that it asks.
#[derive(Clone)]
pub struct Installed {
    /// The ids, in the order in which they are offered.
    pub ids: Vec<String>,
    /// Reads one; `None` where it has faults.
    pub read: Arc<ReadDeck>,
    /// The text of one, with its faults; `None` where there is none.
    pub text: Arc<DeckText>,
    /// Keeps the text of one, or says why it cannot be kept.
    pub keep: Arc<KeepDeck>,
    /// Takes one away, or says why it cannot be.
    pub remove: Arc<RemoveDeck>,
}

/// The text of the deck of an id, where there is one.
pub type DeckText = dyn Fn(&str) -> Option<String> + Send + Sync;

/// Keeps the text of a deck under its id.
pub type KeepDeck = dyn Fn(&str, &str) -> Result<(), String> + Send + Sync;

/// Takes the deck of an id away.
pub type RemoveDeck = dyn Fn(&str) -> Result<(), String> + Send + Sync;

impl Installed {
    /// None is.
    pub fn none() -> Self {
        Self {
            ids: Vec::new(),
            read: Arc::new(|_| None),
            text: Arc::new(|_| None),
            keep: Arc::new(|_, _| Err("there is no folder for decks".to_owned())),
            remove: Arc::new(|_| Err("there is no folder for decks".to_owned())),
        }
    }

    /// The deck that the learner of `store` chose, or else `deck`.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn in_hand(
        &self,
        store: &Store,
        deck: Deck,
        speakers: Speakers,
    ) -> Result<Deck, StoreError> {
        let chosen = store.deck()?.and_then(|id| self.named(&id));
        Ok(chosen.map_or(deck, |chosen| chosen.through(speakers)))
    }

    /// The deck of this id, be it of the program or installed.
    pub fn named(&self, id: &str) -> Option<Deck> {
        let is_known = self.ids.iter().any(|known| known == id);
        let read = || is_known.then(|| (self.read)(id)).flatten();
        deck::built_in_named(id).or_else(read)
    }

    /// A deck of this id was added.
    pub(super) fn know(&mut self, id: &str) {
        if !self.ids.iter().any(|known| known == id) {
            self.ids.push(id.to_owned());
        }
    }

    /// The deck after the one of this id, over those that cannot be read; the first after the last.
    pub(super) fn after(&self, id: &str) -> Option<Deck> {
        let built_in = deck::built_in_ids().map(str::to_owned);
        let ids: Vec<String> = built_in.chain(self.ids.iter().cloned()).collect();
        let here = ids.iter().position(|known| *known == id);
        let next = here.map_or(0, |idx| idx + 1);
        (0..ids.len()).find_map(|n| self.named(&ids[(next + n) % ids.len()]))
    }
}

/// What claps are taken by.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ClapBy {
    /// Keys.
    #[default]
    Keys,
    /// The microphone. Two hands still need two keys.
    Microphone,
}

/// What of a wish is changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wishing {
    /// The cue.
    Cue,
    /// The tempo.
    Tempo,
}

/// Which way to look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scroll {
    /// Further up.
    Up,
    /// Further down.
    Down,
    /// Several lines down.
    Far,
    /// Several lines up.
    Back,
    /// To the top.
    First,
    /// To the end.
    Last,
}

/// What a learner wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intent {
    /// To begin the sitting.
    Begin,
    /// Phrases by the next cue, or at the next tempo.
    Wish(Wishing),
    /// To change something of a recording.
    Recording(recording::Step),
    /// One of the choices, from 0.
    Choose(usize),
    /// A tap, with this hand.
    Tap(Hand),
    /// To mark a pulse of the cycle, from 0, or to take its mark away.
    Mark(usize),
    /// No more taps or marks.
    Done,
    /// To hear the question once more.
    Again,
    /// To hear something.
    Hear(Hearing),
    /// Not this question.
    Skip,
    /// To dispute the label.
    Dispute,
    /// On.
    Onward,
    /// To leave the sitting, or the summary.
    Leave,
    /// To count in the next convention.
    Recount,
    /// To how far practice has brought one.
    ToProgress,
    /// To look further down, or up.
    Scroll(Scroll),
    /// To practise the skill that is looked at.
    Practise,
    /// To practise the skill of this place in the deck.
    PractiseAt(usize),
    /// To listen to the one that is looked at, without a question.
    Listen,
    /// To listen to the skill of this place in the deck.
    ListenAt(usize),
    /// To another deck that comes with the program.
    NextDeck,
    /// To the bench.
    ToBench,
    /// To a step of the tune-up.
    TuneUp(tune_up::Step),
    /// A step on the bench.
    Bench(Step),
    /// To clap into the microphone, or to tap keys again.
    ClapBy(ClapBy),
}

/// What is known of the way from a sound to a tap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetUp {
    /// Its delay was measured.
    Tuned,
    /// It was not.
    Untuned,
    /// It goes without a wire, and its delay wanders: taps are counted, their timing is not judged.
    Wireless,
    /// Nothing is heard.
    Silent,
}

/// Where the program stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Place {
    /// On what today holds.
    Today(Today),
    /// In a sitting.
    Sitting,
    /// On what a sitting came to.
    Summary(Summary),
    /// On how far practice has brought one.
    Progress(Progress),
    /// Listening, without a question.
    Listening(Box<Listening>),
    /// On the bench.
    Bench(Box<Bench>),
    /// At the tune-up.
    TuneUp(Box<TuneUp>),
    /// On a recording.
    Recording(Box<Recording>),
}

/// Why the program cannot go on.
#[derive(Debug, thiserror::Error)]
pub enum Trouble {
    /// The store refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The output refused.
    #[error(transparent)]
    Output(#[from] Refused),
    /// A worker could not be started.
    #[error("no worker could be started: {0}")]
    Worker(std::io::Error),
    /// The worker panicked: a bug.
    #[error("making a phrase failed")]
    Bug,
}
