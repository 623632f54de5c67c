//! How a call waits: on its own thread, or on another where a runtime has a claim on it.

use crate::Error;
use std::sync::Arc;
use std::thread;
use tokio::runtime::{Handle, Runtime};

/// What waits.
#[derive(Clone, Debug)]
pub(super) struct Waiter(Arc<OwnedRuntime>);

/// A runtime that may be let go anywhere; dropping it inside another one would panic.
#[derive(Debug)]
struct OwnedRuntime(Option<Runtime>);

impl Drop for OwnedRuntime {
    fn drop(&mut self) {
        if let Some(runtime) = self.0.take() {
            runtime.shutdown_background();
        }
    }
}

impl Waiter {
    pub(super) fn new(runtime: Runtime) -> Self {
        Self(Arc::new(OwnedRuntime(Some(runtime))))
    }

    /// Does what waits, on this thread if no runtime has a claim on it.
    pub(super) fn wait<T: Send>(&self, work: impl FnOnce(&Runtime) -> T + Send) -> Result<T, Error> {
        let Some(runtime) = &self.0.0 else { return Err(Error::unsendable("the runtime is gone")) };
        if Handle::try_current().is_err() {
            return Ok(work(runtime));
        }
        // What `spawn_blocking` runs is a task, what `block_on` runs is none.
        if tokio::task::try_id().is_none() {
            return Err(Error::unsendable(
                "a blocking call was made inside an async runtime, which it would stop; use eavesward_client::Client, or \
                 call from tokio::task::spawn_blocking",
            ));
        }
        on_another_thread(|| work(runtime))
    }
}

/// Does something on a further thread and waits for it, within the caller's span.
fn on_another_thread<T: Send>(work: impl FnOnce() -> T + Send) -> Result<T, Error> {
    let span = tracing::Span::current();
    thread::scope(|scope| {
        let thread = thread::Builder::new().spawn_scoped(scope, || span.in_scope(work));
        let thread =
            thread.map_err(|e| Error::setup(format!("no thread could be started to wait on: {e}")))?;
        // A panic goes on as if it had come up here.
        thread.join().map_err(|panic| std::panic::resume_unwind(panic))
    })
}
