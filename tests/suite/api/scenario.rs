//! An invented place to test on: the school greenhouse of Alder Row.

use crate::support::app::App;
use serde_json::{Value, json};

/// A property, a gauge and a system with the given components; their ids.
pub struct Place {
    /// The property.
    pub property: String,
    /// The gauge.
    pub gauge: String,
    /// The system, as it was answered.
    pub system: Value,
}

impl Place {
    /// The system's id.
    pub fn system_id(&self) -> &str {
        self.system["id"].as_str().expect("an id")
    }

    /// The id of a component, by name.
    pub fn component(&self, name: &str) -> String {
        let components = self.system["components"].as_array().expect("components");
        id_of(components.iter().find(|component| component["name"] == name).expect("that component"))
    }

    /// The system's tasks, in one page.
    pub async fn tasks(&self, app: &App) -> Vec<Value> {
        items(&app.get(&format!("/v1/tasks?limit=500&system_id={}", self.system_id())).await)
    }

    /// One task of the system.
    pub async fn task(&self, app: &App, component: &str, duty: &str) -> Value {
        let tasks = self.tasks(app).await;
        let found = tasks.iter().find(|task| task["component_name"] == component && task["duty"] == duty);
        found.unwrap_or_else(|| panic!("no {duty} of {component} among {tasks:?}")).clone()
    }

    /// The system's forecast for a day.
    pub async fn forecast(&self, app: &App, as_of: &str) -> Value {
        app.get(&format!("/v1/systems/{}/forecast?as_of={as_of}", self.system_id())).await
    }

    /// A visit with one item, which has to be accepted.
    pub async fn visit(&self, app: &App, on: &str, item: Value) -> Value {
        let mut visit = json!({"system_id": self.system_id(), "visited_on": on});
        visit["items"] = Value::Array(vec![item]);
        app.post("/v1/visits", &visit).await
    }
}

/// The id of an answer.
pub fn id_of(value: &Value) -> String {
    value["id"].as_str().unwrap_or_else(|| panic!("no id in {value}")).to_owned()
}

/// The items of a page.
pub fn items(page: &Value) -> Vec<Value> {
    page["items"].as_array().unwrap_or_else(|| panic!("no items in {page}")).clone()
}

/// One text of every item.
pub fn texts(items: &[Value], field: &str) -> Vec<String> {
    items.iter().map(|item| item[field].as_str().unwrap_or_default().to_owned()).collect()
}

/// One duty of a forecast.
pub fn duty(forecast: &Value, component: &str, duty: &str) -> Value {
    let duties = forecast["duties"].as_array().expect("duties");
    let found = duties.iter().find(|one| one["component_name"] == component && one["duty"] == duty);
    found.unwrap_or_else(|| panic!("no {duty} of {component} in {forecast}")).clone()
}

/// The duties of a forecast without the ids of the components, so that forecasts of twins can be compared.
pub fn without_ids(forecast: &Value) -> Vec<Value> {
    let mut duties = forecast["duties"].as_array().expect("duties").clone();
    for duty in &mut duties {
        duty.as_object_mut().expect("a duty").remove("component_id").expect("an id, or null");
    }
    duties
}

/// A component installed on 1 January 2025.
pub fn component(name: &str, part: Value) -> Value {
    let mut component = json!({"name": name, "installed_on": "2025-01-01"});
    component["part"] = part;
    component
}

/// A screen, a weep-hole diverter and a coupling: a part that takes leaves, one that takes runoff, one that takes light.
pub fn three() -> Value {
    json!([
        component("screen", json!({"kind": "debris_screen", "area_m2": 0.2})),
        component(
            "diverter",
            json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0,
            "emptying": {"by": "weep_hole", "hole_mm": 2.0, "head_m": 1.0}})
        ),
        component("coupling", json!({"kind": "coupling", "material": "epdm"})),
    ])
}

/// A property that is right.
pub fn property() -> Value {
    json!({"name": "School greenhouse", "latitude_deg": 48.0, "longitude_deg": 0.5, "elevation_m": 52.0,
           "time_zone": "Europe/London", "notes": "Keys are with the upkeep rota."})
}

/// A gauge that is right.
pub fn gauge() -> Value {
    json!({"name": "orchard gauge", "latitude_deg": 48.0, "longitude_deg": 0.5})
}

/// A roof that is right.
pub fn roof() -> Value {
    json!({"plan_area_m2": 50.0, "surface": "metal", "runoff_coefficient": 0.9, "wetting_loss_mm": 0.5})
}

/// One component of every kind.
pub fn all_kinds() -> Value {
    let part = component;
    json!([
        part("roof", json!({"kind": "roof", "fragile": true})),
        part("gutter", json!({"kind": "gutter", "length_m": 12.0, "guarded": false})),
        part("screen", json!({"kind": "debris_screen", "area_m2": 0.2, "mesh_mm": 1.0})),
        part(
            "hand diverter",
            json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0, "emptying": {"by": "hand"}})
        ),
        part(
            "weep diverter",
            json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0,
            "emptying": {"by": "weep_hole", "hole_mm": 2.0, "head_m": 1.0}})
        ),
        part(
            "drip diverter",
            json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0,
            "emptying": {"by": "drip", "litres_per_hour": 1.0}})
        ),
        part(
            "coupling",
            json!({"kind": "coupling", "material": "epdm", "exposition": "vertical_pipe", "shade": "full_sun"})
        ),
        part(
            "tank",
            json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0,
            "calmed_inlet": true})
        ),
        part("intake", json!({"kind": "floating_intake", "mesh_mm": 1.0})),
        part("trap", json!({"kind": "overflow_trap", "seal_depth_mm": 75.0})),
        part("vent", json!({"kind": "vent", "mesh_mm": 1.0})),
        part("ball valve", json!({"kind": "valve", "valve_type": "ball"})),
        part("gate valve", json!({"kind": "valve", "valve_type": "gate"})),
        part("level gauge", json!({"kind": "level_gauge"})),
        part("pump", json!({"kind": "pump", "mains_powered": true})),
        part("vessel", json!({"kind": "pressure_vessel", "volume_l": 60.0})),
        part("filter", json!({"kind": "cartridge_filter", "rated_volume_l": 30000.0})),
        part("lamp", json!({"kind": "disinfection_lamp", "rated_hours": 9000.0, "hours_per_day": 24.0})),
        part(
            "pipes",
            json!({"kind": "exposed_pipework", "first_frost": {"month": 10, "day": 25},
            "last_frost": {"month": 4, "day": 20}})
        ),
    ])
}

/// Registers a place with these components, commissioned on 1 January 2025.
pub async fn place(app: &App, components: Value) -> Place {
    place_with(app, &property(), &gauge(), components).await
}

/// The same at another property under another gauge.
pub async fn place_with(app: &App, property: &Value, gauge: &Value, components: Value) -> Place {
    let property = id_of(&app.post("/v1/properties", property).await);
    let gauge = id_of(&app.post("/v1/gauges", gauge).await);
    let system = app.post("/v1/systems", &system(&property, &gauge, components)).await;
    Place { property, gauge, system }
}

/// A system that is right.
pub fn system(property: &str, gauge: &str, components: Value) -> Value {
    let mut system = json!({"property_id": property, "gauge_id": gauge, "name": "seedling house", "roof": roof(),
        "commissioned_on": "2025-01-01", "demand_l_per_day": 100.0});
    system["components"] = components;
    system
}

/// Sends so many days of the same rain, from a day on.
pub async fn rain(app: &App, gauge: &str, first: &str, days: u32, mm: f64) -> Value {
    let first: chrono::NaiveDate = first.parse().expect("a date");
    let days: Vec<Value> =
        first.iter_days().take(days as usize).map(|date| json!({"date": date, "rain_mm": mm})).collect();
    app.send("PUT", &format!("/v1/gauges/{gauge}/rain"), &json!({"days": days})).await.expect(200)
}

/// Sends so many days of which every fourth, the first among them, brings a storm of 20.5 mm and the others nothing.
///
/// Off the roof of [`roof`] each storm runs 18 mm, and washes off what the four days since the last have laid: 0.6 g/m2
/// times 1 - exp(-0.72), but for a 2^-18th, which are 0.307947 g/m2.
pub async fn storms(app: &App, gauge: &str, first: &str, days: u32) {
    let first: chrono::NaiveDate = first.parse().expect("a date");
    let mm = |n: u32| if n.is_multiple_of(4) { 20.5 } else { 0.0 };
    let days: Vec<Value> =
        first.iter_days().zip(0..days).map(|(date, n)| json!({"date": date, "rain_mm": mm(n)})).collect();
    app.send("PUT", &format!("/v1/gauges/{gauge}/rain"), &json!({"days": days})).await.expect(200);
}
