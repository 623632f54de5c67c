//! The committed OpenAPI document: fresh, and complete.

use eavesward_service::http::openapi;
use serde_json::Value;
use std::path::PathBuf;

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../openapi/openapi.json")
}

#[test]
fn the_committed_document_is_the_one_the_service_gives() {
    let fresh = openapi::text();
    if std::env::var_os("UPDATE_OPENAPI").is_some() {
        std::fs::write(path(), &fresh).expect("openapi.json is written");
    }
    let committed = std::fs::read_to_string(path()).unwrap_or_default();
    if committed == fresh {
        return;
    }
    let (old, new): (Vec<_>, Vec<_>) = (committed.lines().collect(), fresh.lines().collect());
    let start = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let end = old.iter().rev().zip(new.iter().rev()).take_while(|(a, b)| a == b).count();
    let cut = |lines: &[&str], sign: char| {
        let end = lines.len().saturating_sub(end).max(start);
        let lines = lines[start.min(lines.len())..end].iter().take(60);
        lines.fold(String::new(), |text, line| text + &format!("{sign} {line}\n"))
    };
    panic!(
        "openapi/openapi.json is not what the service gives, from line {}:\n{}{}\nRepair it with:\n\n  \
         UPDATE_OPENAPI=1 ./tests/run contract\n",
        start + 1,
        cut(&old, '-'),
        cut(&new, '+')
    );
}

#[test]
fn every_problem_code_is_in_the_document() {
    let document: Value = serde_json::from_str(&openapi::text()).expect("JSON");
    let codes =
        document.pointer("/components/schemas/ProblemCode/enum").and_then(Value::as_array).expect("an enum");
    for code in eavesward_contract::ProblemCode::ALL {
        assert!(codes.iter().any(|known| known == code.as_str()), "{} is missing", code.as_str());
        assert_eq!(serde_json::to_value(code).expect("JSON"), code.as_str());
    }
}
