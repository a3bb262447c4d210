//! What a sitting costs: phrases without sound, a question with its sound, an answer kept.

use contrapalma::pcm::SampleRate;
use contrapalma::phrase::{
    Bell, Entry, Family, Level, Measured, Purpose, Recipe, RecipeParts, Wanted, make,
};
use contrapalma::quiz::{Call, Form, Given, Guide, Habit, Hand, Hands, Question, Reveal, Tap};
use contrapalma::rhythm::{Counting, Feel, Layer, Pattern};
use contrapalma::sound::render;
use contrapalma::world::Seed;

fn main() {
    divan::main();
}

/// Every exercise of each is made one question while it is read.
#[divan::bench(sample_count = 10, sample_size = 1, args = ["first-steps", "path", "check", "beginners", "workshop", "twelves", "cousins"])]
fn read_and_check_a_deck(id: &str) -> Option<contrapalma::deck::Deck> {
    contrapalma::deck::built_in_named(id)
}

fn recipe(cycles: i64) -> Recipe {
    Recipe::new(RecipeParts {
        patterns: vec![Pattern::SIX],
        families: Family::ALL.to_vec(),
        feels: Feel::OPEN.to_vec(),
        tempo: (160, 160),
        pacing: contrapalma::phrase::Pacing::Steady,
        rival: contrapalma::phrase::Rival::None,
        cycles: (cycles, cycles),
        entries: Entry::ALL.to_vec(),
        bell: Bell::None,
    })
    .expect("a possible recipe")
}

fn one(recipe: &Recipe, n: u64) -> Measured {
    let idx = usize::try_from(n).unwrap_or(0) % Feel::OPEN.len();
    let feel = Feel::OPEN.get(idx).copied().unwrap_or(Feel::Threes);
    let wanted = Wanted {
        feel,
        level: Level::of_decibels(4.0),
        knocks: None,
        purpose: Purpose::NameFeel,
    };
    make(recipe, &wanted, Seed(n)).expect("every family states every feel")
}

/// 2,000 measured phrases of four cycles, all feels and families. Less than a second is wanted.
#[divan::bench(sample_count = 10)]
fn two_thousand_measured_phrases(bencher: divan::Bencher<'_, '_>) {
    let recipe = recipe(4);
    bencher.bench(|| {
        (0..2_000)
            .map(|n| one(&recipe, n).phrase().notes.len())
            .sum::<usize>()
    });
}

/// One phrase of eight cycles, made, measured and rendered; look at the slowest. 60 ms is wanted at
/// the 95th percentile.
#[divan::bench(sample_count = 200, sample_size = 1)]
fn a_phrase_of_eight_cycles_with_its_sound(bencher: divan::Bencher<'_, '_>) {
    let recipe = recipe(8);
    let n = std::sync::atomic::AtomicU64::new(0);
    bencher.bench(|| {
        let n = n.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        render(one(&recipe, n).phrase(), SampleRate::HZ_48000, Seed(n)).n_frames()
    });
}

/// Taps of two hands over ten cycles judged, told and laid out as rows and sounds. Less than 5 ms is
/// wanted.
#[divan::bench(args = ["six", "twelve"])]
fn two_hands_judged_and_told(bencher: divan::Bencher<'_, '_>, pattern: &str) {
    let pattern = Pattern::from_id(pattern).expect("a pattern");
    let cycle = pattern.cycle();
    let recipe = Recipe::new(RecipeParts {
        patterns: vec![pattern],
        families: vec![Family::BassStrums],
        feels: vec![Feel::Both],
        tempo: (160, 160),
        pacing: contrapalma::phrase::Pacing::Steady,
        rival: contrapalma::phrase::Rival::None,
        cycles: (10, 10),
        entries: vec![Entry::One],
        bell: Bell::None,
    });
    let form = Form::TwoHands {
        layers: [3, 2].map(|every| Layer::every(cycle, every)),
        guide: Guide::None,
        call: Call::Bell,
    };
    let (recipe, level) = (recipe.expect("a possible recipe"), Level::of_decibels(5.0));
    let question = Question::ask(&form, &recipe, level, &[], Seed(4)).expect("a question");
    let n_pulses = 10 * i64::try_from(cycle.n_pulses()).expect("a few pulses");
    let tap = |(hand, every): (Hand, i64)| {
        let pulses = (0..n_pulses).filter(move |pulse| pulse % every == 0);
        pulses.map(move |pulse| Tap {
            micros: pulse * 375_000 + 7_000 * (pulse % 5),
            hand,
        })
    };
    let taps: Vec<Tap> = [(Hand::Left, 3), (Hand::Right, 2)]
        .into_iter()
        .flat_map(tap)
        .collect();
    let given = Given::Taps(taps, Hands::Tuned(Habit::default()));
    bencher.bench(|| {
        let verdict = question.judge(&given).expect("taps answer it");
        Reveal::of(&question, verdict, &given, Counting::FromOne)
    });
}

/// The same of a layer whose taps hurry, so that every way of hurrying is tried.
#[divan::bench]
fn hurried_taps_judged_and_told(bencher: divan::Bencher<'_, '_>) {
    let form = Form::Clap {
        layers: vec![Layer::every(Pattern::SIX.cycle(), 2)],
        place: contrapalma::quiz::judge::Place::On,
        guide: Guide::None,
        course: contrapalma::quiz::Course::Whole,
        call: Call::None,
    };
    let level = Level::of_decibels(5.0);
    let question = Question::ask(&form, &recipe(10), level, &[], Seed(4)).expect("a question");
    let taps = question.model_taps().into_iter();
    let hurried = taps.map(|tap| Tap {
        micros: tap.micros - tap.micros / 40,
        ..tap
    });
    let given = Given::Taps(hurried.collect(), Hands::Tuned(Habit::default()));
    bencher.bench(|| {
        let verdict = question.judge(&given).expect("taps answer it");
        Reveal::of(&question, verdict, &given, Counting::FromOne)
    });
}
