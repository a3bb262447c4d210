//! Euclidean rhythms: onsets spread as evenly as whole pulses allow.
//!
//! G. T. Toussaint, "The Euclidean algorithm generates traditional musical rhythms", Bridges 2005,
//! pp. 47-56, which takes the procedure from E. Bjorklund's work on neutron accelerators (2003).

use crate::rhythm::{Cycle, Layer};

/// How the gaps of a layer behave when the first grows by one pulse and the last shrinks by one
/// (Ellis, Ruskey, Sawada and Simpson 2003, as used by Toussaint 2005).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum EuclideanClass {
    /// The result is a rotation of the gaps.
    Euclidean,
    /// It is so when the gaps are read backwards.
    Reverse,
    /// Neither way.
    Neither,
}

impl EuclideanClass {
    /// The class of `layer`, its gaps read from its first onset.
    ///
    /// A layer that is both, read forwards and backwards, is [`EuclideanClass::Euclidean`].
    pub fn of(layer: Layer) -> Self {
        let mut gaps = layer.gaps();
        if is_euclidean(&gaps) {
            return Self::Euclidean;
        }
        gaps.reverse();
        if is_euclidean(&gaps) {
            Self::Reverse
        } else {
            Self::Neither
        }
    }
}

/// `n_onsets` onsets spread over `cycle`, the first on its first pulse; `None` when the cycle
/// cannot hold that many, or there are none.
///
/// ```
/// use contrapalma::rhythm::{Cycle, theory::euclidean};
/// let tresillo = euclidean(Cycle::new(8)?, 3).map(|layer| layer.to_string());
/// assert_eq!(tresillo.as_deref(), Some("x..x..x."));
/// # Ok::<(), contrapalma::rhythm::CycleError>(())
/// ```
pub fn euclidean(cycle: Cycle, n_onsets: usize) -> Option<Layer> {
    let n_rests = cycle.n_pulses().checked_sub(n_onsets)?;
    if n_onsets == 0 {
        return None;
    }
    let mut heads = vec![vec![true]; n_onsets];
    let mut rests = vec![vec![false]; n_rests];
    // The rests are dealt out once even where there is one alone; without this E(2,3) would be
    // `xx.` and not the published `x.x`.
    if n_rests > 0 {
        rests = deal(&mut heads, rests);
    }
    while rests.len() > 1 {
        rests = deal(&mut heads, rests);
    }
    let sounds = heads.into_iter().chain(rests).flatten();
    let onsets = cycle.pulses().zip(sounds).filter(|(_, sounds)| *sounds);
    Layer::on(cycle, onsets.map(|(pulse, _)| pulse)).ok()
}

/// Appends one of `rests` to each of `heads` while both last, and returns what is left over.
fn deal(heads: &mut Vec<Vec<bool>>, mut rests: Vec<Vec<bool>>) -> Vec<Vec<bool>> {
    let left = if heads.len() > rests.len() {
        heads.split_off(rests.len())
    } else {
        rests.split_off(heads.len())
    };
    for (head, rest) in heads.iter_mut().zip(rests) {
        head.extend(rest);
    }
    left
}

fn is_euclidean(gaps: &[usize]) -> bool {
    let [first, inner @ .., last] = gaps else {
        return false;
    };
    let moved = [&[first + 1], inner, &[last - 1]].concat();
    (0..gaps.len()).any(|at| {
        let (before, after) = gaps.split_at(at);
        moved.starts_with(after) && moved.ends_with(before)
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::{any_cycle, any_layer};
    use crate::rhythm::theory::chord_sum;

    #[test]
    fn a_cycle_holds_one_to_all_of_its_pulses() {
        assert_eq!(euclidean(Cycle::SIX, 0), None);
        assert_eq!(euclidean(Cycle::SIX, 7), None);
        assert_eq!(euclidean(Cycle::SIX, 6), Some(Layer::every(Cycle::SIX, 1)));
    }

    proptest! {
        #[test]
        fn gaps_differ_by_one_pulse_at_most(cycle in any_cycle(), part in 1..=48_usize) {
            let n_onsets = 1 + part % cycle.n_pulses();
            let layer = euclidean(cycle, n_onsets).expect("between one and all");
            prop_assert_eq!(layer.n_onsets(), n_onsets);
            prop_assert!(layer.contains(cycle.first()));
            let gaps = layer.gaps();
            prop_assert!(gaps.iter().max() <= gaps.iter().min().map(|gap| gap + 1).as_ref());
        }

        // E. D. Demaine and others, "The distance geometry of music", Computational Geometry 42
        // (2009): Euclidean rhythms have the greatest sum of chords; from memory.
        #[test]
        fn no_layer_is_more_even(layer in any_layer()) {
            let even = euclidean(layer.cycle(), layer.n_onsets()).expect("as many as the layer");
            prop_assert!(chord_sum(layer) <= chord_sum(even) + 1e-9);
        }
    }
}
