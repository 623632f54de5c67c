//! The table of priors and defaults, cell by cell.
//!
//! What the engine makes public is asked of it; a constant that it keeps to itself is read where it is written down.

use eavesward_engine::climate::{FEWEST_DAYS, REFERENCE_LOSS_MM, SPREAD_DAYS, WET_MM};
use eavesward_engine::exposure::{
    BED_KG_M3, ROOF_SOLIDS_MG_L, SHARE_LEFT_IN_GUTTER, SHARE_LEFT_ON_SCREEN, SHARE_PAST_GUARD,
    USUAL_WET_SHARE, monthly_leaf_share, orientation_factor, trap_efficiency,
};
use eavesward_engine::first_flush::{MIXING, WASH_OFF_PER_MM};
use eavesward_engine::frost::{DRAIN_DAYS_BEFORE, FROST_BELOW_C, RESTART_ABOVE_C};
use eavesward_engine::generate::RENEWAL_DAYS;
use eavesward_engine::heat::{
    LIGHT_KJ_MOL, SUN_HEATING_K, Warmth, acceleration, activation_kj_mol, ageing_limit,
};
use eavesward_engine::hydraulics::{GRAVITY, pinhole_minimum_head_m};
use eavesward_engine::learning::{
    BY_EYE_LOG_SD, CLASS_LOG_SD, DETECTION_LIMIT, DRIFT_PER_YEAR, LONGEST_STRETCH, MEASURED_LOG_SD,
    WILD_LOG_SD, WILD_SHARE,
};
use eavesward_engine::limit::{
    CLOGGED_AT_DIAMETERS, DEPOSIT_KG_M3, USUAL_SEDIMENT_MM, cartridge, coupling, drip_chamber, gutter,
    hand_emptied_chamber, roof, screen, tank_sediment, weep_hole_chamber,
};
use eavesward_engine::mosquito::{DEGREE_DAYS, THRESHOLD_C};
use eavesward_engine::runoff::DRYING_MM_PER_DAY;
use eavesward_engine::supply::{AHEAD_DAYS, EVAPORATION_LOG_SD};
use eavesward_engine::trap::{INDOOR_MM_PER_DAY, REFILL_L, USUAL_DEPTH_MM, usual_evaporation};
use eavesward_engine::washoff::{BUILD_UP_PER_DAY, MOST_G_M2};
use eavesward_engine::{Canopy, Material, Orientation, Prior};

use super::super::assert_within;
use super::page::{cells, sections};

/// The heading over the table.
pub const TITLE: &str = "Priors and defaults";

macro_rules! engine {
    ($file:literal) => {
        include_str!(concat!("../../../../service/engine/src/", $file))
    };
}

const MATERIALS: [Material; 4] =
    [Material::Epdm, Material::Neoprene, Material::NaturalOrSbr, Material::PlasticisedPvc];

const EVENTS: &str = engine!("events.rs");
const FROST: &str = engine!("frost.rs");
const GAUGE: &str = engine!("gauge.rs");
const GENERATE: &str = engine!("generate/mod.rs");
const GIVEN: &str = engine!("climate/normals.rs");
const LAWS: &str = engine!("exposure/laws.rs");
const LEAVES: &str = engine!("exposure/leaves.rs");
const METER: &str = engine!("meter.rs");
const MOSQUITO: &str = engine!("mosquito.rs");
const SPREAD: &str = concat!(engine!("climate/spread.rs"), engine!("climate/usual.rs"));
const SUPPLY: &str = concat!(engine!("supply/forthcoming.rs"), engine!("supply/tank_outlook.rs"));
const TANK: &str = engine!("tank.rs");
const ULTRAVIOLET: &str = engine!("exposure/ultraviolet.rs");

/// A constant that the engine keeps to itself, from its source.
fn kept(source: &str, name: &str) -> f64 {
    let declared = source.split(&format!("const {name}: ")).nth(1);
    let value = declared.and_then(|rest| rest.split([';', '=']).nth(1));
    let number = value.map(|text| text.trim().replace('_', ""));
    number.and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("no constant {name}"))
}

/// What the engine does in passing and gives no name.
fn written(source: &str, text: &str) {
    assert!(source.contains(text), "the engine no longer says {text:?}");
}

type Row = (&'static str, String);

/// Values with a semicolon between them.
fn all<const N: usize>(values: [f64; N]) -> String {
    values.map(|value| format!("{value}")).join("; ")
}

fn marked(name: &'static str, prior: Prior, unit: &str) -> Row {
    (name, format!("{} {unit}, log-sd {}", prior.limit.median, prior.limit.log_sd))
}

/// One mark for each material of a coupling.
fn materials(name: &'static str, of: impl Fn(Material) -> Prior, unit: &str) -> Row {
    let limits = MATERIALS.map(|material| of(material).limit);
    let (medians, doubts) = (limits.map(|limit| limit.median), limits.map(|limit| limit.log_sd));
    (name, format!("{} {unit}, log-sd {}", all(medians), all(doubts)))
}

fn limits() -> Vec<Row> {
    let least = tank_sediment(USUAL_SEDIMENT_MM, Some(30.0)).limit.median;
    let margin = 90.0 - tank_sediment(USUAL_SEDIMENT_MM, Some(90.0)).limit.median;
    let rated = cartridge(1000.0).unwrap().limit;
    let chamber = hand_emptied_chamber(250.0, 100.0).unwrap().limit;
    assert_eq!((rated.median, chamber.median), (1000.0, 2.5));
    vec![
        marked("limit of a debris screen", screen(), "kg per m2 of screen"),
        marked("... gutter", gutter(), "kg per m"),
        marked("... roof", roof(), "kg per m2"),
        ("... chamber emptied by hand", format!("litres over plan area, log-sd {}", chamber.log_sd)),
        (
            "... chamber with a weep hole",
            format!(
                "floor x {CLOGGED_AT_DIAMETERS} holes x {DEPOSIT_KG_M3} kg/m3, log-sd {}",
                weep_hole_chamber(1.0, 1.0).unwrap().limit.log_sd
            ),
        ),
        marked("... chamber with a drip", drip_chamber(), "fills"),
        marked("... tank's sediment", tank_sediment(USUAL_SEDIMENT_MM, None), "mm"),
        ("... outlet's height less this, and never under", format!("{} mm", all([margin, least]))),
        ("... filter cartridge", format!("the rated litres, log-sd {}", rated.log_sd)),
        materials("... coupling by light: EPDM; neoprene; natural; PVC", coupling, "MJ/m2"),
        materials("... coupling by heat, the same", ageing_limit, "days at 25 C"),
    ]
}

fn solids_and_chambers() -> Vec<Row> {
    let tension = pinhole_minimum_head_m(0.001) * 1000.0 * GRAVITY * 0.001 / 4.0;
    vec![
        ("wash-off", format!("{WASH_OFF_PER_MM:.3} per mm of runoff")),
        ("share of what enters a chamber that stays", format!("{MIXING}")),
        ("most on a roof; build-up", format!("{MOST_G_M2} g/m2; {BUILD_UP_PER_DAY} per day")),
        ("on a roof after unread days", format!("{} of the most", kept(EVENTS, "SOLIDS_AFTER_GAP"))),
        ("solids in runoff, by which these two are set", format!("{ROOF_SOLIDS_MG_L} mg/L")),
        ("dry solids in a bed", format!("{BED_KG_M3} kg/m3")),
        ("share a tank keeps: calmed; plain inlet", all([true, false].map(trap_efficiency))),
        ("gravity; surface tension", format!("{GRAVITY} m/s2; {tension:.4} N/m")),
    ]
}

fn leaves() -> Vec<Row> {
    let share = |canopy, latitude| {
        let months: [f64; 12] = std::array::from_fn(|m| monthly_leaf_share(canopy, latitude, m));
        all(months)
    };
    let fall = ["CLOSED_CANOPY_KG_M2", "WIND_BLOWN_KG_M2"].map(|name| kept(LEAVES, name));
    let strays = ["LEAF_SIGMA_MONTH", "LEAF_SIGMA_YEAR"].map(|name| kept(LAWS, name));
    vec![
        ("leaf fall: closed canopy; brought by wind", format!("{} kg/m2 a year", all(fall))),
        ("share of it left on the screen", format!("{SHARE_LEFT_ON_SCREEN}")),
        ("... in an open gutter; of that past a guard", all([SHARE_LEFT_IN_GUTTER, SHARE_PAST_GUARD])),
        ("months, January first, north: deciduous", share(Canopy::Deciduous, 48.0)),
        ("... conifer", share(Canopy::Conifer, 48.0)),
        ("... evergreen broadleaf, south", share(Canopy::EvergreenBroadleaf, -34.0)),
        ("leaf fall varies: by month; by year", format!("{} log-sd", all(strays))),
        (
            "readings from which a month's leaf fall follows the record",
            format!("{} or more", kept(LAWS, "FEWEST_LEAF_DAYS")),
        ),
    ]
}

fn climate() -> Vec<Row> {
    written(GAUGE, "days[m] = 40.0 * MEAN_MONTH_DAYS[m]");
    written(engine!("climate/model.rs"), "self.cv30 / self.years.max(0.5).sqrt()");
    written(SPREAD, "0.25 * x[(m + 11) % 12] + 0.5 * x[m] + 0.25 * x[(m + 1) % 12]");
    written(SPREAD, "(USUAL_MONTHS + blocks)).max(0.01)");
    written(SPREAD, "const FLOOR: f64 = 0.02 * 0.02;");
    written(SPREAD, "year: 0.08, cv30: USUAL_CV30");
    let spread = |name| kept(SPREAD, name);
    let usual = |strays, weight, least: f64, unit: &str| {
        format!("{}; {} {unit}; {least}", spread(strays), spread(weight))
    };
    let lent = ["PSEUDO_PAIRS", "PSEUDO_AMOUNTS", "PSEUDO_CV"].map(spread);
    let lifted = kept(GENERATE, "MOST_LIFTED");
    vec![
        ("a wet roof dries by", format!("{DRYING_MM_PER_DAY} mm a dry day")),
        ("a day is wet from; loss for runoff's spread", format!("{} mm", all([WET_MM, REFERENCE_LOSS_MM]))),
        (
            "readings: fewest; for a spread of their own; noted as short",
            format!("{FEWEST_DAYS}; {SPREAD_DAYS}; under {} years", kept(METER, "SHORT_YEARS")),
        ),
        ("weights of a month and its neighbours", "0.25; 0.5; 0.25".to_owned()),
        ("days that the year lends a month: occurrence; amounts; variation", format!("{} days", all(lent))),
        (
            "a month uses the year's mean, with under; least variation squared",
            format!("{} readings; {}", spread("THIN_MONTH"), spread("LEAST_CV2")),
        ),
        ("months vary; weight; least", usual("USUAL_SIGMA_MONTH", "USUAL_MONTHS", 0.1, "months")),
        ("years vary; weight; least", usual("USUAL_SIGMA_YEAR", "USUAL_YEARS", 0.02, "years")),
        (
            "yearly totals vary; weight",
            format!("{}; {} years", spread("USUAL_CV_ANNUAL"), spread("USUAL_CV_YEARS")),
        ),
        (
            "error of one year per 30 days; share used up by the fit",
            all([spread("USUAL_CV30"), spread("USED_BY_FIT")]),
        ),
        ("... blocks needed to measure it; years count as at least", all([spread("FEWEST_BLOCKS"), 0.5])),
        (
            "normals: occurrence; shape, by which a count from any amount becomes one of wet days",
            all([kept(GIVEN, "OCCURRENCE"), kept(GIVEN, "SHAPE")]),
        ),
        (
            "... or a short record: years vary; years behind normals",
            all([kept(GIVEN, "SIGMA_YEAR"), kept(GIVEN, "USUAL_YEARS")]),
        ),
        ("... mean of a wet day where none is counted", format!("{} mm", kept(GIVEN, "USUAL_WET_DAY_MM"))),
        (
            "generated: years; days between renewals; most scaling",
            format!("40; {RENEWAL_DAYS} days; {lifted} times"),
        ),
    ]
}

fn light_and_heat() -> Vec<Row> {
    let uv = |names: [&str; 2]| all(names.map(|name| kept(ULTRAVIOLET, name)));
    let at = |orientation| {
        all([0.0, 25.8, 33.4, 37.1, 39.5, 47.6, 60.0]
            .map(|latitude| orientation_factor(orientation, latitude)))
    };
    assert_eq!(orientation_factor(Orientation::Horizontal, 40.0), 1.0);
    // Between a day in which the sun counts for nothing and one in which it always does lies its share of the day.
    let energy = activation_kj_mol(Material::Epdm);
    let step = Warmth::new([15.0; 12], 15.0).unwrap().ageing(energy).unwrap().per_day()[0];
    let (cool, warm) = (acceleration(energy, 15.0), acceleration(energy, 30.0));
    assert_within((step - cool) / (warm - cool), 1.0 / 3.0, 1e-12, "sunny share of the day");
    let strays = ["LIGHT_KAPPA", "LIGHT_SIGMA_MONTH", "LIGHT_SIGMA_YEAR"].map(|name| kept(LAWS, name));
    vec![
        ("sunlight through the air: dry; wet day", uv(["CLEARNESS_DRY", "CLEARNESS_WET"])),
        ("ultraviolet share of that: dry; wet day", uv(["SHARE_DRY", "SHARE_WET"])),
        ("more ultraviolet with height", format!("{} per km", kept(ULTRAVIOLET, "PER_KM"))),
        ("share of wet days if no rain is known", format!("{USUAL_WET_SHARE}")),
        (
            "factor around a pipe at 0; 25.8; 33.4; 37.1; 39.5; 47.6; 60 degrees",
            at(Orientation::VerticalPipe),
        ),
        ("... upright, to the equator", at(Orientation::FacingEquator)),
        ("... upright, east or west", at(Orientation::FacingEastOrWest)),
        ("... upright, to the pole", at(Orientation::FacingPole)),
        ("... at 45 degrees to the equator", at(Orientation::Tilted45Equator)),
        ("light varies: by day; by month; by year", all(strays)),
        ("a dark part in full sun is warmer by", format!("{SUN_HEATING_K} C, a third of the day")),
        ("warmth makes light count more by", format!("{LIGHT_KJ_MOL} kJ/mol")),
        (
            "heat ages: EPDM; neoprene; natural; PVC",
            format!("{} kJ/mol", all(MATERIALS.map(activation_kj_mol))),
        ),
    ]
}

fn tank_trap_and_frost() -> Vec<Row> {
    written(SUPPLY, "{ 0.5 * tank.capacity_l() }");
    written(TANK, "(walker.month0() + 12 - start) % 12 < 3");
    written(FROST, "((9.0 - self.low) / 7.0).clamp(0.4, 1.0)");
    written(FROST, "(1.8 + reach * below * (0.09 + 0.008 * below)).min(5.0)");
    let outdoors = (usual_evaporation(None).unwrap().per_day()[0] / INDOOR_MM_PER_DAY).round();
    let [ways, behind, unread] = ["PATHS", "BEHIND_DAYS", "MOST_UNREAD"].map(|name| kept(SUPPLY, name));
    let [caution, negligible, range] =
        ["CAUTION", "NEGLIGIBLE", "LEAST_RANGE_K"].map(|name| kept(FROST, name));
    vec![
        ("tank: simulated paths; days ahead", all([ways, AHEAD_DAYS as f64])),
        ("... days behind; share full before them; unread days", format!("{behind}; 0.5; {unread}")),
        (
            "best day: equally low; wet season",
            format!("{} of the capacity; 3 months", kept(TANK, "TIE_SHARE")),
        ),
        ("seal: depth; overflow that fills it", format!("{USUAL_DEPTH_MM} mm; {REFILL_L} L")),
        ("... evaporation indoors", format!("{} mm a week", INDOOR_MM_PER_DAY * 7.0)),
        ("... outdoors at 20 C; doubt", format!("{outdoors} times that; {EVAPORATION_LOG_SD} log-sd")),
        (
            "mosquitoes, egg to adult; longest",
            format!(
                "{DEGREE_DAYS} degree-days above {THRESHOLD_C} C; {} days",
                kept(MOSQUITO, "LONGEST_DAYS")
            ),
        ),
        ("frost: a minimum under", format!("{FROST_BELOW_C} C")),
        ("... minima vary by", "with x for warmest - mean: 1.8 + 0.09 x + 0.008 x^2 C, at most 5; less where the coldest month is over 2 C".to_owned()),
        ("... a night's chance counts", format!("{}", kept(FROST, "RUNS"))),
        ("... first and last by a chance of", format!("{caution}")),
        ("... none under a yearly chance; no season within", format!("{negligible}; {range} C")),
        (
            "... drain before the first; restart above",
            format!("{DRAIN_DAYS_BEFORE} days; {RESTART_ABOVE_C} C"),
        ),
    ]
}

fn learning() -> Vec<Row> {
    let errors = all([MEASURED_LOG_SD, BY_EYE_LOG_SD, CLASS_LOG_SD]);
    vec![
        ("rates drift, squares of log-sd", format!("{DRIFT_PER_YEAR} a year")),
        ("error: measured depth; by eye; class", format!("{errors} log-sd")),
        ("nothing found means less than", format!("{DETECTION_LIMIT} of the limit")),
        ("wild findings; their error", format!("{WILD_SHARE} of all; {WILD_LOG_SD} log-sd")),
        ("one finding lengthens a limit at most", format!("{LONGEST_STRETCH} times")),
    ]
}

#[test]
fn priors_and_defaults() {
    let (_, lines) = sections().into_iter().find(|(title, _)| *title == TITLE).unwrap();
    let rows: Vec<Vec<&str>> = lines.iter().filter_map(|line| cells(line)).collect();
    let there = rows.iter().filter(|row| row[0] != "prior or default");
    let computed = [
        limits(),
        solids_and_chambers(),
        leaves(),
        climate(),
        light_and_heat(),
        tank_trap_and_frost(),
        learning(),
    ]
    .concat();
    for (row, (name, value)) in there.clone().zip(&computed) {
        assert_eq!((row[0], row[1]), (*name, value.as_str()));
        assert!(row[2].len() > 5, "{name}: where is it from?");
    }
    assert_eq!(there.count(), computed.len());
}
