//! What is posted to the addresses of subscriptions, as `webhooks`.

use super::samples;
use crate::domain::base::trace_context::TRACEPARENT;
use utoipa::openapi::path::{
    HttpMethod, Operation, OperationBuilder, Parameter, ParameterBuilder, ParameterIn, PathItem, Paths,
    PathsBuilder,
};
use utoipa::openapi::request_body::RequestBodyBuilder;
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::{ContentBuilder, Ref, Required, ResponseBuilder};

/// Something that is posted.
struct Posted {
    name: &'static str,
    operation: &'static str,
    schema: &'static str,
    summary: &'static str,
    description: &'static str,
    /// Its media types other than JSON.
    texts: &'static [&'static str],
}

const POSTED: [Posted; 3] = [
    Posted {
        name: "reminder",
        operation: "reminder_posted",
        schema: "ReminderPosted",
        summary: "A reminder is posted",
        description: "For each entry of the feed that a subscription with `sends: reminders` lets through. Deliveries may \
                      overtake each other: `data.number` tells their order.",
        texts: &[],
    },
    Posted {
        name: "digest",
        operation: "digest_posted",
        schema: "DigestPosted",
        summary: "A digest is posted",
        description: "At each time of a subscription with `sends: digest`, as JSON or in the text format that it asks for. A \
                      text is the digest alone, without `type` and `timestamp`.",
        texts: &["text/plain", "text/markdown", "text/csv"],
    },
    Posted {
        name: "test",
        operation: "test_posted",
        schema: "TestPosted",
        summary: "A test message is posted",
        description: "When it is asked for with `POST /v1/subscriptions/{id}/test`.",
        texts: &[],
    },
];

/// Everything that is posted.
pub fn webhooks() -> Paths {
    POSTED
        .iter()
        .fold(PathsBuilder::new(), |paths, posted| {
            paths.path(posted.name, PathItem::new(HttpMethod::Post, operation(posted)))
        })
        .build()
}

fn operation(posted: &Posted) -> Operation {
    let schema = Ref::from_schema_name(posted.schema);
    let example = samples::answer(posted.operation, "application/json");
    let json = ContentBuilder::new().schema(Some(schema)).example(example).build();
    let text = |media_type: &str| {
        let text = ContentBuilder::new().schema(Some(ObjectBuilder::new().schema_type(Type::String)));
        text.example(samples::answer(posted.operation, media_type)).build()
    };
    let body = RequestBodyBuilder::new().required(Some(Required::True)).content("application/json", json);
    let body = posted.texts.iter().fold(body, |body, media_type| body.content(*media_type, text(media_type)));
    let taken = ResponseBuilder::new().description("It was taken; so does every status from 200 to 299");
    let busy = |description: &str| ResponseBuilder::new().description(description);
    headers()
        .into_iter()
        .fold(OperationBuilder::new(), OperationBuilder::parameter)
        .operation_id(Some(posted.operation))
        .tag("subscriptions")
        .summary(Some(posted.summary))
        .description(Some(format!("{} {DELIVERED}", posted.description)))
        .securities(Some([]))
        .request_body(Some(body.build()))
        .response("200", taken)
        .response("429", busy("Post again after `Retry-After`, of at most twelve hours"))
        .response("503", busy("Post again after `Retry-After`, of at most twelve hours"))
        .build()
}

const DELIVERED: &str = "Answer with 200 to 299 within 15 seconds. Anything else is tried again over two days, under the \
                         same `webhook-id`, so keep the ids of a few days.";

/// The headers of the Standard Webhooks scheme, and the one of W3C Trace Context.
fn headers() -> [Parameter; 4] {
    let text = || ObjectBuilder::new().schema_type(Type::String);
    let id = text().format(Some(SchemaFormat::KnownFormat(KnownFormat::Uuid)));
    let timestamp = ObjectBuilder::new().schema_type(Type::Integer);
    let timestamp = timestamp.format(Some(SchemaFormat::KnownFormat(KnownFormat::Int64)));
    let signature = text().pattern(Some("^v1,[A-Za-z0-9+/]{43}=( v1,[A-Za-z0-9+/]{43}=)*$"));
    let trace = text().pattern(Some("^00-[0-9a-f]{32}-[0-9a-f]{16}-0[01]$"));
    let header = |name: &str, description: &str, schema: ObjectBuilder| {
        let required = if name == TRACEPARENT { Required::False } else { Required::True };
        ParameterBuilder::new()
            .name(name)
            .parameter_in(ParameterIn::Header)
            .required(required)
            .description(Some(description))
            .schema(Some(schema))
            .build()
    };
    [
        header("webhook-id", "Id of the delivery, the same at every attempt", id),
        header(
            "webhook-timestamp",
            "When this attempt was made, in seconds since 1970. Refuse old ones",
            timestamp,
        ),
        header(
            "webhook-signature",
            "`v1,` and the base64 of HMAC-SHA256 over id, timestamp and body, joined by full stops, with the secret of \
             the subscription. Several are set apart by blanks while an old secret still counts; one that fits is enough",
            signature,
        ),
        header(
            TRACEPARENT,
            "The trace of this attempt (W3C Trace Context), where the service sends traces",
            trace,
        ),
    ]
}
