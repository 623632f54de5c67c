//! Watching a status by polling.

use super::options::WatchOptions;
use super::stream::{StatusSeen, Watch};
use crate::client::jitter;
use crate::{Client, Error, requests};
use futures_util::stream;
use std::time::Duration;
use uuid::Uuid;

/// The answer to one request.
struct Polled {
    /// For how long no new request is worthwhile.
    max_age: Option<Duration>,
    /// The status, if it differs from the one before.
    seen: Option<StatusSeen>,
}

/// A watch that polls.
struct Poller {
    client: Client,
    system: Uuid,
    options: WatchOptions,
    known: Option<String>,
    wait: Duration,
    failures: u32,
    ended: bool,
}

pub(crate) fn poll(client: Client, system: Uuid, options: WatchOptions) -> Watch {
    let known = options.known.clone();
    let poller = Poller { client, system, options, known, wait: Duration::ZERO, failures: 0, ended: false };
    Watch::new(stream::unfold(poller, |mut poller| async move {
        while !poller.ended {
            tokio::time::sleep(poller.wait).await;
            if let Some(item) = poller.ask().await {
                return Some((item, poller));
            }
        }
        None
    }))
}

impl Poller {
    /// Asks once. `None` means that nothing changed.
    async fn ask(&mut self) -> Option<Result<StatusSeen, Error>> {
        match self.poll_once().await {
            Ok(Polled { max_age, seen }) => {
                self.failures = 0;
                self.wait = self.options.wait(max_age, 0, jitter());
                seen.map(Ok)
            }
            Err(error) => {
                self.failures = self.failures.saturating_add(1);
                self.ended = !error.is_transient();
                self.wait = self.options.wait_after(&error, self.failures, jitter());
                Some(Err(error))
            }
        }
    }

    async fn poll_once(&mut self) -> Result<Polled, Error> {
        let mut request = requests::system_status(self.system);
        if let Some(known) = &self.known {
            request = request.if_none_match(known)?;
        }
        let response = self.client.send(request).await?;
        if response.status() == 304 {
            return Ok(Polled { max_age: response.max_age(), seen: None });
        }
        let missing = || Error::contract("a status came without an entity tag");
        let etag = response.etag().ok_or_else(missing)?.to_owned();
        let seen = StatusSeen { status: response.json()?, etag: etag.clone() };
        // A proxy that ignores `If-None-Match` sends the known status again.
        let same = self.known.replace(etag) == Some(seen.etag.clone());
        Ok(Polled { max_age: response.max_age(), seen: (!same).then_some(seen) })
    }
}
