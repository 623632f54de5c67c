//! Completeness over the document: every operation answers as documented, and every problem is met by a test.

use super::document::{Overrides, committed, operations};
use crate::support::app::{App, Reply, over_both};
use serde_json::Value;

over_both! {
    every_operation_answers_as_documented;
}

async fn every_operation_answers_as_documented(app: &App) {
    let own = Overrides::of_first(app).await;
    let mut all = operations();
    // Reads first, and what takes something away last.
    let rank = |method: &str| ["GET", "POST", "PUT", "DELETE"].iter().position(|known| *known == method);
    all.sort_by_key(|operation| rank(&operation.method));
    for operation in all {
        let what = format!("{} {}", operation.method, operation.path);
        let id = if operation.path.contains("{id}") { own.id(&operation).to_owned() } else { String::new() };
        let reply = Reply::of(operation.request(app, &app.key, &id, &own)).await;
        assert!(operation.statuses.contains(&reply.status), "{what}: {} {}", reply.status, reply.text);
        // Some were done already by the operations before: a visit is withdrawn, a round done, a component changed.
        let expected = match what.as_str() {
            "PUT /v1/visits/{id}" | "DELETE /v1/rounds/{id}" => 409,
            "PUT /v1/components/{id}"
            | "PUT /v1/subscriptions/{id}"
            | "DELETE /v1/subscriptions/{id}"
            | "DELETE /v1/properties/{id}"
            | "DELETE /v1/gauges/{id}" => 412,
            _ => *operation.statuses.iter().find(|status| (200..300).contains(*status)).expect("a success"),
        };
        assert_eq!(reply.status, expected, "{what}: {}", reply.text);
    }
}

/// The codes of the document.
fn codes() -> Vec<String> {
    let document = committed();
    let codes = document.pointer("/components/schemas/ProblemCode/enum").and_then(Value::as_array);
    codes.expect("codes").iter().map(|code| code.as_str().expect("a text").to_owned()).collect()
}

/// Every code that a test of these folders expects, read off the sources: an expectation that is not met fails.
fn expected() -> String {
    let folders = ["api", "faults"].map(|folder| format!("{}/suite/{folder}", env!("CARGO_MANIFEST_DIR")));
    let files = folders.iter().flat_map(|folder| std::fs::read_dir(folder).expect("a folder of tests"));
    let text = |file: std::io::Result<std::fs::DirEntry>| {
        std::fs::read_to_string(file.expect("a file").path()).expect("a text")
    };
    files.map(text).collect()
}

#[test]
fn every_problem_is_met_by_a_test() {
    let sources = expected();
    let met = |code: &str| {
        ["problem", "fields"].iter().any(|call| sources.contains(&format!(".{call}(\"{code}\")")))
    };
    let missing: Vec<String> = codes().into_iter().filter(|code| !met(code)).collect();
    assert!(missing.is_empty(), "no test meets {missing:?}, so these do not belong in the contract");
}
