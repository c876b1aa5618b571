//! The rules for what is told of places in a tank, of its bath and of its field.

use super::hung::{Evenness, Lead, Plate, Rod};
use super::validate::unique;
use super::{Bath, DefinitionError, Piece, Setting, Tank};
use crate::plating::AcidCopper;
use crate::units::{CELSIUS, Length, MM, plain};

type Checked = Result<(), DefinitionError>;

/// From that of weak brine to that of the best acid, S/m.
const CONDUCTIVITY: std::ops::RangeInclusive<f64> = 0.01..=200.0;

/// Between freezing and boiling, °C.
const CELSIUS_RANGE: std::ops::RangeInclusive<f64> = 0.0..=100.0;

/// A tank's size, anodes, shields, supply and bath.
pub(super) fn check_tank(tank: &Tank) -> Checked {
    let path = |field: &str| format!("tanks.{}.{field}", tank.name);
    if tank
        .inside
        .is_some_and(|sides| sides.iter().any(|side| side.si() <= 0.0))
    {
        return wrong(
            path("inside"),
            "a side of the tank is nothing",
            "give width, depth and height, such as (\"40cm\", \"25cm\", \"30cm\")",
        );
    }
    let too_full = |fill: Length| tank.inside.is_some_and(|[.., high]| fill > high);
    if let Some(fill) = tank.fill.filter(|fill| fill.si() <= 0.0 || too_full(*fill)) {
        return wrong(
            path("fill"),
            format!("a fill of {fill} cannot be in this tank"),
            "it is the height of the liquid: above nothing, at most the height of the tank",
        );
    }
    let placed = tank
        .anodes
        .iter()
        .filter(|a| a.plate.is_some() || a.rod.is_some());
    unique(&path("anodes"), placed.map(|anode| anode.name.as_str()))?;
    for anode in &tank.anodes {
        let path = |field: &str| path(&format!("anodes.{}.{field}", anode.name));
        if anode.plate.is_some() && anode.rod.is_some() {
            return wrong(
                path("rod"),
                "it is a plate already",
                "leave plate or rod out",
            );
        }
        let plate = anode.plate.as_ref();
        plate.map_or(Ok(()), |plate| check_plate(&path("plate"), plate))?;
        let rod = anode.rod.as_ref();
        rod.map_or(Ok(()), |rod| check_rod(&path("rod"), rod))?;
    }
    for (k, shield) in tank.shields.iter().enumerate() {
        check_plate(&path(&format!("shields.{k}")), shield)?;
    }
    if tank.supply.holds == Some(Setting::Off) {
        return wrong(
            path("supply.holds"),
            "a supply that is off drives nothing",
            "give Amps(\"3A\") or Volts(\"2V\")",
        );
    }
    check_bath(&path("bath"), &tank.bath)
}

/// Where a piece hangs, how its wires run and how even it is.
pub(super) fn check_piece(piece: &Piece) -> Checked {
    let path = |field: &str| format!("pieces.{}.{field}", piece.name);
    if let Some(hangs) = &piece.hangs {
        direction(
            path("hangs.turn"),
            &hangs.turn,
            "(1, 0, 0, 0) is as its print stands",
        )?;
    }
    unique(
        &path("leads"),
        piece.leads.iter().map(|lead| lead.name.as_str()),
    )?;
    for lead in &piece.leads {
        check_lead(&path(&format!("leads.{}", lead.name)), lead)?;
    }
    piece
        .evenness
        .as_ref()
        .map_or(Ok(()), |even| check_evenness(&path("evenness"), even))
}

fn check_plate(path: &str, plate: &Plate) -> Checked {
    direction(
        format!("{path}.facing"),
        &plate.facing,
        "(1, 0, 0) faces to the right, (0, 1, 0) to the back, (0, 0, 1) up",
    )?;
    for side in plate.size {
        above(
            format!("{path}.size"),
            side,
            "give width and height, such as (\"15cm\", \"20cm\")",
        )?;
    }
    plate.thickness.map_or(Ok(()), |thickness| {
        above(format!("{path}.thickness"), thickness, "give it as \"3mm\"")
    })
}

fn check_rod(path: &str, rod: &Rod) -> Checked {
    above(
        format!("{path}.diameter"),
        rod.diameter,
        "give it as \"12mm\"",
    )?;
    line(&format!("{path}.points"), &rod.points, false)
}

fn check_lead(path: &str, lead: &Lead) -> Checked {
    above(
        format!("{path}.diameter"),
        lead.diameter,
        "give it as \"0.8mm\"",
    )?;
    line(&format!("{path}.points"), &lead.points, lead.closed)
}

/// Enough points to make a line, none of them twice in a row.
fn line(path: &str, points: &[[Length; 3]], closed: bool) -> Checked {
    let least = if closed { 3 } else { 2 };
    if points.len() < least {
        return wrong(
            path,
            format!("{least} points or more make a line"),
            "give places in the tank, such as [(\"20cm\", \"12cm\", \"18cm\"), (\"20cm\", \"12cm\", \"26cm\")]",
        );
    }
    let back = if closed { points.first() } else { None };
    let next = points.iter().skip(1).chain(back);
    match points.iter().zip(next).position(|(a, b)| a == b) {
        Some(k) => wrong(
            path,
            format!("the line stays where it is after point {}", k + 1),
            "leave the second of two equal points out; `closed` joins the ends by itself",
        ),
        None => Ok(()),
    }
}

fn check_bath(path: &str, bath: &Bath) -> Checked {
    let given = bath.conductivity_s_m;
    if let Some(given) = given.filter(|given| !CONDUCTIVITY.contains(given)) {
        return wrong(
            format!("{path}.conductivity_s_m"),
            format!("{} S/m is no bath's", plain(given)),
            "acid copper has 15 to 60; 0.2 S/cm is 20 S/m",
        );
    }
    let celsius = bath.temperature.map(|temperature| temperature.to(CELSIUS));
    if let Some(celsius) = celsius.filter(|celsius| !CELSIUS_RANGE.contains(celsius)) {
        return wrong(
            format!("{path}.temperature"),
            format!("a bath of {} C cannot be", plain(celsius)),
            "give it as \"25C\" or \"77F\"",
        );
    }
    let contents = [
        ("copper_g_l", bath.copper_g_l, AcidCopper::COPPER_G_L),
        ("acid_g_l", bath.acid_g_l, AcidCopper::ACID_G_L),
    ];
    for (field, content, range) in contents {
        if let Some(content) = content.filter(|content| !range.contains(content)) {
            return wrong(
                format!("{path}.{field}"),
                format!(
                    "{} g/L is outside what the conductivity is known for",
                    plain(content)
                ),
                format!(
                    "it is known for {} to {} g/L; give conductivity_s_m instead",
                    range.start(),
                    range.end()
                ),
            );
        }
    }
    let numbers = bath
        .kinetics
        .map(super::hung::Law::numbers)
        .unwrap_or_default();
    match numbers
        .iter()
        .find(|(_, value)| !(value.is_finite() && *value > 0.0))
    {
        Some((name, value)) => wrong(
            format!("{path}.kinetics"),
            format!("{name} is {}: it is above 0", plain(*value)),
            "acid copper may have ButlerVolmer(i0_a_m2: 10, alpha_a: 1.5, alpha_c: 0.5)",
        ),
        None => Ok(()),
    }
}

fn check_evenness(path: &str, even: &Evenness) -> Checked {
    if !(even.least > 0.0 && even.least <= 1.0) {
        return wrong(
            format!("{path}.least"),
            format!("a least of {} times the mean cannot be", plain(even.least)),
            "it is least over mean: above 0, at most 1",
        );
    }
    if !(even.most.is_finite() && even.most >= 1.0) {
        return wrong(
            format!("{path}.most"),
            format!("a most of {} times the mean cannot be", plain(even.most)),
            "it is most over mean: 1 or more",
        );
    }
    Ok(())
}

fn above(path: String, length: Length, remedy: &str) -> Checked {
    if length.to(MM) > 1e-3 {
        Ok(())
    } else {
        wrong(path, format!("{length} is no size"), remedy)
    }
}

fn direction(path: String, of: &[f64], remedy: &str) -> Checked {
    let square: f64 = of.iter().map(|number| number * number).sum();
    if square.is_finite() && square > 1e-18 {
        Ok(())
    } else {
        wrong(path, "it has no length, so no direction", remedy)
    }
}

fn wrong(
    path: impl Into<String>,
    message: impl Into<String>,
    remedy: impl Into<String>,
) -> Checked {
    Err(DefinitionError::rule(path, message, remedy))
}

#[cfg(test)]
mod tests {
    use crate::project::Definition;

    const TOLD: &str = r#"(format: 1, name: "Bell", metal: "copper-acid", target: Mean("40um"), tanks: [(name: "main",
        inside: ("40cm", "25cm", "30cm"), fill: "26cm",
        anodes: [(name: "left", plate: (at: ("0cm", "12cm", "13cm"), facing: (1, 0, 0), size: ("15cm", "20cm"))),
        (name: "rod", rod: (points: [("35cm", "12cm", "5cm"), ("35cm", "12cm", "25cm")], diameter: "12mm"))],
        shields: [(at: ("10cm", "12cm", "13cm"), facing: (1, 0, 0), size: ("8cm", "8cm"), thickness: "3mm")],
        supply: (holds: Amps("3A")),
        bath: (temperature: "24C", copper_g_l: 50, acid_g_l: 120, conductivity_s_m: 35,
        kinetics: ButlerVolmer(i0_a_m2: 20, alpha_a: 1.4, alpha_c: 0.6, limit_a_m2: 800)))],
        pieces: [(name: "bell", hangs: (at: ("20cm", "12cm", "13cm"), turn: (1, 0, 0.5, 0)),
        leads: [(name: "hook", points: [("20cm", "12cm", "16cm"), ("20cm", "12cm", "26cm")], diameter: "0.8mm")],
        evenness: (least: 0.4, most: 2.5))])"#;

    #[test]
    fn what_is_told_reads() {
        Definition::parse(TOLD).unwrap();
    }

    #[test]
    fn what_cannot_be_is_refused_with_its_path_and_remedy() {
        for (from, to, path) in [
            ("\"40cm\", \"25", "\"0cm\", \"25", "tanks.main.inside"),
            ("fill: \"26cm\"", "fill: \"31cm\"", "tanks.main.fill"),
            (
                "\"15cm\", \"20cm\"",
                "\"15cm\", \"0cm\"",
                "tanks.main.anodes.left.plate.size",
            ),
            ("\"12mm\"", "\"0mm\"", "tanks.main.anodes.rod.rod.diameter"),
            ("\"rod\", rod", "\"left\", rod", "tanks.main.anodes.left"),
            (
                "facing: (1, 0, 0), size: (\"8",
                "facing: (0, 0, 0), size: (\"8",
                "tanks.main.shields.0.facing",
            ),
            ("\"3mm\"", "\"0mm\"", "tanks.main.shields.0.thickness"),
            ("Amps(\"3A\")", "Off", "tanks.main.supply.holds"),
            ("24C", "240C", "tanks.main.bath.temperature"),
            (
                "copper_g_l: 50",
                "copper_g_l: 500",
                "tanks.main.bath.copper_g_l",
            ),
            ("acid_g_l: 120", "acid_g_l: 12", "tanks.main.bath.acid_g_l"),
            ("s_m: 35", "s_m: 0", "tanks.main.bath.conductivity_s_m"),
            ("i0_a_m2: 20", "i0_a_m2: 0", "tanks.main.bath.kinetics"),
            (
                "limit_a_m2: 800",
                "limit_a_m2: -1",
                "tanks.main.bath.kinetics",
            ),
            ("(1, 0, 0.5, 0)", "(0, 0, 0, 0)", "pieces.bell.hangs.turn"),
            ("\"16cm\"", "\"26cm\"", "pieces.bell.leads.hook.points"),
            ("\"0.8mm\"", "\"0mm\"", "pieces.bell.leads.hook.diameter"),
            ("least: 0.4", "least: 0", "pieces.bell.evenness.least"),
            ("most: 2.5", "most: 0.5", "pieces.bell.evenness.most"),
        ] {
            let changed = TOLD.replacen(from, to, 1);
            assert_ne!(changed, TOLD, "{from}");
            let error = Definition::parse(&changed).unwrap_err();
            assert_eq!(error.path.as_deref(), Some(path), "{error:?}");
            assert!(!error.remedy.is_empty());
        }
    }
}
