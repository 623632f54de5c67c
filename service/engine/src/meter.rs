//! Counts what a part has taken between two days, and what it can be expected to take.
//!
//! Question answered: how much did a part take between two days, and how sure is that?
//!
//! A [`Meter`] runs an exposure once over the readings of its gauge. Then it answers every question about that part.
//! It gives the accumulated amounts at past inspections, from which findings are learned, and the forecast from today
//! on.
//!
//! `accumulated = sum over read days of their amounts + sum over unread days of the month's mean`, in the exposure's
//! unit. The standard deviation is that of the second sum ([`crate::passage`] has the equation and the ranges). It
//! counts the days after `since`, up to and including `through`, at most two centuries.
//!
//! Judgement: with less than two years of readings a note says that the record is short. Known failure: unread days
//! count as usual days, although neighbours or the storms around the gap may tell more.
//! Invariants: Accumulated amounts are 0 or more. Two adjoining stretches add up to the whole, both in the known and
//! in the expected part. Days with and without a reading add up to all days.

use crate::accumulated::{Accumulated, Note};
use crate::calendar::Day;
use crate::catchment::Catchment;
use crate::climate::{Basis, ClimateError};
use crate::error::{EngineError, require};
use crate::exposure::{Exposure, OnRoof, Setting, USUAL_WET_SHARE, count, law};
use crate::gauge::Gauge;
use crate::limit::Limit;
use crate::passage::{Curve, Known, Law, MonthlySums, Path, RunningTotal, Sums};

/// Years of readings below which a note says that the record is short.
const SHORT_YEARS: f64 = 2.0;
/// Longest time to count over, days: two centuries.
pub(crate) const LONGEST_PAST: i32 = 73_050;

/// An exposure counted over the readings of its gauge.
#[derive(Debug, Clone)]
pub struct Meter<'a> {
    gauge: &'a Gauge,
    catchment: &'a Catchment,
    on_roof: Option<OnRoof>,
    reads_rain: bool,
    running: RunningTotal,
    law: Option<Law>,
    notes: Vec<Note>,
    gets_nothing: bool,
    needs_rain: bool,
}

impl<'a> Meter<'a> {
    /// Counts. The catchment must belong to the same gauge and to a roof of the same kind.
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
            catchment: s.catchment,
            on_roof: OnRoof::new(s, &counted, law.as_ref())?,
            reads_rain: s.exposure.reads_rain(),
            running: counted.running,
            law,
            notes: notes(s),
            gets_nothing,
            needs_rain: s.exposure.needs_rain(),
        })
    }

    /// What the part took after `since`, up to and including `through`: not before `since`, and at most two centuries
    /// later.
    pub fn accumulated(&self, since: Day, through: Day) -> Result<Accumulated, EngineError> {
        let days = through.since(since);
        require((0..=LONGEST_PAST).contains(&days), "days since", f64::from(days), "0 to 73050")?;
        let path = self.path(since, through, days, 0.0);
        Ok(self.accumulated_of(&path, days, &MonthlySums::default().sums(&path, days)))
    }

    /// The day by which a limit was reached as likely as not, when it is known to have been reached by `found_on`.
    ///
    /// A hole that is found blocked was blocked on some day since it was last cleared. This is the median of that day
    /// by the limit. `None` when nothing had accumulated by then.
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

    /// The law of unread days. `None` when there is no rain to base one on.
    pub fn law(&self) -> Option<&Law> {
        self.law.as_ref()
    }

    /// The path from `since` to a horizon, in days after `since`, as seen on `as_of`.
    pub(crate) fn path(&self, since: Day, as_of: Day, horizon: i32, carried: f64) -> Path {
        let unread = if self.reads_rain {
            self.gauge.unread(since, as_of)
        } else {
            // The exposure does not use readings, so all of it is expectation.
            Vec::from_iter((as_of > since).then(|| (1, as_of.since(since))))
        };
        let known = Known::new(self.running.clone(), since, as_of, carried);
        let waiting = self.on_roof.and_then(|on_roof| on_roof.on(self.gauge, self.catchment, since, as_of));
        Path::new(known, unread, self.law, horizon).with_waiting(waiting)
    }

    /// The accumulated amount after `past` days. `sums` stand for the unread ones.
    pub(crate) fn accumulated_of(&self, path: &Path, past: i32, sums: &Sums) -> Accumulated {
        let known = path.known(past);
        // An exposure that does not depend on the weather has no gaps in its readings.
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
