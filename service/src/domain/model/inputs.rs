//! What a system's forecast is made from, but for the rain.

use crate::domain::model::component::Component;
use crate::domain::model::duty_settings::DutySettings;
use crate::domain::model::gauge::Gauge;
use crate::domain::model::property::Property;
use crate::domain::model::system::System;
use crate::domain::model::visit::Visit;
use std::sync::Arc;

/// Everything a system's forecast is made from, but for the rain.
#[derive(Clone, Debug, PartialEq)]
pub struct Inputs {
    /// The system.
    pub system: System,
    /// Its property.
    pub property: Property,
    /// Its gauge.
    pub gauge: Gauge,
    /// All its components, those taken out included, oldest first.
    pub components: Vec<Component>,
    /// Its visits that were not withdrawn, by day.
    pub visits: Vec<Visit>,
    /// What its account has set for duties; shared by all systems of the account that are read together.
    pub duty_settings: Arc<DutySettings>,
}
