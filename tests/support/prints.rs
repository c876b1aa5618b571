//! Writers of small print files in every format, from memory of the formats'
//! own descriptions; they share nothing with the readers.

use std::fmt::Write as _;

/// Corners and faces, the faces by corner numbers from 0.
#[derive(Clone)]
pub(crate) struct Shape {
    pub(crate) corners: Vec<[f64; 3]>,
    pub(crate) faces: Vec<Vec<usize>>,
}

impl Shape {
    /// The closed box of six quads, turned outwards.
    pub(crate) fn cuboid(low: [f64; 3], size: [f64; 3]) -> Self {
        // Corner k has the high x, y, z where bit 0, 1, 2 of k is set.
        let corner =
            |k: usize| [0, 1, 2].map(|axis| low[axis] + size[axis] * (k >> axis & 1) as f64);
        let faces = [
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ];
        Self {
            corners: (0..8).map(corner).collect(),
            faces: faces.map(Vec::from).to_vec(),
        }
    }

    /// [0,20] x [0,30] x [0,40]: 5200 square units, 24,000 cubic.
    pub(crate) fn brick() -> Self {
        Self::cuboid([0.0; 3], [20.0, 30.0, 40.0])
    }

    /// A prism over an L of 300 square units, 10 high, with two bent faces:
    /// 1400 square units, 3000 cubic.
    pub(crate) fn bent() -> Self {
        let l = [
            [20., 0.],
            [20., 10.],
            [10., 10.],
            [10., 20.],
            [0., 20.],
            [0., 0.],
        ];
        let level = |z: f64| l.map(|[x, y]| [x, y, z]);
        let side = |i: usize| vec![i, (i + 1) % 6, (i + 1) % 6 + 6, i + 6];
        let caps = [vec![5, 4, 3, 2, 1, 0], vec![6, 7, 8, 9, 10, 11]];
        Self {
            corners: [level(0.0), level(10.0)].concat(),
            faces: caps.into_iter().chain((0..6).map(side)).collect(),
        }
    }

    /// The same with every face as a fan from its first corner, which is right
    /// for faces that bulge everywhere.
    pub(crate) fn triangles(&self) -> Vec<[usize; 3]> {
        let fan = |face: &Vec<usize>| {
            let face = face.clone();
            (2..face.len()).map(move |k| [face[0], face[k - 1], face[k]])
        };
        self.faces.iter().flat_map(fan).collect()
    }
}

pub(crate) fn stl(shape: &Shape) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend((shape.triangles().len() as u32).to_le_bytes());
    for triangle in shape.triangles() {
        bytes.extend([0; 12]);
        for corner in triangle {
            bytes.extend(
                shape.corners[corner]
                    .iter()
                    .flat_map(|x| (*x as f32).to_le_bytes()),
            );
        }
        bytes.extend([0; 2]);
    }
    bytes
}

pub(crate) fn stl_ascii(shape: &Shape, name: &str) -> String {
    let mut text = format!("solid {name}\n");
    for triangle in shape.triangles() {
        text.push_str("facet normal 0 0 0\nouter loop\n");
        for [x, y, z] in triangle.map(|corner| shape.corners[corner]) {
            writeln!(text, "vertex {x:e} {y:e} {z:e}").unwrap();
        }
        text.push_str("endloop\nendfacet\n");
    }
    text + "endsolid\n"
}

pub(crate) fn obj_corners(shape: &Shape) -> String {
    let line = |[x, y, z]: &[f64; 3]| format!("v {x} {y} {z}\n");
    shape.corners.iter().map(line).collect()
}

pub(crate) fn obj(shape: &Shape) -> String {
    let face = |face: &Vec<usize>| {
        let numbers: Vec<String> = face.iter().map(|k| (k + 1).to_string()).collect();
        format!("f {}\n", numbers.join(" "))
    };
    obj_corners(shape) + &shape.faces.iter().map(face).collect::<String>()
}

#[derive(Clone, Copy)]
pub(crate) enum Ply {
    Ascii,
    Little,
    Big,
}

impl Ply {
    pub(crate) const ALL: [Self; 3] = [Self::Ascii, Self::Little, Self::Big];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Ascii => "ascii",
            Self::Little => "binary_little_endian",
            Self::Big => "binary_big_endian",
        }
    }

    fn bytes<const N: usize>(self, mut bytes: [u8; N]) -> Vec<u8> {
        if matches!(self, Self::Big) {
            bytes.reverse();
        }
        bytes.to_vec()
    }

    /// A number as `char`, `int` or `double`; the text carries it anyhow.
    pub(crate) fn number(self, kind: &str, number: f64) -> Vec<u8> {
        match (self, kind) {
            (Self::Ascii, _) => format!("{number} ").into_bytes(),
            (_, "uchar") => vec![number as u8],
            (_, "short") => self.bytes((number as i16).to_le_bytes()),
            (_, "int") => self.bytes((number as i32).to_le_bytes()),
            (_, "float") => self.bytes((number as f32).to_le_bytes()),
            _ => self.bytes(number.to_le_bytes()),
        }
    }
}

/// A PLY with a colour among the coordinates, an element that nobody knows
/// before the corners, and one list more in each face.
pub(crate) fn ply(shape: &Shape, form: Ply) -> Vec<u8> {
    let mut file = format!(
        "ply\nformat {} 1.0\ncomment made for a test\nelement camera 1\nproperty float angle\n\
         property list uchar short marks\nelement vertex {}\nproperty double x\nproperty uchar red\n\
         property double y\nproperty double z\nelement face {}\nproperty list uchar float texture\n\
         property list uchar int vertex_indices\nend_header\n",
        form.name(),
        shape.corners.len(),
        shape.faces.len(),
    )
    .into_bytes();
    let mut row = |numbers: &[(&str, f64)]| {
        for (kind, number) in numbers {
            file.extend(form.number(kind, *number));
        }
        if matches!(form, Ply::Ascii) {
            file.push(b'\n');
        }
    };
    row(&[
        ("float", 0.5),
        ("uchar", 2.0),
        ("short", -1.0),
        ("short", 7.0),
    ]);
    for [x, y, z] in &shape.corners {
        row(&[
            ("double", *x),
            ("uchar", 200.0),
            ("double", *y),
            ("double", *z),
        ]);
    }
    for face in &shape.faces {
        let mut numbers = vec![
            ("uchar", 1.0),
            ("float", 0.25),
            ("uchar", face.len() as f64),
        ];
        numbers.extend(face.iter().map(|corner| ("int", *corner as f64)));
        row(&numbers);
    }
    file
}

/// `<mesh>` as 3MF has it.
pub(crate) fn mesh_xml(shape: &Shape) -> String {
    let vertex = |[x, y, z]: &[f64; 3]| format!("<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>\n");
    let triangle =
        |[a, b, c]: [usize; 3]| format!("<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>\n");
    format!(
        "<mesh><vertices>{}</vertices><triangles>{}</triangles></mesh>",
        shape.corners.iter().map(vertex).collect::<String>(),
        shape
            .triangles()
            .into_iter()
            .map(triangle)
            .collect::<String>(),
    )
}

pub(crate) const CORE: &str = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
const RELATIONSHIPS: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
const MODEL: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";

/// A model part with these attributes, objects and items.
pub(crate) fn model_xml(attributes: &str, objects: &str, items: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model xmlns=\"{CORE}\" {attributes}>\
         <resources>{objects}</resources><build>{items}</build></model>"
    )
}

pub(crate) fn relationships(target: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?><Relationships xmlns=\"{RELATIONSHIPS}\"><Relationship \
         Id=\"r\" Type=\"http://other\" Target=\"/x.png\"/><Relationship Target=\"{target}\" \
         Id=\"m\" Type=\"{MODEL}\"/></Relationships>"
    )
}

/// A 3MF around the model, with more parts.
pub(crate) fn threemf(model: &str, more: &[(&str, &[u8])]) -> Vec<u8> {
    let relationships = relationships("/3D/3dmodel.model");
    let mut parts: Vec<(&str, &[u8])> = vec![
        ("[Content_Types].xml", b"<Types/>"),
        ("_rels/.rels", relationships.as_bytes()),
        ("3D/3dmodel.model", model.as_bytes()),
    ];
    parts.extend(more);
    zip(&parts)
}

/// One object, built once.
pub(crate) fn threemf_of(shape: &Shape, unit: &str) -> Vec<u8> {
    let objects = format!(
        "<object id=\"1\" name=\"part\">{}</object>",
        mesh_xml(shape)
    );
    let unit = format!("unit=\"{unit}\"");
    threemf(&model_xml(&unit, &objects, "<item objectid=\"1\"/>"), &[])
}

/// A text in UTF-16 behind its mark, each unit as the bytes that it is given.
pub(crate) fn utf16(text: &str, bytes: fn(u16) -> [u8; 2]) -> Vec<u8> {
    let units = std::iter::once(0xfeff).chain(text.encode_utf16());
    units.flat_map(bytes).collect()
}

/// A ZIP archive of deflated parts.
pub(crate) fn zip(parts: &[(&str, &[u8])]) -> Vec<u8> {
    archive(parts, 8, |data| {
        miniz_oxide::deflate::compress_to_vec(data, 6)
    })
}

/// A ZIP archive of parts as they are.
pub(crate) fn stored(parts: &[(&str, &[u8])]) -> Vec<u8> {
    archive(parts, 0, <[u8]>::to_vec)
}

fn archive(parts: &[(&str, &[u8])], method: u16, pack: impl Fn(&[u8]) -> Vec<u8>) -> Vec<u8> {
    let (mut file, mut list) = (Vec::new(), Vec::new());
    for (name, data) in parts {
        let packed = pack(data);
        let mut hasher = crc32fast::Hasher::new();
        hasher.update(data);
        // Version, flags, method, time, date, checksum, sizes, name, extra.
        let mut head = [20_u16, 0, method, 0, 33].map(u16::to_le_bytes).concat();
        head.extend(hasher.finalize().to_le_bytes());
        head.extend((packed.len() as u32).to_le_bytes());
        head.extend((data.len() as u32).to_le_bytes());
        head.extend((name.len() as u16).to_le_bytes());
        head.extend([0; 2]);
        list.extend(b"PK\x01\x02\x14\0");
        list.extend(&head);
        list.extend([0; 10]);
        list.extend((file.len() as u32).to_le_bytes());
        list.extend(name.as_bytes());
        file.extend(b"PK\x03\x04");
        file.extend(&head);
        file.extend(name.as_bytes());
        file.extend(packed);
    }
    let at = file.len() as u32;
    file.extend(&list);
    file.extend(b"PK\x05\x06\0\0\0\0");
    file.extend([parts.len() as u16; 2].map(u16::to_le_bytes).concat());
    file.extend((list.len() as u32).to_le_bytes());
    file.extend(at.to_le_bytes());
    file.extend([0; 2]);
    file
}
