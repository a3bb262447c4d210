//! `contrapalma phrase`: one phrase of an exercise, as sound, as notes and as JSON.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::write::{is_standard, print, refuse_standard, wav_of, write_whole};
use crate::cli::args;
use crate::cli::failure::{Failure, Kind};
use crate::deck::{Deck, Exercise};
use crate::notate;
use crate::pcm::SampleRate;
use crate::phrase::{GENERATOR, Level, Measured, Note, Purpose, Recipe, Row, Wanted, make};
use crate::quiz::Form;
use crate::rhythm::{Counting, Feel, Tick};
use crate::sound::{Timeline, render};
use crate::world::Seed;

/// Makes the phrase and writes it where it is wanted.
pub(in crate::cli) fn run(deck: &Deck, asked: &args::Phrase, seed: Seed) -> Result<(), Failure> {
    only_one_to_standard_output(asked)?;
    let exercise = find(deck, &asked.exercise)?;
    let level = asked
        .level
        .map_or(exercise.levels.criterion(), Level::of_decibels);
    let measured = measure(exercise, asked.feel, level, seed)?;
    if let Some(path) = &asked.wav {
        let pcm = render(measured.phrase(), SampleRate::HZ_48000, seed);
        write_whole(path, &wav_of(&pcm)?)?;
    }
    write_notes(asked, exercise, &measured, seed)?;
    let text = format!("{:#}\n", describe(exercise, &measured, seed));
    let files = [&asked.wav, &asked.midi, &asked.musicxml, &asked.sheet];
    match &asked.json {
        Some(path) => write_whole(path, text.as_bytes()),
        None if files.iter().all(|file| file.is_none()) => print(&text),
        None => Ok(()),
    }
}

fn only_one_to_standard_output(asked: &args::Phrase) -> Result<(), Failure> {
    if let Some(sheet) = &asked.sheet {
        refuse_standard(sheet, "--sheet", "a sheet and its key are two files")?;
    }
    let files = [
        ("--wav", &asked.wav),
        ("--json", &asked.json),
        ("--midi", &asked.midi),
        ("--musicxml", &asked.musicxml),
    ];
    let goes_there = |(_, path): &(_, &Option<PathBuf>)| path.as_deref().is_some_and(is_standard);
    let there: Vec<&str> = files
        .into_iter()
        .filter(goes_there)
        .map(|(option, _)| option)
        .collect();
    if there.len() < 2 {
        return Ok(());
    }
    let what = format!(
        "found - with {}; only one can go to standard output",
        there.join(" and ")
    );
    Err(Failure::new(Kind::Usage, what, "name files for the others"))
}

/// Writes the files for other people's programs and for paper.
fn write_notes(
    asked: &args::Phrase,
    exercise: &Exercise,
    measured: &Measured,
    seed: Seed,
) -> Result<(), Failure> {
    let phrase = measured.phrase();
    let label = format!("{}, seed {}", exercise.skill.0, seed.0);
    if let Some(path) = &asked.midi {
        write_whole(path, &notate::midi(phrase, asked.bars))?;
    }
    if let Some(path) = &asked.musicxml {
        let text = notate::musicxml(phrase, &label, asked.bars);
        write_whole(path, text.as_bytes())?;
    }
    if let Some(path) = &asked.sheet {
        let item = notate::Item {
            label: &label,
            phrase,
            counting: Counting::default(),
            asked: None,
        };
        let title = exercise.title.as_str();
        for page in notate::sheet(title, &[item]) {
            write_whole(path, page.questions.as_bytes())?;
            write_whole(&key_beside(path), page.key.as_bytes())?;
        }
    }
    Ok(())
}

/// The file of the key: `-key` before the ending.
fn key_beside(path: &Path) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push("-key");
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}

/// The exercise of this id, alone or behind the deck's.
pub(super) fn find<'a>(deck: &'a Deck, id: &str) -> Result<&'a Exercise, Failure> {
    let named = |exercise: &&Exercise| {
        let skill = &*exercise.skill.0;
        skill == id
            || skill
                .split_once('/')
                .is_some_and(|(_, exercise)| exercise == id)
    };
    deck.exercises().iter().find(named).ok_or_else(|| {
        let ids: Vec<&str> = deck
            .exercises()
            .iter()
            .filter_map(|exercise| exercise.skill.0.split_once('/').map(|(_, id)| id))
            .collect();
        let what = format!("no exercise {:?} in this deck", crate::label::printable(id));
        Failure::new(Kind::Usage, what, format!("it has {}", ids.join(", ")))
    })
}

/// The recipe of an exercise for which phrases are made.
pub(super) fn made(exercise: &Exercise) -> Result<&Recipe, Failure> {
    exercise.material.recipe().ok_or_else(|| {
        let what = format!(
            "{} is asked of recordings; no phrase is made",
            exercise.skill
        );
        Failure::new(Kind::Usage, what, "choose an exercise of made phrases")
    })
}

fn measure(
    exercise: &Exercise,
    feel: Option<Feel>,
    level: Level,
    seed: Seed,
) -> Result<Measured, Failure> {
    let recipe = made(exercise)?;
    let mut dice = seed.child("feel", 0).dice();
    let drawn = dice.pick(recipe.feels()).copied().unwrap_or(Feel::Threes);
    let purpose = match exercise.form {
        Form::FindStart(_) => Purpose::FindStart,
        _ => Purpose::NameFeel,
    };
    let pattern = seed
        .child("pattern", 0)
        .dice()
        .pick(recipe.patterns())
        .copied();
    let recipe = recipe.in_pattern(pattern.unwrap_or(recipe.pattern()));
    let wanted = Wanted {
        feel: feel.unwrap_or(drawn),
        level,
        knocks: None,
        purpose,
    };
    recipe
        .allows(wanted.feel)
        .map_err(|error| Failure::new(Kind::Usage, error, "choose another feel or exercise"))?;
    make(&recipe, &wanted, seed)
        .map_err(|error| Failure::new(Kind::No, error, "try a stronger --level or another --seed"))
}

/// The phrase as one object; times are seconds in the WAV.
fn describe(exercise: &Exercise, measured: &Measured, seed: Seed) -> Value {
    let phrase = measured.phrase();
    let timeline = Timeline::of(phrase, SampleRate::HZ_48000);
    let at = |tick: Tick| round6(seconds(timeline.frame_of(tick).0));
    let n_cycle = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let pulses = phrase.begins().pulse_idx()..phrase.ends().pulse_idx();
    let starts = pulses
        .clone()
        .filter(|pulse| pulse.rem_euclid(n_cycle) == 0);
    json!({
        "exercise": &*exercise.skill.0,
        "seed": seed.0,
        "generator": GENERATOR,
        "level_db": measured.level().decibels(),
        "tempo_ppm": phrase.tempo().pulses_a_minute(),
        "cycle": phrase.cycle.n_pulses(),
        "feel": phrase.feel.id(),
        "margin": round6(measured.margin()),
        "start_count": phrase.entry_pulse().idx() + 1,
        "pulses": pulses.map(|pulse| at(Tick::of_pulse(pulse))).collect::<Vec<f64>>(),
        "cycles": starts.map(|pulse| at(Tick::of_pulse(pulse))).collect::<Vec<f64>>(),
        "voices": measured.rows().iter().map(voice).collect::<Vec<Value>>(),
        "notes": phrase.notes.iter().map(|n| note(n, &timeline)).collect::<Vec<Value>>(),
    })
}

fn voice(row: &Row) -> Value {
    let profile: Vec<f64> = row
        .mean()
        .units()
        .iter()
        .map(|units| round6(*units))
        .collect();
    json!({ "name": row.voice.name(), "profile": profile })
}

fn note(note: &Note, timeline: &Timeline) -> Value {
    let onset = timeline.onset(note).0;
    json!({
        "voice": note.voice.name(),
        "time": round6(seconds(onset)),
        "length": round6(seconds(timeline.release(note).0 - onset)),
        "pitch": note.pitch.map(|pitch| pitch.0),
        "velocity": note.loudness.velocity(),
    })
}

#[expect(clippy::cast_precision_loss, reason = "frames of a short phrase")]
fn seconds(frames: i64) -> f64 {
    frames as f64 / 48_000.0
}

fn round6(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}
