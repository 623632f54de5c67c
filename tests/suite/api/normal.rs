//! Answers as examples: what is different at every run is replaced, and long lists are cut.

use crate::support::app::App;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// Entries of a list of objects that an example shows.
const SHOWN: usize = 2;
/// Length of an id.
const ID: usize = 36;
/// Secrets by what they begin with, and what examples show in their place.
const SECRETS: [(&str, &str); 3] = [
    ("whsec_", "whsec_YW4gZXhhbXBsZSwgYW5kIG5vIHNlY3JldA=="),
    ("ewc_", "ewc_example-and-no-secret"),
    ("ew_", "ew_example-and-no-secret"),
];

/// What stands for what.
pub struct Normal {
    url: String,
    /// The ids of examples by those of the service.
    ids: BTreeMap<String, String>,
    next: u128,
}

impl Normal {
    /// Of a service.
    pub fn of(app: &App) -> Self {
        Self { url: app.url.clone(), ids: BTreeMap::new(), next: 16 }
    }

    /// Lets an id of the requests' examples stand for one of the service.
    pub fn stands_for(&mut self, number: u128, live: &str) {
        self.ids.insert(live.to_owned(), example_id(number));
    }

    /// A request's example with the ids of the service.
    pub fn live(&self, example: &str) -> String {
        self.ids.iter().fold(example.to_owned(), |text, (live, example)| text.replace(example, live))
    }

    /// An answer as an example.
    pub fn normalised(&mut self, value: &Value) -> Value {
        match value {
            Value::Object(object) => Value::Object(
                object.iter().map(|(name, value)| self.field(name, value)).collect::<Map<_, _>>(),
            ),
            Value::Array(list) => {
                let shown = if list.first().is_some_and(Value::is_object) { SHOWN } else { list.len() };
                list.iter().take(shown).map(|value| self.normalised(value)).collect()
            }
            Value::String(text) => json!(self.text(text)),
            Value::Number(number) if number.is_f64() => {
                // More digits say nothing to a reader.
                let rounded: f64 =
                    format!("{:.5e}", number.as_f64().expect("a number")).parse().expect("a number");
                json!(rounded)
            }
            value => value.clone(),
        }
    }

    fn field(&mut self, name: &str, value: &Value) -> (String, Value) {
        let value = match (name, value) {
            ("cursor" | "next_cursor", Value::String(_)) => json!("b3BhcXVl"),
            ("took_ms", Value::Number(_)) => json!(84),
            // A sentence has all its figures.
            ("figures", Value::Array(list)) => list.iter().map(|value| self.normalised(value)).collect(),
            (_, value) => self.normalised(value),
        };
        (name.to_owned(), value)
    }

    fn text(&mut self, text: &str) -> String {
        let mut text = text.replace(&self.url, "https://eaves.example");
        for (start, shown) in SECRETS {
            if let Some(at) = text.find(start) {
                let in_secret = |byte: &u8| byte.is_ascii_alphanumeric() || b"_-+/=".contains(byte);
                let length = text.as_bytes()[at..].iter().take_while(|byte| in_secret(byte)).count();
                text.replace_range(at..at + length, shown);
                break;
            }
        }
        let mut at = 0;
        while at + ID <= text.len() {
            match text.get(at..at + ID).filter(|part| is_id(part)).map(str::to_owned) {
                Some(id) => {
                    text.replace_range(at..at + ID, &self.id(&id));
                    at += ID;
                }
                None => at += 1,
            }
        }
        text
    }

    fn id(&mut self, live: &str) -> String {
        if live.starts_with("01900000-0000-7000-8000-") {
            return live.to_owned();
        }
        if !self.ids.contains_key(live) {
            self.stands_for(self.next, live);
            self.next += 1;
        }
        self.ids[live].clone()
    }
}

/// A readable id, as `service/src/http/openapi/samples.rs` makes them.
fn example_id(number: u128) -> String {
    format!("01900000-0000-7000-8000-{number:012x}")
}

fn is_id(text: &str) -> bool {
    text.bytes().enumerate().all(|(at, byte)| match at {
        8 | 13 | 18 | 23 => byte == b'-',
        _ => byte.is_ascii_hexdigit(),
    })
}
