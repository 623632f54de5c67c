//! The client's methods that give a handle, and the calls that belong to no resource.

use super::{
    Audit, Calendars, Components, Duties, Gauges, Keys, Properties, Reminders, Rounds, Skill, Subscriptions,
    Systems, Tasks, Visits,
};
use crate::{Client, DigestFormat, DigestQuery, Error, requests};
use eavesward_contract::{Account, Digest, ForecastRequest, SystemForecast};

impl Client {
    /// The account that the key belongs to.
    pub async fn account(&self) -> Result<Account, Error> {
        self.call(requests::account()).await
    }

    /// Forecasts a system that is not registered. Nothing is stored.
    pub async fn forecast(&self, request: &ForecastRequest) -> Result<SystemForecast, Error> {
        self.call(requests::forecast(request)?).await
    }

    /// The account's keys.
    pub fn keys(&self) -> Keys<'_> {
        Keys(self)
    }

    /// Who changed what in the account.
    pub fn audit(&self) -> Audit<'_> {
        Audit(self)
    }

    /// Calendar feeds.
    pub fn calendars(&self) -> Calendars<'_> {
        Calendars(self)
    }

    /// The figures that decide when duties fall due.
    pub fn duties(&self) -> Duties<'_> {
        Duties(self)
    }

    /// Properties: the places where systems are.
    pub fn properties(&self) -> Properties<'_> {
        Properties(self)
    }

    /// Rain gauges and their readings.
    pub fn gauges(&self) -> Gauges<'_> {
        Gauges(self)
    }

    /// Systems with their forecast, status and components.
    pub fn systems(&self) -> Systems<'_> {
        Systems(self)
    }

    /// Single components.
    pub fn components(&self) -> Components<'_> {
        Components(self)
    }

    /// Tasks: what falls due.
    pub fn tasks(&self) -> Tasks<'_> {
        Tasks(self)
    }

    /// Reminders: a feed of what happens to tasks.
    pub fn reminders(&self) -> Reminders<'_> {
        Reminders(self)
    }

    /// What falls due, by property, with what to bring for the whole trip and each caution once. It covers 7 days
    /// unless the query names days.
    pub async fn digest(&self, query: &DigestQuery) -> Result<Digest, Error> {
        self.call(requests::digest(query)).await
    }

    /// The digest as text, for a mail, a page or a spreadsheet.
    pub async fn digest_as(&self, query: &DigestQuery, format: DigestFormat) -> Result<String, Error> {
        self.send(requests::digest_as(query, format)).await?.text()
    }

    /// Subscriptions: reminders and digests that are sent to a URL.
    pub fn subscriptions(&self) -> Subscriptions<'_> {
        Subscriptions(self)
    }

    /// Rounds: tasks grouped into trips.
    pub fn rounds(&self) -> Rounds<'_> {
        Rounds(self)
    }

    /// How well past forecasts matched what was found.
    pub fn skill(&self) -> Skill<'_> {
        Skill(self)
    }

    /// Visits: what was done and found.
    pub fn visits(&self) -> Visits<'_> {
        Visits(self)
    }
}
