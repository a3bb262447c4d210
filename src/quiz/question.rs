//! A question with its truth, and the verdict on an answer.

use std::slice;
use std::sync::Arc;

use crate::phrase::{Level, Measured, NoPhrase, Phrase, Recipe, Turning, Voice};
use crate::rhythm::{Counting, Feel, Layer, Pattern, Pulse};
use crate::world::Seed;

use super::hands::{Asked, answer, model_taps, played, sounding, timing, what_was_asked};
use super::kind::{
    catch_turn, clap_layer, find_start, fit_clapping, mark_accents, name_clapping, name_feel,
    name_voice, of_passage, two_hands, whose_stroke,
};
use super::passage::Passage;
use super::{Answer, By, Fits, Form, Hands, KeptTiming, Kind, Owner, Playing, Tap};

/// A measured phrase and what is asked of it. A question without a truth does not exist.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    pub(super) measured: Measured,
    pub(super) task: Task,
    /// What sounds in the stead of the phrase's own notes, where that is a recording.
    pub(super) passage: Option<Arc<Passage>>,
}

/// What is asked, in one variant with what may be answered.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Task {
    NameFeel {
        choices: Vec<Feel>,
    },
    FindStart {
        by: By,
    },
    FitClapping {
        choices: Vec<Layer>,
        truth: Layer,
        to: Fits,
    },
    Clap(Asked),
    MarkAccents {
        truth: Layer,
        of: Fits,
    },
    NameVoice {
        voice: Voice,
        truth: Feel,
    },
    NameClapping {
        choices: Vec<Layer>,
        truth: Layer,
    },
    CatchTurn {
        truth: Option<u8>,
        turning: Turning,
    },
    /// One pulse of the cycle is marked by the bell.
    WhoseStroke {
        pulse: Pulse,
    },
    TwoHands(Asked),
}

/// What a learner gave as the answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Given {
    /// One of the choices, from 0.
    Choice(usize),
    /// The pulses of the cycle that were marked, from 0.
    Marks(Vec<usize>),
    /// Taps, and what is known of the hands and their set-up.
    Taps(Vec<Tap>, Hands),
}

/// What an answer was, and whether it is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// What the given answer comes to.
    pub answer: Answer,
    /// Whether that is the truth.
    pub right: bool,
}

impl Question {
    /// Asks `form` of a fresh phrase of `recipe`. `lately` are the truths of the questions before
    /// it, the last one last: no truth is asked four times running.
    ///
    /// # Errors
    /// When the recipe has no phrase with one right answer at that level.
    pub fn ask(
        form: &Form,
        recipe: &Recipe,
        level: Level,
        lately: &[Answer],
        seed: Seed,
    ) -> Result<Self, NoPhrase> {
        let pattern = draw_pattern(recipe.patterns(), lately, seed);
        let is_one_of_several = recipe.patterns().len() > 1;
        let recipe = &recipe.in_pattern(pattern);
        match form {
            Form::NameFeel => name_feel::ask(recipe, level, lately, seed),
            Form::FindStart(by) => find_start::ask(recipe, level, *by, lately, seed),
            Form::FitClapping { clappings, to } => {
                fit_clapping::ask(recipe, level, clappings, *to, lately, seed)
            }
            Form::Clap {
                layers,
                place,
                guide,
                course,
                call,
            } => {
                // Of several patterns it is the grouping of the one that sounds.
                let own = pattern.marks().filter(|_| is_one_of_several);
                let terms = clap_layer::Terms {
                    layers: own.as_ref().map_or(layers, slice::from_ref),
                    place: *place,
                    guide: *guide,
                    course: *course,
                    call: *call,
                };
                clap_layer::ask(recipe, level, terms, lately, seed)
            }
            Form::MarkAccents { patterns, of } => {
                mark_accents::ask(recipe, level, patterns, *of, lately, seed)
            }
            Form::NameVoice => name_voice::ask(recipe, level, lately, seed),
            Form::NameClapping(clappings) => {
                name_clapping::ask(recipe, level, clappings, lately, seed)
            }
            Form::CatchTurn(turning) => catch_turn::ask(recipe, level, *turning, (lately, seed)),
            Form::WhoseStroke => whose_stroke::ask(recipe, level, lately, seed),
            Form::TwoHands {
                layers,
                guide,
                call,
            } => two_hands::ask(recipe, level, *layers, (*guide, *call), lately, seed),
        }
    }

    /// A question of a phrase that was made.
    pub(super) fn made(measured: Measured, task: Task) -> Self {
        Self {
            measured,
            task,
            passage: None,
        }
    }

    /// Asks `form` of a passage of a recording, its truth being what a person marked. `passages` are
    /// those among which the form tells apart; `None` where this one cannot be asked so.
    pub fn of_passage(
        form: &Form,
        passage: &Arc<Passage>,
        passages: &[Arc<Passage>],
        lately: &[Answer],
        seed: Seed,
    ) -> Option<Self> {
        of_passage::ask(form, passage, passages, lately, seed)
    }

    /// The recording that sounds under the claps of [`Question::sounds`], where it is one.
    pub fn passage(&self) -> Option<&Arc<Passage>> {
        self.passage.as_ref()
    }

    /// What was asked about, in one line that reads without whatever made it.
    pub(super) fn line(&self) -> String {
        match &self.passage {
            Some(passage) => passage.line(),
            None => self.measured.line(),
        }
    }

    /// The phrase with its measure.
    pub fn measured(&self) -> &Measured {
        &self.measured
    }

    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        self.measured.phrase()
    }

    /// Its kind.
    pub fn kind(&self) -> Kind {
        match self.task {
            Task::NameFeel { .. } => Kind::NameFeel,
            Task::FindStart { .. } => Kind::FindStart,
            Task::FitClapping { .. } => Kind::FitClapping,
            Task::Clap(_) => Kind::Clap,
            Task::MarkAccents { .. } => Kind::MarkAccents,
            Task::NameVoice { .. } => Kind::NameVoice,
            Task::NameClapping { .. } => Kind::NameClapping,
            Task::CatchTurn { .. } => Kind::CatchTurn,
            Task::WhoseStroke { .. } => Kind::WhoseStroke,
            Task::TwoHands(_) => Kind::TwoHands,
        }
    }

    /// What is true.
    pub fn truth(&self) -> Answer {
        match &self.task {
            Task::NameFeel { .. } => Answer::Feel(self.phrase().feel),
            Task::FindStart { by } => find_start::truth(self.phrase(), *by),
            Task::FitClapping { truth, .. } => Answer::Clapping(*truth),
            Task::Clap(asked) | Task::TwoHands(asked) => asked.truth(),
            Task::MarkAccents { truth, .. } => Answer::Marks(Some(*truth)),
            Task::NameVoice { truth, .. } => Answer::Feel(*truth),
            Task::NameClapping { truth, .. } => Answer::Clapping(*truth),
            Task::CatchTurn { truth, .. } => Answer::Turn(*truth),
            Task::WhoseStroke { pulse } => {
                Answer::Owner(whose_stroke::owner(*pulse, self.phrase()))
            }
        }
    }

    /// The number by which an answer that is offered is chosen: its place from 1, but where the answers
    /// are counts, the count, and where they are cycles, the cycle, and 0 for none of them.
    pub fn choice_number(&self, idx: usize, counting: Counting) -> usize {
        let cycle = self.phrase().cycle;
        match &self.task {
            Task::FindStart { .. } => {
                let pulse = cycle.pulse_at(i64::try_from(idx).unwrap_or(0));
                counting.number(cycle, pulse)
            }
            Task::CatchTurn { .. } if idx == 0 => 0,
            _ => idx + 1,
        }
    }

    /// The answers that are offered, in words; empty where the answer is tapped.
    pub fn choices(&self, counting: Counting) -> Vec<String> {
        match &self.task {
            Task::NameFeel { choices } => choices.iter().map(|f| f.words().to_owned()).collect(),
            Task::FindStart { by: By::Count } => find_start::choices(self.phrase(), counting),
            Task::FindStart { by: By::Taps } | Task::Clap(_) | Task::TwoHands(_) => Vec::new(),
            Task::MarkAccents { .. } => Vec::new(),
            Task::NameVoice { .. } => name_voice::CHOICES.map(|f| f.words().to_owned()).to_vec(),
            Task::NameClapping { choices, .. } => {
                let words = |layer: &Layer| format!("on {}", counting.list(*layer));
                choices.iter().map(words).collect()
            }
            Task::CatchTurn { turning, .. } => catch_turn::choices(self.phrase(), *turning),
            Task::WhoseStroke { .. } => Owner::ALL.map(|owner| owner.words().to_owned()).to_vec(),
            Task::FitClapping { choices, .. } => fit_clapping::choices(choices.len()),
        }
    }

    /// Whether the answer is tapped.
    pub fn is_tapped(&self) -> bool {
        matches!(self.task, Task::FindStart { by: By::Taps }) || self.ends_with_its_sound()
    }

    /// Whether counts are marked on the cycle.
    pub fn is_marked(&self) -> bool {
        matches!(self.task, Task::MarkAccents { .. })
    }

    /// Whether it is clapped along with, and judged when the sound ends.
    pub fn ends_with_its_sound(&self) -> bool {
        self.asked().is_some()
    }

    /// Taps that do all that is asked of hands, exactly; empty where nothing is clapped. A rehearsal of
    /// the program claps by them.
    pub fn model_taps(&self) -> Vec<Tap> {
        let taps = self.asked().map(|asked| model_taps(self.phrase(), asked));
        taps.unwrap_or_default()
    }

    /// What is asked of hands, where they are to clap along.
    pub(super) fn asked(&self) -> Option<&Asked> {
        match &self.task {
            Task::Clap(asked) | Task::TwoHands(asked) => Some(asked),
            _ => None,
        }
    }

    /// How taps that were given lay, where that can be said.
    pub(super) fn timing(&self, given: &Given) -> Option<KeptTiming> {
        let (Some(asked), Given::Taps(taps, hands @ Hands::Tuned(_))) = (self.asked(), given)
        else {
            return None;
        };
        timing(&played(self.phrase(), asked, taps, *hands))
    }

    /// How often it sounds: round and round where taps end it, else once through.
    pub fn playing(&self) -> Playing {
        match self.task {
            Task::FindStart { by: By::Taps } => Playing::Round,
            _ => Playing::Once,
        }
    }

    /// What is asked, in one sentence.
    pub fn asks(&self, counting: Counting) -> String {
        let text = match &self.task {
            Task::Clap(asked) | Task::TwoHands(asked) => return what_was_asked(asked, counting),
            Task::MarkAccents {
                of: Fits::Guitar, ..
            } => "Mark the counts on which the guitar leans, and no others.",
            Task::MarkAccents {
                of: Fits::Knocks, ..
            } => "Mark the counts on which the hand knocks, and no others.",
            Task::NameVoice { voice, .. } => name_voice::asks(*voice),
            Task::NameClapping { .. } => "On which counts do the hands clap?",
            Task::CatchTurn {
                turning: Turning::Once,
                ..
            } => "In which cycle does it turn from one side to the other?",
            Task::CatchTurn {
                turning: Turning::Hemiola,
                ..
            } => "In which cycle do three twos take the place of two threes?",
            Task::WhoseStroke { .. } => {
                "Threes and twos sound together. Whose stroke falls where the bell rings?"
            }
            Task::NameFeel { .. } if self.passage.is_some() => "What does it lean to?",
            Task::NameFeel { .. } => "How does it group?",
            Task::FitClapping { .. } if self.passage.is_some() => {
                "Which clapping goes with the recording?"
            }
            Task::FindStart { by: By::Count } => "On which count did it come in?",
            Task::FindStart { by: By::Taps } => {
                "It goes round and round. Tap where the cycle begins, each time round."
            }
            Task::FitClapping {
                to: Fits::Guitar, ..
            } => "Which clapping fits the guitar?",
            Task::FitClapping {
                to: Fits::Knocks, ..
            } => "Which clapping goes with the knocks?",
        };
        text.to_owned()
    }

    /// What sounds: one phrase, or the same phrase under each clapping in the order offered.
    pub fn sounds(&self) -> Vec<Phrase> {
        match &self.task {
            Task::FitClapping { choices, .. } => fit_clapping::sounds(self.phrase(), choices),
            Task::Clap(asked) | Task::TwoHands(asked) => vec![sounding(self.phrase(), asked)],
            Task::WhoseStroke { pulse } => vec![whose_stroke::sound(self.phrase(), *pulse)],
            Task::NameClapping { truth, .. } => {
                let level = self.measured.level();
                vec![name_clapping::sound(self.phrase(), *truth, level)]
            }
            Task::NameFeel { .. }
            | Task::FindStart { .. }
            | Task::MarkAccents { .. }
            | Task::NameVoice { .. }
            | Task::CatchTurn { .. } => vec![self.phrase().clone()],
        }
    }

    /// Judges what was given; `None` when it is no answer to this question: a choice that is not
    /// offered, or taps where a choice is asked.
    pub fn judge(&self, given: &Given) -> Option<Verdict> {
        let answer = match (&self.task, given) {
            (Task::NameFeel { choices }, Given::Choice(idx)) => Answer::Feel(*choices.get(*idx)?),
            (Task::FindStart { by: By::Count }, Given::Choice(idx)) => {
                find_start::counted(self.phrase(), *idx)?
            }
            (Task::FindStart { by: By::Taps }, Given::Taps(taps, _)) => {
                find_start::tapped(self.phrase(), taps)
            }
            (Task::Clap(asked) | Task::TwoHands(asked), Given::Taps(taps, hands)) => {
                answer(&played(self.phrase(), asked, taps, *hands))
            }
            (Task::MarkAccents { .. }, Given::Marks(pulses)) => {
                let cycle = self.phrase().cycle;
                let pulses: Option<Vec<i64>> =
                    pulses.iter().map(|idx| i64::try_from(*idx).ok()).collect();
                Answer::Marks(Layer::of(cycle, &pulses?).ok())
            }
            (Task::NameVoice { .. }, Given::Choice(idx)) => {
                Answer::Feel(*name_voice::CHOICES.get(*idx)?)
            }
            (Task::NameClapping { choices, .. }, Given::Choice(idx)) => {
                Answer::Clapping(*choices.get(*idx)?)
            }
            (Task::CatchTurn { .. }, Given::Choice(idx)) => {
                catch_turn::chosen(self.phrase(), *idx)?
            }
            (Task::WhoseStroke { .. }, Given::Choice(idx)) => Answer::Owner(*Owner::ALL.get(*idx)?),
            (Task::FitClapping { choices, .. }, Given::Choice(idx)) => {
                Answer::Clapping(*choices.get(*idx)?)
            }
            _ => return None,
        };
        let right = match self.task {
            Task::CatchTurn { truth, turning } => catch_turn::is_right(truth, turning, answer),
            _ => answer == self.truth(),
        };
        Some(Verdict { answer, right })
    }
}

/// Leaves out what was the truth three times running, unless nothing else is left.
/// One of the patterns; not one whose grouping was the truth three times running.
fn draw_pattern(patterns: &[Pattern], lately: &[Answer], seed: Seed) -> Pattern {
    // A truth that says nothing of the grouping stands for none of them.
    let layers = lately.iter().map(|truth| match truth {
        Answer::Clapping(layer) | Answer::Hands(Some(layer)) | Answer::Marks(Some(layer)) => {
            Answer::Clapping(*layer)
        }
        other => *other,
    });
    let lately: Vec<Answer> = layers.collect();
    let as_answer = |pattern: Pattern| Answer::Clapping(pattern.marks().expect("all are grouped"));
    match patterns {
        [one] => *one,
        several => {
            let open = without_a_run(several, &lately, as_answer);
            let drawn = seed.child("pattern", 0).dice().pick(&open).copied();
            drawn.expect("a recipe has a pattern")
        }
    }
}

pub(super) fn without_a_run<T: Copy + PartialEq>(
    options: &[T],
    lately: &[Answer],
    as_answer: impl Fn(T) -> Answer,
) -> Vec<T> {
    const LONGEST_RUN: usize = 3;
    let run = lately
        .rchunks(LONGEST_RUN)
        .next()
        .filter(|last| last.len() == LONGEST_RUN);
    let repeats =
        |option: &T| run.is_some_and(|last| last.iter().all(|t| *t == as_answer(*option)));
    let rest: Vec<T> = options
        .iter()
        .copied()
        .filter(|option| !repeats(option))
        .collect();
    if rest.is_empty() {
        options.to_vec()
    } else {
        rest
    }
}
