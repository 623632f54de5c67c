//! Components: every kind, and how they come and go.

use super::scenario::{all_kinds, component, duty, id_of, items, place, rain, texts, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    every_kind_comes_back_as_it_was_sent;
    what_is_left_out_is_filled_in;
    wrong_figures_are_refused_by_their_path;
    a_correction_is_guarded_and_keeps_the_kind;
    a_replacement_keeps_the_history_and_begins_anew;
    a_replacement_is_refused_where_it_cannot_be;
    a_retired_component_has_no_tasks;
    a_forecast_before_the_replacement_uses_the_old_part;
    a_new_component_gets_its_tasks;
    of_many_replacements_at_once_one_counts;
    pipework_without_days_of_frost_says_what_to_send;
}

async fn every_kind_comes_back_as_it_was_sent(app: &App) {
    let place = place(app, all_kinds()).await;
    let stored = place.system["components"].as_array().expect("components");
    let sent = all_kinds();
    let sent = sent.as_array().expect("components");
    assert_eq!(stored.len(), sent.len());
    for sent in sent {
        let stored = stored.iter().find(|stored| stored["name"] == sent["name"]).expect("that component");
        let mut expected = sent["part"].clone();
        if expected["kind"] == "coupling" {
            assert_eq!(stored["part"].as_object().expect("a part").len(), 4, "no share that was not given");
        }
        for (field, value) in expected.as_object_mut().expect("a part") {
            assert_eq!(&stored["part"][field.as_str()], value, "{sent}");
        }
        assert_eq!(stored["installed_on"], sent["installed_on"]);
        let own = app.get(&format!("/v1/components/{}", id_of(stored))).await;
        assert_eq!(&own, stored);
        assert_eq!((&own["version"], &own["system_id"]), (&json!(1), &json!(place.system_id())));
        for absent in ["last_served_on", "retired_on", "replaces_id"] {
            assert_eq!(own[absent], Value::Null, "{absent}");
        }
    }
    let kinds: std::collections::BTreeSet<&str> =
        stored.iter().map(|one| one["part"]["kind"].as_str().expect("a kind")).collect();
    assert_eq!(kinds.len(), 16, "the scenario holds every kind: {kinds:?}");
    let list = items(&app.get(&format!("/v1/systems/{}/components", place.system_id())).await);
    assert_eq!(&list, stored);
}

async fn what_is_left_out_is_filled_in(app: &App) {
    let place = place(app, json!([])).await;
    let path = format!("/v1/systems/{}/components", place.system_id());
    let cases = [
        (json!({"kind": "roof"}), json!({"fragile": false})),
        (json!({"kind": "gutter", "length_m": 3.0}), json!({"guarded": false})),
        (json!({"kind": "debris_screen", "area_m2": 0.1}), json!({})),
        (
            json!({"kind": "coupling", "material": "neoprene"}),
            json!({"exposition": "vertical_pipe", "shade": "full_sun"}),
        ),
        (
            json!({"kind": "coupling", "material": "natural_or_sbr", "exposition": "tilted_to_equator",
                "shade": "under_eaves", "shade_share": 0.0}),
            json!({}),
        ),
        (
            json!({"kind": "tank", "capacity_l": 1000, "floor_area_m2": 1, "outlet_height_mm": 0}),
            json!({"capacity_l": 1000.0, "floor_area_m2": 1.0, "outlet_height_mm": 0.0, "calmed_inlet": false}),
        ),
        (json!({"kind": "floating_intake"}), json!({})),
        (json!({"kind": "vent"}), json!({})),
        (json!({"kind": "level_gauge"}), json!({})),
        (json!({"kind": "pump"}), json!({"mains_powered": true})),
        (json!({"kind": "pressure_vessel"}), json!({})),
        (json!({"kind": "cartridge_filter"}), json!({})),
        (json!({"kind": "disinfection_lamp"}), json!({"hours_per_day": 24.0})),
        (json!({"kind": "exposed_pipework"}), json!({})),
        (
            json!({"kind": "first_flush_diverter", "chamber_volume_l": 0.1,
                "emptying": {"by": "drip", "litres_per_hour": 0.05}}),
            json!({}),
        ),
    ];
    for (sent, filled) in cases {
        let made = app.post(&path, &component("part", sent.clone())).await;
        let mut expected = sent.as_object().expect("a part").clone();
        expected.extend(filled.as_object().expect("an object").clone());
        assert_eq!(made["part"], Value::Object(expected));
    }
    let mut served = component("vent", json!({"kind": "vent"}));
    served["last_served_on"] = json!("2025-06-01");
    assert_eq!(app.post(&path, &served).await["last_served_on"], "2025-06-01");
}

async fn wrong_figures_are_refused_by_their_path(app: &App) {
    let place = place(app, json!([])).await;
    let path = format!("/v1/systems/{}/components", place.system_id());
    let diverter = |emptying: Value| json!({"kind": "first_flush_diverter", "chamber_volume_l": 1.0, "emptying": emptying});
    let frost = |month: u32, day: u32| {
        json!({"kind": "exposed_pipework", "first_frost": {"month": month, "day": day},
            "last_frost": {"month": 4, "day": 1}})
    };
    let tank = |capacity: f64, floor: f64, outlet: f64| json!({"kind": "tank", "capacity_l": capacity, "floor_area_m2": floor, "outlet_height_mm": outlet});
    let cases = [
        (json!({"kind": "gutter", "length_m": 0.0}), vec!["length_m"]),
        (json!({"kind": "gutter", "length_m": 10_000.1}), vec!["length_m"]),
        (json!({"kind": "debris_screen", "area_m2": -1.0, "mesh_mm": 0.0}), vec!["area_m2", "mesh_mm"]),
        (json!({"kind": "debris_screen", "area_m2": 100.1, "mesh_mm": 50.1}), vec!["area_m2", "mesh_mm"]),
        (
            json!({"kind": "first_flush_diverter", "chamber_volume_l": 0.0, "emptying": {"by": "hand"}}),
            vec!["chamber_volume_l"],
        ),
        (
            diverter(json!({"by": "weep_hole", "hole_mm": 0.4, "head_m": 10.1})),
            vec!["emptying.hole_mm", "emptying.head_m"],
        ),
        (diverter(json!({"by": "drip", "litres_per_hour": 0.04})), vec!["emptying.litres_per_hour"]),
        (json!({"kind": "coupling", "material": "epdm", "shade_share": 1.01}), vec!["shade_share"]),
        (json!({"kind": "coupling", "material": "epdm", "shade_share": -0.01}), vec!["shade_share"]),
        (tank(0.0, 0.0, -1.0), vec!["capacity_l", "floor_area_m2", "outlet_height_mm"]),
        (tank(1e9, 1e6, 20_001.0), vec!["capacity_l", "floor_area_m2", "outlet_height_mm"]),
        (tank(1.0, 100_000.0, 0.0), vec!["floor_area_m2"]),
        (tank(100_000_000.0, 0.001, 0.0), vec!["floor_area_m2"]),
        (tank(3000.0, 1.5, 2000.0), vec!["outlet_height_mm"]),
        (tank(3000.0, 50.0, 60.1), vec!["outlet_height_mm"]),
        (json!({"kind": "floating_intake", "mesh_mm": 0.0}), vec!["mesh_mm"]),
        (json!({"kind": "vent", "mesh_mm": 51.0}), vec!["mesh_mm"]),
        (json!({"kind": "overflow_trap", "seal_depth_mm": 9.0}), vec!["seal_depth_mm"]),
        (json!({"kind": "pressure_vessel", "volume_l": 0.0}), vec!["volume_l"]),
        (json!({"kind": "cartridge_filter", "rated_volume_l": 0.0}), vec!["rated_volume_l"]),
        (
            json!({"kind": "disinfection_lamp", "rated_hours": 0.0, "hours_per_day": 24.1}),
            vec!["rated_hours", "hours_per_day"],
        ),
        (json!({"kind": "disinfection_lamp", "hours_per_day": 0.0}), vec!["hours_per_day"]),
        (frost(2, 30), vec!["first_frost"]),
        (frost(13, 1), vec!["first_frost"]),
        (frost(6, 0), vec!["first_frost"]),
        (json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25}}), vec!["last_frost"]),
        (json!({"kind": "exposed_pipework", "last_frost": {"month": 4, "day": 20}}), vec!["first_frost"]),
        (
            json!({"kind": "exposed_pipework", "last_frost": {"month": 4, "day": 31}}),
            vec!["first_frost", "last_frost"],
        ),
    ];
    for (part, fields) in cases {
        let reply = app.send("POST", &path, &component("part", part.clone())).await;
        let expected: Vec<String> = fields.iter().map(|field| format!("part.{field}")).collect();
        assert_eq!(reply.fields("invalid"), expected, "{part}");
    }
    for part in [
        json!({"kind": "teapot"}),
        json!({}),
        json!({"kind": "unknown"}),
        json!("vent"),
        diverter(json!({"by": "magic"})),
        json!({"kind": "vent", "area_m2": 1.0}),
        json!({"kind": "valve"}),
    ] {
        let reply = app.send("POST", &path, &component("part", part.clone())).await;
        let fields = reply.fields("malformed_body");
        assert!(fields[0].starts_with("part"), "{part}: {fields:?}");
    }
    assert_eq!(items(&app.get(&path).await).len(), 0);
    app.post(&path, &component("leap day", frost(2, 29))).await;
}

async fn a_correction_is_guarded_and_keeps_the_kind(app: &App) {
    let place = place(app, three()).await;
    let path = format!("/v1/components/{}", place.component("screen"));
    let mut body =
        component("north screen", json!({"kind": "debris_screen", "area_m2": 0.4, "mesh_mm": 2.0}));
    app.send("PUT", &path, &body).await.problem("version_required");
    app.put(&path, 2, &body).await.problem("version_mismatch");
    let changed = app.put(&path, 1, &body).await.expect(200);
    assert_eq!((&changed["version"], &changed["part"]["area_m2"]), (&json!(2), &json!(0.4)));
    assert_eq!(app.get(&path).await, changed);
    body["part"] = json!({"kind": "vent"});
    let reply = app.put(&path, 2, &body).await;
    assert_eq!(reply.fields("invalid"), ["part.kind"]);
    app.send("POST", &format!("{path}/retire"), &json!({"on": "2025-06-01"})).await.expect(200);
    let mut late = component("screen", json!({"kind": "debris_screen", "area_m2": 0.4}));
    late["installed_on"] = json!("2025-06-02");
    assert_eq!(app.put(&path, 3, &late).await.fields("invalid"), ["installed_on"]);
}

async fn a_replacement_keeps_the_history_and_begins_anew(app: &App) {
    let place = place(app, three()).await;
    rain(app, &place.gauge, "2025-01-01", 420, 2.0).await;
    let old = place.component("screen");
    let item = json!({"component_id": old, "duty": "clean_screen", "done": true});
    place.visit(app, "2025-12-01", item).await;
    let body =
        json!({"on": "2026-01-15", "name": "wide screen", "part": {"kind": "debris_screen", "area_m2": 0.5}});
    let reply = app.send("POST", &format!("/v1/components/{old}/replace"), &body).await;
    let new = reply.expect(201);
    assert_eq!(reply.header("location"), format!("/v1/components/{}", id_of(&new)));
    assert_eq!((&new["replaces_id"], &new["installed_on"]), (&json!(old), &json!("2026-01-15")));
    assert_eq!((&new["name"], &new["version"]), (&json!("wide screen"), &json!(1)));
    let gone = app.get(&format!("/v1/components/{old}")).await;
    assert_eq!((&gone["retired_on"], &gone["version"]), (&json!("2026-01-15"), &json!(2)));
    let list = format!("/v1/systems/{}/components", place.system_id());
    let names = texts(&items(&app.get(&list).await), "name");
    assert!(names.contains(&"wide screen".to_owned()) && !names.contains(&"screen".to_owned()), "{names:?}");
    let all = items(&app.get(&format!("{list}?include_retired=true")).await);
    assert_eq!(all.len(), 4);
    assert!(all.contains(&gone) && all.contains(&new));
    let system = app.get(&format!("/v1/systems/{}", place.system_id())).await;
    assert_eq!(texts(system["components"].as_array().expect("components"), "name").len(), 3);
    app.refresh().await;
    assert_eq!(place.task(app, "wide screen", "clean_screen").await["since"], "2026-01-15");
    assert!(!texts(&place.tasks(app).await, "component_name").contains(&"screen".to_owned()));
    // The visit to the old one stays, and can still be logged for days on which it was there.
    assert_eq!(items(&app.get("/v1/visits").await)[0]["items"][0]["component_id"], json!(old));
    // Without a part the new one is like the old one.
    let twin =
        app.post(&format!("/v1/components/{}/replace", id_of(&new)), &json!({"on": "2026-02-01"})).await;
    assert_eq!((&twin["part"], &twin["name"]), (&new["part"], &new["name"]));
}

async fn a_replacement_is_refused_where_it_cannot_be(app: &App) {
    let place = place(app, three()).await;
    let old = place.component("screen");
    let path = format!("/v1/components/{old}/replace");
    let early = app.send("POST", &path, &json!({"on": "2024-12-31"})).await;
    assert_eq!(early.fields("invalid"), ["on"]);
    let other = json!({"on": "2026-02-01", "part": {"kind": "vent"}});
    assert_eq!(app.send("POST", &path, &other).await.fields("invalid"), ["part.kind"]);
    let wrong = json!({"on": "2026-02-01", "name": "", "part": {"kind": "debris_screen", "area_m2": 0.0}});
    assert_eq!(app.send("POST", &path, &wrong).await.fields("invalid"), ["name", "part.area_m2"]);
    let untouched = app.get(&format!("/v1/components/{old}")).await;
    assert_eq!((&untouched["version"], &untouched["retired_on"]), (&json!(1), &Value::Null));
    app.post(&path, &json!({"on": "2026-02-01"})).await;
    for path in [path.clone(), format!("/v1/components/{old}/retire")] {
        let twice = app.send("POST", &path, &json!({"on": "2026-02-02"})).await;
        assert_eq!(twice.status, 409);
        twice.problem("conflict");
    }
    assert_eq!(items(&app.get(&format!("/v1/systems/{}/components", place.system_id())).await).len(), 3);
}

async fn a_retired_component_has_no_tasks(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 4);
    let coupling = place.component("coupling");
    let task = id_of(&place.task(app, "coupling", "check_bands").await);
    let path = format!("/v1/components/{coupling}/retire");
    let early = app.send("POST", &path, &json!({"on": "2024-12-31"})).await;
    assert_eq!(early.fields("invalid"), ["on"]);
    let retired = app.send("POST", &path, &json!({"on": "2026-02-01"})).await.expect(200);
    assert_eq!((&retired["retired_on"], &retired["version"]), (&json!("2026-02-01"), &json!(2)));
    assert_eq!(app.send("POST", &path, &json!({"on": "2026-02-01"})).await.expect(200), retired);
    // Another day corrects the day, for nothing took its place on the first one.
    let moved = app.send("POST", &path, &json!({"on": "2026-02-02"})).await.expect(200);
    assert_eq!((&moved["retired_on"], &moved["version"]), (&json!("2026-02-02"), &json!(3)));
    app.refresh().await;
    let names = texts(&place.tasks(app).await, "component_name");
    assert_eq!(names.len(), 2);
    assert!(!names.contains(&"coupling".to_owned()), "{names:?}");
    Reply::of(app.request("GET", &format!("/v1/tasks/{task}"))).await.problem("not_found");
    // What has not come anywhere on earth cannot be told; the second of March has come on its first islands.
    let path = format!("/v1/components/{}/retire", place.component("screen"));
    for ahead in [&path, &path.replace("retire", "replace")] {
        let reply = app.send("POST", ahead, &json!({"on": "2026-03-03"})).await;
        assert_eq!(reply.fields("invalid"), ["on"]);
    }
    // One that is taken out tomorrow is still looked after today.
    app.send("POST", &path, &json!({"on": "2026-03-02"})).await.expect(200);
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 2);
    app.at("2026-03-02T00:00:00Z").await;
    assert_eq!(place.tasks(app).await.len(), 1);
}

async fn a_forecast_before_the_replacement_uses_the_old_part(app: &App) {
    let place = place(app, three()).await;
    rain(app, &place.gauge, "2025-01-01", 420, 2.0).await;
    let before = place.forecast(app, "2025-06-01").await;
    let on_the_eve = place.forecast(app, "2025-11-30").await;
    let body = json!({"on": "2025-12-01", "part": {"kind": "debris_screen", "area_m2": 5.0}});
    let new = app.post(&format!("/v1/components/{}/replace", place.component("screen")), &body).await;
    assert_eq!(place.forecast(app, "2025-06-01").await, before);
    assert_eq!(place.forecast(app, "2025-11-30").await, on_the_eve);
    let after = duty(&place.forecast(app, "2025-12-01").await, "screen", "clean_screen");
    assert_eq!((&after["component_id"], &after["since"]), (&new["id"], &json!("2025-12-01")));
    assert_eq!(after["accumulated"]["value"], 0.0);
}

async fn a_new_component_gets_its_tasks(app: &App) {
    let place = place(app, json!([])).await;
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 0);
    let path = format!("/v1/systems/{}/components", place.system_id());
    app.post(&path, &component("vent", json!({"kind": "vent"}))).await;
    app.refresh().await;
    assert_eq!(place.task(app, "vent", "check_mesh").await["due_on"], "2026-01-01");
    let mut later = component("gate valve", json!({"kind": "valve", "valve_type": "gate"}));
    later["installed_on"] = json!("2026-03-02");
    app.post(&path, &later).await;
    app.refresh().await;
    assert_eq!(place.tasks(app).await.len(), 1, "what is put in tomorrow has no tasks today");
    app.at("2026-03-02T00:00:00Z").await;
    assert_eq!(place.tasks(app).await.len(), 2);
}

async fn pipework_without_days_of_frost_says_what_to_send(app: &App) {
    let place = place(app, json!([component("pipes", json!({"kind": "exposed_pipework"}))])).await;
    let path = format!("/v1/components/{}", place.component("pipes"));
    let one_day = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25}});
    let refused = app.put(&path, 1, &component("pipes", one_day)).await;
    assert_eq!(refused.fields("invalid"), ["part.last_frost"]);
    assert!(
        refused.text.contains("first_frost is given without it; give both days or neither"),
        "{}",
        refused.text
    );
    app.refresh().await;
    for what in ["drain_for_frost", "restart_after_frost"] {
        let task = place.task(app, "pipes", what).await;
        assert_eq!((&task["due_on"], &task["decided_by"]), (&Value::Null, &json!("nothing")), "{task}");
        let reasons = task["reasons"].to_string();
        assert!(reasons.contains("first_frost") && reasons.contains("last_frost"), "{reasons}");
    }
    let both = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25},
        "last_frost": {"month": 4, "day": 20}});
    app.put(&path, 1, &component("pipes", both)).await.expect(200);
    app.refresh().await;
    let task = place.task(app, "pipes", "drain_for_frost").await;
    assert_eq!((&task["due_on"], &task["decided_by"]), (&json!("2025-10-11"), &json!("season")));
    assert!(!task["reasons"].to_string().contains("first_frost"), "{task}");
    // And away again.
    app.put(&path, 2, &component("pipes", json!({"kind": "exposed_pipework"}))).await.expect(200);
    app.refresh().await;
    assert_eq!(place.task(app, "pipes", "drain_for_frost").await["decided_by"], "nothing");
}

async fn of_many_replacements_at_once_one_counts(app: &App) {
    let place = place(app, three()).await;
    let path = format!("/v1/components/{}/replace", place.component("screen"));
    let body = json!({"on": "2026-02-01"});
    let replies = futures_util::future::join_all((0..8).map(|_| app.send("POST", &path, &body))).await;
    assert_eq!(replies.iter().filter(|reply| reply.status == 201).count(), 1);
    for reply in replies.iter().filter(|reply| reply.status != 201) {
        reply.problem("conflict");
    }
    let list = format!("/v1/systems/{}/components?include_retired=true", place.system_id());
    assert_eq!(items(&app.get(&list).await).len(), 4);
}
