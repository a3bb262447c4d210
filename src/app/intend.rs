//! What each wish of the learner does, by where the program stands.

use super::{App, Intent, Place, Trouble};
use crate::quiz::{Event, Hand, Tap};
use crate::world::Stamp;

impl App {
    /// Takes what the learner wants, with the stamp at which the key was read.
    ///
    /// # Errors
    /// When the store or the output refuses.
    pub fn intend(&mut self, intent: Intent, stamp: Stamp) -> Result<(), Trouble> {
        match (&mut self.place, intent) {
            (Place::Today(_), Intent::Begin) if self.no_sound.is_none() => self.begin(),
            (Place::Today(_), Intent::PractiseAt(idx)) if self.no_sound.is_none() => {
                self.practise(idx)
            }
            (Place::Today(_), Intent::ListenAt(idx)) if self.no_sound.is_none() => {
                self.listen_to(idx)
            }
            (Place::Today(_), Intent::Recount) => self.recount(),
            (Place::Today(_), Intent::ToProgress) => self.go_to_progress(0),
            (Place::Progress(_), Intent::Leave) => self.go_to_today(),
            (Place::Progress(progress), Intent::Scroll(scroll)) => {
                progress.scroll(scroll);
                Ok(())
            }
            (Place::Progress(_), Intent::Wish(wishing)) => {
                self.change_wish(wishing);
                Ok(())
            }
            (Place::Progress(progress), Intent::Practise) if self.no_sound.is_none() => {
                let here = progress.here;
                self.practise(here)
            }
            (Place::Progress(progress), Intent::Listen) if self.no_sound.is_none() => {
                let here = progress.here;
                self.listen_to(here)
            }
            (Place::Listening(listening), Intent::Onward) => {
                let exercise = listening.exercise;
                self.listen_to(exercise)
            }
            (Place::Listening(_), Intent::Hear(hearing)) => self.hear_again(hearing),
            (Place::Listening(listening), Intent::Leave) => {
                let exercise = listening.exercise;
                self.silence();
                self.go_to_progress(exercise)
            }
            (Place::Today(_), Intent::NextDeck) => self.next_deck(),
            (Place::Today(_), Intent::ClapBy(by)) => self.clap_by(by),
            (Place::Summary(_), Intent::Leave | Intent::Onward | Intent::Begin) => {
                self.go_to_today()
            }
            (Place::Today(_), Intent::ToBench) if self.no_sound.is_none() => self.go_to_bench(),
            (Place::Today(_), Intent::TuneUp(step)) if self.no_sound.is_none() => {
                self.go_to_tune_up(step)
            }
            (Place::TuneUp(_), Intent::TuneUp(step)) => self.go_to_tune_up(step),
            // What is clapped by the microphone is not tapped as well.
            (_, Intent::Tap(Hand::Either)) if self.microphone.is_some() => Ok(()),
            (Place::Recording(_), Intent::Tap(hand)) => {
                self.tap_on_recording(hand, stamp);
                Ok(())
            }
            (_, Intent::Tap(_)) => self.tap(intent, stamp),
            (Place::TuneUp(_), Intent::Leave) => self.leave_tune_up(stamp),
            (Place::Bench(_), Intent::Bench(step)) => self.step_on_bench(step),
            (Place::Recording(_), Intent::Recording(step)) => self.step_on_recording(step, stamp),
            (Place::Recording(_), Intent::Leave) => self.leave_recording(),
            (Place::Bench(_), Intent::Leave) => {
                self.silence();
                self.go_to_today()
            }
            (Place::Sitting, intent) => self.intend_in_sitting(intent, stamp),
            _ => Ok(()),
        }
    }

    /// The same while a sitting runs.
    pub(super) fn intend_in_sitting(
        &mut self,
        intent: Intent,
        stamp: Stamp,
    ) -> Result<(), Trouble> {
        let event = match intent {
            Intent::Choose(idx) => Event::Choose(idx),
            Intent::Tap(hand) => match self.player.phrase_micros(stamp) {
                Some(micros) => Event::Tap(Tap {
                    micros: micros.saturating_sub(self.delay_micros()),
                    hand,
                }),
                None => return Ok(()),
            },
            Intent::Mark(pulse_idx) => Event::Mark(pulse_idx),
            Intent::Done => Event::Done,
            Intent::Again => Event::Again,
            Intent::Hear(hearing) => Event::Hear(hearing),
            Intent::Skip => Event::Skip,
            Intent::Dispute => Event::Dispute,
            Intent::Onward => Event::Onward,
            Intent::Leave => Event::Leave,
            Intent::Begin
            | Intent::Recount
            | Intent::ToProgress
            | Intent::Scroll(_)
            | Intent::Wish(_)
            | Intent::Recording(_)
            | Intent::Practise
            | Intent::Listen
            | Intent::PractiseAt(_)
            | Intent::ListenAt(_)
            | Intent::NextDeck
            | Intent::ToBench
            | Intent::TuneUp(_)
            | Intent::ClapBy(_)
            | Intent::Bench(_) => return Ok(()),
        };
        self.happen(event, stamp)
    }
}
