//! A scene's parts: surfaces in metres at their places, and panels on them.

use super::super::bodies::{Body, FieldError, Surface};
use super::super::cover::{self, Cover};
use super::super::panel::{Panel, Point};
use super::check::SceneError;
use super::meet::{IN_WALL, shell_of};
use super::{Anode, Faces, Hung, Kind, Scene, Shield, Strand, Vessel};
use crate::mesh::space::{area, cross, dot, less, normal, plus, times, unit};
use crate::mesh::{Class, Survey};
use crate::units::Watch;

/// What of a print the bath reaches, in the print's own mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Print {
    /// Wetted and masked triangles, their front to the liquid.
    pub triangles: Vec<[Point; 3]>,
    /// Which of them are masked.
    pub masked: Vec<bool>,
    /// Which triangle of the file each is a part of.
    pub of: Vec<u32>,
    /// Whether it is a solid; a sheet without thickness works on both faces.
    pub solid: bool,
}

impl Print {
    /// The wetted surface that a survey found.
    pub fn of(survey: &Survey) -> Self {
        let wet = survey.facets.iter().filter(|facet| {
            matches!(facet.class, Class::Wetted | Class::Masked) && facet.area_mm2() > 0.0
        });
        let mut print = Self {
            triangles: Vec::new(),
            masked: Vec::new(),
            of: Vec::new(),
            solid: survey.volume_mm3.is_some(),
        };
        for facet in wet {
            print.triangles.push(facet.corners);
            print.masked.push(facet.class == Class::Masked);
            print.of.push(facet.triangle);
        }
        print
    }
}

/// How a part is made of panels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Make {
    Print,
    Plate,
    Tube,
    Block,
}

/// One thing in the tank.
#[derive(Debug)]
pub(super) struct Part {
    pub(super) name: String,
    pub(super) kind: Kind,
    pub(super) make: Make,
    pub(super) volts: f64,
    pub(super) surface: Surface,
    /// Its surface, m.
    pub(super) shell: Vec<[Point; 3]>,
    /// What closes that of a solid which lies in walls, m.
    pub(super) in_walls: Vec<[Point; 3]>,
    /// Of a print: what is masked, and triangles of the file.
    pub(super) masked: Vec<bool>,
    pub(super) of: Vec<u32>,
    pub(super) solid: bool,
    shape: Shape,
}

#[derive(Debug)]
enum Shape {
    Print,
    Face(Point, Point, [f64; 2]),
    /// The front alone works.
    Fronted(Point, Point, [f64; 2]),
    Tube(Vec<Point>, f64, bool),
    Block(Point, Point, [f64; 2], f64),
}

/// A part with its panels.
#[derive(Debug)]
pub(super) struct Covered {
    pub(super) body: Body,
    /// Of a print, to carry values back.
    pub(super) cover: Option<Cover>,
}

/// The insulated back of a plate that works on its front lies so far behind, m.
const PLATE_THICK: f64 = 2e-3;

impl Part {
    /// All parts of a scene; `prints` are those of its bodies, in their order.
    ///
    /// # Errors
    /// [`SceneError::Wrong`] for a print of which nothing is wetted, and for a
    /// sheet that would need a thickness.
    pub(super) fn all(scene: &Scene, prints: &[Print]) -> Result<Vec<Self>, SceneError> {
        let tank = scene.tank.as_ref();
        let mut parts = Vec::new();
        for (k, (body, print)) in scene.bodies.iter().zip(prints).enumerate() {
            parts.push(Self::of_print(k, body, print, tank)?);
        }
        parts.extend(scene.wires.iter().map(Self::of_wire));
        parts.extend(scene.anodes.iter().map(|anode| Self::of_anode(anode, tank)));
        parts.extend(scene.rods.iter().map(|rod| {
            let shape = Shape::Tube(metres(&rod.points_mm), rod.diameter_mm * 1e-3, false);
            Self::new(rod.name.clone(), Kind::Anode, rod.volts, shape)
        }));
        let shields = scene.shields.iter().enumerate();
        parts.extend(shields.map(|(k, shield)| Self::of_shield(k, shield)));
        Ok(parts)
    }

    fn new(name: String, kind: Kind, volts: f64, shape: Shape) -> Self {
        let (make, surface) = match &shape {
            Shape::Print => (Make::Print, Surface::Metal),
            Shape::Face(..) => (Make::Plate, Surface::Plate),
            Shape::Tube(..) => (Make::Tube, Surface::Metal),
            Shape::Fronted(..) | Shape::Block(..) => (Make::Block, Surface::Insulator),
        };
        let mut part = Self {
            name,
            kind,
            make,
            volts,
            surface,
            shell: Vec::new(),
            in_walls: Vec::new(),
            masked: Vec::new(),
            of: Vec::new(),
            solid: make != Make::Plate,
            shape,
        };
        part.shell = part.shape.outline();
        part
    }

    fn of_print(
        k: usize,
        body: &Hung,
        print: &Print,
        tank: Option<&Vessel>,
    ) -> Result<Self, SceneError> {
        let turned = Turn::new(body.rotation);
        let place = |at: Point| times(plus(turned.turn(at), body.move_mm), 1e-3);
        let placed: Vec<[Point; 3]> = print
            .triangles
            .iter()
            .map(|triangle| triangle.map(place))
            .collect();
        let in_wall = |triangle: &[Point; 3]| tank.is_some_and(|tank| lies_in(tank, triangle));
        let sheet_in_wall = !print.solid && placed.iter().all(in_wall);
        let mut part = Self::new(body.name.clone(), Kind::Piece, body.volts, Shape::Print);
        part.solid = print.solid;
        part.surface = match (print.solid, sheet_in_wall) {
            (true, _) => Surface::Metal,
            (false, true) => Surface::FlushPlate,
            (false, false) => Surface::Plate,
        };
        // What of a solid lies in a wall is not wetted.
        let kept = |at: &usize| !(print.solid && in_wall(&placed[*at]));
        let (kept, dry): (Vec<usize>, Vec<usize>) = (0..placed.len()).partition(kept);
        part.in_walls = dry.iter().map(|at| placed[*at]).collect();
        part.shell = kept.iter().map(|at| placed[*at]).collect();
        part.masked = kept.iter().map(|at| print.masked[*at]).collect();
        part.of = kept.iter().map(|at| print.of[*at]).collect();
        let path = |field: &str| format!("bodies[{k}].{field}");
        if part.masked.iter().all(|masked| *masked) {
            return Err(SceneError::Wrong {
                path: path("mesh"),
                because: format!("nothing of `{}` is wetted", body.name),
            });
        }
        if part.surface == Surface::Plate && !body.kinetics.is_none() {
            return Err(SceneError::Wrong {
                path: path("kinetics"),
                because: format!(
                    "`{}` is a sheet without thickness, which knows no kinetics: give the print a thickness, or lay \
                     it in a wall",
                    body.name
                ),
            });
        }
        Ok(part)
    }

    fn of_wire(wire: &Strand) -> Self {
        let kind = if wire.thief { Kind::Thief } else { Kind::Wire };
        let shape = Shape::Tube(
            metres(&wire.points_mm),
            wire.diameter_mm * 1e-3,
            wire.closed,
        );
        Self::new(wire.name.clone(), kind, wire.volts, shape)
    }

    fn of_anode(anode: &Anode, tank: Option<&Vessel>) -> Self {
        let (mut centre, mut normal) = (times(anode.centre_mm, 1e-3), unit(anode.normal));
        let size = anode.size_mm.map(|mm| mm * 1e-3);
        let wall = tank.and_then(|tank| wall_of(tank, centre, normal));
        if let Some((axis, at, inward)) = wall {
            centre[axis] = at;
            normal = [0.0; 3];
            normal[axis] = inward;
        }
        let shape = if wall.is_none() && anode.faces == Faces::Front {
            Shape::Fronted(centre, normal, size)
        } else {
            Shape::Face(centre, normal, size)
        };
        let mut part = Self::new(anode.name.clone(), Kind::Anode, anode.volts, shape);
        if wall.is_some() {
            part.surface = Surface::FlushPlate;
        }
        part
    }

    fn of_shield(k: usize, shield: &Shield) -> Self {
        let name = shield.name.clone().unwrap_or_else(|| format!("{}", k + 1));
        let size = shield.size_mm.map(|mm| mm * 1e-3);
        let shape = Shape::Block(
            times(shield.centre_mm, 1e-3),
            unit(shield.normal),
            size,
            shield.thickness_mm * 1e-3,
        );
        Self::new(name, Kind::Shield, 0.0, shape)
    }

    /// What it is called: "the wire `hook`".
    pub(super) fn words(&self) -> String {
        let kind = match self.kind {
            Kind::Piece => "the piece",
            Kind::Wire => "the wire",
            Kind::Thief => "the thief",
            Kind::Anode => "the anode",
            Kind::Shield => "the shield",
        };
        format!("{kind} `{}`", self.name)
    }

    /// Its working area, m².
    pub(super) fn area(&self) -> f64 {
        self.shell.iter().map(|triangle| area(*triangle)).sum()
    }

    /// How many panels it wants, beside the others. Current gathers at edges and
    /// tips of pieces; anodes and shields are flat and farther away.
    pub(super) fn need(&self) -> f64 {
        let worth = match self.make {
            Make::Print => 1.0,
            Make::Tube => 0.5,
            Make::Plate | Make::Block => 0.15,
        };
        worth * self.area().sqrt()
    }

    /// Its panels, about `wanted` of them.
    ///
    /// # Errors
    /// As [`cover::print`].
    pub(super) fn covered(
        &self,
        wanted: usize,
        tank: Option<&Vessel>,
        watch: &dyn Watch,
    ) -> Result<Covered, FieldError> {
        if self.make == Make::Print {
            let cover = cover::print(&self.shell, &self.masked, wanted, watch)?;
            let surface = |live: &bool| match (live, self.surface) {
                (true, surface) => surface,
                (false, _) => Surface::Insulator,
            };
            let body = Body {
                surfaces: cover.live.iter().map(surface).collect(),
                panels: cover.panels.clone(),
                anode: false,
            };
            return Ok(Covered {
                body,
                cover: Some(cover),
            });
        }
        let mut panels = self.about(wanted);
        if let (Some(tank), Make::Block | Make::Tube) = (tank, self.make) {
            panels.retain(|panel| !lies_in(tank, &panel.corners));
        }
        let surfaces = panels.iter().map(|panel| self.surface_of(panel)).collect();
        let body = Body {
            panels,
            surfaces,
            anode: self.kind == Kind::Anode,
        };
        Ok(Covered { body, cover: None })
    }

    fn surface_of(&self, panel: &Panel) -> Surface {
        match self.shape {
            Shape::Fronted(_, normal, _) if dot(panel.normal, normal) > 0.99 => Surface::Metal,
            _ => self.surface,
        }
    }

    /// Panels of the fineness that makes about so many.
    fn about(&self, wanted: usize) -> Vec<Panel> {
        let mut fineness = (2.0 * self.area() / wanted as f64).sqrt();
        let mut panels = self.made(fineness);
        for _ in 0..4 {
            let off = panels.len() as f64 / wanted as f64;
            if (0.75..1.3).contains(&off) {
                break;
            }
            fineness *= off.sqrt();
            panels = self.made(fineness);
        }
        panels
    }

    fn made(&self, fineness: f64) -> Vec<Panel> {
        match &self.shape {
            Shape::Print => Vec::new(),
            Shape::Face(centre, normal, size) => cover::face(*centre, *normal, *size, fineness),
            Shape::Fronted(centre, normal, size) => {
                let behind = less(*centre, times(*normal, PLATE_THICK / 2.0));
                cover::block(behind, *normal, *size, PLATE_THICK, fineness)
            }
            Shape::Tube(points, diameter, closed) => {
                cover::tube(points, *diameter, *closed, fineness)
            }
            Shape::Block(centre, normal, size, thickness) => {
                cover::block(*centre, *normal, *size, *thickness, fineness)
            }
        }
    }
}

impl Shape {
    /// The surface in as few triangles as will do.
    fn outline(&self) -> Vec<[Point; 3]> {
        match self {
            Self::Print => Vec::new(),
            Self::Face(centre, normal, size) => {
                let [across, up] = sides(*normal, *size);
                let low = less(*centre, times(plus(across, up), 0.5));
                quadrangle(low, across, up).to_vec()
            }
            Self::Fronted(centre, normal, size) => {
                let behind = less(*centre, times(*normal, PLATE_THICK / 2.0));
                cuboid(behind, *normal, *size, PLATE_THICK)
            }
            Self::Tube(points, diameter, closed) => {
                shell_of(&cover::tube(points, *diameter, *closed, FAR))
            }
            Self::Block(centre, normal, size, thickness) => {
                cuboid(*centre, *normal, *size, *thickness)
            }
        }
    }
}

/// Longer than any tank, m.
const FAR: f64 = 1e3;

/// The sides of a plate: level and upward, of a level plate along x and y.
fn sides(normal: Point, [wide, high]: [f64; 2]) -> [Point; 2] {
    let across = if normal[0].hypot(normal[1]) > 1e-9 {
        unit(cross([0.0, 0.0, 1.0], normal))
    } else {
        [normal[2].signum(), 0.0, 0.0]
    };
    [times(across, wide), times(cross(normal, across), high)]
}

fn quadrangle(low: Point, one: Point, other: Point) -> [[Point; 3]; 2] {
    let (a, b) = (plus(low, one), plus(low, other));
    let far = plus(a, other);
    [[low, a, far], [low, far, b]]
}

fn cuboid(centre: Point, normal: Point, size: [f64; 2], thickness: f64) -> Vec<[Point; 3]> {
    let [across, up] = sides(normal, size);
    let along = times(normal, thickness);
    let low = less(centre, times(plus(plus(across, up), along), 0.5));
    let faces = [
        quadrangle(low, up, across),
        quadrangle(plus(low, along), across, up),
        quadrangle(low, across, along),
        quadrangle(plus(low, up), along, across),
        quadrangle(low, along, up),
        quadrangle(plus(low, across), up, along),
    ];
    faces.as_flattened().to_vec()
}

fn metres(points_mm: &[Point]) -> Vec<Point> {
    points_mm.iter().map(|point| times(*point, 1e-3)).collect()
}

/// The wall that a plate lies in: axis, place along it, direction inwards.
fn wall_of(tank: &Vessel, centre: Point, normal: Point) -> Option<(usize, f64, f64)> {
    let axis = (0..3).find(|axis| normal[*axis].abs() > 1.0 - 1e-6)?;
    let walls = [
        (tank.min_mm[axis] * 1e-3, 1.0),
        (tank.max_mm[axis] * 1e-3, -1.0),
    ];
    let near = |(at, _): &(f64, f64)| (at - centre[axis]).abs() < IN_WALL;
    walls
        .into_iter()
        .find(near)
        .map(|(at, inward)| (axis, at, inward))
}

/// Whether a triangle lies in a wall, whichever way it is turned.
fn lies_in(tank: &Vessel, triangle: &[Point; 3]) -> bool {
    (0..3).any(|axis| {
        [tank.min_mm[axis], tank.max_mm[axis]].iter().any(|mm| {
            triangle
                .iter()
                .all(|corner| (corner[axis] - mm * 1e-3).abs() < IN_WALL)
        })
    })
}

/// A place turned about the origin by a quaternion w, x, y, z of any length but
/// zero.
pub fn turned(rotation: [f64; 4], at: Point) -> Point {
    Turn::new(rotation).turn(at)
}

/// A turn about the origin by a quaternion of any length.
struct Turn([Point; 3]);

impl Turn {
    fn new(rotation: [f64; 4]) -> Self {
        let size = rotation.iter().map(|part| part * part).sum::<f64>().sqrt();
        let [w, x, y, z] = rotation.map(|part| part / size);
        Self([
            [
                1.0 - 2.0 * (y * y + z * z),
                2.0 * (x * y - w * z),
                2.0 * (x * z + w * y),
            ],
            [
                2.0 * (x * y + w * z),
                1.0 - 2.0 * (x * x + z * z),
                2.0 * (y * z - w * x),
            ],
            [
                2.0 * (x * z - w * y),
                2.0 * (y * z + w * x),
                1.0 - 2.0 * (x * x + y * y),
            ],
        ])
    }

    fn turn(&self, at: Point) -> Point {
        self.0.map(|row| dot(row, at))
    }
}

/// Upright on a triangle, of length 1.
pub(super) fn upright(triangle: [Point; 3]) -> Point {
    unit(normal(triangle))
}

/// The box around triangles.
pub(super) fn bounds(shell: &[[Point; 3]]) -> (Point, Point) {
    let none = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    shell.iter().flatten().fold(none, |(low, high), corner| {
        (
            [0, 1, 2].map(|axis| low[axis].min(corner[axis])),
            [0, 1, 2].map(|axis| high[axis].max(corner[axis])),
        )
    })
}
