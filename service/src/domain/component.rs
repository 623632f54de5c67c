//! Components: what they are, and how they come and go.

use crate::domain::Context;
use crate::domain::check::Check;
use crate::domain::clock::local_date;
use crate::domain::error::{Error, Result};
use crate::domain::ids::{AccountId, ComponentId, SystemId};
use crate::domain::store::Updated;
use crate::domain::system;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        pub enum $name { $($(#[$vdoc])* #[serde(rename = $word)] $variant,)* }

        impl $name {
            /// Every value.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// The word that is stored.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            /// Reads the word.
            pub fn parse(text: &str) -> Option<Self> {
                match text { $($word => Some(Self::$variant),)* _ => None }
            }
        }
    };
}
pub(crate) use words;

words! {
    /// What a component is.
    Kind {
        /// The roof covering.
        Roof "roof",
        /// A gutter with its downpipes.
        Gutter "gutter",
        /// A debris screen.
        DebrisScreen "debris_screen",
        /// A first-flush diverter.
        FirstFlushDiverter "first_flush_diverter",
        /// A rubber coupling.
        Coupling "coupling",
        /// A tank.
        Tank "tank",
        /// A floating intake.
        FloatingIntake "floating_intake",
        /// An overflow trap.
        OverflowTrap "overflow_trap",
        /// A screened vent.
        Vent "vent",
        /// A valve.
        Valve "valve",
        /// A level gauge.
        LevelGauge "level_gauge",
        /// A pump.
        Pump "pump",
        /// A pressure vessel.
        PressureVessel "pressure_vessel",
        /// A cartridge filter.
        CartridgeFilter "cartridge_filter",
        /// A disinfection lamp.
        DisinfectionLamp "disinfection_lamp",
        /// Pipework that frost can reach.
        ExposedPipework "exposed_pipework",
    }
}

words! {
    /// What a coupling is made of.
    Material {
        /// EPDM.
        Epdm "epdm",
        /// Neoprene.
        Neoprene "neoprene",
        /// Natural rubber or SBR.
        NaturalOrSbr "natural_or_sbr",
        /// Plasticised PVC.
        PlasticisedPvc "plasticised_pvc",
    }
}

words! {
    /// How a part faces the sun.
    Exposition {
        /// Around an upright pipe.
        VerticalPipe "vertical_pipe",
        /// Lying flat.
        Horizontal "horizontal",
        /// Upright, facing the equator.
        FacingEquator "facing_equator",
        /// Upright, facing east or west.
        FacingEastOrWest "facing_east_or_west",
        /// Upright, facing the pole.
        FacingPole "facing_pole",
        /// Tilted by 45 degrees towards the equator.
        TiltedToEquator "tilted_to_equator",
    }
}

words! {
    /// How much of the sky's ultraviolet is kept off.
    Shade {
        /// Nothing.
        FullSun "full_sun",
        /// About half of the day.
        PartShade "part_shade",
        /// Under the eaves.
        UnderEaves "under_eaves",
        /// Painted or wrapped.
        Covered "covered",
    }
}

words! {
    /// Ball or gate.
    ValveType {
        /// A quarter-turn ball valve.
        Ball "ball",
        /// A gate valve.
        Gate "gate",
    }
}

impl Shade {
    /// Share of the ultraviolet kept off. Judgement, no source; the plausible ranges are .3-.7, .6-.9 and .9-1.
    pub const fn share(self) -> f64 {
        match self {
            Self::FullSun => 0.0,
            Self::PartShade => 0.5,
            Self::UnderEaves => 0.75,
            Self::Covered => 0.95,
        }
    }
}

/// How a diverter is emptied.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Emptying {
    /// By somebody.
    Hand,
    /// By a hole of this many mm under this many m of water.
    WeepHole {
        /// Diameter in mm.
        hole_mm: f64,
        /// Head in m when the chamber is full.
        head_m: f64,
    },
    /// By a drip of this many litres an hour.
    Drip {
        /// Flow.
        litres_per_hour: f64,
    },
}

/// A day of the year.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MonthDay {
    /// 1 to 12.
    pub month: u32,
    /// Day of the month.
    pub day: u32,
}

impl MonthDay {
    /// The day in a year; 29 February is the 28th in short years.
    pub fn in_year(self, year: i32) -> Option<NaiveDate> {
        NaiveDate::from_ymd_opt(year, self.month, self.day)
            .or_else(|| NaiveDate::from_ymd_opt(year, self.month, self.day.checked_sub(1)?))
    }
}

/// What a component is, with the figures its duties need. The wire's `Part` says what each figure means.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[expect(
    missing_docs,
    reason = "the fields are those of the wire's Part, where each is described with its unit"
)]
pub enum Part {
    Roof {
        fragile: bool,
    },
    Gutter {
        length_m: f64,
        guarded: bool,
    },
    DebrisScreen {
        area_m2: f64,
        mesh_mm: Option<f64>,
    },
    FirstFlushDiverter {
        chamber_volume_l: f64,
        emptying: Emptying,
    },
    Coupling {
        material: Material,
        exposition: Exposition,
        shade: Shade,
        shade_share: Option<f64>,
    },
    Tank {
        capacity_l: f64,
        floor_area_m2: f64,
        outlet_height_mm: f64,
        calmed_inlet: bool,
        sediment_limit_mm: Option<f64>,
    },
    FloatingIntake {
        mesh_mm: Option<f64>,
    },
    OverflowTrap {
        seal_depth_mm: f64,
    },
    Vent {
        mesh_mm: Option<f64>,
    },
    Valve {
        valve_type: ValveType,
    },
    LevelGauge,
    Pump {
        mains_powered: bool,
    },
    PressureVessel {
        volume_l: Option<f64>,
    },
    CartridgeFilter {
        rated_volume_l: Option<f64>,
    },
    DisinfectionLamp {
        rated_hours: Option<f64>,
        hours_per_day: f64,
    },
    ExposedPipework {
        first_frost: Option<MonthDay>,
        last_frost: Option<MonthDay>,
    },
}

impl Part {
    /// What it is.
    pub const fn kind(&self) -> Kind {
        match self {
            Self::Roof { .. } => Kind::Roof,
            Self::Gutter { .. } => Kind::Gutter,
            Self::DebrisScreen { .. } => Kind::DebrisScreen,
            Self::FirstFlushDiverter { .. } => Kind::FirstFlushDiverter,
            Self::Coupling { .. } => Kind::Coupling,
            Self::Tank { .. } => Kind::Tank,
            Self::FloatingIntake { .. } => Kind::FloatingIntake,
            Self::OverflowTrap { .. } => Kind::OverflowTrap,
            Self::Vent { .. } => Kind::Vent,
            Self::Valve { .. } => Kind::Valve,
            Self::LevelGauge => Kind::LevelGauge,
            Self::Pump { .. } => Kind::Pump,
            Self::PressureVessel { .. } => Kind::PressureVessel,
            Self::CartridgeFilter { .. } => Kind::CartridgeFilter,
            Self::DisinfectionLamp { .. } => Kind::DisinfectionLamp,
            Self::ExposedPipework { .. } => Kind::ExposedPipework,
        }
    }

    fn check(&self, check: &mut Check) {
        match self {
            Self::Roof { .. } | Self::Valve { .. } | Self::LevelGauge | Self::Pump { .. } => {}
            Self::Gutter { length_m, .. } => check.positive("length_m", *length_m, 10_000.0),
            Self::DebrisScreen { area_m2, mesh_mm } => {
                check.positive("area_m2", *area_m2, 100.0);
                check.positive_if_given("mesh_mm", *mesh_mm, 50.0);
            }
            Self::FirstFlushDiverter { chamber_volume_l, emptying } => {
                check.positive("chamber_volume_l", *chamber_volume_l, 100_000.0);
                check.within("emptying", |check| match emptying {
                    Emptying::Hand => {}
                    Emptying::WeepHole { hole_mm, head_m } => {
                        check.between("hole_mm", *hole_mm, 0.5, 20.0);
                        check.between("head_m", *head_m, 0.05, 10.0);
                    }
                    Emptying::Drip { litres_per_hour } => {
                        check.between("litres_per_hour", *litres_per_hour, 0.05, 100.0);
                    }
                });
            }
            Self::Coupling { shade_share, .. } => {
                if let Some(share) = shade_share {
                    check.between("shade_share", *share, 0.0, 1.0);
                }
            }
            Self::Tank { capacity_l, floor_area_m2, outlet_height_mm, sediment_limit_mm, .. } => {
                check.positive("capacity_l", *capacity_l, 100_000_000.0);
                check.positive("floor_area_m2", *floor_area_m2, 100_000.0);
                check.between("outlet_height_mm", *outlet_height_mm, 0.0, 20_000.0);
                if let Some(limit) = sediment_limit_mm {
                    check.between("sediment_limit_mm", *limit, 10.0, 2000.0);
                }
            }
            Self::FloatingIntake { mesh_mm } | Self::Vent { mesh_mm } => {
                check.positive_if_given("mesh_mm", *mesh_mm, 50.0);
            }
            Self::OverflowTrap { seal_depth_mm } => {
                check.between("seal_depth_mm", *seal_depth_mm, 10.0, 1000.0);
            }
            Self::PressureVessel { volume_l } => check.positive_if_given("volume_l", *volume_l, 100_000.0),
            Self::CartridgeFilter { rated_volume_l } => {
                check.positive_if_given("rated_volume_l", *rated_volume_l, 100_000_000.0);
            }
            Self::DisinfectionLamp { rated_hours, hours_per_day } => {
                check.positive_if_given("rated_hours", *rated_hours, 200_000.0);
                check.positive("hours_per_day", *hours_per_day, 24.0);
            }
            Self::ExposedPipework { first_frost, last_frost } => {
                check_frost(check, *first_frost, *last_frost);
            }
        }
    }
}

fn check_frost(check: &mut Check, first: Option<MonthDay>, last: Option<MonthDay>) {
    for (field, other, day, other_day) in
        [("first_frost", "last_frost", first, last), ("last_frost", "first_frost", last, first)]
    {
        match day {
            // 2024 has a 29 February.
            Some(day) if NaiveDate::from_ymd_opt(2024, day.month, day.day).is_none() => {
                check.refuse(field, format!("month {} has no day {}", day.month, day.day));
            }
            None if other_day.is_some() => {
                check.refuse(field, format!("it is missing beside {other}; give both days or neither"));
            }
            _ => {}
        }
    }
}

/// What is known of a component.
#[derive(Clone, Debug, PartialEq)]
pub struct ComponentFacts {
    /// What people call it.
    pub name: String,
    /// What it is.
    pub part: Part,
    /// The day it was put in.
    pub installed_on: NaiveDate,
    /// The day it was last served before the service knew of it.
    pub last_served_on: Option<NaiveDate>,
}

impl ComponentFacts {
    /// Checks everything; nothing can have been served after `today`.
    pub(crate) fn check(&self, check: &mut Check, today: NaiveDate) {
        check.text("name", &self.name, 200);
        check.date("installed_on", self.installed_on);
        if let Some(served) = self.last_served_on {
            check.date("last_served_on", served);
            if served > today {
                check.refuse("last_served_on", format!("{served} has not come yet"));
            }
            if served < self.installed_on {
                let message = format!("{served} is before it was installed on {}", self.installed_on);
                check.refuse("last_served_on", message);
            }
        }
        check.within("part", |check| self.part.check(check));
    }
}

/// A component.
#[derive(Clone, Debug, PartialEq)]
pub struct Component {
    /// Id.
    pub id: ComponentId,
    /// Its system.
    pub system_id: SystemId,
    /// What is known of it.
    pub facts: ComponentFacts,
    /// The day it was taken out.
    pub removed_on: Option<NaiveDate>,
    /// The component whose place it took.
    pub replaces: Option<ComponentId>,
    /// Counts up with every change.
    pub version: i64,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// When it was last changed.
    pub updated_at: DateTime<Utc>,
}

impl Component {
    /// A component as it is first registered.
    pub fn new(id: ComponentId, system_id: SystemId, facts: ComponentFacts, now: DateTime<Utc>) -> Self {
        let (removed_on, replaces) = (None, None);
        Self { id, system_id, facts, removed_on, replaces, version: 1, created_at: now, updated_at: now }
    }

    /// Whether it was in service on a day.
    pub fn in_service_on(&self, day: NaiveDate) -> bool {
        self.facts.installed_on <= day && self.removed_on.is_none_or(|removed| removed > day)
    }
}

/// How a new component differs from the one it replaces.
#[derive(Clone, Debug)]
pub struct Replacement {
    /// The day of the change.
    pub on: NaiveDate,
    /// What the new one is; like the old one when absent.
    pub part: Option<Part>,
    /// What it is called; like the old one when absent.
    pub name: Option<String>,
}

fn checked(cx: &Context, facts: ComponentFacts) -> Result<ComponentFacts> {
    let mut check = Check::new();
    facts.check(&mut check, latest_today(cx));
    check.done()?;
    Ok(facts)
}

fn missing(id: ComponentId) -> Error {
    Error::NotFound { what: "component", id: id.to_string() }
}

/// Adds a component to a system.
pub async fn add(
    cx: &Context,
    account: AccountId,
    system_id: SystemId,
    id: ComponentId,
    facts: ComponentFacts,
) -> Result<Component> {
    let facts = checked(cx, facts)?;
    system::get(cx, account, system_id).await?;
    if system::components_full(cx, account, system_id).await? {
        return Err(Error::Conflict(format!(
            "the system has {} components already",
            system::MOST_COMPONENTS
        )));
    }
    let component = Component::new(id, system_id, facts, cx.clock.now());
    cx.store.insert_component(account, &component).await?;
    cx.ring();
    get(cx, account, id).await
}

/// One component.
pub async fn get(cx: &Context, account: AccountId, id: ComponentId) -> Result<Component> {
    cx.store.component(account, id).await?.ok_or_else(|| missing(id))
}

/// A system's components, oldest first.
pub async fn list(
    cx: &Context,
    account: AccountId,
    system_id: SystemId,
    include_removed: bool,
) -> Result<Vec<Component>> {
    system::get(cx, account, system_id).await?;
    let mut all = cx.store.components(account, system_id).await?;
    all.retain(|component| include_removed || component.removed_on.is_none());
    Ok(all)
}

/// Corrects what is known of a component. Its kind cannot change: that would be another component.
pub async fn update(
    cx: &Context,
    account: AccountId,
    id: ComponentId,
    version: i64,
    facts: ComponentFacts,
) -> Result<Component> {
    let facts = checked(cx, facts)?;
    let old = get(cx, account, id).await?;
    same_kind(&old, &facts.part)?;
    if let Some(removed) = old.removed_on.filter(|removed| *removed < facts.installed_on) {
        let message = format!("{} is after it was taken out on {removed}", facts.installed_on);
        return Err(Error::field("installed_on", message));
    }
    match cx.store.update_component(account, id, version, &facts, cx.clock.now()).await? {
        Updated::Missing => Err(missing(id)),
        Updated::Stale { current } => Err(Error::VersionMismatch { current }),
        Updated::Done => {
            cx.ring();
            get(cx, account, id).await
        }
    }
}

fn same_kind(old: &Component, part: &Part) -> Result<()> {
    let (was, is) = (old.facts.part.kind(), part.kind());
    if was == is {
        return Ok(());
    }
    let message = format!("a {} cannot become a {}; retire it and add another", was.code(), is.code());
    Err(Error::field("part.kind", message))
}

/// The latest civil date on earth: what lies after it has not happened anywhere.
pub(crate) fn latest_today(cx: &Context) -> NaiveDate {
    local_date(cx.clock.now(), chrono_tz::Pacific::Kiritimati)
}

fn check_removal(cx: &Context, old: &Component, on: NaiveDate) -> Result<()> {
    let mut check = Check::new();
    check.date("on", on);
    if on > latest_today(cx) {
        check.refuse("on", format!("{on} has not come yet; say it when it is done"));
    }
    if on < old.facts.installed_on {
        check.refuse("on", format!("{on} is before it was installed on {}", old.facts.installed_on));
    }
    check.done()
}

/// Puts a new component in the place of an old one, which stays with its history.
pub async fn replace(
    cx: &Context,
    account: AccountId,
    id: ComponentId,
    new_id: ComponentId,
    replacement: Replacement,
) -> Result<Component> {
    if let Some(done) = cx.store.component(account, new_id).await? {
        // A repeated request: the first one had been carried out.
        return Ok(done);
    }
    let old = get(cx, account, id).await?;
    if let Some(removed) = old.removed_on {
        return Err(Error::Conflict(format!("the component was already taken out on {removed}")));
    }
    check_removal(cx, &old, replacement.on)?;
    let facts = ComponentFacts {
        name: replacement.name.unwrap_or_else(|| old.facts.name.clone()),
        part: replacement.part.unwrap_or_else(|| old.facts.part.clone()),
        installed_on: replacement.on,
        last_served_on: None,
    };
    let facts = checked(cx, facts)?;
    same_kind(&old, &facts.part)?;
    let mut new = Component::new(new_id, old.system_id, facts, cx.clock.now());
    new.replaces = Some(id);
    if !cx.store.replace_component(account, &old, &new, replacement.on).await? {
        return Err(Error::Conflict("the component was changed meanwhile; read it again".to_owned()));
    }
    cx.ring();
    get(cx, account, new_id).await
}

/// Takes a component out for good. Saying another day later corrects the day, unless another component took its place
/// on it.
pub async fn retire(cx: &Context, account: AccountId, id: ComponentId, on: NaiveDate) -> Result<Component> {
    let old = get(cx, account, id).await?;
    if old.removed_on == Some(on) {
        return Ok(old);
    }
    if old.removed_on.is_some() {
        let all = cx.store.components(account, old.system_id).await?;
        if let Some(next) = all.iter().find(|component| component.replaces == Some(id)) {
            let name = &next.facts.name;
            return Err(Error::Conflict(format!(
                "{name} ({}) took its place on that day; correct that one",
                next.id
            )));
        }
    }
    check_removal(cx, &old, on)?;
    if !cx.store.retire_component(account, &old, on, cx.clock.now()).await? {
        return Err(Error::Conflict("the component was changed meanwhile; read it again".to_owned()));
    }
    cx.ring();
    get(cx, account, id).await
}
