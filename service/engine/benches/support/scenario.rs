//! One whole system at an invented place: every duty with an accumulated amount, and ten years of daily rain.

use eavesward_engine::generate::Generator;
use eavesward_engine::heat::{self, Warmth};
use eavesward_engine::{
    Answer, Canopy, Catchment, Chamber, Climate, Day, Emptying, Exposure, Gauge, Limit, Material, Meter,
    Normals, Orientation, Prior, Question, RainRecord, Roof, Setting, Site, limit,
};

/// Sixty years, as far as the service looks ahead.
pub const HORIZON_DAYS: i32 = 21_915;
/// 2015-04-01.
const FIRST: Day = Day(16_526);
/// Ten years.
const DAYS: usize = 3653;
/// Days without a reading, counted from the first day: one unread week.
const GAP: std::ops::Range<usize> = 2100..2107;
/// 2025-04-02. The last two days have no reading yet.
pub const TODAY: Day = Day(20_180);

/// Mean rain of a month in mm, days of 1 mm or more, mean air temperature in C, January first.
const RAIN_MM: [f64; 12] = [68.0, 54.0, 59.0, 52.0, 74.0, 83.0, 88.0, 79.0, 66.0, 64.0, 70.0, 76.0];
const WET_DAYS: [f64; 12] = [11.5, 9.5, 10.4, 9.1, 10.6, 10.9, 10.8, 9.9, 9.2, 9.7, 11.0, 12.2];
const AIR_C: [f64; 12] = [0.8, 1.9, 5.6, 9.8, 14.2, 17.5, 19.3, 18.9, 14.6, 9.9, 4.9, 1.8];

/// Litres a day through the filter. More in the months of watering.
const LITRES: [f64; 12] =
    [110.0, 110.0, 115.0, 130.0, 150.0, 170.0, 175.0, 170.0, 140.0, 120.0, 110.0, 110.0];

/// The question of one duty.
pub struct Duty {
    pub name: &'static str,
    pub exposure: Exposure<'static>,
    pub limit: Limit,
    pub since: Day,
}

/// A system, its place and its readings of rain.
pub struct Scenario {
    pub site: Site,
    pub roof: Roof,
    pub record: RainRecord,
    pub duties: Vec<Duty>,
}

/// Invented rain of an invented place: the same readings on every machine with the same arithmetic.
fn readings() -> RainRecord {
    let normals = Normals { rain_mm: RAIN_MM, wet_days: WET_DAYS, wet_day_threshold_mm: 1.0, years: 30.0 };
    let climate = Climate::fit(&RainRecord::empty(), Some(&normals)).unwrap();
    let path = Generator::new(&climate, 20).path(0, FIRST, DAYS);
    // A gauge reads tenths of a millimetre.
    let mm = path.iter().map(|mm| (mm * 10.0).round() / 10.0);
    let days = mm.enumerate().filter(|(i, _)| !GAP.contains(i));
    RainRecord::from_readings(days.map(|(i, mm)| (FIRST.plus(i as i32), mm)))
}

fn clear(name: &'static str, exposure: Exposure<'static>, prior: Prior, days_ago: i32) -> Duty {
    Duty { name, exposure, limit: prior.limit, since: TODAY.plus(-days_ago) }
}

fn duties(roof: &Roof) -> Vec<Duty> {
    let chamber = Chamber::emptied(1.0);
    let drip = Chamber { emptying: Emptying::Trickle { mm_per_day: 0.6 }, ..chamber };
    let sediment = Exposure::Sediment { chamber: Some(chamber), floor_area_m2: 2.5, calmed_inlet: true };
    let litres = Exposure::Steady { daily: LITRES, sigma_month: 0.2, sigma_year: 0.15, unit: "litres" };
    let mut duties = vec![
        clear("screen", Exposure::Leaves { screen_area_m2: 0.15 }, limit::screen(), 40),
        clear("gutter", Exposure::GutterLeaves { length_m: 24.0, guarded: false }, limit::gutter(), 110),
        clear("roof", Exposure::RoofLeaves, limit::roof(), 130),
        clear(
            "hand-emptied chamber",
            Exposure::Runoff,
            limit::hand_emptied_chamber(roof.plan_area_m2, roof.plan_area_m2).unwrap(),
            1,
        ),
        clear(
            "weep hole",
            Exposure::Grit { chamber },
            limit::weep_hole_chamber(0.001 * roof.plan_area_m2, 2.0).unwrap(),
            75,
        ),
        clear("drip", Exposure::Fills { chamber: drip }, limit::drip_chamber(), 160),
        clear("sediment", sediment, limit::tank_sediment(limit::USUAL_SEDIMENT_MM, Some(100.0)), 2560),
        clear("cartridge", litres, limit::cartridge(30_000.0).unwrap(), 70),
    ];
    let sunny = (Material::PlasticisedPvc, Orientation::FacingEquator, 0.0, 1500);
    let shaded = (Material::Epdm, Orientation::VerticalPipe, 0.5, 2700);
    for (name, (material, orientation, shade_share, days_ago)) in [
        (["sunny coupling, light", "sunny coupling, heat"], sunny),
        (["shaded coupling, light", "shaded coupling, heat"], shaded),
    ] {
        let warmth = Warmth::under_shade(AIR_C, shade_share).unwrap();
        let light = Exposure::Ultraviolet { orientation, shade_share, warmth: Some(warmth.light_factors()) };
        let daily = *warmth.ageing(heat::activation_kj_mol(material)).unwrap().per_day();
        let ageing = Exposure::Steady { daily, sigma_month: 0.1, sigma_year: 0.05, unit: "days at 25 C" };
        duties.push(clear(name[0], light, limit::coupling(material), days_ago));
        duties.push(clear(name[1], ageing, heat::ageing_limit(material), days_ago));
    }
    duties
}

impl Scenario {
    pub fn new() -> Scenario {
        let roof = Roof {
            wetting_loss_mm: 0.5,
            canopy: Canopy::Deciduous,
            canopy_share: 0.25,
            ..Roof::new(120.0, 0.9)
        };
        let site = Site { latitude_deg: 48.3, elevation_m: 240.0 };
        Scenario { site, roof, record: readings(), duties: duties(&roof) }
    }

    pub fn meter<'a>(&'a self, duty: &Duty, gauge: &'a Gauge, catchment: &'a Catchment) -> Meter<'a> {
        let (site, roof) = (&self.site, &self.roof);
        Meter::new(&Setting { site, roof, gauge, catchment, exposure: duty.exposure }).unwrap()
    }

    pub fn answer(&self, duty: &Duty, gauge: &Gauge, catchment: &Catchment) -> Answer {
        ask(&self.meter(duty, gauge, catchment), duty)
    }

    /// The forecasts of all duties, under a gauge that other systems share.
    pub fn shared(&self, gauge: &Gauge, catchment: &Catchment) -> Vec<Answer> {
        self.duties.iter().map(|duty| self.answer(duty, gauge, catchment)).collect()
    }

    /// The same without sharing: gauge and roof for this system alone.
    pub fn alone(&self) -> Vec<Answer> {
        let gauge = Gauge::new(self.record.clone(), None);
        let catchment = Catchment::new(&gauge, &self.roof).unwrap();
        self.shared(&gauge, &catchment)
    }
}

pub fn ask(meter: &Meter<'_>, duty: &Duty) -> Answer {
    let question = Question {
        limit: duty.limit,
        left_share: 0.0,
        since: duty.since,
        as_of: TODAY,
        horizon_days: HORIZON_DAYS,
    };
    meter.forecast(&question).unwrap()
}
