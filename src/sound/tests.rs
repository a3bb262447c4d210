//! Sound is tested by measuring samples, as `sin` differs between systems.

use realfft::RealFftPlanner;

use super::*;
use crate::pcm::{Frames, Pcm, SampleRate, loudness, true_peak};
use crate::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use crate::rhythm::{Cycle, Feel, Layer, Tempo, Tick, Ticks};
use crate::world::Seed;

const RATE: SampleRate = SampleRate::HZ_48000;
const ALL: [Touch; 11] = [
    Touch::Thumb,
    Touch::Finger,
    Touch::Down,
    Touch::Up,
    Touch::Roll,
    Touch::Stopped,
    Touch::Golpe,
    Touch::GolpeSoft,
    Touch::Sorda,
    Touch::Clara,
    Touch::Bell,
];

fn phrase(n_cycles: u32, notes: Vec<Note>) -> Phrase {
    Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_pulses_a_minute(160).expect("in range").into(),
        n_cycles,
        entry: 0,
        feel: Feel::Threes,
        notes,
    }
}

fn note(at: i64, touch: Touch, pitch: u8) -> Note {
    let (voice, pitch) = match touch {
        Touch::Thumb => (Voice::Bass, Some(Pitch(pitch))),
        Touch::Finger => (Voice::Line, Some(Pitch(pitch))),
        Touch::Down | Touch::Up | Touch::Roll | Touch::Stopped => {
            (Voice::Chords, Some(Pitch(pitch)))
        }
        Touch::Golpe | Touch::GolpeSoft => (Voice::Strike, None),
        Touch::Sorda | Touch::Clara | Touch::Bell => (Voice::Claps, None),
    };
    Note {
        at: Tick::of_pulse(at),
        delay: 0,
        length: Ticks::of_pulses(2),
        voice,
        pitch,
        loudness: Loudness(0),
        touch,
    }
}

/// The pitch on which a touch is used most.
fn usual(touch: Touch) -> u8 {
    match touch {
        Touch::Thumb => 45,
        _ => 64,
    }
}

/// A full phrase: bass, six strings strummed down or up, a line, knocks and claps.
fn full(n_cycles: u32) -> Phrase {
    let mut notes = Vec::new();
    for pulse in 0..6 * i64::from(n_cycles) {
        let strum = [Touch::Down, Touch::Up][usize::from(pulse % 2 == 1)];
        for (string, pitch) in (0..).zip([40, 47, 52, 56, 59, 64]) {
            notes.push(Note {
                delay: 4_000 * string,
                loudness: Loudness(-78),
                ..note(pulse, strum, pitch)
            });
        }
        notes.push(note(
            pulse,
            Touch::Finger,
            [69, 68, 66][usize::from(pulse % 3 == 0)],
        ));
        if pulse % 3 == 0 {
            notes.push(note(pulse, Touch::Thumb, 41));
        }
        if pulse % 2 == 0 {
            notes.push(note(pulse, Touch::Golpe, 0));
        }
    }
    phrase(n_cycles, notes).clapped(&[Layer::every(Cycle::SIX, 3)], Touch::Sorda)
}

/// The K-weighted level of a part of `pcm` in decibels.
fn level(pcm: &Pcm, from: usize, n_frames: usize) -> f64 {
    let power: f64 = (0..2)
        .map(|channel| {
            let samples = pcm
                .frames()
                .skip(from)
                .take(n_frames)
                .map(|frame| frame[channel]);
            filter::weighted_power(samples, pcm.rate())
        })
        .sum();
    10.0 * power.log10()
}

#[test]
fn strokes_are_equally_loud() {
    // One phrase, so that all pass through the same master: each touch alone on every fourth pulse.
    let at = |n: usize| 4 * i64::try_from(n).expect("small");
    let notes = ALL.iter().enumerate();
    let notes = notes.map(|(n, &touch)| Note {
        length: Ticks::of_pulses(1),
        ..note(at(n), touch, usual(touch))
    });
    let phrase = phrase(8, notes.collect());
    let timeline = Timeline::of(&phrase, RATE);
    let sounds: Vec<Pcm> = (0..8)
        .map(|seed| render(&phrase, RATE, Seed(seed)))
        .collect();
    let level = |n: usize| {
        let frame = timeline.frame_of(Tick::of_pulse(at(n))).0;
        let from = usize::try_from(frame).expect("inside");
        sounds
            .iter()
            .map(|pcm| level(pcm, from, 4_800))
            .sum::<f64>()
            / 8.0
    };
    let levels: Vec<f64> = (0..ALL.len()).map(level).collect();
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    assert!(
        levels.iter().all(|level| (level - mean).abs() < 0.5),
        "{levels:?}"
    );
}

#[test]
fn pitch_does_not_change_loudness() {
    for (touch, pitches) in [(Touch::Thumb, 40..60), (Touch::Finger, 52..84)] {
        let levels: Vec<f64> = pitches
            .map(|pitch| {
                // The same knock in each keeps the master where it is.
                let phrase = phrase(2, vec![note(0, touch, pitch), note(6, Touch::Golpe, 0)]);
                let pcm = render(&phrase, RATE, Seed(1));
                level(&pcm, 0, 4_800) - level(&pcm, 108_000, 4_800)
            })
            .collect();
        let mean = levels.iter().sum::<f64>() / levels.len() as f64;
        assert!(
            levels.iter().all(|level| (level - mean).abs() < 1.0),
            "{levels:?}"
        );
    }
}

#[test]
fn a_strum_of_balanced_strings_is_one_stroke() {
    for strum in [Touch::Down, Touch::Up] {
        let strings = (0..).zip([40, 47, 52, 56, 59, 64]);
        let mut notes: Vec<Note> = strings
            .map(|(string, pitch)| Note {
                delay: 4_000 * string,
                // A sixth of the energy each: 10 log10(1/6) = -7.8 dB.
                loudness: Loudness(-78),
                ..note(0, strum, pitch)
            })
            .collect();
        notes.push(note(6, Touch::Finger, 64));
        let pcm = render(&phrase(2, notes), RATE, Seed(1));
        let size = level(&pcm, 0, 4_800) - level(&pcm, 108_000, 4_800);
        assert!(size.abs() < 1.5, "{strum:?}: {size}");
    }
}

#[test]
fn an_accent_is_as_large_as_it_says() {
    for touch in [Touch::Thumb, Touch::Finger, Touch::Golpe, Touch::Clara] {
        let accent = Note {
            loudness: Loudness(60),
            ..note(6, touch, usual(touch))
        };
        // Not alone: the peaks of two knocks in silence would be cut at the common loudness.
        let mut notes = vec![note(0, touch, usual(touch)), accent];
        notes.extend([1, 2, 3, 4, 7, 8, 9, 10].map(|at| Note {
            length: Ticks::of_pulses(1),
            ..note(at, Touch::Finger, 52)
        }));
        let phrase = phrase(2, notes);
        let size = |seed| {
            let pcm = render(&phrase, RATE, Seed(seed));
            level(&pcm, 108_000, 4_800) - level(&pcm, 0, 4_800)
        };
        // Strokes differ a little by their grain.
        let size = (0..8).map(size).sum::<f64>() / 8.0;
        // Claps by themselves are nearly all peak, of which the ceiling takes a little.
        assert!((size - 6.0).abs() < 0.6, "{touch:?}: {size}");
    }
}

#[test]
fn onsets_are_where_the_timeline_says() {
    for touch in ALL {
        let late = Note {
            delay: 1_234,
            ..note(3, touch, usual(touch))
        };
        let phrase = phrase(2, vec![late]);
        let pcm = render(&phrase, RATE, Seed(2));
        let threshold = 0.003 * pcm.peak();
        let first = pcm
            .frames()
            .position(|frame| frame[0].abs().max(frame[1].abs()) > threshold);
        let expected = Timeline::of(&phrase, RATE).onset(&late).0;
        let first = i64::try_from(first.expect("it sounds")).expect("short");
        assert!(
            (first - expected).abs() <= 1,
            "{touch:?}: {first} for {expected}"
        );
    }
}

/// The strongest frequency within a semitone of `near`, by the peak of a windowed spectrum.
fn strongest(samples: &[f32], near: f64) -> f64 {
    const N: usize = 1 << 18;
    let turn = |n: usize| std::f64::consts::TAU * n as f64 / samples.len() as f64;
    // Blackman's window, then zeros: its main lobe is a parabola in decibels near the top.
    let window = |n: usize| 0.42 - 0.5 * turn(n).cos() + 0.08 * (2.0 * turn(n)).cos();
    let mut row: Vec<f64> = samples
        .iter()
        .enumerate()
        .map(|(n, &x)| f64::from(x) * window(n))
        .collect();
    row.resize(N, 0.0);
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(N);
    let mut spectrum = plan.make_output_vec();
    plan.process(&mut row, &mut spectrum).expect("lengths fit");
    let bin = 48_000.0 / N as f64;
    let db = |k: usize| 10.0 * spectrum[k].norm_sqr().log10();
    let (low, high) = ((near / 1.06 / bin) as usize, (near * 1.06 / bin) as usize);
    let top = (low..=high)
        .max_by(|&a, &b| db(a).total_cmp(&db(b)))
        .expect("not empty");
    let (left, mid, right) = (db(top - 1), db(top), db(top + 1));
    bin * (top as f64 + 0.5 * (left - right) / (left - 2.0 * mid + right))
}

#[test]
fn strings_are_in_tune() {
    // Equal temperament with A at 440 Hz (ISO 16:1975), in hertz: the open strings and some frets.
    let expected = [
        (40, 82.406_889_228_217_5),
        (45, 110.0),
        (50, 146.832_383_958_703_8),
        (55, 195.997_717_990_874_63),
        (59, 246.941_650_628_062_06),
        (64, 329.627_556_912_869_9),
        (69, 440.0),
        (76, 659.255_113_825_739_8),
    ];
    for (pitch, hz) in expected {
        for touch in [Touch::Thumb, Touch::Finger] {
            let held = Note {
                length: Ticks::of_pulses(6),
                ..note(0, touch, pitch)
            };
            let pcm = render(&phrase(1, vec![held]), RATE, Seed(3));
            let mono = pcm.mono();
            let cents = 1_200.0 * (strongest(&mono[4_800..96_000], hz) / hz).log2();
            assert!(cents.abs() < 2.0, "{pitch} {touch:?}: {cents} cents");
        }
    }
}

/// The share in decibels of the energy in the first 200 ms that lies above 1.2 kHz.
fn bright(touch: Touch, pitch: u8) -> f64 {
    let pcm = render(&phrase(1, vec![note(0, touch, pitch)]), RATE, Seed(4));
    let mut row: Vec<f64> = pcm.mono().into_iter().take(9_600).map(f64::from).collect();
    // Half a window, as what is measured begins at once but may still ring at the end.
    for (n, x) in row.iter_mut().enumerate() {
        *x *= (std::f64::consts::FRAC_PI_2 * n as f64 / 9_600.0).cos();
    }
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(9_600);
    let mut spectrum = plan.make_output_vec();
    plan.process(&mut row, &mut spectrum).expect("lengths fit");
    let energy: Vec<f64> = spectrum.iter().map(|bin| bin.norm_sqr()).collect();
    // A bin is 5 Hz.
    10.0 * (energy[240..].iter().sum::<f64>() / energy.iter().sum::<f64>()).log10()
}

#[test]
fn every_fret_is_in_tune() {
    for pitch in 40..=88 {
        let hz = 440.0 * 2.0_f64.powf((f64::from(pitch) - 69.0) / 12.0);
        let held = Note {
            length: Ticks::of_pulses(6),
            ..note(0, Touch::Finger, pitch)
        };
        let mono = render(&phrase(1, vec![held]), RATE, Seed(3)).mono();
        let cents = 1_200.0 * (strongest(&mono[4_800..72_000], hz) / hz).log2();
        assert!(cents.abs() < 2.0, "{pitch}: {cents} cents");
    }
}

/// How alike a string is to itself a period later, from 5 ms on: 1 of a pure tone.
fn tonal(touch: Touch, pitch: u8, seed: u64) -> f64 {
    let mono = render(&phrase(1, vec![note(0, touch, pitch)]), RATE, Seed(seed)).mono();
    let hz = 440.0 * 2.0_f64.powf((f64::from(pitch) - 69.0) / 12.0);
    let period = units::count(48_000.0 / hz);
    let (now, later) = (&mono[240..3_120], &mono[240 + period..3_120 + period]);
    let product = |a: &[f32], b: &[f32]| -> f64 {
        let pairs = a.iter().zip(b);
        pairs.map(|(a, b)| f64::from(*a) * f64::from(*b)).sum()
    };
    product(now, later) / (product(now, now) * product(later, later)).sqrt()
}

#[test]
fn a_stopped_stroke_is_a_thud_with_hardly_a_pitch() {
    for pitch in [40, 45, 50, 55, 59, 64, 69] {
        let mean = |touch| (0..8).map(|seed| tonal(touch, pitch, seed)).sum::<f64>() / 8.0;
        let (stopped, ringing) = (mean(Touch::Stopped), mean(Touch::Down));
        assert!(ringing > 0.95, "{pitch}: {ringing}");
        assert!(stopped < 0.7, "{pitch}: {stopped}");
        // In 70 ms it is 20 dB softer than in its first 10, where a string has hardly begun.
        let fall = |touch| {
            let pcm = render(&phrase(1, vec![note(0, touch, pitch)]), RATE, Seed(3));
            level(&pcm, 0, 480) - level(&pcm, 3_360, 480)
        };
        let (stopped, ringing) = (fall(Touch::Stopped), fall(Touch::Down));
        assert!(stopped > 20.0, "{pitch}: {stopped} dB");
        assert!(ringing < 6.0, "{pitch}: {ringing} dB");
    }
}

#[test]
fn hands_are_told_apart_by_brightness() {
    // From dull to bright, each by so many decibels that it is heard.
    let orders: [(&[(Touch, u8)], f64); 4] = [
        (
            &[(Touch::Thumb, 52), (Touch::Finger, 52), (Touch::Roll, 52)],
            4.0,
        ),
        (
            &[(Touch::Down, 52), (Touch::Up, 52), (Touch::Roll, 52)],
            1.5,
        ),
        (&[(Touch::Sorda, 0), (Touch::Clara, 0)], 6.0),
        (&[(Touch::GolpeSoft, 0), (Touch::Golpe, 0)], 8.0),
    ];
    for (order, step) in orders {
        let shares: Vec<f64> = order
            .iter()
            .map(|&(touch, pitch)| bright(touch, pitch))
            .collect();
        let rises = shares.windows(2).all(|pair| pair[0] + step < pair[1]);
        assert!(rises, "{order:?}: {shares:?}");
    }
}

#[test]
fn a_stopped_string_is_silent() {
    let short = Note {
        length: Ticks::of_pulses(1),
        ..note(0, Touch::Finger, 64)
    };
    let pcm = render(&phrase(2, vec![short]), RATE, Seed(5));
    // A pulse is 18,000 frames; 30 ms to stop and the room's ring are 30,240 more.
    let db = level(&pcm, 50_000, 9_600) - level(&pcm, 0, 9_600);
    assert!(db < -60.0, "{db}");
}

#[test]
fn peaks_and_loudness_are_bounded() {
    let touches = ALL.map(|touch| {
        let notes = (0..24).map(|at| note(at, touch, usual(touch)));
        render(&phrase(4, notes.collect()), RATE, Seed(7))
    });
    let mut sounds = touches.to_vec();
    sounds.push(render(&full(4), RATE, Seed(7)));
    sounds.push(render_loop(&full(4), RATE, Seed(7)));
    for pcm in sounds {
        let peak = true_peak(&pcm).expect("it sounds");
        assert!(peak <= -1.0, "{peak}");
        // Of knocks alone the peaks are turned down, and some of their loudness with them.
        let lufs = loudness(&pcm).expect("it sounds");
        assert!((-27.0..-25.5).contains(&lufs), "{lufs}");
    }
}

#[test]
fn nothing_leaps_out_of_the_running_level() {
    // The strongest accent that can be made, in the softest company: a clap over a line.
    let mut notes: Vec<Note> = (0..48).map(|at| note(at, Touch::Finger, 64)).collect();
    for at in (0..48).step_by(6) {
        notes.push(Note {
            loudness: Loudness(400),
            ..note(at, Touch::Clara, 0)
        });
    }
    let pcm = render(&phrase(8, notes), RATE, Seed(8));
    let running = loudness(&pcm).expect("it sounds");
    // 125 ms is the "fast" time of sound level meters (IEC 61672-1).
    let fast = (0..pcm.micros() / 125_000 - 1).map(|n| {
        let from = usize::try_from(n).expect("not negative") * 6_000;
        level(&pcm, from, 6_000) - 0.691
    });
    let above = fast.fold(f64::MIN, f64::max) - running;
    assert!(above <= 12.0, "{above}");
}

#[test]
fn a_loop_is_exactly_its_cycles_and_goes_round() {
    let phrase = full(2);
    let pcm = render_loop(&phrase, RATE, Seed(9));
    assert_eq!(pcm.n_frames(), Frames(216_000));
    assert_eq!(pcm.n_frames(), Timeline::of(&phrase, RATE).n_frames());
    // The first stroke of the loop comes on top of what rings from its end: no jump at the seam
    // that is not in the stroke itself, so the last frames are not faded away.
    let seam = level(&pcm, 216_000 - 2_400, 2_400) - level(&pcm, 108_000 - 2_400, 2_400);
    assert!(seam.abs() < 1.5, "{seam}");
}

#[test]
fn what_rings_beyond_the_end_is_heard_at_the_beginning() {
    let last = Note {
        length: Ticks::of_pulses(4),
        ..note(10, Touch::Finger, 64)
    };
    let pcm = render_loop(&phrase(2, vec![last]), RATE, Seed(10));
    let (left, right) = (pcm.samples()[0], pcm.samples()[pcm.samples().len() - 2]);
    // A string at 330 Hz moves by a tenth of its swing from one frame to the next at most.
    let mono = pcm.mono();
    let swing = mono[..2_400]
        .iter()
        .fold(0.0_f32, |peak, x| peak.max(x.abs()));
    assert!((left - right).abs() < 0.2 * swing, "{left} {right} {swing}");
    // Within the 60 ms around the seam a string at 330 Hz fades by 1.2 dB by itself.
    let power = |part: &[f32]| part.iter().map(|x| f64::from(x * x)).sum::<f64>();
    let seam = 10.0 * (power(&mono[..1_440]) / power(&mono[216_000 - 1_440..])).log10();
    assert!((-2.0..0.0).contains(&seam), "{seam}");
}

#[test]
fn the_same_seed_makes_the_same_samples() {
    let phrase = full(2);
    assert_eq!(
        render(&phrase, RATE, Seed(11)),
        render(&phrase, RATE, Seed(11))
    );
    assert_ne!(
        render(&phrase, RATE, Seed(11)),
        render(&phrase, RATE, Seed(12))
    );
}

#[test]
fn any_note_at_any_rate_is_finite_sound() {
    for hz in [1, 100, 8_000, 44_100, 192_000] {
        let rate = SampleRate::new(hz).expect("not zero");
        for pitch in [0, 127, 255] {
            let notes = ALL.map(|touch| Note {
                pitch: Some(Pitch(pitch)),
                loudness: Loudness(i16::MAX),
                delay: -40_000,
                length: Ticks(0),
                ..note(0, touch, pitch)
            });
            let pcm = render_loop(&phrase(1, notes.to_vec()), rate, Seed(13));
            assert!(pcm.samples().iter().all(|x| x.abs() <= 1.0), "{hz} {pitch}");
        }
    }
}
