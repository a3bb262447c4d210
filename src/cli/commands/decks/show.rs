//! `contrapalma decks show`: what the exercises of a deck are, and how one sounds.

use super::{Show, passages};
use crate::app::{FIRM, example};
use crate::cli::args::Practice;
use crate::cli::commands::hear::Speaker;
use crate::cli::commands::phrase::{find, made};
use crate::cli::commands::shelf::{self, Shelf};
use crate::cli::commands::write::{counted, print, wav_of, write_whole};
use crate::cli::failure::{Failure, Kind};
use crate::cli::{counting_of, seed_of};
use crate::deck::{Deck, Exercise, Levels, Order, Spoken};
use crate::pcm::SampleRate;
use crate::phrase::{Bell, Entry, Level, Pacing, Recipe, Rival};
use crate::quiz::judge::Place;
use crate::quiz::{By, Call, Course, Fits, Form, Guide, Material, Miss, Question, Skill};
use crate::rhythm::{Counting, Layer};
use crate::world::Env;

/// Says what its exercises are, counts in the learner's convention or in the cycle's own.
pub(super) fn run(
    asked: &Show,
    shelf: Option<&Shelf>,
    practice: &Practice,
    env: &Env,
) -> Result<(), Failure> {
    let deck = shelf::find(&asked.deck, shelf)?;
    let counting = counting_of(practice, env);
    let order = match deck.order() {
        Order::Path => "each waits for what it needs of this deck",
        Order::Free => "none waits for another",
        Order::Once => "none waits for another, and each comes once a sitting",
    };
    let n = counted(deck.exercises().len(), "exercise", "exercises");
    let mut text = format!("{}: {}\n{n}, {order}\n{FIRM}\n", deck.id(), deck.title());
    let part_of = |exercise: &Exercise| {
        let mut parts = deck.parts().iter();
        parts.find(|part| part.skills.contains(&exercise.skill))
    };
    let mut part = None;
    for exercise in deck.exercises() {
        let of = part_of(exercise);
        if of != part {
            let title = of.map_or("In no part", |part| part.title.as_str());
            text.push_str(&format!("\n== {title}\n"));
            part = of;
        }
        text.push('\n');
        text.push_str(&told(&deck, exercise, counting));
    }
    text.push_str(&passages::listed(&deck));
    print(&text)
}

/// Plays how a question of an exercise sounds, or writes it; of recordings one of its passages,
/// under the claps of its answer.
pub(super) fn hear(
    exercise: &str,
    asked: &Show,
    shelf: Option<&Shelf>,
    practice: &Practice,
    env: &Env,
) -> Result<(), Failure> {
    let seed = seed_of(practice)?;
    let deck = shelf::find(&asked.deck, shelf)?.through(practice.speakers());
    let exercise = find(&deck, exercise)?;
    if let Material::Cut(passages) = &exercise.material {
        return passages::hear((exercise, passages), asked, practice, env);
    }
    let level = asked
        .level
        .map_or(exercise.levels.criterion(), Level::of_decibels);
    let question = Question::ask(&exercise.form, made(exercise)?, level, &[], seed);
    let question = question.map_err(|error| {
        Failure::new(Kind::No, error, "try a stronger --level or another --seed")
    })?;
    if let Some(wav) = &asked.wav {
        let pcm = example(&question, SampleRate::HZ_48000, seed);
        return write_whole(wav, &wav_of(&pcm)?);
    }
    let speaker = Speaker::open(practice, env)?;
    let pcm = example(&question, speaker.rate(), seed);
    speaker.play(pcm, &format!("{}: {}", deck.title(), exercise.title))
}

/// An exercise in lines; what is as it is where nothing is said is left out.
fn told(deck: &Deck, exercise: &Exercise, counting: Option<Counting>) -> String {
    let counting = Counting::in_style(counting, exercise.material.counting());
    let (id, from) = id_in(deck, &exercise.skill.0);
    let said = |line: &Spoken| line.in_words(counting).to_string();
    let of_miss = |(miss, line): (&Miss, &Spoken)| {
        let repair = format!("{}: {}", miss.id(), said(line));
        ("", Some(repair))
    };
    let words = [
        ("from", from.map(|deck| format!("the deck {deck}"))),
        ("asks", Some(asks(exercise))),
        ("line", Some(said(&exercise.line))),
        ("repair", exercise.repairs.any.as_ref().map(said)),
    ];
    let rest = [
        ("needs", Some(needs(deck, exercise))),
        ("learnt", Some(learnt(exercise))),
        ("claps", claps(&exercise.form, counting)),
        ("hands", hands(&exercise.form)),
    ];
    let of = match &exercise.material {
        Material::Made(recipe) => of_phrases(recipe, exercise.levels, counting).to_vec(),
        Material::Cut(passages) => vec![("passages", Some(passages::named(passages)))],
    };
    let of_misses = exercise.repairs.of.iter().map(of_miss);
    let rows = words.into_iter().chain(of_misses).chain(rest).chain(of);
    let line = |(name, value): (&str, Option<String>)| Some(format!("  {name:<8} {}\n", value?));
    let lines: String = rows.filter_map(line).collect();
    format!("{id}: {}\n{lines}", exercise.title)
}

/// What must be firm before, and what would be good to have though it holds nothing back.
fn needs(deck: &Deck, exercise: &Exercise) -> String {
    let is_here = |need: &&Skill| deck.exercise(need).is_some();
    let (here, elsewhere): (Vec<&Skill>, Vec<&Skill>) = exercise.needs.iter().partition(is_here);
    let names = |needs: &[&Skill]| {
        let names: Vec<&str> = needs.iter().map(|need| id_in(deck, &need.0).0).collect();
        names.join(", ")
    };
    match (here.as_slice(), elsewhere.as_slice()) {
        ([], []) => "nothing".to_owned(),
        (here, []) => names(here),
        ([], there) => format!("nothing of this deck; builds on {}", names(there)),
        (here, there) => format!(
            "{}; builds on {}, which is not in this deck",
            names(here),
            names(there)
        ),
    }
}

/// When it counts as learnt.
fn learnt(exercise: &Exercise) -> String {
    let (form, levels) = (&exercise.form, exercise.levels);
    let right = match form {
        Form::Clap { .. } => "held to the end",
        Form::TwoHands { .. } => "held to the end with both hands",
        Form::FindStart(By::Taps) => "each beginning tapped",
        _ => "right",
    };
    let is_made = exercise.material.recipe().is_some();
    let at = if is_made && (levels.easiest() != levels.hardest()) {
        format!(" at {}", levels.criterion())
    } else {
        String::new()
    };
    format!("{right}{at}, about five times in six")
}

/// What is made for an exercise.
fn of_phrases(
    recipe: &Recipe,
    levels: Levels,
    counting: Counting,
) -> [(&'static str, Option<String>); 6] {
    let (easiest, hardest) = (levels.easiest(), levels.hardest());
    let level = if easiest == hardest {
        format!("always {easiest}")
    } else {
        format!("{easiest} down to {hardest}")
    };
    [
        ("cycle", Some(cycle(recipe, counting))),
        ("surface", Some(surface(recipe))),
        ("level", Some(level)),
        ("tempo", Some(tempo(recipe))),
        ("length", Some(length(recipe))),
        ("entry", Some(entry(recipe))),
    ]
}

/// The id in this deck, and the deck from which it is taken where that is another.
fn id_in<'a>(deck: &Deck, skill: &'a str) -> (&'a str, Option<&'a str>) {
    match skill.split_once('/') {
        Some((of, id)) if of == deck.id() => (id, None),
        Some((of, _)) => (skill, Some(of)),
        None => (skill, None),
    }
}

fn asks(exercise: &Exercise) -> String {
    let about = match &exercise.form {
        Form::NameFeel => "one of the feels",
        Form::FindStart(By::Count) => "the count on which it comes in",
        Form::FindStart(By::Taps) => "taps where the cycle begins",
        Form::FitClapping { to, .. } => match to {
            Fits::Guitar => "the clapping that fits the guitar",
            Fits::Knocks => "the clapping that goes with the knocks",
        },
        Form::Clap { place, .. } => match place {
            Place::On => "claps on the pulses",
            Place::Contra => "claps half-way after the pulses",
        },
        Form::MarkAccents { of, .. } => match of {
            Fits::Guitar => "the counts on which the guitar leans",
            Fits::Knocks => "the counts on which the hand knocks",
        },
        Form::NameVoice => "what one of two voices does",
        Form::NameClapping(_) => "the counts that are clapped",
        Form::CatchTurn(_) => "the cycle in which it turns",
        Form::WhoseStroke => "whose stroke is marked by a bell",
        Form::TwoHands { .. } => "two layers, one with each hand",
    };
    let id = exercise.form.kind().id();
    let Some(recipe) = exercise.material.recipe() else {
        return format!("{id}: {about}; passages of recordings");
    };
    let feels: Vec<&str> = recipe.feels().iter().map(|f| f.words()).collect();
    format!("{id}: {about}; phrases {}", feels.join(", "))
}

/// The cycle and what is marked in it by each feel, in counts.
fn cycle(recipe: &Recipe, counting: Counting) -> String {
    let patterns = recipe.patterns().iter();
    let each = patterns.flat_map(|pattern| recipe.feels().iter().map(move |feel| (pattern, feel)));
    let marks = each.filter_map(|(pattern, feel)| {
        let counts = counting.list(pattern.claps(*feel)?);
        Some(format!("{} on {counts}", feel.words()))
    });
    let marks: Vec<String> = marks.collect();
    let cycle = recipe.pattern().cycle();
    let counts: Vec<String> = cycle.pulses().map(|p| counting.name(cycle, p)).collect();
    let ids = recipe.patterns().iter().map(|pattern| pattern.name());
    let ids: Vec<String> = ids.collect();
    let mut told = format!("{}, counted {}", ids.join(" or "), counts.join(" "));
    for mark in marks {
        told.push_str(&format!("; {mark}"));
    }
    told
}

/// The clappings in counts.
fn claps(form: &Form, counting: Counting) -> Option<String> {
    let layers: &[Layer] = match form {
        Form::FitClapping { clappings, .. } | Form::NameClapping(clappings) => clappings,
        Form::MarkAccents { patterns, .. } => patterns,
        Form::Clap { layers, .. } => layers,
        Form::TwoHands { layers, .. } => layers,
        Form::NameFeel
        | Form::FindStart(_)
        | Form::NameVoice
        | Form::CatchTurn(_)
        | Form::WhoseStroke => return None,
    };
    let told: Vec<String> = layers.iter().map(|layer| counting.list(*layer)).collect();
    Some(told.join("; "))
}

/// How hands are led and what comes in between.
fn hands(form: &Form) -> Option<String> {
    let (guide, course, call) = match form {
        Form::Clap {
            guide,
            course,
            call,
            ..
        } => (*guide, *course, *call),
        Form::TwoHands { guide, call, .. } => (*guide, Course::Whole, *call),
        _ => return None,
    };
    let mut told = match guide {
        Guide::Every => "led in every cycle",
        Guide::Half => "led in the first half",
        Guide::First => "led in the first cycle",
        Guide::None => "not led",
    }
    .to_owned();
    told.push_str(&match course {
        Course::Whole => String::new(),
        Course::Rising => "; the guitar rises from 9 dB below itself".to_owned(),
        Course::Silent(n) => {
            let n = counted(n.into(), "cycle", "cycles");
            format!("; everything falls silent for {n}")
        }
    });
    told.push_str(match call {
        Call::None => "",
        Call::Bell => "; a bell calls for a change",
        Call::Stop => "; a bell calls to stop",
        Call::Close => "; hands rest where the guitar closes",
    });
    Some(told)
}

fn surface(recipe: &Recipe) -> String {
    let families: Vec<&str> = recipe.families().iter().map(|f| f.id()).collect();
    let rival = match recipe.rival() {
        Rival::None => "",
        Rival::Mild => "; a hint at the other layer",
        Rival::Stronger => "; the guitar stronger than the knocks",
    };
    let bell = match recipe.bell() {
        Bell::None => "",
        Bell::Every => "; a bell on the first count of every cycle",
        Bell::Second => "; a bell on the first count of every second cycle",
    };
    format!("{}{rival}{bell}", families.join(", "))
}

fn tempo(recipe: &Recipe) -> String {
    let (slowest, fastest) = recipe.tempo();
    let pacing = match recipe.pacing() {
        Pacing::Steady => "steady",
        Pacing::Moving => "moving inside the phrase",
        Pacing::Elastic => "with a breath before the close",
    };
    if slowest == fastest {
        return format!("{slowest} pulses a minute, {pacing}");
    }
    format!("{slowest} to {fastest} pulses a minute, {pacing}")
}

fn length(recipe: &Recipe) -> String {
    match recipe.cycles() {
        (fewest, most) if fewest == most => format!("{most} cycles"),
        (fewest, most) => format!("{fewest} to {most} cycles"),
    }
}

fn entry(recipe: &Recipe) -> String {
    let words = |entry: &Entry| match entry {
        Entry::One => "on the first count",
        Entry::Any => "on any count",
        Entry::Pickup => "with a pickup",
    };
    let told: Vec<&str> = recipe.entries().iter().map(words).collect();
    told.join(", or ")
}
