//! Subscriptions and what they post.

use super::lists::list_methods;
use crate::{Client, DeliveryQuery, Error, Items, ListQuery, requests};
use eavesward_contract::{
    Delivery, DeliveryLog, Page, Subscription, SubscriptionRequest, SubscriptionSecret,
};
use uuid::Uuid;

/// Reminders as they come, or digests at set times, posted to an address. Changing them needs the scope `admin`.
#[derive(Clone, Copy, Debug)]
pub struct Subscriptions<'a>(pub(super) &'a Client);

impl Subscriptions<'_> {
    list_methods!(Subscription, ListQuery, requests::list_subscriptions);

    /// Makes a subscription. Its secret is in the answer and can never be read again.
    pub async fn create(&self, subscription: &SubscriptionRequest) -> Result<SubscriptionSecret, Error> {
        self.0.call(requests::create_subscription(subscription)?).await
    }

    /// One subscription.
    pub async fn get(&self, id: Uuid) -> Result<Subscription, Error> {
        self.0.call(requests::subscription(id)).await
    }

    /// Replaces everything but its secret, if it still has this version. [`subscription_update_from`] is a start.
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        subscription: &SubscriptionRequest,
    ) -> Result<Subscription, Error> {
        self.0.call(requests::update_subscription(id, version, subscription)?).await
    }

    /// Removes it with everything that waits to be sent, if it still has this version.
    pub async fn delete(&self, id: Uuid, version: i64) -> Result<(), Error> {
        self.0.send(requests::delete_subscription(id, version)).await.map(drop)
    }

    /// Stops sending.
    pub async fn pause(&self, id: Uuid) -> Result<Subscription, Error> {
        self.0.call(requests::pause_subscription(id)).await
    }

    /// Goes on sending, what was raised meanwhile included.
    pub async fn resume(&self, id: Uuid) -> Result<Subscription, Error> {
        self.0.call(requests::resume_subscription(id)).await
    }

    /// Changes the secret; the old one signs beside the new one for a day.
    pub async fn rotate_secret(&self, id: Uuid) -> Result<SubscriptionSecret, Error> {
        self.0.call(requests::rotate_secret(id)).await
    }

    /// Posts a word of the type `test`; [`Self::delivery`] says what came of it.
    pub async fn test(&self, id: Uuid) -> Result<Delivery, Error> {
        self.0.call(requests::test_subscription(id)).await
    }

    /// What a subscription posted or is to post as a stream, latest first.
    pub fn deliveries(&self, id: Uuid, query: &DeliveryQuery) -> Items<Delivery> {
        let query = query.clone();
        self.0.follow(query.cursor.clone(), move |cursor| {
            requests::list_deliveries(id, &DeliveryQuery { cursor, ..query.clone() })
        })
    }

    /// One page of [`Self::deliveries`].
    pub async fn deliveries_page(&self, id: Uuid, query: &DeliveryQuery) -> Result<Page<Delivery>, Error> {
        self.0.call(requests::list_deliveries(id, query)).await
    }

    /// One delivery with every attempt.
    pub async fn delivery(&self, id: Uuid) -> Result<DeliveryLog, Error> {
        self.0.call(requests::delivery(id)).await
    }

    /// Sends a delivery again, under the same id.
    pub async fn send_again(&self, id: Uuid) -> Result<Delivery, Error> {
        self.0.call(requests::send_delivery_again(id)).await
    }
}

/// The request that would leave a subscription as it is: change what is to become different, and send it with
/// [`Subscriptions::update`].
pub fn subscription_update_from(subscription: &Subscription) -> SubscriptionRequest {
    SubscriptionRequest {
        name: subscription.name.clone(),
        url: subscription.url.clone(),
        carries: subscription.carries,
        kinds: subscription.kinds.clone(),
        property_id: subscription.property_id,
        system_id: subscription.system_id,
        lead_days: subscription.lead_days,
        schedule: subscription.schedule.clone(),
        time_zone: subscription.time_zone.clone(),
        form: subscription.form,
    }
}
