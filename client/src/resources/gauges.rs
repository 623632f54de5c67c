//! Rain gauges and their readings.

use super::lists::list_methods;
use crate::rain_file::{self, ReportSum};
use crate::{Client, Error, Items, ListQuery, RainFileOptions, RainOptions, RainQuery, requests};
use chrono::NaiveDate;
use eavesward_contract::{Gauge, GaugeRequest, Page, RainDay, RainReport, RainRequest};
use uuid::Uuid;

/// Rain gauges and their readings.
#[derive(Clone, Copy, Debug)]
pub struct Gauges<'a>(pub(super) &'a Client);

impl Gauges<'_> {
    list_methods!(Gauge, ListQuery, requests::list_gauges);

    /// Registers a rain gauge.
    pub async fn create(&self, gauge: &GaugeRequest) -> Result<Gauge, Error> {
        self.0.call(requests::create_gauge(gauge)?).await
    }

    /// One rain gauge.
    pub async fn get(&self, id: Uuid) -> Result<Gauge, Error> {
        self.0.call(requests::gauge(id)).await
    }

    /// Replaces the data of a rain gauge, if it still has this version. Its readings stay.
    pub async fn update(&self, id: Uuid, version: i64, gauge: &GaugeRequest) -> Result<Gauge, Error> {
        self.0.call(requests::update_gauge(id, version, gauge)?).await
    }

    /// Removes a rain gauge and its readings, if it still has this version and no system uses it.
    pub async fn delete(&self, id: Uuid, version: i64) -> Result<(), Error> {
        self.0.send(requests::delete_gauge(id, version)).await.map(drop)
    }

    /// Sends daily rain. It adds or replaces readings by date, so sending it twice changes nothing.
    ///
    /// Readings that are not allowed are left out and reported. With `all_or_nothing`, one such reading makes the
    /// call fail, and nothing is stored.
    pub async fn send_rain(
        &self,
        id: Uuid,
        rain: &RainRequest,
        options: &RainOptions,
    ) -> Result<RainReport, Error> {
        self.0.call(requests::send_rain(id, rain, options)?).await
    }

    /// Sends a rain file of any length. It adds or replaces readings by date.
    ///
    /// A long file is sent in pieces of [`rain_file::MAX_LINES`] lines, or of [`RainFileOptions::max_lines`]. The
    /// report covers the whole file. If a piece fails, the pieces before it are already stored; you may safely send
    /// the whole file again. With `all_or_nothing` the file goes in one request, which the service may refuse as
    /// too large.
    ///
    /// # Errors
    ///
    /// The errors of [`Client::send`] and of [`rain_file::split`].
    pub async fn send_rain_file(
        &self,
        id: Uuid,
        text: &str,
        options: &RainFileOptions,
    ) -> Result<RainReport, Error> {
        self.send_rain_file_with(id, text, options, |_, _| {}).await
    }

    /// The same as [`Self::send_rain_file`], with progress. `told` gets the number of stored pieces and of all
    /// pieces, once before the first piece and after each.
    pub async fn send_rain_file_with(
        &self,
        id: Uuid,
        text: &str,
        options: &RainFileOptions,
        mut told: impl FnMut(usize, usize),
    ) -> Result<RainReport, Error> {
        let split = |max_lines| rain_file::split(text, options.layout, max_lines);
        let mut sum = ReportSum::default();
        let pieces = match options.max_lines {
            _ if options.all_or_nothing => split(usize::MAX)?,
            // A file that cannot be split into small pieces may still go in one piece.
            Some(most) => {
                split(most.clamp(1, rain_file::MAX_LINES)).or_else(|_| split(rain_file::MAX_LINES))?
            }
            None => split(rain_file::MAX_LINES)?,
        };
        told(0, pieces.len());
        for (at, piece) in pieces.iter().enumerate() {
            let report = self.0.call(requests::send_rain_file(id, piece.text.as_str(), options)).await?;
            sum.add(piece, report);
            told(at + 1, pieces.len());
        }
        Ok(sum.finish())
    }

    /// The readings of a rain gauge as a stream, by date.
    pub fn rain(&self, id: Uuid, query: &RainQuery) -> Items<RainDay> {
        let query = query.clone();
        self.0.follow(query.cursor.clone(), move |cursor| {
            requests::list_rain(id, &RainQuery { cursor, ..query.clone() })
        })
    }

    /// One page of [`Gauges::rain`].
    pub async fn rain_page(&self, id: Uuid, query: &RainQuery) -> Result<Page<RainDay>, Error> {
        self.0.call(requests::list_rain(id, query)).await
    }

    /// Deletes the readings from one day to another, both included.
    pub async fn delete_rain(&self, id: Uuid, from: NaiveDate, to: NaiveDate) -> Result<(), Error> {
        self.0.send(requests::delete_rain(id, from, to)).await.map(drop)
    }
}
