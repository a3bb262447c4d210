//! To which side answers lean.

use super::stats::Sensitivity;

/// The side that somebody says where they are unsure, who tells threes from twos; `None` where that may be
/// chance.
pub fn lean(found: Sensitivity) -> Option<&'static str> {
    match found.clear_criterion() {
        c if c > 0.0 => Some("twos"),
        c if c < 0.0 => Some("threes"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::stats::TwoLabels;

    #[track_caller]
    fn check_lean(hits: u32, false_alarms: u32, of_each: u32, expected: Option<&str>) {
        let labels = TwoLabels {
            hits,
            n_first: of_each,
            false_alarms,
            n_second: of_each,
        };
        let found = labels.sensitivity().expect("both were asked");
        assert_eq!(lean(found), expected);
    }

    #[test]
    fn a_lean_that_may_be_chance_is_none() {
        // The same shares of few and of many.
        check_lean(1, 1, 1, None);
        check_lean(20, 20, 20, Some("threes"));
        check_lean(0, 0, 20, Some("twos"));
        check_lean(3, 2, 4, None);
        check_lean(75, 50, 100, Some("threes"));
        check_lean(80, 20, 100, None);
    }
}
