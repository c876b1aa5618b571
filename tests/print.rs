//! The print of a piece on the screen: what is drawn of it, told of it, and
//! what the keys do there.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that fails panics"
)]

mod screens_support;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use screens_support::*;
use tankside::mesh::{self, Cavity, Class, Corner, Facet, Survey};
use tankside::project::{MeshRef, Project};
use tankside::tui::app::{Dots, Effect, Layer, Message, Model, Print, Showing, Source, update};
use tankside::tui::view::{Colours, Theme, picture, picture_place};

/// A model on whose Piece screen a piece with a print is selected.
fn hands() -> Hands {
    let mut definition = definition(&["leaf", "plain"]);
    definition.pieces[0].mesh = Some(MeshRef {
        file: "meshes/leaf.stl".to_owned(),
        unit: Some("mm".to_owned()),
        sha256: None,
    });
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    let now = "2026-03-02T17:00:00Z".parse().unwrap();
    let mut hands = Hands::of(Model::new(project, Some("mira".into()), now), now);
    hands.select("leaf");
    hands.keys("p");
    hands
}

fn say(hands: &mut Hands, message: Message) {
    update(&mut hands.model, message, hands.now);
}

/// The print of `leaf` is read.
fn read(hands: &mut Hands, facets: Vec<Facet>, cavities: Vec<Cavity>) {
    let source = Source::of(&hands.model.project.definition, "leaf").unwrap();
    let print = Print::of(source, survey(facets, cavities));
    let (piece, result) = ("leaf".to_owned(), Ok(Arc::new(print)));
    say(hands, Message::PrintRead { piece, result });
}

fn survey(facets: Vec<Facet>, cavities: Vec<Cavity>) -> Survey {
    let naive_area_mm2 = facets.iter().map(Facet::area_mm2).sum();
    Survey {
        triangles: facets.len(),
        low_mm: [-40.0; 3],
        high_mm: [40.0; 3],
        naive_area_mm2,
        wetted_area_mm2: naive_area_mm2,
        wetted_pm_mm2: 0.0,
        outside_area_mm2: naive_area_mm2,
        masked_area_mm2: 0.0,
        masks: Vec::new(),
        volume_mm3: None,
        envelope_volume_mm3: None,
        watertight: true,
        islands: Vec::new(),
        cavities,
        defects: Vec::new(),
        facets,
    }
}

/// The fern lamp's coiled tip, all of it wetted.
fn crozier() -> Vec<Facet> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-projects/fern-lamp/meshes");
    let bytes = std::fs::read(file.join("crozier.stl")).unwrap();
    let print = mesh::read(&bytes).unwrap();
    let facets = (0..)
        .zip(print.triangles())
        .map(|(triangle, corners)| Facet {
            triangle,
            corners,
            class: Class::Wetted,
        });
    facets.collect()
}

/// A hollow ball of 80 mm: its lowest part masked, its inside dry, and a
/// bulkhead across the hollow that is hidden.
fn ball() -> Vec<Facet> {
    let mut facets = Vec::new();
    let mut add = |corners: [Corner; 3], class| {
        let triangle = facets.len() as u32;
        facets.push(Facet {
            triangle,
            corners,
            class,
        });
    };
    for corners in shell(40.0) {
        let is_low = corners.iter().all(|corner| corner[2] < -19.9);
        add(corners, if is_low { Class::Masked } else { Class::Wetted });
    }
    for [a, b, c] in shell(28.0) {
        add([a, c, b], Class::Dry);
    }
    let (side, high) = (15.0, 4.0);
    let [a, b] = [[-side, 0.0, -high], [side, 0.0, -high]];
    let [c, d] = [[side, 0.0, high], [-side, 0.0, high]];
    add([a, b, c], Class::Hidden);
    add([a, c, d], Class::Hidden);
    facets
}

/// A ball around the origin, turned outwards.
fn shell(radius: f64) -> Vec<[Corner; 3]> {
    const BANDS: usize = 24;
    let at = |band: usize, step: usize| {
        let turn = |n: usize| std::f64::consts::PI * n as f64 / BANDS as f64;
        let (down, round) = (turn(band), turn(step));
        let level = radius * down.sin();
        [
            level * round.cos(),
            level * round.sin(),
            radius * down.cos(),
        ]
    };
    let every = (0..BANDS).flat_map(|band| (0..2 * BANDS).map(move |step| (band, step)));
    let pairs = every.map(|(band, step)| {
        let [a, b] = [at(band, step), at(band, step + 1)];
        let [c, d] = [at(band + 1, step), at(band + 1, step + 1)];
        [[a, c, b], [b, c, d]]
    });
    pairs.flatten().collect()
}

fn hollow() -> Cavity {
    Cavity {
        area_mm2: 9852.0,
        volume_mm3: 91_952.0,
        sealed: true,
        opening_mm: None,
        at_mm: [0.0, -15.0, 0.0],
    }
}

fn showing(hands: &Hands) -> &Showing {
    match hands.top() {
        Some(Layer::Print(showing)) => showing,
        other => panic!("{other:?}"),
    }
}

fn sizes(name: &str, hands: &Hands) {
    for (width, height) in [(80, 24), (120, 40), (200, 60), (40, 12)] {
        let drawn = |colours| hands.drawn(width, height, Theme::with(colours, false));
        snapshot(&format!("{name}_{width}x{height}"), &drawn(Colours::Dark));
        snapshot(
            &format!("{name}_{width}x{height}_mono"),
            &drawn(Colours::None),
        );
        let ascii = hands.drawn(width, height, Theme::new(false, true));
        assert!(ascii.is_ascii(), "{ascii}");
        snapshot(&format!("{name}_{width}x{height}_ascii"), &ascii);
    }
}

#[test]
fn a_print_is_drawn_at_every_size_in_every_look() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, crozier(), Vec::new());
    sizes("print", &hands);
    hands.keys("9");
    snapshot(
        "print_braille_80x24",
        &hands.drawn(80, 24, Theme::new(true, false)),
    );
    hands.draw_at(
        (0..=140)
            .flat_map(|w| [(w, 12), (w, 25)])
            .chain((0..=50).map(|h| (80, h))),
    );
}

#[test]
fn classes_are_told_by_pattern_word_area_and_share_without_any_colour() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), vec![hollow()]);
    hands.keys("3");
    sizes("print_classes", &hands);
    hands.keys("9");
    snapshot(
        "print_classes_braille_80x24",
        &hands.drawn(80, 24, Theme::new(false, false)),
    );
    let cut = hands.drawn(120, 40, Theme::new(false, true));
    hands.keys("1 1 1 1 1 1 1 1 1 1 1 1 8 8 8");
    let whole = hands.drawn(120, 40, Theme::new(false, true));
    for (class, letter, drawn) in [
        ("masked", 'M', &whole),
        ("dry", 'D', &cut),
        ("hidden", 'H', &cut),
    ] {
        let legend = format!("{letter} {class} ");
        assert!(drawn.contains(&legend), "{drawn}");
        let others = drawn.lines().filter(|line| !line.contains(&legend));
        let is_filled = |c: char| c == letter || c == letter.to_ascii_lowercase();
        let fills = others.map(|line| line.chars().filter(|c| is_filled(*c)).count());
        assert!(fills.max().unwrap() >= 5, "{class}: {drawn}");
    }
    // The cap below half the radius is a quarter of the outer ball (2 pi r h);
    // the inner ball has 0.7 squared of its area.
    let share = 0.25 / (1.0 + 0.49) * 100.0;
    let told = whole.lines().find(|line| line.contains("masked")).unwrap();
    assert!(told.contains(&format!("{share:.0} %")), "{told}: {share}");
}

#[test]
fn colours_of_a_surface_are_only_there_where_the_theme_has_shades() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    let shades = |colours| {
        let shown = hands.shown_legend(120, 40, Theme::with(colours, false));
        (shown.matches("Rgb(").count(), shown)
    };
    for colours in [Colours::Dark, Colours::Light] {
        assert!(shades(colours).0 > 60, "{}", shades(colours).1);
    }
    assert_eq!(shades(Colours::Terminal).0, 0);
    let mono = shades(Colours::None).1;
    assert!(
        mono.lines().all(|line| line.contains("Reset on Reset")),
        "{mono}"
    );
}

#[test]
fn the_keypad_turns_zooms_cuts_marks_and_leaves() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), vec![hollow()]);
    let at_first = showing(&hands).eye;
    hands.keys("6 6 8");
    let eye = showing(&hands).eye;
    assert!(eye.yaw > at_first.yaw && eye.tilt < at_first.tilt);
    hands.keys("4 4 2");
    assert_eq!(showing(&hands).eye, at_first);
    hands.keys("Right Right Up 5");
    assert_eq!(showing(&hands).eye, at_first);
    hands.keys("* 6 8");
    let marked = showing(&hands).marker.unwrap();
    let from_middle = marked.at_mm.iter().map(|mm| mm * mm).sum::<f64>().sqrt();
    assert!(
        (from_middle - 40.0).abs() < 0.5,
        "it stays on the ball: {from_middle}"
    );
    let told = hands.text(120, 40);
    assert!(
        told.contains("wetted") && told.contains("mm from here: a hollow"),
        "{told}"
    );
    let shown = hands.shown_legend(120, 40, Theme::with(Colours::Dark, false));
    assert!(
        shown.contains("on Reset BOLD | REVERSED"),
        "the marker stands out: {shown}"
    );
    hands.keys("+ +");
    let close = showing(&hands);
    assert!(close.eye.zoom > 1.4 && close.eye.centre.iter().any(|mm| mm.abs() > 1.0));
    hands.keys("3");
    assert!(showing(&hands).eye.cut.is_some() && hands.text(120, 40).contains("cut open"));
    for _ in 0..40 {
        hands.keys("1");
    }
    assert_eq!(showing(&hands).eye.cut, None);
    hands.keys("7");
    assert!(showing(&hands).is_open());
    hands.keys("7 - - -");
    assert!(hands.top().is_none(), "minus at its whole size leaves");
    hands.keys("d");
    assert_eq!(
        showing(&hands).marker,
        Some(marked),
        "it opens as it was left"
    );
}

#[test]
fn the_marker_moves_the_way_of_its_key_on_the_side_that_is_seen() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    // Level from the front: x goes right, z up.
    hands.keys("5 4 4 8 * ");
    hands.model.layers.clear();
    hands.keys("d");
    let place = |hands: &Hands| {
        let at = showing(hands).marker.unwrap().at_mm;
        let [right, up, near] = showing(hands).eye.directions();
        let along = |direction: [f32; 3]| {
            let parts = at.iter().zip(direction).map(|(at, d)| at * f64::from(d));
            parts.sum::<f64>()
        };
        [along(right), along(up), along(near)]
    };
    if !showing(&hands).marking {
        hands.keys("*");
    }
    let before = place(&hands);
    hands.keys("6");
    let after = place(&hands);
    assert!(after[0] > before[0] + 0.5 && (after[1] - before[1]).abs() < 0.1);
    hands.keys("8");
    let higher = place(&hands);
    assert!(higher[1] > after[1] + 0.5 && higher[2] > 0.0);
    for _ in 0..60 {
        hands.keys("6");
    }
    assert!(place(&hands)[0] < 40.5 && hands.text(80, 24).contains("its edge"));
}

#[test]
fn the_next_flaw_is_marked_turned_to_and_seen() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), vec![hollow()]);
    hands.keys("0");
    let text = hands.text(120, 40);
    assert!(
        text.contains("1 of 1: a hollow of 92 cm3 without a way in"),
        "{text}"
    );
    assert!(
        text.contains("near side left out") && text.contains("hidden"),
        "{text}"
    );
}

#[test]
fn a_print_is_read_aside_can_be_given_up_and_its_trouble_is_told() {
    let mut hands = hands();
    let effects = hands.effects("d");
    assert!(matches!(&effects[..], [Effect::ReadPrint { piece, .. }] if piece == "leaf"));
    let (piece, step) = ("leaf".to_owned(), "finding what is wetted");
    say(
        &mut hands,
        Message::PrintAt {
            piece,
            step,
            done: 0.4,
        },
    );
    let text = hands.text(80, 24);
    assert!(
        text.contains("reading the print: finding what is wetted ... 40 %"),
        "{text}"
    );
    assert_eq!(hands.effects("Esc"), [Effect::StopReading]);
    assert!(hands.top().is_none());
    assert_eq!(hands.effects("d").len(), 1, "asked for again");
    let why = "meshes/leaf.stl: the file is cut off";
    let (piece, result) = ("leaf".to_owned(), Err(why.to_owned()));
    say(&mut hands, Message::PrintRead { piece, result });
    let text = hands.text(80, 24);
    assert!(
        text.contains(why) && text.contains("Enter reads it again"),
        "{text}"
    );
    assert_eq!(hands.effects("Enter").len(), 1);
    read(&mut hands, crozier(), Vec::new());
    assert_eq!(hands.effects("Esc d"), [], "read once");
}

#[test]
fn what_is_shown_of_a_file_that_changed_stays_and_says_so() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, crozier(), Vec::new());
    assert!(!hands.text(80, 24).contains("stale"));
    say(&mut hands, Message::PrintChanged("leaf".to_owned()));
    let text = hands.text(80, 24);
    assert!(text.contains("stale") && text.contains("wetted"), "{text}");
    assert!(matches!(
        &hands.effects("Enter")[..],
        [Effect::ReadPrint { .. }]
    ));
    read(&mut hands, crozier(), Vec::new());
    assert!(!hands.text(80, 24).contains("stale"));
    // Another unit in project.ron is another print.
    let mut definition = hands.model.project.definition.clone();
    definition.pieces[0].mesh.as_mut().unwrap().unit = Some("in".to_owned());
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    say(&mut hands, Message::Project(Box::new(project)));
    assert!(hands.text(80, 24).contains("stale"));
}

#[test]
fn a_piece_without_a_print_says_how_to_give_it_one() {
    let mut hands = hands();
    hands.select("plain");
    assert_eq!(hands.effects("d"), []);
    let text = hands.text(80, 24);
    assert!(
        text.contains("no print") && text.contains("mesh: Some"),
        "{text}"
    );
    hands.keys("-");
    assert!(hands.top().is_none());
}

#[test]
fn the_action_menu_leads_to_it_by_a_digit() {
    let mut hands = hands();
    hands.keys("+");
    let Some(Layer::Menu(menu)) = hands.top() else {
        panic!("a menu");
    };
    let at = menu
        .entries
        .iter()
        .position(|e| e.say.contains("its print"))
        .unwrap();
    let pages = "0 ".repeat(at / 9);
    hands.keys(&format!("{pages}{}", at % 9 + 1));
    assert_eq!(showing(&hands).piece, "leaf");
}

#[test]
fn where_the_terminal_draws_pictures_it_does_and_the_cells_are_left_to_it() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    let theme = Theme::with(Colours::Dark, false);
    let area = ratatui::layout::Rect::new(0, 0, 120, 40);
    assert_eq!(picture_place(&hands.model, &theme, area), None);
    say(&mut hands, Message::Pictures(true));
    assert_eq!(hands.model.prints.dots(showing(&hands)), Dots::Picture);
    let place = picture_place(&hands.model, &theme, area).unwrap();
    let text = hands.drawn(120, 40, theme);
    let lines = text
        .lines()
        .skip(usize::from(place.y))
        .take(usize::from(place.height));
    assert!(
        lines.into_iter().all(|line| line.trim().is_empty()),
        "{text}"
    );
    let image = picture(&hands.model, &theme, (300, 200)).unwrap();
    assert_eq!((image.width, image.height()), (300, 200));
    let covered = image.dots.iter().flatten().count();
    assert!(covered > 8000, "{covered}");
    hands.keys("9");
    assert_eq!(picture_place(&hands.model, &theme, area), None);
}
