//! Listening without answering: a phrase of a skill, told what it is.
//!
//! Practice and plain listening together taught what practice alone did not (Little, Cheng and Wright
//! 2019, on musical intervals). It is logged and never scored.

use super::player::Rendering;
use super::worker::{Of, What};
use super::{App, Place, Trouble};
use crate::phrase::GENERATOR;
use crate::quiz::{Hearing, Material, Playing, Question, Reveal};
use crate::rhythm::Counting;
use crate::store::Listened;

/// A phrase that is listened to.
#[derive(Clone, Debug, PartialEq)]
pub struct Listening {
    /// The exercise's title.
    pub title: String,
    /// Its line of instruction.
    pub line: String,
    /// How counts are spoken.
    pub(super) counting: Counting,
    /// The phrase, once it is made, and what it is.
    pub told: Option<(Question, Reveal)>,
    /// Why there is none, in words.
    pub refused: Option<String>,
    /// The exercise, by its place in the deck.
    pub(super) exercise: usize,
    /// The job that makes the phrase.
    pub(super) generation: u64,
}

impl App {
    /// Listens to a phrase of an exercise at its easiest.
    pub(super) fn listen_to(&mut self, exercise: usize) -> Result<(), Trouble> {
        self.silence();
        let Some(found) = self.course.exercise(exercise) else {
            return Ok(());
        };
        let counting = self.counting_in(&found.material);
        let (title, line) = (
            found.title.to_string(),
            found.line.in_words(counting).to_string(),
        );
        let what = What::Question {
            form: found.form.clone(),
            of: match &found.material {
                Material::Made(recipe) => Of::Recipe(self.wish.upon(recipe)),
                Material::Cut(passages) => {
                    let order = self.seed.child("listened to", self.generation);
                    let Some(passage) = order.dice().pick(passages) else {
                        return Ok(());
                    };
                    Of::Passage(self.cutting(passage)?, passages.clone())
                }
            },
            level: found.levels.easiest(),
            lately: Vec::new(),
            seed: self.seed.child("listening", self.generation),
        };
        self.caution()?;
        let generation = self.give(what);
        self.place = Place::Listening(Box::new(Listening {
            title,
            line,
            counting,
            told: None,
            refused: None,
            exercise,
            generation,
        }));
        Ok(())
    }

    /// The phrase is here: it sounds, and that it was listened to is kept.
    pub(super) fn listened(
        &mut self,
        made: u64,
        question: Question,
        rendering: &Rendering,
    ) -> Result<(), Trouble> {
        let Place::Listening(listening) = &mut self.place else {
            return Ok(());
        };
        if listening.generation != made {
            return Ok(());
        }
        let reveal = Reveal::told(&question, listening.counting);
        let seed = question.measured().seed();
        let exercise = listening.exercise;
        listening.told = Some((question, reveal));
        if let Some(skill) = self.course.skill(exercise).cloned() {
            let now = self.now(self.clock.stamp());
            self.store.keep_listened(&Listened {
                skill,
                at: now.at,
                day: now.day,
                seed,
                generator: GENERATOR,
            })?;
        }
        self.sound(rendering)
    }

    /// Plays the phrase again, alone or under the claps of what is true.
    pub(super) fn hear_again(&mut self, hearing: Hearing) -> Result<(), Trouble> {
        let Place::Listening(listening) = &self.place else {
            return Ok(());
        };
        let Some((question, reveal)) = &listening.told else {
            return Ok(());
        };
        let phrase = match hearing {
            Hearing::AsItIs => reveal.as_it_is.clone(),
            Hearing::Voice(voice) => question.phrase().only(voice),
            _ => question.phrase().clone(),
        };
        self.play(vec![phrase], Playing::Once)
    }
}
