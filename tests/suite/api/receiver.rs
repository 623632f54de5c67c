//! Somebody who is posted to: takes letters, checks their signatures by a foreign reading of the scheme, and misbehaves when
//! told to.

use crate::support::until;
use serde_json::Value;
use standardwebhooks::Webhook;
use std::net::{SocketAddr, TcpListener};
use std::sync::{Arc, Mutex};
use wiremock::matchers::any;
use wiremock::{Mock, MockServer, Request, Respond, ResponseTemplate};

/// One letter as it came.
#[derive(Clone, Debug)]
pub struct WebhookRequest {
    /// `webhook-id`.
    pub id: String,
    /// `webhook-timestamp`.
    pub timestamp: i64,
    /// `webhook-signature`.
    pub signature: String,
    /// `traceparent`, if traces are sent.
    pub traceparent: Option<String>,
    /// `content-type`.
    pub media_type: String,
    /// The body.
    pub body: String,
    /// What was answered.
    pub answered: u16,
}

impl WebhookRequest {
    /// The body as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).expect("JSON")
    }

    /// Whether somebody else's reading of the scheme finds it signed with a secret. That reads the machine's clock too, so
    /// the timestamp is looked at by itself.
    pub fn is_signed_with(&self, secret: &str) -> bool {
        let webhook = Webhook::new(secret).expect("a secret of the scheme");
        let signed = webhook.sign(&self.id, self.timestamp, self.body.as_bytes()).expect("a signature");
        self.signature.split(' ').any(|one| one == signed)
    }
}

/// An answer, and its status.
pub type Says = (u16, ResponseTemplate);

/// A bare answer.
pub fn says(status: u16) -> Says {
    (status, ResponseTemplate::new(status))
}

type Answer = Box<dyn Fn(usize) -> Says + Send + Sync>;

/// A receiver on this machine.
pub struct Receiver {
    letters: Arc<Mutex<Vec<WebhookRequest>>>,
    server: Option<MockServer>,
    address: SocketAddr,
}

struct Taking {
    letters: Arc<Mutex<Vec<WebhookRequest>>>,
    answer: Answer,
}

impl Respond for Taking {
    fn respond(&self, request: &Request) -> ResponseTemplate {
        let header = |name: &str| {
            let value = request.headers.get(name).unwrap_or_else(|| panic!("no {name}"));
            value.to_str().expect("text").to_owned()
        };
        let mut letters = self.letters.lock().expect("the letters");
        let (answered, response) = (self.answer)(letters.len());
        letters.push(WebhookRequest {
            id: header("webhook-id"),
            timestamp: header("webhook-timestamp").parse().expect("seconds"),
            signature: header("webhook-signature"),
            traceparent: request.headers.get("traceparent").map(|it| it.to_str().expect("text").to_owned()),
            media_type: header("content-type"),
            body: String::from_utf8(request.body.clone()).expect("text"),
            answered,
        });
        response
    }
}

impl Receiver {
    /// One that answers every letter the same way.
    pub async fn answering(status: u16) -> Self {
        Self::with(move |_| says(status)).await
    }

    /// One that answers by how many letters came before.
    pub async fn with(answer: impl Fn(usize) -> Says + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = listener.local_addr().expect("an address");
        let mut receiver = Self { letters: Arc::default(), server: None, address };
        receiver.listen(listener, answer).await;
        receiver
    }

    async fn listen(
        &mut self,
        listener: TcpListener,
        answer: impl Fn(usize) -> Says + Send + Sync + 'static,
    ) {
        let server = MockServer::builder().listener(listener).disable_request_recording().start().await;
        let taking = Taking { letters: Arc::clone(&self.letters), answer: Box::new(answer) };
        Mock::given(any()).respond_with(taking).mount(&server).await;
        self.server = Some(server);
    }

    /// Nobody listens any more.
    pub async fn die(&mut self) {
        self.server = None;
        // The port is free when the last connection is gone.
        let address = self.address;
        until("a closed port", async || tokio::net::TcpStream::connect(address).await.err()).await;
    }

    /// Listens again, at the same address.
    pub async fn rise(&mut self, answer: impl Fn(usize) -> Says + Send + Sync + 'static) {
        let address = self.address;
        let listener = until("a free port", async || TcpListener::bind(address).ok()).await;
        self.listen(listener, answer).await;
    }

    /// Where it is.
    pub fn url(&self) -> String {
        format!("http://{}/eaves", self.address)
    }

    /// What came so far.
    pub fn letters(&self) -> Vec<WebhookRequest> {
        self.letters.lock().expect("the letters").clone()
    }
}
