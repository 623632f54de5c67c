//! The cryptography library behind TLS.

use std::sync::Once;

/// Chooses `ring` for this process, unless another library was chosen before.
pub fn choose() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // An error means that a library was chosen before. That one is used.
        let _ = rustls::crypto::ring::default_provider().install_default();
    });
}
