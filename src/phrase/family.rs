//! Families of surfaces: what a phrase is made of, and by which cue it tells.

use crate::accent::Cue;
use crate::rhythm::Pattern;

/// A family of surfaces, and with it the cue that carries the grouping.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Low note, new chord and a louder stroke agree.
    Plain,
    /// Low note and new chord agree; no stroke is louder.
    BassChords,
    /// Strums over low notes; the low notes tell.
    BassStrums,
    /// Even strums; the changes of chord tell (harmonic rhythm).
    Chords,
    /// A broken chord; the thumb's depth tells.
    Arpeggio,
    /// A single line in even notes; the tops of its figures tell.
    Line,
    /// Even strums; the louder ones tell.
    Loudness,
    /// A single line; the longer notes tell.
    Length,
    /// Even strums; knocks on the guitar's top tell.
    Strike,
    /// Even strums; rolls (rasgueados) that land tell.
    Rasgueado,
    /// Even strums, some stopped by the hand; the strokes after them tell.
    Stopped,
    /// A single line in even notes; the held ones among short ones tell.
    Touch,
    /// A single line in even notes; a figure that comes again tells.
    Figures,
}

impl Family {
    /// All families.
    pub const ALL: [Self; 13] = [
        Self::Plain,
        Self::BassChords,
        Self::BassStrums,
        Self::Chords,
        Self::Arpeggio,
        Self::Line,
        Self::Loudness,
        Self::Length,
        Self::Strike,
        Self::Rasgueado,
        Self::Stopped,
        Self::Touch,
        Self::Figures,
    ];

    /// Its id in decks and files.
    pub fn id(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::BassChords => "bass-chords",
            Self::BassStrums => "bass-strums",
            Self::Chords => "chords",
            Self::Arpeggio => "arpeggio",
            Self::Line => "line",
            Self::Loudness => "loudness",
            Self::Length => "length",
            Self::Strike => "strike",
            Self::Rasgueado => "rasgueado",
            Self::Stopped => "stopped",
            Self::Touch => "touch",
            Self::Figures => "figures",
        }
    }

    /// Whether it can state what the pattern groups: a figure that comes again needs groups of one
    /// length, and tops, long and held notes and ringing strokes need something between two marks.
    pub fn can_state(self, pattern: Pattern) -> bool {
        let Some(marks) = pattern.marks() else {
            return true;
        };
        match self {
            Self::Figures => false,
            // Every note of it would come late where the first count is bare.
            Self::Length if !marks.contains(pattern.cycle().first()) => false,
            Self::Line | Self::Length | Self::Stopped | Self::Touch => !marks.gaps().contains(&1),
            _ => true,
        }
    }

    /// The cue by which it tells; `None` where several agree.
    pub fn cue(self) -> Option<Cue> {
        match self {
            Self::Plain | Self::BassChords => None,
            Self::BassStrums | Self::Arpeggio => Some(Cue::Bass),
            Self::Chords => Some(Cue::Chord),
            Self::Line => Some(Cue::Turn),
            Self::Loudness => Some(Cue::Loudness),
            Self::Length => Some(Cue::Length),
            Self::Strike => Some(Cue::Strike),
            Self::Rasgueado => Some(Cue::Roll),
            Self::Stopped => Some(Cue::Stopped),
            Self::Touch => Some(Cue::Held),
            Self::Figures => Some(Cue::Figure),
        }
    }

    /// The family with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|family| family.id() == id)
    }
}
