//! The worst moments of a report as sounds: a WAV file each and a line of text about it, or one of them
//! at once.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use super::folder::Folder;
use crate::app::class::{NotAgain, again, sound_of};
use crate::class::hand_in::plain_name;
use crate::cli::args::Practice;
use crate::cli::commands::hear::Speaker;
use crate::cli::commands::write::{print_of, warn, wav_of, write_new};
use crate::cli::failure::{Failure, Kind};
use crate::deck::Exercise;
use crate::label::harmless;
use crate::pcm::SampleRate;
use crate::quiz::Skill;
use crate::report::class::{ClassReport, Heard, LearnerReport, Moment};
use crate::rhythm::Counting;
use crate::world::Env;

/// Writes the sounds of all moments, and a line about each; says how many sounds there are.
pub(super) fn write(
    report: &mut ClassReport,
    path: &Path,
    html: Option<&Path>,
    exercises: &HashMap<&Skill, &Exercise>,
) -> Result<usize, Failure> {
    let mut folder = Folder::open(path, "--moments")?;
    let written = fill(report, &mut folder, exercises);
    if written.is_err() {
        folder.empty();
    }
    let n = written?;
    let way = html.map_or_else(|| path.display().to_string(), |html| way(html, path));
    for moment in report
        .learners
        .iter_mut()
        .flat_map(|learner| &mut learner.moments)
    {
        if let Heard::In(name) = &mut moment.heard {
            *name = format!("{way}/{name}");
        }
    }
    Ok(n)
}

/// Plays the moment of this number, from 1, of the one learner of a report.
pub(super) fn hear(
    report: &ClassReport,
    number: u8,
    exercises: &HashMap<&Skill, &Exercise>,
    (practice, env): (&Practice, &Env),
) -> Result<(), Failure> {
    let Some(learner) = report.learners.first() else {
        return Err(Failure::new(
            Kind::No,
            "found no learner",
            "name one by --learner",
        ));
    };
    let who = &learner.who.name;
    let place = usize::from(number).saturating_sub(1);
    let Some(moment) = learner.moments.get(place) else {
        let what = match learner.moments.len() {
            0 => format!("{who}: nothing of the last four weeks is worth hearing again"),
            n => format!("{who}: found {n} worth hearing again; expected {number} of them"),
        };
        return Err(Failure::new(
            Kind::No,
            what,
            "the report lists them by number",
        ));
    };
    let exercise = exercises.get(&moment.attempt.skill).copied();
    play(moment, exercise, &format!("{who}, "), None, (practice, env)).map_err(|failure| {
        if failure.kind == Kind::No {
            failure.hinted("another of them may be heard")
        } else {
            failure
        }
    })
}

/// Where nobody asked for the sound of a moment.
pub(super) const NOT_ASKED: Heard = Heard::NotAsked;

/// Plays a moment, or writes it to a file that is not there yet.
pub(super) fn hear_one(
    moment: &Moment,
    exercise: Option<&Exercise>,
    wav: Option<&Path>,
    around: (&Practice, &Env),
) -> Result<(), Failure> {
    play(moment, exercise, "", wav, around)
}

fn play(
    moment: &Moment,
    exercise: Option<&Exercise>,
    who: &str,
    wav: Option<&Path>,
    (practice, env): (&Practice, &Env),
) -> Result<(), Failure> {
    let named = format!("{who}{}, {}", moment.title, moment.words);
    let question = again(moment, exercise)
        .map_err(|why| Failure::bare(Kind::No, format!("{named}: cannot be heard: {why}")))?;
    let sound = |rate| sound_of(&question, &moment.attempt, counting(exercise), rate);
    let Some(path) = wav else {
        let speaker = Speaker::open(practice, env)?;
        let (pcm, told) = sound(speaker.rate());
        return speaker.play(pcm, &harmless(&format!("{named}. {told}")));
    };
    let (pcm, told) = sound(SampleRate::HZ_48000);
    write_new(path, &wav_of(&pcm)?)?;
    let name = path.display();
    let line = harmless(&format!("{name}: {named}. {told}"));
    print_of(path, &format!("{line}\n"))
}

fn fill(
    report: &mut ClassReport,
    folder: &mut Folder,
    exercises: &HashMap<&Skill, &Exercise>,
) -> Result<usize, Failure> {
    let names = file_names(report);
    let n_moments: usize = report
        .learners
        .iter()
        .map(|learner| learner.moments.len())
        .sum();
    let (mut lines, mut n_done, mut n_sounds) = (String::new(), 0, 0);
    for (learner, name) in report.learners.iter_mut().zip(names) {
        for (number, moment) in (1..).zip(&mut learner.moments) {
            n_done += 1;
            warn(&format!("{n_done} of {n_moments}: {}", learner.who.name));
            let file = format!("{name}-{number}.wav");
            let told = match sound(moment, exercises.get(&moment.attempt.skill).copied())? {
                Ok((bytes, told)) => {
                    folder.write(&file, &bytes)?;
                    moment.heard = Heard::In(file.clone());
                    n_sounds += 1;
                    told
                }
                Err(why) => {
                    moment.heard = Heard::Nowhere(why.to_string());
                    format!("cannot be heard: {why}.")
                }
            };
            let (who, title, words) = (&learner.who.name, &moment.title, &moment.words);
            let line = format!("{file}: {who}, {title}, {words}. {told}");
            lines.push_str(&harmless(&line));
            lines.push('\n');
        }
    }
    folder.write("moments.txt", lines.as_bytes())?;
    Ok(n_sounds)
}

type Sound = (Vec<u8>, String);

/// A moment as the bytes of a WAV file, and what is told of it; or why it cannot be made again.
fn sound(moment: &Moment, exercise: Option<&Exercise>) -> Result<Result<Sound, NotAgain>, Failure> {
    let question = match again(moment, exercise) {
        Ok(question) => question,
        Err(why) => return Ok(Err(why)),
    };
    let rate = SampleRate::HZ_48000;
    let (pcm, told) = sound_of(&question, &moment.attempt, counting(exercise), rate);
    Ok(Ok((wav_of(&pcm)?, told)))
}

fn counting(exercise: Option<&Exercise>) -> Counting {
    exercise.map_or(Counting::FromOne, |exercise| exercise.material.counting())
}

/// What the files of each learner are called: letters, digits and hyphens of the name, and the number
/// as well where two come to the same.
fn file_names(report: &ClassReport) -> Vec<String> {
    let names = report
        .learners
        .iter()
        .map(|learner| plain_name(&learner.who.name));
    let mut counts: BTreeMap<String, u32> = BTreeMap::new();
    for name in names.clone() {
        *counts.entry(name).or_default() += 1;
    }
    let name = |(name, learner): (String, &LearnerReport)| {
        let is_one = counts.get(&name) == Some(&1);
        if is_one {
            name
        } else {
            format!("{name}-{}", learner.who.learner)
        }
    };
    names.zip(&report.learners).map(name).collect()
}

/// The way from the file `html` to the folder `to`, which is there; as the folder was named where there
/// is none.
fn way(html: &Path, to: &Path) -> String {
    let named = || to.display().to_string();
    let parent = html
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty());
    let (Ok(from), Ok(to)) = (
        parent.unwrap_or(Path::new(".")).canonicalize(),
        to.canonicalize(),
    ) else {
        return named();
    };
    let common = from
        .components()
        .zip(to.components())
        .take_while(|(a, b)| a == b)
        .count();
    let up = from.components().skip(common).map(|_| "..".to_owned());
    let down = to.components().skip(common);
    let down = down.map(|part| part.as_os_str().to_string_lossy().into_owned());
    let parts: Vec<String> = up.chain(down).collect();
    if parts.is_empty() {
        ".".to_owned()
    } else {
        parts.join("/")
    }
}
