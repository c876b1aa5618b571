//! The print of a piece on the screen: what is drawn of it, told of it, and
//! what the keys do there.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use crate::screens_support::*;
use tankside::mesh::{self, Cavity, Class, Corner, Facet, Survey};
use tankside::project::{Mask, MaskEdit, MeshRef, Project};
use tankside::tui::app::{
    Dots, Effect, Failure, Layer, MaskStep, MaskWork, MaskedPrint, Message, Model, Print, Showing,
    Source, update,
};
use tankside::tui::view::{Colours, Theme, picture, picture_place};
use tankside::units::DM2;

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
        rounding_mm: 0.0,
        watertight: true,
        islands: Vec::new(),
        cavities,
        hollows_untold: false,
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

/// The ball is read and marked in its middle as it is seen at first.
fn marked() -> Hands {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    hands.keys("*");
    hands
}

/// What is to be surveyed.
fn asked(effects: Vec<Effect>) -> MaskWork {
    match effects.into_iter().next() {
        Some(Effect::SurveyMasks(work)) => *work,
        other => panic!("{other:?}"),
    }
}

/// The mask that the keys add at the marker of the ball, and the marker.
fn added(keys: &str) -> (mesh::Mask, Corner) {
    let mut hands = marked();
    let at = showing(&hands).marker.unwrap().at_mm;
    let work = asked(hands.effects(&format!("Enter {keys}")));
    assert_eq!((work.piece.as_str(), work.before.len()), ("leaf", 0));
    let MaskEdit::Add(mask) = &work.edit else {
        panic!("{work:?}");
    };
    assert_eq!((mask.name.as_str(), mask.takes), ("mask1", None));
    let shape = mask.shape.parse().unwrap();
    assert_eq!(work.source.masks, std::slice::from_ref(&shape));
    (shape, at)
}

fn is_near(a: Corner, b: Corner) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() < 0.002)
}

#[test]
fn digits_mask_at_the_marker_by_patch_ball_side_cylinder_and_box() {
    // Sizes stand ready; a digit types another over them.
    let (patch, at) = added("1 Enter Enter");
    assert!(
        matches!(patch, mesh::Mask::Patch { point, degrees: 30.0 } if is_near(point, at)),
        "{patch}"
    );
    let (ball, at) = added("2 Enter Enter");
    assert!(
        matches!(ball, mesh::Mask::Sphere { middle, radius: 5.0 } if is_near(middle, at)),
        "{ball}"
    );
    let (ball, _) = added("2 7 . 5 +");
    assert!(
        matches!(ball, mesh::Mask::Sphere { radius: 7.5, .. }),
        "{ball}"
    );
    for (keys, up) in [("3 Enter Enter", -1.0), ("3 2 Enter Enter", 1.0)] {
        let (side, at) = added(keys);
        let mesh::Mask::Plane { point, normal } = side else {
            panic!("{side}");
        };
        assert!(is_near(point, at) && is_near(normal, [0.0, 0.0, up]));
    }
    let (cylinder, at) = added("4 3 Enter 1 0 Enter Enter");
    let mesh::Mask::Cylinder { from, to, radius } = cylinder else {
        panic!("{cylinder}");
    };
    let middle = [0, 1, 2].map(|axis| f64::midpoint(from[axis], to[axis]));
    let along = [0, 1, 2].map(|axis| to[axis] - from[axis]);
    let length = |of: Corner| of.iter().map(|mm| mm * mm).sum::<f64>().sqrt();
    assert!(is_near(middle, at) && (radius - 3.0).abs() < 1e-9);
    assert!((length(along) - 20.0).abs() < 0.01, "ten each way");
    // What is upright on a ball goes through its middle.
    let cosine = (0..3).map(|axis| along[axis] * at[axis]).sum::<f64>();
    let cosine = cosine / length(along) / length(at);
    assert!(cosine.abs() > 0.99, "{cosine}");
    let (cuboid, at) = added("5 2 Enter 4 Enter 6 Enter Enter");
    let mesh::Mask::Box { from, to } = cuboid else {
        panic!("{cuboid}");
    };
    let corner = |sign: f64| [at[0] + sign, at[1] + 2.0 * sign, at[2] + 3.0 * sign];
    assert!(is_near(from, corner(-1.0)) && is_near(to, corner(1.0)));
}

#[test]
fn what_cannot_be_masked_says_why() {
    let mut hands = hands();
    hands.keys("d Enter");
    assert!(hands.text(80, 24).contains("when the print is read"));
    read(&mut hands, ball(), Vec::new());
    for (keys, why) in [
        ("Enter 2", "nothing is marked"),
        ("6", "the file names no groups"),
        (
            "- * Enter 2 0 +",
            "radius wants a length of 0.01 mm or more",
        ),
        ("* 4 V +", "is no length"),
        ("- 1 2 0 0 +", "degrees from 0 to 180"),
    ] {
        assert_eq!(hands.effects(keys), [], "{keys}");
        let text = hands.text(80, 24);
        assert!(text.contains(why), "{keys}: {text}");
    }
    hands.keys("- - -");
    hands.select("plain");
    hands.keys("d");
    assert_eq!(hands.effects("Enter"), []);
    let text = hands.text(80, 24);
    assert!(text.contains("masks are parts of a print"), "{text}");
}

#[test]
fn a_group_of_the_file_is_chosen_by_its_digit() {
    let mut hands = hands();
    hands.keys("d");
    let source = Source::of(&hands.model.project.definition, "leaf").unwrap();
    let groups = ["stalk", "rim"].map(str::to_owned).to_vec();
    let print = Print::of(source, survey(ball(), Vec::new())).with_groups(groups);
    let (piece, result) = ("leaf".to_owned(), Ok(Arc::new(print)));
    say(&mut hands, Message::PrintRead { piece, result });
    // No marker is wanted for it.
    hands.keys("Enter 6");
    let text = hands.text(80, 24);
    assert!(text.contains("stalk") && text.contains("rim"), "{text}");
    let work = asked(hands.effects("2"));
    let mask = Mask {
        name: "rim".to_owned(),
        shape: "group:rim".to_owned(),
        takes: None,
    };
    assert_eq!(work.edit, MaskEdit::Add(mask));
}

/// The project with these masks on `leaf`, as the keeper tells it.
fn with_masks(hands: &mut Hands, masks: Vec<Mask>) {
    let mut definition = hands.model.project.definition.clone();
    definition.pieces[0].masks = masks;
    let project = Project::new(definition, Vec::new(), BTreeMap::new()).unwrap();
    say(hands, Message::Project(Box::new(project)));
}

fn socket() -> Mask {
    Mask {
        name: "socket".to_owned(),
        shape: "sphere:0,0,-40:20".to_owned(),
        takes: Some(DM2.of(0.25)),
    }
}

#[test]
fn masks_are_listed_in_words_and_taken_off_after_one_question() {
    let mut hands = hands();
    let words = Mask {
        name: "thread".to_owned(),
        shape: "inside: all of it".to_owned(),
        takes: None,
    };
    with_masks(&mut hands, vec![socket(), words.clone()]);
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    hands.keys("Enter");
    sizes("print_masks", &hands);
    let text = hands.text(80, 24);
    assert!(
        text.contains("take off socket: ball of 20 mm around 0, 0, -40, takes 0.250 dm2"),
        "{text}"
    );
    hands.keys("8");
    assert!(hands.text(80, 24).contains("take off the mask thread?"));
    assert_eq!(hands.effects("8"), []);
    assert!(hands.text(80, 24).contains("it stays as it was"));
    let work = asked(hands.effects("7 Enter"));
    assert_eq!(work.edit, MaskEdit::Remove(0));
    assert_eq!(work.before, [socket(), words]);
    assert!(work.source.masks.is_empty(), "nothing with a shape is left");
    hands.draw_at((0..=140).flat_map(|w| [(w, 12), (w, 25)]));
}

#[test]
fn masks_are_surveyed_then_written_and_shown_at_once() {
    let mut hands = marked();
    let work = asked(hands.effects("Enter 2 Enter s o c k e t Enter"));
    let (piece, step, done) = ("leaf".to_owned(), "taking off the masked parts", 0.4);
    say(&mut hands, Message::PrintAt { piece, step, done });
    let text = hands.text(80, 24);
    assert!(
        text.contains("surveying it with the masks: taking off"),
        "{text}"
    );
    // The facet under the marker is another in the new survey, and masked.
    let at = showing(&hands).marker.unwrap();
    let mut facets = ball();
    let mut here = facets.remove(at.facet);
    here.class = Class::Masked;
    facets.push(here);
    let facet = facets.len() - 1;
    let mut survey = survey(facets, Vec::new());
    survey.masks = vec![mesh::MaskTaken {
        mask: work.source.masks[0].clone(),
        area_mm2: here.area_mm2(),
        facets: std::iter::once(facet..facet + 1).collect(),
        because: None,
    }];
    let MaskEdit::Add(mask) = work.edit.clone() else {
        panic!("{work:?}");
    };
    let done = Box::new(MaskedPrint {
        print: Arc::new(Print::of(work.source.clone(), survey)),
        values: Vec::new(),
        work,
    });
    let (piece, result) = ("leaf".to_owned(), Ok(done.clone()));
    let message = Message::MasksSurveyed { piece, result };
    let effects = update(&mut hands.model, message, hands.now);
    assert_eq!(effects, [Effect::WriteMasks(done.clone())]);
    assert!(hands.text(80, 24).contains("writing it down"));
    with_masks(&mut hands, vec![mask]);
    say(&mut hands, Message::MasksWritten(done, Ok(())));
    let text = hands.text(120, 40);
    assert!(
        text.contains("masked by socket") && text.contains("socket is masked"),
        "{text}"
    );
    assert!(
        !text.contains("stale") && !text.contains("surveying"),
        "{text}"
    );
    assert_eq!(showing(&hands).marker.unwrap().facet, facet);
}

#[test]
fn a_mask_that_takes_nothing_says_so_by_its_name() {
    let mut hands = marked();
    let work = asked(hands.effects("Enter 2 +"));
    let mut survey = survey(ball(), Vec::new());
    survey.masks = vec![mesh::MaskTaken {
        mask: work.source.masks[0].clone(),
        area_mm2: 0.0,
        facets: Vec::new(),
        because: None,
    }];
    let done = Box::new(MaskedPrint {
        print: Arc::new(Print::of(work.source.clone(), survey)),
        values: Vec::new(),
        work,
    });
    say(&mut hands, Message::MasksWritten(done, Ok(())));
    let text = hands.text(120, 40);
    assert!(
        text.contains("mask1 is there and takes nothing: it touches nothing"),
        "{text}"
    );
}

#[test]
fn masks_that_are_given_up_or_not_written_leave_the_print_as_it_was() {
    let mut hands = marked();
    let work = asked(hands.effects("Enter 2 +"));
    assert_eq!(hands.effects("Esc"), [Effect::StopReading]);
    assert!(
        hands
            .text(80, 24)
            .contains("given up; its masks are as before")
    );
    let print = hands
        .model
        .prints
        .of("leaf")
        .unwrap()
        .print
        .clone()
        .unwrap();
    let done = Box::new(MaskedPrint {
        work,
        print,
        values: Vec::new(),
    });
    let given_up = |done: &MaskedPrint| Message::MasksSurveyed {
        piece: "leaf".to_owned(),
        result: Ok(Box::new(done.clone())),
    };
    let effects = update(&mut hands.model, given_up(&done), hands.now);
    assert_eq!(effects, [], "nobody wants it any more");
    asked(hands.effects("d Enter 2 +"));
    update(&mut hands.model, given_up(&done), hands.now);
    let failure = Failure::Trouble {
        message: "the disk is full".to_owned(),
        remedy: "make room".to_owned(),
    };
    say(&mut hands, Message::MasksWritten(done, Err(failure)));
    let text = hands.text(120, 40);
    assert!(
        text.contains("its masks are as before: the disk is full; make room"),
        "{text}"
    );
    hands.keys("Enter");
    assert!(
        matches!(hands.top(), Some(Layer::Masking(m)) if m.step == MaskStep::List(0)),
        "it can be done again"
    );
}

/// What the shell is asked to read.
fn asked_to_read(effects: &[Effect]) -> Vec<&str> {
    let asked = effects.iter().filter_map(|effect| match effect {
        Effect::ReadPrint { piece, .. } => Some(piece.as_str()),
        _ => None,
    });
    asked.collect()
}

#[test]
fn a_roomy_piece_screen_shows_a_still_picture_that_is_read_unasked_once() {
    let mut hands = hands();
    let now = hands.now;
    let effects = update(&mut hands.model, Message::Room(true), now);
    assert_eq!(asked_to_read(&effects), ["leaf"]);
    assert!(asked_to_read(&hands.effects("Down")).is_empty());
    assert!(hands.text(120, 40).contains("reading it: opening the file"));
    let mut survey = survey(ball(), Vec::new());
    survey.defects = [(mesh::Flaw::InternalFaces, 7), (mesh::Flaw::TJunction, 3)]
        .map(|(what, count)| mesh::Defect {
            what,
            count,
            at_mm: [0.0; 3],
            size: 1.0,
        })
        .into();
    let source = Source::of(&hands.model.project.definition, "leaf").unwrap();
    let print = Arc::new(Print::of(source, survey));
    let (piece, result) = ("leaf".to_owned(), Ok(print));
    say(&mut hands, Message::PrintRead { piece, result });
    let roomy = hands.text(120, 40);
    let shown = |text: &str| {
        text.lines()
            .filter(|line| line.contains("\u{2592}\u{2592}\u{2592}"))
            .count()
    };
    assert!(shown(&roomy) > 8, "{roomy}");
    // What matters in the bath, once and counted; and the key.
    for part in [
        "wetted",
        "dry",
        "! triangles inside the solid (7 times)",
        "d turns it",
    ] {
        assert!(roomy.contains(part), "{part} in\n{roomy}");
    }
    assert!(!roomy.contains("corner in the middle"), "{roomy}");
    hands.keys("d");
    assert!(hands.text(80, 24).contains("turned 30 right"));
    say(&mut hands, Message::Room(false));
    hands.keys("Esc");
    assert_eq!(shown(&hands.text(80, 24)), 0);
    // A piece without a print asks for nothing.
    assert!(asked_to_read(&hands.effects("Right")).is_empty());
}

#[test]
fn a_reading_that_was_given_up_is_not_begun_again_unasked() {
    let mut hands = hands();
    say(&mut hands, Message::Room(true));
    assert!(
        asked_to_read(&hands.effects("d")).is_empty(),
        "it is read already"
    );
    let effects = hands.effects("Esc");
    assert!(effects.contains(&Effect::StopReading) && asked_to_read(&effects).is_empty());
    assert!(asked_to_read(&hands.effects("Down")).is_empty());
    assert!(hands.text(120, 40).contains("meshes/leaf.stl; d draws it"));
    assert_eq!(asked_to_read(&hands.effects("d")), ["leaf"]);
}

#[test]
fn a_flat_print_is_not_looked_at_along_its_edge() {
    let mut hands = hands();
    let sheet = |z: f64| {
        let [a, b] = [[-40.0, -40.0, z], [40.0, -40.0, z]];
        let [c, d] = [[40.0, 40.0, z], [-40.0, 40.0, z]];
        [[a, b, c], [a, c, d]]
    };
    let corners = [sheet(0.0), sheet(1.0)].concat().into_iter();
    let facets = corners.zip(0..).map(|(corners, triangle)| Facet {
        triangle,
        corners,
        class: Class::Wetted,
    });
    let facets: Vec<Facet> = facets.collect();
    hands.keys("d");
    read(&mut hands, facets.clone(), Vec::new());
    assert!(hands.text(80, 24).contains("65 from above"));
    hands.keys("6 5");
    assert!(hands.text(80, 24).contains("30 right, 65 from above"));
    // A post is: its length is seen from the side.
    let post = facets.iter().map(|facet| Facet {
        corners: facet.corners.map(|[x, y, z]| [x / 20.0, z, y]),
        ..*facet
    });
    let post: Vec<Facet> = post.collect();
    let source = Source::of(&hands.model.project.definition, "leaf").unwrap();
    let first = Print::of(source, survey(post, Vec::new())).first;
    assert!((first.tilt - 20.0).abs() < 0.1, "{first:?}");
}

#[test]
fn help_over_a_print_and_its_masks_begins_with_their_keys() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    assert!(
        hands
            .text(40, 24)
            .lines()
            .last()
            .unwrap()
            .contains("2468 turn")
    );
    hands.keys("/");
    let help = hands.text(80, 24);
    for part in [
        "on a print: keys",
        "3, 1",
        "7, 9, 0, 5",
        "its masks: one more",
    ] {
        assert!(help.contains(part), "{part} in\n{help}");
    }
    hands.keys("Esc Enter /");
    let help = hands.text(80, 24);
    assert!(
        help.contains("on its masks: keys") && help.contains("survey the print"),
        "{help}"
    );
    hands.keys("Esc");
    assert!(hands.text(80, 24).contains("masks of leaf"));
}

#[test]
fn a_cut_is_in_the_legend_and_a_narrow_title_says_all() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    assert!(!hands.text(80, 24).contains("cut through the solid"));
    hands.keys("3 + 7");
    assert!(
        hands
            .text(80, 24)
            .contains("\u{253c} cut through the solid")
    );
    // In Braille the legend has its patterns.
    hands.keys("9");
    let braille = hands.text(80, 24);
    for part in ["\u{28ff} wetted", "\u{2805} masked", "\u{28c9} dry"] {
        assert!(braille.contains(part), "{part} in\n{braille}");
    }
    hands.keys("9");
    let narrow = hands.text(40, 24);
    assert!(
        narrow.contains("leaf  cut inside x1.2 30 right"),
        "{narrow}"
    );
}

#[test]
fn nothing_of_its_figures_is_cut_on_a_narrow_piece_screen() {
    let mut hands = hands();
    hands.keys("d");
    read(&mut hands, ball(), Vec::new());
    hands.keys("Esc");
    let screen = hands.text(40, 24);
    let figures = screen
        .lines()
        .skip_while(|line| !line.starts_with("charge"));
    let figures: Vec<&str> = figures
        .take_while(|line| !line.starts_with("before"))
        .collect();
    assert!(figures.len() > 4, "{screen}");
    assert!(
        figures.iter().all(|line| !line.contains('\u{2026}')),
        "{screen}"
    );
    assert!(screen.contains("0 %"), "{screen}");
}
