//! What a survey says of a print: JSON for scripts, text for people, and what
//! whoever plates it has to know.

use serde_json::{Value, json};

use super::safe::{plain_text, wrapped};
use super::text::COLUMNS;
use crate::mesh::shape::{self, ACID_COPPER_BATH_G_CM3, Afloat, Plastic, Recess, Shape};
use crate::mesh::{
    self, Cavity, Class, Defect, Flaw, LengthUnit, MaskTaken, Order, Printed, Survey, area_words,
    place, volume_words,
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

/// What kind of figures these are.
const RECKONED: &str = "reckoned from the triangles; +- (k = 2) is the reckoning's";

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
        let is_told = defects.iter().any(|d| d.what == Flaw::UnitSuspect);
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
        let mut told: Vec<String> = cavities.iter().filter_map(|c| self.shut_words(c)).collect();
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

    /// Of a hollow whose opening is taken as shut because no bubble passes it.
    fn shut_words(&self, hollow: &Cavity) -> Option<String> {
        let opening = hollow.opening_mm.filter(|_| hollow.sealed)?;
        Some(format!(
            "a hollow of {} behind an opening of {} mm {}: taken as dry, for no bubble of {} mm passes. Liquid may creep \
             in and weep out later: plug and seal it, or widen it",
            volume_words(hollow.volume_mm3),
            number(opening, 2),
            place(hollow.at_mm),
            plain(self.order.bubble_mm)
        ))
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

    /// The print for people: the wetted area first, its parts below, what is
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
        ];
        if self.unit_source == "assumed" {
            lines.push("  the file says no unit: taken as mm; --unit tells another".to_owned());
        }
        lines.extend([
            String::new(),
            format!("  WETTED AREA   {}", self.wetted_words()),
        ]);
        lines.extend(led("                ", RECKONED));
        lines.extend(self.parts());
        lines.extend(led("  naive sum     ", &self.naive_words()));
        let volume = |mm3: Option<f64>| mm3.map_or_else(|| "?".to_owned(), volume_words);
        lines.push(format!(
            "  volume        {}, with what is shut in {}",
            volume(survey.volume_mm3),
            volume(survey.envelope_volume_mm3)
        ));
        let (heed, rest): (Vec<Defect>, Vec<Defect>) = self
            .defects()
            .into_iter()
            .partition(|defect| defect.what.matters_in_the_bath());
        let heed = heed.iter().map(Defect::say).chain(self.handling());
        lines.extend(heed.flat_map(|said| led("  ! ", &said)));
        lines.extend(rest.iter().flat_map(|defect| led("  - ", &defect.say())));
        lines.extend(self.tips().iter().flat_map(|said| led("  - ", said)));
        lines.extend(led("  ", &texture_words()));
        lines.join("\n") + "\n"
    }

    /// `282.62 cm2 +- 0.01 (2.8262 dm2)`.
    fn wetted_words(&self) -> String {
        let cm2 = self.survey.wetted_area_mm2 / 100.0;
        let pm = self.survey.wetted_pm_mm2 / 100.0;
        let dm2 = number(cm2 / 100.0, 5);
        format!("{} +- {} cm2 = {dm2} dm2", number(cm2, 5), number(pm, 2))
    }

    /// What the wetted area is made of, and what is no part of it.
    fn parts(&self) -> Vec<String> {
        let survey = self.survey;
        let mut lines = vec![format!(
            "    outside     {}",
            self.with_pm(survey.outside_area_mm2)
        )];
        for cavity in survey.cavities.iter().filter(|cavity| !cavity.sealed) {
            let opening = cavity.opening_mm.map_or_else(
                || "an opening".to_owned(),
                |mm| format!("an opening of {} mm", number(mm, 3)),
            );
            let said = format!(
                "{}, through {opening} {}",
                self.with_pm(cavity.area_mm2),
                place(cavity.at_mm)
            );
            lines.extend(led("    in a cavity ", &said));
        }
        if survey.masked_area_mm2 > 0.0 {
            let masked = cm2(survey.masked_area_mm2);
            lines.push(format!("    masks take  {masked} off these"));
        }
        for taken in &survey.masks {
            let said = format!(
                "{}: {}",
                cm2(taken.area_mm2),
                plain_text(&taken.mask.to_string())
            );
            lines.extend(led("      of which  ", &said));
        }
        let left_out = [
            (
                "hidden",
                self.area_of(Class::Hidden),
                "inside the solid, or there twice",
            ),
            (
                "dry",
                self.area_of(Class::Dry),
                "in cavities that no bath reaches",
            ),
        ];
        let some = left_out.into_iter().filter(|(_, mm2, _)| *mm2 > 0.0);
        lines.extend(some.map(|(name, mm2, why)| format!("  {name:<13} {}: {why}", cm2(mm2))));
        let shut = survey.cavities.iter().filter(|cavity| cavity.sealed);
        for (cavity, mm) in shut.filter_map(|cavity| Some((cavity, cavity.opening_mm?))) {
            let said = format!(
                "{} behind an opening of {} mm {}",
                self.with_pm(cavity.area_mm2),
                number(mm, 2),
                place(cavity.at_mm)
            );
            lines.extend(led("    of which    ", &said));
        }
        lines
    }

    /// A part of the wetted area: what is doubted of the whole may all be in it.
    fn with_pm(&self, mm2: f64) -> String {
        let pm = number(self.survey.wetted_pm_mm2.min(mm2) / 100.0, 2);
        format!("{} +- {pm} cm2", number(mm2 / 100.0, 4))
    }

    /// The naive sum beside the wetted area, and what makes the difference.
    fn naive_words(&self) -> String {
        let naive = self.survey.naive_area_mm2;
        let reached = self.survey.wetted_area_mm2 + self.survey.masked_area_mm2;
        let over = naive / reached.max(f64::MIN_POSITIVE) - 1.0;
        if over.abs() < AGREES {
            return format!("{}: agrees", cm2(naive));
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
        format!("{} is {percent} % {way}{because}", cm2(naive))
    }

    fn area_of(&self, class: Class) -> f64 {
        let facets = self.survey.facets.iter();
        let of_class = facets.filter(|facet| facet.class == class);
        // Adding to zero keeps the sum of nothing from being -0.
        of_class.fold(0.0, |sum, facet| sum + facet.area_mm2())
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
        "layers are not in it; `add --printed` puts them in: {}",
        each.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::{Facet, Island};

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
        Survey {
            hollows_untold: false,
            triangles: 36,
            low_mm: [0.0; 3],
            high_mm: [30.0, 30.0, 60.0],
            naive_area_mm2: 9750.0,
            wetted_area_mm2: 7800.0,
            wetted_pm_mm2: 10.0,
            outside_area_mm2: 5400.0,
            masked_area_mm2: 200.0,
            masks: Vec::new(),
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
                Cavity {
                    area_mm2: 50.0,
                    at_mm: [1.0, 2.0, 3.0],
                    ..cavity(50.0, true, Some(0.3))
                },
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
                facet(Class::Masked, 200.0),
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
                "WETTED AREA   78.000 +- 0.10 cm2 = 0.78000 dm2",
                "outside     54.00 +- 0.10 cm2",
                "in a cavity 24.00 +- 0.10 cm2, through an opening of 4.00 mm at 15, 15, 30 mm",
                "masks take  2.000 cm2 off these",
                "of which    0.5000 +- 0.10 cm2 behind an opening of 0.30 mm at 1, 2, 3 mm",
                "! a hollow of 50.0 mm3 behind an opening of 0.30 mm at 1, 2, 3 mm: taken as dry, for no bubble of 0.5 mm",
                "97.50 cm2 is 22 % too much: 9.50 cm2 lie inside the solid or are there twice, 8.00 cm2 line cavities",
                "volume        19.0 cm3, with what is shut in ?",
                "! 1.05 cm3 of shut-in air lift it by 1.2 g",
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
