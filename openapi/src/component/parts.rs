//! A constructor for every kind of part: required figures as arguments, optional ones by setters.
//!
//! [`Part`] names them all. A kind without optional figures is a [`Part`] at once. A kind with optional figures has a
//! type here, which [`Part`] is made from by `into`.
//!
//! ```
//! use eavesward_contract::{CouplingMaterial, Part, Shade};
//!
//! let screen: Part = Part::debris_screen(0.04).mesh_mm(1.0).into();
//! let tank: Part = Part::tank(5000.0, 2.5, 100.0).calmed_inlet(true).into();
//! let coupling: Part = Part::coupling(CouplingMaterial::Epdm).shade(Shade::UnderEaves).into();
//! let trap = Part::overflow_trap(75.0);
//! # let _ = (screen, tank, coupling, trap);
//! ```

use super::{CouplingMaterial, Emptying, Exposition, MonthDay, Part, Shade, ValveType, all_day, yes};

/// Defines kinds of part that have optional figures: the type, its constructor on [`Part`], and a setter for each.
macro_rules! parts {
    ($(
        $(#[$doc:meta])*
        $name:ident by $constructor:ident($($needed:ident: $needed_type:ty),*)
        or { $($(#[$setter_doc:meta])* $setter:ident: $type:ty = $default:expr,)* }
    )*) => {$(
        $(#[$doc])*
        ///
        #[doc = concat!("Made by [`Part::", stringify!($constructor), "`].")]
        #[derive(Clone, Debug, PartialEq)]
        #[must_use]
        pub struct $name { $($needed: $needed_type,)* $($setter: $type,)* }

        impl Part {
            $(#[$doc])*
            pub fn $constructor($($needed: $needed_type),*) -> $name {
                $name { $($needed,)* $($setter: $default,)* }
            }
        }

        impl $name {$(
            $(#[$setter_doc])*
            pub fn $setter(mut self, $setter: impl Into<$type>) -> Self {
                self.$setter = $setter.into();
                self
            }
        )*}

        impl From<$name> for Part {
            fn from(part: $name) -> Self {
                let $name { $($needed,)* $($setter,)* } = part;
                Self::$name { $($needed,)* $($setter,)* }
            }
        }
    )*};
}

parts! {
    /// The roof covering.
    Roof by roof() or {
        /// Whether it may break underfoot (old fibre-cement, glass, plastic sheet); `false` when not set.
        fragile: bool = false,
    }

    /// A gutter with its downpipes: its length in m.
    Gutter by gutter(length_m: f64) or {
        /// Whether a guard covers it; `false` when not set.
        guarded: bool = false,
    }

    /// A debris screen: the area of its mesh in m2.
    DebrisScreen by debris_screen(area_m2: f64) or {
        /// Opening of the mesh in mm; unknown when not set.
        mesh_mm: Option<f64> = None,
    }

    /// A rubber coupling: what it is made of.
    Coupling by coupling(material: CouplingMaterial) or {
        /// How it faces the sun; all around an upright pipe when not set.
        exposition: Exposition = Exposition::default(),
        /// How it is shaded; not at all when not set.
        shade: Shade = Shade::default(),
        /// Share of the ultraviolet kept off, 0 to 1; overrides `shade`. 1 means that no sunlight reaches it.
        shade_share: Option<f64> = None,
    }

    /// A tank: its capacity in litres up to the overflow and the area of its floor in m2. The height is that of its outlet
    /// or lowest intake above the floor, mm.
    Tank by tank(capacity_l: f64, floor_area_m2: f64, outlet_height_mm: f64) or {
        /// Whether the inlet is calmed, so that falling water does not stir the floor; `false` when not set.
        calmed_inlet: bool = false,
        /// Depth of sediment in mm at which it is to be removed; 50 when not set.
        sediment_limit_mm: Option<f64> = None,
    }

    /// A floating intake.
    FloatingIntake by floating_intake() or {
        /// Opening of its screen in mm; unknown when not set.
        mesh_mm: Option<f64> = None,
    }

    /// A screened vent or opening.
    Vent by vent() or {
        /// Opening of its mesh in mm; unknown when not set. 1 mm or less keeps mosquitoes out.
        mesh_mm: Option<f64> = None,
    }

    /// A pump.
    Pump by pump() or {
        /// Whether it runs on mains electricity; `true` when not set.
        mains_powered: bool = yes(),
    }

    /// A pressure vessel.
    PressureVessel by pressure_vessel() or {
        /// Volume in litres; unknown when not set.
        volume_l: Option<f64> = None,
    }

    /// Pipes, taps and chambers that frost can reach. Give both days or neither: without them they follow from the
    /// property's monthly mean minima.
    ExposedPipework by exposed_pipework() or {
        /// The first day of the year on which frost is expected.
        first_frost: Option<MonthDay> = None,
        /// The day of the year after which no frost is expected.
        last_frost: Option<MonthDay> = None,
    }

    /// A cartridge filter.
    CartridgeFilter by cartridge_filter() or {
        /// Litres the maker rates a cartridge for; unknown when not set.
        rated_volume_l: Option<f64> = None,
    }

    /// A disinfection lamp.
    DisinfectionLamp by disinfection_lamp() or {
        /// Hours the maker rates a lamp for; unknown when not set.
        rated_hours: Option<f64> = None,
        /// Hours it burns a day; 24 when not set.
        hours_per_day: f64 = all_day(),
    }
}

impl Part {
    /// A first-flush diverter: the volume of its chamber in litres and how that is emptied.
    pub const fn first_flush_diverter(chamber_volume_l: f64, emptying: Emptying) -> Self {
        Self::FirstFlushDiverter { chamber_volume_l, emptying }
    }

    /// An overflow trap: the depth of its water seal in mm.
    pub const fn overflow_trap(seal_depth_mm: f64) -> Self {
        Self::OverflowTrap { seal_depth_mm }
    }

    /// A ball or gate valve.
    pub const fn valve(valve_type: ValveType) -> Self {
        Self::Valve { valve_type }
    }

    /// A level gauge.
    pub const fn level_gauge() -> Self {
        Self::LevelGauge {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    #[track_caller]
    fn check(part: impl Into<Part>, want: &Value) {
        assert_eq!(serde_json::to_value(part.into()).expect("JSON"), *want);
    }

    #[test]
    fn every_kind_has_a_constructor_that_leaves_the_optional_figures_at_their_defaults() {
        check(Part::roof(), &json!({"kind": "roof", "fragile": false}));
        check(Part::gutter(12.5), &json!({"kind": "gutter", "length_m": 12.5, "guarded": false}));
        check(Part::debris_screen(0.04), &json!({"kind": "debris_screen", "area_m2": 0.04}));
        check(
            Part::first_flush_diverter(80.0, Emptying::Drip { litres_per_hour: 4.0 }),
            &json!({"kind": "first_flush_diverter", "chamber_volume_l": 80.0,
                "emptying": {"by": "drip", "litres_per_hour": 4.0}}),
        );
        check(
            Part::coupling(CouplingMaterial::Epdm),
            &json!({"kind": "coupling", "material": "epdm", "exposition": "vertical_pipe", "shade": "full_sun"}),
        );
        check(
            Part::tank(5000.0, 2.5, 100.0),
            &json!({"kind": "tank", "capacity_l": 5000.0, "floor_area_m2": 2.5, "outlet_height_mm": 100.0,
                "calmed_inlet": false}),
        );
        check(Part::floating_intake(), &json!({"kind": "floating_intake"}));
        check(Part::overflow_trap(75.0), &json!({"kind": "overflow_trap", "seal_depth_mm": 75.0}));
        check(Part::vent(), &json!({"kind": "vent"}));
        check(Part::valve(ValveType::Gate), &json!({"kind": "valve", "valve_type": "gate"}));
        check(Part::level_gauge(), &json!({"kind": "level_gauge"}));
        check(Part::pump(), &json!({"kind": "pump", "mains_powered": true}));
        check(Part::pressure_vessel(), &json!({"kind": "pressure_vessel"}));
        check(Part::cartridge_filter(), &json!({"kind": "cartridge_filter"}));
        check(Part::disinfection_lamp(), &json!({"kind": "disinfection_lamp", "hours_per_day": 24.0}));
        check(Part::exposed_pipework(), &json!({"kind": "exposed_pipework"}));
    }

    #[test]
    fn setters_set_the_optional_figures() {
        check(Part::roof().fragile(true), &json!({"kind": "roof", "fragile": true}));
        check(Part::gutter(1.0).guarded(true), &json!({"kind": "gutter", "length_m": 1.0, "guarded": true}));
        check(
            Part::debris_screen(1.0).mesh_mm(1.5),
            &json!({"kind": "debris_screen", "area_m2": 1.0, "mesh_mm": 1.5}),
        );
        let coupling = Part::coupling(CouplingMaterial::Neoprene).exposition(Exposition::FacingPole);
        check(
            coupling.shade(Shade::Covered).shade_share(0.75),
            &json!({"kind": "coupling", "material": "neoprene", "exposition": "facing_pole", "shade": "covered",
                "shade_share": 0.75}),
        );
        check(
            Part::tank(1.0, 2.0, 3.0).calmed_inlet(true).sediment_limit_mm(40.0),
            &json!({"kind": "tank", "capacity_l": 1.0, "floor_area_m2": 2.0, "outlet_height_mm": 3.0,
                "calmed_inlet": true, "sediment_limit_mm": 40.0}),
        );
        check(Part::floating_intake().mesh_mm(1.25), &json!({"kind": "floating_intake", "mesh_mm": 1.25}));
        check(Part::vent().mesh_mm(0.75), &json!({"kind": "vent", "mesh_mm": 0.75}));
        // Who has the figure as an option hands it on as it is.
        check(Part::vent().mesh_mm(None), &json!({"kind": "vent"}));
        check(Part::pump().mains_powered(false), &json!({"kind": "pump", "mains_powered": false}));
        check(Part::pressure_vessel().volume_l(24.0), &json!({"kind": "pressure_vessel", "volume_l": 24.0}));
        check(
            Part::cartridge_filter().rated_volume_l(30_000.0),
            &json!({"kind": "cartridge_filter", "rated_volume_l": 30_000.0}),
        );
        check(
            Part::disinfection_lamp().rated_hours(9000.0).hours_per_day(8.5),
            &json!({"kind": "disinfection_lamp", "rated_hours": 9000.0, "hours_per_day": 8.5}),
        );
        let (first, last) = (MonthDay::new(11, 5), MonthDay::new(3, 20));
        check(
            Part::exposed_pipework().first_frost(first).last_frost(last),
            &json!({"kind": "exposed_pipework", "first_frost": {"month": 11, "day": 5},
                "last_frost": {"month": 3, "day": 20}}),
        );
    }
}
