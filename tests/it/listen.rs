//! What `listen` hears: envelopes against values from outside, and the program's own phrases, which
//! are rendered and heard anew, so that making and hearing check each other.

use std::fs;
use std::io::Cursor;

use contrapalma::listen::{Analysis, Answers, Ear, Lean, Pulses};
use contrapalma::pcm::{Pcm, SampleRate, wav};
use contrapalma::phrase::{
    Bell, Entry, Family, Level, Measured, Pacing, Purpose, Recipe, RecipeParts, Rival, Wanted, make,
};
use contrapalma::rhythm::{Cycle, Feel, Pattern, Tick};
use contrapalma::sound::{Timeline, render};
use contrapalma::world::Seed;
use serde_json::Value;

use crate::program::{Home, run};
use crate::terminal::{Terminal, on_screen, program};

/// Families whose cue is heard in the sound by itself, and which state all feels.
const CLEAR: [Family; 6] = [
    Family::Plain,
    Family::BassChords,
    Family::Arpeggio,
    Family::Loudness,
    Family::Strike,
    Family::Touch,
];

fn made(family: Family, feel: Feel, seed: u64) -> Measured {
    let recipe = Recipe::new(RecipeParts {
        patterns: vec![Pattern::SIX],
        families: vec![family],
        feels: Feel::OPEN.to_vec(),
        tempo: (120, 220),
        pacing: Pacing::Steady,
        rival: Rival::None,
        cycles: (6, 8),
        entries: vec![Entry::One],
        bell: Bell::None,
    })
    .expect("a possible recipe");
    let wanted = Wanted {
        feel,
        level: Level::of_tenths(60),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    make(&recipe, &wanted, Seed(seed)).expect("a phrase of every family and feel")
}

fn heard(made: &Measured, seed: u64) -> Analysis {
    let rate = SampleRate::HZ_48000;
    let phrase = made.phrase();
    let mut ear = Ear::new(rate);
    ear.hear(&render(phrase, rate, Seed(seed)).mono());
    let timeline = Timeline::of(phrase, rate);
    let frame = |pulse| timeline.frame_of(Tick::of_pulse(pulse));
    let at = |pulse| f64::from(u32::try_from(frame(pulse).0).expect("short")) / 48_000.0;
    let pulses = phrase.begins().pulse_idx()..phrase.ends().pulse_idx();
    let pulses = Pulses::new(pulses.map(at).collect()).expect("rising");
    Analysis::of_sound(&ear.finish(), &pulses, Cycle::SIX, Answers::Open)
}

fn told(analysis: &Analysis) -> &'static str {
    if analysis.turns.is_empty() {
        analysis.whole.lean.id()
    } else {
        "in-turn"
    }
}

/// Of what share of phrases of these feels it comes back, and of what share the other one does.
fn loop_closed(feels: &[Feel], seeds: std::ops::Range<u64>) -> (f64, f64) {
    let (mut back, mut turned, mut n) = (0.0, 0.0, 0.0);
    for family in CLEAR {
        for feel in feels {
            for seed in seeds.clone() {
                let analysis = heard(&made(family, *feel, seed), seed);
                let other = match feel {
                    Feel::Threes => Some(Lean::Twos),
                    Feel::Twos => Some(Lean::Threes),
                    _ => None,
                };
                n += 1.0;
                back += f64::from(u8::from(told(&analysis) == feel.id()));
                turned += f64::from(u8::from(Some(analysis.whole.lean) == other));
            }
        }
    }
    (back / n, turned / n)
}

#[test]
fn the_feel_of_phrases_comes_back() {
    let feels = [Feel::Threes, Feel::Twos, Feel::Both, Feel::InTurn];
    let (back, turned) = loop_closed(&feels, 0..2);
    assert!(back >= 0.93, "{back}");
    assert!(turned == 0.0, "{turned}");
}

#[test]
#[ignore = "three hundred phrases"]
fn the_feel_of_many_phrases_comes_back() {
    let (back, turned) = loop_closed(&[Feel::Threes, Feel::Twos, Feel::InTurn], 100..117);
    assert!(back >= 0.98, "{back}");
    assert!(turned <= 0.003, "{turned}");
}

#[test]
#[ignore = "sixty phrases"]
fn both_comes_back_in_many_phrases() {
    let (back, _) = loop_closed(&[Feel::Both], 100..110);
    assert!(back >= 0.9, "{back}");
}

/// A phrase of an exercise of the path as files, and its description.
fn files(home: &Home, exercise: &str, feel: &str) -> Value {
    files_of(home, exercise, feel, 4)
}

fn files_of(home: &Home, exercise: &str, feel: &str, seed: u64) -> Value {
    let args = format!(
        "phrase {exercise} --deck path --feel {feel} --level 6 --seed {seed} --wav a.wav --json a.json --midi a.mid"
    );
    let ended = run(home.program(&args), "");
    assert_eq!(ended.code, 0, "{}", ended.err);
    let text = fs::read_to_string(home.file("a.json")).expect("written");
    serde_json::from_str(&text).expect("it is JSON")
}

fn write_pulses(home: &Home, told: &Value) {
    let times = told["pulses"].as_array().expect("a list");
    let lines: String = times.iter().map(|time| format!("{time}\n")).collect();
    home.write("pulses.csv", lines);
}

#[test]
fn the_command_describes_what_it_hears() {
    let home = Home::new();
    for feel in ["threes", "twos"] {
        let known = files(&home, "plain", feel);
        write_pulses(&home, &known);
        for args in [
            "listen a.wav --json --pulses pulses.csv",
            "listen a.mid --json",
            "listen a.mid --json --pulses pulses.csv",
        ] {
            let ended = run(home.program(args), "");
            assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{args}");
            let heard: Value = serde_json::from_str(&ended.out).expect("one object");
            assert_eq!(heard["whole"]["lean"], feel, "{args}: {heard:#}");
            let n_pulses = known["pulses"].as_array().expect("a list").len();
            assert_eq!(heard["pulses"].as_array().expect("a list").len(), n_pulses);
            let cycles = heard["cycles"].as_array().expect("a list");
            assert_eq!(cycles.len(), n_pulses / 6);
            for cycle in cycles {
                let sure = cycle["sure"].as_f64().expect("a number");
                assert!((0.0..=1.0).contains(&sure));
                assert!(cycle["threes"].as_f64().expect("a number") >= 0.0);
                assert!(cycle["twos"].as_f64().expect("a number") >= 0.0);
            }
        }
    }
}

#[test]
fn other_forms_say_the_same() {
    let home = Home::new();
    let known = files(&home, "plain", "twos");
    write_pulses(&home, &known);
    let text = run(home.program("listen a.wav --pulses pulses.csv"), "");
    assert!(text.out.contains("leaning to twos"), "{}", text.out);
    let csv = run(home.program("listen a.wav --csv --pulses pulses.csv"), "");
    assert_eq!((csv.code, csv.err.as_str()), (0, ""));
    assert!(
        csv.out.starts_with("file,cycle,start,lean,sure"),
        "{}",
        csv.out
    );
    assert!(csv.out.contains(",twos,"), "{}", csv.out);
    let svg = run(
        home.program("listen a.wav --svg a.svg --pulses pulses.csv"),
        "",
    );
    assert_eq!((svg.code, svg.out.as_str()), (0, ""));
    let drawn = fs::read_to_string(home.file("a.svg")).expect("written");
    assert!(drawn.contains(">2</text>"), "{drawn}");
}

#[test]
fn a_picture_goes_over_no_file_but_a_picture() {
    let home = Home::new();
    files(&home, "plain", "twos");
    let sound = fs::read(home.file("a.wav")).expect("written");
    home.write("dear.txt", "dear");
    home.write("list.csv", "0\n1\n2\n");
    fs::hard_link(home.file("a.wav"), home.file("alike.svg")).expect("a second name");
    for (args, says) in [
        (
            "listen a.wav --svg a.wav",
            "a.wav: found a file that is read",
        ),
        (
            "listen a.wav --svg a.wav --replace",
            "a.wav: found a file that is read",
        ),
        (
            "listen a.wav --svg alike.svg --replace",
            "alike.svg: found a file that is read",
        ),
        (
            "listen a.wav --pulses list.csv --svg list.csv --replace",
            "list.csv: found a file that is read",
        ),
        (
            "listen a.wav --svg dear.txt",
            "dear.txt: found a file that is no picture of a recording",
        ),
        (
            "listen a.wav a.mid --pulses list.csv",
            "list.csv: found 2 files for one list of pulses",
        ),
        ("listen a.wav --svg - --json", "only one can go to standard"),
        ("listen a.wav --replace", "--svg"),
    ] {
        let ended = run(home.program(args), "");
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{args}");
        assert!(ended.err.contains(says), "{args}: {}", ended.err);
        assert!(fs::read(home.file("a.wav")).expect("there") == sound);
        let text = fs::read_to_string(home.file("dear.txt"));
        assert_eq!(text.ok().as_deref(), Some("dear"));
    }
    // Over what was said to go, over an older picture, and to standard output.
    for args in [
        "listen a.wav --svg dear.txt --replace",
        "listen a.wav --svg dear.txt",
        "listen a.wav --svg new.svg",
    ] {
        let ended = run(home.program(args), "");
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{args}");
    }
    let picture = fs::read_to_string(home.file("new.svg")).expect("written");
    assert!(picture.contains("</svg>"), "{picture}");
    let printed = run(home.program("listen a.wav --svg -"), "");
    assert_eq!((printed.code, printed.out), (0, picture));
    assert!(!home.file("-").exists());
}

#[test]
fn a_picture_is_written_beside_other_forms() {
    let home = Home::new();
    files(&home, "plain", "twos");
    for (form, begins) in [
        ("--json", "{\""),
        ("--csv", "file,cycle,"),
        ("--text", "a.wav   "),
    ] {
        let ended = run(
            home.program(&format!("listen a.wav {form} --svg a.svg")),
            "",
        );
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{form}");
        assert!(ended.out.starts_with(begins), "{form}: {}", ended.out);
        let drawn = fs::read_to_string(home.file("a.svg")).expect("written");
        assert!(drawn.contains("</svg>"), "{form}");
        fs::remove_file(home.file("a.svg")).expect("there");
    }
}

#[test]
fn the_accents_of_a_cycle_are_shown() {
    let home = Home::new();
    let known = files(&home, "plain", "twos");
    write_pulses(&home, &known);
    let told = |more: &str| {
        run(
            home.program(&format!("listen a.wav --pulses pulses.csv {more}")),
            "",
        )
    };
    let text = told("--cycle-shown 2").out;
    assert!(text.contains("  accents of cycle 2"), "{text}");
    // The program's own phrase in twos is strong on every second count alone.
    let row = text
        .lines()
        .find(|line| line.starts_with("  low "))
        .expect("a row");
    let cells: Vec<&str> = row.split_whitespace().skip(1).collect();
    assert_eq!(cells.len(), 6, "{row}");
    let strong: Vec<bool> = cells.iter().map(|cell| cell.contains('#')).collect();
    assert_eq!(strong, [true, false, true, false, true, false], "{row}");
    // Without a number it is one that leans as clearly as any.
    let text = told("").out;
    assert!(text.contains(", the clearest, at "), "{text}");
    let none = told("--cycle-shown 99");
    assert_eq!(none.code, 2);
    assert!(
        none.err
            .contains("found --cycle-shown 99; expected one of its "),
        "{}",
        none.err
    );
    assert_eq!(told("--cycle-shown 0").code, 2);
}

#[test]
fn counts_in_spanish_stand_apart_in_every_length_of_cycle() {
    let home = Home::new();
    let known = files(&home, "plain", "twos");
    write_pulses(&home, &known);
    // How one counts is said in a sitting, and kept.
    let spanish = home.sitting("--questions 1 --skill plain --counts spanish");
    assert_eq!(run(spanish, "1\n\n").code, 0);
    let counts = |cycle: usize| {
        let options = format!("listen a.wav --pulses pulses.csv --cycle {cycle}");
        let text = run(home.program(&options), "").out;
        let row = text.lines().find_map(|line| line.strip_prefix("  count"));
        let row = row.unwrap_or_else(|| panic!("a row of counts: {text}"));
        row.split_whitespace().collect::<Vec<&str>>().join(" ")
    };
    assert_eq!(counts(6), "uno dos tres cuatro cinco seis");
    assert_eq!(
        counts(12),
        "uno dos tres cuat cinc seis siet ocho nuev diez once doce"
    );
}

#[test]
fn a_table_tells_every_cycle_as_the_object_does() {
    let home = Home::new();
    let known = files(&home, "plain", "threes");
    write_pulses(&home, &known);
    let text = run(home.program("listen a.wav --pulses pulses.csv"), "").out;
    let object = run(home.program("listen a.wav --json --pulses pulses.csv"), "").out;
    let heard: Value = serde_json::from_str(&object).expect("one object");
    let (_, table) = text.split_once("  cycle     start").expect("a table");
    let rows: Vec<Vec<&str>> = table
        .lines()
        .skip(1)
        .map(|row| row.split_whitespace().collect())
        .collect();
    let cycles = heard["cycles"].as_array().expect("a list");
    assert_eq!(rows.len(), cycles.len());
    for (row, cycle) in rows.iter().zip(cycles) {
        for (cell, (field, off)) in row[1..5].iter().zip([
            ("start", 6e-4),
            ("threes", 6e-3),
            ("twos", 6e-3),
            ("sure", 6e-3),
        ]) {
            let told: f64 = cell.parse().expect("a number");
            let heard = cycle[field].as_f64().expect("a number");
            assert!((told - heard).abs() < off, "{row:?} {cycle}");
        }
        assert_eq!(cycle["lean"], row[5]);
    }
}

#[test]
fn a_midi_file_is_counted_from_where_it_is_said_to_begin_and_tells_that_it_is_cut_off() {
    let home = Home::new();
    let known = files(&home, "plain", "twos");
    let second = known["pulses"][1].as_f64().expect("a number");
    let heard = run(
        home.program(&format!("listen a.mid --json --start {second}")),
        "",
    );
    assert_eq!((heard.code, heard.err.as_str()), (0, ""));
    let heard: Value = serde_json::from_str(&heard.out).expect("one object");
    let whole = run(home.program("listen a.mid --json"), "");
    let whole: Value = serde_json::from_str(&whole.out).expect("one object");
    assert_eq!(heard["pulses"][0], whole["pulses"][1]);
    for (args, says) in [
        ("listen a.wav --start 1", "found --start without --tempo"),
        ("listen a.wav --tempo 120", "--start"),
        (
            "listen a.wav --pulse-note 1/16",
            "found --pulse-note; a recording has no notes",
        ),
    ] {
        let ended = run(home.program(args), "");
        assert_eq!(ended.code, 2, "{args}");
        assert!(ended.err.contains(says), "{args}: {}", ended.err);
    }
    let bytes = fs::read(home.file("a.mid")).expect("written");
    home.write("cut.mid", &bytes[..bytes.len() / 2]);
    let cut = run(home.program("listen cut.mid"), "");
    assert_eq!(cut.code, 0);
    let says = "cut.mid: the file is cut off; it was read up to second ";
    assert!(cut.err.starts_with(says), "{}", cut.err);
    home.write("head.mid", &bytes[..30]);
    let head = run(home.program("listen head.mid"), "");
    assert_eq!(head.code, 3);
    assert!(
        head.err.contains("cut off before its first note"),
        "{}",
        head.err
    );
}

#[test]
fn what_cannot_be_heard_is_a_clear_sentence() {
    let home = Home::new();
    home.write("text.wav", "no sound");
    home.write("none.mid", "MThd");
    // 25 frames a second of 40 ticks, and a track that ends at once (MIDI 1.0, standard MIDI files).
    let film = b"MThd\0\0\0\x06\0\0\0\x01\xe7\x28MTrk\0\0\0\x04\0\xff\x2f\0";
    home.write("film.mid", film);
    home.write("bad.csv", "0\n1\nNaN\n");
    home.write("unsorted.csv", "0\n2\n1\n");
    home.write("word.csv", "0\nsoon\n");
    home.write("empty.csv", String::new());
    home.write("one.csv", "1\n");
    files(&home, "plain", "twos");
    for (args, said) in [
        ("listen text.wav", "text.wav: "),
        ("listen none.mid", "no MIDI file"),
        (
            "listen film.mid",
            "hint: write it anew with ticks to a quarter note",
        ),
        ("listen absent.wav", "absent.wav: "),
        (
            "listen a.wav --pulses bad.csv",
            "bad.csv: line 3: found \"NaN\"; expected one time",
        ),
        (
            "listen a.wav --pulses unsorted.csv",
            "line 3: found \"1\"; expected a time that is a millisecond or more later than \"2\" on line 2",
        ),
        (
            "listen a.wav --pulses word.csv",
            "line 2: found \"soon\"; expected",
        ),
        ("listen a.wav --pulses empty.csv", "0 pulses;"),
        ("listen a.wav --pulses one.csv", "1 pulse;"),
        ("listen a.wav --tempo 120 --start 900", "at least two"),
    ] {
        let ended = run(home.program(args), "");
        assert_eq!(ended.code, 3, "{args}: {}", ended.err);
        assert!(ended.err.contains(said), "{args}: {}", ended.err);
        assert!(ended.err.contains("hint: "), "{args}: {}", ended.err);
    }
    let several = run(home.program("listen absent.wav a.mid --json"), "");
    assert_eq!(several.code, 3);
    assert_eq!(several.out.lines().count(), 1, "the other file is told");
}

/// A part of a time would be taken for all of it, and nobody would see it.
#[test]
fn a_list_of_pulses_is_one_time_a_line() {
    let home = Home::new();
    files(&home, "plain", "twos");
    for (list, line, found) in [
        ("0,5\n1,0\n", 1, "0,5"),
        ("0\n\n0,5\n1\n", 3, "0,5"),
        ("0;1\n1;2\n", 1, "0;1"),
        ("time\n0\n1\n", 1, "time"),
        ("0.5,label\n1,label\n", 1, "0.5,label"),
        ("-1\n0\n1\n", 1, "-1"),
        ("0\ninf\n", 2, "inf"),
        ("0\n1e9\n", 2, "1e9"),
        ("0\n360001\n", 2, "360001"),
        ("0\n\u{1b}[2J\n", 2, "?[2J"),
    ] {
        home.write("list.csv", list);
        let ended = run(home.program("listen a.wav --json --pulses list.csv"), "");
        assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{list:?}");
        let says =
            format!("list.csv: line {line}: found \"{found}\"; expected one time in seconds");
        assert!(ended.err.contains(&says), "{list:?}: {}", ended.err);
    }
    // What other programs put around times is no part of them, and some write exponents.
    for list in [
        "\u{feff} 0.5 \r\n1\r\n\r\n1.5",
        "5.000e-01\n1.000e+00\n1.500e+00\n",
    ] {
        home.write("list.csv", list);
        let ended = run(home.program("listen a.wav --json --pulses list.csv"), "");
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{list:?}");
    }
}

/// Pulses are believed only as far as the file goes on, whatever it is.
#[test]
fn pulses_behind_the_end_are_left_out_or_refused() {
    let home = Home::new();
    let told = files(&home, "plain", "threes");
    let all = told["pulses"].as_array().expect("a list");
    let lines: String = all.iter().map(|time| format!("{time}\n")).collect();
    let late = |from: u32| -> String { (from..from + 6).map(|k| format!("{k}\n")).collect() };
    home.write("late.csv", late(100));
    home.write("one.csv", format!("0.5\n{}", late(100)));
    home.write("some.csv", format!("{lines}{}", late(100)));
    home.write("pulses.csv", &lines);
    for file in ["a.wav", "a.mid"] {
        let refused = run(
            home.program(&format!("listen {file} --json --pulses late.csv")),
            "",
        );
        assert_eq!((refused.code, refused.out.as_str()), (3, ""), "{file}");
        let says = format!("late.csv: found 0 of its 6 pulses within {file}, which ends at 0:");
        assert!(refused.err.contains(&says), "{}", refused.err);
        let some = run(
            home.program(&format!("listen {file} --json --pulses some.csv")),
            "",
        );
        assert_eq!(some.code, 0, "{}", some.err);
        let n = all.len() + 6;
        let says = format!("some.csv: 6 of its {n} pulses lie behind the end of {file} at 0:");
        assert!(some.err.contains(&says), "{}", some.err);
        let whole = run(
            home.program(&format!("listen {file} --json --pulses pulses.csv")),
            "",
        );
        assert_eq!((whole.code, whole.err.as_str()), (0, ""), "{file}");
        assert_eq!(some.out, whole.out, "{file}");
    }
    let one = run(home.program("listen a.wav --json --pulses one.csv"), "");
    assert_eq!(one.code, 3);
    assert!(one.err.contains("found 1 of its 7 pulses"), "{}", one.err);
    // The screen does not even open.
    let mut command = program(home.path(), "2026-11-26T08:00:00Z");
    command.args(["listen", "a.wav", "--silent", "--pulses", "late.csv"]);
    let mut terminal = Terminal::start(command);
    terminal.wait_for("found 0 of its 6 pulses");
    assert_eq!(terminal.end(), 3);
}

#[test]
fn a_number_below_the_range_is_told_in_the_words_of_its_range() {
    let home = Home::new();
    for (args, says) in [
        (
            "listen a.wav --tempo 120 --start -1",
            "seconds from the beginning, 0 or more",
        ),
        (
            "listen a.wav --tempo -5 --start 0",
            "pulses a minute from 20 to 600",
        ),
        ("listen a.wav --cycle -6", "a whole number from 2 to 48"),
        (
            "listen a.wav --cycle-shown -1",
            "the number of a cycle, from 1 on",
        ),
        ("phrase plain --level -3", "a number from 1.5 to 12"),
        ("phrase plain --seed -3", "a whole number from 0 to"),
    ] {
        let ended = run(home.program(args), "");
        assert_eq!(ended.code, 2, "{args}");
        assert!(ended.err.contains(says), "{args}: {}", ended.err);
        assert!(!ended.err.contains("'-- "), "{args}: {}", ended.err);
    }
}

/// Whatever it is called, and whether it would be told or looked at.
#[test]
fn an_empty_file_is_refused_in_the_shell() {
    let home = Home::new();
    let silent = silence(0);
    for (name, bytes) in [
        ("empty.mid", &b""[..]),
        ("empty.wav", &b""[..]),
        ("nothing.wav", &silent),
        ("text.wav", b"no sound"),
    ] {
        home.write(name, bytes);
        let ended = run(home.program(&format!("listen {name} --text")), "");
        assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{name}");
        assert!(ended.err.contains(&format!("{name}: ")), "{}", ended.err);
        let mut command = program(home.path(), "2026-11-26T08:00:00Z");
        command.args(["listen", name, "--silent"]);
        let mut terminal = Terminal::start(command);
        terminal.wait_for("hint: ");
        assert_eq!(terminal.end(), 3, "{name}");
        assert!(!terminal.is_taken(), "{name}");
    }
}

/// A WAV file with so many seconds of silence.
fn silence(seconds: usize) -> Vec<u8> {
    let pcm = Pcm::stereo(SampleRate::HZ_48000, vec![0.0; 2 * 48_000 * seconds]);
    let mut out = Cursor::new(Vec::new());
    wav::write(&pcm, &mut out).expect("memory takes it");
    out.into_inner()
}

#[test]
fn why_there_is_no_cycle_is_said() {
    let home = Home::new();
    files(&home, "plain", "twos");
    home.write("silent.wav", silence(5));
    home.write("three.csv", "0.5\n1\n1.5\n");
    for (args, said) in [
        (
            "listen silent.wav --text",
            "nothing is heard in it: it is silent",
        ),
        (
            "listen a.wav --text --pulses three.csv",
            "no whole cycle is in it: 3 pulses in it are given, and a cycle has 6",
        ),
    ] {
        let ended = run(home.program(args), "");
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{args}");
        assert!(ended.out.contains(said), "{args}: {}", ended.out);
        assert!(!ended.out.contains("by --pulses"), "{args}: {}", ended.out);
    }
}

/// As it is where the polarity of one channel was turned on the way: their mean is silent.
#[test]
fn a_recording_whose_channels_cancel_each_other_is_heard() {
    let home = Home::new();
    let rate = SampleRate::HZ_48000;
    let phrase = made(Family::Plain, Feel::Twos, 4);
    let left = render(phrase.phrase(), rate, Seed(1)).mono();
    let turned = left.iter().flat_map(|sample| [*sample, -sample]).collect();
    let heard = |pcm: Pcm| {
        let mut bytes = Cursor::new(Vec::new());
        wav::write(&pcm, &mut bytes).expect("memory takes it");
        home.write("a.wav", bytes.into_inner());
        let ended = run(home.program("listen a.wav --json"), "");
        assert_eq!((ended.code, ended.err.as_str()), (0, ""));
        serde_json::from_str::<Value>(&ended.out).expect("an object")
    };
    let one = heard(Pcm::new(rate, 1, left).expect("finite"));
    let cycles = one["cycles"].as_array().expect("a list");
    assert!(cycles.len() > 3, "{one}");
    assert_eq!(heard(Pcm::stereo(rate, turned)), one);
}

#[test]
fn every_length_of_cycle_is_taken() {
    let home = Home::new();
    files(&home, "plain", "threes");
    for n in [2, 4, 5, 7, 12, 48] {
        let ended = run(
            home.program(&format!("listen a.wav a.mid --json --cycle {n}")),
            "",
        );
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{n}");
        assert_eq!(ended.out.lines().count(), 2, "{n}");
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a few seconds into a file"
)]
fn frame(seconds: f64, rate: u32) -> usize {
    (seconds * f64::from(rate)) as usize
}

/// Phrases in threes one after the other, each so many times round, as one recording; when each sounds first, and when
/// the last ends.
fn one_after_the_other(home: &Home, phrases: &[(u64, u32)]) -> Vec<f64> {
    let (mut all, mut begins) = (Vec::new(), vec![0.0]);
    let mut rate = 0;
    for (seed, rounds) in phrases {
        let known = files_of(home, "plain", "threes", *seed);
        let pulses = known["pulses"].as_array().expect("a list").iter();
        let pulses: Vec<f64> = pulses.filter_map(Value::as_f64).collect();
        let n = pulses.len();
        let ends = 2.0 * pulses[n - 1] - pulses[n - 2];
        let mut file = hound::WavReader::open(home.file("a.wav")).expect("a WAV file");
        let spec = file.spec();
        rate = spec.sample_rate;
        let samples: Vec<i16> = file
            .samples()
            .map(|sample| sample.expect("whole"))
            .collect();
        let channels = usize::from(spec.channels);
        let round = frame(pulses[0], rate)..frame(ends, rate);
        for _ in 0..*rounds {
            let round = round
                .clone()
                .map(|frame| f32::from(samples[channels * frame]) / 32_768.0);
            all.extend(round.flat_map(|sample| [sample; 2]));
        }
        begins.push(begins[begins.len() - 1] + f64::from(*rounds) * (ends - pulses[0]));
    }
    let pcm = Pcm::stereo(SampleRate::new(rate).expect("not zero"), all);
    let mut out = Cursor::new(Vec::new());
    wav::write(&pcm, &mut out).expect("memory takes it");
    home.write("piece.wav", out.into_inner());
    begins
}

#[test]
fn a_piece_that_goes_on_faster_is_counted_in_two_parts() {
    let home = Home::new();
    let begins = one_after_the_other(&home, &[(4, 4), (2, 5)]);
    let ended = run(home.program("listen piece.wav --json"), "");
    assert_eq!(ended.code, 0, "{}", ended.err);
    let heard: Value = serde_json::from_str(&ended.out).expect("one object");
    let parts = heard["in_time"].as_array().expect("a list");
    let number = |part: &Value, name: &str| part[name].as_f64().expect("a number");
    assert_eq!(parts.len(), 2, "{parts:#?}");
    // As the phrases state it themselves.
    for (part, ppm) in parts.iter().zip([159.0, 208.0]) {
        assert!((number(part, "ppm") / ppm - 1.0).abs() < 0.02, "{part}");
    }
    // A window has eight seconds, and what fills less than half of it does not lead there.
    let from = number(&parts[1], "from");
    assert!((from - begins[1]).abs() < 4.0, "{parts:#?} {begins:?}");
    let cycles = heard["cycles"].as_array().expect("a list");
    let threes = cycles.iter().filter(|cycle| cycle["lean"] == "threes");
    assert!(10 * threes.count() >= 9 * cycles.len(), "{cycles:#?}");
    // By hand: four rounds of four cycles and five of four, but for one where each part begins.
    assert!((34..=36).contains(&cycles.len()), "{}", cycles.len());

    let text = run(home.program("listen piece.wav"), "").out;
    let told = text
        .lines()
        .find(|line| line.starts_with("  pulses are found from 0:00 to "));
    let told = told.expect("where pulses are");
    assert!(told.contains("(159 a minute) and from "), "{told}");
    let mut terminal = on_screen(home.path(), "listen piece.wav");
    terminal.wait_for("Pulses are found from 0:00 to ");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

#[test]
fn a_grid_twice_as_fine_as_its_notes_is_told_in_the_shell_and_on_the_screen() {
    let home = Home::new();
    files(&home, "plain", "threes");
    let bytes = fs::read(home.file("a.mid")).expect("written");
    let mut smf = midly::Smf::parse(&bytes).expect("a MIDI file");
    for event in smf.tracks.iter_mut().flatten() {
        event.delta = midly::num::u28::from(2 * event.delta.as_int());
    }
    let mut slow = Vec::new();
    smf.write_std(&mut slow).expect("memory takes it");
    home.write("slow.mid", slow);
    let ended = run(home.program("listen slow.mid --text"), "");
    assert!(
        ended.err.contains("no note begins on every second pulse"),
        "{}",
        ended.err
    );
    let quarters = run(home.program("listen slow.mid --text --pulse-note 1/4"), "");
    assert_eq!((quarters.code, quarters.err.as_str()), (0, ""));
    let screen_of = |args: &str| {
        let mut terminal = on_screen(home.path(), args);
        // Said last of all.
        terminal.wait_for("ready: ");
        let screen = terminal.text();
        terminal.press("q");
        assert_eq!(terminal.end(), 0);
        screen
    };
    let eighths = screen_of("listen slow.mid");
    assert!(
        eighths.contains("No note begins on every second"),
        "{eighths}"
    );
    let quarters = screen_of("listen slow.mid --pulse-note 1/4");
    assert!(!quarters.contains("No note begins"), "{quarters}");
}

#[test]
fn where_pulses_pause_is_seen() {
    let home = Home::new();
    home.write("piece.wav", silence(40));
    // Three cycles of three seconds, and from 25 s on two more.
    let times = (0..30).map(|k| 0.5 * f64::from(k) + if k < 18 { 0.0 } else { 16.0 });
    let lines: String = times.map(|time| format!("{time}\n")).collect();
    home.write("pulses.csv", lines);
    let text = run(
        home.program("listen piece.wav --text --pulses pulses.csv"),
        "",
    )
    .out;
    let row = text.lines().find(|line| line.ends_with("after a pause"));
    assert_eq!(row, Some("     :   after a pause"), "{text}");
    let mut terminal = on_screen(home.path(), "listen piece.wav --pulses pulses.csv");
    terminal.wait_for("|--:-");
    terminal.wait_for("part: a : where pulses pause before a cycle");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}
