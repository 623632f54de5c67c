//! The digest: the weekly list in one piece, for programs, spreadsheets, mails and pages.

use super::tasks::span;
use crate::domain::base::clock;
use crate::domain::base::ids::{PropertyId, SystemId};
use crate::domain::context::Context;
use crate::domain::rules::digest::make::DigestQuery;
use crate::domain::rules::digest::render;
use crate::domain::rules::digest::render::Format;
use crate::domain::use_cases::digest;
use crate::http::access::Reader;
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

/// What a digest can be written as: the ending of its path, the media type, and how. JSON comes first, for those who take
/// anything.
const FORMATS: [(&str, &str, Option<Format>); 4] = [
    ("json", "application/json", None),
    ("txt", "text/plain", Some(Format::Text)),
    ("md", "text/markdown", Some(Format::Markdown)),
    ("csv", "text/csv", Some(Format::Csv)),
];

/// What a digest is of.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct Which {
    /// Tasks at this property.
    pub property_id: Option<Uuid>,
    /// Tasks of this system.
    pub system_id: Option<Uuid>,
    /// Tasks due up to so many days from today, what is due already included: an ISO 8601 duration in days or weeks; `P7D`
    /// when no days are given. Not together with `from` or `to`.
    #[param(pattern = "^P[0-9]{1,5}[DW]$")]
    pub within: Option<String>,
    /// Tasks due on or after this day.
    pub from: Option<NaiveDate>,
    /// Tasks due on or before this day.
    pub to: Option<NaiveDate>,
}

impl Which {
    fn asked(&self, cx: &Context) -> Result<DigestQuery, ApiError> {
        let (from, to) = match (&self.within, self.from, self.to) {
            (None, None, None) => (None, clock::last_day(cx.clock.now(), USUAL_DAYS)),
            (within, from, to) => span(cx, within.as_deref(), (from, to))?,
        };
        let (property_id, system_id) = (self.property_id.map(PropertyId), self.system_id.map(SystemId));
        Ok(DigestQuery { property_id, system_id, from, to })
    }
}

/// Make a digest
///
/// What falls due, by property, with totals, what to bring for the whole trip, and every caution once; a week when no days
/// are given. As JSON, plain text, Markdown or CSV, by `Accept`. It lists at most 2,000 tasks, counts those that it leaves
/// out and says how to ask for less.
#[utoipa::path(get, path = "/v1/digest", tag = "tasks", operation_id = "get_digest", params(Which),
    responses((status = 200, description = "The digest", content(
        (wire::Digest = "application/json"), (String = "text/plain"), (String = "text/markdown"),
        (String = "text/csv")))))]
pub async fn accepted(
    req: HttpRequest,
    caller: Reader,
    cx: web::Data<Context>,
    which: Query<Which>,
) -> Answer {
    let best = negotiate::best(&req, &FORMATS.map(|(_, media_type, _)| media_type));
    let Some(found) = FORMATS.iter().find(|(_, media_type, _)| Some(*media_type) == best) else {
        let detail = "Accept rules out all that a digest can be: application/json, text/plain, text/markdown, text/csv.";
        return Err(ApiError::new(ProblemCode::NotAcceptable, detail));
    };
    let mut response = answer(&req, caller, &cx, &which, found.2, found.1).await?;
    response.headers_mut().append(header::VARY, HeaderValue::from_static("accept"));
    Ok(response)
}

/// Make a digest as a file
///
/// The same for those who cannot set `Accept`: the ending of the path decides.
#[utoipa::path(get, path = "/v1/digest.{format}", tag = "tasks", operation_id = "get_digest_as",
    params(("format" = inline(Ending), Path, description = "How it is written"), Which),
    responses((status = 200, description = "The digest", content(
        (wire::Digest = "application/json"), (String = "text/plain"), (String = "text/markdown"),
        (String = "text/csv")))))]
pub async fn by_ending(
    req: HttpRequest,
    caller: Reader,
    cx: web::Data<Context>,
    ending: web::Path<String>,
    which: Query<Which>,
) -> Answer {
    let Some(found) = FORMATS.iter().find(|(known, _, _)| *known == ending.as_str()) else {
        let detail = "A digest ends in .json, .txt, .md or .csv.";
        return Err(ApiError::new(ProblemCode::NotAcceptable, detail));
    };
    answer(&req, caller, &cx, &which, found.2, found.1).await
}

/// The endings, for the document.
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
    which: &Which,
    format: Option<Format>,
    media_type: &str,
) -> Answer {
    let digest = digest::gather(cx, caller.0, which.asked(cx)?).await?;
    match format {
        None => hashed(req, &wire::Digest::from(digest)),
        Some(format) => {
            let media_type = format!("{media_type}; charset=utf-8");
            Ok(text(req, &media_type, render::render(&digest, format)))
        }
    }
}
