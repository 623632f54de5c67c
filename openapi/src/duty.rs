//! Duties and the figures that decide when they fall due.

use crate::setters::setters;
use crate::word::open_words;
use crate::{Finding, Reason};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

open_words! {
    /// Care that a component needs from time to time.
    Duty, other: "A duty that this version does not know, with its word." {
        /// Clear leaves and moss off the roof.
        ClearRoof "clear_roof",
        /// Clear the gutter and its downpipes.
        ClearGutter "clear_gutter",
        /// Clean the debris screen.
        CleanScreen "clean_screen",
        /// Drain and rinse a diverter that is emptied by hand.
        DrainDiverter "drain_diverter",
        /// Clear the hole and rinse the chamber of a diverter that empties itself.
        ClearWeepHole "clear_weep_hole",
        /// Replace a coupling.
        ReplaceCoupling "replace_coupling",
        /// Check a coupling's bands and inspect its rubber.
        CheckBands "check_bands",
        /// Remove the sediment from the tank floor, from outside.
        RemoveSediment "remove_sediment",
        /// Measure the depth of the sediment.
        MeasureSediment "measure_sediment",
        /// Inspect tank, lid and labels.
        LookOverTank "look_over_tank",
        /// Check float, hose and screen of a floating intake.
        CheckIntake "check_intake",
        /// Refill or check the seal of an overflow trap and its end screen.
        CheckTrap "check_trap",
        /// Check the mesh of a vent.
        CheckMesh "check_mesh",
        /// Exercise a valve through its full travel.
        WorkValve "work_valve",
        /// Compare a level gauge with a measured depth.
        CompareLevelGauge "compare_level_gauge",
        /// Check a pump.
        CheckPump "check_pump",
        /// Check the charge of a pressure vessel.
        CheckVessel "check_vessel",
        /// Change a filter cartridge.
        ChangeCartridge "change_cartridge",
        /// Change a disinfection lamp.
        ChangeLamp "change_lamp",
        /// Drain pipework before frost.
        DrainForFrost "drain_for_frost",
        /// Restart pipework after frost.
        RestartAfterFrost "restart_after_frost",
    }
}

/// What decided a due date.
///
/// - `prediction`: the accumulated figure is predicted to reach the limit.
/// - `longest_interval`: the longest interval ends before any predicted date, or nothing can be predicted.
/// - `first_look`: the first inspection after installation.
/// - `season`: a day of the year, given by the account or found from the monthly mean minima.
/// - `rating`: a maker's rating that the account gave.
/// - `nothing`: no date can be given, and `reasons` says why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum DecidedBy {
    /// The accumulated figure is predicted to reach the limit.
    Prediction,
    /// The longest interval. It ends before any predicted date, or nothing can be predicted.
    LongestInterval,
    /// The first inspection after installation.
    FirstLook,
    /// A day of the year. The account gave it, or it follows from the monthly mean minima.
    Season,
    /// A maker's rating that the account gave.
    Rating,
    /// Nothing: no date can be given, and `reasons` says why.
    Nothing,
    /// A cause of a newer service, which this version does not know.
    #[serde(other)]
    Unknown,
}

/// The account's own figures for one duty. They replace all earlier ones: an absent figure goes back to its
/// default.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutySettingsRequest {
    /// The longest interval between two times of the duty, in months, 1 to 240. It can also be set for a duty that
    /// has none by default.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub longest_interval_months: Option<u32>,
    /// Chance of being past the limit at which the duty falls due, 0.01 to 0.99. Only for duties whose date is
    /// predicted from a limit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
    /// Reminders begin this many days before the due date, 0 to 365; 7 when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
    /// A due date that was reported must move by more than this many days before it is reported again, 1 to 365.
    /// The days double every time the date changes direction, so that a swinging date is reported only a few times.
    /// When absent they are half the lead time, but at least 3 and not more than 14 days.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub move_days: Option<u32>,
}

impl DutySettingsRequest {
    /// The defaults of the duty.
    pub fn new() -> Self {
        Self::default()
    }
}

setters! { DutySettingsRequest {
    longest_interval_months: Option<u32>,
    tolerance: Option<f64>,
    lead_days: Option<u32>,
    move_days: Option<u32>,
} }

/// Own figures for one duty in the forecast of an unregistered system.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutySettingsInput {
    /// The duty. Each duty may be given once.
    pub duty: Duty,
    /// The longest interval between two times of the duty, in months, 1 to 240; the default when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub longest_interval_months: Option<u32>,
    /// Chance of being past the limit at which the duty falls due, 0.01 to 0.99; the default when absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
}

impl DutySettingsInput {
    /// The defaults of this duty.
    pub fn new(duty: Duty) -> Self {
        Self { duty, longest_interval_months: None, tolerance: None }
    }
}

setters! { DutySettingsInput { longest_interval_months: Option<u32>, tolerance: Option<f64> } }

/// A default for the longest interval between two times of a duty.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DefaultLongestInterval {
    /// Months since the duty was last done.
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
    /// Where the chance comes from.
    pub source: String,
}

/// The figures that decide when a duty falls due: the defaults, and the account's own figures, which replace them.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct DutySettings {
    /// The duty.
    pub duty: Duty,
    /// The duty in words, such as `clean the debris screen`.
    pub title: String,
    /// The default longest interval; null where there is none.
    pub default_longest_interval: Option<DefaultLongestInterval>,
    /// The default chance of being past the limit; null where no date is predicted from a limit.
    pub default_tolerance: Option<DefaultTolerance>,
    /// The account's own longest interval in months, if it has set one.
    pub longest_interval_months: Option<u32>,
    /// The account's own chance of being past the limit, 0.01 to 0.99, if it has set one.
    pub tolerance: Option<f64>,
    /// By default, reminders begin this many days before the due date.
    pub default_lead_days: u32,
    /// The default days by which a reported due date may move before it is reported again: half the lead time, but
    /// 3 to 14 days.
    pub default_move_days: u32,
    /// The account's own lead time in days, if it has set one.
    pub lead_days: Option<u32>,
    /// The account's own days by which a reported due date may move, if it has set them.
    pub move_days: Option<u32>,
    /// Version, to be sent in `If-Match` with a change; 0 until the account first sets something.
    pub version: i64,
    /// When the account last set something or went back to the defaults.
    pub updated_at: Option<DateTime<Utc>>,
}

/// What a component has accumulated since it was last served, such as runoff, leaf or ultraviolet.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Accumulated {
    /// The accumulated figure on the day of the forecast, in `unit`.
    pub value: f64,
    /// The symbol of the unit of all figures here: `mm`, `g`, `g/m2`, `kg/m`, `kg/m2`, `MJ/m2`, `L` or `d` for days.
    /// It is empty for a plain number, such as of fills.
    pub unit: String,
    /// What accumulates, such as `runoff` or `solids in the chamber`.
    pub of: String,
    /// The part of it from days with a reading.
    pub from_readings: f64,
    /// The part of it from days without a reading, for which the usual climate is used.
    pub from_climate: f64,
    /// Number of days with a reading since the last service.
    pub days_read: u32,
    /// Number of days without a reading since the last service.
    pub days_unread: u32,
}

/// The accumulated figure at which a component needs care.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Limit {
    /// Median of the limit, in the unit of the accumulated figure.
    pub value: f64,
    /// The symbol of the unit of the limit; the same as that of the accumulated figure.
    pub unit: String,
    /// What accumulates, as with the accumulated figure.
    pub of: String,
    /// Standard deviation of the limit's natural logarithm; 0 when the limit is known exactly.
    pub log_sd: f64,
    /// Median of the prior: the limit before any finding.
    pub prior_value: f64,
    /// Standard deviation of the prior's natural logarithm.
    pub prior_log_sd: f64,
    /// Number of findings that the limit is based on; with 0 it is the prior.
    pub findings: u32,
    /// Where the prior comes from.
    pub source: String,
    /// Whether that source is judgement and not a publication.
    pub judgement: bool,
}

/// The dates on which the chance that the accumulated figure has reached the limit comes to 10, 50 and 90 %.
///
/// A date in the past means that the chance was reached then. A date that is null lies beyond the horizon
/// of the forecast.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Window {
    /// The day on which the chance comes to 10 %.
    pub early_on: Option<NaiveDate>,
    /// The day on which the chance comes to 50 %.
    pub likely_on: Option<NaiveDate>,
    /// The day on which the chance comes to 90 %.
    pub late_on: Option<NaiveDate>,
}

/// What ages a coupling. Light and heat age it in parallel, and the one that reaches its limit earlier gives the
/// date.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub enum AgeingClock {
    /// The dose of ultraviolet light, in MJ/m2.
    Light,
    /// Heat, counted in days of ageing at 25 degrees C.
    Heat,
    /// A cause of a newer service, which this version does not know.
    #[serde(other)]
    Unknown,
}

/// The day on which work that empties the tank loses least water.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct BestDay {
    /// The day in the window on which least water is expected in the tank, before the wet season where possible.
    pub on: NaiveDate,
    /// Litres expected in the tank on that day, which the work would lose.
    pub water_lost_l: f64,
    /// Low estimate of these litres: with a chance of 10 % there are fewer.
    pub water_lost_low_l: f64,
    /// High estimate of these litres: with a chance of 10 % there are more.
    pub water_lost_high_l: f64,
    /// Whether the day lies in the wet season, because all days with about as little water do.
    pub in_wet_season: bool,
}

/// What one finding taught about a limit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct Lesson {
    /// The visit with the finding.
    pub visit_id: Uuid,
    /// The day of the visit.
    pub visited_on: NaiveDate,
    /// What was found.
    pub finding: Finding,
    /// What the part had accumulated since it was last clean, in the unit of the accumulated figure.
    pub accumulated_value: f64,
    /// Median of the limit before this finding.
    pub limit_before: f64,
    /// Median of the limit after this finding.
    pub limit_after: f64,
    /// Standard deviation of the limit's natural logarithm after this finding.
    pub log_sd_after: f64,
    /// How much the finding counted: the share of the doubt that it removed, 0 to 1.
    pub weight: f64,
    /// Why it counted as much as it did, where that needs an explanation.
    pub remark: Option<Reason>,
}

/// What the next finding would teach about a limit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
pub struct NextFinding {
    /// Expected standard deviation of the limit's natural logarithm after it.
    pub log_sd_after: f64,
    /// Expected width of the limit's 10 to 90 % range after it, as a share of the width now.
    pub range_ratio: f64,
    /// Chance that there is still too little to find, 0 to 1.
    pub nothing_to_find: f64,
}

/// A way in which work can hurt someone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
#[cfg_attr(not(feature = "service"), non_exhaustive)]
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
    /// Breeding mosquitoes.
    Mosquitoes,
    /// Rain water getting into the drinking-water pipes.
    CrossConnection,
    /// Freezing and bursting.
    Freezing,
    /// A vessel or pipe under pressure.
    Pressure,
    /// Local codes and licensed practice, which have precedence in every task.
    LocalCodes,
    /// A hazard of a newer service, which this version does not know.
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
