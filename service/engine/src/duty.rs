//! The forecast of one duty: tally so far, chances, and the window in which the tally reaches its mark.
//!
//! One principle: from the day after `since`, every day is either read or not. A read day's exposure is computed and
//! exact; an unread day (before the record, in a gap, after the last reading, past or future) is never taken as dry: the
//! climate stands for it. The chance by day t is `P(known(t) + Gamma(mean M, variance V) >= mark)`, see
//! [`crate::passage`].
//!
//! Readings after `as_of` are left aside, so that a forecast of last month does not know this month's rain.
//! Known failure: the doubt about the exposure's own constants is not in the band; it belongs in the mark's `log_sd`.
//! Invariants: early <= likely <= late; the chance never falls with time; more rain on a read day never delays a date
//! of runoff.

use crate::calendar::Day;
use crate::climate::{Basis, Climate};
use crate::error::{EngineError, require};
use crate::exposure::{Exposure, Pass, outlook};
use crate::mark::Mark;
use crate::passage::{Curve, Path};
use crate::rain::RainRecord;
use crate::site::{Roof, Site};

/// Longest horizon, days: a century.
pub const LONGEST_HORIZON: i32 = 36_525;
/// Longest time since the last service, days.
const LONGEST_PAST: i32 = 73_050;
/// Fewest days of a year's record below which a note says that the climate is thin.
const SHORT_YEARS: f64 = 2.0;

/// What is asked.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// Place.
    pub site: &'a Site,
    /// Roof that feeds the part.
    pub roof: &'a Roof,
    /// Readings of its gauge.
    pub record: &'a RainRecord,
    /// Climate of that gauge, `None` when it has neither record nor normals.
    pub climate: Option<&'a Climate>,
    /// What the tally counts.
    pub exposure: Exposure,
    /// Where it wants care.
    pub mark: Mark,
    /// Day of the last service; exposure counts from the day after.
    pub since: Day,
    /// Today, as the caller sees it; not before `since`.
    pub as_of: Day,
    /// How far ahead to look, 1 to [`LONGEST_HORIZON`] days.
    pub horizon_days: i32,
}

/// What is answered.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Tally as of today.
    pub tally: Tally,
    /// When the mark is reached.
    pub outcome: Outcome,
    /// Chance that it is reached by then.
    pub chance: Chance,
    /// The chance over time around the window, to the horizon without one: at most 60 points, days and chances rising.
    pub curve: Vec<CurvePoint>,
    /// What was assumed or stretched.
    pub notes: Vec<Note>,
    path: Path,
    mark: Mark,
}

/// Exposure since the last service, in the exposure's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tally {
    /// Expected total: `known + expected_unread`.
    pub value: f64,
    /// From days with a reading.
    pub known: f64,
    /// What the climate expects of days without one.
    pub expected_unread: f64,
    /// Standard deviation of that expectation.
    pub sd: f64,
    /// Days with a reading since the last service.
    pub days_read: u32,
    /// Days without.
    pub days_unread: u32,
}

/// When the mark is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// A window; at least its early day is within the horizon.
    Window(Window),
    /// Not even the early day is within the horizon.
    NeverReached {
        /// The horizon that was looked at.
        horizon_days: i32,
        /// Chance of having reached the mark by its end.
        chance_at_horizon: f64,
        /// Why.
        reason: Reason,
    },
    /// The exposure rides on rain and there is neither record nor normals to expect any from.
    NeedsRain,
}

/// Why a mark is not reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// It never rains in this climate.
    NoRain,
    /// The part gets nothing: no leaf falls, full shade.
    NoExposure,
    /// It gets something, and not enough before the horizon.
    BeyondHorizon,
}

/// Days by which the mark is reached with 10, 50 and 90 %; `None` beyond the horizon. May lie in the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// 10 %.
    pub early: Option<Day>,
    /// 50 %.
    pub likely: Option<Day>,
    /// 90 %.
    pub late: Option<Day>,
}

/// Chances that the mark is reached, 0 to 1, never falling. Days beyond the horizon give the chance at the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// By today.
    pub today: f64,
    /// By today and 7 days.
    pub in_7_days: f64,
    /// By today and 30 days.
    pub in_30_days: f64,
    /// By today and 90 days.
    pub in_90_days: f64,
}

/// One point to plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Day.
    pub day: Day,
    /// Chance that the mark is reached by then.
    pub chance: f64,
}

/// What an answer rests on beyond its inputs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// Means come from normals alone.
    NormalsOnly,
    /// Means rest on this many years, under two.
    ShortRecord {
        /// Years of readings.
        years: f64,
    },
    /// No rain is known; this share of wet days was assumed for the light.
    WetShareAssumed {
        /// Share of wet days.
        share: f64,
    },
    /// Beyond 60 degrees the factors of orientation are held at their last value.
    LatitudeHeld,
    /// The record has readings after the day asked about; they were left aside.
    LaterReadingsLeftAside,
}

/// Answers a question.
pub fn forecast(q: &Question<'_>) -> Result<Answer, EngineError> {
    check(q)?;
    let (pass, law) = outlook(q)?;
    let past = q.as_of.since(q.since);
    let known_total = pass.known.last().copied().unwrap_or(0.0);
    let days_read = pass.days_read;
    let notes = notes(q, &pass);
    let path = Path::new(q.since, pass.known, pass.unread, law, past + q.horizon_days);
    let sums = path.sums(past);
    let tally = Tally {
        value: known_total + sums.mean,
        known: known_total,
        expected_unread: sums.mean,
        sd: path.variance(&sums).sqrt(),
        days_read,
        days_unread: past as u32 - days_read,
    };
    let view = Curve::new(&path, q.mark);
    let chance = Chance {
        today: view.chance_by(past)?,
        in_7_days: view.chance_by(past + 7)?,
        in_30_days: view.chance_by(past + 30)?,
        in_90_days: view.chance_by(past + 90)?,
    };
    let outcome = outcome(q, &path, &view, chance.today)?;
    let curve = curve(&path, &view, &outcome)?;
    Ok(Answer { tally, outcome, chance, curve, notes, path, mark: q.mark })
}

impl Answer {
    /// The first day by which the mark is reached with chance `p`, `None` beyond the horizon.
    ///
    /// `p` above 0 and below 1, else `None`. Exact, and consistent with [`Answer::chance_by`].
    pub fn day_of_chance(&self, p: f64) -> Option<Day> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let number = Curve::new(&self.path, self.mark).day_of(p).ok()??;
        Some(self.path.day(number))
    }

    /// The chance that the mark is reached by a day, 0 before the last service, held at the horizon's after it.
    pub fn chance_by(&self, day: Day) -> Result<f64, EngineError> {
        Curve::new(&self.path, self.mark).chance_by(day.since(self.path.day(0)))
    }
}

fn check(q: &Question<'_>) -> Result<(), EngineError> {
    q.site.check()?;
    q.roof.check()?;
    q.exposure.check()?;
    q.mark.check()?;
    let past = q.as_of.since(q.since);
    require((0..=LONGEST_PAST).contains(&past), "days from since to as_of", f64::from(past), "0 to 73050")?;
    let horizon_ok = (1..=LONGEST_HORIZON).contains(&q.horizon_days);
    require(horizon_ok, "horizon_days", f64::from(q.horizon_days), "1 to 36525")
}

fn notes(q: &Question<'_>, pass: &Pass) -> Vec<Note> {
    let mut notes = Vec::new();
    match q.climate {
        Some(climate) if climate.basis == Basis::Normals => {
            notes.push(Note::NormalsOnly);
        }
        Some(climate) if climate.years < SHORT_YEARS => {
            notes.push(Note::ShortRecord { years: climate.years });
        }
        None if !q.exposure.needs_rain() => {
            notes.push(Note::WetShareAssumed { share: crate::exposure::USUAL_WET_SHARE });
        }
        _ => {}
    }
    if !q.exposure.needs_rain() && q.site.latitude_deg.abs() > 60.0 {
        notes.push(Note::LatitudeHeld);
    }
    if pass.later_readings {
        notes.push(Note::LaterReadingsLeftAside);
    }
    notes
}

fn outcome(q: &Question<'_>, path: &Path, view: &Curve<'_>, today: f64) -> Result<Outcome, EngineError> {
    // Readings alone may have settled it; then no climate is needed to say when.
    if path.law().is_none() && today < 0.9 {
        return Ok(Outcome::NeedsRain);
    }
    let day = |p| view.day_of(p).map(|number| number.map(|n| path.day(n)));
    let window = Window { early: day(0.1)?, likely: day(0.5)?, late: day(0.9)? };
    if window.early.is_some() {
        return Ok(Outcome::Window(window));
    }
    let gets_nothing = path.law().is_none_or(|law| law.daily.iter().all(|x| !(*x > 0.0)));
    let reason = match q.climate {
        Some(climate) if q.exposure.needs_rain() && climate.never_rains() => Reason::NoRain,
        _ if gets_nothing => Reason::NoExposure,
        _ => Reason::BeyondHorizon,
    };
    let chance_at_horizon = view.chance_by(path.horizon())?;
    Ok(Outcome::NeverReached { horizon_days: q.horizon_days, chance_at_horizon, reason })
}

/// Points around the window, on a grid of whole powers of two from today, which the search has mostly computed already.
fn curve(path: &Path, view: &Curve<'_>, outcome: &Outcome) -> Result<Vec<CurvePoint>, EngineError> {
    const MOST_STEPS: i32 = 24;
    let today = path.past();
    let (from, to) = match *outcome {
        Outcome::Window(Window { early: Some(early), likely, late }) => {
            let number = |day: Option<Day>| day.map_or(path.horizon(), |d| d.since(path.day(0)));
            let (early, likely, late) = (number(Some(early)), number(likely), number(late));
            // Half as far again on both sides takes in about 5 to 95 %.
            (early - (likely - early) / 2, late.saturating_add((late - likely) / 2))
        }
        _ => (today, path.horizon()),
    };
    let (from, to) = (from.max(1), to.clamp(1, path.horizon()));
    let mut step = 1;
    while (to - from) / step > MOST_STEPS {
        step *= 2;
    }
    let mut numbers = vec![from];
    let mut next = today + ((from - today).div_euclid(step) + 1) * step;
    while next < to {
        numbers.push(next);
        next += step;
    }
    if to > from {
        numbers.push(to);
    }
    let point = |n| Ok(CurvePoint { day: path.day(n), chance: view.chance_by(n)? });
    numbers.into_iter().map(point).collect()
}
