use std::io::Cursor;

use super::*;
use crate::label::Label;
use crate::listen::{CycleSaid, Lean, Pulses};
use crate::mark::{Mark, Marked};
use crate::pcm::decode;
use crate::pcm::{Growing, Pcm, SampleRate, wav};
use crate::rhythm::{Cycle, PulseMap};
use crate::sound::output::Samples;

/// Clicks on pulses that are 0.3 s long at first and shorter and shorter, in stereo at 44.1 kHz.
fn clicks() -> (Vec<f64>, Pcm) {
    let mut times = vec![0.5];
    for pulse in 0..60 {
        let gap = 0.3 - 0.001 * f64::from(pulse);
        times.push(times[times.len() - 1] + gap);
    }
    let rate = SampleRate::new(44_100).expect("a rate");
    let seconds = times[times.len() - 1] + 1.0;
    let mut samples = vec![0.0_f32; 2 * (seconds * 44_100.0) as usize];
    for time in &times {
        let at = (time * 44_100.0).round() as usize;
        for k in 0..90 {
            let wave = (0.5 * f64::from(k)).sin() as f32 * (1.0 - k as f32 / 90.0);
            samples[2 * (at + k as usize)] += 0.5 * wave;
            samples[2 * (at + k as usize) + 1] += 0.5 * wave;
        }
    }
    (times, Pcm::new(rate, 2, samples).expect("finite"))
}

fn source(pcm: &Pcm, pulses: Option<Given>) -> Source {
    let mut bytes = Cursor::new(Vec::new());
    wav::write(pcm, &mut bytes).expect("memory takes it");
    let bytes = bytes.into_inner();
    Source {
        name: "clicks.wav".to_owned(),
        cycle: Cycle::SIX,
        cycle_from: CycleFrom::Usual,
        pulses,
        notes: None,
        place: None,
        beside: None,
        bytes: {
            let bytes = bytes.clone();
            Arc::new(move || Ok(Box::new(Cursor::new(bytes.clone()))))
        },
        open: Arc::new(move || decode::open(Cursor::new(bytes.clone()), Some("wav"))),
    }
}

fn known(pulses: Option<Given>) -> Recording {
    heard(&clicks().1, pulses)
}

/// What was heard from end to end.
fn heard(pcm: &Pcm, pulses: Option<Given>) -> Recording {
    let source = source(pcm, pulses);
    let progress = Arc::new(Progress::default());
    let heard = hear(&source, &progress).expect("a recording");
    let mut recording = Recording::of(source, progress, 1);
    recording.take(heard);
    recording
}

/// Where clicks come from, with their pulses.
pub(crate) fn source_of_clicks() -> Source {
    source(&clicks().1, given())
}

/// A recording that is known, for those who draw one.
pub(crate) fn recording_of_clicks() -> Recording {
    known(given())
}

/// One whose pulses are found and not set.
pub(crate) fn proposed_recording_of_clicks() -> Recording {
    known(None)
}

/// One of which the learner said something.
pub(crate) fn recording_with_marks() -> Recording {
    let mut recording = known(given());
    for step in [
        Step::Say(Mark::Threes),
        Step::Go(Go::On),
        Step::Go(Go::On),
        Step::Section,
        Step::Say(Mark::Twos),
    ] {
        recording.step(step);
    }
    // As it is after the next key.
    recording.told.clear();
    recording
}

/// Two hours of 4032 cycles: threes in the first half, twos in the second, and every tenth of them
/// unclear.
pub(crate) fn recording_of_hours() -> Recording {
    let mut recording = known(given());
    let mut analysis = Analysis::clone(recording.analysis.as_ref().expect("known"));
    let pulse = |k: u32| 0.3 * f64::from(k);
    let cycle = |k: u32| {
        let mut cycle = analysis.cycles[0];
        cycle.start = pulse(6 * k);
        (cycle.said.lean, cycle.said.sure) = match k {
            k if k % 10 == 9 => (Lean::Unclear, 0.8),
            0..2016 => (Lean::Threes, 1.0),
            _ => (Lean::Twos, 0.6),
        };
        cycle
    };
    let cycles = (0..4032).map(cycle).collect();
    let strengths = analysis.strengths[..6].repeat(4032);
    (analysis.cycles, analysis.strengths) = (cycles, strengths);
    analysis.pulses = (0..6 * 4032).map(pulse).collect();
    recording.seconds = 7_258.0;
    recording.know(analysis);
    recording
}

#[test]
fn a_long_piece_is_told_in_one_row_by_what_most_cycles_lean_to() {
    let recording = recording_of_hours();
    let analysis = recording.analysis.as_ref().expect("known");
    let row = overview(analysis, 63);
    assert_eq!(row.len(), 63);
    let ends = row.windows(2).all(|pair| pair[0].0.end == pair[1].0.start);
    assert!(ends && row[0].0.start == 0 && row[62].0.end == 4032);
    let marks: String = row.iter().map(|(_, said)| said.lean.mark()).collect();
    // The middle stretch is half of each and leans to neither.
    assert_eq!(marks, format!("{}.{}", "3".repeat(31), "2".repeat(31)));
    // Nine in ten of them are sure, and six in ten of nine in ten.
    let shades: Vec<char> = row.iter().map(|(_, said)| said.shade()).collect();
    assert!(shades[3] != '-' && shades[60] == '-', "{shades:?}");
    // A short one has a column for each cycle.
    let short = known(given());
    let short = overview(short.analysis.as_ref().expect("known"), 63);
    assert_eq!(short.len(), 10);
}

#[test]
fn a_long_piece_is_gone_through_by_tenths() {
    let mut recording = recording_of_hours();
    let mut seen = vec![recording.here];
    for _ in 0..11 {
        recording.step(Step::Go(Go::TenthOn));
        seen.push(recording.here);
    }
    assert_eq!(seen[..3], [0, 404, 808]);
    assert_eq!(seen[10..], [4031, 4031]);
    recording.step(Step::Go(Go::TenthBack));
    assert_eq!(recording.here, 4031 - 404);
}

/// A judgement goes over what the learner means: never over hours of which they hear a passage.
#[test]
fn what_is_judged_is_what_was_set_or_what_is_heard() {
    let judged = |recording: &Recording| {
        let Judged { cycles, of } = recording.judged();
        (cycles.start, cycles.end, of)
    };
    let mut recording = recording_of_hours();
    assert_eq!(judged(&recording), (0, 4032, JudgedOf::Whole));
    recording.is_sounding = true;
    assert_eq!(judged(&recording), (0, 4, JudgedOf::Passage));
    recording.step(Step::Say(Mark::Threes));
    let told = "Cycles 1 to 4, the passage: you say threes, fairly sure.";
    assert_eq!(recording.told, told);
    let said = |recording: &Recording, at| recording.said_of(&By::Own, at).is_some();
    assert!(said(&recording, 3) && !said(&recording, 4));
    recording.step(Step::TakeBack);
    assert!(!said(&recording, 3) && recording.marks.is_empty());
    // Silent again, a section that is set goes before a passage that is not.
    recording.is_sounding = false;
    for step in [Step::Go(Go::FarOn), Step::Section, Step::From] {
        recording.step(step);
    }
    assert_eq!(recording.passage, (16, 17));
    assert_eq!(judged(&recording), (16, 4032, JudgedOf::Section));
    // Both its ends are set now.
    for step in [Step::Go(Go::On), Step::Until] {
        recording.step(step);
    }
    assert_eq!(judged(&recording), (16, 18, JudgedOf::Passage));
    recording.step(Step::Say(Mark::Twos));
    recording.step(Step::Surer);
    let told = "Cycles 17 to 18, the passage: you say twos, sure.";
    assert_eq!(recording.told, told);
    // Outside of it the section is meant.
    recording.step(Step::Go(Go::FarOn));
    assert_eq!(judged(&recording), (16, 4032, JudgedOf::Section));
}

#[test]
fn every_key_says_what_it_did_where_nothing_else_shows_it() {
    let mut recording = known(None);
    let mut told = |step| {
        recording.told.clear();
        recording.step(step);
        recording.told.clone()
    };
    let nothing = "There is nothing to take back: only what you did since you opened it is.";
    assert_eq!(told(Step::TakeBack), nothing);
    let first = "Cycle 1: a section begins there by itself.";
    assert_eq!(told(Step::Section), first);
    told(Step::Go(Go::On));
    let begins = "A section begins with cycle 2 from now on.";
    assert_eq!(told(Step::Section), begins);
    let none = "No section begins with cycle 2 any more.";
    assert_eq!(told(Step::Section), none);
    assert_eq!(
        told(Step::TakeBack),
        "Taken back: sections begin as before."
    );
    assert_eq!(told(Step::Section), none);
    let accepted =
        "From now on cycles begin there because you say so, and what leans is the surer for it.";
    assert_eq!(told(Step::Accept), accepted);
    assert_eq!(told(Step::BeatOne), "Cycles begin one pulse later.");
}

/// What is announced is what is had.
#[test]
fn other_pulses_come_as_they_were_announced() {
    let mut recording = known(None);
    assert!(recording.n_candidates() > 1);
    for _ in 0..recording.n_candidates() {
        let Some(NextPulse::Proposal { nth, of, ppm, .. }) = recording.next_pulse() else {
            panic!("there are others");
        };
        recording.step(Step::OtherPulse);
        let (now, n, _) = recording.candidate().expect("one of them");
        assert_eq!((now, n), (nth, of));
        let had = recording.tempo().expect("it has pulses");
        assert_eq!(format!("{had:.0}"), format!("{ppm:.0}"));
        let told = format!("Proposal {nth} of {of}: {had:.0} pulses a minute, ");
        assert!(recording.told.starts_with(&told), "{}", recording.told);
    }
    recording.step(Step::OtherPulse);
    recording.step(Step::BeatOne);
    while recording.next_pulse() != Some(NextPulse::Own) {
        recording.step(Step::OtherPulse);
    }
    recording.step(Step::OtherPulse);
    assert_eq!(recording.told, "The pulses as you set them.");
}

/// The same, of which two others said something too.
pub(crate) fn recording_with_persons() -> Recording {
    let mut recording = recording_with_marks();
    let analysis = recording.analysis.clone().expect("known");
    for (name, cycles) in [("Lola", 0..4), ("the teacher of the group", 1..9)] {
        let marked = Marked {
            stretch: stretch_of(&analysis, cycles).expect("cycles"),
            mark: Mark::Twos,
            sure: Sure::Sure,
        };
        let by = By::Other(Label::new(name).expect("a name"));
        recording.marks.entry(by).or_default().put(marked);
    }
    recording.choose_person();
    recording
}

/// One along with which twos were clapped where threes were asked.
pub(crate) fn recording_clapped_along() -> Recording {
    recording_with_twos_clapped(Claps::Threes)
}

/// One along with which one hand clapped twos where threes and twos were asked.
pub(crate) fn recording_clapped_with_two_hands() -> Recording {
    recording_with_twos_clapped(Claps::Both)
}

fn recording_with_twos_clapped(claps: Claps) -> Recording {
    use crate::quiz::{Along, Hand, Hands, Tap};
    let hand = match claps {
        Claps::Both => Hand::Right,
        _ => Hand::Either,
    };
    let mut recording = known(given());
    recording.step(Step::Claps(claps));
    let claps = recording.passage().expect("a passage").claps();
    let map = PulseMap::of(claps.pace.clone(), 0);
    let taps = (0..24).step_by(2).map(|pulse| Tap {
        micros: map.micros_at(crate::rhythm::Tick::of_pulse(pulse)),
        hand,
    });
    let taps: Vec<Tap> = taps.collect();
    let to_clap = recording.to_clap().expect("something is clapped");
    let along = Along::of(&claps, to_clap, &taps, Hands::Untuned, Default::default());
    recording.clapping = Clapping::Judged(Box::new(along));
    recording
}

fn given() -> Option<Given> {
    Some(Given::Times(Pulses::new(clicks().0).expect("rising")))
}

/// What grows in a rendering.
fn growing(rendering: &crate::app::player::Rendering) -> Arc<Growing> {
    match rendering.samples() {
        Samples::Growing(growing) => Arc::clone(growing),
        Samples::Whole(_) => panic!("a passage grows"),
    }
}

fn samples(growing: &Growing) -> Pcm {
    let n_frames = usize::try_from(growing.n_frames().0).expect("a short passage");
    let frames = (0..n_frames).flat_map(|at| growing.frame(at));
    Pcm::stereo(growing.rate(), frames.collect())
}

/// A passage, once all of it is made.
fn whole(passage: &Passage, rate: SampleRate) -> Pcm {
    let mut making = Making::default();
    let growing = growing(&making.begin(passage, rate).expect("made"));
    making.finish();
    assert!(growing.is_whole());
    samples(&growing)
}

#[test]
fn a_passage_can_begin_long_before_it_is_whole_and_other_claps_are_there_at_once() {
    let mut recording = known(given());
    recording.passage = (0, 10);
    recording.speed = Speed::new(50).expect("a speed");
    let rate = SampleRate::HZ_48000;
    let mut making = Making::default();
    let begun = |making: &mut Making, recording: &Recording| {
        let passage = recording.passage().expect("a passage");
        growing(&making.begin(&passage, rate).expect("made"))
    };
    let first = begun(&mut making, &recording);
    // Half a second of half a minute.
    assert!(first.n_frames().0 > 25 * 48_000 && !first.is_whole());
    let heard = samples(&first);
    assert!(heard.samples()[..48_000].iter().any(|x| x.abs() > 0.02));
    assert!(heard.samples()[2 * 24_000..].iter().all(|x| *x == 0.0));
    // Given up, it is left as it is.
    first.give_up();
    making.finish();
    assert!(!first.is_whole());
    let second = begun(&mut making, &recording);
    making.finish();
    assert!(second.is_whole());
    // What was stretched serves for other claps, so that they are there before the worker goes on.
    recording.step(Step::Claps(Claps::Both));
    let clapped = begun(&mut making, &recording);
    let last = clapped.range(clapped.n_chunks() - 1).end - 48_000;
    let near_its_end = samples(&clapped).samples()[2 * last..].to_vec();
    assert!(near_its_end.iter().any(|x| x.abs() > 0.02));
    // Without claps it is what it was.
    recording.step(Step::Claps(Claps::None));
    let again = begun(&mut making, &recording);
    making.finish();
    assert_eq!(samples(&again), samples(&second));
}

/// Clicks three times over, softer, and the last time twice as loud as before.
fn long_clicks() -> Pcm {
    let pcm = clicks().1;
    let thrice = [0.1, 0.1, 0.2].into_iter();
    let samples = thrice.flat_map(|gain| pcm.samples().iter().map(move |x| gain * x));
    Pcm::stereo(pcm.rate(), samples.collect())
}

#[test]
fn a_long_passage_begins_from_its_beginning_and_comes_to_the_same() {
    let given = Some(Given::Steady(
        crate::rhythm::Tempo::of_pulses_a_minute(240).expect("a tempo"),
        0.5,
    ));
    let source = source(&long_clicks(), given);
    let progress = Arc::new(Progress::default());
    let mut recording = Recording::of(source.clone(), Arc::clone(&progress), 1);
    recording.take(hear(&source, &progress).expect("a recording"));
    recording.passage = (0, 32);
    recording.speed = Speed::new(80).expect("a speed");
    let passage = recording.passage().expect("a passage");
    assert!(passage.seconds() > 40.0 && passage.heard.is_some());
    let begun = whole(&passage, SampleRate::HZ_48000);
    let measured = Passage {
        heard: None,
        ..passage
    };
    let measured = whole(&measured, SampleRate::HZ_48000);
    // The loudness that is told from the beginning is near that of the whole: half of the 2 dB by
    // which a listener notices that one piece is louder than another (common practice, no source).
    let decibels = 20.0 * (begun.rms() / measured.rms()).log10();
    assert!(decibels.abs() < 1.0, "{decibels}");
    let pairs = || begun.samples().iter().zip(measured.samples());
    let dot: f64 = pairs().map(|(a, b)| f64::from(*a) * f64::from(*b)).sum();
    let power = |pcm: &Pcm| -> f64 { pcm.samples().iter().map(|x| f64::from(*x).powi(2)).sum() };
    let alike = dot / (power(&begun) * power(&measured)).sqrt();
    assert!(alike > 0.999, "{alike}");
}

#[test]
fn claps_get_louder_and_softer_by_steps() {
    let mut recording = known(given());
    recording.step(Step::Claps(Claps::Threes));
    let rms = |recording: &Recording| {
        let passage = recording.passage().expect("a passage");
        whole(&passage, SampleRate::HZ_48000).rms()
    };
    let usual = rms(&recording);
    assert_eq!(recording.step(Step::ClapsLouder), Change::Claps);
    assert!(rms(&recording) > usual);
    for _ in 0..9 {
        recording.step(Step::ClapsSofter);
    }
    assert_eq!(recording.level.decibels(), -12);
    assert!(rms(&recording) < usual);
}

/// Frames at which a sound jumps up from silence.
fn jumps(pcm: &Pcm) -> Vec<usize> {
    let mono = pcm.mono();
    let mut found: Vec<usize> = Vec::new();
    for (at, x) in mono.iter().enumerate() {
        if x.abs() > 0.02 && found.last().is_none_or(|last| at - last > 4_800) {
            found.push(at);
        }
    }
    found
}

#[test]
fn a_passage_lasts_as_long_as_its_pulses_and_its_clicks_stay_on_them() {
    let (times, _) = clicks();
    let mut recording = known(given());
    assert_eq!((recording.n_cycles(), recording.is_set), (10, true));
    for step in [Step::Go(Go::On), Step::Go(Go::On), Step::From] {
        recording.step(step);
    }
    assert_eq!(recording.passage, (2, 4));
    for _ in 0..3 {
        recording.step(Step::Go(Go::On));
    }
    recording.step(Step::Until);
    assert_eq!(recording.passage, (2, 6));
    let rate = SampleRate::HZ_48000;
    for (speed, within) in [(100, 96), (80, 480), (50, 480)] {
        recording.speed = Speed::new(speed).expect("a speed");
        let passage = recording.passage().expect("a passage");
        let sound = whole(&passage, rate);
        let longer = recording.speed.longer() * 48_000.0;
        let frame = |pulse: usize| ((times[12 + pulse] - times[12]) * longer).round() as usize;
        assert!(
            sound.n_frames().0.abs_diff(frame(24) as u64) < 48,
            "at {speed}"
        );
        let found = jumps(&sound);
        // The first is softened at the seam.
        for pulse in 1..24 {
            let near = found.iter().map(|at| at.abs_diff(frame(pulse))).min();
            assert!(
                near.is_some_and(|off| off <= within),
                "{pulse} at {speed}: {found:?}"
            );
        }
    }
}

#[test]
fn claps_lie_on_the_pulses_of_their_layer() {
    let mut recording = known(given());
    recording.step(Step::Claps(Claps::Both));
    let passage = recording.passage().expect("a passage");
    let made = whole(&passage, SampleRate::HZ_48000);
    let claps = passage.claps();
    let map = PulseMap::of(claps.pace.clone(), 0);
    let (times, _) = clicks();
    for pulse in 0..24_i64 {
        let at = map.micros_at(crate::rhythm::Tick::of_pulse(pulse));
        let wanted = (times[pulse as usize] - times[0]) * 1e6;
        assert!(
            (at as f64 - wanted).abs() < 100.0,
            "pulse {pulse}: nothing drifts"
        );
    }
    let on: Vec<i64> = claps.notes.iter().map(|note| note.at.pulse_idx()).collect();
    assert_eq!(on[..7], [0, 0, 2, 3, 4, 6, 6]);
    assert!(made.peak() < 0.9, "under the ceiling");
}

#[test]
fn without_pulses_they_are_found_and_one_moves_by_a_pulse() {
    let mut recording = known(None);
    assert!(!recording.is_set);
    let before = recording.analysis.clone().expect("known").pulses.clone();
    assert_eq!(recording.step(Step::BeatOne), Change::Sound);
    let after = recording.analysis.clone().expect("known").pulses.clone();
    assert_eq!((before[1], recording.is_set), (after[0], true));
}

#[test]
fn after_all_is_heard_it_is_told_that_pulses_are_being_found() {
    let (_, pcm) = clicks();
    let source = source(&pcm, None);
    let progress = Arc::new(Progress::default());
    assert!(!progress.is_heard.load(Ordering::Relaxed));
    hear(&source, &progress).expect("a recording");
    assert!(progress.is_heard.load(Ordering::Relaxed));
}

#[test]
fn after_a_whole_cycle_of_steps_cycles_begin_where_they_did() {
    for pulses in [None, given()] {
        let mut recording = known(pulses);
        let begun = |recording: &Recording| recording.analysis.clone().expect("known").pulses[0];
        let first = begun(&recording);
        let n_cycles = recording.n_cycles();
        let mut seen = Vec::new();
        for _ in 0..6 {
            recording.step(Step::BeatOne);
            seen.push(begun(&recording));
        }
        assert!((begun(&recording) - first).abs() < 1e-9, "{first} {seen:?}");
        assert_eq!(recording.n_cycles(), n_cycles);
        seen.sort_by(f64::total_cmp);
        seen.dedup();
        assert_eq!(seen.len(), 6);
    }
}

/// Pulses come every quarter of a second, but where one was lost or doubled.
#[test]
fn cycles_begin_anew_from_one_pulse_on_and_those_before_stay() {
    let even: Vec<f64> = (0..60).map(|k| 1.0 + 0.25 * f64::from(k)).collect();
    let lost = |at: usize| {
        let mut times = even.clone();
        times.remove(at);
        times
    };
    let doubled = |at: usize| {
        let mut times = even.clone();
        times.insert(at + 1, even[at] + 0.125);
        times
    };
    for (times, at) in [
        (lost(15), 18),
        (lost(15), 24),
        (doubled(15), 18),
        (doubled(15), 30),
    ] {
        let pulses = Pulses::new(times.clone()).expect("rising");
        let mut recording = known(Some(Given::Times(pulses)));
        let begins = |recording: &Recording| -> Vec<f64> {
            let analysis = recording.analysis.as_ref().expect("known");
            analysis.pulses.iter().copied().step_by(6).collect()
        };
        let before = begins(&recording);
        assert_eq!(recording.begin_here(None), Change::Picture);
        assert!(
            recording.told.starts_with("Let it play"),
            "{}",
            recording.told
        );
        let on = recording.begin_here(Some(before[1] + 0.05));
        assert_eq!(on, Change::Picture, "a cycle begins there already");
        recording.to_keep.clear();
        assert_eq!(recording.begin_here(Some(even[at] - 0.04)), Change::Sound);
        let after = begins(&recording);
        let nth = after.iter().position(|time| *time == even[at]);
        let nth = nth.expect("a cycle begins where it was said");
        assert_eq!(after[..nth], before[..nth], "those before stay");
        for (k, time) in after[nth..].iter().enumerate() {
            assert_eq!(*time, even[at + 6 * k], "they are counted from there");
        }
        let kept = recording.to_keep.clone();
        assert!(matches!(kept.as_slice(), [Keep::Pulses(kept)] if kept.times.contains(&even[at])));
        let pulses = &recording.analysis.as_ref().expect("known").pulses;
        assert!(pulses.iter().all(|time| times.contains(time)), "none moves");
        let n_left_out = times.len() - pulses.len();
        assert!((1..6).contains(&n_left_out), "{n_left_out}");
        let sentence = format!("{n_left_out} pulses before it count in none.");
        let told = &recording.told;
        assert!(n_left_out == 1 || told.contains(&sentence), "{told}");
        recording.step(Step::TakeBack);
        assert_eq!(begins(&recording), before);
        assert!(
            matches!(recording.to_keep.last(), Some(Keep::Pulses(kept)) if kept.times == times)
        );
    }
}

#[test]
fn cycles_that_begin_later_and_later_stay_within_the_pulses() {
    let even: Vec<f64> = (0..13).map(|k| 0.4 + 0.25 * f64::from(k)).collect();
    let few = Pulses::new(even[..3].to_vec()).expect("rising");
    for pulses in [Pulses::new(even.clone()).expect("rising"), few] {
        let mut recording = known(Some(Given::Times(pulses)));
        let last = even[recording.analysis.as_ref().expect("known").pulses.len() - 1];
        // The last pulse begins a cycle as well.
        recording.begin_here(Some(even[1]));
        recording.begin_here(Some(last));
        for _ in 0..20 {
            recording.begin_later();
            assert!(recording.analysis.as_ref().expect("known").pulses.len() >= 2);
        }
        recording.taps = (0..9).map(|k| 0.5 + 0.3 * f64::from(k)).collect();
        recording.step(Step::Taps);
        recording.catch_up();
    }
}

#[test]
fn the_first_beginning_that_is_said_goes_for_all_cycles() {
    let even: Vec<f64> = (0..60).map(|k| 0.4 + 0.25 * f64::from(k)).collect();
    let pulses = Pulses::new(even.clone()).expect("rising");
    let mut recording = known(Some(Given::Grid(pulses)));
    let begins = |recording: &Recording| -> Vec<f64> {
        let analysis = recording.analysis.as_ref().expect("known");
        analysis.pulses.iter().copied().step_by(6).collect()
    };
    // The grid begins with pulse 0; one pulse more goes before it.
    recording.begin_here(Some(even[20] + 0.03));
    let expected: Vec<f64> = even.iter().copied().skip(2).step_by(6).collect();
    assert_eq!(begins(&recording), expected);
    // A beginning within a cycle of it was meant instead of it.
    recording.begin_here(Some(even[21]));
    let expected: Vec<f64> = even.iter().copied().skip(3).step_by(6).collect();
    assert_eq!(begins(&recording), expected);
    // Another that is said later leaves those before it.
    recording.begin_here(Some(even[43]));
    let before = even[..39].iter().copied().skip(3).step_by(6);
    let after = even.iter().copied().skip(43).step_by(6);
    assert_eq!(begins(&recording), before.chain(after).collect::<Vec<_>>());
    // All of them a pulse later, six times, is as it was.
    let lay = begins(&recording);
    recording.begin_later();
    assert_eq!(begins(&recording)[0], even[4]);
    (0..5).for_each(|_| recording.begin_later());
    assert_eq!(begins(&recording), lay);
}

#[test]
fn setting_pulses_is_taken_back_to_the_proposal() {
    let mut recording = known(None);
    let before = recording.analysis.clone();
    recording.step(Step::BeatOne);
    recording.step(Step::Nudge(Nudge::Later));
    assert!(recording.is_set);
    recording.step(Step::TakeBack);
    recording.step(Step::TakeBack);
    recording.catch_up();
    assert!(!recording.is_set && !recording.can_take_back());
    assert_eq!(recording.analysis, before);
    assert!(matches!(recording.to_keep.last(), Some(Keep::Pulses(kept)) if kept.times.is_empty()));
}

#[test]
fn what_is_seen_follows_pulses_at_once_and_is_heard_at_the_last_of_them() {
    let mut recording = known(given());
    let heard = |recording: &Recording| recording.analysis.clone().expect("known");
    let before = heard(&recording);
    recording.step(Step::BeatOne);
    let early = recording.again().expect("pulses to hear");
    recording.step(Step::BeatOne);
    let lies = heard(&recording);
    assert_eq!(lies.pulses, before.pulses[2..]);
    let leans = |of: &Analysis| of.cycles.iter().map(|cycle| cycle.said.lean).collect();
    let (so_far, were): (Vec<Lean>, Vec<Lean>) = (leans(&lies), leans(&before));
    assert_eq!(so_far[..], were[..so_far.len()], "as they were before");
    // What was heard at pulses that lie no more is nothing to anybody.
    recording.take_again(hear_again(early));
    assert_eq!(heard(&recording), lies);
    recording.catch_up();
    let row = recording.row.clone().expect("pulses");
    let sound = recording.sound.clone().expect("it was heard");
    let anew = recording.source.heard_at(&sound, &row);
    assert_eq!(*heard(&recording), anew);
    assert_ne!(anew, *lies);
    assert!(recording.again().is_none(), "all of it is heard");
}

#[test]
fn a_proposal_that_is_right_is_taken_as_it_is_and_kept() {
    let mut recording = known(None);
    assert!(recording.cut().is_err());
    let before = recording.analysis.clone();
    recording.step(Step::Accept);
    assert_eq!(recording.analysis, before);
    assert!(recording.is_set);
    assert!(matches!(recording.to_keep.as_slice(), [Keep::Pulses(_)]));
    recording.step(Step::Accept);
    assert_eq!(recording.to_keep.len(), 1, "once is enough");
}

#[test]
fn what_was_set_comes_back_after_other_tempi_were_tried_and_those_are_not_kept() {
    let mut recording = known(None);
    let n = recording.n_candidates();
    assert!(n > 1, "{n}");
    recording.step(Step::BeatOne);
    recording.step(Step::Nudge(Nudge::Later));
    assert_eq!(recording.told, "All pulses are 10 ms later than they were.");
    let own = recording.analysis.clone().expect("known").pulses.clone();
    recording.to_keep.clear();
    recording.step(Step::OtherPulse);
    assert!(!recording.is_set);
    assert_ne!(recording.analysis.clone().expect("known").pulses, own);
    for _ in 1..n {
        recording.step(Step::OtherPulse);
    }
    assert!(recording.is_set);
    assert_eq!(recording.analysis.clone().expect("known").pulses, own);
    assert!(recording.to_keep.is_empty());
}

#[test]
fn trying_another_tempo_is_one_step_to_take_back() {
    let mut recording = known(None);
    let proposed = recording.candidate().expect("a tempo");
    recording.step(Step::Nudge(Nudge::Later));
    recording.catch_up();
    let own = recording.analysis.clone();
    recording.step(Step::OtherPulse);
    recording.step(Step::OtherPulse);
    let second = recording.candidate().expect("another tempo");
    recording.step(Step::TakeBack);
    assert_ne!(recording.candidate(), Some(second));
    recording.step(Step::TakeBack);
    recording.catch_up();
    assert!(recording.is_set && recording.analysis == own);
    recording.step(Step::TakeBack);
    assert!(!recording.is_set && recording.candidate() == Some(proposed));
    assert!(!recording.can_take_back());
}

#[test]
fn a_passage_stays_as_long_while_cycles_begin_later() {
    // Faster and faster, then slower and slower, so that half a cycle later the nearest beginning is another
    // one of the two at one end of the passage than at the other.
    let gaps = (0..24).chain((0..24).rev());
    let gaps = gaps.map(|nth| 0.3 - 0.004 * f64::from(nth));
    let times = gaps.scan(0.5, |time, gap| {
        *time += gap;
        Some(*time)
    });
    let pulses = Pulses::new(times.collect()).expect("rising");
    let mut recording = known(Some(Given::Times(pulses)));
    let go_on = |recording: &mut Recording, n: usize| {
        for _ in 0..n {
            recording.step(Step::Go(Go::On));
        }
    };
    go_on(&mut recording, 1);
    recording.step(Step::From);
    go_on(&mut recording, 4);
    recording.step(Step::Until);
    let length = |recording: &Recording| recording.passage.1 - recording.passage.0;
    assert_eq!(length(&recording), 5);
    for nth in 1..6 {
        recording.step(Step::BeatOne);
        assert_eq!(length(&recording), 5, "after {nth}");
    }
}

#[test]
fn a_passage_stays_in_its_place_while_other_tempi_are_tried() {
    let mut recording = known(None);
    let n = recording.n_candidates();
    let places = |recording: &Recording| (recording.passage, recording.here);
    let by_itself = places(&recording);
    for _ in 0..n {
        recording.step(Step::OtherPulse);
    }
    assert_eq!(places(&recording), by_itself);
    for _ in 0..2 {
        recording.step(Step::Go(Go::On));
    }
    recording.step(Step::From);
    recording.step(Step::Go(Go::On));
    recording.step(Step::Until);
    let began = |recording: &Recording| {
        let known = recording.analysis.as_ref().expect("known");
        let start = |cycle: usize| known.cycles[cycle].start;
        (start(recording.passage.0), start(recording.here))
    };
    let (chosen, before) = (places(&recording), began(&recording));
    for _ in 0..n {
        recording.step(Step::OtherPulse);
        let known = recording.analysis.as_ref().expect("known");
        let cycle = known.cycles[1].start - known.cycles[0].start;
        let now = began(&recording);
        for (now, before) in [(now.0, before.0), (now.1, before.1)] {
            assert!((now - before).abs() <= cycle, "{now} {before}");
        }
    }
    assert_eq!(places(&recording), chosen);
}

#[test]
fn too_few_taps_are_told_and_go_on_or_are_forgotten() {
    let mut recording = known(None);
    recording.taps = vec![1.0, 1.3, 1.6];
    recording.n_taps = 3;
    recording.step(Step::Taps);
    assert_eq!(recording.n_taps, 3);
    assert!(recording.told.starts_with("It takes 8 taps"));
    recording.step(Step::ForgetTaps);
    assert_eq!((recording.n_taps, recording.taps.len()), (0, 0));
}

#[test]
fn where_no_pulse_is_found_an_even_one_is_laid_that_says_nothing() {
    let rate = SampleRate::HZ_48000;
    // A tone that neither begins nor ends in it.
    let tone = (0..4 * 48_000_u32).map(|n| 0.2 * (0.05 * n as f32).sin());
    let pcm = Pcm::new(rate, 1, tone.collect()).expect("finite");
    let mut recording = heard(&pcm, None);
    assert_eq!(recording.n_candidates(), 0);
    assert!(recording.is_laid() && !recording.is_set);
    assert!(recording.n_cycles() > 0);
    let whole = recording.analysis.as_ref().expect("known").whole;
    assert_eq!(whole.lean, Lean::Unclear);
    recording.step(Step::Pause);
    assert!(recording.is_sounding);
    let silence = heard(
        &Pcm::new(rate, 1, vec![0.0; 4 * 48_000]).expect("finite"),
        None,
    );
    assert_eq!((silence.n_cycles(), silence.is_laid()), (0, false));
}

#[test]
fn a_recording_of_a_single_cycle_can_be_played() {
    let times = clicks().0;
    let only = Pulses::new(times[..7].to_vec()).expect("rising");
    let mut recording = known(Some(Given::Times(only)));
    assert_eq!(recording.n_cycles(), 1);
    recording.step(Step::Pause);
    assert!(recording.is_sounding);
    let passage = recording.passage().expect("its only cycle");
    assert!(whole(&passage, SampleRate::HZ_48000).rms() > 0.0);
}

#[test]
fn one_goes_far_and_to_where_something_changes() {
    let mut recording = known(given());
    let last = recording.n_cycles() - 1;
    for (go, here) in [
        (Go::Last, last),
        (Go::First, 0),
        (Go::FarOn, last),
        (Go::FarBack, 0),
    ] {
        recording.step(Step::Go(go));
        assert_eq!(recording.here, here, "{go:?}");
    }
    for _ in 0..3 {
        recording.step(Step::Go(Go::On));
    }
    recording.step(Step::Section);
    recording.step(Step::Go(Go::First));
    recording.step(Step::Go(Go::NextChange));
    assert_eq!(recording.here, 3);
}

#[test]
fn taps_keep_their_tempo_though_something_finer_is_played() {
    let (times, _) = clicks();
    let mut recording = known(None);
    recording.taps = times.iter().copied().skip(2).step_by(2).take(12).collect();
    recording.n_taps = recording.taps.len();
    let tapped = 60.0 * 11.0 / (recording.taps[11] - recording.taps[0]);
    recording.step(Step::Taps);
    recording.catch_up();
    let known = recording.analysis.as_ref().expect("known");
    let ppm = known.tempo_ppm().expect("pulses");
    assert!((ppm / tapped - 1.0).abs() < 0.1, "{ppm} {tapped}");
    let told = format!("12 taps are taken: {ppm:.0} pulses a minute.");
    assert_eq!(recording.told, told);
}

#[test]
fn taps_elsewhere_leave_what_was_tapped_before() {
    let (times, _) = clicks();
    let tapped = |recording: &mut Recording, taps: &[f64]| {
        recording.taps = taps.to_vec();
        recording.n_taps = taps.len();
        recording.step(Step::Taps);
        recording.catch_up();
        recording.analysis.as_ref().expect("known").pulses.clone()
    };
    let near = |pulses: &[f64], time: f64| pulses.iter().any(|pulse| (pulse - time).abs() < 0.05);
    let mut recording = known(None);
    let every: Vec<f64> = times.iter().copied().take(20).collect();
    tapped(&mut recording, &every);
    // Later every second one is tapped, from the fortieth on.
    let half: Vec<f64> = times.iter().copied().skip(40).step_by(2).take(9).collect();
    let pulses = tapped(&mut recording, &half);
    assert!(
        recording
            .told
            .ends_with("pulses elsewhere stay as they were."),
        "{}",
        recording.told
    );
    assert!(
        times[6..36].iter().all(|time| near(&pulses, *time)),
        "{pulses:?}"
    );
    assert!(half.iter().all(|time| near(&pulses, *time)), "{pulses:?}");
    assert!(
        !near(&pulses, times[45]) && !near(&pulses, times[51]),
        "{pulses:?}"
    );
    let begun = pulses
        .iter()
        .position(|pulse| (pulse - times[40]).abs() < 0.05);
    assert_eq!(
        begun.map(|at| at % 6),
        Some(0),
        "their first begins a cycle"
    );
    // Taps in the same place are meant instead of them.
    let pulses = tapped(&mut recording, &times[42..56]);
    assert!(
        times[42..56].iter().all(|time| near(&pulses, *time)),
        "{pulses:?}"
    );
}

#[test]
fn taps_say_where_pulses_are_and_where_a_cycle_begins() {
    let (times, _) = clicks();
    let mut recording = known(None);
    // Somebody taps with the clicks from the third on, a little early and unevenly.
    for (k, time) in times.iter().enumerate().skip(2).take(20) {
        recording
            .taps
            .push(time - 0.015 + 0.01 * f64::from(u8::from(k % 2 == 0)));
    }
    recording.n_taps = recording.taps.len();
    recording.step(Step::Taps);
    assert_eq!(recording.n_taps, 0);
    recording.catch_up();
    let pulses = &recording.analysis.as_ref().expect("known").pulses;
    let near = |time: f64| pulses.iter().map(|p| (p - time).abs()).fold(1.0, f64::min);
    for time in &times[8..20] {
        assert!(near(*time) < 0.04, "{time} of {pulses:?}");
    }
    let first = pulses
        .iter()
        .position(|p| (p - times[2]).abs() < 0.05)
        .expect("the first tap");
    assert_eq!(first % 6, 0, "it begins a cycle");
}

#[test]
fn speeds_and_passages_stay_within_their_bounds() {
    let mut recording = known(given());
    for _ in 0..12 {
        recording.step(Step::Slower);
    }
    assert_eq!(recording.speed.percent(), 50);
    for _ in 0..12 {
        recording.step(Step::Faster);
    }
    assert_eq!(recording.speed.percent(), 110);
    for _ in 0..20 {
        recording.step(Step::Go(Go::On));
    }
    assert_eq!(recording.here, 9);
    recording.step(Step::From);
    assert_eq!(recording.passage, (9, 10));
    assert!(
        recording.passage().is_some(),
        "the last cycle can be played"
    );
}

#[test]
fn a_section_is_marked_split_and_marked_again() {
    let mut recording = known(given());
    recording.step(Step::Say(Mark::Threes));
    for step in [
        Step::Go(Go::On),
        Step::Go(Go::On),
        Step::Go(Go::On),
        Step::Section,
    ] {
        recording.step(step);
    }
    assert_eq!(
        (recording.section_of(1), recording.section_of(3)),
        (0..3, 3..10)
    );
    let said = |recording: &Recording| -> String {
        let sign = |cycle| {
            recording
                .said_of(&By::Own, cycle)
                .map_or('.', |said| said.mark.sign())
        };
        (0..10).map(sign).collect()
    };
    assert_eq!(
        said(&recording),
        "3333333333",
        "a boundary takes nothing away"
    );
    recording.step(Step::Say(Mark::Twos));
    assert_eq!(said(&recording), "3332222222");
    recording.step(Step::Surer);
    let all = |cycles| recording.said_of_all(&By::Own, cycles);
    let twos = all(4..8).expect("twos all through");
    assert_eq!((twos.mark, twos.sure), (Mark::Twos, Sure::Sure));
    assert_eq!(all(2..4), None);
    recording.step(Step::Nudge(Nudge::Later));
    assert_eq!(said(&recording), "3332222222", "marks stay through a nudge");
    assert_eq!(recording.section_of(3), 3..10);
    recording.step(Step::Section);
    assert_eq!(recording.section_of(3), 0..10);
}

#[test]
fn what_is_said_over_something_says_so_inherits_no_sureness_and_is_taken_back() {
    let mut recording = known(given());
    let said = |recording: &Recording| -> Vec<Option<(Mark, Sure)>> {
        let of = |cycle| recording.said_of(&By::Own, cycle);
        (0..10)
            .map(|cycle| of(cycle).map(|said| (said.mark, said.sure)))
            .collect()
    };
    recording.step(Step::Surer);
    assert_eq!(recording.told, "What you say next: sure.");
    for step in [
        Step::Go(Go::On),
        Step::Go(Go::On),
        Step::Section,
        Step::Say(Mark::Twos),
    ] {
        recording.step(step);
    }
    let told = "Cycles 3 to 10, the section: you say twos, sure.";
    assert_eq!(recording.told, told);
    recording.step(Step::Section);
    let before = said(&recording);
    recording.step(Step::Say(Mark::Threes));
    let told = "Cycles 1 to 10, the whole recording: you say threes, fairly sure, instead of twos in \
                8 cycles.";
    assert_eq!(recording.told, told);
    assert_eq!(said(&recording), [Some((Mark::Threes, Sure::Fairly)); 10]);
    recording.step(Step::TakeBack);
    assert_eq!(said(&recording), before);
    // Sureness is changed where the same is said, and nowhere else in the section.
    recording.step(Step::Surer);
    assert_eq!(said(&recording)[..2], [None, None]);
    assert_eq!(said(&recording)[2..], [Some((Mark::Twos, Sure::Guess)); 8]);
    // The surer word, the section that was taken away, what was said, and the section.
    for _ in 0..4 {
        recording.step(Step::TakeBack);
    }
    assert_eq!(said(&recording), [None; 10]);
    assert!(!recording.can_take_back() && recording.marks.is_empty());
    let unsaid = recording.to_keep.iter();
    let unsaid = unsaid.filter(|keep| matches!(keep, Keep::Unsaid(..)));
    assert_eq!(unsaid.count(), 3);
}

#[test]
fn the_same_said_again_is_as_sure_as_it_is_said_to_be() {
    let mut recording = known(given());
    let said = |recording: &Recording, cycle: usize| {
        let said = recording.said_of(&By::Own, cycle);
        said.map(|said| (said.mark, said.sure))
    };
    for step in [Step::Go(Go::On), Step::Go(Go::On), Step::Section] {
        recording.step(step);
    }
    recording.step(Step::Say(Mark::Twos));
    recording.step(Step::Surer);
    recording.step(Step::Say(Mark::Twos));
    let told = "Cycles 3 to 10: you said so before, twos, sure.";
    assert_eq!(recording.told, told);
    assert_eq!(said(&recording, 4), Some((Mark::Twos, Sure::Sure)));
    // A sureness that was chosen where nothing is said holds for what is said next, whatever was said of it.
    recording.step(Step::Go(Go::Back));
    recording.step(Step::Surer);
    recording.step(Step::Surer);
    assert_eq!(recording.told, "What you say next: a guess.");
    recording.step(Step::Go(Go::On));
    recording.step(Step::Say(Mark::Twos));
    let told = "Cycles 3 to 10, the section: you say twos, a guess.";
    assert_eq!(recording.told, told);
    assert_eq!(said(&recording, 4), Some((Mark::Twos, Sure::Guess)));
    assert_eq!(said(&recording, 0), None);
    // Of cycles that differ in it the least is told.
    recording.step(Step::Go(Go::Back));
    recording.step(Step::Say(Mark::Twos));
    recording.step(Step::Go(Go::On));
    recording.step(Step::Section);
    recording.step(Step::Say(Mark::Twos));
    let told = "Cycles 1 to 10: you said so before, twos, a guess at the least.";
    assert_eq!(recording.told, told);
}

#[test]
fn other_persons_come_one_after_the_other() {
    let mut recording = recording_with_persons();
    let name = |recording: &Recording| match &recording.beside {
        Some(By::Other(name)) => name.to_string(),
        other => format!("{other:?}"),
    };
    let mut seen = vec![name(&recording)];
    for _ in 0..2 {
        recording.step(Step::OtherPerson);
        seen.push(name(&recording));
    }
    assert_eq!(seen, ["Lola", "the teacher of the group", "Lola"]);
    // Who was asked for comes first.
    recording.beside = Some(By::Other(
        Label::new("the teacher of the group").expect("a name"),
    ));
    recording.choose_person();
    assert_eq!(name(&recording), "the teacher of the group");
    let mut alone = recording_with_marks();
    alone.step(Step::OtherPerson);
    assert_eq!(alone.beside, None);
}

#[test]
fn a_nudge_moves_every_pulse_by_ten_milliseconds() {
    let (times, _) = clicks();
    let mut recording = known(given());
    recording.step(Step::Nudge(Nudge::Earlier));
    let pulses = recording.analysis.as_ref().expect("known").pulses.clone();
    assert_eq!(pulses.len(), times.len());
    let moved = |(was, is): (&f64, &f64)| (was - is - 0.01).abs() < 1e-9;
    assert!(times.iter().zip(&pulses).all(moved));
    recording.step(Step::Nudge(Nudge::Later));
    let back = &recording.analysis.as_ref().expect("known").pulses;
    assert!(
        times
            .iter()
            .zip(back)
            .all(|(was, is)| (was - is).abs() < 1e-9)
    );
}

#[test]
fn other_tempi_that_may_be_meant_come_one_after_the_other() {
    let mut recording = known(None);
    let n = recording.n_candidates();
    assert!(n >= 2, "clicks may be counted by twos as well");
    let mut seen = vec![recording.candidate().expect("the first")];
    for _ in 0..n {
        let told = recording.next_pulse();
        recording.step(Step::OtherPulse);
        let next = recording.candidate().expect("another");
        let is_told = |told| matches!(told, NextPulse::Proposal { nth, .. } if nth == next.0);
        assert!(told.is_some_and(is_told), "{told:?} {next:?}");
        // Nobody wanted those before it, so that the last is the one that is left.
        let is_last = next.0 == n;
        let probable = recording.row.as_ref().expect("pulses").probable_at(0.0);
        assert_eq!(
            (probable - 1.0).abs() < 1e-9,
            is_last,
            "{next:?} {probable}"
        );
        seen.push(next);
    }
    let places: Vec<usize> = seen.iter().map(|candidate| candidate.0).collect();
    let round: Vec<usize> = (1..=n).chain([1]).collect();
    assert_eq!(places, round);
    assert!((seen[0].2 / seen[1].2 - 1.0).abs() > 0.05, "{seen:?}");
}

#[test]
fn a_passage_in_twelve_brings_exercises_in_twelve_once() {
    let source = Source {
        cycle: Cycle::new(12).expect("a cycle"),
        ..source_of_clicks()
    };
    let progress = Arc::new(Progress::default());
    let heard = hear(&source, &progress).expect("a recording");
    let mut recording = Recording::of(source, progress, 1);
    recording.take(heard);
    let mut deck = crate::deck::own_recordings().to_owned();
    for (from, until) in [(0, 4), (1, 5)] {
        recording.passage = (from, until);
        deck = recording.cut().expect("a passage").added_to(&deck);
    }
    let deck = crate::deck::parse(&deck).expect("no faults");
    let clap = deck.exercises().iter();
    let clap: Vec<_> = clap.filter(|e| &*e.skill.0 == "own/clap-12").collect();
    let [clap] = clap.as_slice() else {
        panic!("one exercise of claps in twelve");
    };
    assert_eq!(clap.material.passages().len(), 2);
    assert_eq!(clap.material.cycle().n_pulses(), 12);
}

#[test]
fn a_turn_that_would_be_guessed_is_refused_in_words() {
    let mut recording = recording_with_marks();
    let mut told = |until| {
        recording.passage = (0, until);
        let cut = recording.cut().expect("a passage");
        let deck = cut.added_to(crate::deck::own_recordings());
        cut.words(&crate::deck::parse(&deck).expect("no faults"))
    };
    let why =
        "To catch the turn, cut it anew: its turn is asked only of passages with 7 to 9 cycles.";
    let short = told(4);
    assert!(short.ends_with(why), "{short}");
    assert!(!short.contains("Catch the turn"), "{short}");
    let long = told(8);
    assert!(long.contains("Catch the turn"), "{long}");
    assert!(!long.contains("cut it anew"), "{long}");
}

#[test]
fn how_many_cycles_a_turn_takes_is_told_as_a_passage_is_chosen() {
    let mut recording = known(given());
    recording.passage = (0, 2);
    recording.step(Step::Say(Mark::Threes));
    recording.here = 2;
    recording.step(Step::Section);
    recording.step(Step::Say(Mark::Twos));
    let mut told = |until: usize| {
        recording.told.clear();
        recording.passage = (0, 2);
        recording.here = until - 1;
        recording.step(Step::Until);
        recording.told.clone()
    };
    let says =
        "It turns here: for its turn to be asked a passage has 7 to 9 cycles, and this one 4.";
    assert_eq!(told(4), says);
    assert_eq!(told(8), "");
    // Nothing turns in it.
    assert_eq!(told(2), "");
}

#[test]
fn what_a_first_cut_is_not_asked_is_told_with_its_reason() {
    let mut recording = known(given());
    recording.step(Step::Say(Mark::Threes));
    let told = |recording: &Recording, deck: &str| {
        let cut = recording.cut().expect("a passage");
        let deck = cut.added_to(deck);
        let words = cut.words(&crate::deck::parse(&deck).expect("no faults"));
        (words, deck)
    };
    let why = "To be asked what it leans to, cut another one too that is not in threes.";
    let (words, deck) = told(&recording, crate::deck::own_recordings());
    assert!(words.contains(why), "{words}");
    // With one in twos beside it, it is asked.
    recording.passage = (4, 8);
    recording.step(Step::Say(Mark::Twos));
    let (words, _) = told(&recording, &deck);
    assert!(words.contains("What does it lean to?"), "{words}");
    assert!(!words.contains("To be asked"), "{words}");
}

#[test]
fn a_recording_is_named_by_its_bytes() {
    let recording = known(given());
    let bytes = (recording.source.bytes)().expect("memory opens");
    let content = ContentHash::of(bytes).expect("memory can be read");
    assert_eq!(recording.content, Some(content));
    assert_eq!(recording.unkept, "");
}

#[test]
fn a_passage_ends_where_pulses_pause() {
    // Those of the clicks without the fifth to the seventh cycle: a pause of more than three seconds.
    let all = match given() {
        Some(Given::Times(pulses)) => pulses.times().to_vec(),
        _ => Vec::new(),
    };
    let left = [&all[..24], &all[42..]].concat();
    let pulses = Pulses::new(left).expect("pulses");
    let mut recording = known(Some(Given::Times(pulses)));
    assert!(all[42] - all[23] > 3.0);
    while recording.here < 5 {
        let before = recording.here;
        recording.step(Step::Go(Go::On));
        assert_eq!(recording.here, before + 1);
    }
    recording.step(Step::Until);
    assert_eq!(recording.passage, (4, 6));
    assert!(
        recording.told.ends_with("where pulses pause."),
        "{}",
        recording.told
    );
    recording.step(Step::Go(Go::First));
    recording.step(Step::From);
    assert_eq!(recording.passage, (0, 4));
    let passage = recording.passage().expect("a passage");
    // As long as its pulses are, the last of them as the one before.
    let seconds = 2.0 * all[23] - all[22] - all[0];
    assert!(
        (passage.seconds() - seconds).abs() < 1e-9,
        "{}",
        passage.seconds()
    );
    let claps = {
        recording.step(Step::Claps(Claps::Threes));
        recording.passage().expect("a passage").claps()
    };
    assert_eq!(claps.notes.len(), 8);
}

/// Clicks after twelve seconds of a tone in which nothing begins.
fn after_a_free_beginning() -> Recording {
    let rate = SampleRate::HZ_48000;
    let mut samples: Vec<f32> = (0..12 * 48_000_u32)
        .map(|n| 0.05 * (0.03 * n as f32).sin())
        .collect();
    samples.resize(30 * 48_000, 0.0);
    for pulse in 0..54_u32 {
        let at = (12.0 * 48_000.0 + 0.32 * 48_000.0 * f64::from(pulse)) as usize;
        for k in 0..200 {
            samples[at + k] += 0.5 * (0.6 * k as f32).sin() * (1.0 - k as f32 / 200.0);
        }
    }
    heard(&Pcm::new(rate, 1, samples).expect("finite"), None)
}

/// The same with even pulses there.
pub(crate) fn recording_laid_evenly() -> Recording {
    let mut recording = after_a_free_beginning();
    recording.step(Step::Even);
    recording.step(Step::Go(Go::First));
    recording.catch_up();
    recording
}

#[test]
fn even_pulses_over_a_free_beginning_are_played_tapped_and_taken_away() {
    let mut recording = after_a_free_beginning();
    assert_eq!(recording.evens(), Some(Evens::MayBe));
    let found = recording.analysis.clone().expect("known");
    assert!(found.pulses[0] > 10.0, "{}", found.pulses[0]);
    assert_eq!(recording.step(Step::Even), Change::Sound);
    recording.catch_up();
    assert_eq!(recording.evens(), Some(Evens::Laid));
    assert!(!recording.is_set && !recording.is_laid() && recording.is_laid_at(0));
    let laid = recording.analysis.clone().expect("known");
    assert!(laid.pulses[0] < 2.0);
    let more = laid.cycles.len() - found.cycles.len();
    assert!(more >= 5, "{more} cycles more");
    // What is heard elsewhere is heard as before, and nothing of these is.
    assert_eq!(laid.cycles[more..], found.cycles);
    assert_eq!(laid.whole, found.whole);
    let unclear = |cycle: &CycleSaid| cycle.said.lean == Lean::Unclear && cycle.said.sure == 0.0;
    assert!(laid.cycles[..more].iter().all(unclear));
    // Taps there are kept, and what was found elsewhere stays.
    recording.taps = (0..12).map(|k| 2.0 + 0.5 * f64::from(k)).collect();
    recording.n_taps = recording.taps.len();
    recording.step(Step::Taps);
    recording.catch_up();
    assert!(recording.is_set, "{}", recording.told);
    let tapped = recording.analysis.clone().expect("known");
    assert!(found.pulses.iter().all(|time| tapped.pulses.contains(time)));
    assert!(tapped.pulses.iter().any(|time| (time - 5.0).abs() < 0.2));
    recording.step(Step::TakeBack);
    recording.step(Step::Even);
    recording.catch_up();
    assert_eq!(
        recording.analysis.as_ref().expect("known").pulses,
        found.pulses
    );
}

#[test]
fn where_cycles_begin_among_laid_pulses_sets_nothing() {
    let mut recording = recording_laid_evenly();
    let n_kept = recording.to_keep.len();
    recording.step(Step::BeatOne);
    assert_eq!(recording.begin_here(Some(6.0)), Change::Sound);
    assert!(!recording.is_set && recording.to_keep.len() == n_kept);
    recording.step(Step::Go(Go::Last));
    recording.step(Step::BeatOne);
    assert!(recording.is_set && recording.to_keep.len() > n_kept);
}

#[test]
fn what_is_said_where_no_pulses_are_is_told() {
    let mut recording = recording_laid_evenly();
    recording.step(Step::From);
    recording.step(Step::Until);
    recording.step(Step::Say(Mark::Threes));
    assert_eq!(recording.said_apart(), None);
    recording.step(Step::Even);
    let told = recording.said_apart().expect("nothing shows it any more");
    assert!(
        told.ends_with("no pulses are there: e lays even ones there"),
        "{told}"
    );
}

#[test]
fn taps_that_come_faster_than_any_pulse_are_refused() {
    let mut recording = known(None);
    recording.taps = (0..12).map(|k| 2.0 + 0.03 * f64::from(k)).collect();
    recording.n_taps = recording.taps.len();
    recording.is_tapping = true;
    recording.step(Step::Taps);
    assert!(
        recording.told.starts_with("Taps that are 0.03 s apart"),
        "{}",
        recording.told
    );
    assert!(recording.is_tapping && recording.n_taps == 0);
    assert!(recording.again().is_none(), "nothing is followed");
}

#[test]
fn what_is_laid_evenly_among_others_is_not_kept() {
    let mut recording = after_a_free_beginning();
    let found = recording.analysis.clone().expect("known");
    recording.step(Step::Even);
    recording.step(Step::Accept);
    let Some(Keep::Pulses(kept)) = recording.to_keep.last() else {
        panic!("pulses are kept");
    };
    assert_eq!(kept.times, found.pulses);
}

#[test]
fn a_passage_is_cut_only_where_somebody_said_where_its_cycles_begin() {
    let mut recording = recording_laid_evenly();
    let refused = |recording: &Recording| recording.cut().err().unwrap_or_default();
    recording.step(Step::From);
    assert!(refused(&recording).starts_with("its pulses are laid evenly"));
    // What is tapped over the beginning says nothing of what was found after it.
    recording.taps = (0..12).map(|k| 2.0 + 0.5 * f64::from(k)).collect();
    recording.n_taps = recording.taps.len();
    recording.step(Step::Taps);
    recording.catch_up();
    recording.step(Step::Go(Go::Last));
    recording.step(Step::Go(Go::Back));
    recording.step(Step::Until);
    recording.step(Step::Go(Go::Back));
    recording.step(Step::From);
    assert!(recording.is_set && recording.can_accept());
    assert!(refused(&recording).starts_with("say first where cycles begin"));
    recording.step(Step::Accept);
    assert!(recording.cut().is_ok());
    assert!(!recording.can_accept());
}
