//! Calendar feeds: kept with a key, read without one by their address, and read back by a library of another ecosystem.

use super::scenario::{
    Place, all_kinds, component, gauge, id_of, items, place, place_with, property, rain, three,
};
use crate::support::app::{App, Kind, Reply, over_both};
use crate::support::python::read_with;
use serde_json::{Value, json};

over_both! {
    a_feed_is_made_with_an_address_that_is_shown_once;
    a_foreign_library_reads_every_task_of_the_feed;
    a_moved_date_counts_up_and_a_vanished_task_drops_out;
    a_feed_is_of_its_property_and_its_horizon;
    an_unchanged_feed_is_not_sent_again;
    revoked_and_unknown_addresses_lead_nowhere;
    a_feed_goes_with_its_property;
    a_repeated_request_makes_no_second_feed;
    wrong_feeds_are_refused_by_field;
    a_feed_that_has_no_room_says_so;
}

async fn made(app: &App, body: Value) -> (String, String) {
    let made = app.post("/v1/calendars", &body).await;
    (id_of(&made["calendar"]), made["path"].as_str().expect("a path").to_owned())
}

/// A feed as it comes, without a key.
async fn fetch(app: &App, path: &str) -> Reply {
    Reply::of(app.anonymous("GET", path)).await
}

/// A feed as the foreign library reads it: without a complaint.
async fn read(app: &App, path: &str) -> Value {
    let reply = fetch(app, path).await;
    assert_eq!(
        (reply.status, reply.header("content-type")),
        (200, "text/calendar; charset=utf-8"),
        "{}",
        reply.text
    );
    for line in reply.text.split("\r\n") {
        assert!(line.len() <= 75 && !line.contains(['\r', '\n']), "{line:?}");
    }
    let text = reply.text;
    let calendar =
        tokio::task::spawn_blocking(move || read_with("read_calendar.py", &text)).await.expect("reading");
    assert_eq!(calendar["errors"], json!([]));
    for event in events(&calendar) {
        assert_eq!(event["errors"], json!([]));
    }
    calendar
}

fn events(calendar: &Value) -> Vec<Value> {
    calendar["events"].as_array().expect("events").clone()
}

/// The event of a task.
fn event_of(calendar: &Value, task: &Value) -> Option<Value> {
    let uid = format!("{}@eavesward", id_of(task));
    events(calendar).into_iter().find(|event| event["uid"] == json!(uid))
}

async fn a_feed_is_made_with_an_address_that_is_shown_once(app: &App) {
    let reply = app.send("POST", "/v1/calendars", &json!({"name": "Upkeep"})).await;
    let created = reply.expect(201);
    assert_eq!(reply.header("cache-control"), "no-store");
    assert_eq!(reply.header("location"), format!("/v1/calendars/{}", id_of(&created["calendar"])));
    let path = created["path"].as_str().expect("a path");
    assert_eq!(created["url"], format!("{}{path}", app.url));
    let secret =
        path.strip_prefix("/calendars/ewc_").and_then(|rest| rest.strip_suffix(".ics")).expect("a secret");
    // 256 random bits in base64.
    assert_eq!(secret.len(), 43);
    let calendar = &created["calendar"];
    assert_eq!((&calendar["name"], &calendar["horizon_days"]), (&json!("Upkeep"), &json!(400)));
    assert_eq!((&calendar["property_id"], &calendar["last_read_at"]), (&Value::Null, &Value::Null));
    assert_eq!(calendar["created_at"], "2026-03-01T12:00:00Z");
    let hint = calendar["hint"].as_str().expect("a hint");
    assert!(path.contains(hint) && hint.len() == 10, "{hint}");
    let list = Reply::of(app.request("GET", "/v1/calendars")).await;
    assert_eq!(items(&list.expect(200)), std::slice::from_ref(calendar));
    assert!(!list.text.contains(secret) && !list.text.contains(".ics"), "{}", list.text);
    // A second one has another secret.
    assert_ne!(app.post("/v1/calendars", &json!({"name": "Upkeep"})).await["path"], created["path"]);
    // Only those who keep keys make addresses that need none.
    let key = app.post("/v1/keys", &json!({"name": "tablet", "scopes": ["read", "write"]})).await;
    let key = key["secret"].as_str().expect("a secret");
    let request = app.request_as(key, "POST", "/v1/calendars").json(&json!({"name": "Upkeep"}));
    Reply::of(request).await.problem("scope_missing");
    // When it was read is kept to the hour.
    read(app, path).await;
    app.at("2026-03-01T12:30:00Z").await;
    read(app, path).await;
    let last = async || items(&app.get("/v1/calendars").await)[0]["last_read_at"].clone();
    assert_eq!(last().await, "2026-03-01T12:00:00Z");
    app.at("2026-03-01T13:30:00Z").await;
    read(app, path).await;
    assert_eq!(last().await, "2026-03-01T13:30:00Z");
}

async fn a_foreign_library_reads_every_task_of_the_feed(app: &App) {
    let mut grove = property();
    grove["name"] = json!(
        "Grove, \"north\"; half \\ acre — Ωμέγα 果樹園果樹園果樹園果樹園果樹園果樹園果樹園果樹園果樹園"
    );
    let place = place_with(app, &grove, &gauge(), all_kinds()).await;
    rain(app, &place.gauge, "2025-01-01", 424, 1.5).await;
    let own = json!({"lead_days": 21});
    app.put("/v1/duties/clean_screen", 0, &own).await.expect(200);
    app.put("/v1/duties/check_mesh", 0, &json!({"lead_days": 0})).await.expect(200);
    app.refresh().await;
    let (_, path) = made(app, json!({"name": "Grove; all, of it\\", "horizon_days": 3653})).await;
    let calendar = read(app, &path).await;
    assert_eq!((&calendar["version"], &calendar["calscale"]), (&json!("2.0"), &json!("GREGORIAN")));
    assert_eq!(
        (&calendar["name"], &calendar["x-wr-calname"]),
        (&json!("Grove; all, of it\\"), &json!("Grove; all, of it\\"))
    );
    assert_eq!(calendar["refresh-interval"], 6.0 * 3600.0);
    let tasks = place.tasks(app).await;
    // Up to ten years from the latest civil date on earth; a coupling outlasts that.
    let within = |task: &Value| task["due_on"].as_str().is_some_and(|due| due <= "2036-03-02");
    let (dated, others): (Vec<Value>, Vec<Value>) = tasks.into_iter().partition(within);
    assert!(dated.len() > 15 && dated.iter().any(|task| task["state"] == "late"), "{dated:?}");
    assert!(others.iter().any(|task| task["due_on"].is_string()), "{others:?}");
    assert_eq!(events(&calendar).len(), dated.len());
    for task in &dated {
        let event = event_of(&calendar, task).unwrap_or_else(|| panic!("no event of {task}"));
        assert_eq!(event["dtstart"], task["due_on"], "{event}");
        let day: chrono::NaiveDate = task["due_on"].as_str().expect("a day").parse().expect("a day");
        assert_eq!(event["dtend"], json!(day.succ_opt().expect("a day").to_string()));
        assert_eq!(event["kinds"], json!({"dtstart": "DATE", "dtend": "DATE"}));
        assert_eq!(
            (&event["dtstamp"], &event["last-modified"]),
            (&json!("2026-03-01T12:00:00+00:00"), &event["dtstamp"])
        );
        // The loop may have met the system before its rain came in, and moved a date since.
        assert!(event["sequence"].as_u64().is_some_and(|moves| moves <= 1), "{event}");
        assert_eq!(event["transp"], "TRANSPARENT");
        assert_eq!((&event["location"], &event["geo"]), (&grove["name"], &json!([48.0, 0.5])));
        let kind = task["component_kind"].as_str().expect("a kind").replace('_', " ");
        assert_eq!(event["categories"], json!([kind]));
        let text = |field: &str| event[field].as_str().expect("a text").to_owned();
        let told = |value: &Value| value.as_str().expect("a text").to_owned();
        assert!(
            text("summary").contains(&told(&task["component_name"]))
                && text("summary").contains(&told(&task["title"]))
        );
        for caution in task["cautions"].as_array().expect("cautions") {
            assert!(text("description").contains(&told(&caution["text"])), "{caution} is not in {event}");
        }
        for reason in task["reasons"].as_array().expect("reasons") {
            assert!(text("description").contains(&told(&reason["text"])), "{reason} is not in {event}");
        }
        if let Some(likely) = task["window"]["likely_on"].as_str() {
            assert!(text("description").contains(likely), "{likely} is not in {event}");
        }
        let alarm = &event["alarms"][0];
        let lead = match task["duty"].as_str() {
            Some("clean_screen") => -21.0,
            Some("check_mesh") => 0.0,
            _ => -7.0,
        };
        assert_eq!(
            (&alarm["trigger"], &alarm["action"]),
            // At nine in the morning.
            (&json!(lead * 86_400.0 + 9.0 * 3_600.0), &json!("DISPLAY")),
            "{event}"
        );
        assert_eq!(alarm["description"], event["summary"]);
    }
}

/// A vent whose yearly look falls on 10 March 2026.
async fn vent(app: &App) -> Place {
    let mut vent = component("vent", json!({"kind": "vent"}));
    vent["last_served_on"] = json!("2025-03-10");
    place(app, json!([vent])).await
}

async fn a_moved_date_counts_up_and_a_vanished_task_drops_out(app: &App) {
    let place = vent(app).await;
    app.refresh().await;
    let (_, path) = made(app, json!({"name": "Upkeep"})).await;
    let task = place.task(app, "vent", "check_mesh").await;
    let before = event_of(&read(app, &path).await, &task).expect("an event");
    assert_eq!((&before["dtstart"], &before["sequence"]), (&json!("2026-03-10"), &json!(0)));
    // A task that is overdue stays on its day, and nothing of it has moved.
    app.at("2026-03-20T12:00:00Z").await;
    let overdue = event_of(&read(app, &path).await, &task).expect("an event");
    assert_eq!(overdue, before);
    place
        .visit(
            app,
            "2026-03-20",
            json!({"component_id": place.component("vent"), "duty": "check_mesh", "done": true}),
        )
        .await;
    app.refresh().await;
    let after = event_of(&read(app, &path).await, &task).expect("the same event");
    assert_eq!((&after["dtstart"], &after["sequence"]), (&json!("2027-03-20"), &json!(1)));
    assert_eq!(after["last-modified"], "2026-03-20T12:00:00+00:00");
    let retire = format!("/v1/components/{}/retire", place.component("vent"));
    app.send("POST", &retire, &json!({"on": "2026-03-20"})).await.expect(200);
    app.refresh().await;
    let emptied = read(app, &path).await;
    assert_eq!(events(&emptied), Vec::<Value>::new());
    // A calendar without any component would not be one.
    assert_eq!(emptied["others"], json!(["VTIMEZONE"]));
}

/// Three parts that want care now, and a vent that does on 10 March 2026.
fn four() -> Value {
    let mut vent = component("vent", json!({"kind": "vent"}));
    vent["last_served_on"] = json!("2025-03-10");
    let mut parts = three();
    parts.as_array_mut().expect("a list").push(vent);
    parts
}

async fn a_feed_is_of_its_property_and_its_horizon(app: &App) {
    let first = place(app, four()).await;
    let mut terrace = property();
    terrace["name"] = json!("Terrace");
    terrace["latitude_deg"] = json!(-33.25);
    let second = place_with(app, &terrace, &gauge(), four()).await;
    let other = app.other_account().await;
    app.refresh().await;
    let (_, all) = made(app, json!({"name": "All", "horizon_days": 3653})).await;
    let (_, one) =
        made(app, json!({"name": "One", "property_id": second.property, "horizon_days": 3653})).await;
    let (_, near) = made(app, json!({"name": "Near", "horizon_days": 1})).await;
    let (all, one, near) = (read(app, &all).await, read(app, &one).await, read(app, &near).await);
    let places = |calendar: &Value| {
        let mut places: Vec<String> = events(calendar)
            .iter()
            .map(|event| event["location"].as_str().expect("a place").to_owned())
            .collect();
        places.sort();
        places.dedup();
        places
    };
    assert_eq!(
        (places(&all), places(&one)),
        (vec!["School greenhouse".to_owned(), "Terrace".to_owned()], vec!["Terrace".to_owned()])
    );
    assert!(events(&one).iter().all(|event| event["geo"] == json!([-33.25, 0.5])), "{one}");
    assert_eq!(events(&all).len(), 2 * events(&one).len());
    assert!(!events(&near).is_empty() && events(&near).len() < events(&all).len());
    // Up to one day after the latest civil date on earth, which is 2 March.
    assert!(
        events(&near).iter().all(|event| event["dtstart"].as_str().expect("a day") <= "2026-03-03"),
        "{near}"
    );
    assert!(event_of(&all, &first.task(app, "coupling", "check_bands").await).is_some());
    // Another account's feed shows nothing of it.
    let made =
        Reply::of(app.request_as(&other, "POST", "/v1/calendars").json(&json!({"name": "Ours"}))).await;
    let path = made.expect(201)["path"].as_str().expect("a path").to_owned();
    assert_eq!(events(&read(app, &path).await), Vec::<Value>::new());
}

async fn an_unchanged_feed_is_not_sent_again(app: &App) {
    let place = vent(app).await;
    app.refresh().await;
    let (_, path) = made(app, json!({"name": "Upkeep"})).await;
    let full = fetch(app, &path).await;
    let tag = full.header("etag").to_owned();
    assert!(tag.starts_with('"') && tag.ends_with('"'), "{tag}");
    assert_eq!(full.header("cache-control"), "private, no-cache");
    assert_eq!((full.header("referrer-policy"), full.header("x-robots-tag")), ("no-referrer", "noindex"));
    let again = async || Reply::of(app.anonymous("GET", &path).header("If-None-Match", &tag)).await;
    let unchanged = again().await;
    assert_eq!(
        (unchanged.status, unchanged.text.as_str(), unchanged.header("etag")),
        (304, "", tag.as_str())
    );
    // Nor after days on which nothing moved and everything was refreshed.
    app.at("2026-03-05T12:00:00Z").await;
    assert_eq!(again().await.status, 304);
    let head = Reply::of(app.anonymous("HEAD", &path)).await;
    assert_eq!((head.status, head.text.as_str(), head.header("etag")), (200, "", tag.as_str()));
    place
        .visit(
            app,
            "2026-03-05",
            json!({"component_id": place.component("vent"), "duty": "check_mesh", "done": true}),
        )
        .await;
    app.refresh().await;
    let changed = again().await;
    assert_eq!(changed.status, 200);
    assert_ne!(changed.header("etag"), tag);
    let wrong = Reply::of(app.anonymous("POST", &path)).await;
    assert_eq!((wrong.status, wrong.header("allow")), (405, "GET"));
    wrong.problem("method_not_allowed");
    let parameter = Reply::of(app.anonymous("GET", &format!("{path}?key=x"))).await;
    assert_eq!(parameter.fields("malformed_parameter"), ["key"]);
}

async fn revoked_and_unknown_addresses_lead_nowhere(app: &App) {
    let (id, path) = made(app, json!({"name": "Upkeep"})).await;
    read(app, &path).await;
    for _ in 0..2 {
        let gone = Reply::of(app.request("DELETE", &format!("/v1/calendars/{id}"))).await;
        assert_eq!((gone.status, gone.text.as_str()), (204, ""));
    }
    let revoked = fetch(app, &path).await;
    assert_eq!(revoked.status, 404);
    let problem = revoked.problem("not_found");
    // Nobody learns from the answer what the address was, nor whether it ever was one.
    assert_eq!(problem["instance"], "/calendars/(secret)");
    let unknown = fetch(app, "/calendars/ewc_nobody.ics").await.problem("not_found");
    assert_eq!((&problem["detail"], &problem["title"]), (&unknown["detail"], &unknown["title"]));
    let (_, path) = made(app, json!({"name": "Upkeep"})).await;
    let mut cut = path.clone();
    cut.replace_range(cut.len() - 5..cut.len() - 4, "");
    for near in [cut, path.replace(".ics", ""), path.replace(".ics", ".ICS"), path.to_lowercase()] {
        assert_eq!(fetch(app, &near).await.status, 404, "{near}");
    }
    // A secret of a feed is no key, and a key no secret of a feed.
    let secret = path.trim_start_matches("/calendars/").trim_end_matches(".ics");
    Reply::of(app.request_as(secret, "GET", "/v1/tasks")).await.problem("unauthorized");
    assert_eq!(fetch(app, &format!("/calendars/{}.ics", app.key)).await.status, 404);
    let listed = items(&app.get("/v1/calendars").await);
    assert_eq!((listed.len(), &listed[0]["revoked_at"]), (2, &json!("2026-03-01T12:00:00Z")));
    let page = app.walk("/v1/calendars", 1).await;
    assert_eq!(page, listed);
}

async fn a_feed_goes_with_its_property(app: &App) {
    let property = id_of(&app.post("/v1/properties", &property()).await);
    let (_, path) = made(app, json!({"name": "Upkeep", "property_id": property})).await;
    read(app, &path).await;
    let path_of = format!("/v1/properties/{property}");
    assert_eq!(Reply::of(app.request("DELETE", &path_of).header("If-Match", "\"1\"")).await.status, 204);
    assert_eq!(fetch(app, &path).await.status, 404);
    assert_eq!(items(&app.get("/v1/calendars").await), Vec::<Value>::new());
}

async fn a_repeated_request_makes_no_second_feed(app: &App) {
    let ask = async || {
        let request = app.request("POST", "/v1/calendars").header("Idempotency-Key", "wall-1");
        Reply::of(request.json(&json!({"name": "Upkeep"}))).await
    };
    let path = ask().await.expect(201)["path"].as_str().expect("a path").to_owned();
    let again = ask().await;
    assert_eq!(again.status, 409);
    assert!(again.problem("conflict")["detail"].as_str().expect("a detail").contains("revoke"));
    assert!(!again.text.contains("ewc_"), "{}", again.text);
    assert_eq!(items(&app.get("/v1/calendars").await).len(), 1);
    read(app, &path).await;
}

async fn wrong_feeds_are_refused_by_field(app: &App) {
    let nobody = "00000000-0000-4000-8000-000000000000";
    let wrong = json!({"name": " ", "property_id": nobody, "horizon_days": 0});
    let refused = app.send("POST", "/v1/calendars", &wrong).await;
    assert_eq!(
        (refused.status, refused.fields("invalid")),
        (422, vec!["name".to_owned(), "horizon_days".to_owned(), "property_id".to_owned()])
    );
    let far = json!({"name": "Upkeep", "horizon_days": 3654});
    assert_eq!(app.send("POST", "/v1/calendars", &far).await.fields("invalid"), ["horizon_days"]);
    let unknown = json!({"name": "Upkeep", "colour": "blue"});
    assert_eq!(app.send("POST", "/v1/calendars", &unknown).await.fields("malformed_body"), ["colour"]);
    // A property of another account is as unknown as one that never was.
    let other = app.other_account().await;
    let theirs =
        Reply::of(app.request_as(&other, "POST", "/v1/properties").json(&property())).await.expect(201);
    let foreign = json!({"name": "Upkeep", "property_id": id_of(&theirs)});
    assert_eq!(app.send("POST", "/v1/calendars", &foreign).await.fields("invalid"), ["property_id"]);
    assert_eq!(items(&app.get("/v1/calendars").await), Vec::<Value>::new());
}

async fn a_feed_that_has_no_room_says_so(app: &App) {
    // A system of 21 vents, 100 times: a hundred tasks more than there is room for.
    let vents: Vec<Value> =
        (0..21).map(|n| component(&format!("vent {n}"), json!({"kind": "vent"}))).collect();
    let place = place(app, Value::Array(vents.clone())).await;
    for _ in 1..100 {
        let system = super::scenario::system(&place.property, &place.gauge, Value::Array(vents.clone()));
        app.post("/v1/systems", &system).await;
    }
    app.refresh().await;
    let (id, path) = made(app, json!({"name": "Upkeep"})).await;
    let calendar = read(app, &path).await;
    let all = events(&calendar);
    assert_eq!(all.len(), 2_001);
    let note =
        all.iter().find(|event| event["uid"] == json!(format!("{id}.rest@eavesward"))).expect("a note");
    assert!(note["summary"].as_str().expect("a text").contains("100 tasks are missing"), "{note}");
    assert_eq!(note["dtstart"], "2026-01-01");
    // Its count moves without anybody keeping when.
    assert_eq!(note["last-modified"], Value::Null);
    assert_eq!(note["dtstamp"], "2026-03-01T12:00:00+00:00");
}

#[tokio::test]
async fn the_document_and_the_counts_know_the_feed_by_its_pattern_alone() {
    let app =
        App::start_with(Kind::Sqlite, |layer| layer.metrics_bind = Some("127.0.0.1:0".to_owned())).await;
    let (_, path) = made(&app, json!({"name": "Upkeep"})).await;
    read(&app, &path).await;
    let mut counts = String::new();
    // A count is made when the last byte is sent, which may be after it was read here.
    for _ in 0..80 {
        counts = app.metrics().await;
        if counts.contains("/calendars/{token}.ics") {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    assert!(counts.contains("/calendars/{token}.ics") && !counts.contains("ewc_"), "{counts}");
    app.stop().await;
}
