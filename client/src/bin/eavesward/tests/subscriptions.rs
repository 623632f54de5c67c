//! Subscriptions: what is shown, and what a change leaves alone.

use super::{SCREEN, SPARE, SYSTEM, run};
use crate::failure;
use serde_json::{Value, json};
use wiremock::matchers::{body_json, header, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

/// A subscription with some fields replaced.
fn subscription(facts: &Value) -> Value {
    let mut one = json!({
        "id": SPARE, "name": "upkeep rota", "to": "https://hooks.example/eaves", "sends": "reminders", "kinds": [],
        "property_id": null, "system_id": null, "horizon_days": null, "lead_days": null, "schedule": null, "time_zone": null,
        "local_time_zone": null, "format": null, "next_at": [], "paused_at": null, "paused_because": null, "waiting": 2,
        "parked": 1, "old_secret_until": null, "version": 3, "created_at": "2031-04-02T08:00:00Z",
        "updated_at": "2031-04-02T08:00:00Z"
    });
    for (name, fact) in facts.as_object().expect("facts") {
        one[name] = fact.clone();
    }
    one
}

fn filtered() -> Value {
    json!({"kinds": ["due", "late"], "property_id": SCREEN, "system_id": SYSTEM, "lead_days": 5})
}

fn digest() -> Value {
    json!({"sends": "digest", "property_id": SCREEN, "horizon_days": 14, "schedule": "0 7 * * 1",
        "time_zone": "Europe/London", "local_time_zone": "Europe/London", "format": "markdown",
        "next_at": ["2031-04-07T06:00:00Z"]})
}

async fn serving(facts: &Value) -> MockServer {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .and(path(format!("/v1/subscriptions/{SPARE}")))
        .respond_with(ResponseTemplate::new(200).set_body_json(subscription(facts)))
        .mount(&server)
        .await;
    server
}

async fn shown(facts: Value) -> String {
    let server = serving(&facts).await;
    let ran = run(&server, &["subscription", "show", SPARE], "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    ran.out
}

#[tokio::test]
async fn every_fact_of_a_subscription_is_shown() {
    let head = format!("{SPARE}  upkeep rota\nTo: https://hooks.example/eaves\n");
    let tail = "2 waiting, 1 given up\n";
    let plain = "Reminders of every kind\nFor the whole account\nDays ahead: the default\n";
    assert_eq!(shown(json!({})).await, format!("{head}{plain}{tail}"));
    let only = format!("Only at property {SCREEN}\nOnly for system {SYSTEM}\n");
    let want = format!("{head}Reminders of due, late\n{only}Days ahead: 5\n{tail}");
    assert_eq!(shown(filtered()).await, want);
    let times = "next:\n  2031-04-07T06:00:00+00:00\n";
    let rest = format!("Only at property {SCREEN}\nDays ahead: 14\n{tail}");
    let want = format!("{head}A digest as markdown at 0 7 * * 1 (Europe/London), {times}{rest}");
    assert_eq!(shown(digest()).await, want);
    let mut of_its_property = digest();
    (of_its_property["time_zone"], of_its_property["old_secret_until"]) =
        (Value::Null, json!("2031-04-03T08:00:00Z"));
    let out = shown(of_its_property).await;
    assert!(out.contains(" at 0 7 * * 1 (Europe/London, as at the property), next:\n"), "{out}");
    assert!(out.contains("also signed with the old secret until 2031-04-03T08:00:00+00:00\n"), "{out}");
}

/// Changes a subscription and checks what is sent.
async fn changed(facts: Value, args: &[&str], want: Value) {
    let server = serving(&facts).await;
    Mock::given(method("PUT"))
        .and(path(format!("/v1/subscriptions/{SPARE}")))
        .and(header("if-match", "\"3\""))
        .and(body_json(want))
        .respond_with(ResponseTemplate::new(200).set_body_json(subscription(&facts)))
        .expect(1)
        .mount(&server)
        .await;
    let ran = run(&server, &[&["subscription", "change", SPARE], args].concat(), "").await;
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}");
}

#[tokio::test]
async fn what_is_not_given_stays_when_a_subscription_is_changed() {
    let to = "https://hooks.example/new";
    let kept = json!({"name": "rota", "to": to, "sends": "reminders", "kinds": ["due", "late"],
        "property_id": SCREEN, "system_id": SYSTEM, "lead_days": 5});
    changed(filtered(), &["--name", "rota", "--to", to], kept).await;
    let kept = json!({"name": "upkeep rota", "to": to, "sends": "digest", "property_id": SCREEN, "horizon_days": 14,
        "schedule": "0 7 * * 1", "time_zone": "Europe/London", "format": "markdown"});
    changed(digest(), &["--to", to], kept).await;
    // Each given option replaces the old value.
    let others = json!({"name": "upkeep rota", "to": "https://hooks.example/eaves", "sends": "reminders",
        "kinds": ["done"], "property_id": SPARE, "system_id": SCREEN, "lead_days": 14});
    let args = ["--kind", "done", "--property", SPARE, "--system", SCREEN, "--lead-days", "2w"];
    changed(filtered(), &args, others).await;
    let others = json!({"name": "upkeep rota", "to": "https://hooks.example/eaves", "sends": "digest",
        "property_id": SCREEN, "horizon_days": 14, "schedule": "0 8 * * 2", "time_zone": "Europe/Lisbon", "format": "csv"});
    let args = ["--digest", "0 8 * * 2", "--time-zone", "Europe/Lisbon", "--format", "csv"];
    changed(digest(), &args, others).await;
}

#[tokio::test]
async fn what_was_set_is_taken_away_when_that_is_said() {
    let url = "https://hooks.example/eaves";
    let whole = json!({"name": "upkeep rota", "to": url, "sends": "reminders"});
    changed(filtered(), &["--clear", "kind,property,system,lead-days"], whole).await;
    let of_system = json!({"name": "upkeep rota", "to": url, "sends": "reminders", "kinds": ["late"],
        "system_id": SYSTEM, "lead_days": 5});
    changed(filtered(), &["--clear", "property", "--kind", "late"], of_system).await;
    let zoned = json!({"name": "upkeep rota", "to": url, "sends": "digest", "property_id": SCREEN,
        "horizon_days": 14, "schedule": "0 7 * * 1", "format": "markdown"});
    changed(digest(), &["--clear", "time-zone"], zoned).await;
}

#[tokio::test]
async fn a_change_that_contradicts_itself_or_what_is_carried_is_not_sent() {
    for (facts, args, told) in [
        (filtered(), &["--property", SPARE, "--clear", "property"][..], "--property or --clear property"),
        (filtered(), &["--system", SPARE, "--clear", "system"], "--system or --clear system"),
        (filtered(), &["--kind", "due", "--clear", "kind"], "--kind or --clear kind"),
        (filtered(), &["--lead-days", "3", "--clear", "lead-days"], "--lead-days or --clear lead-days"),
        (digest(), &["--time-zone", "Etc/UTC", "--clear", "time-zone"], "--time-zone or --clear time-zone"),
        (filtered(), &["--digest", "0 7 * * 1"], "sends reminders"),
        (filtered(), &["--time-zone", "Etc/UTC"], "sends reminders"),
        (filtered(), &["--format", "text"], "sends reminders"),
        (digest(), &["--kind", "due"], "sends digest"),
        (digest(), &["--lead-days", "3"], "sends digest"),
        (filtered(), &["--horizon-days", "3"], "sends reminders"),
        (
            digest(),
            &["--horizon-days", "3", "--clear", "horizon-days"],
            "--horizon-days or --clear horizon-days",
        ),
    ] {
        let server = serving(&facts).await;
        let ran = run(&server, &[&["subscription", "change", SPARE], args].concat(), "").await;
        assert_eq!((ran.code, ran.out.as_str()), (failure::USAGE, ""), "{args:?}: {}", ran.err);
        assert!(ran.err.contains(told), "{told} is not in {}", ran.err);
    }
}
