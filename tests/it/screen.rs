//! The program on a screen, without a sound device: what is shown, which keys lead where, and that
//! the terminal is whole again however it ends.

use std::fs::File;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use contrapalma::pcm::{Pcm, SampleRate, wav};
use contrapalma::store::Store;
use contrapalma::world::{Moment, Seed};
use portable_pty::CommandBuilder;
use rustix::process::Signal;
use tempfile::TempDir;

use crate::terminal::{ENTER, PATIENCE, Terminal, program, surround};

const NOW: &str = "2026-11-26T08:00:00Z";
const ESC: &str = "\x1b";
const CTRL_C: &str = "\x03";
const CTRL_Z: &str = "\x1a";
/// In the bottom line of the first screen, of a question and of its reveal, and nowhere else.
const TODAY: &str = "enter begin";
const QUESTION: &str = "once more (heard";
const REVEAL: &str = "enter next";

/// A place to practise in.
struct Practice {
    home: TempDir,
}

impl Practice {
    fn new() -> Self {
        Self {
            home: TempDir::new().expect("a temporary folder"),
        }
    }

    fn command(&self) -> CommandBuilder {
        let mut command = program(self.home.path(), NOW);
        command.args(["--silent", "--seed", "7"]);
        command
    }

    fn start(&self) -> Terminal {
        let mut terminal = Terminal::start(self.command());
        terminal.wait_for(TODAY);
        terminal
    }

    /// In front of the first question.
    fn asked(&self) -> Terminal {
        let mut terminal = self.start();
        terminal.press(ENTER);
        terminal.wait_for(QUESTION);
        terminal
    }

    /// How many attempts are kept. The program must have ended: it has the store for itself.
    fn n_kept(&self) -> usize {
        let dir = self.home.path().join(".local/share/contrapalma");
        let store = Store::open(&dir, Seed(0), Moment(0)).expect("the store is in order");
        let mut n_kept = 0;
        store
            .attempts(|_| n_kept += 1)
            .expect("the store can be read");
        n_kept
    }
}

#[test]
fn a_skill_may_be_chosen_when_it_is_started() {
    let practice = Practice::new();
    let started = |args: &[&str]| {
        let mut command = practice.command();
        command.args(args);
        Terminal::start(command)
    };
    let mut terminal = started(&["sit", "--skill", "chords"]);
    terminal.wait_for("Listen to the chords");
    terminal.wait_for("you chose it");
    terminal.wait_for(QUESTION);
    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press(CTRL_C);
    assert_eq!(terminal.end(), 0);
    let mut terminal = started(&["sit", "--skill", "path/voices", "--listen"]);
    terminal.wait_for("Only listen: nothing is asked, and nothing is scored.");
    terminal.wait_for("under its claps");
    terminal.press("q");
    terminal.wait_for("in this deck");
    terminal.press(CTRL_C);
    assert_eq!((terminal.end(), practice.n_kept()), (0, 0));
}

#[test]
fn a_sitting_goes_by_single_keys_and_is_kept() {
    let practice = Practice::new();
    let mut terminal = practice.start();
    assert!(terminal.is_taken());
    let today = terminal.text();
    assert!(today.contains("Thursday, 26 November"), "{today}");
    assert!(today.contains("new   In threes or in twos"), "{today}");

    terminal.press(ENTER);
    terminal.wait_for(QUESTION);
    terminal.wait_for("sounding   cycle 1 of 4");
    let question = terminal.text();
    assert!(
        question.contains("1  in threes") && question.contains("2  in twos"),
        "{question}"
    );
    assert!(!has_grid(&question), "{question}");

    terminal.press("1");
    terminal.wait_for(REVEAL);
    terminal.wait_for("   kept");
    let reveal = terminal.text();
    assert!(has_grid(&reveal), "{reveal}");
    assert!(
        reveal.contains("Right: in t") || reveal.contains("Not this time: in t"),
        "{reveal}"
    );

    terminal.press(ENTER);
    terminal.wait_for(QUESTION);
    assert!(!has_grid(&terminal.text()), "{}", terminal.text());

    terminal.press("q");
    terminal.wait_for("this sitting");
    let summary = terminal.text();
    assert!(summary.contains("of 1 right, in "), "{summary}");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    assert!(terminal.is_whole());
    assert_eq!(practice.n_kept(), 1);
}

/// Whether the text shows the counts of a cycle or the row of a voice.
fn has_grid(text: &str) -> bool {
    let mut lines = text.lines().map(str::trim_start);
    lines.any(|line| {
        ["count ", "bass ", "chords "]
            .iter()
            .any(|name| line.starts_with(name))
    })
}

#[test]
fn help_lies_over_the_screen_and_goes_again() {
    let mut terminal = Practice::new().asked();
    terminal.press("?");
    terminal.wait_for("keys and words");
    terminal.press("?");
    terminal.wait_for(QUESTION);
}

#[test]
fn the_terminal_is_whole_after_every_signal() {
    // An exit code of 128 and the number of the signal is the custom of shells.
    for (signal, code) in [(Signal::TERM, 143), (Signal::HUP, 129), (Signal::INT, 130)] {
        let practice = Practice::new();
        let mut terminal = practice.asked();
        terminal.press("2");
        terminal.wait_for("   kept");
        terminal.signal(signal);
        assert_eq!(terminal.end(), code);
        assert!(terminal.is_whole());
        assert_eq!(practice.n_kept(), 1);
    }
}

#[test]
fn the_terminal_is_whole_after_ctrl_c() {
    let mut at_first = Practice::new().start();
    at_first.press(CTRL_C);
    assert_eq!(at_first.end(), 0);
    assert!(at_first.is_whole());

    let practice = Practice::new();
    let mut answered = practice.asked();
    answered.press("1");
    answered.wait_for("   kept");
    answered.press(CTRL_C);
    assert_eq!(answered.end(), 0);
    assert!(answered.is_whole());
    assert_eq!(practice.n_kept(), 1);
}

#[test]
fn a_closed_window_ends_the_program_and_loses_nothing() {
    let practice = Practice::new();
    let mut terminal = practice.asked();
    terminal.press("1");
    terminal.wait_for("   kept");
    terminal.hang_up();
    let code = terminal.end();
    // Told by the signal, or by the terminal that can be read no more, whichever is first.
    assert!(code == 129 || code == 4, "{code}");
    assert_eq!(practice.n_kept(), 1);
}

#[test]
fn a_window_may_change_its_size() {
    let mut terminal = Practice::new().asked();
    terminal.press("1");
    terminal.wait_for(REVEAL);

    terminal.resize(60, 20);
    terminal.wait_until("the reveal in 60 columns", |screen| {
        let text = screen.contents();
        text.contains(REVEAL) && has_grid(&text) && text.lines().count() == 20
    });

    terminal.resize(50, 15);
    terminal.wait_for("needs 60 columns and 20 rows; here are");
    terminal.wait_for("50 and 15");
    assert!(!has_grid(&terminal.text()), "{}", terminal.text());

    terminal.resize(80, 24);
    terminal.wait_until("the reveal in 80 columns", |screen| {
        let text = screen.contents();
        text.contains(REVEAL) && has_grid(&text) && text.lines().count() == 24
    });
}

#[test]
fn ctrl_z_stops_it_with_a_whole_terminal_and_fg_brings_it_back() {
    let practice = Practice::new();
    // Only a shell that watches over its jobs can continue what was stopped.
    let script = r#"set -m; "$@"; echo "stopped with $?"; read -r _; fg; echo "ended with $?""#;
    let mut command = CommandBuilder::new("bash");
    command.args(["-c", script, "shell"]);
    for word in practice.command().get_argv() {
        command.arg(word);
    }
    surround(&mut command, practice.home.path());
    command.env("CONTRAPALMA_NOW", NOW);

    let mut terminal = Terminal::start(command);
    terminal.wait_for(TODAY);
    terminal.press(ENTER);
    terminal.wait_for(QUESTION);
    assert!(terminal.is_taken());
    terminal.press(CTRL_Z);
    // 128 and the number of the signal to stop, 20.
    terminal.wait_for("stopped with 148");
    assert!(terminal.is_whole());

    terminal.wipe();
    terminal.press(ENTER);
    terminal.wait_for(QUESTION);
    assert!(terminal.is_taken());
    let again = terminal.text();
    assert!(again.contains("1  in threes"), "{again}");
    terminal.press("1");
    terminal.wait_for(REVEAL);
    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press("q");
    terminal.wait_for("ended with 0");
    assert!(terminal.is_whole());
    assert_eq!(terminal.end(), 0);
}

#[test]
fn a_program_stopped_from_outside_draws_all_afresh() {
    let mut terminal = Practice::new().asked();
    terminal.signal(Signal::STOP);
    terminal.wipe();
    terminal.signal(Signal::CONT);
    terminal.wait_for(QUESTION);
    assert!(
        terminal.text().contains("1  in threes"),
        "{}",
        terminal.text()
    );
    assert!(terminal.is_taken());
}

#[test]
fn nothing_is_asked_of_the_terminal() {
    let mut terminal = Practice::new().asked();
    terminal.press("1");
    terminal.wait_for(REVEAL);
    terminal.press("q");
    terminal.wait_for("this sitting");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    // ECMA-48 DSR and DA, and the query of the keyboard protocol that some terminals have: a
    // terminal that knows them not is waited for in vain.
    let said = String::from_utf8_lossy(terminal.output_so_far());
    for question in [
        "\x1b[6n", "\x1b[5n", "\x1b[c", "\x1b[0c", "\x1b[>c", "\x1b[?u",
    ] {
        assert!(!said.contains(question), "{question:?}");
    }
}

#[test]
fn without_a_terminal_it_says_what_to_do() {
    let practice = Practice::new();
    let mut child = Command::new(env!("CARGO_BIN_EXE_contrapalma"))
        .args(["--silent", "--seed", "7"])
        .env_clear()
        .env("HOME", practice.home.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it can be started");
    // An open pipe as input: a program that reads it would wait for ever.
    let input = child.stdin.take();
    let pid = rustix::process::Pid::from_child(&child);
    let (to, ended) = mpsc::channel();
    thread::spawn(move || child.wait_with_output().map(|out| to.send(out)));
    let out = ended.recv_timeout(PATIENCE);
    if out.is_err() {
        rustix::process::kill_process(pid, Signal::KILL).ok();
    }
    let out = out.expect("it ends at once");
    drop(input);
    assert_eq!(out.status.code(), Some(4));
    assert!(out.stdout.is_empty());
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(said.contains("no terminal: the screen needs one"), "{said}");
    assert!(said.contains("sit --plain"), "{said}");
}

#[test]
fn the_first_frame_does_not_wait_for_an_answer() {
    // The home has to outlive the program.
    let practice = Practice::new();
    let mut terminal = Terminal::start(practice.command());
    let first = terminal.wait_for(TODAY);
    // Who asks a terminal that never answers gives up after two seconds.
    assert!(first < Duration::from_millis(1_900), "{first:?}");
}

/// Eighteen seconds of strokes in threes as `evening.wav`, and where their pulses lie.
fn evening(practice: &Practice) -> (std::path::PathBuf, std::path::PathBuf) {
    let sound = practice.home.path().join("evening.wav");
    let pulses = practice.home.path().join("pulses.csv");
    let rate = SampleRate::HZ_48000;
    // A low stroke on every third pulse of a quarter of a second, a high one on the others.
    let wave = |k: u32| {
        let (pulse, since) = (k / 12_000, f64::from(k % 12_000) / 48_000.0);
        let (hz, loud) = if pulse.is_multiple_of(3) {
            (98.0, 0.6)
        } else {
            (392.0, 0.2)
        };
        loud * (-12.0 * since).exp() * (std::f64::consts::TAU * hz * since).sin()
    };
    #[expect(clippy::cast_possible_truncation, reason = "samples are single")]
    let samples = (0..48_000 * 18).flat_map(|k| [wave(k) as f32; 2]).collect();
    let pcm = Pcm::new(rate, 2, samples).expect("finite");
    wav::write(&pcm, File::create(&sound).expect("a file")).expect("written");
    let times = (0..72).map(|k| format!("{}\n", 0.25 * f64::from(k)));
    std::fs::write(&pulses, times.collect::<String>()).expect("written");
    (sound, pulses)
}

/// A recording on the screen, its pulses given.
fn listening(practice: &Practice, sound: &Path, pulses: &Path) -> Terminal {
    let mut command = program(practice.home.path(), NOW);
    command.args(["listen", "--silent", "--pulses"]);
    command.arg(pulses);
    command.arg(sound);
    Terminal::start(command)
}

#[test]
fn a_recording_is_heard_and_played_by_single_keys() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);

    let mut terminal = listening(&practice, &sound, &pulses);
    terminal.wait_for("evening.wav");
    terminal.wait_for("Cycle 1, 0:00: leaning to threes");
    terminal.wait_for("ready: cycles 1 to 4, claps none, speed 100 %");
    terminal.press(" ");
    terminal.wait_for("sounding: cycles 1 to 4");
    terminal.press("2<");
    terminal.wait_for("claps in twos, speed 90 %");
    terminal.press("1");
    terminal.wait_for("Cycle 1, 0:00: ");
    terminal.wait_for("esc today   q leave");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
    assert!(terminal.is_whole());
}

#[test]
fn a_recording_is_left_for_what_today_holds_too() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);
    let mut terminal = listening(&practice, &sound, &pulses);
    terminal.wait_for("ready: cycles 1 to 4");
    terminal.press(ESC);
    terminal.wait_for(TODAY);
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

#[test]
fn what_is_said_of_a_recording_is_there_again_when_it_was_moved_and_renamed() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);
    let mut terminal = listening(&practice, &sound, &pulses);
    terminal.wait_for("Cycle 1, 0:00: leaning to threes");
    terminal.press("wu");
    terminal.wait_for("you say twos, sure; heard: leaning to threes");
    terminal.press("\x1b[C\x1b[Cs");
    terminal.wait_for("part    |-|---");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);

    let folder = practice.home.path().join("kept");
    std::fs::create_dir(&folder).expect("a folder");
    let moved = folder.join("better name.wav");
    std::fs::rename(&sound, &moved).expect("it is moved");
    let mut command = program(practice.home.path(), NOW);
    command.args(["listen", "--silent"]);
    command.arg(&moved);
    let mut terminal = Terminal::start(command);
    terminal.wait_for("better name.wav");
    terminal.wait_for("Cycle 1, 0:00: you say twos, sure; heard: leaning to threes");
    terminal.wait_for("you     222222222222");
    terminal.wait_for("part    |-|---------");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

#[test]
fn a_passage_that_is_cut_is_practised_wherever_its_recording_lies() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);
    let mut terminal = listening(&practice, &sound, &pulses);
    terminal.wait_for("Cycle 1, 0:00: leaning to threes");
    terminal.press("r");
    terminal.wait_for("you say threes");
    terminal.press("x");
    terminal.wait_for("Cut for: Which clapping goes with it?; Where did it come in?; Clap along");
    terminal.press("x");
    terminal.wait_for("this passage is in the deck already");
    // The next one is marked as twos, and so there are two to tell apart.
    terminal.press("\x1b[C\x1b[C\x1b[C\x1b[C\x1b[Cs[w");
    terminal.wait_for("you say twos");
    terminal.press("\x1b[C\x1b[C\x1b[C]x");
    terminal.wait_for("Cut for: What does it lean to?");
    // What was cut is practised there at once, though the deck was not there before.
    terminal.press(ESC);
    terminal.wait_for("Own recordings");
    terminal.press("q");
    assert_eq!(terminal.end(), 0);

    let practised_at = |now: &str| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_contrapalma"));
        let home = practice.home.path();
        command.env_clear().env("HOME", home).env("TZ", "UTC");
        command.env("CONTRAPALMA_NOW", now).current_dir(home);
        command.args("sit --plain --silent --seed 5 --deck own --questions 2".split(' '));
        let ended = crate::program::run(command, "1\nd\n\n".repeat(20));
        assert_eq!(ended.code, 0, "{}", ended.err);
        ended.out
    };
    let practised = || practised_at(NOW);
    let folder = practice.home.path().join("kept");
    std::fs::create_dir(&folder).expect("a folder");
    let moved = folder.join("better name.wav");
    std::fs::rename(&sound, &moved).expect("it is moved");
    let told = practised();
    assert!(
        told.contains("marked by ear") || told.contains("as it was cut"),
        "{told}"
    );
    assert!(told.contains(" of 2 right"), "{told}");
    let today = told
        .lines()
        .find(|line| line.contains("phrases."))
        .unwrap_or_default();
    assert!(today.contains("about 2 phrases"), "{told}");
    // Each was revealed, and answers no other exercise today.
    let told = practised();
    assert!(told.contains("about 0 phrases"), "{told}");
    assert!(
        told.contains("All passages rest: each comes back"),
        "{told}"
    );
    assert_eq!(told.matches("All passages rest").count(), 2, "{told}");
    assert!(!told.contains("its passages rest"), "{told}");
    assert!(!told.contains("marked by ear.\n"), "{told}");
    // The next day the other exercises ask it.
    let told = practised_at("2026-11-27T08:00:00Z");
    assert!(told.contains("about 2 phrases"), "{told}");
    assert!(told.contains(" of 2 right"), "{told}");
    std::fs::remove_file(&moved).expect("it is gone");
    let told = practised();
    assert!(told.contains("evening.wav is not where it was"), "{told}");
    let today = "0 skills are due, 0 new, about 0 phrases.";
    assert!(told.contains(today), "{told}");
    let waits = "4 skills wait for evening.wav, which is not where it was.";
    assert!(told.contains(waits), "{told}");
}

#[test]
fn a_recording_on_a_machine_without_a_sound_device_is_looked_at_and_not_judged() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);
    let nothing = practice.home.path().join("nothing");
    std::fs::write(&nothing, "").expect("written");
    let mut command = program(practice.home.path(), NOW);
    // With nothing configured ALSA knows no device, whatever this machine has.
    command.env("ALSA_CONFIG_PATH", &nothing);
    command.args(["listen", "--pulses"]);
    command.arg(&pulses);
    command.arg(&sound);
    let mut terminal = Terminal::start(command);
    terminal.wait_for("No sound device: nothing can be played.");
    terminal.wait_for("Cycle 1, 0:00: leaning to threes");
    for key in [" ", "3j", "t"] {
        terminal.press("\x1b[C");
        terminal.wait_until("no message", |screen| {
            !screen.contents().contains("Nothing can be played")
        });
        terminal.press(key);
        terminal.wait_for("Nothing can be played (no sound device");
        let text = terminal.text();
        assert!(text.contains("ready: cycles 1 to 4"), "{text}");
        assert!(!text.contains("ALSA") && !text.contains("snd_"), "{text}");
    }
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

#[test]
fn a_recording_that_is_removed_while_it_is_open_keeps_its_picture() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);
    let mut terminal = listening(&practice, &sound, &pulses);
    terminal.wait_for("Cycle 1, 0:00: leaning to threes");
    std::fs::remove_file(&sound).expect("it was there");
    terminal.press(" ");
    let gone = "It can be looked at, but not played: the file is gone from where it was.";
    terminal.wait_for(gone);
    terminal.wait_for("ready: cycles 1 to 4");
    terminal.press("\x1b[C]");
    terminal.wait_for("Cycle 2, 0:01: leaning to threes");
    terminal.wait_for(gone);
    assert!(!terminal.text().contains("os error"), "{}", terminal.text());
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}

/// The least screen: nothing of what was done, of where one is and of what is set up gets lost.
#[test]
fn on_a_low_screen_a_cut_is_told_beside_the_strip_and_what_is_set_up() {
    let practice = Practice::new();
    let (sound, pulses) = evening(&practice);
    let mut terminal = listening(&practice, &sound, &pulses);
    terminal.wait_for("Cycle 1, 0:00: leaning to threes");
    terminal.resize(60, 20);
    for (keys, said) in [
        ("r", "the whole recording: you say"),
        ("x", "Cut for: Which clapping"),
        ("x", "in the deck already"),
        (" ", "sounding: cycles 1 to 4"),
    ] {
        terminal.press(keys);
        terminal.wait_until(said, |screen| {
            let text = screen.contents();
            let has = |part: &str| text.contains(part);
            has(said) && has(": cycles 1 to 4, claps none") && has("=]") && has("? all keys")
        });
    }
    terminal.press("q");
    assert_eq!(terminal.end(), 0);
}
