//! Strings and claps lie where real ones do.
//!
//! `tests/reference/scripts/measure_real_sounds.py` measures notes of two guitars and hand claps and
//! writes their ranges to `tests/reference/fixtures/real_sounds.json`. Here the program's own sounds
//! are measured by the definitions that the script opens with, written anew.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "tests compute with small known numbers"
)]

use std::f64::consts::TAU;
use std::ops::RangeInclusive;

use contrapalma::pcm::SampleRate;
use contrapalma::phrase::{Loudness, Note, Phrase, Pitch, Touch, Voice};
use contrapalma::rhythm::{Cycle, Feel, Tempo, Tick, Ticks};
use contrapalma::sound::render;
use contrapalma::world::Seed;
use realfft::RealFftPlanner;
use serde_json::Value;

const RATE: usize = 48_000;

fn fixture() -> Value {
    let text = include_str!("../reference/fixtures/real_sounds.json");
    serde_json::from_str(text).expect("the fixture is JSON")
}

fn range(of: &Value, n: u64) -> RangeInclusive<f64> {
    assert_eq!(of["n"], n, "a shortened fixture proves nothing");
    of["least"].as_f64().expect("a number")..=of["most"].as_f64().expect("a number")
}

fn played(ppm: i64, n_cycles: u32, notes: Vec<Note>, seed: u64) -> Vec<f64> {
    let phrase = Phrase {
        cycle: Cycle::SIX,
        pace: Tempo::of_pulses_a_minute(ppm).expect("in range").into(),
        n_cycles,
        entry: 0,
        feel: Feel::Threes,
        notes,
    };
    let pcm = render(&phrase, SampleRate::HZ_48000, Seed(seed));
    pcm.mono().into_iter().map(f64::from).collect()
}

fn note(at: i64, touch: Touch, pitch: Option<u8>) -> Note {
    Note {
        at: Tick::of_pulse(at),
        delay: 0,
        length: Ticks::of_pulses(1),
        voice: pitch.map_or(Voice::Claps, |_| Voice::Line),
        pitch: pitch.map(Pitch),
        loudness: Loudness(0),
        touch,
    }
}

fn hann(n: usize, n_all: usize) -> f64 {
    0.5 - 0.5 * (TAU * n as f64 / n_all as f64).cos()
}

fn blackman(n: usize, n_all: usize) -> f64 {
    let turn = TAU * n as f64 / n_all as f64;
    0.42 - 0.5 * turn.cos() + 0.08 * (2.0 * turn).cos()
}

/// The power in each bin of `part` under a window, with zeros up to `n_fft`.
fn power(part: &[f64], window: fn(usize, usize) -> f64, n_fft: usize) -> Vec<f64> {
    let weighted = part.iter().enumerate();
    let mut row: Vec<f64> = weighted.map(|(n, x)| x * window(n, part.len())).collect();
    row.resize(n_fft, 0.0);
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(n_fft);
    let mut spectrum = plan.make_output_vec();
    plan.process(&mut row, &mut spectrum).expect("lengths fit");
    spectrum.iter().map(|bin| bin.norm_sqr()).collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    assert!(!values.is_empty(), "nothing was measured");
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    if values.len() % 2 == 1 {
        values[half]
    } else {
        0.5 * (values[half - 1] + values[half])
    }
}

/// Slope and start of the line through `points` by least squares.
fn line(points: &[(f64, f64)]) -> (f64, f64) {
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|point| point.0), mean(|point| point.1));
    let both: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    let slope = both / points.iter().map(|p| (p.0 - x).powi(2)).sum::<f64>();
    (slope, y - slope * x)
}

/// A string that sounds, with its partials as (number, hertz).
struct Strung {
    samples: Vec<f64>,
    onset: usize,
    partials: Vec<(f64, f64)>,
}

impl Strung {
    /// Held for three seconds.
    fn plucked(touch: Touch, pitch: u8) -> Self {
        let samples = played(20, 1, vec![note(0, touch, Some(pitch))], 1);
        let blocks: Vec<f64> = samples
            .chunks_exact(RATE / 1_000)
            .map(|block| block.iter().map(|x| x * x).sum())
            .collect();
        let most = blocks.iter().copied().fold(0.0, f64::max);
        let first = blocks.iter().position(|&power| power >= 0.1 * most);
        let onset = first.expect("it sounds") * (RATE / 1_000);
        let nominal = 440.0 * 2.0_f64.powf((f64::from(pitch) - 69.0) / 12.0);
        let start = onset + RATE / 10;
        let partials = partials(&samples[start..start + RATE], nominal);
        Self {
            samples,
            onset,
            partials,
        }
    }

    fn inharmonicity(&self) -> f64 {
        let high = self.partials.iter().filter(|(n, _)| *n >= 3.0);
        let points: Vec<_> = high.map(|(n, hz)| (n * n, (hz / n).powi(2))).collect();
        let (slope, start) = line(&points);
        slope / start
    }

    /// In decibels, from `after` frames after the onset.
    fn level(&self, after: usize, n_frames: usize, hz: f64) -> f64 {
        let part = &self.samples[self.onset + after..self.onset + after + n_frames];
        let (mut re, mut im) = (0.0, 0.0);
        for (n, x) in part.iter().enumerate() {
            let (sin, cos) = (TAU * hz * n as f64 / RATE as f64).sin_cos();
            re += x * hann(n, n_frames) * cos;
            im += x * hann(n, n_frames) * sin;
        }
        20.0 * (re.hypot(im) / n_frames as f64 + 1e-12).log10()
    }

    /// The median decay of some partials in dB/s.
    fn decay(&self, numbers: RangeInclusive<f64>) -> f64 {
        let asked = self.partials.iter().filter(|(n, _)| numbers.contains(n));
        median(asked.filter_map(|&(_, hz)| self.decay_of(hz)).collect())
    }

    fn decay_of(&self, hz: f64) -> Option<f64> {
        let times = (0..37).map(|k| RATE / 10 + k * RATE / 40);
        let level = |at: usize| (at as f64 / RATE as f64, self.level(at, RATE / 10, hz));
        let points: Vec<_> = times.map(level).collect();
        let good = points.iter().position(|point| point.1 < points[0].1 - 40.0);
        let good = &points[..good.unwrap_or(points.len())];
        (good.len() >= 8).then(|| -line(good).0)
    }

    fn brightness(&self, after: usize, n_frames: usize) -> f64 {
        let (mut sum, mut all) = (0.0, 0.0);
        for &(n, hz) in &self.partials {
            let amplitude = 10.0_f64.powf(self.level(after, n_frames, hz) / 20.0);
            sum += n * amplitude;
            all += amplitude;
        }
        sum / all
    }
}

fn partials(part: &[f64], nominal: f64) -> Vec<(f64, f64)> {
    const N_FFT: usize = 1 << 18;
    let bin = RATE as f64 / N_FFT as f64;
    let db: Vec<f64> = power(part, blackman, N_FFT)
        .into_iter()
        .map(|power| 10.0 * (power + 1e-30).log10())
        .collect();
    let peak = |low: f64, high: f64| {
        let (low, high) = ((low / bin) as usize, (high / bin) as usize);
        let top = (low..=high).max_by(|&a, &b| db[a].total_cmp(&db[b]));
        let top = top.expect("not empty");
        let (left, mid, right) = (db[top - 1], db[top], db[top + 1]);
        let hz = bin * (top as f64 + 0.5 * (left - right) / (left - 2.0 * mid + right));
        (hz, mid - median(db[low..=high].to_vec()))
    };
    let (f0, _) = peak(nominal / 1.06, nominal * 1.06);
    let (mut found, mut last) = (vec![(1.0, f0)], (1.0, f0));
    for n in 2..=12 {
        let n = f64::from(n);
        let near = n * last.1 / last.0;
        let (hz, above) = peak(near - 0.3 * f0, near + 0.3 * f0);
        if above >= 20.0 {
            last = (n, hz);
            found.push(last);
        }
    }
    found
}

#[test]
fn strings_fade_and_shine_as_real_ones() {
    let real = &fixture()["strings"];
    let real = |name: &str| range(&real[name], 12);
    // The open strings, as they are played: the thumb takes the wound ones, the fingers the others.
    let thumb = [40, 45, 50].map(|pitch| (Touch::Thumb, pitch));
    let fingers = [55, 59, 64].map(|pitch| (Touch::Finger, pitch));
    for (touch, pitch) in thumb.into_iter().chain(fingers) {
        let string = Strung::plucked(touch, pitch);
        let ours = [
            ("inharmonicity", string.inharmonicity()),
            ("decay_1_to_4", string.decay(1.0..=4.0)),
            ("decay_5_to_8", string.decay(5.0..=8.0)),
            ("decay_9_to_12", string.decay(9.0..=12.0)),
            ("brightness_first", string.brightness(0, RATE / 20)),
            ("brightness_later", string.brightness(RATE / 2, RATE / 10)),
        ];
        for (name, value) in ours {
            let range = real(name);
            let at = format!("{touch:?} {pitch}, {name}");
            assert!(range.contains(&value), "{at}: {value} is not in {range:?}");
        }
    }
}

#[test]
fn nails_on_wound_strings_are_a_little_brighter_than_the_real_plucks() {
    // They do not lie in the range: the real notes are plucked softly over the hole, nails pluck
    // nearer to the bridge, which is what tells fingers from the thumb. By a quarter at most.
    let most = *range(&fixture()["strings"]["brightness_first"], 12).end();
    for pitch in [40, 45, 50] {
        for touch in [Touch::Finger, Touch::Down] {
            let value = Strung::plucked(touch, pitch).brightness(0, RATE / 20);
            assert!(value < 1.25 * most, "{touch:?} {pitch}: {value}");
        }
    }
}

/// What is measured of a clap.
#[derive(Debug)]
struct Clap {
    length: f64,
    spread: f64,
    brightness: f64,
}

impl Clap {
    fn of(samples: &[f64]) -> Self {
        let width = RATE / 500;
        let window: Vec<f64> = (0..width).map(|n| hann(n, width)).collect();
        let squares: Vec<f64> = samples.iter().map(|x| x * x).collect();
        let smooth = |middle: usize| -> f64 {
            let weights = window.iter().enumerate();
            let inside = weights.filter_map(|(n, weight)| {
                let at = (middle + n).checked_sub(width / 2)?;
                squares.get(at).map(|square| weight * square)
            });
            inside.sum()
        };
        let envelope: Vec<f64> = (0..samples.len()).map(smooth).collect();
        let least = 0.01 * envelope.iter().copied().fold(0.0, f64::max);
        let first = envelope.iter().position(|&power| power >= least);
        let last = envelope.iter().rposition(|&power| power >= least);
        let (first, last) = first.zip(last).expect("it sounds");
        Self {
            length: (last - first) as f64 / RATE as f64,
            spread: spread(&squares),
            brightness: centroid(&samples[first..first + RATE / 20]),
        }
    }
}

/// Seconds from a tenth of the energy to nine tenths.
fn spread(squares: &[f64]) -> f64 {
    let all: f64 = squares.iter().sum();
    let mut so_far = 0.0;
    let energy = squares.iter().map(|square| {
        so_far += square / all;
        so_far
    });
    let between = energy.filter(|share| (0.1..0.9).contains(share)).count();
    between as f64 / RATE as f64
}

/// Of the power spectrum from 100 Hz to 12 kHz, in hertz.
fn centroid(part: &[f64]) -> f64 {
    let bin = RATE as f64 / part.len() as f64;
    let (mut sum, mut all) = (0.0, 0.0);
    for (k, power) in power(part, hann, part.len()).into_iter().enumerate() {
        let hz = k as f64 * bin;
        if (100.0..=12_000.0).contains(&hz) {
            sum += hz * power;
            all += power;
        }
    }
    sum / all
}

/// Two hundred claps, each drawn from a seed of its own, 0.4 s apart.
fn claps(touch: Touch) -> Vec<Clap> {
    let notes = (0..200).map(|n| note(2 * n, touch, None)).collect();
    let samples = played(300, 67, notes, 1);
    let each = samples.chunks_exact(2 * RATE / 5).take(200);
    // Half of the gap, so that the room of the clap is in it and no other clap.
    each.map(|part| Clap::of(&part[..RATE / 5])).collect()
}

#[test]
fn claps_are_as_short_as_real_ones_and_never_a_flam() {
    let real = &fixture()["claps"];
    let alone = |name: &str| range(&real["alone"][name], 4);
    let group = |name: &str| range(&real["groups"][name], 2);
    for touch in [Touch::Sorda, Touch::Clara] {
        for clap in claps(touch) {
            let text = format!("{touch:?} {clap:?}");
            // Longer than the clap of one, shorter than those groups, who do not clap at once.
            let length = *alone("length").start()..=*group("length").end();
            assert!(length.contains(&clap.length), "{text}");
            // All onsets lie within 4 ms, so that the energy of all comes at most so much later
            // than that of one. It does so in no real group here: theirs are flams. The real claps
            // were recorded close, ours sound in a small room, which adds up to a millisecond.
            assert!(
                clap.spread < alone("spread").end() + 0.004 + 0.001,
                "{text}"
            );
            assert!(clap.spread < 0.3 * group("spread").start(), "{text}");
        }
    }
}

#[test]
fn claras_are_as_bright_as_real_claps_and_sordas_duller() {
    let real = &fixture()["claps"];
    let (alone, groups) = (
        range(&real["alone"]["brightness"], 4),
        range(&real["groups"]["brightness"], 2),
    );
    let least = alone.start().min(*groups.start());
    let most = alone.end().max(*groups.end());
    for clap in claps(Touch::Clara) {
        assert!((least..=most).contains(&clap.brightness), "{clap:?}");
    }
    // No real clap here is made with cupped hands, so that sordas lie below all of them: by a third
    // and more, as they must be told from claras.
    for clap in claps(Touch::Sorda) {
        assert!(clap.brightness < 0.7 * least, "{clap:?}");
    }
}
