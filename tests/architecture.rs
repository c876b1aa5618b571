//! The arrows of the house: which room may name which, read from the sources.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// A room, the folder or file it is, what of ours it may name, and what of the
/// world it must not.
struct Room {
    place: &'static str,
    may_name: &'static [&'static str],
    never: &'static [&'static str],
}

const NO_WORLD: &[&str] = &[
    "std::fs",
    "std::io",
    "std::net",
    "SystemTime",
    "std::time::Instant",
    "ratatui",
    "crossterm",
    "std::env",
    "std::process",
];

const ROOMS: &[Room] = &[
    Room {
        place: "units",
        may_name: &["units"],
        never: NO_WORLD,
    },
    Room {
        place: "plating",
        may_name: &["units", "plating"],
        never: NO_WORLD,
    },
    Room {
        place: "mesh",
        may_name: &["units", "mesh"],
        never: NO_WORLD,
    },
    Room {
        place: "field",
        may_name: &["units", "mesh", "field"],
        never: NO_WORLD,
    },
    Room {
        place: "project",
        may_name: &["units", "plating", "mesh", "field", "project"],
        never: NO_WORLD,
    },
    Room {
        place: "store",
        may_name: &["units", "plating", "mesh", "project", "store"],
        never: &[
            "ratatui",
            "crossterm",
            "SystemTime",
            "std::time::Instant::now",
            "std::process",
        ],
    },
    Room {
        place: "settings",
        may_name: &["project", "store", "settings"],
        never: &[
            "std::fs",
            "std::net",
            "SystemTime",
            "std::time::Instant",
            "ratatui",
            "crossterm",
            "std::process",
        ],
    },
    Room {
        place: "spreading.rs",
        may_name: &["units", "mesh", "field", "project", "store"],
        never: &[
            "std::fs",
            "std::net",
            "SystemTime",
            "std::time::Instant",
            "ratatui",
            "crossterm",
            "std::process",
        ],
    },
    Room {
        place: "predicted.rs",
        may_name: &["units", "field", "project", "store"],
        never: NO_WORLD,
    },
    Room {
        place: "clock.rs",
        may_name: &["units"],
        never: &["std::fs", "std::env", "std::process", "ratatui"],
    },
    Room {
        place: "report",
        may_name: &["units", "plating", "mesh", "field", "project", "report"],
        never: NO_WORLD,
    },
    Room {
        place: "tui/app",
        may_name: &[
            "units",
            "plating",
            "mesh",
            "field",
            "project",
            "report",
            "tui::app",
            "tui::picture",
        ],
        never: NO_WORLD,
    },
    Room {
        place: "tui/picture",
        may_name: &["mesh", "tui::picture"],
        never: NO_WORLD,
    },
    Room {
        place: "tui/view",
        may_name: &[
            "units",
            "plating",
            "mesh",
            "field",
            "project",
            "report",
            "tui::app",
            "tui::picture",
            "tui::view",
        ],
        never: &[
            "crossterm",
            "std::fs",
            "std::io",
            "std::net",
            "SystemTime",
            "std::time::Instant",
            "std::env",
            "std::process",
            "&mut Model",
            "&mut State",
            "&mut Project",
        ],
    },
];

fn sources(place: &Path) -> Vec<PathBuf> {
    if place.is_file() {
        return vec![place.to_owned()];
    }
    let mut found: Vec<PathBuf> = std::fs::read_dir(place)
        .unwrap_or_else(|e| panic!("{}: {e}", place.display()))
        .flat_map(|entry| sources(&entry.expect("an entry").path()))
        .collect();
    found.retain(|f| f.extension().is_some_and(|e| e == "rs"));
    found.sort();
    found
}

/// The lines of a source that are the product's: tests and comments left out.
fn product_lines(text: &str) -> Vec<String> {
    let product = text.split("#[cfg(test)]").next().unwrap_or_default();
    product
        .lines()
        .map(|line| line.split("//").next().unwrap_or_default().to_owned())
        .collect()
}

/// The rooms that `crate::…` paths of a source name, `tui` with its inner room.
fn named_rooms(text: &str) -> BTreeSet<String> {
    let flat = product_lines(text).join(" ");
    let mut rooms = BTreeSet::new();
    for part in flat.split("crate::").skip(1) {
        let words: Vec<&str> = part
            .splitn(4, |c: char| !(c.is_alphanumeric() || c == '_' || c == ':'))
            .collect();
        let path: Vec<&str> = words.first().unwrap_or(&"").split("::").collect();
        let room = match path.as_slice() {
            ["tui", inner, ..] if !inner.is_empty() => format!("tui::{inner}"),
            [room, ..] => (*room).to_owned(),
            [] => continue,
        };
        assert!(
            !room.is_empty(),
            "write one `use crate::room` a line, not `use crate::{{…}}`"
        );
        rooms.insert(room);
    }
    rooms
}

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

#[test]
fn arrows_point_down_only() {
    for room in ROOMS {
        for file in sources(&src().join(room.place)) {
            let text = std::fs::read_to_string(&file).expect("a source");
            for named in named_rooms(&text) {
                assert!(
                    room.may_name.contains(&named.as_str()),
                    "{} names crate::{named}; {} may name {:?}",
                    file.display(),
                    room.place,
                    room.may_name
                );
            }
        }
    }
}

#[test]
fn each_room_leaves_the_world_to_the_shells() {
    for room in ROOMS {
        for file in sources(&src().join(room.place)) {
            let text = std::fs::read_to_string(&file).expect("a source");
            for (number, line) in product_lines(&text).iter().enumerate() {
                for word in room.never {
                    assert!(
                        !line.contains(word),
                        "{}:{}: {} never sees {word}",
                        file.display(),
                        number + 1,
                        room.place
                    );
                }
            }
        }
    }
}

#[test]
fn every_room_is_held() {
    // A new folder under src must get its arrows.
    // Of the kernel only the manifest lies there.
    let others = ["cli", "kernel", "tui"];
    for entry in std::fs::read_dir(src()).expect("src") {
        let entry = entry.expect("an entry");
        let name = entry.file_name().into_string().expect("a name");
        if entry.path().is_dir() && !others.contains(&name.as_str()) {
            assert!(
                ROOMS.iter().any(|r| r.place == name),
                "src/{name} has no row in ROOMS"
            );
        }
    }
}

#[test]
fn only_the_shell_names_crossterm_and_only_the_clock_reads_the_time() {
    for file in sources(&src()) {
        let shown = file
            .strip_prefix(src())
            .expect("inside")
            .display()
            .to_string();
        let text = std::fs::read_to_string(&file).expect("a source");
        for line in product_lines(&text) {
            if line.contains("crossterm") {
                assert!(shown.starts_with("tui/shell"), "{shown} names crossterm");
            }
            if line.contains("SystemTime::now") || line.contains("now_utc()") {
                assert!(shown == "clock.rs", "{shown} reads the clock");
            }
        }
    }
}

/// Who starts programs, and who asks the environment: each place with its why.
#[test]
fn programs_are_started_and_the_environment_is_asked_in_few_places() {
    let starts = ["tui/shell/editor.rs", "tui/shell/herald.rs"];
    let asks = [
        "cli/",              // arguments, the folder it stands in
        "tui/shell/",        // what the terminal and the machine can do
        "settings/files.rs", // the user's folders and login
        "store/kept.rs",     // which program this is
    ];
    for file in sources(&src()) {
        let shown = file.strip_prefix(src()).expect("inside");
        let shown = shown.display().to_string();
        let text = std::fs::read_to_string(&file).expect("a source");
        for line in product_lines(&text) {
            let is_start = line.contains("process::Command") || line.contains("process::{Child");
            assert!(
                !is_start || starts.contains(&shown.as_str()),
                "{shown} starts programs"
            );
            let is_asked = line.contains("std::env");
            assert!(
                !is_asked || asks.iter().any(|place| shown.starts_with(place)),
                "{shown} asks the environment"
            );
        }
    }
}

#[test]
fn the_guide_names_every_test_and_every_dependency() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |name: &str| std::fs::read_to_string(root.join(name)).expect("a text");
    let guide = read("DEVELOPERS.md");
    for entry in std::fs::read_dir(root.join("tests")).expect("tests") {
        let path = entry.expect("an entry").path();
        let name = path.file_name().expect("a name").display().to_string();
        if path.is_file() {
            assert!(guide.contains(&format!("{name}`")), "no row tells {name}");
        }
    }
    let (_, table) = guide.split_once("## Dependencies").expect("a table");
    let named: BTreeSet<&str> = table
        .lines()
        .filter_map(|line| line.strip_prefix("| ")?.split(" | ").next())
        .flat_map(|crates| crates.split(", "))
        .filter(|name| *name != "crate")
        .collect();
    let manifest = read("Cargo.toml") + &read("src/kernel/Cargo.toml");
    let mut asked = BTreeSet::new();
    let mut is_list = false;
    for line in manifest.lines() {
        if line.starts_with('[') {
            is_list = line.ends_with("dependencies]");
        } else if let Some((name, _)) = line.split_once(" = ").filter(|_| is_list) {
            asked.insert(name);
        }
    }
    assert_eq!(named, asked);
}

/// A file that neither binary names would never be run.
#[test]
fn every_file_of_tests_is_in_one_binary() {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    let binaries = ["library", "program"];
    let roots = binaries.map(|binary| {
        std::fs::read_to_string(tests.join(format!("{binary}.rs"))).expect("a binary")
    });
    for entry in std::fs::read_dir(&tests).expect("tests") {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").display().to_string();
        if path.is_dir() || binaries.contains(&name.as_str()) {
            continue;
        }
        let line = format!("mod {name};");
        let named = roots.iter().filter(|root| root.lines().any(|l| l == line));
        assert_eq!(
            named.count(),
            1,
            "`{line}` belongs into one of {binaries:?}"
        );
    }
}

#[test]
fn all_writing_goes_through_the_one_disk() {
    let writes = [
        "fs::write",
        "File::create",
        "File::options",
        "OpenOptions",
        "create_dir",
        "fs::rename",
        "fs::remove",
        "fs::copy",
        "set_permissions",
    ];
    for file in sources(&src()) {
        let shown = file.strip_prefix(src()).expect("inside");
        let text = std::fs::read_to_string(&file).expect("a source");
        let through_disk = ["disk.create_dir", "fn create_dir"];
        for line in product_lines(&text) {
            let word = writes.iter().find(|word| line.contains(**word));
            let is_disk = through_disk.iter().any(|word| line.contains(word));
            assert!(
                shown == Path::new("store/disk.rs") || is_disk || word.is_none(),
                "{}: `{}`: write through `store::Disk`, as `store::replace` does",
                shown.display(),
                line.trim()
            );
        }
    }
}
