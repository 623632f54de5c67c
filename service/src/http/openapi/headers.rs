//! Headers of answers. Each is described once, among the components, and named at every answer that is sent with it.

use crate::http::table::WITH_KEY;
use utoipa::openapi::header::Header;
use utoipa::openapi::path::Operation;
use utoipa::openapi::schema::{Components, ObjectBuilder, Type};
use utoipa::openapi::{HttpMethod, Ref, RefOr, Response};

const ACCEPT_ENCODING: &str = "Accept-Encoding";
const CACHE_CONTROL: &str = "Cache-Control";
const DISPOSITION: &str = "Content-Disposition";
const ETAG: &str = "ETag";
const LOCATION: &str = "Location";
const RATE: &str = "RateLimit";
const RATE_POLICY: &str = "RateLimit-Policy";
const REFERRER: &str = "Referrer-Policy";
const RETRY_AFTER: &str = "Retry-After";
const REQUEST_ID: &str = "X-Request-Id";
const ROBOTS: &str = "X-Robots-Tag";
const UNBUFFERED: &str = "X-Accel-Buffering";
const AUTHENTICATE: &str = "WWW-Authenticate";

/// A header, what it says, and an example of it.
const HEADERS: [(&str, &str, &str); 13] = [
    (
        ACCEPT_ENCODING,
        "Sent where `Content-Encoding` was the reason: a request may only have this one, or none",
        "identity",
    ),
    (CACHE_CONTROL, "How long the answer may be kept; only a private cache may keep it", "private, no-cache"),
    (DISPOSITION, "The name under which a file is saved", "inline; filename=\"eavesward.ics\""),
    (
        ETAG,
        "Strong tag of this answer, for `If-None-Match`. If what is shown has a version, the tag begins with it, for `If-Match`",
        "\"3\"",
    ),
    (LOCATION, "The path of what was made", "/v1/systems/01900000-0000-7000-8000-000000000003"),
    (
        RATE,
        "`r`: requests that the account may send now; `t`: seconds until the next one, or until all of them are allowed \
         again. As draft-ietf-httpapi-ratelimit-headers-10 has it; left out where the operator bounds no rate",
        "\"account\";r=499;t=1",
    ),
    (
        RATE_POLICY,
        "`q`: requests that the account may send in `w` seconds. Each process of the service counts by itself",
        "\"account\";q=500;w=5",
    ),
    (REFERRER, "Keeps the secret address from pages that are opened from here", "no-referrer"),
    (RETRY_AFTER, "Seconds to wait before the request is sent again", "1"),
    (
        REQUEST_ID,
        "Id of the request, which the service's log names too",
        "01900000-0000-7000-8000-000000000005",
    ),
    (ROBOTS, "Keeps the secret address out of indexes", "noindex"),
    (UNBUFFERED, "Asks proxies to pass each event on at once", "no"),
    (AUTHENTICATE, "How to send the key", "Bearer"),
];

/// Operations that change something and answer without a tag: what they show has no version.
const UNTAGGED: [&str; 6] = [
    "create_key",
    "create_calendar",
    "send_rain",
    "forecast_unregistered",
    "test_subscription",
    "send_delivery_again",
];

/// Describes every header among the components.
pub fn define(components: &mut Components) {
    for (name, description, example) in HEADERS {
        let schema_type = if name == RETRY_AFTER { Type::Integer } else { Type::String };
        let mut header = Header::new(ObjectBuilder::new().schema_type(schema_type));
        header.description = Some(description.to_owned());
        header.example = Some(if name == RETRY_AFTER { 1.into() } else { example.into() });
        components.headers.insert(name.to_owned(), RefOr::T(header));
    }
}

/// Names the headers of an operation's answers. Problems have theirs already.
pub fn name_headers(path: &str, method: &HttpMethod, operation: &mut Operation) {
    let id = operation.operation_id.clone().unwrap_or_default();
    for (status, response) in &mut operation.responses.responses {
        let RefOr::T(response) = response else { continue };
        let changes = matches!(method, HttpMethod::Post | HttpMethod::Put);
        let own: &[&str] = match (id.as_str(), status.as_str()) {
            ("follow_status", "200") => &[CACHE_CONTROL, UNBUFFERED],
            ("read_calendar", "200" | "304") => &[CACHE_CONTROL, ETAG, DISPOSITION, REFERRER, ROBOTS],
            (id, "200" | "201") if changes && UNTAGGED.contains(&id) => &[CACHE_CONTROL],
            (_, "200" | "201" | "304") if path.starts_with(WITH_KEY) || id == "get_openapi" => {
                &[CACHE_CONTROL, ETAG]
            }
            _ => &[],
        };
        let made = (status == "201").then_some(LOCATION);
        let counted: &[&str] = if path.starts_with(WITH_KEY) { &[RATE, RATE_POLICY] } else { &[] };
        name(response, own.iter().chain(counted).copied().chain(made).chain([REQUEST_ID]));
    }
}

/// Names the headers of a problem with this status.
pub fn name_headers_of_problem(status: &str, response: &mut Response) {
    let own: &[&str] = match status {
        "401" => &[AUTHENTICATE],
        // A media type that is not read has none.
        "415" => &[ACCEPT_ENCODING],
        "429" => &[RETRY_AFTER, RATE, RATE_POLICY],
        // Of conflicts, only the one with a request that still runs has it.
        "409" | "503" | "507" => &[RETRY_AFTER],
        _ => &[],
    };
    name(response, [CACHE_CONTROL, REQUEST_ID].into_iter().chain(own.iter().copied()));
}

fn name(response: &mut Response, names: impl IntoIterator<Item = &'static str>) {
    for name in names {
        let described = Ref::new(format!("#/components/headers/{name}"));
        response.headers.insert(name.to_owned(), RefOr::Ref(described));
    }
}
