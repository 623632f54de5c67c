//! Rain in and out.

use crate::domain::base::blocking::blocking;
use crate::domain::base::error::Result as DomainResult;
use crate::domain::base::ids::GaugeId;
use crate::domain::model::rain::{OfferedReading, RainOffer, RainRange, check_count};
use crate::domain::rules::rain::files;
use crate::domain::rules::rain::files::SeveralDays;
use crate::domain::use_cases::rain;
use crate::http::access::{Reader, Writer};
use crate::http::acting::Cx;
use crate::http::body::{media_type, read, read_aside};
use crate::http::conditional::{json, page};
use crate::http::decode;
use crate::http::limits;
use crate::http::payload::{RAIN_FILE_LIMIT, RAIN_JSON_LIMIT, collect};
use crate::http::problem::ApiError;
use crate::http::query::Query;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};
use chrono::NaiveDate;
use eavesward_contract as wire;
use serde::Deserialize;
use serde_json::Value;
use serde_json::value::RawValue;
use uuid::Uuid;

type Answer = Result<HttpResponse, ApiError>;

/// What to do with a reading that was taken after several days.
#[derive(Debug, Clone, Copy, Default, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SeveralDaysChoice {
    /// Spread it evenly over the days it covers.
    #[default]
    Spread,
    /// Refuse it and say so.
    Refuse,
}

/// How an upload is to be read.
#[derive(Clone, Copy, Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct UploadQuery {
    /// Store nothing when a single reading is refused; `false` when absent.
    #[serde(default)]
    #[param(required = false)]
    pub all_or_nothing: bool,
    /// Layout of a `text/csv` body; `daily_csv` when absent.
    #[param(inline)]
    pub layout: Option<wire::RainLayout>,
    /// What to do with readings of a `text/csv` body that cover several days; `spread` when absent.
    #[param(inline)]
    pub several_days: Option<SeveralDaysChoice>,
}

impl UploadQuery {
    /// Refuses what says how a file is to be read, because JSON is no file.
    fn refuse_of_files(self) -> Result<(), ApiError> {
        let given = [("layout", self.layout.is_some()), ("several_days", self.several_days.is_some())];
        let mut given = given.into_iter().filter(|(_, given)| *given).peekable();
        if given.peek().is_none() {
            return Ok(());
        }
        let detail = "The body is JSON. Leave out the parameters that say how a text/csv body is to be read.";
        let mut refusal = ApiError::new(wire::ProblemCode::MalformedParameter, detail);
        let unread = |(field, _): (&str, bool)| wire::FieldProblem {
            field: field.to_owned(),
            message: "it is for a text/csv body only".to_owned(),
        };
        refusal.errors = given.map(unread).collect();
        Err(refusal)
    }
}

/// Which readings to list.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct RainQuery {
    /// First day; from the start of the record when absent.
    pub from: Option<NaiveDate>,
    /// Last day; to the end of the record when absent.
    pub to: Option<NaiveDate>,
    /// `next_cursor` of the page before; from the start when absent.
    pub cursor: Option<String>,
    /// Rows of a page, 1 to 500; 100 when absent.
    pub limit: Option<u32>,
}

/// Which readings to remove.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct RemovalQuery {
    /// First day to remove.
    pub from: NaiveDate,
    /// Last day to remove.
    pub to: NaiveDate,
}

/// Send rain
///
/// An upsert by date: sending the same readings twice changes nothing. Every reading is judged by itself; the answer
/// counts what was new, changed, same and refused, and why, by line or by index. The body is JSON of at most 8 MiB, or
/// a `text/csv` file of at most 32 MiB and 1,000,000 lines, laid out as `layout` says. Lines end with LF, CR or both. What
/// the answer counts as stored survives a power cut.
#[utoipa::path(put, path = "/v1/gauges/{id}/rain", tag = "gauges", operation_id = "send_rain",
    params(("id" = Uuid, Path, description = "Id of the gauge"), UploadQuery),
    request_body(content((wire::RainRequest = "application/json"), (String = "text/csv"))),
    responses((status = 200, description = "What became of the readings", body = wire::RainReport)))]
pub async fn upsert(
    req: HttpRequest,
    caller: Writer,
    cx: Cx,
    id: web::Path<Uuid>,
    query: Query<UploadQuery>,
    payload: web::Payload,
) -> Answer {
    let bytes = async |limit| {
        let bytes = collect(req.headers(), payload.into_inner(), limit).await?;
        limits::body_is_here(&req).await?;
        Ok::<_, ApiError>(bytes)
    };
    let offer = match media_type(&req).as_str() {
        "application/json" => {
            query.refuse_of_files()?;
            read_aside(bytes(RAIN_JSON_LIMIT).await?, from_json).await?
        }
        "text/csv" => {
            let (layout, several_days) =
                (query.layout.unwrap_or_default(), query.several_days.unwrap_or_default());
            let bytes = bytes(RAIN_FILE_LIMIT).await?;
            blocking(move || from_csv(&bytes, layout, several_days)).await?
        }
        other => {
            let detail = format!("The body is {other:?}; send application/json or text/csv.");
            return Err(ApiError::new(wire::ProblemCode::UnsupportedMediaType, detail));
        }
    };
    let report = rain::put(&cx, caller.0, GaugeId(*id), offer, query.all_or_nothing).await?;
    Ok(HttpResponse::Ok()
        .content_type("application/json")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(json(&wire::RainReport::from(report))?))
}

/// The list as it came: an entry that is not readable must not lose the others, so each is read by itself.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LooseRain {
    days: Vec<Box<RawValue>>,
}

/// The longest text of one reading, bytes. A date and a number take a tenth of it.
const LONGEST_READING: usize = 1000;

fn from_json(bytes: &[u8]) -> Result<RainOffer, ApiError> {
    let loose: LooseRain = read(bytes)?;
    check_count(loose.days.len())?;
    let readings = loose.days.iter().enumerate().map(|(index, day)| {
        let short = Some(day.get()).filter(|text| text.len() <= LONGEST_READING);
        let day: Value = short.and_then(|text| serde_json::from_str(text).ok()).unwrap_or_default();
        let date = day.get("date").and_then(Value::as_str).map(str::to_owned);
        let reading = if day.is_object() {
            let read = decode::from_value::<wire::RainDay>(&day).map(Into::into);
            read.map_err(|decode::Unreadable { field, message }| format!("{field}: {message}"))
        } else {
            // A list of two would be read as the fields in their order.
            Err("it is not an object with date and rain_mm".to_owned())
        };
        OfferedReading { line: index as u64 + 1, date, reading, spread: false }
    });
    Ok(RainOffer { readings: readings.collect(), other: 0, is_list: true })
}

fn from_csv(
    bytes: &[u8],
    layout: wire::RainLayout,
    several_days: SeveralDaysChoice,
) -> DomainResult<RainOffer> {
    match layout {
        wire::RainLayout::DailyCsv => files::daily_csv(bytes),
        wire::RainLayout::GhcnDaily => {
            let several_days = match several_days {
                SeveralDaysChoice::Spread => SeveralDays::Spread,
                SeveralDaysChoice::Refuse => SeveralDays::Refuse,
            };
            files::ghcn_daily(bytes, several_days)
        }
    }
}

/// List rain
///
/// A gauge's readings by date. Days without a reading are left out.
#[utoipa::path(get, path = "/v1/gauges/{id}/rain", tag = "gauges", operation_id = "list_rain",
    params(("id" = Uuid, Path, description = "Id of the gauge"), RainQuery),
    responses((status = 200, description = "One page of readings", body = wire::Page<wire::RainDay>)))]
pub async fn list(
    req: HttpRequest,
    caller: Reader,
    cx: Cx,
    id: web::Path<Uuid>,
    query: Query<RainQuery>,
) -> Answer {
    let range = RainRange { from: query.from, to: query.to };
    let found = rain::list(&cx, caller.0, GaugeId(*id), range, query.cursor.as_deref(), query.limit).await?;
    page::<_, wire::RainDay>(&req, found)
}

/// Remove rain
///
/// Readings from one day to another, both included: for a file that went to the wrong gauge.
#[utoipa::path(delete, path = "/v1/gauges/{id}/rain", tag = "gauges", operation_id = "delete_rain",
    params(("id" = Uuid, Path, description = "Id of the gauge"), RemovalQuery),
    responses((status = 204, description = "They are gone")))]
pub async fn remove(caller: Writer, cx: Cx, id: web::Path<Uuid>, query: Query<RemovalQuery>) -> Answer {
    rain::delete(&cx, caller.0, GaugeId(*id), query.from, query.to).await?;
    Ok(HttpResponse::NoContent().finish())
}
