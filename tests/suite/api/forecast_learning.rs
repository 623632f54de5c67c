//! What findings teach: which way and how far a limit moves, and what each lesson says of itself.
//!
//! The values were worked out apart from the service: a finding's update of a normal law, sound and wild, mixed by how
//! well each foresaw it.

use super::scenario::{Place, component, duty, id_of, place, rain, roof, storms};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    a_finding_moves_the_mark_and_says_how_far;
    findings_add_up_and_their_doubt_grows_between_them;
    less_than_expected_comes_later_and_more_comes_earlier;
    what_was_expected_leaves_the_mark_where_it_is_and_narrows_it;
    one_finding_at_most_doubles_the_mark;
    the_fuller_it_was_found_the_lower_the_mark;
    what_the_next_finding_is_worth_stands_where_there_is_something_to_learn;
    a_measured_depth_teaches_when_to_remove_sediment;
    nobody_has_seen_anything_of_a_sketch;
}

/// Limit, its log-sd and the weight after 0.4 was found by eye at 100 of 120 fills.
const LESS: (f64, f64, f64) = (199.777, 0.404_738, 0.694_455);
/// The same after 0.9 was found at 150 of what that left, fifty days later.
const THEN: (f64, f64, f64) = (183.170, 0.295_235, 0.478_952);

/// A diverter that drips. Its chamber holds 1 mm over the roof, of which half drips away in a day, so that each day's rain
/// of [`place_of_drips`] fills it to the brim: its accumulated is the number of days. Its limit is 120 fills, its log-sd 0.7.
fn drips() -> Value {
    component(
        "diverter",
        json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0,
            "emptying": {"by": "drip", "litres_per_hour": 1.0}}),
    )
}

/// A place with a dripping diverter, where every day brings the same rain and the ceiling decides nothing.
async fn place_of_drips(app: &App) -> Place {
    let place = place(app, json!([drips()])).await;
    rain(app, &place.gauge, "2024-06-01", 639, 5.0).await;
    let path = "/v1/duties/clear_weep_hole";
    let version = app.get(path).await["version"].as_i64().expect("a version");
    app.put(path, version, &json!({"longest_interval_months": 240})).await.expect(200);
    place
}

/// A look at the diverter.
async fn look(app: &App, place: &Place, on: &str, finding: Value) -> Value {
    let mut item =
        json!({"component_id": place.component("diverter"), "duty": "clear_weep_hole", "done": false});
    item["finding"] = finding;
    place.visit(app, on, item).await
}

async fn drip(app: &App, place: &Place, as_of: &str) -> Value {
    duty(&place.forecast(app, as_of).await, "diverter", "clear_weep_hole")
}

fn by_eye(share: f64) -> Value {
    json!({"found": "fraction", "fraction": share})
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Figures are sent with six digits.
#[track_caller]
fn near(value: &Value, expected: f64) {
    assert!((number(value) / expected - 1.0).abs() < 1e-5, "{value} is not {expected}");
}

fn date(value: &Value) -> chrono::NaiveDate {
    value.as_str().and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("{value} is no date"))
}

async fn a_finding_moves_the_mark_and_says_how_far(app: &App) {
    let place = place_of_drips(app).await;
    let before = drip(app, &place, "2025-04-11").await;
    let limit = &before["limit"];
    assert_eq!(
        (&limit["value"], &limit["prior_value"], &limit["findings"]),
        (&json!(120.0), &json!(120.0), &json!(0))
    );
    assert_eq!((&limit["log_sd"], &limit["prior_log_sd"]), (&json!(0.7), &json!(0.7)));
    assert_eq!((&before["accumulated"]["value"], &before["lessons"]), (&json!(100.0), &json!([])));
    let visit = look(app, &place, "2025-04-11", by_eye(0.4)).await;
    let after = drip(app, &place, "2025-04-11").await;
    let limit = &after["limit"];
    near(&limit["value"], LESS.0);
    near(&limit["log_sd"], LESS.1);
    assert_eq!((&limit["prior_value"], &limit["prior_log_sd"]), (&json!(120.0), &json!(0.7)));
    assert_eq!(limit["findings"], 1);
    assert_eq!(
        (&after["accumulated"], &after["since"]),
        (&before["accumulated"], &before["since"]),
        "it was a look"
    );
    let lessons = after["lessons"].as_array().expect("lessons");
    assert_eq!(lessons.len(), 1);
    let lesson = &lessons[0];
    assert_eq!((&lesson["visit_id"], &lesson["visited_on"]), (&json!(id_of(&visit)), &json!("2025-04-11")));
    assert_eq!((&lesson["finding"], &lesson["accumulated_value"]), (&by_eye(0.4), &json!(100.0)));
    assert_eq!((&lesson["limit_before"], &lesson["limit_after"]), (&json!(120.0), &limit["value"]));
    assert_eq!((&lesson["log_sd_after"], &lesson["remark"]), (&limit["log_sd"], &Value::Null));
    near(&lesson["weight"], LESS.2);
    assert!(
        after["reasons"].to_string().contains("1 finding moved the limit from 120 fills to 200 fills"),
        "{after}"
    );
    // The day before knows nothing of it.
    assert_eq!(drip(app, &place, "2025-04-10").await["limit"], before["limit"]);
}

async fn findings_add_up_and_their_doubt_grows_between_them(app: &App) {
    let place = place_of_drips(app).await;
    look(app, &place, "2025-04-11", by_eye(0.4)).await;
    look(app, &place, "2025-05-31", by_eye(0.9)).await;
    let after = drip(app, &place, "2025-05-31").await;
    let lessons = after["lessons"].as_array().expect("lessons");
    assert_eq!(lessons.len(), 2);
    near(&lessons[0]["limit_after"], LESS.0);
    assert_eq!(
        (&lessons[1]["limit_before"], &lessons[1]["accumulated_value"]),
        (&lessons[0]["limit_after"], &json!(150.0))
    );
    for (value, expected) in [(&lessons[1]["limit_after"], THEN.0), (&lessons[1]["log_sd_after"], THEN.1)] {
        near(value, expected);
    }
    near(&lessons[1]["weight"], THEN.2);
    assert_eq!(after["limit"]["findings"], 2);
    assert!(after["reasons"].to_string().contains("2 findings moved the limit from 120 fills to"), "{after}");
    // Trees grow and roofs age: the variance gains 0.02 in a year, the median stays.
    let later = drip(app, &place, "2026-02-15").await;
    assert_eq!(later["limit"]["value"], after["limit"]["value"]);
    near(&later["limit"]["log_sd"], (THEN.1 * THEN.1 + 0.02 * 260.0 / 365.2425).sqrt());
    assert_eq!(later["lessons"], after["lessons"]);
}

async fn less_than_expected_comes_later_and_more_comes_earlier(app: &App) {
    let (less, more, unseen) =
        (place_of_drips(app).await, place_of_drips(app).await, place_of_drips(app).await);
    // A third is expected after 40 of 120 fills.
    look(app, &less, "2025-02-10", by_eye(0.1)).await;
    look(app, &more, "2025-02-10", by_eye(0.95)).await;
    let [less, more, unseen] = [
        drip(app, &less, "2025-02-10").await,
        drip(app, &more, "2025-02-10").await,
        drip(app, &unseen, "2025-02-10").await,
    ];
    near(&more["limit"]["value"], 59.000_9);
    assert!(number(&less["limit"]["value"]) > 120.0, "{less}");
    for (sooner, later) in [(&more, &unseen), (&unseen, &less)] {
        assert!(date(&sooner["due_on"]) < date(&later["due_on"]), "{sooner} {later}");
        assert!(date(&sooner["window"]["likely_on"]) < date(&later["window"]["likely_on"]));
        assert_eq!(
            (&sooner["decided_by"], &later["decided_by"]),
            (&json!("prediction"), &json!("prediction"))
        );
        let today = |one: &Value| number(&one["chance_past_limit"]["today"]);
        assert!(today(sooner) > today(later), "{sooner} {later}");
    }
}

async fn what_was_expected_leaves_the_mark_where_it_is_and_narrows_it(app: &App) {
    let place = place_of_drips(app).await;
    let before = drip(app, &place, "2025-04-11").await;
    look(app, &place, "2025-04-11", by_eye(100.0 / 120.0)).await;
    let after = drip(app, &place, "2025-04-11").await;
    near(&after["limit"]["value"], 120.0);
    near(&after["limit"]["log_sd"], 0.378_647);
    let width = |one: &Value| {
        date(&one["window"]["late_on"]).signed_duration_since(date(&one["window"]["early_on"])).num_days()
    };
    assert!(width(&after) < width(&before), "{after}");
}

async fn one_finding_at_most_doubles_the_mark(app: &App) {
    let place = place_of_drips(app).await;
    for (on, limit) in [("2025-04-11", 240.0), ("2025-07-20", 480.0)] {
        // Each alone would have asked for more.
        look(app, &place, on, json!({"found": "nothing"})).await;
        let one = drip(app, &place, on).await;
        near(&one["limit"]["value"], limit);
        let lesson = one["lessons"].as_array().and_then(|lessons| lessons.last()).expect("a lesson").clone();
        near(&lesson["limit_after"], 2.0 * number(&lesson["limit_before"]));
        assert!(lesson["remark"]["text"].as_str().expect("a remark").contains("at most double"), "{lesson}");
    }
    // Towards care there is no such limit.
    let other = place_of_drips(app).await;
    look(app, &other, "2025-02-10", by_eye(0.95)).await;
    assert!(number(&drip(app, &other, "2025-02-10").await["limit"]["value"]) < 60.0);
}

async fn the_fuller_it_was_found_the_lower_the_mark(app: &App) {
    let names = ["light", "half", "heavy", "blocked", "unseen"];
    let screens = names.map(|name| component(name, json!({"kind": "debris_screen", "area_m2": 0.2})));
    let place = place(app, json!(screens)).await;
    rain(app, &place.gauge, "2024-06-01", 639, 5.0).await;
    let items = names[..4].iter().map(|name| {
        let finding = match *name {
            "blocked" => json!({"found": "blocked"}),
            class => json!({"found": "class", "fullness": class}),
        };
        json!({"component_id": place.component(name), "duty": "clean_screen", "done": true, "finding": finding})
    });
    let visit = json!({"system_id": place.system_id(), "visited_on": "2025-09-01",
        "items": items.collect::<Vec<_>>()});
    app.post("/v1/visits", &visit).await;
    let forecast = place.forecast(app, "2025-09-01").await;
    let screens = names.map(|name| duty(&forecast, name, "clean_screen"));
    let limits: Vec<f64> = screens.iter().map(|one| number(&one["limit"]["value"])).collect();
    assert!(limits[..4].windows(2).all(|pair| pair[0] > pair[1]), "{limits:?}");
    assert_eq!(limits[4], number(&screens[4]["limit"]["prior_value"]), "the others teach it nothing");
    assert_eq!((&screens[4]["limit"]["findings"], &screens[4]["lessons"]), (&json!(0), &json!([])));
    // Each is measured by what all of them took, a blocked one among them: that is still to come.
    for one in &screens[..4] {
        assert_eq!(one["lessons"][0]["accumulated_value"], screens[4]["accumulated"]["value"], "{one}");
        assert_eq!((&one["accumulated"]["value"], &one["since"]), (&json!(0.0), &json!("2025-09-01")));
    }
}

async fn what_the_next_finding_is_worth_stands_where_there_is_something_to_learn(app: &App) {
    let place = place(app, super::scenario::all_kinds()).await;
    storms(app, &place.gauge, "2024-06-01", 638).await;
    let forecast = place.forecast(app, "2025-06-01").await;
    for (name, what) in [
        ("roof", "clear_roof"),
        ("gutter", "clear_gutter"),
        ("screen", "clean_screen"),
        ("weep diverter", "clear_weep_hole"),
        ("drip diverter", "clear_weep_hole"),
        ("coupling", "replace_coupling"),
        ("tank", "remove_sediment"),
        ("filter", "change_cartridge"),
    ] {
        let one = duty(&forecast, name, what);
        let (next, limit) = (&one["next_finding"], &one["limit"]);
        assert!((0.01..1.0).contains(&number(&next["range_ratio"])), "{one}");
        assert!(number(&next["log_sd_after"]) < number(&limit["log_sd"]), "{one}");
        assert!((0.0..=1.0).contains(&number(&next["nothing_to_find"])), "{one}");
    }
    // A seal has no limit to learn, a chamber's volume is known, and what has no accumulated has nothing to compare with.
    for (name, what) in [("trap", "check_trap"), ("hand diverter", "drain_diverter"), ("pump", "check_pump")]
    {
        assert_eq!(duty(&forecast, name, what)["next_finding"], Value::Null, "{name}");
    }
    // The day after a cleaning there is nothing to find, and so nothing to learn from it.
    let item = json!({"component_id": place.component("screen"), "duty": "clean_screen", "done": true});
    place.visit(app, "2025-06-01", item).await;
    let next =
        duty(&place.forecast(app, "2025-06-01").await, "screen", "clean_screen")["next_finding"].clone();
    assert_eq!((&next["nothing_to_find"], &next["range_ratio"]), (&json!(1.0), &json!(1.0)));
}

async fn a_measured_depth_teaches_when_to_remove_sediment(app: &App) {
    let tank = component(
        "tank",
        json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0}),
    );
    let there = [place(app, json!([tank])).await, place(app, json!([tank])).await];
    for place in &there {
        storms(app, &place.gauge, "2024-06-01", 638).await;
    }
    let sediment =
        async |place: &Place| duty(&place.forecast(app, "2026-01-05").await, "tank", "remove_sediment");
    let before = sediment(&there[0]).await;
    let accumulated = number(&before["accumulated"]["value"]);
    assert_eq!((&before["limit"]["value"], &before["limit"]["log_sd"]), (&json!(50.0), &json!(0.7)));
    // 92 storms of 0.307947 g/m2 off 50 m2, 0.65 of it on 1.5 m2, 100 kg to the m3.
    near(&before["accumulated"]["value"], 92.0 * 0.066_722_2);
    for (place, depth) in there.iter().zip([accumulated, 3.0 * accumulated]) {
        let item = json!({"component_id": place.component("tank"), "duty": "measure_sediment", "done": true,
            "finding": {"found": "depth", "depth_mm": depth}});
        place.visit(app, "2026-01-05", item).await;
    }
    // As deep as was reckoned: the limit stays and is surer.
    let after = sediment(&there[0]).await;
    near(&after["limit"]["value"], 50.0);
    assert!(number(&after["limit"]["log_sd"]) < 0.4, "{after}");
    assert_eq!(after["limit"]["findings"], 1);
    assert_eq!(after["lessons"][0]["finding"]["found"], "depth");
    assert_eq!(
        (&after["since"], &after["accumulated"]),
        (&before["since"], &before["accumulated"]),
        "nothing was removed"
    );
    // Three times as deep: between a third of the limit, were the depth to be believed whole, and the limit.
    let deeper = sediment(&there[1]).await;
    assert!((50.0 / 3.0..40.0).contains(&number(&deeper["limit"]["value"])), "{deeper}");
    assert!(date(&deeper["due_on"]) < date(&after["due_on"]), "{deeper} {after}");
}

async fn nobody_has_seen_anything_of_a_sketch(app: &App) {
    let first: chrono::NaiveDate = "2024-06-01".parse().expect("a date");
    let days: Vec<Value> =
        first.iter_days().take(639).map(|date| json!({"date": date, "rain_mm": 5.0})).collect();
    let sketch = json!({"latitude_deg": 48.0, "roof": roof(), "components": [drips()], "rain": days,
        "as_of": "2025-04-11"});
    let forecast = app.send("POST", "/v1/forecast", &sketch).await.expect(200);
    let one = duty(&forecast, "diverter", "clear_weep_hole");
    assert_eq!((&one["lessons"], &one["limit"]["findings"]), (&json!([]), &json!(0)));
    assert_eq!((&one["limit"]["value"], &one["accumulated"]["value"]), (&json!(120.0), &json!(100.0)));
    assert!(number(&one["next_finding"]["range_ratio"]) < 1.0, "{one}");
}
