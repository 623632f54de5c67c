//! Runs long computations off the threads that serve requests.

use crate::domain::base::error::Result;

/// Runs a computation off the threads that serve requests.
pub(crate) async fn blocking<T: Send + 'static>(f: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    tokio::task::spawn_blocking(f)
        .await
        .unwrap_or_else(|failed| std::panic::resume_unwind(failed.into_panic()))
}
