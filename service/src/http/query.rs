//! Query parameters, with refusals that name the parameter.

use super::decode::{date_message, named_field};
use super::problem::ApiError;
use crate::domain::base::error::Error;
use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use eavesward_contract::{FieldProblem, ProblemCode};
use serde::de::DeserializeOwned;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
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
    let pairs = joined(text);
    let reader = serde_urlencoded::Deserializer::new(url::form_urlencoded::parse(pairs.as_bytes()));
    serde_path_to_error::deserialize(reader).map_err(|error| {
        let path = error.path().to_string();
        let message = error.into_inner().to_string();
        // Of a parameter that is missing the path knows nothing, but the message does.
        let missing = named_field("missing", &message);
        let field = missing.unwrap_or(if path == "." { "" } else { &path }).to_owned();
        let mut sent = url::form_urlencoded::parse(pairs.as_bytes());
        let value = sent.find(|(name, _)| *name == field).map(|(_, value)| value);
        let about_a_date = value.and_then(|value| date_message(&field, &value, &message));
        let mut refusal =
            ApiError::new(ProblemCode::MalformedParameter, "A parameter of the query could not be read.");
        refusal.errors.push(FieldProblem { field, message: about_a_date.unwrap_or(message) });
        refusal
    })
}

/// A query in which no parameter comes twice. Some generated clients repeat the parameter for each entry of a list, so
/// these become one text, set apart by commas. A parameter that is no list is then refused for its comma.
fn joined(text: &str) -> String {
    let mut pairs: BTreeMap<Cow<'_, str>, String> = BTreeMap::new();
    for (name, value) in url::form_urlencoded::parse(text.as_bytes()) {
        match pairs.entry(name) {
            Entry::Occupied(values) => values.into_mut().extend([",", &value]),
            Entry::Vacant(first) => {
                first.insert(value.into_owned());
            }
        }
    }
    url::form_urlencoded::Serializer::new(String::new()).extend_pairs(pairs).finish()
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
