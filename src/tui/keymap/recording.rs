//! The keys on a recording.

use crossterm::event::KeyCode;

use super::{Action, Binding, Shows, binding, quiet, tap_keys, want};
use crate::app::Intent;
use crate::app::recording::{Clapping, Claps, Evens, Go, Nudge, Recording, Step};
use crate::mark::Mark;
use crate::quiz::{Hand, ToClap};

/// Without a sound device the bottom line names no key that only sounds; the help does, and the engine
/// says why nothing is played.
pub(super) fn without_sound(bindings: &mut [Binding]) {
    let sounds = |action: &Action| match action {
        Action::Want(Intent::Tap(_)) => true,
        Action::Want(Intent::Recording(step)) => matches!(
            step,
            Step::Pause
                | Step::Claps(_)
                | Step::ClapGrouping
                | Step::ClapsSofter
                | Step::ClapsLouder
                | Step::ClapAlong
                | Step::BeginHere
                | Step::Slower
                | Step::Faster
        ),
        _ => false,
    };
    let only_sound = |binding: &&mut Binding| binding.pairs.iter().all(|(_, to)| sounds(to));
    for binding in bindings.iter_mut().filter(only_sound) {
        binding.shown = Shows::InHelp;
    }
}

/// A key with the step that it makes.
fn step(key: KeyCode, step: Step) -> (KeyCode, Action) {
    (key, Action::Want(Intent::Recording(step)))
}

fn char(key: char, to: Step) -> (KeyCode, Action) {
    step(KeyCode::Char(key), to)
}

fn go(key: KeyCode, to: Go) -> (KeyCode, Action) {
    step(key, Step::Go(to))
}

/// Cycles from which on the bottom line names keys that go far.
const LONG: usize = 60;

pub(super) fn on_recording(recording: &Recording) -> Vec<Binding> {
    if recording.n_cycles() == 0 {
        return Vec::new();
    }
    // With two hands j is a clap, and may come late.
    let along = match recording.to_clap() {
        Some(ToClap::Two(_)) => [step(KeyCode::Backspace, Step::ClapAlong)],
        _ => [char('j', Step::ClapAlong)],
    };
    if matches!(recording.clapping, Clapping::Now(_)) {
        let stop = binding(along, "stop", "stops, and nothing is judged");
        let mut bindings = claps_along(recording);
        bindings.push(stop);
        return bindings;
    }
    if recording.is_tapping {
        return while_tapping(recording);
    }
    if matches!(recording.clapping, Clapping::Judged(_)) {
        // A clap that comes after the end plays nothing and wipes nothing away.
        let cycles = [go(KeyCode::Left, Go::Back), go(KeyCode::Right, Go::On)];
        let read = [step(KeyCode::Enter, Step::Read)];
        return vec![
            binding(read, "go on", "goes on from what is said of your claps"),
            binding(along, "once more", "clap along once more"),
            binding(cycles, "cycle", "looks at the cycle before or after"),
        ];
    }
    let pause = if recording.is_sounding {
        "silence"
    } else {
        "play"
    };
    let claps = [
        ('3', Claps::Threes),
        ('2', Claps::Twos),
        ('b', Claps::Both),
        ('n', Claps::None),
    ];
    let mut claps = claps
        .map(|(key, claps)| char(key, Step::Claps(claps)))
        .to_vec();
    claps.insert(3, char('5', Step::ClapGrouping));
    let play = binding(
        [char(' ', Step::Pause)],
        pause,
        "plays the passage round and round, or falls silent",
    );
    let mut bindings = vec![play];
    if recording.can_accept() {
        let accept = [step(KeyCode::Enter, Step::Accept)];
        let help = "cycles begin where it was proposed";
        bindings.push(binding(accept, "they begin so", help));
    }
    bindings.push(
        binding(
            claps,
            "claps",
            "claps in threes, in twos, both, in a grouping of the cycle's own (1-4-5 of six; of others, the next \
             each time), or none",
        )
        .if_room(),
    );
    bindings.extend(looking(recording));
    bindings.push(judging(recording));
    bindings.extend([
        binding(
            [
                char('<', Step::Slower),
                char('>', Step::Faster),
            ],
            "speed",
            "slower and faster, at the same pitch",
        )
        .if_room(),
        binding(
            [char('x', Step::Cut)],
            "cut",
            "cuts the passage into the deck of own recordings; of 7 to 9 cycles, if its turn is to be asked",
        )
        .if_room(),
    ]);
    let back = [char('z', Step::TakeBack)];
    let help = "takes back what you did last: what you said, a section, where pulses lie, a cut";
    bindings.push(match recording.can_take_back() {
        true => binding(back, "take back", help).if_room(),
        false => quiet(back, help),
    });
    bindings.extend(sections(recording));
    let along = [char('j', Step::ClapAlong)];
    let help =
        "clap what is clapped along with the passage, both with two hands, and be told how it went";
    bindings.push(match recording.to_clap() {
        Some(_) => binding(along, "clap along", help).if_room(),
        None => quiet(along, help),
    });
    bindings.extend(pulses(recording));
    bindings.push(
        binding(
            [char(',', Step::ClapsSofter), char('.', Step::ClapsLouder)],
            "loudness",
            "claps softer and louder, by 3 dB",
        )
        .if_room(),
    );
    bindings
}

/// Keys that look about and set the passage.
fn looking(recording: &Recording) -> Vec<Binding> {
    let tenths = [
        go(KeyCode::Up, Go::TenthBack),
        go(KeyCode::Down, Go::TenthOn),
    ];
    let help = "looks a tenth of the whole back or on";
    vec![
        binding(
            [go(KeyCode::Left, Go::Back), go(KeyCode::Right, Go::On)],
            "cycle",
            "looks at the cycle before or after",
        )
        .if_room(),
        match recording.n_cycles() > LONG {
            true => binding(tenths, "a tenth", help).if_room(),
            false => quiet(tenths, help),
        },
        quiet(
            [
                go(KeyCode::PageUp, Go::FarBack),
                go(KeyCode::PageDown, Go::FarOn),
            ],
            "looks sixteen cycles back or on",
        ),
        quiet(
            [go(KeyCode::Home, Go::First), go(KeyCode::End, Go::Last)],
            "looks at the first cycle, at the last",
        ),
        quiet(
            [go(KeyCode::Tab, Go::NextChange)],
            "the next cycle with which a section begins or the lean turns",
        ),
        binding(
            [char('[', Step::From), char(']', Step::Until)],
            "passage",
            "the passage begins or ends with the cycle that is looked at",
        )
        .if_room(),
    ]
}

/// The keys while pulses are tapped: those that tap everywhere, and the one by which it began.
fn while_tapping(recording: &Recording) -> Vec<Binding> {
    let mut tap = tap_keys(Hand::Either, "tap", "a tap on a pulse; t is one, too");
    let also = (KeyCode::Char('t'), Action::Want(Intent::Tap(Hand::Either)));
    tap.pairs.push(also);
    let mut bindings = vec![tap];
    if recording.n_taps > 0 {
        let take = [step(KeyCode::Enter, Step::Taps)];
        let help = "pulses are where the taps were, as near as the sound has them";
        bindings.push(binding(take, "take the taps", help));
    }
    let forget = [KeyCode::Backspace, KeyCode::Esc].map(|key| step(key, Step::ForgetTaps));
    let help = "the taps so far count for nothing, and space plays and falls silent again";
    bindings.push(binding(forget, "stop tapping", help));
    bindings
}

/// The keys of the hands that clap along.
fn claps_along(recording: &Recording) -> Vec<Binding> {
    let help = "a clap; claps lead in the first cycle, and then it is yours";
    match recording.to_clap() {
        Some(ToClap::Two(_)) => vec![
            tap_keys(Hand::Left, "threes", "a clap in threes with the left hand"),
            tap_keys(Hand::Right, "twos", "a clap in twos with the right hand"),
        ],
        _ => vec![tap_keys(Hand::Either, "clap", help)],
    }
}

/// Of which cycles something would be said.
fn you_say(recording: &Recording) -> String {
    let cycles = recording.judged().cycles;
    match cycles.len() {
        1 => format!("say of {}", cycles.start + 1),
        _ => format!("say of {} to {}", cycles.start + 1, cycles.end),
    }
}

/// Keys that say what is heard.
fn judging(recording: &Recording) -> Binding {
    let says = [
        ('r', Mark::Threes),
        ('w', Mark::Twos),
        ('o', Mark::Both),
        ('c', Mark::CannotSay),
    ];
    let says = says.map(|(key, mark)| char(key, Step::Say(mark)));
    let help = "you say threes, twos, both, or that you cannot say: of the passage that you set and look \
                into, else of the section, else of the passage that sounds, else of the whole";
    binding(says, you_say(recording), help).if_room()
}

/// Keys of sections, of how sure one is, and of what others say.
fn sections(recording: &Recording) -> Vec<Binding> {
    let key = |key, to, does: &str, help| binding([char(key, to)], does, help).if_room();
    let help = "a section begins with this cycle, or no longer does";
    let mut bindings = vec![key('s', Step::Section, "section", help)];
    let help = "how sure you are: a guess, fairly sure, sure";
    bindings.push(key('u', Step::Surer, "how sure", help));
    if recording.others().count() > 1 {
        let help = "the marks of the next person beside yours";
        bindings.push(key('m', Step::OtherPerson, "other marks", help));
    }
    bindings
}

/// Keys that set pulses.
fn pulses(recording: &Recording) -> Vec<Binding> {
    let later = binding(
        [char('1', Step::BeatOne)],
        "one a pulse later",
        "cycles begin one pulse later; after a whole cycle as before",
    );
    let here = [char('f', Step::BeginHere)];
    let help =
        "while it sounds: a cycle begins with this pulse; all of them, or once said, from here on";
    let here = match recording.is_sounding {
        true => binding(here, "count from here", help).if_room(),
        false => quiet(here, help),
    };
    let tap = want(
        KeyCode::Char('t'),
        Intent::Tap(Hand::Either),
        "tap the pulse",
        "tap every pulse along, with space or t, from a first of a cycle on",
    );
    let nudges = [('-', Nudge::Earlier), ('+', Nudge::Later)];
    let nudges = nudges.map(|(key, nudge)| char(key, Step::Nudge(nudge)));
    let nudges = binding(nudges, "10 ms", "all pulses 10 ms earlier or later");
    let mut bindings = vec![tap.if_room(), later.if_room(), here];
    if recording.n_candidates() > 1 {
        let other = [char('p', Step::OtherPulse)];
        let help = "other pulses that may be meant, such as half or twice as many";
        bindings.push(binding(other, "other pulses", help).if_room());
    }
    if let Some(evens) = recording.evens() {
        let even = [char('e', Step::Even)];
        let does = match evens {
            Evens::MayBe => "even pulses",
            Evens::Laid => "no even pulses",
        };
        let help =
            "even pulses where none were found, to play and to tap along there; once more, none";
        bindings.push(binding(even, does, help).if_room());
    }
    bindings.push(nudges.if_room());
    let length = [char('l', Step::OtherCycle)];
    let does = format!("cycles of {}", recording.next_cycle().n_pulses());
    let help = "how many pulses a cycle has: 6, 12, 8, 9, 5 or 7";
    bindings.push(binding(length, does, help).if_room());
    bindings
}
