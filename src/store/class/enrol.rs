//! Who the learners are, and which machines are theirs.

use crate::class::hand_in::{Header, LearnerId};
use crate::label::Label;

use super::base::Base;
use super::collect::{CollectError, Stop};
use super::{label_at, learner_at, learner_to_sql, roster};
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
pub(super) fn learners(base: &Base) -> Result<Vec<Enrolled>, Fault> {
    let sql = format!(
        "SELECT whole.learner, whole.name, CAST(coalesce(sum(install.n_kept), 0) AS BIGINT), {MISSING}
         FROM learner AS whole
         JOIN learner AS part ON coalesce(part.joined, part.learner) = whole.learner
         LEFT JOIN install ON install.learner = part.learner
         GROUP BY whole.learner, whole.name"
    );
    let called = roster::called(base)?;
    let mut learners = base.all(&sql, &[], |row| {
        let learner = learner_at(row, 0)?;
        let name = match called.get(&learner) {
            Some(name) => name.clone(),
            None => label_at(row, 1, "learner")?,
        };
        Ok(Enrolled {
            learner,
            name,
            n_attempts: row.number::<i64>(2)?.unsigned_abs(),
            n_missing: row.number::<i64>(3)?.unsigned_abs(),
        })
    })?;
    learners.sort_by(|one, other| (&one.name, one.learner).cmp(&(&other.name, other.learner)));
    Ok(learners)
}

/// How many attempts of the machines at hand are missing. More may be here than was said.
const MISSING: &str = "CAST(coalesce(sum(CASE WHEN install.n_made > install.n_kept
                           THEN install.n_made - install.n_kept ELSE 0 END), 0) AS BIGINT)";

/// The learner that this one was joined to, or itself.
pub(super) fn root(base: &Base, learner: LearnerId) -> Result<LearnerId, Fault> {
    Ok(roster::whole(base, learner)?.unwrap_or(learner))
}

/// How many attempts of a learner were made, as hand-ins say, and are not here.
pub(super) fn n_missing(base: &Base, learner: LearnerId) -> Result<u64, Fault> {
    let sql = format!(
        "SELECT {MISSING} FROM install JOIN learner USING (learner)
         WHERE coalesce(joined, learner) = ?1"
    );
    let n = base.one(&sql, &[learner_to_sql(learner)], |row| row.number::<i64>(0))?;
    Ok(n.unwrap_or(0).unsigned_abs())
}

/// Enters the learner of `header` and their machines. A machine of somebody else is refused, or
/// joins the two where they are one.
pub(super) fn enter(base: &Base, header: &Header, kin: Kin) -> Result<(), Stop> {
    name(base, header)?;
    for machine in &header.machines {
        let install = install_to_sql(machine.install);
        let owner = base.one(
            "SELECT learner FROM install WHERE install = ?1",
            &[install.into()],
            |row| learner_at(row, 0),
        )?;
        if let Some(owner) = owner {
            settle(base, header.learner, owner, kin)?;
        }
        let n_made = i64::try_from(machine.n_made).unwrap_or(i64::MAX);
        base.execute(
            "INSERT INTO install (install, learner, n_made, n_kept) VALUES (?1, ?2, ?3, 0)
             ON CONFLICT (install) DO UPDATE SET n_made = excluded.n_made
             WHERE excluded.n_made > install.n_made",
            &[
                install.into(),
                learner_to_sql(header.learner),
                n_made.into(),
            ],
        )?;
    }
    Ok(())
}

/// The name given last stands; of two given at one moment the later in the alphabet, so that the
/// order of files does not matter.
fn name(base: &Base, header: &Header) -> Result<(), Fault> {
    base.execute(
        "INSERT INTO learner (learner, name, named_ms) VALUES (?1, ?2, ?3)
         ON CONFLICT (learner) DO UPDATE SET name = excluded.name, named_ms = excluded.named_ms
         WHERE (excluded.named_ms, excluded.name) > (learner.named_ms, learner.name)",
        &[
            learner_to_sql(header.learner),
            header.name.as_str().into(),
            header.made.0.into(),
        ],
    )?;
    Ok(())
}

fn settle(base: &Base, claims: LearnerId, owner: LearnerId, kin: Kin) -> Result<(), Stop> {
    let (claims, owner) = (root(base, claims)?, root(base, owner)?);
    if claims == owner {
        return Ok(());
    }
    if kin == Kin::Two {
        let sql = "SELECT name FROM learner WHERE learner = ?1";
        let name = base.one(sql, &[learner_to_sql(owner)], |row| {
            Ok(row.text(0)?.to_owned())
        })?;
        let name = name.unwrap_or_default();
        return Err(CollectError::Whose { owner, name }.into());
    }
    let (one, other) = (claims.min(owner), claims.max(owner));
    base.execute(
        "UPDATE learner SET joined = ?1 WHERE coalesce(joined, learner) = ?2",
        &[learner_to_sql(one), learner_to_sql(other)],
    )?;
    Ok(())
}
