//! What a reader is told of a task: never twice, never too late, and not of every wobble.

use chrono::{Days, NaiveDate};
use eavesward_service::domain::reminder::{Basis, Cause, News, Raised, Sighting, Stage, Standing, Told, see};
use proptest::prelude::*;

fn day(number: i64) -> NaiveDate {
    let first = NaiveDate::from_ymd_opt(2026, 1, 1).expect("a date");
    if number < 0 { first - Days::new(number.unsigned_abs()) } else { first + Days::new(number as u64) }
}

/// A day's forecast as it is made up: the day, the due date, and what it was made from.
#[derive(Clone, Copy, Debug)]
struct Found {
    as_of: i64,
    due: Option<i64>,
    since: i64,
    by_visit: bool,
    basis: Basis,
}

fn found(as_of: i64, due: Option<i64>) -> Found {
    Found { as_of, due, since: -100, by_visit: false, basis: Basis::default() }
}

/// Lead time and days of a move.
const LEAD: u32 = 7;
const MOVE: u32 = 3;
/// Days after which a task is late, as in the rule for tasks without a window.
const LATE: i64 = 14;

fn sighting(found: Found) -> Sighting {
    Sighting {
        as_of: day(found.as_of),
        since: day(found.since),
        by_visit: found.by_visit,
        due_on: found.due.map(day),
        late: found.due.is_some_and(|due| found.as_of - due > LATE),
        window: None,
        predicted: true,
        basis: found.basis,
        lead_days: LEAD,
        move_days: MOVE,
    }
}

/// What a whole history raises, a list for each day.
fn told(history: &[Found]) -> Vec<Vec<Raised>> {
    let mut standing = Standing::default();
    let each = history.iter().map(|found| {
        let (after, raised) = see(&standing, &sighting(*found));
        standing = after;
        raised
    });
    each.collect()
}

/// Days from the date that a reader knows to the one that holds: what is due is due today, for whoever was told so.
fn apart(now: &Sighting, told: Told) -> i64 {
    let far = NaiveDate::from_ymd_opt(9999, 12, 31).expect("a date");
    let today = |on: Option<NaiveDate>| on.unwrap_or(far).max(now.as_of);
    let holds = today(now.due_on);
    let known = if told.stage >= Some(Stage::Due) || holds == now.as_of {
        today(told.due_on)
    } else {
        told.due_on.unwrap_or(far)
    };
    (holds - known).num_days()
}

fn kinds(raised: &[Vec<Raised>]) -> Vec<News> {
    raised.iter().flatten().map(|one| one.kind).collect()
}

/// Everything that was told, in order.
fn covered(raised: &[Vec<Raised>]) -> Vec<News> {
    raised.iter().flatten().flat_map(|one| one.covers.clone()).collect()
}

#[test]
fn a_task_is_told_of_at_each_stage_once_and_when_it_was_done() {
    let mut history: Vec<Found> = (0..40).map(|as_of| found(as_of, Some(15))).collect();
    // Done on the last day; due again in half a year.
    history.push(Found { since: 39, by_visit: true, ..found(40, Some(220)) });
    let raised = told(&history);
    assert_eq!(kinds(&raised), [News::Coming, News::Due, News::Late, News::Done]);
    let when = |kind| raised.iter().position(|day| day.iter().any(|one| one.kind == kind));
    assert_eq!((when(News::Coming), when(News::Due), when(News::Late)), (Some(8), Some(15), Some(30)));
}

#[test]
fn a_move_says_from_where_and_why() {
    let visits = Basis { visits: 5, settings: 0 };
    let settings = Basis { visits: 5, settings: 9 };
    let raised = told(&[
        found(0, Some(3)),
        // Three days are let pass, four are not.
        found(1, Some(6)),
        found(2, Some(7)),
        // On in the same direction, and out of the lead time: there it is left alone.
        Found { basis: visits, ..found(3, Some(11)) },
        Found { basis: visits, ..found(4, Some(15)) },
        // Back into it, by what was set.
        Found { basis: settings, ..found(5, Some(7)) },
        Found { basis: settings, ..found(6, Some(3)) },
        // No date any more.
        Found { basis: settings, ..found(7, None) },
    ]);
    let causes: Vec<_> = raised
        .iter()
        .flatten()
        .map(|one| (one.kind, one.moved.map(|moved| (moved.from_due_on, moved.cause))))
        .collect();
    assert_eq!(
        causes,
        [
            (News::Coming, None),
            (News::Moved, Some((Some(day(3)), Cause::Rain))),
            (News::Moved, Some((Some(day(7)), Cause::Finding))),
            (News::Coming, Some((Some(day(11)), Cause::Settings))),
            (News::Due, None),
            (News::Moved, Some((Some(day(3)), Cause::Rain))),
        ]
    );
    assert_eq!(raised[5][0].covers, [News::Moved, News::Coming]);
}

/// What changed and left the date where it was is not given as the reason when the rain moves it later.
#[test]
fn a_change_that_moved_nothing_is_no_reason() {
    let visits = Basis { visits: 5, settings: 0 };
    let raised = told(&[
        found(0, Some(3)),
        Found { basis: visits, ..found(1, Some(3)) },
        Found { basis: visits, ..found(2, Some(9)) },
    ]);
    assert_eq!(raised[2][0].moved.map(|moved| moved.cause), Some(Cause::Rain));
}

#[test]
fn what_was_done_and_is_withdrawn_again_is_told_of_anew() {
    let raised = told(&[
        found(10, Some(5)),
        Found { since: 10, by_visit: true, ..found(11, Some(200)) },
        // The visit never took place.
        found(12, Some(5)),
        found(13, Some(5)),
    ]);
    assert_eq!(kinds(&raised), [News::Due, News::Done, News::Due]);
}

#[test]
fn a_visit_that_is_taken_back_takes_its_next_date_with_it() {
    let raised = told(&[
        found(10, Some(5)),
        Found { since: 10, by_visit: true, ..found(11, Some(200)) },
        // It never took place, and the date is another one, beyond the lead time.
        found(12, Some(60)),
        found(13, Some(60)),
    ]);
    assert_eq!(kinds(&raised), [News::Due, News::Done, News::Moved]);
    assert_eq!(
        raised[2][0].moved.map(|moved| (moved.from_due_on, moved.cause)),
        Some((Some(day(200)), Cause::Finding))
    );
}

#[test]
fn a_part_that_is_set_to_have_been_served_is_not_done() {
    let served =
        Found { since: 8, by_visit: false, basis: Basis { visits: 0, settings: 3 }, ..found(11, Some(200)) };
    let raised = told(&[found(10, Some(5)), served]);
    assert_eq!(kinds(&raised), [News::Due, News::Moved]);
    assert_eq!(raised[1][0].moved.map(|moved| moved.cause), Some(Cause::Settings));
}

/// Days and due dates that wander, with tasks that are done now and then.
fn history() -> impl Strategy<Value = Vec<Found>> {
    let step = (0..4_i64, prop_oneof![8 => -2..3_i64, 2 => -30..40_i64], 0..25_u32, 0..20_u32, any::<bool>());
    proptest::collection::vec(step, 1..120).prop_map(|steps| {
        let (mut as_of, mut due, mut since) = (0_i64, 10_i64, -100_i64);
        let (mut by_visit, mut basis) = (false, Basis::default());
        let each = steps.into_iter().map(|(days, shift, done, none, rain)| {
            as_of += days;
            due += shift;
            if !rain {
                basis.settings += 1;
            }
            if done == 0 && as_of > since {
                (since, by_visit, due) = (as_of, true, as_of + 30 + shift);
                basis.visits += 1;
            }
            Found { as_of, due: (none != 0).then_some(due), since, by_visit, basis }
        });
        each.collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Refreshing again, on this replica or another, raises nothing.
    #[test]
    fn the_same_sighting_again_raises_nothing(history in history()) {
        let mut standing = Standing::default();
        for found in history {
            standing = see(&standing, &sighting(found)).0;
            let (again, raised) = see(&standing, &sighting(found));
            prop_assert_eq!(&raised, &[]);
            // All that may change is what will be given as the reason of the next move.
            let told = |standing: Standing| standing.told.map(|told| Told { basis: Basis::default(), ..told });
            prop_assert_eq!((again.since, again.due_on, told(again)), (standing.since, standing.due_on, told(standing)));
            prop_assert_eq!(see(&again, &sighting(found)), (again, Vec::new()));
        }
    }

    /// Every entry that tells of a date tells how it moved from the one before, if by more than is let pass.
    #[test]
    fn no_date_changes_silently_between_entries(history in history()) {
        let mut standing = Standing::default();
        for found in history {
            let now = sighting(found);
            let before = standing;
            let (after, raised) = see(&before, &now);
            standing = after;
            let same = raised.iter().all(|one| one.kind != News::Done);
            if let (Some(told), Some(entry), true) = (before.told, raised.last(), same) {
                prop_assert_eq!(apart(&now, told).abs() > i64::from(MOVE), entry.moved.is_some());
            }
        }
    }

    /// At most two entries a refresh, in an order that makes sense.
    #[test]
    fn a_refresh_raises_little(history in history()) {
        for raised in told(&history) {
            prop_assert!(raised.len() <= 2);
            prop_assert!(raised.iter().skip(1).all(|one| one.kind != News::Done));
            for one in &raised {
                prop_assert_eq!(one.covers.last(), Some(&one.kind), "the most pressing one names it");
                prop_assert_eq!(one.covers.contains(&News::Moved), one.moved.is_some());
            }
        }
    }

    /// Whoever has read everything knows what is due and late, and every date that is near to within what is let pass. A
    /// day that was told never goes by unless the task is due or its new date is known.
    #[test]
    fn a_reader_is_never_left_behind(history in history()) {
        let mut standing = Standing::default();
        for found in history {
            let now = sighting(found);
            standing = see(&standing, &now).0;
            let due = now.due_on.is_some_and(|due| due <= now.as_of);
            let stage = standing.told.and_then(|told| told.stage);
            prop_assert!(!due || stage >= Some(Stage::Due));
            prop_assert!(!now.late || stage == Some(Stage::Late));
            let Some(told) = standing.told else { continue };
            let days = apart(&now, told).abs();
            let near = now.due_on.is_some_and(|due| (due - now.as_of).num_days() <= i64::from(LEAD));
            prop_assert!(!near && stage.is_none() || days <= i64::from(MOVE) << (told.turns + 1), "{days}, {told:?}");
            let has_come = stage < Some(Stage::Due) && told.due_on.is_some_and(|on| on <= now.as_of);
            prop_assert!(!has_come || days <= i64::from(MOVE), "{days}, {told:?}");
        }
    }

    /// A date that wobbles by no more than what is let pass is told of three times at most, whatever the days do.
    #[test]
    fn a_wobble_is_not_told_of(
        around in -5..40_i64,
        wobbles in proptest::collection::vec((0..3_i64, 0..=i64::from(MOVE)), 1..150),
    ) {
        let mut as_of = 0;
        let history: Vec<Found> = wobbles.iter().map(|(days, wobble)| {
            as_of += days;
            found(as_of, Some(around + wobble))
        }).collect();
        let told = covered(&told(&history));
        prop_assert!(told.len() <= 3, "{told:?}");
        prop_assert!(!told.contains(&News::Moved), "{told:?}");
    }

    /// However wildly a date swings, it is told of a few times only before the task is done.
    #[test]
    fn swings_are_told_of_less_and_less(swings in proptest::collection::vec(0..60_i64, 1..200)) {
        let history: Vec<Found> = swings.iter().enumerate()
            .map(|(step, swing)| found(step as i64 / 8, Some(swing - 10))).collect();
        let told = kinds(&told(&history));
        prop_assert!(told.len() <= 40, "{} of {} days: {told:?}", told.len(), swings.len());
    }

    /// A date that is put off day by day is told of again and again, and never gone by.
    #[test]
    fn a_date_that_is_put_off_is_told_of(ahead in 1..20_i64, days in 30..120_i64) {
        let history: Vec<Found> = (0..days).map(|as_of| found(as_of, Some(as_of + ahead))).collect();
        let raised = told(&history);
        let moves = kinds(&raised).iter().filter(|kind| **kind == News::Moved).count() as i64;
        // Within the lead time one more than is let pass; beyond it nobody was told a date.
        let expected = if ahead <= i64::from(LEAD) { days / (i64::from(MOVE) + 1) - 1 } else { 0 };
        prop_assert!((expected..=expected + 2).contains(&moves), "{moves} in {days} days");
    }

    /// Days without a refresh lose nothing: what is told in the end is the same.
    #[test]
    fn a_late_refresh_tells_what_an_early_one_would_have(
        due in 0..60_i64,
        looks in proptest::collection::btree_set(0..90_i64, 1..30),
    ) {
        let last = *looks.last().expect("one at least");
        let daily: Vec<Found> = (0..=last).map(|as_of| found(as_of, Some(due))).collect();
        let some: Vec<Found> = looks.iter().map(|as_of| found(*as_of, Some(due))).collect();
        prop_assert_eq!(covered(&told(&daily)), covered(&told(&some)));
    }

    /// A clock that is set back and goes forth again raises nothing twice.
    #[test]
    fn a_clock_that_jumps_raises_nothing_twice(
        due in 0..60_i64,
        days in proptest::collection::vec(0..90_i64, 1..60),
    ) {
        let history: Vec<Found> = days.iter().map(|as_of| found(*as_of, Some(due))).collect();
        let told = covered(&told(&history));
        let mut once = told.clone();
        once.sort_unstable();
        once.dedup();
        prop_assert_eq!(told.len(), once.len(), "{:?}", told);
    }
}
