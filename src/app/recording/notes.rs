//! Notes of a MIDI file as the program's own guitar plays them, so that they are looked at, clapped to
//! and cut as a recording is.
//!
//! They are always played on a grid of eighth notes, so that a file has one sound, whatever is taken
//! for its pulse: times in it are the same for whoever cuts a passage and whoever practises it.

use std::io::Cursor;
use std::sync::Arc;

use crate::listen::{Analysis, Answers, Ear, Notes, NotesError, PulseNote, Pulses, Sound};
use crate::pcm::{Pcm, SampleRate, wav};
use crate::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use crate::rhythm::{Cycle, Feel, Pace, Tick, Ticks};
use crate::sound::render;
use crate::world::Seed;

const RATE: SampleRate = SampleRate::HZ_48000;
/// The longest that is played, in seconds; 16 bits of one channel of it are 100 megabytes.
const LONGEST: f64 = 1_200.0;
/// Ticks of a pulse.
const A_PULSE: f64 = 240.0;
/// Up to this pitch notes are the thumb's: the lowest two strings of the guitar, open.
const THUMBED: f64 = 47.0;
/// Decibels of the velocity of an ordinary stroke, 90, under the highest.
const ORDINARY: f64 = -6.0;
/// The highest peak, so that many notes at once are not cut off.
const PEAK: f32 = 0.9;

/// Why notes are not played.
#[derive(Debug, thiserror::Error)]
pub enum NotPlayed {
    /// They are none, or cannot be read.
    #[error(transparent)]
    Notes(#[from] NotesError),
    /// They go on for longer than is played.
    #[error("a MIDI file of {:.0} minutes; at most {:.0} are played", .0 / 60.0, LONGEST / 60.0)]
    TooLong(f64),
    /// They are no piece.
    #[error("a MIDI file of more than {0} bytes")]
    TooLarge(u64),
}

/// A MIDI file that is played, heard by its notes: what they say lies where they sound.
#[derive(Clone, Debug)]
pub struct Played {
    notes: Arc<Notes>,
    begins: f64,
}

impl Played {
    /// A file with this pulse, its first cycle beginning `start` seconds after the beginning of the file
    /// where that is said.
    ///
    /// # Errors
    /// When it cannot be read or is too long to be played.
    pub fn of(bytes: &[u8], pulse: PulseNote, start: Option<f64>) -> Result<Self, NotPlayed> {
        let begins = Score::of(bytes)?.begins;
        let notes = Arc::new(Notes::read_from(bytes, pulse, start)?);
        Ok(Self { notes, begins })
    }

    /// The time in the file at which its sound begins, in seconds.
    pub fn begins(&self) -> f64 {
        self.begins
    }

    /// Where the file was cut off, in seconds; `None` where it is whole.
    pub fn cut_off(&self) -> Option<f64> {
        self.notes.cut_off()
    }

    /// Whether its notes lie on its grid.
    pub fn is_on_grid(&self) -> bool {
        self.notes.are_on_grid()
    }

    /// Whether no note begins on every second of its pulses.
    pub(super) fn leaves_out_every_second(&self) -> bool {
        self.notes.leave_out_every_second()
    }

    /// Its pulses as they lie in its sound; nothing where it has fewer than two.
    pub fn pulses(&self) -> Option<Pulses> {
        let times = self.notes.pulses().iter().map(|time| time - self.begins);
        Pulses::new(times.filter(|time| *time >= 0.0).collect()).ok()
    }

    /// What its notes state at pulses in its sound.
    pub(super) fn analysis(&self, pulses: &Pulses, cycle: Cycle) -> Analysis {
        let notes = self.notes.counted_at(&pulses.moved(self.begins));
        let mut analysis = Analysis::of_notes(&notes, cycle, Answers::Open);
        let times = pulses.times();
        analysis.pulses = times.to_vec();
        let starts = times.iter().step_by(cycle.n_pulses());
        for (cycle, start) in analysis.cycles.iter_mut().zip(starts) {
            cycle.start = *start;
        }
        analysis
    }
}

/// The time in a MIDI file at which its sound begins, in seconds; nothing where it is not played.
pub fn sound_begins(bytes: &[u8]) -> Option<f64> {
    Score::of(bytes).ok().map(|score| score.begins)
}

/// What is heard of a MIDI file as it is played.
///
/// # Errors
/// When it cannot be read or is too long to be played.
pub fn heard_as_played(bytes: &[u8]) -> Result<Sound, NotPlayed> {
    let mut ear = Ear::new(RATE);
    ear.hear(&Score::of(bytes)?.samples());
    Ok(ear.finish())
}

/// The sound of a MIDI file as a WAV file of one channel.
///
/// # Errors
/// When it cannot be read or is too long to be played.
pub(super) fn sound_of_notes(bytes: &[u8]) -> Result<Vec<u8>, NotPlayed> {
    let samples = Score::of(bytes)?.samples();
    let pcm = Pcm::new(RATE, 1, samples).expect("what is rendered is finite");
    let mut out = Cursor::new(Vec::new());
    wav::write(&pcm, &mut out).expect("memory takes what is short enough for a WAV file");
    Ok(out.into_inner())
}

/// A MIDI file on its grid of eighth notes.
struct Score {
    notes: Notes,
    /// Pulses before the first of the grid on which notes begin.
    pickup: i64,
    /// The time in the file at which its sound begins, in seconds.
    begins: f64,
}

impl Score {
    fn of(bytes: &[u8]) -> Result<Self, NotPlayed> {
        let notes = Notes::read(bytes, PulseNote::EIGHTH)?;
        let times = notes.pulses();
        let first = times.first().copied().unwrap_or(0.0);
        let seconds = times.last().map_or(0.0, |last| last - first);
        if seconds > LONGEST {
            return Err(NotPlayed::TooLong(seconds));
        }
        let gap = times.get(1).map_or(0.25, |second| second - first);
        let earliest = notes.each().map(|note| note.at).fold(0.0, f64::min);
        let pickup = (-earliest).ceil().min(LONGEST);
        Ok(Self {
            begins: first - pickup * gap,
            pickup: whole(pickup),
            notes,
        })
    }

    /// As it is played, in one channel.
    fn samples(&self) -> Vec<f32> {
        let mut samples = render(&self.phrase(), RATE, Seed(0)).mono();
        let peak = samples.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
        if peak > PEAK {
            for sample in &mut samples {
                *sample *= PEAK / peak;
            }
        }
        samples
    }

    fn phrase(&self) -> Phrase {
        let times = self.notes.pulses();
        let gaps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let ends = self.notes.each().map(|note| note.at + note.length);
        let last = ends.fold(0.0, f64::max).min(LONGEST * 10.0);
        let n_pulses = self.pickup + whole(last.ceil());
        let n = Cycle::SIX.n_pulses();
        let mut notes: Vec<Note> = self.notes.each().map(|note| played(&note)).collect();
        notes.sort();
        Phrase {
            cycle: Cycle::SIX,
            pace: Pace::of_pulses(&gaps),
            n_cycles: u32::try_from(n_pulses)
                .unwrap_or(0)
                .div_ceil(u32::try_from(n).unwrap_or(6)),
            entry: -self.pickup,
            feel: Feel::Either,
            notes,
        }
    }
}

fn played(note: &crate::listen::NoteHeard) -> Note {
    let pitch = note.pitch.map(|pitch| Pitch(byte(pitch)));
    let (voice, touch) = match note.pitch {
        None => (Voice::Strike, Touch::Golpe),
        Some(pitch) if pitch <= THUMBED => (Voice::Bass, Touch::Thumb),
        Some(_) => (Voice::Line, Touch::Finger),
    };
    let length = (note.length * A_PULSE).clamp(1.0, 100.0 * A_PULSE);
    Note {
        at: Tick(whole(note.at * A_PULSE)),
        delay: 0,
        length: Ticks(u32::try_from(whole(length)).unwrap_or(1)),
        voice,
        pitch,
        loudness: Loudness(tenths(note.loudness - ORDINARY)),
        touch,
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the cast saturates")]
fn whole(x: f64) -> i64 {
    x.round() as i64
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to the keys of MIDI"
)]
fn byte(pitch: f64) -> u8 {
    pitch.clamp(0.0, 127.0) as u8
}

#[expect(clippy::cast_possible_truncation, reason = "clamped to what is heard")]
fn tenths(decibels: f64) -> i16 {
    (10.0 * decibels.clamp(-60.0, 6.0)).round() as i16
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::recording::{CycleFrom, Given, Progress, Source, hear};
    use crate::listen::Lean;
    use crate::notate;
    use crate::pcm::decode;

    /// Notes on these eighths, at 240 of them a minute.
    fn piece(at: &[i64]) -> Vec<u8> {
        let note = |at: &i64| Note {
            at: Tick::of_pulse(*at),
            delay: 0,
            length: Ticks(200),
            voice: Voice::Line,
            pitch: Some(Pitch(64)),
            loudness: Loudness(0),
            touch: Touch::Finger,
        };
        let phrase = Phrase {
            cycle: Cycle::SIX,
            pace: Pace::steady(crate::rhythm::Tempo::of_pulses_a_minute(240).expect("in range")),
            n_cycles: at
                .last()
                .map_or(1, |last| u32::try_from(last / 6 + 1).expect("small")),
            entry: 0,
            feel: Feel::Either,
            notes: at.iter().map(note).collect(),
        };
        notate::midi(&phrase, notate::Bars::Threes)
    }

    #[test]
    fn notes_sound_on_the_pulses_that_are_told() {
        let bytes = piece(&[0, 3, 6, 9, 12, 15, 18, 21]);
        let played = Played::of(&bytes, PulseNote::EIGHTH, None);
        let pulses = played.expect("a piece").pulses().expect("pulses");
        let wav = sound_of_notes(&bytes).expect("it is played");
        let mut played = decode::open(Cursor::new(wav), Some("wav")).expect("a recording");
        let mut mono = decode::Mono::of(played.n_channels(), played.rate());
        let mut samples = Vec::new();
        while let Some(block) = played.next_block() {
            samples.extend(mono.take(&block));
        }
        samples.extend(mono.rest());
        let energy = |from: f64, until: f64| -> f32 {
            let [from, until] = [from, until].map(|at| (at * 48_000.0) as usize);
            samples[from..until].iter().map(|x| x * x).sum()
        };
        for (at, time) in pulses.times().iter().enumerate().take(22) {
            let (before, after) = (
                energy((time - 0.02).max(0.0), *time),
                energy(*time, time + 0.02),
            );
            assert_eq!(
                after > 4.0 * before,
                at.is_multiple_of(3),
                "{at}: {before} {after}"
            );
        }
    }

    /// What is told on the screen is what is told in text, in its place in the sound.
    #[test]
    fn a_played_piece_is_heard_by_its_notes() {
        // Twos, and then threes.
        let twos = (0..8).flat_map(|cycle| [0, 2, 4].map(|at| 6 * cycle + at));
        let threes = (8..16).flat_map(|cycle| [0, 3].map(|at| 6 * cycle + at));
        let bytes = piece(&twos.chain(threes).collect::<Vec<i64>>());
        let notes = Notes::read(&bytes, PulseNote::EIGHTH).expect("a piece");
        let by_notes = Analysis::of_notes(&notes, Cycle::SIX, Answers::Open);
        let played = Played::of(&bytes, PulseNote::EIGHTH, None).expect("a piece");
        let pulses = played.pulses().expect("pulses");
        let begins = played.begins;
        let source = Source {
            name: "piece.mid".to_owned(),
            cycle: Cycle::SIX,
            cycle_from: CycleFrom::Usual,
            pulses: Some(Given::Times(pulses.clone())),
            notes: Some(played.clone()),
            place: None,
            beside: None,
            bytes: Arc::new(|| Ok(Box::new(Cursor::new(Vec::new())))),
            open: Arc::new(move || {
                let wav = sound_of_notes(&bytes).map_err(std::io::Error::other)?;
                decode::open(Cursor::new(wav), Some("wav"))
            }),
        };
        let heard = hear(&source, &Progress::default()).expect("it sounds");
        let said = |analysis: &Analysis| -> Vec<_> {
            let cycles = analysis.cycles.iter();
            cycles.map(|cycle| (cycle.said, cycle.parts)).collect()
        };
        assert_eq!(said(&heard.analysis), said(&by_notes));
        assert_eq!(heard.analysis.pulses, pulses.times());
        for (here, there) in heard.analysis.cycles.iter().zip(&by_notes.cycles) {
            assert!((here.start + begins - there.start).abs() < 1e-9);
        }
        // Where pulses are nudged a little, they say the same; at pulses that are not theirs, little.
        let at = |pulses: &Pulses| played.analysis(pulses, Cycle::SIX);
        assert_eq!(said(&at(&pulses.moved(0.02))), said(&by_notes));
        let other = Pulses::new(pulses.times().iter().map(|time| 1.37 * time).collect());
        let other = at(&other.expect("rising"));
        assert!(other.cycles.len() > 4, "{other:?}");
        assert_eq!(other.whole.lean, Lean::Unclear);
    }

    #[test]
    fn what_is_no_piece_is_refused() {
        assert!(matches!(sound_of_notes(b"MThd"), Err(NotPlayed::Notes(_))));
        let far = piece(&[0, 6 * 2_000]);
        assert!(matches!(sound_of_notes(&far), Err(NotPlayed::TooLong(_))));
    }
}
