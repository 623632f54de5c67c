//! Problem texts that count something, with none, one and two of it. That no other text counts with a noun in the plural
//! alone, `doors/plurals.rs` sees in the sources.

use super::reasons::wrong_plural;
use eavesward_service::domain::base::bounds::Entries;
use eavesward_service::domain::base::check::Check;
use eavesward_service::domain::base::error::Error;
use eavesward_service::domain::base::schedule::Schedule;
use eavesward_service::http::ApiError;

/// What is said where there are `number` of something, and a word that shows that it was counted.
fn texts(number: usize) -> Vec<(String, &'static str)> {
    let kept_days = i64::try_from(number).expect("a small number");
    let mut check = Check::new();
    check.entries("items", number, Entries { fewest: 3, most: 9 });
    // A text of no characters is never too long.
    if number > 0 {
        check.note("note", &"x".repeat(number), 0);
    }
    let Err(Error::Invalid(refused)) = check.done() else { panic!("nothing was refused") };
    let mut texts = vec![
        (ApiError::from(Error::CursorExpired { kept_days }).detail, "day"),
        (Schedule::parse(&"* ".repeat(number)).expect_err("no schedule"), "field"),
    ];
    texts.extend(
        refused
            .listed
            .into_iter()
            .map(|fault| (fault.message, if fault.field == "note" { "character" } else { "entr" })),
    );
    texts
}

#[test]
fn problems_count_in_the_right_number() {
    for number in 0..=2 {
        for (text, counted) in texts(number) {
            assert!(text.contains(&format!("{number} {counted}")), "{text}");
            assert!(!wrong_plural(&text), "{text}");
        }
    }
}
