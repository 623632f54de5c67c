//! From a record: the monthly laws, and how much months and years vary.

use crate::calendar::MONTH_DAYS;

use super::doubt::Doubt;
use super::model::{Basis, Climate};
use super::month_law::{MonthLaw, dispersion};
use super::statistics::{Block, Statistics};
use super::usual::{USUAL_CV30, USUAL_MONTHS, USUAL_SIGMA_MONTH, USUAL_SIGMA_YEAR, USUAL_YEARS};

/// Days whose occurrence the whole year lends to each month.
const PSEUDO_PAIRS: f64 = 4.0;
/// Wet days whose amount the whole year lends to each month.
const PSEUDO_AMOUNTS: f64 = 2.0;
/// Wet days whose coefficient of variation the whole year lends to each month.
const PSEUDO_CV: f64 = 30.0;
/// Smallest squared coefficient of variation of wet-day rain.
const LEAST_CV2: f64 = 0.05;
/// Share of the sampling variance that the 1/4, 1/2, 1/4 smoothing of a one-year fit uses up.
const USED_BY_FIT: f64 = 0.625;
/// With fewer whole blocks of 30 days the record does not show its spread.
const FEWEST_BLOCKS: f64 = 12.0;
/// With fewer smoothed days, the mean of a month leans on that of the year. Judgement.
const THIN_MONTH: f64 = 15.0;

/// Smooths twelve monthly values over their neighbours by 1/4, 1/2, 1/4. December is next to January.
pub(crate) fn smooth(x: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|m| 0.25 * x[(m + 11) % 12] + 0.5 * x[m] + 0.25 * x[(m + 1) % 12])
}

fn share(part: f64, whole: f64, otherwise: f64) -> f64 {
    if whole > 0.0 { part / whole } else { otherwise }
}

/// Smoothed means per day. A month with few days leans on the whole year.
pub(crate) fn monthly_means(sums: &[f64; 12], days: &[f64; 12]) -> [f64; 12] {
    let year = share(sums.iter().sum(), days.iter().sum(), 0.0);
    let (sums, days) = (smooth(sums), smooth(days));
    std::array::from_fn(|m| {
        let lent = (THIN_MONTH - days[m]).max(0.0);
        (sums[m] + lent * year) / (days[m] + lent)
    })
}

/// Fits everything to the sums of a record with at least one reading.
pub(super) fn from_statistics(s: &Statistics, loss_mm: f64) -> Climate {
    let months = month_laws(s);
    let runoff = monthly_means(&s.runoff, &s.days);
    let kappa = dispersion(&months);
    let years = s.known() / 365.0;
    let spread = Spread::measure(s, &runoff, kappa, years);
    let mut climate = Climate {
        months,
        basis: Basis::Record,
        years,
        kappa_mm: kappa,
        sigma_month: spread.month,
        sigma_year: spread.year,
        cv30: spread.cv30,
        doubt: Doubt::NONE,
        dry_months: std::array::from_fn(|m| s.days[m] > 0.0 && s.wet[m] == 0.0),
        rain_mm_per_day: monthly_means(&s.rain, &s.days),
        loss_mm,
        level: [1.0; 12],
        runoff,
    };
    if let Some(on) = spread.measured {
        let doubt = Doubt::NONE.with_blocks(on.blocks, spread.cv30).with_years(on.years, climate.of_year());
        climate.doubt = doubt.with_level(spread.year, years);
    }
    climate
}

fn month_laws(s: &Statistics) -> [MonthLaw; 12] {
    let total = |x: &[f64; 12]| x.iter().sum::<f64>();
    let wet_share = share(total(&s.wet), s.known(), 0.0);
    let year_p01 = share(total(&s.wet_after_dry), total(&s.after_dry), wet_share);
    let year_p11 = share(total(&s.wet_after_wet), total(&s.after_wet), wet_share);
    let year_mean = share(total(&s.wet_mm), total(&s.wet), 0.0);
    let year_square = share(total(&s.wet_mm2), total(&s.wet), 0.0);

    let (n0, n01) = (smooth(&s.after_dry), smooth(&s.wet_after_dry));
    let (n1, n11) = (smooth(&s.after_wet), smooth(&s.wet_after_wet));
    let (n, sum, square) = (smooth(&s.wet), smooth(&s.wet_mm), smooth(&s.wet_mm2));

    let mean: [f64; 12] =
        std::array::from_fn(|m| (sum[m] + PSEUDO_AMOUNTS * year_mean) / (n[m] + PSEUDO_AMOUNTS));
    let raw_cv2: [f64; 12] = std::array::from_fn(|m| {
        let second = (square[m] + PSEUDO_AMOUNTS * year_square) / (n[m] + PSEUDO_AMOUNTS);
        if mean[m] > 0.0 { second / (mean[m] * mean[m]) - 1.0 } else { 1.0 }
    });
    let weighted: f64 = (0..12).map(|m| n[m] * raw_cv2[m]).sum();
    let year_cv2 = share(weighted, n.iter().sum(), 1.0);

    std::array::from_fn(|m| MonthLaw {
        p01: (n01[m] + PSEUDO_PAIRS * year_p01) / (n0[m] + PSEUDO_PAIRS),
        p11: (n11[m] + PSEUDO_PAIRS * year_p11) / (n1[m] + PSEUDO_PAIRS),
        mean_wet_mm: mean[m],
        cv2: ((n[m] * raw_cv2[m] + PSEUDO_CV * year_cv2) / (n[m] + PSEUDO_CV)).max(LEAST_CV2),
    })
}

/// How many blocks and years a spread was measured on.
struct MeasuredOn {
    blocks: f64,
    years: f64,
}

struct Spread {
    month: f64,
    year: f64,
    cv30: f64,
    /// Blocks and years that the spread was measured on, if it was.
    measured: Option<MeasuredOn>,
}

impl Spread {
    fn measure(s: &Statistics, runoff: &[f64; 12], kappa: f64, years: f64) -> Spread {
        let blocks = BlockResiduals::of(s.blocks(), runoff);
        let Some(Excess { variance, cv30 }) = blocks.excess(kappa, years) else {
            return Spread { month: USUAL_SIGMA_MONTH, year: 0.08, cv30: USUAL_CV30, measured: None };
        };
        let month2 = drawn_to(USUAL_SIGMA_MONTH, variance, blocks.count);
        let of_years = yearly(s, runoff, kappa, month2);
        let measured = Some(MeasuredOn { blocks: blocks.count, years: of_years.years });
        Spread { month: month2.sqrt(), year: of_years.variance.sqrt(), cv30, measured }
    }
}

/// Variation of blocks beyond the dispersion.
struct Excess {
    /// Variance of the monthly factor.
    variance: f64,
    /// Relative error per 30 days.
    cv30: f64,
}

/// How much months vary, and how badly that is known.
#[derive(Debug, Clone, Copy)]
pub(crate) struct MonthlySpread {
    /// Log-sd of the monthly factor.
    pub sigma_month: f64,
    /// Relative error per 30 days.
    pub cv30: f64,
    /// What a window adds for that doubt.
    pub doubt: Doubt,
}

/// How much 30-day totals differ from what the months lead one to expect.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct BlockResiduals {
    count: f64,
    squares: f64,
    expected: f64,
    expected2: f64,
}

impl BlockResiduals {
    fn of(blocks: &[Block], daily: &[f64; 12]) -> BlockResiduals {
        let mut residuals = BlockResiduals::default();
        // A block with more than five unread days says more about the gap than about the rain.
        for block in blocks.iter().filter(|block| block.known() >= 25.0) {
            residuals.add(block.observed, block.expected(daily));
        }
        residuals
    }

    /// Adds a block.
    pub(crate) fn add(&mut self, observed: f64, expected: f64) {
        self.count += 1.0;
        self.squares += (observed - expected) * (observed - expected);
        self.expected += expected;
        self.expected2 += expected * expected;
    }

    /// How much the blocks vary beyond the dispersion `kappa`. `None` when there are too few blocks.
    fn excess(&self, kappa: f64, years: f64) -> Option<Excess> {
        let kept = 1.0 - USED_BY_FIT / years;
        if self.count < FEWEST_BLOCKS || !(self.expected2 > 0.0) || !(kept > 0.0) {
            return None;
        }
        let excess = (self.squares / kept - kappa * self.expected) / self.expected2;
        Some(Excess { variance: excess, cv30: (self.squares / self.expected2 / kept).sqrt() })
    }

    /// The spread of months, drawn to `usual` with the weight of two years. The doubt of `usual` about years stays.
    pub(crate) fn spread(&self, kappa: f64, years: f64, usual: MonthlySpread) -> MonthlySpread {
        let doubt = usual.doubt;
        match self.excess(kappa, years) {
            Some(Excess { variance, cv30 }) => {
                let sigma_month = drawn_to(usual.sigma_month, variance, self.count).sqrt();
                MonthlySpread { sigma_month, cv30, doubt: doubt.with_blocks(self.count, cv30) }
            }
            None => usual,
        }
    }
}

impl BlockResiduals {
    /// Day-to-day variance per unit of mean: what the blocks leave beside the monthly factor. At most `most`, and
    /// drawn to it with the weight of two years.
    pub(crate) fn dispersion(&self, most: f64, years: f64, sigma_month: f64) -> f64 {
        let kept = 1.0 - USED_BY_FIT / years;
        if self.count < FEWEST_BLOCKS || !(self.expected > 0.0) || !(kept > 0.0) {
            return most;
        }
        let left = self.squares / kept - sigma_month * sigma_month * self.expected2;
        let own = (left / self.expected).clamp(0.0, most);
        (USUAL_MONTHS * most + self.count * own) / (USUAL_MONTHS + self.count)
    }
}

/// A measured variance, drawn to the square of a usual log-sd.
fn drawn_to(usual: f64, excess: f64, blocks: f64) -> f64 {
    ((USUAL_MONTHS * usual * usual + blocks * excess) / (USUAL_MONTHS + blocks)).max(0.01)
}

/// The variance of the yearly factor, and the number of years it was measured on.
struct YearlySpread {
    variance: f64,
    years: f64,
}

/// Variance of the yearly factor: how much annual totals vary beyond the daily model and the monthly factor.
fn yearly(s: &Statistics, runoff: &[f64; 12], kappa: f64, month2: f64) -> YearlySpread {
    const FLOOR: f64 = 0.02 * 0.02;
    const USUAL_CV_ANNUAL: f64 = 0.18;
    const USUAL_CV_YEARS: f64 = 4.0;
    let whole: f64 = runoff.iter().zip(MONTH_DAYS).map(|(r, d)| r * d).sum();
    let years = s.years().iter().filter(|year| year.known() >= 330.0);
    // A year with some unread days is completed by what those days would have had.
    let totals: Vec<f64> = years.map(|year| year.observed + (whole - year.expected(runoff))).collect();
    let n = totals.len() as f64;
    let by_month: [f64; 12] = std::array::from_fn(|m| runoff[m] * MONTH_DAYS[m]);
    let annual: f64 = by_month.iter().sum();
    let mean = share(totals.iter().sum(), n, annual);
    if !(mean > 0.0) || !(annual > 0.0) {
        return YearlySpread { variance: USUAL_SIGMA_YEAR * USUAL_SIGMA_YEAR, years: n };
    }
    let squares: f64 = totals.iter().map(|t| (t - mean) * (t - mean)).sum();
    // (L - 1) times the sample variance is the sum of squares.
    let cv2_annual = (USUAL_CV_YEARS * USUAL_CV_ANNUAL * USUAL_CV_ANNUAL + squares / (mean * mean))
        / (USUAL_CV_YEARS + (n - 1.0).max(0.0));
    let concentration: f64 = by_month.iter().map(|w| w * w).sum::<f64>() / (annual * annual);
    let excess = cv2_annual - kappa / annual - month2.exp_m1() * concentration;
    let drawn = (USUAL_YEARS * USUAL_SIGMA_YEAR * USUAL_SIGMA_YEAR + n * excess) / (USUAL_YEARS + n);
    YearlySpread { variance: drawn.max(FLOOR), years: n }
}
