//! The figures of a tank, each within its bounds and all of them together.

use crate::domain::base::bounds::Bounds;
use crate::domain::base::check::Check;

/// Capacity of a tank, litres. Judgement: one litre is a jug, a hundred thousand cubic metres are a lake.
pub const CAPACITY_L: Bounds = Bounds::of(1.0, 100_000_000.0);

/// Area of a tank's floor, m2. Judgement: that same lake, one metre deep.
pub const FLOOR_AREA_M2: Bounds = Bounds::above_nothing(100_000.0);

/// Height of a tank's outlet above its floor, mm. Judgement: twenty metres exceed the tallest tank.
pub const OUTLET_HEIGHT_MM: Bounds = Bounds::of(0.0, 20_000.0);

/// Mean depth of a full tank, mm: its capacity over its floor area. Judgement: from a flat bag to a tower.
const DEPTH_MM: Bounds = Bounds::of(50.0, 30_000.0);

/// Depth of sediment at which it is removed, mm. Judgement: less cannot be measured, and more would be a new floor.
pub const SEDIMENT_LIMIT_MM: Bounds = Bounds::of(10.0, 2000.0);

/// Checks every figure of a tank. To be called under the path of the part.
pub fn check(
    check: &mut Check,
    capacity_l: f64,
    floor_area_m2: f64,
    outlet_height_mm: f64,
    sediment_limit_mm: Option<f64>,
) {
    check.between("capacity_l", capacity_l, CAPACITY_L);
    check.between("floor_area_m2", floor_area_m2, FLOOR_AREA_M2);
    check.between("outlet_height_mm", outlet_height_mm, OUTLET_HEIGHT_MM);
    check.between_if_given("sediment_limit_mm", sediment_limit_mm, SEDIMENT_LIMIT_MM);
    if CAPACITY_L.hold(capacity_l) && FLOOR_AREA_M2.hold(floor_area_m2) {
        check_depth(check, capacity_l / floor_area_m2, outlet_height_mm, sediment_limit_mm);
    }
}

/// Checks whether the figures of a tank go together. Litres on a square metre are millimetres of depth.
fn check_depth(check: &mut Check, depth_mm: f64, outlet_height_mm: f64, sediment_limit_mm: Option<f64>) {
    let Bounds { least, most } = DEPTH_MM;
    if !DEPTH_MM.hold(depth_mm) {
        check.refuse(
            "floor_area_m2",
            format!(
                "capacity_l on this floor area is {depth_mm:.1} mm deep, which is not from {least} to {most} mm; correct \
                 either"
            ),
        );
        return;
    }
    let above = |what: &str| {
        format!("{what} is above the full tank, which is {depth_mm:.0} mm deep: capacity_l on floor_area_m2")
    };
    if outlet_height_mm >= depth_mm {
        check.refuse("outlet_height_mm", above(&format!("{outlet_height_mm} mm")));
    }
    if let Some(limit) = sediment_limit_mm.filter(|limit| *limit >= depth_mm) {
        check.refuse("sediment_limit_mm", above(&format!("{limit} mm")));
    }
}
