//! The keys on a recording.

use crossterm::event::KeyCode;

use super::{Action, Binding, binding, quiet, tap_keys, want};
use crate::app::Intent;
use crate::app::recording::{self, Claps, Go, Recording};
use crate::mark::Mark;
use crate::quiz::{Hand, ToClap};

pub(super) fn on_recording(recording: &Recording) -> Vec<Binding> {
    if recording.n_cycles() == 0 {
        return Vec::new();
    }
    let step = |key, step| (key, Action::Want(Intent::Recording(step)));
    let char = |key, to| step(KeyCode::Char(key), to);
    // With two hands j is a clap, and may come late.
    let along = match recording.to_clap() {
        Some(ToClap::Two(_)) => [step(KeyCode::Backspace, recording::Step::ClapAlong)],
        _ => [char('j', recording::Step::ClapAlong)],
    };
    if matches!(recording.clapping, recording::Clapping::Now(_)) {
        let stop = binding(along, "stop", "stops, and nothing is judged");
        let mut bindings = claps_along(recording);
        bindings.push(stop);
        return bindings;
    }
    if recording.is_tapping {
        return while_tapping(recording);
    }
    let go = |key, to| step(key, recording::Step::Go(to));
    if matches!(recording.clapping, recording::Clapping::Judged(_)) {
        // A clap that comes after the end plays nothing and wipes nothing away.
        let cycles = [go(KeyCode::Left, Go::Back), go(KeyCode::Right, Go::On)];
        let read = [step(KeyCode::Enter, recording::Step::Read)];
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
        ('5', Claps::OneFourFive),
        ('n', Claps::None),
    ];
    let claps = claps.map(|(key, claps)| char(key, recording::Step::Claps(claps)));
    let mut bindings = vec![
        binding(
            [char(' ', recording::Step::Pause)],
            pause,
            "plays the passage round and round, or falls silent",
        ),
        binding(
            claps,
            "claps",
            "claps in threes, in twos, both, 1-4-5, or none",
        ),
        binding(
            [
                char(',', recording::Step::ClapsSofter),
                char('.', recording::Step::ClapsLouder),
            ],
            "loudness",
            "claps softer and louder, by 3 dB",
        ),
        binding(
            [go(KeyCode::Left, Go::Back), go(KeyCode::Right, Go::On)],
            "cycle",
            "looks at the cycle before or after",
        ),
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
            [
                char('[', recording::Step::From),
                char(']', recording::Step::Until),
            ],
            "passage",
            "the passage begins or ends with the cycle that is looked at",
        ),
        binding(
            [
                char('<', recording::Step::Slower),
                char('>', recording::Step::Faster),
            ],
            "speed",
            "slower and faster, at the same pitch",
        ),
        binding(
            [char('1', recording::Step::BeatOne)],
            "one a pulse later",
            "cycles begin one pulse later; after a whole cycle as before",
        ),
    ];
    let here = [char('f', recording::Step::BeginHere)];
    let help =
        "while it sounds: a cycle begins with this pulse, and from here on; before it all stays";
    bindings.push(match recording.is_sounding {
        true => binding(here, "first from here", help),
        false => quiet(here, help),
    });
    if !recording.is_set {
        let accept = [step(KeyCode::Enter, recording::Step::Accept)];
        let help = "cycles begin where it was proposed";
        bindings.push(binding(accept, "they begin so", help));
    }
    let along = [char('j', recording::Step::ClapAlong)];
    let help =
        "clap what is clapped along with the passage, both with two hands, and be told how it went";
    bindings.push(match recording.to_clap() {
        Some(_) => binding(along, "clap along", help),
        None => quiet(along, help),
    });
    bindings.extend(marking(recording));
    bindings.push(binding(
        [char('x', recording::Step::Cut)],
        "cut",
        "cuts the passage into the deck of own recordings; of 7 to 9 cycles, if its turn is to be asked",
    ));
    bindings.push(want(
        KeyCode::Char('t'),
        Intent::Tap(Hand::Either),
        "tap the pulse",
        "tap every pulse along, with space or t, from a first of a cycle on",
    ));
    bindings
}

/// The keys while pulses are tapped: those that tap everywhere, and the one by which it began.
fn while_tapping(recording: &Recording) -> Vec<Binding> {
    let step = |key, step| (key, Action::Want(Intent::Recording(step)));
    let mut tap = tap_keys(Hand::Either, "tap", "a tap on a pulse; t is one, too");
    let also = (KeyCode::Char('t'), Action::Want(Intent::Tap(Hand::Either)));
    tap.pairs.push(also);
    let mut bindings = vec![tap];
    if recording.n_taps > 0 {
        let take = [step(KeyCode::Enter, recording::Step::Taps)];
        let help = "pulses are where the taps were, as near as the sound has them";
        bindings.push(binding(take, "take the taps", help));
    }
    let forget =
        [KeyCode::Backspace, KeyCode::Esc].map(|key| step(key, recording::Step::ForgetTaps));
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
    let section = recording.section_of(recording.here);
    match section.len() {
        1 => format!("you say of {}", section.start + 1),
        _ => format!("you say of {} to {}", section.start + 1, section.end),
    }
}

/// Keys that set pulses and say what is heard.
fn marking(recording: &Recording) -> Vec<Binding> {
    use recording::{Nudge, Step};
    let char = |key, step| (KeyCode::Char(key), Action::Want(Intent::Recording(step)));
    let nudges = [('-', Nudge::Earlier), ('+', Nudge::Later)];
    let nudges = nudges.map(|(key, nudge)| char(key, Step::Nudge(nudge)));
    let says = [
        ('r', Mark::Threes),
        ('w', Mark::Twos),
        ('o', Mark::Both),
        ('c', Mark::CannotSay),
    ];
    let says = says.map(|(key, mark)| char(key, Step::Say(mark)));
    let mut bindings = vec![
        binding(nudges, "10 ms", "all pulses 10 ms earlier or later"),
        binding(
            [char('s', Step::Section)],
            "section",
            "a section begins with this cycle, or no longer does",
        ),
        binding(
            says,
            you_say(recording),
            "you say of the whole section: threes, twos, both, or that you cannot say",
        ),
        binding(
            [char('u', Step::Surer)],
            "how sure",
            "how sure you are: a guess, fairly sure, sure",
        ),
    ];
    if recording.can_take_back() {
        let back = [char('z', Step::TakeBack)];
        let help = "takes back what you did last: what you said, where pulses lie, a cut";
        bindings.push(binding(back, "take back", help));
    }
    if recording.others().count() > 1 {
        let next = [char('m', Step::OtherPerson)];
        let help = "the marks of the next person beside yours";
        bindings.push(binding(next, "other marks", help));
    }
    if recording.n_candidates() > 1 {
        let other = [char('p', Step::OtherPulse)];
        let help = "the next tempo that may be meant";
        bindings.push(binding(other, "other pulse", help));
    }
    bindings
}
