//! How many pulses of a recording make a cycle.

use super::{Back, Change, Claps, Lay, Recording, Row};
use crate::rhythm::Cycle;

/// The lengths that are gone through, the most usual first: those for which the deck of own recordings has
/// exercises.
const LENGTHS: [i64; 6] = [6, 12, 8, 9, 5, 7];

impl Recording {
    /// The next length of a cycle.
    pub fn next_cycle(&self) -> Cycle {
        let lengths = LENGTHS.map(|n| Cycle::new(n).unwrap_or(Cycle::SIX));
        let at = lengths.iter().position(|one| *one == self.source.cycle);
        at.map_or(Cycle::SIX, |at| lengths[(at + 1) % lengths.len()])
    }

    /// Counts in cycles of the next length, the learner wanting that.
    pub(super) fn count_in_other(&mut self) -> Change {
        let cycle = self.next_cycle();
        let n_pulses = cycle.n_pulses();
        let before = self.lies();
        let Some(lay) = self.counted_in(cycle) else {
            self.told = format!("There are too few pulses for a cycle of {n_pulses}.");
            return Change::Picture;
        };
        let is_said = lay.is_set;
        self.did(Back::Pulses(before));
        self.lay(lay);
        let begins = match is_said {
            true => "counted from the same beginning",
            false => "and where it begins is a proposal",
        };
        self.told = format!("A cycle has {n_pulses} pulses now, {begins}.");
        Change::Sound
    }

    /// How pulses lie when they are counted so; nothing where they make no cycle.
    pub(super) fn counted_in(&self, cycle: Cycle) -> Option<Lay> {
        let so = self.lies();
        let proposed = self.chosen.filter(|_| !self.is_set);
        let row = match (proposed, &self.sound) {
            (Some(chosen), Some(sound)) => {
                let left = self.paths.get(chosen..).unwrap_or_default();
                Row::proposed(sound, left, cycle)
            }
            _ => so.row.as_ref().map(|row| row.counted_in(cycle)),
        };
        let row = row.filter(|row| row.n_cycles() > 0)?;
        Some(Lay {
            cycle,
            row: Some(row),
            own: so.own.as_ref().map(|own| own.counted_in(cycle)),
            ..so
        })
    }

    /// Takes this length; claps of another go on as its own.
    pub(super) fn count_by(&mut self, cycle: Cycle) {
        if self.source.cycle == cycle {
            return;
        }
        self.source.cycle = cycle;
        if matches!(self.claps, Claps::Grouping(_)) {
            self.claps = self.claps.next_grouping(cycle).unwrap_or(Claps::None);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::passage::groupings;
    use super::super::tests::{proposed_recording_of_clicks, recording_of_clicks};
    use super::super::{Keep, Step};
    use super::*;
    use crate::deck;
    use crate::listen::Pulses;
    use crate::rhythm::{Counting, Layer};

    #[test]
    fn cycles_of_other_lengths_keep_the_beginning_that_was_said() {
        let mut recording = recording_of_clicks();
        let pulses =
            |recording: &Recording| recording.analysis.clone().expect("known").pulses.clone();
        let before = pulses(&recording);
        let mut lengths = Vec::new();
        for _ in 0..LENGTHS.len() {
            recording.step(Step::OtherCycle);
            assert!(recording.is_set);
            assert_eq!(pulses(&recording), before);
            let n = recording.cycle().n_pulses();
            assert_eq!(recording.n_cycles(), before.len() / n);
            lengths.push(n);
        }
        assert_eq!(lengths, [12, 8, 9, 5, 7, 6]);
        // It is kept as it is counted now.
        let Some(Keep::Pulses(kept)) = recording.to_keep.last() else {
            panic!("pulses are kept");
        };
        assert_eq!((kept.cycle, &kept.times), (Cycle::SIX, &before));
    }

    #[test]
    fn passages_of_every_length_that_is_gone_through_can_be_cut() {
        for n_pulses in LENGTHS {
            let cycle = Cycle::new(n_pulses).expect("in range");
            assert!(cycle == Cycle::SIX || deck::own_exercises(cycle).is_some());
        }
    }

    #[test]
    fn a_proposal_stays_one_and_its_length_is_kept_and_taken_back() {
        let mut recording = proposed_recording_of_clicks();
        recording.step(Step::OtherCycle);
        assert_eq!(recording.cycle(), Cycle::TWELVE);
        assert!(!recording.is_set && recording.candidate().is_some());
        let Some(Keep::Pulses(kept)) = recording.to_keep.last() else {
            panic!("the length is kept");
        };
        assert_eq!((kept.cycle, kept.times.len()), (Cycle::TWELVE, 0));
        recording.step(Step::TakeBack);
        assert_eq!(recording.cycle(), Cycle::SIX);
        assert!(!recording.is_set);
    }

    #[test]
    fn a_cycle_that_is_longer_than_the_piece_is_refused() {
        let mut recording = recording_of_clicks();
        let eight = Pulses::new((0..8_u8).map(f64::from).collect()).expect("eight pulses");
        recording.row = Some(Row::of(eight, 0, Cycle::SIX));
        assert_eq!(recording.step(Step::OtherCycle), Change::Picture);
        assert!(
            recording.told.starts_with("There are too few pulses"),
            "{}",
            recording.told
        );
    }

    #[test]
    fn claps_go_through_the_groupings_of_the_cycle() {
        let mut recording = recording_of_clicks();
        let clap = |recording: &mut Recording| {
            recording.step(Step::ClapGrouping);
            recording.claps.words(Counting::FromOne)
        };
        assert_eq!(clap(&mut recording), "1-4-5");
        assert_eq!(clap(&mut recording), "1-4-5");
        recording.step(Step::OtherCycle);
        // Claps of six go on as those of twelve: 3 + 3 + 2 + 2 + 2, counted from its first pulse.
        assert_eq!(recording.claps.words(Counting::FromOne), "1-4-7-9-11");
        assert_eq!(recording.claps.words(Counting::FromLast), "12-3-6-8-10");
        let round = groupings(Cycle::TWELVE).len();
        let all: Vec<String> = (0..round).map(|_| clap(&mut recording)).collect();
        // What the table of patterns has of the trade, each once.
        for known in ["1-4-8-9-11", "3-6-8-10-12", "1-3-5-8-11", "1-4-5-7-10-11"] {
            let n_times = all.iter().filter(|words| *words == known).count();
            assert_eq!(n_times, 1, "{known} in {all:?}");
        }
        assert_eq!(all.last().map(String::as_str), Some("1-4-7-9-11"));
        assert!(
            groupings(Cycle::TWELVE)
                .iter()
                .all(|one| *one != Layer::every(Cycle::TWELVE, 3))
        );
    }
}
