//! The status of a system: for those who poll, and for those who stay connected.

use crate::domain::base::error::Error;
use crate::domain::base::ids::{AccountId, SystemId};
use crate::domain::context::Context;
use crate::domain::model::account::Key;
use crate::domain::use_cases::{accounts, status};
use crate::http::access::SystemReader;
use crate::http::acting::Cx;
use crate::http::conditional::{hash, json, tagged};
use crate::http::problem::{ApiError, HeadOnly};
use crate::http::streams::{NoSlot, StreamSlot, StreamSlots};
use crate::http::wire::status::abridge;
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{HttpMessage as _, HttpRequest, HttpResponse, web};
use eavesward_contract::{ProblemCode, SystemStatus};
use std::convert::Infallible;
use std::pin::Pin;
use std::rc::Rc;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{Interval, Sleep, interval, sleep};
use uuid::Uuid;

/// The shortest time between two reads, however much is written: a fleet that is refreshed tells of many batches.
const PAUSE: Duration = Duration::from_millis(250);
/// A stream without news sends a comment this often, so that neither end nor a proxy takes it for dead. A reader that
/// closed the connection is noticed when something is written to it, so its slot is free after two heartbeats.
const HEARTBEAT: Duration = Duration::from_secs(15);
/// How long a stream goes on. A reader that lost power or its network does not close the stream. This limit frees
/// its slot. A reader that still runs connects again. Judgement.
const LONGEST_STREAM: Duration = Duration::from_mins(15);
/// What a reader is told to wait before it connects again, in milliseconds.
const RETRY_MS: u32 = 5000;

/// A status with the tag it is known by.
struct TaggedStatus {
    tag: String,
    body: String,
    max_age_s: u64,
}

async fn current(cx: &Context, account: AccountId, id: SystemId) -> Result<TaggedStatus, ApiError> {
    let polled = status::get(cx, account, id).await?;
    let max_age_s = polled.keeps_s(cx.clock.now());
    let body = json(&abridge(SystemStatus::from(polled.status)))?;
    Ok(TaggedStatus { tag: hash(&body), body, max_age_s })
}

/// Poll a system's status
///
/// The next duties and the runoff of the last days, as of the last refresh. It has less than 2,000 bytes, for polling.
/// Send the `ETag` back as `If-None-Match`, and an unchanged status is answered `304` without a body.
/// `Cache-Control: max-age` says how many seconds the status is valid: until the next local midnight, but at most 60. It
/// is 0 while a change waits for the next refresh.
#[utoipa::path(get, path = "/v1/systems/{id}/status", tag = "systems", operation_id = "get_status",
    params(
        ("id" = Uuid, Path, description = "Id of the system"),
        ("If-None-Match" = Option<String>, Header, description = "The tag of the status that is known already"),
    ),
    responses(
        (status = 200, description = "The status", body = SystemStatus),
        (status = 304, description = "Nothing changed since that tag"),
    ))]
pub async fn get(
    req: HttpRequest,
    caller: SystemReader,
    cx: Cx,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, ApiError> {
    let id = SystemId(*id);
    let status = current(&cx, caller.reach.to(id)?, id).await?;
    let mut response = tagged(&req, &status.tag, status.body);
    let headers = response.headers_mut();
    // A strong tag names one run of bytes, so this small body is never compressed.
    headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("identity"));
    if let Ok(value) = HeaderValue::from_str(&format!("private, max-age={}", status.max_age_s)) {
        headers.insert(header::CACHE_CONTROL, value);
    }
    Ok(response)
}

/// Follow a system's status
///
/// As server-sent events. An event `status` comes at once and at every change. Its data is the status as
/// `GET /v1/systems/{id}/status` gives it, and its id is the `ETag`. Send the last id as `Last-Event-ID`, and a status
/// that you know does not come again.
///
/// A comment every 15 seconds shows that the connection is open. The stream ends after 15 minutes and when the service
/// stops. Then connect again. It also ends when the key is revoked or expires: at once in the process that revokes it, and
/// within 5 seconds in other replicas. The answer is `429` when the key has 8
/// streams open or the account as many as its quota, and `503` when no slot is free. Then poll.
#[utoipa::path(get, path = "/v1/systems/{id}/status/events", tag = "systems", operation_id = "follow_status",
    params(
        ("id" = Uuid, Path, description = "Id of the system"),
        ("Last-Event-ID" = Option<String>, Header, description = "The id of the last event that was received"),
    ),
    responses((status = 200, description = "The events, as they happen", body = String, content_type = "text/event-stream")))]
pub async fn events(
    req: HttpRequest,
    caller: SystemReader,
    cx: Cx,
    slots: web::Data<StreamSlots>,
    id: web::Path<Uuid>,
) -> Result<HttpResponse, ApiError> {
    let system = SystemId(*id);
    let account = caller.reach.to(system)?;
    let slot = slots.take(account, caller.key.id).map_err(|none| no_slot(&none))?;
    let known = req.headers().get("last-event-id").and_then(|value| value.to_str().ok());
    let mut heartbeat = interval(HEARTBEAT);
    heartbeat.reset();
    let mut source = StatusStream {
        // Subscribed before the status is read, so that nothing falls between.
        news: cx.written.subscribe(),
        cx: Context::clone(&cx),
        key: caller.key,
        account,
        system,
        known: known.map(|known| known.trim().trim_matches('"').to_owned()),
        slot,
        heartbeat,
        ends: Box::pin(sleep(LONGEST_STREAM)),
        revoked: cx.keys_revoked.subscribe(),
    };
    // Read before the headers go out: a system that is not there is answered as a problem.
    let status = current(&source.cx, account, system).await?;
    let first = format!("retry: {RETRY_MS}\n\n{}", source.event(status).unwrap_or_default());
    let stream = futures_util::stream::unfold((Some(first), source), |(first, mut source)| async move {
        let text = match first {
            Some(first) => first,
            None => source.next().await?,
        };
        Some((Ok::<_, Infallible>(web::Bytes::from(text)), (None, source)))
    });
    let mut response = HttpResponse::Ok();
    response
        .content_type("text/event-stream")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        // Neither the compression here nor a proxy on the way may wait for more.
        .insert_header((header::CONTENT_ENCODING, "identity"))
        .insert_header((HeaderName::from_static("x-accel-buffering"), "no"));
    let head_only = req.extensions().get::<HeadOnly>().is_some();
    Ok(if head_only { response.finish() } else { response.streaming(stream) })
}

/// Says why a stream gets no slot.
fn no_slot(why: &NoSlot) -> ApiError {
    let (code, who) = match why {
        NoSlot::Full => {
            (ProblemCode::Unavailable, "The service takes no more streams now, or is stopping.".to_owned())
        }
        NoSlot::OfKey(most) => {
            (ProblemCode::RateLimited, format!("The key has its {most} streams open already."))
        }
        NoSlot::OfAccount(most) => {
            (ProblemCode::RateLimited, format!("The account has its {most} streams open already."))
        }
    };
    let detail = format!("{who} Close one, or poll the status instead.");
    ApiError::new(code, detail).retry_after(STREAM_RETRY_S)
}

/// Seconds after which a stream is asked for again that got no slot. Judgement: a stream ends within a quarter of an
/// hour, and a display may wait.
const STREAM_RETRY_S: u64 = 60;

/// One connection that follows a status.
struct StatusStream {
    cx: Context,
    key: Rc<Key>,
    account: AccountId,
    system: SystemId,
    /// The tag that the reader has.
    known: Option<String>,
    news: watch::Receiver<u64>,
    slot: StreamSlot,
    heartbeat: Interval,
    ends: Pin<Box<Sleep>>,
    revoked: watch::Receiver<u64>,
}

impl StatusStream {
    /// The event that tells of a status, unless the reader has it.
    fn event(&mut self, status: TaggedStatus) -> Option<String> {
        if self.known.as_ref() == Some(&status.tag) {
            return None;
        }
        // JSON has no line breaks but escaped ones, so the data are one line.
        let event = format!("event: status\nid: \"{}\"\ndata: {}\n\n", status.tag, status.body);
        self.known = Some(status.tag);
        self.heartbeat.reset();
        Some(event)
    }

    /// What to send next; nothing at the end.
    async fn next(&mut self) -> Option<String> {
        loop {
            tokio::select! {
                () = self.slot.closed() => return None,
                () = &mut self.ends => return None,
                _ = self.heartbeat.tick() => return Some(": nothing new\n\n".to_owned()),
                // The poll looks whether the key is accepted still.
                () = sleep(accounts::next_check(&self.cx, &self.key)) => {}
                _ = self.revoked.changed() => {}
                told = self.news.changed() => {
                    told.ok()?;
                    sleep(PAUSE).await;
                    // This poll reads what was written meanwhile.
                    self.news.mark_unchanged();
                }
            }
            match self.poll().await {
                Ok(Some(status)) => {
                    if let Some(event) = self.event(status) {
                        return Some(event);
                    }
                }
                Err(error) if error.is_failure() => {
                    // The connection outlives a database that is away for a moment.
                    tracing::debug!(%error, "a look for those who follow a status failed; trying again soon");
                }
                // The key is no longer accepted, or the system no longer there.
                Ok(None) | Err(_) => return None,
            }
        }
    }

    /// The status now; nothing when the key is no longer accepted.
    async fn poll(&self) -> Result<Option<TaggedStatus>, ApiError> {
        if !accounts::still_accepted(&self.cx, &self.key)
            .await
            .map_err(|error: Error| ApiError::from(error))?
        {
            return Ok(None);
        }
        current(&self.cx, self.account, self.system).await.map(Some)
    }
}
