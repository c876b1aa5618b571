//! Every event as the command that records it again: for a journal of which a
//! part was lost.

use std::fmt::Display;

use super::{BathWork, Command, Event, PieceShare, Setting, What, quoted};

impl Event {
    /// The whole command that records the same again, at the same instant, by
    /// the same person, in spite of the same gates. Undo and redo name no
    /// number: recorded in their place they find the same event.
    ///
    /// ```
    /// # use tankside::project::{Event, What};
    /// # let at: tankside::units::Instant = "2026-03-01T19:40:00Z".parse().unwrap();
    /// let what = What::Note { piece: "stem".into(), text: "a dull rim".into() };
    /// let event = Event {
    ///     sequence: 7, at, recorded: at, who: "Ida".into(), what,
    ///     reason: None, overridden: Vec::new(),
    /// };
    /// assert_eq!(
    ///     event.command().line("lamp"),
    ///     "tankside record lamp stem note --at=2026-03-01T19:40:00Z --who=Ida 'a dull rim'"
    /// );
    /// ```
    pub fn command(&self) -> Command {
        let mut words = Words::of(&self.what)
            .option("at", self.at)
            .option("who", &self.who);
        if let Some(reason) = &self.reason {
            words = words.option("override", reason);
        }
        words.command()
    }
}

/// The words of a command by where they stand in it.
struct Words {
    verb: &'static str,
    head: Vec<String>,
    options: Vec<String>,
    values: Vec<String>,
}

impl Words {
    fn new<const N: usize>(verb: &'static str, head: [&str; N]) -> Self {
        Self {
            verb,
            head: head.map(str::to_owned).to_vec(),
            options: Vec::new(),
            values: Vec::new(),
        }
    }

    fn record<const N: usize>(head: [&str; N]) -> Self {
        Self::new("record", head)
    }

    /// `--name=value`: so a value may begin with a dash.
    fn option(mut self, name: &str, value: impl Display) -> Self {
        self.options.push(format!("--{name}={value}"));
        self
    }

    fn option_if(self, name: &str, value: Option<&impl Display>) -> Self {
        match value {
            Some(value) => self.option(name, value),
            None => self,
        }
    }

    fn flag_if(mut self, name: &str, holds: bool) -> Self {
        self.options.extend(holds.then(|| format!("--{name}")));
        self
    }

    fn value(mut self, value: impl Display) -> Self {
        self.values.push(value.to_string());
        self
    }

    fn values<T: Display>(mut self, values: &[T]) -> Self {
        self.values.extend(values.iter().map(T::to_string));
        self
    }

    fn command(self) -> Command {
        let dashes = self.values.iter().any(|value| value.starts_with('-'));
        let end = dashes.then(|| "--".to_owned());
        let words = self.head.into_iter().chain(self.options).chain(end);
        let words: Vec<String> = words.chain(self.values).map(|word| quoted(&word)).collect();
        Command::new(self.verb, words.join(" "))
    }

    fn of(what: &What) -> Self {
        let of = |piece: &str, verb| Self::record([piece, verb]);
        match what {
            What::Start { piece, stage, tank } => of(piece, "start")
                .option_if("tank", tank.as_ref())
                .value(stage),
            What::Pause { piece } => of(piece, "pause"),
            What::Resume { piece } => of(piece, "resume"),
            What::Finish { piece } => of(piece, "finish"),
            What::Rework {
                piece,
                stage,
                because,
            } => of(piece, "rework").option("because", because).value(stage),
            What::Skip {
                piece,
                stage,
                because,
            } => of(piece, "skip").option("because", because).value(stage),
            What::Lift { piece } => of(piece, "lift"),
            What::Return { piece, dipped } => of(piece, "return").flag_if("dipped", *dipped),
            What::TouchUp { piece, place } => of(piece, "touch-up").option("where", place),
            What::Look { piece, findings } => of(piece, "look").values(findings),
            What::Tick { piece, names } => of(piece, "tick").values(names),
            What::Ohms {
                piece,
                resistance,
                place,
            } => of(piece, "ohms")
                .option_if("place", place.as_ref())
                .value(resistance),
            What::Weigh {
                piece,
                mass,
                condition,
            } => of(piece, "weigh").option("as", condition).value(mass),
            What::Coat { piece } => of(piece, "coat"),
            What::Turn { piece, text } => of(piece, "turn").value(text),
            What::Contact {
                piece,
                change,
                text,
            } => {
                let place = Some(text).filter(|text| !text.is_empty());
                of(piece, "contact").value(change).values(place.as_slice())
            }
            What::Wipe { pieces } => Self::new("refresh", []).values(pieces),
            What::Climate {
                piece,
                celsius,
                humidity,
            } => of(piece, "climate")
                .option("celsius", celsius)
                .option("humidity", humidity),
            What::Note { piece, text } => of(piece, "note").value(text),
            What::Reading {
                tank,
                volts,
                amps,
                celsius,
                mode,
                piece,
            } => Self::record(["reading"])
                .option("tank", tank)
                .option("volts", volts)
                .option("amps", amps)
                .option_if("celsius", celsius.as_ref())
                .option_if("mode", mode.as_ref())
                .option_if("piece", piece.as_ref()),
            What::Supply { tank, to } => Self::record(["supply"]).option("tank", tank).set(*to),
            What::Bath { tank, work } => {
                Self::record(["bath", &format!("--tank={tank}")]).work(work)
            }
            What::Shares { .. } => Self::shares(what),
            What::Logger { tank, file, .. } => {
                Self::record(["logger"]).option("tank", tank).value(file)
            }
            What::CloseoutTick { items } => Self::new("closeout", ["tick"]).values(items),
            What::CloseoutSign { .. } => Self::new("closeout", ["sign"]),
            What::Undo { .. } => Self::record(["undo"]),
            What::Redo { .. } => Self::record(["redo"]),
        }
    }

    fn shares(what: &What) -> Self {
        let words = Self::new("shares", []);
        let What::Shares {
            tank,
            shares,
            rel,
            scene,
            result,
        } = what
        else {
            return words;
        };
        let rel = (!shares.is_empty()).then_some(rel);
        let told = |text: &String| Some(text.clone()).filter(|text| !text.is_empty());
        let share = |of: &PieceShare| match of.wire {
            wire if wire > 0.0 => format!("{}={}:{wire}", of.piece, of.share),
            _ => format!("{}={}", of.piece, of.share),
        };
        let shares: Vec<String> = shares.iter().map(share).collect();
        words
            .option("tank", tank)
            .option_if("rel", rel.as_ref())
            .option_if("scene", told(scene).as_ref())
            .option_if("result", told(result).as_ref())
            .values(&shares)
    }

    fn set(self, to: Setting) -> Self {
        match to {
            Setting::Amps(amps) => self.option("amps", amps),
            Setting::Volts(volts) => self.option("volts", volts),
            Setting::Off => self.flag_if("off", true),
        }
    }

    fn work(mut self, work: &BathWork) -> Self {
        let (word, amount) = match work {
            BathWork::Dose(volume) => ("dose", Some(volume.to_string())),
            BathWork::Filter => ("filter", None),
            BathWork::Bags => ("bags", None),
            BathWork::TopUp(volume) => ("topup", Some(volume.to_string())),
            BathWork::Anodes(mass) => ("anodes", Some(mass.to_string())),
            BathWork::Moved(text) => ("moved", Some(text.clone())),
        };
        self.head.push(word.to_owned());
        self.values(amount.as_slice())
    }
}
