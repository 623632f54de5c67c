//! Subscriptions and their deliveries.

use super::lists::list_methods;
use crate::{Client, DeliveryQuery, Error, Items, ListQuery, requests};
use eavesward_contract::{
    Delivery, DeliveryLog, Page, Subscription, SubscriptionRequest, SubscriptionSecret,
};
use uuid::Uuid;

/// Subscriptions send reminders as they arise, or digests at set times, to a URL. Changing them needs the scope
/// `admin`.
#[derive(Clone, Copy, Debug)]
pub struct Subscriptions<'a>(pub(super) &'a Client);

impl Subscriptions<'_> {
    list_methods!(Subscription, ListQuery, requests::list_subscriptions);

    /// Makes a subscription. Only this answer has its secret; it cannot be read again.
    pub async fn create(&self, subscription: &SubscriptionRequest) -> Result<SubscriptionSecret, Error> {
        self.0.call(requests::create_subscription(subscription)?).await
    }

    /// One subscription.
    pub async fn get(&self, id: Uuid) -> Result<Subscription, Error> {
        self.0.call(requests::subscription(id)).await
    }

    /// Replaces everything except the secret, if it still has this version. Start from
    /// [`subscription_update_from`].
    pub async fn update(
        &self,
        id: Uuid,
        version: i64,
        subscription: &SubscriptionRequest,
    ) -> Result<Subscription, Error> {
        self.0.call(requests::update_subscription(id, version, subscription)?).await
    }

    /// Removes the subscription and its unsent messages, if it still has this version.
    pub async fn delete(&self, id: Uuid, version: i64) -> Result<(), Error> {
        self.0.send(requests::delete_subscription(id, version)).await.map(drop)
    }

    /// Pauses sending.
    pub async fn pause(&self, id: Uuid) -> Result<Subscription, Error> {
        self.0.call(requests::pause_subscription(id)).await
    }

    /// Resumes sending, including what arose during the pause.
    pub async fn resume(&self, id: Uuid) -> Result<Subscription, Error> {
        self.0.call(requests::resume_subscription(id)).await
    }

    /// Changes the secret. For one day messages are signed with both secrets.
    pub async fn rotate_secret(&self, id: Uuid) -> Result<SubscriptionSecret, Error> {
        self.0.call(requests::rotate_secret(id)).await
    }

    /// Sends a message of the type `test`. [`Self::delivery`] shows whether it arrived.
    pub async fn test(&self, id: Uuid) -> Result<Delivery, Error> {
        self.0.call(requests::test_subscription(id)).await
    }

    /// The messages that a subscription sent or will send, as a stream, latest first.
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

    /// Sends a delivery again with the same id.
    pub async fn send_again(&self, id: Uuid) -> Result<Delivery, Error> {
        self.0.call(requests::send_delivery_again(id)).await
    }
}

/// An update that changes nothing yet. Change its fields, then send it with [`Subscriptions::update`].
pub fn subscription_update_from(subscription: &Subscription) -> SubscriptionRequest {
    let mut update = SubscriptionRequest::new(&subscription.name, &subscription.to);
    update.sends = subscription.sends;
    update.kinds.clone_from(&subscription.kinds);
    update.property_id = subscription.property_id;
    update.system_id = subscription.system_id;
    update.horizon_days = subscription.horizon_days;
    update.lead_days = subscription.lead_days;
    update.schedule.clone_from(&subscription.schedule);
    update.time_zone.clone_from(&subscription.time_zone);
    update.format = subscription.format;
    update
}
