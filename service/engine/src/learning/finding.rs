//! What people found, and what it says about the rate.

use crate::calendar::Day;
use crate::error::{EngineError, require};

/// Log-sd of a measured depth or level. Judgement: within a third of the truth two times in three.
pub const MEASURED_LOG_SD: f64 = 0.3;

/// Log-sd of a fullness estimated by eye. Judgement.
pub const BY_EYE_LOG_SD: f64 = 0.4;

/// Log-sd of the edges of a class, of "nothing found" and of "blocked". Judgement, as for a measured depth.
pub const CLASS_LOG_SD: f64 = 0.3;

/// Fullness below which people report that they found nothing. Judgement: 2.5 mm of a limit of 50 mm go unnoticed.
pub const DETECTION_LIMIT: f64 = 0.05;

/// A narrower range of ln rate counts as a reading.
const NARROWEST: f64 = 1e-9;

/// Largest end of a range of ln rate. The logarithm of the quotient of any two doubles is below 1500.
const LARGEST_END: f64 = 2000.0;

/// How full a part was found: 0 is clean, 1 is the state in which it needs care.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finding {
    /// A number. A depth may be past its limit, so a fullness above 1 is valid. Where the scale ends at full, as for
    /// a screen, "full" is [`Finding::BLOCKED`].
    Measured {
        /// Share of the limit, 0 or more. 0 counts as [`Finding::NOTHING`], because no rate fills a part by nothing.
        fullness: f64,
        /// Standard deviation of its natural logarithm, 0.001 to 3.
        log_sd: f64,
    },
    /// A class: from one share to another. An upper end of infinity is open.
    Between {
        /// Lower end, 0 or more.
        from: f64,
        /// Upper end, not below the lower one. 0 counts as [`DETECTION_LIMIT`].
        to: f64,
    },
    /// At most this share, above 0. 0 counts as [`DETECTION_LIMIT`].
    AtMost(f64),
    /// At least this share, 0 or more.
    AtLeast(f64),
}

/// A finding as a range of shares of the limit. Both ends are equal for a number, and an open end is infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ShareRange {
    pub low: f64,
    pub high: f64,
    /// Standard deviation of the natural logarithm of either end.
    pub log_sd: f64,
}

impl Finding {
    /// A visit looked and found nothing.
    pub const NOTHING: Finding = Finding::AtMost(DETECTION_LIMIT);

    /// Blocked, overflowing or past use: the limit was passed, by an unknown amount.
    pub const BLOCKED: Finding = Finding::AtLeast(1.0);

    /// A measured depth or level. Below the detection limit it is [`Finding::NOTHING`].
    pub fn measured(fullness: f64) -> Finding {
        if (0.0..DETECTION_LIMIT).contains(&fullness) {
            return Finding::NOTHING;
        }
        Finding::Measured { fullness, log_sd: MEASURED_LOG_SD }
    }

    /// A share judged by eye. The eye cannot see how far past full a part is, so 1 and more are [`Finding::BLOCKED`].
    pub fn by_eye(fullness: f64) -> Finding {
        match fullness {
            f if (0.0..DETECTION_LIMIT).contains(&f) => Finding::NOTHING,
            f if f >= 1.0 && f.is_finite() => Finding::BLOCKED,
            fullness => Finding::Measured { fullness, log_sd: BY_EYE_LOG_SD },
        }
    }

    /// Whether it says that the limit was reached, whatever the limit is.
    pub fn is_past_limit(self) -> bool {
        match self {
            Finding::Measured { fullness: least, .. }
            | Finding::Between { from: least, .. }
            | Finding::AtLeast(least) => least >= 1.0,
            Finding::AtMost(_) => false,
        }
    }

    /// One share for the finding: the number itself, or the geometric middle of a class. `None` for an open end.
    pub fn middle(self) -> Option<f64> {
        match self {
            Finding::Measured { fullness, .. } if fullness > 0.0 => Some(fullness),
            Finding::Between { from, to } if from > 0.0 && to.is_finite() => Some((from * to).sqrt()),
            _ => None,
        }
    }

    /// The range of shares that fit the finding, checked.
    pub(crate) fn range(self) -> Result<ShareRange, EngineError> {
        let share = |value: f64| require(value >= 0.0, "share", value, "0 or more");
        match self {
            Finding::Measured { fullness, log_sd } => {
                let fullness_ok = fullness >= 0.0 && fullness.is_finite();
                require(fullness_ok, "fullness", fullness, "0 or more")?;
                check_log_sd(log_sd)?;
                if fullness == 0.0 {
                    return Finding::NOTHING.range();
                }
                Ok(ShareRange { low: fullness, high: fullness, log_sd })
            }
            Finding::Between { from, to } => {
                let from_ok = from >= 0.0 && from.is_finite();
                require(from_ok, "lower end of the class", from, "0 or more")?;
                require(to >= from, "upper end of the class", to, "not below the lower end")?;
                let high = if to == 0.0 { DETECTION_LIMIT } else { to };
                Ok(ShareRange { low: from, high, log_sd: CLASS_LOG_SD })
            }
            Finding::AtMost(most) => {
                share(most)?;
                let high = if most == 0.0 { DETECTION_LIMIT } else { most };
                Ok(ShareRange { low: 0.0, high, log_sd: CLASS_LOG_SD })
            }
            Finding::AtLeast(least) => {
                share(least)?;
                require(least.is_finite(), "share", least, "finite")?;
                Ok(ShareRange { low: least, high: f64::INFINITY, log_sd: CLASS_LOG_SD })
            }
        }
    }
}

/// How clean the part was when its exposure began to count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Start {
    /// It was clean.
    Clean,
    /// It was partly cleaned and this share was left, 0 or more: `y = y0 + rho X`.
    ///
    /// The error of a finding is a share of what is seen, then and now. So a finding says less when less was added.
    /// The log-sd of the growth is the error of both readings over the growth. A growth within that error only says
    /// that it was at most growth plus error.
    Left(f64),
    /// It was cleaned since, on an unknown day. The exposure since then is between 0 and the given one, which counts
    /// from the last time the part is known to have been clean.
    ///
    /// A finding still says something. With a number `y`, or a class from `y` up, the rate is at least `y / X`: the
    /// part got that far in `X` or less. Blocked says at least `1 / X`. "Nothing found" and "at most" say nothing,
    /// because the cleaning may have been yesterday.
    Unknown,
}

/// One look at a part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inspection {
    /// Day of the inspection.
    pub day: Day,
    /// What the part has taken since its [`Start`], in the unit of the duty's accumulated amount, 0 or more.
    pub exposure: f64,
    /// Coefficient of variation of that exposure, 0 to 2. It comes from days without a reading or an estimated
    /// canopy.
    pub exposure_cv: f64,
    /// How clean the part was when the exposure began to count.
    pub start: Start,
    /// What was found, before anything was done about it.
    pub finding: Finding,
}

/// Why a finding taught nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TaughtNothing {
    /// The part had taken nothing since it was clean, so the finding says nothing about how fast it fills.
    NoExposure,
    /// The part was cleaned on an unknown day. A part that is not full may have been cleaned yesterday.
    CleanedOnUnknownDay,
    /// The finding is less than a cleaning had left. Either the part was cleaned again, or one of the two is wrong.
    LessThanWasLeft,
    /// Any rate would have led to this finding.
    AnyRateFits,
    /// The rate was known exactly, from geometry.
    RateIsKnown,
}

/// What a finding says about ln rate: a number or a range, with a normal error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) log_sd: f64,
    pub(super) exposure_cv: f64,
}

impl Evidence {
    /// A range too narrow for the arithmetic of ranges becomes a reading at its middle.
    fn of(from: f64, to: f64, log_sd: f64, exposure_cv: f64) -> Evidence {
        if to - from < NARROWEST {
            let middle = 0.5 * (from + to);
            return Evidence { from: middle, to: middle, log_sd, exposure_cv };
        }
        Evidence { from, to, log_sd, exposure_cv }
    }

    /// A finding that ln rate is between `from` and `to`. Both are equal for a reading, and an open end is infinite.
    /// `log_sd` is the error, 0.001 to 3.
    pub fn between(from: f64, to: f64, log_sd: f64) -> Result<Evidence, EngineError> {
        require(from <= LARGEST_END, "lower end of ln rate", from, "2000 or less")?;
        require(to >= -LARGEST_END, "upper end of ln rate", to, "-2000 or more")?;
        require(to >= from, "upper end of ln rate", to, "not below the lower end")?;
        check_log_sd(log_sd)?;
        Ok(Evidence::of(from, to, log_sd, 0.0))
    }
}

impl Inspection {
    /// What the finding says about ln rate, or why it says nothing.
    pub fn evidence(&self) -> Result<Result<Evidence, TaughtNothing>, EngineError> {
        let exposure_ok = self.exposure >= 0.0 && self.exposure.is_finite();
        require(exposure_ok, "exposure", self.exposure, "0 or more")?;
        require((0.0..=2.0).contains(&self.exposure_cv), "exposure_cv", self.exposure_cv, "0 to 2")?;
        let ShareRange { low, high, log_sd } = self.finding.range()?;
        let left = match self.start {
            Start::Left(share) => {
                require(share >= 0.0 && share.is_finite(), "share left", share, "0 or more")?;
                share
            }
            Start::Clean | Start::Unknown => 0.0,
        };
        if self.exposure == 0.0 {
            return Ok(Err(TaughtNothing::NoExposure));
        }
        let Some(growth) = Growth::of(low, high, left, log_sd) else {
            return Ok(Err(TaughtNothing::LessThanWasLeft));
        };
        let ln_exposure = self.exposure.ln();
        let from = growth.low.ln() - ln_exposure;
        let cleaned_since = self.start == Start::Unknown;
        let to = if cleaned_since { f64::INFINITY } else { growth.high.ln() - ln_exposure };
        if from == f64::NEG_INFINITY && to == f64::INFINITY {
            let why =
                if cleaned_since { TaughtNothing::CleanedOnUnknownDay } else { TaughtNothing::AnyRateFits };
            return Ok(Err(why));
        }
        Ok(Ok(Evidence::of(from, to, growth.log_sd, self.exposure_cv)))
    }
}

/// What was added to a part since its start, as a share of the limit.
struct Growth {
    low: f64,
    high: f64,
    log_sd: f64,
}

impl Growth {
    /// `None` when even the upper end plus its error is below what was left.
    fn of(low: f64, high: f64, left: f64, log_sd: f64) -> Option<Growth> {
        if left == 0.0 {
            return Some(Growth { low, high, log_sd });
        }
        let error = |seen: f64| log_sd * seen.hypot(left);
        let clear = |seen: f64| seen - left > error(seen);
        let mut growth = Growth { low: 0.0, high: f64::INFINITY, log_sd };
        if clear(low) {
            growth.low = low - left;
            growth.log_sd = error(low) / growth.low;
        }
        if high < f64::INFINITY {
            growth.high = if clear(high) { high - left } else { high - left + error(high) };
            if !(growth.high > 0.0) {
                return None;
            }
            if clear(high) {
                growth.log_sd = growth.log_sd.max(error(high) / growth.high);
            }
        }
        Some(growth)
    }
}

pub(super) fn check_log_sd(log_sd: f64) -> Result<(), EngineError> {
    require((0.001..=3.0).contains(&log_sd), "log_sd of a finding", log_sd, "0.001 to 3")
}
