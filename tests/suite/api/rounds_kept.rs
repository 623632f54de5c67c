//! Rounds that are kept: planned, cancelled, done.

use super::rounds::{due_in_march, march, rounds, tasks};
use super::scenario::{Place, gauge, id_of, items, place, place_with, property, system, texts};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    a_kept_round_is_shown_listed_and_not_proposed_again;
    a_round_that_is_done_logs_one_visit_a_system;
    doing_a_round_twice_gives_the_same_visits;
    a_round_that_nobody_closed_hides_nothing;
    what_a_visit_did_is_not_logged_again;
    what_a_visit_did_not_do_after_all_is_still_to_be_done;
    a_round_kept_after_a_visit_does_again_what_it_did;
    what_was_found_and_skipped_is_said_task_by_task;
    wrong_reports_are_refused_and_log_nothing;
    a_part_that_was_taken_out_is_skipped;
    a_planned_round_is_cancelled_under_its_version;
    wrong_rounds_are_refused;
}

async fn march_place(app: &App) -> Place {
    let place = place(app, due_in_march()).await;
    app.refresh().await;
    place
}

/// Keeps the only round of March; the round and the ids of its tasks.
async fn kept(app: &App) -> (Value, Vec<String>) {
    let proposal = march(app, "").await;
    let ids = texts(&tasks(&rounds(&proposal)[0]), "task_id");
    let round = app
        .post("/v1/rounds", &json!({"on": "2026-03-10", "task_ids": ids, "note": "bring the long ladder"}))
        .await;
    (round, ids)
}

async fn done(app: &App, round: &Value, report: &Value) -> Reply {
    app.send("POST", &format!("/v1/rounds/{}/done", id_of(round)), report).await
}

async fn a_kept_round_is_shown_listed_and_not_proposed_again(app: &App) {
    march_place(app).await;
    let (round, ids) = kept(app).await;
    assert_eq!(
        (&round["state"], &round["on"], &round["version"]),
        (&json!("planned"), &json!("2026-03-10"), &json!(1))
    );
    assert_eq!(texts(&tasks(&round), "component_name"), ["drain cock", "level gauge", "vent"]);
    assert_eq!((&round["minutes"], &round["note"]), (&json!(30), &json!("bring the long ladder")));
    let hazards = texts(round["cautions"].as_array().expect("cautions"), "hazard");
    assert_eq!(hazards.last().map(String::as_str), Some("local_codes"));
    assert!(round["bring"].as_array().expect("things").contains(&json!("dip tape")));
    let own = format!("/v1/rounds/{}", id_of(&round));
    let read = Reply::of(app.request("GET", &own)).await;
    assert_eq!(read.expect(200), round);
    assert!(read.header("etag").starts_with("\"1."), "{}", read.header("etag"));
    assert_eq!(items(&app.get("/v1/rounds").await), std::slice::from_ref(&round));
    for (query, number) in [
        ("state=planned", 1),
        ("state=done", 0),
        ("from=2026-03-10&to=2026-03-10", 1),
        ("from=2026-03-11", 0),
        ("to=2026-03-09", 0),
    ] {
        assert_eq!(items(&app.get(&format!("/v1/rounds?{query}")).await).len(), number, "{query}");
    }
    let again = march(app, "").await;
    assert_eq!((rounds(&again).len(), &again["already_planned"]), (0, &json!(3)));
    let all = march(app, "&include_planned=true").await;
    assert_eq!(texts(&tasks(&rounds(&all)[0]), "task_id"), ids);
    // The same request under a key keeps one round.
    let path = "/v1/rounds";
    app.request("DELETE", &own).header("If-Match", "\"1\"").send().await.expect("an answer");
    let body = json!({"on": "2026-03-10", "task_ids": ids});
    let send = async || Reply::of(app.request("POST", path).header("Idempotency-Key", "r").json(&body)).await;
    let first = send().await;
    assert_eq!(first.header("location"), format!("/v1/rounds/{}", id_of(&first.expect(201))));
    assert_eq!(send().await.expect(201), first.expect(201));
    assert_eq!(app.walk("/v1/rounds", 1).await.len(), 1);
}

async fn a_round_that_is_done_logs_one_visit_a_system(app: &App) {
    let first = march_place(app).await;
    let mut shed = system(&first.property, &first.gauge, due_in_march());
    shed["name"] = json!("orchard shed");
    let second = id_of(&app.post("/v1/systems", &shed).await);
    app.refresh().await;
    let (round, _) = kept(app).await;
    assert_eq!(tasks(&round).len(), 6);
    app.at("2026-03-10T12:00:00Z").await;
    let report = json!({"visited_by": "the upkeep rota", "note": "a dry day"});
    let reply = done(app, &round, &report).await;
    let answer = reply.expect(200);
    let visits = answer["visits"].as_array().expect("visits");
    let mut systems = texts(visits, "system_id");
    systems.sort();
    let mut both = [first.system_id().to_owned(), second];
    both.sort();
    assert_eq!(systems, both);
    for visit in visits {
        assert_eq!(visit["items"].as_array().map(Vec::len), Some(3));
        assert_eq!(
            (&visit["visited_on"], &visit["visited_by"]),
            (&json!("2026-03-10"), &json!("the upkeep rota"))
        );
        assert_eq!((&visit["note"], &visit["version"]), (&json!("a dry day"), &json!(1)));
        assert_eq!(&app.get(&format!("/v1/visits/{}", id_of(visit))).await, visit);
    }
    let round = &answer["round"];
    assert_eq!(
        (&round["state"], &round["done_on"], &round["version"]),
        (&json!("done"), &json!("2026-03-10"), &json!(2))
    );
    assert_eq!(reply.header("etag"), "\"2\"");
    assert!(tasks(round).iter().all(|task| task["visit_id"].is_string() && task["skipped"] == false));
    // What was done falls due a year later.
    app.refresh().await;
    assert_eq!(first.task(app, "drain cock", "work_valve").await["due_on"], "2027-03-10");
    let after = app.get("/v1/rounds/proposal?from=2026-03-10&to=2026-04-10").await;
    assert_eq!((rounds(&after).len(), &after["already_planned"]), (0, &json!(0)));
}

async fn doing_a_round_twice_gives_the_same_visits(app: &App) {
    march_place(app).await;
    let (round, _) = kept(app).await;
    app.at("2026-03-12T12:00:00Z").await;
    let first = done(app, &round, &json!({"visited_on": "2026-03-11"})).await.expect(200);
    app.clock.set("2026-03-13T12:00:00Z".parse().expect("an instant"));
    assert_eq!(first["reported_before"], false);
    // The same report, and none at all: it was done already.
    for report in [json!({"visited_on": "2026-03-11"}), json!({})] {
        let again = done(app, &round, &report).await.expect(200);
        assert_eq!((&again["round"], &again["visits"]), (&first["round"], &first["visits"]));
        assert_eq!(again["reported_before"], true);
    }
    // Another one is not lost in silence: it is told which visit to correct.
    let task = &tasks(&round)[0]["task_id"];
    for report in [
        json!({"visited_on": "2026-03-12"}),
        json!({"visited_on": "2026-03-11", "visited_by": "somebody else"}),
        json!({"visited_on": "2026-03-11", "items": [{"task_id": task, "note": "it was stiff"}]}),
        json!({"visited_on": "2026-03-11", "skipped": [{"task_id": task}]}),
    ] {
        let refused = done(app, &round, &report).await;
        let problem = refused.problem("conflict");
        let detail = problem["detail"].as_str().expect("a detail");
        assert!(detail.contains(&id_of(&first["visits"][0])), "{report}: {detail}");
    }
    assert_eq!(app.walk("/v1/visits", 100).await.len(), 1);
    // Many at once make one visit as well.
    let screen = json!({"on": "2026-03-12", "task_ids": [app.walk("/v1/tasks", 100).await[0]["id"]]});
    let other = app.post("/v1/rounds", &screen).await;
    let report = json!({"visited_on": "2026-03-12"});
    let (one, two) = tokio::join!(done(app, &other, &report), done(app, &other, &report));
    let (one, two) = (one.expect(200), two.expect(200));
    assert_eq!((&one["round"], &one["visits"]), (&two["round"], &two["visits"]));
    assert_ne!(one["reported_before"], two["reported_before"]);
    assert_eq!(app.walk("/v1/visits", 100).await.len(), 2);
    // Under a key the answer is given as it was.
    let path = format!("/v1/rounds/{}/done", id_of(&other));
    let keyed =
        async || Reply::of(app.request("POST", &path).header("Idempotency-Key", "d").json(&report)).await;
    assert_eq!(keyed().await.text, keyed().await.text);
}

async fn a_round_that_nobody_closed_hides_nothing(app: &App) {
    let mut property = property();
    property["time_zone"] = json!("Asia/Tokyo");
    place_with(app, &property, &gauge(), due_in_march()).await;
    app.refresh().await;
    let (round, ids) = kept(app).await;
    // Its day is the tenth, which ends there at 15 o'clock of UTC.
    app.at("2026-03-10T14:59:00Z").await;
    let asked = "/v1/rounds/proposal?from=2026-03-10&to=2026-04-06";
    let found = app.get(asked).await;
    assert_eq!((&found["already_planned"], &found["overdue_rounds"]), (&json!(3), &json!([])));
    app.at("2026-03-10T15:01:00Z").await;
    let found = app.get(asked).await;
    assert_eq!((texts(&tasks(&rounds(&found)[0]), "task_id"), &found["already_planned"]), (ids, &json!(0)));
    let [overdue] = found["overdue_rounds"].as_array().expect("rounds").as_slice() else {
        panic!("one round: {found}")
    };
    assert_eq!(
        (&overdue["id"], &overdue["on"], &overdue["tasks"]),
        (&round["id"], &json!("2026-03-10"), &json!(3))
    );
    let way_out = overdue["advice"]["text"].as_str().expect("a way out");
    assert!(way_out.contains("report it") && way_out.contains("call it off"), "{way_out}");
    done(app, &round, &json!({})).await.expect(200);
    assert_eq!(app.get(asked).await["overdue_rounds"], json!([]));
}

async fn what_a_visit_did_is_not_logged_again(app: &App) {
    let place = march_place(app).await;
    let (round, _) = kept(app).await;
    app.at("2026-03-10T12:00:00Z").await;
    let vent = json!({"component_id": place.component("vent"), "duty": "check_mesh", "done": true});
    let visit = place.visit(app, "2026-03-09", vent).await;
    let own = format!("/v1/rounds/{}", id_of(&round));
    let of = |round: &Value, name: &str| {
        tasks(round).into_iter().find(|task| task["component_name"] == name).expect("it")
    };
    let read = app.get(&own).await;
    assert_eq!((&read["state"], &read["minutes"]), (&json!("planned"), &json!(20)));
    let closed = of(&read, "vent");
    assert_eq!((&closed["visit_id"], &closed["done_elsewhere"]), (&visit["id"], &json!(true)));
    // What was found then stands in that visit.
    let report = json!({"items": [{"task_id": closed["task_id"], "finding": {"found": "nothing"}}]});
    assert_eq!(done(app, &round, &report).await.fields("invalid"), ["items[0].task_id"]);
    let answer = done(app, &round, &json!({})).await.expect(200);
    let [logged] = answer["visits"].as_array().expect("visits").as_slice() else { panic!("one: {answer}") };
    assert_eq!(logged["items"].as_array().map(Vec::len), Some(2));
    assert_eq!(of(&answer["round"], "vent")["visit_id"], visit["id"]);
    assert_eq!(of(&answer["round"], "drain cock")["done_elsewhere"], false);
    assert_eq!(app.walk("/v1/visits", 100).await.len(), 2);
    // A round of which nothing is left is cancelled.
    app.refresh().await;
    let tasks = app.walk("/v1/tasks", 100).await;
    let pump = tasks.iter().find(|task| task["component_name"] == "pump").expect("the pump");
    let body = json!({"on": "2026-03-10", "task_ids": [pump["id"]]});
    let other = app.post("/v1/rounds", &body).await;
    let pump = json!({"component_id": place.component("pump"), "duty": pump["duty"], "done": true});
    place.visit(app, "2026-03-10", pump).await;
    let refused = done(app, &other, &json!({})).await;
    assert!(refused.problem("conflict")["detail"].as_str().expect("why").contains("call the round off"));
}

async fn what_a_visit_did_not_do_after_all_is_still_to_be_done(app: &App) {
    let place = march_place(app).await;
    let (round, _) = kept(app).await;
    app.at("2026-03-10T12:00:00Z").await;
    let item =
        |name: &str, duty: &str| json!({"component_id": place.component(name), "duty": duty, "done": true});
    let (vent, cock) = (item("vent", "check_mesh"), item("drain cock", "work_valve"));
    let visit = place.visit(app, "2026-03-09", vent.clone()).await;
    let own = format!("/v1/rounds/{}", id_of(&round));
    let elsewhere = async || {
        let read = app.get(&own).await;
        let tasks = tasks(&read).into_iter().filter(|task| task["done_elsewhere"] == true);
        tasks.map(|task| task["component_name"].clone()).collect::<Vec<_>>()
    };
    assert_eq!(elsewhere().await, ["vent"]);
    // It was the drain cock, too; then it was the drain cock alone.
    let corrected =
        |items: Value| json!({"system_id": place.system_id(), "visited_on": "2026-03-09", "items": items});
    let path = format!("/v1/visits/{}", id_of(&visit));
    app.put(&path, 1, &corrected(json!([vent, cock]))).await.expect(200);
    assert_eq!(elsewhere().await, ["drain cock", "vent"]);
    app.put(&path, 2, &corrected(json!([cock]))).await.expect(200);
    assert_eq!(elsewhere().await, ["drain cock"]);
    // And it was next door.
    let withdraw = json!({"because": "it was next door"});
    Reply::of(app.request("POST", &format!("{path}/withdraw")).json(&withdraw)).await.expect(200);
    assert_eq!(elsewhere().await, Vec::<Value>::new());
    let answer = done(app, &round, &json!({})).await.expect(200);
    let [logged] = answer["visits"].as_array().expect("visits").as_slice() else { panic!("one: {answer}") };
    assert_eq!(logged["items"].as_array().map(Vec::len), Some(3), "{answer}");
}

async fn a_round_kept_after_a_visit_does_again_what_it_did(app: &App) {
    let place = march_place(app).await;
    let vent = json!({"component_id": place.component("vent"), "duty": "check_mesh", "done": true});
    let visit = place.visit(app, "2026-03-01", vent.clone()).await;
    app.refresh().await;
    let tasks = app.walk("/v1/tasks", 100).await;
    let task = tasks.iter().find(|task| task["component_name"] == "vent").expect("the vent");
    let round = app.post("/v1/rounds", &json!({"on": "2026-03-10", "task_ids": [task["id"]]})).await;
    app.at("2026-03-10T12:00:00Z").await;
    let body = json!({"system_id": place.system_id(), "visited_on": "2026-03-01", "items": [vent],
        "note": "the mesh is torn at a corner"});
    app.put(&format!("/v1/visits/{}", id_of(&visit)), 1, &body).await.expect(200);
    let answer = done(app, &round, &json!({})).await.expect(200);
    assert_eq!(texts(answer["visits"][0]["items"].as_array().expect("items"), "duty"), ["check_mesh"]);
}

async fn what_was_found_and_skipped_is_said_task_by_task(app: &App) {
    let place = march_place(app).await;
    let (round, _) = kept(app).await;
    app.at("2026-03-10T12:00:00Z").await;
    let id = |name: &str| {
        tasks(&round).iter().find(|task| task["component_name"] == name).expect("it")["task_id"].clone()
    };
    let report = json!({
        "items": [
            {"task_id": id("vent"), "finding": {"found": "nothing"}, "note": "a clean mesh"},
            {"task_id": id("level gauge"), "done": false, "finding": {"found": "blocked"}},
        ],
        "skipped": [{"task_id": id("drain cock"), "because": "the shed was locked"}],
    });
    let answer = done(app, &round, &report).await.expect(200);
    let [visit] = answer["visits"].as_array().expect("visits").as_slice() else {
        panic!("one visit: {answer}")
    };
    let seen = visit["items"].as_array().expect("items");
    assert_eq!(seen.len(), 2);
    let of = |name: &str| seen.iter().find(|item| item["component_id"] == place.component(name)).expect("it");
    assert_eq!((&of("vent")["done"], &of("vent")["note"]), (&json!(true), &json!("a clean mesh")));
    assert_eq!(
        (&of("level gauge")["done"], &of("level gauge")["finding"]["found"]),
        (&json!(false), &json!("blocked"))
    );
    let became = tasks(&answer["round"]);
    let cock = became.iter().find(|task| task["component_name"] == "drain cock").expect("the cock");
    assert_eq!((&cock["skipped"], &cock["skipped_because"]), (&json!(true), &json!("the shed was locked")));
    assert_eq!(cock["visit_id"], Value::Null);
    // What was skipped and what was only looked at is proposed again.
    app.refresh().await;
    let after = app.get("/v1/rounds/proposal?from=2026-03-11&to=2026-03-29").await;
    assert_eq!(texts(&tasks(&rounds(&after)[0]), "component_name"), ["drain cock", "level gauge"]);
}

async fn wrong_reports_are_refused_and_log_nothing(app: &App) {
    march_place(app).await;
    let (round, ids) = kept(app).await;
    let nobody = "00000000-0000-4000-8000-000000000000";
    let all: Vec<Value> = ids.iter().map(|id| json!({"task_id": id})).collect();
    for (report, fields) in [
        // The tenth of March has not come yet.
        (json!({}), vec!["visited_on"]),
        (json!({"visited_on": "2026-03-02"}), vec!["visited_on"]),
        (json!({"visited_on": "2026-02-20", "items": [{"task_id": nobody}]}), vec!["items[0].task_id"]),
        (json!({"visited_on": "2026-02-20", "skipped": [{"task_id": nobody}]}), vec!["skipped[0].task_id"]),
        (
            json!({"visited_on": "2026-02-20", "items": [{"task_id": ids[0]}], "skipped": [{"task_id": ids[0]}]}),
            vec!["skipped[0].task_id"],
        ),
        (json!({"visited_on": "2026-02-20", "skipped": all}), vec!["skipped"]),
        (
            json!({"visited_on": "2026-02-20", "items": [{"task_id": ids[0], "done": false}]}),
            vec!["items[0].finding"],
        ),
        (
            json!({"visited_on": "2026-02-20", "items": [{"task_id": ids[1]},
                {"task_id": ids[0], "finding": {"found": "depth", "depth_mm": 3.0}}]}),
            vec!["items[1].finding.found"],
        ),
        // Before the parts were there at all.
        (json!({"visited_on": "2024-12-31"}), vec!["items"; 3]),
        (
            json!({"visited_on": "2026-02-20", "skipped": [{"task_id": ids[0], "because": "\u{0}"}]}),
            vec!["skipped[0].because"],
        ),
    ] {
        let reply = done(app, &round, &report).await;
        assert_eq!(
            (reply.status, reply.fields("invalid")),
            (422, fields.iter().map(ToString::to_string).collect()),
            "{report}"
        );
    }
    assert_eq!(done(app, &round, &json!({"findings": []})).await.status, 400);
    assert_eq!(app.walk("/v1/visits", 100).await.len(), 0);
    assert_eq!(app.get(&format!("/v1/rounds/{}", id_of(&round))).await, round);
}

async fn a_part_that_was_taken_out_is_skipped(app: &App) {
    let place = march_place(app).await;
    let (round, _) = kept(app).await;
    let vent = place.component("vent");
    app.send("POST", &format!("/v1/components/{vent}/retire"), &json!({"on": "2026-02-25"}))
        .await
        .expect(200);
    app.at("2026-03-10T12:00:00Z").await;
    let refused = done(app, &round, &json!({})).await;
    let problem = refused.problem("invalid");
    assert_eq!(refused.fields("invalid"), ["items"]);
    let message = problem["errors"][0]["message"].as_str().expect("a message");
    assert!(message.contains("taken out") && message.contains("skip it"), "{message}");
    let task = tasks(&round).iter().find(|task| task["component_id"] == vent).expect("it")["task_id"].clone();
    let answer = done(app, &round, &json!({"skipped": [{"task_id": task}]})).await.expect(200);
    assert_eq!(answer["visits"][0]["items"].as_array().map(Vec::len), Some(2));
}

async fn a_planned_round_is_cancelled_under_its_version(app: &App) {
    march_place(app).await;
    let (round, _) = kept(app).await;
    let own = format!("/v1/rounds/{}", id_of(&round));
    let remove =
        async |version: &str| Reply::of(app.request("DELETE", &own).header("If-Match", version)).await;
    Reply::of(app.request("DELETE", &own)).await.problem("version_required");
    remove("\"2\"").await.problem("version_mismatch");
    let tag = Reply::of(app.request("GET", &own)).await.header("etag").to_owned();
    assert_eq!(remove(&tag).await.status, 204);
    assert_eq!(remove("\"1\"").await.status, 404);
    assert_eq!(Reply::of(app.request("GET", &own)).await.status, 404);
    assert_eq!(rounds(&march(app, "").await).len(), 1, "its tasks are proposed again");
    let (round, _) = kept(app).await;
    app.at("2026-03-10T12:00:00Z").await;
    done(app, &round, &json!({})).await.expect(200);
    let own = format!("/v1/rounds/{}", id_of(&round));
    let reply = Reply::of(app.request("DELETE", &own).header("If-Match", "\"2\"")).await;
    assert_eq!(reply.status, 409);
    reply.problem("conflict");
}

async fn wrong_rounds_are_refused(app: &App) {
    march_place(app).await;
    let (round, ids) = kept(app).await;
    let nobody = "00000000-0000-4000-8000-000000000000";
    for (body, fields) in [
        (json!({"on": "2026-03-10", "task_ids": []}), &["task_ids"][..]),
        (json!({"on": "2026-03-10", "task_ids": [nobody]}), &["task_ids[0]"]),
        (json!({"on": "2026-03-10", "task_ids": [ids[0], ids[0]]}), &["task_ids[1]"]),
        (json!({"on": "1066-10-14", "task_ids": ids}), &["on"]),
        (json!({"on": "2027-03-10", "task_ids": ids}), &["on"]),
        (json!({"on": "2026-03-10", "task_ids": vec![nobody; 501]}), &["task_ids"]),
        (json!({"on": "2026-03-10", "task_ids": ids, "note": "\u{7}"}), &["note"]),
    ] {
        let reply = app.send("POST", "/v1/rounds", &body).await;
        assert_eq!(reply.status, 422, "{}", reply.text);
        assert!(
            reply.fields("invalid").iter().any(|field| fields.contains(&field.as_str())),
            "{}",
            reply.text
        );
    }
    assert_eq!(app.send("POST", "/v1/rounds", &json!({"on": "2026-03-10", "tasks": ids})).await.status, 400);
    let taken = app.send("POST", "/v1/rounds", &json!({"on": "2026-03-11", "task_ids": [ids[0]]})).await;
    let problem = taken.problem("conflict");
    assert!(problem["detail"].as_str().expect("a detail").contains(&id_of(&round)), "{problem}");
    let unknown = Reply::of(app.request("GET", "/v1/rounds?state=unknown")).await;
    assert_eq!((unknown.status, unknown.fields("invalid")), (422, vec!["state".to_owned()]));
    for query in ["state=cancelled", "limit=0", "limit=51", "cursor=x", "day=1"] {
        let reply = Reply::of(app.request("GET", &format!("/v1/rounds?{query}"))).await;
        assert!(reply.status == 400 || reply.status == 422, "{query}: {}", reply.text);
    }
    let crossed = Reply::of(app.request("GET", "/v1/rounds?from=2026-03-02&to=2026-03-01")).await;
    assert_eq!(crossed.fields("invalid"), ["from"]);
}
