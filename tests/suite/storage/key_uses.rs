//! The last use of keys: written in batches, never going back, and set right after a clock was ahead.

use super::make::{account, at, first, new_key};
use super::{Rig, on_both};
use chrono::{DateTime, Utc};
use eavesward_service::domain::background::key_uses;
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::base::ids::{AccountId, KeyId};
use eavesward_service::domain::context::Context;
use eavesward_service::domain::context::key_uses::minute;
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::corrections::CorrectionStore as _;
use std::collections::HashMap;
use std::sync::Arc;

on_both!(
    uses_of_many_keys_are_written_at_once,
    a_use_never_goes_back_over_replicas,
    a_use_of_a_clock_that_was_ahead_is_set_right,
    nothing_is_written_twice_and_nothing_is_lost_to_a_failure,
    replicas_that_write_the_same_keys_at_once_both_end,
);

async fn stored(rig: &Rig, account: AccountId) -> HashMap<KeyId, Option<DateTime<Utc>>> {
    let keys = rig.database.keys(account, &first(500)).await.unwrap();
    keys.into_iter().map(|key| (key.id, key.last_used_at)).collect()
}

async fn made(rig: &Rig, account: AccountId, count: i64) -> Vec<KeyId> {
    let mut ids = Vec::new();
    for second in 0..count {
        let key = new_key(account, second);
        rig.database.insert_key(&key).await.unwrap();
        ids.push(key.id);
    }
    ids
}

async fn uses_of_many_keys_are_written_at_once(rig: &Rig) {
    let account = account(rig).await;
    let keys = made(rig, account, 150).await;
    let used: Vec<_> = keys.iter().map(|id| (*id, at(60))).collect();
    assert_eq!(rig.database.note_key_uses(&used, at(90)).await.unwrap(), 150);
    let stored = stored(rig, account).await;
    assert!(keys.iter().all(|id| stored[id] == Some(at(60))));
    assert_eq!(stored.values().filter(|used| used.is_none()).count(), 1, "the first key was not used");
    let unknown = [(KeyId::new(), at(60))];
    assert_eq!(rig.database.note_key_uses(&unknown, at(90)).await.unwrap(), 0);
}

async fn a_use_never_goes_back_over_replicas(rig: &Rig) {
    let account = account(rig).await;
    let key = made(rig, account, 1).await[0];
    let replica = rig.replica().await;
    assert_eq!(rig.database.note_key_uses(&[(key, at(120))], at(130)).await.unwrap(), 1);
    assert_eq!(replica.note_key_uses(&[(key, at(60))], at(131)).await.unwrap(), 0);
    assert_eq!(replica.note_key_uses(&[(key, at(120))], at(131)).await.unwrap(), 0, "the same minute");
    assert_eq!(stored(rig, account).await[&key], Some(at(120)));
}

async fn a_use_of_a_clock_that_was_ahead_is_set_right(rig: &Rig) {
    let account = account(rig).await;
    let keys = made(rig, account, 3).await;
    let used: Vec<_> = keys.iter().map(|id| (*id, at(86_400))).collect();
    rig.database.note_key_uses(&used[..2], at(86_400)).await.unwrap();
    // One is used again before anything is corrected. The third was noted ahead and is written by a clock that is right.
    rig.database.note_key_uses(&[(keys[0], at(60)), used[2]], at(70)).await.unwrap();
    let found = stored(rig, account).await;
    assert_eq!((found[&keys[0]], found[&keys[2]]), (Some(at(60)), Some(at(70))));
    rig.database.undo_future(at(200)).await.unwrap();
    let found = stored(rig, account).await;
    assert_eq!((found[&keys[0]], found[&keys[1]]), (Some(at(60)), Some(minute(at(200)))));
}

async fn nothing_is_written_twice_and_nothing_is_lost_to_a_failure(rig: &Rig) {
    let account = account(rig).await;
    let mut key = new_key(account, 1);
    rig.database.insert_key(&key).await.unwrap();
    let clock = Arc::new(SetClock::new(at(0)));
    let cx = Context::new(Arc::new(rig.database.clone()), clock.clone());
    cx.key_uses.note(&key, at(0));
    rig.raw("ALTER TABLE keys RENAME TO keys_away").await;
    key_uses::write(&cx).await.unwrap_err();
    rig.raw("ALTER TABLE keys_away RENAME TO keys").await;
    assert_eq!(key_uses::write(&cx).await.unwrap(), 1);
    assert_eq!(key_uses::write(&cx).await.unwrap(), 0);
    key = rig.database.key_by_hash(&key.hash).await.unwrap().unwrap();
    assert_eq!(key.last_used_at, Some(minute(at(0))));
    cx.key_uses.note(&key, at(0));
    assert_eq!(cx.key_uses.take(), [], "its row says so already");
}

async fn replicas_that_write_the_same_keys_at_once_both_end(rig: &Rig) {
    let account = account(rig).await;
    let keys = made(rig, account, 100).await;
    let replica = rig.replica().await;
    for round in 1..=10 {
        let forwards: Vec<_> = keys.iter().map(|id| (*id, at(60 * round))).collect();
        let backwards: Vec<_> = forwards.iter().rev().copied().collect();
        let now = at(60 * round);
        let (one, other) =
            tokio::join!(rig.database.note_key_uses(&forwards, now), replica.note_key_uses(&backwards, now));
        assert_eq!(one.unwrap() + other.unwrap(), 100, "each key was changed once");
    }
}
