//! By what means an accent is heard.

/// A means by which a pulse stands out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cue {
    /// One note louder than its neighbours.
    Loudness,
    /// A low note under higher ones.
    Bass,
    /// A new chord.
    Chord,
    /// The top of a figure, from which the line comes down.
    Turn,
    /// A long note, the next one late.
    Length,
    /// A note held among short ones.
    Held,
    /// A figure that comes again.
    Figure,
    /// A rolled strum that lands (rasgueado).
    Roll,
    /// A ringing stroke after a stopped one.
    Stopped,
    /// A knock on the guitar's top.
    Strike,
    /// A clap.
    Clap,
    /// A small bell.
    Bell,
}

impl Cue {
    /// All cues.
    pub const ALL: [Self; 12] = [
        Self::Loudness,
        Self::Bass,
        Self::Chord,
        Self::Turn,
        Self::Length,
        Self::Held,
        Self::Figure,
        Self::Roll,
        Self::Stopped,
        Self::Strike,
        Self::Clap,
        Self::Bell,
    ];

    /// Its id on the command line and in the log.
    pub fn id(self) -> &'static str {
        match self {
            Self::Loudness => "loudness",
            Self::Bass => "bass",
            Self::Chord => "chord",
            Self::Turn => "top",
            Self::Length => "length",
            Self::Held => "held",
            Self::Figure => "figure",
            Self::Roll => "roll",
            Self::Stopped => "stopped",
            Self::Strike => "strike",
            Self::Clap => "clap",
            Self::Bell => "bell",
        }
    }

    /// The cue with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|cue| cue.id() == id)
    }

    /// What is heard, in words that go before "came on 1, 3 and 5".
    pub fn words(self) -> &'static str {
        match self {
            Self::Loudness => "the louder strokes",
            Self::Bass => "the low notes",
            Self::Chord => "the new chords",
            Self::Turn => "the tops of the line",
            Self::Length => "the long notes",
            Self::Held => "the held notes",
            Self::Figure => "the figure's beginnings",
            Self::Roll => "the rolled strums",
            Self::Stopped => "the strokes after a stopped one",
            Self::Strike => "the knocks",
            Self::Clap => "the claps",
            Self::Bell => "the bell",
        }
    }
}
