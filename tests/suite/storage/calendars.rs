//! Calendar feeds.

use super::make::{account, after, at, first, new_property};
use super::{Rig, on_both};
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::{AccountId, CalendarId, PropertyId};
use eavesward_service::domain::base::secret::hash;
use eavesward_service::domain::model::calendar::Calendar;
use eavesward_service::domain::ports::store::calendars::CalendarStore as _;
use eavesward_service::domain::ports::store::outcomes::Deleted;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;

on_both!(
    feeds_come_back_as_they_were,
    feeds_are_paged_by_age_and_kept_apart,
    a_revoked_feed_stays_revoked_since_then,
    a_feed_was_read_at_the_latest_instant,
    a_feed_goes_with_its_property_and_needs_one_of_its_account,
    properties_are_found_together,
);

fn feed(account_id: AccountId, property_id: Option<PropertyId>, seconds: i64) -> Calendar {
    let id = CalendarId::new();
    Calendar {
        id,
        account_id,
        property_id,
        name: "Zeder, \"Ωμέγα\"".to_owned(),
        horizon_days: 90,
        hash: hash(&id.to_string()),
        hint: "ewc_abcdef".to_owned(),
        created_at: at(seconds),
        last_read_at: None,
        revoked_at: None,
    }
}

async fn feeds_come_back_as_they_were(rig: &Rig) {
    let (store, mine) = (&rig.database, account(rig).await);
    let property = new_property(mine, "Orchard");
    store.insert_property(&property).await.unwrap();
    let mut full = feed(mine, Some(property.id), 0);
    (full.last_read_at, full.revoked_at) = (Some(at(5)), Some(at(6)));
    for feed in [feed(mine, None, 1), full] {
        store.insert_calendar(&feed).await.unwrap();
        assert_eq!(store.calendar_by_hash(&feed.hash).await.unwrap(), Some(feed));
    }
    assert_eq!(store.calendar_by_hash(&[7; 32]).await.unwrap(), None);
}

async fn feeds_are_paged_by_age_and_kept_apart(rig: &Rig) {
    let (store, mine, other) = (&rig.database, account(rig).await, account(rig).await);
    for seconds in [5, 5, 5, 1] {
        store.insert_calendar(&feed(mine, None, seconds)).await.unwrap();
    }
    let all = store.calendars(mine, &first(100)).await.unwrap();
    assert_eq!(all.len(), 4);
    assert!(all.is_sorted_by_key(|feed| (feed.created_at, feed.id)));
    let second = &all[1];
    assert_eq!(store.calendars(mine, &after(second.created_at, second.id.0, 100)).await.unwrap(), all[2..]);
    assert_eq!(store.calendars(other, &first(100)).await.unwrap(), []);
}

async fn a_revoked_feed_stays_revoked_since_then(rig: &Rig) {
    let (store, mine, other) = (&rig.database, account(rig).await, account(rig).await);
    let feed = feed(mine, None, 0);
    store.insert_calendar(&feed).await.unwrap();
    assert!(!store.revoke_calendar(other, feed.id, at(50)).await.unwrap());
    assert!(store.revoke_calendar(mine, feed.id, at(60)).await.unwrap());
    assert!(store.revoke_calendar(mine, feed.id, at(70)).await.unwrap());
    let stored = store.calendar_by_hash(&feed.hash).await.unwrap().unwrap();
    assert_eq!(stored.revoked_at, Some(at(60)));
}

async fn a_feed_was_read_at_the_latest_instant(rig: &Rig) {
    let (store, mine) = (&rig.database, account(rig).await);
    let feed = feed(mine, None, 0);
    store.insert_calendar(&feed).await.unwrap();
    for (read, kept) in [(10, 10), (30, 30), (20, 30)] {
        store.calendar_was_read(feed.id, at(read)).await.unwrap();
        let stored = store.calendar_by_hash(&feed.hash).await.unwrap().unwrap();
        assert_eq!(stored.last_read_at, Some(at(kept)));
    }
}

async fn a_feed_goes_with_its_property_and_needs_one_of_its_account(rig: &Rig) {
    let (store, mine, other) = (&rig.database, account(rig).await, account(rig).await);
    let property = new_property(mine, "Orchard");
    store.insert_property(&property).await.unwrap();
    let (whole, part) = (feed(mine, None, 0), feed(mine, Some(property.id), 1));
    store.insert_calendar(&whole).await.unwrap();
    store.insert_calendar(&part).await.unwrap();
    for foreign in [feed(other, Some(property.id), 2), feed(mine, Some(PropertyId::new()), 2)] {
        let refused = store.insert_calendar(&foreign).await.unwrap_err();
        assert!(matches!(refused, StoreError::Dangling(_)), "{refused:?}");
    }
    assert_eq!(store.delete_property(mine, property.id, 1).await.unwrap(), Deleted::Done);
    assert_eq!(store.calendars(mine, &first(100)).await.unwrap(), [whole]);
    assert_eq!(store.calendar_by_hash(&part.hash).await.unwrap(), None);
}

async fn properties_are_found_together(rig: &Rig) {
    let (store, mine, other) = (&rig.database, account(rig).await, account(rig).await);
    let mut all = Vec::new();
    for name in ["Orchard", "Terrace", "Greenhouse"] {
        let property = new_property(mine, name);
        store.insert_property(&property).await.unwrap();
        all.push(property);
    }
    let ids = [all[0].id, all[2].id, PropertyId::new()];
    let mut found = store.properties_of(mine, &ids).await.unwrap();
    found.sort_by_key(|property| property.id);
    assert_eq!(found, [all[0].clone(), all[2].clone()]);
    assert_eq!(store.properties_of(other, &ids).await.unwrap(), []);
    assert_eq!(store.properties_of(mine, &[]).await.unwrap(), []);
}
