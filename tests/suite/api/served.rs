//! "Last served" stands for routine care and nothing else, and odd figures are forecast all the same.

use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    last_served_does_not_reach_work_of_years_or_of_the_season;
    new_rubber_has_its_bands_looked_at_after_a_month;
    a_chamber_that_takes_any_rain_is_forecast;
}

/// The duty of a part that nobody registered, as of a day.
async fn duty(app: &App, part: Value, served: Option<&str>, duty: &str, as_of: &str) -> Value {
    let mut component = json!({"name": "part", "part": part, "installed_on": "2006-01-01"});
    if let Some(served) = served {
        component["last_served_on"] = json!(served);
    }
    let sketch = json!({"latitude_deg": 48.0, "roof": super::scenario::roof(), "components": [component], "as_of": as_of,
        "normals": {"rain_mm": vec![60.0; 12], "wet_days": vec![10.0; 12]}});
    let forecast = app.send("POST", "/v1/forecast", &sketch).await.expect(200);
    let duties = forecast["duties"].as_array().expect("duties");
    duties.iter().find(|found| found["duty"] == duty).expect("that duty").clone()
}

async fn last_served_does_not_reach_work_of_years_or_of_the_season(app: &App) {
    let pipes = json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 10},
        "last_frost": {"month": 4, "day": 20}});
    // Restarted in spring, and that written down as "served": the coming winter still needs its draining.
    let drain = duty(app, pipes, Some("2026-05-01"), "drain_for_frost", "2026-05-10").await;
    assert_eq!(drain["due_on"], "2026-09-26");
    let coupling = json!({"kind": "coupling", "material": "epdm"});
    let never = duty(app, coupling.clone(), None, "replace_coupling", "2026-06-10").await;
    let looked = duty(app, coupling.clone(), Some("2026-06-01"), "replace_coupling", "2026-06-10").await;
    assert_eq!(
        looked["accumulated"], never["accumulated"],
        "tightening bands does not undo years in the sun"
    );
    let bands = duty(app, coupling, Some("2026-06-01"), "check_bands", "2026-06-10").await;
    assert_eq!(bands["due_on"], "2027-06-01");
    let tank = json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0});
    let never = duty(app, tank.clone(), None, "remove_sediment", "2026-06-10").await;
    let looked = duty(app, tank, Some("2026-06-01"), "remove_sediment", "2026-06-10").await;
    assert_eq!(looked["accumulated"], never["accumulated"], "looking into a tank does not clean its floor");
}

async fn new_rubber_has_its_bands_looked_at_after_a_month(app: &App) {
    let coupling = json!([{"name": "coupling", "installed_on": "2025-01-01",
        "part": {"kind": "coupling", "material": "natural_or_sbr"}}]);
    let place = super::scenario::place(app, coupling).await;
    let id = place.component("coupling");
    for (on, duty) in [("2025-02-01", "check_bands"), ("2026-02-10", "replace_coupling")] {
        let visit = json!({"system_id": place.system_id(), "visited_on": on,
            "items": [{"component_id": id, "duty": duty, "done": true}]});
        app.post("/v1/visits", &visit).await;
    }
    app.refresh().await;
    let bands = place.task(app, "coupling", "check_bands").await;
    assert_eq!((&bands["due_on"], &bands["decided_by"]), (&json!("2026-03-10"), &json!("first_look")));
}

async fn a_chamber_that_takes_any_rain_is_forecast(app: &App) {
    let diverter = json!({"name": "diverter", "installed_on": "2025-01-01",
        "part": {"kind": "first_flush_diverter", "chamber_volume_l": 90000.0, "emptying": {"by": "hand"}}});
    let tank = json!({"name": "tank", "installed_on": "2025-01-01",
        "part": {"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0}});
    // Two dry days, on which solids gather, before every wet one.
    let first: chrono::NaiveDate = "2025-01-01".parse().expect("a date");
    let mm = |number: u32| if number % 3 == 2 { 3.0 } else { 0.0 };
    let days: Vec<Value> =
        first.iter_days().zip(0..420).map(|(date, n)| json!({"date": date, "rain_mm": mm(n)})).collect();
    let depth = async |components: Value| {
        let place = super::scenario::place(app, components).await;
        let path = format!("/v1/gauges/{}/rain", place.gauge);
        app.send("PUT", &path, &json!({"days": days})).await.expect(200);
        app.refresh().await;
        let sediment = place.task(app, "tank", "remove_sediment").await;
        sediment["accumulated"]["from_readings"].as_f64().expect("a depth")
    };
    let (with, without) = (depth(json!([diverter, tank])).await, depth(json!([tank])).await);
    assert!(without > 0.0);
    // The chamber mixes, so a fifth of the solids passes even one that takes all of the rain.
    assert!((with / without - 0.2).abs() < 1e-4, "{with} of {without}");
    // A list of bare values is not taken for the fields in their order.
    let bare = app.send("POST", "/v1/properties", &json!(["a", 1, 1, 1, "UTC"])).await;
    assert_eq!(bare.status, 400, "{}", bare.text);
    bare.problem("malformed_body");
}
