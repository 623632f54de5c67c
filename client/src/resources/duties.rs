//! Duties and the figures that decide when they fall due.

use crate::{Client, DutyQuery, Error, Items, requests};
use eavesward_contract::{Duty, DutySettings, DutySettingsRequest};

/// The figures that decide when duties fall due, and the account's own figures that replace the defaults.
#[derive(Clone, Copy, Debug)]
pub struct Duties<'a>(pub(super) &'a Client);

impl Duties<'_> {
    /// Every duty as a stream.
    pub fn list(&self, query: &DutyQuery) -> Items<DutySettings> {
        self.0.follow(query.cursor.clone(), |cursor| requests::list_duties(&DutyQuery { cursor }))
    }

    /// One duty.
    pub async fn get(&self, duty: &Duty) -> Result<DutySettings, Error> {
        self.0.call(requests::duty(duty)).await
    }

    /// Replaces the account's own figures for a duty, if it still has this version. An absent figure goes back to
    /// the default. The service then forecasts all systems of the account again.
    pub async fn set(
        &self,
        duty: &Duty,
        version: i64,
        settings: &DutySettingsRequest,
    ) -> Result<DutySettings, Error> {
        self.0.call(requests::update_duty(duty, version, settings)?).await
    }

    /// Goes back to the defaults of a duty, if it still has this version.
    pub async fn reset(&self, duty: &Duty, version: i64) -> Result<DutySettings, Error> {
        self.set(duty, version, &DutySettingsRequest::default()).await
    }
}
