//! What a row of the sheet says has happened, read from its cells.

use super::{Cell, Field, Model, Typing};
use crate::project::{Action, BathWork, Finding, Setting, What};
use crate::report::sheet::{Asks, BACK, Back};
use crate::units::{Dimension, Instant, Quantity, Zone};

/// What the row under the cursor says has happened, in the order it happened.
pub(super) fn actions(model: &Model, typing: &Typing) -> Result<Vec<Action>, String> {
    let zone = model.project.definition.zone;
    let read = Read { typing, zone };
    let Some((_, row)) = typing.here() else {
        return Err("the sheet has no such row".to_owned());
    };
    let time = typing.cells.first().and_then(Cell::field);
    let at = time.map_or(Ok(None), |f| typing.time(&f.text, zone))?;
    let at = at.ok_or("the time is still empty")?;
    let happened = match row.asks {
        Asks::Look { piece, .. } => look(&read, &piece, at)?,
        Asks::Bath { tank } => bath(&read, &tank)?.into_iter().map(|w| (w, at)).collect(),
        asks => vec![(one(&read, asks)?, at)],
    };
    let who = model.who.clone().unwrap_or_default();
    let actions = happened.into_iter().map(|(what, at)| Action {
        what,
        at: Some(at),
        who: who.clone(),
        override_reason: read.reason(),
    });
    Ok(actions.collect())
}

/// The cells of a row, read one by one.
struct Read<'a> {
    typing: &'a Typing,
    zone: Zone,
}

impl Read<'_> {
    fn field(&self, label: &str) -> Result<&Field, String> {
        let fields = self.typing.cells.iter().filter_map(Cell::field);
        let mut fields = fields.filter(|f| f.label == label);
        fields.next().ok_or_else(|| format!("{label} is missing"))
    }

    fn time(&self, label: &str) -> Result<Option<Instant>, String> {
        self.typing.time(&self.field(label)?.text, self.zone)
    }

    fn figure<D: Dimension>(&self, label: &str) -> Result<Option<Quantity<D>>, String> {
        self.field(label)?.quantity()
    }

    fn needed<D: Dimension>(&self, label: &str) -> Result<Quantity<D>, String> {
        let empty = || format!("{label} is still empty");
        self.figure(label)?.ok_or_else(empty)
    }

    /// Words, where there are some.
    fn words(&self, label: &str) -> Result<Option<String>, String> {
        Ok(Some(self.field(label)?.said()?).filter(|w| !w.is_empty()))
    }

    fn seen(&self) -> Vec<Finding> {
        let mut cells = self.typing.cells.iter();
        let seen = cells.find_map(|cell| match cell {
            Cell::Seen(seen) => Some(seen.clone()),
            _ => None,
        });
        seen.unwrap_or_default()
    }

    /// The names of the boxes that are ticked.
    fn ticked(&self) -> Vec<String> {
        let cells = self.typing.cells.iter();
        let boxes = cells.filter_map(|cell| match cell {
            Cell::Boxes(boxes, ticked, _) => Some(ticked.iter().filter_map(|n| boxes.get(*n))),
            _ => None,
        });
        boxes.flatten().map(|tick| tick.id.clone()).collect()
    }

    fn reason(&self) -> Option<String> {
        let mut cells = self.typing.cells.iter();
        let reason = cells.find_map(|cell| match cell {
            Cell::Override(field) => Some(field.text.trim().to_owned()),
            _ => None,
        });
        reason.filter(|r| !r.is_empty())
    }
}

/// A look: out, what was seen and done, back in.
fn look(read: &Read<'_>, piece: &str, out: Instant) -> Result<Vec<(What, Instant)>, String> {
    let piece = || piece.to_owned();
    let chosen = BACK.get(read.field("back")?.chosen());
    let back = chosen.map_or(Back::Undipped, |(back, _)| *back);
    let goes_back = matches!(back, Back::Undipped | Back::Dipped);
    let inside = match (read.time("in")?, goes_back) {
        (None, true) => return Err("when did it go back in? or choose: not lifted".to_owned()),
        (Some(inside), true) if inside < out => {
            return Err("it went back in before it came out".to_owned());
        }
        (inside, _) => inside.unwrap_or(out),
    };
    let mut happened = Vec::new();
    if back != Back::NotLifted {
        happened.push((What::Lift { piece: piece() }, out));
    }
    let findings = read.seen();
    if !findings.is_empty() {
        let piece = piece();
        happened.push((What::Look { piece, findings }, out));
    }
    let until = if goes_back { inside } else { out };
    if let Ok(Some(place)) = read.words("repainted") {
        let piece = piece();
        happened.push((What::TouchUp { piece, place }, until));
    }
    if let Some(text) = read.words("hangs")? {
        let piece = piece();
        happened.push((What::Turn { piece, text }, until));
    }
    if goes_back {
        let (piece, dipped) = (piece(), back == Back::Dipped);
        happened.push((What::Return { piece, dipped }, inside));
    }
    if happened.is_empty() {
        return Err("what was seen?".to_owned());
    }
    Ok(happened)
}

fn bath(read: &Read<'_>, tank: &str) -> Result<Vec<What>, String> {
    let mut works = Vec::new();
    works.extend(read.figure("dose")?.map(BathWork::Dose));
    works.extend(read.figure("topped up")?.map(BathWork::TopUp));
    works.extend(read.figure("anodes")?.map(BathWork::Anodes));
    let ticked = read.ticked();
    works.extend(ticked.iter().map(|id| match id.as_str() {
        "filter" => BathWork::Filter,
        _ => BathWork::Bags,
    }));
    if works.is_empty() {
        return Err("what was done to the bath?".to_owned());
    }
    let of_tank = works.into_iter().map(|work| What::Bath {
        tank: tank.to_owned(),
        work,
    });
    Ok(of_tank.collect())
}

/// A row that is one event.
fn one(read: &Read<'_>, asks: Asks) -> Result<What, String> {
    Ok(match asks {
        Asks::Set { tank, planned } => {
            let amps = match planned {
                Some(Setting::Volts(_)) => None,
                _ => read.figure("amps")?,
            };
            let volts = match planned {
                Some(Setting::Amps(_)) => None,
                _ => read.figure("volts")?,
            };
            let to = match (amps, volts) {
                (Some(amps), None) => Setting::Amps(amps),
                (None, Some(volts)) => Setting::Volts(volts),
                _ => return Err("what it was set to: amps or volts, one of them".to_owned()),
            };
            What::Supply { tank, to }
        }
        Asks::Reading { tank, piece } => What::Reading {
            tank,
            volts: read.needed("volts")?,
            amps: read.needed("amps")?,
            celsius: if piece.is_some() {
                None
            } else {
                read.figure("bath")?
            },
            mode: read.field("lamp").ok().and_then(|f| f.text.parse().ok()),
            piece,
        },
        Asks::Off { tank } => What::Supply {
            tank,
            to: Setting::Off,
        },
        Asks::Ticks { piece, .. } => What::Tick {
            piece,
            names: some_ticked(read)?,
        },
        Asks::CloseOut { .. } => What::CloseoutTick {
            items: some_ticked(read)?,
        },
        Asks::Start {
            piece,
            stage,
            tanks,
        } => What::Start {
            piece,
            stage,
            tank: match tanks.as_slice() {
                [] => None,
                [only] => Some(only.clone()),
                _ => Some(read.field("tank")?.text.clone()),
            },
        },
        Asks::Coat { piece } => What::Coat { piece },
        Asks::Contact { piece } => What::Contact {
            piece,
            change: read.field("what")?.text.parse()?,
            text: read.words("where")?.unwrap_or_default(),
        },
        Asks::Ohms { piece } => What::Ohms {
            piece,
            resistance: read.needed("resistance")?,
            place: read.words("place")?,
        },
        Asks::Weigh { piece, condition } => What::Weigh {
            piece,
            mass: read.needed("mass")?,
            condition,
        },
        Asks::Climate { piece } => What::Climate {
            piece,
            celsius: read.needed("air")?,
            humidity: read.needed("humidity")?,
        },
        Asks::Wipe { piece } => What::Wipe {
            pieces: vec![piece],
        },
        Asks::Note { piece } => What::Note {
            piece,
            text: read.field("note")?.said()?,
        },
        Asks::Finish { piece } => What::Finish { piece },
        Asks::Sign => What::CloseoutSign { sheet: Vec::new() },
        Asks::Look { .. } | Asks::Bath { .. } => return Err("nothing to write down".to_owned()),
    })
}

fn some_ticked(read: &Read<'_>) -> Result<Vec<String>, String> {
    let ticked = read.ticked();
    if ticked.is_empty() {
        return Err("tick at least one by its digit; * ticks all".to_owned());
    }
    Ok(ticked)
}
