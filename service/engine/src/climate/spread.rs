//! From a record: the monthly laws, and how far months and years stray from them.

use crate::calendar::MONTH_DAYS;
use crate::rain::RainRecord;

use super::statistics::Statistics;
use super::{Basis, Climate, MonthLaw};

/// Days whose occurrence the whole year lends to each month.
const PSEUDO_PAIRS: f64 = 4.0;
/// Wet days whose amount the whole year lends to each month.
const PSEUDO_AMOUNTS: f64 = 2.0;
/// Wet days whose coefficient of variation the whole year lends to each month.
const PSEUDO_CV: f64 = 30.0;
/// Smallest squared coefficient of variation of wet-day rain.
const LEAST_CV2: f64 = 0.05;
/// Share of the sampling variance that the 1-2-1 smoothing of a one-year fit uses up.
const USED_BY_FIT: f64 = 0.625;
/// Log-sd by month and by year that nine daily series share, set before an independent tenth was tried.
pub(super) const USUAL_SIGMA_MONTH: f64 = 0.35;
const USUAL_SIGMA_YEAR: f64 = 0.06;
/// Months and years that the usual values weigh.
const USUAL_MONTHS: f64 = 24.0;
const USUAL_YEARS: f64 = 6.0;
/// Relative error per 30 days when the record is too short to tell. Judgement within the 0.4 to 0.7 seen.
pub(super) const USUAL_CV30: f64 = 0.6;
/// Whole blocks of 30 days below which the record does not tell its spread.
const FEWEST_BLOCKS: usize = 12;
/// Smoothed days of a month below which its mean leans on the year's. Judgement.
const THIN_MONTH: f64 = 15.0;

/// Smooths twelve monthly values over their neighbours, 1/4, 1/2, 1/4, December beside January.
pub(crate) fn smooth(x: &[f64; 12]) -> [f64; 12] {
    std::array::from_fn(|m| 0.25 * x[(m + 11) % 12] + 0.5 * x[m] + 0.25 * x[(m + 1) % 12])
}

fn share(part: f64, whole: f64, otherwise: f64) -> f64 {
    if whole > 0.0 { part / whole } else { otherwise }
}

/// Smoothed means per day; a month with few days leans on the whole year.
pub(crate) fn monthly_means(sums: &[f64; 12], days: &[f64; 12]) -> [f64; 12] {
    let year = share(sums.iter().sum(), days.iter().sum(), 0.0);
    let (sums, days) = (smooth(sums), smooth(days));
    std::array::from_fn(|m| {
        let lent = (THIN_MONTH - days[m]).max(0.0);
        (sums[m] + lent * year) / (days[m] + lent)
    })
}

/// Fits everything to a record that has at least one reading.
pub(super) fn from_record(record: &RainRecord, loss_mm: f64) -> Climate {
    let s = Statistics::of(record, loss_mm);
    let months = month_laws(&s);
    let runoff = monthly_means(&s.runoff, &s.days);
    let kappa = dispersion(&months);
    let years = s.known() / 365.0;
    let spread = Spread::measure(&s, &runoff, kappa, loss_mm, years);
    Climate {
        months,
        basis: Basis::Record,
        years,
        kappa_mm: kappa,
        sigma_month: spread.month,
        sigma_year: spread.year,
        cv30: spread.cv30,
        dry_months: std::array::from_fn(|m| s.days[m] > 0.0 && s.wet[m] == 0.0),
        rain_mm_per_day: monthly_means(&s.rain, &s.days),
        loss_mm,
        level: [1.0; 12],
        runoff,
    }
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

/// Dispersion index of accumulated rain, mm: variance over mean, both added up over the days of a year.
pub(super) fn dispersion(months: &[MonthLaw; 12]) -> f64 {
    let (mut variance, mut mean) = (0.0, 0.0);
    for (law, days) in months.iter().zip(MONTH_DAYS) {
        let (v, m) = law.variance_and_mean();
        variance += v * days;
        mean += m * days;
    }
    share(variance, mean, 0.0)
}

struct Spread {
    month: f64,
    year: f64,
    cv30: f64,
}

impl Spread {
    fn measure(s: &Statistics, runoff: &[f64; 12], kappa: f64, loss_mm: f64, years: f64) -> Spread {
        let (mut blocks, mut misfit, mut expected, mut expected2) = (0, 0.0, 0.0, 0.0);
        for i in 0..s.mm.len() / 30 {
            // A block with more than five days unread would say more about the gap than about the rain.
            if let Some((o, e)) = observed_and_expected(s, runoff, loss_mm, 30 * i, 30, 25) {
                blocks += 1;
                misfit += (o - e) * (o - e);
                expected += e;
                expected2 += e * e;
            }
        }
        let kept = 1.0 - USED_BY_FIT / years;
        if blocks < FEWEST_BLOCKS || !(expected2 > 0.0) || !(kept > 0.0) {
            return Spread { month: USUAL_SIGMA_MONTH, year: 0.08, cv30: USUAL_CV30 };
        }
        let n = blocks as f64;
        let excess = (misfit / kept - kappa * expected) / expected2;
        let usual = USUAL_SIGMA_MONTH * USUAL_SIGMA_MONTH;
        let month2 = ((USUAL_MONTHS * usual + n * excess) / (USUAL_MONTHS + n)).max(0.01);
        let year2 = yearly(s, runoff, loss_mm, kappa, month2);
        Spread { month: month2.sqrt(), year: year2.sqrt(), cv30: (misfit / expected2 / kept).sqrt() }
    }
}

/// Variance of the yearly factor: what the annual totals vary beyond daily model and monthly factor.
fn yearly(s: &Statistics, runoff: &[f64; 12], loss_mm: f64, kappa: f64, month2: f64) -> f64 {
    const FLOOR: f64 = 0.02 * 0.02;
    const USUAL_CV_ANNUAL: f64 = 0.18;
    const USUAL_CV_YEARS: f64 = 4.0;
    let totals: Vec<f64> = (0..s.mm.len() / 365)
        .filter_map(|k| {
            let (o, e) = observed_and_expected(s, runoff, loss_mm, 365 * k, 365, 330)?;
            let whole: f64 = runoff.iter().zip(MONTH_DAYS).map(|(r, d)| r * d).sum();
            // A year with some days unread is brought to its full length by what those days would have had.
            Some(o + (whole - e))
        })
        .collect();
    let n = totals.len() as f64;
    let by_month: [f64; 12] = std::array::from_fn(|m| runoff[m] * MONTH_DAYS[m]);
    let annual: f64 = by_month.iter().sum();
    let mean = share(totals.iter().sum(), n, annual);
    if !(mean > 0.0) || !(annual > 0.0) {
        return USUAL_SIGMA_YEAR * USUAL_SIGMA_YEAR;
    }
    let squares: f64 = totals.iter().map(|t| (t - mean) * (t - mean)).sum();
    // (L - 1) times the sample variance is the sum of squares.
    let cv2_annual = (USUAL_CV_YEARS * USUAL_CV_ANNUAL * USUAL_CV_ANNUAL + squares / (mean * mean))
        / (USUAL_CV_YEARS + (n - 1.0).max(0.0));
    let concentration: f64 = by_month.iter().map(|w| w * w).sum::<f64>() / (annual * annual);
    let excess = cv2_annual - kappa / annual - month2.exp_m1() * concentration;
    ((USUAL_YEARS * USUAL_SIGMA_YEAR * USUAL_SIGMA_YEAR + n * excess) / (USUAL_YEARS + n)).max(FLOOR)
}

/// Runoff read and runoff expected on the read days of a stretch, if enough of them were read.
fn observed_and_expected(
    s: &Statistics,
    runoff: &[f64; 12],
    loss_mm: f64,
    from: usize,
    length: usize,
    fewest: usize,
) -> Option<(f64, f64)> {
    let (mut observed, mut expected, mut known) = (0.0, 0.0, 0);
    for (p, m) in s.mm[from..from + length].iter().zip(&s.month[from..from + length]) {
        if !p.is_nan() {
            observed += (p - loss_mm).max(0.0);
            expected += runoff[usize::from(*m)];
            known += 1;
        }
    }
    (known >= fewest).then_some((observed, expected))
}
