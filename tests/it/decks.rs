//! `contrapalma decks` and `contrapalma class material`: what a teacher does with decks.

use std::fs;
use std::path::Path;

use contrapalma::pcm::wav;

use crate::program::{Ended, Home, run};

/// A deck of one exercise.
const DECK: &str = "format = 1\nid = \"tuesday\"\ntitle = \"Tuesday group\"\n\n[[exercise]]\n\
    id = \"low-notes\"\ntitle = \"By the low notes\"\nasks = \"name-feel\"\n\
    line = \"Threes or twos?\"\nfamilies = [\"bass-strums\"]\nfeels = [\"threes\", \"twos\"]\n\
    tempo = [120, 220]\ncycles = [4, 4]\n\
    level = { easiest = 8, criterion = 5, hardest = 2 }\n";

#[track_caller]
fn done(home: &Home, args: &str) -> Ended {
    let ended = run(home.program(args), "");
    assert_eq!(ended.code, 0, "{args}: {}", ended.err);
    ended
}

/// Runs what must be refused, and checks that it says all of `says` and changes nothing.
#[track_caller]
fn refused(home: &Home, args: &str, code: i32, says: &[&str]) {
    let before = home.files();
    let ended = run(home.program(args), "");
    assert_eq!(
        (ended.code, &*ended.out),
        (code, ""),
        "{args}: {}",
        ended.err
    );
    for part in says {
        assert!(ended.err.contains(part), "{args}: {}", ended.err);
    }
    assert_eq!(home.files(), before, "{args}");
}

#[test]
fn a_new_deck_is_sound_and_is_practised_at_once() {
    let home = Home::new();
    done(&home, "decks new tuesday.toml");
    let text = fs::read_to_string(home.file("tuesday.toml")).expect("a deck");
    assert!(text.contains("\nid = \"tuesday\"\n"), "{text}");
    let told = done(&home, "decks check tuesday.toml");
    assert_eq!(
        told.out,
        "tuesday.toml: no faults\n  tuesday, My deck: 3 exercises of its own, 3 skills in all\n  \
         1 name-feel, 1 fit-clapping, 1 clap\n  each made questions at its easiest and at its \
         hardest level\n"
    );
    let sitting = run(home.sitting("--deck tuesday.toml --questions 1"), "1\n\n");
    assert_eq!(sitting.code, 0, "{}", sitting.err);
    assert!(
        sitting.out.contains("Listen to the low notes"),
        "{}",
        sitting.out
    );
    assert_eq!(home.kept().len(), 1);
    // The same on standard output, under a name that fits any place.
    let printed = done(&home, "decks new").out;
    assert_eq!(printed.replace("my-deck", "tuesday"), text);
}

#[test]
fn a_new_deck_is_written_over_nothing() {
    let home = Home::new();
    home.write("mine.toml", "precious");
    let says = ["mine.toml: found a file; expected a new name", "hint: "];
    refused(&home, "decks new mine.toml", 2, &says);
    refused(
        &home,
        "decks new nowhere/a.toml",
        4,
        &["nowhere/a.toml: ", "hint: "],
    );
    // What is no id, or the program's own, is not taken for one.
    for name in ["My Deck.toml", "path.toml"] {
        let mut command = home.program("decks new");
        command.arg(name);
        assert_eq!(run(command, "").code, 0);
        let text = fs::read_to_string(home.file(name)).expect("a deck");
        assert!(text.contains("\nid = \"my-deck\"\n"), "{name}");
    }
}

#[test]
fn a_check_names_every_fault_of_every_file() {
    let home = Home::new();
    home.write("sound.toml", DECK);
    home.write(
        "bad.toml",
        DECK.replace("bass-strums", "bas-strums")
            .replace("[120, 220]", "[120, 900]"),
    );
    // It can be read, but not asked: nothing sets these two clappings apart when accents are weak.
    let seldom = DECK
        .replace(
            "\"name-feel\"",
            "\"fit-clapping\"\nfits = \"guitar\"\nclappings = [\"1-3-5\", \"1-3\"]",
        )
        .replace("[\"threes\", \"twos\"]", "[\"twos\"]")
        .replace("[120, 220]", "[140, 180]")
        .replace("[4, 4]", "[2, 3]")
        .replace("hardest = 2", "hardest = 3")
        .replace("easiest = 8, criterion = 5", "easiest = 9, criterion = 6");
    home.write("seldom.toml", seldom);
    let ended = run(home.program("decks check bad.toml sound.toml"), "");
    assert_eq!(ended.code, 1);
    // Lines and columns counted by hand.
    assert_eq!(
        ended.err,
        "contrapalma: bad.toml: line 10, column 13: found \"bas-strums\"; expected one of plain, \
         bass-chords, bass-strums, chords, arpeggio, line, loudness, length, strike, rasgueado, \
         stopped, touch, figures (nearest is \"bass-strums\")\n\
         contrapalma: bad.toml: line 12, column 9: found 120 to 900; expected two whole numbers, \
         slowest and fastest, within 100 to 260\n"
    );
    assert!(
        ended.out.starts_with("sound.toml: no faults\n"),
        "{}",
        ended.out
    );
    let says = ["seldom.toml: line 5, column 1: found no phrase in twos at 3.0 dB"];
    refused(&home, "decks check seldom.toml", 1, &says);
    refused(
        &home,
        "decks check missing.toml",
        3,
        &["missing.toml: ", "hint: "],
    );
    refused(&home, "decks check .", 3, &[".: ", "hint: "]);
    home.write("large.toml", "#".repeat(1 << 20));
    refused(
        &home,
        "decks check large.toml",
        3,
        &["more than 262144 bytes"],
    );
    refused(&home, "decks check", 2, &["<FILE>"]);
}

#[test]
fn an_installed_deck_is_found_by_its_id_until_it_is_removed() {
    let home = Home::new();
    home.write("mine.toml", DECK);
    let told = done(&home, "decks install mine.toml");
    assert_eq!(told.out, "tuesday, Tuesday group: installed\n");
    let copy = home.data().join("decks/tuesday.toml");
    assert_eq!(fs::read_to_string(&copy).expect("a copy"), DECK);
    fs::remove_file(home.file("mine.toml")).expect("the first is not needed any more");
    let sitting = run(home.sitting("--deck tuesday --questions 1"), "1\n\n");
    assert!(sitting.out.contains("By the low notes"), "{}", sitting.out);
    done(&home, "phrase low-notes --deck tuesday --seed 1");
    let shown = done(&home, "decks show tuesday").out;
    assert!(
        shown.starts_with("tuesday: Tuesday group\n1 exercise, "),
        "{shown}"
    );
    assert!(
        shown.contains("in threes on 1 and 4; in twos on 1, 3 and 5\n"),
        "{shown}"
    );

    home.write("newer.toml", DECK.replace("Tuesday group", "Thursday"));
    let told = done(&home, "decks install newer.toml").out;
    assert!(
        told.starts_with("tuesday, Thursday: installed in place of"),
        "{told}"
    );
    let told = done(&home, "decks install newer.toml").out;
    assert_eq!(told, "tuesday, Thursday: installed already, and the same\n");

    let told = done(&home, "decks remove tuesday").out;
    assert_eq!(told, "tuesday: removed; what was practised stays\n");
    assert!(!copy.exists());
    assert_eq!(home.kept().len(), 1);
    let says = [
        "\"tuesday\": no deck of this id is installed",
        "none is installed",
    ];
    refused(&home, "decks remove tuesday", 2, &says);
}

#[test]
fn the_choice_of_an_installed_deck_is_kept_and_gone_with_the_deck() {
    use contrapalma::store::Store;
    use contrapalma::world::{Moment, Seed};
    let home = Home::new();
    home.write("mine.toml", DECK);
    done(&home, "decks install mine.toml");
    // As the key of the first screen keeps it.
    let mut store = Store::open(&home.data(), Seed(1), Moment(0)).expect("a store");
    store.save_deck("tuesday").expect("a choice");
    drop(store);
    let sitting = run(home.sitting("--questions 1"), "1\n\n");
    assert!(sitting.out.contains("By the low notes"), "{}", sitting.out);
    done(&home, "decks remove tuesday");
    let sitting = run(home.sitting("--questions 1"), "1\n\n");
    assert_eq!(sitting.code, 0, "{}", sitting.err);
    assert!(!sitting.out.contains("By the low notes"), "{}", sitting.out);
}

#[test]
fn the_deck_of_own_recordings_says_how_it_begins_and_goes_only_when_that_is_said() {
    let home = Home::new();
    let says = ["no passage was cut into it yet", "the key x"];
    refused(&home, "sit --plain --deck own", 1, &says);
    let own = home.data().join("decks/own.toml");
    fs::create_dir_all(own.parent().expect("a folder")).expect("a folder");
    fs::write(&own, "id = \"own\"\n\n[[passage]]\n\n[[passage]]\n").expect("written");
    let says = ["found 2 passages that you cut", "--with-passages removes"];
    refused(&home, "decks remove own", 1, &says);
    assert!(own.is_file());
    done(&home, "decks remove own --with-passages");
    assert!(!own.is_file());
}

#[test]
fn nothing_is_installed_that_cannot_be_practised_or_would_hide_another() {
    let home = Home::new();
    home.write(
        "bad.toml",
        DECK.replace("asks = \"name-feel\"", "asks = \"dance\""),
    );
    home.write("own.toml", DECK.replace("\"tuesday\"", "\"path\""));
    home.write("up.toml", DECK.replace("\"tuesday\"", "\"../tuesday\""));
    refused(
        &home,
        "decks install bad.toml",
        1,
        &["bad.toml: line 8, column 8: "],
    );
    let says = ["own.toml: found the id \"path\"", "change the id"];
    refused(&home, "decks install own.toml", 1, &says);
    // A deck from elsewhere never stands in the place of what was cut from one's own recordings.
    home.write("cut.toml", DECK.replace("\"tuesday\"", "\"own\""));
    let says = ["cut.toml: found the id \"own\"", "change the id"];
    refused(&home, "decks install cut.toml", 1, &says);
    refused(
        &home,
        "decks install up.toml",
        1,
        &["up.toml: line 2, column 6: "],
    );
    refused(&home, "decks install missing.toml", 4, &["missing.toml: "]);
    refused(
        &home,
        "decks remove ../tuesday",
        2,
        &["\"../tuesday\": no deck"],
    );
    refused(
        &home,
        "decks remove path",
        2,
        &["path: a deck of the program"],
    );
    let mut homeless = home.program("decks install own.toml");
    homeless.env_remove("HOME");
    assert_eq!(run(homeless, "").code, 4);
}

#[test]
fn an_installed_deck_that_was_broken_by_hand_is_told_with_its_place() {
    let home = Home::new();
    home.write("mine.toml", DECK);
    done(&home, "decks install mine.toml");
    let copy = home.data().join("decks/tuesday.toml");
    fs::write(&copy, DECK.replace("cycles", "cycels")).expect("broken");
    let place = "decks/tuesday.toml: line 13, column 1: found the key \"cycels\"";
    refused(
        &home,
        "phrase low-notes --deck tuesday",
        1,
        &[place, "nearest is \"cycles\""],
    );
    let list = done(&home, "decks list").out;
    let last = list.lines().last().unwrap_or_default();
    assert!(
        last.starts_with("tuesday ") && last.contains("it has faults"),
        "{list}"
    );
    fs::write(&copy, DECK.replace("\"tuesday\"", "\"friday\"")).expect("another's");
    let says = [
        "found the deck \"friday\"; expected \"tuesday\"",
        "install it again",
    ];
    refused(&home, "phrase low-notes --deck tuesday", 3, &says);
    fs::write(&copy, [0xff, 0]).expect("no text");
    refused(&home, "decks show tuesday", 3, &["byte 1 is no UTF-8"]);
    // What is no deck's file is nobody's business.
    fs::write(home.data().join("decks/Notes of mine.txt"), "hello").expect("a note");
    assert_eq!(done(&home, "decks list").out.lines().count(), 8);
}

#[test]
fn an_unknown_deck_is_answered_with_those_there_are() {
    let home = Home::new();
    home.write("mine.toml", DECK);
    done(&home, "decks install mine.toml");
    let says = [
        "nope: No such file",
        "hint: there are the decks first-steps, path, check, beginners, workshop, twelves, cousins, \
         tuesday\n",
    ];
    for args in [
        "sit --plain --silent --deck nope",
        "phrase x --deck nope",
        "decks show nope",
        "class material nope --to there",
    ] {
        refused(&home, args, 4, &says);
    }
}

#[test]
fn the_list_is_to_be_had_as_text_json_and_csv() {
    let home = Home::new();
    home.write(
        "mine.toml",
        DECK.replace("Tuesday group", "=1+1, \\\"two\\\""),
    );
    done(&home, "decks install mine.toml");
    let text = done(&home, "decks list").out;
    let first = text.lines().next().unwrap_or_default();
    assert!(
        first.starts_with("first-steps  First steps in six"),
        "{text}"
    );
    assert!(first.ends_with(" exercises  with the program"), "{text}");
    let json = done(&home, "decks list --json").out;
    let rows: Vec<serde_json::Value> = json
        .lines()
        .map(|line| serde_json::from_str(line).expect("an object"))
        .collect();
    assert_eq!(rows.len(), 8);
    let last = &rows[7];
    assert_eq!(
        (&last["id"], &last["exercises"]),
        (&"tuesday".into(), &1.into())
    );
    assert_eq!(last["title"], "=1+1, \"two\"");
    assert_eq!(rows[0]["file"], serde_json::Value::Null);
    let csv = done(&home, "decks list --csv").out;
    let last = csv.lines().last().unwrap_or_default();
    assert!(
        last.starts_with("tuesday,\"'=1+1, \"\"two\"\"\",1,\""),
        "{csv}"
    );
}

#[test]
fn a_deck_is_shown_with_counts_as_the_learner_speaks_them() {
    use contrapalma::rhythm::Counting;
    use contrapalma::store::{Settings, Store};
    use contrapalma::world::{Moment, Seed};
    let home = Home::new();
    // Where nothing is settled, as the cycle is counted: the accents of the wheel entered at 12 as the
    // trade speaks them (Díaz-Báñez and others 2004).
    let shown = done(&home, "decks show twelves").out;
    assert!(shown.contains("on 12, 3, 6, 8 and 10\n"), "{shown}");
    assert!(!home.data().exists(), "looking makes no store");
    let mut store = Store::open(&home.data(), Seed(1), Moment(0)).expect("a store");
    let settings = Settings {
        counting: Some(Counting::FromOne),
        ..Settings::default()
    };
    store.save_settings(settings).expect("a setting");
    drop(store);
    let shown = done(&home, "decks show twelves").out;
    assert!(shown.contains("on 1, 4, 7, 9 and 11\n"), "{shown}");
}

#[test]
fn a_deck_is_told_by_its_parts_and_by_when_it_is_learnt() {
    let home = Home::new();
    let shown = done(&home, "decks show workshop").out;
    for told in [
        "each waits for what it needs of this deck\nA skill is firm, and opens those that need it, once",
        "\n\n== Half-day 1: find the weak spot\n\npath/start-taps: ",
        "\n\n== Half-day 4: cousins, and music of your own\n\n",
        "  needs    nothing of this deck; builds on path/start-count\n",
        "  learnt   held to the end, about five times in six\n",
        "  level    always 5.0 dB\n",
    ] {
        assert!(shown.contains(told), "{told}\n{shown}");
    }
    assert!(!shown.contains("5.0 dB down to 5.0 dB"), "{shown}");
    let shown = done(&home, "decks show first-steps").out;
    assert!(
        !shown.contains("=="),
        "a deck without parts has no headings"
    );
    let learnt = "  learnt   right at 5.0 dB, about five times in six\n";
    assert!(shown.contains(learnt), "{shown}");
}

#[test]
fn an_exercise_is_heard_as_it_is_asked() {
    let home = Home::new();
    let args = "decks show first-steps --hear plain --seed 3 --wav";
    done(&home, &format!("{args} a.wav"));
    done(&home, &format!("{args} b.wav"));
    let bytes = |name: &str| fs::read(home.file(name)).expect("a sound");
    assert_eq!(bytes("a.wav"), bytes("b.wav"));
    let pcm = wav::read(&bytes("a.wav")[..]).expect("a WAV file");
    let loudest = pcm
        .samples()
        .iter()
        .fold(0.0_f32, |top, x| top.max(x.abs()));
    assert!((0.05..=1.0).contains(&loudest), "{loudest}");
    done(&home, &format!("{args} c.wav --level 8"));
    assert_ne!(bytes("c.wav"), bytes("a.wav"));
    refused(&home, "decks show path --wav x.wav", 2, &["--hear"]);
    let says = ["no exercise \"nonesuch\" in this deck", "it has "];
    refused(
        &home,
        "decks show path --hear nonesuch --wav x.wav",
        2,
        &says,
    );
}

/// Every file of a folder by its name, with its bytes.
fn files_of(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let entries = fs::read_dir(folder).expect("a folder");
    let mut files: Vec<(String, Vec<u8>)> = entries
        .map(|entry| {
            let entry = entry.expect("an entry");
            let name = entry.file_name().into_string().expect("a plain name");
            (name, fs::read(entry.path()).expect("a file"))
        })
        .collect();
    files.sort();
    files
}

#[test]
fn material_is_sounds_notes_and_sheets_and_the_same_for_the_same_seed() {
    let home = Home::new();
    let make = |to: &str, seed: u32| {
        let args = format!("class material first-steps --to {to} --seed {seed} --questions 5");
        done(&home, &args)
    };
    let told = make("one/a", 7);
    assert!(
        told.out
            .starts_with("one/a: 5 questions of first-steps, seed 7; "),
        "{}",
        told.out
    );
    let progress: Vec<&str> = told.err.lines().collect();
    assert_eq!(progress.len(), 5, "{}", told.err);
    assert!(progress[4].starts_with("5 of 5: "), "{}", told.err);
    let files = files_of(&home.file("one/a"));
    let names: Vec<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
    let numbered = ["01", "02", "03", "04", "05"]
        .iter()
        .flat_map(|n| ["mid", "musicxml", "wav"].map(|ending| format!("{n}.{ending}")));
    let sheets = [
        "key-1.svg",
        "key-2.svg",
        "sheet-1.svg",
        "sheet-2.svg",
        "sheet.html",
    ];
    let expected: Vec<String> = numbered.chain(sheets.map(str::to_owned)).collect();
    assert_eq!(names, expected);
    for (name, bytes) in &files {
        let start: &[u8] = match name.rsplit_once('.').expect("an ending").1 {
            "mid" => b"MThd",
            "wav" => b"RIFF",
            "html" => b"<!DOCTYPE html>",
            _ => b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>",
        };
        assert!(bytes.starts_with(start), "{name}");
    }
    make("again", 7);
    assert_eq!(files_of(&home.file("again")), files);
    make("other", 8);
    assert_ne!(files_of(&home.file("other")), files);
}

#[test]
fn the_key_of_the_material_says_what_the_exercises_have_for_truths() {
    let home = Home::new();
    home.write(
        "mine.toml",
        DECK.replace("By the low notes", "<b>Low</b> & \\\"notes\\\""),
    );
    done(
        &home,
        "class material mine.toml --to m --seed 3 --questions 20",
    );
    let html = fs::read_to_string(home.file("m/sheet.html")).expect("a sheet");
    let (questions, key) = html.split_once("class=\"key\"").expect("a key");
    let n = |text: &str, part: &str| text.matches(part).count();
    let title = "&lt;b&gt;Low&lt;/b&gt; &amp; &quot;notes&quot;</h2>";
    assert_eq!((n(questions, title), n(key, title)), (20, 20));
    assert!(!html.contains("<b>"));
    // A feel is drawn for each question: both come, and every answer is one of the two.
    let (threes, twos) = (n(key, "<p>In threes. "), n(key, "<p>In twos. "));
    assert_eq!(threes + twos, 20);
    assert!(
        threes >= 4 && twos >= 4,
        "{threes} in threes, {twos} in twos"
    );
    assert_eq!((n(questions, ">x</span>"), n(key, ">x</span>")), (0, 20));
    assert!(key.contains("Deck tuesday, seed 3, generator "), "{key}");
}

#[test]
fn material_is_written_over_nothing() {
    let home = Home::new();
    fs::create_dir(home.file("full")).expect("a folder");
    home.write("full/mine.txt", "precious");
    home.write("file", "precious");
    let says = ["full: found files; expected an empty folder", "hint: "];
    refused(
        &home,
        "class material first-steps --to full --seed 1",
        2,
        &says,
    );
    refused(
        &home,
        "class material first-steps --to file --seed 1",
        4,
        &["file: "],
    );
    refused(&home, "class material first-steps", 2, &["--to"]);
    home.write("bad.toml", DECK.replace("cycles", "cycels"));
    let says = ["bad.toml: line 13, column 1: "];
    refused(&home, "class material bad.toml --to there", 1, &says);
    // An empty folder is taken.
    fs::create_dir(home.file("empty")).expect("a folder");
    done(
        &home,
        "class material first-steps --to empty --seed 1 --questions 1",
    );
    assert_eq!(files_of(&home.file("empty")).len(), 6);
}

#[test]
fn the_schema_is_printed_whole() {
    let home = Home::new();
    let text = done(&home, "decks schema").out;
    assert_eq!(text, contrapalma::deck::schema());
    let schema: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(
        schema["required"],
        serde_json::json!(["format", "id", "title"])
    );
}

#[test]
fn a_deck_that_could_not_be_installed_is_told_by_check() {
    let home = Home::new();
    home.write("path.toml", DECK.replace("\"tuesday\"", "\"path\""));
    let says = [
        "path.toml: line 2, column 6: found the id \"path\", which a deck of the program has",
        "change the id",
    ];
    refused(&home, "decks check path.toml", 1, &says);
    home.write("one.toml", DECK.replace("[[exercise]]", "[exercise]"));
    refused(
        &home,
        "decks check one.toml",
        1,
        &["write [[exercise]], with two brackets"],
    );
    // What is broken was not left out.
    let broken = DECK.replace("title = \"Tuesday group\"", "title   = \"Tuesday group");
    home.write("broken.toml", broken);
    let ended = run(home.program("decks check broken.toml"), "");
    assert_eq!(ended.code, 1, "{}", ended.err);
    assert!(ended.err.contains("line 3, column"), "{}", ended.err);
    assert!(!ended.err.contains("found no title"), "{}", ended.err);
}

#[test]
fn the_deck_of_own_recordings_is_checked_where_it_is_kept() {
    let home = Home::new();
    let says = ["no passage was cut into it yet", "contrapalma listen FILE"];
    refused(&home, "decks check own", 1, &says);
    with_passage(&home);
    let kept = home.data().join("decks/own.toml");
    fs::create_dir_all(home.data().join("decks")).expect("a folder");
    fs::copy(home.file("mine.toml"), &kept).expect("copied");
    let name = kept.display();
    let told = done(&home, &format!("decks check {name}"));
    assert!(told.out.contains("own.toml: no faults"), "{}", told.out);
    // By its id it is found there, too.
    let by_id = done(&home, "decks check own");
    assert_eq!(by_id.out, told.out);
    // Words of it may be changed, and what is wrong with that is told.
    let text = fs::read_to_string(&kept).expect("there");
    fs::write(&kept, text.replace("Clap along", "Hands")).expect("written");
    assert!(
        done(&home, &format!("decks check {name}"))
            .out
            .contains("no faults")
    );
    fs::write(&kept, text.replace("asks = \"clap\"", "asks = \"clop\"")).expect("written");
    refused(
        &home,
        &format!("decks check {name}"),
        1,
        &["own.toml: line"],
    );
    // A copy of it could not be installed.
    home.write("copy.toml", text);
    let says = [
        "copy.toml: line 4, column 6: found the id \"own\"",
        "change the id",
    ];
    refused(&home, "decks check copy.toml", 1, &says);
}

/// A deck of own recordings with one passage of two cycles in `take.wav`, a phrase of the program; and
/// how many seconds it lasts.
fn with_passage(home: &Home) -> f64 {
    done(
        home,
        "phrase plain --deck path --feel twos --level 6 --seed 4 --wav take.wav --json take.json",
    );
    let told = fs::read(home.file("take.json")).expect("written");
    let told: serde_json::Value = serde_json::from_slice(&told).expect("JSON");
    let pulses = told["pulses"].as_array().expect("a list");
    let time = |idx: usize| pulses[idx].as_f64().expect("a number");
    let times: Vec<String> = pulses[..13].iter().map(ToString::to_string).collect();
    let file = fs::File::open(home.file("take.wav")).expect("there");
    let hash = contrapalma::label::ContentHash::of(file).expect("it can be read");
    let deck = format!(
        "{}\n[[passage]]\nid = \"abc-1\"\nrecording = \"{hash}\"\nfile = \"{}\"\ncycle = 6\n\
         pulses = [{}]\nmarks = \"22\"\n",
        contrapalma::deck::own_recordings(),
        home.file("take.wav").display(),
        times.join(", ")
    );
    home.write("mine.toml", deck);
    time(12) - time(0)
}

/// A deck of own recordings with one passage in twos of `tone.wav`, a low tone that never changes, its
/// pulses 0.4 s apart from half a second on.
fn with_tone(home: &Home) {
    let tone = |k: u32| {
        let wave = 0.1 * (std::f64::consts::TAU * 98.0 * f64::from(k) / 48_000.0).sin();
        #[expect(clippy::cast_possible_truncation, reason = "samples are single")]
        let wave = wave as f32;
        [wave; 2]
    };
    let rate = contrapalma::pcm::SampleRate::HZ_48000;
    let samples = (0..48_000 * 12).flat_map(tone).collect();
    let pcm = contrapalma::pcm::Pcm::new(rate, 2, samples).expect("finite");
    let file = fs::File::create(home.file("tone.wav")).expect("a file");
    wav::write(&pcm, file).expect("written");
    let file = fs::File::open(home.file("tone.wav")).expect("there");
    let hash = contrapalma::label::ContentHash::of(file).expect("it can be read");
    let times: Vec<String> = (0..=24)
        .map(|k| format!("{:.1}", 0.5 + 0.4 * f64::from(k)))
        .collect();
    let deck = format!(
        "{}\n[[passage]]\nid = \"tone\"\nrecording = \"{hash}\"\nfile = \"{}\"\ncycle = 6\n\
         pulses = [{}]\nmarks = \"2222\"\n",
        contrapalma::deck::own_recordings(),
        home.file("tone.wav").display(),
        times.join(", ")
    );
    home.write("tone.toml", deck);
}

#[test]
fn a_passage_whose_turn_is_not_asked_is_told_so() {
    let home = Home::new();
    with_tone(&home);
    let deck = fs::read_to_string(home.file("tone.toml")).expect("written");
    home.write("turns.toml", deck.replace("\"2222\"", "\"2233\""));
    let line = |deck: &str| {
        let text = done(&home, &format!("decks show {deck}")).out;
        let line = text.lines().find(|line| line.starts_with("  tone: "));
        line.expect("the passage is told").to_owned()
    };
    let told = line("turns.toml");
    let why = "marked 2233; its turn is asked only of passages with 7 to 9 cycles";
    assert!(told.ends_with(why), "{told}");
    assert!(line("tone.toml").ends_with("marked 2222"));
}

#[test]
fn a_passage_is_heard_under_the_claps_that_fit_it() {
    let home = Home::new();
    with_tone(&home);
    done(
        &home,
        "decks show tone.toml --hear which-clapping --seed 1 --wav out.wav",
    );
    let file = fs::File::open(home.file("out.wav")).expect("written");
    let sound = wav::read(file).expect("a WAV file").mono();
    // A clap is quick where the tone is slow: what changes from sample to sample.
    let energy = |from: usize| -> f32 {
        let here = sound[from..from + 960].windows(2);
        here.map(|pair| (pair[1] - pair[0]).powi(2)).sum()
    };
    for pulse in 1..24 {
        let at = pulse * 19_200;
        let (before, after) = (energy(at - 1_200), energy(at));
        let is_clapped = pulse % 2 == 0;
        assert_eq!(
            after > 4.0 * before,
            is_clapped,
            "{pulse}: {before} {after}"
        );
    }
}

#[test]
fn passages_are_told_by_file_and_time_and_one_is_heard() {
    let home = Home::new();
    let seconds = with_passage(&home);
    let text = done(&home, "decks show mine.toml").out;
    let line = text.lines().find(|line| line.starts_with("  abc-1: "));
    let line = line.expect("the passage is told");
    assert!(line.starts_with("  abc-1: take.wav, 0:0"), "{line}");
    assert!(line.ends_with(", 2 cycles, marked 22"), "{line}");
    done(
        &home,
        "decks show mine.toml --hear which-clapping --seed 1 --wav out.wav",
    );
    let file = fs::File::open(home.file("out.wav")).expect("written");
    let pcm = wav::read(file).expect("a WAV file");
    let lasts = f64::from(u32::try_from(pcm.micros()).expect("short")) / 1e6;
    assert!((lasts - seconds).abs() < 0.01, "{lasts} {seconds}");
    // Where it is gone that is said, and nothing is written.
    fs::remove_file(home.file("take.wav")).expect("there");
    let args = "decks show mine.toml --hear which-clapping --seed 1 --wav none.wav";
    refused(&home, args, 1, &["take.wav: not where it was", "hint: "]);
    assert!(!home.file("none.wav").exists());
}
