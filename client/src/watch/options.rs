//! Options of watching: the last known status, and how long to wait between requests.

use crate::Error;
use bon::Builder;
use std::time::Duration;

/// Options of watching a status.
#[derive(Clone, Debug, PartialEq, Eq, Builder)]
#[non_exhaustive]
pub struct WatchOptions {
    /// The tag of the status that you know already, from [`StatusSeen::etag`](crate::StatusSeen::etag). That status
    /// is not repeated.
    #[builder(into)]
    pub known: Option<String>,
    /// The shortest wait between two requests, whatever the service says. 5 s by default.
    #[builder(default = Duration::from_secs(5))]
    pub at_least: Duration,
    /// The longest wait between two requests, whatever the service says, also after failures. 5 minutes by default.
    #[builder(default = Duration::from_secs(300))]
    pub at_most: Duration,
}

impl Default for WatchOptions {
    fn default() -> Self {
        Self::builder().build()
    }
}

impl WatchOptions {
    /// How long to wait before the next request. `max_age` is the service's own figure. `failures` counts the
    /// requests in a row that failed. `jitter` is a random number, at least 0 and below 1.
    ///
    /// Without failures the wait is `max_age`, kept within the two bounds. After failures it is `at_least`, doubled
    /// with each further failure, up to `at_most`.
    ///
    /// Up to a tenth is added at random, so that clients with the same expiry time do not all return at once.
    pub fn wait(&self, max_age: Option<Duration>, failures: u32, jitter: f64) -> Duration {
        let wait = match failures {
            0 => max_age.unwrap_or_default(),
            _ => self.at_least.saturating_mul(2_u32.saturating_pow(failures - 1)),
        };
        self.spread(wait, jitter)
    }

    /// How long to wait after an error. The wait grows with the failures and is no shorter than the service asked
    /// for, up to `at_most`.
    pub(crate) fn wait_after(&self, error: &Error, failures: u32, jitter: f64) -> Duration {
        let wait = self.wait(None, failures, jitter);
        error.retry_after().map_or(wait, |asked| wait.max(asked.min(self.at_most)))
    }

    /// A wait within the bounds plus up to a tenth more.
    pub(super) fn spread(&self, wait: Duration, jitter: f64) -> Duration {
        let wait = wait.min(self.at_most).max(self.at_least);
        wait.saturating_add((wait / 10).mul_f64(jitter.clamp(0.0, 1.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: fn(u64) -> Duration = Duration::from_secs;

    #[test]
    fn the_wait_is_what_the_service_said_within_bounds() {
        let options = WatchOptions::builder().at_least(S(5)).at_most(S(300)).build();
        for (max_age, failures, jitter, want) in [
            (Some(S(60)), 0, 0.0, S(60)),
            (Some(S(60)), 0, 1.0, S(66)),
            (Some(S(60)), 0, 0.5, S(63)),
            (Some(S(0)), 0, 0.0, S(5)),
            (None, 0, 0.0, S(5)),
            (Some(S(86_400)), 0, 0.0, S(300)),
            (Some(S(60)), 1, 0.0, S(5)),
            (None, 2, 0.0, S(10)),
            (None, 3, 0.0, S(20)),
            (None, 7, 0.0, S(300)),
            (None, u32::MAX, 1.0, S(330)),
        ] {
            assert_eq!(options.wait(max_age, failures, jitter), want, "{max_age:?} {failures} {jitter}");
        }
        // What the service asks for after a failure, within the bounds.
        for (asked, failures, want) in [
            (None, 1, S(5)),
            (Some(S(60)), 1, S(60)),
            (Some(S(2)), 1, S(5)),
            (Some(S(60)), 6, S(160)),
            (Some(S(86_400)), 1, S(300)),
        ] {
            let error = Error::contract("away").retry_after_set(asked);
            assert_eq!(options.wait_after(&error, failures, 0.0), want, "{asked:?} {failures}");
        }
        // If the bounds cross, `at_least` wins.
        let options = WatchOptions::builder().at_least(S(900)).at_most(S(300)).build();
        assert_eq!(options.wait(Some(S(1)), 0, 0.0), S(900));
    }
}
