//! Systems: one roof, one gauge, and the components between them and the tap.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::ids::{AccountId, GaugeId, PropertyId, SystemId};
use crate::domain::model::component::Component;
use crate::domain::model::roof::Roof;
use chrono::{DateTime, NaiveDate, Utc};

/// The most components a system may have, those taken out included.
pub const MOST_COMPONENTS: usize = 1000;

/// The most components of one request. Judgement: a large site has some fifty.
pub const MOST_AT_ONCE: usize = 200;

/// Litres drawn a day. Judgement: a thousand cubic metres are a town's.
pub const DEMAND_L_PER_DAY: Bounds = Bounds::of(0.0, 1_000_000.0);

/// What is known of a system.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemFacts {
    /// Where it stands.
    pub property_id: PropertyId,
    /// The gauge whose rain falls on it.
    pub gauge_id: GaugeId,
    /// What it is called.
    pub name: String,
    /// Its roof.
    pub roof: Roof,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Litres a day.
    pub demand_l_per_day: f64,
    /// The day it was taken out of service.
    pub retired_on: Option<NaiveDate>,
}

impl SystemFacts {
    /// A system from which nothing is drawn, and which is to stay in service.
    pub fn new(
        property_id: PropertyId,
        gauge_id: GaugeId,
        name: impl Into<String>,
        roof: Roof,
        commissioned_on: NaiveDate,
    ) -> Self {
        let (demand_l_per_day, retired_on) = (0.0, None);
        Self { property_id, gauge_id, name: name.into(), roof, commissioned_on, demand_l_per_day, retired_on }
    }
}

/// A system.
#[derive(Clone, Debug, PartialEq)]
pub struct System {
    /// Id.
    pub id: SystemId,
    /// Whose it is.
    pub account_id: AccountId,
    /// What is known of it.
    pub facts: SystemFacts,
    /// Counts up with every change of the facts.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When its facts were last changed.
    pub updated_at: DateTime<Utc>,
}

/// A system with its components in service, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Assembled {
    /// The system.
    pub system: System,
    /// Its components.
    pub components: Vec<Component>,
}

/// Which systems to list.
#[derive(Clone, Debug, Default)]
pub struct SystemFilter {
    /// Those at this property.
    pub property_id: Option<PropertyId>,
    /// Those under this gauge.
    pub gauge_id: Option<GaugeId>,
}
