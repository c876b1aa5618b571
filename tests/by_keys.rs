//! Everything a person can write down, written down twice: by the command line
//! and by the keys of a numeric keypad on the screen. Both journals must say
//! the same.

#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a helper that fails fails its test"
)]

use crate::support::cli::Shop;
use crate::support::pty::Pty;
use tankside::project::What;
use tankside::store::read_journal;
use vt100::Screen;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

const ENTER: &str = "\r";
const UP: &str = "\x1b[A";
const DOWN: &str = "\x1b[B";
const RIGHT: &str = "\x1b[C";
const LEFT: &str = "\x1b[D";

/// The lines of the due list on 24 rows, below the head and its own title.
const DUE_ROWS: std::ops::Range<usize> = 2..6;
/// Where menus, entries and checklists are drawn.
const BODY_ROWS: std::ops::Range<usize> = 6..22;

/// A table bell from its first coat to its seal and the close-out, as a script
/// writes it down; `bell` and `main` are its only piece and tank.
const EVENING: &[&str] = &[
    "record p bell tick primed no-weep degreased",
    "record p bell start coat",
    "record p bell coat",
    "record p bell ohms 240ohm",
    "record p bell ohms 310ohm --place 'far end'",
    "record p bell finish",
    "record p bell start wiring",
    "record p bell ohms 2.4ohm --place 'contact 1'",
    "record p bell ohms 3.1ohm",
    "record p bell tick tug",
    "record p bell finish",
    "record p supply --tank main --volts 0.3V",
    "record p bell tick polarity anodes level temperature stirring limits leads kit protection",
    "record p bell start strike",
    "record p reading --tank main --volts 0.3V --amps 0.2A --celsius 22C --mode cv",
    "record p bell lift",
    "record p bell look bare:5%@rim advancing",
    "record p bell touch-up --where rim",
    "record p bell return --dipped",
    "record p undo",
    "record p redo",
    "record p bell lift",
    "record p bell look covered:100%",
    "record p bell return",
    "record p bell finish",
    "record p bell start build",
    "record p supply --tank main --amps 1.5A",
    "record p reading --tank main --volts 1.1V --amps 1.5A --celsius 22C --mode cc",
    "record p bell look ok",
    "record p bell turn 'quarter turn'",
    "record p bell contact moved",
    "record p reading --tank main --volts 1.1V --amps 1.48A --celsius 22.5C --mode cc",
    "record p bell tick tracks good-enough",
    "record p bell finish",
    "record p supply --tank main --off",
    "record p bell start rinse",
    "record p bell finish --override 7.2",
    "record p bell weigh 312.5g --as plated",
    "record p bell tick surface",
    "record p bell start age",
    "record p bell climate --celsius 21C --humidity 55%",
    "record p bell finish",
    "record p bell tick power-off",
    "record p bell start seal",
    "record p bell coat",
    "record p bell tick touch-dry",
    "record p bell finish",
    "closeout p tick ramp-down",
    "closeout p tick written",
    "closeout p tick anodes-in",
    "closeout p tick bags",
    "closeout p tick filter",
    "closeout p tick level",
    "closeout p tick cover",
    "closeout p tick buckets",
    "closeout p tick waste",
    "closeout p tick spills",
    "closeout p tick gloves",
    "closeout p tick chemicals",
    "closeout p tick electric",
    "closeout p tick ventilation",
    "closeout p sign",
];

/// A project `p` with one bell whose coat dries and whose hold is over at once.
fn shop() -> Shop {
    let shop = Shop::new();
    for words in [
        "settings --who Ida",
        "new p --name 'Table bell' --metal copper-acid --mean 40um --zone UTC",
        "add p bell --area 2.5dm2",
        "set p drying 0s",
        "set p hold.tolerance 1h",
        "set p hold.time 1s",
    ] {
        let out = shop.run(words);
        assert_eq!(out.status, 0, "{words}: {out:?}");
    }
    shop
}

/// What a journal tells: what happened, which gates were passed, for which
/// reason. When things happened is left out; a signed sheet keeps that too.
fn told(shop: &Shop) -> Vec<(What, Option<String>, Vec<String>)> {
    let text = std::fs::read_to_string(shop.path("p/journal.ron")).unwrap();
    let events = read_journal(&text).unwrap();
    let timeless = |what| match what {
        What::CloseoutSign { mut sheet } => {
            for item in &mut sheet {
                item.at = None;
            }
            What::CloseoutSign { sheet }
        }
        other => other,
    };
    let parts = |e: tankside::project::Event| (timeless(e.what), e.reason, e.overridden);
    events.into_iter().map(parts).collect()
}

/// Asserts that two journals tell the same, naming the first difference.
fn assert_same(by_words: &Shop, by_keys: &Shop) {
    let (words, keys) = (told(by_words), told(by_keys));
    for (n, (words, keys)) in words.iter().zip(&keys).enumerate() {
        assert_eq!(words, keys, "event {}", n + 1);
    }
    assert_eq!(words.len(), keys.len());
}

/// A person in front of the screen who has the numeric keypad and the arrows,
/// and reads what the screen says before pressing the next key.
struct Keypad {
    pty: Pty,
    /// The sequence of the last event.
    events: u64,
}

impl Keypad {
    /// Opens the project of a shop, which has so many events.
    fn open(shop: &Shop, events: u64) -> Self {
        let (dir, config) = (shop.path("p"), shop.path("config"));
        let env = [("TANKSIDE_CONFIG_DIR", config.to_str().unwrap())];
        let pty = Pty::run(PROGRAM, &["open", dir.to_str().unwrap()], &env);
        pty.wait_frame("the bench", |screen| {
            screen.alternate_screen() && body(screen).iter().any(|row| row.contains("bell"))
        });
        Self { pty, events }
    }

    /// Presses keys, one after the other; a keypad has no others.
    fn press(&mut self, keys: &[&str]) -> &mut Self {
        for key in keys {
            let on_keypad = [ENTER, UP, DOWN, LEFT, RIGHT].contains(key)
                || key.chars().all(|c| "0123456789.,+-*/".contains(c));
            assert!(on_keypad, "{key:?} is not on a keypad");
            self.pty.send(key);
        }
        self
    }

    fn sees(&mut self, text: &str) -> &mut Self {
        self.pty
            .wait_frame(&format!("`{text}`"), |s| s.contents().contains(text));
        self
    }

    fn sees_no(&mut self, text: &str) -> &mut Self {
        self.pty
            .wait_frame(&format!("no `{text}`"), |s| !s.contents().contains(text));
        self
    }

    /// Waits until the next event is on disk and the screen says so.
    fn recorded(&mut self) -> &mut Self {
        self.events += 1;
        let said = format!("recorded #{} ", self.events);
        self.sees(&said)
    }

    /// Opens the actions of the bell or of the tank, with the keys that walk to
    /// it where something else is selected.
    fn actions_of(&mut self, what: &str, walk: &[&str]) -> &mut Self {
        let title = "what can be done now";
        for key in [&[""], walk].concat() {
            self.press(&[key, "+"]).sees(title);
            if self.pty.contents().contains(&format!("{what}: {title}")) {
                return self;
            }
            self.press(&["-"]).sees_no(title);
        }
        panic!("no actions of {what}:\n{}", self.pty.contents());
    }

    /// Chooses an action of the bell.
    fn act(&mut self, words: &str) -> &mut Self {
        self.actions_of("bell", &["1"]).take(words)
    }

    /// Chooses an action of the tank.
    fn tank(&mut self, words: &str) -> &mut Self {
        self.actions_of("tank main", &[LEFT, RIGHT]).take(words)
    }

    /// Takes the line with these words by the digit in front of it, leafing
    /// with 0 until it has one.
    fn take(&mut self, words: &str) -> &mut Self {
        for _page in 0..4 {
            let before = self.pty.screen(numbered);
            if let Some(line) = before.iter().find(|line| line.contains(words)) {
                let digit = line[..1].to_owned();
                return self.press(&[&digit]);
            }
            self.press(&["0"]);
            self.pty
                .wait_frame("the next nine lines", |screen| numbered(screen) != before);
        }
        panic!("no line `{words}`:\n{}", self.pty.contents());
    }

    /// Fills in the entry with this title, each field with its keys, and writes
    /// it down as of now.
    fn enter(&mut self, title: &str, fields: &[&[&str]]) -> &mut Self {
        self.sees(title);
        for keys in fields {
            self.press(keys).press(&[ENTER]);
        }
        self.press(&[ENTER]).recorded()
    }

    /// Writes something down about the bell.
    fn deed(&mut self, words: &str, fields: &[&[&str]]) -> &mut Self {
        self.act(words).enter(&format!("bell: {words}"), fields)
    }

    /// Writes something down about the tank.
    fn upkeep(&mut self, words: &str, fields: &[&[&str]]) -> &mut Self {
        self.tank(words).enter(&format!("main: {words}"), fields)
    }

    /// Writes something down about the tank, from the actions of the bell.
    fn deed_at_tank(&mut self, words: &str, fields: &[&[&str]]) -> &mut Self {
        self.act(words).enter(words, fields)
    }

    /// Starts or finishes a stage before which no gate is open.
    fn stage(&mut self, words: &str) -> &mut Self {
        self.act(words).enter(&format!("{words} of bell"), &[])
    }

    /// Starts or finishes a stage after all its open gates were ticked at once.
    fn stage_ticked(&mut self, words: &str) -> &mut Self {
        self.act(words).sees("what must hold first");
        self.press(&["*", ENTER]).recorded();
        self.enter(&format!("{words} of bell"), &[])
    }

    /// Writes an open look down as of now.
    fn seen(&mut self) -> &mut Self {
        self.press(&[ENTER]).sees("> when");
        self.press(&[ENTER]).recorded()
    }

    /// Does the next step of a line of the due list, walking to it first.
    fn deal(&mut self, words: &str) -> &mut Self {
        loop {
            let due = self.pty.screen(due);
            let find = |wanted: &str| due.iter().position(|row| row.contains(wanted));
            let (Some(at), Some(wanted)) = (find("Enter"), find(words)) else {
                panic!("`{words}` is not due:\n{}", self.pty.contents());
            };
            if at == wanted {
                return self.press(&[ENTER]);
            }
            self.press(&[if at < wanted { DOWN } else { UP }]);
            self.pty
                .wait_frame("another line of the due list", |screen| {
                    self::due(screen)
                        .iter()
                        .position(|row| row.contains("Enter"))
                        != Some(at)
                });
        }
    }

    /// Adds a finding to an open look, each field of it with its keys.
    fn finds(&mut self, kind: &str, fields: &[&[&str]]) -> &mut Self {
        self.sees("what is seen?").take(kind);
        self.sees("how much of it, where");
        for keys in fields {
            self.press(keys).press(&[ENTER]);
        }
        self.pty.wait_frame("the finding", |screen| {
            let mut rows = body(screen).into_iter();
            rows.any(|row| row.starts_with("seen: ") && row.contains(kind))
        });
        self
    }

    /// Takes the last event back.
    fn undo(&mut self) -> &mut Self {
        let question = format!("undo #{} ", self.events);
        self.press(&["-"]).sees(&question).press(&["-"]);
        self.events += 1;
        self.sees("undone: ")
    }

    /// Lets it hold again: by the menu, since `y` is a letter.
    fn redo(&mut self) -> &mut Self {
        self.press(&["+"]).sees("what can be done now");
        self.press(&["+"]).sees(": everything else");
        self.take("bring back what was undone");
        self.sees("back?").press(&[ENTER]);
        self.events += 1;
        self.sees("brought back: ")
    }

    /// Walks down until a line is selected.
    fn walk_down_to(&mut self, words: &str) -> &mut Self {
        loop {
            let selected = self.pty.screen(selected);
            if selected.contains(words) {
                return self;
            }
            self.press(&[DOWN]);
            self.pty.wait_frame("the line below", |screen| {
                self::selected(screen) != selected
            });
        }
    }

    fn coat(&mut self) -> &mut Self {
        self.stage_ticked("start conductive coat");
        self.deed("a coat on", &[]);
        self.deed("ohms of coat", &[&["240"], &[]]);
        self.deed("ohms of coat", &[&["310"], &[RIGHT]]);
        self.stage("finish conductive coat")
    }

    fn wiring(&mut self) -> &mut Self {
        self.stage("start wiring").far_from_the_last_ohms();
        self.enter("bell: ohms", &[&[], &[RIGHT, RIGHT]]);
        self.deed("ohms of coat", &[&["3.1"], &[]]);
        self.stage_ticked("finish wiring")
    }

    /// Types the ohms of a contact. The last ones were of the coat, and so far
    /// away from these that the screen asks.
    fn far_from_the_last_ohms(&mut self) -> &mut Self {
        self.act("ohms of coat").sees("bell: ohms");
        self.press(&["2.4", ENTER]).sees("2.4 ohm after 310 ohm")
    }

    fn strike(&mut self) -> &mut Self {
        self.deed_at_tank("main: supply set to volts", &[&["0.3"]]);
        self.stage_ticked("start strike");
        self.deal(" reading ");
        self.enter("main: reading", &[&["0.3"], &["0.2"], &["22"], &["3"]]);

        // A guided look; the bare rim is touched up before the return.
        self.deal(" look ").enter("bell: lift it out", &[]);
        self.finds("bare", &[&["5"], &[RIGHT]]);
        self.finds("advancing", &[&[], &[]]).seen();
        self.enter("bell: touch-up", &[&[RIGHT]]);
        self.sees("acid dip").press(&["-"]).sees("left here");
        self.deal(" return ").enter("[1 dipped]", &[&[]]);
        self.undo().redo();

        // And one to its end.
        self.deal(" look ").enter("bell: lift it out", &[]);
        self.finds("covered", &[&[], &[]]).seen();
        self.enter("[1 not dipped]", &[&[]]);
        self.stage("finish strike")
    }

    fn build(&mut self) -> &mut Self {
        self.stage("start build");
        self.upkeep("supply set to amps", &[&["1.5"]]);
        self.act("main: reading");
        self.enter("main: reading: volts", &[&["1.1"], &[], &[RIGHT], &["2"]]);
        self.act("look: ").sees("what is seen?");
        self.take("ok").sees("seen: ok").seen();
        self.deed("turn", &[&[RIGHT, RIGHT]]);
        self.deed("contact moved", &[&[], &[]]);
        self.act("main: supply, bath").sees("tank main: ");
        self.take("reading: volts");
        self.enter("main: reading", &[&[], &["1.48"], &["22.5"], &["2"]]);
        self.act("finish build").sees("what must hold first");
        self.press(&["*"]).take("good enough");
        self.press(&[ENTER]).recorded();
        self.enter("finish build of bell", &[]);
        // The tank is empty and its supply on: that comes next.
        self.enter("main: supply off", &[])
    }

    fn rinse_and_seal(&mut self) -> &mut Self {
        self.stage("start rinse");
        self.act("finish rinse").sees("what must hold first");
        self.take("override with a reason");
        self.enter("> reason", &[&["7.2"]]);
        self.deed("weigh it", &[&["312.5"], &[]]);
        self.stage_ticked("start ageing hold");
        self.deed("air: ", &[&["21"], &["55"]]);
        self.stage("finish ageing hold").stage_ticked("start seal");
        self.deed("a coat on", &[]);
        self.stage_ticked("finish seal")
    }

    fn close_out(&mut self) -> &mut Self {
        for screen in ["[Piece]", "[Spread]", "[Holds]", "[Close-out]"] {
            self.press(&["."]).sees(screen);
        }
        self.take("ramped down").recorded();
        for _item in 1..14 {
            self.press(&[ENTER]).recorded();
        }
        self.sees("it may be signed").walk_down_to("sign the sheet");
        self.press(&[ENTER])
            .sees("sign the close-out of this evening?");
        self.press(&[ENTER]).recorded()
    }

    /// Leaves: by the menu, since `q` is a letter.
    fn leave(&mut self) {
        self.press(&["+"]).sees("what can be done now");
        self.press(&["+"]).sees(": everything else").take("leave");
        assert_eq!(self.pty.ended(), 0);
    }
}

fn rows(screen: &Screen, which: std::ops::Range<usize>) -> Vec<String> {
    screen
        .rows(0, 80)
        .take(which.end)
        .skip(which.start)
        .collect()
}

fn body(screen: &Screen) -> Vec<String> {
    rows(screen, BODY_ROWS)
}

fn due(screen: &Screen) -> Vec<String> {
    rows(screen, DUE_ROWS)
}

/// The lines that a digit takes now.
fn numbered(screen: &Screen) -> Vec<String> {
    let is_numbered = |row: &String| {
        row.starts_with(|c: char| c.is_ascii_digit()) && row[1..].starts_with([' ', '>'])
    };
    body(screen).into_iter().filter(is_numbered).collect()
}

/// What is drawn as selected, without the due list.
fn selected(screen: &Screen) -> String {
    let is_selected = |(n, row): (usize, String)| {
        let n = u16::try_from(n + BODY_ROWS.start).unwrap();
        screen
            .cell(n, 0)
            .is_some_and(vt100::Cell::inverse)
            .then_some(row)
    };
    let rows = body(screen).into_iter().enumerate();
    rows.filter_map(is_selected).collect()
}

#[test]
fn an_evening_by_keypad_writes_what_the_command_line_writes() {
    let by_words = shop();
    for words in EVENING {
        by_words.ok(words);
    }
    let by_keys = shop();
    let mut keypad = Keypad::open(&by_keys, 0);
    keypad
        .coat()
        .wiring()
        .strike()
        .build()
        .rinse_and_seal()
        .close_out();
    keypad.press(&["."]).sees("[Line]").leave();
    assert_same(&by_words, &by_keys);
}

#[test]
fn another_program_and_a_kill_lose_nothing_and_change_nothing() {
    let [crimped, dark] = [
        "record p bell note 'left post re-crimped'",
        "record p bell note 'the lamp went out'",
    ];
    let by_keys = shop();
    let mut keypad = Keypad::open(&by_keys, 0);

    // Another program writes while an entry is half typed.
    keypad.coat().stage("start wiring").far_from_the_last_ohms();
    by_keys.ok(crimped);
    keypad.events += 1;
    keypad.enter("bell: ohms", &[&[], &[RIGHT, RIGHT]]);
    keypad.press(&["."]).sees("[Piece]").sees("left post");

    // A kill while another is half typed: that one was never written down.
    keypad.act("ohms of coat").press(&["3.1"]).sees("3.1_");
    keypad.pty.signal("KILL");
    keypad.pty.wait_for("left with 137");
    by_keys.ok(dark);
    let mut keypad = Keypad::open(&by_keys, keypad.events + 1);
    keypad.deed("ohms of coat", &[&["3.1"], &[]]);
    keypad.stage_ticked("finish wiring").leave();
    assert_eq!(by_keys.run("check p").status, 0);

    let by_words = shop();
    let (coat, contact, rest) = (&EVENING[..7], EVENING[7], &EVENING[8..11]);
    for words in coat.iter().chain(&[crimped, contact, dark]).chain(rest) {
        by_words.ok(words);
    }
    assert_same(&by_words, &by_keys);
}

#[test]
fn the_keypad_looks_up_locks_and_writes_down_afterwards() {
    let shop = shop();
    let mut keypad = Keypad::open(&shop, 0);
    keypad.press(&["/"]).sees("any other key closes");
    keypad.press(&[DOWN, ENTER]).sees("[Line]");
    keypad.press(&["0"]).sees_no("[Line]");
    keypad.press(&[ENTER]).sees("[Line]");
    keypad.press(&["+"]).sees("what can be done now");
    keypad.press(&["/"]).sees("what cannot, and why");
    keypad.press(&["/"]).sees("what can be done now");
    keypad.press(&["+"]).sees(": everything else");
    keypad.take("lock the keyboard").sees("keyboard locked");
    keypad.press(&["1", "1", "+", "-"]);
    keypad.press(&["7", "3", ENTER]).sees("unlocked");

    // The coat was begun 12 min ago, and the conditions were true by then.
    let start = "start conductive coat";
    keypad.act(start).sees("what must hold first");
    keypad.press(&[".", "1", "2", ENTER, "*", ENTER]).recorded();
    keypad.sees("start conductive coat of bell").press(&["+"]);
    keypad.recorded().leave();
    let text = std::fs::read_to_string(shop.path("p/journal.ron")).unwrap();
    let events = read_journal(&text).unwrap();
    assert_eq!(events.len(), 2);
    for event in events {
        let ago = event.recorded.since(event.at);
        assert!((719.0..=721.0).contains(&ago), "{ago} s: {event:?}");
    }
}

#[test]
fn what_was_mended_outside_is_no_longer_told() {
    let shop = shop();
    let mut keypad = Keypad::open(&shop, 0);
    let file = shop.path("p/project.ron");
    let good = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, good.replacen("bell", "bell\", nonsense: \"", 1)).unwrap();
    keypad.sees("project.ron:");
    std::fs::write(&file, good).unwrap();
    keypad.sees_no("project.ron:").leave();
}

#[test]
fn a_loggers_file_is_brought_in_where_its_path_is_pasted() {
    let shop = shop();
    let file = shop.path("log 1.csv");
    std::fs::write(&file, "at,volts,amps\n").unwrap();
    let mut keypad = Keypad::open(&shop, 0);
    keypad.tank("data logger's file").sees("file");
    let path = format!("\x1b[200~{}\x1b[201~", file.display());
    keypad.pty.send(&path);
    keypad.sees("log 1.csv").press(&[ENTER]);
    keypad.sees("no rows");
    // What stood in the way is mended, and the entry is still there.
    let rows = "at,volts,amps\n2026-03-02T17:00:00Z,0.3,0.2\n2026-03-02T17:01:00Z,0,0\n";
    std::fs::write(&file, rows).unwrap();
    keypad.press(&[ENTER]).recorded().leave();
    let text = std::fs::read_to_string(shop.path("p/journal.ron")).unwrap();
    let events = read_journal(&text).unwrap();
    assert!(
        matches!(&events[0].what, What::Logger { file, sha256, .. } if file == "immersions/001.csv" && sha256.len() == 64),
        "{events:?}"
    );
    assert_eq!(
        std::fs::read_to_string(shop.path("p/immersions/001.csv")).unwrap(),
        rows
    );
}
