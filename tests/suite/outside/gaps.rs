//! Days that nobody read are expected from the climate, wherever they lie, and never taken as dry.

use eavesward_engine::{
    Answer, Basis, Catchment, Chamber, Climate, ClimateError, Day, EngineError, Exposure, Gauge, Limit,
    Meter, Normals, Note, Orientation, Outcome, Question, RainRecord, Reason, Setting,
};

use super::{Asked, assert_relative, assert_within, day, forecast, part, roof, seattle, site};

fn ask(
    record: &RainRecord,
    climate: Option<&Climate>,
    exposure: Exposure<'_>,
    limit: Limit,
    as_of: Day,
) -> Answer {
    let (site, roof) = (site(), roof());
    forecast(&Asked {
        site: &site,
        roof: &roof,
        record,
        climate,
        exposure,
        limit,
        since: day(2014, 10, 1),
        as_of,
        horizon_days: 3650,
    })
    .unwrap()
}

fn window(answer: &Answer) -> [Day; 3] {
    match answer.outcome {
        Outcome::Window(w) => [w.early.unwrap(), w.likely.unwrap(), w.late.unwrap()],
        other => panic!("no window: {other:?}"),
    }
}

const EXACT: Limit = Limit { median: 600.0, log_sd: 0.0 };

#[test]
fn a_gap_before_today_is_not_a_drought() {
    let full = seattle();
    let climate = Climate::fit(&full, None).unwrap();
    let today = day(2015, 1, 15);
    let stopped = part(&full, day(2012, 1, 1), day(2014, 12, 1));
    let dry = RainRecord::from_readings(
        (0..=1110).map(|i| day(2012, 1, 1).plus(i)).map(|d| (d, stopped.get(d).unwrap_or(0.0))),
    );
    assert_eq!(dry.last(), Some(today));
    let unread = ask(&stopped, Some(&climate), Exposure::Runoff, EXACT, today);
    let zero = ask(&dry, Some(&climate), Exposure::Runoff, EXACT, today);
    assert_eq!(unread.accumulated.days_unread, 45);
    assert_eq!(unread.accumulated.days_read, 61);
    assert_eq!(zero.accumulated.days_unread, 0);
    assert_eq!(unread.accumulated.known, zero.accumulated.known);
    // December and January bring 4 mm a day or more here.
    assert!(unread.accumulated.expected_unread > 150.0, "{:?}", unread.accumulated);
    assert!(unread.accumulated.sd > 20.0);
    assert_eq!(zero.accumulated.expected_unread, 0.0);
    assert_within(
        unread.accumulated.value,
        unread.accumulated.known + unread.accumulated.expected_unread,
        1e-12,
        "tally",
    );
    for (with_rain, without) in window(&unread).into_iter().zip(window(&zero)) {
        assert!(with_rain < without, "{with_rain:?} {without:?}");
    }
}

#[test]
fn every_reading_narrows_the_window() {
    let full = seattle();
    let climate = Climate::fit(&full, None).unwrap();
    let today = day(2014, 12, 20);
    let read_to = |last: Day| {
        let record = part(&full, day(2012, 1, 1), last);
        let answer = ask(&record, Some(&climate), Exposure::Runoff, EXACT, today);
        assert_eq!(answer.accumulated.days_read + answer.accumulated.days_unread, 80);
        answer.accumulated.sd
    };
    let (none, half, all) = (read_to(day(2014, 10, 1)), read_to(day(2014, 11, 10)), read_to(today));
    assert!(none > half && half > all, "{none} {half} {all}");
    assert_eq!(all, 0.0);
}

#[test]
fn gaps_inside_and_before_the_record_count_alike() {
    let full = seattle();
    let climate = Climate::fit(&full, None).unwrap();
    let today = day(2014, 12, 31);
    let without = |from: Day, to: Day| {
        RainRecord::from_readings(
            (0..1461)
                .map(|i| day(2012, 1, 1).plus(i))
                .filter(|d| *d < from || *d > to)
                .map(|d| (d, full.get(d).unwrap())),
        )
    };
    let inside = without(day(2014, 11, 5), day(2014, 11, 14));
    let answer = ask(&inside, Some(&climate), Exposure::Runoff, EXACT, today);
    assert_eq!(answer.accumulated.days_unread, 10);
    // Ten days of November at about 4.7 mm.
    assert!((40.0..55.0).contains(&answer.accumulated.expected_unread), "{:?}", answer.accumulated);
    let before = part(&full, day(2014, 10, 11), today);
    let answer = ask(&before, Some(&climate), Exposure::Runoff, EXACT, today);
    assert_eq!(answer.accumulated.days_unread, 9);
    assert!(answer.accumulated.expected_unread > 0.0);
}

#[test]
fn readings_after_today_are_not_known_yet() {
    let full = seattle();
    let climate = Climate::fit(&full, None).unwrap();
    let today = day(2014, 11, 20);
    let (site, roof) = (site(), roof());
    let cut = part(&full, day(2012, 1, 1), today);
    let ask = |gauge: &Gauge| {
        let catchment = Catchment::new(gauge, &roof).unwrap();
        let setting =
            Setting { site: &site, roof: &roof, gauge, catchment: &catchment, exposure: Exposure::Runoff };
        let since = day(2014, 10, 1);
        let question = Question { limit: EXACT, left_share: 0.0, since, as_of: today, horizon_days: 3650 };
        Meter::new(&setting).unwrap().forecast(&question)
    };
    let knows = Gauge::with_climate(full, Ok(climate.clone()));
    match ask(&knows) {
        Err(EngineError::OutOfRange { name, .. }) => assert_eq!(name, "as_of"),
        other => panic!("{other:?}"),
    }
    let (back, cannot) =
        (ask(&knows.until(today)).unwrap(), ask(&Gauge::with_climate(cut, Ok(climate))).unwrap());
    assert_eq!(back.accumulated, cannot.accumulated);
    assert_eq!(back.outcome, cannot.outcome);
}

#[test]
fn nothing_known_is_said() {
    let empty = RainRecord::empty();
    assert_eq!(Climate::fit(&empty, None), Err(ClimateError::NoRain));
    let one = RainRecord::from_readings([(day(2014, 12, 1), 7.0)]);
    assert_eq!(Climate::fit(&one, None), Err(ClimateError::TooShort { days_read: 1 }));
    let answer = ask(&one, None, Exposure::Runoff, EXACT, day(2014, 12, 5));
    assert_eq!(answer.outcome, Outcome::NeedsRain);
    assert_within(answer.accumulated.known, 6.5, 1e-12, "the one reading still counts");
    let light =
        Exposure::Ultraviolet { orientation: Orientation::VerticalPipe, shade_share: 0.0, warmth: None };
    let answer = ask(&empty, None, light, Limit { median: 100.0, log_sd: 0.3 }, day(2014, 12, 5));
    assert!(matches!(answer.outcome, Outcome::Window(_)));
    assert!(answer.notes.contains(&Note::WetShareAssumed { share: 0.3 }));
}

#[test]
fn readings_alone_can_settle_it() {
    let full = seattle();
    let answer = ask(&full, None, Exposure::Runoff, Limit { median: 100.0, log_sd: 0.0 }, day(2015, 3, 1));
    let [early, likely, late] = window(&answer);
    assert!(early == likely && likely == late);
    assert_eq!(answer.chance.today, 1.0);
    // Counted by hand over the record: the day on which the store's runoff passes 100 mm.
    let mut store = eavesward_engine::runoff::WettingStore::new(0.5).unwrap();
    let (mut sum, mut today) = (0.0, day(2012, 1, 1));
    loop {
        let off = store.day(full.get(today).unwrap());
        if today > day(2014, 10, 1) {
            sum += off;
        }
        if sum >= 100.0 {
            break;
        }
        today = today.plus(1);
    }
    assert_eq!(likely, today);
}

#[test]
fn where_it_never_rains() {
    let desert = RainRecord::from_readings((0..1000).map(|i| (day(2012, 1, 1).plus(i), 0.0)));
    let climate = Climate::fit(&desert, None).unwrap();
    assert!(climate.never_rains());
    assert_eq!(climate.dry_months, [true; 12]);
    for exposure in [Exposure::Runoff, Exposure::Leaves { screen_area_m2: 0.1 }] {
        let answer = ask(&desert, Some(&climate), exposure, EXACT, day(2014, 12, 1));
        match answer.outcome {
            Outcome::NeverReached { reason, chance_at_horizon, horizon_days } => {
                assert_eq!((reason, horizon_days), (Reason::NoRain, 3650));
                assert_eq!(chance_at_horizon, 0.0);
            }
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn full_shade_is_never_reached() {
    let dark = Exposure::Ultraviolet { orientation: Orientation::Horizontal, shade_share: 1.0, warmth: None };
    let answer = ask(&RainRecord::empty(), None, dark, EXACT, day(2014, 12, 1));
    assert!(matches!(answer.outcome, Outcome::NeverReached { reason: Reason::NoExposure, .. }));
    let far = ask(
        &seattle(),
        None,
        Exposure::Ultraviolet { orientation: Orientation::FacingPole, shade_share: 0.9, warmth: None },
        Limit { median: 1e6, log_sd: 0.1 },
        day(2014, 12, 1),
    );
    assert!(matches!(far.outcome, Outcome::NeverReached { reason: Reason::BeyondHorizon, .. }));
}

const NORMALS: Normals = Normals {
    rain_mm: [141.0, 89.0, 94.0, 69.0, 49.0, 40.0, 18.0, 22.0, 38.0, 88.0, 167.0, 139.0],
    wet_days: [18.0, 15.0, 17.0, 14.0, 11.0, 9.0, 5.0, 5.0, 8.0, 13.0, 18.0, 17.0],
    wet_day_threshold_mm: 0.25,
    years: 30.0,
};

#[test]
fn normals_stand_in_and_set_the_level() {
    let full = seattle();
    let alone = Climate::fit(&RainRecord::empty(), Some(&NORMALS)).unwrap();
    assert_eq!(alone.basis, Basis::Normals);
    let own = Climate::fit(&full, None).unwrap();
    let both = Climate::fit(&full, Some(&NORMALS)).unwrap();
    assert_eq!((own.basis, both.basis), (Basis::Record, Basis::Both));
    for m in 0..12 {
        let days = [31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0][m];
        for climate in [&alone, &both] {
            assert_relative(climate.rain_mm_per_day[m] * days, NORMALS.rain_mm[m], 1e-9, "total of a month");
            let law = climate.months[m];
            assert_relative(law.wet_share() * law.mean_wet_mm * days, NORMALS.rain_mm[m], 1e-9, "by its law");
        }
    }
    assert_eq!(both.cv30, own.cv30);
    assert!(both.sampling_sd() < own.sampling_sd());
    let stopped = part(&full, day(2012, 1, 1), day(2014, 10, 1));
    let answer = ask(&stopped, Some(&both), Exposure::Runoff, EXACT, day(2014, 10, 31));
    // October of the normals has 88 mm, of which the wetting loss takes a few.
    assert!((70.0..86.0).contains(&answer.accumulated.expected_unread), "{:?}", answer.accumulated);
    let by_law = ask(&RainRecord::empty(), Some(&alone), Exposure::Runoff, EXACT, day(2014, 10, 31));
    assert!((75.0..88.0).contains(&by_law.accumulated.expected_unread), "{:?}", by_law.accumulated);
    assert!(by_law.notes.contains(&Note::NormalsOnly));
}

#[test]
fn bad_normals_are_named() {
    let mut bad = NORMALS;
    bad.rain_mm[4] = f64::NAN;
    match Climate::fit(&seattle(), Some(&bad)) {
        Err(ClimateError::BadNormals { name, month, .. }) => assert_eq!((name, month), ("rain_mm", 5)),
        other => panic!("{other:?}"),
    }
}

/// Awkward records: each gives a finite climate and a finite forecast.
#[test]
fn awkward_records() {
    let start = day(2010, 1, 1);
    let full = seattle();
    let cases: Vec<(&str, RainRecord)> = vec![
        // Too short to run a process over: years with rain on every day stand in.
        ("five months, every day wet", RainRecord::from_readings((0..151).map(|i| (start.plus(i), 2.0)))),
        ("every day wet", RainRecord::from_readings((0..800).map(|i| (start.plus(i), 5.0)))),
        (
            "one wet day",
            RainRecord::from_readings(
                (0..800).map(|i| (start.plus(i), f64::from(u8::from(i == 400)) * 30.0)),
            ),
        ),
        ("thirty days", RainRecord::from_readings((0..30).map(|i| (start.plus(i), f64::from(i % 4))))),
        (
            "every third day",
            RainRecord::from_readings((0..900).map(|i| (start.plus(3 * i), f64::from(i % 5)))),
        ),
        (
            "dry summers",
            RainRecord::from_readings((0..1500).map(|i| {
                let d = start.plus(i);
                (d, if (4..10).contains(&d.month0()) { 0.0 } else { f64::from(i % 3) * 6.0 })
            })),
        ),
        (
            "two far blocks",
            RainRecord::from_readings((0..200).chain(3000..3200).map(|i| (start.plus(i), f64::from(i % 7)))),
        ),
        ("traces only", RainRecord::from_readings((0..800).map(|i| (start.plus(i), 0.05)))),
        (
            "one February 29",
            RainRecord::from_readings(
                (0..1461)
                    .map(|i| (day(2012, 1, 1).plus(i), full.get(day(2012, 1, 1).plus(i)).unwrap()))
                    .filter(|(d, _)| d.ymd().1 != 2 || d.ymd().2 == 29),
            ),
        ),
    ];
    for (name, record) in cases {
        let climate = Climate::fit(&record, None).unwrap();
        for law in &climate.months {
            assert!((0.0..=1.0).contains(&law.p01) && (0.0..=1.0).contains(&law.p11), "{name}: {law:?}");
            assert!(law.mean_wet_mm >= 0.0 && law.mean_wet_mm.is_finite(), "{name}: {law:?}");
            assert!(law.cv2 >= 0.05 && law.cv2.is_finite(), "{name}: {law:?}");
        }
        for value in
            [climate.kappa_mm, climate.sigma_month, climate.sigma_year, climate.cv30, climate.sampling_sd()]
        {
            assert!(value.is_finite() && value >= 0.0, "{name}: {climate:?}");
        }
        for exposure in [
            Exposure::Runoff,
            Exposure::Leaves { screen_area_m2: 0.05 },
            Exposure::GutterLeaves { length_m: 20.0, guarded: false },
            Exposure::RoofLeaves,
            Exposure::Fills { chamber: Chamber::emptied(1.0) },
            Exposure::Grit { chamber: Chamber::emptied(1.0) },
            Exposure::Sediment {
                chamber: Some(Chamber::emptied(1.0)),
                floor_area_m2: 1.5,
                calmed_inlet: true,
            },
            Exposure::Ultraviolet {
                orientation: Orientation::Tilted45Equator,
                shade_share: 0.5,
                warmth: None,
            },
        ] {
            for log_sd in [0.0, 0.8] {
                let answer =
                    ask(&record, Some(&climate), exposure, Limit { median: 30.0, log_sd }, day(2018, 11, 3));
                assert!(
                    answer.accumulated.value.is_finite() && answer.accumulated.sd.is_finite(),
                    "{name} {exposure:?}"
                );
                assert!((0.0..=1.0).contains(&answer.chance.in_90_days), "{name} {exposure:?}");
                assert!(answer.curve().unwrap().len() <= 60, "{name}");
            }
        }
    }
}

#[test]
fn inputs_out_of_range_are_named() {
    let (site, roof, record) = (site(), roof(), seattle());
    let climate = Climate::fit(&record, None).unwrap();
    let good = Asked {
        site: &site,
        roof: &roof,
        record: &record,
        climate: Some(&climate),
        exposure: Exposure::Runoff,
        limit: EXACT,
        since: day(2014, 10, 1),
        as_of: day(2014, 12, 1),
        horizon_days: 365,
    };
    let name = |q: Asked<'_>| match forecast(&q) {
        Err(eavesward_engine::EngineError::OutOfRange { name, .. }) => name,
        other => panic!("{other:?}"),
    };
    assert!(forecast(&good).is_ok());
    assert_eq!(name(Asked { horizon_days: 0, ..good }), "horizon_days");
    assert_eq!(name(Asked { since: day(2014, 12, 2), ..good }), "days from since to as_of");
    assert_eq!(name(Asked { limit: Limit { median: 0.0, log_sd: 0.1 }, ..good }), "limit median");
    assert_eq!(name(Asked { limit: Limit { median: 1.0, log_sd: f64::NAN }, ..good }), "limit log_sd");
    let north = eavesward_engine::Site { latitude_deg: 91.0, ..site };
    assert_eq!(name(Asked { site: &north, ..good }), "latitude_deg");
    let none = eavesward_engine::Roof { coefficient: 0.0, ..roof };
    assert_eq!(name(Asked { roof: &none, ..good }), "coefficient");
    assert_eq!(name(Asked { exposure: Exposure::Leaves { screen_area_m2: 0.0 }, ..good }), "screen_area_m2");
}

#[test]
fn answers_cross_threads() {
    fn holds<T: Send + Sync>() {}
    holds::<Answer>();
    holds::<Climate>();
    holds::<RainRecord>();
}
