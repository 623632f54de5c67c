//! Accounts and keys.

use super::make::{account, after, at, first, home, new_account, new_key};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::{AccountId, SystemId};
use eavesward_service::domain::model::account::Scope;
use eavesward_service::domain::ports::store::Store;
use eavesward_service::domain::ports::store::accounts::AccountStore as _;

on_both!(
    accounts_and_keys_come_back_as_they_were,
    keys_are_paged_by_age_and_kept_apart,
    a_revoked_key_stays_revoked_since_then,
    a_key_of_one_system_comes_back_with_it,
    one_of_eight_rivals_makes_the_first_account,
    no_first_account_after_another,
    the_store_can_be_shared_as_an_object,
);

async fn accounts_and_keys_come_back_as_they_were(rig: &Rig) {
    let store = &rig.database;
    let (account, key) = new_account();
    store.insert_account(&account, &key).await.unwrap();
    assert_eq!(store.account(account.id).await.unwrap(), Some(account.clone()));
    assert_eq!(store.account(AccountId::new()).await.unwrap(), None);
    assert_eq!(store.key_by_hash(&key.hash).await.unwrap(), Some(key));
    assert_eq!(store.key_by_hash(&[7; 32]).await.unwrap(), None);
    let (mut older, older_key) = new_account();
    older.created_at = at(-1);
    store.insert_account(&older, &older_key).await.unwrap();
    assert_eq!(store.accounts().await.unwrap(), [older, account]);
}

async fn keys_are_paged_by_age_and_kept_apart(rig: &Rig) {
    let store = &rig.database;
    let (mine, other) = (account(rig).await, account(rig).await);
    for seconds in [5, 5, 5, 1] {
        let mut key = new_key(mine, seconds);
        key.scopes = Scope::ALL.to_vec();
        key.expires_at = None;
        store.insert_key(&key).await.unwrap();
    }
    let all = store.keys(mine, &first(100)).await.unwrap();
    assert_eq!(all.len(), 5, "with the account's first key");
    assert!(all.is_sorted_by_key(|key| (key.created_at, key.id)));
    assert!(all.iter().all(|key| key.account_id == mine));
    let third = &all[2];
    let rest = store.keys(mine, &after(third.created_at, third.id.0, 100)).await.unwrap();
    assert_eq!(rest, all[3..]);
    assert_eq!(store.keys(other, &first(100)).await.unwrap().len(), 1);
}

async fn a_revoked_key_stays_revoked_since_then(rig: &Rig) {
    let store = &rig.database;
    let (mine, other) = (account(rig).await, account(rig).await);
    let key = new_key(mine, 1);
    store.insert_key(&key).await.unwrap();
    assert!(!store.revoke_key(other, key.id, at(50)).await.unwrap());
    assert!(store.revoke_key(mine, key.id, at(60)).await.unwrap());
    assert!(store.revoke_key(mine, key.id, at(70)).await.unwrap());
    let stored = store.key_by_hash(&key.hash).await.unwrap().unwrap();
    assert_eq!(stored.revoked_at, Some(at(60)));
}

async fn a_key_of_one_system_comes_back_with_it(rig: &Rig) {
    let store = &rig.database;
    let home = home(rig).await;
    let mut key = new_key(home.account, 1);
    (key.scopes, key.system_id) = (vec![Scope::Read], Some(home.system.id));
    store.insert_key(&key).await.unwrap();
    assert_eq!(store.key_by_hash(&key.hash).await.unwrap(), Some(key.clone()));
    assert!(store.keys(home.account, &first(100)).await.unwrap().contains(&key));
    let mut stray = new_key(home.account, 2);
    stray.system_id = Some(SystemId::new());
    assert!(store.insert_key(&stray).await.is_err(), "a key of a system that never was");
}

async fn one_of_eight_rivals_makes_the_first_account(rig: &Rig) {
    let rivals = (0..8).map(|_| async {
        let replica = rig.replica().await;
        let (account, key) = new_account();
        let made = replica.bootstrap(&account, &key).await.unwrap();
        replica.close().await;
        made
    });
    let made = futures_util::future::join_all(rivals).await;
    assert_eq!(made.iter().filter(|made| **made).count(), 1);
    assert_eq!(rig.database.accounts().await.unwrap().len(), 1);
}

async fn no_first_account_after_another(rig: &Rig) {
    account(rig).await;
    let (late, key) = new_account();
    assert!(!rig.database.bootstrap(&late, &key).await.unwrap());
    assert_eq!(rig.database.account(late.id).await.unwrap(), None);
}

async fn the_store_can_be_shared_as_an_object(rig: &Rig) {
    let shared: std::sync::Arc<dyn Store> = std::sync::Arc::new(rig.database.clone());
    let other = std::sync::Arc::clone(&shared);
    tokio::spawn(async move { other.ping().await }).await.unwrap().unwrap();
    shared.ping().await.unwrap();
}
