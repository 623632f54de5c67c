//! The rain of one rain gauge, with everything that is computed from it once for all systems below it.

use crate::domain::base::error::Result;
use crate::domain::model::forecast::{ClimateBasis, ClimateSummary};
use crate::domain::model::gauge::Normals;
use crate::domain::model::rain::RainDay;
use crate::domain::model::reason::Reason;
use crate::domain::model::sentence::Sentence;
use crate::domain::rules::forecast::convert::{to_date, to_day};
use chrono::NaiveDate;
use eavesward_engine as engine;
use engine::supply::Forthcoming;
use engine::{Catchment, Gauge, RainRecord};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The rain of a rain gauge up to a day, read once for all systems below it.
pub struct GaugeModel {
    /// The gauge.
    pub gauge: Gauge,
    /// Why there is no climate, and what to send.
    pub wanting: Option<Reason>,
    /// Runoff by kind of roof, computed when it is first needed.
    catchments: Mutex<Vec<CachedCatchment>>,
    /// Possible runoff after a day, by kind of roof and day.
    forthcoming: Mutex<Vec<CachedForthcoming>>,
}

/// The runoff off a kind of roof, and whether it was needed since it was last computed.
struct CachedCatchment {
    catchment: Arc<Catchment>,
    lately: bool,
}

/// Possible runoff off a kind of roof after a day.
struct CachedForthcoming {
    roof: engine::Roof,
    after: NaiveDate,
    paths: Option<Arc<Forthcoming>>,
}

impl GaugeModel {
    /// Reads the days up to `through` and ignores later ones.
    pub fn new(days: &[RainDay], normals: Option<&Normals>, through: NaiveDate) -> Self {
        let days = days.iter().filter(|day| day.date <= through);
        let record = RainRecord::from_readings(days.map(|day| (to_day(day.date), day.rain_mm)));
        Self::of(Gauge::new(record, normals.map(Normals::to_engine)))
    }

    fn of(gauge: Gauge) -> Self {
        // Too few data are not an error. The answer says what to send.
        let wanting =
            gauge.climate().err().map(|missing| Reason::RainMissing { missing: missing.to_string() });
        Self { gauge, wanting, catchments: Mutex::default(), forthcoming: Mutex::default() }
    }

    /// The same with later readings added; `None` if they are not all later than the last one.
    ///
    /// Runoff is computed for the added days as well. Kinds of roofs that were not needed since the last time are
    /// dropped.
    pub fn grown(&self, days: &[RainDay]) -> Result<Option<Self>> {
        let mut gauge = self.gauge.clone();
        if gauge.push(days.iter().map(|day| (to_day(day.date), day.rain_mm))) != days.len() {
            return Ok(None);
        }
        let grown = Self::of(gauge);
        let mut catchments = Vec::new();
        for asked in self.catchments().iter().filter(|asked| asked.lately) {
            let mut catchment = Catchment::clone(&asked.catchment);
            catchment.extend(&grown.gauge)?;
            catchments.push(CachedCatchment { catchment: Arc::new(catchment), lately: false });
        }
        *grown.catchments() = catchments;
        Ok(Some(grown))
    }

    /// The same without the readings after a day.
    pub fn until(&self, day: NaiveDate) -> Self {
        Self::of(self.gauge.until(to_day(day)))
    }

    /// Drops the runoff off all kinds of roofs. It is computed again when it is needed.
    pub fn forget_roofs(&self) {
        self.catchments().clear();
        self.forget_ahead();
    }

    /// Drops the possible runoff after a day, which is different for the next day.
    pub fn forget_ahead(&self) {
        self.ahead().clear();
    }

    /// About how many bytes of memory it uses.
    pub fn bytes(&self) -> usize {
        // A day takes 8 bytes. Climate, months and blocks take some thousand.
        let record = self.gauge.record();
        let days = record.first().zip(record.last()).map_or(0, |(first, last)| last.since(first) + 1);
        let roofs: usize = self.catchments().iter().map(|asked| asked.catchment.bytes()).sum();
        let ahead: usize =
            self.ahead().iter().flat_map(|ahead| &ahead.paths).map(|paths| paths.bytes()).sum();
        8 * days as usize + 4096 + roofs + ahead
    }

    fn catchments(&self) -> MutexGuard<'_, Vec<CachedCatchment>> {
        self.catchments.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn ahead(&self) -> MutexGuard<'_, Vec<CachedForthcoming>> {
        self.forthcoming.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// First day with a reading.
    pub fn from(&self) -> Option<NaiveDate> {
        self.gauge.record().first().and_then(to_date)
    }

    /// Last day with a reading.
    pub fn through(&self) -> Option<NaiveDate> {
        self.gauge.record().last().and_then(to_date)
    }

    /// The runoff off a kind of roof.
    pub fn catchment(&self, roof: &engine::Roof) -> Result<Arc<Catchment>> {
        let mut known = self.catchments();
        if let Some(asked) = known.iter_mut().find(|asked| asked.catchment.suits(roof)) {
            asked.lately = true;
            return Ok(Arc::clone(&asked.catchment));
        }
        let catchment = Arc::new(Catchment::new(&self.gauge, roof)?);
        known.push(CachedCatchment { catchment: Arc::clone(&catchment), lately: true });
        Ok(catchment)
    }

    /// Possible runoff off a kind of roof after a day; absent without a climate. That of earlier days is dropped.
    pub fn forthcoming(&self, roof: &engine::Roof, as_of: NaiveDate) -> Result<Option<Arc<Forthcoming>>> {
        let alike = |other: &engine::Roof| {
            other.wetting_loss_mm == roof.wetting_loss_mm && other.coefficient == roof.coefficient
        };
        let mut known = self.ahead();
        if let Some(ahead) = known.iter().find(|ahead| alike(&ahead.roof) && ahead.after == as_of) {
            return Ok(ahead.paths.clone());
        }
        known.retain(|ahead| ahead.after == as_of);
        let paths = Forthcoming::new(&self.gauge, roof, to_day(as_of))?.map(Arc::new);
        known.push(CachedForthcoming { roof: *roof, after: as_of, paths: paths.clone() });
        Ok(paths)
    }

    pub(crate) fn summary(&self, coefficient: f64) -> ClimateSummary {
        let mut advice = Vec::new();
        let (basis, years, runoff) = match self.gauge.climate() {
            Err(_) => {
                advice.extend(self.wanting.as_ref().map(Reason::sentence));
                (ClimateBasis::None, 0.0, Vec::new())
            }
            Ok(climate) => {
                let basis = match climate.basis {
                    engine::Basis::Record => ClimateBasis::Record,
                    engine::Basis::Normals => ClimateBasis::Normals,
                    engine::Basis::Both => ClimateBasis::Both,
                };
                let runoff = climate.mean_runoff_by_month().iter().map(|mm| mm * coefficient).collect();
                (basis, climate.years, runoff)
            }
        };
        match basis {
            ClimateBasis::Record if years < 5.0 => {
                let known = Sentence::of("few_years").say("Only ").decimal("years", years, "years");
                advice.push(
                    known.say(" of daily rain are known. Add twelve monthly normals to narrow the windows."),
                );
            }
            ClimateBasis::Normals => {
                advice.push(
                    Sentence::of("readings_wanted")
                        .say("Daily readings would make the accumulated figures exact."),
                );
            }
            _ => {}
        }
        ClimateSummary {
            basis,
            years,
            mean_runoff_mm_per_day: runoff,
            rain_from: self.from(),
            rain_through: self.through(),
            advice,
        }
    }
}

/// A gauge model with the readings up to a day.
pub(crate) fn until_day(gauge_model: &Arc<GaugeModel>, day: NaiveDate) -> Arc<GaugeModel> {
    match gauge_model.through() {
        Some(last) if last > day => Arc::new(gauge_model.until(day)),
        _ => Arc::clone(gauge_model),
    }
}
