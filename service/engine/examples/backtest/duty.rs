//! The duties whose dates can be looked at, each with a usual part.

use eavesward_engine::exposure::{SHARE_LEFT_IN_GUTTER, SHARE_LEFT_ON_SCREEN, litter_kg_m2};
use eavesward_engine::{Canopy, Chamber, EngineError, Exposure, Prior, Roof, Site, limit};

/// Share of the rain beyond the wetting loss that runs off the roof.
const COEFFICIENT: f64 = 0.9;
const WETTING_LOSS_MM: f64 = 0.5;
const GUTTER_M: f64 = 20.0;
const SCREEN_M2: f64 = 0.2;
/// Height of the water in a chamber with a weep hole.
const CHAMBER_HEIGHT_M: f64 = 1.0;
const HOLE_MM: f64 = 2.0;

/// A duty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Duty {
    Gutter,
    Screen,
    /// A first-flush chamber that is emptied by hand.
    Diverter,
    WeepHole,
    Sediment,
}

impl Duty {
    /// All duties, with the names that the command line knows.
    pub const ALL: [(&'static str, Duty); 5] = [
        ("gutter", Duty::Gutter),
        ("screen", Duty::Screen),
        ("diverter", Duty::Diverter),
        ("weep-hole", Duty::WeepHole),
        ("sediment", Duty::Sediment),
    ];

    /// The duty of a name. An error lists the names.
    pub fn named(text: &str) -> Result<Duty, String> {
        let found = Duty::ALL.into_iter().find(|(name, _)| *name == text);
        found.map(|(_, duty)| duty).ok_or_else(|| {
            let known = Duty::ALL.map(|(name, _)| name).join(", ");
            format!("--duty is `{text}`; known duties: {known}")
        })
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        Duty::ALL.into_iter().find(|(_, duty)| *duty == self).map_or("", |(name, _)| name)
    }

    /// Whether leaves wait on the roof for the next runoff.
    pub fn gathers_leaves(self) -> bool {
        matches!(self, Duty::Gutter | Duty::Screen)
    }
}

/// What the command line may set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    pub area_m2: f64,
    pub canopy_share: f64,
    pub latitude_deg: f64,
    pub chamber_l: f64,
    pub floor_m2: f64,
}

impl Default for Place {
    fn default() -> Place {
        Place { area_m2: 100.0, canopy_share: 0.2, latitude_deg: 45.0, chamber_l: 50.0, floor_m2: 2.0 }
    }
}

/// A part, its roof and its limit.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    pub duty: Duty,
    pub site: Site,
    pub roof: Roof,
    pub exposure: Exposure<'static>,
    /// The accumulated amount at which the part needs care, without doubt.
    pub limit: f64,
    /// The place it was made from.
    place: Place,
}

impl Part {
    /// A usual part. Without a `limit` it has the median of the limit before any finding.
    pub fn new(duty: Duty, place: Place, limit: Option<f64>) -> Result<Part, String> {
        let site = Site { latitude_deg: place.latitude_deg, elevation_m: 0.0 };
        let roof = Roof {
            wetting_loss_mm: WETTING_LOSS_MM,
            canopy: Canopy::Deciduous,
            canopy_share: place.canopy_share,
            ..Roof::new(place.area_m2, COEFFICIENT)
        };
        let chamber = Chamber::emptied(place.chamber_l / place.area_m2);
        let exposure = match duty {
            Duty::Gutter => Exposure::GutterLeaves { length_m: GUTTER_M, guarded: false },
            Duty::Screen => Exposure::Leaves { screen_area_m2: SCREEN_M2 },
            Duty::Diverter => Exposure::Runoff,
            Duty::WeepHole => Exposure::Grit { chamber },
            Duty::Sediment => Exposure::Sediment {
                chamber: Some(chamber),
                floor_area_m2: place.floor_m2,
                calmed_inlet: true,
            },
        };
        let prior = prior(duty, place).map_err(|e| e.to_string())?;
        let limit = limit.unwrap_or(prior.limit.median);
        Ok(Part { duty, site, roof, exposure, limit, place })
    }

    /// Leaf that a day of a month (January 0) adds, in the unit of the limit, once a runoff moves it.
    pub fn fall_of_day(&self, month0: usize) -> f64 {
        let caught = match self.exposure {
            Exposure::GutterLeaves { length_m, .. } => SHARE_LEFT_IN_GUTTER / length_m,
            Exposure::Leaves { screen_area_m2 } => SHARE_LEFT_ON_SCREEN / screen_area_m2,
            _ => 0.0,
        };
        litter_kg_m2(&self.roof, &self.site, month0) * caught * self.roof.plan_area_m2
    }

    /// The part in words.
    pub fn words(&self) -> String {
        let Place { area_m2, canopy_share, latitude_deg, chamber_l, floor_m2 } = self.place;
        let (duty, limit, unit) = (self.duty.name(), self.limit, self.exposure.unit());
        let part = match self.duty {
            Duty::Gutter => format!("{GUTTER_M} m of open gutter"),
            Duty::Screen => format!("a screen of {SCREEN_M2} m2"),
            Duty::Diverter => format!("a chamber of {chamber_l} L, emptied by hand"),
            Duty::WeepHole => {
                format!("a chamber of {chamber_l} L, {CHAMBER_HEIGHT_M} m high, with a hole of {HOLE_MM} mm")
            }
            Duty::Sediment => {
                format!("a tank floor of {floor_m2} m2, a calmed inlet, a chamber of {chamber_l} L before it")
            }
        };
        let trees = if self.duty.gathers_leaves() {
            format!(" Trees: deciduous, over {} % of it. Latitude: {latitude_deg}.", canopy_share * 100.0)
        } else {
            String::new()
        };
        format!(
            "Duty: {duty}. Limit: {limit} {unit}, known exactly. Part: {part}.\nRoof: {area_m2} m2, \
             coefficient {COEFFICIENT}, wetting loss {WETTING_LOSS_MM} mm.{trees}"
        )
    }
}

/// What the engine believes of a part's limit before any finding.
fn prior(duty: Duty, place: Place) -> Result<Prior, EngineError> {
    Ok(match duty {
        Duty::Gutter => limit::gutter(),
        Duty::Screen => limit::screen(),
        Duty::Diverter => limit::hand_emptied_chamber(place.chamber_l, place.area_m2)?,
        Duty::WeepHole => weep_hole(place.chamber_l)?,
        Duty::Sediment => limit::tank_sediment(limit::USUAL_SEDIMENT_MM, None),
    })
}

/// The limit of a chamber with a weep hole.
fn weep_hole(chamber_l: f64) -> Result<Prior, EngineError> {
    limit::weep_hole_chamber(chamber_l / 1000.0 / CHAMBER_HEIGHT_M, HOLE_MM)
}
