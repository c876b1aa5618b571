//! The user's own files by the real program: `settings.ron` and `keys.ron`,
//! where they are, what they say, and what happens when they do not do.

#![cfg(unix)]

use std::process::Command;

use crate::support::cli::Shop;
use crate::support::pty::Pty;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

fn write(shop: &Shop, name: &str, text: &str) {
    let folder = shop.path("config");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join(name), text).unwrap();
}

fn printed(shop: &Shop, verb: &str) -> String {
    let out = shop.raw(&[verb.to_owned()]);
    assert_eq!(out.status, 0, "{out:?}");
    out.text
}

#[test]
fn settings_prints_where_both_files_are_and_what_they_say() {
    let shop = Shop::new();
    let path = |name: &str| shop.path("config").join(name).display().to_string();
    let none = printed(&shop, "settings");
    assert!(
        none.contains(&format!("{}\nnot there", path("settings.ron"))),
        "{none}"
    );
    assert!(
        none.contains(&format!("{}\nnot there", path("keys.ron"))),
        "{none}"
    );

    write(&shop, "settings.ron", "// mine\n(who: \"Ana\")\n");
    write(&shop, "keys.ron", "(far: [\"End\"]) // the far corner\n");
    let both = printed(&shop, "settings");
    let told = format!(
        "{}\n  // mine\n  (who: \"Ana\")\nwho: Ana\n",
        path("settings.ron")
    );
    assert!(both.contains(&told), "{both}");
    let told = format!(
        "{}\n  (far: [\"End\"]) // the far corner\n",
        path("keys.ron")
    );
    assert!(both.contains(&told), "{both}");
    let json = shop.ok("settings");
    assert_eq!(json["path"], path("settings.ron"));
    assert_eq!(json["content"], "// mine\n(who: \"Ana\")\n");
    assert_eq!(json["keys"]["path"], path("keys.ron"));
    assert_eq!(
        json["keys"]["content"],
        "(far: [\"End\"]) // the far corner\n"
    );
}

/// XDG Base Directory Specification: `$XDG_CONFIG_HOME`, else `~/.config`.
#[test]
#[cfg(target_os = "linux")]
fn the_files_are_where_the_system_keeps_such() {
    let home = tempfile::tempdir().unwrap();
    let path = |xdg: Option<&str>| {
        let mut command = Command::new(PROGRAM);
        command
            .args(["settings", "--json"])
            .env_remove("TANKSIDE_CONFIG_DIR")
            .env_remove("XDG_CONFIG_HOME")
            .env("HOME", home.path());
        if let Some(xdg) = xdg {
            command.env("XDG_CONFIG_HOME", home.path().join(xdg));
        }
        let out = command.output().unwrap();
        let told: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
        let place = |value: &serde_json::Value| {
            let path = std::path::Path::new(value.as_str().unwrap()).to_owned();
            path.strip_prefix(home.path()).unwrap().to_owned()
        };
        (place(&told["path"]), place(&told["keys"]["path"]))
    };
    let at = |folder: &str| {
        let folder = std::path::Path::new(folder).join("tankside");
        (folder.join("settings.ron"), folder.join("keys.ron"))
    };
    assert_eq!(path(None), at(".config"));
    assert_eq!(path(Some("elsewhere")), at("elsewhere"));
}

#[test]
fn a_file_that_does_not_do_is_refused_with_its_place_and_still_printed() {
    let shop = Shop::new();
    for (name, text, place, told) in [
        (
            "settings.ron",
            "(\n    who: \"Ana\",\n    asci: true,\n)",
            (3, 5),
            "did you mean `ascii`?",
        ),
        (
            "keys.ron",
            "(\n    undoo: [\"u\"],\n)",
            (2, 5),
            "did you mean `undo`?",
        ),
        (
            "keys.ron",
            "(\n    far: [\"End\", \"u\"],\n)",
            (2, 18),
            "`undo` already",
        ),
        ("keys.ron", "(\n    far: [\"End\",", (2, 17), "a value"),
    ] {
        write(&shop, name, text);
        let out = shop.run("settings");
        assert_eq!(out.status, 2, "{text}: {out:?}");
        let error = &out.json["error"];
        assert_eq!(error["line"], place.0, "{text}: {error}");
        assert_eq!(error["column"], place.1, "{text}: {error}");
        let file = shop.path("config").join(name);
        assert_eq!(error["file"], file.display().to_string());
        assert!(error["message"].as_str().unwrap().contains(told), "{error}");
        let plain = shop.raw(&["settings".to_owned()]);
        let lines = text.lines().map(|line| format!("  {line}\n"));
        assert!(plain.text.contains(&lines.collect::<String>()), "{plain:?}");
        let at = format!("{}:{}:{}: ", file.display(), place.0, place.1);
        assert!(plain.err.contains(&at), "{plain:?}");
        if name == "keys.ron" {
            let keys = shop.run("keys");
            assert_eq!(keys.status, 2, "{keys:?}");
            assert!(
                keys.json["commands"]
                    .as_array()
                    .is_some_and(|c| c.len() > 30)
            );
        }
        std::fs::remove_file(&file).unwrap();
    }
}

#[test]
fn keys_are_listed_as_they_are_now() {
    let shop = Shop::new();
    let undo = |listed: &str| {
        let line = listed.lines().find(|line| line.starts_with("undo "));
        line.unwrap().to_owned()
    };
    assert!(undo(&printed(&shop, "keys")).contains("-  u  "));
    write(&shop, "keys.ron", "(undo: [\"Ctrl-u\"])");
    let listed = printed(&shop, "keys");
    assert!(undo(&listed).contains(" Ctrl-u "), "{listed}");
    let place = shop.path("config").join("keys.ron").display().to_string();
    assert!(listed.contains(&place), "{listed}");
}

#[test]
fn an_open_screen_follows_the_file_and_a_bad_one_is_never_in_its_way() {
    let shop = Shop::with_project();
    shop.ok("add p bell --area 2.5dm2");
    write(&shop, "keys.ron", "(\n    hlep: [\"F9\"],\n)");
    let (dir, config) = (shop.path("p"), shop.path("config"));
    let env = [("TANKSIDE_CONFIG_DIR", config.to_str().unwrap())];
    let mut pty = Pty::run(PROGRAM, &["open", dir.to_str().unwrap()], &env);
    let sees = |pty: &Pty, text: &str| {
        pty.wait_frame(text, |screen| screen.contents().contains(text));
    };
    // With the defaults, and saying what is wrong.
    sees(
        &pty,
        "keys.ron:2:5: no command is called `hlep`; did you mean `help`? Until that is",
    );
    sees(&pty, "/ help");
    pty.send("h");
    sees(&pty, "[Holds]");
    sees(&pty, "keys.ron:2:5");

    write(
        &shop,
        "keys.ron",
        "(\n    help: [\"F9\"],\n    line: [\"Home\"],\n)",
    );
    sees(&pty, "the keys are as keys.ron says now; F9 tells them");
    sees(&pty, "F9 help");
    pty.send("\x1b[20~");
    sees(&pty, "any other key closes");
    pty.send("/");
    sees(&pty, "[Holds]");
    pty.send("\x1b[H");
    sees(&pty, "[Line]");

    // The last good keys stay.
    write(
        &shop,
        "keys.ron",
        "(\n    help: [\"F9\"],\n    line: [\"Hmoe\"],\n)",
    );
    sees(
        &pty,
        "keys.ron:3:12: no key is called `Hmoe`; did you mean `Home`?",
    );
    sees(&pty, "F9 help");
    pty.send("h");
    sees(&pty, "[Holds]");
    pty.send("\x1b[H");
    sees(&pty, "[Line]");
    std::fs::remove_file(config.join("keys.ron")).unwrap();
    sees(&pty, "/ help");
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}

#[test]
fn settings_that_do_not_read_are_said_on_the_screen_and_never_in_its_way() {
    let shop = Shop::with_project();
    shop.ok("add p bell --area 2.5dm2");
    write(&shop, "settings.ron", "(\n    colur: false,\n)");
    let (dir, config) = (shop.path("p"), shop.path("config"));
    let env = [("TANKSIDE_CONFIG_DIR", config.to_str().unwrap())];
    let mut pty = Pty::run(PROGRAM, &["open", dir.to_str().unwrap()], &env);
    pty.wait_frame("the fault", |screen| {
        let shown = screen.contents().replace('\n', "");
        shown.contains("settings.ron:2:5")
            && shown.contains("`colour`?")
            && shown.contains("[Line]")
    });
    pty.send("q");
    assert_eq!(pty.ended(), 0);
}
