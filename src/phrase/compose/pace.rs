//! How the tempo goes through a phrase. It is drawn alike for every grouping, so that it gives nothing
//! away.

use crate::phrase::Pacing;
use crate::rhythm::{Pace, Pattern, Tempo, Tick};
use crate::world::Dice;

/// By how much the tempo moves, in hundredths.
const MOVES: (i64, i64) = (20, 40);
/// By how much the last two pulses before a close are longer: half-way up, then in full. A player's
/// breath, under what a listener takes for another tempo.
const BREATH: [f64; 2] = [0.04, 0.08];

/// The phrase that the tempo goes through.
#[derive(Clone, Copy)]
pub(super) struct Room {
    pub(super) pattern: Pattern,
    pub(super) n_cycles: i64,
    /// The pulse on which it comes in.
    pub(super) entry: i64,
}

impl Room {
    fn n_cycle(self) -> i64 {
        i64::try_from(self.pattern.cycle().n_pulses()).expect("at most 48 pulses")
    }

    /// The first pulse of its last cycle.
    fn last_cycle(self) -> i64 {
        (self.n_cycles - 1) * self.n_cycle()
    }
}

pub(super) fn draw(pacing: Pacing, tempo: Tempo, room: Room, dice: &mut Dice) -> Pace {
    match pacing {
        Pacing::Steady => Pace::steady(tempo),
        Pacing::Moving => moving(tempo, room, dice),
        Pacing::Elastic => elastic(tempo, room),
    }
}

/// To another tempo, from pulse to pulse through the cycle in the middle, and on in it.
fn moving(tempo: Tempo, room: Room, dice: &mut Dice) -> Pace {
    let share =
        f64::from(u32::try_from(dice.between(MOVES.0, MOVES.1)).expect("two digits")) / 100.0;
    let (slowest, fastest) = room.pattern.tempo();
    let (up, down) = (1.0 + share, 1.0 - share);
    let ppm = tempo.pulses_a_minute();
    let fits = |ratio: f64| (real(slowest)..=real(fastest)).contains(&(ppm * ratio));
    let ratio = match (fits(up), fits(down)) {
        (true, true) if dice.one_in(2) => up,
        (true, false) => up,
        _ => down,
    };
    let (n, from) = (room.n_cycle(), room.n_cycles / 2 * room.n_cycle());
    (1..=n).fold(Pace::steady(tempo), |pace, step| {
        let here = ppm * ratio.powf(real(step) / real(n));
        pace.then(Tick::of_pulse(from + step - 1), tempo_near(here))
    })
}

/// A breath before the close of the last cycle, and on in tempo after it.
fn elastic(tempo: Tempo, room: Room) -> Pace {
    let end = room.entry.min(0) + room.last_cycle() + room.n_cycle();
    let close = room.pattern.close().map_or(end, |pulse| {
        room.last_cycle() + i64::try_from(pulse.idx()).expect("a pulse")
    });
    let ppm = tempo.pulses_a_minute();
    let slowed = (0..)
        .zip(BREATH)
        .fold(Pace::steady(tempo), |pace, (step, longer)| {
            let at = Tick::of_pulse(close - 2 + step);
            pace.then(at, tempo_near(ppm / (1.0 + longer)))
        });
    slowed.then(Tick::of_pulse(close), tempo)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to what a tempo may be"
)]
fn tempo_near(ppm: f64) -> Tempo {
    let hundredths = (ppm * 100.0).round().clamp(2_000.0, 60_000.0) as u32;
    Tempo::of_hundredths(hundredths).expect("clamped to what a tempo may be")
}

#[expect(clippy::cast_precision_loss, reason = "a few hundred")]
fn real(n: i64) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::Seed;

    const ROOM: Room = Room {
        pattern: Pattern::SIX,
        n_cycles: 6,
        entry: 0,
    };

    fn tempo(ppm: i64) -> Tempo {
        Tempo::of_pulses_a_minute(ppm).expect("in range")
    }

    #[test]
    fn it_moves_by_a_fifth_to_two_fifths_and_stays_in_range() {
        let mut went = [0, 0];
        for seed in 0..200 {
            let from = tempo(100 + 8 * (seed % 20));
            let mut dice = Seed(u64::try_from(seed).expect("small")).dice();
            let pace = draw(Pacing::Moving, from, ROOM, &mut dice);
            assert_eq!(pace.at(Tick::of_pulse(17)), from);
            let to = pace.at(Tick::of_pulse(35)).pulses_a_minute();
            assert!((99.9..=260.1).contains(&to), "{from} to {to}");
            let ratio = to / from.pulses_a_minute();
            let moved = (ratio - 1.0).abs();
            assert!((0.1999..=0.4001).contains(&moved), "{from} to {to}");
            went[usize::from(ratio > 1.0)] += 1;
            // From pulse to pulse in one direction.
            let steps: Vec<f64> = (17..36)
                .map(|pulse| pace.at(Tick::of_pulse(pulse)).pulses_a_minute())
                .collect();
            assert!(steps.is_sorted() || steps.iter().rev().is_sorted());
        }
        assert!(went.iter().all(|n| *n > 40), "{went:?}");
    }

    #[test]
    fn the_close_is_reached_late_by_twelve_hundredths_of_a_pulse() {
        let of = |pattern| {
            let room = Room { pattern, ..ROOM };
            let pace = draw(Pacing::Elastic, tempo(120), room, &mut Seed(1).dice());
            let late = |pulse| pace.units_at(Tick::of_pulse(pulse), 0, 1_000) - pulse * 500;
            let n = room.n_cycles * room.n_cycle();
            (late(n - 4), late(n), late(n - 2))
        };
        // 4 % and 8 % of half a second are 20 and 40 ms.
        assert_eq!(of(Pattern::SIX), (0, 60, 0));
        let guajira = Pattern::from_id("guajira").expect("a row");
        assert_eq!(of(guajira), (0, 60, 60));
    }
}
