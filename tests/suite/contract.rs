//! The committed OpenAPI document: fresh, and complete.

use eavesward_service::http::openapi;
use serde_json::Value;
use std::collections::BTreeSet;
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

/// Bounds of numbers and lists, by the names of their fields and parameters: the least and the most, as they are written.
fn bounds(value: &Value, name: &str, found: &mut BTreeSet<(String, String, String)>) {
    match value {
        Value::Object(object) => {
            for (least, most) in [("minimum", "maximum"), ("minItems", "maxItems")] {
                if let (Some(Value::Number(least)), Some(Value::Number(most))) =
                    (value.get(least), value.get(most))
                {
                    found.insert((name.to_owned(), least.to_string(), most.to_string()));
                }
            }
            // A parameter has its name inside.
            let own = value["name"].as_str();
            object.iter().for_each(|(field, value)| bounds(value, own.unwrap_or(field), found));
        }
        Value::Array(list) => list.iter().for_each(|value| bounds(value, name, found)),
        _ => {}
    }
}

#[test]
fn the_texts_of_the_client_name_the_bounds_of_the_document() {
    let mut known = BTreeSet::new();
    bounds(&serde_json::from_str(&openapi::text()).expect("JSON"), "", &mut known);
    let mut named = 0;
    for (file, source) in crate::doors::sources("client/src") {
        let mut text = String::new();
        for line in source.lines().map(str::trim) {
            if let Some(comment) = line.strip_prefix("///") {
                text.push_str(comment);
            } else if !line.starts_with("#[") {
                let field = line.trim_start_matches("pub ").split_once(": ").map(|(field, _)| field);
                // The parameter of a function is no field.
                let field = field.filter(|field| !field.contains('('));
                let words: Vec<&str> =
                    text.split_whitespace().map(|word| word.trim_matches([',', ';', ':', '.'])).collect();
                let ranges = words.windows(3).filter(|three| {
                    three[1] == "to" && [three[0], three[2]].iter().all(|word| word.parse::<f64>().is_ok())
                });
                for range in ranges.filter(|_| field.is_some()) {
                    // The document leaves the unit of a time out.
                    let name = field.map(|field| field.trim_end_matches("_s")).unwrap_or_default();
                    let (least, most) = (range[0].to_owned(), range[2].to_owned());
                    assert!(known.contains(&(name.to_owned(), least, most)), "{file}: {name}: {text}");
                    named += 1;
                }
                text.clear();
            }
        }
    }
    assert!(named >= 15, "only {named} bounds were found in the client's texts");
}
