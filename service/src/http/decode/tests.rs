use super::*;
use serde::Deserialize;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "it is only read into")]
struct Outer {
    list: Vec<Inner>,
    expires_at: Option<chrono::DateTime<chrono::Utc>>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(dead_code, reason = "it is only read into")]
struct Inner {
    on: Option<chrono::NaiveDate>,
    part: Option<Part>,
}

#[derive(Debug, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
#[expect(dead_code, reason = "it is only read into")]
enum Part {
    Tank { volume: f64, name: Option<String>, emptying: Option<Emptying> },
    Pipe {},
}

#[derive(Debug, Deserialize)]
#[serde(tag = "by", rename_all = "snake_case", deny_unknown_fields)]
#[expect(dead_code, reason = "it is only read into")]
enum Emptying {
    Drip { volume: f64, often: bool },
}

/// The refused field and the message.
fn refused(body: &str) -> (String, String) {
    let Unreadable { field, message } = from_slice::<Outer>(body.as_bytes()).unwrap_err();
    (field, message)
}

fn check(body: &str, field: &str, message: &str) {
    assert_eq!(refused(body), (field.to_owned(), message.to_owned()), "{body}");
}

#[test]
fn a_date_is_named_and_shown() {
    check(
        r#"{"list": [{}, {"on": "2026-13-01"}]}"#,
        "list[1].on",
        r#""2026-13-01" is not a date such as 2026-03-07"#,
    );
    check(r#"{"list": [{"on": "1 May"}]}"#, "list[0].on", r#""1 May" is not a date such as 2026-03-07"#);
    check(r#"{"list": [{"on": ""}]}"#, "list[0].on", r#""" is not a date such as 2026-03-07"#);
    check(
        r#"{"list": [], "expires_at": "2026-03-07"}"#,
        "expires_at",
        r#""2026-03-07" is not an instant such as 2026-03-07T12:00:00Z"#,
    );
    let (_, message) = refused(&format!(r#"{{"list": [{{"on": "{}"}}]}}"#, "9".repeat(5000)));
    assert!(message.len() < 120, "{message}");
}

#[test]
fn fields_inside_a_kind_are_named() {
    let part = |part: &str| refused(&format!(r#"{{"list": [{{}}, {{"part": {part}}}]}}"#));
    for (body, field) in [
        (r#"{"kind": "tank", "volume": "5"}"#, "volume"),
        (r#"{"kind": "tank", "name": "5", "volume": "5"}"#, "volume"),
        (r#"{"kind": "tank"}"#, "volume"),
        (r#"{"kind": "tank", "volume": null}"#, "volume"),
        (r#"{"kind": "tank", "volume": {"l": 5}}"#, "volume"),
        (r#"{"kind": "tank", "volume": 5, "colour": "blue"}"#, "colour"),
        (r#"{"kind": "kettle"}"#, "kind"),
        (r#"{"kind": "tank", "volume": 1, "emptying": {"by": "drip", "often": true}}"#, "emptying.volume"),
        (r#"{"kind": "tank", "emptying": {"by": "drip", "volume": 1, "often": true}}"#, "volume"),
        (
            r#"{"kind": "tank", "volume": 1, "emptying": {"by": "drip", "volume": 1, "often": 1}}"#,
            "emptying.often",
        ),
        (r#"{"kind": "tank", "volume": 1, "emptying": {"by": "hand"}}"#, "emptying.by"),
        (r#"{"kind": "pipe", "volume": 1}"#, "volume"),
        ("{}", "kind"),
    ] {
        let (named, message) = part(body);
        assert_eq!(named, format!("list[1].part.{field}"), "{body}: {message}");
        assert!(!message.contains("line"), "{message}");
    }
    assert_eq!(part(r#""tank""#).0, "list[1].part");
}

#[test]
fn fields_outside_of_kinds_are_named() {
    for (body, field) in [
        ("{}", "list"),
        (r#"{"list": [], "colour": 1}"#, "colour"),
        (r#"{"list": [{"colour": 1}]}"#, "list[0].colour"),
        (r#"{"list": [], "list": []}"#, "list"),
        (r#"{"list": {}}"#, "list"),
    ] {
        let (named, message) = refused(body);
        assert_eq!(named, field, "{body}: {message}");
        assert!(!message.contains("line"), "{message}");
    }
}

#[test]
fn a_large_body_is_not_searched() {
    let many = r#"{"part": {"kind": "tank", "volume": 1}},"#.repeat(20_000);
    let body = format!(r#"{{"list": [{many} {{"part": {{"kind": "tank", "volume": "5"}}}}]}}"#);
    let (field, message) = refused(&body);
    assert_eq!(field, "list[20000].part");
    assert_eq!(message, "invalid type: string \"5\", expected f64");
    let (field, message) = refused(&format!(r#"{{"lists": [{many} {{}}]}}"#));
    assert_eq!((field.as_str(), message.contains("unknown field `lists`")), ("lists", true));
}

#[test]
fn text_that_is_no_json_is_told_its_byte() {
    check("{\n  \"list\": [}", "list[0]", "expected value, at byte 14");
    check("{\"list\": []} x", "", "trailing characters, at byte 14");
    check("{\"list\": [", "list", "EOF while parsing a list, at byte 10");
}

#[test]
fn what_was_parsed_before_is_read_the_same_way() {
    let value = json!({"list": [{"part": {"kind": "tank", "volume": "5"}}, {}]});
    let told = from_value::<Outer>(&value).unwrap_err();
    assert_eq!(told.field, "list[0].part.volume");
    assert_eq!(told.message, "invalid type: string \"5\", expected f64");
}
