//! Statuses, and how they are kept small.

use crate::domain::base::rounding::rounded;
use crate::domain::model::status;
use eavesward_contract as wire;
use serde::Serialize;

/// The most bytes of a status as JSON; also what the contract says of it.
const MOST_BYTES: usize = 1999;
/// Characters that names are cut down to, step by step, until the status is small enough. Judgement: with the shortest of
/// them parts are still told apart by people, and eleven names of four bytes a character still leave room for most of the
/// rest.
const NAME_LENGTHS: [usize; 5] = [100, 60, 40, 30, 20];

impl From<status::Status> for wire::SystemStatus {
    fn from(status: status::Status) -> Self {
        let next = status.next.into_iter().map(|next| wire::NextDuty {
            task_id: next.task_id.0,
            component_name: Some(next.component_name),
            duty: next.duty.into(),
            title: next.duty.title().to_owned(),
            state: next.state.into(),
            due_on: next.due_on,
        });
        let since = status.since_served.into_iter().map(|since| wire::RunoffSince {
            task_id: since.task_id.map(|id| id.0),
            component_name: Some(since.component_name),
            duty: since.duty.into(),
            since: since.since,
            runoff_mm: rounded(since.runoff_mm),
        });
        Self {
            system_id: status.system_id.0,
            system_name: status.system_name,
            as_of: status.as_of,
            state: status.state.into(),
            next: next.collect(),
            rain_through: status.rain_through,
            runoff_7_days_mm: rounded(status.last_7_days.mm),
            runoff_7_days_l: rounded(status.last_7_days.litres),
            runoff_30_days_mm: rounded(status.last_30_days.mm),
            runoff_30_days_l: rounded(status.last_30_days.litres),
            unread_of_30_days: status.last_30_days.unread_days,
            since_served: since.collect(),
            abridged: false,
        }
    }
}

/// A status that is small enough: as it is when it can be; with shorter names, and as a last resort without its last
/// entries, when not. At least one duty that comes next stays.
pub fn abridge(mut status: wire::SystemStatus) -> wire::SystemStatus {
    for most in NAME_LENGTHS {
        if bytes(&status) <= MOST_BYTES {
            return status;
        }
        status.abridged = true;
        shorten(&mut status.system_name, most);
        let names = status.next.iter_mut().filter_map(|next| next.component_name.as_mut());
        names.for_each(|name| shorten(name, most));
        let names = status.since_served.iter_mut().filter_map(|since| since.component_name.as_mut());
        names.for_each(|name| shorten(name, most));
    }
    while bytes(&status) > MOST_BYTES {
        if status.since_served.pop().is_none() && (status.next.len() == 1 || status.next.pop().is_none()) {
            break;
        }
    }
    status
}

/// How many bytes it has as JSON.
fn bytes(status: &impl Serialize) -> usize {
    serde_json::to_string(status).map_or(0, |text| text.len())
}

/// Cuts a name down to so many characters, the last of which then is an ellipsis.
fn shorten(name: &mut String, most: usize) {
    if name.chars().count() > most {
        let kept: String = name.chars().take(most - 1).collect();
        // Neither a blank nor what would join the next character stays before the ellipsis.
        *name = format!("{}…", kept.trim_end_matches(|c: char| c.is_whitespace() || c == '\u{200d}'));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::NaiveDate;
    use uuid::Uuid;

    /// The longest of everything: every name, every title, every word, every figure.
    fn largest(name: &str) -> wire::SystemStatus {
        let day = NaiveDate::from_ymd_opt(2026, 12, 30).unwrap();
        let duties = crate::domain::model::duty::Duty::ALL;
        let title = duties.iter().map(|duty| duty.title()).max_by_key(|title| title.len()).unwrap();
        let next = wire::NextDuty {
            task_id: Uuid::from_u128(u128::MAX),
            component_name: Some(name.to_owned()),
            duty: wire::Duty::DrainForFrost,
            title: title.to_owned(),
            state: wire::TaskState::Resting,
            due_on: day,
        };
        let since = wire::RunoffSince {
            task_id: Some(Uuid::from_u128(u128::MAX)),
            component_name: Some(name.to_owned()),
            duty: wire::Duty::RestartAfterFrost,
            since: day,
            runoff_mm: rounded(123_456.789_012_345),
        };
        wire::SystemStatus {
            system_id: Uuid::from_u128(u128::MAX),
            system_name: name.to_owned(),
            as_of: day,
            state: wire::TaskState::Resting,
            next: vec![next; 5],
            rain_through: Some(day),
            runoff_7_days_mm: rounded(12_345.678_901_234_5),
            runoff_7_days_l: rounded(1_234_567_890.123_456_7),
            runoff_30_days_mm: rounded(12_345.678_901_234_5),
            runoff_30_days_l: rounded(1_234_567_890.123_456_7),
            unread_of_30_days: 30,
            since_served: vec![since; 6],
            abridged: false,
        }
    }

    #[test]
    fn it_is_small_whatever_its_names() {
        // One byte a character, two (escaped), three, four; then signs that JSON writes with six bytes.
        for letter in ["x", "\"", "\n", "\u{fc}", "\u{6f22}", "\u{1f4a7}", "\u{7f}", "\u{200d}"] {
            for length in [1, 20, 21, 29, 31, 59, 99, 100, 101, 199, 200] {
                let whole = largest(&letter.repeat(length));
                let abridged = abridge(whole.clone());
                assert!(bytes(&abridged) < 2000, "{} bytes with {length} times {letter:?}", bytes(&abridged));
                assert!(!abridged.next.is_empty());
                assert_eq!(abridged.abridged, abridged != whole, "it says so when it is not whole");
                assert_eq!(super::abridge(abridged.clone()), abridged, "what is small stays");
            }
        }
    }

    #[test]
    fn names_are_cut_before_entries_are_left_out() {
        let mut status = largest("north screen");
        status.next.truncate(2);
        status.since_served.truncate(2);
        assert_eq!(abridge(status.clone()), status, "what fits is left alone");
        status.system_name = "x".repeat(200);
        status.next[1].component_name = Some("\u{1f4a7}".repeat(200));
        status.since_served[1].component_name = Some("\u{1f4a7}".repeat(200));
        let cut = abridge(status.clone());
        assert_eq!((cut.next.len(), cut.since_served.len()), (2, 2));
        let drops = |name: &str| name.chars().filter(|c| *c == '\u{1f4a7}').count();
        let name = |place: usize| cut.next[place].component_name.as_deref().unwrap();
        assert!(drops(name(1)) >= 39 && name(1).ends_with('\u{2026}'));
        assert_eq!(name(0), "north screen", "a short name stays whole");
    }

    #[test]
    fn a_cut_leaves_no_loose_end() {
        let mut name = "north  screen".to_owned();
        shorten(&mut name, 8);
        assert_eq!(name, "north\u{2026}");
        shorten(&mut name, 8);
        assert_eq!(name, "north\u{2026}");
    }
}
