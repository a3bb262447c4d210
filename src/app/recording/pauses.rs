//! Where cycles begin and end in a recording: where its pulses pause, as over what is played freely, one ends before the
//! next begins, and no passage goes on.

use super::Recording;
use crate::listen::{Analysis, clock};
use crate::quiz::passage::PULSE_SECONDS;

/// Gaps between pulses that are longer than this, in seconds, are pauses: no passage of the deck of own recordings may
/// have one.
pub(super) const PAUSE: f64 = *PULSE_SECONDS.end();

/// When a cycle begins, or would after the last pulse, in seconds.
pub(super) fn start_of(analysis: &Analysis, cycle: usize) -> Option<f64> {
    let at = cycle * analysis.cycle.n_pulses();
    let pulses = &analysis.pulses;
    if let Some(time) = pulses.get(at) {
        return Some(*time);
    }
    let [.., before, last] = pulses.as_slice() else {
        return None;
    };
    let more = u32::try_from(at + 1 - pulses.len()).ok()?;
    Some(last + f64::from(more) * (last - before))
}

/// When a cycle ends, in seconds: as the next begins, or where there is a pause between them, as long after its last
/// pulse as that is after the one before it.
pub(super) fn end_of(analysis: &Analysis, cycle: usize) -> Option<f64> {
    if !pauses_after(analysis, cycle) {
        return start_of(analysis, cycle + 1);
    }
    let next = (cycle + 1) * analysis.cycle.n_pulses();
    let [before, last] = [2, 1].map(|back| analysis.pulses.get(next.checked_sub(back)?).copied());
    Some(2.0 * last? - before?)
}

/// The pulses of cycles from one up to another, and the end of the last where it is known.
pub(super) fn pulses_of(
    analysis: &Analysis,
    from: usize,
    until: usize,
) -> Option<(Vec<f64>, Option<f64>)> {
    let n = analysis.cycle.n_pulses();
    let pulses = analysis.pulses.get(from * n..until * n)?.to_vec();
    // After the last pulse there is none to end with.
    let goes_on = until * n < analysis.pulses.len();
    let ends = until.checked_sub(1).filter(|_| goes_on);
    Some((pulses, ends.and_then(|last| end_of(analysis, last))))
}

/// Whether pulses pause between a cycle and the next.
fn pauses_after(analysis: &Analysis, cycle: usize) -> bool {
    let next = (cycle + 1) * analysis.cycle.n_pulses();
    let last = next
        .checked_sub(1)
        .and_then(|last| analysis.pulses.get(last));
    let gap = last
        .zip(analysis.pulses.get(next))
        .map(|(last, next)| next - last);
    gap.is_some_and(|gap| gap > PAUSE)
}

/// Whether pulses pause before a cycle.
pub fn follows_pause(analysis: &Analysis, cycle: usize) -> bool {
    cycle
        .checked_sub(1)
        .is_some_and(|before| pauses_after(analysis, before))
}

/// Of cycles from one up to another, those about this one that hold together.
pub(super) fn together(
    analysis: &Analysis,
    (from, until): (usize, usize),
    about: usize,
) -> (usize, usize) {
    let after = (about..until).find(|cycle| pauses_after(analysis, *cycle));
    let before = (from..about)
        .rev()
        .find(|cycle| pauses_after(analysis, *cycle));
    (
        before.map_or(from, |before| before + 1),
        after.map_or(until, |after| after + 1),
    )
}

impl Recording {
    /// Whether pulses pause before a cycle.
    pub fn follows_pause(&self, cycle: usize) -> bool {
        let known = self.analysis.as_ref();
        known.is_some_and(|known| follows_pause(known, cycle))
    }

    /// Whether pulses pause anywhere between its cycles.
    pub fn has_pauses(&self) -> bool {
        (0..self.n_cycles()).any(|cycle| self.follows_pause(cycle))
    }

    /// The passage goes from one cycle up to another, or about this one as far as pulses do not pause, which is told.
    pub(super) fn set_passage(&mut self, asked: (usize, usize), about: usize) {
        let Some(known) = &self.analysis else { return };
        self.passage = together(known, asked, about);
        let (from, until) = self.passage;
        let told = match (from > asked.0, until < asked.1) {
            (false, false) => return,
            (_, true) => end_of(known, until - 1).map(|end| format!("ends at {}", clock(end))),
            (true, false) => {
                start_of(known, from).map(|start| format!("begins at {}", clock(start)))
            }
        };
        let told = told.unwrap_or_default();
        self.told = format!("The passage {told}, where pulses pause.");
        self.is_passage_set = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::Pulses;
    use crate::rhythm::Cycle;

    /// Two cycles of half a second a pulse, and from 20 s on two more.
    fn known() -> Analysis {
        let times = (0..24).map(|k| 0.5 * f64::from(k) + if k < 12 { 0.0 } else { 14.0 });
        let pulses = Pulses::new(times.collect()).expect("pulses");
        Analysis::untold(&pulses, Cycle::SIX)
    }

    #[test]
    fn a_cycle_before_a_pause_ends_with_its_pulses() {
        let known = known();
        let ends: Vec<Option<f64>> = (0..4).map(|cycle| end_of(&known, cycle)).collect();
        assert_eq!(ends, [3.0, 6.0, 23.0, 26.0].map(Some));
        assert_eq!(start_of(&known, 2), Some(20.0));
        let after: Vec<usize> = (0..5)
            .filter(|cycle| follows_pause(&known, *cycle))
            .collect();
        assert_eq!(after, [2]);
        assert_eq!(start_of(&known, 4), Some(26.0));
        let (pulses, ends) = pulses_of(&known, 1, 2).expect("a cycle");
        assert_eq!((pulses.len(), ends), (6, Some(6.0)));
        // The last one has no end yet.
        assert_eq!(pulses_of(&known, 3, 4).expect("a cycle").1, None);
    }

    #[test]
    fn what_pauses_does_not_hold_together() {
        let known = known();
        assert_eq!(together(&known, (0, 4), 0), (0, 2));
        assert_eq!(together(&known, (0, 4), 1), (0, 2));
        assert_eq!(together(&known, (0, 4), 2), (2, 4));
        assert_eq!(together(&known, (2, 3), 2), (2, 3));
    }
}
