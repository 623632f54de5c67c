//! Where a request belongs in a trace across several programs: the header `traceparent` of W3C Trace Context.

use std::fmt;

/// The target of the spans that are exported. Logs leave them out. Whatever is a field of such a span leaves the
/// machine: no key, no secret and no address of a webhook.
pub const SPANS: &str = "eavesward_spans";

/// The name of the header.
pub const TRACEPARENT: &str = "traceparent";

/// The length of the header in version 00. Later versions begin with the same fields.
const LENGTH: usize = 55;

/// What the header says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TraceParent {
    /// The trace, never 0.
    pub trace_id: u128,
    /// The span of the caller, never 0.
    pub parent_id: u64,
    /// Whether the caller may have recorded its span.
    pub sampled: bool,
}

impl TraceParent {
    /// Reads the header's value. `None` if it is not valid: the standard says to go on as if there were none.
    pub fn parse(text: &str) -> Option<Self> {
        // Cutting bytes below needs this.
        if !text.is_ascii() || text.len() < LENGTH {
            return None;
        }
        let (fields, rest) = text.split_at(LENGTH);
        let (version, fields) = field(fields, 2)?;
        let (trace_id, fields) = field(fields, 32)?;
        let (parent_id, fields) = field(fields, 16)?;
        let flags = small_hex(fields)?;
        let whole = match version {
            0 => rest.is_empty(),
            // Nothing is known of what a later version adds, except that a dash comes before it.
            1..=254 => rest.is_empty() || rest.starts_with('-'),
            _ => false,
        };
        let parent_id = u64::try_from(parent_id).ok()?;
        let valid = whole && trace_id != 0 && parent_id != 0;
        valid.then_some(Self { trace_id, parent_id, sampled: flags & 1 == 1 })
    }
}

impl fmt::Display for TraceParent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { trace_id, parent_id, sampled } = self;
        write!(f, "00-{trace_id:032x}-{parent_id:016x}-{:02x}", u8::from(*sampled))
    }
}

/// The first `length` digits, and what comes after the dash behind them.
fn field(text: &str, length: usize) -> Option<(u128, &str)> {
    let (digits, rest) = text.split_at_checked(length)?;
    Some((small_hex(digits)?, rest.strip_prefix('-')?))
}

/// A number of hexadecimal digits in small letters, and nothing else: no sign, no capitals.
fn small_hex(digits: &str) -> Option<u128> {
    let small = digits.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
    if small { u128::from_str_radix(digits, 16).ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The trace and the parent of the standard's own examples.
    const TRACE: u128 = 0x4bf9_2f35_77b3_4da6_a3ce_929d_0e0e_4736;
    const PARENT: u64 = 0x00f0_67aa_0ba9_02b7;

    #[test]
    fn the_examples_of_the_standard_are_read() {
        // W3C Trace Context, 3.2.2.5, "Examples of HTTP traceparent Headers".
        for (text, sampled) in [
            ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", true),
            ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-00", false),
        ] {
            let read = TraceParent::parse(text).unwrap();
            assert_eq!(read, TraceParent { trace_id: TRACE, parent_id: PARENT, sampled });
            assert_eq!(read.to_string(), text);
        }
    }

    #[test]
    fn flags_and_versions_to_come_are_read_as_far_as_they_are_known() {
        for (text, sampled) in [
            ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-03", true),
            ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-fe", false),
            ("cc-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", true),
            ("cc-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-what-may-come", true),
        ] {
            let read = TraceParent::parse(text);
            assert_eq!(read, Some(TraceParent { trace_id: TRACE, parent_id: PARENT, sampled }), "{text}");
        }
    }

    #[test]
    fn what_the_standard_calls_invalid_is_not_read() {
        for text in [
            "",
            "00",
            // An all-zero trace or parent, and version ff.
            "00-00000000000000000000000000000000-00f067aa0ba902b7-01",
            "00-4bf92f3577b34da6a3ce929d0e0e4736-0000000000000000-01",
            "ff-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
            // Capitals, signs and other letters.
            "00-4BF92F3577B34DA6A3CE929D0E0E4736-00f067aa0ba902b7-01",
            "00-+bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
            "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-0G",
            "0x-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
            "00-4bf92f3577b34da6a3ce929d0e0e473\u{e9}-00f067aa0ba902b7-01",
            // Too short, too long, other marks.
            "00-4bf92f3577b34da6a3ce929d0e0e473-00f067aa0ba902b7-01",
            "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-1",
            "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-more",
            "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01 ",
            "cc-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01.more",
            "00_4bf92f3577b34da6a3ce929d0e0e4736_00f067aa0ba902b7_01",
        ] {
            assert_eq!(TraceParent::parse(text), None, "{text:?}");
        }
    }
}
