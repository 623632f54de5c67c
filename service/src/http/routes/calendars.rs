//! Calendar feeds: kept under `/v1` with a key, read outside of it by their secret address.

use super::Paging;
use crate::domain::base::error::Error;
use crate::domain::base::ids::CalendarId;
use crate::domain::context::Context;
use crate::domain::use_cases::calendars;
use crate::gate::Work;
use crate::http::access::Admin;
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{json, page, text};
use crate::http::idempotent;
use crate::http::limits;
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract::{self as wire, ProblemCode};
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// List calendar feeds
///
/// Every feed of the account, oldest first, revoked ones included. Needs the scope `admin`.
#[utoipa::path(get, path = "/v1/calendars", tag = "calendars", operation_id = "list_calendars", params(Paging),
    responses((status = 200, description = "One page of feeds", body = wire::Page<wire::Calendar>)))]
pub async fn list(req: HttpRequest, caller: Admin, cx: Cx, paging: Query<Paging>) -> Answer {
    let found = calendars::list(&cx, caller.0, paging.cursor.as_deref(), paging.limit).await?;
    page::<_, wire::Calendar>(&req, found)
}

/// Make a calendar feed
///
/// A feed of one property or of the whole account, for calendar programs. Its address is shown this once. Anyone who has the
/// address can read the feed without a key until it is revoked. So the answer cannot be repeated: a second request with the
/// same `Idempotency-Key` makes no second feed and is answered `409`. If the first request was cut off before its answer,
/// the second one gets the same feed with a new address. Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/calendars", tag = "calendars", operation_id = "create_calendar",
    request_body = wire::CalendarRequest,
    responses((status = 201, description = "The feed with its address", body = wire::CalendarCreated)))]
pub async fn create(req: HttpRequest, caller: Admin, cx: Cx, body: Json<wire::CalendarRequest>) -> Answer {
    let key = idempotent::key(&req)?;
    let (context, asked): (&Context, &HttpRequest) = (&cx, &req);
    let mut made = None;
    let keep = &mut made;
    // What is kept for repetitions is the feed without its secret; the secret goes to the first caller alone.
    let answer = idempotent::once(context, caller.0, asked, body.hash, |seed| async move {
        let (calendar, secret) =
            calendars::create(context, caller.0, CalendarId(seed), body.value.into()).await?;
        let calendar = wire::Calendar::from(calendar);
        let reply = idempotent::Reply::created(location(calendar.id), 1, &calendar)?;
        let path = format!("/calendars/{}.ics", secret.reveal());
        let asked = asked.connection_info().clone();
        let url = format!("{}://{}{path}", asked.scheme(), asked.host());
        *keep = Some(wire::CalendarCreated { calendar, path, url });
        Ok(reply)
    })
    .await?;
    match made {
        Some(created) => Ok(HttpResponse::Created()
            .content_type("application/json")
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .insert_header((header::LOCATION, location(created.calendar.id)))
            .body(json(&created)?)),
        None if key.is_some() => Err(Error::Conflict(
            "A feed was made by the first request with this Idempotency-Key, and its address was shown then. If it was \
             lost, revoke that feed and make another with a new Idempotency-Key."
                .to_owned(),
        )
        .into()),
        None => Ok(answer),
    }
}

fn location(id: Uuid) -> String {
    format!("/v1/calendars/{id}")
}

/// Revoke a calendar feed
///
/// Its address leads nowhere from now on. Revoking twice changes nothing. Needs the scope `admin`.
#[utoipa::path(delete, path = "/v1/calendars/{id}", tag = "calendars", operation_id = "revoke_calendar",
    params(("id" = Uuid, Path, description = "Id of the feed")),
    responses((status = 204, description = "It is revoked")))]
pub async fn revoke(caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    calendars::revoke(&cx, caller.0, CalendarId(*id)).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Read a calendar feed
///
/// As iCalendar (RFC 5545), for calendars to subscribe to: the secret in the path stands for a key. Every task
/// with a due date up to the horizon is an event that lasts all day. An overdue task stays on its due date. SEQUENCE counts
/// up when a date moves. The task of a removed component drops out. There are at most 2,000 tasks; an event says from which
/// day on some are missing.
#[utoipa::path(get, path = "/calendars/{token}.ics", tag = "calendars", operation_id = "read_calendar",
    params(("token" = String, Path, description = "The secret, as the address has it")),
    responses((status = 200, description = "The feed", body = String, content_type = "text/calendar")))]
pub async fn read(req: HttpRequest, cx: Cx, token: web::Path<String>) -> Answer {
    let Some(calendar) = calendars::by_secret(&cx, &token).await? else {
        let detail = "There is no calendar at this address, or no longer. The person who keeps the account's keys can make another.";
        return Err(ApiError::new(ProblemCode::NotFound, detail));
    };
    let _admitted = limits::admit(&req, calendar.account_id)?;
    limits::hold_for(&req, calendar.account_id, Work::Heavy).await?;
    let mut response = text(&req, "text/calendar; charset=utf-8", calendars::read(&cx, &calendar).await?);
    let headers = response.headers_mut();
    // The address is a secret: no page that is opened from here may learn it, and no index may show it.
    headers.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.insert(HeaderName::from_static("x-robots-tag"), HeaderValue::from_static("noindex"));
    headers
        .insert(header::CONTENT_DISPOSITION, HeaderValue::from_static("inline; filename=\"eavesward.ics\""));
    Ok(response)
}
