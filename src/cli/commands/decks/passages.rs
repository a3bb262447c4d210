//! Passages of recordings in a deck: where they lie, and how one sounds.

use std::path::PathBuf;
use std::sync::Arc;

use super::Show;
use crate::app::{passage_example, passage_place};
use crate::cli::args::Practice;
use crate::cli::commands::hear::Speaker;
use crate::cli::commands::write::{counted, wav_of, write_whole};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{data_dir, seed_of};
use crate::deck::{Deck, Exercise};
use crate::listen::clock;
use crate::pcm::SampleRate;
use crate::quiz::passage::Passage;
use crate::quiz::{Material, Question};
use crate::store::Store;
use crate::world::{Env, Moment, Seed};

/// The passages of an exercise, each with its marks.
pub(super) fn named(passages: &[Arc<Passage>]) -> String {
    let one = |passage: &Arc<Passage>| format!("{} {}", passage.id(), passage.signs());
    let all: Vec<String> = passages.iter().map(one).collect();
    all.join(", ")
}

/// Each passage of a deck once: in which file it lies, from when until when, and what was said of it.
pub(super) fn listed(deck: &Deck) -> String {
    let mut told: Vec<&Arc<Passage>> = Vec::new();
    for exercise in deck.exercises() {
        if let Material::Cut(passages) = &exercise.material {
            let is_new = |passage: &&Arc<Passage>| !told.iter().any(|one| one.id() == passage.id());
            let new: Vec<&Arc<Passage>> = passages.iter().filter(is_new).collect();
            told.extend(new);
        }
    }
    if told.is_empty() {
        return String::new();
    }
    told.sort_by(|a, b| {
        let place = |passage: &Passage| (passage.file_name(), passage.span().0);
        let ((a, from), (b, other)) = (place(a), place(b));
        a.cmp(&b).then(from.total_cmp(&other))
    });
    let line = |passage: &&Arc<Passage>| {
        let (from, until) = passage.span();
        let (id, file, signs) = (passage.id(), passage.file_name(), passage.signs());
        let n = counted(passage.n_cycles(), "cycle", "cycles");
        let (from, until) = (clock(from), clock(until));
        let unasked = passage.turn_not_asked();
        let unasked = unasked.map_or_else(String::new, |why| format!("; {why}"));
        format!("  {id}: {file}, {from} to {until}, {n}, marked {signs}{unasked}\n")
    };
    let lines: String = told.iter().map(line).collect();
    format!(
        "\n== Passages, with a sign a cycle: 3, 2, b both, ? cannot be said, . nothing said\n{lines}"
    )
}

/// Plays one of the passages under the claps that the exercise shows with its answer, or writes it.
pub(super) fn hear(
    (exercise, passages): (&Exercise, &[Arc<Passage>]),
    asked: &Show,
    practice: &Practice,
    env: &Env,
) -> Result<(), Failure> {
    let seed = seed_of(practice)?;
    let drawn = seed.child("passage", 0).dice().pick(passages).cloned();
    let passage = drawn.ok_or_else(|| {
        let what = format!("{} has no passage yet", exercise.title);
        let hint = "cut one on the screen of a recording: `contrapalma listen FILE`, then x";
        Failure::new(Kind::No, what, hint)
    })?;
    let question = Question::of_passage(&exercise.form, &passage, passages, &[], seed);
    let question = question.ok_or_else(|| {
        let what = format!(
            "{} asks nothing of {}",
            exercise.title,
            passage_place(&passage)
        );
        Failure::new(Kind::No, what, "try another --seed")
    })?;
    let sound = |rate| {
        let known = known_place_of(&passage, practice, env);
        passage_example(&question, known, rate).ok_or_else(|| {
            let name = passage.file_name();
            let what = format!("{name}: not where it was, or not to be read there");
            let hint = "open it once with `contrapalma listen` where it is now";
            Failure::new(Kind::No, what, hint)
        })
    };
    if let Some(wav) = &asked.wav {
        return write_whole(wav, &wav_of(&sound(SampleRate::HZ_48000)?)?);
    }
    let speaker = Speaker::open(practice, env)?;
    let pcm = sound(speaker.rate())?;
    let (from, until) = passage.span();
    let (from, until) = (clock(from), clock(until));
    let name = passage.file_name();
    speaker.play(
        pcm,
        &format!(
            "{}: {name}, {from} to {until}, under its claps",
            exercise.title
        ),
    )
}

/// Where the recording of a passage lay when it was opened last.
fn known_place_of(passage: &Passage, practice: &Practice, env: &Env) -> Option<PathBuf> {
    let data = data_dir(practice, env).ok()?;
    // Looking at something makes no store.
    if !data.join("practice.db").is_file() {
        return None;
    }
    let store = Store::open(&data, Seed(0), Moment(0)).ok()?;
    store.recording(passage.recording()).ok()??.place
}
