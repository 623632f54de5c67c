//! Long computations: they run off the threads that serve requests, and a panic in them becomes an error of its
//! own.

use crate::domain::base::error::{Error, Result};
use std::any::Any;
use std::panic::{AssertUnwindSafe, catch_unwind};
use tokio::task::JoinError;

/// Runs a computation off the threads that serve requests.
///
/// # Errors
/// Those of the computation, and [`Error::Panicked`].
pub(crate) async fn blocking<T: Send + 'static>(f: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    joined(tokio::task::spawn_blocking(f).await)
}

/// What a task returned that ran by itself.
///
/// # Errors
/// Those of the task, and [`Error::Panicked`].
pub(crate) fn joined<T>(done: std::result::Result<Result<T>, JoinError>) -> Result<T> {
    done.unwrap_or_else(|failed| {
        // Only the end of the runtime cancels the task.
        let ended = |_| Err(Error::Panicked("the runtime ended".to_owned()));
        failed.try_into_panic().map_or_else(ended, |payload| Err(panicked(payload.as_ref())))
    })
}

/// Runs a computation here. A defect that shows with one system's figures must not stop a loop over many systems.
///
/// # Errors
/// Those of the computation, and [`Error::Panicked`].
pub(crate) fn caught<T>(f: impl FnOnce() -> Result<T>) -> Result<T> {
    catch_unwind(AssertUnwindSafe(f)).unwrap_or_else(|payload| Err(panicked(payload.as_ref())))
}

/// The error of a panic.
pub(crate) fn panicked(payload: &(dyn Any + Send)) -> Error {
    let text = payload.downcast_ref::<&str>().map(|text| (*text).to_owned());
    let text = text.or_else(|| payload.downcast_ref::<String>().cloned());
    Error::Panicked(text.unwrap_or_else(|| "without a message".to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_panic_is_an_error_that_keeps_its_message() {
        fn fails(number: u32) -> Result<u32> {
            assert!(number != 7, "seven of {number}");
            if number == 8 { Err(Error::BadCursor) } else { Ok(number) }
        }
        assert!(matches!(caught(|| fails(7)), Err(Error::Panicked(text)) if text == "seven of 7"));
        assert!(matches!(caught(|| fails(8)), Err(Error::BadCursor)));
        assert_eq!(caught(|| fails(9)).unwrap(), 9);
        assert!(matches!(blocking(|| fails(7)).await, Err(Error::Panicked(text)) if text == "seven of 7"));
        let fixed = caught(|| -> Result<()> { panic!("fixed text") });
        assert!(matches!(fixed, Err(Error::Panicked(text)) if text == "fixed text"));
    }
}
