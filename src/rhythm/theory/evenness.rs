//! How evenly the onsets of a layer are spread round the cycle.
//!
//! Both sums run over every pair of onsets, and grow with evenness at a given number of onsets:
//! G. T. Toussaint, "Computational geometric aspects of rhythm, melody, and voice-leading",
//! Computational Geometry 43 (2010), pp. 2-22; from memory.

use std::f64::consts::PI;

use crate::rhythm::Layer;

/// The sum of the distances of all pairs of onsets, each the shorter way round, in pulses.
///
/// It cannot tell many layers apart: it is 48 for all six well-known five-onset timelines of
/// sixteen pulses, which [`chord_sum`] puts in order.
pub fn arc_sum(layer: Layer) -> u32 {
    let n_pulses = layer.cycle().size();
    spans(layer)
        .map(|span| u32::from(span.min(n_pulses - span)))
        .sum()
}

/// The sum of the straight lines between all pairs of onsets, drawn on a circle of radius 1.
pub fn chord_sum(layer: Layer) -> f64 {
    let n_pulses = f64::from(layer.cycle().size());
    spans(layer)
        .map(|span| 2.0 * (PI * f64::from(span) / n_pulses).sin())
        .sum()
}

/// The pulses from the earlier to the later onset of every pair.
fn spans(layer: Layer) -> impl Iterator<Item = u8> {
    layer.pulses().flat_map(move |later| {
        let earlier = layer.pulses().take_while(move |pulse| *pulse < later);
        earlier.map(move |earlier| later.place() - earlier.place())
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::any_layer;

    proptest! {
        #[test]
        fn evenness_does_not_turn(layer in any_layer(), by in any::<i64>()) {
            prop_assert_eq!(arc_sum(layer.turned(by)), arc_sum(layer));
            prop_assert!((chord_sum(layer.turned(by)) - chord_sum(layer)).abs() < 1e-9);
        }
    }
}
