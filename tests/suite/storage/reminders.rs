//! The reminders' feed: what is appended by whom, and what a reader sees meanwhile.

use super::make::{self, Home, at, claim_all, day, first, home, new_task, refreshed};
use super::{Rig, on_both};
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::base::error::Error;
use eavesward_service::domain::base::ids::{AccountId, SystemId};
use eavesward_service::domain::base::ids::{FIRST_GENERATION, ReminderId};
use eavesward_service::domain::context::Context;
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::reminder::PulledReminders;
use eavesward_service::domain::model::reminder::{
    FeedPage, FeedRange, Reminder, ReminderFilter, ReminderKind,
};
use eavesward_service::domain::model::task::{State, TaskFilter};
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::reminders::ReminderStore as _;
use eavesward_service::domain::ports::store::tasks::{Refreshed, StaleSystem, TaskStore as _};
use eavesward_service::domain::use_cases::reminders::pull;
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

on_both!(
    a_restored_backup_begins_another_generation,
    a_due_task_is_told_of_once_whoever_refreshes,
    a_refresh_that_is_cut_off_tells_nothing_and_the_next_one_everything,
    readers_see_every_number_once_while_eight_write,
    a_task_that_is_no_more_is_withdrawn,
    a_replaced_coupling_is_done,
    filters_leave_out_and_the_end_is_still_reached,
    what_is_old_is_forgotten_in_order,
    a_feed_belongs_to_its_account,
);

async fn read(rig: &Rig, account: AccountId, after: i64) -> FeedPage {
    let stretch = FeedRange { after: Some(after), limit: 500 };
    rig.database.reminders(account, &ReminderFilter::default(), stretch).await.unwrap()
}

fn kinds(read: &FeedPage) -> Vec<ReminderKind> {
    read.entries.iter().map(|entry| entry.kind).collect()
}

/// One task of the home's diverter, due on a day.
fn found(home: &Home, claim: StaleSystem, due: i64, as_of: i64) -> Refreshed {
    let due_on = Some(day(due));
    let state = State::on(day(as_of), due_on, None);
    let mut task = new_task(home, 0, Duty::ClearWeepHole, due_on, state);
    task.as_of = day(as_of);
    let mut one = refreshed(claim, &home.system, vec![task], at(86_400 * (as_of + 1)));
    one.reminders.as_of = day(as_of);
    one.status.as_of = day(as_of);
    one
}

async fn a_due_task_is_told_of_once_whoever_refreshes(rig: &Rig) {
    let home = home(rig).await;
    let claim = claim_all(rig, at(0)).await[0];
    let replica = rig.replica().await;
    let one = found(&home, claim, 0, 0);
    // Two replicas that both came late, at the same time, and once more.
    let (a, b) = tokio::join!(
        rig.database.finish_refresh(std::slice::from_ref(&one), at(10)),
        replica.finish_refresh(std::slice::from_ref(&one), at(11)),
    );
    assert_eq!(a.unwrap() + b.unwrap(), 1);
    assert_eq!(rig.database.finish_refresh(&[one], at(12)).await.unwrap(), 0);
    let read = read(rig, home.account, 0).await;
    assert_eq!((kinds(&read), read.last, read.forgotten), (vec![ReminderKind::Due], 1, 0));
    let entry = &read.entries[0];
    assert_eq!(entry.covers, [ReminderKind::Coming, ReminderKind::Due]);
    assert_eq!((entry.due_on, entry.as_of, entry.number), (Some(day(0)), day(0), 1));
    assert_eq!(entry.system_name, home.system.facts.name);
    assert!(!entry.hazards.is_empty() && !entry.reasons.is_empty());
}

async fn a_refresh_that_is_cut_off_tells_nothing_and_the_next_one_everything(rig: &Rig) {
    let home = home(rig).await;
    let claim = claim_all(rig, at(0)).await[0];
    // A task of a component that was never there fails the transaction after others have been written.
    let mut broken = found(&home, claim, 0, 0);
    let mut stranger = broken.tasks[0].clone();
    stranger.id.0 = uuid::Uuid::from_u128(77);
    stranger.account_id = AccountId::new();
    broken.tasks.push(stranger);
    assert!(rig.database.finish_refresh(&[broken], at(10)).await.is_err());
    assert_eq!(
        read(rig, home.account, 0).await,
        FeedPage { generation: FIRST_GENERATION, ..FeedPage::default() }
    );
    assert_eq!(rig.database.tasks(home.account, &TaskFilter::default(), &first(10)).await.unwrap(), []);
    assert_eq!(rig.database.finish_refresh(&[found(&home, claim, 0, 0)], at(20)).await.unwrap(), 1);
    assert_eq!(kinds(&read(rig, home.account, 0).await), [ReminderKind::Due]);
}

/// Commit order is not the order in which numbers are drawn: a reader that goes by the last number it saw must still see
/// all of them.
async fn readers_see_every_number_once_while_eight_write(rig: &Rig) {
    const SYSTEMS: usize = 96;
    let home = Arc::new(home(rig).await);
    for number in 1..SYSTEMS {
        let (home, name) = (&home, format!("System {number}"));
        make::add_system(rig, home.account, home.property.id, home.gauge.id, &name).await;
    }
    let claims = claim_all(rig, at(0)).await;
    assert_eq!(claims.len(), SYSTEMS);
    let writing = Arc::new(AtomicBool::new(true));
    let mut readers = Vec::new();
    for limit in [1, 7, 500] {
        let (replica, writing, account) = (rig.replica().await, Arc::clone(&writing), home.account);
        readers.push(tokio::spawn(async move {
            let (mut after, mut seen, mut done) = (0, Vec::new(), false);
            loop {
                // Asked for before the last look, so that the look comes after the last write.
                let last_look = !writing.load(Ordering::SeqCst);
                let stretch = FeedRange { after: Some(after), limit };
                let read = replica.reminders(account, &ReminderFilter::default(), stretch).await.unwrap();
                after = read.entries.last().map_or(after, |entry| entry.number);
                seen.extend(read.entries.iter().map(|entry| (entry.number, entry.system_id)));
                if read.entries.is_empty() && done {
                    return seen;
                }
                done = last_look;
            }
        }));
    }
    let mut writers = Vec::new();
    for (number, mine) in claims.chunks(SYSTEMS / 8).enumerate() {
        let (replica, mine, home) = (rig.replica().await, mine.to_vec(), Arc::clone(&home));
        writers.push(tokio::spawn(async move {
            for (step, claim) in mine.into_iter().enumerate() {
                let system = make::system_of(&home, claim.system_id);
                let component = make::new_component(claim.system_id, 1, make::parts()[0].clone());
                let due = Some(day(0));
                let task = make::task_of(&home, &system, &component, Duty::ClearWeepHole, due, State::Due);
                let one = refreshed(claim, &system, vec![task], at(90_000));
                let told = replica.finish_refresh(&[one], at(number as i64)).await.unwrap();
                assert_eq!(told, 1);
                if step % 3 == 0 {
                    tokio::task::yield_now().await;
                }
            }
        }));
    }
    for writer in writers {
        writer.await.unwrap();
    }
    writing.store(false, Ordering::SeqCst);
    for reader in readers {
        let seen = reader.await.unwrap();
        let numbers: Vec<i64> = seen.iter().map(|(number, _)| *number).collect();
        assert_eq!(numbers, (1..=SYSTEMS as i64).collect::<Vec<_>>(), "in order, none twice, none left out");
        let systems: BTreeSet<SystemId> = seen.iter().map(|(_, system)| *system).collect();
        assert_eq!(systems.len(), SYSTEMS);
    }
}

async fn a_restored_backup_begins_another_generation(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    let cx = Context::new(Arc::new(store.clone()), Arc::new(SetClock::new(at(0))));
    let pulled = async |after: Option<&str>| {
        pull(&cx, home.account, &ReminderFilter::default(), after, None, None).await
    };
    assert!(!store.note_incarnation(at(0), false).await.unwrap(), "the first start");
    assert!(!store.note_incarnation(at(1), false).await.unwrap(), "and the second");
    let claim = claim_all(rig, at(0)).await[0];
    store.finish_refresh(&[found(&home, claim, 5, 0)], at(10)).await.unwrap();
    let first = pulled(None).await.unwrap();
    // A copy of another mark, as a backup is.
    rig.raw("UPDATE incarnation SET mark = 'backup'").await;
    assert!(store.note_incarnation(at(2), false).await.unwrap());
    assert!(!store.note_incarnation(at(3), false).await.unwrap(), "once");
    let refused = pulled(Some(&first.cursor)).await.unwrap_err();
    assert!(matches!(refused, Error::FeedRestored), "{refused:?}");
    let again = pulled(None).await.unwrap();
    let ids = |pulled: &PulledReminders| {
        pulled.entries.iter().map(|entry| entry.id(home.account)).collect::<Vec<_>>()
    };
    assert_eq!(ids(&again), ids(&first), "what was raised before the backup is known");
    assert_eq!(pulled(Some(&again.cursor)).await.unwrap().entries, []);
    let claim = make::claim_of(rig, home.system.id).await;
    store.finish_refresh(&[found(&home, claim, 5, 5)], at(20)).await.unwrap();
    let new = pulled(Some(&again.cursor)).await.unwrap();
    assert_eq!(new.entries.iter().map(|entry| entry.number).collect::<Vec<_>>(), [2]);
    assert_ne!(ids(&new), [ReminderId::of(home.account, FIRST_GENERATION, 2)], "not the id of another entry");
    // An account without a feed, and a backup that is restored twice within a second.
    let other = make::account(rig).await;
    let before = pull(&cx, other, &ReminderFilter::default(), Some("now"), None, None).await.unwrap().cursor;
    for _ in 0..2 {
        assert!(store.note_incarnation(at(2), true).await.unwrap(), "the operator says so");
    }
    assert!(pulled(Some(&new.cursor)).await.is_err());
    assert!(pull(&cx, other, &ReminderFilter::default(), Some(&before), None, None).await.is_err());
}

/// A writer that drew its number first and is slow to commit holds up the next one; meanwhile nobody sees either.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_number_is_not_seen_before_those_below_it() {
    let rig = Rig::postgres().await;
    let home = home(&rig).await;
    let claim = claim_all(&rig, at(0)).await[0];
    assert_eq!(rig.database.finish_refresh(&[found(&home, claim, 5, 0)], at(10)).await.unwrap(), 1);
    let pool = sqlx_postgres::PgPool::connect(&rig.url).await.unwrap();
    let mut slow = pool.begin().await.unwrap();
    let account = home.account.0;
    sqlx::query("UPDATE feeds SET last = last + 1 WHERE account_id = $1")
        .bind(account)
        .execute(&mut *slow)
        .await
        .unwrap();
    sqlx::query(
        "INSERT INTO reminders SELECT account_id, 2, raised_at, property_id, system_id, covers, entry FROM reminders \
         WHERE account_id = $1 AND number = 1",
    )
    .bind(account)
    .execute(&mut *slow)
    .await
    .unwrap();
    let claim = make::claim_of(&rig, home.system.id).await;
    let (replica, one) = (rig.replica().await, found(&home, claim, 5, 5));
    let quick = tokio::spawn(async move { replica.finish_refresh(&[one], at(20)).await.unwrap() });
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    assert!(!quick.is_finished(), "it waits");
    assert_eq!(
        read(&rig, home.account, 1).await.last,
        1,
        "and nobody sees what is behind the one that is not there"
    );
    slow.commit().await.unwrap();
    assert_eq!(quick.await.unwrap(), 1);
    let numbers: Vec<i64> =
        read(&rig, home.account, 1).await.entries.iter().map(|entry| entry.number).collect();
    assert_eq!(numbers, [2, 3]);
    pool.close().await;
    rig.end().await;
}

async fn a_task_that_is_no_more_is_withdrawn(rig: &Rig) {
    let home = home(rig).await;
    let claim = claim_all(rig, at(0)).await[0];
    let mut one = found(&home, claim, 3, 0);
    // One that nobody was told of goes without a word.
    one.tasks.push(new_task(&home, 1, Duty::RemoveSediment, Some(day(400)), State::Resting));
    rig.database.finish_refresh(&[one], at(10)).await.unwrap();
    let claim = make::claim_of(rig, home.system.id).await;
    let empty = refreshed(claim, &home.system, Vec::new(), at(90_000));
    assert_eq!(rig.database.finish_refresh(std::slice::from_ref(&empty), at(20)).await.unwrap(), 1);
    assert_eq!(rig.database.finish_refresh(&[empty], at(21)).await.unwrap(), 0);
    let read = read(rig, home.account, 0).await;
    assert_eq!(kinds(&read), [ReminderKind::Coming, ReminderKind::Withdrawn]);
    assert_eq!(read.entries[1].component_name, home.components[0].facts.name);
    assert_eq!(read.entries[1].task_id, read.entries[0].task_id);
}

async fn a_replaced_coupling_is_done(rig: &Rig) {
    let home = home(rig).await;
    let claim = claim_all(rig, at(0)).await[0];
    let mut one = found(&home, claim, 300, 0);
    one.tasks[0].duty = Duty::ReplaceCoupling;
    one.tasks[0].id =
        eavesward_service::domain::base::ids::TaskId::of(home.components[0].id, Duty::ReplaceCoupling);
    rig.database.finish_refresh(&[one], at(10)).await.unwrap();
    let claim = make::claim_of(rig, home.system.id).await;
    let mut replaced = refreshed(claim, &home.system, Vec::new(), at(90_000));
    replaced.reminders.replaced.insert(home.components[0].id, day(-9));
    rig.database.finish_refresh(&[replaced], at(20)).await.unwrap();
    let read = read(rig, home.account, 0).await;
    assert_eq!(kinds(&read), [ReminderKind::Done], "also when nobody had been told of it");
    assert_eq!(read.entries[0].done_on, Some(day(-9)));
}

async fn filters_leave_out_and_the_end_is_still_reached(rig: &Rig) {
    let home = home(rig).await;
    let (other, components) =
        make::add_system(rig, home.account, home.property.id, home.gauge.id, "Greenhouse").await;
    for claim in claim_all(rig, at(0)).await {
        let one = if claim.system_id == home.system.id {
            found(&home, claim, 3, 0)
        } else {
            let due = Some(day(-30));
            let task = make::task_of(&home, &other, &components[0], Duty::ClearWeepHole, due, State::Late);
            refreshed(claim, &other, vec![task], at(90_000))
        };
        rig.database.finish_refresh(&[one], at(10)).await.unwrap();
    }
    let read = async |filter: ReminderFilter| {
        let stretch = FeedRange { after: Some(0), limit: 10 };
        rig.database.reminders(home.account, &filter, stretch).await.unwrap()
    };
    let systems = |read: &FeedPage| read.entries.iter().map(|entry| entry.system_id).collect::<Vec<_>>();
    let of = |system_id| ReminderFilter { system_id: Some(system_id), ..ReminderFilter::default() };
    let kind = |kind| ReminderFilter { kinds: vec![kind], ..ReminderFilter::default() };
    assert_eq!(systems(&read(of(other.id)).await), [other.id]);
    assert_eq!(systems(&read(kind(ReminderKind::Late)).await), [other.id]);
    assert_eq!(systems(&read(kind(ReminderKind::Due)).await), [other.id], "what runs late had fallen due");
    assert_eq!(systems(&read(kind(ReminderKind::Coming)).await).len(), 2);
    let none = read(kind(ReminderKind::Done)).await;
    assert_eq!((none.entries.len(), none.last), (0, 2));
    let at_property = ReminderFilter {
        property_id: Some(home.property.id),
        kinds: vec![ReminderKind::Late],
        ..ReminderFilter::default()
    };
    assert_eq!(systems(&read(at_property).await), [other.id]);
    let from_the_end = FeedRange { after: None, limit: 10 };
    let end = rig.database.reminders(home.account, &ReminderFilter::default(), from_the_end).await.unwrap();
    assert_eq!((end.entries.len(), end.last), (0, 2));
}

async fn what_is_old_is_forgotten_in_order(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    assert_eq!(store.forget_reminders(at(1000)).await.unwrap(), 0);
    // Coming, due, late; the clock was set back before the last one.
    for (as_of, seconds) in [(0, 100), (5, 300), (30, 200)] {
        store.put_rain(home.account, home.gauge.id, &make::readings(as_of, &[1.0])).await.unwrap();
        let claim = claim_all(rig, at(1_000_000 + as_of)).await[0];
        assert_eq!(store.finish_refresh(&[found(&home, claim, 5, as_of)], at(seconds)).await.unwrap(), 1);
    }
    assert_eq!(store.forget_reminders(at(100)).await.unwrap(), 0, "not older than that");
    // The third is old enough and stays, since the second is not.
    assert_eq!(store.forget_reminders(at(250)).await.unwrap(), 1);
    let read_on = read(rig, home.account, 1).await;
    assert_eq!(
        (kinds(&read_on), read_on.last, read_on.forgotten),
        (vec![ReminderKind::Due, ReminderKind::Late], 3, 1)
    );
    assert_eq!(store.forget_reminders(at(301)).await.unwrap(), 2);
    let read_on = read(rig, home.account, 0).await;
    assert_eq!((read_on.entries.len(), read_on.last, read_on.forgotten), (0, 3, 3));
}

async fn a_feed_belongs_to_its_account(rig: &Rig) {
    let home = home(rig).await;
    let claim = claim_all(rig, at(0)).await[0];
    rig.database.finish_refresh(&[found(&home, claim, 0, 0)], at(10)).await.unwrap();
    let other = make::account(rig).await;
    assert_eq!(read(rig, other, 0).await, FeedPage { generation: FIRST_GENERATION, ..FeedPage::default() });
    let entry: Reminder = read(rig, home.account, 0).await.entries.remove(0);
    assert_ne!(entry.id(home.account), entry.id(other));
}
