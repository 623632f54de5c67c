//! What is not known for sure: marks, findings, windows.

use eavesward_engine::learning::{
    DETECTION_LIMIT, DRIFT_PER_YEAR, Finding, Inspection, Learned, MEASURED_LOG_SD, Rate, Start, WILD_LOG_SD,
    WILD_SHARE, learn, next_finding,
};
use eavesward_engine::limit::{Material, cartridge, coupling, screen, tank_sediment};
use eavesward_engine::passage::{Law, Moments};
use eavesward_engine::{Day, Exposure, Gauge, Limit, Normals, RainRecord};

use super::super::{assert_relative, assert_within};
use super::page::{Section, date};
use super::{ANYWHERE, NINETY, asked, bare, metered, normal_below, window};

#[test]
fn doubt_as_a_factor() {
    let mut page = Section::of("Where a part needs care");
    let priors = [cartridge(1.0).unwrap(), coupling(Material::Epdm), tank_sediment(50.0, None), screen()];
    for (prior, log_sd) in priors.iter().zip([0.3, 0.5, 0.7, 0.8]) {
        assert_eq!(prior.limit.log_sd, log_sd);
        page.says(format!("{:.2}", log_sd.exp()));
    }
    let limit = screen().limit;
    page.says(format!("{} kg/m2", limit.median));
    for z in [-NINETY, NINETY] {
        page.says(format!("{:.2} kg/m2", limit.median * (z * limit.log_sd).exp()));
    }
    page.ends();
}

/// A look at a part that was clean when its exposure began to count.
fn look(day: Day, exposure: f64, finding: Finding) -> Inspection {
    Inspection { day, exposure, exposure_cv: 0.0, start: Start::Clean, finding }
}

/// What one finding teaches on the day for which the prior holds.
fn one(prior: Rate, look: Inspection) -> Learned {
    learn(prior, look.day, DRIFT_PER_YEAR, &[look]).unwrap()
}

fn measured_finding(page: &mut Section) -> (Rate, f64, Limit) {
    let [median, log_sd] = page.some("prior limit and its doubt");
    let prior = Limit { median, log_sd };
    let (clean, visit) = (page.day("last clean"), page.day("visit"));
    let exposure = page.given("runoff of a day") * f64::from(visit.since(clean));
    let fullness = page.given("found, share of full");
    page.says(format!("{exposure} mm"));
    let alone = exposure / fullness;
    page.says(format!("{alone:.0} mm"));
    page.says(format!("{:.3}", alone.ln()));
    page.says(format!("{:.3}", prior.median.ln()));
    let apart = alone.ln() - prior.median.ln();
    page.says(format!("{apart:.3}"));

    let rate = Rate::of(prior);
    let found = look(visit, exposure, Finding::measured(fullness));
    let evidence = found.evidence().unwrap().unwrap();
    let sound = rate.updated(&evidence);
    let own = prior.log_sd * prior.log_sd;
    let counts = |error: f64| own / (own + error * error);
    page.says(format!("{:.2}", counts(MEASURED_LOG_SD)));
    page.says(format!("{:.3}", counts(MEASURED_LOG_SD) * apart));
    page.says(format!("{:.0} mm", sound.limit().median));
    page.says(format!("{:.3}", sound.sd));
    assert_relative(
        sound.limit().median,
        (prior.median.ln() + counts(MEASURED_LOG_SD) * apart).exp(),
        1e-9,
        "mm",
    );

    let doubted = Finding::Measured { fullness, log_sd: WILD_LOG_SD };
    let wild = rate.updated(&look(visit, exposure, doubted).evidence().unwrap().unwrap());
    page.says(format!("{:.1}", counts(WILD_LOG_SD)));
    page.says(format!("{:.0} mm", wild.limit().median));
    let spreads = [MEASURED_LOG_SD, WILD_LOG_SD].map(|error| prior.log_sd.hypot(error));
    let mut likely = [0.0; 2];
    for spread in spreads {
        page.says(format!("{spread:.3}"));
    }
    for (k, (share, spread)) in [1.0 - WILD_SHARE, WILD_SHARE].into_iter().zip(spreads).enumerate() {
        likely[k] = share / spread * (-apart * apart / (2.0 * spread * spread)).exp();
        page.says(format!("{:.3}", likely[k]));
    }
    let learned = one(rate, found);
    let step = &learned.steps[0];
    let is_wild = likely[1] / (likely[0] + likely[1]);
    assert_within(step.wild, is_wild, 1e-9, "chance that it is wild");
    page.says(format!("{:.0} %", is_wild * 100.0));
    let after = learned.posterior.limit();
    let mixed = (1.0 - is_wild) * sound.limit().median.ln() + is_wild * wild.limit().median.ln();
    assert_relative(after.median, mixed.exp(), 1e-9, "mm");
    page.says(format!("{:.0} mm", after.median));
    page.says(format!("{:.2}", after.log_sd));
    (rate, exposure, after)
}

/// The window of a mark from a day on, with the same runoff every day.
fn even_window(a_day: f64, limit: Limit, since: Day) -> [Day; 3] {
    let exposure = Exposure::Steady { daily: [a_day; 12], sigma_month: 0.0, sigma_year: 0.0, unit: "mm" };
    let gauge = Gauge::new(RainRecord::empty(), None);
    metered((&ANYWHERE, &bare(1.0), &gauge), exposure, |meter| window(&asked(meter, limit, since, since)))
}

#[test]
fn findings_and_the_mark() {
    let mut page = Section::of("8. ");
    let (rate, exposure, after) = measured_finding(&mut page);
    let (visit, a_day) = (page.day("visit"), page.given("runoff of a day"));
    for limit in [rate.limit(), after] {
        let limits = [-NINETY, 0.0, NINETY].map(|z| limit.median * (z * limit.log_sd).exp());
        for mm in limits {
            page.says(format!("{mm:.0}"));
        }
        for (mm, day) in limits.into_iter().zip(even_window(a_day, limit, visit)) {
            page.says(date(day));
            assert_within(f64::from(day.since(visit)), mm / a_day, 1.1, "days");
        }
    }
    let worth = next_finding(rate, exposure, MEASURED_LOG_SD).unwrap();
    page.says(format!("{:.2} times", worth.window_ratio));
    sediment_found(&mut page);
    nothing_found(page, rate, exposure);
}

fn sediment_found(page: &mut Section) {
    let [median, log_sd] = page.some("sediment: prior limit and its doubt");
    let prior = Limit { median, log_sd };
    let [accumulated, depth, a_year] = page.some("sediment: accumulated, depth found, growth a year");
    let fullness = depth / prior.median;
    page.says(format!("{fullness}"));
    page.says(format!("{:.0} mm", accumulated / fullness));
    let learned = one(Rate::of(prior), look(page.day("visit"), accumulated, Finding::measured(fullness)));
    let limit = learned.posterior.limit();
    page.says(format!("{:.1} mm", limit.median));
    page.says(format!("{:.2}", limit.log_sd));
    for median in [limit.median, prior.median] {
        page.says(format!("{:.1}", (median - accumulated) / a_year));
    }
}

fn nothing_found(mut page: Section, rate: Rate, exposure: f64) {
    let visit = page.day("visit");
    let nothing = |day| look(day, exposure, Finding::NOTHING);
    page.says(format!("{:.0} mm", exposure / DETECTION_LIMIT));
    let at_its_word = rate.updated(&nothing(visit).evidence().unwrap().unwrap()).limit().median;
    page.says(format!("{at_its_word:.0} mm"));
    page.says(format!("{:.1}", at_its_word / rate.limit().median));
    let (year, month, of_month) = visit.ymd();
    let yearly: Vec<Inspection> =
        (0..4).map(|k| nothing(Day::from_ymd(year + k, month, of_month).unwrap())).collect();
    let learned = learn(rate, visit, DRIFT_PER_YEAR, &yearly).unwrap();
    assert_eq!(learned.steps[0].after, one(rate, yearly[0]).posterior);
    page.says(format!("{:.0} %", learned.steps[0].wild * 100.0));
    for step in &learned.steps {
        page.says(format!("{:.0} mm", step.after.limit().median));
    }
    page.ends();
}

/// The parts of the variance of a sum, by hand, for days that bring the same.
struct Parts {
    months: Vec<f64>,
    squares: f64,
    leaning: Vec<f64>,
    smoothed: f64,
    variance: [f64; 4],
}

/// What `a_day` brings to the months of so many days from the first of January on.
fn by_month(since: Day, days: i32, a_day: f64) -> Vec<f64> {
    let mut months = vec![0.0; since.plus(days).ymd().1 as usize];
    for n in 1..=days {
        months[since.plus(n).ymd().1 as usize - 1] += a_day.round();
    }
    months
}

fn listed(mm: &[f64]) -> String {
    mm.iter().map(f64::to_string).collect::<Vec<_>>().join(", ")
}

/// `months` from January on, the last one as far as it goes; it is not after October.
fn parts(law: &Law, months: &[f64]) -> Parts {
    let mut by_month = [0.0; 12];
    by_month[..months.len()].copy_from_slice(months);
    let smooth =
        |m: usize| 0.25 * by_month[(m + 11) % 12] + 0.5 * by_month[m] + 0.25 * by_month[(m + 1) % 12];
    let squares = months.iter().map(|mm| mm * mm).sum();
    let smoothed = (0..12).map(|m| smooth(m) * smooth(m)).sum();
    let mean: f64 = months.iter().sum();
    let excess = |sigma: f64| (sigma * sigma).exp() - 1.0;
    let variance = [
        law.kappa * mean,
        excess(law.sigma_month) * squares,
        excess(law.sigma_year) * mean * mean,
        excess(law.sampling_sd) * smoothed,
    ];
    let leaning = (11..=12 + months.len()).map(|m| smooth(m % 12)).collect();
    Parts { months: months.to_vec(), squares, leaning, smoothed, variance }
}

/// The chance that a gamma law of this mean and variance reaches a mark, by its cube root.
fn by_cube_root(limit: f64, mean: f64, variance: f64) -> (f64, f64, f64) {
    let a = mean * mean / variance;
    let z = 3.0 * a.sqrt() * ((limit / mean).cbrt() - 1.0 + 1.0 / (9.0 * a));
    (a, z, normal_below(-z))
}

#[test]
fn window_from_normals() {
    let mut page = Section::of("9. ");
    let normals = Normals {
        rain_mm: page.some("rain, January first, mm"),
        wet_days: page.some("wet days, January first"),
        wet_day_threshold_mm: page.given("a day counts as wet from"),
        years: page.given("years behind the normals"),
    };
    let gauge = Gauge::new(RainRecord::empty(), Some(normals));
    let (since, median) = (page.day("last served"), page.given("limit"));
    let exact = Limit { median, log_sd: 0.0 };
    let doubtful = Limit { median, log_sd: page.given("limit's doubt, second case") };
    let chamber = Limit { median: page.given("a chamber emptied by hand, third case"), log_sd: 0.0 };
    let (law, days, chances, doubted, full) =
        metered((&ANYWHERE, &bare(1.0), &gauge), Exposure::Runoff, |meter| {
            let answer = asked(meter, exact, since, since);
            let days = window(&answer);
            let chances = days.map(|day| answer.chance_by(day).unwrap());
            let doubted = window(&asked(meter, doubtful, since, since));
            let full = window(&asked(meter, chamber, since, since));
            (*meter.law().unwrap(), days, chances, doubted, full)
        });
    laws(&mut page, &gauge, &law);

    let number = days[1].since(since);
    let Moments { mean, variance } = law.moments(since, number);
    page.says(format!("{number}"));
    page.says(format!("{mean:.0} mm"));
    let parts = parts(&law, &by_month(since, number, law.daily[5]));
    page.says(format!("{} mm", listed(&parts.months)));
    page.says(format!("{}", parts.squares));
    page.says(format!("{} mm", listed(&parts.leaning)));
    page.says(format!("{}", parts.smoothed));
    for part in parts.variance {
        page.says(format!("{part:.0}"));
    }
    assert_relative(parts.variance.iter().sum(), variance, 1e-9, "by hand and by the engine");
    page.says(format!("{variance:.0}"));
    page.says(format!("{:.1} mm", variance.sqrt()));
    let (a, z, chance) = by_cube_root(median, mean, variance);
    page.says(format!("{a:.2}"));
    page.says(format!("{z:.3}"));
    page.says(format!("{:.1} %", chance * 100.0));
    page.says(format!("{:.1} %", chances[1] * 100.0));

    for (day, engine) in days.into_iter().zip(chances) {
        let Moments { mean, variance } = law.moments(since, day.since(since));
        let (_, z, chance) = by_cube_root(median, mean, variance);
        page.says(date(day));
        page.says(format!("{mean:.0}"));
        page.says(format!("{:.1}", variance.sqrt()));
        page.says(format!("{z:.2}"));
        page.says(format!("{:.1} %", chance * 100.0));
        page.says(format!("{:.1} %", engine * 100.0));
        assert_within(chance, engine, 0.001, "cube root and gamma law");
    }
    doubtful_limit(&mut page, doubtful, since, variance.sqrt() / mean, doubted);
    for day in full {
        page.says(date(day));
    }
    page.ends();
}

/// The climate that the normals give, and what it says of a day.
fn laws(page: &mut Section, gauge: &Gauge, law: &Law) {
    let climate = gauge.climate().unwrap();
    let month = climate.months[5];
    for daily in law.daily {
        assert_within(daily, 2.0, 1e-9, "mm a day");
    }
    page.says(format!("{:.0} mm", law.daily[5]));
    page.says(format!("{:.1}", month.wet_share()));
    page.says(format!("{:.0} mm", month.mean_wet_mm));
    page.says(format!("{:.2}", month.p01));
    page.says(format!("{:.2}", month.p11));
    page.says(format!("{:.2}", month.p11 - month.p01));
    page.says(format!("{:.3}", month.cv2));
    page.says(format!("{:.2}", law.kappa));
    let excess = |sigma: f64| (sigma * sigma).exp() - 1.0;
    page.says(format!("{:.4}", excess(law.sigma_month)));
    page.says(format!("{:.5}", excess(law.sigma_year)));
    page.says(format!("{:.4}", law.sampling_sd));
    page.says(format!("{:.5}", excess(law.sampling_sd)));
    assert_eq!([law.sigma_month, law.sigma_year], [0.35, 0.08]);
}

fn doubtful_limit(page: &mut Section, limit: Limit, since: Day, relative: f64, engine: [Day; 3]) {
    page.says(format!("{relative:.3}"));
    let both = relative.hypot(limit.log_sd);
    page.says(format!("{both:.3}"));
    let engine_days = engine.map(|day| f64::from(day.since(since)));
    for (z, engine) in [(-NINETY, engine_days[0]), (NINETY, engine_days[2])] {
        let days = limit.median * (z * both).exp() / 2.0;
        page.says(format!("{days:.0}"));
        // The spread of the sum is not the same share of it everywhere.
        assert_relative(days, engine, 0.03, "by hand and by the engine");
    }
    for day in engine {
        page.says(date(day));
    }
    for days in engine_days {
        page.says(format!("{days}"));
    }
}
