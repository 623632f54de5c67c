//! The duties that have an accumulated figure: what accumulates, in which unit, and the limit before any finding.

use crate::domain::base::error::Result;
use crate::domain::model::duty::Duty;
use crate::domain::model::measure::Measure;
use crate::domain::model::part::{Clock, Exposition, Material, Part};
use crate::domain::rules::forecast::chamber::DiverterChamber;
use crate::domain::rules::forecast::history::InService;
use crate::domain::rules::forecast::rule::Rule;
use crate::domain::rules::forecast::rule::clogging;
use crate::domain::rules::forecast::system_model::SystemModel;
use eavesward_engine as engine;
use engine::heat::{Warmth, activation_kj_mol, ageing_limit};
use engine::{Exposure, Orientation, limit};

/// Log-sd of the water that a household draws, by month and by year. Judgement.
const DEMAND_SIGMA: f64 = 0.2;

/// Log-sd of ageing by heat in a month, which can be some degrees off its mean. Judgement.
const HEAT_SIGMA_MONTH: f64 = 0.15;

const HEAT_SIGMA_YEAR: f64 = 0.08;

/// The rules of a duty. There is none without an accumulated figure, and there are two for a coupling that ages by
/// light and by heat.
pub fn of<'a>(component: &InService<'_>, duty: Duty, model: &'a SystemModel<'_>) -> Result<Vec<Rule<'a>>> {
    let part = &component.facts.part;
    let one = match (duty, part) {
        (Duty::ClearRoof, Part::Roof { .. }) => {
            Rule::filling(Exposure::RoofLeaves, limit::roof(), Measure::RoofLeaf)
        }
        (Duty::ClearGutter, Part::Gutter { length_m, guarded }) => Rule::filling(
            Exposure::GutterLeaves { length_m: *length_m, guarded: *guarded },
            limit::gutter(),
            Measure::GutterLeaf,
        ),
        (Duty::CleanScreen, Part::DebrisScreen { area_m2, .. }) => {
            Rule::filling(Exposure::Leaves { screen_area_m2: *area_m2 }, limit::screen(), Measure::ScreenLeaf)
        }
        (Duty::DrainDiverter, Part::FirstFlushDiverter { chamber_volume_l, .. }) => {
            let full = limit::hand_emptied_chamber(*chamber_volume_l, model.roof.plan_area_m2)?;
            Rule::steady(Exposure::Runoff, full, Measure::Runoff)
        }
        (Duty::ClearWeepHole, _) => {
            let Some(chamber) = model.own_chamber(component) else { return Ok(Vec::new()) };
            return Ok(clogging(part, chamber, model.roof.plan_area_m2)?.into_iter().collect());
        }
        (Duty::RemoveSediment, Part::Tank { outlet_height_mm, calmed_inlet, sediment_limit_mm, .. }) => {
            let limit = sediment_limit_mm.unwrap_or(limit::USUAL_SEDIMENT_MM);
            Rule::filling(
                Exposure::Sediment {
                    chamber: model.chamber.as_ref().map(DiverterChamber::engine),
                    floor_area_m2: model.tank_floor_m2,
                    calmed_inlet: *calmed_inlet,
                },
                limit::tank_sediment(limit, Some(*outlet_height_mm)),
                Measure::Sediment,
            )
        }
        (Duty::ReplaceCoupling, Part::Coupling { material, exposition, shade, shade_share }) => {
            let shade_share = shade_share.unwrap_or_else(|| shade.share());
            return coupling(engine_material(*material), orientation(*exposition), shade_share, model);
        }
        (Duty::ChangeCartridge, Part::CartridgeFilter { rated_volume_l: Some(litres) }) => {
            let exposure = Exposure::Steady {
                daily: [model.demand_l_per_day; 12],
                sigma_month: DEMAND_SIGMA,
                sigma_year: DEMAND_SIGMA,
                unit: "litres",
            };
            Rule::steady(exposure, limit::cartridge(*litres)?, Measure::Filtered)
        }
        // A cartridge without a rating, or a part that has no such duty. The seal of a trap is simulated. The other
        // duties accumulate nothing.
        (
            Duty::ClearRoof
            | Duty::ClearGutter
            | Duty::CleanScreen
            | Duty::DrainDiverter
            | Duty::RemoveSediment
            | Duty::ReplaceCoupling
            | Duty::ChangeCartridge
            | Duty::CheckTrap
            | Duty::CheckBands
            | Duty::MeasureSediment
            | Duty::LookOverTank
            | Duty::CheckIntake
            | Duty::CheckMesh
            | Duty::WorkValve
            | Duty::CompareLevelGauge
            | Duty::CheckPump
            | Duty::CheckVessel
            | Duty::ChangeLamp
            | Duty::DrainForFrost
            | Duty::RestartAfterFrost,
            _,
        ) => return Ok(Vec::new()),
    };
    Ok(vec![one])
}

fn coupling<'a>(
    material: engine::Material,
    orientation: Orientation,
    shade_share: f64,
    model: &SystemModel<'_>,
) -> Result<Vec<Rule<'a>>> {
    let warmth = model.mean_c.map(|air| Warmth::under_shade(air, shade_share)).transpose()?;
    let light = Exposure::Ultraviolet {
        orientation,
        shade_share,
        warmth: warmth.as_ref().map(Warmth::light_factors),
    };
    let mut rules = vec![Rule {
        clock: Some(Clock::Light),
        ..Rule::steady(light, limit::coupling(material), Measure::Ultraviolet)
    }];
    if let Some(warmth) = warmth {
        let heat = Exposure::Steady {
            daily: *warmth.ageing(activation_kj_mol(material))?.per_day(),
            sigma_month: HEAT_SIGMA_MONTH,
            sigma_year: HEAT_SIGMA_YEAR,
            unit: "days at 25 C",
        };
        rules.push(Rule {
            clock: Some(Clock::Heat),
            ..Rule::steady(heat, ageing_limit(material), Measure::Ageing)
        });
    }
    Ok(rules)
}

const fn engine_material(material: Material) -> engine::Material {
    match material {
        Material::Epdm => engine::Material::Epdm,
        Material::Neoprene => engine::Material::Neoprene,
        Material::NaturalOrSbr => engine::Material::NaturalOrSbr,
        Material::PlasticisedPvc => engine::Material::PlasticisedPvc,
    }
}

const fn orientation(exposition: Exposition) -> Orientation {
    match exposition {
        Exposition::VerticalPipe => Orientation::VerticalPipe,
        Exposition::Horizontal => Orientation::Horizontal,
        Exposition::FacingEquator => Orientation::FacingEquator,
        Exposition::FacingEastOrWest => Orientation::FacingEastOrWest,
        Exposition::FacingPole => Orientation::FacingPole,
        Exposition::TiltedToEquator => Orientation::Tilted45Equator,
    }
}
