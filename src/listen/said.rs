//! What is said of a cycle or of the whole: evidence, a lean, and how sure that is.

use super::analysis::Answers;
use super::lean::Lean;
use super::stream::Part;
use super::units::real;

/// What is said of a cycle or of the whole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Said {
    /// What speaks for threes, in nats; at least 0.
    pub threes: f64,
    /// What speaks for twos, in nats; at least 0.
    pub twos: f64,
    /// How sure the lean is, 0 to 1.
    pub sure: f64,
    /// To what it leans.
    pub lean: Lean,
    /// Whether it leans to neither because its sixes lean to threes and to twos in turn, as those of a compás
    /// of 3 + 3 + 2 + 2 + 2 do.
    pub turns_within: bool,
}

impl Said {
    /// How sure it is as a shade: nine in ten or more, seven in ten, less.
    pub fn shade(self) -> char {
        match self.sure {
            sure if sure >= 0.9 => '#',
            sure if sure >= 0.7 => '+',
            _ => '-',
        }
    }

    /// Its mark on a strip of cycles: that of its lean, or `t` where it turns within.
    pub fn mark(self) -> char {
        if self.turns_within {
            't'
        } else {
            self.lean.mark()
        }
    }

    /// To what it leans, in words; nothing here is called more than a lean.
    pub fn lean_words(self) -> &'static str {
        match self.turns_within {
            true => "leaning to threes and to twos in turn",
            false => self.lean.words(),
        }
    }

    /// Whether it says that nothing can be told.
    pub fn is_unclear(self) -> bool {
        self.lean == Lean::Unclear && !self.turns_within
    }

    /// The same with how sure it is.
    pub fn words(self) -> String {
        match self.is_unclear() {
            true => self.lean_words().to_owned(),
            false => format!(
                "{}, sure to {:.0} in 100",
                self.lean_words(),
                self.percent()
            ),
        }
    }

    /// How sure it is in a hundred; never all of it, which evidence cannot be.
    pub fn percent(self) -> f64 {
        (100.0 * self.sure).min(99.0)
    }

    /// How clearly it leans, to compare cycles by: first by how sure the lean is, then by how far
    /// evidence for one passes that for the other. What is unclear comes after all else.
    pub(super) fn clearness(self) -> (f64, f64) {
        let sure = if self.is_unclear() { 0.0 } else { self.sure };
        (sure, (self.threes - self.twos).abs())
    }
}

/// A cycle, and to what it leans.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CycleSaid {
    /// When it begins, in seconds.
    pub start: f64,
    /// What is said of it: its lean as heard with its neighbours, and its share of what it and those about it
    /// that lean alike say.
    pub said: Said,
    /// What each part says of it likewise, in the order of [`Part::ALL`], above 0 for threes.
    pub parts: [f64; 4],
    /// What in each part speaks for threes and what for twos, in this cycle and in those about it that
    /// lean alike, by which its own lean is heard.
    pub sides: [[f64; 2]; 4],
}

impl CycleSaid {
    /// What is said of several sixes, one at least, as one cycle: evidence added up, leans by their mean.
    pub(super) fn of_sixes(sixes: &[Self], answers: Answers) -> Self {
        let share = |lean: Lean| {
            let own = sixes.iter().filter(|six| six.said.lean == lean);
            own.map(|six| six.said.sure).sum::<f64>() / real(sixes.len())
        };
        let leans = [Lean::Threes, Lean::Twos, Lean::Both].into_iter();
        let best = leans.max_by(|a, b| share(*a).total_cmp(&share(*b)));
        let spoken = best.filter(|lean| answers == Answers::Forced || share(*lean) > 0.5);
        let lean = spoken.unwrap_or(Lean::Unclear);
        let mut all = sixes[0];
        let some = |lean: Lean| sixes.iter().any(|six| six.said.lean == lean);
        all.said.lean = lean;
        all.said.turns_within = spoken.is_none() && some(Lean::Threes) && some(Lean::Twos);
        all.said.sure = match spoken {
            Some(lean) => share(lean),
            // Of sixes that lean this way and that, one is as sure as they are that it is neither.
            None => sixes.iter().map(|six| six.said.sure).sum::<f64>() / real(sixes.len()),
        };
        for six in &sixes[1..] {
            all.said.threes += six.said.threes;
            all.said.twos += six.said.twos;
            for part in 0..Part::ALL.len() {
                all.parts[part] += six.parts[part];
                all.sides[part][0] += six.sides[part][0];
                all.sides[part][1] += six.sides[part][1];
            }
        }
        all
    }
}
