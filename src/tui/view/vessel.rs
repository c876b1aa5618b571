//! Tanks and the other places of the bench, and a piece in each of them.

use ratatui::layout::Rect;

use super::Role;
use super::pen::{Pen, Row, bar, below, line_of};
use crate::project::{PieceFigures, Stage, StageState};
use crate::tui::app::{Model, Spot};
use crate::units::{A, AH, V, clock_span, number};

/// How much is told of a piece: so many lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Detail {
    One,
    Two,
    Four,
}

impl Detail {
    fn lines(self) -> usize {
        match self {
            Self::One => 1,
            Self::Two => 2,
            Self::Four => 4,
        }
    }

    /// The columns that a piece wants, so that its figures can be read.
    fn width(self) -> usize {
        match self {
            Self::One => 26,
            Self::Two => 24,
            Self::Four => 21,
        }
    }
}

/// The lines that a place wants to tell all of its pieces in this width.
pub(super) fn wanted_lines(count: usize, width: usize, tank: bool) -> usize {
    let (columns, walls) = if tank {
        (width.saturating_sub(3) / Detail::Four.width(), 5)
    } else {
        (width / Detail::Four.width(), 1)
    };
    count.div_ceil(columns.clamp(1, count.max(1))) * Detail::Four.lines() + walls
}

/// Whether a tank is what is selected.
pub(super) fn is_selected_tank(model: &Model, name: &str) -> bool {
    matches!(&model.spot, Some(Spot::Tank(tank)) if tank == name)
}

/// What a supply gives: `main  0.80 V  2.41 A  cv`, closer where the width wants
/// it.
pub(super) fn supply(model: &Model, name: &str, width: usize) -> Row {
    let wide = spaced_supply(model, name, "  ");
    if wide.width() <= width {
        wide
    } else {
        spaced_supply(model, name, " ")
    }
}

fn spaced_supply(model: &Model, name: &str, gap: &str) -> Row {
    let row = Row::of(Role::Title, name);
    let Some(tank) = model.facts.tank(name) else {
        return row;
    };
    if !tank.on {
        let role = if tank.pieces.is_empty() {
            Role::Plain
        } else {
            Role::Alarm
        };
        return row
            .and(role, format!("{gap}no current"))
            .chosen(is_selected_tank(model, name));
    }
    let mut told = String::new();
    if let Some(volts) = tank.volts {
        told = format!("{gap}{} V", number(volts.to(V), 3));
    }
    told += &tank.amps.map_or_else(
        || format!("{gap}? A"),
        |a| format!("{gap}{} A", number(a.to(A), 3)),
    );
    if let Some(mode) = tank.mode {
        told = format!("{told}{gap}{mode}");
    }
    row.and(Role::Strong, told)
        .chosen(is_selected_tank(model, name))
}

/// When the meter was last read, and the bath's charge since its upkeep.
fn bath(model: &Model, name: &str, width: usize) -> Option<Row> {
    let state = model.project.state().tank(name)?;
    let reading = state.reading?;
    let units = model.project.definition.units;
    let celsius = reading
        .celsius
        .map_or_else(String::new, |t| format!(" {}", units.show_temperature(t)));
    let mut told = format!(" read {}{celsius}", model.clock(reading.at));
    let figures = model.facts.tank(name)?;
    let every = model.project.definition.tank(name).map(|t| &t.bath);
    if width >= 40 && every.is_some_and(|b| b.dose_every.is_some()) {
        let since = number(figures.since[0].to(AH), 2);
        told = format!("{told}  dose {since} Ah ago");
    }
    Some(Row::plain(told + " "))
}

/// A tank: its supply over it, the bar across, the liquid, what hangs in it.
pub(super) fn tank(model: &Model, pen: &mut Pen<'_>, area: Rect, name: &str, pieces: &[String]) {
    let width = usize::from(area.width);
    if width < 8 || area.height < 5 {
        pen.row(area, &supply(model, name, width));
        return;
    }
    // One column stays free before what the next tank's supply gives.
    let mut head = line_of(area, 0);
    head.width -= 1;
    pen.row(head, &supply(model, name, width - 1));
    let inner = width - 3;
    let lifted = |n: &&String| model.piece(n).is_some_and(|p| p.lifted_at.is_some());
    let out = pieces.iter().take_while(|n| lifted(n)).count();
    let (above, inside) = pieces.split_at(out);
    let room = usize::from(area.height).saturating_sub(5 + out);
    let grid = Grid::of(inside.len(), inner, room);
    let wires = |glyph: &str, fill: &str| {
        (0..inner)
            .map(|x| {
                if grid.has_wire(x, inside.len()) {
                    glyph
                } else {
                    fill
                }
            })
            .collect::<String>()
    };
    let rim = format!("\u{2552}{}\u{2555}", wires("\u{2564}", "\u{2550}"));
    pen.row(line_of(area, 1), &Row::of(Role::Vessel, rim));
    let mut y = 2;
    for name in above {
        let row = walls(
            cell(model, name, Detail::One, inner).into_iter().next(),
            inner,
            model.selected_piece() == Some(name),
        );
        pen.rows(line_of(area, y), &[row]);
        y += 1;
    }
    let surface = format!("\u{2502}{}\u{2502}", wires("\u{2502}", "~"));
    pen.row(line_of(area, y), &Row::of(Role::Vessel, surface));
    let bottom = usize::from(area.height) - 1;
    for line in y + 1..bottom {
        pen.row(line_of(area, line), &walls(None, inner, false));
    }
    let liquid = Rect {
        x: area.x + 1,
        y: area.y + u16::try_from(y + 1).unwrap_or(0),
        width: u16::try_from(inner).unwrap_or(0),
        height: u16::try_from(bottom.saturating_sub(y + 1)).unwrap_or(0),
    };
    grid.draw(model, pen, liquid, inside);
    let base = format!("\u{2514}{}\u{2518}", "\u{2500}".repeat(inner));
    pen.row(line_of(area, bottom), &Row::of(Role::Vessel, base));
    if let Some(bath) = bath(model, name, inner).filter(|_| inner > 20) {
        let label = Rect {
            x: area.x + 2,
            width: area.width - 5,
            ..line_of(area, bottom)
        };
        pen.row(label, &bath);
    }
}

/// A line of a tank between its walls.
fn walls(row: Option<Row>, inner: usize, selected: bool) -> Row {
    let row = row.unwrap_or_default();
    let rest = inner.saturating_sub(row.width());
    Row::of(Role::Vessel, "\u{2502}")
        .join(row)
        .and(Role::Plain, " ".repeat(rest))
        .and(Role::Vessel, "\u{2502}")
        .chosen(selected)
}

/// Another place of the bench: its name, then what lies there.
pub(super) fn place(model: &Model, pen: &mut Pen<'_>, area: Rect, title: &str, pieces: &[String]) {
    pen.row(line_of(area, 0), &Row::of(Role::Title, title));
    let inner = Rect {
        width: area.width.saturating_sub(1),
        ..below(area, 1)
    };
    let grid = Grid::of(
        pieces.len(),
        usize::from(inner.width),
        usize::from(inner.height),
    );
    grid.draw(model, pen, inner, pieces);
}

/// How the pieces of a place are laid out.
#[derive(Debug, Clone, Copy)]
struct Grid {
    columns: usize,
    width: usize,
    detail: Detail,
    lines: usize,
}

impl Grid {
    /// The most that can be told of `count` pieces in so much room.
    fn of(count: usize, width: usize, lines: usize) -> Self {
        let grid = |detail: Detail| {
            let columns = (width / detail.width()).clamp(1, count.max(1));
            Self {
                columns,
                width: width / columns,
                detail,
                lines,
            }
        };
        [Detail::Four, Detail::Two]
            .into_iter()
            .map(grid)
            .find(|g| count.div_ceil(g.columns) * g.detail.lines() <= lines)
            .unwrap_or_else(|| grid(Detail::One))
    }

    /// Whether a wire comes down from the bar in this column.
    fn has_wire(self, x: usize, count: usize) -> bool {
        x % self.width == 1 && x / self.width < self.columns.min(count)
    }

    /// Draws the pieces; when not all fit, those around the selected one.
    fn draw(self, model: &Model, pen: &mut Pen<'_>, area: Rect, pieces: &[String]) {
        let rows = (self.lines / self.detail.lines()).max(1);
        let all = pieces.len().div_ceil(self.columns);
        let at = pieces
            .iter()
            .position(|n| model.selected_piece() == Some(n))
            .unwrap_or(0)
            / self.columns;
        let cut = all > rows;
        let shown = if cut {
            rows.saturating_sub(1).max(1)
        } else {
            rows
        };
        let first = (at + 1).saturating_sub(shown);
        let from = first * self.columns;
        let here = pieces.iter().skip(from).take(shown * self.columns);
        for (n, name) in here.enumerate() {
            let column = n % self.columns * self.width;
            let line = n / self.columns * self.detail.lines();
            let cell_area = Rect {
                x: area.x + u16::try_from(column).unwrap_or(0),
                width: u16::try_from(self.width).unwrap_or(0),
                ..below(area, line)
            };
            let rows = cell(model, name, self.detail, self.width.saturating_sub(1));
            pen.rows(
                Rect {
                    width: cell_area.width.saturating_sub(1),
                    ..cell_area
                },
                &rows,
            );
        }
        if cut {
            let more = pieces.len() - (shown * self.columns).min(pieces.len() - from);
            let line = shown * self.detail.lines();
            pen.row(
                line_of(area, line),
                &Row::of(Role::Soon, format!("and {more} more: Left Right")),
            );
        }
    }
}

/// A piece where it is, in so many lines.
pub(super) fn cell(model: &Model, name: &str, detail: Detail, width: usize) -> Vec<Row> {
    let selected = model.selected_piece() == Some(name);
    let digit = model
        .digit_of(name)
        .map_or_else(|| " ".to_owned(), |d| d.to_string());
    let mark = mark(model, name);
    let next = model.facts.next_of(name);
    let over = next.is_some_and(|d| d.at <= model.now);
    let role = if over { Role::Alarm } else { Role::Strong };
    let head = |width: usize| {
        Row::of(Role::Key, digit.clone())
            .and(role, format!(" {mark} "))
            .column(role, name, width.saturating_sub(4))
            .chosen(selected)
    };
    match detail {
        Detail::One => {
            let name_width = (width / 2).clamp(8, 24).min(width);
            let row = head(name_width).and(Role::Plain, " ");
            let told = match next.filter(|_| over) {
                Some(due) => format!("{} {}", due.what.word(), model.distance(due.at)),
                None => brief(model, name),
            };
            vec![row.column(
                if over { Role::Alarm } else { Role::Plain },
                &told,
                width.saturating_sub(name_width + 1),
            )]
        }
        Detail::Two => {
            let progress = progress(model, name, width);
            let out = model.piece(name).is_some_and(|p| p.lifted_at.is_some());
            let told = if progress.width() > 0 && !out {
                progress
            } else {
                stage_row(model, name)
            };
            vec![head(width), indented(told)]
        }
        Detail::Four => {
            let mut rows = vec![head(width), indented(stage_row(model, name))];
            let progress = progress(model, name, width);
            if progress.width() > 0 {
                rows.push(indented(progress));
            }
            rows.push(match next {
                Some(due) => {
                    let role = if over { Role::Alarm } else { Role::Plain };
                    indented(Row::of(
                        role,
                        format!("{} {}", due.what.word(), model.distance(due.at)),
                    ))
                }
                None => Row::default(),
            });
            rows
        }
    }
}

fn indented(row: Row) -> Row {
    Row::plain("  ").join(row)
}

/// The shape of a piece's state: waiting, running, paused, done.
fn mark(model: &Model, name: &str) -> &'static str {
    match model.piece(name).map(|p| (p.stage_state, p.lifted_at)) {
        Some((_, Some(_))) => "^",
        Some((StageState::Running, _)) => "\u{25cf}",
        Some((StageState::Paused, _)) => "=",
        Some((StageState::Done, _)) => "\u{25a0}",
        Some((StageState::Waiting, _)) | None => "\u{25cb}",
    }
}

/// Stage and time: `strike 12 min`, `OUT 7 min`, `build waiting`.
fn stage_row(model: &Model, name: &str) -> Row {
    let Some(piece) = model.piece(name) else {
        return Row::default();
    };
    if let Some(lifted) = piece.lifted_at {
        let out = clock_span(model.now.elapsed_since(lifted));
        return Row::of(Role::Alarm, format!("OUT {out}"));
    }
    let Some(stage) = &piece.stage else {
        return Row::of(Role::Good, "done");
    };
    let told = match (piece.stage_state, piece.stage_elapsed(model.now)) {
        (StageState::Running, Some(elapsed)) => format!("{stage} {}", clock_span(elapsed)),
        (StageState::Paused, _) => return Row::of(Role::Alarm, format!("{stage} paused")),
        (state, _) => format!("{stage} {}", state.word()),
    };
    Row::plain(told)
}

/// One phrase: stage, time and charge.
fn brief(model: &Model, name: &str) -> String {
    let Some(piece) = model.piece(name) else {
        return String::new();
    };
    if let Some(lifted) = piece.lifted_at {
        return format!("OUT {}", clock_span(model.now.elapsed_since(lifted)));
    }
    let Some(stage) = &piece.stage else {
        return "done".to_owned();
    };
    let Some(figures) = model.figures(name) else {
        return String::new();
    };
    let share = figures.progress().map(|share| {
        let sign = sign(figures);
        format!(" {sign}{:.0} %", share * 100.0)
    });
    let unknown = figures.charges.unknown_since.map(|_| " share?".to_owned());
    match (
        stage.in_bath() && piece.tank.is_some(),
        unknown.or(share),
        piece.stage_elapsed(model.now),
    ) {
        (true, Some(share), Some(elapsed)) if piece.is_running() => {
            format!("{stage} {}{share}", clock_span(elapsed))
        }
        (_, _, Some(elapsed)) if piece.is_running() => format!("{stage} {}", clock_span(elapsed)),
        _ => format!("{stage} {}", piece.stage_state.word()),
    }
}

/// What stands before a charge of which a part is estimated.
fn sign(figures: &PieceFigures) -> &'static str {
    if figures.charges.estimated.si() > 0.0 {
        "~"
    } else {
        ""
    }
}

/// The bar beside its figure: charge in the bath, hours in a hold.
fn progress(model: &Model, name: &str, width: usize) -> Row {
    let (Some(piece), Some(figures)) = (model.piece(name), model.figures(name)) else {
        return Row::default();
    };
    if let Some(hold) = figures.hold.filter(|h| !h.ended) {
        let share = hold.elapsed / hold.target;
        let standing = super::holds::standing(&hold);
        let told = format!(" {}{standing}", super::holds::age(&hold));
        return Row::of(Role::Metal, bar(6, share, share)).and(Role::Plain, told);
    }
    let plated = piece.tank.is_some() || figures.charges.total().si() > 0.0;
    if !plated {
        return Row::default();
    }
    if figures.charges.unknown_since.is_some() {
        return Row::of(Role::Soon, "share unknown");
    }
    let target = figures.charge_target.as_ref().map(|t| t.value.to(AH));
    let total = figures.charges.total().to(AH);
    let sign = sign(figures);
    match target {
        Some(target) if target > 0.0 => {
            let cells = if width >= 26 { 8 } else { 4 };
            let shown = bar(
                cells,
                figures.charges.measured.to(AH) / target,
                total / target,
            );
            let told = format!(" {sign}{}/{} Ah", number(total, 3), number(target, 3));
            Row::of(Role::Metal, shown).and(Role::Plain, told)
        }
        _ => Row::plain(format!("{sign}{} Ah, no area", number(total, 3))),
    }
}

/// The stages of a route as a path: passed, present, ahead.
pub(super) fn route(model: &Model, name: &str) -> Row {
    let Some((definition, piece)) = model.project.definition.piece(name).zip(model.piece(name))
    else {
        return Row::default();
    };
    let route = model.project.definition.route_of(definition);
    let at = piece
        .stage
        .as_ref()
        .and_then(|s| route.iter().position(|r| r == s));
    let at = at.unwrap_or(route.len());
    let mut row = Row::default();
    for (n, stage) in route.iter().enumerate() {
        let skipped = piece.spans.iter().any(|s| s.stage == *stage && s.skipped);
        let (role, shape) = match n.cmp(&at) {
            std::cmp::Ordering::Less if skipped => (Role::Plain, "/"),
            std::cmp::Ordering::Less => (Role::Good, "\u{25a0}"),
            std::cmp::Ordering::Equal => (Role::Strong, mark(model, name)),
            std::cmp::Ordering::Greater => (Role::Plain, "\u{25cb}"),
        };
        let gap = if n == 0 { "" } else { " \u{2500} " };
        row = row
            .and(Role::Vessel, gap)
            .and(role, format!("{shape} {}", short(stage)));
    }
    row
}

fn short(stage: &Stage) -> &str {
    match stage {
        Stage::Age => "age",
        Stage::Coat => "coat",
        other => other.title(),
    }
}
