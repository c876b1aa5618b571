//! The fields of each deed and each piece of upkeep, and what they come to.

use super::suggest::{skip_reasons, strings};
use super::{Deed, Field, Model, Upkeep};
use crate::project::{BathWork, ContactChange, Mode, Setting, Stage, WeighedAs, What};
use crate::units::{A, CELSIUS, OHM, PERCENT, V};

fn words<T: std::fmt::Display>(all: &[T]) -> Vec<String> {
    all.iter().map(ToString::to_string).collect()
}

impl Deed {
    pub(super) fn fields(self, model: &Model, piece: &str) -> Vec<Field> {
        let last_ohms = || {
            let ohms = model.piece(piece).and_then(|p| p.ohms.last().map(|o| o.1));
            ohms.map(|o| o.to(OHM))
        };
        match self {
            Self::Start => {
                let tanks = model.tank_choices(piece);
                if tanks.len() > 1 {
                    vec![Field::choice("tank", tanks)]
                } else {
                    Vec::new()
                }
            }
            Self::Return => {
                let yes_no = if model.wants_dip(piece) {
                    ["dipped", "not dipped"]
                } else {
                    ["not dipped", "dipped"]
                };
                vec![Field::choice("acid dip", words(&yes_no))]
            }
            Self::Turn => vec![Field::words(
                "hangs now",
                strings(&["upside down", "quarter turn", "half turn", "as before"]),
            )],
            Self::Contact => vec![
                Field::choice("what", words(ContactChange::ALL)),
                Field::words("where", model.contact_places()).optional(),
            ],
            Self::TouchUp => vec![Field::words("where", model.places())],
            Self::Ohms => vec![
                Field::number("resistance", "ohm", last_ohms()),
                Field::words(
                    "place",
                    strings(&["far end", "contact 1", "contact 2", "contact 3"]),
                )
                .optional(),
            ],
            Self::Weigh => vec![
                Field::number("mass", "g", model.last_mass(piece)),
                Field::choice("condition", model.weigh_choices(piece)),
            ],
            Self::OwnReading => {
                let (volts, amps) = model.last_reading_of_piece(piece);
                vec![
                    Field::number("volts", "V", volts),
                    Field::number("amps", "A", amps),
                ]
            }
            Self::Climate => {
                let unit = model.project.definition.units.temperature();
                vec![
                    Field::measured("temperature", unit.symbol, None),
                    Field::measured("humidity", "%", None),
                ]
            }
            Self::Note => vec![Field::words("note", model.last_notes())],
            Self::Rework => vec![
                Field::choice("back to", model.rework_choices(piece)),
                Field::words(
                    "because",
                    strings(&["peeling", "bare spot", "breakthrough at an edge"]),
                ),
            ],
            Self::Skip => vec![Field::words("because", skip_reasons())],
            Self::Look
            | Self::Lift
            | Self::Resume
            | Self::Coat
            | Self::Finish
            | Self::Pause
            | Self::Ticks
            | Self::Wipe => Vec::new(),
        }
    }

    pub(super) fn what(self, model: &Model, name: &str, fields: &[Field]) -> Result<What, String> {
        let piece = name.to_owned();
        let stage = model.piece(name).and_then(|p| p.stage.clone());
        let stage = || stage.clone().ok_or_else(|| format!("{name} is done"));
        let field = |n: usize| fields.get(n).ok_or_else(|| "a field is missing".to_owned());
        Ok(match self {
            Self::Start => {
                let chosen = fields.first().filter(|f| f.label == "tank");
                let tank = chosen.map(|f| f.text.clone());
                What::Start {
                    piece,
                    stage: stage()?,
                    tank,
                }
            }
            Self::Lift => What::Lift { piece },
            Self::Return => What::Return {
                piece,
                dipped: field(0)?.text == "dipped",
            },
            Self::Resume => What::Resume { piece },
            Self::Turn => What::Turn {
                piece,
                text: field(0)?.said()?,
            },
            Self::Contact => What::Contact {
                piece,
                change: field(0)?.text.parse()?,
                text: field(1)?.said()?,
            },
            Self::TouchUp => What::TouchUp {
                piece,
                place: field(0)?.said()?,
            },
            Self::Coat => What::Coat { piece },
            Self::Ohms => What::Ohms {
                piece,
                resistance: needed(field(0)?)?,
                place: Some(field(1)?.said()?).filter(|p| !p.is_empty()),
            },
            Self::Weigh => What::Weigh {
                piece,
                mass: needed(field(0)?)?,
                condition: field(1)?.text.parse::<WeighedAs>()?,
            },
            Self::OwnReading => What::Reading {
                tank: model
                    .piece(name)
                    .and_then(|p| p.tank.clone())
                    .ok_or_else(|| format!("{name} hangs in no tank"))?,
                volts: needed(field(0)?)?,
                amps: needed(field(1)?)?,
                celsius: None,
                mode: None,
                piece: Some(piece),
            },
            Self::Finish => What::Finish { piece },
            Self::Pause => What::Pause { piece },
            Self::Wipe => What::Wipe {
                pieces: vec![piece],
            },
            Self::Climate => What::Climate {
                piece,
                celsius: needed(field(0)?)?,
                humidity: needed(field(1)?)?,
            },
            Self::Note => What::Note {
                piece,
                text: field(0)?.said()?,
            },
            Self::Rework => What::Rework {
                piece,
                stage: Stage::named(&field(0)?.text),
                because: field(1)?.said()?,
            },
            Self::Skip => What::Skip {
                piece,
                stage: stage()?,
                because: field(0)?.said()?,
            },
            Self::Look | Self::Ticks => return Err("pick what to write down".to_owned()),
        })
    }

    /// The same with stand-in figures, to ask whether it could be now.
    pub fn trial(self, model: &Model, name: &str) -> Option<What> {
        let piece = name.to_owned();
        let state = model.piece(name)?;
        match self {
            Self::Look => Some(What::Look {
                piece,
                findings: Vec::new(),
            }),
            Self::Ticks => Some(What::Tick {
                piece,
                names: Vec::new(),
            }),
            Self::Return => Some(What::Return {
                piece,
                dipped: true,
            }),
            Self::Note => Some(What::Note {
                piece,
                text: "-".into(),
            }),
            Self::Turn => Some(What::Turn {
                piece,
                text: "-".into(),
            }),
            Self::TouchUp => Some(What::TouchUp {
                piece,
                place: "-".into(),
            }),
            Self::Rework => {
                let back = model.rework_choices(name);
                let stage = back.first().map_or(Stage::Coat, |s| Stage::named(s));
                Some(What::Rework {
                    piece,
                    stage,
                    because: "-".into(),
                })
            }
            Self::Skip => Some(What::Skip {
                piece,
                stage: state.stage.clone()?,
                because: "-".into(),
            }),
            Self::Ohms => Some(What::Ohms {
                piece,
                resistance: OHM.of(1.0),
                place: None,
            }),
            Self::Start => {
                let tank = model.tank_choices(name).first().cloned();
                Some(What::Start {
                    piece,
                    stage: state.stage.clone()?,
                    tank,
                })
            }
            Self::OwnReading => Some(What::Reading {
                tank: state.tank.clone()?,
                volts: V.of(1.0),
                amps: A.of(0.0),
                celsius: None,
                mode: None,
                piece: Some(piece),
            }),
            Self::Climate => Some(What::Climate {
                piece,
                celsius: CELSIUS.of(20.0),
                humidity: PERCENT.of(50.0),
            }),
            Self::Weigh => Some(What::Weigh {
                piece,
                mass: crate::units::G.of(1.0),
                condition: WeighedAs::Plated,
            }),
            _ => self.what(model, name, &self.fields(model, name)).ok(),
        }
    }
}

fn needed<D: crate::units::Dimension>(field: &Field) -> Result<crate::units::Quantity<D>, String> {
    field
        .quantity()?
        .ok_or_else(|| format!("{} is still empty", field.label))
}

impl Upkeep {
    pub(super) fn fields(self, model: &Model, tank: &str) -> Vec<Field> {
        let state = model.project.state().tank(tank);
        let last = state.and_then(|t| t.reading);
        let amps = state
            .and_then(|t| t.set_amps.or(last.map(|r| r.amps)))
            .map(|a| a.to(A));
        let volts = state
            .and_then(|t| last.map(|r| r.volts).or(t.set_volts))
            .map(|v| v.to(V));
        match self {
            Self::Reading => {
                let unit = model.project.definition.units.temperature();
                let modes = strings(&["not read", Mode::Cc.word(), Mode::Cv.word()]);
                let celsius = model.last_bath(tank).map(|t| t.to(unit));
                vec![
                    Field::number("volts", "V", volts),
                    Field::number("amps", "A", amps),
                    Field::measured(&format!("bath \u{b0}{}", unit.symbol), unit.symbol, celsius)
                        .optional(),
                    Field::choice("supply lamp (cc/cv)", modes),
                ]
            }
            Self::SetAmps => {
                let asked = match model.ladder_setting(tank) {
                    Some(Setting::Amps(asked)) => Some(asked.to(A)),
                    _ => None,
                };
                vec![stepped(Field::number("amps", "A", amps), asked)]
            }
            Self::SetVolts => {
                let asked = match model.ladder_setting(tank) {
                    Some(Setting::Volts(asked)) => Some(asked.to(V)),
                    _ => None,
                };
                let set = state.and_then(|t| t.set_volts).map(|v| v.to(V)).or(volts);
                vec![stepped(Field::number("volts", "V", set), asked)]
            }
            Self::Dose => vec![Field::number("dose", "mL", model.last_dose(tank))],
            Self::TopUp => vec![Field::number("topped up", "L", None)],
            Self::Anodes => vec![Field::number("metal", "g", None)],
            Self::Moved => vec![Field::words(
                "what, where to",
                strings(&["left anode", "right anode", "shield"]),
            )],
            Self::Logger => vec![Field::words("file", Vec::new())],
            Self::Off | Self::Filter | Self::Bags => Vec::new(),
        }
    }

    pub(super) fn what(self, tank: &str, fields: &[Field]) -> Result<What, String> {
        let tank = tank.to_owned();
        let field = |n: usize| fields.get(n).ok_or_else(|| "a field is missing".to_owned());
        Ok(match self {
            Self::Reading => What::Reading {
                tank,
                volts: needed(field(0)?)?,
                amps: needed(field(1)?)?,
                celsius: field(2)?.quantity()?,
                mode: field(3)?.text.parse().ok(),
                piece: None,
            },
            Self::SetAmps => What::Supply {
                tank,
                to: Setting::Amps(needed(field(0)?)?),
            },
            Self::SetVolts => What::Supply {
                tank,
                to: Setting::Volts(needed(field(0)?)?),
            },
            Self::Off => What::Supply {
                tank,
                to: Setting::Off,
            },
            Self::Dose => What::Bath {
                tank,
                work: BathWork::Dose(needed(field(0)?)?),
            },
            Self::Filter => What::Bath {
                tank,
                work: BathWork::Filter,
            },
            Self::Bags => What::Bath {
                tank,
                work: BathWork::Bags,
            },
            Self::TopUp => What::Bath {
                tank,
                work: BathWork::TopUp(needed(field(0)?)?),
            },
            // The keeper brings the file in, under a name and with a checksum.
            Self::Logger => What::Logger {
                tank,
                file: field(0)?.said()?,
                sha256: String::new(),
            },
            Self::Anodes => What::Bath {
                tank,
                work: BathWork::Anodes(needed(field(0)?)?),
            },
            Self::Moved => What::Bath {
                tank,
                work: BathWork::Moved(field(0)?.said()?),
            },
        })
    }
}

/// The value that the ladder asks stands ready instead of the last one.
fn stepped(field: Field, asked: Option<f64>) -> Field {
    match asked {
        Some(value) => Field::number(&field.label.clone(), unit_of(&field), Some(value)),
        None => field,
    }
}

fn unit_of(field: &Field) -> &'static str {
    match field.entry {
        super::Entry::Number { unit, .. } => unit,
        _ => "",
    }
}
