//! The command line as typed.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use super::commands::class::Class;
use super::commands::decks::Decks;
use super::learner::Local;
use crate::accent::Cue;
use crate::notate::Bars;
use crate::phrase::{Speakers, Third, Wish};

/// Trains the ear for cross-rhythm in cycles of six and twelve pulses. Without a command it opens on what today
/// holds.
#[derive(Debug, Parser)]
#[command(name = "contrapalma", version, max_term_width = 90)]
pub(super) struct Cli {
    #[command(flatten)]
    pub(super) practice: Practice,
    #[command(subcommand)]
    pub(super) command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Begin a sitting
    Sit(super::commands::sit::Sit),
    /// Tell how far practice has brought you, skill by skill
    Progress(super::commands::form::Form),
    /// Play with the layers of one phrase; nothing is asked and nothing is kept
    Bench,
    /// Tap with a bell until it is known how late taps come on this sound device
    TuneUp(Plain),
    /// Make one phrase of an exercise, to be judged outside
    Phrase(Phrase),
    /// Hear to what each cycle of recordings or MIDI files leans: evidence, never a verdict
    Listen(Listen),
    /// Write, check, show and keep decks
    Decks {
        #[command(subcommand)]
        asked: Decks,
    },
    /// What a teacher does with a class
    Class {
        #[command(subcommand)]
        asked: Class,
    },
    /// Take in what your teacher set, or list what is set
    Assignment(super::commands::assignment::Asked),
    /// Write what was practised since the last hand-in to a file, for a teacher or another machine
    HandIn(HandIn),
    /// Keep your own practice together
    Keep {
        #[command(subcommand)]
        asked: Keep,
    },
}

/// Under what the help lists the options that go with every command.
const EVERYWHERE: &str = "With every command";

/// What every sitting takes.
#[derive(Clone, Debug, Args)]
pub(super) struct Practice {
    /// Keep data in this folder
    #[arg(long, value_name = "DIR", global = true, help_heading = EVERYWHERE)]
    pub(super) data: Option<PathBuf>,
    /// Practise as this one of several learners on this machine, each with a folder of their own
    #[arg(long = "as", value_name = "NAME", global = true, help_heading = EVERYWHERE, value_parser = Local::parse)]
    pub(super) practises: Option<Local>,
    /// Practise this deck: first-steps, path, check, beginners, workshop, twelves, cousins, an installed one, or a file
    #[arg(long, value_name = "DECK", global = true, help_heading = EVERYWHERE)]
    pub(super) deck: Option<PathBuf>,
    /// Draw all chance from this number
    #[arg(long, value_name = "N", global = true, help_heading = EVERYWHERE, value_parser = seed, allow_negative_numbers = true)]
    pub(super) seed: Option<u64>,
    /// End the sitting after the block in which so many minutes are reached
    #[arg(long, value_name = "N", global = true, help_heading = EVERYWHERE, default_value_t = 10,
          value_parser = clap::value_parser!(u16).range(1..=120), allow_negative_numbers = true)]
    pub(super) minutes: u16,
    /// End the sitting after exactly so many questions, or make so many
    #[arg(long, value_name = "N", global = true, help_heading = EVERYWHERE, value_parser = clap::value_parser!(u32).range(1..=1000), allow_negative_numbers = true)]
    pub(super) questions: Option<u32>,
    /// Keep time without a sound device: nothing is heard
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub(super) silent: bool,
    /// Practise by this cue where a skill has it: loudness, bass, chord, top, length, held, figure, roll, stopped, strike
    #[arg(long, value_name = "CUE", global = true, help_heading = EVERYWHERE, value_parser = cue)]
    cue: Option<Cue>,
    /// Practise in this third of each skill's tempi: slow, middle, fast
    #[arg(long, value_name = "THIRD", global = true, help_heading = EVERYWHERE, value_parser = third)]
    speed: Option<Third>,
    /// Play the low notes an octave higher, for small loudspeakers that lose them
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    small_speakers: bool,
}

impl Practice {
    /// What is wished of phrases.
    pub(super) fn wish(&self) -> Wish {
        Wish {
            cue: self.cue,
            tempo: self.speed,
        }
    }

    /// What phrases are heard through.
    pub(super) fn speakers(&self) -> Speakers {
        if self.small_speakers {
            Speakers::Small
        } else {
            Speakers::Full
        }
    }
}

/// `tune-up`.
#[derive(Debug, Args)]
pub(super) struct Plain {
    /// Ask and answer in lines of text; a tap is an empty line
    #[arg(long)]
    pub(super) plain: bool,
}

/// `hand-in`.
#[derive(Debug, Args)]
pub(super) struct HandIn {
    /// Write to this file, or into this folder under a name of its own [default: the folder you are in]
    #[arg(long, value_name = "FILE|FOLDER")]
    pub(super) to: Option<PathBuf>,
    /// Write what was practised on this day and later, as 2026-03-02
    #[arg(long, value_name = "DATE", value_parser = day, conflicts_with = "all")]
    pub(super) since: Option<crate::world::Day>,
    /// Write everything, also what was handed in before
    #[arg(long)]
    pub(super) all: bool,
    /// Write over the file of --to, whatever it is
    #[arg(long, requires = "to")]
    pub(super) replace: bool,
    /// What you are called; it is remembered
    #[arg(long, value_name = "NAME", value_parser = label)]
    pub(super) name: Option<crate::label::Label>,
}

/// `keep`.
#[derive(Debug, Subcommand)]
pub(super) enum Keep {
    /// List who practises on this machine by --as
    Learners,
    /// Take in a hand-in of your own from another machine
    Import {
        /// The hand-in
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// It is yours although it has another learner's number
        #[arg(long)]
        as_mine: bool,
    },
}

/// `phrase`.
#[derive(Debug, Args)]
pub(super) struct Phrase {
    /// The exercise, by its id in the deck
    #[arg(value_name = "EXERCISE")]
    pub(super) exercise: String,
    /// How strong the cues are, in decibels [default: the exercise's criterion]
    #[arg(long, value_name = "DB", value_parser = decibels, allow_negative_numbers = true)]
    pub(super) level: Option<f64>,
    /// The feel it is to have: threes, twos, both, in-turn, either or mixed [default: one of the exercise's]
    #[arg(long, value_name = "FEEL", value_parser = feel)]
    pub(super) feel: Option<crate::rhythm::Feel>,
    /// Write its sound to this WAV file; - is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) wav: Option<PathBuf>,
    /// Write what it states to this JSON file; when no file is asked for, or as -, it goes to standard output
    #[arg(long, value_name = "FILE")]
    pub(super) json: Option<PathBuf>,
    /// Write its notes to this MIDI file; - is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) midi: Option<PathBuf>,
    /// Write its notes to this MusicXML file; - is standard output
    #[arg(long, value_name = "FILE")]
    pub(super) musicxml: Option<PathBuf>,
    /// How --midi and --musicxml are barred: threes, twos, or felt, which gives the answer away
    #[arg(long, value_name = "BARS", value_parser = bars, default_value = "threes")]
    pub(super) bars: Bars,
    /// Write a sheet to fill in to this SVG file, and its key beside it, to FILE with "-key"
    #[arg(long, value_name = "FILE")]
    pub(super) sheet: Option<PathBuf>,
}

/// `listen`.
#[derive(Debug, Args)]
pub(super) struct Listen {
    /// The recordings or MIDI files
    #[arg(value_name = "FILE", required = true)]
    pub(super) files: Vec<PathBuf>,
    /// Print one JSON object a file, each on a line
    #[arg(long, group = "form")]
    pub(super) json: bool,
    /// Print CSV, one row a cycle
    #[arg(long, group = "form")]
    pub(super) csv: bool,
    /// Write a picture of the cycles to this SVG file, beside any of the other forms; - is standard output
    #[arg(long, value_name = "SVG", conflicts_with = "marks_out")]
    pub(super) svg: Option<PathBuf>,
    /// Let the picture go over a file that is no picture of the program
    #[arg(long, requires = "svg")]
    pub(super) replace: bool,
    /// Print text, as without any of these
    #[arg(long, group = "form")]
    pub(super) text: bool,
    /// Take the pulses from this file: one time in seconds a line, the first is beat one [default: as kept, or found]
    #[arg(long, value_name = "CSV", conflicts_with_all = ["tempo", "start"])]
    pub(super) pulses: Option<PathBuf>,
    /// Take steady pulses, so many a minute
    #[arg(long, value_name = "PPM", requires = "start", value_parser = tempo, allow_negative_numbers = true)]
    pub(super) tempo: Option<crate::rhythm::Tempo>,
    /// Where the first of the steady pulses lies, or of a MIDI file the first cycle; it is beat one
    #[arg(long, value_name = "SEC", value_parser = seconds, allow_negative_numbers = true)]
    pub(super) start: Option<f64>,
    /// Pulses in a cycle, 2 to 48; threes and twos can be told apart from 5 on [default: 6, or as kept]
    #[arg(long, value_name = "N", value_parser = cycle, allow_negative_numbers = true)]
    pub(super) cycle: Option<crate::rhythm::Cycle>,
    /// Show the accents of this cycle as a grid, in text and in the picture [default: the one that leans most clearly]
    #[arg(long, value_name = "N", value_parser = nth_cycle, allow_negative_numbers = true)]
    pub(super) cycle_shown: Option<usize>,
    /// Answer threes or twos for each, never unclear
    #[arg(long)]
    pub(super) forced: bool,
    /// Keep what another person says of the file: CSV with the columns from, until, mark, confidence; with these names
    /// alone in it, take all back that is kept of that person
    #[arg(long, value_name = "CSV", requires = "by", group = "marking")]
    pub(super) marks: Option<PathBuf>,
    /// Write what you say of the file to this CSV file, never over one that is there; - is standard output
    #[arg(long, value_name = "CSV", groups = ["marking", "form"])]
    pub(super) marks_out: Option<PathBuf>,
    /// Whose marks they are, with --marks or --marks-out; capitals do not matter
    #[arg(long, value_name = "NAME", requires = "marking", value_parser = person)]
    pub(super) by: Option<crate::label::Label>,
    /// What a pulse is in a MIDI file [default: 1/8]
    #[arg(long, value_name = "NOTE", value_parser = pulse_note)]
    pub(super) pulse_note: Option<crate::listen::PulseNote>,
}

impl Listen {
    /// Where the first cycle of a MIDI file begins that is counted on its own grid, in seconds.
    pub(super) fn first_cycle(&self) -> Option<f64> {
        self.start.filter(|_| self.tempo.is_none())
    }

    /// Pulses in a cycle where nothing is kept.
    pub(super) fn cycle(&self) -> crate::rhythm::Cycle {
        self.cycle.unwrap_or(crate::rhythm::Cycle::SIX)
    }

    /// What a pulse of notes is.
    pub(super) fn pulse_note(&self) -> crate::listen::PulseNote {
        let usual = crate::listen::PulseNote::EIGHTH;
        self.pulse_note.unwrap_or(usual)
    }
}

pub(super) fn label(text: &str) -> Result<crate::label::Label, String> {
    let label = crate::label::Label::new(text);
    label.map_err(|error| format!("found {error}; a name was expected"))
}

/// The name of somebody who is not the learner.
fn person(text: &str) -> Result<crate::label::Label, String> {
    let name = label(text)?;
    let other = crate::mark::By::other(name.clone());
    other.map(|_| name).ok_or_else(|| {
        "the name of another person was expected; the program calls itself or you so".to_owned()
    })
}

/// A text that somebody wrote about something, on one line.
pub(super) fn line(text: &str) -> Result<crate::label::Label, String> {
    let label = crate::label::Label::new(text);
    label.map_err(|error| format!("found {error}; a short text on one line was expected"))
}

/// What is called by a number in a list.
pub(super) fn number(text: &str) -> Result<u32, String> {
    let number = text.parse().ok().filter(|number| *number > 0);
    number.ok_or_else(|| "a number from 1 on was expected".to_owned())
}

pub(super) fn day(text: &str) -> Result<crate::world::Day, String> {
    crate::world::parse_day(text).ok_or_else(|| "a date such as 2026-03-02 was expected".to_owned())
}

fn tempo(text: &str) -> Result<crate::rhythm::Tempo, String> {
    let ppm = text
        .parse::<f64>()
        .ok()
        .filter(|ppm| (20.0..=600.0).contains(ppm));
    let tempo = ppm.and_then(|ppm| crate::rhythm::Tempo::of_hundredths(hundredths(ppm)).ok());
    tempo.ok_or_else(|| "pulses a minute from 20 to 600 were expected".to_owned())
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "20 to 600 pulses a minute"
)]
fn hundredths(ppm: f64) -> u32 {
    (ppm * 100.0).round() as u32
}

fn seconds(text: &str) -> Result<f64, String> {
    let seconds = text.parse::<f64>().ok();
    let held = seconds.filter(|seconds| (0.0..=360_000.0).contains(seconds));
    held.ok_or_else(|| "seconds from the beginning, 0 or more, were expected".to_owned())
}

fn cycle(text: &str) -> Result<crate::rhythm::Cycle, String> {
    let n = text.parse().ok();
    let cycle = n.and_then(|n| crate::rhythm::Cycle::new(n).ok());
    cycle.ok_or_else(|| "a whole number from 2 to 48 was expected".to_owned())
}

fn nth_cycle(text: &str) -> Result<usize, String> {
    let nth = text.parse().ok().filter(|nth| *nth > 0);
    nth.ok_or_else(|| "the number of a cycle, from 1 on, was expected".to_owned())
}

fn pulse_note(text: &str) -> Result<crate::listen::PulseNote, String> {
    let note = crate::listen::PulseNote::parse(text);
    note.ok_or_else(|| "a share of a whole note such as 1/8 was expected".to_owned())
}

fn feel(text: &str) -> Result<crate::rhythm::Feel, String> {
    crate::rhythm::Feel::from_id(text)
        .ok_or_else(|| "one of threes, twos, both, in-turn, either, mixed was expected".to_owned())
}

fn cue(text: &str) -> Result<Cue, String> {
    // Claps and bells carry no grouping of a phrase.
    let carries = |cue: &Cue| !matches!(cue, Cue::Clap | Cue::Bell);
    Cue::from_id(text).filter(carries).ok_or_else(|| {
        let ids: Vec<&str> = Cue::ALL
            .iter()
            .filter(|cue| carries(cue))
            .map(|cue| cue.id())
            .collect();
        format!("one of {} was expected", ids.join(", "))
    })
}

fn third(text: &str) -> Result<Third, String> {
    Third::from_word(text).ok_or_else(|| "one of slow, middle, fast was expected".to_owned())
}

fn seed(text: &str) -> Result<u64, String> {
    text.parse()
        .map_err(|_| format!("a whole number from 0 to {} was expected", u64::MAX))
}

pub(super) fn bars(text: &str) -> Result<Bars, String> {
    Bars::from_id(text).ok_or_else(|| "one of threes, twos, felt was expected".to_owned())
}

pub(super) fn decibels(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(db) if (1.5..=12.0).contains(&db) => Ok(db),
        _ => Err("a number from 1.5 to 12 was expected".to_owned()),
    }
}
