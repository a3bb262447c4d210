//! Passages of recordings that may be asked: what a person heard in them is their truth.
//!
//! Read [`Passage`] first. A passage names its recording by content and never holds sound: whoever
//! plays it finds the file. Times are seconds in the recording, cycles count from 0. Nothing here is
//! measured: evidence is the matter of whoever listens, and stands below a person's mark.

use std::path::Path;

use crate::label::{ContentHash, Label, printable};
use crate::mark::Mark;
use crate::rhythm::{Cycle, Feel, Layer, Pace};
use crate::world::Seed;

use super::kind::of_passage;

/// Fewest and most cycles of a passage.
pub const CYCLES: std::ops::RangeInclusive<usize> = 2..=16;
/// Fewest and most cycles of a passage of which the turn is asked.
pub const TURN_CYCLES: std::ops::RangeInclusive<usize> = of_passage::TURNING;
/// Shortest and longest pulse, in seconds: what a tempo can be.
pub const PULSE_SECONDS: std::ops::RangeInclusive<f64> = 0.1..=3.0;

/// What is said of a passage, before it is checked.
#[derive(Clone, Debug, PartialEq)]
pub struct PassageParts {
    /// Its name in its deck.
    pub id: Label,
    /// The recording, by its bytes.
    pub recording: ContentHash,
    /// How many bytes the recording has, so that it is found sooner.
    pub n_bytes: u64,
    /// Where it lay last; a hint and no more.
    pub file: String,
    /// Pulses in a cycle.
    pub cycle: Cycle,
    /// When each pulse comes, in seconds; the first is a first count, the last is that of the cycle
    /// after.
    pub pulses: Vec<f64>,
    /// What a person heard in each cycle; `None` where nothing was said.
    pub marks: Vec<Option<Mark>>,
}

/// A passage of whole cycles of a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage(PassageParts);

/// Why something is no passage.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PassageError {
    /// Not so many pulses as whole cycles and the first of the next one have.
    #[error("{0} pulses; whole cycles and one more were expected, {low} to {high} of them", low = CYCLES.start(), high = CYCLES.end())]
    Pulses(usize),
    /// A pulse that does not come after the one before it, or too soon or too late.
    #[error("pulse {0} comes {1:.3} s after the one before; 0.1 to 3 s are possible")]
    Gap(usize, f64),
    /// Not one mark a cycle.
    #[error("{0} marks for {1} cycles")]
    Marks(usize, usize),
}

impl Passage {
    /// Checks `parts`.
    ///
    /// # Errors
    /// When the pulses are not those of whole cycles, or the marks are not one a cycle.
    pub fn new(parts: PassageParts) -> Result<Self, PassageError> {
        let n = parts.pulses.len();
        let n_pulses = parts.cycle.n_pulses();
        let n_cycles = n.saturating_sub(1) / n_pulses;
        if n != n_cycles * n_pulses + 1 || !CYCLES.contains(&n_cycles) {
            return Err(PassageError::Pulses(n));
        }
        let gaps = parts.pulses.windows(2).map(|pair| pair[1] - pair[0]);
        let is_wrong = |(_, gap): &(usize, f64)| !PULSE_SECONDS.contains(gap);
        if let Some((idx, gap)) = gaps.enumerate().find(is_wrong) {
            return Err(PassageError::Gap(idx + 2, gap));
        }
        if parts.marks.len() != n_cycles {
            return Err(PassageError::Marks(parts.marks.len(), n_cycles));
        }
        Ok(Self(parts))
    }

    /// Its name in its deck.
    pub fn id(&self) -> &Label {
        &self.0.id
    }

    /// The recording, by its bytes.
    pub fn recording(&self) -> ContentHash {
        self.0.recording
    }

    /// How many bytes the recording has.
    pub fn n_bytes(&self) -> u64 {
        self.0.n_bytes
    }

    /// Where the recording lay last.
    pub fn file(&self) -> &str {
        &self.0.file
    }

    /// The name of that file, safe to show, or the recording's content where no place is kept.
    pub fn file_name(&self) -> String {
        let name = Path::new(&self.0.file).file_name();
        name.map_or_else(
            || self.0.recording.to_string(),
            |name| printable(&name.to_string_lossy()),
        )
    }

    /// Its cycle.
    pub fn cycle(&self) -> Cycle {
        self.0.cycle
    }

    /// When each pulse comes, in seconds, and the first one after it.
    pub fn pulses(&self) -> &[f64] {
        &self.0.pulses
    }

    /// When it begins and when it ends, in seconds.
    pub fn span(&self) -> (f64, f64) {
        let at = |time: Option<&f64>| time.copied().unwrap_or(0.0);
        (at(self.0.pulses.first()), at(self.0.pulses.last()))
    }

    /// How many cycles it has.
    pub fn n_cycles(&self) -> usize {
        self.0.marks.len()
    }

    /// Its speed, pulse by pulse.
    pub fn pace(&self) -> Pace {
        let gaps: Vec<f64> = self
            .0
            .pulses
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .collect();
        Pace::of_pulses(&gaps)
    }

    /// Whether some of one sounds in the other: they are of one recording, and share time.
    pub fn overlaps(&self, other: &Self) -> bool {
        let ((from, until), (other_from, other_until)) = (self.span(), other.span());
        self.recording() == other.recording() && from < other_until && other_from < until
    }

    /// What was heard in it as a whole; `None` where that is no feel that can be asked. It is in turn
    /// where it goes over once, with two cycles or more on each side.
    pub fn feel(&self) -> Option<Feel> {
        let runs = self.0.marks.chunk_by(|a, b| a == b);
        let runs: Option<Vec<(Mark, usize)>> = runs.map(|run| Some((run[0]?, run.len()))).collect();
        match runs?.as_slice() {
            [(Mark::Threes, _)] => Some(Feel::Threes),
            [(Mark::Twos, _)] => Some(Feel::Twos),
            [(Mark::Both, _)] => Some(Feel::Both),
            [(Mark::Threes, 2..), (Mark::Twos, 2..)] | [(Mark::Twos, 2..), (Mark::Threes, 2..)] => {
                Some(Feel::InTurn)
            }
            _ => None,
        }
    }

    /// The cycle in which it goes over to the other side.
    pub fn turns_in(&self) -> Option<usize> {
        let first = *self.0.marks.first()?;
        let at = self.0.marks.iter().position(|mark| *mark != first);
        at.filter(|_| self.feel() == Some(Feel::InTurn))
    }

    /// Why its turn cannot be caught, in words; `None` where it can, and where it does not turn.
    pub fn turn_not_asked(&self) -> Option<String> {
        let asked = TURN_CYCLES;
        let is_asked = asked.contains(&self.n_cycles());
        let (fewest, most) = (asked.start(), asked.end());
        (self.turns_in().is_some() && !is_asked)
            .then(|| format!("its turn is asked only of passages with {fewest} to {most} cycles"))
    }

    /// The claps that go with it, cycle by cycle; `None` where not every cycle was marked.
    pub fn layers(&self) -> Option<Vec<Layer>> {
        let [threes, twos] = [3, 2].map(|every| Layer::every(self.0.cycle, every));
        let layer = |mark: &Option<Mark>| match (*mark)? {
            Mark::Threes => Some(threes),
            Mark::Twos => Some(twos),
            Mark::Both => threes.union(twos).ok(),
            Mark::CannotSay => None,
        };
        self.0.marks.iter().map(layer).collect()
    }

    /// A seed that names it: the same for the same stretch of the same recording.
    pub fn seed(&self) -> Seed {
        let first = self.0.pulses.first().copied().unwrap_or(0.0);
        // To the millisecond; a recording is six hours at most.
        let millis = format!("{:.0}", first * 1000.0).parse().unwrap_or(0);
        Seed(0).child(&self.0.recording.to_string(), millis)
    }

    /// It in one line that reads without its deck.
    pub fn line(&self) -> String {
        let (from, until) = self.span();
        let mut line = format!(
            "passage {} from {from:.3} to {until:.3} cycle {} marks ",
            self.0.recording,
            self.0.cycle.n_pulses()
        );
        line.push_str(&self.signs());
        line
    }

    /// A sign for each cycle, `.` where nothing was said.
    pub fn signs(&self) -> String {
        let sign = |mark: &Option<Mark>| mark.map_or('.', Mark::sign);
        self.0.marks.iter().map(sign).collect()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A passage in sixes, a pulse every third of a second, with these marks.
    pub(crate) fn passage(marks: &str) -> Passage {
        let parts = parts(marks);
        Passage::new(parts).expect("a passage")
    }

    impl Passage {
        /// The same stretch with the marks of another one.
        pub(crate) fn with_marks_of(&self, other: &Self) -> Self {
            let marks = other.0.marks.clone();
            let parts = self.0.clone();
            Self::new(PassageParts { marks, ..parts }).expect("as many cycles")
        }
    }

    fn mark(sign: char) -> Option<Mark> {
        Mark::ALL.into_iter().find(|mark| mark.sign() == sign)
    }

    fn parts(marks: &str) -> PassageParts {
        let n = u32::try_from(marks.len() * 6).expect("a small number");
        PassageParts {
            id: Label::new("take").expect("a label"),
            recording: ContentHash::of(marks.as_bytes()).expect("memory can be read"),
            n_bytes: 1000,
            file: "take.wav".to_owned(),
            cycle: Cycle::SIX,
            pulses: (0..=n).map(|n| 2.0 + f64::from(n) / 3.0).collect(),
            marks: marks.chars().map(mark).collect(),
        }
    }

    #[test]
    fn the_feel_is_what_was_marked() {
        let feel = |marks: &str| (passage(marks).feel(), passage(marks).turns_in());
        assert_eq!(feel("3333"), (Some(Feel::Threes), None));
        assert_eq!(feel("22"), (Some(Feel::Twos), None));
        assert_eq!(feel("bbb"), (Some(Feel::Both), None));
        assert_eq!(feel("33322"), (Some(Feel::InTurn), Some(3)));
        assert_eq!(feel("2233"), (Some(Feel::InTurn), Some(2)));
        for marks in ["3332", "33b", "3.3", "..", "??", "332233"] {
            assert_eq!(feel(marks), (None, None), "{marks}");
        }
        assert_eq!(passage("3.").layers(), None);
    }

    #[test]
    fn a_turn_that_would_be_guessed_is_not_asked() {
        let told = |marks: &str| passage(marks).turn_not_asked();
        let why = Some("its turn is asked only of passages with 7 to 9 cycles".to_owned());
        for marks in ["2233", "333222", "3333322222"] {
            assert_eq!(told(marks), why, "{marks}");
        }
        for marks in ["3332222", "222222233", "22", "333"] {
            assert_eq!(told(marks), None, "{marks}");
        }
    }

    #[test]
    fn only_whole_cycles_at_possible_speeds_are_passages() {
        let refused = |change: fn(&mut PassageParts)| {
            let mut parts = parts("33");
            change(&mut parts);
            Passage::new(parts).expect_err("no passage")
        };
        let short = refused(|parts| parts.pulses.truncate(12));
        assert_eq!(short, PassageError::Pulses(12));
        let one_cycle = refused(|parts| parts.pulses.truncate(7));
        assert_eq!(one_cycle, PassageError::Pulses(7));
        let still = refused(|parts| parts.pulses[3] = parts.pulses[2]);
        assert_eq!(still, PassageError::Gap(4, 0.0));
        let nan = refused(|parts| parts.pulses[3] = f64::NAN);
        assert!(matches!(nan, PassageError::Gap(4, _)));
        let marks = refused(|parts| parts.marks.push(None));
        assert_eq!(marks, PassageError::Marks(3, 2));
    }

    #[test]
    fn a_passage_is_named_by_its_place_in_its_recording() {
        assert_eq!(passage("33").seed(), passage("33").seed());
        assert_ne!(passage("33").seed(), passage("333").seed());
        let mut later = parts("33");
        later.pulses.iter_mut().for_each(|time| *time += 0.5);
        let later = Passage::new(later).expect("a passage");
        assert_ne!(passage("33").seed(), later.seed());
    }
}
