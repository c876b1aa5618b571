//! The command line's promises, by the real binary.

use crate::support::cli::{Shop, near};
use crate::support::prints;
use serde_json::{Value, json};

/// Ah per dm² and µm of copper: 8.96e-2 g / 1.18549 g/Ah (IUPAC, CODATA).
const K: f64 = 0.075_58;

#[test]
fn from_an_empty_folder_to_a_sealed_piece() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2 --wire 0.8mm:30cm");
    let bell = s.piece("bell");
    assert_eq!(bell["stage"], "coat");
    assert_eq!(bell["stage_state"], "waiting");
    near(&bell["wetted_area_dm2"], 6.84, 1e-9);
    // pi * 0.08 dm... 0.008 dm * 3 dm * pi = 0.075398 dm2.
    near(&bell["conductor_area_dm2"], 6.915_398, 1e-6);
    near(&bell["charge_target_ah"], 40.0 * 6.915_398 * K, 1e-4);
    assert_eq!(bell["coverage"], Value::Null);
    assert_eq!(bell["density_a_dm2"], Value::Null);
    near(&bell["charge_ah"], 0.0, 1e-12);

    let refusal = s.refused("record p bell start coat");
    assert!(refusal["instead"].as_array().unwrap().len() >= 3);
    assert!(
        refusal["instead"][0]
            .as_str()
            .unwrap()
            .starts_with("tankside record p bell tick")
    );
    s.prepared("bell");

    s.at("19:00").rec("supply --tank main --volts 0.3V");
    s.at("19:01").rec("bell start strike");
    let status = s.at("19:02").ok("status p");
    assert!(
        status["due"]
            .as_array()
            .unwrap()
            .iter()
            .all(|d| d["what"] != "lift-out")
    );
    s.rec("reading --tank main --volts 0.3V --amps 0.3A");
    s.at("19:06").rec("bell lift");
    assert_eq!(s.piece("bell")["in_bath"], false);
    near(&s.at("19:08").piece("bell")["out_s"], 120.0, 1e-9);
    s.rec("bell look covered");
    s.rec("bell return");
    s.at("19:10").rec("bell finish");
    s.rec("supply --tank main --amps 6.9A");
    s.rec("bell start build");
    s.at("22:20")
        .rec("reading --tank main --volts 1.2V --amps 6.9A --mode cc");
    let bell = s.piece("bell");
    // The line from 0.3 A at 19:02 to 6.9 A at 19:10 less the lift from 19:06 to 19:08:
    // 4 * (0.3 + 3.6)/2 + 2 * (5.25 + 6.9)/2 = 19.95 A·min; then 190 min at 6.9 A.
    near(&bell["charge_ah"], (19.95 + 6.9 * 190.0) / 60.0, 1e-6);
    assert_eq!(bell["charge_kind"], "measured");
    assert_eq!(bell["thickness_local"]["kind"], "assumed");
    s.satisfy("bell", "end");
    s.rec("bell finish");
    assert_eq!(s.piece("bell")["in_bath"], false);
    s.rec("supply --tank main --off");
    for _ in 0..1 {
        s.satisfy("bell", "start");
        s.rec("bell start rinse");
        s.satisfy("bell", "end");
        s.rec("bell finish");
    }
    s.satisfy("bell", "start");
    s.rec("bell start age");
    assert_eq!(s.refused("record p bell finish")["rule"], "hold");
    s.clock("2026-03-05T20:00:00Z");
    near(
        &s.piece("bell")["hold"]["elapsed_h"],
        69.0 + 40.0 / 60.0,
        1e-9,
    );
    s.rec("bell finish");
    s.satisfy("bell", "start");
    s.rec("bell start seal");
    s.rec("bell coat");
    s.clock("2026-03-06T21:00:00Z").rec("bell finish");
    let bell = s.piece("bell");
    assert_eq!(bell["stage_state"], "done");
    assert!(bell["marks"].as_array().unwrap().is_empty(), "{bell}");
}

#[test]
fn wrong_words_are_told_apart_from_rules() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    for bad in [
        "record p bell strat coat",
        "record p bell start cota",
        "record p nobody start coat",
        "record p bell ohms 240",
        "record p bell weigh 12 --as plated",
        "record p bell look shiny",
        "record p bell tick nothing",
        "add p handle --area 3",
        "add p undo --area 3dm2",
        "add p bell --area 3dm2",
        "status nowhere",
        "set p hold.tme 48h",
        "set p pieces.nobody.area 3dm2",
        "new q --name Q --metal brass --mean 40um",
        "charge --metal copper-acid --area 1dm2",
        "measure nothing.stl",
        "record p bell start coat --at yesterday",
    ] {
        let error = s.bad(bad);
        assert!(
            error["message"].as_str().is_some_and(|m| !m.is_empty()),
            "{bad}: {error}"
        );
        assert!(
            error.get("line").is_some()
                && error.get("column").is_some()
                && error.get("file").is_some()
        );
    }
    let error = s.bad("record p bell ohms 240");
    assert!(
        error["message"].as_str().unwrap().contains("kohm"),
        "{error}"
    );
    for refused in [
        "record p bell start strike",
        "record p bell finish",
        "record p bell lift",
        "record p bell return",
        "record p bell resume",
        "record p undo",
        "record p redo",
        "record p bell start coat --at 2026-03-02T18:00:01Z",
        "new q --name Q --metal copper-cyanide --mean 40um",
        "new q --name Q --metal gold-cyanide --mean 40um --override please",
    ] {
        if refused.contains("--override") {
            assert_ne!(s.run(refused).status, 0);
        } else {
            s.refused(refused);
        }
    }
    assert!(!s.path("q").exists());
}

#[test]
fn charge_goes_both_ways() {
    let s = Shop::new();
    // Groover, Fundamentals of Modern Manufacturing, ch. 28: nickel on 43456 mm2, 25 A for
    // 60 min at 95 %: 0.0673 mm; dividing by the efficiency gives the wrong 0.0746.
    let groover =
        s.ok("charge --metal nickel --area 43456mm2 --amps 25A --hours 1 --efficiency 95%");
    near(&groover["thickness_um"], 67.3, 0.003);
    let there =
        s.ok("charge --metal copper-acid --area 6.84dm2 --thickness 40um --density 1.5A/dm2");
    near(&there["charge_ah"], 40.0 * 6.84 * K, 1e-4);
    near(&there["hours"], 40.0 * 6.84 * K / (1.5 * 6.84), 1e-4);
    assert_eq!(there["metal"]["symbol"], "Cu");
    let back = s.ok(&format!(
        "charge --metal copper-acid --area 6.84dm2 --charge {}Ah",
        there["charge_ah"]
    ));
    near(&back["thickness_um"], 40.0, 1e-6);
    assert_eq!(back["hours"], Value::Null);
    // Cyanide: arithmetic, with its warning.
    let out = s.run("charge --metal copper-cyanide --area 1dm2 --thickness 10um");
    assert_eq!(out.status, 0);
    assert!(out.err.contains("cyanide"));
}

#[test]
fn an_override_marks_each_gate_and_nothing_else() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    s.rec("bell start coat --override 'in a hurry'");
    let marks = s.piece("bell")["marks"].clone();
    let kinds: Vec<&str> = marks
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|m| m["kind"].as_str())
        .collect();
    assert_eq!(kinds, ["override"; 3]);
    assert_eq!(marks[0]["because"], "in a hurry");
    s.rec("bell note 'nothing in the way' --override 'no need'");
    assert_eq!(s.piece("bell")["marks"].as_array().unwrap().len(), 3);
    // Never the order of stages.
    s.refused("record p bell start build --override please");
    s.rec("undo");
    s.rec("undo");
    assert!(s.piece("bell")["marks"].as_array().unwrap().is_empty());
    s.rec("redo");
    assert_eq!(s.piece("bell")["marks"].as_array().unwrap().len(), 3);
}

#[test]
fn back_dated_events_are_marked_or_refused() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    s.prepared("bell");
    s.at("19:00").rec("bell start strike");
    s.at("19:30").rec("bell note late --at 19:20");
    assert!(
        s.piece("bell")["marks"].as_array().unwrap().is_empty(),
        "lateness alone is no mark"
    );
    s.rec("bell note earlier --at 19:10");
    assert_eq!(s.piece("bell")["marks"][0]["kind"], "back-dated");
    s.rec("bell lift --at 19:25");
    // A finish at 19:05 would make the lift impossible.
    s.refused("record p bell rework coat --because thin --at 19:05");
    // What happened later is left out.
    s.at("19:22");
    assert_eq!(s.piece("bell")["in_bath"], true);
}

#[test]
fn shares_follow_coverage() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 6dm2");
    s.ok("add p handle --area 3dm2");
    s.prepared("bell");
    s.prepared("handle");
    s.at("19:00").rec("bell start strike");
    s.rec("bell look covered");
    s.rec("supply --tank main --amps 3A");
    s.at("19:30").rec("handle start strike");
    s.at("19:40");
    let bell = s.piece("bell");
    assert_eq!(bell["charge_kind"], "unknown-share");
    for key in [
        "charge_ah",
        "thickness_um",
        "density_a_dm2",
        "thickness_pm_um",
    ] {
        assert_eq!(bell[key], Value::Null, "{key}");
    }
    assert_eq!(bell["thickness_local"]["least_um"], Value::Null);
    s.rec("reading --tank main --volts 0.9V --amps 1A --piece handle --at 19:30");
    s.rec("reading --tank main --volts 0.9V --amps 1A --piece handle");
    s.rec("supply --tank main --off");
    let bell = s.piece("bell");
    near(&bell["charge_ah"], 3.0 * 0.5 + 2.0 / 6.0, 1e-9);
    assert_eq!(bell["charge_kind"], "measured");
    near(&s.piece("handle")["charge_ah"], 1.0 / 6.0, 1e-9);
    let due = s.ok("status p")["due"].clone();
    assert_eq!(due[0]["what"], "lift-out");
    assert_eq!(due[1]["what"], "lift-out");
    // The ±: area 2 %, efficiency 1 %, meter 1 %, k = 2; no bound between equal currents.
    let t = s.piece("bell")["thickness_um"].as_f64().unwrap();
    near(
        &s.piece("bell")["thickness_pm_um"],
        2.0 * t * (0.02_f64.powi(2) + 2.0 * 0.01_f64.powi(2)).sqrt(),
        1e-6,
    );
}

#[test]
fn set_keeps_comments_and_refuses_what_cannot_be() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    let before = std::fs::read_to_string(s.path("p/project.ron")).unwrap();
    s.ok("set p pieces.bell.area 7dm2");
    s.ok("set p hold.time 48h");
    s.ok("set p uncertainty.area_rel 0.03");
    let after = std::fs::read_to_string(s.path("p/project.ron")).unwrap();
    let comments = |text: &str| {
        text.lines()
            .filter(|l| l.trim_start().starts_with("//"))
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(comments(&before), comments(&after));
    near(&s.piece("bell")["wetted_area_dm2"], 7.0, 1e-9);
    assert_eq!(s.ok("status p")["uncertainty"]["area_rel"], 0.03);
    s.rec("bell note hello");
    // A piece with history, a stage that a piece is in.
    assert_eq!(s.refused("set p pieces []")["rule"], "contradiction");
    s.rec("bell tick primed no-weep degreased");
    s.rec("bell start coat");
    s.refused("set p route '[\"wiring\", \"build\"]'");
    let error = s.bad("set p uncertainty.area_rel lots");
    assert!(
        error["file"]
            .as_str()
            .is_some_and(|f| f.ends_with("project.ron")),
        "{error}"
    );
    assert_eq!(
        std::fs::read_to_string(s.path("p/project.ron")).unwrap(),
        after
    );
}

#[test]
fn the_close_out_is_signed_when_the_tank_side_is_ticked_and_no_current_flows() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    s.prepared("bell");
    s.at("19:00").rec("supply --tank main --amps 1A");
    s.rec("bell start strike");
    let closeout = s.ok("closeout p");
    assert_eq!(closeout["may_sign"], false);
    let ids: Vec<String> = closeout["items"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|i| i["side"] == "tank")
        .map(|i| i["id"].as_str().unwrap().to_owned())
        .collect();
    assert!(
        closeout["items"]
            .as_array()
            .unwrap()
            .iter()
            .all(|i| i["side"] != "paper" || i["blocks"] == false)
    );
    s.ok(&format!("closeout p tick {}", ids.join(" ")));
    assert_eq!(s.refused("closeout p sign")["rule"], "current-flows");
    s.rec("bell lift");
    s.rec("supply --tank main --off");
    assert_eq!(s.ok("closeout p")["may_sign"], true);
    s.ok("closeout p sign --who Ida");
    let printed = s.ok("closeout p print")["text"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(printed.contains("Ida"), "{printed}");
    // A new evening begins unticked.
    assert_eq!(s.ok("closeout p")["may_sign"], false);
    s.bad("closeout p tick windows");
}

#[test]
fn everything_answers_in_json_and_nothing_else() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    for words in [
        "status p",
        "gates p bell",
        "history p",
        "history p bell",
        "sheet p",
        "closeout p",
        "closeout p print",
        "check p",
        "man",
        "completions bash",
        "completions zsh",
        "settings",
        "keys",
        "traveller p bell",
        "--help",
        "--version",
        "record --help",
        "charge --metal zinc --area 1dm2 --charge 1Ah",
    ] {
        let out = s.run(words);
        assert_eq!(out.status, 0, "{words}: {out:?}");
        assert_eq!(out.json["schema"], 1, "{words}: {out:?}");
    }
    assert_eq!(s.run("bogus").status, 2);
    let man = s.ok("man")["text"].as_str().unwrap().to_owned();
    assert!(
        man.contains("touch\\-up") && man.contains("closeout"),
        "the man page tells every form"
    );
}

#[test]
fn a_fresh_status_has_nulls_for_what_is_unknown() {
    let s = Shop::with_project();
    let status = s.ok("status p");
    assert_eq!(status["pieces"], json!([]));
    assert_eq!(status["due"], json!([]));
    assert_eq!(status["match"]["thickness_spread_um"], Value::Null);
    assert_eq!(status["match"]["age_spread_h"], Value::Null);
    assert_eq!(status["tanks"][0]["name"], "main");
    assert_eq!(
        status["tanks"][0]["supply"],
        json!({"mode": null, "amps": null, "volts": null})
    );
    assert_eq!(
        (
            &status["uncertainty"]["efficiency_rel"],
            &status["uncertainty"]["share_rel"]
        ),
        (&json!(0.01), &json!(0.115))
    );
}

#[test]
fn minimum_targets_ask_for_twice_their_mean() {
    let s = Shop::new();
    s.ok("new m --name M --metal silver --minimum 10um --efficiency 98% --hold 48h --zone Europe/Berlin");
    s.ok("add m ring --area 2dm2 --roughness 1.1");
    let ring = s.ok("status m")["pieces"][0].clone();
    // Silver: 10.5e-2 g per dm2 um / 4.02471 g/Ah = 0.0260888 Ah; 20 um on 2.2 dm2 at 98 %.
    near(
        &ring["charge_target_ah"],
        20.0 * 2.2 * 0.026_088_8 / 0.98,
        1e-4,
    );
    near(&ring["plating_area_dm2"], 2.2, 1e-9);
    near(&ring["wetted_area_dm2"], 2.0, 1e-9);
}

#[test]
fn refresh_starts_one_hold_for_all() {
    let mut s = Shop::with_project();
    for (name, age_at) in [("bell", "19:00"), ("handle", "20:00")] {
        s.ok(&format!("add p {name} --area 3dm2"));
        s.ok(&format!("set p pieces.{name}.route '[\"age\", \"seal\"]'"));
        s.at(age_at).rec(&format!("{name} tick surface"));
        s.rec(&format!("{name} start age"));
    }
    near(
        &s.at("21:00").ok("status p")["match"]["age_spread_h"],
        1.0,
        1e-9,
    );
    s.at("21:30").ok("refresh p bell handle");
    near(
        &s.at("22:30").ok("status p")["match"]["age_spread_h"],
        0.0,
        1e-9,
    );
    near(&s.piece("bell")["hold"]["elapsed_h"], 1.0, 1e-9);
    // 72 h and the tolerance of 4 h from 21:30: late at 2:00 four nights on.
    s.clock("2026-03-06T02:00:00Z").rec("bell finish");
    s.rec("bell tick power-off");
    s.rec("bell start seal");
    assert_eq!(s.piece("bell")["marks"][0]["kind"], "late");
    s.rec("handle finish --at 2026-03-05T21:30:00Z");
    s.rec("handle tick power-off --at 2026-03-05T21:31:00Z");
    s.rec("handle start seal --at 2026-03-05T21:31:00Z");
    assert!(
        s.piece("handle")["marks"]
            .as_array()
            .unwrap()
            .iter()
            .all(|m| m["kind"] != "late")
    );
}

#[test]
fn a_piece_that_leaves_keeps_its_charge_while_others_hang() {
    let mut s = Shop::with_project();
    for (name, area) in [("bell", "4dm2"), ("handle", "2dm2")] {
        s.ok(&format!("add p {name} --area {area}"));
        s.prepared(name);
        s.at("19:00").rec(&format!("{name} start strike"));
        s.rec(&format!("{name} look covered"));
        s.rec(&format!("{name} finish"));
        s.rec(&format!("{name} start build"));
    }
    s.rec("supply --tank main --amps 6A");
    s.at("20:00")
        .rec("reading --tank main --volts 1V --amps 6A");
    s.rec("bell tick stop-time tracks");
    s.rec("bell finish");
    near(&s.piece("bell")["charge_ah"], 4.0, 1e-9);
    // 4 Ah on 4 dm2: 4 / (4 * 0.07558) um.
    near(&s.piece("bell")["thickness_um"], 1.0 / K, 1e-4);
    near(&s.at("20:10").piece("bell")["charge_ah"], 4.0, 1e-9);
    near(&s.piece("handle")["charge_estimated_ah"], 1.0, 1e-9);
}

#[test]
fn a_constant_current_is_measured_whether_the_work_or_the_supply_goes_first() {
    for last in [
        ["bell finish", "supply --tank main --off"],
        ["supply --tank main --off", "bell finish"],
    ] {
        let mut s = Shop::with_project();
        s.ok("add p bell --area 4dm2");
        s.prepared("bell");
        s.at("19:00").rec("bell start strike");
        s.rec("bell look covered");
        s.rec("bell finish");
        s.rec("bell start build");
        s.rec("supply --tank main --amps 4A");
        s.at("22:00").rec("bell tick stop-time tracks");
        for words in last {
            s.rec(words);
        }
        near(&s.piece("bell")["charge_ah"], 12.0, 1e-9);
        assert_eq!(s.piece("bell")["charge_kind"], "measured", "{last:?}");
    }
}

#[test]
fn a_frozen_estimate_does_not_thaw() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 4dm2");
    s.prepared("bell");
    s.at("19:00").rec("bell start strike");
    s.rec("supply --tank main --amps 4A");
    near(
        &s.at("19:35").piece("bell")["charge_estimated_ah"],
        2.0,
        1e-9,
    );
    s.at("19:40").rec("bell look covered");
    s.rec("bell finish");
    s.rec("bell start build");
    near(
        &s.at("20:10").piece("bell")["charge_estimated_ah"],
        2.0,
        1e-9,
    );
}

#[test]
fn a_set_current_counts_as_a_reading_after_constant_volts() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 4dm2");
    s.prepared("bell");
    s.at("19:00").rec("supply --tank main --volts 0.5V");
    s.rec("bell start strike");
    s.at("19:10")
        .rec("reading --tank main --volts 0.5V --amps 5A");
    s.at("19:20").rec("supply --tank main --amps 3A");
    near(&s.piece("bell")["charge_ah"], 4.0 / 6.0, 1e-9);
    // With the supply off the density is a known zero, not unknown.
    s.rec("bell look covered");
    s.rec("supply --tank main --off");
    near(&s.piece("bell")["density_a_dm2"], 0.0, 1e-9);
}

#[test]
fn an_unread_uncovered_piece_beside_a_read_one_has_no_known_share() {
    let mut s = Shop::with_project();
    for name in ["bell", "handle"] {
        s.ok(&format!("add p {name} --area 3dm2"));
        s.prepared(name);
    }
    s.at("19:00").rec("bell start strike");
    s.rec("handle start strike");
    s.rec("reading --tank main --volts 1V --amps 6A");
    s.rec("reading --tank main --volts 1V --amps 2A --piece bell");
    s.at("20:00")
        .rec("reading --tank main --volts 1V --amps 6A");
    s.rec("reading --tank main --volts 1V --amps 2A --piece bell");
    near(&s.piece("bell")["charge_ah"], 2.0, 1e-9);
    assert_eq!(s.piece("handle")["charge_kind"], "unknown-share");
}

/// The texts of a list of `warnings`.
fn said(warnings: &Value) -> String {
    warnings.to_string()
}

/// How many files lie in a folder of the shop.
fn files_in(s: &Shop, folder: &str) -> usize {
    std::fs::read_dir(s.path(folder)).map_or(0, Iterator::count)
}

#[test]
fn a_logger_file_is_taken_in_whole_and_past_or_not_at_all() {
    let mut s = Shop::with_project();
    let log = "record p logger --tank main log.csv";
    for (text, kind) in [
        ("", "logger"),
        ("at,volts,amps\n", "logger"),
        ("at,amps\n2026-03-02T17:00:00Z,20000\n", "logger"),
        ("at,amps\n2026-03-02T17:00:00Z,NaN\n", "logger"),
    ] {
        std::fs::write(s.path("log.csv"), text).unwrap();
        assert_eq!(s.bad(log)["kind"], kind, "{text}");
    }
    std::fs::write(
        s.path("log.csv"),
        "at,amps\n2026-03-02T17:00:00Z,1\n2026-03-02T18:30:00Z,1\n",
    )
    .unwrap();
    assert_eq!(s.refused(log)["rule"], "future");
    s.bad(&format!("{log} --at bogus"));
    s.bad("record p logger --tank attic log.csv");
    let before = s.ok("history p");
    let journal = std::fs::File::open(s.path("p/journal.ron")).unwrap();
    journal.lock().unwrap();
    assert_eq!(s.at("19:00").bad(log)["kind"], "locked");
    drop(journal);
    assert_eq!(files_in(&s, "p/immersions"), 0);
    assert_eq!(s.ok("history p"), before);
    s.ok(log);
    assert_eq!(files_in(&s, "p/immersions"), 1);
}

#[cfg(unix)]
#[test]
fn what_is_no_regular_file_is_refused_at_once() {
    let s = Shop::with_project();
    let made = std::process::Command::new("mkfifo")
        .arg(s.path("pipe"))
        .status();
    assert!(made.unwrap().success());
    for file in ["pipe", "/dev/zero", "p"] {
        for words in [
            format!("measure {file}"),
            format!("add p bell --mesh {file}"),
            format!("record p logger --tank main {file}"),
        ] {
            let error = s.bad(&words);
            assert!(
                error["message"]
                    .as_str()
                    .unwrap()
                    .contains("no regular file"),
                "{words}: {error}"
            );
        }
    }
}

#[test]
fn what_the_files_give_cause_to_say_is_said_with_every_answer() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    // What writes begins a new journal.
    let lose_the_journal = || {
        if s.path("p/journal.ron").exists() {
            std::fs::remove_file(s.path("p/journal.ron")).unwrap();
        }
    };
    for words in [
        "status p",
        "gates p bell",
        "history p",
        "sheet p",
        "traveller p bell",
        "closeout p",
        "closeout p print",
        "set p hold.time 48h",
        "add p handle --area 1dm2",
        "record p bell finish",
        "gates p nobody",
    ] {
        lose_the_journal();
        let out = s.run(words);
        assert!(
            said(&out.json["warnings"]).contains("journal.ron is"),
            "{words}: {out:?}"
        );
        assert!(out.err.contains("warning: journal.ron is"), "{words}");
    }
    lose_the_journal();
    assert_eq!(s.run("check p").status, 2);
    assert_eq!(s.run("record p bell note hello").status, 0);
    let quiet = s.ok("status p");
    assert_eq!(quiet.get("warnings"), None);
    assert_eq!(s.rec("bell note again")["warnings"], json!([]));
}

#[test]
fn a_clock_that_is_behind_the_journal_is_told() {
    let mut s = Shop::new();
    s.clock("2090-03-02T20:10:00Z");
    s.ok("new p --name Bell --metal copper-acid --mean 40um --zone UTC");
    s.ok("add p bell --area 6.84dm2");
    s.rec("bell note hello");
    s.now = None;
    for words in ["status p", "record p bell note again"] {
        let answer = s.ok(words);
        assert!(
            said(&answer["warnings"]).contains("the clock shows"),
            "{words}"
        );
        assert!(said(&answer["warnings"]).contains("20:10"), "{words}");
    }
}

#[test]
fn nothing_that_acts_on_a_terminal_or_hides_is_printed() {
    let s = Shop::new();
    let words = |line: &[&str]| line.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>();
    let evil = "x\u{1b}[2J\u{202e}\u{200b}\ny";
    let new = words(&[
        "new", evil, "--name", evil, "--metal", "zinc", "--mean", "9um",
    ]);
    let set = words(&["set", evil, "object", evil]);
    let status = words(&["status", evil]);
    for line in [new, set, status] {
        let out = s.raw(&line);
        assert_eq!(out.status, 0, "{out:?}");
        let hides = |c: char| (c.is_control() && c != '\n') || "\u{202e}\u{200b}".contains(c);
        assert!(!out.text.contains(hides), "{out:?}");
        assert!(!out.text.lines().any(|l| l.starts_with('y')), "{out:?}");
    }
    let script = s.raw(&words(&["completions", "zsh"])).text;
    assert!(script.contains("--json") && script.contains("--now"));
    assert!(s.raw(&words(&["charge", "--help"])).text.contains("--json"));
}

/// Binary STL of a tetrahedron with sides of 1 along the axes, the first
/// triangles of it.
fn corner(triangles: usize) -> Vec<u8> {
    let (o, x, y, z) = (
        [0.0_f32; 3],
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.0, 1.0],
    );
    let all = [[o, y, x], [o, z, y], [o, x, z], [x, y, z]];
    let mut stl = vec![0; 80];
    stl.extend((triangles as u32).to_le_bytes());
    for triangle in &all[..triangles] {
        stl.extend([0; 12]);
        let numbers = triangle.iter().flatten();
        stl.extend(numbers.flat_map(|n| n.to_le_bytes()));
        stl.extend([0; 2]);
    }
    stl
}

#[test]
fn a_hole_is_shut_and_told() {
    let s = Shop::new();
    std::fs::write(s.path("whole.stl"), corner(4)).unwrap();
    std::fs::write(s.path("open.stl"), corner(3)).unwrap();
    let whole = s.ok("measure whole.stl --unit cm");
    near(&whole["volume_mm3"], 1000.0 / 6.0, 1e-9);
    assert_eq!(whole["watertight"], true);
    let open = s.ok("measure open.stl --unit cm");
    // A lid over so wide a hole is no wall to reckon a volume with.
    assert_eq!(open["volume_mm3"], Value::Null);
    near(&open["wetted_area_mm2"], 150.0, 1e-6);
    assert_eq!(open["watertight"], false);
    assert!(open["defects"].to_string().contains("open_mesh"), "{open}");
    assert!(open["method"].as_str().unwrap().contains("olume"));
}

#[test]
fn a_print_that_says_its_unit_is_taken_at_its_word() {
    let s = Shop::with_project();
    // 2 x 1 x 0.5 in: 50.8 x 25.4 x 12.7 mm, 7 in².
    let small = prints::Shape::cuboid([0.0; 3], [2.0, 1.0, 0.5]);
    std::fs::write(s.path("clock"), prints::threemf_of(&small, "inch")).unwrap();
    let measured = s.ok("measure clock");
    assert_eq!(measured["unit"], "in");
    assert_eq!(measured["unit_source"], "file");
    near(&measured["naive_area_mm2"], 4516.12, 1e-9);
    near(&measured["size_mm"][0], 50.8, 1e-9);
    assert_eq!(measured.get("warnings"), None);
    // A differing --unit is told and not taken.
    let told = s.ok("measure clock --unit mm");
    near(&told["naive_area_mm2"], 4516.12, 1e-9);
    assert!(said(&told["warnings"]).contains("--unit mm is not taken"));
    let added = s.ok("add p hands --mesh clock --unit cm");
    assert!(said(&added["warnings"]).contains("--unit cm is not taken"));
    near(
        &s.ok("status p")["pieces"][0]["wetted_area_dm2"],
        0.451_612,
        1e-6,
    );
    // The other formats say none.
    for (name, bytes) in [
        ("a", prints::obj(&small).into_bytes()),
        ("b", prints::ply(&small, prints::Ply::Big)),
    ] {
        std::fs::write(s.path(name), bytes).unwrap();
        let given = s.ok(&format!("measure {name} --unit in"));
        assert_eq!(given["unit_source"], "given");
        near(&given["naive_area_mm2"], 4516.12, 1e-9);
        assert_eq!(s.ok(&format!("measure {name}"))["unit_source"], "assumed");
    }
    // A hole of a gigabyte and more: refused before it is read.
    let huge = std::fs::File::create(s.path("huge.stl")).unwrap();
    huge.set_len(3 << 30).unwrap();
    assert_eq!(s.bad("measure huge.stl")["kind"], "too_large");
    std::fs::write(s.path("bad.obj"), "v 0 0 0\nf 1 2 3\n").unwrap();
    let error = s.bad("measure bad.obj");
    assert_eq!(
        (&error["kind"], &error["line"]),
        (&json!("bad_index"), &json!(2))
    );
}

#[test]
fn a_piece_that_cannot_be_leaves_nothing_behind() {
    let s = Shop::with_project();
    std::fs::write(s.path("tip.stl"), corner(4)).unwrap();
    for words in [
        "add p undo --mesh tip.stl --unit cm",
        "add p tip --mesh tip.stl --unit cm --roughness 99",
        "add p tip --mesh tip.stl --unit cm --roughness NaN",
        "add p tip --mesh tip.stl --unit cm --wire 0mm:30cm",
        "add p ti\u{200b}p --mesh tip.stl --unit cm",
        "add p tip --area 1,000mm2",
    ] {
        let error = s.bad(words);
        assert_eq!(error["line"], Value::Null, "{words}: {error}");
    }
    assert_eq!(files_in(&s, "p/meshes"), 0);
    // 1 mm is no print; 1 cm, 1 m and 1 in are.
    let refusal = s.refused(
        "add p 'the tip' --mesh tip.stl --wire 0.8mm:30cm --thief 1mm:1cm --roughness 1.5",
    );
    let flags = "--wire 0.8mm:300mm --thief 1mm:10mm --roughness 1.5";
    let command =
        |unit: &str| format!("tankside add p 'the tip' --mesh tip.stl {flags} --unit {unit}");
    assert_eq!(
        refusal["instead"],
        json!([command("cm"), command("m"), command("in")])
    );
    s.ok(command("cm").strip_prefix("tankside ").unwrap());
    assert_eq!(files_in(&s, "p/meshes"), 1);
}

#[test]
fn what_cannot_be_is_bad_usage_with_its_reason() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    for (words, told) in [
        (
            "record p bell climate --celsius 20C --humidity 130%",
            "100%",
        ),
        (
            "record p bell climate --celsius 200C --humidity 30%",
            "150C",
        ),
        ("record p bell ohms -3ohm", "below zero"),
        ("record p supply --tank main --amps -1A", "below zero"),
        (
            "charge --metal zinc --area -1dm2 --charge 1Ah",
            "below zero",
        ),
        (
            "charge --metal zinc --area 1dm2 --charge 1Ah --efficiency 130%",
            "120%",
        ),
        (
            "charge --metal zinc --area 1dm2 --charge 1Ah --density 0A/dm2",
            "density",
        ),
        ("record p bell note ' '", "nothing"),
        ("record p bell turn ''", "nothing"),
        ("record p bell start coat --override ' '", "nothing"),
        ("record p bell skip coat --because ''", "nothing"),
        ("record p bell touch-up --where ' '", "nothing"),
        ("record p bell note x --who ''", "nothing"),
        ("settings --who ' '", "nothing"),
        (
            "record p bell note x --at 1969-12-31T00:00:00Z",
            "no instant",
        ),
        ("record p bell note x --at 1971-01-01T00:00:00Z", "50 years"),
        ("set p looks.build 0min", "above zero"),
        ("set p readings.strike 0min", "above zero"),
    ] {
        let error = s.bad(words);
        let text = format!("{} {}", error["message"], error["remedy"]);
        assert!(text.contains(told), "{words}: {text}");
    }
    let usage = s.bad("record p bell ohms")["message"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(usage.contains("tankside record DIR PIECE ohms"), "{usage}");
    let out = s.run("record p bell ohms");
    assert_eq!(out.err.matches("--help").count(), 1, "{}", out.err);
    let long = s.bad(&format!("record p bell tick {}", "x".repeat(9000)));
    assert!(long["message"].as_str().unwrap().chars().count() < 900);
}

#[test]
fn every_failure_names_a_command_or_a_value_that_helps() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    for (words, instead) in [
        ("record p undo", "tankside history p"),
        ("record p bell resume", "tankside status p"),
    ] {
        assert_eq!(s.refused(words)["instead"], json!([instead]), "{words}");
    }
    for (words, remedy) in [
        ("record p bell tick nothing", "gates"),
        ("record p bell start cota", "gates"),
        ("closeout p tick windows", "closeout"),
        ("record p nobody lift", "status"),
        ("set p target 40um", "reads now Mean(\"40um\")"),
        ("set p hold.time -3h", "hold.time reads now \"72h\""),
        ("set p tanks.main.bath.stirring fast", "Still Stirred Air"),
        ("set p units inches", "metric imperial"),
    ] {
        let error = s.bad(words);
        assert!(
            error["remedy"].as_str().unwrap().contains(remedy),
            "{words}: {error}"
        );
    }
}

#[test]
fn json_is_one_object_whatever_the_arguments() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    let json = |words: &[&str]| {
        let words: Vec<String> = words.iter().map(|w| (*w).to_owned()).collect();
        let shop = Shop {
            now: None,
            dir: tempfile::tempdir().unwrap(),
        };
        shop.raw(&words)
    };
    let out = json(&["--json", "status", "p", "--now"]);
    assert_eq!(
        (out.status, &out.json["error"]["kind"]),
        (2, &json!("usage"))
    );
    for none in ["check nowhere", "check ."] {
        let kind = s.bad(none)["kind"].clone();
        assert!(
            ["not_found", "not_a_project"].contains(&kind.as_str().unwrap()),
            "{kind}"
        );
    }
    let help = s.ok("record p bell look --help")["text"]
        .as_str()
        .unwrap()
        .to_owned();
    assert!(help.contains("tankside record DIR PIECE look"), "{help}");
}

#[cfg(unix)]
#[test]
fn bytes_that_are_no_text_are_answered_in_json() {
    use std::os::unix::ffi::OsStrExt;
    let bytes = std::ffi::OsStr::from_bytes(b"\xff");
    for words in [["--now", "status"], ["status", "p"]] {
        let out = std::process::Command::new(env!("CARGO_BIN_EXE_tankside"))
            .arg("--json")
            .arg(words[0])
            .arg(bytes)
            .args(&words[1..])
            .arg(bytes)
            .output()
            .unwrap();
        let json: Value = serde_json::from_slice(&out.stdout).unwrap();
        assert_eq!(out.status.code(), Some(2));
        assert!(json["error"]["message"].is_string(), "{json}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn an_answer_that_cannot_be_written_is_told() {
    let s = Shop::with_project();
    s.ok("add p bell --area 6.84dm2");
    let full = std::fs::File::options()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_tankside"))
        .current_dir(s.dir.path())
        .env("TANKSIDE_CONFIG_DIR", s.path("config"))
        .args(["record", "p", "bell", "note", "hello"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(out.status.code(), Some(2));
    let err = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(
        err.contains("could not be written") && err.contains("event 1 is recorded"),
        "{err}"
    );
    assert_eq!(s.ok("history p")["events"].as_array().unwrap().len(), 1);
}

#[test]
fn copies_of_a_sample_begun_at_once_get_names_of_their_own() {
    let mut s = Shop::new();
    s.at("18:00");
    std::thread::scope(|scope| {
        for _ in 0..6 {
            scope.spawn(|| s.ok("try table-bell"));
        }
    });
    assert_eq!(files_in(&s, "try"), 6);
}

#[test]
fn a_mesh_that_changed_is_told_and_cut_off_readers_are_not() {
    let s = Shop::with_project();
    std::fs::write(s.path("tip.stl"), corner(4)).unwrap();
    s.ok("add p tip --mesh tip.stl --unit cm");
    std::fs::write(s.path("p/meshes/tip.stl"), corner(3)).unwrap();
    for words in ["history p", "record p tip finish"] {
        let out = s.run(words);
        assert!(
            said(&out.json["warnings"]).contains("has changed"),
            "{out:?}"
        );
    }
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_tankside"))
        .arg("man")
        .stdout(writer)
        .output()
        .unwrap();
    assert!(out.status.success() && out.stderr.is_empty(), "{out:?}");
}

#[test]
fn taking_a_piece_from_a_shared_current_says_the_lower_one() {
    let mut s = Shop::with_project();
    for (name, area) in [("bell", "4dm2"), ("handle", "2dm2")] {
        s.ok(&format!("add p {name} --area {area}"));
        s.prepared(name);
        s.at("19:00").rec(&format!("{name} start strike"));
        s.rec(&format!("{name} look covered"));
    }
    s.rec("supply --tank main --amps 6A");
    let lift = s.at("19:30").rec("bell lift")["warnings"].to_string();
    assert!(lift.contains("main wants 2.00 A first"), "{lift}");
    s.rec("bell return");
    s.at("19:31").rec("supply --tank main --amps 2A");
    assert_eq!(
        s.rec("bell lift")["warnings"],
        json!([]),
        "it was lowered just before"
    );
    let over = s.rec("reading --tank main --volts 1V --amps 2A")["warnings"].clone();
    assert_eq!(over, json!([]));
    s.ok("set p tanks.main.supply.limit_amps 5A");
    let over = s.rec("reading --tank main --volts 1V --amps 620A")["warnings"].to_string();
    assert!(
        over.contains("over what the supply of main gives"),
        "{over}"
    );
}

#[test]
fn a_frozen_own_estimate_does_not_thaw_either() {
    let mut s = Shop::with_project();
    for (name, area) in [("bell", "4dm2"), ("handle", "2dm2")] {
        s.ok(&format!("add p {name} --area {area}"));
        s.prepared(name);
        s.at("19:00").rec(&format!("{name} start strike"));
        s.rec(&format!("{name} look covered"));
    }
    s.rec("reading --tank main --volts 1V --amps 3A");
    s.at("19:05")
        .rec("reading --tank main --volts 1V --amps 1A --piece handle");
    // 1 A by area for 5 min, its own 1 A for 30 min more; then nothing.
    let total = |s: &Shop| {
        let handle = s.piece("handle");
        handle["charge_ah"].as_f64().unwrap() + handle["charge_estimated_ah"].as_f64().unwrap()
    };
    let frozen = total(s.at("19:45"));
    assert!((frozen - 35.0 / 60.0).abs() < 1e-9, "{frozen}");
    s.rec("handle finish");
    s.rec("handle start build");
    assert!((total(s.at("20:05")) - frozen).abs() < 1e-9);
}

#[test]
fn a_piece_alone_takes_all_once_the_tank_is_told_anew() {
    let mut s = Shop::with_project();
    s.ok("add p bell --area 4dm2");
    s.prepared("bell");
    s.at("19:00").rec("bell start strike");
    s.rec("reading --tank main --volts 1V --amps 1A --piece bell");
    s.at("19:05").rec("supply --tank main --amps 4A");
    s.at("19:20").rec("supply --tank main --off");
    near(&s.piece("bell")["charge_ah"], 1.0, 1e-9);
    near(&s.piece("bell")["charge_estimated_ah"], 5.0 / 60.0, 1e-9);
}

#[test]
fn what_is_whole_of_a_damaged_project_is_saved_by_the_command_that_check_offers() {
    let s = Shop::with_project();
    s.ok("add p bell --area 4dm2");
    for text in ["one", "two", "three", "four"] {
        s.rec(&format!("bell note {text}"));
    }
    let journal = s.path("p/journal.ron");
    std::fs::write(s.path("p/immersions/001.csv"), "").unwrap();
    let text = std::fs::read_to_string(&journal).unwrap();
    let damaged = text.replace("\"three\"", "\"threw\"");
    std::fs::write(&journal, &damaged).unwrap();
    let error = s.bad("status p");
    assert_eq!(
        (&error["kind"], &error["line"]),
        (&"journal".into(), &4.into())
    );
    let told = error["remedy"].as_str().unwrap();
    assert!(told.contains("`tankside check p`"), "{told}");

    let out = s.run("check p");
    assert_eq!(out.status, 2, "{out:?}");
    let problem = &out.json["problems"][0];
    assert_eq!(
        (&problem["kind"], &problem["line"]),
        (&"journal".into(), &4.into())
    );
    let offer = &out.json["offer"];
    let events = serde_json::json!({ "saved": 2, "loose": 1, "doubtful": 1, "lost": 0 });
    assert_eq!(offer["events"], events);
    // What stands behind the damage may name the logger's file.
    assert_eq!(out.json["notes"], serde_json::json!([]));
    let command = offer["command"].as_str().unwrap();
    assert_eq!(command, "tankside check p --save-to p-saved");
    let text = s.raw(&["check".into(), "p".into()]).text;
    assert!(text.contains(command), "{text}");

    let done = s.ok(command.strip_prefix("tankside ").unwrap());
    assert_eq!(done["events"], events);
    let loose = std::fs::read_to_string(s.path(done["loose"].as_str().unwrap())).unwrap();
    assert!(loose.contains("note on bell: four") && loose.contains("note on bell: threw"));
    assert_eq!(std::fs::read_to_string(&journal).unwrap(), damaged);
    assert_eq!(s.ok("check p-saved")["events"], 2);
    s.ok("record p-saved bell note four");
    assert_eq!(
        s.bad(command.strip_prefix("tankside ").unwrap())["kind"],
        "exists"
    );

    let sound = s.ok("check p-saved");
    assert_eq!(sound["offer"], Value::Null);
    assert_eq!(sound["notes"][0]["kind"], "logger");
}
