//! Duties and the figures that decide when they fall due.

use crate::Finding;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Something that has to be done to a component from time to time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    /// Clear leaves and moss off the roof.
    ClearRoof,
    /// Clear the gutter and its downpipes.
    ClearGutter,
    /// Clean the debris screen.
    CleanScreen,
    /// Drain and rinse a diverter that is emptied by hand.
    DrainDiverter,
    /// Clear the hole and rinse the chamber of a diverter that empties itself.
    ClearWeepHole,
    /// Replace a coupling.
    ReplaceCoupling,
    /// Check a coupling's bands and look over its rubber.
    CheckBands,
    /// Remove the sediment from the tank floor, from outside.
    RemoveSediment,
    /// Measure the depth of the sediment.
    MeasureSediment,
    /// Look over tank, lid and labels.
    LookOverTank,
    /// Check float, hose and screen of a floating intake.
    CheckIntake,
    /// Refill or check the seal of an overflow trap and its end screen.
    CheckTrap,
    /// Check the mesh of a vent.
    CheckMesh,
    /// Work a valve through its full travel.
    WorkValve,
    /// Compare a level gauge with a dip.
    CompareGauge,
    /// Check a pump.
    CheckPump,
    /// Check the charge of a pressure vessel.
    CheckVessel,
    /// Change a filter cartridge.
    ChangeCartridge,
    /// Change a disinfection lamp.
    ChangeLamp,
    /// Drain for frost.
    DrainForFrost,
    /// Restart after frost.
    RestartAfterFrost,
    /// A duty of a newer service; never accepted.
    #[serde(other)]
    Unknown,
}

/// What decided a due date.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum DecidedBy {
    /// The accumulated figure is predicted to reach the limit.
    Prediction,
    /// The longest time to leave it, because it comes before any predicted date or because nothing can be predicted.
    Ceiling,
    /// The first look after installation.
    FirstLook,
    /// A day of the year, which the account gave or the monthly mean minima lead one to expect.
    Season,
    /// A maker's rating that the account gave.
    Rating,
    /// Nothing: no date can be given, and `reasons` says why.
    Nothing,
    /// A word of a newer service.
    #[serde(other)]
    Unknown,
}

/// The account's own figures for one duty, as they are to be from now on: what is absent goes back to the default.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct DutySettingsRequest {
    /// Longest time to leave the duty, in months since it was last done; also for a duty that has no ceiling by default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ceiling_months: Option<u32>,
    /// Chance of being past the limit at which the duty falls due; only for duties whose date is predicted from a limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
    /// Days before the due date from which reminders tell of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// Days by which a due date that reminders told of has to move to be told of again; twice as many each time that it turns
    /// back, so that a date that swings is told of a few times only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub move_days: Option<u32>,
}

/// Own figures for one duty of a system that nobody has registered.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct DutySettingsInput {
    /// The duty; each at most once.
    pub duty: Duty,
    /// Longest time to leave it, in months since it was last done; the default when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ceiling_months: Option<u32>,
    /// Chance of being past the limit at which it falls due; the default when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
}

/// A default for the longest time to leave a duty.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DefaultCeiling {
    /// Months since it was last done.
    pub months: u32,
    /// Where the figure comes from.
    pub source: String,
}

/// A default for the chance of being past the limit at which a duty falls due.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DefaultTolerance {
    /// The chance, 0 to 1.
    pub chance: f64,
    /// Why it is this one.
    pub why: String,
}

/// The figures that decide when a duty falls due, and the account's own in their place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutySettings {
    /// The duty.
    pub duty: Duty,
    /// The same in words.
    pub title: String,
    /// The longest time to leave it unless the account says otherwise; absent where there is none.
    pub default_ceiling: Option<DefaultCeiling>,
    /// The tolerance unless the account says otherwise; absent where no date is predicted from a limit.
    pub default_tolerance: Option<DefaultTolerance>,
    /// The account's own ceiling in months, if it has set one.
    pub ceiling_months: Option<u32>,
    /// The account's own tolerance, if it has set one.
    pub tolerance: Option<f64>,
    /// Days before the due date from which reminders tell of it, unless the account says otherwise.
    pub default_lead_days: u32,
    /// Days by which a date that was told has to move to be told of again, unless the account says otherwise: half the lead
    /// time, from three days to a fortnight.
    pub default_move_days: u32,
    /// The account's own lead time in days, if it has set one.
    pub lead_days: Option<u32>,
    /// The account's own days of a move, if it has set them.
    pub move_days: Option<u32>,
    /// Version for `If-Match`; 0 until the account first sets something.
    pub version: i64,
    /// When the account last set something, back to the defaults included.
    pub updated_at: Option<DateTime<Utc>>,
}

/// What a component has taken since it was last served.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Accumulated {
    /// The accumulated figure on the day asked for.
    pub value: f64,
    /// Its unit, such as `mm of runoff` or `MJ/m2 of ultraviolet`.
    pub unit: String,
    /// The part of it that stands on daily readings.
    pub from_readings: f64,
    /// The part of it that the climate stands in for, on days without a reading.
    pub from_climate: f64,
    /// Days with a reading since the last service.
    pub days_read: u32,
    /// Days without one.
    pub days_unread: u32,
}

/// The accumulated figure at which a component wants care.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Limit {
    /// Its median, in the unit of the accumulated figure.
    pub value: f64,
    /// Its unit.
    pub unit: String,
    /// Standard deviation of its natural logarithm; 0 when it is known exactly.
    pub log_sd: f64,
    /// The median before anything was found.
    pub prior_value: f64,
    /// The standard deviation of its natural logarithm then.
    pub prior_log_sd: f64,
    /// Findings that stand behind it; with 0 it is the prior alone.
    pub findings: u32,
    /// Where the prior came from.
    pub source: String,
    /// Whether that source is judgement rather than a publication.
    pub judgement: bool,
}

/// The dates on which the accumulated figure reaches the limit with a chance of 10, 50 and 90 %.
///
/// A date in the past means that the chance was reached then; an absent one lies beyond the horizon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Window {
    /// 10 % chance.
    pub early_on: Option<NaiveDate>,
    /// 50 % chance.
    pub likely_on: Option<NaiveDate>,
    /// 90 % chance.
    pub late_on: Option<NaiveDate>,
}

/// What ages a coupling: two clocks run in parallel, and the earlier one gives the date.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum AgeingClock {
    /// The dose of ultraviolet light.
    Light,
    /// Days of ageing at 25 degrees C.
    Heat,
    /// A word of a newer service.
    #[serde(other)]
    Unknown,
}

/// The day on which work that empties the tank costs least water.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct BestDay {
    /// The day: inside the window, when least water is expected in the tank, before the wet season.
    pub on: NaiveDate,
    /// Litres expected in the tank then, which the work would lose.
    pub water_lost_l: f64,
    /// The same, with a chance of 10 % that it is less.
    pub water_lost_low_l: f64,
    /// The same, with a chance of 10 % that it is more.
    pub water_lost_high_l: f64,
    /// Whether it lies in the wet season, because every day that is about as low does.
    pub in_wet_season: bool,
}

/// What one finding taught about a limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Lesson {
    /// The visit.
    pub visit_id: Uuid,
    /// Its day.
    pub visited_on: NaiveDate,
    /// What was found.
    pub finding: Finding,
    /// What the part had taken since it was last clean, in the unit of the accumulated figure.
    pub accumulated: f64,
    /// The limit as it was believed before.
    pub limit_before: f64,
    /// The limit after it.
    pub limit_after: f64,
    /// The standard deviation of its natural logarithm after it.
    pub log_sd_after: f64,
    /// How much the finding counted: the share of the doubt that it took away, 0 to 1.
    pub weight: f64,
    /// Why it counted as it did, where that needs saying.
    pub remark: Option<String>,
}

/// What the next finding would be worth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct NextFinding {
    /// The standard deviation of the limit's natural logarithm that is to be expected after it.
    pub log_sd_after: f64,
    /// Width of the limit's 10-90 % range after it, as a share of the width now.
    pub range_ratio: f64,
    /// Chance that there is too little to find yet.
    pub nothing_to_find: f64,
}

/// A way in which work can hurt someone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Hazard {
    /// Falling from or through a roof, or from a ladder.
    Fall,
    /// Bad air in a closed space.
    ConfinedSpace,
    /// Drowning through an open lid.
    Drowning,
    /// Electric shock.
    Electricity,
    /// Chlorine and other chemicals.
    Chemicals,
    /// Contaminated sludge.
    ContaminatedSludge,
    /// Mosquitoes breeding.
    Mosquitoes,
    /// Rain water getting into the drinking-water pipes.
    CrossConnection,
    /// Freezing and bursting.
    Freezing,
    /// A vessel or pipe under pressure.
    Pressure,
    /// Local codes and licensed practice, which come first in every task.
    LocalCodes,
    /// A hazard of a newer service.
    #[serde(other)]
    Unknown,
}

/// What to be careful of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Caution {
    /// The hazard.
    pub hazard: Hazard,
    /// What to do about it.
    pub text: String,
}
