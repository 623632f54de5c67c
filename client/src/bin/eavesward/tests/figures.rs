//! Forecasts, status, normals and keys: what is read, what is sent, and the figures that are shown.

use super::{SPARE, SYSTEM, run};
use crate::failure;
use serde_json::{Value, json};
use wiremock::matchers::{body_json, header, method, path, query_param};
use wiremock::{Mock, MockServer, ResponseTemplate};

fn forecast() -> Value {
    let source = json!({"given": false, "source": "default of metal"});
    let reasons = json!([{
        "code": "accumulated", "text": "25.4 mm of sediment on the floor since 1 January 2030; the limit is 50.8 mm.",
        "figures": [
            {"name": "accumulated", "value": 25.4, "unit": "mm", "of": "sediment on the floor", "on": null,
             "text": "25.4 mm of sediment on the floor"},
            {"name": "since", "value": null, "unit": null, "on": "2030-01-01", "text": "1 January 2030"},
            {"name": "limit", "value": 50.8, "unit": "mm", "of": "sediment on the floor", "on": null, "text": "50.8 mm"}
        ]
    }]);
    let limit = json!({
        "value": 50.8, "unit": "mm", "of": "sediment on the floor", "log_sd": 0.4, "prior_value": 25.4,
        "prior_log_sd": 0.6, "findings": 1, "source": "a guess", "judgement": true
    });
    json!({
        "system_id": null, "as_of": "2031-04-02",
        "roofs": [{"id": null, "name": "roof", "plan_area_m2": 92.903_04, "surface": "metal", "runoff_coefficient": 0.9,
                 "runoff_coefficient_source": source, "wetting_loss_mm": 0.5, "wetting_loss_source": source,
                 "canopy": "none", "canopy_share": 0.0}],
        "climate": {"basis": "normals", "years": 30.0, "mean_runoff_mm_per_day": [], "rain_from": null,
                    "rain_through": null, "advice": [{"code": "rain_missing", "text": "Send daily rain.", "figures": []}]},
        "duties": [{
            "component_id": null, "component_name": "tank", "component_kind": "tank", "duty": "remove_sediment",
            "title": "remove the sediment from outside", "since": "2030-01-01", "state": "resting",
            "due_on": "2031-09-01",
            "decided_by": "first_look", "longest_interval_on": "2031-12-01", "longest_interval_source": "a trade guide",
            "window": {"early_on": "2031-05-01", "likely_on": "2031-09-01", "late_on": null}, "tolerance": 0.2,
            "accumulated": {"value": 25.4, "unit": "mm", "of": "sediment on the floor", "from_readings": 0.0,
                      "from_climate": 25.4, "days_read": 0, "days_unread": 456},
            "limit": limit,
            "chance_past_limit": {"today": 0.001, "in_7_days": 0.1, "in_30_days": 0.256, "in_90_days": 0.9},
            "clock": null,
            "best_day": {"on": "2031-08-20", "water_lost_l": 900.0, "water_lost_low_l": 200.0,
                         "water_lost_high_l": 2100.0, "in_wet_season": false},
            "lessons": [{"visit_id": SPARE, "visited_on": "2030-12-01", "finding": {"found": "depth", "depth_mm": 12.7},
                         "accumulated_value": 12.7, "limit_before": 25.4, "limit_after": 50.8, "log_sd_after": 0.4, "weight": 0.8,
                         "remark": {"code": "held_back", "text": "One finding may at most double the limit.", "figures": []}}],
            "next_finding": {"log_sd_after": 0.2, "range_ratio": 0.5, "nothing_to_find": 0.0},
            "curve": [], "reasons": reasons, "cautions": [], "bring": []
        }]
    })
}

#[tokio::test]
async fn a_forecast_of_a_file_is_shown_in_the_units_asked_for() {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .and(path("/v1/forecast"))
        .respond_with(ResponseTemplate::new(200).set_body_json(forecast()))
        .expect(1)
        .mount(&server)
        .await;
    let request = json!({
        "latitude_deg": 51.5, "roof": {"plan_area_m2": 92.9, "surface": "metal"}, "as_of": "2031-04-02",
        "components": [{"name": "tank", "installed_on": "2030-01-01", "part": {"kind": "tank", "capacity_l": 5000.0,
                        "floor_area_m2": 2.5, "outlet_height_mm": 150.0}}]
    });
    let args = ["forecast", "--file", "-", "--explain", "--units", "us"];
    let ran = run(&server, &args, &request.to_string()).await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let want = "\
As of 2031-04-02. Roof of 1000 ft2, metal. Rain: normals, no readings.
DUE         COMPONENT  WHAT TO DO                        EARLY / LIKELY / LATE            ACCUMULATED / LIMIT                    DECIDED BY  PAST LIMIT TODAY  IN 30 DAYS
2031-09-01  tank       remove the sediment from outside  2031-05-01 / 2031-09-01 / later  1 / 2 in of sediment on the floor  first look  <1 %              26 %
";
    // Only the words count here; how columns line up is tested at the table.
    let squeeze = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let (head, rest) = ran.out.split_once("\n\n").expect("an explanation after a blank line");
    assert_eq!(squeeze(head), squeeze(want));
    for line in [
        "1 in of sediment on the floor since 1 January 2030; the limit is 2 in.",
        "Accumulated: 1 in of sediment on the floor expected on 456 days without a reading.",
        "Limit: based on 1 finding; starting value (judgement): a guess",
        "Visit of 2030-12-01: found 0.5 in after 0.5; the limit went from 1 to 2 in of sediment on the floor. One finding may at most double the limit.",
        "If you look today, the range of the limit will likely shrink to 50 % of its width.",
        "until 2031-12-01 (a trade guide)",
        "For better dates: Send daily rain.",
    ] {
        assert!(rest.contains(line), "{line} is not in {rest}");
    }
    let misspelt = run(&server, &args, &request.to_string().replace("capacity_l", "capacity")).await;
    assert!(
        misspelt.code == failure::USAGE && misspelt.err.contains("components[0].part"),
        "{}",
        misspelt.err
    );
}

#[tokio::test]
async fn a_forecast_of_a_day_and_a_name_asks_for_both() {
    let server = MockServer::start().await;
    let named = |id: &str, name: &str| {
        let roofs = forecast()["roofs"].clone();
        json!({
            "id": id, "property_id": SPARE, "gauge_id": SPARE, "name": name, "roofs": roofs,
            "commissioned_on": "2030-01-01", "demand_l_per_day": 0.0, "retired_on": null, "components": [],
            "version": 1, "created_at": "2030-01-01T00:00:00Z", "updated_at": "2030-01-01T00:00:00Z"
        })
    };
    let systems = json!({"items": [named(SPARE, "shed"), named(SYSTEM, "orchard shed")]});
    Mock::given(path("/v1/systems"))
        .respond_with(ResponseTemplate::new(200).set_body_json(systems))
        .mount(&server)
        .await;
    Mock::given(path(format!("/v1/systems/{SYSTEM}/forecast")))
        .and(query_param("as_of", "2031-04-02"))
        .respond_with(ResponseTemplate::new(200).set_body_json(forecast()))
        .expect(1)
        .mount(&server)
        .await;
    let ran = run(&server, &["forecast", "orchard shed", "--as-of", "2031-04-02", "--json"], "").await;
    let back: Value = serde_json::from_str(&ran.out).expect("JSON");
    assert_eq!(back["roofs"][0]["plan_area_m2"], 92.903_04, "JSON stays SI");
}

#[tokio::test]
async fn normals_are_put_on_the_version_that_was_read() {
    let server = MockServer::start().await;
    let gauge = |normals: Value| {
        json!({
            "id": SYSTEM, "name": "terrace gauge", "latitude_deg": 1.0, "longitude_deg": 2.0, "normals": normals,
            "rain_from": null, "rain_through": null, "rain_days": 0, "version": 7,
            "created_at": "2031-01-01T00:00:00Z", "updated_at": "2031-01-01T00:00:00Z"
        })
    };
    let at = format!("/v1/gauges/{SYSTEM}");
    Mock::given(method("GET"))
        .and(path(&at))
        .respond_with(ResponseTemplate::new(200).set_body_json(gauge(Value::Null)))
        .mount(&server)
        .await;
    let normals = json!({
        "rain_mm": vec![25.4; 12], "wet_days": vec![9.0; 12], "wet_day_threshold_mm": 0.2, "years": 20.0
    });
    Mock::given(method("PUT"))
        .and(path(&at))
        .and(header("if-match", "\"7\""))
        .and(body_json(
            json!({"name": "terrace gauge", "latitude_deg": 1.0, "longitude_deg": 2.0, "normals": normals}),
        ))
        .respond_with(ResponseTemplate::new(200).set_body_json(gauge(normals.clone())))
        .expect(1)
        .mount(&server)
        .await;
    let set = ["gauge", "normals", SYSTEM, "-", "--wet-day-threshold", "0.2", "--years", "20"];
    let ran = run(&server, &set, &"25.4 9\n".repeat(12)).await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert!(ran.out.contains("Jan    25.4 mm  9"), "{}", ran.out);
    let short = run(&server, &set, "25.4 9\n").await;
    assert!(short.code == failure::USAGE && short.err.contains("twelve"), "{}", short.err);
}

#[tokio::test]
async fn a_new_key_shows_its_secret() {
    let server = MockServer::start().await;
    Mock::given(path("/v1/keys"))
        .and(body_json(json!({"name": "van", "scopes": ["read", "write"]})))
        .respond_with(ResponseTemplate::new(201).set_body_json(json!({
            "key": {"id": SPARE, "name": "van", "scopes": ["read", "write"], "hint": "ev_a", "created_at":
                    "2031-01-01T00:00:00Z", "expires_at": null, "revoked_at": null},
            "secret": "ev_a1b2c3"
        })))
        .expect(1)
        .mount(&server)
        .await;
    let ran = run(&server, &["key", "add", "--name", "van", "--scope", "read,write"], "").await;
    assert!(ran.code == 0 && ran.out.contains("ev_a1b2c3"), "{} {}", ran.out, ran.err);
}

#[tokio::test]
async fn a_key_of_one_system_is_told_by_id() {
    let server = MockServer::start().await;
    Mock::given(path("/v1/keys"))
        .and(body_json(json!({"name": "hall", "scopes": ["read"], "system_id": SYSTEM})))
        .respond_with(ResponseTemplate::new(201).set_body_json(json!({
            "key": {"id": SPARE, "name": "hall", "scopes": ["read"], "system_id": SYSTEM, "hint": "ev_a",
                    "created_at": "2031-01-01T00:00:00Z", "expires_at": null, "revoked_at": null},
            "secret": "ev_a1b2c3"
        })))
        .expect(1)
        .mount(&server)
        .await;
    let ran = run(&server, &["key", "add", "--name", "hall", "--system", SYSTEM], "").await;
    assert!(ran.code == 0 && ran.out.contains(&format!("the system {SYSTEM}")), "{} {}", ran.out, ran.err);
    // A key for one system cannot list systems, so it cannot find one by name.
    let refusal = json!({"type": "/problems/one_system_only", "title": "One system only", "status": 403,
        "code": "one_system_only", "detail": "This key reads one system."});
    let refusal = ResponseTemplate::new(403).set_body_raw(refusal.to_string(), "application/problem+json");
    Mock::given(path("/v1/systems")).respond_with(refusal).mount(&server).await;
    let ran = run(&server, &["status", "apple shed"], "").await;
    assert_eq!(ran.code, failure::USAGE);
    assert_eq!(ran.err, "error: this key reads one system; give the system's id\n");
}
