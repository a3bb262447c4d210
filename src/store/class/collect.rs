//! Taking hand-ins in.

use rusqlite::{Connection, OptionalExtension as _, Statement, Transaction};

use crate::class::hand_in::{Doubt, Item, LearnerId, Reading, Refusal};
use crate::label::{Label, printable};
use crate::quiz::{Attempt, AttemptId};

use super::enrol::{self, Kin};
use super::{ClassStore, damaged};
use crate::store::StoreError;
use crate::store::error::Fault;
use crate::store::record::{self, COLUMNS, install_to_sql};

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

impl From<rusqlite::Error> for Stop {
    fn from(error: rusqlite::Error) -> Self {
        Self::Fault(error.into())
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
        collect(&mut self.conn, reading, kin).map_err(|stop| match stop {
            Stop::Fault(fault) => fault.at(&self.path).into(),
            Stop::No(error) => error,
        })
    }
}

fn collect(conn: &mut Connection, reading: Reading<'_>, kin: Kin) -> Result<Collected, Stop> {
    let header = reading.header().clone();
    let checksum = reading.checksum();
    let tx = conn.transaction()?;
    enrol::enter(&tx, &header, kin)?;
    let (n_new, n_known) = if is_known(&tx, checksum)? {
        (0, header.n_attempts)
    } else {
        let counts = take_items(&tx, reading)?;
        keep_receipt(
            &tx,
            checksum,
            header.learner,
            header.made.0,
            header.n_attempts,
        )?;
        counts
    };
    let learner = enrol::root(&tx, header.learner)?;
    let n_missing = enrol::n_missing(&tx, learner)?;
    tx.commit()?;
    Ok(Collected {
        learner,
        name: header.name,
        n_new,
        n_known,
        n_missing,
    })
}

/// Whether this very file was taken before; then there is nothing new in it.
fn is_known(tx: &Transaction<'_>, checksum: &str) -> Result<bool, Fault> {
    let mut statement = tx.prepare_cached("SELECT 1 FROM hand_in WHERE checksum = ?1")?;
    Ok(statement.exists([checksum])?)
}

fn keep_receipt(
    tx: &Transaction<'_>,
    checksum: &str,
    learner: LearnerId,
    made_ms: i64,
    n_attempts: u64,
) -> Result<(), Fault> {
    let n_attempts = i64::try_from(n_attempts).unwrap_or(i64::MAX);
    let sql =
        "INSERT INTO hand_in (checksum, learner, made_ms, n_attempts) VALUES (?1, ?2, ?3, ?4)";
    let learner = install_to_sql(learner.0);
    tx.prepare_cached(sql)?
        .execute((checksum, learner, made_ms, n_attempts))?;
    Ok(())
}

/// Takes every item, and returns how many attempts were new and how many known.
fn take_items(tx: &Transaction<'_>, reading: Reading<'_>) -> Result<(u64, u64), Stop> {
    let sql = format!("{} ON CONFLICT DO NOTHING", record::insert_sql());
    let mut insert = tx.prepare_cached(&sql)?;
    let mut counts = Vec::new();
    let (mut n_new, mut n_known) = (0, 0);
    for item in reading {
        match item? {
            Item::Attempt(attempt) => {
                if take(tx, &mut insert, &attempt)? {
                    n_new += 1;
                    count(&mut counts, attempt.id.install);
                } else {
                    n_known += 1;
                }
            }
            Item::Dispute(doubt) => keep_doubt(tx, &doubt)?,
        }
    }
    let mut statement =
        tx.prepare_cached("UPDATE install SET n_kept = n_kept + ?2 WHERE install = ?1")?;
    for (install, n) in counts {
        statement.execute((install_to_sql(install), n))?;
    }
    Ok((n_new, n_known))
}

/// Counts one more of a machine; there are few of them.
fn count(counts: &mut Vec<(u64, i64)>, install: u64) {
    match counts.iter_mut().find(|(known, _)| *known == install) {
        Some((_, n)) => *n += 1,
        None => counts.push((install, 1)),
    }
}

/// Adds an attempt, which asks the store once; only what is here already is looked at. Returns
/// whether it was new.
fn take(tx: &Transaction<'_>, insert: &mut Statement<'_>, attempt: &Attempt) -> Result<bool, Stop> {
    if record::write(insert, attempt)? == 1 {
        return Ok(true);
    }
    let sql = format!(
        "SELECT {} FROM attempt WHERE install = ?1 AND sitting = ?2 AND number = ?3",
        COLUMNS.join(", ")
    );
    let id = attempt.id;
    let known = tx
        .prepare_cached(&sql)?
        .query_row((install_to_sql(id.install), id.sitting, id.number), |row| {
            Ok(record::read(row))
        })
        .optional()?;
    match known
        .transpose()
        .map_err(|unreadable| damaged(&unreadable))?
    {
        Some(known) if record::are_same(&known, attempt) => Ok(false),
        _ => Err(CollectError::Differs { id }.into()),
    }
}

fn keep_doubt(tx: &Transaction<'_>, doubt: &Doubt) -> Result<(), Fault> {
    let sql = "INSERT INTO dispute (install, sitting, number, at_ms, note)
               VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING";
    let id = doubt.attempt;
    tx.prepare_cached(sql)?.execute((
        install_to_sql(id.install),
        id.sitting,
        id.number,
        doubt.at.0,
        doubt.note.as_ref().map_or("", Label::as_str),
    ))?;
    Ok(())
}
