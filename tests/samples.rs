//! The samples: legal under the program's own rules, alive when opened.

#[path = "samples/journals.rs"]
mod journals;

use crate::support::cli::Shop;
use serde_json::Value;

#[test]
fn journals_are_what_their_stories_make() {
    let scratch = tempfile::tempdir().expect("a folder");
    for (name, journal) in journals::all(scratch.path()) {
        let kept = std::fs::read_to_string(journals::samples().join(name).join("journal.ron"))
            .expect("a journal");
        // The first line carries the instant at which a journal was begun.
        let events = |text: &str| -> Vec<String> {
            text.lines()
                .skip(1)
                .map(|l| l.split(",sum:").next().unwrap_or_default().to_owned())
                .collect()
        };
        let (told, kept) = (events(&journal), events(&kept));
        let differs = told.iter().zip(&kept).find(|(told, kept)| told != kept);
        assert!(
            differs.is_none() && told.len() == kept.len(),
            "{name}: run `cargo run --example make-sample-journals`; the first difference: {differs:?}"
        );
    }
}

fn tried(name: &str) -> (Shop, Value) {
    let shop = Shop::new();
    let out = shop.run(&format!("try {name}"));
    assert_eq!(out.status, 0, "{out:?}");
    let path = out.json["path"].as_str().expect("a path").to_owned();
    let status = shop.ok(&format!("status {path}"));
    (shop, status)
}

fn at(status: &Value, stage: &str, state: &str) -> Vec<String> {
    let pieces = status["pieces"].as_array().expect("pieces");
    pieces
        .iter()
        .filter(|p| (stage.is_empty() || p["stage"] == stage) && p["stage_state"] == state)
        .map(|p| p["name"].as_str().expect("a name").to_owned())
        .collect()
}

#[test]
fn the_fern_lamp_is_alive() {
    let (shop, status) = tried("fern-lamp");
    assert_eq!(status["pieces"].as_array().map(Vec::len), Some(7));
    assert_eq!(at(&status, "build", "running"), ["frond-3"]);
    assert_eq!(at(&status, "age", "running"), ["frond-2"]);
    let pieces = status["pieces"].as_array().unwrap();
    let tank = pieces.iter().find(|p| p["in_bath"] == true).unwrap();
    assert!(
        tank["charge_ah"].as_f64().unwrap() > 1.0 && tank["density_a_dm2"].as_f64().unwrap() > 0.5
    );
    let kinds: Vec<&str> = pieces
        .iter()
        .flat_map(|p| p["marks"].as_array().unwrap())
        .filter_map(|m| m["kind"].as_str())
        .collect();
    assert!(
        kinds.contains(&"override") && kinds.contains(&"rework"),
        "{kinds:?}"
    );
    // Every finished piece is near the target, or they would not match.
    for p in pieces
        .iter()
        .filter(|p| p["stage"] != "strike" && p["charge_ah"].as_f64().unwrap_or(0.0) > 10.0)
    {
        let t = p["thickness_um"].as_f64().unwrap();
        assert!(
            (20.0..45.0).contains(&t) || p["in_bath"] == true,
            "{}: {t}",
            p["name"]
        );
    }
    // What is due lies around now, not in another year.
    let overdue = status["due"][0]["overdue_s"].as_f64().unwrap();
    assert!(overdue.abs() < 3600.0, "{}", status["due"]);
    let path = shop.path("try");
    assert!(path.exists());
}

#[test]
fn the_mantel_clock_has_forty_pieces_and_two_tanks() {
    let (_shop, status) = tried("mantel-clock");
    assert_eq!(status["pieces"].as_array().map(Vec::len), Some(40));
    assert_eq!(status["tanks"].as_array().map(Vec::len), Some(2));
    assert_eq!(at(&status, "build", "running"), ["front-panel"]);
}

#[test]
fn the_table_bell_is_untouched() {
    let (shop, status) = tried("table-bell");
    assert_eq!(at(&status, "coat", "waiting").len(), 2);
    assert_eq!(status["due"], serde_json::json!([]));
    let words = shop.raw(&["try".into(), "table-bell".into()]);
    assert_eq!(words.status, 0);
    assert!(
        words.text.contains("bell"),
        "without a terminal Line is printed as text"
    );
}

#[test]
fn areas_are_those_that_a_survey_of_the_prints_finds() {
    for name in ["table-bell", "fern-lamp"] {
        let shop = Shop::new();
        let path = shop.run(&format!("try {name}")).json["path"].clone();
        let told = shop.ok(&format!("survey {}", path.as_str().expect("a path")));
        for piece in told["pieces"].as_array().expect("pieces") {
            assert_eq!(
                piece["changed"], false,
                "{name}: run `tankside survey sample-projects/{name}`: {piece}"
            );
        }
    }
}

#[test]
fn an_unknown_sample_names_the_known_ones() {
    let error = Shop::new().bad("try cuckoo-clock");
    assert!(error["message"].as_str().unwrap().contains("mantel-clock"));
}
