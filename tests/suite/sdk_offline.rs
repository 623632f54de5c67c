//! The SDK against a server that only plays back: what goes on the wire, and what is made of the answers.
//!
//! Bodies are written as raw JSON here, so that a renamed field shows.

mod connecting;
mod following;
mod reading;
mod spans;
mod traces;
mod watching;

use eavesward_client::contract::{Duty, Finding, VisitItem, VisitRequest};
use eavesward_client::{Client, ListQuery, Request, RetryPolicy, contract, requests};
use serde_json::{Value, json};
use std::time::{Duration, Instant};
use uuid::Uuid;
use wiremock::matchers::{body_json, header, header_exists, method, path, query_param};
use wiremock::{Mock, MockServer, ResponseTemplate};

const KEY: &str = "eaves_test_key";
const ID: Uuid = Uuid::from_u128(0x0193_0000_0000_7000_8000_0000_0000_0001);

fn quick() -> RetryPolicy {
    let (base, cap) = (Duration::from_millis(2), Duration::from_millis(5));
    RetryPolicy::default().max_attempts(3).base(base).cap(cap).deadline(Duration::from_secs(10))
}

fn client_with(server: &MockServer, timeout: Duration, retry: RetryPolicy) -> Client {
    Client::builder().base_url(server.uri()).key(KEY).timeout(timeout).retry(retry).build().expect("a client")
}

fn client(server: &MockServer) -> Client {
    client_with(server, Duration::from_secs(5), quick())
}

fn account() -> Value {
    json!({"id": ID, "name": "Quince Terrace", "created_at": "2031-04-02T08:00:00Z", "of_a_newer_service": 1})
}

fn property(name: &str) -> Value {
    json!({
        "id": ID, "name": name, "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 40.0,
        "time_zone": "Etc/UTC", "notes": null, "version": 3,
        "created_at": "2031-04-02T08:00:00Z", "updated_at": "2031-04-02T08:00:00Z"
    })
}

fn property_request() -> contract::PropertyRequest {
    contract::PropertyRequest {
        elevation_m: 40.0,
        ..contract::PropertyRequest::new("Quince Terrace", 51.5, -0.5, "Etc/UTC")
    }
}

fn problem(code: &str, status: u16) -> ResponseTemplate {
    let body = json!({
        "type": format!("/problems/{code}"), "title": "A title", "status": status, "code": code,
        "detail": "What happened.", "request_id": "req-1",
        "errors": [{"field": "roof.plan_area_m2", "message": "-3 is not above 0"}]
    });
    ResponseTemplate::new(status).set_body_raw(body.to_string(), "application/problem+json")
}

async fn requests_of(server: &MockServer) -> Vec<wiremock::Request> {
    server.received_requests().await.expect("recording is on")
}

#[tokio::test]
async fn a_call_carries_the_key_and_who_is_calling() {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .and(path("/v1/account"))
        .and(header("authorization", "Bearer eaves_test_key"))
        .and(header("user-agent", concat!("eavesward-client/", env!("CARGO_PKG_VERSION"))))
        .respond_with(ResponseTemplate::new(200).set_body_json(account()))
        .expect(1)
        .mount(&server)
        .await;
    let got = client(&server).account().await.expect("an account, unknown fields ignored");
    assert_eq!((got.id, got.name.as_str()), (ID, "Quince Terrace"));
    assert!(requests_of(&server).await[0].headers.get("idempotency-key").is_none());
}

#[tokio::test]
async fn every_attempt_of_a_post_has_the_same_idempotency_key() {
    let server = MockServer::start().await;
    for answer in [ResponseTemplate::new(503), problem("idempotency_in_progress", 409)] {
        Mock::given(method("POST")).respond_with(answer).up_to_n_times(1).mount(&server).await;
    }
    Mock::given(method("POST"))
        .and(path("/v1/properties"))
        .and(body_json(json!({
            "name": "Quince Terrace", "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 40.0,
            "time_zone": "Etc/UTC"
        })))
        .respond_with(ResponseTemplate::new(201).set_body_json(property("Quince Terrace")))
        .mount(&server)
        .await;
    let client = client(&server);
    client.properties().create(&property_request()).await.expect("made at the third attempt");
    client.properties().create(&property_request()).await.expect("made at once");
    let keys: Vec<String> = requests_of(&server)
        .await
        .iter()
        .map(|request| request.headers["idempotency-key"].to_str().expect("ASCII").to_owned())
        .collect();
    assert_eq!(keys.len(), 4);
    assert!(keys[0] == keys[1] && keys[1] == keys[2], "{keys:?}");
    assert_ne!(keys[0], keys[3], "another call needs another key");
}

#[tokio::test]
async fn what_is_given_beside_the_usual_goes_under_its_own_name() {
    let server = MockServer::start().await;
    let (mean, minimum, evaporation) = ([9.5; 12], [-0.5; 12], [1.25; 12]);
    Mock::given(method("POST"))
        .and(path("/v1/properties"))
        .and(body_json(json!({
            "name": "Quince Terrace", "latitude_deg": 51.5, "longitude_deg": -0.5, "elevation_m": 40.0,
            "time_zone": "Etc/UTC", "temperatures": {"mean_c": mean, "mean_minimum_c": minimum},
            "evaporation_mm_per_day": evaporation
        })))
        .respond_with(ResponseTemplate::new(201).set_body_json(property("Quince Terrace")))
        .expect(1)
        .mount(&server)
        .await;
    let request = property_request().mean_c(mean).mean_minimum_c(minimum).evaporation_mm_per_day(evaporation);
    // An answer of a service that knows nothing of the months is read all the same.
    let made = client(&server).properties().create(&request).await.expect("a property");
    assert!(made.temperatures.is_none() && made.evaporation_mm_per_day.is_none());
    Mock::given(method("POST"))
        .and(path("/v1/visits"))
        .and(body_json(json!({"system_id": ID, "visited_on": "2031-04-02", "items": [
            {"component_id": ID, "duty": "clean_screen", "done": true, "finding": {"found": "blocked"},
             "left_fraction": 0.25, "cleaned_meanwhile": true, "note": "the lower half"},
            {"component_id": ID, "duty": "check_mesh", "done": true, "cleaned_meanwhile": false},
            {"component_id": ID, "duty": "clear_roof", "done": false, "finding": {"found": "nothing"},
             "cleaned_meanwhile": false}
        ]})))
        .respond_with(problem("invalid", 422))
        .expect(1)
        .mount(&server)
        .await;
    let items = vec![
        VisitItem::done(ID, Duty::CleanScreen)
            .finding(Finding::Blocked {})
            .left_fraction(0.25)
            .cleaned_meanwhile(true)
            .note("the lower half"),
        VisitItem::done(ID, Duty::CheckMesh),
        VisitItem::looked(ID, Duty::ClearRoof, Finding::Nothing {}),
    ];
    let visited_on = "2031-04-02".parse().expect("a date");
    let visit = VisitRequest { system_id: ID, visited_on, visited_by: None, items, note: None };
    let error = client(&server).visits().log(&visit).await.expect_err("422");
    assert!(error.is_invalid(), "{error}");
}

#[tokio::test]
async fn a_key_of_the_callers_own_is_kept() {
    let server = MockServer::start().await;
    Mock::given(header("idempotency-key", "job-4711"))
        .respond_with(ResponseTemplate::new(201).set_body_json(property("x")))
        .expect(1)
        .mount(&server)
        .await;
    let request = requests::create_property(&property_request()).expect("plain").idempotency_key("job-4711");
    client(&server).call::<contract::Property>(request.expect("a sound key")).await.expect("a property");
}

#[tokio::test]
async fn an_update_names_its_version_and_a_mismatch_is_told_apart() {
    let server = MockServer::start().await;
    Mock::given(method("PUT"))
        .and(path(format!("/v1/properties/{ID}")))
        .and(header("if-match", "\"3\""))
        .respond_with(problem("version_mismatch", 412))
        .expect(1)
        .mount(&server)
        .await;
    let error = client(&server).properties().update(ID, 3, &property_request()).await.expect_err("412");
    assert!(error.is_version_mismatch() && error.is_refused() && !error.may_have_been_applied(), "{error}");
    assert_eq!(error.attempts(), 1, "a refusal is not repeated");
}

#[tokio::test]
async fn a_mismatch_after_a_lost_reply_says_that_the_change_may_be_made() {
    let server = MockServer::start().await;
    let slow = ResponseTemplate::new(200).set_delay(Duration::from_secs(5));
    Mock::given(method("PUT")).respond_with(slow).up_to_n_times(1).mount(&server).await;
    Mock::given(method("PUT")).respond_with(problem("version_mismatch", 412)).mount(&server).await;
    let client = client_with(&server, Duration::from_millis(200), quick());
    let error = client.properties().update(ID, 3, &property_request()).await.expect_err("412");
    assert!(error.is_version_mismatch() && error.may_have_been_applied(), "{error:?}");
    assert_eq!(error.attempts(), 2);
}

#[tokio::test]
async fn retry_after_is_honoured() {
    let server = MockServer::start().await;
    let wait = ResponseTemplate::new(429).insert_header("retry-after", "1");
    Mock::given(method("GET")).respond_with(wait).up_to_n_times(1).mount(&server).await;
    Mock::given(method("GET"))
        .respond_with(ResponseTemplate::new(200).set_body_json(account()))
        .mount(&server)
        .await;
    let began = Instant::now();
    client(&server).account().await.expect("the second attempt succeeds");
    // The policy's own waits end at 5 ms, so a second can only be the service's wish.
    assert!(began.elapsed() >= Duration::from_secs(1), "{:?}", began.elapsed());
}

#[tokio::test]
async fn a_wait_beyond_the_deadline_is_not_begun() {
    let server = MockServer::start().await;
    let wait = ResponseTemplate::new(503)
        .insert_header("date", "Sun, 06 Nov 1994 08:49:37 GMT")
        .insert_header("retry-after", "Sun, 06 Nov 1994 09:49:37 GMT");
    Mock::given(method("GET")).respond_with(wait).expect(1).mount(&server).await;
    let began = Instant::now();
    let error = client(&server).account().await.expect_err("an hour is too long");
    assert_eq!(error.retry_after(), Some(Duration::from_hours(1)));
    assert!(began.elapsed() < Duration::from_secs(5));
}

#[tokio::test]
async fn the_deadline_bounds_attempts_and_waits_together() {
    let server = MockServer::start().await;
    let slow = ResponseTemplate::new(200).set_delay(Duration::from_secs(30));
    Mock::given(method("GET")).respond_with(slow).mount(&server).await;
    let policy = quick().max_attempts(100).deadline(Duration::from_millis(500));
    let began = Instant::now();
    let error =
        client_with(&server, Duration::from_millis(200), policy).account().await.expect_err("too slow");
    assert!(error.is_timeout() && !error.is_connect(), "{error:?}");
    assert!((2..=4).contains(&error.attempts()), "{}", error.attempts());
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
}

#[tokio::test]
async fn the_deadline_also_cuts_a_single_attempt_short() {
    let server = MockServer::start().await;
    let slow = ResponseTemplate::new(200).set_delay(Duration::from_secs(30));
    Mock::given(method("GET")).respond_with(slow).expect(1).mount(&server).await;
    let policy = quick().deadline(Duration::from_millis(200));
    let began = Instant::now();
    let error = client_with(&server, Duration::from_secs(20), policy).account().await.expect_err("too slow");
    assert!(error.is_timeout() && began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
}

#[tokio::test]
async fn a_timeout_covers_the_whole_attempt() {
    let server = MockServer::start().await;
    let slow = ResponseTemplate::new(200).set_delay(Duration::from_secs(30));
    Mock::given(method("GET")).respond_with(slow).expect(1).mount(&server).await;
    let began = Instant::now();
    let client = client_with(&server, Duration::from_millis(150), RetryPolicy::never());
    let error = client.account().await.expect_err("too slow");
    assert!(error.is_timeout() && error.status().is_none());
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
}

#[tokio::test]
async fn no_connection_is_told_apart_and_repeated() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("an address");
    drop(listener);
    let client = Client::builder().base_url(format!("http://{address}")).key(KEY).retry(quick()).build();
    let error = client.expect("a client").account().await.expect_err("nobody listens");
    assert!(error.is_connect() && !error.is_timeout(), "{error:?}");
    assert_eq!(error.attempts(), 3);
}

#[tokio::test]
async fn a_problem_document_becomes_a_typed_error() {
    let server = MockServer::start().await;
    Mock::given(method("POST")).respond_with(problem("invalid", 422)).mount(&server).await;
    let error = client(&server).properties().create(&property_request()).await.expect_err("422");
    let document = error.problem().expect("a problem document");
    assert_eq!(document.code, contract::ProblemCode::Invalid);
    assert!(error.is_invalid() && !error.is_not_found() && !error.is_unauthorized());
    assert_eq!(error.request_id(), Some("req-1"));
    let told = "POST /v1/properties: 422 A title: roof.plan_area_m2: -3 is not above 0 (request req-1)";
    assert_eq!((error.to_string(), format!("{error:?}")), (told.to_owned(), told.to_owned()));
}

#[tokio::test]
async fn a_code_of_a_newer_service_is_still_a_problem() {
    let server = MockServer::start().await;
    Mock::given(method("GET")).respond_with(problem("not_thought_of_yet", 401)).mount(&server).await;
    let error = client(&server).account().await.expect_err("401");
    assert_eq!(error.code(), Some(&contract::ProblemCode::from("not_thought_of_yet")));
    assert!(error.is_unauthorized());
}

#[tokio::test]
async fn a_page_of_a_proxy_is_no_problem_document() {
    let server = MockServer::start().await;
    let page = "<html>\n<h1>Bad gateway</h1>\u{1b}[31m</html>";
    let answer =
        ResponseTemplate::new(502).set_body_raw(page, "text/html").insert_header("x-request-id", "edge-9");
    Mock::given(method("GET")).respond_with(answer).expect(3).mount(&server).await;
    let error = client(&server).account().await.expect_err("502 to the end");
    assert_eq!((error.status(), error.attempts()), (Some(502), 3));
    assert!(error.problem().is_none() && error.code().is_none());
    assert_eq!(error.request_id(), Some("edge-9"));
    assert!(error.to_string().contains("Bad gateway") && !error.to_string().contains('\u{1b}'), "{error}");
}

#[tokio::test]
async fn an_unreadable_success_names_the_json_path() {
    let server = MockServer::start().await;
    let mut second = property("b");
    second["version"] = json!("three");
    let body = json!({"items": [property("a"), second]});
    Mock::given(method("GET"))
        .respond_with(ResponseTemplate::new(200).set_body_json(body))
        .mount(&server)
        .await;
    let error =
        client(&server).properties().page(&ListQuery::default()).await.expect_err("a word for a number");
    assert!(error.is_decode() && error.to_string().contains("items[1].version"), "{error}");
}

#[tokio::test]
async fn a_redirect_is_not_followed_and_the_key_stays_here() {
    let (server, elsewhere) = (MockServer::start().await, MockServer::start().await);
    for status in [301, 302, 303, 307, 308] {
        let away = ResponseTemplate::new(status)
            .insert_header("location", format!("{}/v1/account", elsewhere.uri()));
        Mock::given(path("/v1/account")).respond_with(away).up_to_n_times(1).mount(&server).await;
        let error = client(&server).account().await.expect_err("a redirect is no answer");
        assert_eq!(error.status(), Some(status));
    }
    assert!(requests_of(&elsewhere).await.is_empty());
}

#[tokio::test]
async fn an_error_names_no_token_of_a_calendar() {
    let server = MockServer::start().await;
    let at = "/calendars/ewc_s3cretTOKEN.ics";
    let away = format!("{}/elsewhere{at}", server.uri());
    for answer in [
        problem("not_found", 404),
        ResponseTemplate::new(404).set_body_string("<p>Nothing here</p>"),
        ResponseTemplate::new(301).insert_header("location", away.as_str()),
    ] {
        Mock::given(path(at)).respond_with(answer).up_to_n_times(1).mount(&server).await;
        let error = client(&server).calendars().read(at).await.expect_err("no calendar");
        let told = format!("{error} {error:?}");
        assert!(told.contains("GET /calendars/{hidden}") && !told.contains("s3cret"), "{told}");
    }
    let error = client(&server).calendars().read(&at[1..]).await.expect_err("no path");
    assert!(!format!("{error} {error:?}").contains("s3cret"), "{error}");
}

#[tokio::test]
async fn the_way_out_sends_any_request() {
    let server = MockServer::start().await;
    Mock::given(method("PATCH"))
        .and(path("/v1/not-thought-of"))
        .and(query_param("a", "b c"))
        .and(header("x-own", "1"))
        .and(header_exists("authorization"))
        .respond_with(ResponseTemplate::new(503))
        .expect(1)
        .mount(&server)
        .await;
    let request = Request::new("PATCH".parse().expect("a method"), "/v1/not-thought-of").query("a", "b c");
    let error = client(&server).send(request.header("x-own", "1").expect("plain")).await.expect_err("503");
    assert_eq!(error.attempts(), 1, "nobody said that a PATCH may be repeated");
}
