//! The tune-up: a safe loudness, tapping with clicks until the constant delay of this set-up is known,
//! and tapping evenly with nothing to hear.

use super::ClapBy;
use crate::phrase::{
    Bell, Entry, Family, Level, Loudness, Note, Pacing, Phrase, Purpose, Recipe, RecipeParts,
    Rival, Speakers, Touch, Voice, Wanted, make,
};
use crate::quiz::judge::{Delay, Evenness};
use crate::quiz::{Tap, Taps};
use crate::rhythm::{Cycle, Feel, Layer, Pattern, Tempo, Tick, Ticks};
use crate::world::Seed;

/// Clicks a minute: slow enough that a delay of three tenths of a second is not taken for a lead.
const CLICKS_A_MINUTE: i64 = 100;
/// Microseconds between two clicks.
const GAP_MICROS: u32 = 600_000;
/// Half of the strip of scattered taps, and how many microseconds a cell of it is.
const HALF_STRIP: i64 = 12;
const CELL_MICROS: f64 = 10_000.0;

/// What is done at the tune-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// It is offered before the first taps of a sitting, and nothing sounds.
    Offered,
    /// A phrase goes round as loud as any gets, so that a safe loudness can be set.
    Loudness,
    /// Taps with a bell show the constant delay.
    Bell,
    /// Taps with nothing to hear show how evenly somebody taps.
    Even,
}

/// Taps with clicks, and what they come to.
#[derive(Clone, Debug, PartialEq)]
pub struct TuneUp {
    /// The output that is measured.
    pub output: String,
    /// What is done now.
    pub step: Step,
    /// What taps are taken by.
    pub by: ClapBy,
    /// What was known before.
    pub known: Option<Delay>,
    taps: Taps,
    /// The delay that was kept, once it is known.
    pub kept: Option<Delay>,
    /// Whether the sound broke off, so that there is nothing to tap with.
    pub has_broken_off: bool,
}

impl TuneUp {
    /// A tune-up of this output, before the first tap.
    pub(crate) fn new(output: &str, step: Step, by: ClapBy, known: Option<Delay>) -> Self {
        Self {
            output: output.to_owned(),
            step,
            by,
            known,
            taps: Taps::default(),
            kept: None,
            has_broken_off: false,
        }
    }

    /// The sound broke off. What was tapped with it may lie anywhere, and nothing comes of it.
    pub(super) fn break_off(&mut self) {
        self.has_broken_off = self.kept.is_none();
    }

    /// A tap, in microseconds since the first click, or since anything where nothing is heard. The
    /// delay when it is settled by this tap.
    pub(crate) fn tap(&mut self, micros: i64) -> Option<Delay> {
        if self.kept.is_some() || self.has_broken_off || !self.is_tapped() {
            return None;
        }
        self.taps.push(Tap::at(micros));
        self.kept = self.delay().filter(|delay| delay.is_settled());
        self.kept
    }

    /// Whether taps are wanted.
    pub fn is_tapped(&self) -> bool {
        matches!(self.step, Step::Bell | Step::Even)
    }

    /// How many taps there are.
    pub fn n_taps(&self) -> usize {
        self.taps.kept().len()
    }

    /// The delay as far as it is known.
    pub fn delay(&self) -> Option<Delay> {
        (self.step == Step::Bell).then(|| Delay::of(&self.micros(), GAP_MICROS))?
    }

    /// How evenly was tapped with nothing to hear.
    pub fn evenness(&self) -> Option<Evenness> {
        (self.step == Step::Even).then(|| Evenness::of(&self.micros()))?
    }

    fn micros(&self) -> Vec<i64> {
        self.taps.kept().iter().map(|tap| tap.micros).collect()
    }

    /// How many taps lie in each cell of 10 ms around the mean; what lies outside is in the last
    /// cell of its side. Empty while nothing can be said.
    pub fn strip(&self) -> Vec<usize> {
        let micros = self.micros();
        let places = match (self.delay(), self.evenness()) {
            (Some(delay), _) => {
                let last = micros.iter().rev().take(delay.n);
                last.map(|tap| off_click(*tap, delay.micros)).collect()
            }
            (None, Some(evenness)) => evenness.offs(&micros),
            (None, None) => return Vec::new(),
        };
        let n_cells = usize::try_from(2 * HALF_STRIP + 1).expect("a few cells");
        let mut cells = vec![0; n_cells];
        for micros in places {
            let idx = usize::try_from(cell(micros) + HALF_STRIP);
            if let Some(cell) = idx.ok().and_then(|idx| cells.get_mut(idx)) {
                *cell += 1;
            }
        }
        cells
    }
}

impl TuneUp {
    /// What to do now.
    pub fn task(&self) -> &'static str {
        if self.has_broken_off {
            return "The sound broke off, as it may on a busy machine. Begin again.";
        }
        match self.step {
            Step::Offered => {
                "Claps come next, and how late they arrive on this output is not known. Tapping with a bell \
                 for half a minute tells; without it claps are counted, but their timing is not judged."
            }
            Step::Loudness => {
                "This is as loud as anything gets. Set your loudness by it, then go on."
            }
            Step::Bell if self.by == ClapBy::Microphone => {
                "Clap with the bell, as exactly as you can, until it stops. Wear headphones: a bell from \
                 a loudspeaker is taken for a clap."
            }
            Step::Even if self.by == ClapBy::Microphone => {
                "Nothing sounds: clap as evenly as you can, at a pace of your own."
            }
            Step::Bell => "Tap with the bell, as exactly as you can, until it stops.",
            Step::Even => "Nothing sounds: tap as evenly as you can, at a pace of your own.",
        }
    }

    /// What the taps have come to.
    pub fn said(&self) -> String {
        let words = |micros: f64| {
            let side = if micros < 0.0 { "before" } else { "after" };
            format!("{:.0} ms {side} the bell", micros.abs() / 1_000.0)
        };
        if let Some(evenness) = self.evenness() {
            return format!(
                "A tap every {:.0} ms; single ones lie within {:.0} ms of even, {:.1} % of the gap.",
                evenness.gap_ms,
                evenness.spread_ms,
                100.0 * evenness.spread_ms / evenness.gap_ms
            );
        }
        if let (0, Some(known), None) = (self.n_taps(), self.known, self.kept) {
            return format!(
                "Known for this output: taps lie {}, single ones spread by {:.0} ms. Tap to measure it again.",
                words(known.micros),
                known.spread / 1_000.0
            );
        }
        match (self.kept, self.delay()) {
            (Some(kept), _) => format!(
                "Your taps lie {}, known to {:.0} ms; single ones spread by {:.0} ms. Kept for this output: \
                 the way of the sound, of the key and your own lead are taken off all taps that follow.",
                words(kept.micros),
                kept.known_to() / 1_000.0,
                kept.spread / 1_000.0
            ),
            (None, Some(delay)) => format!(
                "So far your taps lie {}, known to {:.0} ms.",
                words(delay.micros),
                delay.known_to() / 1_000.0
            ),
            (None, None) if self.n_taps() > 8 => {
                "Your taps scatter too widely to say; listen for some clicks, then go on."
                    .to_owned()
            }
            (None, None) => "A few taps more, and it can be said where they lie.".to_owned(),
        }
    }
}

/// A phrase as loud as any gets: strummed by one hand and clapped by bright ones.
pub(super) fn loud(seed: Seed, speakers: Speakers) -> Option<Phrase> {
    let recipe = Recipe::new(RecipeParts {
        patterns: vec![Pattern::SIX],
        families: vec![Family::BassStrums],
        feels: vec![Feel::Threes],
        tempo: (160, 160),
        pacing: Pacing::Steady,
        rival: Rival::None,
        cycles: (4, 4),
        entries: vec![Entry::One],
        bell: Bell::None,
    });
    let recipe = recipe.ok()?.through(speakers);
    let wanted = Wanted {
        feel: Feel::Threes,
        level: Level::STRONGEST,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(&recipe, &wanted, seed).ok()?;
    let threes = Layer::every(Cycle::SIX, 3);
    Some(measured.phrase().clapped(&[threes], Touch::Clara))
}

/// By how many microseconds a tap lies off the mean of its click.
#[expect(clippy::cast_precision_loss, reason = "microseconds of a minute")]
fn off_click(tap: i64, mean: f64) -> f64 {
    let gap = f64::from(GAP_MICROS);
    let off = (tap as f64 - mean) / gap;
    (off - off.round()) * gap
}

/// The cell of a place, 0 the middle one.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "clamped to a few cells"
)]
fn cell(micros: f64) -> i64 {
    let most = HALF_STRIP as f64;
    (micros / CELL_MICROS).round().clamp(-most, most) as i64
}

/// The clicks, going round.
pub(super) fn clicks() -> Phrase {
    let click = |pulse| Note {
        at: Tick::of_pulse(pulse),
        delay: 0,
        length: Ticks(60),
        voice: Voice::Bell,
        pitch: None,
        loudness: Loudness(0),
        touch: Touch::Bell,
    };
    let tempo = Tempo::of_pulses_a_minute(CLICKS_A_MINUTE).expect("a possible tempo");
    Phrase {
        cycle: Cycle::SIX,
        pace: tempo.into(),
        n_cycles: 2,
        entry: 0,
        feel: Feel::Either,
        notes: (0..12).map(click).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clicks_are_as_far_apart_as_is_reckoned() {
        let gap = clicks().pace.units_at(Tick::of_pulse(1), 0, 1_000_000);
        assert_eq!(gap, i64::from(GAP_MICROS));
    }

    #[test]
    fn taps_settle_it_and_more_change_nothing() {
        let mut tune_up = TuneUp::new("a card", Step::Bell, ClapBy::Keys, None);
        let tap = |n: i64| n * 600_000 + 120_000 + 15_000 * (n % 3 - 1);
        let settled: Vec<i64> = (0..40).filter(|n| tune_up.tap(tap(*n)).is_some()).collect();
        assert_eq!(settled.len(), 1, "{settled:?}");
        let kept = tune_up.kept.expect("settled");
        assert!((kept.micros - 120_000.0).abs() < 3_000.0, "{kept:?}");
        let strip = tune_up.strip();
        assert_eq!(strip.iter().sum::<usize>(), kept.n);
        assert_eq!(strip[12 - 3..=12 + 3].iter().sum::<usize>(), kept.n);
    }

    #[test]
    fn of_a_sound_that_broke_off_nothing_comes_and_it_is_said() {
        let mut tune_up = TuneUp::new("a card", Step::Bell, ClapBy::Keys, None);
        assert_eq!(tune_up.tap(100_000), None);
        tune_up.break_off();
        assert_eq!(tune_up.tap(700_000), None);
        assert_eq!(tune_up.n_taps(), 1);
        assert!(tune_up.task().contains("Begin again"));
    }

    #[test]
    fn even_taps_are_measured_without_a_sound() {
        let mut tune_up = TuneUp::new("a card", Step::Even, ClapBy::Keys, None);
        for n in 0..12 {
            assert_eq!(tune_up.tap(n * 480_000 + 10_000 * (n % 2)), None);
        }
        let evenness = tune_up.evenness().expect("twelve taps");
        // Alternately 5 ms early and late, of which the slope takes a little.
        assert!((evenness.gap_ms - 480.0).abs() < 1.0, "{evenness:?}");
        assert!((evenness.spread_ms - 5.4).abs() < 0.3, "{evenness:?}");
        assert_eq!(tune_up.strip().iter().sum::<usize>(), 12);
        assert_eq!(tune_up.delay(), None);
    }

    #[test]
    fn the_loud_phrase_is_there_for_every_seed() {
        for seed in 0..20 {
            assert!(loud(Seed(seed), Speakers::Full).is_some());
        }
    }
}
