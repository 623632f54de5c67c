//! Dates that do not come from an accumulated figure: longest intervals, first inspections, makers' ratings and
//! days of the year.

use crate::domain::base::error::Result;
use crate::domain::model::duty::{DecidedBy, Decides, Duty, Season};
use crate::domain::model::duty_settings::DutyFigures;
use crate::domain::model::part::{MonthDay, Part};
use crate::domain::model::reason::Reason;
use chrono::{Datelike, Days, Months, NaiveDate};
use eavesward_engine::frost::{DRAIN_DAYS_BEFORE, Frost};

/// A duty of the season that is done this many days before its day counts for that season. Judgement: with half a
/// year, the work of one season does not count for the next.
const SEASON_DAYS: u64 = 180;

/// Months from installation to the first inspection of a coupling's bands. Common practice, no source.
const FIRST_LOOK_MONTHS: u32 = 1;

/// A date, what kind it is, and its reason.
#[derive(Debug)]
pub struct Dated {
    /// The date.
    pub on: NaiveDate,
    /// What kind of date it is.
    pub by: DecidedBy,
    /// Why.
    pub reason: Reason,
}

/// The day from which a date of the calendar counts.
#[derive(Clone, Copy, Debug)]
pub struct Since {
    /// The day.
    pub day: NaiveDate,
    /// Whether the duty was ever done. Otherwise the day is that of the installation.
    pub done_before: bool,
}

/// The end of a duty's longest interval, with its source.
pub fn ceiling(figures: DutyFigures, since: Since) -> Option<Dated> {
    if figures.duty == Duty::CheckBands && !since.done_before {
        let on = since.day.checked_add_months(Months::new(FIRST_LOOK_MONTHS))?;
        return Some(Dated { on, by: DecidedBy::FirstLook, reason: Reason::FirstLook });
    }
    let ceiling = figures.ceiling?;
    let on = since.day.checked_add_months(Months::new(ceiling.months))?;
    let source = (!ceiling.own).then(|| ceiling.source.to_owned());
    Some(Dated {
        on,
        by: DecidedBy::LongestInterval,
        reason: Reason::LongestInterval { months: ceiling.months, source },
    })
}

/// The day on which a maker's rating in hours is used up.
pub fn rating(part: &Part, duty: Duty, since: Since) -> Option<Dated> {
    let (Part::DisinfectionLamp { rated_hours: Some(hours), hours_per_day }, Duty::ChangeLamp) = (part, duty)
    else {
        return None;
    };
    let days = hours / hours_per_day;
    let reason = Reason::RatedHours { hours: *hours, hours_per_day: *hours_per_day };
    // Only whole days that the rating surely covers. A rating of centuries gives no date.
    let on = since.day.checked_add_days(Days::new(days.floor().min(80_000.0) as u64))?;
    Some(Dated { on, by: DecidedBy::Rating, reason })
}

/// What the season says about a duty.
#[derive(Debug, Default)]
pub struct Seasonal {
    /// The next date of the duty.
    pub dated: Option<Dated>,
    /// Why there is no date, or what to send.
    pub wanting: Option<Reason>,
}

/// When frost begins and ends at exposed pipework.
#[derive(Clone, Copy, Debug)]
struct Frosts {
    drain: Yearly,
    restart: Yearly,
    first: MonthDay,
    last: MonthDay,
    /// Whether the days were given. Otherwise they come from the monthly mean minima.
    given: bool,
}

impl Frosts {
    /// The days that were given, or those that follow from the monthly mean minima. If there are none, the reason.
    fn of(
        first: Option<MonthDay>,
        last: Option<MonthDay>,
        minimum_c: Option<&[f64; 12]>,
    ) -> Result<std::result::Result<Self, Reason>> {
        if let (Some(first), Some(last)) = (first, last) {
            let drain = Yearly { day: first, ahead: u64::from(DRAIN_DAYS_BEFORE) };
            return Ok(Ok(Self { drain, restart: Yearly { day: last, ahead: 0 }, first, last, given: true }));
        }
        let Some(minimum_c) = minimum_c else {
            return Ok(Err(Reason::FrostUnknown));
        };
        Ok(match Frost::from_minima(minimum_c)? {
            Frost::None => Err(Reason::FrostNever),
            Frost::Rare { yearly_chance } => {
                Err(Reason::FrostRare { percent: (yearly_chance * 100.0).round().max(1.0) })
            }
            Frost::AnyTime => Err(Reason::FrostAnyTime),
            Frost::Season(season) => {
                let days = [season.drain_by, season.restart, season.first, season.last].map(month_day);
                let [Some(drain), Some(restart), Some(first), Some(last)] = days else {
                    return Ok(Err(Reason::FrostWithoutDay));
                };
                Ok(Self {
                    drain: Yearly { day: drain, ahead: 0 },
                    restart: Yearly { day: restart, ahead: 0 },
                    first,
                    last,
                    given: false,
                })
            }
        })
    }
}

/// A day of a year of 365.
fn month_day(day_of_year: u32) -> Option<MonthDay> {
    // 2023 has no 29 February.
    let date = NaiveDate::from_yo_opt(2023, day_of_year)?;
    Some(MonthDay { month: date.month(), day: date.day() })
}

/// The next date of a seasonal duty.
///
/// A missed season ends when the opposite one comes. For example, pipes that were not drained in autumn need no
/// draining once the frost has gone. The next autumn counts then.
pub fn season(
    part: &Part,
    duty: Duty,
    since: Since,
    minimum_c: Option<&[f64; 12]>,
    as_of: NaiveDate,
) -> Result<Seasonal> {
    let Part::ExposedPipework { first_frost, last_frost } = *part else { return Ok(Seasonal::default()) };
    let frosts = match Frosts::of(first_frost, last_frost, minimum_c)? {
        Ok(frosts) => frosts,
        Err(wanting) => return Ok(Seasonal { dated: None, wanting: Some(wanting) }),
    };
    let (this, opposite, reason) = match duty.facts().decides {
        Decides::Season(Season::BeforeFrost) => {
            let reason = Reason::FrostBegins { day: frosts.first, given: frosts.given };
            (frosts.drain, frosts.restart, reason)
        }
        Decides::Season(Season::AfterFrost) => {
            let reason = Reason::FrostEnds { day: frosts.last, given: frosts.given };
            (frosts.restart, frosts.drain, reason)
        }
        Decides::Prediction(_) | Decides::Ceiling | Decides::RatingOrCeiling => {
            return Ok(Seasonal::default());
        }
    };
    let next = || {
        let after =
            if since.done_before { since.day.checked_add_days(Days::new(SEASON_DAYS))? } else { since.day };
        let mut on = this.after(after)?;
        while opposite.after(on)? <= as_of {
            on = this.after(on)?;
        }
        Some(on)
    };
    Ok(Seasonal { dated: next().map(|on| Dated { on, by: DecidedBy::Season, reason }), wanting: None })
}

/// A date that comes every year, some days before a day of the year.
#[derive(Clone, Copy, Debug)]
struct Yearly {
    day: MonthDay,
    ahead: u64,
}

impl Yearly {
    /// The first such date after a day.
    fn after(self, day: NaiveDate) -> Option<NaiveDate> {
        (day.year()..=day.year() + 2)
            .filter_map(|year| self.day.in_year(year)?.checked_sub_days(Days::new(self.ahead)))
            .find(|on| *on > day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::model::duty_settings::DutySettings;

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn pipes() -> Part {
        Part::ExposedPipework {
            first_frost: Some(MonthDay { month: 10, day: 25 }),
            last_frost: Some(MonthDay { month: 4, day: 20 }),
        }
    }

    #[test]
    fn a_season_comes_once_a_year_whenever_it_was_last_done() {
        let on = |duty, since: &str, done_before, as_of: &str| {
            let since = Since { day: day(since), done_before };
            season(&pipes(), duty, since, None, day(as_of)).unwrap().dated.map(|dated| dated.on)
        };
        let drain = |since, done_before| on(Duty::DrainForFrost, since, done_before, since);
        // Two weeks before 25 October; done early, on the day, or late it counts for the same winter.
        assert_eq!(drain("2025-06-01", false), Some(day("2025-10-11")));
        assert_eq!(drain("2025-09-20", true), Some(day("2026-10-11")));
        assert_eq!(drain("2025-10-11", true), Some(day("2026-10-11")));
        assert_eq!(drain("2025-12-20", true), Some(day("2026-10-11")));
        assert_eq!(drain("2025-12-20", false), Some(day("2026-10-11")));
        assert_eq!(on(Duty::RestartAfterFrost, "2025-06-01", false, "2025-06-01"), Some(day("2026-04-20")));
        // Missed in 2025: still due through the winter, lapsed once the frost is over.
        assert_eq!(on(Duty::DrainForFrost, "2025-06-01", false, "2026-04-19"), Some(day("2025-10-11")));
        assert_eq!(on(Duty::DrainForFrost, "2025-06-01", false, "2026-04-20"), Some(day("2026-10-11")));
    }

    #[test]
    fn bands_are_looked_at_after_a_month_and_then_yearly() {
        let figures = DutySettings::default().figures(Duty::CheckBands);
        let first = ceiling(figures, Since { day: day("2026-01-31"), done_before: false }).unwrap();
        assert_eq!((first.on, first.by), (day("2026-02-28"), DecidedBy::FirstLook));
        let later = ceiling(figures, Since { day: day("2026-02-28"), done_before: true }).unwrap();
        assert_eq!((later.on, later.by), (day("2027-02-28"), DecidedBy::LongestInterval));
    }

    #[test]
    fn days_of_frost_follow_from_mean_minima() {
        let pipes = Part::ExposedPipework { first_frost: None, last_frost: None };
        let since = Since { day: day("2026-06-01"), done_before: false };
        let on = |duty, minimum_c: Option<&[f64; 12]>| {
            season(&pipes, duty, since, minimum_c, day("2026-06-01")).unwrap()
        };
        // Cold winters of the north: drained in autumn, filled again in spring.
        let cold = [-8.0, -7.0, -3.0, 2.0, 7.0, 11.0, 13.0, 12.0, 8.0, 3.0, -1.0, -6.0];
        let drain = on(Duty::DrainForFrost, Some(&cold)).dated.unwrap().on;
        assert!((day("2026-08-20")..day("2026-10-05")).contains(&drain), "{drain}");
        let restart = on(Duty::RestartAfterFrost, Some(&cold)).dated.unwrap().on;
        assert!((day("2027-04-15")..day("2027-06-05")).contains(&restart), "{restart}");
        let warm = on(Duty::DrainForFrost, Some(&[20.0; 12]));
        assert!(warm.dated.is_none() && warm.wanting == Some(Reason::FrostNever));
        let unknown = on(Duty::DrainForFrost, None);
        assert!(unknown.dated.is_none() && unknown.wanting == Some(Reason::FrostUnknown));
    }

    #[test]
    fn ratings_count_whole_days() {
        let since = Since { day: day("2026-01-01"), done_before: true };
        let lamp = Part::DisinfectionLamp { rated_hours: Some(100.0), hours_per_day: 24.0 };
        let on = rating(&lamp, Duty::ChangeLamp, since).map(|dated| dated.on);
        assert_eq!(on, Some(day("2026-01-05")));
    }
}
