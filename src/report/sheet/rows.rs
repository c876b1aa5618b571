//! What a row of the sheet asks for, and the room it has.

use crate::project::{FindingKind, Setting, Stage, WeighedAs};

/// One numbered row of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its number, from 1.
    pub number: usize,
    /// The clock time at which it is due, where the clock tells.
    pub planned: Option<String>,
    /// What it is, in a few words.
    pub say: String,
    /// What is written into it.
    pub asks: Asks,
}

/// A box to tick: its name in the journal, what it says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tick {
    /// Its name.
    pub id: String,
    /// What it says.
    pub say: String,
}

/// What a row asks for.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "the names are those of the events")]
pub enum Asks {
    Set {
        tank: String,
        planned: Option<Setting>,
    },
    Reading {
        tank: String,
        piece: Option<String>,
    },
    Off {
        tank: String,
    },
    Bath {
        tank: String,
    },
    Ticks {
        piece: String,
        boxes: Vec<Tick>,
    },
    Start {
        piece: String,
        stage: Stage,
        tanks: Vec<String>,
    },
    Coat {
        piece: String,
    },
    Look {
        piece: String,
        repaints: bool,
    },
    Contact {
        piece: String,
    },
    Ohms {
        piece: String,
    },
    Weigh {
        piece: String,
        condition: WeighedAs,
    },
    Climate {
        piece: String,
    },
    Wipe {
        piece: String,
    },
    Note {
        piece: String,
    },
    Finish {
        piece: String,
    },
    CloseOut {
        boxes: Vec<Tick>,
    },
    Sign,
}

/// Room for one thing in a row.
#[derive(Debug, Clone, PartialEq)]
pub enum Blank {
    /// A clock time, led by a word.
    Time(&'static str),
    /// A figure in a unit.
    Figure(&'static str, &'static str),
    /// One of several, circled.
    One(&'static str, Vec<String>),
    /// Words.
    Words(&'static str),
    /// What a look saw.
    Seen,
    /// Boxes to tick.
    Boxes(Vec<Tick>),
}

/// What the supply's lamp may show.
pub const LAMP: [&str; 3] = ["not read", "cc", "cv"];

/// How a piece went back after a look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Back {
    /// Into the bath as it was.
    Undipped,
    /// Into the bath after the acid dip.
    Dipped,
    /// It was looked at where it hung.
    NotLifted,
    /// It was still out at the end.
    StaysOut,
}

/// The ways back, as they are printed and asked.
pub const BACK: [(Back, &str); 4] = [
    (Back::Undipped, "no dip"),
    (Back::Dipped, "dipped"),
    (Back::NotLifted, "not lifted"),
    (Back::StaysOut, "stays out"),
];

impl Row {
    /// What there is room for, in the order it is written and typed: the time
    /// first. `celsius` is the unit that temperatures are read in.
    pub fn blanks(&self, celsius: &'static str) -> Vec<Blank> {
        use Blank::{Boxes, Figure, One, Time, Words};
        let words = |all: &[&str]| all.iter().map(|w| (*w).to_owned()).collect();
        let mut blanks = vec![Time(match self.asks {
            Asks::Look { .. } => "out",
            _ => "at",
        })];
        blanks.extend(match &self.asks {
            Asks::Set { planned, .. } => {
                let amps = Figure("amps", "A");
                let volts = Figure("volts", "V");
                match planned {
                    Some(Setting::Amps(_)) => vec![amps],
                    Some(Setting::Volts(_)) => vec![volts],
                    _ => vec![amps, volts],
                }
            }
            Asks::Reading { piece, .. } => {
                let mut read = vec![Figure("volts", "V"), Figure("amps", "A")];
                if piece.is_none() {
                    read.extend([Figure("bath", celsius), One("lamp", words(&LAMP))]);
                }
                read
            }
            Asks::Bath { .. } => vec![
                Figure("dose", "mL"),
                Figure("topped up", "L"),
                Figure("anodes", "g"),
                Boxes(vec![
                    tick("filter", "filter changed or cleaned"),
                    tick("bags", "anode bags changed or rinsed"),
                ]),
            ],
            Asks::Ticks { boxes, .. } | Asks::CloseOut { boxes } => vec![Boxes(boxes.clone())],
            Asks::Start { tanks, .. } if tanks.len() > 1 => vec![One("tank", tanks.clone())],
            Asks::Look { repaints, .. } => {
                let mut look = vec![Blank::Seen];
                look.extend(repaints.then_some(Words("repainted")));
                look.push(Words("hangs"));
                look.push(One("back", words(&BACK.map(|(_, say)| say))));
                look.push(Time("in"));
                look
            }
            Asks::Contact { .. } => {
                let changes = words(&["moved", "loosened", "added"]);
                vec![One("what", changes), Words("where")]
            }
            Asks::Ohms { .. } => vec![Figure("resistance", "ohm"), Words("place")],
            Asks::Weigh { .. } => vec![Figure("mass", "g")],
            Asks::Climate { .. } => vec![Figure("air", celsius), Figure("humidity", "%")],
            Asks::Note { .. } => vec![Words("note")],
            _ => Vec::new(),
        });
        blanks
    }
}

pub(super) fn tick(id: &str, say: &str) -> Tick {
    Tick {
        id: id.to_owned(),
        say: say.to_owned(),
    }
}

/// The findings with the digits that pick them on the screen.
pub(super) fn findings() -> String {
    let all = FindingKind::ALL.iter().enumerate();
    let told = all.map(|(n, kind)| format!("{} {}", n % 9 + 1, kind.word()));
    let told: Vec<String> = told.collect();
    let (first, others) = told.split_at(9.min(told.len()));
    format!("{}; after 0: {}", first.join(", "), others.join(", "))
}
