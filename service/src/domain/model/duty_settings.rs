//! The account's own figures for duties, which replace the defaults: the longest interval, the chance of being past
//! the limit at which a duty falls due, and the lead times. They apply to every system of the account.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::check::Check;
use crate::domain::model::duty::{Decides, Duty};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// An account's own longest interval, months. Judgement: no part that is inspected lasts longer than twenty years.
pub const CEILING_MONTHS: Bounds = Bounds::of(1.0, 240.0);

/// Tolerances, as chances. Judgement: beyond these bounds the date depends only on the tail of the distribution.
pub const TOLERANCE: Bounds = Bounds::of(0.01, 0.99);

/// Days before the due date from which a task is announced, if the account does not say.
pub const DEFAULT_LEAD_DAYS: u32 = 7;

/// The longest lead time, and the most that a date may move without a reminder, days. Judgement: a year ahead is
/// planning.
const MOST_LEAD_DAYS: f64 = 365.0;

/// Days before a due date from which a task is announced.
pub const LEAD_DAYS: Bounds = Bounds::of(0.0, MOST_LEAD_DAYS);

/// Days by which a date has to move before it is reported again.
pub const MOVE_DAYS: Bounds = Bounds::of(1.0, MOST_LEAD_DAYS);

/// The source that is given for a figure of the account.
pub const OWN_SOURCE: &str = "the account's own figure";

/// What an account has set for one duty. An absent figure means the default.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Overrides {
    /// The longest interval, in months since it was last done.
    pub ceiling_months: Option<u32>,
    /// Chance of being past the limit at which it falls due, 0 to 1.
    pub tolerance: Option<f64>,
    /// Days before the due date from which a task is announced.
    pub lead_days: Option<u32>,
    /// Days by which a reported due date has to move before it is reported again.
    pub move_days: Option<u32>,
}

impl Overrides {
    /// Checks the figures. To be called under their path.
    pub(crate) fn check(self, check: &mut Check, duty: Duty) {
        check.between_if_given("longest_interval_months", self.ceiling_months.map(f64::from), CEILING_MONTHS);
        check.between_if_given("lead_days", self.lead_days.map(f64::from), LEAD_DAYS);
        check.between_if_given("move_days", self.move_days.map(f64::from), MOVE_DAYS);
        let Some(tolerance) = self.tolerance else { return };
        if duty.tolerance().is_none() {
            let message = format!(
                "the date of {} is not predicted from a limit: {} decides; leave tolerance out",
                duty.word(),
                decides(duty)
            );
            check.refuse("tolerance", message);
        } else {
            check.between("tolerance", tolerance, TOLERANCE);
        }
    }
}

/// What decides the date of a duty that is not predicted.
const fn decides(duty: Duty) -> &'static str {
    match duty.facts().decides {
        Decides::Prediction(_) | Decides::Ceiling => "the longest interval",
        Decides::Season(_) => "the season",
        Decides::RatingOrCeiling => "the maker's rating or the longest interval",
    }
}

/// The source of a duty's longest interval.
pub fn ceiling_source(duty: Duty, own: bool) -> Option<&'static str> {
    if own { Some(OWN_SOURCE) } else { duty.ceiling().map(|ceiling| ceiling.source) }
}

/// The longest interval of a duty that applies to an account.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LongestInterval {
    /// Months since it was last done.
    pub months: u32,
    /// Where the figure comes from.
    pub source: &'static str,
    /// Whether the account gave it.
    pub own: bool,
}

/// The figures that decide when a duty falls due for an account.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DutyFigures {
    /// The duty.
    pub duty: Duty,
    /// The longest interval; none where only the accumulated figure or the season decides.
    pub ceiling: Option<LongestInterval>,
    /// Chance of being past the limit at which it falls due. None where no date is predicted from a limit.
    pub tolerance: Option<f64>,
}

/// When reminders of a duty are sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LeadTimes {
    /// Days before the due date from which a task is announced.
    pub lead_days: u32,
    /// Days by which a reported due date has to move before it is reported again.
    pub move_days: u32,
}

impl LeadTimes {
    /// What an account has set, with the defaults for the rest.
    ///
    /// By default a date may move by half the lead time before it is reported again, within 3 to 14 days.
    /// Judgement: within that, a planned trip still fits.
    pub fn of(own: Overrides) -> Self {
        let lead_days = own.lead_days.unwrap_or(DEFAULT_LEAD_DAYS);
        Self { lead_days, move_days: own.move_days.unwrap_or((lead_days / 2).clamp(3, 14)) }
    }
}

/// What an account has set for each duty.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DutySettings(BTreeMap<Duty, Overrides>);

impl DutySettings {
    /// The figures for a duty: the account's own ones, or else the defaults.
    pub fn figures(&self, duty: Duty) -> DutyFigures {
        let own = self.0.get(&duty).copied().unwrap_or_default();
        let default =
            duty.ceiling().map(|c| LongestInterval { months: c.months, source: c.source, own: false });
        let ceiling = own
            .ceiling_months
            .map(|months| LongestInterval { months, source: OWN_SOURCE, own: true })
            .or(default);
        DutyFigures {
            duty,
            ceiling,
            tolerance: own.tolerance.or(duty.tolerance().map(|default| default.chance)),
        }
    }
}

impl DutySettings {
    /// When reminders of a duty are sent.
    pub fn lead(&self, duty: Duty) -> LeadTimes {
        LeadTimes::of(self.0.get(&duty).copied().unwrap_or_default())
    }

    /// What was set, in the order of the duties.
    pub fn own(&self) -> impl Iterator<Item = (Duty, Overrides)> + '_ {
        self.0.iter().map(|(duty, own)| (*duty, *own))
    }
}

impl FromIterator<(Duty, Overrides)> for DutySettings {
    fn from_iter<T: IntoIterator<Item = (Duty, Overrides)>>(own: T) -> Self {
        Self(own.into_iter().collect())
    }
}

/// A duty with what the account has set for it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DutySetting {
    /// The duty.
    pub duty: Duty,
    /// What the account has set.
    pub own: Overrides,
    /// Counts up with every change; 0 before the first.
    pub version: i64,
    /// When it was last changed.
    pub updated_at: Option<DateTime<Utc>>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn own_figures_stand_in_the_place_of_the_defaults_and_nowhere_else() {
        let own = Overrides { ceiling_months: Some(30), tolerance: Some(0.35), ..Overrides::default() };
        let settings: DutySettings = [(Duty::CleanScreen, own)].into_iter().collect();
        let set = settings.figures(Duty::CleanScreen);
        assert_eq!(set.ceiling, Some(LongestInterval { months: 30, source: OWN_SOURCE, own: true }));
        assert_eq!(set.tolerance, Some(0.35));
        for &duty in Duty::ALL.iter().filter(|duty| **duty != Duty::CleanScreen) {
            let figures = settings.figures(duty);
            assert_eq!(figures, DutySettings::default().figures(duty));
            assert_eq!(figures.ceiling.map(|longest| longest.source), ceiling_source(duty, false));
        }
        let half = Overrides { tolerance: None, ..own };
        let settings: DutySettings = [(Duty::RemoveSediment, half)].into_iter().collect();
        let set = settings.figures(Duty::RemoveSediment);
        assert_eq!((set.ceiling.map(|longest| longest.months), set.tolerance), (Some(30), Some(0.2)));
    }

    #[test]
    fn a_tolerance_is_only_taken_where_a_mark_decides() {
        for &duty in Duty::ALL {
            for (tolerance, fits) in
                [(0.01, true), (0.99, true), (0.009, false), (0.991, false), (f64::NAN, false)]
            {
                let mut check = Check::new();
                Overrides { tolerance: Some(tolerance), ..Overrides::default() }.check(&mut check, duty);
                assert_eq!(check.done().is_ok(), fits && duty.tolerance().is_some(), "{duty:?} {tolerance}");
            }
            // A duty that can be done in part builds up towards a limit.
            assert!(duty.tolerance().is_some() || !duty.facts().builds_up, "{duty:?}");
        }
    }
}
