//! Whether a print has changed is told at every start, and one that has not been
//! touched is not read for it.

use std::fs::{self, File};
use std::path::Path;
use std::time::Duration;

use crate::support::cli::Shop;
use crate::support::disk::{FakeDisk, Image};
use tankside::store::{Disk as _, Folder, check_on, sha256_hex};
use tankside::units::Instant;

const BASE: &str = "/lamp/meshes/base.stl";

/// Long after anything was written on a disk whose clock counts writes.
const LATE: i64 = 100;

fn definition(mesh: &[u8]) -> String {
    let sha256 = sha256_hex(mesh);
    format!(
        r#"(format: 1, name: "Lamp", metal: "copper-acid", target: Mean("40um"),
    pieces: [(name: "base", area: "6dm2", mesh: (file: "meshes/base.stl", sha256: "{sha256}"))])"#
    )
}

fn lamp() -> FakeDisk {
    let mut image: Image = ["/", "/lamp", "/lamp/meshes", "/cache"]
        .map(|dir| (dir.into(), None))
        .into();
    let text = definition(b"solid a").into_bytes();
    image.insert("/lamp/project.ron".into(), Some(text));
    image.insert("/lamp/journal.ron".into(), Some(Vec::new()));
    image.insert(BASE.into(), Some(b"solid a".to_vec()));
    FakeDisk::holding(&image)
}

/// Opens the project so many seconds after 1970; whether it says that the print
/// has changed, and how often the print was read for it.
fn look(disk: &FakeDisk, seconds: i64) -> (bool, usize) {
    let before = disk.reads(Path::new(BASE));
    let mut folder = Folder::open_soon_on(disk.shared(), Path::new("/lamp")).unwrap();
    let now = Instant::from_unix_ms(seconds * 1000);
    folder.remember_digests(Path::new("/cache"), now);
    folder.look_at_meshes();
    let told = folder.notices().iter();
    let changed = told
        .filter(|n| n.contains("has changed since it was measured"))
        .count();
    (changed == 1, disk.reads(Path::new(BASE)) - before)
}

fn write(disk: &FakeDisk, bytes: &[u8]) {
    disk.write_synced(Path::new(BASE), bytes, false).unwrap();
}

#[test]
fn a_print_that_was_not_touched_is_read_once() {
    let disk = lamp();
    assert_eq!(look(&disk, LATE), (false, 1));
    assert_eq!(look(&disk, LATE), (false, 0));
    assert_eq!(look(&disk, LATE + 1000), (false, 0));
}

#[test]
fn a_print_that_changed_is_noticed_at_the_same_length_too() {
    for new in [&b"solid b"[..], b"solid longer", b""] {
        let disk = lamp();
        assert_eq!(look(&disk, LATE), (false, 1));
        write(&disk, new);
        assert_eq!(look(&disk, LATE), (true, 1));
        assert_eq!(look(&disk, LATE), (true, 0), "and stays noticed");
        write(&disk, b"solid a");
        assert_eq!(look(&disk, LATE), (false, 1));
    }
}

#[test]
fn a_print_put_in_the_place_of_another_is_noticed() {
    let disk = lamp();
    assert_eq!(look(&disk, LATE), (false, 1));
    let other = Path::new("/lamp/meshes/other.stl");
    disk.write_synced(other, b"solid b", true).unwrap();
    disk.rename(other, Path::new(BASE)).unwrap();
    assert_eq!(look(&disk, LATE), (true, 1));
}

#[test]
fn what_was_written_just_now_is_read_again() {
    let disk = lamp();
    write(&disk, b"solid a");
    let written = disk.stat(Path::new(BASE)).unwrap().modified.unwrap();
    let written = i64::try_from(written.as_secs()).unwrap();
    // A clock that was set back, the same tick, and one that may be the same.
    for after in [-1, 0, 2] {
        assert_eq!(look(&disk, written + after), (false, 1));
    }
    assert_eq!(look(&disk, written + 3), (false, 1));
    assert_eq!(look(&disk, written + 3), (false, 0));
}

#[test]
fn a_check_reads_every_print() {
    let disk = lamp();
    look(&disk, LATE);
    let before = disk.reads(Path::new(BASE));
    check_on(&disk, Path::new("/lamp"));
    assert_eq!(disk.reads(Path::new(BASE)) - before, 1);
}

#[test]
fn where_nothing_can_be_remembered_prints_are_read() {
    let disk = lamp();
    disk.make_read_only(Path::new("/cache"));
    assert_eq!(look(&disk, LATE), (false, 1));
    assert_eq!(look(&disk, LATE), (false, 1));
}

#[test]
fn a_damaged_memory_is_none() {
    let disk = lamp();
    look(&disk, LATE);
    let names = disk.list(Path::new("/cache")).unwrap();
    assert_eq!(names.len(), 1);
    let kept = Path::new("/cache").join(&names[0]);
    let whole = disk.read(&kept).unwrap();
    for at in 0..whole.len() {
        let mut bytes = whole.clone();
        bytes[at] ^= 1;
        disk.write_synced(&kept, &bytes, false).unwrap();
        assert_eq!(look(&disk, LATE), (false, 1), "byte {at}");
        disk.write_synced(&kept, &whole[..at], false).unwrap();
        assert_eq!(look(&disk, LATE), (false, 1), "cut at {at}");
    }
}

/// Another content under the very stamp of the former is what only reading finds.
#[test]
fn commands_read_no_print_that_was_not_touched_and_check_does() {
    let shop = Shop::with_project();
    let file = shop.path("p").join("base.stl");
    let write = |bytes: &[u8]| {
        fs::write(&file, bytes).unwrap();
        let file = File::options().append(true).open(&file).unwrap();
        let then = std::time::UNIX_EPOCH + Duration::from_secs(1_600_000_000);
        file.set_modified(then).unwrap();
    };
    write(b"solid a");
    let sha256 = sha256_hex(b"solid a");
    shop.ok("add p base --area 6dm2");
    let mesh = format!(r#"(file: "base.stl", sha256: "{sha256}")"#);
    shop.raw(&["set", "p", "pieces.base.mesh", &mesh].map(str::to_owned));
    let told = |words: &str| {
        let out = shop.run(words);
        format!("{}{}", out.text, out.err).contains("has changed since it was measured")
    };
    assert!(!told("status p"));
    write(b"solid b");
    assert!(!told("status p"), "it was not read");
    assert!(told("check p"));
    write(b"solid longer");
    assert!(told("status p"));
}
