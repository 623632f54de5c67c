//! One request as a plain value.

use crate::Error;
use eavesward_contract::LONGEST_IDEMPOTENCY_KEY;
use reqwest::Method;
use reqwest::header::{HeaderMap, HeaderName, HeaderValue, IF_MATCH, IF_NONE_MATCH};
use serde::Serialize;

/// The body of a request.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Body {
    /// Its media type.
    pub content_type: &'static str,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// One request: method, path, query, headers and body. Making it does no I/O; [`crate::Client::send`] sends it.
///
/// The request does not hold the bearer key, so it can be logged. The client adds the key when it sends the
/// request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request {
    method: Method,
    path: String,
    query: Vec<(String, String)>,
    headers: HeaderMap,
    body: Option<Body>,
}

impl Request {
    /// A request for a path below the base URL, such as `/v1/account`.
    ///
    /// The path must not hold query parameters; add them with [`Request::query`].
    pub fn new(method: Method, path: impl Into<String>) -> Self {
        Self { method, path: path.into(), query: Vec::new(), headers: HeaderMap::new(), body: None }
    }

    pub(crate) fn get(path: impl Into<String>) -> Self {
        Self::new(Method::GET, path)
    }

    pub(crate) fn post(path: impl Into<String>) -> Self {
        Self::new(Method::POST, path)
    }

    pub(crate) fn put(path: impl Into<String>) -> Self {
        Self::new(Method::PUT, path)
    }

    pub(crate) fn delete(path: impl Into<String>) -> Self {
        Self::new(Method::DELETE, path)
    }

    /// Adds a query parameter. It is percent-encoded when the request is sent.
    #[expect(clippy::needless_pass_by_value, reason = "ids, dates and numbers read better without `&`")]
    pub fn query(mut self, name: &str, value: impl ToString) -> Self {
        self.query.push((name.to_owned(), value.to_string()));
        self
    }

    /// Adds a query parameter if there is a value.
    pub fn query_some(self, name: &str, value: Option<impl ToString>) -> Self {
        match value {
            Some(value) => self.query(name, value),
            None => self,
        }
    }

    /// Sets a header. It is an error if the name or the value has characters that a header cannot hold.
    pub fn header(mut self, name: &str, value: &str) -> Result<Self, Error> {
        let bad = || Error::unsendable(format!("a header cannot hold `{name}: {value}`"));
        let name_parsed = HeaderName::try_from(name).map_err(|_| bad())?;
        let value_parsed = HeaderValue::try_from(value).map_err(|_| bad())?;
        self.headers.insert(name_parsed, value_parsed);
        Ok(self)
    }

    pub(crate) fn set_header(&mut self, name: HeaderName, value: HeaderValue) {
        self.headers.insert(name, value);
    }

    /// Makes an update conditional on the version that it was made from (`If-Match`).
    pub fn if_match(mut self, version: i64) -> Self {
        // A quoted integer is always a legal header value.
        if let Ok(value) = HeaderValue::try_from(format!("\"{version}\"")) {
            self.headers.insert(IF_MATCH, value);
        }
        self
    }

    /// Asks for 304 instead of a body if the entity tag is still current. The tag includes its quotes.
    pub fn if_none_match(self, etag: &str) -> Result<Self, Error> {
        self.header(IF_NONE_MATCH.as_str(), etag)
    }

    /// Sets the idempotency key of a POST: 1 to 200 visible ASCII characters.
    ///
    /// Otherwise the client gives every POST a new key. The service refuses a different request with the same key
    /// (`idempotency_mismatch`).
    pub fn idempotency_key(self, key: &str) -> Result<Self, Error> {
        if !(1..=LONGEST_IDEMPOTENCY_KEY).contains(&key.len()) || !key.bytes().all(|b| b.is_ascii_graphic()) {
            let told = format!(
                "an idempotency key has 1 to {LONGEST_IDEMPOTENCY_KEY} visible ASCII characters and no spaces"
            );
            return Err(Error::unsendable(format!("{told}; got {key:?}")));
        }
        self.header(IDEMPOTENCY_KEY, key)
    }

    /// Sets a JSON body. It is an error if the value cannot be written as JSON.
    pub fn json(mut self, value: &impl Serialize) -> Result<Self, Error> {
        let bytes = serde_json::to_vec(value)
            .map_err(|e| Error::unsendable(format!("the body cannot be written as JSON: {e}")))?;
        self.body = Some(Body { content_type: "application/json", bytes });
        Ok(self)
    }

    /// Sets a CSV body.
    pub fn csv(mut self, text: impl Into<Vec<u8>>) -> Self {
        self.body = Some(Body { content_type: "text/csv", bytes: text.into() });
        self
    }

    /// The method.
    pub fn method(&self) -> &Method {
        &self.method
    }

    /// The path below the base URL.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The query parameters in order, before encoding.
    pub fn query_pairs(&self) -> &[(String, String)] {
        &self.query
    }

    /// The headers set so far.
    pub fn headers(&self) -> &HeaderMap {
        &self.headers
    }

    /// The body.
    pub fn body(&self) -> Option<&Body> {
        self.body.as_ref()
    }

    /// The request in a few words for error messages: with ids and without possible secrets.
    pub(crate) fn label(&self) -> String {
        format!("{} {}", self.method, shown(&self.path))
    }

    /// The path with `{id}` for every id and `{duty}` for a duty. Use it to name and count requests.
    ///
    /// Any other part that is not a plain word becomes `{hidden}`, because it might be a secret.
    pub fn route(&self) -> String {
        let mut before = "";
        let parts = self.path.split('/').map(|part| {
            let shown = match before {
                "duties" => "{duty}",
                _ if is_plain(part) => part,
                _ if uuid::Uuid::try_parse(part).is_ok() => "{id}",
                _ => "{hidden}",
            };
            before = part;
            shown
        });
        parts.collect::<Vec<_>>().join("/")
    }

    pub(crate) fn has_idempotency_key(&self) -> bool {
        self.headers.contains_key(IDEMPOTENCY_KEY)
    }

    /// Whether the request changes something at the service.
    pub(crate) fn is_write(&self) -> bool {
        !matches!(self.method, Method::GET | Method::HEAD)
    }
}

/// Whether a part is a plain word of a path.
fn is_plain(part: &str) -> bool {
    part == "v1" || (part.len() <= 24 && part.bytes().all(|b| matches!(b, b'a'..=b'z' | b'-')))
}

/// A path for people. Plain words, duties and ids stay; the rest, such as the token of a calendar, becomes
/// `{hidden}`.
pub(crate) fn shown(path: &str) -> String {
    let is_duty = |part: &str| part.len() <= 40 && part.bytes().all(|b| matches!(b, b'a'..=b'z' | b'_'));
    let mut before = "";
    let parts = path.split('/').map(|part| {
        let open =
            is_plain(part) || uuid::Uuid::try_parse(part).is_ok() || (before == "duties" && is_duty(part));
        before = part;
        if open { part } else { "{hidden}" }
    });
    parts.collect::<Vec<_>>().join("/")
}

pub(crate) const IDEMPOTENCY_KEY: &str = "idempotency-key";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_version_is_sent_quoted() {
        let request = Request::put("/v1/x").if_match(3);
        assert_eq!(request.headers()[IF_MATCH], "\"3\"");
    }

    #[test]
    fn idempotency_keys_are_checked() {
        for bad in ["", "two words", "ümlaut", "line\nbreak", &"x".repeat(201)] {
            assert!(Request::post("/v1/x").idempotency_key(bad).is_err(), "{bad:?}");
        }
        let request =
            Request::post("/v1/x").idempotency_key(&"x".repeat(200)).expect("200 characters are allowed");
        assert!(request.has_idempotency_key());
    }

    #[test]
    fn absent_parameters_leave_no_trace() {
        let request = Request::get("/v1/x").query_some("a", None::<u32>).query_some("b", Some("ü &"));
        assert_eq!(request.query_pairs(), [("b".to_owned(), "ü &".to_owned())]);
    }

    #[test]
    fn a_route_names_no_id_and_no_secret() {
        let id = "01930000-0000-7000-8000-000000000001";
        for (path, route) in [
            ("/v1/account".to_owned(), "/v1/account"),
            (format!("/v1/systems/{id}/status/events"), "/v1/systems/{id}/status/events"),
            ("/v1/duties/clean_screen".to_owned(), "/v1/duties/{duty}"),
            ("/v1/duties".to_owned(), "/v1/duties"),
            (format!("/v1/tasks/{id}"), "/v1/tasks/{id}"),
            ("/v1/feeds/fR9x2LQ_7-kz.ics".to_owned(), "/v1/feeds/{hidden}"),
            ("/v1/x?key=secret".to_owned(), "/v1/{hidden}"),
        ] {
            assert_eq!(Request::get(path).route(), route);
        }
    }

    #[test]
    fn a_label_has_ids_and_no_secret() {
        let id = "01930000-0000-7000-8000-000000000001";
        for (path, label) in [
            (format!("/v1/systems/{id}/status"), format!("GET /v1/systems/{id}/status")),
            ("/v1/duties/clean_screen".to_owned(), "GET /v1/duties/clean_screen".to_owned()),
            ("/calendars/ewc_s3cretTOKEN.ics".to_owned(), "GET /calendars/{hidden}".to_owned()),
            ("calendars/ewc_s3cretTOKEN.ics".to_owned(), "GET calendars/{hidden}".to_owned()),
            ("/v1/x?key=s3cret".to_owned(), "GET /v1/{hidden}".to_owned()),
        ] {
            assert_eq!(Request::get(path).label(), label);
        }
    }

    #[test]
    fn a_header_with_a_line_break_is_refused() {
        assert!(Request::get("/v1/x").if_none_match("\"a\"\r\nX-Other: 1").is_err());
    }
}
