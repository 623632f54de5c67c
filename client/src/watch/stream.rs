//! The stream of statuses, for both ways of watching.

use crate::Error;
use eavesward_contract::SystemStatus;
use futures_util::stream::{BoxStream, Stream, StreamExt};
use std::pin::Pin;
use std::task::{Context, Poll};

/// A status that differs from the one before.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct StatusSeen {
    /// The status.
    pub status: SystemStatus,
    /// Its tag. Store it to continue from here after a restart.
    pub etag: String,
}

/// A stream of statuses: one item for each change, for as long as you read it.
///
/// A failure that may pass, such as a lost connection, is an error item, and watching goes on. A failure that will
/// not pass, such as a revoked key, is the last item. Drop the stream to stop watching.
pub struct Watch(BoxStream<'static, Result<StatusSeen, Error>>);

impl Watch {
    pub(crate) fn new(stream: impl Stream<Item = Result<StatusSeen, Error>> + Send + 'static) -> Self {
        Self(stream.boxed())
    }

    /// Waits for the next change. `None` follows an error that will not pass.
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
