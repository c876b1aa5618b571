//! The thread that owns the project's folder: all reading and writing of the
//! project happens here, one thing after the other.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::ShellError;
use super::inbox::{Ending, Incoming};
use super::own_keys;
use crate::predicted::{Predicted, Taken};
use crate::project::{Action, Decision, Piece, SceneEdit, Silence, What};
use crate::settings::{KeysFile, Settings, SettingsError};
use crate::store::{
    Draft, Edited, Folder, LONG, NoticeEntry, NoticeLog, RecordError, StoreError, piece_entry,
    read_file, sha256_hex, silences,
};
use crate::tui::app::{AddNews, Failure, FoundPrint, MaskedPrint, Message, Notice, Seen};
use crate::units::Instant;

/// How often the folder is looked at for what other programs did.
const FOLLOW: Duration = Duration::from_millis(500);

/// Several screens of one project start the user's program once for what they
/// all tell within so many seconds: half of the shortest interval.
const TOGETHER_S: f64 = 30.0;

/// What the keeper is asked to do; it answers with messages.
pub(super) enum Job {
    /// Decide on an action at this present, write it down, fold it.
    Record(Action, Instant),
    /// Write a file into the project's folder.
    WriteFile { name: String, content: String },
    /// Copy a print in and add its piece, asked under a number.
    AddPiece(u32, PathBuf, Box<FoundPrint>),
    /// Write other masks of a piece, with what their survey found.
    WriteMasks(Box<MaskedPrint>),
    /// Take into the project what was computed for a tank.
    TakeSpread {
        tank: String,
        seen: Arc<Seen>,
        who: String,
        clock: Instant,
    },
    /// Change what hangs where.
    EditScene(Box<SceneEdit>),
    /// Remember who the user is.
    SaveWho(String),
    /// Let a notice go out, if it still stands.
    Tell {
        notice: Box<Notice>,
        /// Whose screen it is.
        who: String,
        /// Whether a program of the user's own is to be started for it.
        program: bool,
    },
    /// Write down a silence, for the other programs on the project.
    Silence(Silence),
    /// Lay out a draft of `project.ron`; answered at once.
    BeginEdit(Sender<Result<Draft, Failure>>),
    /// Put the draft in the place of `project.ron`.
    EndEdit(Draft),
    /// Forget a draft that was given up.
    DropEdit(Draft),
}

/// The folder that the keeper shall own.
pub(super) enum Opening {
    /// It is open.
    Done(Box<Folder>),
    /// It is still to be opened.
    Soon(PathBuf),
}

impl Opening {
    /// The open folder, and whether what is kept of it is shown meanwhile.
    fn folder(self) -> Result<(Folder, bool), StoreError> {
        match self {
            Self::Done(folder) => Ok((*folder, false)),
            Self::Soon(path) => Ok((Folder::open_soon(&path)?, true)),
        }
    }
}

/// The keeper, seen from the loop.
pub(super) struct Keeper {
    jobs: Sender<Job>,
    thread: JoinHandle<()>,
}

impl Keeper {
    /// `cache` is where what can be made anew is kept, and the present.
    pub(super) fn start(
        opening: Opening,
        keys: KeysFile,
        (cache, now): (Option<PathBuf>, Instant),
        tell: Sender<Incoming>,
    ) -> io::Result<Self> {
        let (jobs, todo) = mpsc::channel();
        let thread = thread::Builder::new()
            .name("keeper".to_owned())
            .spawn(move || {
                let tell = Ending(tell);
                match opening.folder() {
                    Ok((mut folder, was_shown)) => {
                        if let Some(dir) = &cache {
                            folder.remember_digests(dir, now);
                        }
                        Desk::new(folder, was_shown, keys, cache, tell).work(&todo);
                    }
                    // Where the loop has gone, nobody listens.
                    Err(error) => drop(tell.0.send(Incoming::Unopened(error))),
                }
            })?;
        Ok(Self { jobs, thread })
    }

    pub(super) fn ask(&self, job: Job) -> Result<(), ShellError> {
        self.jobs.send(job).map_err(|_gone| ShellError::Worker)
    }

    /// Lays out a draft and waits for it.
    pub(super) fn begin_edit(&self) -> Result<Result<Draft, Failure>, ShellError> {
        let (answer, answered) = mpsc::channel();
        self.ask(Job::BeginEdit(answer))?;
        answered.recv().map_err(|_gone| ShellError::Worker)
    }

    /// Waits until everything asked for is done.
    pub(super) fn finish(self) {
        drop(self.jobs);
        // A panic of the thread has told itself.
        let _ended = self.thread.join();
    }
}

/// The folder with what was said of it already.
struct Desk {
    folder: Folder,
    log: NoticeLog,
    keys: KeysFile,
    tell: Ending,
    notices: Vec<String>,
    trouble: Option<StoreError>,
    /// Whether it was said that nothing is written any more.
    stopped: bool,
    cache: Option<PathBuf>,
    /// How many events what is kept in the cache rests on; `None` before
    /// anything is known to be kept.
    kept: Option<usize>,
    /// Whether something has happened that is not kept.
    unkept: bool,
}

impl Desk {
    /// What was shown before the folder was open gives way to what the files say.
    fn new(
        folder: Folder,
        was_shown: bool,
        keys: KeysFile,
        cache: Option<PathBuf>,
        tell: Ending,
    ) -> Self {
        let mut desk = Self {
            kept: was_shown.then(|| folder.project().events().len()),
            log: folder.notice_log(),
            folder,
            keys,
            tell,
            notices: Vec::new(),
            trouble: None,
            stopped: false,
            cache,
            unkept: !was_shown,
        };
        if was_shown {
            desk.say_project();
            desk.unkept = false;
        }
        desk.folder.look_at_meshes();
        desk
    }

    fn work(mut self, todo: &Receiver<Job>) {
        self.say_told();
        self.say_stopped();
        self.say_notices();
        loop {
            match todo.recv_timeout(FOLLOW) {
                Ok(job) => self.perform(job),
                Err(RecvTimeoutError::Timeout) => {
                    self.follow();
                    let events = self.folder.project().events().len();
                    if self.kept.is_none_or(|kept| events >= kept + LONG) {
                        self.keep();
                    }
                }
                Err(RecvTimeoutError::Disconnected) => return self.keep(),
            }
        }
    }

    /// Keeps what a long project has come to for the next start. Where that
    /// fails, the next start takes longer.
    fn keep(&mut self) {
        if let Some(dir) = self.cache.as_ref().filter(|_| self.unkept) {
            self.folder.keep(dir);
            self.kept = Some(self.folder.project().events().len());
            self.unkept = false;
        }
    }

    fn perform(&mut self, job: Job) {
        match job {
            Job::Record(action, clock) => {
                let recorded = self.record(action, clock);
                // Also when refused: recording takes in what others wrote.
                self.say_project();
                self.say(Message::Recorded(recorded.map_err(|error| match error {
                    RecordError::Refused(refusal) => Failure::Refused(refusal),
                    RecordError::Store(error) => trouble(&error),
                })));
            }
            Job::WriteFile { name, content } => {
                let written = self.folder.write_file(&name, &content);
                self.say_done(written, |()| format!("{name} is written"));
            }
            Job::AddPiece(ticket, file, found) => {
                let added = self.add_piece(&file, found.piece);
                if added.is_ok() {
                    self.say_project();
                }
                self.say(Message::Adding(ticket, AddNews::Added(added)));
            }
            Job::WriteMasks(done) => {
                let work = &done.work;
                let edit = (work.before.as_slice(), &work.edit);
                let written = self.folder.edit_mask(&work.piece, edit, &done.values);
                // Also when refused: changing takes in what others wrote.
                self.say_project();
                let written = written.map_err(|error| trouble(&error));
                self.say(Message::MasksWritten(done, written));
            }
            Job::TakeSpread {
                tank,
                seen,
                who,
                clock,
            } => {
                let predicted = Predicted {
                    tank: &tank,
                    pieces: seen.pieces.iter().map(String::as_str).collect(),
                    scene: seen.digest.as_deref(),
                    spread: &seen.spread,
                };
                let now = self.folder.project().present(clock);
                let taken = predicted.take(&mut self.folder, &who, (now, clock, None));
                self.say_project();
                self.say_taken(taken);
            }
            Job::EditScene(edit) => {
                let edited = self.folder.edit_scene(&edit);
                // Also when refused: changing takes in what others wrote.
                self.say_project();
                let edited = edited.map_err(|error| trouble(&error));
                self.say(Message::SceneEdited(edit, edited));
            }
            Job::SaveWho(who) => {
                if let Err(error) = Settings::remember_who(&who) {
                    self.say(Message::Failed(unsettled(&error)));
                }
            }
            Job::Tell {
                notice,
                who,
                program,
            } => self.tell(&notice, &who, program),
            Job::Silence(silence) => self.silence(&silence),
            Job::BeginEdit(answer) => {
                let draft = self.folder.begin_edit().map_err(|error| trouble(&error));
                // Where the loop has gone, nobody edits.
                let _loop_gone = answer.send(draft);
            }
            Job::EndEdit(draft) => {
                let edited = self.folder.end_edit(&draft);
                self.say_project();
                self.say_done(edited, |edited| match edited {
                    Edited::Replaced => "project.ron is as you edited it".to_owned(),
                    Edited::Unchanged => "project.ron is as it was".to_owned(),
                });
            }
            Job::DropEdit(draft) => {
                if let Err(error) = self.folder.drop_edit(&draft) {
                    self.say(Message::Failed(trouble(&error)));
                }
            }
        }
        self.say_stopped();
        self.say_notices();
    }

    /// Tells in one line what a field's answer has changed.
    fn say_taken(&self, taken: Result<Taken, RecordError>) {
        match taken {
            Ok(taken) => {
                taken
                    .warnings
                    .into_iter()
                    .map(Message::Warned)
                    .for_each(|warned| self.say(warned));
                self.say(Message::Notice(format!(
                    "evenness is set; {}",
                    taken.shares
                )));
            }
            Err(RecordError::Refused(refusal)) => {
                self.say(Message::Failed(Failure::Refused(refusal)));
            }
            Err(RecordError::Store(error)) => self.say(Message::Failed(trouble(&error))),
        }
    }

    /// Tells once, to stand until the end, that nothing is written any more.
    fn say_stopped(&mut self) {
        if let Some(error) = self.folder.stopped().filter(|_| !self.stopped) {
            self.stopped = true;
            self.say(Message::Stopped(format!(
                "{}; {}",
                error.message, error.remedy
            )));
        }
    }

    /// Records; a logger's file that is named where it lies is brought in first.
    fn record(&mut self, mut action: Action, clock: Instant) -> Result<Decision, RecordError> {
        if let What::Logger { file, sha256, .. } = &mut action.what
            && sha256.is_empty()
        {
            let taken = self.folder.take_logger(Path::new(file.as_str()))?;
            (*file, *sha256) = (taken.file, taken.sha256);
        }
        self.folder.record(&action, clock, None)
    }

    /// Copies the print in and adds its piece, if the file is the one that was
    /// surveyed.
    fn add_piece(&mut self, file: &Path, mut piece: Piece) -> Result<(), Failure> {
        let told = |error: StoreError| trouble(&error);
        self.folder
            .check_piece(&piece_entry(&piece))
            .map_err(told)?;
        let sha256 = sha256_hex(&read_file(file).map_err(told)?);
        if let Some(mesh) = &mut piece.mesh {
            if mesh.sha256.as_ref() != Some(&sha256) {
                return Err(Failure::Trouble {
                    message: "the file has changed since it was surveyed".to_owned(),
                    remedy: "Enter surveys it again".to_owned(),
                });
            }
            mesh.file = self.folder.copy_mesh(file, &piece.name).map_err(told)?;
        }
        self.folder.add_piece(&piece_entry(&piece)).map_err(told)
    }

    /// Takes in what other programs did, and the user's own keys; the same trouble is told once.
    fn follow(&mut self) {
        if !self.stopped {
            self.follow_folder();
        }
        if self.keys.changed() {
            self.say(Message::Keys(own_keys::for_screen(&self.keys)));
        }
    }

    fn follow_folder(&mut self) {
        match self.folder.follow() {
            Ok(changed) => {
                // Also when it reads as before the trouble, so that the
                // screen no longer tells of it.
                let mended = self.trouble.take().is_some();
                if changed || mended {
                    self.say_project();
                }
            }
            Err(error) if self.trouble.as_ref() == Some(&error) => {}
            Err(error) => {
                self.say(Message::Failed(trouble(&error)));
                self.trouble = Some(error);
            }
        }
        self.say_told();
        self.say_notices();
    }

    /// Lets out of a notice what still stands, by what other programs have
    /// recorded and silenced up to this moment. It goes out also where it
    /// cannot be written down.
    fn tell(&mut self, notice: &Notice, who: &str, program: bool) {
        self.follow();
        let project = self.folder.project();
        let mut standing = None;
        let written = self.log.add(|entries| {
            let notice = notice.still(project, &silences(entries))?;
            let (first, now) = (&notice.first, notice.now);
            let told = |entry: &NoticeEntry| entry.program_told(first, now, TOGETHER_S);
            let own = program && !entries.iter().any(told);
            let entry = NoticeEntry::told(now, who, (notice.ring, own), notice.due());
            standing = Some((notice, own));
            Some(entry)
        });
        if written.is_err() && standing.is_none() {
            standing = notice.still(project, &[]).map(|notice| (notice, program));
        }
        if let Some((notice, own)) = standing {
            // Where the loop has gone, nobody listens.
            let _loop_gone = self.tell.0.send(Incoming::Ring(Box::new(notice), own));
        }
    }

    fn silence(&mut self, silence: &Silence) {
        if let Err(error) = self.log.add(|_| Some(silence.into())) {
            self.say(Message::Failed(Failure::Trouble {
                message: format!("other programs go on with their notices: {}", error.message),
                remedy: error.remedy,
            }));
        }
    }

    fn say_told(&mut self) {
        if let Some(entries) = self.log.follow() {
            self.say(Message::Silenced(silences(&entries)));
            // Days are named: a line may be shown for more than one.
            let zone = self.folder.project().definition.zone;
            let clock = |at| {
                let local = zone.local(at);
                format!("{} {}", local.day(), local.clock())
            };
            let told = entries.iter().rev().map(|entry| entry.line(clock));
            self.say(Message::Told(told.collect()));
        }
    }

    fn say_project(&mut self) {
        self.unkept = true;
        self.say(Message::Project(Box::new(self.folder.project().clone())));
    }

    fn say_notices(&mut self) {
        let all = self.folder.notices().to_vec();
        if all != self.notices {
            if self.notices.iter().any(|notice| !all.contains(notice)) {
                // What was mended is no longer told.
                self.say_project();
            }
            let new = all.iter().filter(|notice| !self.notices.contains(notice));
            for notice in new {
                self.say(Message::Warned(notice.clone()));
            }
            self.notices = all;
        }
    }

    fn say_done<T>(&self, done: Result<T, StoreError>, told: impl FnOnce(T) -> String) {
        self.say(match done {
            Ok(value) => Message::Notice(told(value)),
            Err(error) => Message::Failed(trouble(&error)),
        });
    }

    fn say(&self, message: Message) {
        // Where the loop has gone, nobody listens.
        let _loop_gone = self.tell.0.send(Incoming::Message(message));
    }
}

/// The store's trouble with its place, for the screen.
fn trouble(error: &StoreError) -> Failure {
    let name = error.file.as_ref().and_then(|file| file.file_name());
    let place = match (name, error.line, error.column) {
        (Some(name), Some(line), Some(column)) => {
            format!("{}:{line}:{column}: ", name.display())
        }
        (Some(name), Some(line), None) => format!("{}:{line}: ", name.display()),
        _ => String::new(),
    };
    Failure::Trouble {
        message: format!("{place}{}", error.message),
        remedy: error.remedy.clone(),
    }
}

fn unsettled(error: &SettingsError) -> Failure {
    Failure::Trouble {
        message: format!("your name is not remembered: {error}"),
        remedy: error.remedy(),
    }
}
