//! Bounds on what one account may ask for, so that it cannot slow down the others.

use super::problem::ApiError;
use crate::domain::base::ids::AccountId;
use crate::domain::base::plural::counted;
use crate::domain::model::account::Key;
use crate::gate::{Admitted, Allowance, Gate, Place, Refusal, Turn, Work};
use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::middleware::Next;
use actix_web::{HttpMessage, HttpRequest, web};
use eavesward_contract::ProblemCode;
use std::rc::Rc;

/// Seconds after which a request is sent again that found too many of its account under way. Judgement: most requests
/// take far less.
const SOON_S: u64 = 1;

/// Counts a request of an account.
///
/// # Errors
/// `429` if the account sent too many or has too many under way.
pub fn admit(req: &HttpRequest, account: AccountId) -> Result<Admitted, ApiError> {
    gate(req)?.admit(account).map_err(refused)
}

fn gate(req: &HttpRequest) -> Result<&web::Data<Gate>, ApiError> {
    let gate = req.app_data::<web::Data<Gate>>();
    gate.ok_or_else(|| ApiError::new(ProblemCode::Internal, "The service is not set up."))
}

fn refused(refusal: Refusal) -> ApiError {
    let (detail, wait_s, allowance) = match refusal {
        Refusal::Rate(allowance) => {
            let Allowance { burst, window_s, wait_s, .. } = allowance;
            let (requests, seconds) =
                (counted(burst.into(), "request", "requests"), counted(window_s, "second", "seconds"));
            let detail = format!(
                "The account sent more than {requests} in {seconds}. Send this one again after the seconds of \
                 Retry-After."
            );
            (detail, wait_s, Some(allowance))
        }
        Refusal::UnderWay { most, heavy } => {
            let (one, many) = if heavy {
                ("forecast, digest, round or import", "forecasts, digests, rounds or imports")
            } else {
                ("request", "requests")
            };
            let requests = counted(most as u64, one, many);
            let detail =
                format!("The account has {requests} under way. Send this one again when one was answered.");
            (detail, SOON_S, None)
        }
    };
    ApiError::new(ProblemCode::RateLimited, detail).retry_after(wait_s).with_allowance(allowance)
}

/// What a request holds while it is worked on, in its extensions.
struct Held {
    _turn: Turn,
    _place: Option<Place<AccountId>>,
}

/// Marks a request that takes its turn when its body is here.
struct AfterBody(Work);

/// Lets a request wait for its turn, and ends the turn when the answer's head is ready.
///
/// A request with a body has its turn when the body is here: a body that comes slowly must not hold up anybody.
pub async fn take_turn<B: MessageBody>(
    work: Work,
    has_body: bool,
    req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, actix_web::Error> {
    if has_body {
        req.extensions_mut().insert(AfterBody(work));
    } else if let Err(refusal) = hold(req.request(), work).await {
        return Ok(ServiceResponse::from_err(refusal, req.into_parts().0).map_into_right_body());
    }
    let response = next.call(req).await?;
    release(response.request());
    Ok(response.map_into_left_body())
}

/// A place for a request that waits for something to happen; its turn ends. Without a free place it may not wait.
pub fn wait(req: &HttpRequest, account: AccountId) -> Result<Option<Place<AccountId>>, ApiError> {
    let place = gate(req)?.wait(account);
    leave(req);
    Ok(place)
}

/// Ends the turn of a request and gives its place among the account's back. The answer may take its reader long, or the
/// request waits for something else: neither is work.
pub fn leave(req: &HttpRequest) {
    release(req);
    drop(req.extensions_mut().remove::<Admitted>());
}

/// Waits for the turn of a request whose body is here.
///
/// # Errors
/// `429` if the account has too many heavy requests under way.
pub async fn body_is_here(req: &HttpRequest) -> Result<(), ApiError> {
    let marked = req.extensions_mut().remove::<AfterBody>();
    match marked {
        Some(AfterBody(work)) => hold(req, work).await,
        None => Ok(()),
    }
}

/// The account whose key a request carries.
fn account_of(req: &HttpRequest) -> Option<AccountId> {
    req.extensions().get::<Rc<Key>>().map(|key| key.account_id)
}

/// Waits for the turn of a request, which then holds it until [`release`].
async fn hold(req: &HttpRequest, work: Work) -> Result<(), ApiError> {
    match account_of(req) {
        Some(account) => hold_for(req, account, work).await,
        None => Ok(()),
    }
}

/// The same for a request without a key, which turned out to be for an account.
///
/// # Errors
/// As [`body_is_here`].
pub async fn hold_for(req: &HttpRequest, account: AccountId, work: Work) -> Result<(), ApiError> {
    let gate = gate(req)?;
    let place = gate.place(account, work).map_err(refused)?;
    let turn = gate.turn(account, work).await;
    req.extensions_mut().insert(Held { _turn: turn, _place: place });
    Ok(())
}

fn release(req: &HttpRequest) {
    drop(req.extensions_mut().remove::<Held>());
}
