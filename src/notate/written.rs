//! What a voice looks like on paper: bars of pieces that have a written value each.
//!
//! Read [`Piece`] first. Lengths are sixteenths, half a pulse; [`SIXTEENTH`] is one in ticks. Every
//! note that the generator writes begins on one. Lengths are those of writing, not of playing: up
//! to the next sixteenth, and a voice has one stroke at a time, so that a string which rings on is
//! written as far as the voice's next stroke.

use super::bars::Bar;
use crate::phrase::{Note, Phrase, Voice};
use crate::rhythm::{Group, TICKS_PER_PULSE, Tick};

/// A sixteenth in ticks.
pub(super) const SIXTEENTH: i64 = TICKS_PER_PULSE / 2;

/// A rest or chord of one written value, whole in its bar and its group.
pub(super) struct Piece<'a> {
    /// Sixteenths from the start of the bar.
    pub(super) at: i64,
    /// Sixteenths that it lasts.
    pub(super) len: i64,
    /// What sounds; nothing in a rest.
    pub(super) notes: &'a [Note],
    /// Whether it goes on from the piece before.
    pub(super) from_before: Join,
    /// Whether it goes on into the piece after.
    pub(super) into_next: Join,
}

/// Whether two pieces are one sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Join {
    Apart,
    Tied,
}

/// A written value: its name in MusicXML, and whether it has a dot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Value {
    pub(super) name: &'static str,
    pub(super) n_dots: u8,
}

/// All values that fit into a group of three pulses, longest first, with their sixteenths.
const VALUES: [(i64, Value); 5] = [
    (6, value("quarter", 1)),
    (4, value("quarter", 0)),
    (3, value("eighth", 1)),
    (2, value("eighth", 0)),
    (1, value("16th", 0)),
];

const fn value(name: &'static str, n_dots: u8) -> Value {
    Value { name, n_dots }
}

impl Piece<'_> {
    /// Its written value.
    pub(super) fn value(&self) -> Value {
        longest_within(self.len).1
    }

    /// How many beams it can have.
    fn n_beams(&self) -> usize {
        match self.len {
            _ if self.notes.is_empty() => 0,
            1 => 2,
            2 | 3 => 1,
            _ => 0,
        }
    }
}

fn longest_within(len: i64) -> (i64, Value) {
    let fits = VALUES
        .into_iter()
        .find(|(sixteenths, _)| *sixteenths <= len);
    fits.unwrap_or((1, value("16th", 0)))
}

/// What a voice plays at one time.
pub(super) struct Chord {
    begins: i64,
    ends: i64,
    notes: Vec<Note>,
}

/// The chords of a voice in order, in sixteenths from tick zero. A pitch stands once in a chord, the
/// louder of two.
pub(super) fn chords(phrase: &Phrase, voice: Voice) -> Vec<Chord> {
    let sixteenth = |tick: Tick| (tick.0 + SIXTEENTH / 2).div_euclid(SIXTEENTH);
    let within = sixteenth(phrase.begins())..sixteenth(phrase.ends());
    let mut notes: Vec<Note> = phrase
        .notes
        .iter()
        .filter(|note| note.voice == voice && within.contains(&sixteenth(note.at)))
        .copied()
        .collect();
    notes.sort_by_key(|n| {
        (
            sixteenth(n.at),
            n.pitch,
            i32::from(i16::MAX) - i32::from(n.loudness.0),
        )
    });
    notes.dedup_by_key(|note| (sixteenth(note.at), note.pitch));
    let groups: Vec<&[Note]> = notes
        .chunk_by(|a, b| sixteenth(a.at) == sixteenth(b.at))
        .collect();
    let begin = |notes: &[Note]| notes.first().map_or(within.end, |note| sixteenth(note.at));
    let chord = |(idx, notes): (usize, &&[Note])| {
        let begins = begin(notes);
        let longest = notes.iter().map(|note| i64::from(note.length.0)).max();
        let len = longest.map_or(1, |ticks| {
            (ticks + SIXTEENTH - 1).div_euclid(SIXTEENTH).max(1)
        });
        let next = groups.get(idx + 1).map_or(within.end, |next| begin(next));
        Chord {
            begins,
            ends: next.min(begins + len),
            notes: notes.to_vec(),
        }
    };
    groups.iter().enumerate().map(chord).collect()
}

/// The pieces of one bar: rests where nothing sounds, and no piece across the edge of a group, so
/// that the grouping can be read.
pub(super) fn pieces<'a>(chords: &'a [Chord], bar: &Bar) -> Vec<Piece<'a>> {
    let (begins, ends) = (bar.begins.0 / SIXTEENTH, bar.ends().0 / SIXTEENTH);
    let mut pieces = Vec::new();
    let mut last = begins;
    for chord in chords {
        let (from, to) = (chord.begins.max(begins), chord.ends.min(ends));
        if from < to {
            split(last - begins, from - begins, bar, None, &mut pieces);
            split(
                from - begins,
                to - begins,
                bar,
                Some((chord, begins)),
                &mut pieces,
            );
            last = to;
        }
    }
    split(last - begins, ends - begins, bar, None, &mut pieces);
    pieces
}

/// Splits a stretch into written values; `sounds` is the chord and the start of the bar.
fn split<'a>(
    mut from: i64,
    to: i64,
    bar: &Bar,
    sounds: Option<(&'a Chord, i64)>,
    pieces: &mut Vec<Piece<'a>>,
) {
    let group = sixteenths_a_group(bar);
    while from < to {
        let edge = (from.div_euclid(group) + 1) * group;
        let (len, _) = longest_within(to.min(edge) - from);
        let join = |joined: bool| if joined { Join::Tied } else { Join::Apart };
        pieces.push(Piece {
            at: from,
            len,
            notes: sounds.map_or(&[], |(chord, _)| &chord.notes),
            from_before: join(sounds.is_some_and(|(chord, bar)| chord.begins - bar < from)),
            into_next: join(sounds.is_some_and(|(chord, bar)| chord.ends - bar > from + len)),
        });
        from += len;
    }
}

fn sixteenths_a_group(bar: &Bar) -> i64 {
    match bar.group {
        Group::Two => 4,
        Group::Three => 6,
    }
}

/// The beams of each piece of a bar, the first over eighths and the second over sixteenths, in the
/// words of MusicXML: pieces are joined within a group, and rests part them.
pub(super) fn beams(pieces: &[Piece<'_>], bar: &Bar) -> Vec<Vec<&'static str>> {
    let group = sixteenths_a_group(bar);
    let joined = |a: Option<&Piece<'_>>, b: Option<&Piece<'_>>, level: usize| {
        a.zip(b).is_some_and(|(a, b)| {
            a.at / group == b.at / group && a.n_beams().min(b.n_beams()) >= level
        })
    };
    let of_piece = |idx: usize| {
        let here = pieces.get(idx);
        let before = idx.checked_sub(1).and_then(|idx| pieces.get(idx));
        let next = pieces.get(idx + 1);
        let ends = |level| (joined(before, here, level), joined(here, next, level));
        let n_beams = here.map_or(0, Piece::n_beams);
        let of_level = |level| match (ends(level), ends(1)) {
            ((false, true), _) => Some("begin"),
            ((true, true), _) => Some("continue"),
            ((true, false), _) => Some("end"),
            ((false, false), (true, _)) => Some("backward hook"),
            ((false, false), (false, true)) => Some("forward hook"),
            ((false, false), (false, false)) => None,
        };
        (1..=n_beams).filter_map(of_level).collect()
    };
    (0..pieces.len()).map(of_piece).collect()
}
