//! The operations of the committed OpenAPI document, each with a request that is right.

use super::scenario::{component, gauge, id_of, items, place, property, roof, system, three};
use crate::support::app::{App, Reply};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// One operation.
#[derive(Clone, Debug)]
pub struct Operation {
    /// `GET`, `POST`, `PUT` or `DELETE`.
    pub method: String,
    /// Its path, with `{id}` where the id goes.
    pub path: String,
    /// The statuses that are documented.
    pub statuses: Vec<u16>,
}

impl Operation {
    /// The scope it needs.
    pub fn scope(&self) -> &'static str {
        match (self.method.as_str(), self.path.as_str()) {
            ("GET", "/v1/audit") => "admin",
            (_, path) if path.starts_with("/v1/keys") || path.starts_with("/v1/calendars") => "admin",
            (_, path) if path.starts_with("/v1/subscriptions") || path.starts_with("/v1/deliveries") => {
                "admin"
            }
            // A forecast that stores nothing is a read.
            ("POST", "/v1/forecast") | ("GET", _) => "read",
            _ => "write",
        }
    }

    /// The noun whose id its path takes.
    pub fn noun(&self) -> &str {
        self.path.split('/').nth(2).expect("a noun after /v1")
    }

    /// A request that is right: `id` goes into the path, `own` holds what the body refers to.
    pub fn request(&self, app: &App, key: &str, id: &str, own: &Overrides) -> reqwest::RequestBuilder {
        let mut path =
            self.path.replace("{id}", id).replace("{duty}", "clear_roof").replace("{format}", "csv");
        if (self.method.as_str(), self.path.as_str()) == ("DELETE", "/v1/gauges/{id}/rain") {
            path.push_str("?from=2020-01-01&to=2020-01-02");
        }
        let request = app.request_as(key, &self.method, &path);
        // Nothing was ever set for a duty, which is version 0.
        let version = if self.path == "/v1/duties/{duty}" { "\"0\"" } else { "\"1\"" };
        let request = if self.guarded() { request.header("If-Match", version) } else { request };
        match self.body(own) {
            Some(body) => request.json(&body),
            None => request,
        }
    }

    fn guarded(&self) -> bool {
        self.statuses.contains(&428)
    }

    /// A body that is right. A new operation with a body has to be given one here.
    fn body(&self, own: &Overrides) -> Option<Value> {
        let visit = || {
            json!({"system_id": own.system, "visited_on": "2026-02-01", "items": [
                {"component_id": own.component, "duty": "clean_screen", "done": true}]})
        };
        Some(match (self.method.as_str(), self.path.as_str()) {
            ("GET" | "DELETE", _) => return None,
            ("POST", "/v1/keys") => json!({"name": "orchard tablet", "scopes": ["read"]}),
            ("POST", path)
                if ["/pause", "/resume", "/secret", "/test", "/send"]
                    .iter()
                    .any(|end| path.ends_with(end)) =>
            {
                return None;
            }
            ("POST", "/v1/subscriptions") | ("PUT", "/v1/subscriptions/{id}") => {
                json!({"name": "terrace rota", "to": "https://hooks.example/eaves", "system_id": own.system})
            }
            ("POST", "/v1/calendars") => json!({"name": "terrace wall", "property_id": own.property}),
            ("PUT", "/v1/duties/{duty}") => json!({"longest_interval_months": 9}),
            ("POST", "/v1/properties") | ("PUT", "/v1/properties/{id}") => property(),
            ("POST", "/v1/gauges") | ("PUT", "/v1/gauges/{id}") => gauge(),
            ("PUT", "/v1/gauges/{id}/rain") => json!({"days": [{"date": "2020-01-01", "rain_mm": 1.0}]}),
            ("POST", "/v1/systems") => system(&own.property, &own.gauge, three()),
            ("PUT", "/v1/systems/{id}") => {
                let mut facts = system(&own.property, &own.gauge, three());
                facts.as_object_mut().expect("an object").remove("components");
                facts
            }
            ("POST", "/v1/systems/{id}/components") | ("PUT", "/v1/components/{id}") => {
                component("terrace screen", json!({"kind": "debris_screen", "area_m2": 0.3}))
            }
            ("POST", "/v1/components/{id}/replace" | "/v1/components/{id}/retire") => {
                json!({"on": "2026-02-01"})
            }
            ("POST", "/v1/visits") | ("PUT", "/v1/visits/{id}") => visit(),
            ("POST", "/v1/visits/{id}/withdraw") => json!({"because": "nobody was there"}),
            ("POST", "/v1/rounds") => json!({"on": "2026-03-02", "task_ids": [own.task]}),
            ("POST", "/v1/rounds/{id}/done") => json!({"visited_on": "2026-02-20"}),
            ("POST", "/v1/forecast") => json!({"latitude_deg": 48.0, "roof": roof(), "as_of": "2026-03-01",
                "components": three()}),
            (method, path) => panic!("give {method} {path} a body in tests/suite/api/document.rs"),
        })
    }
}

/// What an account owns, one of each, by the noun of the path.
pub struct Overrides {
    property: String,
    gauge: String,
    system: String,
    component: String,
    /// A task that stands in no round.
    task: String,
    ids: BTreeMap<&'static str, String>,
}

impl Overrides {
    /// Makes one of each for the first account.
    pub async fn of_first(app: &App) -> Self {
        let place = place(app, three()).await;
        let component = place.component("screen");
        // A coupling is predicted without rain, so what is found on it answers a forecast.
        let visit = json!({"system_id": place.system_id(), "visited_on": "2026-01-15", "items": [
            {"component_id": component, "duty": "clean_screen", "done": true},
            {"component_id": place.component("coupling"), "duty": "replace_coupling", "done": false,
             "finding": {"found": "fraction", "fraction": 0.1}}]});
        let visit = id_of(&app.post("/v1/visits", &visit).await);
        app.refresh().await;
        app.score().await;
        // Not of the screen, which some operations replace or retire.
        let task = id_of(&place.task(app, "coupling", "check_bands").await);
        let free = id_of(&place.task(app, "diverter", "clear_weep_hole").await);
        let planned = json!({"on": "2026-03-02", "task_ids": [task]});
        let round = id_of(&app.post("/v1/rounds", &planned).await);
        let key = app.post("/v1/keys", &json!({"name": "spare key", "scopes": ["read"]})).await;
        let hook = json!({"name": "spare rota", "to": "https://hooks.invalid/"});
        let subscription = id_of(&app.post("/v1/subscriptions", &hook).await["subscription"]);
        let delivery =
            id_of(&app.post(&format!("/v1/subscriptions/{subscription}/test"), &Value::Null).await);
        let calendar = app.post("/v1/calendars", &json!({"name": "spare calendar"})).await;
        let system = place.system_id().to_owned();
        let ids = BTreeMap::from([
            ("properties", place.property.clone()),
            ("gauges", place.gauge.clone()),
            ("systems", system.clone()),
            ("components", component.clone()),
            ("tasks", task),
            ("visits", visit),
            ("rounds", round),
            ("keys", id_of(&key["key"])),
            ("calendars", id_of(&calendar["calendar"])),
            ("subscriptions", subscription),
            ("deliveries", delivery),
        ]);
        Self { property: place.property, gauge: place.gauge, system, component, task: free, ids }
    }

    /// Makes what bodies refer to, for another account.
    pub async fn of_other(app: &App, key: &str) -> Self {
        let post = async |path: &str, body: Value| {
            Reply::of(app.request_as(key, "POST", path).json(&body)).await.expect(201)
        };
        let property = id_of(&post("/v1/properties", property()).await);
        let gauge = id_of(&post("/v1/gauges", gauge()).await);
        let made = post("/v1/systems", system(&property, &gauge, three())).await;
        let (system, component) = (id_of(&made), id_of(&made["components"][0]));
        app.refresh().await;
        let tasks = Reply::of(app.request_as(key, "GET", "/v1/tasks")).await.expect(200);
        let task = id_of(&items(&tasks)[0]);
        Self { property, gauge, system, component, task, ids: BTreeMap::new() }
    }

    /// The system.
    pub fn system(&self) -> &str {
        &self.system
    }

    /// A body that is right.
    pub fn body(&self, operation: &Operation) -> Value {
        operation.body(self).unwrap_or_default()
    }

    /// The id of what a path names.
    pub fn id(&self, operation: &Operation) -> &str {
        let noun = operation.noun();
        self.ids.get(noun).unwrap_or_else(|| panic!("make one of the {noun} in tests/suite/api/document.rs"))
    }
}

/// The committed document.
pub fn committed() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../openapi/openapi.json");
    let text = std::fs::read_to_string(path).expect("openapi/openapi.json");
    serde_json::from_str(&text).expect("JSON")
}

/// Every operation under `/v1`.
pub fn operations() -> Vec<Operation> {
    let document = committed();
    let paths = document["paths"].as_object().expect("paths");
    let all: Vec<Operation> = paths
        .iter()
        .filter(|(path, _)| path.starts_with("/v1/"))
        .flat_map(|(path, item)| {
            item.as_object().expect("an item").iter().map(move |(method, operation)| Operation {
                method: method.to_uppercase(),
                path: path.clone(),
                statuses: operation["responses"]
                    .as_object()
                    .expect("responses")
                    .keys()
                    .filter(|status| *status != "default")
                    .map(|status| status.parse().expect("a status"))
                    .collect(),
            })
        })
        .collect();
    // The document had 47 when this was written; fewer means that it was not read rightly.
    assert!(all.len() >= 47, "{} operations", all.len());
    all
}

/// How many things an account's lists show. Duties are the same for everybody and are left out.
pub async fn counts(app: &App, key: &str) -> Vec<(String, usize)> {
    let mut counts = Vec::new();
    for operation in operations() {
        let same = ["/v1/account", "/v1/duties"].contains(&operation.path.as_str());
        if operation.method == "GET" && !operation.path.contains('{') && !same {
            let page = Reply::of(app.request_as(key, "GET", &operation.path)).await.expect(200);
            // A digest is a list by property, a proposal one of rounds.
            let properties = page["properties"].as_array().or_else(|| page["rounds"].as_array());
            let count = properties.map_or_else(|| items(&page).len(), Vec::len);
            counts.push((operation.path, count));
        }
    }
    counts
}
