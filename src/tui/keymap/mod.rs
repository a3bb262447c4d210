//! Which key does what, and the bottom line that says so.
//!
//! Read [`bindings`] first: it gives every key that works now. A key is looked up in what it gives,
//! and the bottom line and the help are written from it, so they cannot disagree. Only
//! [`Control`] keys work everywhere; the help names them.

mod foot;
mod recording;
mod sitting;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use crate::accent::Cue;
use crate::app::bench::{Bench, Guide, Step};
use crate::app::tune_up::{self, TuneUp};
use crate::app::{ClapBy, Decks, Intent, Listening, Place, Progress, Scroll, Wishing};
use crate::phrase::Third;
use crate::quiz::{Hand, Hearing, Open, Question, Stage};
use crate::rhythm::Counting;

use super::view::{Overlay, Room, Turn, View};
pub(super) use foot::{foot, in_foot};
use recording::{on_recording, without_sound};
use sitting::{on_question, on_reveal};

/// What a key does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Action {
    /// It tells the engine.
    Want(Intent),
    /// It turns to another cycle of the grid.
    Turn(Turn),
    /// It lays this over the screen.
    Overlay(Overlay),
    /// It takes the picture of a clapped question away, or brings it back.
    Picture,
    /// It ends the program.
    Quit,
}

/// Keys that do one kind of thing.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Binding {
    pub(super) pairs: Vec<(KeyCode, Action)>,
    /// What they do, for the bottom line.
    pub(super) does: String,
    /// What they do, for the help.
    pub(super) help: &'static str,
    /// Which of them the bottom line names.
    pub(super) shown: Shows,
}

/// Which keys the bottom line names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shows {
    /// All of them.
    All,
    /// All of them, as long as the bottom line has room; else the help tells of them.
    IfRoom,
    /// The first; the help tells of the others.
    First,
    /// None: only the help tells of them.
    InHelp,
}

/// What works everywhere and is left out of the bottom line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Control {
    /// Ctrl-C: the program ends.
    Leave,
    /// Ctrl-Z: the program is suspended.
    Suspend,
}

impl Control {
    pub(super) fn of(key: KeyEvent) -> Option<Self> {
        match key.code {
            _ if !key.modifiers.contains(KeyModifiers::CONTROL) => None,
            KeyCode::Char('c' | 'C') => Some(Self::Leave),
            KeyCode::Char('z' | 'Z') => Some(Self::Suspend),
            _ => None,
        }
    }
}

/// Every key that works now, in the order of the bottom line.
pub(super) fn bindings(view: &View<'_>, room: Room) -> Vec<Binding> {
    if room == Room::TooSmall {
        return vec![leave(view.place)];
    }
    if let Overlay::Help { page } = view.here.overlay {
        let more = Action::Overlay(Overlay::Help { page: page + 1 });
        let keys = [KeyCode::Char(' '), KeyCode::PageDown, KeyCode::Down].map(|key| (key, more));
        let close = Action::Overlay(Overlay::None);
        let back = [KeyCode::Esc, KeyCode::Char('?'), KeyCode::Char('q')];
        return vec![
            first_of(keys, "more", "the next page, and the first after the last"),
            binding(back.map(|key| (key, close)), "back", "back to the screen"),
        ];
    }
    below_help(view)
}

/// Every key that works when no help lies over the screen.
pub(super) fn below_help(view: &View<'_>) -> Vec<Binding> {
    let mut bindings = match (view.place, view.stage) {
        (Place::Today(_), _) => on_today(view),
        (Place::Summary(_), _) => vec![want(
            KeyCode::Enter,
            Intent::Onward,
            "today",
            "to what today holds",
        )],
        (Place::Bench(bench), _) => on_bench(bench),
        (Place::Listening(listening), _) => while_listening(listening),
        (Place::Progress(progress), _) => on_progress(progress, view),
        (Place::Recording(recording), _) => on_recording(recording),
        (Place::TuneUp(tune_up), _) => at_tune_up(tune_up),
        (Place::Sitting, Some(Stage::Open(open))) => on_question(open, view),
        (Place::Sitting, Some(Stage::Shown(shown))) => on_reveal(shown, view),
        (Place::Sitting, _) => Vec::new(),
    };
    if let (Place::Recording(_), Some(_)) = (view.place, view.no_sound) {
        without_sound(&mut bindings);
    }
    let help = Action::Overlay(Overlay::Help { page: 0 });
    bindings.push(binding([(KeyCode::Char('?'), help)], "help", "this help"));
    if let Place::Recording(recording) = view.place
        && !recording.is_tapping
    {
        let (to, help) = match recording.has_cut() {
            true => ("practise", "to what today holds of your own recordings"),
            false => ("today", "to what today holds"),
        };
        bindings.push(want(KeyCode::Esc, Intent::Leave, to, help));
    }
    bindings.push(leave(view.place));
    bindings
}

/// What `key` does among `bindings`. Capital letters count as small ones.
pub(super) fn action(bindings: &[Binding], key: KeyEvent) -> Option<Action> {
    let chord = KeyModifiers::CONTROL | KeyModifiers::ALT | KeyModifiers::SUPER;
    if key.modifiers.intersects(chord) {
        return None;
    }
    let code = match key.code {
        KeyCode::Char(c) => KeyCode::Char(c.to_ascii_lowercase()),
        code => code,
    };
    let mut pairs = bindings.iter().flat_map(|binding| &binding.pairs);
    pairs
        .find(|(bound, _)| *bound == code)
        .map(|(_, action)| *action)
}

impl Binding {
    /// The same, named where there is room.
    fn if_room(self) -> Self {
        Self {
            shown: Shows::IfRoom,
            ..self
        }
    }

    /// The names of its keys, as `1 2 3`, `1-6` or `enter`.
    pub(super) fn keys(&self) -> String {
        const LISTED: usize = 3;
        let mut digits: Vec<char> = self
            .pairs
            .iter()
            .filter_map(|(key, _)| digit(*key))
            .collect();
        digits.sort_unstable();
        let in_a_row = digits
            .windows(2)
            .all(|pair| u32::from(pair[0]) + 1 == u32::from(pair[1]));
        match digits.as_slice() {
            [first, .., last] if digits.len() > LISTED && in_a_row => format!("{first}-{last}"),
            _ => {
                let n_shown = match self.shown {
                    Shows::All | Shows::IfRoom | Shows::InHelp => self.pairs.len(),
                    Shows::First => 1,
                };
                let pairs = self.pairs.iter().take(n_shown);
                let names: Vec<String> = pairs.map(|(key, _)| name(*key)).collect();
                names.join(" ")
            }
        }
    }
}

/// The key of each choice, the number by which it is chosen, with its words.
pub(super) fn choices(question: &Question, counting: Counting) -> Vec<(char, String)> {
    let key = |idx: usize| {
        let written = question.choice_number(idx, counting).to_string();
        written.chars().next().unwrap_or('0')
    };
    let words = question.choices(counting).into_iter().enumerate();
    words.map(|(idx, words)| (key(idx), words)).collect()
}

/// The key of each pulse, from 0: the number by which it is counted, as keyboards go on after nine.
pub(super) fn mark_keys(question: &Question, counting: Counting) -> Vec<char> {
    const KEYS: [char; 12] = ['1', '2', '3', '4', '5', '6', '7', '8', '9', '0', '-', '='];
    let cycle = question.phrase().cycle;
    let key = |pulse| {
        let number = counting.number(cycle, pulse);
        number.checked_sub(1).and_then(|idx| KEYS.get(idx).copied())
    };
    cycle
        .pulses()
        .map(|pulse| key(pulse).unwrap_or(' '))
        .collect()
}

/// The key that plays one clapping again.
pub(super) fn clapping_key(idx: usize) -> char {
    char::from(b'a'.saturating_add(u8::try_from(idx).unwrap_or(u8::MAX)))
}

/// How often a question was heard, begun hearings among them.
pub(super) fn n_heard(open: &Open) -> usize {
    let begun = !matches!(open.sounding, Some((_, None)));
    usize::from(open.replays) + usize::from(begun)
}

fn on_today(view: &View<'_>) -> Vec<Binding> {
    let mut bindings = Vec::new();
    if view.no_sound.is_none() {
        let help = "begins the sitting";
        bindings.push(want(KeyCode::Enter, Intent::Begin, "begin", help));
    }
    if view.no_sound.is_none() {
        let help = "plays with the layers of one phrase";
        bindings.push(want(KeyCode::Char('b'), Intent::ToBench, "bench", help));
        let help = "measures how late taps come here, so that they can be judged";
        let tune_up = Intent::TuneUp(tune_up::Step::Bell);
        bindings.push(want(KeyCode::Char('t'), tune_up, "tune-up", help));
    }
    let help = "how far practice has brought you, skill by skill";
    let progress = Intent::ToProgress;
    bindings.push(want(KeyCode::Char('p'), progress, "progress", help));
    if view.decks == Decks::All {
        let help = "to the next deck; the choice is kept";
        let next = Intent::NextDeck;
        bindings.push(want(KeyCode::Char('d'), next, "other deck", help));
    }
    let counts = match view.counting {
        None => "counts by style",
        Some(Counting::FromOne) => "counts from one",
        Some(Counting::FromLast) => "counts from the last",
        Some(Counting::UnDos) => "counts un, dos after ten",
        Some(Counting::Spanish | Counting::SpanishFromLast) => "counts uno, dos, tres",
    };
    if view.has_ear && view.no_sound.is_none() {
        let (does, help, other) = match view.claps_by {
            ClapBy::Keys => (
                "claps by keys",
                "takes claps by the microphone; use headphones, or the sound itself is heard",
                ClapBy::Microphone,
            ),
            ClapBy::Microphone => ("claps by microphone", "takes claps by keys", ClapBy::Keys),
        };
        bindings.push(want(KeyCode::Char('m'), Intent::ClapBy(other), does, help));
    }
    let help = "counts otherwise, or as each style counts";
    bindings.push(want(KeyCode::Char('c'), Intent::Recount, counts, help));
    bindings
}

fn while_listening(listening: &Listening) -> Vec<Binding> {
    if listening.told.is_none() {
        return Vec::new();
    }
    let hear = |key, hearing, does: &str, help| {
        want(KeyCode::Char(key), Intent::Hear(hearing), does, help)
    };
    vec![
        hear(
            'p',
            Hearing::Question,
            "once more",
            "plays the phrase again",
        ),
        hear(
            'h',
            Hearing::AsItIs,
            "under its claps",
            "the phrase under the claps of what is true",
        ),
        want(
            KeyCode::Enter,
            Intent::Onward,
            "another",
            "another phrase of the same skill",
        ),
    ]
}

fn on_progress(progress: &Progress, view: &View<'_>) -> Vec<Binding> {
    let mut bindings = Vec::new();
    if view.no_sound.is_none() && !progress.lines.is_empty() {
        let help = "practises the marked skill now, whatever is due";
        let practise = Intent::Practise;
        bindings.push(want(KeyCode::Enter, practise, "practise it", help));
        let help = "plays phrases of it and says what they are; nothing is scored";
        bindings.push(want(
            KeyCode::Char('l'),
            Intent::Listen,
            "only listen",
            help,
        ));
    }
    let cue = view.wish.cue.map_or("any", Cue::id);
    let tempo = view.wish.tempo.map_or("any", Third::word);
    bindings.push(want(
        KeyCode::Char('u'),
        Intent::Wish(Wishing::Cue),
        format!("cue: {cue}"),
        "practises by this cue alone, in skills that have it",
    ));
    bindings.push(want(
        KeyCode::Char('t'),
        Intent::Wish(Wishing::Tempo),
        format!("tempo: {tempo}"),
        "practises in the slow, middle or fast third of a skill's tempi",
    ));
    let scroll = |(key, scroll)| (key, Action::Want(Intent::Scroll(scroll)));
    let one = [(KeyCode::Up, Scroll::Up), (KeyCode::Down, Scroll::Down)];
    let help = "marks the skill above or below";
    bindings.push(binding(one.map(scroll), "other skill", help));
    let far = [
        (KeyCode::PageDown, Scroll::Far),
        (KeyCode::PageUp, Scroll::Back),
        (KeyCode::Home, Scroll::First),
        (KeyCode::End, Scroll::Last),
    ];
    let help = "eight skills on; page up eight back, home and end to the first and last";
    bindings.push(first_of(far.map(scroll), "far", help));
    bindings
}

fn at_tune_up(tune_up: &TuneUp) -> Vec<Binding> {
    let step = |key, step, does: &str, help| want(key, Intent::TuneUp(step), does, help);
    let (bell, loudness, even) = (
        step(
            KeyCode::Char('b'),
            tune_up::Step::Bell,
            "tap with the bell",
            "measures how late taps come",
        ),
        step(
            KeyCode::Char('l'),
            tune_up::Step::Loudness,
            "loudness",
            "plays as loud as anything gets, to set a safe loudness",
        ),
        step(
            KeyCode::Char('e'),
            tune_up::Step::Even,
            "without a sound",
            "shows how evenly you tap with nothing to hear",
        ),
    );
    let again = step(
        KeyCode::Char('r'),
        tune_up.step,
        "from the start",
        "begins with the first tap again",
    );
    let mut bindings = Vec::new();
    let by_key = tune_up.by == ClapBy::Keys;
    if by_key && tune_up.is_tapped() && tune_up.kept.is_none() {
        bindings.push(tap_keys(Hand::Either, "tap", "a tap"));
    }
    bindings.extend(match tune_up.step {
        tune_up::Step::Offered | tune_up::Step::Loudness => vec![bell, loudness, even],
        tune_up::Step::Bell => vec![again, loudness, even],
        tune_up::Step::Even => vec![again, bell, loudness],
    });
    bindings.retain(|binding| {
        let stays = Action::Want(Intent::TuneUp(tune_up.step));
        tune_up.is_tapped() || binding.pairs.iter().all(|(_, action)| *action != stays)
    });
    bindings
}

/// The keys of a hand: one under its finger, and those that a foot pedal may send.
fn tap_keys(hand: Hand, does: &str, help: &'static str) -> Binding {
    let pairs = hand_keys(hand).map(|key| (key, Action::Want(Intent::Tap(hand))));
    Binding {
        pairs: pairs.into(),
        does: does.to_owned(),
        help,
        shown: Shows::First,
    }
}

fn hand_keys(hand: Hand) -> [KeyCode; 3] {
    match hand {
        Hand::Either => [KeyCode::Char(' '), KeyCode::Down, KeyCode::PageDown],
        Hand::Left => [KeyCode::Char('f'), KeyCode::Left, KeyCode::PageUp],
        Hand::Right => [KeyCode::Char('j'), KeyCode::Right, KeyCode::PageDown],
    }
}

/// The name of the key under a hand's finger.
pub(super) fn hand_key(hand: Hand) -> String {
    let [first, ..] = hand_keys(hand);
    name(first)
}

fn on_bench(bench: &Bench) -> Vec<Binding> {
    let tempo = [('+', Step::Faster), ('-', Step::Slower)].map(bench_key);
    let guide = match bench.guide {
        Guide::Thinning => "guide in every cycle",
        Guide::Every | Guide::BothReadings => "guide thins out",
    };
    let pause = if bench.is_sounding {
        "silence"
    } else {
        "sound"
    };
    let claps = format!("claps: {}", bench.claps.words());
    let step = |key, step, does: &str, help| binding([bench_key((key, step))], does, help);
    let mut bindings = vec![
        binding(voice_keys(bench), "voice on, off", "puts a voice on or off"),
        step(
            'a',
            Step::Alone,
            "one alone",
            "one voice alone, the next, then all",
        ),
        step('c', Step::Claps, &claps, "other claps"),
        step(
            'g',
            Step::Guide,
            guide,
            "claps in every cycle, or fewer and fewer",
        ),
        binding(tempo, "tempo", "faster and slower"),
        step(
            'y',
            Step::Pattern,
            "cycle",
            "six, twelve, five, the bell and others",
        ),
        step('f', Step::Family, "surface", "another family of surfaces"),
        step(
            'o',
            Step::Other,
            "other phrase",
            "another phrase set up alike",
        ),
        step(' ', Step::Pause, pause, "falls silent, and sounds again"),
    ];
    if bench.pattern.marks().is_none() {
        let help = "threes, twos, both, in turn, either";
        bindings.push(step('l', Step::Feel, "layers", help));
        let help = "the same notes under both claps";
        bindings.push(step('n', Step::BothReadings, "two readings", help));
    }
    bindings
}

fn bench_key((key, step): (char, Step)) -> (KeyCode, Action) {
    (KeyCode::Char(key), Action::Want(Intent::Bench(step)))
}

/// A digit for each voice.
fn voice_keys(bench: &Bench) -> Vec<(KeyCode, Action)> {
    let steps = (0..bench.rows.len()).map(Step::Voice);
    ('1'..='9').zip(steps).map(bench_key).collect()
}

fn leave(place: &Place) -> Binding {
    match place {
        Place::Sitting => leaving("leave", "ends the sitting; answers are kept"),
        Place::Listening(_) => going_back("back to progress"),
        Place::Bench(_) | Place::Progress(_) => going_back("back to what today holds"),
        Place::TuneUp(tune_up) => {
            let does = match tune_up.step {
                tune_up::Step::Offered => "not now",
                _ => "go on",
            };
            leaving(does, "back to where you came from")
        }
        // Whoever started with a file comes from the shell.
        Place::Today(_) | Place::Summary(_) | Place::Recording(_) => {
            let quit = [(KeyCode::Char('q'), Action::Quit)];
            binding(quit, "leave", "leaves the program")
        }
    }
}

fn going_back(help: &'static str) -> Binding {
    leaving("back", help)
}

/// By `q`, or by escape, which everybody tries first.
fn leaving(does: &str, help: &'static str) -> Binding {
    let leave = Action::Want(Intent::Leave);
    let keys = [KeyCode::Char('q'), KeyCode::Esc].map(|key| (key, leave));
    first_of(keys, does, help)
}

/// Several keys, of which the bottom line names the first.
fn first_of(pairs: impl Into<Vec<(KeyCode, Action)>>, does: &str, help: &'static str) -> Binding {
    Binding {
        shown: Shows::First,
        ..binding(pairs, does, help)
    }
}

/// Keys of which only the help tells.
fn quiet(pairs: impl Into<Vec<(KeyCode, Action)>>, help: &'static str) -> Binding {
    Binding {
        shown: Shows::InHelp,
        ..binding(pairs, "", help)
    }
}

fn want(key: KeyCode, intent: Intent, does: impl Into<String>, help: &'static str) -> Binding {
    binding([(key, Action::Want(intent))], does, help)
}

fn binding(
    pairs: impl Into<Vec<(KeyCode, Action)>>,
    does: impl Into<String>,
    help: &'static str,
) -> Binding {
    Binding {
        pairs: pairs.into(),
        does: does.into(),
        help,
        shown: Shows::All,
    }
}

fn digit(key: KeyCode) -> Option<char> {
    match key {
        KeyCode::Char(c) if c.is_ascii_digit() => Some(c),
        _ => None,
    }
}

fn name(key: KeyCode) -> String {
    match key {
        KeyCode::Char(' ') => "space".to_owned(),
        KeyCode::PageDown => "pgdn".to_owned(),
        KeyCode::PageUp => "pgup".to_owned(),
        KeyCode::Char(c) => c.to_string(),
        other => other.to_string().to_lowercase(),
    }
}

fn times(n: usize) -> String {
    match n {
        1 => "1 time".to_owned(),
        n => format!("{n} times"),
    }
}
