//! Standard MIDI File, format 1: a tempo track, then one track a voice.

use midly::num::{u4, u7, u15, u24, u28};
use midly::{
    Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent, TrackEventKind,
};

use super::bars::{Bar, Barring, Bars, Beat, origin};
use crate::phrase::{Note, Phrase, Voice};
use crate::rhythm::{Tempo, Tick};

/// Acoustic guitar with nylon strings in General MIDI level 1: 25 counted from 1.
pub(super) const NYLON_GUITAR: u8 = 24;
/// Channel 10 counted from 1 carries the percussion of General MIDI.
const PERCUSSION: u8 = 9;

/// `phrase` as the bytes of a MIDI file. Strings play the nylon guitar, a channel a voice; knocks,
/// claps and bell are side stick, hand clap and cowbell of the percussion channel. A pickup has a
/// short bar with a time signature of its own. Notes end with the phrase at the latest, so that the
/// file can be looped, and a key that is struck again ends first.
pub fn midi(phrase: &Phrase, bars: Bars) -> Vec<u8> {
    let division = u15::try_from(480).expect("a small number");
    let mut file = Smf::new(Header::new(Format::Parallel, Timing::Metrical(division)));
    file.tracks.push(tempo_track(phrase, bars));
    for voice in phrase.voices() {
        file.tracks.push(voice_track(phrase, voice));
    }
    let mut bytes = Vec::new();
    file.write_std(&mut bytes)
        .expect("a vector takes every byte, and no track here comes near 4 GiB");
    bytes
}

/// The General MIDI key of a voice without pitch.
pub(super) fn percussion_key(voice: Voice) -> Option<u8> {
    match voice {
        Voice::Strike => Some(37),
        Voice::Claps => Some(39),
        Voice::Bell => Some(56),
        Voice::Bass | Voice::Chords | Voice::Line => None,
    }
}

/// The channel of a voice, from 0.
pub(super) fn channel(voice: Voice) -> u8 {
    match voice {
        Voice::Line => 0,
        Voice::Chords => 1,
        Voice::Bass => 2,
        Voice::Strike | Voice::Claps | Voice::Bell => PERCUSSION,
    }
}

/// Microseconds of a quarter note, whatever the time signature: two pulses.
fn micros_a_quarter(tempo: Tempo) -> u32 {
    let (minute, hundredths) = (6_000_000_000_u64, u64::from(tempo.hundredths()));
    let micros = (2 * 2 * minute + hundredths) / (2 * hundredths);
    u32::try_from(micros).expect("20 pulses a minute make 6,000,000")
}

fn tempo_track(phrase: &Phrase, bars: Bars) -> Track<'static> {
    let mut track = Timed::new(phrase);
    let begins = origin(phrase);
    let tempo = |tempo| {
        let micros = u24::try_from(micros_a_quarter(tempo)).expect("at most 6,000,000");
        MetaMessage::Tempo(micros)
    };
    track.meta(begins, tempo(phrase.pace.at(begins)));
    let within = begins..phrase.ends();
    for (at, changed) in phrase.pace.changes() {
        if *at > within.start && within.contains(at) {
            track.meta(*at, tempo(*changed));
        }
    }
    let bars = Barring::of(phrase, bars).bars(None);
    let mut last = None;
    for bar in &bars {
        let signature = time_signature(bar);
        if last != Some(signature) {
            track.meta(bar.begins, signature);
            last = Some(signature);
        }
    }
    track.finish()
}

fn time_signature(bar: &Bar) -> MetaMessage<'static> {
    let metre = bar.metre();
    // The lower number as a power of two, and MIDI clocks, 24 to the quarter, in what is clicked: a
    // dotted quarter where groups of three fit, else the beat.
    let (power, clocks) = match metre.beat {
        Beat::Quarter => (2, 24),
        Beat::Eighth if metre.beats.is_multiple_of(3) => (3, 36),
        Beat::Eighth => (3, 12),
    };
    MetaMessage::TimeSignature(metre.beats, power, clocks, 8)
}

fn voice_track(phrase: &Phrase, voice: Voice) -> Track<'static> {
    let mut track = Timed::new(phrase);
    let begins = origin(phrase);
    track.meta(begins, MetaMessage::TrackName(voice.name().as_bytes()));
    let on_channel = u4::try_from(channel(voice)).expect("a channel");
    let mut message = |at: Tick, message| {
        let channel = on_channel;
        track.push(at, TrackEventKind::Midi { channel, message });
    };
    if voice.is_strings() {
        let program = u7::try_from(NYLON_GUITAR).expect("a program");
        message(begins, MidiMessage::ProgramChange { program });
    }
    for held in held(phrase, voice) {
        let key = u7::try_from(held.key).unwrap_or(u7::max_value());
        let vel = u7::try_from(held.velocity).unwrap_or(u7::max_value());
        message(held.begins, MidiMessage::NoteOn { key, vel });
        let vel = u7::try_from(64).expect("a velocity");
        message(held.ends, MidiMessage::NoteOff { key, vel });
    }
    track.finish()
}

/// A key that is held.
struct Held {
    begins: Tick,
    ends: Tick,
    key: u8,
    velocity: u8,
}

/// The notes of a voice, a key struck once at a time: of two at once the louder stands.
fn held(phrase: &Phrase, voice: Voice) -> Vec<Held> {
    let key = |note: &Note| match (note.pitch, percussion_key(voice)) {
        (Some(pitch), None) => Some(pitch.0.min(127)),
        // A dull clap and a bright one are one key: General MIDI has one hand clap.
        (_, percussion) => percussion,
    };
    let end_of_all = phrase.ends();
    let mut found: Vec<Held> = phrase
        .notes
        .iter()
        .filter(|note| note.voice == voice && (phrase.begins()..end_of_all).contains(&note.at))
        .filter_map(|note| {
            Some(Held {
                begins: note.at,
                ends: note.at.after(note.length).min(end_of_all),
                key: key(note)?,
                velocity: note.loudness.velocity(),
            })
        })
        .collect();
    found.sort_by_key(|held| (held.key, held.begins, u8::MAX - held.velocity));
    found.dedup_by_key(|held| (held.key, held.begins));
    for idx in 1..found.len() {
        let (before, rest) = found.split_at_mut(idx);
        if let (Some(before), Some(next)) = (before.last_mut(), rest.first())
            && before.key == next.key
        {
            before.ends = before.ends.min(next.begins);
        }
    }
    found
}

/// A track under way: events at ticks of the phrase.
struct Timed {
    origin: Tick,
    ends: Tick,
    events: Vec<(Tick, TrackEventKind<'static>)>,
}

impl Timed {
    fn new(phrase: &Phrase) -> Self {
        Self {
            origin: origin(phrase),
            ends: phrase.ends(),
            events: Vec::new(),
        }
    }

    fn push(&mut self, at: Tick, kind: TrackEventKind<'static>) {
        self.events.push((at, kind));
    }

    fn meta(&mut self, at: Tick, message: MetaMessage<'static>) {
        self.push(at, TrackEventKind::Meta(message));
    }

    /// Puts the events in order, what ends before what begins, and ends with the phrase.
    fn finish(mut self) -> Track<'static> {
        self.meta(self.ends, MetaMessage::EndOfTrack);
        self.events.sort_by_key(|(at, kind)| (*at, rank(kind)));
        let mut last = self.origin;
        let mut track = Vec::with_capacity(self.events.len());
        for (at, kind) in self.events {
            let ticks = u32::try_from(at.against(last).0.max(0)).unwrap_or(u32::MAX);
            let delta = u28::try_from(ticks).unwrap_or(u28::max_value());
            track.push(TrackEvent { delta, kind });
            last = last.max(at);
        }
        track
    }
}

fn rank(kind: &TrackEventKind<'_>) -> u8 {
    match kind {
        TrackEventKind::Midi {
            message: MidiMessage::NoteOff { .. },
            ..
        } => 1,
        TrackEventKind::Midi {
            message: MidiMessage::NoteOn { .. },
            ..
        } => 2,
        TrackEventKind::Meta(MetaMessage::EndOfTrack) => 3,
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tempo_is_of_the_quarter_in_every_metre() {
        // 120 quarters a minute are 500,000 microseconds: Standard MIDI Files 1.0, 1988 (from
        // memory, computed); 240 pulses a minute are 120 quarters.
        let tempo = Tempo::of_pulses_a_minute(240).expect("a tempo");
        assert_eq!(micros_a_quarter(tempo), 500_000);
    }
}
