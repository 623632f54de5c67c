//! What to report about a task, and when: a pure function of what was reported before and what a refresh finds.
//!
//! The last report is stored with the task, in the transaction that appends the entry. So nothing is reported
//! twice, even if several replicas refresh often. A late refresh loses nothing: its entry reports every stage that
//! was passed since the last one.

use crate::domain::base::ids::VisitId;
use crate::domain::model::forecast::Window;
use crate::domain::model::reminder::{
    Cause, DoneByVisit, Fingerprints, LastReminder, Moved, ReminderKind, ReminderState, Stage,
};
use crate::domain::model::task::NO_DATE;
use chrono::NaiveDate;

/// The most doublings of the least move that is reported. After them no move is large enough, not even to "no date"
/// and back. Such a move has some three million days, less than 2 to the power of 22.
const MOST_TURNS: u32 = 22;

/// What a refresh finds of a task.
#[derive(Clone, Copy, Debug)]
pub struct TaskSnapshot {
    /// The local day of the refresh.
    pub as_of: NaiveDate,
    /// The day from which the accumulated figure and the longest interval count.
    pub since: NaiveDate,
    /// The visit that did it on that day, if it counts from a visit.
    pub by_visit: Option<VisitId>,
    /// Whether a later day is already known on which a visit does the task or the task ends.
    pub ahead: bool,
    /// The due date.
    pub due_on: Option<NaiveDate>,
    /// Whether it is late.
    pub late: bool,
    /// The window.
    pub window: Option<Window>,
    /// Whether the date is predicted from an accumulated figure.
    pub predicted: bool,
    /// What the forecast is made from.
    pub basis: Fingerprints,
    /// Days before the due date from which it is announced.
    pub lead_days: u32,
    /// Days by which the date has to move, the first time, before it is reported.
    pub move_days: u32,
}

/// A reminder to be raised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewReminder {
    /// The most urgent of its kinds.
    pub kind: ReminderKind,
    /// Everything that it reports.
    pub covers: Vec<ReminderKind>,
    /// How the date moved, if it did.
    pub moved: Option<Moved>,
}

impl NewReminder {
    /// A reminder of one kind.
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

    /// A due date as it matters for planning: a past date means today, and no date is far away.
    fn ahead(&self, due_on: Option<NaiveDate>) -> NaiveDate {
        due_on.unwrap_or(NO_DATE).max(self.as_of)
    }

    /// Days from the reported date to the present one; positive if it is later. `due` says whether the task was
    /// reported as due. Then a reported date in the past means today.
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

    /// How the date moved from the reported one, if by more than the allowed days.
    ///
    /// Such a move is reported by itself while the task is within its lead time, or was when it was last reported.
    /// It is always reported on the reported day itself. The least move that is reported doubles every time the
    /// date changes direction. So a forecast that swings is reported a few times and not every day.
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

    /// What is stored as reported with an entry.
    fn told(&self, stage: Option<Stage>, later: Option<bool>, turns: u32) -> LastReminder {
        let Self { due_on, window, predicted, basis, .. } = *self;
        LastReminder { stage, due_on, window, predicted, later, turns, basis }
    }
}

/// A move of the date from the reported one.
struct Shift {
    moved: Moved,
    worth_telling: bool,
    later: bool,
    turns: u32,
}

impl ReminderState {
    /// Whether a snapshot finds the task done by a visit that was not reported yet. A reported visit that moved to
    /// a later day does not count as another visit.
    fn newly_done(&self, now: &TaskSnapshot) -> Option<DoneByVisit> {
        let visit = now.by_visit.filter(|visit| self.done.is_none_or(|done| done.visit != *visit))?;
        self.since.filter(|since| *since < now.since).map(|_| DoneByVisit { visit, on: now.since })
    }

    /// Whether the reported visit moved to another day, or did not do the task after all. Then the date that was
    /// reported with it is different, too.
    fn is_amended(&self, now: &TaskSnapshot) -> bool {
        self.done.is_some_and(|done| {
            now.since < done.on || now.since != done.on && now.by_visit == Some(done.visit)
        })
    }

    /// The reported visit, as it is known now.
    fn still_done(&self, now: &TaskSnapshot) -> Option<DoneByVisit> {
        let done = self.done?;
        let counts_from = now.by_visit.map(|visit| DoneByVisit { visit, on: now.since });
        match counts_from {
            Some(found) if found.visit == done.visit => counts_from,
            // It was withdrawn, or moved to before other visits. The visit from which the task now counts was
            // reported earlier.
            _ if now.since < done.on => counts_from,
            _ => self.done,
        }
    }
}

/// What to report about a task, in order, and its new state.
///
/// There are at most two entries: that it was done, and one for everything else. The same snapshot again raises
/// nothing. A snapshot of a day before the task was last done raises nothing either: the clock was set back, or
/// another replica's clock is behind.
///
/// Only the visit that was last reported is remembered. So if there are two visits and the first is moved to a day
/// after the second, it is reported once more.
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
        // The last report was that it was done, and when it is due next.
        told = Some(LastReminder {
            due_on: before.due_on,
            basis: Fingerprints { visits: !now.basis.visits, ..now.basis },
            ..now.told(None, None, 0)
        });
    } else if let Some(told) = told.as_mut().filter(|_| before.due_on == now.due_on) {
        // This change did not move the date, so it must not count as the cause of a later move.
        told.basis = now.basis;
    }
    let stage = now.stage();
    let shift = told.as_ref().and_then(|told| now.moved(told));
    let worth_telling = shift.as_ref().is_some_and(|shift| shift.worth_telling || amended);
    let from = told.and_then(|told| told.stage);
    // Stages passed since the last entry. If the date moves away, its stage no longer counts as reported.
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
