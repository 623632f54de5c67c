//! What to tell of a task, and when: a pure function of what was told before and what a refresh finds.
//!
//! What was told is stored beside the task, in the transaction that appends the entry. So nothing is told twice, whoever
//! refreshes and however often. A late refresh loses nothing: its entry tells of every stage passed since the last one.

use crate::domain::base::ids::VisitId;
use crate::domain::model::forecast::Window;
use crate::domain::model::reminder::{
    Cause, DoneByVisit, Fingerprints, LastReminder, Moved, ReminderKind, ReminderState, Stage,
};
use crate::domain::model::task::NO_DATE;
use chrono::NaiveDate;

/// Doublings of how far a date has to move; beyond them it never moves far enough, not even to no date and back: that is
/// some three million days, and 2 to the power of 22 is more.
const MOST_TURNS: u32 = 22;

/// What a refresh finds of a task.
#[derive(Clone, Copy, Debug)]
pub struct TaskSnapshot {
    /// The day.
    pub as_of: NaiveDate,
    /// The day from which accumulated amount and ceiling count.
    pub since: NaiveDate,
    /// The visit that did it on that day, if it counts from one.
    pub by_visit: Option<VisitId>,
    /// Whether something of a later day is known: a visit that does it, or that it goes.
    pub ahead: bool,
    /// The due date.
    pub due_on: Option<NaiveDate>,
    /// Whether it is late.
    pub late: bool,
    /// The window.
    pub window: Option<Window>,
    /// Whether the date is predicted from an accumulated amount.
    pub predicted: bool,
    /// What it is made from.
    pub basis: Fingerprints,
    /// Days before the due date from which it is told of.
    pub lead_days: u32,
    /// Days by which the date has to move, the first time, to be told of.
    pub move_days: u32,
}

/// Something to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewReminder {
    /// The most pressing of what it tells of.
    pub kind: ReminderKind,
    /// Everything that it tells of.
    pub covers: Vec<ReminderKind>,
    /// How the date moved, if it did.
    pub moved: Option<Moved>,
}

impl NewReminder {
    /// An entry that tells of one thing.
    pub fn of(kind: ReminderKind) -> Self {
        Self { kind, covers: vec![kind], moved: None }
    }
}

impl TaskSnapshot {
    fn stage(&self) -> Option<Stage> {
        let days = self.due_on?.signed_duration_since(self.as_of).num_days();
        match days {
            _ if self.late => Some(Stage::Late),
            ..=0 => Some(Stage::Due),
            days if days <= i64::from(self.lead_days) => Some(Stage::Coming),
            _ => None,
        }
    }

    /// A due date as it matters to somebody who plans: what is past is due now, no date is far away.
    fn ahead(&self, due_on: Option<NaiveDate>) -> NaiveDate {
        due_on.unwrap_or(NO_DATE).max(self.as_of)
    }

    /// Days from a date that was told to the one that is found, later ones counted upwards. `due` says whether it was told
    /// that the task is due: then a told date in the past is today.
    fn shift(&self, told: Option<NaiveDate>, due: bool) -> i64 {
        let now = self.ahead(self.due_on);
        let told = if due || now == self.as_of { self.ahead(told) } else { told.unwrap_or(NO_DATE) };
        now.signed_duration_since(told).num_days()
    }

    fn cause(&self, told: &LastReminder) -> Cause {
        if told.basis.visits != self.basis.visits {
            Cause::Finding
        } else if told.basis.settings != self.basis.settings {
            Cause::Settings
        } else if told.predicted || self.predicted {
            Cause::Rain
        } else {
            Cause::Calendar
        }
    }

    /// How the date moved from what was told, if by more than is let pass.
    ///
    /// That is news by itself while the task is within its lead time, or was when it was told of last, and in any case on
    /// the day that was told. The fewest days that are told of double every time it turns back, so that a forecast that
    /// swings is told of a few times and not every day.
    fn moved(&self, told: &LastReminder) -> Option<Shift> {
        let days = self.shift(told.due_on, told.stage >= Some(Stage::Due));
        let (least, later) = (i64::from(self.move_days), days > 0);
        if days.abs() <= least {
            return None;
        }
        let turns = told.turns + u32::from(told.later.is_some_and(|before| before != later));
        let has_come = told.stage < Some(Stage::Due) && told.due_on.is_some_and(|on| on <= self.as_of);
        let near = told.stage.is_some() || self.stage().is_some();
        let worth_telling = has_come || near && days.abs() >= (least + 1) << turns.min(MOST_TURNS);
        let moved = Moved { from_due_on: told.due_on, from_window: told.window, cause: self.cause(told) };
        Some(Shift { moved, worth_telling, later, turns })
    }

    /// What is told with an entry.
    fn told(&self, stage: Option<Stage>, later: Option<bool>, turns: u32) -> LastReminder {
        let Self { due_on, window, predicted, basis, .. } = *self;
        LastReminder { stage, due_on, window, predicted, later, turns, basis }
    }
}

/// A date that moved from what was told.
struct Shift {
    moved: Moved,
    worth_telling: bool,
    later: bool,
    turns: u32,
}

impl ReminderState {
    /// Whether a snapshot finds the task done by a visit that nobody was told of. A visit that was told of and is now of
    /// a later day is not another one.
    fn newly_done(&self, now: &TaskSnapshot) -> Option<DoneByVisit> {
        let visit = now.by_visit.filter(|visit| self.done.is_none_or(|done| done.visit != *visit))?;
        self.since.filter(|since| *since < now.since).map(|_| DoneByVisit { visit, on: now.since })
    }

    /// Whether the visit that was told of is now of another day, or did not do it: then the date that was told with it is
    /// another one, too.
    fn is_amended(&self, now: &TaskSnapshot) -> bool {
        self.done.is_some_and(|done| {
            now.since < done.on || now.since != done.on && now.by_visit == Some(done.visit)
        })
    }

    /// The visit that was told of, as it is known now.
    fn still_done(&self, now: &TaskSnapshot) -> Option<DoneByVisit> {
        let done = self.done?;
        let counts_from = now.by_visit.map(|visit| DoneByVisit { visit, on: now.since });
        match counts_from {
            Some(found) if found.visit == done.visit => counts_from,
            // It was withdrawn, or is of a day before others. What it counts from instead was told of before.
            _ if now.since < done.on => counts_from,
            _ => self.done,
        }
    }
}

/// What to tell of a task, in order, and where it stands then.
///
/// At most two entries: that it was done, and one for everything else. The same snapshot again raises nothing, and neither
/// does one of a day before the task was last done: then the clock was set back, or another replica's is behind.
///
/// Of two visits only the one that was told of last is remembered: a first one that is moved to a day after the second is
/// told of once more.
pub fn decide(before: &ReminderState, now: &TaskSnapshot) -> (ReminderState, Vec<NewReminder>) {
    if now.ahead && before.since.is_some_and(|since| since > now.as_of) {
        return (*before, Vec::new());
    }
    let mut raised = Vec::new();
    let mut told = before.told;
    let newly_done = before.newly_done(now);
    let amended = newly_done.is_none() && before.is_amended(now);
    if newly_done.is_some() {
        raised.push(NewReminder::of(ReminderKind::Done));
        told = None;
    } else if amended && told.is_none() {
        // The last that was told is that it was done, and when it comes next.
        told = Some(LastReminder {
            due_on: before.due_on,
            basis: Fingerprints { visits: !now.basis.visits, ..now.basis },
            ..now.told(None, None, 0)
        });
    } else if let Some(told) = told.as_mut().filter(|_| before.due_on == now.due_on) {
        // What changed meanwhile did not move the date, and is not what will have moved it.
        told.basis = now.basis;
    }
    let stage = now.stage();
    let shift = told.as_ref().and_then(|told| now.moved(told));
    let worth_telling = shift.as_ref().is_some_and(|shift| shift.worth_telling || amended);
    let from = told.and_then(|told| told.stage);
    // Stages passed since the last entry. A date that moved away takes its stage with it.
    let passed = Stage::ALL.iter().filter(|one| from < Some(**one) && Some(**one) <= stage);
    let mut covers: Vec<ReminderKind> = passed.map(|stage| stage.kind()).collect();
    let kind = covers.last().copied().or(worth_telling.then_some(ReminderKind::Moved));
    if let Some(kind) = kind {
        if shift.is_some() {
            covers.insert(0, ReminderKind::Moved);
        }
        let (later, turns) = match (&shift, &told) {
            (Some(shift), _) => (Some(shift.later), shift.turns),
            (None, Some(told)) => (told.later, told.turns),
            (None, None) => (None, 0),
        };
        told = Some(now.told(stage, later, turns));
        raised.push(NewReminder { kind, covers, moved: shift.map(|shift| shift.moved) });
    } else if amended {
        told = before.told;
    }
    let done = newly_done.or_else(|| before.still_done(now));
    (ReminderState { since: Some(now.since), due_on: now.due_on, done, told }, raised)
}
