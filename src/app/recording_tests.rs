//! A recording on silent output: it is played, and claps along with it are judged.

use std::sync::Mutex;

use super::tests::Practice;
use super::*;
use crate::app::recording::tests::source_of_clicks;
use crate::app::recording::{Clapping, Claps, Given, Go, Nudge, Recording, Source, State, Step};
use crate::mark::Mark;
use crate::pcm::Speed;
use crate::phrase::GENERATOR;
use crate::quiz::{Attempt, Hand};

impl Practice {
    /// Has clicks opened, whose pulses are known.
    fn with_clicks() -> Self {
        let mut practice = Self::begin(Limit::Questions(1));
        practice.open(source_of_clicks());
        practice
    }

    /// The same, and the deck of own recordings is kept there.
    fn with_shelf() -> (Self, Arc<Mutex<Option<String>>>) {
        let mut practice = Self::with_clicks();
        let (installed, own) = shelf();
        practice.app.installed = installed;
        (practice, own)
    }

    fn open(&mut self, source: Source) {
        let opened = self.app.open_recording(source);
        opened.expect("nothing refuses");
        self.until(|recording| recording.state == State::Known);
    }

    fn recording(&self) -> &Recording {
        match self.app.place() {
            Place::Recording(recording) => recording,
            _ => panic!("a recording is looked at"),
        }
    }

    /// Takes what the worker does until the recording is as wanted.
    fn until(&mut self, is_so: impl Fn(&Recording) -> bool) {
        while !is_so(self.recording()) {
            let done = self.inbox.recv().expect("the worker lives");
            self.app.done(done).expect("nothing refuses");
        }
    }

    fn step(&mut self, step: Step) {
        self.want(Intent::Recording(step));
    }

    /// Takes what the worker does until something sounds.
    fn until_it_sounds(&mut self) {
        while self.app.playhead().is_none() {
            let done = self.inbox.recv().expect("the worker lives");
            self.app.done(done).expect("nothing refuses");
        }
    }

    /// Lets time go by in steps of five milliseconds until claps are judged, with a clap as each of
    /// these pulses of the passage comes by.
    fn clap_along(&mut self, is_clapped: impl Fn(i64) -> bool) -> Box<crate::quiz::Along> {
        self.clap_with([(Hand::Either, &is_clapped)])
    }

    /// The same with each of these hands.
    fn clap_with<const N: usize>(
        &mut self,
        hands: [(Hand, &dyn Fn(i64) -> bool); N],
    ) -> Box<crate::quiz::Along> {
        self.until_it_sounds();
        let mut last = -1;
        for _ in 0..20_000 {
            self.clock.advance(5_000);
            self.app.tick().expect("nothing refuses");
            if let Clapping::Judged(along) = &self.recording().clapping {
                return along.clone();
            }
            let Some(head) = self.app.playhead() else {
                continue;
            };
            let pulse = head.cycle.0 as i64 * 6 + head.pulse as i64;
            for (hand, is_clapped) in hands {
                if pulse != last && is_clapped(pulse) {
                    self.want(Intent::Tap(hand));
                }
            }
            last = pulse;
        }
        panic!("it is judged when the passage is over");
    }
}

/// Decks that are kept in memory, and that of own recordings among them.
fn shelf() -> (Installed, Arc<Mutex<Option<String>>>) {
    let own = Arc::new(Mutex::new(None::<String>));
    let [reads, keeps, removes] = [(); 3].map(|()| Arc::clone(&own));
    let lock = |own: &Mutex<Option<String>>| own.lock().expect("nobody panics").clone();
    let set = |own: &Mutex<Option<String>>, text| {
        *own.lock().expect("nobody panics") = text;
        Ok(())
    };
    let installed = Installed {
        text: Arc::new(move |_| lock(&reads)),
        keep: Arc::new(move |_, text| set(&keeps, Some(text.to_owned()))),
        remove: Arc::new(move |_| set(&removes, None)),
        ..Installed::none()
    };
    (installed, own)
}

#[test]
fn a_cut_is_taken_back_and_the_first_takes_the_deck_with_it() {
    let (mut practice, own) = Practice::with_shelf();
    let deck = || own.lock().expect("nobody panics").clone();
    practice.step(Step::Cut);
    let first = deck().expect("a deck");
    assert!(practice.recording().can_take_back());
    practice.step(Step::Go(Go::On));
    practice.step(Step::From);
    practice.step(Step::Cut);
    assert_ne!(deck().as_ref(), Some(&first));
    practice.step(Step::TakeBack);
    assert_eq!(deck(), Some(first.clone()));
    practice.step(Step::TakeBack);
    assert_eq!(deck(), None);
    let gone = "Taken back: the passage is not in the deck any more.";
    assert_eq!(practice.recording().told, gone);
    // What somebody changed since is left alone.
    practice.step(Step::Cut);
    let changed = format!("{first}# by hand\n");
    *own.lock().expect("nobody panics") = Some(changed.clone());
    practice.step(Step::TakeBack);
    assert_eq!(deck(), Some(changed));
    let told = &practice.recording().told;
    assert!(told.contains("the deck was changed since"), "{told}");
}

#[test]
fn a_passage_that_was_cut_anew_is_as_it_was_cut_before_when_that_is_taken_back() {
    let (mut practice, own) = Practice::with_shelf();
    let deck = || own.lock().expect("nobody panics").clone();
    practice.step(Step::Cut);
    let first = deck().expect("a deck");
    practice.step(Step::Say(Mark::CannotSay));
    practice.step(Step::Cut);
    assert_ne!(deck().as_ref(), Some(&first));
    practice.step(Step::TakeBack);
    let back = "Taken back: the passage is in the deck as it was cut before.";
    assert_eq!(practice.recording().told, back);
    assert_eq!(deck(), Some(first));
}

#[test]
fn whoever_cuts_a_passage_that_they_doubted_says_the_same_or_another_thing_of_it() {
    let (mut practice, own) = Practice::with_shelf();
    let deck = || {
        let text = own.lock().expect("nobody panics").clone();
        crate::deck::parse(&text.expect("a deck")).expect("no faults")
    };
    let asked = || {
        let deck = deck();
        let mut exercises = deck.exercises().iter();
        let clap = exercises.find(|exercise| &*exercise.skill.0 == "own/clap");
        let clap = clap.expect("an exercise that takes it");
        (clap.skill.clone(), Arc::clone(&clap.material.passages()[0]))
    };
    let is_aside = |practice: &Practice| {
        let (skill, passage) = asked();
        let store = &practice.app.store;
        let aside = store.is_passage_disputed(&skill, &passage, GENERATOR);
        aside.expect("it can be read")
    };
    let doubt = |practice: &mut Practice, number| {
        let (skill, passage) = asked();
        let attempt = Attempt {
            skill,
            seed: passage.seed(),
            generator: GENERATOR,
            phrase: passage.line(),
            ..crate::review::any_attempt(number)
        };
        let store = &mut practice.app.store;
        store.append(&attempt, None).expect("an append");
        let now = practice.clock.now();
        store.dispute(&attempt, now, None).expect("a dispute");
    };
    let n_ready = |practice: &mut Practice| {
        practice.app.course = Course::new(deck());
        let app = &practice.app;
        let count = app.n_passages_ready(&app.course.cut());
        count.expect("it can be read")
    };
    practice.step(Step::Cut);
    assert_eq!(n_ready(&mut practice), 1);
    doubt(&mut practice, 1);
    assert!(is_aside(&practice));
    // Other exercises go by the same marks, so that none asks it.
    assert_eq!(n_ready(&mut practice), 0);
    // It was right after all.
    practice.clock.advance(1_000_000);
    practice.step(Step::Cut);
    let same = "It stays as it was cut, and is asked again: you doubt it no more.";
    assert_eq!(practice.recording().told, same);
    assert!(!is_aside(&practice));
    assert_eq!(n_ready(&mut practice), 1);
    practice.step(Step::Cut);
    let told = &practice.recording().told;
    assert_eq!(
        told,
        "It cannot be cut: this passage is in the deck already."
    );
    // Or it was not.
    practice.clock.advance(1_000_000);
    doubt(&mut practice, 2);
    assert!(is_aside(&practice));
    practice.step(Step::Say(Mark::Twos));
    practice.step(Step::Cut);
    assert!(!is_aside(&practice));
    // Taken back, it is the passage that was doubted.
    practice.step(Step::TakeBack);
    assert!(is_aside(&practice));
}

#[test]
fn what_was_set_stands_above_the_grid_of_a_file_and_gives_way_to_pulses_that_are_given() {
    let given = source_of_clicks();
    let Some(Given::Times(pulses)) = given.pulses.clone() else {
        panic!("clicks are given their pulses");
    };
    let grid = || Source {
        pulses: Some(Given::Grid(pulses.clone())),
        ..source_of_clicks()
    };
    let mut practice = Practice::begin(Limit::Questions(1));
    let mut first = |source: Source, step: Option<Step>| {
        practice.open(source);
        step.into_iter().for_each(|step| practice.step(step));
        let analysis = practice.recording().analysis.as_ref();
        analysis.expect("it is known").pulses[0]
    };
    let [own, later] = [0, 1].map(|at| pulses.times()[at]);
    assert_eq!(first(grid(), None), own);
    assert_eq!(first(grid(), Some(Step::BeatOne)), later);
    assert_eq!(first(grid(), None), later);
    assert_eq!(first(given, None), own);
    assert_eq!(first(grid(), None), own);
}

#[test]
fn every_tap_on_a_pulse_is_counted_at_once_until_they_are_taken_or_forgotten() {
    let mut practice = Practice::with_clicks();
    let state = |practice: &Practice| {
        let recording = practice.recording();
        let (is_tapping, n_taps) = (recording.is_tapping, recording.n_taps);
        (is_tapping, n_taps, recording.is_sounding)
    };
    assert_eq!(state(&practice), (false, 0, false));
    // The first lets it sound.
    practice.want(Intent::Tap(Hand::Either));
    assert_eq!(state(&practice), (true, 0, true));
    practice.until_it_sounds();
    for n in 1..4 {
        practice.clock.advance(300_000);
        practice.want(Intent::Tap(Hand::Either));
        assert_eq!(state(&practice), (true, n, true));
    }
    practice.step(Step::Taps);
    assert_eq!(state(&practice), (true, 3, true), "they are too few");
    practice.step(Step::ForgetTaps);
    assert_eq!(state(&practice), (false, 0, true));
}

#[test]
fn keys_that_are_held_are_heard_once_and_wait_for_nothing() {
    let mut practice = Practice::with_clicks();
    let first = practice.recording().analysis.clone().expect("known");
    for nth in 1..=20_u8 {
        practice.step(Step::Nudge(Nudge::Later));
        // No job is done yet, and the pulses lie there already.
        let known = practice.recording().analysis.clone().expect("known");
        let moved = known.pulses[6] - first.pulses[6];
        assert!(
            (moved - 0.01 * f64::from(nth)).abs() < 1e-9,
            "{nth}: {moved}"
        );
    }
    practice.app.tick().expect("nothing refuses");
    assert!(!practice.recording().is_behind, "it takes no time yet");
    practice.clock.advance(1_000_000);
    practice.app.tick().expect("nothing refuses");
    assert!(practice.recording().is_behind);
    let mut n_jobs = 0;
    while practice.recording().is_behind {
        let done = practice.inbox.recv().expect("the worker lives");
        practice.app.done(done).expect("nothing refuses");
        practice.app.tick().expect("nothing refuses");
        n_jobs += 1;
    }
    assert_eq!(n_jobs, 2, "the first of twenty and the last");
    let last = practice.recording().analysis.clone().expect("known");
    assert_ne!(last.strengths, first.strengths);
}

#[test]
fn claps_along_with_a_passage_are_judged_as_on_phrases() {
    let mut practice = Practice::with_clicks();
    practice.step(Step::ClapAlong);
    assert_eq!(
        practice.recording().clapping,
        Clapping::No,
        "nothing is to be clapped"
    );
    practice.step(Step::Claps(Claps::Threes));
    // At half the speed as well.
    for percent in [100, 50] {
        while practice.recording().speed.percent() > percent {
            practice.step(Step::Slower);
        }
        practice.step(Step::ClapAlong);
        let held = practice.clap_along(|pulse| pulse % 3 == 0);
        assert!(held.right, "{}", held.verdict);
        assert_eq!(held.verdict, "Right: claps on 1 and 4, held to the end.");
        assert!(held.timing.contains("nothing is heard"), "{}", held.timing);
        let [asked, you] = held.rows.as_slice() else {
            panic!("what was asked, and what was done");
        };
        for cycle in 1..4 {
            assert_eq!(asked.marks(cycle), ['3', '.', '.', '3', '.', '.']);
            assert_eq!(you.marks(cycle), ['o', '.', '.', 'o', '.', '.']);
        }
        let is_silent = !practice.recording().is_sounding;
        assert!(is_silent && practice.app.playhead().is_none());

        practice.step(Step::ClapAlong);
        let turned = practice.clap_along(|pulse| pulse % 3 == 1);
        assert!(!turned.right);
        let said = "You clapped on 2 and 5, one pulse late";
        assert!(turned.verdict.contains(said), "{}", turned.verdict);

        practice.step(Step::ClapAlong);
        let other = practice.clap_along(|pulse| pulse % 2 == 0);
        let said = "You clapped on 1, 3 and 5";
        assert!(other.verdict.contains(said), "{}", other.verdict);
    }
    // What is set up anew takes it from the screen.
    practice.step(Step::Go(Go::On));
    assert!(matches!(practice.recording().clapping, Clapping::Judged(_)));
    practice.step(Step::Claps(Claps::Twos));
    assert_eq!(practice.recording().clapping, Clapping::No);
}

#[test]
fn both_layers_are_clapped_along_with_two_hands() {
    let mut practice = Practice::with_clicks();
    practice.step(Step::Claps(Claps::Both));
    practice.step(Step::ClapAlong);
    let threes = |pulse| pulse % 3 == 0;
    let twos = |pulse| pulse % 2 == 0;
    let held = practice.clap_with([(Hand::Left, &threes), (Hand::Right, &twos)]);
    assert!(held.right, "{}", held.verdict);
    let said = "Right: left hand on 1 and 4, right hand on 1, 3 and 5, held to the end.";
    assert_eq!(held.verdict, said);
    assert_eq!(held.rows.len(), 4);

    practice.step(Step::ClapAlong);
    let exchanged = practice.clap_with([(Hand::Left, &twos), (Hand::Right, &threes)]);
    assert!(!exchanged.right);
    let said = "which is for the other hand";
    assert!(exchanged.verdict.contains(said), "{}", exchanged.verdict);

    // One hand alone is half of it.
    practice.step(Step::ClapAlong);
    let half = practice.clap_with([(Hand::Right, &twos)]);
    assert!(!half.right);
    let said = "The left hand did not clap";
    assert!(half.verdict.contains(said), "{}", half.verdict);
}

#[test]
fn a_sound_that_breaks_off_is_not_judged() {
    let mut practice = Practice::with_clicks();
    practice.step(Step::Claps(Claps::Threes));
    practice.step(Step::ClapAlong);
    practice.until_it_sounds();
    practice.clock.advance(100_000);
    practice.app.tick().expect("nothing refuses");
    practice
        .n_underruns
        .fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    practice.app.tick().expect("nothing refuses");
    let recording = practice.recording();
    assert_eq!(
        (&recording.clapping, recording.is_sounding),
        (&Clapping::No, false)
    );
    assert!(recording.told.contains("broke off"), "{}", recording.told);
}

#[test]
fn other_claps_take_over_where_the_passage_is_and_another_speed_begins_anew() {
    let mut practice = Practice::with_clicks();
    practice.step(Step::Pause);
    practice.until_it_sounds();
    practice.clock.advance(2_500_000);
    let before = practice.app.playhead().expect("it sounds");
    assert_eq!(before.cycle.0, 1);
    practice.step(Step::Claps(Claps::Both));
    let done = practice.inbox.recv().expect("the worker lives");
    practice.app.done(done).expect("nothing refuses");
    assert_eq!(practice.app.playhead().expect("it sounds"), before);
    practice.step(Step::Slower);
    let done = practice.inbox.recv().expect("the worker lives");
    practice.app.done(done).expect("nothing refuses");
    let anew = practice.app.playhead().expect("it sounds");
    assert_eq!((anew.cycle.0, anew.pulse), (0, 0.0));
    assert_eq!(practice.recording().speed, Speed::new(90).expect("a speed"));
}

#[test]
fn without_a_sound_device_nothing_is_played_or_judged_and_that_is_said() {
    let mut practice = Practice::with_clicks();
    practice.app.no_sound = Some("no sound device: it went on a journey".to_owned());
    practice.step(Step::Claps(Claps::Threes));
    let wants = [Step::Pause, Step::ClapAlong, Step::BeginHere].map(Intent::Recording);
    for want in wants.into_iter().chain([Intent::Tap(Hand::Either)]) {
        practice.step(Step::Go(Go::On));
        assert_eq!(practice.recording().told, "");
        practice.want(want);
        let recording = practice.recording();
        let is_still = !recording.is_sounding && !recording.is_tapping;
        assert!(is_still && recording.clapping == Clapping::No, "{want:?}");
        let told = "Nothing can be played (no sound device: it went on a journey). Connect";
        assert!(recording.told.starts_with(told), "{}", recording.told);
    }
    assert!(practice.app.playhead().is_none());
    // What needs no sound works.
    practice.step(Step::Say(crate::mark::Mark::Twos));
    assert!(practice.recording().told.contains("you say twos"));
}

#[test]
fn a_file_that_is_gone_keeps_its_picture_and_is_not_played() {
    let source = source_of_clicks();
    let is_gone = Arc::new(std::sync::atomic::AtomicBool::new(false));
    let open = {
        let (is_gone, open) = (Arc::clone(&is_gone), Arc::clone(&source.open));
        move || match is_gone.load(std::sync::atomic::Ordering::Relaxed) {
            // As the system says it (number 2, ENOENT in POSIX).
            true => Err(std::io::Error::from_raw_os_error(2).into()),
            false => open(),
        }
    };
    let source = Source {
        open: Arc::new(open),
        ..source
    };
    let mut practice = Practice::begin(Limit::Questions(1));
    practice.open(source);
    practice.step(Step::Pause);
    practice.until_it_sounds();
    is_gone.store(true, std::sync::atomic::Ordering::Relaxed);
    practice.step(Step::Go(Go::On));
    practice.step(Step::Until);
    practice.until(|recording| !recording.unplayed.is_empty());
    let recording = practice.recording();
    assert_eq!(recording.unplayed, "the file is gone from where it was");
    assert!(recording.state == State::Known && recording.n_cycles() == 10);
    assert!(!recording.is_sounding && practice.app.playhead().is_none());
    // It is there again.
    is_gone.store(false, std::sync::atomic::Ordering::Relaxed);
    practice.step(Step::Pause);
    practice.until_it_sounds();
    assert_eq!(practice.recording().unplayed, "");
}
