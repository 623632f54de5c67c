//! How the SDK reaches the service: over a proxy, with CA certificates of its own, and over a client that is handed in.

use super::{KEY, account, requests_of};
use eavesward_client::{Client, RetryPolicy, reqwest};
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::sync::Arc;
use wiremock::matchers::{header, method, path};
use wiremock::{Mock, MockServer, ResponseTemplate};

const CA: &str = include_str!("../../data/tls/ca.pem");
const CERTIFICATE: &[u8] = include_bytes!("../../data/tls/leaf.pem");
const KEY_OF_CERTIFICATE: &[u8] = include_bytes!("../../data/tls/leaf.key.pem");

#[tokio::test]
async fn a_proxy_that_is_named_is_used_even_for_this_machine() {
    let proxy = MockServer::start().await;
    Mock::given(path("/v1/account"))
        .respond_with(ResponseTemplate::new(200).set_body_json(account()))
        .expect(2)
        .mount(&proxy)
        .await;
    for base_url in ["http://eaves.example", "http://127.0.0.1:9"] {
        let way = reqwest::Proxy::all(proxy.uri()).expect("a proxy");
        let client = Client::builder().base_url(base_url).key(KEY).proxy(way).build().expect("a client");
        client.account().await.expect("an account, by way of the proxy");
    }
    let asked = requests_of(&proxy).await;
    let hosts: Vec<_> = asked.iter().filter_map(|request| request.headers.get("host")).collect();
    assert_eq!(hosts, ["eaves.example", "127.0.0.1:9"]);
}

#[tokio::test]
async fn a_client_of_ones_own_makes_the_calls() {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        .and(path("/v1/account"))
        .and(header("user-agent", "orchard-app/2"))
        .and(header("authorization", "Bearer eaves_test_key"))
        .respond_with(ResponseTemplate::new(200).set_body_json(account()))
        .expect(1)
        .mount(&server)
        .await;
    let own = crate::support::http_client().user_agent("orchard-app/2").no_proxy().build().expect("a client");
    let client = Client::builder().base_url(server.uri()).key(KEY).http_client(own).build();
    client.expect("a client").account().await.expect("an account");
}

/// Serves the account over TLS, with a certificate that no machine trusts by itself, to whoever comes.
fn serve_over_tls() -> u16 {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let certificate = CertificateDer::from_pem_slice(CERTIFICATE).expect("a certificate");
    let key = PrivateKeyDer::from_pem_slice(KEY_OF_CERTIFICATE).expect("its key");
    let config = rustls::ServerConfig::builder().with_no_client_auth();
    let config = Arc::new(config.with_single_cert(vec![certificate], key).expect("they belong together"));
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("an address").port();
    std::thread::spawn(move || {
        for socket in listener.incoming() {
            let connection = rustls::ServerConnection::new(Arc::clone(&config)).expect("a connection");
            let mut stream = BufReader::new(rustls::StreamOwned::new(connection, socket.expect("a caller")));
            // A caller who does not trust the certificate ends it here.
            let mut line = String::new();
            while stream.read_line(&mut line).is_ok_and(|read| read > 0) {
                if line == "\r\n" {
                    let body = account().to_string();
                    let head = "HTTP/1.1 200 OK\r\nconnection: close\r\ncontent-type: application/json";
                    let _ =
                        write!(stream.get_mut(), "{head}\r\ncontent-length: {}\r\n\r\n{body}", body.len());
                    stream.get_mut().conn.send_close_notify();
                    let _ = stream.get_mut().flush();
                    break;
                }
                line.clear();
            }
        }
    });
    port
}

#[tokio::test]
async fn ca_certificates_are_trusted_when_they_are_given_and_not_before() {
    let base_url = format!("https://localhost:{}", serve_over_tls());
    let builder = || Client::builder().base_url(base_url.as_str()).key(KEY).retry(RetryPolicy::never());
    let strict = builder().build().expect("a client");
    let error = strict.account().await.expect_err("nobody vouches for the certificate");
    assert!(error.is_connect(), "{error:?}");
    assert!(
        format!("{error:?}").contains("because: ") && format!("{error:?}").contains("certificate"),
        "{error:?}"
    );
    let trusting = builder().ca_pem(CA).build().expect("a client");
    assert_eq!(trusting.account().await.expect("an account").name, "Quince Terrace");
}
