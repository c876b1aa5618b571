//! `joints`: whether the pieces still go together after plating.

use std::path::Path;

use serde_json::{Value, json};

use super::Context;
use super::outcome::{Outcome, Trouble, line_safe};
use crate::mesh::{Answer, Which};
use crate::project::JointFit;
use crate::units::rounded;

/// `joints DIR`
pub(super) fn joints(context: &Context<'_>, dir: &Path) -> Result<Outcome, Trouble> {
    let folder = context.open(dir)?;
    let fits: Vec<JointFit> = folder.project().definition.fits().collect();
    let text: String = fits.iter().map(line).collect();
    let text = if fits.is_empty() {
        "no joints: project.ron names them under `joints`\n".to_owned()
    } else {
        text
    };
    let list: Vec<Value> = fits.iter().map(as_json).collect();
    Ok(Outcome::both(text, json!({ "joints": list })))
}

fn line(joint: &JointFit) -> String {
    let [hole, peg] = &joint.between;
    let said = format!("{} ({hole} - {peg}): {}", joint.name, joint.say);
    line_safe(&said) + "\n"
}

fn as_json(joint: &JointFit) -> Value {
    let fit = joint.fit.as_ref();
    let mm = |mm: f64| rounded(mm, 9);
    let answer = |answer: &Answer| match *answer {
        Answer::Fits { gap_mm } => json!({ "do": "nothing", "gap_mm": mm(gap_mm) }),
        Answer::MaskIt { which, gap_mm } => {
            let which = match which {
                Which::Hole => &joint.between[..1],
                Which::Peg => &joint.between[1..],
                Which::Both => &joint.between[..],
            };
            json!({ "do": "mask", "pieces": which, "gap_mm": mm(gap_mm) })
        }
        Answer::ReamIt { by_mm, bares } => {
            json!({ "do": "ream", "by_mm": mm(by_mm), "bares": bares })
        }
        Answer::PrintSmaller { by_mm } => json!({ "do": "print-smaller", "by_mm": mm(by_mm) }),
    };
    let masked = joint.between.iter().zip(joint.masked);
    json!({
        "name": joint.name,
        "between": joint.between,
        "masked": masked.filter(|(_, masked)| *masked).map(|(name, _)| name).collect::<Vec<_>>(),
        "fit": joint.word(),
        "gap_mm": fit.map(|fit| mm(fit.gap_mm)),
        "gap_pm_mm": fit.map(|fit| mm(fit.gap_pm_mm)),
        "thick_gap_mm": fit.map(|fit| mm(fit.thick_gap_mm)),
        "answers": fit.map(|fit| fit.answers.iter().map(answer).collect::<Vec<_>>()),
        "say": joint.say,
    })
}
