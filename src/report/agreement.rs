//! How far two hearers agree on the same cycles: a person and the analysis, or two persons.
//!
//! Neither is taken for the truth here. What one of them cannot tell is no disagreement and is
//! counted apart.

use crate::mark::Mark;

use super::stats::Confusions;

/// How far two hearers agree.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Agreement {
    /// Cycles of which both say the same.
    pub n_same: u32,
    /// Cycles of which both say something.
    pub n_both: u32,
    /// Cycles of which the first cannot say.
    pub n_first_cannot: u32,
    /// Cycles of which the first says something and the second cannot.
    pub n_second_cannot: u32,
    /// Agreement beyond chance (Cohen 1960), where enough cycles were told and not all by one word.
    pub kappa: Option<f64>,
    /// In how many of the cycles of which both say something they would agree by chance, with kappa.
    pub by_chance: Option<f64>,
}

/// Cycles from which on kappa is shown: with fewer its error is as large as itself (a round figure).
const ENOUGH: u32 = 20;

impl Agreement {
    /// Of what the first and the second say of each cycle.
    pub fn of(said: impl IntoIterator<Item = (Mark, Mark)>) -> Self {
        let mut agreement = Self::default();
        let mut told = vec![vec![0; 3]; 3];
        for (first, second) in said {
            match (place(first), place(second)) {
                (None, _) => agreement.n_first_cannot += 1,
                (_, None) => agreement.n_second_cannot += 1,
                (Some(row), Some(column)) => told[row][column] += 1,
            }
        }
        agreement.n_both = told.iter().flatten().sum();
        agreement.n_same = (0..told.len()).map(|i| told[i][i]).sum();
        if agreement.n_both >= ENOUGH {
            let told = Confusions(told);
            agreement.kappa = Some(told.kappa()).filter(|kappa| kappa.is_finite());
            let by_chance = told.by_chance() * f64::from(agreement.n_both);
            agreement.by_chance = agreement.kappa.map(|_| by_chance);
        }
        agreement
    }

    /// Whether nothing was compared.
    pub fn is_nothing(&self) -> bool {
        self.n_both + self.n_first_cannot + self.n_second_cannot == 0
    }

    /// In so many words as fit beside others, after `agree`; `None` where nothing was told by both.
    pub fn in_short(&self, first: &str, second: &str) -> Option<String> {
        let (same, both) = (self.n_same, self.n_both);
        let chance = self.by_chance;
        let chance = chance.map_or_else(String::new, |n| format!(" (by chance {n:.0})"));
        (both > 0).then(|| format!("{first} and {second} in {same} of {both}{chance}"))
    }

    /// In words; `first` and `second` are the hearers.
    pub fn words(&self, first: &str, second: &str) -> String {
        let (same, both) = (self.n_same, self.n_both);
        let cycles = if both == 1 { "cycle" } else { "cycles" };
        let mut words = match both {
            0 => format!("no cycle is told by both {first} and {second}"),
            _ => format!("{first} and {second} agree in {same} of {both} {cycles}"),
        };
        if let Some(n) = self.by_chance {
            words.push_str(&format!(", where chance alone would bring {n:.0}"));
        }
        let apart = [(self.n_first_cannot, first), (self.n_second_cannot, second)];
        for (n, who) in apart.into_iter().filter(|(n, _)| *n > 0) {
            words.push_str(&format!("; {n} that {who} cannot tell"));
        }
        words
    }
}

fn place(mark: Mark) -> Option<usize> {
    match mark {
        Mark::Threes => Some(0),
        Mark::Twos => Some(1),
        Mark::Both => Some(2),
        Mark::CannotSay => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Signs as on a strip of cycles.
    fn of(first: &str, second: &str) -> Agreement {
        let mark = |sign| {
            let found = Mark::ALL.into_iter().find(|mark| mark.sign() == sign);
            found.expect("a sign of a mark")
        };
        Agreement::of(first.chars().map(mark).zip(second.chars().map(mark)))
    }

    #[test]
    fn what_cannot_be_told_is_counted_apart() {
        let found = of("3322bb??3", "332b?b3?2");
        let counts = (
            found.n_same,
            found.n_both,
            found.n_first_cannot,
            found.n_second_cannot,
        );
        assert_eq!(counts, (4, 6, 2, 1));
        assert_eq!(found.kappa, None, "too few");
        assert_eq!(
            found.words("you", "the analysis"),
            "you and the analysis agree in 4 of 6 cycles; 2 that you cannot tell; \
             1 that the analysis cannot tell"
        );
        assert_eq!(
            found.in_short("you", "Lola").as_deref(),
            Some("you and Lola in 4 of 6")
        );
        assert_eq!(of("?", "3").in_short("you", "Lola"), None);
        assert!(of("", "").is_nothing());
    }

    #[test]
    fn kappa_as_computed_by_hand() {
        // By hand, after Cohen 1960: 25 cycles; threes and twos agree in 10 and 8, and differ in 3 and
        // 4. Agreement .72; by chance .52 × .56 + .48 × .44 = .5024; kappa = .2176 / .4976.
        let first = ["3".repeat(13), "2".repeat(12)].concat();
        let second = ["3".repeat(10), "2".repeat(3), "3".repeat(4), "2".repeat(8)].concat();
        let kappa = of(&first, &second).kappa.expect("enough");
        assert!((kappa - 0.437_299).abs() < 1e-6, "{kappa}");
    }

    #[test]
    fn kappa_as_in_a_known_example() {
        // Widely used example of two raters, as in the reference values: 20, 5, 10 and 15; 0.4.
        let first = ["3".repeat(25), "2".repeat(25)].concat();
        let runs = [("3", 20), ("2", 5), ("3", 10), ("2", 15)];
        let second: String = runs.map(|(sign, n)| sign.repeat(n)).concat();
        let found = of(&first, &second);
        assert_eq!((found.n_same, found.n_both), (35, 50));
        assert!((found.kappa.expect("enough") - 0.4).abs() < 1e-9);
    }

    #[test]
    fn chance_is_said_in_cycles() {
        let words = |first: &str, second: &str| of(first, second).words("you", "Lola");
        let alike = "32".repeat(10);
        assert_eq!(
            words(&alike, &alike),
            "you and Lola agree in 20 of 20 cycles, where chance alone would bring 10"
        );
        let against = "23".repeat(10);
        assert_eq!(
            words(&alike, &against),
            "you and Lola agree in 0 of 20 cycles, where chance alone would bring 10"
        );
        // Half of each half: .5 of all agree, and .5 would by chance.
        let halves = "3322".repeat(5);
        assert_eq!(
            words(&alike, &halves),
            "you and Lola agree in 10 of 20 cycles, where chance alone would bring 10"
        );
        let short = of(&alike, &against).in_short("you", "Lola");
        assert_eq!(
            short.as_deref(),
            Some("you and Lola in 0 of 20 (by chance 10)")
        );
        assert_eq!(words("3", "3"), "you and Lola agree in 1 of 1 cycle");
    }

    #[test]
    fn by_one_word_alone_there_is_no_kappa() {
        let all = "3".repeat(30);
        assert_eq!(of(&all, &all).kappa, None);
    }
}
