//! The router, made from the table.

use super::access::authenticate;
use super::acting::act;
use super::limits::take_turn;
use super::path::at;
use super::payload::BodyLimit;
use super::table::{Row, WITH_KEY, table};
use super::unread::refuse_unread;
use actix_web::middleware::from_fn;
use actix_web::web::{self, ServiceConfig};
use actix_web::{Resource, Scope};
use std::collections::BTreeMap;

/// Every path of the table.
pub fn configure(cfg: &mut ServiceConfig) {
    let mut with_key: Scope = web::scope(WITH_KEY);
    for (path, rows) in by_path(table()) {
        match path.strip_prefix(WITH_KEY) {
            Some(rest) => with_key = with_key.service(resource(rest, &rows)),
            None => {
                cfg.service(resource(path, &rows));
            }
        }
    }
    cfg.service(with_key.wrap(from_fn(authenticate)));
}

/// A path with the methods of its rows, in their order.
fn resource(path: &str, rows: &[&'static Row]) -> Resource {
    let routes = rows.iter().flat_map(|row| {
        let (work, has_body, reads) = (row.work, row.has_body, row.reads);
        let change = row.change.map(|change| (row.operation.as_str(), change));
        // What is refused unread takes no turn.
        let route = move || {
            (row.route)()
                .wrap(from_fn(move |req, next| act(change, req, next)))
                .wrap(from_fn(move |req, next| take_turn(work, has_body, req, next)))
                .wrap(from_fn(move |req, next| refuse_unread(reads, req, next)))
        };
        row.methods.iter().map(move |method| (method.clone(), route()))
    });
    let resource = at(path, routes.collect());
    match rows.iter().filter_map(|row| row.body_limit).max() {
        Some(limit) => resource.app_data(BodyLimit(limit)),
        None => resource,
    }
}

/// The rows of each path. The router takes the first path that fits, so a fixed word comes before a parameter that
/// would take it.
fn by_path<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Vec<(&'a str, Vec<&'a Row>)> {
    let mut paths: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        paths.entry(&row.path).or_default().push(row);
    }
    let mut paths: Vec<_> = paths.into_iter().collect();
    paths.sort_by_cached_key(|(path, _)| path.split('/').map(Segment::of).collect::<Vec<_>>());
    paths
}

/// What stands between two slashes of a path; the order is that in which the router has to try them.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Segment<'a> {
    Fixed(&'a str),
    Parameter(&'a str),
}

impl<'a> Segment<'a> {
    fn of(text: &'a str) -> Self {
        if text.contains('{') { Self::Parameter(text) } else { Self::Fixed(text) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(paths: &[(&str, Vec<&Row>)], path: &str) -> usize {
        paths.iter().position(|(known, _)| *known == path).expect("a path of the table")
    }

    #[test]
    fn the_order_of_the_table_does_not_matter_to_the_router() {
        let (forwards, backwards) = (by_path(table()), by_path(table().iter().rev()));
        for paths in [&forwards, &backwards] {
            assert!(place(paths, "/v1/rounds/proposal") < place(paths, "/v1/rounds/{id}"));
            assert!(place(paths, "/v1/digest") < place(paths, "/v1/digest.{format}"));
            assert_eq!(paths.iter().map(|(_, rows)| rows.len()).sum::<usize>(), table().len());
        }
        let names = |paths: &[(&'static str, _)]| paths.iter().map(|(path, _)| *path).collect::<Vec<_>>();
        assert_eq!(names(&forwards), names(&backwards));
    }
}
