//! A row of pulses and where cycles begin in it: as it was given, found, tapped, or said pulse by pulse, and where it
//! has none, laid evenly. What comes of it on the screen is none of its business.

mod laid;
mod taps;

use std::iter::{once, successors};
use std::ops::Range;

use super::{Given, Source};
use crate::listen::{PulsePath, Pulses, Sound, clock, counted_from_firsts};
use crate::rhythm::Cycle;

use laid::gap_of;

/// How many times as long as gaps beside it one is between cycles of which the second goes on somewhere else, and the
/// mean gap of a cycle where the next goes on at another tempo (round figures: a player slows down by less in a cycle).
const BREAK: f64 = 1.25;
const OTHER_TEMPO: f64 = 1.12;

/// Pulses from the beginning of a recording on, and which of them begin cycles.
#[derive(Clone, Debug)]
pub(in crate::app) struct Row {
    all: Pulses,
    /// What is counted.
    cycle: Cycle,
    /// Parts that keep a tempo of their own; there is one at least, which begins with the first pulse.
    parts: Vec<Part>,
    /// The pulses of which the learner said that they begin a cycle.
    said: Vec<usize>,
    /// From when until when the learner tapped pulses, in seconds, each time that still counts.
    tapped: Vec<[f64; 2]>,
}

/// Pulses that keep a tempo, up to those of the next part.
#[derive(Clone, Copy, Debug)]
struct Part {
    /// The first of them.
    start: usize,
    /// The first that begins a cycle, where the learner said of none in this part that it does.
    first: usize,
    /// Whether nobody heard or said them.
    is_laid: bool,
    /// How probable it is that these are the pulses of the piece, of those that may be; 1 where somebody said so.
    probable: f64,
}

impl Part {
    fn found(start: usize, first: usize) -> Self {
        Self {
            start,
            first,
            is_laid: false,
            probable: 1.0,
        }
    }

    /// One that is laid, of which the first pulse begins a cycle.
    fn laid(start: usize) -> Self {
        Self {
            is_laid: true,
            ..Self::found(start, start)
        }
    }
}

impl Row {
    /// The pulses that were given, or the likeliest of those found.
    pub(super) fn first_of(source: &Source, sound: &Sound, paths: &[PulsePath]) -> Option<Self> {
        let cycle = source.cycle;
        match &source.pulses {
            Some(Given::Times(pulses)) => Some(Self::from_first(pulses, cycle).said()),
            Some(Given::Grid(pulses)) => Some(Self::from_first(pulses, cycle)),
            Some(Given::Steady(tempo, start)) => {
                let pulses = Pulses::steady(*tempo, *start, sound.seconds()).ok()?;
                Some(Self::from_first(&pulses, cycle).said())
            }
            None => Self::proposed(sound, paths, cycle),
        }
    }

    /// Pulses of which the first cycle begins with this one.
    pub(super) fn of(all: Pulses, first: usize, cycle: Cycle) -> Self {
        Self {
            all,
            cycle,
            parts: vec![Part::found(0, first)],
            said: Vec::new(),
            tapped: Vec::new(),
        }
    }

    /// The same, the learner having said so of those that are not laid, or of all where all are.
    pub(super) fn said(self) -> Self {
        let is_all_laid = self.is_all_laid();
        let (mut said, mut parts) = (self.said.clone(), self.parts.clone());
        for (nth, part) in parts.iter_mut().enumerate() {
            if part.is_laid && !is_all_laid {
                continue;
            }
            part.probable = 1.0;
            if self.said_in(&self.part(nth)).next().is_none() {
                said.push(part.first);
            }
        }
        said.sort_unstable();
        Self {
            said,
            parts,
            ..self
        }
    }

    /// Pulses of which the first begins a cycle; those before it go on at its gap, as far as there is time.
    pub(super) fn from_first(pulses: &Pulses, cycle: Cycle) -> Self {
        let times = pulses.times();
        let gap = times[1] - times[0];
        let before = successors(Some(times[0] - gap), |time| Some(time - gap));
        let before = before.take(cycle.n_pulses() - 1);
        let mut all: Vec<f64> = before.take_while(|time| *time >= 0.0).collect();
        let first = all.len();
        all.reverse();
        all.extend_from_slice(times);
        match Pulses::new(all) {
            Ok(all) => Self::of(all, first, cycle),
            Err(_) => Self::of(pulses.clone(), 0, cycle),
        }
    }

    /// Pulses of whole cycles as they were kept, the learner having said so. A part begins after each break between cycles,
    /// and where they go on at another tempo.
    pub(super) fn kept(pulses: &Pulses, cycle: Cycle) -> Self {
        let row = Self::from_first(pulses, cycle);
        let (times, first, n) = (row.all.times(), row.parts[0].first, cycle.n_pulses());
        let gap = |from: usize| gap_of(times.get(from..from + n)?);
        let begins_part = |begin: &usize| {
            let Some((before, after)) = gap(begin - n).zip(gap(*begin)) else {
                return false;
            };
            let seam = times[*begin] - times[begin - 1];
            let [least, most] = [before.min(after), before.max(after)];
            most > OTHER_TEMPO * least || seam > BREAK * most || BREAK * seam < least
        };
        let begins = (first + n..times.len()).step_by(n).filter(begins_part);
        let parts = once(row.parts[0]).chain(begins.map(|begin| Part::found(begin, begin)));
        let parted = Self {
            parts: parts.collect(),
            ..row.clone()
        };
        parted.said()
    }

    /// The first of these paths, nobody wanting those before it.
    pub(super) fn proposed(sound: &Sound, paths: &[PulsePath], cycle: Cycle) -> Option<Self> {
        let path = paths.first()?;
        let stretches = counted_from_firsts(sound, path, cycle);
        let parts = path.parts().zip(stretches);
        let left: f64 = paths.iter().map(|path| path.probable).sum();
        let parts = parts.map(|(part, counted)| Part {
            probable: path.steady * path.probable / left.max(1e-9),
            ..Part::found(part.start, counted.start)
        });
        Some(Self {
            parts: parts.collect(),
            ..Self::of(path.pulses.clone(), 0, cycle)
        })
    }

    /// The same pulses in cycles of another length: a cycle begins where the learner said that one does, or
    /// where the first did.
    pub(super) fn counted_in(&self, cycle: Cycle) -> Self {
        let parts = self.parts.iter().map(|part| Part {
            first: part.start + (part.first - part.start) % cycle.n_pulses(),
            ..*part
        });
        Self {
            parts: parts.collect(),
            cycle,
            ..self.clone()
        }
    }

    /// How many whole cycles there are.
    pub(super) fn n_cycles(&self) -> usize {
        self.counted().times().len() / self.cycle.n_pulses()
    }

    /// The pulses of whole cycles, from the first on. Where the learner said that a cycle begins amid
    /// another, and where a part ends, the pulses of that one count in none and are left out.
    pub(super) fn counted(&self) -> Pulses {
        self.all.in_cycles(&self.stretches(), self.cycle)
    }

    /// The pulses over which cycles are counted without breaking off: those of each part from the first of its
    /// cycles on, and from each place on of which the learner said that one begins amid another.
    fn stretches(&self) -> Vec<Range<usize>> {
        let of_part = |nth: usize| {
            let part = self.part(nth);
            let said: Vec<usize> = self.said_in(&part).collect();
            let first = match said.first() {
                Some(said) => part.start + (said - part.start) % self.cycle.n_pulses(),
                None => self.parts[nth].first,
            };
            let begins: Vec<usize> = once(first).chain(said.into_iter().skip(1)).collect();
            let ends = begins.iter().skip(1).copied().chain([part.end]);
            let stretches = begins.iter().zip(ends).map(|(from, until)| *from..until);
            stretches.collect::<Vec<_>>()
        };
        (0..self.parts.len()).flat_map(of_part).collect()
    }

    /// The pulses of a part.
    fn part(&self, nth: usize) -> Range<usize> {
        let next = self.parts.get(nth + 1);
        let end = next.map_or(self.all.times().len(), |next| next.start);
        self.parts[nth].start..end
    }

    /// The part that lies about a time.
    fn part_about(&self, time: f64) -> usize {
        let begins = |part: &Part| self.all.times()[part.start] <= time;
        self.parts.iter().rposition(begins).unwrap_or(0)
    }

    /// Those of a part of which the learner said that they begin a cycle.
    fn said_in(&self, part: &Range<usize>) -> impl Iterator<Item = usize> {
        let said = self.said.iter().copied();
        said.filter(|said| part.contains(said))
    }

    /// The same, the learner having said of some where they lie: those that are laid everywhere are no longer laid.
    pub(super) fn set(self) -> Self {
        let is_all_laid = self.is_all_laid();
        let parts = self.parts.iter().map(|part| Part {
            is_laid: part.is_laid && !is_all_laid,
            ..*part
        });
        Self {
            parts: parts.collect(),
            ..self
        }
    }

    /// Whether the learner said or tapped where they lie.
    pub(super) fn is_said(&self) -> bool {
        !self.said.is_empty() || !self.tapped.is_empty()
    }

    /// How probable it is that those about a time are the pulses of the piece; 1 where somebody said so.
    pub(super) fn probable_at(&self, time: f64) -> f64 {
        self.parts[self.part_about(time)].probable
    }

    /// Whether some of them were found and the learner said nothing of them yet.
    pub(super) fn is_proposed_in_part(&self) -> bool {
        self.parts.iter().any(|part| part.probable < 1.0)
    }

    /// The same, cycles of the part that lies about a time beginning a pulse later; after a whole cycle as they did.
    pub(super) fn later_about(&self, time: f64) -> Self {
        let (n, nth) = (self.cycle.n_pulses(), self.part_about(time));
        let part = self.part(nth);
        let first = self.stretches().into_iter().map(|stretch| stretch.start);
        let first = first.filter(|first| part.contains(first)).min();
        let off = first.unwrap_or(part.start) - part.start;
        let back = if (off + 1).is_multiple_of(n) { n } else { 0 };
        let mut parts = self.parts.clone();
        parts[nth].first = part.start + (parts[nth].first + 1 - part.start) % n;
        parts[nth].probable = 1.0;
        let later = |pulse: &usize| match part.contains(pulse) {
            true => pulse + 1 - back,
            false => *pulse,
        };
        // What was said of the last pulse of a part is said of none any more.
        let stays = |pulse: &&usize| !part.contains(pulse) || part.contains(&later(pulse));
        let said = self.said.iter().filter(stays).map(later).collect();
        Self {
            parts,
            said,
            ..self.clone()
        }
    }

    /// The same with the pulse nearest to a time as the first of a cycle, and which it is. Cycles after it
    /// in its part are counted from there, and those before it back from there, unless somebody had said of one
    /// of them where it begins. No pulse moves. Nothing where a cycle begins there already.
    pub(super) fn begun_at(&self, time: f64) -> Option<(Self, usize)> {
        let (n, times) = (self.cycle.n_pulses(), self.all.times());
        let off = |at: &usize| (times[*at] - time).abs();
        let near = (0..times.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let begins =
            |from: &Range<usize>| from.contains(&near) && (near - from.start).is_multiple_of(n);
        if self.stretches().iter().any(begins) {
            return None;
        }
        let mut parts = self.parts.clone();
        parts[self.part_about(times[near])].probable = 1.0;
        // One that was said within a cycle of it was meant to be this one.
        let mut said = self.said.clone();
        said.retain(|said| said.abs_diff(near) >= n);
        said.push(near);
        said.sort_unstable();
        let row = Self {
            parts,
            said,
            ..self.clone()
        };
        Some((row, near))
    }

    /// What it means that a cycle begins with this pulse, of which that was said last.
    pub(super) fn told_of(&self, begun: usize) -> String {
        let clock_at = |pulse: usize| clock(self.all.times()[pulse]);
        let at = clock_at(begun);
        let parts = (0..self.parts.len()).map(|nth| self.part(nth));
        let part = parts.into_iter().find(|part| part.contains(&begun));
        let part = part.unwrap_or(0..self.all.times().len());
        let of_next = Some(part.end).filter(|end| *end < self.all.times().len());
        let after = self.said_in(&part).find(|said| *said > begun).or(of_next);
        let until = after.map_or_else(String::new, |after| format!(" until {}", clock_at(after)));
        match self.said_in(&part).filter(|said| *said < begun).last() {
            None => {
                let from = match part.start {
                    0 => String::new(),
                    start => format!(" from {} on", clock_at(start)),
                };
                format!(
                    "A cycle begins at {at}; those before it{from} and after it{until} follow from that."
                )
            }
            Some(before) => {
                let left_out = match (begun - before) % self.cycle.n_pulses() {
                    0 => String::new(),
                    1 => "; the pulse before it counts in none".to_owned(),
                    n => format!("; the {n} pulses before it count in none"),
                };
                format!("From {at} on{until} cycles begin here{left_out}.")
            }
        }
    }

    /// All of it moved, unless it would begin before the recording.
    pub(super) fn moved(&self, seconds: f64) -> Option<Self> {
        let times = self.all.times().iter().map(|time| time + seconds);
        let times: Vec<f64> = times.collect();
        // A pulse that is left out at the beginning is none of a cycle that is counted.
        let left_out = usize::from(times[0] < 0.0);
        let firsts = self.stretches();
        firsts.first()?.start.checked_sub(left_out)?;
        let parts = self.parts.iter().map(|part| Part {
            start: part.start.saturating_sub(left_out),
            first: part.first.saturating_sub(left_out),
            ..*part
        });
        let said = self
            .said
            .iter()
            .filter_map(|said| said.checked_sub(left_out));
        Some(Self {
            all: Pulses::new(times[left_out..].to_vec()).ok()?,
            parts: parts.collect(),
            said: said.collect(),
            ..self.clone()
        })
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Twenty pulses of half a second, and from 20 s on thirty of 0.4 s; cycles of the first part are proposed from its
    /// second pulse on, and those of the other from its third.
    pub(in super::super) fn of_two_parts() -> Row {
        let slow = (0..20).map(|k| 0.5 * f64::from(k));
        let fast = (0..30).map(|k| 20.0 + 0.4 * f64::from(k));
        let all = Pulses::new(slow.chain(fast).collect()).expect("pulses");
        Row {
            parts: vec![Part::found(0, 1), Part::found(20, 22)],
            ..Row::of(all, 0, Cycle::SIX)
        }
    }

    /// The pulses with which cycles begin.
    pub(in super::super) fn firsts(row: &Row) -> Vec<f64> {
        row.counted().times().iter().copied().step_by(6).collect()
    }

    pub(in super::super) fn is_near(found: &[f64], expected: &[f64]) -> bool {
        let near = |(a, b): (&f64, &f64)| (a - b).abs() < 1e-9;
        found.len() == expected.len() && found.iter().zip(expected).all(near)
    }

    #[test]
    fn cycles_of_each_part_are_counted_by_themselves() {
        let row = of_two_parts();
        // By hand: of 20 pulses the second to the nineteenth are three cycles; 28 are left of the others.
        let firsts_of = firsts(&row);
        let expected = [0.5, 3.5, 6.5, 20.8, 23.2, 25.6, 28.0, 30.4];
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
        assert_eq!(row.n_cycles(), 7);
        let later = firsts(&row.later_about(25.0));
        let expected = [0.5, 3.5, 6.5, 21.2, 23.6, 26.0, 28.4, 30.8];
        assert!(is_near(&later, &expected), "{later:?}");
        let later = firsts(&row.later_about(4.0));
        let expected = [1.0, 4.0, 7.0, 20.8, 23.2, 25.6, 28.0, 30.4];
        assert!(is_near(&later, &expected), "{later:?}");
        let round = (0..6).fold(row.clone(), |row, _| row.later_about(25.0));
        assert_eq!(firsts(&round), firsts(&row));
    }

    #[test]
    fn what_is_said_of_a_cycle_holds_in_its_part() {
        let row = of_two_parts();
        let (row, begun) = row.begun_at(24.0).expect("none begins there");
        assert_eq!(begun, 30);
        let firsts_of = firsts(&row);
        let expected = [0.5, 3.5, 6.5, 21.6, 24.0, 26.4, 28.8, 31.2];
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
        assert_eq!(
            row.told_of(begun),
            "A cycle begins at 0:24; those before it from 0:20 on and after it follow from that."
        );
        assert!(row.begun_at(26.4).is_none());
        let (row, begun) = row.begun_at(1.0).expect("none begins there");
        assert_eq!(
            row.told_of(begun),
            "A cycle begins at 0:01; those before it and after it until 0:20 follow from that."
        );
        let firsts_of = firsts(&row);
        let expected = [1.0, 4.0, 7.0, 21.6, 24.0, 26.4, 28.8, 31.2];
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
    }

    #[test]
    fn parts_go_with_their_pulses_when_all_move_or_are_counted_in_another_length() {
        let moved = of_two_parts()
            .moved(-0.01)
            .expect("the first pulse counts in none");
        let firsts_of = firsts(&moved);
        let expected = [0.49, 3.49, 6.49, 20.79, 23.19, 25.59, 27.99, 30.39];
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
        let in_twelve = of_two_parts().counted_in(Cycle::TWELVE);
        let counted = in_twelve.counted();
        let firsts_of: Vec<f64> = counted.times().iter().copied().step_by(12).collect();
        assert!(
            is_near(&firsts_of, &[0.5, 20.8, 25.6, 30.4]),
            "{firsts_of:?}"
        );
    }

    #[test]
    fn what_was_kept_has_its_parts_again() {
        let counted = of_two_parts().counted();
        let kept = Row::kept(&counted, Cycle::SIX);
        assert_eq!(kept.parts.len(), 2);
        let later = firsts(&kept.later_about(25.0));
        assert!(is_near(&later[..3], &[0.5, 3.5, 6.5]), "{later:?}");
        assert!(is_near(&later[3..5], &[21.2, 23.6]), "{later:?}");
        // A tempo that goes on without a break, and one that drifts.
        let [fast, drifting] = [0.8, 0.995].map(|ratio: f64| {
            let gap = |k: i32| {
                0.4 * if ratio > 0.9 {
                    ratio.powi(k)
                } else if k < 24 {
                    1.0
                } else {
                    ratio
                }
            };
            let times = (0..60).scan(1.0, |time, k| {
                let now = *time;
                *time += gap(k);
                Some(now)
            });
            let times: Vec<f64> = times.collect();
            Row::kept(&Pulses::new(times).expect("pulses"), Cycle::SIX)
        });
        assert_eq!(fast.parts.len(), 2);
        assert_eq!(drifting.parts.len(), 1);
    }
}
