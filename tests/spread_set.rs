//! `spread DIR --set` by the real program: the shares it records, and the charge
//! that goes by them.

use crate::support::cli::Shop;
use crate::support::prints::{self, Shape};
use crate::support::pty::Pty;
use serde_json::Value;
use tankside::project::{Event, What};
use tankside::store::Folder;

/// A large and a small cube, covered, in one tank with one anode, the small one
/// nearer to it; 2 A from 18:00 on.
fn hanging() -> Shop {
    let shop = Shop::with_project();
    for (name, side) in [("large", 40.0), ("small", 25.0)] {
        let cube = Shape::cuboid([-side / 2.0; 3], [side; 3]);
        std::fs::write(shop.path("cube.stl"), prints::stl(&cube)).unwrap();
        shop.ok(&format!("add p {name} --mesh cube.stl --unit mm"));
    }
    for (path, value) in [
        ("tanks.main.inside", "(\"30cm\", \"20cm\", \"25cm\")"),
        ("tanks.main.fill", "20cm"),
        (
            "tanks.main.anodes",
            "[(name: \"left\", plate: (at: (\"0cm\", \"10cm\", \"10cm\"), facing: (1, 0, 0), size: (\"15cm\", \"15cm\"), one_face: true))]",
        ),
        ("pieces.small.hangs", "(at: (\"8cm\", \"10cm\", \"10cm\"))"),
        ("pieces.large.hangs", "(at: (\"20cm\", \"10cm\", \"10cm\"))"),
        (
            "pieces.small.leads",
            "[(name: \"hook\", points: [(\"8cm\", \"10cm\", \"12cm\"), (\"8cm\", \"10cm\", \"19cm\")], diameter: \"2mm\")]",
        ),
        ("route", "[\"build\"]"),
    ] {
        let words = ["set", "p", path, value, "--json"].map(str::to_owned);
        let out = shop.raw(&words);
        assert_eq!(out.status, 0, "{path}: {out:?}");
    }
    shop.rec("supply --tank main --amps 2A");
    for name in ["large", "small"] {
        shop.rec(&format!("{name} look covered"));
        shop.rec(&format!("{name} start build --override trial"));
    }
    shop
}

fn last(shop: &Shop) -> Event {
    let folder = Folder::open(&shop.path("p")).unwrap();
    folder.project().events().last().unwrap().clone()
}

fn figure(piece: &Value, key: &str) -> f64 {
    piece[key].as_f64().unwrap()
}

#[test]
fn set_records_the_shares_and_the_charge_goes_by_them() {
    let mut shop = hanging();
    assert_eq!(shop.piece("small")["share_by"], "area");
    let told = shop.ok("spread p --panels 1200 --set");
    assert_eq!(told["set"]["recorded"], true, "{told}");
    let body = |name: &str| {
        let mut bodies = told["bodies"].as_array().unwrap().iter();
        let body = bodies.find(|body| body["name"] == name);
        figure(body.unwrap(), "share")
    };
    let (wire, on_it) = (body("small hook"), body("small"));
    let What::Shares {
        shares,
        rel,
        scene,
        result,
        ..
    } = last(&shop).what
    else {
        panic!("shares are recorded last");
    };
    let small = shares.iter().find(|of| of.piece == "small").unwrap();
    assert!((small.share - (wire + on_it)).abs() < 1e-6, "{small:?}");
    assert!(
        (small.wire - wire / (wire + on_it)).abs() < 1e-6,
        "{small:?}"
    );
    // By area the small one would have 37.5 of 133.5 cm2 without its hook.
    assert!(small.share > 1.1 * 37.5 / 133.5, "{small:?}");
    // The error of the whole current over the least share, or what is always left.
    let error =
        told["error_estimate"]["resistance"].as_f64().unwrap() / small.share.min(1.0 - small.share);
    assert!((rel - error.max(0.029)).abs() < 1e-3, "{rel}: {error}");
    assert_eq!((scene.len(), result.len()), (64, 64));

    shop.at("18:30");
    let piece = shop.piece("small");
    assert_eq!(piece["share_by"], "field");
    assert_eq!(piece["charge_kind"], "estimated");
    let charge = figure(&piece, "charge_estimated_ah");
    assert!((charge - small.share).abs() < 1e-6, "{piece}");
    assert!((figure(&piece, "charge_by_field_ah") - charge).abs() < 1e-9);
    assert!(piece["evenness_stale"].is_null(), "{piece}");

    // A turn ends them: said at once, told since, and by area from there.
    let turned = shop.rec("large turn 'upside down'");
    let warned = turned["warnings"][0].as_str().unwrap();
    assert!(warned.contains("shares of main end here"), "{turned}");
    shop.at("18:45");
    let piece = shop.piece("small");
    assert_eq!(piece["share_by"], "area");
    assert!((figure(&piece, "charge_by_field_ah") - charge).abs() < 1e-9);
    let by_area = 0.5 * 37.5 / 133.5;
    let more = figure(&piece, "charge_estimated_ah") - charge;
    assert!((more - by_area).abs() < 1e-4, "{more}: {by_area}");
    let stale = piece["evenness_stale"].as_str().unwrap();
    assert!(stale.contains("turn large"), "{stale}");
    let status = shop.ok("status p");
    let warning = status["tanks"][0]["warnings"][0].as_str().unwrap();
    assert!(
        warning.contains("by area since 18:30") && warning.contains("turn large"),
        "{warning}"
    );
    let text = shop.raw(&["status", "p"].map(str::to_owned)).text;
    assert!(text.contains("shares by area since 18:30"), "{text}");
    let words = ["traveller", "p", "small"].map(str::to_owned);
    let sheet = shop.raw(&words).text;
    for told in [
        "share in part by the field",
        "shares by area since 18:30",
        "evenness is stale",
    ] {
        assert!(sheet.contains(told), "{told}: {sheet}");
    }
    let history = shop.ok("history p small")["events"].to_string();
    assert!(history.contains("shares of main by the field"), "{history}");
}

#[test]
fn an_anode_moved_in_the_file_makes_them_void() {
    let shop = hanging();
    shop.ok("spread p --panels 1200 --set");
    assert_eq!(shop.piece("small")["share_by"], "field");
    let text = shop.raw(&["status", "p"].map(str::to_owned)).text;
    assert!(text.contains("share by the field"), "{text}");
    shop.ok("set p tanks.main.anodes.left.plate.size '(\"12cm\", \"15cm\")'");
    let piece = shop.piece("small");
    assert_eq!(piece["share_by"], "area");
    for key in ["shares_ended", "evenness_stale"] {
        let told = piece[key].as_str().unwrap();
        assert!(told.contains("another scene"), "{told}");
    }
    shop.ok("spread p --panels 1200 --set");
    let piece = shop.piece("small");
    assert_eq!(piece["share_by"], "field");
    assert!(piece["evenness_stale"].is_null() && piece["shares_ended"].is_null());
}

#[test]
fn the_key_on_spread_does_the_same() {
    let mut shop = hanging();
    shop.now = None;
    let (folder, cache) = (shop.path("p"), shop.path("cache"));
    let kept = [
        ("TANKSIDE_CACHE_DIR", cache.to_str().unwrap()),
        ("USER", "ida"),
    ];
    let mut pty = Pty::run(
        env!("CARGO_BIN_EXE_tankside"),
        &["open", folder.to_str().unwrap()],
        &kept,
    );
    pty.wait_for("Bell");
    pty.send("1x");
    pty.wait_for("where the metal goes in main");
    pty.send("s");
    pty.wait_for("nothing is computed yet");
    pty.send("\r");
    let patience = std::time::Duration::from_mins(2);
    pty.within(patience, |screen| screen.contents().contains("predicted "))
        .unwrap();
    pty.send("s");
    pty.wait_for("shares of main by the field");
    pty.send("p");
    pty.wait_for("its share as the field predicts");
    pty.send("\u{3}");
    assert_eq!(pty.ended(), 0);
    let event = last(&shop);
    assert_eq!(event.who, "ida");
    assert!(matches!(event.what, What::Shares { .. }), "{event:?}");
    assert_eq!(shop.piece("small")["thickness_local"]["kind"], "predicted");
}

#[test]
fn where_others_hang_no_share_is_recorded_and_it_is_said() {
    let shop = hanging();
    let told = shop.ok("spread p --panels 600 --piece small --set");
    assert_eq!(told["set"]["recorded"], false);
    let said = told["set"]["shares"].to_string();
    assert!(said.contains("in main hang large, small"), "{said}");
    assert!(!matches!(last(&shop).what, What::Shares { .. }));
}

#[test]
fn shares_are_told_again_by_their_command() {
    let shop = hanging();
    shop.ok("shares p --tank main large=66.6% small=0.334:2.5% --rel 3%");
    let first = last(&shop);
    assert_eq!(
        first.what.to_string(),
        "shares of main by the field: large 66.6 %, small 33.4 %"
    );
    assert_eq!(shop.piece("small")["share_by"], "field");
    shop.rec("undo");
    assert_eq!(shop.piece("small")["share_by"], "area");
    let line = first.command().line("p");
    shop.ok(line.strip_prefix("tankside ").unwrap());
    assert_eq!(last(&shop).what, first.what);
    shop.ok("shares p --tank main");
    assert_eq!(shop.piece("small")["share_by"], "area");
    let line = last(&shop).command().line("p");
    assert!(
        line.starts_with("tankside shares p --tank=main --at="),
        "{line}"
    );
    assert_eq!(
        shop.refused("shares p --tank main small=1")["rule"],
        "other-pieces"
    );
    assert_eq!(
        shop.refused("shares p --tank main small=0.5 large=0.6")["rule"],
        "no-shares"
    );
    assert!(
        shop.bad("shares p --tank main small")
            .to_string()
            .contains("PIECE=SHARE")
    );
    // A piece may still be called so.
    shop.ok("add p shares --area 1dm2");
    shop.rec("shares note kept");
}
