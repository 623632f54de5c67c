//! What an error says to people.

use super::{Error, Kind};
use eavesward_contract::{FieldProblem, Problem};
use std::fmt;

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(request) = &self.inner.request {
            write!(f, "{request}: ")?;
        }
        match &self.inner.kind {
            Kind::Setup(told) | Kind::Unsendable(told) | Kind::Contract(told) => f.write_str(told)?,
            Kind::Transport(source) if source.is_timeout() => f.write_str("no complete answer in time")?,
            Kind::Transport(source) if source.is_connect() => f.write_str("no connection to the service")?,
            Kind::Transport(_) => f.write_str("the connection ended before the answer was complete")?,
            Kind::OutOfTime => f.write_str("the deadline passed")?,
            Kind::Problem(problem) => {
                write!(f, "{} ", problem.status)?;
                write_refusal(f, problem)?;
            }
            Kind::Status { status, told } => write!(f, "{status} without a problem document: {told}")?,
            Kind::Decode { path, source } => write!(f, "the answer could not be read at `{path}`: {source}")?,
        }
        if let Some(id) = self.request_id() {
            write!(f, " (request {id})")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)?;
        let mut cause = std::error::Error::source(self);
        while let Some(source) = cause {
            write!(f, "; because: {source}")?;
            cause = source.source();
        }
        if self.inner.attempts > 1 {
            write!(f, "; attempts: {}", self.inner.attempts)?;
        }
        if self.inner.may_have_been_applied {
            f.write_str("; the change may have been made all the same")?;
        }
        Ok(())
    }
}

/// Says once what was refused. The title is the detail in fewer words, so it stands only where fields say the rest, or
/// where nothing else does.
fn write_refusal(f: &mut fmt::Formatter<'_>, problem: &Problem) -> fmt::Result {
    if problem.errors.is_empty() && !problem.detail.is_empty() {
        return f.write_str(&problem.detail);
    }
    f.write_str(&problem.title)?;
    for (n, FieldProblem { field, message, .. }) in problem.errors.iter().enumerate() {
        f.write_str(if n == 0 { ": " } else { "; " })?;
        // What concerns no single field has no name.
        if !field.is_empty() {
            write!(f, "{field}: ")?;
        }
        f.write_str(message)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::refused;
    use super::*;
    use eavesward_contract::ProblemCode;

    #[test]
    fn a_refusal_is_said_once() {
        use ProblemCode as C;
        for (code, detail, errors, want) in [
            (C::NotFound, "There is no such gauge.", &[][..], "404 There is no such gauge."),
            (C::NotFound, "", &[], "404 Not found"),
            (
                C::Invalid,
                "Some values are not allowed; errors names each of them.",
                &[("name", "it is empty"), ("latitude_deg", "91 is above 90")],
                "422 Some values are not allowed: name: it is empty; latitude_deg: 91 is above 90",
            ),
            (
                C::MalformedParameter,
                "A parameter of the query could not be read.",
                &[("", "a value is missing")],
                "400 A parameter could not be read: a value is missing",
            ),
        ] {
            assert_eq!(refused(code, detail, errors).to_string(), want);
        }
    }

    #[test]
    fn debug_is_one_line_for_people_with_the_causes() {
        let error = refused(ProblemCode::NotFound, "There is no such gauge.", &[]);
        let error = error.request("DELETE /v1/gauges/7".to_owned(), Some("r-1".to_owned()));
        assert_eq!(format!("{error:?}"), "DELETE /v1/gauges/7: 404 There is no such gauge. (request r-1)");
        assert_eq!(
            format!("{:?}", error.attempts_set(2, true)),
            "DELETE /v1/gauges/7: 404 There is no such gauge. (request r-1); attempts: 2; the change may have been made \
             all the same"
        );
        let source = serde_json::from_str::<u8>("300").expect_err("too large");
        let cause = source.to_string();
        let error = Error::new(Kind::Decode { path: "items[1].month".to_owned(), source });
        // The cause stands once, although the text itself holds it.
        assert_eq!(
            format!("{error:?}"),
            format!("the answer could not be read at `items[1].month`: {cause}")
        );
        assert_eq!(error.to_string(), format!("{error:?}"));
    }
}
