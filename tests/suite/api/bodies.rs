//! Bodies that are packed, huge, deep, slow or full of faults: each is refused before it costs much.

use super::scenario::{gauge, id_of, property, roof, three};
use crate::support::app::{App, Kind, Reply, over_both};
use reqwest::header::{HeaderName, HeaderValue};
use serde_json::{Value, json};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::Duration;

over_both! {
    a_packed_body_is_refused_unread;
    a_body_of_too_many_values_is_refused;
    a_wrong_field_of_a_large_body_is_named;
    a_problem_lists_a_thousand_faults_and_counts_all;
    a_long_text_is_repeated_in_part;
    the_largest_sketch_is_forecast;
}

async fn rain_path(app: &App) -> String {
    format!("/v1/gauges/{}/rain", id_of(&app.post("/v1/gauges", &gauge()).await))
}

/// A sketch with so many days of rain.
fn sketch(days: usize, mut rain_mm: impl FnMut(usize) -> Value) -> Value {
    let first: chrono::NaiveDate = "1900-01-01".parse().expect("a date");
    let rain: Vec<Value> = first
        .iter_days()
        .take(days)
        .enumerate()
        .map(|(index, date)| json!({"date": date, "rain_mm": rain_mm(index)}))
        .collect();
    json!({"latitude_deg": 48.0, "roof": roof(), "components": [three()[0]], "as_of": "2026-03-01", "rain": rain})
}

/// What a service answers to bytes as they are, to the end of the connection. A second piece is sent again and again.
async fn answer(app: &App, first: String, again: &'static str) -> Reply {
    let address = app.url.trim_start_matches("http://").to_owned();
    let read = move || {
        let mut stream = TcpStream::connect(address).expect("a connection");
        stream.set_read_timeout(Some(Duration::from_mins(1))).expect("a bound");
        stream.write_all(first.as_bytes()).expect("it is sent");
        let mut writer = stream.try_clone().expect("the same connection");
        std::thread::spawn(move || {
            while !again.is_empty() && writer.write_all(again.as_bytes()).is_ok() {
                std::thread::sleep(Duration::from_millis(50));
            }
        });
        let mut text = Vec::new();
        stream.read_to_end(&mut text).expect("the service ends it");
        String::from_utf8(text).expect("UTF-8")
    };
    let answer = tokio::task::spawn_blocking(read).await.expect("a thread");
    let (head, text) = answer.split_once("\r\n\r\n").unwrap_or_else(|| panic!("no answer: {answer:?}"));
    let mut lines = head.lines();
    let status = lines.next().and_then(|line| line.split(' ').nth(1)?.parse().ok()).expect("a status");
    let headers = lines.filter_map(|line| {
        let (name, value) = line.split_once(": ")?;
        Some((name.parse::<HeaderName>().ok()?, value.parse::<HeaderValue>().ok()?))
    });
    Reply { status, headers: headers.collect(), text: text.to_owned() }
}

fn head(app: &App, method: &str, path: &str, headers: &str) -> String {
    format!(
        "{method} {path} HTTP/1.1\r\nHost: eaves\r\nAuthorization: Bearer {}\r\n{headers}\r\n\r\n",
        app.key
    )
}

async fn a_packed_body_is_refused_unread(app: &App) {
    let path = rain_path(app).await;
    let days = json!({"days": [{"date": "2026-01-01", "rain_mm": 1.0}]}).to_string();
    let bodies = [
        ("POST", "/v1/properties", "application/json", property().to_string(), 201),
        ("PUT", path.as_str(), "application/json", days, 200),
        ("PUT", path.as_str(), "text/csv", "2026-01-01,1.5\n".to_owned(), 200),
    ];
    for (method, path, media_type, body, taken) in bodies {
        let send = async |codings: &[&str]| {
            let request = app.request(method, path).header("Content-Type", media_type).body(body.clone());
            Reply::of(
                codings.iter().fold(request, |request, coding| request.header("Content-Encoding", *coding)),
            )
            .await
        };
        for codings in [&["br"][..], &["GZIP"], &["identity, deflate"], &["identity", "zstd"], &["x"]] {
            let reply = send(codings).await;
            assert_eq!(reply.status, 415, "{codings:?}: {}", reply.text);
            assert_eq!(reply.header("accept-encoding"), "identity");
            reply.problem("unsupported_media_type");
        }
        let other = app.request(method, path).header("Content-Type", "text/html").body(body.clone());
        assert!(!Reply::of(other).await.headers.contains_key("accept-encoding"), "the coding was right");
        assert_eq!(send(&["Identity"]).await.status, taken);
    }
    // The answer comes though nothing of the body does.
    let headers = "Content-Type: application/json\r\nContent-Encoding: br\r\nContent-Length: 809";
    answer(app, head(app, "POST", "/v1/forecast", headers), "").await.problem("unsupported_media_type");
}

async fn a_body_of_too_many_values_is_refused(app: &App) {
    let path = rain_path(app).await;
    let many = vec![json!({"": 0}); 140_000];
    for (method, path, body) in [
        ("POST", "/v1/forecast", json!({"rain": many})),
        ("PUT", path.as_str(), json!({"days": many})),
        ("POST", "/v1/properties", json!({"name": vec![0; 400_000]})),
        ("POST", "/v1/properties", json!({"name": [[[vec![0; 20_000]]]]})),
    ] {
        let reply = app.send(method, path, &body).await;
        assert_eq!(reply.status, 413, "{path}: {}", reply.text);
        assert!(reply.problem("body_too_large")["detail"].to_string().contains("400,000"), "{}", reply.text);
    }
    for (path, bytes, most) in [("/v1/forecast", 8, "8 MiB"), ("/v1/properties", 2, "2 MiB")] {
        let text = " ".repeat(bytes * 1024 * 1024) + "{}";
        let request = app.request("POST", path).header("Content-Type", "application/json").body(text);
        let reply = Reply::of(request).await;
        assert!(reply.problem("body_too_large")["detail"].to_string().contains(most), "{}", reply.text);
    }
}

async fn a_wrong_field_of_a_large_body_is_named(app: &App) {
    for (pointer, value, field, message) in [
        ("/rain/4999/date", json!("2026-02-30"), "rain[4999].date", "\"2026-02-30\" is not a date"),
        ("/rain/4999/rain_mm", json!("wet"), "rain[4999].rain_mm", "\"wet\""),
        ("/rain/4999", json!(["2026-01-01", 1.5]), "rain[4999]", "an object"),
        ("/components/0/part", json!({"kind": "debris_screen"}), "components[0].part.area_m2", "missing"),
        ("/as_of", json!("2026-13-01"), "as_of", "\"2026-13-01\" is not a date"),
    ] {
        let mut body = sketch(5000, |_| json!(1.5));
        *body.pointer_mut(pointer).expect("a place") = value;
        assert!(body.to_string().len() > 100_000);
        let reply = app.send("POST", "/v1/forecast", &body).await;
        assert_eq!(reply.fields("malformed_body"), [field], "{}", reply.text);
        assert!(
            reply.problem("malformed_body")["errors"][0]["message"]
                .as_str()
                .expect("a text")
                .contains(message),
            "{}",
            reply.text
        );
    }
    let mut body = sketch(5000, |_| json!(1.5));
    body.as_object_mut().expect("an object").remove("as_of");
    assert_eq!(app.send("POST", "/v1/forecast", &body).await.fields("malformed_body"), ["as_of"]);
}

async fn a_problem_lists_a_thousand_faults_and_counts_all(app: &App) {
    let named = |reply: &Reply, code: &str| {
        let detail = reply.problem(code)["detail"].as_str().expect("a text").to_owned();
        (reply.fields(code).len(), detail.contains("the first 1,000 of 1,500"))
    };
    let reply = app.send("POST", "/v1/forecast", &sketch(1500, |_| json!(-1))).await;
    assert_eq!((reply.status, named(&reply, "invalid")), (422, (1000, true)));
    let days = json!({"days": sketch(1500, |_| json!(-1))["rain"]});
    let reply = app.send("PUT", &format!("{}?all_or_nothing=true", rain_path(app).await), &days).await;
    assert_eq!((reply.status, named(&reply, "rain_refused")), (422, (1000, true)));
    let reply = app.send("POST", "/v1/forecast", &sketch(1000, |_| json!(-1))).await;
    assert_eq!(reply.fields("invalid").len(), 1000);
    assert!(reply.text.contains("names each of them"), "{}", reply.problem("invalid")["detail"]);
}

async fn a_long_text_is_repeated_in_part(app: &App) {
    let long = "\u{1}ä".repeat(100_000);
    let mut wrong = property();
    wrong[&long] = json!(1);
    let reply = app.send("POST", "/v1/properties", &wrong).await;
    reply.problem("malformed_body");
    assert!(reply.text.len() < 20_000, "{} bytes", reply.text.len());
    let mut wrong = property();
    wrong["time_zone"] = json!(long);
    let reply = app.send("POST", "/v1/properties", &wrong).await;
    assert_eq!(reply.fields("invalid"), ["time_zone"]);
    assert!(reply.text.len() < 20_000, "{} bytes", reply.text.len());
    let path = rain_path(app).await;
    let days = json!({"days": [{"date": long, "rain_mm": 1.0}, {"date": "2026-01-02", "rain_mm": 1.0}]});
    let report = app.send("PUT", &path, &days).await.expect(200);
    assert_eq!((&report["counts"]["added"], &report["refused"][0]["index"]), (&json!(1), &json!(0)));
}

async fn the_largest_sketch_is_forecast(app: &App) {
    let body = sketch(50_000, |index| json!(if index.is_multiple_of(3) { 4.5 } else { 0.0 }));
    app.send("POST", "/v1/forecast", &body).await.expect(200);
    let body = sketch(50_001, |_| json!(1.5));
    assert_eq!(app.send("POST", "/v1/forecast", &body).await.fields("invalid"), ["rain"]);
}

/// A body that comes byte by byte, or not at all, keeps no connection open, whoever sends it.
#[tokio::test]
async fn a_slow_body_ends() {
    let app = App::start_with(Kind::Sqlite, |layer| layer.body_timeout_s = Some(1)).await;
    let json = "Content-Type: application/json";
    let lengthy = format!("{json}\r\nContent-Length: 100000");
    let chunked = format!("{json}\r\nTransfer-Encoding: chunked");
    for (headers, piece) in [(&lengthy, ""), (&lengthy, "x"), (&chunked, ""), (&chunked, "1\r\nx\r\n")] {
        let reply = answer(&app, head(&app, "POST", "/v1/properties", headers), piece).await;
        assert_eq!(reply.status, 408, "{headers} {piece:?}: {}", reply.text);
        reply.problem("body_too_slow");
    }
    // A body that nobody reads.
    for (path, status) in [("/v1/nothing", 404), ("/healthz", 200)] {
        let reply = answer(&app, head(&app, "GET", path, &chunked), "1\r\nx\r\n").await;
        assert_eq!(reply.status, status, "{path}: {}", reply.text);
    }
    let stranger = format!("POST /v1/properties HTTP/1.1\r\nHost: eaves\r\n{chunked}\r\n\r\n");
    answer(&app, stranger, "1\r\nx\r\n").await.problem("unauthorized");
    app.stop().await;
}
