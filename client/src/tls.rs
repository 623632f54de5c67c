//! The TLS provider.

use crate::Error;

/// Installs `ring` as the TLS provider of this process, unless the program has installed one before.
#[cfg(feature = "tls-ring")]
#[expect(clippy::unnecessary_wraps, reason = "without `ring` it may fail")]
pub(crate) fn choose() -> Result<(), Error> {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        // An error means that a provider is already installed, which is fine.
        let _ = rustls::crypto::ring::default_provider().install_default();
    });
    Ok(())
}

/// Checks that the program has installed a TLS provider: without one, reqwest panics.
#[cfg(all(feature = "tls-rustls", not(feature = "tls-ring")))]
pub(crate) fn choose() -> Result<(), Error> {
    if rustls::crypto::CryptoProvider::get_default().is_none() {
        return Err(Error::setup(
            "no TLS provider is installed: install one in rustls, or use the feature `tls-ring`",
        ));
    }
    Ok(())
}

/// Leaves the choice to reqwest's features, which the program switches on by itself.
#[cfg(not(feature = "tls-rustls"))]
#[expect(clippy::unnecessary_wraps, reason = "with rustls it may fail")]
pub(crate) fn choose() -> Result<(), Error> {
    Ok(())
}

/// Trusts the CA certificates in a PEM text beside those of the machine.
#[cfg(feature = "tls-rustls")]
pub(crate) fn trust(http: reqwest::ClientBuilder, pem: &[u8]) -> Result<reqwest::ClientBuilder, Error> {
    let certificates = reqwest::Certificate::from_pem_bundle(pem)
        .map_err(|e| Error::setup(format!("the CA certificates cannot be read: {e}")))?;
    if certificates.is_empty() {
        return Err(Error::setup("the CA certificates hold no certificate in PEM form"));
    }
    Ok(http.tls_certs_merge(certificates))
}

/// Refuses CA certificates, which nothing would read.
#[cfg(not(feature = "tls-rustls"))]
pub(crate) fn trust(_: reqwest::ClientBuilder, _: &[u8]) -> Result<reqwest::ClientBuilder, Error> {
    Err(Error::setup(
        "CA certificates need the feature `tls-rustls` or `tls-ring`; or hand in a client that trusts them",
    ))
}
