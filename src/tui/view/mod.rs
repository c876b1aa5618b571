//! Drawing: a model goes in, cells come out.
//!
//! Every screen has the same frame: a head line, the due list, the screen
//! itself, what was last said, and the keys. What lies on top of a screen
//! takes the screen's place and leaves the due list where it is.

mod adding;
mod changing;
mod closeout;
mod due;
mod export;
mod far;
mod help;
mod hints;
mod holds;
mod layers;
mod line;
mod masking;
mod pen;
mod piece;
mod print;
mod scale;
mod spread;
mod theme;
mod typing;
mod vessel;

use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

pub use export::written;
pub use theme::{Colours, Role, Theme};

use crate::report::safe::fitted;
use crate::tui::app::{Id, Layer, Model, Screen, commands};
use crate::tui::picture::Image;
use crate::units::Instant;
use pen::{Pen, Row, line_of, wrapped};

/// The least size that is drawn, columns and lines.
pub const LEAST: (u16, u16) = (40, 12);

/// Whether a width is too narrow for sentences beside figures.
fn is_narrow(width: usize) -> bool {
    width < 72
}

/// `, or key e`, where a key opens the user's editor.
fn or_edit(model: &Model) -> String {
    let key = model.key_of(Id::Edit);
    key.map_or_else(String::new, |key| format!(", or key {key}"))
}

/// What a screen without a piece to show says.
fn how_to_begin(model: &Model) -> String {
    let key = model.key_of(Id::Show(Screen::Line));
    let key = key.map_or_else(String::new, |key| format!(", key {key},"));
    format!("no piece yet: Line{key} says how to add one")
}

/// Draws the model. Figures are those of the model's last message; `now` only
/// tells the clock.
pub fn draw(model: &Model, theme: &Theme, now: Instant, frame: &mut Frame<'_>) {
    paint(model, theme, now, frame.buffer_mut());
}

/// Draws the model on all of a buffer that is empty.
pub fn paint(model: &Model, theme: &Theme, now: Instant, buffer: &mut Buffer) {
    let area = buffer.area;
    let mut pen = Pen::new(buffer, *theme);
    if area.width < LEAST.0 || area.height < LEAST.1 {
        too_small(model, &mut pen, area);
        return;
    }
    if let Some(Layer::Far) = model.layers.last() {
        far::draw(model, &mut pen, area);
        return;
    }
    head(model, &mut pen, line_of(area, 0), now);
    let due_lines = due_lines(model, area);
    let list = Rect {
        y: 1,
        height: due_lines,
        ..area
    };
    due::draw(model, &mut pen, list);
    let (said_row, said_lines) = said(model, area);
    let body = body(model, area);
    match model.layers.last() {
        None | Some(Layer::Locked(_)) => screen(model, &mut pen, body),
        Some(Layer::Print(showing)) => print::draw(model, showing, &mut pen, body),
        Some(Layer::Spread(showing)) => spread::picture(model, showing, &mut pen, body),
        Some(layer) => layers::draw(model, layer, &mut pen, body),
    }
    let said_area = Rect {
        y: area.y + area.height - 1 - said_lines,
        height: said_lines,
        ..area
    };
    pen.rows(said_area, &said_row);
    hints(model, &mut pen, line_of(area, usize::from(area.height) - 1));
}

/// How many lines the due list has: a print wants the room.
fn due_lines(model: &Model, area: Rect) -> u16 {
    let lines = due::lines(area.height);
    match model.layers.last() {
        Some(Layer::Print(_) | Layer::Spread(_)) if area.height < 16 => lines.min(2),
        Some(Layer::Print(_) | Layer::Spread(_)) => lines.min(3),
        _ => lines,
    }
}

/// Where the screen itself is, between the due list and what was last said.
fn body(model: &Model, area: Rect) -> Rect {
    let (due_lines, (_, said_lines)) = (due_lines(model, area), said(model, area));
    Rect {
        y: 1 + due_lines,
        height: area.height - due_lines - 2 - said_lines,
        ..area
    }
}

/// Whether the Piece screen has room for a picture of the print.
pub fn has_room(area: Rect) -> bool {
    area.width >= 120 && area.height >= 40
}

/// Where the terminal's own picture of a print belongs, if one is to be drawn.
pub fn picture_place(model: &Model, theme: &Theme, area: Rect) -> Option<Rect> {
    let is_drawn = area.width >= LEAST.0 && area.height >= LEAST.1;
    match model.layers.last() {
        Some(Layer::Print(showing)) if is_drawn => {
            print::place(model, showing, (body(model, area), *theme))
        }
        Some(Layer::Spread(showing)) if is_drawn => {
            spread::place(model, showing, body(model, area))
        }
        _ => None,
    }
}

/// The terminal's own picture, so many dots wide and high.
pub fn picture(model: &Model, theme: &Theme, size: (usize, usize)) -> Option<Image> {
    match model.layers.last() {
        Some(Layer::Print(showing)) => print::image(model, showing, *theme, size),
        Some(Layer::Spread(showing)) => spread::image(model, showing, size),
        _ => None,
    }
}

/// One sentence that names the size that is wanted, with what is wrong and what
/// is due where that fits; the size alone where nothing else does.
fn too_small(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let wanted = format!("{}x{}", LEAST.0, LEAST.1);
    let told = format!(
        "tankside wants {wanted}; this is {}x{}",
        area.width, area.height
    );
    let due = model.facts.due.first().map(|due| {
        let distance = model.distance(due.at);
        format!("; due: {} {} {distance}", due.what.word(), due.place())
    });
    let due = due.unwrap_or_default();
    let wrong = model.wrong().map(|wrong| format!("! {wrong}; "));
    let wrong = wrong.unwrap_or_default();
    let lines = |text: String| wrapped(&text, usize::from(area.width));
    let fits = |lines: &Vec<String>| lines.len() <= usize::from(area.height);
    let texts = [
        format!("{wrong}{told}{due}"),
        format!("{wrong}{told}"),
        format!("{told}{due}"),
        told,
    ];
    let mut texts = texts.into_iter().map(lines);
    let lines = texts.find(fits).unwrap_or(vec![wanted]);
    let rows: Vec<Row> = lines.into_iter().map(Row::plain).collect();
    pen.rows(area, &rows);
}

fn head(model: &Model, pen: &mut Pen<'_>, area: Rect, now: Instant) {
    let definition = &model.project.definition;
    let local = definition.zone.local(now);
    let clock = if is_narrow(usize::from(area.width)) {
        local.clock()
    } else {
        format!("{} {}", local.day(), local.clock())
    };
    let narrow = is_narrow(usize::from(area.width));
    let mut tabs = Row::default();
    for screen in Screen::ALL {
        if screen == model.screen {
            tabs = tabs.and(Role::Title, format!("[{}]", screen.title()));
        } else if !narrow {
            tabs = tabs.and(Role::Plain, format!(" {} ", screen.title()));
        }
    }
    let width = usize::from(area.width);
    let room = width.saturating_sub(tabs.width() + clock.len() + 3);
    let name = fitted(&definition.name, room);
    pen.row(area, &Row::of(Role::Strong, name));
    let tabs_at = width.saturating_sub(tabs.width() + clock.len() + 2);
    let right = |skip: usize| {
        let skip = u16::try_from(skip).unwrap_or(0).min(area.width);
        Rect {
            x: area.x + skip,
            width: area.width - skip,
            ..area
        }
    };
    pen.row(right(tabs_at), &tabs);
    pen.row(
        right(width.saturating_sub(clock.len())),
        &Row::of(Role::Strong, clock),
    );
}

fn screen(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    match model.screen {
        Screen::Line => line::draw(model, pen, area),
        Screen::Piece => piece::draw(model, pen, area),
        Screen::Spread => spread::draw(model, pen, area),
        Screen::Holds => holds::draw(model, pen, area),
        Screen::CloseOut => closeout::draw(model, pen, area),
    }
}

/// What was last said and what is wrong, and how many lines that takes: what
/// went wrong is told to its end where there is room.
fn said(model: &Model, area: Rect) -> (Vec<Row>, u16) {
    let said = Some(model.said.text.as_str()).filter(|text| !text.is_empty());
    let said = said.filter(|_| !model.said.alarm);
    let layer = model.layers.last();
    let told = match (layer, said) {
        (Some(Layer::Locked(_)), _) => Some(Row::of(
            Role::Alarm,
            "keyboard locked for wiping: 7, then 3, then Enter unlocks",
        )),
        (_, Some(said)) => Some(Row::of(Role::Good, said)),
        (None, None) if model.bell_rings() && model.wrong().is_none() => Some(Row::plain(format!(
            "{} silences the bell",
            model.way_to(Id::Silence)
        ))),
        _ => None,
    };
    // What lies on top keeps its room.
    let most = match layer {
        Some(_) => 2,
        None => usize::from(area.height / 4).clamp(1, 6),
    };
    let mut rows: Vec<Row> = told.into_iter().collect();
    rows.extend(wrong(model, usize::from(area.width), most));
    let lines = u16::try_from(rows.len()).unwrap_or(1).max(1);
    (rows, lines)
}

/// What is wrong, in at most so many lines; a cut is seen.
fn wrong(model: &Model, width: usize, most: usize) -> Vec<Row> {
    let text = model.wrong().unwrap_or_default();
    let mut lines = wrapped(text, width.saturating_sub(2));
    if text.is_empty() {
        return Vec::new();
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            last.push_str(" \u{2026}");
        }
    }
    let lead = |n| if n == 0 { "! " } else { "  " };
    let rows = lines.into_iter().enumerate();
    rows.map(|(n, line)| Row::of(Role::Alarm, format!("{}{line}", lead(n))))
        .collect()
}

/// The keys of the moment, from the command table or from what lies on top.
fn hints(model: &Model, pen: &mut Pen<'_>, area: Rect) {
    let mut row = Row::default();
    let pairs: Vec<(String, &str)> = match model.layers.last() {
        Some(layer) => hints::hints(model, layer)
            .into_iter()
            .map(|(key, hint)| (key.to_owned(), hint))
            .collect(),
        None => commands()
            .iter()
            .filter(|c| c.on(model.screen) && !c.hint_now(model).is_empty())
            .filter(|c| c.can(model).is_ok())
            .filter_map(|c| Some((model.keys.of(c).first()?.name(), c.hint_now(model))))
            .collect(),
    };
    let taken = |(key, hint): &(String, &str)| key.len() + hint.len() + 3;
    // The way back, on a screen the help, is shown whatever else there is no
    // room for.
    let back = |(key, hint): &(String, &str)| match model.layers.last() {
        Some(_) => key == "-" || key == "Esc",
        None => *hint == "help",
    };
    let back = pairs.iter().rposition(back);
    for (n, pair) in pairs.iter().enumerate() {
        let kept = back.filter(|back| n < *back);
        let kept = kept.map_or(0, |back| taken(&pairs[back]));
        if row.width() + taken(pair) + kept > usize::from(area.width) {
            continue;
        }
        let (key, hint) = pair;
        row = row
            .and(Role::Key, key)
            .and(Role::Plain, format!(" {hint}  "));
    }
    pen.row(area, &row);
}
