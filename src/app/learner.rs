//! The learner of a store.

use crate::quiz::Skill;
use crate::review::{Learner, RULES, Replay, Standing};
use crate::store::{Store, StoreError};

/// The learner of a store: from the cache when it covers the whole log, else by replaying it.
pub(super) fn learner_of(store: &mut Store) -> Result<Learner, StoreError> {
    if let Some(rows) = store.load_cache(RULES)? {
        let decode = |(skill, bytes): (Skill, Vec<u8>)| {
            Standing::decode(&bytes).map(|standing| (skill, standing))
        };
        let standings: Option<Vec<_>> = rows.into_iter().map(decode).collect();
        if let Some(standings) = standings {
            return Ok(Learner::from_standings(standings));
        }
    }
    let mut replay = Replay::default();
    store.attempts(|attempt| replay.take(&attempt))?;
    // The store streams in the order of learning, so that none is late.
    let (learner, _) = replay.finish();
    let rows = learner.standings().map(|(skill, standing)| {
        (
            skill.clone(),
            Some(standing.memory().due_day()),
            standing.encode(),
        )
    });
    store.rebuild_cache(RULES, rows.collect::<Vec<_>>())?;
    Ok(learner)
}
