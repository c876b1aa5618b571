//! PLY, as text or in binary of either byte order.
//!
//! From memory of the format's first description (Greg Turk, Stanford, 1994):
//! a header names elements with their counts and properties, then their rows
//! follow in the same order. Read are the `x y z` of `vertex`, the corners of
//! `face` and of `tristrips`; every other element and property is passed over.

use super::draft::{Draft, within_budget};
use super::words::{Words, parsed, shown};
use super::{CORNER_BUDGET, Mesh, MeshError, Remark, Spot, TRIANGLE_BUDGET, is_sound};

pub(super) fn is_ply(bytes: &[u8]) -> bool {
    bytes.starts_with(b"ply\n") || bytes.starts_with(b"ply\r")
}

/// Reads a PLY file.
pub(super) fn read(bytes: &[u8]) -> Result<Mesh<'static>, MeshError> {
    let mut words = Words::new(bytes);
    let header = Header::read(&mut words)?;
    match header.order {
        None => read_rows(Text(words), &header.elements),
        Some(order) => {
            let bytes = words.bytes;
            read_rows(Binary { bytes, order }, &header.elements)
        }
    }
}

#[derive(Debug, Clone, Copy)]
enum Order {
    LittleEndian,
    BigEndian,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Scalar {
    fn named(name: &[u8]) -> Option<Self> {
        Some(match name {
            b"char" | b"int8" => Self::I8,
            b"uchar" | b"uint8" => Self::U8,
            b"short" | b"int16" => Self::I16,
            b"ushort" | b"uint16" => Self::U16,
            b"int" | b"int32" => Self::I32,
            b"uint" | b"uint32" => Self::U32,
            b"float" | b"float32" => Self::F32,
            b"double" | b"float64" => Self::F64,
            _ => return None,
        })
    }

    fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

/// A property: one number a row, or a list of them behind its length.
#[derive(Debug)]
struct Property<'a> {
    name: &'a [u8],
    length: Option<Scalar>,
    scalar: Scalar,
}

impl Property<'_> {
    fn is_corners(&self) -> bool {
        self.length.is_some() && matches!(self.name, b"vertex_indices" | b"vertex_index")
    }
}

#[derive(Debug)]
struct Element<'a> {
    name: &'a [u8],
    count: usize,
    properties: Vec<Property<'a>>,
}

struct Header<'a> {
    /// Of the bytes of a number; none in text.
    order: Option<Order>,
    elements: Vec<Element<'a>>,
}

impl<'a> Header<'a> {
    /// Reads up to and with the line `end_header`.
    fn read(words: &mut Words<'a>) -> Result<Self, MeshError> {
        words.skip_line();
        words.end_line();
        let mut order = None;
        let mut elements: Vec<Element> = Vec::new();
        loop {
            let word = words.need("`end_header`")?;
            match word {
                b"format" => order = Some(format(words)?),
                b"comment" | b"obj_info" => {}
                b"element" => elements.push(element(words)?),
                b"property" => match elements.last_mut() {
                    Some(element) => element.properties.push(property(words)?),
                    None => return Err(bad(words, word, "an `element` before its properties")),
                },
                b"end_header" => break,
                _ => return Err(bad(words, word, "`element`, `property` or `end_header`")),
            }
            words.skip_line();
        }
        let order = order.ok_or_else(|| bad(words, b"end_header", "a line `format` before it"))?;
        // Nothing is there to be read of these, however many are announced.
        elements.retain(|element| !element.properties.is_empty());
        let vertices = elements.iter().filter(|element| element.name == b"vertex");
        if vertices.count() > 1 {
            return Err(bad(words, b"end_header", "one element `vertex` before it"));
        }
        words.skip_line();
        // Binary rows may begin with any byte, so only one end of line is gone
        // over.
        words.end_line();
        Ok(Self { order, elements })
    }
}

/// The refusal of a word in the header; at the very end of the file it may have
/// been cut.
fn bad(words: &Words, word: &[u8], expected: &'static str) -> MeshError {
    match words.cut_or_unexpected(word, expected) {
        MeshError::Parse { .. } => MeshError::BadHeader {
            at: words.spot,
            found: shown(word),
            expected,
        },
        cut => cut,
    }
}

fn format(words: &mut Words) -> Result<Option<Order>, MeshError> {
    const EXPECTED: &str = "ascii, binary_little_endian or binary_big_endian";
    let word = words.need(EXPECTED)?;
    let order = match word {
        b"ascii" => None,
        b"binary_little_endian" => Some(Order::LittleEndian),
        b"binary_big_endian" => Some(Order::BigEndian),
        _ => return Err(bad(words, word, EXPECTED)),
    };
    let version = words.need("1.0")?;
    if version != b"1.0" {
        return Err(bad(words, version, "version 1.0"));
    }
    Ok(order)
}

fn element<'a>(words: &mut Words<'a>) -> Result<Element<'a>, MeshError> {
    let name = words.need("the name of an element")?;
    let word = words.need("the count of an element")?;
    let Some(count) = parsed(word) else {
        return Err(bad(words, word, "the count of an element"));
    };
    Ok(Element {
        name,
        count,
        properties: Vec::new(),
    })
}

fn property<'a>(words: &mut Words<'a>) -> Result<Property<'a>, MeshError> {
    let scalar = |word: &'a [u8], words: &Words| {
        Scalar::named(word).ok_or_else(|| bad(words, word, "a type of number"))
    };
    let first = words.need("the type of a property")?;
    let (length, scalar) = if first == b"list" {
        let length = words.need("the type of a list's length")?;
        let length = scalar(length, words)?;
        let item = words.need("the type of a list's numbers")?;
        (Some(length), scalar(item, words)?)
    } else {
        (None, scalar(first, words)?)
    };
    let name = words.need("the name of a property")?;
    Ok(Property {
        name,
        length,
        scalar,
    })
}

/// Refuses counts that no memory is spent on.
fn within_largest(element: &Element) -> Result<(), MeshError> {
    match element.name {
        b"vertex" => within_budget("corners", element.count, CORNER_BUDGET),
        b"face" => within_budget("triangles", element.count, TRIANGLE_BUDGET),
        _ => Ok(()),
    }
}

/// Where the numbers of the rows come from.
trait Source: Clone {
    /// The next number; none at the end of the file.
    fn number(&mut self, scalar: Scalar) -> Result<Option<f64>, MeshError>;
    /// The least bytes that a number takes.
    fn least(scalar: Scalar) -> usize;
    /// The bytes that are left for numbers, at most.
    fn left(&self) -> usize;
    /// The bytes that are left, without blanks around them: all of them are
    /// looked at for that.
    fn unread(&self) -> usize;
    /// Where in a text the last number stands.
    fn spot(&self) -> Option<Spot>;
}

#[derive(Clone)]
struct Text<'a>(Words<'a>);

impl Source for Text<'_> {
    fn number(&mut self, _: Scalar) -> Result<Option<f64>, MeshError> {
        let Some(word) = self.0.next() else {
            return Ok(None);
        };
        let number = parsed(word).map(Some);
        number.ok_or_else(|| self.0.cut_or_unexpected(word, "a number"))
    }

    /// A digit and a blank.
    fn least(_: Scalar) -> usize {
        2
    }

    /// The last number needs no blank.
    fn left(&self) -> usize {
        self.0.bytes.len() + 1
    }

    fn unread(&self) -> usize {
        self.0.bytes.trim_ascii().len()
    }

    fn spot(&self) -> Option<Spot> {
        Some(self.0.spot)
    }
}

#[derive(Clone)]
struct Binary<'a> {
    bytes: &'a [u8],
    order: Order,
}

impl Binary<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (taken, rest) = self.bytes.split_first_chunk::<N>()?;
        self.bytes = rest;
        let mut bytes = *taken;
        if matches!(self.order, Order::BigEndian) {
            bytes.reverse();
        }
        Some(bytes)
    }
}

impl Source for Binary<'_> {
    fn number(&mut self, scalar: Scalar) -> Result<Option<f64>, MeshError> {
        Ok(match scalar {
            Scalar::I8 => self.take().map(|b| i8::from_le_bytes(b).into()),
            Scalar::U8 => self.take().map(|b| u8::from_le_bytes(b).into()),
            Scalar::I16 => self.take().map(|b| i16::from_le_bytes(b).into()),
            Scalar::U16 => self.take().map(|b| u16::from_le_bytes(b).into()),
            Scalar::I32 => self.take().map(|b| i32::from_le_bytes(b).into()),
            Scalar::U32 => self.take().map(|b| u32::from_le_bytes(b).into()),
            Scalar::F32 => self.take().map(|b| f32::from_le_bytes(b).into()),
            Scalar::F64 => self.take().map(f64::from_le_bytes),
        })
    }

    fn least(scalar: Scalar) -> usize {
        scalar.bytes()
    }

    fn left(&self) -> usize {
        self.bytes.len()
    }

    fn unread(&self) -> usize {
        self.bytes.len()
    }

    fn spot(&self) -> Option<Spot> {
        None
    }
}

fn read_rows<S: Source>(source: S, elements: &[Element]) -> Result<Mesh<'static>, MeshError> {
    let mut rows = Rows {
        source,
        draft: Draft::new(),
        corners: Vec::new(),
        thin_faces: 0,
    };
    // Faces that come before the corners they name.
    let mut waiting = Vec::new();
    let mut has_corners = false;
    for element in elements {
        rows.check_count(element)?;
        within_largest(element)?;
        match element.name {
            b"vertex" => {
                rows.vertices(element)?;
                has_corners = true;
            }
            b"face" | b"tristrips" if has_corners => rows.faces(element)?,
            b"face" | b"tristrips" => {
                waiting.push((element, rows.source.clone()));
                rows.skip(element)?;
            }
            _ => rows.skip(element)?,
        }
    }
    rows.check_end(elements.last())?;
    for (element, source) in waiting {
        rows.source = source;
        rows.faces(element)?;
    }
    let thin = Remark::skipped("faces of two corners or fewer", rows.thin_faces);
    rows.draft.remarks.extend(thin);
    rows.draft.finish(None)
}

struct Rows<S> {
    source: S,
    draft: Draft,
    /// Scratch: the corners of one face or strip, -1 where a strip begins anew.
    corners: Vec<i64>,
    thin_faces: usize,
}

impl<S: Source> Rows<S> {
    /// Refuses a count that the bytes that are left cannot hold.
    fn check_count(&self, element: &Element) -> Result<(), MeshError> {
        let of_property =
            |property: &Property| S::least(property.length.unwrap_or(property.scalar));
        let of_row: usize = element.properties.iter().map(of_property).sum();
        if element.count <= self.source.left() / of_row {
            return Ok(());
        }
        Err(MeshError::Truncated {
            at: self.source.spot(),
            found: format!("{} bytes", self.source.unread()),
            expected: format!("{} of element `{}`", element.count, shown(element.name)),
        })
    }

    fn number(&mut self, scalar: Scalar) -> Result<f64, MeshError> {
        let number = self.source.number(scalar)?;
        number.ok_or_else(|| MeshError::Truncated {
            at: self.source.spot(),
            found: "the end of the file".to_owned(),
            expected: "the rest of its rows".to_owned(),
        })
    }

    /// The length of a list; a number of a row that is no list is one long.
    fn length(&mut self, property: &Property) -> Result<usize, MeshError> {
        let Some(length) = property.length else {
            return Ok(1);
        };
        let number = self.number(length)?;
        if number < 0.0 || number.fract() != 0.0 {
            return Err(MeshError::Parse {
                at: self.source.spot(),
                found: format!("a list of {number} numbers"),
                expected: "a whole number of them",
            });
        }
        let length = number as usize;
        if length > self.source.left() / S::least(property.scalar) {
            return Err(MeshError::Truncated {
                at: self.source.spot(),
                found: format!("{} bytes", self.source.unread()),
                expected: format!("a list of {length} numbers"),
            });
        }
        Ok(length)
    }

    /// Passes over one property of a row and returns how many numbers it had.
    fn skip_property(&mut self, property: &Property) -> Result<usize, MeshError> {
        let length = self.length(property)?;
        for _ in 0..length {
            self.number(property.scalar)?;
        }
        Ok(length)
    }

    fn skip(&mut self, element: &Element) -> Result<(), MeshError> {
        for _ in 0..element.count {
            for property in &element.properties {
                self.skip_property(property)?;
            }
        }
        Ok(())
    }

    fn vertices(&mut self, element: &Element) -> Result<(), MeshError> {
        let axis = |name: &[u8]| [b"x", b"y", b"z"].iter().position(|axis| *axis == name);
        let axes: Vec<Option<usize>> = element.properties.iter().map(|p| axis(p.name)).collect();
        let has_all = (0..3).all(|axis| axes.contains(&Some(axis)));
        if !has_all {
            return Err(MeshError::NotAMesh {
                found: "a PLY whose corners have no x, y and z".to_owned(),
            });
        }
        self.draft.corners.reserve_exact(element.count);
        for row in 0..element.count {
            let mut corner = [0.0; 3];
            for (property, axis) in element.properties.iter().zip(&axes) {
                match axis {
                    Some(axis) if property.length.is_none() => {
                        corner[*axis] = self.coordinate(property.scalar, row + 1)?;
                    }
                    _ => {
                        self.skip_property(property)?;
                    }
                }
            }
            self.draft.add_corner(corner)?;
        }
        Ok(())
    }

    fn coordinate(&mut self, scalar: Scalar, vertex: usize) -> Result<f64, MeshError> {
        let found = self.number(scalar)?;
        if is_sound(found) {
            return Ok(found);
        }
        Err(MeshError::BadCoordinate {
            at: self.source.spot(),
            of: "vertex",
            number: vertex,
            found,
        })
    }

    fn faces(&mut self, element: &Element) -> Result<(), MeshError> {
        let is_strips = element.name == b"tristrips";
        let mut face = Vec::new();
        for _ in 0..element.count {
            self.corners.clear();
            for property in &element.properties {
                if property.is_corners() {
                    self.read_corners(property, is_strips)?;
                } else {
                    self.skip_property(property)?;
                }
            }
            if is_strips {
                self.strip()?;
            } else if self.corners.len() < 3 {
                self.thin_faces += 1;
            } else {
                face.clear();
                face.extend(self.corners.iter().map(|corner| *corner as u32));
                self.draft.add_face(&face)?;
            }
        }
        Ok(())
    }

    fn read_corners(&mut self, property: &Property, is_strip: bool) -> Result<(), MeshError> {
        let count = self.draft.corners.len();
        let lowest = if is_strip { -1.0 } else { 0.0 };
        for _ in 0..self.length(property)? {
            let number = self.number(property.scalar)?;
            if number.fract() != 0.0 || !(lowest..count as f64).contains(&number) {
                return Err(MeshError::BadIndex {
                    at: self.source.spot(),
                    found: number.to_string(),
                    expected: match count {
                        0 => "an element `vertex`".to_owned(),
                        _ => format!("0 to {}", count - 1),
                    },
                });
            }
            self.corners.push(number as i64);
        }
        Ok(())
    }

    /// Strips in which each corner makes a triangle with the two before it,
    /// every second one turned round.
    fn strip(&mut self) -> Result<(), MeshError> {
        for strip in self.corners.split(|corner| *corner < 0) {
            for (at, of) in strip.windows(3).enumerate() {
                let [a, b, c] = [0, 1, 2].map(|place| of[place] as u32);
                if a != b && b != c && c != a {
                    let turned = if at % 2 == 0 { [a, b, c] } else { [b, a, c] };
                    self.draft.add_face(&turned)?;
                }
            }
        }
        Ok(())
    }

    /// Looks at what follows the last row: whole rows more are a count that
    /// lies, anything else is left.
    fn check_end(&mut self, last: Option<&Element>) -> Result<(), MeshError> {
        let left = self.source.unread();
        let mut after = self.source.clone();
        let mut more = 0;
        while last.is_some_and(|last| self.row_is_there(last)) {
            after = self.source.clone();
            more += 1;
        }
        match last {
            Some(last) if more > 0 && after.unread() == 0 => Err(MeshError::CountMismatch {
                what: "rows of its last element",
                announced: last.count,
                present: last.count + more,
            }),
            _ => {
                self.draft.remarks.extend(Remark::trailing(left));
                Ok(())
            }
        }
    }

    /// Whether a whole row of the element is next, its lists not empty: zeros
    /// are no rows.
    fn row_is_there(&mut self, element: &Element) -> bool {
        let mut properties = element.properties.iter();
        properties.all(|property| self.skip_property(property).is_ok_and(|count| count > 0))
    }
}
