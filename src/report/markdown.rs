//! Sheets to keep: the traveller of a piece and the close-out.

use std::fmt::Display;

use super::safe::plain_text;
use super::{cautions, told};
use crate::project::{
    CloseOut, ClosedItem, Definition, Event, MaySign, Piece, PieceFigures, PieceState, Project,
    Stage, State, What, Wire, weighing,
};
use crate::units::{G, Instant, MM, PERCENT, clock_span, number};

/// Text of any origin as Markdown that shows it and does nothing else: what is
/// unseen becomes an escape, what marks up gets a backslash. Addresses too: some
/// readers make a link of a bare one (GitHub Flavored Markdown, 6.9).
pub fn escaped(text: &str) -> String {
    let plain = plain_text(text);
    let digits = plain.bytes().take_while(u8::is_ascii_digit).count();
    let mut escaped = String::with_capacity(plain.len() + 8);
    for (index, character) in plain.char_indices() {
        let leads = match character {
            '-' | '+' | '=' => index == 0,
            ':' => index == 0 || plain[index..].starts_with("://"),
            '.' if is_www(&plain[..index]) => true,
            '.' | ')' => index > 0 && index == digits,
            _ => false,
        };
        if leads || r"\`*_{}[]<>#|~&!$^@".contains(character) {
            escaped.push('\\');
        }
        escaped.push(character);
    }
    escaped
}

fn is_www(before: &str) -> bool {
    let bytes = before.as_bytes();
    bytes.len() >= 3 && bytes[bytes.len() - 3..].eq_ignore_ascii_case(b"www")
}

/// A Markdown text under way.
#[derive(Debug, Default)]
struct Sheet(String);

impl Sheet {
    fn line(&mut self, text: impl Display) {
        self.0 += &text.to_string();
        self.0.push('\n');
    }

    fn heading(&mut self, text: &str) {
        self.line(format_args!("\n## {text}\n"));
    }

    fn item(&mut self, text: impl Display) {
        self.line(format_args!("- {text}"));
    }

    fn tick(&mut self, done: bool, text: impl Display) {
        self.line(format_args!("- [{}] {text}", if done { 'x' } else { ' ' }));
    }

    fn table(&mut self, heads: &[&str]) {
        self.row(heads.iter().map(|h| (*h).to_owned()));
        self.row(heads.iter().map(|_| "---".to_owned()));
    }

    fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let cells: Vec<String> = cells.into_iter().collect();
        self.line(format_args!("| {} |", cells.join(" | ")));
    }

    fn cautions(&mut self, lines: &[&str]) {
        self.heading("Cautions");
        for line in lines {
            self.item(line);
        }
        self.item(cautions::DEFERS);
        self.heading("First aid");
        for line in cautions::FIRST_AID {
            self.item(line);
        }
    }
}

/// The sheet that follows a piece: every stage, time, reading and remark up to
/// `now`. `None` if there is no such piece.
pub fn traveller(project: &Project, piece: &str, now: Instant) -> Option<String> {
    let definition = &project.definition;
    let state = project.state_at(now);
    let defined = definition.piece(piece)?;
    let at = state.piece(piece)?;
    let figures = PieceFigures::of(definition, &state, piece, now)?;
    let mut sheet = Sheet::default();
    sheet.line(format_args!("# Traveller: {}\n", escaped(piece)));
    header(&mut sheet, project, defined, now);
    sheet.heading("Now");
    figures_lines(&mut sheet, (definition, &state), &figures, at, now);
    weighing_lines(&mut sheet, project, &state, &figures);
    sheet.heading("Marks");
    if at.marks.is_empty() {
        sheet.line("none");
    }
    for mark in &at.marks {
        let gate = mark
            .gate
            .as_ref()
            .map_or_else(String::new, |g| format!(" of {}", escaped(g)));
        sheet.item(format_args!(
            "{} **{}**{gate}: {}",
            told::date_clock(definition, mark.at),
            mark.kind.word(),
            escaped(&mark.because)
        ));
    }
    stages(&mut sheet, project, at, now);
    events(&mut sheet, project, piece, now);
    Some(sheet.0)
}

fn header(sheet: &mut Sheet, project: &Project, piece: &Piece, now: Instant) {
    let definition = &project.definition;
    let units = definition.units;
    let area = |area| units.show_area(area);
    sheet.item(format_args!("Project: {}", escaped(&definition.name)));
    if !definition.object.is_empty() {
        sheet.item(format_args!("Object: {}", escaped(&definition.object)));
    }
    sheet.item(format_args!(
        "Metal: {}, efficiency {} %",
        definition.metal,
        number(definition.efficiency.to(PERCENT), 3)
    ));
    sheet.item(format_args!(
        "Target: {}",
        definition.target_of(piece).words(definition.units)
    ));
    match (
        piece.wetted_area(),
        piece.plating_area(),
        piece.conductor_area(),
    ) {
        (Some(wetted), Some(plating), Some(conductor)) => {
            let pm = 2.0 * piece.area_rel(&definition.uncertainty);
            sheet.item(format_args!(
                "Wetted area: {} \u{b1}{} (k = 2), {}",
                area(wetted),
                area(wetted * pm),
                piece
                    .area_method
                    .as_deref()
                    .map_or_else(|| "as given".to_owned(), escaped)
            ));
            sheet.item(format_args!(
                "Plating area: {} (roughness {}{}); with wires and thieves {}",
                area(plating),
                crate::units::plain(piece.roughness),
                piece
                    .roughness_because
                    .as_deref()
                    .map_or_else(String::new, |because| format!(": {}", escaped(because))),
                area(conductor)
            ));
        }
        _ => sheet.item("Wetted area: not known"),
    }
    let wires = |kind: &str, wires: &[Wire]| {
        let told: Vec<String> = wires
            .iter()
            .map(|w| format!("{} x {}", w.diameter.shown(MM, 2), w.length.shown(MM, 3)))
            .collect();
        (!told.is_empty()).then(|| format!("{kind}: {}", told.join(", ")))
    };
    let told = [
        wires("Wires", &piece.wires),
        wires("Thieves", &piece.thieves),
    ];
    for line in told.iter().flatten() {
        sheet.item(line);
    }
    if !piece.note.is_empty() {
        sheet.item(format_args!("Note: {}", escaped(&piece.note)));
    }
    sheet.item(format_args!(
        "Told at {}, times of {}",
        told::date_clock(definition, now),
        definition.zone.name()
    ));
}

fn figures_lines(
    sheet: &mut Sheet,
    (definition, state): (&Definition, &State),
    figures: &PieceFigures,
    at: &PieceState,
    now: Instant,
) {
    sheet.item(format_args!("Stage: {}", escaped(&told::stage(at))));
    let pm = figures.charge.as_ref().map_or_else(String::new, |c| {
        format!(" (\u{b1}{})", c.pm().shown(crate::units::AH, 2))
    });
    let share = told::share(figures).map_or_else(String::new, |share| format!("; {share}"));
    sheet.item(format_args!(
        "Charge: {}{pm}{share}",
        escaped(&told::charge(figures))
    ));
    if let Some(ended) = &figures.shares_ended {
        sheet.item(format_args!("{}", escaped(ended)));
    }
    let thickness = told::thickness(definition, figures);
    let thickness = thickness.as_deref().unwrap_or("not known");
    let local = told::local_range(definition, figures);
    let local = local.map_or_else(String::new, |l| format!("; locally {}", escaped(&l)));
    sheet.item(format_args!(
        "Mean thickness: {}{local}",
        escaped(thickness)
    ));
    if let Some(stale) = state.stale_evenness(definition, &figures.name) {
        sheet.item(format_args!("{}", escaped(&stale)));
    }
    if let Some(density) = &figures.density {
        let shown = density.shown(definition.units.density());
        sheet.item(format_args!("Current density: {}", escaped(&shown)));
    }
    if let Some(hold) = told::hold(definition, figures, now) {
        sheet.item(format_args!("Ageing hold: {hold}"));
    }
    sheet.line(format_args!("\n{}", escaped(told::LEGEND)));
}

fn weighing_lines(sheet: &mut Sheet, project: &Project, state: &State, figures: &PieceFigures) {
    let definition = &project.definition;
    let masses = state.piece(&figures.name).map(|p| p.masses.as_slice());
    let masses = masses.unwrap_or_default();
    if masses.is_empty() {
        return;
    }
    sheet.heading("Weighings");
    for (at, mass, condition) in masses {
        let at = told::date_clock(definition, *at);
        sheet.item(format_args!("{at} {} {condition}", mass.shown(G, 4)));
    }
    let Some(weighing) = weighing(definition, state, figures) else {
        return;
    };
    let unit = definition.units.thickness();
    sheet.item(format_args!("Gained {}", weighing.gained.shown(G)));
    sheet.item(format_args!(
        "That is {} in the mean",
        weighing.thickness.shown(unit)
    ));
    if let Some(efficiency) = &weighing.efficiency {
        sheet.item(format_args!("Efficiency {}", efficiency.shown(PERCENT)));
    }
    if weighing.plausible() == Some(false) {
        sheet.item(format_args!("**{}**", told::BLAME));
    }
}

fn stages(sheet: &mut Sheet, project: &Project, at: &PieceState, now: Instant) {
    let definition = &project.definition;
    sheet.heading("Stages");
    sheet.table(&["stage", "from", "to", "time less pauses"]);
    for span in &at.spans {
        let to = match span.to {
            Some(_) if span.skipped => "left out".to_owned(),
            Some(to) => told::date_clock(definition, to),
            None => at.stage_state.word().to_owned(),
        };
        let seconds = match span.to {
            Some(to) => Some(to.elapsed_since(span.from) - span.paused_s),
            None => at.stage_elapsed(now),
        };
        sheet.row([
            escaped(span.stage.title()),
            told::date_clock(definition, span.from),
            to,
            seconds.map_or_else(String::new, |s| clock_span(s.max(0.0))),
        ]);
    }
}

fn events(sheet: &mut Sheet, project: &Project, piece: &str, now: Instant) {
    let back_dated = project.back_dated();
    sheet.heading("Events");
    sheet.table(&["time", "who", "what", "remark"]);
    for event in of_piece(project, piece, now) {
        let mut remarks: Vec<String> = Vec::new();
        if let Some(reason) = &event.reason {
            remarks.push(format!(
                "override of {}: {reason}",
                event.overridden.join(", ")
            ));
        }
        if back_dated.contains(&event.sequence) {
            let recorded = told::date_clock(&project.definition, event.recorded);
            remarks.push(format!("back-dated, written down {recorded}"));
        }
        sheet.row([
            told::date_clock(&project.definition, event.at),
            escaped(&event.who),
            escaped(&event.what.to_string()),
            escaped(&remarks.join("; ")),
        ]);
    }
}

/// What holds of a piece in order of time: its own events, and what happened
/// to the tank it hung in while it hung there.
fn of_piece<'a>(project: &'a Project, piece: &str, now: Instant) -> Vec<&'a Event> {
    let definition = &project.definition;
    let route = definition.piece(piece).map(|p| definition.route_of(p));
    let route = route.unwrap_or_default();
    let stays = |stage: Option<&Stage>| {
        let next = stage.and_then(|s| route.iter().position(|r| r == s));
        next.and_then(|n| route.get(n + 1))
            .is_some_and(Stage::in_bath)
    };
    let undone = project.undone_sequences();
    let mut events: Vec<&Event> = project
        .events()
        .iter()
        .filter(|e| e.at <= now && !undone.contains(&e.sequence))
        .collect();
    events.sort_by_key(|e| (e.at, e.sequence));
    let mut hangs: Option<&str> = None;
    let mut stage: Option<&Stage> = None;
    let mut found = Vec::new();
    for event in events {
        let of_tank = match &event.what {
            What::Reading {
                tank, piece: None, ..
            }
            | What::Supply { tank, .. }
            | What::Bath { tank, .. }
            | What::Logger { tank, .. } => hangs == Some(tank.as_str()),
            _ => false,
        };
        let own = event.what.concerns(piece);
        if own || of_tank {
            found.push(event);
        }
        match &event.what {
            What::Start {
                stage: begun, tank, ..
            } if own => {
                stage = Some(begun);
                hangs = tank.as_deref().or(hangs);
            }
            What::Finish { .. } if own && !stays(stage) => hangs = None,
            What::Skip {
                stage: left_out, ..
            } if own && !stays(Some(left_out)) => hangs = None,
            What::Rework { .. } if own => hangs = None,
            _ => {}
        }
    }
    found
}

/// The close-out sheet: as it was signed, if nothing was ticked since; else a
/// draft of the evening that is not closed yet.
pub fn closeout_sheet(project: &Project, now: Instant) -> String {
    let definition = &project.definition;
    let state = project.state_at(now);
    let mut sheet = Sheet::default();
    sheet.line(format_args!("# Close-out: {}\n", escaped(&definition.name)));
    let signed = state.signed.as_ref().filter(|_| state.ticked.is_empty());
    let signed = signed.and_then(|(sequence, at, by)| {
        let items = signed_items(project, *sequence)?;
        Some((items, told::date_clock(definition, *at), escaped(by)))
    });
    if let Some((items, at, by)) = signed {
        closed_items(&mut sheet, project, items);
        sheet.line(format_args!("\nSigned {at} by {by}."));
    } else {
        draft(&mut sheet, project, &state, now);
    }
    sheet.cautions(cautions::GENERAL);
    sheet.0
}

/// The evening as it stands, with room for a signature.
fn draft(sheet: &mut Sheet, project: &Project, state: &State, now: Instant) {
    let closeout = CloseOut::of(&project.definition, state, now);
    let at = told::date_clock(&project.definition, now);
    sheet.line(format_args!("**Draft of {at}, not signed.**"));
    closed_items(sheet, project, &closeout.sheet());
    let told = match &closeout.may_sign {
        MaySign::Yes(None) => "It may be signed.".to_owned(),
        MaySign::Yes(Some(because)) => format!("It may be signed: {}.", escaped(because)),
        MaySign::No(because) => format!("It may not be signed: {}.", escaped(because)),
    };
    sheet.line(format_args!("\n{told}\n\nSignature: {}", "\\_".repeat(20)));
}

fn signed_items(project: &Project, sequence: u64) -> Option<&[ClosedItem]> {
    let event = project.event(sequence)?;
    match &event.what {
        What::CloseoutSign { sheet } => Some(sheet),
        _ => None,
    }
}

fn closed_items(sheet: &mut Sheet, project: &Project, items: &[ClosedItem]) {
    for (tank_side, heading) in [(true, "Tank side"), (false, "Paper side")] {
        sheet.heading(heading);
        for item in items.iter().filter(|i| i.tank_side == tank_side) {
            let by = match (&item.by, item.at) {
                (Some(by), Some(at)) => {
                    let at = told::date_clock(&project.definition, at);
                    format!(" ({}, {at})", escaped(by))
                }
                _ => String::new(),
            };
            sheet.tick(item.done, format_args!("{}{by}", escaped(&item.text)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_of_people_marks_nothing_up() {
        // Backslash escapes of ASCII punctuation: CommonMark 0.31, 2.4.
        assert_eq!(escaped("a|b"), r"a\|b");
        assert_eq!(escaped("`x` *y* _z_"), r"\`x\` \*y\* \_z\_");
        assert_eq!(escaped("[a](b) <i>"), r"\[a\](b) \<i\>");
        assert_eq!(escaped("# head"), r"\# head");
        assert_eq!(escaped("- item"), r"\- item");
        assert_eq!(escaped("12. item"), r"12\. item");
        assert_eq!(escaped("http://a.b"), r"http\://a.b");
        assert_eq!(escaped("see WWW.a.b"), r"see WWW\.a.b");
        assert_eq!(escaped("two\nlines"), r"two\\nlines");
        assert_eq!(escaped("\u{1b}[1m\u{202e}"), r"\\u\{1b\}\[1m\\u\{202e\}");
        assert_eq!(escaped("frond-1, 6.84 dm2"), "frond-1, 6.84 dm2");
    }
}
