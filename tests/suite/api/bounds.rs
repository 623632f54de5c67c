//! Every bound of the document is met by a request: what lies on it is taken, and what lies just beyond is refused by the
//! name of its field. The fields come from the document, so that a new one is tried as well.

use super::bounded_fields::{BoundedField, beyond, named, of_body, of_query, on_bounds};
use super::document::{Operation, Overrides, committed, operations};
use super::scenario::{component, id_of};
use crate::support::app::{App, Reply, over_both};
use serde_json::{Value, json};

over_both! {
    bounds_of_bodies_hold;
    bounds_of_queries_hold;
}

/// What requests refer to.
struct Own {
    made: Overrides,
    /// A tank with sediment, in the system of `made`.
    tank: String,
    /// Two tasks of that system that stand in no round; the first is to remove the tank's sediment.
    tasks: [String; 2],
}

impl Own {
    async fn of(app: &App) -> Self {
        let made = Overrides::of_first(app).await;
        let path = format!("/v1/systems/{}/components", made.system());
        let part =
            json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0});
        let tank = id_of(&app.post(&path, &component("tank", part)).await);
        app.refresh().await;
        let tasks = app.walk(&format!("/v1/tasks?system_id={}", made.system()), 500).await;
        let task = |duty: &str| id_of(tasks.iter().find(|task| task["duty"] == duty).expect("a task"));
        let tasks = [task("remove_sediment"), task("clean_screen")];
        Self { made, tank, tasks }
    }

    /// A body that is right.
    fn body(&self, operation: &Operation) -> Value {
        let mut body = self.made.body(operation);
        match operation.path.as_str() {
            // Whatever is found fits the sediment of a tank.
            "/v1/visits" | "/v1/visits/{id}" => {
                body["items"] = json!([{"component_id": self.tank, "duty": "remove_sediment", "done": true}]);
            }
            "/v1/rounds" => body["task_ids"] = json!(self.tasks),
            "/v1/rounds/{id}/done" => {
                body["items"] = json!([{"task_id": self.tasks[0]}]);
                body["skipped"] = json!([{"task_id": self.tasks[1]}]);
            }
            _ => {}
        }
        body
    }
}

/// What has to stand beside a field, for its bounds alone to decide.
fn beside(field: &BoundedField, body: &Value, value: &Value) -> Vec<(String, Value)> {
    let (parent, last) = field.pointer.rsplit_once('/').expect("a pointer");
    let at = |name: &str| format!("{parent}/{name}");
    let other = |one: &str, other: &str| parent.strip_suffix(one).map(|above| format!("{above}{other}"));
    match last {
        "canopy_share" => vec![(at("canopy"), json!("deciduous"))],
        "schedule" => vec![(at("sends"), json!("digest")), (at("time_zone"), json!("UTC"))],
        // That of a subscription, not of a calendar.
        "horizon_days" if body.get("to").is_some() => {
            let digest = [("sends", "digest"), ("schedule", "0 7 * * 1"), ("time_zone", "UTC")];
            digest.map(|(name, value)| (at(name), json!(value))).to_vec()
        }
        // The figures of a tank go together: full, it is 50 mm to 30 m deep, and what is in it lies below.
        "capacity_l" | "floor_area_m2" => {
            let small = value.as_f64().is_some_and(|value| value < 50.0);
            let (capacity_l, floor_area_m2) = if small { (1.0, 0.01) } else { (1e8, 1e5) };
            let (name, figure) = match last {
                "capacity_l" => ("floor_area_m2", floor_area_m2),
                _ => ("capacity_l", capacity_l),
            };
            vec![(at(name), json!(figure)), (at("outlet_height_mm"), json!(0.0))]
        }
        "outlet_height_mm" | "sediment_limit_mm" => {
            vec![(at("capacity_l"), json!(1e6)), (at("floor_area_m2"), json!(40.0))]
        }
        // A day of the year stands beside another, or not at all.
        "month" | "day" => {
            let pointer = other("first_frost", "last_frost").or(other("last_frost", "first_frost"));
            vec![(pointer.expect("a day of frost"), json!({"month": 1, "day": 1}))]
        }
        _ => Vec::new(),
    }
}

/// The name of what is refused: no month has a day 32, so that it is the day of the year that is wrong.
fn refused_name(field: &BoundedField) -> String {
    match field.pointer.rsplit_once('/') {
        Some((day, "month" | "day")) => named(day),
        _ => field.name(),
    }
}

fn filled(field: &BoundedField, body: &Value, value: Value) -> Value {
    let others = beside(field, body, &value);
    let mut body = field.set(body, value);
    for (pointer, value) in others {
        let (parent, name) = pointer.rsplit_once('/').expect("a pointer");
        body.pointer_mut(parent).expect("a parent")[name] = value;
    }
    body
}

/// Sends one operation again and again.
struct Sender<'a> {
    app: &'a App,
    own: &'a Own,
    operation: &'a Operation,
    /// The version that the next change needs.
    version: i64,
}

impl Sender<'_> {
    /// Sends a body. `right` is one of the same shape that is right.
    async fn send(&mut self, body: &Value, right: &Value) -> Reply {
        let (app, path) = (self.app, self.operation.path.as_str());
        let id = match path {
            "/v1/components/{id}" | "/v1/components/{id}/replace" => self.fresh_component(right).await,
            "/v1/rounds/{id}/done" => {
                let round = json!({"on": "2026-03-02", "task_ids": self.own.tasks});
                id_of(&app.post("/v1/rounds", &round).await)
            }
            _ if path.contains("{id}") => self.own.made.id(self.operation).to_owned(),
            _ => String::new(),
        };
        let path = path.replace("{id}", &id).replace("{duty}", "clear_roof");
        let mut request = app.request(&self.operation.method, &path).json(body);
        if self.operation.statuses.contains(&428) {
            let version = if self.operation.path == "/v1/components/{id}" { 1 } else { self.version };
            request = request.header("If-Match", format!("\"{version}\""));
        }
        let reply = Reply::of(request).await;
        self.clean_up(&reply, &id).await;
        reply
    }

    /// A component that no request changed yet, of the kind that is asked for.
    async fn fresh_component(&self, right: &Value) -> String {
        let part = right.get("part").cloned().unwrap_or_else(|| json!({"kind": "level_gauge"}));
        let path = format!("/v1/systems/{}/components", self.own.made.system());
        id_of(&self.app.post(&path, &component("fresh", part)).await)
    }

    /// Frees the tasks of a round that stays planned, and keeps the version of what was changed.
    async fn clean_up(&mut self, reply: &Reply, id: &str) {
        let taken = reply.status < 300;
        let planned = match self.operation.path.as_str() {
            "/v1/rounds" if taken => Some(id_of(&reply.expect(201))),
            "/v1/rounds/{id}/done" if !taken => Some(id.to_owned()),
            _ => None,
        };
        if let Some(round) = planned {
            let request = self.app.request("DELETE", &format!("/v1/rounds/{round}"));
            Reply::of(request.header("If-Match", "\"1\"")).await.expect(204);
        } else if taken && self.operation.method == "PUT" {
            self.version = reply.expect(200)["version"].as_i64().unwrap_or(self.version);
        }
    }

    async fn try_field(&mut self, field: &BoundedField, body: &Value) {
        let what = format!("{} {} {}", self.operation.method, self.operation.path, field.name());
        // One by one rain is judged reading by reading: a wrong one is listed, and the others are kept.
        let judged = self.operation.path.ends_with("/rain") && !field.is_list();
        let right = field.on_bounds();
        let shape = right.first().map_or_else(|| body.clone(), |value| filled(field, body, value.clone()));
        for value in right {
            let reply = self.send(&filled(field, body, value.clone()), &shape).await;
            assert!(reply.status < 300, "{what} = {}: {}", short(&value), reply.text);
            assert!(
                !judged || reply.expect(200)["counts"]["refused"] == 0,
                "{what} = {value}: {}",
                reply.text
            );
        }
        for value in field.beyond(body) {
            let reply = self.send(&filled(field, body, value.clone()), &shape).await;
            if judged {
                assert_eq!(reply.expect(200)["counts"]["refused"], 1, "{what} = {value}: {}", reply.text);
                continue;
            }
            // No unsigned number is less than nothing, so that the body cannot even be read.
            let code = if value.as_i64() == Some(-1) { "malformed_body" } else { "invalid" };
            let fields = reply.fields(code);
            let name = refused_name(field);
            if field.is_list() {
                let entries = format!("{name}[");
                let own = |field: &String| *field == name || field.starts_with(&entries);
                assert!(fields.iter().all(own), "{what} = {}: {fields:?}", short(&value));
            } else {
                assert_eq!(fields, [name], "{what} = {}: {}", short(&value), reply.text);
            }
        }
    }
}

fn short(value: &Value) -> String {
    value.to_string().chars().take(60).collect()
}

async fn bounds_of_bodies_hold(app: &App) {
    let (document, own) = (committed(), Own::of(app).await);
    let mut tried = 0;
    for operation in operations() {
        let fields = of_body(&document, &operation.method, &operation.path);
        if fields.is_empty() {
            continue;
        }
        let version = i64::from(operation.path != "/v1/duties/{duty}");
        let body = own.body(&operation);
        let mut sender = Sender { app, own: &own, operation: &operation, version };
        for field in &fields {
            sender.try_field(field, &body).await;
        }
        tried += fields.len();
    }
    // There were 242 when this was written; fewer means that the document was not read rightly.
    assert!(tried >= 242, "only {tried} fields were tried");
}

async fn bounds_of_queries_hold(app: &App) {
    let (document, own) = (committed(), Own::of(app).await);
    let mut tried = 0;
    for operation in operations().into_iter().filter(|operation| operation.method == "GET") {
        for (name, schema) in of_query(&document, &operation.path) {
            let id = if operation.path.contains("{id}") { own.made.id(&operation) } else { "" };
            // No stop costs more than a trip.
            let beside = if name == "stop_cost" { "&trip_cost=100000" } else { "" };
            let get = async |value: &Value| {
                let path = operation.path.replace("{id}", id);
                // A text as it is, without the quotes of JSON.
                let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
                let text = text.bytes().fold(String::new(), |text, byte| format!("{text}%{byte:02X}"));
                Reply::of(app.request("GET", &format!("{path}?{name}={text}{beside}"))).await
            };
            let what = format!("{} {name}", operation.path);
            for value in on_bounds(&schema, &name) {
                let reply = get(&value).await;
                assert_eq!(reply.status, 200, "{what} = {value}: {}", reply.text);
            }
            for value in beyond(&schema, &name) {
                let reply = get(&value).await;
                let code = if value.as_i64() == Some(-1) { "malformed_parameter" } else { "invalid" };
                // A stop beyond its bound also costs more than the trip.
                let mut fields = reply.fields(code);
                fields.dedup();
                assert_eq!(fields, [name.as_str()], "{what} = {value}: {}", reply.text);
            }
            tried += 1;
        }
    }
    // There were 20 when this was written.
    assert!(tried >= 20, "only {tried} parameters were tried");
}
