//! 3MF: a ZIP archive of XML, with units, objects, components and transforms.
//!
//! From memory of the 3MF core specification (1.3) and its production
//! extension. What the build holds is read, copy by copy; objects that are not
//! built do not count. What slicers keep beside the model is passed over.
//!
//! Objects of type `support` and `solidsupport` are broken off the print, and
//! an item of type `other` is none: they are left out, with a remark. `surface`
//! is printed and counts.

mod model;
mod text;
mod xml;
mod zip;

use std::collections::BTreeMap;

pub(super) use zip::is_zip;

use self::model::{Kind, Model, Object, Sums, Transform, Use};
use self::xml::Xml;
use self::zip::Archive;
use super::draft::{Draft, within_budget};
use super::{CORNER_BUDGET, INSTANCE_BUDGET, Mesh, MeshError, Remark, TRIANGLE_BUDGET, is_sound};

/// The most objects within each other.
const DEEPEST: usize = 50;
/// The end of the relationship's type that leads to the model.
const MODEL_RELATIONSHIP: &[u8] = b"/3dmodel";

/// The refusal of XML outside of an archive.
pub(super) fn bare_xml(text: &[u8]) -> MeshError {
    let beginning = &text[..text.len().min(4096)];
    if memchr::memmem::find(beginning, b"3dmanufacturing").is_some() {
        return MeshError::BadZip {
            found: "the bare XML of a 3MF model".to_owned(),
        };
    }
    MeshError::unread_format("XML, as AMF is".to_owned())
}

/// Reads a 3MF file.
pub(super) fn read(bytes: &[u8]) -> Result<Mesh<'static>, MeshError> {
    let mut archive = Archive::open(bytes)?;
    let root = root_reference(&mut archive)?;
    let mut package = Package::load(&mut archive, &root)?;
    let placed = package.placed()?;
    let mut draft = package.build(placed)?;
    let remarks = &mut draft.remarks;
    remarks.extend(Remark::skipped(
        "names that lead out of the archive",
        archive.climbing,
    ));
    remarks.extend(Remark::skipped("supports and helpers", package.left_out));
    let unit = package.models.first().map(|model| model.unit);
    draft.finish(unit)
}

/// The reference to the part with the model, from the archive's relationships.
fn root_reference(archive: &mut Archive) -> Result<String, MeshError> {
    const RELATIONSHIPS: &str = "_rels/.rels";
    let no_model = || MeshError::NotAMesh {
        found: "a ZIP archive without a 3D model".to_owned(),
    };
    if !archive.has(RELATIONSHIPS) {
        return Err(no_model());
    }
    let mut xml = Xml::new(archive.part(RELATIONSHIPS)?);
    let target = model_target(&mut xml).map_err(|error| within(RELATIONSHIPS, error))?;
    target.ok_or_else(no_model)
}

/// Where the first relationship leads that is to a model.
fn model_target(relationships: &mut Xml) -> Result<Option<String>, MeshError> {
    while let Some(tag) = relationships.next()? {
        let kind = tag.raw(b"Type")?.unwrap_or_default();
        if tag.local().0 == b"Relationship" && kind.ends_with(MODEL_RELATIONSHIP) {
            return Ok(Some(tag.attribute(b"Target")?.unwrap_or_default()));
        }
    }
    Ok(None)
}

/// The name in the archive that a reference means.
fn part_name(reference: &str) -> Result<String, MeshError> {
    let path = decoded(reference);
    let is_odd = |step: &str| step == ".." || step.contains(['\\', ':']);
    if path.split('/').any(is_odd) {
        return Err(MeshError::UnsafePath {
            name: super::words::shown(reference.as_bytes()),
        });
    }
    let steps = path.split('/').filter(|step| !matches!(*step, "" | "."));
    Ok(steps.collect::<Vec<_>>().join("/"))
}

/// A reference without its `%20` and the like.
fn decoded(reference: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = reference.as_bytes();
    while let Some((first, after)) = rest.split_first() {
        let hex = after.get(..2).and_then(|hex| std::str::from_utf8(hex).ok());
        let byte = hex.and_then(|hex| u8::from_str_radix(hex, 16).ok());
        let decoded = byte.filter(|_| *first == b'%');
        bytes.push(decoded.unwrap_or(*first));
        rest = if decoded.is_some() {
            &after[2..]
        } else {
            after
        };
    }
    super::words::printable(&bytes)
}

fn within(part: &str, error: MeshError) -> MeshError {
    match error {
        error @ (MeshError::InPart { .. }
        | MeshError::MissingPart { .. }
        | MeshError::UnsafePath { .. }
        | MeshError::TooLarge { .. }
        | MeshError::BadZip { .. }
        | MeshError::Unsupported { .. }) => error,
        error => MeshError::InPart {
            part: super::words::shown(part.as_bytes()),
            error: Box::new(error),
        },
    }
}

/// The parts with models, numbered as they are first referred to.
struct Parts<'p, 'a> {
    archive: &'p mut Archive<'a>,
    names: Vec<String>,
    numbers: BTreeMap<String, usize>,
}

impl Parts<'_, '_> {
    /// The number of the part that a reference means, which has to be there.
    fn number(&mut self, reference: &str) -> Result<usize, MeshError> {
        let name = part_name(reference)?;
        // Names are compared without their case.
        let key = name.to_lowercase();
        if let Some(number) = self.numbers.get(&key) {
            return Ok(*number);
        }
        if !self.archive.has(&name) {
            return Err(zip::missing(&name));
        }
        let number = self.names.len();
        self.names.push(name);
        self.numbers.insert(key, number);
        Ok(number)
    }
}

/// All models that the build leads to by the numbers of their parts, the root's
/// first.
struct Package {
    models: Vec<Model>,
    /// How many objects of the build are no part of the print.
    left_out: usize,
}

/// One copy of an object with triangles of its own, in the build.
struct Placed {
    /// The objects from the item down to it, each by model and place there.
    path: Vec<(usize, usize)>,
    transform: Transform,
}

impl Package {
    fn load(archive: &mut Archive, root: &str) -> Result<Self, MeshError> {
        let mut parts = Parts {
            archive,
            names: Vec::new(),
            numbers: BTreeMap::new(),
        };
        parts.number(root)?;
        let mut models = Vec::new();
        let mut sums = Sums::default();
        while let Some(name) = parts.names.get(models.len()).cloned() {
            let xml = Xml::new(parts.archive.part(&name)?);
            let model = Model::read(xml, &mut parts, &mut sums);
            models.push(model.map_err(|error| within(&name, error))?);
        }
        Ok(Self {
            models,
            left_out: 0,
        })
    }

    /// The object that a use in `model` means.
    fn find(&self, model: usize, used: &Use) -> Result<(usize, usize), MeshError> {
        let model = used.part.unwrap_or(model);
        let place = self.models[model].places.get(&used.object).copied();
        let place = place.ok_or_else(|| MeshError::MissingPart {
            name: format!("object {}", used.object),
        })?;
        Ok((model, place))
    }

    fn object(&self, (model, place): (usize, usize)) -> &Object {
        &self.models[model].objects[place]
    }

    /// Every copy of an object with triangles that the build holds.
    fn placed(&mut self) -> Result<Vec<Placed>, MeshError> {
        let mut visit = Visit {
            package: self,
            path: Vec::new(),
            visited: 0,
            left_out: 0,
            placed: Vec::new(),
        };
        if let Some(root) = visit.package.models.first() {
            for item in &root.items {
                visit.go(0, item, &Transform::default())?;
            }
        }
        let (placed, left_out) = (visit.placed, visit.left_out);
        self.left_out = left_out;
        Ok(placed)
    }

    /// Puts the copies together. Objects give their corners and triangles away
    /// where they are needed for the last time.
    fn build(&mut self, placed: Vec<Placed>) -> Result<Draft, MeshError> {
        let mut uses = BTreeMap::<_, usize>::new();
        let (mut corners, mut triangles) = (0, 0);
        for copy in &placed {
            let Some(object) = copy.path.last() else {
                continue;
            };
            *uses.entry(*object).or_default() += 1;
            corners += self.object(*object).corners.len();
            triangles += self.object(*object).triangles.len();
        }
        within_budget("corners", corners, CORNER_BUDGET)?;
        within_budget("triangles", triangles, TRIANGLE_BUDGET)?;
        let mut draft = Draft::new();
        for Placed { path, transform } in placed {
            let Some(&(model, place)) = path.last() else {
                continue;
            };
            let object = &mut self.models[model].objects[place];
            let is_last = uses.get_mut(&(model, place)).is_some_and(|left| {
                *left -= 1;
                *left == 0
            });
            let (corners, triangles) = if is_last {
                (
                    std::mem::take(&mut object.corners),
                    std::mem::take(&mut object.triangles),
                )
            } else {
                (object.corners.clone(), object.triangles.clone())
            };
            let from = draft.count();
            add_copy(&mut draft, corners, triangles, &transform)?;
            let run = from..draft.count();
            for object in path {
                draft.groups.add(&self.object(object).name, run.clone());
            }
        }
        Ok(draft)
    }
}

/// Adds a copy of an object in its place; one that is mirrored is turned inside
/// out again.
fn add_copy(
    draft: &mut Draft,
    mut corners: Vec<[f64; 3]>,
    mut triangles: Vec<[u32; 3]>,
    transform: &Transform,
) -> Result<(), MeshError> {
    if *transform != Transform::default() {
        for (at, corner) in corners.iter_mut().enumerate() {
            *corner = transform.of(*corner);
            if let Some(found) = corner.iter().find(|number| !is_sound(**number)) {
                return Err(MeshError::BadCoordinate {
                    at: None,
                    of: "vertex",
                    number: at + 1,
                    found: *found,
                });
            }
        }
    }
    let before = draft.corners.len() as u32;
    let is_mirrored = transform.is_mirrored();
    for triangle in &mut triangles {
        *triangle = triangle.map(|at| at + before);
        if is_mirrored {
            triangle.swap(1, 2);
        }
    }
    if draft.corners.is_empty() {
        draft.corners = corners;
        draft.triangles = triangles;
    } else {
        draft.corners.append(&mut corners);
        draft.triangles.append(&mut triangles);
    }
    Ok(())
}

/// A walk through the build.
struct Visit<'p> {
    package: &'p Package,
    path: Vec<(usize, usize)>,
    visited: usize,
    left_out: usize,
    placed: Vec<Placed>,
}

impl Visit<'_> {
    fn go(&mut self, model: usize, used: &Use, around: &Transform) -> Result<(), MeshError> {
        let place = self.package.find(model, used)?;
        if self.path.contains(&place) {
            return Err(MeshError::ComponentCycle {
                object: used.object,
            });
        }
        self.visited += 1;
        if self.visited > INSTANCE_BUDGET || self.path.len() == DEEPEST {
            return Err(MeshError::TooManyInstances);
        }
        let object = self.package.object(place);
        let is_item = self.path.is_empty();
        if object.kind == Kind::Support || (object.kind == Kind::Other && is_item) {
            self.left_out += 1;
            return Ok(());
        }
        let transform = used.transform.within(around);
        self.path.push(place);
        if !object.triangles.is_empty() {
            self.placed.push(Placed {
                path: self.path.clone(),
                transform,
            });
        }
        for component in &object.components {
            self.go(place.0, component, &transform)?;
        }
        self.path.pop();
        Ok(())
    }
}
