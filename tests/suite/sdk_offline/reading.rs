//! Lists, status and rain files: calls that are more than one request and one answer.

use super::{ID, client, problem, property, requests_of};
use eavesward_client::{Error, ListQuery, RainFileOptions, StatusChange, TaskQuery, contract};
use futures_util::TryStreamExt;
use serde_json::{Value, json};
use wiremock::matchers::{header, method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockServer, ResponseTemplate};

#[tokio::test]
async fn a_list_follows_cursors_with_its_filters_and_stops() {
    let server = MockServer::start().await;
    let page = |names: &[&str], next: Option<&str>| {
        let items: Vec<Value> = names.iter().map(|name| property(name)).collect();
        ResponseTemplate::new(200).set_body_json(json!({"items": items, "next_cursor": next}))
    };
    let given = || Mock::given(path("/v1/properties")).and(query_param("limit", "2"));
    given()
        .and(query_param_is_missing("cursor"))
        .respond_with(page(&["a", "b"], Some("c+/=")))
        .expect(1)
        .mount(&server)
        .await;
    given()
        .and(query_param("cursor", "c+/="))
        .respond_with(page(&["c"], None))
        .expect(1)
        .mount(&server)
        .await;
    let query = ListQuery::builder().limit(2).build();
    let all: Vec<contract::Property> =
        client(&server).properties().list(&query).try_collect().await.expect("two pages");
    assert_eq!(all.iter().map(|p| p.name.as_str()).collect::<Vec<_>>(), ["a", "b", "c"]);
}

#[tokio::test]
async fn a_list_fetches_no_page_that_nobody_asks_for_and_ends_after_an_error() {
    let server = MockServer::start().await;
    let first = json!({"items": [property("a")], "next_cursor": "x"});
    Mock::given(query_param_is_missing("cursor"))
        .respond_with(ResponseTemplate::new(200).set_body_json(first))
        .mount(&server)
        .await;
    Mock::given(query_param("cursor", "x")).respond_with(problem("bad_cursor", 400)).mount(&server).await;
    let mut list = client(&server).properties().list(&ListQuery::default());
    assert!(requests_of(&server).await.is_empty(), "nothing is sent before the first item is asked for");
    list.next().await.expect("an item").expect("the first");
    assert_eq!(requests_of(&server).await.len(), 1);
    assert!(list.next().await.expect("an error").is_err_and(|e: Error| e.is_invalid()));
    assert!(list.next().await.is_none());
}

#[tokio::test]
async fn tasks_are_asked_for_in_the_words_of_the_wire() {
    let server = MockServer::start().await;
    Mock::given(path("/v1/tasks"))
        .and(query_param("within", "P7D"))
        .and(query_param("state", "due,late"))
        .respond_with(ResponseTemplate::new(200).set_body_json(json!({"items": []})))
        .expect(1)
        .mount(&server)
        .await;
    let query = TaskQuery::builder()
        .within_days(7)
        .state([contract::TaskState::Due, contract::TaskState::Late])
        .build();
    assert!(client(&server).tasks().list(&query).all().await.expect("an empty page").is_empty());
}

#[tokio::test]
async fn a_status_is_read_once_and_then_only_asked_about() {
    let server = MockServer::start().await;
    let status = json!({
        "system_id": ID, "system_name": "Orchard shed", "as_of": "2031-04-02", "state": "near", "next": [],
        "rain_through": null, "runoff_7_days_mm": 0.0, "runoff_7_days_l": 0.0, "runoff_30_days_mm": 0.0,
        "runoff_30_days_l": 0.0, "unread_of_30_days": 30, "since_served": []
    });
    Mock::given(path(format!("/v1/systems/{ID}/status")))
        .and(header("if-none-match", "\"s1\""))
        .respond_with(ResponseTemplate::new(304).insert_header("etag", "\"s1\""))
        .expect(1)
        .mount(&server)
        .await;
    Mock::given(path(format!("/v1/systems/{ID}/status")))
        .respond_with(ResponseTemplate::new(200).set_body_json(status).insert_header("etag", "\"s1\""))
        .mount(&server)
        .await;
    let client = client(&server);
    let first = client.systems().status_if_changed(ID, None).await.expect("a status");
    let StatusChange::Fresh { etag, status, .. } = first else { panic!("nothing was known before") };
    assert_eq!((etag.as_str(), status.system_name.as_str()), ("\"s1\"", "Orchard shed"));
    let second = client.systems().status_if_changed(ID, Some(&etag)).await.expect("304");
    assert_eq!(second, StatusChange::Unchanged);
}

#[tokio::test]
async fn a_long_rain_file_goes_in_pieces_and_reports_lines_of_the_whole() {
    let server = MockServer::start().await;
    Mock::given(method("PUT"))
        .and(path(format!("/v1/gauges/{ID}/rain")))
        .and(header("content-type", "text/csv"))
        .and(query_param("layout", "daily_csv"))
        .respond_with(|request: &wiremock::Request| {
            let text = String::from_utf8(request.body.clone()).expect("UTF-8");
            assert!(text.starts_with("date,mm\n") && text.lines().count() <= 20_000);
            let bad = text.lines().position(|line| line.contains("wet"));
            let refused: Vec<Value> = bad
                .iter()
                .map(|at| json!({"line": at + 1, "date": "2031-01-01", "reason": "`wet` is not a number"}))
                .collect();
            let new = text.lines().count() - 1 - refused.len();
            ResponseTemplate::new(200).set_body_json(json!({
                "counts": {"added": new, "changed": 0, "same": 0, "refused": refused.len(), "spread": 0, "other": 0},
                "refused": refused, "rain_from": "1900-01-01", "rain_through": "2031-01-01"
            }))
        })
        .expect(2)
        .mount(&server)
        .await;
    let mut text = "date,mm\n".to_owned();
    for line in 2..=25_000 {
        text.push_str(if line == 24_000 { "2031-01-01,wet\n" } else { "2031-01-01,1\n" });
    }
    let report = client(&server)
        .gauges()
        .send_rain_file(ID, &text, &RainFileOptions::default())
        .await
        .expect("a report");
    assert_eq!((report.counts.added, report.counts.refused), (24_998, 1));
    assert_eq!(report.refused[0].line, Some(24_000));
}
