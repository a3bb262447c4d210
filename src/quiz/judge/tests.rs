//! Circular statistics against the literature's values, and the judge against players who are
//! known.

use serde_json::Value;

use super::*;
use crate::rhythm::{Layer, Pace, TICKS_PER_PULSE, Tempo, Tick};
use crate::world::{Dice, Seed};

fn fixture() -> Value {
    let text = include_str!("../../../tests/reference/fixtures/timing.json");
    serde_json::from_str(text).expect("the fixture is JSON")
}

fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().expect("a list");
    list.iter().map(|n| n.as_f64().expect("a number")).collect()
}

#[track_caller]
fn close(found: f64, expected: &Value, name: &str) {
    let expected = expected.as_f64().expect("a number");
    let tolerance = 1e-9 * expected.abs().max(1.0);
    assert!(
        (found - expected).abs() < tolerance,
        "{name}: {found} is not {expected}"
    );
}

#[test]
fn directions_as_in_the_literature() {
    // Formulas of Mardia and of Zar, with pingouin 0.7.0, scipy 1.17.1 and astropy 8.0.2 as
    // witnesses; sources in the fixture.
    let fixture = fixture();
    let rows = fixture["circular"]["rows"].as_array().expect("rows");
    assert!(rows.len() >= 6);
    for row in rows {
        let name = row["name"].as_str().expect("a name");
        let found = Circular::of(numbers(&row["angles_rad"]).into_iter()).expect("directions");
        close(found.resultant, &row["R"], name);
        close(found.variance(), &row["circular_variance"], name);
        close(found.rayleigh_z(), &row["rayleigh_z"], name);
        close(found.rayleigh_p(), &row["p_zar_approx"], name);
        if found.resultant > 1e-6 {
            close(found.deviation(), &row["circular_sd_rad"], name);
        }
    }
    let by_name = |name: &Value| {
        let row = rows.iter().find(|row| row["name"] == *name);
        numbers(&row.expect("a row of that name")["angles_rad"])
    };
    for row in fixture["circular"]["multiples"].as_array().expect("rows") {
        let times = row["multiple"].as_f64().expect("a number");
        let angles = by_name(&row["name"]).into_iter().map(|angle| angle * times);
        let found = Circular::of(angles).expect("directions");
        close(found.resultant, &row["R"], &row["name"].to_string());
    }
}

#[test]
fn asynchronies_and_drift_as_in_the_fixture() {
    let fixture = fixture();
    let case = &fixture["asynchrony"];
    let gap = case["interval_ms"].as_f64().expect("a number");
    let found = Timing::of(&numbers(&case["asynchrony_ms"]), gap).expect("ten taps");
    close(found.mean, &case["mean"], "mean");
    close(found.spread, &case["sd_n_minus_1"], "spread");
    close(
        100.0 * found.spread_of_gap,
        &case["sd_percent_of_interval"],
        "share",
    );
    let case = &fixture["drift_regression"];
    close(
        timing::slope(&numbers(&case["taps_s"])),
        &case["slope_s"],
        "slope",
    );
}

#[test]
fn agreement_as_the_reference_library_scores_it() {
    // mir_eval 0.8.2 with its own defaults; its sources stand beside each score.
    let fixture = fixture();
    let reference = numbers(&fixture["beat_eval"]["reference_s"]);
    let rows = fixture["beat_eval"]["rows"].as_array().expect("rows");
    assert!(rows.len() >= 12);
    for row in rows {
        let name = row["name"].as_str().expect("a name");
        let times = numbers(&row["estimated_s"]);
        let found = Agreement::of(&reference, &times).expect("two rows");
        let check = |found: f64, key: &str| {
            let expected = row[key].as_f64().expect("a number");
            assert!(
                (found - expected).abs() < 1e-6,
                "{name}, {key}: {found} is not {expected}"
            );
        };
        check(found.f_measure, "f_measure_70ms");
        check(found.longest, "CMLc");
        check(found.total, "CMLt");
        check(found.longest_any, "AMLc");
        check(found.total_any, "AMLt");
        // Where all errors are alike, the library puts the error of the last time, which has no gap
        // after it, into another bin: one of forty. By the definition all lie in one.
        let one_of_forty = -(0.025_f64 * 0.025_f64.log2() + 0.975 * 0.975_f64.log2());
        let as_library = 1.0 - one_of_forty / 41_f64.log2();
        if (row["information_gain"].as_f64().expect("a number") - as_library).abs() < 1e-9 {
            assert!((found.information_gain - 1.0).abs() < 1e-9, "{name}");
        } else {
            check(found.information_gain, "information_gain");
        }
    }
    assert_eq!(Agreement::of(&reference, &[1.0]), None);
}

#[test]
fn the_referee_agrees_with_the_judge() {
    // Who holds a layer scores high against its strokes, and who claps the other one does not.
    let map = PulseMap::of(
        Pace::steady(Tempo::of_pulses_a_minute(150).expect("in range")),
        0,
    );
    let strokes = |layer: Layer| -> Vec<f64> {
        let pulses =
            (0..8).flat_map(|cycle| layer.pulses().map(move |p| cycle * 6 + p.idx() as i64));
        pulses.map(|pulse| pulse as f64 * 0.4).collect()
    };
    let (threes, twos) = (layer(&[0, 3]), layer(&[0, 2, 4]));
    for seed in 0..100 {
        let mut dice = Seed(seed).child("referee", 0).dice();
        for (clapped, other) in [(threes, twos), (twos, threes)] {
            let player = Player {
                readings: vec![Reading::of(clapped); 8],
                spread: 0.03,
                lead_micros: 20_000.0,
                missing: 0.0,
                doubled: 0.0,
            };
            let micros = player.taps(&map, &mut dice);
            let round = Round {
                micros: &micros,
                map: &map,
                cycle: Cycle::SIX,
                cycles: (0, 8),
            };
            let found = judge(&round, &candidates(), Lead::USUAL).expect("taps");
            assert_eq!(found.spans, [(0, Reading::of(clapped))]);
            let times: Vec<f64> = micros.iter().map(|micros| *micros as f64 / 1e6).collect();
            let scored = |layer| Agreement::of(&strokes(layer), &times).expect("two rows");
            assert!(scored(clapped).longest > 0.9, "{:?}", scored(clapped));
            assert!(scored(other).longest < 0.2 && scored(other).longest_any < 0.2);
        }
    }
}

#[test]
fn two_hands_are_named_in_99_of_100_and_a_slide_of_one_in_9_of_10() {
    // As a question for two hands has it: what is asked of both, then what people slip into.
    let (threes, twos) = (layer(&[0, 3]), layer(&[0, 2, 4]));
    let joined = threes.union(twos).expect("of one cycle");
    let every = Layer::every(Cycle::SIX, 1);
    let readings = Reading::all(&[threes, twos, every, layer(&[0, 3, 4]), joined]);
    let on: Vec<Reading> = readings
        .iter()
        .copied()
        .filter(|r| r.place == Place::On)
        .collect();
    let (mut right, mut slides, mut near, n) = (0_u32, 0_u32, 0_u32, 5_000_u32);
    for seed in 0..n {
        let mut dice = Seed(u64::from(seed)).child("two hands", 0).dice();
        let map = map(&mut dice);
        let lead_micros = dice.real(0.0, 80_000.0);
        let fault = dice.below(3);
        let hand = |reading: &dyn Fn(usize) -> Reading, dice: &mut Dice| {
            let player = Player {
                readings: (0..8).map(reading).collect(),
                spread: 0.05,
                // One hand may lie a little behind the other.
                lead_micros: lead_micros + dice.real(-10_000.0, 10_000.0),
                missing: if fault == 1 { 0.1 } else { 0.0 },
                doubled: if fault == 2 { 0.1 } else { 0.0 },
            };
            let micros = player.taps(&map, dice);
            let round = Round {
                micros: &micros,
                map: &map,
                cycle: Cycle::SIX,
                cycles: (0, 8),
            };
            judge(&round, &readings, Lead::USUAL)
        };
        let both = [threes, twos].map(|layer| layer.turned(dice.between(0, 5)));
        let held = both.map(|layer| {
            let reading = on.iter().find(|r| r.layer == layer).expect("a rotation");
            let found = hand(&|_| *reading, &mut dice);
            found.is_some_and(|found| found.spans == [(0, *reading)])
        });
        right += u32::from(held == [true, true]);
        if fault == 0 {
            let at = 2 + dice.below(4);
            let (from, to) = (Reading::of(threes), Reading::of(twos));
            let found = hand(&|cycle| if cycle < at { from } else { to }, &mut dice);
            slides += 1;
            let left = found.and_then(|found| found.left());
            near += u32::from(left.is_some_and(|(cycle, _)| cycle.abs_diff(at) <= 1));
        }
    }
    let shares = [
        f64::from(right) / f64::from(n),
        f64::from(near) / f64::from(slides),
    ];
    println!(
        "both hands named {:.4}, slides found {:.4}",
        shares[0], shares[1]
    );
    assert!(shares[0] >= 0.99 && shares[1] >= 0.9, "{shares:?}");
}

/// A player who is known: what is clapped in each cycle, how loosely, and with which faults.
struct Player {
    readings: Vec<Reading>,
    /// Standard deviation as a share of the gap between strokes.
    spread: f64,
    lead_micros: f64,
    missing: f64,
    doubled: f64,
}

impl Player {
    /// One who claps a layer in so many cycles and misses nothing.
    fn steady(layer: Layer, n_cycles: usize, spread: f64, lead_micros: f64) -> Self {
        Self {
            readings: vec![Reading::of(layer); n_cycles],
            spread,
            lead_micros,
            missing: 0.0,
            doubled: 0.0,
        }
    }

    fn taps(&self, map: &PulseMap, dice: &mut Dice) -> Vec<i64> {
        let mut taps = Vec::new();
        for (cycle, reading) in (0..).zip(&self.readings) {
            let n = reading.layer.cycle().n_pulses() as i64;
            let gap = n as f64 / reading.layer.n_onsets() as f64;
            for pulse in reading.layer.pulses() {
                let half = i64::from(reading.place == Place::Contra) * TICKS_PER_PULSE / 2;
                let at = Tick::of_pulse(cycle * n + pulse.idx() as i64);
                let at = map.micros_at(Tick(at.0 + half));
                let pulse_micros = map.micros_at(Tick::of_pulse(1)) - map.micros_at(Tick(0));
                let late = self.spread * gap * pulse_micros as f64 * normal(dice);
                let tap = at + (late - self.lead_micros) as i64;
                if dice.real(0.0, 1.0) >= self.missing {
                    taps.push(tap);
                    if dice.real(0.0, 1.0) < self.doubled {
                        taps.push(tap + dice.between(15_000, 60_000));
                    }
                }
            }
        }
        taps.sort_unstable();
        taps
    }
}

/// A standard normal number (Box and Muller 1958).
fn normal(dice: &mut Dice) -> f64 {
    let (a, b) = (dice.real(1e-12, 1.0), dice.real(0.0, 1.0));
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

fn layer(pulses: &[i64]) -> Layer {
    Layer::of(Cycle::SIX, pulses).expect("a layer of six")
}

fn candidates() -> Vec<Reading> {
    Reading::all(&[layer(&[0, 3]), layer(&[0, 2, 4]), layer(&[0, 3, 4])])
}

fn map(dice: &mut Dice) -> PulseMap {
    let tempo = Tempo::of_pulses_a_minute(dice.between(110, 220)).expect("in range");
    PulseMap::of(Pace::steady(tempo), 0)
}

fn judged(player: &Player, dice: &mut Dice) -> Option<Clapped> {
    let map = map(dice);
    let micros = player.taps(&map, dice);
    let taps = Round {
        micros: &micros,
        map: &map,
        cycle: Cycle::SIX,
        cycles: (0, player.readings.len() as i64),
    };
    judge(&taps, &candidates(), Lead::USUAL)
}

#[test]
fn what_was_clapped_is_named_in_99_of_100() {
    let candidates = candidates();
    // Threes in 3 rotations, twos in 2, 1-4-5 in 6; on the pulses and between them.
    assert_eq!(candidates.len(), 22);
    let (mut right, mut n) = (0_u32, 0_u32);
    let mut wrong = Vec::new();
    for seed in 0..10_000 {
        let mut dice = Seed(seed).child("player", 0).dice();
        let on: Vec<&Reading> = candidates.iter().filter(|r| r.place == Place::On).collect();
        // Contra is clapped under every count or layer; it is one player in eight.
        let reading = if dice.one_in(8) {
            candidates[on.len() + dice.below(candidates.len() - on.len())]
        } else {
            **dice.pick(&on).expect("readings")
        };
        let fault = dice.below(3);
        let player = Player {
            readings: vec![reading; 6],
            spread: 0.05,
            lead_micros: dice.real(0.0, 80_000.0),
            missing: if fault == 1 { 0.1 } else { 0.0 },
            doubled: if fault == 2 { 0.1 } else { 0.0 },
        };
        let found = judged(&player, &mut dice);
        let is_right = found.as_ref().is_some_and(|f| f.spans == [(0, reading)]);
        n += 1;
        right += u32::from(is_right);
        if !is_right {
            wrong.push((seed, reading, found.map(|f| f.spans)));
        }
    }
    let share = f64::from(right) / f64::from(n);
    assert!(share >= 0.99, "{share}: {:?}", &wrong[..wrong.len().min(5)]);
}

#[test]
fn a_slide_is_found_within_one_cycle_in_9_of_10() {
    let on: Vec<Reading> = candidates()
        .into_iter()
        .filter(|r| r.place == Place::On)
        .collect();
    let (mut found_near, mut n) = (0_u32, 0_u32);
    for seed in 0..2_000 {
        let mut dice = Seed(seed).child("slider", 0).dice();
        let (from, to) = (dice.below(on.len()), dice.below(on.len()));
        if from == to {
            continue;
        }
        let at = 2 + dice.below(4);
        let reading = |cycle: usize| if cycle < at { on[from] } else { on[to] };
        let player = Player {
            readings: (0..8).map(reading).collect(),
            spread: 0.05,
            lead_micros: dice.real(0.0, 80_000.0),
            missing: 0.0,
            doubled: 0.0,
        };
        let left = judged(&player, &mut dice).and_then(|found| found.left());
        n += 1;
        found_near += u32::from(left.is_some_and(|(cycle, _)| cycle.abs_diff(at) <= 1));
    }
    let share = f64::from(found_near) / f64::from(n);
    assert!(share >= 0.9, "{share}");
}

#[test]
fn a_steady_lead_is_no_lateness_and_the_spread_is_the_players() {
    let mut spreads = Vec::new();
    for seed in 0..200 {
        let mut dice = Seed(seed).child("lead", 0).dice();
        let lead_micros = dice.real(0.0, 80_000.0);
        let player = Player {
            readings: vec![Reading::of(layer(&[0, 2, 4])); 8],
            spread: 0.04,
            lead_micros,
            missing: 0.0,
            doubled: 0.0,
        };
        let found = judged(&player, &mut dice).expect("taps that say something");
        // Four hundredths of a gap of 545 to 1,091 ms, over 24 taps: the lead within four errors.
        assert!(
            (found.lead + lead_micros).abs() < 40_000.0,
            "{} {lead_micros}",
            found.lead
        );
        let timing = found.timing.expect("24 taps");
        assert!(timing.mean.abs() < 15.0, "{timing:?}");
        assert!(timing.phase.rayleigh_p() < 1e-6);
        spreads.push(timing.spread_of_gap);
        assert_eq!((found.missing, found.extra), (0, 0));
    }
    let mean = spreads.iter().sum::<f64>() / spreads.len() as f64;
    // Two pulses lie in each gap between strokes.
    assert!((mean - 0.08).abs() < 0.004, "{mean}");
}

#[test]
fn who_hurries_or_drags_is_told_so_and_not_named_after_what_the_drift_passes_by() {
    let (mut told, mut n) = (0_u32, 0_u32);
    for seed in 0..600 {
        let mut dice = Seed(seed).child("hurry", 0).dice();
        let map = map(&mut dice);
        let pulse = (map.micros_at(Tick::of_pulse(60)) - map.micros_at(Tick(0))) as f64 / 60.0;
        let layer = *dice
            .pick(&[layer(&[0, 3]), layer(&[0, 2, 4])])
            .expect("two");
        let player = Player::steady(layer, 7, 0.02, dice.real(0.0, 60_000.0));
        // From the third cycle on faster or slower by 3 to 6 %: 0.9 to 1.8 pulses in the end.
        let share = dice.real(0.03, 0.06) * if dice.one_in(2) { 1.0 } else { -1.0 };
        let from = 12.0 * pulse;
        let micros: Vec<i64> = player
            .taps(&map, &mut dice)
            .into_iter()
            .map(|tap| tap + ((tap as f64 - from).max(0.0) * share) as i64)
            .collect();
        let round = Round {
            micros: &micros,
            map: &map,
            cycle: Cycle::SIX,
            cycles: (0, 7),
        };
        let found = judge(&round, &candidates(), Lead::USUAL).expect("taps");
        let right = found.wander.is_some_and(|wander| {
            let whole = 30.0 * share;
            wander.pulses.signum() == share.signum()
                && (wander.pulses - whole).abs() < 0.4
                && wander.cycles.0.abs_diff(2) <= 1
        });
        told += u32::from(right && found.first() == Reading::of(layer));
        n += 1;
    }
    let share = f64::from(told) / f64::from(n);
    println!("hurried or dragged: told in {share:.3}");
    assert!(share >= 0.9, "{share}");
}

#[test]
fn an_even_tempo_of_their_own_is_told_and_what_is_clapped_in_it() {
    let (mut told, n) = (0_u32, 400_u32);
    for seed in 0..n {
        let mut dice = Seed(u64::from(seed)).child("own tempo", 0).dice();
        let map = map(&mut dice);
        let layer = *dice
            .pick(&[layer(&[0, 3]), layer(&[0, 2, 4])])
            .expect("two");
        let player = Player::steady(layer, 7, 0.02, dice.real(0.0, 40_000.0));
        // Twos that are slower by a fifth are threes that are faster by a fifth.
        let share = dice.real(0.07, 0.18) * if dice.one_in(2) { 1.0 } else { -1.0 };
        let micros: Vec<i64> = player
            .taps(&map, &mut dice)
            .into_iter()
            // At the end of the sound they end.
            .map(|tap| (tap as f64 / (1.0 - share)) as i64)
            .filter(|tap| *tap < map.micros_at(Tick::of_pulse(42)) - 100_000)
            .collect();
        let round = Round {
            micros: &micros,
            map: &map,
            cycle: Cycle::SIX,
            cycles: (0, 7),
        };
        let Some(found) = judge(&round, &candidates(), Lead::USUAL) else {
            continue;
        };
        let right = found.wander.is_some_and(|wander| {
            let own = found
                .own_tempo()
                .is_some_and(|own| (own - share).abs() < 0.02);
            own && wander.pulses.signum() == share.signum()
        });
        told += u32::from(right && found.first() == Reading::of(layer));
    }
    let share = f64::from(told) / f64::from(n);
    println!("a tempo of their own: told in {share:.3}");
    assert!(share >= 0.9, "{share}");
}

#[test]
fn who_stops_is_named_by_what_was_clapped_until_then() {
    let mut told = 0_u32;
    let (mut n, mut enough) = (0_u32, 0_u32);
    for seed in 0..600 {
        let mut dice = Seed(seed).child("stops", 0).dice();
        let layers = [layer(&[0, 3]), layer(&[0, 2, 4]), layer(&[0, 3, 4])];
        let layer = *dice.pick(&layers).expect("three");
        let until = 2 + dice.below(5);
        let player = Player::steady(layer, until, 0.05, dice.real(0.0, 60_000.0));
        let map = map(&mut dice);
        let micros = player.taps(&map, &mut dice);
        let round = Round {
            micros: &micros,
            map: &map,
            cycle: Cycle::SIX,
            cycles: (0, 8),
        };
        n += 1;
        let Some(found) = judge(&round, &candidates(), Lead::USUAL) else {
            continue;
        };
        enough += 1;
        let is_named = found.spans == [(0, Reading::of(layer))];
        let is_whole = (found.missing_meanwhile(), found.extra) == (0, 0);
        told += u32::from(is_named && is_whole && found.stopped() == Some(until));
    }
    assert_eq!(enough, n, "two cycles of threes are enough to say");
    let share = f64::from(told) / f64::from(n);
    println!("stops: told in {share:.3}");
    assert!(share >= 0.97, "{share}");
}

#[test]
fn missing_and_extra_taps_are_told_apart() {
    let map = PulseMap::of(
        Pace::steady(Tempo::of_pulses_a_minute(150).expect("in range")),
        0,
    );
    let at = |pulses: &[i64]| {
        pulses
            .iter()
            .map(|p| p * 400_000 - 30_000)
            .collect::<Vec<i64>>()
    };
    let judged = |micros: &[i64]| {
        let taps = Round {
            micros,
            map: &map,
            cycle: Cycle::SIX,
            cycles: (0, 4),
        };
        judge(&taps, &candidates(), Lead::USUAL)
    };
    let found = judged(&at(&[0, 3, 6, 9, 12, 18, 21])).expect("threes");
    assert_eq!(found.first(), Reading::of(layer(&[0, 3])));
    assert_eq!((found.missing, found.extra), (1, 0));
    let found = judged(&at(&[0, 3, 6, 7, 9, 12, 15, 18, 21])).expect("threes");
    assert_eq!((found.missing, found.extra), (0, 1));
    // A key that bounces after 40 ms is one clap.
    let mut bounced = at(&[0, 3, 6, 9, 12, 15, 18, 21]);
    bounced.push(9 * 400_000 + 10_000);
    let found = judged(&bounced).expect("threes");
    assert_eq!((found.missing, found.extra), (0, 0));
    assert_eq!(judged(&[]), None);
    assert_eq!(judged(&at(&[0])), None);
}

#[test]
fn sixteen_taps_find_the_delay_of_a_set_up() {
    // Delays of 0 to 300 ms, single taps spread by 25 ms: the standard error of 16 is 6.25 ms, so
    // that 89 of 100 lie within 10 ms (normal distribution, by hand).
    let (mut near, mut n, mut settled) = (0_u32, 0_u32, Vec::new());
    for seed in 0..2_000 {
        let mut dice = Seed(seed).child("delay", 0).dice();
        let delay = dice.real(0.0, 300_000.0);
        let mut tap = |n: i64| n * 600_000 + (delay + 25_000.0 * normal(&mut dice)) as i64;
        let taps: Vec<i64> = (0..60).map(&mut tap).collect();
        // Three to find the clicks, and sixteen.
        let found = Delay::of(&taps[..19], 600_000).expect("taps that agree");
        assert_eq!(found.n, 16);
        n += 1;
        near += u32::from((found.micros - delay).abs() <= 10_000.0);
        let until =
            (4..60).find(|n| Delay::of(&taps[..*n], 600_000).is_some_and(Delay::is_settled));
        let until = until.expect("settled before sixty");
        let error = Delay::of(&taps[..until], 600_000).expect("settled").micros - delay;
        settled.push(error.abs());
    }
    let share = f64::from(near) / f64::from(n);
    assert!(share > 0.87, "{share}");
    settled.sort_by(f64::total_cmp);
    // Where it goes on until it is known to 10 ms, it is known to 10 ms in nineteen of twenty or so.
    let most = settled[settled.len() * 93 / 100];
    assert!(most < 10_000.0, "{most}");
}

#[test]
fn a_lead_is_a_negative_delay_and_scatter_is_none() {
    let lead: Vec<i64> = (0..20)
        .map(|n| n * 600_000 - 60_000 + 9_000 * (n % 3 - 1))
        .collect();
    let found = Delay::of(&lead, 600_000).expect("taps that agree");
    assert!((found.micros + 60_000.0).abs() < 3_000.0, "{found:?}");
    let scattered: Vec<i64> = (0..40).map(|n| n * 437_000).collect();
    assert_eq!(Delay::of(&scattered, 600_000), None);
    assert_eq!(Delay::of(&[], 600_000), None);
}
