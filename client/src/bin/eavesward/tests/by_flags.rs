//! Quantities as typed, and as sent to the service.

use super::{SPARE, SYSTEM, component, run};
use crate::failure;
use serde_json::{Value, json};
use wiremock::matchers::{any, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

/// What was sent, numbers rounded to nine digits.
async fn sent(server: &MockServer) -> Value {
    fn rounded(value: &Value) -> Value {
        match value {
            Value::Number(number) => {
                let number = number.as_f64().expect("a number");
                json!((number * 1e9).round() / 1e9)
            }
            Value::Array(all) => all.iter().map(rounded).collect(),
            Value::Object(fields) => {
                fields.iter().map(|(name, value)| (name.clone(), rounded(value))).collect()
            }
            other => other.clone(),
        }
    }
    let requests = server.received_requests().await.expect("recording is on");
    let last = requests.last().expect("a request");
    rounded(&serde_json::from_slice(&last.body).expect("JSON"))
}

async fn refusing() -> MockServer {
    let server = MockServer::start().await;
    Mock::given(any()).respond_with(ResponseTemplate::new(404)).mount(&server).await;
    server
}

#[tokio::test]
async fn a_day_of_rain_is_sent_in_millimetres_whatever_it_was_typed_in() {
    let server = MockServer::start().await;
    let report = json!({"counts": {"added": 1, "changed": 0, "same": 0, "refused": 0, "spread": 0, "other": 0},
        "refused": [], "rain_from": "2031-01-01", "rain_through": "2031-01-02"});
    let answer = ResponseTemplate::new(200).set_body_json(report);
    Mock::given(method("PUT"))
        .and(path(format!("/v1/gauges/{SYSTEM}/rain")))
        .respond_with(answer)
        .mount(&server)
        .await;
    for (typed, mm) in [("0.5 in", 12.7), ("12.7", 12.7), ("12.7mm", 12.7), ("1.27 cm", 12.7), ("0", 0.0)] {
        let ran = run(&server, &["rain", "add", SYSTEM, "2031-01-02", typed], "").await;
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{typed}");
        assert!(ran.out.starts_with("1 new"), "{}", ran.out);
        assert_eq!(sent(&server).await, json!({"days": [{"date": "2031-01-02", "rain_mm": mm}]}), "{typed}");
    }
    // With US units a bare 0.5 could mean inches or millimetres.
    let count = server.received_requests().await.expect("recording is on").len();
    let ran = run(&server, &["--units", "us", "rain", "add", SYSTEM, "2031-01-02", "0.5"], "").await;
    assert_eq!((ran.code, ran.out.as_str()), (failure::USAGE, ""));
    assert!(ran.err.contains("write the unit, like \"0.4 in\""), "{}", ran.err);
    assert_eq!(server.received_requests().await.expect("recording is on").len(), count, "nothing was sent");
    let ran = run(&server, &["--units", "us", "rain", "add", SYSTEM, "2031-01-02", "0.5 in"], "").await;
    assert_eq!(ran.code, 0, "{}", ran.err);
}

#[tokio::test]
async fn a_system_is_registered_by_flags() {
    let server = refusing().await;
    let add = ["system", "add", "--name", "apple shed", "--property", SYSTEM, "--gauge", SPARE];
    let roof =
        ["--roof", "1000 sqft", "--surface", "metal", "--canopy", "deciduous", "--canopy-share", "25%"];
    let rest = ["--commissioned", "2031-01-01", "--demand", "10 gal"];
    let ran = run(&server, &[&add[..], &roof[..], &rest[..]].concat(), "").await;
    assert_eq!(ran.code, failure::REFUSED, "it was sent: {}", ran.err);
    let want = json!({
        "property_id": SYSTEM, "gauge_id": SPARE, "name": "apple shed", "commissioned_on": "2031-01-01",
        "demand_l_per_day": 37.854_117_84, "components": [],
        "roof": {"plan_area_m2": 92.903_04, "surface": "metal", "canopy": "deciduous", "canopy_share": 0.25}
    });
    assert_eq!(sent(&server).await, want);
}

#[tokio::test]
async fn a_component_is_added_by_flags() {
    let server = MockServer::start().await;
    let at = format!("/v1/systems/{SYSTEM}/components");
    let answer = ResponseTemplate::new(201).set_body_json(component(SPARE, "tank"));
    Mock::given(method("POST")).and(path(at)).respond_with(answer).mount(&server).await;
    let add = ["component", "add", SYSTEM, "--kind", "tank", "--name", "tank", "--installed", "2031-01-01"];
    let figures = ["--capacity", "1200 gal", "--floor-area", "40 sqft", "--outlet-height", "4 in"];
    let ran = run(&server, &[&add[..], &figures[..], &["--last-served", "2031-02-01"]].concat(), "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let part = json!({"kind": "tank", "capacity_l": 4_542.494_140_8, "floor_area_m2": 3.716_121_6,
        "outlet_height_mm": 101.6, "calmed_inlet": false});
    let want =
        json!({"name": "tank", "part": part, "installed_on": "2031-01-01", "last_served_on": "2031-02-01"});
    assert_eq!(sent(&server).await, want);
    let ran = run(&server, &add, "").await;
    assert!(ran.code == failure::USAGE && ran.err.contains("--capacity"), "{}", ran.err);
}

#[tokio::test]
async fn heights_may_be_feet_and_below_the_sea() {
    for (typed, metres) in [("170 ft", 51.816), ("-3", -3.0), ("-3 m", -3.0)] {
        let server = refusing().await;
        let place =
            ["--latitude", "52", "--longitude", "4.5", "--time-zone", "Etc/UTC", "--elevation", typed];
        let ran = run(&server, &[&["property", "add", "--name", "polder"], &place[..]].concat(), "").await;
        assert_eq!(ran.code, failure::REFUSED, "{}", ran.err);
        assert_eq!(sent(&server).await["elevation_m"], metres, "{typed}");
    }
}
