//! The forecast of one duty: accumulated amount so far, chances, and the window in which the accumulated amount reaches its limit.
//!
//! Question answered: by which day has a part taken as much as it stands, with 10, 50 and 90 % chance?
//!
//! One principle: from the day after `since`, every day is either read or not. A read day's exposure is computed and
//! exact; an unread day (before the record, in a gap, after the last reading, past or future) is never taken as dry: the
//! climate stands for it. The chance by day t is `P(known(t) + Gamma(mean M, variance V) >= limit)`, see
//! [`crate::passage`], where the equation's source and its check against other daily series stand; the limit is log-normal
//! ([`crate::limit`]). Accumulated amount and limit are in the exposure's unit, dates up to [`LONGEST_HORIZON`] ahead. The three chances
//! of a window are a choice, not a finding.
//!
//! Known failures: a limit of the size of one storm, where the next storm decides and the window can say little; the doubt
//! about the exposure's own constants is not in the band; it belongs in the limit's `log_sd`.
//! Invariants: early <= likely <= late; the chance never falls with time; more rain on a read day never delays a date
//! of runoff.

use crate::accumulated::{Accumulated, Note};
use crate::calendar::Day;
use crate::error::{EngineError, require};
use crate::limit::Limit;
use crate::meter::{LONGEST_PAST, Meter};
use crate::passage::{ChanceBounds, Curve, Path};

/// Longest horizon, days: a century.
pub const LONGEST_HORIZON: i32 = 36_525;

/// What is asked of a meter.
#[derive(Debug, Clone, Copy)]
pub struct Question {
    /// Where it wants care.
    pub limit: Limit,
    /// Share of the limit that was left at the last service, 0 when it was done whole, under 1.
    pub left_share: f64,
    /// Day of the last service; exposure counts from the day after.
    pub since: Day,
    /// Today, as the caller sees it; not before `since` nor before the last reading.
    pub as_of: Day,
    /// How far ahead to look, 1 to [`LONGEST_HORIZON`] days.
    pub horizon_days: i32,
}

/// What is answered.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Accumulated amount as of today.
    pub accumulated: Accumulated,
    /// When the limit is reached.
    pub outcome: Outcome,
    /// Chance that it is reached by then.
    pub chance: Chance,
    /// What was assumed or stretched.
    pub notes: Vec<Note>,
    path: Path,
    limit: Limit,
    /// What was computed on the way.
    computed: Vec<ChanceBounds>,
}

/// When the limit is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// A window; at least its early day is within the horizon.
    Window(Window),
    /// Not even the early day is within the horizon.
    NeverReached {
        /// The horizon that was looked at.
        horizon_days: i32,
        /// Chance of having reached the limit by its end.
        chance_at_horizon: f64,
        /// Why.
        reason: Reason,
    },
    /// The exposure rides on rain and there is neither record nor normals to expect any from.
    NeedsRain,
}

/// Why a limit is not reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// It never rains in this climate.
    NoRain,
    /// The part gets nothing: no leaf falls, full shade.
    NoExposure,
    /// It gets something, and not enough before the horizon.
    BeyondHorizon,
}

/// Days by which the limit is reached with 10, 50 and 90 %; `None` beyond the horizon. May lie in the past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// 10 %.
    pub early: Option<Day>,
    /// 50 %.
    pub likely: Option<Day>,
    /// 90 %.
    pub late: Option<Day>,
}

/// Chances that the limit is reached, 0 to 1, never falling. Days beyond the horizon give the chance at the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// By today.
    pub today: f64,
    /// By today and 7 days.
    pub in_7_days: f64,
    /// By today and 30 days.
    pub in_30_days: f64,
    /// By today and 90 days.
    pub in_90_days: f64,
}

/// One point to plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Day.
    pub day: Day,
    /// Chance that the limit is reached by then.
    pub chance: f64,
}

impl Meter<'_> {
    /// Answers a question.
    pub fn forecast(&self, q: &Question) -> Result<Answer, EngineError> {
        self.check(q)?;
        let past = q.as_of.since(q.since);
        let path = self.path(q.since, q.as_of, past + q.horizon_days, q.left_share * q.limit.median);
        // What was left behind took its share of a limit that nobody knows exactly: the rest of it is as uncertain.
        let limit = Limit { median: q.limit.median * (1.0 - q.left_share), ..q.limit };
        let view = Curve::new(&path, limit);
        let accumulated = self.accumulated_of(&path, past, &view.sums(past));
        let chance = Chance {
            today: view.chance_by(past)?,
            in_7_days: view.chance_by(past + 7)?,
            in_30_days: view.chance_by(past + 30)?,
            in_90_days: view.chance_by(past + 90)?,
        };
        let outcome = self.outcome(q, &path, &view, chance.today)?;
        let computed = view.into_computed();
        Ok(Answer { accumulated, outcome, chance, notes: self.notes().to_vec(), path, limit, computed })
    }

    pub(crate) fn check(&self, q: &Question) -> Result<(), EngineError> {
        q.limit.check()?;
        require((0.0..1.0).contains(&q.left_share), "left_share", q.left_share, "0 to under 1")?;
        let past = q.as_of.since(q.since);
        require(
            (0..=LONGEST_PAST).contains(&past),
            "days from since to as_of",
            f64::from(past),
            "0 to 73050",
        )?;
        let read = self.gauge().record().last().is_none_or(|last| last <= q.as_of);
        require(read, "as_of", f64::from(q.as_of.0), "not before the last reading; see Gauge::until")?;
        let horizon_ok = (1..=LONGEST_HORIZON).contains(&q.horizon_days);
        require(horizon_ok, "horizon_days", f64::from(q.horizon_days), "1 to 36525")
    }

    fn outcome(
        &self,
        q: &Question,
        path: &Path,
        view: &Curve<'_>,
        today: f64,
    ) -> Result<Outcome, EngineError> {
        // Readings alone may have settled it; then no climate is needed to say when.
        if path.law().is_none() && today < 0.9 {
            return Ok(Outcome::NeedsRain);
        }
        let day = |p| view.day_of(p).map(|number| number.map(|n| path.day(n)));
        let window = Window { early: day(0.1)?, likely: day(0.5)?, late: day(0.9)? };
        if window.early.is_some() {
            return Ok(Outcome::Window(window));
        }
        let reason = if self.never_rains() {
            Reason::NoRain
        } else if self.gets_nothing() {
            Reason::NoExposure
        } else {
            Reason::BeyondHorizon
        };
        let chance_at_horizon = view.chance_by(path.horizon())?;
        Ok(Outcome::NeverReached { horizon_days: q.horizon_days, chance_at_horizon, reason })
    }
}

impl Answer {
    /// The first day by which the limit is reached with chance `p`, `None` beyond the horizon.
    ///
    /// `p` above 0 and below 1, else `None`. Exact, and consistent with [`Answer::chance_by`].
    pub fn day_of_chance(&self, p: f64) -> Option<Day> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let number = self.view().day_of(p).ok()??;
        Some(self.path.day(number))
    }

    /// The chance over time around the window, to the horizon without one: at most 60 points, days and chances rising.
    pub fn curve(&self) -> Result<Vec<CurvePoint>, EngineError> {
        curve(&self.path, &self.view(), &self.outcome)
    }

    /// The chance that the limit is reached by a day, 0 before the last service, held at the horizon's after it.
    pub fn chance_by(&self, day: Day) -> Result<f64, EngineError> {
        self.view().chance_by(day.since(self.path.day(0)))
    }

    fn view(&self) -> Curve<'_> {
        Curve::resume(&self.path, self.limit, self.computed.clone())
    }
}

/// Points around the window: its ends, and between them days that a search passes, which need little new.
fn curve(path: &Path, view: &Curve<'_>, outcome: &Outcome) -> Result<Vec<CurvePoint>, EngineError> {
    /// Steps are this share of the whole or, most of them, up to half as long: 55 points at most.
    const STEPS: i32 = 24;
    let today = path.past();
    let (from, to) = match *outcome {
        Outcome::Window(Window { early: Some(early), likely, late }) => {
            let number = |day: Option<Day>| day.map_or(path.horizon(), |d| d.since(path.day(0)));
            let (early, likely, late) = (number(Some(early)), number(likely), number(late));
            // Half as far again on both sides takes in about 5 to 95 %.
            (early - (likely - early) / 2, late.saturating_add((late - likely) / 2))
        }
        _ => (today, path.horizon()),
    };
    let (from, to) = (from.max(1), to.clamp(1, path.horizon()));
    let mut numbers = vec![from];
    numbers.extend(view.nodes_between(from, to, (to - from + STEPS - 1) / STEPS));
    if to > from {
        numbers.push(to);
    }
    let point = |n| Ok(CurvePoint { day: path.day(n), chance: view.chance_by(n)? });
    numbers.into_iter().map(point).collect()
}
