//! What the service says of itself: whether it lives, whether it is ready, and its document.

use super::conditional::tagged;
use super::openapi;
use super::problem::ApiError;
use super::routes::{at, calendars};
use crate::domain::base::ids::KeyId;
use crate::domain::context::Context;
use actix_web::web::{self, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse};
use base64::{Engine as _, engine::general_purpose::URL_SAFE_NO_PAD};
use eavesward_contract::ProblemCode;
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use utoipa_swagger_ui::{Config, SwaggerUi};

/// The most streams of one key, so that a program that forgets to close its own leaves room for the others. Judgement: a
/// display needs one, and some programs watch a few systems each.
pub const STREAMS_A_KEY: usize = 8;

/// Whether new requests are wanted (not while the service shuts down), and places for answers that do not end by
/// themselves.
#[derive(Debug)]
pub struct Open {
    open: watch::Sender<bool>,
    streams: Arc<Semaphore>,
    taken: Taken,
}

/// How many streams each key has open; keys without any are not in it.
type Taken = Arc<Mutex<HashMap<KeyId, usize>>>;

/// A place for an answer that goes on until its reader leaves or the service shuts down. Dropping it frees the place.
#[derive(Debug)]
pub struct Stream {
    open: watch::Receiver<bool>,
    key: KeyId,
    taken: Taken,
    _place: OwnedSemaphorePermit,
}

impl Open {
    /// Open, with room for so many streams at once.
    pub fn new(streams: usize) -> Self {
        let places = streams.min(Semaphore::MAX_PERMITS);
        Self {
            open: watch::Sender::new(true),
            streams: Arc::new(Semaphore::new(places)),
            taken: Taken::default(),
        }
    }

    /// Says that the service is shutting down; streams end.
    pub fn close(&self) {
        self.open.send_replace(false);
        self.streams.close();
    }

    fn is_open(&self) -> bool {
        *self.open.borrow()
    }

    /// A place for a stream of a key, if there is one, the key has fewer than [`STREAMS_A_KEY`] and the service is not
    /// shutting down.
    pub fn stream(&self, key: KeyId) -> Option<Stream> {
        let place = Arc::clone(&self.streams).try_acquire_owned().ok()?;
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let of_key = taken.entry(key).or_default();
        if *of_key >= STREAMS_A_KEY {
            return None;
        }
        *of_key += 1;
        Some(Stream { open: self.open.subscribe(), key, taken: Arc::clone(&self.taken), _place: place })
    }
}

impl Stream {
    /// Ends when the service shuts down.
    pub async fn closed(&mut self) {
        // An error means that the service is gone, which is the same.
        let _ = self.open.wait_for(|open| !open).await;
    }
}

impl Drop for Stream {
    fn drop(&mut self) {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(of_key) = taken.get_mut(&self.key) {
            *of_key -= 1;
            if *of_key == 0 {
                taken.remove(&self.key);
            }
        }
    }
}

/// Ask whether it lives
///
/// Answers as long as the process does.
#[utoipa::path(get, path = "/healthz", tag = "service", operation_id = "healthz",
    responses((status = 200, description = "It lives", body = String, content_type = "text/plain")))]
pub async fn healthz() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("alive\n")
}

/// Ask whether it is ready
///
/// Answers `503` while the database cannot be reached or the service is shutting down.
#[utoipa::path(get, path = "/readyz", tag = "service", operation_id = "readyz",
    responses((status = 200, description = "It is ready", body = String, content_type = "text/plain")))]
pub async fn readyz(cx: web::Data<Context>, open: web::Data<Open>) -> Result<HttpResponse, ApiError> {
    if !open.is_open() {
        return Err(ApiError::new(ProblemCode::Unavailable, "The service is shutting down."));
    }
    cx.store.ping().await.map_err(crate::domain::base::error::Error::from)?;
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("ready\n"))
}

/// Get this document
///
/// As OpenAPI 3.1; `/docs/` shows it for reading and trying.
#[utoipa::path(get, path = "/openapi.json", tag = "service", operation_id = "openapi",
    responses((status = 200, description = "The OpenAPI document", body = serde_json::Value)))]
pub async fn document(req: HttpRequest) -> HttpResponse {
    static DOCUMENT: LazyLock<(String, String)> = LazyLock::new(|| {
        let text = openapi::text();
        (URL_SAFE_NO_PAD.encode(&Sha256::digest(text.as_bytes())[..16]), text)
    });
    tagged(&req, &DOCUMENT.0, DOCUMENT.1.clone())
}

/// Everything outside `/v1`: health, the document and its page, which needs nothing from elsewhere.
pub fn configure(cfg: &mut ServiceConfig) {
    cfg.service(at("/healthz", vec![("GET", web::get().to(healthz))]))
        .service(at("/readyz", vec![("GET", web::get().to(readyz))]))
        .service(at("/openapi.json", vec![("GET", web::get().to(document))]))
        .service(at("/", vec![("GET", web::get().to(front))]))
        .service(at("/calendars/{token}.ics", vec![("GET", web::get().to(calendars::read))]))
        .service(at("/problems/{code}", vec![("GET", web::get().to(problem))]))
        .service(web::redirect("/docs", "/docs/"))
        .service(SwaggerUi::new("/docs/{_:.*}").config(Config::from("/openapi.json")))
        .default_service(web::to(nothing));
}

/// What the `type` of a problem document leads to: its code, its status and what it means.
async fn problem(code: web::Path<String>) -> Result<HttpResponse, ApiError> {
    let known = ProblemCode::ALL.iter().find(|known| known.as_str() == code.as_str());
    let known =
        known.ok_or_else(|| ApiError::new(ProblemCode::NotFound, "There is no problem with that code."))?;
    let text = format!("{}\n\n{} ({})\n", known.as_str(), known.title(), known.status());
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text))
}

/// A word for whoever opens the service in a browser.
async fn front() -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/plain; charset=utf-8")
        .body("Eavesward\n\nThe API is under /v1, its documentation at /docs/, its OpenAPI document at /openapi.json.\n")
}

async fn nothing() -> Result<HttpResponse, ApiError> {
    Err(ApiError::new(ProblemCode::NotFound, "There is nothing at this path; /docs/ lists the paths."))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_key_cannot_take_every_place() {
        let open = Open::new(STREAMS_A_KEY + 2);
        let (greedy, modest) = (KeyId(uuid::Uuid::from_u128(1)), KeyId(uuid::Uuid::from_u128(2)));
        let mut held: Vec<Stream> = (0..STREAMS_A_KEY).filter_map(|_| open.stream(greedy)).collect();
        assert_eq!(held.len(), STREAMS_A_KEY);
        assert!(open.stream(greedy).is_none(), "a refusal");
        let others = [open.stream(modest), open.stream(modest)];
        assert!(others.iter().all(Option::is_some), "the refusal took no place");
        assert!(open.stream(modest).is_none(), "all places are taken");
        held.pop();
        assert!(open.stream(greedy).is_some(), "a place that is left is free again");
        drop((held, others));
        assert!(open.taken.lock().expect("a count").is_empty(), "keys without streams are forgotten");
        open.close();
        assert!(open.stream(modest).is_none(), "not while it shuts down");
    }
}
