//! A body that comes too slowly, or that no handler reads, keeps no connection open.

use actix_web::HttpMessage as _;
use actix_web::body::{BodySize, BoxBody, EitherBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::PayloadError;
use actix_web::middleware::Next;
use actix_web::web::Bytes;
use futures_util::Stream;
use std::cell::RefCell;
use std::io;
use std::pin::Pin;
use std::rc::Rc;
use std::task::{Context, Poll, ready};
use std::time::Duration;
use tokio::time::{Instant, Sleep, sleep};

/// How long a body may take.
#[derive(Clone, Copy, Debug)]
pub struct BodyTimeout(pub Duration);

/// A body gets one more second for each of these bytes that came. Judgement: a slow phone sends as fast.
const BYTES_A_SECOND: u64 = 16 * 1024;

/// Ends bodies that come too slowly. An answer to a request whose body is not at its end closes the connection.
///
/// The server by itself would read on to the end of a chunked body that nobody wants, however long it takes. It closes
/// the connection only while somebody holds the body, so the answer holds it.
pub async fn bound_body<B: MessageBody + 'static>(
    mut req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B, Holding>>, actix_web::Error> {
    let payload = match (req.take_payload(), req.app_data::<BodyTimeout>()) {
        (payload @ Payload::None, _) | (payload, None) => {
            req.set_payload(payload);
            return Ok(next.call(req).await?.map_into_left_body());
        }
        (payload, Some(timeout)) => {
            let payload = Rc::new(RefCell::new(payload));
            let alarm = Box::pin(sleep(timeout.0));
            let first_deadline = alarm.deadline();
            let bounded = Bounded { payload: payload.clone(), alarm, first_deadline, arrived: 0 };
            req.set_payload(Payload::Stream { payload: Box::pin(bounded) });
            payload
        }
    };
    let response = next.call(req).await?;
    Ok(response.map_body(|_, body| EitherBody::right(Holding { body: body.boxed(), _payload: payload })))
}

/// A body that has to go on coming.
struct Bounded {
    payload: Rc<RefCell<Payload>>,
    alarm: Pin<Box<Sleep>>,
    first_deadline: Instant,
    arrived: u64,
}

impl Stream for Bounded {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let polled = Pin::new(&mut *self.payload.borrow_mut()).poll_next(cx);
        match polled {
            Poll::Ready(Some(Ok(piece))) => {
                self.arrived += piece.len() as u64;
                let deadline = self.first_deadline + Duration::from_secs(self.arrived / BYTES_A_SECOND);
                self.alarm.as_mut().reset(deadline);
                Poll::Ready(Some(Ok(piece)))
            }
            Poll::Pending => {
                ready!(self.alarm.as_mut().poll(cx));
                Poll::Ready(Some(Err(PayloadError::Io(io::ErrorKind::TimedOut.into()))))
            }
            Poll::Ready(ended) => Poll::Ready(ended),
        }
    }
}

/// The body of an answer, with the body of its request.
pub struct Holding {
    body: BoxBody,
    _payload: Rc<RefCell<Payload>>,
}

impl MessageBody for Holding {
    type Error = Box<dyn std::error::Error>;

    fn size(&self) -> BodySize {
        self.body.size()
    }

    fn poll_next(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Bytes, Self::Error>>> {
        self.body.as_pin_mut().poll_next(cx)
    }
}
