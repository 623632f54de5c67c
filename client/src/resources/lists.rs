//! Code that all lists share.

use crate::{Client, Items, Request};
use eavesward_contract::Page;
use serde::de::DeserializeOwned;

impl Client {
    /// Follows a list. `request` makes the request for each cursor.
    pub(super) fn follow<T, F>(&self, first: Option<String>, request: F) -> Items<T>
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
        /// The items that match the query as a stream, from the query's cursor on.
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
