//! What a person who has the numeric keypad only must be able to do: every
//! script here is made of its keys, and never of a letter unless it says so.

use std::collections::BTreeMap;

use crate::screens_support::*;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use tankside::project::{DueKind, MeshRef, Project, Setting, Stage, What};
use tankside::tui::app::{
    Command, Effect, Failure, Form, Key, KeyCode, Keymap, Layer, Message, Model, Rebinding, Screen,
    Word, commands, update,
};
use tankside::tui::view::{self, Role, Theme};
use tankside::units::{A, CM};

fn form(hands: &Hands) -> &Form {
    match hands.top() {
        Some(Layer::Form(form)) => form,
        other => panic!("no entry is open but {other:?}"),
    }
}

fn typed(hands: &Hands, field: usize) -> &str {
    &form(hands).fields[field].text
}

/// The hint bar at 80x24.
fn hint(hands: &Hands) -> String {
    hands.text(80, 24).lines().last().unwrap().to_owned()
}

fn last(hands: &Hands) -> What {
    hands.model.project.events().last().unwrap().what.clone()
}

/// Takes the line of a menu with these words by its digit, leafing with 0.
fn take(hands: &mut Hands, words: &str) {
    let Some(Layer::Menu(menu)) = hands.top() else {
        panic!("no menu: {}", hands.text(80, 24))
    };
    let lines = menu.entries.iter();
    let says: Vec<String> = lines.map(|e| e.say.clone()).collect();
    let row = says.iter().position(|say| say.contains(words));
    let row = row.unwrap_or_else(|| panic!("no line `{words}` in {says:?}"));
    for _ in 0..row / 9 {
        hands.keys("0");
    }
    hands.keys(&(row % 9 + 1).to_string());
}

/// Opens an action of a piece.
fn act(hands: &mut Hands, piece: &str, words: &str) {
    hands.select(piece);
    hands.keys("+");
    take(hands, words);
}

#[test]
fn a_suggestion_that_was_chosen_stays_when_the_second_passes() {
    let mut hands = evening();
    act(&mut hands, "stem", "turn");
    hands.keys("Right");
    hands.wait(2.0);
    assert_eq!(typed(&hands, 0), "upside down");
    hands.keys("Right");
    hands.wait(2.0);
    assert_eq!(typed(&hands, 0), "quarter turn");
    hands.keys("+");
    assert!(matches!(last(&hands), What::Turn { text, .. } if text == "quarter turn"));
}

#[test]
fn plus_and_minus_are_typed_amid_words_only_and_the_hints_say_so() {
    let mut hands = evening();
    act(&mut hands, "stem", "turn");
    let before = hint(&hands);
    assert!(
        before.contains("+ write down") && before.contains("- leave"),
        "{before}"
    );
    hands.keys("4 + 5 - 6");
    assert_eq!(typed(&hands, 0), "4+5-6");
    let amid = hint(&hands);
    assert!(
        !amid.contains("+ write down") && amid.contains("Esc leave"),
        "{amid}"
    );
    hands.keys("*");
    assert_eq!(typed(&hands, 0), "");
    hands.keys("-");
    assert!(hands.model.layers.is_empty(), "minus goes back");

    act(&mut hands, "stem", "turn");
    hands.keys("Right -");
    assert!(hands.model.layers.is_empty(), "from a suggestion too");
}

#[test]
fn a_figure_is_corrected_without_backspace() {
    let mut hands = evening();
    act(&mut hands, "stem", "main: reading");
    hands.keys("7 * 1 . 1 Enter 2 9 Enter");
    assert!(
        form(&hands).wrong.is_some(),
        "a tenfold jump is asked about"
    );
    hands.keys("2 . 9");
    assert_eq!(
        typed(&hands, 1),
        "2.9",
        "a digit after the question replaces"
    );
    hands.keys("Enter - 3");
    assert_eq!(typed(&hands, 1), "3", "so does one in a field come back to");
    hands.keys("Up 1 . 2 +");
    let What::Reading { volts, amps, .. } = last(&hands) else {
        panic!("{}", hands.text(80, 24))
    };
    assert_eq!(
        (volts.to_string(), amps.to_string()),
        ("1.2V".into(), "3A".into())
    );
}

#[test]
fn bath_and_lamp_are_written_down_only_when_they_were_read() {
    let mut hands = evening();
    act(&mut hands, "stem", "main: reading");
    hands.keys("+ Enter");
    let unread = last(&hands);
    assert!(
        matches!(
            unread,
            What::Reading {
                celsius: None,
                mode: None,
                ..
            }
        ),
        "{unread}"
    );
    // The last bath temperature is offered by Right.
    act(&mut hands, "stem", "main: reading");
    hands.keys("Enter Enter");
    assert!(hands.text(80, 24).contains("Right: as last time"));
    hands.keys("Right Enter 2 + Enter");
    let read = last(&hands);
    assert!(
        matches!(
            read,
            What::Reading {
                celsius: Some(_),
                mode: Some(_),
                ..
            }
        ),
        "{read}"
    );
}

#[test]
fn minus_on_an_untouched_temperature_goes_back() {
    let mut hands = evening();
    act(&mut hands, "stem", "main: reading");
    hands.keys("Enter Enter");
    assert_eq!(form(&hands).at, 2);
    hands.keys("-");
    assert_eq!(form(&hands).at, 1);
    hands.keys("Enter * - 2");
    assert_eq!(typed(&hands, 2), "-2");
}

#[test]
fn enter_with_nothing_due_opens_the_actions() {
    let mut hands = Hands::with(&["stem"]);
    assert!(
        hint(&hands).starts_with("Enter actions"),
        "{}",
        hint(&hands)
    );
    hands.keys("Enter");
    assert!(hands.text(80, 24).contains("stem: what can be done now"));
    hands.keys("- . Enter");
    assert!(matches!(hands.top(), Some(Layer::Menu(_))), "on Piece too");
}

#[test]
fn the_supply_is_set_from_the_piece_and_switched_off_when_its_tank_is_left() {
    let mut hands = evening();
    let off = |hands: &Hands| !hands.model.facts.tanks[0].on;
    act(&mut hands, "leaf-3", "main: supply set to amps");
    hands.keys("-");
    for piece in ["stem", "leaf-1"] {
        act(&mut hands, piece, "finish build");
        hands.keys("Up");
        let Some(Layer::Gates(list)) = hands.top() else {
            panic!("{}", hands.text(80, 24))
        };
        for _ in 1..list.rows() {
            hands.keys("Down");
        }
        hands.keys("Enter Right +");
        if piece == "stem" {
            assert!(hands.model.layers.is_empty(), "leaf-1 still hangs there");
        }
    }
    assert_eq!(form(&hands).title, "main: supply off");
    assert!(form(&hands).guided, "it may be left out");
    hands.keys("*");
    assert!(!off(&hands) && hands.model.layers.is_empty());
    act(&mut hands, "leaf-1", "main: supply off");
    hands.keys("+");
    assert!(off(&hands));
}

#[test]
fn a_bare_spot_in_a_guided_look_leads_to_its_touch_up() {
    let mut hands = evening();
    for _ in 0..hands.due_row(DueKind::Look, "stem") {
        hands.keys("Down");
    }
    hands.keys("Enter * Enter 3 5 Enter Right Enter Enter Enter");
    assert!(
        form(&hands).title.contains("touch-up"),
        "{}",
        hands.text(80, 24)
    );
    hands.keys("Right +");
    assert!(matches!(last(&hands), What::TouchUp { place, .. } if place == "rim"));
    assert!(
        form(&hands).title.contains("return"),
        "{}",
        hands.text(80, 24)
    );
}

#[test]
fn close_out_opens_everything_else() {
    let mut hands = evening();
    hands.keys(". . . .");
    assert!(
        hint(&hands).contains("+ everything else"),
        "{}",
        hint(&hands)
    );
    hands.keys("+");
    take(&mut hands, "lock the keyboard");
    assert!(matches!(hands.top(), Some(Layer::Locked(_))));
}

#[test]
fn words_can_be_chosen_without_a_letter() {
    let mut hands = evening();
    act(&mut hands, "stem", "contact moved");
    hands.keys("Enter Right +");
    assert!(matches!(last(&hands), What::Contact { text, .. } if text == "contact 1"));

    act(&mut hands, "leaf-2", "skip this stage");
    hands.keys("Right +");
    assert!(matches!(last(&hands), What::Skip { because, .. } if because == "not needed"));

    // With letters once; from then on the note is offered.
    act(&mut hands, "stem", "note");
    hands.keys("d u l l +");
    assert_eq!(typed(&hands, 0), "dull+", "amid words");
    hands.keys("Enter Enter");
    act(&mut hands, "leaf-1", "note");
    hands.keys("Right +");
    assert!(matches!(last(&hands), What::Note { text, .. } if text == "dull+"));
}

#[test]
fn who_is_offered_the_login_name() {
    let project = Project::new(definition(&["stem"]), Vec::new(), BTreeMap::new()).unwrap();
    let now = "2026-03-02T17:00:00Z".parse().unwrap();
    let model = Model::new(project, None, now).with_login(Some("mira".into()));
    let mut hands = Hands::of(model, now);
    act(&mut hands, "stem", "note");
    let effects = hands.effects("Right + Right +");
    assert!(
        matches!(&effects[..], [Effect::SaveWho(name), Effect::Record(_)] if name == "mira"),
        "{effects:?}"
    );
}

#[test]
fn a_menu_of_more_than_nine_lines_says_how_to_reach_them() {
    let mut hands = evening();
    hands.select("stem");
    hands.keys("+");
    assert!(hint(&hands).contains("0 next nine"), "{}", hint(&hands));
    hands.keys("0");
    let text = hands.text(80, 24);
    assert!(text.contains("main: supply, bath and the rest"), "{text}");
    let narrow = hands.text(40, 20);
    assert!(narrow.contains("- back"), "{narrow}");
}

#[test]
fn control_c_leaves_at_once_whatever_is_open() {
    let mut hands = evening();
    let control_c = Key {
        code: KeyCode::Char('c'),
        ctrl: true,
    };
    hands.select("stem");
    for script in ["", "+", "9 5", "* - *"] {
        hands.keys(script);
        let effects = update(&mut hands.model, Message::Key(control_c), hands.now);
        assert!(effects.contains(&Effect::Quit), "after `{script}`");
    }
}

#[test]
fn the_ladders_of_one_supply_are_one_line_and_dealt_with_once() {
    let mut hands = evening();
    let ladders = |hands: &Hands| {
        let due = hands.model.facts.due.iter();
        due.filter(|d| d.what == DueKind::Ladder)
            .cloned()
            .collect::<Vec<_>>()
    };
    let [line] = &ladders(&hands)[..] else {
        panic!("{:?}", ladders(&hands))
    };
    assert_eq!(line.say, "set main to 7.00 A for leaf-1, stem: step 2 of 3");
    assert!(
        hands.text(80, 24).contains("ladder 21 min over"),
        "each piece tells it"
    );
    hands.keys("Enter +");
    assert!(
        matches!(last(&hands), What::Supply { to: Setting::Amps(amps), .. } if (amps.to(A) - 7.0).abs() < 1e-9)
    );
    assert!(ladders(&hands).iter().all(|d| d.at > hands.now));
}

#[test]
fn a_loggers_file_is_asked_for_by_its_path() {
    let mut hands = evening();
    act(&mut hands, "stem", "main: supply, bath");
    take(&mut hands, "data logger's file");
    hands.keys("Enter");
    let text = hands.text(80, 24);
    assert!(text.contains("file wants a few words"), "{text}");
    let paste = Message::Paste("/media/log 1.csv".into());
    update(&mut hands.model, paste, hands.now);
    let effects = hands.effects("Enter");
    let [Effect::Record(action)] = &effects[..] else {
        panic!("{effects:?}")
    };
    assert!(
        matches!(&action.what, What::Logger { tank, file, .. } if tank == "main" && file == "/media/log 1.csv"),
        "{action:?}"
    );
    assert_eq!(action.at, None);
}

#[test]
fn warnings_stand_in_the_entry_before_enter() {
    let mut definition = definition(&["stem"]);
    definition.pieces[0].size = Some([CM.of(30.0), CM.of(50.0), CM.of(90.0)]);
    definition.tanks[0].inside = Some([CM.of(20.0), CM.of(20.0), CM.of(20.0)]);
    definition.tanks[0].supply.limit_amps = Some(A.of(2.0));
    definition.pieces[0].route = Some(vec![Stage::Strike, Stage::Build]);
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    let now = "2026-03-02T17:00:00Z".parse().unwrap();
    let mut hands = Hands::of(Model::new(project, Some("mira".into()), now), now);
    act(&mut hands, "stem", "start strike");
    hands.keys("* Enter");
    for (width, height) in [(80, 24), (120, 40), (40, 20)] {
        let text = hands.text(width, height);
        assert!(text.contains("! mind: "), "{width}x{height}: {text}");
    }
    hands.keys("+");
    act(&mut hands, "stem", "main: supply set to amps");
    hands.keys("2 . 4");
    let text = hands.text(80, 24);
    assert!(
        text.contains("! mind: 2.4A is over what the supply"),
        "{text}"
    );
}

#[test]
fn a_piece_without_current_is_not_called_too_low() {
    let mut hands = evening();
    act(&mut hands, "stem", "lift");
    hands.keys("+ .");
    let text = hands.text(80, 24);
    assert!(text.contains("current    no current"), "{text}");
    assert!(!text.contains("A/dm2"), "{text}");
}

#[test]
fn a_digit_is_the_same_piece_wherever_it_is_and_only_selects() {
    let mut hands = evening();
    for (n, piece) in hands
        .model
        .project
        .definition
        .pieces
        .clone()
        .iter()
        .enumerate()
    {
        let digit = (n + 1).to_string();
        for press in ["first", "second"] {
            hands.keys(&digit);
            assert_eq!(
                hands.model.selected_piece(),
                Some(piece.name.as_str()),
                "{press}"
            );
            assert!(hands.model.layers.is_empty(), "{press} press of {digit}");
        }
    }
    hands.keys("1 +");
    assert!(hands.text(80, 24).contains("stem: what can be done now"));
}

#[test]
fn the_undo_question_names_every_key_that_answers_it() {
    let mut hands = evening();
    let before = hands.model.project.events().len();
    hands.keys("-");
    let text = hands.text(80, 24);
    assert!(
        text.contains("Enter or -: yes; any other key: no"),
        "{text}"
    );
    hands.keys("0");
    assert_eq!(hands.model.project.events().len(), before);
    hands.keys("- -");
    assert!(matches!(last(&hands), What::Undo { .. }));
    hands.keys("y");
    let text = hands.text(80, 24);
    assert!(
        text.contains("Enter or y: yes; any other key: no"),
        "{text}"
    );
}

#[test]
fn a_reading_that_nobody_typed_is_asked_about_once() {
    let mut hands = evening();
    act(&mut hands, "stem", "main: reading");
    let before = hands.model.project.events().len();
    hands.keys("+");
    let text = hands.text(80, 24);
    assert!(
        text.contains("the same as last: 0.9 V 2.8 A? Enter yes"),
        "{text}"
    );
    assert_eq!(hands.model.project.events().len(), before);
    hands.keys("Enter");
    assert!(matches!(last(&hands), What::Reading { .. }));

    act(&mut hands, "stem", "main: reading");
    hands.keys("Enter 2 . 7 +");
    assert!(hands.model.layers.is_empty(), "one figure was read");
}

#[test]
fn lines_of_a_checklist_keep_their_digits() {
    let mut hands = evening();
    act(&mut hands, "leaf-3", "start strike");
    let line = |hands: &Hands, words: &str| {
        let text = hands.text(80, 24);
        let found = text.lines().find(|l| l.contains(words));
        // Where the pointer is does not matter here.
        let found = found.map(|l| l.replacen('>', " ", 1));
        found.unwrap_or_else(|| panic!("no `{words}` in {text}"))
    };
    let Some(Layer::Gates(list)) = hands.top() else {
        panic!("no checklist")
    };
    let says: Vec<String> = list
        .gates
        .iter()
        .map(|g| g.say.chars().take(20).collect())
        .collect();
    assert!(says.len() > 2);
    hands.keys("1 Enter");
    assert!(
        line(&hands, &says[0]).starts_with("1 ok "),
        "{}",
        line(&hands, &says[0])
    );
    assert!(
        line(&hands, &says[1]).starts_with("2 [ ] "),
        "{}",
        line(&hands, &says[1])
    );
    hands.keys("Enter");
    assert!(line(&hands, &says[1]).starts_with("2 ok "));
    assert!(line(&hands, &says[2]).starts_with("3 [ ] "));
}

#[test]
fn digits_of_the_close_out_stay_with_what_a_person_ticks() {
    let mut hands = evening();
    hands.keys(". . . .");
    let digits = |hands: &Hands| {
        let items = 0..hands.model.facts.closeout.items.len();
        items
            .map(|n| hands.model.digit_of_item(n))
            .collect::<Vec<_>>()
    };
    let before = digits(&hands);
    let items = hands.model.facts.closeout.items.clone();
    for (item, digit) in items.iter().zip(&before) {
        assert!(
            digit.is_none()
                || hands
                    .model
                    .facts
                    .closeout
                    .check_ticks(std::slice::from_ref(&item.id))
                    .is_ok()
        );
    }
    for _ in 0..12 {
        hands.keys("Down");
    }
    assert_eq!(digits(&hands), before, "after scrolling");
    hands.keys("2");
    assert_eq!(digits(&hands), before, "after a tick");
    let second = before.iter().position(|d| *d == Some(2)).unwrap();
    assert!(hands.model.facts.closeout.items[second].done);
}

#[test]
fn escape_in_an_entry_goes_one_field_back() {
    let mut hands = evening();
    act(&mut hands, "stem", "contact moved");
    hands.keys("Enter t Esc");
    assert_eq!(form(&hands).at, 0);
    hands.keys("Esc");
    assert!(hands.model.layers.is_empty());
}

#[test]
fn the_present_name_stands_ready_and_the_new_one_is_told() {
    let mut hands = evening();
    hands.keys("i");
    assert_eq!(typed(&hands, 0), "mira");
    hands.keys("I d a Enter");
    assert_eq!(hands.model.said.text, "you are Ida");
}

#[test]
fn a_finish_that_leaves_a_shared_current_lowers_it_first() {
    let mut hands = evening();
    act(&mut hands, "stem", "finish build");
    hands.keys("*");
    take_gate(&mut hands, "good enough");
    hands.keys("Enter");
    assert_eq!(
        form(&hands).title,
        "set the supply of main",
        "{}",
        hands.text(80, 24)
    );
    let text = hands.text(80, 24);
    assert!(text.contains("lower first"), "{text}");
    hands.keys("+");
    assert!(
        matches!(last(&hands), What::Supply { to: Setting::Amps(amps), .. } if amps.to(A) < 2.8)
    );
    assert!(
        form(&hands).title.starts_with("finish build"),
        "{}",
        hands.text(80, 24)
    );
    hands.keys("+");
    assert!(hands.piece("stem").tank.is_none());
    let told = &hands.model.said.text;
    assert!(
        told.contains("finish build of stem"),
        "the stage is named: {told}"
    );
    assert!(hands.model.layers.is_empty());
}

/// Chooses the line of the checklist with these words by its digit.
fn take_gate(hands: &mut Hands, words: &str) {
    let text = hands.text(80, 24);
    let line = text
        .lines()
        .find(|l| l.contains(words))
        .unwrap_or_else(|| panic!("{text}"));
    let digit = line[..1].to_owned();
    hands.keys(&digit);
}

#[test]
fn a_refusal_tells_which_tick_came_later() {
    let mut hands = evening();
    act(&mut hands, "leaf-3", "start strike");
    hands.keys("* Enter 5 +");
    let Some(Layer::Refused(refused)) = hands.top() else {
        panic!("{}", hands.text(80, 24))
    };
    let now = hands.model.clock(hands.now);
    let told = format!("ticked only at {now}");
    assert!(!refused.late.is_empty() && refused.late.iter().all(|l| l.contains(&told)));
    let text = hands.text(80, 40);
    assert!(text.contains(&told), "{text}");
}

#[test]
fn a_piece_that_joins_company_is_read_as_of_its_start() {
    let mut hands = evening();
    act(&mut hands, "leaf-3", "start strike");
    hands.keys("* Enter +");
    hands.wait(120.0);
    let hung = hands.piece("leaf-3").hung_at.unwrap();
    act(&mut hands, "leaf-3", "reading on its own lead");
    let text = hands.text(80, 24);
    assert!(
        text.contains("at the start, so that no share is unknown"),
        "{text}"
    );
    hands.keys("0 . 9 Enter 0 . 6 +");
    let event = hands.model.project.events().last().unwrap();
    assert!(
        matches!(event.what, What::Reading { .. }),
        "{}",
        hands.text(80, 24)
    );
    assert_eq!(event.at, hung);
    let unknown = hands.model.figures("leaf-3").unwrap().charges.unknown_since;
    assert_eq!(unknown, None);
}

#[test]
fn what_went_wrong_is_told_to_its_end_until_it_is_mended() {
    let mut hands = evening();
    let message =
        "project.edited.ron:12:9: `areas` is no field of a piece; there are: name area mesh wires";
    let remedy = "mend it there; your text is kept in project.edited.ron: edit again";
    let failure = Failure::Trouble {
        message: message.into(),
        remedy: remedy.into(),
    };
    update(&mut hands.model, Message::Failed(failure), hands.now);
    let text = hands.text(80, 24);
    assert!(text.contains("edit again"), "{text}");
    let project = Box::new(hands.model.project.clone());
    update(&mut hands.model, Message::Project(project), hands.now);
    assert!(!hands.text(80, 24).contains("edit again"));
}

#[test]
fn that_nothing_is_written_any_more_stands_whatever_is_pressed() {
    let mut hands = evening();
    let why =
        "nothing can be recorded until the project is opened again: a write failed (no space)";
    let poisoned = || Failure::Trouble {
        message: "cannot write journal.ron".to_owned(),
        remedy: "see to the disk".to_owned(),
    };
    update(
        &mut hands.model,
        Message::Recorded(Err(poisoned())),
        hands.now,
    );
    update(
        &mut hands.model,
        Message::Stopped(why.to_owned()),
        hands.now,
    );
    let stands = |hands: &Hands| {
        for (width, height) in [(80, 24), (120, 40), (40, 20)] {
            let text = hands.text(width, height);
            let flat: Vec<&str> = text.split_whitespace().collect();
            assert!(
                flat.join(" ").contains("until the project is opened again"),
                "{text}"
            );
        }
    };
    stands(&hands);
    let project = Box::new(hands.model.project.clone());
    update(&mut hands.model, Message::Project(project), hands.now);
    update(
        &mut hands.model,
        Message::Notice("evening.md is written".to_owned()),
        hands.now,
    );
    stands(&hands);
    for key in [
        "Down", ".", "p", "h", "c", "l", "+", "Esc", "n", "Esc", "?", "Esc", "F9",
    ] {
        hands.keys(key);
        stands(&hands);
    }
    hands.wait(3600.0);
    stands(&hands);
}

#[test]
fn hints_are_those_of_the_moment() {
    // A step up of the ladder is no return from a look.
    let mut hands = evening();
    hands.keys("Enter");
    assert_eq!(form(&hands).title, "set the supply of main");
    let text = hands.text(80, 24);
    assert!(!text.contains("before the look"), "{text}");

    // What hangs already is not lowered in.
    let mut hands = evening();
    act(&mut hands, "leaf-3", "start strike");
    hands.keys("* Enter +");
    act(&mut hands, "leaf-3", "finish strike");
    take_gate(&mut hands, "override with");
    hands.keys("Right +");
    act(&mut hands, "leaf-3", "start build");
    take_gate(&mut hands, "[ ] the bare spots");
    hands.keys("Enter");
    let text = hands.text(80, 24);
    assert!(
        text.contains("it hangs already") && !text.contains("lowered in"),
        "{text}"
    );

    // With the supply off nothing is lifted live.
    let mut hands = evening();
    act(&mut hands, "stem", "main: supply off");
    hands.keys("+");
    act(&mut hands, "stem", "lift it out");
    let text = hands.text(80, 24);
    assert!(
        text.contains("No current: out at once") && !text.contains("lift live"),
        "{text}"
    );
}

#[test]
fn labels_say_what_is_meant() {
    let mut hands = evening();
    act(&mut hands, "stem", "main: reading");
    let text = hands.text(80, 24);
    assert!(
        text.contains("bath \u{b0}C") && text.contains("supply lamp (cc/cv)"),
        "{text}"
    );

    let mut hands = Hands::with(&["stem"]);
    act(&mut hands, "stem", "start conductive coat");
    hands.keys("* Enter +");
    act(&mut hands, "stem", "a coat on");
    assert_eq!(form(&hands).title, "stem: a coat on");
    hands.keys("+");
    act(&mut hands, "stem", "one more coat on");
    hands.keys("-");
    act(&mut hands, "stem", "ohms");
    hands.keys("2 4 0");
    assert!(hands.text(80, 24).contains("good: under 300 ohm"));
    hands.keys("Enter Right Right");
    let text = hands.text(80, 24);
    assert!(
        text.contains("contact 1") && !text.contains("good"),
        "{text}"
    );
}

#[test]
fn a_short_hold_is_told_as_a_clock_tells_it() {
    let mut definition = definition(&["stem"]);
    definition.hold.time = "30min".parse().unwrap();
    definition.pieces[0].route = Some(vec![Stage::Age, Stage::Seal]);
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    let now = "2026-03-02T17:00:00Z".parse().unwrap();
    let mut hands = Hands::of(Model::new(project, Some("mira".into()), now), now);
    act(&mut hands, "stem", "start ageing hold");
    if let Some(Layer::Gates(_)) = hands.top() {
        hands.keys("* Enter");
    }
    hands.keys("+");
    hands.wait(300.0);
    for screen in ["l", "p", "h"] {
        hands.keys(screen);
        let text = hands.text(80, 24);
        assert!(text.contains("5 min/30 min"), "{text}");
    }
}

/// A Greek (or Cyrillic) letter for each command that can have other keys: no default key
/// and no word of the program has one.
fn greek() -> Vec<(&'static Command, char)> {
    // Small ones are letters of menus too: the last commands are listed there.
    let capitals = ('Α'..='Ρ').chain('Σ'..='Ω').chain('Б'..='Ж');
    let letters = capitals.chain('α'..='ω');
    let changed = commands().iter().filter(|c| !c.is_fixed());
    let given: Vec<(&Command, char)> = changed.zip(letters).collect();
    assert!(given.len() + 2 == commands().len(), "too few letters");
    given
}

fn rebinding(name: &str, keys: &[&str]) -> Rebinding {
    let word = |text: &str| Word {
        text: text.to_owned(),
        line: 1,
        column: 1,
    };
    Rebinding {
        command: word(name),
        keys: keys.iter().map(|key| word(key)).collect(),
    }
}

fn all_greek() -> Keymap {
    let given = greek().into_iter();
    let patch = given.map(|(c, letter)| rebinding(c.name, &[&letter.to_string()]));
    Keymap::patched(&patch.collect::<Vec<_>>()).unwrap()
}

fn with_greek(mut hands: Hands) -> Hands {
    hands.model.keys = all_greek();
    hands
}

/// The Greek letter of a command.
fn letter(name: &str) -> String {
    let given = greek();
    let found = given.iter().find(|(c, _)| c.name == name);
    found.unwrap_or_else(|| panic!("no {name}")).1.to_string()
}

/// Whatever is drawn as a key, each run of cells by itself.
fn drawn_keys(hands: &Hands, width: u16, height: u16) -> Vec<String> {
    let theme = Theme::new(true, false);
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    let frame = |frame: &mut ratatui::Frame<'_>| view::draw(&hands.model, &theme, hands.now, frame);
    terminal.draw(frame).unwrap();
    let key = theme.style(Role::Key).fg.unwrap();
    let mut text = String::new();
    for line in terminal.backend().buffer().content().chunks(width.into()) {
        for cell in line {
            // The pointer of a selected line may stand beside a key.
            let is_key = cell.fg == key && cell.symbol() != ">";
            text.push_str(if is_key { cell.symbol() } else { " " });
        }
        text.push(' ');
    }
    text.split_whitespace().map(str::to_owned).collect()
}

#[test]
fn every_screen_shows_the_users_own_keys_and_no_other() {
    let is_own = |key: &str| {
        let mut chars = key.chars();
        let one = chars.next().unwrap();
        chars.next().is_none()
            && (('Α'..='ω').contains(&one) || ('Б'..='Ж').contains(&one) || one.is_ascii_digit())
    };
    for mut hands in [evening(), Hands::empty(), Hands::with(&["stem"])].map(with_greek) {
        for screen in Screen::ALL {
            hands.model.screen = screen;
            for (width, height) in [(80, 24), (40, 12), (120, 40), (200, 60)] {
                let keys = drawn_keys(&hands, width, height);
                let wrong: Vec<_> = keys.iter().filter(|key| !is_own(key)).collect();
                assert!(wrong.is_empty(), "{screen:?} {width}: {wrong:?}");
                let help = width < 80 || keys.contains(&letter("help"));
                assert!(help, "{screen:?}: {keys:?}");
                let text = hands.text(width, height);
                for default in ["Enter", " F2", "key e", "(*)", "+ +", "(b)", " / "] {
                    assert!(!text.contains(default), "{default}: {text}");
                }
            }
        }
    }
}

#[test]
fn help_lists_the_users_own_keys() {
    let mut hands = with_greek(evening());
    hands.model.keys_place = Some("/home/mira/keys.ron".into());
    for screen in Screen::ALL {
        hands.model.screen = screen;
        hands.keys(&letter("help"));
        let text = hands.text(200, 150);
        hands.keys("Esc");
        let keys = text.split("keys in menus").next().unwrap();
        assert!(keys.contains("/home/mira/keys.ron"), "{keys}");
        for (command, letter) in greek() {
            let listed = keys.contains(letter);
            assert_eq!(listed, command.on(screen), "{} on {screen:?}", command.name);
        }
        for default in ["Enter ", "F1", "Tab", "PgUp", "Space", "Ctrl-z"] {
            assert!(!keys.contains(default), "{default} on {screen:?}: {keys}");
        }
        assert!(keys.contains("Up") && keys.contains("Ctrl-c"), "{keys}");
    }
}

#[test]
fn whatever_is_said_names_the_users_own_keys() {
    let mut hands = with_greek(evening());
    let said = |hands: &Hands| hands.text(120, 40);
    hands.keys("q");
    let told = format!("q does nothing here; {} tells what does", letter("help"));
    assert!(said(&hands).contains(&told), "{}", said(&hands));

    hands.select("stem");
    hands.keys(&format!("{} n d u l l Enter Enter", letter("actions")));
    let told = format!("   {} undoes", letter("undo"));
    assert!(said(&hands).contains(&told), "{}", said(&hands));

    // The key that asked answers; the old one says no.
    let undo = letter("undo");
    hands.keys(&undo);
    let text = said(&hands);
    let told = format!("Enter or {undo}: yes; any other key: no");
    assert!(text.contains(&told), "{text}");
    let redo = format!(
        "{} + ({}) brings it back",
        letter("actions"),
        letter("redo")
    );
    assert!(text.contains(&redo), "{text}");
    assert!(hint(&hands).contains("- no"), "{}", hint(&hands));
    hands.keys("-");
    assert!(said(&hands).contains("left as it was"));
    hands.keys(&format!("{undo} {undo}"));
    assert!(said(&hands).contains(&redo), "{}", said(&hands));
    hands.keys(&format!("{} + {}", letter("actions"), letter("redo")));
    assert!(said(&hands).contains("bring #"), "{}", said(&hands));
    hands.keys(&letter("redo"));
    assert!(said(&hands).contains("brought back"), "{}", said(&hands));

    let silence = format!("{} + ({}) silences", letter("actions"), letter("silence"));
    hands.model.said = tankside::tui::app::Said::default();
    hands.wait(7200.0);
    assert!(said(&hands).contains(&silence), "{}", said(&hands));

    hands.keys(&letter("close_out"));
    let mut everything = hands.text(80, 24);
    assert!(everything.contains(&format!("{} everything else", letter("everything"))));
    hands.keys(&letter("everything"));
    everything = hands.text(80, 24);
    for name in ["lock", "far", "quit"] {
        let line = format!("{}  ", letter(name));
        assert!(everything.contains(&line), "{name}: {everything}");
    }
}

#[test]
fn every_key_does_under_its_new_letter_what_it_did() {
    for (command, letter) in greek() {
        for screen in Screen::ALL.into_iter().filter(|s| command.on(*s)) {
            let did = |key: Key, keys: Keymap| {
                let mut hands = evening();
                (hands.model.keys, hands.model.screen) = (keys, screen);
                let effects = hands.press(key);
                let model = &hands.model;
                let place = (
                    model.screen,
                    model.spot.clone(),
                    model.due_row,
                    model.item_row,
                );
                let layers: Vec<_> = model.layers.iter().map(std::mem::discriminant).collect();
                (effects, place, layers, model.scroll, model.marked.clone())
            };
            let before = did(command.default_keys[0], Keymap::default());
            let after = did(Key::char(letter), all_greek());
            assert_eq!(before, after, "{} on {screen:?}", command.name);
        }
    }
}

#[test]
fn a_command_without_a_key_is_named_nowhere() {
    let mut hands = evening();
    let taken = ["undo", "edit", "sign", "redo"].map(|name| rebinding(name, &[]));
    hands.model.keys = Keymap::patched(&taken).unwrap();
    act(&mut hands, "stem", "turn");
    hands.keys("Right +");
    assert!(!hands.text(80, 24).contains("undoes"));
    hands.keys("-");
    assert!(hands.text(80, 24).contains("- does nothing here"));
    assert!(!hint(&hands).contains("undo"), "{}", hint(&hands));
    hands.keys("c");
    assert!(hands.text(120, 40).contains("sign the sheet"));
}

#[test]
fn keys_that_are_not_taken_are_said_until_they_are() {
    let mut hands = evening();
    let tell = |hands: &mut Hands, keys| {
        update(&mut hands.model, Message::Keys(keys), hands.now);
    };
    let fault = "keys.ron:3:5: no command is called `undoo`";
    tell(&mut hands, Ok(all_greek()));
    tell(&mut hands, Err(fault.to_owned()));
    assert!(hands.text(80, 24).contains(fault));
    hands.keys("q");
    assert!(
        hands.text(80, 24).contains("q does nothing here"),
        "new keys stay"
    );
    hands.keys(&letter("piece"));
    assert!(
        hands.text(80, 24).contains(fault),
        "it stands until it is mended"
    );
    tell(&mut hands, Ok(Keymap::default()));
    let text = hands.text(80, 24);
    assert!(
        !text.contains(fault) && text.contains("as keys.ron says now; / tells"),
        "{text}"
    );
    hands.keys("h");
    assert_eq!(hands.model.screen, Screen::Holds);
}

#[test]
fn a_locked_keyboard_takes_nothing_but_its_own_sequence() {
    let mut hands = evening();
    let before = hands.model.project.events().len();
    hands.keys("k");
    let keys = commands().iter().filter(|c| c.name != "leave");
    for key in keys.flat_map(|c| c.default_keys) {
        assert_eq!(hands.press(*key), [], "{}", key.name());
        assert!(
            matches!(hands.top(), Some(Layer::Locked(_))),
            "{}",
            key.name()
        );
    }
    for paste in ["73\r", "7", "q"] {
        let effects = update(&mut hands.model, Message::Paste(paste.into()), hands.now);
        assert_eq!(effects, []);
    }
    hands.keys("7 7 Enter 7 3 3 Enter 3 Enter 7 Enter");
    assert!(matches!(hands.top(), Some(Layer::Locked(_))));
    assert_eq!(hands.model.layers.len(), 1);
    assert_eq!(hands.model.project.events().len(), before);
    hands.keys("7 3 Enter");
    assert!(hands.model.layers.is_empty());
}

#[test]
fn another_size_keeps_the_selected_line_and_shows_it() {
    let mut hands = evening();
    hands.keys("Down Down Down Down");
    let (row, spot) = (hands.model.due_row, hands.model.spot.clone());
    let kind = hands.model.facts.due[row].what.word();
    for (width, height) in [(80, 24), (40, 12), (200, 60), (80, 24)] {
        let text = hands.text(width, height);
        let selected = text.lines().find(|line| line.trim_end().ends_with("Enter"));
        let selected = selected.unwrap_or_else(|| panic!("{text}"));
        assert!(selected.contains(kind), "{width}x{height}: {selected}");
        assert_eq!((hands.model.due_row, &hands.model.spot), (row, &spot));
    }
}

#[test]
fn what_is_computed_is_given_up_by_the_keypad() {
    let mut hands = Hands::with(&["leaf"]);
    hands.model.project.definition.pieces[0].mesh = Some(MeshRef {
        file: "leaf.stl".to_owned(),
        unit: None,
        sha256: None,
    });
    hands.select("leaf");
    hands.keys("x");
    assert!(matches!(
        hands.effects("Enter").as_slice(),
        [Effect::Spread(_)]
    ));
    assert!(hint(&hands).contains("- give up"), "{}", hint(&hands));
    assert!(hands.text(80, 24).contains("- or Esc gives up"));
    assert_eq!(hands.effects("-"), [Effect::StopSpread]);
    assert!(!hint(&hands).contains("give up"));
    // Nothing is computed: minus is undo again.
    assert!(hands.effects("-").is_empty() && hands.model.spreads.solving.is_none());
}
