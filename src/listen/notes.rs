//! Standard MIDI Files as notes on a known grid of pulses.

use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};

use super::units::real;

/// Notes of a file, placed on its grid of pulses.
#[derive(Clone, Debug, Default)]
pub struct Notes {
    /// In order of their beginnings.
    pub(super) notes: Vec<NoteHeard>,
    /// Times of the pulses in seconds, from the first to the one after the last note's beginning.
    pub(super) pulses: Vec<f64>,
}

/// A note on the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoteHeard {
    /// Where it begins, in pulses from the first; negative before it.
    pub at: f64,
    /// How long it sounds, in pulses.
    pub length: f64,
    /// As MIDI numbers it; `None` of percussion.
    pub pitch: Option<f64>,
    /// Decibels against the loudest velocity.
    pub loudness: f64,
}

/// Why bytes are no notes.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotesError {
    /// It is no Standard MIDI File.
    #[error("no MIDI file: {0}")]
    NotMidi(String),
    /// It counts frames of film, which have no pulses.
    #[error("a MIDI file in frames of film; one that counts quarter notes was expected")]
    Timecode,
    /// No note in it.
    #[error("a MIDI file without a note")]
    NoNote,
    /// More pulses than fit.
    #[error("a MIDI file of {0} pulses; at most {MOST_PULSES} are read")]
    TooLong(u64),
}

/// The most pulses that are read: a day of them, nearly.
const MOST_PULSES: u64 = 200_000;
/// The channel of General MIDI's percussion, from 0.
const PERCUSSION: u8 = 9;

/// What a pulse is, as a share of a whole note: 1/8 when nothing else is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PulseNote {
    /// The upper number.
    of: u32,
    /// The lower number.
    whole: u32,
}

impl PulseNote {
    /// An eighth note.
    pub const EIGHTH: Self = Self { of: 1, whole: 8 };

    /// From a text such as `1/8` or `3/16`; `None` where it is none, or no share from 1/64 to 1.
    pub fn parse(text: &str) -> Option<Self> {
        let (of, whole) = text.split_once('/')?;
        let of = of.parse().ok().filter(|of| (1..=64).contains(of))?;
        let whole = whole
            .parse()
            .ok()
            .filter(|whole| (1..=64).contains(whole))?;
        (of <= whole).then_some(Self { of, whole })
    }

    /// Ticks of a pulse where a quarter note has so many.
    fn ticks(self, quarter: u16) -> f64 {
        4.0 * f64::from(quarter) * f64::from(self.of) / f64::from(self.whole)
    }
}

impl Notes {
    /// Reads a file; pulses are counted from its first time signature that is not at the end, or from
    /// its beginning where it has none.
    ///
    /// # Errors
    /// When it is no such file, has no grid, no note, or is too long.
    pub fn read(bytes: &[u8], pulse: PulseNote) -> Result<Self, NotesError> {
        let smf = Smf::parse(bytes).map_err(|error| NotesError::NotMidi(error.to_string()))?;
        let Timing::Metrical(quarter) = smf.header.timing else {
            return Err(NotesError::Timecode);
        };
        let read = Read::of(&smf);
        let per_pulse = pulse.ticks(quarter.as_int().max(1));
        let last = read.held.iter().map(|held| held.from).max();
        let last = last.ok_or(NotesError::NoNote)?;
        let origin = read.origin.filter(|at| *at <= last).unwrap_or(0);
        let at = |tick: u64| (number(tick) - number(origin)) / per_pulse;
        let n_pulses = at(last).max(0.0) + 7.0;
        if n_pulses > number(MOST_PULSES) {
            return Err(NotesError::TooLong(last));
        }
        let n_pulses = super::units::index(n_pulses);
        let tick_of = |pulse: usize| number(origin) + real(pulse) * per_pulse;
        let end = read.end.max(last);
        let begun = |k: &usize| tick_of(*k) < number(end) || at(last) + 0.2 > real(*k);
        let clock = Clock::of(&read.tempi, quarter.as_int());
        let pulses = (0..n_pulses)
            .filter(begun)
            .map(|k| clock.seconds(tick_of(k)));
        let note = |held: &Held| NoteHeard {
            at: at(held.from),
            length: (number(held.until) - number(held.from)) / per_pulse,
            pitch: (held.channel != PERCUSSION).then(|| f64::from(held.key)),
            loudness: 40.0 * (f64::from(held.velocity.max(1)) / 127.0).log10(),
        };
        let mut notes: Vec<NoteHeard> = read.held.iter().map(note).collect();
        notes.sort_by(|a, b| a.at.total_cmp(&b.at));
        Ok(Self {
            pulses: pulses.collect(),
            notes,
        })
    }

    /// The notes in order of their beginnings.
    pub fn each(&self) -> impl Iterator<Item = NoteHeard> {
        self.notes.iter().copied()
    }

    /// Times of the pulses in seconds.
    pub fn pulses(&self) -> &[f64] {
        &self.pulses
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "ticks of a file stay below 2^52"
)]
fn number(ticks: u64) -> f64 {
    ticks as f64
}

/// A key that is held, in ticks.
struct Held {
    from: u64,
    until: u64,
    channel: u8,
    key: u8,
    velocity: u8,
}

/// What matters of a file, in ticks.
#[derive(Default)]
struct Read {
    held: Vec<Held>,
    /// Where tempi begin, and their microseconds a quarter note.
    tempi: Vec<(u64, u32)>,
    /// Where the first time signature stands.
    origin: Option<u64>,
    end: u64,
}

impl Read {
    fn of(smf: &Smf<'_>) -> Self {
        let mut read = Self::default();
        for track in &smf.tracks {
            let mut now: u64 = 0;
            let mut open: Vec<Held> = Vec::new();
            for event in track {
                now = now.saturating_add(u64::from(event.delta.as_int()));
                match event.kind {
                    TrackEventKind::Meta(meta) => read.meta(now, meta),
                    TrackEventKind::Midi { channel, message } => {
                        read.message(now, channel.as_int(), message, &mut open);
                    }
                    _ => {}
                }
            }
            // What is never let go ends with its track.
            read.held
                .extend(open.into_iter().map(|held| Held { until: now, ..held }));
            read.end = read.end.max(now);
        }
        read.tempi.sort_by_key(|(at, _)| *at);
        read
    }

    fn meta(&mut self, now: u64, meta: MetaMessage<'_>) {
        match meta {
            MetaMessage::Tempo(micros) => self.tempi.push((now, micros.as_int().max(1))),
            MetaMessage::TimeSignature(..) => {
                self.origin = Some(self.origin.map_or(now, |at| at.min(now)));
            }
            _ => {}
        }
    }

    fn message(&mut self, now: u64, channel: u8, message: MidiMessage, open: &mut Vec<Held>) {
        let (key, velocity) = match message {
            MidiMessage::NoteOn { key, vel } => (key.as_int(), vel.as_int()),
            MidiMessage::NoteOff { key, .. } => (key.as_int(), 0),
            _ => return,
        };
        let same = |held: &Held| held.key == key && held.channel == channel;
        if let Some(at) = open.iter().position(same) {
            let held = open.remove(at);
            self.held.push(Held { until: now, ..held });
        }
        if velocity > 0 {
            open.push(Held {
                from: now,
                until: now,
                channel,
                key,
                velocity,
            });
        }
    }
}

/// When ticks sound; 120 quarter notes a minute where nothing is said.
struct Clock {
    /// Where tempi begin: tick, seconds, seconds a tick.
    stretches: Vec<(f64, f64, f64)>,
}

impl Clock {
    fn of(tempi: &[(u64, u32)], quarter: u16) -> Self {
        let a_tick = |micros: f64| micros * 1e-6 / f64::from(quarter.max(1));
        let mut stretches = vec![(0.0, 0.0, a_tick(500_000.0))];
        for (at, micros) in tempi {
            let (from, time, each) = stretches[stretches.len() - 1];
            let at = number(*at);
            stretches.push((at, time + (at - from) * each, a_tick(f64::from(*micros))));
        }
        Self { stretches }
    }

    /// Seconds of a tick from 0 on.
    fn seconds(&self, tick: f64) -> f64 {
        let begun = self.stretches.partition_point(|(at, ..)| *at <= tick);
        let (from, time, each) = self.stretches[begun.max(1) - 1];
        time + (tick - from) * each
    }
}
