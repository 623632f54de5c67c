//! What rain does: diverters, screen, gutter, tank.

use eavesward_engine::exposure::{bed_depth_mm, litter_kg_m2, monthly_leaf_share, trap_efficiency};
use eavesward_engine::first_flush::{MIXING, WASH_OFF_PER_MM, diverted_share, washed_share};
use eavesward_engine::hydraulics::{Drain, circle_m2, pinhole_minimum_head_m};
use eavesward_engine::limit::{
    USUAL_SEDIMENT_MM, gutter, hand_emptied_chamber, screen, tank_sediment, weep_hole_chamber,
};
use eavesward_engine::tank::{Levels, Store, Tank, best_day, wet_season_start};
use eavesward_engine::washoff::{BUILD_UP_PER_DAY, BuildUp, Ledger, MOST_G_M2, WashoffLaw};
use eavesward_engine::{Canopy, Chamber, Day, Exposure, Gauge, Roof, Site, Stretch};

use super::super::{assert_relative, assert_within};
use super::page::{Section, date, month_name};
use super::{ANYWHERE, EIGHTY, asked, bare, gauge_of, metered, normal_below, normal_quantile, window};

const DRUM: &str = "drum: plan section, height of water, hole";
const STORM: &str = "each storm: dry days before it, runoff";

#[test]
fn hand_emptied_diverter() {
    let mut page = Section::of("1. ");
    let [area, coefficient, wetting_loss_mm] = page.some("roof: plan area, coefficient, wetting loss");
    let roof = Roof { coefficient, wetting_loss_mm, ..bare(area) };
    let drained = page.day("drained and rinsed");
    let gauge = gauge_of(drained.plus(1), page.list("rain of the days after, mm"));
    let limit = hand_emptied_chamber(page.given("chamber"), area).unwrap().limit;
    page.says(format!("{} mm", limit.median));
    metered((&ANYWHERE, &roof, &gauge), Exposure::Runoff, |meter| {
        let accumulated = |n: i32| meter.accumulated(drained, drained.plus(n)).unwrap().value;
        for n in 1..=4 {
            page.says(format!("{:.2} mm", accumulated(n) - accumulated(n - 1)));
            page.says(format!("{:.2} mm", accumulated(n)));
        }
        let full = window(&asked(meter, limit, drained, gauge.record().last().unwrap()));
        page.says(date(full[0]));
        assert_eq!([full[1], full[2]], [full[0]; 2]);
        assert!(accumulated(3) < limit.median && full[0] == drained.plus(4));
    });
    page.ends();
}

/// A vessel of a plan section in m2 with a hole of a diameter in mm, that drains to a head in m.
fn drain(page: &Section, section_m2: f64, hole_mm: f64, minimum_head_m: f64) -> Drain {
    let discharge = page.given("discharge coefficient");
    Drain { section_m2, hole_m2: circle_m2(hole_mm / 1000.0), discharge, minimum_head_m }
}

/// Readings with a number of storms, each after its dry days.
fn storms(since: Day, dry_days: f64, runoff_mm: f64, count: usize) -> Gauge {
    let cycle = dry_days as usize + 1;
    gauge_of(since.plus(1), (1..=cycle * count).map(|n| if n % cycle == 0 { runoff_mm } else { 0.0 }))
}

fn emptying(page: &mut Section) {
    let minutes = |drain: Drain, from: f64, to: f64| drain.seconds(from, to).unwrap().unwrap() / 60.0;
    let [bore, height, hole] = page.some("pipe: bore, height of water, hole");
    let section = circle_m2(bore / 1000.0);
    page.says(format!("{section:.5} m2"));
    page.says(format!("{:.1} L", section * height * 1000.0));
    page.says(format!("{:.8} m2", circle_m2(hole / 1000.0)));
    let pipe = drain(page, section, hole, 0.0);
    page.says(format!("{:.0} min", minutes(pipe, height, 0.0)));

    let [section, height, hole] = page.some(DRUM);
    let time = minutes(drain(page, section, hole, 0.0), height, 0.0);
    page.says(format!("{:.0} L", section * height * 1000.0));
    page.says(format!("{:.8} m2", circle_m2(hole / 1000.0)));
    page.says(format!("{time:.0} min"));
    page.says(format!("{:.1} hours", time / 60.0));
    let fouled = minutes(drain(page, section, hole / 2.0, 0.0), height, 0.0);
    assert_relative(fouled, 4.0 * time, 1e-12, "half the diameter");
    page.says(format!("{:.0} hours", fouled / 60.0));
    let head = pinhole_minimum_head_m(hole / 1000.0);
    page.says(format!("{:.1} mm", head * 1000.0));
    page.says(format!("{:.1} L", section * head * 1000.0));
    let held = drain(page, section, hole, head);
    assert_eq!(held.seconds(height, 0.0).unwrap(), None);
    page.says(format!("{:.1} hours", minutes(held, height, head) / 60.0));
}

#[test]
fn weep_hole_diverter() {
    let mut page = Section::of("2. ");
    emptying(&mut page);

    let area = page.given("roof, plan area");
    let [dry, runoff] = page.some(STORM);
    let (since, count) = (page.day("last cleared"), 100);
    let gauge = storms(since, dry, runoff, count);
    let at_first = 0.35 * MOST_G_M2;
    page.says(format!("{at_first:.2} g/m2"));
    let [section, height, hole] = page.some(DRUM);
    let flush = section * height * 1000.0 / area;
    page.says(format!("{flush:.0} mm"));
    assert_within(
        MIXING * washed_share(WASH_OFF_PER_MM, flush),
        0.6,
        1e-12,
        "share that stays in the chamber",
    );
    page.says(format!("{:.3}", (-BUILD_UP_PER_DAY * (dry + 1.0)).exp()));

    let limit = weep_hole_chamber(section, hole).unwrap().limit;
    let chamber = Chamber::emptied(flush);
    metered((&ANYWHERE, &bare(area), &gauge), Exposure::Grit { chamber }, |meter| {
        let mut roof = BuildUp::holding(WashoffLaw::roof(), at_first).unwrap();
        let accumulated =
            |storm: i32| meter.accumulated(since, since.plus(storm * (dry as i32 + 1))).unwrap().value;
        for storm in 1..=3 {
            page.says(date(since.plus(storm * (dry as i32 + 1))));
            roof.lay_for(dry + 1.0);
            page.says(format!("{:.2}", roof.held()));
            assert_relative(
                accumulated(storm) - accumulated(storm - 1),
                0.6 * roof.held() * area,
                1e-9,
                "stays in the chamber",
            );
            page.says(format!("{:.1}", accumulated(storm) - accumulated(storm - 1)));
            page.says(format!("{:.1}", accumulated(storm)));
            roof.wash(runoff);
            page.says(format!("{:.2}", roof.held()));
        }
        let last = count as i32;
        page.says(format!("{:.1} g", accumulated(last) - accumulated(last - 1)));
        page.says(format!("{:.0} g", limit.median));
        let answer = asked(meter, limit, since, gauge.record().last().unwrap());
        let likely = window(&answer)[1];
        page.says(format!("{}th", likely.since(since) / (dry as i32 + 1)));
        page.says(date(likely));
        page.says(format!("{:.0} g", limit.median * (-EIGHTY * limit.log_sd).exp()));
        page.says(date(answer.day_of_chance(0.2).unwrap()));

        let found = page.day("found blocked");
        let by_visit = meter.accumulated(since, found).unwrap().value;
        page.says(format!("{by_visit:.0} g"));
        let z = (by_visit / limit.median).ln() / limit.log_sd;
        let by_then = answer.chance_by(found).unwrap();
        assert_within(by_then, normal_below(z), 1e-9, "chance by the day of the visit");
        page.says(format!("{z:.3}"));
        page.says(format!("{:.0} %", by_then * 100.0));
        page.says(format!("{:.0} %", by_then * 50.0));
        let half = normal_quantile(by_then / 2.0);
        page.says(format!("{half:.3}"));
        page.says(format!("{:.0} g", limit.median * (half * limit.log_sd).exp()));
        page.says(date(meter.reached_before(limit, since, found).unwrap().unwrap()));
    });
    page.ends();
}

#[test]
fn screen_and_gutter() {
    let mut page = Section::of("3. ");
    let site = Site { latitude_deg: page.given("latitude"), elevation_m: 0.0 };
    let share = page.given("share of it under deciduous trees");
    let area = page.given("roof, plan area");
    let roof = Roof { canopy: Canopy::Deciduous, canopy_share: share, ..bare(area) };
    let cleaned = page.day("cleaned, after rain");
    let rainy: Vec<i32> = page.list("days of October with runoff").iter().map(|day| *day as i32).collect();
    let first = cleaned.plus(-29);
    let rain = |n: i32| if n == 29 || rainy.contains(&(n - 29)) { 5.0 } else { 0.0 };
    let gauge = gauge_of(first, (0..60).map(rain));

    let october = litter_kg_m2(&roof, &site, 9);
    page.says(format!("{:.4} kg/m2", october * 31.0));
    page.says(format!("{:.3} kg", october * area));
    let exposure = Exposure::Leaves { screen_area_m2: page.given("screen") };
    let limit = screen().limit;
    metered((&site, &roof, &gauge), exposure, |meter| {
        let accumulated = |day: i32| meter.accumulated(cleaned, cleaned.plus(day)).unwrap().value;
        let a_day = accumulated(rainy[0]) / f64::from(rainy[0]);
        page.says(format!("{a_day:.4} kg/m2"));
        page.says(format!("{:.0}", limit.median / a_day));
        let january = a_day * litter_kg_m2(&roof, &site, 0) / october;
        assert_eq!(monthly_leaf_share(Canopy::Deciduous, site.latitude_deg, 0), 0.02);
        page.says(format!("{:.0}", limit.median / january));
        for day in &rainy {
            page.says(format!("{:.3}", accumulated(*day)));
            assert_relative(accumulated(*day), a_day * f64::from(*day), 1e-9, "moved by runoff");
        }
        let answer = asked(meter, limit, cleaned, gauge.record().last().unwrap());
        page.says(date(window(&answer)[1]));
    });

    let length_m = page.given("gutter");
    let (open, guarded) = [false, true]
        .map(|guarded| {
            let exposure = Exposure::GutterLeaves { length_m, guarded };
            metered((&site, &roof, &gauge), exposure, |meter| {
                meter.accumulated(cleaned, cleaned.plus(rainy[0])).unwrap().value / f64::from(rainy[0])
            })
        })
        .into();
    page.says(format!("{open:.5} kg/m"));
    page.says(format!("{:.3} kg/m", open * 31.0));
    let limit = gutter().limit.median;
    page.says(format!("{limit} kg/m"));
    let days = [31.0, 28.25, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
    let year: f64 = (0..12).map(|m| litter_kg_m2(&roof, &site, m) * days[m]).sum();
    page.says(format!("{:.3} kg/m", year * open / october));
    page.says(format!("{:.1}", year * open / october / limit));
    assert_within(open * 31.0 / limit, 0.5, 0.03, "half of a filling in October");
    page.says(format!("{:.1}", year * guarded / october / limit));
    page.ends();
}

/// The first storm of the tank's example, and where its solids go.
fn one_storm(page: &mut Section, [dry, runoff]: [f64; 2], flush: f64, to_depth: f64) {
    let mut roof = BuildUp::holding(WashoffLaw::roof(), 0.35 * MOST_G_M2).unwrap();
    roof.lay_for(dry + 1.0);
    let lying = roof.held();
    assert_within(lying, 0.41, 0.005, "g/m2 as printed");
    let share = MIXING * diverted_share(WASH_OFF_PER_MM, flush, runoff);
    let mut books = Ledger::default();
    // The solids of the day are on the roof.
    let day = WashoffLaw::roof().building_up_below(0.0).unwrap();
    let mut washing = BuildUp::holding(day, lying).unwrap();
    books.day(&mut washing, runoff, share, trap_efficiency(true));
    let roof = washing;
    page.says(format!("{:.2} g/m2", books.washed));
    page.says(format!("{:.2} g/m2", books.diverted));
    page.says(format!("{:.0} %", share * 100.0));
    page.says(format!("{:.2} g/m2", books.washed - books.diverted));
    page.says(format!("{:.3} g/m2", books.trapped));
    page.says(format!("{:.3} g/m2", books.passed));
    assert_within(books.imbalance(lying, roof.held()), 0.0, 1e-12, "g/m2");
    assert_within(books.diverted + books.trapped + books.passed + roof.held(), 0.41, 0.005, "the same again");
    page.says(format!("{to_depth} mm"));
    page.says(format!("{:.3} mm", books.trapped * to_depth));
}

#[test]
fn tank_sediment_by_storms() {
    let mut page = Section::of("4. ");
    let before = Section::of("2. ");
    let area = before.given("roof, plan area");
    let [section, height, _] = before.some(DRUM);
    let [floor, outlet] = page.some("tank: floor, lowest outlet above it");
    let flush = section * height * 1000.0 / area;
    // 40 mm of runoff at 25 mg/L are a gram per m2.
    let to_depth = bed_depth_mm(40.0, 1.0, 1.0, area / floor);
    let [dry, runoff] = before.some(STORM);
    one_storm(&mut page, [dry, runoff], flush, to_depth);

    let since = page.day("floor last clean");
    let cycle = dry as i32 + 1;
    let count = 1500;
    let gauge = storms(since, dry, runoff, count as usize);
    let grown = washed_share(BUILD_UP_PER_DAY, dry + 1.0);
    let lying = MOST_G_M2 * grown / (1.0 - (1.0 - grown) / 8.0);
    page.says(format!("{lying:.2} g/m2"));
    let each = (7.0 / 8.0 - 0.6) * lying * trap_efficiency(true) * to_depth;
    page.says(format!("{each:.4} mm"));

    let limit = tank_sediment(USUAL_SEDIMENT_MM, Some(outlet)).limit;
    page.says(format!("{} mm", limit.median));
    page.says(format!("{:.1}", limit.median / each * f64::from(cycle) / 365.25));
    let exposure = |blocked| {
        let chamber = Some(Chamber { blocked, ..Chamber::emptied(flush) });
        Exposure::Sediment { chamber, floor_area_m2: floor, calmed_inlet: true }
    };
    let as_of = gauge.record().last().unwrap();
    let roof = bare(area);
    let likely = metered((&ANYWHERE, &roof, &gauge), exposure(&[]), |meter| {
        let accumulated = |storm: i32| meter.accumulated(since, since.plus(storm * cycle)).unwrap().value;
        assert_relative(accumulated(count) - accumulated(count - 1), each, 1e-9, "mm a storm in the end");
        let answer = asked(meter, limit, since, as_of);
        let likely = window(&answer)[1];
        assert_eq!(likely.since(since) % cycle, 0);
        page.says(format!("{}th", likely.since(since) / cycle));
        page.says(date(likely));
        page.says(format!("{:.1} mm", limit.median * (-EIGHTY * limit.log_sd).exp()));
        page.says(date(answer.day_of_chance(0.2).unwrap()));
        likely
    });
    let blocked = [Stretch { from: since, to: None }];
    metered((&ANYWHERE, &roof, &gauge), exposure(&blocked), |meter| {
        let accumulated = |storm: i32| meter.accumulated(since, since.plus(storm * cycle)).unwrap().value;
        page.says(format!("{:.2} mm", accumulated(count) - accumulated(count - 1)));
        let sooner = window(&asked(meter, limit, since, as_of))[1];
        page.says(date(sooner));
        page.says(format!("{:.1}", f64::from(likely.since(since)) / f64::from(sooner.since(since))));
    });
    best_day_of_a_week(page);
}

fn best_day_of_a_week(mut page: Section) {
    let [capacity, drawn] = page.some("best day: capacity, drawn a day");
    let tank = Tank::new(capacity, drawn).unwrap();
    let mut ways: [(Store, Vec<f64>, Vec<f32>); 2] =
        ["inflow of that week, L", "inflow if the second storm fails, L"]
            .map(|name| (tank.empty(), page.list(name), Vec::new()));
    let days = ways[0].1.len();
    for n in 0..days {
        for (way, (store, inflow, levels)) in ways.iter_mut().enumerate() {
            let flow = store.day(inflow[n]);
            levels.push(store.held_l() as f32);
            page.says(format!("{:.0}", store.held_l()));
            if way == 0 {
                page.says(format!("{:.0}", flow.spill_l));
            }
        }
        page.says(format!("{:.0}", f64::midpoint(ways[0].0.held_l(), ways[1].0.held_l())));
    }
    let inflow = page.some("usual inflow of a day, January first, L");
    page.says(month_name(wet_season_start(&inflow)));
    let held_l: Vec<f32> = ways.into_iter().flat_map(|(_, _, levels)| levels).collect();
    let levels = Levels { first: page.day("a week from"), days, held_l: &held_l };
    let best = best_day(&tank, &levels, &inflow).unwrap();
    assert!(!best.in_wet_season);
    page.says(date(best.day));
    for litres in [best.lost_l, best.lost_low_l, best.lost_high_l] {
        page.says(format!("{litres:.0} L"));
    }
    page.ends();
}
