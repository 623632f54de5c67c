//! JSON text, token by token: what can be said of a body before anything is built from it.
//!
//! The text need not be JSON. A reader builds nothing beyond the first error, and up to there the tokens are right.

/// The most names and values of a text.
#[derive(Clone, Copy, Debug)]
pub struct Most {
    /// In all.
    pub all: usize,
    /// Inside of more than three objects and lists. The reader keeps some of these twice, at ten times the memory.
    pub nested: usize,
}

impl Most {
    /// Whether a text has more.
    pub fn is_exceeded(self, text: &[u8]) -> bool {
        let (mut all, mut nested, mut depth) = (0, 0, 0_usize);
        let mut rest = text;
        while let Some((&byte, after)) = rest.split_first() {
            rest = after;
            match byte {
                b'"' => rest = &after[text_length(after)..],
                b'[' | b'{' => depth += 1,
                b']' | b'}' => depth = depth.saturating_sub(1),
                _ => {}
            }
            // A name or a value follows.
            if matches!(byte, b',' | b':' | b'[' | b'{') {
                all += 1;
                nested += usize::from(depth > 3);
            }
            if all > self.all || nested > self.nested {
                return true;
            }
        }
        false
    }
}

/// Writes `3.0` as `3`: JSON knows one kind of number, and both are the same whole number. Spaces keep what follows in
/// its place. None if there is no such number.
pub fn without_zero_fractions(text: &[u8]) -> Option<Vec<u8>> {
    let mut written = Vec::with_capacity(text.len());
    let mut changed = false;
    let mut rest = text;
    while let Some(&byte) = rest.first() {
        let length = match byte {
            b'"' => 1 + text_length(&rest[1..]),
            b'-' | b'0'..=b'9' => number_length(rest),
            _ => 1,
        };
        let (token, after) = rest.split_at(length);
        rest = after;
        match whole(token) {
            Some(number) => {
                written.extend_from_slice(format!("{number:<length$}").as_bytes());
                changed = true;
            }
            None => written.extend_from_slice(token),
        }
    }
    changed.then_some(written)
}

/// Bytes to the end of a text whose first quotation mark is already read, with the last one.
fn text_length(text: &[u8]) -> usize {
    let mut at = 0;
    while let Some(byte) = text.get(at) {
        match byte {
            b'"' => return at + 1,
            b'\\' => at += 2,
            _ => at += 1,
        }
    }
    text.len()
}

fn number_length(text: &[u8]) -> usize {
    let in_number = |byte: &u8| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E');
    text.iter().position(|byte| !in_number(byte)).unwrap_or(text.len())
}

/// The whole number that a token with a fraction or an exponent stands for.
fn whole(token: &[u8]) -> Option<i64> {
    /// Beyond it not every whole number has a double.
    const EXACT: f64 = 9_007_199_254_740_992.0;
    /// A number of more digits is not written on purpose.
    const LONGEST: usize = 40;
    let written_as_float = token.len() <= LONGEST
        && token.first().is_some_and(|byte| *byte == b'-' || byte.is_ascii_digit())
        && token.iter().any(|byte| matches!(byte, b'.' | b'e' | b'E'));
    let number = std::str::from_utf8(token).ok().filter(|_| written_as_float)?.parse::<f64>().ok()?;
    (number.fract() == 0.0 && number.abs() <= EXACT).then_some(number as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_values_are_counted_and_those_in_texts_are_not() {
        let least = |text: &str, most: fn(usize) -> Most| {
            (0..100).find(|number| !most(*number).is_exceeded(text.as_bytes())).unwrap_or(usize::MAX)
        };
        let all = |text: &str| least(text, |all| Most { all, nested: 100 });
        assert_eq!(all(r#"{"a": 1, "b": [true, null]}"#), 6);
        assert_eq!(all(r#"{"a": "[,:{\"[,:{", "b\\": ","}"#), 4);
        assert_eq!(all(r#"{"a": "[,:{\"#), 2, "a text that breaks off");
        assert_eq!(all("]]"), 0);
        let nested = |text: &str| least(text, |nested| Most { all: 100, nested });
        assert_eq!(nested(r#"{"days": [{"date": 1, "mm": 2}, {"date": 1, "mm": 2}]}"#), 0);
        assert_eq!(nested(r#"{"parts": [{"part": {"a": 1, "b": [2]}, "c": 3}]}"#), 5);
    }

    #[test]
    fn whole_numbers_lose_their_fraction_and_texts_keep_it() {
        let rewritten = |text: &str| {
            without_zero_fractions(text.as_bytes()).map(|text| String::from_utf8(text).expect("text"))
        };
        let expected = r#"{"a 1.0": [3  , -20   , 0    , 1.5, "4.0", 7], "b": 12    }"#;
        let body = r#"{"a 1.0": [3.0, -2.0e1, 0.000, 1.5, "4.0", 7], "b": 1.2E+1}"#;
        assert_eq!(rewritten(body).as_deref(), Some(expected));
        for same in [r#"{"a": [3, 1.5, "3.0", "\"3.0"]}"#, "1e400", "1e20", "-", "3.0.0", "\"3.0"] {
            assert_eq!(rewritten(same), None, "{same}");
        }
    }
}
