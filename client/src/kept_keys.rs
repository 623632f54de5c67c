//! Idempotency keys that outlive the program.

use crate::Request;

/// Keeps the idempotency keys of POSTs until their outcome is known, where a later run of the program finds them.
///
/// A run may end before it knows whether the service did the work: the service was away for too long, or the program was
/// killed. If the next run sends the same request under the same key, the service completes or repeats its answer, and
/// does nothing twice. The service knows a key for 24 hours.
///
/// The command `eavesward` keeps them in files. A program that builds its requests from jobs of its own needs none of
/// this: it can set a key that it can find again ([`Request::idempotency_key`]).
pub trait KeptKeys: Send + Sync {
    /// The key for this request, which has none yet. It is the key that an earlier run left for the same request, or
    /// `new`, which has to be stored before this returns.
    fn begin(&self, request: &Request, new: String) -> String;

    /// The outcome of the request with this key is known: forget the key.
    fn settle(&self, key: &str);
}
