//! Decides when a call is repeated, as a pure function.
//!
//! Nothing here reads a clock or draws a random number. The caller passes the elapsed time and the jitter, so that
//! every case can be tested.

use reqwest::Method;
use std::time::Duration;

/// How often and how long a call is repeated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct RetryPolicy {
    /// Attempts in all, including the first; 1 means no repetition. A POST with an idempotency key whose outcome is
    /// unclear may take more: it is repeated under its key until an answer tells, within the deadline.
    pub max_attempts: u32,
    /// Longest wait before the second attempt. It doubles with each further attempt.
    pub base: Duration,
    /// Longest wait that the client chooses itself.
    pub cap: Duration,
    /// Longest time for the whole call, attempts and waits together.
    pub deadline: Duration,
}

impl Default for RetryPolicy {
    /// Four attempts with waits of up to 0.2, 0.4 and 0.8 s, and at most 60 s in all.
    fn default() -> Self {
        Self {
            max_attempts: 4,
            base: Duration::from_millis(200),
            cap: Duration::from_secs(5),
            deadline: Duration::from_secs(60),
        }
    }
}

impl RetryPolicy {
    /// One attempt for each call. The deadline still applies.
    pub fn never() -> Self {
        Self::default().max_attempts(1)
    }

    /// Sets [`Self::max_attempts`].
    #[must_use]
    pub const fn max_attempts(self, max_attempts: u32) -> Self {
        Self { max_attempts, ..self }
    }

    /// Sets [`Self::base`].
    #[must_use]
    pub const fn base(self, base: Duration) -> Self {
        Self { base, ..self }
    }

    /// Sets [`Self::cap`].
    #[must_use]
    pub const fn cap(self, cap: Duration) -> Self {
        Self { cap, ..self }
    }

    /// Sets [`Self::deadline`].
    #[must_use]
    pub const fn deadline(self, deadline: Duration) -> Self {
        Self { deadline, ..self }
    }
}

/// How a failed attempt ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum AttemptFailure {
    /// The service answered with this status.
    #[non_exhaustive]
    Status {
        /// The HTTP status.
        status: u16,
        /// The wait that `Retry-After` asked for.
        retry_after: Option<Duration>,
        /// Whether the status is 409 because the first request with the same idempotency key is still running.
        in_progress: bool,
    },
    /// The client could not connect, so the service got nothing.
    Connect,
    /// The connection ended before the answer was complete. The service may have done the work.
    Interrupted,
    /// No complete answer arrived in time. The service may have done the work.
    Timeout,
    /// Any other failure, such as a request that could not be built. Repeating would not help.
    Fatal,
}

impl AttemptFailure {
    /// The service answered with this status and this wait in `Retry-After`.
    pub const fn status(status: u16, retry_after: Option<Duration>) -> Self {
        Self::Status { status, retry_after, in_progress: false }
    }

    /// Whether the service may have done the work although no success arrived.
    pub fn is_unclear(self) -> bool {
        match self {
            Self::Interrupted | Self::Timeout => true,
            Self::Status { status, in_progress, .. } => {
                matches!(status, 500 | 502..=504 | 507) || in_progress
            }
            Self::Connect | Self::Fatal => false,
        }
    }
}

/// The facts for the decision.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Situation<'a> {
    /// The method of the request.
    pub method: &'a Method,
    /// Whether the request carries an idempotency key.
    pub has_idempotency_key: bool,
    /// The number of the attempt that just ended, counted from 1.
    pub attempt: u32,
    /// How it ended.
    pub failure: AttemptFailure,
    /// Whether the service may have done the work in this or an earlier attempt.
    pub unclear: bool,
    /// Time since the call began.
    pub elapsed: Duration,
}

impl<'a> Situation<'a> {
    /// The first attempt of a request without an idempotency key, which ended at once.
    pub fn new(method: &'a Method, failure: AttemptFailure) -> Self {
        let (has_idempotency_key, unclear) = (false, failure.is_unclear());
        Self { method, has_idempotency_key, attempt: 1, failure, unclear, elapsed: Duration::ZERO }
    }
}

/// What to do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Decision {
    /// Wait this long, then send the same request again.
    RetryAfter(Duration),
    /// Report the error.
    GiveUp,
}

/// Decides whether a call is repeated.
///
/// `jitter` is a random number, at least 0 and below 1. Without `Retry-After` the longest wait is `min(cap, base *
/// 2^(attempt - 1))`. The client waits the share `jitter` of it (full jitter), so clients that were cut off
/// together do not return together.
///
/// With `Retry-After` the wait is what the service asked for, however long. If the wait would pass the deadline,
/// the client gives up at once.
///
/// A request with an idempotency key whose outcome is unclear is repeated until the deadline, beyond `max_attempts`
/// unless that is 1: the service does the work once, and its answer tells.
pub fn decide(policy: &RetryPolicy, situation: &Situation<'_>, jitter: f64) -> Decision {
    let (worth_it, retry_after) = match situation.failure {
        AttemptFailure::Connect | AttemptFailure::Interrupted | AttemptFailure::Timeout => (true, None),
        AttemptFailure::Status { status, retry_after, in_progress } => {
            (matches!(status, 429 | 502..=504 | 507) || (status == 409 && in_progress), retry_after)
        }
        AttemptFailure::Fatal => (false, None),
    };
    // What was refused unseen is safe to send again, whatever it was.
    let unseen = matches!(situation.failure, AttemptFailure::Status { status: 429, .. });
    let repeatable = match situation.method.as_str() {
        _ if unseen => true,
        "GET" | "HEAD" | "PUT" | "DELETE" => true,
        _ => situation.has_idempotency_key,
    };
    let until_clear = situation.unclear && situation.has_idempotency_key && policy.max_attempts > 1;
    if !worth_it || !repeatable || (situation.attempt >= policy.max_attempts && !until_clear) {
        return Decision::GiveUp;
    }
    let wait =
        retry_after.unwrap_or_else(|| backoff(policy, situation.attempt).mul_f64(jitter.clamp(0.0, 1.0)));
    match situation.elapsed.checked_add(wait) {
        Some(then) if then < policy.deadline => Decision::RetryAfter(wait),
        _ => Decision::GiveUp,
    }
}

fn backoff(policy: &RetryPolicy, attempt: u32) -> Duration {
    let doubled = 2_u32.checked_pow(attempt.saturating_sub(1)).and_then(|n| policy.base.checked_mul(n));
    doubled.unwrap_or(policy.cap).min(policy.cap)
}

/// Reads `Retry-After`: a number of seconds, or an HTTP date relative to the answer's own `Date`.
///
/// With `Date` as "now", a wrong clock on this machine does no harm. Without `Date`, an HTTP date is ignored. A
/// date in the past means no wait.
pub fn parse_retry_after(retry_after: &str, date: Option<&str>) -> Option<Duration> {
    let text = retry_after.trim();
    if !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) {
        // More digits than fit still mean "very long".
        return Some(Duration::from_secs(text.parse().unwrap_or(u64::MAX)));
    }
    let then = chrono::DateTime::parse_from_rfc2822(text).ok()?;
    let now = chrono::DateTime::parse_from_rfc2822(date?.trim()).ok()?;
    Some((then - now).to_std().unwrap_or(Duration::ZERO))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: fn(u64) -> Duration = Duration::from_millis;

    fn status(status: u16) -> AttemptFailure {
        AttemptFailure::Status { status, retry_after: None, in_progress: false }
    }

    fn check(
        method: &Method,
        key: bool,
        attempt: u32,
        failure: AttemptFailure,
        elapsed_ms: u64,
        want: Option<u64>,
    ) {
        let policy = RetryPolicy { max_attempts: 4, base: MS(100), cap: MS(300), deadline: MS(10_000) };
        let elapsed = MS(elapsed_ms);
        let situation =
            Situation { method, has_idempotency_key: key, attempt, failure, unclear: false, elapsed };
        let want = want.map_or(Decision::GiveUp, |ms| Decision::RetryAfter(MS(ms)));
        assert_eq!(decide(&policy, &situation, 0.5), want, "{situation:?}");
    }

    #[test]
    fn which_statuses_are_repeated() {
        for code in [429, 502, 503, 504, 507] {
            check(&Method::GET, false, 1, status(code), 0, Some(50));
        }
        for code in [301, 400, 401, 403, 404, 409, 412, 413, 422, 428, 500, 501] {
            check(&Method::GET, false, 1, status(code), 0, None);
        }
        for failure in [AttemptFailure::Connect, AttemptFailure::Timeout, AttemptFailure::Interrupted] {
            check(&Method::GET, false, 1, failure, 0, Some(50));
        }
        check(&Method::GET, false, 1, AttemptFailure::Fatal, 0, None);
    }

    #[test]
    fn which_methods_are_repeated() {
        check(&Method::PUT, false, 1, status(503), 0, Some(50));
        check(&Method::DELETE, false, 1, AttemptFailure::Timeout, 0, Some(50));
        check(&Method::POST, true, 1, AttemptFailure::Timeout, 0, Some(50));
        check(&Method::POST, false, 1, AttemptFailure::Timeout, 0, None);
        check(&Method::POST, false, 1, status(503), 0, None);
        check(&Method::PATCH, false, 1, status(503), 0, None);
        // Refused unseen.
        check(&Method::POST, false, 1, status(429), 0, Some(50));
        let running = AttemptFailure::Status { status: 409, retry_after: None, in_progress: true };
        check(&Method::POST, true, 1, running, 0, Some(50));
    }

    #[test]
    fn waits_double_up_to_the_cap_and_end() {
        check(&Method::GET, false, 2, status(503), 0, Some(100));
        check(&Method::GET, false, 3, status(503), 0, Some(150));
        check(&Method::GET, false, 4, status(503), 0, None);
        check(&Method::GET, false, 1, status(503), 9_949, Some(50));
        check(&Method::GET, false, 1, status(503), 9_950, None);
        // No overflow far out.
        let policy = RetryPolicy { max_attempts: u32::MAX, ..RetryPolicy::default() };
        assert_eq!(backoff(&policy, 4_000_000_000), policy.cap);
    }

    #[test]
    fn a_post_under_a_key_is_repeated_until_it_is_clear_or_the_deadline_passes() {
        let decided = |unclear, key, attempt, elapsed_ms, max_attempts| {
            let policy = RetryPolicy { max_attempts, base: MS(100), cap: MS(300), deadline: MS(10_000) };
            let situation = Situation {
                method: &Method::POST,
                has_idempotency_key: key,
                attempt,
                // The service is down for now, and an earlier attempt may have got through.
                failure: AttemptFailure::Connect,
                unclear,
                elapsed: MS(elapsed_ms),
            };
            decide(&policy, &situation, 0.5)
        };
        assert_eq!(decided(true, true, 40, 9_000, 4), Decision::RetryAfter(MS(150)));
        assert_eq!(decided(true, true, 40, 9_900, 4), Decision::GiveUp, "the deadline holds");
        assert_eq!(decided(false, true, 4, 0, 4), Decision::GiveUp, "nothing was done");
        assert_eq!(decided(true, false, 1, 0, 4), Decision::GiveUp, "it would be done twice");
        assert_eq!(decided(true, true, 1, 0, 1), Decision::GiveUp, "repetition is off");
    }

    #[test]
    fn jitter_spreads_over_the_whole_wait() {
        let policy = RetryPolicy::default();
        let situation = Situation {
            method: &Method::GET,
            has_idempotency_key: false,
            attempt: 1,
            failure: AttemptFailure::Connect,
            unclear: false,
            elapsed: Duration::ZERO,
        };
        assert_eq!(decide(&policy, &situation, 0.0), Decision::RetryAfter(Duration::ZERO));
        assert_eq!(decide(&policy, &situation, 1.0), Decision::RetryAfter(policy.base));
    }

    #[test]
    fn retry_after_wins_within_the_deadline() {
        let asked =
            |ms| AttemptFailure::Status { status: 503, retry_after: Some(MS(ms)), in_progress: false };
        check(&Method::GET, false, 1, asked(7_000), 0, Some(7_000));
        check(&Method::GET, false, 1, asked(0), 0, Some(0));
        check(&Method::GET, false, 1, asked(10_000), 0, None);
        check(&Method::GET, false, 1, asked(7_000), 4_000, None);
    }

    #[test]
    fn retry_after_is_read_in_both_forms() {
        let date = Some("Sun, 06 Nov 1994 08:49:37 GMT");
        assert_eq!(parse_retry_after("120", None), Some(Duration::from_secs(120)));
        assert_eq!(parse_retry_after(" 0 ", None), Some(Duration::ZERO));
        assert_eq!(parse_retry_after("Sun, 06 Nov 1994 08:50:07 GMT", date), Some(MS(30_000)));
        assert_eq!(parse_retry_after("Sun, 06 Nov 1994 08:49:00 GMT", date), Some(Duration::ZERO));
        assert_eq!(parse_retry_after("Sun, 06 Nov 1994 08:50:07 GMT", None), None);
        for nonsense in ["", "soon", "-5", "1.5"] {
            assert_eq!(parse_retry_after(nonsense, date), None, "{nonsense}");
        }
        assert_eq!(parse_retry_after("99999999999999999999999", None), Some(Duration::from_secs(u64::MAX)));
    }

    #[test]
    fn unclear_failures_are_those_after_which_the_work_may_be_done() {
        for code in [500, 502, 503, 504, 507] {
            assert!(status(code).is_unclear(), "{code}");
        }
        for code in [400, 409, 429] {
            assert!(!status(code).is_unclear(), "{code}");
        }
        assert!(AttemptFailure::Timeout.is_unclear() && AttemptFailure::Interrupted.is_unclear());
        assert!(!AttemptFailure::Connect.is_unclear());
        let running = AttemptFailure::Status { status: 409, retry_after: None, in_progress: true };
        assert!(running.is_unclear());
    }
}
