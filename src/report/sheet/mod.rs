//! The pencil sheet: paper for the evening, written on at the tank and typed
//! in afterwards from top to bottom.
//!
//! A [`Sheet`] is one list of numbered [`Row`]s. It is printed as text or as
//! HTML, and the screen asks for the same rows under the same numbers. It is a
//! function of the project as it was known when the sheet was printed, so that
//! the list can be made again once the evening has been recorded.

mod evening;
mod html;
mod rows;
mod text;

use super::{cautions, told};
use crate::project::{Definition, Planned, Project, State, TankFigures};
use crate::units::{A, H, Instant, LocalTime, V, Zone};

pub use rows::{Asks, BACK, Back, Blank, LAMP, Row, Tick};

/// For so many hours the calls of the clock are told ahead: an evening.
const EVENING_H: f64 = 4.0;
/// A clock time on the sheet lies at most so many hours before it was printed:
/// what was pencilled on something else first.
const BEFORE_H: f64 = 2.0;
const MINUTE_MS: i64 = 60_000;

/// The evening's sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// The project's name.
    pub name: String,
    /// The minute it was printed in, to its end.
    pub printed: Instant,
    /// The day and clock it was printed, as people say it.
    pub date: String,
    /// What it is called by when it is typed in: `03.1858`, printed on the
    /// third at 18:58.
    pub number: String,
    /// The unit that temperatures are read in: `C` or `F`.
    pub degrees: &'static str,
    /// What is due by the clock: when, what.
    pub due: Vec<(String, String)>,
    /// Tanks, pieces, the end of the evening.
    pub sections: Vec<Section>,
    /// What to mind, most particular first.
    pub cautions: Vec<&'static str>,
}

/// One block of a sheet: a tank, a piece at a stage, the close-out.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Whose it is.
    pub name: String,
    /// What of it, and how it stands.
    pub stands: String,
    /// What is to be known beside it.
    pub facts: Vec<String>,
    /// What a record makes true, to be ticked on paper only: gate, what it says.
    pub open: Vec<(String, String)>,
    /// What is written down, in the order it is typed in.
    pub rows: Vec<Row>,
}

impl Sheet {
    /// The sheet printed at `now`, from what was known then: an event that was
    /// written down later changes nothing, whatever its instant.
    pub fn of(project: &Project, now: Instant) -> Self {
        let printed = end_of_minute(now);
        let known = as_known(project, printed);
        let project = known.as_ref().unwrap_or(project);
        let definition = &project.definition;
        let state = project.state_at(printed);
        let until = printed + H.of(EVENING_H);
        let ahead = state.ahead(definition, printed, until);
        let local = definition.zone.local(printed);
        let due = state.due(definition, printed);
        Self {
            name: definition.name.clone(),
            date: format!("{} {}", local.day(), local.clock()),
            number: number_of(local),
            degrees: definition.units.temperature().symbol,
            sections: evening::sections(definition, &state, (&due, &ahead), printed),
            due: due
                .into_iter()
                .map(|d| (told::clock(definition, d.at, printed), d.say))
                .collect(),
            cautions: minded(definition, &state),
            printed,
        }
    }

    /// The rows in the order of their numbers, each with its section.
    pub fn rows(&self) -> impl Iterator<Item = (&Section, &Row)> {
        self.sections
            .iter()
            .flat_map(|section| section.rows.iter().map(move |row| (section, row)))
    }

    /// The sheet as text: at most 80 columns, a form feed before each page but
    /// the first, pages of at most 60 lines.
    pub fn text(&self) -> String {
        text::print(self)
    }

    /// The sheet as one HTML file, for the printer of a browser.
    pub fn html(&self) -> String {
        html::print(self)
    }

    /// The instant in which the sheet of this number was printed: the latest
    /// such day and clock not after `now`. A bare clock time is the latest past.
    ///
    /// # Errors
    /// When it is no number of a sheet.
    pub fn printed_at(number: &str, zone: Zone, now: Instant) -> Result<Instant, String> {
        let wrong = || format!("{number} is no number of a sheet: it looks like 03.1858");
        let (day, clock) = number.trim().split_once(['.', ',']).unwrap_or(("", number));
        let mut at = end_of_minute(now);
        for _ in 0..62 {
            at = clock_time(clock, zone, at).ok_or_else(wrong)?;
            if day.is_empty() || number_of(zone.local(at)).starts_with(&format!("{day:0>2}.")) {
                return Ok(end_of_minute(at));
            }
            at = at.plus_seconds(-1.0);
        }
        Err(wrong())
    }

    /// The number of the sheet that was printed at an instant.
    pub fn number_at(printed: Instant, zone: Zone) -> String {
        number_of(zone.local(printed))
    }

    /// The instant of a clock time written on a sheet that was printed then:
    /// `1940`, `19.40` or `19:40` of that evening and night.
    ///
    /// # Errors
    /// When it is no clock time.
    pub fn clock(text: &str, zone: Zone, printed: Instant) -> Result<Instant, String> {
        let latest = printed + H.of(24.0 - BEFORE_H);
        clock_time(text, zone, latest)
            .ok_or_else(|| format!("{text} is no clock time: 19.40 or 1940"))
    }
}

/// `1940`, `940`, `19.40`: the latest such time not after `latest`.
fn clock_time(text: &str, zone: Zone, latest: Instant) -> Option<Instant> {
    let text = text.trim();
    let digits = text.bytes().all(|b| b.is_ascii_digit());
    let written = match (digits, text.len()) {
        (true, 3 | 4) => {
            let (hours, minutes) = text.split_at(text.len() - 2);
            format!("{hours:0>2}:{minutes}")
        }
        (true, _) => return None,
        _ => text.replace(['.', ','], ":"),
    };
    let clock = written.bytes().all(|b| b.is_ascii_digit() || b == b':');
    zone.instant(&written, latest).ok().filter(|_| clock)
}

/// `03.1858`.
fn number_of(local: LocalTime) -> String {
    let day: String = local.date().chars().skip(8).collect();
    format!("{day}.{}", local.clock().replace(':', ""))
}

/// A minute is what the paper tells: a sheet is of its minute's end.
fn end_of_minute(at: Instant) -> Instant {
    Instant::from_unix_ms(at.unix_ms().div_euclid(MINUTE_MS) * MINUTE_MS + MINUTE_MS - 1)
}

/// The project as it was known at an instant.
fn as_known(project: &Project, at: Instant) -> Option<Project> {
    let events = project.events();
    let known: Vec<_> = events
        .iter()
        .take_while(|e| e.recorded <= at)
        .cloned()
        .collect();
    if known.len() == events.len() {
        return None;
    }
    let logs = project.logs().clone();
    Project::new(project.definition.clone(), known, logs).ok()
}

/// What to mind this evening: the stages that pieces are at, then what holds
/// everywhere.
fn minded(definition: &Definition, state: &State) -> Vec<&'static str> {
    let mut minded: Vec<&'static str> = Vec::new();
    let pieces = definition.pieces.iter();
    let stages = pieces.filter_map(|p| state.piece(&p.name)?.stage.as_ref());
    let lines = stages.flat_map(cautions::for_stage);
    let all = lines.chain(cautions::GENERAL).chain(cautions::FIRST_AID);
    for line in all.copied().chain([cautions::DEFERS]) {
        if !minded.contains(&line) {
            minded.push(line);
        }
    }
    minded
}

/// How a tank stands, in a few words.
fn tank_stands(tank: &TankFigures) -> String {
    let supply = match (tank.on, tank.volts, tank.amps) {
        (false, ..) => "no current".to_owned(),
        (true, volts, amps) => [
            tank.mode.map(|m| m.word().to_owned()),
            volts.map(|v| v.shown(V, 3)),
            amps.map(|a| a.shown(A, 3)),
        ]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(" "),
    };
    let hangs = if tank.pieces.is_empty() {
        "nothing hangs in it".to_owned()
    } else {
        tank.pieces.join(", ")
    };
    format!("{supply}; {hangs}")
}

/// The looks to come of a piece, as clock times.
fn looks_ahead(definition: &Definition, ahead: &[&Planned]) -> String {
    let clocks = ahead.iter().map(|p| definition.zone.local(p.at).clock());
    clocks.collect::<Vec<_>>().join(" ")
}

/// A unit as it is printed.
fn printed_unit(unit: &str) -> String {
    match unit {
        "C" | "F" => format!("\u{b0}{unit}"),
        "ohm" => "\u{3a9}".to_owned(),
        other => other.to_owned(),
    }
}
