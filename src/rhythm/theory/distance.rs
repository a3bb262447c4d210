//! How far two layers of one cycle are apart.
//!
//! Both measures are those of M. Diaz-Banez, G. Farigu, F. Gomez, D. Rappaport and G. T. Toussaint,
//! "El compás flamenco: a phylogenetic analysis", Bridges 2004, pp. 61-70.

use crate::rhythm::{Layer, LayerError, Pulse};

/// What becomes of the block of pulses that the written cycle's ends cut through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ends {
    /// A leading rest is a block of its own, and the last onset's block stops with the cycle. The
    /// published flamenco distances come out this way.
    Cut,
    /// The last onset's block goes on into the leading rest, since the cycle comes round.
    Joined,
}

/// The chronotonic distance: the area between two layers drawn as blocks, each as high as it is
/// long, in pulses squared. After K. Gustafson's drawing (1987).
///
/// # Errors
/// When the cycles differ in length.
pub fn chronotonic_distance(a: Layer, b: Layer, ends: Ends) -> Result<usize, LayerError> {
    same_cycle(a, b)?;
    let both = heights(a, ends).into_iter().zip(heights(b, ends));
    Ok(both.map(|(a, b)| a.abs_diff(b)).sum())
}

/// The directed swap distance: how many pulses the onsets of the denser layer move, in order, to
/// fall on onsets of the sparser, each of which takes at least one. Nothing moves round the
/// cycle's end.
///
/// # Errors
/// When the cycles differ in length.
pub fn directed_swap_distance(a: Layer, b: Layer) -> Result<usize, LayerError> {
    same_cycle(a, b)?;
    let (sparse, dense) = if a.n_onsets() < b.n_onsets() {
        (a, b)
    } else {
        (b, a)
    };
    let targets: Vec<Pulse> = sparse.pulses().collect();
    // `cheapest[j]` is the least cost with the last onset moved to target `j`; `None` where no
    // order-preserving move ends there.
    let mut cheapest = vec![None; targets.len()];
    for (idx, onset) in dense.pulses().enumerate() {
        let mut before = if idx == 0 { Some(0) } else { None };
        for (cost, target) in cheapest.iter_mut().zip(&targets) {
            let here: Option<usize> = *cost;
            let from = least(before, here);
            *cost = from.map(|so_far| so_far + onset.idx().abs_diff(target.idx()));
            before = here;
        }
    }
    let total = cheapest.last().copied().flatten();
    Ok(total.expect("the denser layer has an onset for every target"))
}

fn same_cycle(a: Layer, b: Layer) -> Result<(), LayerError> {
    a.union(b).map(|_| ())
}

fn least(a: Option<usize>, b: Option<usize>) -> Option<usize> {
    a.into_iter().chain(b).min()
}

/// For each pulse the length of the block in which it lies.
fn heights(layer: Layer, ends: Ends) -> Vec<usize> {
    let n_pulses = layer.cycle().n_pulses();
    let lead = layer.pulses().next().map_or(0, Pulse::idx);
    let mut blocks = layer.gaps();
    let first = match ends {
        Ends::Joined => blocks.last().copied().unwrap_or(n_pulses),
        Ends::Cut => {
            // The last gap runs on into the lead of the next round.
            if let Some(last) = blocks.last_mut() {
                *last -= lead;
            }
            lead
        }
    };
    let led = std::iter::repeat_n(first, lead);
    let rest = blocks
        .iter()
        .flat_map(|len| std::iter::repeat_n(*len, *len));
    led.chain(rest).take(n_pulses).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::Cycle;
    use crate::rhythm::strategies::two_layers;

    #[test]
    fn layers_of_two_cycles_have_no_distance() {
        let (six, twelve) = (Layer::every(Cycle::SIX, 3), Layer::every(Cycle::TWELVE, 3));
        let refused = LayerError::OtherCycle(6, 12);
        assert_eq!(
            chronotonic_distance(six, twelve, Ends::Cut),
            Err(refused.clone())
        );
        assert_eq!(directed_swap_distance(six, twelve), Err(refused));
    }

    proptest! {
        #[test]
        fn distances_are_distances((a, b) in two_layers()) {
            for ends in [Ends::Cut, Ends::Joined] {
                prop_assert_eq!(chronotonic_distance(a, a, ends), Ok(0));
                prop_assert_eq!(chronotonic_distance(a, b, ends), chronotonic_distance(b, a, ends));
                prop_assert_eq!(heights(a, ends).len(), a.cycle().n_pulses());
            }
            prop_assert_eq!(directed_swap_distance(a, a), Ok(0));
            prop_assert_eq!(directed_swap_distance(a, b), directed_swap_distance(b, a));
        }

        #[test]
        fn joined_blocks_turn_with_the_cycle((a, b) in two_layers(), by in any::<i64>()) {
            prop_assert_eq!(
                chronotonic_distance(a.turned(by), b.turned(by), Ends::Joined),
                chronotonic_distance(a, b, Ends::Joined)
            );
        }
    }
}
