//! The screens: what they show at several sizes, and what keys do.
//!
//! Snapshots hold glyphs and styles: a grid of glyphs, then a grid of style
//! keys with its legend, since a look at glyphs alone is blind to what is
//! selected or overdue. Where `CI` is set a missing snapshot fails.

use crate::screens_support::*;
use tankside::project::{DueKind, MarkKind, Silence, Stage, StageState, What};
use tankside::tui::app::{Effect, Layer, Said, Screen, keys_markdown, update};
use tankside::tui::app::{Key, Message, Model};
use tankside::tui::view::Theme;

const SIZES: [(u16, u16); 4] = [(80, 24), (120, 40), (200, 60), (40, 20)];

fn each_size(name: &str, hands: &Hands) {
    for (width, height) in SIZES {
        let shown = hands.shown(width, height, Theme::new(true, false));
        snapshot(&format!("{name}_{width}x{height}"), &shown);
        let grey = hands.shown(width, height, Theme::new(false, false));
        snapshot(&format!("{name}_{width}x{height}_mono"), &grey);
    }
}

#[test]
fn line_shows_the_bench_with_every_piece_where_it_is() {
    let mut hands = evening();
    each_size("line", &hands);
    let ascii = hands.shown(80, 24, Theme::new(false, true));
    assert!(ascii.is_ascii(), "{ascii}");
    snapshot("line_80x24_ascii", &ascii);
    hands.keys("Right Right");
    snapshot(
        "line_selected_80x24",
        &hands.shown(80, 24, Theme::new(true, false)),
    );
}

#[test]
fn the_other_screens_at_every_size() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("p");
    each_size("piece", &hands);
    hands.keys("h");
    each_size("holds", &hands);
    hands.keys("c");
    each_size("closeout", &hands);
    hands.keys("l ?");
    each_size("help", &hands);
    hands.keys("Esc f");
    each_size("far", &hands);
}

#[test]
fn menus_entries_and_checklists_at_every_size() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+");
    each_size("menu", &hands);
    hands.keys("/");
    snapshot(
        "menu_why_80x24",
        &hands.shown(80, 24, Theme::new(true, false)),
    );
    hands.keys("/ y 1 . 2 Enter 5");
    each_size("entry", &hands);
    hands.keys("Esc Esc Esc");
    hands.select("leaf-3");
    hands.keys("+ s");
    each_size("gates", &hands);
    hands.keys("Esc Esc t 1 9 0 5 Enter Enter 1 9 0 4 Enter");
    each_size("typing_in", &hands);
}

#[test]
fn an_empty_project_says_what_to_do_first() {
    let hands = Hands::empty();
    each_size("empty", &hands);
    assert!(hands.text(80, 24).contains("tankside add"));
}

#[test]
fn forty_pieces_stay_readable_and_the_selection_keeps_its_place() {
    let mut hands = forty();
    snapshot("forty_80x24", &hands.shown(80, 24, Theme::new(true, false)));
    snapshot(
        "forty_200x60",
        &hands.shown(200, 60, Theme::new(true, false)),
    );
    for _ in 0..35 {
        hands.keys("Right");
    }
    let name = hands.model.selected_piece().unwrap().to_owned();
    for (width, height) in [(80, 24), (40, 20), (200, 60)] {
        assert!(
            hands.text(width, height).contains(&name),
            "{width}x{height}: {name}"
        );
    }
}

#[test]
fn names_of_any_script_line_up_and_nothing_raw_is_drawn() {
    let hands = Hands::with(&[
        "\u{6728}\u{306e}\u{8449}",
        "e\u{301}te\u{301}",
        "\u{5e9}\u{5dc}\u{5d5}\u{5dd}",
        "a name that is far too long for any place on the bench",
    ]);
    snapshot("names_80x24", &hands.shown(80, 24, Theme::new(true, false)));
    snapshot("names_40x20", &hands.shown(40, 20, Theme::new(true, false)));
}

/// Everything that can lie on a screen, each by the keys that lead there from
/// the one before.
const LAYERS: [&str; 11] = [
    "+",
    "/",
    "Esc r",
    "Esc v",
    "Esc ?",
    "Esc f",
    "Esc -",
    "Esc k",
    "7 3 Enter Enter",
    "Esc Esc t",
    "1 9 0 5 Enter",
];

/// The screen with this key at every size up to 140x50.
fn at_every_size(key: &str) {
    let mut hands = evening();
    hands.keys(key);
    hands.draw_up_to(140, 50);
}

#[test]
fn what_is_due_of_a_piece_is_told_whole_on_80_columns() {
    let mut hands = evening();
    hands.keys("Down Down");
    for piece in ["stem", "leaf-1"] {
        let look = What::Look {
            piece: piece.to_owned(),
            findings: vec!["covered".parse().unwrap()],
        };
        hands.did(look, "mira");
        hands.wait(60.0);
    }
    for _ in 0..hands.model.facts.due.len() {
        let told = hands.text(80, 24);
        let ladder_aside = told
            .lines()
            .skip(2)
            .take(4)
            .filter(|l| !l.contains("ladder"));
        for line in ladder_aside {
            assert!(!line.contains('\u{2026}'), "{told}");
        }
        hands.keys("Down");
    }
}

#[test]
fn every_size_of_line_is_drawn() {
    at_every_size("l");
}

#[test]
fn every_size_of_piece_is_drawn() {
    at_every_size("p");
}

#[test]
fn every_size_of_holds_is_drawn() {
    at_every_size("h");
}

#[test]
fn every_size_of_close_out_is_drawn() {
    at_every_size("c");
}

/// What lies on a screen at every size up to 80x30, and at some above, each
/// layer at others.
fn layers_at_every_size(wanted: impl Fn(usize) -> bool) {
    let mut hands = evening();
    for (n, script) in LAYERS.into_iter().enumerate() {
        hands.keys(script);
        if wanted(n) {
            hands.draw_up_to(80, 30);
            let above = (81..=140).flat_map(|w| (0..=50).map(move |h| (w, h)));
            hands.draw_at(above.filter(|(w, h)| (usize::from(w + h) + n).is_multiple_of(11)));
        }
    }
}

#[test]
fn every_size_of_menus_entries_and_help_is_drawn() {
    layers_at_every_size(|n| n < 5);
}

#[test]
fn every_size_of_what_else_lies_on_a_screen_is_drawn() {
    layers_at_every_size(|n| n >= 5);
}

/// What a screen says, as one line: where it breaks is no matter.
fn flat(hands: &Hands, width: u16, height: u16) -> String {
    let text = hands.drawn(width, height, Theme::new(false, true));
    let words: Vec<&str> = text.split_whitespace().collect();
    words.join(" ")
}

#[test]
fn what_is_wrong_is_seen_whatever_lies_on_the_screen() {
    let alarms: [fn(&mut Model); 4] = [
        |model| model.stopped = Some("nothing is written: the disk is full".into()),
        |model| model.keys_fault = Some("keys.ron:2:5: no command is called x".into()),
        |model| model.settings_fault = Some("settings.ron:2:5: unexpected field".into()),
        |model| model.alarm("the journal cannot be read at line 7"),
    ];
    let told = [
        "! nothing is written:",
        "! keys.ron:2:5:",
        "! settings.ron:2:5:",
        "! the journal cannot be",
    ];
    for (alarm, told) in alarms.into_iter().zip(told) {
        let mut hands = evening();
        let places = ["p", "h", "c", "l", "m", "Esc i", "Esc v"];
        for keys in places.into_iter().chain(["Esc"]).chain(LAYERS) {
            hands.keys(keys);
            alarm(&mut hands.model);
            for (width, height) in [(40, 12), (40, 20), (80, 24), (200, 60)] {
                let shown = flat(&hands, width, height);
                assert!(shown.contains(told), "{keys} {width}x{height}: {shown}");
            }
        }
        let shown = flat(&hands, 39, 11);
        assert!(shown.contains(told) && shown.contains("40x12"), "{shown}");
    }
}

#[test]
fn while_it_is_locked_both_the_lock_and_what_is_wrong_are_told() {
    let mut hands = evening();
    hands.keys("k");
    update(
        &mut hands.model,
        Message::Stopped("nothing is written".into()),
        hands.now,
    );
    let shown = flat(&hands, 40, 12);
    assert!(shown.contains("keyboard locked"), "{shown}");
    assert!(shown.contains("! nothing is written"), "{shown}");
}

#[test]
fn the_most_urgent_is_told_also_where_the_list_is_scrolled_past_it() {
    let mut hands = evening();
    let first = hands.model.facts.due[0].clone();
    let told = format!("above: {} {}", first.what.word(), first.place());
    assert!(!flat(&hands, 80, 24).contains("above:"));
    for _ in 1..hands.model.facts.due.len() {
        hands.keys("Down");
    }
    for (width, height) in [(40, 12), (80, 24)] {
        for keys in ["", "+", "Esc k"] {
            hands.keys(keys);
            let shown = flat(&hands, width, height);
            assert!(shown.contains(&told), "{keys} {width}x{height}: {shown}");
        }
        hands.keys("7 3 Enter");
    }
}

#[test]
fn what_was_told_and_silenced_is_read_on_the_screen() {
    let mut hands = evening();
    hands.keys("m");
    assert!(hands.text(80, 24).contains("nothing was told yet"));
    let told = (1..=60).rev();
    let told =
        told.map(|n| format!("Mon 2 Mar 18:{n:02} told, ring 1 (mira): look stem due 18:00"));
    let told = Message::Told(told.collect());
    update(&mut hands.model, told, hands.now);
    let shown = hands.text(80, 24);
    assert!(shown.contains("18:60 told, ring 1 (mira)"), "{shown}");
    assert!(!shown.contains("18:01"), "{shown}");
    for _ in 0..9 {
        hands.keys("PgDn");
    }
    assert!(hands.text(80, 24).contains("18:01 told"));
    hands.keys("Esc");
    assert!(hands.model.layers.is_empty());
    // From the menu too, by its letter.
    hands.keys("+ + m");
    assert!(matches!(hands.top(), Some(Layer::Told(0))));
}

#[test]
fn on_the_least_screen_what_is_left_out_is_counted_and_help_is_hinted() {
    let mut hands = evening();
    for screen in ["l", "p", "h", "c"] {
        hands.keys(screen);
        let shown = flat(&hands, 40, 12);
        assert!(shown.contains(" more lines: "), "{screen}: {shown}");
        assert!(shown.ends_with("/ help"), "{screen}: {shown}");
    }
    for layer in ["l +", "/", "Esc ?", "Esc m", "Esc v"] {
        hands.keys(layer);
        update(
            &mut hands.model,
            Message::Told(vec!["a line".to_owned(); 30]),
            hands.now,
        );
        let shown = flat(&hands, 40, 12);
        assert!(shown.contains(" more below"), "{layer}: {shown}");
        assert!(!flat(&hands, 80, 250).contains(" more below"), "{layer}");
    }
}

#[test]
fn too_small_a_terminal_is_told_the_size_that_is_wanted() {
    let hands = evening();
    for (width, height) in (5..=60).flat_map(|w| (1..=14).map(move |h| (w, h))) {
        let text = hands.drawn(width, height, Theme::new(false, true));
        let named = text.replace(['\n', ' '], "").contains("40x12");
        assert_eq!(named, width < 40 || height < 12, "{width}x{height}: {text}");
    }
}

#[test]
fn an_empty_project_and_forty_pieces_fit_every_size_too() {
    for mut hands in [Hands::empty(), forty()] {
        for script in ["p", "h", "c", "l"].into_iter().chain(LAYERS) {
            hands.keys(script);
            let widths = (0..=140).step_by(23);
            hands.draw_at(widths.flat_map(|w| (0..=50).step_by(7).map(move |h| (w, h))));
        }
    }
}

#[test]
fn a_terminal_that_is_too_small_says_what_is_due_where_that_fits() {
    let hands = evening();
    let text = |width, height| hands.drawn(width, height, Theme::new(false, true));
    let small = [
        (4, 1, "40x."),
        (10, 2, "40x12"),
        (36, 1, "tankside wants 40x12; this is 36x1"),
        (
            38,
            9,
            "tankside wants 40x12; this is 38x9;\ndue: ladder main 21 min over",
        ),
    ];
    for (width, height, told) in small {
        assert_eq!(text(width, height).trim_end(), told);
    }
}

#[test]
fn the_far_view_is_several_rows_high_at_every_size() {
    let mut hands = evening();
    hands.keys("f");
    for (width, height, high) in [(40, 12, 5), (80, 24, 5), (120, 40, 10), (200, 60, 15)] {
        let text = hands.drawn(width, height, Theme::new(false, false));
        each_block(&text, high);
    }
}

/// Whether lines of blocks stand together, so many at a time.
fn each_block(text: &str, high: usize) {
    let mut run = 0;
    for line in text.lines().chain([""]) {
        if line.contains('\u{2588}') {
            run += 1;
        } else {
            assert!(run == 0 || run == high, "{run} lines high:\n{text}");
            run = 0;
        }
    }
    assert!(text.contains('\u{2588}'), "{text}");
}

#[test]
fn from_an_empty_bench_to_a_running_strike_with_keys_only() {
    let mut hands = Hands::with(&["stem", "base"]);
    hands.keys("+ 1");
    assert!(
        matches!(hands.top(), Some(Layer::Gates(_))),
        "the gates of the coat come first"
    );
    hands.keys("* Enter");
    assert!(
        matches!(hands.top(), Some(Layer::Form(_))),
        "all ticked: the start is next"
    );
    hands.keys("Enter");
    assert_eq!(hands.piece("stem").stage, Some(Stage::Coat));
    assert!(hands.piece("stem").is_running());
    hands.keys("+ g Enter");
    hands.wait(9.0 * 3600.0);
    hands.keys("+ m 2 4 0 Enter Enter Enter");
    hands.keys("+ f Enter");
    assert_eq!(
        hands.piece("stem").stage,
        Some(Stage::Wiring),
        "{}",
        hands.text(80, 24)
    );
    hands.keys("+ s Enter");
    hands.keys("+ m 2 5 0 +");
    hands.keys("+ f * Enter Enter");
    assert_eq!(
        hands.piece("stem").stage,
        Some(Stage::Strike),
        "{}",
        hands.text(80, 24)
    );
    hands.keys("+ s * Enter Enter");
    assert_eq!(hands.piece("stem").tank.as_deref(), Some("main"));
    hands.keys("s 0 . 3 Enter Enter");
    assert!(hands.model.facts.tanks[0].on);
    assert!(
        hands.model.said.text.contains("recorded #"),
        "{}",
        hands.model.said.text
    );
}

#[test]
fn a_look_is_done_with_the_keypad_only() {
    let mut hands = evening();
    let row = hands.due_row(DueKind::Look, "leaf-1");
    for _ in 0..row {
        hands.keys("Down");
    }
    hands.keys("Enter");
    let before = hands.model.project.events().len();
    // The lower current is asked first: leaf-1 shares a constant current.
    assert!(
        hands.text(80, 24).contains("set the supply of main"),
        "{}",
        hands.text(80, 24)
    );
    hands.keys("Enter Enter");
    hands.keys("Enter");
    assert!(hands.piece("leaf-1").lifted_at.is_some());
    hands.keys("3 5 Enter Right Enter");
    hands.keys("Enter Enter");
    let look = hands.piece("leaf-1").looks.last().cloned().unwrap();
    assert_eq!(look.findings[0].to_string(), "bare:5%@rim");
    // A bare spot may be touched up while the piece is out.
    assert!(hands.text(80, 24).contains("leaf-1: touch-up"));
    hands.keys("*");
    hands.wait(7.0 * 60.0);
    // Out for over five minutes: the dip stands ready.
    hands.keys("Enter Enter");
    assert!(
        hands.piece("leaf-1").lifted_at.is_none(),
        "{}",
        hands.text(80, 24)
    );
    hands.keys("Enter Enter");
    assert!(hands.model.layers.is_empty(), "the guide is through");
    let told: Vec<String> = hands
        .model
        .project
        .events()
        .iter()
        .skip(before)
        .map(|e| e.what.to_string())
        .collect();
    assert_eq!(told.len(), 5, "{told:?}");
    assert!(told[3].contains("dipped"), "{told:?}");
}

#[test]
fn what_was_dealt_with_leaves_the_most_urgent_line_selected() {
    let mut hands = evening();
    for _ in 0..hands.due_row(DueKind::Look, "leaf-1") {
        hands.keys("Down");
    }
    let row = hands.model.due_row;
    assert!(row > 0, "a line above is more urgent");
    // The clock alone moves no selection.
    hands.wait(30.0);
    assert_eq!(hands.model.due_row, row);
    let look = What::Look {
        piece: "leaf-1".to_owned(),
        findings: vec!["covered".parse().unwrap()],
    };
    hands.did(look, "mira");
    assert_eq!(hands.model.due_row, 0);
}

#[test]
fn a_refusal_offers_the_override_and_asks_for_a_reason() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+ f");
    assert!(
        matches!(hands.top(), Some(Layer::Gates(_))),
        "the charge is not reached"
    );
    hands.keys("Up");
    let Some(Layer::Gates(list)) = hands.top() else {
        unreachable!()
    };
    let last = list.rows();
    for _ in 1..last {
        hands.keys("Down");
    }
    hands.keys("Enter");
    hands.keys("Enter");
    assert!(
        matches!(hands.top(), Some(Layer::Form(form)) if form.wrong.is_some()),
        "a reason is needed"
    );
    hands.keys("t h i n Enter Enter");
    let stem = hands.piece("stem");
    assert_eq!(stem.stage, Some(Stage::Rinse), "{}", hands.text(80, 24));
    assert!(
        stem.marks
            .iter()
            .any(|m| m.kind == MarkKind::Override && m.because == "thin")
    );
}

#[test]
fn a_refused_return_offers_the_dip() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+ l Enter");
    hands.wait(600.0);
    hands.keys("+ r 2 Enter Enter");
    assert!(
        matches!(hands.top(), Some(Layer::Refused(_))),
        "{}",
        hands.text(80, 24)
    );
    snapshot(
        "refused_80x24",
        &hands.shown(80, 24, Theme::new(true, false)),
    );
    hands.keys("1 Enter Enter");
    assert!(hands.piece("stem").lifted_at.is_none());
}

#[test]
fn undo_says_what_it_takes_back_and_asks_once() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+ t 9 Enter Enter");
    assert_eq!(hands.piece("stem").turn.as_deref(), Some("9"));
    hands.keys("-");
    assert!(hands.text(80, 24).contains("turn stem: 9"));
    hands.keys("-");
    assert_eq!(hands.piece("stem").turn, None);
    hands.keys("y Enter");
    assert_eq!(hands.piece("stem").turn.as_deref(), Some("9"));
    hands.keys("- Esc");
    assert_eq!(
        hands.piece("stem").turn.as_deref(),
        Some("9"),
        "any other key: no"
    );
}

#[test]
fn a_tenfold_jump_asks_once_and_minutes_ago_are_kept() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+ y Enter 2 8 Enter");
    let Some(Layer::Form(form)) = hands.top() else {
        panic!("the entry stays")
    };
    assert!(
        form.wrong
            .as_ref()
            .is_some_and(|w| w.contains("28 A after 2.8 A")),
        "{:?}",
        form.wrong
    );
    hands.keys("Backspace Backspace 3 . 1 Enter Enter Enter 1 2 Enter");
    let reading = hands
        .model
        .project
        .state()
        .tank("main")
        .unwrap()
        .reading
        .unwrap();
    assert_eq!(reading.amps.to_string(), "3.1A");
    assert!((hands.now.since(reading.at) - 720.0).abs() < 1.0);
}

#[test]
fn the_keyboard_locks_for_wiping_and_unlocks_on_purpose() {
    let mut hands = evening();
    hands.keys("k q c 7 4 7 3 q Enter");
    assert!(matches!(hands.top(), Some(Layer::Locked(_))));
    assert_eq!(hands.model.screen, Screen::Line);
    hands.keys("7 3 Enter");
    assert!(hands.model.layers.is_empty());
}

#[test]
fn leaving_while_current_flows_is_asked() {
    let mut hands = evening();
    assert_eq!(hands.effects("q"), []);
    assert!(hands.text(80, 24).contains("current flows in main"));
    assert_eq!(hands.effects("q"), [Effect::Quit]);
    assert_eq!(Hands::empty().effects("q"), [Effect::Quit]);
}

#[test]
fn the_bell_rings_for_what_is_new_and_is_silenced_by_one_key() {
    let mut hands = evening();
    let effects = hands.tick();
    let [Effect::Notify(notice)] = effects.as_slice() else {
        panic!("something is overdue on opening: {effects:?}");
    };
    assert_eq!(notice.ring, 1);
    let most_urgent = hands.model.facts.due[0].say.clone();
    assert!(notice.text().starts_with(&most_urgent), "{}", notice.text());
    assert_eq!(hands.tick(), []);
    hands.wait(61.0);
    assert_eq!(hands.tick(), [], "wait ticked already");
    let effects = hands.effects("b");
    let [Effect::Silence(silence)] = effects.as_slice() else {
        panic!("it is written down: {effects:?}");
    };
    assert_eq!((silence.who.as_str(), silence.at), ("mira", hands.now));
    assert!(hands.model.facts.overdue().all(|due| silence.holds(due)));
    hands.wait(120.0);
    assert_eq!(hands.rung, 2);
}

#[test]
fn notices_go_out_whatever_lies_on_the_screen() {
    for keys in ["r", "+", "+ +", "/", "0", "k", "i", "-"] {
        let mut hands = evening();
        hands.keys(keys);
        hands.tick();
        assert!(!hands.model.layers.is_empty(), "{keys}");
        let rung = hands.rung;
        hands.wait(600.0);
        assert_eq!(hands.rung, rung + 1, "{keys}: once for all the time asleep");
        hands.tick();
        assert_eq!(hands.rung, rung + 1, "{keys}");
    }
}

#[test]
fn what_is_silenced_in_another_program_is_silent_here_and_said_once() {
    let mut hands = evening();
    hands.tick();
    let of = hands
        .model
        .facts
        .overdue()
        .map(|d| (d.name(), d.at))
        .collect();
    let said = Silence {
        at: hands.now,
        who: "Bo".into(),
        of,
    };
    let heard = || Message::Silenced(vec![said.clone()]);
    assert_eq!(update(&mut hands.model, heard(), hands.now), []);
    assert!(hands.model.said.text.starts_with("silenced by Bo"));
    hands.model.said = Said::default();
    update(&mut hands.model, heard(), hands.now);
    assert_eq!(hands.model.said.text, "");
    let rung = hands.rung;
    hands.wait(61.0);
    assert_eq!(hands.rung, rung);
}

#[test]
fn a_notice_tells_only_what_still_stands() {
    let mut hands = evening();
    let effects = hands.tick();
    let [Effect::Notify(notice)] = effects.as_slice() else {
        panic!("something is overdue on opening: {effects:?}");
    };
    let project = &hands.model.project;
    assert_eq!(notice.still(project, &[]).as_ref(), Some(&**notice));
    let silence = Silence {
        at: hands.now,
        who: String::new(),
        of: notice.due().map(|d| (d.name(), d.at)).collect(),
    };
    assert_eq!(notice.still(project, &[silence]), None);
    let names: Vec<&str> = project
        .definition
        .pieces
        .iter()
        .map(|p| p.name.as_str())
        .collect();
    let untouched = Hands::with(&names);
    assert_eq!(notice.still(&untouched.model.project, &[]), None);
}

#[test]
fn an_evening_is_closed_and_the_next_morning_begins_with_it() {
    let mut hands = Hands::with(&["stem"]);
    hands.keys("c s");
    assert!(hands.model.said.text.contains("still to tick"));
    let items = hands.model.facts.closeout.items.len();
    for _ in 0..items {
        hands.keys("Enter");
    }
    hands.keys("s s");
    assert!(
        hands.model.project.state().signed.is_some(),
        "{}",
        hands.text(80, 24)
    );
    let model = Model::new(hands.model.project.clone(), Some("mira".into()), hands.now);
    assert_eq!(model.layers, [Layer::Morning]);
    let again = Hands::of(model, hands.now);
    snapshot(
        "morning_80x24",
        &again.shown(80, 24, Theme::new(true, false)),
    );
}

#[test]
fn who_it_is_is_asked_once_and_kept() {
    let mut hands = Hands::with(&["stem"]);
    hands.model.who = None;
    let effects = hands.effects("n h i Enter Enter m i r a Enter");
    assert!(
        matches!(&effects[..], [Effect::SaveWho(name), Effect::Record(action)] if name == "mira" && action.who == "mira"),
        "{effects:?}"
    );
    assert!(matches!(
        hands.model.project.events().last().unwrap().what,
        What::Note { .. }
    ));
}

#[test]
fn several_pieces_are_refreshed_together() {
    let mut hands = evening();
    hands.keys("h Up Up Up Up Up Up");
    hands.keys("Space Down Space w Enter");
    let last = hands.model.project.events().last().unwrap();
    assert!(
        matches!(&last.what, What::Wipe { pieces } if pieces.len() == 2),
        "{}",
        last.what
    );
}

#[test]
fn a_piece_that_runs_is_never_drawn_as_waiting() {
    let hands = evening();
    let running = hands.piece("stem").stage_state;
    assert_eq!(running, StageState::Running);
    assert!(hands.text(80, 24).contains("\u{25cf} stem"));
}

#[test]
fn an_idle_screen_changes_with_the_minute_only() {
    let hands = Hands::with(&["stem"]);
    let wait = hands.model.redraw_in(hands.now).unwrap();
    assert!((59.0..=60.0).contains(&wait), "{wait}");
    let busy = evening();
    assert!(busy.model.redraw_in(busy.now).unwrap() <= 60.0);
}

#[test]
fn the_list_of_keys_is_the_table() {
    snapshot("keys", &keys_markdown());
}

#[test]
fn any_keys_leave_the_model_whole() {
    // A deterministic walk: every key of a small alphabet, ten thousand times.
    let mut hands = evening();
    let alphabet: Vec<Key> = "0123456789.+-*/asklrfpmtchnuywbz "
        .chars()
        .map(Key::char)
        .collect();
    let named = [
        "Enter",
        "Esc",
        "Up",
        "Down",
        "Left",
        "Right",
        "Tab",
        "Backspace",
        "PgDn",
    ]
    .map(key_named);
    let keys: Vec<Key> = alphabet.into_iter().chain(named).collect();
    let mut seed = 12_345_u64;
    for step in 0..3000 {
        seed = seed
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let key = keys[(seed >> 33) as usize % keys.len()];
        hands.press(key);
        if step % 20 == 0 {
            hands.now = hands.now.plus_seconds(30.0);
            hands.text(80, 24);
        }
    }
    let _ = update(&mut hands.model, Message::Tick, hands.now);
    assert!(hands.model.project.events().len() > 30);
}

#[test]
fn a_guided_look_shows_the_lower_current_and_what_comes_next() {
    let mut hands = evening();
    let row = hands.due_row(DueKind::Look, "leaf-1");
    for _ in 0..row {
        hands.keys("Down");
    }
    hands.keys("Enter");
    each_size("guide_lower", &hands);
    hands.keys("* Enter");
    assert!(
        hands.piece("leaf-1").lifted_at.is_some(),
        "a step may be left out"
    );
    each_size("guide_look", &hands);
}

#[test]
fn what_will_be_refused_says_so_before_enter() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+ l Enter");
    hands.wait(600.0);
    hands.keys("+ r 2");
    assert!(
        hands.text(80, 24).contains("this will be refused"),
        "{}",
        hands.text(80, 24)
    );
}

#[test]
fn ticks_stand_when_the_name_is_not_given_and_enter_says_what_it_does() {
    let mut hands = Hands::with(&["stem"]);
    hands.model.who = None;
    hands.select("stem");
    hands.keys("+ s");
    assert!(hands.text(80, 24).contains("Enter tick it"));
    hands.keys("* Enter Esc");
    let told = hands.text(80, 24);
    assert!(told.contains("[x] print primed"), "{told}");
    assert!(told.contains("Enter write down"), "{told}");
    assert!(hands.model.project.events().is_empty());
}

#[test]
fn the_pad_alone_can_say_who_it_is_where_somebody_wrote_before() {
    let mut hands = evening();
    hands.model.who = None;
    hands.did(
        What::Note {
            piece: "stem".to_owned(),
            text: "rinsed".to_owned(),
        },
        "otto",
    );
    hands.keys("i Right Enter");
    assert_eq!(hands.model.who.as_deref(), Some("otto"));
}

#[test]
fn what_only_the_past_refuses_names_its_time() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+ l Enter");
    hands.wait(600.0);
    hands.keys("+ r 2 Enter 1 5");
    let told = hands.text(80, 24);
    let wrong = told.lines().find(|l| l.contains("this will be refused"));
    let wrong = wrong.unwrap_or_else(|| panic!("{told}"));
    assert!(wrong.contains("refused: at 1"), "{wrong}");
    assert!(wrong.contains("has not been lifted"), "{wrong}");
}

#[test]
fn a_start_of_minutes_ago_takes_ticks_of_minutes_ago() {
    let mut hands = evening();
    hands.select("leaf-3");
    hands.keys("+ s . 1 0 Enter * Enter");
    let Some(Layer::Form(form)) = hands.top() else {
        panic!("the start is next: {}", hands.text(80, 24))
    };
    assert_eq!(form.fields.last().unwrap().text, "10");
    hands.keys("Enter");
    let started = hands.piece("leaf-3").started_at.unwrap();
    assert!((hands.now.since(started) - 600.0).abs() < 1.0);
}

#[test]
fn a_figure_is_copied_with_its_unit_and_its_doubt_on_every_screen() {
    let mut hands = evening();
    hands.select("stem");
    for screen in ["l", "p", "h", "c"] {
        let effects = hands.effects(&format!("{screen} v 1"));
        let [Effect::Copy(charge)] = effects.as_slice() else {
            panic!("{screen}: {effects:?}")
        };
        assert_eq!(charge, "~0.834 \u{b1}0.192 Ah");
        assert!(hands.model.said.text.contains(charge.as_str()));
        assert!(hands.text(80, 24).contains(charge.as_str()));
    }
    // The keypad gets there too.
    hands.keys("l + + v");
    assert!(hands.text(80, 24).contains("stem: figures to copy"));
    each_size("copy", &hands);
    hands.keys("/");
    assert!(hands.text(80, 24).contains("ageing hold has not begun"));
    hands.keys("Esc");
    hands.model.spot = Some(tankside::tui::app::Spot::Tank("main".into()));
    assert_eq!(hands.effects("v 2"), [Effect::Copy("2.80 A".into())]);
    let mut empty = Hands::empty();
    assert_eq!(empty.effects("v 1"), [Effect::Copy("0.00 Ah".into())]);
}
