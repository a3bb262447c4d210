//! Which steady clock a listener puts under a pattern.
//!
//! D. J. Povel and P. Essens, "Perception of temporal patterns", Music Perception 2(4), 1985,
//! pp. 411-440. A clock is the better, the less speaks against it: ticks on silence and ticks on
//! events that are not accented. Events are all alike here; accents come from grouping in time.

use crate::rhythm::{Cycle, Layer, Pulse};

/// Equal ticks that fill a cycle, begun on any of its pulses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Clock {
    cycle: Cycle,
    unit: u8,
    start: Pulse,
}

impl Clock {
    /// All clocks of `cycle` that tick every `unit` pulses, by the pulse of their first tick; none
    /// when such ticks do not fill the cycle.
    pub fn all(cycle: Cycle, unit: u8) -> impl Iterator<Item = Self> {
        let fills = unit > 0 && cycle.size().is_multiple_of(unit);
        let n_starts = if fills { usize::from(unit) } else { 0 };
        let starts = cycle.pulses().take(n_starts);
        starts.map(move |start| Self { cycle, unit, start })
    }

    /// The pulses from tick to tick.
    pub fn unit(self) -> u8 {
        self.unit
    }

    /// The pulse of its first tick.
    pub fn start(self) -> Pulse {
        self.start
    }

    /// The pulses on which it ticks.
    pub fn layer(self) -> Layer {
        Layer::every(self.cycle, usize::from(self.unit)).turned(i64::from(self.start.place()))
    }
}

/// What the ticks of a clock meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub struct Evidence {
    /// Ticks on accented events.
    pub n_accented: u32,
    /// Ticks on events without an accent.
    pub n_unaccented: u32,
    /// Ticks on silence.
    pub n_silent: u32,
}

impl Evidence {
    /// What a tick on silence counts against one on an event without an accent: the authors' W.
    pub const SILENCE: u32 = 4;

    /// What `clock` meets in `layer`; pulses that the layer's cycle does not have are silent.
    pub fn of(layer: Layer, clock: Clock) -> Self {
        let accents = accents(layer);
        let mut evidence = Self::default();
        for tick in clock.layer().pulses() {
            if !layer.contains(tick) {
                evidence.n_silent += 1;
            } else if accents.is_some_and(|accents| accents.contains(tick)) {
                evidence.n_accented += 1;
            } else {
                evidence.n_unaccented += 1;
            }
        }
        evidence
    }

    /// The evidence against the clock, the authors' C = W × silent + unaccented ticks.
    pub fn against(self) -> u32 {
        Self::SILENCE * self.n_silent + self.n_unaccented
    }
}

/// The events of `layer` that are accented by their place in a run of neighbouring pulses: one that
/// stands alone, the second of two, the first and the last of more. Runs go on round the cycle.
///
/// `None` for a layer without a silent pulse, in which nothing is set apart.
pub fn accents(layer: Layer) -> Option<Layer> {
    let accented = layer.pulses().filter(|pulse| {
        let before = run_length(layer, *pulse, -1);
        let after = run_length(layer, *pulse, 1);
        match (before, after) {
            (0, after) => after != 1,
            (_, after) => after == 0,
        }
    });
    if layer.n_onsets() == layer.cycle().n_pulses() {
        None
    } else {
        Layer::on(layer.cycle(), accented).ok()
    }
}

/// The clock with the least evidence against it among those of the given units, and that evidence:
/// the first such, by the order of `units` and then by the pulse of the first tick.
///
/// `None` when no unit fills the cycle.
pub fn best_clock(layer: Layer, units: &[u8]) -> Option<(Clock, Evidence)> {
    let clocks = units
        .iter()
        .flat_map(|unit| Clock::all(layer.cycle(), *unit));
    let heard = clocks.map(|clock| (clock, Evidence::of(layer, clock)));
    heard.min_by_key(|(_, evidence)| evidence.against())
}

/// How many events follow `pulse` without a gap in the direction of `step`.
fn run_length(layer: Layer, pulse: Pulse, step: i64) -> usize {
    let cycle = layer.cycle();
    let row = (1..i64::from(cycle.size())).map(|n| cycle.step(pulse, n * step));
    row.take_while(|pulse| layer.contains(*pulse)).count()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::any_layer;

    #[track_caller]
    fn check(layer: &str, expected: Option<&str>) {
        let layer: Layer = layer.parse().expect("a layer");
        assert_eq!(accents(layer).map(|l| l.to_string()).as_deref(), expected);
    }

    #[test]
    fn accents_follow_from_runs() {
        check("x.....", Some("x....."));
        check("xx..x.", Some(".x..x."));
        check("xxxx.", Some("x..x."));
        check("x..xx", Some("x..x."));
        check("x..x", Some("x..."));
        check("xxxxxx", None);
    }

    #[test]
    fn clocks_fill_the_cycle() {
        let ticks = |unit| -> Vec<String> {
            let clocks = Clock::all(Cycle::SIX, unit);
            clocks.map(|clock| clock.layer().to_string()).collect()
        };
        assert_eq!(ticks(3), ["x..x..", ".x..x.", "..x..x"]);
        assert_eq!(ticks(1), ["xxxxxx"]);
        assert!(ticks(4).is_empty() && ticks(0).is_empty() && ticks(12).is_empty());
        assert_eq!(best_clock(Layer::every(Cycle::SIX, 3), &[4, 5]), None);
    }

    proptest! {
        #[test]
        fn accents_turn_with_the_layer(layer in any_layer(), by in any::<i64>()) {
            prop_assert_eq!(accents(layer.turned(by)), accents(layer).map(|l| l.turned(by)));
        }

        #[test]
        fn every_tick_meets_something(layer in any_layer(), unit in 1..=48_u8) {
            for clock in Clock::all(layer.cycle(), unit) {
                let met = Evidence::of(layer, clock);
                let n_ticks = met.n_accented + met.n_unaccented + met.n_silent;
                prop_assert_eq!(n_ticks * u32::from(unit), u32::from(layer.cycle().size()));
            }
        }
    }
}
