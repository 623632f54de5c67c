//! Forecasts: what they stand on, and that they are a function of what is stored and the day asked for.

use super::document::counts;
use super::scenario::{
    all_kinds, component, duty, gauge, place, place_with, property, rain, roof, texts, three, without_ids,
};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    a_gap_before_today_is_unknown_and_not_dry;
    without_rain_data_the_ceiling_decides_and_the_reasons_say_what_to_send;
    normals_alone_are_enough;
    a_record_without_rain_says_so;
    what_takes_nothing_gets_no_date_and_comes_last;
    a_part_past_its_time_is_due_and_told_apart;
    a_day_in_the_past_knows_nothing_of_what_came_later;
    the_day_asked_for_has_to_be_one;
    a_sketch_is_forecast_like_a_stored_system_and_nothing_is_stored;
    a_sketch_is_checked;
    a_forecast_explains_itself;
    a_retired_system_has_no_duties;
}

fn normals() -> Value {
    json!({"rain_mm": [60, 50, 50, 45, 50, 45, 45, 50, 50, 70, 70, 65],
        "wet_days": [11, 9, 10, 9, 9, 8, 8, 9, 8, 11, 11, 11]})
}

fn with_normals() -> Value {
    let mut gauge = gauge();
    gauge["normals"] = normals();
    gauge
}

/// Rain that differs from day to day, the same every time: a wet day in three, 1 to 9 mm.
async fn showers(app: &App, gauge: &str, first: &str, count: u32) {
    let days = shower_days(first, count);
    app.send("PUT", &format!("/v1/gauges/{gauge}/rain"), &json!({"days": days})).await.expect(200);
}

fn shower_days(first: &str, count: u32) -> Vec<Value> {
    let first: chrono::NaiveDate = first.parse().expect("a date");
    let mm = |n: u32| if n.is_multiple_of(3) { f64::from(1 + n * 7 % 9) } else { 0.0 };
    first.iter_days().zip(0..count).map(|(date, n)| json!({"date": date, "rain_mm": mm(n)})).collect()
}

fn reasons(duty: &Value) -> String {
    texts(duty["reasons"].as_array().expect("reasons"), "text").join(" ")
}

async fn a_gap_before_today_is_unknown_and_not_dry(app: &App) {
    let place = place(app, three()).await;
    // Two years up to the last day of 2025; then nothing for the 60 days up to 1 March.
    showers(app, &place.gauge, "2024-01-01", 731).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    assert_eq!(forecast["climate"]["rain_through"], "2025-12-31");
    let gap = duty(&forecast, "diverter", "clear_weep_hole");
    let accumulated = &gap["accumulated"];
    assert_eq!((&accumulated["days_read"], &accumulated["days_unread"]), (&json!(364), &json!(60)));
    let (known, climate) = (accumulated["from_readings"].as_f64(), accumulated["from_climate"].as_f64());
    let (known, climate) = (known.expect("a number"), climate.expect("a number"));
    assert!(climate > 0.0, "{accumulated}");
    assert!(
        (accumulated["value"].as_f64().expect("a number") - known - climate).abs() < 0.01,
        "{accumulated}"
    );
    assert!(reasons(&gap).contains("60 of 424 days have no reading"), "{}", reasons(&gap));
    // The gap is taken as usual weather: so much a day as the rest of the record brought, give or take the season.
    let usual = known / 364.0 * 60.0;
    assert!((0.5..2.0).contains(&(climate / usual)), "{climate} against {usual}");
    // Sent as dry days instead, the same sixty days bring nothing, and are known.
    rain(app, &place.gauge, "2026-01-01", 60, 0.0).await;
    let dry = duty(&place.forecast(app, "2026-03-01").await, "diverter", "clear_weep_hole");
    assert_eq!(
        (&dry["accumulated"]["days_unread"], &dry["accumulated"]["from_climate"]),
        (&json!(0), &json!(0.0))
    );
    assert_eq!(dry["accumulated"]["from_readings"], known);
    let today = |duty: &Value| duty["chance_past_limit"]["today"].as_f64().expect("a chance");
    assert!(today(&dry) < today(&gap), "{} {}", today(&dry), today(&gap));
}

async fn without_rain_data_the_ceiling_decides_and_the_reasons_say_what_to_send(app: &App) {
    let place = place(app, all_kinds()).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    let climate = &forecast["climate"];
    assert_eq!((&climate["basis"], &climate["years"]), (&json!("none"), &json!(0.0)));
    assert_eq!(climate["mean_runoff_mm_per_day"], json!([]));
    let advice = climate["advice"].to_string();
    assert!(advice.contains("daily rain") && advice.contains("normals"), "it says what to send: {advice}");
    for (name, what) in [("screen", "clean_screen"), ("weep diverter", "clear_weep_hole")] {
        let one = duty(&forecast, name, what);
        assert_eq!((&one["decided_by"], &one["due_on"]), (&json!("longest_interval"), &json!("2025-04-01")));
        for absent in ["accumulated", "window", "chance_past_limit"] {
            assert_eq!(one[absent], Value::Null, "{absent}");
        }
        assert_eq!(one["curve"], json!([]));
        assert!(reasons(&one).contains("twelve monthly normals"), "{}", reasons(&one));
        // The limit is known all the same.
        assert!(one["limit"]["value"].as_f64().expect("a limit") > 0.0);
    }
    for (name, what) in [("hand diverter", "drain_diverter"), ("tank", "remove_sediment")] {
        let one = duty(&forecast, name, what);
        assert_eq!((&one["decided_by"], &one["due_on"]), (&json!("nothing"), &Value::Null), "{one}");
        assert!(reasons(&one).contains("twelve monthly normals"), "{}", reasons(&one));
    }
    // Light needs no rain.
    assert_eq!(duty(&forecast, "coupling", "replace_coupling")["decided_by"], "prediction");
    // Ten days are too few, and the answer counts them.
    rain(app, &place.gauge, "2026-02-20", 10, 1.0).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    assert_eq!(forecast["climate"]["basis"], "none");
    let advice = forecast["climate"]["advice"].to_string();
    assert!(advice.contains("10 days of rain are too few"), "{advice}");
}

async fn normals_alone_are_enough(app: &App) {
    let place = place_with(app, &property(), &with_normals(), three()).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    let climate = &forecast["climate"];
    assert_eq!((&climate["basis"], &climate["years"]), (&json!("normals"), &json!(30.0)));
    assert_eq!((&climate["rain_from"], &climate["rain_through"]), (&Value::Null, &Value::Null));
    let runoff: Vec<f64> = climate["mean_runoff_mm_per_day"]
        .as_array()
        .expect("months")
        .iter()
        .map(|mm| mm.as_f64().expect("a number"))
        .collect();
    assert_eq!(runoff.len(), 12);
    // Something runs off in every month, and never more than falls: 70 mm in the 31 days of October.
    assert!(runoff.iter().all(|mm| *mm > 0.0) && runoff[9] < 70.0 / 31.0 * 1.02, "{runoff:?}");
    let one = duty(&forecast, "diverter", "clear_weep_hole");
    assert_eq!(one["accumulated"]["from_readings"], 0.0);
    assert!(one["accumulated"]["from_climate"].as_f64().expect("a number") > 0.0);
    assert!(reasons(&one).contains("normals"), "{}", reasons(&one));
    assert!(one["window"]["likely_on"].is_string(), "{one}");
    showers(app, &place.gauge, "2022-01-01", 1521).await;
    assert_eq!(place.forecast(app, "2026-03-01").await["climate"]["basis"], "both");
}

async fn a_record_without_rain_says_so(app: &App) {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2023-01-01", 1156, 0.0).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    assert_eq!(forecast["climate"]["basis"], "record");
    for (name, what, by) in [
        ("hand diverter", "drain_diverter", "nothing"),
        ("weep diverter", "clear_weep_hole", "longest_interval"),
    ] {
        let one = duty(&forecast, name, what);
        assert_eq!((&one["decided_by"], &one["window"]), (&json!(by), &Value::Null), "{one}");
        assert!(reasons(&one).contains("never rains"), "{}", reasons(&one));
        assert_eq!(one["accumulated"]["value"], 0.0);
    }
}

async fn what_takes_nothing_gets_no_date_and_comes_last(app: &App) {
    let mut shaded = three();
    shaded[2]["part"]["shade_share"] = json!(1.0);
    let place = place_with(app, &property(), &with_normals(), shaded).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    let one = duty(&forecast, "coupling", "replace_coupling");
    assert_eq!((&one["decided_by"], &one["due_on"]), (&json!("nothing"), &Value::Null));
    assert_eq!(
        (&one["longest_interval_on"], &one["window"], &one["curve"]),
        (&Value::Null, &Value::Null, &json!([]))
    );
    assert!(reasons(&one).contains("Nothing that wears or clogs the part"), "{}", reasons(&one));
    assert_eq!(forecast["duties"].as_array().expect("duties").last(), Some(&one));
    app.refresh().await;
    let tasks = app.walk("/v1/tasks", 1).await;
    let last = tasks.last().expect("tasks");
    assert_eq!((&last["duty"], &last["due_on"]), (&json!("replace_coupling"), &Value::Null));
    assert_eq!((&last["state"], tasks.len()), (&json!("resting"), 4));
    // A filter by date leaves out what has none.
    assert_eq!(app.walk("/v1/tasks?to=2999-12-31", 2).await.len(), 3);
    assert_eq!(app.walk("/v1/tasks?from=1900-01-01", 2).await.len(), 3);
}

async fn a_part_past_its_time_is_due_and_told_apart(app: &App) {
    let mut old = component(
        "coupling",
        json!({"kind": "coupling", "material": "natural_or_sbr",
        "exposition": "horizontal"}),
    );
    old["installed_on"] = json!("1950-05-01");
    let place = place(app, json!([old])).await;
    let one = duty(&place.forecast(app, "2026-03-01").await, "coupling", "replace_coupling");
    assert_eq!((&one["since"], &one["decided_by"]), (&json!("1950-05-01"), &json!("prediction")));
    assert!(one["due_on"].as_str().expect("a date") < "2026-03-01", "{one}");
    assert!(one["chance_past_limit"]["today"].as_f64().expect("a chance") > 0.95, "{one}");
    assert!(reasons(&one).contains("95 % of such parts"), "{}", reasons(&one));
    app.refresh().await;
    assert_eq!(place.task(app, "coupling", "replace_coupling").await["state"], "late");
}

async fn a_day_in_the_past_knows_nothing_of_what_came_later(app: &App) {
    let place = place(app, three()).await;
    showers(app, &place.gauge, "2024-01-01", 600).await;
    let path = format!("/v1/systems/{}/forecast?as_of=2025-08-01", place.system_id());
    let before = Reply::of(app.request("GET", &path)).await;
    rain(app, &place.gauge, "2025-08-23", 100, 30.0).await;
    let screen = place.component("screen");
    let item = json!({"component_id": screen, "duty": "clean_screen", "done": true});
    place.visit(app, "2025-08-02", item.clone()).await;
    app.post(
        &format!("/v1/components/{}/replace", place.component("coupling")),
        &json!({"on": "2025-12-01"}),
    )
    .await;
    let mut later = component("vent", json!({"kind": "vent"}));
    later["installed_on"] = json!("2025-08-02");
    app.post(&format!("/v1/systems/{}/components", place.system_id()), &later).await;
    let after = Reply::of(app.request("GET", &path)).await;
    assert_eq!((before.text.as_str(), before.header("etag")), (after.text.as_str(), after.header("etag")));
    let request = app.request("GET", &path).header("If-None-Match", before.header("etag"));
    assert_eq!(Reply::of(request).await.status, 304);
    // And of what came on the day itself it does.
    place.visit(app, "2025-08-01", item).await;
    let changed = duty(&place.forecast(app, "2025-08-01").await, "screen", "clean_screen");
    assert_eq!(changed["since"], "2025-08-01");
    assert_eq!(place.forecast(app, "2024-12-31").await["duties"], json!([]), "not in service yet");
    assert_eq!(place.forecast(app, "2025-01-01").await["duties"].as_array().expect("duties").len(), 4);
}

async fn the_day_asked_for_has_to_be_one(app: &App) {
    let place = place(app, three()).await;
    let ask = async |as_of: &str| {
        Reply::of(app.request("GET", &format!("/v1/systems/{}/forecast?as_of={as_of}", place.system_id())))
            .await
    };
    for wrong in ["1899-12-31", "2100-01-01", "9999-12-31"] {
        let reply = ask(wrong).await;
        assert_eq!((reply.status, reply.fields("invalid")), (422, vec!["as_of".to_owned()]), "{wrong}");
    }
    for wrong in ["today", "2026-02-30", "2026-3-1x", ""] {
        let reply = ask(wrong).await;
        assert_eq!(
            (reply.status, reply.fields("malformed_parameter")),
            (400, vec!["as_of".to_owned()]),
            "{wrong}"
        );
    }
    // Without a day it is today at the property, and a day to come is no mistake.
    let today = app.get(&format!("/v1/systems/{}/forecast", place.system_id())).await;
    assert_eq!(today, place.forecast(app, "2026-03-01").await);
    assert_eq!(ask("2027-03-01").await.expect(200)["as_of"], "2027-03-01");
}

async fn a_sketch_is_forecast_like_a_stored_system_and_nothing_is_stored(app: &App) {
    let place = place_with(app, &property(), &with_normals(), all_kinds()).await;
    let days = shower_days("2022-06-01", 1300);
    app.send("PUT", &format!("/v1/gauges/{}/rain", place.gauge), &json!({"days": days})).await.expect(200);
    app.refresh().await;
    let before = counts(app, &app.key).await;
    let mut sent = days.clone();
    sent.reverse();
    let sketch = json!({"latitude_deg": 48.0, "elevation_m": 52.0, "roof": roof(), "demand_l_per_day": 100.0,
        "components": all_kinds(), "rain": sent, "normals": normals(), "as_of": "2026-03-01"});
    let first = app.send("POST", "/v1/forecast", &sketch).await;
    let forecast = first.expect(200);
    let stored = place.forecast(app, "2026-03-01").await;
    assert_eq!(without_ids(&forecast), without_ids(&stored));
    assert_eq!(forecast["duties"].as_array().expect("duties").len(), 23);
    for same in ["climate", "roof", "as_of"] {
        assert_eq!(forecast[same], stored[same], "{same}");
    }
    assert_eq!((&forecast["system_id"], &stored["system_id"]), (&Value::Null, &json!(place.system_id())));
    assert!(forecast["duties"].as_array().expect("duties").iter().all(|duty| duty["component_id"].is_null()));
    app.clock.set("2026-07-01T12:00:00Z".parse().expect("an instant"));
    assert_eq!(app.send("POST", "/v1/forecast", &sketch).await.text, first.text, "the same on any day");
    assert_eq!(first.header("cache-control"), "no-store");
    app.clock.set("2026-03-01T12:00:00Z".parse().expect("an instant"));
    app.refresh().await;
    let after = counts(app, &app.key).await;
    let tasks = |counts: &[(String, usize)]| -> Vec<(String, usize)> {
        let refreshed = ["/v1/tasks", "/v1/digest", "/v1/reminders"];
        counts.iter().filter(|(path, _)| !refreshed.contains(&path.as_str())).cloned().collect()
    };
    assert_eq!(tasks(&before), tasks(&after));
    assert_eq!(app.walk("/v1/tasks", 100).await.len(), 23);
}

async fn a_sketch_is_checked(app: &App) {
    let right = json!({"latitude_deg": 48.0, "roof": roof(), "components": three(), "as_of": "2026-03-01"});
    app.send("POST", "/v1/forecast", &right).await.expect(200);
    let mut wrong = right.clone();
    wrong["latitude_deg"] = json!(-90.1);
    wrong["elevation_m"] = json!(6000.1);
    wrong["roof"]["plan_area_m2"] = json!(-1.0);
    wrong["demand_l_per_day"] = json!(-1.0);
    wrong["components"][0]["part"]["area_m2"] = json!(0.0);
    wrong["components"][1]["installed_on"] = json!("2026-03-02");
    wrong["rain"] = json!([{"date": "2026-01-01", "rain_mm": 1.0}, {"date": "2026-01-01", "rain_mm": 2.0},
        {"date": "1899-12-31", "rain_mm": -1.0}]);
    wrong["normals"] = json!({"rain_mm": [], "wet_days": []});
    let all = [
        "latitude_deg",
        "elevation_m",
        "roof.plan_area_m2",
        "demand_l_per_day",
        "components[0].part.area_m2",
        "components[1].installed_on",
        "rain[1].date",
        "rain[2].rain_mm",
        "rain[2].date",
        "normals.rain_mm",
        "normals.wet_days",
    ];
    assert_eq!(app.send("POST", "/v1/forecast", &wrong).await.fields("invalid"), all);
    let mut bare = right.clone();
    bare["components"] = json!([]);
    assert_eq!(app.send("POST", "/v1/forecast", &bare).await.fields("invalid"), ["components"]);
    let mut far = right;
    far["as_of"] = json!("2100-01-01");
    assert_eq!(app.send("POST", "/v1/forecast", &far).await.fields("invalid"), ["as_of"]);
}

async fn a_forecast_explains_itself(app: &App) {
    let place = place_with(app, &property(), &with_normals(), all_kinds()).await;
    showers(app, &place.gauge, "2022-06-01", 1370).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    let duties = forecast["duties"].as_array().expect("duties");
    let dues = texts(duties, "due_on");
    let dated: Vec<&String> = dues.iter().filter(|due| !due.is_empty()).collect();
    assert!(dated.is_sorted() && dues[..dated.len()].iter().all(|due| !due.is_empty()), "{dues:?}");
    let mut predicted = 0;
    for one in duties {
        for list in ["reasons", "cautions", "bring"] {
            assert!(!one[list].as_array().expect("a list").is_empty(), "{list}: {one}");
        }
        for caution in one["cautions"].as_array().expect("cautions") {
            assert!(!caution["text"].as_str().expect("a text").is_empty());
        }
        assert_eq!(one["longest_interval_source"].is_null(), one["longest_interval_on"].is_null(), "{one}");
        let Some(curve) = one["curve"].as_array().filter(|curve| !curve.is_empty()) else { continue };
        predicted += 1;
        assert!(texts(curve, "date").is_sorted(), "{one}");
        let chances: Vec<f64> =
            curve.iter().map(|point| point["chance"].as_f64().expect("a chance")).collect();
        assert!(
            chances.is_sorted() && chances.iter().all(|chance| (0.0..=1.0).contains(chance)),
            "{chances:?}"
        );
        let window =
            ["early_on", "likely_on", "late_on"].map(|end| one["window"][end].as_str().unwrap_or("~"));
        assert!(window.is_sorted(), "{window:?}");
        assert!(one["limit"]["source"].as_str().is_some_and(|source| !source.is_empty()));
        assert_eq!(one["limit"]["unit"], one["accumulated"]["unit"]);
        let past = &one["chance_past_limit"];
        let past = ["today", "in_7_days", "in_30_days", "in_90_days"]
            .map(|day| past[day].as_f64().expect("a chance"));
        assert!(past.is_sorted(), "{past:?}");
    }
    // Roof, gutter, screen, three diverters, the coupling, sediment, the trap and the cartridge.
    assert_eq!(predicted, 10);
}

async fn a_retired_system_has_no_duties(app: &App) {
    let place = place(app, three()).await;
    let mut facts = super::scenario::system(&place.property, &place.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["retired_on"] = json!("2026-02-01");
    app.put(&format!("/v1/systems/{}", place.system_id()), 1, &facts).await.expect(200);
    assert_eq!(place.forecast(app, "2026-01-31").await["duties"].as_array().expect("duties").len(), 4);
    assert_eq!(place.forecast(app, "2026-02-01").await["duties"], json!([]));
}
