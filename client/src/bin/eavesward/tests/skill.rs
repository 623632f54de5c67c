//! The comparison of forecasts and findings as it is printed.

use super::{SCREEN, SPARE, SYSTEM, mount_page, run};
use crate::failure;
use serde_json::{Value, json};
use wiremock::matchers::{method, path, query_param};
use wiremock::{Mock, MockServer, ResponseTemplate};

#[tokio::test]
async fn skill_is_shown_by_duty() {
    let server = MockServer::start().await;
    let items = json!([{
        "duty": "clean_screen", "title": "clean the debris screen", "answered": 41, "coverage": 0.78,
        "coverage_standard_error": 0.064, "emptier": 0.14, "fuller": 0.08, "mean_position": 0.47,
        "found_to_expected": 0.9, "measured": 30, "reading": {"code": "as_certain", "text": "The dates hold as they say.", "figures": []}
    }]);
    mount_page(&server, "/v1/skill", items.clone()).await;
    let ran = run(&server, &["skill"], "").await;
    let want = "\
DUTY          FINDINGS  IN RANGE    EMPTIER  FULLER  FOUND / EXPECTED  MEANING
clean screen  41        78 % ± 6 %  14 %     8 %     0.9               The dates hold as they say.
If the forecasts are right, 80 % of findings lie in the predicted range, 10 % are emptier and 10 % fuller.
";
    assert_eq!((ran.code, ran.err.as_str(), ran.out.as_str()), (0, "", want));
    let json = run(&server, &["--json", "skill"], "").await;
    assert_eq!(serde_json::from_str::<Value>(&json.out).expect("JSON"), items);
}

#[tokio::test]
async fn without_findings_it_says_what_to_do() {
    let server = MockServer::start().await;
    mount_page(&server, "/v1/skill", json!([])).await;
    let ran = run(&server, &["skill"], "").await;
    assert!(ran.code == 0 && ran.out.contains("log what you find"), "{}", ran.out);
}

#[tokio::test]
async fn answered_forecasts_are_listed_beside_what_was_found() {
    let server = MockServer::start().await;
    let answer = json!({
        "id": SPARE, "visit_id": SPARE, "system_id": SYSTEM, "component_id": SCREEN, "component_name": "orchard screen",
        "duty": "clean_screen", "title": "clean the debris screen", "made_on": "2031-01-01",
        "visited_on": "2031-03-01",
        "window": {"early_on": "2031-02-01", "likely_on": "2031-04-01", "late_on": null},
        "expected": {"low": 0.2, "likely": 0.5, "high": 1.25}, "finding": {"found": "class", "fullness": "half"},
        "found": 0.433, "position_from": 0.2, "position_to": 0.7, "inside": 1.0
    });
    Mock::given(method("GET"))
        .and(path("/v1/skill/answers"))
        .and(query_param("duty", "clean_screen"))
        .and(query_param("from", "2031-01-01"))
        .and(query_param("system_id", SYSTEM))
        .respond_with(ResponseTemplate::new(200).set_body_json(json!({"items": [answer]})))
        .expect(1)
        .mount(&server)
        .await;
    let asked = ["skill", "--answers", "--duty", "clean-screen", "--from", "2031-01-01", "--system", SYSTEM];
    let ran = run(&server, &asked, "").await;
    let want = "\
VISITED     COMPONENT       DUTY          PREDICTED ON  EXPECTED (10 / 50 / 90 %)  FOUND
2031-03-01  orchard screen  clean screen  2031-01-01    20 % / 50 % / 125 % full   half
";
    assert_eq!((ran.code, ran.err.as_str(), ran.out.as_str()), (0, "", want));
    let server = MockServer::start().await;
    let problem = json!({"type": "/problems/invalid", "title": "Invalid", "status": 422, "code": "invalid",
        "detail": "to is before from", "errors": [{"field": "to", "message": "before from"}]});
    let refusal = ResponseTemplate::new(422).set_body_raw(problem.to_string(), "application/problem+json");
    Mock::given(method("GET")).respond_with(refusal).mount(&server).await;
    let ran = run(&server, &["skill", "--from", "2031-02-01", "--to", "2031-01-01"], "").await;
    assert!(ran.code == failure::REFUSED && ran.err.contains("to"), "{} {}", ran.code, ran.err);
}
