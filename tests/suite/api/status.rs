//! Status: small, made for polling, and right.

use super::scenario::{all_kinds, component, id_of, place, rain, system, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    runoff_is_what_hand_computation_gives;
    a_poll_costs_nothing_until_something_changes;
    a_system_of_every_kind_fits_into_two_kilobytes;
    the_longest_names_fit_too_and_it_says_what_it_left_out;
    it_says_for_how_long_there_is_no_need_to_ask_again;
    the_next_duties_are_those_of_the_tasks;
    a_system_that_was_never_refreshed_answers_too;
}

async fn status(app: &App, system: &str) -> Value {
    app.get(&format!("/v1/systems/{system}/status")).await
}

#[track_caller]
fn close(value: &Value, expected: f64) {
    let value = value.as_f64().expect("a number");
    assert!((value - expected).abs() < 1e-9, "{value} instead of {expected}");
}

async fn runoff_is_what_hand_computation_gives(app: &App) {
    // 50 m2, coefficient 0.9, wetting loss 0.5 mm. 27 February has no reading.
    let place = place(app, three()).await;
    let days = json!([
        {"date": "2026-01-30", "rain_mm": 5.0},  // the day before the thirty
        {"date": "2026-01-31", "rain_mm": 2.0},  // the first of the thirty, wet roof: 0.9 x 2 = 1.8
        {"date": "2026-02-20", "rain_mm": 0.0},
        {"date": "2026-02-21", "rain_mm": 4.0},  // dry roof: 0.9 x 3.5 = 3.15
        {"date": "2026-02-22", "rain_mm": 2.0},  // the day before the seven, wet roof: 0.9 x 2 = 1.8
        {"date": "2026-02-23", "rain_mm": 0.0},
        {"date": "2026-02-24", "rain_mm": 10.0}, // 0.9 x 9.5 = 8.55
        {"date": "2026-02-25", "rain_mm": 0.3},  // wet roof: 0.9 x 0.3 = 0.27
        {"date": "2026-02-26", "rain_mm": 0.0},
        {"date": "2026-02-28", "rain_mm": 6.0},  // 0.9 x 5.5 = 4.95
        {"date": "2026-03-01", "rain_mm": 0.0},
    ]);
    app.send("PUT", &format!("/v1/gauges/{}/rain", place.gauge), &json!({"days": days})).await.expect(200);
    let item = json!({"component_id": place.component("diverter"), "duty": "clear_weep_hole", "done": true});
    place.visit(app, "2026-02-24", item).await;
    app.refresh().await;
    let status = status(app, place.system_id()).await;
    let week = 8.55 + 0.27 + 4.95;
    let month = 1.8 + 3.15 + 1.8 + week;
    close(&status["runoff_7_days_mm"], week);
    close(&status["runoff_7_days_l"], 50.0 * week);
    close(&status["runoff_30_days_mm"], month);
    close(&status["runoff_30_days_l"], 50.0 * month);
    assert_eq!((&status["unread_of_30_days"], &status["rain_through"]), (&json!(20), &json!("2026-03-01")));
    let since = status["since_served"].as_array().expect("duties");
    let one = since.iter().find(|one| one["component_name"] == "diverter").expect("the diverter");
    assert_eq!((&one["duty"], &one["since"]), (&json!("clear_weep_hole"), &json!("2026-02-24")));
    close(&one["runoff_mm"], 0.27 + 4.95);
    assert_eq!(one["task_id"], place.task(app, "diverter", "clear_weep_hole").await["id"]);
    let one = since.iter().find(|one| one["component_name"] == "screen").expect("the screen");
    close(&one["runoff_mm"], 0.9 * 4.5 + month);
    // A day that still runs is no gap: the days end yesterday until it is read.
    app.at("2026-03-02T12:00:00Z").await;
    let next = self::status(app, place.system_id()).await;
    assert_eq!((&next["unread_of_30_days"], &next["as_of"]), (&json!(20), &json!("2026-03-02")));
    close(&next["runoff_30_days_mm"], month);
    // A week later nothing was read, and the days are counted as unread.
    app.at("2026-03-08T12:00:00Z").await;
    let later = self::status(app, place.system_id()).await;
    close(&later["runoff_7_days_mm"], 0.0);
    close(&later["runoff_30_days_mm"], month - 1.8);
    assert_eq!((&later["unread_of_30_days"], &later["as_of"]), (&json!(21), &json!("2026-03-08")));
}

async fn a_poll_costs_nothing_until_something_changes(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let path = format!("/v1/systems/{}/status", place.system_id());
    let first = Reply::of(app.request("GET", &path)).await;
    let poll =
        async || Reply::of(app.request("GET", &path).header("If-None-Match", first.header("etag"))).await;
    let unchanged = poll().await;
    assert_eq!((unchanged.status, unchanged.text.as_str()), (304, ""));
    assert_eq!(unchanged.header("etag"), first.header("etag"));
    // A refresh that finds the same says the same.
    let body = super::scenario::property();
    app.put(&format!("/v1/properties/{}", place.property), 1, &body).await.expect(200);
    app.refresh().await;
    assert_eq!(poll().await.status, 304);
    rain(app, &place.gauge, "2026-02-20", 5, 3.0).await;
    app.refresh().await;
    let changed = poll().await;
    assert_eq!(changed.status, 200);
    assert_ne!(changed.header("etag"), first.header("etag"));
    app.at("2026-03-02T00:00:00Z").await;
    let next = Reply::of(app.request("GET", &path).header("If-None-Match", changed.header("etag"))).await;
    assert_eq!(next.expect(200)["as_of"], "2026-03-02");
}

async fn a_system_of_every_kind_fits_into_two_kilobytes(app: &App) {
    let place = place(app, all_kinds()).await;
    rain(app, &place.gauge, "2025-01-01", 425, 1.5).await;
    app.refresh().await;
    let path = format!("/v1/systems/{}/status", place.system_id());
    let reply = Reply::of(app.request("GET", &path)).await;
    assert!(reply.text.len() < 2000, "{} bytes: {}", reply.text.len(), reply.text);
    let whole = reply.expect(200);
    // Six entries with their tasks do not fit beside five duties: the least urgent are left out, and it says so.
    let since = whole["since_served"].as_array().expect("duties").len();
    assert!((3..6).contains(&since) && whole["abridged"] == true, "{whole}");
    // However many parts there are, a poll stays a poll.
    for index in 0..30 {
        let screen = component(&format!("screen {index}"), json!({"kind": "debris_screen", "area_m2": 0.2}));
        app.post(&format!("/v1/systems/{}/components", place.system_id()), &screen).await;
    }
    app.refresh().await;
    let reply = Reply::of(app.request("GET", &path)).await;
    assert!(reply.text.len() < 2000, "{} bytes: {}", reply.text.len(), reply.text);
}

async fn the_longest_names_fit_too_and_it_says_what_it_left_out(app: &App) {
    // 200 characters are the most that a name may have: of one byte, of two in JSON, of four.
    for letter in ["x", "\"", "\u{1f4a7}"] {
        let name = letter.repeat(200);
        let mut parts = all_kinds();
        for (index, part) in parts.as_array_mut().expect("parts").iter_mut().enumerate() {
            // Names differ at their end alone, where they are cut.
            let digits = format!("{index:03}");
            part["name"] = json!(letter.repeat(197) + &digits);
        }
        let place = place(app, parts).await;
        let path = format!("/v1/systems/{}", place.system_id());
        let mut facts = system(&place.property, &place.gauge, json!([]));
        facts.as_object_mut().expect("an object").remove("components");
        facts["name"] = json!(name);
        app.put(&path, 1, &facts).await.expect(200);
        rain(app, &place.gauge, "2025-01-01", 425, 1.5).await;
        app.refresh().await;
        let reply = Reply::of(app.request("GET", &format!("{path}/status"))).await;
        let status = reply.expect(200);
        assert!(reply.text.len() < 2000, "{} bytes: {}", reply.text.len(), reply.text);
        assert_eq!(status["abridged"], true);
        let shown = status["system_name"].as_str().expect("a name").trim_end_matches('\u{2026}').to_owned();
        assert!(shown.len() >= letter.len() * 19 && name.starts_with(&shown), "{shown}");
        // The most urgent duty is there, and leads to the rest.
        let first = &status["next"][0];
        let tasks = place.tasks(app).await;
        assert_eq!(first["task_id"], tasks[0]["id"]);
        assert_eq!(tasks[0]["component_name"].as_str().expect("a name").chars().count(), 200);
    }
    // What is small enough is left alone, and does not speak of it.
    let place = place(app, three()).await;
    app.refresh().await;
    assert!(status(app, place.system_id()).await.get("abridged").is_none());
}

async fn it_says_for_how_long_there_is_no_need_to_ask_again(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let path = format!("/v1/systems/{}/status", place.system_id());
    let ask = async |tag: &str| Reply::of(app.request("GET", &path).header("If-None-Match", tag)).await;
    let first = ask("\"none\"").await;
    assert_eq!((first.status, first.header("cache-control")), (200, "private, max-age=60"));
    let again = ask(first.header("etag")).await;
    assert_eq!((again.status, again.header("cache-control")), (304, "private, max-age=60"));
    // Midnight at the property: Europe/London in March is UTC.
    app.clock.set("2026-03-01T23:59:18Z".parse().expect("an instant"));
    assert_eq!(ask(first.header("etag")).await.header("cache-control"), "private, max-age=42");
    app.at("2026-03-02T00:00:00Z").await;
    let next = ask(first.header("etag")).await;
    assert_eq!((next.status, next.header("cache-control")), (200, "private, max-age=60"));
    // While a change is worked out, asking again soon is right. The claim keeps the loop from doing it.
    let now = "2026-03-02T00:00:00Z".parse().expect("an instant");
    for _ in 0..20 {
        place
            .visit(
                app,
                "2026-02-20",
                json!({"component_id": place.component("screen"), "duty": "clean_screen",
            "done": true}),
            )
            .await;
        let until = "2026-03-02T00:05:00Z".parse().expect("an instant");
        let claims = app.cx.store.claim_stale(now, until, 100).await.expect("claims");
        if claims.is_empty() {
            continue;
        }
        let stale = ask(next.header("etag")).await;
        assert_eq!(stale.header("cache-control"), "private, max-age=0");
        return;
    }
    panic!("the loop was always faster");
}

async fn the_next_duties_are_those_of_the_tasks(app: &App) {
    let place = place(app, all_kinds()).await;
    app.refresh().await;
    let status = status(app, place.system_id()).await;
    let tasks = place.tasks(app).await;
    let next = status["next"].as_array().expect("duties");
    assert_eq!(next.len(), 5);
    for one in next {
        let task = app.get(&format!("/v1/tasks/{}", one["task_id"].as_str().expect("an id"))).await;
        for same in ["component_name", "duty", "title", "state", "due_on"] {
            assert_eq!(one[same], task[same], "{same}");
        }
    }
    let due = |one: &Value| one["due_on"].as_str().expect("a date").to_owned();
    let expected: Vec<String> = tasks.iter().take(5).map(due).collect();
    assert_eq!(next.iter().map(due).collect::<Vec<_>>(), expected);
    assert_eq!((&status["state"], &status["system_name"]), (&json!("late"), &json!("seedling house")));
    assert_eq!((&status["system_id"], &status["rain_through"]), (&json!(place.system_id()), &Value::Null));
}

async fn a_system_that_was_never_refreshed_answers_too(app: &App) {
    // The loop rests a moment after each write; whoever claims the new system first keeps the loop away from it.
    for _ in 0..20 {
        let place = place(app, three()).await;
        let now = "2026-03-01T12:00:00Z".parse().expect("an instant");
        let until = "2026-03-01T12:05:00Z".parse().expect("an instant");
        let claims = app.cx.store.claim_stale(now, until, 100).await.expect("claims");
        if !claims.iter().any(|claim| claim.system_id.to_string() == place.system_id()) {
            continue;
        }
        assert_eq!(place.tasks(app).await.len(), 0, "nothing was refreshed");
        let made = status(app, place.system_id()).await;
        assert_eq!((&made["as_of"], &made["state"]), (&json!("2026-03-01"), &json!("late")));
        assert_eq!(made["next"].as_array().expect("duties").len(), 4);
        app.at("2026-03-01T12:05:00Z").await;
        assert_eq!(status(app, place.system_id()).await, made, "the refresh says the same");
        assert_eq!(id_of(&place.tasks(app).await[0]), made["next"][0]["task_id"].as_str().expect("an id"));
        return;
    }
    panic!("the loop was always faster");
}
