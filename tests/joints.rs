//! Joints by the real binary: told, and warned of while something can be done.

use crate::screens_support::Hands;
use crate::support::cli::{Shop, near};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use tankside::project::{Definition, Project};
use tankside::tui::app::Model;
use tankside::units::Instant;

/// A project of 40 um whose knob (8.00 mm) sits in its bell (8.30 mm).
fn shop(target: &str) -> Shop {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    s.ok("add p knob --area 1dm2");
    s.ok(&format!("set p target 'Mean(\"{target}\")'"));
    s.ok("set p joints '[(name: \"stem\", between: (\"bell\", \"knob\"), hole: \"8.3mm\", peg: \"8mm\")]'");
    s
}

/// Closed form: 0.15 mm a side less the metal on both faces.
#[test]
fn joints_are_told_with_what_would_do() {
    let s = shop("100um");
    let told = s.ok("joints p");
    let stem = &told["joints"][0];
    assert_eq!(stem["fit"], "mask");
    near(&stem["gap_mm"], -0.05, 1e-9);
    near(&stem["thick_gap_mm"], -0.45, 1e-9);
    assert_eq!(
        stem["answers"],
        json!([
            { "do": "mask", "pieces": ["knob"], "gap_mm": 0.05 },
            { "do": "mask", "pieces": ["bell"], "gap_mm": 0.05 },
            { "do": "print-smaller", "by_mm": 0.2 },
            { "do": "ream", "by_mm": 0.2, "bares": true },
        ])
    );
    s.ok("set p joints.stem.masked '[\"knob\"]'");
    let told = s.ok("joints p");
    assert_eq!(told["joints"][0]["fit"], "fits");
    assert_eq!(told["joints"][0]["masked"], json!(["knob"]));
    s.ok("set p joints '[(name: \"stem\", between: (\"bell\", \"knob\"))]'");
    let told = s.ok("joints p");
    assert_eq!(told["joints"][0]["fit"], "unknown");
    assert_eq!(told["joints"][0]["gap_mm"], Value::Null);
}

#[test]
fn a_joint_that_closes_is_a_warning_where_something_can_be_done() {
    for (target, warned) in [("50um", 0), ("100um", 1)] {
        let s = shop(target);
        s.satisfy("bell", "start");
        let done = s.rec("bell start coat");
        let warnings = done["warnings"].as_array().cloned().unwrap_or_default();
        assert_eq!(warnings.len(), warned, "{warnings:?}");
        if let Some(warning) = warnings.first().and_then(Value::as_str) {
            assert!(
                warning.starts_with("joint stem: 0.10 mm of copper on both leaves -0.05 mm"),
                "{warning}"
            );
        }
    }
}

/// What the Piece screen says of the base of a lamp whose stem (20.0 mm) goes
/// into it (20.4 mm).
#[test]
fn the_piece_screen_tells_its_joints() {
    let lamp = include_str!("../sample-projects/fern-lamp/project.ron");
    let shown = |lamp: &str| {
        let now: Instant = "2026-03-02T17:00:00Z".parse().unwrap();
        let definition = Definition::parse(lamp).unwrap();
        let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
        let mut hands = Hands::of(Model::new(project, None, now), now);
        hands.select("base");
        hands.keys("p");
        hands.text(100, 40)
    };
    let fits = shown(lamp);
    assert!(fits.contains("foot: 0.03 mm of copper on both"), "{fits}");
    assert!(!fits.contains("! foot"), "{fits}");
    assert!(!fits.contains("tip:"), "not of the base: {fits}");
    let closed = shown(&lamp.replace("peg: \"20mm\"", "peg: \"20.3mm\""));
    assert!(closed.contains("! foot"), "{closed}");
    assert!(closed.contains("both faces (leaves 0.05 mm)"), "{closed}");
    assert!(
        !shown(&lamp.replace("hole: \"20.4mm\", peg: \"20mm\"", "note: \"\"")).contains("joints")
    );
}
