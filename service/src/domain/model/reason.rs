//! Why a date is as it is. The figures are stored, and the sentence is made from them when a person reads it.

mod words;

use crate::domain::model::measure::Measure;
use crate::domain::model::part::{Clock, MonthDay};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// One reason. The stored word of a variant is its code, and never changes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(
    missing_docs,
    reason = "the figures are those of the sentence in `words`, with their units in their names"
)]
pub enum Reason {
    /// What the part has accumulated, with its limit.
    Accumulated { accumulated: f64, unit: Measure, since: NaiveDate, limit: f64 },
    /// Days without a reading, among those that the accumulated figure covers.
    UnreadDays { unread: u32, days: u32 },
    /// The accumulated figure is above the limit of 95 % of such parts.
    Outlived,
    /// The chance of being past the limit has passed the tolerance, in percent, on this day.
    ChancePassed { percent: f64, on: NaiveDate },
    /// The chance will pass the tolerance on a day that is still to come.
    ChancePasses { percent: f64, on: NaiveDate },
    /// The chance stays below the tolerance up to the horizon.
    ChanceStaysBelow { percent: f64, years: u32 },
    /// The record has no rain at all.
    NoRain,
    /// Nothing that wears or clogs the part reaches it.
    NoExposure,
    /// The limit is not reached before the horizon.
    BeyondHorizon { years: u32 },
    /// A visit found it past its limit.
    FoundPastLimit { on: NaiveDate },
    /// The day on which a coupling would be due by the other of light and heat.
    OtherClock { clock: Clock, on: Option<NaiveDate>, years: u32 },
    /// What the measured depths of sediment show.
    SedimentMeasured { factor: f64, now_mm: f64, limit_mm: f64 },
    /// The outlet is so low that sediment reaches it early.
    OutletLow { outlet_mm: f64 },
    /// The diverter's hole is blocked now.
    DiverterBlocked,
    /// The diverter's hole was blocked for a time.
    DiverterWasBlocked,
    /// The diverter is drained by hand.
    DiverterDrainedByHand,
    /// The diverter is assumed to work.
    DiverterAssumed,
    /// It was cleaned on an unknown day.
    CleanedOnUnknownDay,
    /// How findings changed the limit.
    LimitLearned { findings: u32, before: f64, after: f64, unit: Measure },
    /// Future rain is known from monthly normals only.
    NormalsOnly,
    /// Few years of readings.
    ShortRecord { years: f64 },
    /// No rain is known, so a share of wet days is assumed.
    WetDaysAssumed { percent: f64 },
    /// The effect of direction is that at 60 degrees of latitude, because it is not known beyond.
    LatitudeHeld,
    /// There is no rain and there are no normals. The engine says what is missing.
    RainMissing { missing: String },
    /// The first inspection of a coupling's bands.
    FirstLook,
    /// The longest interval; `source` is absent for the account's own figure.
    LongestInterval { months: u32, source: Option<String> },
    /// A maker's rating in hours.
    RatedHours { hours: f64, hours_per_day: f64 },
    /// The days of frost are not known.
    FrostUnknown,
    /// By the monthly minima, there is no frost.
    FrostNever,
    /// By the monthly minima, few years have frost.
    FrostRare { percent: f64 },
    /// By the monthly minima, any month can have frost.
    FrostAnyTime,
    /// The frost has no certain day of the year.
    FrostWithoutDay,
    /// Frost begins. The days were given, or follow from the monthly minima.
    FrostBegins { day: MonthDay, given: bool },
    /// Frost ends. The days were given, or follow from the monthly minima.
    FrostEnds { day: MonthDay, given: bool },
    /// The day on which the tank is lowest.
    TankLowest { on: NaiveDate, lost_l: f64, in_wet_season: bool },
    /// No evaporation was given, so judgement is used.
    EvaporationAssumed,
    /// The end screen of a trap needs inspection, too.
    TrapEndScreen,
    /// When mosquitoes would fly from eggs that are laid in a trap today.
    MosquitoesFromTrap { on: NaiveDate },
    /// When mosquitoes would fly from water that stands in a chamber.
    MosquitoesFromChamber { since: NaiveDate, from: NaiveDate, passed: bool },
    /// The tank has filled the trap.
    TankOverflowed { on: NaiveDate },
    /// The trap was filled by hand, and the tank has not overflowed since.
    TrapFilled { on: NaiveDate },
    /// It is not known when the tank overflows.
    OverflowUnknown,
    /// What the water seal has lost.
    SealLost { days: u32, lost_mm: f64, depth_mm: f64, low_mm: f64, high_mm: f64 },
    /// No date can be given.
    NoDate,
    /// The component was replaced.
    Replaced,
    /// The system is out of service.
    SystemRetired { on: NaiveDate },
    /// The system is not yet in service.
    SystemNotYetInService { on: NaiveDate },
    /// The component was corrected to a kind without this duty.
    DutyGone,
    /// The component is out of service.
    NotInService,
    /// A sentence of an earlier version, which did not store the figures.
    #[serde(untagged)]
    Text(String),
}
