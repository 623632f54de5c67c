//! The cryptography behind TLS.

use std::sync::Once;

/// Chooses `ring` for this process, unless the program around it has chosen already.
pub fn choose() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        // An error says that somebody else was faster, which is just as well.
        let _ = rustls::crypto::ring::default_provider().install_default();
    });
}
