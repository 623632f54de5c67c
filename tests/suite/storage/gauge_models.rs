//! What is new of a gauge's record, and refreshes that go on from what they know of it.

use super::make::{self, Home, at, day, first, home, readings};
use super::{Rig, on_both};
use chrono::{DateTime, TimeDelta, Utc};
use eavesward_service::domain::background::refresh;
use eavesward_service::domain::base::clock::{Clock as _, SetClock};
use eavesward_service::domain::base::ids::{ComponentId, GaugeId};
use eavesward_service::domain::base::rounding::rounded;
use eavesward_service::domain::context::Context;
use eavesward_service::domain::model::component::{Component, ComponentFacts};
use eavesward_service::domain::model::forecast::DutyForecast;
use eavesward_service::domain::model::gauge::GaugeFacts;
use eavesward_service::domain::model::part::Part;
use eavesward_service::domain::model::rain::{RainKnown, RainRead};
use eavesward_service::domain::model::system::SystemFacts;
use eavesward_service::domain::model::task::TaskFilter;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::outcomes::Deleted;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::TaskStore as _;
use eavesward_service::domain::use_cases::forecasts;
use eavesward_service::storage::Database;
use std::sync::Arc;

on_both!(
    a_record_that_grew_at_its_end_is_read_from_there,
    a_record_that_was_rewritten_is_read_from_the_start,
    what_does_not_touch_the_readings_leaves_them_known,
    refreshes_that_go_on_equal_those_from_the_start,
    replicas_that_take_turns_agree,
    a_system_follows_its_gauge,
    many_batches_are_refreshed_by_several_hands,
);

fn known(rewrites: i64, through: i64) -> RainKnown {
    RainKnown { rewrites, through: Some(day(through)) }
}

async fn put(rig: &Rig, home: &Home, from: i64, mm: &[f64]) {
    rig.database.put_rain(home.account, home.gauge.id, &readings(from, mm)).await.unwrap().unwrap();
}

async fn a_record_that_grew_at_its_end_is_read_from_there(rig: &Rig) {
    let home = home(rig).await;
    let since = async |known, through| rig.database.rain_since(home.gauge.id, known, through).await.unwrap();
    let nothing = RainRead { rewrites: 0, whole: true, days: Vec::new() };
    assert_eq!(since(None, day(99)).await, nothing);
    put(rig, &home, 0, &[1.0, 2.0, 3.0]).await;
    let whole = RainRead { rewrites: 0, whole: true, days: readings(0, &[1.0, 2.0, 3.0]) };
    assert_eq!(since(None, day(99)).await, whole);
    assert_eq!(since(Some(RainKnown { rewrites: 0, through: None }), day(99)).await, whole);
    let new = RainRead { rewrites: 0, whole: false, days: readings(2, &[3.0]) };
    assert_eq!(since(Some(known(0, 1)), day(99)).await, new);
    // After a gap, and one reading again.
    put(rig, &home, 7, &[0.0, 4.0]).await;
    put(rig, &home, 8, &[4.0]).await;
    let new = RainRead { rewrites: 0, whole: false, days: readings(7, &[0.0, 4.0]) };
    assert_eq!(since(Some(known(0, 2)), day(99)).await, new);
    assert_eq!(
        since(Some(known(0, 2)), day(7)).await.days,
        readings(7, &[0.0]),
        "the last day is not asked for"
    );
    assert_eq!(since(Some(known(0, 8)), day(99)).await.days, []);
    let gone = rig.database.rain_since(GaugeId::new(), None, day(99)).await.unwrap();
    assert_eq!(gone.days, []);
}

async fn a_record_that_was_rewritten_is_read_from_the_start(rig: &Rig) {
    let home = home(rig).await;
    put(rig, &home, 0, &[1.0, 2.0, 3.0]).await;
    put(rig, &home, 6, &[1.0]).await;
    let store = &rig.database;
    let since = async |known| store.rain_since(home.gauge.id, known, day(99)).await.unwrap();
    assert_eq!(since(Some(known(0, 2))).await.days, readings(6, &[1.0]));
    // A day is corrected, a gap is filled, a day is removed: each in turn.
    put(rig, &home, 1, &[2.5]).await;
    let read = since(Some(known(0, 6))).await;
    assert_eq!((read.rewrites, read.whole, read.days.len()), (1, true, 4));
    put(rig, &home, 4, &[0.5]).await;
    let read = since(Some(known(1, 6))).await;
    assert_eq!((read.rewrites, read.whole, read.days.len()), (2, true, 5));
    assert!(store.delete_rain(home.account, home.gauge.id, day(6), day(9)).await.unwrap());
    let read = since(Some(known(2, 6))).await;
    assert_eq!((read.rewrites, read.whole, read.days.len()), (3, true, 4));
    // A correction that comes together with a new day.
    put(rig, &home, 4, &[0.75, 9.0]).await;
    let read = since(Some(known(3, 4))).await;
    assert_eq!((read.rewrites, read.whole, read.days.len()), (4, true, 5));
}

async fn what_does_not_touch_the_readings_leaves_them_known(rig: &Rig) {
    let home = home(rig).await;
    let store = &rig.database;
    put(rig, &home, 0, &[1.0, 2.0, 3.0]).await;
    put(rig, &home, 0, &[1.0, 2.0]).await;
    assert!(store.delete_rain(home.account, home.gauge.id, day(40), day(50)).await.unwrap());
    let facts = GaugeFacts { name: "Lower gauge".to_owned(), normals: None, ..home.gauge.facts.clone() };
    store.update_gauge(home.account, home.gauge.id, 1, &facts, at(9)).await.unwrap();
    let read = store.rain_since(home.gauge.id, Some(known(0, 2)), day(99)).await.unwrap();
    assert_eq!(read, RainRead { rewrites: 0, whole: false, days: Vec::new() });
}

/// A process on a database, with a memory of its own.
fn process(database: &Database, clock: &Arc<SetClock>) -> Context {
    Context::new(Arc::new(database.clone()), clock.clone())
}

fn noon(number: i64) -> DateTime<Utc> {
    day(number).and_hms_opt(12, 0, 0).expect("noon").and_utc()
}

/// Without what a task does not keep: curves, lessons, and digits that are never shown.
fn as_kept(mut forecast: DutyForecast) -> DutyForecast {
    if let Some(prediction) = &mut forecast.prediction {
        prediction.curve.clear();
        prediction.lessons.clear();
        prediction.next_finding = None;
        let limit = &mut prediction.limit;
        for figure in [&mut limit.value, &mut limit.log_sd, &mut limit.prior_value, &mut limit.prior_log_sd] {
            *figure = rounded(*figure);
        }
        if let Some(best) = &mut prediction.best_day {
            for litres in [&mut best.water_lost_l, &mut best.water_lost_low_l, &mut best.water_lost_high_l] {
                *litres = rounded(*litres);
            }
        }
        if let Some(accumulated) = &mut prediction.accumulated {
            for figure in
                [&mut accumulated.value, &mut accumulated.from_readings, &mut accumulated.from_climate]
            {
                *figure = rounded(*figure);
            }
        }
        if let Some(chances) = &mut prediction.chances {
            for chance in
                [&mut chances.today, &mut chances.in_7_days, &mut chances.in_30_days, &mut chances.in_90_days]
            {
                *chance = rounded(*chance);
            }
        }
    }
    forecast
}

/// Refreshes what is stale, and looks whether every task is what a forecast from the whole record says, which nothing is
/// remembered for.
async fn refreshed_like_new(rig: &Rig, cx: &Context, home: &Home) {
    let round = refresh::run(cx).await.unwrap();
    assert!(round.refreshed > 0 && round.failed == 0, "{round:?}");
    let found = forecasts::stored(cx, home.account, home.system.id, None).await.unwrap();
    let filter = TaskFilter { system_id: Some(home.system.id), ..TaskFilter::default() };
    let tasks = rig.database.tasks(home.account, &filter, &first(100)).await.unwrap();
    assert!(!tasks.is_empty() && tasks.len() == found.duties.len());
    for duty in found.duties {
        let task = tasks
            .iter()
            .find(|task| task.forecast.component_id == duty.component_id && task.duty == duty.duty);
        assert_eq!(task.map(|task| &task.forecast), Some(&as_kept(duty)));
    }
    let status = rig.database.status(home.account, home.system.id).await.unwrap().unwrap();
    assert_eq!((status.status.as_of, status.status.rain_through), (found.as_of, found.climate.rain_through));
    assert!(tasks.iter().all(|task| task.as_of == found.as_of && task.refreshed_at == cx.clock.now()));
}

/// Two years of readings before the first day of the tests.
async fn two_years(rig: &Rig, home: &Home) {
    let mm: Vec<f64> =
        (0..730).map(|n| f64::from(n * n % 23) / 3.0 * f64::from(u8::from(n % 3 == 0))).collect();
    put(rig, home, -730, &mm).await;
}

async fn refreshes_that_go_on_equal_those_from_the_start(rig: &Rig) {
    let home = home(rig).await;
    two_years(rig, &home).await;
    let clock = Arc::new(SetClock::new(noon(0)));
    let cx = process(&rig.database, &clock);
    refreshed_like_new(rig, &cx, &home).await;
    // Day after day, once after a gap.
    for number in [1, 2, 3, 7] {
        clock.set(noon(number));
        put(rig, &home, number, &[f64::from(u8::try_from(number).unwrap()) * 2.5]).await;
        refreshed_like_new(rig, &cx, &home).await;
    }
    // An older day is corrected, the gap is filled, the last days are taken back, and some of them come again.
    put(rig, &home, -300, &[88.0]).await;
    refreshed_like_new(rig, &cx, &home).await;
    put(rig, &home, 5, &[1.5]).await;
    refreshed_like_new(rig, &cx, &home).await;
    assert!(rig.database.delete_rain(home.account, home.gauge.id, day(3), day(9)).await.unwrap());
    refreshed_like_new(rig, &cx, &home).await;
    put(rig, &home, 6, &[4.5]).await;
    refreshed_like_new(rig, &cx, &home).await;
    // Other normals, and none.
    let mut facts = home.gauge.facts.clone();
    let mut normals = facts.normals.clone().unwrap();
    normals.rain_mm[5] = 300.0;
    for (version, normals) in [(1, Some(normals)), (2, None)] {
        facts.normals = normals;
        rig.database.update_gauge(home.account, home.gauge.id, version, &facts, at(9)).await.unwrap();
        refreshed_like_new(rig, &cx, &home).await;
    }
    // The clock goes back to a day before the last reading, whose readings are left aside then.
    clock.set(noon(2));
    put(rig, &home, -299, &[0.5]).await;
    refreshed_like_new(rig, &cx, &home).await;
}

async fn replicas_that_take_turns_agree(rig: &Rig) {
    let home = home(rig).await;
    two_years(rig, &home).await;
    let clock = Arc::new(SetClock::new(noon(0)));
    let both = [process(&rig.database, &clock), process(&rig.replica().await, &clock)];
    for cx in &both {
        put(rig, &home, -1, &[if Arc::ptr_eq(&cx.store, &both[0].store) { 7.0 } else { 8.0 }]).await;
        refreshed_like_new(rig, cx, &home).await;
    }
    // Each sees what was sent while the other one refreshed: new days, and a correction.
    for number in 1..9 {
        clock.set(noon(number));
        put(rig, &home, number, &[3.5]).await;
        if number % 3 == 0 {
            put(rig, &home, number - 40, &[21.0]).await;
        }
        let turn = usize::from(number % 4 > 1);
        refreshed_like_new(rig, &both[turn], &home).await;
    }
    // Both at once: every system once, and the same rows.
    for number in 0..30 {
        make::add_system(rig, home.account, home.property.id, home.gauge.id, &format!("Bed {number}")).await;
    }
    let (one, other) = tokio::join!(refresh::run(&both[0]), refresh::run(&both[1]));
    assert_eq!(one.unwrap().refreshed + other.unwrap().refreshed, 30);
    both[1].store.close().await;
}

async fn a_system_follows_its_gauge(rig: &Rig) {
    let home = home(rig).await;
    two_years(rig, &home).await;
    let clock = Arc::new(SetClock::new(noon(0)));
    let cx = process(&rig.database, &clock);
    refreshed_like_new(rig, &cx, &home).await;
    let other = make::new_gauge(home.account, "Upper gauge");
    rig.database.insert_gauge(&other).await.unwrap();
    rig.database.put_rain(home.account, other.id, &readings(-400, &[6.0; 400])).await.unwrap().unwrap();
    let facts = SystemFacts { gauge_id: other.id, ..home.system.facts.clone() };
    rig.database.update_system(home.account, home.system.id, 1, &facts, at(9)).await.unwrap();
    refreshed_like_new(rig, &cx, &home).await;
    // Rain under the gauge of before is no longer its business; under the new one it is.
    put(rig, &home, 0, &[1.0]).await;
    assert_eq!(rig.database.stale_count(clock.now()).await.unwrap(), 0);
    let gone = rig.database.delete_gauge(home.account, home.gauge.id, 1).await.unwrap();
    assert_eq!(gone, Deleted::Done);
    clock.set(noon(1));
    rig.database.put_rain(home.account, other.id, &readings(0, &[9.0])).await.unwrap().unwrap();
    refreshed_like_new(rig, &cx, &home).await;
    let status = rig.database.status(home.account, home.system.id).await.unwrap().unwrap();
    assert_eq!(status.status.rain_through, Some(day(0)));
}

async fn many_batches_are_refreshed_by_several_hands(rig: &Rig) {
    let home = home(rig).await;
    two_years(rig, &home).await;
    let component = ComponentFacts::new("mesh", Part::Vent { mesh_mm: None }, day(-100));
    for number in 1..1100 {
        let system =
            make::new_system(home.account, home.property.id, home.gauge.id, &format!("Bed {number}"));
        let mesh = Component::new(ComponentId::new(), system.id, component.clone(), at(7));
        rig.database.insert_system(&system, &[mesh]).await.unwrap();
    }
    let clock = Arc::new(SetClock::new(noon(0)));
    let cx = process(&rig.database, &clock);
    let round = refresh::run(&cx).await.unwrap();
    assert_eq!((round.refreshed, round.failed), (1100, 0));
    assert_eq!(refresh::run(&cx).await.unwrap(), refresh::RefreshCounts::default());
    clock.set(noon(0) + TimeDelta::days(1));
    assert_eq!(refresh::run(&cx).await.unwrap().refreshed, 1100, "the day is over for all of them");
    assert_eq!(rig.database.stale_count(clock.now()).await.unwrap(), 0);
}
