//! Reminders: the feed as a reader pulls it.

use super::scenario::{
    Place, component, gauge, id_of, items, place, place_with, property, rain, system, texts,
};
use crate::support::app::{App, Reply, over_both};
use eavesward_service::domain::base::clock::Clock as _;
use eavesward_service::domain::base::ids::AccountId;
use eavesward_service::domain::context::Context;
use eavesward_service::domain::model::reminder::ReminderFilter;
use eavesward_service::domain::ports::store::Store as _;
use eavesward_service::domain::use_cases::reminders::pull as pull_from;
use eavesward_service::storage::{ConnectOptions, Database};
use serde_json::{Value, json};
use std::time::{Duration, Instant};

over_both! {
    a_pull_tells_what_is_due_and_goes_on_from_its_cursor;
    a_visit_is_told_of_and_a_withdrawn_one_takes_it_back;
    rain_that_moves_a_date_is_told_of_with_both_dates;
    a_lead_time_of_the_accounts_own_counts;
    whoever_waits_is_woken_by_news;
    whoever_waits_for_nothing_is_let_go;
    an_expired_cursor_says_how_to_begin_anew;
    a_cursor_of_before_a_restored_backup_says_how_to_begin_anew;
    wrong_parameters_are_named;
    a_retired_part_is_withdrawn;
    a_retired_system_says_why_its_tasks_are_gone;
    a_visit_of_another_day_is_not_done_twice;
    what_is_mended_in_a_history_is_not_news;
    a_day_that_begins_again_is_told_of_once;
    a_part_of_a_day_that_begins_again_is_told_of_once;
    a_part_that_went_on_a_day_that_begins_again_is_withdrawn_once;
    a_part_that_was_replaced_on_a_visit_is_done_once;
    a_filtered_reader_gets_to_the_end;
}

/// A place whose screen was served on 1 January 2026 and is due by its ceiling on 1 April.
async fn screen_only(app: &App) -> Place {
    let mut screen = component("screen", json!({"kind": "debris_screen", "area_m2": 0.2}));
    screen["last_served_on"] = json!("2026-01-01");
    place(app, json!([screen])).await
}

async fn pull(app: &App, query: &str) -> Value {
    app.get(&format!("/v1/reminders?{query}")).await
}

fn cursor(feed: &Value) -> String {
    feed["cursor"].as_str().expect("a cursor").to_owned()
}

async fn a_pull_tells_what_is_due_and_goes_on_from_its_cursor(app: &App) {
    let empty = pull(app, "").await;
    assert_eq!((items(&empty).len(), &empty["behind"]), (0, &json!(0)));
    let place = screen_only(app).await;
    app.refresh().await;
    let start = cursor(&empty);
    let none = pull(app, &format!("after={start}")).await;
    assert_eq!(items(&none).len(), 0, "a month ahead is too far");
    app.at("2026-03-25T12:00:00Z").await;
    app.refresh().await;
    let coming = pull(app, &format!("after={}", cursor(&none))).await;
    let entry = &items(&coming)[0];
    assert_eq!(entry["kind"], "coming");
    assert_eq!(entry["covers"], json!(["coming"]));
    assert_eq!((&entry["due_on"], &entry["as_of"]), (&json!("2026-04-01"), &json!("2026-03-25")));
    assert_eq!(entry["title"], "clean the debris screen");
    assert_eq!(entry["system_id"], place.system_id());
    assert_eq!(entry["raised_at"], "2026-03-25T12:00:00Z");
    assert_eq!(entry["decided_by"], "longest_interval");
    assert!(entry["moved"].is_null() && entry["done_on"].is_null());
    for list in ["cautions", "reasons", "bring"] {
        assert!(!entry[list].as_array().expect(list).is_empty(), "{list}");
    }
    let task = app.get(&format!("/v1/tasks/{}", entry["task_id"].as_str().expect("an id"))).await;
    assert_eq!(task["due_on"], entry["due_on"]);
    // Three weeks later all at once.
    app.at("2026-04-20T12:00:00Z").await;
    let late = pull(app, &format!("after={}", cursor(&coming))).await;
    assert_eq!(texts(&items(&late), "kind"), ["late"]);
    assert_eq!(items(&late)[0]["covers"], json!(["due", "late"]));
    let due = pull(app, &format!("after={start}&kind=due")).await;
    assert_eq!(items(&due), items(&late), "what runs late fell due");
    // From the beginning, entry by entry, and each entry's own cursor goes on behind it.
    let one = pull(app, "limit=1").await;
    assert_eq!((items(&one)[0].clone(), &one["behind"]), (entry.clone(), &json!(1)));
    let rest = pull(app, &format!("after={}", entry["cursor"].as_str().expect("a cursor"))).await;
    assert_eq!(items(&rest), items(&late));
    assert_eq!(rest["behind"], 0);
    assert_eq!(items(&pull(app, "after=now").await).len(), 0);
    assert_eq!(cursor(&pull(app, "after=now").await), cursor(&late));
    let tag = Reply::of(app.request("GET", "/v1/reminders")).await.header("etag").to_owned();
    let again = Reply::of(app.request("GET", "/v1/reminders").header("If-None-Match", tag)).await;
    assert_eq!(again.status, 304);
}

async fn a_visit_is_told_of_and_a_withdrawn_one_takes_it_back(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-04-02T12:00:00Z").await;
    let screen = place.component("screen");
    let item = json!({"component_id": screen, "duty": "clean_screen", "done": true});
    let visit = place.visit(app, "2026-04-02", item).await;
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["due", "done"]);
    let done = &items(&feed)[1];
    assert_eq!((&done["done_on"], &done["due_on"]), (&json!("2026-04-02"), &json!("2026-07-02")));
    let withdraw = json!({"because": "it was the other screen"});
    Reply::of(app.request("POST", &format!("/v1/visits/{}/withdraw", id_of(&visit))).json(&withdraw))
        .await
        .expect(200);
    app.refresh().await;
    let after = pull(app, &format!("after={}", cursor(&feed))).await;
    assert_eq!(texts(&items(&after), "kind"), ["due"]);
    assert_eq!(items(&after)[0]["due_on"], "2026-04-01");
}

async fn rain_that_moves_a_date_is_told_of_with_both_dates(app: &App) {
    // A chamber emptied by hand that the next rains fill.
    let mut diverter = component(
        "diverter",
        json!({"kind": "first_flush_diverter", "chamber_volume_l": 400.0, "emptying": {"by": "hand"}}),
    );
    diverter["last_served_on"] = json!("2026-02-26");
    let place = place(app, json!([diverter])).await;
    // Two years of 1.5 mm a day, but for the last days: the chamber of 8 mm is full in a week or so.
    rain(app, &place.gauge, "2024-01-01", 787, 1.5).await;
    app.refresh().await;
    let first = pull(app, "").await;
    assert_eq!(texts(&items(&first), "kind"), ["coming"], "{first}");
    let told = items(&first)[0]["due_on"].as_str().expect("a date").to_owned();
    // A dry month follows.
    rain(app, &place.gauge, "2026-02-26", 4, 0.0).await;
    for day in 2..30 {
        rain(app, &place.gauge, &format!("2026-03-{day:02}"), 1, 0.0).await;
        app.at(&format!("2026-03-{:02}T12:00:00Z", day + 1)).await;
    }
    let moved = pull(app, &format!("after={}", cursor(&first))).await;
    let entries = items(&moved);
    let first_move = &entries[0];
    assert_eq!(first_move["kind"], "moved", "{moved}");
    assert_eq!(first_move["moved"]["from_due_on"], told);
    assert_eq!(first_move["moved"]["cause"], "rain");
    assert!(first_move["moved"]["from_window"]["likely_on"].is_string());
    assert!(first_move["due_on"].as_str().expect("a date") > told.as_str());
    assert!(entries.len() <= 8, "told of now and then, not every day: {:?}", texts(&entries, "kind"));
    let last = entries.last().expect("an entry")["due_on"].as_str().expect("a date").to_owned();
    assert!(last.as_str() > "2026-03-26", "a reader knows a date to come: {last}");
}

async fn a_lead_time_of_the_accounts_own_counts(app: &App) {
    screen_only(app).await;
    app.refresh().await;
    assert_eq!(items(&pull(app, "").await).len(), 0);
    let settings = json!({"lead_days": 40, "move_days": 10});
    let set = app.put("/v1/duties/clean_screen", 0, &settings).await.expect(200);
    assert_eq!((&set["lead_days"], &set["default_lead_days"]), (&json!(40), &json!(7)));
    assert_eq!((&set["move_days"], &set["default_move_days"]), (&json!(10), &json!(14)));
    app.refresh().await;
    assert_eq!(texts(&items(&pull(app, "").await), "kind"), ["coming"]);
    let wrong = app.put("/v1/duties/clean_screen", 1, &json!({"lead_days": 366, "move_days": 0})).await;
    assert_eq!(wrong.fields("invalid"), ["lead_days", "move_days"]);
}

async fn whoever_waits_is_woken_by_news(app: &App) {
    screen_only(app).await;
    app.refresh().await;
    let task = app.walk("/v1/tasks", 100).await;
    let feed = pull(app, "after=now").await;
    let account = app.get("/v1/account").await;
    let account = AccountId(id_of(&account).parse().expect("an id"));
    // One that would not look by itself for a minute, and does not wait any longer than half of it.
    let sleeper = Context { poll_interval: Duration::from_mins(1), ..app.cx.clone() };
    let after = cursor(&feed);
    let waiting = async {
        let began = Instant::now();
        let filter = ReminderFilter::default();
        let pulled = pull_from(&sleeper, account, &filter, Some(&after), None, Some(30)).await;
        (pulled.expect("a pull"), began.elapsed())
    };
    let writing = async {
        tokio::time::sleep(Duration::from_millis(300)).await;
        app.at("2026-03-28T12:00:00Z").await;
    };
    let ((pulled, took), ()) = tokio::join!(waiting, writing);
    let told: Vec<_> = pulled.entries.iter().map(|entry| entry.task_id.to_string()).collect();
    assert_eq!(told, [id_of(&task[0])]);
    assert!(took < Duration::from_secs(25), "{took:?}");
}

async fn whoever_waits_for_nothing_is_let_go(app: &App) {
    let began = Instant::now();
    let feed = pull(app, "after=now&wait=1").await;
    assert_eq!(items(&feed).len(), 0);
    assert!(began.elapsed() >= Duration::from_millis(900));
    // A service that shuts down does not wait any longer.
    let stopper = app.stopper();
    let waiting = async {
        let began = Instant::now();
        pull(app, "after=now&wait=30").await;
        began.elapsed()
    };
    let stopping = async {
        tokio::time::sleep(Duration::from_millis(300)).await;
        stopper.stop().await;
    };
    let (took, ()) = tokio::join!(waiting, stopping);
    assert!(took < Duration::from_secs(20), "{took:?}");
}

async fn a_cursor_of_before_a_restored_backup_says_how_to_begin_anew(app: &App) {
    let before = cursor(&pull(app, "").await);
    pull(app, &format!("after={before}")).await;
    let database = Database::connect(&app.database_url, &ConnectOptions::default()).await.expect("it opens");
    assert!(database.note_incarnation(app.clock.now(), true).await.expect("it is written"));
    database.close().await;
    let refused = Reply::of(app.request("GET", &format!("/v1/reminders?after={before}"))).await;
    let problem = refused.problem("cursor_expired");
    assert_eq!(refused.status, 410);
    let detail = problem["detail"].as_str().expect("words");
    assert!(detail.contains("restored from a backup") && detail.contains("after=now"), "{detail}");
    let anew = cursor(&pull(app, "after=now").await);
    assert_ne!(anew, before);
    assert_eq!(items(&pull(app, &format!("after={anew}")).await).len(), 0);
}

async fn an_expired_cursor_says_how_to_begin_anew(app: &App) {
    let start = cursor(&pull(app, "").await);
    screen_only(app).await;
    app.at("2026-04-02T12:00:00Z").await;
    app.at("2026-08-02T12:00:00Z").await;
    eavesward_service::jobs::tidy(&app.cx).await.expect("tidying");
    let expired = Reply::of(app.request("GET", &format!("/v1/reminders?after={start}"))).await;
    let problem = expired.problem("cursor_expired");
    assert_eq!(expired.status, 410);
    let detail = problem["detail"].as_str().expect("a detail");
    assert!(
        detail.contains("90 days") && detail.contains("after=now") && detail.contains("/v1/tasks"),
        "{detail}"
    );
    // The way out that it names, and a reader without a cursor.
    let now = cursor(&pull(app, "after=now").await);
    pull(app, &format!("after={now}")).await;
    assert_eq!(texts(&items(&pull(app, "").await), "kind"), ["late"], "the first one is gone");
}

async fn wrong_parameters_are_named(app: &App) {
    let refused = async |query: &str, code: &str| {
        Reply::of(app.request("GET", &format!("/v1/reminders?{query}"))).await.fields(code)
    };
    assert_eq!(refused("limit=0", "invalid").await, ["limit"]);
    assert_eq!(refused("limit=501", "invalid").await, ["limit"]);
    assert_eq!(refused("wait=31", "invalid").await, ["wait"]);
    assert_eq!(refused("kind=due,later", "invalid").await, ["kind"]);
    assert_eq!(refused("wait=soon", "malformed_parameter").await, ["wait"]);
    assert_eq!(refused("since=1", "malformed_parameter").await, ["since"]);
    Reply::of(app.request("GET", "/v1/reminders?after=nonsense")).await.problem("bad_cursor");
    let own = cursor(&pull(app, "").await);
    let other = app.other_account().await;
    Reply::of(app.request_as(&other, "GET", &format!("/v1/reminders?after={own}")))
        .await
        .problem("bad_cursor");
}

async fn a_retired_part_is_withdrawn(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-03-30T12:00:00Z").await;
    let retire = format!("/v1/components/{}/retire", place.component("screen"));
    let request = app.request("POST", &retire).header("If-Match", "\"1\"");
    Reply::of(request.json(&json!({"on": "2026-03-30"}))).await.expect(200);
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["coming", "withdrawn"]);
    assert!(items(&feed)[1]["due_on"].is_null() && items(&feed)[1]["decided_by"].is_null());
}

async fn a_retired_system_says_why_its_tasks_are_gone(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-03-30T12:00:00Z").await;
    let path = format!("/v1/systems/{}", place.system_id());
    let mut facts = system(&place.property, &place.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["retired_on"] = json!("2026-03-30");
    app.put(&path, 1, &facts).await.expect(200);
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["coming", "withdrawn"]);
    assert_eq!(
        items(&feed)[1]["reasons"],
        json!([{
            "code": "system_retired",
            "text": "The system was taken out of service on 30 March 2026.",
            "figures": [{"name": "on", "value": null, "unit": null, "of": null, "on": "2026-03-30", "text": "30 March 2026"}]
        }])
    );
}

/// The one screen's visit on a day, as it is sent.
fn cleaned(place: &Place, on: &str) -> Value {
    let item = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
    json!({"system_id": place.system_id(), "visited_on": on, "items": [item]})
}

async fn a_visit_of_another_day_is_not_done_twice(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-04-28T12:00:00Z").await;
    let visit = app.post("/v1/visits", &cleaned(&place, "2026-04-02")).await;
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["late", "done"]);
    // A day is let pass, three weeks are not.
    let path = format!("/v1/visits/{}", id_of(&visit));
    for (version, on) in [(1, "2026-04-03"), (2, "2026-04-25"), (3, "2026-04-02")] {
        app.put(&path, version, &cleaned(&place, on)).await.expect(200);
        app.refresh().await;
    }
    let after = pull(app, &format!("after={}", cursor(&feed))).await;
    let moves: Vec<_> = items(&after)
        .iter()
        .map(|entry| (entry["kind"].clone(), entry["due_on"].clone(), entry["moved"]["cause"].clone()))
        .collect();
    assert_eq!(
        moves,
        [("moved", "2026-07-25", "finding"), ("moved", "2026-07-02", "finding")].map(|(kind, due, cause)| (
            json!(kind),
            json!(due),
            json!(cause)
        ))
    );
    // Whoever was told when it comes next is told that it does not.
    let retire = format!("/v1/components/{}/retire", place.component("screen"));
    let request = app.request("POST", &retire).header("If-Match", "\"1\"");
    Reply::of(request.json(&json!({"on": "2026-04-28"}))).await.expect(200);
    app.refresh().await;
    let gone = pull(app, &format!("after={}", cursor(&after))).await;
    assert_eq!(texts(&items(&gone), "kind"), ["withdrawn"]);
    assert_eq!(
        items(&gone)[0]["reasons"],
        json!([{"code": "not_in_service", "text": "The component is not in service.", "figures": []}])
    );
}

async fn what_is_mended_in_a_history_is_not_news(app: &App) {
    let place = screen_only(app).await;
    app.refresh().await;
    let mut facts = component("screen", json!({"kind": "debris_screen", "area_m2": 0.2}));
    let path = format!("/v1/components/{}", place.component("screen"));
    // Served earlier than was thought, and later: nobody knew of the one date, nobody hears of the other.
    for (version, served) in [(1, "2025-12-20"), (2, "2026-02-20")] {
        facts["last_served_on"] = json!(served);
        app.put(&path, version, &facts).await.expect(200);
        app.refresh().await;
    }
    assert_eq!(items(&pull(app, "").await).len(), 0);
}

async fn a_day_that_begins_again_is_told_of_once(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-04-02T12:00:00Z").await;
    app.post("/v1/visits", &cleaned(&place, "2026-04-02")).await;
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["due", "done"]);
    // The clock is set back, and rain comes in before it has caught up.
    app.at("2026-04-01T12:00:00Z").await;
    rain(app, &place.gauge, "2026-03-30", 1, 2.0).await;
    app.refresh().await;
    app.at("2026-04-02T13:00:00Z").await;
    rain(app, &place.gauge, "2026-03-31", 1, 2.0).await;
    app.refresh().await;
    assert_eq!(items(&pull(app, &format!("after={}", cursor(&feed))).await), Vec::<Value>::new());
}

async fn a_part_of_a_day_that_begins_again_is_told_of_once(app: &App) {
    app.put("/v1/duties/clean_screen", 0, &json!({"lead_days": 120})).await.expect(200);
    // At noon in Greenwich it is tomorrow in Auckland, where the screen goes in.
    let mut far = property();
    far["time_zone"] = json!("Pacific/Auckland");
    let mut screen = component("screen", json!({"kind": "debris_screen", "area_m2": 0.2}));
    screen["installed_on"] = json!("2026-03-02");
    let place = place_with(app, &far, &gauge(), json!([screen])).await;
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["coming"]);
    let tasks_now = async || {
        let tasks = app.walk("/v1/tasks", 100).await;
        tasks.iter().map(id_of).collect::<Vec<_>>()
    };
    let tasks = tasks_now().await;
    // It was in London after all: there it has not gone in yet.
    app.put(&format!("/v1/properties/{}", place.property), 1, &property()).await.expect(200);
    app.refresh().await;
    assert_eq!(tasks_now().await, Vec::<String>::new());
    app.at("2026-03-02T12:00:00Z").await;
    assert_eq!(tasks_now().await, tasks);
    assert_eq!(items(&pull(app, &format!("after={}", cursor(&feed))).await), Vec::<Value>::new());
}

async fn a_part_that_went_on_a_day_that_begins_again_is_withdrawn_once(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-04-10T12:00:00Z").await;
    let retire = format!("/v1/components/{}/retire", place.component("screen"));
    let request = app.request("POST", &retire).header("If-Match", "\"1\"");
    Reply::of(request.json(&json!({"on": "2026-04-10"}))).await.expect(200);
    app.refresh().await;
    let feed = pull(app, "").await;
    assert_eq!(texts(&items(&feed), "kind"), ["due", "withdrawn"]);
    for (instant, rained) in [("2026-04-09T12:00:00Z", "2026-04-01"), ("2026-04-10T13:00:00Z", "2026-04-02")]
    {
        app.at(instant).await;
        rain(app, &place.gauge, rained, 1, 2.0).await;
        app.refresh().await;
    }
    assert_eq!(items(&pull(app, &format!("after={}", cursor(&feed))).await), Vec::<Value>::new());
}

async fn a_part_that_was_replaced_on_a_visit_is_done_once(app: &App) {
    let coupling = json!({"kind": "coupling", "material": "natural_or_sbr"});
    let mut old = component("coupling", coupling.clone());
    old["installed_on"] = json!("2014-01-01");
    let place = place(app, json!([old])).await;
    app.refresh().await;
    let before = pull(app, "after=now").await;
    let item = json!({"component_id": place.component("coupling"), "duty": "replace_coupling", "done": true});
    place.visit(app, "2026-03-01", item).await;
    app.refresh().await;
    let new = json!({"on": "2026-03-01", "part": coupling});
    app.post(&format!("/v1/components/{}/replace", place.component("coupling")), &new).await;
    app.refresh().await;
    let feed = pull(app, &format!("after={}", cursor(&before))).await;
    let of = |entry: &&Value| entry["duty"] == "replace_coupling";
    let told: Vec<_> = items(&feed).iter().filter(of).map(|entry| entry["kind"].clone()).collect();
    assert_eq!(told, ["done", "withdrawn"], "{feed}");
}

async fn a_filtered_reader_gets_to_the_end(app: &App) {
    let place = screen_only(app).await;
    app.at("2026-04-02T12:00:00Z").await;
    let none = pull(app, &format!("kind=done&system_id={}", place.system_id())).await;
    assert_eq!((items(&none).len(), &none["behind"]), (0, &json!(0)));
    assert_eq!(
        cursor(&none),
        cursor(&pull(app, "after=now").await),
        "what was left out is not looked at again"
    );
    let of = async |query: String| items(&pull(app, &query).await).len();
    assert_eq!(of(format!("property_id={}", place.property)).await, 1);
    assert_eq!(of("property_id=00000000-0000-4000-8000-000000000000".to_owned()).await, 0);
}
