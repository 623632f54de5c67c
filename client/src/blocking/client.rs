//! The blocking client.

use super::waiter::Waiter;
use crate::{DigestFormat, DigestQuery, Error, Request, Response};
use eavesward_contract::{Account, Digest, ForecastRequest, SystemForecast};
use std::fmt;
use tokio::runtime::Builder;

/// A blocking client: each call waits for its answer. Clones are cheap and share the connections, and threads may
/// share one client.
#[derive(Clone)]
pub struct Client {
    pub(super) inner: crate::Client,
    pub(super) waiter: Waiter,
}

impl Client {
    /// Makes a blocking client from an async one.
    ///
    /// # Errors
    /// The machine cannot start the runtime that the client waits on.
    pub fn new(client: crate::Client) -> Result<Self, Error> {
        let runtime = Builder::new_current_thread().enable_all().build();
        let runtime = runtime.map_err(|e| Error::setup(format!("the runtime could not be started: {e}")))?;
        Ok(Self { inner: client, waiter: Waiter::new(runtime) })
    }

    /// Waits for any work with the async client. Use it for calls that have no blocking method.
    pub fn wait<T: Send>(
        &self,
        call: impl AsyncFnOnce(&crate::Client) -> Result<T, Error> + Send,
    ) -> Result<T, Error> {
        self.waiter.wait(|runtime| runtime.block_on(call(&self.inner)))?
    }

    /// Waits for [`crate::Client::send`].
    pub fn send(&self, request: Request) -> Result<Response, Error> {
        self.wait(async |client| client.send(request).await)
    }

    /// Waits for [`crate::Client::account`].
    pub fn account(&self) -> Result<Account, Error> {
        self.wait(async |client| client.account().await)
    }

    /// Waits for [`crate::Client::forecast`].
    pub fn forecast(&self, request: &ForecastRequest) -> Result<SystemForecast, Error> {
        self.wait(async |client| client.forecast(request).await)
    }

    /// Waits for [`crate::Client::digest`].
    pub fn digest(&self, query: &DigestQuery) -> Result<Digest, Error> {
        self.wait(async |client| client.digest(query).await)
    }

    /// Waits for [`crate::Client::digest_as`].
    pub fn digest_as(&self, query: &DigestQuery, format: DigestFormat) -> Result<String, Error> {
        self.wait(async |client| client.digest_as(query, format).await)
    }
}

impl fmt::Debug for Client {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.inner, f)
    }
}
