//! The one worker: makes questions and renders sound away from the interface.
//!
//! It is given owned data and sends back one [`Done`] a job, with the job's generation; whoever
//! reads it drops what is stale. It touches neither store nor output.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use crate::pcm::SampleRate;
use crate::pcm::decode::DecodeError;
use crate::phrase::{Level, NoPhrase, Phrase, Recipe};
use crate::quiz::{Answer, Form, Playing, Question};
use crate::world::Seed;

use super::player::Rendering;
use super::recording::{self, Heard, Passage, Progress, Source};

/// What is to be done, and for which generation.
pub(super) struct Job {
    pub(super) generation: u64,
    pub(super) rate: SampleRate,
    pub(super) what: What,
}

/// Work for the worker.
pub(super) enum What {
    /// Make a question and render what it plays first.
    Question {
        form: Form,
        recipe: Recipe,
        level: Level,
        lately: Vec<Answer>,
        seed: Seed,
    },
    /// Hear a recording.
    Hear {
        source: Source,
        progress: Arc<Progress>,
    },
    /// Cut a passage of one.
    Passage(Passage),
    /// Render phrases.
    Sound {
        phrases: Vec<Phrase>,
        playing: Playing,
        seed: Seed,
    },
}

/// What the worker sends back.
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
    Sound(Rendering),
    /// What was heard of a recording, or why it cannot be.
    Heard(Box<Result<Heard, DecodeError>>),
    /// A passage of one, likewise.
    Passage(Result<Rendering, DecodeError>),
    /// The job panicked; the message is in the log.
    Broken,
}

/// The way to the worker. When it is dropped, the worker ends after its job.
pub(super) struct Worker {
    jobs: Sender<Job>,
}

impl Worker {
    /// Starts the worker; `deliver` takes what it has done and says whether anybody still listens.
    pub(super) fn start(deliver: impl Fn(Done) -> bool + Send + 'static) -> std::io::Result<Self> {
        let (jobs, inbox) = channel();
        thread::Builder::new()
            .name("worker".to_owned())
            .spawn(move || work(&inbox, deliver))?;
        Ok(Self { jobs })
    }

    /// Hands over a job.
    pub(super) fn give(&self, job: Job) {
        // A worker that is gone delivered `Broken` before it went; there is nothing to add.
        drop(self.jobs.send(job));
    }
}

fn work(inbox: &Receiver<Job>, deliver: impl Fn(Done) -> bool) {
    while let Ok(job) = inbox.recv() {
        let generation = job.generation;
        // The job owns its data, so nothing half-changed can be seen after a panic.
        let outcome = catch_unwind(AssertUnwindSafe(|| perform(job))).unwrap_or(Outcome::Broken);
        if !deliver(Done {
            generation,
            outcome,
        }) {
            return;
        }
    }
}

fn perform(job: Job) -> Outcome {
    let rate = job.rate;
    match job.what {
        What::Question {
            form,
            recipe,
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
        What::Hear { source, progress } => {
            Outcome::Heard(Box::new(recording::hear(&source, &progress)))
        }
        What::Passage(passage) => Outcome::Passage(passage.made(rate)),
        What::Sound {
            phrases,
            playing,
            seed,
        } => Outcome::Sound(Rendering::of(&phrases, playing, rate, seed)),
    }
}
