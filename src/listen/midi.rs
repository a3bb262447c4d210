//! What stands in a Standard MIDI File, in ticks: keys that are held, tempi, where its first cycle begins. What
//! is heard in it is none of its business.

use midly::{MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};

/// Why bytes are no notes.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
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
    /// It is cut off, and no note is in what is left.
    #[error("a MIDI file that is cut off before its first note")]
    CutOff,
    /// It is over before the first cycle should begin; its last note in seconds.
    #[error("a MIDI file of which the last note begins at {0:.3} s, before the first cycle does")]
    StartsLate(f64),
    /// More pulses than fit.
    #[error("a MIDI file of {0} pulses; at most {MOST_PULSES} are read")]
    TooLong(u64),
}

/// The most pulses that are read: a day of them, nearly.
pub(super) const MOST_PULSES: u64 = 200_000;
/// A note within so many seconds of a beginning that was asked for is meant by it: whoever reads a time
/// off a player or a list of events has it to a few hundredths (a round figure).
const NEAR: f64 = 0.05;
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
    pub(super) fn ticks(self, quarter: u16) -> f64 {
        4.0 * f64::from(quarter) * f64::from(self.of) / f64::from(self.whole)
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "ticks of a file stay below 2^52"
)]
pub(super) fn number(ticks: u64) -> f64 {
    ticks as f64
}

/// Whether a file ends before its last track does, or before that begins: parts have a name of four
/// bytes and a length of four, and the first says how many tracks follow ("Standard MIDI Files 1.0",
/// MIDI Manufacturers Association, 1988).
fn is_cut_off(bytes: &[u8]) -> bool {
    let n_told = bytes
        .get(10..12)
        .map_or(0, |n| u16::from_be_bytes([n[0], n[1]]));
    let mut n_tracks = 0;
    let mut rest = bytes;
    while let Some((head, inside)) = rest.split_first_chunk::<8>() {
        let [name @ .., a, b, c, d] = head;
        let length = u32::from_be_bytes([*a, *b, *c, *d]);
        n_tracks += u16::from(name == b"MTrk");
        let after = usize::try_from(length).ok().and_then(|n| inside.get(n..));
        match after {
            Some(after) => rest = after,
            None => return true,
        }
        if n_tracks >= n_told {
            // What may follow after the last track is none of its business.
            return false;
        }
    }
    true
}

/// A key that is held, in ticks.
pub(super) struct Held {
    pub(super) from: u64,
    pub(super) until: u64,
    pub(super) channel: u8,
    pub(super) key: u8,
    pub(super) velocity: u8,
}

/// What matters of a file, in ticks.
#[derive(Default)]
pub(super) struct Read {
    pub(super) held: Vec<Held>,
    /// Where tempi begin, and their microseconds a quarter note.
    tempi: Vec<(u64, u32)>,
    /// Where the first time signature stands.
    origin: Option<u64>,
    pub(super) end: u64,
    /// Ticks of a quarter note.
    pub(super) quarter: u16,
    pub(super) is_cut_off: bool,
}

impl Read {
    /// Reads a file.
    ///
    /// # Errors
    /// When it is no such file, or has no grid.
    pub(super) fn of(bytes: &[u8]) -> Result<Self, NotesError> {
        let smf = Smf::parse(bytes).map_err(|error| NotesError::NotMidi(error.to_string()))?;
        let Timing::Metrical(quarter) = smf.header.timing else {
            return Err(NotesError::Timecode);
        };
        let mut read = Self {
            quarter: quarter.as_int().max(1),
            is_cut_off: is_cut_off(bytes),
            ..Self::default()
        };
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
        Ok(read)
    }

    /// When its ticks sound.
    pub(super) fn clock(&self) -> Clock {
        Clock::of(&self.tempi, self.quarter)
    }

    /// The tick at which the first cycle begins: where it is said to, else where the first time
    /// signature stands that is not behind the last note, else at the beginning.
    pub(super) fn first_of_cycle(
        &self,
        start: Option<f64>,
        last: u64,
        clock: &Clock,
    ) -> Result<u64, NotesError> {
        let Some(start) = start else {
            return Ok(self.origin.filter(|at| *at <= last).unwrap_or(0));
        };
        let origin = self.begins_at(start, clock);
        if origin > last {
            return Err(NotesError::StartsLate(clock.seconds(number(last))));
        }
        Ok(origin)
    }

    /// The tick at which a cycle begins that should begin at `start` seconds: that of the nearest note
    /// where it is near.
    fn begins_at(&self, start: f64, clock: &Clock) -> u64 {
        let off = |held: &&Held| (clock.seconds(number(held.from)) - start).abs();
        let near = self.held.iter().filter(|held| off(held) <= NEAR);
        let nearest = near.min_by(|a, b| off(a).total_cmp(&off(b)));
        nearest.map_or_else(|| clock.tick(start), |held| held.from)
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
pub(super) struct Clock {
    /// Where tempi begin: tick, seconds, seconds a tick.
    stretches: Vec<(f64, f64, f64)>,
}

impl Clock {
    fn of(tempi: &[(u64, u32)], quarter: u16) -> Self {
        let a_tick = |micros: f64| micros * 1e-6 / f64::from(quarter);
        let mut stretches = vec![(0.0, 0.0, a_tick(500_000.0))];
        for (at, micros) in tempi {
            let (from, time, each) = stretches[stretches.len() - 1];
            let at = number(*at);
            stretches.push((at, time + (at - from) * each, a_tick(f64::from(*micros))));
        }
        Self { stretches }
    }

    /// Seconds of a tick from 0 on.
    pub(super) fn seconds(&self, tick: f64) -> f64 {
        let begun = self.stretches.partition_point(|(at, ..)| *at <= tick);
        let (from, time, each) = self.stretches[begun.max(1) - 1];
        time + (tick - from) * each
    }

    /// The tick from 0 on that sounds at a time, or nearest to it.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "rounded, from 0 on, and held at the largest number"
    )]
    fn tick(&self, seconds: f64) -> u64 {
        let begun = self
            .stretches
            .partition_point(|(_, time, _)| *time <= seconds);
        let (from, time, each) = self.stretches[begun.max(1) - 1];
        (from + (seconds - time) / each).round().max(0.0) as u64
    }
}
