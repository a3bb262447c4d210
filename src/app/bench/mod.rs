//! The bench: one phrase going round, its layers put on and off, claps laid over it.
//!
//! Nothing is asked and nothing is kept. A [`Bench`] is what is set up and what is shown of it; each
//! [`Step`] changes one thing, and the change is heard from the next cycle on.

mod claps;
mod set_up;

pub use claps::Claps;

use crate::accent::Floor;
use crate::phrase::{Family, Phrase, Speakers, Touch, Voice};
use crate::quiz::{GridRow, grid};
use crate::rhythm::{Counting, Feel, Layer, Pattern, TICKS_PER_PULSE};
use crate::world::Seed;

use set_up::SetUp;

/// How much faster or slower one step is, in pulses a minute.
const TEMPO_STEP: i64 = 10;
/// How strong the cues are on the bench: clear.
const LEVEL: f64 = 6.0;
/// Cycles of a loop; twice as many where claps come and go.
const CYCLES: i64 = 4;

/// In which cycles the claps sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guide {
    /// In all.
    Every,
    /// In fewer and fewer, then in none.
    Thinning,
    /// Two cycles in threes, two without, two in twos, two without, over notes that fit either.
    BothReadings,
}

/// One change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// To the next cycle.
    Pattern,
    /// To the next family of surfaces.
    Family,
    /// To the next feel.
    Feel,
    /// Faster.
    Faster,
    /// Slower.
    Slower,
    /// A voice on or off, from 0.
    Voice(usize),
    /// One voice alone, then the next, then all.
    Alone,
    /// To the next claps.
    Claps,
    /// The guide in all cycles, or thinning out.
    Guide,
    /// The same notes under both readings, or not.
    BothReadings,
    /// Another phrase.
    Other,
    /// Silent or sounding.
    Pause,
}

/// What is set up, and what is shown of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    /// The cycle, and its own grouping where it has one.
    pub pattern: Pattern,
    /// The family of the surface.
    pub family: Family,
    /// The feel.
    pub feel: Feel,
    /// Pulses a minute.
    pub ppm: i64,
    /// What is clapped.
    pub claps: Claps,
    /// In which cycles.
    pub guide: Guide,
    /// Whether it sounds.
    pub is_sounding: bool,
    /// The names of the counts.
    pub counts: Vec<String>,
    /// The voices as they are played, sounding or not.
    pub rows: Vec<(GridRow, bool)>,
    /// The claps, cycle by cycle.
    pub claps_row: GridRow,
    counting: Option<Counting>,
    speakers: Speakers,
    seed: Seed,
    which: u64,
    off: Vec<Voice>,
    alone: Option<Voice>,
    phrase: Phrase,
}

impl Bench {
    /// A bench with a first phrase, in twos by the bass; `None` when none can be made from the seed.
    pub fn new(seed: Seed, counting: Option<Counting>, speakers: Speakers) -> Option<Self> {
        let set_up = SetUp {
            pattern: Pattern::SIX,
            family: Family::BassStrums,
            feel: Feel::Twos,
            ppm: 176,
            n_cycles: CYCLES,
            speakers,
        };
        let phrase = set_up.compose(seed.child("bench", 0))?;
        let mut bench = Self {
            pattern: Pattern::SIX,
            counting,
            speakers,
            family: Family::BassStrums,
            feel: Feel::Twos,
            ppm: 176,
            claps: Claps::None,
            guide: Guide::Every,
            is_sounding: true,
            counts: Vec::new(),
            rows: Vec::new(),
            claps_row: GridRow {
                name: "claps",
                cycles: Vec::new(),
                aside: String::new(),
            },
            seed,
            which: 0,
            off: Vec::new(),
            alone: None,
            phrase,
        };
        bench.describe();
        Some(bench)
    }

    /// Takes one step. What cannot be set up leaves everything as it was.
    pub fn step(&mut self, step: Step) {
        let before = self.clone();
        match step {
            Step::Pattern => self.next_pattern(),
            Step::Family => self.next_family(),
            Step::Feel if self.pattern.marks().is_none() => {
                self.feel = after(&Feel::OPEN, self.feel);
            }
            Step::Feel => {}
            Step::Faster => self.ppm = (self.ppm + TEMPO_STEP).min(self.pattern.tempo().1),
            Step::Slower => self.ppm = (self.ppm - TEMPO_STEP).max(self.pattern.tempo().0),
            Step::Voice(idx) => self.toggle(idx),
            Step::Alone => self.alone = self.after_alone(),
            Step::Claps => self.claps = self.claps.after(self.pattern),
            Step::Guide => self.guide = other(self.guide, Guide::Thinning),
            Step::BothReadings if self.pattern.marks().is_none() => {
                self.guide = other(self.guide, Guide::BothReadings);
            }
            Step::BothReadings => {}
            Step::Other => self.which += 1,
            Step::Pause => self.is_sounding = !self.is_sounding,
        }
        if !self.renew() {
            // No phrase can be made so: everything stays as it was.
            *self = before;
        }
        self.describe();
    }

    /// The phrase as it is to sound: the voices that are on, under the claps.
    pub(super) fn sounding(&self) -> Phrase {
        let mut phrase = self.phrase.clone();
        phrase.notes.retain(|note| self.is_on(note.voice));
        let mut phrase = phrase.clapped_by(|cycle_idx| self.clapped(cycle_idx), Touch::Sorda);
        if self.is_contra() {
            let claps = phrase.notes.iter_mut().filter(|n| n.voice == Voice::Claps);
            claps.for_each(|clap| clap.at.0 += TICKS_PER_PULSE / 2);
            phrase.notes.sort_by_key(|note| (note.at, note.delay));
        }
        phrase
    }

    /// The next cycle, with what it can have.
    fn next_pattern(&mut self) {
        let all: Vec<Pattern> = Pattern::all().collect();
        self.pattern = after(&all, self.pattern);
        let is_open = self.pattern.marks().is_none();
        match (is_open, self.feel) {
            (true, Feel::Mixed) => self.feel = Feel::Twos,
            (false, _) => self.feel = Feel::Mixed,
            (true, _) => {}
        }
        if !is_open && self.guide == Guide::BothReadings {
            self.guide = Guide::Every;
        }
        if !self.family.can_state(self.pattern) {
            self.next_family();
        }
        if self.claps.layer(self.pattern).is_none() {
            self.claps = Claps::None;
        }
        let (slowest, fastest) = self.pattern.tempo();
        self.ppm = self.ppm.clamp(slowest, fastest);
    }

    fn next_family(&mut self) {
        self.family = after(&Family::ALL, self.family);
        while !self.family.can_state(self.pattern) {
            self.family = after(&Family::ALL, self.family);
        }
    }

    /// How many cycles go round.
    pub(super) fn n_cycles(&self) -> u32 {
        self.phrase.n_cycles
    }

    /// Makes the phrase again as it is set up; false when that cannot be done.
    fn renew(&mut self) -> bool {
        let n_cycles = if self.guide == Guide::Every {
            CYCLES
        } else {
            2 * CYCLES
        };
        let feel = if self.guide == Guide::BothReadings {
            Feel::Either
        } else {
            self.feel
        };
        let set_up = SetUp {
            pattern: self.pattern,
            family: self.family,
            feel,
            ppm: self.ppm,
            n_cycles,
            speakers: self.speakers,
        };
        let made = set_up.compose(self.seed.child("bench", self.which));
        made.map(|phrase| self.phrase = phrase).is_some()
    }

    fn describe(&mut self) {
        let counting = Counting::in_style(self.counting, self.pattern.counting());
        self.counts = counts(&self.phrase, counting);
        let rows = crate::phrase::rows(&self.phrase);
        let voices: Vec<Voice> = rows.iter().map(|row| row.voice).collect();
        let grid = grid(&self.phrase, &rows, Floor::at_level(LEVEL));
        self.rows = grid
            .into_iter()
            .zip(voices)
            .map(|(row, v)| (row, self.is_on(v)))
            .collect();
        let n_cycles = usize::try_from(self.phrase.n_cycles).unwrap_or(0);
        let marks = |cycle_idx| {
            let layer = self.clapped(cycle_idx);
            let mark = |pulse| layer.is_some_and(|layer| layer.contains(pulse));
            // Between two counts, as "and" is written there.
            let clapped = if self.is_contra() { '+' } else { 'x' };
            let sign = |pulse| if mark(pulse) { clapped } else { '.' };
            self.pattern.cycle().pulses().map(sign).collect()
        };
        self.claps_row.cycles = (0..n_cycles).map(marks).collect();
    }

    fn clapped(&self, cycle_idx: usize) -> Option<Layer> {
        match self.guide {
            Guide::Every => self.claps.layer(self.pattern),
            // In all, in half, in one of four, in none.
            Guide::Thinning if matches!(cycle_idx, 0 | 1 | 2 | 4) => self.claps.layer(self.pattern),
            Guide::Thinning => None,
            Guide::BothReadings => match cycle_idx {
                0 | 1 => Claps::Threes.layer(self.pattern),
                4 | 5 => Claps::Twos.layer(self.pattern),
                _ => None,
            },
        }
    }

    /// Whether the claps that sound lie between the counts.
    fn is_contra(&self) -> bool {
        self.claps == Claps::Contra && self.guide != Guide::BothReadings
    }

    fn is_on(&self, voice: Voice) -> bool {
        match self.alone {
            Some(alone) if self.phrase.voices().contains(&alone) => voice == alone,
            _ => !self.off.contains(&voice),
        }
    }

    fn toggle(&mut self, idx: usize) {
        let Some(voice) = self.phrase.voices().get(idx).copied() else {
            return;
        };
        self.alone = None;
        match self.off.iter().position(|off| *off == voice) {
            Some(place) => drop(self.off.remove(place)),
            None => self.off.push(voice),
        }
    }

    fn after_alone(&self) -> Option<Voice> {
        let voices = self.phrase.voices();
        let here = self
            .alone
            .and_then(|alone| voices.iter().position(|voice| *voice == alone));
        voices.get(here.map_or(0, |idx| idx + 1)).copied()
    }
}

fn counts(phrase: &Phrase, counting: Counting) -> Vec<String> {
    phrase
        .cycle
        .pulses()
        .map(|pulse| counting.name(phrase.cycle, pulse))
        .collect()
}

/// The item after `here`, round and round.
fn after<T: Copy + PartialEq>(all: &[T], here: T) -> T {
    let idx = all
        .iter()
        .position(|item| *item == here)
        .map_or(0, |idx| idx + 1);
    all.get(idx % all.len().max(1)).copied().unwrap_or(here)
}

fn other(here: Guide, wanted: Guide) -> Guide {
    if here == wanted { Guide::Every } else { wanted }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bench() -> Bench {
        Bench::new(Seed(3), None, Speakers::Full).expect("a first phrase")
    }

    fn claps_in(phrase: &Phrase, cycle: i64) -> Vec<i64> {
        let claps = phrase
            .notes
            .iter()
            .filter(|note| note.voice == Voice::Claps);
        let pulses = claps.map(|note| note.at.pulse_idx());
        pulses
            .filter(|idx| idx.div_euclid(6) == cycle)
            .map(|idx| idx % 6)
            .collect()
    }

    #[test]
    fn every_family_and_feel_can_be_set_up() {
        let mut bench = bench();
        for _ in Family::ALL {
            for _ in Feel::OPEN {
                assert_eq!(bench.phrase.feel, bench.feel);
                bench.step(Step::Feel);
            }
            let before = bench.family;
            bench.step(Step::Family);
            assert_ne!(bench.family, before);
        }
        assert_eq!(bench.family, Family::BassStrums);
    }

    #[test]
    fn every_cycle_can_be_set_up_in_every_family() {
        let mut bench = bench();
        for pattern in Pattern::all() {
            assert_eq!(bench.pattern, pattern);
            for _ in Family::ALL {
                let (phrase, family) = (&bench.phrase, bench.family);
                assert_eq!(phrase.cycle, pattern.cycle(), "{family:?} in {pattern:?}");
                assert_eq!(bench.counts.len(), pattern.cycle().n_pulses());
                bench.step(Step::Family);
                assert_ne!(bench.family, family, "in {pattern:?}");
            }
            for _ in Claps::ALL {
                bench.step(Step::Claps);
                let is_clapped = !claps_at(&bench.sounding()).is_empty();
                assert_eq!(is_clapped, bench.claps != Claps::None, "{:?}", bench.claps);
            }
            while bench.claps != Claps::None {
                bench.step(Step::Claps);
            }
            bench.step(Step::Pattern);
        }
        assert_eq!(bench.pattern, Pattern::SIX);
    }

    fn claps_at(phrase: &Phrase) -> Vec<i64> {
        let claps = phrase.notes.iter().filter(|n| n.voice == Voice::Claps);
        claps.map(|note| note.at.0).collect()
    }

    #[test]
    fn contra_claps_lie_between_the_counts() {
        let mut bench = bench();
        while bench.claps != Claps::Contra {
            bench.step(Step::Claps);
        }
        let at = claps_at(&bench.sounding());
        assert_eq!(at.len(), 4 * 6);
        assert!(at.iter().all(|tick| tick.rem_euclid(240) == 120), "{at:?}");
    }

    #[test]
    fn the_tempo_stays_in_its_range_and_the_notes_stay() {
        let mut bench = bench();
        let pitches = |bench: &Bench| {
            bench
                .phrase
                .notes
                .iter()
                .map(|n| n.pitch)
                .collect::<Vec<_>>()
        };
        let before = pitches(&bench);
        bench.step(Step::Faster);
        assert_eq!((bench.ppm, pitches(&bench)), (186, before));
        (0..30).for_each(|_| bench.step(Step::Faster));
        assert_eq!(bench.ppm, 260);
        (0..30).for_each(|_| bench.step(Step::Slower));
        assert_eq!(bench.ppm, 100);
    }

    #[test]
    fn voices_go_off_and_on_and_alone() {
        let mut bench = bench();
        let voices = |bench: &Bench| bench.sounding().voices();
        assert_eq!(voices(&bench), [Voice::Chords, Voice::Bass]);
        bench.step(Step::Voice(0));
        assert_eq!(voices(&bench), [Voice::Bass]);
        bench.step(Step::Voice(0));
        bench.step(Step::Alone);
        assert_eq!(voices(&bench), [Voice::Chords]);
        bench.step(Step::Alone);
        assert_eq!(voices(&bench), [Voice::Bass]);
        bench.step(Step::Alone);
        assert_eq!(voices(&bench), [Voice::Chords, Voice::Bass]);
        bench.step(Step::Voice(9));
        assert_eq!(voices(&bench), [Voice::Chords, Voice::Bass]);
    }

    #[test]
    fn a_guide_thins_out() {
        let mut bench = bench();
        bench.step(Step::Claps);
        assert_eq!(claps_in(&bench.sounding(), 3), [0, 3]);
        bench.step(Step::Guide);
        let clapped: Vec<bool> = (0..8)
            .map(|cycle| !claps_in(&bench.sounding(), cycle).is_empty())
            .collect();
        assert_eq!(
            clapped,
            [true, true, true, false, true, false, false, false]
        );
    }

    #[test]
    fn the_same_notes_are_heard_under_both_readings() {
        let mut bench = bench();
        bench.step(Step::BothReadings);
        let phrase = bench.sounding();
        assert_eq!(phrase.feel, Feel::Either);
        assert_eq!(claps_in(&phrase, 0), [0, 3]);
        assert!(claps_in(&phrase, 2).is_empty());
        assert_eq!(claps_in(&phrase, 4), [0, 2, 4]);
        assert!(claps_in(&phrase, 7).is_empty());
    }
}
