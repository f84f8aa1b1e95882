//! What every command prints: results on standard output, problems on standard error, each as text or as JSON.

use std::io::Write;
use std::process::ExitCode;

use runtrue::report::terminal;
use runtrue::units::{Notation, Units, in_notation};
use serde_json::{Value, json};

use crate::cli::OutputFormat;

/// Exit status where nothing could be done.
const FAILED: u8 = 1;
/// Exit status where the command was not given what it needs.
const WRONG_USE: u8 = 2;
/// Indent of the lines of a message after its first.
const INDENT: &str = "  ";

/// How results are printed.
#[derive(Debug, Clone, Copy)]
pub struct Output {
    pub format: OutputFormat,
    pub quiet: bool,
    pub verbose: bool,
}

impl Output {
    /// Prints a result: text, unless the user asked for quiet, or JSON.
    pub fn say(self, text: impl FnOnce() -> String, json: impl FnOnce() -> Value) -> Result<ExitCode, Problem> {
        self.say_document(text, || format!("{}\n", json()))
    }

    /// The same for a result whose JSON is a document that is written elsewhere too: the same text, byte for byte.
    pub fn say_document(
        self,
        text: impl FnOnce() -> String,
        document: impl FnOnce() -> String,
    ) -> Result<ExitCode, Problem> {
        match self.format {
            OutputFormat::Json => print(in_notation(&document(), Notation::Stored)),
            OutputFormat::Text if self.quiet => Ok(ExitCode::SUCCESS),
            OutputFormat::Text => print(text()),
        }
    }

    /// Prints a remark for people on standard error; programs get none.
    pub fn remark(self, text: &str) {
        if self.format == OutputFormat::Text {
            eprintln!("{}", terminal::wrap(text, INDENT));
        }
    }
}

/// Prints to standard output. That its reader has gone away is not an error.
pub fn print(text: impl AsRef<[u8]>) -> Result<ExitCode, Problem> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_ref()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(Problem::new(format!("standard output could not be written: {e}")))
        }
        _ => Ok(ExitCode::SUCCESS),
    }
}

/// What went wrong, in words, and what to do about it.
#[derive(Debug)]
pub struct Problem {
    message: String,
    hint: Option<String>,
    units: Units,
    pub exit_status: u8,
}

impl Problem {
    /// Something that could not be done.
    pub fn new(message: impl ToString) -> Self {
        Self { message: message.to_string(), hint: None, units: Units::default(), exit_status: FAILED }
    }

    /// A command that was not given what it needs.
    pub fn wrong_use(message: impl ToString) -> Self {
        Self { exit_status: WRONG_USE, ..Self::new(message) }
    }

    /// The same with what to do about it.
    pub fn hint(self, hint: impl ToString) -> Self {
        Self { hint: Some(hint.to_string()), ..self }
    }

    /// The same with its quantities shown in `units`; without that they are metric.
    pub fn shown_in(self, units: Units) -> Self {
        Self { units, ..self }
    }

    /// Prints to standard error: for people within the terminal's width, a drawing of several lines as it is.
    pub fn print(&self, output: Output) {
        if output.format == OutputFormat::Json {
            let document = json!({ "error": { "message": self.message, "hint": self.hint } });
            eprintln!("{}", in_notation(&document.to_string(), Notation::Stored));
            return;
        }
        let message = in_notation(&format!("error: {}", self.message), self.units);
        eprintln!("{}", if message.contains('\n') { message } else { terminal::wrap(&message, INDENT) });
        if let Some(hint) = &self.hint {
            eprintln!("{}", terminal::wrap(&in_notation(&format!("hint: {hint}"), self.units), INDENT));
        }
    }
}
