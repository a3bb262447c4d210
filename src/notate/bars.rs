//! How the cycles of a phrase are barred.

use crate::phrase::{Phrase, Row, Voice, rows};
use crate::rhythm::{Feel, Group, Layer, Tick};

/// How cycles become bars. Six pulses in threes are a bar of 6/8, in twos one of 3/4.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Bars {
    /// All in threes, whatever the feel: the file gives nothing away.
    #[default]
    Threes,
    /// All in twos, whatever the feel.
    Twos,
    /// As it is felt, which is the answer. Where the sides come in turn, every bar is as its voices
    /// lean together; where both sound at once, each voice is barred by its own side, and a MIDI
    /// file, which has one metre for all, is in threes. What leans nowhere is in threes.
    AsFelt,
}

impl Bars {
    /// All ways.
    pub const ALL: [Self; 3] = [Self::Threes, Self::Twos, Self::AsFelt];

    /// Its id in commands.
    pub fn id(self) -> &'static str {
        match self {
            Self::Threes => "threes",
            Self::Twos => "twos",
            Self::AsFelt => "felt",
        }
    }

    /// The way with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|bars| bars.id() == id)
    }
}

/// A time signature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Metre {
    /// The upper number.
    pub(super) beats: u8,
    /// Whether the lower number is 4 or 8.
    pub(super) beat: Beat,
}

/// What a time signature counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Beat {
    Quarter,
    Eighth,
}

/// A bar of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Bar {
    /// Its first tick in the phrase.
    pub(super) begins: Tick,
    /// How many pulses it has; fewer than a cycle in a pickup.
    pub(super) n_pulses: i64,
    /// What its pulses are gathered to.
    pub(super) group: Group,
    /// From 1; 0 is a pickup.
    pub(super) number: i64,
}

impl Bar {
    /// The time signature. Quarters need an even number of pulses.
    pub(super) fn metre(&self) -> Metre {
        let n_pulses = u8::try_from(self.n_pulses).expect("a cycle has at most 48 pulses");
        if self.group == Group::Two && n_pulses.is_multiple_of(2) {
            Metre {
                beats: n_pulses / 2,
                beat: Beat::Quarter,
            }
        } else {
            Metre {
                beats: n_pulses,
                beat: Beat::Eighth,
            }
        }
    }

    /// The first tick after it.
    pub(super) fn ends(&self) -> Tick {
        Tick(
            self.begins
                .0
                .saturating_add(Tick::of_pulse(self.n_pulses).0),
        )
    }
}

/// The first tick of the file: where a pickup begins, or the first count of the first cycle.
pub(super) fn origin(phrase: &Phrase) -> Tick {
    let n = n_cycle(phrase);
    if phrase.entry < 0 {
        phrase.begins()
    } else {
        Tick::of_pulse(phrase.entry.div_euclid(n) * n)
    }
}

/// What a phrase is barred by.
pub(super) struct Barring<'a> {
    phrase: &'a Phrase,
    bars: Bars,
    rows: Vec<Row>,
}

impl<'a> Barring<'a> {
    pub(super) fn of(phrase: &'a Phrase, bars: Bars) -> Self {
        Self {
            phrase,
            bars,
            rows: rows(phrase),
        }
    }

    /// The bars of one voice or, with `None`, of the whole: full ones, save a pickup in front.
    pub(super) fn bars(&self, voice: Option<Voice>) -> Vec<Bar> {
        let n = n_cycle(self.phrase);
        let entry = self.phrase.entry;
        // A pickup leads to the next first count; what comes in later lies in a cycle begun before.
        let first = if entry < 0 {
            -(-entry).div_euclid(n)
        } else {
            entry.div_euclid(n)
        };
        let after = -(-self.phrase.ends().pulse_idx()).div_euclid(n);
        let pickup = (entry < first * n).then(|| Bar {
            begins: Tick::of_pulse(entry),
            n_pulses: first * n - entry,
            group: self.group(voice, first),
            number: 0,
        });
        let whole = (first..after).map(|idx| Bar {
            begins: Tick::of_pulse(idx * n),
            n_pulses: n,
            group: self.group(voice, idx),
            number: idx - first + 1,
        });
        pickup.into_iter().chain(whole).collect()
    }

    /// The rows that were measured.
    pub(super) fn rows(&self) -> &[Row] {
        &self.rows
    }

    /// What a cycle of a voice, or of the whole, is gathered to.
    pub(super) fn group(&self, voice: Option<Voice>, cycle_idx: i64) -> Group {
        match (self.bars, self.phrase.feel) {
            (Bars::Threes, _) | (Bars::AsFelt, Feel::Threes | Feel::Either) => Group::Three,
            (Bars::Twos, _) | (Bars::AsFelt, Feel::Twos) => Group::Two,
            (Bars::AsFelt, Feel::Both) => self.own_side(voice).unwrap_or(Group::Three),
            (Bars::AsFelt, Feel::InTurn) => self.side_in_turn(cycle_idx),
            // Unequal groups have no metre of their own: what divides the cycle, or eighths.
            (Bars::AsFelt, Feel::Mixed) if n_cycle(self.phrase) % 3 == 0 => Group::Three,
            (Bars::AsFelt, Feel::Mixed) => Group::Two,
        }
    }

    fn own_side(&self, voice: Option<Voice>) -> Option<Group> {
        let row = self.rows.iter().find(|row| Some(row.voice) == voice)?;
        row.layer().and_then(side)
    }

    /// The side on which most voices are in this cycle of the loop.
    fn side_in_turn(&self, cycle_idx: i64) -> Group {
        let n_cycles = i64::from(self.phrase.n_cycles).max(1);
        let idx = usize::try_from(cycle_idx.rem_euclid(n_cycles)).expect("not negative");
        let sides = self.rows.iter().filter_map(|row| {
            let profile = row.cycles.get(idx)?;
            Row::standing_out(profile).and_then(side)
        });
        let (threes, twos): (Vec<Group>, Vec<Group>) = sides.partition(|s| *s == Group::Three);
        if twos.len() > threes.len() {
            Group::Two
        } else {
            Group::Three
        }
    }
}

/// The side that a layer is on: it has pulses that belong to one alone, and none of the other's.
fn side(layer: Layer) -> Option<Group> {
    let has = |own: usize, other: usize| {
        layer
            .pulses()
            .any(|pulse| pulse.idx().is_multiple_of(own) && !pulse.idx().is_multiple_of(other))
    };
    match (has(3, 2), has(2, 3)) {
        (true, false) => Some(Group::Three),
        (false, true) => Some(Group::Two),
        _ => None,
    }
}

fn n_cycle(phrase: &Phrase) -> i64 {
    i64::try_from(phrase.cycle.n_pulses()).expect("a cycle has at most 48 pulses")
}
