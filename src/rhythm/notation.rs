//! The one-line notation of layers and groupings.
//!
//! A layer is written as one sign a pulse, `x` where it sounds and `.` where it is silent
//! (`x..xx.`), or in counts of its cycle, from 1, joined by `-` or `·` (`1-4-5`). A grouping is its
//! groups joined by `+`, and the count on which it begins where that is not the first
//! (`3+3+2+2+2`, `2+2+3+3+2 from 9`). White space round a count or a group is let pass.
//!
//! Read [`NotationError`] first. Columns are characters, from 1. Any text may come in: no length and
//! no number overflows, and an error quotes at most sixteen characters of it.

use std::fmt;
use std::str::FromStr;

use super::{Cycle, CycleError, Group, Grouping, GroupingError, Layer, LayerError, Pulse};

/// The most characters of a text that an error repeats.
const LONGEST_QUOTE: usize = 16;

/// Why a text is not the notation of a layer or a grouping.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotationError {
    /// A sign that the notation does not have.
    #[error("{found:?} at character {column}; {expected} was expected")]
    Sign {
        /// What stands there, cut where it is long.
        found: String,
        /// Its place in the text, from 1.
        column: usize,
        /// What may stand there.
        expected: &'static str,
    },
    /// A count that the cycle does not have.
    #[error("count {found} at character {column}; the cycle has counts 1 to {n_pulses}")]
    Outside {
        /// The count as written, cut where it is long.
        found: String,
        /// Its place in the text, from 1.
        column: usize,
        /// The cycle's length.
        n_pulses: usize,
    },
    /// The signs make no cycle.
    #[error(transparent)]
    Cycle(#[from] CycleError),
    /// The signs make no layer.
    #[error(transparent)]
    Layer(#[from] LayerError),
    /// The groups make no grouping.
    #[error(transparent)]
    Grouping(#[from] GroupingError),
}

impl fmt::Display for Layer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let signs: String = self
            .cycle()
            .pulses()
            .map(|p| if self.contains(p) { 'x' } else { '.' })
            .collect();
        f.pad(&signs)
    }
}

impl FromStr for Layer {
    type Err = NotationError;

    fn from_str(text: &str) -> Result<Self, NotationError> {
        let mut signs = text.chars().zip(1..);
        if let Some((sign, column)) = signs.find(|(sign, _)| !matches!(sign, 'x' | '.')) {
            return Err(unexpected(&sign.to_string(), column, "x or ."));
        }
        // Every sign is one byte from here on.
        let cycle = Cycle::new(i64::try_from(text.len()).unwrap_or(i64::MAX))?;
        let sounding = cycle
            .pulses()
            .zip(text.chars())
            .filter(|(_, sign)| *sign == 'x');
        Ok(Self::on(cycle, sounding.map(|(pulse, _)| pulse))?)
    }
}

impl Layer {
    /// Reads counts of `cycle`, from 1, joined by `-` or `·`: `1-4-5`.
    ///
    /// # Errors
    /// When a count is no number, or the cycle has no such count.
    pub fn from_counts(cycle: Cycle, text: &str) -> Result<Self, NotationError> {
        let counts = parts(text, &['-', '·']);
        let pulses: Vec<Pulse> = counts
            .map(|(count, column)| pulse_of_count(cycle, count, column))
            .collect::<Result<_, _>>()?;
        Ok(Self::on(cycle, pulses)?)
    }

    /// Its counts, from 1, joined by `-`.
    pub fn in_counts(self) -> String {
        let counts: Vec<String> = self
            .pulses()
            .map(|pulse| (pulse.idx() + 1).to_string())
            .collect();
        counts.join("-")
    }
}

impl fmt::Display for Grouping {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let spans: Vec<String> = self
            .groups()
            .iter()
            .map(|group| group.n_pulses().to_string())
            .collect();
        match self.rotation().idx() {
            0 => f.pad(&spans.join("+")),
            idx => f.pad(&format!("{}{FROM}{}", spans.join("+"), idx + 1)),
        }
    }
}

/// What stands between the groups and the count on which they begin.
const FROM: &str = " from ";

impl FromStr for Grouping {
    type Err = NotationError;

    fn from_str(text: &str) -> Result<Self, NotationError> {
        let (sum, from) = text.split_once(FROM).unwrap_or((text, "1"));
        let groups: Vec<Group> = parts(sum, &['+'])
            .map(|(group, column)| match group {
                "2" => Ok(Group::Two),
                "3" => Ok(Group::Three),
                other => Err(unexpected(other, column, "2 or 3")),
            })
            .collect::<Result<_, _>>()?;
        let plain = Self::new(&groups, 0)?;
        let before = sum.chars().count() + FROM.len() + leading_space(from);
        let first = pulse_of_count(plain.cycle(), from.trim(), before + 1)?;
        Ok(plain.turned(i64::from(first.place())))
    }
}

/// The trimmed parts of `text` and the column on which each begins.
fn parts<'a>(text: &'a str, joints: &'a [char]) -> impl Iterator<Item = (&'a str, usize)> {
    text.split(joints).scan(1, |next, part| {
        let column = *next + leading_space(part);
        *next += part.chars().count() + 1;
        Some((part.trim(), column))
    })
}

fn leading_space(text: &str) -> usize {
    text.chars().take_while(|c| c.is_whitespace()).count()
}

fn pulse_of_count(cycle: Cycle, count: &str, column: usize) -> Result<Pulse, NotationError> {
    // `parse` alone would let a sign before the number pass.
    if count.is_empty() || !count.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(unexpected(count, column, "a count"));
    }
    // A number too long for the machine is outside the cycle like any other that is too great.
    let idx = count.parse().ok().and_then(|n: usize| n.checked_sub(1));
    idx.and_then(|idx| cycle.pulses().nth(idx))
        .ok_or_else(|| NotationError::Outside {
            found: quote(count),
            column,
            n_pulses: cycle.n_pulses(),
        })
}

fn unexpected(found: &str, column: usize, expected: &'static str) -> NotationError {
    NotationError::Sign {
        found: quote(found),
        column,
        expected,
    }
}

fn quote(text: &str) -> String {
    match text.char_indices().nth(LONGEST_QUOTE) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
        None => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::{any_cycle, any_grouping, any_layer};

    fn read_layer(text: &str) -> Result<Layer, NotationError> {
        text.parse()
    }

    fn read_grouping(text: &str) -> Result<Grouping, NotationError> {
        text.parse()
    }

    fn read_counts(text: &str) -> Result<Layer, NotationError> {
        Layer::from_counts(Cycle::SIX, text)
    }

    #[track_caller]
    fn check_sign<T: fmt::Debug>(result: Result<T, NotationError>, found: &str, column: usize) {
        match result {
            Err(NotationError::Sign {
                found: f,
                column: c,
                ..
            }) => assert_eq!((f.as_str(), c), (found, column)),
            other => panic!("{other:?} is no error of a sign"),
        }
    }

    #[track_caller]
    fn check_outside<T: fmt::Debug>(result: Result<T, NotationError>, found: &str, column: usize) {
        match result {
            Err(NotationError::Outside {
                found: f,
                column: c,
                n_pulses,
            }) => assert_eq!((f.as_str(), c, n_pulses), (found, column, 6)),
            other => panic!("{other:?} is no error of a count"),
        }
    }

    #[test]
    fn three_ways_to_write_a_clapping() {
        let clapping = Layer::of(Cycle::SIX, &[0, 3, 4]);
        assert_eq!(read_layer("x..xx."), clapping.map_err(Into::into));
        assert_eq!(read_counts("1-4-5"), read_layer("x..xx."));
        assert_eq!(read_counts(" 1 · 4 · 5 "), read_layer("x..xx."));
    }

    #[test]
    fn a_wrong_sign_is_named_with_its_column() {
        check_sign(read_layer("x..o.."), "o", 4);
        check_sign(read_layer("xé"), "é", 2);
        check_sign(read_layer(" x.x"), " ", 1);
        check_sign(read_counts("1-4-b"), "b", 5);
        check_sign(read_counts("1·4·b"), "b", 5);
        check_sign(read_counts("1 -  five"), "five", 6);
        check_sign(read_counts("1\u{a0}-b"), "b", 4);
        check_sign(read_counts("1--4"), "", 3);
        check_sign(read_counts(""), "", 1);
        check_sign(read_counts("+1"), "+1", 1);
        check_sign(read_grouping("3+4+2"), "4", 3);
        check_sign(read_grouping("3 + drei"), "drei", 5);
        check_sign(read_grouping("3+3 from x"), "x", 10);
        check_sign(read_grouping("3+3 from   x"), "x", 12);
        check_sign(read_grouping("3+3 from "), "", 10);
    }

    #[test]
    fn a_count_that_the_cycle_lacks_is_named_with_its_column() {
        check_outside(read_counts("1-4-7"), "7", 5);
        check_outside(read_counts("0-1"), "0", 1);
        check_outside(
            read_counts("1-18446744073709551617"),
            "1844674407370955…",
            3,
        );
        check_outside(read_grouping("3+3 from 7"), "7", 10);
        check_outside(read_grouping("3+3 from 0"), "0", 10);
    }

    #[test]
    fn errors_say_what_was_expected() {
        let said = |result: Result<Layer, NotationError>| result.map_err(|e| e.to_string());
        assert_eq!(
            said(read_layer("x.\u{1b}")),
            Err(r#""\u{1b}" at character 3; x or . was expected"#.to_owned())
        );
        assert_eq!(
            said(read_counts("1-9")),
            Err("count 9 at character 3; the cycle has counts 1 to 6".to_owned())
        );
    }

    #[test]
    fn a_text_of_any_length_is_read_to_an_error() {
        let n_signs = 3_000_000;
        let too_long = NotationError::Cycle(CycleError(n_signs));
        let text = |part: &str| part.repeat(n_signs as usize);
        assert_eq!(read_layer(&text("x")), Err(too_long));
        let sum = GroupingError::Cycle(CycleError(3 * n_signs + 2));
        let groups = format!("{}2", text("3+"));
        assert_eq!(read_grouping(&groups), Err(NotationError::Grouping(sum)));
        check_outside(read_counts(&text("9")), "9999999999999999…", 1);
        check_sign(read_grouping(&text("y")), "yyyyyyyyyyyyyyyy…", 1);
    }

    #[test]
    fn notation_is_padded_like_any_text() {
        let grouping = read_grouping("3+3 from 2").expect("a grouping");
        assert_eq!(format!("[{grouping:>12}]"), "[  3+3 from 2]");
        let layer = read_layer("x.x").expect("a layer");
        assert_eq!(format!("[{layer:<5}]"), "[x.x  ]");
    }

    proptest! {
        #[test]
        fn a_layer_comes_back_from_its_notation(layer in any_layer()) {
            prop_assert_eq!(read_layer(&layer.to_string()), Ok(layer));
            prop_assert_eq!(Layer::from_counts(layer.cycle(), &layer.in_counts()), Ok(layer));
        }

        #[test]
        fn a_grouping_comes_back_from_its_notation(grouping in any_grouping()) {
            prop_assert_eq!(read_grouping(&grouping.to_string()), Ok(grouping));
        }

        #[test]
        fn a_text_that_is_a_layer_is_its_notation(text in "[x.]{0,60}") {
            if let Ok(layer) = read_layer(&text) {
                prop_assert_eq!(layer.to_string(), text);
            } else {
                prop_assert!(!(2..=48).contains(&text.len()) || !text.contains('x'));
            }
        }

        #[test]
        fn no_text_panics(
            cycle in any_cycle(),
            text in prop_oneof![any::<String>(), "[0-9 +·from-]{0,40}", "[23+]{0,60}( from [0-9]{0,30})?"],
        ) {
            // What is read must hold; what is not must be quoted shortly.
            let found = match (read_layer(&text), read_grouping(&text)) {
                (Ok(layer), _) => layer.to_string(),
                (_, Ok(grouping)) => grouping.layer().to_string(),
                (_, Err(NotationError::Sign { found, .. } | NotationError::Outside { found, .. })) => {
                    prop_assert!(found.chars().count() <= LONGEST_QUOTE + 1);
                    found
                }
                (_, Err(other)) => other.to_string(),
            };
            prop_assert!(found.chars().count() <= 80);
            if let Ok(layer) = Layer::from_counts(cycle, &text) {
                prop_assert_eq!(Layer::from_counts(cycle, &layer.in_counts()), Ok(layer));
            }
        }
    }
}
