//! Where the metal goes, on the screen: what is asked, told and drawn, and what
//! the keys do there.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::screens_support::*;
use tankside::field::scene::{BodySpread, Cell, Flows, Kind, Place, Spread};
use tankside::project::{Hangs, MeshRef, Project};
use tankside::tui::app::{Effect, Layer, Message, Model, Seen, SpreadWork, update};
use tankside::tui::view::{Colours, Theme, picture, picture_place};
use tankside::units::MM;

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
    let seen = Arc::new(Seen::of(work, (&outline_scene(), spread), assumed));
    say(
        hands,
        Message::SpreadSolved {
            tank,
            result: Ok(seen),
        },
    );
}

fn ball(name: &str, n: f64, top: f64, of: usize) -> BodySpread {
    const BANDS: usize = 24;
    let centre = [100.0 * n, 0.0, 200.0];
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
        [[a, c, b], [b, c, d]]
    });
    let cells = (0..).zip(triangles).map(|(triangle, corners_mm)| Cell {
        triangle,
        corners_mm,
        area_mm2: 1.0,
        i_a_dm2: over((corners_mm[0][2] + corners_mm[1][2] + corners_mm[2][2]) / 3.0),
    });
    let place = |what: &str, up: f64, over_mean: f64| Place {
        what: what.to_owned(),
        at_mm: [centre[0], 0.0, 200.0 + up],
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
        told.contains("currents ... 50 %, about 6 s left; Esc gives up"),
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
        tip.contains("A/dm2, 4.") || tip.contains("5.0x the mean"),
        "{tip}"
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
    hands.keys("+ +");
    assert!(hands.text(80, 24).contains("times"));
    hands.keys("0");
    assert!(hands.text(80, 24).contains("upper"));
    let density = hands.text(80, 24);
    hands.keys("z");
    assert_ne!(hands.text(80, 24), density, "the legend is in um");
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
    let told = hands.text(120, 50).replace('\n', " ");
    assert!(!told.contains("stale"), "{told}");
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
    let image = picture(&hands.model, &theme, (200, 200)).unwrap();
    let grey = |line: usize| {
        let rgb = image.dots[line * 200 + 100].unwrap();
        (rgb >> 16 & 0xff) + (rgb >> 8 & 0xff) + (rgb & 0xff)
    };
    assert!(grey(30) > grey(100) && grey(100) > grey(170));
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
