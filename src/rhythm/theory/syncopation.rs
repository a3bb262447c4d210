//! Syncopation: a note that gives way to a stronger rest.

use std::cmp::Reverse;

use super::Metre;
use crate::rhythm::{Layer, Pulse};

/// A note followed by a silent pulse that is at least as strong in the metre.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Syncopation {
    /// The pulse of the note.
    pub onset: Pulse,
    /// The strongest silent pulse before the next note, the first of them where several are equal.
    pub rest: Pulse,
    /// The weight of the rest less that of the note, in levels of the metre. Zero is a syncopation
    /// too, and differs from none.
    pub strength: u32,
}

/// The syncopations of `layer` in `metre`, in order of their notes. The metre is repeated as often as
/// the layer's cycle holds it, and the cycle comes round.
///
/// H. C. Longuet-Higgins and C. S. Lee, "The rhythmic interpretation of monophonic music", Music
/// Perception 1(4), 1984, pp. 424-441. Where several rests follow a note the strongest alone counts;
/// another reading of the paper sums them all.
///
/// `None` when the layer's cycle is no multiple of the metre's.
pub fn syncopations(layer: Layer, metre: &Metre) -> Option<Vec<Syncopation>> {
    let weights = metre.repeated_weights(layer.cycle())?;
    let weight = |pulse: Pulse| weights.get(pulse.idx()).copied().unwrap_or(i32::MIN);
    let notes = layer.pulses().zip(layer.gaps());
    let given_way = notes.filter_map(|(onset, gap)| {
        let rest = strongest_rest(layer, onset, gap, weight)?;
        // A rest weaker than its note leaves a negative strength, which is no syncopation.
        let strength = u32::try_from(weight(rest) - weight(onset)).ok()?;
        Some(Syncopation {
            onset,
            rest,
            strength,
        })
    });
    Some(given_way.collect())
}

fn strongest_rest(
    layer: Layer,
    onset: Pulse,
    gap: usize,
    weight: impl Fn(Pulse) -> i32,
) -> Option<Pulse> {
    let silent = (1..).take(gap - 1).map(|by| layer.cycle().step(onset, by));
    // Of two equal minima `min_by_key` takes the first, which `max_by_key` would not.
    silent.min_by_key(|pulse| Reverse(weight(*pulse)))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::Cycle;
    use crate::rhythm::strategies::any_layer;
    use crate::rhythm::theory::Split;

    fn places(layer: &str, metre: &Metre) -> Vec<(usize, usize, u32)> {
        let layer: Layer = layer.parse().expect("a layer");
        let found = syncopations(layer, metre).expect("a layer of the metre");
        let place = |s: &Syncopation| (s.onset.idx(), s.rest.idx(), s.strength);
        found.iter().map(place).collect()
    }

    #[test]
    fn each_layer_of_the_hemiola_is_syncopated_in_the_other_metre() {
        assert_eq!(places("x..x..", &Metre::three_four()), [(3, 4, 1)]);
        assert_eq!(
            places("x.x.x.", &Metre::six_eight()),
            [(2, 3, 1), (4, 5, 0)]
        );
        assert_eq!(places("x..x..", &Metre::six_eight()), []);
        assert_eq!(places("x.x.x.", &Metre::three_four()), []);
    }

    #[test]
    fn a_rest_on_the_first_pulse_is_reached_round_the_end() {
        assert_eq!(places("...x.x", &Metre::six_eight()), [(5, 0, 2)]);
    }

    #[test]
    fn metres_repeat_in_a_longer_cycle() {
        assert_eq!(
            places("x..x..x.x.x.", &Metre::six_eight()),
            [(8, 9, 1), (10, 11, 0)]
        );
        let eight = Layer::every(Cycle::new(8).expect("in range"), 2);
        assert_eq!(syncopations(eight, &Metre::six_eight()), None);
    }

    proptest! {
        #[test]
        fn rests_are_silent_and_no_weaker_than_their_notes(layer in any_layer()) {
            let metre = Metre::new(&[Split::Halves]).expect("two pulses");
            let Some(found) = syncopations(layer, &metre) else {
                return Ok(());
            };
            let weights = metre.repeated_weights(layer.cycle()).expect("an even cycle");
            for s in found {
                prop_assert!(layer.contains(s.onset) && !layer.contains(s.rest));
                let difference = weights[s.rest.idx()] - weights[s.onset.idx()];
                prop_assert_eq!(u32::try_from(difference), Ok(s.strength));
            }
        }
    }
}
