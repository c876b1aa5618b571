//! Opening what lies on top of a screen, and what becomes of a record.

use super::menu::open_gates;
use super::{
    Checklist, Confirm, Deed, Effect, Failure, Field, Form, Layer, LookEntry, Menu, Model, Spot,
    Step, Task, Then, Upkeep,
};
use crate::project::{Action, Decision, FindingKind, GateView, Stage, What, When};
use crate::units::Instant;

/// The stop reasons that end a build before its charge, in words.
const STOP_REASONS: [(&str, &str); 4] = [
    ("stop-nodules", "stop reason: nodules"),
    ("stop-tree", "stop reason: a tree"),
    ("stop-time", "stop reason: time"),
    ("good-enough", "stop reason: good enough"),
];

impl LookEntry {
    /// The findings in the order they are listed.
    pub fn kinds() -> &'static [FindingKind] {
        FindingKind::ALL
    }

    pub(super) fn of(piece: &str, guided: bool) -> Self {
        Self {
            piece: piece.to_owned(),
            picked: Vec::new(),
            row: 0,
            guided,
            when: Field::when(),
            at_when: false,
            waits: false,
            wrong: None,
        }
    }
}

impl Model {
    /// Opens the menu of a spot, or of everything else.
    pub(super) fn open_menu(&mut self, spot: Option<Spot>) {
        let menu = Menu::of(self, spot);
        self.layers.push(Layer::Menu(menu));
    }

    /// Starts a guide and opens its first step.
    pub(super) fn begin_guide(&mut self, steps: Vec<Step>) {
        self.layers.clear();
        self.guide = steps.into();
        self.next_step();
    }

    /// Opens the next step of the guide, if there is one.
    pub(super) fn next_step(&mut self) {
        match self.guide.pop_front() {
            Some(Step::Task(task)) => self.open(task, true),
            Some(Step::Look(piece)) => self.layers.push(Layer::Look(LookEntry::of(&piece, true))),
            Some(Step::Ready(task, when)) => {
                self.open_form(task, true);
                self.put_when(when);
            }
            None => {}
        }
    }

    /// What the guide asks after this, in a few words.
    pub fn guide_ahead(&self) -> Option<String> {
        let steps = self.guide.iter().map(|step| match step {
            Step::Task(Task::Piece(_, Deed::Lift)) => "lift",
            Step::Task(Task::Piece(_, Deed::Return)) => "return",
            Step::Task(Task::Piece(_, Deed::Finish)) | Step::Ready(..) => "finish",
            Step::Task(Task::Set(..) | Task::Tank(_, Upkeep::Off)) => "supply",
            Step::Task(Task::Piece(_, Deed::TouchUp)) => "touch-up",
            Step::Task(_) => "entry",
            Step::Look(_) => "what is seen",
        });
        let ahead: Vec<&str> = steps.collect();
        (!ahead.is_empty()).then(|| format!("then: {}", ahead.join(", ")))
    }

    /// Opens the entry of a task: the checklist first where gates are open.
    pub(super) fn open(&mut self, task: Task, guided: bool) {
        match &task {
            Task::Piece(piece, Deed::Look) => {
                let entry = LookEntry::of(piece, guided);
                self.layers.push(Layer::Look(entry));
            }
            Task::Piece(piece, Deed::Ticks) => self.open_ticks(&piece.clone()),
            Task::Piece(piece, deed @ (Deed::Start | Deed::Finish)) => {
                let trial = deed.trial(self, piece);
                let gates = trial.map_or_else(Vec::new, |w| open_gates(self, piece, &w));
                if gates.is_empty() {
                    self.open_lowered(task, guided);
                } else {
                    self.open_gates(&piece.clone(), gates, Some(task));
                }
            }
            _ => self.open_form(task, guided),
        }
    }

    /// Opens the form of a task; where others share the current of a piece that
    /// leaves, the form of the lower current first.
    fn open_lowered(&mut self, task: Task, guided: bool) {
        match super::guide::lower_first(self, &task) {
            Some(set) => {
                self.guide.push_front(Step::Ready(task, Field::when()));
                self.open_form(set, true);
            }
            None => self.open_form(task, guided),
        }
    }

    /// The instant that was typed already, for the form that is open.
    fn put_when(&mut self, when: Field) {
        if let Some(Layer::Form(form)) = self.layers.last_mut()
            && let Some(field) = form
                .fields
                .last_mut()
                .filter(|f| f.entry == super::Entry::When)
            && when.touched
        {
            *field = when;
        }
    }

    /// Opens the form of a task.
    pub(super) fn open_form(&mut self, task: Task, guided: bool) {
        let form = Form {
            title: task.title(self),
            fields: task.fields(self),
            at: 0,
            wrong: None,
            asks_same: false,
            waits: false,
            guided,
            task,
        };
        self.layers.push(Layer::Form(form));
    }

    fn open_ticks(&mut self, piece: &str) {
        let stage = self.piece(piece).and_then(|p| p.stage.clone());
        let mut gates = self
            .project
            .state()
            .gates(&self.project.definition, piece, self.now);
        gates.retain(|g| !g.held && Some(&g.stage) == stage.as_ref());
        self.open_gates(piece, gates, None);
    }

    fn open_gates(&mut self, piece: &str, gates: Vec<GateView>, then: Option<Task>) {
        let says = |words: &str| gates.iter().any(|g| g.say.contains(words));
        let mut instead: Vec<(String, &'static str)> = Vec::new();
        let charge = |g: &GateView| g.stage == Stage::Build && g.when == When::End && !g.tickable;
        if gates.iter().any(charge) {
            instead.extend(STOP_REASONS.map(|(name, say)| (name.to_owned(), say)));
        }
        if says("never-seen") {
            instead.push(("never-seen".to_owned(), "the bare spots are never seen"));
        }
        self.layers.push(Layer::Gates(Checklist {
            piece: piece.to_owned(),
            then,
            gates,
            instead,
            chosen: Vec::new(),
            when: Field::when(),
            at_when: false,
            row: 0,
        }));
    }

    /// The task that would make a gate hold, where one would.
    pub fn task_for(&self, piece: &str, gate: &GateView) -> Option<Task> {
        let deed = |deed| Some(Task::Piece(piece.to_owned(), deed));
        let hint = gate.satisfy_with.as_ref().map(|c| c.line("."));
        let hint = hint.unwrap_or_default();
        let has = |word: &str| hint.split(' ').any(|w| w == word);
        if has("reading") {
            let tank = self.piece(piece).and_then(|p| p.tank.clone())?;
            return Some(Task::Tank(tank, Upkeep::Reading));
        }
        match () {
            () if has("ohms") => deed(Deed::Ohms),
            () if has("coat") => deed(Deed::Coat),
            () if has("look") => deed(Deed::Look),
            () if has("return") => deed(Deed::Return),
            () => None,
        }
    }

    /// Asks a question.
    pub(super) fn ask(&mut self, question: impl Into<String>, lines: Vec<String>, then: Then) {
        self.layers.push(Layer::Confirm(Confirm {
            question: question.into(),
            lines,
            then,
        }));
    }

    /// Hands an act over to be written down; asks who first, once.
    pub(super) fn record(
        &mut self,
        what: What,
        at: Option<Instant>,
        reason: Option<String>,
    ) -> Vec<Effect> {
        let action = Action {
            what,
            at,
            who: self.who.clone().unwrap_or_default(),
            override_reason: reason,
        };
        self.pending = Some(action.clone());
        if self.who.is_none() {
            self.open_form(Task::Who, false);
            return Vec::new();
        }
        vec![Effect::Record(action)]
    }

    /// Who it is, is known now: what waited for it goes on.
    pub(super) fn who_is(&mut self, name: String) -> Vec<Effect> {
        self.who = Some(name.clone());
        let mut effects = vec![Effect::SaveWho(name.clone())];
        if let Some(action) = &mut self.pending {
            action.who.clone_from(&name);
            effects.push(Effect::Record(action.clone()));
        } else {
            self.say(format!("you are {name}"));
        }
        effects
    }

    /// What became of a record.
    pub(super) fn recorded(&mut self, result: Result<Decision, Failure>) {
        let action = self.pending.take();
        let form = self.take_waiting();
        match result {
            Ok(decision) => {
                self.refresh_layers();
                let then = super::guide::then(self, &decision.event.what);
                if let Some(task) = then {
                    self.guide.push_front(Step::Task(task));
                }
                if !self.pass_gates() {
                    self.next_step();
                }
                self.said = super::Said {
                    text: self.acknowledged(&decision),
                    alarm: !decision.warnings.is_empty() && !of_history(&decision.event.what),
                    mendable: false,
                };
            }
            Err(Failure::Refused(refusal)) => {
                self.alarm(format!("refused: {}", refusal.because));
                if let Some(action) = action {
                    self.open_refused(action, refusal, form);
                }
            }
            Err(Failure::Trouble { message, remedy }) => {
                self.trouble(format!("not written down: {message}; {remedy}"));
                if let Some(mut form) = form {
                    form.wrong = Some(format!("{message}; {remedy}"));
                    self.layers.push(Layer::Form(form));
                }
            }
        }
    }

    /// When no gate of the checklist is open any more, what waited behind it
    /// is opened.
    fn pass_gates(&mut self) -> bool {
        let through = matches!(self.layers.last(), Some(Layer::Gates(list)) if list.is_through());
        let Some(Layer::Gates(list)) = self.layers.pop_if(|_| through) else {
            return matches!(self.layers.last(), Some(Layer::Gates(_)));
        };
        match list.then {
            Some(task) => {
                let guided = !self.guide.is_empty();
                self.open(task, guided);
                if let Some(Step::Ready(_, when)) = self.guide.front_mut() {
                    *when = list.when.clone();
                }
                self.put_when(list.when);
                true
            }
            None => false,
        }
    }

    /// Takes away what waited for its answer; a form is handed back.
    fn take_waiting(&mut self) -> Option<Form> {
        let waits = self.layers.iter().rposition(|layer| match layer {
            Layer::Form(form) => form.waits,
            Layer::Look(entry) => entry.waits,
            _ => false,
        })?;
        let taken = self.layers.drain(waits..).next();
        match taken {
            Some(Layer::Form(mut form)) => {
                form.waits = false;
                Some(form)
            }
            _ => None,
        }
    }

    /// Menus and checklists show what is so now.
    pub(super) fn refresh_layers(&mut self) {
        let mut layers = std::mem::take(&mut self.layers);
        for layer in &mut layers {
            match layer {
                Layer::Menu(menu) => *menu = menu.anew(self),
                Layer::Form(form) if !form.waits && !form.fields.iter().any(|f| f.touched) => {
                    form.fields = form.task.fields(self);
                }
                Layer::Gates(list) => {
                    let all =
                        self.project
                            .state()
                            .gates(&self.project.definition, &list.piece, self.now);
                    list.follow(&all);
                }
                _ => {}
            }
        }
        self.layers = layers;
    }
}

impl Checklist {
    /// Every line stays where it is; what holds now is marked, and the selection
    /// goes on from there to what does not.
    fn follow(&mut self, now: &[GateView]) {
        for gate in &mut self.gates {
            let is_open = |n: &GateView| {
                n.gate == gate.gate && n.stage == gate.stage && n.when == gate.when && !n.held
            };
            gate.held = !now.iter().any(is_open);
        }
        let is_open = |row: &usize| self.gates.get(*row).is_some_and(|g| !g.held);
        if self.gates.get(self.row).is_some_and(|g| g.held) {
            let mut rows = (self.row..self.gates.len()).chain(0..self.row);
            self.row = rows.find(is_open).unwrap_or(self.row);
        }
    }

    /// Whether no gate is open any more.
    pub fn is_through(&self) -> bool {
        self.gates.iter().all(|g| g.held)
    }

    /// How many lines it has: gates, what may take their place, the override.
    pub fn rows(&self) -> usize {
        self.gates.len() + self.instead.len() + usize::from(self.then.is_some())
    }

    /// The name that a line ticks.
    pub fn name_of(&self, row: usize) -> Option<&str> {
        match self.gates.get(row) {
            Some(gate) if gate.tickable && !gate.held => Some(&gate.gate),
            Some(_) => None,
            None => self
                .instead
                .get(row - self.gates.len())
                .map(|(name, _)| name.as_str()),
        }
    }

    /// Whether a line is the override.
    pub fn is_override(&self, row: usize) -> bool {
        self.then.is_some() && row + 1 == self.rows()
    }
}

fn of_history(what: &What) -> bool {
    matches!(what, What::Undo { .. } | What::Redo { .. })
}

impl Model {
    /// What was written down last, a finish with the stage that ended.
    pub(super) fn told(&self, what: &What) -> String {
        let ended = match what {
            What::Finish { piece } => self.piece(piece).and_then(|p| p.spans.last()),
            _ => None,
        };
        match ended {
            Some(span) => what.to_string().replace("the stage", span.stage.title()),
            None => what.to_string(),
        }
    }

    /// What was written down, and the key that takes it back where it works.
    fn acknowledged(&self, decision: &Decision) -> String {
        let event = &decision.event;
        let warnings = decision.warnings.join("; ");
        let undo = self
            .key_of(super::Id::Undo)
            .filter(|_| self.layers.is_empty());
        let undoes = undo.map_or_else(String::new, |key| format!("   {key} undoes"));
        match &event.what {
            What::Undo { .. } => {
                let way = self.way_to(super::Id::Redo);
                format!("undone: {warnings}   {way} brings it back")
            }
            What::Redo { .. } => format!("brought back: {warnings}{undoes}"),
            what => {
                let told = format!("recorded #{} {}", event.sequence, self.told(what));
                let passed = match event.overridden.len() {
                    0 => String::new(),
                    passed => format!(", {passed} gates passed and marked"),
                };
                if warnings.is_empty() {
                    format!("{told}{passed}{undoes}")
                } else {
                    format!("{told}{passed}. Mind: {warnings}")
                }
            }
        }
    }
}
