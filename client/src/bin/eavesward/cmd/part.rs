//! Describes a part or a roof by flags instead of JSON.

use crate::failure::Failure;
use crate::parse;
use crate::quantity::Typed;
use crate::show::Units;
use chrono::NaiveDate;
use clap::Args;
use eavesward_client::build;
use eavesward_client::contract::{
    Canopy, ComponentKind, ComponentRequest, CouplingMaterial, Exposition, Part, RoofRequest, Shade, Surface,
    ValveType,
};
use eavesward_client::units::{Area, Length, Volume};
use serde::Serialize;
use serde_json::{Map, Value, json};

/// A component by flags. If a flag is missing or does not fit the kind, the error names it.
#[derive(Args, Default)]
pub struct PartFlags {
    /// What it is, such as tank, debris-screen or first-flush-diverter
    #[arg(long, value_parser = parse::kind, requires_all = ["name", "installed"])]
    kind: Option<ComponentKind>,
    /// Its name
    #[arg(long)]
    name: Option<String>,
    /// The day it was installed
    #[arg(long, value_name = "DATE")]
    installed: Option<NaiveDate>,
    /// The day of its last routine service
    #[arg(long, value_name = "DATE")]
    last_served: Option<NaiveDate>,
    /// Gutter: its length; a bare number is metres
    #[arg(long, value_name = "LENGTH")]
    length: Option<Typed<Length>>,
    /// Screen: the area of its mesh; a bare number is m2
    #[arg(long, value_name = "AREA")]
    area: Option<Typed<Area>>,
    /// Screen, floating intake, vent: the opening of the mesh; a bare number is mm
    #[arg(long, value_name = "LENGTH")]
    mesh: Option<Typed<Length>>,
    /// First-flush diverter: the volume of its chamber; a bare number is litres
    #[arg(long, value_name = "VOLUME")]
    chamber: Option<Typed<Volume>>,
    /// First-flush diverter with a weep hole: the diameter of the hole; a bare number is mm
    #[arg(long, value_name = "LENGTH", requires = "head")]
    hole: Option<Typed<Length>>,
    /// First-flush diverter with a weep hole: the height of water above it when full; a bare number is metres
    #[arg(long, value_name = "LENGTH", requires = "hole")]
    head: Option<Typed<Length>>,
    /// First-flush diverter with slow-release (drip): the volume per hour; a bare number is litres. Without --hole
    /// and --drip it is emptied by hand
    #[arg(long, value_name = "VOLUME", conflicts_with = "hole")]
    drip: Option<Typed<Volume>>,
    /// Tank: its capacity up to the overflow; a bare number is litres
    #[arg(long, value_name = "VOLUME")]
    capacity: Option<Typed<Volume>>,
    /// Tank: the area of its floor; a bare number is m2
    #[arg(long, value_name = "AREA")]
    floor_area: Option<Typed<Area>>,
    /// Tank: the height of the outlet or lowest intake above the floor; a bare number is mm
    #[arg(long, value_name = "LENGTH")]
    outlet_height: Option<Typed<Length>>,
    /// Tank: it has a calmed inlet
    #[arg(long)]
    calmed_inlet: bool,
    /// Tank: the depth at which to remove the sediment; a bare number is mm
    #[arg(long, value_name = "LENGTH")]
    sediment_limit: Option<Typed<Length>>,
    /// Overflow trap: the depth of its water seal; a bare number is mm
    #[arg(long, value_name = "LENGTH")]
    seal_depth: Option<Typed<Length>>,
    /// Pressure vessel: its volume; a bare number is litres
    #[arg(long, value_name = "VOLUME")]
    volume: Option<Typed<Volume>>,
    /// Cartridge filter: the maker's rated volume of a cartridge; a bare number is litres
    #[arg(long, value_name = "VOLUME")]
    rated_volume: Option<Typed<Volume>>,
    /// Coupling: what it is made of, such as epdm
    #[arg(long, value_parser = parse::word::<CouplingMaterial>)]
    material: Option<CouplingMaterial>,
    /// Coupling: which way it faces, such as vertical-pipe
    #[arg(long, value_parser = parse::word::<Exposition>)]
    exposition: Option<Exposition>,
    /// Coupling: how it is shaded, such as under-eaves
    #[arg(long, value_parser = parse::word::<Shade>)]
    shade: Option<Shade>,
    /// Valve: ball or gate
    #[arg(long, value_parser = parse::word::<ValveType>)]
    valve_type: Option<ValveType>,
    /// Lamp: the maker's rated hours
    #[arg(long, value_name = "HOURS")]
    rated_hours: Option<f64>,
}

/// Fields of a part and the flags that set them.
const FLAGS: [(&str, &str); 17] = [
    ("length_m", "--length"),
    ("area_m2", "--area"),
    ("mesh_mm", "--mesh"),
    ("chamber_volume_l", "--chamber"),
    ("emptying", "--hole, --head and --drip"),
    ("capacity_l", "--capacity"),
    ("floor_area_m2", "--floor-area"),
    ("outlet_height_mm", "--outlet-height"),
    ("calmed_inlet", "--calmed-inlet"),
    ("sediment_limit_mm", "--sediment-limit"),
    ("seal_depth_mm", "--seal-depth"),
    ("volume_l", "--volume"),
    ("rated_volume_l", "--rated-volume"),
    ("material", "--material"),
    ("exposition", "--exposition"),
    ("shade", "--shade"),
    ("valve_type", "--valve-type"),
];

impl PartFlags {
    /// The request from the flags.
    pub fn request(self, units: Units) -> Result<ComponentRequest, Failure> {
        let (Some(kind), Some(name), Some(installed_on)) =
            (self.kind.clone(), self.name.clone(), self.installed)
        else {
            return Err(Failure::usage("give a file with --file, or --kind, --name and --installed"));
        };
        let last_served_on = self.last_served;
        let mut fields = self.fields(units)?;
        let word = serde_json::to_value(&kind)?;
        fields.insert("kind".to_owned(), word);
        let part: Part = serde_json::from_value(Value::Object(fields)).map_err(|e| {
            Failure::usage(format!(
                "the flags do not fit the kind {}: {}",
                crate::show::words(&kind),
                flagged(&e.to_string())
            ))
        })?;
        Ok(build::component(name, part, installed_on).last_served_on(last_served_on))
    }

    fn fields(self, units: Units) -> Result<Map<String, Value>, Failure> {
        let diverter = self.kind == Some(ComponentKind::FirstFlushDiverter);
        let mut fields = Fields { units, map: Map::new() };
        fields.length("length_m", self.length, "--length", Length::metres, Length::in_metres)?;
        fields.area("area_m2", self.area, "--area")?;
        fields.length("mesh_mm", self.mesh, "--mesh", Length::millimetres, Length::in_millimetres)?;
        fields.volume("chamber_volume_l", self.chamber, "--chamber")?;
        fields.volume("capacity_l", self.capacity, "--capacity")?;
        fields.area("floor_area_m2", self.floor_area, "--floor-area")?;
        let mm = (Length::millimetres as fn(f64) -> Length, Length::in_millimetres as fn(Length) -> f64);
        fields.length("outlet_height_mm", self.outlet_height, "--outlet-height", mm.0, mm.1)?;
        fields.length("sediment_limit_mm", self.sediment_limit, "--sediment-limit", mm.0, mm.1)?;
        fields.length("seal_depth_mm", self.seal_depth, "--seal-depth", mm.0, mm.1)?;
        fields.volume("volume_l", self.volume, "--volume")?;
        fields.volume("rated_volume_l", self.rated_volume, "--rated-volume")?;
        fields.put("calmed_inlet", self.calmed_inlet.then_some(true))?;
        fields.put("material", self.material)?;
        fields.put("exposition", self.exposition)?;
        fields.put("shade", self.shade)?;
        fields.put("valve_type", self.valve_type)?;
        fields.put("rated_hours", self.rated_hours)?;
        let emptying = match (self.hole, self.head, self.drip) {
            (Some(hole), Some(head), _) => {
                let hole = hole.get("--hole", units, Length::millimetres, "\"0.1 in\"")?;
                let head = head.get("--head", units, Length::metres, "\"3 ft\"")?;
                Some(json!(build::weep_hole(hole, head)))
            }
            (_, _, Some(drip)) => {
                Some(json!(build::drip(drip.get("--drip", units, Volume::litres, "\"1 gal\"")?)))
            }
            _ => diverter.then(|| json!({"by": "hand"})),
        };
        fields.put("emptying", emptying)?;
        Ok(fields.map)
    }
}

/// Collects the fields of a part.
struct Fields {
    units: Units,
    map: Map<String, Value>,
}

impl Fields {
    fn put(&mut self, name: &str, value: Option<impl Serialize>) -> Result<(), Failure> {
        if let Some(value) = value {
            self.map.insert(name.to_owned(), serde_json::to_value(value)?);
        }
        Ok(())
    }

    fn length(
        &mut self,
        name: &str,
        typed: Option<Typed<Length>>,
        flag: &str,
        si: fn(f64) -> Length,
        back: fn(Length) -> f64,
    ) -> Result<(), Failure> {
        let length = typed.map(|typed| typed.get(flag, self.units, si, "\"4 in\"")).transpose()?;
        self.put(name, length.map(back))
    }

    fn area(&mut self, name: &str, typed: Option<Typed<Area>>, flag: &str) -> Result<(), Failure> {
        let area = typed
            .map(|typed| typed.get(flag, self.units, Area::square_metres, "\"430 sqft\""))
            .transpose()?;
        self.put(name, area.map(Area::in_square_metres))
    }

    fn volume(&mut self, name: &str, typed: Option<Typed<Volume>>, flag: &str) -> Result<(), Failure> {
        let volume =
            typed.map(|typed| typed.get(flag, self.units, Volume::litres, "\"1200 gal\"")).transpose()?;
        self.put(name, volume.map(Volume::in_litres))
    }
}

/// Replaces field names in a message with flag names.
fn flagged(told: &str) -> String {
    FLAGS.iter().fold(told.to_owned(), |told, (field, flag)| told.replace(&format!("`{field}`"), flag))
}

/// A roof by flags.
#[derive(Args, Default)]
pub struct RoofFlags {
    /// The roof's horizontal area, overhangs included, such as "430 sqft" or "50 m2"; a bare number is m2
    #[arg(long, value_name = "AREA")]
    roof: Option<Typed<Area>>,
    /// What the roof is covered with, such as metal or tile
    #[arg(long, value_parser = parse::word::<Surface>)]
    surface: Option<Surface>,
    /// The trees above the roof: none, deciduous, conifer, evergreen-broadleaf
    #[arg(long, value_parser = parse::word::<Canopy>)]
    canopy: Option<Canopy>,
    /// The share of the roof under trees: 0.25 or 25%
    #[arg(long, value_name = "SHARE", value_parser = parse::share, requires = "canopy")]
    canopy_share: Option<f64>,
}

impl RoofFlags {
    /// The roof from the flags; `None` without `--roof` and `--surface`.
    pub fn roof(self, units: Units) -> Result<Option<RoofRequest>, Failure> {
        let (Some(area), Some(surface)) = (self.roof, self.surface) else { return Ok(None) };
        let area = area.get("--roof", units, Area::square_metres, "\"430 sqft\"")?;
        let canopy = self.canopy.unwrap_or_default();
        let share = self.canopy_share.unwrap_or(0.0);
        Ok(Some(build::roof(area, surface).canopy(canopy).canopy_share(share)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        part: PartFlags,
    }

    fn request(flags: &str, units: Units) -> Result<Value, String> {
        let words = flags.split_whitespace().map(|word| word.replace('_', " "));
        let line = ["x".to_owned()].into_iter().chain(words);
        let line = Line::try_parse_from(line).map_err(|e| e.to_string())?;
        let request = line.part.request(units).map_err(|failure| match failure {
            Failure::Usage(told) => told,
            other => panic!("{other:?}"),
        })?;
        Ok(serde_json::to_value(request.part).expect("JSON"))
    }

    #[test]
    fn parts_are_made_of_flags_in_any_units() {
        let day = "--name x --installed 2031-01-01";
        for (flags, want) in [
            (
                "--kind tank --capacity 3000 --floor-area 1.5 --outlet-height 100 --calmed-inlet",
                json!({"kind": "tank", "capacity_l": 3000.0, "floor_area_m2": 1.5, "outlet_height_mm": 100.0,
                    "calmed_inlet": true}),
            ),
            (
                "--kind debris-screen --area 0.2_m2 --mesh 1_mm",
                json!({"kind": "debris_screen", "area_m2": 0.2, "mesh_mm": 1.0}),
            ),
            (
                "--kind first-flush-diverter --chamber 50",
                json!({"kind": "first_flush_diverter",
                "chamber_volume_l": 50.0, "emptying": {"by": "hand"}}),
            ),
            (
                "--kind first-flush-diverter --chamber 50 --hole 2 --head 1",
                json!({"kind": "first_flush_diverter",
                "chamber_volume_l": 50.0, "emptying": {"by": "weep_hole", "hole_mm": 2.0, "head_m": 1.0}}),
            ),
            (
                "--kind first-flush-diverter --chamber 50 --drip 2_L",
                json!({"kind": "first_flush_diverter",
                "chamber_volume_l": 50.0, "emptying": {"by": "drip", "litres_per_hour": 2.0}}),
            ),
            ("--kind gutter --length 10", json!({"kind": "gutter", "length_m": 10.0, "guarded": false})),
            (
                "--kind coupling --material epdm --shade under-eaves",
                json!({"kind": "coupling", "material": "epdm",
                "exposition": "vertical_pipe", "shade": "under_eaves"}),
            ),
            ("--kind valve --valve-type gate", json!({"kind": "valve", "valve_type": "gate"})),
            ("--kind pump", json!({"kind": "pump", "mains_powered": true})),
            (
                "--kind overflow-trap --seal-depth 2_in",
                json!({"kind": "overflow_trap", "seal_depth_mm": 50.8}),
            ),
        ] {
            assert_eq!(request(&format!("{flags} {day}"), Units::Si), Ok(want), "{flags}");
        }
        let us =
            request(&format!("--kind pressure-vessel --volume 10_gal {day}"), Units::Us).expect("a vessel");
        assert!((us["volume_l"].as_f64().expect("litres") - 37.854_117_84).abs() < 1e-9, "{us}");
    }

    #[test]
    fn a_flag_that_is_missing_or_too_many_is_named() {
        let day = "--name x --installed 2031-01-01";
        for (flags, units, part) in [
            ("--kind tank --capacity 3000 --floor-area 1.5", Units::Si, "--outlet-height"),
            ("--kind pump --capacity 3000", Units::Si, "--capacity"),
            ("--kind valve", Units::Si, "--valve-type"),
            ("--kind debris-screen --area 2", Units::Us, "write the unit"),
            ("--kind debris-screen --area 0,2", Units::Si, "comma"),
            ("--kind gargoyle", Units::Si, "gargoyle"),
        ] {
            let told = request(&format!("{flags} {day}"), units).expect_err(flags);
            assert!(told.contains(part), "{flags}: {told}");
        }
        assert!(request("--kind pump --name x", Units::Si).expect_err("no day").contains("--installed"));
        assert!(request("", Units::Si).expect_err("nothing").contains("--file"));
    }
}
