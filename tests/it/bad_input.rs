//! What bad input and bad surroundings get: a sentence with the place, what was found and what to
//! do, the documented exit code, and nothing changed on the disk.

use std::fs;
use std::path::PathBuf;
use std::process::Command;

use crate::program::{Ended, Home, Talk, kept_in, run};

/// Runs a command that is to be refused with this code and these words, and changes nothing.
#[track_caller]
fn refused(home: &Home, command: Command, code: i32, says: &[&str]) -> Ended {
    let before = lasting(home);
    let ended = run(command, "1\n\n1\n");
    assert_eq!(
        (ended.code, ended.out.as_str()),
        (code, ""),
        "{}",
        ended.err
    );
    for words in says {
        assert!(ended.err.contains(words), "{words:?} in\n{}", ended.err);
    }
    harmless(&ended.err);
    let after = lasting(home);
    assert!(before == after, "the disk is not as it was: {}", ended.err);
    ended
}

/// All files but those that SQLite lays beside a store while it looks into it and that say nothing:
/// the index of its log, which is made anew at each start, and a log without an entry.
fn lasting(home: &Home) -> Vec<(PathBuf, Vec<u8>)> {
    let says_nothing = |path: &PathBuf, bytes: &[u8]| {
        path.ends_with("practice.db-shm") || path.ends_with("practice.db-wal") && bytes.is_empty()
    };
    let mut files = home.files();
    files.retain(|(path, bytes)| !says_nothing(path, bytes));
    files
}

/// Nothing that drives a terminal is in it.
#[track_caller]
fn harmless(text: &str) {
    let drives = |c: char| c.is_control() && c != '\n';
    assert!(!text.contains(drives), "{text:?}");
}

/// A home in which somebody has practised.
fn practised() -> Home {
    let home = Home::new();
    let ended = run(home.sitting("--questions 2"), "1\n\n1\n");
    assert_eq!((ended.code, home.kept().len()), (0, 2));
    home
}

#[test]
fn the_command_line() {
    let home = Home::new();
    for (args, says) in [
        (
            "--nonsense",
            ["--nonsense", "unexpected argument", "--help"],
        ),
        ("dance", ["dance", "unrecognized subcommand", "--help"]),
        ("sit --plain --minutes 0", ["--minutes", "'0'", "1..=120"]),
        ("sit --plain --minutes x", ["--minutes", "'x'", "--help"]),
        (
            "sit --plain --questions 0",
            ["--questions", "'0'", "1..=1000"],
        ),
        ("sit --seed -1", ["-1", "error: ", "--help"]),
        (
            "sit --seed 1e3",
            ["--seed", "'1e3'", "a whole number from 0 to"],
        ),
        (
            "phrase bass --level 99",
            ["--level", "'99'", "from 1.5 to 12"],
        ),
        (
            "phrase bass --level nan",
            ["--level", "'nan'", "from 1.5 to 12"],
        ),
        (
            "phrase bass --feel sideways",
            ["--feel", "'sideways'", "threes, twos, both, in-turn"],
        ),
        ("phrase", ["<EXERCISE>", "required", "--help"]),
        (
            "phrase nowhere",
            ["\"nowhere\"", "this deck", "it has plain, count-six, "],
        ),
        (
            "phrase start-count --feel in-turn",
            ["in-turn", "4 cycles or more", "choose another"],
        ),
    ] {
        refused(&home, home.program(args), 2, &says);
    }
    let mut escape = home.program("phrase");
    escape.arg("bass\u{1b}[2J\u{202e}");
    refused(&home, escape, 2, &["\"bass?[2J?\""]);
    let mut escape = home.program("");
    escape.arg("\u{1b}[2J");
    refused(&home, escape, 2, &["'?[2J'"]);
}

#[test]
fn the_environment() {
    let home = Home::new();
    for text in [
        "tomorrow",
        "2026-03-02",
        "2026-02-30T08:00:00Z",
        "\u{1b}[2J",
    ] {
        let mut command = home.sitting("");
        command.env("CONTRAPALMA_NOW", text);
        let says = ["CONTRAPALMA_NOW: ", "is no moment", "write it as 2026-"];
        refused(&home, command, 2, &says);
    }
    let mut homeless = home.sitting("");
    homeless.env_remove("HOME");
    refused(&home, homeless, 4, &["no place for data", "HOME", "--data"]);
    // A path that is not absolute is to be ignored (XDG base directory specification 0.8).
    let mut relative = home.sitting("");
    relative.env_remove("HOME").env("XDG_DATA_HOME", "relative");
    refused(&home, relative, 4, &["no place for data"]);
}

#[test]
fn a_store_of_a_newer_program() {
    let home = practised();
    let path = home.data().join("practice.db");
    let mut bytes = fs::read(&path).expect("a store");
    // The form, "user version", is at bytes 60 to 63 (sqlite.org/fileformat2.html, table of the header).
    bytes[60..64].copy_from_slice(&99_u32.to_be_bytes());
    fs::write(&path, &bytes).expect("a newer store");
    let says = [
        "practice.db is of form 99",
        "knows forms up to",
        "newer contrapalma",
    ];
    refused(&home, home.sitting(""), 3, &says);
}

#[test]
fn a_damaged_store() {
    let home = practised();
    let path = home.data().join("practice.db");
    let whole = fs::read(&path).expect("a store");
    let mut torn = whole.clone();
    torn.truncate(whole.len() / 2);
    let mut scribbled = whole.clone();
    scribbled[4096..20_000].fill(0x5a);
    let text = b"not a store at all\n".to_vec();
    for bytes in [torn, scribbled, text] {
        fs::write(&path, &bytes).expect("a damaged store");
        let says = [
            "practice.db is damaged: ",
            "nothing was changed; put back a copy",
        ];
        refused(&home, home.sitting(""), 3, &says);
    }
    fs::write(&path, &whole).expect("the copy put back");
    assert_eq!(home.kept().len(), 2);
}

#[test]
fn two_programs_on_one_store() {
    let home = Home::new();
    let mut first = Talk::start(home.sitting("--questions 1"));
    first.question();
    let second = run(home.sitting("--questions 1"), "1\n");
    assert_eq!((second.code, second.out.as_str()), (4, ""));
    for words in [
        "contrapalma: ",
        "is in use by another contrapalma",
        "--data",
    ] {
        assert!(second.err.contains(words), "{}", second.err);
    }
    first.say("1");
    let (name, _) = first.answered();
    assert_eq!(first.end().code, 0);
    assert_eq!(home.kept(), [name]);
}

#[test]
fn a_file_where_the_folder_should_be() {
    let home = Home::new();
    home.write("file", "mine");
    for dir in ["file", "file/below", "file/below/that"] {
        let command = home.sitting(&format!("--data {dir}"));
        refused(&home, command, 4, &[dir, "cannot be reached", "--data"]);
    }
}

#[test]
fn a_place_that_may_not_be_written() {
    let home = practised();
    // Nobody may make anything there, root not even.
    let command = home.sitting("--data /proc/contrapalma");
    refused(&home, command, 4, &["/proc/contrapalma", "--data"]);
    let sitting = "\"$CONTRAPALMA\" sit --plain --silent";
    let command = if rustix::process::geteuid().is_root() {
        let data = ".local/share/contrapalma";
        let bind = format!("mount --bind {data} {data} && mount -o remount,ro,bind {data}");
        if !can_mount(&home) {
            return;
        }
        home.shell(&format!("exec unshare -m sh -c '{bind} && exec {sitting}'"))
    } else {
        let mut permissions = fs::metadata(home.data()).expect("a folder").permissions();
        permissions.set_readonly(true);
        fs::set_permissions(home.data(), permissions).expect("our own folder");
        home.shell(&format!("exec {sitting}"))
    };
    refused(
        &home,
        command,
        4,
        &["may not be written", "make it writable"],
    );
}

/// Whether this machine lets a test mount a folder of its own.
fn can_mount(home: &Home) -> bool {
    let line = "exec unshare -r -m sh -c 'mkdir -p probe && mount -t tmpfs none probe'";
    let possible = run(home.shell(line), "").code == 0;
    fs::remove_dir(home.file("probe")).ok();
    possible
}

/// Answers until the disk is full, and checks that what was said to be kept is kept. Returns what
/// was said on standard error.
#[track_caller]
fn until_full(home: &Home, line: &str, dir: &str) -> String {
    let ended = run(home.shell(line), "1\nd\n\n".repeat(400));
    assert_eq!(ended.code, 4, "{}", ended.err);
    let said: Vec<&str> = ended
        .out
        .lines()
        .filter_map(|line| line.strip_prefix("kept "))
        .collect();
    assert!(!said.is_empty() && said.len() < 400, "{}", said.len());
    let kept = kept_in(&home.file(dir));
    assert_eq!(kept, said, "{}", ended.err);
    harmless(&ended.err);
    // With room again it goes on.
    let ended_later = run(
        home.sitting(&format!("--questions 1 --data {dir}")),
        "1\nd\n",
    );
    assert_eq!(ended_later.code, 0, "{}", ended_later.err);
    ended.err
}

const LONG_SITTING: &str = "\"$CONTRAPALMA\" sit --plain --silent --seed 5 --questions 400";

#[test]
fn a_full_disk() {
    let home = Home::new();
    if !can_mount(&home) {
        return;
    }
    // The folder lives inside the mount alone, so that it is copied out of it at the end.
    let inside = format!(
        "mkdir disk && mount -t tmpfs -o size=320k none disk && {{ {LONG_SITTING} --data disk; \
         code=$?; mkdir copy; cp -a disk/. copy; exit $code; }}"
    );
    let err = until_full(&home, &format!("unshare -r -m sh -c '{inside}'"), "copy");
    assert!(
        err.contains("there is no room left for disk/practice.db"),
        "{err}"
    );
    assert!(err.contains("make room and start again"), "{err}");
}

#[test]
fn a_file_that_may_not_grow() {
    let home = Home::new();
    // The shell that ignores the signal has the program get an error instead.
    let line = format!("trap '' XFSZ; ulimit -f 600; exec {LONG_SITTING} --data data");
    let err = until_full(&home, &line, "data");
    assert!(err.contains("contrapalma: data/practice.db "), "{err}");
    assert!(err.contains("\nhint: "), "{err}");
}

#[test]
fn a_deck_with_faults_names_every_place() {
    let home = Home::new();
    let deck = "format = 1\nid = \"d\"\ntitle = \"D\"\n\n[[exercise]]\nid = \"one\"\n\
                title = \"One\"\nasks = \"name-feel\"\nline = \"Listen.\"\n\
                families = [\"plain\", \"harp\"]\nfeels = [\"threes\", \"fours\"]\n\
                tempo = [120, 900]\ncycles = [4, 4]\n\
                level = { easiest = 8, criterion = 5, hardest = 2 }\n";
    home.write("deck.toml", deck);
    let command = home.program("sit --plain --silent --deck deck.toml");
    // Lines and columns counted by hand.
    let says = [
        "contrapalma: deck.toml: line 10, column 22: found ",
        "contrapalma: deck.toml: line 11, column 20: found ",
        "contrapalma: deck.toml: line 12, column ",
        "mend the deck and start again; nothing was changed",
    ];
    let ended = refused(&home, command, 1, &says);
    for line in ended.err.lines().filter(|line| !line.starts_with("hint: ")) {
        assert!(line.contains("; expected "), "{line}");
    }
    home.write(
        "broken.toml",
        "format = 1\nid = \"d\ntitle = \"\u{1b}[2J\"\n",
    );
    let command = home.program("sit --plain --silent --deck broken.toml");
    refused(
        &home,
        command,
        1,
        &["broken.toml: line 2, column ", "; expected "],
    );
}

#[test]
fn a_deck_that_is_no_deck() {
    let home = Home::new();
    home.write("binary", [0xff, 0xfe, 0, 1, 2, 3].repeat(50));
    home.write("latin", b"format = 1\ntitle = \"comp\xe1s\"\n");
    home.write("large", "#".repeat(1 << 21));
    for (file, code, says) in [
        (
            "binary",
            3,
            ["binary: byte 1 is no UTF-8", "save the deck as UTF-8"],
        ),
        (
            "latin",
            3,
            ["latin: byte 25 is no UTF-8", "save the deck as UTF-8"],
        ),
        (
            "large",
            3,
            ["large: more than 262144 bytes", "check that this is a deck"],
        ),
        (
            "/dev/zero",
            3,
            [
                "/dev/zero: more than 262144 bytes",
                "check that this is a deck",
            ],
        ),
        ("missing", 4, ["missing: No such file", "check the name"]),
        ("/", 4, ["/: Is a directory", "check the place"]),
    ] {
        let command = home.program(&format!("sit --plain --silent --deck {file}"));
        refused(&home, command, code, &says);
        let command = home.program(&format!("phrase plain --deck {file}"));
        refused(&home, command, code, &says);
    }
    let mut escape = home.program("phrase plain --deck");
    escape.arg("\u{1b}[2J\u{7}");
    refused(&home, escape, 4, &["?[2J?: No such file"]);
}

#[test]
fn no_sound_device() {
    let home = practised();
    // With nothing configured ALSA knows no device, whatever this machine has.
    home.write("nothing", "");
    let mut command = home.program("sit --plain");
    command.env("ALSA_CONFIG_PATH", home.file("nothing"));
    let kept = home.kept();
    let ended = run(command, "1\n");
    assert_eq!((ended.code, ended.out.as_str()), (4, ""));
    let lines: Vec<&str> = ended.err.lines().collect();
    assert_eq!(lines.len(), 2, "{}", ended.err);
    assert!(
        lines[0].starts_with("contrapalma: no sound device: "),
        "{}",
        lines[0]
    );
    assert!(
        lines[1].starts_with("hint: ") && lines[1].contains("--silent"),
        "{}",
        lines[1]
    );
    assert_eq!(home.kept(), kept);
}

#[test]
fn lines_that_are_no_answer_are_told_and_nothing_else() {
    let home = Home::new();
    let long = "9".repeat(100_000);
    let lines: [&[u8]; 16] = [
        b"",
        b"0",
        b"3",
        b"-1",
        b"1.0",
        b"99999999999999999999999",
        b"yes",
        b"d",
        b"a",
        b"1 2",
        b"\x1b[2J\x1b[31mred\x07",
        b"\xff\xfe\xfa",
        b"1\0",
        "\u{202e}1\u{200b}".as_bytes(),
        "１".as_bytes(),
        long.as_bytes(),
    ];
    let mut input = lines.join(&b'\n');
    input.extend_from_slice(b"\n 1 \r\n");
    let ended = run(home.sitting("--questions 1"), input);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    harmless(&ended.out);
    let told = |line: &&str| line.contains("\" is no answer here. Answer with a number;");
    assert_eq!(
        ended.out.lines().filter(told).count(),
        lines.len(),
        "{}",
        ended.out
    );
    assert!(ended.out.lines().all(|line| line.chars().count() < 300));
    assert_eq!(home.kept().len(), 1);
}

#[test]
fn a_line_without_end_takes_no_memory() {
    let home = Home::new();
    // A quarter of a gigabyte may be taken, and more than that comes in.
    let line = "{ head -c 300000000 /dev/zero; echo; echo 1; } | \
                { ulimit -v 250000; exec \"$CONTRAPALMA\" sit --plain --silent --seed 5 --questions 1; }";
    let ended = run(home.shell(line), "");
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert_eq!(home.kept().len(), 1);
}

#[test]
fn input_that_cannot_be_read_is_its_end() {
    let home = Home::new();
    let ended = run(
        home.shell("exec \"$CONTRAPALMA\" sit --plain --silent --seed 5 < ."),
        "",
    );
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert!(ended.out.contains("Nothing was answered"), "{}", ended.out);
}

#[test]
fn output_that_cannot_be_written() {
    let home = Home::new();
    home.write("one.part", "mine");
    let missing = [
        (
            "phrase bass --wav missing/one.wav",
            "missing/one.wav: No such file",
        ),
        (
            "phrase bass --json missing/one.json",
            "missing/one.json: No such file",
        ),
    ];
    for (args, says) in missing {
        refused(&home, home.program(args), 4, &[says, "check the name"]);
    }
    refused(
        &home,
        home.program("phrase bass --wav ."),
        4,
        &[".: Is a directory"],
    );
    let full = ["No space left", "make room and try again"];
    refused(
        &home,
        home.program("phrase bass --json /dev/full"),
        4,
        &full,
    );
    refused(&home, home.program("phrase bass --wav /dev/full"), 4, &full);
    assert!(!fs::metadata("/dev/full").expect("a device").is_file());
    let shell = home.shell("exec \"$CONTRAPALMA\" phrase bass > /dev/full");
    refused(&home, shell, 4, &["standard output: No space left"]);
    let ended = run(
        home.program("phrase bass --wav one.wav --json one.json"),
        "",
    );
    assert_eq!(
        (ended.code, ended.out.as_str(), ended.err.as_str()),
        (0, "", "")
    );
    let names: Vec<String> = fs::read_dir(home.path())
        .expect("a folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    assert_eq!(names.len(), 3, "{names:?}");
    assert_eq!(fs::read(home.file("one.part")).expect("untouched"), b"mine");
}

#[test]
fn a_sitting_whose_output_is_full_keeps_what_was_answered() {
    let home = practised();
    let kept = home.kept();
    let line = "exec \"$CONTRAPALMA\" sit --plain --silent --seed 5 > /dev/full";
    let ended = run(home.shell(line), "1\n");
    assert_eq!(ended.code, 4);
    assert!(
        ended.err.contains("standard output: No space left"),
        "{}",
        ended.err
    );
    assert_eq!(home.kept(), kept);
}
