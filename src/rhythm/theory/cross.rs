//! Two equal divisions of one cycle at once.

use super::offbeat::divisor;
use crate::rhythm::{Cycle, CycleError, Layer};

/// `a` strokes against `b` in the shortest cycle that holds both, each evenly spread from the first
/// pulse.
///
/// ```
/// use contrapalma::rhythm::theory::CrossRhythm;
/// let three_against_two = CrossRhythm::new(3, 2)?;
/// assert_eq!(three_against_two.composite().to_string(), "x.xxx.");
/// # Ok::<(), contrapalma::rhythm::CycleError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct CrossRhythm {
    a: Layer,
    b: Layer,
}

impl CrossRhythm {
    /// `a` strokes against `b`. The cycle has lcm(`a`, `b`) pulses.
    ///
    /// # Errors
    /// When there is no cycle of that length: 1 against 1, nothing against something, or more than
    /// 48 pulses.
    pub fn new(a: u8, b: u8) -> Result<Self, CycleError> {
        let n_pulses = multiple(usize::from(a), usize::from(b));
        let cycle = Cycle::new(i64::try_from(n_pulses).unwrap_or(i64::MAX))?;
        let evenly = |n: u8| Layer::every(cycle, cycle.n_pulses() / usize::from(n.max(1)));
        Ok(Self {
            a: evenly(a),
            b: evenly(b),
        })
    }

    /// The cycle of both.
    pub fn cycle(self) -> Cycle {
        self.a.cycle()
    }

    /// The two layers, in the order in which they were named.
    pub fn layers(self) -> [Layer; 2] {
        [self.a, self.b]
    }

    /// All strokes of both: `a` + `b` - gcd(`a`, `b`) of them.
    pub fn composite(self) -> Layer {
        self.a.union(self.b).expect("both were made in one cycle")
    }

    /// The pulses on which both strike: gcd(`a`, `b`) of them, the first pulse always among them.
    pub fn coincidences(self) -> Layer {
        let common = self.a.pulses().filter(|pulse| self.b.contains(*pulse));
        Layer::on(self.cycle(), common).expect("both strike on the first pulse")
    }
}

/// The least common multiple; 0 where either is 0.
fn multiple(a: usize, b: usize) -> usize {
    match divisor(a, b) {
        0 => 0,
        common => a / common * b,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_makes_no_cycle_is_refused() {
        assert_eq!(CrossRhythm::new(0, 0), Err(CycleError(0)));
        assert_eq!(CrossRhythm::new(3, 0), Err(CycleError(0)));
        assert_eq!(CrossRhythm::new(1, 1), Err(CycleError(1)));
        assert_eq!(CrossRhythm::new(8, 7), Err(CycleError(56)));
        assert_eq!(CrossRhythm::new(255, 254), Err(CycleError(64_770)));
    }

    proptest! {
        #[test]
        fn strokes_are_counted_once_where_they_meet(a in 1..=16_u8, b in 1..=16_u8) {
            let Ok(cross) = CrossRhythm::new(a, b) else {
                return Ok(());
            };
            let [one, other] = cross.layers().map(Layer::n_onsets);
            prop_assert_eq!((one, other), (usize::from(a), usize::from(b)));
            let met = cross.coincidences().n_onsets();
            prop_assert_eq!(cross.composite().n_onsets(), one + other - met);
        }
    }
}
