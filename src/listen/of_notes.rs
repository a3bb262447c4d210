//! What notes on a grid say at each pulse.

use super::notes::{NoteHeard, Notes};
use super::stream::{Heard, Part, SHARE_LENGTHS, Shares, Stream, Tells, of_line};
use super::units::{index, quantile, real};

/// A note that begins within so much of a pulse begins on it.
const ON: f64 = 0.2;
/// Just noticeable differences: of loudness in decibels (Slade and others 2022: 0.7 to 1.2), of a
/// length in pulses, of sounding as a share of the gap, of pitch in semitones.
const LOUDNESS: f64 = 1.0;
const LENGTH: f64 = 0.5;
const HELD: f64 = 0.15;
const PITCH: f64 = 2.0;
/// The same for a change of pitch classes: of chords, of which few notes may change, and of single notes,
/// of which all of it does (starting values).
const HARMONY: f64 = 0.1;
const NOTE: f64 = 0.25;
/// The same for the notes of a roll (a starting value, tried on the program's own rasgueados).
const ROLLED: f64 = 0.3;
/// The same for whether a voice strikes at all, as a share of a stroke: that it does is plain (a starting
/// value, tried on the program's own phrases of two voices).
const STRUCK: f64 = 0.2;
/// The longest gap that counts, in pulses.
const LONGEST: f64 = 6.0;
/// Registers are told apart where so many pulses have notes at once.
const TOGETHER: f64 = 0.15;

/// From which leap on two notes in a row are heard as of two voices, in semitones, and from how much of all
/// steps on a single line is: above six or seven semitones fast notes come apart (van Noorden 1975, from
/// memory), as the basses of an arpeggio do from its upper strings.
const LEAP: f64 = 7.0;
const LEAPING: f64 = 0.4;

/// How much evidence counts: the streams of one line partly say the same, while low notes and knocks
/// are voices of their own with few streams; figures are certain.
const SHARES: Shares = Shares {
    parts: [0.9, 0.6, 0.3, 0.9],
    rests: 0.0,
    figures: 1.0,
    even: 1.0,
};
/// Of what says nothing that others of its part do: how loud notes are, how long they are held, and rolls.
const SHARE_ALONE: f64 = 0.9;

impl Notes {
    /// The streams of the notes.
    pub(super) fn heard(&self) -> Heard {
        let n = self.pulses.len();
        let mut at_pulse: Vec<Vec<&NoteHeard>> = vec![Vec::new(); n];
        for note in &self.notes {
            let near = note.at.round();
            if near >= 0.0 && (note.at - near).abs() < ON && index(near) < n {
                at_pulse[index(near)].push(note);
            }
        }
        let split = self.split(&at_pulse);
        let lead = line(&at_pulse, |pitch| pitch > split, f64::max);
        let chroma = chroma(&at_pulse);
        let harmony = if split > 0.0 { HARMONY } else { NOTE };
        let mut streams = vec![
            self.lengths(&at_pulse).counting(SHARE_LENGTHS),
            self.sounding(&at_pulse).counting(SHARE_ALONE),
            counts(&at_pulse),
            changes(Part::Middle, harmony, &chroma),
            self.rolls(&at_pulse).counting(SHARE_ALONE),
        ];
        for part in Part::ALL {
            let is_voice = part != Part::High || split > 0.0;
            streams.extend(loudness(&at_pulse, split, (part, is_voice)));
        }
        streams.extend(of_line(Part::High, &lead, PITCH));
        if split > 0.0 {
            let low = line(&at_pulse, |pitch| pitch <= split, f64::min);
            streams.push(Stream::new(Part::Low, Tells::Figure, PITCH, low));
        }
        Heard {
            shares: Shares {
                even: if self.is_a_line(split) {
                    SHARES.even
                } else {
                    0.0
                },
                ..SHARES
            },
            streams,
            begins: at_pulse
                .iter()
                .map(|notes| f64::from(u8::from(!notes.is_empty())))
                .collect(),
            runs_in: Vec::new(),
            low_beside: Vec::new(),
            lead,
        }
    }

    /// The pitch up to which notes are low ones; 0 of a single line, which has no registers.
    fn split(&self, at_pulse: &[Vec<&NoteHeard>]) -> f64 {
        let pitches: Vec<f64> = self.notes.iter().filter_map(|note| note.pitch).collect();
        let pitched = |notes: &&Vec<&NoteHeard>| notes.iter().filter(|n| n.pitch.is_some()).count();
        let struck = at_pulse.iter().filter(|notes| pitched(notes) > 0).count();
        let together = at_pulse.iter().filter(|notes| pitched(notes) > 1).count();
        if real(together) < TOGETHER * real(struck) && !is_leaping(at_pulse) {
            return 0.0;
        }
        0.5 * (quantile(&pitches, 0.05) + quantile(&pitches, 0.5))
    }

    /// Whether it is one melody, of which even runs tell how it is more often barred.
    fn is_a_line(&self, split: f64) -> bool {
        split == 0.0 && self.notes.iter().all(|note| note.pitch.is_some())
    }

    /// Pulses from one beginning to the next; none where nothing begins.
    fn lengths(&self, at_pulse: &[Vec<&NoteHeard>]) -> Stream {
        let begins: Vec<usize> = (0..at_pulse.len())
            .filter(|k| !at_pulse[*k].is_empty())
            .collect();
        let mut values = vec![Some(0.0); at_pulse.len()];
        for pair in begins.windows(2) {
            values[pair[0]] = Some(real(pair[1] - pair[0]).min(LONGEST));
        }
        if let Some(last) = begins.last() {
            let length = at_pulse[*last]
                .iter()
                .map(|note| note.length)
                .fold(1.0, f64::max);
            values[*last] = Some(length.min(LONGEST));
        }
        Stream::new(Part::High, Tells::Strength, LENGTH, values)
    }

    /// How much of the way to the next beginning notes sound: held against stopped.
    fn sounding(&self, at_pulse: &[Vec<&NoteHeard>]) -> Stream {
        let begins = self.lengths(at_pulse);
        let share = |(notes, gap): (&Vec<&NoteHeard>, &Option<f64>)| {
            let longest = notes.iter().map(|note| note.length).reduce(f64::max)?;
            let gap = (*gap)?.max(1.0);
            Some((longest / gap).clamp(0.0, 1.0))
        };
        let values = at_pulse.iter().zip(&begins.values).map(share).collect();
        Stream::new(Part::High, Tells::Figure, HELD, values)
    }

    /// How many notes run into each pulse on which one begins: a roll leads to where it lands.
    fn rolls(&self, at_pulse: &[Vec<&NoteHeard>]) -> Stream {
        let mut runs = vec![0.0; at_pulse.len()];
        for note in &self.notes {
            let lands = (note.at - ON).ceil();
            let run = runs.get_mut(index(lands));
            if let Some(run) = run.filter(|_| lands >= 0.0 && note.at < lands - ON) {
                *run += 1.0;
            }
        }
        let of_landing = |(run, notes): (f64, &Vec<&NoteHeard>)| (!notes.is_empty()).then_some(run);
        let values = runs.into_iter().zip(at_pulse).map(of_landing).collect();
        Stream::new(Part::Middle, Tells::Strength, ROLLED, values)
    }
}

/// Weights of the pitch classes that begin on each pulse. What rings on from before is no part of a new
/// harmony, and where nothing begins figures tell that already.
fn chroma(at_pulse: &[Vec<&NoteHeard>]) -> Vec<Option<[f64; 12]>> {
    let of = |notes: &Vec<&NoteHeard>| {
        let mut sums = [0.0; 12];
        for pitch in notes.iter().filter_map(|note| note.pitch) {
            sums[index(pitch) % 12] += 1.0;
        }
        weights(&sums)
    };
    at_pulse.iter().map(of).collect()
}

/// Whether a line leaps so often that it is heard as two.
fn is_leaping(at_pulse: &[Vec<&NoteHeard>]) -> bool {
    let line = line(at_pulse, |_| true, f64::max);
    let known: Vec<f64> = line.into_iter().flatten().collect();
    let leaps = known
        .windows(2)
        .filter(|pair| (pair[1] - pair[0]).abs() >= LEAP);
    real(leaps.count()) > LEAPING * real(known.len())
}

/// Sums as shares of their sum.
fn weights(sums: &[f64; 12]) -> Option<[f64; 12]> {
    let total: f64 = sums.iter().sum();
    (total > 1e-9).then(|| sums.map(|sum| sum / total))
}

/// Of the notes that begin on each pulse and lie where `belongs` says, the one that `choose` takes.
fn line(
    at_pulse: &[Vec<&NoteHeard>],
    belongs: impl Fn(f64) -> bool,
    choose: fn(f64, f64) -> f64,
) -> Vec<Option<f64>> {
    let of = |notes: &Vec<&NoteHeard>| {
        let pitches = notes.iter().filter_map(|note| note.pitch);
        pitches.filter(|pitch| belongs(*pitch)).reduce(choose)
    };
    at_pulse.iter().map(of).collect()
}

/// The part that a note belongs to; without registers all notes are the high line.
fn part_of(note: &NoteHeard, split: f64) -> Part {
    match note.pitch {
        None if note.is_low_drum => Part::Low,
        None => Part::Percussive,
        Some(pitch) if pitch <= split => Part::Low,
        Some(_) => Part::High,
    }
}

/// Whether a part strikes on each pulse, and how loud.
fn loudness(
    at_pulse: &[Vec<&NoteHeard>],
    split: f64,
    (part, is_voice): (Part, bool),
) -> Vec<Stream> {
    let loudest = |notes: &Vec<&NoteHeard>| {
        let own = notes.iter().filter(|note| part_of(note, split) == part);
        own.map(|note| note.loudness).reduce(f64::max)
    };
    let values: Vec<Option<f64>> = at_pulse.iter().map(loudest).collect();
    if values.iter().all(Option::is_none) {
        return Vec::new();
    }
    let struck = |value: &Option<f64>| Some(f64::from(u8::from(value.is_some())));
    let louder = Stream::new(part, Tells::Strength, LOUDNESS, values.clone());
    let mut streams = vec![louder.counting(SHARE_ALONE)];
    if is_voice {
        let struck = values.iter().map(struck).collect();
        streams.push(Stream::new(part, Tells::Strength, STRUCK, struck));
    }
    streams
}

/// How many notes begin together.
fn counts(at_pulse: &[Vec<&NoteHeard>]) -> Stream {
    let count = |notes: &Vec<&NoteHeard>| (!notes.is_empty()).then(|| real(notes.len()));
    let values = at_pulse.iter().map(count).collect();
    Stream::new(Part::Middle, Tells::Figure, 1.0, values)
}

/// How much the pitch classes change into each pulse, 0 to 1.
pub(super) fn changes(part: Part, unit: f64, chroma: &[Option<[f64; 12]>]) -> Stream {
    let mut values = vec![None; chroma.len()];
    for (at, pair) in chroma.windows(2).enumerate() {
        if let [Some(a), Some(b)] = pair {
            let cross: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
            let own = |row: &[f64; 12]| row.iter().map(|x| x * x).sum::<f64>();
            values[at + 1] = Some(1.0 - cross / (own(a) * own(b)).sqrt().max(1e-9));
        }
    }
    Stream::new(part, Tells::Strength, unit, values)
}
