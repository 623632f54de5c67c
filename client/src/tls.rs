//! The TLS provider.

use std::sync::Once;

/// Installs `ring` as the TLS provider of this process, unless the program has installed one before.
pub(crate) fn choose() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // An error means that a provider is already installed, which is fine.
        let _ = rustls::crypto::ring::default_provider().install_default();
    });
}
