//! The SDK and the command against the live service.
//!
//! `calls` makes every typed call once and fails when the document has an operation that none of them reaches; the
//! other files look at what the SDK adds to the wire. `command` runs `eavesward` as a process.

mod access;
mod blocking;
mod calls;
mod command;
mod lost_answers;
mod paging;
mod rain;
mod status;
mod updates;
mod watch;

use crate::support::app::App;
use chrono::NaiveDate;
use eavesward_client::Client;
use eavesward_client::contract::{
    Canopy, ComponentRequest, CouplingMaterial, Emptying, Exposition, Gauge, GaugeRequest, Part, Property,
    PropertyRequest, RainDay, RainRequest, RoofRequest, Shade, Surface, System, SystemCreateRequest,
};

/// A place of the Alder Row co-operative: the school greenhouse.
struct Place {
    property: Property,
    gauge: Gauge,
    system: System,
}

/// All readings or none.
fn whole() -> eavesward_client::RainOptions {
    eavesward_client::RainOptions::builder().all_or_nothing(true).build()
}

fn client(app: &App) -> Client {
    client_as(app, &app.key)
}

fn client_as(app: &App, key: &str) -> Client {
    Client::builder().base_url(app.url.as_str()).key(key).build().expect("a client")
}

fn day(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

fn property(name: &str) -> PropertyRequest {
    PropertyRequest {
        elevation_m: 52.0,
        notes: Some("Keys are with the upkeep rota.".to_owned()),
        ..PropertyRequest::new(name, 48.0, 0.5, "Europe/London")
    }
}

fn gauge(name: &str) -> GaugeRequest {
    GaugeRequest { name: name.to_owned(), latitude_deg: 48.0, longitude_deg: 0.5, normals: None }
}

fn component(name: &str, part: Part) -> ComponentRequest {
    ComponentRequest { name: name.to_owned(), part, installed_on: day("2025-01-01"), last_served_on: None }
}

fn screen(name: &str) -> ComponentRequest {
    component(name, Part::DebrisScreen { area_m2: 0.2, mesh_mm: Some(1.0) })
}

/// A part that takes leaves, one that takes runoff, one that takes light.
fn parts() -> Vec<ComponentRequest> {
    let epdm = Part::Coupling {
        material: CouplingMaterial::Epdm,
        exposition: Exposition::VerticalPipe,
        shade: Shade::FullSun,
        shade_share: None,
    };
    let chamber = Part::FirstFlushDiverter { chamber_volume_l: 50.0, emptying: Emptying::Hand {} };
    vec![screen("north screen"), component("first flush", chamber), component("coupling", epdm)]
}

fn roof() -> RoofRequest {
    RoofRequest {
        runoff_coefficient: Some(0.9),
        wetting_loss_mm: Some(0.5),
        canopy: Canopy::Deciduous,
        canopy_share: 0.25,
        ..RoofRequest::new(50.0, Surface::Metal)
    }
}

fn system(property: &Property, gauge: &Gauge, name: &str) -> SystemCreateRequest {
    SystemCreateRequest {
        property_id: property.id,
        gauge_id: gauge.id,
        name: name.to_owned(),
        roof: roof(),
        commissioned_on: day("2025-01-01"),
        demand_l_per_day: 100.0,
        components: parts(),
    }
}

/// Registers the school greenhouse.
async fn place(client: &Client) -> Place {
    let property = client.properties().create(&property("School greenhouse")).await.expect("a property");
    let gauge = client.gauges().create(&gauge("orchard gauge")).await.expect("a gauge");
    let asked = system(&property, &gauge, "seedling house");
    let system = client.systems().create(&asked).await.expect("a system");
    Place { property, gauge, system }
}

/// So many days of the same rain, from a day on.
fn rain_of(first: &str, days: usize, rain_mm: f64) -> RainRequest {
    RainRequest { days: day(first).iter_days().take(days).map(|date| RainDay { date, rain_mm }).collect() }
}
