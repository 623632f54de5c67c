//! Quotas: what is counted equals what is there, and nobody takes more than there is.

use super::make::{account, at, day, home, new_gauge, new_key, new_property, readings};
use super::{Rig, on_both};
use eavesward_service::domain::base::error::StoreError;
use eavesward_service::domain::base::ids::{AccountId, GaugeId};
use eavesward_service::domain::model::quota::{Counted, Quotas};
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::outcomes::Deleted;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::usage::UsageStore as _;
use eavesward_service::storage::{ConnectOptions, Database};

on_both!(
    what_is_counted_is_what_is_there,
    of_eight_rivals_only_as_many_get_in_as_there_is_room_for,
    a_refused_write_leaves_no_trace_and_what_is_there_stays,
    rows_of_before_are_counted,
);

async fn used(rig: &Rig, account: AccountId, of: Counted) -> u64 {
    let usage = rig.database.usage(account, day(0)).await.unwrap();
    usage.iter().find(|usage| usage.of == of).unwrap().used
}

async fn bounded(rig: &Rig, quotas: Quotas) -> Database {
    Database::connect(&rig.url, &ConnectOptions { quotas, ..ConnectOptions::default() }).await.unwrap()
}

async fn what_is_counted_is_what_is_there(rig: &Rig) {
    let store = &rig.database;
    let (mine, other) = (home(rig).await, account(rig).await);
    let key = new_key(mine.account, 1);
    store.insert_key(&key).await.unwrap();
    store.insert_key(&key).await.unwrap();
    let gauge = new_gauge(mine.account, "Weir gauge");
    store.insert_gauge(&gauge).await.unwrap();
    store.put_rain(mine.account, gauge.id, &readings(0, &[1.0; 30])).await.unwrap();
    // Ten days again, ten new ones, and seven taken away.
    store.put_rain(mine.account, gauge.id, &readings(20, &[2.0; 20])).await.unwrap();
    store.delete_rain(mine.account, gauge.id, day(3), day(9)).await.unwrap();
    let of = async |account, counted| used(rig, account, counted).await;
    assert_eq!(of(mine.account, Counted::Keys).await, 2);
    assert_eq!(of(mine.account, Counted::Properties).await, 1);
    assert_eq!(of(mine.account, Counted::Gauges).await, 2);
    assert_eq!(of(mine.account, Counted::RainDays).await, 33);
    assert_eq!(of(mine.account, Counted::Systems).await, 1);
    for _ in 0..2 {
        store.revoke_key(mine.account, key.id, at(5)).await.unwrap();
        assert_eq!(of(mine.account, Counted::Keys).await, 1);
    }
    assert_eq!(store.delete_gauge(mine.account, gauge.id, 1).await.unwrap(), Deleted::Done);
    assert_eq!(of(mine.account, Counted::Gauges).await, 1);
    assert_eq!(of(mine.account, Counted::RainDays).await, 0);
    let empty = new_property(mine.account, "Terrace");
    store.insert_property(&empty).await.unwrap();
    assert_eq!(of(mine.account, Counted::Properties).await, 2);
    assert_eq!(store.delete_property(mine.account, empty.id, 1).await.unwrap(), Deleted::Done);
    assert_eq!(of(mine.account, Counted::Properties).await, 1);
    assert_eq!(of(other, Counted::Properties).await, 0);
    assert_eq!(of(other, Counted::Keys).await, 1);
}

async fn of_eight_rivals_only_as_many_get_in_as_there_is_room_for(rig: &Rig) {
    let mine = account(rig).await;
    let quotas = Quotas { properties: Some(3), ..Quotas::default() };
    let rivals = (0..8).map(|number| async move {
        let replica = bounded(rig, quotas).await;
        let stored = replica.insert_property(&new_property(mine, &format!("plot {number}"))).await;
        eavesward_service::domain::ports::store::Store::close(&replica).await;
        stored
    });
    let ended = futures_util::future::join_all(rivals).await;
    assert_eq!(ended.iter().filter(|one| one.is_ok()).count(), 3, "{ended:?}");
    let refused = |one: &Result<(), StoreError>| {
        one.is_ok() || matches!(one, Err(StoreError::QuotaReached { of: "properties", most: 3 }))
    };
    assert!(ended.iter().all(refused), "{ended:?}");
    assert_eq!(used(rig, mine, Counted::Properties).await, 3);
}

async fn a_refused_write_leaves_no_trace_and_what_is_there_stays(rig: &Rig) {
    let mine = account(rig).await;
    let gauge = new_gauge(mine, "Weir gauge");
    rig.database.insert_gauge(&gauge).await.unwrap();
    rig.database.put_rain(mine, gauge.id, &readings(0, &[1.0; 50])).await.unwrap();
    // The operator allows less than there is.
    let store = bounded(rig, Quotas { gauges: Some(0), rain_days: Some(40), ..Quotas::default() }).await;
    let put = async |from, mm: &[f64]| store.put_rain(mine, gauge.id, &readings(from, mm)).await;
    assert!(matches!(
        put(49, &[1.0, 1.0]).await,
        Err(StoreError::QuotaReached { of: "rain_days", most: 40 })
    ));
    assert!(put(10, &[5.0]).await.unwrap().is_some(), "a correction adds nothing");
    store.insert_gauge(&gauge).await.expect("it is there already");
    let another = store.insert_gauge(&new_gauge(mine, "Gatehouse gauge")).await;
    assert!(matches!(another, Err(StoreError::QuotaReached { of: "gauges", most: 0 })), "{another:?}");
    assert_eq!(used(rig, mine, Counted::Gauges).await, 1);
    assert_eq!(used(rig, mine, Counted::RainDays).await, 50);
    let kept = rig.database.gauge(mine, gauge.id).await.unwrap().unwrap().span;
    assert_eq!((kept.days, kept.through), (50, Some(day(49))));
    assert!(store.put_rain(mine, GaugeId::new(), &readings(0, &[1.0])).await.unwrap().is_none());
    eavesward_service::domain::ports::store::Store::close(&store).await;
}

async fn rows_of_before_are_counted(rig: &Rig) {
    let mine = home(rig).await;
    rig.database.put_rain(mine.account, mine.gauge.id, &readings(0, &[1.0; 12])).await.unwrap();
    let before = rig.database.usage(mine.account, day(0)).await.unwrap();
    // As the migration finds a database of before: no counts.
    rig.raw("DELETE FROM account_usage").await;
    let text = if rig.database.backend() == "sqlite" {
        include_str!("../../../service/migrations/sqlite/0013_quotas.sql")
    } else {
        include_str!("../../../service/migrations/postgres/0013_quotas.sql")
    };
    let from = text.find("INSERT INTO account_usage").unwrap();
    let to = from + text[from..].find(';').unwrap();
    rig.raw(&text[from..to]).await;
    assert_eq!(rig.database.usage(mine.account, day(0)).await.unwrap(), before);
}
