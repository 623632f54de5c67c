//! Why JSON could not be read: which field it was and what is wrong with it, without lines and columns.

mod place;
pub mod tokens;

use place::Place;
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;
use serde_json::{Value, json};

/// A field that could not be read.
#[derive(Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// Its path, such as `items[0].done`; empty for the whole.
    pub field: String,
    /// What is wrong with it.
    pub message: String,
}

/// The largest body in which a wrong field is looked for inside a kind, bytes. The search needs a tree of the body, and
/// each try reads it once more.
const SEARCHED: usize = 65_536;
/// How often such a body is read.
const TRIES: usize = 8;

/// Reads JSON. A number such as `3.0` is read as `3` where a whole number is wanted.
pub fn from_slice<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Unreadable> {
    match typed(bytes) {
        Ok(value) => Ok(value),
        Err(refusal) if refusal.error.is_data() => match tokens::without_zero_fractions(bytes) {
            // What is wrong with this text is wrong with the other, too.
            Some(text) => typed(&text).map_err(|refusal| located::<T>(refusal, &text)),
            None => Err(located::<T>(refusal, bytes)),
        },
        Err(refusal) => Err(located::<T>(refusal, bytes)),
    }
}

/// Names the field where reading ended, and says why.
fn located<T: DeserializeOwned>(Refusal { place, error }: Refusal, bytes: &[u8]) -> Unreadable {
    let position = format!(" at line {} column {}", error.line(), error.column());
    let message = error.to_string();
    let message = message.strip_suffix(&position).unwrap_or(&message);
    if !error.is_data() {
        // No field is wrong but the text itself, so its place is all that helps.
        let message = format!("{message}, at byte {}", offset(bytes, error.line(), error.column()));
        return Unreadable { field: place.to_string(), message };
    }
    if bytes.len() > SEARCHED {
        let place = in_large(place, message, bytes);
        return explained(&place, message, place.text(bytes).as_deref());
    }
    let body = serde_json::from_slice(bytes).unwrap_or_default();
    let again = |body: &Value| serde_json::from_value::<T>(body.clone()).err().map(|error| error.to_string());
    searched(place, message, &body, again)
}

/// Where reading ended, and why.
struct Refusal {
    place: Place,
    error: serde_json::Error,
}

fn typed<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Refusal> {
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut reader)
        .map_err(|error| Refusal { place: Place::of(error.path()), error: error.into_inner() })?;
    reader.end().map_err(|error| Refusal { place: Place::default(), error })?;
    Ok(value)
}

/// Reads JSON that was parsed before.
pub fn from_value<T: DeserializeOwned>(value: &Value) -> Result<T, Unreadable> {
    serde_path_to_error::deserialize(value).map_err(|error| {
        let again = |body: &Value| T::deserialize(body).err().map(|error| error.to_string());
        let place = Place::of(error.path());
        searched(place, &error.into_inner().to_string(), value, again)
    })
}

/// A text that was to be a date or an instant: what to send instead. `message` is what its reader said.
pub fn date_message(field: &str, text: &str, message: &str) -> Option<String> {
    /// What the reader of dates says.
    const SAID: [&str; 6] = [
        "input is out of range",
        "no possible date and time matching input",
        "input is not enough for unique date and time",
        "input contains invalid characters",
        "premature end of input",
        "trailing input",
    ];
    // Instants have names such as `expires_at`.
    let wanted = if field.ends_with("_at") {
        "an instant such as 2026-03-07T12:00:00Z"
    } else {
        "a date such as 2026-03-07"
    };
    SAID.contains(&message).then(|| format!("{} is not {wanted}", shown(text)))
}

/// The field that a message names as missing, unknown or duplicate.
pub fn named_field<'a>(how: &str, message: &'a str) -> Option<&'a str> {
    message.strip_prefix(how)?.strip_prefix(" field `")?.split('`').next()
}

/// A text as it is repeated to its sender, who knows the rest of a long one.
fn shown(text: &str) -> String {
    const LONGEST: usize = 60;
    let start: String = text.chars().take(LONGEST).collect();
    let rest = if start.len() < text.len() { "..." } else { "" };
    format!("{:?}", start + rest)
}

/// How many bytes stand before a place.
fn offset(bytes: &[u8], line: usize, column: usize) -> usize {
    let lines = bytes.split(|byte| *byte == b'\n').take(line.saturating_sub(1));
    lines.map(|line| line.len() + 1).sum::<usize>() + column
}

/// Names the field, and says what is wrong with it. `again` reads a changed body and says what is wrong with that.
fn searched(
    place: Place,
    message: &str,
    body: &Value,
    again: impl Fn(&Value) -> Option<String>,
) -> Unreadable {
    let place = Search { message, body, again }.exact(place);
    explained(&place, message, place.value(body).and_then(Value::as_str))
}

/// The place of a wrong field of a large body, as far as it can be told without reading the body again.
fn in_large(place: Place, message: &str, body: &[u8]) -> Place {
    let mut named =
        ["missing", "unknown", "duplicate"].into_iter().filter_map(|how| named_field(how, message));
    if named.any(|name| place.ends_with(name)) {
        return place;
    }
    match place.raw(body).map(RawValue::get).filter(|part| part.len() <= SEARCHED) {
        Some(part) => {
            let body = serde_json::from_str(part).unwrap_or_default();
            let again = |_: &Value| Some(message.to_owned());
            place.join(Search { message, body: &body, again }.exact(Place::default()))
        }
        None => named_field("missing", message).map_or(place.clone(), |name| place.field(name)),
    }
}

/// Names the field, and says what is wrong with it. `text` is what stands there, if it is a text.
fn explained(place: &Place, message: &str, text: Option<&str>) -> Unreadable {
    let field = place.to_string();
    let about_a_date = text.and_then(|text| date_message(&field, text, message));
    Unreadable { field, message: about_a_date.unwrap_or_else(|| message.to_owned()) }
}

/// Looks for a wrong field inside a kind. The reader takes an object whose kind is told by a field as a whole, and loses
/// the way to the field that is wrong.
struct Search<'a, F> {
    message: &'a str,
    body: &'a Value,
    again: F,
}

impl<F: Fn(&Value) -> Option<String>> Search<'_, F> {
    fn exact(&self, place: Place) -> Place {
        let named = |how| named_field(how, self.message);
        match (named("missing"), named("unknown"), named("duplicate")) {
            (Some(name), ..) => self.field(place, name, false),
            (_, Some(name), _) | (.., Some(name)) => self.field(place, name, true),
            _ => self.value(place),
        }
    }

    /// The place of a field that one of the objects lacks, or has and should not have.
    fn field(&self, place: Place, name: &str, present: bool) -> Place {
        if place.ends_with(name) {
            return place;
        }
        let all = place.with_all_below(self.body).into_iter();
        let mut all = all.filter(|place| {
            place
                .value(self.body)
                .and_then(Value::as_object)
                .is_some_and(|it| it.contains_key(name) == present)
        });
        let (first, second) = (all.next(), all.next());
        let Some(second) = second else { return first.unwrap_or(place).field(name) };
        let other = format!("{} field `{name}`", if present { "missing" } else { "unknown" });
        let found = first.into_iter().chain([second]).chain(all).take(TRIES).find(|place| {
            let said = self.changed(place, |object| match object.as_object_mut() {
                Some(object) if present => drop(object.remove(name)),
                // A list in a list is right for no field.
                Some(object) => drop(object.insert(name.to_owned(), json!([[]]))),
                None => {}
            });
            said.is_none_or(|said| said != self.message && !said.starts_with(&other))
        });
        found.map_or(place, |place| place.field(name))
    }

    /// The place of a value that is wrong: one that the message speaks of and that makes a difference.
    fn value(&self, place: Place) -> Place {
        if !place.value(self.body).is_some_and(|value| value.is_object() || value.is_array()) {
            return place;
        }
        let all = place.with_all_below(self.body).into_iter().skip(1);
        let mut said = all.filter(|place| place.value(self.body).is_some_and(|value| self.speaks_of(value)));
        let found = said.by_ref().take(TRIES).find(|place| {
            let said = self.changed(place, |value| *value = another(value));
            said.as_deref() != Some(self.message)
        });
        found.unwrap_or(place)
    }

    fn speaks_of(&self, value: &Value) -> bool {
        let has = |word: &str| self.message.contains(word);
        match value {
            Value::String(text) => has(&format!("{text:?}")) || has(&format!("`{text}`")),
            Value::Number(_) | Value::Bool(_) => has(&format!("`{value}`")),
            Value::Null => has("null"),
            Value::Array(_) => has("sequence"),
            Value::Object(_) => has("map"),
        }
    }

    /// What is wrong with the body after a change at a place.
    fn changed(&self, place: &Place, change: impl FnOnce(&mut Value)) -> Option<String> {
        let mut body = self.body.clone();
        if let Some(value) = place.value_mut(&mut body) {
            change(value);
        }
        (self.again)(&body)
    }
}

/// A value of the same sort that is not the same.
fn another(value: &Value) -> Value {
    match value {
        Value::String(text) => json!(format!("{text}\u{1}")),
        Value::Number(number) => match number.as_i64() {
            Some(number) => json!(number.wrapping_add(1)),
            None => json!(number.as_f64().unwrap_or_default() + 1.0),
        },
        Value::Bool(is) => json!(!is),
        Value::Null => json!(false),
        Value::Array(_) | Value::Object(_) => Value::Null,
    }
}

#[cfg(test)]
mod tests;
