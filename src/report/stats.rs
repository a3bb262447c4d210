//! Figures of answers: how sure a share is, how well two things are told apart, and what is confused.
//!
//! Pure formulas with their sources. Shares are 0 to 1, sensitivities are in units of the normal
//! distribution, information is in bits.

use crate::review::normal_cdf;

/// A share with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// The share.
    pub share: f64,
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
}

/// The share of `k` in `n` with its score interval (Wilson 1927; Newcombe 1998, method 3); `None` of
/// nothing.
pub fn wilson(k: u32, n: u32) -> Option<Share> {
    /// Two-sided 95 %.
    const Z: f64 = 1.959_963_984_540_054;
    if n == 0 || k > n {
        return None;
    }
    let (k, n) = (f64::from(k), f64::from(n));
    let (p, z2) = (k / n, Z * Z);
    let middle = 2.0 * n * p + z2;
    let half = Z * (z2 + 4.0 * n * p * (1.0 - p)).sqrt();
    let of = 2.0 * (n + z2);
    Some(Share {
        share: p,
        low: ((middle - half) / of).max(0.0),
        high: ((middle + half) / of).min(1.0),
    })
}

/// How well one thing is told from another, and to which of them answers lean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensitivity {
    /// d': 0 where nothing is told apart; 1 is three of four among two, unbiased.
    pub d_prime: f64,
    /// The standard error of d' (Gourevitch and Galanter 1967).
    pub error: f64,
    /// The criterion c: above 0 answers lean away from the first thing, below 0 towards it.
    pub criterion: f64,
}

impl Sensitivity {
    /// The criterion where it is clear of chance at 95 % and not slight; 0 elsewhere. Its standard error is
    /// half that of d' (Macmillan and Creelman 2005).
    pub fn clear_criterion(self) -> f64 {
        const SLIGHT: f64 = 0.15;
        let clear = SLIGHT.max(1.96 * self.error / 2.0);
        if self.criterion.abs() > clear {
            self.criterion
        } else {
            0.0
        }
    }

    /// Whether the two are told apart better than by chance, each named for the other.
    pub fn is_exchanged(self) -> bool {
        self.d_prime + 1.96 * self.error < 0.0
    }
}

/// Answers to two things: how often the first was said of the first, of how many, and of the second, of
/// how many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TwoLabels {
    /// The first was said of the first.
    pub hits: u32,
    /// How often the first was there.
    pub n_first: u32,
    /// The first was said of the second.
    pub false_alarms: u32,
    /// How often the second was there.
    pub n_second: u32,
}

impl TwoLabels {
    /// Both counted together.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self {
            hits: self.hits + other.hits,
            n_first: self.n_first + other.n_first,
            false_alarms: self.false_alarms + other.false_alarms,
            n_second: self.n_second + other.n_second,
        }
    }

    /// d' and c with a half added to each count and one to each number of trials (the log-linear rule,
    /// Hautus 1995; Macmillan and Creelman 2005); `None` where one of them was never there.
    pub fn sensitivity(self) -> Option<Sensitivity> {
        if self.n_first == 0 || self.n_second == 0 {
            return None;
        }
        let rate = |k: u32, n: u32| (f64::from(k) + 0.5) / (f64::from(n) + 1.0);
        let hit = rate(self.hits, self.n_first);
        let alarm = rate(self.false_alarms, self.n_second);
        let (z_hit, z_alarm) = (quantile(hit), quantile(alarm));
        let variance = |p: f64, z: f64, n: u32| p * (1.0 - p) / (f64::from(n) * density(z).powi(2));
        Some(Sensitivity {
            d_prime: z_hit - z_alarm,
            error: (variance(hit, z_hit, self.n_first) + variance(alarm, z_alarm, self.n_second))
                .sqrt(),
            // Not times -0.5, which makes a negative 0 of nothing.
            criterion: 0.0 - 0.5 * (z_hit + z_alarm),
        })
    }
}

/// What was said of what: rows are truths, columns are answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Confusions(pub Vec<Vec<u32>>);

impl Confusions {
    /// The share of right answers.
    pub fn accuracy(&self) -> f64 {
        let right: u32 = (0..self.0.len())
            .filter_map(|i| self.0.get(i)?.get(i))
            .sum();
        f64::from(right) / self.total()
    }

    /// The share of right answers that the margins bring by chance (Cohen 1960).
    pub fn by_chance(&self) -> f64 {
        let n = self.total();
        let share = |i: usize| self.row(i) / n * self.column(i) / n;
        (0..self.0.len()).map(share).sum()
    }

    /// Cohen's kappa (Cohen 1960): agreement beyond what the margins bring by chance.
    pub fn kappa(&self) -> f64 {
        let chance = self.by_chance();
        (self.accuracy() - chance) / (1.0 - chance)
    }

    /// What an answer tells of the truth, in bits (Shannon 1948).
    pub fn information(&self) -> f64 {
        let n = self.total();
        let cells = self.0.iter().enumerate().flat_map(|(i, row)| {
            row.iter()
                .enumerate()
                .map(move |(j, count)| (i, j, f64::from(*count)))
        });
        cells
            .filter(|(_, _, count)| *count > 0.0)
            .map(|(i, j, count)| count / n * (count * n / (self.row(i) * self.column(j))).log2())
            .sum()
    }

    fn total(&self) -> f64 {
        f64::from(self.0.iter().flatten().sum::<u32>())
    }

    fn row(&self, i: usize) -> f64 {
        f64::from(self.0.get(i).map_or(0, |row| row.iter().sum::<u32>()))
    }

    fn column(&self, j: usize) -> f64 {
        f64::from(self.0.iter().filter_map(|row| row.get(j)).sum::<u32>())
    }
}

/// d' of so many alternatives from the share that is right, by the integral of Green and Dai (1991),
/// which Hacker and Ratcliff (1979) tabulate; 0 where it is not above guessing.
pub fn d_prime_of_alternatives(share: f64, alternatives: u8) -> f64 {
    let m = f64::from(alternatives.max(2));
    if share <= 1.0 / m {
        return 0.0;
    }
    bisect(0.0, 8.0, |d| share_of_d_prime(d, alternatives) - share)
}

/// The share that is right where the one of `alternatives` stands out by d'.
pub fn share_of_d_prime(d_prime: f64, alternatives: u8) -> f64 {
    // By the rule of Simpson over all that matters of a normal distribution.
    const STEPS: u16 = 2_000;
    let (from, until) = (d_prime.min(0.0) - 9.0, d_prime.max(0.0) + 9.0);
    let step = (until - from) / f64::from(STEPS);
    let others = i32::from(alternatives.max(2)) - 1;
    let at = |n: u16| {
        let x = from + step * f64::from(n);
        density(x - d_prime) * normal_cdf(x).powi(others)
    };
    let inner = (1..STEPS).map(|n| if n % 2 == 1 { 4.0 * at(n) } else { 2.0 * at(n) });
    (at(0) + inner.sum::<f64>() + at(STEPS)) * step / 3.0
}

/// The standard normal density.
fn density(x: f64) -> f64 {
    (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Where the standard normal distribution reaches `p`, for p within 0 and 1, by the method of Newton:
/// from the middle outwards the slope falls, so that no step goes too far.
fn quantile(p: f64) -> f64 {
    const CLOSE: f64 = 1e-14;
    let mut x: f64 = 0.0;
    // A dozen steps for one in a million.
    for _ in 0..100 {
        let step = (p - normal_cdf(x)) / density(x);
        x += step;
        if step.abs() < CLOSE {
            break;
        }
    }
    x.clamp(-9.0, 9.0)
}

/// Where a rising function is 0.
fn bisect(mut low: f64, mut high: f64, of: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if of(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;

    fn fixture() -> Value {
        let text = include_str!("../../tests/reference/fixtures/perception.json");
        serde_json::from_str(text).expect("the fixture is JSON")
    }

    fn number(value: &Value) -> f64 {
        value
            .as_f64()
            .unwrap_or_else(|| panic!("a number: {value}"))
    }

    fn whole(value: &Value) -> u32 {
        u32::try_from(value.as_u64().expect("a number")).expect("small")
    }

    #[track_caller]
    fn close(found: f64, expected: f64, within: f64) {
        assert!(
            (found - expected).abs() < within,
            "{found} is not {expected}"
        );
    }

    #[test]
    fn score_intervals_as_newcombe_published_them() {
        // Newcombe 1998, Statistics in Medicine 17:857, to four decimals; sources in the fixture.
        let fixture = fixture();
        let rows = fixture["wilson"]["published"].as_array().expect("rows");
        assert!(rows.len() >= 4);
        for row in rows {
            let found = wilson(whole(&row["k"]), whole(&row["n"])).expect("some");
            close(found.low, number(&row["published"][0]), 5.1e-5);
            close(found.high, number(&row["published"][1]), 5.1e-5);
        }
        for row in fixture["wilson"]["extra"].as_array().expect("rows") {
            let found = wilson(whole(&row["k"]), whole(&row["n"])).expect("some");
            close(found.low, number(&row["computed"][0]), 1e-9);
            close(found.high, number(&row["computed"][1]), 1e-9);
        }
        assert_eq!(wilson(0, 0), None);
    }

    #[test]
    fn sensitivity_and_lean_as_in_the_handbook() {
        // Macmillan and Creelman; the log-linear rule of Hautus 1995; sources in the fixture.
        let fixture = fixture();
        let rows = fixture["yes_no"]["rows"].as_array().expect("rows");
        let corrected = rows.iter().filter(|row| row["log_linear"] == true);
        let mut n = 0;
        for row in corrected {
            let labels = TwoLabels {
                hits: whole(&row["hits"]),
                n_first: whole(&row["signal_trials"]),
                false_alarms: whole(&row["false_alarms"]),
                n_second: whole(&row["noise_trials"]),
            };
            let found = labels.sensitivity().expect("both were there");
            close(found.d_prime, number(&row["d_prime"]), 1e-6);
            close(found.criterion, number(&row["c"]), 1e-6);
            assert!(found.error > 0.0 && found.error.is_finite());
            n += 1;
        }
        assert!(n >= 2, "rows with the rule");
        // Without the rule the same formulas, from the rates themselves.
        for row in rows.iter().filter(|row| row["log_linear"] == false) {
            let (hit, alarm) = (quantile(number(&row["H"])), quantile(number(&row["F"])));
            close(hit - alarm, number(&row["d_prime"]), 1e-6);
            close(-0.5 * (hit + alarm), number(&row["c"]), 1e-6);
        }
        assert_eq!(TwoLabels::default().sensitivity(), None);
    }

    #[test]
    fn alternatives_as_tabulated() {
        // Hacker and Ratcliff 1979; the integral of Green and Dai 1991; sources in the fixture.
        let fixture = fixture();
        for table in fixture["mafc_d_from_pc"]["tables"]
            .as_array()
            .expect("tables")
        {
            let m = u8::try_from(whole(&table["m"])).expect("few");
            for row in table["rows"].as_array().expect("rows") {
                close(
                    d_prime_of_alternatives(number(&row[0]), m),
                    number(&row[1]),
                    1e-6,
                );
            }
        }
        for table in fixture["mafc_d_from_pc"]["forward"]
            .as_array()
            .expect("tables")
        {
            let m = u8::try_from(whole(&table["m"])).expect("few");
            for row in table["rows"].as_array().expect("rows") {
                close(share_of_d_prime(number(&row[0]), m), number(&row[1]), 1e-9);
            }
        }
        assert_eq!(d_prime_of_alternatives(0.2, 4), 0.0);
    }

    #[test]
    fn confusions_as_computed_elsewhere() {
        let fixture = fixture();
        let rows = fixture["confusion"].as_array().expect("rows");
        assert!(rows.len() >= 5);
        for row in rows {
            let matrix = row["matrix_rows_true_cols_response"]
                .as_array()
                .expect("rows");
            let list = |row: &Value| row.as_array().expect("a row").iter().map(whole).collect();
            let found = Confusions(matrix.iter().map(list).collect());
            close(found.accuracy(), number(&row["accuracy"]), 1e-9);
            if let Some(kappa) = row["kappa"].as_f64() {
                close(found.kappa(), kappa, 1e-9);
            }
            close(
                found.information(),
                number(&row["mutual_information_bits"]),
                1e-9,
            );
        }
    }

    /// By the rule of Hautus 1995, 18 of 20 and 14 of 20 give c = -0.84 with an error of 0.23; 2 of 2 and
    /// 1 of 2 give -0.48 with one of 0.69, which is chance.
    #[test]
    fn a_lean_is_told_only_where_it_is_clear_of_chance() {
        let of = |hits, n_first, false_alarms, n_second| {
            let labels = TwoLabels {
                hits,
                n_first,
                false_alarms,
                n_second,
            };
            labels.sensitivity().expect("both were there")
        };
        let clear = of(18, 20, 14, 20);
        assert!(clear.clear_criterion() < -0.7 && !clear.is_exchanged());
        assert!(of(2, 2, 1, 2).clear_criterion().abs() < f64::EPSILON);
        assert!(of(1, 20, 19, 20).is_exchanged());
        assert!(!of(0, 2, 2, 2).is_exchanged());
    }
}
