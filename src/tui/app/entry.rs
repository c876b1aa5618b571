//! Entry of numbers, words, choices and of 'when'.

use crate::units::{Dimension, Instant, Quantity, Zone, clock_span, number};

use super::{Key, KeyCode};

/// One field of a form.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// What it is.
    pub label: String,
    /// What is typed, or stands ready.
    pub text: String,
    /// How it is typed.
    pub entry: Entry,
    /// Whether it may stay empty.
    pub optional: bool,
    /// Whether the next key replaces what stands there: nothing was typed yet,
    /// a suggestion was chosen, or the field was entered anew.
    pub ready: bool,
    /// Whether a key changed it: then it is never filled in anew.
    pub touched: bool,
    /// The text that was already asked about for a tenfold jump.
    pub asked: Option<String>,
    /// The instant that stands ready in a 'when', to the millisecond.
    pub at: Option<Instant>,
}

/// How a field is typed.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    /// A number; a bare one takes this unit. The last value asks about jumps.
    Number {
        /// The unit on the screen.
        unit: &'static str,
        /// The last value in that unit.
        last: Option<f64>,
    },
    /// Words; arrows walk through suggestions.
    Words(Vec<String>),
    /// One of these.
    Choice(Vec<String>),
    /// When it happened: now, minutes ago, or a clock time.
    When,
}

impl Field {
    fn new(label: &str, text: String, entry: Entry) -> Self {
        Self {
            label: label.to_owned(),
            text,
            entry,
            optional: false,
            ready: true,
            touched: false,
            asked: None,
            at: None,
        }
    }

    /// A number in `unit`, with the last value ready.
    pub fn number(label: &str, unit: &'static str, last: Option<f64>) -> Self {
        let text = last.map_or_else(String::new, shortest);
        Self::new(label, text, Entry::Number { unit, last })
    }

    /// A number in `unit` that must be measured anew: the last value does not
    /// stand ready, Right brings it.
    pub fn measured(label: &str, unit: &'static str, last: Option<f64>) -> Self {
        Self::new(label, String::new(), Entry::Number { unit, last })
    }

    /// Words, with suggestions.
    pub fn words(label: &str, suggestions: Vec<String>) -> Self {
        Self::new(label, String::new(), Entry::Words(suggestions))
    }

    /// One of several, the first one ready.
    pub fn choice(label: &str, of: Vec<String>) -> Self {
        let text = of.first().cloned().unwrap_or_default();
        Self::new(label, text, Entry::Choice(of))
    }

    /// When it happened.
    pub fn when() -> Self {
        let mut field = Self::new("when", String::new(), Entry::When);
        field.optional = true;
        field
    }

    /// When it happened, with this instant ready.
    pub fn when_at(at: Instant, zone: Zone) -> Self {
        Self {
            text: zone.local(at).clock_seconds(),
            at: Some(at),
            ..Self::when()
        }
    }

    /// The same field, which may stay empty.
    pub fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    /// A key that edits it; `false` if it does not.
    pub fn key(&mut self, key: Key) -> bool {
        let edits = self.edit(key);
        self.touched |= edits;
        edits
    }

    fn edit(&mut self, key: Key) -> bool {
        match (&self.entry, key.code) {
            (Entry::Choice(of), KeyCode::Left | KeyCode::Right | KeyCode::Char(_)) => {
                let of = of.clone();
                self.choose(&of, key)
            }
            (Entry::Words(of), KeyCode::Left | KeyCode::Right) if !of.is_empty() => {
                let of = of.clone();
                self.walk(&of, key.code == KeyCode::Right);
                true
            }
            (Entry::Number { last, .. }, KeyCode::Left | KeyCode::Right) => {
                if let Some(last) = last {
                    self.text = shortest(*last);
                }
                self.ready = true;
                true
            }
            (_, KeyCode::Char(c)) if !key.ctrl => self.push(c),
            (_, KeyCode::Backspace | KeyCode::Delete) => {
                if self.ready {
                    self.text.clear();
                } else {
                    self.text.pop();
                }
                self.ready = false;
                true
            }
            _ => false,
        }
    }

    /// Text that was pasted, as if typed.
    pub fn paste(&mut self, text: &str) {
        for c in text.chars().filter(|c| !c.is_control()).take(200) {
            self.touched |= self.push(c);
        }
    }

    /// Empties it; a choice stays.
    pub fn empty(&mut self) {
        if !matches!(self.entry, Entry::Choice(_)) {
            self.text.clear();
            self.touched = true;
        }
    }

    /// It was entered again: a digit replaces the figure that was typed.
    pub fn enter_anew(&mut self) {
        if !matches!(self.entry, Entry::Words(_)) {
            self.ready = true;
        }
    }

    /// Whether words are being typed, among which plus and minus are typed too.
    pub fn is_amid_words(&self) -> bool {
        matches!(self.entry, Entry::Words(_)) && !self.ready && !self.text.is_empty()
    }

    fn push(&mut self, c: char) -> bool {
        let fits = match self.entry {
            Entry::Number { .. } => c.is_ascii_alphanumeric() || ".,-%/\u{b5}".contains(c),
            Entry::When => c.is_ascii_digit() || ".,:".contains(c),
            Entry::Words(_) => c != '*' && !c.is_control(),
            Entry::Choice(_) => false,
        };
        let kept = (c == '-' && !self.takes_minus()) || (c == '+' && !self.is_amid_words());
        if !fits || kept {
            return false;
        }
        if self.ready {
            self.text.clear();
            self.ready = false;
        }
        if self.text.len() < 200 {
            self.text.push(c);
        }
        true
    }

    /// A minus belongs amid words, and to the beginning of a temperature that
    /// was emptied or suggested; everywhere else it goes back.
    fn takes_minus(&self) -> bool {
        match self.entry {
            Entry::Number { unit, .. } => {
                let begins = self.ready || self.text.is_empty();
                matches!(unit, "C" | "F") && self.touched && begins
            }
            _ => self.is_amid_words(),
        }
    }

    fn choose(&mut self, of: &[String], key: Key) -> bool {
        if let Some(wanted) = key.digit().and_then(|d| of.get(d.wrapping_sub(1))) {
            self.text.clone_from(wanted);
            self.ready = false;
            return true;
        }
        match key.code {
            KeyCode::Left | KeyCode::Right | KeyCode::Char(' ') => {
                self.walk(of, key.code != KeyCode::Left);
                self.ready = false;
                true
            }
            _ => false,
        }
    }

    fn walk(&mut self, of: &[String], forward: bool) {
        let at = of.iter().position(|s| *s == self.text);
        let next = match (at, forward) {
            (None, true) => 0,
            (None, false) => of.len().saturating_sub(1),
            (Some(at), true) => (at + 1) % of.len().max(1),
            (Some(at), false) => (at + of.len() - 1) % of.len().max(1),
        };
        if let Some(text) = of.get(next) {
            self.text.clone_from(text);
            self.ready = true;
        }
    }

    /// The quantity typed; `None` where nothing is.
    ///
    /// # Errors
    /// In words, when it is no such quantity.
    pub fn quantity<D: Dimension>(&self) -> Result<Option<Quantity<D>>, String> {
        let Entry::Number { unit, .. } = self.entry else {
            return Ok(None);
        };
        let text = self.text.trim();
        if text.is_empty() {
            return if self.optional {
                Ok(None)
            } else {
                Err(format!("{} is still empty", self.label))
            };
        }
        let bare = text
            .chars()
            .all(|c| c.is_ascii_digit() || ".,-".contains(c));
        let marks = text.chars().filter(|c| ".,".contains(*c)).count();
        if marks > 1 {
            let wrong = "is no number: one point or one comma, before the decimals";
            return Err(format!("{text} {wrong}"));
        }
        // Nobody parts thousands on a keypad: its comma begins the decimals.
        let full = if bare {
            format!("{}{unit}", text.replace(',', "."))
        } else {
            text.to_owned()
        };
        full.parse()
            .map(Some)
            .map_err(|e: crate::units::QuantityError| e.to_string())
    }

    /// The words typed.
    ///
    /// # Errors
    /// When there must be some and are none.
    pub fn said(&self) -> Result<String, String> {
        let text = self.text.trim();
        if text.is_empty() && !self.optional {
            Err(format!("{} wants a few words", self.label))
        } else {
            Ok(text.to_owned())
        }
    }

    /// Which of the choices stands.
    pub fn chosen(&self) -> usize {
        match &self.entry {
            Entry::Choice(of) => of.iter().position(|s| *s == self.text).unwrap_or(0),
            _ => 0,
        }
    }

    /// The question to ask before a tenfold jump from the last value is taken.
    pub fn jump(&self) -> Option<String> {
        let Entry::Number {
            unit,
            last: Some(last),
        } = self.entry
        else {
            return None;
        };
        if self.asked.as_deref() == Some(self.text.as_str()) || unit == "C" || unit == "F" {
            return None;
        }
        let value: f64 = self.text.trim().replace(',', ".").parse().ok()?;
        let ratio = value / last;
        let far = ratio.is_finite() && ratio > 0.0 && !(0.1001..9.99).contains(&ratio);
        far.then(|| {
            format!(
                "{} {unit} after {} {unit}: Enter again if that is meant",
                self.text,
                shortest(last)
            )
        })
    }

    /// The instant typed; `None` is now.
    ///
    /// # Errors
    /// When it is no time.
    pub fn instant(&self, zone: Zone, now: Instant) -> Result<Option<Instant>, String> {
        if let Some(ready) = self.at.filter(|_| !self.touched) {
            return Ok(Some(ready));
        }
        let text = self.text.trim();
        if text.is_empty() {
            return Ok(None);
        }
        let digits = text.chars().all(|c| c.is_ascii_digit());
        let written = match (digits, text.len()) {
            (true, 1..=3) => format!("-{text}min"),
            (true, 4) => format!("{}:{}", &text[..2], &text[2..]),
            _ => text.replace(['.', ','], ":"),
        };
        zone.instant(&written, now).map(Some).map_err(|_no_time| {
            format!("{text} is no time: 12 is 12 min ago, 19.40 or 1940 the clock")
        })
    }

    /// What a 'when' means: `now`, `19:28, 12 min ago`.
    pub fn when_words(&self, zone: Zone, now: Instant) -> String {
        match self.instant(zone, now) {
            Ok(None) => "now".to_owned(),
            Ok(Some(at)) => format!(
                "{}, {} ago",
                zone.local(at).beside(zone.local(now)),
                clock_span(now.since(at))
            ),
            Err(wrong) => wrong,
        }
    }
}

/// A number ready to be typed over: at most four significant digits.
fn shortest(value: f64) -> String {
    let text = number(value, 4);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{A, CurrentDim};

    fn typed(mut field: Field, keys: &str) -> Field {
        for c in keys.chars() {
            field.key(Key::char(c));
        }
        field
    }

    #[test]
    fn a_bare_number_takes_the_unit_on_the_screen() {
        let amps = |keys| {
            typed(Field::number("amps", "A", Some(0.5)), keys)
                .quantity::<CurrentDim>()
                .unwrap()
                .unwrap()
                .to(A)
        };
        assert!((amps("2.4") - 2.4).abs() < 1e-12);
        assert!((amps("2,4") - 2.4).abs() < 1e-12);
        assert!((amps("620mA") - 0.62).abs() < 1e-12);
        assert!(
            (amps("") - 0.5).abs() < 1e-12,
            "the last value stands ready"
        );
    }

    #[test]
    fn a_tenfold_jump_is_questioned() {
        let field = |keys| typed(Field::number("amps", "A", Some(0.68)), keys).jump();
        assert!(field("6.8").is_some_and(|q| q.contains("6.8 A after 0.68 A")));
        assert!(field("0.068").is_some());
        assert_eq!(field("1.2"), None);
        assert_eq!(field("620mA"), None, "a unit of its own is meant");
    }

    #[test]
    fn comma_and_point_begin_the_decimals() {
        let amps =
            |keys| typed(Field::number("amps", "A", Some(0.5)), keys).quantity::<CurrentDim>();
        for (keys, value) in [
            ("1,5", 1.5),
            ("0.3", 0.3),
            (",3", 0.3),
            (".25", 0.25),
            ("2,", 2.0),
            ("1,234", 1.234),
            ("12", 12.0),
            ("0,3A", 0.3),
            ("620mA", 0.62),
        ] {
            let read = amps(keys).unwrap().unwrap().to(A);
            assert!((read - value).abs() < 1e-12, "{keys}: {read}");
        }
        for keys in ["1.234,5", "1,234.5", "1..5", ",", ".", "1.2.3A"] {
            let wrong = amps(keys).unwrap_err();
            assert!(wrong.contains(keys) && wrong.len() < 150, "{keys}: {wrong}");
        }
        for keys in ["40um", "3V"] {
            let wrong = amps(keys).unwrap_err();
            assert!(wrong.contains("is no current"), "{keys}: {wrong}");
        }
    }

    #[test]
    fn a_tenfold_jump_is_questioned_once_up_and_down() {
        for (last, keys, asks) in [
            (0.68, "6,8", true),
            (0.68, "0,068", true),
            (6.8, "68", true),
            (0.68, "6", false),
            (0.68, "0.07", false),
            (0.68, "0", false),
        ] {
            let mut field = typed(Field::number("amps", "A", Some(last)), keys);
            assert_eq!(field.jump().is_some(), asks, "{keys} after {last}");
            field.asked = Some(field.text.clone());
            assert_eq!(field.jump(), None, "once");
        }
    }

    #[test]
    fn when_is_never_tomorrow() {
        let now: Instant = "2026-03-02T19:40:00Z".parse().unwrap();
        let at = |keys: &str| typed(Field::when(), keys).instant(Zone::UTC, now);
        // A clock time that has not come yet was yesterday's.
        for (keys, instant) in [
            ("0", "2026-03-02T19:40:00Z"),
            ("90", "2026-03-02T18:10:00Z"),
            ("1941", "2026-03-01T19:41:00Z"),
            ("19,41", "2026-03-01T19:41:00Z"),
            ("0005", "2026-03-02T00:05:00Z"),
        ] {
            let read = at(keys).unwrap().unwrap();
            assert_eq!(read.to_string(), instant, "{keys}");
        }
        for keys in ["2460", "12345", ".", "1.2.3.4", "24.00"] {
            let wrong = at(keys).unwrap_err();
            assert!(
                wrong.contains("is no time: 12 is 12 min ago"),
                "{keys}: {wrong}"
            );
        }
        let told = typed(Field::when(), "1941").when_words(Zone::UTC, now);
        assert!(told.contains("Sun") && told.contains("23 h 59"), "{told}");
    }

    #[test]
    fn minus_begins_a_temperature_only_after_it_was_emptied_or_suggested() {
        let mut field = Field::measured("bath", "C", Some(21.0));
        assert!(!field.key(Key::char('-')), "it goes back");
        field.empty();
        assert_eq!(typed(field, "-4").text, "-4");
        let mut field = Field::measured("bath", "C", Some(21.0));
        field.key(Key::plain(KeyCode::Right));
        assert_eq!(field.text, "21");
        assert_eq!(typed(field, "-4-").text, "-4");
    }

    #[test]
    fn minutes_ago_and_clock_times_need_no_shift() {
        let now: Instant = "2026-03-02T19:40:00Z".parse().unwrap();
        let at = |keys| {
            typed(Field::when(), keys)
                .instant(Zone::UTC, now)
                .unwrap()
                .map(|i| i.to_string())
        };
        assert_eq!(at(""), None);
        assert_eq!(at("12").as_deref(), Some("2026-03-02T19:28:00Z"));
        assert_eq!(at("19.20").as_deref(), Some("2026-03-02T19:20:00Z"));
        assert_eq!(at("1920").as_deref(), Some("2026-03-02T19:20:00Z"));
        assert!(
            typed(Field::when(), "99.99")
                .instant(Zone::UTC, now)
                .is_err()
        );
    }
}
