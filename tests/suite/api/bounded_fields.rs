//! The bounded fields of requests, read off the committed document: where each stands in a body, which values lie on its
//! bounds, and which just beyond.

use chrono::NaiveDate;
use serde_json::{Value, json};

/// A field of a body, or an entry of a list in it, that the document bounds.
#[derive(Debug)]
pub struct BoundedField {
    /// Where it stands, as a JSON pointer.
    pub pointer: String,
    schema: Value,
    /// What has to stand around it, from the outside in.
    around: Vec<Parent>,
    /// Of a list: an entry.
    entry: Value,
}

/// An object or list around a field.
#[derive(Clone, Debug)]
struct Parent {
    pointer: String,
    sample: Value,
    /// Whether it takes the place of what the body has there: the field belongs to this kind alone.
    replaces: bool,
}

impl BoundedField {
    /// The name that refusals give it.
    pub fn name(&self) -> String {
        named(&self.pointer)
    }

    /// Whether it is a list.
    pub fn is_list(&self) -> bool {
        is_a(&self.schema, "array")
    }

    /// A body with a value for the field.
    pub fn set(&self, body: &Value, value: Value) -> Value {
        let mut body = body.clone();
        for parent in &self.around {
            if parent.replaces || body.pointer(&parent.pointer).is_none_or(Value::is_null) {
                put(&mut body, &parent.pointer, parent.sample.clone());
            }
        }
        put(&mut body, &self.pointer, value);
        body
    }

    /// Values on the bounds. Lists but those of months have none: their entries have to differ, and the document does not
    /// say how.
    pub fn on_bounds(&self) -> Vec<Value> {
        if !self.is_list() {
            return on_bounds(&self.schema, self.last());
        }
        let months = self.schema["minItems"].as_u64().filter(|fewest| Some(*fewest) == self.most());
        months.map(|number| vec![json!(self.entries(number, &Value::Null))]).unwrap_or_default()
    }

    /// Values just beyond the bounds; `body` may show what an entry is like.
    pub fn beyond(&self, body: &Value) -> Vec<Value> {
        if !self.is_list() {
            return beyond(&self.schema, self.last());
        }
        let fewest = self.schema["minItems"].as_u64().unwrap_or(0);
        let numbers = fewest.checked_sub(1).into_iter().chain(self.most().map(|most| most + 1));
        numbers.map(|number| json!(self.entries(number, body))).collect()
    }

    fn most(&self) -> Option<u64> {
        self.schema["maxItems"].as_u64()
    }

    /// So many entries, one a day where they have dates.
    fn entries(&self, number: u64, body: &Value) -> Vec<Value> {
        let entry = body.pointer(&format!("{}/0", self.pointer)).unwrap_or(&self.entry);
        let days = NaiveDate::from_ymd_opt(1900, 1, 1).expect("a date").iter_days();
        let entries = days.take(number as usize).map(|day| {
            let mut entry = entry.clone();
            if entry.get("date").is_some() {
                entry["date"] = json!(day);
            }
            entry
        });
        entries.collect()
    }

    fn last(&self) -> &str {
        self.pointer.rsplit('/').next().expect("a field")
    }
}

/// The name that refusals give to what stands at a pointer.
pub fn named(pointer: &str) -> String {
    let mut name = String::new();
    for part in pointer.split('/').skip(1) {
        if part.bytes().all(|byte| byte.is_ascii_digit()) {
            name = format!("{name}[{part}]");
        } else if name.is_empty() {
            part.clone_into(&mut name);
        } else {
            name = format!("{name}.{part}");
        }
    }
    name
}

/// The bounded fields of an operation's body.
pub fn of_body(document: &Value, method: &str, path: &str) -> Vec<BoundedField> {
    let operation = &document["paths"][path][method.to_lowercase()];
    let mut walk = Walk { document, found: Vec::new() };
    let body = &operation["requestBody"]["content"]["application/json"]["schema"];
    if body.is_object() {
        walk.look(body, "", &[]);
    }
    walk.found
}

/// The bounded parameters of an operation's query: their names and schemas.
pub fn of_query(document: &Value, path: &str) -> Vec<(String, Value)> {
    let parameters = document["paths"][path]["get"]["parameters"].as_array().into_iter().flatten();
    let bounded = parameters.filter(|parameter| is_bounded(&parameter["schema"]));
    let bounded = bounded.filter(|parameter| parameter["in"] == "query");
    bounded
        .map(|parameter| {
            (parameter["name"].as_str().expect("a name").to_owned(), parameter["schema"].clone())
        })
        .collect()
}

struct Walk<'a> {
    document: &'a Value,
    found: Vec<BoundedField>,
}

impl Walk<'_> {
    fn look(&mut self, schema: &Value, pointer: &str, around: &[Parent]) {
        let schema = resolved(self.document, schema);
        if is_bounded(schema) {
            let entry = schema.get("items").map_or(Value::Null, |items| sample(self.document, items));
            self.found.push(BoundedField {
                pointer: pointer.to_owned(),
                schema: schema.clone(),
                around: around.to_vec(),
                entry,
            });
        }
        let with = |sample: Value, replaces: bool| {
            let own = Parent { pointer: pointer.to_owned(), sample, replaces };
            // The body itself is always there.
            around.iter().cloned().chain((!pointer.is_empty()).then_some(own)).collect::<Vec<_>>()
        };
        let kinds: Vec<&Value> = schema["oneOf"].as_array().into_iter().flatten().collect();
        let kinds = kinds.into_iter().map(|kind| resolved(self.document, kind));
        let kinds: Vec<&Value> = kinds.filter(|kind| kind["type"] != "null").collect();
        for kind in &kinds {
            // What may be absent has one kind, and is described by it.
            if kinds.len() == 1 {
                self.look(kind, pointer, around);
            } else if let Some(fields) = kind["properties"].as_object() {
                let around = with(sample(self.document, kind), true);
                for (field, schema) in fields {
                    self.look(schema, &format!("{pointer}/{field}"), &around);
                }
            }
        }
        if let Some(fields) = schema["properties"].as_object() {
            let around = with(sample(self.document, schema), false);
            for (field, schema) in fields {
                self.look(schema, &format!("{pointer}/{field}"), &around);
            }
        }
        if let Some(items) = schema.get("items") {
            let fewest = schema["minItems"].as_u64().unwrap_or(0).max(1);
            let entries = vec![sample(self.document, items); fewest as usize];
            self.look(items, &format!("{pointer}/0"), &with(json!(entries), false));
        }
    }
}

/// Puts a value where a pointer leads; what is around it is there.
fn put(body: &mut Value, pointer: &str, value: Value) {
    let (parent, field) = pointer.rsplit_once('/').expect("a pointer");
    match body.pointer_mut(parent).unwrap_or_else(|| panic!("nothing at {parent}")) {
        Value::Array(list) if list.is_empty() => list.push(value),
        Value::Array(list) => list[field.parse::<usize>().expect("an index")] = value,
        parent => parent[field] = value,
    }
}

fn resolved<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    schema["$ref"].as_str().map_or(schema, |path| document.pointer(&path[1..]).expect("a schema"))
}

fn is_a(schema: &Value, word: &str) -> bool {
    let words = schema["type"].as_array().into_iter().flatten();
    schema["type"] == word || words.into_iter().any(|one| one == word)
}

fn is_bounded(schema: &Value) -> bool {
    ["minimum", "maximum", "exclusiveMaximum", "maxLength", "minItems", "maxItems"]
        .iter()
        .any(|word| schema.get(word).is_some_and(Value::is_number))
}

/// The plainest value that a schema allows.
fn sample(document: &Value, schema: &Value) -> Value {
    let schema = resolved(document, schema);
    if let Some(words) = schema["enum"].as_array() {
        return words[0].clone();
    }
    if let Some(kinds) = schema["oneOf"].as_array() {
        let kind = kinds.iter().find(|kind| kind["type"] != "null");
        return sample(document, kind.expect("a kind"));
    }
    if is_a(schema, "object") {
        let required = schema["required"].as_array().into_iter().flatten();
        let fields = required.map(|field| {
            let field = field.as_str().expect("a name");
            (field.to_owned(), sample(document, &schema["properties"][field]))
        });
        return Value::Object(fields.collect());
    }
    if is_a(schema, "array") {
        let fewest = schema["minItems"].as_u64().unwrap_or(0);
        return json!(vec![sample(document, &schema["items"]); fewest as usize]);
    }
    if is_a(schema, "number") || is_a(schema, "integer") {
        let bound = |word: &str| schema[word].as_f64();
        let value = 1.0_f64.max(bound("minimum").unwrap_or(1.0)).min(bound("maximum").unwrap_or(1.0));
        return if is_a(schema, "integer") { json!(value as i64) } else { json!(value) };
    }
    match schema["format"].as_str() {
        Some("date") => json!("2025-06-01"),
        Some("uuid") => json!("00000000-0000-4000-8000-000000000000"),
        _ if is_a(schema, "boolean") => json!(false),
        _ => json!("x"),
    }
}

/// Values of a number or a text on its bounds.
pub fn on_bounds(schema: &Value, field: &str) -> Vec<Value> {
    if let Some(most) = schema["maxLength"].as_u64() {
        return vec![text(field, most)];
    }
    let integer = is_a(schema, "integer");
    let bounds = ["minimum", "maximum"].into_iter().filter_map(|word| schema[word].as_f64());
    let bounds = bounds.chain(schema["exclusiveMaximum"].as_f64().map(f64::next_down));
    bounds.map(|bound| if integer { json!(bound as i64) } else { json!(bound) }).collect()
}

/// Values of a number or a text just beyond its bounds: the next number, or one character more.
pub fn beyond(schema: &Value, field: &str) -> Vec<Value> {
    if let Some(most) = schema["maxLength"].as_u64() {
        let blank = schema.get("minLength").map(|_| json!(""));
        return std::iter::once(text(field, most + 1)).chain(blank).collect();
    }
    let least = schema["minimum"].as_f64();
    let most = schema["maximum"].as_f64();
    if is_a(schema, "integer") {
        let values = least.map(|least| least as i64 - 1).into_iter().chain(most.map(|most| most as i64 + 1));
        return values.map(Value::from).collect();
    }
    let values = least.map(f64::next_down).into_iter().chain(most.map(f64::next_up));
    values.chain(schema["exclusiveMaximum"].as_f64()).map(Value::from).collect()
}

/// A text of so many characters that is right for a field.
fn text(field: &str, length: u64) -> Value {
    let (start, fill) = match field {
        "to" => ("https://hooks.example/", "x"),
        "schedule" => ("0 7 * * 1", " "),
        // Its bytes are twice as many: characters count.
        _ => ("", "ä"),
    };
    json!(format!("{start}{}", fill.repeat(length as usize - start.len())))
}
