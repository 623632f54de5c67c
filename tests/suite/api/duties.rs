//! Duties: the figures that decide when they fall due, and the account's own in their place.

use super::scenario::{
    all_kinds, component, duty, gauge, items, place, place_with, property, roof, texts, three,
};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    every_duty_is_listed_with_its_figures;
    a_duty_is_shown_by_its_word;
    an_own_ceiling_decides_for_every_system_of_the_account;
    an_own_tolerance_moves_the_predicted_date_along_the_window;
    what_is_predicted_and_nothing_else_takes_a_tolerance;
    a_duty_without_a_ceiling_takes_one;
    the_first_look_at_bands_stays_a_month;
    what_is_left_out_goes_back_to_the_default;
    own_figures_are_checked;
    settings_are_guarded_by_the_version;
    of_many_settings_at_once_one_counts;
    another_account_keeps_its_own_figures;
    a_sketch_takes_figures_of_its_own;
    a_sketchs_own_figures_are_checked;
}

/// Months of the ceiling, 0 for none, and the tolerance, 0 for none.
const FIGURES: [(&str, u32, f64); 21] = [
    ("clear_roof", 6, 0.5),
    ("clear_gutter", 6, 0.5),
    ("clean_screen", 3, 0.5),
    ("drain_diverter", 0, 0.2),
    ("clear_weep_hole", 3, 0.2),
    ("replace_coupling", 0, 0.5),
    ("check_bands", 12, 0.0),
    ("remove_sediment", 0, 0.2),
    ("measure_sediment", 12, 0.0),
    ("look_over_tank", 12, 0.0),
    ("check_intake", 12, 0.0),
    ("check_trap", 12, 0.2),
    ("check_mesh", 12, 0.0),
    ("work_valve", 12, 0.0),
    ("compare_level_gauge", 12, 0.0),
    ("check_pump", 12, 0.0),
    ("check_vessel", 12, 0.0),
    ("change_cartridge", 6, 0.5),
    ("change_lamp", 12, 0.0),
    ("drain_for_frost", 0, 0.0),
    ("restart_after_frost", 0, 0.0),
];

fn normals() -> Value {
    json!({"rain_mm": [60, 50, 50, 45, 50, 45, 45, 50, 50, 70, 70, 65],
        "wet_days": [11, 9, 10, 9, 9, 8, 8, 9, 8, 11, 11, 11]})
}

fn with_normals() -> Value {
    let mut gauge = gauge();
    gauge["normals"] = normals();
    gauge
}

/// Sets own figures over whatever version there is.
async fn set(app: &App, what: &str, own: &Value) -> Value {
    let path = format!("/v1/duties/{what}");
    let version = app.get(&path).await["version"].as_i64().expect("a version");
    app.put(&path, version, own).await.expect(200)
}

fn reasons(duty: &Value) -> String {
    let reasons = duty["reasons"].as_array().expect("reasons").iter();
    reasons.map(|reason| reason["text"].as_str().expect("a text")).collect::<Vec<_>>().join(" ")
}

async fn every_duty_is_listed_with_its_figures(app: &App) {
    let reply = Reply::of(app.request("GET", "/v1/duties")).await;
    let page = reply.expect(200);
    assert_eq!(page["next_cursor"], Value::Null);
    let all = items(&page);
    assert_eq!(all.len(), FIGURES.len());
    for (name, months, chance) in FIGURES {
        let one = all.iter().find(|one| one["duty"] == name).unwrap_or_else(|| panic!("no {name}"));
        assert!(one["title"].as_str().is_some_and(|title| !title.is_empty()), "{one}");
        for unset in ["longest_interval_months", "tolerance", "updated_at"] {
            assert_eq!(one[unset], Value::Null, "{name} {unset}");
        }
        assert_eq!(one["version"], 0);
        let ceiling = &one["default_longest_interval"];
        if months == 0 {
            assert_eq!(ceiling, &Value::Null, "{name}");
        } else {
            assert_eq!(ceiling["months"], months, "{name}");
            assert!(ceiling["source"].as_str().is_some_and(|source| source.len() > 5), "{one}");
        }
        let tolerance = &one["default_tolerance"];
        if chance == 0.0 {
            assert_eq!(tolerance, &Value::Null, "{name}");
        } else {
            assert_eq!(tolerance["chance"], chance, "{name}");
            assert!(tolerance["source"].as_str().is_some_and(|why| why.contains("judgement")), "{one}");
        }
    }
    let again = app.request("GET", "/v1/duties").header("If-None-Match", reply.header("etag"));
    assert_eq!(Reply::of(again).await.status, 304);
    set(app, "check_pump", &json!({"longest_interval_months": 24})).await;
    let again = app.request("GET", "/v1/duties").header("If-None-Match", reply.header("etag"));
    let changed = items(&Reply::of(again).await.expect(200));
    let differ: Vec<&Value> = changed.iter().filter(|one| !all.contains(one)).collect();
    assert_eq!(differ.len(), 1, "{differ:?}");
    assert_eq!(
        (&differ[0]["duty"], &differ[0]["longest_interval_months"]),
        (&json!("check_pump"), &json!(24))
    );
    assert_eq!(differ[0]["default_longest_interval"]["months"], 12, "the default stays to be seen");
}

async fn a_duty_is_shown_by_its_word(app: &App) {
    for one in items(&app.get("/v1/duties").await) {
        let path = format!("/v1/duties/{}", one["duty"].as_str().expect("a word"));
        let reply = Reply::of(app.request("GET", &path)).await;
        assert_eq!((reply.expect(200), reply.header("etag")), (one, "\"0\""));
    }
    for wrong in ["polish", "unknown", "Clean_Screen", "clean-screen", "00000000-0000-4000-8000-000000000000"]
    {
        let path = format!("/v1/duties/{wrong}");
        let shown = Reply::of(app.request("GET", &path)).await;
        assert_eq!(shown.status, 404, "{wrong}");
        let detail = shown.problem("not_found")["detail"].as_str().expect("a detail").to_owned();
        assert!(detail.contains(wrong) && detail.contains("GET /v1/duties"), "{detail}");
        app.put(&path, 0, &json!({})).await.problem("not_found");
    }
    let removed = Reply::of(app.request("DELETE", "/v1/duties/clean_screen")).await;
    assert_eq!((removed.status, removed.header("allow")), (405, "GET, PUT"));
    let detail = removed.problem("method_not_allowed")["detail"].to_string();
    assert!(detail.contains("Use GET or PUT on this path"), "{detail}");
}

async fn an_own_ceiling_decides_for_every_system_of_the_account(app: &App) {
    let (here, there) = (place(app, three()).await, place(app, three()).await);
    app.refresh().await;
    app.clock.set("2026-03-01T15:00:00Z".parse().expect("an instant"));
    let now = set(app, "clean_screen", &json!({"longest_interval_months": 20})).await;
    assert_eq!((&now["version"], &now["updated_at"]), (&json!(1), &json!("2026-03-01T15:00:00Z")));
    app.refresh().await;
    for place in [here, there] {
        let task = place.task(app, "screen", "clean_screen").await;
        assert_eq!(
            (&task["due_on"], &task["longest_interval_on"]),
            (&json!("2026-09-01"), &json!("2026-09-01"))
        );
        assert_eq!(task["decided_by"], "longest_interval");
        let said = "The longest interval is 20 months (the account's own figure).";
        assert!(reasons(&task).contains(said), "{}", reasons(&task));
        let one = duty(&place.forecast(app, "2026-03-01").await, "screen", "clean_screen");
        assert_eq!(one["longest_interval_source"], "the account's own figure");
        // Its neighbours stay as they are.
        let other = duty(&place.forecast(app, "2026-03-01").await, "diverter", "clear_weep_hole");
        assert_eq!(other["longest_interval_on"], "2025-04-01");
        assert!(
            other["longest_interval_source"].as_str().expect("a source").starts_with("judgement"),
            "{other}"
        );
    }
    let now = set(app, "clean_screen", &json!({"longest_interval_months": 1})).await;
    assert_eq!(now["version"], 2);
}

async fn an_own_tolerance_moves_the_predicted_date_along_the_window(app: &App) {
    let place = place_with(app, &property(), &with_normals(), three()).await;
    let now = async || duty(&place.forecast(app, "2025-01-01").await, "diverter", "clear_weep_hole");
    for (tolerance, end) in [(0.1, "early_on"), (0.5, "likely_on"), (0.9, "late_on")] {
        set(app, "clear_weep_hole", &json!({"tolerance": tolerance, "longest_interval_months": 240})).await;
        let one = now().await;
        assert_eq!(
            (&one["due_on"], &one["decided_by"]),
            (&one["window"][end], &json!("prediction")),
            "{one}"
        );
        assert_eq!(one["tolerance"], tolerance);
        let said = format!("The chance that it needs care passes {} %", tolerance * 100.0);
        assert!(reasons(&one).contains(&said), "{}", reasons(&one));
    }
    set(app, "clear_weep_hole", &json!({"tolerance": 0.125, "longest_interval_months": 240})).await;
    assert!(reasons(&now().await).contains("passes 12.5 %"), "{}", reasons(&now().await));
    app.refresh().await;
    assert_eq!(place.task(app, "diverter", "clear_weep_hole").await["due_on"], now().await["due_on"]);
}

async fn what_is_predicted_and_nothing_else_takes_a_tolerance(app: &App) {
    let place = place_with(app, &property(), &with_normals(), all_kinds()).await;
    let forecast = place.forecast(app, "2025-06-01").await;
    for one in forecast["duties"].as_array().expect("duties").iter().filter(|one| !one["limit"].is_null()) {
        let figures = app.get(&format!("/v1/duties/{}", one["duty"].as_str().expect("a word"))).await;
        assert_eq!(one["tolerance"], figures["default_tolerance"]["chance"], "{one}");
        assert!(one["tolerance"].as_f64().is_some(), "{one}");
    }
    for (name, _, chance) in FIGURES {
        let reply = app.put(&format!("/v1/duties/{name}"), 0, &json!({"tolerance": 0.3})).await;
        if chance > 0.0 {
            assert_eq!(reply.expect(200)["tolerance"], 0.3, "{name}");
            continue;
        }
        assert_eq!((reply.status, reply.fields("invalid")), (422, vec!["tolerance".to_owned()]), "{name}");
        let decides = match name {
            "drain_for_frost" | "restart_after_frost" => "the season decides",
            "change_lamp" => "the maker's rating or the longest interval decides",
            _ => "the longest interval decides",
        };
        assert!(reply.text.contains(decides) && reply.text.contains("leave tolerance out"), "{}", reply.text);
        assert_eq!(app.get(&format!("/v1/duties/{name}")).await["version"], 0, "nothing was set");
    }
}

async fn a_duty_without_a_ceiling_takes_one(app: &App) {
    let place = place(app, all_kinds()).await;
    for (name, what, months, due) in [
        ("hand diverter", "drain_diverter", 1, "2025-02-01"),
        ("tank", "remove_sediment", 120, "2035-01-01"),
        ("coupling", "replace_coupling", 36, "2028-01-01"),
        // The season comes before it, and stays what decides.
        ("pipes", "drain_for_frost", 240, "2025-10-11"),
    ] {
        let before = duty(&place.forecast(app, "2025-01-01").await, name, what);
        assert_eq!(
            (&before["longest_interval_on"], &before["longest_interval_source"]),
            (&Value::Null, &Value::Null)
        );
        set(app, what, &json!({"longest_interval_months": months})).await;
        let after = duty(&place.forecast(app, "2025-01-01").await, name, what);
        assert_eq!(after["due_on"], due, "{after}");
        assert_eq!(after["longest_interval_source"], "the account's own figure");
        let by = if what == "drain_for_frost" { "season" } else { "longest_interval" };
        assert_eq!(after["decided_by"], by, "{after}");
    }
    let drained = duty(&place.forecast(app, "2025-01-01").await, "hand diverter", "drain_diverter");
    assert!(reasons(&drained).contains("interval is 1 month (the"), "{}", reasons(&drained));
}

async fn the_first_look_at_bands_stays_a_month(app: &App) {
    let coupling = component("coupling", json!({"kind": "coupling", "material": "epdm"}));
    let place = place(app, json!([coupling])).await;
    set(app, "check_bands", &json!({"longest_interval_months": 24})).await;
    let on = async |as_of: &str| duty(&place.forecast(app, as_of).await, "coupling", "check_bands");
    let first = on("2025-01-20").await;
    assert_eq!((&first["due_on"], &first["decided_by"]), (&json!("2025-02-01"), &json!("first_look")));
    assert_ne!(
        first["longest_interval_source"], "the account's own figure",
        "the month is not the account's"
    );
    let item = json!({"component_id": place.component("coupling"), "duty": "check_bands", "done": true});
    place.visit(app, "2025-02-03", item).await;
    let later = on("2025-02-03").await;
    assert_eq!((&later["due_on"], &later["decided_by"]), (&json!("2027-02-03"), &json!("longest_interval")));
    assert_eq!(later["longest_interval_source"], "the account's own figure");
}

async fn what_is_left_out_goes_back_to_the_default(app: &App) {
    let place = place_with(app, &property(), &with_normals(), three()).await;
    let now = async || duty(&place.forecast(app, "2026-03-01").await, "screen", "clean_screen");
    let before = now().await;
    set(app, "clean_screen", &json!({"longest_interval_months": 200, "tolerance": 0.9})).await;
    assert_ne!(now().await, before);
    let half = set(app, "clean_screen", &json!({"tolerance": 0.9})).await;
    assert_eq!((&half["longest_interval_months"], &half["tolerance"]), (&Value::Null, &json!(0.9)));
    assert_eq!(now().await["longest_interval_on"], before["longest_interval_on"]);
    assert_eq!(now().await["tolerance"], 0.9);
    let none = set(app, "clean_screen", &json!({})).await;
    assert_eq!((&none["longest_interval_months"], &none["tolerance"]), (&Value::Null, &Value::Null));
    assert_eq!((&none["version"], &none["updated_at"]), (&json!(3), &json!("2026-03-01T12:00:00Z")));
    assert_eq!(now().await, before);
    // Null says the same as nothing.
    let none = set(app, "clean_screen", &json!({"longest_interval_months": null, "tolerance": null})).await;
    assert_eq!((&none["longest_interval_months"], &none["version"]), (&Value::Null, &json!(4)));
    app.refresh().await;
    assert_eq!(place.task(app, "screen", "clean_screen").await["due_on"], before["due_on"]);
}

async fn own_figures_are_checked(app: &App) {
    let path = "/v1/duties/clean_screen";
    for (wrong, fields) in [
        (json!({"longest_interval_months": 0}), vec!["longest_interval_months"]),
        (json!({"longest_interval_months": 241}), vec!["longest_interval_months"]),
        (json!({"longest_interval_months": 4_294_967_295_u32}), vec!["longest_interval_months"]),
        (json!({"tolerance": 0.009}), vec!["tolerance"]),
        (json!({"tolerance": 0.991}), vec!["tolerance"]),
        (json!({"tolerance": -0.5}), vec!["tolerance"]),
        (json!({"tolerance": 20}), vec!["tolerance"]),
        (
            json!({"longest_interval_months": 0, "tolerance": 1.0}),
            vec!["longest_interval_months", "tolerance"],
        ),
    ] {
        let reply = app.put(path, 0, &wrong).await;
        assert_eq!(
            (reply.status, reply.fields("invalid")),
            (422, fields.iter().map(|f| (*f).to_owned()).collect())
        );
    }
    for (wrong, field) in [
        (json!({"longest_interval_months": 1.5}), "longest_interval_months"),
        (json!({"longest_interval_months": -1}), "longest_interval_months"),
        (json!({"longest_interval_months": "3"}), "longest_interval_months"),
        (json!({"tolerance": "low"}), "tolerance"),
        (json!({"colour": 1}), "colour"),
    ] {
        let reply = app.put(path, 0, &wrong).await;
        assert_eq!((reply.status, reply.fields("malformed_body")), (400, vec![field.to_owned()]), "{wrong}");
    }
    assert_eq!(app.get(path).await["version"], 0);
    for right in [
        json!({"longest_interval_months": 1, "tolerance": 0.01}),
        json!({"longest_interval_months": 240, "tolerance": 0.99}),
    ] {
        let now = set(app, "clean_screen", &right).await;
        for field in ["longest_interval_months", "tolerance"] {
            assert_eq!(now[field], right[field]);
        }
    }
}

async fn settings_are_guarded_by_the_version(app: &App) {
    let path = "/v1/duties/check_mesh";
    let own = json!({"longest_interval_months": 6});
    let bare = app.send("PUT", path, &own).await;
    assert_eq!(bare.problem("version_required")["status"], 428);
    for version in [1, -1, 7] {
        let reply = app.put(path, version, &own).await;
        assert_eq!(reply.status, 412);
        let detail = reply.problem("version_mismatch")["detail"].as_str().expect("a detail").to_owned();
        assert!(detail.contains("\"0\""), "it says which version stands: {detail}");
    }
    assert_eq!(app.get(path).await["longest_interval_months"], Value::Null);
    let reply = app.put(path, 0, &own).await;
    assert_eq!((&reply.expect(200)["version"], reply.header("etag")), (&json!(1), "\"1\""));
    for version in [0, 2] {
        let reply = app.put(path, version, &json!({"longest_interval_months": 7})).await;
        let detail = reply.problem("version_mismatch")["detail"].as_str().expect("a detail").to_owned();
        assert!(detail.contains("\"1\""), "{detail}");
    }
    let request = app.request("PUT", path).header("If-Match", reply.header("etag"));
    assert_eq!(Reply::of(request.json(&json!({}))).await.expect(200)["version"], 2);
    // Going back to the defaults does not set the version back: what was read before stays outdated.
    app.put(path, 0, &own).await.problem("version_mismatch");
    app.put(path, 1, &own).await.problem("version_mismatch");
}

async fn of_many_settings_at_once_one_counts(app: &App) {
    for version in [0, 1] {
        let change = async |months: u32| {
            app.put("/v1/duties/work_valve", version, &json!({"longest_interval_months": months})).await
        };
        let replies = futures_util::future::join_all((1..=8).map(change)).await;
        let won: Vec<&Reply> = replies.iter().filter(|reply| reply.status == 200).collect();
        assert_eq!(won.len(), 1);
        for reply in replies.iter().filter(|reply| reply.status != 200) {
            reply.problem("version_mismatch");
        }
        assert_eq!(app.get("/v1/duties/work_valve").await, won[0].expect(200));
    }
}

async fn another_account_keeps_its_own_figures(app: &App) {
    let place = place(app, three()).await;
    let key = app.other_account().await;
    let theirs = async |method: &str, body: &Value| {
        let request = app.request_as(&key, method, "/v1/duties/clean_screen").header("If-Match", "\"0\"");
        Reply::of(if method == "PUT" { request.json(body) } else { request }).await
    };
    set(app, "clean_screen", &json!({"longest_interval_months": 9})).await;
    let seen = theirs("GET", &Value::Null).await.expect(200);
    assert_eq!((&seen["version"], &seen["longest_interval_months"]), (&json!(0), &Value::Null));
    theirs("PUT", &json!({"longest_interval_months": 2})).await.expect(200);
    let mine = app.get("/v1/duties/clean_screen").await;
    assert_eq!((&mine["version"], &mine["longest_interval_months"]), (&json!(1), &json!(9)));
    app.refresh().await;
    assert_eq!(place.task(app, "screen", "clean_screen").await["longest_interval_on"], "2025-10-01");
}

async fn a_sketch_takes_figures_of_its_own(app: &App) {
    // What the account has set is for its own systems: a sketch says all of it.
    set(app, "clean_screen", &json!({"longest_interval_months": 240})).await;
    let place = place_with(app, &property(), &with_normals(), three()).await;
    let mut sketch = json!({"latitude_deg": 48.0, "elevation_m": 52.0, "roof": roof(), "demand_l_per_day": 100.0,
        "components": three(), "normals": normals(), "as_of": "2026-03-01"});
    let sketched = async |sketch: &Value| app.send("POST", "/v1/forecast", sketch).await.expect(200);
    let plain = duty(&sketched(&sketch).await, "screen", "clean_screen");
    assert_eq!(plain["longest_interval_on"], "2025-04-01");
    sketch["duty_settings"] = json!([{"duty": "clean_screen", "longest_interval_months": 240},
        {"duty": "clear_weep_hole", "tolerance": 0.8}]);
    let own = sketched(&sketch).await;
    set(app, "clear_weep_hole", &json!({"tolerance": 0.8})).await;
    let stored = place.forecast(app, "2026-03-01").await;
    assert_eq!(super::scenario::without_ids(&own), super::scenario::without_ids(&stored));
    assert_eq!(duty(&own, "screen", "clean_screen")["longest_interval_source"], "the account's own figure");
    sketch["duty_settings"] = json!([]);
    assert_eq!(duty(&sketched(&sketch).await, "screen", "clean_screen"), plain);
}

async fn a_sketchs_own_figures_are_checked(app: &App) {
    let sketch = |settings: Value| {
        json!({"latitude_deg": 48.0, "roof": roof(), "components": three(), "as_of": "2026-03-01",
            "duty_settings": settings})
    };
    let refused = async |settings: Value, code: &str| {
        app.send("POST", "/v1/forecast", &sketch(settings)).await.fields(code)
    };
    let wrong = json!([
        {"duty": "clean_screen", "longest_interval_months": 0, "tolerance": 1.0},
        {"duty": "drain_for_frost", "tolerance": 0.5},
        {"duty": "clean_screen"}]);
    let all = [
        "duty_settings[0].longest_interval_months",
        "duty_settings[0].tolerance",
        "duty_settings[1].tolerance",
        "duty_settings[2].duty",
    ];
    assert_eq!(refused(wrong, "invalid").await, all);
    let unknown = json!([{"duty": "clean_screen"}, {"duty": "polish"}]);
    assert_eq!(refused(unknown, "invalid").await, ["duty_settings[1].duty"]);
    let strange = json!([{"duty": "clean_screen", "colour": 1}]);
    assert_eq!(refused(strange, "malformed_body").await, ["duty_settings[0].colour"]);
    let every: Vec<Value> =
        FIGURES.iter().map(|(name, ..)| json!({"duty": name, "longest_interval_months": 12})).collect();
    let forecast = app.send("POST", "/v1/forecast", &sketch(json!(every))).await.expect(200);
    let sources = texts(forecast["duties"].as_array().expect("duties"), "longest_interval_source");
    let own = sources.iter().filter(|source| *source == "the account's own figure");
    assert_eq!(own.count(), 3, "all but the first look at the bands: {sources:?}");
}
