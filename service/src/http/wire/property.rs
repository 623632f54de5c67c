//! Properties.

use crate::domain::model::property;
use eavesward_contract as wire;

impl From<wire::PropertyRequest> for property::PropertyDraft {
    fn from(request: wire::PropertyRequest) -> Self {
        Self {
            name: request.name,
            latitude_deg: request.latitude_deg,
            longitude_deg: request.longitude_deg,
            elevation_m: request.elevation_m,
            time_zone: request.time_zone,
            months: months(request.temperatures, request.evaporation_mm_per_day),
            notes: request.notes,
        }
    }
}

/// What a request says of the months.
pub(super) fn months(
    temperatures: Option<wire::MonthlyTemperatures>,
    evaporation_mm_per_day: Option<Vec<f64>>,
) -> property::MonthsDraft {
    let wire::MonthlyTemperatures { mean_c, mean_minimum_c } = temperatures.unwrap_or_default();
    property::MonthsDraft { mean_c, mean_minimum_c, evaporation_mm_per_day }
}

fn temperatures(months: &property::Months) -> Option<wire::MonthlyTemperatures> {
    let property::Temperatures { mean_c, mean_minimum_c } = months.temperatures;
    (mean_c.is_some() || mean_minimum_c.is_some()).then(|| wire::MonthlyTemperatures {
        mean_c: mean_c.map(Vec::from),
        mean_minimum_c: mean_minimum_c.map(Vec::from),
    })
}

impl From<property::Property> for wire::Property {
    fn from(property: property::Property) -> Self {
        let facts = property.facts;
        Self {
            id: property.id.0,
            name: facts.name,
            latitude_deg: facts.latitude_deg,
            longitude_deg: facts.longitude_deg,
            elevation_m: facts.elevation_m,
            time_zone: facts.time_zone.name().to_owned(),
            temperatures: temperatures(&facts.months),
            evaporation_mm_per_day: facts.months.evaporation_mm_per_day.map(Vec::from),
            notes: facts.notes,
            version: property.version,
            created_at: property.created_at,
            updated_at: property.updated_at,
        }
    }
}
