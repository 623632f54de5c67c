//! What a property's months are like but for its rain: temperatures and evaporation.

use super::scenario::{id_of, property, roof, three};
use crate::support::app::{App, over_both};
use serde_json::{Value, json};

over_both! {
    months_come_back_as_they_were_sent;
    each_list_is_optional_and_a_change_replaces_all;
    wrong_months_are_refused_by_their_path;
    a_sketch_takes_the_same_months;
}

const MEAN: [f64; 12] = [-3.5, -2.25, 1.0, 6.1, 11.3, 14.7, 16.9, 16.5, 12.8, 8.2, 2.6, -1.9];
const MINIMUM: [f64; 12] = [-7.1, -6.3, -3.0, 1.2, 5.9, 9.4, 11.5, 11.2, 8.0, 4.3, -0.6, -5.2];
const EVAPORATION: [f64; 12] = [0.0, 0.3, 0.9, 1.7, 2.8, 3.5, 3.7, 3.1, 2.0, 1.0, 0.4, 0.1];

fn with(months: &Value) -> Value {
    let mut body = property();
    body.as_object_mut().expect("an object").extend(months.as_object().expect("an object").clone());
    body
}

async fn months_come_back_as_they_were_sent(app: &App) {
    // The outermost that are believed, and a minimum that is the mean.
    let outermost = json!({"temperatures": {"mean_c": vec![50.0; 12], "mean_minimum_c": vec![-60.0; 12]},
        "evaporation_mm_per_day": vec![30.0; 12]});
    let even = json!({"temperatures": {"mean_c": MEAN, "mean_minimum_c": MEAN}, "evaporation_mm_per_day": vec![0.0; 12]});
    let usual = json!({"temperatures": {"mean_c": MEAN, "mean_minimum_c": MINIMUM}, "evaporation_mm_per_day": EVAPORATION});
    for months in [usual, even, outermost] {
        let made = app.post("/v1/properties", &with(&months)).await;
        for (field, sent) in months.as_object().expect("an object") {
            assert_eq!(&made[field], sent, "{field}");
        }
        assert_eq!(app.get(&format!("/v1/properties/{}", id_of(&made))).await, made);
        assert!(app.walk("/v1/properties", 100).await.contains(&made));
    }
}

async fn each_list_is_optional_and_a_change_replaces_all(app: &App) {
    let made = app.post("/v1/properties", &property()).await;
    assert_eq!((&made["temperatures"], &made["evaporation_mm_per_day"]), (&Value::Null, &Value::Null));
    let path = format!("/v1/properties/{}", id_of(&made));
    for (version, months) in (1..).zip([
        json!({"temperatures": {"mean_c": MEAN}}),
        json!({"temperatures": {"mean_minimum_c": MINIMUM}, "evaporation_mm_per_day": EVAPORATION}),
        json!({"evaporation_mm_per_day": EVAPORATION}),
        json!({}),
    ]) {
        let changed = app.put(&path, version, &with(&months)).await.expect(200);
        for field in ["temperatures", "evaporation_mm_per_day"] {
            assert_eq!(&changed[field], months.get(field).unwrap_or(&Value::Null), "{field}: {months}");
        }
        assert_eq!(app.get(&path).await, changed);
    }
    // Nothing said in more words.
    let empty =
        json!({"temperatures": {"mean_c": null, "mean_minimum_c": null}, "evaporation_mm_per_day": null});
    for empty in [empty, json!({"temperatures": {}}), json!({"temperatures": null})] {
        let made = app.post("/v1/properties", &with(&empty)).await;
        assert_eq!((&made["temperatures"], &made["evaporation_mm_per_day"]), (&Value::Null, &Value::Null));
    }
}

/// Months that are wrong, and the fields that are refused.
fn wrongs() -> Vec<(Value, Vec<&'static str>)> {
    let put = |mut months: [f64; 12], month: usize, value: f64| {
        months[month] = value;
        json!(months)
    };
    vec![
        (json!({"temperatures": {"mean_c": []}}), vec!["temperatures.mean_c"]),
        (
            json!({"temperatures": {"mean_c": vec![1.0; 11], "mean_minimum_c": vec![1.0; 13]}}),
            vec!["temperatures.mean_c", "temperatures.mean_minimum_c"],
        ),
        (json!({"temperatures": {"mean_c": put(MEAN, 0, -60.1)}}), vec!["temperatures.mean_c[0]"]),
        (json!({"temperatures": {"mean_c": put(MEAN, 11, 50.1)}}), vec!["temperatures.mean_c[11]"]),
        (
            json!({"temperatures": {"mean_minimum_c": put(MINIMUM, 4, 51.0)}}),
            vec!["temperatures.mean_minimum_c[4]"],
        ),
        (
            json!({"temperatures": {"mean_c": MEAN, "mean_minimum_c": put(MINIMUM, 6, 16.95)}}),
            vec!["temperatures.mean_minimum_c[6]"],
        ),
        (json!({"evaporation_mm_per_day": [1.0]}), vec!["evaporation_mm_per_day"]),
        (json!({"evaporation_mm_per_day": put(EVAPORATION, 2, -0.1)}), vec!["evaporation_mm_per_day[2]"]),
        (json!({"evaporation_mm_per_day": put(EVAPORATION, 7, 30.1)}), vec!["evaporation_mm_per_day[7]"]),
        (
            json!({"temperatures": {"mean_c": [1.0]}, "evaporation_mm_per_day": []}),
            vec!["temperatures.mean_c", "evaporation_mm_per_day"],
        ),
    ]
}

async fn wrong_months_are_refused_by_their_path(app: &App) {
    let path = format!("/v1/properties/{}", id_of(&app.post("/v1/properties", &property()).await));
    for (months, fields) in wrongs() {
        let reply = app.send("POST", "/v1/properties", &with(&months)).await;
        assert_eq!(
            (reply.status, reply.fields("invalid")),
            (422, fields.iter().map(|f| (*f).to_owned()).collect())
        );
        assert_eq!(app.put(&path, 1, &with(&months)).await.fields("invalid"), fields);
    }
    let short =
        app.send("POST", "/v1/properties", &with(&json!({"evaporation_mm_per_day": [1.0, 2.0]}))).await;
    assert!(short.text.contains("it has 2 values; give twelve, January first"), "{}", short.text);
    let above = json!({"temperatures": {"mean_c": vec![3.0; 12], "mean_minimum_c": vec![4.0; 12]}});
    let reply = app.send("POST", "/v1/properties", &with(&above)).await;
    assert_eq!(reply.fields("invalid").len(), 12);
    assert!(reply.text.contains("a mean minimum of 4 is above the month's mean of 3"), "{}", reply.text);
    for (months, field) in [
        (json!({"temperatures": {"mean_c": [1, "x"]}}), "temperatures.mean_c[1]"),
        (json!({"temperatures": {"mean_f": MEAN}}), "temperatures.mean_f"),
        (json!({"temperatures": MEAN}), "temperatures"),
        (json!({"evaporation_mm_per_day": 3.0}), "evaporation_mm_per_day"),
    ] {
        let reply = app.send("POST", "/v1/properties", &with(&months)).await;
        let fields = reply.fields("malformed_body");
        assert!(fields[0].starts_with(field), "{months}: {fields:?}");
    }
    assert_eq!(app.get(&path).await["version"], 1);
    assert_eq!(app.walk("/v1/properties", 100).await.len(), 1);
}

async fn a_sketch_takes_the_same_months(app: &App) {
    let sketch = |months: &Value| {
        let mut sketch =
            json!({"latitude_deg": 48.0, "roof": roof(), "components": three(), "as_of": "2026-03-01"});
        sketch.as_object_mut().expect("an object").extend(months.as_object().expect("an object").clone());
        sketch
    };
    let usual = json!({"temperatures": {"mean_c": MEAN, "mean_minimum_c": MINIMUM}, "evaporation_mm_per_day": EVAPORATION});
    app.send("POST", "/v1/forecast", &sketch(&usual)).await.expect(200);
    for (months, fields) in wrongs() {
        assert_eq!(
            app.send("POST", "/v1/forecast", &sketch(&months)).await.fields("invalid"),
            fields,
            "{months}"
        );
    }
}
