//! Digests and calendar feeds.

use super::{Ran, SYSTEM, mount_page, run};
use serde_json::json;
use wiremock::matchers::{body_json, method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockServer, ResponseTemplate};

async fn served(at: &str, text: &str) -> MockServer {
    let server = MockServer::start().await;
    let answer = ResponseTemplate::new(200).set_body_string(text);
    Mock::given(method("GET")).and(path(at)).respond_with(answer).expect(1).mount(&server).await;
    server
}

#[tokio::test]
async fn a_digest_is_printed_in_the_form_that_was_asked_for() {
    for (format, at) in [(None, "txt"), (Some("text"), "txt"), (Some("markdown"), "md")] {
        let server = served(&format!("/v1/digest.{at}"), "What is due\n\u{1b}[31mred\n").await;
        let args = [&["digest"][..], &format.map_or(vec![], |format| vec!["--format", format])].concat();
        let Ran { code, out, err } = run(&server, &args, "").await;
        // Nothing in it controls the terminal.
        assert_eq!((code, out.as_str(), err.as_str()), (0, "What is due\n [31mred\n", ""), "{format:?}");
    }
    let table = "row,property\r\ntask,Quince Terrace\r\n";
    let server = served("/v1/digest.csv", table).await;
    let ran = run(&server, &["digest", "--format", "csv"], "").await;
    assert_eq!((ran.code, ran.out.as_str()), (0, table), "lines end as a spreadsheet wants them");
    let server = served("/v1/digest.csv", table).await;
    let folder = std::env::temp_dir().join(format!("eavesward-digest-{}.csv", std::process::id()));
    let file = folder.to_str().expect("a path");
    let ran = run(&server, &["digest", "--format", "csv", "--output", file], "").await;
    assert_eq!((ran.code, ran.out), (0, format!("Written to {file}.\n")));
    assert_eq!(std::fs::read_to_string(&folder).expect("the file"), table);
    std::fs::remove_file(folder).expect("it is there");
}

#[cfg(unix)]
#[tokio::test]
async fn a_digest_takes_the_place_of_a_file_as_a_whole_and_standard_output_is_one_thing() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    std::fs::write(at("week.txt"), "last week\n").expect("a file");
    std::fs::hard_link(at("week.txt"), at("kept.txt")).expect("a second name");
    std::os::unix::fs::symlink("week.txt", at("link.txt")).expect("a link");
    let server = served("/v1/digest.txt", "this week\n").await;
    let link = at("link.txt");
    let ran = run(&server, &["digest", "--output", link.to_str().expect("UTF-8")], "").await;
    assert_eq!(ran.code, 0, "{}", ran.err);
    let text = |name: &str| std::fs::read_to_string(at(name)).expect("text");
    assert_eq!((text("week.txt").as_str(), text("link.txt").as_str()), ("this week\n", "this week\n"));
    assert!(link.is_symlink(), "it leads where it led");
    assert_eq!(text("kept.txt"), "last week\n", "half a file could have stood there");
    let server = served("/v1/digest.txt", "this\u{1b} week\n").await;
    let ran = run(&server, &["digest", "--output", "/dev/stdout"], "").await;
    assert_eq!((ran.code, ran.out.as_str()), (0, "this  week\n"), "{}", ran.err);
}

#[tokio::test]
async fn a_digest_is_of_the_days_and_places_that_were_given() {
    let server = MockServer::start().await;
    mount_page(&server, "/v1/properties", json!([])).await;
    let answer = ResponseTemplate::new(200).set_body_string("it\n");
    Mock::given(method("GET"))
        .and(path("/v1/digest.txt"))
        .and(query_param("within", "P14D"))
        .and(query_param("property_id", SYSTEM))
        .and(query_param("system_id", SYSTEM))
        .and(query_param_is_missing("from"))
        .respond_with(answer)
        .expect(1)
        .mount(&server)
        .await;
    let args = ["digest", "--within", "2w", "--property", SYSTEM, "--system", SYSTEM];
    assert_eq!(run(&server, &args, "").await.out, "it\n");
    let ran = run(&server, &["digest", "--property", "Nowhere"], "").await;
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("no property is called \"Nowhere\""), "{}", ran.err);
    let server = served("/v1/digest.txt", "it\n").await;
    let ran = run(&server, &["digest", "--output", "no-such-folder/week.txt"], "").await;
    assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{}", ran.err);
    assert!(ran.err.contains("no-such-folder/week.txt could not be written"), "{}", ran.err);
}

fn calendar() -> serde_json::Value {
    json!({"id": SYSTEM, "name": "Quince Terrace", "property_id": null, "horizon_days": 90, "hint": "ewc_abcdef",
           "created_at": "2031-01-01T00:00:00Z", "last_read_at": null, "revoked_at": null})
}

#[tokio::test]
async fn a_calendar_is_made_listed_and_revoked() {
    let server = MockServer::start().await;
    // The service is behind a proxy and knows another address than its users.
    let made = json!({"calendar": calendar(), "path": "/calendars/ewc_abcdefgh.ics",
                      "url": "http://inside.invalid/calendars/ewc_abcdefgh.ics"});
    Mock::given(method("POST"))
        .and(path("/v1/calendars"))
        .and(body_json(json!({"name": "Quince Terrace", "property_id": SYSTEM, "horizon_days": 90})))
        .respond_with(ResponseTemplate::new(201).set_body_json(made))
        .expect(1)
        .mount(&server)
        .await;
    let args = ["calendar", "add", "--name", "Quince Terrace", "--property", SYSTEM, "--horizon-days", "90"];
    let Ran { code, out, err } = run(&server, &args, "").await;
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains(&format!("{}/calendars/ewc_abcdefgh.ics\n", server.uri())), "{out}");
    mount_page(&server, "/v1/calendars", json!([calendar()])).await;
    let list = run(&server, &["calendar", "list"], "").await.out;
    assert!(list.contains("Quince Terrace  all       90          ewc_abcdef   -          -"), "{list}");
    let gone = ResponseTemplate::new(204);
    Mock::given(method("DELETE"))
        .and(path(format!("/v1/calendars/{SYSTEM}")))
        .respond_with(gone)
        .mount(&server)
        .await;
    let said = run(&server, &["calendar", "revoke", SYSTEM], "").await.out;
    assert_eq!(said, format!("Calendar {SYSTEM} is revoked.\n"));
    let empty = MockServer::start().await;
    mount_page(&empty, "/v1/calendars", json!([])).await;
    let list = run(&empty, &["calendar", "list"], "").await.out;
    assert_eq!(list, "No calendars. Make one with `eavesward calendar add`.\n");
}
