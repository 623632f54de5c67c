//! The audit: an act is recorded with its change, or neither is; entries are neither changed nor removed before their
//! time.

use super::make::{account, after, at, first, new_account, new_key, new_property};
use super::{Rig, on_both};
use chrono::TimeDelta;
use eavesward_service::domain::background::audit::tidy;
use eavesward_service::domain::base::clock::SetClock;
use eavesward_service::domain::base::ids::{AccountId, KeyId};
use eavesward_service::domain::context::{Context, Retention};
use eavesward_service::domain::model::audit::{Act, Actor, AuditEntry, AuditFilter, Deed, ThingKind};
use eavesward_service::domain::model::idempotency::Attempt;
use eavesward_service::domain::ports::store::Store;
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::audit::AuditStore as _;
use eavesward_service::domain::ports::store::corrections::CorrectionStore as _;
use eavesward_service::domain::ports::store::outcomes::Updated;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use std::sync::Arc;
use uuid::Uuid;

on_both!(
    a_change_and_its_entry_are_stored_together,
    what_is_refused_leaves_no_entry,
    an_act_of_several_transactions_leaves_one_entry,
    a_change_whose_entry_cannot_be_written_is_not_made,
    notes_about_repeated_requests_are_no_change,
    entries_come_newest_first_and_by_filter,
    the_database_refuses_to_change_an_entry,
    the_database_refuses_to_remove_a_young_entry,
    old_entries_are_removed_in_batches,
    a_clock_that_is_far_ahead_removes_the_oldest_month_alone,
    entries_of_a_clock_that_was_ahead_are_set_back_once,
    a_restored_backup_is_recorded_for_every_account,
    fifty_acts_at_once_leave_fifty_entries,
);

const DAY: i64 = 86_400;

/// A store that acts for a key on a thing at an instant.
fn acting(
    rig: &Rig,
    account: AccountId,
    operation: &'static str,
    thing: Uuid,
    seconds: i64,
) -> Arc<dyn Store> {
    let deeds = vec![Deed::on(operation, ThingKind::Property, &thing)];
    let act =
        Act { account, actor: Actor::Key(KeyId(account.0)), deeds, request_id: Some(Uuid::from_u128(7)) };
    rig.database.acting(Arc::new(act), Arc::new(SetClock::new(at(seconds))))
}

async fn entries(rig: &Rig, account: AccountId) -> Vec<AuditEntry> {
    rig.database.audit(account, &AuditFilter::default(), &first(500)).await.unwrap()
}

/// Makes so many entries of an account, a second apart, and returns their things.
async fn record(rig: &Rig, account: AccountId, seconds: impl IntoIterator<Item = i64>) -> Vec<Uuid> {
    let mut things = Vec::new();
    for second in seconds {
        let property = new_property(account, "Orchard");
        let store = acting(rig, account, "create_property", property.id.0, second);
        store.insert_property(&property).await.unwrap();
        things.push(property.id.0);
    }
    things
}

fn context(rig: &Rig, seconds: i64) -> Context {
    let cx = Context::new(Arc::new(rig.database.clone()), Arc::new(SetClock::new(at(seconds))));
    Context { retention: Retention { audit: TimeDelta::days(90), ..cx.retention }, ..cx }
}

async fn a_change_and_its_entry_are_stored_together(rig: &Rig) {
    let (account, key) = new_account();
    rig.database.insert_account(&account, &key).await.unwrap();
    let other = new_key(account.id, 5);
    let deeds = vec![Deed::on("create_key", ThingKind::Key, &other.id)];
    let act =
        Act { account: account.id, actor: Actor::Key(key.id), deeds, request_id: Some(Uuid::from_u128(9)) };
    let store = rig.database.acting(Arc::new(act), Arc::new(SetClock::new(at(30))));
    assert!(store.insert_key(&other).await.unwrap());
    let found = entries(rig, account.id).await;
    let [entry] = found.as_slice() else { panic!("{found:?}") };
    assert_eq!((entry.at, entry.operation.as_str()), (at(30), "create_key"));
    let actor = &entry.actor;
    assert_eq!(
        (actor.kind.as_str(), actor.id, actor.name.as_deref()),
        ("key", Some(key.id.0), Some("gatehouse"))
    );
    let thing = entry.thing.as_ref().unwrap();
    assert_eq!((thing.kind.as_str(), thing.id.clone()), ("key", other.id.to_string()));
    assert_eq!(entry.request_id, Some(Uuid::from_u128(9)));
}

async fn what_is_refused_leaves_no_entry(rig: &Rig) {
    let mine = account(rig).await;
    let property = new_property(mine, "Orchard");
    rig.database.insert_property(&property).await.unwrap();
    let store = acting(rig, mine, "update_property", property.id.0, 10);
    let stale = store.update_property(mine, property.id, 7, &property.facts, at(10)).await.unwrap();
    assert_eq!(stale, Updated::Stale { current: 1 });
    let other = account(rig).await;
    let missing = store.update_property(other, property.id, 1, &property.facts, at(10)).await.unwrap();
    assert_eq!(missing, Updated::Missing);
    // Nor does what was done before by the same request, and changes nothing now.
    store.insert_property(&property).await.unwrap();
    assert_eq!(entries(rig, mine).await, []);
    assert_eq!(
        store.update_property(mine, property.id, 1, &property.facts, at(10)).await.unwrap(),
        Updated::Done
    );
    assert_eq!(entries(rig, mine).await.len(), 1);
}

async fn an_act_of_several_transactions_leaves_one_entry(rig: &Rig) {
    let mine = account(rig).await;
    let property = new_property(mine, "Orchard");
    let store = acting(rig, mine, "create_property", property.id.0, 10);
    store.insert_property(&property).await.unwrap();
    store.update_property(mine, property.id, 1, &property.facts, at(11)).await.unwrap();
    assert_eq!(entries(rig, mine).await.len(), 1);
}

async fn a_change_whose_entry_cannot_be_written_is_not_made(rig: &Rig) {
    let mine = account(rig).await;
    rig.raw("ALTER TABLE audit RENAME TO audit_away").await;
    let property = new_property(mine, "Orchard");
    let store = acting(rig, mine, "create_property", property.id.0, 10);
    store.insert_property(&property).await.unwrap_err();
    assert_eq!(rig.database.property(mine, property.id).await.unwrap(), None);
    rig.raw("ALTER TABLE audit_away RENAME TO audit").await;
    store.insert_property(&property).await.unwrap();
    assert_eq!(entries(rig, mine).await.len(), 1, "the failure did not count as recorded");
}

async fn notes_about_repeated_requests_are_no_change(rig: &Rig) {
    let mine = account(rig).await;
    let store = acting(rig, mine, "create_property", Uuid::nil(), 10);
    let attempt = Attempt {
        account_id: mine,
        key: "order-17".to_owned(),
        fingerprint: [5; 32],
        seed: Uuid::from_u128(1),
        now: at(10),
    };
    store.claim(&attempt).await.unwrap();
    store.forget(mine, "order-17").await.unwrap();
    store.purge(at(DAY)).await.unwrap();
    assert_eq!(entries(rig, mine).await, []);
}

async fn entries_come_newest_first_and_by_filter(rig: &Rig) {
    let (mine, other) = (account(rig).await, account(rig).await);
    let things = record(rig, mine, [10, 30, 20, 20, 20]).await;
    record(rig, other, [15, 25]).await;
    let all = entries(rig, mine).await;
    assert_eq!(all.iter().map(|entry| entry.at).collect::<Vec<_>>(), [30, 20, 20, 20, 10].map(at));
    assert!(all.iter().all(|entry| entry.account_id == mine));
    let list = async |filter: AuditFilter| rig.database.audit(mine, &filter, &first(500)).await.unwrap();
    // Over pages that end within the same instant, with each bound of the filter beside the cursor.
    for (filter, expected) in [
        (AuditFilter::default(), &all[..]),
        (AuditFilter { from: Some(at(20)), ..AuditFilter::default() }, &all[..4]),
        (AuditFilter { until: Some(at(30)), ..AuditFilter::default() }, &all[1..]),
        (AuditFilter { until: Some(at(20)), ..AuditFilter::default() }, &all[4..]),
        (AuditFilter { key: Some(KeyId(mine.0)), until: Some(at(30)), ..AuditFilter::default() }, &all[1..]),
    ] {
        assert_eq!(list(filter.clone()).await, expected);
        let mut found = Vec::new();
        let mut page = first(2);
        loop {
            let rows = rig.database.audit(mine, &filter, &page).await.unwrap();
            found.extend(rows.iter().take(2).cloned());
            if rows.len() <= 2 {
                break;
            }
            page = after(rows[1].at, rows[1].id.0, 2);
        }
        assert_eq!(found, expected);
    }
    let of_thing =
        list(AuditFilter { thing_id: Some(things[1].to_string()), ..AuditFilter::default() }).await;
    assert_eq!(of_thing, all[..1]);
    let foreign = AuditFilter { key: Some(KeyId(other.0)), ..AuditFilter::default() };
    assert_eq!(list(foreign).await, [], "another account's key");
}

/// Runs a statement that the database has to refuse.
async fn refused(rig: &Rig, text: &'static str) {
    use sqlx::Connection as _;
    let done = if rig.database.backend() == "sqlite" {
        let mut connection = sqlx_sqlite::SqliteConnection::connect(&rig.url).await.unwrap();
        sqlx::query(text).execute(&mut connection).await.map(|done| done.rows_affected())
    } else {
        let mut connection = sqlx_postgres::PgConnection::connect(&rig.url).await.unwrap();
        sqlx::query(text).execute(&mut connection).await.map(|done| done.rows_affected())
    };
    let error = done.expect_err(text).to_string();
    assert!(error.contains("rows of audit"), "{text}: {error}");
}

async fn the_database_refuses_to_change_an_entry(rig: &Rig) {
    let mine = account(rig).await;
    record(rig, mine, [10]).await;
    let before = entries(rig, mine).await;
    for text in [
        "UPDATE audit SET operation = 'read_nothing'",
        "UPDATE audit SET actor = 'operator', actor_id = NULL",
        "UPDATE audit SET thing_id = NULL",
        "UPDATE audit SET request_id = NULL",
        // Its instant may be set back, but not without a trace, nor forwards, nor with anything else.
        "UPDATE audit SET at = at - 1",
        "UPDATE audit SET at = at + 1, clock_at = at",
        "UPDATE audit SET at = at - 1, clock_at = at, operation = 'read_nothing'",
    ] {
        refused(rig, text).await;
    }
    assert_eq!(entries(rig, mine).await, before);
}

async fn the_database_refuses_to_remove_a_young_entry(rig: &Rig) {
    let mine = account(rig).await;
    record(rig, mine, [10]).await;
    refused(rig, "DELETE FROM audit").await;
    if rig.database.backend() == "postgres" {
        refused(rig, "TRUNCATE audit").await;
    }
    assert_eq!(entries(rig, mine).await.len(), 1);
}

async fn old_entries_are_removed_in_batches(rig: &Rig) {
    let (mine, other) = (account(rig).await, account(rig).await);
    record(rig, mine, 0..5).await;
    record(rig, other, 0..2).await;
    assert_eq!(rig.database.oldest_audit().await.unwrap(), Some(at(0)));
    assert_eq!(rig.database.forget_audit(at(4), 3).await.unwrap(), 3, "the oldest ones first");
    assert_eq!(rig.database.oldest_audit().await.unwrap(), Some(at(1)));
    assert_eq!(tidy(&context(rig, 90 * DAY + 4)).await.unwrap(), 3);
    assert_eq!(entries(rig, mine).await.iter().map(|entry| entry.at).collect::<Vec<_>>(), [at(4)]);
    assert_eq!(entries(rig, other).await, []);
    assert_eq!(tidy(&context(rig, 90 * DAY + 4)).await.unwrap(), 0);
    assert_eq!(tidy(&context(rig, 91 * DAY)).await.unwrap(), 1);
    assert_eq!(tidy(&context(rig, 91 * DAY)).await.unwrap(), 0, "and an empty one is left alone");
}

async fn a_clock_that_is_far_ahead_removes_the_oldest_month_alone(rig: &Rig) {
    let mine = account(rig).await;
    record(rig, mine, [0, 30 * DAY, 31 * DAY, 60 * DAY]).await;
    // Ten years.
    assert_eq!(tidy(&context(rig, 3650 * DAY)).await.unwrap(), 2);
    assert_eq!(entries(rig, mine).await.len(), 2);
}

async fn entries_of_a_clock_that_was_ahead_are_set_back_once(rig: &Rig) {
    let mine = account(rig).await;
    let things = record(rig, mine, [5 * DAY, 5 * DAY + 1, 10]).await;
    rig.database.undo_future(at(20)).await.unwrap();
    let found = entries(rig, mine).await;
    let shown: Vec<_> =
        found.iter().map(|entry| (entry.at, entry.thing.as_ref().unwrap().id.clone())).collect();
    let expected = [(20, things[1]), (20, things[0]), (10, things[2])];
    assert_eq!(shown, expected.map(|(seconds, thing)| (at(seconds), thing.to_string())), "in their order");
    assert_eq!(rig.database.undo_future(at(20)).await.unwrap(), 0);
    let said = rig.raw("SELECT MIN(clock_at) FROM audit").await;
    assert_eq!(said, at(5 * DAY).timestamp_micros(), "what the clock showed stays");
    // The clock that set them back was ahead itself.
    rig.database.undo_future(at(-100)).await.unwrap();
    let found = entries(rig, mine).await;
    assert!(found.iter().all(|entry| entry.at == at(-100)), "{found:?}");
    assert_eq!(rig.raw("SELECT MAX(clock_at) FROM audit").await, at(5 * DAY + 1).timestamp_micros());
}

async fn a_restored_backup_is_recorded_for_every_account(rig: &Rig) {
    let (mine, other) = (account(rig).await, account(rig).await);
    assert!(!rig.database.note_incarnation(at(1), false).await.unwrap());
    assert_eq!(entries(rig, mine).await, []);
    assert!(rig.database.note_incarnation(at(2), true).await.unwrap());
    for account in [mine, other] {
        let found = entries(rig, account).await;
        let [entry] = found.as_slice() else { panic!("{found:?}") };
        assert_eq!(
            (entry.operation.as_str(), entry.actor.kind.as_str(), entry.at),
            ("restore_backup", "operator", at(2))
        );
        assert_eq!(entry.thing.as_ref().unwrap().id, account.to_string());
    }
}

async fn fifty_acts_at_once_leave_fifty_entries(rig: &Rig) {
    let mine = account(rig).await;
    let acts = (0..50).map(|_| async {
        let property = new_property(mine, "Orchard");
        let store = acting(rig, mine, "create_property", property.id.0, 10);
        store.insert_property(&property).await.unwrap();
        property.id.0.to_string()
    });
    let mut made = futures_util::future::join_all(acts).await;
    let mut told: Vec<_> =
        entries(rig, mine).await.into_iter().map(|entry| entry.thing.unwrap().id).collect();
    made.sort_unstable();
    told.sort_unstable();
    assert_eq!(told, made);
}
