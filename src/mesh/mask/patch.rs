//! Patches: what hangs together without a sharp edge.

use crate::mesh::boxes::{Bounds, BoxTree};
use crate::mesh::near::point_to_triangle;
use crate::mesh::space::{cross, dot, length, less, normal, plus, times};
use crate::mesh::{Class, Corner, Facet};

/// How far from the surface its point may be, in mm and as a share of the
/// diagonal of the box around the print: whichever is more. A point that was
/// picked lies on the surface, one that was typed near it. Common practice, no
/// source.
const NEAR_MM: f64 = 1.0;
const NEAR_SHARE: f64 = 0.01;

/// Edges this near to each other are one, as a share of that diagonal.
const SAME_EDGE: f64 = 1e-6;

/// What rounding may add to a bend, in degrees: single precision, in which STL
/// is written, turns a facet that is a thousandth of the print by so much.
const BEND_SLACK: f64 = 0.01;

/// Which facets the patch has: wetted ones, from the one nearest to `point`
/// over edges bent by at most `degrees`.
///
/// An edge joins facets that have both its corners, and facets whose edges lie
/// upon each other for a part of their length.
///
/// # Errors
/// Why it has none.
pub(super) fn grown(point: Corner, degrees: f64, facets: &[Facet]) -> Result<Vec<bool>, String> {
    let is_wetted = |facet: &Facet| facet.class == Class::Wetted;
    let wetted = || (0..).zip(facets).filter(|(_, facet)| is_wetted(facet));
    let distance = |facet: &Facet| point_to_triangle(point, facet.corners).0;
    let nearest = wetted()
        .map(|(at, facet)| (distance(facet), at))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let Some((away, first)) = nearest else {
        return Err("the bath wets nothing".to_owned());
    };
    let corners = facets.iter().flat_map(|facet| facet.corners);
    let diagonal = Bounds::of(&corners.collect::<Vec<_>>()).diagonal();
    let reach = NEAR_MM.max(NEAR_SHARE * diagonal);
    if away > reach {
        return Err(format!(
            "the surface is {} mm away from its point, more than {} mm",
            crate::units::number(away, 3),
            crate::units::number(reach, 3)
        ));
    }
    let joined = neighbours(wetted(), degrees, SAME_EDGE * diagonal);
    let mut patch = vec![false; facets.len()];
    patch[first] = true;
    let mut open = vec![first];
    while let Some(at) = open.pop() {
        let from = joined.partition_point(|(one, _)| *one < at);
        let of_this = joined[from..].iter().take_while(|(one, _)| *one == at);
        for (_, other) in of_this {
            if !patch[*other] {
                patch[*other] = true;
                open.push(*other);
            }
        }
    }
    Ok(patch)
}

/// A side of a facet.
#[derive(Clone, Copy)]
struct Edge<'a> {
    ends: [Corner; 2],
    facet: usize,
    of: &'a Facet,
}

/// The pairs of facets that an edge joins, both ways round, in order.
fn neighbours<'a>(
    facets: impl Iterator<Item = (usize, &'a Facet)>,
    degrees: f64,
    tolerance: f64,
) -> Vec<(usize, usize)> {
    let mut edges: Vec<Edge<'_>> = facets.flat_map(|(facet, of)| edges_of(facet, of)).collect();
    edges.sort_by(|a, b| {
        by_numbers(a)
            .partial_cmp(&by_numbers(b))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let mut joined = Vec::new();
    let mut single = Vec::new();
    for same in edges.chunk_by(|a, b| a.ends == b.ends) {
        if let [only] = same {
            single.push(*only);
        }
        for (n, one) in same.iter().enumerate() {
            join(one, &same[n + 1..], degrees, &mut joined);
        }
    }
    for (one, other) in lying_together(&single, tolerance) {
        join(&one, &[other], degrees, &mut joined);
    }
    joined.sort_unstable();
    joined.dedup();
    joined
}

fn by_numbers(edge: &Edge<'_>) -> [f64; 6] {
    let [[a, b, c], [d, e, f]] = edge.ends;
    [a, b, c, d, e, f]
}

/// The lower end first, so that both facets of an edge tell it alike.
fn edges_of(facet: usize, of: &Facet) -> Vec<Edge<'_>> {
    let [a, b, c] = of.corners;
    let sides = [[a, b], [b, c], [c, a]].into_iter();
    let edge = |[from, to]: [Corner; 2]| Edge {
        ends: if from < to { [from, to] } else { [to, from] },
        facet,
        of,
    };
    sides
        .filter(|[from, to]| length(less(*to, *from)) > 0.0)
        .map(edge)
        .collect()
}

fn join(one: &Edge<'_>, others: &[Edge<'_>], degrees: f64, joined: &mut Vec<(usize, usize)>) {
    for other in others {
        if bend(one.of, other.of) <= degrees + BEND_SLACK {
            joined.extend([(one.facet, other.facet), (other.facet, one.facet)]);
        }
    }
}

/// The angle between the directions that two facets look to, in degrees; none
/// where one of them is a line.
fn bend(one: &Facet, other: &Facet) -> f64 {
    let (a, b) = (normal(one.corners), normal(other.corners));
    length(cross(a, b)).atan2(dot(a, b)).to_degrees()
}

/// Pairs of edges that lie upon each other for a part of their length.
fn lying_together<'a>(edges: &[Edge<'a>], tolerance: f64) -> Vec<(Edge<'a>, Edge<'a>)> {
    let bounds = |edge: &Edge<'_>| Bounds::of(&edge.ends).wider(tolerance);
    let boxes: Vec<Bounds> = edges.iter().map(bounds).collect();
    let tree = BoxTree::new(&boxes);
    let mut pairs = Vec::new();
    for (n, edge) in edges.iter().enumerate() {
        tree.touching(&boxes[n], |m| {
            let other = &edges[m as usize];
            if (m as usize) > n && lie_together(edge, other, tolerance) {
                pairs.push((*edge, *other));
            }
        });
    }
    pairs
}

fn lie_together(one: &Edge<'_>, other: &Edge<'_>, tolerance: f64) -> bool {
    let long = |edge: &Edge<'_>| length(less(edge.ends[1], edge.ends[0]));
    let (line, part) = if long(one) >= long(other) {
        (one, other)
    } else {
        (other, one)
    };
    let whole = long(line);
    let along = times(less(line.ends[1], line.ends[0]), 1.0 / whole);
    let places = part.ends.map(|end| dot(less(end, line.ends[0]), along));
    let is_on = |(end, place): (Corner, f64)| {
        let foot = plus(line.ends[0], times(along, place));
        length(less(end, foot)) <= tolerance
    };
    let from = places[0].min(places[1]).max(0.0);
    let to = places[0].max(places[1]).min(whole);
    one.facet != other.facet
        && to - from > 2.0 * tolerance
        && part.ends.into_iter().zip(places).all(is_on)
}
