//! Whatever is accepted is forecast: the ends of every range that a component, a place or a visit may have.

use super::scenario::{all_kinds, duty, id_of, items, place_with, roof, storms};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    every_figure_at_the_end_of_its_range_is_forecast;
    every_finding_at_the_end_of_its_range_is_forecast;
    the_longest_history_is_forecast;
}

/// Where a figure stands in [`sketch`], and the ends of its range.
const RANGES: [(&str, f64, f64); 29] = [
    ("/latitude_deg", -90.0, 90.0),
    ("/elevation_m", -450.0, 6000.0),
    ("/demand_l_per_day", 0.0, 1_000_000.0),
    ("/roof/plan_area_m2", 0.001, 100_000.0),
    ("/roof/runoff_coefficient", 0.001, 1.0),
    ("/roof/wetting_loss_mm", 0.0, 20.0),
    ("/roof/canopy_share", 0.0, 1.0),
    ("/rain/0/rain_mm", 0.0, 2000.0),
    ("/normals/wet_day_threshold_mm", 0.05, 10.0),
    ("/normals/years", 1.0, 300.0),
    ("/normals/rain_mm/6", 0.0, 5000.0),
    ("/normals/wet_days/1", 0.05, 28.0),
    ("/temperatures/mean_c/0", -10.0, 50.0),
    ("/temperatures/mean_minimum_c/0", -60.0, 10.0),
    ("/evaporation_mm_per_day/0", 0.0, 30.0),
    ("/duty_settings/0/tolerance", 0.01, 0.99),
    ("/components/1/part/length_m", 0.001, 10_000.0),
    ("/components/2/part/area_m2", 0.001, 100.0),
    ("/components/3/part/chamber_volume_l", 0.001, 100_000.0),
    ("/components/4/part/chamber_volume_l", 0.001, 100_000.0),
    ("/components/4/part/emptying/hole_mm", 0.5, 20.0),
    ("/components/4/part/emptying/head_m", 0.05, 10.0),
    ("/components/5/part/chamber_volume_l", 0.001, 100_000.0),
    ("/components/5/part/emptying/litres_per_hour", 0.05, 100.0),
    ("/components/6/part/shade_share", 0.0, 1.0),
    ("/components/9/part/seal_depth_mm", 10.0, 1000.0),
    ("/components/16/part/rated_volume_l", 0.001, 100_000_000.0),
    ("/components/17/part/rated_hours", 0.001, 200_000.0),
    ("/components/17/part/hours_per_day", 0.001, 24.0),
];

/// Tanks at the ends of their ranges: capacity, floor area, height of the outlet and limit of sediment. They go together:
/// a full tank is 50 mm to 30 m deep, and what is in it lies below.
const TANKS: [(f64, f64, f64, f64); 4] = [
    (1.0, 0.001, 0.0, 10.0),
    (1.0, 0.02, 49.9, 49.9),
    (100_000_000.0, 100_000.0, 999.9, 999.9),
    (100_000_000.0, 3_333.4, 20_000.0, 2000.0),
];

/// One component of every kind, with everything that a sketch may say of its place.
fn sketch() -> Value {
    let first: chrono::NaiveDate = "2025-01-01".parse().expect("a date");
    let mm = |n: u32| if n.is_multiple_of(3) { 8.0 } else { 0.0 };
    let rain: Vec<Value> =
        first.iter_days().zip(0..400).map(|(date, n)| json!({"date": date, "rain_mm": mm(n)})).collect();
    let mut sketch = json!({"latitude_deg": 48.0, "elevation_m": 52.0, "demand_l_per_day": 100.0,
        "as_of": "2026-03-01", "evaporation_mm_per_day": vec![2.0; 12],
        "temperatures": {"mean_c": vec![15.0; 12], "mean_minimum_c": vec![-20.0; 12]},
        "normals": {"rain_mm": vec![60.0; 12], "wet_days": vec![9.0; 12], "wet_day_threshold_mm": 1.0,
            "years": 30.0},
        "duty_settings": [{"duty": "clean_screen", "tolerance": 0.5}]});
    sketch["roof"] = roof();
    sketch["roof"]["canopy"] = json!("deciduous");
    sketch["roof"]["canopy_share"] = json!(0.2);
    sketch["components"] = all_kinds();
    sketch["components"][6]["part"]["shade_share"] = json!(0.5);
    sketch["components"][7]["part"]["sediment_limit_mm"] = json!(50.0);
    sketch["components"][18]["part"] = json!({"kind": "exposed_pipework"});
    sketch["rain"] = json!(rain);
    sketch
}

/// Sends it and looks at what has to be so whatever the figures are.
async fn is_forecast(app: &App, sketch: &Value, what: &str) {
    let reply = app.send("POST", "/v1/forecast", sketch).await;
    assert_eq!(reply.status, 200, "{what}: {}", reply.text);
    sound(&reply.expect(200), what);
}

fn sound(forecast: &Value, what: &str) {
    let duties = forecast["duties"].as_array().expect("duties");
    assert_eq!(duties.len(), 23, "{what}");
    for one in duties {
        assert_eq!(one["due_on"].is_null(), one["decided_by"] == "nothing", "{what}: {one}");
        assert!(!one["reasons"].as_array().expect("reasons").is_empty(), "{what}: {one}");
        // What is no number has become null on the wire.
        for (object, fields) in [
            ("accumulated", ["value", "from_readings", "from_climate"]),
            ("limit", ["value", "log_sd", "prior_value"]),
            ("best_day", ["water_lost_l", "water_lost_low_l", "water_lost_high_l"]),
            ("next_finding", ["log_sd_after", "range_ratio", "nothing_to_find"]),
            ("chance_past_limit", ["today", "in_7_days", "in_90_days"]),
        ] {
            let object = &one[object];
            if !object.is_null() {
                let sound = |field: &&str| object[field].as_f64().is_some_and(|value| value >= 0.0);
                assert!(fields.iter().all(sound), "{what}: {one}");
            }
        }
    }
}

async fn every_figure_at_the_end_of_its_range_is_forecast(app: &App) {
    let plain = sketch();
    is_forecast(app, &plain, "the usual").await;
    let (mut least, mut most) = (plain.clone(), plain.clone());
    for (place, low, high) in RANGES {
        for (all, end) in [(&mut least, low), (&mut most, high)] {
            let mut one = plain.clone();
            *one.pointer_mut(place).unwrap_or_else(|| panic!("no {place}")) = json!(end);
            is_forecast(app, &one, &format!("{place} = {end}")).await;
            *all.pointer_mut(place).expect("the same place") = json!(end);
        }
    }
    for (number, (capacity_l, floor_area_m2, outlet_height_mm, sediment_limit_mm)) in
        TANKS.into_iter().enumerate()
    {
        let tank = json!({"kind": "tank", "capacity_l": capacity_l, "floor_area_m2": floor_area_m2,
            "outlet_height_mm": outlet_height_mm, "calmed_inlet": number % 2 == 0,
            "sediment_limit_mm": sediment_limit_mm});
        let mut one = plain.clone();
        one["components"][7]["part"] = tank.clone();
        is_forecast(app, &one, &format!("{tank}")).await;
        let all = if number < 2 { &mut least } else { &mut most };
        all["components"][7]["part"] = tank;
    }
    is_forecast(app, &least, "the least of everything").await;
    is_forecast(app, &most, "the most of everything").await;
    // They are the ends: a little further out is refused.
    let mut beyond = plain;
    beyond["components"][9]["part"]["seal_depth_mm"] = json!(1000.1);
    let refused = app.send("POST", "/v1/forecast", &beyond).await;
    assert_eq!(refused.fields("invalid"), ["components[9].part.seal_depth_mm"]);
}

async fn every_finding_at_the_end_of_its_range_is_forecast(app: &App) {
    let place = super::scenario::place(app, all_kinds()).await;
    storms(app, &place.gauge, "2024-06-01", 638).await;
    let taught = ["roof", "gutter", "screen", "weep diverter", "drip diverter", "tank", "coupling", "filter"];
    let duties = [
        "clear_roof",
        "clear_gutter",
        "clean_screen",
        "clear_weep_hole",
        "clear_weep_hole",
        "remove_sediment",
        "replace_coupling",
        "change_cartridge",
    ];
    let findings = [
        json!({"found": "fraction", "fraction": 10.0}),
        json!({"found": "fraction", "fraction": 0.0}),
        json!({"found": "fraction", "fraction": 1e-300}),
        json!({"found": "blocked"}),
        json!({"found": "nothing"}),
    ];
    for (finding, day) in findings.iter().cycle().zip(2..27) {
        let all = taught.iter().zip(duties).map(|(name, what)| {
            json!({"component_id": place.component(name), "duty": what, "done": day % 4 == 0, "finding": finding,
                "cleaned_meanwhile": day % 7 == 0})
        });
        let visit = json!({"system_id": place.system_id(), "visited_on": format!("2025-01-{day:02}"),
            "items": all.collect::<Vec<_>>()});
        app.post("/v1/visits", &visit).await;
    }
    for depth in [0.0, 1e-300, 20_000.0] {
        let item = json!({"component_id": place.component("tank"), "duty": "measure_sediment", "done": true,
            "finding": {"found": "depth", "depth_mm": depth}});
        place.visit(app, "2025-02-20", item).await;
    }
    for day in ["2025-01-01", "2025-01-15", "2025-02-20", "2026-03-01", "2099-12-31"] {
        let forecast = place.forecast(app, day).await;
        sound(&forecast, day);
    }
    let tank = duty(&place.forecast(app, "2026-03-01").await, "tank", "remove_sediment");
    let lessons = tank["lessons"].as_array().expect("lessons");
    assert_eq!(lessons.len(), 28);
    for lesson in lessons {
        for field in ["accumulated_value", "limit_before", "limit_after", "log_sd_after", "weight"] {
            assert!(lesson[field].as_f64().is_some_and(|value| value >= 0.0), "{field}: {lesson}");
        }
        let ratio = lesson["limit_after"].as_f64().expect("a limit")
            / lesson["limit_before"].as_f64().expect("a limit");
        assert!(ratio < 2.000_02, "one finding at most doubles the limit: {lesson}");
    }
    app.refresh().await;
    assert_eq!(items(&app.get("/v1/tasks?limit=500").await).len(), 23, "the refresh gets through as well");
}

async fn the_longest_history_is_forecast(app: &App) {
    let mut parts = all_kinds();
    for part in parts.as_array_mut().expect("components") {
        part["installed_on"] = json!("1900-01-01");
    }
    let mut sketch = sketch();
    sketch["components"] = parts.clone();
    for day in ["1900-01-01", "2026-03-01", "2099-12-31"] {
        sketch["as_of"] = json!(day);
        is_forecast(app, &sketch, day).await;
    }
    // And a stored one, in the harshest air.
    let mut property = super::scenario::property();
    property["temperatures"] = json!({"mean_c": vec![50.0; 12], "mean_minimum_c": vec![-60.0; 12]});
    let place = place_with(app, &property, &super::scenario::gauge(), json!([])).await;
    let mut facts = super::scenario::system(&place.property, &place.gauge, parts);
    facts["commissioned_on"] = json!("1900-01-01");
    let system = id_of(&app.post("/v1/systems", &facts).await);
    storms(app, &place.gauge, "1900-01-01", 4000).await;
    for day in ["1900-01-01", "1910-12-31", "2026-03-01", "2099-12-31"] {
        sound(&app.get(&format!("/v1/systems/{system}/forecast?as_of={day}")).await, day);
    }
}
