//! The words in which answers, taps and timings are kept: short texts that a person can read.
//!
//! They stand in stores and in hand-ins, and so for ever: a word is never given another meaning.
//! Reading never panics; what means nothing is `None`.

use crate::rhythm::{Feel, Layer};

use super::{Answer, Hand, KeptTap, KeptTiming, Owner, Phase};

impl Phase {
    /// Its word.
    pub fn id(self) -> &'static str {
        match self {
            Self::Probe => "probe",
            Self::Adaptive => "adaptive",
            Self::Fill => "fill",
        }
    }

    /// The phase of this word.
    pub fn from_id(id: &str) -> Option<Self> {
        [Self::Probe, Self::Adaptive, Self::Fill]
            .into_iter()
            .find(|phase| phase.id() == id)
    }
}

impl Answer {
    /// What it is and its value, as `feel in-turn`; `?` is no value.
    pub fn to_text(self) -> String {
        match self {
            Self::Feel(feel) => format!("feel {}", feel.id()),
            Self::Start(Some(pulse)) => format!("start {pulse}"),
            Self::Start(None) => "start ?".to_owned(),
            Self::Clapping(layer) => format!("clapping {layer}"),
            Self::Hands(layer) => format!("hands {}", layer_text(layer)),
            Self::Pair([one, other]) => format!("pair {} {}", layer_text(one), layer_text(other)),
            Self::Marks(layer) => format!("marks {}", layer_text(layer)),
            Self::Turn(None) => "turn ?".to_owned(),
            Self::Turn(Some(cycle)) => format!("turn {cycle}"),
            Self::Owner(owner) => format!("owner {}", owner.id()),
        }
    }

    /// The answer that [`Answer::to_text`] wrote.
    pub fn from_text(text: &str) -> Option<Self> {
        let (what, value) = text.split_once(' ')?;
        match (what, value) {
            ("feel", id) => Feel::from_id(id).map(Self::Feel),
            ("start", "?") => Some(Self::Start(None)),
            ("start", pulse) => pulse.parse().ok().map(|pulse| Self::Start(Some(pulse))),
            ("clapping", layer) => layer.parse::<Layer>().ok().map(Self::Clapping),
            ("hands", layer) => layer_of(layer).map(Self::Hands),
            ("pair", both) => {
                let (one, other) = both.split_once(' ')?;
                Some(Self::Pair([layer_of(one)?, layer_of(other)?]))
            }
            ("marks", layer) => layer_of(layer).map(Self::Marks),
            ("turn", "?") => Some(Self::Turn(None)),
            ("turn", cycle) => cycle.parse().ok().map(|cycle| Self::Turn(Some(cycle))),
            ("owner", id) => Owner::from_id(id).map(Self::Owner),
            _ => None,
        }
    }
}

impl KeptTap {
    /// Taps in milliseconds with a space between two; `l` or `r` before one is its hand.
    pub fn to_text(taps: &[Self]) -> String {
        let word = |tap: &Self| match tap.hand {
            Hand::Either => tap.ms.to_string(),
            Hand::Left => format!("l{}", tap.ms),
            Hand::Right => format!("r{}", tap.ms),
        };
        taps.iter().map(word).collect::<Vec<_>>().join(" ")
    }

    /// The taps that [`KeptTap::to_text`] wrote; none of an empty text.
    pub fn from_text(text: &str) -> Option<Vec<Self>> {
        let tap = |word: &str| {
            let (hand, ms) = match word.as_bytes().first()? {
                b'l' => (Hand::Left, word.get(1..)?),
                b'r' => (Hand::Right, word.get(1..)?),
                _ => (Hand::Either, word),
            };
            let ms = ms.parse().ok()?;
            Some(Self { ms, hand })
        };
        if text.is_empty() {
            return Some(Vec::new());
        }
        text.split(' ').map(tap).collect()
    }
}

impl KeptTiming {
    /// Its four numbers, in the order in which the type has them.
    pub fn to_text(self) -> String {
        let t = self;
        format!("{} {} {} {}", t.lead_ms, t.spread_tenths, t.pulse_ms, t.n)
    }

    /// The timing that [`KeptTiming::to_text`] wrote.
    pub fn from_text(text: &str) -> Option<Self> {
        let words: Vec<&str> = text.split(' ').collect();
        let [lead, spread, pulse, n] = words.as_slice() else {
            return None;
        };
        Some(Self {
            lead_ms: lead.parse().ok()?,
            spread_tenths: spread.parse().ok()?,
            pulse_ms: pulse.parse().ok()?,
            n: n.parse().ok()?,
        })
    }
}

fn layer_text(layer: Option<Layer>) -> String {
    layer.map_or_else(|| "?".to_owned(), |layer| layer.to_string())
}

fn layer_of(text: &str) -> Option<Option<Layer>> {
    match text {
        "?" => Some(None),
        layer => layer.parse::<Layer>().ok().map(Some),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_answer(answer: Answer, text: &str) {
        assert_eq!(answer.to_text(), text);
        assert_eq!(Answer::from_text(text), Some(answer));
    }

    #[test]
    fn answers_are_short_words() {
        check_answer(Answer::Feel(Feel::InTurn), "feel in-turn");
        check_answer(Answer::Start(Some(3)), "start 3");
        check_answer(Answer::Start(None), "start ?");
        check_answer(Answer::Hands(None), "hands ?");
        check_answer(Answer::Owner(Owner::Neither), "owner neither");
        let threes = "x..x..".parse().ok();
        check_answer(Answer::Pair([None, threes]), "pair ? x..x..");
        let layer = "x..xx.".parse().expect("a layer");
        check_answer(Answer::Clapping(layer), "clapping x..xx.");
    }

    #[test]
    fn taps_and_timings_are_numbers() {
        let taps = [(-12, Hand::Left), (7, Hand::Either), (33, Hand::Right)]
            .map(|(ms, hand)| KeptTap { ms, hand });
        assert_eq!(KeptTap::to_text(&taps), "l-12 7 r33");
        assert_eq!(KeptTap::from_text("l-12 7 r33").as_deref(), Some(&taps[..]));
        assert_eq!(KeptTap::from_text("").as_deref(), Some(&[][..]));
        let timing = KeptTiming {
            lead_ms: -21,
            spread_tenths: 184,
            pulse_ms: 333,
            n: 17,
        };
        assert_eq!(KeptTiming::from_text(&timing.to_text()), Some(timing));
    }

    #[test]
    fn what_means_nothing_is_nothing() {
        for text in [
            "",
            "feel",
            "feel fours",
            "start -1",
            "start 256",
            "clapping ......",
            "clap x.",
            "pair x..x..",
            "owner all",
        ] {
            assert_eq!(Answer::from_text(text), None, "{text:?}");
        }
        for text in ["12 x", "l", "99999999999"] {
            assert_eq!(KeptTap::from_text(text), None, "{text:?}");
        }
        for text in ["", "1 2 3", "1 -2 3 4"] {
            assert_eq!(KeptTiming::from_text(text), None, "{text:?}");
        }
    }
}
