//! Two workers away from the interface: one makes questions and renders sound, the other hears recordings,
//! which takes long and keeps no sound waiting.
//!
//! They are given owned data and send back one [`Done`] a job, with the job's generation; whoever
//! reads it drops what is stale. They touch neither store nor output.

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use crate::label::ContentHash;
use crate::pcm::SampleRate;
use crate::pcm::decode::DecodeError;
use crate::phrase::{Level, NoPhrase, Phrase, Recipe};
use crate::quiz::{Answer, Form, Playing, Question};
use crate::world::Seed;

use super::passages::{Cutting, Finder};
use super::player::Rendering;
use super::recording::{self, Again, Heard, HeardAgain, Joining, Making, Progress, Source};
use crate::quiz::passage::Passage;

/// What is to be done, and for which generation.
pub(super) struct Job {
    pub(super) generation: u64,
    pub(super) rate: SampleRate,
    pub(super) what: What,
}

/// Work for a worker.
pub(super) enum What {
    /// Make a question and render what it plays first.
    Question {
        form: Form,
        of: Of,
        level: Level,
        lately: Vec<Answer>,
        seed: Seed,
    },
    /// Look which recordings are there, by a passage of each.
    Look(Vec<Cutting>),
    /// Hear a recording.
    Hear {
        source: Source,
        progress: Arc<Progress>,
    },
    /// Hear one that is known once more.
    HearAgain(Again),
    /// Cut a passage of one.
    Passage(recording::Passage, Joining),
    /// Render phrases, over a passage of a recording where there is one.
    Sound {
        phrases: Vec<Phrase>,
        over: Option<Cutting>,
        playing: Playing,
        seed: Seed,
    },
}

impl What {
    /// Whether it is work of the one that hears.
    pub(super) fn is_hearing(&self) -> bool {
        matches!(self, Self::Hear { .. } | Self::HearAgain(_))
    }
}

/// What a question is made of.
pub(super) enum Of {
    /// A phrase of a recipe.
    Recipe(Recipe),
    /// A passage of a recording, and the passages among which it is told apart.
    Passage(Cutting, Vec<Arc<Passage>>),
}

/// What a worker sends back.
#[derive(Debug)]
pub struct Done {
    pub(super) generation: u64,
    pub(super) outcome: Outcome,
}

/// What came of a job.
#[derive(Debug)]
pub(super) enum Outcome {
    Question(Box<(Question, Rendering)>),
    /// No phrase had one right answer.
    NoPhrase,
    /// The recording of a passage was not found, or cannot be read.
    Missing(Arc<Passage>),
    /// Recordings that were looked for and not found.
    Looked(Vec<ContentHash>),
    Sound(Rendering),
    /// What was heard of a recording, or why it cannot be.
    Heard(Box<Result<Heard, DecodeError>>),
    /// What came of hearing one once more.
    HeardAgain(Box<HeardAgain>),
    /// A passage of one that begins to be there, likewise.
    Passage(Result<(Rendering, Joining), DecodeError>),
    /// The job panicked; the message is in the log.
    Broken,
}

/// The way to the workers. When it is dropped, each ends after its job.
pub(super) struct Workers {
    making: Sender<Job>,
    hearing: Sender<Job>,
}

impl Workers {
    /// Starts them; `deliver` takes what they have done and says whether anybody still listens.
    pub(super) fn start(
        deliver: impl Fn(Done) -> bool + Send + Sync + 'static,
    ) -> io::Result<Self> {
        let deliver = Arc::new(deliver);
        let start = |name: &str| -> io::Result<Sender<Job>> {
            let (jobs, inbox) = channel();
            let deliver = Arc::clone(&deliver);
            thread::Builder::new()
                .name(name.to_owned())
                .spawn(move || work(&inbox, &*deliver))?;
            Ok(jobs)
        };
        Ok(Self {
            making: start("making")?,
            hearing: start("hearing")?,
        })
    }

    /// Hands over a job.
    pub(super) fn give(&self, job: Job) {
        let jobs = match job.what.is_hearing() {
            true => &self.hearing,
            false => &self.making,
        };
        // A worker that is gone delivered `Broken` before it went; there is nothing to add.
        drop(jobs.send(job));
    }
}

fn work(inbox: &Receiver<Job>, deliver: impl Fn(Done) -> bool) {
    let mut tools = Tools::default();
    while let Ok(job) = inbox.recv() {
        let generation = job.generation;
        let told = |outcome| {
            deliver(Done {
                generation,
                outcome,
            })
        };
        // What a panic leaves of the tools is whole: each replaces what it keeps in one go.
        let outcome = catch_unwind(AssertUnwindSafe(|| perform(job, &mut tools)));
        let mut finish = || catch_unwind(AssertUnwindSafe(|| tools.making.finish()));
        let goes_on =
            told(outcome.unwrap_or(Outcome::Broken)) && (finish().is_ok() || told(Outcome::Broken));
        if !goes_on {
            return;
        }
    }
}

/// What serves one job after the other.
#[derive(Default)]
struct Tools {
    finder: Finder,
    making: Making,
}

fn perform(job: Job, tools: &mut Tools) -> Outcome {
    let rate = job.rate;
    let finder = &mut tools.finder;
    match job.what {
        What::Question {
            form,
            of: Of::Recipe(recipe),
            level,
            lately,
            seed,
        } => match Question::ask(&form, &recipe, level, &lately, seed) {
            Ok(question) => {
                let playing = question.playing();
                let rendering = Rendering::of(&question.sounds(), playing, rate, seed);
                Outcome::Question(Box::new((question, rendering)))
            }
            Err(NoPhrase { .. }) => Outcome::NoPhrase,
        },
        What::Question {
            form,
            of: Of::Passage(cutting, among),
            level: _,
            lately,
            seed,
        } => {
            let asked = Question::of_passage(&form, &cutting.passage, &among, &lately, seed);
            let Some(question) = asked else {
                return Outcome::NoPhrase;
            };
            match finder.cut(&cutting, question.phrase(), rate) {
                Some(sound) => {
                    let rendering = Rendering::over(&sound, &question.sounds(), question.playing());
                    Outcome::Question(Box::new((question, rendering)))
                }
                None => Outcome::Missing(cutting.passage),
            }
        }
        What::Look(mut cuttings) => {
            cuttings.retain(|cutting| !finder.seems_there(cutting));
            let missing = cuttings.iter().map(|cutting| cutting.passage.recording());
            Outcome::Looked(missing.collect())
        }
        What::Hear { source, progress } => {
            Outcome::Heard(Box::new(recording::hear(&source, &progress)))
        }
        What::HearAgain(again) => Outcome::HeardAgain(Box::new(recording::hear_again(again))),
        What::Passage(passage, joining) => {
            let begun = tools.making.begin(&passage, rate);
            Outcome::Passage(begun.map(|rendering| (rendering, joining)))
        }
        What::Sound {
            phrases,
            over: None,
            playing,
            seed,
        } => Outcome::Sound(Rendering::of(&phrases, playing, rate, seed)),
        What::Sound {
            phrases,
            over: Some(cutting),
            playing,
            seed: _,
        } => {
            let first = phrases.first();
            match first.and_then(|phrase| finder.cut(&cutting, phrase, rate)) {
                Some(sound) => Outcome::Sound(Rendering::over(&sound, &phrases, playing)),
                None => Outcome::Missing(cutting.passage),
            }
        }
    }
}
