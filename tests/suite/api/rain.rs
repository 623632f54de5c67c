//! Rain as JSON: an upsert by date, judged reading by reading.

use super::scenario::{gauge, id_of, items, texts};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    readings_are_new_then_same_then_changed;
    each_bad_reading_is_refused_by_position_and_the_good_ones_stay;
    all_or_nothing_stores_nothing;
    a_reading_is_future_only_where_it_is_future_everywhere;
    rain_is_listed_by_range_and_page;
    rain_is_removed_by_range;
    bodies_are_checked;
    too_many_readings_are_refused_as_a_whole;
}

async fn made(app: &App) -> String {
    format!("/v1/gauges/{}/rain", id_of(&app.post("/v1/gauges", &gauge()).await))
}

async fn put(app: &App, path: &str, days: Value) -> Value {
    app.send("PUT", path, &json!({"days": days})).await.expect(200)
}

fn counts(report: &Value) -> Value {
    report["counts"].clone()
}

async fn readings_are_new_then_same_then_changed(app: &App) {
    let path = made(app).await;
    let own = path.trim_end_matches("/rain");
    let days = json!([{"date": "2026-01-03", "rain_mm": 0.1}, {"date": "2026-01-01", "rain_mm": 0},
        {"date": "2026-01-02", "rain_mm": 12.7}]);
    let reply = app.send("PUT", &path, &json!({"days": days})).await;
    let report = reply.expect(200);
    assert_eq!(reply.header("cache-control"), "no-store");
    let all = |new, changed, same| json!({"added": new, "changed": changed, "same": same, "refused": 0, "spread": 0, "other": 0});
    assert_eq!(counts(&report), all(3, 0, 0));
    assert_eq!((&report["rain_from"], &report["rain_through"]), (&json!("2026-01-01"), &json!("2026-01-03")));
    assert_eq!(report["refused"], json!([]));
    let before = app.get(own).await;
    assert_eq!(counts(&put(app, &path, days).await), all(0, 0, 3));
    assert_eq!(app.get(own).await, before, "the same again changes nothing");
    let mixed = json!([{"date": "2026-01-02", "rain_mm": 12.8}, {"date": "2026-01-03", "rain_mm": 0.1},
        {"date": "2025-12-25", "rain_mm": 2000}]);
    let report = put(app, &path, mixed).await;
    assert_eq!(counts(&report), all(1, 1, 1));
    let span = app.get(own).await;
    assert_eq!((&span["rain_from"], &span["rain_through"]), (&json!("2025-12-25"), &json!("2026-01-03")));
    assert_eq!(span["rain_days"], 4);
    let list = items(&app.get(&path).await);
    let expected = json!([{"date": "2025-12-25", "rain_mm": 2000.0}, {"date": "2026-01-01", "rain_mm": 0.0},
        {"date": "2026-01-02", "rain_mm": 12.8}, {"date": "2026-01-03", "rain_mm": 0.1}]);
    assert_eq!(json!(list), expected);
    assert_eq!(counts(&put(app, &path, json!([])).await), all(0, 0, 0));
}

async fn each_bad_reading_is_refused_by_position_and_the_good_ones_stay(app: &App) {
    let path = made(app).await;
    let days = json!([
        {"date": "2026-01-01", "rain_mm": 1.5},
        {"date": "2026-01-02", "rain_mm": -0.1},
        {"date": "2026-01-03", "rain_mm": 2000.1},
        {"date": "2026-01-01", "rain_mm": 1.5},
        {"date": "2026-01-01", "rain_mm": 2.5},
        {"date": "2026-04-01", "rain_mm": 1.0},
        {"date": "1699-12-31", "rain_mm": 1.0},
        {"date": "2026-01-32", "rain_mm": 1.0},
        {"date": "5 January", "rain_mm": 1.0},
        {"date": 20_260_106, "rain_mm": 1.0},
        {"date": "2026-01-07", "rain_mm": "1.0"},
        {"date": "2026-01-08", "rain_mm": null},
        {"date": "2026-01-09"},
        {"rain_mm": 1.0},
        {"date": "2026-01-10", "rain_mm": 1.0, "snow_mm": 3.0},
        "2026-01-11",
        null,
        {"date": "2026-01-12", "rain_mm": 3.5},
    ]);
    let report = put(app, &path, days.clone()).await;
    let refused = report["refused"].as_array().expect("refusals");
    let indices: Vec<u64> = refused.iter().map(|one| one["index"].as_u64().expect("an index")).collect();
    assert_eq!(indices, (1..=16).collect::<Vec<u64>>(), "{report}");
    assert!(refused.iter().all(|one| one["line"].is_null()), "{report}");
    assert_eq!((&report["counts"]["added"], &report["counts"]["refused"]), (&json!(2), &json!(16)));
    for (index, why, date) in [
        (0, "negative", json!("2026-01-02")),
        (1, "2000.1", json!("2026-01-03")),
        (2, "days[0] already", json!("2026-01-01")),
        (3, "1.5 mm", json!("2026-01-01")),
        (4, "not come yet", json!("2026-04-01")),
        (5, "1700", json!("1699-12-31")),
        (6, "", json!("2026-01-32")),
        (7, "", json!("5 January")),
        (8, "", Value::Null),
        (11, "rain_mm", json!("2026-01-09")),
        (12, "date", Value::Null),
        (13, "snow_mm", json!("2026-01-10")),
        (14, "", Value::Null),
    ] {
        let one = &refused[index];
        assert!(one["reason"].as_str().is_some_and(|text| text.contains(why) && !text.is_empty()), "{one}");
        assert_eq!(one["date"], date, "{one}");
    }
    let list = items(&app.get(&path).await);
    let expected = json!([{"date": "2026-01-01", "rain_mm": 1.5}, {"date": "2026-01-12", "rain_mm": 3.5}]);
    assert_eq!(json!(list), expected);
}

async fn all_or_nothing_stores_nothing(app: &App) {
    let path = made(app).await;
    let days = json!([{"date": "2026-01-01", "rain_mm": 1.5}, {"date": "2026-01-02", "rain_mm": -1},
        {"date": "2026-01-03"}]);
    let strict = format!("{path}?all_or_nothing=true");
    let reply = app.send("PUT", &strict, &json!({"days": days})).await;
    assert_eq!(reply.status, 422);
    assert_eq!(reply.fields("rain_refused"), ["days[1]", "days[2]"]);
    assert_eq!(items(&app.get(&path).await).len(), 0);
    let good = json!({"days": [{"date": "2026-01-01", "rain_mm": 1.5}]});
    assert_eq!(app.send("PUT", &strict, &good).await.expect(200)["counts"]["added"], 1);
}

async fn a_reading_is_future_only_where_it_is_future_everywhere(app: &App) {
    let path = made(app).await;
    // At 09:59 UTC the latest civil date on earth is still that of UTC; at 10:00 the next day begins on Kiritimati.
    let tomorrow = json!([{"date": "2026-03-03", "rain_mm": 1.0}]);
    app.clock.set("2026-03-02T09:59:59Z".parse().expect("an instant"));
    assert_eq!(put(app, &path, tomorrow.clone()).await["counts"]["refused"], 1);
    app.clock.set("2026-03-02T10:00:00Z".parse().expect("an instant"));
    assert_eq!(put(app, &path, tomorrow).await["counts"]["added"], 1);
}

async fn rain_is_listed_by_range_and_page(app: &App) {
    let path = made(app).await;
    let days: Vec<Value> =
        (1..=28).map(|day| json!({"date": format!("2026-02-{day:02}"), "rain_mm": f64::from(day)})).collect();
    put(app, &path, json!(days)).await;
    for limit in [1, 5, 7, 28, 100] {
        assert_eq!(app.walk(&path, limit).await, days, "by {limit}");
    }
    let range = async |query: &str| texts(&app.walk(&format!("{path}?{query}"), 2).await, "date");
    assert_eq!(range("from=2026-02-27").await, ["2026-02-27", "2026-02-28"]);
    assert_eq!(range("to=2026-02-01").await, ["2026-02-01"]);
    assert_eq!(range("from=2026-02-10&to=2026-02-12").await, ["2026-02-10", "2026-02-11", "2026-02-12"]);
    assert_eq!(range("from=2027-01-01").await, Vec::<String>::new());
    let backwards = Reply::of(app.request("GET", &format!("{path}?from=2026-02-12&to=2026-02-10"))).await;
    assert_eq!(backwards.fields("invalid"), ["from"]);
    for wrong in ["from=today", "to=2026-02-30", "days=3"] {
        Reply::of(app.request("GET", &format!("{path}?{wrong}"))).await.problem("malformed_parameter");
    }
    let of_systems =
        app.get(&format!("{path}?limit=1")).await["next_cursor"].as_str().expect("a cursor").to_owned();
    Reply::of(app.request("GET", &format!("/v1/visits?cursor={of_systems}"))).await.problem("bad_cursor");
}

async fn rain_is_removed_by_range(app: &App) {
    let path = made(app).await;
    let own = path.trim_end_matches("/rain");
    let days: Vec<Value> =
        (1..=10).map(|day| json!({"date": format!("2026-02-{day:02}"), "rain_mm": 1.0})).collect();
    put(app, &path, json!(days)).await;
    let remove = async |query: &str| Reply::of(app.request("DELETE", &format!("{path}?{query}"))).await;
    let gone = remove("from=2026-02-01&to=2026-02-03").await;
    assert_eq!((gone.status, gone.text.as_str()), (204, ""));
    assert_eq!(remove("from=2026-02-10&to=2026-12-31").await.status, 204);
    let span = app.get(own).await;
    assert_eq!((&span["rain_from"], &span["rain_through"]), (&json!("2026-02-04"), &json!("2026-02-09")));
    assert_eq!(span["rain_days"], 6);
    assert_eq!(remove("from=2026-02-06&to=2026-02-06").await.status, 204);
    assert_eq!(app.get(own).await["rain_days"], 5);
    assert_eq!(remove("from=2026-02-06&to=2026-02-06").await.status, 204, "nothing there is no mistake");
    assert_eq!(remove("from=2026-02-08&to=2026-02-07").await.fields("invalid"), ["from"]);
    // Without both ends nothing is removed: a forgotten one must not take the whole record.
    for half in ["", "from=2026-02-01", "to=2026-12-31"] {
        remove(half).await.problem("malformed_parameter");
    }
    assert_eq!(app.get(own).await["rain_days"], 5);
    assert_eq!(remove("from=1700-01-01&to=2100-01-01").await.status, 204);
    let span = app.get(own).await;
    assert_eq!(
        (&span["rain_from"], &span["rain_through"], &span["rain_days"]),
        (&Value::Null, &Value::Null, &json!(0))
    );
}

async fn bodies_are_checked(app: &App) {
    let path = made(app).await;
    for kind in ["text/plain", "application/xml", ""] {
        let request = app.request("PUT", &path).header("Content-Type", kind).body("2026-01-01,1.0");
        let reply = Reply::of(request).await;
        assert_eq!(reply.status, 415, "{kind:?}");
        reply.problem("unsupported_media_type");
    }
    for wrong in
        [json!({}), json!([]), json!({"days": {}}), json!({"days": [], "unit": "in"}), json!({"days": null})]
    {
        let reply = app.send("PUT", &path, &wrong).await;
        assert_eq!(reply.status, 400, "{wrong}: {}", reply.text);
        reply.problem("malformed_body");
    }
    for of_files in ["layout=daily_csv", "several_days=spread"] {
        let days = json!({"days": [{"date": "2026-01-01", "rain_mm": 1.0}]});
        let reply = app.send("PUT", &format!("{path}?{of_files}"), &days).await;
        assert_eq!(reply.status, 400, "{of_files}: {}", reply.text);
        assert_eq!(reply.fields("malformed_parameter"), [of_files.split('=').next().expect("a name")]);
    }
    for wrong in ["layout=pdf", "several_days=guess", "all_or_nothing=perhaps", "strict=true"] {
        let reply = app.send("PUT", &format!("{path}?{wrong}"), &json!({"days": []})).await;
        reply.problem("malformed_parameter");
    }
    let large = vec![b' '; 32 * 1024 * 1024 + 1];
    let request = app.request("PUT", &path).header("Content-Type", "text/csv").body(large);
    let reply = Reply::of(request).await;
    assert_eq!(reply.status, 413);
    reply.problem("body_too_large");
}

async fn too_many_readings_are_refused_as_a_whole(app: &App) {
    let path = made(app).await;
    let first: chrono::NaiveDate = "1880-01-01".parse().expect("a date");
    let days: Vec<Value> =
        first.iter_days().take(50_001).map(|date| json!({"date": date, "rain_mm": 1.0})).collect();
    let reply = app.send("PUT", &path, &json!({"days": days})).await;
    assert_eq!((reply.status, reply.fields("invalid")), (422, vec!["days".to_owned()]));
    assert_eq!(items(&app.get(&path).await).len(), 0);
    let report = put(app, &path, json!(&days[..50_000])).await;
    assert_eq!(report["counts"]["added"], 50_000);
    // Every refusal is counted, and the first thousand are shown.
    let wrong: Vec<Value> =
        first.iter_days().take(1500).map(|date| json!({"date": date, "rain_mm": -1.0})).collect();
    let report = put(app, &path, json!(wrong)).await;
    assert_eq!(report["counts"]["refused"], 1500);
    assert_eq!(report["refused"].as_array().expect("refusals").len(), 1000);
}
