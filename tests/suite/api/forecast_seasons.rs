//! What the year decides: frost by monthly minima, and the leaves of the trees over a roof.

use super::scenario::{Place, component, duty, gauge, id_of, place_with, property, rain, system};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    minima_tell_when_frost_comes_and_goes;
    the_southern_frost_comes_half_a_year_apart;
    colder_minima_drain_no_later_and_restart_no_earlier;
    where_no_frost_comes_no_date_is_given;
    the_days_somebody_gave_come_before_the_minima;
    without_a_canopy_the_ceiling_decides;
    more_trees_bring_the_date_forward;
    the_leaves_of_the_south_fall_half_a_year_apart;
    a_guarded_gutter_wants_clearing_later;
}

/// Cold winters of the north: the mean minimum crosses freezing at the beginning of November and of April.
const COLD: [f64; 12] = [-8.0, -7.0, -3.0, 2.0, 7.0, 11.0, 13.0, 12.0, 8.0, 3.0, -1.0, -6.0];

fn date(value: &Value) -> chrono::NaiveDate {
    value.as_str().and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("{value} is no date"))
}

fn said(duty: &Value) -> String {
    duty["reasons"].to_string()
}

fn day_of_year(value: &Value) -> i64 {
    i64::from(chrono::Datelike::ordinal(&date(value)))
}

#[track_caller]
fn within(on: &Value, from: &str, to: &str) {
    assert!((date(&json!(from))..=date(&json!(to))).contains(&date(on)), "{on} is not within {from} to {to}");
}

fn pipes(dates: Option<(Value, Value)>) -> Value {
    let mut pipes = component("pipes", json!({"kind": "exposed_pipework"}));
    if let Some((first, last)) = dates {
        pipes["part"]["first_frost"] = first;
        pipes["part"]["last_frost"] = last;
    }
    json!([pipes])
}

/// Drain and restart, as they are forecast in the summer of 2025.
async fn frost(app: &App, latitude_deg: f64, minima: Option<[f64; 12]>, pipes: Value) -> [Value; 2] {
    let mut property = property();
    property["latitude_deg"] = json!(latitude_deg);
    if let Some(minima) = minima {
        property["temperatures"] = json!({"mean_minimum_c": minima});
    }
    let place = place_with(app, &property, &gauge(), pipes).await;
    let forecast = place.forecast(app, "2025-07-20").await;
    ["drain_for_frost", "restart_after_frost"].map(|what| duty(&forecast, "pipes", what))
}

async fn minima_tell_when_frost_comes_and_goes(app: &App) {
    let [drain, restart] = frost(app, 48.0, Some(COLD), pipes(None)).await;
    assert_eq!((&drain["decided_by"], &restart["decided_by"]), (&json!("season"), &json!("season")));
    // Long before a usual night freezes and not in the height of summer; filled again once that is well over.
    within(&drain["due_on"], "2025-08-15", "2025-10-20");
    assert!(said(&drain).contains("by the monthly mean minima"), "{drain}");
    // In January it was installed; that spring's restart is past, and still stands as nobody has logged it.
    within(&restart["due_on"], "2025-04-15", "2025-06-15");
    assert!(said(&restart).contains("No frost is expected after"), "{restart}");
    for one in [&drain, &restart] {
        for absent in ["window", "accumulated", "limit", "tolerance", "next_finding", "clock", "best_day"] {
            assert_eq!(one[absent], Value::Null, "{absent}: {one}");
        }
    }
}

async fn the_southern_frost_comes_half_a_year_apart(app: &App) {
    let mut south = COLD;
    south.rotate_left(6);
    let north = frost(app, 48.0, Some(COLD), pipes(None)).await;
    let there = frost(app, -48.0, Some(south), pipes(None)).await;
    for (north, there) in north.iter().zip(&there) {
        let apart = (day_of_year(&north["due_on"]) - day_of_year(&there["due_on"])).rem_euclid(365);
        assert!((178..=187).contains(&apart), "{apart}: {north} {there}");
    }
}

async fn colder_minima_drain_no_later_and_restart_no_earlier(app: &App) {
    let mut before: Option<[Value; 2]> = None;
    for colder in [0.0, 1.5, 3.0] {
        let now = frost(app, 48.0, Some(COLD.map(|c| c - colder)), pipes(None)).await;
        if let Some([drain, restart]) = before {
            assert!(date(&now[0]["due_on"]) < date(&drain["due_on"]), "{colder}");
            assert!(date(&now[1]["due_on"]) > date(&restart["due_on"]), "{colder}");
        }
        before = Some(now);
    }
}

async fn where_no_frost_comes_no_date_is_given(app: &App) {
    for (minima, reason) in [
        (Some([20.0; 12]), "By the monthly mean minima, frost does not come here."),
        (Some([-20.0; 12]), "frost may come at any time of the year: leave the pipes drained"),
        (None, "temperatures.mean_minimum_c"),
    ] {
        for one in frost(app, 48.0, minima, pipes(None)).await {
            assert_eq!((&one["due_on"], &one["decided_by"]), (&Value::Null, &json!("nothing")), "{one}");
            assert!(said(&one).contains(reason), "{one}");
            assert!(said(&one).contains("No date can be given."), "{one}");
        }
    }
}

async fn the_days_somebody_gave_come_before_the_minima(app: &App) {
    let given = (json!({"month": 10, "day": 25}), json!({"month": 4, "day": 20}));
    for minima in [None, Some(COLD), Some([20.0; 12])] {
        let [drain, restart] = frost(app, 48.0, minima, pipes(Some(given.clone()))).await;
        assert_eq!((&drain["due_on"], &restart["due_on"]), (&json!("2025-10-11"), &json!("2025-04-20")));
        assert!(said(&drain).contains("from 25 October, by the days given"), "{drain}");
    }
}

/// Roof and gutter under trees, where the ceilings decide nothing.
async fn under_trees(app: &App, latitude_deg: f64, canopy: &str, share: f64, components: Value) -> Place {
    for what in ["clear_roof", "clear_gutter"] {
        let path = format!("/v1/duties/{what}");
        let version = app.get(&path).await["version"].as_i64().expect("a version");
        app.put(&path, version, &json!({"longest_interval_months": 240})).await.expect(200);
    }
    let mut place = property();
    place["latitude_deg"] = json!(latitude_deg);
    let property = id_of(&app.post("/v1/properties", &place).await);
    let gauge = id_of(&app.post("/v1/gauges", &gauge()).await);
    let mut facts = system(&property, &gauge, components);
    facts["roof"]["canopy"] = json!(canopy);
    facts["roof"]["canopy_share"] = json!(share);
    let system = app.post("/v1/systems", &facts).await;
    rain(app, &gauge, "2024-06-01", 639, 5.0).await;
    Place { property, gauge, system }
}

fn roof_and_gutter() -> Value {
    json!([
        component("roof", json!({"kind": "roof"})),
        component("gutter", json!({"kind": "gutter", "length_m": 12.0})),
    ])
}

async fn leaves(app: &App, place: &Place) -> [Value; 2] {
    let forecast = place.forecast(app, "2025-01-01").await;
    [("roof", "clear_roof"), ("gutter", "clear_gutter")].map(|(name, what)| duty(&forecast, name, what))
}

async fn without_a_canopy_the_ceiling_decides(app: &App) {
    let place = super::scenario::place(app, roof_and_gutter()).await;
    rain(app, &place.gauge, "2024-06-01", 639, 5.0).await;
    let [roof, gutter] = leaves(app, &place).await;
    for one in [&roof, &gutter] {
        assert_eq!(
            (&one["decided_by"], &one["due_on"]),
            (&json!("longest_interval"), &json!("2025-07-01")),
            "{one}"
        );
    }
    // The wind alone brings 0.02 kg/m2 a year: a roof has its 0.06 after three.
    within(&roof["window"]["likely_on"], "2027-10-01", "2028-03-31");
    // A gutter of 12 m gets a fifth of what falls on 50 m2: 0.0167 kg/m a year, and has its 0.06 after 3.6.
    within(&gutter["window"]["likely_on"], "2028-03-01", "2028-12-31");
}

async fn more_trees_bring_the_date_forward(app: &App) {
    let mut before: Option<[Value; 2]> = None;
    for share in [0.0, 0.1, 0.3, 1.0] {
        let place = under_trees(app, 48.0, "deciduous", share, roof_and_gutter()).await;
        let now = leaves(app, &place).await;
        for (index, one) in now.iter().enumerate() {
            assert_eq!(one["decided_by"], "prediction", "{one}");
            if let Some(before) = &before {
                assert!(date(&one["due_on"]) < date(&before[index]["due_on"]), "{share}: {one}");
            }
        }
        before = Some(now);
    }
}

async fn the_leaves_of_the_south_fall_half_a_year_apart(app: &App) {
    // Of a year's leaves under trees over a fifth of the roof (0.1 kg/m2, and 0.016 from the wind), 38 % fall by the end of
    // September in the north, and by the end of March in the south from their July on. From January on the roof has its
    // 0.06 kg/m2 in the autumn: about 10 October there, about 7 May here.
    let north = under_trees(app, 48.0, "deciduous", 0.2, roof_and_gutter()).await;
    let south = under_trees(app, -48.0, "deciduous", 0.2, roof_and_gutter()).await;
    let (north, south) = (leaves(app, &north).await, leaves(app, &south).await);
    within(&north[0]["due_on"], "2025-10-01", "2025-10-25");
    within(&south[0]["due_on"], "2025-04-25", "2025-05-20");
    assert!(date(&south[1]["due_on"]) < date(&north[1]["due_on"]), "{south:?} {north:?}");
    // Under evergreen trees of the south most falls in their summer, January; in the north that is July.
    let north = under_trees(app, 48.0, "evergreen_broadleaf", 0.2, roof_and_gutter()).await;
    let south = under_trees(app, -48.0, "evergreen_broadleaf", 0.2, roof_and_gutter()).await;
    let (north, south) = (leaves(app, &north).await, leaves(app, &south).await);
    assert!(date(&south[0]["due_on"]) < date(&north[0]["due_on"]), "{south:?} {north:?}");
}

async fn a_guarded_gutter_wants_clearing_later(app: &App) {
    let gutters = json!([
        component("open", json!({"kind": "gutter", "length_m": 12.0})),
        component("guarded", json!({"kind": "gutter", "length_m": 12.0, "guarded": true})),
        component("long", json!({"kind": "gutter", "length_m": 24.0})),
    ]);
    let place = under_trees(app, 48.0, "conifer", 0.3, gutters).await;
    let forecast = place.forecast(app, "2025-11-01").await;
    let [open, guarded, long] = ["open", "guarded", "long"].map(|name| duty(&forecast, name, "clear_gutter"));
    // Three tenths of the leaves get past a guard, and twice the length holds twice as much.
    let accumulated = |one: &Value| one["accumulated"]["value"].as_f64().expect("an accumulated figure");
    assert!((accumulated(&guarded) / accumulated(&open) - 0.3).abs() < 1e-4, "{guarded} {open}");
    assert!((accumulated(&long) / accumulated(&open) - 0.5).abs() < 1e-4, "{long} {open}");
    assert!(date(&open["due_on"]) < date(&long["due_on"]));
    assert!(date(&long["due_on"]) < date(&guarded["due_on"]));
}
