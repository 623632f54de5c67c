//! What a system's forecast is made from, apart from the rain.

use crate::domain::model::component::Component;
use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::gauge::Gauge;
use crate::domain::model::property::Property;
use crate::domain::model::system::System;
use crate::domain::model::visit::Visit;
use std::sync::Arc;

/// Everything that a system's forecast is made from, apart from the rain.
#[derive(Clone, Debug, PartialEq)]
pub struct Inputs {
    /// The system.
    pub system: System,
    /// Its property.
    pub property: Property,
    /// Its rain gauge.
    pub gauge: Gauge,
    /// All its components, removed ones included, oldest first.
    pub components: Vec<Component>,
    /// Its visits that were not withdrawn, by day.
    pub visits: Vec<Visit>,
    /// What its account has set for duties. All systems of the account that are read together share it.
    pub duty_settings: Arc<DutySettings>,
}
