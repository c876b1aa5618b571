//! Every event is told as a command that records the same again.

#![cfg(unix)]

use std::path::Path;
use std::process::Command;

use tankside::project::{Event, What};
use tankside::store::Folder;

/// What an event says: everything but when it was written down, and what the
/// program adds by itself.
fn said(event: &Event) -> Event {
    let mut event = event.clone();
    event.recorded = event.at;
    match &mut event.what {
        What::CloseoutSign { sheet } => sheet.clear(),
        What::Logger { file, .. } => file.clear(),
        _ => {}
    }
    event
}

/// Runs a script in a folder, with the program in its path.
fn run(script: &Path, folder: &Path) -> std::process::Output {
    let program = Path::new(env!("CARGO_BIN_EXE_tankside")).parent().unwrap();
    let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap());
    let mut shell = Command::new("sh");
    let home = folder.join("home");
    shell
        .arg(script)
        .current_dir(folder)
        .env("PATH", path)
        .env("TANKSIDE_CONFIG_DIR", &home)
        .env("TANKSIDE_CACHE_DIR", &home)
        .output()
        .unwrap()
}

/// Records a project's events anew from their commands; both histories.
fn retold(original: &Path) -> (Vec<Event>, Vec<Event>) {
    let scratch = tempfile::tempdir().unwrap();
    let anew = scratch.path().join("anew");
    let text = std::fs::read_to_string(original.join("project.ron")).unwrap();
    let first = Folder::open(original).unwrap();
    let events = first.project().events().to_vec();
    drop(Folder::create(&anew, &text, events[0].at).unwrap());
    for dir in ["meshes", "immersions"] {
        for file in std::fs::read_dir(original.join(dir)).into_iter().flatten() {
            let file = file.unwrap();
            std::fs::copy(file.path(), anew.join(dir).join(file.file_name())).unwrap();
        }
    }
    let commands: Vec<String> = events.iter().map(|e| e.command().line(".")).collect();
    let script = scratch.path().join("again.sh");
    std::fs::write(&script, format!("set -e\n{}\n", commands.join("\n"))).unwrap();
    let done = run(&script, &anew);
    assert!(
        done.status.success(),
        "{}{}",
        String::from_utf8_lossy(&done.stdout),
        String::from_utf8_lossy(&done.stderr)
    );
    let again = Folder::open(&anew).unwrap().project().events().to_vec();
    (
        events.iter().map(said).collect(),
        again.iter().map(said).collect(),
    )
}

#[test]
fn a_project_with_every_kind_of_event_is_recorded_anew_from_its_commands() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for project in ["tests/data/format-1", "sample-projects/fern-lamp"] {
        let copy = tempfile::tempdir().unwrap();
        let status = Command::new("cp")
            .arg("-R")
            .arg(root.join(project))
            .arg(copy.path().join("p"))
            .status();
        assert!(status.unwrap().success());
        let (events, again) = retold(&copy.path().join("p"));
        for (event, again) in events.iter().zip(&again) {
            assert_eq!(event, again);
        }
        assert_eq!(events.len(), again.len(), "{project}");
    }
}
