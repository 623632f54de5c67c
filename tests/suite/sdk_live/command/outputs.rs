//! Digests and calendars by hand, against the service itself.

use super::Shell;
use serde_json::json;

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_digest_and_a_calendar_by_hand() {
    let shell = Shell::start().await;
    assert_eq!(
        shell.run(&["digest"]).ok(),
        "What is due by 2026-03-09\n=========================\nNothing.\n"
    );
    shell.greenhouse();
    shell.app.refresh().await;
    let text = shell.run(&["digest", "--within", "26w"]).ok();
    assert!(text.contains("School greenhouse\n-----------------\n") && text.contains("\nBring\n"), "{text}");
    assert!(text.contains("\n- local codes: "), "{text}");
    let there = shell.run(&["digest", "--within", "26w", "--property", "School greenhouse"]).ok();
    assert_eq!(there, text);
    let digest = shell.json(&["digest", "--within", "26w"]);
    assert_eq!((&digest["totals"]["properties"], &digest["left_out"]), (&json!(1), &json!(0)));
    let said = shell.run(&["digest", "--within", "26w", "--format", "csv", "--output", "week.csv"]).ok();
    assert_eq!(said, "Written to week.csv.\n");
    let table = std::fs::read_to_string(shell.folder.path().join("week.csv")).expect("the file");
    let tasks = table.lines().filter(|line| line.starts_with("task,")).count() as u64;
    assert_eq!(json!(tasks), digest["totals"]["tasks"]);
    let refused = shell.run(&["digest", "--from", "2026-02-01", "--to", "2026-01-01"]).refused(3);
    assert!(refused.contains("from: 2026-02-01 is after 2026-01-01"), "{refused}");

    let made = shell.run(&["calendar", "add", "--name", "Upkeep", "--property", "School greenhouse"]).ok();
    let address =
        made.split_whitespace().find(|word| word.contains("/calendars/ewc_")).expect("an address").to_owned();
    let path = address.strip_prefix(&shell.app.url).expect("below the base URL").to_owned();
    let feed = shell.app.anonymous("GET", &path).send().await.expect("an answer");
    assert_eq!(feed.status().as_u16(), 200);
    assert!(feed.text().await.expect("a text").contains("LOCATION:School greenhouse\r\n"));
    let list = shell.run(&["calendar", "list"]).ok();
    assert!(
        list.contains("Upkeep") && list.contains("2026-03-01T12:00:00+00:00") && !list.contains(".ics"),
        "{list}"
    );
    let id = shell.json(&["calendar", "list"])[0]["id"].as_str().expect("an id").to_owned();
    shell.run(&["calendar", "revoke", &id]).ok();
    assert_eq!(shell.app.anonymous("GET", &path).send().await.expect("an answer").status().as_u16(), 404);
    let unknown = "00000000-0000-4000-8000-000000000000";
    let refused = shell.run(&["calendar", "revoke", unknown]).refused(3);
    assert!(refused.contains("no calendar"), "{refused}");
    shell.app.stop().await;
}
