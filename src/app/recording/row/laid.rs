//! Even pulses over what has none: nobody heard them, and they are there to play and to tap along. Where cycles begin
//! among them may be said; only what is tapped there is no longer laid.

use super::{Part, Row};
use crate::app::recording::pauses::PAUSE;
use crate::listen::{Analysis, InTime, Pulses, Sound};
use crate::rhythm::{Cycle, Tempo};

/// Pulses a minute that are laid over a recording in which none is found.
const LAID: i64 = 180;

impl Row {
    /// Even pulses over a sound in which none is found; none over silence.
    pub(in crate::app::recording) fn laid(sound: &Sound, cycle: Cycle) -> Option<Self> {
        sound.level(0.0, sound.seconds())?;
        let tempo = Tempo::of_pulses_a_minute(LAID).ok()?;
        let all = Pulses::steady(tempo, 0.0, sound.seconds()).ok()?;
        (all.times().len() > cycle.n_pulses()).then(|| Self {
            parts: vec![Part::laid(0)],
            ..Self::of(all, 0, cycle)
        })
    }

    /// The same with even pulses wherever it has none for a cycle or more, up to the end of so many seconds: in whole
    /// cycles up to what comes after them, and about as fast. Nothing where there is no such place.
    pub(in crate::app::recording) fn filled(&self, seconds: f64) -> Option<Self> {
        let n = self.cycle.n_pulses();
        let all = self.all.times();
        let mut filled = Joined::of(self);
        for nth in 0..self.parts.len() {
            let own = self.part(nth);
            let before = own.start.checked_sub(1).map_or(0.0, |last| all[last]);
            let first = &all[own.start..own.end.min(own.start + n)];
            filled.lay(&between(before, first, n));
            filled.take(nth);
        }
        let laid = after(&all[all.len().saturating_sub(n)..], seconds);
        if laid.len() >= n {
            filled.lay(&laid);
        }
        filled
            .row()
            .filter(|row| row.parts.len() > self.parts.len())
    }

    /// The same without what is laid; nothing where nothing is, or all.
    pub(in crate::app::recording) fn unfilled(&self) -> Option<Self> {
        let mut left = Joined::of(self);
        let stays = |nth: &usize| !self.parts[*nth].is_laid;
        (0..self.parts.len())
            .filter(stays)
            .for_each(|nth| left.take(nth));
        left.row().filter(|row| row.parts.len() < self.parts.len())
    }

    /// Those that are counted but for what is laid; nothing where all is.
    pub(in crate::app::recording) fn found(&self) -> Option<Pulses> {
        match self.parts.iter().any(|part| part.is_laid) {
            true => self.unfilled().map(|row| row.counted()),
            false => Some(self.counted()),
        }
    }

    /// Times of what is kept of it, in seconds.
    pub(in crate::app::recording) fn times(&self) -> Vec<f64> {
        let found = self.found();
        found.map_or_else(Vec::new, |found| found.times().to_vec())
    }

    /// Whether there are places for [`Row::filled`], perhaps shorter ones than a cycle.
    pub(in crate::app::recording) fn has_pauses(&self, seconds: f64) -> bool {
        let times = self.all.times();
        let begins = self.parts.iter().map(|part| {
            let before = part.start.checked_sub(1).map_or(0.0, |last| times[last]);
            times[part.start] - before
        });
        let end = times.last().map(|last| seconds - last);
        begins.chain(end).any(|pause| pause > PAUSE)
    }

    /// Whether some of it is laid, and not all.
    pub(in crate::app::recording) fn is_laid_in_part(&self) -> bool {
        self.parts.iter().any(|part| part.is_laid) && !self.is_all_laid()
    }

    /// Whether all of it is laid.
    pub(in crate::app::recording) fn is_all_laid(&self) -> bool {
        self.parts.iter().all(|part| part.is_laid)
    }

    /// From when until when the tempo of each part is kept that is not laid.
    pub(in crate::app::recording) fn in_time(&self) -> Vec<InTime> {
        let parts = self
            .parts
            .iter()
            .enumerate()
            .filter(|(_, part)| !part.is_laid);
        let parts = parts.filter_map(|(nth, _)| {
            let times = &self.all.times()[self.part(nth)];
            let gap = gap_of(times)?;
            Some(InTime {
                from: *times.first()?,
                until: times.last()? + gap,
                ppm: 60.0 / gap,
            })
        });
        parts.collect()
    }

    /// Whether a time lies in what is laid.
    pub(in crate::app::recording) fn is_laid_at(&self, time: f64) -> bool {
        self.parts[self.part_about(time)].is_laid
    }

    /// What is said of it by whoever hears pulses; of those that are laid nothing is.
    pub(in crate::app::recording) fn said_by(
        &self,
        hear: impl FnOnce(&Pulses) -> Analysis,
    ) -> Analysis {
        let all = self.counted();
        match self.found() {
            None => Analysis::untold(&all, self.cycle),
            Some(found) if found == all => hear(&all),
            Some(found) => hear(&found).among(&all),
        }
    }
}

/// A row that is joined of parts of another, and of what is laid between them.
struct Joined<'row> {
    of: &'row Row,
    times: Vec<f64>,
    parts: Vec<Part>,
    said: Vec<usize>,
}

impl<'row> Joined<'row> {
    fn of(row: &'row Row) -> Self {
        Self {
            of: row,
            times: Vec::new(),
            parts: Vec::new(),
            said: Vec::new(),
        }
    }

    /// A part of the other goes on here.
    fn take(&mut self, nth: usize) {
        let (pulses, part, start) = (self.of.part(nth), self.of.parts[nth], self.times.len());
        let now = |pulse: usize| pulse - pulses.start + start;
        let first = now(part.first);
        self.parts.push(Part {
            start,
            first,
            ..part
        });
        self.said.extend(self.of.said_in(&pulses).map(now));
        self.times.extend_from_slice(&self.of.all.times()[pulses]);
    }

    /// Pulses are laid here, if any, of which the first begins a cycle.
    fn lay(&mut self, times: &[f64]) {
        if !times.is_empty() {
            self.parts.push(Part::laid(self.times.len()));
            self.times.extend_from_slice(times);
        }
    }

    fn row(self) -> Option<Row> {
        Some(Row {
            all: Pulses::new(self.times).ok()?,
            parts: self.parts,
            said: self.said,
            ..self.of.clone()
        })
    }
}

/// The gap between pulses that follow each other, the mean of them; nothing of a single one.
pub(super) fn gap_of(pulses: &[f64]) -> Option<f64> {
    let n_gaps = u32::try_from(pulses.len()).ok()?.checked_sub(1)?;
    let over = pulses.last()? - pulses.first()?;
    (n_gaps > 0).then(|| over / f64::from(n_gaps))
}

/// Even pulses in whole cycles of `n`, about as fast as these, in a pause after the time before them; none where it is
/// none.
fn between(before: f64, pulses: &[f64], n: usize) -> Vec<f64> {
    let Some((gap, until)) = gap_of(pulses).zip(pulses.first()) else {
        return Vec::new();
    };
    let pause = until - before;
    if pause <= PAUSE {
        return Vec::new();
    }
    // With one gap more before the pulse after them.
    let half_a_cycle = 0.5 * gap * f64::from(u32::try_from(n).unwrap_or(6));
    let near = |n_gaps: &u32| f64::from(*n_gaps) * gap + half_a_cycle > pause;
    let n_gaps = (1_u32..).step_by(n).find(near).unwrap_or(1);
    let each = pause / f64::from(n_gaps);
    (1..n_gaps).map(|k| before + f64::from(k) * each).collect()
}

/// Even pulses, as fast as these, from the last of them up to the end of so many seconds; none where that is no pause.
fn after(pulses: &[f64], seconds: f64) -> Vec<f64> {
    let Some((gap, last)) = gap_of(pulses).zip(pulses.last()) else {
        return Vec::new();
    };
    if seconds - last <= PAUSE {
        return Vec::new();
    }
    let times = (1_u32..).map(|k| last + f64::from(k) * gap);
    times.take_while(|time| *time < seconds).collect()
}

#[cfg(test)]
mod tests {
    use super::super::tests::{firsts, is_near, of_two_parts};
    use super::*;

    #[test]
    fn even_pulses_are_laid_over_what_has_none_and_taken_away_again() {
        let found = of_two_parts();
        let filled = found
            .filled(38.0)
            .expect("a pause of ten seconds and an end of six");
        // By hand: the first part ends at 9.5 s and the next begins at 20 s, about 26 gaps of 0.4 s; four cycles and a gap
        // are 25 of 0.42 s. After 31.6 s come 15 gaps of 0.4 s, two cycles.
        let laid = (0..4).map(|cycle| 20.0 - 0.42 * f64::from(24 - 6 * cycle));
        let expected = [0.5, 3.5, 6.5].into_iter().chain(laid);
        let after = [20.8, 23.2, 25.6, 28.0, 32.0, 34.4];
        let expected: Vec<f64> = expected.chain(after).collect();
        let firsts_of = firsts(&filled);
        assert!(
            is_near(&firsts_of[..expected.len()], &expected),
            "{firsts_of:?}"
        );
        assert!(filled.filled(38.0).is_none());
        assert!(!filled.is_laid_at(8.0) && filled.is_laid_at(12.0) && filled.is_laid_at(33.0));
        assert_eq!(filled.found(), Some(found.counted()));
        let unfilled = filled.unfilled().expect("what was there before");
        assert_eq!(unfilled.all, found.all);
        assert_eq!(firsts(&unfilled), firsts(&found));
        assert!(unfilled.unfilled().is_none());
    }

    #[test]
    fn where_cycles_begin_among_those_that_are_laid_is_said_and_they_stay_laid() {
        let filled = of_two_parts().filled(32.0).expect("a pause of ten seconds");
        let (said, begun) = filled.begun_at(14.0).expect("none begins there");
        assert!(said.is_laid_at(14.0) && said.is_said());
        assert!(firsts(&said).contains(&said.all.times()[begun]));
        assert_eq!(said.found(), filled.found());
        assert_eq!(filled.later_about(14.0).found(), filled.found());
    }

    #[test]
    fn a_free_beginning_has_whole_cycles_up_to_the_first_pulse() {
        let times = (0..30).map(|k| 10.0 + 0.5 * f64::from(k)).collect();
        let row = Row::of(Pulses::new(times).expect("pulses"), 0, Cycle::SIX);
        let firsts_of = firsts(&row.filled(26.0).expect("ten seconds have none"));
        // By hand: three cycles and a gap are 19 gaps in ten seconds.
        let gap = 10.0 / 19.0;
        let laid = [gap, 7.0 * gap, 13.0 * gap];
        let expected = [laid.as_slice(), &[10.0, 13.0, 16.0, 19.0, 22.0]].concat();
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
    }
}
