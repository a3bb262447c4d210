//! Statistics of directions: where in a gap taps fall, and whether they keep to it at all.

use std::f64::consts::TAU;

/// The mean of some directions and how far they agree.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circular {
    /// How many directions there are.
    pub n: f64,
    /// Mean direction in radians, 0 to 2π.
    pub mean: f64,
    /// Resultant length R, 0 where they cancel, 1 where all are alike.
    pub resultant: f64,
}

impl Circular {
    /// The mean of `angles` in radians; `None` of none (Mardia and Jupp 2000, chapter 2).
    pub fn of(angles: impl Iterator<Item = f64>) -> Option<Self> {
        let (n, sines, cosines) = angles.fold((0.0, 0.0, 0.0), |(n, s, c), angle: f64| {
            (n + 1.0, s + angle.sin(), c + angle.cos())
        });
        (n > 0.0).then(|| Self {
            n,
            mean: f64::atan2(sines, cosines).rem_euclid(TAU),
            resultant: f64::hypot(sines, cosines) / n,
        })
    }

    /// 1 - R.
    pub fn variance(self) -> f64 {
        1.0 - self.resultant
    }

    /// √(-2 ln R) in radians; infinite where directions cancel.
    pub fn deviation(self) -> f64 {
        (-2.0 * self.resultant.ln()).sqrt()
    }

    /// Rayleigh's z = n R².
    pub fn rayleigh_z(self) -> f64 {
        self.n * self.resultant * self.resultant
    }

    /// The probability of so long a resultant were directions drawn evenly (Zar, equation 27.4).
    pub fn rayleigh_p(self) -> f64 {
        let (n, total) = (self.n, self.n * self.resultant);
        ((1.0 + 4.0 * n + 4.0 * (n * n - total * total)).sqrt() - (1.0 + 2.0 * n)).exp()
    }
}
