//! The set of pulses that one voice accents.

use super::{Cycle, Pulse};

/// A non-empty set of pulses of one cycle.
///
/// ```
/// use contrapalma::rhythm::{Cycle, Layer};
/// let threes = Layer::of(Cycle::SIX, &[0, 3])?;
/// let twos = Layer::of(Cycle::SIX, &[0, 2, 4])?;
/// assert_eq!(threes.union(twos)?, Layer::of(Cycle::SIX, &[0, 2, 3, 4])?);
/// # Ok::<(), contrapalma::rhythm::LayerError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Layer {
    cycle: Cycle,
    bits: u64,
}

/// Why a set of pulses is no layer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LayerError {
    /// No pulse at all.
    #[error("a layer without a pulse")]
    Empty,
    /// A pulse that the cycle does not have.
    #[error("pulse {pulse} in a cycle of {n_pulses} pulses")]
    Outside {
        /// The pulse, from 0.
        pulse: i64,
        /// The cycle's length.
        n_pulses: usize,
    },
    /// Two layers of cycles of different length.
    #[error("layers of {0} and of {1} pulses cannot be joined")]
    OtherCycle(usize, usize),
}

impl Layer {
    /// The layer of `cycle` on the pulses `pulses`, from 0, in any order.
    ///
    /// # Errors
    /// When there is none, or one lies outside the cycle.
    pub fn of(cycle: Cycle, pulses: &[i64]) -> Result<Self, LayerError> {
        let n_pulses = cycle.n_pulses();
        let is_inside = |pulse: i64| usize::try_from(pulse).is_ok_and(|idx| idx < n_pulses);
        match pulses.iter().find(|pulse| !is_inside(**pulse)) {
            Some(&pulse) => Err(LayerError::Outside { pulse, n_pulses }),
            None => Self::on(cycle, pulses.iter().map(|pulse| cycle.pulse_at(*pulse))),
        }
    }

    /// The layer of `cycle` on `pulses`, in any order.
    ///
    /// # Errors
    /// When there is none, or one belongs to a longer cycle and lies outside this one.
    pub fn on(cycle: Cycle, pulses: impl IntoIterator<Item = Pulse>) -> Result<Self, LayerError> {
        let mut bits = 0;
        for pulse in pulses {
            if pulse.idx() >= cycle.n_pulses() {
                return Err(LayerError::Outside {
                    pulse: i64::from(pulse.place()),
                    n_pulses: cycle.n_pulses(),
                });
            }
            bits |= pulse.bit();
        }
        if bits == 0 {
            Err(LayerError::Empty)
        } else {
            Ok(Self { cycle, bits })
        }
    }

    /// Every `n`-th pulse from the first: the layer of equal groups of `n`.
    pub fn every(cycle: Cycle, n: usize) -> Self {
        let bits = cycle
            .pulses()
            .step_by(n.max(1))
            .fold(0, |bits, pulse| bits | pulse.bit());
        Self { cycle, bits }
    }

    /// The cycle it belongs to.
    pub fn cycle(self) -> Cycle {
        self.cycle
    }

    /// Whether it holds `pulse`.
    pub fn contains(self, pulse: Pulse) -> bool {
        self.bits & pulse.bit() != 0
    }

    /// Its pulses in order.
    pub fn pulses(self) -> impl Iterator<Item = Pulse> {
        self.cycle
            .pulses()
            .filter(move |pulse| self.contains(*pulse))
    }

    /// How many pulses it has; at least one.
    pub fn n_onsets(self) -> usize {
        self.bits.count_ones() as usize
    }

    /// The same pattern begun `by` pulses later.
    #[must_use]
    pub fn turned(self, by: i64) -> Self {
        let bits = self
            .pulses()
            .fold(0, |bits, pulse| bits | self.cycle.step(pulse, by).bit());
        Self { bits, ..self }
    }

    /// By how many pulses it is turned to be `other`, later or (negative) earlier, the least either
    /// way; `None` where `other` is no turn of it.
    pub fn turn_to(self, other: Self) -> Option<i64> {
        let n = i64::try_from(self.cycle.n_pulses()).unwrap_or(1);
        let mut turns = (0..=n / 2).flat_map(|by| [by, -by]);
        turns.find(|by| self.turned(*by) == other)
    }

    /// All pulses of both.
    ///
    /// # Errors
    /// When their cycles differ in length.
    pub fn union(self, other: Self) -> Result<Self, LayerError> {
        if self.cycle == other.cycle {
            Ok(Self {
                bits: self.bits | other.bits,
                ..self
            })
        } else {
            Err(LayerError::OtherCycle(
                self.cycle.n_pulses(),
                other.cycle.n_pulses(),
            ))
        }
    }

    /// The gaps from each onset to the next, round the cycle, in pulses; they sum to the cycle.
    pub fn gaps(self) -> Vec<usize> {
        let onsets: Vec<usize> = self.pulses().map(Pulse::idx).collect();
        let next = onsets
            .iter()
            .skip(1)
            .copied()
            .chain(onsets.first().map(|first| first + self.cycle.n_pulses()));
        onsets
            .iter()
            .zip(next)
            .map(|(here, next)| next - here)
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::{any_layer, two_layers};

    #[track_caller]
    fn six(pulses: &[i64]) -> Layer {
        Layer::of(Cycle::SIX, pulses).expect("a layer of six")
    }

    #[test]
    fn threes_and_twos_join_in_four_strokes() {
        assert_eq!(six(&[0, 3]).union(six(&[0, 2, 4])), Ok(six(&[0, 2, 3, 4])));
        assert_eq!(Layer::every(Cycle::SIX, 3), six(&[0, 3]));
        assert_eq!(Layer::every(Cycle::SIX, 2), six(&[0, 2, 4]));
    }

    #[test]
    fn turning_goes_round() {
        assert_eq!(six(&[0, 3, 4]).turned(1), six(&[1, 4, 5]));
        assert_eq!(six(&[0, 3, 4]).turned(-1), six(&[2, 3, 5]));
        assert_eq!(six(&[0, 3]).turned(3), six(&[0, 3]));
    }

    #[test]
    fn a_turn_is_found_the_shorter_way() {
        let turn = |of: &[i64], to: &[i64]| six(of).turn_to(six(to));
        assert_eq!(turn(&[0, 3, 4], &[0, 3, 4]), Some(0));
        assert_eq!(turn(&[0, 3, 4], &[1, 4, 5]), Some(1));
        assert_eq!(turn(&[0, 3, 4], &[2, 3, 5]), Some(-1));
        assert_eq!(turn(&[0, 3], &[2, 5]), Some(-1));
        assert_eq!(turn(&[0, 3], &[0, 2, 4]), None);
    }

    #[test]
    fn impossible_sets_are_named() {
        assert_eq!(Layer::of(Cycle::SIX, &[]), Err(LayerError::Empty));
        assert_eq!(
            Layer::of(Cycle::SIX, &[0, 6]),
            Err(LayerError::Outside {
                pulse: 6,
                n_pulses: 6
            })
        );
        assert_eq!(
            Layer::of(Cycle::SIX, &[-1]),
            Err(LayerError::Outside {
                pulse: -1,
                n_pulses: 6
            })
        );
        assert_eq!(
            six(&[0]).union(Layer::every(Cycle::TWELVE, 3)),
            Err(LayerError::OtherCycle(6, 12))
        );
    }

    #[test]
    fn a_pulse_of_a_longer_cycle_may_lie_outside() {
        let eighth = Cycle::TWELVE.pulse_at(7);
        assert_eq!(
            Layer::on(Cycle::SIX, [eighth]),
            Err(LayerError::Outside {
                pulse: 7,
                n_pulses: 6
            })
        );
        assert_eq!(Layer::on(Cycle::SIX, []), Err(LayerError::Empty));
    }

    #[test]
    fn gaps_sum_to_the_cycle() {
        assert_eq!(six(&[0, 3, 4]).gaps(), [3, 1, 2]);
        assert_eq!(six(&[2]).gaps(), [6]);
    }

    proptest! {
        #[test]
        fn a_layer_is_the_set_of_its_pulses(layer in any_layer()) {
            prop_assert_eq!(Layer::on(layer.cycle(), layer.pulses()), Ok(layer));
            prop_assert_eq!(layer.pulses().count(), layer.n_onsets());
            prop_assert_eq!(layer.gaps().iter().sum::<usize>(), layer.cycle().n_pulses());
        }

        #[test]
        fn union_is_a_union_of_sets((a, b) in two_layers(), by in any::<i64>()) {
            let both = a.union(b).expect("one cycle");
            prop_assert_eq!(a.union(b), b.union(a));
            prop_assert_eq!(a.union(a), Ok(a));
            prop_assert_eq!(both.union(b), Ok(both));
            for pulse in a.cycle().pulses() {
                prop_assert_eq!(both.contains(pulse), a.contains(pulse) || b.contains(pulse));
            }
            prop_assert_eq!(both.turned(by), a.turned(by).union(b.turned(by)).expect("one cycle"));
        }

        #[test]
        fn turning_is_a_rotation(
            layer in any_layer(),
            by in any::<i64>(),
            (one, other) in (-100..100_i64, -100..100_i64),
        ) {
            let n_pulses = i64::from(u8::try_from(layer.cycle().n_pulses()).expect("at most 48"));
            prop_assert_eq!(layer.turned(n_pulses), layer);
            prop_assert_eq!(layer.turned(by), layer.turned(by.rem_euclid(n_pulses)));
            prop_assert_eq!(layer.turned(one).turned(other), layer.turned(one + other));
            prop_assert_eq!(layer.turned(by).n_onsets(), layer.n_onsets());
            for pulse in layer.pulses() {
                prop_assert!(layer.turned(by).contains(layer.cycle().step(pulse, by)));
            }
        }
    }
}
