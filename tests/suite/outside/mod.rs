//! The engine against figures that were not made here: worked examples in print, other programs, exact laws.
//!
//! Values and their origin stand in `tests/data/README.md`; tolerances are named where they are used and come with the
//! value, not from a run of the code under test.
#![expect(clippy::unwrap_used, reason = "in a test a failed unwrap is the failure it should be")]

mod backtest;
mod chance;
mod drain;
mod dry_spells;
mod exposures;
mod gaps;
mod generator;
mod laws;
mod learning;
mod normals;
mod published;
mod roof;
mod seattle;
mod skill;
mod small_limits;
mod sun;
mod tank;
mod trap;
mod washoff;
mod weather;
mod worked;

use eavesward_engine::{
    Answer, Catchment, Climate, ClimateError, Day, EngineError, Exposure, Gauge, Limit, Meter, Question,
    RainRecord, Roof, Setting, Site,
};

/// A whole question, from the rain on.
#[derive(Clone, Copy)]
struct Asked<'a> {
    site: &'a Site,
    roof: &'a Roof,
    record: &'a RainRecord,
    climate: Option<&'a Climate>,
    exposure: Exposure<'a>,
    limit: Limit,
    since: Day,
    as_of: Day,
    horizon_days: i32,
}

/// The answer to a question as it stood on its day.
fn forecast(asked: &Asked<'_>) -> Result<Answer, EngineError> {
    let Asked { site, roof, exposure, .. } = *asked;
    let climate = asked.climate.cloned().ok_or(ClimateError::NoRain);
    let gauge = Gauge::with_climate(asked.record.until(asked.as_of), climate);
    let catchment = Catchment::new(&gauge, roof)?;
    let meter = Meter::new(&Setting { site, roof, gauge: &gauge, catchment: &catchment, exposure })?;
    meter.forecast(&Question {
        limit: asked.limit,
        left_share: 0.0,
        since: asked.since,
        as_of: asked.as_of,
        horizon_days: asked.horizon_days,
    })
}

/// Asserts that two numbers differ by no more than a share of the expected one.
fn assert_relative(actual: f64, expected: f64, share: f64, what: &str) {
    assert!(
        (actual - expected).abs() <= share * expected.abs(),
        "{what}: {actual} instead of {expected}, more than {share} off"
    );
}

/// Asserts that two numbers differ by no more than `most`.
fn assert_within(actual: f64, expected: f64, most: f64, what: &str) {
    assert!(
        (actual - expected).abs() <= most,
        "{what}: {actual} instead of {expected}, more than {most} off"
    );
}

/// Rows of a table with a header line, every field by name.
fn table(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(|row| row.unwrap()).collect()
}

/// The four years of Seattle.
fn seattle() -> RainRecord {
    RainRecord::from_readings(table(include_str!("../../data/rain_seattle.csv")).iter().map(|row| {
        let mut parts = row["date"].split('-').map(|part| part.parse::<u32>().unwrap());
        let (y, m, d) = (parts.next().unwrap(), parts.next().unwrap(), parts.next().unwrap());
        (day(y as i32, m, d), row["mm"].parse().unwrap())
    }))
}

/// The part of a record from one day to another, both included.
fn part(record: &RainRecord, from: Day, to: Day) -> RainRecord {
    RainRecord::from_readings((from.0..=to.0).filter_map(|n| record.get(Day(n)).map(|mm| (Day(n), mm))))
}

fn day(y: i32, m: u32, d: u32) -> Day {
    Day::from_ymd(y, m, d).unwrap()
}

/// A place at the latitude of the record.
fn site() -> Site {
    Site { latitude_deg: 47.6, elevation_m: 50.0 }
}

/// A bare roof that loses nothing but its first half millimetre.
fn roof() -> Roof {
    Roof { wetting_loss_mm: 0.5, ..Roof::new(50.0, 1.0) }
}
