//! Results that are kept for the next time the same is asked.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::field::scene::{Scene, Spread};
use crate::store::{self, sha256_hex};

/// A result with what it took.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Kept {
    pub(super) spread: Spread,
    pub(super) setup_s: f64,
    pub(super) solve_s: f64,
}

/// What has to be the same: every number of the scene, the bytes of its prints,
/// how fine it is cut, and this very program.
pub(super) fn label(
    scene: &Scene,
    panels: usize,
    digests: impl Iterator<Item = String>,
) -> Option<String> {
    let mut scene = scene.clone();
    // Where a print lies is not what it is.
    for (body, digest) in scene.bodies.iter_mut().zip(digests) {
        body.mesh = digest;
    }
    let text = serde_json::to_string(&scene).ok()?;
    let program = store::program_stamp()?;
    Some(sha256_hex(
        format!("{program}\n{panels}\n{text}").as_bytes(),
    ))
}

impl Kept {
    pub(super) fn read(dir: &Path, label: &str) -> Option<Self> {
        let bytes = store::kept_spread(dir, label)?;
        postcard::from_bytes(&bytes).ok()
    }

    /// Keeps it; where that fails it is solved again the next time.
    pub(super) fn keep(&self, dir: &Path, label: &str) {
        if let Ok(bytes) = postcard::to_allocvec(self) {
            store::keep_spread(dir, label, &bytes);
        }
    }
}
