//! Right plurals: a text that is written with a number before a noun says `1 day` and `2 days`. Only `counted` knows both,
//! so no text has a noun in the plural right after a figure that may be 1.

use super::gates::without_tests;
use super::tokens::{Kind, tokens};
use super::{assert_none, sources};

/// What the texts of service, command and SDK count.
const COUNTED: &str = "accounts bytes characters components days entries fields findings gauges hours items keys \
                       lines minutes months numbers parts properties readings rounds rows seconds systems tasks times \
                       values visits weeks words years";

#[test]
fn texts_count_in_the_right_number() {
    let (mut texts, mut faults) = (0, Vec::new());
    for dir in ["service/src", "client/src", "openapi/src"] {
        for (file, source) in sources(dir) {
            if file.contains("tests") {
                continue;
            }
            let (of_file, found) = plural_faults(&source);
            texts += of_file;
            faults.extend(found.into_iter().map(|fault| format!("{dir}/{file}:{fault}")));
        }
    }
    assert!(texts > 1000, "only {texts} texts were found");
    assert_none(&faults);
}

/// How many texts there are, and those that a 1 makes wrong.
fn plural_faults(source: &str) -> (usize, Vec<String>) {
    let (mut texts, mut faults) = (0, Vec::new());
    for token in without_tests(&tokens(source)).0 {
        let Kind::Text(text) = &token.kind else { continue };
        texts += 1;
        // What stands between two closing braces is a text and the figure after it.
        let pieces: Vec<&str> = text.split('}').collect();
        for pair in pieces.windows(2) {
            let name = pair[0].rsplit('{').next().unwrap_or_default();
            let noun = pair[1].strip_prefix(' ').and_then(|rest| {
                rest.split(|letter: char| !letter.is_alphabetic()).next().filter(|noun| !noun.is_empty())
            });
            if noun.is_some_and(|noun| COUNTED.split(' ').any(|counted| counted == noun)) && may_be_one(name)
            {
                faults.push(format!("{}: use `counted` for {{{name}}} {}", token.line, noun.unwrap_or("")));
            }
        }
    }
    (texts, faults)
}

/// Whether a figure of this name may be written as 1: a constant is not, and nor is one with decimals.
fn may_be_one(name: &str) -> bool {
    let constant =
        !name.is_empty() && name.chars().all(|letter| letter.is_ascii_uppercase() || letter == '_');
    !constant && !name.contains(":.")
}

mod can_fail {
    use super::*;

    #[test]
    fn plurals() {
        let faults = |text: &str| plural_faults(&format!("fn f() {{ g({text:?}) }}")).1.len();
        assert_eq!(faults("it has {} days; send fewer"), 1);
        assert_eq!(faults("{number} readings and {} systems"), 2);
        assert_eq!(
            faults("it has {readings}; at most {MOST} readings; {years:.1} years of {day} daybreak"),
            0
        );
        assert_eq!(faults("{what} is used"), 0);
    }
}
