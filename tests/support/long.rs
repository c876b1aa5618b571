//! A project with a long history: forty pieces that are plated again and again,
//! with all that is written down on the way.

#![allow(dead_code, reason = "each test binary uses what it needs")]
#![allow(clippy::unwrap_used, reason = "a helper that fails fails its test")]

use std::collections::BTreeMap;
use std::path::Path;

use tankside::project::{Definition, Event, Project, What};
use tankside::store::Folder;
use tankside::units::Instant;

/// Forty pieces and one tank.
pub(crate) fn text() -> String {
    let pieces: Vec<String> = (1..=40)
        .map(|n| format!("        (name: \"piece-{n:02}\", area: \"0.{n:02}dm2\"),\n"))
        .collect();
    format!(
        "(\n    format: 1,\n    name: \"Forty pieces\", // of one clock\n    metal: \"copper-acid\",\n    \
         target: Mean(\"40um\"),\n    pieces: [\n{}    ],\n)\n",
        pieces.concat()
    )
}

/// What is written down of one piece until it is rinsed, in RON.
const ROUND: [&str; 28] = [
    r#"Start(piece:"P",stage:"coat")"#,
    r#"Coat(piece:"P")"#,
    r#"Ohms(piece:"P",resistance:"240ohm",place:"rim to foot")"#,
    r#"Finish(piece:"P")"#,
    r#"Start(piece:"P",stage:"wiring")"#,
    r#"Finish(piece:"P")"#,
    r#"Start(piece:"P",stage:"strike",tank:"main")"#,
    r#"Supply(tank:"main",to:Volts("0.3V"))"#,
    r#"Reading(tank:"main",volts:"0.3V",amps:"0.21A",celsius:"22C")"#,
    r#"Look(piece:"P",findings:[(kind:bare,share:"0.3",place:"inner curl")])"#,
    r#"Reading(tank:"main",volts:"0.5V",amps:"0.34A")"#,
    r#"Look(piece:"P",findings:[(kind:covered)])"#,
    r#"Finish(piece:"P")"#,
    r#"Start(piece:"P",stage:"build",tank:"main")"#,
    r#"Supply(tank:"main",to:Amps("0.6A"))"#,
    r#"Reading(tank:"main",volts:"0.7V",amps:"0.6A",celsius:"23C",mode:cc)"#,
    r#"Look(piece:"P",findings:[(kind:ok)])"#,
    r#"Note(piece:"P",text:"bright, the edge a little dull towards the anode")"#,
    r#"Lift(piece:"P")"#,
    r#"Return(piece:"P",dipped:true)"#,
    r#"Reading(tank:"main",volts:"0.7V",amps:"0.61A",celsius:"23C")"#,
    r#"Bath(tank:"main",work:Dose("5mL"))"#,
    r#"Look(piece:"P",findings:[(kind:ok)])"#,
    r#"Reading(tank:"main",volts:"0.7V",amps:"0.6A")"#,
    r#"Weigh(piece:"P",mass:"41.2g",condition:wired)"#,
    r#"Finish(piece:"P")"#,
    r#"Supply(tank:"main",to:Off)"#,
    r#"Rework(piece:"P",stage:"coat",because:"thin at the rim")"#,
];

/// So many events, one every two minutes since the beginning of 2020.
pub(crate) fn events(count: usize) -> Vec<Event> {
    let begun: Instant = "2020-01-01T00:00:00Z".parse().unwrap();
    let options =
        ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME);
    let event = |n: usize| {
        let piece = format!("\"piece-{:02}\"", n / ROUND.len() % 40 + 1);
        let what = ROUND[n % ROUND.len()].replace("\"P\"", &piece);
        let at = begun.plus_seconds(n as f64 * 120.0);
        Event {
            sequence: n as u64 + 1,
            at,
            recorded: at,
            who: "Ida".to_owned(),
            what: options.from_str::<What>(&what).unwrap(),
            reason: None,
            overridden: Vec::new(),
        }
    };
    (0..count).map(event).collect()
}

/// The project of so many events, without a folder.
pub(crate) fn project(count: usize) -> Project {
    let definition = Definition::parse(&text()).unwrap();
    Project::new(definition, events(count), BTreeMap::new()).unwrap()
}

/// Lays the project of so many events out in a folder.
pub(crate) fn lay_out(path: &Path, count: usize) {
    drop(Folder::lay_out(path, &text(), &events(count), &[]).unwrap());
}
