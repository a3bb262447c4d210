//! Where a person lets parts of a recording begin.

use super::{Stretch, StretchError};

/// Times in seconds at which a section begins, rising; the first section begins with the recording
/// and is not among them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sections(Vec<f64>);

impl Sections {
    /// Sections that begin at these times.
    ///
    /// # Errors
    /// When one is no time in a recording, or they do not rise.
    pub fn new(begins: Vec<f64>) -> Result<Self, StretchError> {
        let before = [0.0].into_iter().chain(begins.iter().copied());
        for (from, until) in before.zip(&begins) {
            Stretch::new(from, *until)?;
        }
        Ok(Self(begins))
    }

    /// The times at which they begin, without that of the first.
    pub fn begins(&self) -> &[f64] {
        &self.0
    }

    /// Lets a section begin at the middle one of three times, or takes every boundary away that is
    /// nearer to it than to the times before and after.
    pub fn turn(&mut self, at: [f64; 3]) {
        let (from, until) = nearest_to(at);
        let n = self.0.len();
        self.0.retain(|time| !(from..until).contains(time));
        let is_new = self.0.len() == n && Stretch::new(0.0, at[1]).is_ok();
        if is_new {
            let idx = self.0.partition_point(|time| *time < at[1]);
            self.0.insert(idx, at[1]);
        }
    }

    /// Whether one begins at the middle one of three times, or nearer to it than to the others.
    pub fn begins_at(&self, at: [f64; 3]) -> bool {
        let (from, until) = nearest_to(at);
        let idx = self.0.partition_point(|time| *time < from);
        self.0.get(idx).is_some_and(|time| *time < until)
    }
}

/// From where until where a time is nearer to the middle one of three.
fn nearest_to([before, at, after]: [f64; 3]) -> (f64, f64) {
    (0.5 * (before + at), 0.5 * (at + after))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_boundary_is_set_and_taken_away_and_follows_pulses_that_moved_a_little() {
        let mut sections = Sections::default();
        sections.turn([2.0, 4.0, 6.0]);
        sections.turn([0.0, 2.0, 4.0]);
        assert_eq!(sections.begins(), [2.0, 4.0]);
        // Pulses were nudged since, and cycles begin elsewhere.
        assert!(sections.begins_at([2.1, 4.1, 6.1]));
        assert!(!sections.begins_at([4.1, 6.1, 8.1]));
        sections.turn([2.1, 4.1, 6.1]);
        assert_eq!(sections.begins(), [2.0]);
    }

    #[test]
    fn the_first_section_begins_by_itself() {
        let mut sections = Sections::default();
        sections.turn([-2.0, 0.0, 2.0]);
        assert!(sections.begins().is_empty());
    }

    #[test]
    fn times_that_do_not_rise_are_no_sections() {
        assert!(Sections::new(vec![1.0, 2.0]).is_ok());
        for begins in [vec![0.0], vec![2.0, 1.0], vec![1.0, f64::NAN], vec![-1.0]] {
            assert!(Sections::new(begins.clone()).is_err(), "{begins:?}");
        }
    }
}
