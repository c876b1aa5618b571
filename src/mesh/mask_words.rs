//! Masks as they are written: `sphere:10,0,5:2.5`.

use std::fmt;
use std::str::FromStr;

use super::{Corner, Mask};

/// The text is no mask.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{0}` is no mask; there are plane:POINT:NORMAL, box:A:B, sphere:C:R, cylinder:A:B:R, patch:POINT:DEGREES \
     (points x,y,z in mm), group:NAME"
)]
pub struct UnknownMask(String);

impl FromStr for Mask {
    type Err = UnknownMask;

    fn from_str(text: &str) -> Result<Self, UnknownMask> {
        let unknown = || UnknownMask(crate::units::excerpt(text, 80).into_owned());
        let (kind, rest) = text.split_once(':').ok_or_else(unknown)?;
        if kind == "group" && !rest.is_empty() {
            return Ok(Self::Group(rest.to_owned()));
        }
        let number = |text: &str| {
            let number: f64 = text.trim().parse().map_err(|_unread| unknown())?;
            number.is_finite().then_some(number).ok_or_else(unknown)
        };
        let point = |text: &str| -> Result<Corner, UnknownMask> {
            let numbers: Vec<f64> = text.split(',').map(number).collect::<Result<_, _>>()?;
            numbers.try_into().map_err(|_other| unknown())
        };
        let parts: Vec<&str> = rest.split(':').collect();
        Ok(match (kind, parts.as_slice()) {
            ("plane", [at, normal]) => Self::Plane {
                point: point(at)?,
                normal: point(normal)?,
            },
            ("box", [from, to]) => Self::Box {
                from: point(from)?,
                to: point(to)?,
            },
            ("sphere", [middle, radius]) => Self::Sphere {
                middle: point(middle)?,
                radius: number(radius)?,
            },
            ("cylinder", [from, to, radius]) => Self::Cylinder {
                from: point(from)?,
                to: point(to)?,
                radius: number(radius)?,
            },
            ("patch", [at, degrees]) => Self::Patch {
                point: point(at)?,
                degrees: number(degrees)?,
            },
            _ => return Err(unknown()),
        })
    }
}

impl fmt::Display for Mask {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let p = |[x, y, z]: &Corner| format!("{x},{y},{z}");
        match self {
            Self::Plane { point, normal } => write!(f, "plane:{}:{}", p(point), p(normal)),
            Self::Box { from, to } => write!(f, "box:{}:{}", p(from), p(to)),
            Self::Sphere { middle, radius } => write!(f, "sphere:{}:{radius}", p(middle)),
            Self::Cylinder { from, to, radius } => {
                write!(f, "cylinder:{}:{}:{radius}", p(from), p(to))
            }
            Self::Patch { point, degrees } => write!(f, "patch:{}:{degrees}", p(point)),
            Self::Group(name) => write!(f, "group:{name}"),
        }
    }
}
