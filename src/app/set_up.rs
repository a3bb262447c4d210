//! The way from a sound to a tap: keys or the microphone, its delay, and the tune-up that measures it.

use super::tune_up::{self, TuneUp};
use super::{App, ClapBy, Intent, Place, SetUp, Trouble};
use crate::quiz::{Event, Habit, Hand, Hands, Question, Stage};
use crate::world::Stamp;

impl App {
    /// A tap, however it was made.
    pub(super) fn tap(&mut self, intent: Intent, stamp: Stamp) -> Result<(), Trouble> {
        match self.place {
            Place::TuneUp(_) => self.tap_in_tune_up(stamp),
            Place::Sitting => self.intend_in_sitting(intent, stamp),
            _ => Ok(()),
        }
    }

    /// Takes claps by the microphone from now on, or by keys. Each has a delay of its own.
    pub(super) fn clap_by(&mut self, by: ClapBy) -> Result<(), Trouble> {
        self.microphone = None;
        self.deaf = None;
        if let (ClapBy::Microphone, Some(ear)) = (by, &self.ear) {
            match (ear.open)() {
                Ok(microphone) => self.microphone = Some(microphone),
                Err(error) => self.deaf = Some(error.to_string()),
            }
        }
        self.delay = self.store.delay(&self.way())?;
        self.offered = false;
        Ok(())
    }

    /// What claps are taken by.
    pub fn claps_by(&self) -> ClapBy {
        match self.microphone {
            Some(_) => ClapBy::Microphone,
            None => ClapBy::Keys,
        }
    }

    /// Whether there is a microphone to clap into.
    pub fn has_ear(&self) -> bool {
        self.ear.is_some()
    }

    /// Why the microphone is not listened to, where that was wanted.
    pub fn deaf(&self) -> Option<&str> {
        self.deaf.as_deref()
    }

    /// The way from a sound to a tap, by name: the output, and the microphone where claps are taken
    /// by it.
    pub(super) fn way(&self) -> String {
        let output = self.player.output_name();
        match &self.microphone {
            Some(microphone) => format!("{output} to {}", microphone.name()),
            None => output.to_owned(),
        }
    }

    /// Takes what the microphone heard. Claps of an earlier sound have no place in this one.
    pub(super) fn listen(&mut self) -> Result<(), Trouble> {
        let Some(microphone) = &mut self.microphone else {
            return Ok(());
        };
        if microphone.is_lost() {
            let name = microphone.name().to_owned();
            self.clap_by(ClapBy::Keys)?;
            self.deaf = Some(format!("{name} went away"));
            return Ok(());
        }
        for stamp in microphone.claps() {
            self.tap(Intent::Tap(Hand::Either), stamp)?;
        }
        let n_lost = self
            .microphone
            .as_ref()
            .map_or(0, |microphone| microphone.n_lost());
        let is_lost = n_lost > std::mem::replace(&mut self.n_unheard, n_lost);
        let is_clapped =
            matches!(self.stage(), Some(Stage::Open(open)) if open.question.is_tapped());
        // What was clapped meanwhile is not known: it is asked again without counting.
        if is_lost && is_clapped && self.player.is_playing() {
            return self.happen(Event::Spoiled, self.clock.stamp());
        }
        Ok(())
    }

    pub(super) fn go_to_tune_up(&mut self, step: tune_up::Step) -> Result<(), Trouble> {
        self.caution()?;
        self.silence();
        // Without a sound only what needs none can be done.
        let step = if self.player.is_heard() {
            step
        } else {
            tune_up::Step::Even
        };
        self.place = Place::TuneUp(Box::new(TuneUp::new(
            &self.way(),
            step,
            self.claps_by(),
            self.delay,
        )));
        self.sound_tune_up(step);
        Ok(())
    }

    pub(super) fn tap_in_tune_up(&mut self, stamp: Stamp) -> Result<(), Trouble> {
        let Place::TuneUp(tune_up) = &mut self.place else {
            return Ok(());
        };
        let micros = match tune_up.step {
            tune_up::Step::Even => i64::try_from(stamp.0).ok(),
            _ => self.player.phrase_micros(stamp),
        };
        let Some(delay) = micros.and_then(|micros| tune_up.tap(micros)) else {
            return Ok(());
        };
        self.store.save_delay(&tune_up.output, delay)?;
        self.delay = Some(delay);
        self.silence();
        Ok(())
    }

    /// Back to the question that waits, or to what today holds.
    pub(super) fn leave_tune_up(&mut self, stamp: Stamp) -> Result<(), Trouble> {
        self.silence();
        if self.sitting.is_none() {
            return self.go_to_today();
        }
        self.place = Place::Sitting;
        let hands = self.hands()?;
        self.happen(Event::Hands(hands), stamp)?;
        let now = self.now(stamp);
        self.bring_next(&now)
    }

    /// Whether the tune-up is to be offered before this question is heard.
    pub(super) fn offer(&mut self, question: &Question) -> bool {
        let offer = question.is_tapped() && self.set_up() == SetUp::Untuned && !self.offered;
        self.offered |= offer;
        offer
    }

    /// What is known of hands on this output.
    pub(super) fn hands(&self) -> Result<Hands, Trouble> {
        Ok(match self.set_up() {
            SetUp::Tuned => Hands::Tuned(Habit::of(&self.store.recent_leads()?)),
            SetUp::Untuned | SetUp::Wireless => Hands::Untuned,
            SetUp::Silent => Hands::Unheard,
        })
    }

    /// What is known of the way from a sound to a tap.
    pub fn set_up(&self) -> SetUp {
        // Sound servers call such outputs after the standard or the service that drives them.
        const WIRELESS: [&str; 4] = ["bluetooth", "bluez", "a2dp", "wireless"];
        let name = self.player.output_name().to_lowercase();
        if !self.player.is_heard() {
            SetUp::Silent
        } else if WIRELESS.iter().any(|sign| name.contains(sign)) {
            SetUp::Wireless
        } else if self.delay.is_some() {
            SetUp::Tuned
        } else {
            SetUp::Untuned
        }
    }

    /// Microseconds by which taps come late on this output, as far as that was measured.
    pub(super) fn delay_micros(&self) -> i64 {
        self.delay.map_or(0, |delay| whole_micros(delay.micros))
    }
}

#[expect(clippy::cast_possible_truncation, reason = "less than a second")]
fn whole_micros(micros: f64) -> i64 {
    micros.round() as i64
}
