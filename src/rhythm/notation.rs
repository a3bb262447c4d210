//! The one-line notation of layers and groupings.
//!
//! A layer is written as one sign a pulse, `x` where it sounds and `.` where it is silent
//! (`x..xx.`), or in counts of its cycle, from 1, joined by `-` or `·` (`1-4-5`). A grouping is its
//! groups joined by `+`, and the count on which it begins where that is not the first
//! (`3+3+2+2+2`, `2+2+3+3+2 from 9`).

use std::fmt;
use std::str::FromStr;

use super::{Cycle, CycleError, Group, Grouping, GroupingError, Layer, LayerError};

/// Why a text is not the notation of a layer or a grouping.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotationError {
    /// A sign that the notation does not have.
    #[error("{found:?} at character {column}; {expected} was expected")]
    Sign {
        /// What stands there.
        found: String,
        /// Its place in the text, from 1.
        column: usize,
        /// What may stand there.
        expected: &'static str,
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
        let mut pulses = Vec::new();
        let mut n_pulses = 0;
        for (idx, sign) in text.chars().enumerate() {
            match sign {
                'x' => pulses.push(n_pulses),
                '.' => {}
                _ => {
                    return Err(NotationError::Sign {
                        found: sign.to_string(),
                        column: idx + 1,
                        expected: "x or .",
                    });
                }
            }
            n_pulses += 1;
        }
        Ok(Self::of(Cycle::new(n_pulses)?, &pulses)?)
    }
}

impl Layer {
    /// Reads counts of `cycle`, from 1, joined by `-` or `·`: `1-4-5`.
    ///
    /// # Errors
    /// When a count is no number, or the cycle has no such count.
    pub fn from_counts(cycle: Cycle, text: &str) -> Result<Self, NotationError> {
        let mut pulses = Vec::new();
        let mut column = 1;
        for count in text.split(['-', '·']) {
            let number: i64 = count.trim().parse().map_err(|_| NotationError::Sign {
                found: count.to_owned(),
                column,
                expected: "a count",
            })?;
            pulses.push(number.saturating_sub(1));
            column += count.chars().count() + 1;
        }
        Ok(Self::of(cycle, &pulses)?)
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
        for (idx, group) in self.groups().iter().enumerate() {
            let plus = if idx == 0 { "" } else { "+" };
            write!(f, "{plus}{}", group.n_pulses())?;
        }
        match self.rotation().idx() {
            0 => Ok(()),
            idx => write!(f, " from {}", idx + 1),
        }
    }
}

impl FromStr for Grouping {
    type Err = NotationError;

    fn from_str(text: &str) -> Result<Self, NotationError> {
        let (sum, from) = text.split_once(" from ").unwrap_or((text, "1"));
        let mut groups = Vec::new();
        let mut column = 1;
        for part in sum.split('+') {
            groups.push(match part.trim() {
                "2" => Group::Two,
                "3" => Group::Three,
                other => {
                    return Err(NotationError::Sign {
                        found: other.to_owned(),
                        column,
                        expected: "2 or 3",
                    });
                }
            });
            column += part.chars().count() + 1;
        }
        let first: i64 = from.trim().parse().map_err(|_| NotationError::Sign {
            found: from.to_owned(),
            column: sum.chars().count() + " from ".len() + 1,
            expected: "a count",
        })?;
        Ok(Self::new(&groups, first.saturating_sub(1))?)
    }
}
