//! The rain of one gauge, with everything that the systems under it share.
//!
//! Question answered: which days of a gauge were read, what was read, and what can be expected of the other days?
//!
//! A gauge works out its climate and the calendar of its readings once, for all systems under it. [`Gauge::push`]
//! adds a new reading after the last one. It does not go over the earlier years again, and its result equals, bit
//! for bit, a gauge made from the longer record.
//!
//! With fewer readings than [`SPREAD_DAYS`], the monthly amounts of a duty come from 40 years of generated rain
//! ([`crate::generate`]). Each month is scaled to its mean `days x rain_mm_per_day` exactly. Units: mm per civil
//! day. Two numbers are judgement: the 40 years, and the days from which a record gives its own spread.
//!
//! Known failures: Faults in the readings ([`crate::rain`]). A gauge that was moved, or that is far from the roof.
//! One climate for all its years.
//! Invariants: Every day is either read or not, and counts once. A gauge that grew equals one made from the whole
//! record. A gauge cut back to a day ([`Gauge::until`]) knows nothing of later days.

use std::sync::LazyLock;

use crate::calendar::{Day, MEAN_MONTH_DAYS, Walker};
use crate::climate::{
    Climate, ClimateError, Doubt, GrowingStatistics, Normals, REFERENCE_LOSS_MM, SPREAD_DAYS,
};
use crate::generate::Generator;
use crate::rain::RainRecord;

/// Modelled years: 2001 to 2040. So many that the mean of a month is only some percent off before it is scaled.
/// Judgement.
const MODEL_START: Day = Day(11_323);
const MODEL_DAYS: [f64; 12] = {
    let mut days = [0.0; 12];
    let mut m = 0;
    while m < 12 {
        days[m] = 40.0 * MEAN_MONTH_DAYS[m];
        m += 1;
    }
    days
};
/// Any fixed number: the same climate gives the same years.
const MODEL_SEED: u64 = 1;

/// Days of a block. The spread of an exposure is measured on blocks.
pub(crate) const BLOCK_DAYS: usize = 30;

/// One gauge: readings, normals, and the climate they give.
#[derive(Debug, Clone)]
pub struct Gauge {
    record: RainRecord,
    normals: Option<Normals>,
    statistics: GrowingStatistics,
    climate: Result<Climate, ClimateError>,
    /// Whether the climate was given rather than fitted.
    given: bool,
    read_days: ReadDays,
}

/// Which days were read.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct ReadDays {
    /// Days with a reading, by month.
    pub by_month: [f64; 12],
    /// Stretches without a reading between the first and the last one, as first and last day.
    pub gaps: Vec<(Day, Day)>,
    /// Days of each month with a reading, in blocks of 30 days from the first reading on. The last block may be
    /// incomplete.
    pub blocks: Vec<ReadBlock>,
    next_in_block: usize,
}

/// The readings of 30 days. They touch three months at most.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct ReadBlock {
    first_month0: u8,
    days: [u8; 3],
}

impl ReadBlock {
    /// Days with a reading.
    pub(crate) fn known(self) -> u32 {
        self.days.iter().map(|days| u32::from(*days)).sum()
    }

    /// What the monthly means lead one to expect on these days.
    pub(crate) fn expected(self, daily: &[f64; 12]) -> f64 {
        let month = |k: usize| daily[(usize::from(self.first_month0) + k) % 12];
        (0..3).map(|k| f64::from(self.days[k]) * month(k)).sum()
    }
}

impl ReadDays {
    fn of(record: &RainRecord) -> ReadDays {
        let mut read = ReadDays::default();
        if let Some(first) = record.first() {
            read.extend(first, record.dense());
        }
        read
    }

    fn extend(&mut self, from: Day, mm: &[f64]) {
        let mut walker = Walker::at(from);
        for (i, mm) in mm.iter().enumerate() {
            self.add(from.plus(i as i32), walker.month0(), !mm.is_nan());
            walker.step();
        }
    }

    /// Whole blocks.
    pub(crate) fn whole_blocks(&self) -> &[ReadBlock] {
        let open = usize::from(self.next_in_block > 0);
        &self.blocks[..self.blocks.len() - open.min(self.blocks.len())]
    }

    fn add(&mut self, day: Day, month0: usize, known: bool) {
        if self.next_in_block == 0 {
            self.blocks.push(ReadBlock { first_month0: month0 as u8, days: [0; 3] });
        }
        self.next_in_block = (self.next_in_block + 1) % BLOCK_DAYS;
        if known {
            self.by_month[month0] += 1.0;
            if let Some(block) = self.blocks.last_mut() {
                block.days[(month0 + 12 - usize::from(block.first_month0)) % 12] += 1;
            }
            return;
        }
        match self.gaps.last_mut() {
            Some(gap) if gap.1.plus(1) == day => gap.1 = day,
            _ => self.gaps.push((day, day)),
        }
    }

    /// How many days after `since` and up to `through` lie in gaps.
    fn in_gaps(&self, since: Day, through: Day) -> i32 {
        let from = self.gaps.partition_point(|gap| gap.1 <= since);
        let gaps = self.gaps[from..].iter().take_while(|gap| gap.0 <= through);
        gaps.map(|gap| gap.1.min(through).since(gap.0.max(since.plus(1))) + 1).sum()
    }
}

impl Gauge {
    /// A gauge with its readings and, if there are any, its normals.
    ///
    /// Too few readings for a climate are no error here, because some exposures need no climate.
    pub fn new(record: RainRecord, normals: Option<Normals>) -> Gauge {
        let statistics = GrowingStatistics::of(&record, REFERENCE_LOSS_MM);
        let climate =
            Climate::from_statistics(&statistics, record.known_days(), normals.as_ref(), REFERENCE_LOSS_MM);
        Gauge { read_days: ReadDays::of(&record), record, normals, statistics, climate, given: false }
    }

    /// A gauge with a climate from elsewhere, for example from a longer record nearby. Readings do not change it.
    pub fn with_climate(record: RainRecord, climate: Result<Climate, ClimateError>) -> Gauge {
        let statistics = GrowingStatistics::new(REFERENCE_LOSS_MM);
        Gauge { read_days: ReadDays::of(&record), record, normals: None, statistics, climate, given: true }
    }

    /// Adds readings after the last one, in order of their days. Days between them stay without a reading.
    ///
    /// Returns how many were added. It stops at the first reading that [`RainRecord::push`] refuses.
    pub fn push(&mut self, readings: impl IntoIterator<Item = (Day, f64)>) -> usize {
        let had = self.record.dense().len();
        let taken = readings.into_iter().take_while(|(day, mm)| self.record.push(*day, *mm)).count();
        if let Some(first) = self.record.first()
            && taken > 0
        {
            let new = &self.record.dense()[had..];
            let from = first.plus(had as i32);
            self.read_days.extend(from, new);
            if !self.given {
                self.statistics.extend(from, new);
                let (known, normals) = (self.record.known_days(), self.normals.as_ref());
                self.climate = Climate::from_statistics(&self.statistics, known, normals, REFERENCE_LOSS_MM);
            }
        }
        taken
    }

    /// The gauge as it was on a day, without later readings.
    pub fn until(&self, day: Day) -> Gauge {
        let record = self.record.until(day);
        if self.given {
            Gauge::with_climate(record, self.climate.clone())
        } else {
            Gauge::new(record, self.normals)
        }
    }

    /// The readings.
    pub fn record(&self) -> &RainRecord {
        &self.record
    }

    /// The climate, or why there is none.
    pub fn climate(&self) -> Result<&Climate, &ClimateError> {
        self.climate.as_ref()
    }

    /// Years of rain as the climate might bring them, for records too short for a daily process.
    ///
    /// They leave out the random factors of month, year and climatology, because the laws of passage add that
    /// spread. Each month is scaled to its mean exactly.
    pub(crate) fn modelled_years(&self) -> Option<RainRecord> {
        let climate = self.climate.as_ref().ok().filter(|_| self.record.known_days() < SPREAD_DAYS)?;
        let mut plain = climate.clone();
        (plain.sigma_month, plain.sigma_year, plain.cv30, plain.doubt) = (0.0, 0.0, 0.0, Doubt::NONE);
        let days = MODEL_DAYS.iter().sum::<f64>() as usize;
        let mut mm = Generator::new(&plain, MODEL_SEED).path(0, MODEL_START, days);
        let mut sums = [0.0; 12];
        let mut walker = Walker::at(MODEL_START);
        let months: Vec<usize> = mm
            .iter()
            .map(|rain| {
                let month0 = walker.month0();
                sums[month0] += rain;
                walker.step();
                month0
            })
            .collect();
        for (rain, month0) in mm.iter_mut().zip(months) {
            if sums[month0] > 0.0 {
                *rain *= climate.rain_mm_per_day[month0] * MODEL_DAYS[month0] / sums[month0];
            }
        }
        let days = mm.into_iter().enumerate().map(|(i, rain)| (MODEL_START.plus(i as i32), rain));
        Some(RainRecord::from_readings(days))
    }

    /// Days of each month in the modelled years.
    pub(crate) fn modelled_days() -> [f64; 12] {
        MODEL_DAYS
    }

    /// Blocks of 30 days of the modelled years, all of them read.
    pub(crate) fn modelled_blocks() -> &'static [ReadBlock] {
        static BLOCKS: LazyLock<ReadDays> = LazyLock::new(|| {
            let mut read = ReadDays::default();
            read.extend(MODEL_START, &vec![0.0; MODEL_DAYS.iter().sum::<f64>() as usize]);
            read
        });
        BLOCKS.whole_blocks()
    }

    /// Which days were read.
    pub(crate) fn read_days(&self) -> &ReadDays {
        &self.read_days
    }

    /// Stretches of days after `since` and up to `through` without a reading, as day numbers after `since`.
    pub(crate) fn unread(&self, since: Day, through: Day) -> Vec<(i32, i32)> {
        let mut stretches = Vec::new();
        let mut add = |from: Day, to: Day| {
            let (from, to) = (from.max(since.plus(1)), to.min(through));
            if from <= to {
                stretches.push((from.since(since), to.since(since)));
            }
        };
        let (Some(first), Some(last)) = (self.record.first(), self.record.last()) else {
            add(since.plus(1), through);
            return stretches;
        };
        add(since.plus(1), first.plus(-1));
        let from = self.read_days.gaps.partition_point(|gap| gap.1 <= since);
        for gap in self.read_days.gaps[from..].iter().take_while(|gap| gap.0 <= through) {
            add(gap.0, gap.1);
        }
        add(last.plus(1), through);
        stretches
    }

    /// How many days after `since` and up to `through` have a reading.
    pub fn days_read(&self, since: Day, through: Day) -> u32 {
        let (Some(first), Some(last)) = (self.record.first(), self.record.last()) else { return 0 };
        let (from, to) = (since.max(first.plus(-1)), through.min(last));
        (to.since(from) - self.read_days.in_gaps(from, to)).max(0) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(n: i32) -> Option<f64> {
        // Wet and dry days in turn, with gaps of one day and of a month, over two leap days.
        match n % 7 {
            _ if n % 200 > 170 || n == 59 => None,
            0 | 3 => Some(f64::from(n % 13) + 0.4),
            _ => Some(0.0),
        }
    }

    fn record(days: i32) -> RainRecord {
        let first = Day::from_ymd(2011, 12, 31).unwrap();
        RainRecord::from_readings((0..days).filter_map(|n| Some((first.plus(n), reading(n)?))))
    }

    /// A day without a reading is NaN, which never equals itself, so those days need their own comparison.
    fn same(a: &Gauge, b: &Gauge) -> bool {
        let bits = |gauge: &Gauge| gauge.record.dense().iter().map(|mm| mm.to_bits()).collect::<Vec<_>>();
        bits(a) == bits(b)
            && a.record.first() == b.record.first()
            && a.climate == b.climate
            && a.read_days == b.read_days
    }

    #[test]
    fn a_gauge_that_grew_equals_one_that_was_given_everything() {
        let first = Day::from_ymd(2011, 12, 31).unwrap();
        for start in [0, 1, 29, 59, 60, 61, 400, 789, 790, 791] {
            let mut grown = Gauge::new(record(start), None);
            for n in start..1700 {
                if let Some(mm) = reading(n) {
                    assert_eq!(grown.push([(first.plus(n), mm)]), 1);
                }
            }
            let whole = Gauge::new(record(1700), None);
            assert!(same(&grown, &whole), "from {start} days on");
            assert!(whole.climate().is_ok());
        }
    }

    #[test]
    fn modelled_years_have_the_days_of_forty_years_and_the_means_of_the_climate() {
        assert_eq!(Day::from_ymd(2001, 1, 1), Some(MODEL_START));
        let gauge = Gauge::new(record(100), None);
        let years = gauge.modelled_years().unwrap();
        assert_eq!(years.last(), Day::from_ymd(2040, 12, 31));
        let mut days = [0.0; 12];
        let mut sums = [0.0; 12];
        for n in 0..years.known_days() {
            let day = MODEL_START.plus(n as i32);
            days[day.month0()] += 1.0;
            sums[day.month0()] += years.get(day).unwrap();
        }
        assert_eq!(days, MODEL_DAYS);
        let climate = gauge.climate().unwrap();
        for m in 0..12 {
            assert!((sums[m] / days[m] - climate.rain_mm_per_day[m]).abs() < 1e-9);
        }
        assert!(Gauge::new(record(900), None).modelled_years().is_none());
    }

    #[test]
    fn a_reading_that_is_not_later_is_refused() {
        let mut gauge = Gauge::new(record(100), None);
        let before = gauge.clone();
        let last = gauge.record().last().unwrap();
        assert_eq!(gauge.push([(last, 3.0)]), 0);
        assert_eq!(gauge.push([(last.plus(1), f64::NAN)]), 0);
        assert_eq!(gauge.push([(last.plus(1), -1.0)]), 0);
        assert!(same(&gauge, &before));
    }

    #[test]
    fn every_day_is_read_or_not() {
        let gauge = Gauge::new(record(900), None);
        let (first, last) = (gauge.record().first().unwrap(), gauge.record().last().unwrap());
        for (since, through) in
            [(-40, 1000), (0, 60), (58, 59), (100, 100), (165, 230), (899, 950), (-90, -20)]
        {
            let (since, through) = (first.plus(since), first.plus(through).max(first.plus(since)));
            let unread = gauge.unread(since, through);
            let counted: i32 = unread.iter().map(|(from, to)| to - from + 1).sum();
            assert_eq!(counted as u32 + gauge.days_read(since, through), through.since(since) as u32);
            for (from, to) in unread {
                for n in from..=to {
                    assert_eq!(gauge.record().get(since.plus(n)), None);
                }
            }
        }
        assert!(last > first);
        let back = gauge.until(first.plus(500));
        assert!(same(&back, &Gauge::new(record(501), None)));
    }
}
