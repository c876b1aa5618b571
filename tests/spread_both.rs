//! Where the metal goes, on the screen and on the command line: one answer.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use crate::support::pty::Pty;
use serde_json::Value;

const PROGRAM: &str = env!("CARGO_BIN_EXE_tankside");

/// A computation on a busy machine, at most.
const PATIENCE: Duration = Duration::from_mins(2);

#[test]
fn what_the_screen_computed_the_command_line_has_already() {
    let holds = tempfile::tempdir().unwrap();
    let (folder, cache) = (holds.path().join("bell"), holds.path().join("cache"));
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-projects/table-bell");
    std::fs::create_dir_all(folder.join("meshes")).unwrap();
    for file in ["project.ron", "meshes/bell.stl", "meshes/handle.stl"] {
        std::fs::copy(sample.join(file), folder.join(file)).unwrap();
    }
    let (path, kept) = (folder.to_str().unwrap(), cache.to_str().unwrap());
    let mut pty = Pty::run(PROGRAM, &["open", path], &[("TANKSIDE_CACHE_DIR", kept)]);
    pty.wait_for("Table bell");
    pty.send("2x");
    pty.wait_for("where the metal goes in main: handle");
    pty.send("\r");
    pty.within(PATIENCE, |screen| screen.contents().contains("predicted "))
        .unwrap();
    let told = pty.contents();
    pty.send("q");
    assert_eq!(pty.ended(), 0);

    let output = Command::new(PROGRAM)
        .args(["spread", path, "--piece", "handle", "--json"])
        .env("TANKSIDE_CACHE_DIR", kept)
        .output()
        .unwrap();
    let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(answer["cached"], true, "{answer}");
    let ohm = answer["resistance_ohm"].as_f64().unwrap();
    let shown = tankside::units::number(ohm, 3);
    assert!(told.contains(&format!("predicted {shown} ohm")), "{told}");
}
