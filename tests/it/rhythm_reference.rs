//! The measures of rhythm against values from outside.
//!
//! The values are in `tests/reference/fixtures/rhythm.json`, each part with its source and the
//! degree to which it was verified; `tests/reference/scripts/make_rhythm.py` computes them anew.

use contrapalma::rhythm::theory::{
    Clock, CrossRhythm, Ends, EuclideanClass, Evidence, Metre, Split, accents, arc_sum, best_clock,
    bracelets, chord_sum, chronotonic_distance, compositions, directed_swap_distance, euclidean,
    has_oddity, keith_syncopation, metrical_complexity, necklaces, note_to_beat_distance,
    offbeatness, placed, placements, syncopations,
};
use contrapalma::rhythm::{Cycle, Grouping, Layer, LayerError};
use serde_json::Value;

/// The part of the fixture at `pointer`.
#[track_caller]
fn fixture(pointer: &str) -> Value {
    let text = include_str!("../reference/fixtures/rhythm.json");
    let whole: Value = serde_json::from_str(text).expect("the fixture is JSON");
    at(&whole, pointer).clone()
}

#[track_caller]
fn at<'a>(value: &'a Value, pointer: &str) -> &'a Value {
    value.pointer(pointer).expect(pointer)
}

/// The rows of a list, of which there must be `expected`: a shortened fixture proves nothing.
#[track_caller]
fn rows(pointer: &str, expected: usize) -> Vec<Value> {
    let value = fixture(pointer);
    let rows = value.as_array().expect("a list").clone();
    assert_eq!(rows.len(), expected, "rows of {pointer}");
    rows
}

#[track_caller]
fn int(value: &Value) -> i64 {
    value.as_i64().expect("a whole number")
}

#[track_caller]
fn count(value: &Value) -> usize {
    usize::try_from(int(value)).expect("a count")
}

#[track_caller]
fn small(value: &Value) -> u8 {
    u8::try_from(int(value)).expect("a small count")
}

#[track_caller]
fn text(value: &Value) -> &str {
    value.as_str().expect("a text")
}

#[track_caller]
fn list<T>(value: &Value, read: impl Fn(&Value) -> T) -> Vec<T> {
    let list = value.as_array().expect("a list");
    list.iter().map(read).collect()
}

#[track_caller]
fn layer(value: &Value) -> Layer {
    text(value).parse().expect("a layer")
}

#[track_caller]
fn cycle(n_pulses: usize) -> Cycle {
    let n_pulses = i64::try_from(n_pulses).expect("a small number");
    Cycle::new(n_pulses).expect("a cycle")
}

/// The layer whose gaps are `gaps`, from the first pulse.
#[track_caller]
fn layer_of_gaps(gaps: &[usize]) -> Layer {
    let starts = gaps.iter().scan(0, |next, gap| {
        let start = *next;
        *next += i64::try_from(*gap).expect("a small number");
        Some(start)
    });
    let onsets: Vec<i64> = starts.collect();
    Layer::of(cycle(gaps.iter().sum()), &onsets).expect("a layer")
}

#[track_caller]
fn metre(divisions: &Value) -> Metre {
    let known = [(2, Split::Halves), (3, Split::Thirds)];
    let splits = list(divisions, |division| {
        let found = known.iter().find(|(n_parts, _)| *n_parts == int(division));
        found.expect("a division into two or three").1
    });
    Metre::new(&splits).expect("a metre")
}

#[test]
fn euclidean_rhythms_as_listed() {
    for row in rows("/euclidean/rows", 22) {
        let (k, n) = (count(&row["k"]), count(&row["n"]));
        let found = euclidean(cycle(n), k).expect("between one and all");
        assert_eq!(found, layer(&row["pattern"]), "E({k},{n})");
        assert_eq!(found.gaps(), list(&row["intervals"], count), "E({k},{n})");
        let class = match text(&row["class"]) {
            "euclidean string" => EuclideanClass::Euclidean,
            "reverse euclidean string" => EuclideanClass::Reverse,
            "neither" => EuclideanClass::Neither,
            other => panic!("class {other}"),
        };
        assert_eq!(EuclideanClass::of(found), class, "E({k},{n})");
    }
}

#[test]
fn euclidean_rhythms_computed_beside_the_list() {
    for row in rows("/euclidean/computed_extra", 11) {
        let (k, n) = (count(&row["k"]), count(&row["n"]));
        let found = euclidean(cycle(n), k).expect("between one and all");
        assert_eq!(found, layer(&row["pattern"]), "E({k},{n})");
        assert_eq!(found.gaps(), list(&row["intervals"], count), "E({k},{n})");
    }
}

/// The five flamenco cycles of twelve, in the order of the matrices.
fn flamenco() -> Vec<(String, Layer)> {
    let names = rows("/flamenco/order", 5);
    let patterns = fixture("/flamenco/patterns");
    let named = names.iter().map(|name| {
        let name = text(name);
        (name.to_owned(), layer(&patterns[name]))
    });
    named.collect()
}

#[test]
fn flamenco_cycles_are_accented_as_published() {
    let counts = fixture("/flamenco/accented_counts_1_based");
    let (off, odd) = (
        fixture("/flamenco/offbeatness"),
        fixture("/flamenco/oddity"),
    );
    for (name, cycle) in flamenco() {
        let written: Vec<String> = list(&counts[&name], |c| int(c).to_string());
        assert_eq!(cycle.in_counts(), written.join("-"), "{name}");
        assert_eq!(offbeatness(cycle), count(&off[&name]), "{name}");
        assert_eq!(Some(has_oddity(cycle)), odd[&name].as_bool(), "{name}");
    }
}

#[track_caller]
fn check_matrix(
    pointer: &str,
    sums: Option<&str>,
    distance: impl Fn(Layer, Layer) -> Result<usize, LayerError>,
) {
    let cycles = flamenco();
    let published = rows(pointer, 5);
    for (idx, (name, a)) in cycles.iter().enumerate() {
        let row: Vec<usize> = cycles
            .iter()
            .map(|(_, b)| distance(*a, *b).expect("all are twelve"))
            .collect();
        assert_eq!(row, list(&published[idx], count), "{name}");
        if let Some(sums) = sums {
            let sum: usize = row.iter().sum();
            assert_eq!(sum, count(&rows(sums, 5)[idx]), "{name}");
        }
    }
}

#[test]
fn chronotonic_distances_as_published() {
    // The published numbers come out with blocks cut at the ends of the written cycle alone.
    check_matrix(
        "/flamenco/chronotonic_published",
        Some("/flamenco/chronotonic_sums_published"),
        |a, b| chronotonic_distance(a, b, Ends::Cut),
    );
    check_matrix(
        "/flamenco/chronotonic_cyclic_computed_not_published",
        None,
        |a, b| chronotonic_distance(a, b, Ends::Joined),
    );
}

#[test]
fn directed_swap_distances_as_published() {
    check_matrix(
        "/flamenco/directed_swap_published",
        Some("/flamenco/directed_swap_sums_correct"),
        directed_swap_distance,
    );
    // The authors' slide prints 25 for the first sum, though its own entries add to 26; the other
    // four are printed as they add.
    let printed = list(
        &fixture("/flamenco/directed_swap_sums_as_printed_on_slide"),
        int,
    );
    let correct = list(&fixture("/flamenco/directed_swap_sums_correct"), int);
    assert_eq!((printed[0], correct[0]), (25, 26));
    assert_eq!(printed[1..], correct[1..]);
}

#[test]
fn one_pattern_alone_has_the_distances_of_the_common_ancestor() {
    let cycles = flamenco();
    let ancestors = rows("/flamenco/ancestor_candidates_computed", 1);
    let wanted = &ancestors[0]["distances"];
    let found: Vec<Layer> = (1..1_u32 << 12)
        .filter(|bits| matches!(bits.count_ones(), 4 | 5))
        .map(|bits| {
            let onsets: Vec<i64> = (0..12).filter(|at| bits >> at & 1 == 1).collect();
            Layer::of(Cycle::TWELVE, &onsets).expect("a layer")
        })
        .filter(|layer| {
            cycles.iter().all(|(name, cycle)| {
                directed_swap_distance(*layer, *cycle) == Ok(count(&wanted[name]))
            })
        })
        .collect();
    assert_eq!(found, [layer(&ancestors[0]["pattern"])]);
}

#[test]
fn bells_of_twelve() {
    let bells = rows("/bells/rows", 10);
    for row in &bells {
        let bell = layer(&row["pattern"]);
        assert_eq!(bell.gaps(), list(&row["intervals"], count), "{row}");
        assert_eq!(offbeatness(bell), count(&row["offbeatness"]), "{row}");
        assert_eq!(Some(has_oddity(bell)), row["oddity"].as_bool(), "{row}");
    }
    let standard = layer(&bells[0]["pattern"]);
    let even = euclidean(Cycle::TWELVE, 7).expect("seven of twelve");
    let turns: Vec<i64> = (0..12).filter(|by| even.turned(-by) == standard).collect();
    let published = fixture("/bells/standard_pattern_is_E_7_12_rotated_left_by");
    assert_eq!(turns, list(&published, int));
}

#[test]
fn oddity_examples() {
    for row in rows("/oddity_examples/rows", 6) {
        let found = has_oddity(layer(&row["pattern"]));
        assert_eq!(Some(found), row["oddity"].as_bool(), "{row}");
    }
    // No pattern of seven onsets in twelve can have it: twelve has only six halves to choose from.
    let sevens = (0..1_u32 << 12).filter(|bits| bits.count_ones() == 7);
    for bits in sevens {
        let onsets: Vec<i64> = (0..12).filter(|at| bits >> at & 1 == 1).collect();
        let seven = Layer::of(Cycle::TWELVE, &onsets).expect("a layer");
        assert!(!has_oddity(seven), "{seven}");
    }
}

#[test]
fn timelines_of_sixteen() {
    let sixteen = Metre::new(&[Split::Halves; 4]).expect("sixteen pulses");
    let weights = fixture("/timelines16/weights");
    let grid: Vec<i64> = sixteen.grid().into_iter().map(i64::from).collect();
    assert_eq!(grid, list(&weights, int));
    for row in rows("/timelines16/rows", 6) {
        let line = Layer::of(cycle(16), &list(&row["onsets"], int)).expect("a layer");
        let complexity = metrical_complexity(line, &sixteen).map(i64::from);
        assert_eq!(complexity, row["metric_complexity"].as_i64(), "{row}");
        let keith = keith_syncopation(line).map(i64::from);
        assert_eq!(keith, row["keith_123"].as_i64(), "{row}");
        let distance = note_to_beat_distance(line, 4).expect("four beats of four");
        assert!((distance - fraction(&row["wnbd"])).abs() < 1e-12, "{row}");
        assert_eq!(i64::from(arc_sum(line)), int(&row["sum_geodesic"]), "{row}");
        let chords = row["sum_chord_unit_circle"].as_f64().expect("a number");
        assert!((chord_sum(line) - chords).abs() < 1e-9, "{row}");
    }
}

/// Reads `14/5` or `4`.
#[track_caller]
fn fraction(value: &Value) -> f64 {
    let (over, under) = text(value).split_once('/').unwrap_or((text(value), "1"));
    let number = |text: &str| text.parse::<f64>().expect("a number");
    number(over) / number(under)
}

#[test]
fn metrical_weights() {
    let [two, three] = [Split::Halves, Split::Thirds];
    let metres = [
        ("3/4", Metre::three_four()),
        ("6/8", Metre::six_eight()),
        ("4/4 eighths", Metre::four_four()),
        ("12/8", Metre::twelve_eight()),
        ("9/8", Metre::new(&[three, three]).expect("nine pulses")),
        (
            "3/2 eighths",
            Metre::new(&[three, two, two]).expect("twelve"),
        ),
    ];
    let published = fixture("/lhl/weights");
    assert_eq!(published.as_object().map(|o| o.len()), Some(metres.len()));
    for (name, metre) in metres {
        let weights: Vec<i64> = metre.weights().into_iter().map(i64::from).collect();
        assert_eq!(weights, list(&published[name], int), "{name}");
    }
}

#[test]
fn metrical_grids() {
    let metres = [
        ("6/8 at eighth level", Metre::six_eight()),
        ("3/4 at eighth level", Metre::three_four()),
        ("12/8 at eighth level", Metre::twelve_eight()),
        (
            "4/4 at sixteenth level",
            Metre::new(&[Split::Halves; 4]).expect("sixteen pulses"),
        ),
    ];
    let published = fixture("/gttm_grid_dots/grids");
    assert_eq!(published.as_object().map(|o| o.len()), Some(metres.len()));
    for (name, metre) in metres {
        let dots: Vec<i64> = metre.grid().into_iter().map(i64::from).collect();
        assert_eq!(dots, list(&published[name], int), "{name}");
    }
}

#[test]
fn listeners_rate_pulses_in_the_order_of_the_grid() {
    let [two, three] = [Split::Halves, Split::Thirds];
    for (name, splits) in [("3/4", [three, two, two]), ("6/8", [two, three, two])] {
        let grid = Metre::new(&splits).expect("twelve sixteenths").grid();
        let ratings = fixture("/palmer_krumhansl_1990");
        let ratings = list(&ratings[name], |rating| rating.as_f64().expect("a number"));
        assert_eq!(ratings.len(), grid.len());
        let mean = |dots: i32| {
            let rated = grid.iter().zip(&ratings).filter(|(d, _)| **d == dots);
            let (sum, n) = rated.fold((0.0, 0.0), |(sum, n), (_, r)| (sum + r, n + 1.0));
            sum / n
        };
        assert!(
            mean(4) > mean(3) && mean(3) > mean(2) && mean(2) > mean(1),
            "{name}"
        );
    }
}

/// One entry a gap longer than a pulse: the strength, or nothing where it is no syncopation.
#[track_caller]
fn check_strengths(row: &Value) {
    let layer = layer_of_gaps(&list(&row["iois"], count));
    let found = syncopations(layer, &metre(&row["divisions"])).expect("a layer of the metre");
    let strengths: Vec<Option<i64>> = layer
        .pulses()
        .zip(layer.gaps())
        .filter(|(_, gap)| *gap > 1)
        .map(|(onset, _)| found.iter().find(|s| s.onset == onset))
        .map(|syncopation| syncopation.map(|s| i64::from(s.strength)))
        .collect();
    assert_eq!(strengths, list(&row["strengths"], Value::as_i64), "{row}");
}

#[test]
fn syncopation_of_the_examples_and_of_the_hemiola() {
    rows("/lhl/figure9", 5).iter().for_each(check_strengths);
    rows("/lhl/computed_extra", 12)
        .iter()
        .for_each(check_strengths);
}

#[test]
fn clocks_of_the_example() {
    let layer = layer_of_gaps(&list(&fixture("/povel_essens/example_iois"), count));
    let accented = accents(layer).expect("it has silent pulses");
    let marks = layer.cycle().pulses().map(|pulse| {
        let sounds = i64::from(layer.contains(pulse));
        sounds - 1 + i64::from(accented.contains(pulse))
    });
    let published = fixture("/povel_essens/example_accents");
    assert_eq!(marks.collect::<Vec<_>>(), list(&published, int));

    assert_eq!(
        i64::from(Evidence::SILENCE),
        int(&fixture("/povel_essens/W"))
    );
    for row in rows("/povel_essens/example_clocks", 9) {
        let clock = clock(layer.cycle(), &row["unit"], &row["location"]);
        let met = Evidence::of(layer, clock);
        let found = [
            met.n_accented,
            met.n_unaccented,
            met.n_silent,
            met.against(),
        ];
        let expected = ["plus_ev", "zero_ev", "minus_ev", "C"].map(|key| int(&row[key]));
        assert_eq!(found.map(i64::from), expected, "{row}");
    }
    let (best, met) = best_clock(layer, &[2, 3, 4]).expect("all fill twelve");
    assert_eq!((best.unit(), best.start().idx(), met.against()), (4, 1, 0));
}

#[track_caller]
fn clock(cycle: Cycle, unit: &Value, location: &Value) -> Clock {
    let mut clocks = Clock::all(cycle, small(unit));
    clocks
        .nth(count(location))
        .expect("the cycle has this clock")
}

#[test]
fn the_patterns_fall_into_seven_groups_of_rising_evidence() {
    // Pattern 20 repeats pattern 19 in the transcription, so that 34 of the 35 are known.
    let published = rows("/povel_essens/patterns", 35);
    assert_eq!(published[18]["pattern"], published[19]["pattern"]);
    let known = published.iter().filter(|row| int(&row["nr"]) != 20);
    for row in known {
        let layer = layer(&row["pattern"]);
        assert_eq!(layer.gaps(), list(&row["iois"], count), "{row}");
        let fours = clock(layer.cycle(), &Value::from(4), &Value::from(0));
        let met = Evidence::of(layer, fours);
        let found = [met.n_unaccented, met.n_silent, met.against()];
        assert_eq!(
            found.map(i64::from).to_vec(),
            list(&row["clock4"], int),
            "{row}"
        );

        let (best, met) = best_clock(layer, &[2, 4]).expect("both fill sixteen");
        let start = i64::try_from(best.start().idx()).expect("a small number");
        let found = [i64::from(best.unit()), start, i64::from(met.against())];
        assert_eq!(found.to_vec(), list(&row["best"], int), "{row}");
        // Five patterns a group, the least evidence of a group one more than of the one before.
        assert_eq!(i64::from(met.against()), (int(&row["nr"]) - 1) / 5, "{row}");
    }
}

#[test]
fn twos_and_threes_are_counted() {
    let sums = rows("/counts/n_from_0_compositions", 25);
    let perrin = rows("/counts/n_from_0_perrin", 25);
    for (n_pulses, (sum, perrin)) in (0..).zip(sums.iter().zip(&perrin)) {
        let found = [compositions(n_pulses), placements(n_pulses)];
        let expected = [sum, perrin].map(|n| n.as_u64().map(u128::from));
        assert_eq!(found.map(Some), expected, "{n_pulses} pulses");
    }
}

#[test]
fn twos_and_threes_are_listed() {
    let sums = rows("/counts/n_from_0_compositions", 25);
    let perrin = rows("/counts/n_from_0_perrin", 25);
    let rings = rows("/counts/n_from_1_necklaces", 16);
    let strings = rows("/counts/n_from_1_bracelets", 16);
    for n_pulses in 2..=24 {
        let cycle = cycle(n_pulses);
        assert_eq!(
            Grouping::all(cycle).len(),
            count(&sums[n_pulses]),
            "{cycle}"
        );
        assert_eq!(placed(cycle).len(), count(&perrin[n_pulses]), "{cycle}");
        let (Some(ring), Some(string)) = (rings.get(n_pulses - 1), strings.get(n_pulses - 1))
        else {
            continue;
        };
        assert_eq!(necklaces(cycle).len(), count(ring), "{cycle}");
        assert_eq!(bracelets(cycle).len(), count(string), "{cycle}");
    }
}

#[test]
fn strokes_against_strokes() {
    for row in rows("/cross_rhythms/rows", 8) {
        let cross = CrossRhythm::new(small(&row["a"]), small(&row["b"])).expect("a cycle");
        let composite = cross.composite();
        assert_eq!(cross.cycle(), cycle(count(&row["lcm_pulses"])), "{row}");
        let onsets = Layer::of(cross.cycle(), &list(&row["onsets"], int));
        assert_eq!(Ok(composite), onsets, "{row}");
        assert_eq!(
            composite.gaps(),
            list(&row["composite_iois"], count),
            "{row}"
        );
        let numbers = [cross.coincidences(), composite].map(Layer::n_onsets);
        let expected = ["coincidences_per_cycle", "distinct_onsets"].map(|key| count(&row[key]));
        assert_eq!(numbers, expected, "{row}");
    }
}
