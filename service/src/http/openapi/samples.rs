//! Examples of the OpenAPI document. Those of requests are values of the types they show: one that no longer fits does not
//! compile. Those of answers were given by the service to these requests, and `tests/suite/api/examples.rs` writes them.

use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Serialize;
use serde_json::{Value, json};
use std::sync::LazyLock;
use uuid::Uuid;

/// What the service answered and posted: operation, media type, example.
static ANSWERS: LazyLock<Value> =
    LazyLock::new(|| serde_json::from_str(include_str!("answers.json")).unwrap_or_default());

/// An answer of an operation, or what is posted.
pub fn answer(operation: &str, media_type: &str) -> Option<Value> {
    let operation = match operation {
        "get_openapi" => {
            return Some(json!({"openapi": "3.1.0", "info": {"title": "Eavesward"}, "paths": {}}));
        }
        // The same digest by another way.
        "get_digest_file" => "get_digest",
        "follow_status" => {
            let status = ANSWERS.get("get_status")?.get("application/json")?;
            return Some(format!("event: status\nid: \"4f1c09\"\ndata: {status}\n\n").into());
        }
        "digest_posted" if media_type.starts_with("text/") => "get_digest",
        operation => operation,
    };
    ANSWERS.get(operation)?.get(media_type).cloned()
}

/// A body that is a file.
pub fn file(media_type: &str) -> Option<Value> {
    (media_type == "text/csv").then(|| "date,rain_mm\n2026-03-01,4.2\n2026-03-02,0.0\n".into())
}

/// A body, by the name of its schema.
pub fn body(schema: &str) -> Option<Value> {
    Some(match schema {
        "KeyRequest" => value(&key()),
        "DutySettingsRequest" => value(&duty_settings()),
        "PropertyRequest" => value(&property()),
        "GaugeRequest" => value(&gauge()),
        "CalendarRequest" => value(&calendar()),
        "RainRequest" => value(&wire::RainRequest { days: rain() }),
        "SystemCreateRequest" => value(&system()),
        "SystemUpdateRequest" => value(&update()),
        "ComponentRequest" => value(&screen()),
        "ReplaceRequest" => value(&wire::ReplaceRequest { on: day(2026, 5, 9), part: None, name: None }),
        "RetireRequest" => value(&wire::RetireRequest { on: day(2026, 5, 9) }),
        "SubscriptionRequest" => value(&subscription()),
        "VisitRequest" => value(&visit()),
        "WithdrawRequest" => value(&wire::WithdrawRequest { because: "it was the wrong shed".to_owned() }),
        "RoundRequest" => value(&round()),
        "RoundDoneRequest" => value(&round_done()),
        "ForecastRequest" => value(&forecast()),
        _ => return None,
    })
}

fn value(sample: &impl Serialize) -> Value {
    // The contract has no type that cannot be written.
    serde_json::to_value(sample).unwrap_or_default()
}

fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap_or_default()
}

/// A readable id: a real one is random.
const fn id(number: u128) -> Uuid {
    Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0000 + number)
}

fn key() -> wire::KeyRequest {
    wire::KeyRequest::of_system("kitchen dashboard", id(3))
}

fn subscription() -> wire::SubscriptionRequest {
    wire::SubscriptionRequest {
        name: "Monday list for the upkeep rota".to_owned(),
        to: "https://hooks.example/eaves".to_owned(),
        sends: wire::Sends::Digest,
        schedule: Some("0 7 * * 1".to_owned()),
        time_zone: Some("Europe/London".to_owned()),
        format: Some(wire::DigestFormat::Markdown),
        ..wire::SubscriptionRequest::default()
    }
}

fn property() -> wire::PropertyRequest {
    wire::PropertyRequest {
        name: "Community orchard".to_owned(),
        latitude_deg: 48.0,
        longitude_deg: 0.5,
        elevation_m: 60.0,
        time_zone: "Europe/London".to_owned(),
        temperatures: Some(temperatures()),
        evaporation_mm_per_day: Some(vec![0.4, 0.7, 1.3, 2.1, 2.9, 3.4, 3.5, 3.0, 2.0, 1.1, 0.6, 0.4]),
        notes: Some("Keys are with the upkeep rota.".to_owned()),
    }
}

/// An invented mild climate.
fn temperatures() -> wire::MonthlyTemperatures {
    wire::MonthlyTemperatures {
        mean_c: Some(vec![4.1, 4.6, 7.2, 9.8, 13.2, 16.4, 18.5, 18.3, 15.4, 11.8, 7.4, 4.8]),
        mean_minimum_c: Some(vec![1.2, 1.1, 2.8, 4.6, 8.0, 11.1, 13.1, 12.9, 10.4, 7.7, 4.2, 2.0]),
    }
}

fn duty_settings() -> wire::DutySettingsRequest {
    wire::DutySettingsRequest {
        longest_interval_months: Some(2),
        tolerance: Some(0.3),
        lead_days: Some(14),
        move_days: None,
    }
}

fn calendar() -> wire::CalendarRequest {
    wire::CalendarRequest {
        name: "Orchard upkeep".to_owned(),
        property_id: Some(id(1)),
        horizon_days: Some(120),
    }
}

fn gauge() -> wire::GaugeRequest {
    wire::GaugeRequest {
        name: "orchard gauge".to_owned(),
        latitude_deg: 48.0,
        longitude_deg: 0.5,
        normals: Some(wire::MonthlyNormals {
            rain_mm: vec![70.0, 52.0, 48.0, 51.0, 55.0, 50.0, 48.0, 56.0, 58.0, 77.0, 79.0, 76.0],
            wet_days: vec![12.0, 10.0, 9.0, 9.0, 9.0, 8.0, 8.0, 8.0, 9.0, 11.0, 12.0, 12.0],
            wet_day_threshold_mm: 1.0,
            years: 30.0,
        }),
    }
}

fn rain() -> Vec<wire::RainDay> {
    vec![
        wire::RainDay { date: day(2026, 3, 1), rain_mm: 4.2 },
        wire::RainDay { date: day(2026, 3, 2), rain_mm: 0.0 },
    ]
}

fn roof() -> wire::RoofRequest {
    wire::RoofRequest {
        canopy: wire::Canopy::Deciduous,
        canopy_share: 0.4,
        ..wire::RoofRequest::new(80.0, wire::Surface::Metal)
    }
}

/// A part that was served when this winter ended.
fn part(name: &str, part: wire::Part) -> wire::ComponentRequest {
    wire::ComponentRequest {
        name: name.to_owned(),
        part,
        installed_on: day(2025, 4, 1),
        last_served_on: Some(day(2026, 2, 22)),
    }
}

fn screen() -> wire::ComponentRequest {
    part("downpipe screen", wire::Part::DebrisScreen { area_m2: 0.2, mesh_mm: Some(1.0) })
}

fn components() -> Vec<wire::ComponentRequest> {
    vec![
        screen(),
        part(
            "shed diverter",
            wire::Part::FirstFlushDiverter { chamber_volume_l: 80.0, emptying: wire::Emptying::Hand {} },
        ),
        part("orchard tank", wire::Part::tank(5000.0, 2.5, 100.0).calmed_inlet(true).into()),
    ]
}

fn system() -> wire::SystemCreateRequest {
    wire::SystemCreateRequest {
        property_id: id(1),
        gauge_id: id(2),
        name: "apple shed".to_owned(),
        roof: roof(),
        commissioned_on: day(2025, 4, 1),
        demand_l_per_day: 120.0,
        components: components(),
    }
}

fn update() -> wire::SystemUpdateRequest {
    let system = system();
    wire::SystemUpdateRequest {
        property_id: system.property_id,
        gauge_id: system.gauge_id,
        name: system.name,
        roof: system.roof,
        commissioned_on: system.commissioned_on,
        demand_l_per_day: 90.0,
        retired_on: None,
    }
}

fn visit() -> wire::VisitRequest {
    wire::VisitRequest {
        system_id: id(3),
        visited_on: day(2026, 3, 7),
        visited_by: Some("the upkeep rota".to_owned()),
        items: vec![wire::VisitItem {
            component_id: id(4),
            duty: wire::Duty::CleanScreen,
            done: true,
            finding: Some(wire::Finding::Class { fullness: wire::FoundClass::Half }),
            left_fraction: Some(0.1),
            cleaned_meanwhile: false,
            note: None,
        }],
        note: None,
    }
}

fn forecast() -> wire::ForecastRequest {
    wire::ForecastRequest {
        latitude_deg: 48.0,
        elevation_m: 60.0,
        roof: roof(),
        demand_l_per_day: 120.0,
        components: components(),
        rain: rain(),
        normals: gauge().normals,
        temperatures: Some(temperatures()),
        evaporation_mm_per_day: None,
        duty_settings: vec![wire::DutySettingsInput {
            duty: wire::Duty::CleanScreen,
            longest_interval_months: Some(2),
            tolerance: None,
        }],
        as_of: day(2026, 3, 7),
    }
}

fn round() -> wire::RoundRequest {
    let note = Some("Keys are with the upkeep rota.".to_owned());
    wire::RoundRequest { on: day(2026, 3, 10), task_ids: vec![id(6), id(7)], note }
}

fn round_done() -> wire::RoundDoneRequest {
    wire::RoundDoneRequest {
        visited_by: Some("the upkeep rota".to_owned()),
        items: vec![wire::RoundItem::done(id(6)).finding(wire::Finding::class(wire::FoundClass::Half))],
        skipped: vec![wire::SkippedTask { task_id: id(7), because: Some("the shed was locked".to_owned()) }],
        ..wire::RoundDoneRequest::default()
    }
}

/// A problem with a code.
pub fn problem(code: wire::ProblemCode) -> Value {
    let field = |field: &str, message: &str| {
        vec![wire::FieldProblem { field: field.to_owned(), message: message.to_owned() }]
    };
    let (detail, errors) = match &code {
        wire::ProblemCode::MalformedBody => (
            "The body is not JSON of the shape this path takes; /docs shows it.",
            field("commissioned_on", "\"2025-13-01\" is not a date such as 2026-03-07"),
        ),
        wire::ProblemCode::Invalid => (
            "Some values are not allowed; errors names each of them.",
            field("latitude_deg", "100 is not from -90 to 90"),
        ),
        code => (code.title(), Vec::new()),
    };
    value(&wire::Problem {
        type_uri: format!("/problems/{}", code.as_str()),
        title: code.title().to_owned(),
        status: code.status(),
        code,
        detail: detail.to_owned(),
        instance: Some("/v1/systems".to_owned()),
        request_id: Some(id(5).to_string()),
        errors,
    })
}
