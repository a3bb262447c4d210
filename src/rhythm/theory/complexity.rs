//! How far a layer stands from the metre or the beats under it.

use super::Metre;
use crate::rhythm::Layer;

/// Metrical complexity: how much less metrical weight the onsets of `layer` carry than as many
/// onsets could, by the dots of the metrical grid. Zero where no layer of as many onsets is simpler.
/// The metre is repeated as often as the layer's cycle holds it.
///
/// G. T. Toussaint, "A mathematical analysis of African, Brazilian, and Cuban clave rhythms",
/// Bridges 2002, pp. 157-168.
///
/// `None` when the layer's cycle is no multiple of the metre's.
pub fn metrical_complexity(layer: Layer, metre: &Metre) -> Option<u32> {
    let weights = metre.repeated_weights(layer.cycle())?;
    let carried: i32 = layer.pulses().filter_map(|p| weights.get(p.idx())).sum();
    let mut best = weights;
    best.sort_unstable_by(|a, b| b.cmp(a));
    let possible: i32 = best.iter().take(layer.n_onsets()).sum();
    // Grid dots and weights differ by a constant, which falls out between equal numbers of onsets.
    u32::try_from(possible - carried).ok()
}

/// The weighted note-to-beat distance, a mean over the notes: a note off the beat counts for the
/// more, the nearer it lies to one, and twice when it lasts beyond the next beat but not beyond the
/// one after. Notes last until the next. Beats begin on the first pulse, every `beat` pulses.
///
/// F. Gomez, A. Melvin, D. Rappaport and G. T. Toussaint, "Mathematical measures of syncopation",
/// Bridges 2005.
///
/// `None` when beats of this length do not fill the cycle.
pub fn note_to_beat_distance(layer: Layer, beat: u8) -> Option<f64> {
    if beat == 0 || !layer.cycle().size().is_multiple_of(beat) {
        return None;
    }
    let beat = usize::from(beat);
    let notes = layer.pulses().zip(layer.gaps());
    let sum: f64 = notes
        .map(|(onset, gap)| note_distance(onset.idx(), gap, beat))
        .sum();
    let n_onsets = u32::try_from(layer.n_onsets()).expect("at most 48");
    Some(sum / f64::from(n_onsets))
}

/// M. Keith's syncopation, the sum over the notes: 2 where a note begins off the grid of its own
/// length, 1 where it ends off it, 3 for both. The length is cut to a power of two.
///
/// M. Keith, "From Polychords to Polya", Vinculum Press 1991; from memory.
///
/// `None` for cycles whose length is no power of two, to which the rule does not apply.
pub fn keith_syncopation(layer: Layer) -> Option<u32> {
    if !layer.cycle().n_pulses().is_power_of_two() {
        return None;
    }
    let notes = layer.pulses().zip(layer.gaps());
    let off = notes.map(|(onset, gap)| {
        let grid = 1 << gap.ilog2();
        let begins_off = !onset.idx().is_multiple_of(grid);
        let ends_off = !(onset.idx() + gap).is_multiple_of(grid);
        2 * u32::from(begins_off) + u32::from(ends_off)
    });
    Some(off.sum())
}

/// The weight of one note `gap` pulses long, in beats to the power of minus one.
fn note_distance(onset: usize, gap: usize, beat: usize) -> f64 {
    let after = onset % beat;
    if after == 0 {
        return 0.0;
    }
    // What is left of the note when the next beat comes.
    let beyond = (after + gap).saturating_sub(beat);
    let times = if beyond > 0 && beyond <= beat {
        2.0
    } else {
        1.0
    };
    let nearest = u32::try_from(after.min(beat - after)).expect("at most 24");
    let beat = u32::try_from(beat).expect("at most 48");
    times * f64::from(beat) / f64::from(nearest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Cycle;

    #[test]
    fn measures_that_do_not_apply_say_so() {
        let six = Layer::every(Cycle::SIX, 3);
        assert_eq!(metrical_complexity(six, &Metre::four_four()), None);
        assert_eq!(note_to_beat_distance(six, 4), None);
        assert_eq!(note_to_beat_distance(six, 0), None);
        assert_eq!(keith_syncopation(six), None);
    }

    #[test]
    fn a_note_counts_twice_while_it_ends_within_the_second_beat() {
        // Worked by hand from the paper's rule: one pulse after a beat of four, 1/T is 4.
        let check = |text: &str, expected: f64| {
            let layer: Layer = text.parse().expect("a layer");
            assert_eq!(note_to_beat_distance(layer, 4), Some(expected), "{text}");
        };
        check(".x..x...........", 4.0 / 2.0);
        check(".x......x.......", 8.0 / 2.0);
        check(".x..........x...", 4.0 / 2.0);
        check(".x..............", 4.0);
    }

    #[test]
    fn a_layer_is_simplest_in_its_own_metre() {
        let (threes, twos) = (Layer::every(Cycle::SIX, 3), Layer::every(Cycle::SIX, 2));
        assert_eq!(metrical_complexity(threes, &Metre::six_eight()), Some(0));
        assert_eq!(metrical_complexity(twos, &Metre::three_four()), Some(0));
        assert_eq!(metrical_complexity(threes, &Metre::three_four()), Some(1));
        assert_eq!(metrical_complexity(twos, &Metre::six_eight()), Some(1));
        assert_eq!(note_to_beat_distance(threes, 3), Some(0.0));
    }
}
