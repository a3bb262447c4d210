//! The kinds of question, one file each: what it asks of a phrase, what counts as right, and how a
//! miss is explained.

pub(super) mod catch_turn;
pub(super) mod clap_layer;
pub(super) mod find_start;
pub(super) mod fit_clapping;
pub(super) mod mark_accents;
pub(super) mod name_clapping;
pub(super) mod name_feel;
pub(super) mod name_voice;
pub(super) mod of_passage;
pub(super) mod two_hands;
pub(super) mod whose_stroke;

use crate::phrase::{Recipe, Turning};
use crate::quiz::judge::Place;
use crate::rhythm::Layer;

/// What is asked of a phrase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Name the feel.
    NameFeel,
    /// Find the start of the cycle.
    FindStart,
    /// Choose the clapping that fits.
    FitClapping,
    /// Clap a layer.
    Clap,
    /// Mark the accents.
    MarkAccents,
    /// Say what one voice does.
    NameVoice,
    /// Name the clapping.
    NameClapping,
    /// Catch the cycle in which it turns.
    CatchTurn,
    /// Say whose stroke was marked.
    WhoseStroke,
    /// Clap two layers, one with each hand.
    TwoHands,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 10] = [
        Self::NameFeel,
        Self::FindStart,
        Self::FitClapping,
        Self::Clap,
        Self::MarkAccents,
        Self::NameVoice,
        Self::NameClapping,
        Self::CatchTurn,
        Self::WhoseStroke,
        Self::TwoHands,
    ];

    /// Its id in decks and files.
    pub const fn id(self) -> &'static str {
        match self {
            Self::NameFeel => "name-feel",
            Self::FindStart => "find-start",
            Self::FitClapping => "fit-clapping",
            Self::Clap => "clap",
            Self::MarkAccents => "mark-accents",
            Self::NameVoice => "name-voice",
            Self::NameClapping => "name-clapping",
            Self::CatchTurn => "catch-turn",
            Self::WhoseStroke => "whose-stroke",
            Self::TwoHands => "two-hands",
        }
    }

    /// The kind with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.id() == id)
    }
}

/// How the start of a cycle is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum By {
    /// By saying on which count the phrase came in.
    Count,
    /// By tapping where the cycle begins, round after round.
    Taps,
}

/// In which cycles claps lead.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Guide {
    /// In all.
    Every,
    /// In the first half.
    Half,
    /// In the first alone.
    First,
    /// In none.
    None,
}

impl Guide {
    /// All guides, from the most to none.
    pub const ALL: [Self; 4] = [Self::Every, Self::Half, Self::First, Self::None];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::Every => "every",
            Self::Half => "half",
            Self::First => "first",
            Self::None => "none",
        }
    }

    /// The one that leads longer; `None` where claps lead all along.
    fn longer(self) -> Option<Self> {
        match self {
            Self::Every => None,
            Self::Half => Some(Self::Every),
            Self::First => Some(Self::Half),
            Self::None => Some(Self::First),
        }
    }
}

/// How the phrase goes on while it is clapped to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Course {
    /// As it is, to the end.
    Whole,
    /// The guitar rises from 9 dB below itself in the first cycle to itself in the last.
    Rising,
    /// Everything falls silent after the second cycle, for so many cycles, and comes back.
    Silent(u8),
}

impl Course {
    /// All courses.
    pub const ALL: [Self; 6] = [
        Self::Whole,
        Self::Rising,
        Self::Silent(1),
        Self::Silent(2),
        Self::Silent(4),
        Self::Silent(8),
    ];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::Whole => "whole",
            Self::Rising => "rising",
            Self::Silent(0 | 1) => "silent-1",
            Self::Silent(2 | 3) => "silent-2",
            Self::Silent(4..=7) => "silent-4",
            Self::Silent(_) => "silent-8",
        }
    }

    /// The cycles in which everything is silent: from this one, and before that one.
    pub fn silence(self) -> Option<(i64, i64)> {
        match self {
            Self::Whole | Self::Rising => None,
            Self::Silent(n) => Some((2, 2 + i64::from(n))),
        }
    }

    /// The fewest cycles that it needs: two to set the layer, and one to come back to.
    pub fn least_cycles(self) -> u32 {
        match self {
            Self::Whole | Self::Rising => 2,
            Self::Silent(n) => u32::from(n) + 3,
        }
    }
}

/// Whether a bell calls for a change while it is clapped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Call {
    /// None does.
    None,
    /// One does: another layer from the next cycle on, or one hand rests.
    Bell,
    /// One does: hands stop at the end of its cycle.
    Stop,
    /// The guitar does: it closes, hands stop with it, rest for a cycle, and go on when it does.
    Close,
}

impl Call {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::None, Self::Bell, Self::Stop, Self::Close];

    /// Its id in decks.
    pub fn id(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Bell => "bell",
            Self::Stop => "stop",
            Self::Close => "close",
        }
    }

    /// The fewest cycles that it needs: three before it, one to change in, and three.
    pub fn least_cycles(self) -> u32 {
        match self {
            Self::None => 2,
            Self::Bell | Self::Stop | Self::Close => 7,
        }
    }
}

/// Whose stroke falls on a pulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Owner {
    /// The threes' alone.
    Threes,
    /// The twos' alone.
    Twos,
    /// Both layers'.
    Both,
    /// Neither's.
    Neither,
}

impl Owner {
    /// All of them, in the order in which they are offered.
    pub const ALL: [Self; 4] = [Self::Threes, Self::Twos, Self::Both, Self::Neither];

    /// Its id in files.
    pub fn id(self) -> &'static str {
        match self {
            Self::Threes => "threes",
            Self::Twos => "twos",
            Self::Both => "both",
            Self::Neither => "neither",
        }
    }

    /// The owner with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|owner| owner.id() == id)
    }

    /// What it is called.
    pub fn words(self) -> &'static str {
        match self {
            Self::Threes => "the threes",
            Self::Twos => "the twos",
            Self::Both => "both",
            Self::Neither => "neither",
        }
    }
}

/// What a clapping is to fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Fits {
    /// What the strings of the guitar mark.
    Guitar,
    /// What the knocks on its top mark.
    Knocks,
}

/// A kind of question with all that it needs besides the phrase.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Form {
    /// Name the feel, among those of the recipe.
    NameFeel,
    /// Find the start of the cycle.
    FindStart(By),
    /// Choose the clapping that fits.
    FitClapping {
        /// The clappings from which two to four are offered, the right one among them.
        clappings: Vec<Layer>,
        /// What it is to fit.
        to: Fits,
    },
    /// Clap a layer.
    Clap {
        /// The layers of which one is to be clapped.
        layers: Vec<Layer>,
        /// On its pulses, or half-way after them.
        place: Place,
        /// In which cycles claps lead.
        guide: Guide,
        /// How the phrase goes on meanwhile.
        course: Course,
        /// Whether a bell calls for another of the layers.
        call: Call,
    },
    /// Mark the accents.
    MarkAccents {
        /// What may be accented.
        patterns: Vec<Layer>,
        /// What accents it.
        of: Fits,
    },
    /// Say what one of two voices does.
    NameVoice,
    /// Name the clapping among these.
    NameClapping(Vec<Layer>),
    /// Catch the cycle in which the phrase turns.
    CatchTurn(Turning),
    /// Say whose stroke was marked, both layers sounding.
    WhoseStroke,
    /// Clap two layers, one with each hand.
    TwoHands {
        /// The layers; which hand has which is drawn.
        layers: [Layer; 2],
        /// In which cycles claps lead.
        guide: Guide,
        /// Whether a bell calls for one hand to rest.
        call: Call,
    },
}

impl Form {
    /// The same with claps that lead longer; `None` where nothing is clapped, and where they lead all
    /// along.
    pub fn led_longer(&self) -> Option<Self> {
        let mut led = self.clone();
        match &mut led {
            Self::Clap { guide, .. } | Self::TwoHands { guide, .. } => *guide = guide.longer()?,
            _ => return None,
        }
        Some(led)
    }

    /// Its kind.
    pub fn kind(&self) -> Kind {
        match self {
            Self::NameFeel => Kind::NameFeel,
            Self::FindStart(_) => Kind::FindStart,
            Self::FitClapping { .. } => Kind::FitClapping,
            Self::Clap { .. } => Kind::Clap,
            Self::MarkAccents { .. } => Kind::MarkAccents,
            Self::NameVoice => Kind::NameVoice,
            Self::NameClapping(_) => Kind::NameClapping,
            Self::CatchTurn(_) => Kind::CatchTurn,
            Self::WhoseStroke => Kind::WhoseStroke,
            Self::TwoHands { .. } => Kind::TwoHands,
        }
    }

    /// How many answers are offered; 0 where the answer is tapped.
    pub fn alternatives(&self, recipe: &Recipe) -> u8 {
        let n = match self {
            Self::NameFeel => recipe.feels().len(),
            Self::FindStart(By::Count) => recipe.pattern().cycle().n_pulses(),
            Self::FindStart(By::Taps) | Self::Clap { .. } | Self::TwoHands { .. } => 0,
            Self::WhoseStroke => Owner::ALL.len(),
            // Of a set of marks a guess is hardly ever right, but for the sets that are in play.
            Self::MarkAccents { patterns, .. } => patterns.len(),
            Self::NameVoice => name_voice::CHOICES.len(),
            Self::NameClapping(clappings) => clappings.len().min(name_clapping::MOST_OFFERED),
            // Three cycles side by side are right.
            Self::CatchTurn(Turning::Once) => {
                usize::try_from(recipe.cycles().0.div_ceil(3).max(2)).unwrap_or(2)
            }
            // It comes neither in the first two cycles nor in the last, or not at all.
            Self::CatchTurn(Turning::Hemiola) => {
                usize::try_from(recipe.cycles().0.saturating_sub(2).max(2)).unwrap_or(2)
            }
            Self::FitClapping { clappings, .. } => clappings.len().min(fit_clapping::MOST_OFFERED),
        };
        u8::try_from(n).unwrap_or(u8::MAX)
    }
}
