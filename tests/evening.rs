//! An evening on the simulated clock, its figures worked out by hand.
//!
//! Copper: `n F rho / M` = 2 * 96485.33212 * 8.96e6 / 63.546 C/m³, which is
//! 0.07558 Ah per dm² and µm (electrochemical equivalent 1.18549 g/Ah, density
//! 8.96 g/cm³: 8.96e-2 g per dm²·µm / 1.18549 = 0.07558).

use crate::support::bench::{Bench, close, piece};
use tankside::project::{
    Action, DueKind, MarkKind, Match, Mode, PieceFigures, Stage, StageState, What, When,
};
use tankside::units::{A, AH, H, UM};

const AH_PER_DM2_UM: f64 = 0.075_58;

/// Bell (6 dm²) and handle (3 dm²), both ready for the strike.
fn ready() -> Bench {
    let mut b = Bench::new(vec![piece("bell", 6.0), piece("handle", 3.0)]);
    b.prepared("bell").prepared("handle");
    b
}

#[test]
#[expect(clippy::too_many_lines, reason = "one evening is read in one piece")]
fn two_pieces_from_strike_to_seal() {
    let mut b = ready();
    close(
        b.figures("bell").charge_target.unwrap().value.to(AH),
        40.0 * 6.0 * AH_PER_DM2_UM,
        1e-4,
    );

    // 19:00 Enter live: 0.3 V, first reading 0.20 A at 19:02.
    b.clock("19:00").volts(0.3).start("bell", Stage::Strike);
    assert!(b.due().iter().all(|d| d.what != DueKind::LiftOut));
    b.clock("19:02").read(0.3, 0.20);
    assert_eq!(
        b.due_of(DueKind::Look, "bell").at.to_string(),
        "2026-03-02T19:05:00Z"
    );

    // 19:05 Out for the first look, back after 3 min: no dip needed yet.
    b.clock("19:05").lift("bell");
    b.clock("19:06").look("bell", "covered:40% advancing");
    b.clock("19:08").back("bell", false);
    b.clock("19:10").read(0.3, 0.30);
    // Line 0.2 + 0.1*m/8 A from 19:02. To 19:05: (0.2 + 0.2375)/2 * 3 = 0.65625 A·min.
    // From 19:08: (0.275 + 0.3)/2 * 2 = 0.575 A·min. Together 1.23125 A·min = 0.0205208 Ah.
    close(b.ah("bell").0, 1.231_25 / 60.0, 1e-9);
    assert!(b.ah("bell").1 == 0.0);

    // Density on the covered 40 %: 0.3 A / (0.4 * 6 dm²) = 0.125 A/dm².
    close(
        b.figures("bell")
            .density
            .unwrap()
            .value
            .to(tankside::units::A_DM2),
        0.125,
        1e-9,
    );

    // 19:31 A bare rim is touched up: out 19 min and repainted, so it must be dipped.
    b.clock("19:30").look("bell", "bare:5%@rim");
    b.clock("19:31").lift("bell");
    b.clock("19:35").did(What::TouchUp {
        piece: "bell".into(),
        place: "rim".into(),
    });
    b.clock("19:50");
    let refusal = b.refused(What::Return {
        piece: "bell".into(),
        dipped: false,
    });
    assert_eq!(refusal.rule, "dip");
    assert_eq!(
        refusal.instead[0].line("lamp"),
        "tankside record lamp bell return --dipped"
    );
    b.back("bell", true);
    b.clock("19:55").read(0.3, 0.50);
    // Line 0.3 + 0.2*m/45 A from 19:10. To 19:31: 21 * (0.3 + 0.393333)/2 = 7.28 A·min.
    // From 19:50: 5 * (0.477778 + 0.5)/2 = 2.444444 A·min. Sum with before 10.955694 A·min.
    close(b.ah("bell").0, (1.231_25 + 7.28 + 2.444_444_4) / 60.0, 1e-6);

    // 20:00 Covered: on to the build at 3 A. A set current counts as a reading, so
    // from 19:55 the line goes from 0.5 to 3 A: 5 * 1.75 = 8.75 A·min, 19.705694 in all.
    b.clock("20:00").look("bell", "covered").finish("bell");
    assert!(
        b.project.state().piece("bell").unwrap().in_bath(),
        "a finished strike stays in the bath"
    );
    b.amps(3.0).start("bell", Stage::Build);
    close(b.ah("bell").0, 19.705_694 / 60.0, 1e-6);

    // 20:10 The handle strikes beside it: its share is unknown without its own ammeter.
    b.clock("20:10").start("handle", Stage::Strike);
    b.clock("20:20");
    assert_eq!(b.figures("bell").charges.kind_word(), "unknown-share");
    assert!(b.figures("bell").thickness.is_none() && b.figures("bell").density.is_none());
    assert!(
        b.due_of(DueKind::Reading, "handle")
            .say
            .contains("own lead")
    );
    // Its ammeter was read in time and is written down now: 0.3 A at 20:10, 0.4 A at 20:20.
    let mut own = |at: &str, amps: f64| {
        let what = What::Reading {
            tank: "main".into(),
            volts: tankside::units::V.of(0.9),
            amps: A.of(amps),
            celsius: None,
            mode: None,
            piece: Some("handle".into()),
        };
        let at = format!("2026-03-02T{at}:00Z").parse().unwrap();
        b.try_action(&Action {
            at: Some(at),
            ..Action::now(what, "Ida")
        })
        .unwrap();
    };
    own("20:10", 0.3);
    own("20:20", 0.4);
    assert_eq!(b.figures("bell").charges.kind_word(), "estimated");

    // 20:30 The handle is covered; 4.5 A for both from here, shared 6 : 3.
    b.clock("20:30").read_as(0.9, 0.4, None, Some("handle"));
    b.look("handle", "covered")
        .finish("handle")
        .amps(4.5)
        .start("handle", Stage::Build);
    b.clock("21:00");
    // Before lifting the bell from the shared 4.5 A, set what is the handle's: 1.5 A.
    let (tank, lower) = b
        .project
        .state()
        .current_without(&b.project.definition, "bell")
        .unwrap();
    assert_eq!(tank, "main");
    close(lower.to(A), 1.5, 1e-9);
    b.amps(1.5).lift("bell");
    b.clock("21:04").back("bell", false).amps(4.5);
    b.clock("21:30").read_as(1.2, 4.5, Some(Mode::Cc), None);
    // Bell: 3 A alone 20:00-20:10 = 30; 3 - (0.3..0.4) over 10 min = 26.5; 3 - 0.4
    // over 10 min = 26; 4.5*6/9 = 3 A over 20:30-21:00 = 90; out to 21:04; 3 A to
    // 21:30 = 78. Sum 250.5 A·min, measured; with the strike's 19.705694 A·min.
    close(b.ah("bell").0, (250.5 + 19.705_694) / 60.0, 1e-6);
    // Handle: 3.5 + 4 A·min own; 1.5 A over 30 min = 45; alone at 1.5 A to 21:04 = 6; 1.5 A
    // over 26 min = 39. Sum 97.5 A·min.
    close(b.ah("handle").0, 97.5 / 60.0, 1e-6);

    // 21:40 Power fails. Both hang without current: the most urgent of all.
    b.clock("21:40").off();
    let due = b.due();
    assert!(
        due[0].what == DueKind::LiftOut && due[1].what == DueKind::LiftOut,
        "{due:?}"
    );
    b.clock("21:42").lift("bell").lift("handle");
    let (bell, handle) = (b.ah("bell"), b.ah("handle"));
    // 21:30-21:40 at the constant 4.5 A is closed by the switch: measured.
    close(bell.0, (250.5 + 19.705_694 + 30.0) / 60.0, 1e-6);
    close(handle.0, (97.5 + 15.0) / 60.0, 1e-6);

    // Overnight nothing is added, and the look of the evening is not asked for at night without end.
    b.clock("day+1 18:00");
    assert_eq!(b.ah("bell"), bell);

    // Re-entry: dipped, live, marked as the place where layers part.
    b.amps(4.5);
    let refusal = b.refused(What::Return {
        piece: "bell".into(),
        dipped: false,
    });
    assert_eq!(refusal.rule, "dip");
    b.back("bell", true).back("handle", true);
    let marks = &b.project.state().piece("bell").unwrap().marks;
    assert!(
        marks.iter().any(|m| m.kind == MarkKind::Interrupted),
        "{marks:?}"
    );

    // 4.5 A: the bell wants 18.1392 - 5.003428 Ah = 13.1358 Ah at 3 A, which is 4 h 22.7 min.
    let target = b.figures("bell").target_at.unwrap();
    let wanted = (40.0 * 6.0 * AH_PER_DM2_UM - 300.205_694 / 60.0) / 3.0 * 3600.0;
    close(target.since(b.now), wanted, 1e-4);

    // An estimate never passes the gate. 23:00 is past the 60 min limit: frozen.
    b.clock("19:30");
    let frozen = b.ah("bell").1;
    close(frozen, 3.0, 1e-6);
    b.clock("22:40");
    close(b.ah("bell").1, frozen, 1e-9);
    b.clock("23:00")
        .tick("bell", "tracks")
        .tick("handle", "tracks");
    assert_eq!(
        b.refused(What::Finish {
            piece: "bell".into()
        })
        .rule,
        "charge"
    );
    b.read_as(1.2, 4.5, Some(Mode::Cc), None);
    // 18:00-23:00 between the set point and the reading: 5 h at 3 A, measured.
    close(b.ah("bell").0, 300.205_694 / 60.0 + 15.0, 1e-6);
    b.finish("bell");
    assert!(
        !b.project.state().piece("bell").unwrap().in_bath(),
        "a finished build is out"
    );
    b.finish("handle").off();

    // Both have their thickness; the bell 19.9 Ah of 18.1: 43.8 µm.
    let bell = b.figures("bell");
    let total = 300.205_694 / 60.0 + 15.0;
    close(
        bell.thickness.as_ref().unwrap().value.to(UM),
        total / (6.0 * AH_PER_DM2_UM),
        1e-4,
    );
    let handle = b.figures("handle");
    let matched = Match::of(&b.project.definition, &[bell.clone(), handle.clone()]);
    let spread = matched.thickness_spread.unwrap();
    assert!(spread.pm() < bell.thickness.as_ref().unwrap().pm() * 1.5);

    // Rinse and hold; sealing early is refused, the window is 72 ± 4 h.
    for name in ["bell", "handle"] {
        b.start(name, Stage::Rinse)
            .tick_all(name, &Stage::Rinse, When::End)
            .finish(name);
        b.tick_all(name, &Stage::Age, When::Start)
            .start(name, Stage::Age);
    }
    b.clock("day+2 23:00");
    assert_eq!(
        b.refused(What::Finish {
            piece: "bell".into()
        })
        .rule,
        "hold"
    );
    b.did(What::Wipe {
        pieces: vec!["bell".into(), "handle".into()],
    });
    close(b.figures("bell").hold.unwrap().elapsed.to(H), 0.0, 1e-9);
    b.clock("day+3 20:00");
    for name in ["bell", "handle"] {
        b.finish(name)
            .tick_all(name, &Stage::Seal, When::Start)
            .start(name, Stage::Seal);
    }
    close(b.figures("handle").hold.unwrap().elapsed.to(H), 69.0, 1e-9);
    b.clock("day+1 20:00").finish("bell").finish("handle");
    assert_eq!(
        b.project.state().piece("bell").unwrap().stage_state,
        StageState::Done
    );
    let figures = PieceFigures::all(&b.project.definition, b.project.state(), b.now);
    assert!(
        Match::of(&b.project.definition, &figures)
            .age_spread
            .unwrap()
            .si()
            == 0.0
    );
}

#[test]
fn a_clock_that_was_set_back_makes_nothing_negative_and_doubles_nothing() {
    let mut b = ready();
    b.clock("19:00").amps(2.0).start("bell", Stage::Strike);
    b.clock("19:20").read(0.9, 2.0);
    let before = b.ah("bell");
    // The machine's clock falls back by an hour: the present stays at what was recorded.
    let clock = b.now.plus_seconds(-3600.0);
    let present = b.project.present(clock);
    assert_eq!(present, b.now);
    b.now = present;
    assert_eq!(b.ah("bell"), before);
    let piece = b.project.state().piece("bell").unwrap();
    assert!(piece.stage_elapsed(clock).unwrap() >= 0.0);
    let due = b.due_of(DueKind::Look, "bell");
    assert_eq!(due.at.to_string(), "2026-03-02T19:05:00Z");
    // What is recorded meanwhile lies at the present, not before it.
    let said = b.try_action(&Action::now(
        What::Note {
            piece: "bell".into(),
            text: "odd clock".into(),
        },
        "Ida",
    ));
    assert_eq!(said.unwrap().event.at, present);
}

#[test]
fn timers_do_not_feel_the_change_of_clocks() {
    // Berlin goes from 02:00 to 03:00 on 29 March 2026 (EU directive 2000/84/EC).
    let mut definition = ready().project.definition.clone();
    definition.zone = tankside::units::Zone::named("Europe/Berlin").unwrap();
    definition.route = vec![Stage::Age, Stage::Seal];
    let mut b = Bench::of(definition);
    b.now = "2026-03-28T20:00:00Z".parse().unwrap();
    b.tick("bell", "surface").start("bell", Stage::Age);
    b.now = "2026-03-29T20:00:00Z".parse().unwrap();
    close(b.figures("bell").hold.unwrap().elapsed.to(H), 24.0, 1e-12);
    let zone = b.project.definition.zone;
    assert_eq!(
        zone.local(b.figures("bell").hold.unwrap().started_at)
            .clock(),
        "21:00"
    );
    assert_eq!(zone.local(b.now).clock(), "22:00");
}

#[test]
fn a_ladder_announces_its_next_step() {
    let mut b = ready();
    b.clock("19:00").volts(0.3).start("bell", Stage::Strike);
    let due = b.due_of(DueKind::Ladder, "bell");
    assert_eq!(due.at.to_string(), "2026-03-02T19:20:00Z");
    assert!(
        due.say.contains("0.50 V") && due.say.contains("step 2 of 3"),
        "{}",
        due.say
    );
    b.clock("19:22").volts(0.5);
    assert_eq!(
        b.due_of(DueKind::Ladder, "bell").at.to_string(),
        "2026-03-02T19:42:00Z"
    );
    // A voltage that was lowered for a look and restored is no step.
    b.clock("19:30").volts(0.2);
    b.clock("19:32").volts(0.5);
    assert_eq!(
        b.due_of(DueKind::Ladder, "bell").at.to_string(),
        "2026-03-02T19:42:00Z"
    );
    b.clock("19:45").volts(0.8);
    assert!(
        b.due().iter().all(|d| d.what != DueKind::Ladder),
        "the last step goes on"
    );
    // The build's steps are densities on what hangs in the tank: 1 A/dm2 on 6 dm2.
    b.clock("19:50")
        .look("bell", "covered")
        .finish("bell")
        .amps(3.0)
        .start("bell", Stage::Build);
    let due = b.due_of(DueKind::Ladder, "bell");
    assert!(due.say.contains("6.00 A"), "{}", due.say);
    assert_eq!(due.at.to_string(), "2026-03-02T20:02:00Z");
}

#[test]
fn weighing_closes_the_loop_and_is_never_adopted() {
    // 20 Ah on a bell of 6 dm2: 20 * 1.18549 g/Ah = 23.71 g at 100 %, 44.10 um.
    let mut b = ready();
    b.did(What::Weigh {
        piece: "bell".into(),
        mass: tankside::units::G.of(412.0),
        condition: tankside::project::WeighedAs::Wired,
    });
    b.clock("19:00")
        .start("bell", Stage::Strike)
        .look("bell", "covered")
        .amps(5.0);
    b.clock("23:00").off().lift("bell");
    b.did(What::Weigh {
        piece: "bell".into(),
        mass: tankside::units::G.of(435.0),
        condition: tankside::project::WeighedAs::Plated,
    });
    let figures = b.figures("bell");
    close(figures.charges.measured.to(AH), 20.0, 1e-9);
    let w =
        tankside::project::weighing(&b.project.definition, b.project.state(), &figures).unwrap();
    close(w.gained.value.to(tankside::units::G), 23.0, 1e-9);
    close(w.thickness.value.to(UM), 23.0 / (8.96e-2 * 6.0), 1e-6);
    close(
        w.efficiency.as_ref().unwrap().value.si(),
        23.0 / (20.0 * 1.185_49),
        1e-4,
    );
    assert_eq!(w.plausible(), Some(true));
    // Half a per cent of water in 412 g is 2.06 g, a bound: 2.06 / sqrt 3 standard.
    let pm = w.gained.pm().to(tankside::units::G);
    close(
        pm,
        2.0 * ((2.06 / 3_f64.sqrt()).powi(2) + 2.0 * 0.1_f64.powi(2)).sqrt(),
        1e-6,
    );
    // What the charge says stays what the charge says.
    close(
        figures.thickness.unwrap().value.to(UM),
        20.0 / (6.0 * AH_PER_DM2_UM),
        1e-4,
    );
}
