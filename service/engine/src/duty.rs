//! The forecast of one duty: the accumulated amount so far, chances, and the window in which it reaches its limit.
//!
//! Question answered: by which day has a part reached its limit, with 10, 50 and 90 % chance?
//!
//! From the day after `since`, every day is either read or unread. The exposure of a read day is exact. A day is
//! unread before the record, in a gap, after the last reading and in the future. An unread day never counts as
//! dry: the climate gives what to expect.
//!
//! The chance by day t is `P(known(t) + Gamma(mean M, variance V) >= limit)`. [`crate::passage`] has the
//! equation's source and its check against other daily series. The limit is log-normal ([`crate::limit`]).
//! Accumulated amount and limit are in the exposure's unit. Dates reach up to [`LONGEST_HORIZON`] ahead. The three
//! chances of a window are a choice, not a finding.
//!
//! Known failures: A limit of the size of one storm gives a window that says little, because the next storm
//! decides. The window leaves out the doubt about the exposure's own constants: put it into the limit's `log_sd`.
//! Invariants: early <= likely <= late. The chance never falls with time. More rain on a read day never delays a
//! date of runoff.

use crate::accumulated::{Accumulated, Note};
use crate::calendar::Day;
use crate::error::{EngineError, require};
use crate::limit::Limit;
use crate::meter::{LONGEST_PAST, Meter};
use crate::passage::{ChanceBounds, Curve, Path};

/// Longest horizon, days: 100 years.
pub const LONGEST_HORIZON: i32 = 36_525;

/// A question to a meter.
#[derive(Debug, Clone, Copy)]
pub struct Question {
    /// The accumulated amount at which the part needs care.
    pub limit: Limit,
    /// Share of the limit that the last service left in the part, 0 to under 1. 0 after a full service.
    pub left_share: f64,
    /// Day of the last service; exposure counts from the day after.
    pub since: Day,
    /// Today, as the caller sees it. Not before `since` and not before the last reading.
    pub as_of: Day,
    /// How far ahead to look, 1 to [`LONGEST_HORIZON`] days.
    pub horizon_days: i32,
}

/// The answer to a [`Question`].
#[derive(Debug, Clone)]
pub struct Answer {
    /// Accumulated amount as of today.
    pub accumulated: Accumulated,
    /// When the limit is reached.
    pub outcome: Outcome,
    /// Chances that the limit is reached by today and by some later days.
    pub chance: Chance,
    /// What was assumed.
    pub notes: Vec<Note>,
    path: Path,
    limit: Limit,
    /// Chances computed so far.
    computed: Vec<ChanceBounds>,
}

/// When the limit is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// A window. At least its early day is within the horizon.
    Window(Window),
    /// The early day is beyond the horizon, and so are the others.
    NeverReached {
        /// The horizon of the question, days.
        horizon_days: i32,
        /// Chance that the limit is reached by the end of the horizon, 0 to 1.
        chance_at_horizon: f64,
        /// Why.
        reason: Reason,
    },
    /// The exposure depends on rain, and the gauge has neither readings nor normals to expect any from.
    NeedsRain,
}

/// Why a limit is not reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// It never rains in this climate.
    NoRain,
    /// Nothing reaches the part: no leaf falls, or it is in full shade.
    NoExposure,
    /// The part gets something, but too little to reach the limit within the horizon.
    BeyondHorizon,
}

/// Days by which the limit is reached with 10, 50 and 90 % chance. `None` beyond the horizon. A day may lie in the
/// past.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// 10 %.
    pub early: Option<Day>,
    /// 50 %.
    pub likely: Option<Day>,
    /// 90 %.
    pub late: Option<Day>,
}

/// Chances that the limit is reached, 0 to 1, never falling. Days beyond the horizon give the chance at the
/// horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// By today.
    pub today: f64,
    /// Within 7 days from today.
    pub in_7_days: f64,
    /// Within 30 days from today.
    pub in_30_days: f64,
    /// Within 90 days from today.
    pub in_90_days: f64,
}

/// One point of a plot of the chance over time.
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
        // What was left takes its share of the uncertain limit. The rest of the limit is as uncertain.
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
        // Readings alone may settle it. Then the day is known without a climate.
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
    /// `p` above 0 and below 1; any other `p` gives `None`. Exact, and consistent with [`Answer::chance_by`].
    pub fn day_of_chance(&self, p: f64) -> Option<Day> {
        if !(p > 0.0 && p < 1.0) {
            return None;
        }
        let number = self.view().day_of(p).ok()??;
        Some(self.path.day(number))
    }

    /// The chance over time around the window, or up to the horizon when there is no window. At most 60 points;
    /// days and chances never fall.
    pub fn curve(&self) -> Result<Vec<CurvePoint>, EngineError> {
        curve(&self.path, &self.view(), &self.outcome)
    }

    /// The chance that the limit is reached by a day: 0 before the last service, and constant beyond the horizon.
    pub fn chance_by(&self, day: Day) -> Result<f64, EngineError> {
        self.view().chance_by(day.since(self.path.day(0)))
    }

    fn view(&self) -> Curve<'_> {
        Curve::resume(&self.path, self.limit, self.computed.clone())
    }
}

/// Points around the window: its ends, and days between them that a search visits anyway.
fn curve(path: &Path, view: &Curve<'_>, outcome: &Outcome) -> Result<Vec<CurvePoint>, EngineError> {
    /// Steps are at most the whole stretch over this number, and most are at least half of that: 55 points at
    /// most.
    const STEPS: i32 = 24;
    let today = path.past();
    let (from, to) = match *outcome {
        Outcome::Window(Window { early: Some(early), likely, late }) => {
            let number = |day: Option<Day>| day.map_or(path.horizon(), |d| d.since(path.day(0)));
            let (early, likely, late) = (number(Some(early)), number(likely), number(late));
            // Adding half the distance on both sides covers about 5 to 95 %.
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
