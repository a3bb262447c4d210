//! `contrapalma class heard`, `disputes` and `judge`: what the teacher heard and decided.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use clap::{ArgGroup, Args};
use serde_json::{Value, json};

use super::moments;
use super::place::{Place, who};
use super::report::Decks;
use crate::app::class::is_judged;
use crate::class::hand_in::LearnerId;
use crate::class::judgement::{Judgement, PhraseId, Ruling, skill_of};
use crate::cli::args::{Practice, day, line};
use crate::cli::commands::form::Form;
use crate::cli::commands::practise::clock_of;
use crate::cli::commands::write::{print, warn};
use crate::cli::failure::{Failure, Kind};
use crate::label::{Label, printable};
use crate::quiz::{Answer, AttemptId, Skill};
use crate::report::class::Moment;
use crate::store::{ClassStore, Disputed, LiveMark};
use crate::world::{Calendar, Day, Env};

/// `class heard`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Heard {
    /// The learner, by number or name; without one, all live marks are listed
    #[arg(value_name = "LEARNER")]
    learner: Option<String>,
    /// The skill, as path/bass; without one, those of the learner are listed
    #[arg(value_name = "SKILL", value_parser = skill)]
    skill: Option<Skill>,
    /// On which day [default: today]
    #[arg(long, value_name = "DATE", value_parser = day, requires = "skill")]
    on: Option<Day>,
    /// How it was, in one line
    #[arg(long, value_name = "TEXT", value_parser = line, requires = "skill")]
    note: Option<Label>,
    /// Take the mark of that day back
    #[arg(long, requires = "skill", conflicts_with = "note")]
    take_back: bool,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    place: Place,
}

/// `class disputes`.
#[derive(Debug, Args)]
pub(in crate::cli) struct Disputes {
    /// Also those that were judged, and phrases that were judged without a doubt
    #[arg(long)]
    all: bool,
    /// Play the phrase of this one, as it was asked and under claps of the answer and of the label;
    /// ctrl-c ends it
    #[arg(long, value_name = "ATTEMPT", value_parser = attempt, conflicts_with = "form")]
    hear: Option<AttemptId>,
    /// Write what --hear plays to this WAV file, never over one that is there
    #[arg(long, value_name = "FILE", requires = "hear")]
    wav: Option<PathBuf>,
    #[command(flatten)]
    form: Form,
    #[command(flatten)]
    place: Place,
}

/// `class judge`.
#[derive(Debug, Args)]
#[command(group(ArgGroup::new("ruling").required(true)))]
pub(in crate::cli) struct Judge {
    /// The attempt at which the phrase was heard, as `class disputes` lists it
    #[arg(value_name = "ATTEMPT", value_parser = attempt)]
    attempt: AttemptId,
    /// The label is right: the phrase may be asked again
    #[arg(long, group = "ruling")]
    upheld: bool,
    /// The right answer is another, as "twos" or "feel twos": attempts count by it, and the phrase is
    /// not asked again
    #[arg(long, value_name = "ANSWER", group = "ruling")]
    overruled: Option<String>,
    /// There is no one right answer: attempts do not count, and the phrase is not asked again
    #[arg(long, group = "ruling")]
    withdrawn: bool,
    /// Why, in one line
    #[arg(long, value_name = "TEXT", value_parser = line)]
    note: Option<Label>,
    #[command(flatten)]
    place: Place,
}

fn skill(text: &str) -> Result<Skill, String> {
    skill_of(text).ok_or_else(|| "a skill such as path/bass was expected".to_owned())
}

fn attempt(text: &str) -> Result<AttemptId, String> {
    let read = || {
        let mut parts = text.split('-');
        let mut part = || parts.next();
        let install = LearnerId::from_text(part()?)?.0;
        let (sitting, number) = (part()?.parse().ok()?, part()?.parse().ok()?);
        part().is_none().then_some(AttemptId {
            install,
            sitting,
            number,
        })
    };
    read().ok_or_else(|| "an attempt such as 00000000000000a5-1-3 was expected".to_owned())
}

/// Notes that a skill was heard live, takes that back, or lists.
pub(super) fn heard(asked: &Heard, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let (today, _) = Calendar::default().day_of(clock_of(env)?.now());
    let mut store = match &asked.skill {
        Some(_) => asked.place.open(practice, env)?,
        None => asked.place.open_to_look(practice, env)?,
    };
    let learner = asked.learner.as_ref();
    let learner = learner
        .map(|text| who(&store, &store.roster()?, text))
        .transpose()?;
    let (Some(learner), Some(skill)) = (learner, &asked.skill) else {
        return list_heard(&store, learner, &asked.form);
    };
    let on = asked.on.unwrap_or(today);
    if on > today {
        let what = format!("{on}: found a day to come; expected today or earlier");
        return Err(Failure::new(Kind::Usage, what, "nothing was changed"));
    }
    if asked.take_back {
        if !store.unmark_live(learner, skill, on)? {
            let what = format!("{skill}: no live mark of {on}");
            return Err(Failure::new(Kind::Usage, what, "`class heard` lists them"));
        }
        return print(&format!("{skill}: the mark of {on} is taken back\n"));
    }
    check_skill(&store, learner, skill, (practice, env))?;
    store.mark_live(&LiveMark {
        learner,
        skill: skill.clone(),
        day: on,
        note: asked.note.clone(),
    })?;
    print(&format!("{skill}: heard live on {on}\n"))
}

/// A skill is one of a deck that is here, or one that the learner practised by a deck that is not.
fn check_skill(
    store: &ClassStore,
    learner: LearnerId,
    skill: &Skill,
    (practice, env): (&Practice, &Env),
) -> Result<(), Failure> {
    let decks = Decks::find(store, practice, env)?;
    let exercises = decks.exercises();
    if exercises.contains_key(skill) {
        return Ok(());
    }
    let mut is_practised = false;
    store.attempts(learner, |attempt| is_practised |= attempt.skill == *skill)?;
    if is_practised {
        return Ok(());
    }
    let what = format!("{skill}: no deck that is here has this skill, and it was not practised");
    let hint = match skill.0.split_once('/') {
        Some((deck, _)) if exercises.keys().any(|known| is_of(known, deck)) => {
            format!("`contrapalma decks show {deck}` lists those of that deck")
        }
        _ => "`contrapalma decks list` lists decks; give one that is not installed by --deck"
            .to_owned(),
    };
    Err(Failure::new(Kind::Usage, what, hint))
}

fn is_of(skill: &Skill, deck: &str) -> bool {
    let rest = skill.0.strip_prefix(deck);
    rest.is_some_and(|rest| rest.starts_with('/'))
}

fn list_heard(store: &ClassStore, of: Option<LearnerId>, form: &Form) -> Result<(), Failure> {
    let names = names(store)?;
    let marks = store.live_marks()?.into_iter();
    let marks = marks.filter(|mark| of.is_none_or(|of| of == mark.learner));
    let row = |mark: LiveMark| {
        vec![
            json!(names.get(&mark.learner).map(Label::as_str)),
            json!(mark.learner.to_string()),
            json!(&*mark.skill.0),
            json!(mark.day.to_string()),
            json!(mark.note.as_ref().map(Label::as_str)),
        ]
    };
    let rows: Vec<Vec<Value>> = marks.map(row).collect();
    let columns = ["name", "number", "skill", "day", "note"];
    form.print(&columns, &rows, "Nothing was heard live yet.")
}

fn names(store: &ClassStore) -> Result<std::collections::HashMap<LearnerId, Label>, Failure> {
    let learners = store.learners()?.into_iter();
    Ok(learners.map(|one| (one.learner, one.name)).collect())
}

/// Lists doubts, or lets one be heard.
pub(super) fn disputes(asked: &Disputes, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let store = asked.place.open_to_look(practice, env)?;
    let disputes = store.disputes()?;
    if let Some(id) = asked.hear {
        let disputed = disputes.into_iter().find(|one| one.attempt.id == id);
        return hear(store, disputed, asked.wav.as_deref(), (practice, env));
    }
    let names = names(&store)?;
    let without = match asked.all {
        true => without_doubt(store.judgements()?, &disputes),
        false => Vec::new(),
    };
    let disputes = disputes.into_iter();
    let disputes = disputes.filter(|one| asked.all || !is_judged(one));
    let rows = disputes.map(|one| {
        let name = names.get(&one.learner).map(Label::as_str);
        row_of_doubt(&one, name)
    });
    let rows: Vec<Vec<Value>> = rows.chain(without.iter().map(row_of_judgement)).collect();
    let columns = [
        "attempt",
        "name",
        "skill",
        "level_db",
        "seed",
        "generator",
        "label",
        "answer",
        "note",
        "judged",
    ];
    asked
        .form
        .print(&columns, &rows, "Nothing is to be judged.")?;
    match store.n_disputes_on_their_way()? {
        0 => Ok(()),
        n => {
            let noun = if n == 1 { "doubt is" } else { "doubts are" };
            warn(&format!(
                "{n} more {noun} about attempts that were not handed in yet"
            ));
            Ok(())
        }
    }
}

fn row_of_doubt(one: &Disputed, name: Option<&str>) -> Vec<Value> {
    let judgement = one.judgement.as_ref();
    vec![
        json!(id_text(one.attempt.id)),
        json!(name),
        json!(&*one.attempt.skill.0),
        json!(one.attempt.level.decibels()),
        json!(one.attempt.seed.0.to_string()),
        json!(one.attempt.generator),
        json!(one.attempt.truth.to_text()),
        json!(one.attempt.answer.to_text()),
        json!(one.note.as_ref().map(Label::as_str)),
        json!(judgement.map(|judgement| told(judgement.ruling))),
    ]
}

/// A phrase that was judged although nobody doubts it: of which attempt is not kept.
fn row_of_judgement(judgement: &Judgement) -> Vec<Value> {
    let phrase = &judgement.phrase;
    vec![
        Value::Null,
        Value::Null,
        json!(&*phrase.skill.0),
        Value::Null,
        json!(phrase.seed.0.to_string()),
        json!(phrase.generator),
        Value::Null,
        Value::Null,
        json!(judgement.note.as_ref().map(Label::as_str)),
        json!(told(judgement.ruling)),
    ]
}

/// What was decided about phrases that nobody doubts.
fn without_doubt(judged: Vec<Judgement>, disputes: &[Disputed]) -> Vec<Judgement> {
    let doubted = disputes.iter().map(|one| PhraseId::of(&one.attempt));
    let doubted: HashSet<PhraseId> = doubted.collect();
    let is_free = |judgement: &Judgement| !doubted.contains(&judgement.phrase);
    judged.into_iter().filter(is_free).collect()
}

fn id_text(id: AttemptId) -> String {
    format!("{:016x}-{}-{}", id.install, id.sitting, id.number)
}

/// Plays or writes the phrase of a doubt.
fn hear(
    store: ClassStore,
    disputed: Option<Disputed>,
    wav: Option<&Path>,
    (practice, env): (&Practice, &Env),
) -> Result<(), Failure> {
    let Some(one) = disputed else {
        let what = "found no doubt about an attempt of this name; expected one that was handed in";
        let hint = "`class disputes --all` lists them";
        return Err(Failure::new(Kind::Usage, what, hint));
    };
    let decks = Decks::find(&store, practice, env)?;
    let lately = store.asked_before(one.learner, &one.attempt)?;
    // Others may use it while somebody listens.
    drop(store);
    let exercises = decks.exercises();
    let exercise = exercises.get(&one.attempt.skill).copied();
    let title = exercise.map_or_else(
        || one.attempt.skill.to_string(),
        |exercise| exercise.title.to_string(),
    );
    let (label, answer) = (one.attempt.truth.to_text(), one.attempt.answer.to_text());
    let note = one.note.as_ref();
    let note = note.map_or_else(String::new, |note| format!(", \"{note}\""));
    let moment = Moment {
        words: format!("label {label}, answered {answer}{note}"),
        attempt: one.attempt,
        lately,
        title,
        heard: moments::NOT_ASKED,
    };
    moments::hear_one(&moment, exercise, wav, (practice, env))
}

fn told(ruling: Ruling) -> String {
    match ruling.answer() {
        Some(answer) => format!("{}: {}", ruling.id(), answer.to_text()),
        None => ruling.id().to_owned(),
    }
}

/// Decides about a phrase.
pub(super) fn judge(asked: &Judge, practice: &Practice, env: &Env) -> Result<(), Failure> {
    let now = clock_of(env)?.now();
    let mut store = asked.place.open(practice, env)?;
    let Some(attempt) = store.attempt(asked.attempt)? else {
        let what = "found no attempt of this name; expected one that was handed in";
        return Err(Failure::new(
            Kind::Usage,
            what,
            "`class disputes` lists them",
        ));
    };
    let ruling = match &asked.overruled {
        Some(text) => Ruling::Overruled(answer(text, attempt.truth)?),
        None if asked.withdrawn => Ruling::Withdrawn,
        None => Ruling::Upheld,
    };
    let phrase = PhraseId::of(&attempt);
    store.judge(&Judgement {
        phrase: phrase.clone(),
        ruling,
        at: now,
        note: asked.note.clone(),
    })?;
    print(&format!(
        "{phrase}: {}; it goes out with every assignment from now on\n",
        told(ruling)
    ))
}

/// The right answer, of the kind of the label; its first word may be left out.
fn answer(text: &str, label: Answer) -> Result<Answer, Failure> {
    let label_text = label.to_text();
    let (kind, _) = label_text.split_once(' ').unwrap_or((&label_text, ""));
    let read = Answer::from_text(text).or_else(|| Answer::from_text(&format!("{kind} {text}")));
    let is_kind =
        |answer: &Answer| std::mem::discriminant(answer) == std::mem::discriminant(&label);
    match read.filter(is_kind) {
        Some(answer) if answer != label => Ok(answer),
        Some(_) => {
            let what = format!("{label_text}: found the label; expected another answer");
            Err(Failure::new(
                Kind::Usage,
                what,
                "--upheld says that the label is right",
            ))
        }
        None => {
            let what = format!(
                "{:?}: found no answer of the kind of {label_text:?}; expected one such as that",
                printable(text)
            );
            Err(Failure::new(Kind::Usage, what, "nothing was changed"))
        }
    }
}
