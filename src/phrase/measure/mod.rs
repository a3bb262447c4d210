//! Measures what the notes of a phrase state, voice by voice and cycle by cycle.
//!
//! It reads notes alone and knows nothing of what was meant. The phrase is taken as looping, in the
//! frame of its cycle: a pickup is the end of the cycle before. Only notes on a pulse are marks; what
//! fills the gaps does so alike everywhere, save the rolls that lead into a pulse.

mod line;
mod pulse;

use crate::accent::{Cue, Profile, size};
use crate::rhythm::{Cycle, Layer, TICKS_PER_PULSE};

use super::{Phrase, Touch, Voice};
use line::Tune;
use pulse::{OnPulse, is_upper, mean};

/// What one voice states.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The voice.
    pub voice: Voice,
    /// The cue that gave it most of its units.
    pub cue: Cue,
    /// Others that gave it nearly as many: the beginnings of a figure that comes again are its tops
    /// as well.
    pub also: Vec<Cue>,
    /// Its profile in each cycle.
    pub cycles: Vec<Profile>,
}

impl Row {
    /// Names this cue where it gave as many units as any other, or nearly.
    pub(super) fn name_after(&mut self, meant: Cue) {
        let named = self.also.iter_mut().find(|cue| **cue == meant);
        if let Some(named) = named {
            std::mem::swap(&mut self.cue, named);
        }
    }

    /// Its mean over the cycles.
    pub fn mean(&self) -> Profile {
        Profile::mean(&self.cycles).expect("a phrase has two cycles or more")
    }

    /// The pulses that stand out in it: those with at least half of the units of the strongest
    /// pulse that decides or, when none does, of the strongest. `None` when nothing stands out.
    pub fn layer(&self) -> Option<Layer> {
        Self::standing_out(&self.mean())
    }

    /// The pulses that stand out in one profile.
    pub fn standing_out(profile: &Profile) -> Option<Layer> {
        let units = profile.units();
        let most = |units: &[f64]| units.iter().copied().fold(0.0, f64::max);
        let deciding = most(units.get(1..).unwrap_or_default());
        let strongest = if deciding > HEARD {
            deciding
        } else {
            most(units)
        };
        let heard = |(_, value): &(i64, &f64)| **value > HEARD && **value >= strongest / 2.0;
        let pulses: Vec<i64> = (0..)
            .zip(units)
            .filter(heard)
            .map(|(pulse, _)| pulse)
            .collect();
        Layer::of(profile.cycle(), &pulses).ok()
    }
}

/// Units below which nothing stands out.
const HEARD: f64 = 0.12;

/// How many times stronger a chord tone must come back to begin to count as new.
const DOUBLED: f64 = 3.0;

/// The rows of all voices that sound, in the order of the rows on screen.
pub fn rows(phrase: &Phrase) -> Vec<Row> {
    let pulses = Pulses::gather(phrase);
    phrase
        .voices()
        .into_iter()
        .map(|voice| pulses.row(voice))
        .collect()
}

/// The pulses of a phrase in the frame of its cycle.
struct Pulses<'a> {
    cycle: Cycle,
    pulses: Vec<OnPulse<'a>>,
    /// Mean pitch of chords and line over the whole, for low notes that sound alone.
    middle: f64,
    tune: Tune,
}

impl<'a> Pulses<'a> {
    fn gather(phrase: &'a Phrase) -> Self {
        let n_cycles = usize::try_from(phrase.n_cycles).unwrap_or(0);
        let n_pulses = n_cycles * phrase.cycle.n_pulses();
        let mut pulses: Vec<OnPulse<'_>> = (0..n_pulses).map(|_| OnPulse::default()).collect();
        let loop_pulses = i64::try_from(n_pulses).unwrap_or(1).max(1);
        for note in &phrase.notes {
            // What is rolled leads into the next pulse, what stands between pulses is left out.
            let off = note.at.0.rem_euclid(TICKS_PER_PULSE);
            let leads = off != 0 && note.touch == Touch::Roll;
            if off != 0 && !leads {
                continue;
            }
            let idx = note.at.pulse_idx() + i64::from(leads);
            let pulse = usize::try_from(idx.rem_euclid(loop_pulses)).ok();
            match pulse.and_then(|idx| pulses.get_mut(idx)) {
                Some(pulse) if leads => pulse.roll.push(note),
                Some(pulse) => pulse.notes.push(note),
                None => {}
            }
        }
        let upper = phrase
            .notes
            .iter()
            .filter(|n| is_upper(n))
            .filter_map(|note| note.pitch);
        let middle = mean(upper.map(|pitch| f64::from(pitch.0))).unwrap_or(64.0);
        Self {
            cycle: phrase.cycle,
            pulses,
            middle,
            tune: Tune::of(phrase),
        }
    }

    fn row(&self, voice: Voice) -> Row {
        let n_cycle = self.cycle.n_pulses();
        let cues: Vec<Vec<(Cue, f64)>> = (0..self.pulses.len())
            .map(|idx| self.cues(voice, idx))
            .collect();
        let units = |cues: &Vec<(Cue, f64)>| cues.iter().fold(0.0, |sum, (_, units)| sum + units);
        let units: Vec<f64> = cues.iter().map(units).collect();
        let profile = |units| Profile::new(self.cycle, units).expect("finite units, one a pulse");
        // The first count belongs to every grouping, so what marks the others is what tells.
        let telling = cues
            .iter()
            .enumerate()
            .filter(|(idx, _)| idx % n_cycle != 0);
        let mut strongest_cues = strongest(telling.flat_map(|(_, cues)| cues));
        if strongest_cues.is_empty() {
            strongest_cues = strongest(cues.iter().flatten());
        }
        let mut strongest_cues = strongest_cues.into_iter();
        Row {
            voice,
            cue: strongest_cues.next().unwrap_or(Cue::Loudness),
            also: strongest_cues.collect(),
            cycles: units.chunks_exact(n_cycle).map(profile).collect(),
        }
    }

    /// What a voice does on a pulse, each cue with its units.
    fn cues(&self, voice: Voice, idx: usize) -> Vec<(Cue, f64)> {
        let Some(pulse) = self.pulses.get(idx) else {
            return Vec::new();
        };
        if pulse.of(voice).next().is_none() {
            return Vec::new();
        }
        let knock = |cue| vec![(cue, size::knock(pulse.over_guitar(voice)))];
        let mut cues = match voice {
            Voice::Strike => return knock(Cue::Strike),
            Voice::Claps => return knock(Cue::Clap),
            Voice::Bell => return knock(Cue::Bell),
            Voice::Bass => vec![(Cue::Bass, self.bass_units(pulse))],
            Voice::Chords => self.chord_cues(idx, pulse),
            Voice::Line => self.tune.cues(idx),
        };
        let over = pulse.guitar_db().map(|db| db - self.softer_half_db(idx));
        cues.push((Cue::Loudness, size::loudness(over.unwrap_or(0.0))));
        cues
    }

    fn chord_cues(&self, idx: usize, pulse: &OnPulse<'_>) -> Vec<(Cue, f64)> {
        let roll = pulse.roll_over_landing().map_or(0.0, size::knock);
        let before = self
            .before(idx)
            .and_then(OnPulse::stopped_over_ringing)
            .map_or(0.0, size::stopped);
        let here = pulse.stopped_over_ringing().map_or(0.0, size::stopped);
        vec![
            (Cue::Chord, self.chord_units(idx)),
            (Cue::Roll, roll),
            // After a stopped stroke a ringing one stands out.
            (Cue::Stopped, (before - here).max(0.0)),
        ]
    }

    fn bass_units(&self, pulse: &OnPulse<'_>) -> f64 {
        let low = pulse
            .mean_pitch(|note| note.voice == Voice::Bass)
            .unwrap_or(self.middle);
        let above = pulse.mean_pitch(is_upper).unwrap_or(self.middle);
        size::bass(
            above - low,
            pulse.over_rest(Voice::Bass, |note| note.voice.is_strings()),
        )
    }

    fn chord_units(&self, idx: usize) -> f64 {
        let before = self.before(idx).and_then(OnPulse::harmony);
        let here = self.pulses.get(idx).and_then(OnPulse::harmony);
        let (Some(before), Some(here)) = (before, here) else {
            return 0.0;
        };
        // A tone that was there already is not new because it is doubled now or stronger.
        let new = before
            .iter()
            .zip(&here)
            .map(|(before, here)| here - DOUBLED * before);
        size::chord(new.filter(|share| *share > 0.0).sum())
    }

    fn before(&self, idx: usize) -> Option<&OnPulse<'a>> {
        let last = self.pulses.len().checked_sub(1)?;
        self.pulses.get(idx.checked_sub(1).unwrap_or(last))
    }

    /// Mean loudness of the softer half of the guitar's strokes in the same cycle: no layer marks
    /// more than half of the pulses, so these are what a louder one stands out from.
    fn softer_half_db(&self, idx: usize) -> f64 {
        let n = self.cycle.n_pulses();
        let cycle = self.pulses.iter().skip(idx / n * n).take(n);
        let mut strokes: Vec<f64> = cycle.filter_map(OnPulse::guitar_db).collect();
        strokes.sort_by(f64::total_cmp);
        let half = strokes.len().div_ceil(2);
        mean(strokes.into_iter().take(half)).unwrap_or(0.0)
    }
}

/// How much a cue that all voices share weighs against a voice's own, where one is to be named.
const SHARED: f64 = 0.3;

/// The share of the most units from which on a cue gave nearly as many.
const NEARLY: f64 = 0.75;

/// The cue with the most units in all, and then those with nearly as many.
fn strongest<'c>(cues: impl Iterator<Item = &'c (Cue, f64)>) -> Vec<Cue> {
    let mut totals: Vec<(Cue, f64)> = Vec::new();
    for (cue, units) in cues.filter(|(_, units)| *units > 0.0) {
        match totals.iter_mut().find(|(known, _)| known == cue) {
            Some((_, total)) => *total += units,
            None => totals.push((*cue, *units)),
        }
    }
    // The hand's loudness is heard in every voice; what a voice does of its own is named before it.
    let weight = |(cue, units): &(Cue, f64)| match cue {
        Cue::Loudness => SHARED * units,
        _ => *units,
    };
    let most = totals.iter().map(weight).fold(0.0, f64::max);
    totals.retain(|total| weight(total) >= NEARLY * most);
    totals.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    totals.into_iter().map(|(cue, _)| cue).collect()
}
