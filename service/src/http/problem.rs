//! The one place where errors become problem documents.

use super::access_log::without_secret;
use super::rate_headers;
use crate::domain::base::error::{Error, Faults, StoreError};
use crate::domain::base::plural::{counted, with_commas};
use crate::domain::model::quota::Counted;
use crate::gate::Allowance;
use actix_web::body::{BoxBody, EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::{Method, StatusCode, header};
use actix_web::middleware::Next;
use actix_web::{HttpMessage, HttpResponse, ResponseError};
use eavesward_contract::{FieldProblem, Problem, ProblemCode};
use tracing_actix_web::RequestId;

/// What a caller reads of a failure that he cannot do anything about.
const FAILED: &str = "Something failed that is not your fault. The request id finds it in the service's log.";

/// The media type of problem documents.
pub const MEDIA_TYPE: &str = "application/problem+json";

/// A refusal or failure on its way out: what the caller reads, and the cause for the log.
#[derive(Debug)]
pub struct ApiError {
    /// The code.
    pub code: ProblemCode,
    /// What happened and the way out.
    pub detail: String,
    /// The refused fields.
    pub errors: Vec<FieldProblem>,
    /// What a failure left of the change that was asked for.
    leaves: Leaves,
    /// What few problems have. It is apart, because a result that may hold a problem is moved often.
    beside: Box<Beside>,
}

/// What stands beside a problem's document.
#[derive(Debug, Default)]
struct Beside {
    /// What is logged and never shown.
    cause: Option<Box<dyn std::error::Error + Send + Sync>>,
    /// Methods that the path has, for `405`.
    allow: Option<String>,
    /// Seconds to wait before the request is sent again.
    retry_after_s: Option<u64>,
    /// What the account may still send, for `429`.
    allowance: Option<Allowance>,
    /// Whether the body was refused for its coding, for `415`.
    packed: bool,
}

/// What a failure left of the change that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Leaves {
    /// There is nothing to say of it.
    Unsaid,
    /// It may have been made.
    Unclear,
    /// The failure came before the change could begin.
    Nothing,
}

impl ApiError {
    /// A problem with a code and a detail.
    pub fn new(code: ProblemCode, detail: impl Into<String>) -> Self {
        let retry_after_s = match code {
            ProblemCode::Unavailable | ProblemCode::IdempotencyInProgress => Some(1),
            _ => None,
        };
        let beside = Box::new(Beside { retry_after_s, ..Beside::default() });
        Self { code, detail: detail.into(), errors: Vec::new(), leaves: Leaves::Unsaid, beside }
    }

    /// The same with something beside its document.
    fn with(mut self, put: impl FnOnce(&mut Beside)) -> Self {
        put(&mut self.beside);
        self
    }

    /// A wrong method on a path that has these.
    pub fn method_not_allowed(allow: &str) -> Self {
        let methods = allow
            .rsplit_once(", ")
            .map_or_else(|| allow.to_owned(), |(all, last)| format!("{all} or {last}"));
        let detail = format!("Use {methods} on this path; /docs/ has the rest.");
        Self::new(ProblemCode::MethodNotAllowed, detail).with(|beside| beside.allow = Some(allow.to_owned()))
    }

    /// The same with the seconds to wait before the request is sent again.
    pub fn retry_after(self, seconds: u64) -> Self {
        self.with(|beside| beside.retry_after_s = Some(seconds))
    }

    /// The same with what the account may still send.
    pub fn with_allowance(self, allowance: Option<Allowance>) -> Self {
        self.with(|beside| beside.allowance = allowance)
    }

    /// The same for a failure that came before the request changed anything.
    pub fn before_any_change(self) -> Self {
        let leaves = if self.leaves == Leaves::Unclear { Leaves::Nothing } else { self.leaves };
        Self { leaves, ..self }
    }

    /// A failure of the storage, with a detail that says why.
    fn of_store(error: Error) -> Self {
        let Error::Store(store) = &error else { return Self::failed(ProblemCode::Internal, FAILED, error) };
        let (code, detail, wait) = match store {
            StoreError::Unavailable(_) => {
                (ProblemCode::Unavailable, "The database cannot be reached or is too busy.", Some(1))
            }
            StoreError::NoAnswer(_) => {
                (ProblemCode::Unavailable, "The database did not answer in time.", Some(5))
            }
            StoreError::Full(_) => (
                ProblemCode::InsufficientStorage,
                "The database's disk is full. Reading still works, and writing will once there is space again.",
                Some(10),
            ),
            StoreError::Disk(_) => {
                (ProblemCode::Unavailable, "The database's disk failed to read or write.", Some(5))
            }
            StoreError::QuotaReached { of, most } => {
                return Self::new(ProblemCode::QuotaReached, quota_reached(of, *most));
            }
            StoreError::NoSecretKey => {
                let detail = "Nothing was stored: the service has no key to encrypt the secret with. Its operator sets \
                              secrets_key_file.";
                return Self::new(ProblemCode::Conflict, detail);
            }
            StoreError::BadRow { .. } | StoreError::Dangling(_) | StoreError::Failed(_) => {
                (ProblemCode::Internal, FAILED, None)
            }
        };
        let failed = Self::failed(code, detail, error).with(|beside| beside.retry_after_s = wait);
        Self { leaves: Leaves::Unclear, ..failed }
    }

    /// Why the service is not ready, whatever the storage met.
    pub fn not_ready(error: StoreError) -> Self {
        let why = Self::of_store(Error::Store(error));
        let detail = if why.code == ProblemCode::Internal { "The database fails." } else { &why.detail };
        let known = Self::new(ProblemCode::Unavailable, detail);
        known.with(|beside| {
            beside.retry_after_s = why.beside.retry_after_s.or(Some(5));
            beside.cause = why.beside.cause;
        })
    }

    /// A body that came packed.
    pub fn coding_refused(detail: &str) -> Self {
        Self::new(ProblemCode::UnsupportedMediaType, detail).with(|beside| beside.packed = true)
    }

    fn failed(
        code: ProblemCode,
        detail: &str,
        cause: impl Into<Box<dyn std::error::Error + Send + Sync>>,
    ) -> Self {
        Self::new(code, detail).with(|beside| beside.cause = Some(cause.into()))
    }

    /// Faults of fields. `detail` is given which of them are listed.
    fn fields(code: ProblemCode, faults: Faults, detail: impl FnOnce(&str) -> String) -> Self {
        let Faults { listed, count } = faults;
        let named = if count > listed.len() {
            format!("the first {} of {}", with_commas(listed.len()), with_commas(count))
        } else {
            "each of them".to_owned()
        };
        let errors =
            listed.into_iter().map(|error| FieldProblem { field: error.field, message: error.message });
        Self { errors: errors.collect(), ..Self::new(code, detail(&named)) }
    }

    /// Whether the request may have done something before it failed.
    pub fn is_failure(&self) -> bool {
        self.code.status() >= 500
    }

    fn document(&self, asked: &Asked) -> Problem {
        let outcome = asked.change.and_then(|change| change.after(self.leaves)).unwrap_or_default();
        Problem {
            type_uri: format!("/problems/{}", self.code.as_str()),
            title: self.code.title().to_owned(),
            status: self.code.status(),
            code: self.code.clone(),
            detail: format!("{}{outcome}", self.detail),
            instance: asked.instance.clone(),
            request_id: asked.request_id.clone(),
            errors: self.errors.iter().map(shortened).collect(),
        }
    }

    fn respond(&self, asked: &Asked) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        if self.code == ProblemCode::Unauthorized {
            response.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
        }
        if let Some(seconds) = self.beside.retry_after_s {
            response.insert_header((header::RETRY_AFTER, seconds.to_string()));
        }
        for (name, value) in self.beside.allowance.iter().flat_map(rate_headers::headers) {
            response.insert_header((name, value));
        }
        if let Some(allow) = &self.beside.allow {
            response.insert_header((header::ALLOW, allow.clone()));
        }
        if self.beside.packed {
            response.insert_header((header::ACCEPT_ENCODING, "identity"));
        }
        let document = self.document(asked);
        let body = serde_json::to_string(&document).unwrap_or_else(|_| "{}".to_owned());
        response.content_type(MEDIA_TYPE).insert_header((header::CACHE_CONTROL, "no-store")).body(body)
    }
}

/// A fault that repeats no long text to its sender.
fn shortened(fault: &FieldProblem) -> FieldProblem {
    const LONGEST: usize = 1000;
    let cut = |text: &str| match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    };
    FieldProblem { field: cut(&fault.field), message: cut(&fault.message) }
}

impl std::fmt::Display for ApiError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.code.as_str(), self.detail)
    }
}

/// What a quota allows, and the way out.
fn quota_reached(of: &str, most: u64) -> String {
    let (most, way_out) = match Counted::parse(of) {
        Some(Counted::Keys) => (counted(most, "key", "keys"), "revoke one that is not needed"),
        Some(Counted::Calendars) => (counted(most, "calendar", "calendars"), "revoke one that is not needed"),
        Some(Counted::Properties) => {
            (counted(most, "property", "properties"), "remove one that is not needed")
        }
        Some(Counted::Gauges) => {
            (counted(most, "rain gauge", "rain gauges"), "remove one that is not needed")
        }
        Some(Counted::RainDays) => {
            (counted(most, "day of rain", "days of rain"), "send fewer, or remove days that no system needs")
        }
        // Systems stay with their history.
        Some(Counted::Systems) => {
            (counted(most, "system", "systems"), "retired ones count too, so use one of them again")
        }
        Some(Counted::Subscriptions) => {
            (counted(most, "subscription", "subscriptions"), "remove one that is not needed")
        }
        Some(Counted::TestMessages) => {
            (counted(most, "test message a day", "test messages a day"), "send the next one tomorrow (UTC)")
        }
        None => (counted(most, of, of), "remove one that is not needed"),
    };
    format!(
        "Nothing was stored. The account may have {most}: {way_out}, or ask the operator of the service for more."
    )
}

impl ResponseError for ApiError {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.code.status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse<BoxBody> {
        self.respond(&Asked::default())
    }
}

impl From<Error> for ApiError {
    fn from(error: Error) -> Self {
        use ProblemCode as C;
        let detail = error.to_string();
        match error {
            Error::NotFound { .. } => Self::new(C::NotFound, detail),
            Error::Invalid(faults) => Self::fields(C::Invalid, faults, |named| {
                format!("Some values are not allowed; errors names {named}.")
            }),
            Error::RainRefused(faults) => Self::fields(C::RainRefused, faults, |named| {
                format!(
                    "Nothing was stored. Correct the readings, or send them without all_or_nothing; errors names \
                     {named}."
                )
            }),
            Error::InUse { .. } => Self::new(C::InUse, detail),
            Error::Conflict(_) => Self::new(C::Conflict, detail),
            Error::VersionMismatch { current } => Self::new(
                C::VersionMismatch,
                format!(
                    "The version is \"{current}\" now. Read it again, apply the change, and send that version."
                ),
            ),
            Error::BadCursor => Self::new(
                C::BadCursor,
                "The cursor was not made for this list. Give a cursor as it came, or start without one.",
            ),
            Error::KeyEnded => Self::new(
                C::Unauthorized,
                "The key was revoked or has expired since the request began. Ask the person who keeps the account's keys \
                 for a new one.",
            ),
            Error::FeedRestored => Self::new(
                C::CursorExpired,
                "The service was restored from a backup since this cursor was given, and the feed went on in another way. \
                 Read it again without `after` and leave out entries whose `id` you know, or go on from its end with \
                 `after=now`.",
            ),
            Error::CursorExpired { kept_days } => Self::new(
                C::CursorExpired,
                format!(
                    "Entries are kept for {}, and some after this cursor are gone. Take the cursor that after=now \
                     gives, read GET /v1/tasks once to see where everything stands, and go on from that cursor.",
                    counted(kept_days.unsigned_abs(), "day", "days")
                ),
            ),
            Error::Store(_) => Self::of_store(error),
            Error::Engine(_) | Error::Panicked(_) | Error::Randomness(_) => {
                Self::failed(C::Internal, FAILED, error)
            }
        }
    }
}

/// What a problem says of the request that it answers.
#[derive(Default)]
struct Asked {
    instance: Option<String>,
    request_id: Option<String>,
    change: Option<Change>,
}

/// How a request asks for a change.
#[derive(Clone, Copy)]
enum Change {
    /// With POST and an `Idempotency-Key`.
    Keyed,
    /// With POST alone.
    Post,
    /// With another method.
    Other,
}

impl Change {
    fn of(req: &ServiceRequest) -> Option<Self> {
        match *req.method() {
            Method::GET | Method::HEAD | Method::OPTIONS => None,
            Method::POST if req.headers().contains_key(super::claim::IDEMPOTENCY_KEY) => Some(Self::Keyed),
            Method::POST => Some(Self::Post),
            _ => Some(Self::Other),
        }
    }

    /// What the caller has to know of the change after a failure.
    fn after(self, leaves: Leaves) -> Option<&'static str> {
        match (leaves, self) {
            (Leaves::Unsaid, _) => None,
            (Leaves::Nothing, _) => Some(" This attempt changed nothing; send it again."),
            (Leaves::Unclear, Self::Keyed) => Some(
                " The change may have been made. Send the request again with the same Idempotency-Key: that is safe, and \
                 the answer tells.",
            ),
            (Leaves::Unclear, Self::Post) => Some(
                " The change may have been made: look before you send the request again. With an Idempotency-Key it can \
                 be sent again safely.",
            ),
            (Leaves::Unclear, Self::Other) => Some(
                " The change may have been made: read the thing again before you send the request again.",
            ),
        }
    }
}

/// Marks a request that came as HEAD: an answer without end must not be begun for it.
#[derive(Clone, Copy, Debug)]
pub struct HeadOnly;

/// Adds path and request id to problems, logs those that are the service's fault, and takes away what was only said to
/// the compression. Errors of the framework itself
/// (a body cut short, say) become problems here too.
pub async fn explain<B: MessageBody>(
    mut req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B, BoxBody>>, actix_web::Error> {
    // HEAD is GET without the body, which the connection leaves out by itself.
    if req.method() == Method::HEAD {
        req.head_mut().method = Method::GET;
        req.extensions_mut().insert(HeadOnly);
    }
    let instance = Some(without_secret(req.path()).to_owned());
    let request_id = req.extensions().get::<RequestId>().map(ToString::to_string);
    let asked = Asked { instance, request_id: request_id.clone(), change: Change::of(&req) };
    let mut response = next.call(req).await?;
    let replacement = match response.response().error() {
        Some(error) => Some(match error.as_error::<ApiError>() {
            Some(problem) => {
                log(problem, request_id.as_deref());
                problem.respond(&asked)
            }
            None => framework(error).respond(&asked),
        }),
        // The compression answers in bare text when the caller rules out every coding.
        None if response.status() == StatusCode::NOT_ACCEPTABLE => {
            let detail = "Accept-Encoding rules everything out; allow one of identity, gzip and br.";
            Some(ApiError::new(ProblemCode::NotAcceptable, detail).respond(&asked))
        }
        None => None,
    };
    // `identity` keeps the compression away and is no coding to be named (RFC 9110, section 8.4.1).
    let coding = response.headers().get(header::CONTENT_ENCODING);
    if coding.is_some_and(|coding| coding == "identity") {
        response.headers_mut().remove(header::CONTENT_ENCODING);
    }
    if let Some(id) = request_id.and_then(|id| header::HeaderValue::from_str(&id).ok()) {
        let name = header::HeaderName::from_static("x-request-id");
        response.headers_mut().insert(name.clone(), id.clone());
        if let Some(mut replacement) = replacement {
            replacement.headers_mut().insert(name, id);
            return Ok(response.into_response(replacement).map_into_right_body());
        }
    } else if let Some(replacement) = replacement {
        return Ok(response.into_response(replacement).map_into_right_body());
    }
    Ok(response.map_into_left_body())
}

fn framework(error: &actix_web::Error) -> ApiError {
    let status = error.as_response_error().status_code();
    let detail = error.to_string();
    match status.as_u16() {
        404 => ApiError::new(ProblemCode::NotFound, "There is nothing at this path; /docs lists the paths."),
        413 => ApiError::new(ProblemCode::BodyTooLarge, detail),
        415 => ApiError::new(ProblemCode::UnsupportedMediaType, detail),
        406 => ApiError::new(ProblemCode::NotAcceptable, detail),
        400..=499 => ApiError::new(ProblemCode::MalformedBody, detail),
        _ => {
            tracing::error!(%detail, "the framework failed");
            ApiError::new(ProblemCode::Internal, "Something failed that is not your fault.")
        }
    }
}

fn log(problem: &ApiError, request_id: Option<&str>) {
    if let Some(cause) = &problem.beside.cause {
        let request_id = request_id.unwrap_or("none");
        tracing::error!(code = problem.code.as_str(), request_id, cause = ?cause, "request {request_id} failed");
    }
}
