//! Laws that hold for every input, tried on random ones.

use eavesward_engine::exposure::SHARE_LEFT_ON_SCREEN;
use eavesward_engine::{
    Answer, Canopy, Chamber, Climate, Day, Emptying, Exposure, Limit, Orientation, Outcome, RainRecord, Roof,
    Site,
};
use proptest::prelude::*;

use super::{Asked, day, forecast, seattle, site};

/// A record of some 900 days, wet and dry by turns, with gaps and single large storms.
fn records() -> impl Strategy<Value = Vec<Option<f64>>> {
    let reading = prop_oneof![
        5 => Just(Some(0.0)),
        4 => (0.1..20.0_f64).prop_map(Some),
        1 => (20.0..90.0_f64).prop_map(Some),
        1 => Just(None),
    ];
    prop::collection::vec(reading, 400..900)
}

fn exposures() -> impl Strategy<Value = Exposure<'static>> {
    prop_oneof![
        Just(Exposure::Runoff),
        (0.02..0.5_f64).prop_map(|screen_area_m2| Exposure::Leaves { screen_area_m2 }),
        (0.0..3.0_f64, 0.5..5.0_f64, any::<bool>()).prop_map(|(flush_mm, floor_area_m2, calmed_inlet)| {
            Exposure::Sediment { chamber: Some(Chamber::emptied(flush_mm)), floor_area_m2, calmed_inlet }
        }),
        (0.0..0.95_f64).prop_map(|shade_share| Exposure::Ultraviolet {
            orientation: Orientation::VerticalPipe,
            shade_share,
            warmth: None,
        }),
        (1.0..30.0_f64, any::<bool>())
            .prop_map(|(length_m, guarded)| Exposure::GutterLeaves { length_m, guarded }),
        Just(Exposure::RoofLeaves),
        (0.1..3.0_f64).prop_map(|volume| Exposure::Fills { chamber: Chamber::emptied(volume) }),
        (0.1..3.0_f64, 0.1..3.0_f64).prop_map(|(volume, mm_per_day)| Exposure::Grit {
            chamber: Chamber { emptying: Emptying::Trickle { mm_per_day }, ..Chamber::emptied(volume) }
        }),
        Just(Exposure::Steady { daily: [1.5; 12], sigma_month: 0.1, sigma_year: 0.1, unit: "litres" }),
    ]
}

const START: (i32, u32, u32) = (2018, 3, 1);

fn start() -> Day {
    day(START.0, START.1, START.2)
}

fn record(readings: &[Option<f64>]) -> RainRecord {
    RainRecord::from_readings(
        readings.iter().enumerate().filter_map(|(i, mm)| mm.map(|mm| (start().plus(i as i32), mm))),
    )
}

fn leafy() -> Roof {
    Roof { wetting_loss_mm: 0.5, canopy: Canopy::Deciduous, canopy_share: 0.3, ..Roof::new(80.0, 0.9) }
}

fn median_of(exposure: Exposure<'_>, size: f64) -> f64 {
    match exposure {
        Exposure::Runoff | Exposure::Steady { .. } => 300.0 * size,
        Exposure::Leaves { .. } => 5.0 * size,
        Exposure::Sediment { .. } => 3.0 * size,
        Exposure::Grit { .. } => 3.0 * leafy().plan_area_m2 * size,
        Exposure::Ultraviolet { .. } | Exposure::Fills { .. } => 60.0 * size,
        Exposure::GutterLeaves { .. } | Exposure::RoofLeaves => 0.06 * size,
    }
}

#[derive(Debug, Clone)]
struct Case {
    record: RainRecord,
    climate: Climate,
    roof: Roof,
    exposure: Exposure<'static>,
    limit: Limit,
    served: i32,
    today: i32,
}

impl Case {
    fn ask(&self) -> Answer {
        let site = site();
        self.ask_at(&site)
    }

    fn ask_at(&self, site: &Site) -> Answer {
        forecast(&Asked {
            site,
            roof: &self.roof,
            record: &self.record,
            climate: Some(&self.climate),
            exposure: self.exposure,
            limit: self.limit,
            since: start().plus(self.served),
            as_of: start().plus(self.served + self.today),
            horizon_days: 7300,
        })
        .unwrap()
    }
}

fn cases() -> impl Strategy<Value = Case> {
    let log_sd = prop_oneof![Just(0.0), 0.05..1.0_f64];
    (records(), exposures(), 0.05..6.0_f64, log_sd, -200..600_i32, 0..500_i32).prop_map(
        |(readings, exposure, size, log_sd, served, today)| {
            let record = record(&readings);
            let climate = Climate::fit(&record, None).unwrap();
            let limit = Limit { median: median_of(exposure, size), log_sd };
            Case { record, climate, roof: leafy(), exposure, limit, served, today }
        },
    )
}

fn dates(answer: &Answer) -> [Day; 3] {
    let late = |d: Option<Day>| d.unwrap_or(Day(i32::MAX));
    match answer.outcome {
        Outcome::Window(w) => [late(w.early), late(w.likely), late(w.late)],
        _ => [Day(i32::MAX); 3],
    }
}

fn no_later(a: &Answer, b: &Answer) -> bool {
    dates(a).iter().zip(dates(b)).all(|(x, y)| *x <= y)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn window_chance_and_curve_agree(case in cases()) {
        let answer = case.ask();
        let [early, likely, late] = dates(&answer);
        prop_assert!(early <= likely && likely <= late);
        let c = answer.chance;
        prop_assert!(0.0 <= c.today && c.today <= c.in_7_days);
        prop_assert!(c.in_7_days <= c.in_30_days && c.in_30_days <= c.in_90_days && c.in_90_days <= 1.0);
        let curve = answer.curve().unwrap();
        prop_assert!(curve.len() <= 60);
        for pair in curve.windows(2) {
            prop_assert!(pair[0].day < pair[1].day && pair[0].chance <= pair[1].chance);
        }
        let mut before = Day(i32::MIN);
        for p in [0.01, 0.1, 0.2, 0.35, 0.5, 0.8, 0.9, 0.99] {
            if let Some(d) = answer.day_of_chance(p) {
                prop_assert!(d >= before);
                prop_assert!(answer.chance_by(d).unwrap() >= p);
                prop_assert!(answer.chance_by(d.plus(-1)).unwrap() < p);
                before = d;
            }
        }
        prop_assert_eq!(answer.day_of_chance(0.5).unwrap_or(Day(i32::MAX)), likely);
    }

    #[test]
    fn chance_never_falls(case in cases(), step in 1..40_i32) {
        let answer = case.ask();
        let mut before = 0.0;
        for i in 0..60 {
            let now = answer.chance_by(start().plus(case.served + i * step)).unwrap();
            prop_assert!(now >= before, "{} after {} on step {}", now, before, i);
            before = now;
        }
    }

    #[test]
    fn tallies_are_whole_and_never_negative(case in cases()) {
        let t = case.ask().accumulated;
        prop_assert!(t.known >= 0.0 && t.expected_unread >= 0.0 && t.sd >= 0.0);
        prop_assert_eq!(t.value, t.known + t.expected_unread);
        prop_assert_eq!(i64::from(t.days_read) + i64::from(t.days_unread), i64::from(case.today));
    }

    /// With one climate for both, since a wetter reading also makes a wetter climate.
    #[test]
    fn more_rain_on_a_read_day_never_delays_runoff(case in cases(), at in 0..900_i32, more in 0.1..60.0_f64) {
        let case = Case { exposure: Exposure::Runoff, limit: Limit { median: 250.0, ..case.limit }, ..case };
        let wetter = RainRecord::from_readings((0..900).filter_map(|i| {
            let d = start().plus(i);
            case.record.get(d).map(|mm| (d, if i == at { mm + more } else { mm }))
        }));
        let more_rain = Case { record: wetter, ..case.clone() };
        let (a, b) = (more_rain.ask(), case.ask());
        prop_assert!(a.accumulated.known >= b.accumulated.known - 1e-9);
        prop_assert!(no_later(&a, &b), "{:?} {:?}", dates(&a), dates(&b));
    }

    #[test]
    fn a_bigger_mark_is_never_earlier(case in cases(), factor in 1.0..4.0_f64) {
        let bigger = Limit { median: case.limit.median * factor, ..case.limit };
        let later = Case { limit: bigger, ..case.clone() };
        prop_assert!(no_later(&case.ask(), &later.ask()));
    }

    #[test]
    fn more_shade_is_never_earlier(case in cases(), shade in 0.0..0.9_f64, more in 0.0..0.1_f64) {
        let under = |shade_share| Case {
            exposure: Exposure::Ultraviolet { orientation: Orientation::FacingEquator, shade_share, warmth: None },
            limit: Limit { median: 80.0, ..case.limit },
            ..case.clone()
        };
        let (sun, shaded) = (under(shade).ask(), under(shade + more).ask());
        prop_assert!(sun.accumulated.value >= shaded.accumulated.value);
        prop_assert!(no_later(&sun, &shaded));
    }

    /// A power of two keeps every rounding; the wet-day threshold is the one length that does not scale, so rain stays
    /// clear of it on both sides.
    #[test]
    fn scaling_rain_loss_and_mark_changes_no_day(
        readings in prop::collection::vec(prop_oneof![Just(0.0), 0.2..40.0_f64], 400..900),
        mm in 50.0..900.0_f64,
        log_sd in prop_oneof![Just(0.0), 0.1..1.0_f64],
        since in 0..390_i32,
    ) {
        let scaled = |a: f64| {
            let readings: Vec<_> = readings.iter().map(|r| Some(r * a)).collect();
            let record = record(&readings);
            let climate = Climate::fit_with_loss(&record, None, 0.5 * a).unwrap();
            let roof = Roof { wetting_loss_mm: 0.5 * a, ..leafy() };
            let limit = Limit { median: mm * a, log_sd };
            let case = Case { record, climate, roof, exposure: Exposure::Runoff, limit, served: since, today: 10 };
            case.ask()
        };
        prop_assert_eq!(dates(&scaled(1.0)), dates(&scaled(4.0)));
    }

    #[test]
    fn a_longer_record_never_widens_the_sampling_term(years in 0.1..60.0_f64, more in 0.0..40.0_f64, cv30 in 0.1..1.0_f64) {
        let fitted = Climate::fit(&seattle(), None).unwrap();
        let of = |years| {
            let mut climate = fitted.clone();
            (climate.years, climate.cv30) = (years, cv30);
            climate.sampling_sd()
        };
        prop_assert!(of(years + more) <= of(years));
    }

    #[test]
    fn the_same_question_has_the_same_bits(case in cases()) {
        let (a, b) = (case.ask(), case.ask());
        prop_assert_eq!(a.accumulated.value.to_bits(), b.accumulated.value.to_bits());
        prop_assert_eq!(a.chance.in_30_days.to_bits(), b.chance.in_30_days.to_bits());
        prop_assert_eq!(a.outcome, b.outcome);
    }

    #[test]
    fn any_place_gives_finite_doses(latitude in -90.0..=90.0_f64, elevation in -400.0..5000.0_f64, case in cases()) {
        let light = Case {
            exposure: Exposure::Ultraviolet { orientation: Orientation::Tilted45Equator, shade_share: 0.2, warmth: None },
            limit: Limit { median: 300.0, log_sd: 0.5 },
            ..case
        };
        let answer = light.ask_at(&Site { latitude_deg: latitude, elevation_m: elevation });
        prop_assert!(answer.accumulated.value.is_finite() && answer.accumulated.value >= 0.0);
        prop_assert!(answer.chance.in_90_days.is_finite());
    }
}

/// Leaves of one year: what the canopy drops arrives at the screen in its share, but for what still lies on the roof.
#[test]
fn leaves_that_fall_arrive() {
    let record = seattle();
    let climate = Climate::fit(&record, None).unwrap();
    let case = Case {
        record,
        climate,
        roof: leafy(),
        exposure: Exposure::Leaves { screen_area_m2: 0.1 },
        limit: Limit { median: 1.0, log_sd: 0.0 },
        // 2013 whole.
        served: day(2012, 12, 31).since(start()),
        today: 365,
    };
    // 500 g under the canopy, 20 g elsewhere, off 80 m2 onto 0.1 m2; the screen keeps its share of it.
    let fallen = (0.5 * 0.3 + 0.02 * 0.7) * 80.0 / 0.1 * SHARE_LEFT_ON_SCREEN;
    let moved = case.ask().accumulated.known;
    assert!((moved / fallen - 1.0).abs() < 0.03, "{moved} of {fallen}");
    // Autumn is later in the year in the south: by the end of June more has come down there.
    let half = Case { today: 181, ..case };
    let south = half.ask_at(&Site { latitude_deg: -47.6, elevation_m: 0.0 }).accumulated.known;
    let north = half.ask_at(&Site { latitude_deg: 47.6, elevation_m: 0.0 }).accumulated.known;
    assert!(south > 2.0 * north, "south {south}, north {north}");
}
