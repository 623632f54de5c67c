//! The days on which a task may be done: from its window, its longest interval and the time since it was last done.
//!
//! - **Not before** the early date of its window (10 %), or before the last quarter of its interval, whichever is
//!   earlier. The interval runs from when it was last done to when it falls due. Earlier work would be wasted. A
//!   duty of the season may begin [`SEASON_DAYS_BEFORE`] days before its day, but a restart never before the frost
//!   has gone.
//! - **Best** on its due date. If the work empties the tank, it is best on the day that costs least water, if that
//!   day is allowed.
//! - **Not after** the last day on which its state is not yet late. That is a week after the due date, and up to a
//!   fortnight if its window ends later or has no end. Draining for frost has one week. A task that fell due before
//!   the first day of the plan has a week from that day.
//! - **Not after its longest interval**, if that is still to come. This holds for the account's own interval, and
//!   for every duty with a small tolerance because it protects water quality or people. The intervals of other
//!   duties are round figures. For them the state *late* also allows a fortnight.

use crate::domain::model::duty::{DecidedBy, Duty};
use crate::domain::model::task::{LATE_DAYS, LATE_DAYS_PAST_WINDOW, Task};
use chrono::{NaiveDate, TimeDelta};

/// After this share of its interval, in quarters, a task may be done. The interval runs from last done to due.
/// Judgement: a shared trip may cost a quarter of it.
const QUARTERS_LEFT_ALONE: i64 = 3;

/// How many days before its day a duty of the season may be done. Judgement: a fortnight earlier costs some days of
/// rain and saves a trip.
pub const SEASON_DAYS_BEFORE: i64 = 14;

/// Days from the first day of the plan within which a late task has to be done. Judgement: a weekly round needs a
/// week to get there.
const OVERDUE_DAYS: i64 = 7;

/// A duty with a default tolerance below this chance protects water quality or people.
const CAUTIOUS: f64 = 0.5;

/// When a task may be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Allowed {
    /// Not before.
    pub earliest_on: NaiveDate,
    /// Best then.
    pub aim_on: NaiveDate,
    /// Not after.
    pub latest_on: NaiveDate,
}

/// When a task may be done in a plan from one day to another; none without a due date.
pub fn allowed(task: &Task, from: NaiveDate, to: NaiveDate) -> Option<Allowed> {
    let due = task.due_on?;
    let prediction = task.forecast.prediction.as_ref();
    let window = prediction.and_then(|prediction| prediction.window);
    let season = task.forecast.decided_by == DecidedBy::Season;
    let span = due.signed_duration_since(task.forecast.since).num_days().max(0);
    let quarter = later(task.forecast.since, span * QUARTERS_LEFT_ALONE / 4);
    let earliest_on = if season {
        later(due, if task.duty == Duty::RestartAfterFrost { 0 } else { -SEASON_DAYS_BEFORE })
    } else {
        window.and_then(|window| window.early_on).map_or(quarter, |early| early.min(quarter))
    };
    let week = later(due, LATE_DAYS_PAST_WINDOW);
    let latest = match window.and_then(|window| window.late_on) {
        _ if task.duty == Duty::DrainForFrost => week,
        Some(late) => late.clamp(week, later(due, LATE_DAYS)),
        None => later(due, LATE_DAYS),
    };
    let latest = if due < from { latest.max(later(from, OVERDUE_DAYS)) } else { latest };
    let ceiling = task.forecast.ceiling_on.filter(|ceiling| *ceiling >= from && is_bounded(task));
    let latest_on = ceiling.map_or(latest, |ceiling| latest.min(ceiling));
    let earliest_on = earliest_on.min(due);
    let best = prediction.and_then(|prediction| prediction.best_day).map(|best| best.on);
    let within = best.filter(|best| (earliest_on.max(from)..=latest_on.min(to)).contains(best));
    Some(Allowed { earliest_on, aim_on: within.unwrap_or(due).max(from), latest_on })
}

/// Whether the task must be done by its longest interval. Otherwise it only falls due then.
fn is_bounded(task: &Task) -> bool {
    let cautious = task.duty.tolerance().is_some_and(|tolerance| tolerance.chance < CAUTIOUS);
    task.forecast.own_ceiling || cautious
}

/// The day this many days later.
pub fn later(day: NaiveDate, days: i64) -> NaiveDate {
    day.checked_add_signed(TimeDelta::days(days)).unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::base::ids::{AccountId, ComponentId, PropertyId, SystemId};
    use crate::domain::model::forecast::{BestDay, DutyForecast, Limit, Prediction, Window};
    use crate::domain::model::measure::Measure;
    use crate::domain::model::part::Kind;
    use crate::domain::model::task::TaskPlace;
    use chrono::DateTime;
    use uuid::Uuid;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    /// A duty last done on New Year's Day and due a hundred days later, on 11 April.
    fn task(duty: Duty, decided_by: DecidedBy) -> Task {
        let id = Uuid::nil();
        let place = TaskPlace {
            account_id: AccountId(id),
            property_id: PropertyId(id),
            property_name: String::new(),
            system_id: SystemId(id),
            system_name: String::new(),
        };
        let since = day("2026-01-01");
        let forecast = DutyForecast {
            due_on: Some(day("2026-04-11")),
            decided_by,
            ..DutyForecast::new(Some(ComponentId(id)), String::new(), Kind::Tank, duty, since)
        };
        Task::of(place, ComponentId(id), forecast, day("2026-03-01"), DateTime::UNIX_EPOCH)
    }

    fn predicted(early: Option<&str>, late: Option<&str>, best: Option<&str>) -> Task {
        let (value, prior_value, log_sd, prior_log_sd) = (1.0, 1.0, 0.5, 0.5);
        let (unit, source, findings, judgement) = (Measure::Sediment, String::new(), 0, true);
        let limit = Limit { value, unit, log_sd, prior_value, prior_log_sd, findings, source, judgement };
        let mut task = task(Duty::RemoveSediment, DecidedBy::Prediction);
        task.forecast.prediction = Some(Prediction {
            window: Some(Window { early_on: early.map(day), likely_on: None, late_on: late.map(day) }),
            best_day: best.map(|on| BestDay {
                on: day(on),
                water_lost_l: 0.0,
                water_lost_low_l: 0.0,
                water_lost_high_l: 0.0,
                in_wet_season: false,
            }),
            ..Prediction::new(0.2, limit)
        });
        task
    }

    fn days(task: &Task, from: &str) -> [String; 3] {
        let found = allowed(task, day(from), day("2026-06-30")).unwrap();
        [found.earliest_on, found.aim_on, found.latest_on].map(|day| day.to_string())
    }

    #[test]
    fn a_ceiling_leaves_the_last_quarter_and_a_fortnight() {
        // Three quarters of a hundred days after New Year's Day are 17 March.
        let task = task(Duty::WorkValve, DecidedBy::LongestInterval);
        assert_eq!(days(&task, "2026-03-01"), ["2026-03-17", "2026-04-11", "2026-04-25"]);
        let dateless = Task { due_on: None, ..task };
        assert_eq!(allowed(&dateless, day("2026-03-01"), day("2026-03-28")), None);
    }

    #[test]
    fn a_ceiling_that_counts_is_the_last_day() {
        let with = |duty, own_ceiling, on: &str| {
            let mut task = task(duty, DecidedBy::LongestInterval);
            (task.forecast.ceiling_on, task.forecast.own_ceiling) = (Some(day(on)), own_ceiling);
            task
        };
        let latest = |task: &Task, from| days(task, from)[2].clone();
        // The account's own figure, or a duty that protects water quality. A round figure of another duty is not a
        // last day.
        assert_eq!(latest(&with(Duty::WorkValve, true, "2026-04-11"), "2026-03-01"), "2026-04-11");
        assert_eq!(latest(&with(Duty::WorkValve, false, "2026-04-11"), "2026-03-01"), "2026-04-25");
        assert_eq!(Duty::RemoveSediment.tolerance().unwrap().chance, 0.2);
        assert_eq!(latest(&with(Duty::RemoveSediment, false, "2026-04-14"), "2026-03-01"), "2026-04-14");
        assert_eq!(latest(&with(Duty::RemoveSediment, false, "2026-05-20"), "2026-03-01"), "2026-04-25");
        // It still holds on its own day, and is over on the next.
        assert_eq!(latest(&with(Duty::WorkValve, true, "2026-04-13"), "2026-04-13"), "2026-04-13");
        assert_eq!(latest(&with(Duty::WorkValve, true, "2026-04-13"), "2026-04-14"), "2026-04-25");
    }

    #[test]
    fn a_window_widens_the_days_before_and_bounds_those_after() {
        let on = |early, late| days(&predicted(early, late, None), "2026-03-01");
        assert_eq!(on(Some("2026-03-05"), Some("2026-04-20")), ["2026-03-05", "2026-04-11", "2026-04-20"]);
        // A narrow window still leaves a quarter of the interval for a shared trip, and a week.
        assert_eq!(on(Some("2026-04-09"), Some("2026-04-12")), ["2026-03-17", "2026-04-11", "2026-04-18"]);
        // A wide or endless window ends where the task counts as late.
        assert_eq!(on(None, Some("2027-01-01")), ["2026-03-17", "2026-04-11", "2026-04-25"]);
        assert_eq!(on(None, None), ["2026-03-17", "2026-04-11", "2026-04-25"]);
    }

    #[test]
    fn the_best_day_for_emptying_is_aimed_at_where_it_is_allowed() {
        let on = |best, from| days(&predicted(Some("2026-03-05"), None, Some(best)), from)[1].clone();
        assert_eq!(on("2026-04-02", "2026-03-01"), "2026-04-02");
        assert_eq!(on("2026-04-02", "2026-04-05"), "2026-04-11", "it is over");
        assert_eq!(on("2026-05-20", "2026-03-01"), "2026-04-11", "it is too late");
    }

    #[test]
    fn a_season_keeps_to_its_days() {
        let on = |duty| days(&task(duty, DecidedBy::Season), "2026-03-01");
        assert_eq!(on(Duty::DrainForFrost), ["2026-03-28", "2026-04-11", "2026-04-18"]);
        assert_eq!(on(Duty::RestartAfterFrost), ["2026-04-11", "2026-04-11", "2026-04-25"]);
    }

    #[test]
    fn what_is_overdue_is_due_on_the_first_day() {
        let task = task(Duty::WorkValve, DecidedBy::LongestInterval);
        // Its fortnight is not over yet.
        assert_eq!(days(&task, "2026-04-15"), ["2026-03-17", "2026-04-15", "2026-04-25"]);
        // The fortnight is over: a week is left.
        assert_eq!(days(&task, "2026-05-01"), ["2026-03-17", "2026-05-01", "2026-05-08"]);
    }
}
