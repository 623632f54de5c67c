//! One debris screen in an invented place, and what the engine answers about it.

use std::error::Error;

use eavesward_engine::generate::Generator;
use eavesward_engine::learning::{DRIFT_PER_YEAR, Finding, Inspection, Rate, Start, learn};
use eavesward_engine::{
    Answer, Canopy, Catchment, Climate, Day, Exposure, Gauge, Limit, Meter, Normals, Outcome, Question,
    RainRecord, Roof, Setting, Site, limit,
};

/// Mean rain of a month in mm and days of 1 mm or more, January first. Invented.
const RAIN_MM: [f64; 12] = [68.0, 54.0, 59.0, 52.0, 74.0, 83.0, 88.0, 79.0, 66.0, 64.0, 70.0, 76.0];
const WET_DAYS: [f64; 12] = [11.5, 9.5, 10.4, 9.1, 10.6, 10.9, 10.8, 9.9, 9.2, 9.7, 11.0, 12.2];
/// Another seed gives other rain of the same climate.
const SEED: u64 = 7;
/// Date of the first reading. Eight years of rain stand behind the forecast.
const FIRST: (i32, u32, u32) = (2017, 8, 1);
/// The screen was cleaned on these days. The first visits found it as full as [`TRUE_LIMIT`] makes it.
const CLEANED: [(i32, u32, u32); 5] =
    [(2024, 4, 6), (2024, 7, 1), (2024, 9, 10), (2024, 10, 18), (2025, 6, 28)];
const TODAY: (i32, u32, u32) = (2025, 8, 12);
/// Last day of the drawing.
const END: (i32, u32, u32) = (2025, 10, 22);
/// What this screen really holds, in kg of dry leaf per m2. The forecast knows it by the findings alone.
const TRUE_LIMIT: f64 = 0.42;
/// Longest look ahead, in days.
const HORIZON_DAYS: i32 = 400;
/// Points of each line after today.
const AHEAD_POINTS: i32 = 24;

/// A figure on a day.
pub type Point = (Day, f64);

/// What the drawing shows. Leaf in kg per m2 of screen.
pub struct Scene {
    /// Day of the last cleaning.
    pub cleaned: Day,
    pub today: Day,
    /// Last day of the drawing.
    pub end: Day,
    /// Runoff of each day since the cleaning, up to today, mm.
    pub runoff: Vec<Point>,
    /// Accumulated since the cleaning, up to today.
    pub accumulated: Vec<Point>,
    /// After today: the accumulated figure is above these with 10, 50 and 90 % chance.
    pub ahead: [Vec<Point>; 3],
    /// The limit as learned from the findings.
    pub limit: Limit,
    pub findings: usize,
    /// Days by which the limit is reached with 10, 50 and 90 % chance.
    pub window: [Day; 3],
}

fn day((y, m, d): (i32, u32, u32)) -> Result<Day, String> {
    Day::from_ymd(y, m, d).ok_or_else(|| format!("{y}-{m}-{d} is no date"))
}

/// Rain from the seed, up to and with a day, in tenths of a millimetre as a rain gauge reads it.
fn readings(through: Day) -> Result<RainRecord, Box<dyn Error>> {
    let normals = Normals { rain_mm: RAIN_MM, wet_days: WET_DAYS, wet_day_threshold_mm: 1.0, years: 30.0 };
    let climate = Climate::fit(&RainRecord::empty(), Some(&normals))?;
    let first = day(FIRST)?;
    let path = Generator::new(&climate, SEED).path(0, first, through.since(first) as usize + 1);
    let mm = path.iter().map(|mm| (mm * 10.0).round() / 10.0);
    Ok(RainRecord::from_readings(mm.enumerate().map(|(i, mm)| (first.plus(i as i32), mm))))
}

/// The limit after every visit but the last, which begins the climb.
fn learned(meter: &Meter<'_>, today: Day) -> Result<(Limit, usize), Box<dyn Error>> {
    let mut visits = Vec::new();
    for pair in CLEANED.windows(2) {
        let (since, on) = (day(pair[0])?, day(pair[1])?);
        let exposure = meter.accumulated(since, on)?.value;
        let finding = Finding::by_eye(exposure / TRUE_LIMIT);
        visits.push(Inspection { day: on, exposure, exposure_cv: 0.0, start: Start::Clean, finding });
    }
    let prior = Rate::of(limit::screen().limit);
    let learned = learn(prior, day(CLEANED[0])?, DRIFT_PER_YEAR, &visits)?;
    Ok((learned.drifted_to(today).limit(), learned.findings()))
}

impl Scene {
    /// Asks the engine.
    pub fn new() -> Result<Scene, Box<dyn Error>> {
        let (cleaned, today, end) = (day(CLEANED[CLEANED.len() - 1])?, day(TODAY)?, day(END)?);
        let site = Site { latitude_deg: 48.0, elevation_m: 60.0 };
        let roof = Roof {
            wetting_loss_mm: 0.5,
            canopy: Canopy::Deciduous,
            canopy_share: 0.15,
            ..Roof::new(100.0, 0.9)
        };
        let gauge = Gauge::new(readings(today)?, None);
        let catchment = Catchment::new(&gauge, &roof)?;
        let exposure = Exposure::Leaves { screen_area_m2: 0.2 };
        let meter = Meter::new(&Setting {
            site: &site,
            roof: &roof,
            gauge: &gauge,
            catchment: &catchment,
            exposure,
        })?;
        let (limit, findings) = learned(&meter, today)?;
        let ask = |limit| {
            let question =
                Question { limit, left_share: 0.0, since: cleaned, as_of: today, horizon_days: HORIZON_DAYS };
            meter.forecast(&question)
        };
        let window = days(&ask(limit)?)?;

        let through = |from: Day, to: Day| (0..=to.since(from)).map(move |n| from.plus(n));
        let at = |day| Ok::<_, Box<dyn Error>>((day, meter.accumulated(cleaned, day)?.value));
        let accumulated: Vec<Point> = through(cleaned, today).map(at).collect::<Result<_, _>>()?;
        let runoff = through(cleaned.plus(1), today)
            .map(|day| (day, catchment.runoff_mm(day.plus(-1), day)))
            .filter(|(_, mm)| *mm > 0.0)
            .collect();

        // The first day on which an exact amount is reached with 10 % chance has that amount as its 90 % quantile.
        let now = accumulated[accumulated.len() - 1];
        let mut ahead = [vec![now], vec![now], vec![now]];
        let most = 1.5 * meter.accumulated(cleaned, end)?.value;
        for n in 1..=AHEAD_POINTS {
            let amount = now.1 + (most - now.1) * f64::from(n) / f64::from(AHEAD_POINTS);
            for (points, day) in ahead.iter_mut().zip(days(&ask(Limit { median: amount, log_sd: 0.0 })?)?) {
                points.push((day, amount));
            }
        }
        Ok(Scene { cleaned, today, end, runoff, accumulated, ahead, limit, findings, window })
    }
}

/// The days of 10, 50 and 90 %.
fn days(answer: &Answer) -> Result<[Day; 3], Box<dyn Error>> {
    let Outcome::Window(window) = answer.outcome else { return Err("the limit is not reached".into()) };
    match (window.early, window.likely, window.late) {
        (Some(early), Some(likely), Some(late)) => Ok([early, likely, late]),
        _ => Err("the window ends beyond the horizon".into()),
    }
}
