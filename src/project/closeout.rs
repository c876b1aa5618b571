//! The end of the evening: the tank side, ticked by hand, and the paper side,
//! computed from the project.

use super::{
    ClosedItem, Command, Definition, Due, DueKind, Refusal, Stage, StandingItem, State,
    TankFigures, Unattended, WeighedAs,
};
use crate::units::{Instant, clock_span};

/// Which side of the close-out an item is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// At the tank: blocks the signature until ticked.
    Tank,
    /// On paper: computed, never blocks.
    Paper,
}

impl Side {
    /// The word for scripts.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tank => "tank",
            Self::Paper => "paper",
        }
    }
}

/// One item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Item {
    /// Its name.
    pub id: String,
    /// Its side.
    pub side: Side,
    /// What it says.
    pub text: String,
    /// Whether it is done.
    pub done: bool,
    /// By whom and when, if it was ticked.
    pub ticked: Option<(String, Instant)>,
}

impl Item {
    /// Whether it stands in the way of the signature.
    pub fn blocks(&self) -> bool {
        self.side == Side::Tank && !self.done
    }
}

/// Whether the evening may be signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MaySign {
    /// Yes; `Some` says what it rests on, where current flows by the project's rule.
    Yes(Option<String>),
    /// No, and why.
    No(String),
}

/// The close-out as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CloseOut {
    /// Tank side first.
    pub items: Vec<Item>,
    /// Whether it may be signed.
    pub may_sign: MaySign,
    /// The tanks whose current stands in the way.
    pub flowing: Vec<String>,
}

const STANDING: [(&str, &str); 14] = [
    (
        "ramp-down",
        "ramped down, work lifted live, then supply off and unplugged",
    ),
    (
        "written",
        "amps, volts, A\u{b7}h, \u{b0}C and level written down",
    ),
    (
        "anodes-in",
        "anodes left in (used daily), or lifted and rinsed (idle over 2-3 days)",
    ),
    ("bags", "anode bags whole"),
    ("filter", "filter off when cool"),
    ("level", "level topped up"),
    ("cover", "cover on, locked from children and pets"),
    (
        "buckets",
        "rinse buckets lidded and labelled; nothing goes down a drain",
    ),
    ("waste", "filters and wipes kept as hazardous"),
    ("spills", "spills neutralised"),
    ("gloves", "gloves and apron rinsed, hands washed"),
    ("chemicals", "chemicals closed, acid low in a tray"),
    ("electric", "nothing charging or heating left on"),
    ("ventilation", "ventilation off last"),
];

const PHOTOGRAPHS: &str = "photographs";

impl Definition {
    /// The standing list of the tank side: the project's own or the default
    /// (common practice, no source).
    pub fn standing_list(&self) -> Vec<StandingItem> {
        self.closeout.clone().unwrap_or_else(|| {
            STANDING
                .iter()
                .map(|(id, say)| StandingItem {
                    id: (*id).to_owned(),
                    say: (*say).to_owned(),
                })
                .collect()
        })
    }
}

impl CloseOut {
    /// The close-out as it stands at `now`.
    pub fn of(definition: &Definition, state: &State, now: Instant) -> Self {
        let mut items: Vec<Item> = definition
            .standing_list()
            .into_iter()
            .map(|item| {
                let ticked = state.ticked.get(&item.id).cloned();
                Item {
                    side: Side::Tank,
                    text: item.say,
                    done: ticked.is_some(),
                    ticked,
                    id: item.id,
                }
            })
            .collect();
        items.extend(paper(definition, state, now));
        let flowing: Vec<String> = TankFigures::all(definition, state, now)
            .into_iter()
            .filter(|t| t.on)
            .map(|t| t.name)
            .collect();
        let may_sign = may_sign(definition, &items, &flowing);
        let flowing = match definition.unattended {
            Unattended::Never => flowing,
            Unattended::Allowed { .. } => Vec::new(),
        };
        Self {
            items,
            may_sign,
            flowing,
        }
    }

    /// Whether these items can be ticked.
    ///
    /// # Errors
    /// A refusal that names the first one that cannot.
    pub fn check_ticks(&self, ids: &[String]) -> Result<(), Refusal> {
        let tickable = |item: &&Item| item.side == Side::Tank || item.id == PHOTOGRAPHS;
        for id in ids {
            if self.items.iter().filter(tickable).any(|i| i.id == *id) {
                continue;
            }
            let names = self.items.iter().filter(tickable).map(|i| i.id.as_str());
            let near = super::nearest::nearest(id, names.clone());
            let listed: Vec<&str> = names.collect();
            return Err(Refusal::new(
                "unknown-item",
                format!(
                    "`{}` is no item to tick{near}; there are: {}",
                    id.escape_debug(),
                    listed.join(" ")
                ),
            ));
        }
        Ok(())
    }

    /// Whether it can be signed.
    ///
    /// # Errors
    /// A refusal with what is still to do.
    pub fn check_sign(&self) -> Result<(), Refusal> {
        let MaySign::No(because) = &self.may_sign else {
            return Ok(());
        };
        let open: Vec<&str> = self
            .items
            .iter()
            .filter(|i| i.blocks())
            .map(|i| i.id.as_str())
            .collect();
        let rule = if self.flowing.is_empty() {
            "open-items"
        } else {
            "current-flows"
        };
        let off = |tank: &String| {
            Command::new(
                "record",
                format!("supply --tank {} --off", super::quoted(tank)),
            )
        };
        let tick = || Command::new("closeout", format!("tick {}", open.join(" ")));
        Err(Refusal {
            instead: self
                .flowing
                .iter()
                .map(off)
                .chain((!open.is_empty()).then(tick))
                .collect(),
            ..Refusal::new(rule, because.clone())
        })
    }

    /// The sheet to keep with the signature.
    pub fn sheet(&self) -> Vec<ClosedItem> {
        self.items
            .iter()
            .map(|i| ClosedItem {
                id: i.id.clone(),
                tank_side: i.side == Side::Tank,
                text: i.text.clone(),
                done: i.done,
                by: i.ticked.as_ref().map(|(who, _)| who.clone()),
                at: i.ticked.as_ref().map(|(_, at)| *at),
            })
            .collect()
    }
}

fn may_sign(definition: &Definition, items: &[Item], flowing: &[String]) -> MaySign {
    let open = items.iter().filter(|i| i.blocks()).count();
    let current = (!flowing.is_empty()).then(|| format!("current flows in {}", flowing.join(", ")));
    match (&definition.unattended, current) {
        (Unattended::Never, Some(current)) => MaySign::No(format!(
            "{current}; plating is never left unattended: lift the work, then set the supply off"
        )),
        _ if open > 0 => MaySign::No(format!("{open} of the tank side still to tick")),
        (Unattended::Allowed { limits, cut_off }, Some(current)) => MaySign::Yes(Some(format!(
            "{current}, by the project's own rule: limits {limits}; cut-off {cut_off}. This program cuts nothing off"
        ))),
        (_, None) => MaySign::Yes(None),
    }
}

/// The paper side, from the project itself.
fn paper(definition: &Definition, state: &State, now: Instant) -> Vec<Item> {
    let names = |wanted: &dyn Fn(&super::PieceState) -> bool| -> Vec<String> {
        definition
            .pieces
            .iter()
            .filter(|p| state.piece(&p.name).is_some_and(wanted))
            .map(|p| p.name.clone())
            .collect()
    };
    let hanging = names(&|p| p.in_bath());
    let wet =
        names(&|p| p.lifted_at.is_some() || (p.stage == Some(Stage::Rinse) && p.is_running()));
    let unweighed = names(&|p| {
        let passed = |stage: Stage| {
            p.spans
                .iter()
                .any(|s| s.stage == stage && s.to.is_some() && !s.skipped)
        };
        let before = [WeighedAs::Wired, WeighedAs::Coated]
            .iter()
            .any(|c| p.mass(*c).is_some());
        (passed(Stage::Wiring) && !before)
            || (passed(Stage::Rinse) && p.mass(WeighedAs::Plated).is_none())
    });
    let due = state.due(definition, now);
    let over = |kinds: &[DueKind]| -> Vec<String> {
        let late = due
            .iter()
            .filter(|d| kinds.contains(&d.what) && d.at <= now);
        late.map(|d| d.say.clone()).collect()
    };
    let readings = over(&[DueKind::Reading]);
    let doses = over(&[DueKind::Dose, DueKind::Filter, DueKind::Bags]);
    let photographed = state.ticked.get(PHOTOGRAPHS).cloned();
    let item = |id: &str, done: bool, text: String| Item {
        id: id.into(),
        side: Side::Paper,
        text,
        done,
        ticked: None,
    };
    let listed = |id: &str, nothing: &str, something: &str, list: &[String]| {
        let text = if list.is_empty() {
            nothing.to_owned()
        } else {
            format!("{something}: {}", list.join(", "))
        };
        item(id, list.is_empty(), text)
    };
    let mut items = vec![
        listed(
            "hanging",
            "no piece hangs in a tank",
            "still in a tank",
            &hanging,
        ),
        listed("wet", "no piece is out and wet", "out and wet", &wet),
        item("overnight", true, overnight(definition, &due, now)),
        listed(
            "readings",
            "no reading is missing",
            "readings missing",
            &readings,
        ),
        listed(
            "weighings",
            "no weighing is missing",
            "weighings missing",
            &unweighed,
        ),
        listed("doses", "no dose is due", "baths", &doses),
        Item {
            ticked: photographed.clone(),
            ..item(
                PHOTOGRAPHS,
                photographed.is_some(),
                "photographs taken".into(),
            )
        },
        item("tomorrow", true, tomorrow(definition, &due, now)),
    ];
    if let Unattended::Allowed { limits, cut_off } = &definition.unattended {
        let text = format!(
            "plating unattended is allowed by the project: limits {limits}; cut-off {cut_off}"
        );
        items.push(item("unattended", true, text));
    }
    items
}

fn overnight(definition: &Definition, due: &[Due], now: Instant) -> String {
    let running: Vec<String> = due
        .iter()
        .filter(|d| matches!(d.what, DueKind::Hold | DueKind::Dry | DueKind::Cure) && d.at > now)
        .map(|d| {
            let word = match d.what {
                DueKind::Hold => "ages",
                DueKind::Dry => "dries",
                _ => "cures",
            };
            let until = definition
                .zone
                .local(d.at)
                .beside(definition.zone.local(now));
            format!(
                "{} {word} until {until}",
                d.piece.as_deref().unwrap_or("it")
            )
        })
        .collect();
    if running.is_empty() {
        "nothing runs overnight".to_owned()
    } else {
        running.join("; ")
    }
}

/// What falls due within the next day and a half.
fn tomorrow(definition: &Definition, due: &[Due], now: Instant) -> String {
    let next: Vec<String> = due
        .iter()
        .filter(|d| d.at > now && d.at.since(now) < 36.0 * 3600.0)
        .map(|d| {
            let at = definition
                .zone
                .local(d.at)
                .beside(definition.zone.local(now));
            format!("{at} {} {}", d.what.word(), d.place())
        })
        .collect();
    match (
        next.is_empty(),
        due.iter().filter(|d| d.at > now).map(|d| d.at).min(),
    ) {
        (false, _) => format!("next: {}", next.join("; ")),
        (true, Some(at)) => format!("next due in {}", clock_span(at.since(now))),
        (true, None) => "nothing falls due by itself".to_owned(),
    }
}
