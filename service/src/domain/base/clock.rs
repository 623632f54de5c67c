//! The only place that asks the machine for the time.

use chrono::{DateTime, Days, NaiveDate, SubsecRound, TimeDelta, Utc};
use chrono_tz::Tz;
use std::sync::Mutex;

/// The clocks of several replicas may differ by this much. An instant at which something was stored and that is
/// further ahead comes from a clock that was wrong: what was stored then counts as expired, or is computed again.
pub const MOST_AHEAD: TimeDelta = TimeDelta::seconds(30);

/// How long something takes on this machine, whatever its clock is set to. No forecast depends on it.
#[derive(Clone, Copy, Debug)]
pub struct Stopwatch(std::time::Instant);

impl Stopwatch {
    /// Starts now.
    pub fn start() -> Self {
        Self(std::time::Instant::now())
    }

    /// The time since its start.
    pub fn elapsed(self) -> std::time::Duration {
        self.0.elapsed()
    }
}

/// Where the time comes from. All other code receives the time as a value.
pub trait Clock: Send + Sync {
    /// The present instant, to the microsecond. Both databases keep microseconds, so what is read equals what was
    /// written.
    fn now(&self) -> DateTime<Utc>;
}

/// The machine's clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the only module that may ask for the time")]
    fn now(&self) -> DateTime<Utc> {
        Utc::now().trunc_subsecs(6)
    }
}

/// A clock that stands still until it is set. It is for tests, and for the demo, which runs on invented days.
#[derive(Debug)]
pub struct SetClock(Mutex<DateTime<Utc>>);

impl SetClock {
    /// A clock that shows `now`.
    pub fn new(now: DateTime<Utc>) -> Self {
        Self(Mutex::new(now.trunc_subsecs(6)))
    }

    /// Sets it, forwards or backwards.
    pub fn set(&self, now: DateTime<Utc>) {
        *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = now.trunc_subsecs(6);
    }
}

impl Clock for SetClock {
    fn now(&self) -> DateTime<Utc> {
        *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}

/// The latest civil date on earth, 14 hours ahead of UTC. A later day has not begun anywhere.
pub fn latest_date(now: DateTime<Utc>) -> NaiveDate {
    local_date(now, chrono_tz::Pacific::Kiritimati)
}

/// The civil date in a time zone.
pub fn local_date(now: DateTime<Utc>, zone: Tz) -> NaiveDate {
    now.with_timezone(&zone).date_naive()
}

/// The instant at which the civil day after `date` begins in a time zone.
pub fn end_of_day(date: NaiveDate, zone: Tz) -> DateTime<Utc> {
    start_of_day(date.succ_opt().unwrap_or(NaiveDate::MAX), zone)
}

/// The instant at which a civil day begins in a time zone.
///
/// If daylight saving skips midnight, the day begins at the first instant after the gap. If it repeats midnight,
/// the first one counts.
pub fn start_of_day(date: NaiveDate, zone: Tz) -> DateTime<Utc> {
    use chrono::TimeZone;
    let next = date.and_time(chrono::NaiveTime::MIN);
    // Gaps are never longer than a day. Steps of a quarter of an hour suit the rules of every zone.
    let mut wall = next;
    for _ in 0..=96 {
        if let Some(at) = zone.from_local_datetime(&wall).earliest() {
            return at.with_timezone(&Utc);
        }
        wall += chrono::TimeDelta::minutes(15);
    }
    next.and_utc()
}

/// The last day of this many days from now. It counts from the latest civil date on earth, so a week's list may
/// show a task a few hours early but never too late.
pub fn last_day(now: DateTime<Utc>, days: u64) -> Option<NaiveDate> {
    latest_date(now).checked_add_days(Days::new(days))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(y: i32, m: u32, d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(y, m, d).unwrap()
    }

    #[test]
    fn days_end_at_local_midnight_and_after_a_skipped_midnight() {
        let end = end_of_day(day(2026, 6, 1), chrono_tz::America::Los_Angeles);
        assert_eq!(end.to_rfc3339(), "2026-06-02T07:00:00+00:00");
        // Beirut moved from 00:00 to 01:00 on 27 March 2022 (tz database): that day began at 01:00 local, 22:00 UTC.
        let end = end_of_day(day(2022, 3, 26), chrono_tz::Asia::Beirut);
        assert_eq!(end.to_rfc3339(), "2022-03-26T22:00:00+00:00");
        assert_eq!(local_date(end, chrono_tz::Asia::Beirut), day(2022, 3, 27));
    }
}
