//! Wrong bodies: everything that is wrong is named, by its path, at once.

use super::document::committed;
use super::scenario::{component, gauge, id_of, items, place, property, system, texts, three};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    an_unknown_field_is_refused_by_its_name;
    what_nobody_would_read_is_refused;
    a_wrong_type_is_refused_by_its_path;
    a_refused_date_is_named_and_shown;
    a_refused_parameter_is_named_and_shown;
    a_list_of_words_is_read_as_the_document_says;
    wrong_values_are_all_named_at_once;
    a_time_zone_has_to_be_one;
    texts_are_checked;
    a_body_that_is_no_json_is_refused;
    an_id_that_is_none_is_refused;
    far_days_and_strange_cursors_are_no_failure;
}

/// The id of nothing.
const NOBODY: &str = "00000000-0000-4000-8000-000000000000";

/// A body with one field set, by JSON pointer.
fn with(mut body: Value, pointer: &str, value: Value) -> Value {
    let (parent, field) = pointer.rsplit_once('/').expect("a pointer");
    let parent = body.pointer_mut(parent).unwrap_or_else(|| panic!("no {parent}"));
    match parent {
        Value::Array(items) => items[field.parse::<usize>().expect("an index")] = value,
        _ => parent[field] = value,
    }
    body
}

/// Paths that take bodies, each with a right one.
async fn rights(app: &App) -> Vec<(String, Value)> {
    let place = place(app, three()).await;
    let visit = json!({"system_id": place.system_id(), "visited_on": "2026-02-01", "items": [
        {"component_id": place.component("screen"), "duty": "clean_screen", "done": true,
         "finding": {"found": "nothing"}}]});
    let forecast = json!({"latitude_deg": 48.0, "roof": super::scenario::roof(), "components": three(),
        "as_of": "2026-03-01", "rain": [{"date": "2026-01-01", "rain_mm": 1.0}]});
    let screen = place.component("screen");
    vec![
        ("/v1/keys".to_owned(), json!({"name": "tablet", "scopes": ["read"]})),
        ("/v1/properties".to_owned(), property()),
        ("/v1/gauges".to_owned(), gauge()),
        ("/v1/systems".to_owned(), system(&place.property, &place.gauge, three())),
        (format!("/v1/systems/{}/components", place.system_id()), component("vent", json!({"kind": "vent"}))),
        (format!("/v1/components/{screen}/replace"), json!({"on": "2026-02-01"})),
        (format!("/v1/components/{screen}/retire"), json!({"on": "2026-02-01"})),
        ("/v1/visits".to_owned(), visit),
        ("/v1/forecast".to_owned(), forecast),
    ]
}

async fn what_nobody_would_read_is_refused(app: &App) {
    let document = committed();
    let paths = document["paths"].as_object().expect("paths");
    let (mut without_query, mut without_body) = (0, 0);
    for (path, item) in paths {
        let url = path
            .replace("{id}", NOBODY)
            .replace("{duty}", "clear_roof")
            .replace("{format}", "csv")
            .replace("{token}", "ewc_none");
        for (method, operation) in item.as_object().expect("an item") {
            let what = format!("{method} {path}");
            let mut parameters = operation["parameters"].as_array().into_iter().flatten();
            let method = method.to_uppercase();
            if !parameters.any(|parameter| parameter["in"] == "query") {
                without_query += 1;
                let reply = app.send(&method, &format!("{url}?dry_run=true"), &Value::Null).await;
                assert_eq!(reply.status, 400, "{what}: {}", reply.text);
                assert_eq!(reply.fields("malformed_parameter"), ["dry_run"], "{what}");
            }
            if method != "GET" && operation["requestBody"].is_null() {
                without_body += 1;
                for body in ["{\"until\": \"2027-01-01\"}", "{}", "x"] {
                    let reply = Reply::of(app.request(&method, &url).body(body)).await;
                    assert_eq!(reply.status, 400, "{what}: {}", reply.text);
                    reply.problem("malformed_body");
                }
            }
        }
    }
    assert!(
        without_query > 40 && without_body > 10,
        "{without_query} without query, {without_body} without body"
    );
}

async fn an_unknown_field_is_refused_by_its_name(app: &App) {
    for (path, body) in rights(app).await {
        let reply = app.send("POST", &path, &with(body, "/colour", json!("blue"))).await;
        assert_eq!(reply.status, 400, "{path}: {}", reply.text);
        assert_eq!(reply.fields("malformed_body").len(), 1);
        let said = reply.problem("malformed_body")["errors"][0].to_string();
        assert!(said.contains("colour"), "{path}: {said}");
    }
    let rights = rights(app).await;
    let nested = [
        ("/v1/systems", "/roof/colour", "roof.colour"),
        ("/v1/systems", "/components/1/part/colour", "components[1].part.colour"),
        ("/v1/systems", "/components/1/part/emptying/colour", "components[1].part.emptying.colour"),
        ("/v1/visits", "/items/0/colour", "items[0].colour"),
        ("/v1/visits", "/items/0/finding/colour", "items[0].finding.colour"),
        ("/v1/forecast", "/rain/0/colour", "rain[0].colour"),
    ];
    for (path, pointer, field) in nested {
        let body = &rights.iter().find(|(known, _)| known == path).expect("a right body").1;
        let reply = app.send("POST", path, &with(body.clone(), pointer, json!(1))).await;
        assert_eq!(reply.fields("malformed_body"), [field], "{path} {pointer}: {}", reply.text);
        assert!(reply.text.contains("colour"), "{}", reply.text);
    }
}

async fn a_wrong_type_is_refused_by_its_path(app: &App) {
    let rights = rights(app).await;
    let cases = [
        ("/v1/properties", "/latitude_deg", json!("north"), "latitude_deg"),
        ("/v1/properties", "/name", json!(7), "name"),
        ("/v1/properties", "/time_zone", Value::Null, "time_zone"),
        ("/v1/gauges", "/normals", json!({"rain_mm": [1, "x"], "wet_days": []}), "normals.rain_mm[1]"),
        ("/v1/systems", "/property_id", json!("here"), "property_id"),
        ("/v1/systems", "/roof/surface", json!("thatch"), "roof.surface"),
        ("/v1/systems", "/commissioned_on", json!("2025-02-30"), "commissioned_on"),
        ("/v1/systems", "/commissioned_on", json!("1 May 2025"), "commissioned_on"),
        ("/v1/systems", "/components/2/installed_on", json!(20_250_101), "components[2].installed_on"),
        ("/v1/systems", "/components/0", json!([]), "components[0]"),
        ("/v1/systems", "/components/0/part/area_m2", json!("wide"), "components[0].part.area_m2"),
        (
            "/v1/systems",
            "/components/1/part/emptying/hole_mm",
            json!([2]),
            "components[1].part.emptying.hole_mm",
        ),
        ("/v1/systems", "/components/1/part/emptying/by", json!("wind"), "components[1].part.emptying.by"),
        ("/v1/systems", "/components/1/part/emptying", json!({"by": 0}), "components[1].part.emptying.by"),
        ("/v1/systems", "/components/2/part/kind", json!("kettle"), "components[2].part.kind"),
        ("/v1/visits", "/items/0/done", json!("yes"), "items[0].done"),
        ("/v1/visits", "/items/0/finding/found", json!("gold"), "items[0].finding.found"),
        ("/v1/forecast", "/rain/0/rain_mm", json!("1"), "rain[0].rain_mm"),
    ];
    for (path, pointer, value, field) in cases {
        let body = &rights.iter().find(|(known, _)| known == path).expect("a right body").1;
        let reply = app.send("POST", path, &with(body.clone(), pointer, value)).await;
        assert_eq!(reply.fields("malformed_body"), [field], "{path} {pointer}: {}", reply.text);
        assert_eq!(reply.status, 400);
    }
    let mut missing = property();
    missing.as_object_mut().expect("an object").remove("longitude_deg");
    let reply = app.send("POST", "/v1/properties", &missing).await;
    assert_eq!(reply.fields("malformed_body"), ["longitude_deg"]);
    let screen = component("screen", json!({"kind": "debris_screen"}));
    let missing = with(system("", "", three()), "/components/0", screen);
    let missing = with(with(missing, "/property_id", json!(NOBODY)), "/gauge_id", json!(NOBODY));
    let reply = app.send("POST", "/v1/systems", &missing).await;
    assert_eq!(reply.fields("malformed_body"), ["components[0].part.area_m2"]);
}

/// The message of the only refused field; it never speaks of lines and columns.
fn message(reply: &Reply, code: &str) -> String {
    let problem = reply.problem(code);
    let message = problem["errors"][0]["message"].as_str().expect("a message").to_owned();
    assert!(!reply.text.contains("column") && !message.contains("line"), "{}", reply.text);
    message
}

async fn a_refused_date_is_named_and_shown(app: &App) {
    let rights = rights(app).await;
    let wrong =
        ["2026-13-01", "2026-02-30", "1 May 2026", "2026-3", "01/05/2026", "2026-03-01T00:00:00Z", ""];
    for (path, pointer, field) in [
        ("/v1/systems", "/commissioned_on", "commissioned_on"),
        ("/v1/systems", "/components/2/installed_on", "components[2].installed_on"),
        ("/v1/systems", "/components/1/last_served_on", "components[1].last_served_on"),
        ("/v1/visits", "/visited_on", "visited_on"),
        ("/v1/forecast", "/as_of", "as_of"),
        ("/v1/forecast", "/rain/0/date", "rain[0].date"),
    ] {
        let body = &rights.iter().find(|(known, _)| known == path).expect("a right body").1;
        for wrong in wrong {
            let reply = app.send("POST", path, &with(body.clone(), pointer, json!(wrong))).await;
            assert_eq!(reply.fields("malformed_body"), [field], "{path} {wrong:?}: {}", reply.text);
            let expected = format!("{wrong:?} is not a date such as 2026-03-07");
            assert_eq!(message(&reply, "malformed_body"), expected, "{path}");
        }
    }
    let key =
        with(json!({"name": "tablet", "scopes": ["read"]}), "/expires_at", json!("2026-13-01T00:00:00Z"));
    let reply = app.send("POST", "/v1/keys", &key).await;
    assert_eq!(reply.fields("malformed_body"), ["expires_at"]);
    let expected = "\"2026-13-01T00:00:00Z\" is not an instant such as 2026-03-07T12:00:00Z";
    assert_eq!(message(&reply, "malformed_body"), expected);
    // Rain is judged day by day.
    let gauge = id_of(&app.post("/v1/gauges", &gauge()).await);
    let days = json!({"days": [{"date": "2026-02-01", "rain_mm": 1.0}, {"date": "2026-13-01", "rain_mm": 1.0},
        {"date": "2026-02-02"}, {"date": "2026-02-03", "rain_mm": "1"}]});
    let report = app.send("PUT", &format!("/v1/gauges/{gauge}/rain"), &days).await.expect(200);
    assert_eq!(
        texts(report["refused"].as_array().expect("refusals"), "reason"),
        [
            "date: \"2026-13-01\" is not a date such as 2026-03-07",
            "rain_mm: missing field `rain_mm`",
            "rain_mm: invalid type: string \"1\", expected f64",
        ],
        "{report}"
    );
}

async fn a_refused_parameter_is_named_and_shown(app: &App) {
    let place = place(app, three()).await;
    let rain = format!("/v1/gauges/{}/rain", place.gauge);
    let forecast = format!("/v1/systems/{}/forecast", place.system_id());
    for (path, field) in [
        ("/v1/tasks", "from"),
        ("/v1/visits", "to"),
        ("/v1/digest", "from"),
        ("/v1/rounds", "from"),
        (rain.as_str(), "to"),
        (forecast.as_str(), "as_of"),
    ] {
        for wrong in ["2026-13-01", "2026-02-30", "tomorrow", ""] {
            let reply = Reply::of(app.request("GET", &format!("{path}?{field}={wrong}"))).await;
            assert_eq!(reply.fields("malformed_parameter"), [field], "{path}: {}", reply.text);
            let expected = format!("{wrong:?} is not a date such as 2026-03-07");
            assert_eq!(message(&reply, "malformed_parameter"), expected, "{path}");
        }
    }
    for (path, field) in [
        ("/v1/tasks?limit=many", "limit"),
        ("/v1/tasks?system_id=nine", "system_id"),
        ("/v1/visits?include_withdrawn=maybe", "include_withdrawn"),
        // What comes twice is no list.
        ("/v1/tasks?from=2026-01-01&from=2026-01-02", "from"),
        ("/v1/tasks?limit=1&limit=1", "limit"),
        ("/v1/visits?include_withdrawn=true&include_withdrawn=true", "include_withdrawn"),
    ] {
        let reply = Reply::of(app.request("GET", path)).await;
        assert_eq!(reply.fields("malformed_parameter"), [field], "{path}: {}", reply.text);
        message(&reply, "malformed_parameter");
    }
    let days = json!({"days": []});
    for field in ["layout", "several_days"] {
        let reply = app.send("PUT", &format!("{rain}?{field}=both"), &days).await;
        assert_eq!(reply.fields("malformed_parameter"), [field], "{}", reply.text);
        assert!(message(&reply, "malformed_parameter").contains("both"), "{}", reply.text);
    }
    let reply = Reply::of(app.request("DELETE", &format!("{rain}?from=2026-01-01"))).await;
    assert_eq!(reply.fields("malformed_parameter"), ["to"], "{}", reply.text);
}

async fn a_list_of_words_is_read_as_the_document_says(app: &App) {
    let place = place(app, three()).await;
    app.refresh().await;
    let count = |page: Value| items(&page).len();
    let all = count(app.get("/v1/tasks?state=resting,near,due,late").await);
    assert!(all > 0 && all == count(app.get(&format!("/v1/tasks?system_id={}", place.system_id())).await));
    // Some clients repeat the parameter instead.
    let count_of = async |path: &str| count(app.get(path).await);
    let two = count_of("/v1/tasks?state=resting,near").await;
    assert_eq!(count_of("/v1/tasks?state=resting&state=near").await, two);
    assert!(two >= count_of("/v1/tasks?state=resting").await && two <= all);
    for (path, field) in [
        ("/v1/tasks?state=", "state"),
        ("/v1/tasks?state=near&state=someday", "state"),
        ("/v1/tasks?state=near,", "state"),
        ("/v1/tasks?state=Near", "state"),
        ("/v1/reminders?kind=", "kind"),
        ("/v1/reminders?kind=due,,late", "kind"),
        ("/v1/rounds/proposal?off_weekdays=", "off_weekdays"),
        ("/v1/rounds/proposal?off_weekdays=TUE", "off_weekdays"),
        ("/v1/rounds/proposal?off_weekdays=monday", "off_weekdays"),
        ("/v1/rounds/proposal?off_dates=", "off_dates"),
        ("/v1/rounds/proposal?off_dates=2026-04-03,2026-13-01", "off_dates"),
    ] {
        let reply = Reply::of(app.request("GET", path)).await;
        assert_eq!(reply.fields("invalid"), [field], "{path}: {}", reply.text);
    }
}

async fn wrong_values_are_all_named_at_once(app: &App) {
    let place = place(app, json!([])).await;
    let wrong = json!({"name": "", "latitude_deg": 90.5, "longitude_deg": -180.5, "elevation_m": 9000.0,
        "time_zone": "Mars/Olympus", "notes": "\u{0}"});
    let all = ["name", "latitude_deg", "longitude_deg", "elevation_m", "time_zone", "notes"];
    let reply = app.send("POST", "/v1/properties", &wrong).await;
    assert_eq!((reply.status, reply.fields("invalid")), (422, all.map(str::to_owned).to_vec()));
    let path = format!("/v1/properties/{}", place.property);
    assert_eq!(app.put(&path, 1, &wrong).await.fields("invalid"), all);

    let mut months = vec![50.0; 12];
    months[3] = -1.0;
    let wrong = json!({"name": "x".repeat(201), "latitude_deg": -91.0, "longitude_deg": 0.0, "normals":
        {"rain_mm": months, "wet_days": [8.0], "wet_day_threshold_mm": 0.0, "years": 0.5}});
    let all = [
        "name",
        "latitude_deg",
        "normals.rain_mm[3]",
        "normals.wet_days",
        "normals.wet_day_threshold_mm",
        "normals.years",
    ];
    assert_eq!(app.send("POST", "/v1/gauges", &wrong).await.fields("invalid"), all);
    let path = format!("/v1/gauges/{}", place.gauge);
    assert_eq!(app.put(&path, 1, &wrong).await.fields("invalid"), all);

    let mut wrong = system(NOBODY, NOBODY, three());
    wrong["name"] = json!("\t");
    wrong["commissioned_on"] = json!("1850-01-01");
    wrong["demand_l_per_day"] = json!(-1.0);
    wrong["roof"] = json!({"plan_area_m2": 0.0, "surface": "tile", "runoff_coefficient": 1.5,
        "wetting_loss_mm": 21.0, "canopy_share": 0.5});
    wrong["components"][1]["part"]["emptying"] = json!({"by": "weep_hole", "hole_mm": 0.1, "head_m": 0.0});
    wrong["components"][2]["last_served_on"] = json!("2024-12-31");
    let all = [
        "name",
        "commissioned_on",
        "demand_l_per_day",
        "roof.plan_area_m2",
        "roof.runoff_coefficient",
        "roof.wetting_loss_mm",
        "roof.canopy_share",
        "components[1].part.emptying.hole_mm",
        "components[1].part.emptying.head_m",
        "components[2].last_served_on",
        "property_id",
        "gauge_id",
    ];
    assert_eq!(app.send("POST", "/v1/systems", &wrong).await.fields("invalid"), all);
    let mut retired = system(&place.property, &place.gauge, json!([]));
    retired.as_object_mut().expect("an object").remove("components");
    retired["retired_on"] = json!("2024-12-31");
    let path = format!("/v1/systems/{}", place.system_id());
    assert_eq!(app.put(&path, 1, &retired).await.fields("invalid"), ["retired_on"]);
}

async fn a_time_zone_has_to_be_one(app: &App) {
    for zone in ["", "CEST", "GMT+2", "+02:00", "Europe/Alderrow", "europe/london ", "UTC+1"] {
        let reply = app.send("POST", "/v1/properties", &with(property(), "/time_zone", json!(zone))).await;
        assert_eq!(reply.fields("invalid"), ["time_zone"], "{zone:?}");
        let said = reply.problem("invalid")["errors"][0]["message"].as_str().expect("a message").to_owned();
        assert!(said.contains("IANA"), "it says what would do: {said}");
    }
    for zone in ["UTC", "America/Los_Angeles", "Pacific/Auckland", "Asia/Kathmandu"] {
        let made = app.post("/v1/properties", &with(property(), "/time_zone", json!(zone))).await;
        assert_eq!(made["time_zone"], zone);
    }
}

async fn texts_are_checked(app: &App) {
    let name = |name: &str| with(property(), "/name", json!(name));
    // Characters are counted, not bytes.
    let made = app.post("/v1/properties", &name(&"ä".repeat(200))).await;
    assert_eq!(made["name"].as_str().expect("a name").chars().count(), 200);
    for wrong in [&"ä".repeat(201), "", "   ", "\n", "bell\u{7}", "zero\u{0}"] {
        assert_eq!(
            app.send("POST", "/v1/properties", &name(wrong)).await.fields("invalid"),
            ["name"],
            "{wrong:?}"
        );
    }
    let notes = |notes: &str| with(property(), "/notes", json!(notes));
    let made = app.post("/v1/properties", &notes("one line\nand another\r\n\tand \u{1f327}")).await;
    assert_eq!(made["notes"], "one line\nand another\r\n\tand \u{1f327}");
    let reply = app.send("POST", "/v1/properties", &notes(&"x".repeat(4001))).await;
    assert_eq!(reply.fields("invalid"), ["notes"]);
}

async fn a_body_that_is_no_json_is_refused(app: &App) {
    let send = async |kind: &str, text: &'static str| {
        Reply::of(app.request("POST", "/v1/properties").header("Content-Type", kind).body(text)).await
    };
    for text in
        ["", "{", "[]", "null", "\"x\"", "{\"name\": NaN}", "{\"name\": \"a\"} trailing", "\u{feff}{}"]
    {
        let reply = send("application/json", text).await;
        assert_eq!(reply.status, 400, "{text:?}: {}", reply.text);
        reply.problem("malformed_body");
    }
    for kind in ["text/plain", "text/csv", "application/xml", ""] {
        let reply = send(kind, "{}").await;
        assert_eq!(reply.status, 415, "{kind}: {}", reply.text);
        reply.problem("unsupported_media_type");
    }
    let right = property().to_string();
    let request =
        app.request("POST", "/v1/properties").header("Content-Type", "Application/JSON; charset=utf-8");
    Reply::of(request.body(right)).await.expect(201);
    let large = with(property(), "/notes", json!("x".repeat(2 * 1024 * 1024)));
    let reply = app.send("POST", "/v1/properties", &large).await;
    assert_eq!(reply.status, 413);
    reply.problem("body_too_large");
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
}

async fn an_id_that_is_none_is_refused(app: &App) {
    for path in ["properties", "gauges", "systems", "components", "tasks", "visits"] {
        let reply = Reply::of(app.request("GET", &format!("/v1/{path}/nine"))).await;
        assert_eq!(reply.status, 400, "{path}: {}", reply.text);
        reply.problem("malformed_parameter");
    }
}

async fn far_days_and_strange_cursors_are_no_failure(app: &App) {
    let place = place(app, three()).await;
    super::scenario::rain(app, &place.gauge, "2026-01-01", 3, 1.0).await;
    let screen = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
    place.visit(app, "2026-02-01", screen).await;
    app.refresh().await;
    let rain = format!("/v1/gauges/{}/rain", place.gauge);
    let count = async |path: String| {
        let reply = Reply::of(app.request("GET", &path)).await;
        super::scenario::items(&reply.expect(200)).len()
    };
    for (far, whole) in [
        ("-262000-01-01", true),
        ("-0001-01-01", true),
        ("%2B262000-01-01", false),
        ("%2B10000-01-01", false),
    ] {
        let (from, to) = if whole { ("from", "to") } else { ("to", "from") };
        for (path, all) in [(rain.as_str(), 3), ("/v1/visits", 1), ("/v1/tasks", 4)] {
            assert_eq!(count(format!("{path}?{from}={far}")).await, all, "{path} {from} {far}");
            assert_eq!(count(format!("{path}?{to}={far}")).await, 0, "{path} {to} {far}");
        }
    }
    // Cursors are the service's own, but anybody can make one up.
    let id = "00000000-0000-4000-8000-000000000000";
    for (list, path, key) in [
        ("properties", "/v1/properties", "a\u{0}"),
        ("gauges", "/v1/gauges", "\u{0}"),
        ("systems", "/v1/systems", "\u{0}b"),
        ("tasks", "/v1/tasks", "-262000-01-01"),
        ("tasks", "/v1/tasks", "+262000-01-01"),
        ("visits", "/v1/visits", "+262000-01-01"),
        ("rain", rain.as_str(), "-262000-01-01"),
        ("keys", "/v1/keys", "9223372036854775807"),
        ("keys", "/v1/keys", "-9223372036854775808"),
    ] {
        let cursor = encoded(&format!("{list}\n{id}\n{key}"));
        let reply = Reply::of(app.request("GET", &format!("{path}?cursor={cursor}"))).await;
        assert!([200, 400].contains(&reply.status), "{path} {key:?}: {}", reply.text);
    }
    let gone =
        Reply::of(app.request("DELETE", &format!("{rain}?from=-262000-01-01&to=%2B262000-01-01"))).await;
    assert_eq!((gone.status, gone.text.as_str()), (204, ""));
    assert_eq!(count(rain).await, 0);
}

/// Base64 for URLs without padding, as cursors are written.
fn encoded(text: &str) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    let mut encoded = String::new();
    for bytes in text.as_bytes().chunks(3) {
        let word =
            bytes.iter().fold(0_u32, |word, byte| word << 8 | u32::from(*byte)) << (8 * (3 - bytes.len()));
        for place in 0..=bytes.len() {
            encoded.push(char::from(LETTERS[(word >> (18 - 6 * place) & 63) as usize]));
        }
    }
    encoded
}
