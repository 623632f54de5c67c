//! The reminders with a cursor file.

use super::{Ran, run};
use crate::failure;
use serde_json::json;
use wiremock::matchers::{method, path, query_param, query_param_is_missing};
use wiremock::{Mock, MockBuilder, MockServer, ResponseTemplate};

fn feed() -> MockBuilder {
    Mock::given(method("GET")).and(path("/v1/reminders"))
}

/// A service whose feed ends at `fresh`. The cursor `old` has expired, and `strange` was never a cursor.
async fn served() -> MockServer {
    let server = MockServer::start().await;
    for (cursor, status, code) in [("old", 410, "cursor_expired"), ("strange", 400, "bad_cursor")] {
        let body = json!({"type": format!("/problems/{code}"), "title": "It will not do", "status": status,
            "code": code, "detail": "Begin anew.", "errors": []});
        let refused =
            ResponseTemplate::new(status).set_body_raw(body.to_string(), "application/problem+json");
        feed().and(query_param("after", cursor)).respond_with(refused).mount(&server).await;
    }
    let end =
        || ResponseTemplate::new(200).set_body_json(json!({"items": [], "cursor": "fresh", "behind": 0}));
    for cursor in ["now", "fresh"] {
        feed().and(query_param("after", cursor)).respond_with(end()).mount(&server).await;
    }
    feed().and(query_param_is_missing("after")).respond_with(end()).mount(&server).await;
    server
}

#[tokio::test]
async fn a_cursor_that_has_expired_in_its_file_is_told_with_the_way_out_which_works() {
    let server = served().await;
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("upkeep.cursor");
    let text = file.to_str().expect("UTF-8");
    let kept = || std::fs::read_to_string(&file).expect("the file");
    for (cursor, told) in [("old", "Begin anew.\n"), ("strange", "not one of the reminders' feed")] {
        std::fs::write(&file, cursor).expect("a file");
        for more in [&[][..], &["--follow"]] {
            let args = [&["reminders", "--cursor-file", text], more].concat();
            let Ran { code, out, err } = run(&server, &args, "").await;
            assert_eq!((code, out.as_str()), (failure::REFUSED, ""), "{err}");
            for part in [told, "--after now, which puts a new cursor in ", "Or delete ", text] {
                assert!(err.contains(part), "{part} is not in {err}");
            }
            assert_eq!(kept(), cursor, "nothing was changed meanwhile");
        }
        // The option overrides the file and replaces its cursor.
        let ran = run(&server, &["reminders", "--after", "now", "--cursor-file", text], "").await;
        assert_eq!((ran.code, ran.err.as_str()), (0, ""));
        assert_eq!(kept(), "fresh\n");
        assert_eq!(run(&server, &["reminders", "--cursor-file", text], "").await.code, 0);
    }
    // The other way to continue.
    std::fs::remove_file(&file).expect("it is there");
    assert_eq!(run(&server, &["reminders", "--cursor-file", text], "").await.code, 0);
    assert_eq!(kept(), "fresh\n");
    // Without a cursor file the message names none.
    let ran = run(&server, &["reminders", "--after", "old"], "").await;
    assert_eq!(ran.code, failure::REFUSED);
    assert!(ran.err.contains("Begin anew.") && !ran.err.contains("delete"), "{}", ran.err);
}
