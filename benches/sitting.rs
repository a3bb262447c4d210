//! What a sitting costs: phrases without sound, a question with its sound, an answer kept.

use contrapalma::pcm::SampleRate;
use contrapalma::phrase::{
    Bell, Entry, Family, Level, Measured, Purpose, Recipe, RecipeParts, Wanted, make,
};
use contrapalma::rhythm::Feel;
use contrapalma::sound::render;
use contrapalma::world::Seed;

fn main() {
    divan::main();
}

fn recipe(cycles: i64) -> Recipe {
    Recipe::new(RecipeParts {
        pattern: contrapalma::rhythm::Pattern::SIX,
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
