//! Scenes of known fields: their prints, what the program says of them, and
//! figures beside what is known.

use std::fmt::Display;

use serde_json::Value;

use super::cli::Shop;
use super::solids::{Point, Solid, Triangle, area};

/// What was found beside what is known.
#[derive(Debug)]
pub(crate) struct Check {
    what: String,
    got: f64,
    known: f64,
    within: Within,
}

/// How far off what was found may be.
#[derive(Debug, Clone, Copy)]
enum Within {
    /// So much of what is known: below 1 %, so that it tells a constant from
    /// one that is 2 % off.
    Share(f64),
    /// So much, in the figure's own unit, which may be more than that.
    Wide(f64),
}

impl Check {
    /// Held to a share of what is known.
    pub(crate) fn new(what: impl Display, got: f64, known: f64, share: f64) -> Self {
        Self {
            what: what.to_string(),
            got,
            known,
            within: Within::Share(share),
        }
    }

    /// A figure at an edge, or one that is next to nothing: held to so much, in
    /// its own unit, however much of it that is.
    pub(crate) fn wide(what: impl Display, got: f64, known: f64, allowed: f64) -> Self {
        Self {
            what: what.to_string(),
            got,
            known,
            within: Within::Wide(allowed),
        }
    }

    fn holds(&self, known: f64) -> bool {
        let allowed = match self.within {
            Within::Share(share) => share * known.abs(),
            Within::Wide(allowed) => allowed,
        };
        (self.got - known).abs() <= allowed
    }
}

/// Every figure is as known, and would not be if what is known were 2 % more or
/// less; the wide ones, which cannot tell 2 %, would not at three times what they
/// may be off.
#[track_caller]
pub(crate) fn hold(checks: &[Check]) {
    assert!(!checks.is_empty());
    let mut wrong = Vec::new();
    for check in checks {
        let Check {
            what, got, known, ..
        } = check;
        let off = got / known - 1.0;
        show(|| format!("{what}: {got:.6} beside {known:.6}, {:+.3} %", 100.0 * off));
        if !check.holds(*known) {
            wrong.push(format!("{what}: {got} is not {known}, {off:+.2e}"));
        }
        let moved = match check.within {
            Within::Share(_) => 0.02 * known,
            Within::Wide(allowed) => 3.0 * allowed,
        };
        for moved in [known - moved, known + moved] {
            if check.holds(moved) {
                wrong.push(format!("{what}: {got} would pass for {moved} too"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Tells a figure, where somebody wants to see by how much it holds.
#[allow(clippy::print_stdout, reason = "asked for, and a test tells it all")]
fn show(line: impl FnOnce() -> String) {
    if std::env::var_os("TANKSIDE_SHOW_CHECKS").is_some() {
        println!("{}", line());
    }
}

/// A row of the table that `spread --out` writes.
#[derive(Debug)]
pub(crate) struct Row {
    pub(crate) body: String,
    pub(crate) at: Point,
    pub(crate) normal: Point,
    /// mm²
    pub(crate) area: f64,
    /// A/dm²
    pub(crate) density: f64,
}

/// What the program said of a scene.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) json: Value,
    pub(crate) rows: Vec<Row>,
}

impl Said {
    pub(crate) fn number(&self, pointer: &str) -> f64 {
        let found = self.json.pointer(pointer).and_then(Value::as_f64);
        found.unwrap_or_else(|| panic!("no {pointer} in {}", self.json))
    }

    pub(crate) fn ohm(&self) -> f64 {
        self.number("/resistance_ohm")
    }

    /// The resistance beside the one known; what the program says of its error
    /// has to cover what it is, but for the error of what is known.
    #[track_caller]
    pub(crate) fn resistance(&self, what: impl Display, known: f64, its_error: f64) -> Check {
        let off = (self.ohm() / known - 1.0).abs();
        let told = self.number("/error_estimate/resistance");
        show(|| {
            let (off, told) = (100.0 * off, 100.0 * told);
            let panels = &self.json["panels"];
            format!("{what}: off {off:.3} %, told {told:.3} %, {panels} panels")
        });
        assert!(
            off <= told + its_error / known,
            "{what}: off by {off}, told {told}"
        );
        assert!(self.number("/balance") < 1e-3, "{what}: {}", self.json);
        Check::new(what, self.ohm(), known, 5e-3)
    }

    pub(crate) fn amps_of(&self, body: &str) -> f64 {
        let bodies = self.json["bodies"].as_array().expect("bodies");
        let found = bodies.iter().find(|told| told["name"] == body);
        found.and_then(|told| told["amps"].as_f64()).expect("amps")
    }

    /// Mean density of a body's rows that are meant over the mean of them all.
    pub(crate) fn over_mean(&self, body: &str, meant: impl Fn(&Row) -> bool) -> f64 {
        let mean = |meant: &dyn Fn(&Row) -> bool| {
            let rows = || {
                self.rows
                    .iter()
                    .filter(|row| row.body == body && meant(row))
            };
            let area: f64 = rows().map(|row| row.area).sum();
            assert!(area > 0.0, "no row of {body} is meant");
            rows().map(|row| row.area * row.density).sum::<f64>() / area
        };
        mean(&meant) / mean(&|_| true)
    }
}

/// The program beside a folder of prints.
pub(crate) struct Prints(pub(crate) Shop);

impl Prints {
    pub(crate) fn of(prints: &[(&str, &Solid)]) -> Self {
        let shop = Shop::new();
        for (name, solid) in prints {
            std::fs::write(shop.path(&format!("{name}.stl")), solid.stl()).expect("a file");
        }
        Self(shop)
    }

    /// `spread --scene` by the real program, with its table.
    #[track_caller]
    pub(crate) fn spread(&self, scene: &Value, more: &str) -> Said {
        std::fs::write(self.0.path("scene.json"), scene.to_string()).expect("a file");
        let json = self
            .0
            .ok(&format!("spread --scene scene.json --out rows.csv {more}"));
        let table = std::fs::read_to_string(self.0.path("rows.csv")).expect("a table");
        let mut lines = table.lines();
        assert_eq!(
            lines.next(),
            Some("body,triangle,x_mm,y_mm,z_mm,nx,ny,nz,area_mm2,i_a_dm2")
        );
        Said {
            json,
            rows: lines.map(row).collect(),
        }
    }
}

fn row(line: &str) -> Row {
    let fields: Vec<&str> = line.split(',').collect();
    let number = |k: usize| fields[k].parse::<f64>().expect("a number");
    Row {
        body: fields[0].trim_matches('"').to_owned(),
        at: [number(2), number(3), number(4)],
        normal: [number(5), number(6), number(7)],
        area: number(8),
        density: number(9),
    }
}

/// What lies between two outlines of as many points, from one height to
/// another: turned outwards where both run counter-clockwise around the origin.
/// Open, with flat ends where the outlines begin and end.
pub(crate) fn wall_between(inner: &[[f64; 2]], outer: &[[f64; 2]], low: f64, high: f64) -> Solid {
    let at = |[x, y]: [f64; 2], z: f64| [x, y, z];
    let mut shell = Vec::new();
    let mut quad = |[a, b, c, d]: [Point; 4]| shell.extend([[a, b, c], [a, c, d]]);
    for k in 1..inner.len() {
        let ([a, b], [c, d]) = ([inner[k - 1], inner[k]], [outer[k - 1], outer[k]]);
        quad([at(a, low), at(a, high), at(b, high), at(b, low)]);
        quad([at(c, low), at(d, low), at(d, high), at(c, high)]);
        quad([at(a, low), at(b, low), at(d, low), at(c, low)]);
        quad([at(a, high), at(c, high), at(d, high), at(b, high)]);
    }
    let ([a, c], last) = ([inner[0], outer[0]], inner.len() - 1);
    quad([at(a, low), at(c, low), at(c, high), at(a, high)]);
    let [a, c] = [inner[last], outer[last]];
    quad([at(a, low), at(a, high), at(c, high), at(c, low)]);
    without_slivers(shell)
}

/// What lies between two surfaces in the octant of x, y and z above 0, each told
/// by where it is in a direction whose largest part is 1.
pub(crate) fn octant_between(
    cuts: usize,
    inner: impl Fn(Point) -> Point,
    outer: impl Fn(Point) -> Point,
) -> Solid {
    let mut shell = Vec::new();
    let mut quad = |[a, b, c, d]: [Point; 4]| shell.extend([[a, b, c], [a, c, d]]);
    let part = |k: usize| k as f64 / cuts as f64;
    for axis in 0..3 {
        let (one, other) = ((axis + 1) % 3, (axis + 2) % 3);
        let way = |u: f64, v: f64| {
            let mut way = [0.0; 3];
            (way[axis], way[one], way[other]) = (1.0, u, v);
            way
        };
        for i in 0..cuts {
            for j in 0..cuts {
                let corners = [(i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)];
                let ways = corners.map(|(i, j)| way(part(i), part(j)));
                quad(ways.map(&outer));
                let [a, b, c, d] = ways.map(&inner);
                quad([a, d, c, b]);
            }
            // Where the octant ends: one of the other parts is 0.
            let [from, to] = [way(part(i), 0.0), way(part(i + 1), 0.0)];
            quad([inner(from), inner(to), outer(to), outer(from)]);
            let [from, to] = [way(0.0, part(i)), way(0.0, part(i + 1))];
            quad([inner(from), outer(from), outer(to), inner(to)]);
        }
    }
    without_slivers(shell)
}

fn without_slivers(shell: Vec<Triangle>) -> Solid {
    Solid(shell.into_iter().filter(|of| area(of) > 1e-9).collect())
}

/// At this distance from the origin.
pub(crate) fn at_radius(radius: f64) -> impl Fn(Point) -> Point {
    move |way| {
        let long = way.iter().map(|x| x * x).sum::<f64>().sqrt();
        way.map(|x| radius * x / long)
    }
}

/// An eighth of a ball about the origin, its flat faces towards it.
pub(crate) fn octant_ball(radius: f64, cuts: usize) -> Solid {
    octant_between(cuts, |_| [0.0; 3], at_radius(radius))
}

/// What is left of the cube [0,`side`]³ beyond this distance from the origin.
pub(crate) fn octant_bowl(radius: f64, side: f64, cuts: usize) -> Solid {
    octant_between(cuts, at_radius(radius), |way| way.map(|x| side * x))
}
