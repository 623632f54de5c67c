//! Rounds by hand: proposed, kept, done, cancelled.

use super::{Shell, id};
use serde_json::Value;

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn tasks_are_put_together_kept_and_done_by_hand() {
    let shell = Shell::start().await;
    shell.run(&["rounds", "propose"]).ok();
    shell.greenhouse();
    shell.app.refresh().await;
    let asked = ["rounds", "propose", "--from", "2026-03-02", "--to", "2026-06-30", "--off", "sat,sun"];
    let proposal = shell.json(&asked);
    let rounds = proposal["rounds"].as_array().expect("rounds");
    assert!(!rounds.is_empty(), "{proposal}");
    let out = shell.run(&asked).ok();
    for part in [
        "Round 1 on ",
        "on any one of",
        "Bring ",
        "Be careful",
        "Cost ",
        "Default figures, set by judgement: ",
    ] {
        assert!(out.contains(part), "{part}: {out}");
    }
    assert!(out.contains("No plan costs less."), "{out}");
    let numbers: Vec<String> = (1..=rounds.len()).map(|number| number.to_string()).collect();
    let ready = format!(
        "eavesward rounds propose --from 2026-03-02 --to 2026-06-30 --off sat,sun --keep {}",
        numbers.join(",")
    );
    assert!(out.contains(&ready), "{ready}: {out}");
    // Keeping names rounds that came out.
    let told = shell.run(&[&asked[..], &["--keep", "99"]].concat()).refused(2);
    assert!(told.contains("no round 99"), "{told}");
    shell.run(&[&asked[..], &["--keep", "1,1"]].concat()).refused(2);
    let kept = shell.json(&[&asked[..], &["--keep", "1"]].concat());
    let round = &kept[0];
    assert_eq!((&round["on"], &round["state"]), (&rounds[0]["on"], &Value::from("planned")));
    let own = id(round);
    let listed = shell.run(&["rounds", "list"]).ok();
    assert!(listed.contains(&own) && listed.contains("School greenhouse"), "{listed}");
    let shown = shell.run(&["rounds", "show", &own]).ok();
    assert!(shown.contains(&format!("eavesward rounds done {own}")), "{shown}");
    let again = shell.run(&asked).ok();
    assert!(again.contains("in planned rounds"), "{again}");
    done(&shell, round);
    let listed = shell.run(&["rounds", "list"]).ok();
    assert!(listed.contains("No rounds found."), "{listed}");
    assert!(shell.run(&["rounds", "list", "--all"]).ok().contains("done"));
    assert!(shell.run(&["rounds", "cancel", &own]).refused(3).contains("reported as done"));
}

fn done(shell: &Shell, round: &Value) {
    let own = id(round);
    let tasks = round["tasks"].as_array().expect("tasks");
    let said = |task: &Value, finding: &str| {
        let text = |field: &str| task[field].as_str().expect("a text").to_owned();
        format!("{}:{}{finding}", text("component_name"), text("duty"))
    };
    let nobody = ["rounds", "done", &own, "--on", "2026-02-28", "--found", "attic:clean-screen=half"];
    assert!(shell.run(&nobody).refused(2).contains("no such task"));
    // The day it is planned for has not come yet.
    shell.run(&["rounds", "done", &own]).refused(3);
    let found = said(&tasks[0], "=nothing");
    let mut args =
        vec!["rounds", "done", &own, "--on", "2026-02-28", "--by", "the upkeep rota", "--found", &found];
    let skips: Vec<String> = tasks[1..].iter().map(|task| said(task, "")).collect();
    for skip in &skips {
        args.extend(["--skip", skip]);
    }
    let out = shell.run(&args).ok();
    assert!(out.contains("was done on 2026-02-28") && out.contains("to seedling house with 1 item"), "{out}");
    let out = shell.run(&["rounds", "done", &own]).ok();
    assert!(out.contains("already reported as done"), "{out}");
    assert_eq!(shell.json(&["visit", "list"]).as_array().map(Vec::len), Some(1));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn a_round_of_ones_own_is_kept_and_cancelled() {
    let shell = Shell::start().await;
    shell.greenhouse();
    shell.app.refresh().await;
    let tasks = shell.json(&["due", "--all"]);
    let task = id(&tasks[0]);
    let round = shell.json(&["rounds", "keep", "--on", "2026-03-05", &task, "--note", "the long ladder"]);
    assert_eq!((&round["on"], &round["note"]), (&Value::from("2026-03-05"), &Value::from("the long ladder")));
    let told = shell.run(&["rounds", "keep", "--on", "2026-03-06", &task]).refused(3);
    assert!(told.contains(&id(&round)), "{told}");
    shell.run(&["rounds", "cancel", &id(&round)]).ok();
    shell.run(&["rounds", "show", &id(&round)]).refused(3);
    let kept = shell.json(&["rounds", "keep", "--on", "2026-03-06", &task]);
    // Another visit does the only task: then there is nothing to bring and nothing to report.
    let text = |field: &str| tasks[0][field].as_str().expect("a text").to_owned();
    let done = format!("{}:{}", text("component_name"), text("duty"));
    let logged = shell.run(&["visit", "log", "seedling house", "--on", "2026-03-01", "--done", &done]).ok();
    assert!(logged.contains(" with 1 item."), "{logged}");
    let shown = shell.run(&["rounds", "show", &id(&kept)]).ok();
    assert!(shown.contains(&format!("  eavesward rounds cancel {}", id(&kept))), "{shown}");
    assert!(!shown.contains("Bring") && !shown.contains("rounds done"), "{shown}");
}
