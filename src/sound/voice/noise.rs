//! Cheap noise that a seed decides.

use crate::world::Seed;

/// White noise by xorshift64* (Vigna 2016): a sample costs three shifts and a product.
#[derive(Clone, Copy, Debug)]
pub(in crate::sound) struct Noise(u64);

impl Noise {
    /// The noise that `seed` decides.
    pub(in crate::sound) fn of(seed: Seed) -> Self {
        // The generator stands still at zero.
        Self(seed.0 | 1)
    }

    /// The next sample, evenly spread over -1 to 1.
    #[inline]
    pub(in crate::sound) fn next(&mut self) -> f32 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let bits = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 48;
        f32::from(u16::try_from(bits).unwrap_or(0)) / 32_767.5 - 1.0
    }

    /// The next draw from `low` to `high`.
    pub(in crate::sound) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (0.5 + 0.5 * f64::from(self.next()))
    }
}
