//! Taking hand-ins in.

use crate::class::hand_in::{Doubt, Header, Item, LearnerId, Reading, Refusal};
use crate::label::{Label, printable};
use crate::quiz::{Attempt, AttemptId};

use super::base::Base;
use super::enrol::{self, Kin};
use super::{ClassStore, learner_to_sql};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::{self, install_to_sql};

/// So many attempts are added at once: a server is asked less often, and memory stays small.
const AT_ONCE: usize = 1_000;

/// What came of a hand-in that was taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Collected {
    /// Who handed in.
    pub learner: LearnerId,
    /// What the learner is called.
    pub name: Label,
    /// Attempts that were not here yet.
    pub n_new: u64,
    /// Attempts that were here already, and the same.
    pub n_known: u64,
    /// Attempts of the learner that were made, as hand-ins say, and are not here.
    pub n_missing: u64,
}

/// Why a hand-in was not taken. The store is as it was before.
#[derive(Debug, thiserror::Error)]
pub enum CollectError {
    /// The file is no hand-in that can be taken.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// An attempt is here under this name, and it is another one.
    #[error(
        "attempt {number} of sitting {sitting} of installation {install:016x} is here already and \
         is another one; a data folder was copied and both copies were used, or the file was forged",
        number = id.number, sitting = id.sitting, install = id.install
    )]
    Differs {
        /// The name that both claim.
        id: AttemptId,
    },
    /// It has attempts of a machine on which somebody else practises.
    #[error("it has attempts of a machine of another learner, {shown} ({owner})", shown = printable(name))]
    Whose {
        /// Whose machine it is.
        owner: LearnerId,
        /// What that learner is called.
        name: String,
    },
    /// The store could not be used.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What ends a transaction, before it is known of which file it is.
#[derive(Debug)]
pub(super) enum Stop {
    Fault(Fault),
    No(CollectError),
}

impl From<Fault> for Stop {
    fn from(fault: Fault) -> Self {
        Self::Fault(fault)
    }
}

impl From<CollectError> for Stop {
    fn from(error: CollectError) -> Self {
        Self::No(error)
    }
}

impl From<Refusal> for Stop {
    fn from(refusal: Refusal) -> Self {
        Self::No(refusal.into())
    }
}

impl ClassStore {
    /// Takes a hand-in whole, in one transaction, or leaves the store as it was.
    ///
    /// # Errors
    /// When the hand-in is refused, or the store cannot be written.
    pub fn collect(&mut self, reading: Reading<'_>, kin: Kin) -> Result<Collected, CollectError> {
        let whole = self.base.whole(|base| collect(base, reading, kin));
        whole.map_err(|stop| match stop {
            Stop::Fault(fault) => fault.at(&self.path).into(),
            Stop::No(error) => error,
        })
    }
}

fn collect(base: &Base, reading: Reading<'_>, kin: Kin) -> Result<Collected, Stop> {
    let header = reading.header().clone();
    let checksum = reading.checksum();
    // What a file says of its learner was entered when it was taken; nothing has to be written again.
    let (n_new, n_known) = if is_known(base, checksum)? {
        (0, header.n_attempts)
    } else {
        enrol::enter(base, &header, kin)?;
        let counts = take_items(base, reading)?;
        keep_receipt(base, checksum, &header)?;
        counts
    };
    let learner = enrol::root(base, header.learner)?;
    let n_missing = enrol::n_missing(base, learner)?;
    Ok(Collected {
        learner,
        name: header.name,
        n_new,
        n_known,
        n_missing,
    })
}

/// Whether this very file was taken before; then there is nothing new in it.
fn is_known(base: &Base, checksum: &str) -> Result<bool, Fault> {
    let sql = "SELECT checksum FROM hand_in WHERE checksum = ?1";
    Ok(base.one(sql, &[checksum.into()], |_| Ok(()))?.is_some())
}

fn keep_receipt(base: &Base, checksum: &str, header: &Header) -> Result<(), Fault> {
    let n_attempts = i64::try_from(header.n_attempts).unwrap_or(i64::MAX);
    base.execute(
        "INSERT INTO hand_in (checksum, learner, made_ms, n_attempts) VALUES (?1, ?2, ?3, ?4)",
        &[
            checksum.into(),
            learner_to_sql(header.learner),
            header.made.0.into(),
            n_attempts.into(),
        ],
    )?;
    Ok(())
}

/// Takes every item, and returns how many attempts were new and how many known.
fn take_items(base: &Base, reading: Reading<'_>) -> Result<(u64, u64), Stop> {
    let mut taken = Taken::default();
    let mut waiting = Vec::new();
    for item in reading {
        match item? {
            Item::Attempt(attempt) => waiting.push(attempt),
            Item::Dispute(doubt) => keep_doubt(base, &doubt)?,
        }
        if waiting.len() == AT_ONCE {
            take(base, &waiting, &mut taken)?;
            waiting.clear();
        }
    }
    take(base, &waiting, &mut taken)?;
    for (install, n) in taken.new_of {
        base.execute(
            "UPDATE install SET n_kept = n_kept + ?2 WHERE install = ?1",
            &[install_to_sql(install).into(), n.into()],
        )?;
    }
    Ok((taken.n_new, taken.n_known))
}

/// What was taken of a hand-in so far.
#[derive(Default)]
struct Taken {
    n_new: u64,
    n_known: u64,
    /// How many are new of each machine; there are few of them.
    new_of: Vec<(u64, i64)>,
}

impl Taken {
    fn count_new(&mut self, install: u64) {
        self.n_new += 1;
        match self.new_of.iter_mut().find(|(known, _)| *known == install) {
            Some((_, n)) => *n += 1,
            None => self.new_of.push((install, 1)),
        }
    }
}

/// Adds attempts; only those that are here already are looked at.
fn take(base: &Base, attempts: &[Attempt], taken: &mut Taken) -> Result<(), Stop> {
    let mut old = Vec::new();
    for (attempt, is_new) in attempts.iter().zip(base.add(attempts)?) {
        if is_new {
            taken.count_new(attempt.id.install);
        } else {
            old.push(attempt);
        }
    }
    let ids: Vec<AttemptId> = old.iter().map(|attempt| attempt.id).collect();
    let mut known = base.named(&ids)?.into_iter();
    for attempt in old {
        match known.next() {
            Some(known) if record::are_same(&known, attempt) => taken.n_known += 1,
            _ => return Err(CollectError::Differs { id: attempt.id }.into()),
        }
    }
    Ok(())
}

fn keep_doubt(base: &Base, doubt: &Doubt) -> Result<(), Fault> {
    let id = doubt.attempt;
    base.execute(
        "INSERT INTO dispute (install, sitting, number, at_ms, note)
         VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
        &[
            install_to_sql(id.install).into(),
            id.sitting.into(),
            id.number.into(),
            doubt.at.0.into(),
            doubt.note.as_ref().map_or("", Label::as_str).into(),
        ],
    )?;
    Ok(())
}
