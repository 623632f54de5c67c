//! Dates that come from no accumulated: ceilings, first looks, makers' ratings, the frost.

use super::scenario::{all_kinds, component, duty, place};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    every_duty_has_its_ceiling;
    a_ceiling_counts_from_the_last_service;
    bands_are_looked_at_after_a_month_and_then_yearly;
    a_rating_comes_before_the_ceiling_when_it_is_used_up_sooner;
    pipes_are_drained_before_the_frost_and_restarted_after_it;
    what_stands_idle_until_commissioning_takes_no_water_and_does_take_light;
}

/// Component, duty, ceiling and due date on the day of installation, and what decides.
const DATES: [(&str, &str, &str, &str, &str); 23] = [
    ("roof", "clear_roof", "2025-07-01", "2025-07-01", "longest_interval"),
    ("gutter", "clear_gutter", "2025-07-01", "2025-07-01", "longest_interval"),
    ("screen", "clean_screen", "2025-04-01", "2025-04-01", "longest_interval"),
    ("hand diverter", "drain_diverter", "", "", "nothing"),
    ("weep diverter", "clear_weep_hole", "2025-04-01", "2025-04-01", "longest_interval"),
    ("drip diverter", "clear_weep_hole", "2025-04-01", "2025-04-01", "longest_interval"),
    ("coupling", "check_bands", "2025-02-01", "2025-02-01", "first_look"),
    ("tank", "remove_sediment", "", "", "nothing"),
    ("tank", "measure_sediment", "2026-01-01", "2026-01-01", "longest_interval"),
    ("tank", "look_over_tank", "2026-01-01", "2026-01-01", "longest_interval"),
    ("intake", "check_intake", "2026-01-01", "2026-01-01", "longest_interval"),
    // 75 mm at three times 2.5 mm a week: seventy days as likely as not, fifty for a chance of one in five.
    ("trap", "check_trap", "2026-01-01", "2025-02-20", "prediction"),
    ("vent", "check_mesh", "2026-01-01", "2026-01-01", "longest_interval"),
    ("ball valve", "work_valve", "2026-01-01", "2026-01-01", "longest_interval"),
    ("gate valve", "work_valve", "2026-01-01", "2026-01-01", "longest_interval"),
    ("level gauge", "compare_level_gauge", "2026-01-01", "2026-01-01", "longest_interval"),
    ("pump", "check_pump", "2026-01-01", "2026-01-01", "longest_interval"),
    ("vessel", "check_vessel", "2026-01-01", "2026-01-01", "longest_interval"),
    // 30,000 L at 100 L a day last until October; half a year is sooner. 9,000 h last 375 days; a year is sooner.
    ("filter", "change_cartridge", "2025-07-01", "2025-07-01", "longest_interval"),
    ("lamp", "change_lamp", "2026-01-01", "2026-01-01", "longest_interval"),
    // A fortnight before 25 October, and on 20 April.
    ("pipes", "drain_for_frost", "", "2025-10-11", "season"),
    ("pipes", "restart_after_frost", "", "2025-04-20", "season"),
    // Predicted without rain data; its date is the engine's.
    ("coupling", "replace_coupling", "", "?", "prediction"),
];

#[track_caller]
fn within(on: &Value, from: &str, to: &str) {
    let on = on.as_str().expect("a date");
    assert!((from..=to).contains(&on), "{on} is not within {from} to {to}");
}

fn date(text: &str) -> Value {
    if text.is_empty() { Value::Null } else { json!(text) }
}

async fn every_duty_has_its_ceiling(app: &App) {
    let place = place(app, all_kinds()).await;
    let forecast = place.forecast(app, "2025-01-01").await;
    assert_eq!(forecast["duties"].as_array().expect("duties").len(), DATES.len());
    for (name, what, ceiling, due, by) in DATES {
        let one = duty(&forecast, name, what);
        assert_eq!(one["decided_by"], by, "{name} {what}");
        assert_eq!(one["longest_interval_on"], date(ceiling), "{name} {what}");
        if due == "?" {
            assert!(one["due_on"].as_str().expect("a date") > "2030", "{one}");
        } else {
            assert_eq!(one["due_on"], date(due), "{name} {what}");
        }
        assert_eq!(one["since"], "2025-01-01");
    }
}

async fn a_ceiling_counts_from_the_last_service(app: &App) {
    let mut served = component("roof", json!({"kind": "roof"}));
    // The last day of August; half a year later is the last day of February.
    served["last_served_on"] = json!("2025-08-31");
    let place = place(app, json!([served])).await;
    let on = async |as_of: &str| duty(&place.forecast(app, as_of).await, "roof", "clear_roof");
    assert_eq!(on("2025-08-30").await["due_on"], "2025-07-01", "on a day before that service");
    let one = on("2025-09-01").await;
    assert_eq!((&one["since"], &one["due_on"]), (&json!("2025-08-31"), &json!("2026-02-28")));
    let item = json!({"component_id": place.component("roof"), "duty": "clear_roof", "done": true});
    place.visit(app, "2025-07-15", item.clone()).await;
    assert_eq!(on("2025-09-01").await["since"], "2025-08-31", "the later of the two counts");
    place.visit(app, "2025-12-24", item).await;
    assert_eq!(on("2026-01-01").await["due_on"], "2026-06-24");
}

async fn bands_are_looked_at_after_a_month_and_then_yearly(app: &App) {
    let place =
        place(app, json!([component("coupling", json!({"kind": "coupling", "material": "epdm"}))])).await;
    let on = async |as_of: &str| duty(&place.forecast(app, as_of).await, "coupling", "check_bands");
    let first = on("2025-01-20").await;
    assert_eq!((&first["due_on"], &first["decided_by"]), (&json!("2025-02-01"), &json!("first_look")));
    let item = json!({"component_id": place.component("coupling"), "duty": "check_bands", "done": true});
    place.visit(app, "2025-02-03", item).await;
    let later = on("2025-02-03").await;
    assert_eq!((&later["due_on"], &later["decided_by"]), (&json!("2026-02-03"), &json!("longest_interval")));
    assert_eq!(on("2025-02-02").await["due_on"], "2025-02-01");
}

async fn a_rating_comes_before_the_ceiling_when_it_is_used_up_sooner(app: &App) {
    let parts = |litres: f64, hours: f64, a_day: f64| {
        json!([
            component("filter", json!({"kind": "cartridge_filter", "rated_volume_l": litres})),
            component(
                "lamp",
                json!({"kind": "disinfection_lamp", "rated_hours": hours, "hours_per_day": a_day})
            ),
        ])
    };
    // 10,050 L at 100 L a day: a hundred whole days, to 11 April, give or take what a household's draw varies.
    // 1,000 h at 8 h a day: 125 days, to 6 May.
    let soon = place(app, parts(10_050.0, 1000.0, 8.0)).await;
    let forecast = soon.forecast(app, "2025-01-01").await;
    let lamp = duty(&forecast, "lamp", "change_lamp");
    assert_eq!((&lamp["due_on"], &lamp["decided_by"]), (&json!("2025-05-06"), &json!("rating")), "{lamp}");
    assert_eq!(lamp["longest_interval_on"], "2026-01-01");
    assert!(lamp["reasons"].to_string().contains("maker"), "{lamp}");
    let filter = duty(&forecast, "filter", "change_cartridge");
    assert_eq!(
        (&filter["decided_by"], &filter["longest_interval_on"]),
        (&json!("prediction"), &json!("2025-07-01"))
    );
    within(&filter["due_on"], "2025-04-07", "2025-04-15");
    let window = &filter["window"];
    within(&window["early_on"], "2025-02-15", "2025-04-01");
    within(&window["late_on"], "2025-04-25", "2025-07-15");
    assert_eq!(
        (&filter["limit"]["value"], &filter["accumulated"]["unit"], &filter["limit"]["of"]),
        (&json!(10_050.0), &json!("L"), &json!("water through the filter"))
    );
    let item = json!({"component_id": soon.component("filter"), "duty": "change_cartridge", "done": true});
    soon.visit(app, "2025-03-01", item).await;
    let changed = duty(&soon.forecast(app, "2025-03-01").await, "filter", "change_cartridge");
    within(&changed["due_on"], "2025-06-05", "2025-06-13");
    // A system that draws nothing uses no filter up.
    let mut facts = super::scenario::system(&soon.property, &soon.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["demand_l_per_day"] = json!(0.0);
    app.put(&format!("/v1/systems/{}", soon.system_id()), 1, &facts).await.expect(200);
    let idle = duty(&soon.forecast(app, "2025-01-01").await, "filter", "change_cartridge");
    assert_eq!((&idle["due_on"], &idle["decided_by"]), (&json!("2025-07-01"), &json!("longest_interval")));
    let ages = place(app, parts(1e8, 200_000.0, 0.001)).await;
    let forecast = ages.forecast(app, "2025-01-01").await;
    assert_eq!(duty(&forecast, "lamp", "change_lamp")["decided_by"], "longest_interval");
}

async fn pipes_are_drained_before_the_frost_and_restarted_after_it(app: &App) {
    let pipes = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25},
        "last_frost": {"month": 4, "day": 20}});
    let place = place(app, json!([component("pipes", pipes)])).await;
    let on = async |as_of: &str, what: &str| {
        let one = duty(&place.forecast(app, as_of).await, "pipes", what);
        assert_eq!(one["decided_by"], "season");
        one["due_on"].as_str().expect("a date").to_owned()
    };
    assert_eq!(on("2025-06-01", "drain_for_frost").await, "2025-10-11");
    // Nobody drained them: due through the winter, until the frost is over.
    assert_eq!(on("2026-02-28", "drain_for_frost").await, "2025-10-11");
    assert_eq!(on("2026-04-19", "drain_for_frost").await, "2025-10-11");
    assert_eq!(on("2026-04-20", "drain_for_frost").await, "2026-10-11");
    let item = |what: &str| json!({"component_id": place.component("pipes"), "duty": what, "done": true});
    place.visit(app, "2025-10-05", item("drain_for_frost")).await;
    assert_eq!(
        on("2025-10-05", "drain_for_frost").await,
        "2026-10-11",
        "done early, it counts for this winter"
    );
    assert_eq!(on("2025-10-04", "drain_for_frost").await, "2025-10-11");
    // Installed in January, so the April of that year was the first.
    assert_eq!(on("2025-03-01", "restart_after_frost").await, "2025-04-20");
    assert_eq!(on("2025-10-12", "restart_after_frost").await, "2026-04-20");
    // The southern winter lies the other way round.
    let mut south = super::scenario::property();
    south["latitude_deg"] = json!(-43.5);
    let pipes = json!({"kind": "exposed_pipework", "first_frost": {"month": 5, "day": 1},
        "last_frost": {"month": 9, "day": 15}});
    let there = super::scenario::place_with(
        app,
        &south,
        &super::scenario::gauge(),
        json!([component("pipes", pipes)]),
    )
    .await;
    let forecast = there.forecast(app, "2025-02-01").await;
    assert_eq!(duty(&forecast, "pipes", "drain_for_frost")["due_on"], "2025-04-17");
    assert_eq!(duty(&forecast, "pipes", "restart_after_frost")["due_on"], "2025-09-15");
}

async fn what_stands_idle_until_commissioning_takes_no_water_and_does_take_light(app: &App) {
    let mut early = json!([
        component("screen", json!({"kind": "debris_screen", "area_m2": 0.2})),
        component("coupling", json!({"kind": "coupling", "material": "epdm"})),
    ]);
    for one in early.as_array_mut().expect("components") {
        one["installed_on"] = json!("2024-06-01");
    }
    let place = place(app, early).await;
    let forecast = place.forecast(app, "2025-02-01").await;
    assert_eq!(duty(&forecast, "screen", "clean_screen")["since"], "2025-01-01");
    assert_eq!(duty(&forecast, "coupling", "replace_coupling")["since"], "2024-06-01");
    assert_eq!(duty(&forecast, "coupling", "check_bands")["since"], "2025-01-01");
}
