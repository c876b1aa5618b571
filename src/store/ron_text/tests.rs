use super::*;
use proptest::prelude::*;

const LAMP: &str = r##"#![enable(implicit_some)]
// Fern-shaped floor lamp, printed in March.
(
    name: "fern lamp",
    metal: copper, // acid copper, bright
    thickness: (mean: 150.0, minimum: 80.0),
    hold: None,

    /* the pieces, /* nested */ from the ground up */
    pieces: [
        (
            name: "foot",
            area: 4.1, // dm2, from the slicer
            wire: Some((diameter: 0.8, length: 120)),
            notes: r#"the "heavy" one, (glued"#,
        ),

        // printed twice, the first cracked
        (name: "stem", area: 2.75),
        (name: "leaf.1", area: 0.6)   // thin
    ],
    tanks: [
        // nothing bought yet
    ],
    prices: { "copper": 12.5, "bag" : 3 },
)
"##;

fn reads(text: &str) -> bool {
    ron::from_str::<ron::Value>(text).is_ok()
}

/// The text with `old`, which it has once, exchanged for `new`.
fn exchanged(text: &str, old: &str, new: &str) -> String {
    assert_eq!(text.matches(old).count(), 1, "{old}");
    text.replacen(old, new, 1)
}

#[test]
fn a_path_walks_fields_entries_keys_and_some() {
    let at = |path| value(LAMP, path).unwrap();
    assert!(reads(LAMP));
    assert_eq!(at("metal"), Some("copper"));
    assert_eq!(at("thickness.mean"), Some("150.0"));
    assert_eq!(at("pieces.stem.area"), Some("2.75"));
    assert_eq!(at("pieces.1.area"), Some("2.75"));
    assert_eq!(at("pieces.\"leaf.1\".area"), Some("0.6"));
    assert_eq!(at("pieces.foot.wire.length"), Some("120"));
    let wire = "Some((diameter: 0.8, length: 120))";
    assert_eq!(at("pieces.foot.wire"), Some(wire));
    assert_eq!(at("prices.bag"), Some("3"));
    assert_eq!(at("hold.hours"), None);
    assert_eq!(at("pieces.crown"), None);
    assert_eq!(at("pieces.3"), None);
    assert_eq!(at("pieces.\"1\""), None);
    assert_eq!(position(LAMP, "metal"), Some((5, 12)));
    assert_eq!(position(LAMP, "pieces.stem.area"), Some((19, 30)));
    assert_eq!(position(LAMP, "pieces.crown"), None);
}

#[test]
fn the_name_of_an_entry_goes_before_its_number() {
    let text = r#"(bells: [(name: "1", area: 5), Some((name: "b", area: 6))])"#;
    assert_eq!(value(text, "bells.1.area"), Ok(Some("5")));
    assert_eq!(value(text, "bells.\"1\".area"), Ok(Some("5")));
    assert_eq!(value(text, "bells.b.area"), Ok(Some("6")));
    assert_eq!(value(text, "bells.0.area"), Ok(Some("5")));
}

#[test]
fn setting_changes_the_value_alone() {
    let changed = set(LAMP, "pieces.foot.area", "4.35").unwrap();
    assert_eq!(changed, exchanged(LAMP, "area: 4.1,", "area: 4.35,"));
    let changed = set(LAMP, "pieces.foot.wire.diameter", " 1 // mm").unwrap();
    assert_eq!(changed, exchanged(LAMP, "diameter: 0.8", "diameter: 1"));
    let changed = set(LAMP, "prices.bag", "4").unwrap();
    assert_eq!(changed, exchanged(LAMP, "\"bag\" : 3", "\"bag\" : 4"));
}

#[test]
fn a_new_field_follows_its_neighbours() {
    let changed = set(LAMP, "pieces.foot.roughness", "1.2").unwrap();
    let last = "(glued\"#,\n";
    let with_new = format!("{last}            roughness: 1.2,\n");
    assert_eq!(changed, exchanged(LAMP, last, &with_new));
    let changed = set(LAMP, "pieces.stem.wire", "None").unwrap();
    assert_eq!(changed, exchanged(LAMP, "2.75)", "2.75, wire: None)"));
    let changed = set(LAMP, "prices.salt", "2").unwrap();
    assert_eq!(changed, exchanged(LAMP, "3 }", "3, \"salt\": 2 }"));
}

#[test]
fn a_new_field_gets_the_commas_right() {
    let cases = [
        ("()", "(c: 3)"),
        ("Lamp( )", "Lamp(c: 3)"),
        ("(a: 1,)", "(a: 1, c: 3,)"),
        ("(a: 1 /* mm */)", "(a: 1, /* mm */ c: 3)"),
        (
            "(\n\ta: 1 // one\n\t// end\n)",
            "(\n\ta: 1, // one\n\tc: 3\n\t// end\n)",
        ),
        (
            "(\n  a: 1, b: 2 // two\n)",
            "(\n  a: 1, b: 2, // two\n  c: 3\n)",
        ),
        ("(a: 1, // one\n)", "(a: 1, // one\n    c: 3,\n)"),
        ("(\r\n  a: 1\r\n)", "(\r\n  a: 1,\r\n  c: 3\r\n)"),
    ];
    for (text, expected) in cases {
        assert_eq!(set(text, "c", "3").as_deref(), Ok(expected));
    }
    let changed = set("(m: {1: \"a\"})", "m.2", "\"b\"");
    assert_eq!(changed.as_deref(), Ok("(m: {1: \"a\", 2: \"b\"})"));
}

#[test]
fn missing_structs_are_made_on_the_way() {
    let changed = set(LAMP, "rest.night.hours", "8").unwrap();
    let last = "\"bag\" : 3 },\n";
    let with_new = format!("{last}    rest: (night: (hours: 8)),\n");
    assert_eq!(changed, exchanged(LAMP, last, &with_new));
    let changed = set(LAMP, "hold.hours", "72").unwrap();
    let new = "hold: Some((hours: 72))";
    assert_eq!(changed, exchanged(LAMP, "hold: None", new));
}

#[test]
fn a_missing_name_is_told_with_those_there_are() {
    let error = set(LAMP, "pieces.stm.area", "1").unwrap_err();
    assert_eq!(
        error.to_string(),
        "`pieces.stm.area`: no entry stm at line 10, column 13, nearest is stem; \
             there are: foot, stem, \"leaf.1\""
    );
    let error = push(LAMP, "pieces.crown.layers", "1").unwrap_err();
    assert!(matches!(error, PathError::Missing { what: "entry", .. }));
    let error = remove(LAMP, "holt").unwrap_err().to_string();
    assert!(error.contains("no field holt at line 3, column 1, nearest is hold;"));
    let error = remove("(tanks: [])", "tanks.acid").unwrap_err().to_string();
    assert!(error.ends_with("nothing there has a name"));
}

#[test]
fn pushing_follows_the_neighbours() {
    let changed = push(LAMP, "pieces", "(\n  name: \"bud\",\n\n  area: 1,\n)").unwrap();
    let entry = "        (\n          name: \"bud\",\n\n          area: 1,\n        )\n";
    let with_new = format!("area: 0.6),   // thin\n{entry}");
    assert_eq!(
        changed,
        exchanged(LAMP, "area: 0.6)   // thin\n", &with_new)
    );
    let changed = push(LAMP, "tanks", "(name: \"acid\")").unwrap();
    let comment = "        // nothing bought yet\n";
    let with_new = format!("{comment}        (name: \"acid\"),\n");
    assert_eq!(changed, exchanged(LAMP, comment, &with_new));
    let changed = push(LAMP, "pieces.stem.layers", "80").unwrap();
    assert_eq!(changed, exchanged(LAMP, "2.75)", "2.75, layers: [80])"));
    let changed = push(LAMP, "hold", "1").unwrap();
    assert_eq!(changed, exchanged(LAMP, "hold: None", "hold: Some([1])"));
}

#[test]
fn a_list_that_pushing_makes_has_a_line_for_each_struct() {
    let changed = push(LAMP, "bags", "(name: \"x\")").unwrap();
    let last = "\"bag\" : 3 },\n";
    let with_new = format!("{last}    bags: [\n        (name: \"x\"),\n    ],\n");
    assert_eq!(changed, exchanged(LAMP, last, &with_new));
}

#[test]
fn pushing_into_lists_without_entries() {
    let pushed = |text| push(text, "a", "1").unwrap();
    assert_eq!(pushed("(a: [])"), "(a: [1])");
    assert_eq!(pushed("(a: Some([ ]))"), "(a: Some([1]))");
    assert_eq!(pushed("(a: [ /* none */ ])"), "(a: [ /* none */ 1 ])");
    assert_eq!(pushed("(a: [ // none\n])"), "(a: [ // none\n    1,\n])");
    assert_eq!(pushed("(\n  a: [\n  ],\n)"), "(\n  a: [\n    1,\n  ],\n)");
    assert_eq!(pushed("(a: [0,])"), "(a: [0, 1,])");
    assert_eq!(pushed("(a: [\n 0])"), "(a: [\n 0,\n 1])");
    assert_eq!(pushed("()"), "(a: [1])");
}

#[test]
fn a_text_of_several_lines_is_not_indented() {
    let entry = "  (t: \"x\n  y\",\n   u: 1)";
    let changed = push("(\n  a: [\n  ],\n)", "a", entry).unwrap();
    let expected = "(\n  a: [\n    (t: \"x\n  y\",\n     u: 1),\n  ],\n)";
    assert_eq!(changed, expected);
}

#[test]
fn removing_takes_the_line_and_its_comments() {
    let changed = remove(LAMP, "metal").unwrap();
    let line = "    metal: copper, // acid copper, bright\n";
    assert_eq!(changed, exchanged(LAMP, line, ""));
    let changed = remove(LAMP, "pieces.stem").unwrap();
    let line = "        (name: \"stem\", area: 2.75),\n";
    assert_eq!(changed, exchanged(LAMP, line, ""));
    let changed = remove(LAMP, "pieces.\"leaf.1\"").unwrap();
    let lines = "2.75),\n        (name: \"leaf.1\", area: 0.6)   // thin\n";
    assert_eq!(changed, exchanged(LAMP, lines, "2.75)\n"));
    let changed = remove(LAMP, "pieces.foot.wire.length").unwrap();
    assert_eq!(changed, exchanged(LAMP, ", length: 120", ""));
    let changed = remove(LAMP, "pieces.foot.wire.diameter").unwrap();
    assert_eq!(changed, exchanged(LAMP, "diameter: 0.8, ", ""));
}

#[test]
fn removing_beside_others() {
    let cases = [
        ("(a: 1, b: 2, c: 3)", "(a: 1, c: 3)"),
        ("(b: 2)", "()"),
        ("( b: 2 )", "( )"),
        ("(a: 1, b: 2,)", "(a: 1,)"),
        ("(a: 1 /* one */, b: 2 /* two */)", "(a: 1 /* one */)"),
        ("(a: 1, /* two: */ b: 2, c: 3)", "(a: 1, c: 3)"),
        ("(a: 1, b: 2, // both\n c: 3)", "(a: 1, // both\n c: 3)"),
        ("(a: 1,\n b: 2)", "(a: 1)"),
        ("(a: 1, // one\n b: 2)", "(a: 1 // one\n)"),
        ("(b: 2, // two\n c: 3)", "( // two\n c: 3)"),
        ("(\n  b: 2, // two\n)", "(\n)"),
        (
            "(\n  // above\n  b: (\n 1),\n  c: 3)",
            "(\n  // above\n  c: 3)",
        ),
    ];
    for (text, expected) in cases {
        assert_eq!(remove(text, "b").as_deref(), Ok(expected));
    }
}

#[test]
fn all_kinds_of_values_are_read() {
    let text = r###"(a: b"\x41\"", c: '\'', d: b'x', e: '"', f: br##""#"##, g: -1.5e-3,
            h: 0xFF_u8, i: inf, j: (), k: Unit, l: Named(x: 1), m: Some (5), n: [[], [1,],],
            o: {1: {}}, p: 'é', r#type: 1, q: "a\\", r: T(1, "x"), s: /* ) */ true, // }
            z: 1,)"###;
    assert!(reads(text));
    assert_eq!(value(text, "f"), Ok(Some(r###"br##""#"##"###)));
    assert_eq!(value(text, "type"), Ok(Some("1")));
    assert_eq!(value(text, "r.1"), Ok(Some("\"x\"")));
    assert_eq!(value(text, "l.x"), Ok(Some("1")));
    assert_eq!(value(text, "m"), Ok(Some("Some (5)")));
    assert_eq!(value(text, "z"), Ok(Some("1")));
}

#[test]
fn faults_in_the_text_have_line_and_column() {
    let cases = [
        (
            "(\n  é: 1\n  b: 2)",
            "line 3, column 3: expected `,` or `)`, found `b`",
        ),
        ("(a: \"x)", "line 1, column 5: expected a text that ends"),
        (
            "(a: 1",
            "line 1, column 6: expected `,` or `)`, found the end",
        ),
        ("(a: 1) x", "column 8: expected the end of the text"),
        ("/* /* */ (", "column 1: expected a comment that ends"),
        ("(a: 1, 2)", "column 9: expected `:` and a value"),
        ("(a: ]", "column 5: expected a value, found `]`"),
        ("#[enable(x)] ()", "column 2: expected a header"),
    ];
    for (text, expected) in cases {
        let error = value(text, "a").unwrap_err().to_string();
        assert!(error.contains(expected), "{error}");
    }
}

#[test]
fn nesting_has_a_limit() {
    let lists = |deep: usize| format!("{}{}", "[".repeat(deep), "]".repeat(deep));
    assert!(value(&lists(DEEPEST), "0").is_ok());
    let error = value(&lists(DEEPEST + 1), "0").unwrap_err();
    assert!(error.to_string().contains("at most 128 deep"), "{error}");
    assert!(value(&"(".repeat(1_000_000), "a").is_err());
    let path = vec!["a"; DEEPEST + 1].join(".");
    assert!(matches!(set("()", &path, "1"), Err(PathError::Text { .. })));
}

#[test]
fn values_that_are_not_ron_are_refused() {
    let values = [
        "", "1, b: 2", "4 dm2", "1)", "(a: 1", "\"x", "0x", "1.2.3", "// x", "\"\\q\"",
    ];
    for bad in values {
        let error = set("(a: 1)", "a", bad).unwrap_err();
        assert!(matches!(error, PathError::Value { .. }), "{bad}: {error}");
    }
}

#[test]
fn paths_that_cannot_be_read_or_followed_are_refused() {
    let text = "(a: 1, b: [(name: \"x\"), (name: \"x\")], t: (1, 2))";
    let refused = |path| set(text, path, "1").unwrap_err();
    for bad in ["", ".", "a.", "a..b", "\"a", "\"a\"b", "\"\\q\""] {
        assert!(matches!(refused(bad), PathError::Path { .. }), "{bad}");
    }
    assert!(matches!(refused("a.b"), PathError::Kind { .. }));
    assert!(matches!(refused("t.x"), PathError::Kind { .. }));
    let twice = refused("b.x");
    assert!(matches!(twice, PathError::Ambiguous { count: 2, .. }));
    assert!(matches!(refused("9a"), PathError::FieldName { .. }));
    assert!(matches!(refused("c.d e"), PathError::FieldName { .. }));
    assert!(set(text, "b.0.area", "1").is_ok());
    assert!(matches!(push(text, "a", "1"), Err(PathError::Kind { .. })));
}

#[test]
fn a_byte_order_mark_stays() {
    let changed = set("\u{feff}(a: 1)", "a", "2");
    assert_eq!(changed.as_deref(), Ok("\u{feff}(a: 2)"));
}

#[test]
fn lines_and_columns_count_characters_from_one() {
    assert_eq!(line_column("", 0), (1, 1));
    assert_eq!(line_column("é\r\nab", 2), (1, 2));
    assert_eq!(line_column("é\r\nab", 1), (1, 1));
    assert_eq!(line_column("é\r\nab", 5), (2, 2));
    assert_eq!(line_column("é\r\nab", 99), (2, 3));
}

#[test]
fn quoting_hides_nothing() {
    let literal = r#""a\"\\\n\u{202e}\u{0}é""#;
    assert_eq!(quote("a\"\\\n\u{202e}\u{0}é"), literal);
}

/// Blanks and comments, as may stand between any two tokens.
fn gap() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        4 => Just(""),
        3 => Just(" "),
        2 => Just("\n    "),
        1 => Just(" // note, (\n"),
        1 => Just("/* a /* b */ ] */"),
        1 => Just("\n\n\t// own line\n"),
    ];
    prop::collection::vec(piece, 0..3).prop_map(|pieces| pieces.concat())
}

fn leaf() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<i32>().prop_map(|n| n.to_string()),
        any::<String>().prop_map(|text| quote(&text)),
        Just("true".to_owned()),
        Just("r#\")\"//\"#".to_owned()),
        Just("'('".to_owned()),
        Just("Some(3)".to_owned()),
        Just("(x: 1, y: [2, 3])".to_owned()),
        Just("(\n    x: 1, // one\n    y: 2,\n)".to_owned()),
    ]
}

/// Items with gaps around all tokens, with or without a last comma.
fn bracketed(
    items: Vec<(String, String, String)>,
    last_comma: bool,
    end: &str,
    brackets: (char, char),
) -> String {
    let comma = if last_comma && !items.is_empty() {
        ","
    } else {
        ""
    };
    let items: Vec<String> = items.into_iter().map(|(a, i, b)| a + &i + &b).collect();
    let (open, close) = brackets;
    format!("{open}{}{comma}{end}{close}", items.join(","))
}

fn items() -> impl Strategy<Value = Vec<(String, String, String)>> {
    prop::collection::vec((gap(), leaf(), gap()), 0..4)
}

prop_compose! {
    /// A struct of up to three fields f0, f1, f2, and perhaps `list` behind
    /// the first; its line breaks are all of one kind, save in texts.
    fn document()(
        before in gap(), fields in items(), entries in items(), end in gap(),
        after in gap(), commas in any::<(bool, bool)>(), crlf in any::<bool>(),
    ) -> String {
        let list = bracketed(entries, commas.0, &end, ('[', ']'));
        let mut fields: Vec<_> = fields
            .into_iter()
            .enumerate()
            .map(|(n, (a, value, b))| (a.clone(), format!("f{n}{b}:{a}{value}"), b))
            .collect();
        if let Some((a, _, b)) = fields.first().cloned() {
            fields.insert(1, (b.clone(), format!("list{a}:{b}{list}"), a));
        }
        let text = format!("{before}{}{after}\n", bracketed(fields, commas.1, &end, ('(', ')')));
        if crlf { text.replace('\n', "\r\n") } else { text }
    }
}

/// Whether `long` is `short` with something put in, and nothing taken out.
fn put_in(short: &str, long: &str) -> bool {
    let mut rest = long.chars();
    short.chars().all(|c| rest.any(|other| other == c))
}

fn has_lone_line_feed(text: &str) -> bool {
    text.replace("\r\n", "").contains('\n')
}

proptest! {
    #[test]
    fn whatever_text_and_path_never_panic(text: String, path: String, new: String) {
        let _ = value(&text, &path);
        let _ = position(&text, &path);
        let _ = set(&text, &path, &new);
        let _ = push(&text, &path, &new);
        let _ = remove(&text, &path);
        let _ = line_column(&text, path.len());
    }

    #[test]
    fn scraps_of_ron_never_panic(
        scraps in prop::collection::vec(
            prop::sample::select(vec![
                "(", ")", "[", "]", "{", "}", "a", ":", ",", "1", "\"", "'", "r#\"", "\"#",
                "b", "//", "/*", "*/", "\n", "\r\n", " ", "é", "\\", "Some", "None",
                "name: \"a\"", "#![", "(a: 1", "(a: [",
            ]),
            0..40,
        ),
    ) {
        let text = scraps.concat();
        let outcomes = [set(&text, "a.a", "1"), push(&text, "a", "1"), remove(&text, "a")];
        for changed in outcomes.into_iter().flatten() {
            prop_assert!(parse(&changed).is_ok());
        }
    }

    #[test]
    fn quoted_text_reads_back(text: String) {
        let literal = quote(&text);
        prop_assert!(!literal.contains(is_unseen));
        prop_assert_eq!(ron::from_str::<String>(&literal).unwrap(), text);
    }

    #[test]
    fn setting_keeps_the_rest(text in document(), field in 0..4, new in leaf()) {
        let path = format!("f{field}");
        let new = if text.contains("\r\n") { new.replace('\n', "\r\n") } else { new };
        prop_assert!(reads(&text), "{}", text);
        let changed = set(&text, &path, &new).unwrap();
        prop_assert!(reads(&changed), "{}", changed);
        prop_assert_eq!(value(&changed, &path).unwrap(), Some(new.as_str()));
        if let Some(old) = value(&text, &path).unwrap() {
            let start = old.as_ptr().addr() - text.as_ptr().addr();
            let expected = format!("{}{new}{}", &text[..start], &text[start + old.len()..]);
            prop_assert_eq!(changed, expected);
        } else if text.contains("f0") {
            prop_assert!(put_in(&text, &changed), "{}\n{}", text, changed);
            let grown = changed.len() - text.len();
            let source = path.len() + ": ".len() + new.len();
            let commas_and_line = 2 + "\r\n".len() + 2 * "\t      ".len();
            prop_assert!(grown <= source + commas_and_line, "{}\n{}", text, changed);
        }
    }

    #[test]
    fn pushing_keeps_the_rest(text in document(), new in leaf()) {
        let changed = push(&text, "list", &new).unwrap();
        prop_assert!(reads(&changed), "{}", changed);
        let list = |text: &str| {
            let list = value(text, "list").unwrap().unwrap_or("[]").to_owned();
            ron::from_str::<Vec<ron::Value>>(&list).unwrap()
        };
        let mut expected = list(&text);
        expected.push(ron::from_str(&new).unwrap());
        prop_assert_eq!(list(&changed), expected);
        for other in ["f0", "f1", "f2", "f3"] {
            prop_assert_eq!(value(&text, other).unwrap(), value(&changed, other).unwrap());
        }
        if value(&text, "list.0").unwrap().is_some() {
            prop_assert!(put_in(&text, &changed), "{}\n{}", text, changed);
        }
        if text.contains("\r\n") && !has_lone_line_feed(&text) {
            prop_assert!(!has_lone_line_feed(&changed), "{}", changed);
        }
    }

    #[test]
    fn removing_keeps_the_others(text in document(), field in 0..4) {
        let path = format!("f{field}");
        let Some(_) = value(&text, &path).unwrap() else {
            let refused = remove(&text, &path).unwrap_err().to_string();
            prop_assert!(refused.contains("no field"), "{}", refused);
            return Ok(());
        };
        let changed = remove(&text, &path).unwrap();
        prop_assert!(reads(&changed), "{}", changed);
        prop_assert!(put_in(&changed, &text), "{}\n{}", text, changed);
        prop_assert_eq!(value(&changed, &path).unwrap(), None);
        for other in ["f0", "f1", "f2", "f3", "list"] {
            if other != path {
                prop_assert_eq!(value(&text, other).unwrap(), value(&changed, other).unwrap());
            }
        }
    }
}

#[test]
fn lists_of_texts_are_told_with_their_places() {
    let text = "// mine\n(\n    undo: [\"u\", \"\u{e9}\", \"F9\"],\n    r#far: [],\n)\n";
    let told: Vec<String> = text_lists(text)
        .unwrap()
        .into_iter()
        .flat_map(|(name, texts)| std::iter::once(name).chain(texts))
        .map(|p| format!("{}:{}:{}", p.line, p.column, p.text))
        .collect();
    assert_eq!(
        told,
        ["3:5:undo", "3:12:u", "3:17:\u{e9}", "3:22:F9", "4:5:far"]
    );
    assert_eq!(text_lists("()").unwrap(), []);
}

#[test]
fn what_is_no_list_of_texts_is_refused_at_its_place() {
    for (text, place, expected) in [
        ("[]", (1, 1), "round brackets"),
        ("(undo: \"u\")", (1, 8), "a list"),
        ("(undo: [u])", (1, 9), "in quotes"),
        ("(\n undo: [\"u\",\n", (3, 1), "a value"),
        ("", (1, 1), "a value"),
    ] {
        match text_lists(text) {
            Err(PathError::Text {
                line,
                column,
                expected: told,
                ..
            }) => {
                assert_eq!((line, column), place, "{text}");
                assert!(told.contains(expected), "{text}: {told}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
}
