//! The command line's forms, declared once: parsing, help, completions and the
//! man page all come from here.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::field::scene::{PANELS, PANELS_RANGE};
use crate::mesh::{LengthUnit, Mask, MaskError, Printed};
use crate::plating::Metal;
use crate::project::{ContactChange, Finding, Mode, PieceShare, Stage, WeighedAs};
use crate::report::spread::Rows;
use crate::units::{
    Area, CELSIUS, Charge, Current, CurrentDensity, Duration, Length, Mass, QuantityError, Ratio,
    Resistance, Temperature, Voltage, Volume, Zone, is_unseen,
};

/// Keeps a plated assembly on track: areas, charge, timers, holds, the record.
#[derive(Debug, Parser)]
#[command(name = "tankside", version, about, after_help = FORMS, disable_help_subcommand = true)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Option<Verb>,
    #[command(flatten)]
    _everywhere: Everywhere,
}

/// Taken out of the arguments before they are parsed, wherever they stand;
/// declared here for help, completions and the man page.
#[derive(Debug, Args)]
struct Everywhere {
    /// Print one JSON object
    #[arg(long = "json", global = true)]
    _json: bool,
    /// Take this for the present
    #[arg(
        long = "now",
        global = true,
        value_name = "INSTANT",
        allow_hyphen_values = true
    )]
    _now: Option<String>,
}

const FORMS: &str = "\
Quantities carry their unit: 6.84dm2 40um 1.6mil 6.8A 620mA 0.3V 25C 77F 412.3g 240ohm 20min 2.5Ah 20mL 95%
Instants: 2026-03-01T19:40:00Z, 19:40 (the latest one past), -12min.
Everywhere: --json prints one object; --now INSTANT replaces the clock for this command.
Exit status: 0 done; 1 refused by a rule, nothing changed; 2 bad usage, bad input or a system error.

Electroplating can hurt: acid slowly into water, goggles and gloves, an isolated low-voltage supply,
never left unattended. Local codes and licensed practice come first.";

const RECORD_FORMS: &str = "\
A piece:
  start STAGE [--tank T]              pause | resume | finish
  rework STAGE --because TEXT         skip STAGE --because TEXT
  lift | return [--dipped]            touch-up --where TEXT
  look FINDING[:SHARE][@PLACE]...     tick NAME...
  ohms R [--place TEXT]               weigh M --as primed|coated|wired|plated|polished
  coat                                turn TEXT
  contact moved|loosened|added [TEXT] wipe
  climate --celsius C --humidity P    note TEXT
A tank:
  reading --tank T --volts V --amps A [--celsius C] [--mode cc|cv] [--piece P]
  supply --tank T (--amps A | --volts V | --off)
  bath --tank T (dose V | filter | bags | topup V | anodes M | moved TEXT)
  logger --tank T FILE.csv
Either:
  undo | redo
Each with [--at INSTANT] [--who NAME] [--override REASON].

Stages: coat wiring strike build rinse age seal, and dry polish cure assemble.
Findings: ok covered bare advancing dark-contact loose-contact shadow nodules tree
          rough pits dull burnt peeling gassing";

const MASK_FORMS: &str = "\
Masks, in mm, POINT is x,y,z:
  plane:POINT:NORMAL   all on the side that NORMAL points to
  box:A:B  sphere:C:R  cylinder:A:B:R
  patch:POINT:DEGREES  from the triangle nearest to POINT up to sharper edges
  group:NAME           a group or object that the file names";

const SCENE_FORM: &str = "\
A scene, in mm, volts and S/m; meshes lie beside it:
  {\"tank\": {\"min_mm\": [-150,-100,-100], \"max_mm\": [150,100,100]},
   \"conductivity_s_m\": 25,
   \"anodes\": [{\"name\": \"left\", \"centre_mm\": [-150,0,0], \"normal\": [1,0,0],
               \"size_mm\": [150,150], \"volts\": 1}],
   \"bodies\": [{\"name\": \"bell\", \"mesh\": \"bell.stl\", \"unit\": \"mm\", \"move_mm\": [0,0,0],
               \"rotation\": [1,0,0,0], \"volts\": 0, \"kinetics\": {\"kind\": \"none\"}}],
   \"wires\": [{\"name\": \"hook\", \"points_mm\": [[0,0,20],[0,0,100]], \"diameter_mm\": 1,
              \"volts\": 0, \"closed\": false}],
   \"shields\": [{\"centre_mm\": [60,0,0], \"normal\": [1,0,0], \"size_mm\": [80,80],
                \"thickness_mm\": 3}],
   \"supply\": {\"volts\": 1}}
\"tank\": null is a bath without end. A plate in a wall works on one face, in the
liquid on both (\"faces\": \"front\" for one); \"rods\" are anodes like wires;
\"thief\": true of a wire, \"masks\" of a body and \"kinetics\" of a wire (as the first
piece's unless told) may be added. The supply holds {\"volts\"} of the highest
anode, or {\"amps\"} in all. Kinetics: none; linear rp_ohm_m2; tafel i0_a_m2 alpha_c
temperature_k limit_a_m2; butler-volmer those and alpha_a. Deposition is positive,
places are in the tank. error_estimate: upper bounds, as shares.";

const WAIT_FORMS: &str = "\
Prints nothing before. What is due already is told at once. A due thing stays
due until it is dealt with, so a loop wants --each or --new. What was silenced
is waited for all the same. With --now the clock starts there and runs on.
Exit status 1 (nothing-due) when the time is over; 2 when the project cannot be
read any more.

  tankside wait lamp && aplay bell.wav
  tankside wait lamp --each --new | while read -r line; do push \"$line\"; done";

#[derive(Debug, Args)]
pub(super) struct WaitArgs {
    /// The project's folder
    pub(super) dir: PathBuf,
    /// Only this: a kind of due thing (look, target, ...), a piece or a tank; again for more
    #[arg(long = "for", value_name = "WHAT", value_parser = said)]
    pub(super) what: Vec<String>,
    /// Leave out what is due already
    #[arg(long)]
    pub(super) new: bool,
    /// Go on: a line for each thing, once, when it becomes due
    #[arg(long, conflicts_with = "timeout")]
    pub(super) each: bool,
    /// Give up after so long
    #[arg(long, value_name = "TIME")]
    pub(super) timeout: Option<Duration>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Verb {
    /// Open a private copy of a sample: fern-lamp, table-bell or mantel-clock
    Try {
        /// Which sample
        #[arg(default_value = "fern-lamp")]
        sample: String,
    },
    /// Open a project on the screen
    Open {
        /// The project's folder; this one if left out
        #[arg(default_value = ".")]
        dir: PathBuf,
    },
    /// Begin a project
    New(NewArgs),
    /// Add a piece, with its mesh or its area
    #[command(after_help = MASK_FORMS)]
    Add(AddArgs),
    /// Change one value of project.ron; comments and order stay
    Set {
        /// The project's folder
        dir: PathBuf,
        /// Dots walk fields, list entries go by their name: pieces.stem.area
        path: String,
        /// The new value
        #[arg(allow_hyphen_values = true)]
        value: String,
    },
    /// Look for damage in a project's files, and save what can be saved
    Check {
        /// The project's folder, which is left as it is; this one if left out
        #[arg(default_value = ".")]
        dir: PathBuf,
        /// Make a new folder with everything that is whole
        #[arg(long, value_name = "NEWDIR")]
        save_to: Option<PathBuf>,
    },
    /// What has been recorded
    History {
        /// The project's folder
        dir: PathBuf,
        /// Only of this piece
        piece: Option<String>,
        /// As a table for spreadsheets, one row an event
        #[arg(long)]
        csv: bool,
    },
    /// The evening's pencil sheet: numbered rows, typed in afterwards on the screen (t)
    Sheet(SheetArgs),
    /// The sheet that follows a piece, as Markdown
    Traveller {
        /// The project's folder
        dir: PathBuf,
        /// Which piece
        piece: String,
    },
    /// Record what happened
    #[command(after_help = RECORD_FORMS)]
    Record {
        /// The project's folder
        dir: PathBuf,
        /// A piece, or: reading supply bath logger undo redo
        subject: String,
        /// What happened, as below
        #[arg(
            trailing_var_arg = true,
            allow_hyphen_values = true,
            value_name = "WHAT"
        )]
        what: Vec<String>,
    },
    /// Wipe several pieces at one instant, so that one hold starts for all
    Refresh {
        /// The project's folder
        dir: PathBuf,
        /// Which pieces
        #[arg(required = true)]
        pieces: Vec<String>,
        #[command(flatten)]
        common: Common,
    },
    /// How pieces in one tank share its current from now on, until one is moved; by area if none is named
    Shares {
        /// The project's folder
        dir: PathBuf,
        /// Which tank
        #[arg(long)]
        tank: String,
        /// Of every piece in it its part of the current, and of that the part on wires: bell=0.7:0.04
        #[arg(value_name = "PIECE=SHARE[:WIRES]", value_parser = piece_share)]
        shares: Vec<PieceShare>,
        /// Relative standard uncertainty of a share
        #[arg(long, value_name = "PART", default_value = "5%", value_parser = part)]
        rel: f64,
        /// The digest of the scene that was computed, as `spread --set` writes it
        #[arg(long, default_value = "", hide_default_value = true)]
        scene: String,
        /// The digest of what was computed
        #[arg(long, default_value = "", hide_default_value = true)]
        result: String,
        #[command(flatten)]
        common: Common,
    },
    /// The gates before a piece, and what would satisfy them
    Gates {
        /// The project's folder
        dir: PathBuf,
        /// Which piece
        piece: String,
    },
    /// Whether pieces still go together after plating: fits, mask it, ream it, print it smaller
    Joints {
        /// The project's folder; this one if left out
        #[arg(default_value = ".")]
        dir: PathBuf,
    },
    /// What is due, where every piece is, what every figure is
    Status {
        /// The project's folder; this one if left out
        #[arg(default_value = ".")]
        dir: PathBuf,
    },
    /// Wait until something is due
    #[command(after_help = WAIT_FORMS)]
    Wait(WaitArgs),
    /// No more notices, on any screen, of what is due now
    Silence {
        /// The project's folder
        dir: PathBuf,
        /// Who says so
        #[arg(long, value_name = "NAME", value_parser = said)]
        who: Option<String>,
    },
    /// What was told of what is due, and what was silenced
    Notices {
        /// The project's folder
        dir: PathBuf,
    },
    /// Charge, mass, thickness and time of a deposit
    Charge(ChargeArgs),
    /// The end of the evening
    Closeout {
        /// The project's folder
        dir: PathBuf,
        #[command(subcommand)]
        act: Option<CloseoutVerb>,
    },
    /// The area of print files that the bath wets, and what is wrong with them
    #[command(after_help = MASK_FORMS)]
    Measure(MeasureArgs),
    /// Where the metal goes: current density over pieces in a tank
    #[command(after_help = SCENE_FORM)]
    Spread(SpreadArgs),
    /// Survey the prints of a project anew: after a new file or other masks
    Survey {
        /// The project's folder
        dir: PathBuf,
        /// Which pieces; all that have a print if left out
        pieces: Vec<String>,
    },
    /// Your own settings and keys: where they are, what they say, whether they read
    ///
    /// The settings may hold: who: "Ana" beside everything recorded; ascii: true for plain lines and
    /// marks; colour: false for none, true in spite of NO_COLOR; palette: Terminal for the
    /// terminal's own 16 colours, Light or Dark for 24-bit colours for such a background, told
    /// apart by colour-blind eyes too.
    Settings {
        /// Who you are, for the record
        #[arg(long, value_parser = said)]
        who: Option<String>,
    },
    /// The keys of the screen as they are now, and how to change them
    Keys,
    /// Completions for a shell
    Completions {
        /// Which shell
        shell: ShellName,
    },
    /// The man page
    Man,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum ShellName {
    Bash,
    Elvish,
    Fish,
    Powershell,
    Zsh,
}

#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("thickness").required(true)))]
pub(super) struct NewArgs {
    /// The folder to make
    pub(super) dir: PathBuf,
    /// What is being plated
    #[arg(long, value_parser = said)]
    pub(super) name: String,
    /// The metal and its bath
    #[arg(long)]
    pub(super) metal: String,
    /// The mean thickness wanted
    #[arg(long, group = "thickness", allow_hyphen_values = true)]
    pub(super) mean: Option<Length>,
    /// The least local thickness wanted
    #[arg(long, group = "thickness", allow_hyphen_values = true)]
    pub(super) minimum: Option<Length>,
    /// Cathode efficiency
    #[arg(long, default_value = "100%", allow_hyphen_values = true)]
    pub(super) efficiency: Ratio,
    /// Time zone, such as Europe/Berlin; the machine's if left out
    #[arg(long, value_parser = |name: &str| Zone::named(name).map_err(|e| e.to_string()))]
    pub(super) zone: Option<Zone>,
    /// The ageing hold
    #[arg(long, default_value = "72h", allow_hyphen_values = true)]
    pub(super) hold: Duration,
}

#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("size").required(true)))]
pub(super) struct AddArgs {
    /// The project's folder
    pub(super) dir: PathBuf,
    /// The piece's name
    pub(super) piece: String,
    /// Its print file: STL, OBJ, PLY or 3MF
    #[arg(long, group = "size", value_name = "FILE")]
    pub(super) mesh: Option<PathBuf>,
    /// The unit of the print file; a 3MF says its own
    #[arg(long, value_name = "mm|cm|m|in", requires = "mesh")]
    pub(super) unit: Option<LengthUnit>,
    /// Its wetted area
    #[arg(long, group = "size", allow_hyphen_values = true)]
    pub(super) area: Option<Area>,
    /// A contact wire in the bath: DIAMETER:LENGTH
    #[arg(long, value_parser = wire, value_name = "DIAMETER:LENGTH", allow_hyphen_values = true)]
    pub(super) wire: Vec<crate::project::Wire>,
    /// A thief in the bath: DIAMETER:LENGTH
    #[arg(long, value_parser = wire, value_name = "DIAMETER:LENGTH", allow_hyphen_values = true)]
    pub(super) thief: Vec<crate::project::Wire>,
    /// A part of the print that is kept from the bath, as for `measure`; again for more
    #[arg(long, value_name = "MASK", requires = "mesh", value_parser = mask)]
    pub(super) mask: Vec<Mask>,
    /// How it was printed: its layers give the roughness
    #[arg(long, value_name = "fdm:0.2mm|resin:0.05mm|sls|smoothed")]
    pub(super) printed: Option<Printed>,
    /// Plating area over wetted area; in place of what the layers give
    #[arg(long, value_parser = finite, allow_hyphen_values = true)]
    pub(super) roughness: Option<f64>,
}

fn wire(text: &str) -> Result<crate::project::Wire, String> {
    let (diameter, length) = text
        .split_once(':')
        .ok_or_else(|| "write DIAMETER:LENGTH, such as 0.8mm:30cm".to_owned())?;
    let length_of = |text: &str| match text.parse::<Length>() {
        Ok(length) if length.si() > 0.0 => Ok(length),
        Ok(length) => Err(format!("{length} is no length of a wire: it is above zero")),
        Err(error) => Err(error.to_string()),
    };
    Ok(crate::project::Wire {
        diameter: length_of(diameter)?,
        length: length_of(length)?,
    })
}

fn finite(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ => Err("write a number, such as 1.2".to_owned()),
    }
}

/// A text that says something.
fn said(text: &str) -> Result<String, String> {
    if text.chars().all(|c| c.is_whitespace() || is_unseen(c)) {
        Err("it says nothing".to_owned())
    } else {
        Ok(text.to_owned())
    }
}

/// What air and baths of this trade may have, with room to spare.
fn temperature(text: &str) -> Result<Temperature, String> {
    let temperature: Temperature = text.parse().map_err(to_text)?;
    if (-50.0..=150.0).contains(&temperature.to(CELSIUS)) {
        Ok(temperature)
    } else {
        Err(format!("{temperature} cannot be: -50C to 150C"))
    }
}

/// Relative humidity.
fn humidity(text: &str) -> Result<Ratio, String> {
    let humidity: Ratio = text.parse().map_err(to_text)?;
    if humidity.si() <= 1.0 {
        Ok(humidity)
    } else {
        Err(format!("{humidity} cannot be: 100% at most"))
    }
}

fn to_text(error: QuantityError) -> String {
    error.to_string()
}

#[derive(Debug, Args)]
pub(super) struct MeasureArgs {
    /// STL, OBJ, PLY or 3MF files, told by what is in them
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// The unit of files that do not say theirs
    #[arg(long, value_name = "mm|cm|m|in")]
    pub(super) unit: Option<LengthUnit>,
    /// A passage whose widest ball is smaller is shut
    #[arg(long, value_name = "DIAMETER", default_value = "0.5mm", value_parser = bubble, allow_hyphen_values = true)]
    pub(super) bubble: Length,
    /// A part that is kept from the bath; again for more
    #[arg(long, value_name = "MASK", value_parser = mask)]
    pub(super) mask: Vec<Mask>,
    /// Write the surface of one print as PLY: a class and a colour for each face
    #[arg(long, value_name = "OUT.ply")]
    pub(super) classes: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct SpreadArgs {
    /// The project's folder
    #[arg(required_unless_present = "scene", conflicts_with = "scene")]
    pub(super) dir: Option<PathBuf>,
    /// A scene in place of a project's
    #[arg(long, value_name = "SCENE.json")]
    pub(super) scene: Option<PathBuf>,
    /// Only this piece of the project; again for more
    #[arg(long, value_name = "PIECE", conflicts_with = "scene")]
    pub(super) piece: Vec<String>,
    /// The tank; where the pieces hang if left out
    #[arg(long, value_name = "TANK", conflicts_with = "scene")]
    pub(super) tank: Option<String>,
    /// Set each piece's evenness in project.ron: a minimum target and the local range go by it; and
    /// record the shares of what hangs there now, which the charge goes by from now on
    #[arg(long, conflicts_with = "scene")]
    pub(super) set: bool,
    /// What the supply holds: amps into all that hangs there
    #[arg(long, conflicts_with = "volts", value_parser = flowing, allow_hyphen_values = true)]
    pub(super) amps: Option<Current>,
    /// What the supply holds: volts of the anodes
    #[arg(long)]
    pub(super) volts: Option<Voltage>,
    /// How fine: twice the panels take twice the time
    #[arg(long, value_name = "N", default_value_t = PANELS, value_parser = panels, allow_hyphen_values = true)]
    pub(super) panels: usize,
    /// What CSV, PLY and VTU hold one of: triangles of the prints, or panels
    #[arg(long, value_enum, default_value_t)]
    pub(super) rows: RowsName,
    /// Write what flows where: a PNG is a picture
    #[arg(long, value_name = "FILE.ply|.vtu|.csv|.png")]
    pub(super) out: Option<PathBuf>,
}

/// What a table has a row for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, ValueEnum)]
pub(super) enum RowsName {
    /// What is wetted of each triangle of each print
    #[default]
    Triangle,
    /// Every panel of every body
    Panel,
}

impl From<RowsName> for Rows {
    fn from(name: RowsName) -> Self {
        match name {
            RowsName::Triangle => Self::Triangle,
            RowsName::Panel => Self::Panel,
        }
    }
}

/// A current above nothing.
fn flowing(text: &str) -> Result<Current, String> {
    let current: Current = text.parse().map_err(to_text)?;
    if current.si() > 0.0 {
        return Ok(current);
    }
    Err("it is above zero, such as 5A".to_owned())
}

fn panels(text: &str) -> Result<usize, String> {
    let (least, most) = (PANELS_RANGE.start(), PANELS_RANGE.end());
    match text.parse() {
        Ok(count) if PANELS_RANGE.contains(&count) => Ok(count),
        _ => Err(format!("a number from {least} to {most}")),
    }
}

/// A group without a name is told with those that the file has, once it is read.
fn mask(text: &str) -> Result<Mask, String> {
    let mask = text.parse();
    mask.or_else(|error| match error {
        MaskError::NoName => Ok(Mask::Group(String::new())),
        error => Err(error),
    })
    .map_err(|error: MaskError| format!("{error}; {}", error.remedy()))
}

/// A diameter above nothing.
fn bubble(text: &str) -> Result<Length, String> {
    let bubble: Length = text.parse().map_err(to_text)?;
    if bubble.si() > 0.0 {
        Ok(bubble)
    } else {
        Err(format!(
            "{bubble} is no bubble: it is above nothing, such as 0.5mm"
        ))
    }
}

#[derive(Debug, Args)]
pub(super) struct SheetArgs {
    /// The project's folder; this one if left out
    #[arg(default_value = ".")]
    pub(super) dir: PathBuf,
    /// As one HTML file, for the printer of a browser (A4 or Letter)
    #[arg(long)]
    pub(super) html: bool,
    /// Into this file; a name that ends in .html is HTML
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct ChargeArgs {
    /// The metal and its bath
    #[arg(long, value_parser = |name: &str| Metal::named(name).map_err(|e| e.to_string()))]
    pub(super) metal: Metal,
    /// The area
    #[arg(long, allow_hyphen_values = true)]
    pub(super) area: Area,
    /// The mean thickness wanted
    #[arg(long, group = "given", allow_hyphen_values = true)]
    pub(super) thickness: Option<Length>,
    /// The charge that passed
    #[arg(long, group = "given", allow_hyphen_values = true)]
    pub(super) charge: Option<Charge>,
    /// The current that flowed
    #[arg(long, requires = "hours", conflicts_with_all = ["thickness", "charge"], allow_hyphen_values = true)]
    pub(super) amps: Option<Current>,
    /// For how long (hours, or with a unit)
    #[arg(long, requires = "amps", value_parser = hours, allow_hyphen_values = true)]
    pub(super) hours: Option<Duration>,
    /// Cathode efficiency
    #[arg(long, default_value = "100%", allow_hyphen_values = true)]
    pub(super) efficiency: Ratio,
    /// Current density, to tell the time
    #[arg(long, allow_hyphen_values = true)]
    pub(super) density: Option<CurrentDensity>,
}

/// The flag's name is the unit; one given is taken.
fn hours(text: &str) -> Result<Duration, String> {
    match text.parse::<f64>() {
        Ok(hours) if hours.is_finite() && hours >= 0.0 => Ok(crate::units::H.of(hours)),
        _ => text.parse::<Duration>().map_err(|e| e.to_string()),
    }
}

#[derive(Debug, Subcommand)]
pub(super) enum CloseoutVerb {
    /// Tick items
    Tick {
        /// Which
        #[arg(required = true)]
        ids: Vec<String>,
        #[command(flatten)]
        common: Common,
    },
    /// Sign the evening off
    Sign {
        #[command(flatten)]
        common: Common,
    },
    /// Print the sheet as Markdown
    Print,
}

/// What every record takes.
#[derive(Debug, Args, Clone, Default)]
pub(super) struct Common {
    /// When it happened
    #[arg(long, value_name = "INSTANT", allow_hyphen_values = true)]
    pub(super) at: Option<String>,
    /// Who says so
    #[arg(long, value_name = "NAME", value_parser = said)]
    pub(super) who: Option<String>,
    /// Pass gates that do not hold, for this reason
    #[arg(long = "override", value_name = "REASON", value_parser = said)]
    pub(super) override_reason: Option<String>,
}

/// `record DIR PIECE …`
#[derive(Debug, Parser)]
#[command(name = "record", bin_name = "tankside record DIR PIECE", disable_help_subcommand = true, after_help = RECORD_FORMS)]
pub(super) struct PieceRecord {
    #[command(subcommand)]
    pub(super) verb: PieceVerb,
}

#[derive(Debug, Subcommand)]
pub(super) enum PieceVerb {
    /// Begin a stage
    Start {
        #[arg(value_parser = stage)]
        stage: Stage,
        /// The tank to hang it in
        #[arg(long)]
        tank: Option<String>,
        #[command(flatten)]
        common: Common,
    },
    /// Stop for now
    Pause {
        #[command(flatten)]
        common: Common,
    },
    /// Go on
    Resume {
        #[command(flatten)]
        common: Common,
    },
    /// The stage is done
    Finish {
        #[command(flatten)]
        common: Common,
    },
    /// Back to an earlier stage
    Rework {
        #[arg(value_parser = stage)]
        stage: Stage,
        #[arg(long, value_parser = said)]
        because: String,
        #[command(flatten)]
        common: Common,
    },
    /// Leave a stage out
    Skip {
        #[arg(value_parser = stage)]
        stage: Stage,
        #[arg(long, value_parser = said)]
        because: String,
        #[command(flatten)]
        common: Common,
    },
    /// Out of the bath for a look
    Lift {
        #[command(flatten)]
        common: Common,
    },
    /// Back into the bath
    Return {
        /// It was dipped in acid first
        #[arg(long)]
        dipped: bool,
        #[command(flatten)]
        common: Common,
    },
    /// A bare spot was repainted
    TouchUp {
        #[arg(long = "where", value_name = "TEXT", value_parser = said)]
        place: String,
        #[command(flatten)]
        common: Common,
    },
    /// What a look found
    Look {
        /// FINDING[:SHARE][@PLACE]
        #[arg(required = true)]
        findings: Vec<Finding>,
        #[command(flatten)]
        common: Common,
    },
    /// Confirm conditions
    Tick {
        #[arg(required = true)]
        names: Vec<String>,
        #[command(flatten)]
        common: Common,
    },
    /// A resistance
    Ohms {
        #[arg(allow_hyphen_values = true)]
        resistance: Resistance,
        #[arg(long)]
        place: Option<String>,
        #[command(flatten)]
        common: Common,
    },
    /// A weighing
    Weigh {
        #[arg(allow_hyphen_values = true)]
        mass: Mass,
        #[arg(long = "as", value_name = "primed|coated|wired|plated|polished")]
        condition: WeighedAs,
        #[command(flatten)]
        common: Common,
    },
    /// One more coat is on
    Coat {
        #[command(flatten)]
        common: Common,
    },
    /// How it hangs now
    Turn {
        #[arg(allow_hyphen_values = true, value_parser = said)]
        text: String,
        #[command(flatten)]
        common: Common,
    },
    /// A contact was moved, loosened or added
    Contact {
        change: ContactChange,
        #[arg(default_value = "")]
        text: String,
        #[command(flatten)]
        common: Common,
    },
    /// Wiped, dipped, polished or touched: a hold begins anew
    Wipe {
        #[command(flatten)]
        common: Common,
    },
    /// The air it is in
    Climate {
        #[arg(long, allow_hyphen_values = true, value_parser = temperature)]
        celsius: Temperature,
        #[arg(long, allow_hyphen_values = true, value_parser = humidity)]
        humidity: Ratio,
        #[command(flatten)]
        common: Common,
    },
    /// A remark
    Note {
        #[arg(allow_hyphen_values = true, value_parser = said)]
        text: String,
        #[command(flatten)]
        common: Common,
    },
}

/// `record DIR (reading | supply | bath | logger | undo | redo) …`
#[derive(Debug, Parser)]
#[command(name = "record", bin_name = "tankside record DIR", disable_help_subcommand = true, after_help = RECORD_FORMS)]
pub(super) struct TankRecord {
    #[command(subcommand)]
    pub(super) verb: TankVerb,
}

#[derive(Debug, Subcommand)]
pub(super) enum TankVerb {
    /// Volts and amps were read
    Reading {
        #[arg(long)]
        tank: String,
        #[arg(long, allow_hyphen_values = true)]
        volts: Voltage,
        #[arg(long, allow_hyphen_values = true)]
        amps: Current,
        #[arg(long, allow_hyphen_values = true, value_parser = temperature)]
        celsius: Option<Temperature>,
        #[arg(long, value_name = "cc|cv")]
        mode: Option<Mode>,
        /// The piece whose own lead it is
        #[arg(long)]
        piece: Option<String>,
        #[command(flatten)]
        common: Common,
    },
    /// The supply was set
    #[command(group(clap::ArgGroup::new("to").required(true)))]
    Supply {
        #[arg(long)]
        tank: String,
        #[arg(long, group = "to", allow_hyphen_values = true)]
        amps: Option<Current>,
        #[arg(long, group = "to", allow_hyphen_values = true)]
        volts: Option<Voltage>,
        #[arg(long, group = "to")]
        off: bool,
        #[command(flatten)]
        common: Common,
    },
    /// Upkeep of a bath
    Bath {
        #[arg(long)]
        tank: String,
        #[command(subcommand)]
        work: BathVerb,
    },
    /// Take in a data logger's file
    Logger {
        #[arg(long)]
        tank: String,
        file: PathBuf,
        #[command(flatten)]
        common: Common,
    },
    /// Take the last record back
    Undo {
        #[command(flatten)]
        common: Common,
    },
    /// Bring back what was undone
    Redo {
        #[command(flatten)]
        common: Common,
    },
}

#[derive(Debug, Subcommand)]
pub(super) enum BathVerb {
    /// Brightener or other addition
    Dose {
        #[arg(allow_hyphen_values = true)]
        volume: Volume,
        #[command(flatten)]
        common: Common,
    },
    /// Filter changed or cleaned
    Filter {
        #[command(flatten)]
        common: Common,
    },
    /// Anode bags changed or rinsed
    Bags {
        #[command(flatten)]
        common: Common,
    },
    /// Topped up
    Topup {
        #[arg(allow_hyphen_values = true)]
        volume: Volume,
        #[command(flatten)]
        common: Common,
    },
    /// Anode metal added
    Anodes {
        #[arg(allow_hyphen_values = true)]
        mass: Mass,
        #[command(flatten)]
        common: Common,
    },
    /// Anodes or shields moved: shares that a field told no longer hold
    Moved {
        /// What, and where it is now
        #[arg(value_parser = said)]
        text: String,
        #[command(flatten)]
        common: Common,
    },
}

/// `PIECE=SHARE[:WIRES]`
fn piece_share(text: &str) -> Result<PieceShare, String> {
    let form = || "say PIECE=SHARE, such as bell=0.7 or bell=70%:4%".to_owned();
    let (piece, told) = text.rsplit_once('=').ok_or_else(form)?;
    let (share, wire) = told.split_once(':').unwrap_or((told, "0"));
    Ok(PieceShare {
        piece: piece.to_owned(),
        share: part(share)?,
        wire: part(wire)?,
    })
}

/// A part of a whole: 0.7 or 70%.
fn part(text: &str) -> Result<f64, String> {
    // A plain number is taken as it is written, to its last digit.
    if let Ok(part) = text.parse::<f64>() {
        return Ok(part);
    }
    let ratio: Result<Ratio, _> = text.parse();
    ratio.map(Ratio::si).map_err(|error| error.to_string())
}

/// A stage of this name; whether the project has it is the rules' to say.
fn stage(name: &str) -> Result<Stage, String> {
    if name.is_empty() || name.starts_with('-') {
        return Err("name a stage".into());
    }
    Ok(Stage::named(name))
}
