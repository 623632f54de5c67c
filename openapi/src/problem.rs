//! Problem documents (RFC 9457) and the table of their codes.

use crate::word::open_words;
use serde::{Deserialize, Serialize};

/// A problem document, `application/problem+json`.
///
/// `detail` is written for the caller: it says what was wrong and what to do. The causes are in the service's log,
/// under `request_id`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Problem {
    /// A URI reference that identifies the kind of problem: `/problems/` and the code.
    #[serde(rename = "type")]
    pub type_uri: String,
    /// The kind of problem in a few words, always the same for one code.
    pub title: String,
    /// The HTTP status of the response.
    pub status: u16,
    /// A stable code, which programs can use to tell problems apart.
    pub code: ProblemCode,
    /// What happened here, and what to do about it.
    pub detail: String,
    /// Path of the request.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instance: Option<String>,
    /// Id of this request in the service's log.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request_id: Option<String>,
    /// The fields that were refused, one entry each. The first 1,000 are listed; `detail` then says how many there are.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<FieldProblem>,
}

/// What is wrong with one field of a request.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct FieldProblem {
    /// Path of the field, such as `components[2].part.capacity_l`.
    pub field: String,
    /// What was wrong, with the value and what is allowed.
    pub message: String,
}

macro_rules! problem_codes {
    ($($(#[doc = $doc:literal])* $variant:ident $code:literal $status:literal $title:literal;)*) => {
        open_words! {
            /// Every code a problem document can carry.
            ProblemCode, other: "A code that this version does not know, with its word." {
                $($(#[doc = $doc])* $variant $code,)*
            }
        }

        impl ProblemCode {
            /// The HTTP status that goes with the code; 500 for a code that this version does not know.
            pub const fn status(&self) -> u16 {
                match self { $(Self::$variant => $status,)* Self::Other(_) => 500 }
            }

            /// The kind of problem in a few words.
            pub const fn title(&self) -> &'static str {
                match self { $(Self::$variant => $title,)* Self::Other(_) => "Unknown problem" }
            }
        }
    };
}

problem_codes! {
    /// The body is not JSON, or a field has the wrong type or an unknown name.
    MalformedBody "malformed_body" 400 "The body could not be read";
    /// A query parameter, path segment or header could not be read.
    MalformedParameter "malformed_parameter" 400 "A parameter could not be read";
    /// A cursor was not made by this service for this list.
    BadCursor "bad_cursor" 400 "The cursor could not be read";
    /// No key, or one that is unknown, revoked or expired.
    Unauthorized "unauthorized" 401 "A valid key is needed";
    /// The key lacks the scope for this call.
    ScopeMissing "scope_missing" 403 "The key lacks a scope";
    /// The key is for one system only, and such a key cannot make this call.
    OneSystemOnly "one_system_only" 403 "The key reads one system only";
    /// The account has no such thing.
    NotFound "not_found" 404 "Not found";
    /// The path exists, the method does not.
    MethodNotAllowed "method_not_allowed" 405 "Method not allowed";
    /// The service cannot answer in any of the media types asked for.
    NotAcceptable "not_acceptable" 406 "Not acceptable";
    /// The body took too long to come.
    BodyTooSlow "body_too_slow" 408 "The body came too slowly";
    /// The thing is still in use. The detail names what uses it.
    InUse "in_use" 409 "Still in use";
    /// The thing is in a state that does not allow this.
    Conflict "conflict" 409 "Not possible in this state";
    /// The account has as many of this kind as it may have. The detail says how many; `GET /v1/account` shows all quotas.
    QuotaReached "quota_reached" 409 "The account's quota is used up";
    /// A request with the same `Idempotency-Key` is still running.
    IdempotencyInProgress "idempotency_in_progress" 409 "The first request with this key is still running";
    /// Entries after the cursor were deleted because of their age.
    CursorExpired "cursor_expired" 410 "The cursor is too old";
    /// `If-Match` names a version that is no longer current.
    VersionMismatch "version_mismatch" 412 "Changed by someone else since it was read";
    /// The body is larger than the limit.
    BodyTooLarge "body_too_large" 413 "The body is too large";
    /// The call does not read bodies of this media type.
    UnsupportedMediaType "unsupported_media_type" 415 "Unsupported media type";
    /// The values were read, but some are not allowed; `errors` names them.
    Invalid "invalid" 422 "Some values are not allowed";
    /// The same `Idempotency-Key` was used for another request.
    IdempotencyMismatch "idempotency_mismatch" 422 "This key was used for another request";
    /// All readings were refused because one was not allowed, and the caller asked for all or nothing.
    RainRefused "rain_refused" 422 "Some readings are not allowed, so none were stored";
    /// `If-Match` is missing.
    VersionRequired "version_required" 428 "If-Match is needed";
    /// The account sent too many requests, or has too many under way. `Retry-After` says how long to wait.
    RateLimited "rate_limited" 429 "Too many requests";
    /// Something failed. It is not the caller's fault.
    Internal "internal" 500 "The service failed";
    /// The service is starting, stopping or cannot reach its database.
    Unavailable "unavailable" 503 "The service is not ready";
    /// The disk of the service's database is full. Reading still works, and writing will once there is space again.
    InsufficientStorage "insufficient_storage" 507 "The service has no space to store anything";
}
