//! What every field keeps, whatever the scene: scenes as files have them and
//! prints as bytes of STL, cut and solved as `spread` does.

use serde_json::{Value, json};
use tankside::field::scene::{BodySpread, Cell, Print, Ready, Scene, Spread};
use tankside::mesh::{self, LengthUnit, Order};
use tankside::units::Unwatched;

use crate::support::solids::{Point, Solid};

/// A scene cut into panels.
struct Cut {
    ready: Ready,
}

impl Cut {
    fn new(scene: &Value, prints: &[(&str, &Solid)], panels: usize) -> Self {
        let read = read(scene);
        let survey = |name: &str| {
            let found = prints.iter().find(|(print, _)| name == *print);
            let bytes = found.expect("a print of this name").1.stl();
            let print = mesh::read(&bytes).unwrap();
            let order = Order::in_unit(LengthUnit::Mm);
            Print::of(&mesh::survey(&print, &order, &Unwatched).unwrap())
        };
        let prints: Vec<Print> = read.bodies.iter().map(|body| survey(&body.mesh)).collect();
        let ready = Ready::new(&read, &prints, panels, &Unwatched);
        Self {
            ready: ready.unwrap_or_else(|error| panic!("{error}")),
        }
    }

    /// What comes of it at the volts, kinetics and supply of a scene of the same
    /// geometry; its charge is balanced, and residual and doubt are small.
    fn solved(&self, scene: &Value) -> Spread {
        let solved = self.ready.solve(&read(scene), None, &Unwatched);
        let spread = solved.unwrap_or_else(|error| panic!("{error}")).spread;
        let flows = &spread.flows;
        assert!(flows.balance < 1e-3 && flows.residual < 1e-3, "{flows:?}");
        assert!(flows.error_resistance < 0.05, "{flows:?}");
        if !scene["tank"].is_null() {
            let sum: f64 = spread.bodies.iter().map(|body| body.amps).sum();
            assert!(sum.abs() < 1e-3 * spread.amps, "{sum} of {}", spread.amps);
        }
        spread
    }
}

fn read(scene: &Value) -> Scene {
    serde_json::from_value(scene.clone()).unwrap()
}

fn solved(scene: &Value, prints: &[(&str, &Solid)], panels: usize) -> Spread {
    Cut::new(scene, prints, panels).solved(scene)
}

/// 300 x 200 x 200 mm about the origin, or liquid without end.
fn scene(in_tank: bool) -> Value {
    let tank = json!({ "min_mm": [-150, -100, -100], "max_mm": [150, 100, 100] });
    json!({
        "tank": if in_tank { tank } else { Value::Null },
        "conductivity_s_m": 25, "anodes": [], "bodies": [], "wires": [], "shields": [],
        "supply": { "volts": 1 },
    })
}

fn with(scene: &mut Value, list: &str, member: Value) {
    scene[list].as_array_mut().unwrap().push(member);
}

fn piece(print: &str, at: Point) -> Value {
    json!({ "name": print, "mesh": print, "unit": "mm", "move_mm": at })
}

/// A square of 150 mm flush in the wall at this x.
fn anode(x: f64) -> Value {
    let name = format!("anode {x}");
    json!({ "name": name, "centre_mm": [x, 0, 0], "normal": [1, 0, 0], "size_mm": [150, 150] })
}

fn body<'a>(spread: &'a Spread, name: &str) -> &'a BodySpread {
    let found = spread.bodies.iter().find(|body| body.name == name);
    found.expect("a body of this name")
}

/// Amps into the triangles of a piece that are meant.
fn amps(spread: &Spread, name: &str, meant: impl Fn(&Cell) -> bool) -> f64 {
    let cells = body(spread, name)
        .triangles
        .iter()
        .filter(|cell| meant(cell));
    // mm² are 1e-4 dm².
    cells.map(|cell| cell.area_mm2 * cell.i_a_dm2 * 1e-4).sum()
}

fn faces(axis: usize, side: f64) -> impl Fn(&Cell) -> bool {
    move |cell| side * cell.normal()[axis] > 0.9
}

#[track_caller]
fn close(got: f64, wanted: f64, share: f64) {
    assert!(
        (got / wanted - 1.0).abs() < share,
        "{got} is not {wanted}: {:+.2e}",
        got / wanted - 1.0
    );
}

fn copper() -> Value {
    json!({
        "kind": "butler-volmer", "i0_a_m2": 10, "alpha_a": 1.5, "alpha_c": 0.5, "temperature_k": 298.15,
    })
}

#[test]
fn the_error_falls_with_the_panels() {
    // The error told rests on this: panels half as long at least halve the error.
    // Resistances as in `field_known.rs`.
    let spheroid = Solid::ball(1.0, 64).mapped(|[x, y, z]| [40.0 * x, 10.0 * y, 10.0 * z]);
    for (what, solid, known) in [
        ("cube", Solid::cube([-25.0; 3], 50.0), 0.096_358_53),
        ("sphere", Solid::ball(30.0, 64), 0.106_103_3),
        ("spheroid", spheroid, 0.169_588_2),
    ] {
        let mut of = scene(false);
        with(&mut of, "bodies", piece("solid", [0.0; 3]));
        let off = [1_000, 4_000, 16_000].map(|panels| {
            let spread = solved(&of, &[("solid", &solid)], panels);
            let off = (spread.resistance_ohm / known - 1.0).abs();
            let flows = spread.flows;
            assert!(off < flows.error_resistance, "{what}: {off} {flows:?}");
            [off, flows.panels as f64]
        });
        // The error goes as the panels' length to this power; of the smooth ones the
        // last is what multipoles leave.
        let order = 2.0 * (off[0][0] / off[2][0]).ln() / (off[2][1] / off[0][1]).ln();
        assert!(order > 1.0, "{what}: {off:?}, order {order}");
        assert!(
            off[1][0] < off[0][0] && off[2][0] < off[1][0],
            "{what}: {off:?}"
        );
    }
}

#[test]
fn what_is_alike_gets_alike() {
    let cube = Solid::cube([-15.0; 3], 30.0);
    let mut of = scene(true);
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "anodes", anode(-150.0));
    for (name, y) in [("left", -50.0), ("right", 50.0)] {
        let mut hung = piece("cube", [0.0, y, 0.0]);
        hung["name"] = json!(name);
        with(&mut of, "bodies", hung);
    }
    let spread = solved(&of, &[("cube", &cube)], 4_000);
    close(body(&spread, "left").share, 0.5, 2e-3);
    close(body(&spread, "anode 150").share, 0.5, 2e-3);
    close(
        body(&spread, "anode -150").amps,
        body(&spread, "anode 150").amps,
        2e-3,
    );
    for axis in [0, 2] {
        let [one, other] = [1.0, -1.0].map(|side| amps(&spread, "left", faces(axis, side)));
        close(one, other, 5e-3);
    }
    let outward = amps(&spread, "left", faces(1, -1.0));
    close(outward, amps(&spread, "right", faces(1, 1.0)), 5e-3);
}

/// A bracket and a ball beside it, on a wire.
fn bracket() -> Solid {
    let planes = [0.0, 10.0, 40.0];
    Solid::lattice([&planes, &planes, &[0.0, 20.0]], |[x, y, _]| {
        x < 10.0 || y < 10.0
    })
}

/// Bracket, ball and wire in liquid without end, this much larger, turned as a
/// whole about the origin.
fn group(scale: f64, turn: [f64; 4]) -> (Value, [Solid; 2]) {
    let place = |at: Point| Solid(vec![[at; 3]]).scaled(scale).turned_by(turn).0[0][0];
    let mut of = scene(false);
    for (name, at) in [("bracket", [5.0, 0.0, -10.0]), ("ball", [-25.0, 10.0, 5.0])] {
        let mut hung = piece(name, place(at));
        hung["rotation"] = json!(turn);
        hung["kinetics"] = json!({ "kind": "linear", "rp_ohm_m2": 4e-4 * scale });
        with(&mut of, "bodies", hung);
    }
    let points = [[-25.0, 10.0, 5.0], [-25.0, 10.0, 40.0], [0.0, 10.0, 60.0]].map(place);
    let diameter = 2.0 * scale;
    with(
        &mut of,
        "wires",
        json!({ "name": "wire", "points_mm": points, "diameter_mm": diameter }),
    );
    (of, [bracket().scaled(scale), Solid::ball(12.0 * scale, 16)])
}

#[test]
fn turned_or_larger_it_is_the_same() {
    let of = |scale: f64, turn: [f64; 4]| {
        let (of, [bracket, ball]) = group(scale, turn);
        solved(&of, &[("bracket", &bracket), ("ball", &ball)], 4_000)
    };
    let as_is = of(1.0, [1.0, 0.0, 0.0, 0.0]);
    let turned = of(1.0, [0.5, 0.1, -0.7, 0.5]);
    close(turned.resistance_ohm, as_is.resistance_ohm, 3e-3);
    // Lengths times f, resistances of metal per area times f: ohms over f.
    let larger = of(2.5, [1.0, 0.0, 0.0, 0.0]);
    close(larger.resistance_ohm, as_is.resistance_ohm / 2.5, 1e-3);
    for (other, share) in [(&turned, 5e-3), (&larger, 2e-3)] {
        for (one, other) in as_is.bodies.iter().zip(&other.bodies) {
            close(other.share, one.share, share);
        }
    }
    // Not so where the metal does not follow.
    let (mut held, [bracket, ball]) = group(2.5, [1.0, 0.0, 0.0, 0.0]);
    for body in held["bodies"].as_array_mut().unwrap() {
        body["kinetics"]["rp_ohm_m2"] = json!(4e-4);
    }
    let held = solved(&held, &[("bracket", &bracket), ("ball", &ball)], 2_000);
    assert!(held.resistance_ohm < 0.9 * larger.resistance_ohm);
}

#[test]
fn what_one_gets_from_another_goes_both_ways() {
    // Amps at A for 1 V at B, all else at 0 V, are those at B for 1 V at A (Green's
    // theorem), metal with linear kinetics too; each row adds up to nothing.
    let (cube, ball) = (Solid::cube([-20.0; 3], 40.0), Solid::ball(20.0, 16));
    let prints = [("cube", &cube), ("ball", &ball)];
    let mut of = scene(true);
    of["supply"] = Value::Null;
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "bodies", piece("cube", [40.0, 30.0, 0.0]));
    with(&mut of, "bodies", piece("ball", [-20.0, -20.0, 30.0]));
    let cut = Cut::new(&of, &prints, 4_000);
    for kinetics in [
        json!({ "kind": "none" }),
        json!({ "kind": "linear", "rp_ohm_m2": 4e-4 }),
    ] {
        of["bodies"][1]["kinetics"] = kinetics;
        let at = [
            ("bodies", 0, "cube"),
            ("bodies", 1, "ball"),
            ("anodes", 0, "anode 150"),
        ];
        let matrix = at.map(|(list, k, _)| {
            let mut raised = of.clone();
            raised[list][k]["volts"] = json!(1);
            let spread = cut.solved(&raised);
            at.map(|(_, _, name)| body(&spread, name).amps)
        });
        for (j, row) in matrix.iter().enumerate() {
            assert!(row[j] < 0.0, "{matrix:?}");
            assert!(
                row.iter().sum::<f64>().abs() < 1e-3 * row[j].abs(),
                "{matrix:?}"
            );
            for (other, there) in matrix[..j].iter().zip(row) {
                close(*there, other[j], 5e-3);
            }
        }
    }
}

#[test]
fn a_shield_lowers_what_lies_behind_it() {
    let cube = Solid::cube([-20.0; 3], 40.0);
    let mut of = scene(true);
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "bodies", piece("cube", [0.0; 3]));
    let bare = solved(&of, &[("cube", &cube)], 2_500);
    with(
        &mut of,
        "shields",
        json!({ "centre_mm": [35, 0, 0], "normal": [1, 0, 0], "size_mm": [60, 60], "thickness_mm": 3 }),
    );
    let shielded = solved(&of, &[("cube", &cube)], 2_500);
    let behind = |spread: &Spread| amps(spread, "cube", faces(0, 1.0));
    assert!(behind(&shielded) < 0.7 * behind(&bare));
    // Less in all, and more of it on the far side.
    assert!(shielded.amps < bare.amps);
    let far = |spread: &Spread| amps(spread, "cube", faces(0, -1.0)) / spread.amps;
    assert!(far(&shielded) > far(&bare));
}

#[test]
fn a_thief_lowers_the_tip_beside_it() {
    // A bar on end, a ring of wire around its upper end.
    let bar = Solid::cuboid([-5.0, -5.0, -40.0], [10.0, 10.0, 80.0]);
    let mut of = scene(true);
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "anodes", anode(-150.0));
    with(&mut of, "bodies", piece("bar", [0.0; 3]));
    of["supply"] = json!({ "amps": 1 });
    let tip = |spread: &Spread, side: f64| {
        let amps = amps(spread, "bar", |cell| side * cell.middle_mm()[2] > 35.0);
        amps / body(spread, "bar").amps
    };
    let bar = bar
        .cut_at_sides()
        .cut_at_sides()
        .cut_at_sides()
        .cut_at_sides();
    let bare = solved(&of, &[("bar", &bar)], 3_000);
    close(tip(&bare, 1.0), tip(&bare, -1.0), 0.01);
    let ring: Vec<Point> = (0..24)
        .map(|k| (std::f64::consts::TAU * f64::from(k) / 24.0).sin_cos())
        .map(|(sin, cos)| [15.0 * cos, 15.0 * sin, 42.0])
        .collect();
    with(
        &mut of,
        "wires",
        json!({ "name": "ring", "points_mm": ring, "diameter_mm": 2, "closed": true, "thief": true }),
    );
    let robbed = solved(&of, &[("bar", &bar)], 3_000);
    assert!(tip(&robbed, 1.0) < 0.7 * tip(&bare, 1.0));
    // The other end is far from it: it has a larger part of what is left.
    assert!(tip(&robbed, -1.0) > tip(&bare, -1.0));
    assert!(body(&robbed, "bar").amps < 0.9 && body(&robbed, "ring").amps > 0.1);
    close(robbed.amps, 1.0, 1e-3);
}

#[test]
fn a_second_anode_lowers_the_shadow() {
    let ball = Solid::ball(30.0, 16);
    let mut of = scene(true);
    with(&mut of, "bodies", piece("ball", [0.0; 3]));
    with(&mut of, "anodes", anode(150.0));
    let prints = [("ball", &ball)];
    // Mean of the far side over the mean of all.
    let back = |spread: &Spread| {
        let area = |meant: &dyn Fn(&Cell) -> bool| {
            let cells = body(spread, "ball").triangles.iter();
            cells
                .filter(|cell| meant(cell))
                .map(|cell| cell.area_mm2)
                .sum::<f64>()
        };
        let far = faces(0, -1.0);
        amps(spread, "ball", &far) / area(&far) * area(&|_| true) / spread.amps
    };
    let one = solved(&of, &prints, 1_500);
    with(&mut of, "anodes", anode(-150.0));
    let two = solved(&of, &prints, 1_500);
    assert!(back(&one) < 0.75, "{}", back(&one));
    assert!(back(&two) > 0.98, "{}", back(&two));
    assert!(two.resistance_ohm < one.resistance_ohm);
}

#[test]
fn many_thin_wires_share_what_there_is() {
    // A ball on two dozen wires that stand out from it like spokes.
    let ball = Solid::ball(15.0, 12);
    let mut of = scene(true);
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "anodes", anode(-150.0));
    let mut hung = piece("ball", [0.0; 3]);
    hung["kinetics"] = copper();
    with(&mut of, "bodies", hung);
    for k in 0..24 {
        let (sin, cos) = (std::f64::consts::TAU * f64::from(k) / 24.0).sin_cos();
        let points = [[0.0, 14.0 * cos, 14.0 * sin], [0.0, 40.0 * cos, 40.0 * sin]];
        with(
            &mut of,
            "wires",
            json!({ "name": format!("wire {k}"), "points_mm": points, "diameter_mm": 0.6 }),
        );
    }
    of["supply"] = json!({ "amps": 2 });
    let spread = solved(&of, &[("ball", &ball)], 6_000);
    close(spread.amps, 2.0, 1e-4);
    let cathodes = spread.bodies.iter().filter(|body| body.kind.is_cathode());
    let shares: Vec<f64> = cathodes.map(|body| body.share).collect();
    assert_eq!(shares.len(), 25);
    close(shares.iter().sum::<f64>(), 1.0, 1e-6);
    // Wires across from each other are alike, and so are those up and down in a
    // tank as wide as it is high.
    for k in 0..12 {
        close(shares[1 + k], shares[13 + k], 0.01);
        close(shares[1 + k], shares[1 + (24 - k) % 24], 0.01);
    }
    // They stand before the ball: it is left with less than its part of the area.
    let area: f64 = spread.bodies[..25].iter().map(|body| body.area_dm2).sum();
    assert!(shares[0] < 0.9 * spread.bodies[0].area_dm2 / area);
}

#[test]
fn two_pieces_shade_each_other() {
    let slab = Solid::cuboid([-5.0, -30.0, -30.0], [10.0, 60.0, 60.0]);
    let prints = [("slab", &slab)];
    let hung = |name: &str, x: f64| {
        let mut hung = piece("slab", [x, 0.0, 0.0]);
        hung["name"] = json!(name);
        hung
    };
    let mut of = scene(true);
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "bodies", hung("front", 20.0));
    let alone = solved(&of, &prints, 2_000);
    with(&mut of, "bodies", hung("back", -20.0));
    let both = solved(&of, &prints, 4_000);
    let amps_of = |spread: &Spread, name: &str| body(spread, name).amps;
    assert!(amps_of(&both, "front") > 1.3 * amps_of(&both, "back"));
    assert!(amps_of(&both, "front") < amps_of(&alone, "front"));
    assert!(both.amps > alone.amps);
    // Between the two there is little, and less than there was without the other.
    let inner = |spread: &Spread| amps(spread, "front", faces(0, -1.0));
    assert!(inner(&both) < 0.6 * inner(&alone));
    assert!(inner(&both) < 0.5 * amps(&both, "front", faces(0, 1.0)));
}

#[test]
fn amps_lead_to_volts_and_back() {
    let cube = Solid::cube([-20.0; 3], 40.0);
    let mut of = scene(true);
    with(&mut of, "anodes", anode(150.0));
    with(&mut of, "anodes", anode(-150.0));
    of["anodes"][1]["volts"] = json!(-0.1);
    let mut hung = piece("cube", [0.0; 3]);
    hung["kinetics"] = copper();
    with(&mut of, "bodies", hung);
    let cut = Cut::new(&of, &[("cube", &cube)], 1_500);
    let mut before = 0.0;
    for amps in [0.3, 1.5, 6.0] {
        of["supply"] = json!({ "amps": amps });
        let held = cut.solved(&of);
        close(held.amps, amps, 1e-5);
        of["supply"] = json!({ "volts": held.volts });
        let again = cut.solved(&of);
        close(again.amps, amps, 1e-4);
        close(again.volts, held.volts, 1e-9);
        for (one, other) in held.bodies.iter().zip(&again.bodies) {
            close(other.amps, one.amps, 1e-3);
        }
        // Overpotential grows slower than the current.
        assert!(before == 0.0 || held.resistance_ohm < before);
        before = held.resistance_ohm;
    }
}
