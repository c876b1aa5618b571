//! Laws that hold for any sequence of actions.

use crate::support::bench::{Bench, piece};
use proptest::prelude::*;
use tankside::project::{
    Action, BathWork, Finding, PieceFigures, PieceShare, Project, Setting, Stage, StageState,
    TankFigures, What,
};
use tankside::units::{A, AH, ML, OHM, V};

/// One thing that a hand at the bench might try; most are refused.
fn any_what() -> impl Strategy<Value = What> {
    let name = prop_oneof![Just("bell".to_owned()), Just("handle".to_owned())];
    let stage = prop::sample::select(Stage::default_route());
    let findings = prop::sample::select(vec![
        "ok",
        "covered",
        "covered:50%",
        "bare:10%@rim",
        "bare",
        "nodules",
    ]);
    let tank = || "main".to_owned();
    prop_oneof![
        6 => (name.clone(), stage.clone()).prop_map(|(piece, stage)| What::Start { piece, stage, tank: None }),
        5 => name.clone().prop_map(|piece| What::Finish { piece }),
        1 => name.clone().prop_map(|piece| What::Pause { piece }),
        1 => name.clone().prop_map(|piece| What::Resume { piece }),
        1 => (name.clone(), stage.clone()).prop_map(|(piece, stage)| What::Rework { piece, stage, because: "thin".into() }),
        1 => (name.clone(), stage).prop_map(|(piece, stage)| What::Skip { piece, stage, because: "no need".into() }),
        2 => name.clone().prop_map(|piece| What::Lift { piece }),
        2 => (name.clone(), any::<bool>()).prop_map(|(piece, dipped)| What::Return { piece, dipped }),
        1 => name.clone().prop_map(|piece| What::TouchUp { piece, place: "rim".into() }),
        3 => (name.clone(), findings).prop_map(|(piece, f)| What::Look { piece, findings: vec![f.parse::<Finding>().unwrap()] }),
        1 => name.clone().prop_map(|piece| What::Ohms { piece, resistance: OHM.of(200.0), place: None }),
        1 => name.clone().prop_map(|piece| What::Coat { piece }),
        1 => name.clone().prop_map(|piece| What::Wipe { pieces: vec![piece] }),
        4 => (0.0..6.0_f64, prop::option::of(name)).prop_map(move |(amps, piece)| What::Reading {
            tank: tank(), volts: V.of(0.5), amps: A.of((amps * 100.0).round() / 100.0), celsius: None, mode: None, piece,
        }),
        2 => (0.1..6.0_f64).prop_map(move |amps| What::Supply { tank: "main".into(), to: Setting::Amps(A.of((amps * 100.0).round() / 100.0)) }),
        1 => Just(What::Supply { tank: "main".into(), to: Setting::Volts(V.of(0.5)) }),
        1 => Just(What::Supply { tank: "main".into(), to: Setting::Off }),
        1 => Just(What::Bath { tank: "main".into(), work: BathWork::Dose(ML.of(5.0)) }),
        1 => Just(What::Bath { tank: "main".into(), work: BathWork::Moved("left anode".into()) }),
        3 => any_shares(),
        1 => prop::sample::select(vec!["bell", "handle"]).prop_map(|piece| What::Turn { piece: piece.into(), text: "over".into() }),
        1 => Just(What::Undo { sequence: 0 }),
        1 => Just(What::Redo { sequence: 0 }),
    ]
}

/// Shares of both pieces, or of one alone.
fn any_shares() -> impl Strategy<Value = What> {
    prop_oneof![2 => 0.1..0.9_f64, 1 => Just(1.0)].prop_map(|share| {
        let of = |(piece, share): (&str, f64)| PieceShare {
            piece: piece.into(),
            share,
            wire: 0.1,
        };
        let both = [("bell", share), ("handle", 1.0 - share)];
        let told = both.into_iter().filter(|(_, share)| *share > 0.0);
        What::Shares {
            tank: "main".into(),
            shares: told.map(of).collect(),
            rel: 0.04,
            scene: String::new(),
            result: String::new(),
        }
    })
}

/// What, minutes since the last one, minutes back-dated.
fn any_evening() -> impl Strategy<Value = Vec<(What, f64, f64)>> {
    let back = prop_oneof![8 => Just(0.0), 1 => 1.0..90.0_f64];
    prop::collection::vec((any_what(), 0.0..40.0_f64, back), 1..60)
}

fn live(evening: Vec<(What, f64, f64)>) -> Bench {
    let mut b = Bench::new(vec![piece("bell", 6.0), piece("handle", 3.0)]);
    for (what, minutes, back) in evening {
        b.now = b.now.plus_seconds((minutes * 60.0).round());
        let at = (back > 0.0).then(|| b.now.plus_seconds(-(back * 60.0).round()));
        let action = Action {
            what,
            at,
            who: "Ida".into(),
            override_reason: Some("trying".into()),
        };
        let before = b.project.clone();
        if b.try_action(&action).is_err() {
            assert_eq!(b.project, before, "a refusal changes nothing");
        }
    }
    b
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn replay_equals_live(evening in any_evening()) {
        let b = live(evening);
        let again = Project::new(b.project.definition.clone(), b.project.events().to_vec(), std::collections::BTreeMap::default())
            .expect("what was lived can be replayed");
        prop_assert_eq!(again.state(), b.project.state());
    }

    #[test]
    fn undo_then_redo_equals_before(evening in any_evening()) {
        let mut b = live(evening);
        let before = b.project.state().clone();
        let undo = Action::now(What::Undo { sequence: 0 }, "Ida");
        if b.try_action(&undo).is_ok() {
            b.try_action(&Action::now(What::Redo { sequence: 0 }, "Ida")).expect("what was undone can be redone");
            prop_assert_eq!(b.project.state(), &before);
        }
    }

    #[test]
    fn figures_stay_sane(evening in any_evening(), later in 0.0..5000.0_f64) {
        let mut b = live(evening);
        b.now = b.now.plus_seconds(later * 60.0);
        let (definition, state) = (&b.project.definition, b.project.state());
        for f in PieceFigures::all(definition, state, b.now) {
            prop_assert!(f.charges.measured.si() >= 0.0 && f.charges.estimated.si() >= 0.0);
            prop_assert_eq!(f.charge.is_none(), f.charges.unknown_since.is_some());
            let piece = state.piece(&f.name).unwrap();
            prop_assert_eq!(piece.stage.is_none(), piece.stage_state == StageState::Done);
            prop_assert!(piece.stage_elapsed(b.now).is_none_or(|s| s >= 0.0));
            prop_assert!(!piece.in_bath() || piece.stage.as_ref().is_some_and(Stage::in_bath));
            prop_assert!(f.hold.is_none_or(|h| h.elapsed.si() >= 0.0));
        }
        for due in state.due(definition, b.now) {
            prop_assert!(!due.say.is_empty());
        }
        for t in TankFigures::all(definition, state, b.now) {
            prop_assert!(t.charge.si() >= 0.0 && t.since.iter().all(|s| s.si() >= 0.0 && s.si() <= t.charge.si() + 1e-6));
        }
    }

    #[test]
    fn shares_of_one_supply_add_up_to_its_charge(
        readings in prop::collection::vec((1.0..25.0_f64, 0.0..6.0_f64), 2..12),
        joins in 0_usize..6,
    ) {
        let mut b = Bench::new(vec![piece("bell", 6.0), piece("handle", 3.0)]);
        b.prepared("bell").prepared("handle");
        b.start("bell", Stage::Strike).look("bell", "covered");
        b.read(0.5, 1.0);
        for (n, (minutes, amps)) in readings.iter().enumerate() {
            b.now = b.now.plus_seconds((minutes * 60.0).round());
            if n == joins {
                // Covered before it comes into company, so that area tells its share.
                b.look("handle", "covered");
                b.start("handle", Stage::Strike);
            }
            b.read(0.5, *amps);
        }
        let pieces: f64 = ["bell", "handle"].iter().map(|p| b.ah(p).0).sum();
        let tank = TankFigures::of(b.project.state(), "main", b.now).unwrap().charge.to(AH);
        prop_assert!((pieces - tank).abs() <= 1e-9 * (1.0 + tank), "{} {}", pieces, tank);
    }

    #[test]
    fn a_moment_looked_back_at_is_as_it_was(evening in any_evening()) {
        let b = live(evening);
        // Up to any instant the state is the fold of what had happened by then.
        for event in b.project.events().iter() {
            let then = b.project.state_at(event.at);
            prop_assert!(then.latest.is_none_or(|latest| latest <= event.at));
        }
    }
}
