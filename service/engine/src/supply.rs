//! What the tank will hold, and how long its overflow trap stays dry.
//!
//! Neither is a sum over days, so no closed form gives them: they are followed along generated paths. The tank starts
//! from what the readings put into it, goes through the days between the last reading and today with generated rain, and
//! on from there. Paths belong to their calendar dates ([`crate::generate`]), so that a forecast does not jump because
//! today moved on; roofs of one kind under one gauge share them.
//!
//! Inflow of a day, litres: `(runoff - what the first-flush chamber takes) x plan area`, yield before spillage
//! ([`crate::tank`]). The seal of a trap loses the month's evaporation each day and is full again after an overflow
//! ([`crate::trap`]); evaporation itself is doubtful by a log-normal factor, one for all paths, of log-sd
//! [`EVAPORATION_LOG_SD`] (judgement). The chance that the seal was gone by a day is the mean over the paths of the chance
//! that the most it had lost by then, times that factor, is its depth.
//!
//! Known failures: a leak, a demand that follows the season, the chamber counted as empty before every rain, two years of
//! readings at most behind today's level (older water has long been drawn or spilled).
//! Invariants: stored water stays within 0 and the capacity; chances never fall with time.

use crate::calendar::{Day, Walker};
use crate::catchment::Catchment;
use crate::climate::Climate;
use crate::duty::{Chance, Window};
use crate::error::{EngineError, require};
use crate::gauge::Gauge;
use crate::generate::Generator;
use crate::heat::MonthlyClock;
use crate::runoff::WettingStore;
use crate::site::Roof;
use crate::special::normal_below;
use crate::tank::{BestDay, Levels, Store, Tank, best_day};
use crate::trap::REFILL_L;

/// Log-sd of the evaporation from a trap: within two thirds and one and a half times two times in three. Judgement.
pub const EVAPORATION_LOG_SD: f64 = 0.4;
/// How far ahead is simulated, days: two years, so that a seal that lasts a winter is seen to go in the summer after.
pub const AHEAD_DAYS: usize = 730;
/// Paths. Enough that a mean level is off by a fifth of its spread; the season of least water does not hang on that.
const PATHS: usize = 32;
/// Most days between the last reading and today that are gone through by generated rain.
const MOST_UNREAD: i32 = 90;
/// Days of readings behind today's level.
const BEHIND_DAYS: i32 = 730;
/// Any fixed number: the same climate and dates give the same paths.
const SEED: u64 = 2;

/// Runoff that may come off one kind of roof, path by path.
#[derive(Debug, Clone, PartialEq)]
pub struct Forthcoming {
    as_of: Day,
    /// The first generated day, after the last reading.
    first: Day,
    days: usize,
    /// Runoff in mm, path after path, `days` values each.
    mm: Vec<f32>,
}

impl Forthcoming {
    /// Generates the runoff off roofs of this kind after `as_of`; `None` without a climate.
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

/// A tank as it stands and may go on.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    tank: Tank,
    as_of: Day,
    /// Generated days up to and with today.
    behind: usize,
    days: usize,
    held_l: Vec<f32>,
    spill_l: Vec<f32>,
    last_overflow: Option<Day>,
    inflow_l_per_day: [f64; 12],
}

/// How a trap's seal stands and when it goes.
#[derive(Debug, Clone, PartialEq)]
pub struct SealOutlook {
    /// The last day on which it was full: of the last overflow or of the last refill.
    pub full_on: Day,
    /// Depth it is expected to have lost since, mm; no more than its depth.
    pub lost_mm: f64,
    /// When it is gone; `None` dates lie beyond the two years looked ahead.
    pub window: Window,
    /// The chance that it is gone.
    pub chance: Chance,
    chances: Vec<f64>,
    as_of: Day,
}

impl Supply {
    /// Follows a tank that has been in use since a day through the readings and along the paths.
    ///
    /// `flush_mm` is what the first-flush chamber takes of each day's runoff, mm. The catchment and the paths must be of
    /// the same gauge and kind of roof. The tank is empty when it goes into use, and half full when it has been in use for
    /// longer than the readings are looked back on.
    pub fn new(
        gauge: &Gauge,
        catchment: &Catchment,
        forthcoming: &Forthcoming,
        roof: &Roof,
        flush_mm: f64,
        tank: Tank,
        in_use_since: Day,
    ) -> Result<Supply, EngineError> {
        require(
            catchment.suits(roof),
            "wetting_loss_mm of roof",
            roof.wetting_loss_mm,
            "that of the catchment",
        )?;
        require(flush_mm >= 0.0, "flush_mm", flush_mm, "0 or more")?;
        let inflow_of = |mm: f64| (mm - flush_mm).max(0.0) * roof.plan_area_m2;
        let means = gauge.climate().map_or([0.0; 12], Climate::mean_runoff_by_month);
        let inflow_l_per_day = means.map(|mm| mm * roof.coefficient * roof.plan_area_m2);
        let horizon = forthcoming.first.plus(-BEHIND_DAYS);
        let from = in_use_since.plus(1).max(horizon).min(forthcoming.first);
        let start_l = if in_use_since.plus(1) < horizon { 0.5 * tank.capacity_l() } else { 0.0 };
        let mut store = tank.holding(start_l)?;
        let mut last_overflow = None;
        let mut walker = Walker::at(from);
        let mut day = from;
        let mut events = catchment.events_from(from);
        let mut next = events.next();
        while day < forthcoming.first {
            let inflow = match next {
                Some((on, mm)) if on == day => {
                    next = events.next();
                    inflow_of(mm)
                }
                _ if gauge.record().get(day).is_some() => 0.0,
                // A day that nobody read is no dry day.
                _ => inflow_l_per_day[walker.month0()],
            };
            if store.day(inflow).spill_l >= REFILL_L {
                last_overflow = Some(day);
            }
            day = day.plus(1);
            walker.step();
        }
        let mut supply = Supply {
            tank,
            as_of: forthcoming.as_of,
            behind: forthcoming.days - AHEAD_DAYS,
            days: forthcoming.days,
            held_l: Vec::with_capacity(forthcoming.mm.len()),
            spill_l: Vec::with_capacity(forthcoming.mm.len()),
            last_overflow,
            inflow_l_per_day,
        };
        for path in forthcoming.mm.chunks_exact(forthcoming.days) {
            supply.follow(store, path.iter().map(|mm| inflow_of(f64::from(*mm))));
        }
        Ok(supply)
    }

    fn follow(&mut self, mut store: Store, inflow: impl Iterator<Item = f64>) {
        for inflow in inflow {
            let flow = store.day(inflow);
            self.held_l.push(store.held_l() as f32);
            self.spill_l.push(flow.spill_l as f32);
        }
    }

    /// Water expected in the tank at the end of a day, litres; `None` before today and beyond the two years.
    pub fn expected_l(&self, day: Day) -> Option<f64> {
        let ahead = day.since(self.as_of);
        let index =
            usize::try_from(ahead + self.behind as i32 - 1).ok().filter(|i| *i < self.days && ahead >= 0);
        let index = index?;
        let sum: f64 = self.held_l.iter().skip(index).step_by(self.days).map(|held| f64::from(*held)).sum();
        Some(sum / (self.held_l.len() / self.days) as f64)
    }

    /// The day between two days, both included, on which least water is expected, before the wet season; see
    /// [`best_day`]. `None` when none of them lies within the two years ahead.
    pub fn best_day(&self, from: Day, to: Day) -> Result<Option<BestDay>, EngineError> {
        let first = from.max(self.as_of.plus(1));
        let last = to.min(self.as_of.plus(AHEAD_DAYS as i32));
        if first > last {
            return Ok(None);
        }
        let skip = self.behind + first.since(self.as_of) as usize - 1;
        let days = last.since(first) as usize + 1;
        let held_l: Vec<f32> =
            self.held_l.chunks_exact(self.days).flat_map(|path| &path[skip..skip + days]).copied().collect();
        let levels = Levels { first, days, held_l: &held_l };
        best_day(&self.tank, &levels, &self.inflow_l_per_day).map(Some)
    }

    /// How a seal of `depth_mm` that was last filled by hand on a day stands and goes.
    pub fn seal(
        &self,
        depth_mm: f64,
        filled_on: Day,
        evaporation: &MonthlyClock,
    ) -> Result<SealOutlook, EngineError> {
        require(depth_mm > 0.0 && depth_mm <= 500.0, "depth_mm", depth_mm, "above 0, up to 500")?;
        let full_on = self.last_overflow.map_or(filled_on, |day| day.max(filled_on)).min(self.as_of);
        let first = self.as_of.plus(1 - self.behind as i32);
        let start = first.max(full_on.plus(1));
        let lost_before = evaporation.between(full_on, start.plus(-1));
        let gone = |lost: f64| normal_below((lost / depth_mm).ln() / EVAPORATION_LOG_SD);
        let steps = Steps::of(evaporation, start, self.days - start.since(first) as usize);
        let today = self.as_of.since(start) + 1;
        // Index 0 is today, whether or not any day was generated for it.
        let mut chances = vec![0.0; AHEAD_DAYS + 1];
        let mut lost_today = 0.0;
        let paths = self.spill_l.len() / self.days;
        for path in self.spill_l.chunks_exact(self.days) {
            let (mut lost, mut most) = (lost_before, lost_before);
            let mut chance = gone(most);
            let mut note = |number: i32, lost: f64, chance: f64| {
                if let Ok(ahead) = usize::try_from(number - today) {
                    chances[ahead] += chance;
                    lost_today += if ahead == 0 { lost } else { 0.0 };
                }
            };
            note(0, lost, chance);
            for (number, (spill, step)) in (1..).zip(path[self.days - steps.0.len()..].iter().zip(&steps.0)) {
                lost = if f64::from(*spill) >= REFILL_L { 0.0 } else { lost + step };
                // What was open once stays so for this question, whatever overflows later.
                if lost > most {
                    most = lost;
                    chance = gone(most);
                }
                note(number, lost, chance);
            }
        }
        let mean = 1.0 / paths as f64;
        for chance in &mut chances {
            *chance *= mean;
        }
        Ok(SealOutlook::new(full_on, (lost_today * mean).min(depth_mm), chances, self.as_of))
    }
}

/// The evaporation of a run of days.
struct Steps(Vec<f64>);

impl Steps {
    fn of(evaporation: &MonthlyClock, first: Day, days: usize) -> Steps {
        let mut walker = Walker::at(first);
        let step = |_| {
            let step = evaporation.per_day()[walker.month0()];
            walker.step();
            step
        };
        Steps((0..days).map(step).collect())
    }
}

impl SealOutlook {
    fn new(full_on: Day, lost_mm: f64, chances: Vec<f64>, as_of: Day) -> SealOutlook {
        let day = |p| chances.iter().position(|chance| *chance >= p).map(|ahead| as_of.plus(ahead as i32));
        SealOutlook {
            full_on,
            lost_mm,
            window: Window { early: day(0.1), likely: day(0.5), late: day(0.9) },
            chance: Chance {
                today: chances[0],
                in_7_days: chances[7],
                in_30_days: chances[30],
                in_90_days: chances[90],
            },
            chances,
            as_of,
        }
    }

    /// The first day from today on by which the seal is gone with chance `p`; `None` beyond the two years ahead.
    pub fn day_of_chance(&self, p: f64) -> Option<Day> {
        self.chances.iter().position(|chance| *chance >= p).map(|ahead| self.as_of.plus(ahead as i32))
    }

    /// The chance that it is gone by a day so many days ahead, for a plot.
    pub fn chance_in(&self, days: usize) -> f64 {
        self.chances[days.min(AHEAD_DAYS)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::climate::Normals;
    use crate::rain::RainRecord;
    use crate::trap::{evaporation, usual_evaporation};

    const ROOF: Roof = Roof {
        plan_area_m2: 50.0,
        coefficient: 0.9,
        wetting_loss_mm: 0.5,
        canopy: crate::site::Canopy::None,
        canopy_share: 0.0,
    };

    /// Wet winters and dry summers.
    fn gauge(until: Day) -> Gauge {
        let normals = Normals {
            rain_mm: [150.0, 120.0, 90.0, 40.0, 10.0, 2.0, 0.0, 0.0, 10.0, 60.0, 120.0, 150.0],
            wet_days: [15.0, 13.0, 11.0, 6.0, 2.0, 0.5, 0.0, 0.0, 2.0, 7.0, 12.0, 15.0],
            wet_day_threshold_mm: 0.2,
            years: 30.0,
        };
        let climate = Gauge::new(RainRecord::empty(), Some(normals));
        let generator = Generator::new(climate.climate().unwrap(), 9);
        let first = Day::from_ymd(2010, 1, 1).unwrap();
        let mm = generator.path(0, first, until.since(first) as usize + 1);
        let days = mm.into_iter().enumerate().map(|(i, mm)| (first.plus(i as i32), mm));
        Gauge::new(RainRecord::from_readings(days), Some(normals))
    }

    fn day(y: i32, m: u32, d: u32) -> Day {
        Day::from_ymd(y, m, d).unwrap()
    }

    fn supply(read_until: Day, as_of: Day) -> Supply {
        let gauge = gauge(read_until);
        let catchment = Catchment::new(&gauge, &ROOF).unwrap();
        let forthcoming = Forthcoming::new(&gauge, &ROOF, as_of).unwrap().unwrap();
        let tank = Tank::new(3000.0, 100.0).unwrap();
        Supply::new(&gauge, &catchment, &forthcoming, &ROOF, 0.5, tank, day(2010, 1, 1)).unwrap()
    }

    #[test]
    fn the_tank_is_best_emptied_at_the_end_of_the_dry_season() {
        let supply = supply(day(2014, 3, 1), day(2014, 3, 1));
        let best = supply.best_day(day(2014, 3, 10), day(2015, 3, 10)).unwrap().unwrap();
        assert!((7..10).contains(&best.day.month0()), "{:?}", best.day.ymd());
        assert!(best.lost_low_l <= best.lost_high_l);
        assert!(best.lost_l < 300.0 && !best.in_wet_season, "{best:?}");
        assert_eq!(supply.best_day(day(2020, 1, 1), day(2021, 1, 1)).unwrap(), None);
        for n in 0..=AHEAD_DAYS as i32 {
            let held = supply.expected_l(day(2014, 3, 1).plus(n)).unwrap_or(0.0);
            assert!((0.0..=3000.1).contains(&held));
        }
    }

    #[test]
    fn a_seal_goes_in_the_dry_season_after_the_last_overflow() {
        let as_of = day(2014, 3, 20);
        let supply = supply(as_of, as_of);
        let clock = usual_evaporation(None).unwrap();
        let outlook = supply.seal(50.0, day(2013, 6, 1), &clock).unwrap();
        // A winter of overflows: the last one is no more than some weeks back.
        assert!(as_of.since(outlook.full_on) < 60, "{outlook:?}");
        let likely = outlook.window.likely.unwrap();
        // 50 mm at 1.07 mm a day are 47 days, and April may bring another overflow.
        let days = likely.since(outlook.full_on);
        assert!((45..120).contains(&days), "{days}");
        assert!(
            outlook.window.early.unwrap() < likely && likely < outlook.window.late.unwrap(),
            "{:?} {:?}",
            outlook.window,
            outlook.full_on
        );
        let deeper = supply.seal(100.0, day(2013, 6, 1), &clock).unwrap();
        assert!(deeper.window.early.unwrap() > outlook.window.early.unwrap());
        let none = supply.seal(50.0, as_of, &evaporation([0.0; 12]).unwrap()).unwrap();
        assert_eq!((none.window.early, none.chance.in_90_days, none.full_on), (None, 0.0, as_of));
    }

    #[test]
    fn chances_never_fall_and_paths_stay_with_their_dates() {
        let read_until = day(2014, 3, 1);
        for unread in [0, 1, 20, 89, 200] {
            let as_of = read_until.plus(unread);
            let supply = supply(read_until, as_of);
            let clock = usual_evaporation(None).unwrap();
            for filled in [day(2013, 1, 1), as_of.plus(-10), as_of] {
                let outlook = supply.seal(60.0, filled, &clock).unwrap();
                assert!(outlook.chances.windows(2).all(|pair| pair[0] <= pair[1]));
                assert!(outlook.chances.iter().all(|chance| (0.0..=1.0).contains(chance)));
                assert!(outlook.lost_mm >= 0.0 && outlook.full_on <= as_of);
            }
        }
        let gauge = gauge(read_until);
        let on = |as_of| Forthcoming::new(&gauge, &ROOF, as_of).unwrap().unwrap();
        let (today, later) = (on(read_until), on(read_until.plus(30)));
        assert_eq!(today.mm[..700], later.mm[..700]);
    }
}
