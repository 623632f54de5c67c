//! Generated runoff off one kind of roof, shared by all tanks under it.

use crate::calendar::Day;
use crate::error::EngineError;
use crate::gauge::Gauge;
use crate::generate::Generator;
use crate::runoff::WettingStore;
use crate::site::Roof;

/// Days simulated ahead: two years. So a seal that lasts a winter is seen to go in the summer after.
pub const AHEAD_DAYS: usize = 730;
/// Number of paths. With 32 a mean level is off by a fifth of its spread, which does not change the season of least
/// water.
const PATHS: usize = 32;
/// Most days between the last reading and today that generated rain fills.
const MOST_UNREAD: i32 = 90;
/// Any fixed number: the same climate and dates give the same paths.
const SEED: u64 = 2;

/// Possible runoff off one kind of roof, path by path.
#[derive(Debug, Clone, PartialEq)]
pub struct Forthcoming {
    pub(super) as_of: Day,
    /// The first generated day, after the last reading.
    pub(super) first: Day,
    pub(super) days: usize,
    /// Runoff in mm: `days` values for each path, path after path.
    pub(super) mm: Vec<f32>,
}

impl Forthcoming {
    /// Generates the runoff off roofs of this kind after `as_of`. `None` without a climate.
    pub fn new(gauge: &Gauge, roof: &Roof, as_of: Day) -> Result<Option<Forthcoming>, EngineError> {
        let Ok(climate) = gauge.climate() else { return Ok(None) };
        let earliest = as_of.plus(1 - MOST_UNREAD);
        let first =
            gauge.record().last().map_or(earliest, |last| last.plus(1)).clamp(earliest, as_of.plus(1));
        let days = as_of.plus(1).since(first) as usize + AHEAD_DAYS;
        let generator = Generator::new(climate, SEED);
        let mut mm = Vec::with_capacity(days * PATHS);
        for number in 0..PATHS as u64 {
            let mut store = WettingStore::new(roof.wetting_loss_mm)?;
            let rain = generator.days(number, first).take(days);
            mm.extend(rain.map(|rain| (roof.coefficient * store.day(rain)) as f32));
        }
        Ok(Some(Forthcoming { as_of, first, days, mm }))
    }

    /// About how much memory it holds, in bytes.
    pub fn bytes(&self) -> usize {
        self.mm.capacity() * size_of::<f32>()
    }
}
