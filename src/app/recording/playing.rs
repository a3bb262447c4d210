//! A passage of a recording as it is played: steps that change it, and taps along with it.

use std::io;

use super::{Change, Clapping, Joining, Recording, Step};
use crate::app::player::Rendering;
use crate::app::worker::What;
use crate::app::{App, Place, Trouble, in_words};
use crate::pcm::decode::DecodeError;
use crate::quiz::Hand;
use crate::world::Stamp;

/// Places of a passage in which other claps may take over: a few hundredths of a second apart.
const PLACES: u32 = 1_000;

impl App {
    pub(in crate::app) fn step_on_recording(
        &mut self,
        step: Step,
        stamp: Stamp,
    ) -> Result<(), Trouble> {
        let heard = self.time_heard(stamp);
        if step == Step::Cut {
            return self.cut_passage();
        }
        let sounds = matches!(step, Step::Pause | Step::ClapAlong | Step::BeginHere);
        if sounds && self.tell_no_sound() {
            return Ok(());
        }
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        recording.told.clear();
        if step == Step::TakeBack
            && let Some(cut) = recording.last_cut()
        {
            self.take_back_cut(&cut);
            return Ok(());
        }
        let change = match step {
            Step::BeginHere => recording.begin_here(heard),
            step => recording.step(step),
        };
        self.hear_behind();
        self.keep_of_recording()?;
        if change == Change::Picture {
            return Ok(());
        }
        self.sound_passage(match change {
            Change::Claps => Joining::InPlace,
            Change::Picture | Change::Sound => Joining::Anew,
        });
        Ok(())
    }

    /// Says on the recording that nothing can be heard of it, where that is so.
    fn tell_no_sound(&mut self) -> bool {
        let (Some(reason), Place::Recording(recording)) = (&self.no_sound, &mut self.place) else {
            return false;
        };
        recording.told = format!(
            "Nothing can be played ({}). Connect or switch on a sound device, see that another \
             program can play, and start again.",
            reason.trim_end_matches('.')
        );
        true
    }

    /// Has the worker make the passage as it is set up, where it is to sound.
    pub(super) fn sound_passage(&mut self, joining: Joining) {
        let Place::Recording(recording) = &self.place else {
            return;
        };
        let passage = recording.is_sounding.then(|| recording.passage()).flatten();
        match passage {
            Some(passage) => self.sound_generation = self.give(What::Passage(passage, joining)),
            None => self.silence(),
        }
    }

    /// A tap along with what sounds: a clap that is judged, or where a pulse is.
    pub(in crate::app) fn tap_on_recording(&mut self, hand: Hand, stamp: Stamp) {
        if self.take_clap(hand, stamp) || self.tell_no_sound() {
            return;
        }
        let Place::Recording(recording) = &mut self.place else {
            return;
        };
        recording.told.clear();
        recording.is_tapping = true;
        if !recording.is_sounding {
            // Whoever taps wants to hear it.
            if recording.step(Step::Pause) == Change::Sound {
                self.sound_passage(Joining::Anew);
            }
            return;
        }
        let time = self.time_heard(stamp);
        if let Place::Recording(recording) = &mut self.place {
            recording.taps.extend(time);
            recording.n_taps = recording.taps.len();
        }
    }

    /// The time in the recording that is heard now, by the ears of whoever taps; nothing where it is
    /// silent.
    fn time_heard(&mut self, stamp: Stamp) -> Option<f64> {
        let head = self.player.playhead(stamp)?;
        let Place::Recording(recording) = &self.place else {
            return None;
        };
        let time = recording.time_of(head.cycle.0, head.pulse)?;
        // What is heard now sounded so much earlier, in the time of the recording.
        Some(time - micros(self.delay_micros()) / recording.speed.longer())
    }

    /// The passage begins to be there: it goes round.
    pub(in crate::app) fn passage_made(
        &mut self,
        generation: u64,
        made: Result<(Rendering, Joining), DecodeError>,
    ) -> Result<(), Trouble> {
        if generation != self.sound_generation {
            if let Ok((rendering, _)) = made {
                rendering.give_up();
            }
            return Ok(());
        }
        match made {
            Ok((rendering, joining)) => {
                if let Place::Recording(recording) = &mut self.place {
                    recording.unplayed.clear();
                }
                match joining {
                    Joining::Anew => Ok(self.player.play(&rendering)?),
                    Joining::InPlace => {
                        let now = self.clock.stamp();
                        Ok(self.player.follow(&rendering, PLACES, now)?)
                    }
                }
            }
            Err(error) => {
                self.silence();
                if let Place::Recording(recording) = &mut self.place {
                    recording.cannot_play(&error);
                }
                Ok(())
            }
        }
    }
}

impl Recording {
    /// It was known and cannot be played any more: what is known of it stays.
    fn cannot_play(&mut self, error: &DecodeError) {
        self.is_sounding = false;
        self.is_tapping = false;
        self.clapping = Clapping::No;
        self.unplayed = match error {
            DecodeError::Unreadable(io) if io.kind() == io::ErrorKind::NotFound => {
                "the file is gone from where it was".to_owned()
            }
            error => why_unread(error),
        };
    }
}

/// Why a recording is not read, without the number that the system gives it.
pub(super) fn why_unread(error: &DecodeError) -> String {
    match error {
        DecodeError::Unreadable(io) => format!("it could not be read: {}", in_words(io)),
        error => error.to_string(),
    }
}

/// Microseconds as seconds.
#[expect(clippy::cast_precision_loss, reason = "less than a minute")]
fn micros(micros: i64) -> f64 {
    micros as f64 / 1e6
}
