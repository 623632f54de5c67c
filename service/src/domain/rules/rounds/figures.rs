//! What a caller may ask of rounds: the days, the days off, and what things cost.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::check::Check;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::Result;
use crate::domain::base::ids::{PropertyId, SystemId};
use crate::domain::rules::rounds::allowed::later;
use crate::domain::rules::rounds::problem::{Cost, MOST_DAYS, MOST_RATE, Rates};
use chrono::{DateTime, Datelike, NaiveDate, Utc, Weekday};
use std::collections::BTreeSet;

/// Days of a plan if the caller does not say: four weeks.
const USUAL_DAYS: i64 = 28;

/// The most dates off work.
pub const MOST_OFF_DATES: usize = 200;

/// The most minutes of a trip that a caller may ask for: up to a day.
pub const TRIP_MINUTES: Bounds = Bounds::of(1.0, 1440.0);

/// The distance between the properties of a trip that a caller may ask for, km. Judgement: longer trips take more
/// than a day.
pub const NEARBY_KM: Bounds = Bounds::of(0.0, 500.0);

/// Costs are counted in thousandths.
const THOUSANDTHS: f64 = 1000.0;

/// What a trip, a stop or a day may cost, in the caller's own unit.
pub const COST: Bounds = Bounds::of(0.0, MOST_RATE as f64 / THOUSANDTHS);

/// What a caller asks for. Absent figures have defaults.
#[derive(Clone, Debug, Default)]
pub struct ProposalRequest {
    /// The first day; today (UTC) if absent.
    pub from: Option<NaiveDate>,
    /// The last day; four weeks in all if absent.
    pub to: Option<NaiveDate>,
    /// Only tasks at this property.
    pub property_id: Option<PropertyId>,
    /// Only tasks of this system.
    pub system_id: Option<SystemId>,
    /// Days of the week off work.
    pub off_weekdays: Vec<Weekday>,
    /// Dates off work.
    pub off_dates: Vec<NaiveDate>,
    /// Whether to include tasks that planned rounds already have.
    pub include_planned: bool,
    /// What a trip costs.
    pub trip_cost: Option<f64>,
    /// What each further property of a trip costs.
    pub stop_cost: Option<f64>,
    /// What a day early costs.
    pub cost_per_day_early: Option<f64>,
    /// What a day late costs.
    pub cost_per_day_late: Option<f64>,
    /// The most minutes of work in a trip.
    pub most_minutes: Option<u32>,
    /// How near the properties of a trip are, km. With 0 each property has its own trips.
    pub nearby_km: Option<f64>,
}

/// What things cost, in any unit: only the ratios matter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CostFigures {
    /// A trip, to any number of properties.
    pub trip_cost: f64,
    /// Each property of a trip after the first. It is not more than a trip.
    pub stop_cost: f64,
    /// Each day that a task is done before its best day.
    pub cost_per_day_early: f64,
    /// Each day that a task is done after its best day.
    pub cost_per_day_late: f64,
    /// The most minutes of work in a trip, without the way there.
    pub most_minutes: u32,
    /// How near the properties of a trip are, km along the great circle between any two. With 0 each property has
    /// its own trips.
    pub nearby_km: f64,
}

impl CostFigures {
    /// The defaults. All of them are judgement. A trip costs as much as a task four months early or one month late.
    /// A further property costs a quarter of a trip. Six hours of work leave time for the travel of a day.
    pub const DEFAULT: Self = Self {
        trip_cost: 60.0,
        stop_cost: 15.0,
        cost_per_day_early: 0.5,
        cost_per_day_late: 2.0,
        most_minutes: 360,
        nearby_km: 0.0,
    };

    /// The same in whole thousandths, for the problem.
    pub(crate) fn rates(&self) -> Rates {
        let whole = |cost: f64| (cost * THOUSANDTHS).round() as Cost;
        Rates {
            trip: whole(self.trip_cost),
            stop: whole(self.stop_cost),
            early: whole(self.cost_per_day_early),
            late: whole(self.cost_per_day_late),
        }
    }
}

/// A cost in the caller's unit.
pub fn cost(thousandths: Cost) -> f64 {
    thousandths as f64 / THOUSANDTHS
}

/// A request, checked and with defaults filled in.
#[derive(Clone, Debug)]
pub(crate) struct PlanRequest {
    pub from: NaiveDate,
    pub to: NaiveDate,
    pub days: Vec<NaiveDate>,
    pub figures: CostFigures,
    pub defaults: Vec<&'static str>,
}

impl ProposalRequest {
    /// Checks everything.
    pub(crate) fn check(&self, now: DateTime<Utc>) -> Result<PlanRequest> {
        let mut check = Check::new();
        let today = local_date(now, chrono_tz::Tz::UTC);
        let from = self.from.unwrap_or(today);
        let to = self.to.unwrap_or_else(|| later(from, USUAL_DAYS - 1));
        self.check_days(&mut check, now, from, to);
        let (figures, defaults) = self.figures(&mut check);
        let off: BTreeSet<NaiveDate> = self.off_dates.iter().copied().collect();
        let works = |day: &NaiveDate| !self.off_weekdays.contains(&day.weekday()) && !off.contains(day);
        let span = to.signed_duration_since(from).num_days();
        let days: Vec<NaiveDate> = if (0..MOST_DAYS).contains(&span) {
            from.iter_days().take(span as usize + 1).filter(works).collect()
        } else {
            Vec::new()
        };
        check.done()?;
        if days.is_empty() {
            let field = if self.off_weekdays.is_empty() { "off_dates" } else { "off_weekdays" };
            let mut check = Check::new();
            check.refuse(
                field,
                format!(
                    "every day from {from} to {to} is a day off; leave a working day, or ask for more days"
                ),
            );
            check.done()?;
        }
        Ok(PlanRequest { from, to, days, figures, defaults })
    }

    fn check_days(&self, check: &mut Check, now: DateTime<Utc>, from: NaiveDate, to: NaiveDate) {
        check.date("from", from);
        if let Some(to) = self.to {
            check.date("to", to);
        }
        check.range(Some(from), Some(to));
        // The last time zone in which a day ends is 12 hours behind UTC.
        let earliest = local_date(now, chrono_tz::Tz::Etc__GMTPlus12);
        if from < earliest {
            check
                .refuse("from", format!("{from} is over in every time zone; give {earliest} or a later day"));
        }
        if to.signed_duration_since(from).num_days() >= MOST_DAYS {
            let last = later(from, MOST_DAYS - 1);
            check.refuse(
                "to",
                format!("{to} is more than half a year after the first day; give {last} or an earlier day"),
            );
        }
        if self.off_dates.len() > MOST_OFF_DATES {
            let message = format!("it has {} dates; give at most {MOST_OFF_DATES}", self.off_dates.len());
            check.refuse("off_dates", message);
        }
    }

    /// The figures, and the names of those that are defaults.
    fn figures(&self, check: &mut Check) -> (CostFigures, Vec<&'static str>) {
        let usual = CostFigures::DEFAULT;
        let mut defaults = Vec::new();
        let mut own = |name: &'static str, given: Option<f64>, usual: f64, bounds: Bounds| {
            if given.is_none() {
                defaults.push(name);
            }
            let value = given.unwrap_or(usual);
            check.between(name, value, bounds);
            value
        };
        let trip_cost = own("trip_cost", self.trip_cost, usual.trip_cost, COST);
        // If a trip costs less than the default stop, a stop costs as much as the trip.
        let stop_cost = own("stop_cost", self.stop_cost, usual.stop_cost.min(trip_cost.max(0.0)), COST);
        let cost_per_day_early =
            own("cost_per_day_early", self.cost_per_day_early, usual.cost_per_day_early, COST);
        let cost_per_day_late =
            own("cost_per_day_late", self.cost_per_day_late, usual.cost_per_day_late, COST);
        let nearby_km = own("nearby_km", self.nearby_km, usual.nearby_km, NEARBY_KM);
        if self.most_minutes.is_none() {
            defaults.push("most_minutes");
        }
        let most_minutes = self.most_minutes.unwrap_or(usual.most_minutes);
        check.between("most_minutes", f64::from(most_minutes), TRIP_MINUTES);
        if trip_cost >= 0.0 && stop_cost > trip_cost {
            check.refuse(
                "stop_cost",
                format!("{stop_cost} is more than trip_cost, {trip_cost}; then sharing a trip never pays"),
            );
        }
        let figures = CostFigures {
            trip_cost,
            stop_cost,
            cost_per_day_early,
            cost_per_day_late,
            most_minutes,
            nearby_km,
        };
        (figures, defaults)
    }
}
