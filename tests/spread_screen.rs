//! Where the metal goes, on the screen: what is asked, told and drawn, and what
//! the keys do there.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::screens_support::*;
use tankside::field::scene::{
    Anode, BodySpread, Cell, Faces, Flows, Kind, Place, Scene, Shield, Spread, Strand, Supply,
    Vessel,
};
use tankside::project::{
    Definition, Evenness, Hangs, MeshRef, Mode, PredictedFor, Project, SceneEdit, Setting, What,
};
use tankside::report::spread::Form;
use tankside::store::Folder;
use tankside::tui::app::{Effect, Layer, Message, Model, Seen, SpreadWork, update};
use tankside::tui::view::{Colours, Theme, picture, picture_place};
use tankside::units::{A, MM, System, V};

/// A model on whose Spread screen the first of these pieces is selected; those
/// named `plain` have no print.
fn hands_of(names: &[&str]) -> Hands {
    let mut definition = definition(names);
    for piece in &mut definition.pieces {
        if piece.name != "plain" {
            piece.mesh = Some(MeshRef {
                file: format!("meshes/{}.stl", piece.name),
                unit: Some("mm".to_owned()),
                sha256: None,
            });
        }
    }
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    let now = "2026-03-02T17:00:00Z".parse().unwrap();
    let mut hands = Hands::of(Model::new(project, Some("mira".into()), now), now);
    if let Some(first) = names.first() {
        hands.select(first);
    }
    hands.keys("x");
    hands
}

fn say(hands: &mut Hands, message: Message) {
    update(&mut hands.model, message, hands.now);
}

/// What Enter asks of the worker.
fn asked(hands: &mut Hands) -> SpreadWork {
    let effects = hands.effects("Enter");
    match effects.as_slice() {
        [Effect::Spread(work)] => (**work).clone(),
        other => panic!("{other:?}"),
    }
}

/// The worker answers: each piece is a ball on which the density over the mean
/// goes from 1/6 at the bottom to `top` at the top.
fn answer(hands: &mut Hands, work: SpreadWork, top: f64) {
    let bodies = (0..).zip(&work.pieces);
    let bodies = bodies.map(|(n, name)| ball(name, f64::from(n), top, work.pieces.len()));
    let spread = Spread {
        volts: 0.4,
        amps: 3.0,
        resistance_ohm: 0.1333,
        bodies: bodies.collect(),
        flows: Flows {
            panels: 8123,
            residual: 3e-7,
            balance: 2e-5,
            error_resistance: 0.012,
            error_zones: 0.031,
        },
    };
    let tank = work.tank.clone();
    let assumed = vec!["25 S/m, acid copper has some 15 to 60".to_owned()];
    let seen = Arc::new(Seen::of(work, (&scene(&spread), spread), assumed));
    say(
        hands,
        Message::SpreadSolved {
            tank,
            result: Ok(seen),
        },
    );
}

/// A tank around the balls: an anode left, a shield right, a wire and a thief.
fn scene(spread: &Spread) -> Scene {
    let right = 200.0 + 100.0 * spread.bodies.len() as f64;
    let strand = |name: &str, y: f64, thief: bool| Strand {
        name: name.to_owned(),
        points_mm: vec![[150.0, y, 240.0], [150.0, y, 300.0]],
        diameter_mm: 0.8,
        volts: 0.0,
        closed: false,
        thief,
        kinetics: None,
    };
    Scene {
        tank: Some(Vessel {
            min_mm: [0.0, 0.0, 100.0],
            max_mm: [right, 200.0, 300.0],
        }),
        conductivity_s_m: 25.0,
        anodes: vec![Anode {
            name: "left".to_owned(),
            centre_mm: [0.0, 100.0, 200.0],
            normal: [1.0, 0.0, 0.0],
            size_mm: [100.0, 120.0],
            volts: 0.0,
            faces: Faces::Both,
        }],
        rods: Vec::new(),
        bodies: Vec::new(),
        wires: vec![strand("hook", 100.0, false), strand("thief", 160.0, true)],
        shields: vec![Shield {
            name: None,
            centre_mm: [right - 20.0, 100.0, 180.0],
            normal: [1.0, 0.0, 0.0],
            size_mm: [80.0, 60.0],
            thickness_mm: 3.0,
        }],
        supply: None,
    }
}

fn ball(name: &str, n: f64, top: f64, of: usize) -> BodySpread {
    const BANDS: usize = 24;
    let centre = [150.0 + 100.0 * n, 100.0, 200.0];
    let at = |band: usize, step: usize| {
        let turn = |n: usize| std::f64::consts::PI * n as f64 / BANDS as f64;
        let (down, round) = (turn(band), turn(step));
        let level = 40.0 * down.sin();
        let from = [level * round.cos(), level * round.sin(), 40.0 * down.cos()];
        [0, 1, 2].map(|k| centre[k] + from[k])
    };
    let over = |z: f64| {
        let up = ((z - 160.0) / 80.0).clamp(0.0, 1.0);
        (1.0_f64 / 6.0) * (6.0 * top).powf(up)
    };
    let every = (0..BANDS).flat_map(|band| (0..2 * BANDS).map(move |step| (band, step)));
    let triangles = every.flat_map(|(band, step)| {
        let [a, b] = [at(band, step), at(band, step + 1)];
        let [c, d] = [at(band + 1, step), at(band + 1, step + 1)];
        let both = [[a, c, b], [b, c, d]];
        // At the poles one of them is nothing.
        let is_nothing = [band == 0, band + 1 == BANDS];
        (0..2)
            .filter(move |k| !is_nothing[*k])
            .map(move |k| both[k])
    });
    let cells = (0..).zip(triangles).map(|(triangle, corners_mm)| Cell {
        triangle,
        corners_mm,
        area_mm2: 1.0,
        i_a_dm2: over((corners_mm[0][2] + corners_mm[1][2] + corners_mm[2][2]) / 3.0),
    });
    let place = |what: &str, up: f64, over_mean: f64| Place {
        what: what.to_owned(),
        at_mm: [centre[0], centre[1], 200.0 + up],
        over_mean,
    };
    BodySpread {
        name: name.to_owned(),
        kind: Kind::Piece,
        volts: 0.0,
        area_dm2: 2.0,
        amps: 3.0 / of as f64,
        share: 1.0 / of as f64,
        mean_a_dm2: 1.0,
        min_over_mean: 1.0 / 6.0,
        max_over_mean: top,
        p05: 0.3,
        p95: 2.4,
        places: vec![place("tip", 40.0, top), place("shadow", -40.0, 1.0 / 6.0)],
        box_mm: [centre.map(|c| c - 40.0), centre.map(|c| c + 40.0)],
        panels: Vec::new(),
        triangles: cells.collect(),
    }
}

fn solved(names: &[&str]) -> Hands {
    let mut hands = hands_of(names);
    let work = asked(&mut hands);
    answer(&mut hands, work, 5.0);
    hands
}

#[test]
fn what_is_missing_is_told_with_what_would_do() {
    assert!(hands_of(&[]).text(80, 24).contains("no piece yet"));
    let mut plain = hands_of(&["plain"]);
    let told = plain.text(80, 24);
    assert!(told.contains("`plain` has no print"), "{told}");
    assert!(told.contains("mesh: (file: \"meshes/plain.stl\""), "{told}");
    assert!(told.contains("tankside survey"), "{told}");
    assert!(plain.effects("Enter").is_empty());
    let leaf = hands_of(&["leaf"]).text(80, 30);
    for missing in [
        "has no inside size: inside: (",
        "plate: (at:",
        "conductivity_s_m: 25",
        "hangs: (at:",
    ] {
        assert!(leaf.contains(missing), "{missing}: {leaf}");
    }
    assert!(
        leaf.contains("? assumed: where pieces hang, conductivity, kinetics"),
        "{leaf}"
    );
    assert!(hands_of(&["leaf"]).text(40, 20).contains("Enter computes"));
}

#[test]
fn the_worker_is_asked_and_can_be_given_up() {
    let mut hands = hands_of(&["leaf", "plain"]);
    let work = asked(&mut hands);
    assert_eq!((work.tank.as_str(), work.pieces.len()), ("main", 1));
    say(
        &mut hands,
        Message::SpreadAt {
            step: "currents",
            done: 0.5,
        },
    );
    hands.wait(6.0);
    let told = hands.text(80, 24);
    assert!(
        told.contains("currents ... 50 %, about 6 s left; - or Esc gives up"),
        "{told}"
    );
    assert!(hands.effects("Enter").is_empty(), "it is asked once");
    assert_eq!(hands.effects("Esc"), [Effect::StopSpread]);
    assert!(hands.model.spreads.solving.is_none());
    // Every piece is asked for; one without a print is named.
    hands.keys("w");
    assert!(
        hands
            .text(80, 24)
            .contains("left out for want of a print: plain")
    );
}

#[test]
fn pieces_that_hang_together_are_asked_for_together() {
    let mut hands = evening();
    for piece in &mut hands.model.project.definition.pieces {
        piece.mesh = Some(MeshRef {
            file: format!("meshes/{}.stl", piece.name),
            unit: None,
            sha256: None,
        });
    }
    let names = |hands: &Hands| hands.model.spread_asked().unwrap().pieces;
    hands.select("stem");
    hands.keys("x");
    assert_eq!(names(&hands), ["stem", "leaf-1"], "both are in the tank");
    hands.select("arm");
    assert_eq!(names(&hands), ["arm"], "it hangs nowhere yet");
    hands.keys("w");
    assert_eq!(names(&hands).len(), 7);
}

#[test]
fn figures_come_first_and_say_what_they_rest_on() {
    let hands = solved(&["leaf"]);
    let told = hands.text(120, 50);
    for part in [
        "predicted 0.133 ohm +-1.2 %",
        "0.400 V drive 3.00 A",
        "100 %",
        "0.17x",
        "5.0x",
        "0.30-2.4",
        "8123 panels",
        "residual 3e-7",
        "balances to 0.0020 %",
        "a zone within 3.1",
        "? assumed: 25 S/m",
        "tip",
        "upper",
        "< mean 40 um",
    ] {
        assert!(told.contains(part), "{part}: {told}");
    }
    let small = hands.text(80, 24);
    for part in [
        "predicted 0.133 ohm",
        "? assumed: where pieces hang, conductivity",
        "tip",
        "leaf",
    ] {
        assert!(small.contains(part), "{part}: {small}");
    }
    assert!(hands.text(40, 20).contains("leaf"));
}

#[test]
fn the_list_moves_the_probe_and_the_probe_tells_the_figure() {
    let mut hands = solved(&["leaf"]);
    assert!(!hands.text(120, 50).contains("in the tank"));
    hands.keys("Down");
    let tip = hands.text(120, 50);
    assert!(
        tip.contains("leaf, tip: predicted 5.00 A/dm2, 5.0x the mean"),
        "as the list tells it: {tip}"
    );
    hands.keys("Down");
    let shadow = hands.text(120, 50);
    assert!(
        shadow.contains("0.1") && shadow.contains("lower"),
        "{shadow}"
    );
    hands.keys("*");
    assert!(matches!(hands.top(), Some(Layer::Spread(_))));
    let before = hands.text(80, 24);
    hands.keys("6");
    assert_ne!(hands.text(80, 24), before, "it is turned");
    hands.keys("* 2 2 *");
    let beside = hands.text(80, 24);
    assert!(
        beside.contains("leaf, this triangle: predicted"),
        "{beside}"
    );
    hands.keys("+ +");
    assert!(hands.text(80, 24).contains("times"));
    hands.keys("0");
    assert!(hands.text(80, 24).contains("upper"));
    let density = hands.text(80, 24);
    assert!(hands.text(120, 40).contains("z thickness"));
    hands.keys("z");
    assert_ne!(hands.text(80, 24), density, "the legend is in um");
    assert!(hands.text(120, 40).contains("z density"));
    hands.keys("Esc");
    assert!(hands.top().is_none());
    // The target is 40 um: five times as much at the tip.
    assert!(
        hands.text(120, 50).contains("200 um"),
        "{}",
        hands.text(120, 50)
    );
}

#[test]
fn a_result_stays_and_says_that_it_is_stale_and_what_the_change_did() {
    let mut hands = solved(&["leaf"]);
    assert!(!hands.text(80, 24).contains("stale"));
    let mut definition = hands.model.project.definition.clone();
    definition.pieces[0].hangs = Some(Hangs {
        at: [120.0, 100.0, 150.0].map(|mm| MM.of(mm)),
        turn: [1.0, 0.0, 0.0, 0.0],
    });
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    say(&mut hands, Message::Project(Box::new(project)));
    let told = hands.text(80, 24);
    assert!(
        told.contains("stale") && told.contains("0.133 ohm"),
        "{told}"
    );
    let work = asked(&mut hands);
    answer(&mut hands, work, 3.0);
    hands.keys("*");
    let told = hands.text(120, 40);
    assert!(told.contains("before ") && told.contains("now "), "{told}");
    hands.keys(".");
    assert!(
        !hands.text(120, 40).contains("before "),
        "what is now alone"
    );
    hands.keys(". Esc");
    let told = hands.text(120, 50).replace('\n', " ");
    assert!(!told.contains("stale"), "{told}");
    assert!(told.contains("was "), "the areas before: {told}");
    assert!(
        told.contains("the change made least/mean 0.17x -> 0.17x, most/mean 5.0x"),
        "{told}"
    );
    assert!(told.contains("-> 3.0x"), "{told}");
    say(&mut hands, Message::SpreadChanged("main".to_owned()));
    assert!(
        hands.text(80, 24).contains("stale"),
        "a print's file is another"
    );
    let why = "`leaf` goes through the wall".to_owned();
    say(
        &mut hands,
        Message::SpreadSolved {
            tank: "main".into(),
            result: Err(why),
        },
    );
    let told = hands.text(80, 24);
    assert!(
        told.contains("goes through the wall") && told.contains("0.133 ohm"),
        "{told}"
    );
}

#[test]
fn a_turn_after_the_evenness_was_set_is_said_until_the_file_tells_it() {
    let mut hands = evening();
    for piece in &mut hands.model.project.definition.pieces {
        piece.mesh = Some(MeshRef {
            file: format!("meshes/{}.stl", piece.name),
            unit: None,
            sha256: None,
        });
    }
    hands.select("stem");
    hands.keys("x");
    let work = asked(&mut hands);
    let pieces: Vec<&str> = work.pieces.iter().map(String::as_str).collect();
    let definition = &mut hands.model.project.definition;
    let of = PredictedFor {
        tank: work.tank.clone(),
        pieces: work.pieces.clone(),
        scene: definition.scene_digest(&work.tank, &pieces).unwrap(),
        at: hands.now,
    };
    let mut all = definition.pieces.iter_mut();
    let stem = all.find(|piece| piece.name == "stem").unwrap();
    stem.evenness = Some(Evenness {
        least: 0.5,
        most: 2.0,
        because: String::new(),
        of: Some(of),
    });
    let work = hands.model.spread_asked().unwrap();
    answer(&mut hands, work, 5.0);
    assert!(!hands.text(120, 40).contains("stale"));
    hands.wait(60.0);
    let turn = What::Turn {
        piece: "stem".into(),
        text: "tip down".into(),
    };
    hands.did(turn, "mira");
    let told = hands.text(120, 40).replace('\n', " ");
    assert!(
        told.contains("stale: turn stem: tip down, since it was set"),
        "{told}"
    );
}

#[test]
fn the_wires_of_a_piece_are_told_apart_by_their_own_names() {
    let mut hands = hands_of(&["long-leaf"]);
    let work = asked(&mut hands);
    let wires = ["hook", "thief", "thief-1"].map(|lead| format!("long-leaf {lead}"));
    let pieces = [work.pieces.clone(), wires.to_vec()].concat();
    answer(&mut hands, SpreadWork { pieces, ..work }, 5.0);
    let told = hands.text(80, 40);
    for name in ["long-l… hook ", "long-… thief ", "lon… thief-1 "] {
        assert!(told.contains(name), "{name}: {told}");
    }
}

#[test]
fn another_bubble_makes_it_stale_and_little_more_current_does_not() {
    let mut hands = solved(&["leaf"]);
    let mut with = |change: &dyn Fn(&mut Definition)| {
        let mut definition = hands.model.project.definition.clone();
        change(&mut definition);
        let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
        say(&mut hands, Message::Project(Box::new(project)));
        hands.text(80, 24).contains("stale")
    };
    let amps = |amps: f64| {
        move |definition: &mut Definition| {
            definition.tanks[0].supply.holds = Some(Setting::Amps(A.of(amps)));
        }
    };
    assert!(!with(&|_| {}));
    assert!(with(&|definition| definition.bubble = MM.of(2.0)));
    assert!(with(&amps(50.0)));
    let usual = with(&|definition| {
        definition.bubble = MM.of(0.5);
        definition.tanks[0].supply.holds = None;
    });
    assert!(!usual, "all is as it was");
}

#[test]
fn a_current_that_flows_goes_before_what_the_ladder_says() {
    let mut hands = evening();
    for piece in &mut hands.model.project.definition.pieces {
        piece.mesh = Some(MeshRef {
            file: format!("meshes/{}.stl", piece.name),
            unit: None,
            sha256: None,
        });
    }
    let amps = |hands: &Hands| {
        let flow = hands.model.spread_asked().unwrap().flow;
        flow.map(|flow| (flow.amps.to(A), flow.is_set))
    };
    hands.select("stem");
    hands.keys("x");
    // Both are in their build, the supply is set to 2.8 A.
    assert_eq!(amps(&hands), Some((2.8, true)));
    assert!(!hands.text(120, 40).contains("current, "), "it is told");
    let work = hands.model.spread_asked().unwrap();
    let unread = [[0.0; 3], [1.0; 3]];
    let pieces = work.pieces.iter();
    let pieces = pieces.map(|name| (work.definition.piece(name).unwrap(), unread));
    let pieces: Vec<_> = pieces.collect();
    let tank = work.definition.tank(&work.tank).unwrap();
    let (scene, said) = work.definition.whole_scene(tank, &pieces, work.flow);
    assert_eq!(scene.supply, Some(Supply::Amps(2.8)));
    assert!(
        said.iter()
            .any(|said| said.starts_with("supply: 2.80 A, as set at")),
        "{said:?}"
    );
    // A piece that does not hang there has no part of it, nor have all with it.
    hands.keys("w");
    assert_eq!(amps(&hands), None);
    hands.keys("w");
    // Read an hour and more ago, where no supply holds it: not known any more.
    let read = What::Reading {
        tank: "main".into(),
        volts: V.of(0.9),
        amps: A.of(3.1),
        celsius: None,
        mode: Some(Mode::Cv),
        piece: None,
    };
    hands.did(read, "mira");
    assert_eq!(amps(&hands), Some((3.1, false)));
    hands.wait(3700.0);
    assert_eq!(amps(&hands), None);
}

#[test]
fn imperial_figures_are_told_in_mil() {
    let mut hands = solved(&["leaf"]);
    hands.model.project.definition.units = System::Imperial;
    hands.keys("z");
    let told = hands.text(120, 50);
    assert!(told.contains("area by mil at the target charge"), "{told}");
    assert!(told.contains("< mean 1.6 mil"), "40 um: {told}");
    hands.keys("*");
    assert!(hands.text(120, 40).contains(" mil"));
}

#[test]
fn walls_anodes_shields_and_wires_stand_around_the_pieces() {
    let mut hands = solved(&["leaf"]);
    for theme in [Theme::new(false, true), Theme::new(true, false)] {
        let drawn = hands.drawn(120, 40, theme);
        assert!(drawn.contains("A anode S shield w wire t thief"), "{drawn}");
        assert!(drawn.contains("AAA") || drawn.contains("A A"), "{drawn}");
    }
    hands.keys("*");
    for theme in [Theme::new(false, true), Theme::new(false, false)] {
        let drawn = hands.drawn(120, 40, theme);
        for letter in ['A', 'S', 'w', 't'] {
            let lines = drawn.lines().skip(5).take(30);
            let count = lines.filter(|line| line.contains(letter)).count();
            assert!(count > 3, "{letter}: {drawn}");
        }
        let wall = if drawn.is_ascii() { "'" } else { "\u{b7}" };
        assert!(drawn.contains(wall), "{drawn}");
    }
    // Close to the piece they are out of the picture.
    hands.keys("+ + + + + +");
    assert!(
        !hands
            .drawn(120, 40, Theme::new(false, true))
            .contains("AAAA")
    );
}

/// What a script of keys changes in `project.ron`.
fn tried(hands: &mut Hands, script: &str) -> SceneEdit {
    match hands.effects(script).as_slice() {
        [Effect::EditScene(edit)] => (**edit).clone(),
        other => panic!("{script}: {other:?}"),
    }
}

#[test]
fn a_change_is_tried_from_the_screen_and_taken_back() {
    let mut hands = solved(&["leaf"]);
    hands.keys("+ 3");
    assert!(hands.text(80, 24).contains("no probe is set"));
    hands.keys("- Down");
    let SceneEdit::AddLead(piece, thief) = tried(&mut hands, "+ 3 1 5 Enter 4 0 +") else {
        panic!("a thief");
    };
    assert!(piece == "leaf" && thief.thief && thief.name == "thief-1");
    let [a, b] = [0, 1].map(|n| thief.points[n].map(|side| side.to(MM)));
    assert!(
        (b[0] - a[0] - 40.0).abs() < 0.2,
        "40 mm left to right: {a:?} {b:?}"
    );
    assert!((a[2] - 255.5).abs() < 1.0, "15 mm above the top: {a:?}");
    let SceneEdit::AddShield(tank, shield) = tried(&mut hands, "+ 4 +") else {
        panic!("a shield");
    };
    assert_eq!((tank.as_str(), shield.facing), ("main", [0.0, 0.0, 1.0]));
    let SceneEdit::AddAnode(_, name, anode) = tried(&mut hands, "+ 5 4 +") else {
        panic!("an anode");
    };
    assert_eq!((name.as_str(), anode.facing), ("anode-1", [0.0, -1.0, 0.0]));
    let SceneEdit::Hang {
        to: Some(turned), ..
    } = tried(&mut hands, "+ 1 3 Enter 9 0 Enter")
    else {
        panic!("a turn");
    };
    let half = 0.5_f64.sqrt();
    assert!((turned.turn[0] - half).abs() < 1e-9 && (turned.turn[2] + half).abs() < 1e-9);
    let moved = tried(&mut hands, "+ 2 1 2 0 Enter +");
    let SceneEdit::Hang {
        to: Some(hangs), ..
    } = &moved
    else {
        panic!("a move");
    };
    assert!((hangs.at[0].to(MM) - 120.0).abs() < 1e-9);

    // What would stand outside the tank is not written.
    assert!(hands.effects("+ 3 2 0 0 +").is_empty());
    let told = hands.text(80, 24);
    assert!(told.contains("outside the tank"), "{told}");
    hands.keys("Esc Esc");

    // It is written: computed again, and can be taken back.
    let edit = tried(&mut hands, "+ 2 1 2 0 Enter +");
    let effects = written(&mut hands, &edit);
    assert!(
        matches!(effects.as_slice(), [Effect::Spread(_)]),
        "{effects:?}"
    );
    hands.keys("+");
    let told = hands.text(80, 24);
    assert!(
        told.contains("9 take back: leaf hangs where nothing says"),
        "{told}"
    );
    assert_eq!(tried(&mut hands, "9"), edit.back());

    // What somebody has moved since is not taken back over their head.
    hands.keys("-");
    hang_at(&mut hands, [70.0, 90.0, 110.0]);
    hands.keys("+");
    let told = hands.text(80, 24);
    assert!(!told.contains("take back"), "{told}");
}

/// The keeper has written a change: the project is as it says, and the screen
/// hears of it.
fn written(hands: &mut Hands, edit: &SceneEdit) -> Vec<Effect> {
    let SceneEdit::Hang { to: Some(to), .. } = edit else {
        panic!("{edit:?}");
    };
    hang_at(hands, to.at.map(|side| side.to(MM)));
    let edited = Message::SceneEdited(Box::new(edit.clone()), Ok(()));
    update(&mut hands.model, edited, hands.now)
}

/// In `project.ron` the piece hangs there by now.
fn hang_at(hands: &mut Hands, at: [f64; 3]) {
    let mut definition = hands.model.project.definition.clone();
    definition.pieces[0].hangs = Some(Hangs {
        at: at.map(|mm| MM.of(mm)),
        turn: [1.0, 0.0, 0.0, 0.0],
    });
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    say(hands, Message::Project(Box::new(project)));
}

#[test]
fn the_keypad_alone_sets_what_was_computed() {
    let mut hands = hands_of(&["leaf"]);
    assert!(hands.effects("+ 6").is_empty());
    assert!(hands.text(80, 24).contains("compute it first"));
    hands.keys("-");
    let work = asked(&mut hands);
    answer(&mut hands, work, 5.0);
    let by_list = hands.effects("+ 6");
    assert!(
        matches!(by_list.as_slice(), [Effect::TakeSpread { tank, .. }] if tank == "main"),
        "{by_list:?}"
    );
    assert_eq!(by_list, hands.effects("s"), "as its letter does");
}

#[test]
fn another_piece_is_not_shown_as_what_was_before() {
    let mut hands = solved(&["leaf", "stem"]);
    hands.select("stem");
    let work = asked(&mut hands);
    assert_eq!(work.pieces, ["stem"]);
    answer(&mut hands, work, 3.0);
    assert!(hands.model.spread_before().is_none());
    assert!(hands.model.spread_known().unwrap().change("stem").is_none());
}

#[test]
fn what_was_computed_is_written_as_each_form() {
    let mut hands = solved(&["leaf"]);
    for (digit, form) in [
        ("1", Form::Ply),
        ("2", Form::Vtu),
        ("3", Form::Csv),
        ("4", Form::Png),
    ] {
        let effects = hands.effects(&format!("+ 7 {digit} Enter"));
        let tank = "main".to_owned();
        assert_eq!(effects, [Effect::WriteSpread { tank, form }]);
    }
}

#[test]
fn a_tried_change_keeps_comments_and_its_way_back_leads_back() {
    let holds = tempfile::tempdir().unwrap();
    let path = holds.path().join("p");
    let text = "// about it\n(\n    format: 1,\n    name: \"p\",\n    metal: \"copper-acid\",\n    \
                target: Mean(\"40um\"),\n    tanks: [\n        // the blue one\n        (name: \"main\"),\n    \
                ],\n    pieces: [(name: \"leaf\", area: \"1dm2\")], // all of them\n)\n";
    let mut folder = Folder::create(&path, text, "2026-03-02T17:00:00Z".parse().unwrap()).unwrap();
    let mut hands = solved(&["leaf"]);
    hands.keys("Down");
    let edits = ["+ 1 +", "+ 2 +", "+ 3 +", "+ 4 +", "+ 5 +"].map(|keys| tried(&mut hands, keys));
    let kept = edits.clone();
    for edit in edits {
        let before = folder.project().definition.clone();
        let back = edit.back();
        folder.edit_scene(&edit).unwrap();
        assert_ne!(folder.project().definition, before, "{edit:?}");
        folder.edit_scene(&back).unwrap();
        assert_eq!(folder.project().definition, before, "{edit:?}");
        if !matches!(edit, SceneEdit::Hang { .. }) {
            folder.edit_scene(&edit).unwrap();
        }
    }
    let text = std::fs::read_to_string(path.join("project.ron")).unwrap();
    for comment in ["// about it", "// the blue one", "// all of them"] {
        assert!(text.contains(comment), "{text}");
    }
    // What was changed by hand since is neither gone over nor taken off.
    let by_hand = "(at: (\"1cm\", \"2cm\", \"3cm\"))";
    for (path, value) in [
        ("pieces.leaf.hangs", by_hand),
        ("pieces.leaf.leads.thief-1.diameter", "4mm"),
        ("tanks.main.shields.0.thickness", "9mm"),
        ("tanks.main.anodes.anode-1.carries", "5A"),
    ] {
        folder.set(path, value).unwrap();
    }
    let before = folder.project().definition.clone();
    let [turn, _, thief, shield, anode] = &kept;
    let others = [turn.clone(), thief.back(), shield.back(), anode.back()];
    for edit in others {
        let error = folder.edit_scene(&edit).unwrap_err();
        assert!(error.message.contains("another"), "{edit:?}: {error:?}");
    }
    assert_eq!(folder.project().definition, before);
}

#[test]
fn the_lamps_scene_file_asks_what_its_project_asks() {
    let lamp = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-projects/fern-lamp");
    let text = |name: &str| std::fs::read_to_string(lamp.join(name)).unwrap();
    let definition = Definition::parse(&text("project.ron")).unwrap();
    let file: Scene = serde_json::from_str(&text("scene.json")).unwrap();
    let pieces: Vec<_> = file
        .bodies
        .iter()
        .map(|body| {
            let bytes = std::fs::read(lamp.join(&body.mesh)).unwrap();
            let print = tankside::mesh::read(&bytes).unwrap();
            let unit = tankside::mesh::LengthUnit::Mm;
            let around = tankside::spreading::box_mm(&print, unit);
            (definition.piece(&body.name).unwrap(), around)
        })
        .collect();
    let (told, _) = definition.whole_scene(&definition.tanks[0], &pieces, None);
    for (of_file, of_project) in file.bodies.iter().zip(&told.bodies) {
        for axis in 0..3 {
            let off = of_file.move_mm[axis] - of_project.move_mm[axis];
            assert!(off.abs() < 1e-3, "{}: {off}", of_file.name);
        }
    }
    let mut alike = told.clone();
    alike.supply = file.supply;
    for (body, of_file) in alike.bodies.iter_mut().zip(&file.bodies) {
        body.move_mm = of_file.move_mm;
    }
    for (shield, of_file) in alike.shields.iter_mut().zip(&file.shields) {
        shield.name.clone_from(&of_file.name);
    }
    let json = |scene: &Scene| serde_json::to_string(scene).unwrap();
    let rounded = |scene: &Scene| {
        // Lengths come from metres: their last digits are not those of mm.
        let words = json(scene);
        let words = words.split([',', '[', ']', '{', '}', ':']);
        let words = words.map(|word| match word.parse::<f64>() {
            Ok(number) => format!("{number:.6}"),
            Err(_) => word.to_owned(),
        });
        words.collect::<Vec<String>>()
    };
    assert_eq!(rounded(&alike), rounded(&file));
}

#[test]
fn a_result_of_other_pieces_says_of_which() {
    let mut hands = solved(&["leaf", "stem"]);
    hands.keys("Right");
    let told = hands.text(80, 24);
    assert!(
        told.contains("this is of leaf; Enter computes it for stem"),
        "{told}"
    );
}

#[test]
fn more_and_less_are_told_without_any_colour() {
    let mut hands = solved(&["leaf"]);
    hands.keys("*");
    for theme in [Theme::new(false, true), Theme::new(false, false)] {
        let drawn = hands.drawn(80, 30, theme);
        let lines: Vec<&str> = drawn.lines().collect();
        let at = |glyph: char| {
            // Below the due list, above the legend.
            let body = lines.iter().enumerate().skip(5).take(18);
            let mut found = body.filter(|(_, line)| line.contains(glyph));
            found.next().map(|(n, _)| n)
        };
        let (most, least) = (at('@'), at(':'));
        assert!(most.is_some() && least.is_some(), "{drawn}");
        assert!(most < least, "the top gets most: {drawn}");
    }
    assert!(hands.drawn(80, 30, Theme::new(false, true)).is_ascii());
}

#[test]
fn the_picture_is_lighter_where_more_goes() {
    let mut hands = solved(&["leaf"]);
    hands.keys("*");
    hands.model.prints.pictures = true;
    let theme = Theme::with(Colours::Dark, false);
    let screen = ratatui::layout::Rect::new(0, 0, 80, 30);
    assert!(picture_place(&hands.model, &theme, screen).is_some());
    hands.keys("+ + + +");
    let image = picture(&hands.model, &theme, (200, 200)).unwrap();
    let grey = |line: usize| {
        let rgb = image.dots[line * 200 + 100].unwrap();
        (rgb >> 16 & 0xff) + (rgb >> 8 & 0xff) + (rgb & 0xff)
    };
    assert!(grey(60) > grey(100) && grey(100) > grey(140));
}

#[test]
fn forty_pieces_stay_readable() {
    let names: Vec<String> = (0..40).map(|n| format!("leaf-{n}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut hands = hands_of(&names);
    hands.keys("w");
    let work = asked(&mut hands);
    assert_eq!(work.pieces.len(), 40);
    answer(&mut hands, work, 5.0);
    hands.keys("Right Right Right");
    let told = hands.text(80, 40);
    assert!(
        told.contains("40 pieces") && told.contains("> leaf-3"),
        "{told}"
    );
    assert!(told.contains("32 more: Left Right"), "{told}");
}

#[test]
fn every_size_is_drawn() {
    let mut hands = hands_of(&["leaf"]);
    hands.draw_up_to(100, 16);
    let work = asked(&mut hands);
    answer(&mut hands, work, 5.0);
    hands.keys("Down");
    let some = || {
        let widths = (0..=140).step_by(3);
        widths.flat_map(|w| (0..=50).step_by(9).map(move |h| (w, h)))
    };
    hands.draw_at(some());
    hands.keys("* 3");
    hands.draw_at(some());
}

#[test]
fn spread_at_every_size() {
    let mut hands = hands_of(&["leaf"]);
    each_size("spread_not_yet", &hands);
    let work = asked(&mut hands);
    answer(&mut hands, work, 5.0);
    each_size("spread", &hands);
    hands.keys("Down");
    let shown = hands.shown(80, 24, Theme::new(false, true));
    snapshot("spread_probe_80x24_ascii", &shown);
    hands.keys("*");
    each_size("spread_picture", &hands);
}

fn each_size(name: &str, hands: &Hands) {
    for (width, height) in [(80, 24), (120, 40), (40, 20)] {
        let shown = hands.shown(width, height, Theme::new(true, false));
        snapshot(&format!("{name}_{width}x{height}"), &shown);
    }
    let grey = hands.shown(80, 24, Theme::new(false, false));
    snapshot(&format!("{name}_80x24_mono"), &grey);
}
