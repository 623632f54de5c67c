//! POST requests that are carried out once, however often they are sent.

use super::conditional::json;
use super::problem::ApiError;
use crate::domain::base::error::Error;
use crate::domain::base::ids;
use crate::domain::base::ids::AccountId;
use crate::domain::context::Context;
use crate::domain::model::idempotency::{Answer, Attempt, Claim};
use crate::http::acting::makes;
use crate::http::claim::{ClaimHolder, IDEMPOTENCY_KEY};
use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use eavesward_contract::{LONGEST_IDEMPOTENCY_KEY, ProblemCode};
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::future::Future;
use uuid::Uuid;

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
    let Some(value) = req.headers().get(IDEMPOTENCY_KEY) else { return Ok(None) };
    match value.to_str() {
        Ok(text)
            if (1..=LONGEST_IDEMPOTENCY_KEY).contains(&text.len())
                && text.bytes().all(|byte| byte.is_ascii_graphic()) =>
        {
            Ok(Some(text.to_owned()))
        }
        _ => {
            let detail = format!(
                "{IDEMPOTENCY_KEY} has to be 1 to {LONGEST_IDEMPOTENCY_KEY} visible ASCII characters."
            );
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
    let act = |seed| {
        makes(req, seed);
        act(seed)
    };
    let Some(key) = key(req)? else { return Ok(act(ids::seed()).await?.respond()) };
    let attempt = attempt(cx, account, req, body_hash, key);
    let claim = match cx.store.claim(&attempt).await {
        Ok(claim) => claim,
        Err(error) => {
            // It may have been made, and only its answer was lost.
            ClaimHolder::new(cx, &attempt).release().await;
            return Err(ApiError::from(Error::from(error)).before_any_change());
        }
    };
    let seed = match claim {
        Claim::Go { seed } => seed,
        Claim::Answered(answer) => return Ok(Reply(answer).respond()),
        Claim::Running { until } => {
            let detail = "The first request with this Idempotency-Key has not been answered yet. Send this one again \
                          with the same key after the seconds of Retry-After.";
            let problem = ApiError::new(ProblemCode::IdempotencyInProgress, detail);
            return Err(problem.retry_after(seconds_until(until, cx.clock.now())));
        }
        Claim::Mismatch => {
            return Err(ApiError::new(
                ProblemCode::IdempotencyMismatch,
                "This Idempotency-Key was sent with another request within the last day; use a new one.",
            ));
        }
    };
    let holder = ClaimHolder::new(cx, &attempt);
    match act(seed).await {
        Ok(reply) => {
            // The work is done, so the caller hears of it. If its answer cannot be stored, a repetition finds what was
            // made by its seed.
            match cx.store.answer(account, &attempt.key, &reply.0).await {
                Ok(()) => holder.settle(),
                Err(error) => {
                    tracing::warn!(error = ?error, "the answer to a request with a key could not be stored");
                    holder.release().await;
                }
            }
            Ok(reply.respond())
        }
        Err(error) => {
            // A refusal did nothing, so the key is free for the mended request. A failure may have done something: the
            // next attempt finds what was made by its seed.
            if !error.is_failure() && cx.store.forget(account, &attempt.key).await.is_ok() {
                holder.settle();
            } else {
                holder.release().await;
            }
            Err(error)
        }
    }
}

/// Whole seconds to wait, at least one.
fn seconds_until(until: DateTime<Utc>, now: DateTime<Utc>) -> u64 {
    let micros = (until - now).num_microseconds().unwrap_or_default();
    u64::try_from(micros).unwrap_or_default().div_ceil(1_000_000).max(1)
}

fn attempt(cx: &Context, account: AccountId, req: &HttpRequest, body_hash: [u8; 32], key: String) -> Attempt {
    let mut hash = Sha256::new();
    hash.update(req.method().as_str());
    hash.update([0]);
    hash.update(req.uri().to_string());
    hash.update([0]);
    hash.update(body_hash);
    Attempt {
        account_id: account,
        key,
        fingerprint: hash.finalize().into(),
        seed: ids::seed(),
        now: cx.clock.now(),
    }
}
