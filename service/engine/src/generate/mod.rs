//! Simulated rain: seeded paths that belong to their calendar dates.
//!
//! Question answered: what could the days without a reading bring, day by day? Some figures need the days and not
//! only their sum, such as how full the tank is and how long it stays dry. The paths also check the closed form of
//! [`crate::passage`].
//!
//! `rain(d) = 1{wet on d} X_d exp(e_j + y_k + c_m - (var e + var y + var c) / 2)` in mm, with
//!
//! - wet days by the month's first-order chain ([`MonthLaw::p01`], [`MonthLaw::p11`]).
//! - X: the gamma law of a wet day. Its mean is the month's, scaled to [`Climate::rain_mm_per_day`]. Its squared
//!   coefficient of variation v satisfies `(1 + v) E[exp(2 (e + y))] / E[exp(e + y)]^2 = 1 + cv2`. So wet days of all
//!   years together have the variance that was measured on them, and the factors add nothing to it.
//! - e: normal with sd `month / a` of [`Climate::spreads`], drawn for each month j of each year.
//! - y: normal with sd `year / a`, drawn for each calendar year. The v above uses the log-sds as measured: doubt
//!   about them does not lower the variance of a wet day.
//! - c: the sampling error of the monthly means, once per path. It is twelve normal numbers with sd `sampling / a`,
//!   smoothed over neighbouring months by 1/4, 1/2, 1/4, which leaves 3/8 of their variance. One number for all
//!   months with sd `level / a` comes on top.
//! - a: the per cent by which runoff grows when rain grows by one. The climate's log-sds were measured on runoff
//!   after a daily loss, which varies more than rain.
//!
//! The factors add the variance that daily chains miss (Katz & Parlange 1998, Journal of Climate 11:591) and the
//! doubt of a short record. Half of each variance is subtracted so that means hold.
//!
//! Every number is a hash of seed, path, calendar date and purpose (see `random`). So the rain of a path on a date
//! does not depend on the first day or the length of the request. Then a wet day must depend on its date alone as
//! well. A day whose number is under both chances is wet, and a day whose number is over both is dry, whatever the
//! day before was. Otherwise the day before decides, and so on back (coupling from the past, Propp & Wilson 1996,
//! Random Structures & Algorithms 9:223). Every [`RENEWAL_DAYS`]-th day ignores the day before and uses the long-run
//! share of wet days. That bounds how far back to look, even for chains that never forget.
//!
//! Judgement: the spacing of renewals. 29 February is one more day of February. The years of the yearly factor begin
//! in January.
//! Known failures: Those of the climate. Amounts match in mean and variance, and the chain looks one day back. So the
//! share of small rains and long dry spells differs from that of a record. Compared with four years of Seattle,
//! chambers fill 4 to 10 % sooner. Solids gather 6 to 11 % faster over two years. The paths do not know the last
//! reading: neither whether yesterday was wet nor how the current month has been.
//! Invariants: The same seed, path and date give the same bits. More rain or a smaller limit never delays a path's
//! passage. The mean of simulated rain is that of the climate's laws.

mod amount;
mod passages;
mod random;

use crate::calendar::Day;
use crate::climate::{Climate, MonthLaw, Spreads, smooth};
use crate::limit::Limit;

pub use passages::Passages;

use amount::Amount;
use random::Stream;

/// Days between renewals, on which the chain starts without the day before. Judgement: too rare to affect a sum.
pub const RENEWAL_DAYS: i32 = 1024;

/// Largest factor that scales a month's amounts to its mean. A larger factor would mean drizzle on days that do not
/// count as wet. Judgement.
const MOST_LIFTED: f64 = 2.0;

/// Smallest squared coefficient of variation of the wet days of one month. Judgement, as for the climate.
const LEAST_CV2: f64 = 0.05;

/// Share of the variance of twelve independent numbers that the 1/4, 1/2, 1/4 smoothing leaves.
const LEFT_BY_SMOOTHING: f64 = 0.375;

/// The purpose of a random number. Each purpose has its own numbers.
#[derive(Clone, Copy)]
enum Purpose {
    Occurrence,
    Amount,
    Month,
    Year,
    Climatology,
    Limit,
    Level,
}

/// One calendar month, ready for the daily step.
#[derive(Debug, Clone, Copy)]
struct Month {
    p01: f64,
    p11: f64,
    wet_share: f64,
    amount: Amount,
}

impl Month {
    /// `factor_square` is the mean square of the factors of months and years.
    fn new(law: &MonthLaw, mm_per_day: f64, factor_square: f64) -> Month {
        let wet_share = law.wet_share();
        // The amounts that the year lends to a month's law are not in the month's mean. Everything else uses that
        // mean.
        let level = mm_per_day / (wet_share * law.mean_wet_mm);
        let level = if level.is_finite() { level.min(MOST_LIFTED) } else { 1.0 };
        // 1 + cv2 of the wet days of all years is that of one month's wet days times the mean square of the factors.
        let cv2 = ((1.0 + law.cv2) / factor_square - 1.0).max(LEAST_CV2);
        let amount = Amount::new(level * law.mean_wet_mm, cv2);
        Month { p01: law.p01, p11: law.p11, wet_share, amount }
    }
}

/// The possible rain of a gauge, path by path.
#[derive(Debug, Clone)]
pub struct Generator {
    months: [Month; 12],
    /// Log-sds of the factors of rain.
    spreads: Spreads,
    /// Half the variance of all factors together.
    half_variance: f64,
    root: Stream,
}

impl Generator {
    /// The generator of a climate. Another seed gives other rain with the same laws.
    pub fn new(climate: &Climate, seed: u64) -> Generator {
        let of_rain = 1.0 / climate.runoff_per_rain();
        let Spreads { month, year, sampling, level } = climate.spreads();
        let spreads = Spreads {
            month: of_rain * month,
            year: of_rain * year,
            sampling: of_rain * sampling,
            level: of_rain * level,
        };
        let measured = (of_rain * climate.sigma_month).powi(2) + (of_rain * climate.sigma_year).powi(2);
        let strayed = spreads.month.powi(2) + spreads.year.powi(2) + spreads.level.powi(2);
        let months = std::array::from_fn(|m| {
            Month::new(&climate.months[m], climate.rain_mm_per_day[m], measured.exp())
        });
        Generator {
            months,
            spreads,
            half_variance: 0.5 * (strayed + LEFT_BY_SMOOTHING * spreads.sampling.powi(2)),
            root: Stream::of_seed(seed),
        }
    }

    /// Rain in mm of path `number` on `from` and the `days - 1` days after it.
    pub fn path(&self, number: u64, from: Day, days: usize) -> Vec<f64> {
        self.days(number, from).take(days).collect()
    }

    /// Writes the same rain into a slice.
    pub fn fill(&self, number: u64, from: Day, mm: &mut [f64]) {
        for (mm, rain) in mm.iter_mut().zip(self.days(number, from)) {
            *mm = rain;
        }
    }

    /// The same rain as an endless series of days, in mm.
    pub fn days(&self, number: u64, from: Day) -> Days<'_> {
        Days::new(self, self.root.of(number), from)
    }

    /// The limit of path `number`, drawn from its log-normal law. `part` separates the limits of several parts.
    pub fn limit(&self, number: u64, part: u64, limit: Limit) -> f64 {
        let stream = self.root.of(number).of(Purpose::Limit as u64);
        limit.median * (limit.log_sd * stream.normal(part)).exp()
    }

    /// For each path, the first day on which its exposure adds up to its limit. The day after `since` is day 1.
    ///
    /// `exposure` is called once per path. It returns the function that turns days and their rain (mm) into daily
    /// exposure, which may hold a state. `limit` gives the amount to reach; [`Generator::limit`] gives an uncertain
    /// one. A limit of 0 or less is reached on day 0. Passages beyond `horizon_days` are `None`. Paths are numbered
    /// from 0 and belong to the seed, so more paths do not change the earlier ones.
    pub fn first_passages<E: FnMut(Day, f64) -> f64>(
        &self,
        since: Day,
        horizon_days: i32,
        paths: u64,
        mut exposure: impl FnMut(u64) -> E,
        mut limit: impl FnMut(u64) -> f64,
    ) -> Passages {
        let passage = |number| {
            let amount = limit(number);
            let mut of_day = exposure(number);
            if amount <= 0.0 {
                return Some(0);
            }
            let mut sum = 0.0;
            (1..=horizon_days).zip(self.days(number, since.plus(1))).find_map(|(t, mm)| {
                sum += of_day(since.plus(t), mm);
                (sum >= amount).then_some(t)
            })
        };
        Passages::new((0..paths).map(passage).collect())
    }
}

/// The days of one path, from [`Generator::days`].
#[derive(Debug, Clone)]
pub struct Days<'a> {
    generator: &'a Generator,
    path: Stream,
    occurrence: Stream,
    amounts: Stream,
    climatology: [f64; 12],
    day: Day,
    month0: usize,
    month_last: Day,
    /// Factor of the month's amounts.
    factor: f64,
    /// Whether the day before was wet.
    wet: bool,
}

impl<'a> Days<'a> {
    fn new(generator: &'a Generator, path: Stream, from: Day) -> Days<'a> {
        let raw = path.of(Purpose::Climatology as u64);
        let Spreads { sampling, level, .. } = generator.spreads;
        let shared = if level > 0.0 { level * path.of(Purpose::Level as u64).normal(0) } else { 0.0 };
        let sampled = smooth(&std::array::from_fn(|m| sampling * raw.normal(m as u64)));
        let mut days = Days {
            generator,
            path,
            occurrence: path.of(Purpose::Occurrence as u64),
            amounts: path.of(Purpose::Amount as u64),
            climatology: sampled.map(|sampled| sampled + shared),
            day: from,
            month0: 0,
            month_last: from,
            factor: 1.0,
            wet: false,
        };
        days.wet = days.was_wet(from.plus(-1));
        days.enter_month();
        days
    }

    /// Looks back from a day until it is settled whether that day was wet.
    fn was_wet(&self, day: Day) -> bool {
        let mut month_first = day;
        let mut month = &self.generator.months[0];
        // Each undecided day passes on the state of the day before, or inverts it.
        let mut turned = false;
        let mut at = day;
        loop {
            if at == day || at < month_first {
                let (_, m, d) = at.ymd();
                month_first = at.plus(1 - d as i32);
                month = &self.generator.months[m as usize - 1];
            }
            let u = self.occurrence.uniform(counter(at));
            if is_renewal(at) {
                return (u < month.wet_share) != turned;
            }
            let (after_dry, after_wet) = (u < month.p01, u < month.p11);
            if after_dry == after_wet {
                return after_wet != turned;
            }
            turned ^= after_dry;
            at = at.plus(-1);
        }
    }

    fn enter_month(&mut self) {
        let (y, m, _) = self.day.ymd();
        let g = self.generator;
        self.month0 = m as usize - 1;
        self.month_last = self.day.month_end();
        let of_month = self.path.of(Purpose::Month as u64).normal(counter(Day(y * 12 + self.month0 as i32)));
        let of_year = self.path.of(Purpose::Year as u64).normal(counter(Day(y)));
        let Spreads { month, year, .. } = g.spreads;
        let stray = month * of_month + year * of_year + self.climatology[self.month0];
        self.factor = (stray - g.half_variance).exp();
    }
}

impl Iterator for Days<'_> {
    type Item = f64;

    fn next(&mut self) -> Option<f64> {
        if self.day > self.month_last {
            self.enter_month();
        }
        let day = self.day;
        let month = &self.generator.months[self.month0];
        let chance = if is_renewal(day) {
            month.wet_share
        } else if self.wet {
            month.p11
        } else {
            month.p01
        };
        self.wet = self.occurrence.uniform(counter(day)) < chance;
        self.day = day.plus(1);
        Some(if self.wet { self.factor * month.amount.draw(self.amounts.of(counter(day))) } else { 0.0 })
    }
}

fn is_renewal(day: Day) -> bool {
    day.0 % RENEWAL_DAYS == 0
}

fn counter(day: Day) -> u64 {
    u64::from(day.0 as u32)
}
