//! What the engine lets sound, and when it is silent.

use std::sync::Arc;

use super::player::Rendering;
use super::tune_up::{Step, clicks, loud};
use super::worker::What;
use super::{App, Place, Trouble};
use crate::phrase::Phrase;
use crate::quiz::passage::Passage;
use crate::quiz::{Hearing, Playing, Stage};
use crate::world::Stamp;

/// Silence that wipes the slate between what was heard last and the next question, in microseconds:
/// a reading stays in the ear for about so long.
const SLATE_MICROS: u64 = 1_500_000;

impl App {
    pub(super) fn play(&mut self, phrases: Vec<Phrase>, playing: Playing) -> Result<(), Trouble> {
        self.silence();
        if let Some(rendering) = self.fresh.take() {
            return self.sound_after_silence(rendering);
        }
        let seed = self.seed.child("sound", self.generation);
        let passage = self.sounding_passage();
        let over = passage.map(|passage| self.cutting(&passage)).transpose()?;
        self.sound_generation = self.give(What::Sound {
            phrases,
            over,
            playing,
            seed,
        });
        Ok(())
    }

    /// The passage over which claps are to sound now, if any: a learner's own claps can be heard alone.
    fn sounding_passage(&self) -> Option<Arc<Passage>> {
        if let Place::Listening(listening) = &self.place {
            let (question, _) = listening.told.as_ref()?;
            return question.passage().cloned();
        }
        match self.stage()? {
            Stage::Open(open) => open.question.passage().cloned(),
            Stage::Shown(shown) => match shown.sounding {
                Some((Hearing::OwnAlone, _)) => None,
                _ => shown.question.passage().cloned(),
            },
            Stage::Ready | Stage::Over => None,
        }
    }

    /// Has the worker render the bench as it is set up; it is heard from the next cycle on.
    pub(super) fn sound_bench(&mut self) {
        let Place::Bench(bench) = &self.place else {
            return;
        };
        let what = What::Sound {
            phrases: vec![bench.sounding()],
            over: None,
            playing: Playing::Round,
            seed: self.seed.child("bench sound", 0),
        };
        self.sound_generation = self.give(what);
    }

    /// What a step of the tune-up lets sound, going round.
    pub(super) fn sound_tune_up(&mut self, step: Step) {
        let phrase = match step {
            Step::Offered | Step::Even => None,
            Step::Loudness => loud(self.seed.child("loudness", 0), self.speakers),
            Step::Bell => Some(clicks()),
        };
        let Some(phrase) = phrase else { return };
        let what = What::Sound {
            phrases: vec![phrase],
            over: None,
            playing: Playing::Round,
            seed: self.seed.child("clicks", 0),
        };
        self.sound_generation = self.give(what);
    }

    pub(super) fn sound(&mut self, rendering: &Rendering) -> Result<(), Trouble> {
        Ok(self.player.play(rendering)?)
    }

    /// Plays a question as soon as what was heard before has faded from the ear.
    pub(super) fn sound_after_silence(&mut self, rendering: Rendering) -> Result<(), Trouble> {
        let stamp = self.clock.stamp();
        let not_before = self
            .last_sound
            .map_or(stamp, |last| Stamp(last.0 + SLATE_MICROS));
        if not_before <= stamp {
            return self.sound(&rendering);
        }
        self.pending = Some((rendering, not_before));
        Ok(())
    }

    pub(super) fn silence(&mut self) {
        self.pending = None;
        // A rendering under way is not to sound any more.
        self.sound_generation = 0;
        if self.player.is_playing() {
            self.last_sound = Some(self.clock.stamp());
            self.player.stop();
        }
    }
}
