//! The shell around the screen: terminal, loop, workers, signals.
//!
//! One loop owns the terminal and the model and sleeps until something comes
//! into its inbox or until what shows seconds is due. Three threads fill the
//! inbox: one reads the terminal's events, one waits for signals, and one
//! owns the project's folder, so that a slow disk never holds up a key. What
//! is recorded is shown as recorded only when the disk has it.

mod adder;
mod desk;
mod editor;
mod error;
mod herald;
mod inbox;
mod keeper;
mod keys;
mod notify;
mod own_keys;
mod pictures;
mod sense;
mod spreader;
mod surveyor;
mod tty;

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::time::Duration;

pub use error::ShellError;
pub use notify::Ways;
pub use own_keys::keys_of;
pub use sense::colours_told;
pub use tty::Tty;

use crate::clock::Clock;
use crate::project::Project;
use crate::report::spread::Form;
use crate::settings::{self, KeysFile, PrintDots, Settings, SettingsError};
use crate::store::{Draft, Folder};
use crate::tui::app::{AddWork, Dots, Effect, Failure, Layer, Message, Model, Notice, update};
use crate::tui::view::{Theme, draw, has_room};
use adder::Adder;
use editor::Editor;
use herald::Herald;
use inbox::{Incoming, Reader, Signals};
use keeper::{Job, Keeper, Opening};
use pictures::{Standing, Way};
use sense::Look;
use spreader::Spreader;
use surveyor::Surveyor;

/// The wall clock is compared at least this often, so that a computer that
/// slept or a clock that was set shows the right time again.
const NAP: Duration = Duration::from_secs(1);

/// The screen is never redrawn for the clock more often than this, in seconds.
const SHORTEST: f64 = 0.05;

/// Shows the project in a folder on the terminal until the user leaves. Settings
/// that do not read, and keys that are not taken, are said on the screen and
/// never in its way: the defaults do until they are mended.
///
/// # Errors
/// When the project cannot be opened, when there is no terminal that can show
/// it, when the terminal fails, or when something asked for was not written
/// down before leaving. The terminal is given back in any case.
pub fn run(
    path: &Path,
    settings: Result<Settings, SettingsError>,
    clock: &dyn Clock,
) -> Result<(), ShellError> {
    let (settings, unsettled) = match settings {
        Ok(settings) => (settings, None),
        Err(error) => (Settings::default(), Some(error)),
    };
    let look = Look::sense(&settings)?;
    let cache = settings::cache_dir();
    let (project, opening) = first_look(path, cache.as_deref())?;
    let now = clock.now();
    let keys = KeysFile::of_the_user();
    let place = keys.path().map(|path| path.display().to_string());
    let ways = Ways::sense(&settings.notices);
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let mut model = Model::new(project, settings.who, now)
        .with_login(settings::login())
        .with_keys(own_keys::for_screen(&keys), place)
        .in_folder(&whole.to_string_lossy());
    model.settings_fault = unsettled.map(|error| {
        let fault = own_keys::in_short(&error);
        format!("{fault}. Mend it and open again; the defaults do until then")
    });
    model.prints.usual = match settings.print {
        PrintDots::Auto => None,
        PrintDots::Blocks => Some(Dots::Blocks),
        PrintDots::Braille => Some(Dots::Braille),
    };
    let asks_for_pictures = settings.print == PrintDots::Auto && !look.ascii && pictures::may_ask();
    let (tell, inbox) = mpsc::channel();
    let signals = Signals::watch(tell.clone())?;
    let tty = Tty::enter()?;
    let spreads_kept = cache.clone();
    let keeper = Keeper::start(opening, keys, (cache, now), tell.clone())?;
    let reader = Reader::start(tell.clone())?;
    let mut shell = Shell {
        ways,
        herald: Herald::start(tell.clone())?,
        adder: Adder::new(tell.clone()),
        spreader: Spreader::start(&whole, spreads_kept, tell.clone())?,
        surveyor: Surveyor::start(&whole, tell.clone())?,
        folder: whole,
        pictures: None,
        asks_for_pictures,
        standing: None,
        tell,
        lent: None,
        leave_next: false,
        model,
        theme: Theme::with(look.colours, look.ascii),
        clock,
        tty,
        inbox,
        keeper,
        reader,
        signals,
        leaving: false,
    };
    let outcome = shell.stay();
    shell.leave().and(outcome)
}

/// The file that what was computed of a tank is written into: of its name only
/// what every system takes.
fn spread_file(tank: &str, form: Form) -> String {
    let plain = |c: char| if c.is_alphanumeric() { c } else { '_' };
    let tank: String = tank.chars().take(60).map(plain).collect();
    format!("spread-{tank}.{}", form.ending())
}

/// The project for the first frames: what is kept of a long one, while the
/// keeper opens the folder; else the folder as it is opened here.
fn first_look(path: &Path, cache: Option<&Path>) -> Result<(Project, Opening), ShellError> {
    if let Some(project) = cache.and_then(|dir| Folder::glimpse(path, dir)) {
        return Ok((project, Opening::Soon(path.to_owned())));
    }
    let folder = Folder::open_soon(path).map_err(ShellError::Unopened)?;
    Ok((folder.project().clone(), Opening::Done(Box::new(folder))))
}

/// Everything the loop owns.
struct Shell<'a> {
    model: Model,
    theme: Theme,
    clock: &'a dyn Clock,
    tty: Tty,
    inbox: Receiver<Incoming>,
    keeper: Keeper,
    reader: Reader,
    signals: Signals,
    ways: Ways,
    herald: Herald,
    adder: Adder,
    /// The project's folder.
    folder: PathBuf,
    surveyor: Surveyor,
    spreader: Spreader,
    /// How the terminal takes pictures, if it was asked and does.
    pictures: Option<Way>,
    /// Whether the terminal may still be asked for its pictures.
    asks_for_pictures: bool,
    /// The picture that stands on the terminal.
    standing: Option<Standing>,
    tell: Sender<Incoming>,
    /// The draft in the editor, while the editor has the terminal.
    lent: Option<Draft>,
    /// Whether to leave when the editor is closed.
    leave_next: bool,
    leaving: bool,
}

impl Shell<'_> {
    fn stay(&mut self) -> Result<(), ShellError> {
        self.draw()?;
        // What is due already is told without waiting for a key.
        self.update(Message::Tick)?;
        self.draw()?;
        while !self.leaving {
            let first = self.wait()?;
            self.take(first)?;
            while let (false, Ok(more)) = (self.leaving, self.inbox.try_recv()) {
                self.take(more)?;
            }
            if !self.leaving {
                self.draw()?;
            }
        }
        Ok(())
    }

    /// Gives the terminal back, then waits until the disk has what was asked for.
    fn leave(self) -> Result<(), ShellError> {
        self.tty.leave();
        self.keeper.finish();
        let lost = self.inbox.try_iter().find_map(|incoming| match incoming {
            Incoming::Message(Message::Recorded(Err(failure)) | Message::Failed(failure)) => {
                Some(failure)
            }
            _ => None,
        });
        lost.map_or(Ok(()), |failure| Err(ShellError::Undone(failure)))
    }

    /// Sleeps until something comes in or the clock has moved what is shown.
    fn wait(&self) -> Result<Incoming, ShellError> {
        let from = self.clock.now();
        let Some(due) = self.model.redraw_in(from) else {
            return self.inbox.recv().map_err(|_closed| ShellError::Worker);
        };
        let due = due.max(SHORTEST);
        loop {
            let Some(nap) = nap(due, self.clock.now().since(from)) else {
                return Ok(Incoming::Message(Message::Tick));
            };
            match self.inbox.recv_timeout(nap) {
                Ok(incoming) => return Ok(incoming),
                Err(RecvTimeoutError::Timeout) => tty::still_there()?,
                Err(RecvTimeoutError::Disconnected) => return Err(ShellError::Worker),
            }
        }
    }

    fn take(&mut self, incoming: Incoming) -> Result<(), ShellError> {
        match incoming {
            Incoming::Message(message) => self.update(message),
            Incoming::Typed(message) => {
                self.update(message)?;
                self.ask_for_pictures()?;
                if self.lent.is_none() {
                    self.reader.go_on();
                }
                Ok(())
            }
            Incoming::Ring(notice, own) => self.ring(&notice, own),
            Incoming::Edited(closed) => self.edited(closed),
            // The next frame looks at the size.
            Incoming::Resized => Ok(()),
            Incoming::Leave => {
                // What the editor saves is still taken in.
                self.leave_next = self.lent.is_some();
                self.leaving = !self.leave_next;
                Ok(())
            }
            // Lent meanwhile: all of the job stops and comes back, the editor's.
            Incoming::Stop if self.lent.is_some() => Ok(inbox::stop()?),
            Incoming::Continued if self.lent.is_some() => Ok(()),
            Incoming::Stop => self.suspend(),
            Incoming::Continued => {
                self.standing = None;
                self.tty.leave();
                Ok(self.tty.enter_again()?)
            }
            Incoming::TerminalFailed(error) => Err(error.into()),
            Incoming::Unopened(error) => Err(ShellError::Unopened(error)),
            Incoming::WorkerGone => Err(ShellError::Worker),
        }
    }

    /// Gives a message to the model and does what the model asks for, which
    /// may lead to further messages.
    fn update(&mut self, message: Message) -> Result<(), ShellError> {
        let mut next = Some(message);
        while let Some(message) = next.take() {
            for effect in update(&mut self.model, message, self.clock.now()) {
                match self.perform(effect)? {
                    Ok(()) => {}
                    Err(failure) => next = Some(Message::Failed(failure)),
                }
            }
        }
        Ok(())
    }

    /// The outer error ends the screen; the inner one is told on it.
    fn perform(&mut self, effect: Effect) -> Result<Result<(), Failure>, ShellError> {
        match effect {
            Effect::Record(action) => self.keeper.ask(Job::Record(action, self.clock.now()))?,
            Effect::SaveWho(who) => self.keeper.ask(Job::SaveWho(who))?,
            Effect::WriteFile { name, content } => {
                self.keeper.ask(Job::WriteFile { name, content })?;
            }
            Effect::Adding(ticket, AddWork::Add(file, found)) => {
                self.keeper.ask(Job::AddPiece(ticket, file.into(), found))?;
            }
            Effect::Adding(ticket, work) => {
                if let Err(error) = self.adder.begin(ticket, work, self.folder.clone()) {
                    let message = format!("the print cannot be worked on: {error}");
                    let remedy = "close other programs and try again".to_owned();
                    return Ok(Err(Failure::Trouble { message, remedy }));
                }
            }
            Effect::EditProject => return self.edit(),
            Effect::Copy(text) => return Ok(self.tty.copy(&text)?),
            Effect::Notify(notice) => {
                let who = self.model.who.clone().unwrap_or_default();
                let program = self.ways.has_program();
                self.keeper.ask(Job::Tell {
                    notice,
                    who,
                    program,
                })?;
            }
            Effect::Silence(silence) => self.keeper.ask(Job::Silence(silence))?,
            Effect::ReadPrint { piece, source } => self.surveyor.read(piece, source)?,
            Effect::SurveyMasks(work) => self.surveyor.survey(*work)?,
            Effect::WriteMasks(done) => self.keeper.ask(Job::WriteMasks(done))?,
            Effect::Spread(work) => self.spreader.solve(*work)?,
            Effect::TakeSpread { tank, seen, who } => {
                let clock = self.clock.now();
                let job = Job::TakeSpread {
                    tank,
                    seen,
                    who,
                    clock,
                };
                self.keeper.ask(job)?;
            }
            Effect::StopSpread => self.spreader.stop(),
            Effect::WriteSpread { tank, form } => {
                let known = self.model.spreads.of(&tank);
                if let Some(seen) = known.and_then(|known| known.seen.clone()) {
                    self.spreader.write(seen, spread_file(&tank, form), form)?;
                }
            }
            Effect::EditScene(edit) => self.keeper.ask(Job::EditScene(edit))?,
            Effect::StopReading => self.surveyor.stop(),
            Effect::Suspend => self.suspend()?,
            Effect::Quit => self.leaving = true,
        }
        Ok(Ok(()))
    }

    /// Tells of what is due; a terminal that is lent is left alone.
    fn ring(&mut self, notice: &Notice, own: bool) -> Result<(), ShellError> {
        let lent = self.lent.is_some();
        if !lent {
            self.tty.tell(&self.ways.for_terminal(notice))?;
        }
        self.herald.tell(self.ways.calls(notice, lent, own));
        Ok(())
    }

    /// Lends the terminal to the user's editor, with a draft of `project.ron`.
    /// The loop goes on meanwhile, without keys and without drawing.
    fn edit(&mut self) -> Result<Result<(), Failure>, ShellError> {
        let begun = Editor::of_the_user().map(|editor| (editor, self.keeper.begin_edit()));
        let (editor, draft) = match begun {
            Ok((editor, draft)) => match draft? {
                Ok(draft) => (editor, draft),
                Err(failure) => return Ok(Err(failure)),
            },
            Err(failure) => return Ok(Err(failure)),
        };
        self.signals.lend(true);
        self.standing = None;
        self.tty.lend();
        let tell = self.tell.clone();
        let begun = editor.open(draft.path(), move |closed| {
            // Where the loop has gone, nobody takes the draft in.
            let _loop_gone = tell.send(Incoming::Edited(closed));
        });
        match begun {
            Ok(()) => self.lent = Some(draft),
            Err(_) => self.take_back(draft, false)?,
        }
        Ok(begun)
    }

    /// The editor is closed: its draft is taken in if it did, and keys are
    /// read again.
    fn edited(&mut self, closed: Result<(), Failure>) -> Result<(), ShellError> {
        let Some(draft) = self.lent.take() else {
            return Ok(());
        };
        self.take_back(draft, closed.is_ok())?;
        if let Err(failure) = closed {
            self.update(Message::Failed(failure))?;
        }
        self.leaving |= self.leave_next;
        self.reader.go_on();
        Ok(())
    }

    fn take_back(&mut self, draft: Draft, done: bool) -> Result<(), ShellError> {
        self.signals.lend(false);
        self.tty.take_back()?;
        let job = if done { Job::EndEdit } else { Job::DropEdit };
        self.keeper.ask(job(draft))
    }

    /// Stops the program as Ctrl-Z stops any other, at the key or at the signal;
    /// `fg` comes back here.
    fn suspend(&mut self) -> Result<(), ShellError> {
        self.signals.lend(true);
        self.standing = None;
        self.tty.leave();
        let stopped = inbox::stop();
        self.tty.enter_again()?;
        self.signals.lend(false);
        Ok(stopped?)
    }

    /// Asks the terminal for its pictures when the first print is shown. Nothing
    /// else reads it meanwhile: the reader waits until its key is dealt with.
    fn ask_for_pictures(&mut self) -> Result<(), ShellError> {
        let top = self.model.layers.last();
        let is_shown = matches!(top, Some(Layer::Print(_) | Layer::Spread(_)));
        if !is_shown || !self.asks_for_pictures || self.lent.is_some() {
            return Ok(());
        }
        let cell = pictures::cell_of_system();
        let tell = |text: &str| self.tty.tell(text);
        let (way, typed) = pictures::ask(tell, pictures::listen, cell)?;
        self.asks_for_pictures = false;
        self.pictures = way;
        self.update(Message::Pictures(way.is_some()))?;
        for key in typed {
            self.update(Message::Key(key))?;
        }
        Ok(())
    }

    fn draw(&mut self) -> Result<(), ShellError> {
        if self.lent.is_some() {
            return Ok(());
        }
        let area = self.tty.area()?;
        let roomy = has_room(area);
        if roomy != self.model.prints.roomy {
            self.update(Message::Room(roomy))?;
        }
        let (model, theme, now) = (&self.model, &self.theme, self.clock.now());
        self.tty.title(&model.title())?;
        let way = self.pictures;
        let next = way.and_then(|_| Standing::of(model, *theme, area));
        let is_new = next != self.standing;
        if let Some((way, old)) = way.zip(self.standing.take_if(|_| is_new)) {
            self.tty.picture(&old.gone(way))?;
        }
        self.tty.draw(|frame| draw(model, theme, now, frame))?;
        if let Some((way, next)) = way.zip(next.filter(|_| is_new)) {
            self.tty.picture(&next.sequence(model, *theme, way))?;
            self.standing = Some(next);
        }
        Ok(())
    }
}

/// How long to sleep before the clock is looked at again; `None` when what
/// shows seconds is due, or the clock was set back. Both in seconds.
fn nap(due: f64, passed: f64) -> Option<Duration> {
    let waiting = (0.0..due).contains(&passed);
    waiting.then(|| Duration::try_from_secs_f64(due - passed).map_or(NAP, |left| left.min(NAP)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_set_or_a_computer_that_slept_is_noticed_within_a_second() {
        assert_eq!(nap(60.0, 0.0), Some(NAP));
        assert_eq!(nap(60.0, 59.75), Some(Duration::from_millis(250)));
        assert_eq!(nap(60.0, 60.0), None);
        assert_eq!(nap(60.0, 8.0 * 3600.0), None, "it slept for a night");
        assert_eq!(nap(60.0, -3600.0), None, "it was set back by an hour");
        assert_eq!(nap(f64::INFINITY, 5.0), Some(NAP));
        assert_eq!(nap(f64::NAN, 5.0), None);
    }
}
