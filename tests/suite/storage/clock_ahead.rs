//! A clock that was ahead and is set right: what it stored about the future is gone within a minute.

use super::deliveries::{Deliveries, announced, find};
use super::make::{account, at, first, home};
use super::subscriptions::{of_digests, of_reminders, with_letters};
use super::{Rig, on_both};
use chrono::TimeDelta;
use eavesward_service::domain::background::corrections::{self, LastCorrection};
use eavesward_service::domain::model::delivery::DeliveryState;
use eavesward_service::domain::model::idempotency::{Answer, Attempt, Claim};
use eavesward_service::domain::model::subscription::Subscription;
use eavesward_service::domain::ports::store::corrections::CorrectionStore as _;
use eavesward_service::domain::ports::store::deliveries::DeliveryStore as _;
use eavesward_service::domain::ports::store::idempotency::IdempotencyStore as _;
use eavesward_service::domain::ports::store::subscriptions::SubscriptionStore as _;
use uuid::Uuid;

on_both!(
    letters_that_failed_are_tried_now,
    letters_that_were_given_up_wait_again,
    a_letter_to_be_sent_at_once_is_sent_now,
    what_is_held_back_until_a_date_stays_held_back,
    a_digest_comes_at_its_time,
    a_request_can_be_repeated,
    corrections_are_looked_for_when_the_clock_was_set_back,
);

const DAY: i64 = 86_400;

async fn corrected(carrying: &Deliveries, seconds: i64) {
    carrying.clock.set(at(seconds));
    corrections::run(&carrying.cx).await.unwrap();
}

async fn letters_that_failed_are_tried_now(rig: &Rig) {
    let home = home(rig).await;
    // By an hour and by five days: a wait of the one is as long as one that is right.
    for ahead in [3600, 5 * DAY] {
        let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
        with_letters(rig, &made, 8).await;
        carrying.answers(503, Some(7200));
        assert_eq!(carrying.serve(&made, ahead).await, 4, "the others wait, for the receiver rests");
        assert_eq!(carrying.serve(&made, ahead + 3600).await, 0);
        carrying.answers(200, None);
        corrected(&carrying, 100).await;
        assert_eq!(carrying.serve(&made, 100).await, 8, "{ahead}");
        assert_eq!(carrying.left(&made).await, (0, 0));
    }
}

async fn letters_that_were_given_up_wait_again(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 4).await;
    carrying.answers(500, None);
    assert_eq!(carrying.serve(&made, 10).await, 4);
    assert_eq!(carrying.serve(&made, 30 * DAY).await, 4);
    assert_eq!(carrying.left(&made).await, (0, 4), "two days seem to be over");
    corrected(&carrying, 100).await;
    assert_eq!(carrying.left(&made).await, (4, 0));
    carrying.answers(200, None);
    // Those that arrive in the future are kept for as long as others.
    assert_eq!(carrying.serve(&made, 6 * DAY).await, 4);
    corrected(&carrying, 200).await;
    assert_eq!(rig.database.forget_deliveries(at(DAY), at(DAY)).await.unwrap(), 4);
}

async fn a_letter_to_be_sent_at_once_is_sent_now(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 1).await;
    carrying.answers(200, None);
    assert_eq!(carrying.serve(&made, 1).await, 1);
    let sent = rig.database.deliveries(home.account, made.id, None, &first(9)).await.unwrap();
    assert!(rig.database.send_again(home.account, sent[0].id, at(5 * DAY)).await.unwrap());
    assert_eq!(carrying.serve(&made, 2).await, 0);
    corrected(&carrying, 3).await;
    assert_eq!(carrying.serve(&made, 3).await, 1);
}

async fn what_is_held_back_until_a_date_stays_held_back(rig: &Rig) {
    let (home, made, mut carrying) = announced(rig).await;
    let next = async || {
        let all = rig.database.deliveries(home.account, made.id, None, &first(9)).await.unwrap();
        all.first().and_then(|one| one.next_at)
    };
    // On the second day a task of the ninth is announced, three days before.
    carrying.clock.set(at(2 * DAY));
    find(rig, &home, 2 * DAY, 2, 9).await;
    assert_eq!(carrying.prepare().await.written, 1);
    assert_eq!(next().await, Some(at(6 * DAY)));
    corrected(&carrying, 0).await;
    assert_eq!(next().await, Some(at(6 * DAY)));
}

async fn a_digest_comes_at_its_time(rig: &Rig) {
    let home = home(rig).await;
    let mut made = of_digests(&home);
    let monday = made.upcoming(at(0))[0];
    made.next_at = Some(monday);
    rig.database.insert_subscription(&made).await.unwrap();
    let shown = async || -> Subscription {
        rig.database.subscription(home.account, made.id).await.unwrap().expect("it is there")
    };
    let mut carrying = Deliveries::new(rig, 0);
    corrected(&carrying, 200).await;
    assert_eq!(shown().await.next_at, made.next_at, "nothing was wrong");
    // Two weeks ahead the digest is made, and the next one is computed.
    carrying.clock.set(at(15 * DAY));
    assert_eq!(carrying.prepare().await.written, 1);
    assert!(shown().await.next_at > Some(at(15 * DAY)));
    corrected(&carrying, 300).await;
    assert_eq!(shown().await.next_at, Some(monday));
    carrying.clock.set(monday + TimeDelta::minutes(6));
    assert_eq!(carrying.prepare().await.written, 1, "also if one of that time was made too early");
    let all = rig.database.deliveries(home.account, made.id, None, &first(9)).await.unwrap();
    let states: Vec<_> = all.iter().map(|one| one.state).collect();
    assert_eq!(states.len(), 2, "{all:?}");
    assert!(states.contains(&DeliveryState::Waiting) && states.contains(&DeliveryState::Superseded));
}

async fn a_request_can_be_repeated(rig: &Rig) {
    let account = account(rig).await;
    let attempt = |key: &str, number: u8, seconds| Attempt {
        account_id: account,
        key: key.to_owned(),
        fingerprint: [7; 32],
        seed: Uuid::from_u128(number.into()),
        now: at(seconds),
    };
    let go = |number: u8| Claim::Go { seed: Uuid::from_u128(number.into()) };
    let store = &rig.database;
    assert_eq!(store.claim(&attempt("cut off", 1, 5 * DAY)).await.unwrap(), go(1));
    assert_eq!(store.claim(&attempt("answered", 2, 5 * DAY)).await.unwrap(), go(2));
    let answer = Answer { status: 201, etag: None, location: None, body: "{}".to_owned() };
    store.answer(account, "answered", &answer).await.unwrap();
    assert_eq!(store.undo_future(at(0)).await.unwrap(), 2);
    assert_eq!(store.claim(&attempt("cut off", 3, 0)).await.unwrap(), go(1), "taken over, with its seed");
    assert_eq!(store.claim(&attempt("answered", 3, 0)).await.unwrap(), Claim::Answered(answer));
    assert_eq!(store.purge(at(1)).await.unwrap(), 2, "kept for the usual time from now");
}

async fn corrections_are_looked_for_when_the_clock_was_set_back(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 1).await;
    let mut last = LastCorrection::default();
    let mut look = async |seconds: i64| {
        carrying.clock.set(at(seconds));
        last.run_if_due(&carrying.cx).await.unwrap();
        carrying.serve(&made, seconds).await
    };
    assert_eq!(look(5 * DAY).await, 1);
    assert_eq!(look(100).await, 1, "at once");
    // Another replica, with another clock, tries it meanwhile.
    let other = Deliveries::new(rig, 0);
    assert_eq!(other.serve(&made, 5 * DAY).await, 1);
    assert_eq!(look(129).await, 0);
    assert_eq!(look(130).await, 1, "half a minute later");
}
