//! The bank of cells from which phrases are composed: small figures of our own, made for this
//! program from scale degrees and pulse numbers.
//!
//! A cell never tells a grouping by itself: every one is used for threes and for twos alike, and the
//! composer lays the accents over it. So which cell is heard gives nothing away.

use super::harmony::Chord::{self, Four, One, Seven, Three, Two};

/// Right-hand figures of a broken chord over six pulses: which of three inner strings sounds, from
/// the lowest. The thumb takes its pulses out of them. No string comes twice running, round the
/// cycle.
pub(super) const FIGURES: [[usize; 6]; 30] = [
    [0, 1, 0, 1, 0, 2],
    [0, 1, 0, 1, 2, 1],
    [0, 1, 0, 2, 0, 1],
    [0, 1, 0, 2, 0, 2],
    [0, 1, 0, 2, 1, 2],
    [0, 1, 2, 0, 1, 2],
    [0, 1, 2, 1, 0, 2],
    [0, 1, 2, 1, 2, 1],
    [0, 2, 0, 1, 2, 1],
    [0, 2, 0, 2, 0, 1],
    [0, 2, 1, 0, 2, 1],
    [0, 2, 1, 2, 0, 1],
    [0, 2, 1, 2, 1, 2],
    [1, 0, 1, 0, 1, 2],
    [1, 0, 1, 0, 2, 0],
    [1, 0, 1, 2, 1, 2],
    [1, 0, 2, 0, 1, 2],
    [1, 0, 2, 1, 0, 2],
    [1, 2, 0, 1, 2, 0],
    [1, 2, 0, 2, 1, 2],
    [1, 2, 1, 0, 1, 0],
    [2, 0, 1, 0, 2, 1],
    [2, 0, 1, 2, 1, 0],
    [2, 0, 2, 0, 1, 0],
    [2, 0, 2, 1, 0, 1],
    [2, 0, 2, 1, 2, 0],
    [2, 1, 0, 1, 0, 1],
    [2, 1, 0, 1, 2, 0],
    [2, 1, 0, 2, 1, 0],
    [2, 1, 2, 0, 2, 0],
];

/// What the thumb takes of the chord, mark after mark: its root, or the low tone under it where it
/// is deep enough.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Low {
    Root,
    Under,
}

/// Bass figures, in marks; they go round until the phrase is over.
pub(super) const BASSES: [&[Low]; 20] = [
    &[Low::Root],
    &[Low::Root, Low::Under],
    &[Low::Root, Low::Root, Low::Under],
    &[Low::Root, Low::Under, Low::Under],
    &[Low::Under, Low::Root],
    &[Low::Root, Low::Root, Low::Root, Low::Under],
    &[Low::Root, Low::Under, Low::Root, Low::Root],
    &[Low::Root, Low::Root, Low::Under, Low::Under],
    &[Low::Under, Low::Root, Low::Root],
    &[Low::Root, Low::Under, Low::Root, Low::Root, Low::Root],
    &[Low::Root, Low::Root, Low::Under, Low::Root, Low::Root],
    &[Low::Root, Low::Under, Low::Root, Low::Under, Low::Root],
    &[Low::Root, Low::Root, Low::Under, Low::Under, Low::Root],
    &[Low::Under, Low::Root, Low::Root, Low::Root],
    &[Low::Root, Low::Under, Low::Root, Low::Under],
    &[Low::Root, Low::Root, Low::Root, Low::Under, Low::Root],
    &[Low::Root, Low::Under, Low::Under, Low::Root, Low::Root],
    &[Low::Under, Low::Root, Low::Under, Low::Root, Low::Root],
    &[Low::Root, Low::Root, Low::Root, Low::Root, Low::Under],
    &[Low::Under, Low::Under, Low::Root, Low::Root],
];

/// Harmonic cells, each of which comes to rest on the final; joined backwards from the close of a
/// phrase they make its changes of chord. The first is the Andalusian descent (common practice), the
/// others are ours.
pub(super) const CHANGES: [&[Chord]; 24] = [
    &[Four, Three, Two, One],
    &[Two, One],
    &[Seven, One],
    &[Three, Two, One],
    &[Two, Three, Two, One],
    &[One, Two, One],
    &[One, Seven, One],
    &[Four, Three, Two, Three, Two, One],
    &[Two, One, Seven, One],
    &[Seven, One, Two, One],
    &[Three, Four, Three, Two, One],
    &[Three, Two, Three, Two, One],
    &[One, Two, Three, Two, One],
    &[Seven, One, Seven, One],
    &[Two, One, Two, One],
    &[Three, Two, One, Two, One],
    &[Three, Two, One, Seven, One],
    &[One, Two, One, Seven, One],
    &[One, Seven, One, Two, One],
    &[Four, Three, Two, One, Two, One],
    &[Four, Three, Four, Three, Two, One],
    &[Seven, One, Two, Three, Two, One],
    &[Two, Three, Four, Three, Two, One],
    &[One, Two, Three, Four, Three, Two, One],
];

/// Shapes of a figure of a line between its top and its last note: by what share of the whole fall
/// each note lies under the top, in sixths. They are read as far as the figure is long.
pub(super) const FALLS: [[i32; 5]; 20] = [
    [1, 2, 3, 4, 5],
    [2, 3, 4, 5, 6],
    [3, 4, 5, 5, 6],
    [2, 2, 4, 4, 6],
    [3, 3, 3, 5, 6],
    [4, 4, 5, 5, 6],
    [1, 1, 3, 4, 6],
    [5, 5, 5, 6, 6],
    [6, 6, 6, 6, 6],
    [3, 3, 6, 6, 6],
    [1, 1, 1, 6, 6],
    [1, 3, 3, 5, 5],
    [2, 2, 2, 2, 6],
    [2, 4, 4, 6, 6],
    [1, 2, 2, 5, 6],
    [4, 4, 4, 4, 6],
    [3, 5, 5, 6, 6],
    [2, 3, 3, 4, 4],
    [1, 4, 5, 6, 6],
    [5, 6, 6, 6, 6],
];

/// Inner notes of a figure that comes again: how many steps of the scale each lies under the
/// figure's first note. They are read as far as the figure is long.
pub(super) const FIGURE_TAILS: [[i32; 5]; 14] = [
    [1, 2, 1, 3, 2],
    [1, 3, 2, 1, 3],
    [1, 1, 2, 3, 1],
    [2, 1, 3, 2, 1],
    [2, 3, 1, 1, 2],
    [2, 2, 1, 3, 3],
    [2, 4, 3, 1, 2],
    [3, 1, 2, 3, 1],
    [3, 2, 1, 2, 3],
    [3, 3, 2, 1, 1],
    [3, 4, 2, 3, 1],
    [4, 1, 3, 2, 4],
    [4, 2, 3, 1, 2],
    [4, 3, 1, 2, 3],
];

/// How the notes after a long one share what is left of their group, in parts. They are read as far
/// as the group is long.
pub(super) const SHORT_NOTES: [[u32; 5]; 8] = [
    [1, 1, 1, 1, 1],
    [3, 2, 3, 2, 3],
    [2, 3, 2, 3, 2],
    [4, 3, 3, 3, 3],
    [3, 4, 3, 4, 3],
    [5, 4, 4, 5, 4],
    [4, 5, 5, 4, 5],
    [5, 4, 3, 3, 3],
];

/// Rolls: which of the upper strings, from the lowest, each of the nails sweeps.
pub(super) const ROLLS: [&[[usize; 2]]; 8] = [
    &[[0, 1], [0, 1], [1, 2], [1, 2]],
    &[[0, 1], [1, 2], [0, 1], [1, 2]],
    &[[0, 2], [0, 1], [0, 2], [1, 2]],
    &[[1, 2], [0, 1], [1, 2], [0, 1]],
    &[[0, 1], [0, 2], [1, 2]],
    &[[1, 2], [1, 2], [0, 1]],
    &[[0, 1], [1, 2], [1, 2]],
    &[[0, 2], [0, 2], [0, 2], [0, 1]],
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_string_comes_twice_running() {
        for figure in FIGURES {
            let next = figure.iter().cycle().skip(1);
            assert!(
                figure.iter().zip(next).all(|(a, b)| a != b && *a < 3),
                "{figure:?}"
            );
        }
    }

    #[test]
    fn changes_go_to_chords_without_a_common_tone_and_rest_on_the_final() {
        for change in CHANGES {
            assert_eq!(change.last(), Some(&One));
            assert!(
                change.windows(2).all(|pair| pair[0].is_neighbour(pair[1])),
                "{change:?}"
            );
        }
    }

    #[test]
    fn falls_never_rise() {
        assert!(
            FALLS
                .iter()
                .all(|fall| fall.is_sorted() && fall.iter().all(|f| (1..=6).contains(f)))
        );
    }

    #[test]
    fn no_cell_stands_twice() {
        let twice = |n: usize, same: &dyn Fn(usize, usize) -> bool| {
            (0..n).any(|a| (0..a).any(|b| same(a, b)))
        };
        assert!(!twice(FIGURES.len(), &|a, b| FIGURES[a] == FIGURES[b]));
        assert!(!twice(BASSES.len(), &|a, b| BASSES[a] == BASSES[b]));
        assert!(!twice(CHANGES.len(), &|a, b| CHANGES[a] == CHANGES[b]));
        assert!(!twice(FALLS.len(), &|a, b| FALLS[a] == FALLS[b]));
        let tails = FIGURE_TAILS;
        assert!(!twice(tails.len(), &|a, b| tails[a] == tails[b]));
        let short = SHORT_NOTES;
        assert!(!twice(short.len(), &|a, b| short[a] == short[b]));
        assert!(!twice(ROLLS.len(), &|a, b| ROLLS[a] == ROLLS[b]));
        let n_cells = FIGURES.len()
            + BASSES.len()
            + CHANGES.len()
            + FALLS.len()
            + FIGURE_TAILS.len()
            + SHORT_NOTES.len()
            + ROLLS.len();
        assert!(n_cells >= 120, "{n_cells}");
    }
}
