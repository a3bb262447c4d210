//! Who the learners are, and which machines are theirs.

use rusqlite::{Connection, OptionalExtension as _, Transaction};

use crate::class::hand_in::{Header, LearnerId};
use crate::label::Label;

use super::collect::{CollectError, Stop};
use super::{label_at, learner_of, roster};
use crate::store::error::Fault;
use crate::store::record::install_to_sql;

/// A learner of the class.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Enrolled {
    /// Who it is.
    pub learner: LearnerId,
    /// What the teacher calls them, or else what they called themselves last.
    pub name: Label,
    /// How many attempts are here.
    pub n_attempts: u64,
    /// How many more were made, as far as hand-ins say, and are not here.
    pub n_missing: u64,
}

/// What a machine that two learners claim says of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kin {
    /// They are two: the file is refused.
    Two,
    /// The teacher says that they are one learner.
    One,
}

/// All learners, by what they are called and then number.
pub(super) fn learners(conn: &Connection) -> Result<Vec<Enrolled>, Fault> {
    let sql = "SELECT whole.learner, whole.name,
                   coalesce(sum(install.n_kept), 0),
                   coalesce(sum(max(install.n_made - install.n_kept, 0)), 0)
               FROM learner AS whole
               JOIN learner AS part ON coalesce(part.joined, part.learner) = whole.learner
               LEFT JOIN install ON install.learner = part.learner
               GROUP BY whole.learner ORDER BY whole.name, whole.learner";
    let called = roster::called(conn)?;
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([])?;
    let mut learners = Vec::new();
    while let Some(row) = rows.next()? {
        let learner = learner_of(row.get(0)?);
        let name = match called.get(&learner) {
            Some(name) => name.clone(),
            None => label_at(row, 1, "learner")?,
        };
        learners.push(Enrolled {
            learner,
            name,
            n_attempts: row.get::<_, i64>(2)?.unsigned_abs(),
            n_missing: row.get::<_, i64>(3)?.unsigned_abs(),
        });
    }
    learners.sort_by(|one, other| (&one.name, one.learner).cmp(&(&other.name, other.learner)));
    Ok(learners)
}

/// The learner that this one was joined to, or itself.
pub(super) fn root(conn: &Connection, learner: LearnerId) -> Result<LearnerId, Fault> {
    let sql = "SELECT coalesce(joined, learner) FROM learner WHERE learner = ?1";
    let found = conn
        .prepare_cached(sql)?
        .query_row([install_to_sql(learner.0)], |row| row.get(0))
        .optional()?;
    Ok(found.map_or(learner, learner_of))
}

/// How many attempts of a learner were made, as hand-ins say, and are not here.
pub(super) fn n_missing(conn: &Connection, learner: LearnerId) -> Result<u64, Fault> {
    let sql =
        "SELECT coalesce(sum(max(n_made - n_kept, 0)), 0) FROM install JOIN learner USING (learner)
               WHERE coalesce(joined, learner) = ?1";
    let mut statement = conn.prepare_cached(sql)?;
    let n: i64 = statement.query_row([install_to_sql(learner.0)], |row| row.get(0))?;
    Ok(n.unsigned_abs())
}

/// Enters the learner of `header` and their machines. A machine of somebody else is refused, or
/// joins the two where they are one.
pub(super) fn enter(tx: &Transaction<'_>, header: &Header, kin: Kin) -> Result<(), Stop> {
    name(tx, header)?;
    for machine in &header.machines {
        let owner: Option<i64> = tx
            .prepare_cached("SELECT learner FROM install WHERE install = ?1")?
            .query_row([install_to_sql(machine.install)], |row| row.get(0))
            .optional()?;
        if let Some(owner) = owner {
            settle(tx, header.learner, learner_of(owner), kin)?;
        }
        let n_made = i64::try_from(machine.n_made).unwrap_or(i64::MAX);
        tx.prepare_cached(
            "INSERT INTO install (install, learner, n_made, n_kept) VALUES (?1, ?2, ?3, 0)
             ON CONFLICT (install) DO UPDATE SET n_made = max(n_made, excluded.n_made)",
        )?
        .execute((
            install_to_sql(machine.install),
            install_to_sql(header.learner.0),
            n_made,
        ))?;
    }
    Ok(())
}

/// The name given last stands; of two given at one moment the later in the alphabet, so that the
/// order of files does not matter.
fn name(tx: &Transaction<'_>, header: &Header) -> Result<(), Fault> {
    tx.prepare_cached(
        "INSERT INTO learner (learner, name, named_ms) VALUES (?1, ?2, ?3)
         ON CONFLICT (learner) DO UPDATE SET name = excluded.name, named_ms = excluded.named_ms
         WHERE (excluded.named_ms, excluded.name) > (named_ms, name)",
    )?
    .execute((
        install_to_sql(header.learner.0),
        header.name.as_str(),
        header.made.0,
    ))?;
    Ok(())
}

fn settle(tx: &Transaction<'_>, claims: LearnerId, owner: LearnerId, kin: Kin) -> Result<(), Stop> {
    let (claims, owner) = (root(tx, claims)?, root(tx, owner)?);
    if claims == owner {
        return Ok(());
    }
    if kin == Kin::Two {
        let name: String = tx.query_row(
            "SELECT name FROM learner WHERE learner = ?1",
            [install_to_sql(owner.0)],
            |row| row.get(0),
        )?;
        return Err(CollectError::Whose { owner, name }.into());
    }
    let (one, other) = (claims.min(owner), claims.max(owner));
    tx.execute(
        "UPDATE learner SET joined = ?1 WHERE coalesce(joined, learner) = ?2",
        [install_to_sql(one.0), install_to_sql(other.0)],
    )?;
    Ok(())
}
