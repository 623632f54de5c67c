//! The context of a request. That of a changing request acts for its key, so that the change is recorded.

use super::problem::ApiError;
use crate::domain::context::Context;
use crate::domain::model::account::Key;
use crate::domain::model::audit::{Act, Actor, Deed, ThingKind};
use actix_web::body::MessageBody;
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::middleware::Next;
use actix_web::{FromRequest, HttpMessage, HttpRequest, web};
use eavesward_contract::ProblemCode;
use std::future::{Ready, ready};
use std::ops::Deref;
use std::rc::Rc;
use std::sync::Arc;
use tracing_actix_web::RequestId;
use uuid::Uuid;

/// What a handler changes.
#[derive(Clone, Copy, Debug)]
pub struct Change {
    /// What kind of thing.
    pub thing: ThingKind,
    /// Whether the thing is new. Otherwise the path names it.
    pub is_new: bool,
}

/// The context of a request. Every handler under `/v1` takes this one and no other.
#[derive(Clone)]
pub struct Cx(web::Data<Context>);

impl Deref for Cx {
    type Target = Context;

    fn deref(&self) -> &Context {
        &self.0
    }
}

impl FromRequest for Cx {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let acting = req.extensions().get::<Self>().cloned();
        let found = acting.or_else(|| req.app_data::<web::Data<Context>>().cloned().map(Self));
        ready(found.ok_or_else(|| ApiError::new(ProblemCode::Internal, "The service is not set up.").into()))
    }
}

/// Lets a changing request act for its key. `operation` is the word of the API's document.
pub async fn act<B: MessageBody>(
    change: Option<(&'static str, Change)>,
    req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, actix_web::Error> {
    if let Some((operation, change)) = change {
        let key = req.extensions().get::<Rc<Key>>().cloned();
        let cx = req.app_data::<web::Data<Context>>();
        if let (Some(key), Some(cx)) = (key, cx) {
            let act = Arc::new(Act {
                account: key.account_id,
                actor: Actor::Key(key.id),
                deeds: vec![deed(operation, change, &req)],
                request_id: req.extensions().get::<RequestId>().map(|id| **id),
            });
            let acting = Cx(web::Data::new(cx.acting(Arc::clone(&act))));
            let mut extensions = req.extensions_mut();
            extensions.insert(acting);
            extensions.insert(act);
        }
    }
    next.call(req).await
}

fn deed(operation: &'static str, change: Change, req: &ServiceRequest) -> Deed {
    let named = req.match_info().iter().last().filter(|_| !change.is_new);
    match named {
        // UUIDs as they are usually written.
        Some((_, id)) => {
            let id = Uuid::parse_str(id).map_or_else(|_| id.to_owned(), |id| id.to_string());
            Deed::on(operation, change.thing, &id)
        }
        None => Deed::new(operation, change.thing),
    }
}

/// Says which id the thing gets that a request makes.
pub fn makes(req: &HttpRequest, id: Uuid) {
    if let Some(act) = req.extensions().get::<Arc<Act>>() {
        act.makes(id);
    }
}
