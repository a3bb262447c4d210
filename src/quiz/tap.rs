//! Taps: when a key was struck or a clap was heard, by which hand.
//!
//! Read [`Taps`] first. A key that is held repeats itself, and a key may bounce: neither is a second
//! tap. Terminals that tell when a key is let go and those that do not come to the same here, since
//! only what follows what is looked at. Times are microseconds of the phrase's own time.

/// Two taps of one hand within so many microseconds are one. Keyboards repeat a held key every 30 to
/// 90 ms; one finger taps no faster than about every 150 ms (from memory).
pub(super) const ONE_TAP: i64 = 100_000;
/// So many in a row that follow each other so fast are a held key, not a key that bounces.
const HELD: u32 = 3;

/// The longest pause before a held key repeats, in microseconds (common practice, no source).
const PAUSE: i64 = 1_000_000;

/// Which hand tapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Hand {
    /// Whichever: one key does for all.
    Either,
    /// The left one, or what stands for it.
    Left,
    /// The right one, or what stands for it.
    Right,
}

impl Hand {
    /// All hands.
    pub const ALL: [Self; 3] = [Self::Either, Self::Left, Self::Right];

    /// What it is called.
    pub fn words(self) -> &'static str {
        match self {
            Self::Either => "hands",
            Self::Left => "left hand",
            Self::Right => "right hand",
        }
    }
}

/// One tap.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tap {
    /// When, in microseconds of the phrase: 0 is its tick zero.
    pub micros: i64,
    /// With which hand.
    pub hand: Hand,
}

impl Tap {
    /// A tap with whichever hand.
    pub fn at(micros: i64) -> Self {
        Self {
            micros,
            hand: Hand::Either,
        }
    }
}

/// The taps of a round, without what a held key repeats.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taps {
    kept: Vec<Tap>,
    runs: Vec<Run>,
}

/// Taps of one hand that follow each other too fast for a hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Run {
    hand: Hand,
    first: i64,
    last: i64,
    n: u32,
}

impl Taps {
    /// Takes in a tap.
    pub fn push(&mut self, tap: Tap) {
        let run = self.runs.iter_mut().find(|run| run.hand == tap.hand);
        match run {
            Some(run) if tap.micros.abs_diff(run.last) < ONE_TAP.unsigned_abs() => {
                run.last = tap.micros;
                run.n += 1;
                if run.n == HELD {
                    let run = *run;
                    self.let_go_of(run);
                }
            }
            Some(run) => {
                *run = Run::begun(tap);
                self.kept.push(tap);
            }
            None => {
                self.runs.push(Run::begun(tap));
                self.kept.push(tap);
            }
        }
    }

    /// Of a held key the stroke itself lies before the pause after which it repeats: even the first
    /// of what it repeats was none.
    fn let_go_of(&mut self, run: Run) {
        let before = |tap: &Tap| (run.first - PAUSE..run.first).contains(&tap.micros);
        let of_hand = |tap: &Tap| tap.hand == run.hand;
        if self.kept.iter().any(|tap| of_hand(tap) && before(tap)) {
            self.kept
                .retain(|tap| !of_hand(tap) || tap.micros != run.first);
        }
    }

    /// Forgets them all.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The taps, in the order in which they came.
    pub fn kept(&self) -> &[Tap] {
        &self.kept
    }
}

impl Run {
    fn begun(tap: Tap) -> Self {
        Self {
            hand: tap.hand,
            first: tap.micros,
            last: tap.micros,
            n: 1,
        }
    }
}

/// When one hand tapped.
pub(super) fn micros_of(taps: &[Tap], hand: Hand) -> Vec<i64> {
    let of_hand = taps.iter().filter(|tap| tap.hand == hand);
    of_hand.map(|tap| tap.micros).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(came_ms: &[i64], kept_ms: &[i64]) {
        let mut taps = Taps::default();
        for ms in came_ms {
            taps.push(Tap::at(ms * 1_000));
        }
        let kept: Vec<i64> = taps.kept().iter().map(|tap| tap.micros / 1_000).collect();
        assert_eq!(kept, kept_ms);
    }

    #[test]
    fn a_held_key_is_one_tap_and_so_is_one_that_bounces() {
        check(&[0, 500, 1_000], &[0, 500, 1_000]);
        check(&[0, 20, 500], &[0, 500]);
        // Held: a pause, then every 33 ms, or every 90 ms, or without any pause.
        let held = |pause: i64, every: i64| {
            let mut came = vec![0];
            came.extend((0..20).map(|n| pause + every * n));
            came
        };
        check(&held(500, 33), &[0]);
        check(&held(250, 90), &[0]);
        let mut came = held(600, 40);
        came.push(2_000);
        check(&came, &[0, 2_000]);
        // A key that bounces more than once is a tap all the same.
        check(&[0, 20, 40], &[0]);
    }

    #[test]
    fn two_hands_may_fall_together() {
        let mut taps = Taps::default();
        for hand in [Hand::Left, Hand::Right] {
            taps.push(Tap { micros: 0, hand });
            taps.push(Tap {
                micros: 30_000,
                hand,
            });
        }
        let hands: Vec<Hand> = taps.kept().iter().map(|tap| tap.hand).collect();
        assert_eq!(hands, [Hand::Left, Hand::Right]);
        assert_eq!(micros_of(taps.kept(), Hand::Right), [0]);
        taps.clear();
        assert!(taps.kept().is_empty());
    }
}
