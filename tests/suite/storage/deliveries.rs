//! Carrying, step by step: what is written down of feeds and clock, and what becomes of it, with a clock and a receiver of
//! the test.

use super::make::{self, Home, at, claim_all, day, first, home, new_task, refreshed};
use super::subscriptions::{of_digests, of_reminders, with_letters};
use super::{Rig, on_both};
use async_trait::async_trait;
use chrono::{DateTime, TimeDelta, Utc};
use eavesward_service::domain::background::deliveries;
use eavesward_service::domain::background::deliveries::{FanOutTurn, Prepared};
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::base::ids::{AccountId, ComponentId, DeliveryId};
use eavesward_service::domain::context::Context;
use eavesward_service::domain::model::delivery::{DeliveryState, WebhookResponse};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::property::{MonthsDraft, PropertyDraft};
use eavesward_service::domain::model::reminder::{Reminder, ReminderKind};
use eavesward_service::domain::model::subscription::{Carries, Subscription, Timing};
use eavesward_service::domain::model::task::State;
use eavesward_service::domain::ports::senders::{PayloadWriter, WebhookRequest, WebhookSender};
use eavesward_service::domain::ports::store::deliveries::DeliveryStore as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::subscriptions::SubscriptionStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use eavesward_service::domain::rules::digest::make::Digest;
use eavesward_service::domain::use_cases;
use eavesward_service::domain::use_cases::{properties, subscriptions};
use std::sync::{Arc, Mutex};

on_both!(
    what_waited_while_the_service_was_off_has_its_two_days,
    a_receiver_does_not_fail_while_the_service_is_off,
    nothing_is_parked_while_paused,
    a_receiver_that_asks_for_an_hour_has_it,
    a_word_that_fails_does_not_cut_a_rest_short,
    a_move_takes_the_place_of_what_was_held_back,
    what_moves_far_away_is_announced_once_when_it_comes_again,
    what_has_no_date_any_more_is_not_announced,
    a_digest_that_is_due_stays_due_when_its_clock_moves,
    a_pass_is_bounded_and_fair,
    a_long_feed_takes_several_passes,
    nothing_more_is_written_down_at_the_end,
);

const DAY: i64 = 24 * 3600;

/// A service's carrying without its loop.
pub struct Deliveries {
    pub cx: Context,
    pub clock: Arc<SetClock>,
    pub receiver: Receiver,
    turn: FanOutTurn,
}

impl Deliveries {
    pub fn new(rig: &Rig, seconds: i64) -> Self {
        let clock = Arc::new(SetClock::new(at(seconds)));
        let cx = Context::new(Arc::new(rig.database.clone()), clock.clone());
        Self { cx, clock, receiver: Receiver::default(), turn: FanOutTurn::default() }
    }

    /// The receiver answers so from now on.
    pub fn answers(&self, status: u16, asked: Option<i64>) {
        let retry_after = asked.map(TimeDelta::seconds);
        *self.receiver.says.lock().unwrap() =
            WebhookResponse { status: Some(status), retry_after, error: None };
    }

    /// Sends what is due at an instant; says how many attempts were made.
    pub async fn serve(&self, subscription: &Subscription, seconds: i64) -> usize {
        self.clock.set(at(seconds));
        deliveries::serve(&self.cx, &self.receiver, subscription.id).await.unwrap()
    }

    pub async fn prepare(&mut self) -> Prepared {
        deliveries::prepare(&self.cx, &Plain, &mut self.turn).await.unwrap()
    }

    /// What waits of a subscription, and what was parked.
    pub async fn left(&self, subscription: &Subscription) -> (i64, i64) {
        let shown = subscriptions::get(&self.cx, subscription.account_id, subscription.id).await.unwrap();
        (shown.waiting, shown.parked)
    }
}

pub struct Receiver {
    says: Mutex<WebhookResponse>,
    pub new: Mutex<Vec<String>>,
}

impl Default for Receiver {
    fn default() -> Self {
        let says =
            WebhookResponse { status: None, retry_after: None, error: Some("nobody is there".to_owned()) };
        Self { says: Mutex::new(says), new: Mutex::default() }
    }
}

#[async_trait]
impl WebhookSender for Receiver {
    async fn post(&self, letter: &WebhookRequest) -> WebhookResponse {
        self.new.lock().unwrap().push(letter.body.clone());
        self.says.lock().unwrap().clone()
    }
}

/// Writes down kind and date alone.
struct Plain;

impl PayloadWriter for Plain {
    fn reminder(&self, _: AccountId, entry: Reminder) -> String {
        format!("{} {:?}", entry.kind.code(), entry.due_on)
    }

    fn digest(&self, _: Digest, _: DateTime<Utc>) -> String {
        "digest".to_owned()
    }

    fn test(&self, _: &Subscription, _: DateTime<Utc>) -> String {
        "test".to_owned()
    }
}

async fn what_waited_while_the_service_was_off_has_its_two_days(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 20).await;
    // It starts after a long weekend, before its network.
    let monday = 60 * 3600;
    assert_eq!(carrying.serve(&made, monday).await, 4);
    assert_eq!(carrying.left(&made).await, (20, 0));
    carrying.answers(200, None);
    assert_eq!(carrying.serve(&made, monday + 60).await, 20);
    assert_eq!(carrying.left(&made).await, (0, 0));
}

async fn a_receiver_does_not_fail_while_the_service_is_off(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 20).await;
    // It fails on Friday, a minute before the service goes off, and on Monday it is not up again yet.
    assert_eq!(carrying.serve(&made, 30).await, 4);
    assert_eq!(carrying.serve(&made, 62 * 3600).await, 4);
    assert_eq!(carrying.left(&made).await, (20, 0));
    // Tried every ten hours from then on, each is given up two days after it was tried first.
    for hours in (72..=142).step_by(10) {
        carrying.serve(&made, hours * 3600).await;
    }
    assert_eq!(carrying.left(&made).await, (0, 20));
}

async fn nothing_is_parked_while_paused(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 40).await;
    carrying.answers(410, None);
    assert_eq!(carrying.serve(&made, 100).await, 4);
    // Three days later its owner tries the way, and again after mending it.
    carrying.answers(500, None);
    carrying.clock.set(at(3 * DAY));
    use_cases::deliveries::test(&carrying.cx, &Plain, home.account, made.id, DeliveryId::new())
        .await
        .unwrap();
    assert_eq!(carrying.serve(&made, 3 * DAY).await, 1);
    assert_eq!(carrying.left(&made).await, (41, 0));
    carrying.answers(200, None);
    carrying.clock.set(at(3 * DAY + 60));
    subscriptions::pause(&carrying.cx, home.account, made.id, false).await.unwrap();
    assert_eq!(carrying.serve(&made, 3 * DAY + 60).await, 41);
    assert_eq!(carrying.left(&made).await, (0, 0));
}

async fn a_receiver_that_asks_for_an_hour_has_it(rig: &Rig) {
    let home = home(rig).await;
    for status in [429, 503] {
        let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
        with_letters(rig, &made, 9).await;
        carrying.answers(status, Some(3600));
        // Four go out side by side; the others are left for later.
        assert_eq!(carrying.serve(&made, 100).await, 4);
        assert_eq!(carrying.serve(&made, 100 + 3599).await, 0);
        carrying.answers(200, None);
        assert_eq!(carrying.serve(&made, 100 + 3600).await, 9);
    }
    // Of one letter's fault it says nothing for the others.
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 9).await;
    carrying.answers(413, Some(3600));
    assert_eq!(carrying.serve(&made, 100).await, 4);
    carrying.answers(200, None);
    assert_eq!(carrying.serve(&made, 160).await, 5);
}

async fn a_word_that_fails_does_not_cut_a_rest_short(rig: &Rig) {
    let home = home(rig).await;
    let (made, carrying) = (of_reminders(&home), Deliveries::new(rig, 0));
    with_letters(rig, &made, 9).await;
    carrying.answers(503, Some(3600));
    assert_eq!(carrying.serve(&made, 100).await, 4);
    carrying.answers(500, None);
    use_cases::deliveries::test(&carrying.cx, &Plain, home.account, made.id, DeliveryId::new())
        .await
        .unwrap();
    assert_eq!(carrying.serve(&made, 200).await, 1, "the word alone");
    carrying.answers(200, None);
    assert_eq!(carrying.serve(&made, 100 + 3590).await, 1, "the word alone, again");
    assert_eq!(carrying.serve(&made, 100 + 3591).await, 5, "it arrived, so the receiver is back");
}

/// What a refresh of a day finds of the weep hole's task.
pub async fn find(rig: &Rig, home: &Home, seconds: i64, as_of: i64, due: impl Into<Option<i64>>) {
    let due_on = due.into().map(day);
    rig.database.put_rain(home.account, home.gauge.id, &make::readings(as_of, &[1.0])).await.unwrap();
    let claim = claim_all(rig, at(DAY * 1_000 + seconds)).await[0];
    let state = State::on(day(as_of), due_on, None);
    let mut task = new_task(home, 0, Duty::ClearWeepHole, due_on, state);
    task.as_of = day(as_of);
    let next = at(DAY * 9_000);
    rig.database
        .finish_refresh(&[refreshed(claim, &home.system, vec![task], next)], at(seconds))
        .await
        .unwrap();
}

/// A subscription to what is announced and falls due.
pub async fn announced(rig: &Rig) -> (Home, Subscription, Deliveries) {
    let home = home(rig).await;
    let mut made = of_reminders(&home);
    made.facts.carries = Carries::Reminders { kinds: vec![ReminderKind::Coming, ReminderKind::Due] };
    rig.database.insert_subscription(&made).await.unwrap();
    (home, made, Deliveries::new(rig, 0))
}

async fn a_move_takes_the_place_of_what_was_held_back(rig: &Rig) {
    // A task is announced seven days ahead, and a move of four days is told.
    for at_once in [false, true] {
        let (home, made, mut carrying) = announced(rig).await;
        carrying.answers(200, None);
        // Held back to the fourth day; hours before that the date moves from the seventh to the eleventh.
        find(rig, &home, 0, 0, 7).await;
        if !at_once {
            assert_eq!(carrying.prepare().await.written, 1);
        }
        let moved_at = 4 * DAY - 3600;
        carrying.clock.set(at(moved_at));
        find(rig, &home, moved_at, 4, 11).await;
        if at_once {
            carrying.clock.set(at(1));
        }
        assert_eq!(carrying.prepare().await.written, if at_once { 2 } else { 1 });
        let all = rig.database.deliveries(home.account, made.id, None, &first(10)).await.unwrap();
        let mut next: Vec<_> = all.iter().map(|one| (one.number, one.state, one.next_at)).collect();
        next.sort_by_key(|(number, ..)| *number);
        let held = Some(at(moved_at + 4 * DAY));
        assert_eq!(
            next,
            [(Some(1), DeliveryState::Superseded, None), (Some(2), DeliveryState::Waiting, held)]
        );
        assert_eq!(carrying.serve(&made, moved_at + 4 * DAY - 1).await, 0);
        assert_eq!(carrying.serve(&made, moved_at + 4 * DAY).await, 1);
        assert_eq!(*carrying.receiver.new.lock().unwrap(), [format!("moved {:?}", Some(day(11)))]);
        // A further move takes back nothing that is unheard, and the filter leaves it out.
        find(rig, &home, 9 * DAY, 9, 16).await;
        assert_eq!(carrying.prepare().await.written, 0);
        // Out of its lead, back into it, and due.
        for (as_of, written) in [(10, 0), (23, 1), (30, 1)] {
            carrying.clock.set(at(as_of * DAY));
            find(rig, &home, as_of * DAY, as_of, 30).await;
            assert_eq!(carrying.prepare().await.written, written, "day {as_of}");
            carrying.serve(&made, (as_of + 4) * DAY).await;
        }
        let new = carrying.receiver.new.lock().unwrap().clone();
        assert_eq!(new[1..], [format!("coming {:?}", Some(day(30))), format!("due {:?}", Some(day(30)))]);
    }
}

async fn what_moves_far_away_is_announced_once_when_it_comes_again(rig: &Rig) {
    let (home, made, mut carrying) = announced(rig).await;
    carrying.answers(200, None);
    for (as_of, due) in [(0, 7), (2, 30), (23, 30)] {
        carrying.clock.set(at(as_of * DAY));
        find(rig, &home, as_of * DAY, as_of, due).await;
        carrying.prepare().await;
        assert_eq!(carrying.left(&made).await, (1, 0), "day {as_of}");
        assert_eq!(carrying.serve(&made, as_of * DAY).await, 0, "day {as_of}");
    }
    assert_eq!(carrying.serve(&made, 27 * DAY).await, 1);
    assert_eq!(*carrying.receiver.new.lock().unwrap(), [format!("coming {:?}", Some(day(30)))]);
}

async fn what_has_no_date_any_more_is_not_announced(rig: &Rig) {
    let (home, made, mut carrying) = announced(rig).await;
    find(rig, &home, 0, 0, 7).await;
    assert_eq!(carrying.prepare().await.written, 1);
    carrying.clock.set(at(2 * DAY));
    find(rig, &home, 2 * DAY, 2, None).await;
    assert_eq!(carrying.prepare().await.written, 0);
    let all = rig.database.deliveries(home.account, made.id, None, &first(10)).await.unwrap();
    assert_eq!(all.iter().map(|one| one.state).collect::<Vec<_>>(), [DeliveryState::Superseded]);
}

async fn a_digest_that_is_due_stays_due_when_its_clock_moves(rig: &Rig) {
    let home = home(rig).await;
    let mut made = of_digests(&home);
    made.facts.property_id = Some(home.property.id);
    if let Carries::Digest(timing) = &mut made.facts.carries {
        *timing = Timing { zone: home.property.facts.time_zone, zone_given: false, ..timing.clone() };
    }
    rig.database.insert_subscription(&made).await.unwrap();
    // It came due while the service was off.
    let carrying = Deliveries::new(rig, 200);
    let facts = home.property.facts.clone();
    let draft = |zone: &str| PropertyDraft {
        name: facts.name.clone(),
        latitude_deg: facts.latitude_deg,
        longitude_deg: facts.longitude_deg,
        elevation_m: facts.elevation_m,
        time_zone: zone.to_owned(),
        months: MonthsDraft { mean_c: None, mean_minimum_c: None, evaporation_mm_per_day: None },
        notes: None,
    };
    let shown = async || subscriptions::get(&carrying.cx, home.account, made.id).await.unwrap();
    let update = async |version, zone| {
        properties::update(&carrying.cx, home.account, home.property.id, version, draft(zone)).await.unwrap();
    };
    update(1, "Asia/Kathmandu").await;
    assert_eq!(shown().await.next_at, made.next_at);
    assert!(
        matches!(shown().await.facts.carries, Carries::Digest(timing) if timing.zone == chrono_tz::Asia::Kathmandu)
    );
    // One that is not due yet moves with its clock.
    carrying.clock.set(at(50));
    update(2, "UTC").await;
    let moved = shown().await;
    assert!(moved.next_at > made.next_at, "{:?}", moved.next_at);
    assert_eq!(moved.next_at, moved.upcoming(at(50)).first().copied());
}

/// An entry in the feed of every home.
async fn raise_everywhere(rig: &Rig, homes: &[&Home]) {
    for (index, home) in (0..).zip(homes) {
        find_of(rig, home, index, 1).await;
    }
}

/// Many tasks of a system that are due at once, so many entries of its feed.
async fn find_of(rig: &Rig, home: &Home, index: i64, count: usize) {
    let stale = claim_all(rig, at(DAY * (1_000 + index))).await;
    let claim = *stale.iter().find(|claim| claim.system_id == home.system.id).unwrap();
    let task = |_| {
        let mut component = home.components[0].clone();
        component.id = ComponentId::new();
        let state = State::on(day(0), Some(day(0)), None);
        make::task_of(home, &home.system, &component, Duty::ClearWeepHole, Some(day(0)), state)
    };
    let tasks = (0..count).map(task).collect();
    let told =
        rig.database.finish_refresh(&[refreshed(claim, &home.system, tasks, at(DAY * 9_000))], at(1)).await;
    assert_eq!(told.unwrap(), count);
}

async fn a_pass_is_bounded_and_fair(rig: &Rig) {
    let (busy, quiet) = (home(rig).await, home(rig).await);
    for home in std::iter::repeat_n(&busy, 60).chain([&quiet]) {
        rig.database.insert_subscription(&of_reminders(home)).await.unwrap();
    }
    raise_everywhere(rig, &[&busy, &quiet]).await;
    let mut carrying = Deliveries::new(rig, 10);
    assert_eq!(carrying.prepare().await, Prepared { written: 50, more: true });
    // The one was not behind the many.
    let left = rig.database.behind_feeds(None, 100).await.unwrap();
    assert!(left.len() == 11 && left.iter().all(|one| one.account_id == busy.account), "{left:?}");
    assert_eq!(carrying.prepare().await, Prepared { written: 11, more: false });
    assert_eq!(carrying.prepare().await, Prepared::default());
}

async fn a_long_feed_takes_several_passes(rig: &Rig) {
    let home = home(rig).await;
    let made = of_reminders(&home);
    rig.database.insert_subscription(&made).await.unwrap();
    find_of(rig, &home, 0, 501).await;
    let mut carrying = Deliveries::new(rig, 10);
    assert_eq!(carrying.prepare().await, Prepared { written: 500, more: true });
    assert_eq!(carrying.prepare().await, Prepared { written: 1, more: false });
    assert_eq!(carrying.left(&made).await, (501, 0));
}

async fn nothing_more_is_written_down_at_the_end(rig: &Rig) {
    let home = home(rig).await;
    let (reminders, digests) = (of_reminders(&home), of_digests(&home));
    rig.database.insert_subscription(&reminders).await.unwrap();
    rig.database.insert_subscription(&digests).await.unwrap();
    find_of(rig, &home, 0, 1).await;
    let mut carrying = Deliveries::new(rig, 10_000);
    carrying.cx.closing.send_replace(true);
    assert_eq!(carrying.prepare().await, Prepared::default());
    carrying.cx.closing.send_replace(false);
    assert_eq!(carrying.prepare().await.written, 2);
}
