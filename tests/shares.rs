//! Shares of a tank's current that a field predicts: the charge goes by them
//! from their instant on, until what they are of is changed.

use std::collections::BTreeMap;

use crate::support::bench::{Bench, close, piece};
use tankside::project::{
    Action, BathWork, ContactChange, Definition, Evenness, Event, PieceShare, PredictedFor,
    Project, ShareBy, Stage, What, When,
};
use tankside::units::{A, AH, DM2, UM};

/// `n F rho / M` of copper, Ah per dm² and µm, as in `evening.rs`.
const AH_PER_DM2_UM: f64 = 0.075_58;

/// Bell (6 dm²) and handle (3 dm²) covered in one tank at 3 A from 19:00 on.
fn hanging() -> Bench {
    let mut b = Bench::new(vec![piece("bell", 6.0), piece("handle", 3.0)]);
    b.prepared("bell").prepared("handle");
    b.look("bell", "covered").look("handle", "covered");
    b.clock("19:00").amps(3.0);
    b.start("bell", Stage::Strike)
        .start("handle", Stage::Strike);
    b
}

fn scene(definition: &Definition) -> String {
    definition
        .scene_digest("main", &["bell", "handle"])
        .unwrap()
}

/// 0.7 and 0.3 of the current, a tenth of the bell's on its wires.
fn shares(scene: &str) -> What {
    let of = |piece: &str, share, wire| PieceShare {
        piece: piece.into(),
        share,
        wire,
    };
    What::Shares {
        tank: "main".into(),
        shares: vec![of("bell", 0.7, 0.1), of("handle", 0.3, 0.0)],
        rel: 0.04,
        scene: scene.into(),
        result: String::new(),
    }
}

fn turn(piece: &str) -> What {
    What::Turn {
        piece: piece.into(),
        text: "upside down".into(),
    }
}

/// By area for an hour, by the field for an hour, then the handle is turned.
fn turned() -> Bench {
    let mut b = hanging();
    let scene = scene(&b.project.definition);
    b.clock("20:00").read(1.0, 3.0).did(shares(&scene));
    b.clock("21:00").read(1.0, 3.0).did(turn("handle"));
    b.clock("22:00").read(1.0, 3.0);
    b
}

#[test]
fn the_charge_goes_by_the_field_until_a_piece_is_turned() {
    let b = turned();
    // By hand, 3 Ah an hour: 2/3 + 0.7 + 2/3 and 1/3 + 0.3 + 1/3 of them.
    close(b.ah("bell").0, 2.0 + 2.1 + 2.0, 1e-9);
    close(b.ah("handle").0, 1.0 + 0.9 + 1.0, 1e-9);
    let bell = b.figures("bell");
    close(bell.charge_by_field.to(AH), 2.1, 1e-9);
    // By area the bell has no wires; by the field a tenth of 2.1 Ah is on them.
    let thickness = bell.thickness.unwrap();
    close(
        thickness.value.to(UM),
        (4.0 + 1.89) / 6.0 / AH_PER_DM2_UM,
        1e-4,
    );
    // 0.115 of 4 Ah and 0.04 of 2.1 Ah, one piece's shares; 1 % of the meter.
    let standard = (0.115_f64 * 4.0 + 0.04 * 2.1).hypot(0.01 * 6.1);
    close(bell.charge.unwrap().pm().to(AH), 2.0 * standard, 1e-6);
}

#[test]
fn what_tells_the_shares_is_told_and_why_it_ended() {
    let mut b = hanging();
    assert_eq!(b.figures("bell").share_by, Some(ShareBy::Area));
    assert_eq!(b.figures("bell").shares_ended, None);
    close(b.figures("bell").amps.unwrap().to(A), 2.0, 1e-9);
    let scene = scene(&b.project.definition);
    b.did(shares(&scene));
    let bell = b.figures("bell");
    assert_eq!(bell.share_by, Some(ShareBy::Field));
    close(bell.amps.unwrap().to(A), 2.1, 1e-9);
    let without = b
        .project
        .state()
        .current_without(&b.project.definition, "bell");
    close(without.unwrap().1.to(A), 0.9, 1e-9);
    // What is still wanted goes by the field: a tenth lands on wires.
    let wanted = 40.0 * 6.0 * AH_PER_DM2_UM / 0.9;
    close(bell.charge_target.unwrap().value.to(AH), wanted, 1e-4);
    b.clock("19:20");
    let told = b.project.decide(&Action::now(turn("bell"), "Ida"), b.now);
    assert!(told.unwrap().warnings[0].contains("shares of main end here"));
    b.did(turn("bell"));
    assert_eq!(b.figures("handle").share_by, Some(ShareBy::Area));
    let ended = b.figures("handle").shares_ended.unwrap();
    assert!(
        ended.contains("by area since 19:20") && ended.contains("turn bell"),
        "{ended}"
    );
}

#[test]
fn whatever_changes_the_scene_ends_them() {
    let contact = |change| What::Contact {
        piece: "bell".into(),
        change,
        text: String::new(),
    };
    let moved = What::Bath {
        tank: "main".into(),
        work: BathWork::Moved("left anode".into()),
    };
    let lift = What::Lift {
        piece: "handle".into(),
    };
    let none = What::Shares {
        tank: "main".into(),
        shares: Vec::new(),
        rel: 0.0,
        scene: String::new(),
        result: String::new(),
    };
    for (what, ends) in [
        (turn("bell"), true),
        (contact(ContactChange::Moved), true),
        (contact(ContactChange::Added), true),
        (contact(ContactChange::Loosened), false),
        (moved, true),
        (none, true),
        (lift, true),
        (
            What::Note {
                piece: "bell".into(),
                text: "bright".into(),
            },
            false,
        ),
    ] {
        let mut b = hanging();
        b.did(shares("")).clock("19:10").did(what.clone());
        let holds = b.project.state().field_shares("main").is_some();
        assert_eq!(holds, !ends, "{what}");
    }
    // A piece that comes back may hang otherwise.
    let mut b = hanging();
    b.did(shares("")).clock("19:10").lift("handle");
    b.clock("19:12").back("handle", false);
    assert_eq!(b.figures("bell").share_by, Some(ShareBy::Area));
    assert!(
        b.figures("bell")
            .shares_ended
            .unwrap()
            .contains("lift handle")
    );
    // Who hangs in the tank once it was empty has nothing to do with it.
    for name in ["bell", "handle"] {
        b.did(What::Rework {
            piece: name.into(),
            stage: Stage::Wiring,
            because: "thin".into(),
        });
        b.did(What::Skip {
            piece: name.into(),
            stage: Stage::Wiring,
            because: "wired".into(),
        });
    }
    b.tick_all("bell", &Stage::Strike, When::Start)
        .start("bell", Stage::Strike);
    b.tick_all("handle", &Stage::Strike, When::Start)
        .start("handle", Stage::Strike);
    assert_eq!(b.project.state().in_circuit_of("main"), ["bell", "handle"]);
    assert_eq!(b.figures("bell").shares_ended, None);
    // A supply that is off for a while moves nothing.
    let mut b = hanging();
    b.did(shares(""))
        .clock("19:10")
        .off()
        .clock("19:12")
        .amps(2.0);
    close(b.figures("bell").amps.unwrap().to(A), 1.4, 1e-9);
}

#[test]
fn shares_of_others_or_of_more_than_all_are_refused() {
    let mut b = hanging();
    b.clock("19:10").lift("handle");
    assert_eq!(b.refused(shares("")).rule, "other-pieces");
    let mut much = shares("");
    if let What::Shares { shares, .. } = &mut much {
        shares[0].share = 0.8;
    }
    assert_eq!(hanging().refused(much).rule, "no-shares");
    // A lift that is written down late makes them void, not impossible.
    let mut b = hanging();
    b.clock("19:10").did(shares(""));
    b.clock("19:20");
    let lift = What::Lift {
        piece: "handle".into(),
    };
    let late = Action {
        at: Some(b.now.plus_seconds(-900.0)),
        ..Action::now(lift, "Ida")
    };
    b.try_action(&late).unwrap();
    assert!(b.project.state().field_shares("main").is_none());
}

fn under(b: &Bench, change: impl FnOnce(&mut Definition)) -> Project {
    let mut definition = b.project.definition.clone();
    change(&mut definition);
    let events: Vec<Event> = b.project.events().to_vec();
    Project::new(definition, events, BTreeMap::new()).unwrap()
}

#[test]
fn a_fold_from_nothing_is_the_same_and_another_area_makes_open_shares_void() {
    let b = turned();
    assert_eq!(under(&b, |_| {}).state(), b.project.state());
    let mut open = hanging();
    let scene = scene(&open.project.definition);
    open.did(shares(&scene)).clock("20:00").read(1.0, 3.0);
    close(open.ah("bell").0, 2.1, 1e-9);
    let mut other = Bench {
        project: under(&open, |definition| {
            definition.pieces[0].area = Some(DM2.of(9.0));
        }),
        now: open.now,
    };
    close(other.ah("bell").0, 3.0 * 9.0 / 12.0, 1e-9);
    let ended = other.figures("bell").shares_ended.unwrap();
    assert!(ended.contains("another scene"), "{ended}");
    // What a recorded change has ended is history: it counts as it was told.
    other.project = under(&turned(), |definition| {
        definition.pieces[0].area = Some(DM2.of(9.0));
    });
    other.clock("22:00");
    close(other.ah("bell").0, 2.25 + 2.1 + 2.25, 1e-9);
}

#[test]
fn evenness_is_stale_after_a_turn_an_anode_moved_or_another_print() {
    let mut b = hanging();
    let of = PredictedFor {
        tank: "main".into(),
        pieces: vec!["bell".into(), "handle".into()],
        scene: scene(&b.project.definition),
        at: b.now,
    };
    let even = Evenness {
        least: 0.4,
        most: 2.0,
        because: String::new(),
        of: Some(of),
    };
    b.project = under(&b, |definition| {
        definition.pieces[0].evenness = Some(even);
    });
    let stale = |b: &Bench| {
        let state = b.project.state();
        state.stale_evenness(&b.project.definition, "bell")
    };
    assert_eq!(stale(&b), None);
    let inside = Some([40.0, 25.0, 30.0].map(|cm| tankside::units::CM.of(cm)));
    for change in [
        &(|d: &mut Definition| d.pieces[1].area = Some(DM2.of(3.3))) as &dyn Fn(&mut Definition),
        &|d: &mut Definition| d.tanks[0].inside = inside,
    ] {
        let project = under(&b, change);
        let other = Bench {
            project,
            now: b.now,
        };
        assert!(stale(&other).unwrap().contains("another scene"));
    }
    b.clock("19:30").did(turn("handle"));
    let why = stale(&b).unwrap();
    assert!(
        why.contains("turn handle") && why.contains("compute Spread again"),
        "{why}"
    );
}
