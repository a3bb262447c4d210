//! Where the pulses of a recording lie: taps, nudges, other tempi that may be meant.

use std::iter::{once, successors};

use super::{Back, Change, Given, Keep, Nudge, Recording, Source};
use crate::listen::{PulsePath, Pulses, Sound, clock, from_first_of_cycle, pulse_paths};
use crate::rhythm::{Cycle, Tempo};
use crate::store::KeptPulses;

/// Taps that say where pulses are.
const ENOUGH_TAPS: usize = 8;
/// By how many milliseconds all pulses move at once.
const NUDGE_MS: i32 = 10;
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
            Some(Given::Times(pulses)) => Some(Self::from_first(pulses, cycle)),
            Some(Given::Grid(pulses)) => Some(Self {
                said: Vec::new(),
                ..Self::from_first(pulses, cycle)
            }),
            Some(Given::Steady(tempo, start)) => {
                let pulses = Pulses::steady(*tempo, *start, sound.seconds()).ok()?;
                Some(Self::from_first(&pulses, cycle))
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
    fn of(all: Pulses, first: usize, cycle: Cycle) -> Self {
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
    fn said(self) -> Self {
        Self {
            said: self.begins.clone(),
            ..self
        }
    }

    /// Pulses of which somebody said that the first begins a cycle; those before it go on at its gap, as
    /// far as there is time.
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
        .said()
    }

    /// The first of these paths, nobody wanting those before it.
    fn proposed(sound: &Sound, paths: &[PulsePath], cycle: Cycle) -> Option<Self> {
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

    /// How probable it is that these are the pulses of the piece; 1 where somebody said so.
    pub(super) fn probable(&self) -> f64 {
        self.probable
    }

    /// The same, cycles beginning a pulse later; after a whole cycle as they did.
    fn later(&self) -> Self {
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
    fn begun_at(&self, time: f64) -> Option<(Self, usize)> {
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
    fn tapped(&self, path: &Pulses, taps: &[f64]) -> Option<Self> {
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
    fn is_tapped_in_parts(&self) -> bool {
        self.tapped.len() > 1
    }

    /// What it means that a cycle begins with this pulse, of which that was said last.
    fn told_of(&self, begun: usize) -> String {
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
    fn moved(&self, seconds: f64) -> Option<Self> {
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

impl Recording {
    /// Which of the tempi that may be meant is taken, from 1, of how many, and its pulses a minute.
    pub fn candidate(&self) -> Option<(usize, usize, f64)> {
        let chosen = self.chosen?;
        let path = self.paths.get(chosen)?;
        Some((chosen + 1, self.paths.len(), 60.0 / path.gap))
    }

    /// How many tempi may be meant.
    pub fn n_candidates(&self) -> usize {
        self.paths.len()
    }

    /// Hears it anew at other pulses; quick, since the sound is kept as envelopes.
    pub(super) fn set_pulses(&mut self, row: Row) {
        let row = Row {
            probable: 1.0,
            ..row
        };
        let times = row.counted().times().to_vec();
        let cycle = self.source.cycle;
        self.did(Back::Pulses(self.lies()));
        self.hear_at(row);
        self.to_keep.push(Keep::Pulses(KeptPulses { cycle, times }));
    }

    /// The same, and nothing is to be kept.
    pub(super) fn hear_at(&mut self, row: Row) {
        let Some(sound) = &self.sound else { return };
        let analysis = self.source.heard_at(sound, &row);
        self.row = Some(row);
        self.is_set = true;
        self.is_laid = false;
        self.know(analysis);
    }

    /// Cycles begin where it was proposed: from now on that is said by the learner.
    pub(super) fn accept(&mut self) {
        if let Some(row) = self.row.clone().filter(|_| !self.is_set) {
            self.set_pulses(row);
        }
    }

    /// Cycles begin a pulse later.
    pub(super) fn begin_later(&mut self) {
        if let Some(row) = &self.row {
            self.set_pulses(row.later());
        }
    }

    /// A cycle begins at a time, and from there on cycles are counted from it; those before stay.
    pub(super) fn begin_here(&mut self, time: Option<f64>) -> Change {
        let Some(time) = time else {
            self.told = "Let it play first, and say so as a cycle begins.".to_owned();
            return Change::Picture;
        };
        let row = self.row.as_ref();
        let Some((row, near)) = row.and_then(|row| row.begun_at(time)) else {
            self.told = "A cycle begins there already.".to_owned();
            return Change::Picture;
        };
        let told = row.told_of(near);
        self.set_pulses(row);
        self.told = told;
        Change::Sound
    }

    /// All pulses a little earlier or later.
    pub(super) fn nudge(&mut self, nudge: Nudge) {
        let by = match nudge {
            Nudge::Earlier => -NUDGE_MS,
            Nudge::Later => NUDGE_MS,
        };
        let row = self.row.as_ref();
        let Some(row) = row.and_then(|row| row.moved(f64::from(by) / 1_000.0)) else {
            return;
        };
        self.set_pulses(row);
        self.nudged += by;
        self.told = match self.nudged {
            0 => "All pulses are where they were.".to_owned(),
            ms if ms < 0 => format!("All pulses are {} ms earlier than they were.", -ms),
            ms => format!("All pulses are {ms} ms later than they were."),
        };
    }

    /// The next of the tempi that may be meant, and after the last what the learner had set. Where
    /// cycles of the others begin is a proposal again, and nothing of it is kept.
    pub(super) fn take_other_path(&mut self) {
        let before = self.lies();
        if self.is_set {
            self.own = self.row.clone();
        }
        let next = self.chosen.map_or(0, |chosen| chosen + 1);
        if let Some(own) = self.own.take_if(|_| next >= self.paths.len()) {
            self.did(Back::Pulses(before));
            self.chosen = None;
            self.hear_at(own);
            self.told = "The pulses as you set them.".to_owned();
            return;
        }
        let next = next.checked_rem(self.paths.len()).unwrap_or(0);
        let left = self.paths.get(next..).unwrap_or_default();
        let sound = self.sound.as_ref();
        let Some(row) = sound.and_then(|sound| Row::proposed(sound, left, self.source.cycle))
        else {
            return;
        };
        self.did(Back::Pulses(before));
        self.chosen = Some(next);
        self.nudged = 0;
        self.hear_at(row);
        self.is_set = false;
    }

    /// What was tapped so far counts for nothing, and the keys that tap do what else they do.
    pub(super) fn forget_taps(&mut self) {
        self.taps.clear();
        self.n_taps = 0;
        self.is_tapping = false;
    }

    /// Pulses are where the taps were, as near as the sound has them; the first tap begins a cycle.
    pub(super) fn use_taps(&mut self) {
        if self.taps.len() < ENOUGH_TAPS {
            self.told = format!(
                "It takes {ENOUGH_TAPS} taps or more in a row to say where pulses are: go on tapping."
            );
            return;
        }
        let taps = std::mem::take(&mut self.taps);
        self.n_taps = 0;
        let Some(sound) = &self.sound else { return };
        let path = pulse_paths(sound, &taps).into_iter().next();
        let row = path.and_then(|path| {
            let before = self.row.clone();
            let before =
                before.unwrap_or_else(|| Row::of(path.pulses.clone(), 0, self.source.cycle));
            before.tapped(&path.pulses, &taps)
        });
        let Some(row) = row else {
            self.told = "Nothing near the taps sounds like a pulse: tap once more.".to_owned();
            return;
        };
        self.is_tapping = false;
        let is_in_parts = row.is_tapped_in_parts();
        self.set_pulses(row);
        let n = taps.len();
        self.told = match (
            is_in_parts,
            self.analysis.as_ref().and_then(|known| known.tempo_ppm()),
        ) {
            (true, _) => format!(
                "{n} taps are taken at {}; what was tapped elsewhere stays.",
                clock(taps[0])
            ),
            (false, Some(ppm)) => format!("{n} taps are taken: {ppm:.0} pulses a minute."),
            (false, None) => format!("{n} taps are taken."),
        };
        self.chosen = None;
        self.nudged = 0;
    }
}
