//! A real terminal for the real program: a pty, a screen that understands
//! what is written to it, and waiting that ends as soon as something is so.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a helper that fails fails its test"
)]
#![allow(dead_code, reason = "each test binary uses what it needs")]

use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::thread;
use std::time::Duration;

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use vt100::{Parser, Screen};

/// How long anything may take before a test gives up: a slow machine's time.
const PATIENCE: Duration = Duration::from_secs(20);

/// What the screen writes last in every frame: the cursor is hidden.
const FRAME_END: &[u8] = b"\x1b[?25l";

/// Starts a program, tells its process id, and around it the settings of the
/// terminal and how it ended.
const WRAPPER: &str = r#"
echo "before $(stty -g)"
sh -c 'echo $$ > "$PID_FILE.new"; mv "$PID_FILE.new" "$PID_FILE"; exec "$@"' sh "$@"
echo "left with $?"
echo "after $(stty -g)"
read -r stay
"#;

/// All that was written to the terminal.
struct Seen {
    parser: Parser,
    bytes: Vec<u8>,
}

/// A terminal with a program in it. The program is killed with it.
pub(crate) struct Pty {
    seen: Arc<(Mutex<Seen>, Condvar)>,
    keys: Box<dyn Write + Send>,
    master: Box<dyn MasterPty + Send>,
    child: Box<dyn Child + Send + Sync>,
    home: tempfile::TempDir,
}

impl Pty {
    /// A program in a terminal of 24 rows and 80 columns, in an environment of
    /// its own with a few changes; `unset` is an empty value.
    pub(crate) fn run(program: &str, args: &[&str], env: &[(&str, &str)]) -> Self {
        let mut words = vec!["-c", WRAPPER, "sh", program];
        words.extend(args);
        Self::bare("sh", &words, env)
    }

    /// An interactive POSIX shell with job control; its prompt is `ready> `.
    pub(crate) fn shell(env: &[(&str, &str)]) -> Self {
        let pty = Self::bare("sh", &["-i"], env);
        pty.wait("a prompt", |screen| screen.contents().contains("ready>"));
        pty
    }

    /// A program in a terminal, with nothing around it.
    pub(crate) fn bare(program: &str, args: &[&str], env: &[(&str, &str)]) -> Self {
        let size = PtySize {
            rows: 24,
            cols: 80,
            ..PtySize::default()
        };
        let pair = native_pty_system().openpty(size).unwrap();
        let home = tempfile::tempdir().unwrap();
        let mut command = CommandBuilder::new(program);
        command.args(args);
        command.env_clear();
        command.env("PATH", std::env::var_os("PATH").unwrap_or_default());
        command.env("HOME", home.path());
        command.env("TANKSIDE_CONFIG_DIR", home.path());
        command.env("PID_FILE", home.path().join("pid"));
        command.env("TERM", "xterm-256color");
        command.env("LANG", "C.UTF-8");
        command.env("PS1", "ready> ");
        for (name, value) in env {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).unwrap();
        let seen = Arc::new((
            Mutex::new(Seen {
                parser: Parser::new(size.rows, size.cols, 0),
                bytes: Vec::new(),
            }),
            Condvar::new(),
        ));
        let mut output = pair.master.try_clone_reader().unwrap();
        let into = Arc::clone(&seen);
        thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = output.read(&mut buffer) {
                let mut seen = into.0.lock().unwrap();
                seen.parser.process(&buffer[..count]);
                seen.bytes.extend_from_slice(&buffer[..count]);
                into.1.notify_all();
            }
        });
        let keys = pair.master.take_writer().unwrap();
        Self {
            seen,
            keys,
            master: pair.master,
            child,
            home,
        }
    }

    fn seen(&self) -> MutexGuard<'_, Seen> {
        self.seen.0.lock().unwrap()
    }

    /// Presses keys, as the bytes a terminal sends for them.
    pub(crate) fn send(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
        self.keys.flush().unwrap();
    }

    /// Waits until the screen is as wanted, or fails showing how it is.
    pub(crate) fn wait(&self, what: &str, wanted: impl Fn(&Screen) -> bool) {
        if let Err(screen) = self.within(PATIENCE, wanted) {
            panic!("waited in vain for {what}; the screen is\n{screen}");
        }
    }

    /// Whether the screen becomes as wanted in time; else what it shows.
    pub(crate) fn within(
        &self,
        time: Duration,
        wanted: impl Fn(&Screen) -> bool,
    ) -> Result<(), String> {
        self.until(time, |seen| wanted(seen.parser.screen()))
    }

    /// Waits until a frame of the screen is whole and as wanted, so that all
    /// of it can be read.
    pub(crate) fn wait_frame(&self, what: &str, wanted: impl Fn(&Screen) -> bool) {
        let whole = |seen: &Seen| seen.bytes.ends_with(FRAME_END);
        let shown = self.until(PATIENCE, |seen| whole(seen) && wanted(seen.parser.screen()));
        if let Err(screen) = shown {
            panic!("waited in vain for {what}; the screen is\n{screen}");
        }
    }

    fn until(&self, time: Duration, wanted: impl Fn(&Seen) -> bool) -> Result<(), String> {
        let (seen, timeout) = self
            .seen
            .1
            .wait_timeout_while(self.seen(), time, |seen| !wanted(seen))
            .unwrap();
        let shown = seen.parser.screen().contents();
        if timeout.timed_out() {
            Err(shown)
        } else {
            Ok(())
        }
    }

    /// Waits until the screen contains a text.
    pub(crate) fn wait_for(&self, text: &str) {
        self.wait(&format!("`{text}`"), |screen| {
            screen.contents().contains(text)
        });
    }

    /// Presses keys and waits for the frame that answers; how long it took.
    #[expect(clippy::disallowed_methods, reason = "it measures real time")]
    pub(crate) fn answer(&mut self, keys: &str) -> Duration {
        let (mark, begun) = (self.mark(), std::time::Instant::now());
        self.send(keys);
        let answered = |seen: &Seen| seen.bytes.len() > mark && seen.bytes.ends_with(FRAME_END);
        if let Err(screen) = self.until(PATIENCE, answered) {
            panic!("waited in vain for an answer to {keys:?}; the screen is\n{screen}");
        }
        begun.elapsed()
    }

    /// Waits until a program that was run bare has ended.
    pub(crate) fn wait_end(&mut self) {
        assert!(self.child.wait().unwrap().success());
    }

    /// How long the first thread of a program that was run bare has been on a
    /// processor, in milliseconds, however busy the machine is.
    pub(crate) fn worked_ms(&self) -> f64 {
        let pid = self.child.process_id().unwrap();
        let told = std::fs::read_to_string(format!("/proc/{pid}/schedstat")).unwrap();
        let ns = told.split(' ').next().unwrap();
        ns.parse::<f64>().unwrap() / 1e6
    }

    /// The most memory that a program that was run bare has had in use, in MB.
    pub(crate) fn most_memory_mb(&self) -> f64 {
        let pid = self.child.process_id().unwrap();
        let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
        let kb = line_after(&status, "VmHWM:").trim().trim_end_matches(" kB");
        kb.parse::<f64>().unwrap() / 1024.0
    }

    /// What the screen shows.
    pub(crate) fn contents(&self) -> String {
        self.seen().parser.screen().contents()
    }

    /// Asks the screen.
    pub(crate) fn screen<T>(&self, ask: impl FnOnce(&Screen) -> T) -> T {
        ask(self.seen().parser.screen())
    }

    /// A place in what was written so far, for [`Self::since`].
    pub(crate) fn mark(&self) -> usize {
        self.seen().bytes.len()
    }

    /// What was written since a mark.
    pub(crate) fn since(&self, mark: usize) -> Vec<u8> {
        self.seen().bytes[mark..].to_vec()
    }

    /// Waits for something to be written, at most so long; what was.
    pub(crate) fn listen(&self, mark: usize, time: Duration) -> Vec<u8> {
        let waited = self
            .seen
            .1
            .wait_timeout_while(self.seen(), time, |seen| seen.bytes.len() == mark)
            .unwrap();
        waited.0.bytes[mark..].to_vec()
    }

    /// Gives the terminal another size.
    pub(crate) fn resize(&self, rows: u16, cols: u16) {
        self.seen().parser.screen_mut().set_size(rows, cols);
        self.master
            .resize(PtySize {
                rows,
                cols,
                ..PtySize::default()
            })
            .unwrap();
    }

    /// Sends the program a signal, by its name without `SIG`.
    pub(crate) fn signal(&self, name: &str) {
        let pid = std::fs::read_to_string(self.pid_file()).unwrap();
        let sent = Command::new("kill")
            .args(["-s", name, pid.trim()])
            .status()
            .unwrap();
        assert!(sent.success(), "the program takes signals");
    }

    fn pid_file(&self) -> PathBuf {
        self.home.path().join("pid")
    }

    /// The home and configuration folder of the program.
    pub(crate) fn home(&self) -> &Path {
        self.home.path()
    }

    /// That each time the terminal was taken it was given back as it was: the
    /// text of the first screen, its cursor, the window's title.
    pub(crate) fn given_back(&self) {
        let seen = self.seen();
        let bytes = &seen.bytes;
        let (rows, cols) = seen.parser.screen().size();
        let taken = places(bytes, b"\x1b[?1049h");
        let left = places(bytes, b"\x1b[?1049l");
        assert!(!taken.is_empty(), "it was never taken");
        assert_eq!(taken.len(), left.len(), "taken and left as often");
        let titles = [b"\x1b[22;0t", b"\x1b[23;0t"].map(|t| places(bytes, t).len());
        assert_eq!(titles, [taken.len(); 2], "titles kept and brought back");
        let keys = [b"\x1b[>0u".as_slice(), b"\x1b[<u"].map(|k| places(bytes, k).len());
        assert_eq!(
            keys,
            [taken.len(); 2],
            "key flags laid on top and taken off"
        );
        let after = |end: usize| {
            let mut parser = Parser::new(rows, cols, 0);
            parser.process(&bytes[..end]);
            let screen = parser.screen();
            (
                screen.contents_formatted(),
                screen.cursor_position(),
                screen.input_mode_formatted(),
                screen.hide_cursor(),
            )
        };
        for (taken, left) in taken.into_iter().zip(left) {
            assert!(taken < left, "taken first");
            let before = after(taken);
            assert_eq!(before, after(left + b"\x1b[?1049l".len()));
        }
    }

    /// Waits until the program has ended; how, in the shell's numbers. The
    /// terminal must then be as it was before the program.
    pub(crate) fn ended(&self) -> i32 {
        let status = self.ended_tidied();
        if !places(&self.seen().bytes, b"\x1b[?1049h").is_empty() {
            self.given_back();
        }
        status
    }

    /// The same, where another program left the terminal in disorder meanwhile:
    /// its first screen is then not as it was.
    pub(crate) fn ended_tidied(&self) -> i32 {
        self.wait_for("after ");
        self.wait("the settings of the terminal", |screen| {
            line_after(&screen.contents(), "after ").contains(':')
        });
        let shown = self.contents().replace("\n\n", "\n");
        assert_eq!(
            line_after(&shown, "before "),
            line_after(&shown, "after "),
            "{shown}"
        );
        self.screen(|screen| {
            assert!(!screen.alternate_screen(), "the alternate screen is left");
            assert!(!screen.hide_cursor(), "the cursor is shown");
            assert!(!screen.bracketed_paste(), "pastes are plain again");
        });
        line_after(&shown, "left with ").trim().parse().unwrap()
    }
}

/// Where a sequence stands.
fn places(bytes: &[u8], sequence: &[u8]) -> Vec<usize> {
    let windows = bytes.windows(sequence.len()).enumerate();
    windows
        .filter(|(_, window)| *window == sequence)
        .map(|(at, _)| at)
        .collect()
}

/// What stands behind a word, to the end of the line.
fn line_after<'t>(text: &'t str, word: &str) -> &'t str {
    let rest = text.split_once(word).map_or("", |(_, rest)| rest);
    rest.lines().next().unwrap_or_default()
}

impl Drop for Pty {
    fn drop(&mut self) {
        // What has ended already cannot be killed.
        let _ended = self.child.kill();
        let _status = self.child.wait();
    }
}
