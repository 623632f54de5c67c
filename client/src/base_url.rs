//! Where the service is.

use crate::Error;
use url::{Host, Url};

/// Reads and checks a base URL. `/v1` at its end is dropped, because every path of a request begins with it.
pub(crate) fn checked_base_url(text: &str) -> Result<Url, Error> {
    // The text may hold a password, so the messages do not repeat it.
    let mut url = Url::parse(text.trim()).map_err(|e| {
        Error::setup(format!("the base URL is not an absolute URL such as https://eaves.example: {e}"))
    })?;
    if !matches!(url.scheme(), "http" | "https") || !url.has_host() {
        return Err(Error::setup("the base URL must begin with http:// or https://"));
    }
    if !url.username().is_empty() || url.password().is_some() {
        return Err(Error::setup("the base URL must not hold a user or password; give the key separately"));
    }
    if url.query().is_some() || url.fragment().is_some() {
        return Err(Error::setup("the base URL must not hold a query or fragment"));
    }
    let path = url.path().trim_end_matches('/');
    if let Some(before) = path.strip_suffix("/v1") {
        let before = before.to_owned();
        url.set_path(&before);
    }
    Ok(url)
}

/// Whether a URL leads to the machine that this program runs on.
pub(crate) fn is_this_machine(url: &Url) -> bool {
    match url.host() {
        Some(Host::Domain(name)) => name == "localhost" || name.ends_with(".localhost"),
        Some(Host::Ipv4(address)) => address.is_loopback(),
        Some(Host::Ipv6(address)) => address.is_loopback(),
        None => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn this_machine_is_asked_without_a_proxy() {
        for (url, here) in [
            ("http://127.0.0.1:8750", true),
            ("http://127.8.0.1", true),
            ("http://[::1]:8750/eaves", true),
            ("http://LOCALHOST:8750", true),
            ("http://eaves.localhost", true),
            ("https://eaves.example", false),
            ("https://localhost.example", false),
            ("http://10.0.0.7", false),
        ] {
            assert_eq!(is_this_machine(&checked_base_url(url).expect("a base URL")), here, "{url}");
        }
    }
}
