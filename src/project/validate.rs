//! The rules that a definition must keep.

use std::collections::BTreeSet;

use super::nearest::nearest;
use super::{Definition, DefinitionError, FORMAT, Joint, Piece, Stage};
use crate::mesh::Mask;
use crate::units::{Length, MM, is_unseen};

/// Names a piece cannot have, since `record` uses them for itself.
const RESERVED: [&str; 6] = ["reading", "supply", "bath", "logger", "undo", "redo"];

impl Definition {
    /// The rules a definition must keep.
    ///
    /// # Errors
    /// The first broken one, with its path and remedy.
    pub fn validate(&self) -> Result<(), DefinitionError> {
        let rule = |path: &str, message: String, remedy: &str| {
            DefinitionError::rule(path, message, remedy)
        };
        if self.format != FORMAT {
            return Err(rule(
                "format",
                format!("format {} is not one that this program reads", self.format),
                &format!("it reads format {FORMAT}; a newer program may be needed"),
            ));
        }
        if self.metal.cyanide {
            return Err(rule(
                "metal",
                format!("no project is kept for a cyanide bath ({})", self.metal),
                "acid on cyanide frees a deadly gas: licensed shops only; `tankside charge` does the arithmetic",
            ));
        }
        if self.target.mean().si() <= 0.0 {
            return Err(rule(
                "target",
                "the target is nothing".to_owned(),
                "give a thickness, such as Mean(\"40um\")",
            ));
        }
        if !(0.01..=1.2).contains(&self.efficiency.si()) {
            return Err(rule(
                "efficiency",
                format!("an efficiency of {} cannot be", self.efficiency),
                "acid copper has \"95%\" to \"100%\"",
            ));
        }
        if !(MM.of(0.01)..=MM.of(50.0)).contains(&self.bubble) {
            return Err(rule(
                "bubble",
                format!("a bubble of {} cannot be", self.bubble),
                "give a diameter from \"0.01mm\" to \"50mm\"; \"0.5mm\" is usual",
            ));
        }
        self.validate_uncertainty()?;
        self.validate_intervals()?;
        self.validate_tanks()?;
        self.validate_route("route", &self.route)?;
        self.validate_gates()?;
        self.validate_pieces()
    }

    fn validate_uncertainty(&self) -> Result<(), DefinitionError> {
        let u = &self.uncertainty;
        let all = [
            ("area_rel", u.area_rel),
            ("efficiency_rel", u.efficiency_rel),
            ("amps_rel", u.amps_rel),
            ("share_rel", u.share_rel),
        ];
        match all.iter().find(|(_, v)| !(0.0..=1.0).contains(v)) {
            Some((name, value)) => Err(DefinitionError::rule(
                format!("uncertainty.{name}"),
                format!("{name} is {value}: a relative standard uncertainty lies between 0 and 1"),
                "0.02 means 2 %",
            )),
            None => Ok(()),
        }
    }

    /// A look or an estimate that is due at once would be due for ever.
    fn validate_intervals(&self) -> Result<(), DefinitionError> {
        let (looks, readings) = (&self.looks, &self.readings);
        let all = [
            ("looks.strike_first", looks.strike_first),
            ("looks.strike", looks.strike),
            ("looks.build_first", looks.build_first),
            ("looks.build", looks.build),
            ("readings.strike", readings.strike),
            ("readings.build", readings.build),
        ];
        match all.iter().find(|(_, time)| time.si() <= 0.0) {
            Some((path, time)) => Err(DefinitionError::rule(
                *path,
                format!("a time of {time} cannot be"),
                "give a time above zero, such as \"20min\"",
            )),
            None => Ok(()),
        }
    }

    fn validate_tanks(&self) -> Result<(), DefinitionError> {
        if self.tanks.is_empty() {
            return Err(DefinitionError::rule(
                "tanks",
                "there is no tank",
                "add (name: \"main\")",
            ));
        }
        unique("tanks", self.tanks.iter().map(|t| t.name.as_str()))?;
        self.tanks.iter().try_for_each(super::placed::check_tank)
    }

    fn validate_route(&self, path: &str, route: &[Stage]) -> Result<(), DefinitionError> {
        if route.is_empty() {
            return Err(DefinitionError::rule(
                path,
                "the route is empty",
                "leave it out for the default one",
            ));
        }
        let mut seen = BTreeSet::new();
        for stage in route {
            if let Stage::Own(name) = stage
                && !self.stages.iter().any(|s| s.name == *name)
            {
                let mut known: Vec<&str> = Stage::known_names().collect();
                known.extend(self.stages.iter().map(|s| s.name.as_str()));
                return Err(DefinitionError::rule(
                    path,
                    format!(
                        "`{}` is no stage{}",
                        name.escape_debug(),
                        nearest(name, known.into_iter())
                    ),
                    "name a known stage, or define it under `stages`",
                ));
            }
            if !seen.insert(stage) {
                return Err(DefinitionError::rule(
                    path,
                    format!("{stage} stands twice"),
                    "a stage stands once in a route",
                ));
            }
        }
        Ok(())
    }

    fn validate_gates(&self) -> Result<(), DefinitionError> {
        for patch in &self.gates {
            let known = super::gate_table::default_gates()
                .iter()
                .any(|g| g.id == patch.gate);
            if !known && (patch.stage.is_none() || patch.when.is_none()) {
                let names = super::gate_table::default_gates();
                return Err(DefinitionError::rule(
                    format!("gates.{}", patch.gate),
                    format!(
                        "`{}` is no default gate{}",
                        patch.gate.escape_debug(),
                        nearest(&patch.gate, names.iter().map(|g| g.id.as_str()))
                    ),
                    "a gate of your own needs stage: and when: start or end",
                ));
            }
        }
        Ok(())
    }

    fn validate_pieces(&self) -> Result<(), DefinitionError> {
        unique("pieces", self.pieces.iter().map(|p| p.name.as_str()))?;
        for piece in &self.pieces {
            let path = |field: &str| format!("pieces.{}.{field}", piece.name);
            check_name("pieces", &piece.name)?;
            if RESERVED.contains(&piece.name.as_str()) {
                return Err(DefinitionError::rule(
                    path("name"),
                    format!("a piece cannot be called `{}`", piece.name),
                    format!("these words are taken: {}", RESERVED.join(" ")),
                ));
            }
            if !(piece.roughness.is_finite() && (1.0..=20.0).contains(&piece.roughness)) {
                return Err(DefinitionError::rule(
                    path("roughness"),
                    format!("a roughness of {} cannot be", piece.roughness),
                    "it is plating area over wetted area: 1 is smooth, layer lines 1.05 to 1.3",
                ));
            }
            if piece.area.is_some_and(|a| a.si() <= 0.0) {
                return Err(DefinitionError::rule(
                    path("area"),
                    "the area is nothing",
                    "give it as \"6.84dm2\"",
                ));
            }
            check_wires(piece)?;
            super::placed::check_piece(piece)?;
            for mask in &piece.masks {
                check_shape(&path(&format!("masks.{}.shape", mask.name)), &mask.shape)?;
            }
            if let Some(route) = &piece.route {
                self.validate_route(&path("route"), route)?;
            }
        }
        let joined = self
            .joints
            .iter()
            .flat_map(|j| j.between.iter().map(move |p| (j, p)));
        for (joint, piece) in joined {
            if self.piece(piece).is_none() {
                return Err(DefinitionError::rule(
                    format!("joints.{}", joint.name),
                    format!(
                        "the joint names `{}`, which is no piece{}",
                        piece.escape_debug(),
                        nearest(piece, self.pieces.iter().map(|p| p.name.as_str()))
                    ),
                    "name two pieces of the project",
                ));
            }
        }
        self.joints.iter().try_for_each(check_joint)
    }
}

/// A shape that is meant as a mask has to be one; anything else is words.
fn check_shape(path: &str, shape: &str) -> Result<(), DefinitionError> {
    match shape.parse::<Mask>() {
        Err(error) if Mask::is_meant(shape) => Err(DefinitionError::rule(
            path,
            error.to_string(),
            format!("{}; or say it in words of your own", error.remedy()),
        )),
        _ => Ok(()),
    }
}

/// What is told of a joint has to be possible and of one mind.
fn check_joint(joint: &Joint) -> Result<(), DefinitionError> {
    let rule = |field: &str, message: String, remedy: &str| {
        let path = format!("joints.{}.{field}", joint.name);
        Err(DefinitionError::rule(path, message, remedy))
    };
    let above = |length: Option<Length>, least: f64| length.is_none_or(|l| l.si() > least);
    if !above(joint.hole, 0.0) {
        return rule(
            "hole",
            "a hole without a width cannot be".to_owned(),
            "give it as \"8.3mm\"",
        );
    }
    if !above(joint.peg, 0.0) {
        return rule(
            "peg",
            "a peg without a width cannot be".to_owned(),
            "give it as \"8mm\"",
        );
    }
    match (joint.hole, joint.peg, joint.gap_per_side) {
        (Some(_), None, None) => {
            return rule(
                "peg",
                "the hole is told without the peg".to_owned(),
                "give both, or gap_per_side",
            );
        }
        (None, Some(_), None) => {
            return rule(
                "hole",
                "the peg is told without the hole".to_owned(),
                "give both, or gap_per_side",
            );
        }
        (Some(hole), Some(peg), Some(gap))
            if ((hole - peg) * 0.5 - gap).si().abs() > SAME_LENGTH =>
        {
            let half = (hole - peg) * 0.5;
            return rule(
                "gap_per_side",
                format!("a gap of {gap} per side is not that of hole and peg, {half}"),
                "it is half of what they differ; leave one of them out",
            );
        }
        _ => {}
    }
    if let Some(other) = joint
        .masked
        .iter()
        .find(|name| !joint.between.contains(*name))
    {
        return rule(
            "masked",
            format!(
                "`{}` is not of this joint{}",
                other.escape_debug(),
                nearest(other, joint.between.iter().map(String::as_str))
            ),
            "name one or both of its pieces",
        );
    }
    let path = format!("joints.{}.faces", joint.name);
    joint
        .faces
        .iter()
        .flatten()
        .try_for_each(|face| check_shape(&path, face))
}

/// Lengths that differ by less, in m, are the same.
const SAME_LENGTH: f64 = 1e-9;

/// A wire without length or thickness has no area; it is a slip.
fn check_wires(piece: &Piece) -> Result<(), DefinitionError> {
    let all = [("wires", &piece.wires), ("thieves", &piece.thieves)];
    let none = |w: &super::Wire| w.diameter.si() <= 0.0 || w.length.si() <= 0.0;
    match all.iter().find(|(_, wires)| wires.iter().any(none)) {
        Some((field, _)) => Err(DefinitionError::rule(
            format!("pieces.{}.{field}", piece.name),
            format!("one of the {field} has a diameter or a length of nothing"),
            "give both, such as (diameter: \"0.8mm\", length: \"30cm\")",
        )),
        None => Ok(()),
    }
}

/// A text with what is not seen written out.
fn written(text: &str) -> String {
    let one = |c: char| -> String {
        if is_unseen(c) {
            c.escape_unicode().collect()
        } else {
            c.to_string()
        }
    };
    text.chars().map(one).collect()
}

pub(super) fn unique<'a>(
    path: &str,
    names: impl Iterator<Item = &'a str>,
) -> Result<(), DefinitionError> {
    let mut seen = BTreeSet::new();
    for name in names {
        check_name(path, name)?;
        if !seen.insert(name) {
            return Err(DefinitionError::rule(
                format!("{path}.{name}"),
                format!("two of the {path} are called `{name}`"),
                "give each a name of its own",
            ));
        }
    }
    Ok(())
}

/// Names are said aloud, typed and printed: nothing that is not seen, no slash,
/// no leading dash, at most 60 characters.
fn check_name(path: &str, name: &str) -> Result<(), DefinitionError> {
    let bad = |c: char| is_unseen(c) || matches!(c, '/' | '\\');
    if name.trim().is_empty()
        || name.starts_with('-')
        || name.chars().count() > 60
        || name.chars().any(bad)
    {
        return Err(DefinitionError::rule(
            path,
            format!(
                "`{}` cannot be a name",
                written(&name.chars().take(80).collect::<String>())
            ),
            "1 to 60 characters that are seen, no slashes, not beginning with a dash",
        ));
    }
    Ok(())
}
