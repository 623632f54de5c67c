//! Headers that say what an account may still send.

use crate::gate::Allowance;
use actix_web::http::header::{HeaderMap, HeaderName, HeaderValue};

/// What the bound is called in the headers of draft-ietf-httpapi-ratelimit-headers-10.
const POLICY: &str = "account";

/// What an answer says of what the account may still send.
pub fn headers(allowance: &Allowance) -> [(HeaderName, String); 2] {
    let Allowance { burst, window_s, left, wait_s } = allowance;
    [
        (HeaderName::from_static("ratelimit-policy"), format!("\"{POLICY}\";q={burst};w={window_s}")),
        (HeaderName::from_static("ratelimit"), format!("\"{POLICY}\";r={left};t={wait_s}")),
    ]
}

/// Says in an answer what the account may still send.
pub fn show(allowance: &Allowance, answer: &mut HeaderMap) {
    for (name, text) in headers(allowance) {
        if let Ok(value) = HeaderValue::from_str(&text) {
            answer.insert(name, value);
        }
    }
}
