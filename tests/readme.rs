//! The README's picture and key list are the program's own, its examples are
//! taken.
//!
//! `TANKSIDE_WRITE_README=1 cargo test --test program readme` writes them anew.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use tankside::project::{Definition, Project};
use tankside::settings::{Palette, Settings};
use tankside::store::{RealDisk, read_journal};
use tankside::tui::app::{Model, keys_markdown};
use tankside::tui::view::{Theme, draw};
use tankside::units::Instant;

fn root(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(root(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// The Line screen of the fern lamp as it is opened.
fn picture() -> String {
    let definition =
        Definition::parse(&text("sample-projects/fern-lamp/project.ron")).expect("a definition");
    let events = read_journal(&text("sample-projects/fern-lamp/journal.ron")).expect("a journal");
    let now: Instant = text("sample-projects/fern-lamp/opened.txt")
        .trim()
        .parse()
        .expect("an instant");
    let project = Project::new(definition, events, BTreeMap::new()).expect("folds");
    let model = Model::new(project, Some("Ida".into()), now);
    let mut terminal = Terminal::new(TestBackend::new(96, 26)).expect("a terminal");
    terminal
        .draw(|frame| draw(&model, &Theme::new(false, false), now, frame))
        .expect("drawn");
    let buffer = terminal.backend().buffer();
    let width = usize::from(buffer.area.width);
    let lines = buffer.content().chunks(width).map(|row| {
        let line: String = row.iter().map(ratatui::buffer::Cell::symbol).collect();
        line.trim_end().to_owned()
    });
    format!(
        "```\n{}\n```\n",
        lines.collect::<Vec<_>>().join("\n").trim_end()
    )
}

/// Whether the parts are to be written anew.
fn is_written() -> bool {
    std::env::var_os("TANKSIDE_WRITE_README").is_some()
}

/// The comments around a part of the README.
fn marks(name: &str) -> (String, String) {
    (
        format!("<!-- {name}: kept by tests/readme.rs -->\n"),
        format!("<!-- end of {name} -->"),
    )
}

/// The part of the README between two comments.
fn part(name: &str) -> String {
    let (readme, (head, tail)) = (text("README.md"), marks(name));
    let (_, rest) = readme.split_once(&head).expect("the part begins");
    let (found, _) = rest.split_once(&tail).expect("the part ends");
    found.to_owned()
}

/// Holds the part of the README between two comments equal to `wanted`.
fn hold(name: &str, wanted: &str) {
    let (readme, (head, tail)) = (text("README.md"), marks(name));
    let (before, rest) = readme.split_once(&head).expect("the part begins");
    let (found, after) = rest.split_once(&tail).expect("the part ends");
    if is_written() {
        std::fs::write(
            root("README.md"),
            format!("{before}{head}{wanted}{tail}{after}"),
        )
        .expect("written");
    } else {
        assert_eq!(
            found, wanted,
            "the README's {name} is not the program's: TANKSIDE_WRITE_README=1 cargo test --test program readme"
        );
    }
}

#[test]
fn the_readme_shows_the_program_as_it_is() {
    hold("screen", &picture());
    hold("keys", &keys_markdown());
    if is_written() {
        hold("spread", &lamp());
    }
}

/// What `spread` tells of the fern lamp's scene, but for how long it took.
fn lamp() -> String {
    const COMMAND: &str = "tankside spread --scene sample-projects/fern-lamp/scene.json";
    let place = tempfile::tempdir().expect("a folder");
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_tankside"))
        .args(COMMAND.split(' ').skip(1))
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env("TANKSIDE_CACHE_DIR", place.path())
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(0), "{said}");
    let text = String::from_utf8(out.stdout).expect("text");
    let kept = text.lines().filter(|line| !line.contains(" s to prepare"));
    let kept: Vec<&str> = kept.map(str::trim_end).collect();
    format!("```\n$ {COMMAND}\n{}\n```\n", kept.join("\n").trim_end())
}

/// Whether two texts say the same: words alike, figures within a twentieth, mm
/// within 6; ± and ranges may differ, a solve's doubts be up to twice as large.
fn says_as(told: &str, kept: &str) -> Result<(), String> {
    let number = |word: &str| {
        let word = word.trim_start_matches("+-");
        word.trim_end_matches(['x', ',', ':', '%']).parse().ok()
    };
    let mut is_doubt = false;
    for (told, kept) in told.split_whitespace().zip(kept.split_whitespace()) {
        is_doubt |= kept == "zone";
        let (a, b): (Option<f64>, Option<f64>) = (number(told), number(kept));
        let is_alike = match (a, b) {
            (Some(_), Some(_)) if kept.contains("+-") => true,
            (Some(a), Some(b)) if is_doubt => a < 2.0 * b.max(1.0),
            (Some(a), Some(b)) if !kept.contains('.') => (a - b).abs() < 6.0,
            (Some(a), Some(b)) => (a - b).abs() < 0.05 * b.abs(),
            _ => told == kept || kept.contains('.') && kept.contains('-'),
        };
        if !is_alike {
            return Err(format!("{told} is not {kept}"));
        }
    }
    let [told, kept] = [told, kept].map(|text| text.split_whitespace().count());
    let is_as_long = told == kept;
    is_as_long
        .then_some(())
        .ok_or(format!("{told} words for {kept}"))
}

#[test]
fn the_readmes_fern_lamp_keeps_its_figures() {
    if is_written() {
        return;
    }
    let (lamp, kept) = (lamp(), part("spread"));
    says_as(&lamp, &kept).unwrap_or_else(|why| panic!("{why}\n{lamp}\nin the README\n{kept}"));
    for (from, to) in [(" 3.", " 4."), ("tip", "edge"), ("frond-4", "frond-3")] {
        assert!(says_as(&lamp.replace(from, to), &kept).is_err(), "{from}");
    }
}

#[test]
fn the_readme_begins_with_the_job_and_two_commands() {
    let readme = text("README.md");
    let mut blocks = readme.split("\n\n");
    assert_eq!(blocks.next(), Some("# tankside"));
    let job = blocks.next().expect("one paragraph");
    assert!(job.contains("piece by piece") && !job.starts_with('#'));
    assert_eq!(
        blocks.next(),
        Some("```\ncargo run --release -- try\ncargo test\n```")
    );
}

#[test]
fn the_readmes_settings_are_taken() {
    let readme = text("README.md");
    let examples: Vec<&str> = readme.split("```ron\n").skip(1).collect();
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("settings.ron");
    let mut said = Vec::new();
    for example in examples.iter().filter(|e| !e.contains("undo:")) {
        let (settings, _) = example.split_once("```").expect("its end");
        std::fs::write(&file, settings).expect("written");
        said.push(Settings::load_from(&RealDisk, &file).expect("taken"));
    }
    let [notices, looks] = said.as_slice() else {
        panic!("two examples: {said:?}");
    };
    assert_eq!(notices.notices.command, ["push-to-phone"]);
    assert_eq!(looks.who.as_deref(), Some("Ana"));
    assert_eq!(looks.palette, Some(Palette::Dark));
}

#[test]
fn the_readmes_keys_are_taken_and_do_what_their_comments_say() {
    let readme = text("README.md");
    let (_, rest) = readme
        .split_once("```ron\n(\n    undo:")
        .expect("the example");
    let (example, _) = rest.split_once("```").expect("its end");
    let place = tempfile::tempdir().expect("a folder");
    let file = place.path().join("keys.ron");
    std::fs::write(file, format!("(\n    undo:{example}")).expect("written");
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_tankside"))
        .args(["keys", "--json"])
        .env("TANKSIDE_CONFIG_DIR", place.path())
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(0), "{said}");
    let told: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let keys = |name: &str| {
        let commands = told["commands"].as_array().expect("commands");
        let found = commands.iter().find(|c| c["name"] == name);
        found.expect("the command")["keys"].clone()
    };
    assert_eq!(keys("undo"), serde_json::json!(["u", "Backspace"]));
    assert_eq!(keys("lock"), serde_json::json!(["Ctrl-l", "F12"]));
    assert_eq!(keys("far"), serde_json::json!(["End"]));
    assert_eq!(keys("who"), serde_json::json!([]));
    assert_eq!(keys("help"), serde_json::json!(["/", "?"]));
}
