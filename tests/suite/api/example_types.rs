//! The types of the contract by the names of their schemas.

use eavesward_contract as wire;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// What a type makes of an example.
pub enum Parsed {
    /// It is read, and written like this.
    As(Value),
    /// It is not of the type.
    Failed(String),
    /// There is no such type.
    NoType,
}

fn again<T: DeserializeOwned + Serialize>(example: &Value) -> Parsed {
    match serde_json::from_value::<T>(example.clone()) {
        Ok(value) => Parsed::As(serde_json::to_value(value).expect("JSON")),
        Err(error) => Parsed::Failed(error.to_string()),
    }
}

macro_rules! types {
    ($($name:ident)*; pages $($item:ident)*) => {
        /// Reads an example as the type of a schema.
        pub fn parsed(schema: &str, example: &Value) -> Parsed {
            // Generators of some languages have types of their own called so.
            let schema = match schema {
                "RainwaterSystem" => "System",
                "UpkeepTask" => "Task",
                "Page_RainwaterSystem" => "Page_System",
                "Page_UpkeepTask" => "Page_Task",
                other => other,
            };
            match schema {
                $(stringify!($name) => again::<wire::$name>(example),)*
                $(concat!("Page_", stringify!($item)) => again::<wire::Page<wire::$item>>(example),)*
                _ => Parsed::NoType,
            }
        }
    };
}

types! {
    Account CalendarCreated CalendarRequest Component ComponentRequest Delivery DeliveryLog Digest
    DigestPosted DutySettings DutySettingsRequest ForecastRequest Gauge GaugeRequest KeyCreated
    KeyRequest Property PropertyRequest RainReport RainRequest ReminderFeed ReminderPosted ReplaceRequest
    RetireRequest Round RoundDone RoundDoneRequest RoundProposal RoundRequest Subscription
    SubscriptionRequest SubscriptionSecret System SystemCreateRequest SystemForecast SystemStatus
    SystemUpdateRequest Task TestPosted Visit VisitRequest WithdrawRequest;
    pages
    AnsweredForecast ApiKey AuditEntry Calendar Component Delivery DutySettings DutySkill Gauge Property RainDay
    Round Subscription System Task Visit VisitRevision
}
