//! Who is calling, and whether they may.

use super::payload::refuse_coding;
use super::problem::ApiError;
use super::{limits, rate_headers};
use crate::domain::base::error::Error;
use crate::domain::base::ids::AccountId;
use crate::domain::context::Context;
use crate::domain::model::account::{Key, ReadAccess, Scope};
use crate::domain::use_cases::accounts;
use actix_web::body::{BoxBody, EitherBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::header;
use actix_web::middleware::Next;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use eavesward_contract::ProblemCode;
use std::future::{Ready, ready};
use std::rc::Rc;

/// Lets a request through with the key it carries, before anything of it is read. Without one it ends here, and so
/// does a request with a packed body.
pub async fn authenticate<B: MessageBody + 'static>(
    req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B, BoxBody>>, actix_web::Error> {
    let caller = caller(&req).await.and_then(|key| refuse_coding(req.headers()).map(|()| key));
    let admitted = match caller {
        Ok(key) => {
            let admitted = limits::admit(req.request(), key.account_id);
            req.extensions_mut().insert(Rc::new(key));
            admitted
        }
        Err(refusal) => Err(refusal),
    };
    match admitted {
        Ok(admitted) => {
            let allowance = admitted.allowance;
            req.extensions_mut().insert(admitted);
            let mut response = next.call(req).await?;
            limits::leave(response.request());
            if let Some(allowance) = allowance {
                rate_headers::show(&allowance, response.headers_mut());
            }
            Ok(response.map_into_left_body())
        }
        // Answered here and not passed up as an error, so that the problem gets its path and request id like others.
        Err(refusal) => Ok(ServiceResponse::from_err(refusal, req.into_parts().0).map_into_right_body()),
    }
}

async fn caller(req: &ServiceRequest) -> Result<Key, ApiError> {
    let secret = bearer(req.headers()).ok_or_else(|| {
        ApiError::new(ProblemCode::Unauthorized, "Send the key as `Authorization: Bearer KEY`.")
    })?;
    let cx = req
        .app_data::<web::Data<Context>>()
        .ok_or_else(|| ApiError::new(ProblemCode::Internal, "The service is not set up."))?;
    let known = accounts::authenticate(cx, secret).await;
    known.map_err(|error| ApiError::from(error).before_any_change())?.ok_or_else(|| {
        let detail =
            "The key is unknown, revoked or expired. Ask the person who keeps the account's keys for a new one.";
        ApiError::new(ProblemCode::Unauthorized, detail)
    })
}

fn bearer(headers: &header::HeaderMap) -> Option<&str> {
    let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, secret) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| secret.trim())
}

/// The key, if it has the scope.
fn with_scope(req: &HttpRequest, scope: Scope) -> Result<Rc<Key>, ApiError> {
    let key = key_of(req)?;
    if key.scopes.contains(&scope) {
        Ok(key)
    } else {
        let detail = format!("The key {:?} lacks the scope {}.", key.name, scope.as_str());
        Err(ApiError::new(ProblemCode::ScopeMissing, detail))
    }
}

/// The key that a request carries.
///
/// # Errors
/// `401` if it carries none.
pub fn key_of(req: &HttpRequest) -> Result<Rc<Key>, ApiError> {
    let key = req.extensions().get::<Rc<Key>>().cloned();
    key.ok_or_else(|| {
        ApiError::new(ProblemCode::Unauthorized, "Send the key as `Authorization: Bearer KEY`.")
    })
}

/// The account of a key that has the scope and is for the whole account.
///
/// A route is closed to keys of one system unless it asks for a [`SystemReader`]: a route without one is closed.
fn of_account(req: &HttpRequest, scope: Scope) -> Result<AccountId, ApiError> {
    let one_system = req.extensions().get::<Rc<Key>>().is_some_and(|key| key.system_id.is_some());
    if one_system {
        let detail = "The key is for one system: it reads that system's status, forecast, components and tasks, and \
                      nothing else. Use a key of the whole account for this.";
        return Err(ApiError::new(ProblemCode::OneSystemOnly, detail));
    }
    with_scope(req, scope).map(|key| key.account_id)
}

/// A caller who may read all systems or one of them, with the key.
#[derive(Clone, Debug)]
pub struct SystemReader {
    /// How far it sees.
    pub reach: ReadAccess,
    /// The key.
    pub key: Rc<Key>,
}

impl FromRequest for SystemReader {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let key = with_scope(req, Scope::Read);
        ready(key.map_err(Into::into).map(|key| {
            let reach = ReadAccess { account: key.account_id, only: key.system_id };
            Self { reach, key }
        }))
    }
}

macro_rules! callers {
    ($($(#[$doc:meta])* $name:ident $scope:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug)]
        pub struct $name(pub AccountId);

        impl FromRequest for $name {
            type Error = actix_web::Error;
            type Future = Ready<Result<Self, Self::Error>>;

            fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
                ready(of_account(req, Scope::$scope).map(Self).map_err(Into::into))
            }
        }
    )*};
}

callers! {
    /// A caller who may read, by account.
    Reader Read;
    /// A caller who may write, by account.
    Writer Write;
    /// A caller who may keep keys and addresses and read the audit, by account.
    Admin Admin;
}

/// The version named by `If-Match`.
///
/// # Errors
/// `428` when the header is missing, `412` when it names no version of ours.
#[derive(Clone, Copy, Debug)]
pub struct Version(pub i64);

impl FromRequest for Version {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(version(req).map(Self).map_err(Into::into))
    }
}

/// The version of a tag. Tags of entities that show more than their version carry a hash after a point.
fn version_of(tag: &str) -> Option<i64> {
    let (version, hash) = tag.split_once('.').unwrap_or((tag, "0"));
    let in_hash = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_';
    let number = version.strip_prefix('-').unwrap_or(version);
    let digits = (1..=18).contains(&number.len()) && number.bytes().all(|byte| byte.is_ascii_digit());
    let hash = (1..=64).contains(&hash.len()) && hash.bytes().all(in_hash);
    if digits && hash { version.parse().ok() } else { None }
}

fn version(req: &HttpRequest) -> Result<i64, ApiError> {
    let Some(value) = req.headers().get(header::IF_MATCH) else {
        let detail = "Read it first and send its ETag as `If-Match`, so that no other change is overwritten.";
        return Err(ApiError::new(ProblemCode::VersionRequired, detail));
    };
    value
        .to_str()
        .ok()
        .and_then(|text| text.trim().strip_prefix('"')?.strip_suffix('"'))
        .and_then(version_of)
        .ok_or_else(|| {
            let detail = "If-Match has to be one version as its ETag gave it, such as \"3\".";
            ApiError::new(ProblemCode::VersionMismatch, detail)
        })
}

/// Refuses a word of a query that this version does not know.
pub fn known_word<W, D: TryFrom<W>>(field: &str, value: W, words: &str) -> Result<D, ApiError> {
    D::try_from(value).map_err(|_| Error::field(field, format!("it is not one of {words}")).into())
}
