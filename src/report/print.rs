//! What a survey says of a print: JSON for scripts, text for people, and what
//! whoever plates it has to know.

use serde_json::{Value, json};

use super::safe::{plain_text, wrapped};
use super::text::COLUMNS;
use crate::mesh::shape::{self, ACID_COPPER_BATH_G_CM3, Afloat, Plastic, Recess, Shape};
use crate::mesh::{
    self, Cavity, Class, Defect, Facet, Flaw, LengthUnit, MaskTaken, Order, Printed, Survey,
    area_words, place, volume_words,
};
use crate::units::{number, plain};

/// A print, surveyed.
#[derive(Debug)]
pub struct Print<'a> {
    /// Its file, as it was named.
    pub file: &'a str,
    /// Where the unit comes from: `file`, `given` or `assumed`.
    pub unit_source: &'a str,
    /// What was surveyed, and how.
    pub order: &'a Order,
    /// What came of it.
    pub survey: &'a Survey,
    /// Its tips, recesses and thin walls.
    pub shape: &'a Shape,
    /// How long it took, where it was timed.
    pub seconds: Option<f64>,
}

/// Hollows that lift or carry less than a tenth of a gram are not worth a word,
/// in mm³.
const WORTH_MM3: f64 = 100.0;

/// Where the search for hollows was given up.
const UNTOLD: &str = "too many narrow places to look for hollows with openings: all that a way leads to counts as wetted, \
     however narrow the way";

/// Of mild steel: from memory of handbooks.
const STEEL_G_CM3: f64 = 7.85;

/// From this depth to width on, the floor of a recess is told of: common
/// practice, no source.
const DEEP: f64 = 1.0;

/// A sum that differs from the wetted area by less than this share agrees.
const AGREES: f64 = 5e-4;

impl Print<'_> {
    /// The print for scripts, in the order of their form.
    pub fn json(&self) -> Value {
        let survey = self.survey;
        let cavities = survey.cavities.iter().map(|cavity| {
            json!({
                "area_mm2": cavity.area_mm2, "volume_mm3": cavity.volume_mm3, "sealed": cavity.sealed,
                "opening_mm": cavity.opening_mm, "at_mm": cavity.at_mm,
            })
        });
        let defects = self.defects().into_iter().map(|defect| {
            json!({
                "what": defect.what.name(), "count": defect.count, "at_mm": defect.at_mm, "say": defect.say(),
            })
        });
        let contacts = survey
            .islands
            .iter()
            .map(|island| json!({ "at_mm": island.at_mm, "volume_mm3": island.volume_mm3 }));
        let masks = survey
            .masks
            .iter()
            .map(|taken| json!({ "mask": taken.mask.to_string(), "area_mm2": taken.area_mm2 }));
        let tips = self.shape.tips.sharpest.iter().map(|tip| {
            json!({ "at_mm": tip.at_mm, "radius_mm": tip.radius_mm, "half_angle_deg": tip.half_angle_deg })
        });
        let recesses = self.shape.recesses.deepest.iter().map(|recess| {
            json!({
                "at_mm": recess.at_mm, "depth_mm": recess.depth_mm, "width_mm": recess.width_mm,
                "say": recess_words(recess),
            })
        });
        json!({
            "file": self.file,
            "triangles": survey.triangles,
            "unit": self.order.unit.symbol(),
            "unit_source": self.unit_source,
            "size_mm": survey.size_mm(),
            "naive_area_mm2": survey.naive_area_mm2,
            "wetted_area_mm2": survey.wetted_area_mm2,
            "wetted_pm_mm2": survey.wetted_pm_mm2,
            "outside_area_mm2": survey.outside_area_mm2,
            "cavities": cavities.collect::<Vec<_>>(),
            // Adding zero makes -0 to 0.
            "masked_area_mm2": survey.masked_area_mm2 + 0.0,
            "volume_mm3": survey.volume_mm3,
            "envelope_volume_mm3": survey.envelope_volume_mm3,
            "islands": survey.islands.len(),
            "watertight": survey.watertight,
            "defects": defects.collect::<Vec<_>>(),
            "tips": tips.collect::<Vec<_>>(),
            "recesses": recesses.collect::<Vec<_>>(),
            "seconds": self.seconds,
            "method": self.method(),
            "masks": masks.collect::<Vec<_>>(),
            "volume_pm_mm3": survey.volume_pm_mm3(),
            "bubble_mm": self.order.bubble_mm,
            "hidden_area_mm2": self.area_of(Class::Hidden),
            "dry_area_mm2": self.area_of(Class::Dry),
            "tips_in_all": self.shape.tips.count,
            "recesses_in_all": self.shape.recesses.count,
            "hollows_untold": survey.hollows_untold,
            "contacts": contacts.collect::<Vec<_>>(),
        })
    }

    /// How the figures were found.
    fn method(&self) -> String {
        let bubble = plain(self.order.bubble_mm);
        format!(
            "wetted area: the part of the triangles that is reached from outside without crossing one, each place once, \
             cut where they cross; holes left by missing triangles are shut, and so are passages whose widest ball \
             is under {bubble} mm; +- (k = 2) is the reckoning's, not the printer's. Naive area: all triangles. \
             Volume: of the solid, null where holes are too wide to tell it. No roughness"
        )
    }

    /// What is wrong with the mesh, what matters most first.
    pub fn defects(&self) -> Vec<Defect> {
        let mut defects = self.survey.defects.clone();
        let of_size = [Flaw::UnitSuspect, Flaw::FarOff];
        let is_told = defects.iter().any(|d| of_size.contains(&d.what));
        if let (Err(doubt), false) = (mesh::plausible_print(self.survey.size_mm()), is_told) {
            defects.push(Defect {
                what: Flaw::UnitSuspect,
                count: 1,
                at_mm: self.survey.low_mm,
                size: doubt.largest_mm,
            });
        }
        if let Some(wall) = &self.shape.thin
            && !defects.iter().any(|d| d.what == Flaw::ThinWall)
        {
            defects.push(Defect {
                what: Flaw::ThinWall,
                count: 1,
                at_mm: wall.at_mm,
                size: wall.thinnest_mm,
            });
        }
        let rank = |what: Flaw| Flaw::ALL.iter().position(|known| *known == what);
        defects.sort_by_key(|defect| rank(defect.what));
        defects
    }

    /// What whoever plates it has to know, the rest of the defects left out.
    pub fn cautions(&self) -> Vec<String> {
        let defects = self.defects().into_iter();
        let matters = defects.filter(|defect| defect.what.matters_in_the_bath());
        let masks = self.survey.masks.iter().filter_map(MaskTaken::warning);
        let heed = matters.map(|defect| defect.say()).chain(self.handling());
        let untold = self.survey.hollows_untold.then(|| UNTOLD.to_owned());
        heed.chain(untold).chain(masks).collect()
    }

    /// What its hollows and loose parts ask of whoever hangs it.
    fn handling(&self) -> Vec<String> {
        let cavities = &self.survey.cavities;
        let volume = |sealed: bool| -> f64 {
            let of_kind = cavities.iter().filter(|cavity| cavity.sealed == sealed);
            of_kind.map(|cavity| cavity.volume_mm3).sum()
        };
        let (shut, open) = (volume(true), volume(false));
        let mut told = Vec::new();
        if shut > WORTH_MM3 {
            let lift = shut / 1000.0 * ACID_COPPER_BATH_G_CM3;
            told.push(format!(
                "{} of shut-in air lift it by {} g in acid copper ({ACID_COPPER_BATH_G_CM3} g/cm3){}",
                volume_words(shut),
                number(lift, 2),
                self.sinker_words().unwrap_or_default()
            ));
        }
        if open > WORTH_MM3 {
            told.push(format!(
                "drag-out: up to {} of bath leave with it each time it is lifted; let it drain 30 s, opening down",
                volume_words(open)
            ));
        }
        let deep = self.shape.recesses.deepest.first();
        let deep = deep.filter(|recess| recess.ratio() >= DEEP);
        told.extend(deep.map(recess_words));
        if let [_, loose @ ..] = self.survey.islands.as_slice()
            && !loose.is_empty()
        {
            const MOST: usize = 4;
            let places: Vec<String> = loose.iter().take(MOST).map(|i| place(i.at_mm)).collect();
            let more = if loose.len() > MOST { " and more" } else { "" };
            told.push(format!(
                "{} parts that do not touch: each needs a contact of its own; beside the largest there are some {}{more}",
                loose.len() + 1,
                places.join("; ")
            ));
        }
        told
    }

    /// Whether it floats as far as that can be told: printed solid.
    fn sinker_words(&self) -> Option<String> {
        let print = shape::Print {
            solid_mm3: self.survey.volume_mm3?,
            envelope_mm3: self.survey.envelope_volume_mm3?,
            density_g_cm3: Plastic::Pla.density_g_cm3()[1],
            filled: 1.0,
        };
        let sinker = Afloat::before(print, ACID_COPPER_BATH_G_CM3)
            .sinker_g(STEEL_G_CM3, ACID_COPPER_BATH_G_CM3)?;
        Some(if sinker > 0.0 {
            format!(
                ": even printed solid in PLA it floats, hang more than {} g of steel on it, kept from the bath",
                number(sinker, 2)
            )
        } else {
            ": printed solid in PLA it still sinks, with infill it may float".to_owned()
        })
    }

    /// Where nodules will grow.
    fn tips(&self) -> Option<String> {
        let tip = self.shape.tips.sharpest.first()?;
        let tips = match self.shape.tips.count {
            0 | 1 => "a tip".to_owned(),
            count => format!("{count} tips, the sharpest"),
        };
        let place = place(tip.at_mm);
        Some(format!(
            "{tips} {place}: nodules grow there first; a thief near it takes the current"
        ))
    }

    /// The print for people: the wetted area first, how it adds up below, what is
    /// left out and why, and what to heed.
    pub fn text(&self) -> String {
        let survey = self.survey;
        let largest = survey.size_mm().into_iter().fold(0.0, f64::max);
        let mut lines = vec![
            plain_text(self.file).into_owned(),
            format!(
                "  {} triangles, {}, {}",
                survey.triangles,
                size_words(survey.size_mm()),
                mesh::size_beside(largest)
            ),
            format!("  {}", self.unit_words()),
            String::new(),
            format!("  WETTED AREA   {}", self.wetted_words()),
        ];
        lines.extend(self.parts());
        lines.extend(self.left_out());
        lines.extend(led("  naive sum     ", &self.naive_words()));
        lines.extend(led("  volume        ", &self.volume_words()));
        let (heed, rest): (Vec<Defect>, Vec<Defect>) = self
            .defects()
            .into_iter()
            .partition(|defect| defect.what.matters_in_the_bath());
        let heed = heed.iter().map(Defect::say).chain(self.handling());
        let untold = survey.hollows_untold.then(|| UNTOLD.to_owned());
        lines.extend(heed.chain(untold).flat_map(|said| led("  ! ", &said)));
        lines.extend(rest.iter().flat_map(|defect| led("  - ", &defect.say())));
        lines.extend(self.tips().iter().flat_map(|said| led("  - ", said)));
        lines.extend(led("  ", &texture_words()));
        lines.extend(led("  ", &self.kinds_words()));
        lines.join("\n") + "\n"
    }

    /// Which unit its numbers are in, and who says so.
    fn unit_words(&self) -> String {
        let unit = self.order.unit;
        match self.unit_source {
            "assumed" => {
                format!("taken as {unit}, assumed: no unit in the file (--unit gives one)")
            }
            "given" => format!("in {unit}, as given"),
            _ => format!("in {unit}, as the file says"),
        }
    }

    /// Whether areas and volume rest on more than the triangles: holes that were
    /// shut, hollows that were not looked for.
    fn kind(&self) -> &'static str {
        let is_open = |defect: &Defect| defect.what == Flaw::OpenMesh;
        if self.survey.hollows_untold || self.survey.defects.iter().any(is_open) {
            "estimated"
        } else {
            "measured"
        }
    }

    /// `282.62 +- 0.01 cm2 = 2.8262 dm2, measured`.
    fn wetted_words(&self) -> String {
        let cm2 = self.survey.wetted_area_mm2 / 100.0;
        let dm2 = number(cm2 / 100.0, 5);
        let kind = self.kind();
        format!(
            "{} {} cm2 = {dm2} dm2, {kind}",
            number(cm2, 5),
            pm(self.survey.wetted_pm_mm2 / 100.0)
        )
    }

    /// How the wetted area adds up, a part to a line: what is outside and in the
    /// cavities, less what each mask takes.
    fn parts(&self) -> Vec<String> {
        let survey = self.survey;
        let open = survey.cavities.iter().filter(|cavity| !cavity.sealed);
        let open: Vec<&Cavity> = open.collect();
        let most = survey.wetted_area_mm2 + survey.masked_area_mm2;
        let decimals = decimals(&number(most / 100.0, 5));
        let part = |sign: &str, name: &str, mm2: f64, said: &str| {
            // Beyond the fifth digit figures are not told.
            let figure = match decimals {
                0 => number(mm2 / 100.0, 5),
                some => format!("{:.some$}", mm2 / 100.0 + 0.0),
            };
            let lead = format!("  {sign} {name:<12}{figure}");
            led(&format!("{lead} "), said)
        };
        let all_pm = survey.area_pm_mm2(self.of_class(Class::Masked)) + survey.wetted_pm_mm2;
        let before = if survey.masks.is_empty() {
            ""
        } else {
            " before masks"
        };
        let outside = if open.is_empty() {
            format!("{}{before}, {}", pm_cm2(all_pm), self.kind())
        } else {
            format!("cm2{before}, estimated: up to the openings")
        };
        let mut lines = part("+", "outside", survey.outside_area_mm2, &outside);
        for cavity in open {
            let opening = cavity.opening_mm.map_or_else(
                || "an opening".to_owned(),
                |mm| format!("an opening of {} mm", number(mm, 3)),
            );
            let at = place(cavity.at_mm);
            let said = format!("cm2, estimated, through {opening} {at}");
            lines.extend(part("+", "in a cavity", cavity.area_mm2, &said));
        }
        for taken in &survey.masks {
            let shape = plain_text(&taken.mask.to_string()).into_owned();
            let said = if let Some(because) = taken.nothing_because() {
                format!("cm2: {shape} takes nothing: {because}")
            } else {
                let runs = taken.facets.iter().cloned();
                let facets = runs.flat_map(|run| survey.facets.get(run).unwrap_or_default());
                let pm = pm_cm2(survey.area_pm_mm2(facets));
                format!("{pm}, {}: {shape}", self.kind())
            };
            lines.extend(part("-", "masked", taken.area_mm2, &said));
        }
        if lines.len() > 1 {
            lines.extend(part("=", "wetted", survey.wetted_area_mm2, "cm2"));
        }
        lines
    }

    /// What is no part of the wetted area.
    fn left_out(&self) -> Vec<String> {
        let left_out = [
            ("hidden", Class::Hidden, "inside the solid, or there twice"),
            ("dry", Class::Dry, "in cavities that no bath reaches"),
        ];
        let mut lines = Vec::new();
        for (name, class, why) in left_out {
            let mm2 = self.area_of(class);
            if mm2 > 0.0 {
                let pm = self.survey.area_pm_mm2(self.of_class(class));
                let said = format!("{}, {}: {why}", with_pm(mm2, pm), self.kind());
                lines.extend(led(&format!("  {name:<14}"), &said));
            }
        }
        let sealed = self.survey.cavities.iter().filter(|cavity| cavity.sealed);
        for cavity in sealed {
            let how = cavity.opening_mm.map_or_else(
                || "no way in".to_owned(),
                |mm| format!("taken as shut, its hole {} mm wide", number(mm, 3)),
            );
            let kind = if cavity.opening_mm.is_some() {
                "estimated"
            } else {
                self.kind()
            };
            let said = format!(
                "{} around {}, {kind}: {how}, {}",
                cm2(cavity.area_mm2),
                volume_words(cavity.volume_mm3),
                place(cavity.at_mm)
            );
            lines.extend(led("    cavity      ", &said));
        }
        lines
    }

    /// The volume of the solid, and with what is shut in.
    fn volume_words(&self) -> String {
        let survey = self.survey;
        let Some(solid) = survey.volume_mm3 else {
            return "unknown: the triangles do not close up".to_owned();
        };
        let pm = pm(survey.volume_pm_mm3().unwrap_or(0.0) / 1000.0);
        let whole = survey.envelope_volume_mm3.map_or_else(
            || "unknown".to_owned(),
            |mm3| format!("{} cm3", number(mm3 / 1000.0, 4)),
        );
        let is_pinhole = |cavity: &Cavity| cavity.flaw() == Flaw::PinholeCavity;
        let kind_of_whole = if survey.cavities.iter().any(is_pinhole) {
            ", estimated"
        } else {
            ""
        };
        format!(
            "{} {pm} cm3, {}; with what is shut in {whole}{kind_of_whole}",
            number(solid / 1000.0, 4),
            self.kind(),
        )
    }

    /// What measured, estimated and assumed mean here.
    fn kinds_words(&self) -> String {
        let bubble = plain(self.order.bubble_mm);
        format!(
            "measured: the triangles that are reached from outside without crossing one, cut where they cross, each \
             place once; +- (k = 2) is for the rounding in the file, not for the printer. Estimated: holes taken as \
             shut flat, and hollows, openings, recesses and tips, looked for in steps. Assumed: the bath stays out of \
             passages under {bubble} mm (--bubble)"
        )
    }

    /// The naive sum beside the wetted area, and what makes the difference.
    fn naive_words(&self) -> String {
        let naive = self.survey.naive_area_mm2;
        let reached = self.survey.wetted_area_mm2 + self.survey.masked_area_mm2;
        let pm = self.survey.area_pm_mm2(self.survey.facets.iter());
        let sum = format!("{}, all triangles", with_pm(naive, pm));
        let over = naive / reached.max(f64::MIN_POSITIVE) - 1.0;
        if over.abs() < AGREES {
            return format!("{sum}: agrees");
        }
        let reasons = [
            (
                self.area_of(Class::Hidden),
                "lie inside the solid or are there twice",
            ),
            (self.area_of(Class::Dry), "line cavities that stay dry"),
        ];
        let some = reasons.into_iter().filter(|(mm2, _)| *mm2 > 0.0);
        let reasons: Vec<String> = some
            .map(|(mm2, why)| format!("{} {why}", area_words(mm2)))
            .collect();
        let way = if over > 0.0 { "too much" } else { "too little" };
        let percent = number(over.abs() * 100.0, 2);
        let because = if reasons.is_empty() {
            String::new()
        } else {
            format!(": {}", reasons.join(", "))
        };
        format!("{sum}: {percent} % {way}{because}")
    }

    fn of_class(&self, class: Class) -> impl Iterator<Item = &Facet> {
        let facets = self.survey.facets.iter();
        facets.filter(move |facet| facet.class == class)
    }

    fn area_of(&self, class: Class) -> f64 {
        // Adding to zero keeps the sum of nothing from being -0.
        self.of_class(class)
            .fold(0.0, |sum, facet| sum + facet.area_mm2())
    }
}

fn recess_words(recess: &Recess) -> String {
    let kind = if recess.ratio() >= DEEP {
        "a deep recess"
    } else {
        "a recess"
    };
    format!(
        "{kind} {} mm deep and {} mm wide {}: little metal reaches its floor",
        number(recess.depth_mm, 3),
        number(recess.width_mm, 3),
        place(recess.at_mm)
    )
}

fn cm2(mm2: f64) -> String {
    format!("{} cm2", number(mm2 / 100.0, 4))
}

/// `9.500 +- 0.001 cm2`, from mm².
fn with_pm(mm2: f64, pm_mm2: f64) -> String {
    format!("{} {}", number(mm2 / 100.0, 4), pm_cm2(pm_mm2))
}

/// `+- 0.001 cm2`, from mm².
fn pm_cm2(pm_mm2: f64) -> String {
    format!("{} cm2", pm(pm_mm2 / 100.0))
}

/// `+- 0.001`: less than the last decimal that is told is rounded up to it, since
/// nothing is exact.
fn pm(pm: f64) -> String {
    const LEAST: f64 = 1e-5;
    format!("+- {}", number(pm.max(LEAST), 2))
}

/// How many digits stand behind the point.
fn decimals(number: &str) -> usize {
    number.split_once('.').map_or(0, |(_, after)| after.len())
}

/// Text of any length in lines, the further ones indented as the first is led.
fn led(lead: &str, text: &str) -> Vec<String> {
    let lines = wrapped(text, COLUMNS - lead.len()).into_iter().enumerate();
    let indent = " ".repeat(lead.len());
    lines
        .map(|(n, line)| format!("{}{line}", if n == 0 { lead } else { &indent }))
        .collect()
}

/// `120 x 80 x 40 mm`.
pub fn size_words(size_mm: [f64; 3]) -> String {
    let sides = size_mm.map(|side| number(side, 3));
    format!("{} mm", sides.join(" x "))
}

/// A size in a unit, as it would be: `120 x 80 x 40 mm, as large as a fist`.
pub fn size_in(extents: [f64; 3], unit: LengthUnit) -> String {
    let size_mm = extents.map(|extent| extent * unit.mm());
    let largest = size_mm.into_iter().fold(0.0, f64::max);
    format!("{}, {}", size_words(size_mm), mesh::size_beside(largest))
}

/// What the ways of printing add, as they are given to `add`.
fn texture_words() -> String {
    let each = Printed::USUAL.map(|printed| format!("{printed} x{}", number(printed.factor(), 3)));
    format!(
        "layers are not in it; `add --printed` puts them in, assumed: {}",
        each.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Island;

    /// A print whose every part is of a size of its own.
    fn survey() -> Survey {
        let facet = |class, mm2: f64| Facet {
            triangle: 0,
            corners: [[0.0; 3], [2.0 * mm2, 0.0, 0.0], [0.0, 1.0, 0.0]],
            class,
        };
        let cavity = |volume_mm3, sealed, opening_mm| Cavity {
            area_mm2: 2400.0,
            volume_mm3,
            sealed,
            opening_mm,
            at_mm: [15.0, 15.0, 30.0],
        };
        let taken = |text: &str, area_mm2, run| MaskTaken {
            mask: text.parse().unwrap(),
            area_mm2,
            facets: vec![run],
            because: None,
        };
        Survey {
            hollows_untold: false,
            triangles: 36,
            low_mm: [0.0; 3],
            high_mm: [30.0, 30.0, 60.0],
            naive_area_mm2: 9750.0,
            wetted_area_mm2: 7800.0,
            wetted_pm_mm2: 10.0,
            outside_area_mm2: 5600.0,
            masked_area_mm2: 200.0,
            masks: vec![
                taken("box:-1,-1,-1:21,21,5", 150.0, 1..2),
                taken("group:glue", 50.0, 2..3),
            ],
            rounding_mm: 0.001,
            volume_mm3: Some(19_000.0),
            envelope_volume_mm3: None,
            watertight: true,
            islands: vec![
                Island {
                    at_mm: [0.0; 3],
                    volume_mm3: 18_000.0,
                },
                Island {
                    at_mm: [1.0, 2.0, 3.0],
                    volume_mm3: 1000.0,
                },
            ],
            cavities: vec![
                cavity(8000.0, false, Some(4.0)),
                cavity(1000.0, true, None),
                cavity(500.0, true, Some(0.3)),
            ],
            defects: vec![
                Defect {
                    what: Flaw::TJunction,
                    count: 2,
                    at_mm: [0.0; 3],
                    size: 1.0,
                },
                Defect {
                    what: Flaw::InternalFaces,
                    count: 4,
                    at_mm: [0.0; 3],
                    size: 950.0,
                },
            ],
            facets: vec![
                facet(Class::Wetted, 7800.0),
                facet(Class::Masked, 150.0),
                facet(Class::Masked, 50.0),
                facet(Class::Hidden, 950.0),
                facet(Class::Dry, 800.0),
            ],
        }
    }

    fn told(of: impl FnOnce(&Print<'_>)) {
        let (order, survey) = (Order::in_unit(LengthUnit::Mm), survey());
        let mut shape = Shape::default();
        shape.recesses.deepest.push(Recess {
            at_mm: [15.0, 15.0, 30.0],
            depth_mm: 20.0,
            width_mm: 4.0,
        });
        of(&Print {
            shape: &shape,
            file: "a.stl",
            unit_source: "given",
            order: &order,
            survey: &survey,
            seconds: Some(0.5),
        });
    }

    #[test]
    fn a_person_reads_the_wetted_area_its_parts_and_the_difference() {
        told(|print| {
            let text = print.text();
            let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(text.lines().all(|line| line.len() <= COLUMNS), "{text}");
            let text = words(&text);
            for part in [
                "30.0 x 30.0 x 60.0 mm, as large as an egg",
                "in mm, as given",
                "WETTED AREA   78.000 +- 0.10 cm2 = 0.78000 dm2, measured",
                "+ outside     56.000 cm2 before masks, estimated",
                "+ in a cavity 24.000 cm2, estimated, through an opening of 4.00 mm at 15, 15, 30 mm",
                "- masked      1.500 +- ",
                "cm2, measured: box:-1,-1,-1:21,21,5",
                "- masked      0.500 +- ",
                "cm2, measured: group:glue",
                "= wetted      78.000 cm2",
                "hidden 9.500 +- ",
                "cavity 24.00 cm2 around 1.00 cm3, measured: no way in, at 15, 15, 30 mm",
                "cavity 24.00 cm2 around 0.500 cm3, estimated: taken as shut, its hole 0.300 mm wide, at 15, 15, 30 mm",
                "cm2, all triangles: 22 % too much: 9.50 cm2 lie inside the solid or are there twice, 8.00 cm2 line cavities",
                "volume        19.00 +- ",
                "cm3, measured; with what is shut in unknown",
                "! 1.50 cm3 of shut-in air lift it by 1.7 g",
                "! drag-out: up to 8.00 cm3",
                "! a deep recess 20.0 mm deep and 4.00 mm wide at 15, 15, 30 mm",
                "! 2 parts that do not touch",
                "! 4 faces lie inside the solid (9.50 cm2)",
                "- 2 T-junctions",
                "fdm:0.2mm x1.16",
            ] {
                assert!(text.contains(&words(part)), "{part} in\n{text}");
            }
        });
    }

    #[test]
    fn a_script_reads_every_key_in_its_order_and_what_is_unknown_as_null() {
        told(|print| {
            let json = print.json();
            let keys: Vec<&str> = json
                .as_object()
                .unwrap()
                .keys()
                .map(String::as_str)
                .collect();
            assert_eq!(
                keys[..20],
                [
                    "file",
                    "triangles",
                    "unit",
                    "unit_source",
                    "size_mm",
                    "naive_area_mm2",
                    "wetted_area_mm2",
                    "wetted_pm_mm2",
                    "outside_area_mm2",
                    "cavities",
                    "masked_area_mm2",
                    "volume_mm3",
                    "envelope_volume_mm3",
                    "islands",
                    "watertight",
                    "defects",
                    "tips",
                    "recesses",
                    "seconds",
                    "method",
                ]
            );
            assert_eq!(json["envelope_volume_mm3"], Value::Null);
            assert_eq!(json["islands"], 2);
            assert_eq!(json["cavities"][0]["opening_mm"], 4.0);
            assert_eq!(json["cavities"][1]["opening_mm"], Value::Null);
            assert_eq!(json["defects"][0]["what"], "internal_faces");
            assert_eq!(json["hidden_area_mm2"], 950.0);
        });
    }

    #[test]
    fn no_figure_is_told_as_exact() {
        assert_eq!(pm_cm2(0.0004), "+- 0.00001 cm2");
        assert_eq!(pm_cm2(12.0), "+- 0.12 cm2");
    }

    #[test]
    fn a_size_that_is_none_is_a_defect_and_what_does_not_matter_is_no_caution() {
        let order = Order::in_unit(LengthUnit::M);
        let survey = Survey {
            high_mm: [30_000.0, 1.0, 1.0],
            ..survey()
        };
        let print = Print {
            file: "",
            unit_source: "given",
            order: &order,
            survey: &survey,
            shape: &Shape::default(),
            seconds: None,
        };
        assert_eq!(print.defects()[0].what, Flaw::UnitSuspect);
        let cautions = print.cautions().join("\n");
        assert!(
            cautions.contains("no print is of this size (30000 mm)"),
            "{cautions}"
        );
        assert!(!cautions.contains("T-junction"), "{cautions}");
    }
}
