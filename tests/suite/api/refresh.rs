//! Tasks after the rain they stand on grew, was corrected or taken back: the same as what a forecast asked for anew says.

use super::scenario::{Place, gauge, id_of, place, rain, system, texts, three};
use crate::support::app::{App, over_both};
use chrono::NaiveDate;
use serde_json::{Value, json};

over_both! {
    tasks_follow_the_rain_day_by_day;
    tasks_follow_corrections_of_older_days;
    tasks_follow_normals_and_another_gauge;
    readings_of_a_day_that_has_not_come_here_are_left_aside;
    a_clock_that_was_ahead_leaves_no_date_of_the_future;
}

/// Looks whether every task says what the forecast of the day says, wherever both say something.
async fn tasks_are_the_forecast(app: &App, place: &Place, today: &str) {
    let forecast = place.forecast(app, today).await;
    let duties = forecast["duties"].as_array().expect("duties");
    let tasks = place.tasks(app).await;
    assert_eq!((tasks.len(), duties.len()), (5, 5), "{tasks:?}");
    for duty in duties {
        let is_it =
            |task: &&Value| task["component_id"] == duty["component_id"] && task["duty"] == duty["duty"];
        let task = tasks.iter().find(is_it).unwrap_or_else(|| panic!("no task of {duty}"));
        let (task, duty) = (task.as_object().expect("a task"), duty.as_object().expect("a duty"));
        let both: Vec<&String> = task.keys().filter(|key| duty.contains_key(*key)).collect();
        for key in ["due_on", "window", "accumulated", "limit", "reasons", "since", "cautions"] {
            assert!(both.iter().any(|both| *both == key), "{key} is in both");
        }
        for key in both {
            assert_eq!(task[key], duty[key], "{key}");
        }
        assert_eq!(task["as_of"], today);
    }
}

/// A place with two years of rain up to the last day of February.
async fn rained_on(app: &App) -> Place {
    let mut components = three();
    // Served the day before, so that its date lies in days to come and hangs on the climate.
    components.as_array_mut().expect("a list").push(json!({
        "name": "hand diverter", "installed_on": "2025-01-01", "last_served_on": "2026-02-28",
        "part": {"kind": "first_flush_diverter", "chamber_volume_l": 4000.0, "emptying": {"by": "hand"}}
    }));
    let place = place(app, components).await;
    let first: NaiveDate = "2024-03-01".parse().expect("a date");
    let days: Vec<Value> = (0..730_u32)
        .zip(first.iter_days())
        .map(|(n, date)| json!({"date": date, "rain_mm": if n % 4 == 1 { f64::from(n % 9) + 0.5 } else { 0.0 }}))
        .collect();
    app.send("PUT", &format!("/v1/gauges/{}/rain", place.gauge), &json!({"days": days})).await.expect(200);
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    place
}

async fn tasks_follow_the_rain_day_by_day(app: &App) {
    let place = rained_on(app).await;
    let mut read = Vec::new();
    for day in 1..=9 {
        let yesterday = format!("2026-03-{day:02}");
        rain(app, &place.gauge, &yesterday, 1, 12.5).await;
        app.at(&format!("2026-03-{:02}T12:00:00Z", day + 1)).await;
        tasks_are_the_forecast(app, &place, &format!("2026-03-{:02}", day + 1)).await;
        read.push(place.task(app, "diverter", "clear_weep_hole").await["accumulated"]["days_read"].clone());
    }
    let first = read[0].as_u64().expect("days");
    assert_eq!(read, (0..9).map(|more| json!(first + more)).collect::<Vec<_>>());
    // A day without a reading, and one after it.
    rain(app, &place.gauge, "2026-03-11", 1, 2.0).await;
    app.at("2026-03-12T12:00:00Z").await;
    tasks_are_the_forecast(app, &place, "2026-03-12").await;
    // Midnight alone makes another day of it.
    app.at("2026-03-13T00:00:01Z").await;
    tasks_are_the_forecast(app, &place, "2026-03-13").await;
}

async fn tasks_follow_corrections_of_older_days(app: &App) {
    let place = rained_on(app).await;
    let read = async || place.task(app, "screen", "clean_screen").await["accumulated"].clone();
    let mut seen = vec![read().await];
    // A correction, a correction beside a new day, and readings taken back.
    rain(app, &place.gauge, "2025-11-11", 1, 140.0).await;
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    seen.push(read().await);
    rain(app, &place.gauge, "2026-02-20", 10, 7.0).await;
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    seen.push(read().await);
    let path = format!("/v1/gauges/{}/rain?from=2025-06-01&to=2025-12-31", place.gauge);
    app.send("DELETE", &path, &Value::Null).await.expect(204);
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    seen.push(read().await);
    assert!(seen.windows(2).all(|two| two[0] != two[1]), "{seen:?}");
}

async fn tasks_follow_normals_and_another_gauge(app: &App) {
    let place = rained_on(app).await;
    let due = async || place.tasks(app).await.iter().map(|task| task["window"].clone()).collect::<Vec<_>>();
    let mut seen = vec![due().await];
    let path = format!("/v1/gauges/{}", place.gauge);
    let mut facts = gauge();
    facts["normals"] = json!({"rain_mm": vec![250.0; 12], "wet_days": vec![20.0; 12], "wet_day_threshold_mm": 1.0, "years": 30.0});
    app.put(&path, 1, &facts).await.expect(200);
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    seen.push(due().await);
    app.put(&path, 2, &gauge()).await.expect(200);
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    assert_eq!(due().await, seen[0], "as before the normals");
    // Under another gauge; the one of before goes.
    let other = id_of(&app.post("/v1/gauges", &gauge()).await);
    rain(app, &other, "2025-01-01", 424, 1.25).await;
    let mut facts = system(&place.property, &other, Value::Null);
    facts.as_object_mut().expect("a system").remove("components");
    app.put(&format!("/v1/systems/{}", place.system_id()), 1, &facts).await.expect(200);
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    seen.push(due().await);
    app.request("DELETE", &path).header("If-Match", "\"3\"").send().await.expect("an answer");
    assert_eq!(app.send("GET", &path, &Value::Null).await.status, 404);
    rain(app, &other, "2026-03-01", 1, 30.0).await;
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    seen.push(due().await);
    assert!(seen.windows(2).all(|two| two[0] != two[1]), "{seen:?}");
}

async fn readings_of_a_day_that_has_not_come_here_are_left_aside(app: &App) {
    let place = rained_on(app).await;
    let before = place.tasks(app).await;
    // It is the second of March in Kiritimati already.
    rain(app, &place.gauge, "2026-03-02", 1, 80.0).await;
    app.refresh().await;
    tasks_are_the_forecast(app, &place, "2026-03-01").await;
    let status = app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
    assert_eq!(status["rain_through"], "2026-02-28");
    let figures = |tasks: &[Value]| tasks.iter().map(|task| task["accumulated"].clone()).collect::<Vec<_>>();
    assert_eq!(figures(&place.tasks(app).await), figures(&before));
    app.at("2026-03-02T12:00:00Z").await;
    tasks_are_the_forecast(app, &place, "2026-03-02").await;
    let status = app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
    assert_eq!(status["rain_through"], "2026-03-02");
}

async fn a_clock_that_was_ahead_leaves_no_date_of_the_future(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let shown = async || {
        let status = app.get(&format!("/v1/systems/{}/status", place.system_id())).await;
        (status["as_of"].clone(), place.tasks(app).await)
    };
    let right = shown().await;
    app.at("2026-03-06T12:00:00Z").await;
    assert_eq!(shown().await.0, "2026-03-06");
    app.at("2026-03-01T12:00:30Z").await;
    let (as_of, tasks) = shown().await;
    assert_eq!(as_of, "2026-03-01");
    assert_eq!(texts(&tasks, "as_of"), texts(&right.1, "as_of"));
    assert_eq!(texts(&tasks, "state"), texts(&right.1, "state"));
}
