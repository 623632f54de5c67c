//! What the tests share.

pub mod app;
pub mod postgres;
pub mod python;

/// A client of the tests' own, which asks this machine and never a proxy.
pub fn http_client() -> reqwest::ClientBuilder {
    // An error says that the service in this process, or another test, was faster.
    let _ = rustls::crypto::ring::default_provider().install_default();
    reqwest::Client::builder().no_proxy()
}
