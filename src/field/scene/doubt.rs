//! How far a result may be off, from the solve with a quarter of the panels.
//!
//! Panels half as long at least halve the error where panels are graded, so
//! that the change is an upper bound of what is left; a part more is added for
//! what the method itself leaves.

use super::super::bodies::Currents;
use super::super::panel::Point;
use super::Kind;
use super::build::upright;
use super::ready::Ready;
use super::spread::BodySpread;
use crate::mesh::space::{area, middle};

/// More than the change, since convergence is not quite even.
const SAFETY: f64 = 1.25;

/// What multipoles and images leave, as a share.
const METHOD: f64 = 3e-4;

/// A zone with less than this of the mean is judged as if it had as much.
const LITTLE: f64 = 0.05;

/// Zones of a piece.
const ZONES: usize = 48;

pub(super) fn of_resistance(fine: f64, coarse: f64) -> f64 {
    SAFETY * (coarse / fine - 1.0).abs() + METHOD
}

/// A wire of twelve sides draws what a round one 1 % thinner does: 0.2 % of the
/// resistance of a long one, at both finenesses.
const SIDES: f64 = 0.0025;

/// What wires' sides may make of the resistance.
pub(super) fn of_sides(bodies: &[BodySpread]) -> f64 {
    let wires = bodies
        .iter()
        .filter(|body| matches!(body.kind, Kind::Wire | Kind::Thief));
    SIDES * wires.map(|wire| wire.share.abs()).sum::<f64>()
}

/// The greatest change of a zone's share in its piece's current.
pub(super) fn of_zones(ready: &Ready, fine: &Currents, coarse: &Currents) -> f64 {
    let mut worst: f64 = 0.0;
    for (k, part) in ready.parts.iter().enumerate() {
        let covers = (&ready.fine.covers[k], &ready.coarse.covers[k]);
        let (Kind::Piece, (Some(of_fine), Some(of_coarse))) = (part.kind, covers) else {
            continue;
        };
        let fine = of_fine.carried_back(&fine.density[k]);
        let coarse = of_coarse.carried_back(&coarse.density[k]);
        let wetted: Vec<usize> = (0..part.shell.len())
            .filter(|at| !part.masked[*at])
            .collect();
        let areas: Vec<f64> = part.shell.iter().map(|t| area(*t)).collect();
        let mean = |density: &[f64], of: &[usize]| {
            let amps: f64 = of.iter().map(|at| density[*at] * areas[*at]).sum();
            amps / of.iter().map(|at| areas[*at]).sum::<f64>()
        };
        let (all_fine, all_coarse) = (mean(&fine, &wetted), mean(&coarse, &wetted));
        for zone in zones(&part.shell, &areas, wetted) {
            let (fine, coarse) = (
                mean(&fine, &zone) / all_fine,
                mean(&coarse, &zone) / all_coarse,
            );
            worst = worst.max((coarse - fine).abs() / fine.abs().max(LITTLE));
        }
    }
    SAFETY * worst + METHOD
}

/// Parts of a surface of about one area each, each of one side and one place:
/// halved along the direction, of place or of normal, that tells most apart.
fn zones(shell: &[[Point; 3]], areas: &[f64], all: Vec<usize>) -> Vec<Vec<usize>> {
    let (low, high) = super::build::bounds(shell);
    let size = (0..3)
        .map(|axis| high[axis] - low[axis])
        .fold(1e-12, f64::max);
    let keys: Vec<[f64; 6]> = shell
        .iter()
        .map(|triangle| {
            let (at, turned) = (middle(*triangle), upright(*triangle));
            let at = at.map(|along| 2.0 * along / size);
            [at[0], at[1], at[2], turned[0], turned[1], turned[2]]
        })
        .collect();
    let area_of = |zone: &[usize]| zone.iter().map(|at| areas[*at]).sum::<f64>();
    let least = area_of(&all) / ZONES as f64;
    let (mut open, mut done) = (vec![all], Vec::new());
    while let Some(mut zone) = open.pop() {
        let whole = area_of(&zone);
        let spread = |key: usize| {
            let values = zone.iter().map(|at| keys[*at][key]);
            let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                (l.min(v), h.max(v))
            });
            high - low
        };
        let key = (0..6)
            .max_by(|a, b| spread(*a).total_cmp(&spread(*b)))
            .unwrap_or(0);
        if zone.len() < 2 || whole < 2.0 * least {
            if !zone.is_empty() {
                done.push(zone);
            }
            continue;
        }
        zone.sort_by(|a, b| keys[*a][key].total_cmp(&keys[*b][key]));
        let mut below = 0.0;
        let half = zone.iter().position(|at| {
            below += areas[*at];
            below >= whole / 2.0
        });
        let rest = zone.split_off(half.unwrap_or(1).clamp(1, zone.len() - 1));
        open.push(zone);
        open.push(rest);
    }
    done
}
