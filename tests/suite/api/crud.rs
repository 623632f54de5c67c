//! Properties, gauges and systems: made, read, listed, changed under their version, removed.

use super::scenario::{gauge, id_of, items, place, property, rain, system, texts};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    what_is_made_is_read_back;
    lists_walk_page_by_page_by_name_and_through_namesakes;
    cursors_and_limits_are_checked;
    changes_are_guarded_by_the_version;
    what_is_in_use_is_not_removed_and_what_is_removed_is_gone;
    readers_pay_only_for_what_changed;
    a_gauges_tag_changes_with_its_rain_and_its_version_does_not;
    a_systems_tag_changes_with_its_components;
    systems_are_filtered_by_place_and_gauge;
    normals_and_defaults_are_filled_in;
    of_many_changes_at_once_one_counts;
    a_property_is_not_removed_from_under_a_new_system;
}

/// A right body of each resource that has a list, for things that differ by name.
async fn bodies(app: &App) -> Vec<(&'static str, Value)> {
    let property_id = id_of(&app.post("/v1/properties", &named(property(), "M for the middle")).await);
    let gauge_id = id_of(&app.post("/v1/gauges", &named(gauge(), "M for the middle")).await);
    vec![
        ("/v1/properties", property()),
        ("/v1/gauges", gauge()),
        ("/v1/systems", system(&property_id, &gauge_id, json!([]))),
    ]
}

fn named(mut body: Value, name: &str) -> Value {
    body["name"] = json!(name);
    body
}

/// The body as PUT takes it: a system's components have routes of their own.
fn replacing(body: &Value) -> Value {
    let mut body = body.clone();
    body.as_object_mut().expect("an object").remove("components");
    body
}

async fn what_is_made_is_read_back(app: &App) {
    for (path, body) in bodies(app).await {
        let reply = app.send("POST", path, &body).await;
        let made = reply.expect(201);
        let own = format!("{path}/{}", id_of(&made));
        assert_eq!((reply.header("location"), reply.header("etag")), (own.as_str(), "\"1\""));
        assert_eq!(app.get(&own).await, made);
        for (field, sent) in replacing(&body).as_object().expect("an object") {
            if field == "roof" {
                for (field, sent) in sent.as_object().expect("a roof") {
                    assert_eq!(&made["roofs"][0][field], sent, "{path} roof.{field}");
                }
            } else {
                assert_eq!(&made[field], sent, "{path} {field}");
            }
        }
        assert_eq!((&made["version"], &made["created_at"]), (&json!(1), &json!("2026-03-01T12:00:00Z")));
        assert_eq!(made["updated_at"], made["created_at"]);
        assert!(items(&app.get(path).await).contains(&made));
    }
}

async fn lists_walk_page_by_page_by_name_and_through_namesakes(app: &App) {
    for (path, body) in bodies(app).await {
        let before = app.walk(path, 100).await.len();
        // Three namesakes, names that sort by bytes, and one beyond ASCII.
        for name in ["terrace", "orchard", "orchard", "orchard", "Ärmel", "Zaun", "alder"] {
            app.post(path, &named(body.clone(), name)).await;
        }
        let whole = app.walk(path, 500).await;
        assert_eq!(whole.len(), before + 7, "{path}");
        let names = texts(&whole, "name");
        assert!(names.is_sorted(), "{path}: {names:?}");
        for limit in [1, 2, 3] {
            assert_eq!(app.walk(path, limit).await, whole, "{path} by {limit}");
        }
        let mut ids = texts(&whole, "id");
        ids.sort();
        ids.dedup();
        assert_eq!(ids.len(), whole.len(), "{path}: nothing twice");
    }
}

async fn cursors_and_limits_are_checked(app: &App) {
    let bodies = bodies(app).await;
    for (path, body) in &bodies {
        app.post(path, body).await;
        app.post(path, body).await;
    }
    let cursor =
        app.get("/v1/properties?limit=1").await["next_cursor"].as_str().expect("a cursor").to_owned();
    for (path, _) in &bodies {
        for limit in ["0", "501"] {
            let reply = Reply::of(app.request("GET", &format!("{path}?limit={limit}"))).await;
            assert_eq!(reply.fields("invalid"), ["limit"]);
            assert_eq!(reply.status, 422);
        }
        for limit in ["-1", "ten", "1.5", "4294967296"] {
            let reply = Reply::of(app.request("GET", &format!("{path}?limit={limit}"))).await;
            assert_eq!((reply.fields("malformed_parameter"), reply.status), (vec!["limit".to_owned()], 400));
        }
        let reply = Reply::of(app.request("GET", &format!("{path}?limt=1"))).await;
        let problem = reply.problem("malformed_parameter");
        assert!(problem["errors"].to_string().contains("limt"), "a misspelt name is named: {problem}");
        for cursor in ["x", "", "AAAA", "eA"] {
            let reply = Reply::of(app.request("GET", &format!("{path}?cursor={cursor}"))).await;
            assert_eq!(reply.status, 400);
            reply.problem("bad_cursor");
        }
        let of_another_list = Reply::of(app.request("GET", &format!("{path}?cursor={cursor}"))).await;
        if *path == "/v1/properties" {
            of_another_list.expect(200);
        } else {
            of_another_list.problem("bad_cursor");
        }
    }
}

async fn changes_are_guarded_by_the_version(app: &App) {
    for (path, body) in bodies(app).await {
        let own = format!("{path}/{}", id_of(&app.post(path, &body).await));
        let change = named(replacing(&body), "renamed");
        let bare = app.send("PUT", &own, &change).await;
        assert_eq!(bare.status, 428);
        bare.problem("version_required");
        let with =
            async |tag: &str| Reply::of(app.request("PUT", &own).header("If-Match", tag).json(&change)).await;
        for tag in ["\"2\"", "\"0\"", "\"-1\"", "1", "*", "W/\"1\"", "\"one\"", "\"\"", "\"1\", \"2\"", ""] {
            let reply = with(tag).await;
            assert_eq!(reply.status, 412, "{path} {tag}: {}", reply.text);
            reply.problem("version_mismatch");
        }
        assert_eq!(app.get(&own).await["name"], body["name"]);
        app.clock.set("2026-03-01T13:00:00.25Z".parse().expect("an instant"));
        let reply = with("\"1\"").await;
        let changed = reply.expect(200);
        assert_eq!((&changed["name"], &changed["version"]), (&json!("renamed"), &json!(2)));
        assert_eq!(changed["created_at"], "2026-03-01T12:00:00Z");
        assert_eq!(changed["updated_at"], "2026-03-01T13:00:00.250Z");
        assert_eq!(app.get(&own).await, changed);
        let stale = with("\"1\"").await;
        let detail = stale.problem("version_mismatch")["detail"].as_str().expect("a detail").to_owned();
        assert!(detail.contains("\"2\""), "it says which version stands: {detail}");
        // The tag of the answer to a change serves for the next one.
        with(reply.header("etag")).await.expect(200);
        app.clock.set("2026-03-01T12:00:00Z".parse().expect("an instant"));
    }
}

async fn what_is_in_use_is_not_removed_and_what_is_removed_is_gone(app: &App) {
    let place = place(app, json!([])).await;
    let remove = async |path: &str, tag: Option<&str>| {
        let request = app.request("DELETE", path);
        Reply::of(if let Some(tag) = tag { request.header("If-Match", tag) } else { request }).await
    };
    for (path, id) in [("/v1/properties", &place.property), ("/v1/gauges", &place.gauge)] {
        let used = remove(&format!("{path}/{id}"), Some("\"1\"")).await;
        assert_eq!(used.status, 409);
        let problem = used.problem("in_use");
        assert!(problem["detail"].as_str().expect("a detail").contains("1 system"), "{problem}");
        let body = if path == "/v1/gauges" { gauge() } else { property() };
        let spare = id_of(&app.post(path, &body).await);
        let own = format!("{path}/{spare}");
        if path == "/v1/gauges" {
            rain(app, &spare, "2026-01-01", 3, 1.0).await;
        }
        assert_eq!(remove(&own, None).await.problem("version_required")["status"], 428);
        remove(&own, Some("\"2\"")).await.problem("version_mismatch");
        let gone = remove(&own, Some("\"1\"")).await;
        assert_eq!((gone.status, gone.text.as_str()), (204, ""));
        Reply::of(app.request("GET", &own)).await.problem("not_found");
        remove(&own, Some("\"1\"")).await.problem("not_found");
        app.put(&own, 1, &body).await.problem("not_found");
        assert!(!texts(&app.walk(path, 100).await, "id").contains(&spare));
    }
    // A system moved away sets its property free, and a retired one does not.
    let elsewhere = id_of(&app.post("/v1/properties", &property()).await);
    let path = format!("/v1/systems/{}", place.system_id());
    let mut facts = replacing(&system(&place.property, &place.gauge, json!([])));
    facts["retired_on"] = json!("2026-01-01");
    app.put(&path, 1, &facts).await.expect(200);
    remove(&format!("/v1/properties/{}", place.property), Some("\"1\"")).await.problem("in_use");
    facts["property_id"] = json!(elsewhere);
    app.put(&path, 2, &facts).await.expect(200);
    assert_eq!(remove(&format!("/v1/properties/{}", place.property), Some("\"1\"")).await.status, 204);
}

async fn readers_pay_only_for_what_changed(app: &App) {
    for (path, body) in bodies(app).await {
        let own = format!("{path}/{}", id_of(&app.post(path, &body).await));
        for path in [own.as_str(), path] {
            let first = Reply::of(app.request("GET", path)).await;
            let tag = first.header("etag").to_owned();
            assert!(
                tag.starts_with('"') && tag.ends_with('"') && tag.len() > 2,
                "{path}: a strong tag: {tag}"
            );
            assert_eq!(first.header("cache-control"), "private, no-cache");
            let again =
                async |tags: &str| Reply::of(app.request("GET", path).header("If-None-Match", tags)).await;
            for tags in [tag.clone(), format!("W/{tag}"), format!("\"x\", {tag}"), "*".to_owned()] {
                let reply = again(&tags).await;
                assert_eq!((reply.status, reply.text.as_str()), (304, ""), "{path} {tags}");
                assert_eq!(reply.header("etag"), tag);
            }
            again("\"x\"").await.expect(200);
            again(tag.trim_matches('"')).await.expect(200);
        }
        let (before, list) =
            (Reply::of(app.request("GET", &own)).await, Reply::of(app.request("GET", path)).await);
        app.put(&own, 1, &named(replacing(&body), "renamed")).await.expect(200);
        for (path, old) in [(own.as_str(), &before), (path, &list)] {
            let request = app.request("GET", path).header("If-None-Match", old.header("etag"));
            let new = Reply::of(request).await;
            assert_eq!(new.status, 200, "{path} changed");
            assert_ne!(new.text, old.text);
        }
    }
}

async fn a_gauges_tag_changes_with_its_rain_and_its_version_does_not(app: &App) {
    let id = id_of(&app.post("/v1/gauges", &gauge()).await);
    let path = format!("/v1/gauges/{id}");
    let tag = async || Reply::of(app.request("GET", &path)).await.header("etag").to_owned();
    let before = tag().await;
    let (version, hash) = before.trim_matches('"').split_once('.').expect("version, point, hash");
    assert!(version == "1" && !hash.is_empty(), "{before}");
    rain(app, &id, "2026-01-01", 2, 1.0).await;
    let after = tag().await;
    assert_ne!(after, before);
    assert!(after.starts_with("\"1."), "{after}");
    rain(app, &id, "2026-01-01", 2, 1.0).await;
    assert_eq!(tag().await, after, "the same rain again changes nothing");
    // Rain in between does not stand in the way of somebody who changes the facts.
    let request = app.request("PUT", &path).header("If-Match", &before);
    let changed = Reply::of(request.json(&named(gauge(), "renamed"))).await.expect(200);
    assert_eq!((&changed["version"], &changed["rain_days"]), (&json!(2), &json!(2)));
    let request = app.request("DELETE", &path).header("If-Match", tag().await);
    assert_eq!(Reply::of(request).await.status, 204);
}

async fn a_systems_tag_changes_with_its_components(app: &App) {
    let place = place(app, json!([])).await;
    let path = format!("/v1/systems/{}", place.system_id());
    let before = Reply::of(app.request("GET", &path)).await.header("etag").to_owned();
    let vent = super::scenario::component("vent", json!({"kind": "vent"}));
    app.post(&format!("{path}/components"), &vent).await;
    let reply = Reply::of(app.request("GET", &path).header("If-None-Match", &before)).await;
    assert_eq!(texts(reply.expect(200)["components"].as_array().expect("components"), "name"), ["vent"]);
    let facts = named(replacing(&system(&place.property, &place.gauge, json!([]))), "renamed");
    let reply = Reply::of(app.request("PUT", &path).header("If-Match", before).json(&facts)).await;
    assert_eq!(reply.expect(200)["version"], 2);
    let fresh = Reply::of(app.request("GET", &path)).await;
    assert_eq!((reply.header("etag"), &reply.text), (fresh.header("etag"), &fresh.text));
}

async fn systems_are_filtered_by_place_and_gauge(app: &App) {
    let (here, there) = (place(app, json!([])).await, place(app, json!([])).await);
    let mixed = app.post("/v1/systems", &system(&here.property, &there.gauge, json!([]))).await;
    let ids = async |query: String| {
        let mut ids = texts(&app.walk(&format!("/v1/systems?{query}"), 1).await, "id");
        ids.sort();
        ids
    };
    let sorted = |mut ids: Vec<String>| {
        ids.sort();
        ids
    };
    let (a, b, c) = (here.system_id().to_owned(), there.system_id().to_owned(), id_of(&mixed));
    assert_eq!(ids(format!("property_id={}", here.property)).await, sorted(vec![a.clone(), c.clone()]));
    assert_eq!(ids(format!("gauge_id={}", there.gauge)).await, sorted(vec![b, c.clone()]));
    let both = format!("gauge_id={}&property_id={}", there.gauge, here.property);
    assert_eq!(ids(both).await, [c]);
    assert_eq!(ids(format!("gauge_id={}", here.gauge)).await, [a]);
    let reply = Reply::of(app.request("GET", "/v1/systems?gauge_id=nine")).await;
    assert_eq!(reply.fields("malformed_parameter"), ["gauge_id"]);
}

async fn normals_and_defaults_are_filled_in(app: &App) {
    let months = json!([60, 50, 50, 45, 50, 45, 45, 50, 50, 70, 70, 65]);
    let days = json!([11, 9, 10, 9, 9, 8, 8, 9, 8, 11, 11, 11]);
    let mut body = gauge();
    body["normals"] = json!({"rain_mm": months, "wet_days": days});
    let made = app.post("/v1/gauges", &body).await;
    assert_eq!(made["normals"]["wet_day_threshold_mm"], 1.0);
    assert_eq!(made["normals"]["years"], 30.0);
    assert_eq!(made["normals"]["rain_mm"][9], 70.0);
    assert_eq!((&made["rain_from"], &made["rain_days"]), (&Value::Null, &json!(0)));
    // A change replaces everything, so normals that are not sent are gone.
    let bare = app.put(&format!("/v1/gauges/{}", id_of(&made)), 1, &gauge()).await.expect(200);
    assert_eq!(bare["normals"], Value::Null);
    let lean = json!({"name": "terrace", "latitude_deg": -33.0, "longitude_deg": 151.0, "time_zone": "UTC"});
    let made = app.post("/v1/properties", &lean).await;
    assert_eq!((&made["elevation_m"], &made["notes"]), (&json!(0.0), &Value::Null));
    let place = place(app, json!([])).await;
    for (surface, coefficient, loss) in
        [("metal", 0.92, 0.35), ("tile", 0.84, 0.75), ("flat_gravel", 0.62, 3.0)]
    {
        let mut body = system(&place.property, &place.gauge, json!([]));
        body["roof"] = json!({"plan_area_m2": 80.0, "surface": surface});
        body.as_object_mut().expect("an object").remove("demand_l_per_day");
        body.as_object_mut().expect("an object").remove("components");
        let made = app.post("/v1/systems", &body).await;
        let roof = &made["roofs"][0];
        assert_eq!(
            (&roof["runoff_coefficient"], &roof["wetting_loss_mm"]),
            (&json!(coefficient), &json!(loss))
        );
        assert_eq!(roof["runoff_coefficient_source"]["given"], false);
        assert_ne!(roof["wetting_loss_source"]["source"], "");
        assert_eq!((&roof["canopy"], &roof["canopy_share"]), (&json!("none"), &json!(0.0)));
        assert_eq!((&made["demand_l_per_day"], &made["components"]), (&json!(0.0), &json!([])));
    }
    assert_eq!(place.system["roofs"][0]["runoff_coefficient_source"]["given"], true);
}

async fn of_many_changes_at_once_one_counts(app: &App) {
    for (path, body) in bodies(app).await {
        let own = format!("{path}/{}", id_of(&app.post(path, &body).await));
        let change =
            async |n: usize| app.put(&own, 1, &named(replacing(&body), &format!("change {n}"))).await;
        let replies = futures_util::future::join_all((0..8).map(change)).await;
        let won: Vec<&Reply> = replies.iter().filter(|reply| reply.status == 200).collect();
        assert_eq!(won.len(), 1, "{path}");
        assert!(replies.iter().all(|reply| [200, 412].contains(&reply.status)), "{path}");
        let now = app.get(&own).await;
        assert_eq!((&now["version"], &now["name"]), (&json!(2), &won[0].expect(200)["name"]), "{path}");
    }
}

async fn a_property_is_not_removed_from_under_a_new_system(app: &App) {
    for round in 0..12 {
        let property = id_of(&app.post("/v1/properties", &property()).await);
        let gauge = id_of(&app.post("/v1/gauges", &gauge()).await);
        let (kept, path) = if round % 2 == 0 {
            ("property_id", format!("/v1/properties/{property}"))
        } else {
            ("gauge_id", format!("/v1/gauges/{gauge}"))
        };
        let body = system(&property, &gauge, json!([]));
        let (removed, made) = futures_util::future::join(
            Reply::of(app.request("DELETE", &path).header("If-Match", "\"1\"")),
            app.send("POST", "/v1/systems", &body),
        )
        .await;
        match (removed.status, made.status) {
            (204, 422) => assert_eq!(made.fields("invalid"), [kept]),
            (409, 201) => drop(app.get(&path).await),
            other => panic!("{other:?}: {} {}", removed.text, made.text),
        }
    }
}
