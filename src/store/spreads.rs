//! Results of the field, kept in the user's cache folder under the digest of all
//! that led to them. What cannot be read or written here is as good as nothing,
//! and the files can be deleted at any time.

use std::path::Path;

use super::disk::{Disk as _, RealDisk};
use super::files::{make_folder, replace, sha256_hex};

const FOLDER: &str = "spreads";
const MARK: &[u8] = b"tankside spread 1\n";

/// No more are kept; the oldest go.
const MOST: usize = 40;

/// One that is larger is not kept, bytes.
const LARGEST: usize = 128 << 20;

/// The bytes kept under a label in the cache folder `dir`, if they are whole.
pub fn kept_spread(dir: &Path, label: &str) -> Option<Vec<u8>> {
    let kept = RealDisk.read(&dir.join(FOLDER).join(label)).ok()?;
    let body = kept.strip_prefix(MARK)?;
    let (sum, body) = body.split_at_checked(64)?;
    (sum == sha256_hex(body).as_bytes()).then(|| body.to_vec())
}

/// Keeps bytes under a label in the cache folder `dir`; whether it did.
pub fn keep_spread(dir: &Path, label: &str, bytes: &[u8]) -> bool {
    if bytes.len() > LARGEST {
        return false;
    }
    let folder = dir.join(FOLDER);
    let content = [MARK, sha256_hex(bytes).as_bytes(), bytes].concat();
    let kept =
        make_folder(&RealDisk, &folder).and_then(|()| replace(&RealDisk, &folder, label, &content));
    if kept.is_ok() {
        forget_old(&folder);
    }
    kept.is_ok()
}

fn forget_old(folder: &Path) {
    let names = RealDisk.list(folder).unwrap_or_default();
    let mut files: Vec<_> = names
        .into_iter()
        .map(|name| folder.join(name))
        .filter_map(|path| Some((RealDisk.stat(&path).ok()?.modified, path)))
        .collect();
    files.sort();
    let old = files.len().saturating_sub(MOST);
    for (_, file) in files.into_iter().take(old) {
        // Another program may have forgotten it already.
        let _gone = RealDisk.remove(&file);
    }
}
