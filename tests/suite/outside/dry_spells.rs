//! What lies on a roof after a dry spell, in closed form and along simulated rain.
//!
//! The simulated process is written here from its description: leaves fall by day, and a day with runoff moves all of
//! them; solids build up and wash off by the laws of EPA SWMM 5, with the constants of the engine. Five climates, stated by
//! their wet days in January and July.

use eavesward_engine::exposure::{SHARE_LEFT_IN_GUTTER, SHARE_LEFT_ON_SCREEN, litter_kg_m2};
use eavesward_engine::first_flush::{MIXING, WASH_OFF_PER_MM, washed_share};
use eavesward_engine::generate::Generator;
use eavesward_engine::runoff::WettingStore;
use eavesward_engine::washoff::{BUILD_UP_PER_DAY, MOST_G_M2};
use eavesward_engine::{Canopy, Chamber, Climate, Day, Exposure, Limit, MonthLaw, RainRecord, Roof, Site};

use super::{Asked, assert_relative, day, forecast};

const PATHS: usize = 800;
const SCREEN_M2: f64 = 0.2;
const GUTTER_M: f64 = 20.0;
const LOSS_MM: f64 = 0.5;
/// Longest passage, days.
const LONGEST: i32 = 6000;
const CHAMBER_MM: f64 = 1.0;
/// Log-sds of a month's and of a year's leaf fall, as the engine takes them.
const FALL_MONTH: f64 = 0.35;
const FALL_YEAR: f64 = 0.2;

/// A climate whose chance of rain after a dry day swings between January and July.
fn climate(january: f64, july: f64, mean_wet_mm: f64) -> Climate {
    let laws = std::array::from_fn(|m| {
        let winter = 0.5 + 0.5 * (std::f64::consts::TAU * m as f64 / 12.0).cos();
        let p01 = january * winter + july * (1.0 - winter);
        MonthLaw { p01, p11: (p01 + 0.25).min(0.9), mean_wet_mm, cv2: 1.4 }
    });
    // A hundred years behind the means leave next to no doubt in them.
    Climate::from_laws(laws, 0.25, 0.08, 0.0, 100.0).unwrap()
}

pub(super) fn climates() -> [(&'static str, Climate); 5] {
    [
        ("arid", climate(0.05, 0.02, 7.0)),
        ("Mediterranean", climate(0.3, 0.015, 8.0)),
        ("monsoon", climate(0.02, 0.45, 12.0)),
        ("cold", climate(0.12, 0.3, 4.0)),
        ("oceanic", climate(0.35, 0.25, 5.0)),
    ]
}

fn site() -> Site {
    Site { latitude_deg: 42.0, elevation_m: 50.0 }
}

/// Standard normal numbers from a small generator (xorshift64*), so that leaf fall has its own randomness.
struct Normal(u64);

impl Normal {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64 + 1e-17
    }

    fn next(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// A factor with mean 1.
    fn factor(&mut self, log_sd: f64) -> f64 {
        (log_sd * self.next() - 0.5 * log_sd * log_sd).exp()
    }
}

/// A part, its limit, and the trees over the roof.
#[derive(Clone, Copy, Debug)]
struct Case {
    part: Part,
    limit: f64,
    canopy: Canopy,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Part {
    Roof,
    Gutter,
    Screen,
    Grit,
}

/// The roof is under conifers, whose fall never stands still: in a season that does, a day more or less of the
/// accumulated amount is many days of the date.
const CASES: [Case; 8] = [
    Case { part: Part::Roof, limit: 0.08, canopy: Canopy::Conifer },
    Case { part: Part::Roof, limit: 0.15, canopy: Canopy::Conifer },
    Case { part: Part::Gutter, limit: 0.06, canopy: Canopy::Deciduous },
    Case { part: Part::Gutter, limit: 0.12, canopy: Canopy::Deciduous },
    Case { part: Part::Screen, limit: 0.3, canopy: Canopy::Deciduous },
    Case { part: Part::Screen, limit: 1.2, canopy: Canopy::Deciduous },
    Case { part: Part::Grit, limit: 300.0, canopy: Canopy::None },
    Case { part: Part::Grit, limit: 600.0, canopy: Canopy::None },
];

impl Case {
    fn roof(&self) -> Roof {
        Roof { wetting_loss_mm: LOSS_MM, canopy: self.canopy, canopy_share: 0.25, ..Roof::new(100.0, 0.9) }
    }

    fn exposure(&self) -> Exposure<'static> {
        match self.part {
            Part::Roof => Exposure::RoofLeaves,
            Part::Gutter => Exposure::GutterLeaves { length_m: GUTTER_M, guarded: false },
            Part::Screen => Exposure::Leaves { screen_area_m2: SCREEN_M2 },
            Part::Grit => Exposure::Grit { chamber: Chamber::emptied(CHAMBER_MM) },
        }
    }

    /// What falls on a day of each month, in the unit of the limit.
    fn fall(&self) -> [f64; 12] {
        let roof = self.roof();
        let per_kg = match self.part {
            Part::Gutter => SHARE_LEFT_IN_GUTTER * roof.plan_area_m2 / GUTTER_M,
            Part::Screen => SHARE_LEFT_ON_SCREEN * roof.plan_area_m2 / SCREEN_M2,
            Part::Roof | Part::Grit => 1.0,
        };
        std::array::from_fn(|month0| litter_kg_m2(&roof, &site(), month0) * per_kg)
    }
}

/// The day numbers on which one path reaches the limits of [`CASES`].
fn passages(today: Day, dry: i32, rain: impl Iterator<Item = f64>, path: u64) -> [i32; 8] {
    let mut normal = Normal(0x9E37_79B9_7F4A_7C15 ^ (path + 1).wrapping_mul(0xD1B5_4A32_D192_ED03));
    let falls = CASES.map(|case| case.fall());
    // A month's factor, and a year's.
    let (mut of_month, mut of_year) = (normal.factor(FALL_MONTH), normal.factor(FALL_YEAR));
    let (mut lying, mut sums, mut passed) = ([0.0; 8], [0.0; 8], [LONGEST; 8]);
    for day in (0..dry).rev().map(|back| today.plus(-back)) {
        if day.plus(-1).month0() != day.month0() {
            of_month = normal.factor(FALL_MONTH);
        }
        for (n, case) in CASES.iter().enumerate() {
            let usual = falls[n][day.month0()];
            // Nobody sees what falls on a roof. What waits for a gutter counts as it falls in usual years.
            match case.part {
                Part::Roof => sums[n] += usual * of_month * of_year,
                _ => lying[n] += usual,
            }
        }
    }
    let mut solids = MOST_G_M2 * -(-BUILD_UP_PER_DAY * f64::from(dry)).exp_m1();
    let mut store = WettingStore::new(LOSS_MM).unwrap();
    for (number, mm) in (1..LONGEST).zip(rain) {
        let day = today.plus(number);
        if day.plus(-1).month0() != day.month0() {
            of_month = normal.factor(FALL_MONTH);
        }
        if number % 365 == 0 {
            of_year = normal.factor(FALL_YEAR);
        }
        let runoff = 0.9 * store.day(mm);
        solids += (MOST_G_M2 - solids) * -(-BUILD_UP_PER_DAY).exp_m1();
        for (n, case) in CASES.iter().enumerate() {
            let fallen = falls[n][day.month0()] * of_month * of_year;
            lying[n] += fallen;
            sums[n] += match case.part {
                Part::Roof => fallen,
                _ if runoff == 0.0 => continue,
                Part::Grit => 100.0 * solids * MIXING * washed_share(WASH_OFF_PER_MM, runoff.min(CHAMBER_MM)),
                Part::Gutter | Part::Screen => std::mem::take(&mut lying[n]),
            };
            if sums[n] >= case.limit {
                passed[n] = passed[n].min(number);
            }
        }
        if runoff > 0.0 {
            solids *= (-WASH_OFF_PER_MM * runoff).exp();
        }
        if passed.iter().all(|day| *day < LONGEST) {
            break;
        }
    }
    passed
}

/// The median day numbers along paths on which today is dry.
fn simulated(climate: &Climate, today: Day, dry: i32) -> [i32; 8] {
    let generator = Generator::new(climate, 11);
    let of_path = |path| {
        let mut rain = generator.days(path, today);
        (rain.next() == Some(0.0)).then(|| passages(today, dry, rain, path))
    };
    let passed: Vec<[i32; 8]> = (0..).filter_map(of_path).take(PATHS).collect();
    std::array::from_fn(|n| {
        let mut days: Vec<i32> = passed.iter().map(|days| days[n]).collect();
        days.sort_unstable();
        days[PATHS / 2]
    })
}

/// So many years that their own chance moves no median by more than two per cent.
const YEARS: i32 = 400;

/// Years of simulated readings, a storm that empties the roof, and a dry spell.
fn record(climate: &Climate, today: Day, dry: i32) -> RainRecord {
    let storm = today.plus(-dry);
    let first = storm.plus(-365 * YEARS);
    let generator = Generator::new(climate, 12);
    let years = (0..).map(|n| first.plus(n)).zip(generator.days(0, first)).take((365 * YEARS) as usize);
    RainRecord::from_readings(years.chain([(storm, 40.0)]).chain((1..=dry).map(|n| (storm.plus(n), 0.0))))
}

/// Beyond 30 days, within 5 %, after 10, 30 and 60 dry days.
#[test]
fn medians_after_a_dry_spell_are_those_of_simulated_rain() {
    let mut compared = 0;
    for (name, climate) in climates() {
        for today in [day(2022, 8, 31), day(2022, 11, 30)] {
            for dry in [10, 30, 60] {
                let record = record(&climate, today, dry);
                let simulated = simulated(&climate, today, dry);
                for (case, simulated) in CASES.iter().zip(simulated) {
                    let answer = forecast(&Asked {
                        site: &site(),
                        roof: &case.roof(),
                        record: &record,
                        climate: Some(&climate),
                        exposure: case.exposure(),
                        limit: Limit { median: case.limit, log_sd: 0.0 },
                        since: today.plus(-dry),
                        as_of: today,
                        horizon_days: LONGEST,
                    })
                    .unwrap();
                    let closed = answer.day_of_chance(0.5).unwrap().since(today);
                    if closed.max(simulated) > 30 {
                        let what = format!("{name}, {case:?}, {dry} dry days to {today:?}");
                        assert_relative(f64::from(closed), f64::from(simulated), 0.05, &what);
                        compared += 1;
                    }
                }
            }
        }
    }
    assert!(compared > 150, "only {compared} medians were compared");
}
