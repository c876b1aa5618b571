//! What a person should know of the files.

use std::path::Path;

use super::digests::{Digests, Memory};
use super::disk::Disk;
use super::error::{StoreError, shown};
use super::files;
use crate::project::{Definition, MeshRef, What};

/// One sentence each, kept by what they are about so that they can end.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Notices {
    torn: Vec<String>,
    no_journal: Option<String>,
    left_out: Vec<String>,
    meshes: Vec<String>,
    edit: Option<String>,
    /// The meshes that were looked at, so that they are not read for every edit.
    looked_at: Vec<(String, MeshRef)>,
    all: Vec<String>,
}

impl Notices {
    pub(super) fn all(&self) -> &[String] {
        &self.all
    }

    /// A line of the journal that was not whole.
    pub(super) fn torn(&mut self, notice: String) {
        self.torn.push(notice);
        self.gather();
    }

    /// Whether nothing is in the journal where something should be.
    pub(super) fn no_journal(&mut self, fault: Option<&StoreError>) {
        self.no_journal = fault.map(sentence);
        self.gather();
    }

    /// A logger file whose rows are left out.
    pub(super) fn left_out(&mut self, what: &What, error: &StoreError) {
        let told = shown(&what.to_string());
        let notice = format!("{told}: its rows are left out: {}", sentence(error));
        self.left_out.push(notice);
        self.gather();
    }

    pub(super) fn clear_left_out(&mut self) {
        self.left_out.clear();
        self.gather();
    }

    /// An edit of `project.ron` that cannot be; whether that is news.
    pub(super) fn edit(&mut self, error: &StoreError) -> bool {
        let place = match (error.line, error.column) {
            (Some(line), Some(column)) => format!(":{line}:{column}"),
            _ => String::new(),
        };
        let notice = format!(
            "project.ron{place}: {}; until then what it said before holds",
            sentence(error)
        );
        let news = self.edit.as_ref() != Some(&notice);
        self.edit = Some(notice);
        self.gather();
        news
    }

    /// Whether everything that was read is in the project.
    pub(super) fn is_of_all_files(&self) -> bool {
        self.left_out.is_empty() && self.edit.is_none()
    }

    pub(super) fn has_edit(&self) -> bool {
        self.edit.is_some()
    }

    pub(super) fn without_edit(&self) -> Self {
        let mut notices = self.clone();
        notices.edit = None;
        notices.gather();
        notices
    }

    /// Meshes that are gone or have changed since they were measured.
    pub(super) fn look_at_meshes(
        &mut self,
        disk: &dyn Disk,
        folder: &Path,
        now: &Definition,
        memory: Option<&Memory>,
    ) {
        let meshes: Vec<(String, MeshRef)> = now
            .pieces
            .iter()
            .filter_map(|piece| Some((piece.name.clone(), piece.mesh.clone()?)))
            .collect();
        if meshes == self.looked_at {
            return;
        }
        let mut digests = Digests::remembered(disk, folder, memory);
        self.meshes = meshes
            .iter()
            .filter_map(|(piece, mesh)| {
                let digest = |file: &Path| digests.of(&mesh.file, file);
                let error = files::mesh_fault(disk, folder, mesh, digest)?;
                Some(format!("mesh of {}: {}", shown(piece), sentence(&error)))
            })
            .collect();
        digests.remember();
        self.looked_at = meshes;
        self.gather();
    }

    fn gather(&mut self) {
        let parts = [&self.torn, &self.left_out, &self.meshes];
        let all = parts.into_iter().flatten().chain(&self.edit);
        let all = self.no_journal.iter().chain(all);
        self.all = all.cloned().collect();
    }
}

fn sentence(error: &StoreError) -> String {
    if error.remedy.is_empty() {
        error.message.clone()
    } else {
        format!("{}; {}", error.message, error.remedy)
    }
}
