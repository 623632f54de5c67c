//! Blocking iterators.

use super::waiter::Waiter;
use crate::Error;
use eavesward_contract::Reminder;
use futures_util::stream::{BoxStream, StreamExt};
use std::fmt;

/// The items of a list or of a watch. Each step may wait for the service.
pub struct Items<T> {
    pub(super) stream: BoxStream<'static, Result<T, Error>>,
    pub(super) waiter: Waiter,
}

impl<T: Send> Iterator for Items<T> {
    type Item = Result<T, Error>;

    fn next(&mut self) -> Option<Self::Item> {
        let stream = &mut self.stream;
        self.waiter.wait(|runtime| runtime.block_on(stream.next())).unwrap_or_else(|error| Some(Err(error)))
    }
}

impl<T> fmt::Debug for Items<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Items(..)")
    }
}

/// The blocking version of [`crate::Follow`]: entries of the reminders' feed as they arrive.
#[derive(Debug)]
pub struct Follow {
    inner: crate::Follow,
    waiter: Waiter,
}

impl Follow {
    pub(super) fn new(inner: crate::Follow, waiter: &Waiter) -> Self {
        Self { inner, waiter: waiter.clone() }
    }

    /// Waits for [`crate::Follow::next`].
    #[expect(clippy::should_implement_trait, reason = "it has no end and is named as its async twin")]
    pub fn next(&mut self) -> Result<Reminder, Error> {
        let inner = &mut self.inner;
        self.waiter.wait(|runtime| runtime.block_on(inner.next()))?
    }

    /// Waits for [`crate::Follow::poll`].
    pub fn poll(&mut self) -> Result<Option<Reminder>, Error> {
        let inner = &mut self.inner;
        self.waiter.wait(|runtime| runtime.block_on(inner.poll()))?
    }

    /// See [`crate::Follow::cursor`].
    pub fn cursor(&self) -> Option<&str> {
        self.inner.cursor()
    }

    /// See [`crate::Follow::behind`].
    pub fn behind(&self) -> i64 {
        self.inner.behind()
    }
}
