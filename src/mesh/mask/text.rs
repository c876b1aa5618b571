//! Masks as texts.

use std::fmt;
use std::str::FromStr;

use super::Mask;
use crate::mesh::space::{length, less};
use crate::mesh::words::cut;
use crate::mesh::{Corner, Group, is_sound};

/// The words that begin the text of a mask, each with its form.
const FORMS: [(&str, &str); 6] = [
    ("plane", "plane:x,y,z:nx,ny,nz"),
    ("box", "box:x,y,z:x,y,z"),
    ("sphere", "sphere:x,y,z:RADIUS"),
    ("cylinder", "cylinder:x,y,z:x,y,z:RADIUS"),
    ("patch", "patch:x,y,z:DEGREES"),
    ("group", "group:NAME"),
];

/// A text that is no mask, or a mask of something that is not there.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MaskError {
    /// It does not begin with the word of a shape and a colon.
    #[error("`{}` is no mask{}", shown(.found), hint(.near.as_ref()))]
    UnknownShape {
        /// The text.
        found: String,
        /// The nearest word of a shape.
        near: Option<String>,
    },
    /// It has more or fewer parts than its shape.
    #[error("`{}` has {found} after the word `{}`; expected {expected}", shown(.text), word(.form), found = parts(*.found), expected = parts(*.expected))]
    Parts {
        /// The text.
        text: String,
        /// How the shape is written.
        form: &'static str,
        /// How many parts there are.
        found: usize,
        /// How many there should be.
        expected: usize,
    },
    /// One of its parts does not do.
    #[error("the {part} of the {} is `{}`; expected {expected}", word(.form), shown(.found))]
    BadPart {
        /// How the shape is written.
        form: &'static str,
        /// Which part.
        part: &'static str,
        /// What stands there.
        found: String,
        /// What should stand there.
        expected: &'static str,
    },
    /// `group:` without a name.
    #[error(
        "`group:` names no group: the name of a group or object in the file is missing behind the colon"
    )]
    NoName,
    /// The file has no group of this name.
    #[error("{}", unknown(.name, .near.as_ref()))]
    UnknownGroup {
        /// The name.
        name: String,
        /// The nearest name that there is.
        near: Option<String>,
        /// The first names that there are.
        known: Vec<String>,
    },
}

impl MaskError {
    pub(super) fn unknown_group(name: &str, groups: &[Group]) -> Self {
        let names = || groups.iter().map(|group| group.name.as_str());
        Self::UnknownGroup {
            name: name.to_owned(),
            near: nearest(name, names()),
            known: names().take(8).map(ToOwned::to_owned).collect(),
        }
    }

    /// One word for scripts: `unknown-group`, or `mask` for a text that is none.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::UnknownGroup { .. } => "unknown-group",
            _ => "mask",
        }
    }

    /// What would do instead.
    pub fn remedy(&self) -> String {
        match self {
            Self::UnknownShape { .. } => {
                let forms: Vec<&str> = FORMS.iter().map(|(_, form)| *form).collect();
                format!("write one of {}, in mm", forms.join("  "))
            }
            Self::NoName => "write it as group:NAME".to_owned(),
            Self::Parts { form, .. } | Self::BadPart { form, .. } => {
                format!("write it as {form}, in mm")
            }
            Self::UnknownGroup { known, .. } if known.is_empty() => {
                "the file names no groups at all: mask by a shape".to_owned()
            }
            Self::UnknownGroup { known, .. } => {
                let known: Vec<String> = known.iter().map(|name| shown(name)).collect();
                format!("the file has: {}", known.join(", "))
            }
        }
    }
}

fn parts(count: usize) -> String {
    match count {
        1 => "1 part".to_owned(),
        more => format!("{more} parts"),
    }
}

fn word(form: &str) -> &str {
    form.split(':').next().unwrap_or_default()
}

fn unknown(name: &str, near: Option<&String>) -> String {
    if name.trim().is_empty() {
        return MaskError::NoName.to_string();
    }
    format!("the file has no group `{}`{}", shown(name), hint(near))
}

/// A text for a message: what is not seen written out, and not too long.
fn shown(text: &str) -> String {
    let escaped: String = cut(text, 200)
        .chars()
        .flat_map(char::escape_debug)
        .collect();
    escaped.replace("\\'", "'").replace("\\\"", "\"")
}

fn hint(near: Option<&String>) -> String {
    near.map_or_else(String::new, |near| {
        format!("; did you mean `{}`?", shown(near))
    })
}

/// The known name that takes the fewest slips to write, if they are few.
fn nearest<'a>(found: &str, known: impl Iterator<Item = &'a str>) -> Option<String> {
    known
        .map(|name| (strsim::damerau_levenshtein(found, name), name))
        .min()
        .filter(|(slips, name)| *slips <= name.chars().count().max(3) / 2)
        .map(|(_, name)| name.to_owned())
}

/// The parts of one mask's text.
struct Parts<'a> {
    form: &'static str,
    parts: Vec<&'a str>,
}

impl Parts<'_> {
    fn bad(&self, at: usize, part: &'static str, expected: &'static str) -> MaskError {
        MaskError::BadPart {
            form: self.form,
            part,
            found: self.parts[at].to_owned(),
            expected,
        }
    }

    fn point(&self, at: usize, part: &'static str) -> Result<Corner, MaskError> {
        let numbers: Option<Vec<f64>> = self.parts[at].split(',').map(number).collect();
        numbers
            .and_then(|numbers| <Corner>::try_from(numbers).ok())
            .ok_or_else(|| self.bad(at, part, "three numbers x,y,z in mm"))
    }

    fn radius(&self, at: usize) -> Result<f64, MaskError> {
        number(self.parts[at])
            .filter(|radius| *radius > 0.0)
            .ok_or_else(|| self.bad(at, "radius", "a number of mm above zero"))
    }
}

/// A number that is finite and believed.
fn number(text: &str) -> Option<f64> {
    text.trim().parse().ok().filter(|number| is_sound(*number))
}

impl FromStr for Mask {
    type Err = MaskError;

    fn from_str(text: &str) -> Result<Self, MaskError> {
        let (word, rest) = text.split_once(':').unwrap_or((text, ""));
        let known = FORMS.iter().find(|(known, _)| *known == word.trim());
        let Some((word, form)) = known.filter(|_| text.contains(':')) else {
            return Err(MaskError::UnknownShape {
                found: text.to_owned(),
                near: nearest(word.trim(), FORMS.iter().map(|(known, _)| *known)),
            });
        };
        if *word == "group" {
            let name = rest.to_owned();
            let is_named = !name.trim().is_empty();
            return is_named
                .then_some(Self::Group(name))
                .ok_or(MaskError::NoName);
        }
        let of = Parts {
            form,
            parts: rest.split(':').collect(),
        };
        let expected = form.split(':').count() - 1;
        if of.parts.len() != expected {
            return Err(MaskError::Parts {
                text: text.to_owned(),
                form,
                found: of.parts.len(),
                expected,
            });
        }
        match *word {
            "plane" => plane(&of),
            "box" => Ok(Self::Box {
                from: of.point(0, "first corner")?,
                to: of.point(1, "second corner")?,
            }),
            "sphere" => Ok(Self::Sphere {
                middle: of.point(0, "middle")?,
                radius: of.radius(1)?,
            }),
            "cylinder" => cylinder(&of),
            _ => patch(&of),
        }
    }
}

fn plane(of: &Parts<'_>) -> Result<Mask, MaskError> {
    let (point, normal) = (of.point(0, "point")?, of.point(1, "normal")?);
    if length(normal) > 0.0 {
        Ok(Mask::Plane { point, normal })
    } else {
        Err(of.bad(1, "normal", "a direction, which is not all zero"))
    }
}

fn cylinder(of: &Parts<'_>) -> Result<Mask, MaskError> {
    let (from, to) = (of.point(0, "first end")?, of.point(1, "second end")?);
    if length(less(to, from)) <= 0.0 {
        return Err(of.bad(1, "second end", "a point away from the first end"));
    }
    let radius = of.radius(2)?;
    Ok(Mask::Cylinder { from, to, radius })
}

fn patch(of: &Parts<'_>) -> Result<Mask, MaskError> {
    let point = of.point(0, "point")?;
    let degrees = number(of.parts[1])
        .filter(|degrees| (0.0..=180.0).contains(degrees))
        .ok_or_else(|| of.bad(1, "bend", "degrees from 0 to 180"))?;
    Ok(Mask::Patch { point, degrees })
}

impl fmt::Display for Mask {
    /// The text that reads as the same mask.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Plane { point, normal } => write!(f, "plane:{}:{}", At(point), At(normal)),
            Self::Box { from, to } => write!(f, "box:{}:{}", At(from), At(to)),
            Self::Sphere { middle, radius } => write!(f, "sphere:{}:{}", At(middle), No(*radius)),
            Self::Cylinder { from, to, radius } => {
                write!(f, "cylinder:{}:{}:{}", At(from), At(to), No(*radius))
            }
            Self::Patch { point, degrees } => write!(f, "patch:{}:{}", At(point), No(*degrees)),
            Self::Group(name) => write!(f, "group:{name}"),
        }
    }
}

/// A point as it is written.
struct At<'a>(&'a Corner);

impl fmt::Display for At<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [x, y, z] = self.0.map(No);
        write!(f, "{x},{y},{z}")
    }
}

/// A number for the eye: to a tenth.
fn short(number: f64) -> String {
    let text = format!("{number:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0" } else { text }.to_owned()
}

/// A number as it is written: with an exponent where it would be long.
struct No(f64);

impl fmt::Display for No {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.0.abs();
        if size == 0.0 || (1e-6..1e12).contains(&size) {
            write!(f, "{}", self.0)
        } else {
            write!(f, "{:e}", self.0)
        }
    }
}

impl Mask {
    /// The shape in words, as a person tells it: `ball of 5 mm around 1, 2, 3`.
    pub fn words(&self) -> String {
        let at = |point: &Corner| point.map(short).join(", ");
        match self {
            Self::Plane { point, normal } => match normal {
                [0.0, 0.0, up] if *up > 0.0 => format!("all from z {} mm upwards", short(point[2])),
                [0.0, 0.0, _] => format!("all from z {} mm downwards", short(point[2])),
                _ => format!("all from {} on towards {}", at(point), at(normal)),
            },
            Self::Box { from, to } => format!("box from {} to {} mm", at(from), at(to)),
            Self::Sphere { middle, radius } => {
                format!("ball of {} mm around {}", short(*radius), at(middle))
            }
            Self::Cylinder { from, to, radius } => format!(
                "cylinder of {} mm radius from {} to {}",
                short(*radius),
                at(from),
                at(to)
            ),
            Self::Patch { point, degrees } => format!(
                "patch from {} over bends up to {} degrees",
                at(point),
                short(*degrees)
            ),
            Self::Group(name) => format!("group {} of the file", shown(name)),
        }
    }

    /// Whether a text is meant as a mask: it begins with the word of a shape
    /// and a colon.
    pub fn is_meant(text: &str) -> bool {
        let word = text.split_once(':').map(|(word, _)| word.trim());
        word.is_some_and(|word| FORMS.iter().any(|(known, _)| *known == word))
    }
}
