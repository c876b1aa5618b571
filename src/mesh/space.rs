//! Points and vectors in mm.

use super::Corner;

pub(crate) fn less(a: Corner, b: Corner) -> Corner {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(crate) fn plus(a: Corner, b: Corner) -> Corner {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(crate) fn times(a: Corner, factor: f64) -> Corner {
    a.map(|number| number * factor)
}

pub(crate) fn dot(a: Corner, b: Corner) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(crate) fn cross(a: Corner, b: Corner) -> Corner {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

pub(crate) fn length(a: Corner) -> f64 {
    dot(a, a).sqrt()
}

/// Of length 1, or zero where there is no direction.
pub(crate) fn unit(a: Corner) -> Corner {
    let length = length(a);
    if length > 0.0 {
        times(a, 1.0 / length)
    } else {
        [0.0; 3]
    }
}

/// Twice its area long, upright on it, to the side where its corners run
/// counter-clockwise.
pub(crate) fn normal([a, b, c]: [Corner; 3]) -> Corner {
    cross(less(b, a), less(c, a))
}

pub(crate) fn area(triangle: [Corner; 3]) -> f64 {
    length(normal(triangle)) / 2.0
}

pub(crate) fn middle([a, b, c]: [Corner; 3]) -> Corner {
    times(plus(plus(a, b), c), 1.0 / 3.0)
}
