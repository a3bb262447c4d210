//! The keys of a question and of what is said after it.

use crossterm::event::KeyCode;

use super::{
    Action, Binding, binding, choices, clapping_key, mark_keys, n_heard, tap_keys, times, want,
};
use crate::app::{ClapBy, Intent};
use crate::quiz::{Hand, Hearing, Kind, Open, Shown};
use crate::tui::view::{Picture, Turn, View, cycles_differ};

pub(super) fn on_question(open: &Open, view: &View<'_>) -> Vec<Binding> {
    let mut bindings = Vec::new();
    let choices = choices(&open.question, open.ticket.counting);
    let choose = |(idx, (key, _)): (usize, &(char, String))| {
        (KeyCode::Char(*key), Action::Want(Intent::Choose(idx)))
    };
    if open.question.is_tapped() {
        bindings.append(&mut while_tapping(open, view));
    } else if open.question.is_marked() {
        let mark = |(pulse, key)| (KeyCode::Char(key), Action::Want(Intent::Mark(pulse)));
        let keys = mark_keys(&open.question, open.ticket.counting).into_iter();
        let pairs: Vec<_> = keys.enumerate().map(mark).collect();
        bindings.push(binding(
            pairs,
            "mark",
            "marks a count, or takes its mark away",
        ));
        if !open.marks.is_empty() {
            let help = "these marks are the answer";
            bindings.push(want(KeyCode::Enter, Intent::Done, "that is it", help));
        }
    } else {
        let pairs: Vec<_> = choices.iter().enumerate().map(choose).collect();
        bindings.push(binding(pairs, "answer", "answers"));
    }
    if open.question.kind() == Kind::FitClapping {
        let hear = |idx| {
            let hearing = Hearing::Clapping(idx);
            (
                KeyCode::Char(clapping_key(idx)),
                Action::Want(Intent::Hear(hearing)),
            )
        };
        let pairs: Vec<_> = (0..choices.len()).map(hear).collect();
        bindings.push(binding(pairs, "hear one", "plays one clapping again"));
    }
    let again = format!("once more (heard {})", times(n_heard(open)));
    let help = "plays it once more";
    bindings.push(want(KeyCode::Char('r'), Intent::Again, again, help));
    let help = "leaves this question unanswered";
    bindings.push(want(KeyCode::Char('s'), Intent::Skip, "skip", help));
    bindings
}

fn while_tapping(open: &Open, view: &View<'_>) -> Vec<Binding> {
    let mut bindings = Vec::new();
    if view.playhead.is_some() {
        match open.question.kind() {
            Kind::TwoHands => {
                let help = "the left hand; also the left arrow, or a pedal that sends page up";
                bindings.push(tap_keys(Hand::Left, "left", help));
                let help = "the right hand; also the right arrow, or a pedal that sends page down";
                bindings.push(tap_keys(Hand::Right, "right", help));
            }
            _ if view.claps_by == ClapBy::Microphone => {}
            Kind::Clap => {
                let help = "claps; also the down arrow, or a pedal that sends page down";
                bindings.push(tap_keys(Hand::Either, "clap", help));
            }
            _ => {
                let help = "taps where the cycle begins; also the down arrow or page down";
                bindings.push(tap_keys(Hand::Either, "tap", help));
            }
        }
    }
    if !open.taps.kept().is_empty() {
        let help = "these taps are the answer";
        bindings.push(want(KeyCode::Enter, Intent::Done, "that is it", help));
    }
    if open.question.ends_with_its_sound() {
        let (does, help) = match view.here.picture {
            Picture::Shown => ("no picture", "takes the gliding picture away"),
            Picture::Hidden => ("picture", "brings the gliding picture back"),
        };
        let key = KeyCode::Char('g');
        bindings.push(binding([(key, Action::Picture)], does, help));
    }
    bindings
}

pub(super) fn on_reveal(shown: &Shown, view: &View<'_>) -> Vec<Binding> {
    let hear = |key, hearing, does: String, help| {
        want(KeyCode::Char(key), Intent::Hear(hearing), does, help)
    };
    let help = "the phrase under the claps of what is true";
    let mut bindings = vec![hear('h', Hearing::AsItIs, "as it is".to_owned(), help)];
    if shown.reveal.as_answered.is_some() {
        let help = "the phrase under the claps of your answer";
        bindings.push(hear(
            'a',
            Hearing::AsAnswered,
            "as you answered".to_owned(),
            help,
        ));
    }
    if shown.reveal.together.is_some() {
        let help = "the right claps and yours over the phrase";
        bindings.push(hear('b', Hearing::Together, "both".to_owned(), help));
        let help = "your claps without the phrase";
        bindings.push(hear('o', Hearing::OwnAlone, "yours alone".to_owned(), help));
    }
    let help = "the phrase without claps";
    bindings.push(hear('p', Hearing::Question, "the phrase".to_owned(), help));
    let rows = shown.question.measured().rows();
    if let Some(row) = rows.get(view.here.voice % rows.len().max(1)) {
        let does = format!("only the {}", row.voice.words());
        let help = "the voices alone, one after another";
        bindings.push(hear('v', Hearing::Voice(row.voice), does, help));
    }
    if cycles_differ(&shown.reveal) {
        let keys = [
            (KeyCode::Left, Action::Turn(Turn::Back)),
            (KeyCode::Right, Action::Turn(Turn::On)),
        ];
        bindings.push(binding(keys, "cycle", "turns to another cycle"));
    }
    if !shown.disputed {
        let help = "disputes what is said to be true";
        bindings.push(want(KeyCode::Char('x'), Intent::Dispute, "dispute", help));
    }
    let help = "to the next question";
    bindings.push(want(KeyCode::Enter, Intent::Onward, "next", help));
    bindings
}
