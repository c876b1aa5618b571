//! The user's editor.

use std::path::Path;
use std::process::Command;

use crate::tui::app::Failure;

/// The user's editor, with the arguments that stand beside its name.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Editor {
    program: String,
    arguments: Vec<String>,
}

impl Editor {
    /// What `VISUAL` names, else `EDITOR`.
    pub(super) fn of_the_user() -> Result<Self, Failure> {
        Self::named(|name| std::env::var(name).ok())
    }

    fn named(env: impl Fn(&str) -> Option<String>) -> Result<Self, Failure> {
        let mut words = ["VISUAL", "EDITOR"]
            .into_iter()
            .filter_map(env)
            .map(|line| {
                line.split_whitespace()
                    .map(str::to_owned)
                    .collect::<Vec<_>>()
            })
            .find(|words| !words.is_empty())
            .ok_or_else(|| Failure::Trouble {
                message: "neither VISUAL nor EDITOR names an editor".to_owned(),
                remedy: "leave, say `export EDITOR=nano` or whichever you like, and open the \
                    project again; or edit project.ron in another terminal, the screen follows"
                    .to_owned(),
            })?
            .into_iter();
        let program = words.next().unwrap_or_default();
        Ok(Self {
            program,
            arguments: words.collect(),
        })
    }

    /// Opens a file; `closed` is called when the editor is, on a thread of
    /// its own, for notices go on meanwhile.
    pub(super) fn open(
        &self,
        file: &Path,
        closed: impl FnOnce(Result<(), Failure>) + Send + 'static,
    ) -> Result<(), Failure> {
        let name = self.program.clone();
        let missing = |error| Failure::Trouble {
            message: format!("the editor `{name}` does not start: {error}"),
            remedy: "let VISUAL or EDITOR name a program that is installed".to_owned(),
        };
        let mut editor = Command::new(&self.program)
            .args(&self.arguments)
            .arg(file)
            .spawn()
            .map_err(missing)?;
        let name = self.program.clone();
        std::thread::spawn(move || {
            closed(match editor.wait() {
                Ok(status) if status.success() => Ok(()),
                Ok(status) => Err(gave_up(&name, &status.to_string())),
                Err(error) => Err(gave_up(&name, &error.to_string())),
            });
        });
        Ok(())
    }
}

fn gave_up(name: &str, how: &str) -> Failure {
    Failure::Trouble {
        message: format!("the editor `{name}` ended with {how}"),
        remedy: "project.ron is as it was; edit it again to make the change".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn editor(visual: Option<&str>, editor: Option<&str>) -> Result<Editor, Failure> {
        Editor::named(|name| {
            let value = if name == "VISUAL" { visual } else { editor };
            value.map(str::to_owned)
        })
    }

    #[test]
    fn visual_goes_first_and_brings_its_arguments() {
        let both = editor(Some("code  --wait"), Some("vi")).unwrap();
        assert_eq!(
            (both.program.as_str(), both.arguments),
            ("code", vec!["--wait".to_owned()])
        );
        assert_eq!(editor(Some("  "), Some("vi")).unwrap().program, "vi");
    }

    #[test]
    fn without_an_editor_the_message_names_the_variable_to_set() {
        let Err(Failure::Trouble { message, remedy }) = editor(None, Some("")) else {
            panic!("no editor is named");
        };
        assert!(message.contains("EDITOR") && remedy.contains("EDITOR"));
    }

    #[test]
    fn an_editor_that_is_not_there_is_named() {
        let missing = editor(None, Some("no-such-editor-here")).unwrap();
        let Err(Failure::Trouble { message, .. }) = missing.open(Path::new("/dev/null"), |_| ())
        else {
            panic!("it does not exist");
        };
        assert!(message.contains("no-such-editor-here"));
    }
}
