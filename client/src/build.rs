//! Builds requests from quantities with units.
//!
//! The contract's fields are in SI units and name the unit. These functions convert from the units that people
//! measure in. Setters of the request set the other fields. Kinds of part without a figure to convert,
//! and every optional figure, are in the constructors of [`Part`].
//!
//! ```
//! use eavesward_client::build;
//! use eavesward_client::contract::{Canopy, Surface};
//! use eavesward_client::units::{Area, Length, Volume};
//!
//! let roof = build::roof(Area::square_feet(1200.0), Surface::Metal).canopy(Canopy::Deciduous).canopy_share(0.25);
//! let tank = build::tank(Volume::us_gallons(2500.0), Area::square_feet(45.0), Length::inches(4.0));
//! # let _ = (roof, tank);
//! ```

use crate::units::{Area, Length, Volume};
use chrono::NaiveDate;
use eavesward_contract::{
    ComponentRequest, Emptying, Finding, Part, RainDay, RoofRequest, Surface, SystemCreateRequest,
};
use uuid::Uuid;

/// A roof with the default figures of its surface and no trees nearby. `plan_area` is the horizontal area,
/// overhangs included. It is not the area of the slope.
pub fn roof(plan_area: Area, surface: Surface) -> RoofRequest {
    RoofRequest::new(plan_area.in_square_metres(), surface)
}

/// A system without components and without water demand.
pub fn system(
    property_id: Uuid,
    gauge_id: Uuid,
    name: impl Into<String>,
    roof: RoofRequest,
    commissioned_on: NaiveDate,
) -> SystemCreateRequest {
    SystemCreateRequest::new(property_id, gauge_id, name, roof, commissioned_on)
}

/// The same system with this water demand per day.
pub fn with_demand(system: SystemCreateRequest, a_day: Volume) -> SystemCreateRequest {
    system.demand_l_per_day(a_day.in_litres())
}

/// A component without a known earlier service.
pub fn component(
    name: impl Into<String>,
    part: impl Into<Part>,
    installed_on: NaiveDate,
) -> ComponentRequest {
    ComponentRequest::new(name, part, installed_on)
}

/// A gutter without a guard.
pub fn gutter(length: Length) -> Part {
    Part::gutter(length.in_metres()).into()
}

/// A debris screen: the area of its mesh, and the opening of the mesh if known.
pub fn debris_screen(area: Area, mesh: Option<Length>) -> Part {
    Part::debris_screen(area.in_square_metres()).mesh_mm(mesh.map(Length::in_millimetres)).into()
}

/// A first-flush diverter: the volume of its chamber, and how the chamber is emptied.
pub fn first_flush_diverter(chamber: Volume, emptying: Emptying) -> Part {
    Part::first_flush_diverter(chamber.in_litres(), emptying)
}

/// A diverter's weep hole: its diameter, and the height of water above it when the chamber is full.
pub fn weep_hole(hole: Length, head: Length) -> Emptying {
    Emptying::weep_hole(hole.in_millimetres(), head.in_metres())
}

/// A diverter's slow-release (drip), as a volume per hour.
pub fn drip(an_hour: Volume) -> Emptying {
    Emptying::drip(an_hour.in_litres())
}

/// A tank without a calmed inlet. `capacity` is measured up to the overflow. `outlet_height` is the height of the
/// outlet or lowest intake above the floor.
pub fn tank(capacity: Volume, floor_area: Area, outlet_height: Length) -> Part {
    let outlet_height_mm = outlet_height.in_millimetres();
    Part::tank(capacity.in_litres(), floor_area.in_square_metres(), outlet_height_mm).into()
}

/// A floating intake, and the opening of its screen if known.
pub fn floating_intake(mesh: Option<Length>) -> Part {
    Part::floating_intake().mesh_mm(mesh.map(Length::in_millimetres)).into()
}

/// An overflow trap and the depth of its water seal.
pub fn overflow_trap(seal_depth: Length) -> Part {
    Part::overflow_trap(seal_depth.in_millimetres())
}

/// A screened vent, and the opening of its mesh if known.
pub fn vent(mesh: Option<Length>) -> Part {
    Part::vent().mesh_mm(mesh.map(Length::in_millimetres)).into()
}

/// A pressure vessel, and its volume if known.
pub fn pressure_vessel(volume: Option<Volume>) -> Part {
    Part::pressure_vessel().volume_l(volume.map(Volume::in_litres)).into()
}

/// A cartridge filter, and the maker's rated volume of a cartridge if known.
pub fn cartridge_filter(rated_for: Option<Volume>) -> Part {
    Part::cartridge_filter().rated_volume_l(rated_for.map(Volume::in_litres)).into()
}

/// The rain of one day.
pub fn rain_day(date: NaiveDate, rain: Length) -> RainDay {
    RainDay::new(date, rain.in_millimetres())
}

/// A finding: sediment of this measured depth.
pub fn depth(depth: Length) -> Finding {
    Finding::depth(depth.in_millimetres())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    fn day() -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 4, 2).expect("a day")
    }

    /// The same to nine digits: an inch is exact, a foot times a thousand is not.
    #[track_caller]
    fn same(got: impl serde::Serialize, want: &Value) {
        fn rounded(value: &Value) -> Value {
            match value {
                Value::Number(number) => number.as_f64().map_or(Value::Null, |n| format!("{n:.9e}").into()),
                Value::Object(fields) => {
                    fields.iter().map(|(name, value)| (name.clone(), rounded(value))).collect()
                }
                other => other.clone(),
            }
        }
        assert_eq!(rounded(&serde_json::to_value(got).expect("JSON")), rounded(want));
    }

    #[test]
    fn quantities_arrive_on_the_wire_in_its_units() {
        let (inch, foot2, gallon) = (Length::inches(1.0), Area::square_feet(1.0), Volume::us_gallons(1.0));
        let (mm, m2, l) = (25.4, 0.092_903_04, 3.785_411_784);
        same(
            debris_screen(foot2, Some(inch)),
            &json!({"kind": "debris_screen", "area_m2": m2, "mesh_mm": mm}),
        );
        same(gutter(Length::feet(10.0)), &json!({"kind": "gutter", "length_m": 3.048, "guarded": false}));
        same(
            tank(gallon, foot2, inch),
            &json!({"kind": "tank", "capacity_l": l, "floor_area_m2": m2,
            "outlet_height_mm": mm, "calmed_inlet": false}),
        );
        let hole = weep_hole(inch, Length::feet(1.0));
        same(
            first_flush_diverter(gallon, hole),
            &json!({"kind": "first_flush_diverter", "chamber_volume_l": l,
            "emptying": {"by": "weep_hole", "hole_mm": mm, "head_m": 0.3048}}),
        );
        same(drip(gallon), &json!({"by": "drip", "litres_per_hour": l}));
        same(overflow_trap(inch), &json!({"kind": "overflow_trap", "seal_depth_mm": mm}));
        same(vent(Some(inch)), &json!({"kind": "vent", "mesh_mm": mm}));
        same(floating_intake(None), &json!({"kind": "floating_intake"}));
        same(pressure_vessel(Some(gallon)), &json!({"kind": "pressure_vessel", "volume_l": l}));
        same(cartridge_filter(Some(gallon)), &json!({"kind": "cartridge_filter", "rated_volume_l": l}));
        same(rain_day(day(), inch), &json!({"date": "2031-04-02", "rain_mm": mm}));
        same(depth(inch), &json!({"found": "depth", "depth_mm": mm}));
        let made = system(Uuid::nil(), Uuid::nil(), "apple shed", roof(foot2, Surface::Tile), day());
        let made = with_demand(made, gallon);
        assert!((made.demand_l_per_day - l).abs() < 1e-9 && (made.roof.plan_area_m2 - m2).abs() < 1e-12);
        same(
            component("vent", vent(None), day()),
            &json!({"name": "vent", "part": {"kind": "vent"},
            "installed_on": "2031-04-02"}),
        );
    }
}
