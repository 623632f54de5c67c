//! Quotas: how much one account may store, so that no account fills the database of the others.

use crate::domain::base::words::words;

words! {
    /// What is counted for an account.
    Counted {
        /// Keys that are not revoked.
        Keys "keys",
        /// Calendar feeds that are not revoked.
        Calendars "calendars",
        /// Properties.
        Properties "properties",
        /// Rain gauges.
        Gauges "gauges",
        /// Days with a reading, of all rain gauges together.
        RainDays "rain_days",
        /// Systems, retired ones too.
        Systems "systems",
        /// Subscriptions.
        Subscriptions "subscriptions",
        /// Test messages of the present day in UTC.
        TestMessages "test_messages",
    }
}

/// The most that one account may have of each; `None` where nothing bounds it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Quotas {
    /// Keys that are not revoked.
    pub keys: Option<u64>,
    /// Calendar feeds that are not revoked.
    pub calendars: Option<u64>,
    /// Properties.
    pub properties: Option<u64>,
    /// Rain gauges.
    pub gauges: Option<u64>,
    /// Days with a reading, of all rain gauges together.
    pub rain_days: Option<u64>,
    /// Systems, retired ones too.
    pub systems: Option<u64>,
    /// Subscriptions.
    pub subscriptions: Option<u64>,
    /// Test messages of one day in UTC.
    pub test_messages: Option<u64>,
}

impl Quotas {
    /// The most of one kind.
    pub const fn most(&self, of: Counted) -> Option<u64> {
        match of {
            Counted::Keys => self.keys,
            Counted::Calendars => self.calendars,
            Counted::Properties => self.properties,
            Counted::Gauges => self.gauges,
            Counted::RainDays => self.rain_days,
            Counted::Systems => self.systems,
            Counted::Subscriptions => self.subscriptions,
            Counted::TestMessages => self.test_messages,
        }
    }
}

/// How much of its quota an account has used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Usage {
    /// What is counted.
    pub of: Counted,
    /// How many there are.
    pub used: u64,
    /// The most that there may be.
    pub most: Option<u64>,
}
