//! The learner of a store.

use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread;

use crate::quiz::{Attempt, Skill};
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
    let learner = replayed(store)?;
    let rows = learner.standings().map(|(skill, standing)| {
        let due = Some(standing.memory().due_day());
        (skill.clone(), due, standing.encode())
    });
    store.rebuild_cache(RULES, rows.collect::<Vec<_>>())?;
    Ok(learner)
}

/// The learner whose log is the store's, replayed from its first attempt. Reading and learning take
/// about a microsecond an attempt each and go on side by side.
///
/// # Errors
/// When the store cannot be read.
pub fn replayed(store: &Store) -> Result<Learner, StoreError> {
    const BATCHES_AHEAD: usize = 8;
    let (batches, inbox) = sync_channel::<Vec<Attempt>>(BATCHES_AHEAD);
    let (spent, back) = channel();
    thread::scope(|scope| {
        let learning = scope.spawn(move || learn(&inbox, &spent));
        let read = read_in_batches(store, &batches, &back);
        drop(batches);
        let learner = learning.join().expect("learning an attempt never panics");
        read.map(|()| learner)
    })
}

/// Hands the log over in batches. What comes back is freed here, where it was made: freeing on
/// another thread costs more than learning.
fn read_in_batches(
    store: &Store,
    batches: &SyncSender<Vec<Attempt>>,
    back: &Receiver<Vec<Attempt>>,
) -> Result<(), StoreError> {
    const BATCH: usize = 512;
    let mut batch = Vec::with_capacity(BATCH);
    store.answers(|attempt| {
        batch.push(attempt);
        if batch.len() == BATCH {
            let mut empty = back
                .try_recv()
                .unwrap_or_else(|_| Vec::with_capacity(BATCH));
            empty.clear();
            // The other side ends only when this one has.
            drop(batches.send(std::mem::replace(&mut batch, empty)));
        }
    })?;
    drop(batches.send(batch));
    Ok(())
}

/// The store streams in the order of learning, so that none is late.
fn learn(inbox: &Receiver<Vec<Attempt>>, spent: &Sender<Vec<Attempt>>) -> Learner {
    let mut replay = Replay::default();
    while let Ok(batch) = inbox.recv() {
        batch.iter().for_each(|attempt| replay.take(attempt));
        // Nobody may be there any more to take it back.
        drop(spent.send(batch));
    }
    replay.finish().0
}
