//! What stands in the grid of a phrase.

use crate::notate::bars::Barring;
use crate::phrase::{Phrase, Row, Voice};
use crate::rhythm::{Feel, Layer, Pulse};

/// What is in a cell of the key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    /// Nothing sounds.
    Silent,
    /// A stroke that does not stand out.
    Stroke,
    /// It stands out; of a phrase in turn, on the side that comes first.
    First,
    /// It stands out on the other side of a phrase in turn.
    Other,
    /// It stands out on both sides of a phrase in turn.
    Always,
}

/// The cells of a phrase, a column for every pulse of a cycle, from the first that sounds.
pub(super) struct Grid {
    /// The pulse of the cycle that each column is.
    pub(super) counts: Vec<Pulse>,
    /// Whether anything sounds on it in any cycle.
    pub(super) sounds: Vec<bool>,
    /// A row for each voice that there can be.
    pub(super) rows: Vec<(Voice, Vec<Mark>)>,
}

/// The rows of every grid. The bell only shows the first count, and has none.
const VOICES: [Voice; 5] = [
    Voice::Line,
    Voice::Chords,
    Voice::Bass,
    Voice::Strike,
    Voice::Claps,
];

impl Grid {
    pub(super) fn of(phrase: &Phrase, barring: &Barring<'_>) -> Self {
        let n_pulses = phrase.cycle.n_pulses();
        let counts: Vec<Pulse> = (phrase.entry..)
            .take(n_pulses)
            .map(|idx| phrase.cycle.pulse_at(idx))
            .collect();
        let sounds_at = |pulse: Pulse, voice: Option<Voice>| {
            phrase.notes.iter().any(|note| {
                let is_asked = voice.is_none_or(|voice| voice == note.voice);
                is_asked && phrase.cycle.pulse_at(note.at.pulse_idx()) == pulse
            })
        };
        let rows = VOICES.into_iter().map(|voice| {
            let row = barring.rows().iter().find(|row| row.voice == voice);
            let standing_out = row.map(|row| StandingOut::of(phrase, row, barring));
            let marks = counts.iter().map(|pulse| match &standing_out {
                Some(layers) if sounds_at(*pulse, Some(voice)) => layers.mark(*pulse),
                _ => Mark::Silent,
            });
            (voice, marks.collect())
        });
        Self {
            sounds: counts.iter().map(|pulse| sounds_at(*pulse, None)).collect(),
            rows: rows.collect(),
            counts,
        }
    }
}

/// The layers that stand out in a voice, on each side of a phrase in turn.
struct StandingOut {
    first: Vec<Layer>,
    other: Vec<Layer>,
}

impl StandingOut {
    fn of(phrase: &Phrase, row: &Row, barring: &Barring<'_>) -> Self {
        if phrase.feel != Feel::InTurn {
            return Self {
                first: row.layer().into_iter().collect(),
                other: Vec::new(),
            };
        }
        let (mut first, mut other) = (Vec::new(), Vec::new());
        for (idx, profile) in (0..).zip(&row.cycles) {
            let is_first = barring.group(None, idx) == barring.group(None, 0);
            let side = if is_first { &mut first } else { &mut other };
            side.extend(Row::standing_out(profile));
        }
        Self { first, other }
    }

    fn mark(&self, pulse: Pulse) -> Mark {
        let has = |layers: &[Layer]| layers.iter().any(|layer| layer.contains(pulse));
        match (has(&self.first), has(&self.other)) {
            (true, true) => Mark::Always,
            (true, false) => Mark::First,
            (false, true) => Mark::Other,
            (false, false) => Mark::Stroke,
        }
    }
}
