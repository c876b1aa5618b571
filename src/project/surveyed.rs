//! What the survey of a print says of its piece.

use super::Piece;
use crate::mesh::shape::{self, Shape};
use crate::mesh::{Class, Facet, Mesh, Order, Survey, survey};
use crate::units::{Area, DM2, Length, MM, MM2, Part, Stopped, Watch, plain, rounded};

/// A print comes out of the printer larger or smaller than its mesh by so much
/// of its size at most: common practice, no source.
pub const TRUE_TO_SIZE: f64 = 0.005;

/// What a piece takes from the survey of its print.
#[derive(Debug, Clone, PartialEq)]
pub struct Surveyed {
    /// What the bath would reach without masks.
    pub area: Area,
    /// Its expanded uncertainty, k = 2: that of the survey, and that of a print
    /// which is true to size within [`TRUE_TO_SIZE`]. Never nothing.
    pub area_pm: Area,
    /// How the area was found.
    pub area_method: String,
    /// Its outside width, depth and height.
    pub size: [Length; 3],
    /// What each mask of the order takes, in its order. What lies under several
    /// is told of the first.
    pub takes: Vec<Area>,
}

impl Surveyed {
    fn of(survey: &Survey, order: &Order) -> Self {
        let mm2 = survey.wetted_area_mm2 + survey.masked_area_mm2;
        // An area goes with the square of the size; the bound is rectangular.
        let of_print = 2.0 * mm2 * 2.0 * TRUE_TO_SIZE / 3.0_f64.sqrt();
        let pm = survey.wetted_pm_mm2.hypot(of_print);
        Self {
            area: MM2.of(rounded(mm2, 8)),
            area_pm: DM2.of(rounded(MM2.of(pm).to(DM2), 3)),
            area_method: format!(
                "wetted area of the print: what the bath reaches of {} triangles, passages under {} mm shut; +- for a \
                 print true to size within {} % (common practice, no source)",
                survey.triangles,
                plain(order.bubble_mm),
                TRUE_TO_SIZE * 100.0
            ),
            size: survey.size_mm().map(|side| MM.of(rounded(side, 6))),
            takes: survey
                .masks
                .iter()
                .map(|taken| MM2.of(rounded(taken.area_mm2, 8)))
                .collect(),
        }
    }

    /// The piece with this area and size. Its masks are left as they are.
    #[must_use]
    pub fn put_on(self, piece: Piece) -> Piece {
        Piece {
            area: Some(self.area),
            area_pm: Some(self.area_pm),
            area_method: Some(self.area_method),
            size: Some(self.size),
            ..piece
        }
    }
}

/// A print that was surveyed, its surface and its shape.
#[derive(Debug, Clone, PartialEq)]
pub struct SurveyedPrint {
    /// Its surface.
    pub survey: Survey,
    /// Its tips, recesses and thin walls.
    pub shape: Shape,
}

impl SurveyedPrint {
    /// Surveys a print: its surface, then its shape.
    ///
    /// # Errors
    /// [`Stopped`] where `watch` asks for it.
    pub fn of(mesh: &Mesh<'_>, order: &Order, watch: &dyn Watch) -> Result<Self, Stopped> {
        let part = |from, to| Part {
            whole: watch,
            from,
            to,
        };
        let survey = survey(mesh, order, &part(0.0, 0.7))?;
        let is_open = |facet: &&Facet| matches!(facet.class, Class::Wetted | Class::Masked);
        let open: Vec<Facet> = survey.facets.iter().filter(is_open).copied().collect();
        let shape = shape::of(&open, &part(0.7, 1.0))?;
        Ok(Self { survey, shape })
    }
}

/// Surveys a print for its piece.
///
/// # Errors
/// [`Stopped`] where `watch` asks for it.
pub fn survey_for_piece(
    mesh: &Mesh<'_>,
    order: &Order,
    watch: &dyn Watch,
) -> Result<(SurveyedPrint, Surveyed), Stopped> {
    let print = SurveyedPrint::of(mesh, order, watch)?;
    let surveyed = Surveyed::of(&print.survey, order);
    Ok((print, surveyed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::LengthUnit;
    use crate::units::Unwatched;

    /// A cube of 20 mm, its corners told by bits.
    fn cube() -> Mesh<'static> {
        let corner = |n: u8| [0, 1, 2].map(|bit| f64::from(n >> bit & 1) * 20.0);
        let sides = [
            [0, 2, 3, 1],
            [4, 5, 7, 6],
            [0, 1, 5, 4],
            [2, 6, 7, 3],
            [0, 4, 6, 2],
            [1, 3, 7, 5],
        ];
        let halves = sides
            .iter()
            .flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]);
        Mesh::of(halves.map(|of| of.map(corner)).collect())
    }

    #[test]
    fn a_cube_has_its_area_with_the_printers_doubt() {
        let order = Order::in_unit(LengthUnit::Mm);
        let (_, surveyed) = survey_for_piece(&cube(), &order, &Unwatched).unwrap();
        assert!((surveyed.area.to(MM2) - 2400.0).abs() < 1e-6);
        // 24 cm2 x 2 x 0.5 % / sqrt 3, twice: 27.7 mm2.
        assert!(
            (surveyed.area_pm.to(MM2) - 27.7).abs() < 0.1,
            "{surveyed:?}"
        );
        assert!(surveyed.area_method.contains("12 triangles"));
        let piece = surveyed.put_on(Piece::named("cube"));
        assert_eq!(piece.size, Some([MM.of(20.0); 3]));
    }
}
