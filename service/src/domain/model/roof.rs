//! Roofs, with the default figures of each surface and their sources.

use crate::domain::base::bounds::{Bounds, SHARE};
use crate::domain::base::check::Check;
use crate::domain::base::words::words;
use serde::{Deserialize, Serialize};

words! {
    /// What a roof is covered with.
    Surface {
        /// Profiled or sheet metal.
        Metal "metal",
        /// Clay, concrete or slate tile.
        Tile "tile",
        /// Fibre-cement sheet.
        FibreCement "fibre_cement",
        /// Asphalt shingle.
        AsphaltShingle "asphalt_shingle",
        /// Flat, bare.
        FlatSmooth "flat_smooth",
        /// Flat with gravel.
        FlatGravel "flat_gravel",
        /// Planted.
        Green "green",
    }
}

words! {
    /// The trees that drop leaves or needles on a roof.
    Canopy {
        /// None near.
        None "none",
        /// Broad leaves shed in autumn.
        Deciduous "deciduous",
        /// Needles.
        Conifer "conifer",
        /// Evergreen broad leaves.
        EvergreenBroadleaf "evergreen_broadleaf",
    }
}

/// A default value and its source.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sourced {
    /// The value.
    pub value: f64,
    /// Where it comes from.
    pub source: &'static str,
}

impl Surface {
    /// Share of the rain, after wetting, that reaches the downpipe.
    pub const fn runoff_coefficient(self) -> Sourced {
        match self {
            Self::Metal => Sourced {
                value: 0.92,
                source: "metal roof, Farreny et al. 2011, Water Research 45:3245 (value from memory; the abstract \
                         gives over 0.90 for sloping smooth roofs)",
            },
            Self::Tile => Sourced {
                value: 0.84,
                source: "clay tile, Farreny et al. 2011, Water Research 45:3245 (value from memory)",
            },
            Self::FibreCement => Sourced {
                value: 0.85,
                source: "middle of 0.8-0.9 for fibre-cement sheet, Warwick DTU, catchments table 1",
            },
            Self::AsphaltShingle => Sourced { value: 0.85, source: "judgement: between tile and metal" },
            Self::FlatSmooth => Sourced {
                value: 0.80,
                source: "flat without gravel, EN 16941-1:2018 annex (value from memory)",
            },
            Self::FlatGravel => Sourced {
                value: 0.62,
                source: "flat gravel, Farreny et al. 2011, Water Research 45:3245 (value from memory)",
            },
            Self::Green => Sourced {
                value: 0.50,
                source: "extensive green roof, EN 16941-1:2018 annex (value from memory)",
            },
        }
    }

    /// Rain that wets a dry roof and does not run off, mm.
    pub const fn wetting_loss_mm(self) -> Sourced {
        match self {
            Self::Metal => {
                Sourced { value: 0.35, source: "middle of 0.2-0.5 mm for smooth metal (from memory)" }
            }
            Self::Tile | Self::FibreCement | Self::AsphaltShingle => {
                Sourced { value: 0.75, source: "middle of 0.5-1 mm for tile (from memory)" }
            }
            Self::FlatSmooth => Sourced {
                value: 2.54,
                source: "flat roof, recommended 0.1 in, Urban Drainage and Flood Control District criteria, table 2-1",
            },
            Self::FlatGravel => {
                Sourced { value: 3.0, source: "middle of 2-4 mm for flat gravel (from memory)" }
            }
            Self::Green => Sourced { value: 5.0, source: "judgement: a planted layer holds several mm back" },
        }
    }
}

/// A figure of a roof that is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoofFigure {
    /// The value.
    pub value: f64,
    /// Whether the account gave it. Otherwise it is the surface's default.
    pub given: bool,
    /// Where it comes from.
    pub source: &'static str,
}

impl RoofFigure {
    fn given_or(given: Option<f64>, default: Sourced) -> Self {
        match given {
            Some(value) => Self { value, given: true, source: "given by the account" },
            None => Self { value: default.value, given: false, source: default.source },
        }
    }
}

/// Plan area, m2. Judgement: ten hectares are more than any roof with one gutter system.
pub const PLAN_AREA_M2: Bounds = Bounds::above_nothing(100_000.0);

/// Runoff coefficient: no more water runs off than falls.
pub const RUNOFF_COEFFICIENT: Bounds = Bounds::above_nothing(1.0);

/// Wetting loss, mm. Judgement: four times what a green roof holds back.
pub const WETTING_LOSS_MM: Bounds = Bounds::of(0.0, 20.0);

/// Share of a roof that lies under trees.
pub const CANOPY_SHARE: Bounds = SHARE;

/// A roof. An absent coefficient or loss means the surface's default, so that the roof follows a better default.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Roof {
    /// Plan area in m2.
    pub plan_area_m2: f64,
    /// What it is covered with.
    pub surface: Surface,
    /// The account's own runoff coefficient.
    pub runoff_coefficient: Option<f64>,
    /// The account's own wetting loss in mm.
    pub wetting_loss_mm: Option<f64>,
    /// The trees that drop leaves or needles on it.
    pub canopy: Canopy,
    /// Share of it under the canopy.
    pub canopy_share: f64,
}

impl Roof {
    pub(crate) fn check(&self, check: &mut Check) {
        check.between("plan_area_m2", self.plan_area_m2, PLAN_AREA_M2);
        check.between_if_given("runoff_coefficient", self.runoff_coefficient, RUNOFF_COEFFICIENT);
        check.between_if_given("wetting_loss_mm", self.wetting_loss_mm, WETTING_LOSS_MM);
        check.between("canopy_share", self.canopy_share, CANOPY_SHARE);
        if self.canopy == Canopy::None && self.canopy_share > 0.0 {
            check.refuse(
                "canopy_share",
                format!(
                    "{} of the roof is under trees, but canopy is none; name the trees",
                    self.canopy_share
                ),
            );
        }
    }

    /// A roof with the default figures of its surface and no trees near.
    pub const fn new(plan_area_m2: f64, surface: Surface) -> Self {
        Self {
            plan_area_m2,
            surface,
            runoff_coefficient: None,
            wetting_loss_mm: None,
            canopy: Canopy::None,
            canopy_share: 0.0,
        }
    }

    /// The same roof with a share of it under trees.
    #[must_use]
    pub const fn under(self, canopy: Canopy, canopy_share: f64) -> Self {
        Self { canopy, canopy_share, ..self }
    }

    /// The coefficient that is used, and its source.
    pub fn coefficient(&self) -> RoofFigure {
        RoofFigure::given_or(self.runoff_coefficient, self.surface.runoff_coefficient())
    }

    /// The wetting loss that is used, and its source.
    pub fn loss(&self) -> RoofFigure {
        RoofFigure::given_or(self.wetting_loss_mm, self.surface.wetting_loss_mm())
    }

    /// The same in the engine's type.
    pub fn to_engine(&self) -> eavesward_engine::Roof {
        eavesward_engine::Roof {
            plan_area_m2: self.plan_area_m2,
            coefficient: self.coefficient().value,
            wetting_loss_mm: self.loss().value,
            canopy: match self.canopy {
                Canopy::None => eavesward_engine::Canopy::None,
                Canopy::Deciduous => eavesward_engine::Canopy::Deciduous,
                Canopy::Conifer => eavesward_engine::Canopy::Conifer,
                Canopy::EvergreenBroadleaf => eavesward_engine::Canopy::EvergreenBroadleaf,
            },
            canopy_share: self.canopy_share,
        }
    }
}
