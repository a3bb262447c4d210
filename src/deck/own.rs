//! The deck of a learner's own recordings, to which passages are added.

use crate::rhythm::{Counting, Cycle, Layer, Pattern};

/// The id of the deck of a learner's own recordings.
pub const OWN_RECORDINGS: &str = "own";

/// The most pulses of a cycle of which a count is chosen by a key.
const MOST_CHOSEN: usize = 9;

/// That deck before the first passage, which is added at its end. Without one it is no deck yet.
pub fn own_recordings() -> &'static str {
    include_str!("own.toml")
}

/// Its exercise in cycles of which no count can be chosen by a key: there the beginning is tapped.
const TAPPED_START: &str = "id = \"start\"
title = \"Where does it begin?\"
asks = \"find-start\"
by = \"taps\"
line = \"It is cut anywhere in the cycle, and goes on from there.\"
repair = \"Find what comes once a round, and tap there alone.\"
passages = \"all\"";

/// Its exercises for passages in another cycle than six, as they are added when the first one is cut;
/// `None` of a cycle in which decks ask nothing.
pub fn own_exercises(cycle: Cycle) -> Option<String> {
    let n = cycle.n_pulses();
    Pattern::all().find(|pattern| pattern.cycle() == cycle)?;
    let asked = [
        "name-feel",
        "fit-clapping",
        "find-start",
        "clap",
        "catch-turn",
    ];
    let texts = asked.into_iter().filter_map(|asks| match asks {
        "find-start" if n > MOST_CHOSEN => Some(TAPPED_START),
        _ => exercise(own_recordings(), asks),
    });
    Some(texts.map(|text| in_cycle(text, cycle)).collect())
}

/// The exercise of a kind, from its head to the next one.
fn exercise<'t>(deck: &'t str, asks: &str) -> Option<&'t str> {
    let asked = format!("asks = \"{asks}\"\n");
    let mut parts = deck.split("[[exercise]]\n").skip(1);
    parts.find(|text| text.contains(&asked)).map(str::trim_end)
}

/// The same in another cycle: its id and title say in which, and claps are its own layers.
fn in_cycle(text: &str, cycle: Cycle) -> String {
    let n = cycle.n_pulses();
    let line = |line: &str| match line.split_once(" = ") {
        Some(("id", id)) => format!("id = \"{}-{n}\"\ncycle = {n}", id.trim_matches('"')),
        Some(("title", title)) => format!("title = \"{} (in {n})\"", title.trim_matches('"')),
        Some(("clappings", clappings)) => {
            // Of six the threes, the twos, and both a pulse later.
            let n_clappings = clappings.split(',').count();
            let all = clappings_of(cycle);
            format!("clappings = [{}]", all[..n_clappings].join(", "))
        }
        _ => line.to_owned(),
    };
    let lines: Vec<String> = text.lines().map(line).collect();
    format!("\n[[exercise]]\n{}\n", lines.join("\n"))
}

/// Threes, twos, and each turned by a pulse, as they are written in a deck.
fn clappings_of(cycle: Cycle) -> [String; 4] {
    let written = |layer: Layer| {
        let counts = layer.pulses().map(|p| Counting::FromOne.name(cycle, p));
        format!("\"{}\"", counts.collect::<Vec<String>>().join("-"))
    };
    let [threes, twos] = [3, 2].map(|every| Layer::every(cycle, every));
    [threes, twos, threes.turned(1), twos.turned(1)].map(written)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::deck::parse;
    use crate::quiz::{By, Form};

    /// A deck with one passage of seven cycles in threes and one in twos.
    fn with_passages(cycle: Cycle) -> String {
        let n = cycle.n_pulses();
        let times = (0..=7 * n).map(|k| format!("{:.1}", 1.0 + 0.3 * k as f64));
        let times = times.collect::<Vec<String>>().join(", ");
        let hash = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let passage = |id: &str, marks: &str| {
            format!(
                "\n[[passage]]\nid = \"{id}\"\nrecording = \"sha256:{hash}\"\ncycle = {n}\n\
                 pulses = [{times}]\nmarks = \"{marks}\"\n"
            )
        };
        let exercises = own_exercises(cycle).expect("long enough");
        let head = own_recordings();
        format!(
            "{head}{exercises}{}{}",
            passage("a", "3333333"),
            passage("b", "2222222")
        )
    }

    #[test]
    fn every_cycle_has_exercises_that_take_its_passages() {
        for n in [5, 7, 8, 9, 12] {
            let cycle = Cycle::new(n).expect("a cycle");
            let deck = parse(&with_passages(cycle)).expect("no faults");
            let of_cycle = deck.exercises().iter();
            let of_cycle = of_cycle.filter(|e| e.material.cycle() == cycle);
            assert_eq!(of_cycle.clone().count(), 5, "in {n}");
            let starts = of_cycle.filter_map(|exercise| match exercise.form {
                Form::FindStart(by) => Some(by),
                _ => None,
            });
            let by = if n <= 9 { By::Count } else { By::Taps };
            assert_eq!(starts.collect::<Vec<By>>(), [by], "in {n}");
        }
        for n in [2, 4, 11, 48] {
            assert_eq!(own_exercises(Cycle::new(n).expect("a cycle")), None);
        }
    }
}
