//! Standings as bytes, for a store that keeps them as a cache of the log.
//!
//! The bytes are little-endian, in the order of [`Standing::encode`], behind the number of the rules
//! that made them. Whatever is not exactly that is no standing: the log is the truth, and a cache
//! that cannot be read is dropped and rebuilt.

use crate::phrase::Level;
use crate::quiz::{AttemptId, Kind};
use crate::world::{Day, Moment};

use super::grade::Evidence;
use super::memory::{Memory, Recall};
use super::standing::{BlockId, Event, Met, N_RECALLS, Order, Standing};
use super::threshold::Threshold;

/// The version of all rules and constants by which attempts become standings. Any change of them
/// raises it, so that older caches are dropped.
pub const RULES: u32 = 2;

impl Standing {
    /// The standing as bytes for [`Standing::decode`].
    pub fn encode(&self) -> Vec<u8> {
        let mut out = Writer(Vec::with_capacity(256 + 4 * Threshold::N_WEIGHTS));
        out.put(RULES.to_le_bytes());
        out.small(kind_number(self.kind));
        out.small(self.threshold.alternatives());
        out.small(u8::from(self.before.is_some()));
        out.memory(self.before.unwrap_or(self.memory));
        out.memory(self.memory);
        out.evidence(&self.today);
        out.small(recall_number(self.recall));
        out.small(u8::try_from(self.recalls.len()).unwrap_or(u8::MAX));
        for recall in &self.recalls {
            out.small(recall_number(*recall));
        }
        out.small(self.firm_days);
        out.put(self.criterion.tenths().to_le_bytes());
        out.put(self.success.to_le_bytes());
        out.small(u8::from(self.met_today == Met::Yes));
        out.put(self.answered.to_le_bytes());
        out.put(self.right.to_le_bytes());
        out.put(self.first_day.0.to_le_bytes());
        out.order(self.latest);
        for weight in self.threshold.weights() {
            out.put(weight.to_le_bytes());
        }
        out.0
    }

    /// The standing that [`Standing::encode`] wrote under the same [`RULES`]; `None` of anything
    /// else.
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let mut from = Reader(bytes);
        if u32::from_le_bytes(from.take()?) != RULES {
            return None;
        }
        let kind = *Kind::ALL.get(usize::from(from.small()?))?;
        let alternatives = from.small()?;
        let has_before = from.truth()?;
        let before = from.memory()?;
        let standing = Self {
            kind,
            before: has_before.then_some(before),
            memory: from.memory()?,
            today: from.evidence()?,
            recall: from.recall()?,
            recalls: from.recalls()?,
            firm_days: from.small()?,
            criterion: from.level()?,
            success: from.chance()?,
            met_today: if from.truth()? { Met::Yes } else { Met::No },
            answered: u32::from_le_bytes(from.take()?),
            right: u32::from_le_bytes(from.take()?),
            first_day: from.day()?,
            latest: from.order()?,
            event: Event::Judged,
            threshold: Threshold::from_weights(alternatives, &from.weights()?)?,
        };
        from.0.is_empty().then_some(standing)
    }
}

struct Writer(Vec<u8>);

impl Writer {
    fn put<const N: usize>(&mut self, bytes: [u8; N]) {
        self.0.extend_from_slice(&bytes);
    }

    fn small(&mut self, number: u8) {
        self.0.push(number);
    }

    fn memory(&mut self, memory: Memory) {
        self.put(memory.stability().to_le_bytes());
        self.put(memory.difficulty().to_le_bytes());
        self.put(memory.last_day().0.to_le_bytes());
    }

    fn evidence(&mut self, evidence: &Evidence) {
        self.put(evidence.day.0.to_le_bytes());
        self.put(evidence.block.install.to_le_bytes());
        self.put(evidence.block.sitting.to_le_bytes());
        self.put(evidence.block.block.to_le_bytes());
        self.put(evidence.predicted.to_le_bytes());
        self.small(evidence.probes);
        self.small(evidence.probes_right);
        self.put(evidence.answered.to_le_bytes());
        self.put(evidence.fluency.to_le_bytes());
    }

    fn order(&mut self, order: Order) {
        self.put(order.day.0.to_le_bytes());
        self.put(order.at.0.to_le_bytes());
        self.put(order.id.install.to_le_bytes());
        self.put(order.id.sitting.to_le_bytes());
        self.put(order.id.number.to_le_bytes());
    }
}

/// What is left to read.
struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*head)
    }

    fn small(&mut self) -> Option<u8> {
        self.take::<1>().map(|[byte]| byte)
    }

    fn truth(&mut self) -> Option<bool> {
        match self.small()? {
            0 => Some(false),
            1 => Some(true),
            _ => None,
        }
    }

    fn single(&mut self) -> Option<f32> {
        let number = f32::from_le_bytes(self.take()?);
        number.is_finite().then_some(number)
    }

    fn chance(&mut self) -> Option<f64> {
        let chance = f64::from_le_bytes(self.take()?);
        // A predicted success may pass 1 by the last digit of a sum.
        (0.0..=1.0001).contains(&chance).then_some(chance)
    }

    fn level(&mut self) -> Option<Level> {
        let tenths = i16::from_le_bytes(self.take()?);
        let level = Level::of_tenths(tenths);
        (level.tenths() == tenths).then_some(level)
    }

    fn day(&mut self) -> Option<Day> {
        self.take().map(|bytes| Day(i32::from_le_bytes(bytes)))
    }

    fn memory(&mut self) -> Option<Memory> {
        let (stability, difficulty) = (self.single()?, self.single()?);
        Memory::from_parts(stability, difficulty, self.day()?)
    }

    fn recall(&mut self) -> Option<Recall> {
        [Recall::Lost, Recall::Shaky, Recall::Firm]
            .get(usize::from(self.small()?))
            .copied()
    }

    fn recalls(&mut self) -> Option<Vec<Recall>> {
        let n = usize::from(self.small()?);
        if n >= N_RECALLS {
            return None;
        }
        (0..n).map(|_| self.recall()).collect()
    }

    fn evidence(&mut self) -> Option<Evidence> {
        Some(Evidence {
            day: self.day()?,
            block: BlockId {
                install: u64::from_le_bytes(self.take()?),
                sitting: u32::from_le_bytes(self.take()?),
                block: u32::from_le_bytes(self.take()?),
            },
            predicted: self.single()?,
            probes: self.small()?,
            probes_right: self.small()?,
            answered: u16::from_le_bytes(self.take()?),
            fluency: self.single()?,
        })
    }

    fn order(&mut self) -> Option<Order> {
        Some(Order {
            day: self.day()?,
            at: Moment(i64::from_le_bytes(self.take()?)),
            id: AttemptId {
                install: u64::from_le_bytes(self.take()?),
                sitting: u32::from_le_bytes(self.take()?),
                number: u32::from_le_bytes(self.take()?),
            },
        })
    }

    fn weights(&mut self) -> Option<Vec<f32>> {
        (0..Threshold::N_WEIGHTS).map(|_| self.single()).collect()
    }
}

fn kind_number(kind: Kind) -> u8 {
    let index = Kind::ALL.iter().position(|k| *k == kind);
    index
        .and_then(|i| u8::try_from(i).ok())
        .expect("every kind is among all kinds, which are few")
}

fn recall_number(recall: Recall) -> u8 {
    match recall {
        Recall::Lost => 0,
        Recall::Shaky => 1,
        Recall::Firm => 2,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::review::standing::tests::{attempt, history};
    use crate::review::{Learner, Threshold};

    fn first() -> Standing {
        let mut standing = Standing::begin(Threshold::new(3, 6.0, 6.0), &attempt(1));
        standing.settle();
        standing
    }

    #[test]
    fn every_standing_comes_back_and_goes_on_alike() {
        let attempts = history(7, 400);
        let mut learner = Learner::new();
        for (n, attempt) in attempts.iter().enumerate() {
            let _: crate::review::Arrival = learner.learn(attempt);
            if n % 37 == 0 {
                let standings = learner.standings().map(|(skill, standing)| {
                    let back = Standing::decode(&standing.encode()).expect("it was just written");
                    assert_eq!(&back, standing);
                    (skill.clone(), back)
                });
                let again = Learner::from_standings(standings.collect::<Vec<_>>());
                assert_eq!(again, learner);
                learner = again;
            }
        }
        assert_eq!(learner, Learner::replay(&attempts));
    }

    #[test]
    fn bytes_cut_short_or_grown_or_of_other_rules_are_no_standing() {
        let bytes = first().encode();
        for cut in 0..bytes.len() {
            assert_eq!(Standing::decode(&bytes[..cut]), None, "{cut} bytes");
        }
        let grown = [&bytes[..], &[0]].concat();
        assert_eq!(Standing::decode(&grown), None);
        let mut other = bytes.clone();
        other[0] ^= 1;
        assert_eq!(Standing::decode(&other), None);
    }

    proptest! {
        #[test]
        fn no_bytes_panic(at in 4_usize..5000, byte: u8, tail in proptest::collection::vec(any::<u8>(), 0..64)) {
            let mut bytes = first().encode();
            let n = bytes.len();
            bytes[at % n] = byte;
            for (place, new) in bytes.iter_mut().skip(at % n).zip(&tail) {
                *place = *new;
            }
            if let Some(mut standing) = Standing::decode(&bytes) {
                // Whatever was accepted can be used.
                standing.take(&attempt(2));
                standing.settle();
                prop_assert!(standing.threshold().mean().is_finite());
                prop_assert!(standing.memory().stability().is_finite());
                let _ = (standing.is_firm(), standing.is_failing(), standing.rests_until());
            }
            prop_assert_eq!(Standing::decode(&tail), None);
        }
    }
}
