//! Counting: what a part has taken between any two days, and what it may be expected to take.
//!
//! Question answered: how much did a part take between two days, and how sure is that?
//!
//! A [`Meter`] runs an exposure once over the readings of its gauge. It then answers for every question about that part:
//! the accumulated amounts at past inspections, from which findings are learned, and the forecast from today on.
//!
//! `accumulated = sum over read days of what each added + sum over unread days of the month's mean` in the exposure's own unit;
//! its standard deviation is that of the second sum ([`crate::passage`]; equation and ranges there). Days after `since`
//! count, `through` among them, two centuries at most.
//!
//! Judgement: under two years of readings a note says that the climate is thin. Known failure: unread days count as
//! usual ones although neighbours or the storms around the gap may tell more.
//! Invariants: accumulated amounts are 0 or more; two stretches that meet add up to the whole, in what was read and in what is
//! expected; days with a reading and days without are all the days there are.

use crate::accumulated::{Accumulated, Note};
use crate::calendar::Day;
use crate::climate::{Basis, ClimateError};
use crate::error::{EngineError, require};
use crate::exposure::{Exposure, Setting, USUAL_WET_SHARE, count, law};
use crate::gauge::Gauge;
use crate::limit::Limit;
use crate::passage::{Curve, Known, Law, MonthlySums, Path, RunningTotal, Sums};

/// Fewest years of a record below which a note says that the climate is thin.
const SHORT_YEARS: f64 = 2.0;
/// Longest time over which anything is counted, days: two centuries.
pub(crate) const LONGEST_PAST: i32 = 73_050;

/// An exposure counted over the readings of its gauge.
#[derive(Debug, Clone)]
pub struct Meter<'a> {
    gauge: &'a Gauge,
    reads_rain: bool,
    running: RunningTotal,
    law: Option<Law>,
    notes: Vec<Note>,
    gets_nothing: bool,
    needs_rain: bool,
}

impl<'a> Meter<'a> {
    /// Counts. The catchment must have been made of the same gauge and a roof of the same kind.
    pub fn new(s: &Setting<'a>) -> Result<Meter<'a>, EngineError> {
        s.site.check()?;
        s.roof.check()?;
        s.exposure.check()?;
        let loss = s.roof.wetting_loss_mm;
        require(s.catchment.suits(s.roof), "wetting_loss_mm of roof", loss, "that of the catchment")?;
        let counted = count(s);
        let law = law(s, &counted);
        let gets_nothing = law.is_none_or(|law| law.daily.iter().all(|x| !(*x > 0.0)));
        Ok(Meter {
            gauge: s.gauge,
            reads_rain: s.exposure.reads_rain(),
            running: counted.running,
            law,
            notes: notes(s),
            gets_nothing,
            needs_rain: s.exposure.needs_rain(),
        })
    }

    /// What was taken after one day up to and with another, not before it, at most two centuries later.
    pub fn accumulated(&self, since: Day, through: Day) -> Result<Accumulated, EngineError> {
        let days = through.since(since);
        require((0..=LONGEST_PAST).contains(&days), "days since", f64::from(days), "0 to 73050")?;
        let path = self.path(since, through, days, 0.0);
        Ok(self.accumulated_of(&path, days, &MonthlySums::default().sums(&path, days)))
    }

    /// The day by which a limit was reached as likely as not, when it is known to have been reached by `found_on`.
    ///
    /// A hole that is found blocked was blocked some day since it was last cleared; this is the middle of what the limit
    /// says about that day. `None` when the accumulated amount had not begun by then.
    pub fn reached_before(
        &self,
        limit: Limit,
        since: Day,
        found_on: Day,
    ) -> Result<Option<Day>, EngineError> {
        limit.check()?;
        let days = found_on.since(since);
        require((0..=LONGEST_PAST).contains(&days), "days since", f64::from(days), "0 to 73050")?;
        let path = self.path(since, found_on, days.max(1), 0.0);
        let view = Curve::new(&path, limit);
        let by_then = view.chance_by(days)?;
        if !(by_then > 0.0) {
            return Ok(None);
        }
        Ok(view.day_of(by_then / 2.0)?.map(|number| path.day(number).min(found_on)))
    }

    /// The law of the days that nobody read; `None` when there is no rain to base one on.
    pub fn law(&self) -> Option<&Law> {
        self.law.as_ref()
    }

    /// The path from `since` to a horizon, days after `since`, as it is seen on `as_of`.
    pub(crate) fn path(&self, since: Day, as_of: Day, horizon: i32, carried: f64) -> Path {
        let unread = if self.reads_rain {
            self.gauge.unread(since, as_of)
        } else {
            // Nothing is read of it: all of it is expectation.
            Vec::from_iter((as_of > since).then(|| (1, as_of.since(since))))
        };
        let known = Known::new(self.running.clone(), since, as_of, carried);
        Path::new(known, unread, self.law, horizon)
    }

    /// The accumulated amount after `past` days, of which `sums` stand for those that nobody read.
    pub(crate) fn accumulated_of(&self, path: &Path, past: i32, sums: &Sums) -> Accumulated {
        let known = path.known(past);
        // What comes whatever the weather is no gap in the readings.
        let read = if self.reads_rain {
            self.gauge.days_read(path.day(0), path.day(past))
        } else {
            past.max(0) as u32
        };
        let (known, expected) = if self.reads_rain { (known, sums.mean) } else { (known + sums.mean, 0.0) };
        Accumulated {
            value: known + expected,
            known,
            expected_unread: expected,
            sd: path.variance(sums).sqrt(),
            days_read: read,
            days_unread: past.max(0) as u32 - read,
        }
    }

    pub(crate) fn gauge(&self) -> &Gauge {
        self.gauge
    }

    pub(crate) fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Whether no day can ever add anything.
    pub(crate) fn gets_nothing(&self) -> bool {
        self.gets_nothing
    }

    /// Whether it needs rain and there never is any.
    pub(crate) fn never_rains(&self) -> bool {
        self.needs_rain && self.gauge.climate().is_ok_and(crate::climate::Climate::never_rains)
    }
}

fn notes(s: &Setting<'_>) -> Vec<Note> {
    let mut notes = Vec::new();
    if s.exposure.reads_rain() {
        match s.gauge.climate() {
            Ok(climate) if climate.basis == Basis::Normals => notes.push(Note::NormalsOnly),
            Ok(climate) if climate.years < SHORT_YEARS => {
                notes.push(Note::ShortRecord { years: climate.years });
            }
            Err(ClimateError::NoRain | ClimateError::TooShort { .. }) if !s.exposure.needs_rain() => {
                notes.push(Note::WetShareAssumed { share: USUAL_WET_SHARE });
            }
            _ => {}
        }
    }
    if matches!(s.exposure, Exposure::Ultraviolet { .. }) && s.site.latitude_deg.abs() > 60.0 {
        notes.push(Note::LatitudeHeld);
    }
    notes
}
