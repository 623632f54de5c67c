//! The cryptography behind TLS.

use std::sync::Once;

/// Installs `ring` as the TLS provider of this process, unless the program that uses the SDK has installed one.
pub(crate) fn choose() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // An error says that somebody else was faster, which is just as well.
        let _ = rustls::crypto::ring::default_provider().install_default();
    });
}
