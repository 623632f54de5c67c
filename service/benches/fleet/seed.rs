//! Makes a fleet to refresh: a few pattern systems, stored through the storage layer. `copies` then copies
//! them inside SQLite.
//!
//! Ids go to the gauges in turn, as when systems are added over years: the rows of one gauge's systems lie
//! far from each other. Everything is invented and follows a fixed rule.

use anyhow::{Context as _, Result, ensure};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use eavesward_service::domain::base::ids::{
    AccountId, ComponentId, GaugeId, KeyId, PropertyId, SystemId, VisitId,
};
use eavesward_service::domain::base::secret::hash;
use eavesward_service::domain::model::account::{Account, Key};
use eavesward_service::domain::model::component::{Component, ComponentFacts};
use eavesward_service::domain::model::duty::Duty;
use eavesward_service::domain::model::gauge::{Gauge, GaugeFacts, RainSpan};
use eavesward_service::domain::model::part::{Emptying, Exposition, Material, Part, Shade};
use eavesward_service::domain::model::property::{Position, Property, PropertyFacts};
use eavesward_service::domain::model::rain::RainDay;
use eavesward_service::domain::model::roof::{Canopy, Roof, Surface};
use eavesward_service::domain::model::system::{System, SystemFacts};
use eavesward_service::domain::model::visit::{Finding, FoundClass, Visit, VisitFacts, VisitItem};
use eavesward_service::domain::ports::store::Store as _;
use eavesward_service::domain::ports::store::accounts::AccountStore as _;
use eavesward_service::domain::ports::store::gauges::GaugeStore as _;
use eavesward_service::domain::ports::store::properties::PropertyStore as _;
use eavesward_service::domain::ports::store::systems::SystemStore as _;
use eavesward_service::domain::ports::store::visits::VisitStore as _;
use eavesward_service::storage::{ConnectOptions, Database};
use std::path::Path;

use super::files::url;
use super::plan::{
    ACCOUNT, COMPONENT, GAUGE, GAUGES_OF_ACCOUNT, KINDS, PATTERN, PROPERTY, SYSTEM, Size, VISIT, VISITS, id,
};

/// Duties of each system: screen, diverter, coupling (two) and tank (three).
pub const DUTIES: i64 = 7;
/// The roofs of the pattern systems.
const SURFACES: [Surface; 4] = [Surface::Metal, Surface::Tile, Surface::FibreCement, Surface::FlatGravel];
const CANOPIES: [Canopy; 3] = [Canopy::Deciduous, Canopy::None, Canopy::Conifer];

/// What the benchmark needs to know about the fleet.
pub struct Fleet {
    /// The gauges, each with its account.
    pub gauges: Vec<(AccountId, GaugeId)>,
}

/// Makes accounts, gauges with rain up to the day before `morning`, and the patterns of systems in a new file.
pub async fn make(file: &Path, size: Size, morning: DateTime<Utc>) -> Result<Fleet> {
    ensure!(
        size.gauges > 0 && size.systems >= size.gauges,
        "the fleet needs at least one gauge, and at least as many systems as gauges"
    );
    let database = Database::connect(&url(file), &ConnectOptions::default()).await?;
    database.migrate().await?;
    let accounts = size.gauges.div_ceil(GAUGES_OF_ACCOUNT);
    for number in 0..accounts {
        let (account, key) = account(number, morning);
        database.insert_account(&account, &key).await?;
    }
    let mut gauges = Vec::new();
    for number in 0..size.gauges {
        let gauge = gauge(number, number / GAUGES_OF_ACCOUNT, morning);
        database.insert_gauge(&gauge).await?;
        let rain = rain(number, size.years, morning.date_naive());
        database.put_rain(gauge.account_id, gauge.id, &rain).await?.context("the gauge is there")?;
        gauges.push((gauge.account_id, gauge.id));
    }
    for kind in 0..KINDS {
        pattern(&database, kind, morning).await?;
    }
    database.close().await;
    Ok(Fleet { gauges })
}

fn account(number: u32, now: DateTime<Utc>) -> (Account, Key) {
    let account_id = AccountId(id(ACCOUNT, number));
    let account = Account { id: account_id, name: format!("Orchard Co-operative {number}"), created_at: now };
    let key = Key {
        system_id: None,
        id: KeyId(account_id.0),
        account_id,
        name: "first key".to_owned(),
        scopes: Vec::new(),
        hash: hash(&number.to_string()),
        hint: "ew_fleet".to_owned(),
        created_at: now,
        expires_at: None,
        revoked_at: None,
        last_used_at: None,
    };
    (account, key)
}

fn gauge(number: u32, account: u32, now: DateTime<Utc>) -> Gauge {
    let position = Position { latitude_deg: 45.0 + f64::from(number % 97) / 10.0, longitude_deg: 0.5 };
    Gauge {
        id: GaugeId(id(GAUGE, number)),
        account_id: AccountId(id(ACCOUNT, account)),
        facts: GaugeFacts::new(format!("Gatehouse gauge {number}"), position),
        span: RainSpan::default(),
        version: 1,
        created_at: now,
        updated_at: now,
    }
}

/// Daily rain up to the day before `end`, with wet and dry spells and exponentially distributed amounts.
/// Winters are wetter, and now and then a week has no readings.
fn rain(gauge: u32, years: u32, end: NaiveDate) -> Vec<RainDay> {
    // Knuth's multiplier for 64 bits.
    let mut state = u64::from(gauge).wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(1);
    let mut uniform = move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    };
    let days = i64::from(years) * 1461 / 4;
    let (mut wet, mut missing) = (false, 0);
    let mut all = Vec::new();
    for date in (0..days).rev().map(|back| end - TimeDelta::days(back + 1)) {
        let winter = (f64::from(date.to_epoch_days() % 1461) / 365.25 * std::f64::consts::TAU).cos();
        wet = uniform() < if wet { 0.6 + 0.1 * winter } else { 0.25 + 0.1 * winter };
        let mm = if wet { (-(4.0 + 2.0 * winter) * uniform().ln() * 10.0).round() / 10.0 } else { 0.0 };
        missing = if missing > 0 {
            missing - 1
        } else if uniform() < 0.001 {
            7
        } else {
            0
        };
        if missing == 0 {
            all.push(RainDay { date, rain_mm: mm.min(400.0) });
        }
    }
    all
}

/// Stores a pattern system with its property, components and visits.
async fn pattern(database: &Database, kind: u32, now: DateTime<Utc>) -> Result<()> {
    let (account_id, number) = (AccountId(id(ACCOUNT, 0)), PATTERN + kind);
    let today = now.date_naive();
    let position = Position { latitude_deg: 48.0, longitude_deg: 0.5 };
    let property = Property {
        id: PropertyId(id(PROPERTY, number)),
        account_id,
        facts: PropertyFacts {
            notes: Some("Keys are with the upkeep rota.".to_owned()),
            ..PropertyFacts::new("Terrace 00000", position, 52.0, chrono_tz::Europe::London)
        },
        version: 1,
        created_at: now,
        updated_at: now,
    };
    database.insert_property(&property).await?;
    let canopy = CANOPIES[kind as usize % CANOPIES.len()];
    let roof = Roof::new(40.0 + 15.0 * f64::from(kind), SURFACES[kind as usize % SURFACES.len()])
        .under(canopy, if canopy == Canopy::None { 0.0 } else { 0.25 });
    let (gauge_id, commissioned_on) = (GaugeId(id(GAUGE, 0)), today - TimeDelta::days(300));
    let system = System {
        id: SystemId(id(SYSTEM, number)),
        account_id,
        facts: SystemFacts {
            demand_l_per_day: 120.0,
            ..SystemFacts::new(property.id, gauge_id, "Seedling house 00000", roof, commissioned_on)
        },
        version: 1,
        created_at: now,
        updated_at: now,
    };
    let components: Vec<Component> =
        (0..).zip(parts(kind)).map(|(place, (name, part))| component(&system, place, name, part)).collect();
    database.insert_system(&system, &components).await?;
    for nth in 0..VISITS {
        database.insert_visit(&visit(&system, &components, kind, nth, now)).await?;
    }
    Ok(())
}

fn component(system: &System, place: u32, name: &str, part: Part) -> Component {
    let number = PATTERN + (system.id.0.as_u128() as u32 - PATTERN) * 4 + place;
    let installed_on = system.facts.commissioned_on;
    let facts = ComponentFacts::new(name, part, installed_on);
    Component::new(ComponentId(id(COMPONENT, number)), system.id, facts, system.created_at)
}

fn parts(kind: u32) -> [(&'static str, Part); 4] {
    let size = f64::from(kind);
    let emptying = if kind.is_multiple_of(2) {
        Emptying::WeepHole { hole_mm: 2.0, head_m: 1.0 }
    } else {
        Emptying::Drip { litres_per_hour: 1.0 }
    };
    [
        ("north screen", Part::DebrisScreen { area_m2: 0.1 + 0.02 * size, mesh_mm: Some(1.0) }),
        ("first-flush diverter", Part::FirstFlushDiverter { chamber_volume_l: 20.0 + 8.0 * size, emptying }),
        (
            "tank inlet coupling",
            Part::Coupling {
                material: Material::Epdm,
                exposition: Exposition::VerticalPipe,
                shade: if kind.is_multiple_of(3) { Shade::FullSun } else { Shade::PartShade },
                shade_share: None,
            },
        ),
        ("main tank", Part::tank(2000.0 + 500.0 * size, 1.2 + 0.3 * size, 100.0, kind.is_multiple_of(2))),
    ]
}

/// A visit with findings on the screen, the diverter and the tank.
fn visit(system: &System, components: &[Component], kind: u32, nth: u32, now: DateTime<Utc>) -> Visit {
    let class = [FoundClass::Light, FoundClass::Half, FoundClass::Heavy][(kind + nth) as usize % 3];
    let item =
        |place: usize, duty, finding| VisitItem { finding, ..VisitItem::done(components[place].id, duty) };
    Visit {
        id: VisitId(id(VISIT, PATTERN + kind * VISITS + nth)),
        account_id: system.account_id,
        facts: VisitFacts {
            system_id: system.id,
            visited_on: now.date_naive() - TimeDelta::days(60 + 90 * i64::from(nth)),
            visited_by: Some("upkeep rota".to_owned()),
            items: vec![
                item(0, Duty::CleanScreen, Some(Finding::Class(class))),
                item(1, Duty::ClearWeepHole, Some(Finding::Fraction(0.4))),
                item(3, Duty::MeasureSediment, Some(Finding::DepthMm(6.0 + f64::from(kind)))),
            ],
            note: None,
        },
        withdrawn: None,
        version: 1,
        created_at: now,
        updated_at: now,
    }
}
