//! *What is this voice doing?* Two voices go each their own way; the question names one of them: does
//! it go in threes or in twos?
//!
//! Right is what that voice was measured to state. The likely wrong answer is what the louder one
//! does.

use crate::phrase::{Level, NoPhrase, Purpose, Recipe, Row, Voice, Wanted, make};
use crate::rhythm::{Counting, Feel, Layer};
use crate::world::Seed;

use crate::quiz::Answer;
use crate::quiz::question::{Question, Task, without_a_run};
use crate::quiz::reveal::{on_counts, sentence};

/// What a voice may do, in the order in which it is offered.
pub(in crate::quiz) const CHOICES: [Feel; 2] = [Feel::Threes, Feel::Twos];

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("voice", 0).dice();
    let open = without_a_run(&CHOICES, lately, Answer::Feel);
    let truth = dice.pick(&open).copied().unwrap_or(Feel::Threes);
    let wanted = Wanted {
        feel: Feel::Both,
        level,
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let measured = make(recipe, &wanted, seed)?;
    let cycle = measured.phrase().cycle;
    let does = |row: &&Row| row.layer().is_some() && row.layer() == truth.layer(cycle);
    let voices: Vec<Voice> = measured
        .rows()
        .iter()
        .filter(does)
        .map(|row| row.voice)
        .collect();
    // Both layers were measured to stand in a voice of their own.
    let voice = dice.pick(&voices).copied();
    let voice = voice.ok_or(NoPhrase {
        feel: Feel::Both,
        level,
    })?;
    Ok(Question::made(measured, Task::NameVoice { voice, truth }))
}

/// What is asked of a voice.
pub(in crate::quiz) fn asks(voice: Voice) -> &'static str {
    match voice {
        Voice::Bass => "What do the low notes do?",
        Voice::Strike => "What do the knocks do?",
        Voice::Line => "What does the tune do?",
        Voice::Chords => "What do the chords do?",
        Voice::Claps => "What do the claps do?",
        Voice::Bell => "What does the bell do?",
    }
}

/// The claps of what a voice is said to do.
pub(in crate::quiz) fn claps(question: &Question, feel: Feel) -> Vec<Layer> {
    feel.layer(question.phrase().cycle).into_iter().collect()
}

/// Where each voice falls.
pub(in crate::quiz) fn reason(question: &Question, counting: Counting) -> String {
    let rows = question.measured().rows().iter();
    let stated = rows.filter_map(|row| Some((row.cue, row.layer().filter(|l| l.n_onsets() > 1)?)));
    let parts: Vec<String> = stated
        .map(|(cue, layer)| format!("{} came {}", cue.words(), on_counts(layer, counting)))
        .collect();
    sentence(&parts.join("; "))
}
