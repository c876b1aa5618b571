//! Piece: what has happened to one, its figures with their doubt, what is open.

use ratatui::layout::Rect;

use super::pen::{Pen, Row, bar, below, line_of, wrapped};
use super::theme::Theme;
use super::vessel::route;
use super::{Role, how_to_begin, or_edit, print};
use crate::plating::density_word;
use crate::project::{Charges, PieceFigures, PieceState, ShareBy, Stage, weighing};
use crate::tui::app::{Id, Model, Source, Spot};
use crate::units::{A, AH, PERCENT, clock_span, number};

/// Draws the selected piece.
pub(super) fn draw(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let Some((name, piece, figures)) = model
        .selected_piece()
        .and_then(|n| Some((n, model.piece(n)?, model.figures(n)?)))
    else {
        let why = match &model.spot {
            Some(Spot::Tank(tank)) if !model.facts.pieces.is_empty() => {
                format!("{tank} is a tank: Left and Right choose a piece")
            }
            _ => how_to_begin(model),
        };
        pen.row(area, &Row::plain(why));
        return;
    };
    let head =
        Row::of(Role::Title, name).and(Role::Strong, format!("  {}", standing(model, piece)));
    pen.row(line_of(area, 0), &head);
    pen.row(line_of(area, 1), &route(model, name));
    let rest = below(area, 2);
    let width = usize::from(area.width);
    if width < 100 {
        let rows = sections(model, (name, piece, figures), (width, pen.theme())).concat();
        scrolled(model, pen, rest, rows);
        return;
    }
    let columns = if width >= 150 { 3 } else { 2 };
    let each = area.width / columns;
    let inner = usize::from(each) - 2;
    let [figures, open, history] = sections(model, (name, piece, figures), (inner, pen.theme()));
    let under = below(rest, figures.len() + 1);
    let stacks = if columns == 3 {
        vec![figures, open, history]
    } else {
        vec![figures, [open, history].concat()]
    };
    for (n, rows) in stacks.into_iter().enumerate() {
        let x = area.x + each * u16::try_from(n).unwrap_or(0);
        let column = Rect {
            x,
            width: each - 1,
            ..rest
        };
        scrolled(model, pen, column, rows);
    }
    let known = model.prints.of(name).and_then(|known| known.still.as_ref());
    if let Some(still) = known.filter(|_| model.prints.roomy) {
        let place = Rect {
            width: each - 1,
            ..under
        };
        print::still(model, still, pen, place);
    }
}

/// Draws as many rows as fit from the scrolled place on; says how many more.
fn scrolled(model: &Model, pen: &mut Pen<'_>, area: Rect, rows: Vec<Row>) {
    let height = usize::from(area.height);
    let last = rows.len().saturating_sub(height);
    let first = model.scroll.min(last);
    let more = rows.len().saturating_sub(first + height);
    let shown: Vec<Row> = rows.into_iter().skip(first).collect();
    pen.rows(area, &shown);
    if more > 0 && height > 1 {
        let words = format!("{} more lines: PgDn", more + 1);
        pen.clear(line_of(area, height - 1));
        pen.row(line_of(area, height - 1), &Row::of(Role::Soon, words));
    }
}

/// `build running 1 h 05, in main`; out of the bath first.
fn standing(model: &Model, piece: &PieceState) -> String {
    let Some(stage) = &piece.stage else {
        return "done: its whole route".to_owned();
    };
    let mut told = format!("{} {}", stage.title(), piece.stage_state.word());
    if let Some(elapsed) = piece.stage_elapsed(model.now) {
        told = format!("{told} {}", clock_span(elapsed));
    }
    if let Some(tank) = &piece.tank {
        told = match piece.lifted_at {
            Some(lifted) => {
                let out = clock_span(model.now.elapsed_since(lifted));
                format!("OUT of {tank} {out}; {told}")
            }
            None => format!("{told}, in {tank}"),
        };
    }
    told
}

fn sections(
    model: &Model,
    (name, piece, figures): (&str, &PieceState, &PieceFigures),
    (width, theme): (usize, Theme),
) -> [Vec<Row>; 3] {
    let told = [
        charge(model, figures, width),
        thickness(model, name, figures, width),
        current(model, piece, figures),
        hold(model, figures),
        areas(model, figures, width),
        balance(model, figures, width),
        print_told(model, name, (width, theme)),
    ];
    let open = [
        gates(model, name, piece, width),
        looks(model, piece, width),
        joints(model, name, width),
        marks(model, piece, width),
    ];
    [told.concat(), open.concat(), history(model, name, width)]
}

fn label(text: &str) -> Row {
    Row::default().column(Role::Plain, text, 11)
}

fn charge(model: &Model, figures: &PieceFigures, width: usize) -> Vec<Row> {
    let charges = &figures.charges;
    if let Some(since) = charges.unknown_since {
        let words = format!("share unknown since {}", model.clock(since));
        return vec![
            label("charge").and(Role::Soon, words),
            label("").and(
                Role::Plain,
                "read it on its own lead, or name a stop reason",
            ),
        ];
    }
    let Some(target) = figures.charge_target.as_ref().map(|t| t.value) else {
        return vec![label("charge").and(
            Role::Strong,
            format!(
                "{} Ah; no area, so no target",
                number(charges.total().to(AH), 3)
            ),
        )];
    };
    let shown = figures
        .charge
        .as_ref()
        .map_or_else(String::new, |c| c.shown(AH));
    let share = |ah: f64| ah / target.to(AH).max(1e-12);
    let row = label("charge").and(
        Role::Strong,
        format!("{shown} of {} Ah  ", number(target.to(AH), 3)),
    );
    // The percents stand behind the bar; both go below where they do not fit.
    let room = width.saturating_sub(row.width() + 6);
    let drawn = |row: Row, room: usize| {
        let (measured, total) = (
            share(charges.measured.to(AH)),
            share(charges.total().to(AH)),
        );
        let cells = (width / 4).clamp(6, 30).min(room);
        row.and(Role::Metal, bar(cells, measured, total))
            .and(Role::Plain, format!(" {:.0} %", total * 100.0))
    };
    let mut rows = if room < 6 {
        vec![row, drawn(label(""), width.saturating_sub(17))]
    } else {
        vec![drawn(row, room)]
    };
    if let Some((role, told)) = tail(model, figures, charges) {
        let lines = wrapped(&told, width.saturating_sub(11)).into_iter();
        rows.extend(lines.map(|line| label("").and(role, line)));
    }
    let told = match (&figures.shares_ended, figures.share_by) {
        (Some(ended), _) => Some((Role::Soon, ended.as_str())),
        (None, Some(ShareBy::Field)) => Some((Role::Plain, "its share as the field predicts")),
        (None, _) => None,
    };
    if let Some((role, told)) = told {
        let lines = wrapped(told, width.saturating_sub(11)).into_iter();
        rows.extend(lines.map(|line| label("").and(role, line)));
    }
    rows
}

/// How much of the charge is estimated, and since when.
fn tail(model: &Model, figures: &PieceFigures, charges: &Charges) -> Option<(Role, String)> {
    let read = figures.read_at.map(|at| model.clock(at));
    let frozen = model.facts.due.iter().any(|d| {
        d.what == crate::project::DueKind::Reading
            && d.at <= model.now
            && (d.piece.as_deref() == Some(figures.name.as_str()) || d.piece.is_none())
            && d.tank.as_deref() == model.piece(&figures.name).and_then(|p| p.tank.as_deref())
    });
    let told = format!(
        "{} measured, ~{} estimated",
        number(charges.measured.to(AH), 3),
        number(charges.estimated.to(AH), 3)
    );
    match (frozen, read, charges.estimated.si() > 0.0) {
        (true, Some(read), _) => Some((
            Role::Alarm,
            format!("no reading since {read}: the estimate stands still"),
        )),
        (false, Some(read), true) => Some((Role::Plain, format!("{told}; read {read}"))),
        (_, None, true) => Some((Role::Plain, told)),
        _ => None,
    }
}

fn thickness(model: &Model, name: &str, figures: &PieceFigures, width: usize) -> Vec<Row> {
    let unit = model.project.definition.units.thickness();
    let Some(thickness) = &figures.thickness else {
        return vec![
            label("thickness").and(Role::Plain, "not known: no area, or its share is unknown"),
        ];
    };
    let wanted = model.project.definition.piece(name).map(|p| {
        model
            .project
            .definition
            .target_of(p)
            .words(model.project.definition.units)
    });
    let shown = label("thickness").and(Role::Strong, thickness.shown(unit));
    let wanted = format!("wanted {}", wanted.unwrap_or_default());
    let mut rows = if shown.width() + 7 + wanted.len() <= width {
        vec![shown.and(Role::Plain, format!(" mean; {wanted}"))]
    } else {
        let second = label("").and(Role::Plain, wanted);
        vec![shown.and(Role::Plain, " mean;"), second]
    };
    let local = figures.local().filter(|_| thickness.value.si() > 0.0);
    if let Some((least, most, kind)) = local {
        let sign = kind.sign();
        let told = format!(
            "{sign}{} to {sign}{} {} local, {}",
            number(least.to(unit), 2),
            number(most.to(unit), 2),
            unit.symbol,
            kind.word()
        );
        rows.push(label("").and(Role::Plain, told));
    }
    let (state, definition) = (model.project.state(), &model.project.definition);
    if let Some(stale) = state.stale_evenness(definition, name) {
        let lines = wrapped(&stale, width.saturating_sub(11)).into_iter();
        rows.extend(lines.map(|line| label("").and(Role::Soon, line)));
    }
    if let Some(behind) = model.facts.matching.behind.iter().find(|b| b.name == name) {
        rows.push(label("match").and(Role::Plain, super::holds::level(model, behind)));
    } else if model.facts.matching.thickest.as_deref() == Some(name)
        && !model.facts.matching.behind.is_empty()
    {
        rows.push(label("match").and(Role::Plain, "the thickest so far"));
    }
    rows
}

fn current(model: &Model, piece: &PieceState, figures: &PieceFigures) -> Vec<Row> {
    if piece.tank.is_none() {
        return Vec::new();
    }
    let none = figures.amps.is_some_and(|a| a.si() <= 0.0);
    let amps = figures.amps.filter(|_| !none).map_or_else(
        || if none { "no current" } else { "amps not known" }.to_owned(),
        |a| format!("{} A", number(a.to(A), 3)),
    );
    let read = figures
        .read_at
        .filter(|_| !none)
        .map_or_else(String::new, |at| format!(", read {}", model.clock(at)));
    let mut rows = vec![
        label("current")
            .and(Role::Strong, amps)
            .and(Role::Plain, read),
    ];
    rows.extend((!none).then(|| {
        match &figures.density {
            Some(density) => label("density")
                .and(
                    Role::Strong,
                    density.shown(model.project.definition.units.density()),
                )
                .and(
                    Role::Plain,
                    format!(": {}", density_word(density.value).say()),
                ),
            None => label("density").and(
                Role::Plain,
                "not known: it wants the coverage from a look, and amps",
            ),
        }
    }));
    if let Some(at) = figures.target_at {
        let told = format!("{} ({})", model.clock(at), model.distance(at));
        rows.push(
            label("target")
                .and(Role::Strong, told)
                .and(Role::Plain, " at the present current"),
        );
    }
    if let Some(next) = model
        .project
        .state()
        .next_step(&model.project.definition, &figures.name)
    {
        let setting = next.setting.map_or_else(String::new, |s| s.to_string());
        let told = format!(
            "step {} of {}, {setting} {}",
            next.step.number,
            next.step.of,
            model.distance(next.due)
        );
        rows.push(label("ladder").and(Role::Plain, told));
    }
    let coverage = piece.coverage.map_or_else(
        || "not seen yet".to_owned(),
        |c| format!("{:.0} % at the last look", c * 100.0),
    );
    rows.push(label("coverage").and(Role::Plain, coverage));
    rows
}

fn hold(model: &Model, figures: &PieceFigures) -> Vec<Row> {
    let Some(hold) = figures.hold else {
        return Vec::new();
    };
    let aged = super::holds::age(&hold);
    let (from, to) = hold.window();
    let (from, to) = (model.clock(from), model.clock(to));
    let end = match hold.word() {
        "sealed" => "ended by the seal".to_owned(),
        "early" => format!("seal {from} to {to}"),
        "now" => format!("seal now, until {to}"),
        _ => format!("late: the seal was due until {to}"),
    };
    vec![
        label("aged")
            .and(Role::Strong, aged)
            .and(Role::Plain, format!("; {end}")),
    ]
}

fn areas(model: &Model, figures: &PieceFigures, width: usize) -> Vec<Row> {
    let units = model.project.definition.units;
    let Some((wetted, plating)) = figures.wetted_area.as_ref().zip(figures.plating_area) else {
        let told = format!("not known: `tankside set`{}", or_edit(model));
        return vec![label("area").and(Role::Soon, told)];
    };
    let mut told = format!("{} wetted", wetted.shown(units.area()));
    if plating != wetted.value {
        told = format!("{told}, {} plating", units.show_area(plating));
    }
    if let Some(all) = figures.conductor_area.filter(|all| *all != plating) {
        told = format!("{told}, {} with wires", units.show_area(all));
    }
    let room = width.saturating_sub(11);
    let leads = std::iter::once("area").chain(std::iter::repeat(""));
    let lines = leads.zip(wrapped(&told, room));
    let mut rows: Vec<Row> = lines
        .map(|(lead, line)| label(lead).and(Role::Plain, line))
        .collect();
    let piece = model.project.definition.piece(&figures.name);
    if let Some((because, roughness)) =
        piece.and_then(|p| Some((p.roughness_because.as_deref()?, p.roughness)))
    {
        let told = format!("x{}: {because}", number(roughness, 3));
        let lines = wrapped(&told, room).into_iter();
        rows.extend(lines.map(|line| label("").and(Role::Plain, line)));
    }
    rows
}

fn balance(model: &Model, figures: &PieceFigures, width: usize) -> Vec<Row> {
    let Some(weighed) = weighing(&model.project.definition, model.project.state(), figures) else {
        return Vec::new();
    };
    let unit = model.project.definition.units.thickness();
    let mut rows = vec![
        label("balance")
            .and(Role::Strong, weighed.gained.shown(crate::units::G))
            .and(
                Role::Plain,
                format!(" gained: {}", weighed.thickness.shown(unit)),
            ),
    ];
    if let Some(efficiency) = &weighed.efficiency {
        let word = match weighed.plausible() {
            Some(false) => "; outside 95-101 %: water, wire, meter or area first",
            _ => "",
        };
        let told = format!("efficiency {}{word}", efficiency.shown(PERCENT));
        let lines = wrapped(&told, width.saturating_sub(11)).into_iter();
        rows.extend(lines.map(|line| label("").and(Role::Plain, line)));
    }
    rows
}

/// What is known of its print, and which key shows it.
fn print_told(model: &Model, name: &str, (width, theme): (usize, Theme)) -> Vec<Row> {
    let source = Source::of(&model.project.definition, name);
    let Some(source) = source else {
        return Vec::new();
    };
    let room = width.saturating_sub(11);
    let lines = |role: Role, text: &str| -> Vec<Row> {
        let lines = wrapped(text, room).into_iter();
        lines.map(|line| Row::of(role, line)).collect()
    };
    let way = model
        .key_of(Id::Print)
        .unwrap_or_else(|| model.way_to(Id::Print));
    let known = model.prints.of(name);
    let still = known.and_then(|known| known.still.as_deref());
    let mut rows = Vec::new();
    if let Some((step, done)) = known.and_then(|known| known.reading) {
        let told = format!("reading it: {step} ... {:.0} %", done * 100.0);
        rows.extend(lines(Role::Soon, &told));
    } else if let Some(fault) = known.and_then(|known| known.fault.as_ref()) {
        rows.extend(lines(Role::Alarm, fault));
    } else if model.is_stale(name) {
        let told = format!("stale: its file or masks are others now; {way}, then Enter");
        rows.extend(lines(Role::Soon, &told));
    } else if still.is_none() {
        rows.extend(lines(
            Role::Plain,
            &format!("{}; {way} draws it", source.file),
        ));
    }
    if let Some(still) = still {
        rows.extend(print::legend(
            model,
            still,
            (model.prints.still_dots(), false),
            (room, theme),
        ));
        for place in &still.places {
            rows.extend(lines(Role::Soon, &format!("! {place}")));
        }
        rows.extend(lines(
            Role::Plain,
            &match (still.places.len(), still.more_places) {
                (0, _) => format!("no hollow, no flaw; {way} turns it"),
                (_, 0) => format!("{way} turns it, then 0 goes to each"),
                (_, more) => format!("and {more} more; {way} turns it, then 0 goes to each"),
            },
        ));
    }
    let leads = std::iter::once("print").chain(std::iter::repeat(""));
    let rows = leads.zip(rows).map(|(lead, row)| label(lead).join(row));
    rows.collect()
}

fn gates(model: &Model, name: &str, piece: &PieceState, width: usize) -> Vec<Row> {
    let Some(stage) = &piece.stage else {
        return Vec::new();
    };
    let state = model.project.state();
    let when = if piece.started_at.is_some() {
        crate::project::When::End
    } else {
        crate::project::When::Start
    };
    let gates = state.gates_at(&model.project.definition, name, stage, when, model.now);
    if gates.is_empty() {
        return Vec::new();
    }
    let heading = format!("before its {} {}s", stage.title(), when.word());
    let mut rows = vec![Row::of(Role::Title, heading)];
    for gate in gates {
        let (role, mark) = if gate.held {
            (Role::Good, "x")
        } else {
            (Role::Soon, " ")
        };
        for (n, line) in wrapped(&gate.say, width.saturating_sub(4))
            .into_iter()
            .enumerate()
        {
            let lead = if n == 0 {
                format!("[{mark}] ")
            } else {
                "    ".to_owned()
            };
            rows.push(Row::of(role, lead).and(Role::Plain, line));
        }
    }
    rows
}

fn looks(model: &Model, piece: &PieceState, width: usize) -> Vec<Row> {
    let Some(look) = piece.looks.last() else {
        return Vec::new();
    };
    let mut rows = vec![Row::of(
        Role::Title,
        format!("last look {}", model.clock(look.at)),
    )];
    for finding in &look.findings {
        let role = if finding.kind.stops() {
            Role::Alarm
        } else {
            Role::Plain
        };
        rows.push(Row::of(role, finding.to_string()));
        let advice = finding.kind.advice().into_iter();
        let lines = advice.flat_map(|a| wrapped(a, width.saturating_sub(2)));
        rows.extend(lines.map(|l| Row::plain(format!("  {l}"))));
    }
    rows
}

/// What plating leaves of its joints; nothing of those without a size.
fn joints(model: &Model, name: &str, width: usize) -> Vec<Row> {
    let fits = model.project.definition.fits_of(name);
    let mut rows = Vec::new();
    for joint in fits.filter(|joint| joint.fit.is_some()) {
        if rows.is_empty() {
            rows.push(Row::of(Role::Title, "joints"));
        }
        let (role, mark) = if joint.is_in_doubt() {
            (Role::Soon, "! ")
        } else {
            (Role::Plain, "")
        };
        let told = format!("{mark}{}: {}", joint.name, joint.say);
        rows.extend(
            wrapped(&told, width)
                .into_iter()
                .map(|line| Row::of(role, line)),
        );
    }
    rows
}

fn marks(model: &Model, piece: &PieceState, width: usize) -> Vec<Row> {
    if piece.marks.is_empty() {
        return Vec::new();
    }
    let mut rows = vec![Row::of(Role::Title, "marks, for good")];
    for mark in piece.marks.iter().rev() {
        let gate = mark
            .gate
            .as_ref()
            .map_or_else(String::new, |g| format!(" of {g}"));
        let told = format!(
            "{} {}{gate}: {}",
            model.clock(mark.at),
            mark.kind.word(),
            mark.because
        );
        rows.extend(
            wrapped(&told, width)
                .into_iter()
                .map(|l| Row::of(Role::Soon, l)),
        );
    }
    rows
}

fn history(model: &Model, name: &str, width: usize) -> Vec<Row> {
    let mut rows = vec![Row::of(Role::Title, "history, latest first")];
    let events = model.project.events().of_piece(name).rev();
    for event in events.take(200) {
        let undone = if model.project.is_undone(event.sequence) {
            " (undone)"
        } else {
            ""
        };
        let reason = event
            .reason
            .as_ref()
            .map_or_else(String::new, |r| format!(" [{r}]"));
        let clock = model.clock(event.at);
        let told = format!("{}{reason}{undone}", event.what);
        let lead = 13.min(width / 2);
        for (n, line) in wrapped(&told, width.saturating_sub(lead))
            .into_iter()
            .enumerate()
        {
            let when = if n == 0 { clock.as_str() } else { "" };
            rows.push(
                Row::default()
                    .column(Role::Plain, when, lead)
                    .and(Role::Plain, line),
            );
        }
    }
    if rows.len() == 1 {
        let first = model
            .piece(name)
            .and_then(|p| p.stage.as_ref())
            .map_or("coat", Stage::word);
        rows.push(Row::plain(format!("nothing yet: + starts its {first}")));
    }
    rows
}
