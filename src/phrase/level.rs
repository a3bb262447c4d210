//! How strongly a phrase states its accents.

use std::fmt;

/// Cue strength in tenths of a decibel: an accent of this size on a loudness scale. Other cues are
/// made equally strong by the accent model. 1 to 12 dB can be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Level(i16);

impl Level {
    /// The weakest that is ever asked: less than 1.5 dB is no fair cue (Slade et al. 2022 give 0.7
    /// to 1.2 dB as just noticeable for piano tones).
    pub const WEAKEST: Self = Self(15);
    /// The strongest.
    pub const STRONGEST: Self = Self(120);

    /// The level nearest to `tenths` of a decibel that can be made.
    pub fn of_tenths(tenths: i16) -> Self {
        Self(tenths.clamp(Self::WEAKEST.0, Self::STRONGEST.0))
    }

    /// The level nearest to `db` decibels that can be made.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "clamped to three digits before the cast"
    )]
    pub fn of_decibels(db: f64) -> Self {
        Self::of_tenths((db.clamp(0.0, 100.0) * 10.0).round() as i16)
    }

    /// Tenths of a decibel.
    pub fn tenths(self) -> i16 {
        self.0
    }

    /// Decibels.
    pub fn decibels(self) -> f64 {
        f64::from(self.0) / 10.0
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{} dB", self.0 / 10, self.0 % 10)
    }
}
