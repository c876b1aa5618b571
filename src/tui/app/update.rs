//! What a message does to the model.

use super::layer::Then;
use super::{
    Command, Effect, Failure, Id, Key, KeyCode, Keymap, Layer, Menu, Message, Model, Notice,
    Screen, Spot, Step, Task, Upkeep, guide,
};
use crate::project::{Mode, Silence, What};
use crate::report::safe::plain_text;
use crate::units::Instant;

/// What a silence means.
const SILENT: &str = "no more notices until something new is due";

/// Takes a message in; what the shell shall do comes out.
pub fn update(model: &mut Model, message: Message, now: Instant) -> Vec<Effect> {
    model.advance(now);
    let mut effects = match message {
        Message::Key(key) => {
            super::inside::key(model, key).unwrap_or_else(|| on_screen(model, key))
        }
        Message::Paste(text) => {
            super::inside::paste(model, &text);
            Vec::new()
        }
        Message::Tick => Vec::new(),
        Message::Project(project) => {
            let first = model.facts.pieces.is_empty();
            model.project = *project;
            if model.said.mendable {
                model.said = super::Said::default();
            }
            if first && model.layers.is_empty() {
                // Only a tank could be selected: now there is a piece to begin with.
                model.spot = None;
            }
            model.refresh();
            model.refresh_layers();
            Vec::new()
        }
        Message::Recorded(result) if super::typing::waits(model) => {
            super::typing::recorded(model, result)
        }
        Message::Recorded(result) => {
            model.recorded(result);
            Vec::new()
        }
        Message::Notice(text) => {
            model.say(text);
            Vec::new()
        }
        Message::Warned(text) => {
            model.trouble(text);
            Vec::new()
        }
        Message::Silenced(silences) => {
            heed(model, silences);
            Vec::new()
        }
        Message::Told(told) => {
            model.told = told;
            Vec::new()
        }
        Message::Stopped(text) => {
            model.stopped = Some(text);
            Vec::new()
        }
        Message::Failed(Failure::Refused(refusal)) => {
            model.alarm(refusal.because);
            Vec::new()
        }
        Message::Failed(Failure::Trouble { message, remedy }) => {
            model.trouble(format!("{message}; {remedy}"));
            Vec::new()
        }
        Message::Adding(ticket, news) => super::adding::news(model, ticket, news),
        Message::Keys(keys) => {
            take_keys(model, keys);
            Vec::new()
        }
        Message::PrintAt { piece, step, done } => {
            model.prints.at(&piece, step, done);
            Vec::new()
        }
        Message::PrintRead { piece, result } => {
            model.print_read(&piece, result);
            Vec::new()
        }
        Message::MasksSurveyed { piece, result } => super::masking::surveyed(model, &piece, result),
        Message::MasksWritten(done, result) => {
            super::masking::written(model, &done, result);
            Vec::new()
        }
        Message::PrintChanged(piece) => {
            model.prints.changed(&piece);
            Vec::new()
        }
        Message::SceneEdited(edit, result) => super::changing::edited(model, &edit, result),
        news @ (Message::SpreadAt { .. }
        | Message::SpreadSolved { .. }
        | Message::SpreadChanged(_)) => {
            model.spreads.news(news);
            Vec::new()
        }
        Message::Pictures(pictures) => {
            model.prints.pictures = pictures;
            Vec::new()
        }
        Message::Room(roomy) => {
            model.prints.roomy = roomy;
            Vec::new()
        }
    };
    effects.extend(model.read_for_still());
    effects.extend(notify(model, now));
    effects
}

/// The notice that is to go out now, if one is.
fn notify(model: &mut Model, now: Instant) -> Option<Effect> {
    let (due, ring) = model.bell.ring(model.facts.overdue(), now)?;
    let notice = Notice::of(&model.project, due, now, ring)?;
    Some(Effect::Notify(Box::new(notice)))
}

/// What another program silenced is said once.
fn heed(model: &mut Model, silences: Vec<Silence>) {
    let new = model.bell.heed(silences);
    let due = |s: &&Silence| model.facts.overdue().any(|due| s.holds(due));
    if let Some(silence) = new.iter().rfind(due) {
        let by = match silence.who.as_str() {
            "" => String::new(),
            who => format!(" by {who}"),
        };
        let told = format!("silenced{by} at {}: {SILENT}", model.clock(silence.at));
        model.say(told);
    }
}

/// New keys hold at once; with bad ones the last good keys stay.
fn take_keys(model: &mut Model, keys: Result<Keymap, String>) {
    match keys {
        Ok(keys) => {
            model.keys = keys;
            model.keys_fault = None;
            let help = model.key_of(Id::Help).unwrap_or_default();
            model.say(format!(
                "the keys are as keys.ron says now; {help} tells them"
            ));
            model.refresh_layers();
        }
        Err(fault) => {
            model.keys_fault = Some(fault);
            model.said = super::Said::default();
        }
    }
}

/// A key while nothing lies on top of the screen.
fn on_screen(model: &mut Model, key: Key) -> Vec<Effect> {
    let Some(command) = model.keys.command_of(key, model.screen) else {
        let help = model.key_of(Id::Help).unwrap_or_default();
        model.say(format!(
            "{} does nothing here; {help} tells what does",
            key.name()
        ));
        return Vec::new();
    };
    model.said = super::Said::default();
    carry_out(model, command, key)
}

fn carry_out(model: &mut Model, command: &Command, key: Key) -> Vec<Effect> {
    if let Err(why) = command.can(model) {
        model.say(why);
        return Vec::new();
    }
    run(model, command.id, key)
}

/// Carries out a command that a menu chose.
pub(super) fn run(model: &mut Model, id: Id, key: Key) -> Vec<Effect> {
    match id {
        Id::Deal => deal(model, model.due_row),
        Id::DealRow(row) => deal(model, row),
        Id::Actions if model.screen == Screen::Spread => super::changing::open(model),
        Id::Actions => model.open_menu(model.spot.clone()),
        Id::PlaceUp => step_rows(model, false),
        Id::PlaceDown => step_rows(model, true),
        Id::PlaceBack => step_spots(model, false),
        Id::PlaceOn => step_spots(model, true),
        Id::Choose => return choose(model, key),
        Id::NextScreen => show(model, step_screen(model.screen, true)),
        Id::PreviousScreen => show(model, step_screen(model.screen, false)),
        Id::Show(screen) => show(model, screen),
        Id::Reading => open_at_tank(model, |_| Upkeep::Reading),
        Id::Supply => open_at_tank(model, |mode| match mode {
            Some(Mode::Cc) => Upkeep::SetAmps,
            _ => Upkeep::SetVolts,
        }),
        Id::Print => return model.open_print(),
        Id::Note => {
            if let Some(name) = model.selected_piece().map(str::to_owned) {
                model.open(Task::Piece(name, super::Deed::Note), false);
            }
        }
        Id::Mark => mark(model),
        Id::Refresh => {
            let pieces = model.marked.iter().cloned().collect();
            model.open(Task::Refresh(pieces), false);
        }
        Id::Tick => return tick(model, model.item_row),
        Id::Sign => ask_sign(model),
        Id::Undo if model.gives_up_spread() => return model.stop_spread(),
        Id::Undo => ask_undo(model),
        Id::Redo => ask_redo(model),
        Id::Sheet => return super::typing::write_sheet(model),
        Id::TypeIn => super::typing::open(model),
        Id::Far => model.layers.push(Layer::Far),
        Id::Lock => model.layers.push(Layer::Locked(0)),
        Id::Silence => {
            let who = model
                .who
                .clone()
                .or(model.login.clone())
                .unwrap_or_default();
            let silence = model.bell.silence(model.facts.overdue(), &who, model.now);
            model.say(SILENT);
            return silence.map(Effect::Silence).into_iter().collect();
        }
        Id::AddPiece => return super::adding::open(model),
        Id::Edit => return vec![Effect::EditProject],
        Id::Copy => {
            let menu = Menu::of_figures(model, model.spot.clone());
            model.layers.push(Layer::Menu(menu));
        }
        Id::Who => model.open_form(Task::Who, false),
        Id::ScrollBack => model.scroll = model.scroll.saturating_sub(5),
        Id::ScrollOn => model.scroll = model.scroll.saturating_add(5).min(10_000),
        Id::Help => model.layers.push(Layer::Help(0)),
        Id::Told => model.layers.push(Layer::Told(0)),
        Id::Suspend => return vec![Effect::Suspend],
        Id::Compute => return model.compute_spread(),
        Id::TakeSpread => return model.take_spread(),
        Id::GiveUp => return model.stop_spread(),
        Id::Picture => model.open_spread(),
        Id::Measure => model.next_measure(),
        Id::Together => {
            model.spreads.every = !model.spreads.every;
            model.spread_piece_chosen();
        }
        Id::Everything => model.open_menu(None),
        Id::Quit => return quit(model),
        Id::Leave => return vec![Effect::Quit],
    }
    Vec::new()
}

/// Hands a figure to the terminal, which tells nobody what it does with it.
pub(super) fn copy(model: &mut Model, figure: &str) -> Vec<Effect> {
    let figure = plain_text(figure).into_owned();
    model.say(format!(
        "copied: {figure} (if this terminal lets programs copy)"
    ));
    vec![Effect::Copy(figure)]
}

fn deal(model: &mut Model, row: usize) {
    let Some(due) = model.facts.due.get(row).cloned() else {
        model.open_menu(model.spot.clone());
        return;
    };
    model.due_row = row;
    model.spot = model.due_spot();
    let steps: Vec<Step> = guide::steps(model, &due);
    model.begin_guide(steps);
}

fn show(model: &mut Model, screen: Screen) {
    model.screen = screen;
    model.scroll = 0;
    if model.selected_piece().is_some() {
        return;
    }
    // These show pieces only: what is selected is seen there.
    let first = match screen {
        Screen::Piece | Screen::Spread => model.pieces_along().first().map(|n| (*n).to_owned()),
        Screen::Holds => super::holds_order(model).into_iter().next(),
        Screen::Line | Screen::CloseOut => None,
    };
    model.spot = first.map(Spot::Piece).or(model.spot.take());
}

fn step_screen(screen: Screen, forward: bool) -> Screen {
    let all = Screen::ALL;
    let at = all.iter().position(|s| *s == screen).unwrap_or(0);
    let next = if forward { at + 1 } else { at + all.len() - 1 };
    all[next % all.len()]
}

/// Up and down: the items on Close-out, the rows on Holds, else the due list.
fn step_rows(model: &mut Model, down: bool) {
    let step = |at: usize, last: usize| {
        if down {
            (at + 1).min(last)
        } else {
            at.saturating_sub(1)
        }
    };
    match model.screen {
        Screen::CloseOut => {
            model.item_row = step(model.item_row, model.facts.closeout.items.len());
        }
        Screen::Holds => step_spots(model, down),
        Screen::Spread => model.step_places(down),
        Screen::Line | Screen::Piece => {
            let last = model.facts.due.len().saturating_sub(1);
            model.due_row = step(model.due_row, last);
            if model.due_spot().is_some() {
                model.spot = model.due_spot();
            }
            model.scroll = 0;
        }
    }
}

/// Left and right along the bench; Holds and Piece walk pieces only.
fn step_spots(model: &mut Model, on: bool) {
    let spots: Vec<Spot> = match model.screen {
        Screen::Holds => super::holds_order(model)
            .into_iter()
            .map(Spot::Piece)
            .collect(),
        Screen::Piece | Screen::Spread => {
            let along = model.pieces_along();
            along
                .into_iter()
                .map(|n| Spot::Piece(n.to_owned()))
                .collect()
        }
        Screen::Line | Screen::CloseOut => model.spots(),
    };
    let at = spots.iter().position(|s| Some(s) == model.spot.as_ref());
    let last = spots.len().saturating_sub(1);
    let next = match (at, on) {
        (None, _) => 0,
        (Some(at), true) => (at + 1).min(last),
        (Some(at), false) => at.saturating_sub(1),
    };
    if let Some(spot) = spots.into_iter().nth(next) {
        model.spot = Some(spot);
        model.spread_piece_chosen();
    }
    model.scroll = 0;
}

fn choose(model: &mut Model, key: Key) -> Vec<Effect> {
    let digit = key.digit().unwrap_or(0);
    if model.screen == Screen::CloseOut {
        let mut rows = 0..model.facts.closeout.items.len();
        return match rows.find(|row| model.digit_of_item(*row) == Some(digit)) {
            Some(row) => tick(model, row),
            None => Vec::new(),
        };
    }
    let Some(name) = model.piece_of_digit(digit) else {
        model.say(format!("no piece has the digit {digit}"));
        return Vec::new();
    };
    let spot = Some(Spot::Piece(name));
    if model.spot != spot {
        model.spot = spot;
        model.spread_piece_chosen();
        model.scroll = 0;
    }
    Vec::new()
}

/// Opens an entry at the selected tank, the tank of the selected piece, or
/// the first one that has current.
fn open_at_tank(model: &mut Model, upkeep: impl Fn(Option<Mode>) -> Upkeep) {
    let selected = match &model.spot {
        Some(Spot::Tank(name)) => Some(name.clone()),
        Some(Spot::Piece(name)) => model.piece(name).and_then(|p| p.tank.clone()),
        None => None,
    };
    let tanks = &model.facts.tanks;
    let live = || {
        tanks
            .iter()
            .find(|t| t.on)
            .or(tanks.first())
            .map(|t| t.name.clone())
    };
    if let Some(tank) = selected.or_else(live) {
        let mode = model.facts.tank(&tank).and_then(|t| t.mode);
        model.open(Task::Tank(tank, upkeep(mode)), false);
    }
}

fn mark(model: &mut Model) {
    let Some(name) = model.selected_piece().map(str::to_owned) else {
        return;
    };
    if !model.marked.remove(&name) {
        model.marked.insert(name);
    }
}

/// Ticks an item of the close-out; the row after the last one signs.
fn tick(model: &mut Model, row: usize) -> Vec<Effect> {
    let Some(item) = model.facts.closeout.items.get(row) else {
        if row == model.facts.closeout.items.len() {
            ask_sign(model);
        }
        return Vec::new();
    };
    let (id, done) = (item.id.clone(), item.done);
    let computed = !item.is_ticked_by_hand();
    model.item_row = row;
    if done || computed {
        let why = if done {
            "it is done already"
        } else {
            "the program keeps this one from the project itself"
        };
        model.say(why);
        return Vec::new();
    }
    model.item_row = row + 1;
    model.record(What::CloseoutTick { items: vec![id] }, None, None)
}

fn ask_sign(model: &mut Model) {
    match model.facts.closeout.check_sign() {
        Ok(()) => {
            let rests_on = match &model.facts.closeout.may_sign {
                crate::project::MaySign::Yes(Some(note)) => vec![note.clone()],
                _ => Vec::new(),
            };
            model.ask("sign the close-out of this evening?", rests_on, Then::Sign);
        }
        Err(refusal) => model.alarm(format!("not yet: {}", refusal.because)),
    }
}

fn ask_undo(model: &mut Model) {
    if let Some(event) = model.project.undo_target() {
        let told = format!("undo #{} {}?", event.sequence, model.told(&event.what));
        let when = format!("it was {} by {}", model.clock(event.at), event.who);
        model.ask(
            told,
            vec![
                when,
                format!(
                    "the journal keeps both; {} brings it back",
                    model.way_to(Id::Redo)
                ),
            ],
            Then::Undo,
        );
    }
}

fn ask_redo(model: &mut Model) {
    if let Some(event) = model.project.redo_target() {
        let told = format!("bring #{} {} back?", event.sequence, event.what);
        model.ask(told, Vec::new(), Then::Redo);
    }
}

fn quit(model: &mut Model) -> Vec<Effect> {
    match super::current_flows(model) {
        None => vec![Effect::Quit],
        Some(flows) => {
            let live = model.facts.tanks.iter().any(|t| t.on);
            let first = if live {
                "plating unattended: never. Lift the work live, then supply off"
            } else {
                "without current its paint soaks and thin copper dissolves: lift it out"
            };
            let lines = vec![
                first.to_owned(),
                "the screen Close-out lists what the end of the evening wants".to_owned(),
            ];
            model.ask(
                format!("{flows}: leave the screen all the same?"),
                lines,
                Then::Quit,
            );
            Vec::new()
        }
    }
}

/// What a confirmed question does.
pub(super) fn confirmed(model: &mut Model, then: Then) -> Vec<Effect> {
    match then {
        Then::Undo => {
            let sequence = model.project.undo_target().map_or(0, |e| e.sequence);
            model.record(What::Undo { sequence }, None, None)
        }
        Then::Redo => {
            let sequence = model.project.redo_target().map_or(0, |e| e.sequence);
            model.record(What::Redo { sequence }, None, None)
        }
        Then::Sign => model.record(What::CloseoutSign { sheet: Vec::new() }, None, None),
        Then::Quit => vec![Effect::Quit],
    }
}

/// Whether a key is one that asked the question, so that pressing it twice
/// answers it. Escape never says yes.
pub(super) fn asked_by(keys: &Keymap, then: Then, key: Key) -> bool {
    key.code != KeyCode::Esc && keys.asks(then.command(), key)
}
