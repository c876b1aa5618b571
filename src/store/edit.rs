//! Changes of `project.ron`: what a person wrote around them stays.

use super::error::{ErrorKind, StoreError};
use super::files::{self, PROJECT};
use super::folder::{Folder, Validated};
use super::piece_text;
use super::ron_text::{self, quote};
use super::scene_text;
use crate::project::{Definition, Mask, MaskEdit, SceneEdit};

/// A text of `project.ron` with all that follows from it.
pub(super) type Candidate = (String, Validated);

impl Folder {
    /// Sets the value at a path of `project.ron`, such as `pieces.stem.area`.
    /// The value is RON, or else a text without its quotes. Comments and order
    /// stay.
    ///
    /// # Errors
    /// When path or value do not do, the definition with it breaks a rule, or
    /// what has happened could not be under it. The file is unchanged then.
    pub fn set(&mut self, path: &str, value: &str) -> Result<(), StoreError> {
        self.change(|folder, text| {
            let file = folder.path.join(PROJECT);
            let attempt = |source: &str| {
                let new = ron_text::set(text, path, source)
                    .map_err(|error| Failed::before_rules(StoreError::of_path(&file, &error)))?;
                let breaks_rule = breaks_rule(&new);
                folder
                    .candidate(new)
                    .map_err(|error| Failed { error, breaks_rule })
            };
            attempt(value)
                .or_else(|as_ron| {
                    if as_ron.error.kind == ErrorKind::Contradiction {
                        return Err(as_ron);
                    }
                    attempt(&quote(value)).map_err(|as_text| more_telling(value, as_ron, as_text))
                })
                .map_err(|failed| failed.error)
        })
    }

    /// Sets several values in one step; they are RON. Comments and order stay.
    ///
    /// # Errors
    /// As [`Self::set`].
    pub fn set_all(&mut self, values: &[(String, String)]) -> Result<(), StoreError> {
        self.change(|folder, text| {
            let set =
                |text: String, (path, value): &(String, String)| ron_text::set(&text, path, value);
            let new = values
                .iter()
                .try_fold(text.to_owned(), set)
                .map_err(|error| StoreError::of_path(&folder.path.join(PROJECT), &error))?;
            folder.candidate(new)
        })
    }

    /// Changes the masks of a piece and sets what follows from it, in one step;
    /// `before` is the masks that the change was made for.
    ///
    /// # Errors
    /// As [`Self::set`], and where the piece has other masks by now.
    pub fn edit_mask(
        &mut self,
        piece: &str,
        (before, edit): (&[Mask], &MaskEdit),
        values: &[(String, String)],
    ) -> Result<(), StoreError> {
        self.change(|folder, text| {
            let file = folder.path.join(PROJECT);
            let now = folder.project().definition.piece(piece);
            if now.is_none_or(|piece| piece.masks != before) {
                let message = format!("the masks of `{piece}` are others by now");
                let remedy = "look at them and do it again";
                return Err(StoreError::new(ErrorKind::Contradiction, message, remedy));
            }
            let masks = format!("pieces.{}.masks", quote(piece));
            let edited = match edit {
                MaskEdit::Add(mask) => ron_text::push(text, &masks, &piece_text::mask(mask)),
                MaskEdit::Remove(at) => ron_text::remove(text, &format!("{masks}.{at}")),
            };
            let set =
                |text: String, (path, value): &(String, String)| ron_text::set(&text, path, value);
            let new = edited
                .and_then(|text| values.iter().try_fold(text, set))
                .map_err(|error| StoreError::of_path(&file, &error))?;
            folder.candidate(new)
        })
    }

    /// Changes what hangs where in a tank.
    ///
    /// # Errors
    /// As [`Self::set`], and where what it changes or takes off is another by now.
    pub fn edit_scene(&mut self, edit: &SceneEdit) -> Result<(), StoreError> {
        self.change(|folder, text| {
            let now = &folder.project().definition;
            let edited = scene_text::edited(text, edit, now).ok_or_else(|| {
                let message = "what it changes is another in project.ron by now";
                StoreError::new(ErrorKind::Contradiction, message, "look at it again")
            })?;
            let file = folder.path.join(PROJECT);
            folder.candidate(edited.map_err(|error| StoreError::of_path(&file, &error))?)
        })
    }

    /// Adds a piece: `entry` is the RON of one entry of `pieces`.
    ///
    /// # Errors
    /// As [`Self::set`].
    pub fn add_piece(&mut self, entry: &str) -> Result<(), StoreError> {
        self.change(|folder, text| {
            let new = ron_text::push(text, "pieces", entry)
                .map_err(|error| StoreError::of_path(&folder.path.join(PROJECT), &error))?;
            folder.candidate(new)
        })
    }

    /// Whether a piece could be added; `entry` as for [`Self::add_piece`].
    ///
    /// # Errors
    /// As [`Self::add_piece`].
    pub fn check_piece(&self, entry: &str) -> Result<(), StoreError> {
        let file = self.path.join(PROJECT);
        let text = files::read_text(self.disk.as_ref(), &file)?;
        let new = ron_text::push(&text, "pieces", entry)
            .map_err(|error| StoreError::of_path(&file, &error))?;
        self.validated(&new, &[]).map(|_| ())
    }

    /// The text of the value at a path of `project.ron`, if it stands there.
    pub fn value(&self, path: &str) -> Option<String> {
        let text = files::read_text(self.disk.as_ref(), &self.path.join(PROJECT)).ok()?;
        let value = ron_text::value(&text, path).ok()?;
        value.map(str::to_owned)
    }

    pub(super) fn candidate(&self, text: String) -> Result<Candidate, StoreError> {
        let validated = self.validated(&text, &[])?;
        Ok((text, validated))
    }

    /// Changes the text of `project.ron` under the journal's lock.
    pub(super) fn change(
        &mut self,
        change: impl FnOnce(&Self, &str) -> Result<Candidate, StoreError>,
    ) -> Result<(), StoreError> {
        let mut lock = self.lock()?;
        self.catch_up(lock.as_mut())?;
        let text = files::read_text(self.disk.as_ref(), &self.path.join(PROJECT))?;
        let (new, validated) = change(self, &text)?;
        self.put_definition(&new, validated)
    }
}

/// Why a value does not do.
struct Failed {
    error: StoreError,
    /// It was understood, and breaks a rule of definitions.
    breaks_rule: bool,
}

impl Failed {
    fn before_rules(error: StoreError) -> Self {
        Self {
            error,
            breaks_rule: false,
        }
    }
}

fn breaks_rule(text: &str) -> bool {
    Definition::parse(files::without_mark(text)).is_err_and(|error| error.path.is_some())
}

/// Of the errors of a value read as RON and as a text, the one that tells more.
fn more_telling(value: &str, as_ron: Failed, as_text: Failed) -> Failed {
    let is_structured = value.contains(['(', '[', '{', '"']);
    let is_bad_path = as_text.error.kind == ErrorKind::Path;
    let tells_more = is_structured && !is_bad_path && !as_text.breaks_rule;
    // Where a bare word is due, only the word as it was given tells which.
    let wants_word = as_text.error.message.contains("Expected identifier");
    if as_ron.breaks_rule || tells_more || wants_word {
        as_ron
    } else {
        as_text
    }
}
