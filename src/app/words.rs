//! What the words of the answers and of grids mean, and what went wrong with a file.

use std::io;

/// The words of the answers, and what each means in a sentence.
pub const ANSWERS: [(&str, &str); 5] = [
    (
        "in threes",
        "The cycle leans on two groups of three, with accents on the first and fourth pulse.",
    ),
    (
        "in twos",
        "The cycle leans on three groups of two, with accents on first, third and fifth.",
    ),
    (
        "both at once",
        "One voice leans on threes, another on twos, in the same cycle.",
    ),
    (
        "in turn",
        "One voice leans on one, then on the other, each for some cycles.",
    ),
    (
        "fits either",
        "Nothing decides between threes and twos: you may clap either to it.",
    ),
];

/// What is said of a recording beside the first three of the answers.
pub const LEANS: [(&str, &str); 3] = [
    (
        "leaning to",
        "More that is heard speaks for it than for others; that is no verdict: what you say stands \
         above it. It is no surer than its pulses are.",
    ),
    (
        "unclear",
        "Too little that is heard speaks for either, or one passage leans to one, the next to the \
         other.",
    ),
    (
        "sure",
        "In how many of a hundred such cycles, as far as is known, it does lean so.",
    ),
];

/// What signs in a grid of a recording's accents stand for: [`Analysis::accents`] in words.
///
/// [`Analysis::accents`]: crate::listen::Analysis::accents
pub const STANDS_OUT: &str = "above what is usual in the voice, and above its weakest count here";

/// What went wrong with a file, without the number that the system gives it.
pub fn in_words(error: &io::Error) -> String {
    let told = error.to_string();
    let words = told.split(" (os error").next();
    words.unwrap_or_default().to_owned()
}
