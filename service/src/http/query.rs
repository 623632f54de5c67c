//! Query parameters, with refusals that name the parameter.

use super::decode::{date_message, named_field};
use super::problem::ApiError;
use crate::domain::base::error::Error;
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use eavesward_contract::{FieldProblem, ProblemCode};
use serde::de::DeserializeOwned;
use std::future::{Ready, ready};
use std::ops::Deref;

/// The parameters of a request. A name that the path does not know is refused: a misspelt filter must not list all.
#[derive(Debug)]
pub struct Query<T>(T);

impl<T> Deref for Query<T> {
    type Target = T;

    fn deref(&self) -> &T {
        &self.0
    }
}

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read(req.query_string()).map(Self).map_err(Into::into))
    }
}

fn read<T: DeserializeOwned>(text: &str) -> Result<T, ApiError> {
    let pairs = url::form_urlencoded::parse(text.as_bytes());
    serde_path_to_error::deserialize(serde_urlencoded::Deserializer::new(pairs)).map_err(|error| {
        let path = error.path().to_string();
        let message = error.into_inner().to_string();
        // Of a parameter that is missing or comes twice the path knows nothing, but the message does.
        let named = ["missing", "duplicate"].iter().find_map(|how| named_field(how, &message));
        let field = named.unwrap_or(if path == "." { "" } else { &path }).to_owned();
        let mut sent = url::form_urlencoded::parse(text.as_bytes());
        let value = sent.find(|(name, _)| *name == field).map(|(_, value)| value);
        let about_a_date = value.and_then(|value| date_message(&field, &value, &message));
        let mut refusal =
            ApiError::new(ProblemCode::MalformedParameter, "A parameter of the query could not be read.");
        refusal.errors.push(FieldProblem { field, message: about_a_date.unwrap_or(message) });
        refusal
    })
}

/// Reads the entries of a parameter that is a list, set apart by commas and perhaps blanks; none when it is absent.
/// `known` says what an entry can be.
pub fn entries<T>(
    field: &str,
    text: Option<&str>,
    known: &str,
    read: impl Fn(&str) -> Option<T>,
) -> Result<Vec<T>, ApiError> {
    let entries = text.into_iter().flat_map(|text| text.split(',')).map(|entry| entry.trim_matches(' '));
    let unknown = |entry| Error::field(field, format!("{entry:?} is not {known}")).into();
    entries.map(|entry| read(entry).ok_or_else(|| unknown(entry))).collect()
}
