//! Every screen drawn from real questions, and the keys against the engine's rules.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};

use super::draw::draw;
use super::keymap::{Action, Binding, Shows, action, below_help, bindings, foot, in_foot};
use super::theme::{Glyphs, Palette, Theme};
use super::view::{Advice, Here, Overlay, Room, Turn, View, n_cycles};
use crate::app::bench::{Bench, Step};
use crate::app::recording::State;
use crate::app::tune_up::{self, TuneUp};
use crate::app::{
    ClapBy, Coming, Decks, Intent, Place, Playhead, Progress, ProgressLine, SetToday, SetUp,
    Summary, SummaryLine, Today, TodayLine,
};
use crate::label::Label;
use crate::phrase::{Bell, Entry, Family, Level, Recipe, RecipeParts};
use crate::quiz::{
    By, Call, Event, Fits, Form, Guide, Hand, Hearing, Now, Phase, Question, Repairs, Sitting,
    Skill, Stage, Tap, Ticket,
};
use crate::report::Record;
use crate::report::stats::TwoLabels;
use crate::rhythm::{Counting, Cycle, Feel, Layer};
use crate::world::{Day, Moment, Seed, Stamp};

const LARGE: (u16, u16) = (80, 24);
const SMALL: (u16, u16) = Room::LEAST;
const PLAIN: Theme = Theme {
    palette: Palette::Plain,
    glyphs: Glyphs::Ascii,
};

/// What a view borrows from.
struct World {
    place: Place,
    sitting: Option<Sitting>,
    playhead: Option<Playhead>,
    counting: Option<Counting>,
    no_sound: Option<&'static str>,
    decks: Decks,
    claps_by: ClapBy,
    has_ear: bool,
    advice: Advice,
    here: Here,
}

impl World {
    fn at(place: Place) -> Self {
        Self {
            place,
            sitting: None,
            playhead: None,
            counting: None,
            no_sound: None,
            decks: Decks::All,
            claps_by: ClapBy::Keys,
            has_ear: false,
            advice: Advice::None,
            here: Here::default(),
        }
    }

    /// In a sitting with this question before it.
    fn asked(form: &Form, families: &[Family], feels: &[Feel], seed: u64) -> Self {
        Self::asked_in(Counting::FromOne, next(form, families, feels, seed))
    }

    /// The same, counted in this convention.
    fn asked_in(counting: Counting, next: Event) -> Self {
        let Event::Next(mut next) = next else {
            panic!("no question")
        };
        next.1.counting = counting;
        let mut world = Self::at(Place::Sitting);
        let mut sitting = Sitting::new(7, 1, crate::quiz::Hands::Untuned, &now());
        sitting.handle(Event::Next(next), &now());
        sitting.handle(Event::Started(Stamp(1_000)), &now());
        world.sitting = Some(sitting);
        world
    }

    /// The same, answered by the wrong choice or the right one.
    fn answered(mut self, right: bool) -> Self {
        let sitting = self.sitting.as_mut().expect("in a sitting");
        let Stage::Open(open) = sitting.stage() else {
            panic!("no question")
        };
        let given = crate::quiz::Given::Choice;
        let is = |idx: &usize| open.question.judge(&given(*idx)).map(|v| v.right);
        let choice = (0..9).find(|idx| is(idx) == Some(right)).expect("a choice");
        sitting.handle(Event::Choose(choice), &now());
        sitting.handle(Event::Saved, &now());
        self
    }

    fn stage(&self) -> Option<&Stage> {
        self.sitting.as_ref().map(Sitting::stage)
    }

    fn view(&self) -> View<'_> {
        View {
            place: &self.place,
            stage: self.stage(),
            playhead: self.playhead,
            counting: self.counting,
            no_sound: self.no_sound,
            set_up: SetUp::Untuned,
            deck: "First steps in six",
            decks: self.decks,
            wish: crate::phrase::Wish::default(),
            claps_by: self.claps_by,
            has_ear: self.has_ear,
            deaf: None,
            advice: self.advice,
            here: &self.here,
        }
    }

    fn drawn(&self, size: (u16, u16), theme: Theme) -> Buffer {
        let mut buf = Buffer::empty(Rect::new(0, 0, size.0, size.1));
        draw(&self.view(), theme, &mut buf);
        buf
    }

    fn text(&self, size: (u16, u16)) -> String {
        text(&self.drawn(size, PLAIN))
    }
}

fn text(buf: &Buffer) -> String {
    let row = |y| {
        let cells = (0..buf.area.width).map(|x| buf[(x, y)].symbol());
        cells.collect::<String>().trim_end().to_owned()
    };
    (0..buf.area.height)
        .map(row)
        .collect::<Vec<String>>()
        .join("\n")
}

fn now() -> Now {
    Now {
        stamp: Stamp(9_000_000),
        at: Moment(1_700_000_000_000),
        wall: Moment(1_700_000_000_000),
        offset_min: 60,
        day: Day(19_675),
    }
}

fn label(text: &str) -> Label {
    Label::new(text).expect("printable")
}

fn next(form: &Form, families: &[Family], feels: &[Feel], seed: u64) -> Event {
    let recipe = Recipe::new(RecipeParts {
        patterns: vec![crate::rhythm::Pattern::SIX],
        families: families.to_vec(),
        feels: feels.to_vec(),
        tempo: (140, 200),
        pacing: crate::phrase::Pacing::Steady,
        rival: crate::phrase::Rival::None,
        cycles: if *form == Form::CatchTurn(crate::phrase::Turning::Once) {
            (8, 8)
        } else {
            (4, 4)
        },
        entries: vec![Entry::Any],
        bell: Bell::None,
    })
    .expect("a possible recipe");
    let level = Level::of_tenths(60);
    let question = Question::ask(form, &recipe, level, &[], Seed(seed)).expect("a phrase");
    let ticket = Ticket {
        skill: Skill("first/bass".into()),
        title: label("name it by the bass"),
        line: label("Listen to the low notes. Nothing else tells."),
        repairs: Repairs {
            any: Some(label("hum only the low notes, then say 1 - 3 - 5 on them.")),
            of: std::collections::BTreeMap::new(),
        },
        counting: Counting::FromOne,
        why: "due: last heard 6 days ago".to_owned(),
        criterion: level,
        level,
        alternatives: form.alternatives(&recipe),
        block: 1,
        phase: Phase::Probe,
        place: (3, 6),
    };
    Event::Next(Box::new((question, ticket)))
}

fn name_feel() -> World {
    let feels = [Feel::Threes, Feel::Twos, Feel::Either];
    let mut world = World::asked(&Form::NameFeel, &[Family::BassStrums], &feels, 5);
    world.playhead = Some(playhead(1, 3.5, 0.4));
    world
}

/// The first phrase that passes from one feel to the other.
fn in_turn() -> World {
    let feels = [Feel::InTurn, Feel::Both];
    let asked = |seed| World::asked(&Form::NameFeel, &[Family::BassStrums], &feels, seed);
    let turns = |world: &World| match world.stage() {
        Some(Stage::Open(open)) => open.question.phrase().feel == Feel::InTurn,
        _ => false,
    };
    (1..).map(asked).find(turns).expect("one in two")
}

fn count_in() -> World {
    let form = Form::FindStart(By::Count);
    World::asked(&form, &[Family::Arpeggio], &[Feel::Threes], 2)
}

fn tapping() -> World {
    let form = Form::FindStart(By::Taps);
    let mut world = World::asked(&form, &[Family::Arpeggio], &[Feel::Threes], 2);
    let sitting = world.sitting.as_mut().expect("in a sitting");
    sitting.handle(Event::Tap(Tap::at(400_000)), &now());
    sitting.handle(Event::Tap(Tap::at(2_500_000)), &now());
    world.playhead = Some(playhead(2, 0.5, 0.7));
    world
}

fn whose_stroke() -> World {
    World::asked(&Form::WhoseStroke, &[Family::BassStrums], &[Feel::Both], 2)
}

fn marking() -> World {
    let patterns = [&[0, 3][..], &[0, 3, 4]];
    let patterns = patterns.map(|pulses| Layer::of(Cycle::SIX, pulses).expect("not empty"));
    let form = Form::MarkAccents {
        patterns: patterns.to_vec(),
        of: Fits::Knocks,
    };
    let mut world = World::asked(&form, &[Family::BassStrums], &[Feel::Threes], 2);
    let sitting = world.sitting.as_mut().expect("in a sitting");
    sitting.handle(Event::Mark(0), &now());
    sitting.handle(Event::Mark(5), &now());
    world
}

fn marked() -> World {
    let mut world = marking();
    let sitting = world.sitting.as_mut().expect("in a sitting");
    sitting.handle(Event::Done, &now());
    world
}

fn turning() -> World {
    World::asked(
        &Form::CatchTurn(crate::phrase::Turning::Once),
        &[Family::BassStrums],
        &[Feel::InTurn],
        3,
    )
}

fn two_hands() -> World {
    let layers: [&[i64]; 2] = [&[0, 3], &[0, 2, 4]];
    let form = Form::TwoHands {
        layers: layers.map(|pulses| Layer::of(Cycle::SIX, pulses).expect("not empty")),
        guide: Guide::Half,
        call: Call::None,
    };
    let mut world = World::asked(&form, &[Family::BassStrums], &[Feel::Both], 2);
    world.playhead = Some(playhead(2, 0.5, 0.7));
    world
}

/// Who has the left hand right and the right hand a pulse late.
fn clapped_with_two_hands() -> World {
    let mut world = two_hands();
    let sitting = world.sitting.as_mut().expect("in a sitting");
    let Stage::Open(open) = sitting.stage() else {
        panic!("a question is open");
    };
    let pulse = (6e9 / f64::from(open.question.phrase().tempo().hundredths())) as i64;
    let twos_on_the_left = open
        .question
        .asks(Counting::FromOne)
        .contains("left hand on 1, 3 and 5");
    let left: &[i64] = if twos_on_the_left {
        &[0, 2, 4]
    } else {
        &[0, 3]
    };
    let right: &[i64] = if twos_on_the_left {
        &[1, 4]
    } else {
        &[1, 3, 5]
    };
    for at in 0..24 {
        for (hand, pulses) in [(Hand::Left, left), (Hand::Right, right)] {
            if pulses.contains(&(at % 6)) {
                let micros = at * pulse - 20_000;
                sitting.handle(Event::Tap(Tap { micros, hand }), &now());
            }
        }
    }
    sitting.handle(Event::Ended, &now());
    world.playhead = None;
    world
}

fn clappings() -> World {
    let layers: [&[i64]; 3] = [&[0, 3], &[0, 2, 4], &[0, 3, 4]];
    let clappings = layers.map(|pulses| Layer::of(Cycle::SIX, pulses).expect("not empty"));
    let form = Form::FitClapping {
        clappings: clappings.to_vec(),
        to: Fits::Guitar,
    };
    let feels = [Feel::Threes, Feel::Twos];
    let mut world = World::asked(&form, &[Family::BassStrums], &feels, 3);
    world.playhead = Some(Playhead {
        part: (1, 3),
        ..playhead(0, 2.0, 0.1)
    });
    world
}

fn playhead(cycle: usize, pulse: f64, share: f64) -> Playhead {
    Playhead {
        part: (0, 1),
        cycle: (cycle, 4),
        pulse,
        share,
    }
}

fn today() -> World {
    let line = |tag, title: &str, known: &str, when: &str| TodayLine {
        tag,
        title: title.to_owned(),
        known: known.to_owned(),
        when: when.to_owned(),
    };
    World::at(Place::Today(Today {
        date: Day(19_675).in_words(),
        n_due: 2,
        n_new: 1,
        n_phrases: 38,
        lines: vec![
            line(
                "due",
                "name it by the bass",
                "heard from 4.2 dB",
                "last 6 days ago",
            ),
            line(
                "due",
                "find the start",
                "heard from 6.0 dB",
                "needed for which clapping fits",
            ),
            line("new", "which clapping fits the guitar", "", ""),
            line(
                "rests",
                "three or two, all together",
                "heard from 3.0 dB",
                "back in 3 days",
            ),
            line(
                "waits",
                "name it by the chords",
                "",
                "opens after: which clapping fits the guitar",
            ),
        ],
        fortnight: vec![0, 12, 30, 0, 38, 41, 0, 0, 22, 38, 0, 36, 40, 9],
        part: None,
        tomorrow: None,
        missing: None,
        is_all_missing: false,
        resting: None,
        checked: None,
        set: vec![],
        who: None,
    }))
}

/// Today with what a teacher set: the deck in hand, and another one that is late.
fn set_today() -> World {
    let mut world = today();
    if let Place::Today(today) = &mut world.place {
        today.who = Some("Anna".to_owned());
        today.part =
            Some("Week 3: the fifth, the empty six, and the low notes (3 of 8)".to_owned());
        today.tomorrow =
            Some("As many new skills as a day takes have been begun; more come tomorrow.");
        today.set = vec![
            SetToday {
                head: "Set for you: Claps in six, was due Sunday, 12 November.".to_owned(),
                line: None,
                reached: "So far 2 of 5 days.".to_owned(),
                elsewhere: Some("claps".to_owned()),
            },
            SetToday {
                head: "Set for you: First steps in six, due Sunday, 19 November.".to_owned(),
                line: Some("Ten minutes a day. Hum the low notes before you answer.".to_owned()),
                reached: "So far 1 of 3 skills firm, 12 of 60 minutes, 2 of 5 days.".to_owned(),
                elsewhere: None,
            },
        ];
    }
    world
}

fn bench(steps: &[Step]) -> World {
    let mut bench =
        Bench::new(Seed(5), None, crate::phrase::Speakers::Full).expect("a phrase for the bench");
    steps.iter().for_each(|step| bench.step(*step));
    let mut world = World::at(Place::Bench(Box::new(bench)));
    world.playhead = Some(playhead(1, 2.5, 0.4));
    world
}

fn tune_up_at(step: tune_up::Step, n_taps: i64) -> World {
    let mut tapped = TuneUp::new("a card", step, ClapBy::Keys, None);
    for n in 0..n_taps {
        tapped.tap(n * 500_000 + 9_000 * (n % 4));
    }
    World::at(Place::TuneUp(Box::new(tapped)))
}

fn tune_up(n_taps: i64) -> World {
    let mut tapped = TuneUp::new("a card", tune_up::Step::Bell, ClapBy::Keys, None);
    for n in 0..n_taps {
        tapped.tap(n * 600_000 + 84_000 + 13_000 * (n % 5 - 2));
    }
    World::at(Place::TuneUp(Box::new(tapped)))
}

fn summary() -> World {
    let line = |title: &str, right, now, before, back| SummaryLine {
        title: title.to_owned(),
        right,
        heard_from: Some(Level::of_tenths(now)),
        before,
        back_in_days: Some(back),
    };
    World::at(Place::Summary(Summary {
        n_answered: 14,
        n_right: 11,
        minutes: 9,
        notes: Vec::new(),
        advice: None,
        lines: vec![
            line(
                "name it by the bass",
                (5, 6),
                42,
                Some(Level::of_tenths(60)),
                6,
            ),
            line("which clapping fits the guitar", (6, 8), 80, None, 1),
        ],
    }))
}

fn progress() -> World {
    let labels = TwoLabels {
        hits: 31,
        n_first: 38,
        false_alarms: 6,
        n_second: 40,
    };
    let heard = Record {
        n: 78,
        right: 65,
        labels,
        ..Record::default()
    };
    let clapped = Record {
        n: 14,
        right: 11,
        finest: Some(0.07),
        longest: Some(8),
        ..Record::default()
    };
    let line = |title: &str, record: &Record, heard_from: Option<_>, coming| ProgressLine {
        skill: Skill("path/hold".into()),
        part: heard_from.map(|_| "Week 3: the low notes".to_owned()),
        is_firm: heard_from.is_some(),
        title: title.to_owned(),
        record: record.clone(),
        n_listened: record.n / 7,
        labels: String::new(),
        heard_from,
        coming,
    };
    let level = Some((Level::of_tenths(31), (2.2, 4.1)));
    World::at(Place::Progress(Progress {
        sensitivity: labels.sensitivity(),
        cues: vec!["the low notes 3.1 dB (2.2 to 4.0)".to_owned()],
        lines: vec![
            line(
                "Listen to the low notes",
                &heard,
                level,
                Coming::Due(Day(20_003), 3),
            ),
            line(
                "Hold the threes against twos",
                &clapped,
                None,
                Coming::Due(Day(20_000), 0),
            ),
        ],
        here: 0,
    }))
}

fn recording() -> World {
    let mut recording = crate::app::recording::tests::recording_of_clicks();
    recording.here = 2;
    World::at(Place::Recording(Box::new(recording)))
}

fn tapped_recording() -> World {
    let mut recording = crate::app::recording::tests::recording_of_clicks();
    (recording.is_tapping, recording.is_sounding) = (true, true);
    recording.n_taps = 3;
    World::at(Place::Recording(Box::new(recording)))
}

fn marked_recording() -> World {
    let recording = crate::app::recording::tests::recording_with_marks();
    World::at(Place::Recording(Box::new(recording)))
}

fn clapped_along() -> World {
    let recording = crate::app::recording::tests::recording_clapped_along();
    World::at(Place::Recording(Box::new(recording)))
}

fn clapped_along_with_two_hands() -> World {
    let recording = crate::app::recording::tests::recording_clapped_with_two_hands();
    World::at(Place::Recording(Box::new(recording)))
}

fn recording_beside_another() -> World {
    let recording = crate::app::recording::tests::recording_with_persons();
    World::at(Place::Recording(Box::new(recording)))
}

/// Two hours, far into them, while the passage sounds elsewhere.
fn recording_of_hours() -> World {
    let mut recording = crate::app::recording::tests::recording_of_hours();
    recording.here = 1_300;
    World::at(Place::Recording(Box::new(recording)))
}

/// Another person's marks beside the learner's, and the passage sounds.
fn recording_beside_another_sounding() -> World {
    let mut recording = crate::app::recording::tests::recording_with_persons();
    recording.is_sounding = true;
    recording.here = 3;
    let mut world = World::at(Place::Recording(Box::new(recording)));
    world.playhead = Some(playhead(3, 2.5, 0.4));
    world
}

/// One whose pulses are proposed, on a machine without a sound device.
fn proposed_recording() -> World {
    let recording = crate::app::recording::tests::proposed_recording_of_clicks();
    let mut world = World::at(Place::Recording(Box::new(recording)));
    world.no_sound = Some("no sound device: the sound system does not answer");
    world
}

/// One whose beginning has no pulses, with even ones laid there.
fn recording_laid_evenly() -> World {
    let recording = crate::app::recording::tests::recording_laid_evenly();
    World::at(Place::Recording(Box::new(recording)))
}

/// One whose file is gone.
fn recording_that_is_gone() -> World {
    let mut recording = crate::app::recording::tests::recording_of_clicks();
    recording.unplayed = "the file is gone from where it was".to_owned();
    World::at(Place::Recording(Box::new(recording)))
}

fn refused() -> World {
    let mut recording = crate::app::recording::tests::recording_of_clicks();
    recording.state = State::Refused("no recording: WAV was expected".to_owned());
    World::at(Place::Recording(Box::new(recording)))
}

fn with_help(mut world: World) -> World {
    world.here.overlay = Overlay::Help { page: 0 };
    world
}

#[test]
fn there_is_no_time_for_more_where_nothing_can_be_asked() {
    let mut world = today();
    let Place::Today(today) = &mut world.place else {
        panic!("before a sitting");
    };
    (today.n_due, today.n_new, today.n_phrases) = (0, 0, 0);
    today.lines.clear();
    assert!(world.text((80, 24)).contains("there is time for more"));
    let Place::Today(today) = &mut world.place else {
        panic!("before a sitting");
    };
    today.missing = Some("1 skill waits for evening.wav.".to_owned());
    today.is_all_missing = true;
    let text = world.text((80, 24));
    assert!(!text.contains("there is time for more"), "{text}");
    let told = "Nothing can be asked now.\n   1 skill waits for evening.wav.";
    assert!(text.contains(told), "{text}");
    let Place::Today(today) = &mut world.place else {
        panic!("before a sitting");
    };
    (today.missing, today.is_all_missing) = (None, false);
    today.resting = Some("All passages rest.");
    let text = world.text((80, 24));
    assert!(!text.contains("there is time for more"), "{text}");
    let told = "Nothing can be asked now.\n   All passages rest.";
    assert!(text.contains(told), "{text}");
}

#[test]
fn the_keys_of_two_hands_do_what_the_screen_says() {
    let mut recording = crate::app::recording::tests::recording_clapped_with_two_hands();
    recording.clapping = crate::app::recording::Clapping::Now(Vec::new());
    let world = World::at(Place::Recording(Box::new(recording)));
    let text = world.text((80, 24));
    let bindings = bindings(&world.view(), Room::Enough);
    for (layer, hand) in [("threes with ", Hand::Left), ("twos with ", Hand::Right)] {
        let (_, after) = text.split_once(layer).expect("it is said");
        let key = after.chars().next().expect("a key");
        let chosen = action(&bindings, pressed(KeyCode::Char(key)));
        assert_eq!(
            chosen,
            Some(Action::Want(Intent::Tap(hand))),
            "{layer}{key}"
        );
    }
}

/// What no page shows at once stands on the pages after it, which go round.
#[test]
fn help_that_does_not_fit_goes_on_overleaf() {
    let mut world = with_help(today());
    let mut pages = Vec::new();
    for page in 0..4 {
        world.here.overlay = Overlay::Help { page };
        pages.push(world.text((60, 20)));
    }
    assert!(pages[0].contains("page 1 of 2"), "{}", pages[0]);
    assert!(pages[1].contains("fits either"), "{}", pages[1]);
    assert_ne!(pages[0], pages[1]);
    assert_eq!(pages[0], pages[2]);
    assert_eq!(pages[1], pages[3]);
}

#[test]
fn agreement_is_seen_on_a_low_screen_before_what_is_only_an_extra() {
    for size in [LARGE, SMALL] {
        let text = recording_beside_another().text(size);
        assert!(
            text.contains("Both say the same: you and Lola in 2 of 4."),
            "{text}"
        );
    }
}

/// However low the screen: where one is, what was done and what is set up stay, and of a grid or a
/// sentence all is there or nothing.
#[test]
fn a_low_screen_keeps_what_matters_of_a_recording_and_cuts_nothing_in_the_middle() {
    use crate::app::recording::tests as made;
    let told = "Cut for: What does it lean to?; Which clapping goes with it? Say what you hear in every \
                cycle, and cut it anew, for more. This is told to its very last word.";
    for mut recording in [
        made::recording_of_clicks(),
        made::recording_with_marks(),
        made::recording_with_persons(),
        made::recording_of_hours(),
        made::proposed_recording_of_clicks(),
    ] {
        recording.is_sounding = true;
        recording.here = 1;
        for (told, columns) in [("", 60), (told, 60), ("", 80), (told, 80)] {
            recording.told = told.to_owned();
            let mut world = World::at(Place::Recording(Box::new(recording.clone())));
            world.playhead = Some(playhead(1, 2.5, 0.4));
            for rows in 20..40 {
                let text = world.text((columns, rows));
                let words = text.split_whitespace().collect::<Vec<&str>>().join(" ");
                let has = |part: &str| words.contains(part);
                assert!(has("sounding: cycles 1 to 4"), "{rows}: {text}");
                assert!(has("[=^==]") && has(told), "{rows}: {text}");
                let parts = ["low ", "middle ", "percussive "];
                let is_part =
                    |line: &&str| parts.iter().any(|part| line.trim_start().starts_with(part));
                let n_parts = text.lines().filter(is_part).count();
                assert!([0, 3].contains(&n_parts), "{rows}: {text}");
                assert!(!told.is_empty() || n_parts == 3, "{rows}: {text}");
                for (begins, ends) in [
                    ("Both say the same", "in 2 of 4."),
                    ("Pulses are found", "of 4)."),
                ] {
                    assert!(!has(begins) || has(ends), "{rows}: {text}");
                }
            }
        }
    }
}

#[test]
fn a_deck_that_was_asked_for_is_named_and_no_other_can_be_chosen() {
    let mut world = today();
    world.decks = Decks::Given;
    let text = world.text(LARGE);
    assert!(
        text.starts_with(" contrapalma   First steps in six "),
        "{text}"
    );
    let is_other = |binding: &Binding| binding.help.contains("to the next deck");
    assert!(!bindings(&world.view(), Room::Enough).iter().any(is_other));
    assert!(bindings(&today().view(), Room::Enough).iter().any(is_other));
}

#[test]
fn what_is_done_with_a_recording_is_said_after_it_was_heard() {
    let mut recording = crate::app::recording::tests::recording_of_clicks();
    recording.state = State::Finding(3_603);
    let text = World::at(Place::Recording(Box::new(recording))).text(LARGE);
    assert!(
        text.contains("heard to its end, 1:00:03; now its pulses are being found"),
        "{text}"
    );
}

#[test]
fn what_a_key_does_and_a_word_means_is_said_to_the_end_on_a_narrow_screen() {
    use crate::app::{ANSWERS, LEANS};
    for size in [(80, 90), (60, 90)] {
        for world in [recording, today] {
            let text = with_help(world()).text(size);
            let words = text.split_whitespace().collect::<Vec<&str>>().join(" ");
            let meanings = match world().place {
                Place::Recording(_) => [&ANSWERS[..3], &LEANS].concat(),
                _ => ANSWERS.to_vec(),
            };
            let keys = below_help(&world().view());
            let told = keys.iter().map(|binding| binding.help);
            for said in told.chain(meanings.iter().map(|(_, meaning)| *meaning)) {
                assert!(words.contains(said), "{said}: {text}");
            }
        }
    }
}

#[test]
fn names_of_counts_in_a_grid_of_accents_never_run_together() {
    for (counting, size, row) in [
        (
            Counting::Spanish,
            LARGE,
            "uno    dos    tres   cuatro cinco  seis",
        ),
        (
            Counting::Spanish,
            SMALL,
            "uno    dos    tres   cuatro cinco  seis",
        ),
        (Counting::FromOne, LARGE, "1    2    3    4    5    6"),
    ] {
        let mut world = recording();
        world.counting = Some(counting);
        let text = world.text(size);
        let counts = text.lines().find(|line| line.starts_with("   count"));
        let counts = counts.and_then(|line| line.trim().strip_prefix("count"));
        assert_eq!(counts.map(str::trim), Some(row), "{text}");
    }
}

/// Every screen that there is, by name.
fn every_screen() -> Vec<(&'static str, World)> {
    let mut silent = today();
    silent.no_sound = Some("No sound device: nothing answered. Plug one in and start again.");
    let mut first = today();
    first.advice = Advice::Loudness;
    let mut with_ear = today();
    with_ear.has_ear = true;
    with_ear.claps_by = ClapBy::Microphone;
    let mut miss = name_feel().answered(false);
    miss.advice = Advice::Rest;
    let mut clapped = clappings().answered(true);
    clapped.playhead = None;
    vec![
        ("today", today()),
        ("today-first", first),
        ("today-set", set_today()),
        ("today-silent", silent),
        ("today-microphone", with_ear),
        ("waiting", World::at(Place::Sitting)),
        ("progress", progress()),
        ("recording", recording()),
        ("recording-tapped", tapped_recording()),
        ("recording-marked", marked_recording()),
        ("recording-persons", recording_beside_another()),
        ("recording-clapped", clapped_along()),
        ("recording-two-hands", clapped_along_with_two_hands()),
        ("recording-sounding", recording_beside_another_sounding()),
        ("recording-hours", recording_of_hours()),
        ("recording-proposed", proposed_recording()),
        ("recording-laid-evenly", recording_laid_evenly()),
        ("recording-gone", recording_that_is_gone()),
        ("recording-refused", refused()),
        ("name-feel", name_feel()),
        ("count-in", count_in()),
        ("whose-stroke", whose_stroke()),
        ("marking", marking()),
        ("reveal-marked", marked()),
        ("turning", turning()),
        ("reveal-turned", turning().answered(false)),
        ("two-hands", two_hands()),
        ("reveal-hands", clapped_with_two_hands()),
        ("tune-up-offered", tune_up_at(tune_up::Step::Offered, 0)),
        ("tune-up-loudness", tune_up_at(tune_up::Step::Loudness, 0)),
        ("tune-up-even", tune_up_at(tune_up::Step::Even, 14)),
        ("tapping", tapping()),
        ("clappings", clappings()),
        ("reveal-miss", miss),
        ("reveal-right", clapped),
        ("reveal-in-turn", in_turn().answered(false)),
        ("reveal-start", count_in().answered(false)),
        ("summary", summary()),
        ("bench", bench(&[])),
        (
            "bench-guide",
            bench(&[Step::Claps, Step::Guide, Step::Voice(0)]),
        ),
        (
            "bench-twelve",
            bench(&[Step::Pattern, Step::Pattern, Step::Claps]),
        ),
        ("tune-up", tune_up(9)),
        ("tune-up-kept", tune_up(40)),
        ("bench-both", bench(&[Step::Feel, Step::Family])),
        ("help-bench", with_help(bench(&[]))),
        ("help-today", with_help(today())),
        ("help-reveal", with_help(in_turn().answered(false))),
    ]
}

#[test]
fn the_longest_texts_that_a_teacher_sets_keep_the_keys_in_view() {
    let mut world = set_today();
    if let Place::Today(today) = &mut world.place {
        for set in &mut today.set {
            set.head = format!("Set for you: {}, due today.", "x ".repeat(80));
            set.line = Some("y ".repeat(80));
        }
        today.who = Some("z".repeat(160));
    }
    for size in [SMALL, LARGE] {
        let text = world.text(size);
        assert!(text.contains("enter begin"), "{text}");
        assert!(text.contains("Set for you: x x"), "{text}");
    }
}

#[test]
fn screens_look_as_they_should() {
    for (name, world) in every_screen() {
        insta::assert_snapshot!(format!("{name}-large"), world.text(LARGE));
        insta::assert_snapshot!(format!("{name}-small"), world.text(SMALL));
    }
}

/// Every key that a learner may press, but for those with Ctrl.
fn keyboard() -> impl Iterator<Item = KeyCode> {
    let others = [
        KeyCode::Enter,
        KeyCode::Esc,
        KeyCode::Left,
        KeyCode::Right,
        KeyCode::Up,
        KeyCode::Down,
        KeyCode::Tab,
        KeyCode::Backspace,
        KeyCode::Home,
        KeyCode::End,
        KeyCode::PageUp,
        KeyCode::PageDown,
        KeyCode::Delete,
        KeyCode::F(1),
    ];
    let chars = (' '..='~').filter(|c| !c.is_ascii_uppercase());
    chars.map(KeyCode::Char).chain(others)
}

fn pressed(code: KeyCode) -> KeyEvent {
    KeyEvent::new(code, KeyModifiers::NONE)
}

/// The keys that the last lines of a drawn screen name.
fn named(buf: &Buffer, n_lines: usize) -> Vec<KeyCode> {
    let height = usize::from(buf.area.height);
    let mut words = Vec::new();
    for y in height - n_lines..height {
        let mut word = String::new();
        for x in 0..buf.area.width {
            let cell = &buf[(x, u16::try_from(y).expect("small"))];
            if cell.modifier.contains(Modifier::BOLD) {
                word.push_str(cell.symbol());
            } else if !word.is_empty() {
                words.push(std::mem::take(&mut word));
            }
        }
    }
    words
        .iter()
        .flat_map(|word| word.split(' '))
        .flat_map(codes)
        .collect()
}

fn codes(name: &str) -> Vec<KeyCode> {
    let mut chars = name.chars();
    match (name, chars.next(), chars.next(), chars.next()) {
        ("enter", ..) => vec![KeyCode::Enter],
        ("esc", ..) => vec![KeyCode::Esc],
        ("left", ..) => vec![KeyCode::Left],
        ("right", ..) => vec![KeyCode::Right],
        ("space", ..) => vec![KeyCode::Char(' ')],
        ("pgdn", ..) => vec![KeyCode::PageDown],
        ("backspace", ..) => vec![KeyCode::Backspace],
        ("up", ..) => vec![KeyCode::Up],
        ("down", ..) => vec![KeyCode::Down],
        (_, Some(c), None, _) => vec![KeyCode::Char(c)],
        (_, Some(first), Some('-'), Some(last)) => (first..=last).map(KeyCode::Char).collect(),
        _ => panic!("no key is called {name}"),
    }
}

/// Whether a key does what another one does that the bottom line names, or stands in the help alone.
fn is_spare(bindings: &[Binding], code: KeyCode) -> bool {
    let mut in_help = bindings.iter().filter(|b| b.shown == Shows::InHelp);
    if in_help.any(|b| b.pairs.iter().any(|(quiet, _)| *quiet == code)) {
        return true;
    }
    let mut firsts = bindings.iter().filter(|b| b.shown == Shows::First);
    firsts.any(|b| b.pairs.iter().skip(1).any(|(spare, _)| *spare == code))
}

#[test]
fn the_bottom_line_names_the_keys_that_work_and_no_others() {
    for (name, world) in every_screen() {
        for size in [LARGE, SMALL, (40, 10)] {
            let buf = world.drawn(size, PLAIN);
            let bindings = bindings(&world.view(), Room::of(buf.area));
            let room = (usize::from(size.0), usize::from(size.1));
            let shown = in_foot(&bindings, room);
            let n_lines = foot(&shown, room.0, PLAIN).len();
            let is_left_out = |code: &KeyCode| {
                let of = |b: &&Binding| b.pairs.iter().any(|(key, _)| key == code);
                bindings.iter().any(|b| b.shown == Shows::IfRoom && of(&b))
                    && !shown.iter().any(|b| of(&b))
            };
            let mut named = named(&buf, n_lines);
            let mut working: Vec<KeyCode> = keyboard()
                .filter(|code| action(&bindings, pressed(*code)).is_some())
                // Other keys for the same hand stand in the help.
                .filter(|code| !is_spare(&bindings, *code) && !is_left_out(code))
                .collect();
            named.sort_by_key(ToString::to_string);
            working.sort_by_key(ToString::to_string);
            assert_eq!(named, working, "{name} at {size:?}");
        }
    }
}

/// What the engine makes of an intent in a sitting.
fn event(intent: Intent) -> Event {
    match intent {
        Intent::Choose(idx) => Event::Choose(idx),
        Intent::Tap(hand) => Event::Tap(Tap {
            micros: 4_800_000,
            hand,
        }),
        Intent::Mark(pulse) => Event::Mark(pulse),
        Intent::Done => Event::Done,
        Intent::Again => Event::Again,
        Intent::Hear(hearing) => Event::Hear(hearing),
        Intent::Skip => Event::Skip,
        Intent::Dispute => Event::Dispute,
        Intent::Onward => Event::Onward,
        Intent::Leave => Event::Leave,
        Intent::Begin
        | Intent::Recount
        | Intent::ToBench
        | Intent::TuneUp(_)
        | Intent::ClapBy(_)
        | Intent::ToProgress
        | Intent::Scroll(_)
        | Intent::Recording(_)
        | Intent::Wish(_)
        | Intent::Practise
        | Intent::Listen
        | Intent::PractiseAt(_)
        | Intent::ListenAt(_)
        | Intent::NextDeck
        | Intent::Bench(_) => {
            panic!("not in a sitting")
        }
    }
}

#[test]
fn every_key_of_a_sitting_does_something() {
    let mut n_keys = 0;
    for (name, world) in every_screen() {
        let Some(sitting) = &world.sitting else {
            continue;
        };
        for binding in bindings(&world.view(), Room::Enough) {
            for (key, action) in &binding.pairs {
                let Action::Want(intent) = action else {
                    continue;
                };
                let mut after = sitting.clone();
                let effects = after.handle(event(*intent), &now());
                let changed = after.stage() != sitting.stage();
                assert!(changed || !effects.is_empty(), "{key:?} on {name}");
                n_keys += 1;
            }
        }
    }
    assert!(n_keys > 40);
}

#[test]
fn digits_are_counts_where_counts_are_asked() {
    let form = Form::FindStart(By::Count);
    let next = next(&form, &[Family::Arpeggio], &[Feel::Threes], 2);
    let world = World::asked_in(Counting::FromLast, next);
    let bindings = bindings(&world.view(), Room::Enough);
    let chosen = |c| action(&bindings, pressed(KeyCode::Char(c)));
    // The cycle begins on its last number: common practice, no source.
    assert_eq!(chosen('6'), Some(Action::Want(Intent::Choose(0))));
    assert_eq!(chosen('1'), Some(Action::Want(Intent::Choose(1))));
    assert!(world.text(LARGE).contains("6  on 6"));
}

#[test]
fn keys_with_ctrl_or_alt_are_other_keys_and_capitals_are_not() {
    let world = today();
    let bindings = bindings(&world.view(), Room::Enough);
    let press = |code, modifiers| action(&bindings, KeyEvent::new(code, modifiers));
    assert_eq!(press(KeyCode::Char('c'), KeyModifiers::CONTROL), None);
    assert_eq!(press(KeyCode::Char('q'), KeyModifiers::ALT), None);
    let quit = Some(Action::Quit);
    assert_eq!(press(KeyCode::Char('Q'), KeyModifiers::SHIFT), quit);
}

#[test]
fn nothing_begins_without_sound() {
    let mut world = today();
    world.no_sound = Some("No sound device.");
    let bindings = bindings(&world.view(), Room::Enough);
    assert_eq!(action(&bindings, pressed(KeyCode::Enter)), None);
}

#[test]
fn too_small_a_screen_says_what_it_needs() {
    for size in [(59, 24), (80, 19), (30, 8)] {
        let said = name_feel().text(size);
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains("needs 60 columns and 20 rows"), "{said}");
        assert!(said.ends_with("q leave"), "{said}");
    }
    // A window of no size at all is drawn without a panic.
    for size in [(0, 0), (1, 1), (5, 2), (200, 1)] {
        name_feel().text(size);
    }
}

#[test]
fn without_colour_there_is_none() {
    let colours = |theme: Theme| {
        let screens = every_screen();
        let drawn = screens.iter().map(|(_, world)| world.drawn(LARGE, theme));
        drawn
            .flat_map(|buf| buf.content)
            .filter(|cell| cell.fg != Color::Reset || cell.bg != Color::Reset)
            .count()
    };
    assert_eq!(colours(PLAIN), 0);
    let coloured = Theme {
        palette: Palette::Coloured,
        ..PLAIN
    };
    assert!(colours(coloured) > 0);
}

#[test]
fn text_says_all_that_style_says() {
    for (name, world) in every_screen() {
        let coloured = Theme {
            palette: Palette::Coloured,
            ..PLAIN
        };
        assert_eq!(
            text(&world.drawn(LARGE, coloured)),
            world.text(LARGE),
            "{name}"
        );
    }
    let said = name_feel().answered(false).text(LARGE);
    assert!(said.contains("Not this time") && said.contains("you  "));
    let said = name_feel().answered(true).text(LARGE);
    assert!(said.contains("Right: ") && !said.contains("you  "));
}

#[test]
fn only_ascii_is_drawn_where_nothing_else_is_promised() {
    for (name, world) in every_screen() {
        assert!(world.text(LARGE).is_ascii(), "{name}");
    }
    let unicode = Theme {
        glyphs: Glyphs::Unicode,
        ..PLAIN
    };
    let mut reveal = name_feel().answered(true);
    reveal.playhead = Some(playhead(0, 0.0, 0.0));
    for (world, sign) in [(today(), '█'), (name_feel(), '●'), (reveal, '▴')] {
        assert!(text(&world.drawn(LARGE, unicode)).contains(sign));
    }
}

#[test]
fn before_the_answer_nothing_shows_where_the_cycle_begins() {
    // The same share of the phrase at any place of the cycle is the same picture.
    for mut world in [name_feel(), count_in(), tapping()] {
        let mut at = |cycle, pulse| {
            world.playhead = Some(playhead(cycle, pulse, 0.3));
            world.text(LARGE)
        };
        assert_eq!(at(0, 5.9), at(1, 0.0));
        assert_eq!(at(0, 0.0), at(3, 3.0));
    }
}

#[test]
fn the_playhead_is_under_its_count() {
    let mut world = name_feel().answered(true);
    for (pulse, count) in [(0.0, '1'), (2.0, '3'), (5.0, '6'), (5.99, '6')] {
        world.playhead = Some(playhead(0, pulse, 0.1));
        let said = world.text(LARGE);
        let column = |start: &str, sign| {
            let line = said
                .lines()
                .find(|line| line.trim_start().starts_with(start));
            line.and_then(|line| line.find(sign)).expect("there")
        };
        let (head, count) = (column("^", '^'), column("count", count));
        assert!((count..count + 6).contains(&head), "pulse {pulse}");
        assert_eq!(head == count, pulse.fract() == 0.0);
    }
}

#[test]
fn cycles_that_differ_can_be_turned_to_and_sound_is_followed_again() {
    let mut world = in_turn().answered(true);
    let Some(Stage::Shown(shown)) = world.stage().cloned() else {
        panic!("not answered")
    };
    assert_eq!(n_cycles(&shown.reveal), 4);
    world
        .here
        .look_at(world.sitting.as_ref().map(Sitting::stage));
    assert!(world.text(LARGE).contains("cycle 1 of 4"));
    world
        .here
        .turn(Turn::Back, world.view().cycle(&shown.reveal), 4);
    assert!(world.text(LARGE).contains("cycle 4 of 4"));
    world.playhead = Some(playhead(1, 0.0, 0.3));
    assert!(!world.text(LARGE).contains('^'));
    world.here.intends(Intent::Hear(Hearing::AsItIs));
    assert!(world.text(LARGE).contains("cycle 2 of 4") && world.text(LARGE).contains('^'));
    // Another question is looked at afresh.
    world.here.turn(Turn::On, 1, 4);
    world.here.look_at(None);
    assert_eq!(world.here, Here::default());
}

#[test]
fn voices_come_one_by_one_and_round_again() {
    let mut world = in_turn().answered(true);
    let mut heard = Vec::new();
    for _ in 0..3 {
        let bindings = bindings(&world.view(), Room::Enough);
        let Some(Action::Want(intent)) = action(&bindings, pressed(KeyCode::Char('v'))) else {
            panic!("no voice")
        };
        world.here.intends(intent);
        heard.push(intent);
    }
    let Some(Stage::Shown(shown)) = world.stage() else {
        panic!("not answered")
    };
    let rows = shown.question.measured().rows();
    let voice = |idx: usize| Intent::Hear(Hearing::Voice(rows[idx % rows.len()].voice));
    assert_eq!(heard, [voice(0), voice(1), voice(2)]);
    assert!(rows.len() > 1);
}
