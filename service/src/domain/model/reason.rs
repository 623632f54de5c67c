//! Why a date is what it is: figures that are stored, and the sentence made from them when somebody reads.

mod words;

use crate::domain::model::part::{Clock, MonthDay};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// One reason. The stored word of a variant is its code, and stays.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[expect(
    missing_docs,
    reason = "the figures are those of the sentence in `words`, with their units in their names"
)]
pub enum Reason {
    /// What the part has taken, beside its limit.
    Accumulated { accumulated: f64, unit: String, since: NaiveDate, limit: f64 },
    /// Days without a reading among those of the accumulated figure.
    UnreadDays { unread: u32, days: u32 },
    /// More than the limit of 95 % of such parts.
    Outlived,
    /// The chance of needing care passed the tolerance, in percent, on a day that has come.
    ChancePassed { percent: f64, on: NaiveDate },
    /// It will pass the tolerance on a day to come.
    ChancePasses { percent: f64, on: NaiveDate },
    /// It stays below the tolerance for the whole horizon.
    ChanceStaysBelow { percent: f64, years: u32 },
    /// No rain in the whole record.
    NoRain,
    /// Nothing reaches the part.
    NoExposure,
    /// The limit lies beyond the horizon.
    BeyondHorizon { years: u32 },
    /// A visit found it past its limit.
    FoundPastLimit { on: NaiveDate },
    /// The day on which the other of a coupling's clocks would make it due.
    OtherClock { clock: Clock, on: Option<NaiveDate>, years: u32 },
    /// What measured depths of sediment say.
    SedimentMeasured { factor: f64, now_mm: f64, limit_mm: f64 },
    /// The diverter's hole is blocked now.
    DiverterBlocked,
    /// It was blocked for a while.
    DiverterWasBlocked,
    /// The diverter is drained by hand.
    DiverterDrainedByHand,
    /// The diverter is assumed to work.
    DiverterAssumed,
    /// It was cleaned on an unknown day.
    CleanedOnUnknownDay,
    /// What findings did to the limit.
    LimitLearned { findings: u32, before: f64, after: f64, unit: String },
    /// Rain to come from monthly normals alone.
    NormalsOnly,
    /// Few years of readings.
    ShortRecord { years: f64 },
    /// No rain is known, so a share of wet days is assumed.
    WetDaysAssumed { percent: f64 },
    /// The effect of direction beyond 60 degrees of latitude.
    LatitudeHeld,
    /// No rain and no normals; what the engine says is missing.
    RainMissing { missing: String },
    /// The first look at a coupling's bands.
    FirstLook,
    /// The longest interval; `source` is absent for the account's own figure.
    LongestInterval { months: u32, source: Option<String> },
    /// A maker's rating in hours.
    RatedHours { hours: f64, hours_per_day: f64 },
    /// Days of frost are not known.
    FrostUnknown,
    /// No frost by the monthly minima.
    FrostNever,
    /// Frost in few years.
    FrostRare { percent: f64 },
    /// Frost in any month.
    FrostAnyTime,
    /// No day of the year can be given.
    FrostWithoutDay,
    /// Frost begins; whether the days were given, else they come from the monthly minima.
    FrostBegins { day: MonthDay, given: bool },
    /// Frost ends.
    FrostEnds { day: MonthDay, given: bool },
    /// The day on which the tank is lowest.
    TankLowest { on: NaiveDate, lost_l: f64, in_wet_season: bool },
    /// No evaporation was given.
    EvaporationAssumed,
    /// The end screen of a trap.
    TrapEndScreen,
    /// Eggs laid today in a trap's water.
    MosquitoesFromTrap { on: NaiveDate },
    /// Water that stands in a chamber.
    MosquitoesFromChamber { since: NaiveDate, from: NaiveDate, passed: bool },
    /// The tank filled the trap.
    TankOverflowed { on: NaiveDate },
    /// The trap was filled by hand, and the tank has not overflowed since.
    TrapFilled { on: NaiveDate },
    /// Nothing tells when the tank overflows.
    OverflowUnknown,
    /// What the seal has lost.
    SealLost { days: u32, lost_mm: f64, depth_mm: f64, low_mm: f64, high_mm: f64 },
    /// No date.
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
    /// A sentence of an earlier version, which kept nothing else.
    #[serde(untagged)]
    Text(String),
}
