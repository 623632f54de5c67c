//! Subscriptions and deliveries: who sends what, once each, and what is left in the end.

use super::make::{self, Home, at, claim_all, day, first, home, new_task, refreshed};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::{DeliveryId, SubscriptionId};
use eavesward_service::domain::base::schedule::Schedule;
use eavesward_service::domain::model::delivery::{
    AttemptOutcome, Body, ClaimedDelivery, Content, Delivery, DeliveryAttempt, DeliveryState, LoggedDelivery,
    NewDelivery,
};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::reminder::{Reminder, ReminderKind};
use eavesward_service::domain::model::signing::{ReplacedSecret, Secrets, SigningSecret};
use eavesward_service::domain::model::subscription::{
    Carries, DigestForm, Paused, Subscription, SubscriptionFacts, Timing,
};
use eavesward_service::domain::model::task::State;
use eavesward_service::domain::ports::store::deliveries::{
    AttemptedDelivery, DeliveryStore as _, DueReceiver,
};
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::outcomes::{Deleted, Updated};
use eavesward_service::domain::ports::store::subscriptions::{FanOut, SubscriptionStore as _};
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use std::collections::BTreeSet;

on_both!(
    what_is_written_is_read,
    a_subscription_begins_at_the_end_of_the_feed,
    two_replicas_write_an_entry_down_once,
    no_delivery_is_claimed_twice,
    a_claim_that_ended_is_left_to_its_successor,
    a_digest_is_written_once,
    a_receiver_rests_after_failures,
    what_ended_is_forgotten,
    a_dead_receivers_letters_are_parked_after_two_days,
    a_receiver_that_answered_between_has_its_two_days_anew,
    a_late_answer_of_an_old_address_changes_nothing,
    a_digest_that_waits_is_not_overtaken_by_itself,
    a_change_leaves_the_next_digest_where_it_is,
    accounts_take_turns_at_their_feeds,
    one_that_carries_reminders_from_now_on_begins_at_the_end,
);

pub fn of_reminders(home: &Home) -> Subscription {
    Subscription {
        id: SubscriptionId::new(),
        account_id: home.account,
        facts: SubscriptionFacts {
            name: "upkeep rota – Äpfel".to_owned(),
            url: "https://hooks.example/eaves".to_owned(),
            carries: Carries::Reminders { kinds: vec![ReminderKind::Due, ReminderKind::Late] },
            property_id: Some(home.property.id),
            system_id: None,
            lead_days: Some(3),
        },
        secrets: Secrets {
            current: SigningSecret::of(vec![1; 32]),
            before: vec![replaced(2, 99), replaced(3, 98)],
        },
        paused: None,
        next_at: None,
        next_set_at: at(2),
        waiting: 0,
        parked: 0,
        version: 1,
        created_at: at(1),
        updated_at: at(2),
    }
}

fn replaced(byte: u8, until: i64) -> ReplacedSecret {
    ReplacedSecret { secret: SigningSecret::of(vec![byte; 32]), until: at(until) }
}

pub fn of_digests(home: &Home) -> Subscription {
    let timing = Timing {
        schedule: Schedule::parse("0 7 * * 1").unwrap(),
        zone: chrono_tz::Asia::Kathmandu,
        zone_given: true,
        form: DigestForm::Markdown,
    };
    let plain = of_reminders(home);
    let facts = SubscriptionFacts { carries: Carries::Digest(timing), property_id: None, ..plain.facts };
    Subscription { facts, next_at: Some(at(100)), ..plain }
}

pub fn letter(subscription: &Subscription, seconds: i64) -> Delivery {
    Delivery {
        id: DeliveryId::new(),
        subscription_id: subscription.id,
        account_id: subscription.account_id,
        content: Content::Digest,
        number: None,
        task_id: None,
        state: DeliveryState::Waiting,
        attempts: 0,
        next_at: Some(at(seconds)),
        due_at: at(seconds),
        created_at: at(seconds),
        ended_at: None,
    }
}

pub fn body() -> Body {
    Body { media_type: "text/plain".to_owned(), text: "Äpfel".to_owned() }
}

fn attempted(claimed: &ClaimedDelivery, seconds: i64, status: u16) -> AttemptedDelivery<'_> {
    AttemptedDelivery { claimed, outcome: outcome(claimed, seconds, status) }
}

fn outcome(claimed: &ClaimedDelivery, seconds: i64, status: u16) -> AttemptOutcome {
    let done = status < 300;
    let state = if done { DeliveryState::Delivered } else { DeliveryState::Waiting };
    AttemptOutcome {
        attempt: DeliveryAttempt { at: at(seconds), milliseconds: 12, status: Some(status), error: None },
        state,
        next_at: (!done).then_some(at(seconds + 10)),
        first_at: at(seconds),
        rest_until: None,
        failed: !done,
        gone: claimed.delivery.attempts > 1_000,
    }
}

fn receiver(made: &Subscription) -> DueReceiver {
    DueReceiver { account_id: made.account_id, subscription_id: made.id }
}

async fn what_is_written_is_read(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    for made in [of_reminders(&home), of_digests(&home)] {
        store.insert_subscription(&made).await.unwrap();
        // A repeated request.
        store.insert_subscription(&made).await.unwrap();
        assert_eq!(store.subscription(home.account, made.id).await.unwrap(), Some(made.clone()));
        let mut new = made.clone();
        "another".clone_into(&mut new.facts.name);
        new.paused = Some(Paused { at: at(7), because: Some("it answered 410".to_owned()) });
        new.secrets.before = Vec::new();
        assert_eq!(store.update_subscription(&new).await.unwrap(), Updated::Done);
        assert_eq!(store.update_subscription(&new).await.unwrap(), Updated::Stale { current: 2 });
        new.version = 2;
        assert_eq!(store.subscription(home.account, made.id).await.unwrap(), Some(new));
        let other = make::account(rig).await;
        assert_eq!(store.subscription(other, made.id).await.unwrap(), None);
        assert_eq!(store.delete_subscription(other, made.id, 2).await.unwrap(), Deleted::Missing);
        let waiting = letter(&made, 5);
        store.insert_delivery(&waiting, &body()).await.unwrap();
        assert_eq!(
            store.delivery(home.account, waiting.id).await.unwrap(),
            Some(LoggedDelivery { delivery: waiting.clone(), attempts: Vec::new() })
        );
        assert_eq!(store.delivery(other, waiting.id).await.unwrap(), None);
        assert_eq!(store.subscription(home.account, made.id).await.unwrap().unwrap().waiting, 1);
        assert_eq!(
            store.delete_subscription(home.account, made.id, 1).await.unwrap(),
            Deleted::Stale { current: 2 }
        );
        assert_eq!(store.delete_subscription(home.account, made.id, 2).await.unwrap(), Deleted::Done);
        assert_eq!(store.delivery(home.account, waiting.id).await.unwrap(), None);
    }
    assert_eq!(store.subscriptions(home.account, &make::first(10)).await.unwrap(), []);
}

/// Raises an entry of a due task.
async fn raise(rig: &Rig, home: &Home, seconds: i64, due: i64) {
    rig.database.put_rain(home.account, home.gauge.id, &make::readings(seconds, &[1.0])).await.unwrap();
    let stale = claim_all(rig, at(1_000_000 + seconds)).await;
    let claim = *stale.iter().find(|claim| claim.system_id == home.system.id).unwrap();
    let state = State::on(day(0), Some(day(due)), None);
    let task = new_task(home, 0, Duty::ClearWeepHole, Some(day(due)), state);
    let told = rig
        .database
        .finish_refresh(&[refreshed(claim, &home.system, vec![task], at(9_000))], at(seconds))
        .await;
    assert_eq!(told.unwrap(), 1);
}

fn make_of(subscription: &Subscription, entry: &Reminder) -> NewDelivery {
    let delivery = Delivery {
        id: DeliveryId::of_entry(subscription.id, entry.generation, entry.number),
        content: Content::Reminder,
        number: Some(entry.number),
        task_id: Some(entry.task_id),
        ..letter(subscription, 20)
    };
    NewDelivery { delivery, body: body() }
}

async fn a_subscription_begins_at_the_end_of_the_feed(rig: &Rig) {
    let home = home(rig).await;
    raise(rig, &home, 1, 3).await;
    let made = of_reminders(&home);
    rig.database.insert_subscription(&made).await.unwrap();
    assert_eq!(rig.database.behind_feeds(None, 10).await.unwrap(), []);
    raise(rig, &home, 2, 0).await;
    assert_eq!(rig.database.behind_feeds(None, 10).await.unwrap(), std::slice::from_ref(&made));
    let written = rig.database.fan_out(&made, at(20), &|entry, _| Some(make_of(&made, entry))).await.unwrap();
    assert_eq!(written, Some(FanOut { written: 1, more: false }));
    let all = rig.database.deliveries(home.account, made.id, None, &first(10)).await.unwrap();
    assert_eq!(all.iter().map(|one| one.number).collect::<Vec<_>>(), [Some(2)]);
}

async fn two_replicas_write_an_entry_down_once(rig: &Rig) {
    let home = home(rig).await;
    let made = of_reminders(&home);
    rig.database.insert_subscription(&made).await.unwrap();
    raise(rig, &home, 2, 0).await;
    let replica = rig.replica().await;
    let write =
        |entry: &Reminder, _: bool| entry.covers.contains(&ReminderKind::Due).then(|| make_of(&made, entry));
    let (a, b) =
        tokio::join!(rig.database.fan_out(&made, at(20), &write), replica.fan_out(&made, at(20), &write));
    // Whoever comes second finds the entry locked, or looked at.
    assert_eq!([a, b].into_iter().filter_map(Result::unwrap).map(|fanned| fanned.written).sum::<usize>(), 1);
    assert_eq!(rig.database.behind_feeds(None, 10).await.unwrap(), []);
    // It says nothing of an entry that its filter leaves out, and has looked at it.
    raise(rig, &home, 3, 40).await;
    let nothing = Some(FanOut { written: 0, more: false });
    assert_eq!(rig.database.fan_out(&made, at(20), &write).await.unwrap(), nothing);
    assert_eq!(rig.database.behind_feeds(None, 10).await.unwrap(), []);
    let claimed = rig.database.claim_deliveries(made.id, at(20), at(80), 10).await.unwrap().unwrap();
    assert_eq!(
        claimed.deliveries.iter().map(|one| (one.delivery.number, &one.body)).collect::<Vec<_>>(),
        [(Some(1), &body())]
    );
}

async fn no_delivery_is_claimed_twice(rig: &Rig) {
    let home = home(rig).await;
    let made = of_reminders(&home);
    rig.database.insert_subscription(&made).await.unwrap();
    for second in 0..60 {
        rig.database.insert_delivery(&letter(&made, second), &body()).await.unwrap();
    }
    let mut claimers = Vec::new();
    for _ in 0..6 {
        let (replica, id) = (rig.replica().await, made.id);
        claimers.push(tokio::spawn(async move {
            let (mut mine, mut idle) = (Vec::new(), 0);
            while idle < 3 {
                match replica.claim_deliveries(id, at(100), at(200), 4).await.unwrap() {
                    Some(claimed) => mine.extend(claimed.deliveries.iter().map(|one| one.delivery.id)),
                    None => idle += 1,
                }
            }
            mine
        }));
    }
    let mut all = Vec::new();
    for claimer in claimers {
        all.extend(claimer.await.unwrap());
    }
    assert_eq!(all.len(), 60);
    assert_eq!(all.iter().collect::<BTreeSet<_>>().len(), 60);
}

async fn a_claim_that_ended_is_left_to_its_successor(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_reminders(&home));
    store.insert_subscription(&made).await.unwrap();
    store.insert_delivery(&letter(&made, 5), &body()).await.unwrap();
    assert_eq!(store.due_receivers(at(4), 10).await.unwrap(), []);
    assert_eq!(store.due_receivers(at(5), 10).await.unwrap(), [receiver(&made)]);
    let claim = async |now, until| store.claim_deliveries(made.id, at(now), at(until), 4).await.unwrap();
    let slow = claim(5, 50).await.unwrap().deliveries;
    assert!(claim(49, 99).await.is_none());
    let quick = claim(50, 100).await.unwrap().deliveries;
    // The slow one failed: that is logged, and changes nothing for the one who has it now.
    store.finish_deliveries(&made, &[attempted(&slow[0], 51, 500)], at(51)).await.unwrap();
    assert!(claim(70, 99).await.is_none());
    store.finish_deliveries(&made, &[attempted(&quick[0], 52, 200)], at(53)).await.unwrap();
    let logged = store.delivery(home.account, slow[0].delivery.id).await.unwrap().unwrap();
    let LoggedDelivery { delivery, attempts } = logged;
    assert_eq!(
        (delivery.state, delivery.next_at, delivery.ended_at),
        (DeliveryState::Delivered, None, Some(at(53)))
    );
    assert_eq!(attempts.iter().map(|one| one.status).collect::<Vec<_>>(), [Some(500), Some(200)]);
    assert!(store.send_again(home.account, delivery.id, at(60)).await.unwrap());
    assert!(!store.send_again(make::account(rig).await, delivery.id, at(60)).await.unwrap());
    assert_eq!(claim(60, 99).await.unwrap().deliveries[0].delivery.attempts, 0);
}

async fn a_digest_is_written_once(rig: &Rig) {
    let home = home(rig).await;
    let made = of_digests(&home);
    rig.database.insert_subscription(&made).await.unwrap();
    assert_eq!(rig.database.due_digests(at(99)).await.unwrap(), []);
    assert_eq!(rig.database.due_digests(at(100)).await.unwrap(), std::slice::from_ref(&made));
    let replica = rig.replica().await;
    let digest = Delivery { id: DeliveryId::of_digest(made.id, 7, 0), ..letter(&made, 100) };
    let digest = NewDelivery { delivery: digest, body: body() };
    let (a, b) = tokio::join!(
        rig.database.put_digest(&made, at(100), &digest, Some(at(900))),
        replica.put_digest(&made, at(100), &digest, Some(at(900))),
    );
    assert_eq!((u8::from(a.unwrap()) + u8::from(b.unwrap())), 1);
    assert_eq!(rig.database.due_digests(at(899)).await.unwrap(), []);
    let due = rig.database.due_digests(at(900)).await.unwrap();
    assert_eq!(
        due.iter().map(|one| one.next_set_at).collect::<Vec<_>>(),
        [at(100)],
        "when the next was computed"
    );
}

async fn a_digest_that_waits_is_not_overtaken_by_itself(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_digests(&home));
    store.insert_subscription(&made).await.unwrap();
    let older = letter(&made, 90);
    store.insert_delivery(&older, &body()).await.unwrap();
    let digest = Delivery { id: DeliveryId::of_digest(made.id, 7, 0), ..letter(&made, 100) };
    let new = NewDelivery { delivery: digest.clone(), body: body() };
    for _ in 0..2 {
        // Its time is not moved on, as if it had been set back.
        assert!(store.put_digest(&made, at(100), &new, Some(at(100))).await.unwrap());
        let all = store.deliveries(home.account, made.id, None, &first(10)).await.unwrap();
        let states: Vec<_> = all.iter().map(|one| (one.id, one.state)).collect();
        assert_eq!(states, [(digest.id, DeliveryState::Waiting), (older.id, DeliveryState::Superseded)]);
    }
}

async fn a_change_leaves_the_next_digest_where_it_is(rig: &Rig) {
    let home = home(rig).await;
    let (store, read) = (&rig.database, of_digests(&home));
    store.insert_subscription(&read).await.unwrap();
    let digest = NewDelivery { delivery: letter(&read, 100), body: body() };
    assert!(store.put_digest(&read, at(100), &digest, Some(at(900))).await.unwrap());
    let next = async || store.subscription(home.account, read.id).await.unwrap().unwrap().next_at;
    // A secret, a name: what was read of the times before the digest was made is not written back.
    let mut new = read.clone();
    new.secrets = Secrets { current: SigningSecret::of(vec![4; 32]), before: Vec::new() };
    "board".clone_into(&mut new.facts.name);
    assert_eq!(store.update_subscription(&new).await.unwrap(), Updated::Done);
    assert_eq!(next().await, Some(at(900)));
    // Paused, going on, other times, another zone: all of these say when the next one is.
    let timing = |text: &str, zone| {
        let (schedule, form) = (Schedule::parse(text).unwrap(), DigestForm::Markdown);
        Carries::Digest(Timing { schedule, zone, zone_given: true, form })
    };
    let zone = chrono_tz::Asia::Kathmandu;
    let changes: [(bool, Carries); 4] = [
        (true, timing("0 7 * * 1", zone)),
        (false, timing("0 7 * * 1", zone)),
        (false, timing("0 8 * * 1", zone)),
        (false, timing("0 8 * * 1", chrono_tz::UTC)),
    ];
    for (second, (paused, carries)) in (901..).zip(changes) {
        new.version += 1;
        new.paused = paused.then(|| Paused { at: at(800), because: None });
        new.facts.carries = carries;
        new.next_at = Some(at(second));
        assert_eq!(store.update_subscription(&new).await.unwrap(), Updated::Done);
        assert_eq!(next().await, Some(at(second)));
    }
}

async fn accounts_take_turns_at_their_feeds(rig: &Rig) {
    let mut homes = [home(rig).await, home(rig).await, home(rig).await];
    homes.sort_by_key(|home| home.account);
    let mut made = Vec::new();
    for (home, second) in homes.iter().zip([1, 1001, 2001]) {
        let two = [of_reminders(home), of_reminders(home)];
        rig.database.insert_subscription(&two[0]).await.unwrap();
        rig.database.insert_subscription(&two[1]).await.unwrap();
        raise(rig, home, second, 3).await;
        // The second looked at its feed; the first is farther behind from then on.
        rig.database.fan_out(&two[1], at(20), &|_, _| None).await.unwrap();
        raise(rig, home, second + 500, 0).await;
        made.push(two.map(|one| one.id));
    }
    let listed = async |after: Option<usize>, limit| {
        let after = after.map(|index| homes[index].account);
        let behind = rig.database.behind_feeds(after, limit).await.unwrap();
        behind.into_iter().map(|one| one.id).collect::<Vec<_>>()
    };
    let [[a, a2], [b, b2], [c, c2]] = made[..] else { panic!("three homes") };
    assert_eq!(listed(None, 10).await, [a, b, c, a2, b2, c2]);
    assert_eq!(listed(Some(1), 2).await, [c, a]);
    assert_eq!(listed(Some(0), 4).await, [b, c, a, b2]);
    assert_eq!(listed(Some(2), 2).await, [a, b]);
}

async fn a_receiver_rests_after_failures(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_reminders(&home));
    store.insert_subscription(&made).await.unwrap();
    for second in 0..4 {
        store.insert_delivery(&letter(&made, second), &body()).await.unwrap();
    }
    let claimed = store.claim_deliveries(made.id, at(10), at(99), 4).await.unwrap().unwrap();
    let finished: Vec<_> = claimed.deliveries.iter().map(|one| attempted(one, 10, 500)).collect();
    store.finish_deliveries(&made, &finished, at(11)).await.unwrap();
    store.insert_delivery(&letter(&made, 12), &body()).await.unwrap();
    // Four in a row: ten seconds.
    assert_eq!(store.due_receivers(at(20), 10).await.unwrap(), []);
    assert!(store.claim_deliveries(made.id, at(20), at(99), 4).await.unwrap().is_none());
    let word = Delivery { content: Content::Test, ..letter(&made, 13) };
    store.insert_delivery(&word, &body()).await.unwrap();
    let tried = store.claim_deliveries(made.id, at(20), at(99), 4).await.unwrap().unwrap().deliveries;
    assert_eq!(
        tried.iter().map(|one| one.delivery.id).collect::<Vec<_>>(),
        [word.id],
        "somebody wants to know now"
    );
    store.finish_deliveries(&made, &[attempted(&tried[0], 20, 200)], at(20)).await.unwrap();
    assert_eq!(store.due_receivers(at(20), 10).await.unwrap(), [receiver(&made)], "it is back");
}

async fn what_ended_is_forgotten(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_reminders(&home));
    store.insert_subscription(&made).await.unwrap();
    for second in [1, 2] {
        store.insert_delivery(&letter(&made, second), &body()).await.unwrap();
    }
    let claimed = store.claim_deliveries(made.id, at(10), at(99), 1).await.unwrap().unwrap().deliveries;
    store.finish_deliveries(&made, &[attempted(&claimed[0], 10, 200)], at(11)).await.unwrap();
    assert_eq!(store.forget_deliveries(at(11), at(11)).await.unwrap(), 0);
    assert_eq!(store.forget_deliveries(at(5), at(12)).await.unwrap(), 1);
    assert_eq!(store.delivery(home.account, claimed[0].delivery.id).await.unwrap(), None);
    assert_eq!(store.deliveries(home.account, made.id, None, &first(10)).await.unwrap().len(), 1);
}

/// Adds a subscription with letters, one a second.
pub async fn with_letters(rig: &Rig, subscription: &Subscription, count: i64) {
    rig.database.insert_subscription(subscription).await.unwrap();
    for second in 0..count {
        rig.database.insert_delivery(&letter(subscription, second), &body()).await.unwrap();
    }
}

/// Four letters are tried at a second, and all answered so.
async fn tried(rig: &Rig, made: &Subscription, now: i64, status: u16) {
    let store = &rig.database;
    let known = store.claim_deliveries(made.id, at(now), at(now + 60), 4).await.unwrap().unwrap();
    let finished: Vec<_> = known.deliveries.iter().map(|one| attempted(one, now, status)).collect();
    store.finish_deliveries(&known.subscription, &finished, at(now)).await.unwrap();
}

async fn a_dead_receivers_letters_are_parked_after_two_days(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_reminders(&home));
    with_letters(rig, &made, 30).await;
    let two_days = 48 * 3600;
    let parked = async || store.subscription(home.account, made.id).await.unwrap().unwrap().parked;
    // It fails from the hundredth second on; what waited before that has its two days nevertheless.
    for now in [100, 14 * 3600, 28 * 3600, 42 * 3600, two_days + 60, two_days + 400] {
        assert_eq!(parked().await, 0, "{now}");
        tried(rig, &made, now, 500).await;
    }
    // Five times four were tried since the first four, and within the two days.
    let shown = store.subscription(home.account, made.id).await.unwrap().unwrap();
    assert_eq!((shown.waiting, shown.parked), (20, 10));
    let parked =
        store.deliveries(home.account, made.id, Some(DeliveryState::Parked), &first(50)).await.unwrap();
    assert!(parked.iter().all(|one| one.due_at <= at(100) && one.ended_at == Some(at(two_days + 400))));
}

async fn a_receiver_that_answered_between_has_its_two_days_anew(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_reminders(&home));
    with_letters(rig, &made, 30).await;
    let two_days = 48 * 3600;
    for (now, status) in [(100, 500), (two_days, 200), (two_days + 200, 500)] {
        tried(rig, &made, now, status).await;
    }
    let mut shown = store.subscription(home.account, made.id).await.unwrap().unwrap();
    assert_eq!((shown.waiting, shown.parked), (26, 0));
    // Whoever changes it starts anew as well.
    shown.updated_at = at(two_days + 300);
    assert_eq!(store.update_subscription(&shown).await.unwrap(), Updated::Done);
    let now = 2 * two_days + 250;
    tried(rig, &made, now, 500).await;
    assert_eq!(store.subscription(home.account, made.id).await.unwrap().unwrap().parked, 0);
}

async fn a_late_answer_of_an_old_address_changes_nothing(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_reminders(&home));
    store.insert_subscription(&made).await.unwrap();
    store.insert_delivery(&letter(&made, 5), &body()).await.unwrap();
    let old = store.claim_deliveries(made.id, at(5), at(50), 4).await.unwrap().unwrap();
    let claimed = &old.deliveries[0];
    let mut new = made.clone();
    "https://hooks.example/new".clone_into(&mut new.facts.url);
    assert_eq!(store.update_subscription(&new).await.unwrap(), Updated::Done);
    let outcome = AttemptOutcome { gone: true, ..outcome(claimed, 6, 410) };
    let finished = [AttemptedDelivery { claimed, outcome }];
    store.finish_deliveries(&old.subscription, &finished, at(6)).await.unwrap();
    let shown = store.subscription(home.account, made.id).await.unwrap().unwrap();
    assert_eq!((shown.paused, shown.waiting), (None, 1));
}

async fn one_that_carries_reminders_from_now_on_begins_at_the_end(rig: &Rig) {
    let home = home(rig).await;
    let (store, made) = (&rig.database, of_digests(&home));
    store.insert_subscription(&made).await.unwrap();
    raise(rig, &home, 2, 0).await;
    let facts = SubscriptionFacts { carries: Carries::Reminders { kinds: Vec::new() }, ..made.facts.clone() };
    let new = Subscription { facts, next_at: None, ..made };
    assert_eq!(store.update_subscription(&new).await.unwrap(), Updated::Done);
    assert_eq!(store.behind_feeds(None, 10).await.unwrap(), []);
}
