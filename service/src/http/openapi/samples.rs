//! Examples of the OpenAPI document, as values of the types they show: one that no longer fits does not compile.

use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Serialize;
use serde_json::Value;
use uuid::Uuid;

/// Examples by the name of the schema they belong to.
pub fn by_schema() -> Vec<(&'static str, Value)> {
    vec![
        ("KeyRequest", value(&key())),
        ("DutySettingsRequest", value(&duty_settings())),
        ("PropertyRequest", value(&property())),
        ("GaugeRequest", value(&gauge())),
        ("CalendarRequest", value(&calendar())),
        ("RainRequest", value(&wire::RainRequest { days: rain() })),
        ("RoofRequest", value(&roof())),
        ("SystemCreateRequest", value(&system())),
        ("SystemUpdateRequest", value(&update())),
        ("ComponentRequest", value(&screen())),
        ("ReplaceRequest", value(&wire::ReplaceRequest { on: day(2026, 5, 9), part: None, name: None })),
        ("RetireRequest", value(&wire::RetireRequest { on: day(2026, 5, 9) })),
        ("SubscriptionRequest", value(&subscription())),
        ("VisitRequest", value(&visit())),
        ("WithdrawRequest", value(&wire::WithdrawRequest { because: "it was the wrong shed".to_owned() })),
        ("RoundRequest", value(&round())),
        ("RoundDoneRequest", value(&round_done())),
        ("ForecastRequest", value(&forecast())),
        ("Problem", value(&problem())),
        ("SystemStatus", value(&status())),
    ]
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
        url: "https://hooks.example/eaves".to_owned(),
        carries: wire::Carries::Digest,
        schedule: Some("0 7 * * 1".to_owned()),
        time_zone: Some("Europe/London".to_owned()),
        form: Some(wire::DigestForm::Markdown),
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
        ceiling_months: Some(2),
        tolerance: Some(0.3),
        lead_days: Some(14),
        move_days: None,
    }
}

fn calendar() -> wire::CalendarRequest {
    wire::CalendarRequest {
        name: "Orchard upkeep".to_owned(),
        property_id: Some(id(2)),
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

fn part(name: &str, part: wire::Part) -> wire::ComponentRequest {
    wire::ComponentRequest {
        name: name.to_owned(),
        part,
        installed_on: day(2025, 4, 1),
        last_served_on: None,
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
        part("orchard tank", wire::Part::tank(5000.0, 2.5, 100.0, true)),
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
            finding: Some(wire::Finding::Class { class: wire::FoundClass::Half }),
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
            ceiling_months: Some(2),
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
        items: vec![wire::RoundItem::found(id(6), wire::Finding::Class { class: wire::FoundClass::Half })],
        skipped: vec![wire::SkippedTask { task_id: id(7), because: Some("the shed was locked".to_owned()) }],
        ..wire::RoundDoneRequest::default()
    }
}

fn problem() -> wire::Problem {
    let code = wire::ProblemCode::Invalid;
    wire::Problem {
        type_uri: format!("/problems/{}", code.as_str()),
        title: code.title().to_owned(),
        status: code.status(),
        code,
        detail: "Some values are not allowed; errors names each of them.".to_owned(),
        instance: Some("/v1/properties".to_owned()),
        request_id: Some(id(5).to_string()),
        errors: vec![wire::FieldProblem {
            field: "latitude_deg".to_owned(),
            message: "100 is not from -90 to 90".to_owned(),
        }],
    }
}

fn status() -> wire::SystemStatus {
    wire::SystemStatus {
        system_id: id(3),
        system_name: "apple shed".to_owned(),
        as_of: day(2026, 3, 7),
        state: wire::TaskState::Near,
        next: vec![wire::NextDuty {
            task_id: id(6),
            component_name: "downpipe screen".to_owned(),
            duty: wire::Duty::CleanScreen,
            title: "clean the debris screen".to_owned(),
            state: wire::TaskState::Near,
            due_on: day(2026, 3, 11),
        }],
        rain_through: Some(day(2026, 3, 6)),
        runoff_7_days_mm: 9.6,
        runoff_7_days_l: 768.0,
        runoff_30_days_mm: 41.0,
        runoff_30_days_l: 3280.0,
        unread_of_30_days: 1,
        since_served: vec![wire::RunoffSince {
            component_name: "downpipe screen".to_owned(),
            duty: wire::Duty::CleanScreen,
            since: day(2026, 1, 24),
            runoff_mm: 58.5,
        }],
        abridged: false,
    }
}
