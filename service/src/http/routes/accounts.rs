//! The account and its keys.

use super::Paging;
use crate::domain::base::error::Error;
use crate::domain::base::ids::KeyId;
use crate::domain::context::Context;
use crate::domain::use_cases::accounts;
use crate::http::access::{Admin, Reader, key_of};
use crate::http::acting::Cx;
use crate::http::body::Json;
use crate::http::conditional::{hashed, json, page};
use crate::http::idempotent;
use crate::http::problem::ApiError;
use crate::http::query::Query;
use crate::http::streams::StreamSlots;
use crate::http::wire::account::account as account_with_quotas;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};
use eavesward_contract as wire;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// Show the account
///
/// The account that the key belongs to, with its quotas. The operator of the service sets these for all accounts.
#[utoipa::path(get, path = "/v1/account", tag = "accounts", operation_id = "get_account",
    responses((status = 200, description = "The account", body = wire::Account)))]
pub async fn account(req: HttpRequest, caller: Reader, cx: Cx, slots: web::Data<StreamSlots>) -> Answer {
    let (found, usage) = (accounts::get(&cx, caller.0).await?, accounts::usage(&cx, caller.0).await?);
    hashed(&req, &account_with_quotas(found, usage, slots.of_account(caller.0)))
}

/// List keys
///
/// Every key of the account, oldest first, revoked ones included. Needs the scope `admin`.
#[utoipa::path(get, path = "/v1/keys", tag = "accounts", operation_id = "list_keys", params(Paging),
    responses((status = 200, description = "One page of keys", body = wire::Page<wire::ApiKey>)))]
pub async fn keys(req: HttpRequest, caller: Admin, cx: Cx, paging: Query<Paging>) -> Answer {
    let found = accounts::keys(&cx, caller.0, paging.cursor.as_deref(), paging.limit).await?;
    page::<_, wire::ApiKey>(&req, found)
}

/// Make a key
///
/// Only this answer shows the secret, because the service stores only its hash. A second request with the same
/// `Idempotency-Key` makes no second key and is answered `409`. If the first request was cut off before its answer, the
/// second one gets the same key with a new secret. Needs the scope `admin`.
///
/// The new key can do no more than the key of this request, and not for longer: it has only scopes of that key, and
/// expires no later. A request for a stronger one is answered `422`. A key stays when the key that made it is revoked;
/// `GET /v1/audit` with `key_id` shows which keys that one made.
#[utoipa::path(post, path = "/v1/keys", tag = "accounts", operation_id = "create_key", request_body = wire::KeyRequest,
    responses((status = 201, description = "The key with its secret", body = wire::KeyCreated)))]
pub async fn create_key(req: HttpRequest, caller: Admin, cx: Cx, body: Json<wire::KeyRequest>) -> Answer {
    let key = idempotent::key(&req)?;
    let context: &Context = &cx;
    let maker = &*key_of(&req)?;
    let mut made = None;
    let keep = &mut made;
    // What is kept for repetitions is the key without its secret; the secret goes to the first caller alone.
    let answer = idempotent::once(context, caller.0, &req, body.hash, |seed| async move {
        let draft = body.value.try_into()?;
        let (key, secret) = accounts::create_weaker_key(context, maker, KeyId(seed), draft).await?;
        let key = wire::ApiKey::from(key);
        let reply = idempotent::Reply::created(format!("/v1/keys/{}", key.id), 1, &key)?;
        *keep = Some(wire::KeyCreated { key, secret: secret.reveal().to_owned() });
        Ok(reply)
    })
    .await?;
    match made {
        Some(created) => Ok(HttpResponse::Created()
            .content_type("application/json")
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .insert_header((header::LOCATION, format!("/v1/keys/{}", created.key.id)))
            .body(json(&created)?)),
        None if key.is_some() => Err(Error::Conflict(
            "A key was made by the first request with this Idempotency-Key, and its secret was shown then. If it was \
             lost, revoke that key and make another with a new Idempotency-Key."
                .to_owned(),
        )
        .into()),
        None => Ok(answer),
    }
}

/// Revoke a key
///
/// It is refused from now on. Revoking twice changes nothing. Requests that wait with it are answered `401`, and its
/// streams end: at once in the process that answers this request, and within 5 seconds in other replicas.
///
/// A key may revoke every key of its account, also a stronger one and itself. So the first person who notices a leak can
/// stop the key. Needs the scope `admin`.
#[utoipa::path(delete, path = "/v1/keys/{id}", tag = "accounts", operation_id = "revoke_key",
    params(("id" = Uuid, Path, description = "Id of the key")),
    responses((status = 204, description = "It is revoked")))]
pub async fn revoke_key(caller: Admin, cx: Cx, id: web::Path<Uuid>) -> Answer {
    accounts::revoke_key(&cx, caller.0, KeyId(*id)).await?;
    Ok(HttpResponse::NoContent().finish())
}
