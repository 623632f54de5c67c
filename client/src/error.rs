//! The SDK's error type.

mod text;

#[cfg(test)]
use eavesward_contract::FieldProblem;
use eavesward_contract::{Problem, ProblemCode};
use std::time::Duration;

/// Why a call did not succeed. Use its methods to find out what happened; they stay stable while the internals may
/// change.
///
/// Its message is one line for people: the request, the status, and what the service says of it. Its `Debug` form is the
/// same line with the causes, and with how often the request was sent. Neither holds the bearer key.
pub struct Error {
    inner: Box<Inner>,
}

struct Inner {
    kind: Kind,
    /// Method and path, if there is a request.
    request: Option<String>,
    request_id: Option<String>,
    retry_after: Option<Duration>,
    attempts: u32,
    may_have_been_applied: bool,
}

pub(crate) enum Kind {
    /// The client was set up with an unusable value.
    Setup(String),
    /// The request cannot be sent as it is.
    Unsendable(String),
    /// No complete answer arrived.
    Transport(reqwest::Error),
    /// No time was left for (another) attempt.
    OutOfTime,
    /// The service answered with a problem document.
    Problem(Box<Problem>),
    /// The answer was not a success and had no problem document. It may come from a proxy or another server.
    Status { status: u16, told: String },
    /// A success whose body does not fit the contract's type.
    Decode { path: String, source: serde_json::Error },
    /// A success that contradicts the contract in another way.
    Contract(String),
}

impl Error {
    pub(crate) fn new(kind: Kind) -> Self {
        let inner = Inner {
            kind,
            request: None,
            request_id: None,
            retry_after: None,
            attempts: 0,
            may_have_been_applied: false,
        };
        Self { inner: Box::new(inner) }
    }

    pub(crate) fn setup(told: impl Into<String>) -> Self {
        Self::new(Kind::Setup(told.into()))
    }

    pub(crate) fn unsendable(told: impl Into<String>) -> Self {
        Self::new(Kind::Unsendable(told.into()))
    }

    pub(crate) fn contract(told: impl Into<String>) -> Self {
        Self::new(Kind::Contract(told.into()))
    }

    pub(crate) fn request(mut self, label: String, request_id: Option<String>) -> Self {
        self.inner.request = Some(label);
        self.inner.request_id = request_id;
        self
    }

    pub(crate) fn retry_after_set(mut self, retry_after: Option<Duration>) -> Self {
        self.inner.retry_after = retry_after;
        self
    }

    pub(crate) fn attempts_set(mut self, attempts: u32, may_have_been_applied: bool) -> Self {
        self.inner.attempts = attempts;
        self.inner.may_have_been_applied = may_have_been_applied;
        self
    }

    /// Puts other words in the place of a bad cursor's detail, which speaks of lists in general.
    pub(crate) fn bad_cursor_said(mut self, detail: &str) -> Self {
        if let Kind::Problem(problem) = &mut self.inner.kind
            && problem.code == ProblemCode::BadCursor
        {
            detail.clone_into(&mut problem.detail);
        }
        self
    }

    /// The problem document, if the service sent one.
    pub fn problem(&self) -> Option<&Problem> {
        match &self.inner.kind {
            Kind::Problem(problem) => Some(problem),
            _ => None,
        }
    }

    /// The problem's stable code, if the service sent one.
    pub fn code(&self) -> Option<&ProblemCode> {
        self.problem().map(|problem| &problem.code)
    }

    /// The HTTP status of an answer that was not a success.
    pub fn status(&self) -> Option<u16> {
        match &self.inner.kind {
            Kind::Problem(problem) => Some(problem.status),
            Kind::Status { status, .. } => Some(*status),
            _ => None,
        }
    }

    /// The id of the request in the service's log, if an answer arrived.
    pub fn request_id(&self) -> Option<&str> {
        let in_problem = self.problem().and_then(|problem| problem.request_id.as_deref());
        in_problem.or(self.inner.request_id.as_deref())
    }

    /// How long the service asked to wait before trying again.
    pub fn retry_after(&self) -> Option<Duration> {
        self.inner.retry_after
    }

    /// How many times the request was sent.
    pub fn attempts(&self) -> u32 {
        self.inner.attempts
    }

    /// Whether the change may have been made despite the error, because the reply to an attempt was lost or
    /// unclear. For a POST this is so only after the client has repeated it under its key until the deadline.
    ///
    /// With [`Error::is_version_mismatch`], read the resource again and compare: the change may be your own. With
    /// [`Error::is_not_found`] after a DELETE, this call probably deleted it.
    pub fn may_have_been_applied(&self) -> bool {
        self.inner.may_have_been_applied
    }

    /// This account has no such resource (404).
    pub fn is_not_found(&self) -> bool {
        self.status() == Some(404)
    }

    /// The resource has changed since the version that the update was made from (412).
    pub fn is_version_mismatch(&self) -> bool {
        self.status() == Some(412)
    }

    /// The cursor is older than the entries that the service keeps (410). The problem says how to start again.
    pub fn is_cursor_expired(&self) -> bool {
        self.status() == Some(410)
    }

    /// The service refused values of the request (400, 413, 415 or 422). The problem's `errors` name the fields.
    pub fn is_invalid(&self) -> bool {
        matches!(self.status(), Some(400 | 413 | 415 | 422))
    }

    /// The key is missing, unknown, revoked or expired (401).
    pub fn is_unauthorized(&self) -> bool {
        self.status() == Some(401)
    }

    /// The key may not do this (403): it lacks the scope, or is for one system ([`Error::is_one_system_only`]).
    pub fn is_scope_missing(&self) -> bool {
        self.status() == Some(403)
    }

    /// The resource is in use, or its state does not allow this (409).
    pub fn is_conflict(&self) -> bool {
        self.status() == Some(409)
    }

    /// The key is for one system, and such a key may not make this call.
    pub fn is_one_system_only(&self) -> bool {
        self.code() == Some(&ProblemCode::OneSystemOnly)
    }

    /// The cursor was not made for this list, or for the reminders' feed.
    pub fn is_bad_cursor(&self) -> bool {
        self.code() == Some(&ProblemCode::BadCursor)
    }

    /// An update needs `If-Match` and did not have it (428).
    pub fn is_version_required(&self) -> bool {
        self.status() == Some(428)
    }

    /// The idempotency key was already used for another request.
    pub fn is_idempotency_mismatch(&self) -> bool {
        self.code() == Some(&ProblemCode::IdempotencyMismatch)
    }

    /// Too many requests (429); [`Error::retry_after`] may say how long to wait.
    pub fn is_rate_limited(&self) -> bool {
        self.status() == Some(429)
    }

    /// The service has no space to store anything (507). Reading still works.
    pub fn is_out_of_space(&self) -> bool {
        self.status() == Some(507)
    }

    /// The service is starting, stopping, overloaded or cannot reach its database (502 to 504).
    pub fn is_unavailable(&self) -> bool {
        matches!(self.status(), Some(502..=504))
    }

    /// The service failed (any 5xx).
    pub fn is_service_failure(&self) -> bool {
        self.status().is_some_and(|status| status >= 500)
    }

    /// The same request may succeed later. Causes are: no connection, no answer in time, too many requests, or a
    /// failure of the service.
    pub fn is_transient(&self) -> bool {
        matches!(self.inner.kind, Kind::Transport(_) | Kind::OutOfTime)
            || self.is_rate_limited()
            || self.is_service_failure()
    }

    /// The service refused the request (any 4xx). Sending it again will not help, except after 429.
    pub fn is_refused(&self) -> bool {
        self.status().is_some_and(|status| (400..500).contains(&status))
    }

    /// No complete answer arrived in time.
    pub fn is_timeout(&self) -> bool {
        match &self.inner.kind {
            Kind::Transport(source) => source.is_timeout(),
            Kind::OutOfTime => true,
            _ => false,
        }
    }

    /// The client could not connect to the service.
    pub fn is_connect(&self) -> bool {
        matches!(&self.inner.kind, Kind::Transport(source) if source.is_connect())
    }

    /// The service looked at the request and refused it for good, so no attempt can have done anything that another
    /// answer would tell of.
    pub(crate) fn is_final(&self) -> bool {
        let for_now = matches!(self.status(), Some(401 | 403 | 404 | 408 | 429));
        self.is_refused() && !for_now && self.code() != Some(&ProblemCode::IdempotencyInProgress)
    }

    /// The body of a success could not be read. The message names the JSON path.
    pub fn is_decode(&self) -> bool {
        matches!(self.inner.kind, Kind::Decode { .. })
    }

    /// The client or the request was built wrongly. Nothing was sent.
    pub fn is_usage(&self) -> bool {
        matches!(self.inner.kind, Kind::Setup(_) | Kind::Unsendable(_))
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match &self.inner.kind {
            Kind::Transport(source) => Some(source),
            // The text of `Kind::Decode` holds its cause.
            _ => None,
        }
    }
}

/// The error that a problem becomes.
#[cfg(test)]
fn refused(code: ProblemCode, detail: &str, errors: &[(&str, &str)]) -> Error {
    let errors = errors.iter();
    Error::new(Kind::Problem(Box::new(Problem {
        type_uri: String::new(),
        title: code.title().to_owned(),
        status: code.status(),
        code,
        detail: detail.to_owned(),
        instance: None,
        request_id: None,
        errors: errors
            .map(|&(field, message)| FieldProblem { field: field.to_owned(), message: message.to_owned() })
            .collect(),
    })))
}

#[cfg(test)]
mod tests {
    use super::*;

    type Predicate = (&'static str, fn(&Error) -> bool);

    const PREDICATES: [Predicate; 15] = [
        ("not found", Error::is_not_found),
        ("version mismatch", Error::is_version_mismatch),
        ("version required", Error::is_version_required),
        ("invalid", Error::is_invalid),
        ("bad cursor", Error::is_bad_cursor),
        ("unauthorized", Error::is_unauthorized),
        ("scope missing", Error::is_scope_missing),
        ("one system only", Error::is_one_system_only),
        ("conflict", Error::is_conflict),
        ("rate limited", Error::is_rate_limited),
        ("out of space", Error::is_out_of_space),
        ("unavailable", Error::is_unavailable),
        ("service failure", Error::is_service_failure),
        ("refused", Error::is_refused),
        ("transient", Error::is_transient),
    ];

    /// Every predicate that holds for a problem.
    fn holds(code: ProblemCode) -> Vec<&'static str> {
        let error = refused(code, "", &[]);
        PREDICATES.iter().filter(|(_, holds)| holds(&error)).map(|(name, _)| *name).collect()
    }

    #[test]
    fn each_problem_is_what_it_is_and_nothing_else() {
        use ProblemCode as C;
        for (code, want) in [
            (C::NotFound, &["not found", "refused"][..]),
            (C::VersionMismatch, &["version mismatch", "refused"]),
            (C::VersionRequired, &["version required", "refused"]),
            (C::Invalid, &["invalid", "refused"]),
            (C::BadCursor, &["invalid", "bad cursor", "refused"]),
            (C::Unauthorized, &["unauthorized", "refused"]),
            (C::ScopeMissing, &["scope missing", "refused"]),
            (C::OneSystemOnly, &["scope missing", "one system only", "refused"]),
            (C::Conflict, &["conflict", "refused"]),
            (C::Internal, &["service failure", "transient"]),
            (C::Unavailable, &["unavailable", "service failure", "transient"]),
            (C::InsufficientStorage, &["out of space", "service failure", "transient"]),
        ] {
            assert_eq!(holds(code.clone()), want, "{code:?}");
        }
        let bare = |status| {
            let error = Error::new(Kind::Status { status, told: String::new() });
            PREDICATES.iter().filter(|(_, holds)| holds(&error)).map(|(name, _)| *name).collect::<Vec<_>>()
        };
        assert_eq!(bare(429), ["rate limited", "refused", "transient"]);
        assert_eq!(bare(302), Vec::<&str>::new());
        // Some predicate holds for every problem of the contract.
        for code in ProblemCode::ALL {
            assert!(!holds(code.clone()).is_empty(), "{code:?}");
        }
        assert!(Error::new(Kind::OutOfTime).is_transient() && !Error::setup("x").is_transient());
    }
}
