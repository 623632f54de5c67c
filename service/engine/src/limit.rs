//! Limits: the accumulated amount at which a part needs care, before any finding.
//!
//! Question answered: how much can a part take, and how well is that known?
//!
//! A limit is log-normal: `ln(limit)` is normal around `ln(median)` with the standard deviation `log_sd`. The
//! median is above 0, in the unit of the accumulated amount. The log-sd is 0 to 3, and 0 where geometry gives the
//! limit. Eight limits in ten lie between `median e^(-1.28 log_sd)` and `median e^(1.28 log_sd)`.
//!
//! Judgement: every prior except those from geometry and makers' ratings. The source of each says so. Priors are
//! starting points and nothing here validates them. Show with every date how many findings its limit rests on.
//! Known failure: one limit holds for all parts of a kind, whatever their make, until findings tell them apart
//! ([`crate::learning`]).
//! Invariant: every prior has a median above 0, and only geometry gives a limit without doubt.

use crate::error::{EngineError, require};

/// A log-normal limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Median, in the unit of the exposure, above 0.
    pub median: f64,
    /// Standard deviation of the natural logarithm, 0 to 3; 0 when the limit is known exactly.
    pub log_sd: f64,
}

impl Limit {
    pub(crate) fn check(&self) -> Result<(), EngineError> {
        let median_ok = self.median > 0.0 && self.median.is_finite();
        require(median_ok, "limit median", self.median, "above 0")?;
        require((0.0..=3.0).contains(&self.log_sd), "limit log_sd", self.log_sd, "0 to 3")
    }
}

/// A limit and its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// The limit.
    pub limit: Limit,
    /// Unit of the median.
    pub unit: &'static str,
    /// Published source, or the reasoning behind a judgement.
    pub source: &'static str,
    /// Whether the figure is a judgement without a published source.
    pub judgement: bool,
}

/// What a flexible coupling is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Material {
    /// Ethylene propylene diene rubber.
    Epdm,
    /// Polychloroprene.
    Neoprene,
    /// Natural or styrene-butadiene rubber.
    NaturalOrSbr,
    /// Polyvinyl chloride made flexible with plasticiser.
    PlasticisedPvc,
}

/// Leaf screen: dry leaf per m2 of screen at which it needs cleaning. For [`Exposure::Leaves`](crate::Exposure).
pub fn screen() -> Prior {
    Prior {
        limit: Limit { median: 0.3, log_sd: 0.8 },
        unit: "kg dry leaf per m2 of screen",
        source: "judgement: about a hand's breadth of loose litter; no published figure found",
        judgement: true,
    }
}

/// Gutter: dry leaf per m of gutter at which it needs clearing. For [`Exposure::GutterLeaves`](crate::Exposure).
pub fn gutter() -> Prior {
    Prior {
        limit: Limit { median: 0.06, log_sd: 0.8 },
        unit: "kg dry leaf per m of gutter",
        source: "judgement: set so that a usual gutter needs clearing about twice a year, as published intervals say",
        judgement: true,
    }
}

/// Roof: dry leaf fallen per m2 since it was last cleared. For [`Exposure::RoofLeaves`](crate::Exposure).
pub fn roof() -> Prior {
    Prior {
        limit: Limit { median: 0.06, log_sd: 0.8 },
        unit: "kg dry leaf per m2 of roof",
        source: "judgement: set so that a roof with some trees over it needs a look about twice a year, as published \
                 intervals say",
        judgement: true,
    }
}

/// Depth of the deposit that clogs a weep hole, in diameters of the hole. Judgement.
///
/// It is set so that a usual chamber (50 L, 1 m of water, a hole of 2 mm, 100 m2 of roof) needs clearing after some
/// 300 mm of runoff: three to five months in temperate climates.
pub const CLOGGED_AT_DIAMETERS: f64 = 2.0;

/// Wet grit and sludge in a deposit, kg/m3. Judgement within 1050 to 1200 (from memory).
pub const DEPOSIT_KG_M3: f64 = 1100.0;

/// First-flush chamber with a weep hole: solids kept in it, in g, at which hole and chamber need clearing.
///
/// For [`Exposure::Grit`](crate::Exposure). The deposit covers the floor to a depth that clogs the hole: `floor x
/// diameters x hole x density`. `floor_m2` is the plan section of the chamber, above 0, and `hole_mm` the diameter of
/// the hole, above 0. A deposit is mostly water, and much of what settles leaves through the open hole. The density
/// stands for both.
pub fn weep_hole_chamber(floor_m2: f64, hole_mm: f64) -> Result<Prior, EngineError> {
    require(floor_m2 > 0.0 && floor_m2.is_finite(), "chamber floor_m2", floor_m2, "above 0")?;
    require(hole_mm > 0.0 && hole_mm.is_finite(), "hole_mm", hole_mm, "above 0")?;
    // m2 x mm is litres, and kg/m3 is g/L.
    let median = floor_m2 * CLOGGED_AT_DIAMETERS * hole_mm * DEPOSIT_KG_M3;
    Ok(Prior {
        limit: Limit { median, log_sd: 0.8 },
        unit: "g of solids in the chamber",
        source: "judgement: a deposit on the chamber's floor twice as deep as the hole is wide; holes of 2 to 3 mm \
                 clog with the solids they collect, no published figure found",
        judgement: true,
    })
}

/// First-flush chamber with a drip: number of fills after which dripper and chamber need rinsing.
///
/// For [`Exposure::Fills`](crate::Exposure). 600 mm of runoff at 5 mm an event.
pub fn drip_chamber() -> Prior {
    Prior {
        limit: Limit { median: 120.0, log_sd: 0.7 },
        unit: "fills of the chamber",
        source: "judgement: some 600 mm of runoff at five mm an event; no published figure found",
        judgement: true,
    }
}

/// Filter cartridge: litres at which it needs changing, from the maker's rating (above 0).
pub fn cartridge(rated_volume_l: f64) -> Result<Prior, EngineError> {
    let rated_ok = rated_volume_l > 0.0 && rated_volume_l.is_finite();
    require(rated_ok, "rated_volume_l", rated_volume_l, "above 0")?;
    Ok(Prior {
        limit: Limit { median: rated_volume_l, log_sd: 0.3 },
        unit: "litres",
        source: "the maker's rating; that water differs by a third either way is judgement",
        judgement: false,
    })
}

/// First-flush chamber emptied by hand: the runoff that fills it, in litres over plan area. Known exactly.
///
/// `chamber_l` and `roof_plan_area_m2` above 0.
pub fn hand_emptied_chamber(chamber_l: f64, roof_plan_area_m2: f64) -> Result<Prior, EngineError> {
    require(chamber_l > 0.0 && chamber_l.is_finite(), "chamber_l", chamber_l, "above 0")?;
    let area_ok = roof_plan_area_m2 > 0.0 && roof_plan_area_m2.is_finite();
    require(area_ok, "roof_plan_area_m2", roof_plan_area_m2, "above 0")?;
    Ok(Prior {
        limit: Limit { median: chamber_l / roof_plan_area_m2, log_sd: 0.0 },
        unit: "mm runoff",
        source: "geometry: one litre on one m2 is one mm",
        judgement: false,
    })
}

/// Depth of sediment that trade practice calls normal, mm.
pub const USUAL_SEDIMENT_MM: f64 = 50.0;

/// Height of an outlet under which sediment reaches it before it is deep, mm. Judgement: the margin and the least depth
/// of [`tank_sediment`].
pub const LOW_OUTLET_MM: f64 = 60.0;

/// Tank sediment: depth on the floor at which it needs removing.
///
/// The lesser of two depths: the set depth (usually [`USUAL_SEDIMENT_MM`]), and the outlet height less a margin of
/// 50 mm. Under an outlet lower than [`LOW_OUTLET_MM`] there is no room for the margin: then 10 mm, but never more than
/// the outlet's height, and never under 1 mm. `outlet_height_mm` is the height of the lowest draw-off above the floor in
/// mm, usually about 100 (common practice). `None` when unknown: a floating intake has no fixed height.
pub fn tank_sediment(set_depth_mm: f64, outlet_height_mm: Option<f64>) -> Prior {
    const MARGIN_MM: f64 = 50.0;
    const LEAST_MM: f64 = 10.0;
    const FILM_MM: f64 = 1.0;
    let outlet = outlet_height_mm.filter(|h| h.is_finite()).unwrap_or(f64::INFINITY);
    let clear = (outlet - MARGIN_MM).max(LEAST_MM).min(outlet.max(FILM_MM));
    Prior {
        limit: Limit { median: set_depth_mm.min(clear), log_sd: 0.7 },
        unit: "mm depth on the tank floor",
        source: "judgement, beside trade practice that calls up to 5 cm normal; margin of 50 mm and least depth \
                 of 10 mm are judgement",
        judgement: true,
    }
}

/// Flexible coupling in daylight: dose of ultraviolet (295 to 385 nm) at which it needs replacing, MJ/m2.
///
/// No published dose to failure of pipe couplings was found. EPDM roof sheet met or nearly met the minima of new
/// sheet after 28 to 32 years, mostly under stone ballast (trade association figures). That only bounds the figure
/// for EPDM.
pub fn coupling(material: Material) -> Prior {
    let (median, log_sd, source) = match material {
        Material::Epdm => {
            (5000.0, 0.5, "judgement; EPDM roof sheet lasted some 30 years, mostly under ballast")
        }
        Material::Neoprene => (2500.0, 0.5, "judgement; half of EPDM"),
        Material::NaturalOrSbr => (800.0, 0.6, "judgement; ozone cracks it as well"),
        Material::PlasticisedPvc => {
            (1500.0, 0.6, "judgement; plasticiser loss follows heat rather than light")
        }
    };
    Prior { limit: Limit { median, log_sd }, unit: "MJ/m2 TUV 295-385 nm", source, judgement: true }
}
