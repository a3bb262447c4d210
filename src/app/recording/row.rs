//! A row of pulses and where cycles begin in it: as it was given, found, tapped, or said pulse by pulse.
//! What comes of it on the screen is none of its business.

use std::iter::{once, successors};

use super::{Given, Source};
use crate::listen::{PulsePath, Pulses, Sound, clock, from_first_of_cycle};
use crate::rhythm::{Cycle, Tempo};

/// Pulses a minute that are laid over a recording in which none is found.
const LAID: i64 = 180;

/// Pulses from the beginning of a recording on, and which of them begin cycles.
#[derive(Clone, Debug)]
pub(super) struct Row {
    all: Pulses,
    /// Pulses in a cycle.
    n_cycle: usize,
    /// From which pulses on cycles are counted: the first of all cycles, and the first after each place
    /// at which a cycle breaks off.
    begins: Vec<usize>,
    /// The pulses of which the learner said that they begin a cycle.
    said: Vec<usize>,
    /// From when until when the learner tapped pulses, in seconds, each time that still counts.
    tapped: Vec<[f64; 2]>,
    /// How probable it is that these are the pulses of the piece, of those that may be.
    probable: f64,
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

    /// Even pulses over a sound in which none is found; none over silence.
    pub(super) fn laid(sound: &Sound, cycle: Cycle) -> Option<Self> {
        sound.level(0.0, sound.seconds())?;
        let tempo = Tempo::of_pulses_a_minute(LAID).ok()?;
        let all = Pulses::steady(tempo, 0.0, sound.seconds()).ok()?;
        (all.times().len() > cycle.n_pulses()).then(|| Self::of(all, 0, cycle))
    }

    /// Pulses of which the first cycle begins with this one.
    pub(super) fn of(all: Pulses, first: usize, cycle: Cycle) -> Self {
        Self {
            all,
            n_cycle: cycle.n_pulses(),
            begins: vec![first],
            said: Vec::new(),
            tapped: Vec::new(),
            probable: 1.0,
        }
    }

    /// The same, the learner having said so.
    pub(super) fn said(self) -> Self {
        Self {
            said: self.begins.clone(),
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

    /// The first of these paths, nobody wanting those before it.
    pub(super) fn proposed(sound: &Sound, paths: &[PulsePath], cycle: Cycle) -> Option<Self> {
        let path = paths.first()?;
        let all = &path.pulses;
        let from_first = from_first_of_cycle(sound, all, cycle);
        let first = all.times().len() - from_first.times().len();
        let left: f64 = paths.iter().map(|path| path.probable).sum();
        Some(Self {
            probable: path.probable / left.max(1e-9),
            ..Self::of(all.clone(), first, cycle)
        })
    }

    /// The same pulses in cycles of another length: a cycle begins where the learner said that one does, or
    /// where the first did.
    pub(super) fn counted_in(&self, cycle: Cycle) -> Self {
        let n_cycle = cycle.n_pulses();
        let begins = match self.said.as_slice() {
            [] => vec![self.begins[0] % n_cycle],
            said => begins_of(said, n_cycle),
        };
        Self {
            begins,
            n_cycle,
            ..self.clone()
        }
    }

    /// How many whole cycles there are.
    pub(super) fn n_cycles(&self) -> usize {
        self.counted().times().len() / self.n_cycle
    }

    /// The pulses of whole cycles, from the first on. Where the learner said that a cycle begins amid
    /// another, the pulses of that one count in none and are left out.
    pub(super) fn counted(&self) -> Pulses {
        let times = self.all.times();
        let ends = self.begins.iter().skip(1).copied();
        let stretches = self.begins.iter().zip(ends.chain([times.len()]));
        let counted = stretches.flat_map(|(from, until)| {
            let is_last = until == times.len();
            let n_cut = match is_last {
                true => 0,
                false => (until - from) % self.n_cycle,
            };
            // Of a few pulses, none may be the first of a cycle.
            let whole = times.get(*from..until.saturating_sub(n_cut));
            whole.unwrap_or_default().iter().copied()
        });
        Pulses::new(counted.collect()).unwrap_or_else(|_| self.all.clone())
    }

    /// The same, the learner having said or tapped where they lie.
    pub(super) fn set(self) -> Self {
        Self {
            probable: 1.0,
            ..self
        }
    }

    /// How probable it is that these are the pulses of the piece; 1 where somebody said so.
    pub(super) fn probable(&self) -> f64 {
        self.probable
    }

    /// The same, cycles beginning a pulse later; after a whole cycle as they did.
    pub(super) fn later(&self) -> Self {
        let after_whole = (self.begins[0] + 1).is_multiple_of(self.n_cycle);
        let back = if after_whole { self.n_cycle } else { 0 };
        let later = |pulses: &[usize]| -> Vec<usize> {
            let later = pulses.iter().map(|pulse| pulse + 1 - back);
            // What was said of the last pulse is said of none any more.
            later
                .filter(|pulse| *pulse < self.all.times().len())
                .collect()
        };
        let said = later(&self.said);
        let [first, rest @ ..] = self.begins.as_slice() else {
            return self.clone();
        };
        Self {
            begins: once(first + 1 - back).chain(later(rest)).collect(),
            said,
            ..self.clone()
        }
    }

    /// The same with the pulse nearest to a time as the first of a cycle, and which it is. Cycles after it
    /// are counted from there, and those before it back from there, unless somebody had said of one of them
    /// where it begins. No pulse moves. Nothing where a cycle begins there already.
    pub(super) fn begun_at(&self, time: f64) -> Option<(Self, usize)> {
        let (n, times) = (self.n_cycle, self.all.times());
        let off = |at: &usize| (times[*at] - time).abs();
        let near = (0..times.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let from = self.begins.iter().rev().find(|begin| **begin <= near);
        if from.is_some_and(|from| (near - from).is_multiple_of(n)) {
            return None;
        }
        // One that was said within a cycle of it was meant to be this one.
        let mut said = self.said.clone();
        said.retain(|said| said.abs_diff(near) >= n);
        said.push(near);
        said.sort_unstable();
        let row = Self {
            begins: begins_of(&said, n),
            said,
            ..self.clone()
        };
        Some((row, near))
    }

    /// The same with pulses that follow taps, the first of which begins a cycle: all of them, but for what
    /// was tapped elsewhere in the recording and counts up to the next taps or from there on.
    pub(super) fn tapped(&self, path: &Pulses, taps: &[f64]) -> Option<Self> {
        let (first, last) = (*taps.first()?, *taps.last()?);
        let mut tapped = self.tapped.clone();
        tapped.retain(|[from, until]| *until < first || last < *from);
        let half = 0.5 * (last - first) / f64::from(u32::try_from(taps.len() - 1).ok()?);
        let is_after_others = tapped.iter().any(|[_, until]| *until < first);
        let from = match is_after_others {
            true => first - half,
            false => f64::NEG_INFINITY,
        };
        let next = tapped
            .iter()
            .map(|[next, _]| *next)
            .filter(|next| *next > last);
        let until = next.fold(f64::INFINITY, f64::min) - half;
        let stays = |time: &f64| !(from..until).contains(time);
        let old = self.all.times().iter().copied();
        let new = path.times().iter().copied();
        let mut times: Vec<f64> = old
            .filter(stays)
            .chain(new.filter(|time| !stays(time)))
            .collect();
        times.sort_by(f64::total_cmp);
        let off = |at: &usize| (times[*at] - first).abs();
        let begun = (0..times.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let said = self.said.iter().map(|pulse| self.all.times()[*pulse]);
        let said = said
            .filter(stays)
            .filter_map(|time| times.iter().position(|at| *at == time));
        let mut said: Vec<usize> = said.chain([begun]).collect();
        said.sort_unstable();
        said.dedup();
        tapped.push([first, last]);
        Some(Self {
            begins: begins_of(&said, self.n_cycle),
            said,
            tapped,
            all: Pulses::new(times).ok()?,
            n_cycle: self.n_cycle,
            probable: 1.0,
        })
    }

    /// Whether what was tapped last counts only in its part of the recording.
    pub(super) fn is_tapped_in_parts(&self) -> bool {
        self.tapped.len() > 1
    }

    /// What it means that a cycle begins with this pulse, of which that was said last.
    pub(super) fn told_of(&self, begun: usize) -> String {
        let clock_at = |pulse: usize| clock(self.all.times()[pulse]);
        let at = clock_at(begun);
        let after = self.said.iter().find(|said| **said > begun);
        let until = after.map_or_else(String::new, |after| format!(" until {}", clock_at(*after)));
        match self.said.iter().rev().find(|said| **said < begun) {
            None => format!(
                "A cycle begins at {at}; those before it and after it{until} follow from that."
            ),
            Some(before) => {
                let left_out = match (begun - before) % self.n_cycle {
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
        self.begins[0].checked_sub(left_out)?;
        let moved = |pulses: &[usize]| pulses.iter().map(|pulse| pulse - left_out).collect();
        Some(Self {
            all: Pulses::new(times[left_out..].to_vec()).ok()?,
            begins: moved(&self.begins),
            said: moved(&self.said),
            ..self.clone()
        })
    }
}

/// From which pulses on cycles are counted where these were said to begin one: before the first of them
/// they are counted back from it.
fn begins_of(said: &[usize], n_cycle: usize) -> Vec<usize> {
    let first = said.first().map_or(0, |first| first % n_cycle);
    let later = said.iter().skip(1).copied();
    once(first).chain(later).collect()
}
