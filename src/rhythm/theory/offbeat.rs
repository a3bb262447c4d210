//! Onsets that no equal division of the cycle explains.

use crate::rhythm::Layer;

/// Off-beatness: how many onsets lie on pulses that no regular division of the cycle from its first
/// pulse reaches, those whose place from 0 shares no divisor with the cycle's length (1, 5, 7 and
/// 11 of twelve).
///
/// G. T. Toussaint, "Mathematical features for recognizing preference in sub-Saharan African
/// traditional rhythm timelines", ICAPR 2005.
pub fn offbeatness(layer: Layer) -> usize {
    let n_pulses = layer.cycle().n_pulses();
    layer
        .pulses()
        .filter(|pulse| divisor(pulse.idx(), n_pulses) == 1)
        .count()
}

/// Rhythmic oddity: whether no two onsets part the cycle into equal halves. Every layer of a cycle
/// of an odd number of pulses has it, since such a cycle has no halves.
///
/// S. Arom, "African Polyphony and Polyrhythm", Cambridge 1991, as Toussaint uses it.
pub fn has_oddity(layer: Layer) -> bool {
    let cycle = layer.cycle();
    if cycle.n_pulses() % 2 == 1 {
        return true;
    }
    let half = i64::from(cycle.size() / 2);
    !layer
        .pulses()
        .any(|pulse| layer.contains(cycle.step(pulse, half)))
}

/// The greatest common divisor of `a` and `b`.
pub(super) fn divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::Cycle;
    use crate::rhythm::strategies::any_layer;

    #[test]
    fn an_odd_cycle_has_no_halves() {
        let cycle = Cycle::new(7).expect("in range");
        assert!(has_oddity(Layer::every(cycle, 1)));
    }

    proptest! {
        #[test]
        fn oddity_does_not_turn(layer in any_layer(), by in any::<i64>()) {
            prop_assert_eq!(has_oddity(layer.turned(by)), has_oddity(layer));
        }
    }
}
