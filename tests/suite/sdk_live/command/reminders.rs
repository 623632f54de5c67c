//! Reminders pulled, followed and posted, at a shell.

use super::{Shell, daily, id};
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::process::Stdio;

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn reminders_are_pulled_and_followed_with_a_cursor_in_a_file() {
    let shell = Shell::start().await;
    let empty = shell.run(&["reminders"]).ok();
    assert!(empty.contains("Nothing new.") && empty.contains("Continue with --after "), "{empty}");
    let system = shell.greenhouse();
    shell.write("daily.csv", daily());
    shell.run(&["rain", "import", "orchard gauge", "daily.csv"]).ok();
    shell.app.refresh().await;
    let kept = ["reminders", "--cursor-file", "upkeep.cursor"];
    let out = shell.run(&kept).ok();
    let lines: Vec<&str> = out.lines().filter(|line| line.starts_with("2026-03-01  ")).collect();
    assert!(
        !lines.is_empty() && lines.iter().all(|line| line.contains("School greenhouse, seedling house")),
        "{out}"
    );
    assert!(shell.run(&kept).ok().contains("Nothing new."), "it goes on where it was");
    // As JSON an object a line, for programs that read as it comes.
    let json = shell.run(&["--json", "reminders", "--system", &system]).ok();
    let entries: Vec<Value> = json.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(entries.len(), lines.len());
    assert!(entries.iter().all(|entry| entry["cautions"].as_array().is_some_and(|all| !all.is_empty())));
    assert!(shell.run(&["reminders", "--kind", "sometimes"]).refused(2).contains("sometimes"));
    assert!(shell.run(&["reminders", "--after", "nonsense"]).refused(3).contains("cursor"));
    // Followed: what comes is printed when it comes.
    let mut follow = shell.command(&[&kept[..], &["--follow", "--kind", "done"]].concat());
    let mut child = follow.stdout(Stdio::piped()).spawn().expect("a process");
    let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
    shell
        .run(&[
            "visit",
            "log",
            "seedling house",
            "--on",
            "2026-03-01",
            "--done",
            "first flush:drain_diverter",
        ])
        .ok();
    shell.app.refresh().await;
    let line = lines.next().expect("a line").expect("UTF-8");
    assert!(line.starts_with("2026-03-01  done ") && line.contains("first flush"), "{line}");
    child.kill().expect("it runs until it is stopped");
    child.wait().expect("its end");
    shell.app.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn subscriptions_are_kept_by_hand() {
    let shell = Shell::start().await;
    assert!(shell.run(&["subscription", "list"]).ok().contains("No subscriptions."));
    let to = ["--to", "https://hooks.invalid/eaves"];
    let add = ["subscription", "add", "--name", "Monday list"];
    let digest = ["--digest", "0 7 * * 1", "--time-zone", "Europe/London", "--format", "text"];
    let out = shell.run(&[&add[..], &to, &digest].concat()).ok();
    assert!(out.contains("whsec_") && out.contains("2026-03-02T07:00:00+00:00"), "{out}");
    let made = shell.json(&["subscription", "list"]);
    let own = id(&made[0]);
    assert!(!made.to_string().contains("whsec_"));
    let change = ["subscription", "change", &own];
    let told = shell.run(&[&change[..], &["--kind", "due"]].concat()).refused(2);
    assert!(told.contains("sends digest"), "{told}");
    shell.greenhouse();
    shell.run(&[&change[..], &["--property", "School greenhouse", "--horizon-days", "14"]].concat()).ok();
    // What is not given stays: what goes to a new address is no more than what went to the old one.
    let renamed =
        shell.json(&[&change[..], &["--name", "rota", "--to", "https://hooks.invalid/new"]].concat());
    assert_eq!((&renamed["name"], &renamed["to"]), (&json!("rota"), &json!("https://hooks.invalid/new")));
    for (fact, want) in [
        ("property_id", shell.json(&["property", "list"])[0]["id"].clone()),
        ("horizon_days", json!(14)),
        ("schedule", json!("0 7 * * 1")),
        ("time_zone", json!("Europe/London")),
        ("format", json!("text")),
    ] {
        assert_eq!(renamed[fact], want, "{fact}");
    }
    let cleared =
        shell.run(&[&change[..], &["--clear", "property,horizon-days,time-zone"]].concat()).refused(3);
    assert!(cleared.contains("time_zone"), "a digest of all properties wants a zone: {cleared}");
    let cleared = shell.json(&[&change[..], &["--clear", "property,horizon-days"]].concat());
    assert_eq!((&cleared["property_id"], &cleared["horizon_days"]), (&json!(null), &json!(null)));
    assert_eq!(cleared["format"], "text");
    assert!(shell.run(&["subscription", "pause", &own]).ok().contains("rota is paused."));
    assert!(shell.run(&["subscription", "show", &own]).ok().contains("Paused since "));
    let test = shell.json(&["subscription", "test", &own]);
    for _ in 0..200 {
        let log = shell.json(&["subscription", "delivery", &id(&test)]);
        if log["attempts"].as_array().is_some_and(|all| !all.is_empty()) {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let log = shell.run(&["subscription", "delivery", &id(&test)]).ok();
    assert!(log.contains("no connection could be made"), "{log}");
    assert!(shell.run(&["subscription", "deliveries", &own, "--state", "waiting"]).ok().contains(&id(&test)));
    shell.run(&["subscription", "send", &id(&test)]).ok();
    assert!(shell.run(&["subscription", "secret", &own]).ok().contains("whsec_"));
    shell.run(&["subscription", "resume", &own]).ok();
    let wrong = shell.run(&[&add[..], &["--to", "http://hooks.example/"]].concat()).refused(3);
    assert!(wrong.contains("https"), "{wrong}");
    shell.run(&["subscription", "remove", &own]).ok();
    assert!(shell.run(&["subscription", "list"]).ok().contains("No subscriptions."));
    shell.app.stop().await;
}
