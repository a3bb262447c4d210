//! What a picture is drawn from.

use ratatui::layout::Rect;

use crate::app::{ClapBy, Decks, Intent, Place, Playhead, SetUp};
use crate::phrase::Wish;
use crate::quiz::{AttemptId, Hearing, Reveal, Stage};
use crate::rhythm::Counting;

/// Everything that a picture shows, borrowed for one drawing.
pub(super) struct View<'a> {
    pub(super) place: &'a Place,
    pub(super) stage: Option<&'a Stage>,
    pub(super) playhead: Option<Playhead>,
    /// How every cycle is counted, where the learner chose that.
    pub(super) counting: Option<Counting>,
    /// Why nothing can be heard, when that is so.
    pub(super) no_sound: Option<&'a str>,
    /// What is known of the way from a sound to a tap.
    pub(super) set_up: SetUp,
    /// The name of the deck in hand.
    pub(super) deck: &'a str,
    /// Whether another one may be chosen.
    pub(super) decks: Decks,
    /// What the learner wishes of phrases.
    pub(super) wish: Wish,
    /// What claps are taken by.
    pub(super) claps_by: ClapBy,
    /// Whether there is a microphone to clap into.
    pub(super) has_ear: bool,
    /// Why the microphone is not listened to, where that was wanted.
    pub(super) deaf: Option<&'a str>,
    pub(super) advice: Advice,
    pub(super) here: &'a Here,
}

/// What is advised for ears and hands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Advice {
    None,
    /// How to set a safe loudness, before the first sitting.
    Loudness,
    /// To rest.
    Rest,
}

/// What the learner looks at: the state of the screen alone.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Here {
    pub(super) overlay: Overlay,
    /// The answered question to which the next two belong.
    attempt: Option<AttemptId>,
    /// The cycle of the grid that was turned to; `None` follows the sound.
    pub(super) cycle: Option<usize>,
    /// Which of the phrase's voices comes next when they are heard one by one, counted on without
    /// end.
    pub(super) voice: usize,
    /// Whether something glides while a layer is clapped.
    pub(super) picture: Picture,
}

/// Whether something glides while a layer is clapped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Picture {
    #[default]
    Shown,
    Hidden,
}

impl Picture {
    /// The other one.
    pub(super) fn turned(self) -> Self {
        match self {
            Self::Shown => Self::Hidden,
            Self::Hidden => Self::Shown,
        }
    }
}

/// What lies over the screen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Overlay {
    #[default]
    None,
    /// The help; its pages go round.
    Help {
        /// From 0, and on without end.
        page: usize,
    },
}

/// Which way to turn through the cycles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    Back,
    On,
}

impl Here {
    /// Forgets what belonged to another question.
    pub(super) fn look_at(&mut self, stage: Option<&Stage>) {
        let attempt = match stage {
            Some(Stage::Shown(shown)) => Some(shown.attempt.id),
            _ => None,
        };
        if attempt != self.attempt {
            *self = Self {
                attempt,
                overlay: self.overlay,
                picture: self.picture,
                ..Self::default()
            };
        }
    }

    /// Takes note of what is asked of the engine: what is heard is followed.
    pub(super) fn intends(&mut self, intent: Intent) {
        if let Intent::Hear(hearing) = intent {
            self.cycle = None;
            self.voice += usize::from(matches!(hearing, Hearing::Voice(_)));
        }
    }

    /// Turns to the cycle before or after `cycle`, of `n_cycles`, round and round.
    pub(super) fn turn(&mut self, turn: Turn, cycle: usize, n_cycles: usize) {
        let n_cycles = n_cycles.max(1);
        let step = match turn {
            Turn::Back => n_cycles - 1,
            Turn::On => 1,
        };
        self.cycle = Some((cycle + step) % n_cycles);
    }
}

impl View<'_> {
    /// The cycle that the grid of an answered question shows, from 0.
    pub(super) fn cycle(&self, reveal: &Reveal) -> usize {
        let sounding = self.playhead.map(|playhead| playhead.cycle.0);
        let cycle = self.here.cycle.or(sounding).unwrap_or(0);
        cycle.min(n_cycles(reveal).saturating_sub(1))
    }
}

/// How many cycles the grid of an answered question has.
pub(super) fn n_cycles(reveal: &Reveal) -> usize {
    let rows = reveal.rows.iter().chain(&reveal.you);
    rows.map(|row| row.cycles.len()).max().unwrap_or(1)
}

/// Whether the cycles of the grid differ, so that there is something to turn to.
pub(super) fn cycles_differ(reveal: &Reveal) -> bool {
    let mut rows = reveal.rows.iter().chain(&reveal.you);
    rows.any(|row| row.cycles.windows(2).any(|pair| pair[0] != pair[1]))
}

/// Whether the screen has room for the pictures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Room {
    Enough,
    TooSmall,
}

impl Room {
    /// The least columns and rows.
    pub(super) const LEAST: (u16, u16) = (60, 20);

    pub(super) fn of(area: Rect) -> Self {
        if area.width < Self::LEAST.0 || area.height < Self::LEAST.1 {
            Self::TooSmall
        } else {
            Self::Enough
        }
    }
}
