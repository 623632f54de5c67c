//! Four years of Seattle: fitted parameters and passage days against a separate implementation.

use eavesward_engine::climate::Spreads;
use eavesward_engine::passage::{Law, Moments};
use eavesward_engine::{Climate, Day, RainRecord};

use super::{assert_within, day, seattle};

/// Every frozen parameter has this tolerance, from its printed digits.
const PARAMETER: f64 = 1e-4;

fn frozen() -> serde_json::Value {
    let all: serde_json::Value = serde_json::from_str(include_str!("../../data/fit_seattle.json")).unwrap();
    all["seattle_first4y"].clone()
}

/// With the spread as it was fitted: the reference takes it for known.
fn law(climate: &Climate) -> Law {
    Law {
        daily: climate.mean_runoff_by_month(),
        kappa: climate.kappa_mm,
        sigma_month: climate.sigma_month,
        sigma_year: climate.sigma_year,
        sampling_sd: climate.sampling_sd(),
        level_sd: 0.0,
    }
}

#[test]
fn monthly_parameters() {
    let frozen = frozen();
    let record = seattle();
    let climate = Climate::fit(&record, None).unwrap();
    let runoff = climate.mean_runoff_by_month();
    for m in 0..12 {
        let get = |name: &str| frozen[name][m].as_f64().unwrap();
        assert_within(climate.months[m].p01, get("p01"), PARAMETER, "p01");
        assert_within(climate.months[m].p11, get("p11"), PARAMETER, "p11");
        assert_within(climate.months[m].mean_wet_mm, get("mu"), PARAMETER, "mean of a wet day");
        assert_within(climate.months[m].cv2, get("cv2"), PARAMETER, "cv2");
        assert_within(runoff[m], get("mean_runoff_by_month"), PARAMETER, "runoff");
    }
    assert!(!climate.dry_months.contains(&true));
}

#[test]
fn spread_parameters() {
    let frozen = frozen();
    let climate = Climate::fit(&seattle(), None).unwrap();
    let get = |name: &str| frozen[name].as_f64().unwrap();
    assert_eq!(climate.years, 4.0);
    assert_within(climate.cv30, get("cv30"), PARAMETER, "cv30");
    assert_within(climate.sigma_month, get("sigma_month"), PARAMETER, "sigma of months");
    assert_within(climate.sigma_year, get("sigma_year"), PARAMETER, "sigma of years");
    assert_within(climate.sampling_sd(), get("par_sd"), PARAMETER, "sampling error");
    // Printed to three digits after the point.
    assert_within(climate.kappa_mm, get("kappa"), 5.1e-4, "kappa");
}

/// Day 1 is the first of January or the last of June, none of them a leap year's, as the reference counts 365 days.
#[test]
fn passage_days() {
    let frozen = frozen();
    let law = law(&Climate::fit(&seattle(), None).unwrap());
    let mut compared = 0;
    for (start, since) in [("start_doy0=0", day(2012, 12, 31)), ("start_doy0=180", day(2013, 6, 29))] {
        for amount in [100, 300, 600, 1200] {
            for (quantile, p) in [("q10", 0.1), ("q50", 0.5), ("q90", 0.9)] {
                let expected = frozen["analytic_days"][start][amount.to_string()][quantile].as_i64().unwrap();
                let days = law.days_to(f64::from(amount), since, 4000, p).unwrap().unwrap();
                let off = (i64::from(days) - expected).abs();
                assert!(off <= 1, "{start} {amount} mm {quantile}: day {days} instead of {expected}");
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 24);
}

/// The variance is the sum the module states, worked here for one January of 31 days.
#[test]
fn variance_of_one_month() {
    let spreads = Spreads { month: 0.3, year: 0.1, sampling: 0.2, level: 0.05 };
    let law = Law::new([2.0; 12], 10.0, spreads);
    let Moments { mean, variance } = law.moments(day(2012, 12, 31), 31);
    let square = 62.0_f64 * 62.0;
    let smoothing = 0.25 * 0.25 + 0.5 * 0.5 + 0.25 * 0.25;
    let expected = 10.0 * 62.0
        + (0.09_f64.exp() - 1.0) * square
        + (0.01_f64.exp() - 1.0) * square
        + (0.04_f64.exp() - 1.0) * smoothing * square
        + (0.0025_f64.exp() - 1.0) * square;
    assert_within(mean, 62.0, 1e-9, "mean");
    assert_within(variance, expected, 1e-6, "variance");
}

/// What is added for not knowing the spread falls like one over the length of the record, by the weights of the usual values:
/// 24 blocks and 6 years, beside 48 and 4 of them in four years and 24 and 2 in two.
#[test]
fn doubt_about_the_spread_falls_with_the_years() {
    let record = seattle();
    let four = Climate::fit(&record, None).unwrap();
    let two = Climate::fit(&super::part(&record, day(2012, 1, 1), day(2013, 12, 31)), None).unwrap();
    for climate in [&four, &two] {
        let (own, with) = (climate.doubt, climate.spreads());
        assert!(own.month > 0.0 && own.year > 0.0 && own.level > 0.0);
        assert_within(with.month.powi(2), climate.sigma_month.powi(2) + own.month, 1e-12, "months");
        assert_within(with.year.powi(2), climate.sigma_year.powi(2) + own.year, 1e-12, "years");
        let expected = climate.sigma_year.powi(2) / climate.years;
        assert_within(with.level.powi(2), expected, 1e-12, "level");
        assert_eq!(with.sampling, climate.sampling_sd());
    }
    // (1 + z^2) / 4 c^2 (2 + 6 c^2) / (24 + 48), by hand for the frozen cv30 of 0.5675.
    let c2 = frozen()["cv30"].as_f64().unwrap().powi(2);
    let by_hand = 0.660_594 * c2 * (2.0 + 6.0 * c2) / 72.0;
    assert_within(four.doubt.month, by_hand, 1e-5, "doubt about months");
}

#[test]
fn a_record_fits_the_same_in_any_order() {
    let record = seattle();
    let backwards = RainRecord::from_readings(
        (0..1461).rev().map(|i| day(2012, 1, 1).plus(i)).map(|d: Day| (d, record.get(d).unwrap())),
    );
    assert_eq!(record, backwards);
    assert_eq!(Climate::fit(&record, None).unwrap(), Climate::fit(&backwards, None).unwrap());
}
