//! The real binary on a folder of its own, for tests of the command line.

#![allow(dead_code, reason = "each test binary uses what it needs")]

use std::path::PathBuf;
use std::process::Command;

use serde_json::Value;

use super::words;

/// A folder for projects, and a clock that the test turns.
pub(crate) struct Shop {
    /// Everything lies in here and goes with it.
    pub(crate) dir: tempfile::TempDir,
    /// What `--now` says; the machine's clock if nothing.
    pub(crate) now: Option<String>,
}

/// What a command led to.
#[derive(Debug)]
pub(crate) struct Out {
    /// Exit status.
    pub(crate) status: i32,
    /// Standard output.
    pub(crate) text: String,
    /// Standard output as JSON, null if it is none.
    pub(crate) json: Value,
    /// Standard error.
    pub(crate) err: String,
}

impl Shop {
    /// An empty shop.
    pub(crate) fn new() -> Self {
        Self {
            dir: tempfile::tempdir().expect("a folder"),
            now: None,
        }
    }

    /// A project `p` of 40 um copper, its clock at 18:00 UTC.
    pub(crate) fn with_project() -> Self {
        let mut shop = Self::new();
        shop.clock("2026-03-02T18:00:00Z");
        shop.ok("new p --name Bell --metal copper-acid --mean 40um --zone UTC");
        shop
    }

    /// Turns the clock.
    pub(crate) fn clock(&mut self, now: &str) -> &mut Self {
        self.now = Some(now.to_owned());
        self
    }

    /// Turns the clock on the day of 2 March 2026.
    pub(crate) fn at(&mut self, time: &str) -> &mut Self {
        self.clock(&format!("2026-03-02T{time}:00Z"))
    }

    /// The place of a file.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// Runs words with `--json`; quotes group.
    pub(crate) fn run(&self, words: &str) -> Out {
        let mut words = words::split(words);
        words.push("--json".into());
        self.raw(&words)
    }

    /// Runs these very arguments, with the shop's clock.
    pub(crate) fn raw(&self, words: &[String]) -> Out {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tankside"));
        command
            .current_dir(self.dir.path())
            .env("TANKSIDE_CONFIG_DIR", self.dir.path().join("config"))
            .env("TANKSIDE_CACHE_DIR", self.dir.path().join("cache"))
            .env("TANKSIDE_TRY_DIR", self.dir.path().join("try"))
            .env("USER", "ida")
            .args(words);
        if let Some(now) = &self.now {
            command.args(["--now", now]);
        }
        let out = command.output().expect("the program runs");
        let text = String::from_utf8(out.stdout).expect("text");
        Out {
            status: out.status.code().unwrap_or(-1),
            json: serde_json::from_str(&text).unwrap_or(Value::Null),
            text,
            err: String::from_utf8_lossy(&out.stderr).into_owned(),
        }
    }

    /// Runs words that must be done; their JSON.
    #[track_caller]
    pub(crate) fn ok(&self, words: &str) -> Value {
        let out = self.run(words);
        assert_eq!(out.status, 0, "{words}: {out:?}");
        assert_eq!(out.json["schema"], 1, "{words}: {out:?}");
        out.json
    }

    /// Runs words that a rule must refuse; the rule.
    #[track_caller]
    pub(crate) fn refused(&self, words: &str) -> Value {
        let out = self.run(words);
        assert_eq!(out.status, 1, "{words}: {out:?}");
        assert_eq!(out.json["schema"], 1);
        assert!(!out.err.is_empty());
        out.json["refused"].clone()
    }

    /// Runs words that must be bad; the error.
    #[track_caller]
    pub(crate) fn bad(&self, words: &str) -> Value {
        let out = self.run(words);
        assert_eq!(out.status, 2, "{words}: {out:?}");
        assert_eq!(out.json["schema"], 1, "{words}: {out:?}");
        assert!(!out.err.is_empty());
        out.json["error"].clone()
    }

    /// Records words about the project `p`.
    #[track_caller]
    pub(crate) fn rec(&self, words: &str) -> Value {
        self.ok(&format!("record p {words}"))
    }

    /// One piece of `status p`.
    #[track_caller]
    pub(crate) fn piece(&self, name: &str) -> Value {
        let status = self.ok("status p");
        status["pieces"]
            .as_array()
            .expect("pieces")
            .iter()
            .find(|p| p["name"] == name)
            .unwrap_or_else(|| panic!("no {name} in {status}"))
            .clone()
    }

    /// Satisfies every gate at one end of a piece's present stage by its own
    /// command, as a script would.
    #[track_caller]
    pub(crate) fn satisfy(&self, piece: &str, when: &str) {
        let stage = self.piece(piece)["stage"].clone();
        let gates = self.ok(&format!("gates p {piece}"));
        for gate in gates["gates"].as_array().expect("gates") {
            if gate["stage"] == stage && gate["when"] == when && gate["held"] == false {
                let command = gate["satisfy_with"].as_str().expect("a command");
                self.ok(command.strip_prefix("tankside ").expect("of this program"));
            }
        }
    }

    /// Takes a piece to the strike's start, gates satisfied.
    #[track_caller]
    pub(crate) fn prepared(&self, piece: &str) {
        for stage in ["coat", "wiring"] {
            self.satisfy(piece, "start");
            self.rec(&format!("{piece} start {stage}"));
            self.satisfy(piece, "end");
            self.rec(&format!("{piece} finish"));
        }
        self.satisfy(piece, "start");
    }
}

/// Asserts a JSON number within a relative tolerance.
#[track_caller]
pub(crate) fn near(found: &Value, wanted: f64, rel: f64) {
    let number = found
        .as_f64()
        .unwrap_or_else(|| panic!("{found} is no number"));
    assert!(
        (number - wanted).abs() <= rel * wanted.abs().max(1e-9),
        "found {number}, wanted {wanted}"
    );
}
