//! Systems: one roof, one rain gauge, and the components between roof and tap.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::ids::{AccountId, GaugeId, PropertyId, SystemId};
use crate::domain::model::component::Component;
use crate::domain::model::roof::Roof;
use chrono::{DateTime, NaiveDate, Utc};

/// The most components of a system, removed ones included.
pub const MOST_COMPONENTS: usize = 1000;

/// The most components of one request. Judgement: a large site has some fifty.
pub const MOST_AT_ONCE: usize = 200;

/// Litres drawn a day. Judgement: a thousand cubic metres are what a town uses.
pub const DEMAND_L_PER_DAY: Bounds = Bounds::of(0.0, 1_000_000.0);

/// What is known of a system.
#[derive(Clone, Debug, PartialEq)]
pub struct SystemFacts {
    /// Its property.
    pub property_id: PropertyId,
    /// The rain gauge that measures its rain.
    pub gauge_id: GaugeId,
    /// Its name.
    pub name: String,
    /// Its roof.
    pub roof: Roof,
    /// The day it went into service.
    pub commissioned_on: NaiveDate,
    /// Litres drawn a day.
    pub demand_l_per_day: f64,
    /// The day it was taken out of service.
    pub retired_on: Option<NaiveDate>,
}

impl SystemFacts {
    /// A system from which no water is drawn, without an end of service.
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
    /// The account that owns it.
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
    /// Those of this rain gauge.
    pub gauge_id: Option<GaugeId>,
}
