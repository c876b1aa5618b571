//! How far a result may be off: what it changes against panels four times as
//! large.

use super::bath::Bath;
use super::bodies::{Body, Currents, FieldError, Order};
use super::panel::Panel;
use super::tank::Tank;
use crate::units::{Part, Watch};

/// Currents with what is known of their error.
#[derive(Debug)]
pub struct Doubted {
    /// The bodies as they were solved: each panel given in four parts, one
    /// after the other.
    pub bodies: Vec<Body>,
    /// Their currents.
    pub currents: Currents,
    /// By how much each body's amps changed against the coarser panels, as a
    /// share of the largest of them: an upper bound where halving a panel at
    /// least halves the error, which graded panels do.
    pub amps: f64,
    /// By how much density changed on the given panels: root mean square over
    /// the metal, as a share of the mean density there.
    pub density: f64,
    /// The bath, to be asked again with other volts.
    pub bath: Bath,
}

/// Solves for the bodies with each panel in four, begun with their panels as
/// they are, and compares the two.
///
/// # Errors
/// As [`Bath::new`] and [`Bath::solve`].
pub fn solve_doubted(
    tank: Option<Tank>,
    conductivity: f64,
    bodies: &[Body],
    order: &Order,
    watch: &dyn Watch,
) -> Result<Doubted, FieldError> {
    let first = Part {
        whole: watch,
        from: 0.0,
        to: 0.2,
    };
    let begun = Bath::new(tank, conductivity, bodies, &first)?;
    let coarse = begun.solve(order, &first)?;
    let rest = Part {
        whole: watch,
        from: 0.2,
        to: 1.0,
    };
    let fine: Vec<Body> = bodies.iter().map(quartered).collect();
    let bath = begun.with(&fine, &rest)?;
    let currents = bath.solve_from(order, Some(&repeated(&coarse)), &rest)?;
    Ok(Doubted {
        amps: amps_changed(&coarse, &currents),
        density: density_changed(bodies, &coarse, &currents),
        bodies: fine,
        currents,
        bath,
    })
}

fn quartered(body: &Body) -> Body {
    Body {
        panels: body.panels.iter().flat_map(Panel::quartered).collect(),
        surfaces: fourfold(&body.surfaces),
        anode: body.anode,
    }
}

fn fourfold<T: Copy>(of: &[T]) -> Vec<T> {
    of.iter().flat_map(|value| [*value; 4]).collect()
}

/// The coarse panels' currents as those of their parts.
fn repeated(coarse: &Currents) -> Currents {
    let each = |of: &[Vec<f64>]| of.iter().map(|body| fourfold(body)).collect();
    Currents {
        density: each(&coarse.density),
        overpotential: each(&coarse.overpotential),
        ..coarse.clone()
    }
}

fn amps_changed(coarse: &Currents, fine: &Currents) -> f64 {
    let largest = fine
        .amps
        .iter()
        .fold(f64::MIN_POSITIVE, |largest, amps| largest.max(amps.abs()));
    let changes = coarse
        .amps
        .iter()
        .zip(&fine.amps)
        .map(|(a, b)| (a - b).abs());
    changes.fold(0.0, f64::max) / largest
}

fn density_changed(bodies: &[Body], coarse: &Currents, fine: &Currents) -> f64 {
    let (mut squares, mut flow, mut area) = (0.0, 0.0, 0.0);
    for ((body, coarse), fine) in bodies.iter().zip(&coarse.density).zip(&fine.density) {
        for ((panel, coarse), fine) in body.panels.iter().zip(coarse).zip(fine.as_chunks::<4>().0) {
            let mean = fine.iter().sum::<f64>() / 4.0;
            squares += panel.area * (mean - coarse) * (mean - coarse);
            flow += panel.area * mean.abs();
            area += panel.area;
        }
    }
    (squares * area).sqrt() / flow.max(f64::MIN_POSITIVE)
}
