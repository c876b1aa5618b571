//! The pencil sheet: what is printed, and that an evening typed in from it is
//! the evening as it would have been recorded live.

use crate::screens_support::*;
use tankside::project::{Action, BathWork, Finding, Mode, Project, Setting, Stage, What, When};
use tankside::report::safe::{columns, is_unseen};
use tankside::report::sheet::{Asks, Row, Sheet};
use tankside::tui::app::{Effect, Layer, Model, Typing};
use tankside::units::{A, CELSIUS, Instant, ML, V, Zone};

/// A clock time in Berlin of the evening of the second, or of the morning after.
fn clock(text: &str) -> Instant {
    let zone = Zone::named("Europe/Berlin").unwrap();
    zone.instant(text, "2026-03-03T09:00:00Z".parse().unwrap())
        .unwrap()
}

fn did(project: &mut Project, at: &str, what: What, because: Option<&str>) {
    let action = Action {
        override_reason: because.map(str::to_owned),
        ..Action::now(what, "mira")
    };
    let decision = project.decide(&action, clock(at));
    let decision = decision.unwrap_or_else(|refused| panic!("{:?}: {refused:?}", action.what));
    project.push(decision.event, None).unwrap();
}

fn start(stage: Stage) -> What {
    What::Start {
        piece: "stem".into(),
        stage,
        tank: Some("main".into()),
    }
}

/// A stem that is coated and wired and waits for its strike, at 17:30.
fn before() -> Project {
    let mut project = Hands::with(&["stem"]).model.project;
    for stage in [Stage::Coat, Stage::Wiring] {
        let piece = || "stem".to_owned();
        let tank = None;
        let begun = What::Start {
            piece: piece(),
            stage,
            tank,
        };
        did(&mut project, "17:30", begun, Some("a test"));
        let done = What::Finish { piece: piece() };
        did(&mut project, "17:30", done, Some("a test"));
    }
    project
}

fn look(finding: &str) -> What {
    What::Look {
        piece: "stem".into(),
        findings: vec![finding.parse::<Finding>().unwrap()],
    }
}

fn reading(volts: f64, amps: f64, celsius: Option<f64>, mode: Option<Mode>) -> What {
    What::Reading {
        tank: "main".into(),
        volts: V.of(volts),
        amps: A.of(amps),
        celsius: celsius.map(|c| CELSIUS.of(c)),
        mode,
        piece: None,
    }
}

/// Every open tick of one end of a stage.
fn ticks(project: &Project, stage: &Stage, when: When, at: &str) -> What {
    let gates = project
        .state()
        .gates_at(&project.definition, "stem", stage, when, clock(at));
    let open = gates.into_iter().filter(|g| g.tickable && !g.held);
    What::Tick {
        piece: "stem".into(),
        names: open.map(|g| g.gate).collect(),
    }
}

/// The evening as it is recorded while it happens.
fn live() -> Project {
    let mut project = before();
    let piece = || "stem".to_owned();
    let lift = || What::Lift { piece: piece() };
    let back = |dipped| What::Return {
        piece: piece(),
        dipped,
    };
    let supply = |to| What::Supply {
        tank: "main".into(),
        to,
    };
    let mut at = |clock: &str, what: What| did(&mut project, clock, what, None);
    at("18:05", supply(Setting::Volts(V.of(0.3))));
    let open = ticks(&before(), &Stage::Strike, When::Start, "18:06");
    at("18:06", open);
    at("18:07", start(Stage::Strike));
    at("18:12", lift());
    at("18:12", look("advancing"));
    at("18:14", back(false));
    at("18:20", reading(0.3, 1.2, Some(24.5), Some(Mode::Cv)));
    at("18:32", lift());
    at("18:32", look("covered:100%"));
    let turn = What::Turn {
        piece: piece(),
        text: "upside down".into(),
    };
    at("18:39", turn);
    at("18:39", back(true));
    at("18:50", What::Finish { piece: piece() });
    at("18:51", start(Stage::Build));
    at("19:20", reading(0.8, 2.4, None, None));
    at("19:21", look("dull:10%@rim"));
    let names = ["tracks", "stop-time"].map(str::to_owned).to_vec();
    at(
        "20:00",
        What::Tick {
            piece: piece(),
            names,
        },
    );
    at("20:01", What::Finish { piece: piece() });
    at("20:02", supply(Setting::Off));
    let dose = BathWork::Dose(ML.of(20.0));
    at(
        "20:03",
        What::Bath {
            tank: "main".into(),
            work: dose,
        },
    );
    at(
        "20:03",
        What::Bath {
            tank: "main".into(),
            work: BathWork::Filter,
        },
    );
    let mut items: Vec<String> = before()
        .definition
        .standing_list()
        .into_iter()
        .map(|i| i.id)
        .collect();
    items.push("photographs".into());
    at("23:10", What::CloseoutTick { items });
    at("00:12", What::CloseoutSign { sheet: Vec::new() });
    project
}

/// What is pencilled, as keys of the keypad: which section and row, in order.
const PENCILLED: &[(&str, &str, &str)] = &[
    ("main", "supply set", "1 8 0 5 Enter Enter . 3 Enter"),
    (
        "main",
        "reading",
        "1 8 . 2 0 Enter . 3 Enter 1 . 2 Enter 2 4 . 5 Enter 3 Enter",
    ),
    ("main", "reading", "1 9 2 0 Enter . 8 Enter 2 . 4 +"),
    ("main", "supply off", "2 0 0 2 Enter"),
    (
        "main",
        "bath",
        "2 0 0 3 Enter 2 0 Enter Enter Enter 1 Enter",
    ),
    ("stem", "before strike", "1 8 0 6 Enter * Enter"),
    ("stem", "strike begun", "1 8 0 7 Enter"),
    (
        "stem",
        "look",
        "1 8 1 2 Enter 4 Enter Enter Enter Enter Enter Enter 1 8 1 4 Enter",
    ),
    (
        "stem",
        "look",
        "1 8 3 2 Enter 2 Enter Enter Enter Enter Right Enter 2 Enter 1 8 3 9 Enter",
    ),
    ("stem", "strike done", "1 8 5 0 Enter"),
    ("stem", "build begun", "1 8 5 1 Enter"),
    (
        "stem",
        "look",
        "1 9 2 1 Enter 0 3 1 0 Enter Right Enter Enter Enter 3 Enter Enter",
    ),
    ("stem", "end of build", "2 0 0 0 Enter 1 4 Enter"),
    ("stem", "build done", "2 0 0 1 Enter"),
    ("Close-out", "tank side", "2 3 1 0 Enter * Enter"),
    ("Close-out", "signed", "0 0 1 2 Enter"),
];

fn typing(hands: &Hands) -> &Typing {
    match hands.top() {
        Some(Layer::Typing(typing)) => typing,
        _ => panic!("no sheet is typed in: {}", hands.text(80, 24)),
    }
}

/// Opens the pass at the row 1 of the sheet that was printed at 18:00.
fn begun(project: Project, now: Instant) -> Hands {
    let mut hands = Hands::of(Model::new(project, Some("mira".into()), now), now);
    hands.keys("+ + ");
    let Some(Layer::Menu(menu)) = hands.top() else {
        panic!("no menu")
    };
    let row = menu
        .entries
        .iter()
        .position(|e| e.say.contains("type in the pencil sheet"));
    hands.keys(&(row.unwrap() + 1).to_string());
    hands.keys("0 2 . 1 8 0 0 Enter");
    hands
}

#[test]
fn an_evening_typed_in_by_the_keypad_is_the_evening_recorded_live() {
    let mut hands = begun(before(), clock("08:30"));
    let rows = typing(&hands).rows();
    let mut pencilled = PENCILLED.iter().peekable();
    for number in 1..=rows {
        let (section, row) = typing(&hands).here().unwrap();
        assert_eq!(row.number, number, "{}", hands.text(80, 24));
        let told = hands.text(80, 24);
        assert!(told.contains(&format!("row {number} of {rows}")), "{told}");
        let here =
            |(name, say, _): &&(&str, &str, &str)| section.starts_with(name) && row.say == *say;
        match pencilled.next_if(here) {
            Some((_, _, keys)) => hands.keys(keys),
            None => hands.keys("Enter"),
        }
        let stays = matches!(hands.top(), Some(Layer::Typing(t)) if t.row + 1 == number);
        assert!(!stays, "row {number} stands: {}", hands.text(80, 40));
    }
    assert_eq!(pencilled.next(), None);
    assert!(hands.model.layers.is_empty());
    assert!(
        hands.model.said.text.contains("typed in: 16 of"),
        "{}",
        hands.model.said.text
    );
    let told = |project: &Project| {
        let mut told: Vec<(Instant, String)> = project
            .events()
            .iter()
            .map(|e| (e.at, format!("{:?}", e.what)))
            .collect();
        told.sort();
        told
    };
    assert_eq!(told(&hands.model.project), told(&live()));
    let (typed, lived) = (hands.piece("stem").clone(), live());
    let lived = lived.state().piece("stem").unwrap();
    assert_eq!(typed.delivered, lived.delivered);
    assert_eq!(
        typed.marks, lived.marks,
        "no mark of what came late to the journal"
    );
}

#[test]
fn a_refusal_is_told_and_the_row_stays_until_it_is_mended() {
    let mut hands = begun(before(), clock("23:00"));
    while typing(&hands).here().unwrap().1.say != "strike begun" {
        hands.keys("Enter");
    }
    let events = hands.model.project.events().len();
    hands.keys("1 8 0 7 Enter");
    let told = hands.text(80, 24);
    assert!(
        told.contains("refused: ") && told.contains("polarity"),
        "{told}"
    );
    assert_eq!(typing(&hands).here().unwrap().1.say, "strike begun");
    // A time is given that has not come: it is told before the rest is typed,
    // and nothing of the row is written down.
    hands.keys("2 3 . 3 0 Enter");
    let told = hands.text(80, 24);
    assert!(told.contains("23:30 has not come yet"), "{told}");
    assert!(told.contains("> at"), "{told}");
    assert_eq!(hands.model.project.events().len(), events);
    hands.keys("1 8 0 7 Enter Right Enter");
    let last = hands.model.project.events().last().unwrap();
    assert_eq!(last.reason.as_deref(), Some("measured otherwise"));
    assert_eq!(last.at, clock("18:07"));
    assert_eq!(typing(&hands).here().unwrap().1.say, "look");
}

#[test]
fn a_row_is_written_down_whole_or_not_at_all() {
    let mut project = before();
    did(&mut project, "18:00", start(Stage::Strike), Some("a test"));
    let mut hands = begun(project, clock("23:00"));
    while typing(&hands).here().unwrap().1.say != "look" {
        hands.keys("Enter");
    }
    let events = hands.model.project.events().len();
    // Lifted, seen covered, out for a quarter of an hour, and no dip.
    hands.keys("1 8 3 0 Enter 2 Enter Enter Enter Enter Enter Enter 1 8 4 5 Enter");
    assert!(hands.text(80, 24).contains("dip"), "{}", hands.text(80, 24));
    assert_eq!(hands.model.project.events().len(), events);
    hands.keys("- 2 Enter Enter +");
    assert_eq!(
        hands.model.project.events().len(),
        events + 3,
        "{}",
        hands.text(80, 24)
    );
}

#[test]
fn the_place_is_kept_and_a_row_before_is_one_key() {
    let mut hands = begun(before(), clock("23:00"));
    hands.keys("Enter Enter Enter");
    assert_eq!(typing(&hands).row, 3);
    hands.keys("-");
    assert_eq!(typing(&hands).row, 2);
    hands.keys("1 9 0 0 Enter . 5 Enter 2 +");
    assert_eq!(typing(&hands).row, 3);
    hands.keys("Right");
    assert!(
        hands.text(80, 24).contains("1900_"),
        "the time before, again"
    );
    hands.keys("* /");
    assert!(hands.model.layers.is_empty());
    hands.keys("t");
    assert_eq!(typing(&hands).row, 4);
    hands.keys("- -");
    assert!(hands.text(80, 24).contains("written down already"));
}

#[test]
fn a_sheet_is_the_same_list_after_the_evening_was_recorded() {
    let printed = Sheet::of(&before(), clock("18:00"));
    let again = Sheet::printed_at("02.1800", live().definition.zone, clock("08:59")).unwrap();
    let after = Sheet::of(&live(), again);
    // The live evening was recorded after the sheet was printed.
    assert_eq!(after, printed);
    let zone = live().definition.zone;
    assert_eq!(Sheet::number_at(again, zone), "02.1800");
    assert_eq!(
        Sheet::printed_at("1800", zone, clock("08:59")).unwrap(),
        again
    );
    let earlier = "2026-02-10T17:00:59.999Z".parse::<Instant>().unwrap();
    assert_eq!(
        Sheet::printed_at("10.1800", zone, clock("08:59")).unwrap(),
        earlier
    );
    for wrong in ["", "18", "34.1800", "02.2460", "x", "02.1800.1"] {
        assert!(
            Sheet::printed_at(wrong, zone, clock("08:59")).is_err(),
            "{wrong}"
        );
    }
}

/// The numbers of a printed text, in its order: three columns, then a blank.
fn numbers_of_text(text: &str) -> Vec<usize> {
    let led = text
        .lines()
        .filter(|line| line.as_bytes().get(3) == Some(&b' '));
    led.filter_map(|line| line.get(..3)?.trim().parse().ok())
        .collect()
}

fn numbers_of_html(html: &str) -> Vec<usize> {
    let options = roxmltree::ParsingOptions {
        allow_dtd: true,
        ..Default::default()
    };
    let document = roxmltree::Document::parse_with_options(html, options).unwrap();
    let numbers = document
        .descendants()
        .filter(|n| n.attribute("class") == Some("n"));
    numbers
        .map(|n| n.text().unwrap().parse().unwrap())
        .collect()
}

fn hostile() -> Project {
    let names = [
        "</style><script>alert(1)</script>",
        "\u{1b}[2J&\"'<",
        "\u{202e}mets",
        "벨벨벨벨벨벨벨벨벨벨벨벨",
        "פעמון",
        "]]>-->",
    ];
    let mut definition = definition(&["stem", "b", "c", "d", "e", "f"]);
    definition.name = names.concat();
    definition.object = names.concat();
    for (piece, name) in definition.pieces.iter_mut().zip(names) {
        name.clone_into(&mut piece.name);
    }
    names[0].clone_into(&mut definition.tanks[0].name);
    Project::new(definition, Vec::new(), std::collections::BTreeMap::new()).unwrap()
}

#[test]
fn text_html_and_the_screen_number_the_same_rows() {
    let all = [
        (evening().model.project, evening().now),
        (forty().model.project, forty().now),
        (Hands::empty().model.project, Hands::empty().now),
        (live(), clock("08:59")),
        (hostile(), clock("18:00")),
    ];
    for (project, now) in all {
        let sheet = Sheet::of(&project, now);
        let wanted: Vec<usize> = (1..=sheet.rows().count()).collect();
        let (text, html) = (sheet.text(), sheet.html());
        assert_eq!(numbers_of_text(&text), wanted, "{text}");
        assert_eq!(numbers_of_html(&html), wanted);
        for page in text.split('\u{c}') {
            assert!(page.lines().count() <= 60, "{page}");
            for line in page.lines() {
                assert!(columns(line) <= 80, "{line}");
                assert!(!line.chars().any(is_unseen), "{line:?}");
            }
        }
        assert!(!html.replace('\n', "").chars().any(is_unseen));
        for never in ["<script", "http:", "https:", "src=", "@import", "url("] {
            assert!(!html.contains(never), "{never}");
        }
        assert!(html.contains("<html lang=\"en\">") && html.contains("<title>"));
    }
}

#[test]
fn the_looks_steps_and_readings_of_the_evening_stand_with_their_clock_times() {
    // The rhythm is practice's: a build is looked at hourly after its first
    // look at half an hour, a strike at 5 min and then every 20; a reading is
    // wanted each 60 min in a build (common practice, no source).
    let mut project = before();
    did(&mut project, "17:40", start(Stage::Strike), Some("a test"));
    let to = Setting::Volts(V.of(0.3));
    did(
        &mut project,
        "17:40",
        What::Supply {
            tank: "main".into(),
            to,
        },
        None,
    );
    let sheet = Sheet::of(&project, clock("17:41"));
    let of = |wanted: &dyn Fn(&Row) -> bool| -> Vec<String> {
        let rows = sheet.rows().filter(|(_, row)| wanted(row));
        rows.filter_map(|(_, row)| row.planned.clone()).collect()
    };
    let looks = of(&|row| matches!(row.asks, Asks::Look { .. }));
    assert_eq!(looks[..4], ["17:45", "18:05", "18:25", "18:45"]);
    assert_eq!(looks.last().unwrap(), "21:25", "four hours are told");
    // The default ladder of a strike: 20 min at each of its first steps.
    let steps = of(&|row| matches!(row.asks, Asks::Set { .. }));
    assert_eq!(steps, ["18:00", "18:20"]);
    let text = sheet.text();
    assert!(text.contains("set to 0.500 V"), "{text}");
    assert!(text.contains("looks at 17:45 18:05 18:25"), "{text}");
    assert!(
        text.contains("  [ ] 17:45            first look at stem"),
        "{text}"
    );
    assert!(text.contains("  [ ] coverage "), "{text}");
    let order = [
        "Due",
        "main: tank",
        "stem: strike running in main",
        "stem: then build",
        "Close-out",
        "Notes",
        "Local codes",
    ];
    let places = order.map(|w| text.find(w).unwrap_or_else(|| panic!("{w}: {text}")));
    assert!(places.is_sorted(), "{text}");
}

#[test]
fn the_screen_writes_the_sheet_and_offers_its_number() {
    let mut hands = evening();
    let effects = hands.effects("o");
    let [Effect::WriteFile { name, content }] = effects.as_slice() else {
        panic!("{effects:?}")
    };
    assert!(
        name.starts_with("sheet-04.") && name.contains(".html"),
        "{name}"
    );
    assert_eq!(*content, Sheet::of(&hands.model.project, hands.now).html());
    hands.wait(3600.0);
    hands.keys("t Enter");
    assert!(name.contains(&typing(&hands).sheet.as_ref().unwrap().number));
}

#[test]
fn a_clock_time_on_the_sheet_is_of_its_evening_and_night() {
    let zone = Zone::named("Europe/Berlin").unwrap();
    let printed = clock("18:00");
    let at = |text: &str| Sheet::clock(text, zone, printed);
    assert_eq!(at("1940").unwrap(), clock("19:40"));
    assert_eq!(at("19.40").unwrap(), clock("19:40"));
    assert_eq!(at("19:40").unwrap(), clock("19:40"));
    assert_eq!(at("0012").unwrap(), clock("00:12"));
    assert_eq!(at("930").unwrap(), clock("09:30"));
    assert_eq!(
        at("17.10").unwrap(),
        clock("17:10"),
        "noted before it was printed"
    );
    for wrong in ["12", "2460", "", "-5min", "2026-03-02T18:00:00Z"] {
        assert!(at(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn a_sheet_is_as_long_as_the_evening_wants() {
    let pages = |hands: &Hands| {
        let sheet = Sheet::of(&hands.model.project, hands.now).text();
        sheet.matches('\u{c}').count() + 1
    };
    assert_eq!(pages(&Hands::empty()), 2, "tank, close-out, what to mind");
    assert!(pages(&evening()) <= 9);
    // Nine in their strike with six looks each, thirty-one that only wait.
    assert!((15..=30).contains(&pages(&forty())), "{}", pages(&forty()));
    let hands = evening();
    let sheet = Sheet::of(&hands.model.project, hands.now);
    let stands = |name: &str| -> Vec<&str> {
        let own = sheet.sections.iter().filter(|s| s.name == name);
        own.map(|s| s.stands.as_str()).collect()
    };
    // Aged two days of three: its seal is not of this evening. The strike may
    // go over into the build.
    assert_eq!(stands("cap"), ["ageing hold running"]);
    assert_eq!(stands("leaf-3"), ["strike waiting", "then build"]);
}

#[test]
fn the_command_line_prints_text_and_html_and_writes_files() {
    use std::process::Command;
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path().join("p");
    let run = |arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tankside"));
        let home = scratch.path().join("home");
        command
            .current_dir(&folder)
            .env("HOME", &home)
            .env("XDG_CONFIG_HOME", &home);
        let done = command
            .args(["--now", "2026-03-02T17:00:00Z"])
            .args(arguments)
            .output()
            .unwrap();
        (
            done.status.code().unwrap(),
            String::from_utf8(done.stdout).unwrap(),
        )
    };
    std::fs::create_dir(&folder).unwrap();
    let new = "new q --name Bell --metal copper-acid --mean 40um --zone Europe/Berlin";
    let made = run(&new.split(' ').collect::<Vec<_>>());
    assert_eq!(made.0, 0);
    assert_eq!(run(&["add", "q", "<bell>", "--area", "2dm2"]).0, 0);
    let (status, text) = run(&["sheet", "q"]);
    assert!(status == 0 && text.contains("sheet 02.1800"), "{text}");
    assert!(text.contains('\u{c}'), "a form feed reaches the printer");
    let (status, html) = run(&["sheet", "q", "--html"]);
    assert!(status == 0 && html.starts_with("<!DOCTYPE html>"), "{html}");
    assert!(html.contains("<bdi>&lt;bell&gt;</bdi>"), "{html}");
    let (status, told) = run(&["sheet", "q", "--out", "tonight.html"]);
    assert!(status == 0 && told.contains("sheet 02.1800"), "{told}");
    assert_eq!(
        std::fs::read_to_string(folder.join("tonight.html")).unwrap(),
        html
    );
    assert_eq!(run(&["sheet", "q", "--out", "tonight.txt"]).0, 0);
    assert_eq!(
        std::fs::read_to_string(folder.join("tonight.txt")).unwrap(),
        text
    );
    let before = std::fs::read_to_string(folder.join("q/project.ron")).unwrap();
    assert_eq!(
        run(&["sheet", "q", "--out", "q/project.ron"]).0,
        2,
        "not over the project"
    );
    assert_eq!(
        std::fs::read_to_string(folder.join("q/project.ron")).unwrap(),
        before
    );
    assert_eq!(run(&["sheet", "q", "--out", "nowhere/tonight.txt"]).0, 2);
    assert_eq!(run(&["sheet", "q", "--out", "q/notices.ron"]).0, 2);
}

#[test]
#[cfg(unix)]
fn a_sheet_replaces_plain_files_only() {
    let scratch = tempfile::tempdir().unwrap();
    let (link, real) = (scratch.path().join("link"), scratch.path().join("real"));
    std::fs::write(&real, "kept").unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    for taken in [link.as_path(), scratch.path()] {
        let refused = tankside::store::write_out(taken, "a sheet").unwrap_err();
        assert!(refused.remedy.contains("plain file"), "{}", refused.remedy);
    }
    assert!(link.is_symlink(), "it leads where it led");
    assert_eq!(std::fs::read_to_string(&real).unwrap(), "kept");
    tankside::store::write_out(&real, "a sheet").unwrap();
    assert_eq!(std::fs::read_to_string(&real).unwrap(), "a sheet");
}
