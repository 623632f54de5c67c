//! Two clocks of a coupling, the seal of a trap, the best day to empty a tank, and a cartridge.

use super::scenario::{Place, component, duty, gauge, place, place_with, property, rain};
use crate::support::app::{App, over_both};
use crate::support::day_in_words;
use serde_json::{Value, json};

over_both! {
    without_temperatures_a_coupling_ages_by_light_alone;
    at_25_degrees_and_out_of_the_light_a_day_ages_by_a_day;
    the_sooner_of_two_clocks_gives_the_date;
    a_seal_that_nothing_fills_lasts_for_its_depth;
    a_seal_is_filled_again_by_the_last_overflow;
    a_seal_that_has_gone_stays_due_on_the_day_it_went;
    the_deepest_seal_is_forecast_like_any_other;
    eggs_in_a_seal_become_mosquitoes_where_it_is_warm;
    the_tank_is_best_emptied_when_least_is_lost;
    a_best_day_needs_rain_and_a_window_within_two_years;
    a_cartridge_is_changed_at_the_chance_the_account_takes;
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn said(duty: &Value) -> String {
    duty["reasons"].to_string()
}

fn date(value: &Value) -> chrono::NaiveDate {
    value.as_str().and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("{value} is no date"))
}

/// Days from the installation to a date.
fn age(value: &Value) -> f64 {
    date(value).signed_duration_since(date(&json!("2025-01-01"))).num_days() as f64
}

/// A property whose months are all as warm as each other.
fn steady(mean_c: f64) -> Value {
    let mut property = property();
    property["temperatures"] = json!({"mean_c": vec![mean_c; 12]});
    property
}

fn coupling(material: &str, shade_share: f64) -> Value {
    json!([component(
        "coupling",
        json!({"kind": "coupling", "material": material, "shade_share": shade_share})
    )])
}

async fn rubber(app: &App, property: &Value, coupling: Value) -> Value {
    let place = place_with(app, property, &gauge(), coupling).await;
    duty(&place.forecast(app, "2025-01-01").await, "coupling", "replace_coupling")
}

async fn without_temperatures_a_coupling_ages_by_light_alone(app: &App) {
    let one = rubber(app, &property(), coupling("epdm", 0.0)).await;
    assert_eq!((&one["clock"], &one["decided_by"]), (&json!("light"), &json!("prediction")));
    assert_eq!(one["accumulated"]["unit"], "MJ/m2");
    assert!(!said(&one).contains("heat"), "{one}");
    let dark = rubber(app, &property(), coupling("epdm", 1.0)).await;
    assert_eq!((&dark["clock"], &dark["due_on"]), (&json!("light"), &Value::Null));
    // Minima are for frost, and say nothing of rubber.
    let mut cold = property();
    cold["temperatures"] = json!({"mean_minimum_c": vec![5.0; 12]});
    let mut same = rubber(app, &cold, coupling("epdm", 0.0)).await;
    same["component_id"] = one["component_id"].clone();
    assert_eq!(same, one);
}

async fn at_25_degrees_and_out_of_the_light_a_day_ages_by_a_day(app: &App) {
    // 5,000 and 20,000 days at 25 degrees C; at 35, EPDM ages exp(72 / 0.0083145 (1/298.15 - 1/308.15)) = 2.567 times as
    // fast.
    for (material, mean_c, days) in
        [("natural_or_sbr", 25.0, 5000.0), ("epdm", 25.0, 20_000.0), ("epdm", 35.0, 20_000.0 / 2.567)]
    {
        let one = rubber(app, &steady(mean_c), coupling(material, 1.0)).await;
        assert_eq!((&one["clock"], &one["decided_by"]), (&json!("heat"), &json!("prediction")), "{one}");
        assert_eq!(
            (&one["accumulated"]["unit"], &one["accumulated"]["of"]),
            (&json!("d"), &json!("ageing at 25 degrees C"))
        );
        // A month is not always as warm as its mean; over years that evens out.
        assert!((age(&one["due_on"]) / days - 1.0).abs() < 0.01, "{days}: {one}");
        assert!(said(&one).contains("Light alone would not make it due within 60 years"), "{one}");
        assert!(one["limit"]["source"].as_str().expect("a source").starts_with("judgement"));
    }
}

async fn the_sooner_of_two_clocks_gives_the_date(app: &App) {
    let cool = rubber(app, &steady(5.0), coupling("epdm", 0.0)).await;
    assert_eq!(cool["clock"], "light", "{cool}");
    assert!(said(&cool).contains("Heat alone would"), "{cool}");
    let hot = rubber(app, &steady(35.0), coupling("epdm", 0.0)).await;
    assert_eq!(hot["clock"], "heat", "{hot}");
    assert!(said(&hot).contains("Light alone would make it due on"), "{hot}");
    let shaded = rubber(app, &steady(35.0), coupling("epdm", 1.0)).await;
    assert_eq!(shaded["clock"], "heat", "{shaded}");
    // The sun warms what it shines on, and warmth helps the light along.
    assert!(date(&hot["due_on"]) < date(&shaded["due_on"]));
    assert!(date(&hot["due_on"]) < date(&cool["due_on"]));
    let mild = rubber(app, &steady(15.0), coupling("epdm", 0.0)).await;
    assert!(date(&mild["due_on"]) < date(&cool["due_on"]), "{mild}");
    // Each clock is held against its own limit.
    assert_eq!(
        (&cool["limit"]["prior_value"], &hot["limit"]["prior_value"]),
        (&json!(5000.0), &json!(20_000.0))
    );
}

fn trap(seal_depth_mm: f64) -> Value {
    component("trap", json!({"kind": "overflow_trap", "seal_depth_mm": seal_depth_mm}))
}

fn tank() -> Value {
    component(
        "tank",
        json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0}),
    )
}

fn evaporating(mm_per_day: f64) -> Value {
    let mut property = property();
    property["evaporation_mm_per_day"] = json!(vec![mm_per_day; 12]);
    property
}

async fn seal(app: &App, place: &Place, as_of: &str) -> Value {
    duty(&place.forecast(app, as_of).await, "trap", "check_trap")
}

async fn a_seal_that_nothing_fills_lasts_for_its_depth(app: &App) {
    // A chance of one in five is passed at exp(-0.8416 x 0.4) = 0.714 of the depth: after 17.9, 26.8 and 35.7 days.
    for (depth, evaporation, due) in [
        (75.0, 3.0, "2025-01-19"),
        (75.0, 2.0, "2025-01-28"),
        (150.0, 3.0, "2025-02-06"),
        (75.0, 0.1, "2026-01-01"),
    ] {
        let place = place_with(app, &evaporating(evaporation), &gauge(), json!([trap(depth)])).await;
        let one = seal(app, &place, "2025-01-05").await;
        assert_eq!(one["due_on"], due, "{one}");
        // A year at 0.1 mm a day takes half of it: the ceiling comes first.
        assert_eq!(one["decided_by"], if evaporation > 1.0 { "prediction" } else { "longest_interval" });
        assert_eq!(
            (&one["accumulated"]["value"], &one["limit"]["value"]),
            (&json!(4.0 * evaporation), &json!(depth))
        );
        assert!(said(&one).contains("It is not known when the tank overflows"), "{one}");
        assert!(!said(&one).contains("evaporation_mm_per_day"), "the figures are there: {one}");
        assert_eq!(
            (&one["clock"], &one["best_day"], &one["next_finding"]),
            (&Value::Null, &Value::Null, &Value::Null)
        );
    }
    // Without figures, three times the 2.5 mm a week of rooms: 75 mm in seventy days, as likely as not; fifty for the
    // tolerance of one in five.
    let place = place(app, json!([trap(75.0)])).await;
    let one = seal(app, &place, "2025-01-05").await;
    assert_eq!((&one["due_on"], &one["window"]["likely_on"]), (&json!("2025-02-20"), &json!("2025-03-12")));
    assert!(said(&one).contains("evaporation_mm_per_day"), "{one}");
    // Filled by hand it lasts as long again.
    let item = json!({"component_id": place.component("trap"), "duty": "check_trap", "done": true});
    place.visit(app, "2025-03-01", item).await;
    assert_eq!(seal(app, &place, "2025-03-01").await["due_on"], "2025-04-20");
    // An own tolerance moves it along the window.
    app.put("/v1/duties/check_trap", 0, &json!({"tolerance": 0.5})).await.expect(200);
    // The seventieth day takes the last of it but for rounding.
    let due = seal(app, &place, "2025-03-01").await["due_on"].clone();
    assert!(due == "2025-05-10" || due == "2025-05-11", "{due}");
}

async fn a_seal_is_filled_again_by_the_last_overflow(app: &App) {
    let mut last = Vec::new();
    for (evaporation, lost) in [(None, 19.0 * 7.5 / 7.0), (Some(2.0), 38.0), (Some(0.5), 9.5)] {
        let property = evaporation.map_or_else(property, evaporating);
        let place = place_with(app, &property, &gauge(), json!([tank(), trap(75.0)])).await;
        // Twenty mm a day are 900 L: the tank of 3,000 L overflows from its fourth day to 10 February.
        rain(app, &place.gauge, "2024-06-01", 620, 20.0).await;
        rain(app, &place.gauge, "2026-02-11", 19, 0.0).await;
        let one = seal(app, &place, "2026-03-01").await;
        assert!(said(&one).contains("last overflowed into the trap about 10 February 2026"), "{one}");
        assert!((number(&one["accumulated"]["value"]) / lost - 1.0).abs() < 1e-4, "{lost}: {one}");
        assert_eq!(said(&one).contains("evaporation_mm_per_day"), evaporation.is_none());
        assert!(!one["curve"].as_array().expect("a curve").is_empty());
        last.push((place, one));
    }
    let today = |index: usize| number(&last[index].1["chance_past_limit"]["in_90_days"]);
    assert!(
        today(1) >= today(0) && today(0) >= today(2) && today(1) > today(2),
        "more evaporates, sooner gone"
    );
    // Refilled by hand after that, it counts from then.
    let (place, before) = &last[1];
    let item = json!({"component_id": place.component("trap"), "duty": "check_trap", "done": true});
    place.visit(app, "2026-02-21", item).await;
    let one = seal(app, place, "2026-03-01").await;
    assert!(
        said(&one).contains(
            "last filled on 21 February 2026. By measured and expected rain the tank has not overflowed"
        ),
        "{one}"
    );
    assert_eq!(one["accumulated"]["value"], 16.0);
    let chance = |one: &Value| number(&one["chance_past_limit"]["in_30_days"]);
    assert!(chance(&one) <= chance(before), "{one}");
}

async fn a_seal_that_has_gone_stays_due_on_the_day_it_went(app: &App) {
    let place = place_with(app, &evaporating(1.1), &gauge(), json!([tank(), trap(75.0)])).await;
    rain(app, &place.gauge, "2024-06-01", 366, 20.0).await;
    rain(app, &place.gauge, "2025-06-02", 273, 0.0).await;
    // A chance of one in five is passed at 75 exp(-0.8416 x 0.4) = 53.6 mm, at 1.1 mm a day after 49 days: on 20 July. One
    // in ten, one half and nine in ten at 44.9, 75 and 125.2 mm.
    let ends = [("early_on", "2025-07-12"), ("likely_on", "2025-08-09"), ("late_on", "2025-09-23")];
    for as_of in ["2025-08-15", "2025-10-01", "2025-12-01"] {
        let one = seal(app, &place, as_of).await;
        assert!(said(&one).contains("last overflowed into the trap about 1 June 2025"), "{one}");
        assert_eq!(
            (&one["due_on"], &one["decided_by"]),
            (&json!("2025-07-20"), &json!("prediction")),
            "{as_of}"
        );
        for (end, on) in ends.iter().filter(|(_, on)| *on <= as_of) {
            assert_eq!(one["window"][end], *on, "{as_of} {end}");
        }
    }
    let late = seal(app, &place, "2025-08-15").await;
    assert!(late["window"]["late_on"].as_str().is_none_or(|on| on > "2025-08-15"), "{late}");
    // Just before that chance it lies ahead, as the tank may still overflow.
    let ahead = seal(app, &place, "2025-07-15").await;
    assert!(ahead["due_on"].as_str().expect("a date") >= "2025-07-20", "{ahead}");
    assert_eq!(ahead["window"]["early_on"], "2025-07-12");
    app.refresh().await;
    let task = place.task(app, "trap", "check_trap").await;
    assert_eq!((&task["due_on"], &task["state"]), (&json!("2025-07-20"), &json!("late")));
}

async fn the_deepest_seal_is_forecast_like_any_other(app: &App) {
    for components in [json!([trap(1000.0)]), json!([trap(1000.0), tank()])] {
        let place = place_with(app, &evaporating(20.0), &gauge(), components).await;
        rain(app, &place.gauge, "2024-06-01", 214, 5.0).await;
        rain(app, &place.gauge, "2025-01-01", 60, 0.0).await;
        let one = seal(app, &place, "2025-01-11").await;
        assert_eq!(
            (&one["limit"]["value"], &one["accumulated"]["value"]),
            (&json!(1000.0), &json!(200.0)),
            "{one}"
        );
    }
}

async fn eggs_in_a_seal_become_mosquitoes_where_it_is_warm(app: &App) {
    // 181.2 degree-days over 8.3 C: at 25 C those of eleven days.
    for (mean_c, depth, expected) in [(25.0, 75.0, Some("2025-01-16")), (8.0, 75.0, None), (25.0, 10.0, None)]
    {
        let mut property = steady(mean_c);
        property["evaporation_mm_per_day"] = json!(vec![2.5; 12]);
        let place = place_with(app, &property, &gauge(), json!([trap(depth)])).await;
        // After four days a seal of ten mm is dry: nothing breeds in it.
        let one = seal(app, &place, "2025-01-05").await;
        match expected {
            Some(out) => {
                assert!(
                    said(&one).contains(&format!(
                        "those from eggs laid today would fly about {}",
                        day_in_words(out)
                    )),
                    "{one}"
                );
            }
            None => assert!(!said(&one).contains("would fly about"), "{one}"),
        }
    }
    let unknown = place(app, json!([trap(75.0)])).await;
    assert!(!said(&seal(app, &unknown, "2025-01-05").await).contains("would fly about"));
}

/// Two years of wet winters and dry summers: 18 mm on every third day from November to March, nothing from May to
/// September.
async fn seasons(app: &App, gauge: &str) {
    let mm = |month: u32| match month {
        1..=3 | 11 | 12 => 18.0,
        4 | 10 => 6.0,
        _ => 0.0,
    };
    let first: chrono::NaiveDate = "2024-03-01".parse().expect("a date");
    let days = first.iter_days().zip(0..731_u32).map(|(date, n)| {
        let storm = if n.is_multiple_of(3) { mm(chrono::Datelike::month(&date)) } else { 0.0 };
        json!({"date": date, "rain_mm": storm})
    });
    let days: Vec<Value> = days.collect();
    app.send("PUT", &format!("/v1/gauges/{gauge}/rain"), &json!({"days": days})).await.expect(200);
}

fn low_tank(limit_mm: f64) -> Value {
    json!([component(
        "tank",
        json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 1999.0,
            "sediment_limit_mm": limit_mm}),
    )])
}

async fn the_tank_is_best_emptied_when_least_is_lost(app: &App) {
    let place = place(app, low_tank(12.0)).await;
    seasons(app, &place.gauge).await;
    let one = duty(&place.forecast(app, "2026-03-01").await, "tank", "remove_sediment");
    let (best, window) = (&one["best_day"], &one["window"]);
    let on = date(&best["on"]);
    assert!(on > date(&json!("2026-03-01")) && on >= date(&window["early_on"]), "{one}");
    assert!(on <= date(&window["late_on"]) && on <= date(&json!("2027-03-01")), "{one}");
    let [low, lost, high] =
        ["water_lost_low_l", "water_lost_l", "water_lost_high_l"].map(|field| number(&best[field]));
    assert!(0.0 <= low && low <= lost && lost <= high && high <= 3000.0, "{best}");
    // At 100 L a day a tank of 3,000 L is empty a month after the last rain, until the rain comes back in October.
    assert!((5..=10).contains(&chrono::Datelike::month(&on)), "{best}");
    assert!(lost < 300.0, "{best}");
    assert_eq!(best["in_wet_season"], false);
    assert!(said(&one).contains(&format!("likely lowest on {}", on.format("%-d %B %Y"))), "{one}");
    // It is advice beside the date, which stays that of the tolerance.
    assert_eq!(one["decided_by"], "prediction");
    assert!(one["due_on"].as_str() >= window["early_on"].as_str(), "{one}");
    // No other duty has one, for none empties the tank.
    let forecast = place.forecast(app, "2026-03-01").await;
    let others =
        forecast["duties"].as_array().expect("duties").iter().filter(|one| one["best_day"].is_object());
    assert_eq!(others.count(), 1);
}

async fn a_best_day_needs_rain_and_a_window_within_two_years(app: &App) {
    let dry = place(app, low_tank(12.0)).await;
    let unknown = duty(&dry.forecast(app, "2026-03-01").await, "tank", "remove_sediment");
    assert_eq!((&unknown["best_day"], &unknown["window"]), (&Value::Null, &Value::Null));
    let far = place(app, low_tank(100.0)).await;
    seasons(app, &far.gauge).await;
    let one = duty(&far.forecast(app, "2026-03-01").await, "tank", "remove_sediment");
    assert!(one["window"]["early_on"].as_str().expect("a date") > "2028-03-01", "{one}");
    assert_eq!(one["best_day"], Value::Null);
    assert!(!said(&one).contains("likely lowest"), "{one}");
}

async fn a_cartridge_is_changed_at_the_chance_the_account_takes(app: &App) {
    let filter = component("filter", json!({"kind": "cartridge_filter", "rated_volume_l": 30_000.0}));
    let place = place(app, json!([filter])).await;
    let path = "/v1/duties/change_cartridge";
    let mut dues = Vec::new();
    for (version, tolerance, end) in [(0, 0.1, "early_on"), (1, 0.5, "likely_on"), (2, 0.9, "late_on")] {
        let own = json!({"tolerance": tolerance, "longest_interval_months": 240});
        app.put(path, version, &own).await.expect(200);
        let one = duty(&place.forecast(app, "2025-01-01").await, "filter", "change_cartridge");
        assert_eq!(
            (&one["due_on"], &one["decided_by"]),
            (&one["window"][end], &json!("prediction")),
            "{one}"
        );
        assert_eq!(one["tolerance"], tolerance);
        dues.push(age(&one["due_on"]));
    }
    // 30,000 L at 100 L a day are 300 days. Water differs by a log-sd of 0.3, and what is drawn by 0.2 a year and a month:
    // some 0.36 together, so that the ends lie at exp(1.28 x 0.36) = 1.6 times and a 1.6th.
    assert!((dues[1] / 300.0 - 1.0).abs() < 0.04, "{dues:?}");
    assert!((1.45..1.75).contains(&(dues[1] / dues[0])), "{dues:?}");
    assert!((1.45..1.75).contains(&(dues[2] / dues[1])), "{dues:?}");
    // What draws nothing uses nothing up, at any tolerance.
    let mut facts = super::scenario::system(&place.property, &place.gauge, json!([]));
    facts.as_object_mut().expect("an object").remove("components");
    facts["demand_l_per_day"] = json!(0.0);
    app.put(&format!("/v1/systems/{}", place.system_id()), 1, &facts).await.expect(200);
    let idle = duty(&place.forecast(app, "2025-01-01").await, "filter", "change_cartridge");
    assert_eq!(
        (&idle["due_on"], &idle["decided_by"]),
        (&json!("2045-01-01"), &json!("longest_interval")),
        "{idle}"
    );
    assert_eq!((&idle["window"], &idle["accumulated"]["value"]), (&Value::Null, &json!(0.0)));
}
