//! What light, warmth, dry days and frost do: coupling, trap, exposed parts.

use eavesward_engine::exposure::{USUAL_WET_SHARE, daily_dose_mj, orientation_factor};
use eavesward_engine::frost::{FROST_BELOW_C, Frost, on_or_after};
use eavesward_engine::heat::{
    LIGHT_KJ_MOL, SUN_HEATING_K, Warmth, acceleration, activation_kj_mol, ageing_limit,
};
use eavesward_engine::limit::coupling;
use eavesward_engine::mosquito::first_emergence;
use eavesward_engine::solar::extraterrestrial_mj;
use eavesward_engine::trap::{drying, evaporation, usual_evaporation};
use eavesward_engine::{Day, Exposure, Gauge, Limit, Material, Orientation, RainRecord, Site};

use super::super::{assert_relative, assert_within, day};
use super::page::{Section, date, day_and_month};
use super::{asked, bare, metered, normal_below};

/// Mean length of the months.
const DAYS: [f64; 12] = [31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
const YEAR_DAYS: f64 = 365.25;
const MATERIAL: Material = Material::NaturalOrSbr;
const MOUNTED: Orientation = Orientation::VerticalPipe;
const SHADES: &str = "share shaded: in full sun, painted over";
/// 15 June.
const MIDDLE_OF_JUNE: u32 = 166;

/// A coupling as the example sees it, under one shade.
struct Coupling {
    /// Ultraviolet dose of a year as it counts, MJ/m2.
    dose_a_year: f64,
    /// Days at 25 degrees C of a year.
    heat_a_year: f64,
    /// Windows by light and by heat.
    light: [Day; 3],
    heat: [Day; 3],
}

/// Dose of the days of each month, whether the warmth of the part counts or not.
fn doses(site: &Site, shade_share: f64, warmth: Option<[f64; 12]>) -> [f64; 12] {
    let gauge = Gauge::new(RainRecord::empty(), None);
    let exposure = Exposure::Ultraviolet { orientation: MOUNTED, shade_share, warmth };
    let daily = metered((site, &bare(1.0), &gauge), exposure, |meter| meter.law().unwrap().daily);
    std::array::from_fn(|m| daily[m] * DAYS[m])
}

impl Coupling {
    fn of(site: &Site, air_c: [f64; 12], shade_share: f64, fitted: Day) -> Coupling {
        let warm = Warmth::under_shade(air_c, shade_share).unwrap();
        let ageing = *warm.ageing(activation_kj_mol(MATERIAL)).unwrap().per_day();
        let light =
            Exposure::Ultraviolet { orientation: MOUNTED, shade_share, warmth: Some(warm.light_factors()) };
        let heat =
            Exposure::Steady { daily: ageing, sigma_month: 0.0, sigma_year: 0.0, unit: "days at 25 C" };
        let gauge = Gauge::new(RainRecord::empty(), None);
        let likely = |exposure, limit: Limit| {
            metered((site, &bare(1.0), &gauge), exposure, |meter| {
                let answer = asked(meter, limit, fitted, fitted);
                [0.1, 0.5, 0.9].map(|p| answer.day_of_chance(p).unwrap_or(Day(i32::MAX)))
            })
        };
        Coupling {
            dose_a_year: doses(site, shade_share, Some(warm.light_factors())).iter().sum(),
            heat_a_year: ageing.iter().zip(DAYS).map(|(step, days)| step * days).sum(),
            light: likely(light, coupling(MATERIAL).limit),
            heat: likely(heat, ageing_limit(MATERIAL).limit),
        }
    }
}

#[test]
fn coupling_and_its_two_clocks() {
    let mut page = Section::of("5. ");
    let [latitude_deg, elevation_m] = page.some("place: latitude, height");
    let site = Site { latitude_deg, elevation_m };
    let wet = page.given("share of wet days");
    assert_eq!(wet, USUAL_WET_SHARE);
    let above = extraterrestrial_mj(site.latitude_deg, MIDDLE_OF_JUNE);
    page.says(format!("{above:.2} MJ"));
    let level = Site { elevation_m: 0.0, ..site };
    let flat = |is_wet| daily_dose_mj(&level, Orientation::Horizontal, MIDDLE_OF_JUNE, is_wet);
    assert_relative(flat(false), 0.57 * 0.043 * above, 1e-12, "dry");
    assert_relative(flat(true), 0.42 * 0.053 * above, 1e-12, "wet");
    page.says(format!("{:.3} MJ/m2", flat(false)));
    page.says(format!("{:.3} MJ/m2", flat(true)));
    let mean = wet * flat(true) + (1.0 - wet) * flat(false);
    page.says(format!("{mean:.3} MJ/m2"));
    let height = daily_dose_mj(&site, MOUNTED, MIDDLE_OF_JUNE, true)
        / daily_dose_mj(&level, MOUNTED, MIDDLE_OF_JUNE, true);
    page.says(format!("{height:.2}"));
    let facing = orientation_factor(MOUNTED, site.latitude_deg);
    page.says(format!("{facing:.3}"));
    let a_day = mean * height * facing;
    page.says(format!("{a_day:.3} MJ/m2"));
    page.says(format!("{:.1} MJ/m2", 30.0 * a_day));
    let [sunlit, _] = page.some(SHADES);
    let months = doses(&site, sunlit, None);
    assert_relative(months[5], 30.0 * a_day, 0.005, "the middle of June stands for the month");
    page.says(format!("{:.1} MJ/m2", months[5]));
    page.says(format!("{:.0} MJ/m2", months.iter().sum::<f64>()));
    let air = page.given("mean air temperature, every month");
    clocks(page, &site, air);
}

fn clocks(mut page: Section, site: &Site, air: f64) {
    let in_sun = air + SUN_HEATING_K;
    assert_eq!(in_sun, 30.0);
    let fitted = page.day("fitted");
    let [sunlit, painted] = page.some(SHADES).map(|shade| Coupling::of(site, [air; 12], shade, fitted));
    let (light_limit, heat_limit) = (coupling(MATERIAL).limit, ageing_limit(MATERIAL).limit);
    assert_eq!([light_limit.log_sd, heat_limit.log_sd], [0.6; 2]);

    page.says(format!("{:.2} times", acceleration(LIGHT_KJ_MOL, in_sun)));
    page.says(format!("{:.0} MJ/m2", sunlit.dose_a_year));
    page.says(format!("{} MJ/m2", light_limit.median));
    page.says(format!("{:.1}", light_limit.median / sunlit.dose_a_year));
    let energy = activation_kj_mol(MATERIAL);
    let (hot, mild) = (acceleration(energy, in_sun), acceleration(energy, air));
    page.says(format!("{hot:.3}"));
    page.says(format!("{mild:.3}"));
    let step = (hot + 2.0 * mild) / 3.0;
    assert_relative(sunlit.heat_a_year, step * YEAR_DAYS, 1e-12, "days at 25 degrees C of a year");
    page.says(format!("{step:.3}"));
    page.says(format!("{}", heat_limit.median));
    page.says(format!("{:.1}", heat_limit.median / sunlit.heat_a_year));

    for part in [&sunlit, &painted] {
        let years = [light_limit.median / part.dose_a_year, heat_limit.median / part.heat_a_year];
        let names = ["light", "heat"];
        let by = usize::from(part.heat[1] < part.light[1]);
        let likely = [part.light[1], part.heat[1]][by];
        for years in years {
            page.says(format!("{years:.1}"));
        }
        page.says(date(likely));
        page.says(names[by]);
        let took = f64::from(likely.since(fitted)) / YEAR_DAYS;
        // Where the year stands when the limit comes is worth up to half a year's swing.
        assert_within(took, years[by], 0.25, "years by the engine");
        assert!(years[by] < years[1 - by]);
    }
    page.says(date(sunlit.light[0]));
    page.says(date(sunlit.light[2]));
    page.ends();
}

#[test]
fn trap_between_overflows() {
    let mut page = Section::of("6. ");
    let (overflow, depth) = (page.day("last overflow"), page.given("depth of the seal"));
    let usual = usual_evaporation(None).unwrap();
    page.says(format!("{:.2} mm", usual.per_day()[5]));
    let dry = drying(&usual, depth, overflow).unwrap();
    for day in [dry.half.unwrap(), dry.gone.unwrap()] {
        page.says(format!("{}", day.since(overflow)));
        page.says(date(day));
    }
    let own = evaporation(page.some("evaporation, a user's own, January first, mm a day")).unwrap();
    let end_of_june = day(2021, 6, 30);
    assert_eq!(end_of_june.since(overflow), 24);
    let june = own.between(overflow, end_of_june);
    page.says(format!("{june} mm"));
    page.says(format!("{} mm", depth - june));
    page.says(date(drying(&own, depth, overflow).unwrap().gone.unwrap()));
    let mean = page.given("mean temperature, every month");
    let adults = first_emergence(overflow, &[mean; 12]).unwrap().unwrap();
    page.says(format!("{}", adults.since(overflow)));
    page.says(date(adults));
    page.ends();
}

#[test]
fn frost_from_twelve_minima() {
    let mut page = Section::of("7. ");
    let minima = page.some("mean minima, January first, C");
    let line = -(0.9_f64.ln());
    page.says(format!("{line:.3}"));
    let warmest = minima.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    assert_eq!(warmest, 14.0);
    // Days from the middle of September to the middle of October. The line goes on at the same slope to November.
    let apart = 15.0 + 15.5;
    let (mut sum, mut before) = (0.0, 0.0);
    for step in 0..5 {
        // Noon of the middle day of 26 to 30 September lies 27.5 days into the month.
        let into = 12.5 + 5.0 * f64::from(step);
        let mean = minima[8] + (minima[9] - minima[8]) * into / apart;
        let strays = (1.8 + 0.09 * (warmest - mean) + 0.008 * (warmest - mean).powi(2)).min(5.0);
        let z = (FROST_BELOW_C - mean) / strays;
        let chance = normal_below(z);
        before = sum;
        sum += 2.5 * chance;
        page.says(format!("{mean:.2}"));
        page.says(format!("{strays:.2}"));
        page.says(format!("{z:.2}"));
        page.says(format!("{chance:.4}"));
        page.says(format!("{:.4}", 2.5 * chance));
        page.says(format!("{sum:.4}"));
    }
    assert!(before < line && line < sum);
    let Frost::Season(season) = Frost::from_minima(&minima).unwrap() else { panic!("no season") };
    let on = |day_of_year| on_or_after(day_of_year, day(2021, 7, 1)).unwrap();
    let by_hand = day(2021, 10, 16).plus(((line - before) / (sum - before) * 5.0) as i32);
    assert!((on(season.first).since(by_hand)).abs() <= 1, "{by_hand:?}");
    for day_of_year in [season.first, season.drain_by, season.last, season.restart] {
        page.says(day_and_month(on(day_of_year)));
    }
    page.ends();
}
