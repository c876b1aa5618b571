//! One model part: its unit, objects and build.

use std::collections::{BTreeMap, BTreeSet};

use super::Parts;
use super::xml::{Tag, Xml};
use crate::mesh::draft::within_budget;
use crate::mesh::words::{parsed, printable, shown};
use crate::mesh::{CORNER_BUDGET, Corner, LengthUnit, MeshError, TRIANGLE_BUDGET, is_sound};

/// The most objects and uses of objects that all parts may name. They take more
/// room than their tags in the file, and far more than these packed.
const MOST_NAMED: usize = 1_000_000;
/// How many characters of an object's name are kept.
const LONGEST_NAME: usize = 200;

/// How much there is in all parts so far.
#[derive(Debug, Default)]
pub(super) struct Sums {
    corners: usize,
    triangles: usize,
    named: usize,
}

impl Sums {
    fn corner(&mut self) -> Result<(), MeshError> {
        self.corners += 1;
        within_budget("corners", self.corners, CORNER_BUDGET)
    }

    fn triangle(&mut self) -> Result<(), MeshError> {
        self.triangles += 1;
        within_budget("triangles", self.triangles, TRIANGLE_BUDGET)
    }

    fn named(&mut self) -> Result<(), MeshError> {
        self.named += 1;
        within_budget("objects and uses of them", self.named, MOST_NAMED)
    }
}

/// A model part as it stands.
#[derive(Debug)]
pub(super) struct Model {
    pub(super) unit: LengthUnit,
    pub(super) objects: Vec<Object>,
    /// Where in `objects` each number is.
    pub(super) places: BTreeMap<u32, usize>,
    /// What is built.
    pub(super) items: Vec<Use>,
}

#[derive(Debug)]
pub(super) struct Object {
    /// May be empty.
    pub(super) name: String,
    pub(super) kind: Kind,
    pub(super) corners: Vec<Corner>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) components: Vec<Use>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Kind {
    /// A model or a surface: what is printed to stay.
    Print,
    /// Broken off after printing.
    Support,
    /// A helper of the object that it is a component of.
    Other,
}

/// An object in the build or within another object.
#[derive(Debug)]
pub(super) struct Use {
    /// The number of the object.
    pub(super) object: u32,
    /// The number of the part that it is in, where that is another.
    pub(super) part: Option<usize>,
    pub(super) transform: Transform,
}

/// Three rows that x, y and z are multiplied with, and a fourth that is added.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Transform([[f64; 3]; 4]);

impl Default for Transform {
    fn default() -> Self {
        Self([[1., 0., 0.], [0., 1., 0.], [0., 0., 1.], [0.; 3]])
    }
}

impl Transform {
    pub(super) fn of(&self, [x, y, z]: Corner) -> Corner {
        let [a, b, c, moved] = &self.0;
        [0, 1, 2].map(|axis| x * a[axis] + y * b[axis] + z * c[axis] + moved[axis])
    }

    /// This transform, and then the one around it.
    pub(super) fn within(&self, around: &Self) -> Self {
        let [a, b, c, moved] = self.0;
        let origin = around.0[3];
        let turned = |row: Corner| {
            let there = around.of(row);
            [0, 1, 2].map(|axis| there[axis] - origin[axis])
        };
        Self([turned(a), turned(b), turned(c), around.of(moved)])
    }

    /// Whether left becomes right.
    pub(super) fn is_mirrored(&self) -> bool {
        let [[a, b, c], [d, e, f], [g, h, i], _] = self.0;
        a * (e * i - f * h) - b * (d * i - f * g) + c * (d * h - e * g) < 0.0
    }
}

impl Model {
    /// Reads a model part; what it refers to is added to the parts.
    pub(super) fn read(
        mut xml: Xml,
        parts: &mut Parts,
        sums: &mut Sums,
    ) -> Result<Self, MeshError> {
        let mut model = Self {
            unit: LengthUnit::Mm,
            objects: Vec::new(),
            places: BTreeMap::new(),
            items: Vec::new(),
        };
        // The prefix of the elements that belong to the core, and the depth of
        // one that does not: what is within it does not either.
        let mut core: Option<Vec<u8>> = None;
        let mut foreign = usize::MAX;
        while let Some(tag) = xml.next()? {
            let (local, prefix) = tag.local();
            let Some(core) = &core else {
                if local != b"model" {
                    return Err(tag.unexpected("`model`"));
                }
                model.unit = unit(&tag)?;
                check_extensions(&tag)?;
                core = Some(prefix.to_vec());
                continue;
            };
            if tag.depth > foreign {
                continue;
            }
            foreign = usize::MAX;
            if prefix != core.as_slice() || is_foreign_by_default(&tag)? {
                foreign = tag.depth;
                continue;
            }
            match local {
                b"vertex" => {
                    sums.corner()?;
                    let object = model.open_object(&tag)?;
                    let corner = tag.corner(object.corners.len() + 1)?;
                    object.corners.push(corner);
                }
                b"triangle" => {
                    sums.triangle()?;
                    let object = model.open_object(&tag)?;
                    let triangle = triangle(&tag, object.corners.len())?;
                    object.triangles.push(triangle);
                }
                b"component" => {
                    sums.named()?;
                    let used = used(&tag, parts)?;
                    model.open_object(&tag)?.components.push(used);
                }
                b"object" => {
                    sums.named()?;
                    model.add_object(&tag)?;
                }
                b"item" => {
                    sums.named()?;
                    model.items.push(used(&tag, parts)?);
                }
                _ => {}
            }
        }
        match core {
            Some(_) => Ok(model),
            None => Err(MeshError::NoTriangles),
        }
    }

    fn open_object(&mut self, tag: &Tag) -> Result<&mut Object, MeshError> {
        let last = self.objects.last_mut();
        last.ok_or_else(|| tag.unexpected("an `object` around it"))
    }

    fn add_object(&mut self, tag: &Tag) -> Result<(), MeshError> {
        let kind = match tag.raw(b"type")? {
            Some(b"support" | b"solidsupport") => Kind::Support,
            Some(b"other") => Kind::Other,
            _ => Kind::Print,
        };
        let name = tag.attribute(b"name")?.unwrap_or_default();
        let name = printable(name.trim().as_bytes());
        let kept = name.chars().take(LONGEST_NAME);
        let number = number(tag, "id")?;
        if self.places.insert(number, self.objects.len()).is_some() {
            return Err(tag.unexpected("a number of its own for each object"));
        }
        self.objects.push(Object {
            name: kept.collect(),
            kind,
            corners: Vec::new(),
            triangles: Vec::new(),
            components: Vec::new(),
        });
        Ok(())
    }
}

/// Without one a model is in millimetres, by the specification.
fn unit(tag: &Tag) -> Result<LengthUnit, MeshError> {
    Ok(match tag.raw(b"unit")? {
        None | Some(b"millimeter") => LengthUnit::Mm,
        Some(b"micron") => LengthUnit::Um,
        Some(b"centimeter") => LengthUnit::Cm,
        Some(b"inch") => LengthUnit::In,
        Some(b"foot") => LengthUnit::Ft,
        Some(b"meter") => LengthUnit::M,
        Some(other) => {
            return Err(tag.wrong(other, "micron, millimeter, centimeter, inch, foot or meter"));
        }
    })
}

/// Refuses a model that cannot be read without an extension which holds more of
/// the shape than its triangles, or hides them.
fn check_extensions(tag: &Tag) -> Result<(), MeshError> {
    const HARMLESS: [&str; 4] = ["production", "material", "slice", "trianglesets"];
    let required = tag.attribute(b"requiredextensions")?.unwrap_or_default();
    let mut others: BTreeSet<&[u8]> = required.as_bytes().split(u8::is_ascii_whitespace).collect();
    others.remove(&[][..]);
    tag.find(|name, namespace| {
        let is_harmless = |word: &&str| memchr::memmem::find(namespace, word.as_bytes()).is_some();
        if let Some(prefix) = name.strip_prefix(b"xmlns:")
            && HARMLESS.iter().any(is_harmless)
        {
            others.remove(prefix);
        }
        false
    })?;
    match others.first() {
        None => Ok(()),
        Some(prefix) => Err(MeshError::Unsupported {
            found: format!("a 3MF that needs the extension `{}`", shown(prefix)),
            expected: "its core of triangles",
        }),
    }
}

/// Whether an element without a prefix says itself that it is of an extension.
fn is_foreign_by_default(tag: &Tag) -> Result<bool, MeshError> {
    let namespace = tag.raw(b"xmlns")?;
    Ok(namespace.is_some_and(|name| memchr::memmem::find(name, b"/core/").is_none()))
}

/// The number of an object.
fn number(tag: &Tag, attribute: &'static str) -> Result<u32, MeshError> {
    let text = tag.need_text(attribute)?;
    let number = text.trim().parse().ok();
    number.ok_or_else(|| tag.wrong(text.as_bytes(), "the number of an object"))
}

fn used(tag: &Tag, parts: &mut Parts) -> Result<Use, MeshError> {
    let part = tag.prefixed(b"path")?;
    let transform = tag.raw(b"transform")?.map(|text| transform(tag, text));
    Ok(Use {
        object: number(tag, "objectid")?,
        part: part.map(|part| parts.number(&part)).transpose()?,
        transform: transform.transpose()?.unwrap_or_default(),
    })
}

fn transform(tag: &Tag, text: &[u8]) -> Result<Transform, MeshError> {
    const EXPECTED: &str = "a transform of twelve numbers";
    let mut rows = [[0.0; 3]; 4];
    let mut words = text
        .split(u8::is_ascii_whitespace)
        .filter(|word| !word.is_empty());
    for number in rows.as_flattened_mut() {
        let word = words
            .next()
            .and_then(parsed)
            .filter(|number| is_sound(*number));
        *number = word.ok_or_else(|| tag.wrong(text, EXPECTED))?;
    }
    match words.next() {
        None => Ok(Transform(rows)),
        Some(more) => Err(tag.wrong(more, EXPECTED)),
    }
}

fn triangle(tag: &Tag, count: usize) -> Result<[u32; 3], MeshError> {
    let mut triangle = [0; 3];
    for (corner, name) in triangle.iter_mut().zip(["v1", "v2", "v3"]) {
        let word = tag.need(name)?.trim_ascii();
        let Some(number) = parsed::<i64>(word) else {
            return Err(tag.wrong(word, "the number of a vertex"));
        };
        let index = u32::try_from(number).ok();
        let index = index.filter(|index| (*index as usize) < count);
        *corner = index.ok_or_else(|| MeshError::BadIndex {
            at: Some(tag.spot),
            found: number.to_string(),
            expected: match count {
                0 => "vertices before the triangles".to_owned(),
                _ => format!("0 to {}", count - 1),
            },
        })?;
    }
    Ok(triangle)
}
