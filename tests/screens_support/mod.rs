//! Hands at the keys of a screen whose shell is a project in memory, and
//! screens as text.

#![allow(dead_code, reason = "each test binary uses what it needs")]

use std::collections::BTreeMap;

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};
use tankside::plating::Metal;
use tankside::project::{
    Action, Definition, DueKind, Piece, PieceState, Project, Setting, Stage, Target, What,
};
use tankside::report::safe::columns;
use tankside::tui::app::{Effect, Failure, Key, KeyCode, Layer, Message, Model, Spot, update};
use tankside::tui::view::{self, Theme};
use tankside::units::{A, DM2, Instant, UM, V, Zone};

/// A model with somebody at its keys.
pub(crate) struct Hands {
    pub(crate) model: Model,
    pub(crate) now: Instant,
    pub(crate) rung: usize,
}

fn begin() -> Instant {
    "2026-03-02T17:00:00Z".parse().unwrap()
}

pub(crate) fn definition(names: &[&str]) -> Definition {
    let metal = Metal::named("copper-acid").unwrap();
    let mut definition = Definition::new("Fern floor lamp", metal, Target::Mean(UM.of(40.0)));
    definition.zone = Zone::named("Europe/Berlin").unwrap();
    definition.pieces = names
        .iter()
        .enumerate()
        .map(|(n, name)| Piece {
            area: Some(DM2.of(3.0 + n as f64)),
            ..Piece::named(name)
        })
        .collect();
    definition.validate().unwrap();
    definition
}

impl Hands {
    pub(crate) fn of(model: Model, now: Instant) -> Self {
        Self {
            model,
            now,
            rung: 0,
        }
    }

    /// A project without a piece.
    pub(crate) fn empty() -> Self {
        Self::with(&[])
    }

    /// A project in which nothing has happened yet.
    pub(crate) fn with(names: &[&str]) -> Self {
        let project = Project::new(definition(names), Vec::new(), BTreeMap::new()).unwrap();
        let now = begin();
        Self::of(Model::new(project, Some("mira".into()), now), now)
    }

    /// Presses keys by their names, with blanks between.
    pub(crate) fn keys(&mut self, script: &str) {
        self.effects(script);
    }

    /// The same; what was asked of the shell, the bell aside.
    pub(crate) fn effects(&mut self, script: &str) -> Vec<Effect> {
        let names = script.split(' ').filter(|n| !n.is_empty());
        names.flat_map(|name| self.press(key_named(name))).collect()
    }

    /// One key; the shell's answer follows at once.
    pub(crate) fn press(&mut self, key: Key) -> Vec<Effect> {
        let effects = update(&mut self.model, Message::Key(key), self.now);
        for effect in &effects {
            if let Effect::Record(action) = effect {
                self.answer(action);
            }
        }
        effects.into_iter().filter(|e| !rings(e)).collect()
    }

    fn answer(&mut self, action: &Action) {
        let mut project = self.model.project.clone();
        let result = project.decide(action, self.now);
        if let Ok(decision) = &result {
            project.push(decision.event.clone(), None).unwrap();
            update(
                &mut self.model,
                Message::Project(Box::new(project)),
                self.now,
            );
        }
        let result = result.map_err(Failure::Refused);
        for effect in update(&mut self.model, Message::Recorded(result), self.now) {
            if let Effect::Record(action) = effect {
                self.answer(&action);
            }
        }
    }

    /// Something happens now; `who` writes it down.
    pub(crate) fn did(&mut self, what: What, who: &str) {
        self.answer(&Action::now(what, who));
    }

    /// The wall clock moves on.
    pub(crate) fn wait(&mut self, seconds: f64) {
        self.now = self.now.plus_seconds(seconds);
        self.tick();
    }

    /// One tick; what was asked of the shell.
    pub(crate) fn tick(&mut self) -> Vec<Effect> {
        let effects = update(&mut self.model, Message::Tick, self.now);
        self.rung += effects.iter().filter(|e| rings(e)).count();
        effects
    }

    pub(crate) fn select(&mut self, piece: &str) {
        self.model.spot = Some(Spot::Piece(piece.to_owned()));
    }

    pub(crate) fn piece(&self, name: &str) -> &PieceState {
        self.model.piece(name).unwrap()
    }

    pub(crate) fn top(&self) -> Option<&Layer> {
        self.model.layers.last()
    }

    pub(crate) fn due_row(&self, what: DueKind, piece: &str) -> usize {
        let due = &self.model.facts.due;
        due.iter()
            .position(|d| d.what == what && d.piece.as_deref() == Some(piece))
            .unwrap()
    }

    /// The glyphs alone, of a theme.
    pub(crate) fn drawn(&self, width: u16, height: u16, theme: Theme) -> String {
        let terminal = self.terminal(width, height, theme);
        grid(&terminal, width, |cell| cell.symbol().to_owned())
    }

    /// Draws it at every size up to this one and looks at nothing, not even at
    /// what a terminal would be sent: a panic is all that is waited for.
    pub(crate) fn draw_up_to(&self, width: u16, height: u16) {
        let sizes = (0..=width).flat_map(|w| (0..=height).map(move |h| (w, h)));
        self.draw_at(sizes);
    }

    /// The same at these sizes.
    pub(crate) fn draw_at(&self, sizes: impl Iterator<Item = (u16, u16)>) {
        let mut buffer = Buffer::default();
        for (width, height) in sizes {
            buffer.resize(Rect::new(0, 0, width, height));
            buffer.reset();
            view::paint(&self.model, &Theme::new(true, false), self.now, &mut buffer);
        }
    }

    fn terminal(&self, width: u16, height: u16, theme: Theme) -> Terminal<TestBackend> {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal
            .draw(|frame| view::draw(&self.model, &theme, self.now, frame))
            .unwrap();
        terminal
    }

    /// The glyphs alone.
    pub(crate) fn text(&self, width: u16, height: u16) -> String {
        if width == 0 || height == 0 {
            self.terminal(width, height, Theme::new(true, false));
            return "40x12".to_owned();
        }
        let terminal = self.terminal(width, height, Theme::new(true, false));
        let text = grid(&terminal, width, |cell| cell.symbol().to_owned());
        if width < 40 {
            text.replace(['\n', ' '], "")
        } else {
            text
        }
    }

    /// The styles alone, each once.
    pub(crate) fn shown_legend(&self, width: u16, height: u16, theme: Theme) -> String {
        let terminal = self.terminal(width, height, theme);
        let cells = terminal.backend().buffer().content().iter();
        let mut told: Vec<String> = cells
            .map(|cell| format!("{:?} on {:?} {:?}", cell.fg, cell.bg, cell.modifier))
            .collect();
        told.sort();
        told.dedup();
        told.join("\n")
    }

    /// Glyphs, then style keys, then what the keys mean.
    pub(crate) fn shown(&self, width: u16, height: u16, theme: Theme) -> String {
        let terminal = self.terminal(width, height, theme);
        let glyphs = grid(&terminal, width, |cell| cell.symbol().to_owned());
        let mut legend: Vec<(Style, char)> = Vec::new();
        let styles = grid(&terminal, width, |cell| {
            let style = (cell.fg, cell.bg, cell.modifier);
            if style == (Color::Reset, Color::Reset, Modifier::empty()) {
                return if cell.symbol() == " " { " " } else { "." }.to_owned();
            }
            let known = legend
                .iter()
                .find(|(s, _)| *s == style)
                .map(|(_, key)| *key);
            let key = known.unwrap_or_else(|| {
                let key = char::from(b'a' + u8::try_from(legend.len()).unwrap());
                legend.push((style, key));
                key
            });
            key.to_string()
        });
        let told: Vec<String> = legend
            .iter()
            .map(|((fg, bg, modifier), key)| format!("{key}: {fg:?} on {bg:?} {modifier:?}"))
            .collect();
        format!(
            "{glyphs}\n-- styles --\n{styles}\n-- legend --\n{}\n",
            told.join("\n")
        )
    }
}

type Style = (Color, Color, Modifier);

fn grid(
    terminal: &Terminal<TestBackend>,
    width: u16,
    mut told: impl FnMut(&Cell) -> String,
) -> String {
    let cells = terminal.backend().buffer().content();
    let mut line_of = |line: &[Cell]| {
        let mut text = String::new();
        let mut covered = 0;
        for cell in line {
            // A wide glyph covers the cell after it.
            if covered == 0 {
                text.push_str(&told(cell));
                covered = columns(cell.symbol()).max(1);
            }
            covered -= 1;
        }
        text.trim_end().to_owned()
    };
    let lines: Vec<String> = cells.chunks(usize::from(width)).map(&mut line_of).collect();
    lines.join("\n")
}

/// Compares with the stored snapshot; where `CI` is set nothing is written.
pub(crate) fn snapshot(name: &str, shown: &str) {
    insta::with_settings!({ omit_expression => true, snapshot_path => concat!(env!("CARGO_MANIFEST_DIR"), "/tests/snapshots"), prepend_module_to_snapshot => false }, {
        insta::assert_snapshot!(name, shown);
    });
}

/// The key of this name.
pub(crate) fn key_named(name: &str) -> Key {
    let code = match name {
        "Enter" => KeyCode::Enter,
        "Esc" => KeyCode::Esc,
        "Up" => KeyCode::Up,
        "Down" => KeyCode::Down,
        "Left" => KeyCode::Left,
        "Right" => KeyCode::Right,
        "Tab" => KeyCode::Tab,
        "Backspace" => KeyCode::Backspace,
        "PgDn" => KeyCode::PageDown,
        "Space" => KeyCode::Char(' '),
        one => KeyCode::Char(one.chars().next().unwrap()),
    };
    Key::plain(code)
}

/// Writes events down, minute by minute, gates passed where they stand.
struct Diary {
    project: Project,
    now: Instant,
}

impl Diary {
    fn at(&mut self, minute: f64, what: What) {
        self.now = begin().plus_seconds(minute * 60.0);
        let action = Action {
            override_reason: Some("a test".into()),
            ..Action::now(what, "mira")
        };
        let decision = self.project.decide(&action, self.now).unwrap();
        let mut event = decision.event;
        // The marks of passed gates would only clutter what is shown.
        event.overridden.clear();
        event.reason = None;
        self.project.push(event, None).unwrap();
    }

    fn start(&mut self, minute: f64, piece: &str, stage: Stage) {
        let piece = piece.to_owned();
        self.at(
            minute,
            What::Start {
                piece,
                stage,
                tank: None,
            },
        );
    }

    fn finish(&mut self, minute: f64, piece: &str) {
        let piece = piece.to_owned();
        self.at(minute, What::Finish { piece });
    }

    /// Takes a piece through its route up to a stage, which is left waiting.
    fn through(&mut self, minute: f64, piece: &str, stages: &[Stage]) {
        for stage in stages {
            self.start(minute, piece, stage.clone());
            self.finish(minute, piece);
        }
    }

    fn look(&mut self, minute: f64, piece: &str, finding: &str) {
        let what = What::Look {
            piece: piece.to_owned(),
            findings: vec![finding.parse().unwrap()],
        };
        self.at(minute, what);
    }

    fn hands(self, wait: f64) -> Hands {
        let now = self.now.plus_seconds(wait * 60.0);
        Hands::of(Model::new(self.project, Some("mira".into()), now), now)
    }
}

/// An evening at the tank: stem and leaf-1 in the build, leaf-2 in its rinse,
/// base and cap ageing, arm drying its coat, leaf-3 ready for its strike.
pub(crate) fn evening() -> Hands {
    evening_of(["stem", "leaf-1", "leaf-2", "leaf-3", "arm", "base", "cap"])
}

/// The same evening with other names.
pub(crate) fn evening_of(names: [&str; 7]) -> Hands {
    use Stage::{Age, Build, Coat, Rinse, Strike, Wiring};
    let [stem, leaf_1, leaf_2, leaf_3, arm, base, cap] = names;
    let project = Project::new(definition(&names), Vec::new(), BTreeMap::new()).unwrap();
    let mut diary = Diary {
        project,
        now: begin(),
    };
    diary.through(0.0, base, &[Coat, Wiring, Strike, Build, Rinse]);
    diary.start(1.0, base, Age);
    diary.through(60.0, cap, &[Coat, Wiring, Strike, Build, Rinse]);
    diary.start(61.0, cap, Age);
    let evening = 2.0 * 24.0 * 60.0;
    diary.through(evening, leaf_2, &[Coat, Wiring, Strike, Build]);
    diary.start(evening + 1.0, leaf_2, Rinse);
    diary.through(evening + 2.0, leaf_3, &[Coat, Wiring]);
    diary.start(evening + 3.0, arm, Coat);
    diary.at(evening + 3.0, What::Coat { piece: arm.into() });
    for piece in [stem, leaf_1] {
        diary.through(evening + 4.0, piece, &[Coat, Wiring]);
        diary.start(evening + 5.0, piece, Strike);
    }
    // Seen covered before any current was shared: the shares stay known.
    for piece in [stem, leaf_1] {
        diary.look(evening + 5.0, piece, "covered");
    }
    diary.at(
        evening + 5.0,
        What::Supply {
            tank: "main".into(),
            to: Setting::Amps(A.of(0.9)),
        },
    );
    for piece in [stem, leaf_1] {
        diary.finish(evening + 31.0, piece);
        diary.start(evening + 31.0, piece, Build);
    }
    diary.at(
        evening + 32.0,
        What::Supply {
            tank: "main".into(),
            to: Setting::Amps(A.of(2.8)),
        },
    );
    let reading = What::Reading {
        tank: "main".into(),
        volts: V.of(0.9),
        amps: A.of(2.8),
        celsius: Some("24.5C".parse().unwrap()),
        mode: None,
        piece: None,
    };
    diary.at(evening + 50.0, reading);
    diary.hands(15.0)
}

/// Forty pieces, most of them at their coat, nine in the tank.
pub(crate) fn forty() -> Hands {
    let names: Vec<String> = (1..=40).map(|n| format!("leaf-{n:02}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let project = Project::new(definition(&names), Vec::new(), BTreeMap::new()).unwrap();
    let mut diary = Diary {
        project,
        now: begin(),
    };
    for (n, name) in names.iter().enumerate().take(9) {
        let minute = n as f64;
        diary.through(minute, name, &[Stage::Coat, Stage::Wiring]);
        diary.start(minute, name, Stage::Strike);
    }
    diary.at(
        10.0,
        What::Supply {
            tank: "main".into(),
            to: Setting::Volts(V.of(0.5)),
        },
    );
    diary.hands(20.0)
}

/// Whether an effect tells that something is due.
pub(crate) fn rings(effect: &Effect) -> bool {
    matches!(effect, Effect::Notify(_))
}

/// `leaf` in one of its states, each the end of a short story.
pub(crate) fn leaf(state: &str) -> Hands {
    use Stage::{Age, Build, Coat, Rinse, Strike, Wiring};
    let names: &[&str] = match state {
        "share unknown" => &["leaf", "stem"],
        _ => &["leaf"],
    };
    let project = Project::new(definition(names), Vec::new(), BTreeMap::new()).unwrap();
    let now = begin();
    let mut diary = Diary { project, now };
    let piece = || "leaf".to_owned();
    let tank = || "main".to_owned();
    let reading = || What::Reading {
        tank: "main".to_owned(),
        volts: V.of(0.4),
        amps: A.of(0.5),
        celsius: None,
        mode: None,
        piece: None,
    };
    let wait = match state {
        "waiting" => 0.0,
        "running" => {
            diary.start(0.0, "leaf", Coat);
            10.0
        }
        "paused" => {
            diary.start(0.0, "leaf", Coat);
            diary.at(1.0, What::Pause { piece: piece() });
            9.0
        }
        "done" => {
            for (n, stage) in Stage::default_route().into_iter().enumerate() {
                let minute = n as f64 * 100.0 * 60.0;
                diary.start(minute, "leaf", stage);
                diary.finish(minute + 80.0 * 60.0, "leaf");
            }
            1.0
        }
        "early" | "marked" | "in time" | "late" | "sealed" => {
            diary.through(0.0, "leaf", &[Coat, Wiring, Strike, Build, Rinse]);
            diary.start(1.0, "leaf", Age);
            let hours = match state {
                "in time" => 72.0,
                "late" => 77.0,
                _ => 24.0,
            };
            if state == "sealed" {
                diary.finish(72.0 * 60.0, "leaf");
                diary.start(72.0 * 60.0 + 1.0, "leaf", Stage::Seal);
            }
            hours * 60.0
        }
        _ => {
            diary.through(0.0, "leaf", &[Coat, Wiring]);
            diary.start(1.0, "leaf", Strike);
            if state == "share unknown" {
                diary.through(1.0, "stem", &[Coat, Wiring]);
                diary.start(1.0, "stem", Strike);
            } else {
                diary.look(1.0, "leaf", "covered");
            }
            if state != "no current" {
                let to = Setting::Amps(A.of(0.5));
                diary.at(1.0, What::Supply { tank: tank(), to });
                diary.at(2.0, reading());
                diary.at(7.0, reading());
            }
            match state {
                "lifted" => {
                    diary.at(7.0, What::Lift { piece: piece() });
                    4.0
                }
                "measured" => {
                    let to = Setting::Off;
                    diary.at(7.0, What::Supply { tank: tank(), to });
                    2.0
                }
                "overdue" => 40.0,
                _ => 2.0,
            }
        }
    };
    let mut hands = diary.hands(wait);
    hands.select("leaf");
    if state == "marked" {
        hands.model.marked.insert(piece());
    }
    hands
}
