//! Dates that do not come from a tally: ceilings, first looks, makers' ratings and days of the year.

use crate::domain::component::{MonthDay, Part};
use crate::domain::duty::{DecidedBy, Duty};
use crate::domain::duty_settings::{Figures, OWN};
use chrono::{Datelike, Days, Months, NaiveDate};

/// Days before the first frost by which exposed pipework is to be drained. Judgement.
const DAYS_BEFORE_FROST: u64 = 14;
/// A seasonal duty done this many days before its day of the year counts for that season. Judgement: half a year keeps
/// one season's work from being taken for the next one's.
const SEASON_DAYS: u64 = 180;
/// The first look at a coupling's bands after installation. Common practice, no source.
const FIRST_LOOK_MONTHS: u32 = 1;

/// A date, what it is, and a sentence that explains it.
#[derive(Debug)]
pub struct Dated {
    /// The date.
    pub on: NaiveDate,
    /// What it is.
    pub by: DecidedBy,
    /// Why.
    pub reason: String,
}

/// What a calendar date counts from.
#[derive(Clone, Copy, Debug)]
pub struct Since {
    /// The day.
    pub day: NaiveDate,
    /// Whether the duty was ever done; otherwise the day is that of the installation.
    pub done_before: bool,
}

/// The ceiling of a duty, with its source.
pub fn ceiling(figures: Figures, since: Since) -> Option<Dated> {
    if figures.duty == Duty::CheckBands && !since.done_before {
        let on = since.day.checked_add_months(Months::new(FIRST_LOOK_MONTHS))?;
        let reason =
            "Bands settle: they are looked at a month after installation (common practice, no source).";
        return Some(Dated { on, by: DecidedBy::FirstLook, reason: reason.to_owned() });
    }
    let ceiling = figures.ceiling?;
    let on = since.day.checked_add_months(Months::new(ceiling.months))?;
    let source = if ceiling.own { OWN.to_owned() } else { format!("source: {}", ceiling.source) };
    let months =
        if ceiling.months == 1 { "1 month".to_owned() } else { format!("{} months", ceiling.months) };
    let reason = format!("It is not left for longer than {months} ({source}).");
    Some(Dated { on, by: DecidedBy::Ceiling, reason })
}

/// The day on which a maker's rating is used up.
///
/// `demand_l_per_day` is the system's; a filter of a system without demand is not used up.
pub fn rating(part: &Part, duty: Duty, since: Since, demand_l_per_day: f64) -> Option<Dated> {
    let (days, reason) = match (part, duty) {
        (Part::CartridgeFilter { rated_volume_l: Some(litres) }, Duty::ChangeCartridge)
            if demand_l_per_day > 0.0 =>
        {
            (
                litres / demand_l_per_day,
                format!("The maker's {litres} L are used up at {demand_l_per_day} L a day."),
            )
        }
        (Part::DisinfectionLamp { rated_hours: Some(hours), hours_per_day }, Duty::ChangeLamp) => {
            (hours / hours_per_day, format!("The maker's {hours} h are used up at {hours_per_day} h a day."))
        }
        _ => return None,
    };
    // Whole days that are surely covered; ratings of centuries are no dates.
    let on = since.day.checked_add_days(Days::new(days.floor().min(80_000.0) as u64))?;
    Some(Dated { on, by: DecidedBy::Rating, reason })
}

/// The next day of the year on which a seasonal duty falls.
///
/// A season that was missed lapses when its opposite comes: pipes that were not drained in autumn need no draining once
/// the frost has gone, and the next autumn counts.
pub fn season(part: &Part, duty: Duty, since: Since, as_of: NaiveDate) -> Option<Dated> {
    let Part::ExposedPipework { first_frost: Some(first_frost), last_frost: Some(last_frost) } = *part else {
        return None;
    };
    let drain = Yearly { day: first_frost, ahead: DAYS_BEFORE_FROST };
    let restart = Yearly { day: last_frost, ahead: 0 };
    let (this, opposite, reason) = match duty {
        Duty::DrainForFrost => {
            let day = name(first_frost);
            let reason = format!("Frost is to be expected from {day}; pipes are drained a fortnight before.");
            (drain, restart, reason)
        }
        Duty::RestartAfterFrost => {
            (restart, drain, format!("Frost is no longer to be expected after {}.", name(last_frost)))
        }
        _ => return None,
    };
    let after =
        if since.done_before { since.day.checked_add_days(Days::new(SEASON_DAYS))? } else { since.day };
    let mut on = this.after(after)?;
    while opposite.after(on)? <= as_of {
        on = this.after(on)?;
    }
    Some(Dated { on, by: DecidedBy::Season, reason })
}

/// What to send where a duty of the season has no day of the year to go by.
pub fn wanting(part: &Part) -> Option<String> {
    match part {
        Part::ExposedPipework { first_frost: None, .. } => Some(
            "When frost comes here is not known: give the component its days of first and last frost (first_frost, \
             last_frost)."
                .to_owned(),
        ),
        _ => None,
    }
}

/// A date that comes every year: so many days ahead of a day of the year.
#[derive(Clone, Copy)]
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

fn name(day: MonthDay) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let month = (day.month as usize).checked_sub(1).and_then(|month| MONTHS.get(month)).unwrap_or(&"?");
    format!("{} {month}", day.day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::duty_settings::DutySettings;

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
            season(&pipes(), duty, Since { day: day(since), done_before }, day(as_of)).map(|dated| dated.on)
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
        assert_eq!((later.on, later.by), (day("2027-02-28"), DecidedBy::Ceiling));
    }

    #[test]
    fn ratings_count_whole_days() {
        let since = Since { day: day("2026-01-01"), done_before: true };
        let filter = Part::CartridgeFilter { rated_volume_l: Some(1000.0) };
        let on = |demand| rating(&filter, Duty::ChangeCartridge, since, demand).map(|dated| dated.on);
        assert_eq!(on(300.0), Some(day("2026-01-04")));
        assert_eq!(on(0.0), None);
    }
}
