//! The worked examples of `service/engine/README.md`, through the engine's public functions.
//!
//! What an example is given stands on the page in a table with the head `given`, and is read from there; every figure
//! that follows from it stands between `**= ` and `**`. A test computes the figures of a section in their order and
//! compares them as they are written, so that none may be wrong, missing or left over. Where the page works by hand with
//! less than the engine does, the test works the same way and holds the two together. The table of priors is compared
//! cell by cell, and no other number may stand on the page but those of [`KNOWN`].

mod ageing;
mod doubt;
mod page;
mod priors;
mod water;

use eavesward_engine::passage::chance_reached;
use eavesward_engine::{
    Answer, Catchment, Day, Exposure, Gauge, Limit, Meter, Outcome, Question, RainRecord, Roof, Setting,
    Site, Window,
};

/// Normal quantiles of 90 and of 80 %, as the page's readers take them from a table.
const NINETY: f64 = 1.2816;
const EIGHTY: f64 = 0.8416;

/// Numbers that may stand on the page though they are neither given nor computed nor a prior.
const KNOWN: [&str; 24] = [
    // Counts, powers and parts of a whole; days of the tables of examples.
    "4",
    "5",
    "7",
    "8",
    "10",
    "11",
    "21",
    "80",
    "1000",
    // Chances of a window, quantiles of the normal law, days of a year, kelvin, the gas constant (SI).
    "50",
    "90",
    "20",
    "1.2816",
    "0.8416",
    "365.25",
    "298.15",
    "303.15",
    "0.0083145",
    "25",
    "15.5",
    "31",
    // Nanometres of the ultraviolet that counts; millimetres of a gap that keeps mosquitoes out.
    "295",
    "385",
    "1",
];

/// A place where it does not matter which.
const ANYWHERE: Site = Site { latitude_deg: 48.0, elevation_m: 0.0 };

/// A roof without trees off which all rain runs.
fn bare(plan_area_m2: f64) -> Roof {
    Roof::new(plan_area_m2, 1.0)
}

/// A gauge with the readings of days in a row.
fn gauge_of(first: Day, mm: impl IntoIterator<Item = f64>) -> Gauge {
    let days = (0..).zip(mm).map(|(n, mm)| (first.plus(n), mm));
    Gauge::new(RainRecord::from_readings(days), None)
}

/// Asks something of the meter of an exposure.
fn metered<T>(
    (site, roof, gauge): (&Site, &Roof, &Gauge),
    exposure: Exposure<'_>,
    ask: impl FnOnce(&Meter<'_>) -> T,
) -> T {
    let catchment = Catchment::new(gauge, roof).unwrap();
    ask(&Meter::new(&Setting { site, roof, gauge, catchment: &catchment, exposure }).unwrap())
}

/// What a meter says of a mark, a century ahead.
fn asked(meter: &Meter<'_>, limit: Limit, since: Day, as_of: Day) -> Answer {
    meter.forecast(&Question { limit, left_share: 0.0, since, as_of, horizon_days: 36_525 }).unwrap()
}

/// Early, likely and late day of an answer that has all three.
fn window(answer: &Answer) -> [Day; 3] {
    match answer.outcome {
        Outcome::Window(Window { early: Some(early), likely: Some(likely), late: Some(late) }) => {
            [early, likely, late]
        }
        other => panic!("no whole window: {other:?}"),
    }
}

/// The normal distribution function, by way of a log-normal mark and a tally that is known.
fn normal_below(z: f64) -> f64 {
    chance_reached(z.exp(), 0.0, 0.0, Limit { median: 1.0, log_sd: 1.0 }).unwrap()
}

/// What a table of the normal law has for a chance, by halving.
fn normal_quantile(chance: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if normal_below(middle) < chance { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// No number stands on the page that nothing holds.
#[test]
fn every_number_on_the_page_is_held() {
    let strays = page::strays(priors::TITLE, &KNOWN);
    assert!(strays.is_empty(), "given nowhere, computed nowhere, known from nowhere: {strays:#?}");
    assert!(page::PAGE.lines().count() < 500, "a page is to be read at one sitting");
}
