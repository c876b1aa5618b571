//! What is wrong with a mesh, in a maker's words.

use super::size::three_digits;
use super::{Corner, Defect, Flaw};

impl Flaw {
    /// Every one, those that change the area first.
    pub const ALL: [Self; 15] = [
        Self::UnitSuspect,
        Self::FarOff,
        Self::OpenMesh,
        Self::SealedCavity,
        Self::PinholeCavity,
        Self::DrainedCavity,
        Self::OverlappingShells,
        Self::SelfIntersection,
        Self::InternalFaces,
        Self::DuplicateFaces,
        Self::FlippedNormals,
        Self::NonManifoldEdges,
        Self::TJunction,
        Self::ThinWall,
        Self::DegenerateTriangles,
    ];

    /// The word for scripts. What has a way in that no bubble passes is sealed to
    /// them, and what lies far off makes the unit suspect.
    pub fn name(self) -> &'static str {
        match self {
            Self::OverlappingShells => "overlapping_shells",
            Self::FlippedNormals => "flipped_normals",
            Self::DuplicateFaces => "duplicate_faces",
            Self::InternalFaces => "internal_faces",
            Self::NonManifoldEdges => "non_manifold_edges",
            Self::OpenMesh => "open_mesh",
            Self::TJunction => "t_junction",
            Self::DegenerateTriangles => "degenerate_triangles",
            Self::SelfIntersection => "self_intersection",
            Self::SealedCavity | Self::PinholeCavity => "sealed_cavity",
            Self::DrainedCavity => "drained_cavity",
            Self::UnitSuspect | Self::FarOff => "unit_suspect",
            Self::ThinWall => "thin_wall",
        }
    }

    /// Whether whoever plates the print should hear of it: it changes the area,
    /// how the piece hangs, or what grows on it. The rest is the printer's.
    pub fn matters_in_the_bath(self) -> bool {
        match self {
            Self::OpenMesh
            | Self::SealedCavity
            | Self::PinholeCavity
            | Self::DrainedCavity
            | Self::UnitSuspect
            | Self::FarOff
            | Self::ThinWall
            | Self::OverlappingShells
            | Self::SelfIntersection
            | Self::InternalFaces
            | Self::DuplicateFaces => true,
            Self::FlippedNormals
            | Self::NonManifoldEdges
            | Self::TJunction
            | Self::DegenerateTriangles => false,
        }
    }

    /// What it means for the print and its plating.
    pub fn means(self) -> &'static str {
        match self {
            Self::OverlappingShells => {
                "what lies inside the other is hidden from the bath and not counted"
            }
            Self::FlippedNormals => {
                "the area is right all the same, but a slicer may leave the print open there"
            }
            Self::DuplicateFaces => "each is counted once",
            Self::InternalFaces => {
                "no bath gets there and they are not counted; a slicer may print them as walls"
            }
            Self::NonManifoldEdges => {
                "the area is right all the same; look at the slicer's layers there"
            }
            Self::OpenMesh => {
                "taken as shut: no bath inside. If the print is open there, metal grows inside too and the area is \
                 larger: mend the mesh"
            }
            Self::TJunction => "taken as closed; nothing need be done",
            Self::DegenerateTriangles => "they have no area; nothing need be done",
            Self::SelfIntersection => "what lies inside is hidden from the bath and not counted",
            Self::SealedCavity => {
                "it is not plated, and its air makes the piece float: hang a weight on it, or print it filled"
            }
            Self::PinholeCavity => {
                "taken as shut: no bath inside, not plated, not counted, and its air makes the piece float. But acid may \
                 creep in and weep out later under the metal: seal the hole, or widen it to 3 mm or more so that it drains"
            }
            Self::DrainedCavity => {
                "wet inside, poorly plated, carries liquid out into the next bath or rinse. Hang it with the opening \
                 up to let the air out and turn it to drain, flush it three times, or plug it and mask it"
            }
            Self::UnitSuspect => {
                "look at the unit: an area in the wrong one is wrong a hundredfold"
            }
            Self::FarOff => {
                "take out what does not belong, or mend the coordinate: beside such a size the rest cannot be measured finely, see its +-"
            }
            Self::ThinWall => {
                "a printer may leave holes in it and warm bath bends it; metal on both sides makes it stiff, late"
            }
        }
    }
}

impl Defect {
    /// A sentence for whoever plates the print: what, how many, how large,
    /// where, and what it means.
    pub fn say(&self) -> String {
        let seen = match (self.what, self.count) {
            (Flaw::OverlappingShells, 0 | 1) => "shells overlap".to_owned(),
            (Flaw::OverlappingShells, n) => format!("shells overlap in {n} places"),
            (Flaw::FlippedNormals, n) => {
                format!(
                    "{} turned the wrong way",
                    counted(n, "face is", "faces are")
                )
            }
            (Flaw::DuplicateFaces, n) => {
                let faces = counted(n, "face is", "faces are");
                format!("{faces} present twice or more")
            }
            (Flaw::InternalFaces, n) => {
                let faces = counted(n, "face lies", "faces lie");
                format!("{faces} inside the solid")
            }
            (Flaw::NonManifoldEdges, n) => {
                let edges = counted(n, "edge", "edges");
                format!("{edges} with more than two faces")
            }
            (Flaw::OpenMesh, n) => {
                let holes = counted(n, "hole", "holes");
                format!("the surface has open edges: {holes}")
            }
            (Flaw::TJunction, n) => {
                let places = counted(n, "T-junction", "T-junctions");
                format!("{places}, an open edge met by split edges")
            }
            (Flaw::DegenerateTriangles, n) => {
                counted(n, "zero-area triangle", "zero-area triangles")
            }
            (Flaw::SelfIntersection, n) => {
                let places = counted(n, "place", "places");
                format!("a shell runs through itself in {places}")
            }
            (Flaw::SealedCavity, 0 | 1) => "a sealed cavity: dry inside".to_owned(),
            (Flaw::SealedCavity, n) => format!("{n} sealed cavities: dry inside"),
            (Flaw::PinholeCavity, 0 | 1) => {
                "a hollow behind a hole that no bubble passes".to_owned()
            }
            (Flaw::PinholeCavity, n) => {
                format!("{n} hollows behind holes that no bubble passes")
            }
            (Flaw::DrainedCavity, 0 | 1) => "a cavity with an opening".to_owned(),
            (Flaw::DrainedCavity, n) => format!("{n} cavities with an opening"),
            (Flaw::FarOff, n) => {
                let reach = counted(n, "triangle reaches", "triangles reach");
                format!("{reach} far away from the rest")
            }
            (Flaw::UnitSuspect, _) => "no print is of this size".to_owned(),
            (Flaw::ThinWall, n) => counted(n, "thin wall", "thin walls"),
        };
        let (size, place) = (self.size_words(), place(self.at_mm));
        format!("{seen}{size}, {place}: {}", self.what.means())
    }

    /// How large, with the unit of its kind; nothing where it has no size.
    fn size_words(&self) -> String {
        if !(self.size.is_finite() && self.size > 0.0) {
            return String::new();
        }
        match self.what {
            Flaw::OverlappingShells
            | Flaw::FlippedNormals
            | Flaw::DuplicateFaces
            | Flaw::InternalFaces
            | Flaw::SelfIntersection => format!(" ({})", area_words(self.size)),
            Flaw::OpenMesh | Flaw::NonManifoldEdges | Flaw::TJunction => {
                format!(" ({} mm long)", three_digits(self.size))
            }
            Flaw::ThinWall => format!(" (down to {} mm)", three_digits(self.size)),
            Flaw::SealedCavity | Flaw::DrainedCavity => format!(" ({})", volume_words(self.size)),
            Flaw::PinholeCavity => format!(" ({} mm wide)", three_digits(self.size)),
            Flaw::FarOff => format!(" ({} mm off)", three_digits(self.size)),
            Flaw::UnitSuspect => format!(" ({} mm)", three_digits(self.size)),
            Flaw::DegenerateTriangles => String::new(),
        }
    }
}

fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 {
        format!("1 {one}")
    } else {
        format!("{count} {many}")
    }
}

/// `at 12.5, 0, 40 mm`, to a tenth of a millimetre.
pub fn place(at_mm: Corner) -> String {
    let [x, y, z] = at_mm.map(|number| {
        let rounded = (number * 10.0).round() / 10.0;
        // Adding zero makes -0 to 0.
        (rounded + 0.0).to_string()
    });
    format!("at {x}, {y}, {z} mm")
}

/// `9.50 cm2`, or `0.25 mm2` of what is small; from mm².
pub fn area_words(mm2: f64) -> String {
    if mm2 < 10.0 {
        format!("{} mm2", three_digits(mm2))
    } else {
        format!("{} cm2", three_digits(mm2 / 100.0))
    }
}

/// `8.00 cm3`, or `25.0 mm3` of what is small; from mm³.
pub fn volume_words(mm3: f64) -> String {
    if mm3 < 100.0 {
        format!("{} mm3", three_digits(mm3))
    } else {
        format!("{} cm3", three_digits(mm3 / 1000.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flaw_has_its_word_and_a_sentence_with_place_size_and_meaning() {
        let mut names = std::collections::BTreeSet::new();
        for what in Flaw::ALL {
            names.insert(what.name());
            let defect = Defect {
                what,
                count: 3,
                at_mm: [1.25, -0.01, 40.0],
                size: 950.0,
            };
            let said = defect.say();
            assert!(said.contains("at 1.3, 0, 40 mm: "), "{said}");
            let has_size = what != Flaw::DegenerateTriangles;
            assert_eq!(said.contains('9'), has_size, "{said}");
            assert!(said.ends_with(what.means()), "{said}");
        }
        assert_eq!(names.len(), 13);
    }

    #[test]
    fn areas_and_volumes_are_told_in_the_unit_that_fits() {
        assert_eq!(area_words(950.0), "9.50 cm2");
        assert_eq!(area_words(0.25), "0.250 mm2");
        assert_eq!(volume_words(8000.0), "8.00 cm3");
        assert_eq!(volume_words(25.0), "25.0 mm3");
    }
}
