//! How wide a narrow place really is: a thread through it is drawn into its
//! middle.

use super::super::Corner;
use super::super::space::{dot, length, less, plus, times, unit};
use super::cells::lens;
use super::surface::Surface;

/// A narrow place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Throat {
    /// Of the widest ball that passes, in mm.
    pub(super) radius: f64,
    pub(super) at: Corner,
}

/// A point of a thread and its distance to the surface in mm.
type Bead = (Corner, f64);

/// The narrowest place of a thread once each of its points, but the ends, is
/// where across the thread the most room is. None where it does not hang
/// together.
pub(super) fn throat(surface: &Surface, thread: &[Corner], spacing: f64) -> Option<Throat> {
    let long: f64 = thread
        .windows(2)
        .map(|pair| length(less(pair[1], pair[0])))
        .sum();
    let spacing = spacing.max(long / MOST_BEADS);
    let mut beads = strung(surface, &spaced(thread, spacing));
    centre(surface, &mut beads, spacing);
    for _ in 1..ROUNDS {
        let points = narrow_part(&beads);
        beads = strung(surface, &spaced(&points, spacing));
        centre(surface, &mut beads, spacing);
    }
    for _ in 0..BISECTIONS {
        bisect(surface, &mut beads, spacing);
    }
    let hangs = beads.windows(2).all(|pair| {
        let apart = length(less(pair[0].0, pair[1].0));
        lens(apart, pair[0].1, pair[1].1).is_some()
    });
    let inner = beads.get(1..beads.len().saturating_sub(1))?;
    let narrowest = inner
        .iter()
        .map(|bead| bead.1)
        .fold(f64::INFINITY, f64::min);
    (hangs && !inner.is_empty()).then(|| Throat {
        radius: narrowest,
        at: middle_of_narrow(inner, narrowest),
    })
}

const ROUNDS: usize = 3;
const MOST_BEADS: f64 = 100.0;
const BISECTIONS: usize = 4;

/// The thread from just before it gets narrow to just after.
fn narrow_part(beads: &[Bead]) -> Vec<Corner> {
    const MARGIN: usize = 3;
    let narrowest = beads.iter().map(|bead| bead.1);
    let narrowest = narrowest.fold(f64::INFINITY, f64::min);
    let is_narrow = |bead: &Bead| bead.1 < 1.5 * narrowest;
    let first = beads.iter().position(is_narrow).unwrap_or(0);
    let last = beads.iter().rposition(is_narrow).unwrap_or(0);
    let part = first.saturating_sub(MARGIN)..(last + MARGIN + 1).min(beads.len());
    beads[part].iter().map(|bead| bead.0).collect()
}

fn strung(surface: &Surface, points: &[Corner]) -> Vec<Bead> {
    let bead = |&point: &Corner| (point, surface.nearest(point, f64::INFINITY).0);
    points.iter().map(bead).collect()
}

/// Points along the thread, so far apart or a little less.
fn spaced(thread: &[Corner], spacing: f64) -> Vec<Corner> {
    let mut points: Vec<Corner> = thread.first().copied().into_iter().collect();
    let mut left = spacing;
    for pair in thread.windows(2) {
        let (way, mut gone) = (less(pair[1], pair[0]), 0.0);
        let long = length(way);
        while gone + left < long {
            gone += left;
            left = spacing;
            points.push(plus(pair[0], times(way, gone / long)));
        }
        left -= long - gone;
    }
    points.extend(thread.last());
    points
}

fn centre(surface: &Surface, beads: &mut [Bead], step: f64) {
    let last = beads.len().saturating_sub(1);
    let before: Vec<Corner> = beads.iter().map(|bead| bead.0).collect();
    for at in 1..last {
        // Over two beads either way: a thread from cell to cell is crooked.
        let along = less(before[(at + 2).min(last)], before[at.saturating_sub(2)]);
        beads[at] = climb(surface, beads[at], step, Some(unit(along)));
    }
}

/// Puts a bead on either side of the narrowest.
fn bisect(surface: &Surface, beads: &mut Vec<Bead>, step: f64) {
    let inner = 1..beads.len().saturating_sub(1);
    let Some(narrow) = inner.min_by(|&a, &b| beads[a].1.total_cmp(&beads[b].1)) else {
        return;
    };
    for (from, to) in [(narrow, narrow + 1), (narrow - 1, narrow)] {
        let (a, b) = (beads[from].0, beads[to].0);
        let halfway = times(plus(a, b), 0.5);
        let bead = (halfway, surface.nearest(halfway, f64::INFINITY).0);
        beads.insert(to, climb(surface, bead, step, Some(unit(less(b, a)))));
    }
}

/// Along a channel of one width the middle of it.
fn middle_of_narrow(beads: &[Bead], narrowest: f64) -> Corner {
    let is_narrow = |bead: &&Bead| bead.1 <= narrowest * 1.02;
    let narrow: Vec<Corner> = beads.iter().filter(is_narrow).map(|bead| bead.0).collect();
    narrow.get(narrow.len() / 2).copied().unwrap_or_default()
}

/// The point with the most room near this one, across `along` if there is one:
/// away from the surface by steps that shrink, for the way up is a ridge.
pub(super) fn climb(surface: &Surface, start: Bead, step: f64, along: Option<Corner>) -> Bead {
    const STEPS: usize = 16;
    const SHRINK: f64 = 0.72;
    let mut best = start;
    let mut point = start.0;
    let mut step = step * 0.4;
    // No step leads further from the surface than it is long.
    let mut within = start.1 * 1.03 + 1e-9;
    for _ in 0..STEPS {
        let (room, touched) = surface.about_nearest(point, within, 0.995);
        within = (room + step) * 1.03 + 1e-9;
        if room > best.1 {
            best = (point, room);
        }
        let away = less(point, touched);
        let across = along.map_or(away, |along| less(away, times(along, dot(away, along))));
        point = plus(point, times(unit(across), step));
        step *= SHRINK;
    }
    let exact = surface.nearest(best.0, best.1).0;
    if exact > start.1 {
        (best.0, exact)
    } else {
        start
    }
}

/// The middle of the largest ball that is reached from this one without a
/// narrower place between.
pub(super) fn summit(surface: &Surface, start: Bead) -> Bead {
    const ROUNDS: usize = 12;
    let mut best = start;
    for _ in 0..ROUNDS {
        let next = climb(surface, best, best.1, None);
        if next.1 < best.1 * 1.02 {
            return next;
        }
        best = next;
    }
    best
}
