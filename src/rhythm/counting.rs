//! How the counts of a cycle are spoken.

use super::{Cycle, Layer, Pulse};

/// A learner's convention for the names of counts. The only place where pulses become numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
pub enum Counting {
    /// 1 2 3 4 5 6, and 1 to 12.
    #[default]
    FromOne,
    /// The cycle begins on its last number: 12 1 2 … 11 (6 1 2 … 5 in six).
    FromLast,
    /// From one, the eleventh and twelfth spoken un, dos.
    UnDos,
    /// From one in Spanish: uno, dos, tres, and so on to doce; in figures after that.
    Spanish,
    /// The cycle begins on its last number, in Spanish: doce uno dos … once.
    SpanishFromLast,
}

/// The counts to twelve in Spanish.
const SPANISH: [&str; 12] = [
    "uno", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve", "diez", "once",
    "doce",
];

/// Letters by which a count that is a word is known: no two of [`SPANISH`] begin with the same three.
const LETTERS: usize = 3;

impl Counting {
    /// All conventions.
    pub const ALL: [Self; 5] = [
        Self::FromOne,
        Self::FromLast,
        Self::UnDos,
        Self::Spanish,
        Self::SpanishFromLast,
    ];
    /// Those among which a learner chooses; in Spanish each style begins where it begins.
    pub const CHOICES: [Self; 4] = [Self::FromOne, Self::FromLast, Self::UnDos, Self::Spanish];

    /// Its id in decks and settings.
    pub fn id(self) -> &'static str {
        match self {
            Self::FromOne => "from-one",
            Self::FromLast => "from-last",
            Self::UnDos => "un-dos",
            Self::Spanish | Self::SpanishFromLast => "spanish",
        }
    }

    /// The one of [`Counting::CHOICES`] with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::CHOICES.into_iter().find(|one| one.id() == id)
    }

    /// How a learner who chose this, or nothing, counts in a style that is counted `by_style`.
    pub fn in_style(chosen: Option<Self>, by_style: Self) -> Self {
        match (chosen, by_style) {
            (Some(Self::Spanish), Self::FromLast) => Self::SpanishFromLast,
            (chosen, _) => chosen.unwrap_or(by_style),
        }
    }

    /// The name of `pulse`.
    pub fn name(self, cycle: Cycle, pulse: Pulse) -> String {
        let idx = pulse.idx();
        match self {
            Self::UnDos if cycle == Cycle::TWELVE && idx == 10 => "un".to_owned(),
            Self::UnDos if cycle == Cycle::TWELVE && idx == 11 => "dos".to_owned(),
            Self::Spanish | Self::SpanishFromLast => {
                let number = self.number(cycle, pulse);
                match SPANISH.get(number - 1) {
                    Some(word) => (*word).to_owned(),
                    None => number.to_string(),
                }
            }
            _ => self.number(cycle, pulse).to_string(),
        }
    }

    /// The names of all counts of a cycle for cells of `width` columns, of which the last stays blank so
    /// that none runs into the next. Of words the first letters do, three at least; where not so many fit,
    /// all counts are numbers; and where a number does not fit either, its cell is empty.
    pub fn short_names(self, cycle: Cycle, width: usize) -> Vec<String> {
        let room = width.saturating_sub(1);
        let letters_of = |name: &str| name.chars().count();
        let is_told = |name: &String| letters_of(name).min(LETTERS) <= room;
        let names: Vec<String> = cycle.pulses().map(|p| self.name(cycle, p)).collect();
        if names.iter().all(is_told) {
            let cut = |name: String| name.chars().take(room).collect();
            return names.into_iter().map(cut).collect();
        }
        let number = |pulse| self.number(cycle, pulse).to_string();
        let fitting = |number: String| match letters_of(&number) <= room {
            true => number,
            false => String::new(),
        };
        cycle.pulses().map(number).map(fitting).collect()
    }

    /// The number by which `pulse` is counted.
    pub fn number(self, cycle: Cycle, pulse: Pulse) -> usize {
        match (self, pulse.idx()) {
            (Self::FromLast | Self::SpanishFromLast, 0) => cycle.n_pulses(),
            (Self::FromLast | Self::SpanishFromLast, idx) => idx,
            (_, idx) => idx + 1,
        }
    }

    /// The pulse that is called `name`.
    pub fn pulse(self, cycle: Cycle, name: &str) -> Option<Pulse> {
        cycle
            .pulses()
            .find(|pulse| self.name(cycle, *pulse) == name)
    }

    /// A layer in counts, as `1, 3 and 5`.
    pub fn list(self, layer: Layer) -> String {
        let names: Vec<String> = layer
            .pulses()
            .map(|p| self.name(layer.cycle(), p))
            .collect();
        let and = match self {
            Self::Spanish | Self::SpanishFromLast => "y",
            Self::FromOne | Self::FromLast | Self::UnDos => "and",
        };
        match names.as_slice() {
            [rest @ .., last] if !rest.is_empty() => format!("{} {and} {last}", rest.join(", ")),
            _ => names.concat(),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::rhythm::strategies::any_cycle;

    #[track_caller]
    fn check(counting: Counting, cycle: Cycle, expected: &str) {
        let spoken: Vec<String> = cycle
            .pulses()
            .map(|pulse| counting.name(cycle, pulse))
            .collect();
        assert_eq!(spoken.join(" "), expected);
        for (pulse, name) in cycle.pulses().zip(&spoken) {
            assert_eq!(counting.pulse(cycle, name), Some(pulse));
        }
    }

    #[test]
    fn conventions_of_the_trade() {
        // The table "Count conventions to support"; common practice, no source.
        check(Counting::FromOne, Cycle::SIX, "1 2 3 4 5 6");
        check(
            Counting::FromLast,
            Cycle::TWELVE,
            "12 1 2 3 4 5 6 7 8 9 10 11",
        );
        check(
            Counting::UnDos,
            Cycle::TWELVE,
            "1 2 3 4 5 6 7 8 9 10 un dos",
        );
        check(Counting::UnDos, Cycle::SIX, "1 2 3 4 5 6");
        check(
            Counting::Spanish,
            Cycle::SIX,
            "uno dos tres cuatro cinco seis",
        );
        // Styles that begin on twelve do so in any language.
        check(
            Counting::in_style(Some(Counting::Spanish), Counting::FromLast),
            Cycle::TWELVE,
            "doce uno dos tres cuatro cinco seis siete ocho nueve diez once",
        );
        check(
            Counting::in_style(Some(Counting::Spanish), Counting::UnDos),
            Cycle::TWELVE,
            "uno dos tres cuatro cinco seis siete ocho nueve diez once doce",
        );
    }

    #[test]
    fn names_are_as_short_as_their_cells_and_never_run_together() {
        let row = |counting: Counting, n: i64, width: usize| {
            let cycle = Cycle::new(n).expect("a cycle");
            let cells = counting.short_names(cycle, width).into_iter();
            let cells: String = cells.map(|name| format!("{name:width$}")).collect();
            cells.trim_end().to_owned()
        };
        let spanish = |n, width| row(Counting::Spanish, n, width);
        assert_eq!(spanish(6, 7), "uno    dos    tres   cuatro cinco  seis");
        assert_eq!(spanish(6, 5), "uno  dos  tres cuat cinc seis");
        assert_eq!(
            spanish(12, 4),
            "uno dos tre cua cin sei sie och nue die onc doc"
        );
        assert_eq!(spanish(12, 3), "1  2  3  4  5  6  7  8  9  10 11 12");
        assert_eq!(
            row(Counting::UnDos, 12, 3),
            "1  2  3  4  5  6  7  8  9  10 11 12"
        );
        // Nothing is half a number.
        assert_eq!(spanish(12, 2), "1 2 3 4 5 6 7 8 9");
        assert_eq!(row(Counting::FromLast, 12, 2), "  1 2 3 4 5 6 7 8 9");
    }

    #[test]
    fn layers_are_listed_in_counts() {
        let layer = Layer::of(Cycle::SIX, &[0, 2, 4]).expect("a layer");
        assert_eq!(Counting::FromOne.list(layer), "1, 3 and 5");
    }

    #[test]
    fn one_count_and_two_are_listed_plainly() {
        let layer = |pulses: &[i64]| Layer::of(Cycle::TWELVE, pulses).expect("a layer");
        assert_eq!(Counting::FromOne.list(layer(&[4])), "5");
        assert_eq!(Counting::UnDos.list(layer(&[9, 11])), "10 and dos");
        assert_eq!(
            Counting::Spanish.list(layer(&[0, 3, 11])),
            "uno, cuatro y doce"
        );
        assert_eq!(Counting::FromLast.list(layer(&[0, 3, 6])), "12, 3 and 6");
    }

    #[test]
    fn what_is_no_count_has_no_pulse() {
        for name in ["", "0", "7", "un", "01", " 1"] {
            assert_eq!(Counting::FromOne.pulse(Cycle::SIX, name), None, "{name:?}");
        }
    }

    proptest! {
        #[test]
        fn a_column_stays_blank_after_every_short_name(cycle in any_cycle(), width in 1_usize..10) {
            for counting in Counting::ALL {
                for name in counting.short_names(cycle, width) {
                    prop_assert!(name.chars().count() < width, "{name:?} in {width}");
                }
            }
        }

        #[test]
        fn no_two_pulses_of_a_cycle_share_a_name(cycle in any_cycle()) {
            for counting in Counting::ALL {
                for pulse in cycle.pulses() {
                    let name = counting.name(cycle, pulse);
                    prop_assert_eq!(counting.pulse(cycle, &name), Some(pulse));
                }
            }
        }
    }
}
