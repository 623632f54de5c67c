//! Crontab expressions beside another reader of them (the crate croner), and on clocks that skip and repeat hours.

use chrono::{DateTime, TimeDelta, Timelike as _, Utc};
use chrono_tz::Tz;
use croner::parser::CronParser;
use eavesward_service::domain::base::schedule::Schedule;
use proptest::prelude::*;
use proptest::sample::select;

fn instant(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(seconds, 0).expect("an instant")
}

/// A field: a star, a number, a range, a list or steps.
fn field(least: u32, most: u32) -> impl Strategy<Value = String> {
    let number = least..=most;
    let range = (number.clone(), number.clone()).prop_map(|(a, b)| format!("{}-{}", a.min(b), a.max(b)));
    let stepped = (range.clone(), 1..7_u32).prop_map(|(range, step)| format!("{range}/{step}"));
    let list = proptest::collection::vec(number.clone(), 1..5)
        .prop_map(|all| all.iter().map(ToString::to_string).collect::<Vec<_>>().join(","));
    prop_oneof![
        3 => Just("*".to_owned()),
        1 => (2..9_u32).prop_map(|step| format!("*/{step}")),
        3 => number.prop_map(|number| number.to_string()),
        2 => range,
        1 => stepped,
        2 => list,
    ]
}

fn expression() -> impl Strategy<Value = String> {
    (field(0, 59), field(0, 23), field(1, 28), field(1, 12), field(0, 7))
        .prop_map(|(minute, hour, day, month, weekday)| format!("{minute} {hour} {day} {month} {weekday}"))
        // Where a star with steps stands beside a restricted day, readers differ; ours goes with crontab.
        .prop_filter("read in two ways", |text| {
            let fields: Vec<&str> = text.split(' ').collect();
            let stepped = |field: &str| field.starts_with("*/");
            !(stepped(fields[2]) || stepped(fields[4]))
        })
}

const ZONES: [&str; 8] = [
    "Europe/Berlin",
    "America/St_Johns",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "America/Sao_Paulo",
    "Africa/Casablanca",
    "Asia/Kathmandu",
    "UTC",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Without daylight saving there is one reading of crontab.
    #[test]
    fn without_daylight_saving_both_readers_agree(text in expression(), from in 1_700_000_000..1_800_000_000_i64) {
        let ours = Schedule::parse(&text).expect("an expression").upcoming(instant(from), Tz::UTC, 6);
        let other = CronParser::new().parse(&text).expect("an expression");
        let mut theirs = Vec::new();
        let mut at = instant(from);
        while theirs.len() < ours.len() {
            at = other.find_next_occurrence(&at, false).expect("a time");
            theirs.push(at);
        }
        prop_assert_eq!(ours, theirs, "{}", text);
    }

    /// In any zone: later each time, at a civil time of the expression but for a gap, and never twice at one of them.
    #[test]
    fn times_come_in_order_and_each_civil_time_once(
        text in expression(),
        zone in select(&ZONES[..]),
        from in 1_200_000_000..1_800_000_000_i64,
    ) {
        let (schedule, zone): (Schedule, Tz) = (Schedule::parse(&text).expect("an expression"), zone.parse().expect("a zone"));
        let times = schedule.upcoming(instant(from), zone, 40);
        prop_assert!(times.first().is_none_or(|first| *first > instant(from)));
        prop_assert!(times.windows(2).all(|pair| pair[0] < pair[1]), "{times:?}");
        let mut civil: Vec<_> = times.iter().map(|at| at.with_timezone(&zone).naive_local()).collect();
        let all = civil.len();
        civil.sort_unstable();
        civil.dedup();
        prop_assert_eq!(civil.len(), all, "a civil time came twice");
        // Asked again from in between, it goes on as before.
        for pair in times.windows(2) {
            prop_assert_eq!(schedule.next(pair[1] - TimeDelta::seconds(1), zone), Some(pair[1]));
            prop_assert_eq!(schedule.next(pair[0], zone), Some(pair[1]));
        }
    }

    /// A reference that walks every minute: a civil time counts when the clock first reaches or jumps over it.
    #[test]
    fn a_daily_time_comes_when_the_clock_first_reaches_it(
        hour in 0..24_u32, minute in 0..60_u32,
        zone in select(&ZONES[..]),
        from in 1_200_000_000..1_800_000_000_i64,
    ) {
        let zone: Tz = zone.parse().expect("a zone");
        let schedule = Schedule::parse(&format!("{minute} {hour} * * *")).expect("an expression");
        let start = instant(from / 60 * 60);
        let mut highest = start.with_timezone(&zone).naive_local();
        let mut expected = Vec::new();
        for at in (1..60 * 24 * 40).map(|minutes| start + TimeDelta::minutes(minutes)) {
            let civil = at.with_timezone(&zone).naive_local();
            let mut reached = false;
            while highest < civil {
                highest += TimeDelta::minutes(1);
                reached |= (highest.hour(), highest.minute()) == (hour, minute);
            }
            if reached {
                expected.push(at);
            }
        }
        prop_assert!(expected.len() >= 38);
        prop_assert_eq!(schedule.upcoming(start, zone, expected.len()), expected);
    }
}
