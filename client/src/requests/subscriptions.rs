//! Subscriptions and their deliveries.

use super::paths::{at, below, paged};
use crate::query::{DeliveryQuery, ListQuery};
use crate::{Error, Request};
use eavesward_contract as contract;
use uuid::Uuid;

/// `GET /v1/subscriptions`.
pub fn list_subscriptions(query: &ListQuery) -> Request {
    paged(Request::get("/v1/subscriptions"), query)
}

/// `POST /v1/subscriptions`.
pub fn create_subscription(subscription: &contract::SubscriptionRequest) -> Result<Request, Error> {
    Request::post("/v1/subscriptions").json(subscription)
}

/// `GET /v1/subscriptions/{id}`.
pub fn subscription(id: Uuid) -> Request {
    Request::get(at("subscriptions", id))
}

/// `PUT /v1/subscriptions/{id}` with `If-Match`.
pub fn update_subscription(
    id: Uuid,
    version: i64,
    subscription: &contract::SubscriptionRequest,
) -> Result<Request, Error> {
    Request::put(at("subscriptions", id)).if_match(version).json(subscription)
}

/// `DELETE /v1/subscriptions/{id}` with `If-Match`.
pub fn delete_subscription(id: Uuid, version: i64) -> Request {
    Request::delete(at("subscriptions", id)).if_match(version)
}

/// `POST /v1/subscriptions/{id}/pause`.
pub fn pause_subscription(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "pause"))
}

/// `POST /v1/subscriptions/{id}/resume`.
pub fn resume_subscription(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "resume"))
}

/// `POST /v1/subscriptions/{id}/secret`: a new secret.
pub fn rotate_secret(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "secret"))
}

/// `POST /v1/subscriptions/{id}/test`.
pub fn test_subscription(id: Uuid) -> Request {
    Request::post(below("subscriptions", id, "test"))
}

/// `GET /v1/subscriptions/{id}/deliveries`.
pub fn list_deliveries(id: Uuid, query: &DeliveryQuery) -> Request {
    query.put_on(Request::get(below("subscriptions", id, "deliveries")))
}

/// `GET /v1/deliveries/{id}`.
pub fn delivery(id: Uuid) -> Request {
    Request::get(at("deliveries", id))
}

/// `POST /v1/deliveries/{id}/send`.
pub fn send_delivery_again(id: Uuid) -> Request {
    Request::post(below("deliveries", id, "send"))
}
