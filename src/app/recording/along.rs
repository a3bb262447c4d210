//! Clapping along with a passage, judged as on phrases.
//!
//! Claps lead in the first cycle and then leave it to the learner, who goes on to the end of the
//! passage. Nothing of it is kept.

use super::{Change, Recording, Step};
use crate::app::{App, Place, Trouble};
use crate::quiz::{Along, Hand, Tap, ToClap};
use crate::rhythm::PulseMap;
use crate::world::Stamp;

/// Fewest cycles of a passage that is clapped: one to join in and one to be judged.
const FEWEST_CYCLES: usize = 2;
/// So long after the end the last clap may still come, in microseconds.
const PATIENCE: i64 = 400_000;

/// How far hands along with the passage are.
#[derive(Clone, Debug, PartialEq)]
pub enum Clapping {
    /// Nobody claps along.
    No,
    /// The passage goes by; the claps so far.
    Now(Vec<Tap>),
    /// What came of it.
    Judged(Box<Along>),
}

impl Recording {
    /// What can be clapped along with the passage: the claps over it.
    pub fn to_clap(&self) -> Option<ToClap> {
        let (from, until) = self.passage;
        let to_clap = self.claps.to_clap(self.source.cycle)?;
        (until >= from + FEWEST_CYCLES).then_some(to_clap)
    }

    /// Begins to clap along, or stops; where nothing can be clapped, says what it takes.
    pub(super) fn turn_clapping(&mut self) -> Change {
        let is_clapping = matches!(self.clapping, Clapping::Now(_));
        if !is_clapping && self.to_clap().is_none() {
            self.told =
                "To clap along set the claps to one layer, 3, 2 or 5, or to both, b, over a \
                         passage of two cycles or more."
                    .to_owned();
            return Change::Picture;
        }
        self.clapping = match is_clapping {
            true => Clapping::No,
            false => Clapping::Now(Vec::new()),
        };
        self.is_sounding = !is_clapping;
        self.follows = true;
        Change::Sound
    }

    /// Whatever is set up anew puts an end to it; looking about does not.
    pub(super) fn leave_clapping(&mut self, step: Step) {
        let is_clapping = matches!(self.clapping, Clapping::Now(_));
        match step {
            Step::ClapAlong => {}
            Step::Go(_) if !is_clapping => {}
            _ => self.clapping = Clapping::No,
        }
    }

    /// The cycle of the passage that is looked at.
    pub fn cycle_in_passage(&self) -> usize {
        let (from, until) = self.passage;
        self.here.clamp(from, until.saturating_sub(1).max(from)) - from
    }

    /// What is judged now, once the passage is over.
    fn clapped(&self, micros: i64) -> Option<(ToClap, &[Tap])> {
        let Clapping::Now(taps) = &self.clapping else {
            return None;
        };
        let claps = self.passage()?.claps();
        let end = PulseMap::of(claps.pace.clone(), 0).micros_at(claps.ends());
        (micros > end + PATIENCE).then_some((self.to_clap()?, taps))
    }
}

impl App {
    /// Takes a clap with this hand along with the passage; whether it was one.
    pub(super) fn take_clap(&mut self, hand: Hand, stamp: Stamp) -> bool {
        let delay = self.delay_micros();
        let micros = self.player.phrase_micros(stamp);
        let Place::Recording(recording) = &mut self.place else {
            return false;
        };
        let Clapping::Now(taps) = &mut recording.clapping else {
            return false;
        };
        taps.extend(micros.map(|micros| Tap {
            micros: micros.saturating_sub(delay),
            hand,
        }));
        true
    }

    /// Judges claps once the passage is over.
    pub(in crate::app) fn judge_claps(&mut self, stamp: Stamp) -> Result<(), Trouble> {
        if !matches!(&self.place, Place::Recording(recording)
            if matches!(recording.clapping, Clapping::Now(_)))
        {
            return Ok(());
        }
        let hands = self.hands()?;
        let counting = self.counting().unwrap_or_default();
        let delay = self.delay_micros();
        let Some(micros) = self.player.phrase_micros(stamp) else {
            return Ok(());
        };
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        let Some((to_clap, taps)) = recording.clapped(micros.saturating_sub(delay)) else {
            return Ok(());
        };
        let Some(passage) = recording.passage() else {
            return Ok(());
        };
        let along = Along::of(&passage.claps(), to_clap, taps, hands, counting);
        recording.here = recording.passage.0 + along.begins;
        recording.clapping = Clapping::Judged(Box::new(along));
        recording.is_sounding = false;
        self.silence();
        Ok(())
    }

    /// The device ran dry: claps of this round cannot be judged; a passage that only sounds begins anew.
    pub(in crate::app) fn recording_broke_off(&mut self) -> Result<(), Trouble> {
        let Place::Recording(recording) = &mut self.place else {
            return Ok(());
        };
        if matches!(recording.clapping, Clapping::Now(_)) {
            recording.clapping = Clapping::No;
            recording.is_sounding = false;
            recording.told =
                "The sound broke off, so that nothing is judged: once more.".to_owned();
            self.silence();
            return Ok(());
        }
        self.sound_passage(super::Joining::Anew);
        Ok(())
    }
}
