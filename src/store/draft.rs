//! A draft of `project.ron` for the user's editor, and files printed into the
//! folder.

use std::io;
use std::path::{Component, Path, PathBuf};

use super::Folder;
use super::error::{ErrorKind, StoreError};
use super::files::{self, DRAFT, PROJECT};

/// A text of `project.ron` laid out for editing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    path: PathBuf,
    /// `project.ron` when the draft was begun.
    before: String,
}

impl Draft {
    /// The file to edit.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

/// What an edit led to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edited {
    /// The draft has taken the place of `project.ron`.
    Replaced,
    /// The draft was closed as it was opened.
    Unchanged,
}

impl Folder {
    /// Lays out `project.ron` for editing, in `project.edited.ron`. A draft
    /// that an earlier edit left there is gone on with.
    ///
    /// # Errors
    /// When a file cannot be read or written, or `project.ron` is newer than
    /// the draft that is there: going on with it would undo what changed.
    pub fn begin_edit(&self) -> Result<Draft, StoreError> {
        self.check_not_poisoned()?;
        let (file, path) = (self.path.join(PROJECT), self.path.join(DRAFT));
        let before = files::read_text(self.disk.as_ref(), &file)?;
        match self.disk.write_synced(&path, before.as_bytes(), true) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                self.check_draft_is_newer(&file, &path)?;
            }
            written => {
                let written = written.and_then(|()| self.disk.sync_dir(&self.path));
                self.written("write", &path, written)?;
            }
        }
        Ok(Draft { path, before })
    }

    fn check_draft_is_newer(&self, file: &Path, draft: &Path) -> Result<(), StoreError> {
        let modified = |path| self.disk.stat(path).ok().and_then(|stamp| stamp.modified);
        if modified(draft) >= modified(file) {
            return Ok(());
        }
        let message = format!("{DRAFT} keeps an edit of yours, and {PROJECT} has changed since");
        let remedy = format!("take from {DRAFT} what you want, delete it, and edit again");
        Err(StoreError::new(ErrorKind::Exists, message, remedy).in_file(draft))
    }

    /// Puts a draft that was edited in the place of `project.ron`.
    ///
    /// # Errors
    /// When the text does not do, or `project.ron` was changed meanwhile. It
    /// is as it was then, and the draft stays.
    pub fn end_edit(&mut self, draft: &Draft) -> Result<Edited, StoreError> {
        let text = files::read_text(self.disk.as_ref(), &draft.path)?;
        if text == draft.before {
            return self.remove_draft(draft).map(|()| Edited::Unchanged);
        }
        let replaced = self.change(|folder, now| {
            if now == draft.before {
                return folder.candidate(text);
            }
            let message = format!("{PROJECT} was changed by another while you edited");
            Err(StoreError::new(
                ErrorKind::Exists,
                message,
                "compare the two",
            ))
        });
        replaced.map_err(|error| kept(error, draft))?;
        self.remove_draft(draft).map(|()| Edited::Replaced)
    }

    /// Takes a draft away that was given up, unless something was written
    /// into it.
    ///
    /// # Errors
    /// When the draft holds a text of its own, which stays; or the system
    /// refuses.
    pub fn drop_edit(&self, draft: &Draft) -> Result<(), StoreError> {
        let text = files::read_text(self.disk.as_ref(), &draft.path)?;
        if text == draft.before {
            return self.remove_draft(draft);
        }
        let message = format!("the edit was given up, {PROJECT} is as it was");
        let error = StoreError::new(ErrorKind::Exists, message, "nothing need be done");
        Err(kept(error, draft))
    }

    fn remove_draft(&self, draft: &Draft) -> Result<(), StoreError> {
        self.check_not_poisoned()?;
        let removed = self.disk.remove(&draft.path);
        self.written("remove", &draft.path, removed)
    }

    /// Writes a text file of a plain name into the folder, in one step; one
    /// that is there is replaced.
    ///
    /// # Errors
    /// When the name is not plain or is one of the project's own files, or
    /// the system refuses.
    pub fn write_file(&self, name: &str, content: &str) -> Result<(), StoreError> {
        let mut parts = Path::new(name).components();
        let plain = matches!(
            (parts.next(), parts.next()),
            (Some(Component::Normal(_)), None)
        );
        if !plain || files::is_own(name) {
            let message = format!("`{name}` cannot be written into the project's folder");
            let remedy = "give a file name without a folder that is none of the project's own";
            return Err(StoreError::new(ErrorKind::Path, message, remedy));
        }
        // The lock keeps others from the temporary file.
        let _lock = self.lock()?;
        let replaced = files::replace(self.disk.as_ref(), &self.path, name, content.as_bytes());
        self.written("write", &self.path.join(name), replaced)
    }
}

/// The error with its place in the draft, and where the text is.
fn kept(error: StoreError, draft: &Draft) -> StoreError {
    let remedy = format!(
        "{}; your text is kept in {DRAFT}: edit again to go on with it, or delete it",
        error.remedy
    );
    StoreError {
        remedy,
        ..error.in_file(&draft.path)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use std::time::{Duration, SystemTime};

    const BELL: &str = r#"(
    format: 1,
    name: "Table bell",
    metal: "copper-acid",
    target: Mean("40um"),
)
"#;

    fn bell() -> (tempfile::TempDir, Folder) {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("bell");
        let at = "2026-03-01T19:00:00Z".parse().unwrap();
        let folder = Folder::create(&path, BELL, at).unwrap();
        (dir, folder)
    }

    fn text(folder: &Folder, name: &str) -> String {
        fs::read_to_string(folder.path.join(name)).unwrap()
    }

    #[test]
    fn an_edit_takes_the_place_of_the_file_and_leaves_no_draft() {
        let (_dir, mut folder) = bell();
        let draft = folder.begin_edit().unwrap();
        fs::write(draft.path(), BELL.replace("40um", "60um")).unwrap();
        assert_eq!(folder.end_edit(&draft).unwrap(), Edited::Replaced);
        assert!(text(&folder, PROJECT).contains("60um"));
        assert!(!draft.path().exists());
    }

    #[test]
    fn an_edit_without_a_change_is_none() {
        let (_dir, mut folder) = bell();
        let draft = folder.begin_edit().unwrap();
        assert_eq!(folder.end_edit(&draft).unwrap(), Edited::Unchanged);
        let draft = folder.begin_edit().unwrap();
        folder.drop_edit(&draft).unwrap();
        assert!(!draft.path().exists());
    }

    #[test]
    fn a_text_that_does_not_do_is_kept_and_gone_on_with() {
        let (_dir, mut folder) = bell();
        let draft = folder.begin_edit().unwrap();
        fs::write(draft.path(), BELL.replace("metal:", "mettle:")).unwrap();
        let error = folder.end_edit(&draft).unwrap_err();
        assert_eq!(error.file.as_deref(), Some(draft.path()));
        assert_eq!(error.line, Some(4));
        assert!(error.remedy.contains(DRAFT), "{}", error.remedy);
        assert_eq!(text(&folder, PROJECT), BELL);
        folder.begin_edit().unwrap();
        assert!(text(&folder, DRAFT).contains("mettle:"));
    }

    #[test]
    fn an_edit_never_undoes_what_another_changed_meanwhile() {
        let (_dir, mut folder) = bell();
        let draft = folder.begin_edit().unwrap();
        fs::write(draft.path(), BELL.replace("40um", "60um")).unwrap();
        let changed = BELL.replace("Table bell", "Door bell");
        fs::write(folder.path.join(PROJECT), &changed).unwrap();
        assert!(folder.end_edit(&draft).is_err());
        assert_eq!(text(&folder, PROJECT), changed);
        let old = SystemTime::UNIX_EPOCH + Duration::from_secs(1_000_000_000);
        let file = fs::File::options().write(true).open(draft.path()).unwrap();
        file.set_modified(old).unwrap();
        let error = folder.begin_edit().unwrap_err();
        assert_eq!(error.kind, ErrorKind::Exists);
        assert!(
            text(&folder, DRAFT).contains("60um"),
            "the text is still there"
        );
    }

    #[test]
    fn an_edit_that_was_given_up_changes_nothing_and_is_kept() {
        let (_dir, folder) = bell();
        let draft = folder.begin_edit().unwrap();
        fs::write(draft.path(), BELL.replace("40um", "60um")).unwrap();
        assert!(folder.drop_edit(&draft).is_err());
        assert_eq!(text(&folder, PROJECT), BELL);
        assert!(draft.path().exists());
    }

    #[test]
    fn a_file_is_written_by_a_plain_name_only() {
        let (_dir, folder) = bell();
        folder.write_file("evening.md", "first").unwrap();
        folder.write_file("evening.md", "second").unwrap();
        assert_eq!(text(&folder, "evening.md"), "second");
        for name in [
            "",
            "..",
            "../bell.md",
            "/tmp/bell.md",
            "a/b.md",
            PROJECT,
            files::JOURNAL,
            DRAFT,
        ] {
            assert!(folder.write_file(name, "no").is_err(), "{name}");
        }
        assert_eq!(text(&folder, PROJECT), BELL);
    }
}
