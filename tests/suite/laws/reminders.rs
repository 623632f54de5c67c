//! What a reader is told of a task: never twice, never too late, and not of every wobble.

use chrono::{Days, NaiveDate};
use eavesward_service::domain::base::ids::VisitId;
use eavesward_service::domain::model::reminder::{
    Cause, Fingerprints, LastReminder, ReminderKind, ReminderState, Stage,
};
use eavesward_service::domain::rules::reminders::decide::{NewReminder, TaskSnapshot, decide};
use proptest::prelude::*;
use std::collections::HashMap;
use uuid::Uuid;

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
    by_visit: Option<u128>,
    ahead: bool,
    basis: Fingerprints,
}

fn found(as_of: i64, due: Option<i64>) -> Found {
    Found { as_of, due, since: -100, by_visit: None, ahead: false, basis: Fingerprints::default() }
}

/// Lead time and days of a move.
const LEAD: u32 = 7;
const MOVE: u32 = 3;
/// Days after which a task is late, as in the rule for tasks without a window.
const LATE: i64 = 14;

fn snapshot(found: Found) -> TaskSnapshot {
    TaskSnapshot {
        as_of: day(found.as_of),
        since: day(found.since),
        by_visit: found.by_visit.map(|number| VisitId(Uuid::from_u128(number))),
        ahead: found.ahead,
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
fn told(history: &[Found]) -> Vec<Vec<NewReminder>> {
    let mut standing = ReminderState::default();
    let each = history.iter().map(|found| {
        let (after, raised) = decide(&standing, &snapshot(*found));
        standing = after;
        raised
    });
    each.collect()
}

/// Days from the date that a reader knows to the one that holds: what is due is due today, for whoever was told so.
fn apart(now: &TaskSnapshot, told: LastReminder) -> i64 {
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

fn kinds(raised: &[Vec<NewReminder>]) -> Vec<ReminderKind> {
    raised.iter().flatten().map(|one| one.kind).collect()
}

/// Everything that was told, in order.
fn covered(raised: &[Vec<NewReminder>]) -> Vec<ReminderKind> {
    raised.iter().flatten().flat_map(|one| one.covers.clone()).collect()
}

#[test]
fn a_task_is_told_of_at_each_stage_once_and_when_it_was_done() {
    let mut history: Vec<Found> = (0..40).map(|as_of| found(as_of, Some(15))).collect();
    // Done on the last day; due again in half a year.
    history.push(Found { since: 39, by_visit: Some(1), ..found(40, Some(220)) });
    let raised = told(&history);
    assert_eq!(
        kinds(&raised),
        [ReminderKind::Coming, ReminderKind::Due, ReminderKind::Late, ReminderKind::Done]
    );
    let when = |kind| raised.iter().position(|day| day.iter().any(|one| one.kind == kind));
    assert_eq!(
        (when(ReminderKind::Coming), when(ReminderKind::Due), when(ReminderKind::Late)),
        (Some(8), Some(15), Some(30))
    );
}

#[test]
fn a_move_says_from_where_and_why() {
    let visits = Fingerprints { visits: 5, settings: 0 };
    let settings = Fingerprints { visits: 5, settings: 9 };
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
            (ReminderKind::Coming, None),
            (ReminderKind::Moved, Some((Some(day(3)), Cause::Rain))),
            (ReminderKind::Moved, Some((Some(day(7)), Cause::Finding))),
            (ReminderKind::Coming, Some((Some(day(11)), Cause::Settings))),
            (ReminderKind::Due, None),
            (ReminderKind::Moved, Some((Some(day(3)), Cause::Rain))),
        ]
    );
    assert_eq!(raised[5][0].covers, [ReminderKind::Moved, ReminderKind::Coming]);
}

/// What changed and left the date where it was is not given as the reason when the rain moves it later.
#[test]
fn a_change_that_moved_nothing_is_no_reason() {
    let visits = Fingerprints { visits: 5, settings: 0 };
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
        Found { since: 10, by_visit: Some(1), ..found(11, Some(200)) },
        // The visit never took place.
        found(12, Some(5)),
        found(13, Some(5)),
    ]);
    assert_eq!(kinds(&raised), [ReminderKind::Due, ReminderKind::Done, ReminderKind::Due]);
}

#[test]
fn a_visit_that_is_taken_back_takes_its_next_date_with_it() {
    let raised = told(&[
        found(10, Some(5)),
        Found { since: 10, by_visit: Some(1), ..found(11, Some(200)) },
        // It never took place, and the date is another one, beyond the lead time.
        found(12, Some(60)),
        found(13, Some(60)),
    ]);
    assert_eq!(kinds(&raised), [ReminderKind::Due, ReminderKind::Done, ReminderKind::Moved]);
    assert_eq!(
        raised[2][0].moved.map(|moved| (moved.from_due_on, moved.cause)),
        Some((Some(day(200)), Cause::Finding))
    );
}

#[test]
fn a_part_that_is_set_to_have_been_served_is_not_done() {
    let served = Found { since: 8, basis: Fingerprints { visits: 0, settings: 3 }, ..found(11, Some(200)) };
    let raised = told(&[found(10, Some(5)), served]);
    assert_eq!(kinds(&raised), [ReminderKind::Due, ReminderKind::Moved]);
    assert_eq!(raised[1][0].moved.map(|moved| moved.cause), Some(Cause::Settings));
}

#[test]
fn a_visit_that_moves_to_another_day_is_told_of_as_a_move() {
    let on = |since, due| {
        let basis = Fingerprints { visits: since, settings: 0 };
        Found { since, by_visit: Some(1), basis, ..found(12, Some(due)) }
    };
    let raised = told(&[found(10, Some(5)), on(10, 200), on(11, 201), on(2, 190), on(11, 201)]);
    assert_eq!(
        kinds(&raised),
        [ReminderKind::Due, ReminderKind::Done, ReminderKind::Moved, ReminderKind::Moved]
    );
    let moves: Vec<_> = raised.iter().flatten().filter_map(|one| one.moved).collect();
    assert_eq!(moves.iter().map(|moved| moved.cause).collect::<Vec<_>>(), [Cause::Finding; 2]);
    assert_eq!(moves[0].from_due_on, Some(day(201)));
    // Another visit is another doing, on whichever day the first one was.
    let next = Found { since: 12, by_visit: Some(2), ..found(12, Some(202)) };
    assert_eq!(
        kinds(&told(&[found(10, Some(5)), on(10, 200), on(11, 201), next]))[2..],
        [ReminderKind::Done]
    );
}

/// What nobody was told of is no news when it turns out to have been otherwise.
#[test]
fn a_history_that_is_mended_is_not_told_of() {
    let set = |since, due| Found { since, ..found(10, Some(due)) };
    assert_eq!(kinds(&told(&[set(0, 400), set(-200, 100), set(5, 405)])), []);
    // Nor is a visit that was known when the task was first looked at, and is taken back.
    let visited = Found { since: 8, by_visit: Some(1), ..found(10, Some(300)) };
    assert_eq!(kinds(&told(&[visited, set(-100, 100)])), []);
    // What was set moves what a visit had done; set back, it is what was told.
    let settled =
        [found(10, Some(5)), Found { since: 10, ..visited }, set(11, 700), Found { since: 10, ..visited }];
    assert_eq!(kinds(&told(&settled)), [ReminderKind::Due, ReminderKind::Done]);
}

#[test]
fn a_day_before_the_last_visit_changes_nothing() {
    let done = Found { since: 10, by_visit: Some(1), ..found(10, Some(200)) };
    let before = |due| Found { ahead: true, ..found(9, Some(due)) };
    let raised = told(&[found(10, Some(5)), done, before(5), before(60), done]);
    assert_eq!(kinds(&raised), [ReminderKind::Due, ReminderKind::Done]);
    // A visit that was logged by a clock that was ahead, and is put on the day it was: it is told of as of any other.
    let corrected = Found { since: 8, by_visit: Some(1), ..found(9, Some(60)) };
    let later = Found { as_of: 55, ..corrected };
    assert_eq!(
        kinds(&told(&[found(10, Some(5)), done, corrected, later]))[2..],
        [ReminderKind::Moved, ReminderKind::Coming]
    );
}

#[test]
fn two_visits_on_a_day_are_one_doing() {
    let on = |by_visit, since| Found { since, by_visit: Some(by_visit), ..found(20, Some(200)) };
    assert_eq!(
        kinds(&told(&[found(12, Some(5)), on(1, 10), on(2, 10), on(1, 10)])),
        [ReminderKind::Due, ReminderKind::Done]
    );
    // The second one was of another day.
    let raised = told(&[found(12, Some(5)), on(1, 10), on(2, 10), on(2, 20)]);
    assert_eq!(kinds(&raised), [ReminderKind::Due, ReminderKind::Done, ReminderKind::Done]);
}

#[test]
fn a_date_that_comes_and_goes_is_told_of_a_few_times_only() {
    let history: Vec<Found> = (0..400).map(|step| found(0, (step % 2 == 0).then_some(3))).collect();
    assert!(kinds(&told(&history)).len() <= 25, "{}", kinds(&told(&history)).len());
}

/// Days and due dates that wander, with visits that are logged, moved to another day and taken back, and a clock that goes
/// back at times.
fn history() -> impl Strategy<Value = Vec<Found>> {
    let days = prop_oneof![1 => -3..0_i64, 12 => 0..4_i64];
    let shift = prop_oneof![8 => -2..3_i64, 2 => -30..40_i64];
    let step = (days, shift, 0..40_u32, 0..20_u32, any::<bool>());
    proptest::collection::vec(step, 1..120).prop_map(|steps| {
        let (mut as_of, mut due, mut basis) = (0_i64, 10_i64, Fingerprints::default());
        // Visits by number and day, each later than those before it.
        let (mut visits, mut number): (Vec<(u128, i64)>, _) = (Vec::new(), 0);
        let each = steps.into_iter().map(|(days, shift, what, none, rain)| {
            as_of += days;
            due += shift;
            if !rain {
                basis.settings += 1;
            }
            let last = visits.last().map_or(-100, |(_, on)| *on);
            match what {
                0 | 1 if as_of > last => {
                    number += 1;
                    visits.push((number, as_of));
                    due = as_of + 30 + shift;
                }
                2 => drop(visits.pop()),
                3 if as_of >= last => {
                    let before = visits.iter().rev().nth(1).map_or(-100, |(_, on)| *on);
                    if let Some((_, on)) = visits.last_mut() {
                        *on = (*on + shift).clamp(before + 1, as_of);
                    }
                }
                _ => {}
            }
            basis.visits = visits.iter().map(|(number, on)| *number as i64 * 1000 + on).sum();
            let known = visits.iter().rev().find(|(_, on)| *on <= as_of);
            let (by_visit, since) = known.map_or((None, -100), |(number, on)| (Some(*number), *on));
            let ahead = visits.iter().any(|(_, on)| *on > as_of);
            Found { as_of, due: (none != 0).then_some(due), since, by_visit, ahead, basis }
        });
        each.collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// Refreshing again, on this replica or another, raises nothing.
    #[test]
    fn the_same_sighting_again_raises_nothing(history in history()) {
        let mut standing = ReminderState::default();
        for found in history {
            standing = decide(&standing, &snapshot(found)).0;
            let (again, raised) = decide(&standing, &snapshot(found));
            prop_assert_eq!(&raised, &[]);
            // All that may change is what will be given as the reason of the next move.
            let but_basis = |standing: ReminderState| {
                let told = standing.told.map(|told| LastReminder { basis: Fingerprints::default(), ..told });
                ReminderState { told, ..standing }
            };
            prop_assert_eq!(but_basis(again), but_basis(standing));
            prop_assert_eq!(decide(&again, &snapshot(found)), (again, Vec::new()));
        }
    }

    /// Every entry that tells of a date tells how it moved from the one before, if by more than is let pass.
    #[test]
    fn no_date_changes_silently_between_entries(history in history()) {
        let mut standing = ReminderState::default();
        for found in history {
            let now = snapshot(found);
            let before = standing;
            let (after, raised) = decide(&before, &now);
            standing = after;
            let same = raised.iter().all(|one| one.kind != ReminderKind::Done);
            if let (Some(told), Some(entry), true) = (before.told, raised.last(), same) {
                prop_assert_eq!(apart(&now, told).abs() > i64::from(MOVE), entry.moved.is_some());
            }
        }
    }

    /// However its day is changed and the clock set, a visit is told of once.
    #[test]
    fn a_visit_is_done_once(history in history()) {
        let mut times: HashMap<u128, usize> = HashMap::new();
        for (found, raised) in history.iter().zip(told(&history)) {
            for _ in raised.iter().filter(|one| one.kind == ReminderKind::Done) {
                *times.entry(found.by_visit.expect("a visit did it")).or_default() += 1;
            }
        }
        prop_assert!(times.values().all(|times| *times == 1), "{times:?}");
    }

    /// At most two entries a refresh, in an order that makes sense.
    #[test]
    fn a_refresh_raises_little(history in history()) {
        for raised in told(&history) {
            prop_assert!(raised.len() <= 2);
            prop_assert!(raised.iter().skip(1).all(|one| one.kind != ReminderKind::Done));
            for one in &raised {
                prop_assert_eq!(one.covers.last(), Some(&one.kind), "the most pressing one names it");
                prop_assert_eq!(one.covers.contains(&ReminderKind::Moved), one.moved.is_some());
            }
        }
    }

    /// Whoever has read everything knows what is due and late, and every date that is near to within what is let pass. A
    /// day that was told never goes by unless the task is due or its new date is known.
    #[test]
    fn a_reader_is_never_left_behind(history in history()) {
        let mut standing = ReminderState::default();
        for found in history {
            let now = snapshot(found);
            standing = decide(&standing, &now).0;
            if standing.since > Some(now.as_of) {
                // A day that was told of already.
                continue;
            }
            let due = now.due_on.is_some_and(|due| due <= now.as_of);
            let stage = standing.told.and_then(|told| told.stage);
            prop_assert!(!due || stage >= Some(Stage::Due));
            prop_assert!(!now.late || stage == Some(Stage::Late));
            let Some(told) = standing.told else { continue };
            let days = apart(&now, told).abs();
            let near = now.due_on.is_some_and(|due| (due - now.as_of).num_days() <= i64::from(LEAD));
            let fewest = (i64::from(MOVE) + 1) << (told.turns + 1);
            prop_assert!(!near && stage.is_none() || days < fewest, "{days}, {told:?}");
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
        prop_assert!(!told.contains(&ReminderKind::Moved), "{told:?}");
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
        let moves = kinds(&raised).iter().filter(|kind| **kind == ReminderKind::Moved).count() as i64;
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
