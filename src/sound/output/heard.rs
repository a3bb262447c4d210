//! Which frame of a device is heard when.

use std::collections::VecDeque;

use crate::pcm::{Frame, SampleRate};
use crate::world::Stamp;

/// How far back pairs are kept, in microseconds: the median over a second of them was found to be
/// steady to a third of a millisecond where single pairs wander.
const KEPT_MICROS: i64 = 1_000_000;
/// Two pairs in a row that are off by more than this many microseconds, and agree with each other,
/// say that the device stood still meanwhile: what was known before is worthless. One alone says
/// that the callback was held up while it took the time, and is left out.
const JUMP_MICROS: i64 = 10_000;

/// Learns from pairs of (frame, moment at which it is heard) how frames and stamps belong together.
///
/// Each pair says when frame 0 would have been heard at the nominal rate; the median of the last
/// second is believed.
#[derive(Clone, Debug)]
pub(in crate::sound) struct HeardClock {
    rate: SampleRate,
    /// (moment of the pair, moment of frame 0 after it), in microseconds.
    pairs: VecDeque<(i64, i64)>,
    /// The moment of frame 0 after a pair that was off, until the next one speaks for it or against it.
    suspect: Option<i64>,
    n_jumps: u64,
}

impl HeardClock {
    /// A clock that knows nothing yet.
    pub(in crate::sound) fn new(rate: SampleRate) -> Self {
        Self {
            rate,
            pairs: VecDeque::new(),
            suspect: None,
            n_jumps: 0,
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
        let oldest = heard - KEPT_MICROS;
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
        origins.get(origins.len() / 2).copied()
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

    #[test]
    fn a_jump_makes_it_forget() {
        let mut clock = HeardClock::new(SampleRate::HZ_48000);
        teach(&mut clock, 0, 0, &[0]);
        teach(&mut clock, 60, 25_000, &[0]);
        assert_eq!(clock.n_jumps(), 1);
        assert_eq!(clock.stamp_of(Frame(480_000)), Some(Stamp(10_075_000)));
    }
}
