//! Request bodies: JSON with errors that name the field, and rain files.

use super::{decode, limits};
use super::payload::{BODY_LIMIT, BodyLimit, collect};
use super::problem::ApiError;
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest};
use eavesward_contract::{FieldProblem, ProblemCode};
use serde::de::{DeserializeOwned, Error as _, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::HashSet;
use std::fmt;
use std::future::Future;
use std::pin::Pin;

/// A JSON body, and a hash of its bytes to tell repetitions from mistakes.
#[derive(Debug)]
pub struct Json<T> {
    /// What it says.
    pub value: T,
    /// SHA-256 of the body.
    pub hash: [u8; 32],
}

impl<T: DeserializeOwned + Serialize + 'static> FromRequest for Json<T> {
    type Error = actix_web::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, actix_web::Error>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let (req, payload) = (req.clone(), payload.take());
        Box::pin(async move {
            let media_type = media_type(&req);
            if media_type != "application/json" {
                let detail = format!("The body is {media_type:?}; send application/json.");
                return Err(ApiError::new(ProblemCode::UnsupportedMediaType, detail).into());
            }
            let limit = req.app_data::<BodyLimit>().map_or(BODY_LIMIT, |limit| limit.0);
            let bytes = collect(req.headers(), payload, limit).await?;
            limits::body_is_here(&req).await?;
            Ok(Self { value: read_strictly(&bytes)?, hash: Sha256::digest(&bytes).into() })
        })
    }
}

/// The media type of the body, without parameters, in small letters.
pub fn media_type(req: &HttpRequest) -> String {
    let value =
        req.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// Reads JSON; the error names the path of the field.
pub fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, ApiError> {
    // A list of bare values would be taken for the fields in their order, names unseen.
    if !bytes.trim_ascii_start().starts_with(b"{") {
        return Err(malformed("", "the body has to be a JSON object"));
    }
    decode::from_slice(bytes).map_err(|decode::Unreadable { field, message }| malformed(&field, &message))
}

/// Reads JSON and refuses what the reader would take in another shape than the document shows: deep inside, too, a list of
/// bare values stands for the fields of an object in their order, and an object with one empty field for a word.
fn read_strictly<T: DeserializeOwned + Serialize>(bytes: &[u8]) -> Result<T, ApiError> {
    let value: T = match read(bytes) {
        Ok(value) => value,
        Err(refusal) => {
            let value = read_without_zero_fractions(bytes).ok_or(refusal)?;
            // That reading keeps the last of two fields of one name, so it cannot refuse them itself.
            read::<NoRepeats>(bytes)?;
            value
        }
    };
    let as_sent: Value = serde_json::from_slice(bytes).map_err(|error| malformed("", &error.to_string()))?;
    let as_meant = serde_json::to_value(&value).map_err(|error| malformed("", &error.to_string()))?;
    match mismatch(&as_sent, &as_meant, "") {
        Some(mismatch) => Err(malformed(&mismatch.path, &format!("{} is expected here", mismatch.expected))),
        None => Ok(value),
    }
}

/// Reads once more with `3.0` written as `3`: JSON knows one kind of number, and both are the same whole number.
fn read_without_zero_fractions<T: DeserializeOwned>(bytes: &[u8]) -> Option<T> {
    let mut body: Value = serde_json::from_slice(bytes).ok().filter(Value::is_object)?;
    drop_zero_fractions(&mut body).then(|| serde_json::from_value(body).ok())?
}

/// JSON of any shape in which no object has a field twice.
struct NoRepeats;

impl<'de> Deserialize<'de> for NoRepeats {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(NoRepeatsVisitor)
    }
}

struct NoRepeatsVisitor;

impl<'de> Visitor<'de> for NoRepeatsVisitor {
    type Value = NoRepeats;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_bool<E>(self, _: bool) -> Result<NoRepeats, E> {
        Ok(NoRepeats)
    }

    fn visit_i64<E>(self, _: i64) -> Result<NoRepeats, E> {
        Ok(NoRepeats)
    }

    fn visit_u64<E>(self, _: u64) -> Result<NoRepeats, E> {
        Ok(NoRepeats)
    }

    fn visit_f64<E>(self, _: f64) -> Result<NoRepeats, E> {
        Ok(NoRepeats)
    }

    fn visit_str<E>(self, _: &str) -> Result<NoRepeats, E> {
        Ok(NoRepeats)
    }

    fn visit_unit<E>(self) -> Result<NoRepeats, E> {
        Ok(NoRepeats)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<NoRepeats, A::Error> {
        while list.next_element::<NoRepeats>()?.is_some() {}
        Ok(NoRepeats)
    }

    fn visit_map<A: MapAccess<'de>>(self, mut object: A) -> Result<NoRepeats, A::Error> {
        let mut seen = HashSet::new();
        while let Some(name) = object.next_key::<String>()? {
            if seen.contains(&name) {
                object.next_value::<IgnoredAny>()?;
                return Err(A::Error::custom(format_args!("duplicate field `{name}`")));
            }
            object.next_value::<NoRepeats>()?;
            seen.insert(name);
        }
        Ok(NoRepeats)
    }
}

/// Writes whole numbers without a fraction; whether there were any with one.
fn drop_zero_fractions(value: &mut Value) -> bool {
    /// Beyond it not every whole number has a double.
    const EXACT: f64 = 9_007_199_254_740_992.0;
    match value {
        Value::Number(number) => match number.as_f64() {
            Some(float) if number.is_f64() && float.fract() == 0.0 && float.abs() <= EXACT => {
                *value = Value::from(float as i64);
                true
            }
            _ => false,
        },
        // Every one of them has to be seen, so nothing here stops at the first.
        Value::Array(list) => list.iter_mut().fold(false, |any, value| drop_zero_fractions(value) | any),
        Value::Object(object) => {
            object.values_mut().fold(false, |any, value| drop_zero_fractions(value) | any)
        }
        _ => false,
    }
}

/// A place where something was sent in another shape than it was taken for.
struct Mismatch {
    path: String,
    /// The shape that is right.
    expected: &'static str,
}

/// The first place where the shapes differ.
fn mismatch(sent: &Value, meant: &Value, path: &str) -> Option<Mismatch> {
    let expected = |expected| Some(Mismatch { path: path.to_owned(), expected });
    match (sent, meant) {
        (Value::Object(sent), Value::Object(meant)) => sent.iter().find_map(|(name, sent)| {
            let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
            mismatch(sent, meant.get(name)?, &path)
        }),
        (Value::Array(sent), Value::Array(meant)) => {
            let mut pairs = sent.iter().zip(meant).enumerate();
            pairs.find_map(|(index, (sent, meant))| mismatch(sent, meant, &format!("{path}[{index}]")))
        }
        (Value::Null, _) => None,
        (_, Value::Object(_)) => expected("an object"),
        (_, Value::Array(_)) => expected("a list"),
        (Value::Object(_) | Value::Array(_), _) => expected("a single value"),
        // The number of a kind stands for its word where a kind lies inside another.
        (Value::Number(_) | Value::Bool(_), Value::String(_)) => expected("a text"),
        _ => None,
    }
}

fn malformed(path: &str, message: &str) -> ApiError {
    let detail = "The body is not JSON of the shape this path takes; /docs shows it.";
    let mut refusal = ApiError::new(ProblemCode::MalformedBody, detail);
    refusal.errors.push(FieldProblem { field: path.to_owned(), message: message.to_owned() });
    refusal
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::Deserialize;
    use serde_json::json;

    #[derive(Debug, Deserialize, Serialize)]
    struct Inner {
        first: f64,
        word: Option<Word>,
        count: Option<u32>,
    }

    #[derive(Debug, Deserialize, Serialize)]
    #[serde(rename_all = "snake_case")]
    enum Word {
        Only,
    }

    #[derive(Debug, Deserialize, Serialize)]
    struct Outer {
        inner: Option<Inner>,
        #[serde(default)]
        list: Vec<Inner>,
    }

    #[test]
    fn shapes_are_those_of_the_document() {
        let field = |body: Value| match read_strictly::<Outer>(body.to_string().as_bytes()) {
            Ok(_) => String::new(),
            Err(refusal) => refusal.errors[0].field.clone(),
        };
        assert_eq!(field(json!({"inner": {"first": 1, "word": "only"}, "list": [{"first": 2.5}]})), "");
        assert_eq!(field(json!({"inner": null})), "");
        assert_eq!(field(json!({"inner": {"first": 1.5, "count": 3.0}})), "", "a whole number");
        assert_eq!(field(json!({"inner": {"first": 1.5, "count": 3.5}})), "inner.count");
        assert_eq!(field(json!({"inner": {"first": 1.5, "count": -3.0}})), "inner.count");
        assert_eq!(field(json!({"inner": [1.0, null, null]})), "inner");
        assert_eq!(field(json!({"list": [{"first": 1}, [1.0, "only", null]]})), "list[1]");
        assert_eq!(field(json!({"inner": {"first": 1, "word": {"only": null}}})), "inner.word");
    }

    #[test]
    fn a_field_that_comes_twice_is_refused() {
        let message = |body: &str| {
            let read = read_strictly::<Outer>(body.as_bytes());
            read.err().map(|refusal| refusal.errors[0].message.clone()).unwrap_or_default()
        };
        for (body, part) in [
            (r#"{"inner": {"first": 1.5, "count": 3}}"#, ""),
            (r#"{"list": [{"first": 1, "count": 3.0, "word": "only"}, {"first": 2, "count": null}]}"#, ""),
            (r#"{"inner": {"first": 1.5, "first": 2.5, "count": 3}}"#, "duplicate field `first`"),
            (r#"{"inner": {"first": 1.5, "first": 2.5, "count": 3.0}}"#, "duplicate field `first`"),
            (r#"{"inner": {"count": 3.0, "first": 1.5, "first": 2.5}}"#, "duplicate field `first`"),
            // Refused by what is met first.
            (r#"{"list": [{"first": 1, "count": 3.0}], "list": []}"#, "invalid type"),
            (r#"{"list": [{"first": 1, "count": 3.0, "\u0063ount": 3}]}"#, "invalid type"),
        ] {
            let told = message(body);
            assert_eq!(told.is_empty(), part.is_empty(), "{body}: {told}");
            assert!(told.contains(part), "{body}: {told}");
        }
    }
}
