//! Answers with an `ETag`, and `304` for those who have it already.

use super::problem::ApiError;
use crate::domain::base::paging::ListPage;
use actix_web::http::header::{self, EntityTag};
use actix_web::http::{Method, StatusCode};
use actix_web::{HttpRequest, HttpResponse};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use eavesward_contract::{Page, ProblemCode};
use serde::Serialize;
use sha2::{Digest, Sha256};

/// Writes JSON.
pub fn json(value: &impl Serialize) -> Result<String, ApiError> {
    // Only a map with keys that are no texts can fail, and the contract has none.
    serde_json::to_string(value)
        .map_err(|_| ApiError::new(ProblemCode::Internal, "The answer could not be written as JSON."))
}

/// A JSON answer that says under which tag it can be asked for again. Readers get it fresh every time they ask
/// (`no-cache`), and pay for it only when it changed.
pub fn tagged(req: &HttpRequest, tag: &str, body: String) -> HttpResponse {
    tagged_as(req, "application/json", tag, body)
}

/// The same for another media type, under a hash of the content.
pub fn text(req: &HttpRequest, media_type: &str, body: String) -> HttpResponse {
    let tag = hash(&body);
    tagged_as(req, media_type, &tag, body)
}

fn tagged_as(req: &HttpRequest, media_type: &str, tag: &str, body: String) -> HttpResponse {
    let tag = EntityTag::new_strong(tag.to_owned());
    // What was changed is always shown: a write is never answered that nothing changed.
    let mut response = if req.method() == Method::GET && matches(req, &tag) {
        HttpResponse::new(StatusCode::NOT_MODIFIED)
    } else {
        HttpResponse::Ok().content_type(media_type).body(body)
    };
    let headers = response.headers_mut();
    if let Ok(value) = header::HeaderValue::from_str(&tag.to_string()) {
        headers.insert(header::ETAG, value);
    }
    headers.insert(header::CACHE_CONTROL, header::HeaderValue::from_static("private, no-cache"));
    response
}

/// An entity under its version.
pub fn versioned(req: &HttpRequest, version: i64, value: &impl Serialize) -> Result<HttpResponse, ApiError> {
    Ok(tagged(req, &version.to_string(), json(value)?))
}

/// An entity that shows more than its version stands for: the tag is the version, a point, and a hash of the content.
/// `If-Match` looks at the version alone, `If-None-Match` at the whole tag.
pub fn compound(req: &HttpRequest, version: i64, value: &impl Serialize) -> Result<HttpResponse, ApiError> {
    let body = json(value)?;
    let tag = format!("{version}.{}", hash(&body));
    Ok(tagged(req, &tag, body))
}

/// The tag of content that is known by nothing but itself.
pub fn hash(body: &str) -> String {
    URL_SAFE_NO_PAD.encode(&Sha256::digest(body.as_bytes())[..16])
}

/// Content under a hash of itself.
pub fn hashed(req: &HttpRequest, value: &impl Serialize) -> Result<HttpResponse, ApiError> {
    let body = json(value)?;
    Ok(tagged(req, &hash(&body), body))
}

/// One page of a list.
pub fn page<T, W: From<T> + Serialize>(
    req: &HttpRequest,
    found: ListPage<T>,
) -> Result<HttpResponse, ApiError> {
    let items = found.items.into_iter().map(W::from).collect();
    hashed(req, &Page { items, next_cursor: found.next })
}

/// `If-None-Match` by weak comparison (RFC 9110, 13.1.2).
fn matches(req: &HttpRequest, tag: &EntityTag) -> bool {
    let values = req.headers().get_all(header::IF_NONE_MATCH);
    values.filter_map(|value| value.to_str().ok()).flat_map(|value| value.split(',')).any(|one| {
        let one = one.trim();
        one == "*" || one.strip_prefix("W/").unwrap_or(one) == format!("\"{}\"", tag.tag())
    })
}
