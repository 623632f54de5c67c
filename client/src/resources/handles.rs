//! The methods of the client that give a handle, and the calls that belong to no resource.

use super::{
    Calendars, Components, Duties, Gauges, Keys, Properties, Reminders, Rounds, Skill, Subscriptions,
    Systems, Tasks, Visits,
};
use crate::{Client, DigestFormat, DigestQuery, Error, requests};
use eavesward_contract::{Account, Digest, ForecastRequest, SystemForecast};

impl Client {
    /// The account that the key belongs to.
    pub async fn account(&self) -> Result<Account, Error> {
        self.call(requests::account()).await
    }

    /// Forecasts a system that nobody has registered; nothing is stored.
    pub async fn forecast(&self, request: &ForecastRequest) -> Result<SystemForecast, Error> {
        self.call(requests::forecast(request)?).await
    }

    /// The account's keys.
    pub fn keys(&self) -> Keys<'_> {
        Keys(self)
    }

    /// Feeds for people's calendars.
    pub fn calendars(&self) -> Calendars<'_> {
        Calendars(self)
    }

    /// What falls due when, and the account's own figures.
    pub fn duties(&self) -> Duties<'_> {
        Duties(self)
    }

    /// The places that systems stand at.
    pub fn properties(&self) -> Properties<'_> {
        Properties(self)
    }

    /// Gauges and their rain.
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

    /// What falls due.
    pub fn tasks(&self) -> Tasks<'_> {
        Tasks(self)
    }

    /// What became of tasks, to be followed.
    pub fn reminders(&self) -> Reminders<'_> {
        Reminders(self)
    }

    /// What falls due, by property, with what to bring for the whole trip and every caution once; a week when the query
    /// names no days.
    pub async fn digest(&self, query: &DigestQuery) -> Result<Digest, Error> {
        self.call(requests::digest(query)).await
    }

    /// The same as text, for a mail, a page or a spreadsheet.
    pub async fn digest_as(&self, query: &DigestQuery, format: DigestFormat) -> Result<String, Error> {
        self.send(requests::digest_as(query, format)).await?.text()
    }

    /// Reminders and digests, posted to an address.
    pub fn subscriptions(&self) -> Subscriptions<'_> {
        Subscriptions(self)
    }

    /// Tasks put together into trips.
    pub fn rounds(&self) -> Rounds<'_> {
        Rounds(self)
    }

    /// How well past forecasts met what was found.
    pub fn skill(&self) -> Skill<'_> {
        Skill(self)
    }

    /// What was done and found.
    pub fn visits(&self) -> Visits<'_> {
        Visits(self)
    }
}
