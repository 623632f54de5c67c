//! First-flush chambers with a history: blocked, drained by hand, dripping; and what that means to the tank below.
//!
//! Most play under [`storms`], of which one is like the other: each brings [`STORM_MM`] into a tank without a diverter. A
//! chamber of 1 mm over the roof keeps two fifths of it: half of what lies there comes with the first mm, and four fifths
//! of that stay in the chamber.

use super::scenario::{Place, component, duty, place, rain, storms};
use crate::support::app::{App, over_both};
use crate::support::day_in_words;
use serde_json::{Value, json};

over_both! {
    a_blocked_hole_lets_everything_into_the_tank_until_it_is_cleared;
    a_hole_found_open_again_is_taken_to_have_been_cleared;
    nobody_saw_the_day_on_which_it_blocked;
    a_chamber_emptied_by_hand_is_full_again_after_its_volume;
    a_chamber_drained_often_keeps_more_from_the_tank;
    water_that_stands_in_a_chamber_breeds_mosquitoes_where_it_is_warm;
    a_drip_counts_the_fills_of_its_chamber;
    what_an_old_diverter_let_through_stays_in_the_tank;
    a_low_outlet_is_told;
}

/// Sediment in mm that a storm brings: of 0.307947 g/m2 off 50 m2, four fifths settle on 1.5 m2, 100 kg to the m3.
const STORM_MM: f64 = 0.082_119_6;

fn tank() -> Value {
    component(
        "tank",
        json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0,
            "calmed_inlet": true}),
    )
}

fn diverter(emptying: Value) -> Value {
    let mut diverter =
        component("diverter", json!({"kind": "first_flush_diverter", "chamber_volume_l": 50.0}));
    diverter["part"]["emptying"] = emptying;
    diverter
}

fn weep_hole() -> Value {
    diverter(json!({"by": "weep_hole", "hole_mm": 2.0, "head_m": 1.0}))
}

fn by_hand() -> Value {
    diverter(json!({"by": "hand"}))
}

/// Under storms from June 2024 to the end of February 2026; the first one after the installation comes on 3 January.
async fn under_storms(app: &App, components: Value) -> Place {
    let place = place(app, components).await;
    storms(app, &place.gauge, "2024-06-01", 638).await;
    place
}

async fn seen(app: &App, place: &Place, on: &str, what: &str, done: bool, finding: Option<&str>) {
    let mut item = json!({"component_id": place.component("diverter"), "duty": what, "done": done});
    if let Some(found) = finding {
        item["finding"] = json!({"found": found});
    }
    place.visit(app, on, item).await;
}

async fn sediment(app: &App, place: &Place, as_of: &str) -> Value {
    duty(&place.forecast(app, as_of).await, "tank", "remove_sediment")
}

/// How much settled in the tank between two days, in mm.
async fn settled(app: &App, place: &Place, from: &str, to: &str) -> f64 {
    let accumulated = async |day: &str| number(&sediment(app, place, day).await["accumulated"]["value"]);
    accumulated(to).await - accumulated(from).await
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

fn said(duty: &Value) -> String {
    duty["reasons"].to_string()
}

/// Tallies come with six digits; a difference of two has fewer.
#[track_caller]
fn same(a: f64, b: f64) {
    assert!((a / b - 1.0).abs() < 1e-3, "{a} is not {b}");
}

async fn a_blocked_hole_lets_everything_into_the_tank_until_it_is_cleared(app: &App) {
    let blocked = under_storms(app, json!([weep_hole(), tank()])).await;
    let sound = under_storms(app, json!([weep_hole(), tank()])).await;
    let bare = under_storms(app, json!([tank()])).await;
    let before = sediment(app, &blocked, "2025-06-01").await;
    assert!(said(&before).contains("Assumes that the first-flush diverter works"), "{before}");
    assert!(!said(&sediment(app, &bare, "2025-06-01").await).contains("diverter"));
    seen(app, &blocked, "2025-06-01", "clear_weep_hole", false, Some("blocked")).await;
    let (found, cleared) = ("2025-06-01", "2025-09-01");
    // While it is blocked, as much settles as without a diverter.
    let open = sediment(app, &blocked, cleared).await;
    assert!(
        said(&open).contains("hole is blocked, so it keeps no dirt out of the tank until it is cleared"),
        "{open}"
    );
    let while_blocked = settled(app, &blocked, found, cleared).await;
    same(while_blocked, settled(app, &bare, found, cleared).await);
    // 92 days have 23 storms.
    same(while_blocked, 23.0 * STORM_MM);
    // Surface tension keeps 15 mm of the metre of water in, so that the chamber takes no more than 0.985 mm.
    same(
        settled(app, &sound, found, cleared).await,
        23.0 * STORM_MM * (1.0 - 0.8 * (1.0 - 0.5_f64.powf(0.9852))),
    );
    // A date comes sooner with all that is still to come in.
    let due = async |place: &Place| sediment(app, place, "2025-09-01").await["due_on"].to_string();
    assert!(due(&blocked).await < due(&sound).await);
    seen(app, &blocked, cleared, "clear_weep_hole", true, None).await;
    let after = sediment(app, &blocked, "2026-02-01").await;
    assert!(said(&after).contains("while its hole was found blocked"), "{after}");
    same(
        settled(app, &blocked, cleared, "2026-02-01").await,
        settled(app, &sound, cleared, "2026-02-01").await,
    );
    let accumulated =
        async |place: &Place| number(&sediment(app, place, "2026-02-01").await["accumulated"]["value"]);
    assert!(accumulated(&blocked).await > accumulated(&sound).await, "what came in stays in");
    // On a day before anybody found it, nobody knew.
    assert_eq!(
        sediment(app, &blocked, "2025-05-31").await["accumulated"],
        sediment(app, &sound, "2025-05-31").await["accumulated"]
    );
}

async fn a_hole_found_open_again_is_taken_to_have_been_cleared(app: &App) {
    let (looked, cleared) = (
        under_storms(app, json!([weep_hole(), tank()])).await,
        under_storms(app, json!([weep_hole(), tank()])).await,
    );
    for place in [&looked, &cleared] {
        seen(app, place, "2025-06-01", "clear_weep_hole", false, Some("blocked")).await;
    }
    seen(app, &looked, "2025-09-01", "clear_weep_hole", false, Some("nothing")).await;
    seen(app, &cleared, "2025-09-01", "clear_weep_hole", true, None).await;
    let (looked, cleared) =
        (sediment(app, &looked, "2026-02-01").await, sediment(app, &cleared, "2026-02-01").await);
    assert_eq!((&looked["accumulated"], &looked["reasons"]), (&cleared["accumulated"], &cleared["reasons"]));
}

async fn nobody_saw_the_day_on_which_it_blocked(app: &App) {
    // A drip that every storm fills: its limit is 120 fills, its log-sd 0.7. That it was reached within sixty has a chance of
    // 16.1 %, half of which is reached after 120 exp(-1.4016 x 0.7) = 44.99 fills. So the day of the 45th storm stands for
    // the day on which it blocked, and the 44 before it kept something from the tank. The limit of the hole itself counts all
    // sixty: what it was to take if it had stayed open.
    let drip = diverter(json!({"by": "drip", "litres_per_hour": 1.0}));
    let place = under_storms(app, json!([drip, tank()])).await;
    let fills = async |as_of: &str| {
        let one = duty(&place.forecast(app, as_of).await, "diverter", "clear_weep_hole");
        number(&one["accumulated"]["value"])
    };
    let accumulated = async |as_of: &str| number(&sediment(app, &place, as_of).await["accumulated"]["value"]);
    let on = "2025-08-28";
    assert_eq!(fills(on).await, 60.0);
    same(accumulated(on).await, 60.0 * 0.6 * STORM_MM);
    seen(app, &place, on, "clear_weep_hole", false, Some("blocked")).await;
    assert_eq!(fills(on).await, 60.0);
    let found = duty(&place.forecast(app, on).await, "diverter", "clear_weep_hole");
    assert_eq!(found["window"]["late_on"], on, "whatever its limit, it was passed by then");
    assert_eq!(
        (number(&found["lessons"][0]["accumulated_value"]), &found["chance_past_limit"]["today"]),
        (60.0, &json!(1.0))
    );
    // From the 45th on the tank got all of it, and gets all of the ten that come after.
    same(accumulated(on).await, (44.0 * 0.6 + 16.0) * STORM_MM);
    same(accumulated("2025-10-07").await, (44.0 * 0.6 + 26.0) * STORM_MM);
    assert_eq!(fills("2025-10-07").await, 70.0);
}

async fn a_chamber_emptied_by_hand_is_full_again_after_its_volume(app: &App) {
    // 50 L over 50 m2 are one mm of runoff.
    let place = place(app, json!([by_hand()])).await;
    rain(app, &place.gauge, "2024-06-01", 600, 2.0).await;
    rain(app, &place.gauge, "2026-01-22", 20, 0.0).await;
    let drain = async |as_of: &str| duty(&place.forecast(app, as_of).await, "diverter", "drain_diverter");
    let full = drain("2026-02-10").await;
    assert_eq!((&full["limit"]["value"], &full["limit"]["log_sd"]), (&json!(1.0), &json!(0.0)));
    assert_eq!((&full["decided_by"], &full["due_on"]), (&json!("prediction"), &json!("2025-01-02")));
    assert_eq!(full["chance_past_limit"]["today"], 1.0);
    seen(app, &place, "2026-01-25", "drain_diverter", true, None).await;
    let drained = drain("2026-02-10").await;
    assert_eq!((&drained["since"], &drained["accumulated"]["value"]), (&json!("2026-01-25"), &json!(0.0)));
    assert!(drained["due_on"].as_str().expect("a date") > "2026-02-10", "it has been dry since: {drained}");
    assert!(number(&drained["chance_past_limit"]["today"]) < 1.0, "{drained}");
    // The next rain fills it: 2 mm on a roof that has dried up, of which 0.9 x 1.5 mm run off.
    rain(app, &place.gauge, "2026-02-11", 1, 2.0).await;
    let again = drain("2026-02-11").await;
    assert_eq!(
        (&again["due_on"], &again["accumulated"]["value"]),
        (&json!("2026-02-11"), &json!(1.35)),
        "{again}"
    );
}

async fn a_chamber_drained_often_keeps_more_from_the_tank(app: &App) {
    let often = under_storms(app, json!([by_hand(), tank()])).await;
    let never = under_storms(app, json!([by_hand(), tank()])).await;
    let bare = under_storms(app, json!([tank()])).await;
    let weep = under_storms(app, json!([weep_hole(), tank()])).await;
    let first: chrono::NaiveDate = "2025-03-01".parse().expect("a date");
    for day in first.iter_days().take(31) {
        seen(app, &often, &day.to_string(), "drain_diverter", true, None).await;
    }
    let (from, to) = ("2025-03-01", "2025-04-01");
    let march = [
        settled(app, &often, from, to).await,
        settled(app, &never, from, to).await,
        settled(app, &bare, from, to).await,
        settled(app, &weep, from, to).await,
    ];
    // The eight storms of March and of 1 April. Nobody has drained it since it was installed: it is full and takes nothing.
    same(march[1], 8.0 * STORM_MM);
    same(march[2], 8.0 * STORM_MM);
    same(march[0], 8.0 * 0.6 * STORM_MM);
    assert!((march[0] / march[3] - 1.0).abs() < 0.02, "as one that empties itself: {march:?}");
    let reason = said(&sediment(app, &often, to).await);
    assert!(reason.contains("one chamber of water out of the tank each time it was drained"), "{reason}");
    // Nobody came again, and the tank fills as it would without: May has eight storms, too.
    same(settled(app, &often, "2025-05-01", "2025-06-01").await, 8.0 * STORM_MM);
}

async fn water_that_stands_in_a_chamber_breeds_mosquitoes_where_it_is_warm(app: &App) {
    // 181.2 degree-days over 8.3 C: at 25 C those of eleven days, and at 8 C none.
    for (mean_c, expected) in [(Some(25.0), Some("2025-01-13")), (Some(8.0), None), (None, None)] {
        let mut property = super::scenario::property();
        if let Some(mean_c) = mean_c {
            property["temperatures"] = json!({"mean_c": vec![mean_c; 12]});
        }
        let gauge = super::scenario::gauge();
        let place = super::scenario::place_with(app, &property, &gauge, json!([by_hand()])).await;
        rain(app, &place.gauge, "2024-06-01", 600, 5.0).await;
        let one = duty(&place.forecast(app, "2025-02-01").await, "diverter", "drain_diverter");
        assert_eq!(one["due_on"], "2025-01-02", "full after the first rain");
        match expected {
            Some(date) => {
                assert!(
                    said(&one).contains(&format!("Mosquitoes may have left it since {}", day_in_words(date))),
                    "{one}"
                );
            }
            None => assert!(!said(&one).contains("mosquito"), "{one}"),
        }
    }
}

async fn a_drip_counts_the_fills_of_its_chamber(app: &App) {
    // A chamber of 1 mm, of which 0.48 mm drip away in a day.
    let place = place(app, json!([diverter(json!({"by": "drip", "litres_per_hour": 1.0}))])).await;
    let fills = async |as_of: &str| {
        let one = duty(&place.forecast(app, as_of).await, "diverter", "clear_weep_hole");
        assert_eq!(
            (&one["accumulated"]["unit"], &one["accumulated"]["of"]),
            (&json!(""), &json!("fills of the chamber"))
        );
        assert_eq!(
            (&one["limit"]["prior_value"], &one["limit"]["unit"]),
            (&json!(120.0), &one["accumulated"]["unit"])
        );
        number(&one["accumulated"]["value"])
    };
    rain(app, &place.gauge, "2024-06-01", 245, 5.0).await;
    assert_eq!(fills("2025-01-31").await, 30.0, "every day fills it to the brim");
    // 0.4 mm a day on a wet roof are 0.36 mm of runoff: less than drips away.
    rain(app, &place.gauge, "2025-02-01", 28, 0.4).await;
    assert_eq!(fills("2025-02-28").await, 30.0);
    // A storm on every tenth day fills it once, however much falls.
    for (storm, mm) in [("2025-03-10", 20.0), ("2025-03-20", 60.0), ("2025-03-30", 4.0)] {
        rain(app, &place.gauge, storm, 1, mm).await;
    }
    rain(app, &place.gauge, "2025-03-01", 9, 0.0).await;
    rain(app, &place.gauge, "2025-03-11", 9, 0.0).await;
    rain(app, &place.gauge, "2025-03-21", 9, 0.0).await;
    assert_eq!(fills("2025-03-30").await, 33.0);
}

async fn what_an_old_diverter_let_through_stays_in_the_tank(app: &App) {
    let weep = under_storms(app, json!([weep_hole(), tank()])).await;
    seen(app, &weep, "2025-06-01", "clear_weep_hole", false, Some("blocked")).await;
    let hand = under_storms(app, json!([by_hand(), tank()])).await;
    seen(app, &hand, "2025-03-01", "drain_diverter", true, None).await;
    for (place, kept) in [(&weep, 0.8 * (1.0 - 0.5_f64.powf(0.9852))), (&hand, 0.0)] {
        let before = sediment(app, place, "2025-09-01").await;
        let old = place.component("diverter");
        let new = app.post(&format!("/v1/components/{old}/replace"), &json!({"on": "2025-09-01"})).await;
        let after = sediment(app, place, "2025-09-01").await;
        assert_eq!(after["accumulated"], before["accumulated"], "{after}");
        assert!(!said(&after).contains("is blocked"), "the blockage went with the old one: {after}");
        // A second change keeps what both had let through. One emptied by hand takes its first flush and is full again.
        let settled = settled(app, place, "2025-09-05", "2025-10-07").await;
        same(settled, 8.0 * STORM_MM * (1.0 - kept));
        let before = sediment(app, place, "2025-10-07").await;
        let id = super::scenario::id_of(&new);
        app.post(&format!("/v1/components/{id}/replace"), &json!({"on": "2025-10-07"})).await;
        assert_eq!(sediment(app, place, "2025-10-07").await["accumulated"], before["accumulated"]);
    }
}

async fn a_low_outlet_is_told(app: &App) {
    let outlet = async |height: f64| {
        let mut low = tank();
        low["part"]["outlet_height_mm"] = json!(height);
        let place = under_storms(app, json!([low])).await;
        let duty = sediment(app, &place, "2025-06-01").await;
        (number(&duty["limit"]["value"]), said(&duty))
    };
    let (limit, said) = outlet(30.0).await;
    assert_eq!(limit, 10.0);
    assert!(said.contains("The outlet is 30.0 mm above the floor, so sediment reaches it early"), "{said}");
    assert_eq!(outlet(0.0).await.0, 1.0);
    assert!(!outlet(100.0).await.1.contains("The outlet is"));
}
