//! The digest: the weekly list in one piece, for programs, spreadsheets, mails and pages.

use super::tasks::{DayRange, day_range};
use crate::domain::base::clock;
use crate::domain::base::ids::{PropertyId, SystemId};
use crate::domain::context::Context;
use crate::domain::rules::digest::make::DigestScope;
use crate::domain::rules::digest::render;
use crate::domain::rules::digest::render::Format;
use crate::domain::use_cases::digest;
use crate::http::access::Reader;
use crate::http::acting::Cx;
use crate::http::conditional::{hashed, text};
use crate::http::negotiate;
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use eavesward_contract::{self as wire, ProblemCode};
use serde::Deserialize;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// Days ahead of a digest that does not say: a week.
const USUAL_DAYS: u64 = 7;

/// What a digest can be written as.
struct Representation {
    /// The ending of its path.
    ending: &'static str,
    media_type: &'static str,
    /// How its text is written; none for JSON.
    format: Option<Format>,
}

/// JSON comes first, for those who take anything.
const REPRESENTATIONS: [Representation; 4] = [
    Representation { ending: "json", media_type: "application/json", format: None },
    Representation { ending: "txt", media_type: "text/plain", format: Some(Format::Text) },
    Representation { ending: "md", media_type: "text/markdown", format: Some(Format::Markdown) },
    Representation { ending: "csv", media_type: "text/csv", format: Some(Format::Csv) },
];

/// What a digest is of.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct DigestQuery {
    /// Tasks at this property.
    pub property_id: Option<Uuid>,
    /// Tasks of this system.
    pub system_id: Option<Uuid>,
    /// Tasks due within this many days from today, including those that are due already; `P7D` when no days are given.
    /// It is an ISO 8601 duration in days or weeks. Give it without `from` and `to`.
    #[param(pattern = "^P[0-9]{1,5}[DW]$")]
    pub within: Option<String>,
    /// Tasks due on or after this day.
    pub from: Option<NaiveDate>,
    /// Tasks due on or before this day.
    pub to: Option<NaiveDate>,
}

impl DigestQuery {
    fn asked(&self, cx: &Context) -> Result<DigestScope, ApiError> {
        let DayRange { from, to } = match (&self.within, self.from, self.to) {
            (None, None, None) => DayRange { from: None, to: clock::last_day(cx.clock.now(), USUAL_DAYS) },
            (within, from, to) => day_range(cx, within.as_deref(), DayRange { from, to })?,
        };
        let (property_id, system_id) = (self.property_id.map(PropertyId), self.system_id.map(SystemId));
        Ok(DigestScope { property_id, system_id, from, to })
    }
}

/// Make a digest
///
/// What falls due in a week, or in the days that are given. It has the tasks by property, totals, what to bring for the whole
/// trip, and each caution once. The form is JSON, plain text, Markdown or CSV, by `Accept`. It lists at most 2,000 tasks,
/// counts the others and says how to ask for less.
#[utoipa::path(get, path = "/v1/digest", tag = "tasks", operation_id = "get_digest", params(DigestQuery),
    responses((status = 200, description = "The digest", content(
        (wire::Digest = "application/json"), (String = "text/plain"), (String = "text/markdown"),
        (String = "text/csv")))))]
pub async fn accepted(req: HttpRequest, caller: Reader, cx: Cx, query: Query<DigestQuery>) -> Answer {
    let best = negotiate::best(&req, &REPRESENTATIONS.map(|known| known.media_type));
    let Some(found) = REPRESENTATIONS.iter().find(|known| Some(known.media_type) == best) else {
        let detail = "Accept rules out all that a digest can be: application/json, text/plain, text/markdown, text/csv.";
        return Err(ApiError::new(ProblemCode::NotAcceptable, detail));
    };
    let mut response = answer(&req, caller, &cx, &query, found).await?;
    response.headers_mut().append(header::VARY, HeaderValue::from_static("accept"));
    Ok(response)
}

/// Make a digest as a file
///
/// The same for those who cannot set `Accept`: the ending of the path decides.
#[utoipa::path(get, path = "/v1/digest.{format}", tag = "tasks", operation_id = "get_digest_file",
    params(("format" = inline(Ending), Path, description = "How it is written"), DigestQuery),
    responses((status = 200, description = "The digest", content(
        (wire::Digest = "application/json"), (String = "text/plain"), (String = "text/markdown"),
        (String = "text/csv")))))]
pub async fn by_ending(
    req: HttpRequest,
    caller: Reader,
    cx: Cx,
    ending: web::Path<String>,
    query: Query<DigestQuery>,
) -> Answer {
    let Some(found) = REPRESENTATIONS.iter().find(|known| known.ending == ending.as_str()) else {
        let detail = "A digest ends in .json, .txt, .md or .csv.";
        return Err(ApiError::new(ProblemCode::NotAcceptable, detail));
    };
    answer(&req, caller, &cx, &query, found).await
}

/// The ending of the path, which says how the digest is written.
#[derive(utoipa::ToSchema)]
#[schema(rename_all = "lowercase")]
#[expect(dead_code, reason = "it describes a part of a path, which is read as text")]
enum Ending {
    Json,
    Txt,
    Md,
    Csv,
}

async fn answer(
    req: &HttpRequest,
    caller: Reader,
    cx: &Context,
    query: &DigestQuery,
    representation: &Representation,
) -> Answer {
    let digest = digest::gather(cx, caller.0, query.asked(cx)?).await?;
    match representation.format {
        None => hashed(req, &wire::Digest::from(digest)),
        Some(format) => {
            let media_type = format!("{}; charset=utf-8", representation.media_type);
            Ok(text(req, &media_type, render::render(&digest, format)))
        }
    }
}
