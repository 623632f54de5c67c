//! Problem documents (RFC 9457) and the one table of their codes.

use serde::{Deserialize, Serialize};

/// One problem document, `application/problem+json`.
///
/// `detail` is written for the caller: it names what was wrong and the way out. Causes go to the service's log, where
/// `request_id` finds them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Problem {
    /// A URI reference that identifies the kind of problem: `/problems/` and the code.
    #[serde(rename = "type")]
    pub type_uri: String,
    /// The kind of problem in a few words; the same for every occurrence.
    pub title: String,
    /// The HTTP status, repeated.
    pub status: u16,
    /// Stable code to branch on.
    pub code: ProblemCode,
    /// What happened here, and the way out.
    pub detail: String,
    /// The path that was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instance: Option<String>,
    /// Finds this request in the service's log.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub request_id: Option<String>,
    /// One entry for each field that was refused.
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
    ($($(#[$doc:meta])* $variant:ident $code:literal $status:literal $title:literal;)*) => {
        /// Every code a problem document can carry.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
        #[serde(rename_all = "snake_case")]
        #[non_exhaustive]
        pub enum ProblemCode {
            $($(#[$doc])* $variant,)*
            /// A code of a newer service that this client does not know; never sent.
            #[serde(other)]
            Unknown,
        }

        impl ProblemCode {
            /// Every code the service can send, in the order of the table.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The code as it stands on the wire.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $code,)* Self::Unknown => "unknown" }
            }

            /// The HTTP status that goes with the code.
            pub const fn status(self) -> u16 {
                match self { $(Self::$variant => $status,)* Self::Unknown => 500 }
            }

            /// The kind of problem in a few words.
            pub const fn title(self) -> &'static str {
                match self { $(Self::$variant => $title,)* Self::Unknown => "Unknown problem" }
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
    /// The key is for one system and this call is not among those that such a key may make.
    OneSystemOnly "one_system_only" 403 "The key reads one system only";
    /// No such thing in this account.
    NotFound "not_found" 404 "Not found";
    /// The path exists, the method does not.
    MethodNotAllowed "method_not_allowed" 405 "Method not allowed";
    /// None of the media types asked for can be made.
    NotAcceptable "not_acceptable" 406 "Not acceptable";
    /// The thing is still used by others, which are named.
    InUse "in_use" 409 "Still in use";
    /// The thing is in a state that does not allow this.
    Conflict "conflict" 409 "Not possible in this state";
    /// The same `Idempotency-Key` is being worked on right now.
    IdempotencyInProgress "idempotency_in_progress" 409 "The first request with this key is still running";
    /// Entries after the cursor are no longer kept.
    CursorExpired "cursor_expired" 410 "The cursor is too old";
    /// `If-Match` names a version that is no longer current.
    VersionMismatch "version_mismatch" 412 "Changed by someone else since it was read";
    /// The body is larger than the limit.
    BodyTooLarge "body_too_large" 413 "The body is too large";
    /// The media type of the body is not one this call reads.
    UnsupportedMediaType "unsupported_media_type" 415 "Unsupported media type";
    /// The values were read, but some are not allowed; `errors` names them.
    Invalid "invalid" 422 "Some values are not allowed";
    /// The same `Idempotency-Key` came with another request.
    IdempotencyMismatch "idempotency_mismatch" 422 "This key was used for another request";
    /// Rain was refused as a whole because the caller asked for all or nothing.
    RainRefused "rain_refused" 422 "Some readings are not allowed, so none were stored";
    /// An update without `If-Match`.
    VersionRequired "version_required" 428 "If-Match is needed";
    /// Something failed that is not the caller's fault.
    Internal "internal" 500 "The service failed";
    /// The service is starting, stopping or cannot reach its database.
    Unavailable "unavailable" 503 "The service is not ready";
}
