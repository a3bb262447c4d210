//! Cycles as the trade groups them: the rows from which phrases may be made.

use std::fmt;

use super::{Counting, Cycle, Feel, Layer, Pulse};

/// A cycle together with what is marked in it, where it is entered, and how it is counted.
///
/// An open pattern leaves the grouping to the feel: threes, twos, both. In every other one the cycle
/// itself has a grouping of its own, as the twelve of the bulerías has 12 3 6 8 10. Sources stand
/// beside the rows; only what is sourced or common practice is here. A deck may write a grouping of its
/// own, which has no row.
#[derive(Clone, Copy)]
pub struct Pattern {
    grouped: Grouped,
    /// How its counts are spoken, where that is said otherwise than in its row.
    counting: Option<Counting>,
}

/// Where the grouping stands.
#[derive(Clone, Copy)]
enum Grouped {
    Row(&'static Row),
    Own(Layer),
}

/// Slowest and fastest in pulses a minute of a grouping of one's own: as in additive cycles.
const OWN_TEMPO: (i64, i64) = (100, 400);

struct Row {
    id: &'static str,
    words: &'static str,
    n_pulses: i64,
    /// Pulses of its own grouping; none in an open one.
    marks: &'static [i64],
    /// The pulse on which the harmony comes to rest; where there is none, on the last mark.
    close: Option<i64>,
    /// Strokes of a bell that goes through every cycle.
    bell: &'static [i64],
    counting: Counting,
    /// Slowest and fastest in pulses a minute: where its groups are felt. Estimates from practice.
    tempo: (i64, i64),
}

const OPEN: &[i64] = &[];
/// The standard pattern of seven strokes (Kubik, by way of a reference article on bell patterns).
const BELL: &[i64] = &[0, 2, 4, 5, 7, 9, 11];

const ROWS: [Row; 22] = [
    // Fandangos de Huelva and their cousins; common practice, foot on 1 and 4 (Kliman).
    row("six", "six", 6, OPEN, (100, 260)),
    // An exercise, and the texture of thick bulerías; common practice.
    row("twelve", "twelve as two sixes", 12, OPEN, (100, 260)),
    // Díaz-Báñez and others 2004; posted descriptions of the guajira as 6/8 and 3/4.
    Row {
        close: Some(10),
        counting: Counting::FromLast,
        ..row(
            "guajira",
            "twelve, 12 3 6 8 10",
            12,
            &[0, 3, 6, 8, 10],
            (100, 260),
        )
    },
    // Díaz-Báñez and others 2004.
    Row {
        close: Some(10),
        counting: Counting::FromLast,
        ..row(
            "bulerias",
            "twelve, 12 3 7 8 10",
            12,
            &[0, 3, 7, 8, 10],
            (100, 260),
        )
    },
    // Published teaching pages on soleares and siguiriyas: accents 3 6 8 10 12, resolved at 10.
    Row {
        close: Some(9),
        counting: Counting::UnDos,
        ..row(
            "solea",
            "twelve from 1, 3 6 8 10 12",
            12,
            &[2, 5, 7, 9, 11],
            (70, 180),
        )
    },
    row(
        "seguiriya",
        "the twelve from 8",
        12,
        &[0, 2, 4, 7, 10],
        (100, 180),
    ),
    // Encyclopaedia summaries on the son jalisciense: one bar of 6/8, the next of 3/4.
    row(
        "jalisciense",
        "twelve, 1 4 7 9 11",
        12,
        &[0, 3, 6, 8, 10],
        (140, 420),
    ),
    // The same two bars, the other one first; common practice, no source.
    row(
        "jalisciense-turned",
        "twelve, 1 3 5 7 10",
        12,
        &[0, 2, 4, 6, 9],
        (140, 420),
    ),
    // Additive cycles; common practice.
    row("five-23", "five as 2 and 3", 5, &[0, 2], (100, 400)),
    row("five-32", "five as 3 and 2", 5, &[0, 3], (100, 400)),
    row(
        "seven-223",
        "seven as 2, 2 and 3",
        7,
        &[0, 2, 4],
        (100, 400),
    ),
    row(
        "seven-322",
        "seven as 3, 2 and 2",
        7,
        &[0, 3, 5],
        (100, 400),
    ),
    row(
        "seven-232",
        "seven as 2, 3 and 2",
        7,
        &[0, 2, 5],
        (100, 400),
    ),
    row(
        "eight-332",
        "eight as 3, 3 and 2",
        8,
        &[0, 3, 6],
        (100, 400),
    ),
    row("eight-44", "eight as 4 and 4", 8, &[0, 4], (100, 400)),
    row(
        "nine-2223",
        "nine as 2, 2, 2 and 3",
        9,
        &[0, 2, 4, 6],
        (100, 400),
    ),
    row("nine-333", "nine as 3, 3 and 3", 9, &[0, 3, 6], (100, 400)),
    // Layers under the bell (Kubik; Locke 1982 and Agawu 2006 from memory).
    Row {
        bell: BELL,
        ..row(
            "bell-four",
            "the bell over its four",
            12,
            &[0, 3, 6, 9],
            (200, 480),
        )
    },
    Row {
        bell: BELL,
        ..row(
            "bell-six",
            "the bell over its six",
            12,
            &[0, 2, 4, 6, 8, 10],
            (200, 480),
        )
    },
    Row {
        bell: BELL,
        ..row(
            "bell-three",
            "the bell over its three",
            12,
            &[0, 4, 8],
            (200, 480),
        )
    },
    // Five strokes, twos and threes apart (Toussaint 2013, from memory).
    row(
        "bell-five",
        "twelve, 1 3 5 8 10",
        12,
        &[0, 2, 4, 7, 9],
        (200, 480),
    ),
    // Twelve as two sixes under palmas that are counted from 12; common practice.
    Row {
        counting: Counting::FromLast,
        ..row(
            "twelve-from-12",
            "twelve as two sixes, counted from 12",
            12,
            OPEN,
            (100, 260),
        )
    },
];

const fn row(
    id: &'static str,
    words: &'static str,
    n_pulses: i64,
    marks: &'static [i64],
    tempo: (i64, i64),
) -> Row {
    Row {
        id,
        words,
        n_pulses,
        marks,
        close: None,
        bell: &[],
        counting: Counting::FromOne,
        tempo,
    }
}

impl Pattern {
    /// Six pulses, the grouping left open.
    pub const SIX: Self = Self::of_row(&ROWS[0]);

    /// All patterns of the table, in its order.
    pub fn all() -> impl ExactSizeIterator<Item = Self> {
        ROWS.iter().map(Self::of_row)
    }

    const fn of_row(row: &'static Row) -> Self {
        Self {
            grouped: Grouped::Row(row),
            counting: None,
        }
    }

    /// A grouping of one's own by the pulses that it marks: twos and threes, all the way round; `None` of
    /// any other.
    pub fn own(marks: Layer) -> Option<Self> {
        let is_made_of_both = marks.gaps().into_iter().all(|gap| matches!(gap, 2 | 3));
        is_made_of_both.then_some(Self {
            grouped: Grouped::Own(marks),
            counting: None,
        })
    }

    /// The same, its counts spoken otherwise where the learner has chosen nothing else.
    #[must_use]
    pub fn counted(self, counting: Counting) -> Self {
        Self {
            counting: Some(Counting::in_style(Some(counting), self.counting())),
            ..self
        }
    }

    fn row(self) -> Option<&'static Row> {
        match self.grouped {
            Grouped::Row(row) => Some(row),
            Grouped::Own(_) => None,
        }
    }

    /// Its id in decks and commands; `own` of a grouping of one's own, which a deck writes as counts.
    pub fn id(self) -> &'static str {
        self.row().map_or("own", |row| row.id)
    }

    /// Its id, or the counts of a grouping of one's own, as `1-4-7-9-11 of 12`.
    pub fn name(self) -> String {
        match self.grouped {
            Grouped::Row(row) => row.id.to_owned(),
            Grouped::Own(marks) => {
                let n = marks.cycle().n_pulses();
                format!("{} of {n}", marks.in_counts())
            }
        }
    }

    /// The pattern of the table with this id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::all().find(|pattern| pattern.id() == id)
    }

    /// In words.
    pub fn words(self) -> &'static str {
        self.row()
            .map_or("a grouping of one's own", |row| row.words)
    }

    /// Its cycle.
    pub fn cycle(self) -> Cycle {
        match self.grouped {
            Grouped::Row(row) => Cycle::new(row.n_pulses).expect("the rows are cycles"),
            Grouped::Own(marks) => marks.cycle(),
        }
    }

    /// What its own grouping marks; `None` where the feel decides.
    pub fn marks(self) -> Option<Layer> {
        match self.grouped {
            Grouped::Row(row) => self.layer(row.marks),
            Grouped::Own(marks) => Some(marks),
        }
    }

    /// The one layer that claps a feel in it, where there is one.
    pub fn claps(self, feel: Feel) -> Option<Layer> {
        match feel {
            Feel::Mixed => self.marks(),
            _ => feel.layer(self.cycle()),
        }
    }

    /// What a bell strikes in every cycle.
    pub fn bell(self) -> Option<Layer> {
        self.layer(self.row()?.bell)
    }

    /// The pulse on which the harmony comes to rest, where it is not the last mark.
    pub fn close(self) -> Option<Pulse> {
        let close = self.row()?.close;
        close.map(|idx| self.cycle().pulse_at(idx))
    }

    /// How its counts are spoken where the learner has chosen nothing else.
    pub fn counting(self) -> Counting {
        let by_row = || self.row().map(|row| row.counting);
        self.counting.or_else(by_row).unwrap_or_default()
    }

    /// Whether they differ in nothing but their grouping: as many pulses, the same bell, and the same
    /// words for counts.
    pub fn is_like(self, other: Self) -> bool {
        self.cycle() == other.cycle()
            && self.bell() == other.bell()
            && self.counting() == other.counting()
    }

    /// Slowest and fastest in pulses a minute.
    pub fn tempo(self) -> (i64, i64) {
        self.row().map_or(OWN_TEMPO, |row| row.tempo)
    }

    fn layer(self, pulses: &[i64]) -> Option<Layer> {
        let is_some = !pulses.is_empty();
        is_some.then(|| Layer::of(self.cycle(), pulses).expect("the rows are layers"))
    }
}

impl PartialEq for Pattern {
    fn eq(&self, other: &Self) -> bool {
        let is_same = match (self.grouped, other.grouped) {
            (Grouped::Row(row), Grouped::Row(other)) => row.id == other.id,
            (Grouped::Own(marks), Grouped::Own(other)) => marks == other,
            (Grouped::Row(_), Grouped::Own(_)) | (Grouped::Own(_), Grouped::Row(_)) => false,
        };
        is_same && self.counting() == other.counting()
    }
}

impl Eq for Pattern {}

impl fmt::Debug for Pattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Pattern({})", self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_an_id_of_its_own_and_makes_layers() {
        for pattern in Pattern::all() {
            assert_eq!(Pattern::from_id(pattern.id()), Some(pattern));
            let (slowest, fastest) = pattern.tempo();
            assert!(slowest < fastest);
            let _ = (pattern.marks(), pattern.bell(), pattern.close());
        }
        assert_eq!(Pattern::from_id("nonesuch"), None);
    }

    #[test]
    fn a_grouping_of_ones_own_is_made_of_twos_and_threes() {
        let own = |n, counts| {
            let cycle = Cycle::new(n).expect("a cycle");
            Pattern::own(Layer::from_counts(cycle, counts).expect("a layer"))
        };
        let wheel = own(12, "1-4-7-9-11").expect("3 3 2 2 2");
        let guajira = Pattern::from_id("guajira").expect("a row");
        assert_eq!(wheel.marks(), guajira.marks());
        assert_ne!(wheel, guajira);
        assert_eq!(wheel.name(), "1-4-7-9-11 of 12");
        assert_eq!(
            wheel.counted(Counting::FromLast).counting(),
            Counting::FromLast
        );
        let spanish = guajira.counted(Counting::Spanish).counting();
        assert_eq!(spanish, Counting::SpanishFromLast);
        assert!(own(10, "1-4-6-9").is_some());
        // A four, a one, and what comes round to a four.
        for (n, counts) in [(8, "1-5"), (6, "1-2-4"), (7, "1-4")] {
            assert_eq!(own(n, counts), None, "{counts}");
        }
    }

    #[test]
    fn one_wheel_is_entered_at_three_counts() {
        // The wheel 3-3-2-2-2 from 12, from 1 and from 8: turning it gives the others (Díaz-Báñez
        // and others 2004 for the seguiriya).
        let marks = |id: &str| {
            Pattern::from_id(id)
                .and_then(Pattern::marks)
                .expect("marks")
        };
        let wheel = marks("guajira");
        assert_eq!(wheel.gaps(), [3, 3, 2, 2, 2]);
        assert_eq!(marks("solea"), wheel.turned(-1));
        assert_eq!(marks("seguiriya"), wheel.turned(-8));
    }

    #[test]
    fn marks_in_counts_are_as_they_are_spoken() {
        // The accents as the trade speaks them; sources as beside the rows.
        let spoken = |id: &str| {
            let pattern = Pattern::from_id(id).expect("a row");
            pattern.counting().list(pattern.marks().expect("marks"))
        };
        assert_eq!(spoken("guajira"), "12, 3, 6, 8 and 10");
        assert_eq!(spoken("bulerias"), "12, 3, 7, 8 and 10");
        assert_eq!(spoken("solea"), "3, 6, 8, 10 and dos");
        assert_eq!(spoken("jalisciense"), "1, 4, 7, 9 and 11");
        assert_eq!(spoken("jalisciense-turned"), "1, 3, 5, 7 and 10");
        assert_eq!(spoken("bell-five"), "1, 3, 5, 8 and 10");
    }
}
