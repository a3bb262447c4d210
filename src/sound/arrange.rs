//! Putting claps on a phrase.

use crate::phrase::{Loudness, Note, Phrase, Touch, Voice};
use crate::rhythm::{Layer, Tick, Ticks};

/// The same phrase with a clap of kind `touch` on every pulse of `layer`, in every cycle, from where
/// the phrase begins to where it ends. Claps that it has already stay.
///
/// A layer of another cycle goes on in its own length from the first count.
#[must_use]
pub fn claps(phrase: &Phrase, layer: Layer, touch: Touch) -> Phrase {
    let pulses = phrase.begins().pulse_idx()..phrase.ends().pulse_idx();
    let clapped = pulses
        .filter(|&idx| layer.contains(layer.cycle().pulse_at(idx)))
        .map(|idx| Note {
            at: Tick::of_pulse(idx),
            delay: 0,
            length: Ticks::of_pulses(1),
            voice: Voice::Claps,
            pitch: None,
            loudness: Loudness(0),
            touch,
        });
    let mut with_claps = phrase.clone();
    with_claps.notes.extend(clapped);
    // Stable, so that notes of one tick keep their order.
    with_claps.notes.sort_by_key(|note| note.at);
    with_claps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Cycle, Feel, Tempo};

    #[track_caller]
    fn check(entry: i64, layer: &[i64], expected: &[i64]) {
        let phrase = Phrase {
            cycle: Cycle::SIX,
            tempo: Tempo::of_pulses_a_minute(160).expect("in range"),
            n_cycles: 2,
            entry,
            feel: Feel::Twos,
            notes: Vec::new(),
        };
        let layer = Layer::of(Cycle::SIX, layer).expect("a layer of six");
        let clapped = claps(&phrase, layer, Touch::Sorda);
        let at: Vec<i64> = clapped
            .notes
            .iter()
            .map(|note| note.at.pulse_idx())
            .collect();
        assert_eq!(at, expected);
    }

    #[test]
    fn claps_fall_on_their_layer_inside_the_phrase() {
        check(0, &[0, 3], &[0, 3, 6, 9]);
        check(0, &[0, 2, 4], &[0, 2, 4, 6, 8, 10]);
        check(2, &[0, 3], &[3, 6, 9, 12]);
        check(-1, &[0, 5], &[-1, 0, 5, 6]);
    }
}
