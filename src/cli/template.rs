//! The text of a new `project.ron`: commented, for a person to edit.

use crate::plating::Metal;
use crate::project::{FORMAT, Target};
use crate::store::ron_text::quote;
use crate::units::{Duration, H, Ratio, UM, Zone, plain};

/// What `new` was told.
#[derive(Debug, Clone)]
pub(super) struct Seed<'a> {
    pub(super) name: &'a str,
    pub(super) metal: &'a Metal,
    pub(super) target: Target,
    pub(super) efficiency: Ratio,
    pub(super) zone: Zone,
    pub(super) hold: Duration,
}

/// A project file that says what each of its fields means.
pub(super) fn project_ron(seed: &Seed<'_>) -> String {
    let target = match seed.target {
        Target::Mean(mean) => format!("Mean(\"{}um\")", plain(mean.to(UM))),
        Target::Minimum(least) => format!("Minimum(\"{}um\")", plain(least.to(UM))),
    };
    format!(
        r#"// A tankside project. Edit it as you like: comments and order stay as they are.
// What you leave out has a default. `tankside check DIR` tells whether it reads.
(
    format: {FORMAT},
    name: {name},
    // Words about the object.
    object: "",

    // The metal and its bath: copper-acid nickel silver zinc tin-acid tin-stannate.
    metal: "{metal}",
    // Mean("40um"): the mean over the surface.
    // Minimum("20um"): the least local thickness, as drawings mean it.
    target: {target},
    // How much of the current deposits metal. Acid copper: 97 to 100 %.
    efficiency: "{efficiency}",

    // Where the clock on the wall hangs, and what the screen shows: metric or imperial.
    zone: "{zone}",
    units: metric,

    tanks: [
        (
            name: "main",
            // Inside width, depth and height, and the height of the liquid.
            // inside: ("40cm", "25cm", "30cm"),
            // fill: "26cm",
            // What hangs on plus: the area that faces the work, the most it may carry.
            anodes: [
                // (name: "left", area: "6dm2", carries: "10A"),
                // For `tankside spread`, where it hangs: places are to the right, to the back and up from the
                // left front lower corner, inside. `one_face: true` works only to where it faces.
                // plate: (at: ("1cm", "12cm", "13cm"), facing: (1, 0, 0), size: ("15cm", "20cm"))
                // or rod: (points: [("38cm", "12cm", "4cm"), ("38cm", "12cm", "26cm")], diameter: "12mm")
            ],
            // Insulating plates in the liquid.
            // shields: [(at: ("10cm", "12cm", "8cm"), facing: (1, 0, 0), size: ("12cm", "6cm"), thickness: "3mm")],
            // What the supply can give, and the relative standard uncertainty of its ammeter. What it holds
            // for `tankside spread`, Amps("3A") or Volts("1.2V"); left out: where the build's ladder ends.
            supply: (
                // limit_amps: "10A",
                // limit_volts: "6V",
                // amps_rel: 0.01,
                // holds: Amps("3A"),
            ),
            // stirring: Still, Stirred or Air. Upkeep by charge.
            bath: (
                // volume: "25L",
                stirring: Still,
                // dose_every: "50Ah",
                // filter_every: "200Ah",
                // bags_every: "200Ah",
                // What it conducts: measured (0.2 S/cm is 20 S/m), or of acid copper by what is in it.
                // conductivity_s_m: 25,
                // temperature: "25C",
                // copper_g_l: 50,
                // acid_g_l: 120,
                // What the metal does: Primary (nothing), Linear(rp_ohm_m2: 4e-4), Tafel(i0_a_m2: 10, alpha_c: 0.5),
                // ButlerVolmer; the last two with limit_a_m2: 800 where copper runs short. Left out, acid copper has this,
                // of which i0 is told from 0.3 to 100:
                // kinetics: ButlerVolmer(i0_a_m2: 10, alpha_a: 1.5, alpha_c: 0.5),
            ),
        ),
    ],

    // The ageing hold before the clear coat: equal for all pieces, or the seams show.
    hold: (time: "{hold}", tolerance: "4h"),
    // From the last conductive coat.
    drying: "8h",

    // How often to look, and how long copper may be out before it needs a dip.
    looks: (strike_first: "5min", strike: "20min", build_first: "30min", build: "60min", out: "5min"),
    // How long an estimate goes on after a reading.
    readings: (strike: "30min", build: "60min"),

    // Stepped settings: volts, amps or density, each with its time; the last goes on.
    ladders: (
        strike: [(volts: "0.3V", time: "20min"), (volts: "0.5V", time: "20min"), (volts: "0.8V")],
        build: [(density: "0.5A/dm2", time: "12min"), (density: "1A/dm2", time: "12min"), (density: "1.5A/dm2")],
    ),

    // The stages, in order. Also: dry polish cure assemble, and your own under `stages`.
    route: ["coat", "wiring", "strike", "build", "rinse", "age", "seal"],
    // stages: [(name: "patina", say: "liver of sulfur, one minute")],
    // Gates of your own, or defaults changed or taken away.
    gates: [
        // (gate: "photo", stage: "coat", when: start, say: "photograph taken"),
        // (gate: "leads", off: true),
    ],

    // Plating while nobody is there: Never, or
    // Allowed(limits: "2 A, 1 V", cut_off: "float switch and timer").
    // This program cuts nothing off.
    unattended: Never,

    // Standard uncertainties, relative: 0.02 means 2 %.
    uncertainty: (area_rel: 0.02, efficiency_rel: 0.01, amps_rel: 0.01, share_rel: 0.115),

    // Passages of a print whose widest ball is smaller are shut: air stays in them. After a change:
    // `tankside survey DIR`.
    bubble: "0.5mm",
    // `tankside add DIR PIECE --mesh FILE` or `--area 6.84dm2` adds a piece here.
    // Parts kept from the bath, each with its name, its shape on the mesh in mm and what it takes:
    // masks: [(name: "socket", shape: "cylinder:0,0,0:0,0,20:4.2", takes: "5cm2")]
    // Shapes: plane:POINT:NORMAL box:A:B sphere:C:R cylinder:A:B:R patch:POINT:DEGREES group:NAME
    // with POINT x,y,z; or plain words, with the area by hand.
    // For `tankside spread`, the middle of its print in the tank, its turn (a quaternion w, x, y, z) and its wires:
    // hangs: (at: ("20cm", "12cm", "13cm"), turn: (1, 0, 0, 0)),
    // leads: [(name: "hook", points: [("20cm", "12cm", "16cm"), ("20cm", "12cm", "26cm")], diameter: "0.8mm")],
    // with thief: true or closed: true (a ring). `tankside spread DIR --set` writes how even metal comes on it:
    // evenness: (least: 0.4, most: 2.5, because: "predicted: 3 A in main with handle")
    // and `of`, by which it knows that it is stale.
    pieces: [],

    // Where pieces meet, the one with the hole first; sizes as printed. `tankside joints DIR` tells the fit.
    // (name: "foot", between: ("base", "stem"), kind: PegInHole, hole: "8.4mm", peg: "8mm", masked: ["stem"])
    // Kinds: PegInHole, SquarePeg (sizes are widths), FlatFaces. Instead of hole and peg: gap_per_side: "0.2mm".
    // coats: ("0um", "25um") is what else is on the faces, printed_pm: "0.1mm" the printer's accuracy.
    joints: [],
)
"#,
        name = quote(seed.name),
        metal = seed.metal,
        efficiency = seed.efficiency,
        zone = seed.zone.name(),
        hold = hours(seed.hold),
    )
}

/// A hold is told in hours.
fn hours(time: Duration) -> String {
    format!("{}h", plain(time.to(H)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::project::Definition;
    use crate::units::PERCENT;

    #[test]
    fn the_template_reads_back_as_what_was_asked() {
        let seed = Seed {
            name: "Table \"bell\"\n",
            metal: &Metal::named("copper-acid").unwrap(),
            target: Target::Minimum(UM.of(25.0)),
            efficiency: PERCENT.of(97.0),
            zone: Zone::UTC,
            hold: H.of(48.0),
        };
        let read = Definition::parse(&project_ron(&seed)).unwrap();
        assert_eq!(read.name, seed.name);
        let mut wanted = Definition::new(seed.name, *seed.metal, seed.target);
        wanted.efficiency = seed.efficiency;
        wanted.hold.time = seed.hold;
        assert_eq!(read, wanted, "the commented defaults are the defaults");
    }
}
