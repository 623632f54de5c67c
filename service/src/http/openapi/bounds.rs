//! What the document says of the bounds of fields and parameters. The figures are the constants that the domain checks
//! by; no attribute of a wire type or a handler holds one.

use crate::domain::base::bounds::{
    Bounds, DAY_OF_MONTH, Entries, LATITUDE_DEG, LONGITUDE_DEG, MONTH, MONTHS, NAME_LENGTH, NOTE_LENGTH,
};
use crate::domain::base::{paging, schedule};
use crate::domain::model::{
    calendar, duty, duty_settings, gauge, part, property, rain, roof, round, subscription, system, tank,
    visit,
};
use crate::domain::rules::rounds::figures;
use crate::domain::use_cases::{audit, reminders, sketch};
use std::collections::BTreeMap;
use utoipa::openapi::RefOr;
use utoipa::openapi::path::{Operation, Parameter};
use utoipa::openapi::schema::{Array, ArrayItems, Object, Schema};

/// A text that is kept: control characters are refused, but for line feed, carriage return and tab.
const TEXT_PATTERN: &str = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$";
/// The same, and not blank.
const NAME_PATTERN: &str = r"^[^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f]*$";

/// What is said of a field.
#[derive(Clone, Copy, Debug)]
enum Bound {
    /// A number from the least to the most.
    Figure(Bounds),
    /// A number from the least to less than the most.
    Under(Bounds),
    /// A list of numbers, each from the least to the most.
    Each(Bounds),
    /// A list of so many entries.
    List(Entries),
    /// A list of up to so many entries.
    UpTo(usize),
    /// A list that is not empty.
    NotEmpty,
    /// A text of up to so many characters that is not blank (`Check::text`).
    Name(usize),
    /// A text of up to so many characters that may be blank (`Check::note`).
    Note(usize),
    /// A text of up to so many characters that is read by a grammar of its own and not kept as it comes.
    Grammar(usize),
}

use Bound::{Each, Figure, Grammar, List, Name, NotEmpty, Note, Under, UpTo};

/// A field or parameter, and what is said of it.
struct Row {
    /// A schema, `Schema.kind` where the schema is one of several kinds, or the id of an operation.
    of: &'static str,
    name: &'static str,
    bound: Bound,
}

const fn row(of: &'static str, name: &'static str, bound: Bound) -> Row {
    Row { of, name, bound }
}

const FIELDS: &[Row] = &[
    row("KeyRequest", "name", Name(NAME_LENGTH)),
    row("KeyRequest", "scopes", NotEmpty),
    row("CalendarRequest", "name", Name(NAME_LENGTH)),
    row("CalendarRequest", "horizon_days", Figure(calendar::HORIZON_DAYS)),
    row("ComponentRequest", "name", Name(NAME_LENGTH)),
    row("ReplaceRequest", "name", Name(NAME_LENGTH)),
    row("Part.gutter", "length_m", Figure(part::LENGTH_M)),
    row("Part.debris_screen", "area_m2", Figure(part::AREA_M2)),
    row("Part.debris_screen", "mesh_mm", Figure(part::MESH_MM)),
    row("Part.first_flush_diverter", "chamber_volume_l", Figure(part::CHAMBER_VOLUME_L)),
    row("Emptying.weep_hole", "hole_mm", Figure(part::HOLE_MM)),
    row("Emptying.weep_hole", "head_m", Figure(part::HEAD_M)),
    row("Emptying.drip", "litres_per_hour", Figure(part::LITRES_PER_HOUR)),
    row("Part.coupling", "shade_share", Figure(part::SHADE_SHARE)),
    row("Part.tank", "capacity_l", Figure(tank::CAPACITY_L)),
    row("Part.tank", "floor_area_m2", Figure(tank::FLOOR_AREA_M2)),
    row("Part.tank", "outlet_height_mm", Figure(tank::OUTLET_HEIGHT_MM)),
    row("Part.tank", "sediment_limit_mm", Figure(tank::SEDIMENT_LIMIT_MM)),
    row("Part.floating_intake", "mesh_mm", Figure(part::MESH_MM)),
    row("Part.overflow_trap", "seal_depth_mm", Figure(part::SEAL_DEPTH_MM)),
    row("Part.vent", "mesh_mm", Figure(part::MESH_MM)),
    row("Part.pressure_vessel", "volume_l", Figure(part::VOLUME_L)),
    row("Part.cartridge_filter", "rated_volume_l", Figure(part::RATED_VOLUME_L)),
    row("Part.disinfection_lamp", "rated_hours", Figure(part::RATED_HOURS)),
    row("Part.disinfection_lamp", "hours_per_day", Figure(part::HOURS_PER_DAY)),
    row("MonthDay", "month", Figure(MONTH)),
    row("MonthDay", "day", Figure(DAY_OF_MONTH)),
    row("DutySettingsRequest", "longest_interval_months", Figure(duty_settings::CEILING_MONTHS)),
    row("DutySettingsRequest", "tolerance", Figure(duty_settings::TOLERANCE)),
    row("DutySettingsRequest", "lead_days", Figure(duty_settings::LEAD_DAYS)),
    row("DutySettingsRequest", "move_days", Figure(duty_settings::MOVE_DAYS)),
    row("DutySettingsInput", "longest_interval_months", Figure(duty_settings::CEILING_MONTHS)),
    row("DutySettingsInput", "tolerance", Figure(duty_settings::TOLERANCE)),
    row("Finding.fraction", "fraction", Figure(visit::FRACTION)),
    row("Finding.depth", "depth_mm", Figure(visit::DEPTH_MM)),
    row("ForecastRequest", "latitude_deg", Figure(LATITUDE_DEG)),
    row("ForecastRequest", "elevation_m", Figure(property::ELEVATION_M)),
    row("ForecastRequest", "demand_l_per_day", Figure(system::DEMAND_L_PER_DAY)),
    row("ForecastRequest", "components", List(sketch::COMPONENTS)),
    row("ForecastRequest", "rain", UpTo(rain::MOST_READINGS)),
    row("ForecastRequest", "evaporation_mm_per_day", List(MONTHS)),
    row("ForecastRequest", "evaporation_mm_per_day", Each(property::EVAPORATION_MM_PER_DAY)),
    row("ForecastRequest", "duty_settings", UpTo(duty::Duty::ALL.len())),
    row("GaugeRequest", "name", Name(NAME_LENGTH)),
    row("GaugeRequest", "latitude_deg", Figure(LATITUDE_DEG)),
    row("GaugeRequest", "longitude_deg", Figure(LONGITUDE_DEG)),
    row("MonthlyNormals", "rain_mm", List(MONTHS)),
    row("MonthlyNormals", "rain_mm", Each(gauge::NORMAL_RAIN_MM)),
    row("MonthlyNormals", "wet_days", List(MONTHS)),
    row("MonthlyNormals", "wet_days", Each(gauge::NORMAL_WET_DAYS)),
    row("MonthlyNormals", "wet_day_threshold_mm", Figure(gauge::WET_DAY_THRESHOLD_MM)),
    row("MonthlyNormals", "years", Figure(gauge::NORMAL_YEARS)),
    row("RainDay", "rain_mm", Figure(rain::RAIN_MM)),
    row("RainRequest", "days", UpTo(rain::MOST_READINGS)),
    row("MonthlyTemperatures", "mean_c", List(MONTHS)),
    row("MonthlyTemperatures", "mean_c", Each(property::TEMPERATURES_C)),
    row("MonthlyTemperatures", "mean_minimum_c", List(MONTHS)),
    row("MonthlyTemperatures", "mean_minimum_c", Each(property::TEMPERATURES_C)),
    row("PropertyRequest", "name", Name(NAME_LENGTH)),
    row("PropertyRequest", "latitude_deg", Figure(LATITUDE_DEG)),
    row("PropertyRequest", "longitude_deg", Figure(LONGITUDE_DEG)),
    row("PropertyRequest", "elevation_m", Figure(property::ELEVATION_M)),
    row("PropertyRequest", "evaporation_mm_per_day", List(MONTHS)),
    row("PropertyRequest", "evaporation_mm_per_day", Each(property::EVAPORATION_MM_PER_DAY)),
    row("PropertyRequest", "notes", Note(NOTE_LENGTH)),
    row("RoundRequest", "task_ids", List(round::TASKS)),
    row("RoundRequest", "note", Note(NOTE_LENGTH)),
    row("RoundItem", "left_fraction", Under(visit::LEFT_FRACTION)),
    row("RoundItem", "note", Note(NOTE_LENGTH)),
    row("SkippedTask", "because", Note(NOTE_LENGTH)),
    row("RoundDoneRequest", "visited_by", Note(NAME_LENGTH)),
    row("RoundDoneRequest", "note", Note(NOTE_LENGTH)),
    row("RoundDoneRequest", "items", UpTo(round::TASKS.most)),
    row("RoundDoneRequest", "skipped", UpTo(round::TASKS.most)),
    row("SubscriptionRequest", "name", Name(NAME_LENGTH)),
    row("SubscriptionRequest", "to", Grammar(subscription::LONGEST_URL)),
    row("SubscriptionRequest", "horizon_days", Figure(duty_settings::LEAD_DAYS)),
    row("SubscriptionRequest", "lead_days", Figure(duty_settings::LEAD_DAYS)),
    row("SubscriptionRequest", "schedule", Grammar(schedule::MAX_LENGTH)),
    row("RoofRequest", "plan_area_m2", Figure(roof::PLAN_AREA_M2)),
    row("RoofRequest", "runoff_coefficient", Figure(roof::RUNOFF_COEFFICIENT)),
    row("RoofRequest", "wetting_loss_mm", Figure(roof::WETTING_LOSS_MM)),
    row("RoofRequest", "canopy_share", Figure(roof::CANOPY_SHARE)),
    row("SystemCreateRequest", "name", Name(NAME_LENGTH)),
    row("SystemCreateRequest", "demand_l_per_day", Figure(system::DEMAND_L_PER_DAY)),
    row("SystemCreateRequest", "components", UpTo(system::MOST_AT_ONCE)),
    row("SystemUpdateRequest", "name", Name(NAME_LENGTH)),
    row("SystemUpdateRequest", "demand_l_per_day", Figure(system::DEMAND_L_PER_DAY)),
    row("VisitItem", "left_fraction", Under(visit::LEFT_FRACTION)),
    row("VisitItem", "note", Note(NOTE_LENGTH)),
    row("VisitRequest", "visited_by", Note(NAME_LENGTH)),
    row("VisitRequest", "items", List(visit::ITEMS)),
    row("VisitRequest", "note", Note(NOTE_LENGTH)),
    row("WithdrawRequest", "because", Name(NOTE_LENGTH)),
];

/// Parameters of operations. Every list's `limit` that has no row here is one of a usual page.
const PARAMETERS: &[Row] = &[
    row("list_audit", "thing_id", Name(audit::THING_ID_LENGTH)),
    row("pull_reminders", "wait", Figure(reminders::WAIT_S)),
    row("propose_rounds", "off_dates", UpTo(figures::MOST_OFF_DATES)),
    row("propose_rounds", "trip_cost", Figure(figures::COST)),
    row("propose_rounds", "stop_cost", Figure(figures::COST)),
    row("propose_rounds", "cost_per_day_early", Figure(figures::COST)),
    row("propose_rounds", "cost_per_day_late", Figure(figures::COST)),
    row("propose_rounds", "most_minutes", Figure(figures::TRIP_MINUTES)),
    row("propose_rounds", "nearby_km", Figure(figures::NEARBY_KM)),
    row("list_rounds", "limit", Figure(round::ROWS)),
];

/// Writes the bounds of fields into the schemas.
pub fn bound_fields(schemas: &mut BTreeMap<String, RefOr<Schema>>) {
    for row in FIELDS {
        if let Some(field) = field(schemas, row.of, row.name) {
            row.bound.write(field);
        }
    }
}

/// Writes the bounds of an operation's parameters.
pub fn bound_parameters(operation: &mut Operation) {
    let id = operation.operation_id.as_deref().unwrap_or_default();
    for parameter in operation.parameters.iter_mut().flatten() {
        let RefOr::T(Parameter { name, schema: Some(RefOr::T(schema)), .. }) = parameter else { continue };
        let own = PARAMETERS.iter().find(|row| (row.of, row.name) == (id, name.as_str()));
        let usual = (name == "limit").then_some(Figure(paging::ROWS));
        if let Some(bound) = own.map(|row| row.bound).or(usual) {
            bound.write(schema);
        }
    }
}

/// A field of a schema.
fn field<'a>(
    schemas: &'a mut BTreeMap<String, RefOr<Schema>>,
    schema: &str,
    name: &str,
) -> Option<&'a mut Schema> {
    let (schema, kind) = schema.split_once('.').map_or((schema, None), |(schema, kind)| (schema, Some(kind)));
    let object = match (schemas.get_mut(schema)?, kind) {
        (RefOr::T(Schema::Object(object)), None) => object,
        (RefOr::T(Schema::OneOf(kinds)), Some(kind)) => {
            kinds.items.iter_mut().find_map(|item| match item {
                RefOr::T(Schema::Object(object)) if is_kind(object, kind) => Some(object),
                _ => None,
            })?
        }
        _ => return None,
    };
    match object.properties.get_mut(name)? {
        RefOr::T(schema) => Some(schema),
        RefOr::Ref(_) => None,
    }
}

/// Whether a property of one value says that an object is of this kind.
fn is_kind(object: &Object, kind: &str) -> bool {
    object.properties.values().any(|property| match property {
        RefOr::T(Schema::Object(tag)) => {
            tag.enum_values.as_ref().is_some_and(|values| matches!(values.as_slice(), [one] if one == kind))
        }
        _ => false,
    })
}

impl Bound {
    fn write(self, schema: &mut Schema) {
        match (self, schema) {
            (Figure(bounds), Schema::Object(number)) => between(number, bounds),
            (Under(bounds), Schema::Object(number)) => {
                number.minimum = Some(bounds.least.into());
                number.exclusive_maximum = Some(bounds.most.into());
            }
            (Each(bounds), Schema::Array(Array { items: ArrayItems::RefOrSchema(items), .. })) => {
                if let RefOr::T(Schema::Object(number)) = items.as_mut() {
                    between(number, bounds);
                }
            }
            (List(entries), Schema::Array(list)) => {
                list.min_items = Some(entries.fewest);
                list.max_items = Some(entries.most);
            }
            (UpTo(most), Schema::Array(list)) => list.max_items = Some(most),
            (NotEmpty, Schema::Array(list)) => list.min_items = Some(1),
            (Name(most), Schema::Object(text)) => {
                text.min_length = Some(1);
                text.max_length = Some(most);
                text.pattern = Some(NAME_PATTERN.to_owned());
            }
            (Note(most), Schema::Object(text)) => {
                text.max_length = Some(most);
                text.pattern = Some(TEXT_PATTERN.to_owned());
            }
            (Grammar(most), Schema::Object(text)) => text.max_length = Some(most),
            _ => {}
        }
    }
}

fn between(number: &mut Object, bounds: Bounds) {
    number.minimum = Some(bounds.least.into());
    number.maximum = Some(bounds.most.into());
}

#[cfg(test)]
mod tests;
