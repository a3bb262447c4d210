//! What the words of the answers mean.

/// The words of the answers: what each means, and what else helps to tell it. Both halves together are a
/// sentence.
pub const ANSWERS: [(&str, [&str; 2]); 5] = [
    (
        "in threes",
        [
            "The cycle leans on two groups of three,",
            "with accents on the first and fourth pulse.",
        ],
    ),
    (
        "in twos",
        [
            "The cycle leans on three groups of two,",
            "with accents on first, third and fifth.",
        ],
    ),
    (
        "both at once",
        [
            "One voice leans on threes, another on twos,",
            "in the same cycle.",
        ],
    ),
    (
        "in turn",
        [
            "One voice leans on one, then on the other,",
            "each for some cycles.",
        ],
    ),
    (
        "fits either",
        [
            "Nothing decides between threes and twos:",
            "you may clap either to it.",
        ],
    ),
];

/// What is said of a recording beside the first three of the answers.
pub const LEANS: [(&str, [&str; 2]); 3] = [
    (
        "leaning to",
        [
            "More that is heard speaks for it than for others.",
            "That is no verdict: what you say stands above it.",
        ],
    ),
    (
        "unclear",
        [
            "Too little that is heard speaks for either,",
            "or one passage leans to one, the next to the other.",
        ],
    ),
    (
        "sure",
        [
            "In how many of a hundred such cycles, as far as",
            "is known, it does lean so.",
        ],
    ),
];
