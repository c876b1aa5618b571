//! What the commands print for people: plain text, at most 80 columns but for
//! whole commands, which stay in one piece to be copied.

use super::charge::Asked;
use super::safe::{cell, excerpt, fit, pad, pad_left, plain_text, wrapped};
use super::{cautions, told};
use crate::plating::density_word;
use crate::project::{
    CloseOut, Definition, Due, Match, MaySign, PieceFigures, Project, Side, State, TankFigures,
};
use crate::units::{A, AH, G, H, Instant, UM, V, number, plain};

/// Columns of a printed page and of a plain terminal.
pub const COLUMNS: usize = 80;

/// Of one text no more is printed than this, in bytes; JSON, CSV and the
/// traveller hold all of it.
pub(super) const PRINTED: usize = 16 * 1024;

/// Lines of text, each ended.
#[derive(Debug, Default)]
struct Page(String);

impl Page {
    fn line(&mut self, text: &str) {
        self.0.push_str(text.trim_end());
        self.0.push('\n');
    }

    /// Text of any length, its further lines indented like the first is led.
    fn led(&mut self, lead: &str, text: &str) {
        let indent = super::safe::columns(lead);
        let text = excerpt(text, PRINTED);
        for (n, line) in wrapped(&text, COLUMNS.saturating_sub(indent))
            .iter()
            .enumerate()
        {
            let lead = if n == 0 { lead } else { "" };
            self.line(&format!("{}{line}", pad(lead, indent)));
        }
    }

    fn heading(&mut self, text: &str) {
        self.line("");
        self.line(text);
    }
}

/// Line as text: first what is due, then the tanks, then the pieces.
pub fn status_text(project: &Project, now: Instant) -> String {
    let definition = &project.definition;
    let state = project.state_at(now);
    let figures = PieceFigures::all(definition, &state, now);
    let mut page = Page::default();
    let local = definition.zone.local(now);
    let clock = format!("{} {}", local.day(), local.clock());
    let name = cell(&definition.name, COLUMNS - clock.len() - 1);
    page.line(&format!("{name} {clock}"));
    page.led(
        "",
        &format!(
            "{}, {}",
            definition.metal,
            definition.target.words(definition.units)
        ),
    );
    page.heading("Due");
    let due = state.due(definition, now);
    if due.is_empty() {
        page.line("  nothing");
    }
    for due in &due {
        page.led(&due_lead(definition, due, now), &due.say);
    }
    page.heading("Tanks");
    for tank in TankFigures::all(definition, &state, now) {
        tank_lines(&mut page, (definition, &state), &tank, now);
    }
    page.heading("Pieces");
    if figures.is_empty() {
        page.line("  none yet: tankside add DIR PIECE --area 6.84dm2");
    }
    for piece in &figures {
        piece_lines(&mut page, definition, &state, piece, now);
    }
    match_lines(&mut page, definition, &figures, now);
    page.line("");
    page.line(told::LEGEND);
    page.0
}

fn due_lead(definition: &Definition, due: &Due, now: Instant) -> String {
    let clock = told::clock(definition, due.at, now);
    let over = told::overdue(due.overdue_s(now));
    format!("  {} {} ", cell(&clock, 9), cell(&over, 15))
}

fn tank_lines(
    page: &mut Page,
    (definition, state): (&Definition, &State),
    tank: &TankFigures,
    now: Instant,
) {
    let unknown = || "?".to_owned();
    let volts = tank.volts.map_or_else(unknown, |v| v.shown(V, 3));
    let amps = tank.amps.map_or_else(unknown, |a| a.shown(A, 3));
    let supply = if tank.on {
        format!("{} {volts} {amps}", tank.mode.map_or("on", |m| m.word()))
    } else {
        "no current".to_owned()
    };
    let charge = format!("{} so far", tank.charge.shown(AH, 3));
    let name = cell(&tank.name, 16);
    page.line(&format!("  {name} {} {charge}", cell(&supply, 26)));
    for name in &tank.pieces {
        let Some(piece) = state.piece(name) else {
            continue;
        };
        let place = piece.lifted_at.map_or_else(
            || "in".to_owned(),
            |lifted| {
                format!(
                    "lifted, out {}",
                    crate::units::clock_span(now.elapsed_since(lifted))
                )
            },
        );
        page.line(&format!("    {} {place}", cell(name, 14)));
    }
    if tank.pieces.is_empty() {
        page.line("    nothing hangs in it");
    }
    let left_out = state.tank(&tank.name).map(|t| t.left_out.as_slice());
    for warning in left_out.unwrap_or_default() {
        page.led("    ! ", warning);
    }
    if let Some(ended) = state.shares_ended(definition, &tank.name, now) {
        page.led("    ! ", &ended);
    }
}

fn piece_lines(
    page: &mut Page,
    definition: &Definition,
    state: &State,
    figures: &PieceFigures,
    now: Instant,
) {
    let Some(at) = state.piece(&figures.name) else {
        return;
    };
    let thickness = told::thickness(definition, figures).unwrap_or_else(|| "?".to_owned());
    let first = format!(
        "  {} {} {} {thickness}",
        cell(&figures.name, 15),
        cell(&told::stage(at), 23),
        pad(&told::charge(figures), 19)
    );
    page.line(&fit(&first, COLUMNS));
    let mut more: Vec<String> = Vec::new();
    more.extend(told::local_range(definition, figures).map(|r| format!("locally {r}")));
    more.extend(state.stale_evenness(definition, &figures.name));
    more.extend(told::share(figures).map(str::to_owned));
    more.extend(figures.density.as_ref().map(|d| {
        let shown = d.shown(definition.units.density());
        format!("{shown}, {}", density_word(d.value).say())
    }));
    more.extend(told::hold(definition, figures, now));
    more.extend(at.turn.as_ref().map(|t| format!("hangs {t}")));
    if !at.marks.is_empty() {
        more.push(told::counted(at.marks.len(), "mark"));
    }
    if !more.is_empty() {
        page.led(&" ".repeat(18), &more.join("; "));
    }
}

fn match_lines(page: &mut Page, definition: &Definition, figures: &[PieceFigures], now: Instant) {
    let matched = Match::of(definition, figures);
    let mut told: Vec<String> = Vec::new();
    told.extend(matched.thickness_spread.as_ref().map(|spread| {
        let shown = spread.shown(definition.units.thickness());
        format!("thickness differs by {shown}")
    }));
    told.extend(matched.age_spread.map(|spread| {
        let span = crate::units::clock_span(spread.si());
        format!("age differs by {span}")
    }));
    told.extend(matched.visit.map(|(from, to)| {
        let [from, to] = [from, to].map(|at| told::clock(definition, at, now));
        format!("all may be sealed between {from} and {to}")
    }));
    if matched.finishes_differ {
        told.push("finishes differ: hours do not compare".to_owned());
    }
    if !told.is_empty() {
        page.heading("Match");
        page.led("  ", &told.join("; "));
    }
}

/// The gates of a piece, each with the command that would satisfy it.
pub fn gates_text(project: &Project, piece: &str, now: Instant, folder: &str) -> String {
    let state = project.state_at(now);
    let mut page = Page::default();
    let mut last = String::new();
    for gate in state.gates(&project.definition, piece, now) {
        let end = format!("{} {}", gate.when.word(), gate.stage.title());
        if end != last {
            page.line(&plain_text(&end));
            last = end;
        }
        let tick = if gate.held { "[x]" } else { "[ ]" };
        page.led(&format!("  {tick} {} ", cell(&gate.gate, 14)), &gate.say);
        if let Some(command) = gate.satisfy_with {
            let line = command.line(folder);
            page.line(&format!("{}{}", " ".repeat(21), plain_text(&line)));
        }
    }
    page.0
}

/// Every event, or those of one piece.
pub fn history_text(project: &Project, piece: Option<&str>) -> String {
    let (undone, back_dated) = (project.undone_sequences(), project.back_dated());
    let mut page = Page::default();
    for event in project
        .events()
        .iter()
        .filter(|e| piece.is_none_or(|p| e.what.concerns(p)))
    {
        let number = pad_left(&format!("#{}", event.sequence), 5);
        let at = told::date_clock(&project.definition, event.at);
        let mut what = vec![event.what.to_string()];
        if let Some(reason) = &event.reason {
            let gates = event.overridden.join(", ");
            what.push(format!("(override of {gates}: {reason})"));
        }
        if back_dated.contains(&event.sequence) {
            let recorded = told::date_clock(&project.definition, event.recorded);
            what.push(format!("(back-dated, written down {recorded})"));
        }
        if undone.contains(&event.sequence) {
            what.push("(undone)".to_owned());
        }
        page.led(
            &format!("{number} {at} {} ", cell(&event.who, 10)),
            &what.join(" "),
        );
    }
    if page.0.is_empty() {
        page.line("nothing has been recorded yet");
    }
    page.0
}

/// The close-out as it stands.
pub fn closeout_text(project: &Project, now: Instant) -> String {
    let definition = &project.definition;
    let state = project.state_at(now);
    let closeout = CloseOut::of(definition, &state, now);
    let mut page = Page::default();
    for (side, heading) in [(Side::Tank, "Tank side"), (Side::Paper, "Paper side")] {
        page.line(heading);
        for item in closeout.items.iter().filter(|i| i.side == side) {
            let tick = if item.done { "[x]" } else { "[ ]" };
            let by = item.ticked.as_ref().map_or_else(String::new, |(who, at)| {
                format!(" ({who}, {})", told::clock(definition, *at, now))
            });
            page.led(
                &format!("  {tick} {} ", cell(&item.id, 12)),
                &format!("{}{by}", item.text),
            );
        }
        page.line("");
    }
    page.led(
        "",
        &match &closeout.may_sign {
            MaySign::Yes(None) => "It may be signed.".to_owned(),
            MaySign::Yes(Some(because)) => format!("It may be signed: {because}."),
            MaySign::No(because) => format!("It may not be signed: {because}."),
        },
    );
    if let Some((_, at, by)) = &state.signed {
        let at = told::date_clock(definition, *at);
        page.led("", &format!("Last signed {at} by {by}."));
    }
    page.0
}

/// What `charge` was asked, and its answer.
pub fn charge_text(asked: &Asked) -> String {
    let deposit = asked.deposit();
    let metal = &asked.metal;
    let mut page = Page::default();
    let mut row = |name: &str, value: String| page.line(&format!("{} {value}", pad(name, 10)));
    row("charge", deposit.charge.shown(AH, 4));
    row("mass", deposit.mass.shown(G, 4));
    row(
        "thickness",
        format!("{} mean", deposit.thickness.shown(UM, 4)),
    );
    row(
        "time",
        deposit
            .time
            .map_or_else(|| "give --density or --amps".to_owned(), |t| t.shown(H, 3)),
    );
    row(
        "metal",
        format!(
            "{}: {}, {} electrons, {} g/mol, {} g/cm3",
            metal.name,
            metal.symbol,
            metal.electrons,
            plain(metal.molar_mass_g_mol),
            plain(metal.density_g_cm3)
        ),
    );
    row(
        "efficiency",
        format!("{} %", number(asked.efficiency.si() * 100.0, 3)),
    );
    if metal.cyanide {
        page.led("! ", cautions::CYANIDE);
        page.led("! ", cautions::DEFERS);
    }
    page.0
}
