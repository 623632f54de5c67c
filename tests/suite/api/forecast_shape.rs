//! The names on the wire, written down once: a field that is renamed, added or lost shows here.

use super::scenario::{all_kinds, duty, place_with, property, storms};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    a_forecasts_objects_have_these_fields_and_no_others;
}

const DUTY: [&str; 24] = [
    "accumulated",
    "best_day",
    "bring",
    "cautions",
    "chance_past_limit",
    "clock",
    "component_id",
    "component_kind",
    "component_name",
    "curve",
    "decided_by",
    "due_on",
    "duty",
    "lessons",
    "limit",
    "longest_interval_on",
    "longest_interval_source",
    "next_finding",
    "reasons",
    "since",
    "state",
    "title",
    "tolerance",
    "window",
];

#[track_caller]
fn has(value: &Value, fields: &[&str]) {
    let object = value.as_object().unwrap_or_else(|| panic!("{value} is no object"));
    let mut found: Vec<&str> = object.keys().map(String::as_str).collect();
    found.sort_unstable();
    assert_eq!(found, fields, "{value}");
}

async fn a_forecasts_objects_have_these_fields_and_no_others(app: &App) {
    let mut property = property();
    property["temperatures"] = json!({"mean_c": vec![15.0; 12]});
    let place = place_with(app, &property, &super::scenario::gauge(), all_kinds()).await;
    storms(app, &place.gauge, "2023-03-01", 1097).await;
    let depth = json!({"found": "depth", "depth_mm": 40.0});
    let item = json!({"component_id": place.component("tank"), "duty": "measure_sediment", "done": true,
        "finding": depth});
    place.visit(app, "2026-02-01", item).await;
    let forecast = place.forecast(app, "2026-03-01").await;
    has(&forecast, &["as_of", "climate", "duties", "roofs", "system_id"]);
    for one in forecast["duties"].as_array().expect("duties") {
        has(one, &DUTY);
        for caution in one["cautions"].as_array().expect("cautions") {
            has(caution, &["hazard", "text"]);
        }
    }
    let sediment = duty(&forecast, "tank", "remove_sediment");
    let accumulated = ["days_read", "days_unread", "from_climate", "from_readings", "of", "unit", "value"];
    has(&sediment["accumulated"], &accumulated);
    has(
        &sediment["limit"],
        &["findings", "judgement", "log_sd", "of", "prior_log_sd", "prior_value", "source", "unit", "value"],
    );
    has(&sediment["reasons"][0], &["code", "figures", "text"]);
    has(&sediment["reasons"][0]["figures"][0], &["name", "of", "on", "text", "unit", "value"]);
    has(&sediment["window"], &["early_on", "late_on", "likely_on"]);
    has(&sediment["chance_past_limit"], &["in_30_days", "in_7_days", "in_90_days", "today"]);
    has(&sediment["curve"][0], &["chance", "date"]);
    has(
        &sediment["best_day"],
        &["in_wet_season", "on", "water_lost_high_l", "water_lost_l", "water_lost_low_l"],
    );
    has(&sediment["next_finding"], &["log_sd_after", "nothing_to_find", "range_ratio"]);
    let lesson = &sediment["lessons"][0];
    has(
        lesson,
        &[
            "accumulated_value",
            "finding",
            "limit_after",
            "limit_before",
            "log_sd_after",
            "remark",
            "visit_id",
            "visited_on",
            "weight",
        ],
    );
    assert_eq!(lesson["finding"], depth);
    assert_eq!(sediment["clock"], Value::Null);
    let clock = &duty(&forecast, "coupling", "replace_coupling")["clock"];
    assert!(clock == "light" || clock == "heat", "{clock}");
    // What is absent is null and not left out, in a sketch as well.
    let sketch = json!({"latitude_deg": 48.0, "roof": super::scenario::roof(), "components": all_kinds(),
        "as_of": "2026-03-01"});
    let forecast = app.send("POST", "/v1/forecast", &sketch).await.expect(200);
    for one in forecast["duties"].as_array().expect("duties") {
        has(one, &DUTY);
    }
}
