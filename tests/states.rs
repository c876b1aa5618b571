//! Every state is told by shape and word: with all colour and emphasis taken
//! away the screens still tell one from the other.

use crate::screens_support::*;
use tankside::tui::view::{Colours, Theme};

const SIZES: [(u16, u16); 5] = [(40, 12), (40, 20), (80, 24), (120, 40), (200, 60)];

/// States of which a piece is in one, with what tells it; `#` is any digit.
/// A state without a sign is told by the signs of the others being absent.
type Group = &'static [(&'static str, &'static [&'static str])];

fn has(text: &str, sign: &str) -> bool {
    let (text, sign): (Vec<char>, Vec<char>) = (text.chars().collect(), sign.chars().collect());
    let same = |(t, s): (&char, &char)| t == s || *s == '#' && t.is_ascii_digit();
    text.windows(sign.len())
        .any(|window| window.iter().zip(&sign).all(same))
}

fn text(hands: &Hands, (width, height): (u16, u16), theme: Theme) -> String {
    let text = hands.drawn(width, height, theme);
    // Spaces as many as they come: columns are no sign.
    let lines = text
        .lines()
        .map(|l| l.split_whitespace().collect::<Vec<_>>().join(" "));
    lines.collect::<Vec<_>>().join("\n")
}

fn told_apart(keys: &str, group: Group, theme: Theme) {
    told_apart_at(&SIZES, keys, group, theme);
}

fn told_apart_at(sizes: &[(u16, u16)], keys: &str, group: Group, theme: Theme) {
    for (state, signs) in group {
        let mut hands = leaf(state);
        hands.keys(keys);
        for size in sizes.iter().copied() {
            let shown = text(&hands, size, theme);
            for sign in *signs {
                assert!(has(&shown, sign), "{state} {size:?}: no `{sign}`\n{shown}");
            }
            let others = group.iter().filter(|(other, _)| other != state);
            for sign in others.flat_map(|(_, signs)| *signs) {
                assert!(
                    !has(&shown, sign),
                    "{state} {size:?}: `{sign}` is of another\n{shown}"
                );
            }
        }
    }
}

fn glyphs() -> Theme {
    Theme::with(Colours::None, false)
}

fn ascii() -> Theme {
    Theme::with(Colours::None, true)
}

#[test]
fn how_far_a_stage_is_is_told_by_a_shape() {
    let shapes: Group = &[
        ("waiting", &["\u{25cb} leaf"]),
        ("running", &["\u{25cf} leaf"]),
        ("paused", &["= leaf", "paused"]),
        ("lifted", &["^ leaf", "OUT"]),
        ("done", &["\u{25a0} leaf", "done"]),
    ];
    told_apart("l", shapes, glyphs());
    let plain: Group = &[
        ("waiting", &["o leaf"]),
        ("running", &["* leaf"]),
        ("paused", &["= leaf", "paused"]),
        ("lifted", &["^ leaf", "OUT"]),
        ("done", &["x leaf", "done"]),
    ];
    told_apart("l", plain, ascii());
    let words: Group = &[
        ("waiting", &["waiting"]),
        ("running", &["coat running"]),
        ("paused", &["paused"]),
        ("lifted", &["OUT of main"]),
        ("done", &["done: its whole route"]),
    ];
    for theme in [glyphs(), ascii()] {
        told_apart("p", words, theme);
    }
}

#[test]
fn what_a_charge_rests_on_is_told_by_a_sign() {
    let signs: Group = &[
        ("measured", &[]),
        ("estimated", &["~#"]),
        ("share unknown", &["share"]),
    ];
    for theme in [glyphs(), ascii()] {
        told_apart("p", signs, theme);
        // Where there is one line a piece, what is overdue takes its place.
        told_apart_at(&SIZES[2..], "l", signs, theme);
    }
}

#[test]
fn whether_current_flows_is_told_by_a_word() {
    let words: Group = &[("estimated", &["#.### A"]), ("no current", &["no current"])];
    for theme in [glyphs(), ascii()] {
        told_apart("l", words, theme);
    }
}

#[test]
fn what_is_overdue_is_told_by_a_sign_and_a_word() {
    let words: Group = &[
        ("estimated", &["nothing now"]),
        ("overdue", &["! ", "min over"]),
    ];
    for keys in ["l", "p", "h", "c"] {
        for theme in [glyphs(), ascii()] {
            told_apart(keys, words, theme);
        }
    }
}

#[test]
fn whether_a_piece_may_be_sealed_is_told_by_a_word() {
    let words: Group = &[
        ("early", &[]),
        ("in time", &["/72 h now", "now"]),
        ("late", &["late"]),
        ("sealed", &["sealed"]),
    ];
    for theme in [glyphs(), ascii()] {
        for (state, signs) in words {
            let mut hands = leaf(state);
            hands.keys("h");
            for size in SIZES {
                let shown = text(&hands, size, theme);
                let row = shown
                    .lines()
                    .rfind(|l| l.contains("leaf") && l.contains('h'))
                    .unwrap();
                let all = ["now", "late", "sealed"];
                let found: Vec<&str> = all.into_iter().filter(|w| row.contains(w)).collect();
                let wanted = signs.last().copied();
                assert_eq!(
                    found,
                    wanted.into_iter().collect::<Vec<_>>(),
                    "{state} {size:?}: {row}"
                );
            }
        }
    }
}

#[test]
fn what_is_marked_is_told_by_a_star() {
    let signs: Group = &[("early", &[]), ("marked", &["* leaf"])];
    for theme in [glyphs(), ascii()] {
        told_apart("h", signs, theme);
    }
}

#[test]
fn gates_and_items_that_hold_are_told_by_their_boxes() {
    let mut hands = evening();
    hands.keys("c Enter");
    for theme in [glyphs(), ascii()] {
        let shown = hands.drawn(120, 40, theme);
        for sign in ["[x]", "[ ]", "[!]"] {
            assert!(shown.contains(sign), "close-out: no {sign}\n{shown}");
        }
    }
    hands.select("leaf-3");
    hands.keys("l + s 1");
    for theme in [glyphs(), ascii()] {
        let shown = hands.drawn(80, 24, theme);
        for sign in ["[x]", "[ ]", " ! "] {
            assert!(shown.contains(sign), "gates: no {sign}\n{shown}");
        }
    }
}

#[test]
fn what_is_selected_is_told_by_a_pointer() {
    // Keys that lead to a list, the key that walks it.
    let lists = [
        ("l", "Down"),
        ("l", "Right"),
        ("h", "Down"),
        ("c", "Down"),
        ("l +", "Down"),
        ("l + +", "Down"),
        ("l v", "Down"),
    ];
    for theme in [glyphs(), ascii()] {
        for (keys, on) in lists {
            let mut hands = evening();
            hands.keys(keys);
            for size in SIZES {
                let before = text(&hands, size, theme);
                assert!(before.contains('>'), "{keys} {size:?}\n{before}");
                hands.keys(on);
                let after = text(&hands, size, theme);
                assert_ne!(before, after, "{keys} {on} {size:?}");
            }
        }
    }
    let mut hands = evening();
    hands.select("leaf-3");
    hands.keys("+ s");
    for row in ["1>", "2>", "3>"] {
        let shown = text(&hands, (80, 24), ascii());
        assert!(shown.contains(row), "gates: {row}\n{shown}");
        hands.keys("Down");
    }
}

#[test]
fn colours_change_no_glyph_and_plain_ascii_is_plain_ascii() {
    let states = [
        "waiting",
        "running",
        "paused",
        "lifted",
        "done",
        "measured",
        "estimated",
        "share unknown",
        "no current",
        "overdue",
        "early",
        "in time",
        "late",
        "sealed",
        "marked",
    ];
    for state in states {
        let mut hands = leaf(state);
        for keys in ["l", "p", "h", "c", "l ?", "Esc f", "Esc +", "Esc v", "/"] {
            hands.keys(keys);
            for (width, height) in [(40, 20), (80, 24)] {
                let grey = hands.drawn(width, height, glyphs());
                let dark = hands.drawn(width, height, Theme::with(Colours::Dark, false));
                assert_eq!(grey, dark, "{state} {keys}");
                let plain = hands.drawn(width, height, ascii());
                let odd: Vec<char> = plain
                    .chars()
                    .filter(|c| !matches!(c, ' '..='~' | '\n'))
                    .collect();
                assert!(odd.is_empty(), "{state} {keys}: {odd:?}\n{plain}");
            }
        }
    }
}
