//! A question before its answer.
//!
//! No grid, no marks of the layers and no count: the eye must not help. Even the number of the
//! cycle is counted from where the phrase came in, since the true one would turn over on the first
//! count.

use ratatui::style::Style;
use ratatui::text::Line;

use crate::app::{Playhead, SetUp};
use crate::quiz::{Hearing, Kind, Open, Playing};
use crate::tui::keymap;
use crate::tui::page::{Body, Screen};
use crate::tui::theme::Theme;
use crate::tui::view::{Picture, View};

/// Columns of the track along which the playhead glides: no multiple of a cycle's length, so that
/// it cannot be counted on.
const TRACK: usize = 23;

pub(in crate::tui) fn screen(open: &Open, view: &View<'_>, theme: Theme, columns: usize) -> Screen {
    let mut body = Body::new(columns);
    body.say(open.ticket.line.as_str(), Style::new());
    body.mention(&open.ticket.why);
    if open.question.ends_with_its_sound() {
        body.mention(timing(view.set_up));
    }
    body.mention(open.spoilt().unwrap_or_default());
    body.gap();
    body.say(&open.question.asks(open.ticket.counting), theme.strong());
    body.gap();
    let hidden = open.question.ends_with_its_sound() && view.here.picture == Picture::Hidden;
    let sounding = match view.playhead {
        Some(_) if hidden => "sounding".to_owned(),
        _ => sounding(open, view, theme),
    };
    body.line(Line::from(format!("      {sounding}")));
    body.gap();
    if open.question.is_tapped() {
        body.line(Line::from(taps(open)));
    }
    if open.question.is_marked() {
        for line in marks(open) {
            body.line(Line::from(line));
        }
    }
    let now = clapping_now(open, view.playhead);
    let choices = keymap::choices(&open.question, open.ticket.counting);
    for (idx, (key, words)) in choices.into_iter().enumerate() {
        let mut text = format!("   {key}  {words}");
        if open.question.kind() == Kind::FitClapping {
            let again = keymap::clapping_key(idx);
            text = format!("{text:<18} {again} to hear it");
        }
        if now == Some(idx) {
            text.push_str("   <- sounds now");
        }
        body.line(Line::from(text));
    }
    let (place, of) = open.ticket.place;
    Screen {
        title: open.ticket.title.to_string(),
        aside: format!("phrase {place} of up to {of}"),
        body,
    }
}

/// Whether and why the timing of claps is judged.
fn timing(set_up: SetUp) -> &'static str {
    match set_up {
        SetUp::Tuned => "",
        SetUp::Untuned => {
            "Claps are counted, their timing is not judged: t on the first screen measures this output."
        }
        SetUp::Wireless => {
            "Claps are counted, their timing is not judged: a wireless output wanders. Use a cable."
        }
        SetUp::Silent => "Nothing is heard: claps are counted, their timing is not judged.",
    }
}

/// Before the first question, or between two.
pub(in crate::tui) fn waiting(columns: usize) -> Screen {
    let mut body = Body::new(columns);
    body.say("A phrase is being made.", Style::new());
    Screen {
        title: "contrapalma".to_owned(),
        aside: String::new(),
        body,
    }
}

fn sounding(open: &Open, view: &View<'_>, theme: Theme) -> String {
    let Some(playhead) = view.playhead else {
        return match open.sounding {
            Some(_) => "it comes in a moment".to_owned(),
            None => "it has sounded; answer, or hear it once more".to_owned(),
        };
    };
    let (cycle, of) = heard_cycle(playhead);
    let track = track(playhead.share, theme);
    if open.question.playing() == Playing::Round {
        return format!("going round   ( {track} )");
    }
    format!("sounding   cycle {cycle} of {of}   ( {track} )")
}

/// Which cycle is heard, from 1, counted from where the phrase came in.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share from 0 to 1 of a few cycles"
)]
fn heard_cycle(playhead: Playhead) -> (usize, usize) {
    let of = playhead.cycle.1.max(1);
    let cycle = (playhead.share.clamp(0.0, 1.0) * of as f64) as usize;
    ((cycle + 1).min(of), of)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share from 0 to 1 of the columns of the track"
)]
fn track(share: f64, theme: Theme) -> String {
    let here = ((share.clamp(0.0, 1.0) * TRACK as f64) as usize).min(TRACK - 1);
    let (head, rail) = theme.track();
    let mark = |idx| if idx == here { head } else { rail };
    (0..TRACK).map(mark).collect()
}

/// The clapping that sounds, among those offered.
fn clapping_now(open: &Open, playhead: Option<Playhead>) -> Option<usize> {
    let playhead = playhead?;
    match open.sounding {
        Some((Hearing::Clapping(idx), _)) => Some(idx),
        Some((Hearing::Question, _)) if playhead.part.1 > 1 => Some(playhead.part.0),
        _ => None,
    }
}

/// The cycle with the marks set so far, and the key of each count where that is not its name.
fn marks(open: &Open) -> Vec<String> {
    let cycle = open.question.phrase().cycle;
    let names: Vec<String> = cycle
        .pulses()
        .map(|p| open.ticket.counting.name(cycle, p))
        .collect();
    let row = |name: &str, cells: &[String]| {
        let cells = cells.iter().map(|cell| {
            let cell: String = cell.chars().take(3).collect();
            format!("{cell:<4}")
        });
        format!("   {name:<8}{}", cells.collect::<String>())
            .trim_end()
            .to_owned()
    };
    let marked = |idx: usize| if open.marks.contains(&idx) { "x" } else { "." };
    let marks: Vec<String> = (0..names.len()).map(|idx| marked(idx).to_owned()).collect();
    let keys = keymap::mark_keys(&open.question, open.ticket.counting);
    let keys: Vec<String> = keys.into_iter().map(String::from).collect();
    let mut rows = vec![row("count", &names), row("marked", &marks)];
    if keys != names {
        rows.push(row("key", &keys));
    }
    rows
}

fn taps(open: &Open) -> String {
    let n_taps = open.taps.kept().len();
    format!("   taps   {n_taps}   {}", ". ".repeat(n_taps))
}
