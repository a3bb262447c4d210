//! What goes into the engine and where it can stand.

use std::sync::Arc;

use super::bench::{Bench, Step};
use super::recording::{self, Recording};
use super::tune_up::{self, TuneUp};
use super::{Listening, Progress, Summary, Today};
use crate::phrase::{Speakers, Wish};
use crate::quiz::{Hand, Hearing};
use crate::sound::output::Refused;
use crate::sound::{Ear, Output};
use crate::store::StoreError;
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
    /// Those that come with the program; the last choice is kept.
    BuiltIn,
    /// One was asked for, and it stays.
    Given,
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
    /// To listen to it, without a question.
    Listen,
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
