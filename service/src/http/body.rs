//! Request bodies: JSON with errors that name the field, and rain files.

use super::problem::ApiError;
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, web};
use eavesward_contract::{FieldProblem, ProblemCode};
use serde::de::DeserializeOwned;
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

impl<T: DeserializeOwned + 'static> FromRequest for Json<T> {
    type Error = actix_web::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, actix_web::Error>>>>;

    fn from_request(req: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let media_type = media_type(req);
        let bytes = web::Bytes::from_request(req, payload);
        Box::pin(async move {
            if media_type != "application/json" {
                let detail = format!("The body is {media_type:?}; send application/json.");
                return Err(ApiError::new(ProblemCode::UnsupportedMediaType, detail).into());
            }
            let bytes = bytes.await.map_err(|error| too_large(&error))?;
            Ok(Self { value: read(&bytes)?, hash: Sha256::digest(&bytes).into() })
        })
    }
}

/// The media type of the body, without parameters, in small letters.
pub fn media_type(req: &HttpRequest) -> String {
    let value =
        req.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    value.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// A body that could not be read as a whole.
pub fn too_large(error: &actix_web::Error) -> actix_web::Error {
    if error.as_response_error().status_code().as_u16() == 413 {
        let detail = "The body is larger than this path takes; send it in several parts.";
        ApiError::new(ProblemCode::BodyTooLarge, detail).into()
    } else {
        ApiError::new(ProblemCode::MalformedBody, format!("The body could not be read: {error}.")).into()
    }
}

/// Reads JSON; the error names the path of the field.
pub fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, ApiError> {
    // A list of bare values would be taken for the fields in their order, names unseen.
    if !bytes.trim_ascii_start().starts_with(b"{") {
        return Err(malformed(".", "the body has to be a JSON object"));
    }
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let path = error.path().to_string();
        let message = error.into_inner().to_string();
        malformed(&path, &message)
    })?;
    reader.end().map_err(|error| malformed(".", &error.to_string()))?;
    Ok(value)
}

fn malformed(path: &str, message: &str) -> ApiError {
    let detail = "The body is not JSON of the shape this path takes; /docs shows it.";
    let field = if path == "." || path == "?" { String::new() } else { path.to_owned() };
    let mut refusal = ApiError::new(ProblemCode::MalformedBody, detail);
    refusal.errors.push(FieldProblem { field, message: message.to_owned() });
    refusal
}
