//! Times of day that repeat: five-field crontab expressions in local time.
//!
//! An expression is first stepped through civil time, which has no gaps and no repeats. Then each time is mapped to
//! the clock of a zone:
//! - A time that the clock skips in spring comes at the first instant after the gap.
//! - A time that comes twice in autumn counts the first time.
//! - Several times that fall on one instant count once.
//!
//! So a schedule never skips a day and never fires twice. If both days of the month and days of the week are given,
//! either is enough, as in crontab. `0 7 1 * 1` is every Monday and the first of each month.

use crate::domain::base::plural::counted;
use chrono::{DateTime, Days, NaiveDateTime, TimeDelta, TimeZone as _, Utc};
use chrono_tz::Tz;
use cron::Schedule as Stepped;
use std::str::FromStr as _;

/// Days of the week as crontab numbers them, from 0. Sunday is also 7.
const WEEKDAYS: [&str; 7] = ["SUN", "MON", "TUE", "WED", "THU", "FRI", "SAT"];

/// How far ahead the next time may be. 29 February comes every four years until 2100, where the stepping ends.
const HORIZON_DAYS: u64 = 366 * 5;

/// The longest expression, characters. Judgement: a list of every minute of an hour fits.
pub const MAX_LENGTH: usize = 200;

/// A five-field crontab expression.
#[derive(Clone, Debug)]
pub struct Schedule {
    text: String,
    /// One expression, or two whose times are joined.
    stepped: Vec<Stepped>,
}

impl PartialEq for Schedule {
    fn eq(&self, other: &Self) -> bool {
        self.text == other.text
    }
}

impl Schedule {
    /// Reads an expression: minute, hour, day of the month, month, day of the week.
    ///
    /// # Errors
    /// A sentence that names the field and says what it may be.
    pub fn parse(text: &str) -> Result<Self, String> {
        if text.len() > MAX_LENGTH {
            return Err(format!("it is longer than {MAX_LENGTH} characters"));
        }
        let fields: Vec<&str> = text.split_ascii_whitespace().collect();
        let &[minute, hour, day, month, weekday] = fields.as_slice() else {
            return Err(format!(
                "it has {}; give five: minute, hour, day of the month, month, day of the week, such as \
                 `0 7 * * 1` for Mondays at seven",
                counted(fields.len() as u64, "field", "fields")
            ));
        };
        let minutes = listed(&numbers("minute", minute, 0, 59, &[])?, 60, u32::to_string);
        let hours = listed(&numbers("hour", hour, 0, 23, &[])?, 24, u32::to_string);
        let days = listed(&numbers("day of the month", day, 1, 31, &[])?, 31, u32::to_string);
        let months = listed(&numbers("month", month, 1, 12, &MONTHS)?, 12, u32::to_string);
        let mut weekdays = numbers("day of the week", weekday, 0, 7, &WEEKDAYS)?;
        for number in &mut weekdays {
            *number %= 7;
        }
        weekdays.sort_unstable();
        weekdays.dedup();
        let weekdays = listed(&weekdays, 7, |number| WEEKDAYS[*number as usize].to_owned());
        // As in crontab, a field that begins with a star does not restrict the days.
        let restricted = !day.starts_with('*') && !weekday.starts_with('*');
        let lines = if restricted {
            vec![(days.as_str(), "*"), ("*", weekdays.as_str())]
        } else {
            vec![(days.as_str(), weekdays.as_str())]
        };
        let read = lines.into_iter().map(|(days, weekdays)| {
            Stepped::from_str(&format!("0 {minutes} {hours} {days} {months} {weekdays}"))
        });
        // The fields consist of valid numbers, so nothing can be refused here. If something were, the schedule
        // would have no times, and the caller would be told so.
        let stepped = read.collect::<Result<_, _>>().unwrap_or_default();
        Ok(Self { text: fields.join(" "), stepped })
    }

    /// The expression, with single spaces.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The first time after an instant, on the clock of a zone. None if no time comes within five years, as for 30
    /// February.
    pub fn next(&self, after: DateTime<Utc>, zone: Tz) -> Option<DateTime<Utc>> {
        // Local time, handled as UTC because UTC has no gaps.
        let mut wall = after.with_timezone(&zone).naive_local();
        let end = wall.checked_add_days(Days::new(HORIZON_DAYS))?;
        loop {
            let next = |stepped: &Stepped| stepped.after(&wall.and_utc()).next();
            wall = self.stepped.iter().filter_map(next).min()?.naive_utc();
            if wall > end {
                return None;
            }
            // Times of the second pass through a repeated hour map to the first pass, which is over.
            if let Some(at) = on_clock(wall, zone).filter(|at| *at > after) {
                return Some(at);
            }
        }
    }

    /// The next times after an instant.
    pub fn upcoming(&self, after: DateTime<Utc>, zone: Tz, count: usize) -> Vec<DateTime<Utc>> {
        let mut times = Vec::with_capacity(count);
        let mut last = after;
        while times.len() < count {
            let Some(at) = self.next(last, zone) else { break };
            times.push(at);
            last = at;
        }
        times
    }
}

/// Months, January first.
const MONTHS: [&str; 12] =
    ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"];

/// The instant of a civil time. A repeated time means the first one, a skipped time the first instant after the
/// gap.
fn on_clock(wall: NaiveDateTime, zone: Tz) -> Option<DateTime<Utc>> {
    if let Some(at) = zone.from_local_datetime(&wall).earliest() {
        return Some(at.with_timezone(&Utc));
    }
    // Gaps begin and end on whole minutes. They last at most a day, which a zone skips when it changes sides of the
    // date line.
    (1..=24 * 60 + 1).find_map(|minutes| {
        let later = wall.checked_add_signed(TimeDelta::minutes(minutes))?;
        Some(zone.from_local_datetime(&later).earliest()?.with_timezone(&Utc))
    })
}

/// A number written in digits only. The standard parser also takes a sign, which crontab does not know.
fn digits(text: &str) -> Option<u32> {
    text.bytes().all(|byte| byte.is_ascii_digit()).then(|| text.parse().ok()).flatten()
}

/// A field written as its numbers, so that only this module has to read ranges and names. It is a star if all
/// numbers are there.
fn listed(numbers: &[u32], all: usize, word: impl Fn(&u32) -> String) -> String {
    if numbers.len() == all {
        return "*".to_owned();
    }
    numbers.iter().map(word).collect::<Vec<_>>().join(",")
}

/// The numbers that a field stands for. A field may have lists, ranges, steps, stars and names.
fn numbers(field: &str, text: &str, least: u32, most: u32, names: &[&str]) -> Result<Vec<u32>, String> {
    let told = |part: &str| {
        let words = if names.is_empty() {
            String::new()
        } else {
            format!(", or {} to {}", names[0], names[names.len() - 1])
        };
        format!(
            "the {field} {part:?} is not valid. Use numbers from {least} to {most}{words}, `*`, ranges \
             such as `{least}-{most}`, steps such as `*/2`, or lists of these"
        )
    };
    let number = |part: &str| -> Option<u32> {
        let named = names.iter().position(|name| name.eq_ignore_ascii_case(part));
        // Days of the week count from 0, months from 1.
        let named = named.map(|place| place as u32 + u32::from(names.len() == 12));
        named.or_else(|| digits(part)).filter(|number| (least..=most).contains(number))
    };
    let mut found = Vec::new();
    for part in text.split(',') {
        let (range, step) = match part.split_once('/') {
            Some((range, step)) => (range, digits(step).filter(|step| *step > 0).ok_or_else(|| told(part))?),
            None => (part, 1),
        };
        let (from, to) = if range == "*" {
            (least, most)
        } else if let Some((from, to)) = range.split_once('-') {
            (number(from).ok_or_else(|| told(part))?, number(to).ok_or_else(|| told(part))?)
        } else {
            let from = number(range).ok_or_else(|| told(part))?;
            // `5/15` is not part of crontab, and other programs read it in two ways.
            if part.contains('/') {
                return Err(told(part));
            }
            (from, from)
        };
        if from > to {
            return Err(format!("the {field} {part:?} is a range that ends before it begins"));
        }
        found.extend((from..=to).step_by(step as usize));
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn expressions_are_five_fields_of_crontab() {
        for right in [
            "0 7 * * 1",
            "*/15 6-20 * * mon-fri",
            "0 0 1,15 * *",
            "0 0 * jan,JUL 0",
            "59 23 31 12 7",
            "0 0 1-31/5 * *",
            " 0   7  * * 1 ",
            "0 0 29 2 *",
            // A step beyond the end of its range leaves only the first number.
            "*/60 */99 */40 */13 */9",
        ] {
            assert!(Schedule::parse(right).is_ok(), "{right}: {:?}", Schedule::parse(right));
        }
        for (wrong, says) in [
            ("", "0 fields"),
            ("0 7 * * 1 2026", "6 fields"),
            ("@weekly", "1 field;"),
            ("60 7 * * 1", "minute"),
            ("0 24 * * 1", "hour"),
            ("0 7 0 * 1", "day of the month"),
            ("0 7 * 13 1", "month"),
            ("0 7 * * 8", "day of the week"),
            ("0 7 * * mo", "day of the week"),
            ("0 7 L * *", "day of the month"),
            ("0 7 * * 1#2", "day of the week"),
            ("*/0 7 * * *", "minute"),
            ("5/15 7 * * *", "minute"),
            ("0 20-6 * * *", "ends before"),
            ("+5 7 * * *", "minute"),
            ("? 7 * * *", "minute"),
            ("*/+5 7 * * *", "minute"),
            ("0 */ * * *", "hour"),
            ("0 7 */99999999999 * *", "day of the month"),
        ] {
            let told = Schedule::parse(wrong).expect_err(wrong);
            assert!(told.contains(says), "{wrong}: {told}");
        }
        assert_eq!(Schedule::parse(" 0   7  * * 1 ").unwrap().text(), "0 7 * * 1");
    }

    #[test]
    fn a_time_in_a_gap_comes_after_it_and_one_in_an_overlap_comes_once() {
        let zone = chrono_tz::Europe::Berlin;
        let next = |text: &str, after: &str, count| {
            Schedule::parse(text)
                .unwrap()
                .upcoming(at(after), zone, count)
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
        };
        // 29 March 2026: the clock skips 02:00 to 03:00, and 01:00 UTC is 03:00.
        assert_eq!(
            next("30 2 * * *", "2026-03-28T00:00:00Z", 3),
            ["2026-03-28 01:30:00 UTC", "2026-03-29 01:00:00 UTC", "2026-03-30 00:30:00 UTC"]
        );
        // 25 October 2026: 02:00 to 03:00 comes twice, from 00:00 UTC and from 01:00 UTC.
        assert_eq!(
            next("30 2 * * *", "2026-10-24T12:00:00Z", 2),
            ["2026-10-25 00:30:00 UTC", "2026-10-26 01:30:00 UTC"]
        );
        // Seen from the second pass, the first one is over.
        assert_eq!(next("30 2 * * *", "2026-10-25T01:10:00Z", 1), ["2026-10-26 01:30:00 UTC"]);
        // Times within a gap fall on one instant and count once.
        assert_eq!(
            next("*/20 1-3 * * *", "2026-03-29T00:35:00Z", 3),
            ["2026-03-29 00:40:00 UTC", "2026-03-29 01:00:00 UTC", "2026-03-29 01:20:00 UTC"]
        );
        assert_eq!(
            next("*/20 2-3 * * *", "2026-10-24T23:59:00Z", 5),
            [
                "2026-10-25 00:00:00 UTC",
                "2026-10-25 00:20:00 UTC",
                "2026-10-25 00:40:00 UTC",
                "2026-10-25 02:00:00 UTC",
                "2026-10-25 02:20:00 UTC"
            ]
        );
    }

    #[test]
    fn a_zone_that_skips_a_whole_day_fires_after_it() {
        // Samoa had no 30 December 2011.
        let zone = chrono_tz::Pacific::Apia;
        let times = Schedule::parse("0 7 * * *").unwrap().upcoming(at("2011-12-29T18:00:00Z"), zone, 2);
        let local: Vec<String> = times.iter().map(|at| at.with_timezone(&zone).to_rfc3339()).collect();
        assert_eq!(local, ["2011-12-31T00:00:00+14:00", "2011-12-31T07:00:00+14:00"]);
    }

    #[test]
    fn days_of_month_and_week_add_up_when_both_are_given() {
        let zone = chrono_tz::UTC;
        let times = Schedule::parse("0 7 1 * 1").unwrap().upcoming(at("2026-11-20T00:00:00Z"), zone, 4);
        let days: Vec<String> = times.iter().map(|at| at.date_naive().to_string()).collect();
        assert_eq!(days, ["2026-11-23", "2026-11-30", "2026-12-01", "2026-12-07"]);
        // A star with a step does not restrict, so both fields have to match.
        let times = Schedule::parse("0 7 */10 * 1").unwrap().upcoming(at("2026-11-20T00:00:00Z"), zone, 2);
        let days: Vec<String> = times.iter().map(|at| at.date_naive().to_string()).collect();
        assert_eq!(days, ["2026-12-21", "2027-01-11"]);
    }

    #[test]
    fn every_field_goes_on_as_its_numbers() {
        let zone = chrono_tz::UTC;
        let first = |text: &str| {
            let times = Schedule::parse(text).unwrap().upcoming(at("2026-11-20T07:30:00Z"), zone, 3);
            times.iter().map(|at| at.format("%d %H:%M").to_string()).collect::<Vec<_>>()
        };
        assert_eq!(first("*/60 * * * *"), ["20 08:00", "20 09:00", "20 10:00"]);
        assert_eq!(first("5 */99 * * *"), ["21 00:05", "22 00:05", "23 00:05"]);
        assert_eq!(first("5 0 */40 * *"), ["01 00:05", "01 00:05", "01 00:05"]);
        // A field with every number acts as a star in one field, but still restricts: either day is enough.
        assert_eq!(first("0 7 1-31 * mon"), ["21 07:00", "22 07:00", "23 07:00"]);
        assert_eq!(first("0 7 13 * 0-6"), ["21 07:00", "22 07:00", "23 07:00"]);
        // Sunday has two numbers and comes once.
        assert_eq!(first("0 7 * * 0,7"), ["22 07:00", "29 07:00", "06 07:00"]);
    }

    #[test]
    fn what_never_comes_is_no_time_and_a_leap_day_is_one() {
        let zone = chrono_tz::UTC;
        assert_eq!(Schedule::parse("0 0 30 2 *").unwrap().next(at("2026-11-20T00:00:00Z"), zone), None);
        let leap = Schedule::parse("0 0 29 2 *").unwrap().next(at("2088-03-01T00:00:00Z"), zone);
        assert_eq!(leap, Some(at("2092-02-29T00:00:00Z")));
    }
}
