//! What a person says of a recording: of which stretches, and how sure. Only this is a truth; what a
//! recording seems to state is evidence.
//!
//! Read [`Marks`] first: all that one person says, without contradiction, since what is said later of
//! a stretch stands over what was said before. [`Sections`] are where a person lets parts begin. Times
//! are seconds from the beginning of the recording. [`read_list`] and [`list_of`] are how marks travel
//! as text. Nothing here knows cycles, files or a store.

mod listing;
mod sections;

use std::cmp::Ordering;
use std::fmt;

use crate::label::Label;

pub use listing::{HEAD, ListFault, list_of, read_list};
pub use sections::Sections;

/// What a person hears in a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// Threes.
    Threes,
    /// Twos.
    Twos,
    /// Both at once.
    Both,
    /// They listened and cannot say.
    CannotSay,
}

impl Mark {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Threes, Self::Twos, Self::Both, Self::CannotSay];

    /// Its name in files.
    pub fn id(self) -> &'static str {
        match self {
            Self::Threes => "threes",
            Self::Twos => "twos",
            Self::Both => "both",
            Self::CannotSay => "cannot-say",
        }
    }

    /// The mark of this name.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|mark| mark.id() == id)
    }

    /// In a word or two.
    pub fn words(self) -> &'static str {
        match self {
            Self::Threes => "threes",
            Self::Twos => "twos",
            Self::Both => "both",
            Self::CannotSay => "cannot say",
        }
    }

    /// Its sign on a strip of cycles: the numeral of its layer.
    pub fn sign(self) -> char {
        match self {
            Self::Threes => '3',
            Self::Twos => '2',
            Self::Both => 'b',
            Self::CannotSay => '?',
        }
    }
}

/// How sure a person is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sure {
    /// It is a guess.
    Guess,
    /// They are fairly sure.
    #[default]
    Fairly,
    /// They are sure.
    Sure,
}

impl Sure {
    /// All of them, the least first.
    pub const ALL: [Self; 3] = [Self::Guess, Self::Fairly, Self::Sure];

    /// Its name in files.
    pub fn id(self) -> &'static str {
        match self {
            Self::Guess => "guess",
            Self::Fairly => "fairly-sure",
            Self::Sure => "sure",
        }
    }

    /// The sureness of this name.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|sure| sure.id() == id)
    }

    /// In words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Guess => "a guess",
            Self::Fairly => "fairly sure",
            Self::Sure => "sure",
        }
    }

    /// The next one; after the surest the least.
    #[must_use]
    pub fn next(self) -> Self {
        match self {
            Self::Guess => Self::Fairly,
            Self::Fairly => Self::Sure,
            Self::Sure => Self::Guess,
        }
    }
}

/// Whose marks they are. One person is one whatever the capitals of their name.
#[derive(Clone, Debug)]
pub enum By {
    /// The learner's own.
    Own,
    /// Those of somebody else.
    Other(Label),
}

impl By {
    /// Words in the stead of a name: what the program calls the learner, and itself.
    const TAKEN: [&str; 2] = ["you", "the analysis"];

    /// Somebody else of this name; `None` where that is what the program calls the learner or itself.
    pub fn other(name: Label) -> Option<Self> {
        let is_taken = Self::TAKEN.contains(&name.folded().as_str());
        (!is_taken).then_some(Self::Other(name))
    }

    /// The name without capitals; the learner, who has none, comes first.
    fn folded(&self) -> Option<String> {
        match self {
            Self::Own => None,
            Self::Other(name) => Some(name.folded()),
        }
    }
}

impl Ord for By {
    fn cmp(&self, other: &Self) -> Ordering {
        self.folded().cmp(&other.folded())
    }
}

impl PartialOrd for By {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for By {
    fn eq(&self, other: &Self) -> bool {
        self.folded() == other.folded()
    }
}

impl Eq for By {}

/// From one time until before another: finite, rising, at least 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    from: f64,
    until: f64,
}

/// Why two times are no stretch.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum StretchError {
    /// One of them is no time in a recording.
    #[error("{0} is no time in a recording; seconds from 0 to {max} were expected", max = Stretch::LATEST)]
    NoTime(f64),
    /// It ends before it begins, or where it does.
    #[error("it ends at {until}, which is not later than {from}")]
    NotRising {
        /// Where it begins.
        from: f64,
        /// Where it ends.
        until: f64,
    },
}

impl Stretch {
    /// The latest time, in seconds: a hundred hours.
    pub const LATEST: f64 = 360_000.0;
    /// All of any recording.
    pub const ALL: Self = Self {
        from: 0.0,
        until: Self::LATEST,
    };

    /// A stretch between these times in seconds.
    ///
    /// # Errors
    /// When they are no rising times in a recording.
    pub fn new(from: f64, until: f64) -> Result<Self, StretchError> {
        for time in [from, until] {
            if !(0.0..=Self::LATEST).contains(&time) {
                return Err(StretchError::NoTime(time));
            }
        }
        if until <= from {
            return Err(StretchError::NotRising { from, until });
        }
        Ok(Self { from, until })
    }

    /// Where it begins, in seconds.
    pub fn from(self) -> f64 {
        self.from
    }

    /// Where it ends, in seconds.
    pub fn until(self) -> f64 {
        self.until
    }

    /// Whether a time lies in it.
    pub fn holds(self, time: f64) -> bool {
        (self.from..self.until).contains(&time)
    }

    /// What of it comes before a time and what from another on.
    fn outside(self, other: Self) -> [Option<Self>; 2] {
        [
            Self::new(self.from, self.until.min(other.from)).ok(),
            Self::new(self.from.max(other.until), self.until).ok(),
        ]
    }
}

/// What is said of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marked {
    /// Of which.
    pub stretch: Stretch,
    /// What is heard in it.
    pub mark: Mark,
    /// How sure the person is.
    pub sure: Sure,
}

impl fmt::Display for Marked {
    /// As in `twos, sure`; of somebody who cannot say there is no sureness.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.mark {
            Mark::Threes => write!(f, "threes, {}", self.sure.words()),
            Mark::Twos => write!(f, "twos, {}", self.sure.words()),
            Mark::Both => write!(f, "both at once, {}", self.sure.words()),
            Mark::CannotSay => f.write_str("that it cannot be said"),
        }
    }
}

/// All that one person says of a recording: stretches in the order of time, none over another.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marks(Vec<Marked>);

impl Marks {
    /// Says this from now on, over what was said of the same stretch before.
    pub fn put(&mut self, marked: Marked) {
        self.clear(marked.stretch);
        self.0.push(marked);
        let begins = |marked: &Marked| marked.stretch.from;
        self.0.sort_by(|a, b| begins(a).total_cmp(&begins(b)));
    }

    /// Says nothing of a stretch from now on.
    pub fn clear(&mut self, over: Stretch) {
        let before = std::mem::take(&mut self.0);
        let left = before.into_iter().flat_map(|old| {
            let rest = old.stretch.outside(over).into_iter().flatten();
            rest.map(move |stretch| Marked { stretch, ..old })
        });
        self.0 = left.collect();
    }

    /// What is said within a stretch, in the order of time.
    pub fn within(&self, stretch: Stretch) -> Vec<Marked> {
        let inside = |marked: &Marked| {
            let (from, until) = (marked.stretch.from, marked.stretch.until);
            let inside = Stretch::new(from.max(stretch.from), until.min(stretch.until));
            let stretch = inside.ok()?;
            Some(Marked { stretch, ..*marked })
        };
        self.0.iter().filter_map(inside).collect()
    }

    /// What is said of a time.
    pub fn at(&self, time: f64) -> Option<Marked> {
        let idx = self
            .0
            .partition_point(|marked| marked.stretch.until <= time);
        self.0
            .get(idx)
            .copied()
            .filter(|marked| marked.stretch.holds(time))
    }

    /// Every stretch of which something is said, in the order of time.
    pub fn all(&self) -> &[Marked] {
        &self.0
    }
}

impl FromIterator<Marked> for Marks {
    /// As said one after the other.
    fn from_iter<T: IntoIterator<Item = Marked>>(said: T) -> Self {
        let mut marks = Self::default();
        said.into_iter().for_each(|marked| marks.put(marked));
        marks
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn marked(from: f64, until: f64, mark: Mark) -> Marked {
        Marked {
            stretch: Stretch::new(from, until).expect("a stretch"),
            mark,
            sure: Sure::Sure,
        }
    }

    /// What is said at each whole second from 0 on.
    fn signs(marks: &Marks, n: u32) -> String {
        let sign = |at| {
            marks
                .at(f64::from(at))
                .map_or('.', |marked| marked.mark.sign())
        };
        (0..n).map(sign).collect()
    }

    #[test]
    fn what_is_said_later_stands_over_what_was_said_before() {
        let mut marks = Marks::default();
        marks.put(marked(1.0, 7.0, Mark::Threes));
        assert_eq!(signs(&marks, 9), ".333333..");
        marks.put(marked(3.0, 5.0, Mark::Twos));
        assert_eq!(signs(&marks, 9), ".332233..");
        marks.put(marked(4.0, 9.0, Mark::Both));
        assert_eq!(signs(&marks, 9), ".332bbbbb");
        marks.put(marked(0.0, 9.0, Mark::CannotSay));
        assert_eq!(marks.all(), [marked(0.0, 9.0, Mark::CannotSay)]);
    }

    #[test]
    fn what_is_taken_back_can_be_said_again() {
        let mut marks = Marks::default();
        marks.put(marked(1.0, 3.0, Mark::Threes));
        marks.put(marked(5.0, 8.0, Mark::Twos));
        let stretch = Stretch::new(2.0, 6.0).expect("a stretch");
        let before = (marks.clone(), marks.within(stretch));
        let inside = [marked(2.0, 3.0, Mark::Threes), marked(5.0, 6.0, Mark::Twos)];
        assert_eq!(before.1, inside);
        marks.clear(stretch);
        assert_eq!(signs(&marks, 9), ".3....22.");
        before.1.into_iter().for_each(|marked| marks.put(marked));
        assert_eq!(signs(&marks, 9), signs(&before.0, 9));
    }

    #[test]
    fn what_is_no_stretch_is_refused() {
        assert!(matches!(
            Stretch::new(f64::NAN, 1.0),
            Err(StretchError::NoTime(_))
        ));
        assert!(matches!(
            Stretch::new(0.0, f64::INFINITY),
            Err(StretchError::NoTime(_))
        ));
        assert_eq!(Stretch::new(-1.0, 1.0), Err(StretchError::NoTime(-1.0)));
        let turned = StretchError::NotRising {
            from: 2.0,
            until: 2.0,
        };
        assert_eq!(Stretch::new(2.0, 2.0), Err(turned));
    }

    proptest! {
        /// Painted cell by cell the same comes out, and no two stretches meet.
        #[test]
        fn marks_are_as_painted(said in proptest::collection::vec((0_u32..30, 1_u32..9, 0_usize..4), 0..20)) {
            let mut cells = vec!['.'; 40];
            let mut marks = Marks::default();
            for (from, n, mark) in said {
                let mark = Mark::ALL[mark];
                marks.put(marked(f64::from(from), f64::from(from + n), mark));
                for cell in &mut cells[from as usize..(from + n) as usize] {
                    *cell = mark.sign();
                }
            }
            prop_assert_eq!(signs(&marks, 40), cells.into_iter().collect::<String>());
            let apart = |pair: &[Marked]| pair[0].stretch.until() <= pair[1].stretch.from();
            prop_assert!(marks.all().windows(2).all(apart));
        }
    }
}
