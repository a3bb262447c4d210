//! *Find the start.* A phrase that begins on any pulse of its cycle, or with a pickup: say on which
//! count it came in, or tap where the cycle begins while it goes round.
//!
//! Something comes once a cycle, measured to stand over every rotation. The likely wrong answer is
//! the first sound, or the loudest.

use crate::accent::Cue;
use crate::phrase::{Level, NoPhrase, Phrase, Purpose, Recipe, Row, Wanted, make};
use crate::rhythm::{Counting, Layer, Pace, PulseMap, TICKS_PER_PULSE, Tick};
use crate::world::Seed;

use crate::quiz::judge::{Lead, Place, Reading, Round, judge};
use crate::quiz::question::{Question, Task};
use crate::quiz::reveal::sentence;
use crate::quiz::{Answer, By, Tap};

pub(in crate::quiz) fn ask(
    recipe: &Recipe,
    level: Level,
    by: By,
    lately: &[Answer],
    seed: Seed,
) -> Result<Question, NoPhrase> {
    let mut dice = seed.child("feel", 0).dice();
    let feel = *dice.pick(recipe.feels()).expect("a recipe has a feel");
    let wanted = Wanted {
        feel,
        level,
        knocks: None,
        purpose: Purpose::FindStart,
    };
    let asked = |seed| {
        make(recipe, &wanted, seed).map(|measured| Question::made(measured, Task::FindStart { by }))
    };
    let mut question = asked(seed)?;
    for n in 1..=8 {
        if by == By::Taps || !runs(lately, question.truth()) {
            break;
        }
        question = asked(seed.child("other entry", n))?;
    }
    Ok(question)
}

/// Whether it was the truth three times running.
fn runs(lately: &[Answer], truth: Answer) -> bool {
    lately.len() >= 3 && lately.iter().rev().take(3).all(|answer| *answer == truth)
}

/// The pulse on which it came in, or where the cycle begins, in the phrase's own frame.
pub(in crate::quiz) fn truth(phrase: &Phrase, by: By) -> Answer {
    match by {
        By::Count => start_at(phrase.entry_pulse().idx()),
        By::Taps => start_at(0),
    }
}

fn start_at(pulse_idx: usize) -> Answer {
    Answer::Start(u8::try_from(pulse_idx).ok())
}

/// The counts, in the learner's convention.
pub(in crate::quiz) fn choices(phrase: &Phrase, counting: Counting) -> Vec<String> {
    let cycle = phrase.cycle;
    cycle
        .pulses()
        .map(|pulse| format!("on {}", counting.name(cycle, pulse)))
        .collect()
}

pub(in crate::quiz) fn counted(phrase: &Phrase, idx: usize) -> Option<Answer> {
    (idx < phrase.cycle.n_pulses()).then(|| start_at(idx))
}

/// The fewest rounds that must agree, and those after which no more are needed.
const ROUNDS_THAT_AGREE: usize = 3;
const ROUNDS_THAT_SETTLE: usize = 4;
/// So many taps are enough, whatever they say.
const ENOUGH: usize = 8;
/// What was tapped longer ago than so many rounds says nothing any more.
const LAST_ROUNDS: i64 = 12;

/// Whether these taps settle the answer, so that no more are needed.
pub(in crate::quiz) fn is_settled(phrase: &Phrase, taps: &[Tap]) -> bool {
    let settled = pointed(phrase, taps).is_some_and(|(_, rounds)| rounds >= ROUNDS_THAT_SETTLE);
    settled || taps.len() >= ENOUGH
}

/// The pulse to which the last taps point in three rounds at least. Where the cycle begins is tapped
/// once a round, so the first search is forgiven.
pub(in crate::quiz) fn tapped(phrase: &Phrase, taps: &[Tap]) -> Answer {
    let pointed = pointed(phrase, taps).filter(|(_, rounds)| *rounds >= ROUNDS_THAT_AGREE);
    Answer::Start(pointed.and_then(|(pulse, _)| u8::try_from(pulse).ok()))
}

/// When taps fell, had every pulse been as long as all are on the mean, and those pulses. It goes round, and
/// what of its pace is uneven comes again in every round, so that each tap is placed within its own. Only
/// the place is asked, never the timing.
fn on_even_pulses(phrase: &Phrase, taps: &[Tap]) -> (PulseMap, Vec<i64>) {
    let uneven = PulseMap::of(phrase.pace.clone(), 0);
    let (begins, ends) = (phrase.begins(), phrase.ends());
    let [first, after] = [begins, ends].map(|tick| uneven.micros_at(tick));
    let (ticks, round) = (ends.0 - begins.0, (after - first).max(1));
    let even = PulseMap::of(Pace::of_pulses(&[seconds(round) / pulses(ticks)]), 0);
    let place = |tap: &Tap| {
        let n_rounds = tap.micros.saturating_sub(first).div_euclid(round);
        let within = tap.micros.saturating_sub(n_rounds.saturating_mul(round));
        let later = n_rounds.saturating_mul(ticks);
        even.micros_at(Tick(uneven.tick_at(within).0.saturating_add(later)))
    };
    let micros = taps.iter().map(place).collect();
    (even, micros)
}

#[expect(clippy::cast_precision_loss, reason = "a round lasts minutes at most")]
fn seconds(micros: i64) -> f64 {
    micros as f64 / 1e6
}

#[expect(clippy::cast_precision_loss, reason = "a round has few pulses")]
fn pulses(ticks: i64) -> f64 {
    ticks as f64 / TICKS_PER_PULSE as f64
}

/// The pulse that was tapped last, and in how many rounds, judged among all pulses.
fn pointed(phrase: &Phrase, taps: &[Tap]) -> Option<(usize, usize)> {
    let (map, micros) = on_even_pulses(phrase, taps);
    let n = i64::try_from(phrase.cycle.n_pulses()).unwrap_or(1);
    let half = TICKS_PER_PULSE / 2;
    let cycle = |micros: i64| {
        map.tick_at(micros)
            .0
            .saturating_add(half)
            .div_euclid(n * TICKS_PER_PULSE)
    };
    let last = cycle(*micros.iter().max()?).saturating_add(1);
    let first = cycle(*micros.iter().min()?).max(last.saturating_sub(LAST_ROUNDS));
    let round = Round {
        micros: &micros,
        map: &map,
        cycle: phrase.cycle,
        cycles: (first, last),
    };
    let one = Layer::on(phrase.cycle, [phrase.cycle.first()]).ok()?;
    let mut readings = Reading::all(&[one]);
    readings.retain(|reading| reading.place == Place::On);
    let found = judge(&round, &readings, Lead::UNKNOWN)?;
    let (since, reading) = found.last();
    let later = found.struck.iter().filter(|struck| struck.cycle >= since);
    let rounds = later.count();
    // Who taps twice a round says two places.
    let taps = micros
        .iter()
        .filter(|at| cycle(**at) >= first + i64::try_from(since).unwrap_or(0));
    let beside = taps.count().saturating_sub(rounds);
    (2 * beside <= rounds).then_some(())?;
    Some((reading.layer.pulses().next()?.idx(), rounds))
}

/// The first count of every cycle as a learner heard it, for claps laid over the phrase.
pub(in crate::quiz) fn claps(question: &Question, answer: Answer, by: By) -> Vec<Layer> {
    let phrase = question.phrase();
    let Answer::Start(Some(said)) = answer else {
        return Vec::new();
    };
    let first = match by {
        By::Taps => i64::from(said),
        // Whoever says that it came in on this count puts the first count so many pulses before.
        By::Count => phrase.entry - i64::from(said),
    };
    let pulse = phrase.cycle.pulse_at(first).idx();
    let layer = Layer::of(phrase.cycle, &[i64::try_from(pulse).unwrap_or(0)]);
    layer.into_iter().collect()
}

/// What comes once a cycle, and where the phrase came in.
pub(in crate::quiz) fn reason(question: &Question, counting: Counting) -> String {
    let phrase = question.phrase();
    let standing = |row: &&Row| crate::accent::start_margin(&row.mean());
    // A voice whose row shows it stands before one that only adds to it.
    let first = phrase.cycle.first();
    let shows = |row: &Row| row.layer().is_some_and(|layer| layer.contains(first));
    let rows = question.measured().rows().iter();
    let clearest = rows.max_by(|a, b| {
        let shown = shows(a).cmp(&shows(b));
        shown.then_with(|| standing(a).total_cmp(&standing(b)))
    });
    let cue = clearest.map_or("all accents", |row| row.cue.words());
    let one = counting.name(phrase.cycle, phrase.cycle.first());
    let entry = counting.name(phrase.cycle, phrase.entry_pulse());
    let came = match clearest.map(|row| row.cue) {
        Some(Cue::Bell) => sentence(&format!("the bell rang on {one}")),
        _ => sentence(&format!(
            "of {cue}, those on {one} stood out most, once a cycle"
        )),
    };
    match phrase.entry {
        0 => format!("{came} It came in on {one} itself."),
        1.. => format!("{came} It came in on {entry}."),
        _ => format!("{came} It came in on {entry}, as a pickup to {one}."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Level;
    use crate::rhythm::{Cycle, Feel, Tempo};

    fn phrase(entry: i64) -> Phrase {
        Phrase {
            cycle: Cycle::SIX,
            pace: Tempo::of_pulses_a_minute(200).expect("in range").into(),
            n_cycles: 4,
            entry,
            feel: Feel::Threes,
            notes: Vec::new(),
        }
    }

    /// Taps at these pulses (300,000 microseconds each), `late` microseconds behind.
    #[track_caller]
    fn check(pulses: &[i64], late: i64, expected: Option<u8>) {
        let taps = pulses.iter().map(|pulse| Tap::at(pulse * 300_000 + late));
        let taps: Vec<Tap> = taps.collect();
        assert_eq!(tapped(&phrase(2), &taps), Answer::Start(expected));
    }

    #[test]
    fn taps_point_to_a_pulse_in_spite_of_a_lead_or_delay() {
        check(&[6, 12, 18, 24], 0, Some(0));
        check(&[6, 12, 18, 24], -60_000, Some(0));
        check(&[6, 12, 18, 24], 140_000, Some(0));
        check(&[9, 15, 21, 27], 20_000, Some(3));
        // Every group tapped is not the beginning of the cycle found.
        check(&[6, 9, 12, 15, 18, 21, 24, 27], 0, None);
        // The search at the beginning is forgiven.
        check(&[4, 8, 12, 18, 24, 30], 0, Some(0));
    }

    #[test]
    fn taps_of_later_rounds_are_placed_by_the_pulses_of_their_own() {
        // From the third of six pulses on three cycles go by in 4 x 0.2 + 6 x 0.4 + 6 x 0.6 + 2 x 0.25 seconds.
        let gaps = [0.2, 0.4, 0.6, 0.25].into_iter().flat_map(|gap| [gap; 6]);
        let gaps: Vec<f64> = gaps.collect();
        let mut uneven = phrase(2);
        (uneven.pace, uneven.n_cycles) = (Pace::of_pulses(&gaps), 3);
        let answer = |seconds: &[f64]| {
            let micros = seconds.iter().map(|s| format!("{:.0}", s * 1e6));
            let taps = micros.map(|micros| Tap::at(micros.parse().expect("a number")));
            tapped(&uneven, &taps.collect::<Vec<Tap>>())
        };
        // Cycles begin at 1.2, 3.6 and 7.2 seconds, and again 7.3 seconds later.
        let begins = [1.2, 3.6, 7.2, 8.5, 10.9, 14.5];
        assert_eq!(answer(&begins), Answer::Start(Some(0)));
        assert_eq!(answer(&begins[2..]), Answer::Start(Some(0)));
        // A pulse after each.
        let after = [1.6, 4.2, 7.45, 8.9, 11.5, 14.75];
        assert_eq!(answer(&after), Answer::Start(Some(1)));
    }

    #[test]
    fn scattered_taps_point_nowhere() {
        check(&[6, 13, 20, 27], 0, None);
        check(&[6, 12], 0, None);
        check(&[], 0, None);
        assert_eq!(
            tapped(&phrase(0), &[i64::MAX, i64::MIN, 0].map(Tap::at)),
            Answer::Start(None)
        );
    }

    #[test]
    fn four_agreeing_taps_settle_it() {
        let at = |pulses: &[i64]| {
            let taps = pulses.iter().map(|p| Tap::at(p * 300_000));
            taps.collect::<Vec<Tap>>()
        };
        assert!(is_settled(&phrase(0), &at(&[2, 6, 12, 18, 24])));
        assert!(!is_settled(&phrase(0), &at(&[6, 12, 18])));
        assert!(!is_settled(&phrase(0), &at(&[6, 12, 19, 24])));
    }

    #[test]
    fn no_entry_four_times_running() {
        let recipe = crate::phrase::Recipe::new(crate::phrase::RecipeParts {
            patterns: vec![crate::rhythm::Pattern::SIX],
            families: vec![crate::phrase::Family::Arpeggio],
            feels: vec![Feel::Threes],
            tempo: (120, 200),
            pacing: crate::phrase::Pacing::Steady,
            rival: crate::phrase::Rival::None,
            cycles: (3, 5),
            entries: vec![crate::phrase::Entry::Any],
            bell: crate::phrase::Bell::None,
        })
        .expect("a possible recipe");
        let lately = [Answer::Start(Some(2)); 3];
        for seed in 0..60 {
            let level = Level::of_tenths(60);
            let asked = ask(&recipe, level, By::Count, &lately, Seed(seed)).expect("a phrase");
            assert_ne!(asked.truth(), Answer::Start(Some(2)));
        }
    }
}
