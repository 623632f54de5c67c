//! How a call waits: on its own thread, or on another thread if its own belongs to a runtime.

use crate::Error;
use std::sync::Arc;
use std::thread;
use tokio::runtime::{Handle, Runtime};

/// Waits for calls; clones share one runtime.
#[derive(Clone, Debug)]
pub(super) struct Waiter(Arc<OwnedRuntime>);

/// A runtime that may be dropped anywhere. A plain runtime panics when it is dropped inside another one.
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

    /// Runs the work and waits for it, on this thread unless the thread belongs to a runtime.
    pub(super) fn wait<T: Send>(&self, work: impl FnOnce(&Runtime) -> T + Send) -> Result<T, Error> {
        let Some(runtime) = &self.0.0 else { return Err(Error::unsendable("the runtime is gone")) };
        if Handle::try_current().is_err() {
            return Ok(work(runtime));
        }
        // Code in `spawn_blocking` runs in a task, code in `block_on` does not.
        if tokio::task::try_id().is_none() {
            return Err(Error::unsendable(
                "a blocking call inside an async runtime would stop the runtime; use eavesward_client::Client, or call \
                 from tokio::task::spawn_blocking",
            ));
        }
        on_another_thread(|| work(runtime))
    }
}

/// Runs the work on another thread and waits for it, within the caller's span.
fn on_another_thread<T: Send>(work: impl FnOnce() -> T + Send) -> Result<T, Error> {
    let span = tracing::Span::current();
    thread::scope(|scope| {
        let thread = thread::Builder::new().spawn_scoped(scope, || span.in_scope(work));
        let thread =
            thread.map_err(|e| Error::setup(format!("the thread that waits could not be started: {e}")))?;
        // Pass a panic on to the caller.
        thread.join().map_err(|panic| std::panic::resume_unwind(panic))
    })
}
