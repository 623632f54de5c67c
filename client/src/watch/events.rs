//! Reads server-sent events (HTML standard, section 9.2) and reconnects where the stream broke off.

use super::options::WatchOptions;
use super::stream::{StatusSeen, Watch};
use crate::client::jitter;
use crate::response::decode;
use crate::{Client, Error, requests};
use futures_util::stream;
use std::collections::VecDeque;
use std::time::Duration;
use uuid::Uuid;

/// Silence after which a connection counts as dead: three heartbeats of the service.
const SILENCE: Duration = Duration::from_secs(45);
/// The most bytes of one event. A status has fewer than 2,000.
const MOST_BYTES: usize = 256 * 1024;

/// One event.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Event {
    name: String,
    id: Option<String>,
    data: String,
}

/// Splits bytes into events.
#[derive(Debug, Default)]
struct Parser {
    /// Bytes of a line whose end has not arrived.
    rest: Vec<u8>,
    /// Whether the last byte was a carriage return. A line feed after it belongs to the same line end.
    after_return: bool,
    event: Event,
    has_data: bool,
    last_id: Option<String>,
    retry: Option<Duration>,
    events: VecDeque<Event>,
}

impl Parser {
    /// Takes some bytes. It is an error if an event exceeds [`MOST_BYTES`].
    fn push(&mut self, bytes: &[u8]) -> Result<(), Error> {
        for byte in bytes {
            let after_return = std::mem::replace(&mut self.after_return, *byte == b'\r');
            match byte {
                b'\n' if after_return => {}
                b'\n' | b'\r' => {
                    let line = std::mem::take(&mut self.rest);
                    self.line(&String::from_utf8_lossy(&line));
                }
                other => self.rest.push(*other),
            }
        }
        if self.rest.len() + self.event.data.len() > MOST_BYTES {
            return Err(Error::contract("an event of the stream is too long"));
        }
        Ok(())
    }

    fn line(&mut self, line: &str) {
        if line.is_empty() {
            let event = std::mem::take(&mut self.event);
            if std::mem::take(&mut self.has_data) {
                self.events.push_back(Event { id: self.last_id.clone(), ..event });
            }
            return;
        }
        let (field, value) = line.split_once(':').unwrap_or((line, ""));
        let value = value.strip_prefix(' ').unwrap_or(value);
        match field {
            "event" => value.clone_into(&mut self.event.name),
            "data" => {
                if self.has_data {
                    self.event.data.push('\n');
                }
                self.event.data.push_str(value);
                self.has_data = true;
            }
            "id" if !value.contains('\0') => self.last_id = Some(value.to_owned()),
            "retry" if !value.is_empty() && value.bytes().all(|b| b.is_ascii_digit()) => {
                self.retry = value.parse().ok().map(Duration::from_millis);
            }
            // A comment, or a field of a newer standard.
            _ => {}
        }
    }
}

/// A watch that stays connected.
struct Connected {
    client: Client,
    system: Uuid,
    options: WatchOptions,
    known: Option<String>,
    open: Option<(reqwest::Response, Parser)>,
    retry: Duration,
    failures: u32,
    wait: Duration,
    ended: bool,
}

pub(crate) fn follow(client: Client, system: Uuid, options: WatchOptions) -> Watch {
    let connected = Connected {
        client,
        system,
        known: options.known.clone(),
        open: None,
        retry: options.at_least,
        options,
        failures: 0,
        wait: Duration::ZERO,
        ended: false,
    };
    Watch::new(stream::unfold(connected, |mut connected| async move {
        while !connected.ended {
            match connected.step().await {
                Ok(None) => {}
                Ok(Some(seen)) => return Some((Ok(seen), connected)),
                Err(error) => {
                    connected.failed(&error);
                    return Some((Err(error), connected));
                }
            }
        }
        None
    }))
}

impl Connected {
    /// Connects or reads on. `None` means that there is nothing to report yet.
    async fn step(&mut self) -> Result<Option<StatusSeen>, Error> {
        let Some((response, parser)) = &mut self.open else {
            tokio::time::sleep(self.wait).await;
            let request = requests::system_status_events(self.system, self.known.as_deref())?;
            self.open = Some((self.client.open(&request).await?, Parser::default()));
            return Ok(None);
        };
        if let Some(event) = parser.events.pop_front() {
            return self.told(event);
        }
        if let Ok(Ok(Some(bytes))) = tokio::time::timeout(SILENCE, response.chunk()).await {
            // Any bytes show that the service answers again, even if no new status follows.
            self.failures = 0;
            parser.push(&bytes)?;
            self.retry = parser.retry.unwrap_or(self.retry);
        } else {
            // The service or a proxy ended the connection, or it was silent too long. Connect again from the last
            // known status.
            self.open = None;
            self.wait = self.options.spread(self.retry, jitter());
        }
        Ok(None)
    }

    fn told(&mut self, event: Event) -> Result<Option<StatusSeen>, Error> {
        if event.name != "status" {
            return Ok(None);
        }
        let etag = event.id.ok_or_else(|| Error::contract("a status came without an id"))?;
        let status = decode(event.data.as_bytes()).map_err(Error::new)?;
        let same = self.known.replace(etag.clone()) == Some(etag.clone());
        Ok((!same).then_some(StatusSeen { status, etag }))
    }

    fn failed(&mut self, error: &Error) {
        self.open = None;
        self.failures = self.failures.saturating_add(1);
        self.ended = !error.is_transient();
        self.wait = self.options.wait_after(error, self.failures, jitter());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(name: &str, id: Option<&str>, data: &str) -> Event {
        Event { name: name.to_owned(), id: id.map(str::to_owned), data: data.to_owned() }
    }

    fn check(text: &str, want: &[Event], retry: Option<u64>) {
        // However the bytes are cut.
        for size in [1, 2, 3, 7, text.len().max(1)] {
            let mut parser = Parser::default();
            text.as_bytes().chunks(size).for_each(|piece| parser.push(piece).expect("small"));
            assert_eq!(Vec::from(parser.events), want, "{text:?} by {size}");
            assert_eq!(parser.retry, retry.map(Duration::from_millis), "{text:?}");
        }
    }

    #[test]
    fn events_are_read_as_the_standard_has_them() {
        check("", &[], None);
        check("retry: 5000\n\n", &[], Some(5000));
        check("retry: soon\n\n", &[], None);
        check(": nothing new\n\n", &[], None);
        let one = event("status", Some("\"t\""), "{\"a\":1}");
        check("event: status\nid: \"t\"\ndata: {\"a\":1}\n\n", std::slice::from_ref(&one), None);
        check("event:status\r\nid:\"t\"\r\ndata:{\"a\":1}\r\n\r\n", std::slice::from_ref(&one), None);
        check("event: status\rid: \"t\"\rdata: {\"a\":1}\r\r", std::slice::from_ref(&one), None);
        // Not dispatched: no data, or no end.
        check("event: status\nid: 7\n\ndata: x\n", &[], None);
        // The id stays until there is another; the name does not.
        check(
            "id: 7\ndata: a\n\nevent: b\ndata\ndata: \u{fc}\n\n",
            &[event("", Some("7"), "a"), event("b", Some("7"), "\n\u{fc}")],
            None,
        );
        check("unheard: of\ndata:  two blanks\n\n", &[event("", None, " two blanks")], None);
    }

    #[test]
    fn an_event_without_end_is_an_error_and_no_flood() {
        let mut parser = Parser::default();
        let piece = [b'x'; 1024];
        assert!((0..300).any(|_| parser.push(&piece).is_err()), "a line without end");
        let mut parser = Parser::default();
        assert!((0..300).any(|_| parser.push(&[b"data: ".as_slice(), &piece, b"\n"].concat()).is_err()));
    }
}
