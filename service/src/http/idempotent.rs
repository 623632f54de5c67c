//! POST requests that are carried out once, however often they are sent.

use super::conditional::json;
use super::problem::ApiError;
use crate::domain::base::ids;
use crate::domain::base::ids::AccountId;
use crate::domain::context::Context;
use crate::domain::model::idempotency::{Answer, Attempt, Claim};
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse};
use eavesward_contract::{LONGEST_IDEMPOTENCY_KEY, ProblemCode};
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::future::Future;
use uuid::Uuid;

/// The header.
const NAME: &str = "Idempotency-Key";

/// An answer to a POST, before it is sent.
pub struct Reply(Answer);

impl Reply {
    /// Something new, with its path and the version if it has one.
    pub fn created(
        location: String,
        version: impl Into<Option<i64>>,
        value: &impl Serialize,
    ) -> Result<Self, ApiError> {
        Ok(Self(Answer { status: 201, etag: tag(version), location: Some(location), body: json(value)? }))
    }

    /// Something done to a thing, with its version if it has one.
    pub fn done(version: impl Into<Option<i64>>, value: &impl Serialize) -> Result<Self, ApiError> {
        Ok(Self(Answer { status: 200, etag: tag(version), location: None, body: json(value)? }))
    }

    /// The answer as it is sent.
    pub fn respond(self) -> HttpResponse {
        let mut response = HttpResponse::build(
            StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR),
        );
        response.content_type("application/json").insert_header((header::CACHE_CONTROL, "no-store"));
        if let Some(etag) = self.0.etag {
            response.insert_header((header::ETAG, etag));
        }
        if let Some(location) = self.0.location {
            response.insert_header((header::LOCATION, location));
        }
        response.body(self.0.body)
    }
}

fn tag(version: impl Into<Option<i64>>) -> Option<String> {
    version.into().map(|version| format!("\"{version}\""))
}

/// Reads the key of a request, if it has one.
pub fn key(req: &HttpRequest) -> Result<Option<String>, ApiError> {
    let Some(value) = req.headers().get(NAME) else { return Ok(None) };
    match value.to_str() {
        Ok(text)
            if (1..=LONGEST_IDEMPOTENCY_KEY).contains(&text.len())
                && text.bytes().all(|byte| byte.is_ascii_graphic()) =>
        {
            Ok(Some(text.to_owned()))
        }
        _ => {
            let detail = format!("{NAME} has to be 1 to {LONGEST_IDEMPOTENCY_KEY} visible ASCII characters.");
            Err(ApiError::new(ProblemCode::MalformedParameter, detail))
        }
    }
}

/// Carries a request out, once if it has a key. `act` gets a seed to take the new thing's id from, the same at every
/// attempt.
pub async fn once<F, Fut>(
    cx: &Context,
    account: AccountId,
    req: &HttpRequest,
    body_hash: [u8; 32],
    act: F,
) -> Result<HttpResponse, ApiError>
where
    F: FnOnce(Uuid) -> Fut,
    Fut: Future<Output = Result<Reply, ApiError>>,
{
    let Some(key) = key(req)? else { return Ok(act(ids::seed()).await?.respond()) };
    match claim(cx, account, req, body_hash, &key).await? {
        Claim::Answered(answer) => Ok(Reply(answer).respond()),
        Claim::Go { seed } => match act(seed).await {
            Ok(reply) => {
                cx.store
                    .answer(account, &key, &reply.0)
                    .await
                    .map_err(crate::domain::base::error::Error::from)?;
                Ok(reply.respond())
            }
            Err(error) => {
                // A refusal did nothing, so the key is free for the mended request. A failure may have done something:
                // the claim stays, and the next attempt finds what was made by its seed.
                if !error.is_failure() {
                    cx.store.forget(account, &key).await.map_err(crate::domain::base::error::Error::from)?;
                }
                Err(error)
            }
        },
        Claim::Running => Err(ApiError::new(
            ProblemCode::IdempotencyInProgress,
            "The first request with this Idempotency-Key has not been answered yet; ask again in a moment.",
        )),
        Claim::Mismatch => Err(ApiError::new(
            ProblemCode::IdempotencyMismatch,
            "This Idempotency-Key was sent with another request within the last day; use a new one.",
        )),
    }
}

async fn claim(
    cx: &Context,
    account: AccountId,
    req: &HttpRequest,
    body_hash: [u8; 32],
    key: &str,
) -> Result<Claim, ApiError> {
    let mut hash = Sha256::new();
    hash.update(req.method().as_str());
    hash.update([0]);
    hash.update(req.uri().to_string());
    hash.update([0]);
    hash.update(body_hash);
    let attempt = Attempt {
        account_id: account,
        key: key.to_owned(),
        fingerprint: hash.finalize().into(),
        seed: ids::seed(),
        now: cx.clock.now(),
    };
    Ok(cx.store.claim(&attempt).await.map_err(crate::domain::base::error::Error::from)?)
}
