//! Rain that might fall: seeded paths that belong to their calendar dates.
//!
//! Question answered: what could the days without a reading bring, day by day, where a sum alone does not tell (how full
//! the tank stands, how long it stays dry), and does the closed form of [`crate::passage`] agree?
//!
//! `rain(d) = 1{wet on d} X_d exp(e_j + y_k + c_m - (var e + var y + var c) / 2)` in mm, with
//!
//! - wet days by the month's first-order chain ([`MonthLaw::p01`], [`MonthLaw::p11`]);
//! - X gamma; its mean is the month's, brought to [`Climate::rain_mm_per_day`], and with v its squared coefficient of
//!   variation `(1 + v) E[exp(2 (e + y))] / E[exp(e + y)]^2 = 1 + cv2`: wet days of all years together have the law's
//!   variance, which was measured on them together, and what strays does not come on top;
//! - e normal with sd `month / a` of [`Climate::spreads`], anew in each month j of each year; y with `year / a`, anew in each
//!   calendar year; the v above goes by the log-sds as measured, for doubt about what strays takes nothing off a wet day;
//! - c the sampling error of the monthly means, once per path: twelve normal numbers with sd `sampling / a`, smoothed over
//!   neighbouring months by 1/4, 1/2, 1/4, which leaves 3/8 of their variance, and one for all months with sd `level / a`;
//! - a the per cent that runoff grows when rain grows by one: the climate's log-sds were measured on runoff after a daily
//!   loss, which strays more than the rain.
//!
//! The factors carry the variance that daily chains miss (Katz & Parlange 1998, Journal of Climate 11:591) and the doubt of
//! a short record; half of each variance is taken off so that means hold. Every number is a hash of seed, path, calendar
//! date and purpose (see `random`), so the rain of a path on a date is the same from whatever day and for however long it
//! is asked for. A wet day must then be a function of its date as well: a day whose number lies under both chances is wet
//! and one that lies over both is dry whatever yesterday was; else the day before decides, and so on back (coupling from
//! the past, Propp & Wilson 1996, Random Structures & Algorithms 9:223). Every [`RENEWAL_DAYS`]-th day is drawn from the
//! long-run share of wet days without a look at the day before, which bounds the look back for chains that forget nothing.
//!
//! Judgement: the spacing of renewals; 29 February is one more day of February; years of the factor begin in January.
//! Known failures: those of the climate; amounts matched in mean and variance and a chain that looks one day back have not a
//! record's own share of small rains and long dry spells, so that beside four years of Seattle chambers fill 4 to 10 %
//! sooner and solids gather 6 to 11 % faster over two years; the paths know nothing of the last reading, neither whether yesterday was wet nor
//! how the running month has been.
//! Invariants: the same seed, path and date give the same bits; more rain or a smaller limit never delays a path's passage;
//! the mean of simulated rain is that of the climate's laws.

mod amount;
mod passages;
mod random;

use crate::calendar::Day;
use crate::climate::{Climate, MonthLaw, Spreads, smooth};
use crate::limit::Limit;

pub use passages::Passages;

use amount::Amount;
use random::Stream;

/// Days between those on which the chain starts anew. Judgement: rare enough to leave no trace in a sum.
pub const RENEWAL_DAYS: i32 = 1024;

/// Most by which a month's amounts are lifted to its mean: beyond it the mean is drizzle on days that do not count as wet.
/// Judgement.
const MOST_LIFTED: f64 = 2.0;

/// Smallest squared coefficient of variation of the wet days of one month. Judgement, as for the climate.
const LEAST_CV2: f64 = 0.05;

/// Share of the variance of twelve independent numbers that the 1/4, 1/2, 1/4 smoothing leaves.
const LEFT_BY_SMOOTHING: f64 = 0.375;

/// What a random number is for; each use has numbers of its own.
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
        // What the year lent to the law of a month is not in its mean, which everything else goes by.
        let level = mm_per_day / (wet_share * law.mean_wet_mm);
        let level = if level.is_finite() { level.min(MOST_LIFTED) } else { 1.0 };
        // (1 + cv2) of the wet days of all years is that of one month's wet days times the mean square of its factor.
        let cv2 = ((1.0 + law.cv2) / factor_square - 1.0).max(LEAST_CV2);
        let amount = Amount::new(level * law.mean_wet_mm, cv2);
        Month { p01: law.p01, p11: law.p11, wet_share, amount }
    }
}

/// A gauge's possible rain, path by path.
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
    /// The generator of a climate; another seed gives other rain with the same laws.
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

    /// The same into a slice.
    pub fn fill(&self, number: u64, from: Day, mm: &mut [f64]) {
        for (mm, rain) in mm.iter_mut().zip(self.days(number, from)) {
            *mm = rain;
        }
    }

    /// The same day after day without end, rain in mm.
    pub fn days(&self, number: u64, from: Day) -> Days<'_> {
        Days::new(self, self.root.of(number), from)
    }

    /// The limit of path `number`, drawn from its log-normal law; `part` keeps the limits of several parts apart.
    pub fn limit(&self, number: u64, part: u64, limit: Limit) -> f64 {
        let stream = self.root.of(number).of(Purpose::Limit as u64);
        limit.median * (limit.log_sd * stream.normal(part)).exp()
    }

    /// For each path the first day, the day after `since` being 1, on which its exposure adds up to its limit.
    ///
    /// `exposure` makes what turns a path's days and their rain (mm) into daily exposure, once per path, so that it may hold
    /// a state; `limit` gives the amount to reach, [`Generator::limit`] a doubtful one. A limit of 0 or less is reached on
    /// day 0; passages beyond `horizon_days` are left open. Paths are numbered from 0 and belong to the seed: more paths keep
    /// those before.
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

    /// Looks back from a day until something settles whether it was wet.
    fn was_wet(&self, day: Day) -> bool {
        let mut month_first = day;
        let mut month = &self.generator.months[0];
        // Each undecided day passes on the state of the day before or turns it round.
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
