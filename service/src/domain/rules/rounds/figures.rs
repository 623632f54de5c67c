//! What rounds are asked for with: the days, the days off, and what things cost.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::check::Check;
use crate::domain::base::clock::local_date;
use crate::domain::base::error::Result;
use crate::domain::base::ids::{PropertyId, SystemId};
use crate::domain::rules::rounds::allowed::later;
use crate::domain::rules::rounds::problem::{Cost, MOST_DAYS, MOST_RATE, Rates};
use chrono::{DateTime, Datelike, NaiveDate, Utc, Weekday};
use std::collections::BTreeSet;

/// Days of a plan when the caller does not say: four weeks.
const USUAL_DAYS: i64 = 28;

/// The most dates on which nobody works.
pub const MOST_OFF_DATES: usize = 200;

/// Minutes of a trip that can be asked for: up to a day.
pub const TRIP_MINUTES: Bounds = Bounds::of(1.0, 1440.0);

/// Distances between the properties of a trip that can be asked for, km. Judgement: farther is no trip of a day.
pub const NEARBY_KM: Bounds = Bounds::of(0.0, 500.0);

/// Costs are counted in thousandths.
const THOUSANDTHS: f64 = 1000.0;

/// What a trip, a stop or a day may cost, in the caller's own unit.
pub const COST: Bounds = Bounds::of(0.0, MOST_RATE as f64 / THOUSANDTHS);

/// What was asked for; what is absent has a default.
#[derive(Clone, Debug, Default)]
pub struct ProposalRequest {
    /// The first day; today (UTC) when absent.
    pub from: Option<NaiveDate>,
    /// The last day; four weeks in all when absent.
    pub to: Option<NaiveDate>,
    /// Tasks at this property alone.
    pub property_id: Option<PropertyId>,
    /// Tasks of this system alone.
    pub system_id: Option<SystemId>,
    /// Days of the week on which nobody works.
    pub off_weekdays: Vec<Weekday>,
    /// Dates on which nobody works.
    pub off_dates: Vec<NaiveDate>,
    /// Whether tasks of rounds that are planned already are put into rounds as well.
    pub include_planned: bool,
    /// What a trip costs.
    pub trip_cost: Option<f64>,
    /// What each further property of a trip costs.
    pub stop_cost: Option<f64>,
    /// What a day early costs.
    pub cost_per_day_early: Option<f64>,
    /// What a day late costs.
    pub cost_per_day_late: Option<f64>,
    /// The most minutes of a trip.
    pub most_minutes: Option<u32>,
    /// How near properties are that may share a trip, km; 0 for each by itself.
    pub nearby_km: Option<f64>,
}

/// What things cost, in any unit of the caller's: only the ratios count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CostFigures {
    /// A trip, however many properties it goes to.
    pub trip_cost: f64,
    /// Each property of a trip beyond the first; not more than a trip.
    pub stop_cost: f64,
    /// A day that a task is done before the day it is best done on.
    pub cost_per_day_early: f64,
    /// A day that it is done after it.
    pub cost_per_day_late: f64,
    /// The most minutes of work of a trip; the way there is not counted.
    pub most_minutes: u32,
    /// How near properties are that may share a trip, km along the great circle, pair by pair; 0 for each by itself.
    pub nearby_km: f64,
}

impl CostFigures {
    /// What counts where the caller says nothing. All of it is judgement: a trip is worth a task four months early or one
    /// a month late; a neighbour costs a quarter of a trip; six hours of work leave room for the ways of a day.
    pub const DEFAULT: Self = Self {
        trip_cost: 60.0,
        stop_cost: 15.0,
        cost_per_day_early: 0.5,
        cost_per_day_late: 2.0,
        most_minutes: 360,
        nearby_km: 0.0,
    };

    /// As the problem counts them: in whole thousandths.
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

/// A cost as people write it.
pub fn cost(thousandths: Cost) -> f64 {
    thousandths as f64 / THOUSANDTHS
}

/// What was asked for, checked and completed.
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
                format!("nobody works on any day from {from} to {to}; leave a day or ask for more"),
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
        // The last place on earth where a day ends is twelve hours behind UTC.
        let earliest = local_date(now, chrono_tz::Tz::Etc__GMTPlus12);
        if from < earliest {
            check.refuse(
                "from",
                format!("{from} is over everywhere; rounds are put together from {earliest} on"),
            );
        }
        if to.signed_duration_since(from).num_days() >= MOST_DAYS {
            let last = later(from, MOST_DAYS - 1);
            check
                .refuse("to", format!("{to} is more than half a year on; ask for days up to {last} at most"));
        }
        if self.off_dates.len() > MOST_OFF_DATES {
            let message = format!("{} dates; at most {MOST_OFF_DATES} are taken", self.off_dates.len());
            check.refuse("off_dates", message);
        }
    }

    /// The figures, and the names of those that were left to their defaults.
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
        // A trip that costs less than a stop usually does makes stops as cheap.
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
                format!("{stop_cost} is more than a trip's {trip_cost}; nobody would share a trip"),
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
