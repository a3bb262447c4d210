//! A row of pulses where the learner tapped them.

use std::ops::Range;

use super::{Part, Row};
use crate::app::recording::pauses::PAUSE;
use crate::listen::Pulses;

impl Row {
    /// The same with pulses that follow taps, the first of which begins a cycle, and whether any of the others stay: what
    /// was tapped counts in the parts in which it was, and of these only up to what was tapped elsewhere.
    pub(in crate::app::recording) fn tapped(
        &self,
        found: &Self,
        taps: &[f64],
        seconds: f64,
    ) -> Option<(Self, bool)> {
        let (first, last) = (*taps.first()?, *taps.last()?);
        let mut tapped = self.tapped.clone();
        tapped.retain(|[from, until]| *until < first || last < *from);
        let half = 0.5 * (last - first) / f64::from(u32::try_from(taps.len() - 1).ok()?);
        let mut reach = self.reach(first..last, half, seconds);
        if tapped.iter().any(|[_, until]| *until < first) {
            reach.start = reach.start.max(first - half);
        }
        let next = tapped.iter().map(|[next, _]| next - half);
        reach.end = next.filter(|next| *next > last).fold(reach.end, f64::min);
        tapped.push([first, last]);

        let is_new = |time: &f64| reach.contains(time);
        let old = self.all.times().iter().copied();
        let new = found.all.times().iter().copied();
        let mut times: Vec<f64> = old
            .filter(|time| !is_new(time))
            .chain(new.filter(is_new))
            .collect();
        times.sort_by(f64::total_cmp);
        let off = |at: &usize| (times[*at] - first).abs();
        let begun = (0..times.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
        let now = |row: &Self, pulse: usize| {
            let time = row.all.times().get(pulse)?;
            times.iter().position(|at| at == time)
        };

        let said = self.said.iter();
        let said = said.filter(|said| !is_new(&self.all.times()[**said]));
        let said = said.filter_map(|said| now(self, *said));
        let mut said: Vec<usize> = said.chain([begun]).collect();
        said.sort_unstable();
        said.dedup();

        let parts_of = |row: &Self, are_new: bool| {
            let parts = row.parts.iter().filter_map(|part| {
                let is_of = is_new(&row.all.times()[part.start]) == are_new;
                let start = now(row, part.start).filter(|_| is_of)?;
                let first = now(row, part.first).unwrap_or(start);
                Some(Part {
                    start,
                    first,
                    probable: if are_new { 1.0 } else { part.probable },
                    ..*part
                })
            });
            parts.collect::<Vec<Part>>()
        };
        let mut parts = [parts_of(self, false), parts_of(found, true)].concat();
        // What was tapped is a part of its own, and there is one that begins with the first pulse.
        let begins = times.iter().position(is_new);
        for start in begins.into_iter().chain([0]) {
            if parts.iter().all(|part| part.start != start) {
                parts.push(Part::found(start, start));
            }
        }
        parts.sort_unstable_by_key(|part| part.start);
        let row = Self {
            parts,
            said,
            tapped,
            all: Pulses::new(times).ok()?,
            cycle: self.cycle,
        };
        let stays = self.all.times().iter().any(|time| !is_new(time));
        Some((row, stays))
    }

    /// From when until when what was tapped counts: over the parts in which it was. Where no pulses are before them or
    /// after them, it counts over that as well, unless it is a pause.
    fn reach(&self, tapped: Range<f64>, half: f64, seconds: f64) -> Range<f64> {
        let times = self.all.times();
        let parts = || (0..self.parts.len()).map(|nth| self.part(nth));
        let begun = |time: f64| {
            let part = parts().rev().find(|part| times[part.start] <= time + half);
            part.unwrap_or_else(|| self.part(0))
        };
        let (from, until) = (begun(tapped.start).start, begun(tapped.end).end);
        let last = times[until - 1];
        let start = match from.checked_sub(1).map(|before| times[before]) {
            None if times[0] <= PAUSE => f64::NEG_INFINITY,
            Some(before) if times[from] - before <= PAUSE => before + half,
            _ => times[from] - half,
        };
        let end = match times.get(until) {
            None if seconds - last <= PAUSE => f64::INFINITY,
            Some(next) if next - last <= PAUSE => next - half,
            _ => last + half,
        };
        start.min(tapped.start - half)..end.max(tapped.end + half)
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{firsts, is_near, of_two_parts};
    use super::*;
    use crate::rhythm::Cycle;

    fn every(n: u32, gap: f64, from: f64) -> Vec<f64> {
        (0..n).map(|k| from + gap * f64::from(k)).collect()
    }

    /// Pulses of two fifths of a second all through, as taps may be followed.
    fn followed(from: f64) -> Row {
        Row::of(
            Pulses::new(every(80, 0.4, from)).expect("pulses"),
            0,
            Cycle::SIX,
        )
    }

    #[test]
    fn taps_in_one_part_leave_the_others_as_they_are_proposed() {
        let before = of_two_parts();
        let taps = every(8, 0.4, 21.2);
        let (row, stays) = before.tapped(&followed(0.0), &taps, 32.0).expect("pulses");
        assert!(stays);
        let firsts_of = firsts(&row);
        let expected = [0.5, 3.5, 6.5, 21.2, 23.6, 26.0, 28.4, 30.8];
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
        // Nothing is laid over the pause between them, and the other part goes on to be tapped by itself.
        let slow = every(8, 0.5, 1.0);
        let again = Row::of(
            Pulses::new(every(64, 0.5, 0.0)).expect("pulses"),
            0,
            Cycle::SIX,
        );
        let (row, stays) = row.tapped(&again, &slow, 32.0).expect("pulses");
        assert!(stays);
        let firsts_of = firsts(&row);
        let expected = [1.0, 4.0, 7.0, 21.2, 23.6, 26.0, 28.4, 30.8];
        assert!(is_near(&firsts_of, &expected), "{firsts_of:?}");
    }

    #[test]
    fn taps_over_one_part_count_all_over() {
        let before = Row::of(
            Pulses::new(every(60, 0.5, 1.0)).expect("pulses"),
            0,
            Cycle::SIX,
        );
        let taps = every(8, 0.4, 10.0);
        let (row, stays) = before.tapped(&followed(0.0), &taps, 31.0).expect("pulses");
        assert!(!stays);
        assert_eq!(row.all.times(), followed(0.0).all.times());
        // From where a second tempo is tapped on, those of the first end.
        let (row, stays) = row
            .tapped(&before, &every(8, 0.5, 20.0), 31.0)
            .expect("pulses");
        assert!(stays);
        let gap = |time: f64| {
            let at = row
                .all
                .times()
                .iter()
                .position(|pulse| *pulse > time)
                .expect("a pulse");
            row.all.times()[at + 1] - row.all.times()[at]
        };
        assert!((gap(15.0) - 0.4).abs() < 1e-9 && (gap(21.0) - 0.5).abs() < 1e-9);
    }

    #[test]
    fn what_is_laid_over_a_pause_is_tapped_by_itself() {
        let laid = of_two_parts().filled(32.0).expect("a pause of ten seconds");
        let taps = every(8, 0.4, 12.0);
        let (row, _) = laid.tapped(&followed(0.0), &taps, 32.0).expect("pulses");
        let found = row.found().expect("what was found and what was tapped");
        let times = found
            .times()
            .iter()
            .filter(|time| (10.5..20.0).contains(*time));
        let times: Vec<f64> = times.copied().collect();
        assert!(is_near(&times[..3], &[12.0, 12.4, 12.8]), "{times:?}");
        let others = |row: &Row| {
            firsts(row)
                .into_iter()
                .filter(|time| *time < 9.0 || *time > 20.0)
                .collect::<Vec<f64>>()
        };
        assert!(is_near(&others(&row), &firsts(&of_two_parts())));
    }
}
