//! Rain in and out.

use super::make::{account, after, day, first, home, new_gauge, readings};
use super::{Rig, on_both};
use eavesward_service::domain::base::ids::GaugeId;
use eavesward_service::domain::base::paging::{After, PageRequest};
use eavesward_service::domain::model::gauge::RainSpan;
use eavesward_service::domain::model::rain::{RainDay, RainRange, Upserted};
use eavesward_service::domain::ports::store::gauges::{GaugeStore as _, StoredRain};
use uuid::Uuid;

on_both!(
    new_changed_and_same_days_are_told_apart,
    every_float_comes_back_to_the_bit,
    long_records_are_stored_whole,
    two_writers_of_one_gauge_follow_each_other,
    writers_of_many_gauges_do_not_lock_each_other_out,
    the_span_follows_removals,
    readings_are_listed_by_range_and_page,
);

fn span(from: i64, through: i64, days: i64) -> RainSpan {
    RainSpan { from: Some(day(from)), through: Some(day(through)), days }
}

async fn new_changed_and_same_days_are_told_apart(rig: &Rig) {
    let home = home(rig).await;
    let (store, gauge) = (&rig.database, home.gauge.id);
    let put = async |days: Vec<RainDay>| store.put_rain(home.account, gauge, &days).await.unwrap().unwrap();
    let expected = |upserted, span| StoredRain { upserted, span };
    assert_eq!(put(Vec::new()).await, expected(Upserted::default(), RainSpan::default()));
    let counts = Upserted { new: 3, changed: 0, same: 0 };
    assert_eq!(put(readings(0, &[1.0, 0.0, 2.5])).await, expected(counts, span(0, 2, 3)));
    let counts = Upserted { new: 0, changed: 0, same: 3 };
    assert_eq!(put(readings(0, &[1.0, 0.0, 2.5])).await, expected(counts, span(0, 2, 3)));
    let counts = Upserted { new: 2, changed: 1, same: 1 };
    assert_eq!(put(readings(1, &[0.0, 2.6, 0.0, 9.0])).await, expected(counts, span(0, 4, 5)));
    let counts = Upserted { new: 1, changed: 0, same: 0 };
    assert_eq!(put(readings(-40, &[7.0])).await, expected(counts, span(-40, 4, 6)));

    let stored = store.gauge(home.account, gauge).await.unwrap().unwrap();
    assert_eq!(stored.span, span(-40, 4, 6));
    assert_eq!((stored.version, stored.updated_at), (1, home.gauge.updated_at), "readings are not facts");
    let mut record = readings(-40, &[7.0]);
    record.extend(readings(0, &[1.0, 0.0, 2.6, 0.0, 9.0]));
    assert_eq!(store.rain_record(gauge, day(100)).await.unwrap(), record);
    assert_eq!(store.rain_record(gauge, day(0)).await.unwrap(), record[..2]);
    let unknown = GaugeId::new();
    assert_eq!(store.put_rain(home.account, unknown, &readings(0, &[1.0])).await.unwrap(), None);
}

async fn every_float_comes_back_to_the_bit(rig: &Rig) {
    let home = home(rig).await;
    let values = [0.1 + 0.2, 1.0 / 3.0, 5e-324, 1_999.999_999_999_999_8, 1e-10, 123.456_789_012_345_67];
    let days = readings(0, &values);
    rig.database.put_rain(home.account, home.gauge.id, &days).await.unwrap().unwrap();
    assert_eq!(rig.database.rain_record(home.gauge.id, day(99)).await.unwrap(), days);
}

async fn long_records_are_stored_whole(rig: &Rig) {
    let home = home(rig).await;
    let values: Vec<f64> = (0..20_000).map(|index| f64::from(index % 97) / 7.0).collect();
    let days = readings(-30_000, &values);
    let stored = rig.database.put_rain(home.account, home.gauge.id, &days).await.unwrap().unwrap();
    assert_eq!(stored.upserted, Upserted { new: 20_000, changed: 0, same: 0 });
    assert_eq!(stored.span, span(-30_000, -10_001, 20_000));
    assert_eq!(rig.database.rain_record(home.gauge.id, day(0)).await.unwrap(), days);
}

async fn two_writers_of_one_gauge_follow_each_other(rig: &Rig) {
    let home = home(rig).await;
    let replica = rig.replica().await;
    // Each day is sent by both; between them they must count it as new exactly once.
    let writer = |database: eavesward_service::storage::Database| {
        let (account, gauge) = (home.account, home.gauge.id);
        async move {
            let mut new = 0;
            for step in 0..20 {
                let days = readings(step * 5, &[f64::from(u8::try_from(step).unwrap()); 10]);
                new += database.put_rain(account, gauge, &days).await.unwrap().unwrap().upserted.new;
            }
            new
        }
    };
    let (one, other) =
        tokio::join!(tokio::spawn(writer(rig.database.clone())), tokio::spawn(writer(replica)));
    assert_eq!(one.unwrap() + other.unwrap(), 105);
    let stored = rig.database.gauge(home.account, home.gauge.id).await.unwrap().unwrap();
    assert_eq!(stored.span, span(0, 104, 105));
    assert_eq!(rig.database.rain_record(home.gauge.id, day(400)).await.unwrap().len(), 105);
}

async fn writers_of_many_gauges_do_not_lock_each_other_out(rig: &Rig) {
    let mine = account(rig).await;
    let mut tasks = Vec::new();
    for number in 0..12 {
        let gauge = new_gauge(mine, &format!("Gauge {number}"));
        rig.database.insert_gauge(&gauge).await.unwrap();
        let database = if number % 2 == 0 { rig.database.clone() } else { rig.replica().await };
        tasks.push(tokio::spawn(async move {
            for from in 0..10 {
                let days = readings(from * 100, &[1.25; 100]);
                database.put_rain(mine, gauge.id, &days).await.unwrap().unwrap();
            }
            database.gauge(mine, gauge.id).await.unwrap().unwrap().span
        }));
    }
    for task in tasks {
        assert_eq!(task.await.unwrap(), span(0, 999, 1000));
    }
}

async fn the_span_follows_removals(rig: &Rig) {
    let home = home(rig).await;
    let (store, gauge) = (&rig.database, home.gauge.id);
    store.put_rain(home.account, gauge, &readings(0, &[1.0; 10])).await.unwrap().unwrap();
    let spanned = async || store.gauge(home.account, gauge).await.unwrap().unwrap().span;
    let delete = async |from, to| store.delete_rain(home.account, gauge, day(from), day(to)).await.unwrap();
    assert!(delete(4, 5).await);
    assert_eq!(spanned().await, span(0, 9, 8));
    assert!(delete(8, 100).await);
    assert_eq!(spanned().await, span(0, 7, 6));
    assert!(delete(-50, 0).await);
    assert_eq!(spanned().await, span(1, 7, 5));
    assert!(delete(500, 600).await, "there is the gauge, if no reading");
    assert_eq!(spanned().await, span(1, 7, 5));
    assert!(delete(-50, 600).await);
    assert_eq!(spanned().await, RainSpan::default());
    assert!(!store.delete_rain(home.account, GaugeId::new(), day(0), day(9)).await.unwrap());
}

async fn readings_are_listed_by_range_and_page(rig: &Rig) {
    let home = home(rig).await;
    let (store, gauge) = (&rig.database, home.gauge.id);
    let days = readings(0, &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
    store.put_rain(home.account, gauge, &days).await.unwrap().unwrap();
    let list = async |from: Option<i64>, to: Option<i64>, page: PageRequest<_>| {
        store.rain(gauge, RainRange { from: from.map(day), to: to.map(day) }, &page).await.unwrap()
    };
    assert_eq!(list(None, None, first(100)).await, days);
    assert_eq!(list(Some(1), Some(3), first(100)).await, days[1..=3]);
    assert_eq!(list(None, None, first(2)).await, days[..3], "one more than the page shows");
    assert_eq!(list(None, Some(4), after(day(2), Uuid::nil(), 100)).await, days[3..=4]);
    let page = PageRequest { after: Some(After { key: day(0), id: gauge.0 }), limit: 1 };
    assert_eq!(list(Some(3), None, page).await, days[3..=4]);
}
