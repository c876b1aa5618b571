//! Adding a piece with its print on the screen, by the keypad, on a model whose
//! shell is the test.

use crate::screens_support::Hands;
use tankside::mesh::LengthUnit;
use tankside::project::{MeshRef, Piece};
use tankside::tui::app::{
    AddNews, AddStep, AddWork, Adding, Effect, Failure, FoundPrint, Layer, Message, update,
};
use tankside::units::{DM2, MM};

/// What was asked of the shell, with its number.
fn asked(effects: Vec<Effect>) -> (u32, AddWork) {
    let asked = effects.into_iter().find_map(|effect| match effect {
        Effect::Adding(ticket, work) => Some((ticket, work)),
        _ => None,
    });
    asked.expect("something is asked")
}

fn tell(hands: &mut Hands, ticket: u32, news: AddNews) -> Vec<Effect> {
    let now = hands.now;
    update(&mut hands.model, Message::Adding(ticket, news), now)
}

fn adding(hands: &Hands) -> &Adding {
    match hands.model.layers.last() {
        Some(Layer::Adding(adding)) => adding,
        other => panic!("{other:?}"),
    }
}

fn found() -> Box<FoundPrint> {
    Box::new(FoundPrint {
        piece: Piece {
            area: Some(DM2.of(2.0)),
            area_pm: Some(DM2.of(0.02)),
            size: Some([MM.of(80.0); 3]),
            mesh: Some(MeshRef {
                file: "prints/stem.stl".into(),
                unit: Some("mm".into()),
                sha256: Some("00".into()),
            }),
            ..Piece::named("")
        },
        cautions: vec!["shells overlap".into()],
    })
}

/// The file and the name are said, the shell is asked to look.
fn looking(hands: &mut Hands) -> u32 {
    let (ticket, work) = asked(hands.effects("g"));
    assert_eq!(work, AddWork::Find);
    let files = ["prints/stem.stl", "prints/base.stl"].map(str::to_owned);
    tell(hands, ticket, AddNews::Files(files.to_vec()));
    // The first file stands ready, its name too; printed by the second digit.
    let (ticket, work) = asked(hands.effects("Enter Enter 2 Enter"));
    assert_eq!(work, AddWork::Look("prints/stem.stl".into()));
    assert_eq!(adding(hands).fields[1].text, "stem");
    ticket
}

#[test]
fn the_unit_is_asked_with_the_size_in_words_and_the_survey_is_shown_before_it_is_added() {
    let mut hands = Hands::empty();
    let ticket = looking(&mut hands);
    tell(
        &mut hands,
        ticket,
        AddNews::Looked(Ok((None, [12.0, 8.0, 4.0]))),
    );
    let screen = hands.text(80, 24);
    for part in [
        "1>mm",
        "12.0 x 8.00 x 4.00 mm, as small as a fingernail",
        "120 x 80.0 x 40.0 mm, as large as a fist",
        "12000 x",
    ] {
        assert!(screen.contains(part), "{part} in\n{screen}");
    }
    let (ticket, work) = asked(hands.effects("2"));
    assert_eq!(
        work,
        AddWork::Survey("prints/stem.stl".into(), LengthUnit::Cm, MM.of(0.5))
    );
    tell(&mut hands, ticket, AddNews::At("the surface", 0.4));
    assert!(hands.text(80, 24).contains("surveying: the surface"));
    tell(&mut hands, ticket, AddNews::Surveyed(Ok(found())));
    let screen = hands.text(80, 24);
    for part in [
        "wetted area ~2.000 \u{b1}0.020 dm2",
        "x1.16: fdm:0.2mm",
        "! shells overlap",
    ] {
        assert!(screen.contains(part), "{part} in\n{screen}");
    }
    let (ticket, work) = asked(hands.effects("Enter"));
    let AddWork::Add(file, found) = work else {
        panic!("{work:?}")
    };
    assert_eq!(
        (file.as_str(), found.piece.name.as_str()),
        ("prints/stem.stl", "stem")
    );
    assert!((found.piece.roughness - 1.16).abs() < 0.005);
    tell(&mut hands, ticket, AddNews::Added(Ok(())));
    assert!(hands.model.layers.is_empty());
    assert_eq!(hands.model.said.text, "stem is added");
}

#[test]
fn a_file_that_names_its_unit_is_surveyed_at_once_and_what_was_given_up_is_not_heeded() {
    let mut hands = Hands::empty();
    hands.model.project.definition.bubble = MM.of(2.0);
    let ticket = looking(&mut hands);
    let looked = AddNews::Looked(Ok((Some(LengthUnit::In), [1.0; 3])));
    let (ticket, work) = asked(tell(&mut hands, ticket, looked));
    assert_eq!(
        work,
        AddWork::Survey("prints/stem.stl".into(), LengthUnit::In, MM.of(2.0))
    );
    assert_eq!(asked(hands.effects("Esc")).1, AddWork::Stop);
    tell(&mut hands, ticket, AddNews::Surveyed(Ok(found())));
    assert_eq!(adding(&hands).step, AddStep::Fields);
}

#[test]
fn what_is_wrong_is_said_where_it_was_typed() {
    let mut hands = Hands::with(&["stem"]);
    hands.keys("g");
    hands.keys("Enter");
    assert!(hands.text(80, 24).contains("print file wants a few words"));
    hands.keys("s t e m . s t l Enter Enter Enter");
    assert!(
        hands
            .text(80, 24)
            .contains("there is a piece `stem` already")
    );
    hands.keys("Up * l i d");
    let (ticket, work) = asked(hands.effects("Enter Enter"));
    assert_eq!(work, AddWork::Look("stem.stl".into()));
    let failure = Failure::Trouble {
        message: "there is no such file".into(),
        remedy: "see to its spelling".into(),
    };
    tell(&mut hands, ticket, AddNews::Looked(Err(failure)));
    assert!(hands.text(80, 24).contains("see to its spelling"));
    assert_eq!(adding(&hands).fields[1].text, "lid");
}
