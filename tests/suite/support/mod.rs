//! What the tests share.

pub mod app;
pub mod newer;
pub mod postgres;
pub mod python;
pub mod served;

/// A client of the tests' own, which asks this machine and never a proxy.
pub fn http_client() -> reqwest::ClientBuilder {
    // An error says that the service in this process, or another test, was faster.
    let _ = rustls::crypto::ring::default_provider().install_default();
    reqwest::Client::builder().no_proxy()
}

/// The key that encrypts secrets in tests: rows are then the same each time.
pub const SECRETS_KEY: &str = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=";

/// Tries again until something is found. It gives up after two minutes, so that no test hangs.
pub async fn until<T>(awaited: &str, mut attempt: impl AsyncFnMut() -> Option<T>) -> T {
    let began = std::time::Instant::now();
    loop {
        if let Some(found) = attempt().await {
            return found;
        }
        assert!(began.elapsed() < std::time::Duration::from_mins(2), "waited in vain for {awaited}");
        tokio::time::sleep(std::time::Duration::from_millis(5)).await;
    }
}

/// A day such as `2026-03-01` as sentences write it.
pub fn day_in_words(day: &str) -> String {
    let day: chrono::NaiveDate = day.parse().expect("a day");
    day.format("%-d %B %Y").to_string()
}
