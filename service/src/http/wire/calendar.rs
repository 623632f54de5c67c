//! Calendar feeds.

use crate::domain::base::ids::PropertyId;
use crate::domain::model::calendar;
use eavesward_contract as wire;

impl From<wire::CalendarRequest> for calendar::CalendarDraft {
    fn from(request: wire::CalendarRequest) -> Self {
        Self {
            name: request.name,
            property_id: request.property_id.map(PropertyId),
            horizon_days: request.horizon_days,
        }
    }
}

impl From<calendar::Calendar> for wire::Calendar {
    fn from(calendar: calendar::Calendar) -> Self {
        Self {
            id: calendar.id.0,
            name: calendar.name,
            property_id: calendar.property_id.map(|id| id.0),
            horizon_days: calendar.horizon_days,
            hint: calendar.hint,
            created_at: calendar.created_at,
            last_read_at: calendar.last_read_at,
            revoked_at: calendar.revoked_at,
        }
    }
}
