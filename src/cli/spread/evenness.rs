//! `spread DIR --set`: what the field predicts goes into `project.ron`.

use std::path::Path;

use crate::cli::Context;
use crate::cli::outcome::{Trouble, line_safe};
use crate::cli::project::contradicted;
use crate::field::scene::{BodySpread, Kind, Spread};
use crate::store::ron_text::quote;
use crate::units::{number, rounded};

/// A least below this makes a target by it a matter of masks and anodes.
const LOW: f64 = 0.1;

/// Sets each piece's evenness; what was set, and what is to be said of it.
pub(super) fn set(
    context: &Context<'_>,
    dir: &Path,
    spread: &Spread,
) -> Result<(String, Vec<String>), Trouble> {
    let mut folder = context.open(dir)?;
    let pieces = spread.bodies.iter().filter(|body| body.kind == Kind::Piece);
    let (mut values, mut said, mut warnings) = (Vec::new(), Vec::new(), Vec::new());
    for body in pieces {
        let (least, most) = least_most(body);
        let path = format!("pieces.{}.evenness", quote(&body.name));
        let because = quote(&because(spread, body));
        values.push((
            path,
            format!("(least: {least:?}, most: {most:?}, because: {because})"),
        ));
        let name = line_safe(&body.name);
        said.push(format!(
            "  {name}: evenness {least} to {most} of the mean is set, as predicted\n"
        ));
        if least < LOW {
            warnings.push(format!(
                "{name}: its thinnest place has {least} of the mean, so a minimum target asks {} times as much on \
                 the mean: see to anodes, a turn or a mask first",
                number(1.0 / least, 2)
            ));
        }
    }
    folder.set_all(&values).map_err(contradicted)?;
    Ok((said.concat(), warnings))
}

/// What `project.ron` takes, to three digits.
fn least_most(body: &BodySpread) -> (f64, f64) {
    let least = rounded(body.min_over_mean, 3).clamp(1e-3, 1.0);
    (least, rounded(body.max_over_mean, 3).max(1.0))
}

fn because(spread: &Spread, body: &BodySpread) -> String {
    let others = spread
        .bodies
        .iter()
        .filter(|other| other.kind == Kind::Piece);
    let others: Vec<&str> = others
        .map(|other| other.name.as_str())
        .filter(|name| *name != body.name)
        .collect();
    let with = if others.is_empty() {
        "alone".to_owned()
    } else {
        format!("with {}", others.join(", "))
    };
    format!(
        "predicted at {} A {with}, {} panels, +- {} % in a zone",
        number(spread.amps, 3),
        spread.flows.panels,
        number(spread.flows.error_zones * 100.0, 2)
    )
}
