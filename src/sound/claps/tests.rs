//! Claps by formula, alone and among what else a microphone hears, and the program's own.

use proptest::prelude::*;
use serde_json::Value;

use super::*;
use crate::phrase::{
    Bell, Entry, Family, Level, Pacing, Phrase, Purpose, Recipe, RecipeParts, Rival, Touch, Wanted,
    make,
};
use crate::rhythm::{Cycle, Feel, Layer, Pattern, Tempo, Tick};
use crate::sound::units::factor;
use crate::sound::{Timeline, render};
use crate::world::{Dice, Seed};

const RATE: SampleRate = SampleRate::HZ_48000;
/// How many milliseconds late claps that rise for 0.5 to 3 ms are found: the mean of silence, noise and
/// guitars.
const LATE: f64 = 0.8;
const FAMILIES: [Family; 13] = [
    Family::Plain,
    Family::BassChords,
    Family::BassStrums,
    Family::Chords,
    Family::Arpeggio,
    Family::Line,
    Family::Loudness,
    Family::Length,
    Family::Strike,
    Family::Rasgueado,
    Family::Stopped,
    Family::Touch,
    Family::Figures,
];

/// How many of `found` can each be given one of `truth`, no two the same, within `window` of it. Both
/// are in order, so that taking the earliest that fits gives as many as any way.
fn n_matched(truth: &[f64], found: &[f64], window: f64) -> usize {
    let (mut n, mut left) = (0, truth);
    for found in found {
        while let Some((first, rest)) = left.split_first().filter(|(t, _)| *t - found <= window) {
            left = rest;
            if found - first <= window {
                n += 1;
                break;
            }
        }
    }
    n
}

#[test]
fn onsets_are_matched_as_elsewhere() {
    // mir_eval 0.8.2, onset.f_measure; rows in the fixture.
    let text = include_str!("../../../tests/reference/fixtures/timing.json");
    let fixture: Value = serde_json::from_str(text).expect("the fixture is JSON");
    let rows = fixture["onset_eval"]["rows"].as_array().expect("rows");
    assert!(rows.len() >= 4);
    for row in rows {
        let list = |name: &str| -> Vec<f64> {
            let list = row[name].as_array().expect("a list").iter();
            list.map(|n| n.as_f64().expect("a number")).collect()
        };
        let number = |name: &str| row[name].as_f64().expect("a number");
        let (truth, found) = (list("ref"), list("est"));
        let n = real(n_matched(&truth, &found, number("window_s")));
        let (precision, recall) = (n / real(found.len()), n / real(truth.len()));
        let f = 2.0 * precision * recall / (precision + recall);
        for (ours, theirs) in [(precision, "precision"), (recall, "recall"), (f, "f")] {
            assert!((ours - number(theirs)).abs() < 1e-12, "{row}: {ours}");
        }
    }
}

/// What a microphone hears, and when claps begin in it.
#[derive(Clone, Debug)]
struct Scene {
    samples: Vec<f32>,
    truth: Vec<usize>,
}

impl Scene {
    fn silent(seconds: f64) -> Self {
        Self {
            samples: vec![0.0; frames(seconds, RATE)],
            truth: Vec::new(),
        }
    }

    /// Adds claps 130 to 600 ms apart, of peaks up to `spread_db` below `peak`.
    fn clapped(mut self, peak: f64, spread_db: f64, dice: &mut Dice) -> Self {
        let mut at = frames(dice.real(0.1, 0.5), RATE);
        while at + frames(0.2, RATE) < self.samples.len() {
            let peak = peak * factor(-dice.real(0.0, spread_db));
            for (sum, sample) in self.samples[at..].iter_mut().zip(clap(peak, dice)) {
                *sum += sample;
            }
            self.truth.push(at);
            at += frames(dice.real(0.13, 0.6), RATE);
        }
        self
    }

    /// Adds white noise of this root mean square.
    fn in_noise(mut self, rms: f64, dice: &mut Dice) -> Self {
        let peak = 3.0_f64.sqrt() * rms;
        for sample in &mut self.samples {
            *sample += single(dice.real(-peak, peak));
        }
        self
    }

    /// When claps were found, in blocks of 480.
    fn found(&self) -> Vec<usize> {
        heard_in(&self.samples, &[480])
    }

    /// Whether each clap is found once and nothing else; by how many milliseconds late, in order.
    #[track_caller]
    fn check(&self, name: &str) -> Vec<f64> {
        let found = self.found();
        let seconds = |list: &[usize]| -> Vec<f64> {
            let rate = f64::from(RATE.hz());
            list.iter().map(|&n| real(n) / rate).collect()
        };
        let (truth, heard) = (seconds(&self.truth), seconds(&found));
        let n = n_matched(&truth, &heard, 0.05);
        assert_eq!(
            (n, found.len()),
            (truth.len(), truth.len()),
            "{name}: missed {:?}, made up {:?}",
            without(&truth, &heard),
            without(&heard, &truth)
        );
        let late = heard.iter().zip(&truth).map(|(h, t)| 1_000.0 * (h - t));
        let late: Vec<f64> = late.collect();
        for (late, truth) in late.iter().zip(&truth) {
            assert!((late - LATE).abs() < 2.0, "{name} at {truth}: {late} ms");
        }
        late
    }
}

/// Those of `these` that are not near any of `those`.
fn without(these: &[f64], those: &[f64]) -> Vec<f64> {
    let is_near = |this: f64| those.iter().any(|that| (that - this).abs() <= 0.05);
    these
        .iter()
        .copied()
        .filter(|&this| !is_near(this))
        .collect()
}

/// A clap by formula: noise around 1.2 to 2.5 kHz that rises for 0.5 to 3 ms and falls by 20 dB in
/// 25 to 60 ms, which is a clap and the room around it.
fn clap(peak: f64, dice: &mut Dice) -> Vec<f32> {
    let mut colour = Biquad::band(dice.real(1_200.0, 2_500.0), 0.8, RATE);
    let (rise, fall) = (dice.real(0.0005, 0.003), dice.real(0.025, 0.060));
    let noise = (0..frames(0.2, RATE)).map(|n| {
        let at = real(n) / f64::from(RATE.hz());
        let shape = (at / rise).min(1.0) * 10.0_f64.powf(-(at - rise).max(0.0) / fall);
        single(shape) * colour.next(single(dice.real(-1.0, 1.0)))
    });
    let mut samples: Vec<f32> = noise.collect();
    let loudest = samples.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
    for sample in &mut samples {
        *sample *= single(peak) / loudest;
    }
    samples
}

/// When claps begin in `samples`, cut into pieces of these lengths, again and again.
fn heard_in(samples: &[f32], pieces: &[usize]) -> Vec<usize> {
    let mut finder = ClapFinder::new(RATE);
    let (mut at, mut found) = (0, Vec::new());
    for piece in pieces.iter().cycle() {
        let until = (at + piece).min(samples.len());
        let first = Frame(i64::try_from(at).expect("short"));
        found.extend(finder.hear(first, &samples[at..until]));
        at = until;
        if at == samples.len() {
            break;
        }
    }
    let place = |frame: Frame| usize::try_from(frame.0).expect("not before the first");
    found.into_iter().map(place).collect()
}

/// What 95 of 100 are not beyond, without sign and mean.
fn wander(late: &[f64]) -> (f64, f64) {
    let mean = late.iter().sum::<f64>() / real(late.len());
    let mut off: Vec<f64> = late.iter().map(|late| (late - mean).abs()).collect();
    off.sort_by(f64::total_cmp);
    (mean, off[(off.len() * 95 / 100).min(off.len() - 1)])
}

#[test]
fn claps_are_found_in_silence() {
    let late: Vec<f64> = (0..8)
        .flat_map(|seed| {
            let mut dice = Seed(seed).child("silence", 0).dice();
            let scene = Scene::silent(10.0).clapped(0.8, 12.0, &mut dice);
            scene.check("silence")
        })
        .collect();
    println!(
        "in silence: n, mean and 95 of 100 in ms: {} {:?}",
        late.len(),
        wander(&late)
    );
}

#[test]
fn claps_are_found_in_noise() {
    let late: Vec<f64> = (0..8)
        .flat_map(|seed| {
            let mut dice = Seed(seed).child("noise", 0).dice();
            let scene = Scene::silent(10.0).clapped(0.4, 0.0, &mut dice);
            scene
                .in_noise(0.4 * factor(-30.0), &mut dice)
                .check("noise")
        })
        .collect();
    println!(
        "in noise: n, mean and 95 of 100 in ms: {} {:?}",
        late.len(),
        wander(&late)
    );
}

/// A guitar phrase of a family, its peak at `peak`.
fn guitar(family: Family, seed: u64, peak: f64) -> Vec<f32> {
    let recipe = Recipe::new(RecipeParts {
        patterns: vec![Pattern::SIX],
        families: vec![family],
        feels: vec![Feel::Threes],
        tempo: (120, 220),
        pacing: Pacing::Steady,
        rival: Rival::None,
        cycles: (4, 4),
        entries: vec![Entry::One],
        bell: Bell::None,
    });
    let wanted = Wanted {
        feel: Feel::Threes,
        level: Level::of_tenths(60),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let made = make(&recipe.expect("a possible recipe"), &wanted, Seed(seed));
    let pcm = render(made.expect("one right answer").phrase(), RATE, Seed(seed));
    let mono = pcm.mono();
    let loudest = mono.iter().fold(0.0_f32, |most, x| most.max(x.abs()));
    mono.iter().map(|x| x * single(peak) / loudest).collect()
}

#[test]
fn claps_are_found_over_a_guitar_and_a_guitar_is_no_clap() {
    let mut late = Vec::new();
    for family in FAMILIES {
        for seed in 0..4 {
            let mut dice = Seed(seed).child(family.id(), 0).dice();
            let samples = guitar(family, seed, 0.5 * factor(-12.0));
            let alone = Scene {
                samples,
                truth: Vec::new(),
            };
            // A stopped chord is a clap in all but colour: only claps that were heard tell it.
            if family != Family::Stopped {
                alone.check(family.id());
            }
            let mut after_claps = Scene::silent(2.5).clapped(0.5, 0.0, &mut dice);
            after_claps.samples.extend(&alone.samples);
            after_claps.check(family.id());
            late.extend(alone.clapped(0.5, 0.0, &mut dice).check(family.id()));
        }
    }
    println!(
        "over guitars: n, mean and 95 of 100 in ms: {} {:?}",
        late.len(),
        wander(&late)
    );
}

#[test]
fn the_programs_own_claps_are_found() {
    let silent = Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_pulses_a_minute(180).expect("in range").into(),
        n_cycles: 8,
        entry: 0,
        feel: Feel::Either,
        notes: Vec::new(),
    };
    for touch in [Touch::Sorda, Touch::Clara] {
        let phrase = silent.clapped(&[Layer::every(Cycle::SIX, 1)], touch);
        let timeline = Timeline::of(&phrase, RATE);
        let truth = (0..48).map(|pulse| timeline.frame_of(Tick::of_pulse(pulse)).0);
        let scene = Scene {
            samples: render(&phrase, RATE, Seed(1)).mono(),
            truth: truth
                .map(|n| usize::try_from(n).expect("positive"))
                .collect(),
        };
        let late = scene.check(&format!("{touch:?}"));
        println!("{touch:?}: mean and 95 of 100 in ms: {:?}", wander(&late));
    }
}

proptest! {
    #[test]
    fn how_sound_is_cut_changes_nothing(
        seed in 0_u64..1_000,
        pieces in prop::collection::vec(1_usize..5_000, 1..8),
    ) {
        let mut dice = Seed(seed).dice();
        let scene = Scene::silent(2.0).clapped(0.5, 12.0, &mut dice).in_noise(0.003, &mut dice);
        let whole = heard_in(&scene.samples, &[scene.samples.len()]);
        prop_assert!(!whole.is_empty());
        for pieces in [&[1][..], &[64], &[480], &pieces] {
            prop_assert_eq!(&heard_in(&scene.samples, pieces), &whole);
        }
    }
}

#[test]
fn broken_samples_poison_nothing() {
    let mut dice = Seed(1).dice();
    let scene = Scene::silent(4.0).clapped(0.5, 6.0, &mut dice);
    let mut broken = scene.clone();
    // In the silence before each clap, where they are no loss.
    let bad = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -f32::NAN];
    for &at in &scene.truth {
        broken.samples[at - 64..at].copy_from_slice(&bad.repeat(16));
    }
    let found = broken.check("broken samples");
    assert_eq!(found.len(), scene.truth.len());
    // Beyond all bounds is a thump that does not last.
    let mut finder = ClapFinder::new(RATE);
    finder.hear(Frame(0), &[f32::MAX; 480]);
    assert!(finder.hear(Frame(480), &[f32::NAN; 48_000]).is_empty());
    let n = scene.samples.len();
    assert_eq!(
        finder.hear(Frame(48_480), &scene.samples).len(),
        scene.truth.len(),
        "{n}"
    );
}

#[test]
fn a_gap_is_no_clap_and_moves_none() {
    let mut dice = Seed(2).dice();
    let scene = Scene::silent(4.0)
        .clapped(0.5, 0.0, &mut dice)
        .in_noise(0.01, &mut dice);
    let (before, after) = scene.samples.split_at(scene.truth[3] - 4_800);
    let mut finder = ClapFinder::new(RATE);
    assert_eq!(finder.hear(Frame(0), before).len(), 3);
    let gap = 1_000_000;
    let first = gap + i64::try_from(before.len()).expect("short");
    let found = finder.hear(Frame(first), after);
    assert_eq!(found.len(), scene.truth.len() - 3);
    for (found, &truth) in found.iter().zip(&scene.truth[3..]) {
        let expected = gap + i64::try_from(truth).expect("short");
        assert!((found.0 - expected).abs() < 100, "{found:?} for {expected}");
    }
}

#[test]
fn what_goes_on_is_no_clap() {
    let mut dice = Seed(3).dice();
    // Hisses of 60 ms to a second, which begin and end at once.
    let mut scene = Scene::silent(0.5);
    for _ in 0..12 {
        let hiss = Scene::silent(dice.real(0.06, 1.0)).in_noise(0.2, &mut dice);
        scene.samples.extend(hiss.samples);
        scene
            .samples
            .extend(Scene::silent(dice.real(0.2, 0.6)).samples);
    }
    scene.check("hisses");
}
