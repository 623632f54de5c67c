//! Request bodies in JSON, with errors that name the field.

use super::decode;
use super::decode::tokens::Most;
use super::limits;
use super::payload::{BODY_LIMIT, BodyLimit, collect};
use super::problem::ApiError;
use super::shape::mismatch;
use crate::domain::base::blocking::blocking;
use crate::domain::base::plural::with_commas;
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest};
use eavesward_contract::{FieldProblem, ProblemCode};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::value::RawValue;
use sha2::{Digest, Sha256};
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

impl<T: DeserializeOwned + Serialize + Send + 'static> FromRequest for Json<T> {
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
            let hash = Sha256::digest(&bytes).into();
            Ok(Self { value: read_aside(bytes, read_strictly).await?, hash })
        })
    }
}

/// The media type of the body, without parameters, in small letters.
pub fn media_type(req: &HttpRequest) -> String {
    let value =
        req.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// The most names and values of a body. Judgement: a system with the most days of rain and the most components has
/// 260,000 in all, and 8,000 of them nested.
const MOST: Most = Most { all: 400_000, nested: 20_000 };

/// Bodies of more bytes are read off the threads that serve requests.
const LARGE: usize = 64 * 1024;

/// Reads JSON, off the threads that serve requests if it is large.
pub async fn read_aside<T: Send + 'static>(
    bytes: Bytes,
    read: fn(&[u8]) -> Result<T, ApiError>,
) -> Result<T, ApiError> {
    if bytes.len() <= LARGE { read(&bytes) } else { blocking(move || Ok(read(&bytes))).await? }
}

/// Reads JSON; the error names the path of the field.
pub fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, ApiError> {
    // A list of bare values would be taken for the fields in their order, names unseen.
    if !bytes.trim_ascii_start().starts_with(b"{") {
        return Err(malformed("", "the body has to be a JSON object"));
    }
    // Checked before anything is built: a name or a value can take a hundred times the memory of its text.
    if MOST.is_exceeded(bytes) {
        let (all, nested) = (with_commas(MOST.all), with_commas(MOST.nested));
        let detail = format!(
            "The body has more than {all} names and values, or more than {nested} of them deeply nested. Send it in \
             several parts."
        );
        return Err(ApiError::new(ProblemCode::BodyTooLarge, detail));
    }
    decode::from_slice(bytes).map_err(|decode::Unreadable { field, message }| malformed(&field, &message))
}

/// Reads JSON and refuses what the reader would take in another shape than the document shows.
fn read_strictly<T: DeserializeOwned + Serialize>(bytes: &[u8]) -> Result<T, ApiError> {
    let unreadable = |error: serde_json::Error| malformed("", &error.to_string());
    let value: T = read(bytes)?;
    let meant = serde_json::value::to_raw_value(&value).map_err(unreadable)?;
    let sent: &RawValue = serde_json::from_slice(bytes).map_err(unreadable)?;
    match mismatch(sent, &meant) {
        Some(mismatch) => Err(malformed(&mismatch.path, &format!("{} is expected here", mismatch.expected))),
        None => Ok(value),
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
    use serde_json::{Value, json};

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
            (r#"{"list": [{"first": 1, "count": 3.0}], "list": []}"#, "duplicate field `list`"),
            (r#"{"list": [{"first": 1, "count": 3.0, "\u0063ount": 3}]}"#, "duplicate field `count`"),
        ] {
            let told = message(body);
            assert_eq!(told.is_empty(), part.is_empty(), "{body}: {told}");
            assert!(told.contains(part), "{body}: {told}");
        }
    }
}
