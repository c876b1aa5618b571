//! A piece as `project.ron` holds it.

use super::ron_text::quote;
use crate::project::{Mask, Piece, Surveyed, Wire};

/// What the survey of a piece's print sets in `project.ron`: paths and values
/// for [`Folder::set_all`](super::Folder::set_all). `masks` are the places of
/// the masks that were surveyed, in their order; `print` is the unit of the
/// file and its SHA-256.
pub fn survey_values(
    piece: &str,
    surveyed: &Surveyed,
    masks: &[usize],
    (unit, sha256): (&str, &str),
) -> Vec<(String, String)> {
    let at = |field: &str| format!("pieces.{}.{field}", quote(piece));
    let text = |value: &dyn std::fmt::Display| quote(&value.to_string());
    let sides = surveyed.size.map(|side| text(&side));
    let mut values = vec![
        (at("area"), text(&surveyed.area)),
        (at("area_pm"), text(&surveyed.area_pm)),
        (at("area_method"), quote(&surveyed.area_method)),
        (at("size"), format!("({})", sides.join(", "))),
        (at("mesh.unit"), quote(unit)),
        (at("mesh.sha256"), quote(sha256)),
    ];
    let takes = masks.iter().zip(&surveyed.takes);
    values.extend(takes.map(|(n, takes)| (at(&format!("masks.{n}.takes")), text(takes))));
    values
}

/// The RON of an entry of `pieces`: what has its default is left out, and so
/// are route, target and note, which a person writes.
pub fn piece_entry(piece: &Piece) -> String {
    let mut fields = vec![format!("name: {}", quote(&piece.name))];
    if let Some(mesh) = &piece.mesh {
        let more = [("unit", &mesh.unit), ("sha256", &mesh.sha256)];
        let more = more.into_iter().filter_map(|(name, value)| {
            let value = value.as_deref()?;
            Some(format!(", {name}: {}", quote(value)))
        });
        let more: String = more.collect();
        fields.push(format!("mesh: (file: {}{more})", quote(&mesh.file)));
    }
    fields.extend(piece.area.map(|area| match piece.area_pm {
        Some(pm) => format!("area: \"{area}\", area_pm: \"{pm}\""),
        None => format!("area: \"{area}\""),
    }));
    let texts = [
        ("area_method", &piece.area_method),
        ("roughness_because", &piece.roughness_because),
    ];
    let [method, because] = texts.map(|(name, text)| {
        let text = text.as_deref()?;
        Some(format!("{name}: {}", quote(text)))
    });
    fields.extend(method);
    fields.extend(piece.size.map(|size| {
        let sides = size.map(|side| format!("\"{side}\""));
        format!("size: ({})", sides.join(", "))
    }));
    if because.is_some() || (piece.roughness - 1.0).abs() > f64::EPSILON {
        fields.push(format!("roughness: {:?}", piece.roughness));
    }
    fields.extend(because);
    fields.extend(list("wires", &piece.wires, wire));
    fields.extend(list("thieves", &piece.thieves, wire));
    fields.extend(list("masks", &piece.masks, mask));
    format!("(\n    {},\n)", fields.join(",\n    "))
}

fn list<T>(field: &str, of: &[T], one: impl Fn(&T) -> String) -> Option<String> {
    let list: Vec<String> = of.iter().map(one).collect();
    (!list.is_empty()).then(|| format!("{field}: [{}]", list.join(", ")))
}

fn wire(wire: &Wire) -> String {
    format!(
        "(diameter: \"{}\", length: \"{}\")",
        wire.diameter, wire.length
    )
}

/// The RON of an entry of `masks`.
pub(super) fn mask(mask: &Mask) -> String {
    let takes = mask
        .takes
        .map_or_else(String::new, |area| format!(", takes: \"{area}\""));
    format!(
        "(name: {}, shape: {}{takes})",
        quote(&mask.name),
        quote(&mask.shape)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::project::{Definition, MeshRef};
    use crate::units::{DM2, MM};

    #[test]
    fn a_piece_comes_back_as_it_was_written() {
        let wire = Wire {
            diameter: MM.of(0.8),
            length: MM.of(300.0),
        };
        let full = Piece {
            mesh: Some(MeshRef {
                file: "meshes/stem.stl".to_owned(),
                unit: Some("mm".to_owned()),
                sha256: Some("00".to_owned()),
            }),
            area: Some(DM2.of(6.84)),
            area_pm: Some(DM2.of(0.1)),
            area_method: Some("wetted \"area\"".to_owned()),
            size: Some([MM.of(1.5); 3]),
            roughness: 1.16,
            roughness_because: Some("fdm".to_owned()),
            wires: vec![wire, wire],
            thieves: vec![wire],
            masks: vec![Mask {
                name: "mask1".to_owned(),
                shape: "plane:0,0,0:0,0,-1".to_owned(),
                takes: Some(DM2.of(0.2)),
            }],
            ..Piece::named("stem \\ \"1\"")
        };
        for piece in [full, Piece::named("bare")] {
            let text = format!(
                "(format: 1, name: \"n\", metal: \"nickel\", target: Mean(\"9um\"), pieces: [{}])",
                piece_entry(&piece)
            );
            let read = Definition::parse(&text.replace("stem \\\\", "stem")).unwrap();
            let wanted = Piece {
                name: piece.name.replace(" \\", ""),
                ..piece
            };
            assert_eq!(read.pieces, [wanted]);
        }
    }
}
