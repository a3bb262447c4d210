//! Loudness and true peak against the signals that the standards publish for trying a meter.
//!
//! The values are in `tests/reference/fixtures/loudness.json`, which names its sources (ITU-R
//! BS.1770-4, 2015; EBU Tech 3341); `tests/reference/scripts/make_loudness.py` computes them anew.
//! Levels are dBFS of a sine's peak, loudness LUFS, times seconds. The fixture's cases of loudness
//! range and its tables of exposure are of nothing that the program measures.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "tests compute with small known numbers"
)]

use contrapalma::pcm::{Pcm, SampleRate, loudness, true_peak};
use serde_json::Value;

use crate::level::Meter;

const RATE: u32 = 48_000;

/// The rows of a list, of which there must be `expected`: a shortened fixture proves nothing.
#[track_caller]
fn rows(name: &str, expected: usize) -> Vec<Value> {
    let text = include_str!("../reference/fixtures/loudness.json");
    let whole: Value = serde_json::from_str(text).expect("the fixture is JSON");
    let rows = whole[name].as_array().expect("a list").clone();
    assert_eq!(rows.len(), expected, "rows of {name}");
    rows
}

#[track_caller]
fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// A sine of `hz` that goes through the row's levels, each for its seconds.
fn steps(row: &Value, hz: f64) -> Vec<f32> {
    let segments = row["segments_dbfs_s"].as_array().expect("a list");
    let levels = segments.iter().flat_map(|segment| {
        let n_frames = (number(&segment[1]) * f64::from(RATE)).round() as usize;
        std::iter::repeat_n(10_f64.powf(number(&segment[0]) / 20.0), n_frames)
    });
    let wave = |(n, amplitude): (u32, f64)| {
        (amplitude * (std::f64::consts::TAU * hz * f64::from(n) / f64::from(RATE)).sin()) as f32
    };
    (0..).zip(levels).map(wave).collect()
}

/// Sound from one row of samples a channel.
fn sound(channels: &[Vec<f32>]) -> Pcm {
    let n_frames = channels[0].len();
    let frame = |n: usize| channels.iter().map(move |channel| channel[n]);
    let samples = (0..n_frames).flat_map(frame).collect();
    let n_channels = u16::try_from(channels.len()).expect("a handful");
    let rate = SampleRate::new(RATE).expect("not zero");
    Pcm::new(rate, n_channels, samples).expect("finite")
}

/// The channels of an integrated case.
fn channels(row: &Value) -> Vec<Vec<f32>> {
    match row["case"].as_str().expect("a name") {
        "3341-6 (5.0)" => [-28.0, -28.0, -24.0, -30.0, -30.0]
            .map(|db| serde_json::json!({ "segments_dbfs_s": [[db, 20.0]] }))
            .map(|row| steps(&row, 1_000.0))
            .to_vec(),
        name if name.starts_with("BS.1770") => {
            let left = steps(row, 997.0);
            vec![left.clone(), vec![0.0; left.len()]]
        }
        _ => vec![steps(row, 1_000.0); 2],
    }
}

#[test]
fn integrated_loudness() {
    let rows = rows("integrated_and_meter_cases", 9);
    let integrated: Vec<&Value> = rows.iter().filter(|row| row["meter"] == "I").collect();
    assert_eq!(integrated.len(), 7);
    for row in integrated {
        let lufs = loudness(&sound(&channels(row))).expect("not silent");
        let off = (lufs - number(&row["expected"])).abs();
        assert!(off <= number(&row["tolerance"]), "{}: {lufs}", row["case"]);
    }
}

/// The meter that the tests of the sound's level use, at the end of the signal and at every 100 ms
/// after the time at which the standard begins to read it.
#[test]
fn short_term_and_momentary_loudness() {
    let rows = rows("integrated_and_meter_cases", 9);
    let mut n_tried = 0;
    for (case, window_ms, first) in [("3341-9", 3_000, 3.0), ("3341-12", 400, 1.0)] {
        let row = rows.iter().find(|row| row["case"] == case).expect(case);
        let pcm = sound(&channels(row));
        let n_frames = pcm.samples().len() / 2;
        let mut meter = Meter::new(pcm.samples());
        let first = (first * f64::from(RATE)) as usize;
        for end in (first..=n_frames).step_by(4_800) {
            let lufs = meter.window(end, window_ms);
            let off = (lufs - number(&row["expected"])).abs();
            assert!(
                off <= number(&row["tolerance"]),
                "{case} at {end}: {lufs} LUFS"
            );
            n_tried += 1;
        }
    }
    assert!(n_tried > 150, "{n_tried}");
}

#[test]
fn true_peaks() {
    for row in rows("true_peak_cases", 5) {
        let name = row["freq"].as_str().expect("a frequency");
        let divisor: f64 = name
            .strip_prefix("fs/")
            .and_then(|text| text.parse().ok())
            .expect("a part of the rate");
        let (amplitude, degrees) = (number(&row["amplitude"]), number(&row["phase_deg"]));
        // Faded in and out over 10 ms: a sine that is cut has higher peaks at its ends.
        let faded = |n: u32| (f64::from(n.min(RATE - 1 - n)) / 480.0).min(1.0);
        let wave = |n: u32| {
            let turns = f64::from(n) / divisor;
            let angle = std::f64::consts::TAU * turns + degrees.to_radians();
            (amplitude * faded(n) * angle.sin()) as f32
        };
        let peak = true_peak(&sound(&vec![(0..RATE).map(wave).collect(); 2])).expect("not silent");
        let off = peak - number(&row["expected_dbtp"]);
        assert_eq!(row["tolerance"], "+0.2/-0.4");
        assert!((-0.4..=0.2).contains(&off), "{}: {peak}", row["case"]);
    }
}

/// How the ear's weighting goes with frequency: what a sine of full scale in both channels reads is
/// its mean square (0 dB for two channels of -3.01), the standard's offset of -0.691 dB, and the
/// response there.
#[test]
fn weighting_by_frequency() {
    for row in rows("k_response_db", 11) {
        let (hz, response) = (number(&row[0]), number(&row[1]));
        let wave = |n: u32| (std::f64::consts::TAU * hz * f64::from(n) / f64::from(RATE)).sin();
        let sine: Vec<f32> = (0..10 * RATE).map(|n| wave(n) as f32).collect();
        let lufs = loudness(&sound(&[sine.clone(), sine])).expect("not silent");
        // The blocks of 400 ms hold no whole number of turns of every frequency.
        assert!((lufs + 0.691 - response).abs() < 0.01, "{hz} Hz: {lufs}");
    }
}
