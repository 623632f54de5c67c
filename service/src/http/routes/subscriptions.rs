//! Subscriptions and their deliveries.

use super::Paging;
use crate::domain::base::error::Error;
use crate::domain::base::ids::{DeliveryId, SubscriptionId};
use crate::domain::base::paging::ListPage;
use crate::domain::context::Context;
use crate::domain::model::subscription::Subscription;
use crate::domain::use_cases::{deliveries, subscriptions};
use crate::http::access::{Admin, Version, known_word};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{compound, hashed, json, page};
use crate::http::idempotent::{self, Reply, once};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use crate::http::wire::subscription::{ContractPayloads, subscription_at, subscription_draft};
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract::{self as contract, Page};
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// List subscriptions
///
/// Oldest first. Needs the scope `admin`: addresses may hold secrets of their owners.
#[utoipa::path(get, path = "/v1/subscriptions", tag = "subscriptions", operation_id = "list_subscriptions", params(Paging),
    responses((status = 200, description = "One page of subscriptions", body = contract::Page<contract::Subscription>)))]
pub async fn list(req: HttpRequest, caller: Admin, cx: Cx, paging: Query<Paging>) -> Answer {
    let ListPage { items, next } =
        subscriptions::list(&cx, caller.0, paging.cursor.as_deref(), paging.limit).await?;
    let items = items.into_iter().map(|one| shown(&cx, one)).collect();
    hashed(&req, &Page { items, next_cursor: next })
}

/// Make a subscription
///
/// Reminders and digests from now on are posted to its address, signed by the Standard Webhooks scheme. Answer with 200
/// to 299 within 15 seconds. Every message is posted at least once, always with the same `webhook-id`, so keep the ids
/// of a few days. Messages may arrive in another order; sort reminders by `number`.
///
/// A message that fails is tried again for two days and then parked. A receiver that answers 429 or 503 with
/// `Retry-After` gets nothing for that time, at most twelve hours. Only this answer shows the secret, so a repeated
/// request with the same `Idempotency-Key` is answered `409`. Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/subscriptions", tag = "subscriptions", operation_id = "create_subscription",
    request_body = contract::SubscriptionRequest,
    responses((status = 201, description = "The subscription with its secret", body = contract::SubscriptionSecret)))]
pub async fn create(
    req: HttpRequest,
    caller: Admin,
    cx: Cx,
    body: Json<contract::SubscriptionRequest>,
) -> Answer {
    let key = idempotent::key(&req)?;
    let context: &Context = &cx;
    let mut made = None;
    let keep = &mut made;
    let draft = subscription_draft(body.value)?;
    // What is kept for repetitions is the subscription without its secret; the secret goes to the first caller alone.
    let answer = once(context, caller.0, &req, body.hash, |seed| async move {
        let new = subscriptions::create(context, caller.0, SubscriptionId(seed), draft).await?;
        let secret = new.secrets.current.reveal();
        let shown = shown(context, new);
        let reply = Reply::created(format!("/v1/subscriptions/{}", shown.id), shown.version, &shown)?;
        *keep = Some(contract::SubscriptionSecret { subscription: shown, secret });
        Ok(reply)
    })
    .await?;
    match made {
        Some(made) => Ok(HttpResponse::Created()
            .content_type("application/json")
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .insert_header((header::ETAG, format!("\"{}\"", made.subscription.version)))
            .insert_header((header::LOCATION, format!("/v1/subscriptions/{}", made.subscription.id)))
            .body(json(&made)?)),
        None if key.is_some() => Err(Error::Conflict(
            "A subscription was made by the first request with this Idempotency-Key, and its secret was shown then. If it \
             was lost, change the secret with POST /v1/subscriptions/{id}/secret."
                .to_owned(),
        )
        .into()),
        None => Ok(answer),
    }
}

/// Show a subscription
///
/// With its next times, and how much waits or was given up. Needs the scope `admin`.
#[utoipa::path(get, path = "/v1/subscriptions/{id}", tag = "subscriptions", operation_id = "get_subscription",
    params(("id" = Uuid, Path, description = "Id of the subscription")),
    responses((status = 200, description = "The subscription", body = contract::Subscription)))]
pub async fn get(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = subscriptions::get(&cx, caller.0, SubscriptionId(*id)).await?;
    compound(&req, found.version, &shown(&cx, found))
}

/// Change a subscription
///
/// Replaces everything but its secret. What waits to be sent goes to the new address. Needs the scope `admin`.
#[utoipa::path(put, path = "/v1/subscriptions/{id}", tag = "subscriptions", operation_id = "update_subscription",
    params(
        ("id" = Uuid, Path, description = "Id of the subscription"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    request_body = contract::SubscriptionRequest,
    responses((status = 200, description = "The subscription as it is now", body = contract::Subscription)))]
pub async fn update(
    req: HttpRequest,
    caller: Admin,
    cx: Cx,
    id: web::Path<Uuid>,
    version: Version,
    body: Json<contract::SubscriptionRequest>,
) -> Answer {
    let draft = subscription_draft(body.value)?;
    let changed = subscriptions::update(&cx, caller.0, SubscriptionId(*id), version.0, draft).await?;
    compound(&req, changed.version, &shown(&cx, changed))
}

/// Remove a subscription
///
/// With everything that waits to be sent. Needs the scope `admin`.
#[utoipa::path(delete, path = "/v1/subscriptions/{id}", tag = "subscriptions", operation_id = "delete_subscription",
    params(
        ("id" = Uuid, Path, description = "Id of the subscription"),
        ("If-Match" = String, Header, description = "The version that was read, such as \"3\""),
    ),
    responses((status = 204, description = "It is gone")))]
pub async fn remove(caller: Admin, cx: Cx, id: web::Path<Uuid>, version: Version) -> Answer {
    subscriptions::delete(&cx, caller.0, SubscriptionId(*id), version.0).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Pause a subscription
///
/// Nothing is sent until it is resumed. Pausing twice changes nothing. Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/subscriptions/{id}/pause", tag = "subscriptions", operation_id = "pause_subscription",
    params(("id" = Uuid, Path, description = "Id of the subscription")),
    responses((status = 200, description = "The subscription as it is now", body = contract::Subscription)))]
pub async fn pause(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    set_paused(&req, caller, &cx, *id, true).await
}

/// Resume a subscription
///
/// It continues with the reminders that were raised meanwhile and are still kept. Digests that were missed are not sent. Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/subscriptions/{id}/resume", tag = "subscriptions", operation_id = "resume_subscription",
    params(("id" = Uuid, Path, description = "Id of the subscription")),
    responses((status = 200, description = "The subscription as it is now", body = contract::Subscription)))]
pub async fn resume(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    set_paused(&req, caller, &cx, *id, false).await
}

async fn set_paused(req: &HttpRequest, caller: Admin, cx: &Context, id: Uuid, paused: bool) -> Answer {
    once(cx, caller.0, req, [0; 32], |_| async {
        let changed = subscriptions::pause(cx, caller.0, SubscriptionId(id), paused).await?;
        Reply::done(changed.version, &shown(cx, changed))
    })
    .await
}

/// Change the secret of a subscription
///
/// The new one is shown this once. The old one signs beside it for a day, so that the receiver can be changed in between. Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/subscriptions/{id}/secret", tag = "subscriptions", operation_id = "rotate_secret",
    params(("id" = Uuid, Path, description = "Id of the subscription")),
    responses((status = 200, description = "The subscription with its new secret", body = contract::SubscriptionSecret)))]
pub async fn rotate(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let key = idempotent::key(&req)?;
    let context: &Context = &cx;
    let mut made = None;
    let keep = &mut made;
    let answer = once(context, caller.0, &req, [0; 32], |_| async move {
        let changed = subscriptions::rotate(context, caller.0, SubscriptionId(*id)).await?;
        let secret = changed.secrets.current.reveal();
        let shown = shown(context, changed);
        let reply = Reply::done(shown.version, &shown)?;
        *keep = Some(contract::SubscriptionSecret { subscription: shown, secret });
        Ok(reply)
    })
    .await?;
    match made {
        Some(made) => Ok(HttpResponse::Ok()
            .content_type("application/json")
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .insert_header((header::ETAG, format!("\"{}\"", made.subscription.version)))
            .body(json(&made)?)),
        None if key.is_some() => Err(Error::Conflict(
            "The secret was changed by the first request with this Idempotency-Key, and shown then. If it was lost, change \
             it once more with a new Idempotency-Key."
                .to_owned(),
        )
        .into()),
        None => Ok(answer),
    }
}

/// Try a subscription
///
/// Posts a message of the type `test` to its address, even while it is paused. The delivery shows whether it arrived.
/// Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/subscriptions/{id}/test", tag = "subscriptions", operation_id = "test_subscription",
    params(("id" = Uuid, Path, description = "Id of the subscription")),
    responses((status = 201, description = "The delivery, which waits to be sent", body = contract::Delivery)))]
pub async fn test(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, [0; 32], |seed| async move {
        let made =
            deliveries::test(cx, &ContractPayloads, caller.0, SubscriptionId(*id), DeliveryId(seed)).await?;
        let made = contract::Delivery::from(made);
        Reply::created(format!("/v1/deliveries/{}", made.id), None, &made)
    })
    .await
}

/// Which deliveries to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct DeliveriesQuery {
    /// Those in this state.
    #[param(inline)]
    pub state: Option<contract::DeliveryState>,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// List deliveries
///
/// What a subscription posted or is to post, latest first. What has ended is kept as long as reminders are, a digest for a
/// week. Needs the scope `admin`.
#[utoipa::path(get, path = "/v1/subscriptions/{id}/deliveries", tag = "subscriptions", operation_id = "list_deliveries",
    params(("id" = Uuid, Path, description = "Id of the subscription"), DeliveriesQuery),
    responses((status = 200, description = "One page of deliveries", body = contract::Page<contract::Delivery>)))]
pub async fn deliveries(
    req: HttpRequest,
    caller: Admin,
    cx: Cx,
    id: web::Path<Uuid>,
    query: Query<DeliveriesQuery>,
) -> Answer {
    let words = "waiting, delivered, parked, superseded";
    let state = query.state.map(|state| known_word("state", state, words)).transpose()?;
    let (cursor, limit) = (query.cursor.as_deref(), query.limit);
    let found = deliveries::list(&cx, caller.0, SubscriptionId(*id), state, cursor, limit).await?;
    page::<_, contract::Delivery>(&req, found)
}

/// Show a delivery
///
/// With every attempt. Needs the scope `admin`.
#[utoipa::path(get, path = "/v1/deliveries/{id}", tag = "subscriptions", operation_id = "get_delivery",
    params(("id" = Uuid, Path, description = "Id of the delivery")),
    responses((status = 200, description = "The delivery and its attempts", body = contract::DeliveryLog)))]
pub async fn delivery(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let found = deliveries::get(&cx, caller.0, DeliveryId(*id)).await?;
    let attempts = found.attempts.into_iter().map(Into::into).collect();
    hashed(&req, &contract::DeliveryLog { delivery: found.delivery.into(), attempts })
}

/// Send a delivery again
///
/// Under the same id, whatever became of it; it is tried for another two days. Needs the scope `admin`.
#[utoipa::path(post, path = "/v1/deliveries/{id}/send", tag = "subscriptions", operation_id = "send_delivery_again",
    params(("id" = Uuid, Path, description = "Id of the delivery")),
    responses((status = 200, description = "The delivery, which waits to be sent", body = contract::Delivery)))]
pub async fn send_again(req: HttpRequest, caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    let cx: &Context = &cx;
    once(cx, caller.0, &req, [0; 32], |_| async move {
        let sent = deliveries::again(cx, caller.0, DeliveryId(*id)).await?;
        Reply::done(None, &contract::Delivery::from(sent))
    })
    .await
}

fn shown(cx: &Context, from: Subscription) -> contract::Subscription {
    subscription_at(from, cx.clock.now())
}
