//! Repeated requests.

use super::make::{account, at};
use super::{Rig, on_both};
use chrono::{DateTime, TimeDelta, Utc};
use eavesward_service::domain::base::ids::AccountId;
use eavesward_service::domain::model::idempotency::{
    Answer, Attempt, CLAIM_LEASE, Claim, HeldClaim, RETENTION,
};
use eavesward_service::domain::ports::store::idempotency::IdempotencyStore as _;
use uuid::Uuid;

on_both!(
    one_of_sixteen_rivals_goes_ahead,
    an_answer_is_repeated_and_another_request_refused,
    a_claim_cut_off_is_taken_over_with_its_seed,
    a_claim_that_is_renewed_holds_on,
    a_claim_that_is_given_back_is_free_at_once_with_its_seed,
    a_claim_that_others_took_over_stays_theirs,
    a_claim_from_a_clock_that_was_ahead_does_not_block,
    a_forgotten_claim_can_be_made_anew,
    old_answers_count_as_gone,
    keys_of_two_accounts_are_two_keys,
    a_purge_takes_the_old_and_leaves_the_young,
);

const MOMENT: TimeDelta = TimeDelta::microseconds(1);

fn attempt(account_id: AccountId, seed: u128, now: DateTime<Utc>) -> Attempt {
    let key = "order-17".to_owned();
    Attempt { account_id, key, fingerprint: [5; 32], seed: Uuid::from_u128(seed), now }
}

fn go(seed: u128) -> Claim {
    Claim::Go { seed: Uuid::from_u128(seed) }
}

/// What others hear of a claim that was made or renewed at this instant.
fn running(since: DateTime<Utc>) -> Claim {
    Claim::Running { until: since + CLAIM_LEASE }
}

/// The claim of the tests' key as its holder knows it.
fn held(account_id: AccountId, claimed_at: DateTime<Utc>) -> HeldClaim {
    HeldClaim { account_id, key: "order-17".to_owned(), claimed_at }
}

fn answer() -> Answer {
    Answer {
        status: 201,
        etag: Some("\"1\"".to_owned()),
        location: None,
        body: "{\"name\":\"Äpfel\"}".to_owned(),
    }
}

async fn one_of_sixteen_rivals_goes_ahead(rig: &Rig) {
    let mine = account(rig).await;
    let replica = rig.replica().await;
    let rivals = (0..16_u128).map(|seed| {
        let database = if seed % 2 == 0 { rig.database.clone() } else { replica.clone() };
        tokio::spawn(async move { database.claim(&attempt(mine, seed, at(0))).await.unwrap() })
    });
    let mut went = 0;
    for rival in rivals.collect::<Vec<_>>() {
        match rival.await.unwrap() {
            Claim::Go { .. } => went += 1,
            other => assert_eq!(other, running(at(0))),
        }
    }
    assert_eq!(went, 1);
}

async fn an_answer_is_repeated_and_another_request_refused(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    assert_eq!(store.claim(&attempt(mine, 1, at(0))).await.unwrap(), go(1));
    let other = Attempt { fingerprint: [6; 32], ..attempt(mine, 2, at(1)) };
    assert_eq!(store.claim(&other).await.unwrap(), Claim::Mismatch);
    store.answer(mine, "order-17", &answer()).await.unwrap();
    assert_eq!(store.claim(&attempt(mine, 3, at(2))).await.unwrap(), Claim::Answered(answer()));
    assert_eq!(store.claim(&other).await.unwrap(), Claim::Mismatch);
    let late = attempt(mine, 4, at(0) + RETENTION);
    assert_eq!(store.claim(&late).await.unwrap(), Claim::Answered(answer()));
    store.forget(mine, "order-17").await.unwrap();
    assert_eq!(store.claim(&late).await.unwrap(), Claim::Answered(answer()), "an answer is not forgotten");
}

async fn a_claim_cut_off_is_taken_over_with_its_seed(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    assert_eq!(store.claim(&attempt(mine, 1, at(0))).await.unwrap(), go(1));
    assert_eq!(store.claim(&attempt(mine, 2, at(0) + CLAIM_LEASE)).await.unwrap(), running(at(0)));
    let late = at(0) + CLAIM_LEASE + MOMENT;
    let other = Attempt { fingerprint: [6; 32], ..attempt(mine, 3, late) };
    assert_eq!(store.claim(&other).await.unwrap(), Claim::Mismatch);
    assert_eq!(store.claim(&attempt(mine, 4, late)).await.unwrap(), go(1), "the first attempt's seed");
    assert_eq!(store.claim(&attempt(mine, 5, late)).await.unwrap(), running(late), "it holds anew");
    let much_later = late + RETENTION + MOMENT;
    assert_eq!(store.claim(&attempt(mine, 6, much_later)).await.unwrap(), go(1));
}

async fn a_claim_that_is_renewed_holds_on(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    assert_eq!(store.claim(&attempt(mine, 1, at(0))).await.unwrap(), go(1));
    let later = at(0) + CLAIM_LEASE;
    assert!(store.renew_claim(&held(mine, at(0)), later).await.unwrap());
    let rival = attempt(mine, 2, later + CLAIM_LEASE);
    assert_eq!(store.claim(&rival).await.unwrap(), running(later));
    store.answer(mine, "order-17", &answer()).await.unwrap();
    assert!(!store.renew_claim(&held(mine, later), later).await.unwrap(), "it has an answer");
}

async fn a_claim_that_is_given_back_is_free_at_once_with_its_seed(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    assert_eq!(store.claim(&attempt(mine, 1, at(0))).await.unwrap(), go(1));
    store.release_claim(&held(mine, at(0))).await.unwrap();
    let other = Attempt { fingerprint: [6; 32], ..attempt(mine, 2, at(0)) };
    assert_eq!(store.claim(&other).await.unwrap(), Claim::Mismatch);
    assert_eq!(store.claim(&attempt(mine, 3, at(0))).await.unwrap(), go(1));
    store.answer(mine, "order-17", &answer()).await.unwrap();
    store.release_claim(&held(mine, at(0))).await.unwrap();
    assert_eq!(store.claim(&attempt(mine, 4, at(0))).await.unwrap(), Claim::Answered(answer()));
}

async fn a_claim_that_others_took_over_stays_theirs(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    let late = at(0) + CLAIM_LEASE + MOMENT;
    store.claim(&attempt(mine, 1, at(0))).await.unwrap();
    assert_eq!(store.claim(&attempt(mine, 2, late)).await.unwrap(), go(1));
    assert!(!store.renew_claim(&held(mine, at(0)), late).await.unwrap());
    store.release_claim(&held(mine, at(0))).await.unwrap();
    assert_eq!(store.claim(&attempt(mine, 3, late)).await.unwrap(), running(late));
}

async fn a_claim_from_a_clock_that_was_ahead_does_not_block(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    let ahead = at(0) + TimeDelta::days(3);
    assert_eq!(store.claim(&attempt(mine, 1, ahead)).await.unwrap(), go(1));
    assert_eq!(store.claim(&attempt(mine, 2, at(0))).await.unwrap(), go(1));
    assert_eq!(store.claim(&attempt(mine, 3, at(0))).await.unwrap(), running(at(0)));
}

async fn a_forgotten_claim_can_be_made_anew(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    assert_eq!(store.claim(&attempt(mine, 1, at(0))).await.unwrap(), go(1));
    store.forget(mine, "order-17").await.unwrap();
    assert_eq!(store.claim(&attempt(mine, 2, at(1))).await.unwrap(), go(2));
}

async fn old_answers_count_as_gone(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    store.claim(&attempt(mine, 1, at(0))).await.unwrap();
    store.answer(mine, "order-17", &answer()).await.unwrap();
    let late = at(0) + RETENTION + MOMENT;
    let other = Attempt { fingerprint: [6; 32], ..attempt(mine, 2, late) };
    assert_eq!(store.claim(&other).await.unwrap(), go(2));
    assert_eq!(store.claim(&other).await.unwrap(), running(late), "the old answer is not given again");
    assert_eq!(store.claim(&attempt(mine, 3, late)).await.unwrap(), Claim::Mismatch);
}

async fn keys_of_two_accounts_are_two_keys(rig: &Rig) {
    let store = &rig.database;
    let (mine, other) = (account(rig).await, account(rig).await);
    assert_eq!(store.claim(&attempt(mine, 1, at(0))).await.unwrap(), go(1));
    assert_eq!(store.claim(&attempt(other, 2, at(0))).await.unwrap(), go(2));
    store.answer(other, "order-17", &answer()).await.unwrap();
    store.forget(other, "order-17").await.unwrap();
    assert_eq!(store.claim(&attempt(mine, 3, at(0))).await.unwrap(), running(at(0)));
}

async fn a_purge_takes_the_old_and_leaves_the_young(rig: &Rig) {
    let store = &rig.database;
    let mine = account(rig).await;
    for (number, seconds) in [(1_u128, 0), (2, 10), (3, 20)] {
        let key = format!("order-{number}");
        store.claim(&Attempt { key, ..attempt(mine, number, at(seconds)) }).await.unwrap();
    }
    store.answer(mine, "order-1", &answer()).await.unwrap();
    assert_eq!(store.purge(at(20)).await.unwrap(), 2);
    assert_eq!(store.purge(at(20)).await.unwrap(), 0);
    let again = Attempt { key: "order-1".to_owned(), ..attempt(mine, 9, at(30)) };
    assert_eq!(store.claim(&again).await.unwrap(), go(9));
    let kept = Attempt { key: "order-3".to_owned(), ..attempt(mine, 9, at(21)) };
    assert_eq!(store.claim(&kept).await.unwrap(), running(at(20)));
}
