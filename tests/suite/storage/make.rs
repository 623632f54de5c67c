//! Values for the cases: a housing co-operative with an orchard, a terrace and a greenhouse.
//!
//! The golden rows (`golden/`) are of these values, too: whoever changes one changes what those rows have to say.

use super::Rig;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use eavesward_service::domain::base::ids::{
    AccountId, ClaimId, ComponentId, GaugeId, KeyId, PropertyId, SystemId, TaskId, VisitId,
};
use eavesward_service::domain::base::paging::{After, PageRequest};
use eavesward_service::domain::base::secret::hash;
use eavesward_service::domain::model::account::{Account, Key, Scope};
use eavesward_service::domain::model::component::{Component, ComponentFacts};
use eavesward_service::domain::model::duty::{DecidedBy, Duty};
use eavesward_service::domain::model::forecast::{
    Accumulated, Chances, DutyForecast, Limit, Prediction, Window,
};
use eavesward_service::domain::model::gauge::{Gauge, GaugeFacts, Normals, RainSpan};
use eavesward_service::domain::model::hazard;
use eavesward_service::domain::model::hazard::Hazard;
use eavesward_service::domain::model::measure::Measure;
use eavesward_service::domain::model::part::{Emptying, Part};
use eavesward_service::domain::model::property::{Months, Position, Property, PropertyFacts, Temperatures};
use eavesward_service::domain::model::rain::RainDay;
use eavesward_service::domain::model::reason::Reason;
use eavesward_service::domain::model::reminder::Fingerprints;
use eavesward_service::domain::model::roof::{Canopy, Roof, Surface};
use eavesward_service::domain::model::round::RoundTask;
use eavesward_service::domain::model::status::{NextDuty, RecentRunoff, RunoffSince, Status};
use eavesward_service::domain::model::system::{System, SystemFacts};
use eavesward_service::domain::model::task::{State, Task, TaskPlace};
use eavesward_service::domain::model::visit::{Finding, FoundClass, Visit, VisitFacts, VisitItem};
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::tasks::{Refreshed, StaleSystem, TaskStore as _};
use eavesward_service::domain::rules::reminders::inputs::{KnownAhead, ReminderInputs};
use std::collections::{HashMap, HashSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use uuid::Uuid;

/// Four names whose order byte by byte is not that of any language, two of them equal.
pub const NAMES: [&str; 8] = ["Zeder", "apfel", "Äpfel", "Orchard", "orchard", "Orchard", "Ωμέγα", "École"];

/// An instant with microseconds, some seconds after the beginning of the tests' day.
pub fn at(seconds: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_micros(1_780_000_000_123_456).expect("an instant") + TimeDelta::seconds(seconds)
}

/// A day of 2026, 0 being New Year's Day.
pub fn day(number: i64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date") + TimeDelta::days(number)
}

pub fn first<K>(limit: u32) -> PageRequest<K> {
    PageRequest { after: None, limit }
}

pub fn after<K>(key: K, id: Uuid, limit: u32) -> PageRequest<K> {
    PageRequest { after: Some(After { key, id }), limit }
}

pub fn new_account() -> (Account, Key) {
    let account =
        Account { id: AccountId::new(), name: "Orchard Co-operative".to_owned(), created_at: at(0) };
    let key = new_key(account.id, 0);
    (account, key)
}

pub fn new_key(account_id: AccountId, seconds: i64) -> Key {
    let id = KeyId::new();
    Key {
        id,
        account_id,
        name: "gatehouse".to_owned(),
        scopes: vec![Scope::Read, Scope::Admin],
        system_id: None,
        hash: hash(&id.to_string()),
        hint: "ew_abcdef".to_owned(),
        created_at: at(seconds),
        expires_at: Some(at(seconds + 3600)),
        revoked_at: None,
        last_used_at: None,
    }
}

pub async fn account(rig: &Rig) -> AccountId {
    let (account, key) = new_account();
    rig.database.insert_account(&account, &key).await.expect("insert an account");
    account.id
}

pub fn new_property(account_id: AccountId, name: &str) -> Property {
    let position = Position { latitude_deg: 0.1 + 0.2, longitude_deg: -179.999_999_999_999_97 };
    Property {
        id: PropertyId::new(),
        account_id,
        facts: PropertyFacts {
            months: Months {
                temperatures: Temperatures {
                    mean_c: Some(std::array::from_fn(|month| 10.0 + month as f64 / 7.3)),
                    mean_minimum_c: Some([-0.1 - 0.2; 12]),
                },
                evaporation_mm_per_day: Some(std::array::from_fn(|month| month as f64 / 3.7)),
            },
            notes: Some("Key under the third pot – \"left\" one".to_owned()),
            ..PropertyFacts::new(name, position, 12.0, chrono_tz::Europe::Lisbon)
        },
        version: 1,
        created_at: at(1),
        updated_at: at(2),
    }
}

pub fn new_gauge(account_id: AccountId, name: &str) -> Gauge {
    Gauge {
        id: GaugeId::new(),
        account_id,
        facts: GaugeFacts {
            normals: Some(Normals {
                rain_mm: (0..12).map(|month| 50.5 + f64::from(month)).collect(),
                wet_days: vec![7.25; 12],
                wet_day_threshold_mm: 1.0,
                years: 30.0,
            }),
            ..GaugeFacts::new(name, Position { latitude_deg: 38.7, longitude_deg: -9.1 })
        },
        span: RainSpan::default(),
        version: 1,
        created_at: at(3),
        updated_at: at(4),
    }
}

pub fn new_system(account_id: AccountId, property_id: PropertyId, gauge_id: GaugeId, name: &str) -> System {
    let roof = Roof { runoff_coefficient: Some(0.875), ..Roof::new(84.5, Surface::Tile) };
    let roof = roof.under(Canopy::Deciduous, 0.25);
    System {
        id: SystemId::new(),
        account_id,
        facts: SystemFacts {
            demand_l_per_day: 210.5,
            ..SystemFacts::new(property_id, gauge_id, name, roof, day(-400))
        },
        version: 1,
        created_at: at(5),
        updated_at: at(6),
    }
}

pub fn new_component(system: SystemId, seconds: i64, part: Part) -> Component {
    let name = format!("the {}", part.kind().code());
    let facts =
        ComponentFacts { last_served_on: Some(day(-20)), ..ComponentFacts::new(name, part, day(-300)) };
    Component::new(ComponentId::new(), system, facts, at(seconds))
}

pub fn parts() -> [Part; 3] {
    [
        Part::FirstFlushDiverter {
            chamber_volume_l: 60.5,
            emptying: Emptying::WeepHole { hole_mm: 2.5, head_m: 1.25 },
        },
        Part::Tank {
            capacity_l: 5000.0,
            floor_area_m2: 3.5,
            outlet_height_mm: 120.0,
            calmed_inlet: true,
            sediment_limit_mm: Some(40.0),
        },
        Part::LevelGauge,
    ]
}

/// A system with all that it stands on.
pub struct Home {
    pub account: AccountId,
    pub property: Property,
    pub gauge: Gauge,
    pub system: System,
    pub components: Vec<Component>,
}

pub async fn home(rig: &Rig) -> Home {
    let account = account(rig).await;
    let property = new_property(account, "Orchard");
    let gauge = new_gauge(account, "Gatehouse gauge");
    rig.database.insert_property(&property).await.expect("insert a property");
    rig.database.insert_gauge(&gauge).await.expect("insert a gauge");
    let (system, components) = add_system(rig, account, property.id, gauge.id, "Terrace").await;
    Home { account, property, gauge, system, components }
}

pub async fn add_system(
    rig: &Rig,
    account: AccountId,
    property: PropertyId,
    gauge: GaugeId,
    name: &str,
) -> (System, Vec<Component>) {
    let system = new_system(account, property, gauge, name);
    let components: Vec<Component> =
        (7..).zip(parts()).map(|(second, part)| new_component(system.id, second, part)).collect();
    rig.database.insert_system(&system, &components).await.expect("insert a system");
    (system, components)
}

pub fn new_visit(home: &Home, on: NaiveDate) -> Visit {
    let item = |index: usize, duty, finding| VisitItem {
        finding,
        left_fraction: (duty == Duty::RemoveSediment).then_some(0.1 + 0.2),
        cleaned_meanwhile: index == 0,
        note: Some("gravel – a handful".to_owned()),
        ..VisitItem::done(home.components[index].id, duty)
    };
    Visit {
        id: VisitId::new(),
        account_id: home.account,
        facts: VisitFacts {
            system_id: home.system.id,
            visited_on: on,
            visited_by: Some("Tomé".to_owned()),
            items: vec![
                item(0, Duty::ClearWeepHole, Some(Finding::Class(FoundClass::Half))),
                item(1, Duty::RemoveSediment, Some(Finding::DepthMm(31.5))),
                item(1, Duty::MeasureSediment, Some(Finding::Fraction(0.625))),
                item(2, Duty::CompareLevelGauge, None),
            ],
            note: None,
        },
        withdrawn: None,
        version: 1,
        created_at: at(10),
        updated_at: at(11),
    }
}

pub fn forecast(component: &Component, duty: Duty, due_on: Option<NaiveDate>) -> DutyForecast {
    let limit = Limit {
        value: 900.0,
        unit: Measure::Runoff,
        log_sd: 0.375,
        prior_value: 300.0,
        prior_log_sd: 0.8,
        findings: 2,
        source: "two findings".to_owned(),
        judgement: false,
    };
    let (name, kind) = (component.facts.name.clone(), component.facts.part.kind());
    DutyForecast {
        due_on,
        decided_by: DecidedBy::Prediction,
        ceiling_on: Some(day(200)),
        own_ceiling: true,
        prediction: Some(Prediction {
            window: Some(Window { early_on: Some(day(10)), likely_on: due_on, late_on: None }),
            accumulated: Some(Accumulated {
                value: 412.75,
                unit: Measure::Runoff,
                from_readings: 400.5,
                from_climate: 12.25,
                days_read: 200,
                days_unread: 3,
            }),
            chances: Some(Chances { today: 0.125, in_7_days: 0.25, in_30_days: 0.5, in_90_days: 0.875 }),
            ..Prediction::new(0.5, limit)
        }),
        reasons: vec![Reason::Text("The rain of March weighs on it.".to_owned())],
        hazards: vec![Hazard::Fall, Hazard::Electricity],
        ..DutyForecast::new(Some(component.id), name, kind, duty, day(-20))
    }
}

pub fn new_task(home: &Home, index: usize, duty: Duty, due_on: Option<NaiveDate>, state: State) -> Task {
    task_of(home, &home.system, &home.components[index], duty, due_on, state)
}

pub fn task_of(
    home: &Home,
    system: &System,
    component: &Component,
    duty: Duty,
    due_on: Option<NaiveDate>,
    state: State,
) -> Task {
    let place = TaskPlace {
        account_id: home.account,
        property_id: system.facts.property_id,
        property_name: home.property.facts.name.clone(),
        system_id: system.id,
        system_name: system.facts.name.clone(),
    };
    Task { state, ..Task::of(place, component.id, forecast(component, duty, due_on), day(0), at(20)) }
}

/// A task of a round: a duty of one of the home's components.
pub fn round_task(home: &Home, index: usize, duty: Duty) -> RoundTask {
    let component = &home.components[index];
    RoundTask {
        task_id: TaskId::of(component.id, duty),
        property_id: home.property.id,
        system_id: home.system.id,
        component_id: component.id,
        property_name: home.property.facts.name.clone(),
        system_name: home.system.facts.name.clone(),
        component_name: component.facts.name.clone(),
        kind: component.facts.part.kind(),
        duty,
        due_on: (index > 0).then(|| day(9)),
        hazards: hazard::hazards(&component.facts.part, duty),
        outcome: None,
    }
}

pub fn status(system: &System, as_of: NaiveDate) -> Status {
    Status {
        system_id: system.id,
        system_name: system.facts.name.clone(),
        as_of,
        state: State::Near,
        next: vec![NextDuty {
            task_id: TaskId(Uuid::from_u128(9)),
            component_name: "the tank".to_owned(),
            duty: Duty::RemoveSediment,
            state: State::Near,
            due_on: day(5),
        }],
        rain_through: Some(day(-1)),
        last_7_days: RecentRunoff { mm: 12.5, litres: 900.25, unread_days: 1 },
        last_30_days: RecentRunoff::default(),
        since_served: vec![RunoffSince {
            task_id: None,
            component_name: "the tank".to_owned(),
            duty: Duty::RemoveSediment,
            since: day(-20),
            runoff_mm: 82.125,
        }],
    }
}

pub fn refreshed(claim: StaleSystem, system: &System, tasks: Vec<Task>, next_at: DateTime<Utc>) -> Refreshed {
    let (status, reminders) = (status(system, day(0)), reminders(system, day(0)));
    Refreshed { claim, tasks, status, day_at: at(-43_200), next_at, reminders }
}

/// Another system at the home, known by its id alone.
pub fn system_of(home: &Home, id: SystemId) -> System {
    System { id, ..home.system.clone() }
}

/// What has to be known to tell readers of a system's tasks.
pub fn reminders(system: &System, as_of: NaiveDate) -> ReminderInputs {
    ReminderInputs {
        as_of,
        property_id: system.facts.property_id,
        property_name: "Orchard".to_owned(),
        system_id: system.id,
        system_name: system.facts.name.clone(),
        settings: Arc::default(),
        basis: Fingerprints::default(),
        by_visit: HashMap::new(),
        ahead: KnownAhead::default(),
        commissioned_on: day(-400),
        retired_on: None,
        replaced: HashMap::new(),
        in_service: HashSet::new(),
    }
}

/// Claims everything that is stale at an instant, for a minute.
pub async fn claim_all(rig: &Rig, now: DateTime<Utc>) -> Vec<StaleSystem> {
    rig.database.claim_stale(now, now + TimeDelta::seconds(60), 1000).await.expect("claim")
}

/// Claims of which nobody can say whose they are, to be compared.
pub fn nameless(mut claims: Vec<StaleSystem>) -> Vec<StaleSystem> {
    for claim in &mut claims {
        claim.held_by = ClaimId(Uuid::nil());
    }
    claims
}

/// A claim on a system, whenever it is stale next.
pub async fn claim_of(rig: &Rig, system: SystemId) -> StaleSystem {
    static LATER: AtomicI64 = AtomicI64::new(10_000 * 86_400);
    let claims = claim_all(rig, at(LATER.fetch_add(120, Ordering::Relaxed))).await;
    *claims.iter().find(|claim| claim.system_id == system).expect("it is stale by then")
}

/// Refreshes everything that is stale, until `next_at`.
pub async fn settle(rig: &Rig, home: &Home, now: DateTime<Utc>, next_at: DateTime<Utc>) {
    let all: Vec<Refreshed> = claim_all(rig, now)
        .await
        .into_iter()
        .map(|claim| refreshed(claim, &home.system, Vec::new(), next_at))
        .collect();
    rig.database.finish_refresh(&all, now).await.expect("finish");
    assert_eq!(rig.database.stale_count(now).await.expect("count"), 0);
}

/// Readings of consecutive days from `from` on.
pub fn readings(from: i64, mm: &[f64]) -> Vec<RainDay> {
    (from..).zip(mm).map(|(number, rain_mm)| RainDay { date: day(number), rain_mm: *rain_mm }).collect()
}
