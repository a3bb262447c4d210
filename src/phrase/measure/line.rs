//! What a single line does from note to note: its tops, its long notes, its held notes, and figures
//! that come again.

use crate::accent::{Cue, size};
use crate::phrase::{Note, Phrase, Voice};
use crate::rhythm::{Cycle, Layer, TICKS_PER_PULSE};

/// The notes of the line, in the frame of the cycle, looping.
pub(super) struct Tune {
    cycle: Cycle,
    notes: Vec<TuneNote>,
    loop_ticks: i64,
}

struct TuneNote {
    /// Ticks from the first count of the first cycle.
    at: i64,
    height: f64,
    /// Ticks for which it is held.
    held: f64,
}

impl Tune {
    pub(super) fn of(phrase: &Phrase) -> Self {
        let n_pulses = i64::try_from(phrase.cycle.n_pulses()).expect("at most 48 pulses");
        let loop_ticks = i64::from(phrase.n_cycles) * n_pulses * TICKS_PER_PULSE;
        let of_note = |note: &Note| {
            Some(TuneNote {
                at: note.at.0.rem_euclid(loop_ticks.max(1)),
                height: f64::from(note.pitch?.0),
                held: f64::from(note.length.0),
            })
        };
        let line = phrase.notes.iter().filter(|n| n.voice == Voice::Line);
        let mut notes: Vec<TuneNote> = line.filter_map(of_note).collect();
        notes.sort_by_key(|note| note.at);
        Self {
            cycle: phrase.cycle,
            notes,
            loop_ticks,
        }
    }

    /// What the line does on the pulse `idx` of the whole phrase, each cue with its units.
    pub(super) fn cues(&self, idx: usize) -> Vec<(Cue, f64)> {
        let at = i64::try_from(idx).unwrap_or(0) * TICKS_PER_PULSE;
        let Ok(place) = self.notes.binary_search_by_key(&at, |note| note.at) else {
            return Vec::new();
        };
        vec![
            (Cue::Turn, self.turn(place)),
            (
                Cue::Length,
                size::length(self.over_neighbours(place, Self::gap)),
            ),
            (
                Cue::Held,
                size::held(self.over_neighbours(place, Self::share_held)),
            ),
            (Cue::Figure, self.figure(idx)),
        ]
    }

    /// A top: reached by a rise and left downwards.
    fn turn(&self, place: usize) -> f64 {
        let height = |steps| self.near(place, steps).height;
        if height(1) < height(0) {
            size::turn(height(0) - height(-1))
        } else {
            0.0
        }
    }

    /// How many times the mean of its two neighbours a note has of something.
    fn over_neighbours(&self, place: usize, of: impl Fn(&Self, usize) -> f64) -> f64 {
        let at = |steps| of(self, self.place(place, steps));
        at(0) / (0.5 * (at(-1) + at(1))).max(1e-9)
    }

    /// Ticks from a note to the next.
    #[expect(clippy::cast_precision_loss, reason = "ticks of a phrase")]
    fn gap(&self, place: usize) -> f64 {
        let here = self.near(place, 0).at;
        let next = self.near(place, 1).at;
        match (next - here).rem_euclid(self.loop_ticks.max(1)) {
            0 => self.loop_ticks as f64,
            gap => gap as f64,
        }
    }

    /// The share of its time for which a note is held.
    fn share_held(&self, place: usize) -> f64 {
        (self.near(place, 0).held / self.gap(place)).min(1.0)
    }

    /// The beginning of a figure that fills the cycle by coming again: in an even line, how much more
    /// of its rise and fall the place in groups of three explains than the place in groups of two,
    /// or the other way round, beyond what chance does.
    fn figure(&self, idx: usize) -> f64 {
        let n = self.cycle.n_pulses();
        let first = i64::try_from(idx / n * n).unwrap_or(0);
        let height = |pulse: i64| {
            let at = (first + pulse) * TICKS_PER_PULSE;
            let place = self.notes.binary_search_by_key(&at, |note| note.at).ok()?;
            Some(self.near(place, 0).height)
        };
        let n_pulses = i64::try_from(n).unwrap_or(0);
        let Some(heights) = (0..n_pulses).map(height).collect::<Option<Vec<f64>>>() else {
            return 0.0;
        };
        let on = |every| Layer::every(self.cycle, every).contains(self.cycle.pulse_at(to_i64(idx)));
        let (threes, twos) = (explained(&heights, 3), explained(&heights, 2));
        let share = match (on(3), on(2)) {
            (true, true) => (threes - twos).abs(),
            (true, false) => threes - twos,
            (false, true) => twos - threes,
            (false, false) => 0.0,
        };
        size::figure(share)
    }

    fn place(&self, place: usize, steps: i64) -> usize {
        let n = to_i64(self.notes.len()).max(1);
        usize::try_from((to_i64(place) + steps).rem_euclid(n)).unwrap_or(0)
    }

    fn near(&self, place: usize, steps: i64) -> &TuneNote {
        &self.notes[self.place(place, steps)]
    }
}

/// The share of the variance of `heights` that their place in groups of `n` explains, less what so
/// many groups explain by chance (the adjusted R²); 0 when the groups do not fill the cycle.
fn explained(heights: &[f64], n: usize) -> f64 {
    if !heights.len().is_multiple_of(n) || heights.len() <= n {
        return 0.0;
    }
    let count = |n: usize| (0..n).fold(0.0, |sum, _| sum + 1.0);
    let mean = |of: &mut dyn Iterator<Item = f64>| {
        let (n, sum) = of.fold((0.0, 0.0), |(n, sum), value| (n + 1.0, sum + value));
        sum / f64::max(n, 1.0)
    };
    let whole = mean(&mut heights.iter().copied());
    let total: f64 = heights.iter().map(|h| (h - whole).powi(2)).sum();
    if total < 1e-9 {
        return 0.0;
    }
    let rest: f64 = (0..n)
        .map(|place| {
            let group = || heights.iter().skip(place).step_by(n).copied();
            let middle = mean(&mut group());
            group().map(|h| (h - middle).powi(2)).sum::<f64>()
        })
        .sum();
    let (all, groups) = (count(heights.len()), count(n));
    (1.0 - (rest / (all - groups)) / (total / (all - 1.0))).max(0.0)
}

fn to_i64(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_explained_by_its_own_length_alone() {
        let threes = [9.0, 5.0, 4.0, 9.0, 5.0, 4.0];
        assert!((explained(&threes, 3) - 1.0).abs() < 1e-12);
        assert!(explained(&threes, 2) < 1e-12);
        let twos = [9.0, 5.0, 9.0, 5.0, 9.0, 5.0];
        assert!((explained(&twos, 2) - 1.0).abs() < 1e-12);
        assert!(explained(&twos, 3) < 1e-12);
        // A plain fall by steps: R² 8/35 and 3/35 by hand, less than chance.
        let fall = [6.0, 5.0, 4.0, 3.0, 2.0, 1.0];
        assert_eq!((explained(&fall, 3), explained(&fall, 2)), (0.0, 0.0));
    }
}
