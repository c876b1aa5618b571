//! The surface of a print as a PLY file that shows what the bath does with it.

use super::{Class, Facet};

impl Class {
    /// All of them, in the order of their codes.
    pub const ALL: [Self; 4] = [Self::Wetted, Self::Hidden, Self::Dry, Self::Masked];

    /// Its word.
    pub fn name(self) -> &'static str {
        match self {
            Self::Wetted => "wetted",
            Self::Hidden => "hidden",
            Self::Dry => "dry",
            Self::Masked => "masked",
        }
    }

    /// What files call it.
    pub fn code(self) -> u8 {
        match self {
            Self::Wetted => 0,
            Self::Hidden => 1,
            Self::Dry => 2,
            Self::Masked => 3,
        }
    }

    /// Red, green and blue for it in files: copper, grey, yellow and blue,
    /// which differ in lightness too.
    pub fn colour(self) -> [u8; 3] {
        match self {
            Self::Wetted => [205, 120, 65],
            Self::Hidden => [90, 90, 90],
            Self::Dry => [240, 225, 110],
            Self::Masked => [60, 90, 190],
        }
    }
}

/// The facets as a binary little-endian PLY in mm: corners in double
/// precision, and for each face its `class` ([`Class::code`]), a colour for it
/// and the `triangle` of the print's file that it is part of.
pub fn classes_ply(facets: &[Facet]) -> Vec<u8> {
    let (corners, faces) = numbered(facets);
    let codes = Class::ALL.map(|class| format!("{} {}", class.code(), class.name()));
    let header = format!(
        "ply\nformat binary_little_endian 1.0\ncomment mm; class: {}\n\
         element vertex {}\nproperty double x\nproperty double y\nproperty double z\n\
         element face {}\nproperty list uchar int vertex_indices\nproperty uchar class\n\
         property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uint triangle\nend_header\n",
        codes.join(", "),
        corners.len(),
        facets.len()
    );
    let mut ply = header.into_bytes();
    ply.reserve(corners.len() * 24 + facets.len() * 21);
    for number in corners.iter().flatten() {
        ply.extend(number.to_le_bytes());
    }
    for (facet, face) in facets.iter().zip(faces) {
        ply.push(3);
        for corner in face {
            ply.extend(corner.to_le_bytes());
        }
        ply.push(facet.class.code());
        ply.extend(facet.class.colour());
        ply.extend(facet.triangle.to_le_bytes());
    }
    ply
}

/// The corners, each once, and the facets by their numbers.
fn numbered(facets: &[Facet]) -> (Vec<super::Corner>, Vec<[u32; 3]>) {
    let all = facets.iter().flat_map(|facet| facet.corners);
    // Adding zero makes -0 to 0.
    let mut keys: Vec<([u64; 3], u32)> = all
        .map(|corner| corner.map(|number| (number + 0.0).to_bits()))
        .zip(0..)
        .collect();
    keys.sort_unstable();
    let mut corners = Vec::new();
    let mut faces = vec![[0; 3]; facets.len()];
    let mut before = None;
    for (bits, at) in keys {
        if before.replace(bits) != Some(bits) {
            corners.push(bits.map(f64::from_bits));
        }
        let at = at as usize;
        faces[at / 3][at % 3] = corners.len() as u32 - 1;
    }
    (corners, faces)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_reads_as_the_same_triangles_with_shared_corners() {
        let facet = |triangle, corners, class| Facet {
            triangle,
            corners,
            class,
        };
        let (o, x, y, z) = ([0.0; 3], [0.1, 0.0, 0.0], [0.0, 1.0, 0.0], [-0.0, 0.0, 7.0]);
        let facets = [
            facet(0, [o, x, y], Class::Wetted),
            facet(0, [x, z, y], Class::Masked),
            facet(1, [o, z, x], Class::Dry),
        ];
        let ply = classes_ply(&facets);
        let read = super::super::read(&ply).unwrap();
        let triangles: Vec<_> = read.triangles().collect();
        assert_eq!(triangles, facets.map(|f| f.corners));
        let header = String::from_utf8_lossy(&ply).into_owned();
        assert!(header.contains("element vertex 4\n"), "{header}");
        let last = &ply[ply.len() - 8..];
        assert_eq!(last, [2, 240, 225, 110, 1, 0, 0, 0]);
    }
}
