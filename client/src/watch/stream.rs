//! A status as it changes, wherever it comes from.

use crate::Error;
use eavesward_contract::SystemStatus;
use futures_util::stream::{BoxStream, Stream, StreamExt};
use std::pin::Pin;
use std::task::{Context, Poll};

/// A status that is another than the one before.
#[derive(Clone, Debug, PartialEq)]
pub struct StatusSeen {
    /// The status.
    pub status: SystemStatus,
    /// Its tag: keep it, and watching goes on from here after a restart.
    pub etag: String,
}

/// A status as it changes, for as long as it is polled.
///
/// A failure that may pass (no connection, say) is given as an error, and watching goes on; an error that will not pass
/// (a key that was revoked) is the last item. Dropping it asks no more.
pub struct Watch(BoxStream<'static, Result<StatusSeen, Error>>);

impl Watch {
    pub(crate) fn new(stream: impl Stream<Item = Result<StatusSeen, Error>> + Send + 'static) -> Self {
        Self(stream.boxed())
    }

    /// The next status that is another than the one before; nothing after an error that will not pass.
    pub async fn next(&mut self) -> Option<Result<StatusSeen, Error>> {
        self.0.next().await
    }
}

impl Stream for Watch {
    type Item = Result<StatusSeen, Error>;

    fn poll_next(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        self.0.as_mut().poll_next(cx)
    }
}

impl std::fmt::Debug for Watch {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Watch(..)")
    }
}
