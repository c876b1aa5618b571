//! Line: the bench from left to right, vessels standing on it, the pieces
//! hanging or lying where they are.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, below, line_of, window, wrapped};
use super::vessel::{self, Detail};
use super::{Role, is_narrow, piece};
use crate::project::Command;
use crate::tui::app::{Id, Model, Place, Station};

/// The least width of a place where nothing is, and where something is.
const EMPTY: usize = 9;
const USED: usize = 18;

/// Draws the bench.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    if model.facts.pieces.is_empty() {
        first_steps(model, pen, area);
        return;
    }
    if is_narrow(usize::from(area.width)) {
        stacked(model, pen, area);
        return;
    }
    let zones = zones(model, area.width);
    let area = with_selected(model, pen, area, &zones);
    let bench_top = usize::from(area.height) - 1;
    let standing = Rect {
        height: area.height - 1,
        ..area
    };
    let mut x = area.x;
    for (stations, width) in &zones {
        let zone = Rect {
            x,
            width: *width,
            ..standing
        };
        draw_zone(model, pen, zone, stations);
        x += width;
    }
    let top = "\u{2550}".repeat(usize::from(area.width));
    pen.row(line_of(area, bench_top), &Row::of(Role::Vessel, top));
}

/// Where the bench leaves room below it, the selected piece is told there; the
/// area that is left for the bench comes back.
fn with_selected(model: &Model, pen: &mut Pen<'_>, area: Rect, zones: &[Zone<'_>]) -> Rect {
    let wanted = zones
        .iter()
        .map(|(stations, width)| {
            let lines = stations.iter().map(|s| {
                let tank = matches!(s.place, Place::Tank(_));
                vessel::wanted_lines(s.pieces.len(), usize::from(*width), tank)
            });
            lines.sum::<usize>()
        })
        .max()
        .unwrap_or(0);
    let bench = u16::try_from(wanted + 2).unwrap_or(u16::MAX).max(13);
    let rest = area.height.saturating_sub(bench);
    if rest < 8 || area.width < 100 || model.selected_piece().is_none() {
        return area;
    }
    piece::draw(model, pen, below(area, usize::from(bench) + 1));
    Rect {
        height: bench,
        ..area
    }
}

/// A project without pieces says what to do first, in order: whole commands for
/// another terminal, or after leaving for a shell, for the folder that is shown.
fn first_steps(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let add = |rest: &str| Command::new("add", rest).line(&model.folder);
    let key = |id: Id| model.key_of(id);
    let suspend = key(Id::Suspend).map_or_else(String::new, |key| {
        format!(" ({key} leads to a shell too, fg back.)")
    });
    let edit = key(Id::Edit).map_or_else(|| "project.ron".into(), |key| format!("Key {key}"));
    let add_key = key(Id::AddPiece).map_or_else(String::new, |key| {
        format!("Key {key} adds each piece with its print. ")
    });
    let next = key(Id::Deal).unwrap_or_default();
    let help = key(Id::Help).unwrap_or_default();
    let steps: [(Role, usize, &str); 9] = [
        (Role::Strong, 0, "A new project. First, in this order:"),
        (
            Role::Plain,
            0,
            &format!("1 {add_key}Or in another terminal:"),
        ),
        (
            Role::Strong,
            4,
            &add("stem --mesh stem.stl --wire 1mm:20cm"),
        ),
        (Role::Plain, 2, "or, without a print, with its area:"),
        (Role::Strong, 4, &add("base --area 6.84dm2")),
        (Role::Plain, 2, &format!("This screen follows.{suspend}")),
        (
            Role::Plain,
            0,
            &format!("2 {edit}: your tank, supply and anodes; the rest has defaults."),
        ),
        (
            Role::Plain,
            0,
            &format!("3 {next} on a piece: what can be done with it, first its conductive coat."),
        ),
        (
            Role::Plain,
            0,
            &format!(
                "{help} explains keys and words; `tankside try` shows an evening amid its work."
            ),
        ),
    ];
    let width = usize::from(area.width);
    let mut rows = Vec::new();
    for (role, indent, text) in steps {
        let lines = wrapped(text, width.saturating_sub(indent)).into_iter();
        rows.extend(lines.map(|line| Row::plain(" ".repeat(indent)).and(role, line)));
    }
    let rows = window(rows, 0, usize::from(area.height), "a higher window");
    pen.rows(area, &rows);
}

type Zone<'a> = (Vec<&'a Station>, u16);

/// The places side by side: rinses, shelf and sealed stand one above the
/// other until there is room.
fn zones(model: &Model, width: u16) -> Vec<Zone<'_>> {
    let mut groups: Vec<Vec<&Station>> = Vec::new();
    for station in &model.facts.bench {
        let above = width < 130 && matches!(station.place, Place::Shelf | Place::Sealed);
        match groups.last_mut().filter(|_| above) {
            Some(group) => group.push(station),
            None => groups.push(vec![station]),
        }
    }
    let count = |group: &Vec<&Station>| group.iter().map(|s| s.pieces.len()).sum::<usize>();
    let is_tank = |group: &Vec<&Station>| {
        group
            .first()
            .is_some_and(|s| matches!(s.place, Place::Tank(_)))
    };
    let least = |group: &Vec<&Station>| match (is_tank(group), count(group)) {
        (true, _) => USED + 8,
        (false, 0) => EMPTY,
        (false, _) => USED,
    };
    let total: usize = groups.iter().map(least).sum();
    let spare = usize::from(width).saturating_sub(total);
    let weight = |group: &Vec<&Station>| count(group) + usize::from(is_tank(group));
    let weights: usize = groups.iter().map(weight).sum::<usize>().max(1);
    let mut left = usize::from(width);
    let last = groups.len().saturating_sub(1);
    let mut zones = Vec::new();
    for (n, group) in groups.into_iter().enumerate() {
        let wanted = least(&group) + spare * weight(&group) / weights;
        let width = if n == last { left } else { wanted.min(left) };
        left -= width;
        zones.push((group, u16::try_from(width).unwrap_or(0)));
    }
    zones
}

/// Draws what stands in one zone, one place above the other.
fn draw_zone(model: &Model, pen: &mut Pen<'_>, area: Rect, stations: &[&Station]) {
    let all: usize = stations.iter().map(|s| s.pieces.len()).sum();
    let height = usize::from(area.height);
    let titles = stations.len();
    let mut y = 0;
    for (n, station) in stations.iter().enumerate() {
        let rest = height.saturating_sub(titles);
        let share = if n + 1 == titles {
            height.saturating_sub(y)
        } else {
            1 + (rest * station.pieces.len())
                .checked_div(all)
                .unwrap_or(rest / titles)
        };
        let place = Rect {
            height: u16::try_from(share.min(height - y)).unwrap_or(0),
            ..below(area, y)
        };
        match &station.place {
            Place::Tank(name) => vessel::tank(model, pen, place, name, &station.pieces),
            other => vessel::place(model, pen, place, other.title(), &station.pieces),
        }
        y += share;
    }
}

/// Forty columns: the places below each other, in the order of the bench.
fn stacked(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let width = usize::from(area.width);
    let mut rows: Vec<Row> = Vec::new();
    let mut selected = 0;
    for station in &model.facts.bench {
        let tank = matches!(station.place, Place::Tank(_));
        if station.pieces.is_empty() && !tank {
            continue;
        }
        if let Place::Tank(name) = &station.place {
            if vessel::is_selected_tank(model, name) {
                selected = rows.len();
            }
            rows.push(vessel::supply(model, name, width));
        } else {
            rows.push(Row::of(Role::Title, station.place.title()));
        }
        for name in &station.pieces {
            if model.selected_piece() == Some(name) {
                selected = rows.len();
            }
            rows.extend(vessel::cell(model, name, Detail::One, width));
        }
    }
    let rows = window(rows, selected, usize::from(area.height), "Left Right");
    pen.rows(area, &rows);
}
