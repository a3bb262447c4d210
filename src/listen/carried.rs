//! What was heard at some pulses, as it stands at others until those are heard themselves.

use crate::rhythm::Cycle;

use super::analysis::{Analysis, turns};
use super::pulses::Pulses;
use super::said::CycleSaid;
use super::stretch::can_tell;

impl Analysis {
    /// What is said here at other pulses: of each cycle what is said of the one that sounds in its middle, of
    /// the whole the same, and on each pulse what strikes on the nearest.
    #[must_use]
    pub fn carried_to(&self, pulses: &Pulses, cycle: Cycle) -> Self {
        let mut carried = Self::untold(pulses, cycle);
        let n = cycle.n_pulses();
        if self.cycles.is_empty() || !can_tell(n) {
            return carried;
        }
        for (at, one) in carried.cycles.iter_mut().enumerate() {
            let end = carried.pulses.get((at + 1) * n).or(carried.pulses.last());
            let middle = one.start + 0.5 * end.map_or(0.0, |end| end - one.start);
            let before = self.cycles.partition_point(|known| known.start <= middle);
            let sounds = self.cycles[before.saturating_sub(1)];
            *one = CycleSaid {
                start: one.start,
                ..sounds
            };
        }
        carried.whole = self.whole;
        carried.turns = turns(&carried.cycles);
        if self.strengths.len() == self.pulses.len() {
            let strengths = carried
                .pulses
                .iter()
                .map(|time| self.strengths[self.nearest(*time)]);
            carried.strengths = strengths.collect();
        }
        carried
    }

    /// The same among other pulses, of which nothing is said: all of its own are among these.
    #[must_use]
    pub fn among(&self, pulses: &Pulses) -> Self {
        let untold = Self::untold(pulses, self.cycle);
        let own = |start: &f64| {
            let found = self
                .cycles
                .binary_search_by(|own| own.start.total_cmp(start));
            found.ok().map(|at| self.cycles[at])
        };
        let cycles = untold.cycles.iter();
        let cycles: Vec<CycleSaid> = cycles
            .map(|cycle| own(&cycle.start).unwrap_or(*cycle))
            .collect();
        let strengths = untold.pulses.iter().map(|time| {
            let found = self.pulses.binary_search_by(|own| own.total_cmp(time));
            let strength = found.ok().and_then(|at| self.strengths.get(at));
            strength.copied().unwrap_or_default()
        });
        Self {
            strengths: strengths.collect(),
            turns: turns(&cycles),
            cycles,
            pulses: untold.pulses,
            ..self.clone()
        }
    }

    /// The pulse nearest to a time.
    fn nearest(&self, time: f64) -> usize {
        let after = self.pulses.partition_point(|pulse| *pulse < time);
        let after = after.min(self.pulses.len().saturating_sub(1));
        let before = after.saturating_sub(1);
        match (self.pulses[after] - time).abs() < (time - self.pulses[before]).abs() {
            true => after,
            false => before,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::Lean;

    fn steady(n: u32, gap: f64, from: f64) -> Pulses {
        Pulses::new((0..n).map(|k| from + gap * f64::from(k)).collect()).expect("rising")
    }

    /// Ten cycles of six: four that lean to threes, six that lean to twos.
    fn heard() -> Analysis {
        let mut heard = Analysis::untold(&steady(60, 0.25, 1.0), Cycle::SIX);
        for (at, cycle) in heard.cycles.iter_mut().enumerate() {
            cycle.said.lean = if at < 4 { Lean::Threes } else { Lean::Twos };
        }
        heard.strengths = (0..60_u8).map(|k| [f64::from(k), 0.0, 0.0, 0.0]).collect();
        heard
    }

    fn marks(of: &Analysis) -> String {
        of.cycles
            .iter()
            .map(|cycle| cycle.said.lean.mark())
            .collect()
    }

    #[test]
    fn cycles_a_little_later_are_said_as_those_there() {
        let pulses = steady(60, 0.25, 1.02);
        let carried = heard().carried_to(&pulses, Cycle::SIX);
        assert_eq!(marks(&carried), "3333222222");
        assert_eq!(carried.turns, [4]);
        assert_eq!(carried.pulses, pulses.times());
        assert_eq!(carried.cycles[3].start, pulses.times()[18]);
        assert_eq!(carried.strengths, heard().strengths);
    }

    #[test]
    fn longer_cycles_and_faster_pulses_are_said_as_what_sounds_in_their_middle() {
        let twelves = heard().carried_to(&steady(60, 0.25, 1.0), Cycle::TWELVE);
        assert_eq!(marks(&twelves), "33222");
        let faster = heard().carried_to(&steady(120, 0.125, 1.0), Cycle::SIX);
        assert_eq!(marks(&faster), "33333333222222222222");
        // Each second of them lies on one of the others, and the next as near to it as to the one after.
        assert_eq!(faster.strengths[7][0], 3.0);
        assert_eq!(faster.strengths[119][0], 59.0);
    }

    #[test]
    fn among_others_its_own_cycles_are_said_as_they_were_and_those_are_not() {
        let laid = (0..12_u8).map(|k| 0.08 * f64::from(k));
        let times = laid.chain(heard().pulses).collect();
        let all = Pulses::new(times).expect("rising");
        let among = heard().among(&all);
        assert_eq!(marks(&among), "..3333222222");
        assert_eq!(
            (among.turns.as_slice(), among.whole),
            ([6].as_slice(), heard().whole)
        );
        assert_eq!(among.strengths[12..], heard().strengths);
        assert_eq!(among.strengths[3], [0.0; 4]);
    }

    #[test]
    fn of_nothing_or_where_nothing_can_be_told_nothing_is_said() {
        let pulses = steady(30, 0.25, 0.0);
        let nothing = Analysis::nothing(Cycle::SIX).carried_to(&pulses, Cycle::SIX);
        assert_eq!(nothing, Analysis::untold(&pulses, Cycle::SIX));
        let four = Cycle::new(4).expect("in range");
        assert_eq!(
            heard().carried_to(&pulses, four),
            Analysis::untold(&pulses, four)
        );
    }
}
