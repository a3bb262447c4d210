//! What other people's libraries read in the files of a phrase is what the phrase has.
//!
//! `tests/reference/scripts/read_back.py` makes phrases with the built program, reads the files with
//! mido and music21, validates the MusicXML, and writes `tests/reference/fixtures/read_back.json`. A
//! fingerprint ties what was read to the bytes that are written today.

use contrapalma::deck::{self, Exercise};
use contrapalma::notate::{self, Bars};
use contrapalma::phrase::{GENERATOR, Level, Phrase, Purpose, Voice, Wanted, make};
use contrapalma::quiz::Form;
use contrapalma::rhythm::{Feel, Tick};
use contrapalma::world::Seed;
use serde_json::Value;

/// A phrase of the fixture, and what was read in its files.
struct Case {
    read: Value,
    name: String,
    label: String,
    phrase: Phrase,
    bars: Bars,
}

fn cases() -> Vec<Case> {
    let text = include_str!("../reference/fixtures/read_back.json");
    let whole: Value = serde_json::from_str(text).expect("the fixture is JSON");
    let cases = whole["cases"].as_array().expect("a list");
    assert_eq!(cases.len(), 28, "a shortened fixture proves nothing");
    cases.iter().map(case).collect()
}

#[track_caller]
fn case(read: &Value) -> Case {
    let text = |key: &str| read[key].as_str().expect("a text").to_owned();
    assert_eq!(
        read["generator"],
        u64::from(GENERATOR),
        "another generator: run read_back.py again"
    );
    let own = deck::parse(include_str!("../reference/fixtures/read_back.toml"));
    let decks = [deck::built_in(), own.expect("a deck without a fault")];
    let is_asked = |exercise: &&Exercise| {
        exercise.skill.0.split_once('/').map(|(_, id)| id) == read["exercise"].as_str()
    };
    let mut exercises = decks.iter().flat_map(|deck| deck.exercises());
    let exercise = exercises.find(is_asked).expect("in a deck");
    let id = exercise.skill.0.to_string();
    let feel = Feel::from_id(&text("feel")).expect("a feel");
    let seed = read["seed"].as_u64().expect("a seed");
    let wanted = Wanted {
        feel,
        level: Level::of_decibels(read["level"].as_f64().expect("a level")),
        knocks: None,
        purpose: match exercise.form {
            Form::FindStart(_) => Purpose::FindStart,
            _ => Purpose::NameFeel,
        },
    };
    let measured = make(
        exercise.material.recipe().expect("it is made"),
        &wanted,
        Seed(seed),
    )
    .expect("a phrase");
    Case {
        name: format!("{id} {} {seed}", feel.id()),
        label: format!("{id}, seed {seed}"),
        phrase: measured.phrase().clone(),
        bars: Bars::from_id(&text("bars")).expect("bars"),
        read: read.clone(),
    }
}

/// FNV-1a, 64 bits: http://www.isthe.com/chongo/tech/comp/fnv (from memory; the script has its own).
fn fingerprint(bytes: &[u8]) -> String {
    let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x100_0000_01b3)
    });
    format!("{hash:016x}")
}

fn n_cycle(phrase: &Phrase) -> i64 {
    i64::try_from(phrase.cycle.n_pulses()).expect("a small number")
}

/// The pulse on which the file begins: a pickup, or the first count of the cycle of entry.
fn first_pulse(phrase: &Phrase) -> i64 {
    if phrase.entry < 0 {
        phrase.entry
    } else {
        phrase.entry / n_cycle(phrase) * n_cycle(phrase)
    }
}

/// How many pulses the file has.
fn n_pulses(phrase: &Phrase) -> i64 {
    phrase.entry + i64::from(phrase.n_cycles) * n_cycle(phrase) - first_pulse(phrase)
}

/// What of a voice stands in the score: onsets to the nearest sixteenth, and the chord as long as its
/// longest note, up to the next sixteenth and the next stroke.
fn written(phrase: &Phrase, voice: Voice) -> Vec<(i64, i64, Option<i64>)> {
    let near = |at: i64| (at + 60).div_euclid(120) * 120;
    let mut strokes = strokes(phrase, voice);
    strokes.retain(|(at, ..)| near(*at) < n_pulses(phrase) * 240);
    let length = |at: i64| {
        let same = strokes.iter().filter(|(other, ..)| near(*other) == at);
        let longest = same.map(|(from, to, ..)| to - from).max().unwrap_or(0);
        let later = strokes
            .iter()
            .map(|(other, ..)| near(*other))
            .filter(|other| *other > at);
        let room = later.min().unwrap_or(n_pulses(phrase) * 240) - at;
        ((longest + 119) / 120 * 120).min(room)
    };
    let mut chords: Vec<(i64, i64, Option<i64>)> = strokes
        .iter()
        .map(|(at, _, pitch, _)| (near(*at), length(near(*at)), *pitch))
        .collect();
    chords.sort_unstable();
    chords.dedup();
    chords
}

/// Onsets from the start of the file, ends, and pitches of a voice, in ticks.
fn strokes(phrase: &Phrase, voice: Voice) -> Vec<(i64, i64, Option<i64>, u8)> {
    let zero = first_pulse(phrase) * 240;
    let end = n_pulses(phrase) * 240;
    let own = phrase.notes.iter().filter(|note| note.voice == voice);
    let mut strokes: Vec<(i64, i64, Option<i64>, u8)> = own
        .map(|note| {
            let at = note.at.0 - zero;
            let ends = (at + i64::from(note.length.0)).min(end);
            let pitch = note.pitch.map(|pitch| i64::from(pitch.0));
            (at, ends, pitch, note.loudness.velocity())
        })
        .collect();
    // Of two strings at one pitch the louder is written.
    strokes.sort_by_key(|(at, _, pitch, velocity)| (*at, *pitch, 255 - *velocity));
    strokes.dedup_by_key(|(at, _, pitch, _)| (*at, *pitch));
    strokes
}

#[test]
fn what_was_read_is_what_is_written_today() {
    for case in cases() {
        let midi = notate::midi(&case.phrase, case.bars);
        assert_eq!(
            case.read["midi_fingerprint"],
            fingerprint(&midi),
            "{}: another MIDI file; run read_back.py again",
            case.name
        );
        let text = notate::musicxml(&case.phrase, &case.label, case.bars);
        assert_eq!(
            case.read["musicxml_fingerprint"],
            fingerprint(text.as_bytes()),
            "{}: another MusicXML file; run read_back.py again",
            case.name
        );
    }
}

#[test]
fn midi_reads_as_the_notes_of_the_phrase() {
    for Case {
        read, name, phrase, ..
    } in cases()
    {
        let midi = &read["midi"];
        assert_eq!(
            (&midi["format"], &midi["division"]),
            (&1.into(), &480.into()),
            "{name}"
        );
        let tracks = midi["tracks"].as_array().expect("tracks");
        assert_eq!(tracks.len(), phrase.voices().len(), "{name}");
        for (track, voice) in tracks.iter().zip(phrase.voices()) {
            assert_eq!(track["name"], voice.name(), "{name}");
            let key = match voice {
                Voice::Strike => Some(37),
                Voice::Claps => Some(39),
                Voice::Bell => Some(56),
                _ => None,
            };
            let strokes = strokes(&phrase, voice);
            let expected: Vec<Value> = strokes
                .iter()
                .map(|(at, ends, pitch, velocity)| {
                    // A key that is struck again ends first.
                    let again = strokes
                        .iter()
                        .find(|(next, _, p, _)| next > at && p == pitch);
                    let ends = again.map_or(*ends, |(next, ..)| *next.min(ends));
                    serde_json::json!([at, ends - at, pitch.or(key), velocity])
                })
                .collect();
            // Which of the notes of one moment comes first is the reader's affair.
            let in_order = |notes: &[Value]| {
                let mut notes = notes.to_vec();
                notes.sort_by_key(|note| (note[0].as_i64(), note[2].as_i64()));
                notes
            };
            let read = track["notes"].as_array().expect("a list of notes");
            assert_eq!(
                in_order(read),
                in_order(&expected),
                "{name}, {}",
                voice.name()
            );
            let program = if key.is_none() { vec![24] } else { vec![] };
            assert_eq!(track["programs"], Value::from(program), "{name}");
            let is_percussion = track["channels"] == Value::from(vec![9]);
            assert_eq!(is_percussion, key.is_some(), "{name}");
        }
    }
}

#[test]
fn midi_lasts_as_long_as_the_phrase_sounds() {
    for Case {
        read, name, phrase, ..
    } in cases()
    {
        // Pulse by pulse, each as long as its tempo has it.
        let pulses = first_pulse(&phrase)..first_pulse(&phrase) + n_pulses(&phrase);
        let long = |pulse| 60.0 / phrase.pace.at(Tick::of_pulse(pulse)).pulses_a_minute();
        let expected: f64 = pulses.map(long).sum();
        let seconds = read["midi"]["seconds"].as_f64().expect("seconds");
        // Tempo is written in whole microseconds a quarter.
        assert!(
            (seconds - expected).abs() < 1e-4,
            "{name}: {seconds} for {expected}"
        );
    }
}

#[test]
fn musicxml_reads_as_the_written_notes_of_the_phrase() {
    for Case {
        read, name, phrase, ..
    } in cases()
    {
        let parts = read["musicxml"]["parts"].as_array().expect("parts");
        assert_eq!(parts.len(), phrase.voices().len(), "{name}");
        for (part, voice) in parts.iter().zip(phrase.voices()) {
            assert_eq!(part["name"], voice.name(), "{name}");
            let written = written(&phrase, voice);
            let expected: Vec<Value> = written
                .iter()
                .map(|(at, length, pitch)| serde_json::json!([at, length, pitch]))
                .collect();
            assert_eq!(
                part["notes"],
                Value::from(expected),
                "{name}, {}",
                voice.name()
            );
        }
        let tempo = phrase.tempo().pulses_a_minute();
        assert_eq!(read["musicxml"]["tempo"][0].as_f64(), Some(tempo), "{name}");
        assert_eq!(
            read["musicxml"]["title"],
            Value::from(case(&read).label),
            "{name}"
        );
    }
}

/// The metre of every whole bar, as the two numbers, by what the case says of itself.
#[track_caller]
fn metre(case: &Case, voice: &str, cycle: i64) -> (u64, u64) {
    let n = u64::try_from(n_cycle(&case.phrase)).expect("a small number");
    let threes = (n, 8);
    let twos = if n.is_multiple_of(2) {
        (n / 2, 4)
    } else {
        (n, 8)
    };
    match (case.bars, case.phrase.feel) {
        (Bars::Threes, _) | (Bars::AsFelt, Feel::Threes) => threes,
        (Bars::Twos, _) | (Bars::AsFelt, Feel::Twos) => twos,
        // The low notes of these phrases in turn say it: three pulses apart, or two.
        (Bars::AsFelt, Feel::InTurn) => {
            let in_cycle = |at: i64| at.div_euclid(1440) == cycle;
            let low = strokes(&case.phrase, Voice::Bass);
            let n_low = low.iter().filter(|(at, ..)| in_cycle(*at)).count();
            if n_low == 2 { threes } else { twos }
        }
        (Bars::AsFelt, Feel::Both) => {
            let twos_only = strokes(
                &case.phrase,
                Voice::ALL
                    .into_iter()
                    .find(|v| v.name() == voice)
                    .expect("a voice"),
            );
            let n = twos_only.iter().filter(|(at, ..)| *at < 1440).count();
            if n == 3 { twos } else { threes }
        }
        (Bars::AsFelt, Feel::Mixed) if !n.is_multiple_of(3) => twos,
        (Bars::AsFelt, Feel::Either | Feel::Mixed) => threes,
    }
}

#[test]
fn musicxml_is_barred_as_asked() {
    let mut n_metres = std::collections::BTreeSet::new();
    for case in cases() {
        for part in case.read["musicxml"]["parts"].as_array().expect("parts") {
            let voice = part["name"].as_str().expect("a name");
            let pickup = (-case.phrase.entry).max(0);
            let mut begins = 0;
            let bars = part["bars"].as_array().expect("bars");
            let n = n_cycle(&case.phrase);
            let n_sounding = i64::from(case.phrase.n_cycles) * n + case.phrase.entry.rem_euclid(n);
            let n_whole = if pickup > 0 {
                i64::from(case.phrase.n_cycles)
            } else {
                (n_sounding + n - 1) / n
            };
            assert_eq!(
                bars.len() as i64,
                n_whole + i64::from(pickup > 0),
                "{}",
                case.name
            );
            for (idx, bar) in (0..).zip(bars) {
                let number = idx + i64::from(pickup == 0);
                let length = if number == 0 { pickup * 240 } else { n * 240 };
                let (beats, beat) = metre(&case, voice, (number - 1).max(0));
                n_metres.insert((case.bars.id(), beats));
                let expected = serde_json::json!([number, begins, length, beats, beat]);
                assert_eq!(*bar, expected, "{}, {voice}", case.name);
                begins += length;
            }
        }
    }
    // In six: threes, twos, and both as felt; other cycles add their own.
    assert!(n_metres.len() > 4, "{n_metres:?}");
}
