//! Handles: one a resource, each a thin layer of sending over [`crate::requests`].
//!
//! To add a call: add its request to `requests`, then a method here that sends it.

mod calendars;
mod duties;
mod places;
mod rounds;
mod subscriptions;
mod systems;
mod work;

pub use calendars::Calendars;
pub use duties::Duties;
pub use places::{Gauges, Keys, Properties, property_update_from};
pub use rounds::Rounds;
pub use subscriptions::{Subscriptions, subscription_update_from};
pub use systems::{Components, StatusChange, Systems, system_update_from};
pub use work::{Reminders, Skill, Tasks, Visits};

use crate::{Client, DigestFormat, DigestQuery, Error, Items, Request, requests};
use eavesward_contract::{Account, Digest, ForecastRequest, Page, SystemForecast};
use serde::de::DeserializeOwned;

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

    /// Follows a list whose request is made anew for each cursor.
    fn follow<T, F>(&self, first: Option<String>, request: F) -> Items<T>
    where
        T: DeserializeOwned + Send + 'static,
        F: Fn(Option<String>) -> Request + Send + 'static,
    {
        let client = self.clone();
        Items::follow(first, move |cursor| {
            let (client, request) = (client.clone(), request(cursor));
            async move { client.call::<Page<T>>(request).await }
        })
    }
}

/// Writes the two forms of a list: `page` gives one page, `list` follows the cursors.
macro_rules! list_methods {
    ($item:ty, $query:ty, $request:path) => {
        /// The items that the query asks for as a stream, starting at the query's cursor.
        pub fn list(&self, query: &$query) -> crate::Items<$item> {
            let query = query.clone();
            self.0.follow(query.cursor.clone(), move |cursor| {
                let mut query = query.clone();
                query.cursor = cursor;
                $request(&query)
            })
        }

        /// One page of [`Self::list`].
        pub async fn page(&self, query: &$query) -> Result<eavesward_contract::Page<$item>, crate::Error> {
            self.0.call($request(query)).await
        }
    };
}
pub(crate) use list_methods;
