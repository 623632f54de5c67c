//! Figures of the whole database.

use crate::domain::base::error::Stored;
use crate::domain::model::figures::StoreFigures;
use async_trait::async_trait;
use chrono::{DateTime, Utc};

/// Reads figures of the whole database, which the metrics show.
#[async_trait]
pub trait FigureStore: Send + Sync {
    /// The figures of now. It reads indexes and small tables only.
    async fn figures(&self, now: DateTime<Utc>) -> Stored<StoreFigures>;
    /// Connections of this process that are in use, and those that are idle.
    fn connections(&self) -> (u64, u64);
}
