//! Claims that are renewed while the work goes on, and given back when it fails.

use super::deliveries::Deliveries;
use super::make::{self, at, claim_all, home, new_visit};
use super::refresh::many;
use super::subscriptions::{of_reminders, with_letters};
use super::{Rig, on_both};
use async_trait::async_trait;
use chrono::TimeDelta;
use eavesward_service::domain::background::{deliveries, refresh, scoring};
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::base::ids::SubscriptionId;
use eavesward_service::domain::context::Context;
use eavesward_service::domain::model::delivery::WebhookResponse;
use eavesward_service::domain::ports::senders::{WebhookRequest, WebhookSender};
use eavesward_service::domain::ports::store::deliveries::DeliveryStore as _;
use eavesward_service::domain::ports::store::skill::SkillStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use eavesward_service::domain::ports::store::visits::VisitStore as _;
use eavesward_service::storage::Database;
use std::sync::Arc;
use std::time::Duration;

on_both!(
    a_claim_is_renewed_while_a_letter_is_on_its_way,
    a_panic_gives_letters_back,
    a_system_that_cannot_be_read_delays_no_other,
    what_fails_as_a_whole_is_soon_free,
    scoring_gives_back_what_fails,
    at_the_end_work_is_given_back,
);

/// Waits until a number is what it should be.
async fn until(rig: &Rig, text: &'static str, number: i64) {
    for _ in 0..2_000 {
        if rig.raw(text).await == number {
            return;
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
    panic!("{text} never finds {number}");
}

fn context(rig: &Rig, seconds: i64) -> Context {
    Context::new(Arc::new(rig.database.clone()), Arc::new(SetClock::new(at(seconds))))
}

/// A receiver that takes half a minute, as its clock shows.
struct Slow<'a> {
    rig: &'a Rig,
    clock: Arc<SetClock>,
    other: Database,
    id: SubscriptionId,
}

#[async_trait]
impl WebhookSender for Slow<'_> {
    async fn post(&self, _: &WebhookRequest) -> WebhookResponse {
        for second in [108, 116, 124, 132] {
            self.clock.set(at(second));
            let held = at(second + 10).timestamp_micros();
            until(self.rig, "SELECT MIN(held_until) FROM deliveries", held).await;
        }
        let others = self.other.claim_deliveries(self.id, at(133), at(143), 4).await.unwrap();
        assert!(others.is_none(), "it is still held");
        WebhookResponse { status: Some(200), retry_after: None, error: None }
    }
}

async fn a_claim_is_renewed_while_a_letter_is_on_its_way(rig: &Rig) {
    let home = home(rig).await;
    let (made, mut carrying) = (of_reminders(&home), Deliveries::new(rig, 100));
    with_letters(rig, &made, 1).await;
    carrying.cx.lease_renewed_every = Duration::from_millis(1);
    let slow = Slow { rig, clock: carrying.clock.clone(), other: rig.replica().await, id: made.id };
    assert_eq!(deliveries::serve(&carrying.cx, &slow, made.id).await.unwrap(), 1);
    assert_eq!(carrying.left(&made).await, (0, 0));
    assert_eq!(rig.raw("SELECT CAST(COUNT(*) AS BIGINT) FROM delivery_attempts").await, 1);
}

struct Panics;

#[async_trait]
impl WebhookSender for Panics {
    async fn post(&self, _: &WebhookRequest) -> WebhookResponse {
        panic!("a defect")
    }
}

async fn a_panic_gives_letters_back(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 100));
    with_letters(rig, &made, 4).await;
    let (cx, id) = (carrying.cx.clone(), made.id);
    let served = tokio::spawn(async move { deliveries::serve(&cx, &Panics, id).await });
    assert!(served.await.unwrap_err().is_panic());
    until(rig, "SELECT MAX(held_until) FROM deliveries", at(105).timestamp_micros()).await;
    carrying.answers(200, None);
    assert_eq!(carrying.serve(&made, 104).await, 0);
    assert_eq!(carrying.serve(&made, 105).await, 4);
}

async fn a_system_that_cannot_be_read_delays_no_other(rig: &Rig) {
    let home = home(rig).await;
    many(rig, &home, 20).await;
    rig.raw("UPDATE systems SET roof = '{}' WHERE name = 'System 7'").await;
    let cx = context(rig, 0);
    let done = refresh::run(&cx).await.unwrap();
    assert_eq!((done.refreshed, done.failed), (19, 1));
    assert_eq!(rig.database.stale_count(at(0)).await.unwrap(), 1);
    let quarter = 15 * 60;
    assert_eq!(claim_all(rig, at(quarter - 1)).await, [], "it is left alone for a quarter of an hour");
    assert_eq!(claim_all(rig, at(quarter)).await.len(), 1);
}

async fn what_fails_as_a_whole_is_soon_free(rig: &Rig) {
    let home = home(rig).await;
    many(rig, &home, 50).await;
    rig.raw("ALTER TABLE forecasts RENAME TO forecasts_away").await;
    let cx = context(rig, 0);
    refresh::run(&cx).await.unwrap_err();
    rig.raw("ALTER TABLE forecasts_away RENAME TO forecasts").await;
    assert_eq!(claim_all(rig, at(0)).await, [], "not at once, or it would fail in a circle");
    assert_eq!(claim_all(rig, at(5)).await.len(), 50);
}

async fn scoring_gives_back_what_fails(rig: &Rig) {
    let home = home(rig).await;
    rig.database.insert_visit(&new_visit(&home, make::day(1))).await.unwrap();
    rig.raw("ALTER TABLE answered RENAME TO answered_away").await;
    let cx = context(rig, 0);
    scoring::run(&cx).await.unwrap();
    rig.raw("ALTER TABLE answered_away RENAME TO answered").await;
    let claim = async |seconds| {
        let until = at(seconds) + TimeDelta::seconds(10);
        rig.database.claim_unscored(at(seconds), until, 10).await.unwrap().len()
    };
    assert_eq!((claim(4).await, claim(5).await), (0, 1));
}

async fn at_the_end_work_is_given_back(rig: &Rig) {
    let home = home(rig).await;
    many(rig, &home, 20).await;
    rig.database.insert_visit(&new_visit(&home, make::day(1))).await.unwrap();
    let cx = context(rig, 0);
    cx.closing.send_replace(true);
    assert_eq!(refresh::run(&cx).await.unwrap().refreshed, 0);
    scoring::run(&cx).await.unwrap();
    assert_eq!(claim_all(rig, at(0)).await.len(), 20);
    assert_eq!(rig.database.claim_unscored(at(0), at(9), 10).await.unwrap().len(), 1);
}
