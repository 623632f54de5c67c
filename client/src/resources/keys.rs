//! Keys of the account.

use super::lists::list_methods;
use crate::{Client, Error, ListQuery, requests};
use eavesward_contract::{ApiKey, KeyCreated, KeyRequest};
use uuid::Uuid;

/// The account's keys; all calls need the scope `admin`.
#[derive(Clone, Copy, Debug)]
pub struct Keys<'a>(pub(super) &'a Client);

impl Keys<'_> {
    list_methods!(ApiKey, ListQuery, requests::list_keys);

    /// Makes a key. Only this answer has its secret; it cannot be read again.
    pub async fn create(&self, key: &KeyRequest) -> Result<KeyCreated, Error> {
        self.0.call(requests::create_key(key)?).await
    }

    /// Revokes a key. It stops working at once.
    pub async fn revoke(&self, id: Uuid) -> Result<(), Error> {
        self.0.send(requests::revoke_key(id)).await.map(drop)
    }
}
