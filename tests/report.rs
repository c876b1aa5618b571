//! What is printed and handed on, against figures worked out by hand.
//!
//! Copper from an acid bath takes n F rho / M = 2 x 96485.33212 C/mol x
//! 8.96 g/cm3 / 63.546 g/mol = 27208.906 C/cm3 (F: CODATA 2018, exact in the SI;
//! M: IUPAC standard atomic weight; rho: CRC Handbook, from memory). On
//! 6.84 dm2 = 684 cm2, 40 um = 0.004 cm is 2.736 cm3: 74443.57 C = 20.67877 Ah.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use tankside::plating::Metal;
use tankside::project::{
    Action, BathWork, Definition, Event, Finding, Mode, Piece, Project, Refusal, Setting, Stage,
    Target, WeighedAs, What, Wire,
};
use tankside::report::charge::{Asked, From};
use tankside::report::{json as objects, markdown, safe, sheet, text};
use tankside::units::{A, A_DM2, AH, G, H, Instant, MIN, MM, Ratio, UM, V, Zone};

const TARGET_AH: f64 = 20.678_77;
const FOLDER: &str = "fern lamp";

/// Minutes after an evening's six o'clock.
fn at(minutes: f64) -> Instant {
    "2026-03-01T18:00:00Z".parse::<Instant>().unwrap() + MIN.of(minutes)
}

fn piece(name: &str, area: &str) -> Piece {
    Piece {
        area: Some(area.parse().unwrap()),
        ..Piece::named(name)
    }
}

fn definition(pieces: Vec<Piece>) -> Definition {
    let metal = Metal::named("copper-acid").unwrap();
    Definition {
        pieces,
        zone: Zone::named("Europe/Berlin").unwrap(),
        ..Definition::new("Fern lamp", metal, Target::Mean(UM.of(40.0)))
    }
}

struct Bench(Project);

impl Bench {
    fn new(definition: Definition) -> Self {
        Self(Project::new(definition, Vec::new(), BTreeMap::new()).unwrap())
    }

    fn stem() -> Self {
        Self::new(definition(vec![piece("stem", "6.84dm2")]))
    }

    /// Records what happened at `minutes`, passing gates, written down then.
    fn did(&mut self, minutes: f64, what: What) -> Event {
        self.wrote_down(minutes, minutes, what)
    }

    fn wrote_down(&mut self, written: f64, minutes: f64, what: What) -> Event {
        let action = Action {
            at: Some(at(minutes)),
            override_reason: Some("a test".to_owned()),
            ..Action::now(what, "ida")
        };
        let decision = self.0.decide(&action, at(written)).unwrap();
        self.0.push(decision.event.clone(), None).unwrap();
        decision.event
    }

    /// Brings a piece to a stage by leaving out what comes before it.
    fn skip_to(&mut self, minutes: f64, name: &str, stage: &Stage) {
        for before in Stage::default_route() {
            if before == *stage {
                break;
            }
            let (piece, because) = (name.to_owned(), "a test".to_owned());
            self.did(
                minutes,
                What::Skip {
                    piece,
                    stage: before,
                    because,
                },
            );
        }
    }

    fn starts(&mut self, minutes: f64, name: &str, stage: Stage) {
        self.did(
            minutes,
            What::Start {
                piece: name.to_owned(),
                stage,
                tank: None,
            },
        );
    }

    fn reads(&mut self, minutes: f64, amps: f64) {
        self.did(minutes, reading(amps));
    }

    fn looks(&mut self, minutes: f64, name: &str, finding: &str) {
        let findings: Vec<Finding> = vec![finding.parse().unwrap()];
        self.did(
            minutes,
            What::Look {
                piece: name.to_owned(),
                findings,
            },
        );
    }

    fn piece(&self, minutes: f64, name: &str) -> Value {
        let status = objects::status(&self.0, at(minutes));
        let pieces = status["pieces"].as_array().unwrap().clone();
        pieces.into_iter().find(|p| p["name"] == name).unwrap()
    }
}

fn reading(amps: f64) -> What {
    What::Reading {
        tank: "main".to_owned(),
        volts: V.of(0.5),
        amps: A.of(amps),
        celsius: None,
        mode: None,
        piece: None,
    }
}

#[track_caller]
fn close(found: &Value, wanted: f64) {
    let found = found
        .as_f64()
        .unwrap_or_else(|| panic!("{found} is no number"));
    assert!(
        (found - wanted).abs() <= 1e-5 * wanted.abs().max(1e-3),
        "{found} is not {wanted}"
    );
}

/// The bench of most tests: the stem alone at 2 A from 0 to 60 min.
fn an_hour_at_two_amps() -> Bench {
    let mut bench = Bench::stem();
    bench.skip_to(-10.0, "stem", &Stage::Strike);
    bench.starts(0.0, "stem", Stage::Strike);
    bench.reads(0.0, 2.0);
    bench.reads(60.0, 2.0);
    bench
}

#[test]
fn a_new_piece_has_a_target_and_knows_nothing_else() {
    let bench = Bench::stem();
    let stem = bench.piece(0.0, "stem");
    close(&stem["charge_target_ah"], TARGET_AH);
    close(&stem["wetted_area_dm2"], 6.84);
    close(&stem["conductor_area_dm2"], 6.84);
    assert_eq!(stem["stage"], "coat");
    assert_eq!(stem["stage_state"], "waiting");
    assert_eq!(stem["in_bath"], false);
    assert_eq!(stem["charge_kind"], "measured");
    for unknown in [
        "tank",
        "out_s",
        "coverage",
        "density_a_dm2",
        "stage_elapsed_s",
        "hold",
        "amps",
        "read_at",
        "target_at",
        "weighed",
        "turn",
        "size_mm",
        "next_step",
    ] {
        assert!(stem.as_object().unwrap().contains_key(unknown), "{unknown}");
        assert_eq!(stem[unknown], Value::Null, "{unknown}");
    }
    close(&stem["charge_ah"], 0.0);
    let status = objects::status(&bench.0, at(0.0));
    assert_eq!(
        status["tanks"][0]["supply"],
        json!({"mode": null, "amps": null, "volts": null})
    );
    assert_eq!(status["match"]["thickness_spread_um"], Value::Null);
    assert_eq!(status["match"]["age_spread_h"], Value::Null);
    // 0.2 / sqrt 3 = 0.115; half a per cent of water; a tenth of a gram.
    let u = &status["uncertainty"];
    let wanted = [
        ("area_rel", 0.02),
        ("efficiency_rel", 0.01),
        ("amps_rel", 0.01),
        ("share_rel", 0.115),
        ("water_rel", 0.005),
        ("balance_g", 0.1),
    ];
    for (key, value) in wanted {
        close(&u[key], value);
    }
}

#[test]
fn without_an_area_there_is_no_target_and_no_thickness() {
    let mut bench = Bench::new(definition(vec![Piece::named("stem")]));
    bench.skip_to(-10.0, "stem", &Stage::Strike);
    bench.starts(0.0, "stem", Stage::Strike);
    bench.reads(0.0, 2.0);
    bench.reads(60.0, 2.0);
    let stem = bench.piece(60.0, "stem");
    for unknown in [
        "wetted_area_dm2",
        "conductor_area_dm2",
        "charge_target_ah",
        "thickness_um",
        "thickness_pm_um",
    ] {
        assert_eq!(stem[unknown], Value::Null, "{unknown}");
    }
    close(&stem["charge_ah"], 2.0);
}

#[test]
fn wires_and_roughness_enter_the_target() {
    // Wire: pi x 1 mm x 200 mm = 628.3185 mm2 = 0.06283185 dm2.
    // Plating area 6.84 x 1.1 = 7.524 dm2; with the wire 7.58683185 dm2.
    // Target: 20.67877 Ah / 6.84 dm2 = 3.0232120 Ah/dm2, times 7.58683185: 22.93660 Ah.
    let stem = Piece {
        roughness: 1.1,
        wires: vec![Wire {
            diameter: MM.of(1.0),
            length: MM.of(200.0),
        }],
        ..piece("stem", "6.84dm2")
    };
    let stem = Bench::new(definition(vec![stem])).piece(0.0, "stem");
    close(&stem["wetted_area_dm2"], 6.84);
    close(&stem["plating_area_dm2"], 7.524);
    close(&stem["conductor_area_dm2"], 7.586_831_85);
    close(&stem["charge_target_ah"], 22.936_60);
}

#[test]
fn an_hour_at_two_amps_is_two_ampere_hours_measured() {
    let mut bench = an_hour_at_two_amps();
    let stem = bench.piece(60.0, "stem");
    close(&stem["charge_ah"], 2.0);
    close(&stem["charge_estimated_ah"], 0.0);
    assert_eq!(stem["charge_kind"], "measured");
    // 40 um x 2 / 20.67877 = 3.868702 um.
    close(&stem["thickness_um"], 3.868_702);
    // Area 2 %, efficiency 1 %, meter 1 %: sqrt(4 + 1 + 1) = 2.449490 %, k = 2.
    close(&stem["thickness_pm_um"], 3.868_702 * 2.0 * 0.024_494_90);
    close(&stem["thickness_local"]["least_um"], 1.934_351);
    close(&stem["thickness_local"]["most_um"], 11.606_106);
    assert_eq!(stem["thickness_local"]["kind"], "assumed");
    close(&stem["stage_elapsed_s"], 3600.0);
    assert_eq!(stem["density_a_dm2"], Value::Null, "no look yet");
    bench.looks(60.0, "stem", "covered:50%");
    // 2 A on half of 6.84 dm2.
    close(&bench.piece(60.0, "stem")["density_a_dm2"], 2.0 / 3.42);
}

#[test]
fn the_tail_is_estimated_and_frozen_after_the_limit_of_the_strike() {
    let bench = an_hour_at_two_amps();
    for (minutes, estimated) in [(75.0, 0.5), (90.0, 1.0), (240.0, 1.0)] {
        let stem = bench.piece(minutes, "stem");
        close(&stem["charge_ah"], 2.0);
        close(&stem["charge_estimated_ah"], estimated);
        assert_eq!(stem["charge_kind"], "estimated");
        close(&stem["thickness_um"], 3.868_702 * (2.0 + estimated) / 2.0);
    }
    // At 30 min neither the second reading nor anything after it has happened.
    let stem = bench.piece(30.0, "stem");
    close(&stem["charge_ah"], 0.0);
    close(&stem["charge_estimated_ah"], 1.0);
}

#[test]
fn pieces_share_by_area_and_the_match_says_how_far_apart_they_are() {
    // 6.84 and 3.42 dm2, both covered, 3 A for an hour: 2 Ah and 1 Ah, the same
    // thickness. Then the base alone at 3 A for 20 min: 1 Ah more, twice as thick.
    let mut bench = Bench::new(definition(vec![
        piece("stem", "6.84dm2"),
        piece("base", "3.42dm2"),
    ]));
    for name in ["stem", "base"] {
        bench.skip_to(-20.0, name, &Stage::Strike);
        bench.starts(-10.0, name, Stage::Strike);
        bench.looks(-10.0, name, "covered");
    }
    bench.reads(0.0, 3.0);
    bench.reads(60.0, 3.0);
    let level = objects::status(&bench.0, at(60.0));
    close(&bench.piece(60.0, "stem")["charge_ah"], 2.0);
    close(&bench.piece(60.0, "base")["charge_ah"], 1.0);
    close(&level["match"]["thickness_spread_um"], 0.0);
    bench.did(
        60.0,
        What::Lift {
            piece: "stem".to_owned(),
        },
    );
    bench.reads(80.0, 3.0);
    let later = objects::status(&bench.0, at(80.0));
    close(&bench.piece(80.0, "base")["charge_ah"], 2.0);
    close(&bench.piece(80.0, "stem")["out_s"], 1200.0);
    close(&later["match"]["thickness_spread_um"], 3.868_702);
    assert_eq!(later["match"]["thickest"], "base");
    let behind = &later["match"]["behind"][0];
    assert_eq!(behind["piece"], "stem");
    close(&behind["by_um"], 3.868_702);
    // The stem needs as much again as it has.
    close(&behind["charge_ah"], 2.0);
    // Doubts of base: 7.737404 um x (area 2 %, readings 0, meter 1 %, bath 1 %),
    // share 11.5 % of the shared half. Of stem: 3.868702 um, all of it shared.
    // Meter and bath cancel in part: (7.737404 - 3.868702) x 1 % each.
    let t = 3.868_702_f64;
    let standard = [
        0.02 * 2.0 * t,
        0.02 * t,
        0.115 * t,
        0.115 * t,
        0.01 * t,
        0.01 * t,
    ];
    let pm = 2.0 * standard.iter().map(|s| s * s).sum::<f64>().sqrt();
    close(&later["match"]["thickness_spread_pm_um"], pm);
    let tank = &later["tanks"][0];
    assert_eq!(tank["pieces"], json!(["base", "stem"]));
    close(&tank["charge_ah"], 4.0);
    close(&tank["since"]["dose_ah"], 4.0);
}

#[test]
fn an_unknown_share_is_null_and_named() {
    let mut bench = Bench::new(definition(vec![
        piece("stem", "6.84dm2"),
        piece("base", "3.42dm2"),
    ]));
    for name in ["stem", "base"] {
        bench.skip_to(-20.0, name, &Stage::Strike);
        bench.starts(-10.0, name, Stage::Strike);
    }
    bench.looks(-5.0, "stem", "covered");
    bench.reads(0.0, 3.0);
    bench.reads(60.0, 3.0);
    for name in ["stem", "base"] {
        let piece = bench.piece(60.0, name);
        assert_eq!(piece["charge_kind"], "unknown-share");
        for unknown in [
            "charge_ah",
            "charge_estimated_ah",
            "thickness_um",
            "thickness_pm_um",
            "density_a_dm2",
        ] {
            assert_eq!(piece[unknown], Value::Null, "{unknown} of {name}");
        }
        assert_eq!(piece["share_unknown_since"], "2026-03-01T18:00:00Z");
    }
    let printed = text::status_text(&bench.0, at(60.0));
    assert!(printed.contains("share unknown"), "{printed}");
}

#[test]
fn a_hold_counts_from_its_start_and_anew_from_a_wipe() {
    let mut bench = Bench::stem();
    bench.skip_to(0.0, "stem", &Stage::Age);
    bench.starts(0.0, "stem", Stage::Age);
    let hold = bench.piece(90.0, "stem")["hold"].clone();
    close(&hold["elapsed_h"], 1.5);
    close(&hold["target_h"], 72.0);
    assert_eq!(hold["started_at"], "2026-03-01T18:00:00Z");
    assert_eq!(hold["ends_at"], "2026-03-04T18:00:00Z");
    bench.did(
        120.0,
        What::Wipe {
            pieces: vec!["stem".to_owned()],
        },
    );
    let hold = bench.piece(150.0, "stem")["hold"].clone();
    close(&hold["elapsed_h"], 0.5);
    assert_eq!(hold["ends_at"], "2026-03-04T20:00:00Z");
}

#[test]
fn the_due_list_keeps_its_order_and_its_signs() {
    let mut bench = an_hour_at_two_amps();
    let due = objects::status(&bench.0, at(61.0))["due"].clone();
    // First look of a strike after 5 min: 56 min over. The reading is due at 90.
    assert_eq!(due[0]["what"], "look");
    close(&due[0]["overdue_s"], 56.0 * 60.0);
    let reading = due
        .as_array()
        .unwrap()
        .iter()
        .find(|d| d["what"] == "reading")
        .unwrap();
    close(&reading["overdue_s"], -29.0 * 60.0);
    assert_eq!(reading["at"], "2026-03-01T19:30:00Z");
    bench.did(
        70.0,
        What::Supply {
            tank: "main".to_owned(),
            to: Setting::Off,
        },
    );
    let due = objects::status(&bench.0, at(71.0))["due"].clone();
    assert_eq!(due[0]["what"], "lift-out");
    assert_eq!(due[0]["piece"], "stem");
    let printed = text::status_text(&bench.0, at(71.0));
    let order = ["Due", "lift stem out now", "Tanks", "Pieces"].map(|w| printed.find(w).unwrap());
    assert!(order.is_sorted(), "{printed}");
}

#[test]
fn a_supply_tells_mode_amps_and_volts() {
    let mut bench = Bench::stem();
    bench.did(
        0.0,
        What::Supply {
            tank: "main".to_owned(),
            to: Setting::Amps(A.of(2.0)),
        },
    );
    let supply = objects::status(&bench.0, at(1.0))["tanks"][0]["supply"].clone();
    assert_eq!(supply, json!({"mode": "cc", "amps": 2.0, "volts": null}));
    let read = What::Reading {
        tank: "main".to_owned(),
        volts: V.of(0.62),
        amps: A.of(1.9),
        celsius: Some("24.5C".parse().unwrap()),
        mode: Some(Mode::Cv),
        piece: None,
    };
    bench.did(2.0, read);
    let tank = objects::status(&bench.0, at(2.0))["tanks"][0].clone();
    assert_eq!(
        tank["supply"],
        json!({"mode": "cv", "amps": 1.9, "volts": 0.62})
    );
    close(&tank["celsius"], 24.5);
}

#[test]
fn gates_name_a_whole_command_until_they_hold() {
    let bench = Bench::stem();
    let gates = objects::gates(&bench.0, "stem", at(0.0), FOLDER);
    let gates = gates["gates"].as_array().unwrap();
    assert!(gates.len() > 10);
    for gate in gates {
        assert!(matches!(gate["when"].as_str(), Some("start" | "end")));
        match gate["satisfy_with"].as_str() {
            Some(line) => assert!(
                line.starts_with("tankside record 'fern lamp' stem "),
                "{line}"
            ),
            None => assert_eq!(gate["held"], true),
        }
        assert_eq!(
            gate["held"].as_bool().unwrap(),
            gate["satisfy_with"].is_null()
        );
    }
    assert_eq!(
        gates[0]["satisfy_with"],
        "tankside record 'fern lamp' stem tick primed"
    );
    let printed = text::gates_text(&bench.0, "stem", at(0.0), FOLDER);
    assert!(printed.contains("[ ] primed"), "{printed}");
    assert!(printed.contains("tankside record 'fern lamp' stem tick primed"));
}

#[test]
fn refusals_and_faults_have_every_key() {
    let bench = Bench::stem();
    let early = What::Start {
        piece: "stem".to_owned(),
        stage: Stage::Build,
        tank: None,
    };
    let refusal: Refusal = bench
        .0
        .decide(&Action::now(early, "ida"), at(0.0))
        .unwrap_err();
    let refused = objects::refused(&refusal, FOLDER);
    assert_eq!(refused["refused"]["rule"], "order");
    assert_eq!(
        refused["refused"]["instead"][0],
        "tankside record 'fern lamp' stem start coat"
    );
    let fault = objects::Fault {
        kind: "usage",
        message: "the unit is missing",
        line: Some(3),
        ..objects::Fault::default()
    };
    let wanted = json!({"error": {"kind": "usage", "message": "the unit is missing",
        "remedy": null, "file": null, "line": 3, "column": null}});
    assert_eq!(objects::error(&fault), wanted);
}

#[test]
fn charge_goes_both_ways() {
    let asked = Asked {
        metal: Metal::named("copper-acid").unwrap(),
        area: "6.84dm2".parse().unwrap(),
        efficiency: Ratio::from_si(1.0),
        from: From::Thickness(UM.of(40.0)),
        density: Some(A_DM2.of(1.5)),
    };
    let found = objects::charge(&asked);
    close(&found["charge_ah"], TARGET_AH);
    // 2.736 cm3 x 8.96 g/cm3.
    close(&found["mass_g"], 24.514_56);
    // 1.5 A/dm2 x 6.84 dm2 = 10.26 A; 20.67877 / 10.26 h.
    close(&found["hours"], 2.015_474);
    assert_eq!(found["metal"]["symbol"], "Cu");
    assert_eq!(found["metal"]["electrons"], 2);
    close(&found["metal"]["molar_mass_g_mol"], 63.546);
    close(&found["metal"]["density_g_cm3"], 8.96);
    // A bath at 95 % wants more charge for the same metal: divided, not multiplied.
    let at_95 = Asked {
        efficiency: Ratio::from_si(0.95),
        density: None,
        ..asked
    };
    let found = objects::charge(&at_95);
    close(&found["charge_ah"], TARGET_AH / 0.95);
    close(&found["mass_g"], 24.514_56);
    assert_eq!(found["hours"], Value::Null);
    for from in [
        From::Charge(AH.of(TARGET_AH / 0.95)),
        From::Run(A.of(2.0), H.of(TARGET_AH / 1.9)),
    ] {
        let back = objects::charge(&Asked { from, ..at_95 });
        close(&back["thickness_um"], 40.0);
        close(&back["mass_g"], 24.514_56);
    }
    let nothing = Asked {
        area: "0dm2".parse().unwrap(),
        from: From::Charge(AH.of(1.0)),
        ..asked
    };
    assert_eq!(objects::charge(&nothing)["thickness_um"], Value::Null);
    let gold = Asked {
        metal: Metal::named("gold-cyanide").unwrap(),
        ..asked
    };
    assert!(text::charge_text(&gold).contains("licensed shops only"));
    assert_eq!(
        text::charge_text(&asked).lines().next(),
        Some("charge     20.68 Ah")
    );
}

#[test]
fn history_tells_what_was_undone_and_what_came_late() {
    let mut bench = an_hour_at_two_amps();
    bench.looks(50.0, "stem", "advancing");
    let note = What::Note {
        piece: "stem".to_owned(),
        text: "front slow".to_owned(),
    };
    let late = bench.wrote_down(70.0, 20.0, note);
    let taken_back = bench.did(
        71.0,
        What::Lift {
            piece: "stem".to_owned(),
        },
    );
    bench.did(72.0, What::Undo { sequence: 0 });
    let history = objects::history(&bench.0, None);
    let event = |sequence: u64| {
        let all = history["events"].as_array().unwrap();
        all.iter()
            .find(|e| e["sequence"] == sequence)
            .unwrap()
            .clone()
    };
    assert_eq!(event(late.sequence)["back_dated"], true);
    assert_eq!(event(late.sequence)["at"], "2026-03-01T18:20:00Z");
    assert_eq!(event(late.sequence)["recorded"], "2026-03-01T19:10:00Z");
    assert_eq!(event(taken_back.sequence)["undone"], true);
    assert_eq!(event(taken_back.sequence)["kind"], "lift");
    assert_eq!(event(taken_back.sequence + 1)["kind"], "undo");
    let start = event(3);
    assert_eq!(
        (&start["kind"], &start["piece"], &start["tank"]),
        (&json!("start"), &json!("stem"), &json!("main"))
    );
    assert_eq!(start["override"], "a test");
    assert_eq!(start["overridden"][0], "polarity");
    let of_stem = objects::history(&bench.0, Some("stem"));
    let kinds: Vec<&str> = of_stem["events"]
        .as_array()
        .unwrap()
        .iter()
        .map(|e| e["kind"].as_str().unwrap())
        .collect();
    assert_eq!(kinds, ["skip", "skip", "start", "look", "note", "lift"]);
    let printed = text::history_text(&bench.0, Some("stem"));
    // Berlin is UTC+1 in winter.
    assert!(printed.contains("2026-03-01 19:20 ida"), "{printed}");
    assert!(
        printed.contains("(undone)") && printed.contains("(back-dated"),
        "{printed}"
    );
}

#[test]
fn the_traveller_has_the_readings_of_its_tank_only_while_it_hung_there() {
    let mut bench = an_hour_at_two_amps();
    bench.looks(60.0, "stem", "covered");
    bench.did(
        61.0,
        What::Finish {
            piece: "stem".to_owned(),
        },
    );
    bench.starts(62.0, "stem", Stage::Build);
    bench.reads(70.0, 2.5);
    bench.did(
        80.0,
        What::Finish {
            piece: "stem".to_owned(),
        },
    );
    bench.reads(90.0, 3.5);
    let note = What::Note {
        piece: "stem".to_owned(),
        text: "a|b *c* <d>\n# e".to_owned(),
    };
    bench.did(95.0, note);
    let sheet = markdown::traveller(&bench.0, "stem", at(100.0)).unwrap();
    assert!(sheet.contains("main reads 0.5V 2.5A"), "{sheet}");
    assert!(!sheet.contains("3.5A"), "{sheet}");
    assert!(sheet.contains(r"a\|b \*c\* \<d\>\\n\# e"), "{sheet}");
    // The strike lasted 61 min, the build 18.
    assert!(
        sheet.contains("| strike | 2026-03-01 19:00 | 2026-03-01 20:01 | 1 h 01 |"),
        "{sheet}"
    );
    assert!(
        sheet.contains("| build | 2026-03-01 20:02 | 2026-03-01 20:20 | 18 min |"),
        "{sheet}"
    );
    assert!(sheet.contains("**override** of charge: a test"), "{sheet}");
    assert!(markdown::traveller(&bench.0, "no such", at(0.0)).is_none());
}

#[test]
fn an_impossible_efficiency_is_blamed_in_order() {
    // 2 Ah could deposit 7200 C x 63.546 / (2 x 96485.33) = 2.370988 g; 2.0 g is 84 %.
    let weigh = |g: f64, condition| What::Weigh {
        piece: "stem".to_owned(),
        mass: G.of(g),
        condition,
    };
    let mut bench = Bench::stem();
    bench.did(-20.0, weigh(412.3, WeighedAs::Wired));
    bench.skip_to(-10.0, "stem", &Stage::Strike);
    bench.starts(0.0, "stem", Stage::Strike);
    bench.reads(0.0, 2.0);
    bench.reads(60.0, 2.0);
    bench.did(
        60.0,
        What::Lift {
            piece: "stem".to_owned(),
        },
    );
    bench.did(60.0, weigh(414.3, WeighedAs::Plated));
    let weighed = bench.piece(60.0, "stem")["weighed"].clone();
    close(&weighed["gained_g"], 2.0);
    close(&weighed["efficiency"], 2.0 / 2.370_988);
    assert_eq!(weighed["plausible"], false);
    // Water: 412.3 g x 0.5 % / sqrt 3 = 1.190208 g; balance 0.1 g x sqrt 2; k = 2.
    close(
        &weighed["gained_pm_g"],
        2.0 * (1.190_208_f64.powi(2) + 0.02).sqrt(),
    );
    let sheet = markdown::traveller(&bench.0, "stem", at(60.0)).unwrap();
    let blame = sheet.find("blame first water").unwrap();
    let order = ["wire", "meter", "area"].map(|w| sheet[blame..].find(w).unwrap());
    assert!(order.is_sorted(), "{sheet}");
}

#[test]
fn the_close_out_is_a_draft_until_it_is_signed() {
    let mut bench = Bench::stem();
    let draft = markdown::closeout_sheet(&bench.0, at(0.0));
    assert!(
        draft.contains("not signed") && draft.contains("- [ ] anode bags whole"),
        "{draft}"
    );
    let closeout = objects::closeout(&bench.0, at(0.0));
    assert_eq!(closeout["may_sign"], false);
    assert!(closeout["because"].is_string());
    let items = closeout["items"].as_array().unwrap();
    assert!(
        items
            .iter()
            .all(|i| i["side"] == "tank" || i["blocks"] == false)
    );
    let ids: Vec<String> = items
        .iter()
        .filter(|i| i["side"] == "tank")
        .map(|i| i["id"].as_str().unwrap().to_owned())
        .collect();
    bench.did(5.0, What::CloseoutTick { items: ids });
    let ticked = objects::closeout(&bench.0, at(6.0));
    assert_eq!(ticked["may_sign"], true);
    assert_eq!(ticked["items"][0]["by"], "ida");
    assert_eq!(ticked["items"][0]["at"], "2026-03-01T18:05:00Z");
    bench.did(7.0, What::CloseoutSign { sheet: Vec::new() });
    let signed = markdown::closeout_sheet(&bench.0, at(10.0));
    assert!(
        signed.contains("Signed 2026-03-01 19:07 by ida."),
        "{signed}"
    );
    assert!(
        signed.contains("- [x] anode bags whole (ida, 2026-03-01 19:05)"),
        "{signed}"
    );
    assert!(
        signed.contains("15-30 min") && signed.contains("Local codes"),
        "{signed}"
    );
    assert_eq!(objects::closeout(&bench.0, at(10.0))["signed"]["by"], "ida");
    let before = markdown::closeout_sheet(&bench.0, at(6.0));
    assert!(before.contains("not signed"), "{before}");
}

/// Names that a file may hold, made to upset a terminal or a layout.
fn odd_names() -> Vec<String> {
    let heap = format!("a{}", "\u{301}".repeat(5000));
    [
        "벨",
        "鈴鈴鈴鈴鈴鈴鈴鈴鈴鈴鈴鈴",
        "e\u{301}tude",
        "פעמון",
        "\u{1b}[2Jstem",
        "nul\0",
        "\u{202e}mets",
        &heap,
    ]
    .map(str::to_owned)
    .to_vec()
}

#[test]
fn every_line_fits_and_nothing_reaches_the_terminal_that_acts_on_it() {
    let pieces = odd_names().iter().map(|n| piece(n, "6.84dm2")).collect();
    let mut bench = Bench::new(Definition {
        name: odd_names().concat(),
        ..definition(pieces)
    });
    for name in odd_names() {
        bench.skip_to(-10.0, &name, &Stage::Strike);
        bench.starts(0.0, &name, Stage::Strike);
        bench.looks(1.0, &name, "covered");
        let turn = What::Turn {
            piece: name.clone(),
            text: name.clone(),
        };
        bench.did(1.0, turn);
    }
    bench.reads(2.0, 2.0);
    bench.did(
        3.0,
        What::Bath {
            tank: "main".to_owned(),
            work: BathWork::Filter,
        },
    );
    let printed = [
        text::status_text(&bench.0, at(5.0)),
        text::history_text(&bench.0, None),
        text::closeout_text(&bench.0, at(5.0)),
        sheet::Sheet::of(&bench.0, at(5.0))
            .text()
            .replace('\u{c}', ""),
    ];
    for page in &printed {
        for line in page.lines() {
            assert!(
                safe::columns(line) <= 80,
                "{} columns: {line}",
                safe::columns(line)
            );
            assert!(!line.chars().any(safe::is_unseen), "{line:?}");
        }
    }
    // The charges of all pieces begin in the same column.
    let target = "of 20.7 Ah";
    let columns: Vec<usize> = printed[0]
        .lines()
        .filter_map(|l| Some(safe::columns(&l[..l.find(target)?])))
        .collect();
    assert_eq!(columns.len(), odd_names().len());
    assert!(columns.windows(2).all(|w| w[0] == w[1]), "{columns:?}");
    for name in odd_names() {
        let sheet = markdown::traveller(&bench.0, &name, at(5.0)).unwrap();
        assert!(
            !sheet.replace('\n', "").chars().any(safe::is_unseen),
            "{name:?}"
        );
    }
}

#[test]
fn figures_carry_their_sign_and_the_legend_tells_it() {
    let bench = an_hour_at_two_amps();
    let measured = text::status_text(&bench.0, at(60.0));
    assert!(
        measured.contains(" 2.00 of 20.7 Ah") && measured.contains("3.87 \u{b1}0.19 um"),
        "{measured}"
    );
    let estimated = text::status_text(&bench.0, at(75.0));
    assert!(
        estimated.contains("~2.50 of 20.7 Ah") && estimated.contains("~4.84"),
        "{estimated}"
    );
    assert!(
        estimated.contains("?2.42-14.5 um")
            && estimated.contains("~ estimated, > predicted, ? assumed"),
        "{estimated}"
    );
}
