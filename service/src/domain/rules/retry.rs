//! When a failed delivery is tried again: a pure function, so that tests can compare it with a table.

use chrono::{DateTime, TimeDelta, Utc};

/// The wait after the first attempt, seconds. Each further wait is three times as long. Judgement: that makes a
/// dozen attempts in two days, most of them in the first hours.
const FIRST_S: i64 = 10;

/// The longest wait. Judgement.
const LONGEST: TimeDelta = TimeDelta::hours(12);

/// The longest time without an attempt while a delivery waits: the longest wait with its random shift, and some
/// time for a busy service. Judgement.
pub const TRIED_AT_LEAST_EVERY: TimeDelta = TimeDelta::hours(15);

/// How long a delivery is tried after its first attempt. If a receiver fails for as long, deliveries that were not
/// tried are given up as well.
pub const TRIED_FOR: TimeDelta = TimeDelta::hours(48);

/// Failures in a row after which a receiver rests from all deliveries. Judgement.
const FAILURES_BEFORE_REST: u32 = 3;

/// The longest rest. Judgement: as long as a restart takes.
const LONGEST_REST_S: i64 = 300;

/// When to try again after this many attempts, if the last one ended now; `None` if the delivery is parked.
///
/// `spread` from 0 to 1 shifts the wait by up to a fifth of it, so that what failed together is not tried again
/// together. If the receiver asked for a longer wait (`Retry-After`), that counts.
pub fn retry_at(
    first_at: DateTime<Utc>,
    attempts: u32,
    now: DateTime<Utc>,
    asked: Option<TimeDelta>,
    spread: f64,
) -> Option<DateTime<Utc>> {
    let wait = FIRST_S.saturating_mul(3_i64.saturating_pow(attempts.saturating_sub(1).min(20)));
    let wait = TimeDelta::seconds(wait.min(LONGEST.num_seconds()));
    let shifted = TimeDelta::milliseconds((wait.num_milliseconds() as f64 * (0.8 + 0.4 * spread)) as i64);
    let wait = shifted.max(asked.unwrap_or_default().min(LONGEST));
    let at = now + wait;
    (at <= first_at + TRIED_FOR).then_some(at)
}

/// Until when a receiver rests if it asked for that. The statuses 429 and 503 concern all requests (RFC 6585, 4; RFC
/// 9110, 15.6.4), others only one delivery. A rest is no longer than the longest wait, so that delivery and
/// receiver are tried again together.
pub fn rest_asked_for(
    status: Option<u16>,
    asked: Option<TimeDelta>,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    let asked = asked.filter(|_| matches!(status, Some(429 | 503)))?;
    Some(now + asked.min(LONGEST))
}

/// Until when a receiver rests after this many failures in a row.
pub fn rest(failures: u32, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    let beyond = failures.checked_sub(FAILURES_BEFORE_REST)?;
    Some(now + TimeDelta::seconds((5_i64 << beyond.min(10)).min(LONGEST_REST_S)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_780_000_000 + seconds, 0).unwrap()
    }

    #[test]
    fn waits_grow_threefold_to_half_a_day_and_end_after_two() {
        let (mut now, mut waits) = (at(0), Vec::new());
        let mut attempts = 1;
        while let Some(next) = retry_at(at(0), attempts, now, None, 0.5) {
            waits.push((next - now).num_seconds());
            (now, attempts) = (next, attempts + 1);
        }
        assert_eq!(waits, [10, 30, 90, 270, 810, 2430, 7290, 21870, 43200, 43200, 43200]);
        assert!(
            now - at(0) > TRIED_FOR - LONGEST,
            "the last attempt comes in the second half of the second day"
        );
    }

    #[test]
    fn waits_are_spread_and_a_receiver_may_ask_for_longer_ones() {
        let wait = |asked, spread| (retry_at(at(0), 1, at(0), asked, spread).unwrap() - at(0)).num_seconds();
        assert_eq!((wait(None, 0.0), wait(None, 1.0)), (8, 12));
        assert_eq!(wait(Some(TimeDelta::seconds(90)), 0.0), 90);
        assert_eq!(wait(Some(TimeDelta::seconds(1)), 0.0), 8);
        assert_eq!(wait(Some(TimeDelta::days(9)), 0.0), LONGEST.num_seconds());
        assert_eq!(retry_at(at(0), u32::MAX, at(48 * 3600), None, 0.5), None);
    }

    #[test]
    fn a_receiver_rests_for_as_long_as_it_asks_up_to_half_a_day() {
        let rest = |status, asked: i64| {
            let until = rest_asked_for(Some(status), Some(TimeDelta::seconds(asked)), at(0));
            until.map(|until| (until - at(0)).num_seconds())
        };
        assert_eq!(
            [429, 503, 500, 413, 200].map(|status| rest(status, 90)),
            [Some(90), Some(90), None, None, None]
        );
        assert_eq!(rest(429, 86_400), Some(LONGEST.num_seconds()));
        assert_eq!((rest_asked_for(Some(429), None, at(0)), rest_asked_for(None, None, at(0))), (None, None));
    }

    #[test]
    fn a_receiver_rests_after_some_failures_in_a_row() {
        let rest = |failures| rest(failures, at(0)).map(|until| (until - at(0)).num_seconds());
        assert_eq!((0..3).map(rest).collect::<Vec<_>>(), [None; 3]);
        assert_eq!((3..6).map(rest).collect::<Vec<_>>(), [Some(5), Some(10), Some(20)]);
        assert_eq!(rest(u32::MAX), Some(300));
    }
}
