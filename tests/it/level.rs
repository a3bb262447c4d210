//! How loud the sound is, measured from outside with the meter of EBU R 128 (2020): one loudness for
//! all phrases, a ceiling for peaks, nothing that leaps out, and no jump when claps come back.
//!
//! Loudness is LUFS, peaks dBFS, positions are frames at 48 kHz.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    reason = "tests compute with small known numbers"
)]

use std::thread;

use contrapalma::pcm::{Pcm, SampleRate, loudness, true_peak};
use contrapalma::phrase::{
    Bell, Entry, Family, Level, Loudness, Note, Phrase, Purpose, Recipe, RecipeParts, Speakers,
    Touch, Voice, Wanted, make,
};
use contrapalma::rhythm::{Cycle, Feel, Layer, Pattern, TICKS_PER_PULSE, Tick};
use contrapalma::sound::{Timeline, render, render_loop};
use contrapalma::world::Seed;
use ebur128::{EbuR128, Mode};

const RATE: SampleRate = SampleRate::HZ_48000;
/// How long a stroke is measured: the time "fast" of sound level meters (IEC 61672-1).
const FAST_MS: u32 = 125;
/// Half of the window of the running level, which is as long as that of short-term loudness (EBU
/// Tech 3341): 1.5 seconds before a stroke and as much after it.
const RUNNING: usize = 72_000;

/// A meter of interleaved stereo samples at 48 kHz.
pub(crate) struct Meter<'a> {
    samples: &'a [f32],
    n_fed: usize,
    meter: EbuR128,
}

impl<'a> Meter<'a> {
    pub(crate) fn new(samples: &'a [f32]) -> Self {
        let mut meter = EbuR128::new(2, 48_000, Mode::M | Mode::S).expect("a stereo meter");
        // A whole cycle at the slowest.
        meter
            .set_max_window(4_000)
            .expect("the meter has this mode");
        Self {
            samples,
            n_fed: 0,
            meter,
        }
    }

    /// The loudness of the `milliseconds` before frame `end`. Frames are asked in rising order.
    pub(crate) fn window(&mut self, end: usize, milliseconds: u32) -> f64 {
        let fresh = self.samples.get(2 * self.n_fed..2 * end).expect("in order");
        self.meter.add_frames_f32(fresh).expect("whole frames");
        self.n_fed = end;
        let window = self.meter.loudness_window(milliseconds);
        window.expect("the meter has this mode")
    }
}

/// A phrase to be measured, and in words what it is.
struct Case {
    name: String,
    phrase: Phrase,
}

/// What is clapped, in pulses; nothing where it is empty.
const CLAPS: [(&[i64], Touch); 5] = [
    (&[], Touch::Sorda),
    (&[0, 3], Touch::Sorda),
    (&[0, 2, 4], Touch::Clara),
    (&[0, 3, 4], Touch::Clara),
    (&[0, 1, 2, 3, 4], Touch::Sorda),
];

/// Every family in every feel of the cycle of six, and two families in every other pattern. What
/// else there is to choose goes round, so that all of it occurs in many combinations.
fn cases() -> Vec<Case> {
    let six = Family::ALL
        .into_iter()
        .flat_map(|family| Feel::OPEN.map(|feel| (Pattern::SIX, family, feel)));
    let others = Pattern::all()
        .enumerate()
        .skip(1)
        .flat_map(|(idx, pattern)| {
            let able = Family::ALL
                .into_iter()
                .filter(move |f| f.can_state(pattern));
            let able: Vec<Family> = able.collect();
            let feel = match pattern.marks() {
                None => Feel::OPEN[idx % 3],
                Some(_) => Feel::Mixed,
            };
            [idx, idx + able.len() / 2].map(|n| (pattern, able[n % able.len()], feel))
        });
    let chosen: Vec<(Pattern, Family, Feel)> = six.chain(others).collect();
    (0..)
        .zip(chosen)
        .filter_map(|(n, chosen)| case(n, chosen))
        .collect()
}

fn case(n: usize, (pattern, family, feel): (Pattern, Family, Feel)) -> Option<Case> {
    let (slowest, fastest) = pattern.tempo();
    let ppm = [slowest, (slowest + fastest) / 2, fastest][n % 3];
    let n_cycles = if feel == Feel::InTurn { (4, 4) } else { (2, 4) };
    let recipe = RecipeParts {
        bell: Bell::ALL[n / 3 % 3],
        ..parts(pattern, family, feel, ppm, n_cycles)
    };
    let speakers = [Speakers::Full, Speakers::Small][n / 4 % 2];
    let recipe = Recipe::new(recipe).expect("possible").through(speakers);
    let wanted = Wanted {
        feel,
        level: Level::of_tenths([15, 50, 80, 120][n % 4]),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let made = make(&recipe, &wanted, Seed(u64::try_from(n).expect("small"))).ok()?;
    let (pulses, touch) = CLAPS[n % CLAPS.len()];
    Some(Case {
        name: format!(
            "{} {} {feel:?}, {}, claps {pulses:?}",
            pattern.id(),
            family.id(),
            made.level()
        ),
        phrase: made
            .phrase()
            .clapped(&clapping(made.phrase().cycle, pulses), touch),
    })
}

fn parts(
    pattern: Pattern,
    family: Family,
    feel: Feel,
    ppm: i64,
    cycles: (i64, i64),
) -> RecipeParts {
    RecipeParts {
        patterns: vec![pattern],
        families: vec![family],
        feels: vec![feel],
        tempo: (ppm, ppm),
        pacing: contrapalma::phrase::Pacing::Steady,
        rival: contrapalma::phrase::Rival::None,
        cycles,
        entries: Entry::ALL.to_vec(),
        bell: Bell::None,
    }
}

fn clapping(cycle: Cycle, pulses: &[i64]) -> Vec<Layer> {
    Layer::of(cycle, pulses).into_iter().collect()
}

/// Does `work` on all items, on two cores.
fn on_two_cores<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let (one, other) = items.split_at(items.len() / 2);
    thread::scope(|scope| {
        let one = scope.spawn(|| one.iter().map(&work).collect::<Vec<R>>());
        let mut other: Vec<R> = other.iter().map(&work).collect();
        let mut all = one.join().expect("no panic");
        all.append(&mut other);
        all
    })
}

#[test]
fn every_phrase_is_equally_loud_and_below_the_ceiling() {
    let cases = cases();
    // A few recipes have no phrase at a level of 1.5 dB; that is not the matter here.
    assert!(cases.len() > 80, "{}", cases.len());
    let measured = on_two_cores(&cases, |case| {
        let sounds = [
            render(&case.phrase, RATE, Seed(1)),
            render_loop(&case.phrase, RATE, Seed(1)),
        ];
        sounds.map(|pcm| {
            (
                loudness(&pcm).expect("it sounds"),
                true_peak(&pcm).expect("it sounds"),
            )
        })
    });
    let named = cases
        .iter()
        .zip(measured)
        .flat_map(|(case, both)| both.map(|m| (m, &case.name)));
    let mut named: Vec<((f64, f64), &String)> = named.collect();
    named.sort_by(|a, b| a.0.0.total_cmp(&b.0.0));
    for ((_, peak), name) in &named {
        assert!(*peak < -1.0, "{name}: {peak} dBFS");
    }
    let (softest, loudest) = (named.first().expect("many"), named.last().expect("many"));
    println!(
        "{softest:?} {loudest:?} {:?}",
        named.iter().map(|x| x.0.1).fold(f64::MIN, f64::max)
    );
    assert!(
        loudest.0.0 - softest.0.0 < 1.0,
        "{softest:?} to {loudest:?}"
    );
}

/// The sound of a phrase, and its two parts as they are in it.
struct Apart {
    whole: Vec<f32>,
    strings: Vec<f32>,
    /// Claps, knocks and bell.
    hands: Vec<f32>,
    /// The strings as they would be if one gain were held throughout.
    steady_strings: Vec<f32>,
}

/// Takes the sound of `phrase` apart. It is rendered with one part as it is and the other all but
/// silent. Where one gain is held throughout, the whole is a sum of those two, each by a factor that
/// least squares find; what a changing gain does shows in the part that is left when the other is
/// taken away.
fn apart(phrase: &Phrase) -> Apart {
    let whole = render(phrase, RATE, Seed(1));
    let strings = hushed(phrase, |note| !note.voice.is_strings());
    let hands = hushed(phrase, |note| note.voice.is_strings());
    let (a, b) = factors(whole.samples(), strings.samples(), hands.samples());
    let scaled = |pcm: &Pcm, by: f64| -> Vec<f32> {
        let samples = pcm.samples().iter();
        samples.map(|x| (by * f64::from(*x)) as f32).collect()
    };
    let without = |part: &[f32]| -> Vec<f32> {
        let samples = whole.samples().iter().zip(part);
        samples.map(|(x, part)| x - part).collect()
    };
    let steady_strings = scaled(&strings, a);
    Apart {
        strings: without(&scaled(&hands, b)),
        hands: without(&steady_strings),
        steady_strings,
        whole: whole.samples().to_vec(),
    }
}

/// The sound of `phrase` with some notes all but silent: as soft as they can be. They are not left
/// out, so that the others keep their grain.
fn hushed(phrase: &Phrase, which: impl Fn(&Note) -> bool) -> Pcm {
    let mut hushed = phrase.clone();
    for note in hushed.notes.iter_mut().filter(|note| which(note)) {
        note.loudness = Loudness(-400);
    }
    render(&hushed, RATE, Seed(1))
}

/// The factors with which two parts best add up to the whole, by least squares.
fn factors(whole: &[f32], one: &[f32], other: &[f32]) -> (f64, f64) {
    let dot = |x: &[f32], y: &[f32]| -> f64 {
        let pairs = x.iter().zip(y);
        pairs.map(|(x, y)| f64::from(*x) * f64::from(*y)).sum()
    };
    let (oo, pp, op) = (dot(one, one), dot(other, other), dot(one, other));
    let (wo, wp) = (dot(whole, one), dot(whole, other));
    let determinant = oo * pp - op * op;
    (
        (wo * pp - wp * op) / determinant,
        (wp * oo - wo * op) / determinant,
    )
}

/// Where the notes sound that are asked for, in order.
fn onsets(phrase: &Phrase, which: impl Fn(&Note) -> bool) -> Vec<usize> {
    let timeline = Timeline::of(phrase, RATE);
    let notes = phrase.notes.iter().filter(|note| which(note));
    let onset = |note| usize::try_from(timeline.onset(note).0).unwrap_or(0);
    let mut onsets: Vec<usize> = notes.map(onset).collect();
    onsets.sort_unstable();
    onsets
}

/// Where claps sound without a knock or the bell.
fn lone_claps(phrase: &Phrase) -> Vec<usize> {
    let others = onsets(phrase, |note| {
        matches!(note.voice, Voice::Strike | Voice::Bell)
    });
    let mut claps = onsets(phrase, |note| note.voice == Voice::Claps);
    claps.retain(|clap| !others.contains(clap));
    claps
}

/// How loud the strokes of `part` are, each over its first 125 ms.
fn strokes(part: &[f32], onsets: &[usize]) -> Vec<f64> {
    let mut meter = Meter::new(part);
    let fast = |onset: &usize| meter.window(onset + 6_000, FAST_MS);
    onsets.iter().map(fast).collect()
}

/// How loud `part` runs around each stroke: three seconds, less at the ends of its `n_frames`.
fn running(part: &[f32], n_frames: usize, onsets: &[usize]) -> Vec<f64> {
    let mut meter = Meter::new(part);
    let around = |onset: &usize| {
        let end = (onset + RUNNING).min(n_frames);
        let n_frames = end - onset.saturating_sub(RUNNING);
        meter.window(end, u32::try_from(n_frames / 48).expect("three seconds"))
    };
    onsets.iter().map(around).collect()
}

/// By how many decibels the strokes of `part` stand over what runs around them; at most.
fn over(part: &[f32], runs: &[f32], n_frames: usize, onsets: &[usize]) -> f64 {
    let strokes = strokes(part, onsets);
    let running = running(runs, n_frames, onsets);
    let over = strokes.iter().zip(running).map(|(s, r)| s - r);
    over.fold(f64::MIN, f64::max)
}

/// A learner sets the volume by what runs, and an impulse far above it can hurt. The running level
/// is the short-term loudness around a stroke; a stroke is measured over its first 125 ms.
#[test]
fn claps_and_knocks_stay_near_the_running_level() {
    let cases = cases();
    let measured = on_two_cores(&cases, |case| {
        let phrase = &case.phrase;
        let n_frames = usize::try_from(Timeline::of(phrase, RATE).n_frames().0).expect("short");
        let apart = apart(phrase);
        let hands = onsets(phrase, |note| !note.voice.is_strings());
        (
            over(&apart.whole, &apart.whole, n_frames, &hands),
            over(
                &apart.hands,
                &apart.steady_strings,
                n_frames,
                &lone_claps(phrase),
            ),
        )
    });
    for (case, (all, claps)) in cases.iter().zip(&measured) {
        // All that falls together, over all that runs.
        assert!(*all <= 12.0, "{}: {all} dB", case.name);
        // A clap that is laid on, over the guitar alone.
        assert!(*claps <= 12.0, "{}: {claps} dB", case.name);
    }
    // Claps that are not heard would pass too.
    let heard = measured.iter().filter(|(_, claps)| *claps > 0.0).count();
    assert!(heard >= 30, "{heard}");
}

/// A phrase with claps in the first two and the last two of its eight cycles.
fn guided(n: usize, family: Family) -> Case {
    let (feel, ppm) = ([Feel::Threes, Feel::Twos][n % 2], [110, 175, 240][n % 3]);
    let recipe = Recipe::new(parts(Pattern::SIX, family, feel, ppm, (8, 8))).expect("possible");
    let wanted = Wanted {
        feel,
        level: Level::of_tenths(50),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    let made = make(&recipe, &wanted, Seed(7)).expect("a phrase of every family");
    let (pulses, touch) = CLAPS[1 + n % (CLAPS.len() - 1)];
    let layer = Layer::of(Cycle::SIX, pulses).expect("pulses of the cycle");
    let claps = |cycle_idx| (!(2..6).contains(&cycle_idx)).then_some(layer);
    Case {
        name: format!("{} {feel:?} at {ppm}, claps {pulses:?}", family.id()),
        phrase: made.phrase().clapped_by(claps, touch),
    }
}

#[test]
fn nothing_jumps_when_claps_come_back() {
    // Where knocks tell, no clap is ever alone.
    let families = Family::ALL
        .into_iter()
        .filter(|family| *family != Family::Strike);
    let cases: Vec<Case> = (0..)
        .zip(families)
        .map(|(n, family)| guided(n, family))
        .collect();
    let measured = on_two_cores(&cases, |case| {
        let apart = apart(&case.phrase);
        (
            strings_by_cycle(&case.phrase, &apart),
            claps_around_the_gap(&case.phrase, &apart),
        )
    });
    for (case, (strings, [before, first])) in cases.iter().zip(measured) {
        let (least, most) = strings
            .iter()
            .fold((f64::MAX, f64::MIN), |(least, most), db| {
                (least.min(*db), most.max(*db))
            });
        assert!(most - least <= 1.0, "{}: {strings:?}", case.name);
        let back = first - before;
        assert!(back.abs() <= 2.0, "{}: {back} dB", case.name);
    }
}

/// By how many decibels the strings are louder in each cycle than with one gain throughout.
fn strings_by_cycle(phrase: &Phrase, apart: &Apart) -> Vec<f64> {
    let timeline = Timeline::of(phrase, RATE);
    let ends =
        (1..=8).map(|n| timeline.frame_of(Tick(phrase.begins().0 + n * 6 * TICKS_PER_PULSE)));
    let ends: Vec<usize> = ends
        .map(|end| usize::try_from(end.0).expect("inside"))
        .collect();
    let milliseconds = u32::try_from(ends[0] / 48).expect("seconds");
    let by_cycle = |part: &[f32]| -> Vec<f64> {
        let mut meter = Meter::new(part);
        let cycle = |end: &usize| meter.window(*end, milliseconds);
        ends.iter().map(cycle).collect()
    };
    let steady = by_cycle(&apart.steady_strings);
    let found = by_cycle(&apart.strings);
    found.iter().zip(steady).map(|(f, s)| f - s).collect()
}

/// How loud claps are before the gap, on average, and how loud the first after it is.
fn claps_around_the_gap(phrase: &Phrase, apart: &Apart) -> [f64; 2] {
    let onsets = lone_claps(phrase);
    let n_before = onsets.len() / 2;
    assert!(n_before >= 4, "{n_before} claps");
    let levels = strokes(&apart.hands, &onsets);
    let mean = levels[..n_before].iter().sum::<f64>() / n_before as f64;
    [mean, levels[n_before]]
}
