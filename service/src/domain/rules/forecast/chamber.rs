//! A first-flush chamber with its history, for the engine.

use crate::domain::model::part::Emptying;
use crate::domain::model::part::Part;
use crate::domain::rules::forecast::history::InService;
use eavesward_engine as engine;
use engine::hydraulics::{Drain, circle_m2, pinhole_minimum_head_m};
use engine::{Chamber, Day, Stretch};

/// The largest chamber in mm of runoff that the engine accepts. A larger one makes no difference, because this one
/// holds the rain of any day.
pub(crate) const MOST_FLUSH_MM: f64 = 1000.0;

/// Discharge coefficient of a sharp-edged hole; 0.60 to 0.65 fit a clean one (from memory).
const DISCHARGE: f64 = 0.62;

const SECONDS_PER_DAY: f64 = 86_400.0;

/// The largest share of a full chamber's head that a hole keeps back because it is too fine. Judgement.
const MOST_KEPT_BACK: f64 = 0.95;

/// A first-flush chamber with its history.
#[derive(Clone, Debug, PartialEq)]
pub struct DiverterChamber {
    pub volume_mm: f64,
    pub emptying: ChamberEmptying,
    /// When it held nothing back: before it was installed, and while it was blocked.
    pub idle: Vec<Stretch>,
    /// Whether visits found it blocked.
    pub found_blocked: bool,
}

#[derive(Clone, Debug, PartialEq)]
pub enum ChamberEmptying {
    WithinTheDay,
    Trickle(f64),
    ByHand(Vec<Day>),
}

impl DiverterChamber {
    /// The same in the engine's type.
    pub fn engine(&self) -> Chamber<'_> {
        Chamber {
            volume_mm: self.volume_mm,
            emptying: match &self.emptying {
                ChamberEmptying::WithinTheDay => engine::Emptying::WithinTheDay,
                ChamberEmptying::Trickle(mm_per_day) => engine::Emptying::Trickle { mm_per_day: *mm_per_day },
                ChamberEmptying::ByHand(drained) => engine::Emptying::ByHand { drained },
            },
            blocked: &self.idle,
        }
    }

    /// The day from which it is blocked; absent if it was not found blocked or was cleared since.
    pub fn blocked_since(&self) -> Option<Day> {
        self.idle.last().filter(|stretch| stretch.to.is_none()).map(|stretch| stretch.from)
    }

    /// Whether a person has to empty it.
    pub fn is_emptied_by_hand(&self) -> bool {
        matches!(self.emptying, ChamberEmptying::ByHand(_))
    }

    /// The chamber of one diverter below a roof, with the days on which visits drained it. Times when it was
    /// blocked are not included.
    pub fn new(component: &InService<'_>, plan_area_m2: f64) -> Option<Self> {
        let Part::FirstFlushDiverter { chamber_volume_l, emptying } = &component.facts.part else {
            return None;
        };
        let volume_mm = (chamber_volume_l / plan_area_m2).min(MOST_FLUSH_MM);
        let trickle = |mm: f64, days: f64| {
            if days <= 1.0 { ChamberEmptying::WithinTheDay } else { ChamberEmptying::Trickle(mm / days) }
        };
        let (volume_mm, emptying) = match emptying {
            Emptying::Hand => (volume_mm, ChamberEmptying::ByHand(component.drained())),
            Emptying::Drip { litres_per_hour } => {
                let days = chamber_volume_l / (litres_per_hour * 24.0);
                (volume_mm, trickle(volume_mm, days))
            }
            Emptying::WeepHole { hole_mm, head_m } => {
                let hole_m = hole_mm / 1000.0;
                // Surface tension keeps the last centimetres of water in the chamber, so their volume holds no
                // further water.
                let kept_m = pinhole_minimum_head_m(hole_m).min(MOST_KEPT_BACK * head_m);
                let drain = Drain {
                    section_m2: chamber_volume_l / 1000.0 / head_m,
                    hole_m2: circle_m2(hole_m),
                    discharge: DISCHARGE,
                    minimum_head_m: kept_m,
                };
                let volume_mm = volume_mm * (1.0 - kept_m / head_m);
                // A hole as wide as its chamber empties it at once.
                let seconds = drain.seconds(*head_m, kept_m).ok().flatten().unwrap_or(0.0);
                (volume_mm, trickle(volume_mm, seconds / SECONDS_PER_DAY))
            }
        };
        Some(Self { volume_mm, emptying, idle: Vec::new(), found_blocked: false })
    }
}
