//! An invented scenario: a housing co-operative with a community orchard, a terrace and a school greenhouse.
//! Its rain is generated from a fixed seed. No place, firm or person in it exists.

use crate::domain::background::{refresh, scoring};
use crate::domain::base::clock::local_date;
use crate::domain::base::ids::{AccountId, GaugeId, KeyId, PropertyId, SystemId, VisitId};
use crate::domain::context::Context;
use crate::domain::model::account::KeyDraft;
use crate::domain::model::component::{Component, ComponentFacts};
use crate::domain::model::duty;
use crate::domain::model::duty::Duty;
use crate::domain::model::gauge::GaugeFacts;
use crate::domain::model::part::{Emptying, Exposition, Material, MonthDay, Part, Shade, ValveType};
use crate::domain::model::property::{MonthsDraft, Position, PropertyDraft};
use crate::domain::model::rain::{OfferedReading, RainDay, RainOffer};
use crate::domain::model::roof::{Canopy, Roof, Surface};
use crate::domain::model::system::{Assembled, SystemFacts};
use crate::domain::model::task::TaskFilter;
use crate::domain::model::visit::{Finding, FoundClass, VisitFacts, VisitItem};
use crate::domain::use_cases::{accounts, forecasts, gauges, properties, rain, systems, tasks, visits};
use anyhow::Result;
use chrono::{Datelike, Days, NaiveDate};
use chrono_tz::Tz;
use std::net::SocketAddr;

/// The account of the scenario. A second start finds the scenario by this name.
const ACCOUNT: &str = "Alder Row Housing Co-operative (invented)";
/// The time zone of the scenario. UTC belongs to no real place.
const ZONE: Tz = Tz::UTC;
/// The position of the scenario's gauge. The properties are up to 2 km from it.
const POSITION: Position = Position { latitude_deg: 48.0, longitude_deg: 0.5 };
/// How many times their prior limit the parts of the scenario take before they need care.
const TRUE_LIMITS: f64 = 1.6;
/// The sediment depth at which the tanks need clearing, mm.
const SEDIMENT_LIMIT_MM: f64 = 50.0;
/// Years of invented rain.
const YEARS: u64 = 6;

/// The scenario as it stands today.
pub struct Loaded {
    /// Its account.
    pub account: AccountId,
    /// The tasks due within 7 days, as a table.
    pub list: String,
}

/// Loads the scenario if it is not there yet, and lists what is due.
pub async fn load(cx: &Context) -> Result<Loaded> {
    let today = local_date(cx.clock.now(), ZONE);
    let known = cx.store.accounts().await?.into_iter().find(|account| account.name == ACCOUNT);
    let account = if let Some(account) = known {
        account.id
    } else {
        let (account, _) = accounts::create(cx, ACCOUNT).await?;
        scenario(cx, account.id, today).await?;
        account.id
    };
    refresh::run(cx).await?;
    while scoring::run(cx).await? > 0 {}
    Ok(Loaded { account, list: due_list(cx, account, today).await? })
}

/// Generates daily rain with wet spells, dry spells and a wet winter. It uses SplitMix64 (Steele, Lea and
/// Flood 2014) with a fixed seed, so that every demo has the same weather.
struct Weather {
    state: u64,
    wet: bool,
}

impl Weather {
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn day(&mut self, date: NaiveDate) -> f64 {
        let winter = (std::f64::consts::TAU * (f64::from(date.ordinal0()) - 15.0) / 365.0).cos();
        let chance = if self.wet { 0.58 + 0.10 * winter } else { 0.26 + 0.08 * winter };
        self.wet = self.uniform() < chance;
        if !self.wet {
            return 0.0;
        }
        let mean = 5.5 + 1.5 * winter;
        let mm = -mean * (1.0 - self.uniform()).ln();
        // Rain gauges are read to 0.1 mm.
        ((mm * 10.0).round() / 10.0).max(0.1)
    }
}

async fn scenario(cx: &Context, account: AccountId, today: NaiveDate) -> Result<()> {
    let gauge_id = GaugeId::new();
    let facts = GaugeFacts::new("orchard gauge", POSITION);
    gauges::create(cx, account, gauge_id, facts).await?;
    let first = today - Days::new(YEARS * 365);
    let mut weather = Weather { state: 20_260_301, wet: false };
    let readings =
        first.iter_days().take_while(|date| *date < today).enumerate().map(|(index, date)| OfferedReading {
            line: index as u64 + 1,
            date: None,
            reading: Ok(RainDay { date, rain_mm: weather.day(date) }),
            spread: false,
        });
    rain::put(
        cx,
        account,
        gauge_id,
        RainOffer { readings: readings.collect(), ..RainOffer::default() },
        true,
    )
    .await?;
    let ago = |days: u64| today - Days::new(days);
    for place in places(ago) {
        let property_id = PropertyId::new();
        properties::create(cx, account, property_id, draft(&place)).await?;
        let facts = SystemFacts {
            demand_l_per_day: place.demand_l_per_day,
            ..SystemFacts::new(property_id, gauge_id, place.system, place.roof, place.commissioned_on)
        };
        let Assembled { system, components } =
            systems::create(cx, account, SystemId::new(), facts, place.components).await?;
        let mut visits = place.visits;
        visits.sort_by_key(|visit| std::cmp::Reverse(visit.days_ago));
        for PastVisit { days_ago, done } in visits {
            let facts = visit_of(cx, account, system.id, &components, ago(days_ago), &done).await?;
            visits::log(cx, account, VisitId::new(), facts).await?;
        }
    }
    Ok(())
}

/// A visit whose findings follow the scenario's true limits. Each finding is the accumulated figure of that
/// day over the true limit, which is [`TRUE_LIMITS`] times the prior limit.
async fn visit_of(
    cx: &Context,
    account: AccountId,
    system_id: SystemId,
    components: &[Component],
    on: NaiveDate,
    done: &[Duty],
) -> Result<VisitFacts> {
    let forecast = forecasts::stored(cx, account, system_id, Some(on)).await?;
    let fullness = |id, duty| {
        let found = forecast.duties.iter().find(|one| one.component_id == Some(id) && one.duty == duty)?;
        let prediction = found.prediction.as_ref()?;
        Some(prediction.accumulated.as_ref()?.value / (prediction.limit.prior_value * TRUE_LIMITS))
    };
    let items = components
        .iter()
        .flat_map(|component| duty::of(&component.facts.part).iter().map(move |duty| (component.id, *duty)))
        .filter(|(_, duty)| done.contains(duty))
        .map(|(component_id, duty)| VisitItem {
            finding: match duty {
                Duty::MeasureSediment => fullness(component_id, Duty::RemoveSediment)
                    .map(|share| Finding::DepthMm((share * SEDIMENT_LIMIT_MM).round())),
                duty if duty.facts().builds_up => fullness(component_id, duty).map(by_eye),
                _ => None,
            },
            ..VisitItem::done(component_id, duty)
        });
    Ok(VisitFacts {
        system_id,
        visited_on: on,
        visited_by: Some("the upkeep rota".to_owned()),
        items: items.collect(),
        note: None,
    })
}

/// What a person would report after a look at the part.
fn by_eye(share: f64) -> Finding {
    match share {
        share if share < 0.05 => Finding::Nothing,
        share if share < 0.25 => Finding::Class(FoundClass::Light),
        share if share < 0.75 => Finding::Class(FoundClass::Half),
        share if share < 1.0 => Finding::Class(FoundClass::Heavy),
        _ => Finding::Blocked,
    }
}

/// A past visit of the scenario.
#[derive(Clone)]
struct PastVisit {
    days_ago: u64,
    /// The duties that were done.
    done: Vec<Duty>,
}

fn once(days_ago: u64, done: &[Duty]) -> Vec<PastVisit> {
    vec![PastVisit { days_ago, done: done.to_vec() }]
}

/// Visits every `days` days: the latest `last` days ago, the earliest less than `over` days ago.
fn every(days: usize, last: u64, over: u64, done: &[Duty]) -> Vec<PastVisit> {
    (last..over).step_by(days).flat_map(|days_ago| once(days_ago, done)).collect()
}

fn draft(place: &InventedProperty) -> PropertyDraft {
    PropertyDraft {
        name: place.property.to_owned(),
        latitude_deg: POSITION.latitude_deg + place.north_deg,
        longitude_deg: POSITION.longitude_deg,
        elevation_m: place.elevation_m,
        time_zone: ZONE.name().to_owned(),
        months: months(),
        notes: Some("Keys are with the upkeep rota.".to_owned()),
    }
}

/// An invented mild climate that fits the invented rain.
fn months() -> MonthsDraft {
    let twelve = |values: [f64; 12]| Some(values.to_vec());
    MonthsDraft {
        mean_c: twelve([4.1, 4.6, 7.2, 9.8, 13.2, 16.4, 18.5, 18.3, 15.4, 11.8, 7.4, 4.8]),
        mean_minimum_c: twelve([0.4, 0.5, 2.3, 4.2, 7.7, 10.8, 12.8, 12.6, 10.0, 7.2, 3.5, 1.3]),
        evaporation_mm_per_day: twelve([0.4, 0.7, 1.3, 2.1, 2.9, 3.4, 3.5, 3.0, 2.0, 1.1, 0.6, 0.4]),
    }
}

struct InventedProperty {
    property: &'static str,
    /// How far north of the gauge it is.
    north_deg: f64,
    elevation_m: f64,
    system: &'static str,
    roof: Roof,
    commissioned_on: NaiveDate,
    demand_l_per_day: f64,
    components: Vec<ComponentFacts>,
    visits: Vec<PastVisit>,
}

fn places(ago: impl Fn(u64) -> NaiveDate) -> Vec<InventedProperty> {
    vec![orchard(&ago), terrace(&ago), greenhouse(&ago)]
}

fn orchard(ago: &impl Fn(u64) -> NaiveDate) -> InventedProperty {
    let day = ago(1500);
    let hand = Part::FirstFlushDiverter { chamber_volume_l: 80.0, emptying: Emptying::Hand };
    InventedProperty {
        property: "Community orchard",
        north_deg: 0.0,
        elevation_m: 60.0,
        system: "apple shed",
        roof: Roof::new(80.0, Surface::Metal).under(Canopy::Deciduous, 0.4),
        commissioned_on: day,
        demand_l_per_day: 120.0,
        components: vec![
            ComponentFacts::new("shed roof", Part::Roof { fragile: false }, day),
            ComponentFacts::new("shed gutter", Part::Gutter { length_m: 18.0, guarded: false }, day),
            ComponentFacts::new(
                "downpipe screen",
                Part::DebrisScreen { area_m2: 0.2, mesh_mm: Some(1.0) },
                day,
            ),
            ComponentFacts::new("shed diverter", hand, day),
            ComponentFacts::new(
                "tank coupling",
                Part::Coupling {
                    material: Material::NaturalOrSbr,
                    exposition: Exposition::VerticalPipe,
                    shade: Shade::PartShade,
                    shade_share: None,
                },
                day,
            ),
            ComponentFacts::new("orchard tank", Part::tank(5000.0, 2.5, 100.0, true), day),
            ComponentFacts::new("orchard intake", Part::FloatingIntake { mesh_mm: Some(1.0) }, day),
            ComponentFacts::new("orchard trap", Part::OverflowTrap { seal_depth_mm: 75.0 }, day),
            ComponentFacts::new("tank vent", Part::Vent { mesh_mm: Some(1.0) }, day),
            ComponentFacts::new("tap valve", Part::Valve { valve_type: ValveType::Ball }, day),
            ComponentFacts::new(
                "shed pipes",
                Part::ExposedPipework {
                    first_frost: Some(MonthDay { month: 11, day: 5 }),
                    last_frost: Some(MonthDay { month: 4, day: 10 }),
                },
                day,
            ),
        ],
        visits: [
            once(9, &[Duty::DrainDiverter, Duty::DrainForFrost, Duty::RestartAfterFrost]),
            every(73, 62, 1450, &[Duty::CleanScreen, Duty::DrainDiverter, Duty::CheckTrap]),
            every(182, 178, 1450, &[Duty::ClearRoof, Duty::ClearGutter, Duty::CheckBands]),
            every(365, 355, 1450, &[Duty::LookOverTank, Duty::CheckIntake, Duty::CheckMesh, Duty::WorkValve]),
            every(365, 63, 1450, &[Duty::MeasureSediment]),
        ]
        .concat(),
    }
}

fn terrace(ago: &impl Fn(u64) -> NaiveDate) -> InventedProperty {
    let day = ago(900);
    let weep = Emptying::WeepHole { hole_mm: 3.0, head_m: 1.2 };
    InventedProperty {
        property: "Alder Row terrace",
        north_deg: 0.006,
        elevation_m: 45.0,
        system: "terrace north",
        roof: Roof::new(210.0, Surface::Tile).under(Canopy::Conifer, 0.15),
        commissioned_on: day,
        demand_l_per_day: 340.0,
        components: vec![
            ComponentFacts::new("north gutter", Part::Gutter { length_m: 42.0, guarded: true }, day),
            ComponentFacts::new(
                "north screen",
                Part::DebrisScreen { area_m2: 0.35, mesh_mm: Some(0.8) },
                day,
            ),
            ComponentFacts::new(
                "north diverter",
                Part::FirstFlushDiverter { chamber_volume_l: 210.0, emptying: weep },
                day,
            ),
            ComponentFacts::new("cellar tank", Part::tank(12_000.0, 6.0, 150.0, true), day),
            ComponentFacts::new("cellar gauge", Part::LevelGauge, day),
            ComponentFacts::new("cellar pump", Part::Pump { mains_powered: true }, day),
            ComponentFacts::new("cellar vessel", Part::PressureVessel { volume_l: Some(60.0) }, day),
            ComponentFacts::new(
                "cellar filter",
                Part::CartridgeFilter { rated_volume_l: Some(60_000.0) },
                day,
            ),
            ComponentFacts::new(
                "cellar lamp",
                Part::DisinfectionLamp { rated_hours: Some(9000.0), hours_per_day: 24.0 },
                day,
            ),
        ],
        visits: [
            once(340, &[Duty::CheckPump, Duty::CheckVessel, Duty::CompareLevelGauge, Duty::LookOverTank]),
            once(341, &[Duty::ChangeLamp]),
            every(180, 120, 880, &[Duty::ChangeCartridge, Duty::ClearGutter]),
            every(365, 121, 880, &[Duty::MeasureSediment]),
            every(91, 40, 880, &[Duty::CleanScreen, Duty::ClearWeepHole]),
        ]
        .concat(),
    }
}

fn greenhouse(ago: &impl Fn(u64) -> NaiveDate) -> InventedProperty {
    let day = ago(28);
    InventedProperty {
        property: "School greenhouse",
        north_deg: -0.011,
        elevation_m: 52.0,
        system: "seedling house",
        roof: Roof {
            runoff_coefficient: Some(0.9),
            wetting_loss_mm: Some(0.3),
            ..Roof::new(36.0, Surface::FlatSmooth)
        },
        commissioned_on: day,
        demand_l_per_day: 45.0,
        components: vec![
            ComponentFacts::new("glass roof", Part::Roof { fragile: true }, day),
            ComponentFacts::new(
                "inlet screen",
                Part::DebrisScreen { area_m2: 0.08, mesh_mm: Some(1.0) },
                day,
            ),
            ComponentFacts::new(
                "filling coupling",
                Part::Coupling {
                    material: Material::Epdm,
                    exposition: Exposition::FacingEquator,
                    shade: Shade::FullSun,
                    shade_share: None,
                },
                day,
            ),
            ComponentFacts::new("seedling butt", Part::tank(1000.0, 0.8, 80.0, false), day),
            ComponentFacts::new("butt valve", Part::Valve { valve_type: ValveType::Gate }, day),
        ],
        visits: Vec::new(),
    }
}

async fn due_list(cx: &Context, account: AccountId, today: NaiveDate) -> Result<String> {
    let week = today + Days::new(7);
    let filter = TaskFilter { to: Some(week), ..TaskFilter::default() };
    let tasks = tasks::list(cx, account, &filter, None, Some(100)).await?.items;
    let mut rows = vec![["due", "state", "where", "what", "decided by"].map(str::to_owned)];
    rows.extend(tasks.iter().map(|task| {
        let decided_by = task.forecast.decided_by.code().replace('_', " ");
        [
            task.due_on.map_or_else(String::new, |due| due.to_string()),
            task.state.code().to_owned(),
            format!("{}, {}", task.property_name, task.forecast.component_name),
            task.duty.title().to_owned(),
            decided_by,
        ]
    }));
    let nothing = if tasks.is_empty() { "  nothing\n" } else { "" };
    Ok(format!("{ACCOUNT}: due by {week}\n\n{}{nothing}", columns(&rows)))
}

/// Rows with columns as wide as their longest text.
fn columns(rows: &[[String; 5]]) -> String {
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; 5] = std::array::from_fn(width);
    let line = |row: &[String; 5]| {
        let cells = row.iter().zip(widths).map(|(text, width)| format!("  {text:<width$}"));
        cells.collect::<String>().trim_end().to_owned() + "\n"
    };
    rows.iter().map(line).collect()
}

/// Makes a key, and says how to ask for the same list with it.
pub async fn ways(cx: &Context, account: AccountId, address: SocketAddr) -> Result<String> {
    let (_, secret) =
        accounts::create_key(cx, account, KeyId::new(), KeyDraft::of_everything("demo")).await?;
    let (key, url) = (secret.reveal(), format!("http://{address}"));
    Ok(format!(
        "Ask for the same list with curl:\n\n  curl -H 'Authorization: Bearer {key}' '{url}/v1/tasks?within=P7D'\n\n\
         with the command:\n\n  export EAVESWARD_URL={url} EAVESWARD_KEY={key}\n  \
         cargo run -q -p eavesward-client --features cli -- due\n\n\
         with the SDK (see weekly_list.rs, poll_status.rs, log_visit.rs and follow_reminders.rs in client/examples):\n\n  \
         cargo run -q -p eavesward-client --example weekly_list\n\n\
         Read and try the API at {url}/docs/. Stop with Ctrl-C.\n"
    ))
}

#[cfg(test)]
mod tests {
    use super::columns;

    #[test]
    fn a_long_name_shifts_no_row() {
        let rows = [["a", "b", "c", "d", "e"], ["a long name", "b", "c", "d", "e"]];
        let text = columns(&rows.map(|row| row.map(str::to_owned)));
        assert_eq!(text, "  a            b  c  d  e\n  a long name  b  c  d  e\n");
    }
}
