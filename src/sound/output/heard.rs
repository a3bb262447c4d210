//! Which frame of a device is heard when: of one that plays, or of one that listens.

use std::collections::VecDeque;

use crate::pcm::{Frame, SampleRate};
use crate::world::Stamp;

/// How far back pairs of a device that plays are kept, in microseconds: the median over a second of
/// them was found to be steady to a third of a millisecond where single pairs wander.
const PLAYED_MICROS: i64 = 1_000_000;
/// The same of one that listens. What waits in its buffers is not always counted: then a block seems
/// to have sounded later than it did, by up to its own length, which comes and goes over seconds.
#[cfg(feature = "listen-in")]
const LISTENED_MICROS: i64 = 4_000_000;
/// So many in a hundred of its pairs are taken to be too early, and the rest to be too late.
#[cfg(feature = "listen-in")]
const EARLY_PERCENT: usize = 5;
/// Two pairs in a row that are off by more than this many microseconds, and agree with each other,
/// say that the device stood still meanwhile: what was known before is worthless. One alone says
/// that the callback was held up while it took the time, and is left out.
const JUMP_MICROS: i64 = 10_000;

/// Learns from pairs of (frame, moment at which it is heard, or sounds at a microphone) how frames and stamps belong together.
///
/// Each pair says when frame 0 would have been heard at the nominal rate; the median of the last
/// second is believed, and of a device that listens the earliest of the last seconds, but for a few.
#[derive(Clone, Debug)]
pub(in crate::sound) struct HeardClock {
    rate: SampleRate,
    kept_micros: i64,
    /// How many in a hundred pairs are earlier than what is believed.
    percent: usize,
    /// (moment of the pair, moment of frame 0 after it), in microseconds.
    pairs: VecDeque<(i64, i64)>,
    /// The moment of frame 0 after a pair that was off, until the next one speaks for it or against it.
    suspect: Option<i64>,
    n_jumps: u64,
}

impl HeardClock {
    /// The clock of a device that plays. It knows nothing yet.
    pub(in crate::sound) fn new(rate: SampleRate) -> Self {
        Self {
            rate,
            kept_micros: PLAYED_MICROS,
            percent: 50,
            pairs: VecDeque::new(),
            suspect: None,
            n_jumps: 0,
        }
    }

    /// The clock of a device that listens. It knows nothing yet.
    #[cfg(feature = "listen-in")]
    pub(in crate::sound) fn listening(rate: SampleRate) -> Self {
        Self {
            kept_micros: LISTENED_MICROS,
            percent: EARLY_PERCENT,
            ..Self::new(rate)
        }
    }

    /// Takes in that `frame` is heard at `heard`.
    pub(in crate::sound) fn learn(&mut self, frame: Frame, heard: Stamp) {
        let heard = signed(heard);
        let origin = heard - self.rate.micros_at(frame);
        let off = |known: i64| (origin - known).abs() > JUMP_MICROS;
        if self.pairs.back().is_some_and(|&(_, known)| off(known)) {
            match self.suspect.replace(origin) {
                Some(before) if !off(before) => {
                    self.pairs.clear();
                    self.n_jumps += 1;
                }
                _ => return,
            }
        }
        self.suspect = None;
        self.pairs.push_back((heard, origin));
        let oldest = heard - self.kept_micros;
        while self.pairs.front().is_some_and(|&(at, _)| at < oldest) {
            self.pairs.pop_front();
        }
    }

    /// How often the device was found to have stood still.
    pub(in crate::sound) fn n_jumps(&self) -> u64 {
        self.n_jumps
    }

    /// The frame that is heard at `at`; `None` before the first pair.
    pub(in crate::sound) fn frame_at(&self, at: Stamp) -> Option<Frame> {
        let origin = self.origin()?;
        Some(self.rate.frame_at(signed(at) - origin))
    }

    /// When `frame` is heard; `None` before the first pair.
    pub(in crate::sound) fn stamp_of(&self, frame: Frame) -> Option<Stamp> {
        let micros = self.origin()? + self.rate.micros_at(frame);
        Some(Stamp(u64::try_from(micros).unwrap_or(0)))
    }

    fn origin(&self) -> Option<i64> {
        let mut origins: Vec<i64> = self.pairs.iter().map(|&(_, origin)| origin).collect();
        origins.sort_unstable();
        origins.get(origins.len() * self.percent / 100).copied()
    }
}

fn signed(stamp: Stamp) -> i64 {
    i64::try_from(stamp.0).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pairs every 1024 frames whose moments wander by `noise` and are `late` microseconds late.
    fn teach(clock: &mut HeardClock, from: i64, late: i64, noise: &[i64]) {
        for (n, wander) in (from..).zip(noise.iter().cycle()).take(60) {
            let frame = Frame(1_024 * n);
            let micros = SampleRate::HZ_48000.micros_at(frame) + 50_000 + late + wander;
            clock.learn(frame, Stamp(u64::try_from(micros).expect("positive")));
        }
    }

    #[test]
    fn wandering_pairs_are_steadied() {
        let mut clock = HeardClock::new(SampleRate::HZ_48000);
        assert_eq!(clock.frame_at(Stamp(0)), None);
        teach(&mut clock, 0, 0, &[0, 900, -700, 0, 6_000, 0, -200]);
        assert_eq!(clock.stamp_of(Frame(480_000)), Some(Stamp(10_050_000)));
        assert_eq!(clock.frame_at(Stamp(10_050_000)), Some(Frame(480_000)));
        assert_eq!(clock.frame_at(Stamp(40_000)), Some(Frame(-480)));
        assert_eq!(clock.n_jumps(), 0);
    }

    #[test]
    fn one_late_pair_is_left_out() {
        let mut clock = HeardClock::new(SampleRate::HZ_48000);
        teach(&mut clock, 0, 0, &[0, 0, 0, 30_000, 0, -14_000, 12_000]);
        assert_eq!(clock.stamp_of(Frame(480_000)), Some(Stamp(10_050_000)));
        assert_eq!(clock.n_jumps(), 0);
    }

    #[cfg(feature = "listen-in")]
    #[test]
    fn what_waits_uncounted_makes_blocks_late_and_not_what_they_hold() {
        // As measured through PulseAudio: each block 20 microseconds less late, then 7 ms later.
        let late: Vec<i64> = (0..350).rev().map(|n| 20 * n).collect();
        let mut clock = HeardClock::listening(SampleRate::HZ_48000);
        for (n, late) in (0..2_000).zip(late.iter().cycle()) {
            let frame = Frame(341 * n);
            let micros = SampleRate::HZ_48000.micros_at(frame) + 50_000 + late;
            clock.learn(frame, Stamp(u64::try_from(micros).expect("positive")));
            let Stamp(told) = clock.stamp_of(Frame(480_000)).expect("it has learnt");
            // After one round the earliest are known.
            assert!(
                n < 350 || told.abs_diff(10_050_000) < 700,
                "{told} after {n}"
            );
        }
        assert_eq!(clock.n_jumps(), 0);
    }

    #[test]
    fn a_jump_makes_it_forget() {
        let mut clock = HeardClock::new(SampleRate::HZ_48000);
        teach(&mut clock, 0, 0, &[0]);
        teach(&mut clock, 60, 25_000, &[0]);
        assert_eq!(clock.n_jumps(), 1);
        assert_eq!(clock.stamp_of(Frame(480_000)), Some(Stamp(10_075_000)));
    }
}
