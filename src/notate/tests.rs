//! The bytes and texts of files, against values from outside and by law.

use proptest::prelude::*;

use super::*;
use crate::phrase::{
    Bell, Entry, Family, Level, Loudness, Note, Phrase, Pitch, Purpose, Recipe, RecipeParts, Touch,
    Voice, Wanted, make,
};
use crate::rhythm::{Counting, Cycle, Feel, Tempo, Tick, Ticks};
use crate::world::Seed;

fn recipe(families: &[Family], entries: &[Entry]) -> Recipe {
    Recipe::new(RecipeParts {
        patterns: vec![crate::rhythm::Pattern::SIX],
        families: families.to_vec(),
        feels: Feel::OPEN.to_vec(),
        tempo: (100, 260),
        pacing: crate::phrase::Pacing::Steady,
        rival: crate::phrase::Rival::None,
        cycles: (4, 8),
        entries: entries.to_vec(),
        bell: Bell::None,
    })
    .expect("a possible recipe")
}

fn made(families: &[Family], entry: Entry, feel: Feel, seed: u64) -> Phrase {
    let wanted = Wanted {
        feel,
        level: Level::of_tenths(60),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let made = make(&recipe(families, &[entry]), &wanted, Seed(seed));
    made.expect("a phrase").phrase().clone()
}

/// A phrase of one cycle of six at 240 pulses a minute.
fn bare(entry: i64, notes: Vec<Note>) -> Phrase {
    Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_pulses_a_minute(240).expect("a tempo").into(),
        n_cycles: 1,
        entry,
        feel: Feel::Either,
        notes,
    }
}

fn note(voice: Voice, ticks: i64, length: u32, pitch: Option<u8>) -> Note {
    Note {
        at: Tick(ticks),
        delay: 3_000,
        length: Ticks(length),
        voice,
        pitch: pitch.map(Pitch),
        loudness: Loudness(0),
        touch: Touch::Finger,
    }
}

fn unhex(text: &str) -> Vec<u8> {
    text.split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).expect("a byte"))
        .collect()
}

#[track_caller]
fn check_midi(phrase: &Phrase, bars: Bars, tracks: &[&str]) {
    let mut expected = unhex("4d 54 68 64 00 00 00 06 00 01");
    expected.extend([0, u8::try_from(tracks.len()).expect("few")]);
    expected.extend(unhex("01 e0"));
    for track in tracks {
        let body = unhex(track);
        expected.extend(unhex("4d 54 72 6b 00 00 00"));
        expected.push(u8::try_from(body.len()).expect("short"));
        expected.extend(body);
    }
    let hex = |bytes: &[u8]| {
        bytes
            .iter()
            .map(|b| format!("{b:02x}"))
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(hex(&midi(phrase, bars)), hex(&expected));
}

// Standard MIDI Files 1.0 (1988), from memory and computed both ways with mido 1.3.3: header, chunk
// lengths, ff 51 03 microseconds a quarter, ff 58 04 with the lower number as a power of two, delta
// times of seven bits a byte (81 70 is 240, 8b 20 is 1440), ff 2f 00. General MIDI level 1: nylon
// guitar is 25 counted from 1, side stick 37, channel 10 counted from 1.

#[test]
fn a_knock_in_threes_and_in_twos_byte_for_byte() {
    let knock = bare(0, vec![note(Voice::Strike, 0, 120, None)]);
    let track = "00 ff 03 06 73 74 72 69 6b 65 00 99 25 5a 78 89 25 40 8a 28 ff 2f 00";
    let tempo = "00 ff 51 03 07 a1 20";
    let end = "8b 20 ff 2f 00";
    let threes = format!("{tempo} 00 ff 58 04 06 03 24 08 {end}");
    check_midi(&knock, Bars::Threes, &[&threes, track]);
    // The tempo is the same in 3/4: it counts quarters whatever the metre.
    let twos = format!("{tempo} 00 ff 58 04 03 02 18 08 {end}");
    check_midi(&knock, Bars::Twos, &[&twos, track]);
}

#[test]
fn a_pickup_is_a_short_bar_and_a_string_plays_the_nylon_guitar() {
    // The two strokes of one key: the first ends where the second begins.
    let notes = vec![
        note(Voice::Bass, -240, 420, Some(40)),
        note(Voice::Bass, 0, 420, Some(40)),
    ];
    let tempo = "00 ff 51 03 07 a1 20 00 ff 58 04 01 03 0c 08 81 70 ff 58 04 06 03 24 08";
    let track = "00 ff 03 04 62 61 73 73 00 c2 18 00 92 28 5a 81 70 82 28 40 00 92 28 5a \
                 83 24 82 28 40 86 0c ff 2f 00";
    check_midi(
        &bare(-1, notes),
        Bars::Threes,
        &[&format!("{tempo} 89 30 ff 2f 00"), track],
    );
}

#[test]
fn a_late_entry_begins_with_rests() {
    let late = bare(4, vec![note(Voice::Strike, 960, 120, None)]);
    // 960 ticks are 87 40 in sevens of bits.
    let track = "00 ff 03 06 73 74 72 69 6b 65 87 40 99 25 5a 78 89 25 40 8a 28 ff 2f 00";
    let tempo = "00 ff 51 03 07 a1 20 00 ff 58 04 06 03 24 08 92 60 ff 2f 00";
    check_midi(&late, Bars::Threes, &[tempo, track]);
    let text = musicxml(&late, "late", Bars::Threes);
    assert_eq!(text.matches("<measure ").count(), 2);
    assert!(!text.contains("implicit"));
}

#[test]
fn delta_times_are_as_in_the_table_of_the_specification() {
    // Table of variable-length numbers, Standard MIDI Files 1.0, 1988 (from memory, computed both ways).
    let table = [
        (0, "00"),
        (64, "40"),
        (127, "7f"),
        (128, "81 00"),
        (8_192, "c0 00"),
        (16_383, "ff 7f"),
        (16_384, "81 80 00"),
        (1_048_576, "c0 80 00"),
        (2_097_151, "ff ff 7f"),
        (2_097_152, "81 80 80 00"),
    ];
    for (ticks, delta) in table {
        let mut long = bare(0, vec![note(Voice::Strike, ticks, 120, None)]);
        long.n_cycles = 2_000;
        let bytes = midi(&long, Bars::Threes);
        let name = unhex("ff 03 06 73 74 72 69 6b 65");
        let at = bytes.windows(name.len()).position(|window| window == name);
        let rest = &bytes[at.expect("the name of the track") + name.len()..];
        let mut expected = unhex(delta);
        expected.extend(unhex("99 25 5a"));
        assert!(rest.starts_with(&expected), "{ticks}");
    }
}

#[test]
fn velocity_is_ninety_and_forty_decibels_to_the_tenfold() {
    // General MIDI guidelines (from memory): decibels are 40 log10 of velocity over its reference.
    for (tenths, velocity) in [(0, 90), (60, 127), (-60, 64), (-120, 45), (-32_768, 1)] {
        assert_eq!(Loudness(tenths).velocity(), velocity, "{tenths}");
    }
}

/// Element names, numbers and texts of MusicXML in one line, for reading.
fn outline(text: &str, elements: &[&str]) -> String {
    let found = text.lines().filter_map(|line| {
        let (name, rest) = line.trim().strip_prefix('<')?.split_once('>')?;
        let name = name.split(' ').next()?.trim_end_matches('/');
        let value = rest.split('<').next()?;
        elements.contains(&name).then(|| format!("{name}{value}"))
    });
    found.collect::<Vec<_>>().join(" ")
}

#[test]
fn lengths_are_split_at_the_edges_of_groups_and_bars() {
    // From the second pulse three pulses long: across the middle of 6/8, and across a quarter of 3/4.
    let long = bare(0, vec![note(Voice::Line, 240, 720, Some(69))]);
    let values = |bars| outline(&musicxml(&long, "t", bars), &["type", "dot", "tie", "rest"]);
    assert_eq!(
        values(Bars::Threes),
        "rest typeeighth tie typequarter tie typeeighth rest typequarter"
    );
    assert_eq!(
        values(Bars::Twos),
        "rest typeeighth tie typeeighth tie typequarter rest typequarter"
    );
}

#[test]
fn accidentals_are_written_where_they_change() {
    let tune = [69, 70, 70, 69, 68, 66];
    let notes = (0..)
        .zip(tune)
        .map(|(idx, pitch)| note(Voice::Line, idx * 240, 235, Some(pitch)));
    let text = musicxml(&bare(0, notes.collect()), "t", Bars::Threes);
    assert_eq!(
        outline(&text, &["step", "alter", "octave", "accidental", "beam"]),
        "stepA octave4 beambegin stepB alter-1 octave4 accidentalflat beamcontinue \
         stepB alter-1 octave4 beamend stepA octave4 beambegin stepG alter1 octave4 \
         accidentalsharp beamcontinue stepF alter1 octave4 accidentalsharp beamend"
    );
}

#[test]
fn sixteenths_have_two_beams() {
    let notes = [0, 240, 360, 480].map(|at| note(Voice::Line, at, 120, Some(64)));
    let text = musicxml(&bare(0, notes.to_vec()), "t", Bars::Threes);
    // A rest parts the first from the second.
    assert_eq!(
        outline(&text, &["rest", "type", "beam"]),
        "type16th rest type16th type16th beambegin beambegin type16th beamcontinue beamcontinue \
         type16th beamend beamend rest type16th rest typequarter"
    );
}

#[test]
fn in_turn_changes_the_metre_and_both_gives_each_voice_its_own() {
    let turn = made(&[Family::BassStrums], Entry::One, Feel::InTurn, 7);
    let text = musicxml(&turn, "t", Bars::AsFelt);
    let metres = outline(&text, &["beats"]);
    assert!(
        metres.contains("beats6") && metres.contains("beats3"),
        "{metres}"
    );
    let both = made(&[Family::Chords], Entry::One, Feel::Both, 7);
    let metres = outline(&musicxml(&both, "t", Bars::AsFelt), &["beats"]);
    assert!(
        ["beats6 beats3", "beats3 beats6"].contains(&&*metres),
        "{metres}"
    );
}

#[test]
fn neither_file_nor_questions_say_the_feel() {
    for feel in Feel::OPEN {
        for seed in 0..20 {
            let phrase = made(&Family::ALL, Entry::Pickup, feel, seed);
            let bytes = midi(&phrase, Bars::Threes);
            let text = musicxml(&phrase, "a phrase", Bars::Threes);
            for word in [feel.id(), feel.words()] {
                assert!(!text.contains(word), "{word}");
                assert!(
                    !bytes.windows(word.len()).any(|w| w == word.as_bytes()),
                    "{word}"
                );
            }
        }
    }
}

fn page(phrase: &Phrase) -> Page {
    let item = Item {
        label: "a phrase",
        phrase,
        counting: Counting::FromOne,
        asked: None,
    };
    sheet("What do you hear?", &[item]).remove(0)
}

#[test]
fn questions_are_alike_whatever_the_answer() {
    // Only what is printed of speed and length may differ.
    let alike = |feel, entry| {
        let mut phrase = made(&[Family::BassStrums], entry, feel, 3);
        phrase.pace = Tempo::of_pulses_a_minute(150).expect("a tempo").into();
        phrase.n_cycles = 4;
        phrase
    };
    let first = page(&alike(Feel::Threes, Entry::One));
    for feel in Feel::OPEN {
        for entry in Entry::ALL {
            let other = page(&alike(feel, entry));
            assert_eq!(first.questions, other.questions, "{feel:?} {entry:?}");
            assert_eq!(
                first.key == other.key,
                (feel, entry) == (Feel::Threes, Entry::One)
            );
        }
    }
}

#[test]
fn phrases_go_over_to_further_pages() {
    let phrase = made(&[Family::Line], Entry::One, Feel::Twos, 1);
    let item = Item {
        label: "<one> & \"two\"",
        phrase: &phrase,
        counting: Counting::UnDos,
        asked: None,
    };
    let pages = sheet("Heading", &[item; 9]);
    assert_eq!(pages.len(), 3);
    assert!(
        pages[2]
            .questions
            .contains("9. &lt;one&gt; &amp; &quot;two&quot;")
    );
    assert!(sheet("Heading", &[]).is_empty());
}

/// A question with two choices, of which the second is right, on a page.
fn asked_pages(phrase: &Phrase) -> (Page, String) {
    let choices = ["a < b".to_owned(), "c & d".to_owned()];
    let item = Item {
        label: "<script>alert(1)</script>",
        phrase,
        counting: Counting::FromOne,
        asked: Some(Asked {
            lines: &["What is \"it\"?"],
            choices: &choices,
            right: Some(1),
            answer: "It was the second & last.",
        }),
    };
    let heading = "Heading </style>";
    let page = sheet(heading, &[item]).remove(0);
    (page, html(heading, "seed 5", &[item]))
}

#[test]
fn the_key_alone_answers_what_is_asked() {
    let phrase = made(&[Family::BassStrums], Entry::Any, Feel::Twos, 5);
    let (page, document) = asked_pages(&phrase);
    let (questions, key) = document.split_once("class=\"key\"").expect("two halves");
    for (questions, key, cross) in [
        (&*page.questions, &*page.key, "<line "),
        (questions, key, ">x</span>"),
    ] {
        assert!(questions.contains("a &lt; b") && questions.contains("c &amp; d"));
        for told in [cross, "It was the second &amp; last."] {
            assert!(!questions.contains(told), "{told}");
            assert!(key.contains(told), "{told}");
        }
    }
    // The box before the second choice, and no other, is crossed.
    let crossed = "<span class=\"box\">x</span>\n";
    assert_eq!(key.matches(crossed).count(), 1);
    let (_, rest) = key.split_once(crossed).expect("a cross");
    assert!(rest.trim_start().starts_with("<span>c &amp; d</span>"));
    assert!(questions.find("seed 5").is_none() && key.contains("seed 5"));
}

#[test]
fn a_document_runs_nothing_and_fetches_nothing() {
    let phrase = made(&[Family::BassStrums], Entry::Any, Feel::Twos, 5);
    let (_, document) = asked_pages(&phrase);
    assert!(document.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"));
    assert!(document.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(document.contains("break-before: page"));
    // The one style ends where it was meant to.
    assert_eq!(document.matches("</style>").count(), 1);
    let (_, style) = document.split_once("<style>").expect("a style");
    let (style, _) = style.split_once("</style>").expect("its end");
    assert!(!style.contains('&'), "escapes mean nothing in a style");
    for never in [
        "<script", "src=", "href=", "url(", "http:", "https:", "@import", " on",
    ] {
        let attributes = document.split('<').filter_map(|tag| tag.split('>').next());
        let found = attributes.filter(|tag| tag.contains(never)).count();
        assert_eq!(found, 0, "{never}");
        assert!(
            !style.contains(never.trim_start_matches(" on")) || never == " on",
            "{never}"
        );
    }
    // Elements without an end, and no others, are written as empty.
    let empty = document.split('<').filter(|tag| tag.contains("/>"));
    assert!(empty.into_iter().all(|tag| tag.starts_with("meta ")));
}

#[test]
fn the_score_of_one_phrase() {
    let mut phrase = made(&[Family::Line], Entry::Pickup, Feel::Both, 5);
    phrase.n_cycles = 1;
    let ends = phrase.ends();
    phrase.notes.retain(|note| note.at < ends);
    insta::assert_snapshot!(musicxml(&phrase, "a phrase & its <title>", Bars::AsFelt));
}

#[test]
fn the_key_of_one_phrase() {
    let phrase = made(&[Family::BassStrums], Entry::Pickup, Feel::InTurn, 5);
    insta::assert_snapshot!(page(&phrase).key);
}

proptest! {
    #[test]
    fn bars_are_full_whatever_the_notes(
        entry in -15_i64..15,
        ticks in prop::collection::vec((-4_000_i64..6_000, 1_u32..3_000, 0_u8..=255), 0..30),
        n_pulses in 2_i64..=48,
    ) {
        let notes = ticks.into_iter().map(|(at, length, pitch)| note(Voice::Line, at, length, Some(pitch)));
        let mut phrase = bare(entry, notes.collect());
        phrase.cycle = Cycle::new(n_pulses).expect("a cycle");
        phrase.n_cycles = 2;
        for bars in Bars::ALL {
            let text = musicxml(&phrase, "t", bars);
            for measure in text.split("<measure ").skip(1) {
                let is_chord = |note: &&str| !note.contains("<chord/>");
                let sixteenths: i64 = measure
                    .split("<note")
                    .skip(1)
                    .filter(is_chord)
                    .map(|note| {
                        let (_, rest) = note.split_once("<duration>").expect("a duration");
                        rest.split('<').next().and_then(|n| n.parse::<i64>().ok()).expect("a number")
                    })
                    .sum();
                let full = if measure.starts_with("number=\"0\"") {
                    (-entry).rem_euclid(n_pulses) * 2
                } else {
                    n_pulses * 2
                };
                prop_assert_eq!(sixteenths, full);
            }
            let bytes = midi(&phrase, bars);
            prop_assert!(midly::Smf::parse(&bytes).is_ok());
        }
    }
}
