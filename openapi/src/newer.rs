//! Answers of a newer service, as the SDK reads them: without the feature `service`.

use crate::{
    CouplingMaterial, Emptying, Finding, FoundClass, Page, Part, Reminder, Surface, System, Task, Visit,
};

#[test]
fn a_newer_part_is_read_and_its_page_is_not_lost() {
    let read = |text: &str| serde_json::from_str::<Part>(text).expect("a part is read");
    assert_eq!(read(r#"{"kind": "heat_lamp", "watts": 60}"#), Part::Unknown);
    let tank = r#"{"kind": "tank", "capacity_l": 900.0, "floor_area_m2": 1.0, "outlet_height_mm": 90.0, "colour": "green"}"#;
    let known: Part = Part::tank(900.0, 1.0, 90.0).into();
    assert_eq!(read(tank), known, "a new field is passed over");
    let silicone = read(r#"{"kind": "coupling", "material": "silicone"}"#);
    assert!(matches!(silicone, Part::Coupling { material: CouplingMaterial::Unknown, .. }), "{silicone:?}");
    let diverter =
        read(r#"{"kind": "first_flush_diverter", "chamber_volume_l": 20.0, "emptying": {"by": "float"}}"#);
    assert!(matches!(diverter, Part::FirstFlushDiverter { emptying: Emptying::Unknown, .. }), "{diverter:?}");
}

#[test]
fn a_newer_finding_is_read() {
    let read = |text: &str| serde_json::from_str::<Finding>(text).expect("a finding is read");
    assert_eq!(read(r#"{"found": "torn", "length_mm": 40}"#), Finding::Unknown);
    assert_eq!(
        read(r#"{"found": "class", "fullness": "crusted"}"#),
        Finding::Class { fullness: FoundClass::Unknown }
    );
    assert_eq!(read(r#"{"found": "depth", "depth_mm": 3.0, "by": "dip"}"#), Finding::Depth { depth_mm: 3.0 });
}

#[test]
fn a_page_with_one_newer_row_keeps_its_other_rows() {
    let id = "01930000-0000-7000-8000-000000000001";
    let roof = |surface: &str| {
        format!(
            r#"{{"id": "{id}", "name": "roof", "plan_area_m2": 50.0, "surface": "{surface}", "runoff_coefficient": 0.9,
            "runoff_coefficient_source": {{"given": true, "source": "x"}}, "wetting_loss_mm": 0.3,
            "wetting_loss_source": {{"given": true, "source": "x"}}, "canopy": "none", "canopy_share": 0.0}}"#
        )
    };
    let system = |surface: &str| {
        format!(
            r#"{{"id": "{id}", "property_id": "{id}", "gauge_id": "{id}", "name": "shed", "roofs": [{}],
            "commissioned_on": "2026-01-01", "demand_l_per_day": 0.0, "retired_on": null, "components": [],
            "version": 1, "created_at": "2026-01-01T00:00:00Z", "updated_at": "2026-01-01T00:00:00Z"}}"#,
            roof(surface)
        )
    };
    let page = format!(r#"{{"items": [{}, {}], "next_cursor": null}}"#, system("thatch"), system("metal"));
    let page: Page<System> = serde_json::from_str(&page).expect("the page is read");
    let surfaces: Vec<Surface> = page.items.iter().map(|system| system.roofs[0].surface).collect();
    assert_eq!(surfaces, [Surface::Unknown, Surface::Metal]);
    let visit = format!(
        r#"{{"id": "{id}", "system_id": "{id}", "visited_on": "2026-01-01", "visited_by": null, "note": null,
        "items": [{{"component_id": "{id}", "duty": "polish", "done": true, "cleaned_meanwhile": false, "minutes": 5}}], "withdrawn_at": null,
        "withdrawn_because": null, "round_id": null, "version": 1, "created_at": "2026-01-01T00:00:00Z",
        "updated_at": "2026-01-01T00:00:00Z"}}"#
    );
    let visit: Visit = serde_json::from_str(&visit).expect("the visit is read");
    assert_eq!(visit.items[0].duty, Some(crate::Duty::from("polish")));
    let back = visit.items[0].to_request().expect("it can be sent back");
    assert_eq!(back.duty.as_str(), "polish", "an unknown word is sent back as it came");
    for finding in [Finding::Unknown, Finding::class(FoundClass::Unknown)] {
        let item = crate::VisitItemAnswer { finding: Some(finding), ..visit.items[0].clone() };
        assert_eq!(item.to_request(), None, "a finding that was not read is not sent back");
    }
}

#[test]
fn a_task_and_a_reminder_of_no_single_component_are_read() {
    let id = "01930000-0000-7000-8000-000000000001";
    let none = r#""property_id": null, "property_name": null, "system_id": null, "system_name": null,
        "component_id": null, "component_name": null, "component_kind": null"#;
    let task = format!(
        r#"{{"id": "{id}", {none}, "duty": "clean_gauge", "title": "clean the funnel", "state": "due",
        "due_on": "2026-01-01", "decided_by": "longest_interval", "longest_interval_on": null, "window": null,
        "best_day": null, "since": "2025-12-01", "accumulated": null, "limit": null, "reasons": [], "cautions": [],
        "bring": [], "as_of": "2026-01-01", "refreshed_at": "2026-01-01T00:00:00Z"}}"#
    );
    let task: Task = serde_json::from_str(&task).expect("the task is read");
    assert_eq!((task.system_id, task.component_name), (None, None));
    let entry = format!(
        r#"{{"id": "{id}", "number": 1, "cursor": "c", "raised_at": "2026-01-01T00:00:00Z", "as_of": "2026-01-01",
        "kind": "notice", "covers": ["notice"], "task_id": null, {none}, "duty": null, "title": null, "due_on": null,
        "window": null, "decided_by": null, "moved": null, "done_on": null, "reasons": [], "cautions": [],
        "bring": []}}"#
    );
    let entry: Reminder = serde_json::from_str(&entry).expect("the entry is read");
    assert_eq!((entry.task_id, entry.duty, entry.title), (None, None, None));
}
