//! Standard MIDI Files as notes on their own grid of pulses, or counted at others.

use super::midi::{Held, MOST_PULSES, NotesError, PulseNote, Read, number};
use super::pulses::Pulses;
use super::units::{index, real};

/// Notes of a file, placed on its grid of pulses.
#[derive(Clone, Debug, Default)]
pub struct Notes {
    /// In order of their beginnings.
    pub(super) notes: Vec<NoteHeard>,
    /// Times of the pulses in seconds, from the first to the one after the last note's beginning.
    pub(super) pulses: Vec<f64>,
    /// Where the file was cut off, in seconds.
    cut_off: Option<f64>,
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
    /// Whether it is a low drum.
    pub(super) is_low_drum: bool,
    /// Decibels against the loudest velocity.
    pub loudness: f64,
    /// From when until when it sounds, in seconds of the file.
    seconds: [f64; 2],
}

/// From how many notes on it can be told whether they lie on a grid, and how far they then gather on it:
/// so many that lie anywhere gather so far on one of its four kinds of places once in a hundred pieces, by
/// the Rayleigh test, and players who mean it gather farther.
const FEW: f64 = 24.0;
const GATHERED: f64 = 0.5;
/// The channel of General MIDI's percussion, from 0.
const PERCUSSION: u8 = 9;
/// Its low drums: two bass drums, floor and low toms, the low ones of bongos, congas, timbales and the open
/// surdo (General MIDI level 1 and 2, from memory).
const LOW_DRUMS: [u8; 9] = [35, 36, 41, 43, 45, 61, 64, 66, 87];

impl Notes {
    /// Reads a file; pulses are counted from its first time signature that is not at the end, or from
    /// its beginning where it has none.
    ///
    /// # Errors
    /// When it is no such file, has no grid, no note, or is too long.
    pub fn read(bytes: &[u8], pulse: PulseNote) -> Result<Self, NotesError> {
        Self::read_from(bytes, pulse, None)
    }

    /// The same with the first cycle beginning so many seconds after the beginning of the file, on the
    /// note that begins there or nearby.
    ///
    /// # Errors
    /// As [`Notes::read`], and when no note begins so late.
    pub fn read_from(
        bytes: &[u8],
        pulse: PulseNote,
        start: Option<f64>,
    ) -> Result<Self, NotesError> {
        let read = Read::of(bytes)?;
        let per_pulse = pulse.ticks(read.quarter);
        let last = read.held.iter().map(|held| held.from).max();
        let last = last.ok_or(match read.is_cut_off {
            true => NotesError::CutOff,
            false => NotesError::NoNote,
        })?;
        let clock = read.clock();
        let origin = read.first_of_cycle(start, last, &clock)?;
        let at = |tick: u64| (number(tick) - number(origin)) / per_pulse;
        let n_pulses = at(last).max(0.0) + 7.0;
        if n_pulses > number(MOST_PULSES) {
            return Err(NotesError::TooLong(last));
        }
        let n_pulses = index(n_pulses);
        let tick_of = |pulse: usize| number(origin) + real(pulse) * per_pulse;
        let end = read.end.max(last);
        let begun = |k: &usize| tick_of(*k) < number(end) || at(last) + 0.2 > real(*k);
        let pulses = (0..n_pulses)
            .filter(begun)
            .map(|k| clock.seconds(tick_of(k)));
        let note = |held: &Held| NoteHeard {
            at: at(held.from),
            length: (number(held.until) - number(held.from)) / per_pulse,
            pitch: (held.channel != PERCUSSION).then(|| f64::from(held.key)),
            is_low_drum: held.channel == PERCUSSION && LOW_DRUMS.contains(&held.key),
            loudness: 40.0 * (f64::from(held.velocity.max(1)) / 127.0).log10(),
            seconds: [held.from, held.until].map(|tick| clock.seconds(number(tick))),
        };
        let mut notes: Vec<NoteHeard> = read.held.iter().map(note).collect();
        notes.sort_by(|a, b| a.at.total_cmp(&b.at));
        Ok(Self {
            pulses: pulses.collect(),
            notes,
            cut_off: read.is_cut_off.then(|| clock.seconds(number(end))),
        })
    }

    /// The same notes counted at other pulses, in seconds of the file. Beyond the first and the last the
    /// nearest gap goes on.
    pub fn counted_at(&self, pulses: &Pulses) -> Self {
        let times = pulses.times();
        let place = |time: f64| {
            let after = times.partition_point(|pulse| *pulse <= time);
            let after = after.clamp(1, times.len() - 1);
            let (from, until) = (times[after - 1], times[after]);
            real(after - 1) + (time - from) / (until - from)
        };
        let counted = |note: &NoteHeard| {
            let [at, until] = note.seconds.map(place);
            let length = until - at;
            NoteHeard {
                at,
                length,
                ..*note
            }
        };
        Self {
            notes: self.notes.iter().map(counted).collect(),
            pulses: times.to_vec(),
            cut_off: self.cut_off,
        }
    }

    /// Whether notes lie on its grid: on its pulses, or on their halves, thirds or quarters. Where they were
    /// played freely they lie anywhere. By how their places between pulses gather (the mean resultant length
    /// of circular statistics, Mardia and Jupp 2000, from memory); of few notes nothing can be told.
    pub fn are_on_grid(&self) -> bool {
        let n = real(self.notes.len());
        let gathered = |parts: f64| {
            let turn = |note: &NoteHeard| std::f64::consts::TAU * parts * note.at;
            let turns = self.notes.iter().map(turn);
            let sum = turns.fold((0.0, 0.0), |sum, turn| {
                (sum.0 + turn.cos(), sum.1 + turn.sin())
            });
            sum.0.hypot(sum.1) / n
        };
        n < FEW
            || [1.0, 2.0, 3.0, 4.0]
                .into_iter()
                .any(|parts| gathered(parts) > GATHERED)
    }

    /// Whether notes begin on every second pulse at most, all through, so that twos are all that can be heard:
    /// what was taken for the pulse may be half of one.
    pub fn leave_out_every_second(&self) -> bool {
        let on = |note: &NoteHeard| note.at.round().rem_euclid(2.0);
        let first = self.notes.first().map(on);
        real(self.notes.len()) >= FEW && self.notes.iter().all(|note| Some(on(note)) == first)
    }

    /// The notes in order of their beginnings.
    pub fn each(&self) -> impl Iterator<Item = NoteHeard> {
        self.notes.iter().copied()
    }

    /// Where the file was cut off, in seconds; `None` where it is whole.
    pub fn cut_off(&self) -> Option<f64> {
        self.cut_off
    }

    /// Times of the pulses in seconds.
    pub fn pulses(&self) -> &[f64] {
        &self.pulses
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listen::{Analysis, Answers, Lean};
    use crate::rhythm::Cycle;

    /// A part of a file: its name, its length, what is in it.
    fn part(name: &[u8; 4], inside: &[u8]) -> Vec<u8> {
        let length = u32::try_from(inside.len()).expect("short");
        [&name[..], &length.to_be_bytes(), inside].concat()
    }

    /// A file of one track, 96 ticks a quarter note at 120 of them a minute: an eighth before the
    /// first cycle, then cycles of six eighths that are strong and low on the first and the fourth.
    fn with_pickup(n_cycles: usize) -> Vec<u8> {
        let eighth = |key: u8, velocity: u8| [0, 0x90, key, velocity, 48, 0x80, key, 0];
        let strong = [eighth(40, 110), eighth(64, 60), eighth(67, 60)].concat();
        let mut track = eighth(64, 60).to_vec();
        for _ in 0..2 * n_cycles {
            track.extend(&strong);
        }
        track.extend([0, 0xff, 0x2f, 0]);
        [part(b"MThd", &[0, 0, 0, 1, 0, 96]), part(b"MTrk", &track)].concat()
    }

    #[test]
    fn an_even_line_leans_as_its_loud_notes_come_whatever_its_pitches_do() {
        for (group, lean) in [(3, Lean::Threes), (2, Lean::Twos)] {
            let keys = [64, 65, 67, 65, 64, 62, 60, 62];
            let note = |at: usize| {
                let velocity = if at.is_multiple_of(group) { 100 } else { 60 };
                let key = keys[at % keys.len()];
                [0, 0x90, key, velocity, 48, 0x80, key, 0]
            };
            let mut track: Vec<u8> = (0..96).flat_map(note).collect();
            track.extend([0, 0xff, 0x2f, 0]);
            let bytes = [part(b"MThd", &[0, 0, 0, 1, 0, 96]), part(b"MTrk", &track)].concat();
            let notes = Notes::read(&bytes, PulseNote::EIGHTH).expect("notes");
            let heard = Analysis::of_notes(&notes, Cycle::SIX, Answers::Open);
            assert_eq!(heard.whole.lean, lean);
            let n_so = heard.cycles.iter().filter(|cycle| cycle.said.lean == lean);
            assert!(n_so.count() >= 15, "{group}");
        }
    }

    #[test]
    fn a_first_cycle_begins_where_it_is_said_to() {
        let bytes = with_pickup(6);
        let read = |start| Notes::read_from(&bytes, PulseNote::EIGHTH, start);
        let first = |start| read(start).expect("notes").pulses()[0];
        assert_eq!((first(None), first(Some(0.25))), (0.0, 0.25));
        // A time read off something is that of the note that is meant; another is taken as it is.
        assert_eq!(first(Some(0.27)), 0.25);
        assert!((first(Some(0.375)) - 0.375).abs() < 1e-9);
        // The last of 37 eighths begins after 36 of them.
        assert_eq!(read(Some(99.0)).err(), Some(NotesError::StartsLate(9.0)));

        let notes = read(Some(0.25)).expect("notes");
        let analysis = Analysis::of_notes(&notes, Cycle::SIX, Answers::Open);
        assert_eq!(analysis.whole.lean, Lean::Threes);
        assert_eq!(analysis.cycles[1].start, 1.75);
    }

    #[test]
    fn notes_are_counted_at_other_pulses() {
        let bytes = with_pickup(6);
        let read = |start| Notes::read_from(&bytes, PulseNote::EIGHTH, start).expect("notes");
        let places = |notes: &Notes| -> Vec<[f64; 2]> {
            notes.each().map(|note| [note.at, note.length]).collect()
        };
        // At the pulses of a grid they lie as on that grid, the pickup before it.
        let (own, later) = (read(None), read(Some(0.25)));
        let pulses = Pulses::new(later.pulses().to_vec()).expect("rising");
        assert_eq!(places(&own.counted_at(&pulses)), places(&later));
        // By hand: eighths of a quarter of a second at pulses of half a second, and then of a quarter.
        let uneven = Pulses::new(vec![0.25, 0.75, 1.0]).expect("rising");
        let counted = own.counted_at(&uneven);
        assert_eq!(counted.pulses(), uneven.times());
        let at = [-0.5, 0.0, 0.5, 1.0, 2.0, 3.0];
        let lengths = [0.5, 0.5, 0.5, 1.0, 1.0, 1.0];
        for (place, expected) in places(&counted).iter().zip(at.into_iter().zip(lengths)) {
            assert_eq!((place[0], place[1]), expected);
        }
    }

    #[test]
    fn drums_are_heard_low_and_high() {
        // The same as drums: a bass drum on the strong ones, a closed hi-hat on the others, all as loud.
        let strong = [0x90, 40, 110];
        let drum = |event: &[u8]| match *event {
            [on, key, velocity] => {
                let drum = if key == 40 { 36 } else { 42 };
                [on | PERCUSSION, drum, velocity.min(1) * 90]
            }
            _ => strong,
        };
        let mut bytes = with_pickup(6);
        let ends = bytes.len() - 4;
        for event in bytes[22..ends].chunks_mut(4) {
            let played = drum(&event[1..]);
            event[1..].copy_from_slice(&played);
        }
        let notes = Notes::read_from(&bytes, PulseNote::EIGHTH, Some(0.25)).expect("notes");
        let analysis = Analysis::of_notes(&notes, Cycle::SIX, Answers::Open);
        assert_eq!(analysis.whole.lean, Lean::Threes);
        let struck = analysis.strengths[6].map(|strength| strength > 0.7);
        assert_eq!(struck, [true, false, false, false]);
    }

    #[test]
    fn notes_that_are_played_freely_do_not_lie_on_the_grid() {
        let on_grid = |bytes: &[u8]| {
            let notes = Notes::read(bytes, PulseNote::EIGHTH).expect("notes");
            notes.are_on_grid()
        };
        let bytes = with_pickup(6);
        assert!(on_grid(&bytes));
        // An eighth has 48 ticks: triplets of them, and others that are a seventh shorter.
        let of = |ticks: u8| -> Vec<u8> {
            let length = |byte: &u8| if *byte == 48 { ticks } else { *byte };
            let head = bytes[..22].to_vec();
            [head, bytes[22..].iter().map(length).collect()].concat()
        };
        assert!(on_grid(&of(32)));
        assert!(!on_grid(&of(41)));
        // Quarter notes leave out every second eighth, and no second quarter.
        let leaves_out = |pulse| {
            let notes = Notes::read(&of(96), pulse).expect("notes");
            notes.leave_out_every_second()
        };
        assert!(
            leaves_out(PulseNote::EIGHTH) && !leaves_out(PulseNote::parse("1/4").expect("a note"))
        );
        let eighths = Notes::read(&bytes, PulseNote::EIGHTH).expect("notes");
        assert!(!eighths.leave_out_every_second());
    }

    #[test]
    fn a_file_that_is_cut_off_says_where() {
        let bytes = with_pickup(6);
        let read = |n: usize| Notes::read(&bytes[..n], PulseNote::EIGHTH);
        assert_eq!(read(bytes.len()).expect("whole").cut_off(), None);
        // The head and the name of the track have 22 bytes, each eighth 8 and a quarter of a second.
        for n_eighths in [1_u8, 10, 36] {
            let cut = read(22 + 8 * usize::from(n_eighths)).expect("notes");
            let at = cut.cut_off().expect("cut off");
            assert!((at - 0.25 * f64::from(n_eighths)).abs() < 1e-9, "{at}");
        }
        for n in [14, 20, 24] {
            assert_eq!(read(n).err(), Some(NotesError::CutOff), "{n}");
        }
        // What follows after the last track is no part of it.
        let more = [&bytes[..], &b"XFIH"[..]].concat();
        let read = Notes::read(&more, PulseNote::EIGHTH);
        assert_eq!(read.expect("whole").cut_off(), None);
    }
}
