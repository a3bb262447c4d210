//! A passage of a recording as it is played: steps that change it, and taps along with it.

use super::{Change, Joining, State, Step};
use crate::app::player::Rendering;
use crate::app::worker::What;
use crate::app::{App, Place, Trouble};
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
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        if step == Step::Cut {
            return self.cut_passage();
        }
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
        if self.take_clap(hand, stamp) {
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
            Ok((rendering, Joining::Anew)) => Ok(self.player.play(&rendering)?),
            Ok((rendering, Joining::InPlace)) => {
                let now = self.clock.stamp();
                Ok(self.player.follow(&rendering, PLACES, now)?)
            }
            Err(error) => {
                if let Place::Recording(recording) = &mut self.place {
                    recording.state = State::Refused(error.to_string());
                }
                Ok(())
            }
        }
    }
}

/// Microseconds as seconds.
#[expect(clippy::cast_precision_loss, reason = "less than a minute")]
fn micros(micros: i64) -> f64 {
    micros as f64 / 1e6
}
