//! Which words are spelt like one that is not known.

use strsim::damerau_levenshtein;

/// A longer word is no slip of the hand, and the comparison is to stay cheap.
const LONGEST: usize = 81;

/// The words of `known`, those first that are spelt most like `word`: the fewest letters changed, put in,
/// left out or exchanged with their neighbour (Damerau 1964; Levenshtein 1966). Words alike in that keep
/// their order.
pub fn by_likeness<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let word: String = word.chars().take(LONGEST).collect();
    let mut known: Vec<&str> = known.into_iter().collect();
    known.sort_by_cached_key(|other| damerau_levenshtein(&word, other));
    known
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_most_alike_come_first() {
        // The two standard examples of the distance, 3 each: common practice, no source.
        let known = ["tempo", "sunday", "sitting", "feels"];
        assert_eq!(by_likeness("kitten", known)[0], "sitting");
        assert_eq!(by_likeness("saturday", known)[0], "sunday");
        assert_eq!(by_likeness("tepmo", known)[0], "tempo");
        assert_eq!(by_likeness("compás", ["compact", "compas"])[0], "compas");
        assert_eq!(
            by_likeness("", ["four", "ten", "one"]),
            ["ten", "one", "four"]
        );
        assert_eq!(by_likeness("x", []), [""; 0]);
    }
}
