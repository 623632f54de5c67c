//! Pure decisions: the same inputs always give the same answer.

pub mod delivery;
pub mod digest;
pub mod forecast;
pub mod ical;
pub mod rain;
pub mod reminders;
pub mod retry;
pub mod rounds;
pub mod upkeep;
