//! Connections while the service stops: each answer closes its own, so that callers go to another replica.

use super::streams::StreamSlots;
use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::ConnectionType;
use actix_web::middleware::Next;
use actix_web::{Error, web};

/// Asks the caller to connect again, once the service stops.
pub async fn close_when_stopping<B: MessageBody>(
    req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let slots = req.app_data::<web::Data<StreamSlots>>().cloned();
    let mut answer = next.call(req).await?;
    if slots.is_some_and(|slots| !slots.is_accepting()) {
        answer.response_mut().head_mut().set_connection_type(ConnectionType::Close);
    }
    Ok(answer)
}
