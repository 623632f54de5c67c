//! How the connections to the service are made.

use crate::base_url::is_this_machine;
use crate::{Error, tls};
use std::time::Duration;
use url::Url;

/// The longest time to connect when the program says nothing.
const CONNECT_TIMEOUT: Duration = Duration::from_secs(10);

/// What the program wishes for the connections.
pub(crate) struct Wishes {
    /// A client of the program's own, which is used as it is.
    pub http_client: Option<reqwest::Client>,
    pub ca_pem: Option<Vec<u8>>,
    pub proxy: Option<reqwest::Proxy>,
    pub connect_timeout: Option<Duration>,
}

impl Wishes {
    /// The client that makes the connections to a base URL.
    pub(crate) fn client(self, base_url: &Url) -> Result<reqwest::Client, Error> {
        let Self { http_client, ca_pem, proxy, connect_timeout } = self;
        if let Some(own) = http_client {
            if ca_pem.is_some() || proxy.is_some() || connect_timeout.is_some() {
                return Err(Error::setup(
                    "an HTTP client of your own brings its CA certificates, proxy and connect_timeout along: \
                     set them on that client",
                ));
            }
            return Ok(own);
        }
        tls::choose()?;
        let mut http = reqwest::Client::builder()
            .user_agent(concat!("eavesward-client/", env!("CARGO_PKG_VERSION")))
            .redirect(reqwest::redirect::Policy::none())
            .connect_timeout(connect_timeout.unwrap_or(CONNECT_TIMEOUT));
        if let Some(pem) = ca_pem {
            http = tls::trust(http, &pem)?;
        }
        if let Some(proxy) = proxy {
            http = http.proxy(proxy);
        } else if is_this_machine(base_url) {
            http = http.no_proxy();
        }
        http.build().map_err(|e| Error::setup(format!("the HTTP client could not be set up: {e}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Client;

    #[test]
    fn a_client_of_ones_own_is_not_changed() {
        let own = || reqwest::Client::new();
        let told = "set them on that client";
        let builder = || Client::builder().base_url("https://eaves.example").key("k");
        // What installs the provider that the clients below need.
        builder().build().expect("a client");
        let proxy = reqwest::Proxy::all("http://proxy.example").expect("a proxy");
        for refused in [
            builder().http_client(own()).ca_pem("-").build(),
            builder().http_client(own()).proxy(proxy).build(),
            builder().http_client(own()).connect_timeout(Duration::from_secs(1)).build(),
        ] {
            let error = refused.expect_err("two that say how to connect");
            assert!(error.is_usage() && error.to_string().contains(told), "{error}");
        }
        assert!(builder().http_client(own()).build().is_ok());
    }

    #[test]
    fn ca_certificates_that_are_none_are_refused() {
        for bad in ["", "a name", "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"] {
            let client = Client::builder().base_url("https://eaves.example").key("k").ca_pem(bad).build();
            assert!(client.expect_err(bad).is_usage(), "{bad}");
        }
    }
}
