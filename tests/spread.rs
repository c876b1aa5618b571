//! `spread` by the real program: known resistances, zones and what is refused.

#![allow(dead_code, reason = "the support is shared")]

use crate::support::cli::Shop;
use crate::support::prints::{self, Shape};
use serde_json::{Value, json};

/// The reference tank: 300 x 200 x 200 mm, squares of 150 mm flush in the walls
/// at x = +-150 mm.
fn scene(anodes: &[f64], mesh: &str, kinetics: &Value) -> Value {
    let anodes = anodes.iter().map(|x| {
        json!({
            "name": format!("anode {x}"), "centre_mm": [x, 0, 0], "normal": [-x, 0, 0],
            "size_mm": [150, 150], "volts": 1,
        })
    });
    json!({
        "tank": { "min_mm": [-150, -100, -100], "max_mm": [150, 100, 100] },
        "conductivity_s_m": 25,
        "anodes": anodes.collect::<Vec<_>>(),
        "bodies": [{ "name": "piece", "mesh": mesh, "unit": "mm", "kinetics": kinetics }],
        "supply": { "volts": 1 },
    })
}

/// A ball of `radius` mm: latitudes and longitudes.
fn ball(radius: f64) -> Vec<u8> {
    const ROUND: usize = 64;
    const UP: usize = 32;
    let angle = std::f64::consts::PI / UP as f64;
    let at = |row: usize, column: usize| {
        let (up, round) = (
            angle * row as f64,
            2.0 * std::f64::consts::PI * (column % ROUND) as f64 / ROUND as f64,
        );
        [
            radius * up.sin() * round.cos(),
            radius * up.sin() * round.sin(),
            radius * up.cos(),
        ]
    };
    let mut shape = Shape {
        corners: Vec::new(),
        faces: Vec::new(),
    };
    for row in 0..UP {
        for column in 0..ROUND {
            let first = shape.corners.len();
            shape.corners.extend([
                at(row, column),
                at(row + 1, column),
                at(row + 1, column + 1),
                at(row, column + 1),
            ]);
            if row + 1 < UP {
                shape.faces.push(vec![first, first + 1, first + 2]);
            }
            if row > 0 {
                shape.faces.push(vec![first, first + 2, first + 3]);
            }
        }
    }
    prints::stl(&shape)
}

fn shop() -> Shop {
    let shop = Shop::with_project();
    std::fs::write(shop.path("ball.stl"), ball(30.0)).unwrap();
    let cube = Shape::cuboid([-25.0; 3], [50.0; 3]);
    std::fs::write(shop.path("cube.stl"), prints::stl(&cube)).unwrap();
    shop
}

fn spread(shop: &Shop, scene: &Value) -> Value {
    std::fs::write(shop.path("scene.json"), scene.to_string()).unwrap();
    shop.ok("spread --scene scene.json --panels 3000")
}

#[test]
fn a_ball_in_the_tank_has_the_resistance_of_independent_finite_elements() {
    // Quadratic finite elements on graded tetrahedra, error 3e-5 ohm.
    let shop = shop();
    let linear = json!({ "kind": "linear", "rp_ohm_m2": 4e-4 });
    let none = json!({ "kind": "none" });
    for (anodes, kinetics, known) in [
        (&[150.0, -150.0][..], &none, 0.124_253_7),
        (&[150.0][..], &linear, 0.239_411_7),
    ] {
        let told = spread(&shop, &scene(anodes, "ball.stl", kinetics));
        let ohm = told["resistance_ohm"].as_f64().unwrap();
        assert!((ohm / known - 1.0).abs() < 5e-3, "{ohm} is not {known}");
        let estimate = told["error_estimate"]["resistance"].as_f64().unwrap();
        assert!((ohm / known - 1.0).abs() < estimate, "{ohm}: {estimate}");
        assert!(told["balance"].as_f64().unwrap() < 1e-4);
        assert_eq!(told["cached"], false);
        let again = spread(&shop, &scene(anodes, "ball.stl", kinetics));
        assert_eq!(again["cached"], true);
        assert_eq!(again["resistance_ohm"], told["resistance_ohm"]);
    }
}

#[test]
fn a_cube_in_no_tank_has_its_known_resistance() {
    // 1/(4 pi kappa 0.66067815 edge): Hwang & Mascagni, J. Appl. Phys. 95, 2004,
    // 3798; from memory.
    let mut cube = scene(&[], "cube.stl", &json!({ "kind": "none" }));
    cube["tank"] = Value::Null;
    let told = spread(&shop(), &cube);
    let ohm = told["resistance_ohm"].as_f64().unwrap();
    assert!((ohm / 0.096_358_53 - 1.0).abs() < 5e-3, "{ohm}");
}

#[test]
fn what_cannot_be_is_refused_by_name() {
    let shop = shop();
    let refused = |scene: &Value| {
        std::fs::write(shop.path("scene.json"), scene.to_string()).unwrap();
        shop.bad("spread --scene scene.json")
    };
    let good = scene(&[150.0], "ball.stl", &json!({ "kind": "none" }));
    let mut through = good.clone();
    through["bodies"][0]["move_mm"] = json!([0, 0, 80]);
    let error = refused(&through);
    assert_eq!(error["kind"], "collision");
    assert!(error["message"].as_str().unwrap().contains("the surface"));
    let mut wire = good.clone();
    wire["wires"] = json!([{
        "name": "hook", "points_mm": [[0, 0, 20], [140, 0, 0], [160, 0, 0]], "diameter_mm": 1,
    }]);
    assert_eq!(refused(&wire)["kind"], "collision");
    let mut two = good.clone();
    two["bodies"][1] = two["bodies"][0].clone();
    two["bodies"][1]["name"] = json!("other");
    two["bodies"][1]["move_mm"] = json!([20, 0, 0]);
    let error = refused(&two);
    assert!(error["message"].as_str().unwrap().contains("overlaps"));
    let mut unknown = good.clone();
    unknown["colour"] = json!("red");
    assert_eq!(refused(&unknown)["kind"], "scene");
    let mut number = good;
    number["anodes"][0]["size_mm"] = json!([0, 150]);
    let error = refused(&number);
    assert!(
        error["message"]
            .as_str()
            .unwrap()
            .contains("anodes[0].size_mm")
    );
    assert_eq!(error["line"], 1);
}
